"""What a crew measured, read back: the workbook of a work list filled in, or a plain table of the same.

An empty cell is not measured and 0 is none; nothing is taken from a row that has a problem.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from rehab.base import tables
from rehab.base.errors import Problem, UnusableInput
from rehab.inputs import assumptions
from rehab.inputs.reading.measured.entries import Entry
from rehab.inputs.reading.measured.judge import Judged, Known, judge
from rehab.inputs.reading.measured.plain import TAKES, entries_of_table
from rehab.inputs.reading.measured.sheets import entries_of
from rehab.inputs.reading.opening import open_table
from rehab.inputs.reading.raw import ZIP_FAULTS, problem_table

__all__ = ["Measured", "read_measured"]


@dataclass(frozen=True)
class Measured:
    """What was measured on the street: the tables ``measured`` and ``measured_repairs``, and the problems of the rest.

    ``sheet`` and ``row`` say where each figure stood; a problem says its sheet in its message.
    """

    quantities: pd.DataFrame
    repairs: pd.DataFrame
    problems: pd.DataFrame


def read_measured(name: str, content: bytes, blocks: pd.DataFrame | Sequence[str] | None = None,
                  year: int | None = None, *, repairs: pd.DataFrame | None = None,
                  pay_items: pd.DataFrame | None = None) -> Measured:
    """Actual quantities and sizes from a work list that was filled in (XLSX), or from a table (CSV, XLSX).

    ``blocks`` are the city's, as names or as a table with length_ft and width_ft, which no figure may exceed; ``year``
    is the year of the work list that is expected; ``repairs`` is the table of that name; ``pay_items`` the
    assumptions of that name, the defaults if not given.  Raises :class:`UnusableInput` for a file that cannot be
    opened, holds no work list and no such table, or only one of another city or year.
    """
    entries, problems = _entries(name, content)
    known = _known(blocks, year, repairs, assumptions.defaults().table("pay_items") if pay_items is None else pay_items)
    _refuse_other(name, entries, problems, known)
    judged = judge(name, entries, known)
    if not any(entry.filled for entry in entries):
        problems = [*problems, Problem("warn", name, None, None, None, f"nothing is filled in: all {len(entries):,} "
                                       "rows are empty", "actual quantities or sizes in the rows")]
    return Measured(_table("measured", "quantities", judged), _table("measured_repairs", "repairs", judged),
                    problem_table([*problems, *judged.problems]))


def _entries(name: str, content: bytes) -> tuple[list[Entry], list[Problem]]:
    """From the sheets of a work list, else from a plain table; the refusals are those of any upload."""
    if _is_workbook(content):
        entries, problems = entries_of(name, content)
        if entries or any(problem.severity == "stop" for problem in problems):
            if not entries:
                raise UnusableInput(problems)
            return entries, problems
        try:
            return entries_of_table(open_table(name, content))
        except UnusableInput as error:
            raise UnusableInput([*problems, *error.problems, Problem(
                "stop", name, None, None, None, "no row of the workbook is one of a work list of this program", TAKES,
            )]) from error
    return entries_of_table(open_table(name, content))


def _is_workbook(content: bytes) -> bool:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as package:
            return "xl/workbook.xml" in package.namelist()
    except ZIP_FAULTS:
        return False


def _known(blocks: pd.DataFrame | Sequence[str] | None, year: int | None, repairs: pd.DataFrame | None,
           pay_items: pd.DataFrame) -> Known:
    items = {str(key): (str(row["name"]), str(row["unit"])) for key, row in pay_items.iterrows()}
    sizes: dict[str, tuple[float, float]] = {}
    names = blocks
    if isinstance(blocks, pd.DataFrame):
        names = blocks["block_id"].tolist()
        sizes = {str(block): (float(length), float(width)) for block, length, width in blocks[
            ["block_id", "length_ft", "width_ft"]].itertuples(index=False) if length > 0 and width > 0}
    of_block = None if repairs is None else {
        str(block): frozenset(map(str, rows)) for block, rows in repairs.groupby("block_id")["repair_id"]}
    return Known(None if names is None else frozenset(map(str, names)), year, sizes, items, of_block)


def _refuse_other(name: str, entries: list[Entry], problems: list[Problem], known: Known) -> None:
    """Refuse a file of which no row is of this city, or of the year that is asked for."""
    names, years = {entry.block_id for entry in entries}, {entry.year for entry in entries}
    if entries and known.blocks is not None and not names & known.blocks:
        raise UnusableInput([*problems, Problem(
            "stop", name, None, None, min(names), f"the work list is of another city: none of its {len(names):,} "
            "blocks is one of this city", "the work list of this city")])
    if entries and known.year is not None and known.year not in years:
        raise UnusableInput([*problems, Problem(
            "stop", name, None, None, str(min(years)), f"the work list is of {', '.join(map(str, sorted(years)))}, and "
            f"{known.year} is asked for", f"the work list of {known.year}")])


def _table(table: str, kind: str, judged: Judged) -> pd.DataFrame:
    named = "pay_item" if kind == "quantities" else "repair_id"
    rows = [{"block_id": entry.block_id, "year": entry.year, **values, "sheet": entry.sheet or None,
             "row": float(entry.row), named: entry.name if kind == "quantities" else float(entry.name)}
            for entry, values in judged.used if entry.kind == kind]
    if not rows:
        return tables.empty(table)
    typed = tables.with_types(table, pd.DataFrame(rows))
    return tables.check(table, typed.sort_values(["block_id", "year", named], ignore_index=True))
