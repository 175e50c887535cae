"""The serial heuristic: tasks are placed one by one, each as early as its predecessors and the crews allow."""

from __future__ import annotations

import heapq
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rehab.solvers.sequence.network import Ints, Network

WORK = 24_000
"""Task placements spent on random sampling, about a second."""


@dataclass(frozen=True)
class Attempt:
    """One pass: start of each task (-1: left out), or the compulsory task that found no place."""

    start: Ints
    weight: int
    makespan: int
    stuck: int | None = None

    @property
    def rank(self) -> tuple[bool, int, int]:
        """Smaller is better."""
        return (self.stuck is not None, -self.weight, self.makespan)


def best(network: Network, seed: int) -> Attempt:
    """The best of several priority rules and of seeded random variations of the better ones."""
    rules = _rules(network)
    tried = sorted((place(network, key) for key in rules), key=lambda attempt: attempt.rank)
    winner = tried[0]
    rng = np.random.default_rng(seed)
    n = len(network.duration)
    if not n:
        return winner
    for turn in range(min(max(WORK // max(n, 1), 4), 100)):
        key = rules[turn % 2].copy()
        key += rng.normal(0.0, 0.15 * max(float(np.ptp(key)), 1.0) * (0.2 + turn % 5), n)
        attempt = place(network, key)
        if attempt.rank < winner.rank:
            winner = attempt
    return winner


def _rules(network: Network) -> list[npt.NDArray[np.float64]]:
    """Priorities, the smallest first: latest finish, latest start, group by group, work still to follow."""
    late = network.late.astype(float)
    follow = np.zeros(len(late))
    for task in reversed(network.order):
        later = max((follow[arc.task] + arc.lag for arc in network.after[task]), default=0.0)
        follow[task] = later + network.duration[task]
    member = network.group >= 0
    size = np.bincount(network.group[member], network.duration[member], minlength=len(network.weight))
    worth = size / np.maximum(network.weight, 1e-9)
    rank = np.argsort(np.argsort(worth, kind="stable"), kind="stable") if len(worth) else np.zeros(0)
    by_group = late + np.where(member, (rank[network.group] if len(rank) else 0.0) * (network.horizon + 1.0), 0.0)
    return [late + network.duration, by_group, late, -follow]


def place(network: Network, key: npt.NDArray[np.float64]) -> Attempt:
    """Place all tasks in the order of ``key``, smaller first, predecessors always before.

    When a task of an optional group finds no place, its whole group is taken out, and tried once more at the end.
    """
    n = len(network.duration)
    start, free = np.full(n, -1), network.capacity.copy()
    late = set(network.hopeless.tolist())
    out = set(late)
    waiting = [len(arcs) for arcs in network.before]
    heap = [(key[task], task) for task in range(n) if waiting[task] == 0]
    heapq.heapify(heap)
    while heap:
        _, task = heapq.heappop(heap)
        group = int(network.group[task])
        if group not in out and not _put(network, task, start, free):
            if group < 0:
                return Attempt(start, 0, 0, task)
            out.add(group)
            _take(network, group, start, free)
        for arc in network.after[task]:
            waiting[arc.task] -= 1
            if waiting[arc.task] == 0:
                heapq.heappush(heap, (key[arc.task], arc.task))
    again = out - late
    members: dict[int, list[int]] = {}
    for task in network.order if again else ():
        members.setdefault(int(network.group[task]), []).append(task)
    for group in sorted(again, key=lambda name: (-int(network.weight[name]), name)):
        _retry(network, group, members[group], start, free)
    placed = start >= 0
    ends = (start + network.duration)[placed]
    groups = np.unique(network.group[placed & (network.group >= 0)])
    return Attempt(start, int(network.weight[groups].sum()), int(ends.max(initial=0)))


def _put(network: Network, task: int, start: Ints, free: Ints) -> bool:
    """Place one task at its earliest possible period; false if that is later than its latest start."""
    at, last = int(network.release[task]), int(network.late[task])
    for arc in network.before[task]:
        if start[arc.task] >= 0:
            at = max(at, network.ready(arc.task, int(start[arc.task]), arc))
    duration, needs = int(network.duration[task]), np.flatnonzero(network.demand[task])
    if at > last:
        return False
    if duration and len(needs):
        wanted = network.demand[task, needs]
        found = _gap(free[needs, at : last + duration], wanted, duration)
        if found < 0:
            return False
        at += found
        free[needs, at : at + duration] -= wanted[:, None]
    start[task] = at
    return True


def _gap(free: Ints, wanted: Ints, duration: int) -> int:
    """First period from which ``wanted`` is free for ``duration`` periods; -1 if there is none."""
    enough = np.asarray((free >= wanted[:, None]).all(axis=0))
    if duration > 1:  # a window is free when the running count grows by its length
        run = np.concatenate(([0], np.cumsum(enough)))
        enough = run[duration:] - run[:-duration] == duration
    first = int(enough.argmax()) if len(enough) else 0
    return first if len(enough) and enough[first] else -1


def _take(network: Network, group: int, start: Ints, free: Ints) -> None:
    """Take out whatever is placed of a group."""
    for task in np.flatnonzero((network.group == group) & (start >= 0)).tolist():
        free[:, start[task] : start[task] + network.duration[task]] += network.demand[task][:, None]
        start[task] = -1


def _retry(network: Network, group: int, members: list[int], start: Ints, free: Ints) -> None:
    """Place a group that was taken out, its ``members`` in order, where nothing already placed waits for it."""
    if any(network.group[arc.task] != group for task in members for arc in network.after[task]):
        return
    for task in members:
        if not _put(network, task, start, free):
            _take(network, group, start, free)
            return
