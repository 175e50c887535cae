"""When the blocks of a campaign can be ground, in a given order.

Times are positions in the grid of the season's working days.  The times at which a block may end form spans; from those
of one block follow those of the next, so that an order is known to be possible, or not, in one pass over it.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from operator import itemgetter
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]
Spans = list[tuple[float, float]]  #: times at which something may end: from, to
Starts = list[tuple[float, float, float]]  #: times at which it may begin: from, to, and how long until it ends

EPS: Final = 1e-7  #: of a day
_SLIVER: Final = 1e-4  # of a day: nobody goes on after days off for less


class Season(NamedTuple):
    """The blocks, the times at which each may begin, and how the campaigns are to lie."""

    load: Floats
    area: Floats
    distance: Floats
    windows: list[Starts]
    resumes: list[Ints | None]  #: by block and day, the next day with work allowed; None if there always is
    calendar: Floats  #: calendar day of each working day, from the first
    apart: int
    late: bool
    reserve: int


def windows(ready: Ints, load: Floats, last: Ints, periods: int, allowed: Flags | None,
            apart: int) -> tuple[list[Starts], list[Ints | None]]:
    """When each block may begin, and for each day the next one on which work is allowed.

    A block once begun is worked on each day allowed; pauses are shorter than ``apart`` days.
    """
    begins: list[Starts] = []
    resumes: list[Ints | None] = []
    for block in range(len(ready)):
        first, end, takes = int(ready[block]), int(last[block]), float(load[block])
        if allowed is None or allowed[block, first:end + 1].all():
            latest = end + 1 - takes
            begins.append([(float(first), max(latest, float(first)), takes)] if latest >= first - EPS else [])
            resumes.append(None)
            continue
        open_ = np.flatnonzero(allowed[block, first:end + 1]) + first
        begins.append(_pieces(open_, takes, apart))
        never = periods + apart
        day = np.arange(periods + 1)
        after = np.append(open_, never)[np.searchsorted(open_, day)]
        resumes.append(np.where(day >= first, after, never))
    return begins, resumes


def thread(season: Season, order: Sequence[int], free: float) -> list[Starts] | None:
    """When each block of a campaign may begin that begins at ``free`` or later; None if the order is not possible."""
    found = [opening(season, free, order[0])]
    for block in order[1:]:
        if not found[-1]:
            return None
        found.append(following(season, ends(found[-1]), block))
    return found if found[-1] else None


def opening(season: Season, free: float, block: int) -> Starts:
    """When a block may begin as the first of a campaign that begins at ``free`` or later."""
    return [(max(first, free), final, took) for first, final, took in season.windows[block] if final >= free - EPS]


def following(season: Season, before: Spans, block: int) -> Starts:
    """When a block may begin after one that may end at the times ``before``, in the same campaign."""
    found: Starts = []
    own = season.windows[block]
    for low, high in before:
        reach = _reach(season, block, high) + EPS
        # Windows are in order: begin with the first that is not over by then.
        for at in range(bisect_left(own, low - EPS, key=itemgetter(1)), len(own)):
            first, final, took = own[at]
            if first > reach:
                break
            begin = first if first > low else low
            end = final if final < reach else reach - EPS
            found.append((begin, end if end > begin else begin, took))
    return found


def ends(starts: Starts) -> Spans:
    """When it may end; spans that meet are one."""
    if len(starts) == 1:
        low, high, took = starts[0]
        return [(low + took, high + took)]
    merged: Spans = []
    for low, high in sorted((low + took, high + took) for low, high, took in starts):
        if merged and low <= merged[-1][1] + EPS:
            merged[-1] = (merged[-1][0], max(merged[-1][1], high))
        else:
            merged.append((low, high))
    return merged


def morning(time: float) -> int:
    """The first morning that is not before a time."""
    return int(np.ceil(time - EPS))


def soonest(season: Season, orders: Sequence[Sequence[int]]) -> float | None:
    """The morning from which another campaign may begin if these end as soon as they can; None if they cannot be."""
    free = 0.0
    for order in orders:
        found = thread(season, order, free)
        if found is None:
            return None
        free = morning(ends(found[-1])[0][0]) + float(season.apart)
    return free


def placed(season: Season, order: Sequence[int], free: float, final: bool) -> tuple[Floats, Floats] | None:
    """Starts and finishes of a campaign; the ``final`` one keeps to the timing, the others end as soon as they can."""
    found = thread(season, order, free)
    if found is None:
        return None
    possible = ends(found[-1])
    if not (final and season.late):
        return _timed(season, order, found, possible[0][0])
    times = _timed(season, order, found, possible[-1][1])
    if season.reserve:
        times = _timed(season, order, found, max(float(times[1][-1]) - season.reserve, possible[0][0]))
    return times


def calendar_day(season: Season, finish: Floats) -> Floats:
    """Calendar day, from the season's first, on which work ends that ends at these times."""
    at = np.ceil(finish - EPS).astype(np.int64) - 1
    return np.asarray(season.calendar[np.clip(at, 0, len(season.calendar) - 1)])


def _pieces(open_: Ints, takes: float, apart: int) -> Starts:
    """Windows of a block that may be worked on on the days ``open_`` only, one for each way in which it pauses."""
    found: Starts = []
    spare = float(np.ceil(takes - EPS)) - takes  # begun by this part of a day, it ends a day sooner
    for place, day in enumerate(open_.tolist()):
        for low, high, more in ((0.0, spare, -1), (spare + _SLIVER, 1.0 - _SLIVER, 0)):
            end = place + int(np.ceil(takes - EPS)) + more
            if low > high or end >= len(open_) or (np.diff(open_[place:end + 1]) > apart).any():
                continue
            took = takes + float(open_[end] - day - (end - place))
            if found and found[-1][2] == took and day + low - found[-1][1] <= 2 * _SLIVER:
                found[-1] = (found[-1][0], day + high, took)
            else:
                found.append((day + low, day + high, took))
    return found


def _reach(season: Season, block: int, time: float) -> float:
    """The latest time at which a block may follow one that ends at ``time``: the next morning with work allowed."""
    day = morning(time)
    resumes = season.resumes[block]
    if resumes is None or day >= len(resumes):
        return float(day)
    again = int(resumes[day])
    return float(again if again - day < season.apart else day)


def _timed(season: Season, order: Sequence[int], found: list[Starts], end: float) -> tuple[Floats, Floats]:
    """Starts and finishes of a campaign that ends at ``end`` or, where that cannot be, as shortly before as it can.

    It begins as late as it can for that, and from there each block follows as soon as it may.
    """
    chosen = []
    bound = end
    for starts in reversed(found):
        fits = [(min(high + took, bound), took) for low, high, took in starts if low + took <= bound + EPS]
        finish, took = max(fits) if fits else min((low + took, took) for low, _, took in starts)
        bound = finish - took
        chosen.append((bound, finish))
    time = chosen[-1][0]
    close = []
    for place, starts in enumerate(found):
        reach = _reach(season, order[place], time) if place else time
        soon = [(max(low, time), took) for low, high, took in starts if max(low, time) <= min(high, reach) + EPS]
        if not soon:
            close = chosen[::-1]
            break
        begin, took = min(soon)
        time = begin + took
        close.append((begin, time))
    times = np.array(close)
    whole = np.round(times)
    times = np.where(np.abs(times - whole) <= 4 * EPS, whole, times)
    return times[:, 0], times[:, 1]
