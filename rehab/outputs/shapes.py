"""Centre lines as GeoJSON geometry: the one place where outputs read well-known text."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pandas as pd
import shapely


def lines(geometry: pd.DataFrame, decimals: int) -> dict[str, dict[str, Any]]:
    """GeoJSON geometry by block, longitude first, rounded to ``decimals``; empty lines are left out.

    Heights are dropped.  Raises :class:`shapely.errors.GEOSException` for text that is not a geometry: a
    fault of the program, since reading checks geometry.
    """
    if geometry.empty:
        return {}
    shapes = shapely.force_2d(shapely.from_wkt(geometry["line"].to_numpy(dtype=object)))
    rounded = shapely.transform(shapes, lambda points: np.round(points, decimals))
    kept = ~(shapely.is_empty(rounded) | shapely.is_missing(rounded))
    texts = shapely.to_geojson(rounded[kept])
    return dict(zip(geometry["block_id"].to_numpy(dtype=object)[kept], map(json.loads, texts), strict=True))


def named(geometry: pd.DataFrame) -> set[str]:
    """The blocks that have a line: those of :func:`lines`, without making the lines."""
    if geometry.empty:
        return set()
    shapes = shapely.from_wkt(geometry["line"].to_numpy(dtype=object))
    kept = ~(shapely.is_empty(shapes) | shapely.is_missing(shapes))
    return set(geometry["block_id"].to_numpy(dtype=object)[kept])


def bounds(shapes: list[dict[str, Any]]) -> tuple[float, float, float, float] | None:
    """West, south, east, north of GeoJSON lines; None without any."""
    points = [point for shape in shapes for part in _parts(shape) for point in part]
    if not points:
        return None
    box = np.array(points, float)
    (west, south), (east, north) = box.min(axis=0), box.max(axis=0)
    return float(west), float(south), float(east), float(north)


def bearing_deg(geometry: pd.DataFrame, block_id: str) -> float | None:
    """Direction of a block's line from its beginning to its end, degrees clockwise from north; None without a line.

    The azimuth of the geodesic on the WGS 84 ellipsoid between the two ends.
    """
    shape = lines(geometry[geometry["block_id"] == block_id], decimals=7).get(block_id)
    if shape is None:
        return None
    from pyproj import Geod

    parts = _parts(shape)
    (west, south), (east, north) = parts[0][0], parts[-1][-1]
    azimuth, _, length = Geod(ellps="WGS84").inv(west, south, east, north)
    return float(azimuth) % 360 if length > 0 else None


def _parts(shape: dict[str, Any]) -> list[list[list[float]]]:
    if shape["type"] == "LineString":
        return [shape["coordinates"]]
    if shape["type"] == "MultiLineString":
        return list(shape["coordinates"])
    raise ValueError(f"a block's geometry is a line, not a {shape['type']}")
