"""The grinder's campaigns: one machine, brought in few times, and what it grinds when.

Times are positions in the grid of the season's working days: 12.25 is a quarter into ``days[12]``.  A block begins
when the one before it ends or, where it is not ready by then, on the next morning: a campaign has no idle day inside,
but for days on which no work is allowed on the block at hand.  Most blocks first, then most area; then blocks are put
together in the order of readiness so that the least area waits the least (``grouping``).  Which blocks fit is found
exactly for up to eight, and for more where all have the same last day; else by rules that come close (``selection``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

import numpy as np

from rehab.steps.season.grinder.selection import Laid, lay
from rehab.steps.season.grinder.times import EPS, Flags, Floats, Ints, Season, calendar_day, windows
from rehab.steps.season.grinder.way import short
from rehab.steps.season.neighbours import tour

__all__ = ["TIMINGS", "Campaigns", "choose", "plan", "why_missed"]

TIMINGS: Final = ("late", "soon")


@dataclass(frozen=True)
class Campaigns:
    """What is ground when, with the machine brought ``number`` times.

    Per block: ``start`` and ``finish`` (positions in the grid of days, NaN if missed), ``campaign`` (1 and on, -1 if
    missed) and ``wait_days`` (calendar days from ready to the last day of its grinding, NaN if missed).  Per campaign:
    ``first_day`` and ``last_day`` (indices of days) and ``travel_mi`` from block to block.  Then the means of the wait
    by block and by area, and the longest; NaN where nothing is ground.
    """

    start: Floats
    finish: Floats
    campaign: Ints
    wait_days: Floats
    first_day: Ints
    last_day: Ints
    travel_mi: Floats
    mean_wait_days: float
    area_wait_days: float
    longest_wait_days: float

    @property
    def number(self) -> int:
        """Times that the machine is brought."""
        return len(self.first_day)

    @property
    def missed(self) -> int:
        """Blocks that are not ground this season."""
        return int((self.campaign < 0).sum())


def plan(ready: Ints, load: Floats, last: Ints, area: Floats, distance: Floats, days: Sequence[date], *, most: int = 4,
         timing: str = "late", reserve: int = 0, apart: int = 5, allowed: Flags | None = None) -> list[Campaigns]:
    """Campaigns for each number of them up to ``most`` that grinds more, or waits less, than fewer; never empty.

    Per block: ``ready``, the first index of ``days`` on which it may be ground (``len(days)`` if not this season),
    ``load`` in days of the machine, ``last``, the last index in which its grinding may end, ``area``; ``distance`` in
    miles (blocks, blocks); ``allowed`` (blocks, days): days on which work on the block is allowed, all if None.

    With the ``timing`` 'late' the last campaign begins as late as its blocks allow, less ``reserve`` days (as far as
    no block is missed for it); the earlier ones, and with 'soon' all, end as soon as their blocks are ready.  Between
    two campaigns there are ``apart`` idle days or more.  Raises :class:`ValueError` for arrays that do not match.
    """
    _check(ready, load, last, area, distance, days, most, timing, allowed)
    calendar = np.array([(day - days[0]).days for day in days], np.float64)
    begins, resumes = windows(ready, load, last, len(days), allowed, apart)
    season = Season(np.asarray(load, np.float64), np.asarray(area, np.float64), np.asarray(distance, np.float64),
                    begins, resumes, calendar, apart, timing == "late", reserve)
    blocks = np.flatnonzero([bool(window) for window in begins])
    if not len(blocks):
        return [_measured(season, ready, Laid([], [], []))]
    near = season.distance[np.ix_(blocks, blocks)]
    way = blocks[tour(near, start=int(np.argmax(near.sum(axis=1))))].tolist()  # from the edge of it all
    found: list[Campaigns] = []
    for laid in lay(season, blocks, most):
        one = _measured(season, ready, short(season, laid, way))
        if not found or _rank(season, one) > _rank(season, found[-1]):
            found.append(one)
    return found


def choose(found: Sequence[Campaigns]) -> int:
    """Which one to use unless the city says otherwise: the fewest campaigns of those that grind the most blocks."""
    return min(range(len(found)), key=lambda row: (found[row].missed, found[row].number, row))


def why_missed(found: Campaigns, ready: Ints, load: Floats, last: Ints, allowed: Flags | None = None) -> list[str]:
    """For each block why it is missed; empty for one that is ground.

    'not ready': not before the last day on which it might end; 'too short': the days between on which it may be worked
    on are fewer than it takes; 'no day left': the machine has none for it, or comes at other times.
    """
    reasons = []
    for block in range(len(ready)):
        first, end = int(ready[block]), int(last[block])
        open_ = end + 1 - first if allowed is None else int(allowed[block, first:end + 1].sum())
        reason = "not ready" if first > end else "too short" if open_ < load[block] - EPS else "no day left"
        reasons.append(reason if found.campaign[block] < 0 else "")
    return reasons


def _check(ready: Ints, load: Floats, last: Ints, area: Floats, distance: Floats, days: Sequence[date], most: int,
           timing: str, allowed: Flags | None) -> None:
    count = len(ready)
    if not len(load) == len(last) == len(area) == count or np.shape(distance) != (count, count):
        raise ValueError(f"there are {count} ready days, but {len(load)} loads, {len(last)} last days, {len(area)} "
                         f"areas and distances of shape {np.shape(distance)}")
    if allowed is not None and np.shape(allowed) != (count, len(days)):
        raise ValueError(f"allowed has the shape {np.shape(allowed)} instead of {(count, len(days))}")
    if timing not in TIMINGS or most < 1:
        raise ValueError(f"timing is {' or '.join(TIMINGS)}, not '{timing}'; campaigns are 1 or more, not {most}")
    if count and (not np.isfinite(load).all() or np.min(load) <= 0 or np.min(ready) < 0 or np.max(last) >= len(days)):
        raise ValueError("every block takes more than no time, is ready on day 0 or later and ends on one of the days")


def _measured(season: Season, ready: Ints, laid: Laid) -> Campaigns:
    count, number = len(ready), len(laid.orders)
    start, finish, wait = np.full(count, np.nan), np.full(count, np.nan), np.full(count, np.nan)
    campaign = np.full(count, -1, np.int64)
    first, last, travel = np.zeros(number, np.int64), np.zeros(number, np.int64), np.zeros(number)
    for row, order in enumerate(laid.orders):
        start[order], finish[order], campaign[order] = laid.starts[row], laid.finishes[row], row + 1
        wait[order] = calendar_day(season, laid.finishes[row]) - season.calendar[ready[order]]
        first[row], last[row] = int(laid.starts[row][0] + EPS), int(np.ceil(laid.finishes[row].max() - EPS)) - 1
        travel[row] = season.distance[order[:-1], order[1:]].sum()
    done = campaign > 0
    if not done.any():
        return Campaigns(start, finish, campaign, wait, first, last, travel, np.nan, np.nan, np.nan)
    weight = season.area[done] if season.area[done].sum() > 0 else None
    return Campaigns(start, finish, campaign, wait, first, last, travel, float(wait[done].mean()),
                     float(np.average(wait[done], weights=weight)), float(wait[done].max()))


def _rank(season: Season, found: Campaigns) -> tuple[int, float, float]:
    """Blocks ground, their area, and then the less it waits."""
    done = found.campaign > 0
    return int(done.sum()), round(float(season.area[done].sum()), 6), -round(found.area_wait_days, 9)
