"""Neighbourhoods of few resources: what can be exchanged within two or three scarce budgets and nothing else.

With many budgets a free search must watch them all at once.  Where each alternative uses few of the scarce ones (a
year's money, a year's crew), the alternatives that use only two or three of those are a problem of their own with two
or three budgets, which a short search solves nearly to its end.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from rehab.solvers.choice.dual import Dual
from rehab.solvers.choice.problem import Bools, Floats, Ints, Problem

SIZES = (2, 3)
"""Patterns that are open at once; the larger sets come when the smaller ones are done with."""
MOST = 1200
"""Sets looked at for each size; more are drawn from."""


@dataclass
class Patterns:
    """Which scarce resources the open alternatives use, and the sets of patterns to search.

    ``rows``: the problem's open rows; ``of``: the pattern of each; ``uses[pattern, r]``; ``sets[set, r]``: the scarce
    resources of each set; ``inside[set, pattern]``: the patterns that use nothing else; ``tried[set]``: searched since
    anything in it has changed.
    """

    rows: Ints
    of: Ints
    uses: Bools
    sets: Bools
    inside: Bools
    tried: Bools
    size: int


def find(problem: Problem, dual: Dual, mask: Bools, size: int, rng: np.random.Generator) -> Patterns:
    """The patterns of the alternatives in ``mask``, and their sets of ``size``; none where sets are no restriction."""
    rows = np.flatnonzero(mask)
    scarce = np.flatnonzero(dual.prices > 0)
    used = problem.cost[rows][:, scarce].toarray() != 0
    first, of = _alike(used)
    uses = used[first]
    some = np.flatnonzero(uses.any(axis=1))
    chosen = list(itertools.islice(itertools.combinations(some.tolist(), size), 20 * MOST))
    if len(chosen) > MOST:
        chosen = [chosen[at] for at in np.sort(rng.permutation(len(chosen))[:MOST])]
    sets = np.array([uses[list(part)].any(axis=0) for part in chosen], bool).reshape(len(chosen), len(scarce))
    sets = np.unique(sets[~sets.all(axis=1)], axis=0)
    inside = (~sets).astype(np.int64) @ uses.T.astype(np.int64) == 0
    wide = np.zeros((len(sets), len(dual.prices)), bool)
    wide[:, scarce] = sets
    return Patterns(rows, of, uses, wide, inside, np.zeros(len(sets), bool), size)


def _alike(used: Bools) -> tuple[Ints, Ints]:
    """Rows of flags that are alike: the first row of each kind, and the kind of every row; 64 flags at a time."""
    packed = np.packbits(used, axis=1)
    words = np.pad(packed, ((0, 0), (0, -packed.shape[1] % 8))).view(np.uint64)
    of = np.zeros(len(used), np.int64)
    for word in words.T:
        kind = np.unique(word, return_inverse=True)[1]
        of = np.unique(of * (int(kind.max(initial=0)) + 1) + kind, return_inverse=True)[1]
    first = np.unique(of, return_index=True)[1]
    return first, of


def pick(patterns: Patterns, problem: Problem, dual: Dual, chosen: Ints) -> int | None:
    """The untried set in which most is lost: unused budgets at their prices, and alternatives short of the best."""
    if patterns.tried.all():
        return None
    idle: Floats = np.maximum(problem.budget - problem.use(chosen), 0.0) * dual.prices
    held = patterns.of[np.searchsorted(patterns.rows, chosen)]
    short = np.bincount(held, dual.loss[chosen], minlength=len(patterns.uses))
    lost = patterns.sets @ idle + patterns.inside @ short
    return int(np.argmax(np.where(patterns.tried, -np.inf, lost)))


def opened(patterns: Patterns, which: int, mask: Bools, problem: Problem, chosen: Ints) -> Bools:
    """The alternatives of ``mask`` within a set, in the groups that stand within it now."""
    fits = np.zeros(len(mask), bool)
    fits[patterns.rows] = patterns.inside[which][patterns.of]
    return np.asarray(mask & fits & fits[chosen][problem.of])


def note(patterns: Patterns, which: int, *, better: bool) -> None:
    """Remember that a set was searched; a better choice opens the sets that share a resource with it."""
    if better:
        patterns.tried &= ~(patterns.sets & patterns.sets[which]).any(axis=1)
    else:
        patterns.tried[which] = True
