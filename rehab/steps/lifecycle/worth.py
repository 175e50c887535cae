"""Present worth and equivalent uniform annual cost of life cycles, at one rate or at several side by side."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import combinations

import numpy as np
import pandas as pd

from rehab.base.money import annual_cost, present_worth_factor
from rehab.steps.lifecycle.stream import Course, Event, Flags, Floats, Terms, events, own_events


def compare(courses: Mapping[str, Course], terms: Terms, rate: float | None = None) -> pd.DataFrame:
    """Worth of every strategy's life cycle, one row per block, real dollars of the first year.

    Columns per strategy: STRATEGY_worth_usd, the present worth over the horizon; STRATEGY_annual_usd, the same as a
    uniform amount at the end of each year; STRATEGY_own_usd, the present worth of the work alone with its regrindings,
    less its value at the horizon and without what follows; and, where the delay of road users is counted,
    STRATEGY_user_worth_usd: never added to the agency's cost, NaN where it is not known.  ``rate`` is real; that of
    the terms if it is not given.
    """
    real = terms.discount if rate is None else rate
    result = {}
    for name, course in courses.items():
        agency, user = _sums(events(course, terms), (real,))
        result[f"{name}_worth_usd"] = agency[:, 0]
        result[f"{name}_annual_usd"] = annual_cost(agency[:, 0], real, terms.horizon_yr)
        result[f"{name}_own_usd"] = _sums(own_events(course[0], terms), (real,))[0][:, 0]
        if any(activity.user_usd is not None for activity in course):
            result[f"{name}_user_worth_usd"] = user[:, 0]
    return pd.DataFrame(result)


def present_worth(course: Course, terms: Terms, rates: Sequence[float] | None = None) -> Floats:
    """Agency cost of a life cycle, an array (blocks, rates); the rates are those of the terms if none are given."""
    return _sums(events(course, terms), terms.rates if rates is None else rates)[0]


def order_changes(worths: Mapping[str, Floats], within_usd: float = 1.0) -> Flags:
    """Whether the order of the strategies by cost differs between the rates, per block.

    ``worths`` holds arrays (blocks, rates); two strategies within ``within_usd`` of each other have no order.
    """
    changed = np.zeros(len(next(iter(worths.values()))), bool)
    for one, other in combinations(worths.values(), 2):
        less = one - other
        changed |= (less < -within_usd).any(axis=1) & (less > within_usd).any(axis=1)
    return changed


def _sums(stream: Iterable[Event], rates: Sequence[float]) -> tuple[Floats, Floats]:
    """Present worth of the agency's and of the users' dollars, arrays (blocks, rates)."""
    agency: Floats | None = None
    for event in stream:
        if agency is None:
            agency, user = np.zeros((len(event.year), len(rates))), np.zeros((len(event.year), len(rates)))
        for column, rate in enumerate(rates):
            factor = present_worth_factor(rate, event.year)
            agency[:, column] += event.usd * factor
            user[:, column] += event.user_usd * factor
    if agency is None:
        raise ValueError("a life cycle without events has no worth")
    return agency, user
