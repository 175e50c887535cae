"""A feasible choice from the prices: repair what is over budget, then exchange alternatives while it pays.

Works on a core held as dense arrays.  An exchange replaces the alternatives of up to four groups at once.  Every
exchange is ranked by its reduced gain (gain less price times extra use): a set of exchanges can only pay if
their reduced gains together exceed minus the priced slack, which leaves few sets to look at near the optimum.
"""

from __future__ import annotations

import time
from dataclasses import dataclass

import numpy as np

from rehab.solvers.choice.problem import TOLERANCE, Bools, Floats, Ints

CELLS = 1 << 21
"""Pairs of exchanges looked at in one go."""


@dataclass(frozen=True)
class Core:
    """Dense alternatives sorted by group: ``value[n]``, ``cost[n, r]``, ``of[n]``, ``first[g]``, and the prices."""

    value: Floats
    cost: Floats
    of: Ints
    first: Ints
    budget: Floats
    prices: Floats

    @property
    def room(self) -> Floats:
        """Budgets with the rounding allowed."""
        return self.budget + TOLERANCE * np.abs(self.budget)


@dataclass(frozen=True)
class Sets:
    """Sets of exchanges by falling reduced gain: two rows of the core (-1: none), gain, extra use, reduced gain."""

    one: Ints
    two: Ints
    gain: Floats
    extra: Floats
    reduced: Floats

    def top(self, count: int) -> Sets:
        """The first ``count`` sets."""
        return Sets(self.one[:count], self.two[:count], self.gain[:count], self.extra[:count], self.reduced[:count])


def repair(core: Core, chosen: Ints, *, priced: bool) -> Ints | None:
    """Remove overspending by the exchanges that lose least per share of a budget freed; None if stuck.

    ``priced``: what an exchange frees beyond the shortage counts at the prices, as if others could use all of it; else
    it counts for nothing.  Either may come out better.
    """
    chosen = chosen.copy()
    scale = np.maximum(np.abs(core.budget), 1e-9 * max(float(np.abs(core.budget).max(initial=0.0)), 1.0))
    cost, room = core.cost / scale, core.room / scale
    worth = core.value - core.cost @ core.prices if priced else core.value
    now = chosen[core.of]
    extra, lost = cost - cost[now], worth[now] - worth
    last = np.append(core.first[1:], len(core.of))
    for _ in range(4 * len(chosen) + 20):
        over = cost[chosen].sum(axis=0) - room
        if (over <= 0).all():
            return chosen
        after = np.add(extra, over)
        np.maximum(after, 0.0, out=after)
        freed = np.maximum(over, 0.0).sum() - after.sum(axis=1)
        useful = np.flatnonzero(freed > 1e-15)
        if not len(useful):
            return None
        floor = min(float(lost[useful].min()), 0.0)
        best = int(useful[np.argmin((lost[useful] - floor + 1e-12) / freed[useful])])
        group = int(core.of[best])
        chosen[group] = best
        mine = slice(int(core.first[group]), int(last[group]))  # the exchanges of the other groups stay what they are
        extra[mine], lost[mine] = cost[mine] - cost[best], worth[best] - worth[mine]
    return None


def improve(core: Core, chosen: Ints, target: float, deadline: float, widths: tuple[int, ...]) -> Ints:
    """Exchange alternatives of a feasible choice while its value grows, up to ``target`` or the deadline.

    ``widths``: how many sets of exchanges to pair with one another, one round after the other fails.
    """
    chosen = _ascend(core, chosen.copy())
    while core.value[chosen].sum() < target:
        sets = _singles(core, chosen)
        found = None
        for width in widths:
            if time.monotonic() > deadline:
                return chosen
            found = _best_pair(core, chosen, _with_pairs(core, sets, width), deadline)
            if found is not None:
                break
        if found is None:
            return chosen
        for row in found:
            chosen[core.of[row]] = row
        chosen = _ascend(core, chosen)
    return chosen


def _ascend(core: Core, chosen: Ints) -> Ints:
    """Single exchanges, the greatest gain first, until none fits."""
    while True:
        slack = core.room - core.cost[chosen].sum(axis=0)
        now = chosen[core.of]
        gain = core.value - core.value[now]
        rows = np.flatnonzero(gain > 0)
        rows = rows[(core.cost[rows] - core.cost[now[rows]] <= slack).all(axis=1)]
        if not len(rows):
            return chosen
        best = int(rows[np.argmax(gain[rows])])
        chosen[core.of[best]] = best


def _singles(core: Core, chosen: Ints) -> Sets:
    """Every single exchange that could be part of a paying set, and the empty one."""
    now = chosen[core.of]
    gain, extra = core.value - core.value[now], core.cost - core.cost[now]
    reduced = gain - extra @ core.prices
    slack = core.room - core.cost[chosen].sum(axis=0)
    hopeful = reduced + _upside(core, reduced) > -float(slack @ core.prices)
    rows = np.flatnonzero(hopeful & (now != np.arange(len(now))))
    rows = rows[np.argsort(-reduced[rows], kind="stable")]
    none = np.zeros(1, np.int64) - 1
    return Sets(np.append(none, rows), np.full(len(rows) + 1, -1), np.append(0.0, gain[rows]),
                np.vstack([np.zeros(core.cost.shape[1]), extra[rows]]), np.append(0.0, reduced[rows]))


def _upside(core: Core, reduced: Floats) -> float:
    """What other groups could add to the reduced gain: zero when each stands at its best."""
    return float(np.maximum.reduceat(reduced, core.first).clip(0.0).sum())


def _with_pairs(core: Core, sets: Sets, width: int) -> Sets:
    """The ``width`` sets of one or two exchanges with the best reduced gain."""
    few = sets.top(min(len(sets.one), 1 + max(width // 4, 200)))
    one, two = np.triu_indices(len(few.one), 1)
    total = few.reduced[one] + few.reduced[two]
    apart = few.one[one] != -1
    apart &= core.of[few.one[one]] != core.of[few.one[two]]
    one, two, total = one[apart], two[apart], total[apart]
    if len(one) > width:
        near = np.argpartition(-total, width)[:width]
        one, two, total = one[near], two[near], total[near]
    joined = Sets(np.concatenate([sets.one, few.one[one]]), np.concatenate([sets.two, few.one[two]]),
                  np.concatenate([sets.gain, few.gain[one] + few.gain[two]]),
                  np.vstack([sets.extra, few.extra[one] + few.extra[two]]), np.concatenate([sets.reduced, total]))
    order = np.argsort(-joined.reduced, kind="stable")[:width]
    return Sets(joined.one[order], joined.two[order], joined.gain[order], joined.extra[order], joined.reduced[order])


def _best_pair(core: Core, chosen: Ints, sets: Sets, deadline: float) -> list[int] | None:
    """The rows of the pair of sets that fits and gains most (or the first good one in a large round)."""
    slack = core.room - core.cost[chosen].sum(axis=0)
    least = -float(slack @ core.prices)
    tight = np.argsort(slack / np.maximum(np.abs(sets.extra).mean(axis=0), 1e-300), kind="stable")
    best, rows = 1e-12 * max(abs(float(core.value[chosen].sum())), 1.0), None
    size, at = len(sets.one), 0
    while at < size:
        reach = int(np.searchsorted(-sets.reduced, sets.reduced[at] - least, side="left"))
        if reach <= at or time.monotonic() > deadline:
            break
        step = max(1, CELLS // reach)
        left, right = np.nonzero(sets.gain[at : at + step, None] + sets.gain[None, :reach] > best)
        left += at
        for resource in tight:
            fits = sets.extra[left, resource] + sets.extra[right, resource] <= slack[resource]
            left, right = left[fits], right[fits]
        keep = _apart(core, sets, left, right)
        left, right = left[keep], right[keep]
        if len(left):
            gains = sets.gain[left] + sets.gain[right]
            top = int(np.argmax(gains))
            best = float(gains[top])
            four = (which[at] for at in (left[top], right[top]) for which in (sets.one, sets.two))
            rows = [int(row) for row in four if row >= 0]
            if size > 4000:
                break
        at += step
    return rows


def _apart(core: Core, sets: Sets, left: Ints, right: Ints) -> Bools:
    """Whether the exchanges of two sets belong to different groups."""
    group = np.append(core.of, -1)  # row -1: no exchange
    ok = np.ones(len(left), bool)
    for mine in (sets.one, sets.two):
        for other in (sets.one, sets.two):
            a, b = group[mine[left]], group[other[right]]
            ok &= (a != b) | (a == -1)
    return ok
