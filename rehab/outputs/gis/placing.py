"""Repairs on the earth: rectangles in feet along a block become polygons in longitude and latitude.

A rectangle lies at ``x_ft`` along the block from its beginning and at ``y_ft`` from its left edge, looking along the
block.  On the earth the block is its line, from its first point to its last: x is measured along the line, and the left
edge lies half the width to its left.  A line is drawn, not measured, so that its length is seldom that of the block: x
is stretched by their ratio, which is told in the column ``scaled``.  Where the line bends, the rectangle bends with it,
true to size in its own middle, as it would be measured there.
"""

from __future__ import annotations

from typing import Any, Final, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from rehab.base.units import M_PER_FT

Floats = npt.NDArray[np.float64]
Shapes = npt.NDArray[np.object_]

_MITRE: Final = 5.0  #: how far the corner of a bend may stand out, in widths
_LEAST: Final = 1e-3  #: feet; nearer to the middle is in the middle
_TRUE: Final = 0.001  #: by how much of its area a strip round a bend may be off
_NO_LINE: Final = "the block has no line"
_PIECES: Final = "the line of the block is in pieces that do not meet"
_POINT: Final = "the line of the block has no length"
_FAR: Final = "the line of the block lies too far from the others, or is not in longitude and latitude"
_SHARP: Final = "the line of the block bends too sharply for the width of the street"
_ROUND: Final = "the repair lies across the 180th meridian"


class Placed(NamedTuple):
    """The repairs that have a place: ``rows`` is the table ``repairs`` with the column ``scaled``.

    ``polygons``: one for each row, longitude and latitude on WGS 84 in degrees, the outer ring counter-clockwise.
    ``unplaced``: block_id, repair_id and why, of the repairs that have none.
    """

    rows: pd.DataFrame
    polygons: Shapes
    unplaced: pd.DataFrame


class _Metric:
    """Feet near each block: a transverse Mercator of the whole city, by its scale at the middle of each block's line.

    The projection is conformal, so that one number makes the plan of a block true to size; within a mile it differs by
    less than a part in ten thousand up to a hundred miles from the middle of the city.
    """

    def __init__(self, lines: Shapes) -> None:
        from pyproj import Proj

        points = shapely.get_coordinates(lines)
        turned = np.deg2rad(points[:, 0])
        middle = np.rad2deg(np.arctan2(np.sin(turned).mean(), np.cos(turned).mean()))
        self._proj = Proj(proj="tmerc", lat_0=float(points[:, 1].mean()), lon_0=float(middle), ellps="WGS84")
        # the middle of the straight way between the ends is near enough: the scale hardly changes along a block
        middles = shapely.get_coordinates(shapely.line_interpolate_point(lines, 0.5, normalized=True))
        scale = self._proj.get_factors(middles[:, 0], middles[:, 1], errcheck=False).meridional_scale
        self._per_ft = np.atleast_1d(np.asarray(scale, float)) * M_PER_FT  # metres of the plan by line

    def feet(self, lines: Shapes) -> list[Floats]:
        """The points of each line, without points that follow one another in one place."""
        points, owner = shapely.get_coordinates(lines, return_index=True)
        east, north = self._proj(points[:, 0], points[:, 1])
        plan = np.column_stack((east, north)) / self._per_ft[owner][:, None]
        step = np.hypot(*np.diff(plan, axis=0, prepend=np.nan).T)
        kept = ~((step == 0) & (owner == np.r_[-1, owner[:-1]]))
        cuts = np.flatnonzero(np.diff(owner[kept])) + 1
        return np.split(plan[kept], cuts)

    def degrees(self, shapes: Shapes, line: npt.NDArray[np.int64]) -> Shapes:
        """Shapes in feet near the line of each as longitude and latitude."""
        points, owner = shapely.get_coordinates(shapes, return_index=True)
        plan = points * self._per_ft[line[owner]][:, None]
        east, north = self._proj(plan[:, 0], plan[:, 1], inverse=True)
        return np.asarray(shapely.set_coordinates(shapes.copy(), np.column_stack((east, north))), dtype=object)


def place(repairs: pd.DataFrame, network: pd.DataFrame, geometry: pd.DataFrame) -> Placed:
    """The repairs as polygons on the earth, in the order of the table.

    ``repairs``, ``network`` and ``geometry`` are the tables of those names.  A repair of a block without a line, or
    with one that cannot be followed, is not guessed at: it is listed in ``unplaced``.
    """
    ids = repairs["block_id"].to_numpy(dtype=object)
    found, why = _lines(geometry, pd.unique(ids))
    reasons = np.array([why.get(block, "") for block in ids], dtype=object)
    shapes: Shapes = np.full(len(repairs), None, dtype=object)
    scaled = np.full(len(repairs), np.nan)
    if found:
        names = list(found)
        lines = np.array(list(found.values()), dtype=object)
        metric = _Metric(lines)
        size = network.set_index("block_id")[["length_ft", "width_ft"]].reindex(names).to_numpy(float)
        rows_of = repairs.groupby("block_id", sort=False).indices
        boxes = repairs[["x_ft", "length_ft", "y_ft", "width_ft"]].to_numpy(float)
        owner = np.full(len(repairs), -1, np.int64)
        for at, points in enumerate(metric.feet(lines)):
            rows = rows_of[names[at]]
            if not np.isfinite(points).all():
                reasons[rows] = _FAR
                continue
            stations = np.r_[0.0, np.cumsum(np.hypot(*np.diff(points, axis=0).T))]
            if stations[-1] <= 0:
                reasons[rows] = _POINT
                continue
            ratio = stations[-1] / size[at, 0]
            owner[rows], scaled[rows] = at, ratio
            shapes[rows] = _follow(points, stations, boxes[rows], ratio, size[at, 1])
        drawn = ~shapely.is_missing(shapes)
        reasons[(owner >= 0) & ~drawn] = _SHARP
        shapes[drawn] = metric.degrees(shapes[drawn], owner[drawn])
        west, _, east, _ = shapely.bounds(shapes).T
        across = east - west > 180
        reasons[across] = _ROUND
        shapes[across] = None
    has = ~shapely.is_missing(shapes)
    rows_placed = repairs[has].assign(scaled=scaled[has]).reset_index(drop=True)
    left = repairs.loc[~has, ["block_id", "repair_id"]].assign(why=pd.array(reasons[~has], dtype="str"))
    return Placed(rows_placed, shapes[has], left.reset_index(drop=True))


def _lines(geometry: pd.DataFrame, wanted: Any) -> tuple[dict[str, Any], dict[str, str]]:
    """The lines of some blocks, each in one piece, and why the others have none."""
    rows = geometry[geometry["block_id"].isin(list(wanted))]
    shapes = shapely.force_2d(shapely.from_wkt(rows["line"].to_numpy(dtype=object)))
    several = shapely.get_type_id(shapes) == shapely.GeometryType.MULTILINESTRING
    shapes[several] = shapely.line_merge(shapes[several], directed=True)
    found, why = {}, dict.fromkeys(wanted, _NO_LINE)
    for block, line in zip(rows["block_id"], shapes, strict=True):
        if line is None or line.is_empty:
            continue
        if line.geom_type == "LineString":
            found[block] = line
            del why[block]
        else:
            why[block] = _PIECES
    return found, why


def _follow(points: Floats, stations: Floats, boxes: Floats, ratio: float, width: float) -> Shapes:
    """Rectangles ``x, length, y, width`` along one line, all in feet; None where a bend leaves no polygon.

    ``points`` (n, 2) and ``stations`` (n): the line; ``width``: that of the block.
    """
    starts, ends = boxes[:, 0] * ratio, (boxes[:, 0] + boxes[:, 1]) * ratio
    left = width / 2 - boxes[:, 2]
    right = left - boxes[:, 3]
    last = len(points) - 2
    first_part = np.clip(np.searchsorted(stations, starts, side="right") - 1, 0, last)
    last_part = np.clip(np.searchsorted(stations, ends, side="left") - 1, 0, last)
    along = np.diff(points, axis=0)
    along = along / np.hypot(*along.T)[:, None]
    normal = np.column_stack((-along[:, 1], along[:, 0]))  # to the left of the way ahead

    def at(part: npt.NDArray[np.int64], station: Floats) -> Floats:
        return np.asarray(points[part] + along[part] * (station - stations[part])[:, None])

    begin, end = at(first_part, starts), at(last_part, ends)
    aside = normal[first_part]
    ring = np.stack((begin + aside * right[:, None], end + aside * right[:, None], end + aside * left[:, None],
                     begin + aside * left[:, None]), axis=1)
    shapes: Shapes = np.asarray(shapely.polygons(ring), dtype=object)
    bent = np.flatnonzero(last_part > first_part)
    if not len(bent):
        return shapes
    centre, line = (starts + ends) / 2, shapely.linestrings(points)
    part = np.clip(np.searchsorted(stations, centre, side="right") - 1, 0, last)
    aside = (left + right) / 2
    own_place = at(part, centre) + normal[part] * aside[:, None]
    for row in bent:
        shapes[row] = _bent(line, aside[row], own_place[row], ends[row] - starts[row], boxes[row, 3])
    return shapes


def _bent(line: Any, aside: float, place: Floats, length: float, width: float) -> Any:
    """A strip true to size along the way ``aside`` to the left of a line that bends, its middle nearest to ``place``.

    What is short against its width, so that a strip would fold at the bend, is a straight rectangle, as it is sawn.
    None where the way folds.
    """
    # an offset next to zero is more than the library can do
    way = line if abs(aside) < _LEAST else shapely.offset_curve(line, aside, join_style="mitre", mitre_limit=_MITRE)
    if way.is_empty or way.geom_type != "LineString":
        return None
    middle = shapely.line_locate_point(way, shapely.points(place))
    points = _stretch(shapely.get_coordinates(way), float(middle) - length / 2, length)
    sides = shapely.offset_curve(shapely.linestrings(points), [-width / 2, width / 2], join_style="mitre",
                                 mitre_limit=_MITRE)
    if all(side.geom_type == "LineString" and not side.is_empty for side in sides):
        strip: Any = shapely.polygons(np.vstack((shapely.get_coordinates(sides[0]),
                                            shapely.get_coordinates(sides[1])[::-1])))
        if strip.is_valid and shapely.is_ccw(strip.exterior) and abs(strip.area / (length * width) - 1) <= _TRUE:
            return strip
    chord = points[-1] - points[0]
    reach = float(np.hypot(*chord))
    if reach <= 0:
        return None
    chord = chord / reach
    off = np.abs((points - points[0]) @ np.array([-chord[1], chord[0]])).max()
    if off > width / 2:
        return None
    middle_point = (points[-1] + points[0]) / 2
    ahead, across = chord * length / 2, np.array([-chord[1], chord[0]]) * width / 2
    return shapely.polygons([middle_point - ahead - across, middle_point + ahead - across,
                             middle_point + ahead + across, middle_point - ahead + across])


def _stretch(points: Floats, start: float, length: float) -> Floats:
    """The points of a way from ``start`` on, its first and last part made longer where it is too short."""
    along = np.diff(points, axis=0)
    sizes = np.hypot(*along.T)
    stations = np.r_[0.0, np.cumsum(sizes)]
    ends = []
    for station in (start, start + length):
        part = int(np.clip(np.searchsorted(stations, station, side="right") - 1, 0, len(sizes) - 1))
        ends.append(points[part] + along[part] / sizes[part] * (station - stations[part]))
    inside = (stations > start) & (stations < start + length)
    return np.vstack((ends[0], points[inside], ends[1]))
