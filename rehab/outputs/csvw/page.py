"""The schema of every table as a page to read."""

from __future__ import annotations

from typing import Final

from rehab.base.tables import TABLES, Field
from rehab.base.tables.meanings import ADDED
from rehab.outputs.csvw.metadata import NOTES, Described, described, limits
from rehab.outputs.csvw.written import WRITTEN

_KINDS: Final = {"text": "text", "choice": "one of some words", "number": "number", "whole": "whole number",
                 "flag": "true or false", "date": "date, as 2027-05-01", "key": "whole number"}
_HEAD: Final = "| Column | Holds | Kind | Unit | Limits | May be missing |\n| --- | --- | --- | --- | --- | --- |"


def schema_page() -> str:
    """Every table in Markdown: what a row is, the columns that name it, and each column with unit and limits."""
    parts = ["# Tables", "Every table that the program reads or writes, column by column. The names do not change.",
             "\n".join(f"- {words}" for words in NOTES),
             "## In this page", "\n".join(f"- [{name}](#{name}): {described(name).meaning}"
                                          for name in (*TABLES, *WRITTEN))]
    parts += [_section(described(name)) for name in (*TABLES, *WRITTEN)]
    parts += ["## Columns that files add to a table", _rows(tuple(ADDED.values()))]
    return "\n\n".join(parts) + "\n"


def _section(table: Described) -> str:
    key = f"A row is named by {', '.join(f'`{name}`' for name in table.key)}." if table.key else \
        "No column names a row."
    return f"## {table.name}\n\n{table.meaning} {key}\n\n{_rows(table.fields)}"


def _rows(columns: tuple[Field, ...]) -> str:
    lines = [" | ".join((f"| `{one.name}`", _cell(one.about), _KINDS[one.kind], _cell(one.unit),
                         _cell("; ".join(limits(one))), "no" if one.required else "yes")) + " |" for one in columns]
    return "\n".join([_HEAD, *lines])


def _cell(words: str) -> str:
    return words.replace("|", "\\|").replace("\n", " ")
