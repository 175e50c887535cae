"""Projects: a city's uploaded tables under a name, every version kept."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import pandas as pd
from sqlalchemy import Connection, Engine, RowMapping, and_, func, insert, select

from rehab.store import checks, schema
from rehab.store.database import writing
from rehab.store.errors import StoreError
from rehab.store.packing import pack, unpack
from rehab.store.trail import record, table_changes

Tables = tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]  #: blocks, defects, geometry
_TABLES = ("blocks", "defects", "geometry")


@dataclass(frozen=True)
class Project:
    """A project in one version: ``who`` saved it on ``saved_on`` (UTC)."""

    id: int
    name: str
    version: int
    who: str
    saved_on: datetime


def save_project(engine: Engine, name: str, blocks: pd.DataFrame, defects: pd.DataFrame, geometry: pd.DataFrame,
                 who: str, when: datetime | None = None) -> Project:
    """Save the checked tables of reading under a name: a new project, or a new version of the one of that name.

    The project keeps its id, scenarios and city values through all versions.  Raises :class:`StoreError` for a
    name that cannot be kept.
    """
    checks.name("the project's name", name)
    checks.name("the name of who saves", who)
    moment = checks.moment(when)
    frames = (blocks, defects, geometry)
    packed = [pack(table, frame) for table, frame in zip(_TABLES, frames, strict=True)]
    with writing(engine) as connection:
        known = connection.execute(select(schema.projects.c.id).where(schema.projects.c.name == name)).scalar()
        if known is None:
            new = insert(schema.projects).values(name=name).returning(schema.projects.c.id)
            known = connection.execute(new).scalar_one()
        before = _newest(connection, known)
        project = Project(known, name, before + 1, who, moment)
        connection.execute(insert(schema.project_versions).values(project_id=known, version=project.version, who=who,
                                                                  saved_on=moment))
        connection.execute(insert(schema.project_tables), [{"project_id": known, "version": project.version, **row}
                                                           for row in packed])
        changes = _changes(connection, project, dict(zip(_TABLES, frames, strict=True)))
        record(connection, known, f"project version {project.version}", changes, who, moment)
    return project


def projects(engine: Engine) -> list[Project]:
    """Every project in its newest version, by name."""
    versions = schema.project_versions.c
    newest = (select(versions.project_id, func.max(versions.version).label("version")).group_by(versions.project_id)
              .subquery())
    query = (
        select(schema.projects.c.id, schema.projects.c.name, versions.version, versions.who, versions.saved_on)
        .join(newest, newest.c.project_id == schema.projects.c.id)
        .join(schema.project_versions, and_(versions.project_id == newest.c.project_id,
                                            versions.version == newest.c.version))
        .order_by(schema.projects.c.name)
    )
    with engine.connect() as connection:
        return [Project(*row) for row in connection.execute(query)]


def load_project(engine: Engine, project_id: int, version: int | None = None) -> Tables:
    """Blocks, defects and geometry of a project as they were saved, the newest version unless one is named.

    Raises :class:`StoreError` if there is no such project or version, or a stored table is damaged.
    """
    with engine.connect() as connection:
        checks.project(connection, project_id)
        wanted = _newest(connection, project_id) if version is None else int(version)
        blocks, defects, geometry = _load(connection, int(project_id), wanted)
    return blocks, defects, geometry


def _newest(connection: Connection, project_id: int) -> int:
    """The newest version of a project, 0 if it has none yet."""
    versions = schema.project_versions.c
    query = select(func.coalesce(func.max(versions.version), 0)).where(versions.project_id == int(project_id))
    return int(connection.execute(query).scalar_one())


def _load(connection: Connection, project_id: int, version: int) -> list[pd.DataFrame]:
    rows = _rows(connection, project_id, version)
    if not rows:
        raise StoreError(f"project {project_id} has no version {version}")
    return [unpack(rows[table]) for table in _TABLES]


def _rows(connection: Connection, project_id: int, version: int) -> dict[str, RowMapping]:
    columns = schema.project_tables.c
    query = select(schema.project_tables).where(columns.project_id == project_id, columns.version == version)
    return {row["table_name"]: row for row in connection.execute(query).mappings()}


def _changes(connection: Connection, project: Project, frames: dict[str, pd.DataFrame]) -> list[str]:
    """What this version, just stored, changed against the one before; tables of the same digest are not opened."""
    now, before = (_rows(connection, project.id, version) for version in (project.version, project.version - 1))
    if not before:
        return [f"created project '{project.name}'",
                *(change for table in _TABLES for change in table_changes(table, None, frames[table]))]
    changes = [change for table in _TABLES if before[table]["digest"] != now[table]["digest"]
               for change in table_changes(table, unpack(before[table]), unpack(now[table]))]
    return changes or ["no change"]
