"""The days that a crew has to know of a block: when to call, when marks run out, and what its concrete opens by."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from datetime import date, timedelta
from typing import Final, Literal

import numpy as np
import pandas as pd

from rehab.base.settings import Assumptions
from rehab.outputs.words import known
from rehab.outputs.worklist.job import Job
from rehab.steps.season.days import holidays_of
from rehab.steps.season.opening import openings

#: tasks that cut or drill into the pavement or dig beside it
CUTTING: Final = ("stabilise", "mill", "saw", "remove", "drill", "curb", "retrofit", "stitch")
_CALLED_DAYS: Final = 60  #: before a cut, more than any ticket waits
_PLACED: Final[dict[str, tuple[Literal["patch", "panels", "rebuild"], str]]] = {
    "patch": ("patch", "patches open"), "place": ("panels", "panels open")}


def call_by(first_cut: pd.Timestamp, working_days: int, off: Collection[date] = ()) -> pd.Timestamp:
    """The latest day to call 811, so that whole working days, Monday to Friday but for ``off``, pass before the cut.

    Called on Tuesday, with two days for marking, it is cut on Friday (the example of ``call-before-digging``).
    """
    closed = np.array(sorted(off), dtype="datetime64[D]")
    return pd.Timestamp(np.busday_offset(np.datetime64(first_cut.date()), -(working_days + 1), roll="forward",
                                         holidays=closed))


def holidays_before(first_cut: pd.Timestamp, assumptions: Assumptions) -> set[date]:
    """The holidays of the season's country or state that may fall between a call and the cut."""
    last = first_cut.date()
    return holidays_of(last - timedelta(days=_CALLED_DAYS), last, assumptions)


def marks(job: Job, assumptions: Assumptions) -> tuple[pd.Timestamp | None, pd.Timestamp | None]:
    """The day on which notice is given, and the last day on which utility marks that are then asked for count."""
    asked = job.last("notice") or job.last("mark")
    ticket = pd.Timedelta(days=int(assumptions.number("safety", "ticket_days")))
    return asked, None if asked is None else asked + ticket


def opening_rules(job: Job, assumptions: Assumptions) -> list[str]:
    """What each kind of fresh concrete of the block opens by, in words with the source."""
    thickness = float(job.sizes["thickness_in"]) if known(job.sizes.get("thickness_in")) else None
    longest = max((float(row["length_ft"]) for row in job.repairs if row["kind"] != "partial depth"), default=None)
    found = []
    for task, (kind, name) in _PLACED.items():
        if task in job.kinds:
            whole = task == "place" and job.strategy == "reconstruction"
            rule = _rule("rebuild" if whole else kind, thickness, longest, assumptions)
            found.append(_short(rule, "the new pavement opens" if whole else name))
    return found


def _rule(kind: Literal["patch", "panels", "rebuild"], thickness: float | None, longest: float | None,
          assumptions: Assumptions) -> str:
    return str(assumptions.once(f"opening rule of {kind}, {thickness} in, {longest} ft", lambda: openings(
        [], kind, thickness, assumptions, None, longest).basis))


def _short(basis: str, opens: str) -> str:
    """The rule alone: how the calendar came to its days is told there."""
    for end in (", by ", "; "):
        head, found, _ = basis.partition(f"){end}")
        if found:
            return f"{opens}{head.removeprefix('Opens')})"
    return basis


def weather_limits(job: Job, assumptions: Assumptions) -> list[str]:
    """The limits of air and concrete for the tasks of the block."""
    def curing(key: str) -> str:
        return f"{assumptions.number('curing', key):g}"

    def season(key: str) -> str:
        return f"{assumptions.number('season', key):g}"

    kinds, found = set(job.kinds), []
    cold = [f"{curing(key)} F for {what}" for task, key, what in (
        ("patch", "cold_partial_f", "patches"), ("place", "cold_full_f", "full depth"))
        if task in kinds]
    if cold:
        found += [f"placing: mean air from {' and '.join(cold)}, air up to {curing('hot_air_f')} F, concrete up to "
                  f"{curing('hot_concrete_f')} F, drying under {curing('evaporation_limit')} lb/sq ft/h"]
    if "fill" in kinds:
        found.append(f"sealing: from {season('seal_low_f')} F, dry")
    if "stripe" in kinds:
        found.append(f"paint: {season('stripe_low_f')} to {season('stripe_high_f')} F, dry")
    return found


def span(days: Iterable[pd.Timestamp | None]) -> str:
    """Days as a window: 'Thu 15 Apr to Mon 30 Aug 2027'."""
    given = sorted(day for day in days if day is not None)
    if not given:
        return ""
    first, last = given[0], given[-1]
    if first == last:
        return f"{first:%a %d %b %Y}"
    return f"{first:%a %d %b}{'' if first.year == last.year else f' {first.year}'} to {last:%a %d %b %Y}"
