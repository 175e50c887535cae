"""The commands schema, archive and restore: the description of every table, and whole projects from hand to hand."""

from __future__ import annotations

import argparse
from pathlib import Path

from rehab.base.errors import BadAssumption

#: where the dashboard keeps its projects unless it is told otherwise
DATABASE = "sqlite:///var/rehab.db"


def options_of(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The three commands and their options."""
    described = commands.add_parser("schema", help="describe every table: a page to read and CSVW metadata")
    described.set_defaults(run=schema)
    packed = commands.add_parser("archive", help="a kept project as one file that another installation can open")
    packed.set_defaults(run=archive)
    packed.add_argument("project", help="name of the project")
    opened = commands.add_parser("restore", help="open an archive in a database")
    opened.set_defaults(run=restore)
    opened.add_argument("archive", type=Path, help="file that archive wrote")
    opened.add_argument("--who", required=True, help="your name, kept with the change")
    opened.add_argument("--name", help="another name for the project, if its own is taken")
    for command, words in ((packed, "file to write"), (described, "folder for the description")):
        command.add_argument("--out", type=Path, required=True, help=words)
    for command in (packed, opened):
        command.add_argument("--database", default=DATABASE, help=f"URL of the database; {DATABASE} if not given")


def schema(options: argparse.Namespace) -> int:
    """Write the description of every table: Markdown to read, CSVW for programs."""
    from rehab.base.tables import TABLES
    from rehab.outputs import csvw

    options.out.mkdir(parents=True, exist_ok=True)
    for name, text in (("tables.md", csvw.schema_page()),
                       ("csv-metadata.json", csvw.describe({f"{table}.csv": table for table in TABLES}))):
        (options.out / name).write_text(text, encoding="utf-8")
        print(options.out / name)
    return 0


def archive(options: argparse.Namespace) -> int:
    """Write a project of a database as one file."""
    from rehab import store

    try:
        engine = store.connect(options.database)
        found = {project.name: project.id for project in store.projects(engine)}
        if options.project not in found:
            raise BadAssumption(f"the database {options.database} has no project '{options.project}', but "
                                f"{', '.join(found) or 'none at all'}")
        options.out.write_bytes(store.archive(engine, found[options.project]))
    except store.StoreError as error:
        raise BadAssumption(str(error)) from error
    print(options.out)
    return 0


def restore(options: argparse.Namespace) -> int:
    """Open an archive in a database."""
    from rehab import store

    try:
        project = store.restore(store.connect(options.database), options.archive.read_bytes(), options.who,
                                name=options.name)
    except store.StoreError as error:
        raise BadAssumption(str(error)) from error
    print(f"'{project.name}', version {project.version}, is in {options.database}")
    return 0
