"""Published programs: what the council was shown, kept as it was."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

import pandas as pd
from sqlalchemy import Engine, Row, insert, select

from rehab.store import checks, schema
from rehab.store.database import writing
from rehab.store.errors import StoreError
from rehab.store.packing import digest, pack, unpack
from rehab.store.trail import record

_PUBLISHED: Final = schema.publications.c


@dataclass(frozen=True)
class Published:
    """A program as published: ``who`` published it on ``saved_on`` (UTC), with the plain numbers of its summary."""

    id: int
    project_id: int
    name: str
    who: str
    saved_on: datetime
    summary: dict[str, Any]


def publish(engine: Engine, project_id: int, name: str, summary: Mapping[str, Any], program: pd.DataFrame,
            overview: pd.DataFrame, who: str, when: datetime | None = None) -> Published:
    """Keep a program for good; ``summary`` holds plain text, numbers, lists and mappings with text keys, as JSON does.

    There is no changing it.  Raises :class:`StoreError` if the project has a publication of that name already, if
    there is no such project, or if the name or the summary cannot be kept.
    """
    checks.name("the name of the publication", name)
    checks.name("the name of who publishes", who)
    moment = checks.moment(when)
    text = _text(summary)
    packed = [pack("program", program), pack("overview", overview)]
    with writing(engine) as connection:
        known = checks.project(connection, project_id)
        same = select(schema.publications).where(_PUBLISHED.project_id == known, _PUBLISHED.name == name)
        earlier = connection.execute(same).first()
        if earlier is not None:
            raise StoreError(f"'{name}' was published by {earlier.who} on {earlier.saved_on:%Y-%m-%d %H:%M} UTC and "
                             "cannot be changed; publish under another name")
        statement = insert(schema.publications).values(project_id=known, name=name, who=who, saved_on=moment,
                                                       summary=text, digest=digest(text.encode()))
        new = int(connection.execute(statement.returning(_PUBLISHED.id)).scalar_one())
        connection.execute(insert(schema.publication_tables), [{"publication_id": new, **row} for row in packed])
        record(connection, known, f"publication '{name}'",
               [f"published a program of {len(program):,} blocks out of {len(overview):,}"], who, moment)
    return Published(new, known, name, who, moment, json.loads(text))


def published(engine: Engine, project_id: int) -> list[Published]:
    """Every published program of a project, the oldest first."""
    with engine.connect() as connection:
        known = checks.project(connection, project_id)
        query = select(schema.publications).where(_PUBLISHED.project_id == known).order_by(_PUBLISHED.id)
        return [_published(row) for row in connection.execute(query)]


def load_published(engine: Engine, publication_id: int) -> tuple[Published, pd.DataFrame, pd.DataFrame]:
    """A published program with its tables ``program`` and ``overview``.

    Raises :class:`StoreError` if there is none or what is stored is not what was published.
    """
    tables = schema.publication_tables
    with engine.connect() as connection:
        query = select(schema.publications).where(_PUBLISHED.id == int(publication_id))
        row = connection.execute(query).first()
        if row is None:
            raise StoreError(f"there is no published program {publication_id}")
        found = connection.execute(select(tables).where(tables.c.publication_id == row.id)).mappings()
        frames = {item["table_name"]: unpack(item) for item in found}
    return _published(row), frames["program"], frames["overview"]


def _published(row: Row[Any]) -> Published:
    if digest(row.summary.encode()) != row.digest:
        raise StoreError(f"the summary of '{row.name}' is damaged: its digest is not the one that was published")
    return Published(row.id, row.project_id, row.name, row.who, row.saved_on, json.loads(row.summary))


def _text(summary: Mapping[str, Any]) -> str:
    """The summary as JSON; refused if it would read back as something else (dates, arrays, numbers as keys)."""
    _refuse_other_keys(summary)
    try:
        return json.dumps(dict(summary), allow_nan=False)
    except (TypeError, ValueError) as error:
        raise StoreError(f"the summary cannot be kept as JSON: {error}") from error


def _refuse_other_keys(value: Any) -> None:
    if isinstance(value, Mapping):
        for key, inner in value.items():
            if not isinstance(key, str):
                raise StoreError(f"the summary has the key {key!r}, which is no text and would read back as one")
            _refuse_other_keys(inner)
    elif isinstance(value, (list, tuple)):
        for inner in value:
            _refuse_other_keys(inner)
