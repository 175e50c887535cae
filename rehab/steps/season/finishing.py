"""The grinder's campaigns of a season, and the filling and striping that follow it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Final

import numpy as np
import numpy.typing as npt

from rehab.steps.season import grinder
from rehab.steps.season.frame import Frame, Key, closes
from rehab.steps.season.placing import Placed, Visit, allowed_from, named, place
from rehab.steps.season.work import Activity

_TRIES: Final = 4  #: times the campaigns are moved forward so that filling and striping fit after them
_EARLIER: Final = 5  #: working days by which they are moved
_EPS: Final = 1e-6
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Finished:
    """Visits with the grinder in campaigns, what is left, the campaigns that could be had, and which one is used.

    ``ready``: first day on which each block to be ground may be ground.
    """

    visits: list[Visit]
    left: list[Activity]
    choices: list[grinder.Campaigns]
    chosen: int
    ready: dict[int, date]
    blocks: list[int]


def finish(frame: Frame, placed: Placed, pins: Mapping[Key, date], season: str, timing: str, campaigns: int,
           busy: Sequence[tuple[Activity, date]] = ()) -> Finished:
    """The visits with grinding put into campaigns and what follows it put after them.

    ``campaigns``: times the machine is brought, 0 for the fewest that grind the most blocks; ``busy``: what keeps
    crews besides.
    """
    fixed = [visit for visit in placed.visits if visit.done or visit.item.kind not in ("grind", *_after(frame))]
    there = {visit.item.block for visit in placed.visits if visit.item.kind not in ("fill", "grind", "stripe")}
    carried = {item.block for item in placed.left if item.kind not in ("fill", "grind", "stripe")}
    done = {visit.key for visit in fixed}
    items = [visit.item for visit in placed.visits if visit.key not in done]
    items += [item for item in placed.left if item.block in there - carried and item.kind in ("grind", *_after(frame))]
    items.sort(key=lambda item: (item.block, item.kind))
    unfilled = {item.block for item in placed.left if item.kind == "fill"} if "fill" not in _after(frame) else set()
    items = [item for item in items if item.block not in unfilled]  # what is filled before it is ground
    grind = [item for item in items if item.kind == "grind"]
    after = [item for item in items if item.kind != "grind"]
    rest = [item for item in placed.left if item not in items]
    rest += [visit.item for visit in placed.visits if visit.key not in done and visit.item not in items]
    from_day = allowed_from(frame, fixed, grind)
    free = max((frame.period(day) + item.days for item, day in busy if "Grinder" in item.asks), default=0)
    ready = {item.block: from_day.get((item.block, "grind"), frame.days[0]) for item in grind}
    if not grind or not frame.crews("Grinder"):
        follow = _follow(frame, fixed, after, {item.block for item in grind}, pins, season, busy)
        fixed, kept = named(fixed, follow), follow.visits
        return Finished(fixed + kept, rest + grind + _gone(after, kept), [], 0, ready, [item.block for item in grind])
    grind, by_hand, closed = _by_hand(frame, grind, ready, pins, season)
    fixed += by_hand
    if not grind:
        follow = _follow(frame, fixed, after, {visit.item.block for visit in by_hand}, pins, season, busy)
        everything = in_runs([*named(fixed, follow), *follow.visits], frame)
        return Finished(everything, rest + _gone(after, follow.visits), [], 0, ready, list(ready))
    best: Finished | None = None
    reserve = int(frame.assumptions.number("season", "grind_reserve_days"))
    for turn in range(_TRIES):
        choices = _choices(frame, grind, after, ready, timing, reserve + _EARLIER * turn, free, closed)
        chosen = _chosen(choices, campaigns)
        ground = _visits(frame, grind, choices[chosen], season)
        follow = _follow(frame, fixed + ground, after, set(ready), pins, season, busy)
        made = follow.visits
        left = rest + _gone(grind, ground) + _gone(after, made)
        everything = [*named(fixed, follow), *ground, *made]
        found = Finished(in_runs(everything, frame) if by_hand else everything, left, choices, chosen, ready,
                         [item.block for item in grind])
        if best is None or (len(found.left), -turn) < (len(best.left), 0):
            best = found
        if not _gone([item for item in after if item.block in {visit.item.block for visit in ground}], made):
            break
    assert best is not None
    return best


def _after(frame: Frame) -> tuple[str, ...]:
    """What follows the grinder."""
    before = frame.assumptions.text("curing", "fill_before_grinding") == "yes"
    return ("stripe",) if before else ("fill", "stripe")


def _gone(items: Sequence[Activity], visits: Sequence[Visit]) -> list[Activity]:
    there = {visit.key for visit in visits}
    return [item for item in items if (item.block, item.kind) not in there]


def _follow(frame: Frame, before: list[Visit], after: list[Activity], to_grind: set[int], pins: Mapping[Key, date],
            season: str, busy: Sequence[tuple[Activity, date]]) -> Placed:
    """Filling and striping after what is on the calendar; a block that is not ground waits with both."""
    ground = {visit.item.block for visit in before if visit.item.kind == "grind"}
    items = [item for item in after if item.block in ground or item.block not in to_grind]
    kept = [(item, day) for item, day in busy if item.asks and not closes(item.kind)]
    return place(frame, items, allowed_from(frame, before, items), pins, season, busy=kept)


def _by_hand(frame: Frame, grind: list[Activity], ready: Mapping[int, date], pins: Mapping[Key, date],
             season: str) -> tuple[list[Activity], list[Visit], Bools]:
    """Blocks that are not ground on a day set by hand, visits of those that are, and the days that these take.

    A day on which the block is not ready, or the machine is on another block set by hand, is not kept.
    """
    taken = np.zeros(len(frame.days), bool)
    rest, visits = [], []
    for item in sorted(grind, key=lambda item: (pins.get((item.block, "grind"), date.max), item.block)):
        day = pins.get((item.block, "grind"))
        at = frame.period(day) if day else len(frame.days)
        span = slice(at, at + item.days)
        if (day is None or day < ready[item.block] or at + item.days > len(frame.days) or frame.days[at] != day
                or taken[span].any() or not frame.open_to(item.block, "grind")[span].all()):
            rest.append(item)
            continue
        taken[span] = True
        share = min(item.crew_days["Grinder"] - (item.days - 1), 1.0)
        visits.append(Visit(item, day, frame.days[at + item.days - 1], {"Grinder": 1}, season, 1, 0.0,
                            share if share > 0 else 1.0))
    return sorted(rest, key=lambda item: item.block), visits, taken


def _choices(frame: Frame, grind: list[Activity], after: list[Activity], ready: Mapping[int, date],
             timing: str, reserve: int, free: int, closed: Bools) -> list[grinder.Campaigns]:
    """The campaigns that could be had, one for each number of them.

    ``free``: first day on which the machine is; ``closed``: days on which it is where it was set to be by hand.
    """
    tail = _tail(frame, after)
    horizon = len(frame.days)
    begin, end = [], []
    for item in grind:
        begin.append(max(frame.period(ready[item.block]), free))
        end.append(tail.get(item.block, horizon - 1))
    blocks = np.array([item.block for item in grind])
    allowed = np.array([frame.open_to(item.block, "grind") & ~closed for item in grind])
    return grinder.plan(
        np.array(begin, np.int64), np.array([item.crew_days["Grinder"] for item in grind]), np.array(end, np.int64),
        frame.ground.network["area_sqyd"].to_numpy(float)[blocks], frame.ground.distance[np.ix_(blocks, blocks)],
        frame.days, apart=_apart(frame), most=int(frame.assumptions.number("season", "campaigns_most")), timing=timing,
        reserve=reserve, allowed=allowed)


def _tail(frame: Frame, after: list[Activity]) -> dict[int, int]:
    """By block, the last period in which grinding may end so that what follows it still fits the season."""
    found: dict[int, int] = {}
    for kind in ("stripe", "fill"):
        for item in after:
            if item.kind == kind:
                until = found.get(item.block, len(frame.days) - 1) + 1
                open_at = np.flatnonzero(frame.open_to(item.block, kind)[:until])
                found[item.block] = int(open_at[-item.days]) - 1 if len(open_at) >= item.days else -1
    return {item: found.get(item, len(frame.days) - 1) for item in range(len(frame.ground.network))}


def _chosen(choices: list[grinder.Campaigns], wanted: int) -> int:
    """Which of the choices is used."""
    if wanted:
        near = [abs(int(found.campaign.max(initial=0)) - wanted) for found in choices]
        return int(np.argmin(near))
    return grinder.choose(choices)


def _visits(frame: Frame, grind: list[Activity], found: grinder.Campaigns, season: str) -> list[Visit]:
    """The machine's visits, by the days that they begin and end in."""
    visits = []
    for at, item in enumerate(grind):
        campaign = int(found.campaign[at])
        if campaign > 0:
            first, last = _day(found.start[at] + _EPS), _day(found.finish[at] - _EPS)
            days = frame.days[first], frame.days[max(first, last)]
            visits.append(Visit(item, *days, {"Grinder": 1}, season, campaign, _share(found.start[at]),
                                _share(found.finish[at]) or 1.0))
    return visits


def _day(position: np.floating[npt.NBitBase] | float) -> int:
    return int(np.floor(position))


def _share(position: np.floating[npt.NBitBase] | float) -> float:
    """Share of its day at which a position lies."""
    return round(float(position) % 1.0, 6) % 1.0


def _apart(frame: Frame) -> int:
    """Working days between two campaigns; with fewer the machine stays in town."""
    return int(frame.assumptions.number("season", "campaigns_apart"))


def in_runs(visits: list[Visit], frame: Frame) -> list[Visit]:
    """Grinding that was arranged without campaigns, numbered by runs of the machine."""
    at = {day: period for period, day in enumerate(frame.days)}
    apart = _apart(frame)
    ordered = sorted((visit for visit in visits if visit.item.kind == "grind"), key=lambda visit: visit.first)
    numbered: dict[Key, int] = {}
    number, busy = 0, -apart - 1
    for visit in ordered:
        if at[visit.first] - busy > apart or not number:
            number += 1
        numbered[visit.key] = number
        busy = max(busy, at[visit.last])
    return [replace(visit, campaign=numbered.get(visit.key, 0)) for visit in visits]
