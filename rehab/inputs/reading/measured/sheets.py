"""The entries of a work list that was filled in: rows of a workbook that carry a key in a hidden cell.

A key is the JSON text ``[kind, block_id, year, name]``; the headings of the cells to fill in are those of
``rehab.base.tables.site.ENTRIES``.  So rows may be moved, sorted and copied, and columns put in between.
"""

from __future__ import annotations

import io
import json
import re
import zipfile
from collections.abc import Sequence
from typing import Final
from xml.etree import ElementTree

import python_calamine as calamine

from rehab.base.errors import Problem
from rehab.base.tables.site import ENTRIES
from rehab.inputs.reading import layers
from rehab.inputs.reading.measured.entries import Cell, Entry
from rehab.inputs.reading.raw import ZIP_FAULTS, refusal
from rehab.inputs.reading.workbook import MOST_CELLS, column_number, pieces, sheet_parts

Row = Sequence[object]
Faults = dict[tuple[int, int], str]  #: (row from 1, column from 0) -> what is wrong with the cell

#: the heading under which the rows of a table of repairs are numbered
_NUMBER: Final = "No."
_FILLED_CELL: Final = re.compile(rb"<c ([^>]*?)(?:/>|>(.*?)</c>)", re.DOTALL)
_PLACE: Final = re.compile(rb'\br="([A-Z]{1,3})(\d{1,7})"')
_VALUE: Final = re.compile(rb"<v>[^<]")
_HEADS: Final = {heading: (kind, column) for kind, cells in ENTRIES.items() for heading, column in cells.items()}
_BEGINS: Final = tuple(f'["{kind}"' for kind in ENTRIES)
_SAVE: Final = "the workbook opened and saved again as .xlsx"
_FRESH: Final = "the row copied from the work list as it was made, or the work list made anew"


def entries_of(name: str, content: bytes) -> tuple[list[Entry], list[Problem]]:
    """Every row with a key on any sheet, and what is wrong with sheets and keys; none for a workbook of another kind.

    Raises :class:`UnusableInput` for a workbook that is damaged, locked, or unfolds to too much.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as package:
            layers.unfolded_size(name, package)
        parts = sheet_parts(content)
        book = calamine.CalamineWorkbook.from_filelike(io.BytesIO(content))
        found: list[Entry] = []
        problems: list[Problem] = []
        for item in book.sheets_metadata:
            if item.typ != calamine.SheetTypeEnum.WorkSheet or item.name not in parts:
                continue
            faults = _faults(name, content, parts[item.name], item.name)
            rows = book.get_sheet_by_name(item.name).to_python(skip_empty_area=False)
            entries, faulty = _of_sheet(name, item.name, rows, faults)
            found += entries
            problems += faulty
    except calamine.PasswordError as error:
        raise refusal(name, "the workbook is protected by a password", "a copy saved without a password") from error
    except (calamine.CalamineError, ElementTree.ParseError, *ZIP_FAULTS) as error:
        raise refusal(name, f"the workbook is damaged and cannot be read ({error})"[:300], _SAVE) from error
    return found, problems


def _of_sheet(name: str, sheet: str, rows: Sequence[Row], faults: Faults) -> tuple[list[Entry], list[Problem]]:
    heads: dict[str, dict[str, int]] = {kind: {} for kind in ENTRIES}
    numbered: int | None = None
    found: list[Entry] = []
    problems: list[Problem] = []
    for number, row in enumerate(rows, 1):
        keys = [cell for cell in row if isinstance(cell, str) and cell.startswith(_BEGINS)]
        if not keys:
            above = _heads(row)
            heads |= above
            if "repairs" in above:
                numbered = next((at for at, cell in enumerate(row) if _plain(cell) == _NUMBER), None)
            continue
        key = _key(keys[0])
        if key is None or len(keys) > 1:
            problems.append(Problem("stop", name, number, None, keys[0][:200], f"sheet '{sheet}': the hidden key of "
                                    "the row was changed, so it cannot be told what the row is about; it is not used",
                                    _FRESH))
            continue
        kind, block_id, year, of = key
        cells = {column: _cell(heading, row, heads[kind][heading], faults.get((number, heads[kind][heading]), ""))
                 for heading, column in ENTRIES[kind].items() if heading in heads[kind]}
        lacking = [heading for heading in ENTRIES[kind] if heading not in heads[kind]]
        if lacking:
            problems.append(Problem("stop", name, number, None, None, f"sheet '{sheet}': no heading '{lacking[0]}' "
                                    "stands above the row, so its entries cannot be found; the row is not used",
                                    f"the heading '{lacking[0]}' above the cells that are filled in"))
            continue
        said = next((cell for cell in row if cell != ""), None)
        if kind == "repairs":
            said = row[numbered] if numbered is not None and numbered < len(row) else None
        found.append(Entry(sheet, number, kind, block_id, year, of, cells, said))
    if not found and not problems and any(heads.values()):
        problems.append(Problem("warn", name, None, None, sheet, f"sheet '{sheet}' has the headings of a work list but "
                                "no hidden keys; nothing was read from it", "the sheet with its last, hidden column"))
    return found, problems


def _heads(row: Row) -> dict[str, dict[str, int]]:
    """The kinds whose headings a row holds, and the column of each heading."""
    found: dict[str, dict[str, int]] = {}
    for at, cell in enumerate(row):
        text = _plain(cell)
        if text in _HEADS:
            found.setdefault(_HEADS[text][0], {}).setdefault(text, at)
    return found


def _plain(cell: object) -> str:
    return " ".join(cell.split()) if isinstance(cell, str) else ""


def _cell(heading: str, row: Row, at: int, fault: str) -> Cell:
    return Cell(heading, row[at] if at < len(row) else "", fault)


def _key(text: str) -> tuple[str, str, int, str] | None:
    try:
        kind, block_id, year, name = json.loads(text)
    except ValueError:
        return None
    if kind not in ENTRIES or not isinstance(block_id, str) or type(year) is not int or not isinstance(name, str):
        return None
    return kind, block_id, year, name


def _faults(name: str, content: bytes, part: str, sheet: str) -> Faults:
    """Cells with an error, or with a formula of which the file holds no value: reading alone takes them for empty.

    Refuses a sheet whose cells span too wide a rectangle, before it is loaded.
    """
    found: Faults = {}
    last_row = last_column = 0
    for piece in pieces(content, part):
        for attributes, body in _FILLED_CELL.findall(piece):
            place = _PLACE.search(attributes)
            if place is None:
                continue
            row, column = int(place.group(2)), column_number(place.group(1))
            last_row, last_column = max(last_row, row), max(last_column, column)
            if b't="e"' in attributes:
                found[row, column - 1] = "the cell holds an error of the spreadsheet"
            elif b"<f" in body and not _VALUE.search(body):
                found[row, column - 1] = "the cell holds a formula without a computed value"
    if last_row * last_column > MOST_CELLS:
        raise refusal(name, f"the sheet '{sheet}' reaches to row {last_row:,}: a cell far from the table holds "
                      "something", "a sheet with the work list alone; delete the rows and columns behind it")
    return found
