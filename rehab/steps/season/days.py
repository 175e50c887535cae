"""The days of a season: on which crews work, and on which nobody does."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.settings import WEEKDAYS, Assumptions

Bools = npt.NDArray[np.bool_]
_SCOPES: Final = {"district": "district", "street": "street", "block": "block_id"}


def span(year: int, assumptions: Assumptions) -> tuple[date, date]:
    """First and last day of the season that begins in a year; it may end in the next."""
    first, last = (assumptions.text("season", key) for key in ("first_day", "last_day"))
    return date.fromisoformat(f"{year}-{first}"), date.fromisoformat(f"{year + (last < first)}-{last}")


def holidays_of(first: date, last: date, assumptions: Assumptions) -> set[date]:
    """Holidays of the country or state, as observed, from the first to the last day."""
    import holidays

    state = assumptions.text("season", "state") or None
    # a New Year's Day on a Saturday is observed in the year before it
    years = range(first.year, last.year + 2)
    off = holidays.country_holidays(assumptions.text("season", "country"), subdiv=state, years=years)
    return {day for day in off if first <= day <= last}


def working_days(year: int, assumptions: Assumptions) -> list[date]:
    """Days on which crews work: the season's days of the work week less the holidays of the country or state."""
    first, last = span(year, assumptions)
    week = [WEEKDAYS.index(name) for name in assumptions.text("season", "work_week").split()]
    off = holidays_of(first, last, assumptions)
    days = (first + timedelta(days=offset) for offset in range((last - first).days + 1))
    return [day for day in days if day.weekday() in week and day not in off]


def next_business_day(day: date, count: int, off: set[date]) -> date:
    """The business day after ``count`` whole ones have passed, Monday to Friday less holidays.

    Called on a Tuesday, with two days for marking: Wednesday and Thursday pass, and it is Friday (the example of the
    source ``call-before-digging``).
    """
    closed = np.array(sorted(off), dtype="datetime64[D]")
    found = np.busday_offset(np.datetime64(day), count + 1, roll="backward", holidays=closed)
    return date.fromisoformat(str(found))


def closed_to_work(network: pd.DataFrame, days: Sequence[date], rows: pd.DataFrame | None) -> Bools:
    """By block and day of ``days``, whether a row of the table ``no_work`` forbids work there."""
    shut = np.zeros((len(network), len(days)), bool)
    if rows is None or rows.empty or not days:
        return shut
    stamps = pd.DatetimeIndex(pd.to_datetime(list(days)))
    row: Any
    for row in rows.itertuples(index=False):
        when = (stamps >= row.first_day) & (stamps <= row.last_day)
        if isinstance(row.weekdays, str) and row.weekdays:
            when &= np.isin(stamps.day_of_week, [WEEKDAYS.index(name) for name in row.weekdays.split()])
        where = np.ones(len(network), bool) if row.scope == "city" else \
            (network[_SCOPES[row.scope]] == row.name).fillna(False).to_numpy(bool)
        shut |= where[:, None] & np.asarray(when)[None, :]
    return shut


def not_over_holidays(days: Sequence[date], opens_after: npt.NDArray[np.int64], off: set[date]) -> Bools:
    """By day, whether concrete placed on it opens before the next holiday begins."""
    free = np.ones(len(days), bool)
    for at, day in enumerate(days):
        free[at] = not any(day + timedelta(days=ahead) in off for ahead in range(1, int(opens_after[at])))
    return free
