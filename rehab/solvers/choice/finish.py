"""From the prices to a choice: a feasible start, exchanges, searches of small neighbourhoods, exact proof."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from scipy import optimize, sparse

from rehab.solvers.choice import branch, improve, linear, patterns, rounding
from rehab.solvers.choice.dual import CORE, Dual, core, solve
from rehab.solvers.choice.problem import TOLERANCE, Bools, Ints, Problem, cheapest, starts

EXACT = 45
"""Open groups up to which the whole core is searched with proof."""
ANY = 200
"""Groups up to which all of them are searched where no choice was found otherwise."""
GENERAL = 30_000
"""Alternatives up to which the general solver is asked for any choice where none was found otherwise."""
GENERAL_S = 30.0
"""Seconds that it may take for that."""
MARGINS = (0.002, 0.006, 0.02)
"""By how much floors are raised, in shares of what all groups together could give."""
DIVE = 50
"""Groups in a wide neighbourhood."""
STRETCH = 60
"""Blocks of part-choices that one search may extend; an exact search for any choice has as many for each."""
THOROUGH = 6
"""Blocks that the exact search, whose blocks are larger, may extend for each search that is left."""
FEW = 15
"""Groups in a neighbourhood of few scarce resources, for each of these."""
FEW_AT_MOST = 90
FEW_WORK = 18_000
"""Part-choices, groups and resources of such a search multiplied: the more of these, the narrower it is."""
PATIENCE = 4
"""Neighbourhoods searched in vain before the exact search of a small core begins."""


class Limit(NamedTuple):
    """How far a search goes: blocks of part-choices to extend, part-choices in each, and whether it is to prove."""

    blocks: int | None
    width: int
    exact: bool = False


@dataclass
class State:
    """The best choice so far (rows of the problem, one per group) and the proven bound."""

    chosen: Ints | None
    value: float
    bound: float
    short: int | None = None
    """Without any choice: a resource that cannot be met."""

    def done(self, gap: float) -> bool:
        """Whether the bound is close enough."""
        return self.bound - self.value <= gap * max(abs(self.bound), 1e-12)


def finish(problem: Problem, dual: Dual, gap: float, deadline: float, effort: int | None, seed: int,
           known: Ints | None = None, *, phase_one: bool = False) -> State:
    """The best choice found by ``deadline`` (a time of the monotonic clock), or sooner within ``gap`` or ``effort``.

    The search sees ``known``, a choice to begin with, only if it is worth more than what is found without.
    """
    state = State(None, -np.inf, dual.bound)
    _offer(problem, state, dual.best)
    size = CORE
    while state.chosen is None:
        _start(problem, dual, state, size, deadline)
        if size >= len(problem.value) or time.monotonic() > deadline:
            break
        size *= 8
    if known is not None:
        _offer(problem, state, known)
    if state.chosen is None and not phase_one:
        _towards_floors(problem, dual, state, gap, deadline, seed)
    if state.chosen is None and not phase_one:
        _any(problem, dual, state, gap, deadline, effort)
    if state.chosen is not None and not phase_one:
        _polish(problem, dual, state, gap, deadline, effort, seed)
    return state


def _towards_floors(problem: Problem, dual: Dual, state: State, gap: float, deadline: float, seed: int) -> None:
    """A choice that meets floors, where none was found by the way: with floors raised a little, or for them alone.

    Under raised floors the best choice at the prices has something to give, so that repair can fit it into the budgets.
    """
    if problem.lifted is None or not problem.lifted.any():
        return
    spread = np.maximum.reduceat(problem.cost.toarray(), problem.first).sum(axis=0) - cheapest(problem).sum(axis=0)
    for margin in MARGINS:
        raised = replace(problem, budget=problem.budget - np.where(problem.lifted, margin * spread, 0.0))
        _start(problem, solve(raised, seed, dual.prices), state, CORE, deadline, plain=True)
        if state.chosen is not None or time.monotonic() > deadline:
            return
    weight = np.where(problem.lifted, np.maximum(dual.prices, 1e-9 * float(dual.prices.max(initial=0.0))), 0.0)
    inner = replace(problem, value=-(problem.cost @ weight))
    found = finish(inner, solve(inner, seed), gap, deadline, 0, seed, phase_one=True)
    if found.chosen is not None:
        _offer(problem, state, found.chosen)


def _any(problem: Problem, dual: Dual, state: State, gap: float, deadline: float, effort: int | None) -> None:
    """A choice where repair found none, or the proof that there is none."""
    most = problem.use(_frugal(problem)) / np.maximum(problem.budget, 1e-300)
    over = linear.Relaxation(problem.value, problem.cost, problem.of, problem.budget, feasibility=True).solve().over
    if (over > 1e-7 * problem.budget).any():
        state.short = int(np.argmax(over / np.maximum(problem.budget, 1e-300)))
        return
    _in_general(problem, state, deadline)
    if state.chosen is not None or problem.groups > ANY:
        return
    everything = np.ones(len(problem.value), bool)
    _, ended = _search(problem, dual, state, everything, np.arange(problem.groups), gap, deadline,
                       _all(effort, STRETCH))
    if ended and state.chosen is None:
        state.short = int(np.argmax(most))


def _in_general(problem: Problem, state: State, deadline: float) -> None:
    """Any choice that the general solver finds; limits that cross one another are what it is made for."""
    seconds = min(deadline - time.monotonic(), GENERAL_S)
    if seconds <= 0 or len(problem.value) > GENERAL:
        return
    one = sparse.csr_array((np.ones(len(problem.of)), (problem.of, np.arange(len(problem.of)))))
    scale = 1.0 / np.maximum(np.abs(problem.budget), 1e-9 * max(float(np.abs(problem.budget).max(initial=0.0)), 1.0))
    use = sparse.csr_array((problem.cost @ sparse.diags_array(scale)).T)
    found = optimize.milp(
        -problem.value / max(float(np.abs(problem.value).max(initial=0.0)), 1e-300),
        integrality=np.ones(len(problem.of), np.int64), bounds=optimize.Bounds(0, 1),
        options={"time_limit": seconds, "mip_rel_gap": 0.05},
        constraints=[optimize.LinearConstraint(use, -np.inf, problem.budget * scale),
                     optimize.LinearConstraint(one, 1, 1)])
    if found.x is not None:
        picked = np.flatnonzero(found.x > 0.5)
        if np.array_equal(problem.of[picked], np.arange(problem.groups)):
            _offer(problem, state, picked)


def _all(effort: int | None, each: int) -> Limit:
    """The limit of an exact search: so many blocks for each search that is left."""
    return Limit(None if effort is None else each * effort, branch.WIDTH, exact=True)


def _polish(problem: Problem, dual: Dual, state: State, gap: float, deadline: float, effort: int | None,
            seed: int) -> None:
    """Neighbourhood searches and exchanges in turn; the exact search once few groups are open.

    Wide neighbourhoods are dived into with few part-choices at a time; small ones are searched thoroughly, and
    their size follows what can be searched to the end: up after a proof, down without.
    """
    rng = np.random.default_rng(seed)
    size, misses, turns = 14, 0, 0
    few: patterns.Patterns | None = None
    while not state.done(gap) and time.monotonic() < deadline and (effort is None or turns < effort):
        mask = _open(problem, dual, state, gap)
        several = np.flatnonzero(np.add.reduceat(mask, problem.first) > 1)
        if len(several) <= max(size, EXACT if misses >= PATIENCE else 0):
            left = _all(None if effort is None else effort - turns, THOROUGH)
            _search(problem, dual, state, mask, several, gap, deadline, left)
            return
        if few is None:
            few = patterns.find(problem, dual, mask, patterns.SIZES[0], rng)
        better = _within(problem, dual, state, mask, few, gap, deadline, rng)
        if better is None and few.size < patterns.SIZES[-1]:
            few = patterns.find(problem, dual, mask, few.size + 1, rng)
            continue
        if better is not None:
            turns += 1
            continue
        if turns % 12 == 11:
            width = 1500 << min(turns // 24, 4)
            better, ended = _exchange(problem, dual, state, gap, deadline, (width,)), True
        else:
            dive = turns % 2 == 0 and len(several) > DIVE
            near = _neighbours(problem, dual, state, mask, several, DIVE if dive else size, rng)
            limit = Limit(STRETCH, 300 if dive else 1000)
            better, ended = _search(problem, dual, state, mask, near, gap, deadline, limit)
            if not dive:
                size = max(6, size + (2 if ended and not better else 0 if ended else -2))
        misses, turns = (0 if better else misses + 1), turns + 1


def _within(problem: Problem, dual: Dual, state: State, mask: Bools, few: patterns.Patterns, gap: float,
            deadline: float, rng: np.random.Generator) -> bool | None:
    """Search the most promising set of few scarce resources; None where all have been."""
    assert state.chosen is not None
    which = patterns.pick(few, problem, dual, state.chosen)
    if which is None:
        return None
    inside = patterns.opened(few, which, mask, problem, state.chosen)
    inside[state.chosen] = True
    several = np.flatnonzero(np.add.reduceat(inside, problem.first) > 1)
    better = False
    if len(several) > 1:
        scarce = int(few.sets[which].sum())
        near = _neighbours(problem, dual, state, inside, several, min(FEW * scarce, FEW_AT_MOST), rng)
        deep = max(STRETCH, len(near) + 10)  # one block for each group is what it takes to come to any choice
        wide = min(max(FEW_WORK // (len(near) * scarce), 10), 300)
        better, _ = _search(problem, dual, state, inside, near, gap, deadline, Limit(deep, wide))
    patterns.note(few, which, better=better)
    return better


def _offer(problem: Problem, state: State, chosen: Ints) -> bool:
    """Keep ``chosen`` if it fits and is worth more."""
    value = float(problem.value[chosen].sum())
    if value > state.value and problem.fits(problem.use(chosen)):
        state.chosen, state.value = chosen, value
        return True
    return False


def _dense(problem: Problem, dual: Dual, chosen: Ints, mask: Bools) -> tuple[improve.Core, Ints, Ints]:
    """The alternatives of ``mask`` in groups that have several there, the others staying at ``chosen``.

    Returns the core, the problem's rows behind it and ``chosen`` in it.
    """
    mask = mask.copy()
    mask[chosen] = True
    several = (np.add.reduceat(mask, problem.first) > 1)
    rows = np.flatnonzero(mask & several[problem.of])
    budget = problem.budget - problem.use(chosen[~several])
    of = np.cumsum(several)[problem.of[rows]] - 1
    made = improve.Core(problem.value[rows], problem.cost[rows].toarray(), of, starts(of), budget, dual.prices)
    return made, rows, np.searchsorted(rows, chosen[several])


def _start(problem: Problem, dual: Dual, state: State, size: int, deadline: float, *, plain: bool = False) -> None:
    """A feasible choice by repair of the best choice at the prices, or of the rounded relaxation where that fails.

    ``plain``: without the rounded relaxation.
    """
    mask = core(problem, dual, size)
    several = np.add.reduceat(mask, problem.first) > 1
    mask[_frugal(problem)[several]] = True
    for rounded in (False,) if plain else (False, True):
        begin = rounding.by_size(problem, dual, mask) if rounded else dual.best
        made, rows, now = _dense(problem, dual, begin, mask)
        for priced in (True, False):
            fixed = improve.repair(made, now, priced=priced)
            if fixed is not None:
                fixed = improve.improve(made, fixed, np.inf, deadline, (300,))
                chosen = dual.best.copy()
                chosen[problem.of[rows[fixed]]] = rows[fixed]
                _offer(problem, state, chosen)
        if state.chosen is not None:
            return


def _frugal(problem: Problem) -> Ints:
    """The alternative of each group that uses the least share of the budgets."""
    share = problem.cost @ (1.0 / np.maximum(problem.budget, 1e-300))
    low = np.minimum.reduceat(share, problem.first)
    hit = np.flatnonzero(share <= low[problem.of])
    return hit[np.unique(problem.of[hit], return_index=True)[1]]


def _open(problem: Problem, dual: Dual, state: State, gap: float) -> Bools:
    """The alternatives that may still be part of a better choice, by the bound at the prices."""
    if state.chosen is None:
        return np.ones(len(problem.value), bool)
    mask = dual.loss < dual.bound - state.value - gap * max(abs(state.value), 1e-12)
    mask[state.chosen] = True
    return np.asarray(mask)


def _exchange(problem: Problem, dual: Dual, state: State, gap: float, deadline: float,
              widths: tuple[int, ...]) -> bool:
    """Exchanges within the core, from the best choice so far."""
    assert state.chosen is not None
    made, rows, now = _dense(problem, dual, state.chosen, core(problem, dual, CORE))
    rest = state.value - float(made.value[now].sum())
    better = improve.improve(made, now, state.bound * (1.0 - gap) - rest, deadline, widths)
    chosen = state.chosen.copy()
    chosen[problem.of[rows[better]]] = rows[better]
    return _offer(problem, state, chosen)


def _neighbours(problem: Problem, dual: Dual, state: State, mask: Bools, several: Ints, size: int,
                rng: np.random.Generator) -> Ints:
    """Groups to set free: those nearest to another decision, drawn with some chance for the others."""
    assert state.chosen is not None
    loss = np.where(mask, dual.loss, np.inf)
    loss[state.chosen] = np.inf
    margin = np.minimum.reduceat(loss, problem.first)[several]
    noise = np.exp(rng.normal(0.0, rng.choice([0.7, 1.5, 4.0]), len(several)))
    return np.sort(several[np.argsort(margin * noise, kind="stable")[:size]])


def _search(problem: Problem, dual: Dual, state: State, mask: Bools, groups: Ints, gap: float, deadline: float,
            limit: Limit) -> tuple[bool, bool]:
    """Branch and bound over ``groups`` within ``mask``, the others staying as they are.

    The groups of an exact search are all that are open, so that it also bounds the problem.  Returns whether the
    choice became better and whether the search came to its end.
    """
    base = dual.best if state.chosen is None else state.chosen
    free = np.zeros(problem.groups, bool)
    free[groups] = True
    rows, first = _in_order(problem, dual, np.flatnonzero(mask & free[problem.of]), state, limit.exact)
    rest = base[~free]
    outside = float(problem.value[rest].sum())
    budget = problem.budget * (1.0 + TOLERANCE / 2) - problem.use(rest)
    cost = problem.cost[rows].toarray()
    used = cost.any(axis=0) | (budget < 0)  # no choice here changes what is left of the others
    tree = branch.Tree(problem.value[rows], cost[:, used], first, budget[used], gap, deadline, state.value - outside)
    tree.width = limit.width
    if limit.blocks is not None:
        tree.blocks = limit.blocks
    ended = branch.search(tree, dual.prices[used])
    better = False
    if tree.chosen is not None:
        chosen = base.copy()
        chosen[problem.of[rows[tree.chosen]]] = rows[tree.chosen]
        better = _offer(problem, state, chosen)
    if limit.exact:
        left_out = dual.bound - float(dual.loss[~mask].min(initial=np.inf))
        state.bound = min(state.bound, max(tree.ceiling + outside, state.value, left_out))
    return better, ended


def _in_order(problem: Problem, dual: Dual, rows: Ints, state: State, exact: bool) -> tuple[Ints, Ints]:
    """Rows sorted by the order in which to decide their groups, and where each group starts.

    For a proof the groups with the fewest near alternatives come first; for a quick good choice those whose
    alternatives differ most in priced use, so that the small ones are left to fill the budgets.
    """
    of = problem.of[rows]
    first = starts(of)
    if exact:
        room = dual.bound - state.value if state.chosen is not None else float(np.ptp(dual.loss))
        key = np.add.reduceat(np.exp(-3.0 * dual.loss[rows] / max(room, 1e-300)), first)
    else:
        priced = problem.cost[rows] @ dual.prices
        key = np.minimum.reduceat(priced, first) - np.maximum.reduceat(priced, first)
    rank = np.empty(len(first), np.int64)
    rank[np.argsort(key, kind="stable")] = np.arange(len(first))
    local = np.repeat(rank, np.diff(first, append=len(rows)))
    order = np.argsort(local, kind="stable")
    return rows[order], starts(local[order])
