"""Who is whose neighbour: the way between blocks, an order with a short way, and blocks that are each other's detour.

A machine drives along streets, so the way between two blocks is measured along the two directions that the city's
streets run in: in a full grid that is the way driven, while the straight line falls short of it by up to 29 %.
Lengths and angles come from the radii of curvature of the WGS 84 ellipsoid (a = 6 378 137 m, 1/f = 298.257 223 563,
the figures that define it); over a city they are right within a few parts in ten thousand.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.units import FT_PER_MILE, M_PER_FT

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

#: miles between blocks of one street, of one district and others where not one line is known: no source, flagged
STAND_IN: Final = (0.1, 1.0, 3.0)
_AXIS_M: Final = 6_378_137.0
_FLATTENING: Final = 1 / 298.257223563
_LONGEST: Final = 3  # blocks that are moved together
_SWEEPS: Final = 40
_EPS: Final = 1e-9


class _Plane(NamedTuple):
    """Lines in feet east and north of a place in the city; None for a block without one."""

    lines: npt.NDArray[np.object_]
    known: Flags
    latitude: float


def distances(network: pd.DataFrame, geometry: pd.DataFrame | None) -> tuple[Floats, Flags]:
    """Miles between the mid-points of blocks, and whether each was measured: two arrays (blocks, blocks).

    ``network`` gives block_id, street and district, ``geometry`` the lines (WKT, longitude and latitude).  To a block
    without a line it is 0 along its street, else the median way within the district, or of the city; without two
    lines in the city it is the stand-in :data:`STAND_IN`.  Blocks that name no district are one district; blocks that
    name no street share none.  Raises :class:`shapely.errors.GEOSException` for text that is no line.
    """
    count = len(network)
    district = pd.factorize(network["district"])[0]
    street = pd.factorize(network["street"])[0]
    same_street = (street[:, None] == street) & (street >= 0)
    same_district = district[:, None] == district
    plane = _plane(network, geometry)
    known = plane.known[:, None] & plane.known
    way = np.zeros((count, count))
    along, other = STAND_IN[0], STAND_IN[2]
    near: float | Floats = STAND_IN[1]
    if plane.known.sum() >= 2:
        at = np.flatnonzero(plane.known)
        way[np.ix_(at, at)] = _ways(plane)
        pair = np.triu(known, 1)
        along, other = 0.0, float(np.median(way[pair]))
        near = np.full((count, 1), other)
        for code in np.unique(district):
            inside = pair & (district == code) & same_district
            if inside.any():
                near[district == code] = np.median(way[inside])
    guess = np.where(same_street, along, np.where(same_district, near, other))
    np.copyto(way, guess, where=~known)
    np.fill_diagonal(way, 0.0)
    np.fill_diagonal(known, True)
    return way, known


def parallels(network: pd.DataFrame, geometry: pd.DataFrame | None, within_ft: float,
              angle_deg: float = 20.0) -> list[tuple[int, int]]:
    """Pairs of rows of ``network`` that are each other's detour, the lesser row first, sorted.

    They lie on different streets, differ in direction by at most ``angle_deg``, overlap along their common direction
    by half of the shorter or more, and are at most ``within_ft`` apart across it in the middle of the overlap.  A
    block counts as the straight line between its ends.  Blocks without a line, and loops, are in no pair.
    """
    import shapely

    plane = _plane(network, geometry)
    rows = np.flatnonzero(plane.known)
    ends = shapely.get_coordinates(
        [shapely.get_point(plane.lines[rows], end) for end in (0, -1)]).reshape(2, -1, 2) if len(rows) else None
    if ends is None:
        return []
    straight = np.hypot(*(ends[1] - ends[0]).T) > 1.0  # of a foot: a loop has no direction
    rows, begin, end = rows[straight], ends[0][straight], ends[1][straight]
    lines = np.asarray(shapely.linestrings(np.stack([begin, end], axis=1)))
    one, other = shapely.STRtree(lines).query(lines, predicate="dwithin", distance=within_ft * (1 + _EPS))
    street = pd.factorize(network["street"])[0][rows]
    pair = (one < other) & ((street[one] != street[other]) | (street[one] < 0))
    one, other = one[pair], other[pair]
    good = _beside(begin[one], end[one], begin[other], end[other], within_ft, angle_deg)
    return sorted((int(min(pair)), int(max(pair))) for pair in zip(rows[one[good]], rows[other[good]], strict=True))


def tour(distance: Floats, group: Ints | None = None, start: int = 0) -> Ints:
    """An order of blocks, from ``start``, with a short way between each and the next; the same for the same input.

    ``distance`` is (blocks, blocks), alike in both directions.  With ``group``, a code per block, all blocks of one
    code come before those of the next.  Nearest block first, then stretches are turned round and up to three blocks
    moved elsewhere while that shortens the way (2-opt and Or-opt).
    """
    count = len(distance)
    if not count:
        return np.empty(0, np.int64)
    code = np.zeros(count, np.int64) if group is None else np.asarray(group)
    far = np.zeros((count + 1, count + 1))  # a last place at no distance from any: the way ends anywhere
    far[:count, :count] = distance
    path = np.append(_nearest(far, code, start), count)
    calm = np.zeros(count, bool)  # nothing around the block has changed since it was last looked at
    first, stop = _bounds(code, path)
    for _ in range(_SWEEPS):
        moved, whole = False, not calm.any()
        for place in range(1, count):
            if calm[path[place]]:
                continue
            calm[path[place]] = True
            turned = _turned(far, path, place, first, stop)
            changed = _shifted(far, path, place, int(first[place]), int(stop[place])) if turned is None else turned
            if changed is None:
                continue
            moved = True
            touched = path[np.clip([place - 1, place, *changed], 0, count - 1)]
            calm[touched] = False
            if group is not None:
                first, stop = _bounds(code, path)
        if not moved and whole:
            break
        if not moved:
            calm[:] = False  # once more for what was not woken
    return path[:count]


def _plane(network: pd.DataFrame, geometry: pd.DataFrame | None) -> _Plane:
    import shapely

    lines = np.full(len(network), None, object)
    if geometry is None or not len(geometry) or not len(network):
        return _Plane(lines, np.zeros(len(network), bool), 0.0)
    text = network["block_id"].map(geometry.set_index("block_id")["line"])
    lines[:] = shapely.from_wkt(text.astype(object).where(text.notna(), None).to_numpy())
    known = (shapely.get_type_id(lines) == 1) & ~shapely.is_empty(lines)  # a line string
    lines[~known] = None
    if not known.any():
        return _Plane(lines, known, 0.0)
    west, south, _, north = shapely.total_bounds(lines)
    latitude = (south + north) / 2
    scale = np.array([_degree_ft(latitude)[0], _degree_ft(latitude)[1]])

    def to_feet(points: Floats) -> Floats:
        apart = points - [west, latitude]
        apart[:, 0] = (apart[:, 0] + 180) % 360 - 180  # a city may lie on both sides of the 180th meridian
        return np.asarray(apart * scale)

    lines[known] = shapely.transform(shapely.force_2d(lines[known]), to_feet)
    return _Plane(lines, known, latitude)


def _degree_ft(latitude: float | Floats) -> tuple[Floats, Floats]:
    """Feet of one degree of longitude and of latitude: the ellipsoid's radii of curvature."""
    squared = _FLATTENING * (2 - _FLATTENING)
    angle = np.radians(latitude)
    bent = 1 - squared * np.sin(angle) ** 2
    across, along = _AXIS_M / np.sqrt(bent), _AXIS_M * (1 - squared) / bent**1.5
    return np.radians(across * np.cos(angle)) / M_PER_FT, np.radians(along) / M_PER_FT


def _ways(plane: _Plane) -> Floats:
    """Miles between the mid-points of the blocks that have a line, along the two directions of the streets."""
    import shapely

    lines = plane.lines[plane.known]
    east, north = shapely.get_coordinates(shapely.line_interpolate_point(lines, 0.5, normalized=True)).T
    wide, high = _degree_ft(plane.latitude)
    latitude = plane.latitude + north / high
    # Degrees of longitude shrink to the north: each pair is measured at its own middle latitude.
    shrink = _degree_ft((latitude[:, None] + latitude) / 2)[0] / wide
    across, along = (east[:, None] - east) * shrink, north[:, None] - north
    turn = _grid_angle(lines)
    way = np.abs(across * np.cos(turn) + along * np.sin(turn)) + np.abs(along * np.cos(turn) - across * np.sin(turn))
    return np.asarray(way / FT_PER_MILE)


def _grid_angle(lines: npt.NDArray[np.object_]) -> float:
    """Radians from east to the nearer direction of the streets: mean of the fourfold angles, weighted by length."""
    import shapely

    points, line = shapely.get_coordinates(lines, return_index=True)
    step = np.diff(points, axis=0)[line[1:] == line[:-1]]
    weight, angle = np.hypot(step[:, 0], step[:, 1]), 4 * np.arctan2(step[:, 1], step[:, 0])
    return float(np.arctan2((weight * np.sin(angle)).sum(), (weight * np.cos(angle)).sum())) / 4


def _beside(begin: Floats, end: Floats, other_begin: Floats, other_end: Floats, within_ft: float,
            angle_deg: float) -> Flags:
    """Whether the straight line of each row and the other one are side by side; arrays (rows, 2) in feet."""
    way, other = end - begin, other_end - other_begin
    way = way / np.hypot(way[:, 0], way[:, 1])[:, None]
    other = other / np.hypot(other[:, 0], other[:, 1])[:, None]
    dot = (way * other).sum(axis=1)
    axis = way + np.where(dot < 0, -1.0, 1.0)[:, None] * other  # either may have been drawn the other way round
    axis = axis / np.hypot(axis[:, 0], axis[:, 1])[:, None]
    across = np.stack([-axis[:, 1], axis[:, 0]], axis=1)
    # Ends along the axis and across it, both lines: (line, end, row).
    along = np.array([[(p * axis).sum(axis=1) for p in ends] for ends in ((begin, end), (other_begin, other_end))])
    aside = np.array([[(p * across).sum(axis=1) for p in ends] for ends in ((begin, end), (other_begin, other_end))])
    low, high = along.min(axis=1).max(axis=0), along.max(axis=1).min(axis=0)
    shorter = np.abs(along[:, 1] - along[:, 0]).min(axis=0)
    share = ((low + high) / 2 - along[:, 0]) / (along[:, 1] - along[:, 0])
    offset = np.diff(aside[:, 0] + share * (aside[:, 1] - aside[:, 0]), axis=0)[0]
    return np.asarray((np.abs(dot) >= np.cos(np.radians(angle_deg)) - _EPS)
                      & (high - low >= shorter / 2 * (1 - _EPS)) & (np.abs(offset) <= within_ft * (1 + _EPS)))


def _nearest(far: Floats, code: npt.NDArray[np.int64], start: int) -> Ints:
    """From the start always to the nearest block left, of the same code as long as there is one."""
    count = len(code)
    left = np.ones(count, bool)
    path = np.empty(count, np.int64)
    here = start
    for place in range(count):
        path[place] = here
        left[here] = False
        mine = left & (code == code[here])
        open_ = np.flatnonzero(mine if mine.any() else left)
        if len(open_):
            here = int(open_[np.argmin(far[here, open_])])
    return path


def _bounds(code: npt.NDArray[np.int64], path: Ints) -> tuple[Ints, Ints]:
    """For each place of the path the first place of its group and the one after its last."""
    own = code[path[:-1]]
    cut = np.concatenate([[0], np.flatnonzero(np.diff(own)) + 1, [len(own)]])
    size = np.diff(cut)
    return np.repeat(cut[:-1], size), np.repeat(cut[1:], size)


def _turned(far: Floats, path: Ints, place: int, first: Ints, stop: Ints) -> list[int] | None:
    """Turn the stretch from ``place`` round where that shortens the way most; the places touched, or None."""
    ends = np.arange(place + 1, stop[place])
    if first[place] == place:  # whole groups may be turned together
        ends = np.concatenate([ends, np.unique(stop[place:])[1:] - 1])
    if not len(ends):
        return None
    before, here, last, after = path[place - 1], path[place], path[ends], path[ends + 1]
    change = far[before, last] + far[here, after] - far[last, after]
    best = int(np.argmin(change))
    if change[best] >= far[before, here] - _EPS:
        return None
    end = int(ends[best])
    path[place:end + 1] = path[place:end + 1][::-1].copy()
    return [end, end + 1]


def _shifted(far: Floats, path: Ints, place: int, first: int, stop: int) -> list[int] | None:
    """Move one to three blocks from ``place`` elsewhere in their group, either way round; the places touched, or None.
    """
    low = max(first - 1, 0)
    left, right = path[low:stop], path[low + 1:stop + 1]
    for size in range(1, min(_LONGEST, stop - place) + 1):
        head, tail = path[place], path[place + size - 1]
        before, after = path[place - 1], path[place + size]
        gain = far[before, head] + far[tail, after] - far[before, after]
        if gain <= _EPS:
            continue
        gap = far[left, right]
        same, turned = far[head, left] + far[tail, right] - gap, far[tail, left] + far[head, right] - gap
        cost = np.minimum(same, turned)
        cost[place - 1 - low:place + size - low] = np.inf
        best = int(np.argmin(cost))
        if cost[best] >= gain - _EPS:
            continue
        piece = path[place:place + size].copy() if same[best] <= turned[best] else path[place:place + size][::-1].copy()
        goal = best + low  # the piece comes after the block that is at this place now
        if goal < place:
            path[goal + 1:place + size] = np.concatenate([piece, path[goal + 1:place]])
            return [goal, goal + 1, goal + size, place + size - 1, place + size]
        path[place:goal + 1] = np.concatenate([path[place + size:goal + 1], piece])
        return [goal - size, goal - size + 1, goal, goal + 1]
    return None
