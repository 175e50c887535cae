"""The caller's arrays to tasks: checked, in an order of precedence, with a list of days for each lag and calendar."""

from __future__ import annotations

from collections import deque

import numpy as np
import numpy.typing as npt

from rehab.solvers.sequence.network import Arc, Ints, Network, Use
from rehab.solvers.sequence.times import with_times


def check(duration: npt.ArrayLike, precedence: npt.ArrayLike, demand: npt.ArrayLike, capacity: npt.ArrayLike, *,
          calendar: npt.ArrayLike | None, lags: npt.ArrayLike | None, calendars: npt.ArrayLike | None,
          works: npt.ArrayLike | None, unbroken: npt.ArrayLike | None, holds: npt.ArrayLike | None,
          copies: npt.ArrayLike | None,
          release: npt.ArrayLike | None, deadline: npt.ArrayLike | None,
          optional: npt.ArrayLike | None, weight: npt.ArrayLike | None, needs: npt.ArrayLike | None,
          site: npt.ArrayLike | None,
          distance: npt.ArrayLike | None, horizon: int | None) -> Network:
    """The caller's arrays as a :class:`Network`; raises :class:`ValueError` naming the first wrong entry."""
    lengths = _whole(duration, "duration", 1)
    n = len(lengths)
    arcs = _arc_rows(precedence, n)
    days = None if calendar is None else _whole(calendar, "calendar", 1, low=None)
    if days is not None and (np.diff(days) < 0).any():
        raise ValueError(f"calendar[{int(np.argmax(np.diff(days) < 0)) + 1}] must not be before the one before it")
    limits = _whole(capacity, "capacity", None)
    asked = _whole(demand, "demand", None)
    asked = asked.reshape(n, len(limits)) if asked.size == 0 or asked.ndim == 1 else asked
    if asked.shape != (n, len(limits)):
        raise ValueError(f"demand must have the shape {(n, len(limits))}, got {asked.shape}")
    starts = np.zeros(n, np.int64) if release is None else _sized(release, "release", n)
    if horizon is None:
        free = int(starts.max(initial=0) + lengths.sum() + arcs[:, 2].sum())
        horizon = len(days) if days is not None else limits.shape[1] if limits.ndim == 2 else free
    if (days is not None and len(days) < horizon) or (limits.ndim == 2 and limits.shape[1] < horizon):
        raise ValueError(f"calendar and capacity must reach to the horizon of {horizon} periods")
    ends = np.full(n, horizon) if deadline is None else np.minimum(_sized(deadline, "deadline", n), horizon)
    groups = np.full(n, -1) if optional is None else _sized(optional, "optional", n, low=-1)
    count = int(groups.max(initial=-1)) + 1
    weights = np.ones(count, np.int64) if weight is None else _sized(weight, "weight", count)
    level = limits[:, :horizon] if limits.ndim == 2 else np.repeat(limits[:, None], horizon, axis=1)
    finish = _finishes(lengths, calendars, works, horizon)
    if unbroken is not None:
        finish = _within_days(finish, lengths, _sized(unbroken, "unbroken", n), days, horizon)
    tables = _tables(lags, "lags", horizon)
    before, after = _arcs(arcs, lengths, finish, days, tables, horizon)
    places = None if site is None or distance is None else _sized(site, "site", n)
    several = np.ones(len(limits), np.int64) if copies is None else _sized(copies, "copies", len(limits), low=1)
    with_it = _with_it(needs, count)
    uses = _uses(asked, lengths, finish, holds, tables, horizon)
    way = None if places is None else np.asarray(distance, float)
    return with_times(Network(lengths, finish, asked, level, several, uses, starts, ends, groups, weights, with_it,
                               horizon, before, after, _ordered(before, after), places, way))


def _with_it(needs: npt.ArrayLike | None, count: int) -> list[list[int]]:
    """Of each group, those that need it."""
    rows = np.zeros((0, 2), np.int64) if needs is None else _whole(needs, "needs", 2).reshape(-1, 2)
    if rows.size and rows.max() >= count:
        raise ValueError(f"needs: groups run from 0 to {count - 1}")
    found: list[list[int]] = [[] for _ in range(count)]
    for group, needed in rows.tolist():
        found[needed].append(group)
    return found


def _arc_rows(precedence: npt.ArrayLike, n: int) -> Ints:
    """Rows before, after, lag, kind of lag."""
    arcs = _whole(precedence, "precedence", 2)
    arcs = arcs.reshape(-1, 3) if arcs.size == 0 else arcs
    if arcs.shape[1] not in (3, 4):
        raise ValueError("precedence must have the columns before, after, lag and optionally kind of lag")
    arcs = np.column_stack([arcs, np.zeros(len(arcs), np.int64)]) if arcs.shape[1] == 3 else arcs
    if len(arcs) and (arcs[:, :2].max() >= n or arcs[:, 3].max() > 2):
        row = int(np.argmax((arcs[:, :2].max(axis=1) >= n) | (arcs[:, 3] > 2)))
        raise ValueError(f"precedence row {row}: tasks run from 0 to {n - 1}, the kind of lag is 0, 1 or 2")
    return arcs


def _whole(values: npt.ArrayLike, name: str, dimensions: int | None, low: int | None = 0) -> Ints:
    """Whole numbers, not below ``low``."""
    array = np.asarray(values)
    array = array.reshape(array.shape if array.ndim else (1,))
    if array.size and not (array.dtype.kind in "iu" or (array.dtype.kind == "f" and (array == np.round(array)).all())):
        raise ValueError(f"{name} must hold whole numbers")
    array = array.astype(np.int64)
    if dimensions is not None and array.ndim != dimensions and array.size:
        raise ValueError(f"{name} must have {dimensions} dimension(s), got {array.ndim}")
    if low is not None and array.size and array.min() < low:
        place = [int(at) for at in np.argwhere(array < low)[0]]
        raise ValueError(f"{name}{place} must be at least {low}")
    return array


def _sized(values: npt.ArrayLike, name: str, size: int, low: int = 0) -> Ints:
    """Whole numbers, ``size`` of them."""
    array = _whole(values, name, 1, low)
    if len(array) != size:
        raise ValueError(f"{name} must have {size} entries, got {len(array)}")
    return array


def _tables(rows: npt.ArrayLike | None, name: str, horizon: int, low: int = 0) -> Ints:
    """Rows of one whole number for each period, never falling from one that is not -1 to a later one."""
    if rows is None:
        return np.zeros((0, horizon), np.int64)
    array = _whole(rows, name, 2, low).reshape(-1, horizon) if np.size(rows) == 0 else _whole(rows, name, 2, low)
    if array.shape[1] < horizon:
        raise ValueError(f"{name} must reach to the horizon of {horizon} periods")
    array = array[:, :horizon]
    for number, row in enumerate(array):
        if (np.diff(row[row >= 0]) < 0).any():
            raise ValueError(f"{name}[{number}] must not fall")
    return array


def _finishes(lengths: Ints, calendars: npt.ArrayLike | None, works: npt.ArrayLike | None,
              horizon: int) -> list[list[int]]:
    """By task and start, up to and including the horizon, one past the last period; tasks alike share a list.

    A task with a calendar starts in one of its periods and works in these alone.
    """
    at = np.arange(horizon + 1)
    plain = {length: np.where(at + length <= horizon, at + length, -1).tolist()
             for length in np.unique(lengths).tolist()}
    if works is None:
        return [plain[length] for length in lengths.tolist()]
    rows = np.asarray(calendars).astype(bool)
    which = _sized(works, "works", len(lengths), low=-1)
    if rows.ndim != 2 or rows.shape[1] < horizon or which.max(initial=-1) >= len(rows):
        raise ValueError(f"calendars must have a row for every number in works and reach to {horizon} periods")
    own: dict[tuple[int, int], list[int]] = {}
    for row, length in dict.fromkeys(zip(which.tolist(), lengths.tolist(), strict=True)):
        if row < 0:
            continue
        open_at = np.flatnonzero(rows[row, :horizon])
        found = np.full(horizon + 1, -1)
        if length == 0:
            found[open_at] = open_at
        elif len(open_at) >= length:
            found[open_at[: len(open_at) - length + 1]] = open_at[length - 1:] + 1
        own[row, length] = found.tolist()
    return [plain[length] if row < 0 else own[row, length]
            for row, length in zip(which.tolist(), lengths.tolist(), strict=True)]


def _within_days(finish: list[list[int]], lengths: Ints, unbroken: Ints, days: Ints | None,
                 horizon: int) -> list[list[int]]:
    """The same, but for tasks that must begin and end on one calendar day: they start where they can."""
    if days is None:
        raise ValueError("unbroken tasks need a calendar")
    kept: dict[int, list[int]] = {}
    for table, keep, length in zip(finish, unbroken.tolist(), lengths.tolist(), strict=True):
        if keep and length and id(table) not in kept:
            end = np.array(table[:horizon])
            same = (end > 0) & (days[:horizon] == days[np.maximum(end, 1) - 1])
            kept[id(table)] = [*np.where(same, end, -1).tolist(), -1]
    return [kept[id(table)] if keep and length else table
            for table, keep, length in zip(finish, unbroken.tolist(), lengths.tolist(), strict=True)]


def _arcs(rows: Ints, lengths: Ints, finish: list[list[int]], days: Ints | None, tables: Ints,
          horizon: int) -> tuple[list[list[Arc]], list[list[Arc]]]:
    """Arcs by task, with one list of earliest starts for each lag of tasks alike."""
    n = len(lengths)
    kept: dict[tuple[int, int, int, bool], list[int]] = {}
    before: list[list[Arc]] = [[] for _ in range(n)]
    after: list[list[Arc]] = [[] for _ in range(n)]
    for first, second, lag, kind in rows.tolist():
        if kind == 1 and days is None:
            raise ValueError("a lag in calendar days needs a calendar")
        if kind == 2 and lag >= len(tables):
            raise ValueError(f"lag {lag} of kind 2 has no row in lags")
        key = (id(finish[first]), lag, kind, bool(lengths[first]))
        if key not in kept:
            kept[key] = _ready(finish[first], bool(lengths[first]), lag, kind, days, tables, horizon)
        before[second].append(Arc(first, kept[key]))
        after[first].append(Arc(second, kept[key]))
    return before, after


def _ready(finish: list[int], works: bool, lag: int, kind: int, days: Ints | None, tables: Ints,
           horizon: int) -> list[int]:
    """By start, the first period after the lag; one past the horizon where there is none."""
    end, start = np.array(finish), np.arange(horizon + 1)
    last = end - 1 if works else start
    if kind == 0:
        found = end + lag
    else:
        table = tables[lag] if kind == 2 else np.searchsorted(days[:horizon], days[:horizon] + lag) \
            if days is not None else np.zeros(0, np.int64)
        table = np.where(table >= horizon, horizon + 1, table)
        found = np.where(last < horizon, np.maximum(end, table[np.clip(last, 0, horizon - 1)]), horizon + 1) \
            if horizon else end
    return [int(period) for period in np.where(end < 0, horizon + 1, found)]


def _uses(needs: Ints, lengths: Ints, finish: list[list[int]], holds: npt.ArrayLike | None, tables: Ints,
          horizon: int) -> list[list[Use]]:
    """What each task asks for; a task without length asks for nothing."""
    rows = np.zeros((0, 3), np.int64) if holds is None else _whole(holds, "holds", 2).reshape(-1, 3)
    if len(rows) and (rows >= [len(needs), needs.shape[1], len(tables)]).any():
        raise ValueError("holds has a row of a task, a resource or a row of lags that does not exist")
    kept: dict[tuple[int, int], list[int]] = {}
    until: dict[tuple[int, int], list[int]] = {}
    for task, resource, row in rows.tolist():
        key = (id(finish[task]), row)
        if key not in kept:
            table = np.minimum(tables[row], horizon)
            kept[key] = [end if end <= 0 else max(end, int(table[end - 1])) for end in finish[task]]
        until[task, resource] = kept[key]
    uses: list[list[Use]] = [[] for _ in range(len(needs))]
    for task, resource in np.argwhere((needs > 0) & (lengths > 0)[:, None]).tolist():
        uses[task].append(Use(resource, int(needs[task, resource]), until.get((task, resource))))
    return uses


def _ordered(before: list[list[Arc]], after: list[list[Arc]]) -> list[int]:
    """Tasks, each after all of its predecessors; ValueError if some wait for one another."""
    waiting = [len(arcs) for arcs in before]
    ready = deque(task for task, count in enumerate(waiting) if count == 0)
    order: list[int] = []
    while ready:
        task = ready.popleft()
        order.append(task)
        for arc in after[task]:
            waiting[arc.task] -= 1
            if waiting[arc.task] == 0:
                ready.append(arc.task)
    if len(order) < len(before):
        stuck = [task for task, count in enumerate(waiting) if count > 0]
        raise ValueError(f"tasks wait for one another in a circle: {stuck[:10]}")
    return order
