"""The tables of the database, in their newest form; :mod:`rehab.store.database` brings an older file up to it.

Versions of projects and scenarios, city values, publications and the audit trail are only ever added to, never
changed.  Tables of the plan are kept as compressed text, which holds every number exactly; no money is in a numeric
column.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any, Final

from sqlalchemy import (
    Column,
    DateTime,
    Dialect,
    ForeignKey,
    ForeignKeyConstraint,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
    TypeDecorator,
    UniqueConstraint,
)


class UtcTime(TypeDecorator[datetime]):
    """A moment, aware of its zone outside and UTC inside: SQLite keeps no zone."""

    impl = DateTime
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002
        """From any zone to UTC without a zone."""
        return None if value is None else value.astimezone(UTC).replace(tzinfo=None)

    def process_result_value(self, value: Any | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002
        """The stored moment with its zone."""
        return None if value is None else value.replace(tzinfo=UTC)


def _text(name: str) -> Column[str]:
    return Column(name, Text, nullable=False)


def _saved() -> tuple[Column[str], Column[datetime]]:
    return _text("who"), Column("saved_on", UtcTime, nullable=False)


def _project(primary_key: bool = False) -> Column[int]:
    return Column("project_id", ForeignKey("projects.id"), nullable=False, index=not primary_key,
                  primary_key=primary_key)


def _packed() -> tuple[Column[Any], ...]:
    """A table of the plan as :mod:`rehab.store.packing` packs it."""
    return (Column("table_name", Text, primary_key=True), _text("fingerprint"), _text("digest"),
            Column("content", LargeBinary, nullable=False))


metadata: Final = MetaData()

schema_version: Final = Table(
    "schema_version", metadata,
    Column("version", Integer, primary_key=True, autoincrement=False), Column("applied_on", UtcTime, nullable=False))

projects: Final = Table(
    "projects", metadata, Column("id", Integer, primary_key=True), Column("name", Text, nullable=False, unique=True))

project_versions: Final = Table(
    "project_versions", metadata,
    _project(primary_key=True), Column("version", Integer, primary_key=True, autoincrement=False), *_saved())

project_tables: Final = Table(
    "project_tables", metadata,
    Column("project_id", Integer, primary_key=True), Column("version", Integer, primary_key=True, autoincrement=False),
    *_packed(),
    ForeignKeyConstraint(["project_id", "version"], ["project_versions.project_id", "project_versions.version"]))

scenario_versions: Final = Table(
    "scenario_versions", metadata,
    _project(primary_key=True), Column("name", Text, primary_key=True),
    Column("version", Integer, primary_key=True, autoincrement=False), *_saved(), _text("content"))

city_values: Final = Table(
    "city_values", metadata,
    Column("id", Integer, primary_key=True), _project(), _text("table_name"), _text("key"), Column("value", Text),
    *_saved())

season_tables: Final = Table(
    "season_tables", metadata,
    Column("id", Integer, primary_key=True), _project(), Column("year", Integer, nullable=False), _text("table_name"),
    _text("fingerprint"), _text("digest"), Column("content", LargeBinary, nullable=False), *_saved())

publications: Final = Table(
    "publications", metadata,
    Column("id", Integer, primary_key=True), _project(), _text("name"), *_saved(), _text("summary"), _text("digest"),
    UniqueConstraint("project_id", "name"))

publication_tables: Final = Table(
    "publication_tables", metadata,
    Column("publication_id", ForeignKey("publications.id"), primary_key=True), *_packed())

audit: Final = Table(
    "audit", metadata,
    Column("id", Integer, primary_key=True), _project(), *_saved(), _text("what"), _text("changes"))
