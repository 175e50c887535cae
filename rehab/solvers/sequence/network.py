"""The tasks as the scheduler holds them: checked, in an order of precedence, with earliest and latest starts."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Arc:
    """One precedence: the other task, and which row of the lag tables (-1: a lag in periods)."""

    task: int
    lag: int
    table: int


@dataclass(frozen=True)
class Network:
    """Everything about the tasks; periods run from 0 to ``horizon`` - 1.

    ``duration[n]``, ``demand[n, k]``, ``capacity[k, horizon]``, ``release[n]``, ``deadline[n]`` (latest finish,
    never beyond the horizon), ``group[n]`` (-1: compulsory), ``weight[g]``, ``before`` and ``after`` (arcs of
    each task), ``order`` (tasks, each after its predecessors), ``tables[l, p]``: first period at which
    a successor may start when the last period worked is ``p`` (beyond the horizon: never).
    """

    duration: Ints
    demand: Ints
    capacity: Ints
    release: Ints
    deadline: Ints
    group: Ints
    weight: Ints
    horizon: int
    before: list[list[Arc]]
    after: list[list[Arc]]
    order: list[int]
    tables: Ints
    early: Ints = field(default_factory=lambda: np.zeros(0, np.int64))
    late: Ints = field(default_factory=lambda: np.zeros(0, np.int64))

    def ready(self, task: int, start: int, arc: Arc) -> int:
        """First period in which the task behind ``arc`` may start when ``task`` starts at ``start``."""
        finish = start + int(self.duration[task])
        if arc.table < 0:
            return finish + arc.lag
        last = finish - 1 if self.duration[task] else start
        if last >= self.horizon:
            return self.horizon + 1
        return max(finish, int(self.tables[arc.table, last]))

    def latest(self, task: int, arc: Arc, start: int) -> int:
        """Latest start of ``task`` that lets the task behind ``arc`` start at ``start``; negative if none."""
        duration = int(self.duration[task])
        if arc.table < 0:
            return start - arc.lag - duration
        last = int(np.searchsorted(self.tables[arc.table], start, side="right")) - 1
        return min(last - max(duration - 1, 0), start - duration)

    @property
    def hopeless(self) -> Ints:
        """Optional groups with a task that has no room."""
        return np.unique(self.group[(self.early > self.late) & (self.group >= 0)])

    def bound_to(self, task: int, other: int) -> bool:
        """Whether ``task`` cannot be placed without ``other``: it is compulsory or of the same group."""
        return bool(self.group[other] < 0 or self.group[other] == self.group[task])


def check(duration: npt.ArrayLike, precedence: npt.ArrayLike, demand: npt.ArrayLike, capacity: npt.ArrayLike, *,
          calendar: npt.ArrayLike | None, release: npt.ArrayLike | None, deadline: npt.ArrayLike | None,
          optional: npt.ArrayLike | None, weight: npt.ArrayLike | None, horizon: int | None) -> Network:
    """The caller's arrays as a :class:`Network`; raises :class:`ValueError` naming the first wrong entry."""
    lengths = _whole(duration, "duration", 1)
    n = len(lengths)
    arcs = _whole(precedence, "precedence", 2)
    arcs = arcs.reshape(-1, 3) if arcs.size == 0 else arcs
    if arcs.shape[1] not in (3, 4):
        raise ValueError("precedence must have the columns before, after, lag and optionally kind of lag")
    arcs = np.column_stack([arcs, np.zeros(len(arcs), np.int64)]) if arcs.shape[1] == 3 else arcs
    if len(arcs) and (arcs[:, :2].max() >= n or arcs[:, 3].max() > 1):
        row = int(np.argmax((arcs[:, :2].max(axis=1) >= n) | (arcs[:, 3] > 1)))
        raise ValueError(f"precedence row {row}: tasks run from 0 to {n - 1}, the kind of lag is 0 or 1")
    days = None if calendar is None else _whole(calendar, "calendar", 1, low=None)
    if days is not None and (np.diff(days) <= 0).any():
        raise ValueError(f"calendar[{int(np.argmax(np.diff(days) <= 0)) + 1}] must be later than the day before it")
    if days is None and len(arcs) and arcs[:, 3].any():
        raise ValueError("a lag in calendar days needs a calendar")
    limits = _whole(capacity, "capacity", None)
    needs = _whole(demand, "demand", None)
    needs = needs.reshape(n, len(limits)) if needs.size == 0 or needs.ndim == 1 else needs
    if needs.shape != (n, len(limits)):
        raise ValueError(f"demand must have the shape {(n, len(limits))}, got {needs.shape}")
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
    before, after, tables = _arcs(arcs, n, days, horizon)
    network = Network(lengths, needs, level, starts, ends, groups, weights, horizon, before, after,
                      _ordered(before, after), tables)
    return _with_times(network)


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


def _arcs(rows: Ints, n: int, days: Ints | None, horizon: int) -> tuple[list[list[Arc]], list[list[Arc]], Ints]:
    """Arcs by task, and one table for each lag in calendar days."""
    lags = np.unique(rows[rows[:, 3] == 1, 2])
    if days is None or not len(lags):
        tables = np.zeros((0, horizon), np.int64)
    else:
        tables = np.searchsorted(days[:horizon], days[None, :horizon] + lags[:, None])
        tables[tables == horizon] = horizon + 1
    before: list[list[Arc]] = [[] for _ in range(n)]
    after: list[list[Arc]] = [[] for _ in range(n)]
    for first, second, lag, kind in rows.tolist():
        table = int(np.searchsorted(lags, lag)) if kind else -1
        before[second].append(Arc(first, lag, table))
        after[first].append(Arc(second, lag, table))
    return before, after, tables


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


def _with_times(network: Network) -> Network:
    """Earliest and latest start of each task by precedence, release and deadline alone.

    An optional task that asks for more than there ever is gets no room at all.
    """
    early, late = network.release.copy(), network.deadline - network.duration
    asks = (network.demand > network.capacity.max(axis=1, initial=0)).any(axis=1) & (network.duration > 0)
    late[asks & (network.group >= 0)] = -1
    for task in network.order:
        for arc in network.before[task]:
            if network.bound_to(task, arc.task):
                early[task] = max(early[task], network.ready(arc.task, int(early[arc.task]), arc))
    for task in reversed(network.order):
        for arc in network.after[task]:
            if network.bound_to(task, arc.task):
                late[task] = min(late[task], network.latest(task, arc, int(late[arc.task])))
    return Network(**{**network.__dict__, "early": early, "late": late})


def makespan_bound(network: Network, must: Bools) -> tuple[int, int | None]:
    """No arrangement of the tasks in ``must`` ends sooner: longest path, and work content of each resource.

    Also returns the resource that sets the bound, None if a path does.
    """
    if not must.any():
        return 0, None
    tail = np.zeros(len(must), np.int64)
    for task in reversed(network.order):
        for arc in network.after[task]:
            if must[arc.task]:
                gap = arc.lag if arc.table < 0 else _least_gap(network, arc.table)
                tail[task] = max(tail[task], gap + network.duration[arc.task] + tail[arc.task])
    best, tightest = int((network.early + network.duration + tail)[must].max()), None
    for resource in range(network.demand.shape[1]):
        users = np.flatnonzero(must & (network.demand[:, resource] * network.duration > 0))
        if len(users):
            work = int(network.demand[users, resource] @ network.duration[users])
            most = max(int(network.capacity[resource].max(initial=0)), 1)
            level = int(network.early[users].min()) - (-work // most) + int(tail[users].min())
            if level > best:
                best, tightest = level, resource
    return best, tightest


def _least_gap(network: Network, table: int) -> int:
    """Fewest periods that a lag in calendar days can take."""
    first = network.tables[table]
    return max(int((first - np.arange(len(first)) - 1).min(initial=0)), 0)
