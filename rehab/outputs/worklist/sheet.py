"""What the work list is written on: the same calls make a sheet of a workbook and pages of a PDF.

``paper`` writes them into a workbook, ``printed`` into a PDF; the contents are written once, in ``book`` and
``blocksheet``.  A sheet is filled from the top down on a grid of columns.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple, Protocol

from rehab.outputs.drawings import Drawing


class Key(NamedTuple):
    """What a row of a table is about, for rows whose entries are read back: kind is a key of ``site.ENTRIES``."""

    kind: str
    block_id: str
    year: int
    name: str


@dataclass(frozen=True)
class Figure:
    """A number that is written with so many decimals, with what stands before it: dollars with cents, sizes to 0.01."""

    value: float
    digits: int = 2
    before: str = ""

    def __str__(self) -> str:
        return f"{'-' if self.value < 0 else ''}{self.before}{abs(self.value):,.{self.digits}f}"


class Sheet(Protocol):
    """One sheet.  Text is always text: nothing becomes a formula or a link."""

    def line(self, text: str, style: str = "text", *, lines: int = 0) -> None:
        """One text across the page; ``style`` is text, title, section, warning or small."""

    def section(self, text: str) -> None:
        """A heading with some room above it; it stays with what follows."""

    def pairs(self, rows: Sequence[tuple[str, Any]], *, across: int = 3) -> None:
        """Labels and values, ``across`` pairs a row."""

    def table(self, spans: Sequence[int], head: Sequence[str], rows: Iterable[Sequence[Any]], *, tall: bool = False,
              keys: Sequence[Key] | None = None) -> None:
        """A table whose columns take ``spans`` columns of the grid each, without a head if that is empty.

        ``tall`` leaves room to write by hand; ``keys`` names each row whose entries are read back.
        """

    def blank(self) -> None:
        """Some room."""

    def next_page(self) -> None:
        """What follows begins on a page of its own."""

    def picture(self, drawing: Drawing) -> None:
        """A small drawing, as wide as the sheet or as it is; its ``about`` is its text for those who do not see it."""

    def plan(self, drawing: Drawing) -> None:
        """A drawing to scale, on pages of its own; a workbook, which knows no scale, leaves it to the PDF."""

    def link(self, text: str, sheet: str, *, table_row: int, column: int) -> None:
        """Make a cell of the last table, counted from its first row below the head, a link to another sheet."""

    def repeat_above(self) -> None:
        """All that is written so far stands on top of every page of the sheet."""

    def finish(self, foot: str) -> None:
        """End the sheet; ``foot`` stands at the foot of every page, with its number."""


class Book(Protocol):
    """All sheets of one file."""

    def sheet(self, name: str, widths: Sequence[float] | None = None, *, landscape: bool = False) -> Sheet:
        """A new sheet on a grid of ``widths`` (characters; twelve columns if not given)."""
