"""CSV files described for machines: W3C, Metadata Vocabulary for Tabular Data, 17 December 2015 (from memory).

One description for all files of a folder, made from the columns of ``rehab.base.tables``: names, meanings, units,
limits, keys.  A file that has a column without a description is refused, so that nothing is left undescribed.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from pathlib import PurePosixPath
from typing import Any, Final, NamedTuple

import pandas as pd

from rehab.base.tables import TABLES, Field
from rehab.base.tables.meanings import ADDED, KEYS, MAY_BE_BLANK, MEANINGS
from rehab.outputs.csvw.written import EXACT, WRITTEN, WRITTEN_KEYS

#: what the files have in common and the vocabulary has no word for
NOTES: Final = (
    "A text that a spreadsheet would take for a formula, one that begins with = + - @, a tab or a return, has an "
    "apostrophe in front that is no part of it.",
    "Dollars are rounded to cents and other numbers to six significant digits; whole numbers are kept.",
    "An empty cell is a value that is not known or does not apply; in a text it may also be an empty text.",
    "Shares are 0 to 1. US customary units: the unit is in the name of the column and in schema:unitText.",
)
_EXACT_NOTE: Final = "Every number is written so that it reads back as it was computed."
#: tables of one row per block that others point to, the best first
_OF_BLOCKS: Final = ("network", "blocks", "overview")


class Described(NamedTuple):
    """A table in words: its columns, the columns that name a row, and what a row is."""

    name: str
    meaning: str
    fields: tuple[Field, ...]
    key: tuple[str, ...]


def described(table: str) -> Described:
    """A table by its name; :class:`KeyError` for one that is nowhere described."""
    if table in TABLES:
        return Described(table, MEANINGS[table], TABLES[table], KEYS.get(table, ()))
    meaning, fields = WRITTEN[table]
    return Described(table, meaning, fields, WRITTEN_KEYS[table])


def describe(files: Mapping[str, str | pd.DataFrame], *, base: str | None = None) -> str:
    """The metadata of CSV files in one folder, as JSON-LD.

    ``files``: name of each file -> its table by name, if it has all columns of the table in their order, or as it was
    written.  ``base`` is the address of the folder, for metadata that lies elsewhere.  Raises :class:`KeyError` for a
    table or a column that is nowhere described: a fault of the program.
    """
    known = {name: described(given) if isinstance(given, str) else of_frame(name, given)
             for name, given in files.items()}
    blocks = {table.name: name for name, table in known.items() if table.name in _OF_BLOCKS}
    target = next((blocks[name] for name in _OF_BLOCKS if name in blocks), None)
    context: dict[str, str] = {"@language": "en", **({"@base": base} if base else {})}
    group = {
        "@context": ["http://www.w3.org/ns/csvw", context],
        "@type": "TableGroup",
        "dc:title": "A program for a city's concrete streets",
        "notes": [{"dc:description": words} for words in NOTES],
        "null": "",
        "dialect": _dialect(["\r\n"]),
        "tables": [_table(name, table, target) for name, table in known.items()],
    }
    return json.dumps(group, ensure_ascii=False, indent=2) + "\n"


def of_frame(name: str, frame: pd.DataFrame) -> Described:
    """The description of a table as it was written to the file ``name``.

    It is that of the table whose columns it has, of that after which the file is named if there are several; columns
    that files add to a table may follow.
    """
    columns, stem = tuple(map(str, frame.columns)), PurePosixPath(name).stem
    own = {table: tuple(one.name for one in described(table).fields) for table in (*TABLES, *WRITTEN)}
    same = [table for table, names in own.items() if names == columns]
    whole = sorted((table for table, names in own.items() if set(names) <= set(columns)),
                   key=lambda table: -len(own[table]))
    named = [stem] if stem in own else []
    for table in (*(one for one in named if one in same), *same, *named, *whole):
        found = described(table)
        known = {**ADDED, **{one.name: one for one in found.fields}}
        if set(columns) <= set(known):
            return found._replace(fields=tuple(known[column] for column in columns),
                                  key=found.key if set(found.key) <= set(columns) else ())
    lacking = [column for column in columns if not named or column not in {*ADDED, *own[stem]}]
    raise KeyError(f"{name}: no table is described that has the columns {', '.join(lacking)}")


def _table(name: str, table: Described, target: str | None) -> dict[str, Any]:
    schema: dict[str, Any] = {"columns": [_column(one) for one in table.fields]}
    if table.key:
        schema["primaryKey"] = list(table.key)
    if target not in {None, name} and any(one.name == "block_id" and one.required for one in table.fields):
        schema["foreignKeys"] = [{"columnReference": "block_id",
                                  "reference": {"resource": target, "columnReference": "block_id"}}]
    exact = {"dialect": _dialect(["\r\n", "\n"]), "notes": [{"dc:description": _EXACT_NOTE}]}
    return {"url": name, "dc:title": table.name, "dc:description": table.meaning,
            **(exact if table.name in EXACT else {}), "tableSchema": schema}


def _dialect(ends: list[str]) -> dict[str, Any]:
    return {"encoding": "utf-8", "lineTerminators": ends, "delimiter": ",", "quoteChar": '"', "doubleQuote": True,
            "header": True, "headerRowCount": 1}


def _column(one: Field) -> dict[str, Any]:
    column: dict[str, Any] = {"name": one.name, "titles": one.name, "dc:description": one.about,
                              "datatype": _datatype(one), "required": must_hold(one)}
    return {**column, "schema:unitText": one.unit} if one.unit else column


def must_hold(one: Field) -> bool:
    """Whether no cell of a column is empty in a file: a text that is not missing may still be blank."""
    return one.required and not (one.kind == "text" and one.name in MAY_BE_BLANK)


def _datatype(one: Field) -> Any:
    """The datatype of a column; its names are those of XML Schema, numbers are written as that has them."""
    if one.kind == "text":
        return "string"
    if one.kind == "choice":
        return {"base": "string", "format": f"^({'|'.join(map(re.escape, one.choices))})$".replace("\\ ", " ")
                .replace("\\-", "-")}
    if one.kind == "flag":
        return {"base": "boolean", "format": "true|false"}
    if one.kind == "date":
        return {"base": "date", "format": "yyyy-MM-dd"}
    base = "number" if one.kind == "number" else "integer"
    limits = {word: _plain(limit) for word, limit in (("minimum", one.low), ("maximum", one.high)) if limit is not None}
    return {"base": base, **limits} if limits else base


def _plain(limit: float) -> float | int:
    return int(limit) if float(limit).is_integer() else limit


def limits(one: Field) -> Iterable[str]:
    """The limits of a column in words, for readers."""
    if one.choices:
        yield ", ".join(one.choices)
    if one.low is not None and one.high is not None:
        yield f"{_plain(one.low):,} to {_plain(one.high):,}" if one.unit != "year" else f"{one.low:g} to {one.high:g}"
    elif one.low is not None:
        yield f"at least {_plain(one.low):,}"
    elif one.high is not None:
        yield f"at most {_plain(one.high):,}"
