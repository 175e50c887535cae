"""Text files of delimited cells (RFC 4180 quoting): encoding, delimiter, records."""

from __future__ import annotations

import codecs
import csv
import io
import re
from typing import Final

from rehab.base.errors import Problem
from rehab.inputs.reading import grid
from rehab.inputs.reading.headings import recognised
from rehab.inputs.reading.raw import refusal

DELIMITERS: Final = (",", ";", "\t", "|")
_NAMES: Final = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars"}
_CONTROL: Final = re.compile(r"[\x00-\x08\x0e-\x1f\x7f]")
_TABLE: Final = "a table with one row of headings, cells separated by commas, semicolons, tabs or bars"


def read(name: str, content: bytes) -> tuple[grid.Grid, str]:
    """The table in a text file and its delimiter; raises :class:`UnusableInput` if it holds none."""
    text, problems = decoded(name, content)
    delimiter = sniffed(text)
    cells, unread = records(name, text, delimiter)
    found = grid.header(cells)
    if found is None or len([heading for heading in found[1] if heading]) < 2:
        raise refusal(name, "no table was found in the file: no row looks like headings of two or more columns", _TABLE)
    result = grid.table(name, cells, found, ragged=True, unread=unread)
    return grid.Grid(result.frame, result.rows, result.broken, problems + result.problems), delimiter


def decoded(name: str, content: bytes) -> tuple[str, list[Problem]]:
    """The text, by byte order mark, as UTF-8, or as Windows-1252 with a warning; refused if it is not text."""
    problems: list[Problem] = []
    try:
        if content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
            text = content.decode("utf-16")
        else:
            text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        try:
            text = content.decode("cp1252")
        except UnicodeDecodeError:
            text = "\0"
        line = content[: error.start].count(b"\n") + 1
        problems = [Problem("warn", name, None, None, None,
                            f"line {line} is not UTF-8; the file was read as Windows-1252: look at names with accents",
                            "a file saved as 'CSV UTF-8'")]
    if _CONTROL.search(text):
        raise refusal(name, "the file holds binary data, not text", "a table saved as CSV (UTF-8) or XLSX")
    return text, problems


def sniffed(text: str) -> str:
    """The delimiter under which the first lines name most known columns, then split most evenly."""
    lines = text[:200_000].splitlines()[:200]
    scores = []
    for delimiter in DELIMITERS:
        rows = _tried(lines, delimiter)
        sizes = [len(row) for row in rows if any(cell.strip() for cell in row)]
        usual = max(sorted(set(sizes), reverse=True), key=sizes.count) if sizes else 0
        even = sizes.count(usual) / len(sizes) if usual > 1 else 0.0
        known = max((recognised(row) for row in rows[:30] if len(row) > 1), default=0)
        scores.append((known, even, usual))
    return DELIMITERS[scores.index(max(scores))]


def _tried(lines: list[str], delimiter: str) -> list[list[str]]:
    try:
        return list(csv.reader(lines, delimiter=delimiter))
    except csv.Error:
        return []


def records(name: str, text: str, delimiter: str) -> tuple[list[list[str]], dict[int, str]]:
    """All records (blank lines too, so that they count as rows) and what could not be split, by record number."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    found: list[list[str]] = []
    unread: dict[int, str] = {}
    while True:
        begun = reader.line_num + 1
        try:
            found.append(next(reader))
        except StopIteration:
            return found, unread
        except csv.Error as error:
            if "unexpected end" in str(error):
                raise refusal(
                    name, f"a quotation mark opened in row {len(found) + 1} (line {begun}) is never closed, so nothing "
                    "after it can be told apart", "every quotation mark closed; doubled inside a cell") from error
            unread[len(found)] = f"the row cannot be split at its {_NAMES[delimiter]}: {error}; it is not used"
            found.append([])
