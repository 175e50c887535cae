"""A table of the plan as compressed text and back, cell for cell.

The text is JSON with one list per column: it tells a missing cell from an empty text and from the text "NA", and a
float written by Python reads back as the same float.  Two marks are kept beside it: the fingerprint, by which a table
is told from another everywhere in the program, and a SHA-256 digest of the stored bytes, by which damage is noticed.
(The fingerprint cannot do both: it rests on how the installed pandas writes numbers.)
"""

from __future__ import annotations

import hashlib
import json
import zlib
from typing import Any

import pandas as pd
from sqlalchemy import RowMapping

from rehab.base import tables
from rehab.base.settings import fingerprint
from rehab.store.errors import StoreError


def pack(table: str, frame: pd.DataFrame) -> dict[str, Any]:
    """The values of a database row for a table of :mod:`rehab.base.tables`.

    The frame gets the table's columns and types and must obey its schema (else
    :class:`pandera.errors.SchemaErrors`, a fault of the program); its index is not kept.
    """
    typed = tables.check(table, tables.with_types(table, frame.reset_index(drop=True)))
    columns = {item.name: _cells(item.kind, typed[item.name]) for item in tables.fields(table)}
    text = json.dumps({"table": table, "rows": len(typed), "columns": columns}, separators=(",", ":"))
    content = zlib.compress(text.encode(), level=6)
    return {"table_name": table, "fingerprint": fingerprint(typed), "digest": digest(content), "content": content}


def unpack(row: RowMapping) -> pd.DataFrame:
    """The table of a database row, identical to what was packed; columns that the program has since got are missing.

    Raises :class:`StoreError` if the bytes are not those that were stored, or hold a column that is not known.
    """
    table, content = str(row["table_name"]), bytes(row["content"])
    if digest(content) != row["digest"]:
        raise StoreError(f"the stored table '{table}' is damaged: its digest is not the one that was stored with it")
    stored = json.loads(zlib.decompress(content))
    kinds = {item.name: item.kind for item in tables.fields(table)}
    unknown = set(stored["columns"]) - set(kinds)
    if unknown:
        raise StoreError(f"the stored table '{table}' has a column '{min(unknown)}' that this program does not know")
    columns = {name: _series(kinds[name], cells) for name, cells in stored["columns"].items()}
    return tables.with_types(table, pd.DataFrame(columns, index=range(stored["rows"])))


def digest(content: bytes) -> str:
    """SHA-256 in hexadecimal."""
    return hashlib.sha256(content).hexdigest()


def _cells(kind: tables.Kind, values: pd.Series) -> list[Any]:
    """Plain text, numbers and flags; None where a cell is missing."""
    if kind == "date":
        return [None if day is pd.NaT else day.isoformat() for day in values]
    return values.astype(object).where(values.notna(), None).tolist()


def _series(kind: tables.Kind, cells: list[Any]) -> pd.Series:
    if kind == "date":
        return pd.Series(pd.to_datetime(cells, format="ISO8601"))
    types = {"flag": "boolean", "key": "int64", "number": "float64", "whole": "float64"}
    return pd.Series(cells, dtype=types.get(kind, "str"))
