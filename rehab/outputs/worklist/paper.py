"""A worksheet as a page: a cursor that writes titles, pairs, tables and boxes down a grid of twelve columns."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import ceil
from typing import Any, Final

import pandas as pd
import xlsxwriter

from rehab.outputs.words import known

COLUMNS: Final = 12
WIDTH: Final = 8.6  #: characters per column
_LINE: Final = 11.8  #: points per line of nine-point text


class Paper:
    """Writes a sheet from the top down.  Text is always text: nothing becomes a formula or a link."""

    def __init__(self, book: xlsxwriter.Workbook, formats: dict[str, Any], name: str,
                 widths: Sequence[float] | None = None):
        self.widths = list(widths or [WIDTH] * COLUMNS)
        self.sheet = book.add_worksheet(name)
        self.formats = formats
        self.row = 0
        self._breaks: list[int] = []
        for column, width in enumerate(self.widths):
            self.sheet.set_column(column, column, width)

    def print_setup(self, title: str, *, landscape: bool, repeat: int) -> None:
        """Letter paper, one page wide, the first ``repeat`` rows on every page, page numbers at the foot."""
        if landscape:
            self.sheet.set_landscape()
        else:
            self.sheet.set_portrait()
        self.sheet.set_paper(1)
        self.sheet.set_margins(left=0.5, right=0.5, top=0.6, bottom=0.7)
        self.sheet.fit_to_pages(1, 0)
        if self._breaks:
            self.sheet.set_h_pagebreaks(self._breaks)
        if repeat:
            self.sheet.repeat_rows(0, repeat - 1)
        self.sheet.set_footer(f"&L{title.replace('&', '&&')[:150]}&RPage &P of &N")

    def line(self, text: str, style: str = "text", *, lines: int = 0) -> None:
        """One text across the page, as many lines high as it needs."""
        self._across(0, len(self.widths) - 1, text, style)
        self._height(lines or _lines(text, sum(self.widths)))

    def next_page(self) -> None:
        """What follows begins on a page of its own, in programs that heed page breaks on pages fitted to a width."""
        self._breaks.append(self.row)

    def section(self, text: str) -> None:
        """A heading with some room above it."""
        self.sheet.set_row(self.row, 6)
        self.row += 1
        self.line(text, "section")

    def pairs(self, rows: Sequence[tuple[str, Any]], *, across: int = 3) -> None:
        """Labels and values, ``across`` pairs a row, each over its part of the grid."""
        part = len(self.widths) // across
        for start in range(0, len(rows), across):
            height = 1
            for place, (label, value) in enumerate(rows[start:start + across]):
                left = place * part
                middle = left + ceil(part / 2) - 1
                self._across(left, middle, label, "label")
                self._across(middle + 1, left + part - 1, value, "value")
                height = max(height, _lines(label, sum(self.widths[left:middle + 1])),
                             _lines(str(value), sum(self.widths[middle + 1:left + part])))
            self._height(height)

    def table(self, spans: Sequence[int], head: Sequence[str], rows: Iterable[Sequence[Any]], *,
              tall: bool = False) -> None:
        """A table whose columns take ``spans`` columns of the grid each, without a head if that is empty.

        ``tall`` leaves room to write by hand.
        """
        if head:
            self._cells(spans, head, "head")
        for row in rows:
            self._cells(spans, row, "cell", at_least=2 if tall else 1)

    def blank(self) -> None:
        """An empty row."""
        self.row += 1

    def link(self, row: int, column: int, sheet: str, text: str) -> None:
        """Make a cell a link to another sheet of the workbook."""
        target = "internal:'{}'!A1".format(sheet.replace("'", "''"))
        self.sheet.write_url(row, column, target, self.formats["link"], text)

    def _cells(self, spans: Sequence[int], values: Sequence[Any], style: str, at_least: int = 1) -> None:
        left, height = 0, at_least
        for span, value in zip(spans, values, strict=True):
            self._across(left, left + span - 1, value, style)
            if isinstance(value, str):
                height = max(height, _lines(value, sum(self.widths[left:left + span])))
            left += span
        self._height(height)

    def _height(self, lines: int) -> None:
        self.sheet.set_row(self.row, _LINE * max(lines, 1) + 3)
        self.row += 1

    def _across(self, left: int, right: int, value: Any, style: str) -> None:
        """One value over columns left to right; numbers and dates keep their kind, the rest is written as text."""
        shape = self.formats[_style(value, style)]
        if right > left:
            self.sheet.merge_range(self.row, left, self.row, right, "", shape)
        if not known(value):
            self.sheet.write_blank(self.row, left, None, shape)
        elif isinstance(value, pd.Timestamp):
            self.sheet.write_datetime(self.row, left, value.to_pydatetime(), shape)
        elif isinstance(value, int | float) and not isinstance(value, bool):
            self.sheet.write_number(self.row, left, value, shape)
        else:
            self.sheet.write_string(self.row, left, str(value), shape)


def formats_of(book: xlsxwriter.Workbook) -> dict[str, Any]:
    """The cell formats of a workbook by name, to be made once."""
    base = {"font_name": "Arial", "font_size": 9, "valign": "top", "text_wrap": True}
    box, pale = {**base, "border": 1, "border_color": "#8a8f94"}, {"bg_color": "#eceae3"}
    shapes: dict[str, dict[str, Any]] = {
        "title": {**base, "font_size": 15, "bold": True}, "text": base,
        "section": {**base, "font_size": 11, "bold": True, "bottom": 2},
        "warning": {**box, "bold": True, "bg_color": "#fdf3dc"},
        "label": {**base, "font_color": "#55606a"}, "value": {**base, "align": "left"},
        "head": {**box, **pale, "bold": True}, "cell": box, "link": {**box, "font_color": "#1f5f6b", "underline": 1},
    }
    for kind in ("cell", "value"):
        side = {"align": "right"} if kind == "cell" else {}
        shapes[f"{kind} whole"] = {**shapes[kind], **side, "num_format": "#,##0_)"}
        shapes[f"{kind} number"] = {**shapes[kind], **side, "num_format": "#,##0.0_)"}
        written = "ddd d mmm yyyy" if kind == "value" else "d mmm yyyy"
        shapes[f"{kind} date"] = {**shapes[kind], "align": "left", "num_format": written}
    return {name: book.add_format(shape) for name, shape in shapes.items()}


def sheet_name(wanted: str, taken: set[str]) -> str:
    """A name that a spreadsheet takes: 31 characters at most, without []:*?/\\ or outer apostrophes, unique.

    ``taken`` holds the names in use, in lower case, and is added to.
    """
    clean = "".join("-" if letter in "[]:*?/\\" or not letter.isprintable() else letter for letter in wanted)
    clean = clean.strip().strip("'").strip() or "Block"
    name, number = clean[:31].rstrip("' "), 1
    while name.lower() in taken or name.lower() == "history":
        number += 1
        tail = f" ({number})"
        name = clean[:31 - len(tail)] + tail
    taken.add(name.lower())
    return name


def _style(value: Any, style: str) -> str:
    if style not in {"cell", "value"} or isinstance(value, bool):
        return style
    if isinstance(value, pd.Timestamp) and known(value):
        return f"{style} date"
    if isinstance(value, int | float) and known(value):
        return f"{style} whole" if float(value).is_integer() else f"{style} number"
    return style


def _lines(text: str, characters: float) -> int:
    """Lines that a text takes in a width, a little on the safe side since letters differ in width."""
    room = max(characters * 1.25, 1)
    return sum(max(1, ceil(len(part) / room)) for part in text.split("\n"))
