"""What the command plan writes: tables, files for crews, for a council, for other programs, and the summary."""

from __future__ import annotations

import argparse
import sys
import time
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from rehab.base.errors import BadAssumption
from rehab.commands import calendar
from rehab.commands.files import report

if TYPE_CHECKING:
    import pandas as pd

    from rehab.plan import Plan
    from rehab.steps.season import Given, Season

#: files that only some runs write; those of an earlier run belong to another program
SOMETIMES = ("brief.pdf", "brief_streets.pdf", "brief_streets.csv", "last_year_problems.csv", "overruns.csv",
             "updated.csv", "repair_changes.csv", "repairs.geojson", "blocks.geojson", "measured_problems.csv")


def options_of(plan: argparse.ArgumentParser) -> None:
    """The options of the files that people take away."""
    plan.add_argument("--paper", choices=("letter", "A4"), default="letter", help="paper of what is printed")
    plan.add_argument("--sheet-order", choices=("date", "district", "street"), default="date", help="order of the "
                      "sheets of the work list")
    plan.add_argument("--only-blocks", nargs="+", help="sheets of these blocks alone")
    plan.add_argument("--only-weeks", nargs="+", type=_day, help="sheets of the blocks with work in the weeks of these "
                      "days, as 2027-06-14")
    plan.add_argument("--only-crews", nargs="+", help="sheets of the blocks with work of these crews")
    plan.add_argument("--brief", action="store_true", help="write the council brief too, with the scenarios beside it")
    plan.add_argument("--city", help="name of the city in the brief; that of the file if not given")
    plan.add_argument("--last-year", type=Path, help="program.csv of the year before, which the brief sets beside what "
                      "was done")
    plan.add_argument("--measured", type=Path, nargs="+", help="work lists that crews have filled in, or tables with "
                      "block_id, year, pay_item, quantity: set beside the plan")


def write(decided: Plan, geometry: pd.DataFrame, problems: pd.DataFrame, options: argparse.Namespace, given: Given,
          seconds: dict[str, float], chances: pd.DataFrame | None) -> None:
    """All tables and files of a plan; the seconds of the steps before and of these go into the summary.

    ``chances``: the odds by year, if they were drawn; the brief tells of them.
    """
    from rehab.outputs import exports, folder
    from rehab.plan import reasons

    out, began = options.out, time.perf_counter()
    season = calendar.season_of(decided, geometry, given, options)
    arranged = time.perf_counter()
    out.mkdir(parents=True, exist_ok=True)
    for name in SOMETIMES:
        (out / name).unlink(missing_ok=True)
    calendar.write(season, decided, geometry, given, options)
    for note in (note for note in season.notes if note.topic == "set by hand"):
        print(f"note: {note.block_id} in {note.year}: {note.message}", file=sys.stderr)
    orders = _sheets(decided, season, geometry, options)
    proof = {f"proof_{name}": table for name, table in zip(("offers", "uses", "limits"), reasons.proof(decided),
                                                           strict=True)}
    listed = {"brief_streets": _brief(decided, season, chances, options)} if options.brief else {}
    folder.write({**folder.tables(decided, season, problems, orders), **listed}, out, proof)
    _places(decided, geometry, out)
    made = time.perf_counter()
    if options.measured:
        _measured(decided, season.year, options)
    steps = {**seconds, **decided.summary["seconds"], "season": round(arranged - began, 3),
             "files": round(made - arranged, 3), "measured": round(time.perf_counter() - made, 3)}
    (out / "summary.json").write_text(exports.summary_json(
        {**decided.summary, "season": calendar.figures(season), "seconds": steps}), encoding="utf-8")


def _sheets(decided: Plan, season: Season, geometry: pd.DataFrame, options: argparse.Namespace) -> pd.DataFrame:
    """The crews' work list as workbook and PDF, of the blocks asked for; returns the orders of the whole year."""
    from rehab.outputs import folder, worklist

    used, paper = decided.prepared.assumptions, options.paper
    whole = folder.work_list(decided, season, geometry, order=options.sheet_order)
    listed = whole
    if options.only_blocks or options.only_weeks or options.only_crews:
        _known(options, season, {job.name for job in whole.jobs})
        listed = folder.work_list(decided, season, geometry, order=options.sheet_order, blocks=options.only_blocks,
                                  weeks=options.only_weeks, crews=options.only_crews)
        if not listed.jobs:
            raise BadAssumption(f"no block of {season.year} has work in all that --only-blocks, --only-weeks and "
                                f"--only-crews name together; the season's tasks are in {options.out / 'tasks.csv'}")
    (options.out / "worklist.xlsx").write_bytes(worklist.workbook(listed, used, paper=paper))
    (options.out / "worklist.pdf").write_bytes(worklist.pdf(listed, used, paper=paper))
    return whole.orders


def _known(options: argparse.Namespace, season: Season, blocks: set[str]) -> None:
    """Refuse sheets of blocks and crews that the year does not have: a list without them would be silent about it."""
    crews = {str(crew) for crew in season.tasks["crew"]}
    crews |= {crew.rstrip("0123456789").strip() for crew in crews}
    for option, asked, there in (("--only-blocks", options.only_blocks, blocks),
                                 ("--only-crews", options.only_crews, crews)):
        missing = [name for name in asked or () if name not in there]
        if missing:
            raise BadAssumption(f"{option}: '{missing[0]}' has no work in {season.year}; there are "
                                f"{', '.join(sorted(there)[:20])}{' and more' if len(there) > 20 else ''}")


def _places(decided: Plan, geometry: pd.DataFrame, out: Path) -> None:
    """What a GIS opens; the GeoPackage holds the blocks without a line as well."""
    from rehab.outputs import exports
    from rehab.outputs.gis.geopackage import geopackage

    ready = decided.prepared
    made = geopackage(decided.overview, ready.network, decided.program, ready.repairs, geometry, datetime.now(UTC),
                      quantities=decided.quantities, about={"scenario": decided.scenario.name})
    (out / "plan.gpkg").write_bytes(made.content)
    if not len(geometry):
        return
    for sentence in made.sentences():
        print(f"note: plan.gpkg: {sentence}", file=sys.stderr)
    (out / "blocks.geojson").write_text(exports.program_geojson(decided.overview, geometry), encoding="utf-8")
    if len(ready.repairs):
        (out / "repairs.geojson").write_text(exports.repairs_geojson(ready.repairs, ready.network, geometry),
                                             encoding="utf-8")


def _brief(decided: Plan, season: Season, chances: pd.DataFrame | None, options: argparse.Namespace) -> pd.DataFrame:
    """The council brief and its list of streets as PDF; returns that list."""
    from rehab.outputs import brief as drawn
    from rehab.plan import brief

    city = options.city or options.blocks.stem.replace("_", " ")
    first = season if season.year == decided.prepared.start_year else None
    made = brief.make(decided, city=city, made=date.today(), others=brief.decide(decided), chances=chances,
                      last_year=_last_year(decided, options), season=first)
    (options.out / "brief.pdf").write_bytes(drawn.pdf(made, paper=options.paper))
    (options.out / "brief_streets.pdf").write_bytes(drawn.streets_pdf(made, paper=options.paper))
    return made.streets


def _last_year(decided: Plan, options: argparse.Namespace) -> pd.DataFrame | None:
    """The program as it was decided before, to set beside what was done since."""
    from rehab.inputs import reading

    if options.last_year is None:
        return None
    raw = reading.open_table(options.last_year.name, options.last_year.read_bytes(), table="commitments")
    names = decided.prepared.network["block_id"].tolist()
    found = reading.read_commitments(raw, None, names, range(1850, 2151))
    report(found.problems, options.out, "last_year_problems.csv")
    return found.table


def _measured(decided: Plan, year: int, options: argparse.Namespace) -> None:
    """What crews wrote into their work lists, beside the plan."""
    import pandas as pd

    from rehab.inputs import reading
    from rehab.outputs import exports
    from rehab.plan import measured

    found = [reading.read_measured(path.name, path.read_bytes(), decided.prepared.network, year,
                                   repairs=decided.prepared.repairs)
             for path in options.measured]
    problems = pd.concat([one.problems for one in found], ignore_index=True)
    report(problems, options.out, "measured_problems.csv")
    quantities = measured.latest([one.quantities for one in found], "measured")
    repairs = measured.latest([one.repairs for one in found], "measured_repairs")
    changes = measured.repair_changes(decided, repairs)
    overruns = measured.compare(decided, measured.with_repairs(decided, quantities, repairs))
    exports.write_csv(overruns, options.out / "overruns.csv")
    exports.write_csv(measured.updated(decided, overruns), options.out / "updated.csv")
    for note in (*measured.unplanned(decided, quantities, repairs), *measured.doubtful(overruns, changes)):
        print(f"note: {note.block_id} in {note.year}: {note.message}", file=sys.stderr)
    if len(changes):
        exports.write_csv(changes, options.out / "repair_changes.csv")
    print(measured.outlook(decided, overruns, year).sentence)


def _day(text: str) -> pd.Timestamp:
    import pandas as pd

    try:
        return pd.Timestamp(date.fromisoformat(text))
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"'{text}' is not a day such as 2027-06-14") from error

