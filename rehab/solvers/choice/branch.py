"""Exact search over a small core: branch and bound that handles thousands of part-choices at a time.

Groups are decided in a fixed order, most restricted first.  A block of part-choices is extended by every alternative
of the next group at once and cut by the least of many Lagrangian bounds, one for each price vector of a
growing pool.  Blocks are taken depth first, best bound first, so that good choices are found early and memory
stays small.
"""

from __future__ import annotations

import itertools
import time
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from scipy import sparse

from rehab.solvers.choice import linear
from rehab.solvers.choice.problem import TOLERANCE, Floats, Ints

POOL = 160
"""Price vectors kept for bounding."""
NEWEST = (0, 8, 40, POOL)
"""Price vectors are tried in these stages, the newest first: most part-choices fall at an early stage."""
WIDTH = 4000
"""Part-choices in a block of the exact search."""
SMALL = 1 << 18
"""Multiplications in one matrix product: stays in the processor's cache, and below what BLAS would thread."""


@dataclass
class Tree:
    """The core as dense arrays and what the search knows so far.

    Groups are numbered by the order in which they are decided; ``path`` of a part-choice holds the
    alternatives' rows in ``value`` and ``cost``.
    """

    value: Floats
    cost: Floats
    first: Ints
    budget: Floats
    gap: float
    deadline: float
    best: float
    blocks: int = 1 << 60
    """Blocks of part-choices to extend before giving up: a limit that does not depend on the clock."""
    chosen: Ints | None = None
    width: int = WIDTH
    """Part-choices in a block."""
    ceiling: float = -np.inf
    """Greatest bound among the part-choices given up; none of them can be worth more."""
    prices: Floats = field(default_factory=lambda: np.zeros((0, 0)))
    rest: Floats = field(default_factory=lambda: np.zeros((0, 0)))
    """Lagrangian value of the groups from each level on, ``[pool, groups + 1]``."""
    need: Floats = field(default_factory=lambda: np.zeros((0, 0)))
    """Least use of each resource by the groups from each level on, ``[groups + 1, r]``."""


class Part(NamedTuple):
    """A block of part-choices: value and use so far, alternatives taken, bound of each; best bound first."""

    level: int
    value: Floats
    used: Floats
    path: Ints
    bound: Floats

    def take(self, rows: Ints | slice) -> Part:
        """Some of the part-choices."""
        return Part(self.level, self.value[rows], self.used[rows], self.path[rows], self.bound[rows])


def search(tree: Tree, prices: Floats) -> bool:
    """Improve ``tree.chosen`` until nothing better is left (true) or a limit is reached (false)."""
    groups, resources = len(tree.first), len(tree.budget)
    tree.prices, tree.rest = np.zeros((0, resources)), np.zeros((0, groups + 1))
    least = np.minimum.reduceat(tree.cost, tree.first, axis=0)
    tree.need = np.vstack([np.cumsum(least[::-1], axis=0)[::-1], np.zeros(resources)])
    of = np.repeat(np.arange(groups), np.diff(tree.first, append=len(tree.value)))
    relaxed = linear.Relaxation(tree.value, sparse.csr_array(tree.cost), of, tree.budget)
    _learn(tree, np.zeros(resources))
    _learn(tree, prices)
    stack = [Part(0, np.zeros(1), np.zeros((1, resources)), np.zeros((1, groups), np.int64), np.array([np.inf]))]
    extended = 0
    while stack:
        if time.monotonic() > tree.deadline or extended >= tree.blocks:
            tree.ceiling = max(tree.ceiling, *(float(part.bound[0]) for part in stack))
            return False
        part = _cut(tree, stack.pop())
        if len(part.value):
            part = _cut(tree, _tighten(tree, relaxed, part))
        if len(part.value):
            stack.extend(_extend(tree, part))
            extended += 1
    return True


def _learn(tree: Tree, prices: Floats) -> None:
    """Add a price vector to the pool; the oldest but the first two makes room."""
    top = np.maximum.reduceat(tree.value - tree.cost @ prices, tree.first)
    rest = np.append(np.cumsum(top[::-1])[::-1], 0.0)
    if len(tree.prices) >= POOL:
        tree.prices = np.delete(tree.prices, 2, axis=0)
        tree.rest = np.delete(tree.rest, 2, axis=0)
    tree.prices, tree.rest = np.vstack([tree.prices, prices]), np.vstack([tree.rest, rest])


def _bounds(tree: Tree, part: Part, pool: slice) -> Floats:
    """Upper bound of each part-choice: the least over its old bound and some of the pool."""
    prices = np.column_stack([-tree.prices[pool], tree.prices[pool] @ tree.budget + tree.rest[pool, part.level]])
    state = np.column_stack([part.used, np.ones(len(part.value))]).T
    bound = np.empty(len(part.value))
    step = max(SMALL // prices.size, 1)
    for at in range(0, len(bound), step):
        (prices @ state[:, at : at + step]).min(axis=0, out=bound[at : at + step])
    return np.minimum(part.bound, part.value + bound)


def _cut(tree: Tree, part: Part) -> Part:
    """Give up the part-choices whose bound is no better than the best choice known; order the others."""
    target = tree.best + tree.gap * max(abs(tree.best), 1e-9) if np.isfinite(tree.best) else -np.inf
    alive = np.flatnonzero(part.bound > target)
    if len(alive) < len(part.bound):
        lost = np.delete(part.bound, alive)
        tree.ceiling = max(tree.ceiling, float(lost.max()))
    return part.take(alive[np.argsort(-part.bound[alive], kind="stable")])


def _tighten(tree: Tree, relaxed: linear.Relaxation, part: Part) -> Part:
    """Learn the prices that bound the best part-choice, if they bound it better than the pool does."""
    answer = relaxed.rest(part.level, tree.budget - part.used[0])
    old = float(part.bound[0])
    if part.value[0] + answer.value > old - 1e-3 * max(old - tree.best, 0.0) and np.isfinite(old):
        return part
    _learn(tree, answer.prices)
    return part._replace(bound=_bounds(tree, part, slice(-1, None)))


def _extend(tree: Tree, part: Part) -> list[Part]:
    """Every way of deciding the next group, cut and parted into blocks, the best block last."""
    level, groups = part.level, len(tree.first)
    start = int(tree.first[level])
    end = int(tree.first[level + 1]) if level + 1 < groups else len(tree.value)
    width = end - start
    used = (part.used[:, None, :] + tree.cost[start:end]).reshape(-1, part.used.shape[1])
    room = tree.budget + TOLERANCE * np.abs(tree.budget) - tree.need[level + 1]
    rows = np.flatnonzero((used <= room).all(axis=1))
    path = part.path[rows // width]
    path[:, level] = start + rows % width
    value = (part.value[:, None] + tree.value[start:end]).ravel()[rows]
    grown = Part(level + 1, value, used[rows], path, part.bound[rows // width])
    if level + 1 == groups:
        grown = _cut(tree, grown._replace(bound=grown.value))
        if len(grown.value):
            tree.best, tree.chosen = float(grown.value[0]), grown.path[0]
            _cut(tree, grown)
        return []
    count = len(tree.prices)
    for few, more in itertools.pairwise(NEWEST):
        if few < count:
            pool = slice(max(count - more, 0), count - few)
            grown = _cut(tree, grown._replace(bound=_bounds(tree, grown, pool)))
    return [grown.take(slice(at, at + tree.width)) for at in reversed(range(0, len(grown.value), tree.width))]
