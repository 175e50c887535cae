"""The tables of a plan as one workbook to work with: a sheet per table, what is in it, and what each column holds.

Every text is written as text: the file holds no formula, and no link but those of its contents to its own sheets.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from io import BytesIO
from math import isfinite
from typing import Any, Final, NamedTuple

import numpy as np
import pandas as pd
import xlsxwriter

from rehab.base.tables import Field
from rehab.base.tables.fields import Kind
from rehab.outputs.csvw.metadata import Described, limits, of_frame
from rehab.outputs.exports import with_estimated
from rehab.outputs.words import count, unit

ROWS: Final = 1_048_575  #: rows of a sheet below its head (ECMA-376 leaves it open; what spreadsheets take)
_LETTERS: Final = 32_767  #: letters that a cell takes
_CUT: Final = " ... cut here: the CSV file has the whole text"
_SAMPLE: Final = 200  #: rows that the width of a column is made from

_FORMATS: Final[dict[str, str]] = {
    "usd": "#,##0.00", "share": "0.0%", "year": "0", "points": "0.0", "in": "0.00", "ft": "#,##0.0",
    "sqft": "#,##0.0", "sqyd": "#,##0.0", "yr": "0.0", "sqyd-years or usd": "#,##0.0",
}
_OF_KIND: Final[dict[Kind, str]] = {"number": "General", "whole": "0", "key": "0", "date": "yyyy-mm-dd"}


class _Sheet(NamedTuple):
    """A table, or a part of one that is too long for a sheet."""

    name: str
    table: str
    described: Described
    frame: pd.DataFrame


def databook(tables: Mapping[str, pd.DataFrame], about: Mapping[str, str], made: datetime, *,
             rows: int = ROWS) -> bytes:
    """The tables as the bytes of an XLSX file, with the sheets Contents and Columns in front.

    ``tables``: name of each sheet, 28 letters at most -> table; :class:`KeyError` for one whose columns are nowhere
    described.  Beside an ``overview`` the rows of other tables of blocks get a column ``estimated``.  ``about``: what
    stands at the head of the contents, such as the city, the scenario and the fingerprints.  ``made`` is the day that
    the file says it was made on.  A table of more than ``rows`` rows goes on in another sheet.  Money is rounded to
    cents as in a CSV file.
    """
    sheets = _sheets(_told(tables), rows)
    stream = BytesIO()
    options = {"constant_memory": True, "strings_to_formulas": False, "strings_to_urls": False,
               "strings_to_numbers": False}
    with xlsxwriter.Workbook(stream, options) as book:
        book.set_properties({"title": "Tables of a plan", "created": made.replace(tzinfo=None)})
        formats = _Formats(book)
        _contents(book, formats, sheets, about)
        _columns(book, formats, sheets)
        for sheet in sheets:
            _write(book, formats, sheet)
    return stream.getvalue()


def _told(tables: Mapping[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """The tables, those of blocks with what they rest on where that is known."""
    overview = tables.get("overview")
    if overview is None:
        return dict(tables)
    of_blocks = {name for name, table in tables.items()
                 if any(one.name == "block_id" and one.required for one in of_frame(name, table).fields)}
    return {name: with_estimated(table, overview) if name in of_blocks else table for name, table in tables.items()}


def _sheets(tables: Mapping[str, pd.DataFrame], rows: int) -> list[_Sheet]:
    found = []
    for name, table in tables.items():
        words = of_frame(name, table)
        for start in range(0, max(len(table), 1), rows):
            more = f" {start // rows + 1}" if start else ""
            found.append(_Sheet(f"{name}{more}", name, words, table.iloc[start:start + rows]))
    return found


class _Formats:
    """Cell formats by the text of their number format, each made once."""

    def __init__(self, book: xlsxwriter.Workbook) -> None:
        self._book = book
        self._known: dict[str, Any] = {}
        self.title = book.add_format({"bold": True, "font_size": 15})
        self.head = book.add_format({"bold": True, "bg_color": "#eceae3", "border": 1, "border_color": "#8a8f94",
                                     "text_wrap": True, "valign": "top"})
        self.wrap = book.add_format({"text_wrap": True, "valign": "top"})
        self.link = book.add_format({"font_color": "#1f5f6b", "underline": 1, "valign": "top"})
        self.top = book.add_format({"valign": "top", "num_format": "#,##0", "align": "left"})

    def of(self, field: Field) -> Any:
        """The format of a column; None for text."""
        if field.kind in {"text", "choice", "flag"}:
            return None
        code = _FORMATS.get(field.unit, _OF_KIND[field.kind]) if field.kind != "date" else _OF_KIND["date"]
        if code not in self._known:
            room = "" if code in {"General", _OF_KIND["date"]} else "_)"  # before a text in the next column
            self._known[code] = self._book.add_format({"num_format": f"{code}{room}"})
        return self._known[code]


def _contents(book: xlsxwriter.Workbook, formats: _Formats, sheets: Sequence[_Sheet], about: Mapping[str, str]) -> None:
    page = book.add_worksheet("Contents")
    for column, width in enumerate((24, 70, 12, 44)):
        page.set_column(column, column, width)
    page.write_string(0, 0, "Tables of a plan", formats.title)
    row = 1
    for name, words in about.items():
        page.write_string(row, 0, name, formats.wrap)
        page.write_string(row, 1, str(words), formats.wrap)
        row += 1
    row += 1
    for column, head in enumerate(("Sheet", "What a row is", "Rows", "What rests on estimates")):
        page.write_string(row, column, head, formats.head)
    for sheet in sheets:
        row += 1
        target = sheet.name.replace("'", "''")
        page.write_url(row, 0, f"internal:'{target}'!A1", formats.link, sheet.name)
        page.write_string(row, 1, sheet.described.meaning, formats.wrap)
        page.write_number(row, 2, len(sheet.frame), formats.top)
        page.write_string(row, 3, _estimated(sheet.frame), formats.wrap)
    page.set_landscape()
    page.fit_to_pages(1, 0)


def _estimated(frame: pd.DataFrame) -> str:
    if frame.empty or "estimated" not in frame or not pd.api.types.is_bool_dtype(frame["estimated"].dtype):
        return ""
    size = int(frame["estimated"].fillna(False).sum())
    if not size:
        return "No row: all rest on counts"
    return (f"{size:,} of {count(len(frame), 'row')} {'rests' if size == 1 else 'rest'} on an index, a rating or a "
            "word")


def _columns(book: xlsxwriter.Workbook, formats: _Formats, sheets: Sequence[_Sheet]) -> None:
    page = book.add_worksheet("Columns")
    for column, (head, width) in enumerate((("Sheet", 20), ("Column", 26), ("What it holds", 80), ("Unit", 16),
                                            ("Limits", 40), ("May be empty", 14))):
        page.set_column(column, column, width)
        page.write_string(0, column, head, formats.head)
    row = 0
    for sheet in {sheet.table: sheet for sheet in sheets}.values():
        for field in sheet.described.fields:
            row += 1
            words = (sheet.table, field.name, field.about, unit(field.unit), "; ".join(limits(field)),
                     "no" if field.required else "yes")
            for column, text in enumerate(words):
                page.write_string(row, column, text, formats.wrap)
    page.freeze_panes(1, 2)
    page.autofilter(0, 0, max(row, 1), 5)
    page.set_landscape()
    page.fit_to_pages(1, 0)
    page.repeat_rows(0)


def _write(book: xlsxwriter.Workbook, formats: _Formats, sheet: _Sheet) -> None:
    """One sheet: the head frozen with the column that names the row, a filter, widths, a number format by unit."""
    page, fields = book.add_worksheet(sheet.name), sheet.described.fields
    columns = [_cells(field, sheet.frame[field.name]) for field in fields]
    for column, (field, values) in enumerate(zip(fields, columns, strict=True)):
        page.set_column(column, column, _width(field, values), formats.of(field))
        page.write_string(0, column, field.name, formats.head)
    shapes = [formats.of(field) for field in fields]
    writers = [_writer(page, field) for field in fields]
    for row, cells in enumerate(zip(*columns, strict=True), start=1):
        for column, value in enumerate(cells):
            if value is not None:
                writers[column](row, column, value, shapes[column])
    page.freeze_panes(1, 1 if fields[0].name.endswith("_id") else 0)
    page.autofilter(0, 0, max(len(sheet.frame), 1), len(fields) - 1)
    page.set_landscape()
    page.fit_to_pages(1, 0)
    page.repeat_rows(0)


def _writer(page: Any, field: Field) -> Any:
    if field.kind in {"text", "choice"}:
        return page.write_string
    if field.kind == "flag":
        return page.write_boolean
    return page.write_datetime if field.kind == "date" else page.write_number


def _cells(field: Field, column: pd.Series) -> list[Any]:
    """The cells of a column as the sheet holds them; None for an empty one, and for a number that is not finite."""
    if field.kind in {"text", "choice"}:
        return [_cut(text) if isinstance(text, str) and text else None for text in column.astype(object).tolist()]
    if field.kind == "flag":
        return [None if absent else bool(value) for value, absent in
                zip(column.astype(object).tolist(), column.isna().tolist(), strict=True)]
    if field.kind == "date":
        return [None if value is pd.NaT else value.to_pydatetime() for value in column.tolist()]
    numbers = column.to_numpy(np.float64, na_value=np.nan)
    numbers = np.round(numbers, 2) if field.name.endswith("_usd") else numbers
    return [value if isfinite(value) else None for value in numbers.tolist()]


def _cut(text: str) -> str:
    return text if len(text) <= _LETTERS else text[:_LETTERS - len(_CUT)] + _CUT


def _width(field: Field, values: Sequence[Any]) -> float:
    """Characters that show the name and most of the values, within reason."""
    longest = max((len(value) for value in values[:_SAMPLE] if isinstance(value, str)), default=12)
    return float(min(max(len(field.name) + 3, longest + 1, 9), 60))
