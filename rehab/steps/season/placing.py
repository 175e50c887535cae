"""Activities to visits: who is where on which days."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from threading import Event
from typing import Any

import numpy as np

from rehab.solvers import sequence
from rehab.steps.season.frame import Frame, Key, pose
from rehab.steps.season.work import BUSY, CONCRETE, CURES, FINISHING, PARTS, Activity


@dataclass(frozen=True)
class Visit:
    """An activity on its days; ``crews``: by name, which of several; ``campaign`` of the grinder, 0 for others.

    ``begins`` and ``ends``: shares of the first and the last day at which it is begun and ended.
    """

    item: Activity
    first: date
    last: date
    crews: Mapping[str, int]
    season: str
    campaign: int = 0
    begins: float = 0.0
    ends: float = 1.0
    done: bool = False

    @property
    def key(self) -> Key:
        """Block and kind."""
        return self.item.block, self.item.kind


@dataclass(frozen=True)
class Standing:
    """How far the search has come: blocks with work on the calendar, its last day, and the day that none can beat.

    ``bound`` is None while it is not known whether more could be placed.  ``travel``: miles between blocks, each change
    of district counted as some miles more.
    """

    blocks: int
    ends: date
    bound: date | None
    travel: float


@dataclass(frozen=True)
class Placed:
    """Visits, what did not fit, and how good the arrangement is proven to be (None: nothing was arranged).

    ``busy``: by activity that was begun before, which of the crews of each name it keeps.
    """

    visits: list[Visit]
    left: list[Activity]
    made: sequence.Arrangement | None = None
    busy: Mapping[Key, Mapping[str, int]] = field(default_factory=dict)


def place(frame: Frame, items: Sequence[Activity], release: Mapping[Key, date], pins: Mapping[Key, date], season: str,
          seconds: float = 0.0, watch: Callable[[Standing], None] | None = None, stop: Event | None = None,
          busy: Sequence[tuple[Activity, date]] = ()) -> Placed:
    """Visits of the activities in a season; what does not fit is left, the repairs of a block as a whole.

    A block whose repairs do not fit takes its finishing with it, and what follows the grinding or filling that does not
    fit is left with it.  ``busy``: what keeps crews or closes blocks besides, with its first day.
    """
    if not items or not frame.days:
        return Placed([], list(items))
    asked = _Asked(frame, release, {**pins, **{(item.block, item.kind): day for item, day in busy}},
                   [item for item, _ in busy])
    made = _solve(asked, items, seconds, watch, stop)
    names = list(dict.fromkeys(name for item in [*items, *asked.busy] for name in item.asks))
    spans = zip(made.start.tolist(), made.finish.tolist(), strict=True)
    visits = [Visit(item, frame.days[start // PARTS], frame.days[(finish - 1) // PARTS],
                    {name: made.copy.get((at, names.index(name)), 0) + 1 for name in item.asks}, season,
                    begins=start % PARTS / PARTS, ends=((finish - 1) % PARTS + 1) / PARTS)
              for at, (item, (start, finish)) in enumerate(zip(items, spans, strict=False)) if start >= 0]
    there = {visit.key for visit in visits}
    kept = {(item.block, item.kind.removeprefix(BUSY).strip()): {
        name: made.copy.get((len(items) + at, names.index(name)), 0) + 1 for name in item.asks}
        for at, item in enumerate(asked.busy) if item.asks}
    return Placed(visits, [item for item in items if (item.block, item.kind) not in there], made, kept)


def named(visits: Iterable[Visit], placed: Placed) -> list[Visit]:
    """The visits, those under way with the crews that an arrangement takes them to have."""
    return [replace(visit, crews=placed.busy[visit.key]) if visit.done and visit.key in placed.busy else visit
            for visit in visits]


def bound_of(frame: Frame, made: sequence.Arrangement | None) -> date | None:
    """Day before which no arrangement ends that places as much; None if more might be placed, or nothing is."""
    known = made is not None and made.makespan > 0 and made.placed == made.most
    return frame.day_of(made.lower_bound) if made is not None and known else None


def allowed_from(frame: Frame, visits: Iterable[Visit], items: Iterable[Activity]) -> dict[Key, date]:
    """First day that visits on the calendar, and the day of arranging anew, allow each activity to begin on.

    Activities that wait for nothing are left out.
    """
    today = frame.given.today
    by_key = {visit.key: visit for visit in visits}
    found: dict[Key, date] = {}
    for item in items:
        if today is not None:
            found[item.block, item.kind] = today
        for wait in frame.waits:
            before = by_key.get((item.block, wait.before))
            if wait.after == item.kind and before is not None:
                day = frame.earliest(wait, item.block, before.last)
                key = (item.block, item.kind)
                found[key] = max(day, found.get(key, day))
    return found


def still_busy(frame: Frame, visits: Iterable[Visit], day: date,
               before: Frame | None = None) -> list[tuple[Activity, date]]:
    """What of visits goes on from ``day``: their crews until they end, and their blocks closed until they open.

    ``before``: the season that they are of, if not that of ``frame``.
    """
    of, begin = before or frame, frame.period(day)
    found = []
    for visit in visits:
        kind, opens = visit.item.kind, visit.last + timedelta(days=1)
        if kind in CONCRETE:
            opens = of.opened(visit.item.block, kind, visit.last)[1]
        works = frame.period(visit.last + timedelta(days=1)) - begin
        closed = frame.period(opens) - begin
        item = replace(visit.item, kind=f"{BUSY} {kind}")
        if works > 0 and visit.last >= day:
            found.append((replace(item, parts=works * PARTS), frame.days[max(begin, frame.period(visit.first))]))
        elif closed > 0 and kind in CONCRETE:
            found.append((replace(item, kind=f"{CURES} {kind}", parts=closed * PARTS, asks={}, supply=0),
                          frame.days[begin]))
    return found


@dataclass(frozen=True)
class _Asked:
    """What holds for every arrangement of a season."""

    frame: Frame
    release: Mapping[Key, date]
    pins: Mapping[Key, date]
    busy: list[Activity]


def _solve(asked: _Asked, items: Sequence[Activity], seconds: float = 0.0,
           watch: Callable[[Standing], None] | None = None, stop: Event | None = None) -> sequence.Arrangement:
    """Starts of the activities, and after them of what keeps crews besides."""
    frame, everything = asked.frame, [*items, *asked.busy]
    # The repairs of a block fit together or not at all; what finishes it needs them and what comes before, and never
    # outweighs repairs.  What keeps crews weighs most.
    blocks, kinds = max(item.block for item in everything) + 1, len(FINISHING)
    last = blocks * (1 + kinds)
    optional = np.array([*(_group(item.block, item.kind, blocks) for item in items),
                         *range(last, last + len(asked.busy))])
    much = kinds * blocks + 1
    weight = np.repeat([much, 1, much**2], [blocks, kinds * blocks, len(asked.busy)])[: optional.max() + 1]
    posed: dict[str, Any] = pose(frame, everything, asked.release, asked.pins)

    def told(made: sequence.Arrangement) -> None:
        if watch is not None and made.makespan > 0:
            there = {item.block for item, start in zip(items, made.start.tolist(), strict=False) if start >= 0}
            watch(Standing(len(there), frame.day_of(made.makespan), bound_of(frame, made), made.travel))

    slack = int(frame.assumptions.number("season", "tour_slack_days")) * PARTS
    return sequence.arrange(**posed, optional=optional, weight=weight, needs=_needs(frame, items, blocks), slack=slack,
                            seconds=seconds, watch=told, stop=stop)


def _group(block: int, kind: str, blocks: int) -> int:
    """Number of the group that an activity is placed with."""
    return block + (blocks * (1 + FINISHING.index(kind)) if kind in FINISHING else 0)


def _needs(frame: Frame, items: Sequence[Activity], blocks: int) -> np.ndarray:
    """Which groups are placed only with which others: all that waits for something of the same block."""
    there = {(item.block, item.kind) for item in items}
    rows = {(_group(block, wait.after, blocks), _group(block, wait.before, blocks))
            for block in {item.block for item in items} for wait in frame.waits
            if wait.after in FINISHING and (block, wait.before) in there and (block, wait.after) in there}
    return np.array(sorted(rows), np.int64).reshape(-1, 2)

