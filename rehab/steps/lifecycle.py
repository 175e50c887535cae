"""Cost streams to present worth and equivalent uniform annual cost of each adequate strategy.

A stream is the strategy now, a grinding each time a ground surface has lasted its median, reconstruction when
the block is back at its trigger, and a credit for the life left at the end (FHWA-SA-98-079, source
``fhwa-lcca``: remaining service life, real rate, sunk costs left out).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.money import annual_cost, present_worth_factor
from rehab.base.settings import Assumptions

Floats = npt.NDArray[np.float64]


def compare(first_usd: pd.DataFrame, years_to_trigger: pd.DataFrame, grinding_usd: Floats, reconstruction_usd: Floats,
            ground_life_yr: float, new_life_yr: Floats, assumptions: Assumptions,
            rate: float | None = None) -> pd.DataFrame:
    """Present worth and annual cost per strategy: columns STRATEGY_worth_usd and STRATEGY_annual_usd, real dollars.

    ``first_usd`` and ``years_to_trigger`` have one column per strategy ('none' included) and one row per block;
    ``new_life_yr`` is how long a reconstructed block lasts to its trigger.
    """
    discount = assumptions.number("economics", "discount") if rate is None else rate
    horizon = assumptions.number("economics", "horizon_yr")
    most = int(assumptions.number("treatment_lives", "ground.most_times"))
    result = {}
    for strategy in first_usd.columns:
        until = years_to_trigger[strategy].to_numpy(float)
        worth = first_usd[strategy].to_numpy(float).copy()
        ground = strategy in {"partial_depth", "full_depth"}
        for time in range(1, most if ground else 0):
            at = time * ground_life_yr
            worth += np.where((at < until) & (at < horizon), grinding_usd * present_worth_factor(discount, at), 0.0)
        if strategy == "reconstruction":
            left = np.clip(1.0 - horizon / np.maximum(until, 1e-9), 0.0, 1.0)
            worth -= first_usd[strategy].to_numpy(float) * left * present_worth_factor(discount, horizon)
        worth += rebuild(until, reconstruction_usd, new_life_yr, horizon, discount)
        result[f"{strategy}_worth_usd"] = worth
        result[f"{strategy}_annual_usd"] = annual_cost(worth, discount, horizon)
    return pd.DataFrame(result, index=first_usd.index)


def rebuild(after_yr: Floats, cost_usd: Floats, life_yr: Floats, horizon_yr: float, rate: float) -> Floats:
    """Present worth of reconstruction after some years, less the credit for the life left at the horizon.

    It comes again each time the new concrete has lasted its life, up to the horizon; a life below a year counts as one.
    """
    life, at = np.maximum(life_yr, 1.0), np.array(after_yr, float)
    worth = np.zeros(len(at))
    while (at < horizon_yr).any():
        unused = np.clip(1.0 - (horizon_yr - at) / life, 0.0, 1.0)
        once = cost_usd * (present_worth_factor(rate, at) - unused * present_worth_factor(rate, horizon_yr))
        worth += np.where(at < horizon_yr, once, 0.0)
        at = at + life
    return worth
