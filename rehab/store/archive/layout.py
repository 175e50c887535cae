"""What is in an archive and where: the one place that says it, for writing and for restoring."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Final

FORMAT: Final = "street-program archive"
FORMAT_VERSION: Final = 1
MANIFEST: Final = "manifest.json"
ABOUT: Final = "about.txt"
DICTIONARY: Final = "dictionary.csv"

#: the end of the file, before 64 hexadecimal digits: the SHA-256 of all bytes before them.  Any change of the file is
#: noticed by it, one in what a zip says beside its members too
SEAL: Final = b"SHA-256 of all bytes before this number: "

#: lists of what a project holds -> their columns.  Each is a CSV of that name; rows stand in the order in which they
#: were saved.  ``member`` names the member that holds the table (CSV) or the text (JSON) of a row, and
#: ``publication`` the row of ``publications`` that a table belongs to, counted from 1
LISTS: Final[dict[str, dict[str, type]]] = {
    "project_versions": {"version": int, "who": str, "saved_on": datetime},
    "project_tables": {"version": int, "table_name": str, "fingerprint": str, "member": str},
    "scenario_versions": {"name": str, "version": int, "who": str, "saved_on": datetime, "member": str},
    "city_values": {"table_name": str, "key": str, "value": str, "who": str, "saved_on": datetime},
    "season_tables": {"year": int, "table_name": str, "fingerprint": str, "who": str, "saved_on": datetime,
                      "member": str},
    "publications": {"name": str, "who": str, "saved_on": datetime, "digest": str, "member": str},
    "publication_tables": {"publication": int, "table_name": str, "fingerprint": str, "member": str},
    "audit": {"saved_on": datetime, "who": str, "what": str, "changes": str},
}
#: columns in which a cell may be missing: a city value that went back to the default
MAY_BE_MISSING: Final = {("city_values", "value")}

TEXT: Final = f"""A project of a program for streets, as one file that another installation can open ({FORMAT}, version
{FORMAT_VERSION} of the format).

{MANIFEST}          what the archive is, who wrote it and when, and every member with its SHA-256 and its rows
{DICTIONARY}         the columns of every table in it: kind, unit, limits, meaning
*_versions.csv, *_tables.csv, city_values.csv, publications.csv, audit.csv
                       what the project holds, a row for each save, the oldest first
project/, season/      tables of the city, every version; a table that did not change is kept once
scenarios/             every version of every scenario, JSON
publications/          programs as they were published: summary (JSON) and tables

Tables are CSV (RFC 4180, UTF-8, the names of the columns in the first line). A text is always in quotation marks and
nothing else is: nothing between two commas is a missing cell, "" is an empty text. Numbers have all digits that they
need to read back the same; times are UTC; lines of streets are well-known text in longitude and latitude (WGS 84).
Texts are as they were typed: in a spreadsheet, import the columns as text, so that none is taken for a formula.
The file ends with the SHA-256 of all that is before it; packed again by another program, it is not opened any more.
"""


def name_of(listed: str) -> str:
    """The member that holds a list."""
    return f"{listed}.csv"


def cells_of(row: dict[str, Any]) -> dict[str, Any]:
    """A row as cells: moments as text."""
    return {name: value.isoformat() if isinstance(value, datetime) else value for name, value in row.items()}
