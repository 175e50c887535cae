"""The season's part of the command plan: files of weather, days without work, moves and work done, and its tables."""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from rehab.base.errors import BadAssumption
from rehab.base.tables import TASKS

if TYPE_CHECKING:
    import pandas as pd

    from rehab.plan import Plan
    from rehab.steps.season import Given, Season

#: files that only some seasons have; those of an earlier run belong to another one
SOMETIMES = ("progress.csv", "breaks.csv")


def options_of(plan: argparse.ArgumentParser) -> None:
    """The options of a season."""
    plan.add_argument("--season-year", type=int, help="year to put on the calendar; the first with work if not given")
    plan.add_argument("--season-seconds", type=float, default=2.0, help="seconds for a better calendar, 2 if not given")
    plan.add_argument("--normals", type=Path, help="daily climate normals of a station near the city")
    plan.add_argument("--normals-unit", choices=("deg F", "tenths of deg F", "deg C"), help="unit of the temperatures; "
                      "recognised if not given")
    plan.add_argument("--forecast", type=Path, help="forecast or measured weather of given dates: date, tmin, tmax; on "
                      "them it takes the place of --normals")
    plan.add_argument("--forecast-unit", choices=("deg F", "tenths of deg F", "deg C"), help="unit of its "
                      "temperatures; recognised if not given")
    plan.add_argument("--no-work", type=Path, help="days without work: scope, name, first_day, last_day, weekdays, "
                      "reason")
    plan.add_argument("--moves", type=Path, help="first days set by hand: task_id, start")
    plan.add_argument("--actual", type=Path, help="work done: task_id, started, finished")
    plan.add_argument("--planned", type=Path, help="tasks.csv that the crews hold, to set beside --actual; without it "
                      "the calendar as it would be without the work done")
    plan.add_argument("--today", type=_day, help="day from which work that is not done is arranged anew, as 2027-06-14")


def given_of(options: argparse.Namespace, blocks: pd.DataFrame) -> tuple[Given, list[pd.DataFrame]]:
    """What the files say of the season, and their problems."""
    from rehab.inputs import reading
    from rehab.steps.season import Given

    problems: list[pd.DataFrame] = []
    parts: dict[str, pd.DataFrame] = {}
    tasks = [f"{block}/{task}" for block in blocks["block_id"] for task in TASKS]
    if options.normals:
        raw = reading.open_table(options.normals.name, options.normals.read_bytes(), table="normals")
        found = reading.read_normals(raw, options.normals_unit)
        print(found.how, file=sys.stderr)
        parts["normals"], problems = found.table, [*problems, found.problems]
    if options.forecast:
        if "normals" not in parts:
            raise BadAssumption("--forecast: a forecast tells of its own days alone; give --normals for the days after "
                                "it as well")
        raw = reading.open_table(options.forecast.name, options.forecast.read_bytes(), table="normals")
        told = reading.read_forecast(raw, options.forecast_unit, normals=parts["normals"],
                                     today=options.today or date.today())
        print(told.how, file=sys.stderr)
        parts["forecast"], problems = told.table, [*problems, told.problems]
    if options.no_work:
        raw = reading.open_table(options.no_work.name, options.no_work.read_bytes(), table="no_work")
        shut = reading.read_no_work(raw, None, blocks)
        parts["no_work"], problems = shut.table, [*problems, shut.problems]
    if options.moves:
        raw = reading.open_table(options.moves.name, options.moves.read_bytes(), table="moves")
        moved = reading.read_moves(raw, None, tasks)
        parts["moves"], problems = moved.table, [*problems, moved.problems]
    if options.actual:
        raw = reading.open_table(options.actual.name, options.actual.read_bytes(), table="actual")
        done = reading.read_actual(raw, None, tasks, today=options.today)
        parts["actual"], problems = done.table, [*problems, done.problems]
        if options.today is None:
            raise BadAssumption("--actual needs --today, the day from which the rest is arranged anew")
    return Given(today=options.today, **parts), problems


def season_of(decided: Plan, geometry: pd.DataFrame, given: Given, options: argparse.Namespace) -> Season:
    """The season that is asked for."""
    from rehab import plan as planning

    years = sorted({int(year) for year in decided.program["year"]})
    year = options.season_year or (years[0] if years else decided.prepared.start_year)
    if options.season_year and years and options.season_year not in years:
        raise BadAssumption(f"--season-year: the program has no work in {options.season_year}, but in "
                            f"{', '.join(map(str, years))}")
    return planning.season_of(decided, year, geometry, given, options.season_seconds)


def _planned(decided: Plan, geometry: pd.DataFrame, given: Given, options: argparse.Namespace) -> pd.DataFrame:
    """The tasks as they were planned: those of the file, or of the calendar without the work done."""
    import pandas as pd

    from rehab.base import tables

    if options.planned is None:
        before = season_of(decided, geometry, replace(given, actual=None, today=None), options)
        return before.tasks[before.tasks["season"] == "this"]
    raw = pd.read_csv(options.planned, dtype="str")
    lacking = [field.name for field in tables.fields("tasks") if field.required and field.name not in raw]
    if lacking:
        raise BadAssumption(f"{options.planned.name} lacks the column '{lacking[0]}': give the tasks.csv of a plan")
    try:
        return tables.check("tasks", tables.with_types("tasks", raw.assign(**{
            name: pd.to_datetime(raw[name], format="ISO8601") for name in ("start", "finish", "opens", "opens_soonest",
                                                                           "opens_latest")})))
    except ValueError as error:
        raise BadAssumption(f"{options.planned.name}: {error}") from error


def write(season: Season, decided: Plan, geometry: pd.DataFrame, given: Given, options: argparse.Namespace) -> None:
    """The tables and files of a season."""
    out = options.out
    from rehab.base.errors import Note, as_table
    from rehab.outputs import calendar, exports
    from rehab.steps.season import breaks, progress

    for name in SOMETIMES:
        (out / name).unlink(missing_ok=True)
    for name, table in {"tasks": season.tasks, "campaigns": season.campaigns, "campaign_choices": season.choices,
                        "season_blocks": season.blocks, "crew_loads": season.loads}.items():
        exports.write_csv(table, out / f"{name}.csv")
    broken = breaks(season)
    if len(broken):
        exports.write_csv(broken, out / "breaks.csv")
    if given.actual is not None and given.today is not None:
        planned = _planned(decided, geometry, given, options)
        exports.write_csv(progress(planned, given.actual, given.today, decided.prepared.assumptions),
                          out / "progress.csv")
    stamp = datetime.now(UTC)
    (out / "season.ics").write_bytes(calendar.season_calendar(season.tasks, decided.overview, stamp))
    (out / "season_crews.zip").write_bytes(calendar.crew_calendars_zip(season.tasks, decided.overview, stamp))
    (out / "season.xlsx").write_bytes(calendar.season_workbook(
        season.tasks, decided.overview, season.campaigns, season.choices, season.blocks, as_table(season.notes, Note),
        season.year))


def figures(season: Season) -> dict[str, object]:
    """What the summary says of the season."""
    this = season.tasks[season.tasks["season"] == "this"]
    ground = season.blocks["season"] == "this"
    return {"year": season.year, "blocks": int(this["block_id"].nunique()),
            "ends": None if this.empty else f"{this['finish'].max():%Y-%m-%d}", "ground": int(ground.sum()),
            "not_ground": int((~ground).sum()), "campaigns": int((season.campaigns["season"] == "this").sum()),
            "ends_before_campaigns": season.ends and season.ends.isoformat(),
            "bound": season.bound and season.bound.isoformat(), "travel_mi": round(season.travel_mi, 1)}


def _day(text: str) -> date:
    return date.fromisoformat(text)
