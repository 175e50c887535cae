"""A project to the bytes of an archive."""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
import zlib
from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any, Final

from sqlalchemy import Connection, Engine, Select, Table, select

import rehab
from rehab.base import tables
from rehab.store import checks, schema
from rehab.store.archive import cells
from rehab.store.archive.layout import (
    ABOUT,
    DICTIONARY,
    FORMAT,
    FORMAT_VERSION,
    LISTS,
    MANIFEST,
    SEAL,
    TEXT,
    cells_of,
    name_of,
)
from rehab.store.database import MIGRATIONS
from rehab.store.errors import StoreError
from rehab.store.packing import digest

#: the day of every member: a zip keeps no year before it, and the same content shall give the same bytes
_DAY: Final = (1980, 1, 1, 0, 0, 0)


class Members:
    """The members of an archive as they are added; a table that is there already is not added again."""

    def __init__(self) -> None:
        self.content: dict[str, bytes] = {}
        self.rows: dict[str, int | None] = {}
        self.tables: set[str] = set()
        self._known: dict[str, str] = {}

    def add(self, name: str, content: bytes, rows: int | None = None) -> str:
        """Add a member; its name."""
        self.content[name], self.rows[name] = content, rows
        return name

    def add_table(self, name: str, row: Mapping[str, Any]) -> str:
        """Add a stored table; the name of the member that holds it."""
        packed, table = bytes(row["content"]), str(row["table_name"])
        mark = digest(packed)
        if mark != row["digest"]:
            raise StoreError(f"the stored table '{table}' is damaged: its digest is not the one that was stored with "
                             "it; no archive was made")
        if mark not in self._known:
            stored = json.loads(zlib.decompress(packed))
            self._known[mark] = self.add(name, cells.written(stored["columns"]), stored["rows"])
            self.tables.add(table)
        return self._known[mark]

    def add_list(self, listed: str, rows: Iterable[Mapping[str, Any]]) -> None:
        """Add one of the lists; rows may hold more than its columns."""
        lines = [cells_of({name: row[name] for name in LISTS[listed]}) for row in rows]
        self.add(name_of(listed), cells.written({name: [line[name] for line in lines] for name in LISTS[listed]}),
                 len(lines))


def archive(engine: Engine, project_id: int, when: datetime | None = None) -> bytes:
    """A project with all that was ever saved of it, as a ZIP that :func:`restore` opens in another database.

    Every version of its tables, scenarios, city values and seasons, its published programs and its audit trail; the
    same content and ``when`` give the same bytes.  Raises :class:`StoreError` if there is no such project or something
    stored is damaged.
    """
    moment = checks.moment(when)
    # all is read as it stood at one moment of the database
    options = {"isolation_level": "REPEATABLE READ"} if engine.dialect.name == "postgresql" else {}
    with engine.connect().execution_options(**options) as connection:
        known = checks.project(connection, project_id)
        name = connection.execute(select(schema.projects.c.name).where(schema.projects.c.id == known)).scalar_one()
        members = Members()
        _project(connection, known, members)
        _scenarios(connection, known, members)
        members.add_list("city_values", _rows(connection, schema.city_values, known))
        _seasons(connection, known, members)
        _publications(connection, known, members)
        trail = _rows(connection, schema.audit, known)
    members.add_list("audit", trail)
    members.add(ABOUT, TEXT.encode())
    members.add(DICTIONARY, *_dictionary(members.tables))
    manifest = {
        "format": FORMAT, "format_version": FORMAT_VERSION, "program_version": rehab.__version__,
        "schema_version": len(MIGRATIONS), "project": name, "made_on": moment.isoformat(),
        "last_change": trail[-1]["saved_on"].isoformat(),
        "members": [{"name": member, "sha256": hashlib.sha256(content).hexdigest(), "bytes": len(content),
                     "rows": members.rows[member]} for member, content in members.content.items()]}
    members.add(MANIFEST, json.dumps(manifest, indent=1).encode())
    return _zipped(members.content)


def _rows(connection: Connection, table: Table, project_id: int) -> list[dict[str, Any]]:
    """All rows of a project, in the order in which they were saved."""
    order = [table.c.id] if "id" in table.c else list(table.primary_key.columns)
    query: Select[Any] = select(table).where(table.c.project_id == project_id).order_by(*order)
    return [dict(row) for row in connection.execute(query).mappings()]


def _project(connection: Connection, project_id: int, members: Members) -> None:
    members.add_list("project_versions", _rows(connection, schema.project_versions, project_id))
    members.add_list("project_tables", [
        {**row, "member": members.add_table(f"project/{row['version']}/{row['table_name']}.csv", row)}
        for row in _rows(connection, schema.project_tables, project_id)])


def _scenarios(connection: Connection, project_id: int, members: Members) -> None:
    rows = sorted(_rows(connection, schema.scenario_versions, project_id),
                  key=lambda row: (row["saved_on"], row["name"], row["version"]))
    members.add_list("scenario_versions", [
        {**row, "member": members.add(f"scenarios/{number}.json", row["content"].encode())}
        for number, row in enumerate(rows, 1)])


def _seasons(connection: Connection, project_id: int, members: Members) -> None:
    members.add_list("season_tables", [
        {**row, "member": members.add_table(f"season/{number}-{row['table_name']}.csv", row)}
        for number, row in enumerate(_rows(connection, schema.season_tables, project_id), 1)])


def _publications(connection: Connection, project_id: int, members: Members) -> None:
    listed, held = [], []
    tables_of = schema.publication_tables
    for number, row in enumerate(_rows(connection, schema.publications, project_id), 1):
        if digest(row["summary"].encode()) != row["digest"]:
            raise StoreError(f"the summary of '{row['name']}' is damaged: its digest is not the one that was "
                             "published; no archive was made")
        listed.append({**row, "member": members.add(f"publications/{number}/summary.json", row["summary"].encode())})
        query = select(tables_of).where(tables_of.c.publication_id == row["id"]).order_by(tables_of.c.table_name)
        held += [{**part, "publication": number,
                  "member": members.add_table(f"publications/{number}/{part['table_name']}.csv", part)}
                 for part in map(dict, connection.execute(query).mappings())]
    members.add_list("publications", listed)
    members.add_list("publication_tables", held)


def _dictionary(names: set[str]) -> tuple[bytes, int]:
    """The columns of the tables in the archive, as this program knows them."""
    found = tables.dictionary()
    rows = found[found["table"].isin(names)]
    plain = rows.astype(object).where(rows.notna(), None)
    return cells.written({str(name): [bool(cell) if name == "required" else cell for cell in column.tolist()]
                          for name, column in plain.items()}), len(rows)


def _zipped(content: Mapping[str, bytes]) -> bytes:
    """The members as a zip that ends with its seal; nothing in it tells of the machine or the hour."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as package:
        for name, data in content.items():
            info = zipfile.ZipInfo(name, _DAY)
            info.compress_type, info.external_attr, info.create_system = zipfile.ZIP_DEFLATED, 0o644 << 16, 3
            package.writestr(info, data, compresslevel=6)
        package.comment = SEAL + b"0" * 64
    return sealed(stream.getvalue()[:-64])


def sealed(content: bytes) -> bytes:
    """The bytes, which end with :data:`SEAL`, with the number that belongs there."""
    return content + hashlib.sha256(content).hexdigest().encode()
