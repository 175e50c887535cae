"""A worksheet as a page: a cursor that writes titles, pairs, tables and boxes down a grid of columns."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from datetime import datetime
from functools import lru_cache
from io import BytesIO
from math import ceil
from typing import Any, Final, Literal

import pandas as pd
import xlsxwriter

from rehab.base.tables.site import ENTRIES
from rehab.outputs.drawings import Drawing, as_png
from rehab.outputs.drawings.lettering import width as width_of
from rehab.outputs.words import known
from rehab.outputs.worklist.formats import BARE, LETTERS, formats_of, style_of
from rehab.outputs.worklist.sheet import Figure, Key

COLUMNS: Final = 12
WIDTH: Final = 8.6  #: characters per column
_LINE: Final = 1.25  #: from one line to the next, in sizes of its letters
_TALL: Final = 19.0  #: points of a row to write in by hand
_MOST: Final = 409.0  #: points; a spreadsheet has no higher row
_SAFE: Final = 1.02  #: letters on a screen may be so much wider than measured
_POINTS: Final = 0.75  #: in a dot of the screen
_DOTS: Final = 1.7  #: of a picture to a point
#: name of the paper -> number by which a spreadsheet knows it (ECMA-376, part 1, 18.3.1.63)
_PAPERS: Final = {"letter": 1, "A4": 9}


class Paper:
    """Writes a sheet from the top down.  Text is always text: nothing becomes a formula or a link."""

    def __init__(self, book: xlsxwriter.Workbook, formats: dict[str, Any], name: str,
                 widths: Sequence[float] | None = None, *, paper: Literal["letter", "A4"] = "letter",
                 landscape: bool = False):
        self.widths = list(widths or [WIDTH] * COLUMNS)
        self.sheet = book.add_worksheet(name)
        self.formats = formats
        self.row = 0
        self._paper, self._landscape = _PAPERS[paper], landscape
        self._breaks: list[int] = []
        self._dots = [int(7 * one + 5) for one in self.widths]  # of a column, as spreadsheets count them
        self._repeat = 0
        self._top, self._spans = 0, [1]  # first row of the last table, and its spans
        self._keyed = False
        for column, one in enumerate(self.widths):
            self.sheet.set_column(column, column, one)

    def print_setup(self, title: str, *, landscape: bool, repeat: int) -> None:
        """One page wide, the first ``repeat`` rows on every page, page numbers at the foot."""
        if landscape:
            self.sheet.set_landscape()
        else:
            self.sheet.set_portrait()
        self.sheet.set_paper(self._paper)
        self.sheet.set_margins(left=0.5, right=0.5, top=0.4, bottom=0.55)
        self.sheet.fit_to_pages(1, 0)
        if self._breaks:
            self.sheet.set_h_pagebreaks(self._breaks)
        if repeat:
            self.sheet.repeat_rows(0, repeat - 1)
        self.sheet.set_footer(f"&L{title.replace('&', '&&')[:150]}&RPage &P of &N")

    def line(self, text: str, style: str = "text", *, lines: int = 0) -> None:
        """One text across the page, as many lines high as it needs."""
        self._across(0, len(self.widths) - 1, text, style)
        needed = self._lines(text, 0, len(self.widths), style)
        self._height(max(needed * _LINE * LETTERS.get(style, 9), lines * _LINE * 9) + 3)

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
                middle = left + ceil(part / 2)
                self._across(left, middle - 1, label, "label")
                self._across(middle, left + part - 1, value, "value")
                height = max(height, self._lines(label, left, middle),
                             self._lines(value if isinstance(value, str) else "", middle, left + part))
            self._height(height * _LINE * 9 + 3)

    def table(self, spans: Sequence[int], head: Sequence[str], rows: Iterable[Sequence[Any]], *,
              tall: bool = False, keys: Sequence[Key] | None = None) -> None:
        """A table whose columns take ``spans`` columns of the grid each, without a head if that is empty.

        ``tall`` leaves room to write by hand.  A row with a key holds it, as JSON, in a hidden cell past the grid, and
        its cells under the headings of :data:`~rehab.base.tables.site.ENTRIES` take numbers alone.
        """
        if head:
            self._cells(spans, head, "head")
        self._top, self._spans = self.row, list(spans)
        entered = self._entered(head, keys)
        for index, row in enumerate(rows):
            if keys is not None:
                self.sheet.write_string(self.row, len(self.widths), json.dumps(list(keys[index])))
            self._cells(spans, row, "cell", _TALL if tall else 0.0, entered)
        if keys is not None:
            self._take_numbers([sum(spans[:place]) for place in entered])
        if not head and self._top == self._repeat and self.row > self._top:  # a list below the head of every page
            self.sheet.autofilter(self._top - 1, 0, self.row - 1, len(self.widths) - 1)

    def blank(self) -> None:
        """An empty row."""
        self.row += 1

    def picture(self, drawing: Drawing) -> None:
        """A drawing as an image, as wide as the sheet or as it is."""
        wide = drawing.width / _POINTS
        scale = min(1.0, sum(self._dots) / wide, (_MOST - 6) / drawing.height)
        self.sheet.insert_image(self.row, 0, "drawing.png", {
            "image_data": BytesIO(as_png(drawing, scale=_DOTS)), "x_scale": scale, "y_scale": scale, "y_offset": 2,
            "object_position": 2, "description": drawing.about[:255]})
        self._height(drawing.height * scale + 6)

    def plan(self, drawing: Drawing) -> None:
        """Where the drawing is found, since a spreadsheet keeps no scale."""
        self.line(f"{drawing.title}: to scale in the PDF of this list.", "small")

    def link(self, text: str, sheet: str, *, table_row: int, column: int) -> None:
        """Make a cell of the last table a link to another sheet of the workbook."""
        target = "internal:'{}'!A1".format(sheet.replace("'", "''"))
        self.sheet.write_url(self._top + table_row, sum(self._spans[:column]), target, self.formats["link"], text)

    def repeat_above(self) -> None:
        """All that is written so far stands on top of every page, and stays in sight on a screen."""
        self._repeat = self.row
        self.sheet.freeze_panes(self.row, 0)

    def finish(self, foot: str) -> None:
        """Set the sheet up for print; where entries are read back, all but what is filled in is kept from changes."""
        self.print_setup(foot, landscape=self._landscape, repeat=self._repeat)
        if self._keyed:
            self.sheet.set_column(len(self.widths), len(self.widths), None, None, {"hidden": True})
            self.sheet.protect("", {"format_cells": True, "format_columns": True, "format_rows": True})

    def _entered(self, head: Sequence[str], keys: Sequence[Key] | None) -> list[int]:
        """The columns of a table in which actual sizes or quantities are entered."""
        if not keys:
            return []
        self._keyed = True
        return [place for place, words in enumerate(head) if words in ENTRIES[keys[0].kind]]

    def _take_numbers(self, columns: Sequence[int]) -> None:
        for column in columns:
            self.sheet.data_validation(self._top, column, self.row - 1, column, {
                "validate": "decimal", "criteria": ">=", "value": 0, "error_title": "Not a size or quantity",
                "error_message": "Enter a number that is zero or more, without a unit; leave it empty if it was not "
                                 "measured."})

    def _cells(self, spans: Sequence[int], values: Sequence[Any], style: str, least: float = 0.0,
               entered: Sequence[int] = ()) -> None:
        left, lines = 0, 1
        for place, (span, value) in enumerate(zip(spans, values, strict=True)):
            self._across(left, left + span - 1, value, "entry" if place in entered else style)
            if isinstance(value, str):
                lines = max(lines, self._lines(value, left, left + span, style))
            left += span
        self._height(max(lines * _LINE * 9 + 3, least))

    def _height(self, points: float) -> None:
        self.sheet.set_row(self.row, min(points, _MOST))
        self.row += 1

    def _lines(self, text: str, left: int, right: int, style: str = "text") -> int:
        """Lines that a text takes over columns left to right, the last not included."""
        room = (sum(self._dots[left:right]) - 4) * _POINTS
        return _count(text, room, LETTERS.get(style, 9), style in {"head", "section", "title", "warning"})

    def _across(self, left: int, right: int, value: Any, style: str) -> None:
        """One value over columns left to right; numbers and dates keep their kind, the rest is written as text."""
        shape = self.formats[style_of(value, style)]
        if isinstance(value, Figure):
            value = value.value
        elif not known(value):
            value = None
        elif isinstance(value, pd.Timestamp):
            value = value.to_pydatetime()
        elif isinstance(value, bool) or not isinstance(value, int | float):
            value = str(value)
        if right > left:  # cells without a border need nothing but the first one written
            self.sheet.merge_range(self.row, left, self.row, right, "", None if style in BARE else shape)
        write = (self.sheet.write_blank if value is None else self.sheet.write_string if isinstance(value, str) else
                 self.sheet.write_number if isinstance(value, int | float) else self.sheet.write_datetime)
        if value is not None or right == left:
            write(self.row, left, value, shape)


class Workbook:
    """All sheets of an XLSX file; nothing in it is a formula or leads outside it."""

    def __init__(self, title: str, year: int, paper: Literal["letter", "A4"] = "letter"):
        if paper not in _PAPERS:
            raise ValueError(f"'{paper}' is not one of {', '.join(_PAPERS)}")
        self._stream = BytesIO()
        self._paper = paper
        self._book = xlsxwriter.Workbook(self._stream, {
            "in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False,
            # widths of columns count in digits of this font; machines without office fonts have one as wide as Arial
            "default_format_properties": {"font_name": "Arial", "font_size": 10}})
        self._book.set_properties({"title": title, "created": datetime(year, 1, 1)})
        self._formats = formats_of(self._book)

    def sheet(self, name: str, widths: Sequence[float] | None = None, *, landscape: bool = False) -> Paper:
        """A new sheet; ``name`` as :func:`sheet_name` gives it."""
        return Paper(self._book, self._formats, name, widths, paper=self._paper, landscape=landscape)

    def file(self) -> bytes:
        """The bytes of the file, which can then not be added to."""
        self._book.close()
        return self._stream.getvalue()


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


@lru_cache(maxsize=65_536)
def _count(text: str, room: float, size: float, bold: bool) -> int:
    """Lines of at most ``room`` points that a text takes, broken at blanks, and inside a word that is longer."""
    lines, blank = 0, width_of(" ", size, bold) * _SAFE
    for part in text.split("\n"):
        lines, used = lines + 1, 0.0
        for word in part.split(" "):
            wide = width_of(word, size, bold) * _SAFE
            if used and used + blank + wide > room:
                lines, used = lines + 1, 0.0
            elif used:
                used += blank
            used += wide
            if used > room > 0:
                lines += ceil(used / room) - 1
                used %= room
    return max(lines, 1)
