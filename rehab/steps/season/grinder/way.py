"""A short way through the blocks of each campaign, as far as its times allow."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np

from rehab.steps.season.grinder.selection import Laid
from rehab.steps.season.grinder.times import EPS, Floats, Ints, Season

_LONGEST: Final = 3  # blocks that are moved together
_SWEEPS: Final = 10
_BEGINS: Final = 6  # days sooner that a campaign is tried without waiting
_EPS: Final = 1e-9


class _Path(NamedTuple):
    """An order between two places without a distance, with how much sooner or later each block may begin."""

    blocks: Ints
    sums: Floats  #: when each begins, and the last ends
    sooner: Floats
    later: Floats
    way: Ints
    gap: Floats  #: miles between each place of the way and the next


def short(season: Season, laid: Laid, way: list[int]) -> Laid:
    """The campaigns with their blocks in an order with a shorter way, within the days that each campaign has.

    ``way``: all blocks in an order that is short if nobody has to wait.  Where the machine waits, an order in which it
    need not is looked for that ends no later; a campaign that cannot do without keeps its order.
    """
    found = [_shorter(season, order, start, finish, way)
             for order, start, finish in zip(laid.orders, laid.starts, laid.finishes, strict=True)]
    return Laid([order for order, _, _ in found], [start for _, start, _ in found], [finish for _, _, finish in found])


def _shorter(season: Season, order: list[int], start: Floats, finish: Floats,
             way: list[int]) -> tuple[list[int], Floats, Floats]:
    """One campaign: its order, starts and finishes."""
    mine = set(order)
    along = [block for block in way if block in mine]
    close = float(finish[-1] - season.load[order].sum())  # begun then, it ends at the same time without waiting
    tries = _BEGINS if close > start[0] + EPS else 1
    for begin in np.maximum(close - np.arange(tries), start[0]).tolist():
        seeds = [seed for seed in (order, _walk(season, along, begin), _walk(season, along[::-1], begin))
                 if len(seed) == len(order) and _limits(season, seed, begin)]
        if seeds:
            seed = min(seeds, key=lambda seed: _length(season, seed))
            limits = _limits(season, seed, begin)
            found = shorten(season.distance, seed, season.load, *limits, begin) if limits else seed
            if _length(season, found) < _length(season, order) - _EPS:
                return found, *_in_turn(season, found, begin)
    return order, start, finish


def _length(season: Season, order: list[int]) -> float:
    return float(season.distance[order[:-1], order[1:]].sum())


def _in_turn(season: Season, order: list[int], begin: float) -> tuple[Floats, Floats]:
    """Starts and finishes of blocks that follow one another at once."""
    finish = begin + np.cumsum(season.load[order])
    times = np.stack([np.concatenate([[begin], finish[:-1]]), finish])
    whole = np.round(times)
    times = np.where(np.abs(times - whole) <= 4 * EPS, whole, times)
    return times[0], times[1]


def _window(season: Season, block: int, time: float) -> tuple[float, float] | None:
    """The times around ``time`` at which a block may begin and is worked on without a pause."""
    for low, high, took in season.windows[block]:
        if low - EPS <= time <= high + EPS and took <= season.load[block] + EPS:
            return low, high
    return None


def _limits(season: Season, order: list[int], begin: float) -> tuple[Floats, Floats] | None:
    """Of all blocks the limits between which each may begin around its turn; None if one may not."""
    early, late = np.zeros(len(season.load)), np.zeros(len(season.load))
    time = begin
    for block in order:
        window = _window(season, block, time)
        if window is None:
            return None
        early[block], late[block] = window
        time += season.load[block]
    return early, late


def _walk(season: Season, along: list[int], begin: float) -> list[int]:
    """The blocks along a way, each time the next one on it that may be ground by now; shorter if none may."""
    left, order, time = list(along), list[int](), begin
    while left:
        at = next((at for at, block in enumerate(left) if _window(season, block, time)), None)
        if at is None:
            return order
        order.append(left.pop(at))
        time += season.load[order[-1]]
    return order


def shorten(distance: Floats, order: list[int], load: Floats, earliest: Floats, latest: Floats,
            begin: float) -> list[int]:
    """``order`` made shorter, where each block follows the one before at once and begins within its own limits.

    ``order`` are rows of ``distance``; per block of all: ``load`` the time it takes, ``earliest`` and ``latest`` the
    times at which it may begin; ``begin`` is the time of the first.  ``order`` itself keeps within the limits.  Up to
    three blocks are moved elsewhere, and stretches are turned round (Or-opt and 2-opt).
    """
    nowhere = len(distance)
    far = np.zeros((nowhere + 1, nowhere + 1))
    far[:-1, :-1] = distance

    def path_of(blocks: Ints) -> _Path:
        sums = begin + np.concatenate([[0.0], np.cumsum(load[blocks])])
        way = np.concatenate([[nowhere], blocks, [nowhere]])
        sooner, later = sums[:-1] - earliest[blocks], latest[blocks] - sums[:-1]
        return _Path(blocks, sums, sooner, later, way, far[way[:-1], way[1:]])

    path = path_of(np.array(order, np.int64))
    calm = np.zeros(nowhere + 1, bool)  # nothing around the block has changed since it was last looked at
    for _ in range(_SWEEPS):
        moved = False
        for place in range(len(order)):
            block = path.blocks[place]
            if calm[block]:
                continue
            calm[block] = True
            found = _turned(far, path, place, load, earliest, latest)
            for size in range(1, min(_LONGEST, len(order) - place) + 1):
                found = _moved(far, path, place, size) if found is None else found
            if found is not None:
                other = path_of(found)
                calm[(_beside(other.way) != _beside(path.way)).any(axis=1)] = False
                path, moved = other, True
        if not moved:
            break
    return [int(block) for block in path.blocks]


def _beside(way: Ints) -> Ints:
    """By block the two that it lies between, the lesser first."""
    found = np.zeros((int(way[0]) + 1, 2), np.int64)
    found[way[1:-1]] = np.sort(np.stack([way[:-2], way[2:]], axis=1), axis=1)
    return found


def _moved(far: Floats, path: _Path, place: int, size: int) -> Ints | None:
    """``size`` blocks from ``place`` moved to where that shortens the way most and all begin within their limits."""
    blocks, way, end = path.blocks, path.way, place + size
    head, tail = blocks[place], blocks[end - 1]
    gain = path.gap[place] + path.gap[end] - far[way[place], way[end + 1]]
    if gain <= _EPS:
        return None
    cost = far[head, way[:-1]] + far[tail, way[1:]] - path.gap  # by gap: gap g lies before the block at place g
    cost[place:end + 1] = np.inf
    cost[cost >= gain - _EPS] = np.inf
    if not np.isfinite(cost).any():
        return None
    # What is jumped over moves by the width of the piece, the piece by the width of what it jumps over.
    width = path.sums[end] - path.sums[place] - _EPS
    cost[end + 1:][(np.minimum.accumulate(path.sooner[end:]) < width)
                   | (path.sums[end + 1:] - path.sums[end] > path.later[place:end].min() + _EPS)] = np.inf
    cost[:place][(np.minimum.accumulate(path.later[:place][::-1]) < width)[::-1]
                 | (path.sums[place] - path.sums[:place] > path.sooner[place:end].min() + _EPS)] = np.inf
    best = int(np.argmin(cost))
    if cost[best] == np.inf:
        return None
    if best < place:
        return np.concatenate([blocks[:best], blocks[place:end], blocks[best:place], blocks[end:]])
    return np.concatenate([blocks[:place], blocks[end:best], blocks[place:end], blocks[best:]])


def _turned(far: Floats, path: _Path, place: int, load: Floats, earliest: Floats, latest: Floats) -> Ints | None:
    """The stretch from ``place`` turned round where that shortens the way most, if all begin within their limits."""
    blocks, way = path.blocks, path.way
    last, after = blocks[place + 1:], way[place + 3:]
    if not len(last):
        return None
    change = far[way[place], last] + far[blocks[place], after] - path.gap[place + 2:]
    best = int(np.argmin(change))
    if change[best] >= path.gap[place] - _EPS:
        return None
    end = place + 2 + best
    mine = blocks[place:end][::-1]
    time = path.sums[place] + np.cumsum(load[mine]) - load[mine]
    if (time < earliest[mine] - _EPS).any() or (time > latest[mine] + _EPS).any():
        return None
    return np.concatenate([blocks[:place], mine, blocks[end:]])
