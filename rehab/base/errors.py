"""Problems of the data, notes on a plan, and the few exceptions.

A :class:`Problem` is a row about input that could not be used as it stands; a :class:`Note` is a row
about a plan (an assumption used, a conflict, something that does not fit).  Both are data: they are
collected, shown as tables and written to files.  Exceptions are for a file that cannot be read at all
(:class:`UnusableInput`) and for faults of the program.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass, fields
from typing import Literal

import pandas as pd

Severity = Literal["stop", "warn"]


@dataclass(frozen=True)
class Problem:
    """One thing wrong with the input.

    ``stop`` means the row (or, without a row, the file) is not used; ``warn`` means it is used as said
    in ``message``.  ``row`` is the row as a spreadsheet numbers it (the first line of the file is 1),
    ``accepted`` says what would be taken instead.
    """

    severity: Severity
    file: str
    row: int | None
    column: str | None
    value: str | None
    message: str
    accepted: str


@dataclass(frozen=True)
class Note:
    """One thing to know about a plan: ``topic`` is one word per idea, ``block_id`` may be empty."""

    topic: str
    block_id: str | None
    year: int | None
    message: str


class UnusableInput(Exception):
    """The input cannot be used at all; carries every problem found so far."""

    def __init__(self, problems: Iterable[Problem]):
        self.problems = list(problems)
        super().__init__("; ".join(problem.message for problem in self.problems) or "the input cannot be used")


class BadAssumption(Exception):
    """A row of the assumption tables is missing or says something impossible; names the table and the key."""


def as_table(rows: Iterable[Problem] | Iterable[Note], kind: type[Problem] | type[Note]) -> pd.DataFrame:
    """Problems or notes as a table, one column per field, in the order given; empty input gives an empty table."""
    columns = [field.name for field in fields(kind)]
    table = pd.DataFrame([asdict(row) for row in rows], columns=columns)
    return table.astype({name: "Int64" for name in ("row", "year") if name in columns})
