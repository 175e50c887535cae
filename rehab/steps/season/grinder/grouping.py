"""An order of blocks cut into campaigns so that the least area waits the least: an exact dynamic program.

A campaign of the blocks at the places i to j of the order is known by its shift: when block 0 would begin if the
campaign reached back to it without a gap.  The blocks' ready days bound the shift from below, their last days from
above, and the end of every block is its sum of loads plus the shift.
"""

from __future__ import annotations

from typing import Any, Final, NamedTuple

import numpy as np

from rehab.steps.season.grinder.times import EPS, Floats, Season, calendar_day

_WAIT: Final = 1e-9  # all waiting together beside one block missed, so that missing none comes first
_AREA: Final = 1e-3  # all area together beside one block missed
_KEPT: Final = 3  # states of a place that are kept where blocks may be left out


class _State(NamedTuple):
    """Blocks before some place are ground or left out at a ``cost``; the machine is free from the morning ``free``.

    ``groups``: the campaigns so far as a chain (those before, first place, place after the last).
    """

    cost: float
    free: float
    groups: tuple[Any, int, int] | None


class _Table(NamedTuple):
    """Of campaigns from the place of the row to that of the column: bounds of the shift, cost of waiting, and so on."""

    area: Floats
    sums: Floats
    low: Floats
    high: Floats
    wait: Floats  #: without end where the blocks cannot be ground in this order without a gap
    free: Floats  #: the morning from which the next campaign may begin
    gone: Floats
    scale: float


def cut(season: Season, order: list[int], most: int, leave_out: bool) -> list[list[list[int]]]:
    """For 1 to ``most`` campaigns, as far as they can be: the blocks of each, in the order given.

    Days without work are disregarded.  With ``leave_out`` blocks between two campaigns, before the first and after
    the last may be missed (as few as can be, near to exactly); else there is no cut unless all are ground.
    """
    table = _table(season, order)
    first = np.append([season.windows[block][0][0] for block in order], 0.0)
    states = _passed([[_State(0.0, 0.0, None)], *([] for _ in order)], table, first, leave_out)
    found = []
    for number in range(1, most + 1):
        after = _passed(_advanced(season, table, states), table, first, leave_out) \
            if number < most or not season.late else []
        groups = _late(season, table, states, leave_out) if season.late else _cheapest(after[-1])
        if groups is not None:
            found.append([order[begin:stop] for begin, stop in groups])
        states = after
    return found


def _table(season: Season, order: list[int]) -> _Table:
    count, rows = len(order), np.array(order)
    area, sums = season.area[rows], np.concatenate([[0.0], np.cumsum(season.load[rows])])
    soon = np.array([season.windows[block][0][0] for block in order]) - sums[:-1]
    until = np.array([season.windows[block][-1][1] for block in order]) - sums[:-1]
    low, high = np.full((count, count), np.inf), np.full((count, count), -np.inf)
    cause = np.zeros((count, count), np.int64)  # the block that keeps the campaign from beginning sooner
    for place in range(count):
        low[place, place:] = np.maximum.accumulate(soon[place:])
        high[place, place:] = np.minimum.accumulate(until[place:])
        new = soon[place:] >= low[place, place:]
        cause[place, place:] = np.maximum.accumulate(np.where(new, np.arange(place, count), place))
    scale = _WAIT / ((float(np.ptp(season.calendar)) + 1) * max(float(area.sum()), 1e-9))
    whole = np.zeros((count, count + 1))
    ending = calendar_day(season, sums[1:] + soon[:, None])
    np.cumsum(area * ending * scale, axis=1, out=whole[:, 1:])
    at = np.arange(count)
    wait = np.where(low <= high + EPS, whole[cause, at + 1] - whole[cause, at[:, None]], np.inf)
    free = np.ceil(sums[1:] + low - EPS) + season.apart
    gone = np.concatenate([[0.0], np.cumsum(1 + _AREA * area / (area.sum() + 1))])
    return _Table(area, sums, low, high, wait, free, gone, scale)


def _waits(season: Season, table: _Table, begin: int, stop: int, shift: float) -> Floats:
    """Cost of the waiting of the blocks from place ``begin`` on, one after the other."""
    ending = calendar_day(season, table.sums[begin + 1:stop + 1] + shift)
    return np.asarray(table.area[begin:stop] * ending * table.scale)


def _advanced(season: Season, table: _Table, states: list[list[_State]]) -> list[list[_State]]:
    """The states after one campaign more, each as soon as its blocks and the machine are ready."""
    count = len(table.area)
    rows = [(place, state) for place, given in enumerate(states[:-1]) for state in given]
    found: list[list[_State]] = [[] for _ in range(count + 1)]
    if not rows:
        return found
    places, costs, frees = (np.array(column) for column in zip(
        *((place, state.cost, state.free) for place, state in rows), strict=True))
    cost, free = table.wait[places] + costs[:, None], table.free[places]
    held = frees - table.sums[places]
    for row in np.flatnonzero(held > table.low[places, places] + EPS):
        # The campaign before keeps this one from beginning with its first block.
        place, by = int(places[row]), held[row]
        low = np.maximum(table.low[place, place:], by)
        waits = np.where(table.low[place, place:] < by, np.cumsum(_waits(season, table, place, count, by)),
                         table.wait[place, place:])
        cost[row, place:] = np.where(low <= table.high[place, place:] + EPS, costs[row] + waits, np.inf)
        free[row, place:] = np.ceil(table.sums[place + 1:] + low - EPS) + season.apart
    for column, best in enumerate(np.argmin(cost, axis=0).tolist()):
        left = cost[:, column]
        while left[best] < np.inf:
            place, state = rows[best]
            found[column + 1].append(
                _State(float(left[best]), float(free[best, column]), (state.groups, place, column + 1)))
            left = np.where(free[:, column] < free[best, column], left, np.inf)
            best = int(np.argmin(left))
    return found


def _passed(states: list[list[_State]], table: _Table, first: Floats, leave_out: bool) -> list[list[_State]]:
    """Of each place the states that none betters, with those in which the block before it is left out."""
    kept: list[list[_State]] = []
    for place, given in enumerate(states):
        here = list(given)
        if leave_out and place:
            more = float(table.gone[place] - table.gone[place - 1])
            here += [state._replace(cost=state.cost + more) for state in kept[-1]]
        best: list[_State] = []
        for state in sorted(here, key=lambda state: state[:2]):
            state = state._replace(free=max(state.free, float(first[place])))  # sooner is of no use
            if not best or state.free < best[-1].free - EPS:
                best.append(state)
        kept.append(best[:_KEPT] if leave_out else best)
    return kept


def _late(season: Season, table: _Table, states: list[list[_State]], leave_out: bool) -> list[tuple[int, int]] | None:
    """The cheapest way to end with a campaign that lies as late as its blocks allow, less the reserve."""
    count = len(table.area)
    rest = table.gone[-1] - table.gone[1:]
    options = []
    least = np.inf
    for place, given in enumerate(states[:-1]):
        begin = place if leave_out else count - 1
        for state in given:
            low = np.maximum(table.low[place, begin:], state.free - table.sums[place])
            cost = np.where(low <= table.high[place, begin:] + EPS, state.cost + rest[begin:], np.inf)
            least = min(least, float(cost.min()))
            if cost.min() <= least + _WAIT < np.inf:
                options.append((state, place, begin, low, cost))
    best: tuple[float, list[tuple[int, int]] | None] = (np.inf, None)
    for state, place, begin, low, cost in options:
        for column in np.flatnonzero(cost <= least + _WAIT).tolist():
            stop = begin + column + 1
            shift = max(float(low[column]), float(table.high[place, stop - 1]) - season.reserve)
            whole = float(cost[column] + _waits(season, table, place, stop, shift).sum())
            if whole < best[0]:
                best = (whole, [*_chain(state), (place, stop)])
    return best[1]


def _cheapest(states: list[_State]) -> list[tuple[int, int]] | None:
    return _chain(min(states, key=lambda state: state[:2])) if states else None


def _chain(state: _State) -> list[tuple[int, int]]:
    """The campaigns that led to a state: first place and the place after the last of each."""
    found = []
    groups = state.groups
    while groups is not None:
        groups, begin, stop = groups
        found.append((begin, stop))
    return found[::-1]
