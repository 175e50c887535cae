"""Activities to visits: who is where on which days."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from threading import Event
from typing import Any

import numpy as np

from rehab.solvers import sequence
from rehab.steps.season.frame import Frame, Key, pose
from rehab.steps.season.work import FINISHING, PARTS, Activity


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
    """How far the search has come: blocks with work on the calendar, its last day, and the day that none can beat."""

    blocks: int
    ends: date
    bound: date
    travel_mi: float


@dataclass(frozen=True)
class Placed:
    """Visits, what did not fit, and how good the arrangement is proven to be (None: nothing was arranged)."""

    visits: list[Visit]
    left: list[Activity]
    made: sequence.Arrangement | None = None


def place(frame: Frame, items: Sequence[Activity], release: Mapping[Key, date], pins: Mapping[Key, date], season: str,
          seconds: float = 0.0, watch: Callable[[Standing], None] | None = None, stop: Event | None = None,
          busy: Sequence[tuple[Activity, date]] = ()) -> Placed:
    """Visits of the activities in a season; what does not fit is left, the repairs of a block as a whole.

    A block whose repairs do not fit takes its finishing with it; finishing that does not fit is left whole.  ``busy``:
    what keeps crews besides, with its first day.
    """
    if not items or not frame.days:
        return Placed([], list(items))
    asked = _Asked(frame, release, {**pins, **{(item.block, item.kind): day for item, day in busy}},
                   [item for item, _ in busy])
    made = _solve(asked, items)
    fits = list(items)
    if (made.start < 0).any():
        repairs = [item for item in items if item.kind not in FINISHING]
        alone = _solve(asked, repairs) if repairs else made
        room = {item.block for item, start in zip(repairs, alone.start.tolist(), strict=True) if start >= 0}
        before = {item.block for item in items} - {item.block for item in repairs}
        fits = [item for item in items if item.block in room | before]
        if not fits:
            return Placed([], list(items))
    if seconds > 0 or len(fits) < len(items):
        made = _solve(asked, fits, seconds, watch, stop)
    names = list(dict.fromkeys(name for item in [*fits, *asked.busy] for name in item.asks))
    spans = zip(made.start.tolist(), made.finish.tolist(), strict=True)
    visits = [Visit(item, frame.days[start // PARTS], frame.days[(finish - 1) // PARTS],
                    {name: made.copy.get((at, names.index(name)), 0) + 1 for name in item.asks}, season,
                    begins=start % PARTS / PARTS, ends=((finish - 1) % PARTS + 1) / PARTS)
              for at, (item, (start, finish)) in enumerate(zip(fits, spans, strict=False)) if start >= 0]
    repaired = {visit.item.block for visit in visits if visit.item.kind not in FINISHING}
    repaired |= {item.block for item in items} - {item.block for item in items if item.kind not in FINISHING}
    visits = [visit for visit in visits if visit.item.block in repaired]
    there = {visit.key for visit in visits}
    return Placed(visits, [item for item in items if (item.block, item.kind) not in there], made)


def allowed_from(frame: Frame, visits: Iterable[Visit], items: Iterable[Activity]) -> dict[Key, date]:
    """First day that visits on the calendar allow each activity to begin on; those that wait for none are left out."""
    by_key = {visit.key: visit for visit in visits}
    found: dict[Key, date] = {}
    for item in items:
        for wait in frame.waits:
            before = by_key.get((item.block, wait.before))
            if wait.after == item.kind and before is not None:
                day = frame.earliest(wait, item.block, before.last)
                key = (item.block, item.kind)
                found[key] = max(day, found.get(key, day))
    return found


def of_season(visits: Iterable[Visit], season: str) -> list[Visit]:
    """The same visits, in another season."""
    return [replace(visit, season=season) for visit in visits]


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
    # The repairs of a block fit together or not at all; so does the finishing after them, which never outweighs them.
    # What keeps crews weighs most.
    blocks = max(item.block for item in everything) + 1
    optional = np.array([*(item.block + (blocks if item.kind in FINISHING else 0) for item in items),
                         *range(2 * blocks, 2 * blocks + len(asked.busy))])
    weight = np.repeat([blocks + 1, 1, (blocks + 1) ** 2], [blocks, blocks, len(asked.busy)])[: optional.max() + 1]
    posed: dict[str, Any] = pose(frame, everything, asked.release, asked.pins)

    def told(made: sequence.Arrangement) -> None:
        if watch is not None and made.makespan > 0:
            there = {item.block for item, start in zip(items, made.start.tolist(), strict=False) if start >= 0}
            watch(Standing(len(there), frame.day_of(made.makespan), frame.day_of(made.lower_bound), made.travel))

    slack = int(frame.assumptions.number("season", "tour_slack_days")) * PARTS
    return sequence.arrange(**posed, optional=optional, weight=weight, slack=slack, seconds=seconds, watch=told,
                            stop=stop)

