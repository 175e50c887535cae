"""The commands check, plan and answers: one table of blocks to a program, its files, and questions put to it."""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from rehab.base.errors import BadAssumption
from rehab.base.settings import Scenario
from rehab.commands import calendar, outcome
from rehab.commands.files import given as assumed
from rehab.commands.files import report, tables, toml

if TYPE_CHECKING:
    import pandas as pd

    from rehab.plan import Plan, Prepared

#: topics of notes on what the scenario asks: they are said at once; all notes are in a file
_ASKED = ("conflict", "program", "backlog", "limit", "forced", "kept out", "closed year", "override")
#: files that only some runs write; those of an earlier run belong to another program
_SOMETIMES = ("chances.csv", "block_chances.csv", "block_places.csv", "payments.csv")


def check(options: argparse.Namespace) -> int:
    """List what is wrong with a table of blocks."""
    _, _, _, problems = tables(options)
    report(problems, options.out)
    stops = int((problems["severity"] == "stop").sum())
    print(f"{stops} rows or values stop a block, {len(problems) - stops} are warnings")
    return 0


def plan(options: argparse.Namespace) -> int:
    """Plan the program of a table of blocks, and write all tables."""
    import pandas as pd

    from rehab import plan as planning

    for name, least in (("draws", 2), ("robust", 1)):
        count = getattr(options, name)
        if count is not None and not least <= count <= 100_000:
            raise BadAssumption(f"the number of {'draws' if name == 'draws' else 'draws of --robust'} is between "
                                f"{least} and 100,000")
    prepared, scenario, geometry, problems, read = _prepared(options)
    given, more = calendar.given_of(options, prepared.network)
    if more:
        report(pd.concat(more, ignore_index=True), options.out)
        problems = pd.concat([problems, *more], ignore_index=True)
    decided = planning.decide(prepared, scenario)
    for name in _SOMETIMES:
        (options.out / name).unlink(missing_ok=True)
    chances = None if options.draws is None or decided.chosen.failed else _draw(decided, options.draws, options.out)
    outcome.write(decided, geometry, problems, options, given, {"reading": round(read, 3)}, chances)
    asked = decided.notes[decided.notes["topic"].isin(_ASKED)]
    for note in asked.astype("object").where(asked.notna(), "").to_dict("records"):
        where = " in ".join(str(note[part]) for part in ("block_id", "year") if note[part] != "")
        print(f"note: {where}: {note['message']}" if where else f"note: {note['message']}", file=sys.stderr)
    if decided.chosen.failed:
        print(f"no program obeys all that is asked; what is known of the blocks is in {options.out}", file=sys.stderr)
        return 2
    if options.robust is not None:
        _places(decided, options.robust, options.out)
    spent, budget = decided.summary["spent_usd"], decided.summary["budget_usd"]
    gap = decided.summary["gap"]
    proof = "" if gap is None else f", gap {100 * gap:.4f} %"
    print(f"{len(decided.program)} of {len(prepared.network)} blocks programmed, ${spent:,.0f} of "
          f"${budget:,.0f}{proof}; results in {options.out}")
    return 0


def answers(options: argparse.Namespace) -> int:
    """The least money for aims, what more money buys, and the simple rules beside the best program."""
    from rehab import plan as planning
    from rehab.outputs import exports
    from rehab.plan import council, least, reasons
    from rehab.plan.answers import SIMPLE_RULES

    prepared, scenario, _, _, _ = _prepared(options)
    made = planning.decide(prepared, scenario)
    aims = [least.holding(prepared, scenario)]
    last = scenario.years[-1]
    try:
        if options.reach is not None:
            aims.append(least.reaching(scenario, options.reach, options.by or last))
        aims.append(least.clearing(scenario, options.clear_by or last))
        found = [least.least(prepared, aim) for aim in aims]
    except ValueError as error:
        raise BadAssumption(str(error)) from error
    exports.write_csv(least.table(scenario, found), options.out / "answers.csv")
    exports.write_csv(least.curve(prepared, scenario), options.out / "curve.csv")
    rules = {name: planning.decide(prepared, replace(scenario, choice=rule)) for name, rule in SIMPLE_RULES.items()}
    exports.write_csv(council.side_by_side({"Best": made, **rules}), options.out / "rules.csv")
    for sentence in (*least.sentences(prepared, scenario, found), *reasons.next_dollars(made),
                     council.gain(made, rules)):
        print(sentence)
    return 0


def _prepared(options: argparse.Namespace) -> tuple[Prepared, Scenario, pd.DataFrame, pd.DataFrame, float]:
    """What was prepared, the scenario with its commitments, lines, problems and the seconds of reading."""
    import pandas as pd

    from rehab import plan as planning
    from rehab.inputs import reading

    used, scenario = assumed(options), _scenario(options)
    began = time.perf_counter()
    blocks, defects, geometry, problems = tables(options)
    if options.committed:
        raw = reading.open_table(options.committed.name, options.committed.read_bytes(), table="commitments")
        listed = reading.read_commitments(raw, None, blocks["block_id"].tolist(), scenario.years)
        problems = pd.concat([problems, listed.problems], ignore_index=True)
        try:
            scenario = replace(scenario, forced=(*scenario.forced, *reading.as_forced(listed.table)))
        except ValueError as error:
            raise BadAssumption(f"committed projects: {error}") from error
    read = time.perf_counter() - began
    report(problems, options.out)
    prepared = planning.prepare(blocks, defects, used, scenario.start_year, len(scenario.budgets_usd))
    return prepared, scenario, geometry, problems, read


def _draw(decided: Plan, draws: int, out: Path) -> pd.DataFrame:
    """The chances of a program by year, to files with those of blocks, and in a sentence."""
    from rehab.outputs import exports
    from rehab.outputs.charts.chances import describe_chances
    from rehab.plan import uncertainty

    found = uncertainty.chances(decided, draws)
    exports.write_csv(found.by_year, out / "chances.csv")
    exports.write_csv(found.by_block, out / "block_chances.csv")
    print(describe_chances(found.by_year))
    return found.by_year


def _places(decided: Plan, draws: int, out: Path) -> None:
    """How often each block stays in the best program, to a file and in a sentence."""
    from rehab.outputs import exports
    from rehab.plan import robust

    try:
        found = robust.places(decided, draws)
    except ValueError as error:
        raise BadAssumption(f"--robust: {error}") from error
    exports.write_csv(found.blocks, out / "block_places.csv")
    print(found.sentence())


def _scenario(options: argparse.Namespace) -> Scenario:
    """The scenario of the file, with what the command line says laid over it."""
    try:
        given = toml(options.scenario) if options.scenario else {}
        if options.start is not None:
            given["start_year"] = options.start
        scenario = Scenario.from_mapping(given)
        if options.budget is not None or options.years is not None:
            usd = options.budget if options.budget is not None else scenario.budgets_usd[0]
            scenario = scenario.with_budget(usd, options.years)
    except ValueError as error:
        raise BadAssumption(f"scenario: {error}") from error
    return scenario
