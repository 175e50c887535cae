"""One season of chosen work, made ready for the scheduler: days, calendars, waits, closures and ways."""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.settings import Assumptions
from rehab.steps.season import air, neighbours, opening, rules
from rehab.steps.season import days as calendar
from rehab.steps.season.work import BUSY, CONCRETE, CURES, PARTS, WHOLE, Activity, daily_concrete

Bools = npt.NDArray[np.bool_]
Key = tuple[int, str]  #: block (row of the program) and kind of activity
_FREE: Final = 10_000  #: a temperature that nothing reaches


@dataclass(frozen=True)
class Given:
    """What is known of a season besides the assumptions; tables as in the data dictionary, None where there is none.

    ``today``: the day from which work that is not done yet is arranged anew.  ``forecast``: table
    ``weather_forecast``, whose days take the place of the normals'.
    """

    normals: pd.DataFrame | None = None
    no_work: pd.DataFrame | None = None
    moves: pd.DataFrame | None = None
    actual: pd.DataFrame | None = None
    today: date | None = None
    forecast: pd.DataFrame | None = None


@dataclass(frozen=True)
class Ground:
    """The blocks of the year and where they lie: what every season of it shares."""

    network: pd.DataFrame
    thickness_in: list[float]
    street_blocks: Mapping[str, int]
    miles: npt.NDArray[np.float64]
    distance: npt.NDArray[np.float64]
    known: Bools
    pairs: tuple[tuple[int, int], ...]
    tours: tuple[npt.NDArray[np.int64], ...]


@dataclass(frozen=True)
class Frame:
    """One season: its working days and all that its rules say about them."""

    ground: Ground
    assumptions: Assumptions
    given: Given
    days: list[date]
    off: set[date]
    shut: Bools
    waits: list[rules.Wait]
    openings: dict[tuple[str, float], opening.Openings] = field(default_factory=dict)
    weather: dict[tuple[str, float], Bools] = field(default_factory=dict)

    def period(self, day: date) -> int:
        """First working day that is not before ``day``."""
        return bisect_left(self.days, day)

    def day_of(self, makespan: int) -> date:
        """Day of the last period of an arrangement."""
        return self.days[max(makespan - 1, 0) // PARTS]

    def opens(self, block: int, kind: str) -> opening.Openings:
        """When concrete of a kind opens in a block, by the day it is placed on."""
        key = (kind, self.ground.thickness_in[block])
        if key not in self.openings:
            self.openings[key] = opening.openings(self.days, kind, key[1], self.assumptions, self.given.normals,  # type: ignore[arg-type]
                                                  forecast=self.given.forecast)
        return self.openings[key]

    def opened(self, block: int, kind: str, last: date) -> tuple[date, date, date, str]:
        """Soonest, likely and latest day on which concrete placed until ``last`` opens, and what to watch.

        Work may have been done on a day that is none of the season's.
        """
        at = self.period(last)
        if at < len(self.days) and self.days[at] == last:
            found = self.opens(block, kind)
        else:
            at, found = 0, opening.openings([last], kind, self.ground.thickness_in[block], self.assumptions,  # type: ignore[arg-type]
                                            self.given.normals, forecast=self.given.forecast)
        soonest, likely, latest = (last + timedelta(days=max(int(days[at]), 1))
                                   for days in (found.soonest, found.likely, found.latest))
        return soonest, likely, latest, found.cautions[at]

    def open_to(self, block: int, kind: str) -> Bools:
        """By working day, whether an activity may be worked at in a block."""
        if kind.startswith((BUSY, CURES)):
            return np.ones(len(self.days), bool)
        key = (kind, self.ground.thickness_in[block])
        if key not in self.weather:
            self.weather[key] = self._weather(block, kind)
        return np.asarray(self.weather[key] & ~self.shut[block])

    def earliest(self, wait: rules.Wait, block: int, last: date) -> date:
        """First day that a wait allows after the last day worked of what it waits for."""
        if not wait.opening:
            return wait.earliest(last)
        return self.opened(block, wait.before, last)[1]

    def crews(self, name: str) -> int:
        """Crews of a name."""
        return int(self.assumptions.number("season", f"crews.{name}"))

    def _weather(self, block: int, kind: str) -> Bools:
        number = self.assumptions.number
        low, high = -float(_FREE), float(_FREE)
        if kind in CONCRETE:
            low = number("curing", "cold_partial_f" if kind == "patch" else "cold_full_f")
        elif kind == "fill":
            low = number("season", "seal_low_f")
        elif kind == "stripe":
            low, high = number("season", "stripe_low_f"), number("season", "stripe_high_f")
        fits = air.window(self.days, low, high, self.given.normals, self.given.forecast)
        if kind in ("patch", "panels") and self.assumptions.text("season", "open_before_holidays") == "yes":
            fits &= calendar.not_over_holidays(self.days, self.opens(block, kind).likely, self.off)
        return fits


def ground(network: pd.DataFrame, street_blocks: Mapping[str, int], geometry: pd.DataFrame | None,
           assumptions: Assumptions) -> Ground:
    """Where the blocks of ``network`` lie; a change of district counts as a stretch of way."""
    miles, known = neighbours.distances(network, geometry)
    groups = pd.factorize(network["district"].fillna(""))[0].astype(np.int64)
    distance = miles + assumptions.number("season", "district_change_mi") * (groups[:, None] != groups[None, :])
    within = assumptions.number("season", "parallel_ft")
    pairs = neighbours.parallels(network, geometry, within) if within > 0 else []
    starts = [int(np.flatnonzero(groups == group)[0]) for group in range(min(int(groups.max(initial=-1)) + 1, 4))]
    tours = tuple(np.asarray(neighbours.tour(distance, groups, start), np.int64) for start in starts)
    thickness = network["thickness_in"].astype(float).tolist()
    return Ground(network.reset_index(drop=True), thickness, street_blocks, miles, distance, known, tuple(pairs), tours)


def season(place: Ground, year: int, given: Given, assumptions: Assumptions) -> Frame:
    """The season that begins in ``year``."""
    days = calendar.working_days(year, assumptions)
    first, last = calendar.span(year, assumptions)
    off = calendar.holidays_of(first - timedelta(days=40), last + timedelta(days=60), assumptions)
    return Frame(place, assumptions, given, days, off, calendar.closed_to_work(place.network, days, given.no_work),
                 rules.waits(assumptions, off))


def closures(frame: Frame, items: Sequence[Activity]) -> list[rules.Closure]:
    """What is not closed at once, of the activities given."""
    visits = Counter(item.block for item in items if closes(item.kind))
    return rules.closures(frame.ground.network, frame.ground.street_blocks, list(frame.ground.pairs), visits,
                          frame.assumptions)


def closes(kind: str) -> bool:
    """Whether an activity, or what is left of one that was begun before, closes its block."""
    return kind.removeprefix(BUSY).removeprefix(CURES).strip() in rules.CLOSING


def pose(frame: Frame, items: Sequence[Activity], release: Mapping[Key, date],
         pins: Mapping[Key, date]) -> dict[str, Any]:
    """The activities as arguments of the scheduler; ``release`` and ``pins`` (first day set by hand) by activity.

    A period is a part of a working day.
    """
    horizon = len(frame.days) * PARTS
    names = list(dict.fromkeys(name for item in items for name in item.asks))
    shut = closures(frame, items)
    supply = max((item.supply for item in items), default=0)
    columns = len(names) + bool(supply) + len(shut)
    demand = np.zeros((len(items), columns), np.int64)
    by_block: dict[int, list[int]] = {}
    for number, closure in enumerate(shut):
        for block in closure.members:
            by_block.setdefault(block, []).append(len(names) + bool(supply) + number)
    tables: dict[object, int] = {}
    rows: list[npt.NDArray[np.int64]] = []
    holds: list[tuple[int, int, int]] = []
    for at, item in enumerate(items):
        for name, ask in item.asks.items():
            demand[at, names.index(name)] = ask
        if supply:
            demand[at, len(names)] = item.supply
        for column in by_block.get(item.block, ()) if closes(item.kind) else ():
            crowded = shut[column - len(names) - bool(supply)].kind == "block"
            if crowded and item.kind.startswith(CURES):
                continue
            demand[at, column] = 1
            cures = item.kind.removeprefix(BUSY).strip() in CONCRETE and not crowded
            holds.append((at, column, _opening_row(frame, item, tables, rows) if cures
                          else _row(frame, "next", _next_day, tables, rows)))
    capacity = [WHOLE] * len(names) + ([_most(frame, supply)] if supply else []) + [closure.most for closure in shut]
    copies = [max(frame.crews(name), 1) for name in names] + [1] * (columns - len(names))
    level = np.array(capacity, np.int64).reshape(-1)
    level[: len(names)] *= [frame.crews(name) > 0 for name in names]
    precedence = _precedence(frame, items, tables, rows)
    calendars, works = _calendars(frame, items)
    begins, ends = _limits(frame, items, calendars, works, release, pins)
    return {"duration": np.array([item.parts for item in items], np.int64), "precedence": precedence, "demand": demand,
            "capacity": np.repeat(level[:, None], horizon, axis=1), "copies": np.array(copies, np.int64),
            "lags": np.array(rows, np.int64).reshape(-1, horizon), "holds": np.array(holds, np.int64).reshape(-1, 3),
            "calendars": calendars, "works": works,
            "calendar": np.repeat([day.toordinal() for day in frame.days], PARTS),
            "unbroken": np.array([item.unbroken for item in items], np.int64), "release": begins, "deadline": ends,
            "horizon": horizon, "site": np.array([item.block for item in items], np.int64),
            "distance": frame.ground.distance, "tours": frame.ground.tours}


def _most(frame: Frame, supply: int) -> int:
    """Concrete of a part of a day, in tenths of a cubic yard."""
    limit = daily_concrete(frame.assumptions)
    return limit * 10 // PARTS if limit else supply


def _next_day(day: date) -> date:
    return day + timedelta(days=1)


def _row(frame: Frame, name: object, earliest: Callable[[date], date], tables: dict[object, int],
         rows: list[npt.NDArray[np.int64]]) -> int:
    """Row of lags: by period worked last, the first period of the first working day that is allowed after it."""
    if name not in tables:
        tables[name] = len(rows)
        found = np.array([frame.period(earliest(day)) * PARTS for day in frame.days], np.int64)
        rows.append(np.repeat(np.maximum.accumulate(found), PARTS))
    return tables[name]


def _opening_row(frame: Frame, item: Activity, tables: dict[object, int], rows: list[npt.NDArray[np.int64]]) -> int:
    """Row of lags: by day placed, the first working day on which the block is open again."""
    opens = frame.opens(item.block, item.kind.removeprefix(BUSY).strip())
    after = dict(zip(frame.days, opens.likely.tolist(), strict=True))
    return _row(frame, ("open", id(opens)), lambda day: day + timedelta(days=max(after[day], 1)), tables, rows)


def _precedence(frame: Frame, items: Sequence[Activity], tables: dict[object, int],
                rows: list[npt.NDArray[np.int64]]) -> npt.NDArray[np.int64]:
    """Rows before, after, row of lags, 2."""
    at = {(item.block, item.kind): number for number, item in enumerate(items)}
    found = []
    for block in sorted({item.block for item in items}):
        for wait in frame.waits:
            before, after = at.get((block, wait.before)), at.get((block, wait.after))
            if before is None or after is None:
                continue
            row = _opening_row(frame, items[before], tables, rows) if wait.opening else \
                _row(frame, wait.name, wait.earliest, tables, rows)
            found.append((before, after, row, 2))
    return np.array(found, np.int64).reshape(-1, 4)


def _calendars(frame: Frame, items: Sequence[Activity]) -> tuple[Bools, npt.NDArray[np.int64]]:
    """Different calendars, and the one of each activity."""
    kept: dict[bytes, int] = {}
    rows: list[Bools] = []
    which = []
    for item in items:
        row = np.repeat(frame.open_to(item.block, item.kind), PARTS)
        key = row.tobytes()
        if key not in kept:
            kept[key] = len(rows)
            rows.append(row)
        which.append(kept[key])
    return np.array(rows, bool).reshape(-1, len(frame.days) * PARTS), np.array(which, np.int64)


def _limits(frame: Frame, items: Sequence[Activity], calendars: Bools, works: npt.NDArray[np.int64],
            release: Mapping[Key, date], pins: Mapping[Key, date]
            ) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Earliest start and latest finish; an activity set by hand has the day it was set to and no other."""
    horizon = len(frame.days) * PARTS
    begins, ends = np.zeros(len(items), np.int64), np.full(len(items), horizon)
    for at, item in enumerate(items):
        key = (item.block, item.kind)
        if key in pins:
            begins[at] = frame.period(pins[key]) * PARTS
            open_at = begins[at] + np.flatnonzero(calendars[works[at], begins[at]:])
            last = min(int((open_at < begins[at] + PARTS).sum()), len(open_at)) - 1 + item.parts
            ends[at] = open_at[min(last, len(open_at)) - 1] + 1 if len(open_at) else horizon
            if item.kind.startswith((BUSY, CURES)):  # it goes on as it was begun
                ends[at] = min(begins[at] + item.parts, horizon)
        elif key in release:
            begins[at] = frame.period(release[key]) * PARTS
    return begins, ends

