"""One year's chosen work to tasks, crews and dates.

Activities of a block: mark and notice; milling and patching; sawing; removal, drilling and placing, which run as
one train so that a hole opened is closed the same day (Missouri 613.3, source ``missouri-613``); filling;
grinding, which waits for the last patch; striping.  Crews of one kind share their days: a task that needs less
than a day takes a part of one.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np
import pandas as pd

from rehab.base import tables
from rehab.base.errors import BadAssumption, Note
from rehab.base.settings import WEEKDAYS, Assumptions
from rehab.solvers import sequence

_DAY: Final = 100  # crew days are counted in hundredths

#: activity -> the tasks that it shows as, in order; the rate of the first-named crew row sets its crew
ACTIVITIES: Final[Mapping[str, tuple[str, ...]]] = {
    "mark": ("mark",), "patch": ("mill", "patch"), "saw": ("saw",), "panels": ("remove", "drill", "place"),
    "rebuild": ("remove.reconstruction", "place.reconstruction"), "fill": ("fill",), "grind": ("grind",),
    "stripe": ("stripe",),
}
_REPAIR: Final = frozenset({"mark", "patch", "saw", "panels", "rebuild"})
_NAMES: Final = {"mark": "marking", "patch": "patching", "saw": "sawing", "panels": "panels",
                 "rebuild": "reconstruction", "fill": "crack and joint filling", "grind": "grinding",
                 "stripe": "striping"}
_OPENS: Final = {"patch": "open_partial_days", "panels": "open_full_days", "rebuild": "open_reconstruction_days"}


@dataclass(frozen=True)
class _Activity:
    block: int
    kind: str
    days: int
    demand: int
    shown_days: float


def arrange(network: pd.DataFrame, program: pd.DataFrame, quantities: pd.DataFrame, assumptions: Assumptions,
            year: int, seconds: float = 2.0) -> tuple[pd.DataFrame, list[Note]]:
    """The table ``tasks`` of one year and what there is to say about it.

    ``program`` holds the year's rows, ``quantities`` one row per row of it with one column per pay item,
    ``network`` the same blocks in the same order.  What does not fit the season is put into the next one and
    noted; what fits neither is noted as left over.
    """
    notes: list[Note] = []
    rates = {key: _rate(key, assumptions) for keys in ACTIVITIES.values() for key in keys}
    amounts = quantities.assign(sqyd=network["area_sqyd"].to_numpy(float),
                                filling=quantities["crack_filling"] + quantities["joint_resealing"])
    activities = [item for row, amount in enumerate(amounts.to_dict("records"))
                  for item in _activities(row, amount, rates)]
    this = working_days(year, assumptions)
    rows, left = _place(activities, this, {}, assumptions, seconds)
    records = _records(rows, program, this, "this", assumptions)
    if left:
        following = working_days(year + 1, assumptions)
        later, never = _place(left, following, _carried(rows, this, assumptions), assumptions, seconds)
        records += _records(later, program, following, "next", assumptions)
        notes += _left_notes(left, never, program, year)
    table = pd.DataFrame(records)
    if table.empty:
        return tables.empty("tasks"), notes
    table = table.sort_values(["start", "block_id", "task_id"], ignore_index=True)
    return tables.check("tasks", tables.with_types("tasks", table)), notes


def span(year: int, assumptions: Assumptions) -> tuple[date, date]:
    """First and last day of the season."""
    first, last = (assumptions.text("season", key) for key in ("first_day", "last_day"))
    return date.fromisoformat(f"{year}-{first}"), date.fromisoformat(f"{year}-{last}")


def working_days(year: int, assumptions: Assumptions) -> list[date]:
    """Days on which crews work: the season's days of the work week less the holidays of the country or state."""
    import holidays

    first, last = span(year, assumptions)
    week = [WEEKDAYS.index(name) for name in assumptions.text("season", "work_week").split()]
    state = assumptions.text("season", "state") or None
    off = holidays.country_holidays(assumptions.text("season", "country"), subdiv=state, years=[year])
    days = (first + timedelta(days=offset) for offset in range((last - first).days + 1))
    return [day for day in days if day.weekday() in week and day not in off]


def earliest_grinding(last_patch: date, assumptions: Assumptions) -> date:
    """First calendar day on which a block may be ground."""
    return last_patch + timedelta(days=int(assumptions.number("curing", "grind_after_patch_days")))


def _activities(block: int, amount: Mapping[Hashable, float], rates: dict[str, tuple[str, float]]) -> list[_Activity]:
    """What one block needs; an activity with nothing to do is left out."""
    found = []
    for kind, keys in ACTIVITIES.items():
        needed = sum(amount[rates[key][0]] / rates[key][1] for key in keys)
        if needed <= 1e-9:
            continue
        days = max(1, int(np.ceil(needed - 1e-6)))
        demand = _DAY if days > 1 else max(1, int(np.ceil(needed * _DAY - 1e-6)))
        found.append(_Activity(block, kind, days, demand, needed))
    return found


def _rate(key: str, assumptions: Assumptions) -> tuple[str, float]:
    """The quantity a crew works off and how much of it a day, weather allowed for."""
    rate = assumptions.number("crews", key) * assumptions.number("season", "weather_factor")
    if rate <= 0:
        raise BadAssumption(f"crews: the rate of '{key}' is zero; nothing could ever be finished")
    return str(assumptions.table("crews").loc[key, "quantity"]), rate


def _place(activities: list[_Activity], days: list[date], carried: Mapping[tuple[int, str], date],
           assumptions: Assumptions, seconds: float) -> tuple[list[tuple[_Activity, int, int]], list[_Activity]]:
    """Activities with their first and last working day, and those that did not fit.

    First the repairs alone: what does not fit moves whole, its finishing with it.  Then all of the rest.  A block
    with no repairs among the activities had them in the season before; ``carried`` says what its finishing waits for.
    """
    repairs = [item for item in activities if item.kind in _REPAIR]
    before = {item.block for item in activities} - {item.block for item in repairs}
    fits = before | {item.block for item, _, _ in _fit(repairs, days, carried, assumptions, 0.0)}
    placed = _fit([item for item in activities if item.block in fits], days, carried, assumptions, seconds)
    repaired = before | {item.block for item, _, _ in placed if item.kind in _REPAIR}
    placed = [row for row in placed if row[0].block in repaired]
    there = {(item.block, item.kind) for item, _, _ in placed}
    return placed, [item for item in activities if (item.block, item.kind) not in there]


def _carried(placed: list[tuple[_Activity, int, int]], days: list[date],
             assumptions: Assumptions) -> dict[tuple[int, str], date]:
    """By block and activity, the first day of the next season's work that this season's concrete allows."""
    earliest: dict[tuple[int, str], date] = {}
    for item, _, finish in placed:
        for before, after, lag, _ in _waits(assumptions):
            if before == item.kind:
                key, day = (item.block, after), days[finish] + timedelta(days=lag)
                earliest[key] = max(day, earliest.get(key, day))
    return earliest


def _fit(activities: list[_Activity], days: list[date], carried: Mapping[tuple[int, str], date],
         assumptions: Assumptions, seconds: float) -> list[tuple[_Activity, int, int]]:
    """Activities with their first and last working day; those that did not fit are left out."""
    if not activities or not days:
        return []
    crew = {kind: _crew(kind, assumptions) for kind in ACTIVITIES}
    names = list(dict.fromkeys(crew[item.kind] for item in activities))
    demand = np.zeros((len(activities), len(names)), np.int64)
    for row, item in enumerate(activities):
        demand[row, names.index(crew[item.kind])] = item.demand
    capacity = np.array([_DAY * _crews(name, assumptions) for name in names], np.int64)
    # The repairs of a block fit together or not at all; so does the finishing after them, which never outweighs them.
    blocks = max(item.block for item in activities) + 1
    optional = np.array([item.block + (0 if item.kind in _REPAIR else blocks) for item in activities])
    weight = np.where(np.arange(2 * blocks) < blocks, blocks + 1, 1)
    found = sequence.arrange(
        np.array([item.days for item in activities]), _precedence(activities, assumptions), demand, capacity,
        calendar=np.array([day.toordinal() for day in days]), optional=optional, weight=weight[: optional.max() + 1],
        release=np.array([bisect_left(days, carried.get((item.block, item.kind), days[0])) for item in activities]),
        seconds=seconds)
    return [(item, start, start + item.days - 1)
            for item, start in zip(activities, found.start.tolist(), strict=True) if start >= 0]


def _crew(kind: str, assumptions: Assumptions) -> str:
    return str(assumptions.table("crews").loc[ACTIVITIES[kind][0], "crew"])


def _crews(name: str, assumptions: Assumptions) -> int:
    rows = assumptions.table("crews")
    return int(pd.to_numeric(rows.loc[rows["crew"] == name, "crews"]).max())


def _waits(assumptions: Assumptions) -> list[tuple[str, str, int, int]]:
    """Before, after, lag, unit of the lag (0 working days, 1 calendar days) of the activities of a block."""
    lag = {key: int(assumptions.number("curing", key)) for key in (
        "grind_after_patch_days", "stripe_after_concrete_days", "seal_after_concrete_days")}
    notice = int(assumptions.number("season", "notice_days"))
    fill_first = assumptions.text("curing", "fill_before_grinding") == "yes"
    concrete = ("patch", "panels", "rebuild")
    rules = [("mark", kind, notice, 1) for kind in ("patch", "saw", "panels", "rebuild")]
    rules += [("saw", "panels", 0, 0)]
    rules += [(kind, "grind", lag["grind_after_patch_days"], 1) for kind in concrete]
    rules += [(kind, "stripe", lag["stripe_after_concrete_days"], 1) for kind in concrete]
    rules += [(kind, "fill", lag["seal_after_concrete_days"], 1) for kind in concrete]
    rules += [("mark", kind, 0, 0) for kind in ("fill", "grind", "stripe")]
    fill = ("fill", "grind", 0, 0) if fill_first else ("grind", "fill", 0, 0)
    return [*rules, fill, ("grind", "stripe", 0, 0), ("fill", "stripe", 0, 0)]


def _precedence(activities: list[_Activity], assumptions: Assumptions) -> np.ndarray:
    """Rows before, after, lag, unit of the lag, by the position of the activities."""
    at = {(item.block, item.kind): row for row, item in enumerate(activities)}
    rules = _waits(assumptions)
    rows = [(at[block, before], at[block, after], days, unit)
            for block in sorted({item.block for item in activities}) for before, after, days, unit in rules
            if (block, before) in at and (block, after) in at]
    return np.array(rows, np.int64).reshape(-1, 4)


def _records(placed: list[tuple[_Activity, int, int]], program: pd.DataFrame, days: list[date], season: str,
             assumptions: Assumptions) -> list[dict[str, object]]:
    records: list[dict[str, object]] = []
    blocks = program["block_id"].to_numpy()
    crews = {key: (str(row["task"]), str(row["crew"])) for key, row in assumptions.table("crews").iterrows()}
    for item, start, finish in placed:
        opens = None
        if item.kind in _OPENS:
            wait = int(np.ceil(assumptions.number("curing", _OPENS[item.kind])))
            opens = days[finish] + timedelta(days=wait)
        for key in ACTIVITIES[item.kind]:
            task, crew = crews[key]
            records.append({
                "task_id": f"{blocks[item.block]}/{task}", "block_id": blocks[item.block], "task": task,
                "crew": crew, "start": pd.Timestamp(days[start]), "finish": pd.Timestamp(days[finish]),
                "opens": pd.Timestamp(opens) if opens else pd.NaT, "days": item.shown_days, "season": season})
    return records


def _left_notes(left: list[_Activity], never: list[_Activity], program: pd.DataFrame, year: int) -> list[Note]:
    names = program["block_id"].to_numpy()
    lost = {(item.block, item.kind) for item in never}
    notes = []
    for block in sorted({item.block for item in left}):
        kinds = [item.kind for item in left if item.block == block]
        name = str(names[block])
        gone = [kind for kind in kinds if (block, kind) in lost]
        if gone:
            notes.append(Note("season", name, year, f"fits neither this season nor the next: {_words(gone)}; "
                              "more crews, higher rates or a longer season are needed"))
        elif set(kinds) & _REPAIR:
            notes.append(Note("season", name, year, f"does not fit this season; all work moves to {year + 1}"))
        else:
            notes.append(Note("season", name, year, f"patched this season; left for {year + 1}: {_words(kinds)}"))
    return notes


def _words(kinds: list[str]) -> str:
    return ", ".join(_NAMES[kind] for kind in kinds)
