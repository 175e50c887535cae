"""Present worth, annual cost, escalation, incremental choice: the standard formulas of engineering economy.

Rates are shares a year (0.03 for 3 %), times are years, arrays broadcast.  The formulas are those of any
textbook (source ``newnan``; FHWA-SA-98-079, source ``fhwa-lcca``, uses the same).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

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
    """(1 + nominal) / (1 + inflation) - 1: a rate, or the escalation of a price, above general inflation."""
    return np.asarray((1.0 + np.asarray(nominal, float)) / (1.0 + np.asarray(inflation, float)) - 1.0)


@dataclass(frozen=True)
class Increment:
    """One step of an incremental choice: what the challenger costs and gains above the alternative held so far.

    ``held`` is None while nothing is held: doing nothing costs and gains nothing.  ``ratio`` is the benefit by the
    cost of the step, infinite where more is gained at no more cost, NaN where both stay as they are.
    """

    held: int | None
    challenger: int
    cost: float
    benefit: float
    ratio: float
    taken: bool


def increments(cost: Sequence[float], benefit: Sequence[float], least: float = 1.0) -> list[Increment]:
    """Incremental benefit-cost analysis of exclusive alternatives, from the cheapest to the dearest.

    Each alternative challenges the one held so far, and takes its place if what it gains more is at least ``least``
    times what it costs more (source ``newnan``): 1 where benefits are dollars, else what a dollar buys elsewhere.
    The alternative of the largest ratio on its own need not be the one held at the end.  :class:`ValueError` for a
    cost below zero or a number that is none.
    """
    costs, benefits = np.asarray(cost, float), np.asarray(benefit, float)
    if costs.shape != benefits.shape or not (np.isfinite(costs) & np.isfinite(benefits) & (costs >= 0)).all():
        raise ValueError("every alternative needs a cost of zero or more and a benefit")
    steps: list[Increment] = []
    held: int | None = None
    for challenger in np.lexsort((benefits, costs)).tolist():
        base_cost, base_benefit = (0.0, 0.0) if held is None else (costs[held], benefits[held])
        more_cost, more_benefit = float(costs[challenger] - base_cost), float(benefits[challenger] - base_benefit)
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = float(np.divide(more_benefit, more_cost))
        taken = more_benefit > 0 and more_benefit >= least * more_cost
        steps.append(Increment(held, challenger, more_cost, more_benefit, ratio, taken))
        held = challenger if taken else held
    return steps
