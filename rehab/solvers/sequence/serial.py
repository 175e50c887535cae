"""The serial heuristic: tasks are placed one by one, each as early as its predecessors and the crews allow.

What is free is kept as whole numbers with one bit for each period, one such number for each amount that tasks ask of
a resource: whether a stretch of days is free is then a single comparison.
"""

from __future__ import annotations

import heapq
from bisect import bisect
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from rehab.solvers.sequence.network import Ints, Network


@dataclass(frozen=True)
class Attempt:
    """One pass: start of each task (-1: left out), or the compulsory task that found no place.

    ``copy``: which of several copies of a resource a task takes, by (task, resource); ``travel``: distance between the
    sites that follow one another, summed over all resources with sites.
    """

    start: Ints
    weight: int
    makespan: int
    stuck: int | None = None
    copy: dict[tuple[int, int], int] = field(default_factory=dict)
    travel: float = 0.0

    @property
    def rank(self) -> tuple[bool, int, int, float]:
        """Smaller is better."""
        return (self.stuck is not None, -self.weight, self.makespan, self.travel)


class Ledger:
    """What is left of every resource, copy by copy, while tasks are placed."""

    def __init__(self, network: Network) -> None:
        levels: list[set[int]] = [set() for _ in network.capacity]
        for uses in network.uses:
            for use in uses:
                levels[use.resource].add(use.amount)
        self.levels = [sorted(amounts) for amounts in levels]
        self.fresh = [([int(v) for v in row], {amount: _bits(row >= amount) for amount in self.levels[number]})
                      for number, row in enumerate(network.capacity)]
        self.copies = network.copies.tolist()
        self.hopeless = frozenset(network.hopeless.tolist())
        kept: dict[int, tuple[int, int]] = {}
        for finish in network.finish:
            if id(finish) not in kept:
                kept[id(finish)] = _shape(finish)
        self.shapes = [kept[id(finish)] for finish in network.finish]
        self.visits: dict[tuple[int, int], list[tuple[int, int]]] = {}
        self.used: dict[tuple[int, int], tuple[list[int], dict[int, int]]] = {}

    def clear(self) -> None:
        """Free everything."""
        self.visits, self.used = {}, {}

    def mask(self, resource: int, copy: int, amount: int) -> int:
        """Periods in which a copy has the amount free, as bits."""
        kept = self.used.get((resource, copy))
        return (kept or self.fresh[resource])[1][amount]

    def take(self, resource: int, copy: int, amount: int, begin: int, end: int, sign: int = 1) -> None:
        """Take the amount from ``begin`` until before ``end``; with a sign of -1 give it back."""
        kept = self.used.get((resource, copy))
        if kept is None:
            free, masks = self.fresh[resource]
            kept = self.used[resource, copy] = (free.copy(), masks.copy())
        free, masks = kept
        for period in range(begin, end):
            left = free[period] - sign * amount
            free[period] = left
            for level in self.levels[resource]:
                if left < level:
                    masks[level] &= ~(1 << period)
                else:
                    masks[level] |= 1 << period


def place(network: Network, key: Sequence[float], ledger: Ledger | None = None) -> Attempt:
    """Place all tasks in the order of ``key``, smaller first, predecessors always before.

    When a task of an optional group finds no place, its whole group is taken out, and tried once more at the end.
    """
    n = len(network.duration)
    ledger = Ledger(network) if ledger is None else ledger
    ledger.clear()
    start = [-1] * n
    copy: dict[tuple[int, int], int] = {}
    groups = network.group.tolist()
    late, out = ledger.hopeless, set(ledger.hopeless)
    waiting = [len(arcs) for arcs in network.before]
    heap = [(key[task], task) for task in range(n) if waiting[task] == 0]
    heapq.heapify(heap)
    while heap:
        _, task = heapq.heappop(heap)
        group = groups[task]
        if group not in out and not _put(network, task, start, copy, ledger):
            if group < 0:
                return Attempt(np.full(n, -1), 0, 0, task)
            gone = network.together([group]) - out
            out |= gone
            for member in np.flatnonzero(np.isin(network.group, list(gone))).tolist():
                _take_out(network, member, start, copy, ledger)
        for arc in network.after[task]:
            waiting[arc.task] -= 1
            if waiting[arc.task] == 0:
                heapq.heappush(heap, (key[arc.task], arc.task))
    _again(network, out - late, start, copy, ledger)
    return finished(network, np.array(start, np.int64), copy)


def finished(network: Network, start: Ints, copy: dict[tuple[int, int], int]) -> Attempt:
    """An attempt with its figures."""
    groups = np.unique(network.group[(start >= 0) & (network.group >= 0)])
    return Attempt(start, int(network.weight[groups].sum()), int(network.ends(start).max(initial=0)), None, copy,
                   travel(network, start, copy))


def travel(network: Network, start: Ints, copy: dict[tuple[int, int], int]) -> float:
    """Distance between the sites that follow one another, summed over the copies of all resources."""
    if network.site is None or network.distance is None:
        return 0.0
    rows: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for task, at in enumerate(start.tolist()):
        if at >= 0:
            for use in network.uses[task]:
                if use.until is None:
                    rows.setdefault((use.resource, copy.get((task, use.resource), 0)), []).append((at, task))
    total = 0.0
    for visits in rows.values():
        sites = network.site[[task for _, task in sorted(visits)]]
        total += float(network.distance[sites[:-1], sites[1:]].sum())
    return total


def _put(network: Network, task: int, start: list[int], copy: dict[tuple[int, int], int], ledger: Ledger) -> bool:
    """Place one task at its earliest possible period; false if that is later than its latest start."""
    at, last = int(network.release[task]), int(network.late[task])
    for before, ready in network.before[task]:
        if start[before] >= 0:
            first = ready[start[before]]
            if first > at:
                at = first
    finish, uses = network.finish[task], network.uses[task]
    masks = [[ledger.mask(use.resource, number, use.amount) for number in range(ledger.copies[use.resource])]
             for use in uses]
    starts, length = ledger.shapes[task]
    checked = list(zip(uses, masks, strict=True))
    if length > 0:  # as long wherever it starts: all free starts at once, those that hold something longer one by one
        for _, free in checked:
            found = 0
            for mask in free:
                found |= _runs(mask, length)
            starts &= found
        checked = [pair for pair in checked if pair[0].until is not None]
    starts >>= at
    while starts:
        skip = (starts & -starts).bit_length() - 1
        at += skip
        if at > last:
            return False
        later, end = at, finish[at]
        for use, free in checked:
            wanted = ((1 << ((end if use.until is None else use.until[at]) - at)) - 1) << at
            first = min((wanted & ~mask).bit_length() for mask in free)
            if first > later:
                later = first
        if later == at:
            _settle(network, task, at, start, copy, masks, ledger)
            return True
        starts >>= skip + later - at
        at = later
    return False


def _runs(mask: int, length: int) -> int:
    """Periods from which the mask is free for ``length`` periods."""
    have = 1
    while have < length:
        step = min(have, length - have)
        mask &= mask >> step
        have += step
    return mask


def _shape(finish: list[int]) -> tuple[int, int]:
    """Periods in which a task can start, as bits, and how long it takes; 0 if that depends on the start."""
    steps = {end - at for at, end in enumerate(finish) if end >= 0}
    return _bits(np.array(finish) >= 0), steps.pop() if len(steps) == 1 else 0


def _settle(network: Network, task: int, at: int, start: list[int], copy: dict[tuple[int, int], int],
            masks: list[list[int]], ledger: Ledger) -> None:
    """Write a task down; of several copies that are free it takes the one whose way is least out of its way."""
    start[task] = at
    end = network.finish[task][at]
    for use, free in zip(network.uses[task], masks, strict=True):
        until = end if use.until is None else use.until[at]
        chosen = 0
        if len(free) > 1:
            wanted = ((1 << (until - at)) - 1) << at
            fits = [number for number, mask in enumerate(free) if not wanted & ~mask]
            chosen = fits[0] if network.site is None or len(fits) == 1 else min(
                fits, key=lambda number: (_detour(network, task, at, ledger.visits.get((use.resource, number), ())),
                                          number))
            copy[task, use.resource] = chosen
        ledger.take(use.resource, chosen, use.amount, at, until)
        if network.site is not None and len(free) > 1:
            visits = ledger.visits.setdefault((use.resource, chosen), [])
            visits.insert(bisect(visits, (at, task)), (at, task))


def _detour(network: Network, task: int, at: int, visits: Sequence[tuple[int, int]]) -> float:
    """How much longer the way of a copy becomes by a task between those that it has."""
    if network.site is None or network.distance is None or not visits:
        return 0.0
    here, way = network.site[task], network.distance
    behind = bisect(visits, (at, task))
    before = network.site[visits[behind - 1][1]] if behind else None
    after = network.site[visits[behind][1]] if behind < len(visits) else None
    if before is None or after is None:
        return float(way[here, before if before is not None else after])
    return float(way[before, here] + way[here, after] - way[before, after])


def _take_out(network: Network, task: int, start: list[int], copy: dict[tuple[int, int], int], ledger: Ledger) -> None:
    """Take one task out again."""
    at = start[task]
    if at < 0:
        return
    for use in network.uses[task]:
        chosen = copy.pop((task, use.resource), 0)
        until = network.finish[task][at] if use.until is None else use.until[at]
        ledger.take(use.resource, chosen, use.amount, at, until, -1)
        visits = ledger.visits.get((use.resource, chosen), [])
        if (at, task) in visits:
            visits.remove((at, task))
    start[task] = -1


def _again(network: Network, out: set[int], start: list[int], copy: dict[tuple[int, int], int],
           ledger: Ledger) -> None:
    """Place the groups that were taken out where nothing already placed waits for them, the weightiest first."""
    members: dict[int, list[int]] = {}
    for task in network.order if out else ():
        members.setdefault(int(network.group[task]), []).append(task)
    first = {members[name][0]: name for name in out}
    in_order = sorted(out, key=lambda name: (-int(network.weight[name]), name))
    after = [first[task] for task in network.order if task in first]  # what needs another comes after it
    missing = set(out)
    for group in [*in_order, *after]:
        if group not in missing or any(group in network.with_it[other] for other in missing):
            continue
        if any(start[arc.task] >= 0 for task in members[group] for arc in network.after[task]
               if network.group[arc.task] != group):
            continue
        missing.discard(group)
        for task in members[group]:
            if not _put(network, task, start, copy, ledger):
                for member in members[group]:
                    _take_out(network, member, start, copy, ledger)
                missing.add(group)
                break


def _bits(flags: np.ndarray) -> int:
    """Flags as the bits of a whole number, the first the lowest."""
    return int.from_bytes(np.packbits(flags, bitorder="little").tobytes(), "little")
