"""What a closed street costs its users: the agency pays none of it, so it has a column of its own."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from rehab.base.settings import Assumptions
from rehab.steps.lifecycle.stream import Floats


def delay_counted(assumptions: Assumptions) -> bool:
    """Whether the city counts the delay of road users."""
    return assumptions.text("economics", "user_delay.used") == "yes"


def delay_usd(work: str, area_sqyd: npt.ArrayLike, adt: npt.ArrayLike, truck_share: npt.ArrayLike,
              assumptions: Assumptions) -> Floats:
    """Delay of road users while a block is closed for a work, dollars of ``economics/price_year``, per block.

    Vehicles a day times working days closed (per 1,000 sq yd of the block) times hours lost by each, at the value of
    time of cars and of trucks (source ``fhwa-lcca``, user costs).  ``work`` is a strategy or 'grinding'; no work costs
    nobody time.  NaN where the vehicles a day or the share of trucks are not known.
    """
    def number(key: str) -> float:
        return assumptions.number("economics", f"user_delay.{key}")

    area, vehicles, trucks = (np.asarray(values, float) for values in (area_sqyd, adt, truck_share))
    if work == "none":
        return np.zeros(area.shape)
    days = number(f"days.{work}") * area / 1_000
    an_hour = (1.0 - trucks) * number("car_usd_per_h") + trucks * number("truck_usd_per_h")
    return np.asarray(vehicles * days * number("minutes") / 60 * an_hour)
