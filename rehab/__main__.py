"""The command line: check, plan, demo, calibrate, backtest and benchmark.

Exit code 0: done, warnings may exist; 2: the input cannot be used; 1: a fault in the program.
"""

from __future__ import annotations

import argparse
import sys
import time
import tomllib
from collections.abc import Sequence
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rehab.base.errors import BadAssumption, Note, Problem, UnusableInput, as_table
from rehab.base.settings import Scenario

if TYPE_CHECKING:
    import pandas as pd

    from rehab.base.settings import Assumptions
    from rehab.plan import Plan


def main(arguments: list[str] | None = None) -> int:
    """Run one command; returns the exit code."""
    options = _parser().parse_args(arguments)
    try:
        return int(options.run(options))
    except UnusableInput as error:
        _report(as_table(error.problems, Problem), options.out)
        return 2
    except (BadAssumption, FileNotFoundError, IsADirectoryError, PermissionError) as error:
        print(f"rehab: {error}", file=sys.stderr)
        return 2


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m rehab", description=__doc__)
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    check = commands.add_parser("check", help="read a table of blocks and list what is wrong with it")
    plan = commands.add_parser("plan", help="sort, price and program the blocks, and write all tables")
    for command, run in ((check, _check), (plan, _plan)):
        command.set_defaults(run=run)
        command.add_argument("blocks", type=Path, help="CSV, XLSX, GeoJSON, GeoPackage or zipped Shapefile")
        command.add_argument("--defects", type=Path, help="panel-by-panel survey of some of the blocks")
        command.add_argument("--geometry", type=Path, help="lines of the blocks, if they stand in a file of their own")
        command.add_argument("--mapping", type=Path, help="CSV with the columns theirs, ours, unit, only")
        command.add_argument("--defects-mapping", type=Path, help="the same for the panel-by-panel survey")
        command.add_argument("--crs", help="coordinate system of a layer that names none, as EPSG:2230")
        command.add_argument("--out", type=Path, default=Path("out"), help="folder for the results")
    plan.add_argument("--scenario", type=Path, help="TOML with budgets, overrides, forced blocks; see the README")
    plan.add_argument("--budget", type=float, help="dollars a year, in dollars of the year")
    plan.add_argument("--years", type=int, help="years of the program, 10 if not given")
    plan.add_argument("--start", type=int, help="first year of the program")
    plan.add_argument("--draws", type=int, help="draw the program so many times: chances.csv and block_chances.csv")
    plan.add_argument("--assumptions", type=Path, help="TOML with the city's own values: [table] key = value")
    demo = commands.add_parser("demo", help="an invented network of any size")
    demo.set_defaults(run=_demo)
    demo.add_argument("--blocks", type=int, required=True)
    demo.add_argument("--seed", type=int, default=7)
    demo.add_argument("--out", type=Path, required=True, help="CSV file; lines and defects are written beside it")
    demo.add_argument("--earlier", action="store_true", help="also the survey of the same blocks five years before")
    calibrate = commands.add_parser("calibrate", help="fit the curves of the forecast to two or more surveys")
    backtest = commands.add_parser("backtest", help="run the forecast on older surveys and compare with the newest")
    for command, run in ((calibrate, _calibrate), (backtest, _backtest)):
        command.set_defaults(run=run)
        command.add_argument("--assumptions", type=Path, help="TOML with the city's own values: [table] key = value")
        command.add_argument("surveys", type=Path, nargs="+", metavar="OLDER ... NEWEST", help="two or more tables")
        command.add_argument("--mapping", type=Path, help="CSV with the columns theirs, ours, unit, only")
        command.add_argument("--out", type=Path, default=Path("out"), help="folder for the results")
    backtest.add_argument("--by", choices=("time", "block"), default="time", help="fit to the older surveys, or to "
                          "all surveys of four fifths of the blocks to tell the rest")
    benchmark = commands.add_parser("benchmark", help="the optimiser beside a general solver, in one run")
    benchmark.set_defaults(run=_benchmark)
    benchmark.add_argument("--blocks", type=int, nargs="+", default=[1000, 10000])
    benchmark.add_argument("--years", type=int, default=10)
    benchmark.add_argument("--seconds", type=float, default=10.0)
    benchmark.add_argument("--panels", type=int, help="instead: lay out a panel survey of so many panels")
    benchmark.add_argument("--defects", type=int, default=60_000, help="defects of that survey")
    benchmark.add_argument("--forecast", type=int, help="instead: forecast so many blocks after every strategy")
    benchmark.add_argument("--draws", type=int, help="instead: draw the program of the invented city so many times")
    return parser


def _check(options: argparse.Namespace) -> int:
    _, _, _, problems = _tables(options)
    _report(problems, options.out)
    stops = int((problems["severity"] == "stop").sum())
    print(f"{stops} rows or values stop a block, {len(problems) - stops} are warnings")
    return 0


def _plan(options: argparse.Namespace) -> int:
    from rehab import plan

    if options.draws is not None and not 2 <= options.draws <= 100_000:
        raise BadAssumption("the number of draws is between 2 and 100,000")
    given = _given(options)
    scenario = _scenario(options)
    began = time.perf_counter()
    blocks, defects, geometry, problems = _tables(options)
    read = time.perf_counter() - began
    _report(problems, options.out)
    prepared = plan.prepare(blocks, defects, given, scenario.start_year, len(scenario.budgets_usd))
    decided = plan.decide(prepared, scenario)
    _write(decided, geometry, problems, options.out, {"reading": round(read, 3)})
    if options.draws is not None:
        _draw(decided, options.draws, options.out)
    else:  # those of an earlier run belong to another program
        for name in ("chances.csv", "block_chances.csv"):
            (options.out / name).unlink(missing_ok=True)
    spent, budget = decided.summary["spent_usd"], decided.summary["budget_usd"]
    gap = decided.summary["gap"]
    proof = "" if gap is None else f", gap {100 * gap:.4f} %"
    print(f"{len(decided.program)} of {len(blocks)} blocks programmed, ${spent:,.0f} of ${budget:,.0f}{proof}; "
          f"results in {options.out}")
    if decided.summary["status"] == "infeasible":
        for message in decided.notes["message"]:
            print(f"note: {message}", file=sys.stderr)
    return 0


def _given(options: argparse.Namespace) -> Assumptions:
    """The default assumptions with the city's own values over them."""
    from rehab.inputs import assumptions

    given = assumptions.defaults()
    return assumptions.overlay(given, _toml(options.assumptions)) if options.assumptions else given


def _draw(decided: Plan, draws: int, out: Path) -> None:
    """The chances of a program, to files and in a sentence."""
    from rehab.outputs import exports
    from rehab.outputs.charts.chances import describe_chances
    from rehab.plan import uncertainty

    found = uncertainty.chances(decided, draws)
    exports.write_csv(found.by_year, out / "chances.csv")
    exports.write_csv(found.by_block, out / "block_chances.csv")
    print(describe_chances(found.by_year))


def _demo(options: argparse.Namespace) -> int:
    from rehab.inputs import demo

    if not 1 <= options.blocks <= 200_000:
        raise BadAssumption("the number of blocks is between 1 and 200,000")
    written = demo.write(demo.invent(options.blocks, options.seed), options.out)
    if options.earlier:
        written.append(demo.write_earlier(demo.earlier(options.blocks, options.seed), options.out))
    for path in written:
        print(path)
    return 0


def _calibrate(options: argparse.Namespace) -> int:
    from rehab.outputs import exports
    from rehab.plan import calibrate

    given = _given(options)
    try:
        made = calibrate.refit(_surveys(options), given)
    except ValueError as error:
        raise BadAssumption(str(error)) from error
    for name, table in (("calibration", made.rows), ("calibration_fit", made.against), ("residuals", made.residuals),
                        ("set_apart", made.set_apart)):
        exports.write_csv(table, options.out / f"{name}.csv")
    own = {"survival": made.fit.values()} if made.fit else {}
    (options.out / "survival.toml").write_text(exports.values_toml(own), encoding="utf-8")
    for sentence in calibrate.sentences(made):
        print(sentence)
    _say(made.notes)
    return 0


def _backtest(options: argparse.Namespace) -> int:
    import pandas as pd

    from rehab.outputs import exports
    from rehab.plan import backtest

    surveys, given = _surveys(options), _given(options)
    try:
        made = backtest.run(surveys[:-1], surveys[-1], given, options.by)
    except ValueError as error:
        raise BadAssumption(str(error)) from error
    ride, more = backtest.ride(surveys, given)
    errors = pd.concat([table for table in (made.errors, ride) if len(table)] or [ride], ignore_index=True)
    exports.write_csv(errors, options.out / "backtest.csv")
    exports.write_csv(made.blocks, options.out / "backtest_blocks.csv")
    for sentence in backtest.sentences(errors):
        print(sentence)
    _say((*made.notes, *more))
    return 0


def _surveys(options: argparse.Namespace) -> list[pd.DataFrame]:
    """The tables of blocks of several surveys, newest last; their problems are reported."""
    import pandas as pd

    from rehab.inputs import reading

    if len(options.surveys) < 2:
        raise BadAssumption("at least two surveys are needed, the newest last")
    mapping = reading.read_mapping(options.mapping.read_bytes()) if options.mapping else None
    found = [reading.read_blocks(reading.open_table(path.name, path.read_bytes()), mapping, today=date.today())
             for path in options.surveys]
    _report(pd.concat([each.problems for each in found], ignore_index=True), options.out)
    return [each.table for each in found]


def _say(notes: Sequence[Note]) -> None:
    for note in notes:
        print(f"note: {note.message}", file=sys.stderr)


def _benchmark(options: argparse.Namespace) -> int:
    from rehab.base.tables import STRATEGIES
    from rehab.inputs import assumptions, demo
    from rehab.plan import pace
    from rehab.solvers import compare

    given = assumptions.defaults()
    if options.forecast or options.draws:
        if options.forecast:
            table = pace.forecasts(options.forecast, 2 * options.years, given)
            title = f"{options.forecast:,} blocks, {len(STRATEGIES)} strategies, {2 * options.years} years"
        else:
            table = pace.draws(demo.invent(1200, 7).blocks, options.draws, options.years, given)
            title = f"{options.draws:,} draws of the program of 1,200 blocks, {options.years} years"
        print(f"{title}: {table['seconds'].sum():.1f} s, {_peak_mib():,.0f} MiB at most")
        print(table.to_string(index=False))
        return 0
    if options.panels:
        for title, table in ((f"{options.panels:,} panels, {options.defects:,} defects",
                              pace.panel_survey(options.panels, options.defects, given)),
                             (f"{max(options.blocks):,} blocks from counts", pace.counts(max(options.blocks), given))):
            print(f"{title}: {table['seconds'].sum():.1f} s")
            print(table.to_string(index=False))
        return 0
    print(compare.run(options.blocks, options.years, options.seconds).to_string(index=False))
    return 0


def _peak_mib() -> float:
    """The most memory that this process has held, MiB; NaN where the system does not tell."""
    try:
        import resource
    except ImportError:  # Windows
        return float("nan")
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (2**20 if sys.platform == "darwin" else 2**10)


def _tables(options: argparse.Namespace) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Blocks, defects, geometry and all problems of the files named on the command line."""
    import pandas as pd

    from rehab.base import tables
    from rehab.inputs import reading

    mapping = reading.read_mapping(options.mapping.read_bytes()) if options.mapping else None
    raw = reading.open_table(options.blocks.name, options.blocks.read_bytes(), crs=options.crs)
    found = reading.read_blocks(raw, mapping, today=date.today())
    problems, geometry, defects = [found.problems], found.geometry, tables.empty("defects")
    if options.geometry:
        lines = reading.open_table(options.geometry.name, options.geometry.read_bytes(), crs=options.crs)
        geometry, more = reading.read_lines(lines, found.table)
        problems.append(more)
    if options.defects:
        survey = reading.open_table(options.defects.name, options.defects.read_bytes(), table="defects")
        its = reading.read_mapping(options.defects_mapping.read_bytes()) if options.defects_mapping else None
        panel = reading.read_defects(survey, its, found.table)
        defects = panel.table
        problems.append(panel.problems)
    everything = pd.concat(problems, ignore_index=True)
    if found.table.empty:
        raise UnusableInput([Problem("stop", options.blocks.name, None, None, None, "no row of the table can be used",
                                     "at least one row without a stop problem"),
                             *(Problem(**{str(name): value for name, value in row.items()})
                               for row in everything.to_dict("records"))])
    return found.table, defects, geometry, everything


def _scenario(options: argparse.Namespace) -> Scenario:
    """The scenario of the file, with what the command line says laid over it."""
    try:
        given = _toml(options.scenario) if options.scenario else {}
        if options.start is not None:
            given["start_year"] = options.start
        scenario = Scenario.from_mapping(given)
        if options.budget is not None or options.years is not None:
            usd = options.budget if options.budget is not None else scenario.budgets_usd[0]
            scenario = scenario.with_budget(usd, options.years)
    except ValueError as error:
        raise BadAssumption(f"scenario: {error}") from error
    return scenario


def _toml(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise BadAssumption(f"{path.name} is not a TOML file: {error}") from error


def _write(decided: Plan, geometry: pd.DataFrame, problems: pd.DataFrame, out: Path,
           seconds: dict[str, float]) -> None:
    """All tables and files of a plan; the seconds of the steps before and of these go into the summary."""
    from rehab import plan
    from rehab.outputs import exports, worklist
    from rehab.plan import waiting
    from rehab.plan.answers import treated_now

    prepared = decided.prepared
    years = decided.program["year"]
    year = int(years.min()) if len(years) else prepared.start_year
    began = time.perf_counter()
    tasks, season_notes = plan.season_of(decided, year)
    arranged = time.perf_counter()
    notes = plan.with_notes(decided.notes, season_notes)
    out.mkdir(parents=True, exist_ok=True)
    listed = decided.strategies.merge(decided.overview[["block_id", "life_extension_yr", "likely_usd"]], on="block_id")
    for name, table in {
        "problems": problems, "blocks": prepared.network, "needs": prepared.needs,
        "findings": prepared.findings, "repairs": prepared.repairs,
        "strategies": listed.rename(columns={"likely_usd": "cost_usd"}), "forecast": treated_now(prepared),
        "quantities": decided.quantities, "costs": decided.costs, "lifecycle": prepared.worth,
        "waiting": waiting.of_network(waiting.by_block(prepared)), "program": decided.program, "tasks": tasks,
        "notes": notes,
    }.items():
        exports.write_csv(table, out / f"{name}.csv")
    (out / "season.ics").write_bytes(exports.season_calendar(tasks, decided.overview, datetime.now(UTC)))
    (out / "worklist.xlsx").write_bytes(worklist.workbook(
        decided.overview, prepared.network, prepared.needs, decided.program, decided.quantities, tasks,
        prepared.repairs, notes, prepared.assumptions, year))
    if len(geometry):
        (out / "blocks.geojson").write_text(exports.program_geojson(decided.overview, geometry), encoding="utf-8")
    steps = {**seconds, **decided.summary["seconds"], "season": round(arranged - began, 3),
             "files": round(time.perf_counter() - arranged, 3)}
    (out / "summary.json").write_text(exports.summary_json({**decided.summary, "seconds": steps}), encoding="utf-8")


def _report(problems: pd.DataFrame, out: Path) -> None:
    """Problems to standard error, a line each up to a screenful, and all of them to problems.csv."""
    from rehab.outputs import exports

    shown = problems.head(40)
    for row in shown.itertuples(index=False):
        place = f"{row.file}" + ("" if str(row.row) in {"<NA>", "nan"} else f" row {row.row:.0f}")
        place += f" column {row.column}" if isinstance(row.column, str) else ""
        value = f" '{row.value}'" if isinstance(row.value, str) else ""
        print(f"{row.severity}: {place}{value}: {row.message}; accepted: {row.accepted}", file=sys.stderr)
    if len(problems) > len(shown):
        print(f"... and {len(problems) - len(shown)} more, all in {out / 'problems.csv'}", file=sys.stderr)
    out.mkdir(parents=True, exist_ok=True)
    exports.write_csv(problems, out / "problems.csv")


if __name__ == "__main__":
    sys.exit(main())
