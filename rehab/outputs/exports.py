"""Tables as files for other programs: CSV, GeoJSON, JSON."""

from __future__ import annotations

import csv
import json
import math
from collections.abc import Mapping
from datetime import date
from io import StringIO
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd
import shapely

from rehab.outputs import shapes
from rehab.outputs.gis.placing import place
from rehab.outputs.words import known

_DANGEROUS: Final = ("=", "+", "-", "@", "\t", "\r")
_DECIMALS: Final = 7  #: RFC 7946, section 11.2: more is not accuracy but size

_PROPERTIES: Final = (
    "street", "from_street", "to_street", "district", "functional_class", "area_sqyd", "index", "full_share",
    "partial_share", "strategy", "reasons", "alternatives", "estimated", "overridden", "low_usd", "likely_usd",
    "high_usd", "life_extension_yr", "program_year", "program_strategy", "program_cost_usd", "ground_year",
)


def csv_text(frame: pd.DataFrame) -> str:
    """A table as CSV after RFC 4180: comma, CRLF, quotes where needed, first line the column names.

    A text that a spreadsheet would take for a formula (it starts with = + - @, tab or return) gets an
    apostrophe in front; numbers stay as they are.  Money is rounded to cents, other numbers to six significant
    digits (whole numbers are kept), flags are true and false, dates ISO 8601, missing is empty.
    """
    stream = StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow([_safe(str(name)) for name in frame.columns])
    columns = [_cells(frame[name], str(name)) for name in frame.columns]
    writer.writerows(zip(*columns, strict=True))
    return stream.getvalue()


def exact_csv_text(frame: pd.DataFrame) -> str:
    """As :func:`csv_text`, but every number as it is: for tables that a proof is checked from."""
    exact = frame.assign(**{name: frame[name].map(repr) for name in frame.columns if frame[name].dtype == np.float64})
    return exact.mask(frame.isna(), "").to_csv(index=False, lineterminator="\r\n")


def with_payers(rows: pd.DataFrame, payments: pd.DataFrame) -> pd.DataFrame:
    """Rows of blocks with a column ``paid_by``: the funds that pay each, with their dollars if they are several.

    ``payments`` is the table of that name; a block that nobody pays has an empty text.
    """
    of_fund = payments.groupby(["block_id", "fund"], sort=True)["usd"].sum().reset_index()
    several = of_fund["block_id"].duplicated(keep=False)
    said = of_fund["fund"].where(~several, of_fund["fund"] + of_fund["usd"].map(" ${:,.0f}".format))
    words = said.groupby(of_fund["block_id"]).agg("; ".join) if len(of_fund) else pd.Series(dtype="str")
    return rows.assign(paid_by=rows["block_id"].map(words).fillna("").astype("str"))


def with_estimated(rows: pd.DataFrame, overview: pd.DataFrame) -> pd.DataFrame:
    """Rows of blocks with a last column ``estimated``: whether a block's needs rest on an index, a rating or a word.

    Rows that have the column keep theirs; a block that the overview does not name is left open.
    """
    if "estimated" in rows.columns:
        return rows
    of_block = overview.set_index("block_id")["estimated"].astype("boolean")
    return rows.assign(estimated=of_block.reindex(rows["block_id"]).array)


def write_csv(frame: pd.DataFrame, path: Path) -> None:
    """Write :func:`csv_text` to a file in UTF-8."""
    path.write_bytes(csv_text(frame).encode("utf-8"))


def write_exact(frame: pd.DataFrame, path: Path) -> None:
    """Write a table whose figures read back as the very numbers: for a proof, not for reading."""
    frame.to_csv(path, index=False, lineterminator="\n", encoding="utf-8")


def program_geojson(overview: pd.DataFrame, geometry: pd.DataFrame) -> str:
    """The blocks that have geometry as GeoJSON after RFC 7946.

    WGS 84, longitude first, seven decimals, a ``bbox``, no ``crs`` member; a missing value is null.  Feature
    ids and the property ``block_id`` name the block; ``estimated`` says what the needs rest on.
    """
    lines = shapes.lines(geometry, _DECIMALS)
    shown = overview[overview["block_id"].isin(list(lines))]
    names = ("block_id", *_PROPERTIES)
    rows = zip(*(shown[name].to_numpy(dtype=object) for name in names), strict=True)
    collection: dict[str, Any] = {"type": "FeatureCollection"}
    box = shapes.bounds([lines[block] for block in shown["block_id"]])
    if box:
        collection["bbox"] = list(box)
    collection["features"] = [
        {"type": "Feature", "id": row[0], "geometry": lines[row[0]],
         "properties": {name: _plain(value, name) for name, value in zip(names, row, strict=True)}}
        for row in rows
    ]
    return json.dumps(collection, allow_nan=False, ensure_ascii=False, separators=(",", ":"))


def repairs_geojson(repairs: pd.DataFrame, network: pd.DataFrame, geometry: pd.DataFrame) -> str:
    """The repairs of the panel survey as polygons in GeoJSON after RFC 7946, those that have a place on the earth.

    WGS 84, longitude first, seven decimals, outer rings counter-clockwise (3.1.6), a ``bbox``, no ``crs`` member.  A
    feature's id is the block and the number of the repair, ``BLOCK/3``.  ``scaled`` says by how much places along the
    block were stretched to its line; ``estimated`` is false, since repairs are laid out from what was seen.
    """
    placed = place(repairs, network, geometry)
    rounded = shapely.transform(placed.polygons, lambda points: np.round(points, _DECIMALS))
    shown = [*placed.rows.columns]
    collection: dict[str, Any] = {"type": "FeatureCollection"}
    if len(rounded):
        collection["bbox"] = [float(edge) for edge in shapely.total_bounds(rounded)]
    rows = zip(*(placed.rows[name].to_numpy(dtype=object) for name in shown), strict=True)
    collection["features"] = [
        {"type": "Feature", "id": f"{row[0]}/{row[1]}", "geometry": json.loads(shape), "properties": {
            **{name: _plain(value, name) for name, value in zip(shown, row, strict=True)}, "estimated": False}}
        for row, shape in zip(rows, shapely.to_geojson(rounded), strict=True)
    ]
    return json.dumps(collection, allow_nan=False, ensure_ascii=False, separators=(",", ":"))


def values_toml(own: Mapping[str, Mapping[str, str]]) -> str:
    """The city's own values, table -> key -> value, as the TOML that ``plan --assumptions`` reads."""
    parts = [[f"[{table}]", *(f"{json.dumps(key)} = {json.dumps(value)}" for key, value in rows.items()), ""]
             for table, rows in own.items()]
    return "\n".join(line for part in parts for line in part)


def summary_json(mapping: Mapping[str, Any]) -> str:
    """Nested mappings, lists, tables (as lists of rows) and numbers as JSON; NaN, NA and infinity become null."""
    return json.dumps(_jsonable(mapping), allow_nan=False, ensure_ascii=False, indent=2) + "\n"


def _cells(column: pd.Series, name: str) -> list[str]:
    """The cells of one column; texts and numbers take a short way, since they are most of a table."""
    if isinstance(column.dtype, pd.StringDtype):
        return [_safe(text) for text in column.fillna("").tolist()]
    if column.dtype == np.int64:
        return [str(value) for value in column.tolist()]
    if column.dtype != np.float64:
        return [_cell(value, name) for value in column.to_numpy(dtype=object)]
    money = name.endswith("_usd")
    return ["" if not math.isfinite(value) else str(int(value)) if value.is_integer() and abs(value) < 2**53
            else str(_rounded(value, name)) if money else repr(float(f"{value:.6g}")) for value in column.tolist()]


def _cell(value: Any, column: str) -> str:
    if not known(value):
        return "" if not isinstance(value, str) else _safe(value)
    if isinstance(value, bool | np.bool_):
        return "true" if value else "false"
    if isinstance(value, date | pd.Timestamp):
        return _date(value)
    if isinstance(value, int | float | np.integer | np.floating):
        rounded = _rounded(float(value), column)
        return "" if rounded is None else str(rounded)
    return _safe(str(value))


def _safe(text: str) -> str:
    return f"'{text}" if text.startswith(_DANGEROUS) else text


def _rounded(value: float, column: str) -> float | int | None:
    """Money to cents, whole numbers whole, others to six significant digits; None if it is not finite."""
    if not math.isfinite(value):
        return None
    number = round(value, 2) if column.endswith("_usd") else value
    if number.is_integer() and abs(number) < 2**53:
        return int(number)
    return number if column.endswith("_usd") else float(f"{number:.6g}")


def _date(value: date | pd.Timestamp) -> str:
    """ISO 8601; the time of day is left out where it is midnight."""
    stamp = pd.Timestamp(value)
    return f"{stamp:%Y-%m-%d}" if stamp == stamp.normalize() else stamp.isoformat()


def _plain(value: Any, column: str) -> Any:
    """A cell as a JSON value, numbers rounded as in a CSV."""
    if isinstance(value, float | np.floating) and not isinstance(value, bool):
        return _rounded(float(value), column)
    return _jsonable(value)


def _jsonable(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {str(name): _jsonable(item) for name, item in value.items()}
    if isinstance(value, pd.DataFrame):
        return [_jsonable(row) for row in value.to_dict("records")]
    if isinstance(value, set | frozenset):
        return sorted(_jsonable(item) for item in value)
    if isinstance(value, list | tuple | range | np.ndarray | pd.Series | pd.Index):
        return [_jsonable(item) for item in value]
    if isinstance(value, bool | np.bool_):
        return bool(value)
    if isinstance(value, int | np.integer):
        return int(value)
    if isinstance(value, float | np.floating):
        return float(value) if math.isfinite(value) else None
    if value is None or value is pd.NaT or value is pd.NA:
        return None
    return _date(value) if isinstance(value, date | pd.Timestamp) else str(value)
