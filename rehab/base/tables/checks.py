"""Tables against their columns: checked, cast, empty, and described in the data dictionary."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
import pandas as pd

from rehab.base.tables.columns import TABLES
from rehab.base.tables.fields import Field, Kind

if TYPE_CHECKING:
    import pandera.pandas as pa

_TYPES: Final[dict[Kind, str]] = {"text": "str", "choice": "str", "number": "float64", "whole": "float64",
                                  "flag": "boolean", "date": "datetime64[us]", "key": "int64"}
_UNIQUE: Final = frozenset({"blocks", "network", "program", "overview"})  #: tables of one row per block


def fields(table: str) -> tuple[Field, ...]:
    """The columns of a table; :class:`KeyError` for a table that does not exist."""
    return TABLES[table]


def field(table: str, column: str) -> Field:
    """One column of a table; :class:`KeyError` if it has none of that name."""
    return {item.name: item for item in TABLES[table]}[column]


def upload_fields(table: Literal["blocks", "defects", "bids", "commitments", "normals", "no_work", "moves", "actual"],
                  ) -> tuple[Field, ...]:
    """The columns a user fills in: all but the row number, which reading adds.

    The last of days without work may be left empty for a single day: reading fills it.
    """
    return tuple(replace(item, required=False) if (table, item.name) == ("no_work", "last_day") else item
                 for item in TABLES[table] if item.name != "row")


@cache
def schema(table: str) -> pa.DataFrameSchema:
    """The pandera schema of a table: types, limits, choices, no missing value in a required column."""
    import pandera.pandas as pa

    return pa.DataFrameSchema({item.name: _column(item) for item in TABLES[table]}, strict="filter", name=table,
                              unique=["block_id"] if table in _UNIQUE else None)


def _column(item: Field) -> pa.Column:
    import pandera.pandas as pa

    checks = []
    if item.low is not None:
        checks.append(pa.Check.ge(item.low))
    if item.high is not None:
        checks.append(pa.Check.le(item.high))
    if item.choices:
        checks.append(pa.Check.isin(item.choices))
    if item.kind == "whole":
        checks.append(pa.Check(lambda values: values % 1 == 0, name="whole number"))
    return pa.Column(_TYPES[item.kind], checks, nullable=not item.required, title=item.unit, description=item.about)


def check(table: str, frame: pd.DataFrame) -> pd.DataFrame:
    """The frame with just the table's columns, in their order, if it obeys the schema.

    Raises :class:`pandera.errors.SchemaErrors`: a fault of the program, since readers report bad input as
    problems before a table gets here.
    """
    if not obeys(table, frame):
        schema(table).validate(frame, lazy=True)  # names every fault
    return frame[[item.name for item in TABLES[table]]]


def obeys(table: str, frame: pd.DataFrame) -> bool:
    """Whether a frame obeys the schema of its table: a hundred times faster than validating, but names no fault."""
    if table in _UNIQUE and ("block_id" not in frame or frame["block_id"].duplicated().any()):
        return False
    return all(item.name in frame and _fits(item, frame[item.name]) for item in TABLES[table])


def _fits(item: Field, values: pd.Series) -> bool:
    if str(values.dtype) != _TYPES[item.kind] or (item.required and values.isna().any()):
        return False
    if item.choices:
        return bool((values.isna() | values.isin(item.choices)).all())
    if item.low is None and item.high is None and item.kind != "whole":
        return True
    numbers = values.to_numpy()
    low, high = (limit if limit is not None else bound
                 for limit, bound in ((item.low, -float("inf")), (item.high, float("inf"))))
    with np.errstate(invalid="ignore"):  # the remainder of infinity is NaN: no whole number
        parts = numbers % 1 if item.kind == "whole" else np.zeros(len(numbers))
    # NaN compares false throughout: a missing value breaks no limit.
    return not ((numbers < low) | (numbers > high) | ((parts != 0) & ~values.isna().to_numpy())).any()


def empty(table: str) -> pd.DataFrame:
    """The table without rows, with its types."""
    return pd.DataFrame({item.name: pd.Series(dtype=_TYPES[item.kind]) for item in TABLES[table]})


def with_types(table: str, frame: pd.DataFrame) -> pd.DataFrame:
    """A copy with every column of the table, missing ones empty, cast to the table's types."""
    full = frame.reindex(columns=[item.name for item in TABLES[table]])
    return full.astype({item.name: _TYPES[item.kind] for item in TABLES[table]})


def dictionary() -> pd.DataFrame:
    """The data dictionary: one row per column of every table."""
    rows = [
        {"table": table, "column": item.name, "kind": item.kind, "unit": item.unit, "required": item.required,
         "low": item.low, "high": item.high, "choices": ", ".join(item.choices), "about": item.about}
        for table, items in TABLES.items() for item in items
    ]
    return pd.DataFrame(rows)
