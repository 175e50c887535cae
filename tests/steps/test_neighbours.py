"""Who is whose neighbour: lengths beside a geodesic library, hand-made grids of streets, brute force, short ways."""

import math
import time
from collections.abc import Sequence

import numpy as np
import pandas as pd
import pytest
from pyproj import Geod

from rehab.base.units import FT_PER_MILE, M_PER_FT
from rehab.steps.season import neighbours

GEOD = Geod(ellps="WGS84")
CORNER = (-89.4, 43.07)
Spot = tuple[float, float]


def at(east_ft: float, north_ft: float, turned_deg: float = 0.0, corner: Spot = CORNER) -> Spot:
    """Longitude and latitude of a place so far along a grid whose axes are turned anticlockwise."""
    azimuth = math.degrees(math.atan2(east_ft, north_ft)) - turned_deg
    lon, lat, _ = GEOD.fwd(*corner, azimuth, math.hypot(east_ft, north_ft) * M_PER_FT)
    return lon, lat


def tables(rows: Sequence[tuple[str | None, str | None, Sequence[Spot] | None]]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Blocks by street, district and points of the line."""
    names = [f"B{number:03d}" for number in range(len(rows))]
    network = pd.DataFrame({"block_id": names, "street": pd.Series([row[0] for row in rows], dtype="str"),
                            "district": pd.Series([row[1] for row in rows], dtype="str")})
    lines = {name: f"LINESTRING ({', '.join(f'{lon:.9f} {lat:.9f}' for lon, lat in row[2])})"
             for name, row in zip(names, rows, strict=True) if row[2]}
    return network, pd.DataFrame({"block_id": list(lines), "line": list(lines.values())}, dtype="str")


@pytest.mark.parametrize("turned", [0.0, 12.0, -31.0, 44.0])
@pytest.mark.parametrize("corner", [CORNER, (-149.9, 61.2), (179.97, -16.8), (-80.2, 0.0)])
def test_distances_are_those_of_the_reference_library_along_the_grid(turned: float, corner: Spot) -> None:
    # pyproj's Geod (Karney, Algorithms for geodesics, 2013) lays the grid out; the way is the two legs of a corner.
    rng = np.random.default_rng(3)
    middles = rng.uniform(0, 40_000, (12, 2))
    lines = [[at(x - 200, y, turned, corner), at(x, y, turned, corner), at(x + 200, y, turned, corner)]
             for x, y in middles]
    way, known = neighbours.distances(*tables([(f"S{n}", "D", line) for n, line in enumerate(lines)]))
    legs = np.abs(middles[:, None] - middles).sum(axis=2) / FT_PER_MILE
    assert known.all()
    assert way == pytest.approx(legs, rel=0.005, abs=1e-9)
    assert (way == way.T).all() and (np.diag(way) == 0).all()


def test_straight_ways_are_geodesics() -> None:
    # East-west and north-south neighbours of an unturned grid, across 20 miles: Geod.inv itself.
    spots = [(-89.4, 43.0), (-89.4, 43.29), (-89.0, 43.0), (-89.0, 43.29)]
    lines = [[(lon - 0.001, lat), (lon + 0.001, lat)] for lon, lat in spots]
    way, _ = neighbours.distances(*tables([(f"S{n}", "D", line) for n, line in enumerate(lines)]))
    for one, other in ((0, 1), (0, 2), (1, 3), (2, 3)):
        meters = GEOD.inv(*spots[one], *spots[other])[2]
        assert way[one, other] == pytest.approx(meters / M_PER_FT / FT_PER_MILE, rel=0.001)


def test_the_middle_of_a_bent_line_is_half_way_along_it() -> None:
    # 300 ft east, then 100 ft north: the middle is 200 ft east.  The other block's middle is 5,280 ft further east.
    bent = [at(0, 0), at(300, 0), at(300, 100)]
    straight = [at(200 + 5280 - 500, 0), at(200 + 5280 + 500, 0)]
    way, _ = neighbours.distances(*tables([("A", "D", bent), ("B", "D", straight)]))
    assert way[0, 1] == pytest.approx(1.0, rel=0.001)


def test_blocks_without_a_line_get_the_median_of_what_is_known() -> None:
    mile = FT_PER_MILE
    rows = [("Oak", "North", [at(0, 0), at(10, 0)]), ("Elm", "North", [at(mile, 0), at(mile + 10, 0)]),
            ("Fir", "North", [at(3 * mile, 0), at(3 * mile + 10, 0)]), ("Ash", "South", [at(9 * mile, 0), at(9 * mile + 10, 0)]),
            ("Oak", "North", None), ("Yew", "South", None), (None, "North", None), (None, "North", None)]
    way, known = neighbours.distances(*tables(rows))
    # Known: 1, 2, 3 in the north (median 2); 9, 8, 6 besides: 1, 2, 3, 6, 8, 9 in the city (median 4.5).
    assert way[4] == pytest.approx([0, 2, 2, 4.5, 0, 4.5, 2, 2], rel=0.001)
    assert way[5] == pytest.approx([4.5, 4.5, 4.5, 4.5, 4.5, 0, 4.5, 4.5], rel=0.001)  # one line in the south: no way known
    assert way[6, 7] == pytest.approx(2, rel=0.001)  # no names: not the same street
    assert known[:4, :4].all() and known.diagonal().all() and known.sum() == 16 + 4
    assert (way == way.T).all()


@pytest.mark.parametrize("geometry", ["none", "empty", "one"])
def test_without_any_way_known_the_stand_in_is_flagged(geometry: str) -> None:
    rows = [("Oak", "North", [at(0, 0), at(10, 0)]), ("Oak", "North", None), ("Elm", "North", None), ("Elm", "South", None)]
    network, lines = tables(rows)
    way, known = neighbours.distances(network, {"none": None, "empty": lines.iloc[:0], "one": lines}[geometry])
    assert way.tolist() == [[0, 0.1, 1, 3], [0.1, 0, 1, 3], [1, 1, 0, 0.1], [3, 3, 0.1, 0]]
    assert (known == np.eye(4, dtype=bool)).all()


def test_no_blocks() -> None:
    network, lines = tables([])
    way, known = neighbours.distances(network, lines)
    assert way.shape == known.shape == (0, 0)
    assert neighbours.parallels(network, lines, 500) == [] and neighbours.parallels(network, None, 500) == []
    assert neighbours.tour(way).tolist() == []


def grid(turned: float = 0.0) -> tuple[list[str], pd.DataFrame, pd.DataFrame]:
    """Three streets of three blocks to the east (400 ft), 300 ft apart, and the four that cross them."""
    rows: list[tuple[str | None, str | None, list[Spot]]] = []
    names = []
    for street in range(3):
        for block in range(3):
            rows.append((f"East {street}", "D", [at(400 * block, 300 * street, turned), at(400 * (block + 1), 300 * street, turned)]))
            names.append(f"E{street}{block}")
    for street in range(4):
        for block in range(2):
            ends = [at(400 * street, 300 * block, turned), at(400 * street, 300 * (block + 1), turned)]
            rows.append((f"North {street}", "D", ends[::-1] if street % 2 else ends))  # drawn either way
            names.append(f"N{street}{block}")
    return names, *tables(rows)


@pytest.mark.parametrize("turned", [0.0, 30.0])
def test_parallels_of_a_grid_by_hand(turned: float) -> None:
    names, network, lines = grid(turned)

    def found(within: float) -> set[tuple[str, str]]:
        return {(names[one], names[other]) for one, other in neighbours.parallels(network, lines, within)}

    east = {(f"E{street}{block}", f"E{street + 1}{block}") for street in range(2) for block in range(3)}
    north = {(f"N{street}{block}", f"N{street + 1}{block}") for street in range(3) for block in range(2)}
    far = {(f"E0{block}", f"E2{block}") for block in range(3)}
    assert found(290) == set()
    assert found(310) == east
    assert found(410) == east | north
    assert found(610) == east | north | far
    assert not {pair for pair in found(410) if pair[0][0] != pair[1][0]}  # crossing streets are no detour


@pytest.mark.parametrize(("other", "is_pair"), [
    ([(0, 200), (400, 200)], True), ([(400, 200), (0, 200)], True), ([(190, 200), (590, 200)], True),
    ([(210, 200), (610, 200)], False), ([(400, 200), (800, 200)], False), ([(380, 200), (480, 200)], False),
    ([(0, 200), (386, 304)], True), ([(0, 200), (363, 369)], False),  # 15 and 25 degrees
    ([(0, 260), (400, 260)], False), ([(0, -200), (400, -200)], True), ([(0, 200), (400, 200), (0, 200)], False),
])
def test_angle_overlap_and_gap(other: list[Spot], is_pair: bool) -> None:
    lines = [[at(0, 0), at(400, 0)], [at(*spot) for spot in other]]
    assert neighbours.parallels(*tables([("A", "D", lines[0]), ("B", "D", lines[1])]), 255) == ([(0, 1)] if is_pair else [])
    assert neighbours.parallels(*tables([("A", "D", lines[0]), ("A", "D", lines[1])]), 255) == []  # one street
    assert neighbours.parallels(*tables([("A", "D", lines[0]), ("B", "D", None)]), 255) == []
    both = neighbours.parallels(*tables([(None, "D", lines[0]), (None, "D", lines[1])]), 255)
    assert both == ([(0, 1)] if is_pair else [])  # blocks that name no street count as of different ones


def test_parallels_against_brute_force() -> None:
    rng = np.random.default_rng(8)
    begin = rng.uniform(0, 3000, (90, 2))
    angle = rng.choice([0.0, 0.3, 1.5, 1.7, 3.1], 90) + rng.normal(0, 0.1, 90)
    length = rng.uniform(150, 700, 90)
    segments = [(complex(*spot), complex(*spot) + size * np.exp(1j * turn))
                for spot, size, turn in zip(begin, length, angle, strict=True)]
    streets = rng.integers(0, 25, 90)
    rows = [(f"S{street}", "D", [at(one.real, one.imag), at(other.real, other.imag)])
            for street, (one, other) in zip(streets, segments, strict=True)]
    expected = [(i, j) for i in range(90) for j in range(i + 1, 90) if streets[i] != streets[j]
                and beside(*segments[i], *segments[j], within=350, degrees=20)]
    assert len(expected) > 30
    assert neighbours.parallels(*tables(rows), 350) == expected


def beside(a: complex, b: complex, c: complex, d: complex, within: float, degrees: float) -> bool:
    """The definition, pair by pair: turn the common direction to the real axis and look."""
    one, other = (b - a) / abs(b - a), (d - c) / abs(d - c)
    if abs(math.degrees(np.angle(other / one))) > 90:
        c, d, other = d, c, -other
    if abs(math.degrees(np.angle(other / one))) > degrees:
        return False
    axis = (one + other) / abs(one + other)
    a, b, c, d = (point / axis for point in (a, b, c, d))
    low, high = max(a.real, c.real), min(b.real, d.real)
    if high - low < min(b.real - a.real, d.real - c.real) / 2:
        return False
    middle = (low + high) / 2
    heights = [p.imag + (q.imag - p.imag) * (middle - p.real) / (q.real - p.real) for p, q in ((a, b), (c, d))]
    return abs(heights[0] - heights[1]) <= within


def length(distance: np.ndarray, order: np.ndarray) -> float:
    return float(distance[order[:-1], order[1:]].sum())


def city(count: int, seed: int) -> np.ndarray:
    spots = np.random.default_rng(seed).random((count, 2)) * 5
    return np.asarray(np.abs(spots[:, None] - spots).sum(axis=2))


def test_a_tour_of_a_line_and_of_a_ring_is_the_shortest() -> None:
    rng = np.random.default_rng(0)
    place = rng.permutation(60).astype(float)
    line = np.abs(place[:, None] - place)
    first = int(np.argmin(place))
    assert length(line, neighbours.tour(line, start=first)) == 59
    turn = place / 60 * 2 * np.pi
    ring = np.abs(np.exp(1j * turn)[:, None] - np.exp(1j * turn))
    assert length(ring, neighbours.tour(ring)) == pytest.approx(59 * 2 * np.sin(np.pi / 60))


@pytest.mark.parametrize("seed", range(4))
def test_nothing_simple_shortens_a_tour(seed: int) -> None:
    distance = city(40, seed)
    order = neighbours.tour(distance, start=5)
    assert order[0] == 5 and sorted(order) == list(range(40))
    best = length(distance, order)
    for i in range(1, 40):
        for j in range(i + 2, 41):
            turned = np.concatenate([order[:i], order[i:j][::-1], order[j:]])
            assert length(distance, turned) >= best - 1e-9
        for size in (1, 2, 3):
            piece, rest = order[i:i + size], np.concatenate([order[:i], order[i + size:]])
            for j in range(1, len(rest) + 1):
                for one in (piece, piece[::-1]):
                    assert length(distance, np.concatenate([rest[:j], one, rest[j:]])) >= best - 1e-9


def test_a_tour_goes_group_by_group() -> None:
    distance = city(80, 1)
    group = np.random.default_rng(2).integers(0, 6, 80)
    order = neighbours.tour(distance, group, start=11)
    assert order[0] == 11 and sorted(order) == list(range(80))
    assert (np.diff(group[order]) != 0).sum() == 5
    assert (order == neighbours.tour(distance, group, start=11)).all()
    assert length(distance, neighbours.tour(distance, start=11)) < length(distance, order)


def test_a_tour_of_600_blocks_is_quick() -> None:
    distance = city(600, 4)
    begun = time.process_time()
    order = neighbours.tour(distance)
    assert time.process_time() - begun < 2  # 0.12 s measured on two busy cores
    # Beardwood, Halton and Hammersley 1959: shortest ways grow with the root of area times blocks; for distances
    # along the axes by about 0.9 (from memory), which leaves a simple tour some 15 %.
    assert length(distance, order) < 0.9 * 1.15 * np.sqrt(25 * 600)
