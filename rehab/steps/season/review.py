"""What a calendar breaks: every rule checked again, task by task, after one was moved by hand."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np
import pandas as pd

from rehab.base import tables
from rehab.steps.season import rules
from rehab.steps.season.air import by_forecast
from rehab.steps.season.frame import Frame, closures
from rehab.steps.season.work import ACTIVITIES, CONCRETE, NAMES, PARTS, WHOLE, Activity, daily_concrete

_EPS = 1e-6


@dataclass(frozen=True)
class _Span:
    """A visit as the table of tasks has it: the rows of its tasks share its days."""

    item: Activity
    task_id: str
    first: date
    last: date
    begins: float
    ends: float
    opens: date | None
    crews: Mapping[str, str]


def moved(frames: Mapping[str, Frame], items: Iterable[Activity], tasks: pd.DataFrame, task_id: str,
          day: date) -> pd.DataFrame:
    """The table ``tasks`` with one visit moved to begin on ``day``: as many working days, opening after it.

    All tasks of its train move with it, whatever that breaks; :class:`KeyError` for a task that is not there.
    """
    row = tasks.set_index("task_id").loc[task_id]
    frame = frames[str(row["season"])]
    item = _items(frame, items)[task_id]
    span = _span(tasks, frame, item)
    assert span is not None
    worked = np.flatnonzero(np.repeat(frame.open_to(item.block, item.kind), PARTS))
    begin, length = frame.period(day) * PARTS + round(span.begins * PARTS), item.parts
    later = worked[worked >= begin]
    end = int(later[min(length, len(later)) - 1]) if len(later) else begin
    last = frame.days[min(end // PARTS, len(frame.days) - 1)]
    change: dict[str, Any] = {"start": pd.Timestamp(day), "finish": pd.Timestamp(max(last, day)),
                              "ends_at": (end % PARTS + 1) / PARTS}
    if item.kind in CONCRETE:
        soonest, likely, latest, _ = frame.opened(item.block, item.kind, max(last, day))
        change |= {"opens_soonest": pd.Timestamp(soonest), "opens": pd.Timestamp(likely),
                   "opens_latest": pd.Timestamp(latest)}
    mine = tasks["task_id"].isin(_ids(frame, item)) & (tasks["season"] == row["season"])
    found_rows = tasks.copy()
    for name, value in change.items():
        found_rows.loc[mine, name] = value
    return found_rows.sort_values(["start", "block_id"], kind="stable", ignore_index=True)


def breaks(frames: Mapping[str, Frame], items: Iterable[Activity], tasks: pd.DataFrame) -> pd.DataFrame:
    """The table ``breaks``: every rule of the season that the tasks do not keep, with its dates."""
    kept = list(items)
    records: list[dict[str, str]] = []
    for season, frame in frames.items():
        rows = tasks[tasks["season"] == season]
        spans = [span for item in kept if (span := _span(rows, frame, item)) is not None]
        for span in spans:
            records += _days_broken(frame, span)
        records += _waits_broken(frame, spans) + _crews_broken(frame, spans) + _closures_broken(frame, spans)
        records += _supply_broken(frame, spans)
        records = _to_come(frame, records)
    if not records:
        return tables.empty("breaks")
    return tables.check("breaks", tables.with_types("breaks", pd.DataFrame(records)))


def _to_come(frame: Frame, records: list[dict[str, str]]) -> list[dict[str, str]]:
    """Without what is said of work that is begun or done: it cannot be moved any more."""
    actual = frame.given.actual
    if actual is None:
        return records
    begun = set(actual.loc[actual["started"].notna() | actual["finished"].notna(), "task_id"])
    return [record for record in records if record["task_id"] not in begun]


def _ids(frame: Frame, item: Activity) -> list[str]:
    """Ids of the tasks of an activity."""
    rows = frame.assumptions.table("crews")["task"]
    block = frame.ground.network["block_id"].iloc[item.block]
    found = [f"{block}/{rows.at[key]}" for key in ACTIVITIES[item.kind]]
    return list(dict.fromkeys([*found, f"{block}/notice"] if item.kind == "mark" else found))


def _items(frame: Frame, items: Iterable[Activity]) -> dict[str, Activity]:
    return {task: item for item in items for task in _ids(frame, item)}


def _span(tasks: pd.DataFrame, frame: Frame, item: Activity) -> _Span | None:
    ids = _ids(frame, item)
    rows = tasks[tasks["task_id"].isin(ids)]
    if rows.empty:
        return None
    names = frame.assumptions.table("crews")["crew"]
    tasks_of = frame.assumptions.table("crews")["task"]
    crews = {str(names.at[key]): str(rows.loc[rows["task"] == tasks_of.at[key], "crew"].iloc[0])
             for key in ACTIVITIES[item.kind] if (rows["task"] == tasks_of.at[key]).any()}
    opens = rows["opens"].dropna()
    # the last task of a train names it: it is what the train is for
    return _Span(item, str(rows["task_id"].iloc[-1]), rows["start"].min().date(), rows["finish"].max().date(),
                 float(rows["begins_at"].min()), float(rows["ends_at"].max()),
                 opens.max().date() if len(opens) else None, crews)


def _broken(frame: Frame, span: _Span, rule: str, message: str) -> dict[str, str]:
    return {"task_id": span.task_id, "block_id": str(frame.ground.network["block_id"].iloc[span.item.block]),
            "rule": rule, "message": message}


def _days_broken(frame: Frame, span: _Span) -> list[dict[str, str]]:
    """First and last days on which that work is not done there."""
    found = []
    open_at = frame.open_to(span.item.block, span.item.kind)
    for word, day in (("begins", span.first), ("ends", span.last)):
        at = frame.period(day)
        if at >= len(frame.days) or frame.days[at] != day:
            what = ("a holiday" if day in frame.off else "outside the season" if not frame.days
                    or not frame.days[0] <= day <= frame.days[-1] else "no day of the work week")
        elif frame.shut[span.item.block, at]:
            what = "kept free of work"
        elif not open_at[at]:
            told = "forecast" if by_forecast([day], frame.given.forecast)[0] else "normals"
            what = (f"too cold or too hot by the {told}, or a holiday comes before it opens"
                    if span.item.kind in ("patch", "panels") else f"too cold or too hot by the {told}")
        else:
            continue
        found.append(_broken(frame, span, "day", f"{NAMES[span.item.kind]} {word} on {_day(day)}, {what}"))
    return found


def _waits_broken(frame: Frame, spans: list[_Span]) -> list[dict[str, str]]:
    """Work that comes before what it waits for allows."""
    by_key = {(span.item.block, span.item.kind): span for span in spans}
    found = []
    for span in spans:
        for wait in frame.waits:
            before = by_key.get((span.item.block, wait.before))
            if wait.after == span.item.kind and before is not None:
                earliest = frame.earliest(wait, span.item.block, before.last)
                if span.first < earliest:
                    found.append(_broken(frame, span, "wait", f"{NAMES[span.item.kind]} on {_day(span.first)} comes "
                                         f"before {_day(earliest)}: {wait.words}"))
    return found


def _crews_broken(frame: Frame, spans: list[_Span]) -> list[dict[str, str]]:
    """Days on which more is asked of a crew than it has; the machine's blocks follow one another within a day."""
    found = []
    by_crew: dict[str, list[tuple[_Span, str]]] = {}
    for span in spans:
        for name, label in span.crews.items():
            by_crew.setdefault(label, []).append((span, name))
    for label, rows in by_crew.items():
        if rows[0][1] == "Grinder":
            found += _machine_broken(frame, [span for span, _ in rows])
            continue
        load = np.zeros(len(frame.days) * PARTS, int)
        for span, name in rows:
            load[_parts(frame, span)] += span.item.asks[name]
        for day in np.unique(np.flatnonzero(load > WHOLE) // PARTS).tolist():
            over = day * PARTS + np.flatnonzero(load[day * PARTS: (day + 1) * PARTS] > WHOLE)
            there = [span for span, _ in rows if set(over) & set(range(*_parts(frame, span).indices(len(load))))]
            found.append(_broken(frame, there[-1], "crew", f"{label} is asked to be on {len(there)} blocks at once on "
                                 f"{_day(frame.days[day])}"))
    return found


def _parts(frame: Frame, span: _Span) -> slice:
    """Parts of days from the beginning of a visit to its end."""
    first, last = frame.period(span.first), frame.period(span.last + timedelta(days=1)) - 1
    return slice(first * PARTS + round(span.begins * PARTS), max(last, first) * PARTS + round(span.ends * PARTS))


def _machine_broken(frame: Frame, spans: list[_Span]) -> list[dict[str, str]]:
    """More machine days of whole blocks between two days than there are working days."""
    found = []
    for begin in sorted({span.first for span in spans}):
        inside = sorted((span for span in spans if span.first >= begin), key=lambda span: span.last)
        total = 0.0
        for span in inside:
            total += span.item.crew_days["Grinder"]
            room = frame.period(span.last + timedelta(days=1)) - frame.period(begin)
            if total > room + _EPS:
                found.append(_broken(frame, span, "crew", f"the grinder is asked for {total:.1f} days of work from "
                                     f"{_day(begin)} to {_day(span.last)}, it has {room}"))
                return found
    return found


def _closures_broken(frame: Frame, spans: list[_Span]) -> list[dict[str, str]]:
    """Days on which more blocks are closed than a rule allows."""
    closing = [span for span in spans if span.item.kind in rules.CLOSING]
    found = []
    for closure in closures(frame, [span.item for span in closing]):
        mine = [span for span in closing if span.item.block in closure.members]
        for span in mine:
            until = _until(span, closure.kind)
            if closure.kind == "block":
                others = [other for other in mine if other is not span and other.first <= span.first <= other.last]
                if others and (span.first > others[0].first or span.task_id > others[0].task_id):
                    found.append(_broken(frame, span, "block", f"{NAMES[span.item.kind]} on {_day(span.first)} meets "
                                         f"{NAMES[others[0].item.kind]}: {closure.words}"))
                continue
            shut = {other.item.block for other in mine if other.first <= span.first < _until(other, closure.kind)}
            if len(shut) > closure.most and until > span.first:
                found.append(_broken(frame, span, closure.kind, f"{len(shut)} blocks are closed on {_day(span.first)}: "
                                     f"{closure.words}"))
    return found


def _until(span: _Span, kind: str) -> date:
    """First day on which a block is open again."""
    after = span.last + timedelta(days=1)
    return after if span.opens is None or kind == "block" else max(span.opens, after)


def _supply_broken(frame: Frame, spans: list[_Span]) -> list[dict[str, str]]:
    """Days on which more concrete is placed than is delivered."""
    limit = daily_concrete(frame.assumptions)
    parts = np.zeros(len(frame.days) * PARTS)
    for span in spans:
        parts[_parts(frame, span)] += span.item.supply / 10.0
    load = parts.reshape(-1, PARTS).sum(axis=1)
    return [] if limit is None else [
        _broken(frame, [span for span in spans if span.first <= frame.days[at] <= span.last and span.item.supply][-1],
                "concrete", f"{load[at]:.0f} cu yd are placed on {_day(frame.days[at])}, {limit} are delivered")
        for at in np.flatnonzero(load > limit + _EPS).tolist()]


def _day(day: date) -> str:
    return f"{day:%a} {day.day} {day:%b %Y}"
