"""One year's chosen work to tasks, crews and dates.

The blocks' quantities become visits of crews (``work``); what waits for what and what is not closed at once are rules
with their sources (``rules``); the scheduler of :mod:`rehab.solvers.sequence` finds the days (``placing``); the
grinder comes in few campaigns once the patches are ready (``grinder``, ``finishing``); what misses the season is
carried to the next and says so (``outcome``).  ``review`` says what a change made by hand would break, ``progress``
sets the plan beside what was done.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from threading import Event

import pandas as pd

from rehab.base.errors import Note
from rehab.base.settings import Assumptions
from rehab.steps.season import outcome, review
from rehab.steps.season.air import at_dates
from rehab.steps.season.days import span, working_days
from rehab.steps.season.finishing import Finished, finish, in_runs
from rehab.steps.season.frame import Frame, Given, Ground, Key, ground
from rehab.steps.season.frame import season as framed
from rehab.steps.season.placing import Placed, Standing, Visit, allowed_from, bound_of, named, place, still_busy
from rehab.steps.season.progress import progress
from rehab.steps.season.work import ACTIVITIES, FINISHING, NAMES, Activity, activities, next_to_nothing

__all__ = ["Given", "Ground", "Season", "Standing", "arrange", "breaks", "earliest_grinding", "ground", "moved",
           "progress", "span", "working_days"]


@dataclass(frozen=True)
class Season:
    """A year on the calendar: tables as in the data dictionary, and what there is to say.

    ``loads``: work of each crew beside the days that it has.  ``ends`` and ``bound``: last day of the arrangement
    before the grinder was put into campaigns, and a day before which no arrangement of as much work ends; None where
    nothing was arranged, or more might be placed.  ``travel_mi``: miles of all crews between the blocks of this season;
    ``district_changes``: how often a crew goes on to another district.
    """

    year: int
    tasks: pd.DataFrame
    campaigns: pd.DataFrame
    choices: pd.DataFrame
    blocks: pd.DataFrame
    loads: pd.DataFrame
    notes: list[Note]
    ends: date | None
    bound: date | None
    travel_mi: float
    district_changes: int
    frames: dict[str, Frame]
    items: list[Activity]

    @property
    def bases(self) -> list[str]:
        """What the opening days of this season's concrete rest on, a sentence for each kind and thickness."""
        found = {(visit.kind, thickness): opened.basis for visit in self.items
                 for (kind, thickness), opened in self.frames["this"].openings.items() if kind == visit.kind}
        return [f"{NAMES[kind].capitalize()}: {basis}" for (kind, _), basis in sorted(found.items())]


def arrange(place_of: Ground, quantities: pd.DataFrame, assumptions: Assumptions, year: int,
            given: Given | None = None, seconds: float = 2.0, watch: Callable[[Standing], None] | None = None,
            stop: Event | None = None) -> Season:
    """The calendar of one year's work.

    ``place_of`` holds the blocks of the year's program, ``quantities`` the same in the same order with one column per
    pay item.  What does not fit the season is put into the next one and
    noted; what fits neither is noted as left over.  ``watch`` is told how far the search has come, and setting ``stop``
    ends it with the best so far.
    """
    known = given or Given()
    frame = framed(place_of, year, known, assumptions)
    items = activities(place_of.network, quantities, assumptions, _factor(frame, assumptions))
    done, open_items, unrecorded = _begun(frame, items)
    pins, told = _pins(frame, open_items)
    busy = still_busy(frame, done, known.today) if known.today is not None else []
    release = allowed_from(frame, done, open_items)
    pins, impossible = _that_can_be(frame, open_items, release, pins, busy)
    first = place(frame, open_items, release, pins, "this", seconds, watch, stop, busy)
    first = Placed([*named(done, first), *first.visits], first.left, first.made)
    finished = finish(frame, first, pins, "this", assumptions.text("season", "grind_timing"),
                      int(assumptions.number("season", "campaigns")), busy) if frame.days else \
        Finished(done, first.left, [], 0, {}, [])
    frames, visits, never = {"this": frame}, list(finished.visits), list[Activity]()
    if finished.left:
        later = framed(place_of, year + 1, replace(known, today=None), assumptions)
        frames["next"] = later
        over = still_busy(later, visits, later.days[0], frame) if later.days else []
        second = place(later, finished.left, allowed_from(frame, visits, finished.left), {}, "next", busy=over)
        visits += in_runs(second.visits, later)
        never = second.left
    made = first.made
    return Season(
        year, outcome.tasks(frames, visits), outcome.campaigns(frames, visits, finished),
        outcome.choices(frame, finished, items), outcome.blocks(frames, visits, finished, items),
        outcome.loads(frame, items),
        [*outcome.notes(frames, finished.left, never, visits, next_to_nothing(quantities, items, assumptions), year),
         *outcome.unrecorded(frame, unrecorded, year),
         *outcome.not_kept(frame, visits, {**told, **impossible}, pins, year)],
        frame.day_of(made.makespan) if made and made.makespan > 0 else None,
        bound_of(frame, made),
        *outcome.ways(frame, visits), frames, items)


def breaks(season: Season, tasks: pd.DataFrame | None = None) -> pd.DataFrame:
    """The table ``breaks``: every rule that the season's tasks, or others in their place, do not keep."""
    return review.breaks(season.frames, season.items, season.tasks if tasks is None else tasks)


def moved(season: Season, task_id: str, day: date) -> pd.DataFrame:
    """The season's tasks with one visit moved to begin on ``day``, whatever that breaks."""
    return review.moved(season.frames, season.items, season.tasks, task_id, day)


def earliest_grinding(last_patch: date, assumptions: Assumptions) -> date:
    """First calendar day on which a block may be ground."""
    return last_patch + timedelta(days=int(assumptions.number("curing", "grind_after_patch_days")))


def _factor(frame: Frame, assumptions: Assumptions) -> float:
    """Share of a nominal rate that weather leaves."""
    normals = frame.given.normals
    if assumptions.text("season", "weather_from_normals") == "yes" and normals is not None and frame.days:
        wet = at_dates(frame.days, normals)["wet_share"]
        if wet.notna().all():
            return 1.0 - float(wet.mean())
    return assumptions.number("season", "weather_factor")


def _by_task(frame: Frame, items: list[Activity]) -> dict[str, Activity]:
    """Activities by the id of each of their tasks."""
    rows = frame.assumptions.table("crews")["task"]
    names = frame.ground.network["block_id"]
    return {f"{names.iloc[item.block]}/{rows.at[key]}": item for item in items for key in ACTIVITIES[item.kind]}


def _pins(frame: Frame, items: list[Activity]) -> tuple[dict[Key, date], dict[Key, str]]:
    """Activities with a first day that was set by hand; those for which two were, in words, and the last counts."""
    moves = frame.given.moves
    if moves is None or moves.empty:
        return {}, {}
    known = _by_task(frame, items)
    rows: Mapping[str, pd.Timestamp] = dict(zip(moves["task_id"], moves["start"], strict=True))
    pins: dict[Key, date] = {}
    twice: dict[Key, str] = {}
    for task, day in rows.items():
        if task in known:
            key = (known[task].block, known[task].kind)
            if pins.get(key, day.date()) != day.date():
                twice[key] = f"two days are set by hand for one visit, {pins[key]} and {day.date()}: the last counts"
            pins[key] = day.date()
    return pins, twice


def _that_can_be(frame: Frame, items: list[Activity], release: Mapping[Key, date], pins: dict[Key, date],
                 busy: list[tuple[Activity, date]]) -> tuple[dict[Key, date], dict[Key, str]]:
    """The days set by hand that a calendar can keep, and words for those that it cannot."""
    if not pins:
        return {}, {}
    by_key = {(item.block, item.kind): item for item in items}
    refused: dict[Key, str] = {}
    for key, day in pins.items():
        at = frame.period(day)
        if at >= len(frame.days) or frame.days[at] != day or not frame.open_to(*key)[at]:
            refused[key] = "there is no such work on that day"
        elif day < release.get(key, day):
            refused[key] = f"it may begin on {release[key]} at the earliest"
    kept = {key: day for key, day in pins.items() if key not in refused}
    quick = {visit.key: visit.first for visit in place(frame, items, release, kept, "this", busy=busy).visits}
    for key, day in list(kept.items()):
        if quick.get(key) != day and by_key[key].kind not in FINISHING:
            refused[key] = "what it waits for, a crew or a closure leaves no room on that day"
            del kept[key]
    return kept, {key: f"the day set by hand, {pins[key]}, is not kept: {why}" for key, why in refused.items()}


def _begun(frame: Frame, items: list[Activity]) -> tuple[list[Visit], list[Activity], list[Activity]]:
    """Visits that are done or under way, activities still to come, and those that must be done but have no record."""
    actual = frame.given.actual
    if actual is None or actual.empty:
        return [], items, []
    known = _by_task(frame, items)
    spans: dict[tuple[int, str], tuple[date, date | None]] = {}
    for row in actual.to_dict("records"):
        item = known.get(str(row["task_id"]))
        if item is None or (pd.isna(row["started"]) and pd.isna(row["finished"])):
            continue
        key = (item.block, item.kind)
        begun = row["finished"] if pd.isna(row["started"]) else row["started"]
        ended = None if pd.isna(row["finished"]) else row["finished"].date()
        old = spans.get(key)
        spans[key] = (min(begun.date(), old[0]) if old else begun.date(),
                      (max(ended, old[1]) if ended and old[1] else None) if old else ended)
    done = []
    for item in items:
        key = (item.block, item.kind)
        if key in spans:
            begun, ended = spans[key]
            last = ended or _expected_end(frame, item, begun)
            done.append(Visit(item, begun, last, dict.fromkeys(item.crew_days, 1), "this", done=True))
    there = {visit.key for visit in done}
    rest = [item for item in items if (item.block, item.kind) not in there]
    passed = {(block, wait.before) for block, kind in there for wait in frame.waits if wait.after == kind}
    return (done, [item for item in rest if (item.block, item.kind) not in passed],
            [item for item in rest if (item.block, item.kind) in passed])


def _expected_end(frame: Frame, item: Activity, begun: date) -> date:
    """Last day of a visit that is under way: as long as planned, and until today at least."""
    at = min(frame.period(begun) + item.days - 1, len(frame.days) - 1)
    return max(frame.days[at], frame.given.today or begun) if frame.days else begun
