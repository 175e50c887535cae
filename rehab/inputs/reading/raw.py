"""A file as it was read, before any of its columns is understood, and the listing of problems."""

from __future__ import annotations

import lzma
import zipfile
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.errors import Problem, Severity, UnusableInput

#: rows listed one by one for each kind of problem; the rest is counted in one row, so a bad file stays readable
LISTED: Final = 1_000

#: what Python's zip reader raises for a damaged, encrypted or exotic archive
ZIP_FAULTS: Final = (zipfile.BadZipFile, zlib.error, lzma.LZMAError, EOFError, KeyError, OSError, ValueError,
                     NotImplementedError, RuntimeError)

Mask = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Raw:
    """A table as found in a file.

    ``frame`` has one text column per heading (trimmed, NaN where empty) and no wholly empty rows; ``rows``
    gives the spreadsheet row of each (for a map layer the feature, counted from 1).  ``lines`` holds well-known
    text in WGS 84 longitude and latitude, None where a row has no usable line, and is None itself for a file
    without geometry.  ``broken`` marks rows that could not be split into cells; each has a stop problem.
    ``sheets`` are the visible sheets or layers; ``kind`` is csv, xlsx, geojson, gpkg or shp, ``delimiter`` that
    of a text file.
    """

    name: str
    frame: pd.DataFrame
    rows: npt.NDArray[np.int64]
    lines: list[str | None] | None
    problems: list[Problem]
    sheets: list[str]
    broken: Mask
    kind: str
    delimiter: str = ""


def refusal(file: str, message: str, accepted: str, column: str | None = None,
            value: str | None = None) -> UnusableInput:
    """The exception for a file that cannot be used at all, with its one problem."""
    return UnusableInput([Problem("stop", file, None, column, value, message, accepted)])


def listed(severity: Severity, file: str, rows: npt.NDArray[np.int64], column: str | None,
           values: Sequence[object] | None, message: str | Sequence[str], accepted: str,
           kind: str = "") -> list[Problem]:
    """One problem per row, at most :data:`LISTED`, and one more that counts the rest.

    ``values`` and a list of messages run along ``rows``; ``kind`` words the summary when messages differ.
    """
    first = len(rows[:LISTED])
    shown: list[str | None] = [None] * first
    if values is not None:
        shown = [None if pd.isna(value) else str(value)[:200] for value in values[:first]]  # type: ignore[call-overload]
    texts = [message] * first if isinstance(message, str) else list(message[:first])
    found = [Problem(severity, file, int(row), column, value, text, accepted)
             for row, value, text in zip(rows[:first], shown, texts, strict=True)]
    if len(rows) > first:
        about = kind or (message if isinstance(message, str) else texts[0])
        found.append(Problem(severity, file, None, column, None,
                             f"{len(rows) - first:,} further rows, from row {rows[first]} on: {about}", accepted))
    return found


@dataclass
class Findings:
    """Problems collected along one table; ``stopped`` marks the rows that are not used."""

    file: str
    rows: npt.NDArray[np.int64]
    problems: list[Problem] = field(default_factory=list)
    stopped: Mask = field(default_factory=lambda: np.zeros(0, bool))

    def __post_init__(self) -> None:
        self.stopped = np.zeros(len(self.rows), bool)

    def add(self, severity: Severity, mask: Mask, column: str | None, values: pd.Series | None,
            message: str | Sequence[str], accepted: str, kind: str = "") -> None:
        """List the rows of ``mask``; a list of messages runs along the marked rows only."""
        at = np.flatnonzero(mask)
        if not len(at):
            return
        if severity == "stop":
            self.stopped[at] = True
        shown = None if values is None else values.iloc[at[:LISTED]].tolist()
        self.problems += listed(severity, self.file, self.rows[at], column, shown, message, accepted, kind)

    def note(self, message: str, accepted: str, column: str | None = None, value: str | None = None) -> None:
        """A warning about the whole file."""
        self.problems.append(Problem("warn", self.file, None, column, value, message, accepted))


def problem_table(problems: Sequence[Problem]) -> pd.DataFrame:
    """Problems as a table: those about the whole file first, then by row; text columns, row Int64."""
    ordered = sorted(problems, key=lambda problem: problem.row or 0)
    texts = {name: pd.Series([getattr(problem, name) for problem in ordered], dtype="str")
             for name in ("severity", "file", "column", "value", "message", "accepted")}
    rows = pd.Series([problem.row for problem in ordered], dtype="Int64")
    return pd.DataFrame({"severity": texts["severity"], "file": texts["file"], "row": rows,
                         **{name: texts[name] for name in ("column", "value", "message", "accepted")}})


def cleaned(frame: pd.DataFrame) -> pd.DataFrame:
    """The frame with trimmed text and NaN for what is then empty."""
    result = frame.astype("str")
    for place, name in enumerate(frame.columns):
        text = result.iloc[:, place].str.strip()
        result[name] = text.mask(text == "")
    return result
