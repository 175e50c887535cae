"""Lines of blocks: well-known text, reprojection to WGS 84, and a line layer joined to its blocks."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base import tables
from rehab.base.errors import Problem
from rehab.inputs.reading.headings import suggest
from rehab.inputs.reading.raw import Findings, Raw, listed, problem_table, refusal

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

Shapes = npt.NDArray[np.object_]

WGS84: Final = "OGC:CRS84"  #: longitude, latitude
#: headings under which a table may hold its lines, in plain spelling
WKT_HEADINGS: Final = frozenset({"wkt", "geometry", "geom", "thegeom", "line", "linewkt", "wktgeom", "shape"})
_WKT: Final = re.compile(r"\s*(?:SRID=4326;\s*)?(?:MULTI)?(?:POINT|LINESTRING|POLYGON)\b|\s*GEOMETRYCOLLECTION\b",
                         re.IGNORECASE)
_DECIMALS: Final = 7  # of a degree: about a centimetre


def to_wgs84(name: str, rows: npt.NDArray[np.int64], shapes: Shapes, given: npt.NDArray[np.bool_],
             crs: str) -> tuple[list[str | None], list[Problem]]:
    """Lines as well-known text in longitude and latitude, None for what is no single line, and problems.

    Parts that meet end to end are merged.  Axis order is x, y (longitude, latitude) for every system.
    Raises :class:`UnusableInput` for a system that does not exist.
    """
    import shapely

    found = Findings(name, rows)
    kinds = shapely.get_type_id(shapes)
    bad = given & (kinds < 0)
    found.add("warn", bad, "geometry", None, "the geometry cannot be read; the block is left off the map", "a line")
    other = given & ~bad & ~np.isin(kinds, (1, 5))
    found.add("warn", other, "geometry", pd.Series(shapes).map(_type_name), "the geometry is not a line; the block is "
              "left off the map", "LineString, or a MultiLineString whose parts meet")
    shapes = shapely.force_2d(_without(shapes, bad | other | ~given))
    multi = shapely.get_type_id(shapes) == 5
    shapes[multi] = shapely.line_merge(shapes[multi])
    apart = shapely.get_type_id(shapes) == 5
    found.add("warn", apart, "geometry", None, "the parts of the line do not meet; the block is left off the map",
              "one line, or parts that meet end to end")
    present = np.array([shape is not None for shape in shapes], bool)
    empty = present & (shapely.is_empty(shapes) | (shapely.length(shapes) == 0))
    found.add("warn", empty, "geometry", None, "the line is empty or has no length; the block is left off the map",
              "a line")
    shapes, where = _reprojected(name, _without(shapes, apart | empty), crs)
    found.add("warn", where, "geometry", None, f"the coordinates are no place on earth in {crs}; the block is left off "
              "the map", "the right coordinate reference system, given with the file; longitude before latitude")
    texts = np.asarray(shapely.to_wkt(_without(shapes, where), rounding_precision=_DECIMALS), object)
    return texts.tolist(), found.problems


def from_wkt(name: str, rows: npt.NDArray[np.int64], texts: pd.Series,
             crs: str | None) -> tuple[list[str | None], list[Problem]]:
    """Lines from a column of well-known text, in WGS 84 unless ``crs`` is given."""
    import shapely

    given = texts.notna().to_numpy(bool)
    bare = texts.str.replace(r"^\s*SRID=4326;\s*", "", regex=True, flags=re.IGNORECASE)
    shapes = shapely.from_wkt(bare.astype(object).where(given, None).to_numpy(), on_invalid="ignore")
    missing = listed("warn", name, rows[~given], str(texts.name), None,
                     "the row has no line; the block is left off the map", "LINESTRING (longitude latitude, ...)")
    lines, problems = to_wgs84(name, rows, np.asarray(shapes, object), given, crs or WGS84)
    return lines, missing + problems


def looks_like_wkt(texts: pd.Series) -> bool:
    """Whether most of the first filled cells begin as well-known text does."""
    sample = texts.dropna().iloc[:200]
    return len(sample) > 0 and sum(bool(_WKT.match(text)) for text in sample) > len(sample) / 2


def joined(found: Findings, keys: pd.Series, lines: list[str | None]) -> pd.DataFrame:
    """The geometry table of blocks: key and line of the rows that have one, sorted; one row per block."""
    frame = pd.DataFrame({"block_id": keys.to_numpy(), "line": pd.Series(lines, dtype="str").to_numpy()})
    frame = frame[~found.stopped & frame["line"].notna() & frame["block_id"].notna()]
    return tables.with_types("geometry", frame.sort_values("block_id").reset_index(drop=True))


def read_lines(raw: Raw, blocks: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The geometry of blocks from a line layer of its own, matched by block_id, and the problems.

    A block of several features gets one line if they meet end to end.  Raises :class:`UnusableInput` if the file
    holds no lines or no column of block ids.
    """
    if raw.lines is None:
        raise refusal(raw.name, "the file holds no lines", "a layer of lines, or a table with a column of WKT lines")
    mapping = suggest(raw)
    heading = mapping.loc[mapping["ours"] == "block_id", "theirs"]
    if heading.empty:
        raise refusal(raw.name, "no column of the layer is known to hold the block's name",
                      f"one of its columns called block_id; it has {', '.join(raw.frame.columns)}", column="block_id")
    keys = raw.frame[heading.iloc[0]].rename(heading.iloc[0])
    found = Findings(raw.name, raw.rows)
    known = keys.isin(blocks["block_id"]).to_numpy(bool) & ~raw.broken
    if (~known).any():
        first = raw.rows[~known][0]
        found.note(f"{(~known).sum():,} features belong to no block of the table, the first in row {first}; their "
                   "lines are not used", "the block ids of the table", column=str(keys.name))
    merged = _one_per_block(found, keys, raw.lines, known)
    geometry = tables.with_types("geometry", pd.DataFrame({"block_id": list(merged), "line": list(merged.values())}))
    without = blocks.loc[~blocks["block_id"].isin(geometry["block_id"]), "block_id"]
    if len(without):
        found.note(f"{len(without):,} blocks have no line, the first is {without.iloc[0]}; they are left off the map",
                   "a line for every block", column=str(keys.name))
    return tables.check("geometry", geometry), problem_table(raw.problems + found.problems)


def _one_per_block(found: Findings, keys: pd.Series, lines: list[str | None],
                   known: npt.NDArray[np.bool_]) -> dict[str, str]:
    """Block -> line, sorted; several lines of a block are merged, and reported where they do not meet."""
    import shapely

    usable = known & np.array([line is not None for line in lines], bool)
    at = pd.DataFrame({"key": keys[usable].to_numpy(), "line": np.array(lines, object)[usable],
                       "at": np.flatnonzero(usable)})
    repeated = at["key"].duplicated(keep=False)
    result = dict(zip(at.loc[~repeated, "key"], at.loc[~repeated, "line"], strict=True))
    apart = np.zeros(len(keys), bool)
    for key, group in at[repeated].groupby("key"):
        parts = shapely.MultiLineString(list(shapely.from_wkt(group["line"].to_numpy(object))))
        line = shapely.line_merge(parts)
        if isinstance(line, shapely.LineString):
            result[str(key)] = shapely.to_wkt(line, rounding_precision=_DECIMALS)
        else:
            apart[group["at"]] = True
    found.add("warn", apart, str(keys.name), keys,
              "the lines of the block do not meet end to end; the block is left off the map",
              "one line for each block, or parts that meet")
    return dict(sorted(result.items()))


def _reprojected(name: str, shapes: Shapes, crs: str) -> tuple[Shapes, npt.NDArray[np.bool_]]:
    """The shapes in longitude and latitude, and a mask of those that end up nowhere on earth."""
    import pyproj
    import shapely
    from pyproj.exceptions import CRSError, ProjError

    try:
        system = pyproj.CRS.from_user_input(crs)
        move = pyproj.Transformer.from_crs(system, WGS84, always_xy=True)
    except (CRSError, ProjError) as error:
        raise refusal(name, "the coordinate reference system is not known", "a code such as EPSG:2230",
                      column="geometry", value=str(crs)[:200]) from error
    points, owner = shapely.get_coordinates(shapes, return_index=True)
    if not (system.is_geographic and system.equals(pyproj.CRS(WGS84), ignore_axis_order=True)) and len(points):
        outside = system.is_geographic & (np.abs(points) > (360, 90)).any(axis=1)
        points = np.column_stack(move.transform(points[:, 0], points[:, 1]))
        points[outside] = np.inf
    nowhere = ~np.isfinite(points).all(axis=1) | (np.abs(points) > (180, 90)).any(axis=1)
    where = np.zeros(len(shapes), bool)
    where[owner[nowhere]] = True
    points[nowhere] = 0.0
    moved = shapely.set_coordinates(shapes.copy(), points) if len(points) else shapes
    return np.asarray(moved, object), where


def _without(shapes: Shapes, mask: npt.NDArray[np.bool_]) -> Shapes:
    kept = shapes.copy()
    kept[mask] = None
    return kept


def _type_name(shape: BaseGeometry | Any | None) -> str | None:
    return None if shape is None else str(shape.geom_type)
