"""Rows of cells as a PDF has them: text measured and wrapped, with or without boxes round it, in black and greys."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from functools import lru_cache
from math import floor
from numbers import Real
from typing import Any, Final, Literal, NamedTuple

import pandas as pd

from rehab.outputs.drawings.lettering import clean, fitted, width, wrapped
from rehab.outputs.drawings.marks import Drawing, Mark, Path, Pen, Point, Rect, Words
from rehab.outputs.words import known
from rehab.outputs.worklist.sheet import Figure

_BLACK: Final = "#000000"
_RIM: Final = Pen("#6e6e6e", 0.5)
LEADING: Final = 1.24  #: from one line to the next, in sizes of its letters
_LEAST: Final = 6.0  #: points of the letters in a head
_BASE: Final = 0.98  #: from the top of a line to its base, in sizes of its letters


class Look(NamedTuple):
    """How a row looks: size of its letters, their colour, what is drawn round it, and room within in points."""

    size: float
    bold: bool = False
    colour: str = _BLACK
    rim: Literal["none", "box", "below"] = "none"
    fill: str | None = None
    beside: float = 0.0
    above: float = 1.5


LOOKS: Final[dict[str, Look]] = {
    "text": Look(8.5),
    "title": Look(15.0, True),
    "section": Look(11.0, True, rim="below"),
    "warning": Look(8.5, True, rim="box", fill="#ececec", beside=4.0, above=3.0),
    "small": Look(7.0, colour="#4c4c4c"),
    "label": Look(8.5, colour="#4c4c4c"),
    "head": Look(8.5, True, rim="box", fill="#e4e4e4", beside=3.0, above=2.0),
    "cell": Look(8.5, rim="box", beside=3.0, above=2.0),
}


class Cell(NamedTuple):
    """Lines of text in a part of the page's width, in points from the left margin; ``rule`` is one to write on."""

    left: float
    width: float
    lines: tuple[str, ...]
    right: bool = False
    look: Look | None = None
    rule: bool = False


@dataclass
class Row:
    """Cells side by side, or a picture, as high as ``height`` points; ``marks`` count from its top."""

    height: float
    cells: list[Cell]
    look: Look
    shapes: list[Mark] = field(default_factory=list)
    words: list[Words] = field(default_factory=list)
    picture: tuple[Drawing, float] | None = None


def shown(value: Any, style: str = "cell") -> str:
    """A value as the workbook shows it; '' if it is missing.

    Numbers with separators, with the decimals that a :class:`~rehab.outputs.worklist.sheet.Figure` asks for, else one
    unless they are whole, a half away from zero as spreadsheets round; dates as '5 Apr 2027', in the style ``value``
    with the day of the week.
    """
    if isinstance(value, str):
        return value
    if isinstance(value, Figure):
        return _rounded(value.value, value.digits, value.before) if known(value.value) else ""
    if not known(value):
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, date):  # a Timestamp is one too
        written = f"{value.day} {pd.Timestamp(value):%b %Y}"
        return f"{pd.Timestamp(value):%a} {written}" if style == "value" else written
    if isinstance(value, Real):
        return _rounded(float(value), 0 if float(value).is_integer() else 1, "")
    return str(value)


def _rounded(value: float, digits: int, before: str) -> str:
    size = Decimal(repr(abs(float(value)))).quantize(Decimal(1).scaleb(-digits), ROUND_HALF_UP)
    return f"{'-' if value < 0 and size else ''}{before}{size:,}"


def cell(value: Any, left: float, wide: float, look: Look, style: str = "cell") -> Cell:
    """A cell with its text in lines that fit; numbers of a table stand at the right, what misses is for a pen."""
    if value is None:
        return Cell(left, wide, (), False, look, style == "value")
    right = style == "cell" and isinstance(value, Real | Figure) and not isinstance(value, bool)
    return Cell(left, wide, _lines(shown(value, style), wide - 2 * look.beside, look.size, look.bold), right, look)


def head_look(texts: Sequence[str], widths: Sequence[float]) -> Look:
    """How the head of a table looks: its letters as small as the longest words need, down to a limit."""
    look = LOOKS["head"]
    parts = [(wide - 2 * look.beside) / width(clean(word), 1.0, look.bold)
             for text, wide in zip(texts, widths, strict=True) for word in str(text).split()]
    return look._replace(size=min(look.size, max(_LEAST, floor(10 * min(parts, default=look.size)) / 10)))


@lru_cache(maxsize=4096)
def _lines(text: str, room: float, size: float, bold: bool) -> tuple[str, ...]:
    """A text in lines that fit; cautions and checklists stand on many sheets."""
    return tuple(line for part in text.split("\n") for line in wrapped(clean(part), room, size, bold))


def rows(cells: Sequence[Cell], look: Look, most: float, least: float = 0.0) -> Iterator[Row]:
    """One row, or as many as it takes where its text is higher than ``most`` points, a page."""
    step = look.size * LEADING
    room = max(1, int((most - 2 * look.above) / step))
    count = max(1, *(len(one.lines) for one in cells))
    for start in range(0, count, room):
        part = [one._replace(lines=one.lines[start:start + room]) for one in cells] if count > room else list(cells)
        height = max(min(count - start, room) * step + 2 * look.above, min(least, most))
        row = Row(height, part, look)
        row.shapes = list(_shapes(row))
        row.words = [words for one in part for words in _words(one, look)]
        yield row


def room(points: float) -> Row:
    """Some white."""
    return Row(points, [], LOOKS["text"])


def picture(drawing: Drawing, wide: float, most: float) -> Row:
    """A picture as it is, or as large as the page holds."""
    scale = min(1.0, wide / drawing.width, (most - 6) / drawing.height)
    return Row(drawing.height * scale + 6, [], LOOKS["text"], picture=(drawing, scale))


def relabel(row: Row, column: int, text: str) -> None:
    """Put another text into a cell, underlined, as links are; in one line if it would need more room than there is."""
    one = row.cells[column]
    look = one.look or row.look
    room = one.width - 2 * look.beside
    lines = _lines(text, room, look.size, look.bold)
    if len(lines) * look.size * LEADING + 2 * look.above > row.height + 1e-6:
        lines = (fitted(clean(text), room, look.size, look.bold),)
    row.cells[column] = one._replace(lines=lines, right=False)
    row.words = [words for cell in row.cells for words in _words(cell, row.look)]
    under: list[tuple[Point, ...]] = []
    for words in _words(row.cells[column], row.look):
        end = words.x + width(words.text, words.size, words.bold)
        under.append(((words.x, words.y + 1.2), (end, words.y + 1.2)))
    row.shapes.append(Path(tuple(under), Pen(_BLACK, 0.4)))


def _words(one: Cell, look: Look) -> Iterator[Words]:
    look = one.look or look
    step, base = look.size * LEADING, look.above + look.size * _BASE
    x = one.left + one.width - look.beside if one.right else one.left + look.beside
    anchor: Literal["start", "end"] = "end" if one.right else "start"
    for index, line in enumerate(one.lines):
        if line:
            yield Words(x, base + index * step, line, look.size, look.bold, look.colour, anchor)


def _shapes(row: Row) -> Iterator[Mark]:
    look = row.look
    left, right = row.cells[0].left, row.cells[-1].left + row.cells[-1].width
    if look.fill:
        yield Rect(left, 0, right - left, row.height, None, look.fill)
    rules = tuple(((one.left, row.height - 1), (one.left + one.width - 6, row.height - 1))
                  for one in row.cells if one.rule)
    if rules:
        yield Path(rules, _RIM)
    if look.rim == "below":
        yield Path((((left, row.height), (right, row.height)),), Pen(_BLACK, 1.0))
    if look.rim == "box":
        level: tuple[tuple[Point, ...], ...] = tuple(((left, y), (right, y)) for y in (0.0, row.height))
        upright: tuple[tuple[Point, ...], ...] = tuple(((x, 0.0), (x, row.height))
                                                       for x in (*(one.left for one in row.cells), right))
        yield Path((*level, *upright), _RIM)
