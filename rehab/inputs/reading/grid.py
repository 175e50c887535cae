"""Rows of cells to a table: where the header is, how many lines it has, and what the columns are called."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from rehab.base.errors import Problem
from rehab.inputs.reading.headings import is_unit, recognised
from rehab.inputs.reading.raw import Mask, cleaned, listed, refusal

Records = Sequence[Sequence[str]]
Merged = Sequence[tuple[tuple[int, int], tuple[int, int]]]  #: (first row, first column), (last row, last column) from 0

_HEADER_WITHIN: Final = 30
_BATCH: Final = 20_000
_NUMERIC: Final = re.compile(r"[+-]?[\d.,]*\d[\d.,]*%?")


@dataclass(frozen=True)
class Grid:
    """A table found in rows of cells: text frame, spreadsheet rows, broken rows, problems."""

    frame: pd.DataFrame
    rows: np.ndarray[tuple[int], np.dtype[np.int64]]
    broken: Mask
    problems: list[Problem]


def header(records: Records, merged: Merged = ()) -> tuple[int, list[str]] | None:
    """The number of the first row below the header (from 0) and the headings; None if no row looks like a header.

    The row, or the pair of rows, that names most columns we know wins; if none does, the first row of texts.
    """
    head = [[re.sub(r"\s+", " ", cell).strip() for cell in record] for record in records[:_HEADER_WITHIN]]
    best: tuple[int, int, list[str]] = (0, 0, [])
    for at, cells in enumerate(head):
        if len([cell for cell in cells if cell]) < 2:
            continue
        if (score := recognised(cells)) > best[0]:
            best = (score, at + 1, cells)
        names = _joined(head, at, merged) if _completes(head, at, merged) else []
        if names and not _spoils(names, head, at, merged):
            score = recognised(names, cells, head[at + 1])
            best = max(best, (score, at + 2, names), key=lambda found: found[0])
    score, below, names = best
    if score < 2:
        texts = [at for at, cells in enumerate(head) if _all_texts(cells) and 2 * len(cells) >= _width(head)]
        if not texts:
            return None
        below, names = texts[0] + 1, head[texts[0]]
    joined = _joined(head, below - 1, merged) if names == head[below - 1] else []
    if joined and _second_line(head[below], below - 1, merged):
        below, names = below + 1, joined
    return below, names


def table(name: str, records: Records, found: tuple[int, list[str]], *, ragged: bool,
          unread: Mapping[int, str] | None = None) -> Grid:
    """The table below the header.

    ``ragged`` says that every row should have as many cells as the header (a text file); ``unread`` names records
    that could not be split at all.  Raises :class:`UnusableInput` for a header alone.
    """
    below, headings = found
    unread = unread or {}
    body = records[below:]
    sizes = np.array([len(record) for record in body], "int64")
    rows = np.arange(below + 1, below + 1 + len(body), dtype="int64")
    names, problems = _names(name, headings, body, ragged)
    width = len(names)
    parts = [_frame(body[at:at + _BATCH], width) for at in range(0, len(body), _BATCH)]
    frame = cleaned(pd.concat(parts, ignore_index=True)) if parts else pd.DataFrame(columns=range(width), dtype="str")
    failed = np.isin(rows - 1, list(unread))
    long = np.zeros(len(body), bool)
    for at in np.flatnonzero(sizes > width).tolist():
        long[at] = any(cell.strip() for cell in body[at][width:])
    filled = frame.notna().any(axis=1).to_numpy(bool) | failed | long
    if not filled.any():
        raise refusal(name, "the table has headings but no rows", "a table with at least one row below its headings")
    short = filled & ~failed & (sizes < width) & ragged
    problems += listed("stop", name, rows[failed], None, None, [unread[row - 1] for row in rows[failed]],
                       "quotation marks around whole cells, doubled inside them",
                       "rows that cannot be split into cells")
    problems += listed("stop", name, rows[long], None, [" | ".join(body[at]) for at in np.flatnonzero(long)[:1000]],
                       f"the row has more cells than the {width} headings, so its values cannot be told apart; "
                       "the row is not used", "cells that contain the delimiter put in quotation marks")
    problems += listed("warn", name, rows[short], None, [" | ".join(body[at]) for at in np.flatnonzero(short)[:1000]],
                       f"the row has fewer cells than the {width} headings; the last ones are taken as empty",
                       f"{width} cells in every row")
    keep = [place for place, heading in enumerate(names) if heading]
    frame = frame[keep].set_axis([names[place] for place in keep], axis=1)
    return Grid(frame[filled].reset_index(drop=True), rows[filled], (failed | long)[filled], problems)


def _joined(head: list[list[str]], at: int, merged: Merged) -> list[str]:
    """Headings of two lines: the upper cell, spread over its merged range, then the lower one."""
    if at + 1 >= len(head):
        return []
    width = max(len(head[at]), len(head[at + 1]))
    upper, lower = (head[row] + [""] * (width - len(head[row])) for row in (at, at + 1))
    for (top, left), (bottom, right) in merged:
        if top <= at <= bottom and left < width:
            cell = head[top][left] if left < len(head[top]) else ""
            upper[left:right + 1] = [cell] * (min(right, width - 1) - left + 1)
    return [" ".join(dict.fromkeys(part for part in pair if part)) for pair in zip(upper, lower, strict=True)]


def _completes(head: list[list[str]], at: int, merged: Merged) -> bool:
    """Whether the next row may be the lower half of a header: texts alone, under a merged cell or under empty ones."""
    if at + 1 >= len(head) or not _all_texts(head[at + 1]):
        return False
    under = [place for place, cell in enumerate(head[at + 1]) if cell and not (head[at] + [""] * (place + 1))[place]]
    return len(under) >= 2 or any(top <= at <= bottom for (top, _), (bottom, _) in merged)


def _spoils(names: list[str], head: list[list[str]], at: int, merged: Merged) -> bool:
    """Whether a line above the headings, such as a date, takes some of them out of recognition.

    Cells merged over several headings are a half of the header whatever they say.
    """
    return (not any(top <= at <= bottom for (top, _), (bottom, _) in merged)
            and recognised(names) < recognised(head[at + 1]))


def _second_line(cells: list[str], at: int, merged: Merged) -> bool:
    """Whether the row below a header line belongs to it: units alone, or the header line is merged with it."""
    filled = [cell for cell in cells if cell]
    if not filled or any(_NUMERIC.fullmatch(cell) for cell in filled):
        return False
    if all(is_unit(cell) for cell in filled):
        return True
    return any(top <= at < bottom for (top, _), (bottom, _) in merged)


def _all_texts(cells: list[str]) -> bool:
    filled = [cell for cell in cells if cell]
    return len(filled) >= 2 and not any(_NUMERIC.fullmatch(cell) for cell in filled)


def _width(head: list[list[str]]) -> int:
    sizes = [len(cells) for cells in head if any(cells)]
    return max(set(sizes), key=sizes.count) if sizes else 0


def _names(name: str, headings: list[str], body: Records, ragged: bool) -> tuple[list[str], list[Problem]]:
    """A different name for every column; '' for a column without heading and without values."""
    width = len(headings) if ragged else max([len(headings), *(len(record) for record in body)])
    names, problems = [], []
    for place in range(width):
        heading = headings[place] if place < len(headings) else ""
        if not heading and any(place < len(record) and record[place].strip() for record in body):
            heading = f"column {letters(place)}"
            problems.append(Problem("warn", name, None, heading, None, "the column has values but no heading",
                                    "a heading above every column"))
        if heading and heading in names:
            count = 2
            while f"{heading} ({count})" in names:
                count += 1
            problems.append(Problem("warn", name, None, heading, None,
                                    f"two columns have this heading; the later one is called '{heading} ({count})'",
                                    "a different heading above every column"))
            heading = f"{heading} ({count})"
        names.append(heading)
    return names, problems


def letters(place: int) -> str:
    """The letters of a spreadsheet column: 0 -> A, 26 -> AA."""
    text = ""
    place += 1
    while place:
        place, rest = divmod(place - 1, 26)
        text = chr(ord("A") + rest) + text
    return text


def _frame(records: Records, width: int) -> pd.DataFrame:
    cells = [[*record[:width], *[""] * (width - len(record))] for record in records]
    return pd.DataFrame(cells, columns=range(width), dtype="str")
