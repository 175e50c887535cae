"""The ride of one block year by year: without work, and after grinding."""

from __future__ import annotations

import numpy as np
import pandas as pd

from rehab.plan.model import Prepared
from rehab.steps import ride
from rehab.steps.ride.model import MEASURES
from rehab.steps.ride.network import surface_age


def of_block(prepared: Prepared, block_id: str, years: int = 30) -> pd.DataFrame:
    """Steps and roughness of a block, one row per measure that it holds and year.

    Columns measure (the column of the network), year, value, low and high (without work, with the 80 % interval) and
    ground (done in the first year, and growing again from then).  Empty for a block without either reading.
    """
    city, start = prepared.network.iloc[[prepared.row(block_id)]], prepared.start_year
    found = ride.forecast(city, start, years, prepared.assumptions)
    parts = []
    for measure, column in MEASURES.items():
        seen = found[column]
        if not np.isfinite(seen.value).all():
            continue
        age = surface_age(city) + max(start - float(city["survey_year"].iloc[0]), 0.0)
        ground = ride.after_grinding(measure, seen.value[:, 0], age, np.arange(float(years)),
                                     ride.growth(measure, prepared.assumptions), prepared.assumptions)
        parts.append(pd.DataFrame({"measure": column, "year": start + np.arange(years), "value": seen.value[0],
                                   "low": seen.low[0], "high": seen.high[0], "ground": ground[0]}))
    columns = ["measure", "year", "value", "low", "high", "ground"]
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=columns)
