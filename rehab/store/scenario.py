"""Scenarios of a project: every version kept, and nobody's work written over unseen."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Engine, Row, func, insert, select

from rehab.base.settings import Scenario
from rehab.store import checks, schema
from rehab.store.database import writing
from rehab.store.errors import Stale, StoreError
from rehab.store.trail import record, scenario_changes

_SAVED = schema.scenario_versions.c


@dataclass(frozen=True)
class Saved:
    """A scenario in one version: ``who`` saved it on ``saved_on`` (UTC); its name is the scenario's."""

    version: int
    who: str
    saved_on: datetime
    scenario: Scenario


def save_scenario(engine: Engine, project_id: int, scenario: Scenario, who: str, expected_version: int | None,
                  when: datetime | None = None) -> Saved:
    """Save a new version of the scenario of that name.

    ``expected_version`` is the version that the change began from, None for a new scenario.  Raises :class:`Stale`,
    storing nothing, if the newest version is another one, and :class:`StoreError` if the project or the version
    that is expected does not exist or a name cannot be kept.
    """
    checks.name("the scenario's name", scenario.name)
    checks.name("the name of who saves", who)
    moment = checks.moment(when)
    text = json.dumps(scenario.as_mapping())
    kept = _scenario(text)
    with writing(engine) as connection:
        known = checks.project(connection, project_id)
        newest = _newest(connection, known, scenario.name)
        _refuse_stale(scenario.name, newest, expected_version)
        saved = Saved(newest.version + 1 if newest else 1, who, moment, kept)
        connection.execute(insert(schema.scenario_versions).values(
            project_id=known, name=scenario.name, version=saved.version, who=who, saved_on=moment, content=text))
        record(connection, known, f"scenario '{scenario.name}' version {saved.version}",
               scenario_changes(newest.scenario if newest else None, kept), who, moment)
    return saved


def scenarios(engine: Engine, project_id: int) -> list[Saved]:
    """Every scenario of a project in its newest version, by name."""
    with engine.connect() as connection:
        known = checks.project(connection, project_id)
        newest = (select(_SAVED.name, func.max(_SAVED.version).label("version"))
                  .where(_SAVED.project_id == known).group_by(_SAVED.name).subquery())
        query = (
            select(schema.scenario_versions)
            .join(newest, (newest.c.name == _SAVED.name) & (newest.c.version == _SAVED.version))
            .where(_SAVED.project_id == known).order_by(_SAVED.name)
        )
        return [_saved(row) for row in connection.execute(query)]


def scenario_history(engine: Engine, project_id: int, name: str) -> list[Saved]:
    """Every version of one scenario, the oldest first; empty if there is none of that name."""
    with engine.connect() as connection:
        known = checks.project(connection, project_id)
        query = select(schema.scenario_versions).where(_SAVED.project_id == known, _SAVED.name == name)
        return [_saved(row) for row in connection.execute(query.order_by(_SAVED.version))]


def load_scenario(engine: Engine, project_id: int, name: str, version: int | None = None) -> Saved:
    """One scenario, in the newest version unless one is named; :class:`StoreError` if there is none."""
    with engine.connect() as connection:
        known = checks.project(connection, project_id)
        found = _newest(connection, known, name, version)
    if found is None:
        raise StoreError(f"the project has no scenario '{name}'" + (f" version {version}" if version else ""))
    return found


def _newest(connection: Connection, project_id: int, name: str, version: int | None = None) -> Saved | None:
    query = select(schema.scenario_versions).where(_SAVED.project_id == project_id, _SAVED.name == name)
    if version is not None:
        query = query.where(_SAVED.version == int(version))
    row = connection.execute(query.order_by(_SAVED.version.desc()).limit(1)).first()
    return None if row is None else _saved(row)


def _saved(row: Row[Any]) -> Saved:
    return Saved(row.version, row.who, row.saved_on, _scenario(row.content))


def _scenario(text: str) -> Scenario:
    return Scenario.from_mapping(json.loads(text))


def _refuse_stale(name: str, newest: Saved | None, expected: int | None) -> None:
    if newest is None:
        if expected is not None:
            raise StoreError(f"the project has no scenario '{name}' of which version {expected} could be the newest; "
                             "save it as a new one")
        return
    if expected == newest.version:
        return
    since = "a new scenario was to be saved" if expected is None else f"this change began from version {expected}"
    raise Stale(f"{newest.who} saved scenario '{name}' as version {newest.version} on "
                f"{newest.saved_on:%Y-%m-%d %H:%M} UTC, and {since}; nothing was stored. Load version "
                f"{newest.version} and make the change there, or save under another name.",
                newest.who, newest.saved_on, newest.version)
