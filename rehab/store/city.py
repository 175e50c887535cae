"""The city's own values of assumptions, laid over the defaults when a plan is made; every change kept."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Final

import pandas as pd
from sqlalchemy import Connection, Engine, Row, func, insert, select

from rehab.base.settings import ASSUMPTION_TABLES
from rehab.store import checks, schema
from rehab.store.database import writing
from rehab.store.errors import StoreError
from rehab.store.trail import record

_VALUES: Final = schema.city_values.c
_LONGEST_VALUE: Final = 2_000  # characters; a rule in words is a value too


def save_city_values(engine: Engine, project_id: int, table: str, key: str, value: str | None, who: str,
                     when: datetime | None = None) -> None:
    """Set the city's value of one assumption row; None goes back to the default.

    Whether the key exists and the value is in its range is for the assumptions to say when they are laid over the
    defaults.  A value that is already so is not stored again.  Raises :class:`StoreError` for an assumption table
    or project that does not exist and for text that cannot be kept.
    """
    if table not in ASSUMPTION_TABLES:
        raise StoreError(f"there is no assumption table '{table}'; there are {', '.join(ASSUMPTION_TABLES)}")
    checks.name("the key of the assumption", key)
    checks.name("the name of who saves", who)
    if value is not None:
        checks.name(f"the value of '{key}'", value, _LONGEST_VALUE)
    moment = checks.moment(when)
    with writing(engine) as connection:
        known = checks.project(connection, project_id)
        before = {(row.table_name, row.key): row.value for row in _current(connection, known)}.get((table, key))
        if value == before:
            return
        connection.execute(insert(schema.city_values).values(
            project_id=known, table_name=table, key=key, value=value, who=who, saved_on=moment))
        was, now = (("default" if text is None else f"'{text}'") for text in (before, value))
        record(connection, known, "city value", [f"{table}, {key}: {was} -> {now}"], who, moment)


def city_values(engine: Engine, project_id: int) -> dict[str, dict[str, str]]:
    """The city's values, table -> key -> value, as the assumptions take them."""
    result: dict[str, dict[str, str]] = {}
    for row in _rows(engine, project_id):
        result.setdefault(row.table_name, {})[row.key] = row.value
    return result


def city_values_table(engine: Engine, project_id: int) -> pd.DataFrame:
    """The city's values in force: table, key, value, ``who`` set it and ``when`` (UTC), by table and key."""
    rows = _rows(engine, project_id)
    texts = {"table": "table_name", "key": "key", "value": "value", "who": "who"}
    columns = {ours: pd.Series([getattr(row, theirs) for row in rows], dtype="str") for ours, theirs in texts.items()}
    when = pd.Series([row.saved_on for row in rows], dtype="datetime64[us, UTC]")
    return pd.DataFrame({**columns, "when": when})


def _rows(engine: Engine, project_id: int) -> list[Row[Any]]:
    with engine.connect() as connection:
        return _current(connection, checks.project(connection, project_id))


def _current(connection: Connection, project_id: int) -> list[Row[Any]]:
    """The newest row of each key, without those that went back to the default."""
    newest = (select(func.max(_VALUES.id)).where(_VALUES.project_id == project_id)
              .group_by(_VALUES.table_name, _VALUES.key))
    query = select(schema.city_values).where(_VALUES.id.in_(newest), _VALUES.value.is_not(None))
    return list(connection.execute(query.order_by(_VALUES.table_name, _VALUES.key)))
