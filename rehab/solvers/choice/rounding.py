"""A choice from the linear relaxation, rounded from the groups that use most to those that use least.

After each rounding the relaxation is solved again, so that what is still open makes good what the rounding spent or
left.  What is left at the end is small; :func:`.improve.repair` can deal with it even under floors.
"""

from __future__ import annotations

import numpy as np

from rehab.solvers.choice import linear
from rehab.solvers.choice.dual import Dual, split
from rehab.solvers.choice.problem import Bools, Ints, Problem, starts

SHRINK = 0.6
"""Share of the groups that stays open from one rounding to the next."""


def by_size(problem: Problem, dual: Dual, mask: Bools) -> Ints:
    """One row per group: of the groups with several alternatives in ``mask`` by rounding, of the others their best."""
    _, rows, _ = split(problem, mask)
    chosen = dual.best.copy()
    if not len(rows):
        return chosen
    of = np.unique(problem.of[rows], return_inverse=True)[1]
    first = starts(of)
    priced = problem.cost[rows] @ (dual.prices + 1e-12 / np.maximum(problem.budget, 1e-300))
    size = np.maximum.reduceat(priced, first) - np.minimum.reduceat(priced, first)
    rank = np.empty(len(first), np.int64)
    rank[np.argsort(-size, kind="stable")] = np.arange(len(first))
    budget = problem.budget - problem.use(chosen[np.setdiff1d(np.arange(problem.groups), problem.of[rows])])
    relaxed = linear.Relaxation(problem.value[rows], problem.cost[rows], of, budget)
    shares = relaxed.shares()
    fixed = np.zeros(len(first), bool)
    left = len(first)
    while left > 1:
        left = min(left - 1, max(int(left * SHRINK), 1))
        large = rank < len(first) - left
        pick = _largest(shares, of, first)
        due = large & ~fixed
        relaxed.fix(pick[due], of)
        fixed |= due
        shares = relaxed.shares()
    pick = _largest(shares, of, first)
    chosen[problem.of[rows[pick]]] = rows[pick]
    return chosen


def _largest(shares: np.ndarray, of: Ints, first: Ints) -> Ints:
    """The alternative of the largest share in each group, the first of equals."""
    order = np.lexsort((-shares, of))
    return np.asarray(order[first])
