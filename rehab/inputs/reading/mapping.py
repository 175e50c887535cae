"""The mapping of headings: saved and read as CSV, checked against a table, and applied to it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from rehab.base import tables
from rehab.base.errors import Problem, UnusableInput
from rehab.inputs.reading import delimited
from rehab.inputs.reading.headings import Upload, allowed_units, suggest, unit_of
from rehab.inputs.reading.raw import Mask, Raw, refusal

COLUMNS: Final = ("theirs", "ours", "unit", "only")
_FILE: Final = "mapping"


@dataclass(frozen=True)
class Applied:
    """A mapping laid over a raw table: ours -> (heading, unit), the rows that the filters keep, warnings."""

    columns: dict[str, tuple[str, str]]
    kept: Mask
    problems: list[Problem]


def read_mapping(content: bytes) -> pd.DataFrame:
    """A saved mapping: text columns theirs, ours, unit, only; empty text for no value.

    Raises :class:`UnusableInput` if the file is not a table with the column theirs.
    """
    if not content.strip(b"\0 \t\r\n\xef\xbb\xbf"):
        raise refusal(_FILE, "the mapping is empty", f"a CSV with the columns {', '.join(COLUMNS)}")
    text, _ = delimited.decoded(_FILE, content)
    split, _ = delimited.records(_FILE, text, delimited.sniffed(text))
    records = [[cell.strip() for cell in record] for record in split]
    found = [record for record in records if any(record)]
    head = [cell.casefold() for cell in found[0]] if found else []
    if "theirs" not in head or len(set(head)) < len(head):
        raise refusal(_FILE, "the mapping has no column 'theirs' in its first row, or one column twice",
                      f"a CSV with the columns {', '.join(COLUMNS)}")
    wide = [record for record in found[1:] if any(record[len(head):])]
    if wide:
        raise refusal(_FILE, f"the row of '{wide[0][0]}' has more cells than the header",
                      "cells that contain the delimiter put in quotation marks", value=" | ".join(wide[0])[:200])
    cells = [dict(zip(head, record, strict=False)) for record in found[1:]]
    return pd.DataFrame([{name: row.get(name, "") for name in COLUMNS} for row in cells], columns=list(COLUMNS),
                        dtype="str")


def write_mapping(mapping: pd.DataFrame) -> bytes:
    """The mapping as CSV in UTF-8, as :func:`read_mapping` reads it."""
    return _plain(mapping).to_csv(index=False, lineterminator="\r\n").encode()


def check_mapping(mapping: pd.DataFrame, raw: Raw, table: Upload = "blocks") -> list[Problem]:
    """What is wrong with a mapping for a file: unknown or doubled columns of ours, units, headings the file lacks.

    All are stops, but for a heading that the file lacks and that only an optional column rests on.
    """
    lacking = [name for name in COLUMNS if name not in mapping.columns]
    if lacking:
        return [Problem("stop", _FILE, None, lacking[0], None, f"the mapping has no column '{lacking[0]}'",
                        f"the columns {', '.join(COLUMNS)}")]
    fields = {item.name: item for item in tables.upload_fields(table)}
    problems: list[Problem] = []
    seen: dict[str, str] = {}
    for row, line in enumerate(_plain(mapping).itertuples(index=False), start=2):
        theirs, ours, unit, only = (str(cell) for cell in line)
        if ours and ours not in fields:
            problems.append(Problem("stop", _FILE, row, "ours", ours, f"'{ours}' is no column of {table}",
                                    f"one of {', '.join(fields)}, or empty"))
            continue
        if ours and ours in seen:
            problems.append(Problem("stop", _FILE, row, "ours", ours,
                                    f"'{ours}' is given to '{seen[ours]}' and to '{theirs}'",
                                    "each column of ours once"))
        seen.setdefault(ours, theirs)
        allowed = allowed_units(fields[ours]) if ours else []
        if unit and ours and (unit_of(unit) or unit) not in allowed:
            problems.append(Problem("stop", _FILE, row, "unit", unit, f"'{unit}' is no unit for '{ours}'",
                                    ", ".join(allowed) or "no unit"))
        if _heading(raw, theirs) is None and (ours or only):
            needed = bool(only) or fields[ours].required
            outcome = "" if needed else f"; '{ours}' is not filled"
            problems.append(Problem("stop" if needed else "warn", _FILE, row, "theirs", theirs,
                                    f"the table has no heading '{theirs}'{outcome}",
                                    f"one of its headings: {', '.join(raw.frame.columns)}"[:500]))
    return problems


def apply(raw: Raw, mapping: pd.DataFrame | None, table: Upload) -> Applied:
    """The mapping (or the suggested one) laid over the table.

    Raises :class:`UnusableInput` for a mapping with stops, for required columns that nothing is mapped to, and
    for filters that keep no row.
    """
    chosen = suggest(raw, table) if mapping is None else mapping
    problems = check_mapping(chosen, raw, table)
    if any(problem.severity == "stop" for problem in problems):
        raise UnusableInput(raw.problems + problems)
    columns: dict[str, tuple[str, str]] = {}
    kept = np.ones(len(raw.frame), bool)
    for line in _plain(chosen).itertuples(index=False):
        theirs, ours, unit, only = (str(cell) for cell in line)
        heading = _heading(raw, theirs)
        if heading is None:
            continue
        if ours:
            columns[ours] = (heading, unit_of(unit) or unit or tables.field(table, ours).unit)
        wanted = [word.strip().casefold() for word in only.split("|") if word.strip()]
        if wanted:
            now = raw.frame[heading].str.strip().str.casefold().isin(wanted).to_numpy(bool)
            if not now.any():
                values = ", ".join(raw.frame[heading].dropna().drop_duplicates().iloc[:10])
                raise UnusableInput([*raw.problems, *problems, Problem(
                    "stop", raw.name, None, heading, only, "the filter of the mapping keeps no row",
                    f"values that the column holds, such as {values}"[:500])])
            kept &= now | raw.broken
    _complete(raw, columns, table, problems)
    if not kept.any():
        raise UnusableInput([*raw.problems, *problems, Problem(
            "stop", raw.name, None, None, None, "the filters of the mapping together keep no row",
            "filters that agree")])
    return Applied(columns, kept, problems)


def _complete(raw: Raw, columns: dict[str, tuple[str, str]], table: Upload, problems: list[Problem]) -> None:
    """Raise :class:`UnusableInput` with a problem for each required column that is not mapped."""
    have = f"map one of the table's columns to it: {', '.join(raw.frame.columns)}"[:500]
    lacking = [item for item in tables.upload_fields(table) if item.required and item.name not in columns]
    found = []
    for item in lacking:
        hint = " (an area alone is not enough: length and width are both needed)" if item.unit == "ft" else ""
        found.append(Problem("stop", raw.name, None, item.name, None,
                             f"no column is known to hold '{item.name}' ({item.about})", have + hint))
    if table == "blocks" and not set(columns) & set(tables.CONDITION):
        found.append(Problem("stop", raw.name, None, "condition", None,
                             "no column is known to hold a measure of condition",
                             f"map one of the table's columns to one of {', '.join(tables.CONDITION)}"))
    if found:
        raise UnusableInput([*raw.problems, *problems, *found])


def _plain(mapping: pd.DataFrame) -> pd.DataFrame:
    """The four columns as trimmed text."""
    return pd.DataFrame({name: mapping[name].astype("str").fillna("").str.strip() for name in COLUMNS})


def _heading(raw: Raw, theirs: str) -> str | None:
    """The heading of the table that a mapping names: exactly, or but for capitals."""
    if theirs in raw.frame.columns:
        return theirs
    alike = [heading for heading in raw.frame.columns if heading.casefold() == theirs.casefold()]
    return alike[0] if len(alike) == 1 else None
