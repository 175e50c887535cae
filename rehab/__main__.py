"""The command line: check, plan, answers, demo, calibrate, backtest, benchmark, schema, archive and restore.

Exit code 0: done, warnings may exist; 2: the input cannot be used; 1: a fault in the program.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from rehab.base.errors import BadAssumption, Problem, UnusableInput, as_table


def main(arguments: list[str] | None = None) -> int:
    """Run one command; returns the exit code."""
    from rehab.commands.files import report

    options = _parser().parse_args(arguments)
    try:
        return int(options.run(options))
    except UnusableInput as error:
        report(as_table(error.problems, Problem), options.out)
        return 2
    except (BadAssumption, FileNotFoundError, IsADirectoryError, PermissionError) as error:
        print(f"rehab: {error}", file=sys.stderr)
        return 2


def _parser() -> argparse.ArgumentParser:
    from rehab.commands import calendar, outcome, planning

    parser = argparse.ArgumentParser(prog="python -m rehab", description=__doc__)
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    check = commands.add_parser("check", help="read a table of blocks and list what is wrong with it")
    plan = commands.add_parser("plan", help="sort, price and program the blocks, and write all tables")
    answers = commands.add_parser("answers", help="the least money for aims, what more money buys, simple rules beside")
    for command, run in ((check, planning.check), (plan, planning.plan), (answers, planning.answers)):
        command.set_defaults(run=run)
        command.add_argument("blocks", type=Path, help="CSV, XLSX, GeoJSON, GeoPackage or zipped Shapefile")
        command.add_argument("--defects", type=Path, help="panel-by-panel survey of some of the blocks")
        command.add_argument("--geometry", type=Path, help="lines of the blocks, if they stand in a file of their own")
        command.add_argument("--mapping", type=Path, help="CSV with the columns theirs, ours, unit, only")
        command.add_argument("--defects-mapping", type=Path, help="the same for the panel-by-panel survey")
        command.add_argument("--crs", help="coordinate system of a layer that names none, as EPSG:2230")
        command.add_argument("--out", type=Path, default=Path("out"), help="folder for the results")
    for command in (plan, answers):
        command.add_argument("--scenario", type=Path, help="TOML with budgets, funds, limits, locks; see the README")
        command.add_argument("--committed", type=Path, help="list of committed projects: block_id, year, strategy, "
                             "cost_usd")
        command.add_argument("--budget", type=float, help="dollars a year, in dollars of the year")
        command.add_argument("--years", type=int, help="years of the program, 10 if not given")
        command.add_argument("--start", type=int, help="first year of the program")
        command.add_argument("--assumptions", type=Path, help="TOML with the city's own values: [table] key = value")
    calendar.options_of(plan)
    outcome.options_of(plan)
    plan.add_argument("--draws", type=int, help="draw the program so many times: chances.csv and block_chances.csv")
    plan.add_argument("--robust", type=int, help="choose the program anew in so many draws: block_places.csv")
    answers.add_argument("--reach", type=float, help="mean index to reach")
    answers.add_argument("--by", type=int, help="year to reach it by, the last if not given")
    answers.add_argument("--clear-by", type=int, help="year to clear the backlog by, the last if not given")
    _more(commands)
    return parser


def _more(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The commands that do not plan."""
    from rehab.commands import surveys, taking, trying

    demo = commands.add_parser("demo", help="an invented network of any size")
    demo.set_defaults(run=trying.demo)
    demo.add_argument("--blocks", type=int, required=True)
    demo.add_argument("--seed", type=int, default=7)
    demo.add_argument("--out", type=Path, required=True, help="CSV file; lines and defects are written beside it")
    demo.add_argument("--earlier", action="store_true", help="also the survey of the same blocks five years before")
    calibrate = commands.add_parser("calibrate", help="fit the curves of the forecast to two or more surveys")
    backtest = commands.add_parser("backtest", help="run the forecast on older surveys and compare with the newest")
    for command, run in ((calibrate, surveys.calibrate), (backtest, surveys.backtest)):
        command.set_defaults(run=run)
        command.add_argument("--assumptions", type=Path, help="TOML with the city's own values: [table] key = value")
        command.add_argument("surveys", type=Path, nargs="+", metavar="OLDER ... NEWEST", help="two or more tables")
        command.add_argument("--mapping", type=Path, help="CSV with the columns theirs, ours, unit, only")
        command.add_argument("--out", type=Path, default=Path("out"), help="folder for the results")
    backtest.add_argument("--by", choices=("time", "block"), default="time", help="fit to the older surveys, or to "
                          "all surveys of four fifths of the blocks to tell the rest")
    benchmark = commands.add_parser("benchmark", help="the optimiser beside a general solver, in one run")
    benchmark.set_defaults(run=trying.benchmark)
    benchmark.add_argument("--blocks", type=int, nargs="+", default=[1000, 10000])
    benchmark.add_argument("--years", type=int, default=10)
    benchmark.add_argument("--seconds", type=float, default=10.0, help="the most for each method")
    benchmark.add_argument("--strategies", type=int, choices=(2, 3, 4), help="strategies open in every year, no work "
                           "among them; as the condition allows if not given")
    benchmark.add_argument("--gaps", type=float, nargs="+", help="gap asked for, one for each of --blocks; one over "
                           "the blocks if not given")
    benchmark.add_argument("--panels", type=int, help="instead: lay out a panel survey of so many panels")
    benchmark.add_argument("--defects", type=int, default=60_000, help="defects of that survey")
    benchmark.add_argument("--forecast", type=int, help="instead: forecast so many blocks after every strategy")
    benchmark.add_argument("--season", type=int, help="instead: put so many blocks on a year's calendar")
    benchmark.add_argument("--crews", type=float, default=1.0, help="crews of it, times those of the defaults")
    benchmark.add_argument("--worklist", type=int, help="instead: make the sheets of so many blocks, and the brief")
    benchmark.add_argument("--draws", type=int, help="instead: draw the program of the invented city so many times")
    taking.options_of(commands)


if __name__ == "__main__":
    sys.exit(main())
