"""Names, moments and projects that a caller gives, checked before anything is stored."""

from __future__ import annotations

import unicodedata
from datetime import UTC, datetime

from sqlalchemy import Connection, func, select

from rehab.store import schema
from rehab.store.errors import StoreError

LONGEST = 200  #: characters of a name


def name(what: str, value: str, longest: int = LONGEST) -> str:
    """The name as given; :class:`StoreError` if it is blank, too long, or holds what no one can see and type again."""
    if not value.strip():
        raise StoreError(f"{what} is empty; give it at least one letter or digit")
    if len(value) > longest:
        raise StoreError(f"{what} has {len(value):,} characters ('{value[:30]}...'); at most {longest} are kept")
    if value != value.strip():
        raise StoreError(f"{what} '{value}' begins or ends with a space; leave it out")
    # Cc: tabs, line ends and other control characters; Cs: halves of a character, which no database can hold
    if any(unicodedata.category(character) in {"Cc", "Cs"} for character in value):
        raise StoreError(f"{what} {value!a} holds a tab, a line end or another control character; leave it out")
    return value


def moment(when: datetime | None) -> datetime:
    """The moment in UTC, now if none is given; :class:`StoreError` if it has no time zone."""
    if when is None:
        return datetime.now(UTC)
    if when.tzinfo is None:
        raise StoreError(f"the time {when.isoformat()} has no time zone; give it one, such as UTC")
    return when.astimezone(UTC)


def project(connection: Connection, project_id: int) -> int:
    """The id of a project that exists; :class:`StoreError` for any other."""
    query = select(func.count()).where(schema.projects.c.id == int(project_id))
    if not connection.execute(query).scalar_one():
        raise StoreError(f"there is no project {project_id} in the database")
    return int(project_id)
