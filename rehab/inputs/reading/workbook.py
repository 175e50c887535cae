"""XLSX workbooks: the first visible sheet that holds a table, title rows and two-line headers included."""

from __future__ import annotations

import datetime as dt
import io
import re
import zipfile
from collections.abc import Iterator
from typing import Final
from xml.etree import ElementTree

import numpy as np
import python_calamine as calamine

from rehab.base.errors import Problem
from rehab.inputs.reading import grid
from rehab.inputs.reading.headings import Upload, complete, recognised
from rehab.inputs.reading.raw import ZIP_FAULTS, listed, refusal

#: cells in the rectangle around all filled ones; a stray cell at the far end of a sheet makes billions
MOST_CELLS: Final = 40_000_000
_SAVE: Final = "the workbook opened and saved again as .xlsx"
_COLUMN: Final = re.compile(rb'<c [^>]{0,80}?r="([A-Z]{1,3})\d')
_ROW: Final = re.compile(rb'<row [^>]{0,200}?r="(\d{1,9})"')
_ERROR: Final = re.compile(rb'<c (?=[^>]{0,80}?t="e")[^>]{0,80}?r="([A-Z]{1,3})(\d{1,7})"')
_REL: Final = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"


def read(name: str, content: bytes, sheet: str | None, table: Upload) -> tuple[grid.Grid, list[str]]:
    """The table of one sheet and the names of the visible sheets; raises :class:`UnusableInput` if there is none."""
    try:
        parts = sheet_parts(content)
        book = calamine.CalamineWorkbook.from_filelike(io.BytesIO(content))
        visible = [item.name for item in book.sheets_metadata if item.visible == calamine.SheetVisibleEnum.Visible
                   and item.typ == calamine.SheetTypeEnum.WorkSheet]
        if sheet is not None and sheet not in visible:
            raise refusal(name, f"the workbook has no visible sheet '{sheet}'", f"one of: {', '.join(visible)}",
                          value=sheet)
        return _first_table(name, content, book, parts, [sheet] if sheet else visible, table), visible
    except calamine.PasswordError as error:
        raise refusal(name, "the workbook is protected by a password", "a copy saved without a password") from error
    except (calamine.CalamineError, ElementTree.ParseError, *ZIP_FAULTS) as error:
        raise refusal(name, f"the workbook is damaged and cannot be read ({error})"[:300], _SAVE) from error


def _first_table(name: str, content: bytes, book: calamine.CalamineWorkbook, parts: dict[str, str],
                 sheets: list[str], wanted: Upload) -> grid.Grid:
    """The first sheet with all columns that the wanted table needs; else with three known ones; else with a table."""
    tables, only_header = [], False
    for sheet in sheets:
        errors = _looked_through(name, content, parts.get(sheet), sheet)
        page = book.get_sheet_by_name(sheet)
        records = [[cell if isinstance(cell, str) else _text(cell) for cell in record]
                   for record in page.to_python(skip_empty_area=False)]
        merged = page.merged_cell_ranges or []
        found = grid.header(records, merged)
        if found is None:
            continue
        if not any(cell.strip() for record in records[found[0]:] for cell in record):
            only_header = True
            continue
        fit = 2 if complete(found[1], wanted) else int(recognised(found[1]) >= 3)
        tables.append((fit, sheet, records, found, errors))
        if fit == 2:
            break
    if not tables and only_header:
        raise refusal(name, "the table has headings but no rows", "a table with at least one row below its headings")
    if not tables:
        raise refusal(name, "no table was found on the visible sheets",
                      "a sheet with headings above the rows of a table")
    _, sheet, records, found, errors = max(tables, key=lambda item: item[0])
    result = grid.table(name, records, found, ragged=False)
    others = [other for other in sheets if other != sheet]
    if others:
        errors.append(Problem("warn", name, None, None, sheet, f"the sheet '{sheet}' was read; not read: "
                              f"{', '.join(others)}", "another sheet, if it is chosen"))
    return grid.Grid(result.frame, result.rows, result.broken, errors + result.problems)


def sheet_parts(content: bytes) -> dict[str, str]:
    """Sheet name -> its part in the package, so that a sheet can be looked through before it is loaded."""
    with zipfile.ZipFile(io.BytesIO(content)) as package:
        links = ElementTree.fromstring(package.read("xl/_rels/workbook.xml.rels"))
        targets = {link.get("Id"): link.get("Target", "") for link in links}
        book = ElementTree.fromstring(package.read("xl/workbook.xml"))
    found = {}
    for element in book.iter():
        target = targets.get(element.get(_REL))
        if target and element.tag.endswith("}sheet"):
            found[element.get("name", "")] = target.lstrip("/") if target.startswith("/") else f"xl/{target}"
    return found


def _looked_through(name: str, content: bytes, part: str | None, sheet: str) -> list[Problem]:
    """Warnings about cells that hold an error; refuses a sheet whose filled cells span too wide a rectangle."""
    if part is None:
        return []
    columns: set[bytes] = set()
    last = 0
    errors: list[tuple[bytes, int]] = []
    for piece in pieces(content, part):
        columns |= set(_COLUMN.findall(piece))
        last = max([last, *map(int, _ROW.findall(piece))])
        errors += [(column, int(row)) for column, row in _ERROR.findall(piece)]
    if last * max((column_number(column) for column in columns), default=0) > MOST_CELLS:
        raise refusal(name, f"the sheet '{sheet}' reaches to row {last:,}: a cell far from the table holds something",
                      "a sheet with the table alone; delete the rows and columns behind it")
    found: list[Problem] = []
    for column in sorted({column for column, _ in errors}, key=column_number):
        rows = np.array([row for other, row in errors if other == column], "int64")
        found += listed("warn", name, rows, f"column {column.decode()}", None,
                        "the cell holds an error of the spreadsheet; it is read as empty", "a value, or an empty cell")
    return found


def pieces(content: bytes, part: str) -> Iterator[bytes]:
    """A part of the package in pieces that never cut a cell in two, so that a huge one takes little memory."""
    with zipfile.ZipFile(io.BytesIO(content)) as package, package.open(part) as stream:
        rest = b""
        while chunk := stream.read(1 << 20):
            chunk = rest + chunk
            cut = max(chunk.rfind(b"<c "), chunk.rfind(b"<row "), 0)
            yield chunk[:cut]
            rest = chunk[cut:]
        yield rest


def column_number(letters: bytes) -> int:
    """The number of a column by its letters: A is 1, AA 27."""
    total = 0
    for letter in letters:
        total = total * 26 + letter - ord("A") + 1
    return total


def _text(cell: object) -> str:
    """A cell as text: whole numbers without a point, days as 2024-06-30."""
    if isinstance(cell, float):
        return repr(cell).removesuffix(".0")
    if isinstance(cell, bool):
        return "TRUE" if cell else "FALSE"
    if isinstance(cell, dt.datetime):
        return cell.date().isoformat() if cell.time() == dt.time() else cell.isoformat(sep=" ")
    return str(cell)
