"""Present worth, annual cost, escalation: the standard formulas of engineering economy.

Rates are shares a year (0.03 for 3 %), times are years, arrays broadcast.  The formulas are those of any
textbook (source ``newnan``; FHWA-SA-98-079, source ``fhwa-lcca``, uses the same).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def present_worth_factor(rate: npt.ArrayLike, years: npt.ArrayLike) -> Floats:
    """(1 + i)^-n: the worth today of one dollar paid after ``years``."""
    return np.asarray((1.0 + np.asarray(rate, float)) ** -np.asarray(years, float))


def escalation_factor(rate: npt.ArrayLike, years: npt.ArrayLike) -> Floats:
    """(1 + e)^n: what a price of today grows to in ``years``; negative years bring a later price back."""
    return np.asarray((1.0 + np.asarray(rate, float)) ** np.asarray(years, float))


def series_factor(rate: npt.ArrayLike, years: npt.ArrayLike) -> Floats:
    """P/A = (1 - (1 + i)^-n) / i: the present worth of one dollar at the end of each of ``years`` years."""
    i, n = np.broadcast_arrays(np.asarray(rate, float), np.asarray(years, float))
    with np.errstate(divide="ignore", invalid="ignore"):
        factor = -np.expm1(-n * np.log1p(i)) / i
    return np.where(i == 0, n, factor)


def annual_cost(present_worth: npt.ArrayLike, rate: npt.ArrayLike, years: npt.ArrayLike) -> Floats:
    """Equivalent uniform annual cost: present worth times A/P.  ``years`` must be above zero."""
    if np.any(np.asarray(years) <= 0):
        raise ValueError("an annual cost needs a number of years above zero")
    return np.asarray(present_worth, float) / series_factor(rate, years)


def real_rate(nominal: npt.ArrayLike, inflation: npt.ArrayLike) -> Floats:
    """(1 + i_nominal) / (1 + inflation) - 1."""
    return np.asarray((1.0 + np.asarray(nominal, float)) / (1.0 + np.asarray(inflation, float)) - 1.0)
