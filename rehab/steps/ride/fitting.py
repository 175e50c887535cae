"""Growth fitted to repeated surveys, and which of a block's readings still count."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special

from rehab.base.settings import Assumptions
from rehab.steps.ride.model import Floats, Growth, Measure, on_scale, with_self

_SPREADS: Final = ("level_sd", "rate_sd", "wander_sd", "noise_sd", "noise_yr", "tails")
_YEARS: Final = 20.0  #: age at which rates and wanders are compared with levels when a search begins
#: where the search for spreads begins: shares of the spread of all readings, noise_yr in years, tails
_BEGIN: Final = ((0.3, 0.03, 0.05, 0.25, 2.0, 4.0), (0.8, 0.02, 0.1, 0.1, 0.5, 8.0), (0.02, 0.02, 0.1, 0.4, 3.0, 4.0))
_SMALLEST, _LARGEST = 2e-3, 4.0  #: limits of a spread, as shares of the spread of all readings
_LASTING: Final = (0.1, 15.0)  #: limits of noise_yr, years
_TAILS: Final = (2.1, 100.0)
#: steps of the second differences, of parameters scaled to about one: the likelihood has a kink wherever a gap between
#: readings equals noise_yr, and a wide step there looks over the kinks
_STEPS: Final = np.array([1e-2, 1e-2, *[5e-2] * 4, 0.2, 5e-2])
_EDGE: Final = 1e-3  #: a parameter this near to its limit is at the edge
_95: Final = float(special.ndtri(0.975))


def since_work(visits: pd.DataFrame, measure: Measure, column: str, assumptions: Assumptions) -> pd.DataFrame:
    """Which readings still count: columns ``counts`` and ``unrecorded`` (flags), rows as in ``visits``.

    ``visits`` holds block_id, age_yr, the measure in ``column`` and a flag ``work``: work was recorded between the
    visit before and this one.  A drop between two readings of more than the limit of the table ``ride`` is unrecorded
    work (source ``ltpp-cleaning``, Table 18).  What lies before the last work of either kind does not count.
    """
    limit = assumptions.number("ride", f"jump.{measure}")
    order = visits.reset_index(drop=True).sort_values(["block_id", "age_yr"], kind="stable")
    block, work = order["block_id"], order["work"].astype(bool)
    recorded = work.groupby(block).cumsum()
    read = order[column].notna()
    # A visit without this reading may carry the record of the work: falls are taken between works.
    fall = -order.loc[read, column].groupby([block[read], recorded[read]]).diff()
    unrecorded = (fall > limit).reindex(order.index, fill_value=False)
    epoch = (work | unrecorded).groupby(block).cumsum()
    counts = (epoch == epoch.groupby(block).transform("max")) & read
    return pd.DataFrame({"counts": counts, "unrecorded": unrecorded}).sort_index().set_axis(visits.index)


def fit(ages: Floats, readings: Floats, measure: Measure) -> tuple[Growth, pd.DataFrame]:
    """The growth that makes the readings most likely, and its parameters with 95 % intervals.

    ``ages`` and ``readings`` are arrays (blocks, visits), years and inches or in/mile, NaN where there is none.  Steps
    begin at zero.  Intervals come from the curvature of the likelihood; a spread at the edge of its range has none
    (NaN).  Raises :class:`ValueError` with fewer than ten blocks read twice: spreads would be guesses.
    """
    from scipy import optimize  # half a second that a plan without a fit need not spend

    values, seen = on_scale(Growth(measure, *[0.0] * 8), ages, readings)
    if (seen.sum(axis=1) > 1).sum() < 10:
        raise ValueError("fewer than ten blocks have two readings with an age; growth cannot be fitted")
    when, known = np.where(seen, ages, 0.0), np.where(seen, values, 0.0)
    spread = max(float(values[seen].std()), 1e-6)
    unit = np.array([max(spread, 0.1), spread / _YEARS, *[1.0] * len(_SPREADS)])
    limits = _limits(measure, spread)

    def missing(scaled: Floats) -> float:
        return _unlikeliness(_growth(measure, scaled * unit), when, known, seen)

    bounds = [(float(low), float(high)) for low, high in limits]
    begins = [np.asarray(np.clip(begin / unit, *limits.T)) for begin in _beginnings(measure, values[seen], spread)]
    searches = [optimize.minimize(missing, begin, method="L-BFGS-B", bounds=bounds) for begin in begins]
    best = min(searches, key=lambda search: float(search.fun))
    found = np.asarray(best.x, float)
    return _growth(measure, found * unit), _intervals(measure, missing, found, unit, limits)


def _growth(measure: Measure, values: Floats) -> Growth:
    start, rate, *logs = (float(value) for value in values)
    return Growth(measure, start, rate, *(float(np.exp(log)) for log in logs))


def _limits(measure: Measure, spread: float) -> Floats:
    """Lower and upper limit of every parameter of the search, array (8, 2); spreads as logarithms."""
    free, scaled = (-np.inf, np.inf), (np.log(_SMALLEST * spread), np.log(_LARGEST * spread))
    new = measure == "faulting"  # new joints have no step, and all blocks begin alike
    none = np.log(_SMALLEST * spread)
    return np.array([(0.0, 0.0) if new else free, free, (none, none) if new else scaled,
                     scaled, scaled, scaled, np.log(_LASTING), np.log(_TAILS)])


def _beginnings(measure: Measure, values: Floats, spread: float) -> list[Floats]:
    start = 0.0 if measure == "faulting" else 0.9 * float(values.mean())
    rate = (float(values.mean()) - start) / _YEARS
    shares = [np.array([spread] * 4 + [1.0, 1.0]) * np.array(begin) for begin in _BEGIN]
    return [np.concatenate([[start, rate], np.log(share)]) for share in shares]


def _unlikeliness(family: Growth, when: Floats, known: Floats, seen: npt.NDArray[np.bool_]) -> float:
    """Minus the logarithm of the likelihood, less a constant: multivariate t, block by block."""
    off = np.where(seen, known - family.mean(when), 0.0)
    root = np.linalg.cholesky(with_self(family, when, seen))
    scatter = (np.linalg.solve(root, off[:, :, None])[:, :, 0] ** 2).sum(axis=1)
    count, tails = seen.sum(axis=1), family.tails
    logs = np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1)
    return float((logs + (tails + count) / 2 * np.log1p(scatter / tails) + count / 2 * np.log(tails / 2)
                  + special.gammaln(tails / 2) - special.gammaln((tails + count) / 2)).sum())


def _intervals(measure: Measure, missing: Callable[[Floats], float], found: Floats, unit: Floats,
               limits: Floats) -> pd.DataFrame:
    """Parameters with their 95 % intervals, on the scale of the model; columns parameter, value, low, high."""
    inside = (found > limits[:, 0] + _EDGE) & (found < limits[:, 1] - _EDGE)
    which = np.flatnonzero(inside)
    errors = np.full(len(found), np.nan)
    try:
        variance = np.diag(np.linalg.inv(_curvature(missing, found, which)))
        errors[which] = np.sqrt(np.where(variance > 0, variance, np.nan))
    except np.linalg.LinAlgError:
        pass  # a flat likelihood: no interval can be told
    half = _95 * errors * unit
    low, high = found * unit - half, found * unit + half
    value = found * unit
    value[2:], low[2:], high[2:] = np.exp(value[2:]), np.exp(low[2:]), np.exp(high[2:])
    return pd.DataFrame({"measure": measure, "parameter": ["start", "rate", *_SPREADS], "value": value, "low": low,
                         "high": high})


def _curvature(missing: Callable[[Floats], float], found: Floats, which: npt.NDArray[np.int64]) -> Floats:
    """Second differences of the unlikeliness by the parameters ``which``."""
    count = len(which)
    steps = np.zeros((count, len(found)))
    steps[np.arange(count), which] = _STEPS[which]
    matrix = np.empty((count, count))
    for row in range(count):
        for column in range(row + 1):
            one, two = steps[row], steps[column]
            matrix[row, column] = matrix[column, row] = (
                missing(found + one + two) - missing(found + one - two) - missing(found - one + two)
                + missing(found - one - two)) / (4 * _STEPS[which[row]] * _STEPS[which[column]])
    return matrix
