"""The entries of a plain table: one row per quantity or repair, under the usual headings."""

from __future__ import annotations

from typing import Final

from rehab.base.errors import Problem, UnusableInput
from rehab.base.tables.site import ENTRIES
from rehab.inputs.reading.headings import Upload, known_as
from rehab.inputs.reading.measured.entries import Cell, Entry
from rehab.inputs.reading.raw import Raw

#: column of ours -> the upload that knows other names for it, and its name there
_KNOWN: Final[dict[str, tuple[Upload, str]]] = {
    "block_id": ("blocks", "block_id"), "year": ("commitments", "year"), "pay_item": ("bids", "item"),
    "quantity": ("bids", "quantity"), "length_ft": ("defects", "length_ft"), "width_ft": ("defects", "width_ft"),
    "depth_in": ("defects", "depth_in"),
}
#: words of a heading that make it a quantity of the plan or of a bid, not one that was measured
_NOT_MEASURED: Final = ("plan", "est", "bid", "approx")
_OWN: Final = {"pay_item": ("pay_item", "pay item", "item"), "repair_id": ("repair_id", "repair id", "repair",
                                                                         "repair no", "repair number")}
TAKES: Final = ("the workbook of a work list, filled in; or a table with block_id, year, pay_item and quantity, or "
                "with block_id, year, repair_id, length_ft, width_ft and depth_in")
_NEEDED: Final = {"quantities": ("block_id", "year", "pay_item", "quantity"),
                  "repairs": ("block_id", "year", "repair_id", "length_ft", "width_ft")}


def entries_of_table(raw: Raw) -> tuple[list[Entry], list[Problem]]:
    """The rows of a table as entries, and the rows that name no block, year, item or repair.

    Raises :class:`UnusableInput` for a table without the columns of either kind, or with those of both.
    """
    columns = _columns(list(raw.frame.columns))
    kinds = [kind for kind, needed in _NEEDED.items() if set(needed) <= set(columns)]
    if len(kinds) != 1:
        said = ("the table has the columns of quantities and of repairs" if kinds else
                f"neither a work list of this program nor a table of quantities: its columns are "
                f"{', '.join(raw.frame.columns)}"[:300])
        raise UnusableInput([*raw.problems, Problem("stop", raw.name, None, None, None, said, TAKES)])
    kind = kinds[0]
    named = "pay_item" if kind == "quantities" else "repair_id"
    found: list[Entry] = []
    problems = list(raw.problems)
    texts = raw.frame.astype(object).where(raw.frame.notna(), "")
    for at, (row, broken) in enumerate(zip(raw.rows.tolist(), raw.broken.tolist(), strict=True)):
        if broken:
            continue
        line = {ours: str(texts.iloc[at][theirs]) for ours, theirs in columns.items()}
        year = line["year"].removesuffix(".0")
        lacking = next((ours for ours in ("block_id", "year", named) if not line[ours]), None)
        if lacking or not year.isdecimal():
            ours = lacking or "year"
            problems.append(Problem("stop", raw.name, row, columns[ours], line[ours] or None,
                                    f"{ours} is empty; the row is not used" if lacking else
                                    "not a year that can be read; the row is not used",
                                    "a year such as 2027" if ours == "year" else f"a {ours} of the plan"))
            continue
        cells = {column: Cell(columns[column], line[column]) for column in ENTRIES[kind].values() if column in columns}
        found.append(Entry("", row, kind, line["block_id"], int(year), line[named].removesuffix(".0")
                           if kind == "repairs" else line[named], cells))
    return found, problems


def _columns(headings: list[str]) -> dict[str, str]:
    """Column of ours -> heading; the heading of a work list's own cells comes first, then our names, then others."""
    written = {heading: column for cells in ENTRIES.values() for heading, column in cells.items()}
    found: dict[str, str] = {}
    for heading in headings:
        plain = " ".join(heading.split())
        if plain in written:
            found.setdefault(written[plain], heading)
    for heading in headings:
        if heading in (*_KNOWN, "repair_id"):
            found.setdefault(heading, heading)
    for heading in headings:
        plain = " ".join(heading.casefold().replace(".", " ").split())
        for ours, names in _OWN.items():
            if plain in names:
                found.setdefault(ours, heading)
        for ours, (table, theirs) in _KNOWN.items():
            if known_as(heading, table) == theirs and not (
                    ours == "quantity" and any(word in plain for word in _NOT_MEASURED)):
                found.setdefault(ours, heading)
    return found
