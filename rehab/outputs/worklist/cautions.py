"""Cautions of ``data/cautions.csv``: those of a block as a whole, and those of each kind of task."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from rehab.base.errors import BadAssumption
from rehab.base.tables import TASKS, WORK

#: said on every sheet: a list of cautions is not advice
DECIDES: Final = ("These cautions are reminders and not complete: local codes, the engineer and a competent "
                  "person on site decide.")

FILE: Final = Path(__file__).parents[3] / "data" / "cautions.csv"
_STATUS: Final = ("read", "from memory", "common practice, no source")


@dataclass(frozen=True)
class Caution:
    """One caution: the tasks and strategies it belongs to, its words, where it comes from and how sure that is."""

    key: str
    applies_to: tuple[str, ...]
    text: str
    citation: str
    status: str

    @property
    def source(self) -> str:
        """The citation, and how sure it is where it was not read."""
        return self.citation if self.status == "read" else f"{self.citation} ({self.status})"


def load_cautions(path: Path = FILE) -> list[Caution]:
    """The cautions in the order of the file; :class:`BadAssumption` names a row that says something unknown."""
    with path.open(encoding="utf-8", newline="") as file:
        rows = [Caution(row["key"], tuple(row["applies_to"].split("; ")), row["text"], row["citation"], row["status"])
                for row in csv.DictReader(file)]
    for row in rows:
        unknown = set(row.applies_to) - set(TASKS) - set(WORK)
        if unknown:
            raise BadAssumption(f"{path.name}: '{min(unknown)}' of '{row.key}' is not a task or a strategy")
        if row.status not in _STATUS:
            raise BadAssumption(f"{path.name}: the status of '{row.key}' is not one of {', '.join(_STATUS)}")
    return rows


def cautions_for(cautions: Iterable[Caution], of: str, figures: Mapping[str, str]) -> list[Caution]:
    """The cautions of a strategy, which hold for the whole block, or of a kind of task, with the block's figures.

    ``figures`` are those of :func:`rehab.outputs.worklist.figures.figures`.  Raises :class:`BadAssumption` for a text
    that names a figure that is not among them.
    """
    try:
        return [replace(row, text=row.text.format_map(figures), citation=row.citation.format_map(figures))
                for row in cautions if of in row.applies_to]
    except KeyError as error:
        raise BadAssumption(f"cautions: there is no figure {error} to put in") from error
