"""The problem as the optimiser holds it: checked, sorted by group, and reduced by what cannot be chosen."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import sparse

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

TOLERANCE = 1e-9
"""Share of a budget by which rounding may overshoot it; the final check allows no more."""


@dataclass(frozen=True)
class Problem:
    """Alternatives sorted by group, ties in the caller's order; ``lifted[r]``: budgets that had costs below zero.

    ``value[n]``; ``cost`` sparse ``[n, r]``; ``first[g]`` where each group starts; ``of[n]`` the group
    (0 .. g-1) of each alternative; ``source[n]`` the caller's row; ``budget[r]``.
    """

    value: Floats
    cost: sparse.csr_array
    first: Ints
    of: Ints
    source: Ints
    budget: Floats
    lifted: Bools | None = None

    @property
    def groups(self) -> int:
        """Number of groups."""
        return len(self.first)

    @property
    def size(self) -> Ints:
        """Number of alternatives in each group."""
        return np.diff(self.first, append=len(self.value))

    def keep(self, mask: Bools) -> Problem:
        """The problem with the alternatives of ``mask`` alone; every group must keep at least one."""
        of = self.of[mask]
        return Problem(self.value[mask], self.cost[np.flatnonzero(mask)], starts(of), of, self.source[mask],
                       self.budget, self.lifted)

    def use(self, chosen: Ints) -> Floats:
        """What the chosen alternatives (one index per group) use of each resource."""
        return np.asarray(self.cost[chosen].sum(axis=0), float).reshape(len(self.budget))

    def fits(self, used: Floats) -> bool:
        """Whether ``used[r]`` is within every budget, up to rounding."""
        return bool(np.all(used <= self.budget * (1.0 + TOLERANCE)))


def starts(of: Ints) -> Ints:
    """Where each group starts in sorted group numbers."""
    return np.flatnonzero(np.concatenate(([True], of[1:] != of[:-1])) if len(of) else np.zeros(0, bool))


def check(value: npt.ArrayLike, cost: object, group: npt.ArrayLike, budget: npt.ArrayLike,
          must: npt.ArrayLike | None) -> Problem:
    """The caller's arrays as a :class:`Problem`; alternatives beside a forced one are left out.

    Costs below zero, which floors have, are made good: as each group takes exactly one alternative, what the lowest of
    a group is below zero may be added to all of that group and to the budget.  Raises :class:`ValueError`, naming the
    row, for shapes that do not agree, NaN or infinite figures, a budget below zero without such costs, and two
    forced alternatives in one group.
    """
    values = np.array(value, dtype=float, ndmin=1)
    labels = np.array(group, ndmin=1)
    limits = np.array(budget, dtype=float, ndmin=1)
    if len(labels) and labels.dtype.kind not in "iu":
        raise ValueError("group labels must be integers")
    costs = matrix(cost, len(values), len(limits))
    if values.ndim != 1 or labels.shape != values.shape or limits.ndim != 1:
        raise ValueError(f"value and group must be of one length, got {values.shape} and {labels.shape}")
    _refuse(~np.isfinite(values), "value", "a finite number")
    below = np.zeros(len(limits), bool)
    below[costs.indices[costs.data < 0]] = True
    _refuse(~(np.isfinite(limits) & (below | (limits >= 0))), "budget", "zero or a positive number")
    _, of = np.unique(labels, return_inverse=True)
    of = of.astype(np.int64)
    order = np.argsort(of, kind="stable")
    kept = order if must is None else order[_beside_forced(np.asarray(must, bool), of, order)]
    made = Problem(values[kept], costs[kept], starts(of[kept]), of[kept], kept, limits)
    return _lifted(made, np.flatnonzero(below)) if below.any() and len(kept) else made


def _lifted(problem: Problem, columns: Ints) -> Problem:
    """The same problem with no costs below zero in these columns."""
    dense = problem.cost[:, columns].toarray()
    least = np.minimum(np.minimum.reduceat(dense, problem.first, axis=0), 0.0)
    dense -= least[problem.of]
    budget = problem.budget.copy()
    budget[columns] -= least.sum(axis=0)
    others = problem.cost.copy()
    others.data[np.isin(others.indices, columns)] = 0.0
    others.eliminate_zeros()
    spread = sparse.csr_array(dense) @ sparse.csr_array(
        (np.ones(len(columns)), (np.arange(len(columns)), columns)), shape=(len(columns), len(budget)))
    lifted = np.isin(np.arange(len(budget)), columns)
    return replace(problem, cost=sparse.csr_array(others + spread), budget=budget, lifted=lifted)


def matrix(cost: object, rows: int, columns: int) -> sparse.csr_array:
    """Any dense or sparse matrix as CSR of finite floats without stored zeros; the caller's stays as it was."""
    given: Any = cost
    if not sparse.issparse(cost):
        dense = np.asarray(cost, dtype=float)
        given = dense.reshape(rows, columns) if dense.size == 0 else dense
    if given.shape != (rows, columns):
        raise ValueError(f"cost must have the shape {(rows, columns)}, one column per budget; got {given.shape}")
    made: sparse.csr_array = sparse.csr_array(given, dtype=float, copy=True)
    made.sum_duplicates()
    made.eliminate_zeros()
    wrong = np.flatnonzero(~np.isfinite(made.data))
    if len(wrong):
        row = int(np.searchsorted(made.indptr, wrong[0], side="right")) - 1
        raise ValueError(f"cost[{row}, {int(made.indices[wrong[0]])}] must be a finite number")
    return made


def _refuse(wrong: Bools, name: str, accepted: str) -> None:
    """Raise for the first wrong entry."""
    if wrong.any():
        raise ValueError(f"{name}[{int(np.flatnonzero(wrong)[0])}] must be {accepted}")


def _beside_forced(must: Bools, of: Ints, order: Ints) -> Bools:
    """Which of the sorted alternatives stay when forced ones shut out the rest of their group."""
    if must.shape != of.shape:
        raise ValueError(f"must has to be of the length of value, got {must.shape}")
    forced = np.bincount(of[must], minlength=int(of.max(initial=-1)) + 1)
    if (forced > 1).any():
        rows = np.flatnonzero(must & (of == int(np.argmax(forced > 1))))
        raise ValueError(f"two forced alternatives in one group: rows {rows[0]} and {rows[1]}")
    return np.asarray((must | (forced[of] == 0))[order])


def cheapest(problem: Problem) -> Floats:
    """Least use of each resource by each group, ``[g, r]``: zero wherever some alternative goes without."""
    least = np.zeros((problem.groups, len(problem.budget)))
    free = np.minimum.reduceat(np.diff(problem.cost.indptr), problem.first) == 0
    paid = ~free
    if paid.any():
        rows = np.flatnonzero(paid[problem.of])
        dense = problem.cost[rows].toarray()
        least[paid] = np.minimum.reduceat(dense, starts(problem.of[rows]), axis=0)
    return least


def reduce(problem: Problem) -> Problem | int:
    """Drop alternatives that cannot fit even if all other groups take their least, until none is left.

    Returns the resource that cannot be met when the least uses alone, or the loss of a group's last
    alternative, show that nothing fits.
    """
    while True:
        least = cheapest(problem)
        spare = problem.budget * (1.0 + TOLERANCE) - least.sum(axis=0)
        if (spare < 0).any():
            return int(np.argmin(spare / np.maximum(problem.budget, 1e-300)))
        entry_row = np.repeat(np.arange(len(problem.value)), np.diff(problem.cost.indptr))
        column = problem.cost.indices
        limit = spare[column]
        touched = least.any()
        over = problem.cost.data > (limit + least[problem.of[entry_row], column] if touched else limit)
        if not over.any():
            return problem
        mask = np.ones(len(problem.value), bool)
        mask[entry_row[over]] = False
        left = np.add.reduceat(mask, problem.first)
        if (left == 0).any():
            lost = problem.of[entry_row[over]] == int(np.argmin(left))
            return int(column[over][lost][0])
        problem = problem.keep(mask)
        if not touched:
            return problem
