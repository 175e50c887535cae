"""One alternative of each group under several budgets, with a proven bound.

``select`` maximises the sum of the chosen values while the sum of the chosen costs stays within each budget
(the multiple-choice multidimensional knapsack).  It knows nothing of what groups and budgets stand for.

Method: a price for each resource decouples the groups (Lagrangian dual, :mod:`.dual`), which gives an upper bound
on every choice; the prices are found by Newton steps on a smoothed dual and made exact by a linear program
on the alternatives near a decision.  A first choice comes from repair and exchanges (:mod:`.improve`);
branch and bound over part-choices (:mod:`.branch`), bounded by many price vectors, improves it in
neighbourhoods and, when few groups are left open, proves it (:mod:`.finish`).
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from rehab.solvers.choice import dual as _dual
from rehab.solvers.choice import finish as _finish
from rehab.solvers.choice import linear
from rehab.solvers.choice.problem import Floats, Ints, Problem, check, reduce

__all__ = ["Choice", "Status", "select", "shares", "shortage"]

Status = Literal["optimal", "feasible", "infeasible", "unknown"]


@dataclass(frozen=True)
class Choice:
    """What was chosen, and how good it is proven to be.

    ``chosen[g]``: row of the chosen alternative of each group, groups by rising label; empty without a choice.
    ``value``: sum of the chosen values; ``upper_bound``: no choice within the budgets is worth more;
    ``gap``: (upper_bound - value) / |upper_bound|.  These three are NaN where there is none.
    ``status``: "optimal" (gap within the one asked for), "feasible" (stopped sooner), "infeasible"
    (proven that no choice is within the budgets; ``short`` is a resource that cannot be met) or "unknown" (the
    search was stopped before any choice was found).
    ``prices[r]``: worth of one more unit of each budget in the linear relaxation, never negative; with them the sum of
    prices times budgets and of the best (value - price times cost) of each group is a bound, as anyone can work out.
    ``seconds``: time taken.
    """

    chosen: Ints
    value: float
    upper_bound: float
    gap: float
    status: Status
    seconds: float
    prices: Floats
    short: int | None = None


def select(value: npt.ArrayLike, cost: object, group: npt.ArrayLike, budget: npt.ArrayLike, *,
           must: npt.ArrayLike | None = None, start: npt.ArrayLike | None = None, gap: float = 1e-6,
           seconds: float = 10.0, effort: int | None = None, seed: int = 0) -> Choice:
    """Choose one alternative of each group, of the greatest total value within every budget.

    ``value[n]`` any finite number; ``cost[n, r]`` dense or scipy sparse; ``group[n]`` integer labels in any order;
    ``budget[r]``; ``must[n]`` true for alternatives that have to be chosen.  A floor, a sum that has to be at least so
    much, is a budget with the signs of its costs and limit turned.  ``start``: rows of a choice known before, from
    which the search begins if it is within the budgets; what is found is then never worth less.
    Stops when the relative gap is at most ``gap``, after ``effort`` searches (:data:`.finish.STRETCH` says how long
    one may be) or after about ``seconds``.  The same input and ``seed`` give the same choice unless the clock ends
    the search.  No budget is exceeded by more than 1e-9 of it (rounding).

    Raises :class:`ValueError`, naming the entry, for NaN and infinite figures, a budget below zero that no cost below
    zero can meet, shapes that do not agree, and two ``must`` in one group.
    """
    began = time.monotonic()
    whole = check(value, cost, group, budget, must)
    if not whole.groups:
        return Choice(np.zeros(0, np.int64), 0.0, 0.0, 0.0, "optimal", time.monotonic() - began,
                      np.zeros(len(whole.budget)))
    problem = reduce(whole)
    if isinstance(problem, int):
        return _without(whole, "infeasible", problem, began)
    dual = _dual.solve(problem, seed)
    known = None if start is None else _known(problem, np.asarray(start, np.int64))
    state = _finish.finish(problem, dual, gap, began + seconds, effort, seed, known)
    if state.chosen is None:
        if state.short is not None:
            return _without(whole, "infeasible", state.short, began)
        return _without(whole, "unknown", None, began, state.bound)
    bound = max(state.bound, state.value)
    left = (bound - state.value) / max(abs(bound), 1e-300)
    return Choice(problem.source[state.chosen], state.value, bound, left, "optimal" if state.done(gap) else "feasible",
                  time.monotonic() - began, _with_closed(whole, problem, dual))


def shortage(cost: object, group: npt.ArrayLike, budget: npt.ArrayLike) -> Floats:
    """By how much budgets fall short at the least, ``[r]``: zeros where parts of alternatives would fit.

    The least sum of shares of a budget; of a budget of zero or below, of the largest use of it.
    """
    labels = np.asarray(group)
    whole = check(np.zeros(len(labels)), cost, labels, budget, None)
    return linear.Relaxation(whole.value, whole.cost, whole.of, whole.budget, feasibility=True).solve().over


def shares(value: npt.ArrayLike, cost: object, group: npt.ArrayLike, budget: npt.ArrayLike,
           more: Callable[[Floats], tuple[Floats, float] | None], most: int) -> Floats | None:
    """Shares of the alternatives in the linear relaxation, ``[n]``, under the budgets and what ``more`` adds to them.

    ``more(shares)`` returns the costs ``[n]`` and the size of one more budget that these shares break, or None if they
    break none; it is asked up to ``most`` times.  None where no shares keep the budgets.
    """
    labels = np.asarray(group)
    whole = check(value, cost, labels, budget, None)
    relaxed = linear.Relaxation(whole.value, whole.cost, whole.of, whole.budget)
    back = np.argsort(whole.source)
    for _ in range(most):
        if (relaxed.solve().over > 1e-6 * np.maximum(np.abs(whole.budget), 1.0)).any():
            return None
        found = relaxed.shares()[back]
        asked = more(found)
        if asked is None:
            return found
        relaxed.add(asked[0][whole.source], asked[1])
    return None


def _known(problem: Problem, start: Ints) -> Ints | None:
    """The caller's rows as rows of the problem, one per group; None if one is not open or a group has none."""
    rows = np.flatnonzero(np.isin(problem.source, start))
    return rows if np.array_equal(problem.of[rows], np.arange(problem.groups)) else None


def _without(problem: Problem, status: Status, short: int | None, began: float, bound: float = np.nan) -> Choice:
    """The answer when there is no choice to show."""
    return Choice(np.zeros(0, np.int64), np.nan, bound, np.nan, status, time.monotonic() - began,
                  np.full(len(problem.budget), np.nan), short)


def _with_closed(whole: Problem, problem: Problem, dual: _dual.Dual) -> Floats:
    """The prices, with those of zero budgets: the least at which no alternative that uses them is wanted.

    Alternatives that use a zero budget were dropped before the prices were found, so their price is worked out here.
    """
    closed = whole.budget == 0
    if not closed.any() or len(whole.value) == len(problem.value):
        return dual.prices
    top = np.maximum.reduceat(problem.value - problem.cost @ dual.prices, problem.first)
    wish = whole.value - whole.cost @ dual.prices - top[whole.of]
    prices = dual.prices.copy()
    entry = np.repeat(np.arange(len(whole.value)), np.diff(whole.cost.indptr))
    here = closed[whole.cost.indices]
    np.maximum.at(prices, whole.cost.indices[here], np.maximum(wish[entry[here]], 0.0) / whole.cost.data[here])
    return prices
