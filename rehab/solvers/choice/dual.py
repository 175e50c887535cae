"""The Lagrangian dual: a price for each resource makes the groups independent of one another.

With prices p >= 0 the dual function L(p) = p . budget + sum over groups of max (value - p . cost) is at
or above the value of every choice within the budgets, so each L(p) is a proven bound.  The least L(p) is the value of
the linear relaxation.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import sparse

from rehab.solvers.choice import linear
from rehab.solvers.choice.problem import Bools, Floats, Ints, Problem, starts

CORE = 3000
"""Alternatives in the linear program that makes the prices exact; larger problems are cut to this core."""
WHOLE = 400_000
"""Alternatives up to which the last steps are taken on all of them."""
COOLING = 5
"""Times that the heat is then divided by three, less one."""
WIDER = 5
"""How much larger the core becomes where the prices found on it are not good enough; the first is so much smaller."""
NEAR = 1e-5
"""Share of the bound by which the prices of a core may miss the least one."""
REACH = 20.0
SAMPLE = 1500
"""Groups in the sample from which a large problem gets its first prices."""


@dataclass(frozen=True)
class Dual:
    """Prices ``[r]``, the bound L(prices), and the best alternative of each group at those prices."""

    prices: Floats
    bound: float
    best: Ints
    loss: Floats
    """What each alternative falls short of its group's best at those prices, ``[n]``, never negative."""


def evaluate(problem: Problem, prices: Floats) -> Dual:
    """L(prices) on the whole problem; ties go to the first alternative."""
    reduced = problem.value - problem.cost @ prices
    top = np.maximum.reduceat(reduced, problem.first)
    loss = top[problem.of] - reduced
    hit = np.flatnonzero(loss <= 0.0)
    group, at = np.unique(problem.of[hit], return_index=True)
    assert len(group) == problem.groups
    return Dual(prices, float(top.sum() + prices @ problem.budget), hit[at], loss)


def solve(problem: Problem, seed: int, near: Floats | None = None) -> Dual:
    """Prices of (nearly) the least bound; exact up to the linear program's tolerance on most problems.

    ``near``: prices of a problem much like this one, to begin with.
    """
    prices = np.zeros(len(problem.budget))
    dual = evaluate(problem, prices)
    if problem.fits(problem.use(dual.best)):
        return dual  # nothing is short: the best of every group is optimal and all prices are zero
    if near is not None:
        dual = _better(dual, evaluate(problem, near))
    elif len(problem.value) > CORE:
        dual = _better(dual, evaluate(problem, _smooth(problem, seed)))
    return _exact(problem, dual)


def _better(one: Dual, other: Dual) -> Dual:
    """The one with the lower bound."""
    return other if other.bound < one.bound else one


# --- near prices by Newton steps on the smoothed dual -------------------------------------------------


def _smooth(problem: Problem, seed: int) -> Floats:
    """Near-optimal prices: on samples of the groups of rising size, then on all of them, with falling heat."""
    scale = np.where(problem.budget > 0, problem.budget, 1.0)
    scaled = replace(problem, cost=sparse.csr_array(problem.cost @ sparse.diags_array(1.0 / scale)),
                     budget=problem.budget / scale)
    spread = np.maximum.reduceat(problem.value, problem.first) - np.minimum.reduceat(problem.value, problem.first)
    heat = 0.3 * (float(spread.mean()) or 1.0)  # where nothing is worth more than anything else, any will do
    prices = np.zeros(len(scale))
    drawn = np.random.default_rng(seed).permutation(problem.groups)
    count, steps = SAMPLE, 5
    while count * 2 < problem.groups:
        few = _sample(scaled, np.sort(drawn[:count]))
        prices = _newton(few, prices, [heat / 3**step for step in range(steps)], 8)
        heat /= 3.0 ** (steps - 1)
        count, steps = count * 8, 2
    if count == SAMPLE:
        prices = _newton(scaled, prices, [heat / 3.0**step for step in range(steps + 1)], 8)
        heat /= 3.0 ** steps
    elif len(problem.value) <= WHOLE:
        prices = _newton(scaled, prices, [heat / 3.0**step for step in range(COOLING)], 6)
        heat /= 3.0 ** (COOLING - 1)
    for _ in range(12):
        near = evaluate(scaled, prices).loss <= REACH * heat
        _, opened, budget = split(scaled, near)
        if not len(opened):
            break
        of = np.cumsum(np.diff(scaled.of[opened], prepend=scaled.of[opened[0]]) != 0)
        few = Problem(scaled.value[opened], scaled.cost[opened], starts(of), of, opened, budget)
        trial = _newton(few, prices, [heat], 6)
        if not evaluate(scaled, trial).bound < evaluate(scaled, prices).bound:
            break  # what is near cannot meet the budgets by itself: its prices would run away
        prices = trial
        if near.sum() - problem.groups <= 4 * CORE:
            break
        heat /= 3.0
    return prices / scale


def _sample(problem: Problem, groups: Ints) -> Problem:
    mask = np.zeros(problem.groups, bool)
    mask[groups] = True
    few = replace(problem.keep(mask[problem.of]), budget=problem.budget * (len(groups) / problem.groups))
    return replace(few, of=np.repeat(np.arange(len(groups)), few.size))


def _newton(problem: Problem, prices: Floats, heats: list[float], steps: int) -> Floats:
    """Projected Newton steps on the dual with every maximum replaced by heat * log sum exp (./heat)."""
    for heat in heats:
        level, slope, bend = _soft(problem, prices, heat)
        for _ in range(steps):
            free = (prices > 0) | (slope < 0)
            if not free.any() or np.abs(slope[free]).max() < 1e-3:
                break
            found = _step(problem, prices, heat, level, slope, bend, free)
            if found is None:
                break
            prices, level, slope, bend = found
    return prices


def _step(problem: Problem, prices: Floats, heat: float, level: float, slope: Floats, bend: Floats,
          free: Bools) -> tuple[Floats, float, Floats, Floats] | None:
    """One Newton step that lowers the smoothed dual; None if there is none.

    Rows that are sums of others make the Hessian singular: the more it is damped, the shorter and surer the step.
    """
    trace = max(float(np.trace(bend)), 1e-300)
    for damping in (1e-9, 1e-4, 1e-1):
        move = np.zeros(len(prices))
        move[free] = -np.linalg.solve(bend[np.ix_(free, free)] + damping * trace * np.eye(int(free.sum())), slope[free])
        length = 1.0
        while length > 1e-3:
            trial = np.maximum(prices + length * move, 0.0)
            new_level, new_slope, new_bend = _soft(problem, trial, heat)
            if new_level < level:
                return trial, new_level, new_slope, new_bend
            length *= 0.3
    return None


def _soft(problem: Problem, prices: Floats, heat: float) -> tuple[float, Floats, Floats]:
    """The smoothed dual, its gradient and its Hessian."""
    reduced = (problem.value - problem.cost @ prices) / heat
    top = np.maximum.reduceat(reduced, problem.first)
    weight = np.exp(reduced - top[problem.of])
    total = np.add.reduceat(weight, problem.first)
    weight /= total[problem.of]
    level = heat * float((np.log(total) + top).sum()) + float(prices @ problem.budget)
    groups, r = problem.groups, len(prices)
    live = np.flatnonzero(weight > 1e-14)
    weight, cost, of = weight[live], problem.cost[live], problem.of[live]
    entry = np.repeat(np.arange(len(live)), np.diff(cost.indptr))
    use = weight[entry] * cost.data
    whole = np.bincount(cost.indices, use, minlength=r)
    mean = np.bincount(of[entry] * r + cost.indices, use, minlength=groups * r).reshape(groups, r)
    if (np.diff(cost.indptr) <= 1).all():
        bend = np.diag(np.bincount(cost.indices, use * cost.data, minlength=r))
    else:
        weighted = sparse.csr_array((use, cost.indices, cost.indptr), shape=cost.shape)
        bend = (weighted.T @ cost).toarray()
    return level, problem.budget - whole, (bend - np.einsum("gi,gj->ij", mean, mean)) / heat


# --- exact prices by a linear program on the core ------------------------------------------------------


def _exact(problem: Problem, dual: Dual) -> Dual:
    """Prices from the linear relaxation over the alternatives nearest to their group's best.

    Where these do not hold what the relaxation of the whole needs, more are taken.
    """
    sizes = (CORE // WIDER, CORE, WIDER * CORE, WIDER**2 * CORE)
    for size in sizes if len(problem.value) <= WHOLE else sizes[1:]:
        for _ in range(6):
            prices, level = relaxation(problem, core(problem, dual, size))
            new = evaluate(problem, prices)
            near = new.bound - level <= NEAR * max(abs(new.bound), 1.0)
            better = new.bound < dual.bound - 1e-9 * max(abs(dual.bound), 1.0)
            dual = _better(dual, new)
            exact = new.bound - level <= 1e-9 * max(abs(new.bound), 1.0)
            if exact or not better:
                break
        if exact or (near and size >= CORE) or size >= len(problem.value) - problem.groups:
            break
    return dual


def core(problem: Problem, dual: Dual, size: int) -> Bools:
    """The alternatives that stay open: every group's best, and about ``size`` with the least loss."""
    if len(dual.loss) <= size:
        return np.ones(len(dual.loss), bool)
    mask = dual.loss <= np.partition(dual.loss, problem.groups + size)[problem.groups + size] \
        if len(dual.loss) > problem.groups + size else np.ones(len(dual.loss), bool)
    mask[dual.best] = True
    return mask


def relaxation(problem: Problem, mask: Bools) -> tuple[Floats, float]:
    """Prices and value of the linear relaxation over the alternatives in ``mask``.

    Groups with a single alternative there are fixed.  A shortage may be bought at a high price, so that
    the program always has an answer and the prices stay finite.
    """
    alone, opened, budget = split(problem, mask)
    value = problem.value[opened]
    _, of = np.unique(problem.of[opened], return_inverse=True)
    answer = linear.Relaxation(value, problem.cost[opened], of, budget).solve()
    return answer.prices, answer.value + float(problem.value[alone].sum())


def split(problem: Problem, mask: Bools) -> tuple[Ints, Ints, Floats]:
    """The alternatives of ``mask`` that are alone in their group, the others, and the budget left to those."""
    fixed = np.bincount(problem.of[mask], minlength=problem.groups) == 1
    alone = np.flatnonzero(mask & fixed[problem.of])
    return alone, np.flatnonzero(mask & ~fixed[problem.of]), problem.budget - problem.use(alone)
