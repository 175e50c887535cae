"""What all commands share: files to tables, problems to the screen and to a file."""

from __future__ import annotations

import argparse
import sys
import tomllib
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rehab.base.errors import BadAssumption, Note, Problem, UnusableInput

if TYPE_CHECKING:
    import pandas as pd

    from rehab.base.settings import Assumptions


def tables(options: argparse.Namespace) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame, pd.DataFrame]:
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


def surveys(options: argparse.Namespace) -> list[pd.DataFrame]:
    """The tables of blocks of several surveys, newest last; their problems are reported."""
    import pandas as pd

    from rehab.inputs import reading

    if len(options.surveys) < 2:
        raise BadAssumption("at least two surveys are needed, the newest last")
    mapping = reading.read_mapping(options.mapping.read_bytes()) if options.mapping else None
    found = [reading.read_blocks(reading.open_table(path.name, path.read_bytes()), mapping, today=date.today())
             for path in options.surveys]
    report(pd.concat([each.problems for each in found], ignore_index=True), options.out)
    return [each.table for each in found]


def given(options: argparse.Namespace) -> Assumptions:
    """The default assumptions with the city's own values over them."""
    from rehab.inputs import assumptions

    given = assumptions.defaults()
    return assumptions.overlay(given, toml(options.assumptions)) if options.assumptions else given


def toml(path: Path) -> dict[str, Any]:
    """The content of a TOML file."""
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise BadAssumption(f"{path.name} is not a TOML file: {error}") from error


def say(notes: Sequence[Note]) -> None:
    """Notes to standard error."""
    for note in notes:
        print(f"note: {note.message}", file=sys.stderr)


def report(problems: pd.DataFrame, out: Path, name: str = "problems.csv") -> None:
    """Problems to standard error, a line each up to a screenful, and all of them to a file."""
    from rehab.outputs import exports

    shown = problems.head(40)
    for row in shown.itertuples(index=False):
        place = f"{row.file}" + ("" if str(row.row) in {"<NA>", "nan"} else f" row {row.row:.0f}")
        place += f" column {row.column}" if isinstance(row.column, str) else ""
        value = f" '{row.value}'" if isinstance(row.value, str) else ""
        print(f"{row.severity}: {place}{value}: {row.message}; accepted: {row.accepted}", file=sys.stderr)
    if len(problems) > len(shown):
        print(f"... and {len(problems) - len(shown)} more, all in {out / name}", file=sys.stderr)
    out.mkdir(parents=True, exist_ok=True)
    exports.write_csv(problems, out / name)
