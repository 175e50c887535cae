"""What is known of a city's seasons: weather, days without work, moves and work done; every version kept."""

from __future__ import annotations

from datetime import datetime
from typing import Final

import pandas as pd
from sqlalchemy import Engine, func, insert, select

from rehab.store import checks, schema
from rehab.store.database import writing
from rehab.store.errors import StoreError
from rehab.store.packing import pack, unpack
from rehab.store.trail import record

#: tables that hold for all years, kept under year 0, and tables of one year
OF_CITY: Final = ("normals", "weather_forecast", "no_work")
OF_YEAR: Final = ("moves", "actual", "tasks", "measured", "measured_repairs")


def save_season(engine: Engine, project_id: int, year: int, table: str, frame: pd.DataFrame, who: str,
                when: datetime | None = None) -> None:
    """Save one of the tables of a season, an empty one to be rid of it; what is there already is not stored again.

    ``year`` is 0 for the tables that hold for all years.  Raises :class:`StoreError` for a table that is none of a
    season, for one with the wrong year, and for a project that does not exist.
    """
    if table not in (OF_CITY if year == 0 else OF_YEAR):
        raise StoreError(f"'{table}' is no table of {'all seasons' if year == 0 else 'one season'}")
    checks.name("the name of who saves", who)
    moment = checks.moment(when)
    packed = pack(table, frame)
    columns = schema.season_tables.c
    with writing(engine) as connection:
        known = checks.project(connection, project_id)
        newest = select(columns.digest).where(columns.project_id == known, columns.year == year,
                                              columns.table_name == table).order_by(columns.id.desc()).limit(1)
        before = connection.execute(newest).scalar()
        if before == packed["digest"] or (before is None and frame.empty):
            return
        connection.execute(insert(schema.season_tables).values(
            project_id=known, year=year, who=who, saved_on=moment, **packed))
        named = table.replace("_", " ") + (f" of {year}" if year else "")
        record(connection, known, "season", [f"{named}: {len(frame):,} rows"], who, moment)


def load_season(engine: Engine, project_id: int) -> dict[tuple[int, str], pd.DataFrame]:
    """The tables of the seasons as they were saved last, by year (0: all years) and name; empty ones are left out.

    Raises :class:`StoreError` if there is no such project or a stored table is damaged.
    """
    columns = schema.season_tables.c
    with engine.connect() as connection:
        known = checks.project(connection, project_id)
        newest = select(func.max(columns.id)).where(columns.project_id == known).group_by(columns.year,
                                                                                          columns.table_name)
        rows = connection.execute(select(schema.season_tables).where(columns.id.in_(newest))).mappings().all()
    found = {(int(row["year"]), str(row["table_name"])): unpack(row) for row in rows}
    return {key: frame for key, frame in found.items() if len(frame)}
