"""One sheet of the list as pages: what is written flows from the top down and breaks where a page is full."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from itertools import accumulate, pairwise
from math import ceil
from typing import Any, Final

from rehab.outputs.drawings import Drawing, Paper
from rehab.outputs.drawings.marks import MARGIN, POINTS_PER_IN, Box
from rehab.outputs.worklist.printed.rows import (
    LEADING,
    LOOKS,
    Cell,
    Look,
    Row,
    cell,
    head_look,
    picture,
    relabel,
    room,
    rows,
)
from rehab.outputs.worklist.sheet import Key

FOOT: Final = 14.0  #: points above the lower margin that hold the foot
COLUMNS: Final = 12
_TALL: Final = 22.0  #: points of a row to write in by hand
_GAP: Final = 6.0
_APART: Final = 3.0
_WRITTEN: Final = 16.0  #: points of a row with something to be filled in


@dataclass
class Page:
    """A page of rows with their tops in points below the upper margin, and its links; or a plan on its own pages."""

    rows: list[tuple[float, Row]] = field(default_factory=list)
    links: list[tuple[Box, str]] = field(default_factory=list)
    plan: Drawing | None = None


class Pages:
    """A sheet being written: the calls of ``Sheet``, turned into pages; ``done`` is given the sheet when it ends.

    ``paper`` lies, as plans do; the pages of the sheet lie if they are ``landscape``, else they stand.
    """

    def __init__(self, name: str, widths: Sequence[float] | None, paper: Paper, landscape: bool,
                 done: Callable[[Pages], None]):
        size = (paper.width_in * POINTS_PER_IN, paper.height_in * POINTS_PER_IN)
        self.name, self.foot, self.title = name, "", ""
        self.size = size = size if landscape else size[::-1]
        self.wide, self.high = size[0] - 2 * MARGIN, size[1] - 2 * MARGIN - FOOT
        grid = list(widths or [1.0] * COLUMNS)
        self._edges = [edge * self.wide / sum(grid) for edge in accumulate(grid, initial=0.0)]
        self.pages: list[Page] = []
        self._used = 0.0
        self._full = False  #: what follows is to begin on a new page
        self._repeated: list[tuple[float, Row]] = []
        self._begin = 0.0  #: where the rows of a page begin below what is repeated
        self._waiting: list[Row] = []  #: headings and a line below them, which stay with what follows
        self._headed = False  #: nothing was written since the last heading
        self._table: list[tuple[Page, float, Row]] = []
        self._done = done

    def line(self, text: str, style: str = "text", *, lines: int = 0) -> None:
        """One text across the page."""
        look = LOOKS[style]
        if style == "title":
            self.title = self.title or text
        least = lines * LOOKS["text"].size * LEADING
        made = self._rows([cell(text, 0.0, self.wide, look, "text")], look, least)
        if style in {"title", "section"}:
            self._waiting += made
            return
        if self._headed and style in {"text", "small"} and len(made) == 1:  # it says what the table is that follows
            self._waiting += made
            self._headed = False
            return
        if look.rim == "box":
            self._keep_off()
        self._put(made)

    def section(self, text: str) -> None:
        """A heading with some room above it."""
        if self._waiting or not self._at_top():
            self._waiting.append(room(_GAP))
        self.line(text, "section")
        self._waiting.append(room(2.0))
        self._headed = True

    def pairs(self, rows: Sequence[tuple[str, Any]], *, across: int = 3) -> None:
        """Labels and values, ``across`` pairs a row."""
        part = (len(self._edges) - 1) // across
        for start in range(0, len(rows), across):
            cells: list[Cell] = []
            for place, (label, value) in enumerate(rows[start:start + across]):
                left, middle, right = place * part, place * part + ceil(part / 2), (place + 1) * part
                cells += [self._cell(label, left, middle, LOOKS["label"]._replace(beside=1.5), "text"),
                          self._cell(value, middle, right, LOOKS["text"]._replace(beside=1.5), "value")]
            self._put(self._rows(cells, LOOKS["text"], _WRITTEN if any(one.rule for one in cells) else 0.0))

    def table(self, spans: Sequence[int], head: Sequence[str], rows: Iterable[Sequence[Any]], *, tall: bool = False,
              keys: Sequence[Key] | None = None) -> None:  # noqa: ARG002
        """A table; its head stands again on every page that it goes on to.  What is read back is for the workbook."""
        self._table = []
        if head:
            self._keep_off()
        above = self._across(spans, head, "head") if head else []
        taken = sum(row.height for row in (*above, *self._waiting))
        for values in rows:
            made = self._across(spans, values, "cell", _TALL if tall else 0.0, taken)
            if not self._table:
                placed = self._put([*above, made[0]], together=True)[-1:]
            for row in made[0 if self._table else 1:]:
                begins = [] if self._fits(row.height) else above
                placed = self._put([*begins, row], together=True)[-1:]
            self._table += placed
        if not self._table:
            self._put(above)

    def blank(self) -> None:
        """Some room, unless a page begins there."""
        if not self._at_top():
            self._put([room(_GAP)])

    def next_page(self) -> None:
        """What follows begins on a page of its own."""
        self._flush()
        self._full = self._full or not self._at_top()

    def picture(self, drawing: Drawing) -> None:
        """A small drawing, made smaller if the page is."""
        self._put([picture(drawing, self.wide, self.high - self._begin)])

    def plan(self, drawing: Drawing) -> None:
        """A drawing to scale on pages of its own; what follows it begins on a new page."""
        self._flush()
        self.pages.append(Page(plan=drawing))

    def link(self, text: str, sheet: str, *, table_row: int, column: int) -> None:
        """Make a cell of the last table, counted from its first row below the head, a link to another sheet."""
        page, top, row = self._table[table_row]
        relabel(row, column, text)
        one = row.cells[column]
        page.links.append((Box(one.left, top, one.left + one.width, top + row.height), sheet))

    def repeat_above(self) -> None:
        """All that is written so far stands on top of every page of the sheet, unless it takes half of one."""
        self._flush()
        if len(self.pages) == 1 and self._used <= self.high / 2:
            self._repeated = list(self.pages[0].rows)
            self._used += 0.0 if self._repeated[-1][1].look.rim == "box" else _APART
            self._begin = self._used

    def finish(self, foot: str) -> None:
        """End the sheet."""
        self._flush()
        if not self.pages:
            self._turn()
        self.foot = foot
        self._done(self)

    def _cell(self, value: Any, left: int, right: int, look: Look, style: str) -> Cell:
        return cell(value, self._edges[left], self._edges[right] - self._edges[left], look, style)

    def _across(self, spans: Sequence[int], values: Sequence[Any], style: str, least: float = 0.0,
                taken: float = 0.0) -> list[Row]:
        if sum(spans) > len(self._edges) - 1:
            raise ValueError(f"a table of {sum(spans)} columns does not fit on the {len(self._edges) - 1} of sheet "
                             f"'{self.name}'")
        ends = list(accumulate(spans, initial=0))
        look = LOOKS[style]
        if style == "head":
            look = head_look(values, [self._edges[right] - self._edges[left] for left, right in pairwise(ends)])
        cells = [self._cell(value, left, right, look, style)
                 for value, (left, right) in zip(values, pairwise(ends), strict=True)]
        return self._rows(cells, look, least, taken)

    def _rows(self, cells: Sequence[Cell], look: Look, least: float = 0.0, taken: float = 0.0) -> list[Row]:
        return list(rows(cells, look, self.high - self._begin - taken, least))

    def _put(self, made: Sequence[Row], together: bool = False) -> list[tuple[Page, float, Row]]:
        """Set rows one below the other, headings that wait with the first of them, or with all; returns where."""
        if not made:
            return []
        heads, self._waiting, self._headed = self._waiting, [], False
        kept = [*heads, *(made if together else made[:1])]
        if not self._fits(sum(row.height for row in kept)):
            self._turn()
            heads = heads[1:] if heads and not heads[0].cells else heads  # no room above a heading on top of a page
        placed: list[tuple[Page, float, Row]] = []
        for row in (*heads, *made):
            if not self._fits(row.height):
                self._turn()
            self.pages[-1].rows.append((self._used, row))
            placed.append((self.pages[-1], self._used, row))
            self._used += row.height
        return placed[len(heads):]

    def _keep_off(self) -> None:
        """A little room between what has a rim and what follows with one of its own."""
        if not self._waiting and not self._at_top() and self.pages[-1].rows[-1][1].look.rim == "box":
            self._waiting.append(room(_APART))

    def _at_top(self) -> bool:
        """Whether what is written next begins a page."""
        return not self.pages or self._full or self.pages[-1].plan is not None or self._used <= self._begin

    def _fits(self, height: float) -> bool:
        if not self.pages or self._full or self.pages[-1].plan is not None:
            self._turn()
        return self._used + height <= self.high + 1e-6

    def _turn(self) -> None:
        self.pages.append(Page(list(self._repeated)))
        self._used, self._full = self._begin, False

    def _flush(self) -> None:
        """Set headings that nothing follows."""
        waiting, self._waiting = self._waiting, []
        self._put(waiting)
