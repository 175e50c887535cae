"""A plan as one GeoPackage (OGC 12-128): four layers, tables beside them, styles, and what every column means.

GDAL writes layers and tables.  What it does not write follows with plain SQL: the words of the columns, after the
standard's schema extension, and the table ``layer_styles`` with a Styled Layer Descriptor for each layer, which is no
part of the standard but registered as the standard asks.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from rehab.base.tables import TABLES, Field, field
from rehab.base.tables.fields import text
from rehab.base.tables.meanings import ADDED, MEANINGS
from rehab.outputs import shapes
from rehab.outputs.exports import with_estimated
from rehab.outputs.gis.placing import Placed, place
from rehab.outputs.gis.styles import styles
from rehab.outputs.words import count, heading

_ESTIMATED: Final = ADDED["estimated"]
_WHERE: Final = ("street", "from_street", "to_street", "district")
_OF_STRATEGY: Final = ("strategy", "reasons", "alternatives", "companions", "curb_ramps", "engineer_decides",
                       "untreated_yr", "treated_yr", "life_extension_yr", "low_usd", "likely_usd", "high_usd",
                       "overridden", "estimated")
#: what a row of each layer is
_LAYERS: Final[dict[str, str]] = {
    "blocks": "A block: what it is, its survey, its condition today.",
    "strategies": "A block with the strategy by today's condition, why, what else would do, life and cost.",
    "program": "A block that gets work in the program: its year, cost, benefit and what may follow.",
    "repairs": "A repair laid out from the panel survey, where it lies on the street.",
}
_SCHEMA: Final = """
CREATE TABLE gpkg_data_columns (
  table_name TEXT NOT NULL, column_name TEXT NOT NULL, name TEXT, title TEXT, description TEXT, mime_type TEXT,
  constraint_name TEXT, CONSTRAINT pk_gdc PRIMARY KEY (table_name, column_name),
  CONSTRAINT gdc_tn UNIQUE (table_name, name));
CREATE TABLE gpkg_data_column_constraints (
  constraint_name TEXT NOT NULL, constraint_type TEXT NOT NULL, value TEXT, min NUMERIC, min_is_inclusive BOOLEAN,
  max NUMERIC, max_is_inclusive BOOLEAN, description TEXT,
  CONSTRAINT gdcc_ntv UNIQUE (constraint_name, constraint_type, value));
INSERT INTO gpkg_extensions VALUES
  ('gpkg_data_columns', NULL, 'gpkg_schema', 'http://www.geopackage.org/spec121/#extension_schema', 'read-write'),
  ('gpkg_data_column_constraints', NULL, 'gpkg_schema', 'http://www.geopackage.org/spec121/#extension_schema',
   'read-write');
CREATE TABLE layer_styles (
  id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, f_table_catalog TEXT, f_table_schema TEXT, f_table_name TEXT,
  f_geometry_column TEXT, styleName TEXT, styleQML TEXT, styleSLD TEXT, useAsDefault BOOLEAN, description TEXT,
  owner TEXT, ui TEXT, update_time DATETIME);
INSERT INTO gpkg_contents (table_name, data_type, identifier, description)
  VALUES ('layer_styles', 'attributes', 'layer_styles', 'A Styled Layer Descriptor for each layer.');
"""


class Package(NamedTuple):
    """A GeoPackage: its bytes, the rows of each layer and table, and what has no place on the map."""

    content: bytes
    rows: dict[str, int]
    without_line: tuple[str, ...]  #: blocks that are in the layers without a line
    unplaced: pd.DataFrame  #: block_id, repair_id, why

    def sentences(self) -> list[str]:
        """What is not drawn, in words; nothing where all is."""
        return _left_out(len(self.without_line), self.unplaced)


class _Table(NamedTuple):
    """A layer, or a table without geometry if ``geometry`` is None; ``fields`` name the columns of ``frame``."""

    name: str
    about: str
    frame: pd.DataFrame
    fields: tuple[Field, ...]
    geometry: npt.NDArray[np.object_] | None
    kind: str | None


def geopackage(overview: pd.DataFrame, network: pd.DataFrame, program: pd.DataFrame, repairs: pd.DataFrame,
               geometry: pd.DataFrame, stamp: datetime, *, quantities: pd.DataFrame | None = None,
               forecast: pd.DataFrame | None = None, about: Mapping[str, str] | None = None) -> Package:
    """The tables of those names as a GeoPackage in EPSG:4326, longitude and latitude on WGS 84.

    A block without a line keeps its row, with no geometry.  ``quantities`` and ``forecast`` become tables if they are
    given; ``about`` are things to know, such as the name of the scenario.  ``stamp`` is the time of the last change,
    and needs a time zone; the same tables and stamp give the same bytes.  Needs no network.
    """
    if stamp.tzinfo is None:
        raise ValueError("the stamp of a GeoPackage needs a time zone")
    lines = _lines(geometry)
    placed = place(repairs, network, geometry)
    missing = tuple(block for block in overview["block_id"] if block not in lines)
    tables = [*_layers(overview, network, program, placed, lines)]
    for name, frame in (("quantities", quantities), ("forecast", forecast)):
        if frame is not None:
            tables.append(_Table(name, MEANINGS[name], with_estimated(frame, overview), (*TABLES[name], _ESTIMATED),
                                 None, None))
    told = {**(about or {}), **{f"Not drawn {at}": words for at, words in
                                enumerate(_left_out(len(missing), placed.unplaced), start=1)}}
    tables.append(_about(told))
    tables.append(_dictionary(tables))
    with TemporaryDirectory() as folder:
        path = Path(folder) / "plan.gpkg"
        for table in tables:
            _write(path, table)
        _finish(path, tables, stamp)
        return Package(path.read_bytes(), {table.name: len(table.frame) for table in tables}, missing, placed.unplaced)


def _left_out(without_line: int, unplaced: pd.DataFrame) -> list[str]:
    said = []
    if without_line:
        said.append(f"{count(without_line, 'block has', 'blocks have')} no line: the rows are there, without geometry.")
    for why, rows in unplaced.groupby("why", sort=True):
        said.append(f"{count(len(rows), 'repair')} of {count(rows['block_id'].nunique(), 'block')} not drawn: {why}.")
    return said


def _lines(geometry: pd.DataFrame) -> dict[str, Any]:
    """The line of each block as a line of parts; blocks with an empty one are left out."""
    named = shapes.named(geometry)
    rows = geometry[geometry["block_id"].isin(list(named))]
    found = shapely.force_2d(shapely.from_wkt(rows["line"].to_numpy(dtype=object)))
    single = shapely.get_type_id(found) == shapely.GeometryType.LINESTRING
    found[single] = [shapely.MultiLineString([line]) for line in found[single]]
    return dict(zip(rows["block_id"], found, strict=True))


def _layers(overview: pd.DataFrame, network: pd.DataFrame, program: pd.DataFrame, placed: Placed,
            lines: Mapping[str, Any]) -> Iterable[_Table]:
    def layer(name: str, frame: pd.DataFrame, columns: tuple[Field, ...]) -> _Table:
        ordered = frame.sort_values("block_id", kind="stable", ignore_index=True)
        drawn = np.array([lines.get(block) for block in ordered["block_id"]], dtype=object)
        return _Table(name, _LAYERS[name], ordered, columns, drawn, "MultiLineString")

    def of(table: str, *names: str) -> tuple[Field, ...]:
        return tuple(field(table, name) for name in names)

    today = overview[["block_id", "index", "full_share", "partial_share", "estimated"]]  # a panel survey is no estimate
    yield layer("blocks", network.drop(columns="estimated").merge(today, on="block_id"),
                (*TABLES["network"], *of("overview", "index", "full_share", "partial_share")))
    yield layer("strategies", overview, of("overview", "block_id", *_WHERE, *_OF_STRATEGY))
    work = program.merge(overview[["block_id", *_WHERE, "ground_year", "estimated"]], on="block_id")
    yield layer("program", work, (
        *of("program", "block_id"), *of("overview", *_WHERE),
        *(one for one in TABLES["program"] if one.name != "block_id"), *of("overview", "ground_year", "estimated")))
    # a repair is laid out from what was seen on its panel: nothing of it is estimated
    parts = np.array([shapely.MultiPolygon([shape]) for shape in placed.polygons], dtype=object)
    yield _Table("repairs", _LAYERS["repairs"], placed.rows.assign(estimated=pd.array([False] * len(placed.rows),
                                                                                      dtype="boolean")),
                 (*TABLES["repairs"], ADDED["scaled"], _ESTIMATED), parts, "MultiPolygon")


def _about(told: Mapping[str, str]) -> _Table:
    frame = pd.DataFrame({"topic": list(told), "value": [str(words) for words in told.values()]}, dtype="str")
    return _Table("about", "What to know of this file.", frame, (text("topic", "What it is about", required=True),
                                                                 text("value", "What is said", required=True)),
                  None, None)


def _dictionary(tables: Sequence[_Table]) -> _Table:
    columns = (text("layer", "Layer or table", required=True), text("column", "Column", required=True),
               text("unit", "Unit"), text("meaning", "What it holds", required=True))
    rows = [(table.name, one.name, one.unit, one.about) for table in tables for one in table.fields]
    rows += [("data_dictionary", one.name, one.unit, one.about) for one in columns]
    frame = pd.DataFrame(rows, columns=[one.name for one in columns], dtype="str")
    return _Table("data_dictionary", "What each column holds, and its unit.", frame, columns, None, None)


def _write(path: Path, table: _Table) -> None:
    """One layer or table, by GDAL."""
    from pyogrio import raw

    values, masks = zip(*(_column(one, table.frame[one.name]) for one in table.fields), strict=True)
    spatial = table.geometry is not None
    raw.write(str(path), shapely.to_wkb(table.geometry) if spatial else None, list(values),
              np.array([one.name for one in table.fields], dtype=object), field_mask=list(masks), layer=table.name,
              driver="GPKG", geometry_type=table.kind, crs="EPSG:4326" if spatial else None,
              layer_options={"DESCRIPTION": table.about, "IDENTIFIER": table.name,
                             **({"GEOMETRY_NAME": "geom"} if spatial else {})})


def _column(one: Field, column: pd.Series) -> tuple[npt.NDArray[Any], npt.NDArray[np.bool_] | None]:
    """The values of a column as the file holds them, and where it holds none."""
    absent = column.isna().to_numpy(bool)
    if one.kind in {"text", "choice"}:
        return column.astype(object).where(~column.isna(), None).to_numpy(dtype=object), None
    if one.kind == "date":
        return column.to_numpy("datetime64[D]"), None
    if one.kind == "flag":
        return column.fillna(False).to_numpy(bool), absent
    numbers = column.to_numpy(float)
    if one.kind in {"whole", "key"}:
        return np.where(absent, 0, numbers).astype(np.int64), absent
    return numbers, None


def _finish(path: Path, tables: Sequence[_Table], stamp: datetime) -> None:
    """The words of the columns, the styles, and the time of the last change, which GDAL takes from the clock."""
    told = f"{stamp.astimezone(UTC):%Y-%m-%dT%H:%M:%S}.000Z"
    columns = [(table.name, one.name, heading(one.name), f"{one.about}. Unit: {one.unit}" if one.unit else one.about)
               for table in tables for one in table.fields]
    drawn = [(name, "geom", name, sld, _LAYERS[name], told) for name, sld in styles().items()]
    with closing(sqlite3.connect(path)) as file:
        file.execute("PRAGMA synchronous = OFF")  # the file is read once and thrown away
        with file:
            file.executescript(_SCHEMA)
            file.executemany("INSERT INTO gpkg_data_columns (table_name, column_name, title, description) "
                             "VALUES (?, ?, ?, ?)", columns)
            file.executemany("INSERT INTO layer_styles (f_table_catalog, f_table_schema, f_table_name, "
                             "f_geometry_column, styleName, styleQML, styleSLD, useAsDefault, description, owner, "
                             "update_time) VALUES ('', '', ?, ?, ?, NULL, ?, 1, ?, '', ?)", drawn)
            file.execute("UPDATE gpkg_contents SET last_change = ?", (told,))
        file.execute("VACUUM")
