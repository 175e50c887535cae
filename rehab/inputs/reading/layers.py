"""Map layers: GeoJSON, GeoPackage and zipped Shapefile to a text table and lines in WGS 84."""

from __future__ import annotations

import io
import json
import tempfile
import zipfile
from pathlib import Path, PurePosixPath
from typing import Any, Final

import numpy as np
import pandas as pd

from rehab.base.errors import Problem
from rehab.inputs.reading.lines import WGS84, Shapes, to_wgs84
from rehab.inputs.reading.raw import ZIP_FAULTS, Raw, cleaned, listed, refusal

#: bytes a zip may unfold to; a larger one is taken for a zip bomb
MOST_UNZIPPED: Final = 500_000_000
_PARTS: Final = (".shp", ".shx", ".dbf", ".prj", ".cpg")
_LAYER: Final = "a layer of lines with one feature for each block"


def geojson(name: str, content: bytes, crs: str | None) -> Raw:
    """A GeoJSON feature collection: longitude and latitude by RFC 7946 unless it names a crs, or ``crs`` is given."""
    import shapely

    try:
        root = json.loads(content.decode("utf-8-sig"))
    except (UnicodeDecodeError, ValueError, RecursionError) as error:
        raise refusal(name, f"the file is not sound JSON ({error})"[:300], "a GeoJSON feature collection") from error
    features = root.get("features") if isinstance(root, dict) else None
    if not isinstance(features, list):
        raise refusal(name, "the file is JSON but not a GeoJSON feature collection", "a GeoJSON feature collection")
    sound = [feature if isinstance(feature, dict) else {} for feature in features]
    cells = [feature["properties"] if isinstance(feature.get("properties"), dict) else {} for feature in sound]
    for feature, row in zip(sound, cells, strict=True):
        if "id" in feature and "id" not in row:
            row["id"] = feature["id"]
    columns = list(dict.fromkeys(str(key) for row in cells for key in row))
    frame = pd.DataFrame({key: pd.Series([_plain(row.get(key)) for row in cells], dtype="str") for key in columns},
                         index=range(len(cells)))
    shapes = shapely.from_geojson([json.dumps(feature.get("geometry")) for feature in sound], on_invalid="ignore")
    given = np.array([feature.get("geometry") is not None for feature in sound], bool)
    named = _legacy_crs(name, root.get("crs"))
    return _raw(name, frame, np.asarray(shapes, object), given, crs or named or WGS84, "geojson", ["features"], [])


def geopackage(name: str, content: bytes, sheet: str | None, crs: str | None) -> Raw:
    """One layer of a GeoPackage: ``sheet`` or the first one with lines and rows."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "layer.gpkg"
        path.write_bytes(content)
        return _from_file(name, path, sheet, crs, "gpkg")


def shapefile(name: str, content: bytes, sheet: str | None, crs: str | None) -> Raw:
    """One Shapefile out of a zip; nothing is unpacked but its parts, under names of our own."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as package:
            stems = _checked_members(name, package)
            if not stems:
                raise refusal(name, "the zip holds no Shapefile",
                              "a zip with the .shp, .shx, .dbf and .prj files of a layer")
            names = {PurePosixPath(stem).name: stem for stem in stems}
            if sheet is not None and sheet not in names:
                raise refusal(name, f"the zip has no layer '{sheet}'", f"one of: {', '.join(names)}", value=sheet)
            chosen = sheet or next(iter(names))
            with tempfile.TemporaryDirectory() as folder:
                for ending, member in stems[names[chosen]].items():
                    (Path(folder) / f"layer{ending}").write_bytes(package.read(member))
                raw = _from_file(name, Path(folder) / "layer.shp", None, crs, "shp")
    except ZIP_FAULTS as error:
        raise refusal(name, f"the zip is damaged or protected and cannot be unpacked ({error})"[:300],
                      "a plain zip without a password") from error
    others = [other for other in names if other != chosen]
    problems = [Problem("warn", name, None, None, chosen,
                        f"the layer '{chosen}' was read; not read: {', '.join(others)}",
                        "another layer, if it is chosen")] if others else []
    return Raw(raw.name, raw.frame, raw.rows, raw.lines, problems + raw.problems, list(names), raw.broken, "shp")


def unfolded_size(name: str, package: zipfile.ZipFile) -> None:
    """Refuse a zip that unfolds to more than :data:`MOST_UNZIPPED` bytes."""
    if sum(member.file_size for member in package.infolist()) > MOST_UNZIPPED:
        raise refusal(name, f"the file unfolds to more than {MOST_UNZIPPED // 1_000_000} MB", "a smaller file")


def _checked_members(name: str, package: zipfile.ZipFile) -> dict[str, dict[str, str]]:
    """Layer (path without ending) -> ending -> member; refuses paths outside the zip."""
    unfolded_size(name, package)
    found: dict[str, dict[str, str]] = {}
    for member in package.namelist():
        path = PurePosixPath(member.replace("\\", "/"))
        if path.is_absolute() or ".." in path.parts or ":" in member:
            raise refusal(name, "the zip holds a file with a path outside the zip; nothing was unpacked",
                          "a zip made from the files of the layer alone", value=member)
        if path.suffix.lower() in _PARTS and not path.name.startswith(".") and path.parts[0] != "__MACOSX":
            found.setdefault(str(path.with_suffix("")), {})[path.suffix.lower()] = member
    return {stem: parts for stem, parts in found.items() if ".shp" in parts}


def _from_file(name: str, path: Path, sheet: str | None, crs: str | None, kind: str) -> Raw:
    import pyogrio
    import pyogrio.errors
    import shapely
    from pyogrio.raw import read as read_raw

    try:
        layers = {str(layer): geometry for layer, geometry in pyogrio.list_layers(path)}
        if sheet is not None and sheet not in layers:
            raise refusal(name, f"the file has no layer '{sheet}'", f"one of: {', '.join(layers)}", value=sheet)
        lines = [layer for layer, geometry in layers.items() if geometry and "LineString" in geometry]
        wanted = sheet or next(iter([*lines, *layers]), None)
        if wanted is None:
            raise refusal(name, "the file holds no layer", _LAYER)
        meta, _, shapes, columns = read_raw(path, layer=wanted, datetime_as_string=True)
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, pyogrio.errors.GeometryError,
            pyogrio.errors.FieldError, pyogrio.errors.CRSError, UnboundLocalError, ValueError, RuntimeError,
            OSError) as error:  # UnboundLocalError: what pyogrio 0.13 gives for a .prj that it cannot parse
        raise refusal(name, f"the layer is damaged and cannot be read ({error})"[:300],
                      "the layer opened in a GIS and saved again") from error
    size = len(columns[0]) if columns else len(shapes) if shapes is not None else 0
    frame = pd.DataFrame({str(field): _texts(column) for field, column in zip(meta["fields"], columns, strict=True)},
                         index=range(size))
    problems = [Problem("warn", name, None, None, wanted, f"the layer '{wanted}' was read; not read: "
                        f"{', '.join(other for other in layers if other != wanted)}", "another layer, if it is chosen")
                ] if len(layers) > 1 and sheet is None and kind == "gpkg" else []
    if shapes is None:
        return _raw(name, frame, None, None, None, kind, list(layers), problems)
    given = np.array([shape is not None for shape in shapes], bool)
    parsed = shapely.from_wkb(shapes, on_invalid="ignore")
    return _raw(name, frame, np.asarray(parsed, object), given, crs or meta["crs"], kind, list(layers), problems)


def _raw(name: str, frame: pd.DataFrame, shapes: Shapes | None, given: np.ndarray[Any, np.dtype[np.bool_]] | None,
         crs: str | None, kind: str, layers: list[str], problems: list[Problem]) -> Raw:
    """The raw table of a layer; refuses one without features, attributes or coordinate reference system."""
    if frame.shape[1] == 0 or frame.empty:
        raise refusal(name, "the layer has no features with attributes", _LAYER)
    rows = np.arange(1, len(frame) + 1, dtype="int64")
    lines: list[str | None] | None = None
    if shapes is not None and given is not None:
        if not crs:
            raise refusal(name, "the file does not say its coordinate reference system, so its lines cannot be placed",
                          "the .prj file in the zip, or a code such as EPSG:2230 given with the file",
                          column="geometry")
        problems = problems + listed("warn", name, rows[~given], "geometry", None,
                                     "the feature has no line; the block is left off the map",
                                     "one line for each feature")
        lines, found = to_wgs84(name, rows, shapes, given, crs)
        problems += found
    return Raw(name, cleaned(frame), rows, lines, problems, layers, np.zeros(len(rows), bool), kind)


def _legacy_crs(name: str, member: object) -> str | None:
    """The name in the crs member that GeoJSON had before RFC 7946; refuses one that cannot be understood."""
    if member is None:
        return None
    named = member.get("properties") if isinstance(member, dict) else None
    text = named.get("name") if isinstance(named, dict) else None
    if not isinstance(text, str):
        raise refusal(name, "the crs member of the file names no coordinate reference system",
                      "no crs member (longitude and latitude), or one with a name such as EPSG:2230", column="crs")
    return text


def _plain(value: object) -> str | None:
    """A JSON value as a cell: whole numbers without a point, lists and objects as JSON."""
    if value is None or isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    return json.dumps(value)


def _texts(column: Any) -> pd.Series:
    """A column of a layer as text; floating columns that hold whole numbers lose the point."""
    series = pd.Series(column)
    if pd.api.types.is_float_dtype(series):
        whole = series.dropna()
        if (whole % 1 == 0).all() and (whole.abs() < 1e15).all():
            series = series.astype("Int64")
    return series.astype("str").mask(series.isna())
