"""Where a block lies: its line among the streets around it, to scale, in black and greys, with no map below it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from math import cos, hypot, radians, sin, sqrt
from typing import Final

import numpy as np
import pandas as pd
import shapely

from rehab.base.units import M_PER_FT
from rehab.outputs import shapes
from rehab.outputs.drawings.beside import Namer, cut_out
from rehab.outputs.drawings.lettering import clean
from rehab.outputs.drawings.marks import (
    POINTS_PER_IN,
    Band,
    Box,
    Circle,
    Drawing,
    Group,
    Mark,
    Paper,
    Path,
    Pen,
    Point,
    Rect,
    Words,
)
from rehab.outputs.drawings.scale import station
from rehab.outputs.words import known, number

_BLACK: Final = "#000000"
_WHITE: Final = "#ffffff"
_BLOCK: Final = Pen(_BLACK, 3.0)
_HALF: Final = 1.6  #: points: half of that line, and a little
_AROUND: Final = Pen("#8c8c8c", 0.9)
_SCALES: Final = (50, 100, 150, 200, 250, 300, 400, 500, 600, 800, 1000, 1500, 2000, 3000, 4000, 5000, 8000, 10_000,
                  20_000, 50_000)
_TOUCHES_FT: Final = 60.0  #: a street that comes so near to an end of the block is one that it ends at

# WGS 84: half the long axis in metres, and the square of the eccentricity (NIMA TR8350.2, tables 3.1 and 3.3).
_AXIS_M: Final = 6_378_137.0
_ECCENTRIC: Final = 6.69437999014e-3


class Streets:
    """The lines of all blocks, ready for many sketches.

    ``geometry`` is the table of that name; ``names`` the street of each block, where it is known.
    """

    def __init__(self, geometry: pd.DataFrame, names: Mapping[str, str]):
        found = shapes.lines(geometry, decimals=7)
        self._place = {block: place for place, block in enumerate(found)}
        self._parts = [_parts(shape) for shape in found.values()]
        self._names = [clean(names[block]) if known(names.get(block)) else "" for block in found]
        self._lines = np.array([shapely.multilinestrings([shapely.linestrings(part) for part in parts])
                                for parts in self._parts], dtype=object)
        self._tree = shapely.STRtree(self._lines)

    def sketch(self, block_id: str, *, width_in: float = 3.4, height_in: float = 2.2, reach_ft: float = 300.0,
               length_ft: float | None = None) -> Drawing | None:
        """Where a block lies, or None if it has no line.

        Its line is heavy, with a ring at the beginning (station 0+00) and an arrow at the end, which has its station
        too where ``length_ft`` is given; north is up.  The scale is the largest, of round feet to an inch, that
        shows ``reach_ft`` around the block.  Raises :class:`ValueError` for a size that is not above zero.
        """
        place = self._place.get(block_id)
        if place is None:
            return None
        if not (width_in > 0.5 and height_in > 0.5):
            raise ValueError(f"a sketch of {width_in} by {height_in} in is too small to be read; give more than half "
                             "an inch")
        frame = Box(0.0, 0.0, width_in * POINTS_PER_IN, height_in * POINTS_PER_IN)
        view = _View.of(np.concatenate([np.array(part) for part in self._parts[place]]), frame, reach_ft)
        around = self._around(place, view)
        block = [view.points(part) for part in self._parts[place]]
        marks = list(_drawn(block, around, self._names[place], view, length_ft))
        name = self._names[place] or "street not given"
        near = sorted({street for street, _ in around} - {"", self._names[place]})
        about = f"Where block {clean(block_id)} lies on {name}" + (f"; near it {', '.join(near)}" if near else "")
        band = Band("sketch", frame.height, (Group("sketch", about, tuple(marks)),))
        return Drawing(f"Where block {clean(block_id)} lies", about, Paper(width_in, height_in), view.feet_per_inch,
                       (band,), margin=0.0)

    def bearing_deg(self, block_id: str) -> float | None:
        """Direction from the beginning of a block's line to its end, degrees clockwise from north.

        The azimuth of the geodesic on the WGS 84 ellipsoid; None without a line or where both ends are one.
        """
        place = self._place.get(block_id)
        if place is None:
            return None
        from pyproj import Geod

        first, last = self._parts[place][0][0], self._parts[place][-1][-1]
        azimuth, _, length = Geod(ellps="WGS84").inv(*first, *last)
        return float(azimuth) % 360 if length > 0 else None

    def _around(self, place: int, view: _View) -> list[tuple[str, list[list[Point]]]]:
        """The other blocks as far as they lie on the sketch: the street of each and its polylines, in points."""
        window = view.window()
        near = np.sort(self._tree.query(shapely.box(*window)))
        near = near[near != place]
        pieces = shapely.clip_by_rect(self._lines[near], *window)
        return [(self._names[index], [view.points(shapely.get_coordinates(line).tolist())
                                      for line in shapely.get_parts(piece) if shapely.get_num_coordinates(line) > 1])
                for index, piece in zip(near, pieces, strict=True) if not shapely.is_empty(piece)]


def location_sketch(block_id: str, geometry: pd.DataFrame, names: Mapping[str, str], *, width_in: float = 3.4,
                    height_in: float = 2.2, reach_ft: float = 300.0, length_ft: float | None = None) -> Drawing | None:
    """The sketch of one block; for many, make :class:`Streets` once."""
    return Streets(geometry, names).sketch(block_id, width_in=width_in, height_in=height_in, reach_ft=reach_ft,
                                           length_ft=length_ft)


def _parts(shape: Mapping[str, object]) -> list[list[Point]]:
    """The polylines of GeoJSON lines, longitude first."""
    parts = shape["coordinates"] if shape["type"] == "MultiLineString" else [shape["coordinates"]]
    return [[(float(lon), float(lat)) for lon, lat in part] for part in parts]  # type: ignore[attr-defined]


class _View:
    """From degrees to points of the sketch: flat about the middle of the block, true to a thousandth within miles."""

    def __init__(self, middle: Point, feet_per_inch: float, frame: Box):
        self.middle, self.feet_per_inch, self.frame = middle, feet_per_inch, frame
        self.per_degree = tuple(feet * POINTS_PER_IN / feet_per_inch for feet in feet_per_degree(middle[1]))

    @classmethod
    def of(cls, points: np.ndarray, frame: Box, reach_ft: float) -> _View:
        """The view of a block on a frame, at the largest scale that shows so much around it."""
        low, high = points.min(axis=0), points.max(axis=0)
        middle = float(low[0] + high[0]) / 2, float(low[1] + high[1]) / 2
        size = (high - low) * feet_per_degree(middle[1]) + 2 * reach_ft
        needed = max(float(size[0]) / frame.width, float(size[1]) / frame.height) * POINTS_PER_IN
        return cls(middle, float(next((feet for feet in _SCALES if feet >= needed), needed)), frame)

    def points(self, degrees: Sequence[Point]) -> list[Point]:
        """Longitude and latitude as points of the sketch, y downward."""
        (lon, lat), (x, y) = self.middle, self.frame.middle
        return [(x + (a - lon) * self.per_degree[0], y - (b - lat) * self.per_degree[1]) for a, b in degrees]

    def window(self) -> tuple[float, float, float, float]:
        """West, south, east and north of the frame."""
        (lon, lat), (x, y) = self.middle, self.frame.middle
        return (lon - x / self.per_degree[0], lat - y / self.per_degree[1], lon + x / self.per_degree[0],
                lat + y / self.per_degree[1])


def feet_per_degree(latitude: float) -> tuple[float, float]:
    """Feet to a degree of longitude and of latitude: by the radii of curvature of the WGS 84 ellipsoid there."""
    bend = 1 - _ECCENTRIC * sin(radians(latitude)) ** 2
    degree = radians(1) / M_PER_FT
    return _AXIS_M / sqrt(bend) * cos(radians(latitude)) * degree, _AXIS_M * (1 - _ECCENTRIC) / bend**1.5 * degree


def _drawn(block: list[list[Point]], around: list[tuple[str, list[list[Point]]]], name: str, view: _View,
           length_ft: float | None) -> Iterator[Mark]:
    frame = view.frame
    yield Rect(0, 0, frame.width, frame.height, None, _WHITE)
    thin = tuple(tuple(line) for _, lines in around for line in lines)
    if thin:
        yield Group("around", "Other blocks", (Path(thin, _AROUND),))
    streets = _by_street(around, block, view)
    namer = Namer(frame.grown(-3), [line for lines in streets.values() for line in lines])
    signs = [*_north(frame), *_scale_bar(view)]
    namer.keep_clear(Box(frame.x1 - 24, 0, frame.x1, 36))
    namer.keep_clear(Box(0, frame.y1 - 24, _bar_ft(view) / view.feet_per_inch * POINTS_PER_IN + 32, frame.y1))
    for x, y in _along(block):  # no name under the heavy line
        namer.keep_clear(Box(x - _HALF, y - _HALF, x + _HALF, y + _HALF))
    ends = _ends(block, namer, length_ft)
    named = namer.beside(name, block, streets.pop(name, [])) if name else []
    for street, lines in streets.items():
        named += namer.along(street, lines) if street else []
    heavy = tuple(tuple(line) for line in block)
    yield from cut_out(named)
    yield Group("block", "The block, from its beginning to its end", (Path(heavy, _BLOCK), *ends))
    yield Group("names", "Names of streets", tuple(named))
    yield from signs
    yield Rect(0.3, 0.3, frame.width - 0.6, frame.height - 0.6, Pen(_BLACK, 0.6))


def _by_street(around: list[tuple[str, list[list[Point]]]], block: list[list[Point]],
               view: _View) -> dict[str, list[list[Point]]]:
    """The lines of each street: those that the block ends at come first, then those with most to be seen."""
    found: dict[str, list[list[Point]]] = {}
    for street, lines in around:
        found.setdefault(street, []).extend(lines)
    ends = shapely.multipoints([block[0][0], block[-1][-1]])
    near = _TOUCHES_FT / view.feet_per_inch * POINTS_PER_IN
    joined = {street: shapely.line_merge(shapely.multilinestrings(_lines(lines))) for street, lines in found.items()}
    ordered = sorted(joined, key=lambda street: (float(shapely.distance(ends, joined[street])) > near,
                                                 -float(shapely.length(joined[street])), street))
    return {street: [[(float(x), float(y)) for x, y in shapely.get_coordinates(line)]
                     for line in shapely.get_parts(joined[street])] for street in ordered}


def _lines(lines: list[list[Point]]) -> list[shapely.LineString]:
    """Lines to the tenth of a point, so that blocks that follow each other meet."""
    return [shapely.LineString(np.round(line, 1)) for line in lines]


def _along(block: list[list[Point]]) -> Iterator[Point]:
    """Points of the block's line, no farther apart than its own width."""
    for part in block:
        line = shapely.LineString(part)
        for x, y in shapely.get_coordinates(shapely.segmentize(line, 2 * _HALF) if line.length else line):
            yield float(x), float(y)


def _ends(block: list[list[Point]], namer: Namer, length_ft: float | None) -> list[Mark]:
    """A ring and 0+00 at the beginning, an arrow and the last station at the end."""
    first, last = block[0][0], block[-1][-1]
    tip, back = last, block[-1][-2]
    run = hypot(tip[0] - back[0], tip[1] - back[1])
    marks: list[Mark] = []
    if run > 0:
        a, b = (tip[0] - back[0]) / run, (tip[1] - back[1]) / run
        head = ((tip[0] + 4 * a, tip[1] + 4 * b), (tip[0] - 6 * a - 4.5 * b, tip[1] - 6 * b + 4.5 * a),
                (tip[0] - 6 * a + 4.5 * b, tip[1] - 6 * b - 4.5 * a))
        marks.append(Group("end", "End of the block", (Path((head,), Pen(_WHITE, 0.6), _BLACK, closed=True),)))
    ring = Circle(*first, 3.2, Pen(_BLACK, 1.3), _WHITE)
    marks.append(Group("start", "Beginning of the block, station 0+00", (ring,)))
    for x, y in (first, last):
        namer.keep_clear(Box(x - 5, y - 5, x + 5, y + 5))
    marks += namer.near(station(0.0), first, last)
    if length_ft is not None:
        marks += namer.near(station(length_ft), last, first)
    return marks


def _north(frame: Box) -> list[Mark]:
    x, tip, foot = frame.x1 - 12, 14.0, 32.0
    return [Group("north", "North is up", (
        Rect(x - 7, 3, 14, 31, None, _WHITE),
        Path((((x, tip), (x - 4, foot), (x, foot - 4)),), Pen(_BLACK, 0.6), _BLACK, closed=True),
        Path((((x, tip), (x + 4, foot), (x, foot - 4)),), Pen(_BLACK, 0.6), _WHITE, closed=True),
        Words(x, 11.5, "N", 8, bold=True, colour=_BLACK, anchor="middle")))]


def _bar_ft(view: _View) -> float:
    """A round length that takes an inch at most and is no longer than a third of the sketch."""
    most = view.feet_per_inch * min(1.0, view.frame.width / POINTS_PER_IN / 3)
    ten = 10.0 ** np.floor(np.log10(most))
    return float(max(step * ten for step in (1, 2, 5) if step * ten <= most))


def _scale_bar(view: _View) -> list[Mark]:
    feet, left, base = _bar_ft(view), 8.0, view.frame.y1 - 8
    wide = feet / view.feet_per_inch * POINTS_PER_IN
    words = f"{number(feet, 0)} ft"
    return [Group("scale", f"Scale: {words}", (
        Rect(3, base - 14, wide + 28, 19, None, _WHITE),
        Rect(left, base - 3, wide / 2, 3, Pen(_BLACK, 0.6), _BLACK), Rect(left + wide / 2, base - 3, wide / 2, 3,
                                                                          Pen(_BLACK, 0.6), _WHITE),
        Words(left, base - 5.5, "0", 6.5, colour=_BLACK, anchor="middle"),
        Words(left + wide, base - 5.5, words, 6.5, colour=_BLACK, anchor="middle")))]
