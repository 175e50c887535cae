"""An archive into a database: all of it in one transaction, or nothing."""

from __future__ import annotations

import json
import zlib
from datetime import UTC, datetime
from typing import Any, Final, cast

from sqlalchemy import Connection, Engine, RowMapping, Table, func, insert, select
from sqlalchemy.exc import DBAPIError

from rehab.base import tables
from rehab.base.settings import ASSUMPTION_TABLES, Scenario
from rehab.store import checks, schema
from rehab.store.archive.opening import Opened, opened
from rehab.store.database import writing
from rehab.store.errors import StoreError
from rehab.store.packing import digest, unpack
from rehab.store.project import Project
from rehab.store.season import OF_CITY, OF_YEAR
from rehab.store.trail import record

_PROJECT: Final = {"blocks", "defects", "geometry"}
_PUBLISHED: Final = {"program", "overview"}


def restore(engine: Engine, content: bytes, who: str, when: datetime | None = None, name: str | None = None) -> Project:
    """Open an archive as a new project, under its own name or another one; the project in its newest version.

    Who saved what and when stays as it was; the audit trail goes on with this.  Raises :class:`StoreError`, storing
    nothing, if the file is no archive, is damaged or was written by a newer program, and if the name is taken.
    """
    checks.name("the name of who restores", who)
    moment = checks.moment(when)
    found = opened(content)
    title = checks.name("the project's name", found.manifest["project"] if name is None else name)
    try:
        with writing(engine) as connection:
            known = _new_project(connection, title)
            tables_of = Tables(found)
            newest = _project(connection, known, found, tables_of)
            _scenarios(connection, known, found)
            _city_values(connection, known, found)
            _seasons(connection, known, found, tables_of)
            _publications(connection, known, found, tables_of)
            _put(connection, schema.audit, [{"project_id": known, **row} for row in _trail(found)])
            record(connection, known, "restored", [_said(found, title)], who, moment)
    except (DBAPIError, UnicodeError) as error:
        said = error.orig if isinstance(error, DBAPIError) else error
        raise StoreError(f"the database does not take what the archive holds: {said}; nothing was stored") from error
    return Project(known, title, newest["version"], newest["who"], newest["saved_on"].astimezone(UTC))


class Tables:
    """The stored tables of an archive, each made and checked once."""

    def __init__(self, found: Opened) -> None:
        self._found = found
        self._made: dict[tuple[str, str], dict[str, Any]] = {}

    def packed(self, row: dict[str, Any]) -> dict[str, Any]:
        """The values of a database row for a row of a list that names a table and its member."""
        table, member = row["table_name"], row["member"]
        if (table, member) not in self._made:
            self._made[table, member] = _packed(table, member, self._found.table(member))
        return {"table_name": table, "fingerprint": row["fingerprint"], **self._made[table, member]}


def _packed(table: str, member: str, columns: dict[str, list[Any]]) -> dict[str, Any]:
    """What is stored for a table, once it has been seen to read back and to obey its schema.

    An older archive may lack columns that the table has since got; the others are held to it as they are read.
    """
    rows = len(next(iter(columns.values()), []))
    text = json.dumps({"table": table, "rows": rows, "columns": columns}, separators=(",", ":"))
    content = zlib.compress(text.encode(), level=6)
    made = {"digest": digest(content), "content": content}
    try:
        frame = unpack(cast(RowMapping, {"table_name": table, **made}))
    except (KeyError, TypeError, ValueError, OverflowError) as error:
        raise StoreError(f"'{member}' of the archive does not read as a table '{table}': {error}"[:300]) from error
    if len(columns) == len(tables.fields(table)) and not tables.obeys(table, frame):
        raise StoreError(f"'{member}' of the archive holds what a table '{table}' may not hold")
    return made


def _said(found: Opened, title: str) -> str:
    made = datetime.fromisoformat(found.manifest["made_on"]).astimezone(UTC)
    other = "" if title == found.manifest["project"] else f", under the name '{title}'"
    return (f"from an archive of project '{found.manifest['project']}' made on {made:%Y-%m-%d %H:%M} UTC by version "
            f"{found.manifest['program_version']} of the program{other}")


def _new_project(connection: Connection, title: str) -> int:
    projects = schema.projects.c
    if connection.execute(select(func.count()).where(projects.name == title)).scalar_one():
        raise StoreError(f"there is a project '{title}' in the database already; restore the archive "
                         "under another name")
    return int(connection.execute(insert(schema.projects).values(name=title).returning(projects.id)).scalar_one())


def _put(connection: Connection, table: Table, rows: list[dict[str, Any]]) -> None:
    if rows:
        connection.execute(insert(table), rows)


def _project(connection: Connection, known: int, found: Opened, tables_of: Tables) -> dict[str, Any]:
    """Every version of the project with its tables; the newest one."""
    versions, held = found.listed("project_versions"), found.listed("project_tables")
    if not versions or [row["version"] for row in versions] != list(range(1, len(versions) + 1)):
        raise StoreError("the versions of the project in the archive are not 1, 2, 3 and so on")
    for row in versions:
        _complete(f"version {row['version']} of the project", _PROJECT,
                  [part["table_name"] for part in held if part["version"] == row["version"]])
    _put(connection, schema.project_versions, [{"project_id": known, **row} for row in versions])
    _put(connection, schema.project_tables, [{"project_id": known, "version": row["version"], **tables_of.packed(row)}
                                             for row in held])
    return versions[-1]


def _scenarios(connection: Connection, known: int, found: Opened) -> None:
    rows = []
    for row in found.listed("scenario_versions"):
        text = found.text(row.pop("member"))
        try:
            scenario = Scenario.from_mapping(json.loads(text))
        except (ValueError, TypeError, AttributeError) as error:
            raise StoreError(f"scenario '{row['name']}' of the archive cannot be read: {error}"[:300]) from error
        if scenario.name != row["name"]:
            raise StoreError(f"scenario '{row['name']}' of the archive has another name inside: '{scenario.name}'")
        rows.append({"project_id": known, **row, "content": text})
    _put(connection, schema.scenario_versions, rows)


def _city_values(connection: Connection, known: int, found: Opened) -> None:
    rows = found.listed("city_values")
    unknown = sorted({row["table_name"] for row in rows} - set(ASSUMPTION_TABLES))
    if unknown:
        raise StoreError(f"the archive has values of the assumption table '{unknown[0]}' that this program "
                         "does not know")
    _put(connection, schema.city_values, [{"project_id": known, **row} for row in rows])


def _seasons(connection: Connection, known: int, found: Opened, tables_of: Tables) -> None:
    rows = found.listed("season_tables")
    for row in rows:
        if row["table_name"] not in (OF_CITY if row["year"] == 0 else OF_YEAR):
            raise StoreError(f"the archive has a table '{row['table_name']}' of the season {row['year']} that this "
                             "program does not know")
    _put(connection, schema.season_tables, [
        {"project_id": known, **{name: row[name] for name in ("year", "who", "saved_on")}, **tables_of.packed(row)}
        for row in rows])


def _publications(connection: Connection, known: int, found: Opened, tables_of: Tables) -> None:
    """Published programs, with the digest under which each was published."""
    listed, held = found.listed("publications"), found.listed("publication_tables")
    if {part["publication"] for part in held} - set(range(1, len(listed) + 1)):
        raise StoreError("the archive has tables of a publication that it does not tell of")
    for number, row in enumerate(listed, 1):
        parts = [part for part in held if part["publication"] == number]
        _complete(f"publication '{row['name']}'", _PUBLISHED, [part["table_name"] for part in parts])
        text = found.text(row.pop("member"))
        if digest(text.encode()) != row["digest"] or not isinstance(_json(text), dict):
            raise StoreError(f"the summary of '{row['name']}' in the archive is not the one that was published")
        statement = insert(schema.publications).values(project_id=known, summary=text, **row)
        new = int(connection.execute(statement.returning(schema.publications.c.id)).scalar_one())
        _put(connection, schema.publication_tables, [{"publication_id": new, **tables_of.packed(part)}
                                                     for part in parts])


def _trail(found: Opened) -> list[dict[str, Any]]:
    rows = found.listed("audit")
    for row in rows:
        changes = _json(row["changes"])
        if not isinstance(changes, list) or not all(isinstance(change, str) for change in changes):
            raise StoreError(f"the audit trail of the archive holds {row['changes']!r:.40}, which is no list "
                             "of changes")
    return rows


def _json(text: str) -> Any:
    """What a text says as JSON; None for a text that is none."""
    try:
        return json.loads(text)
    except ValueError:
        return None


def _complete(what: str, wanted: set[str], names: list[str]) -> None:
    if sorted(names) != sorted(wanted):
        raise StoreError(f"{what} in the archive has the tables {', '.join(sorted(names)) or 'of none'}, and not "
                         f"{', '.join(sorted(wanted))}")
