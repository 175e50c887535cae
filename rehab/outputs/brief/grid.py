"""Tables that go on from page to page with their heads."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final, NamedTuple

from rehab.outputs.brief.lines import lines, measured
from rehab.outputs.brief.marks import ACCENT, GREY, INK, PALE, Box, Line, Words
from rehab.outputs.brief.pages import SIDE, Pages, height_of, leading
from rehab.plan.brief.model import Grid

_SIZES: Final = (9.5, 8.5, 7.5, 6.5)  #: the first in which no number has to be broken
_TITLE, _EMPTY = 12.5, 10.5
_PAD, _BETWEEN = 3.0, 10.0
_FIRST_ROWS: Final = 2  #: rows that stay with the head
_WHOLE: Final = 0.45  #: tables up to this share of a page stand on one page
_SENTENCE: Final = 260.0  #: points from which a text of the last column stands under its row
_INDENT: Final = 14.0


class _Columns(NamedTuple):
    """Left edges and widths of the columns in points, and which are flush right.

    ``under``: the last column holds sentences, which stand under the rest of their row over the page's whole width.
    """

    left: list[float]
    width: list[float]
    right: frozenset[int]
    size: float
    under: bool


def draw(pages: Pages, grid: Grid) -> None:
    """Put a table on the pages, with its title; an empty one says so."""
    if not grid.rows:
        pages.need(leading(_TITLE) + leading(_EMPTY) + 4)
        _title(pages, grid)
        pages.text(grid.empty, _EMPTY, gap=12)
        return
    columns = _columns(pages, grid)
    head, rows = _cells(grid.head, columns, True), [_cells(row, columns, False) for row in grid.rows]
    whole = height(pages, grid)
    first = [head, *rows[:_FIRST_ROWS]]
    # A small table is not broken; a large one takes some rows along with its head.
    pages.need(whole if whole < _WHOLE * pages.full else min(
        pages.full, _title_height(pages, grid) + sum(_height(row, columns) for row in first)))
    _title(pages, grid)
    _row(pages, head, columns, head=True)
    last = _cells(grid.total, columns, True) if grid.total else []
    total = _height(last, columns) if last else 0.0
    for at, row in enumerate(rows):
        for part in _parts(row, columns, pages.full - _height(head, columns)):
            keep = total if at == len(rows) - 1 and total < pages.full / 2 else 0.0  # the total never stands alone
            if pages.need(_height(part, columns) + keep):
                _row(pages, head, columns, head=True)
            _row(pages, part, columns)
    if last:
        pages.need(total)
        _row(pages, last, columns, bold=True)
    pages.skip(14)


def height(pages: Pages, grid: Grid) -> float:
    """Height of a table in points, if it stood on one page."""
    if not grid.rows:
        return _title_height(pages, grid) + height_of(grid.empty, pages.room, _EMPTY) + 12
    columns = _columns(pages, grid)
    cells = [_cells(row, columns, False) for row in grid.rows]
    cells += [_cells(row, columns, True) for row in (grid.head, grid.total) if row]
    return _title_height(pages, grid) + sum(_height(row, columns) for row in cells) + 14


def _title(pages: Pages, grid: Grid) -> None:
    if grid.title:
        pages.text(grid.title, _TITLE, bold=True, colour=ACCENT, gap=3)


def _title_height(pages: Pages, grid: Grid) -> float:
    return height_of(grid.title, pages.room, _TITLE, True) + 3 if grid.title else 0.0


def _columns(pages: Pages, grid: Grid) -> _Columns:
    """Widths by the shares that are given, or by what is written; a column is as wide as its longest word at least."""
    bold = [row for row in (grid.head, grid.total) if row]
    under = len(grid.head) > 3 and len(grid.head) - 1 not in grid.right and \
        max(measured(row[-1], _SIZES[0]) for row in grid.rows) > _SENTENCE
    count = len(grid.head) - under
    room = pages.room - _BETWEEN * (count - 1)
    for size in _SIZES:
        words = [max(measured(word, size, row in bold) for row in (*bold, *grid.rows) for word in row[at].split(" "))
                 for at in range(count)]
        if sum(words) <= room:
            break
    # Shares are meant for columns beside each other; without the sentences, what is written decides.
    shares = () if under else grid.widths
    width = _at_least(words, [room * share / sum(shares) for share in shares] or _natural(grid, count, size, room))
    left = [SIDE + sum(width[:at]) + _BETWEEN * at for at in range(count)]
    if under:
        left, width = [*left, SIDE + _INDENT], [*width, pages.room - _INDENT]
    return _Columns(left, width, grid.right, size, under)


def _natural(grid: Grid, count: int, size: float, room: float) -> list[float]:
    """Widths of what is written, with the rest spread evenly; narrower in proportion where there is no rest."""
    rows = [grid.head, *grid.rows, *([grid.total] if grid.total else [])]
    wanted = [max(measured(row[at], size, True) for row in rows) for at in range(count)]
    spare = (room - sum(wanted)) / count
    return [want + spare for want in wanted] if spare >= 0 else [room * want / sum(wanted) for want in wanted]


def _at_least(least: list[float], wanted: list[float]) -> list[float]:
    """The widths that are wanted, with what some lack taken from those that have more than they need."""
    lack = sum(max(0.0, low - want) for low, want in zip(least, wanted, strict=True))
    spare = sum(max(0.0, want - low) for low, want in zip(least, wanted, strict=True))
    if not lack or not spare:
        return wanted
    keep = max(0.0, 1 - lack / spare)
    return [low if want <= low else low + (want - low) * keep for low, want in zip(least, wanted, strict=True)]


def _cells(row: Sequence[str], columns: _Columns, bold: bool) -> list[list[str]]:
    return [lines(text, width + 0.01, columns.size, bold) for text, width in zip(row, columns.width, strict=True)]


def _beside(cells: list[list[str]], columns: _Columns) -> int:
    """Lines of the cells that stand beside each other."""
    return max(len(cell) for cell in (cells[:-1] if columns.under else cells))


def _height(cells: list[list[str]], columns: _Columns) -> float:
    under = len(cells[-1]) if columns.under and any(cells[-1]) else 0
    return (_beside(cells, columns) + under) * leading(columns.size) + 2 * _PAD


def _parts(cells: list[list[str]], columns: _Columns, most: float) -> Iterator[list[list[str]]]:
    """A row in parts that fit on a page: one, unless a cell is longer than a page."""
    count = max(1, int((most - 2 * _PAD) / leading(columns.size) / (2 if columns.under else 1)))
    for start in range(0, max(len(cell) for cell in cells), count):
        yield [cell[start:start + count] for cell in cells]


def _row(pages: Pages, cells: list[list[str]], columns: _Columns, *, head: bool = False, bold: bool = False) -> None:
    high, top, size = _height(cells, columns), pages.y, columns.size
    if head:
        pages.put(Box(SIDE, top - high, pages.room, high, PALE))
    if bold:
        pages.put(Line(SIDE, top, SIDE + pages.room, top, 1.2, INK))
    most = _beside(cells, columns)
    for at, cell in enumerate(cells):
        below = columns.under and at == len(cells) - 1
        flush = at in columns.right
        x = columns.left[at] + (columns.width[at] if flush else 0.0)
        # A head of several lines stands on the same foot as the others; sentences stand under them.
        skipped = most if below else most - len(cell) if head else 0
        for number, text in enumerate(cell, 1 + skipped):
            pages.put(Words(x, top - _PAD - number * leading(size) + 0.3 * size, text, size, head or bold,
                            GREY if head or below else INK, "end" if flush else "start"))
    pages.put(Line(SIDE, top - high, SIDE + pages.room, top - high, 1.0 if head else 0.5,
                   GREY if head else "#d9dbd7"))
    pages.skip(high)
