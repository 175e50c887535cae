"""What a crew wrote down, wherever it stood: one entry per pay item or repair, its cells as they were found."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple


class Cell(NamedTuple):
    """One cell that is filled in: the heading above it, what it holds, and what is wrong with it before it is read."""

    heading: str
    value: object
    fault: str = ""


@dataclass(frozen=True)
class Entry:
    """A row about one pay item (``kind`` quantities) or one repair (``kind`` repairs) of a block and year.

    ``cells`` are those of a crew's own figures, by column of ours; ``said`` is what the row itself says it is about, if
    it says so: the words in its first cell, or the number of the repair.  ``sheet`` is empty for a text file.
    """

    sheet: str
    row: int
    kind: str
    block_id: str
    year: int
    name: str
    cells: dict[str, Cell]
    said: object = None

    @property
    def filled(self) -> bool:
        """Whether anything was written into it."""
        return any(cell.fault or str(cell.value).strip() for cell in self.cells.values())

    @property
    def place(self) -> str:
        """The sheet, as a message begins with it; empty for a file without sheets."""
        return f"sheet '{self.sheet}': " if self.sheet else ""
