"""The streets of the invented city: a lattice bent by a river, a railway and a hill, and the blocks on it.

The lattice is in feet, x to the east and y to the north, with the landing in the middle.  It is bent by
three one-to-one smooth maps (a swirl, a shift along x that depends on y, a shift along y that depends on x),
so that blocks curve but never cross.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from pyproj import Geod

from rehab.base.units import M_PER_FT
from rehab.inputs.demo import names

Floats = npt.NDArray[np.float64]
Whole = npt.NDArray[np.int64]

CENTRE: Final = (-101.28, 39.52)  #: longitude and latitude of the landing: open plain, no town
GEOD: Final = Geod(ellps="WGS84")
COLUMN_FT: Final = 480.0  #: mean distance of avenues
ROW_FT: Final = 335.0  #: mean distance of streets
RIVER_FT: Final = 560.0  #: distance of the streets on both sides of the river
RAILWAY_FT: Final = 330.0  #: distance of the avenues on both sides of the railway
ALLEY_INSET: Final = 0.04  #: alleys begin and end this share of a block away from the avenues' centre lines
#: parks and grounds as west, south, east, north in city radii: no streets but the arterials inside
PARKS: Final = ((-0.30, 0.12, -0.13, 0.27), (0.44, 0.30, 0.70, 0.50), (-0.62, -0.60, -0.38, -0.42),
                (0.02, -0.80, 0.22, -0.62), (-0.08, 0.62, 0.10, 0.86))
STREET: Final = 0  #: kinds of blocks: along the river
AVENUE: Final = 1  #: across it
ALLEY: Final = 2  #: along it, behind the houses


@dataclass(frozen=True)
class Lattice:
    """Positions of columns and rows (ft), their lattice numbers, and where river, railway and edge lie."""

    columns: Whole
    rows: Whole
    x_ft: Floats
    y_ft: Floats
    railway: int
    river: int
    radius_ft: float

    def at(self, column: npt.ArrayLike, row: npt.ArrayLike) -> tuple[Floats, Floats]:
        """Unbent position in feet of (fractional) lattice coordinates."""
        return (np.interp(np.asarray(column, float), self.columns, self.x_ft),
                np.interp(np.asarray(row, float), self.rows, self.y_ft))


def lattice(blocks: int, rng: np.random.Generator) -> Lattice:
    """A lattice with room for ``blocks`` blocks around its middle, streets unevenly spaced."""
    true_radius = float(np.sqrt(blocks * COLUMN_FT * ROW_FT / (2 * np.pi)))
    radius = max(true_radius, 1800.0)
    railway, river = int(0.38 * radius / COLUMN_FT), -1 - int(0.24 * radius / ROW_FT)
    columns = np.arange(-_half(true_radius, COLUMN_FT), _half(true_radius, COLUMN_FT) + 1)
    rows = np.arange(-_half(true_radius, ROW_FT), _half(true_radius, ROW_FT) + 1)
    return Lattice(columns, rows, _positions(columns, COLUMN_FT, railway, RAILWAY_FT, rng),
                   _positions(rows, ROW_FT, river, RIVER_FT, rng), railway, river, radius)


def _half(radius_ft: float, spacing_ft: float) -> int:
    return int(np.ceil(1.5 * radius_ft / spacing_ft)) + 9


def _positions(numbers: Whole, spacing_ft: float, gap: int, gap_ft: float, rng: np.random.Generator) -> Floats:
    """Positions with 0 at number 0; the step after number ``gap`` is the width of the river or railway."""
    steps = spacing_ft * rng.uniform(0.84, 1.16, len(numbers) - 1)
    steps[numbers[:-1] == gap] = gap_ft
    along = np.concatenate([[0.0], np.cumsum(steps)])
    return np.asarray(along - along[numbers == 0])


def bend(x: Floats, y: Floats, radius_ft: float) -> tuple[Floats, Floats]:
    """The bent position (ft): Quarry Hill's grid turned, then the railway's curve, then the river's.

    Each map is one-to-one: a swirl turns every circle as a whole, and the two shifts fade more slowly than
    they push (amplitude x 0.61 / spread < 1, the steepest slope of a bell curve being exp(-1/2) / spread).
    """
    u, v = x / radius_ft, y / radius_ft
    from_hill = np.hypot(u + 0.52, v - 0.50)
    fade = np.clip((0.62 - from_hill) / 0.44, 0, 1)
    turn = 0.40 * fade**2 * (3 - 2 * fade)
    east, north = u + 0.52, v - 0.50
    u = -0.52 + east * np.cos(turn) - north * np.sin(turn)
    v = 0.50 + east * np.sin(turn) + north * np.cos(turn)
    u = u + 0.13 * np.sin(2.3 * v + 0.4) * np.exp(-(((u - 0.40) / 0.36) ** 2) / 2)
    v = v + 0.17 * np.sin(3.0 * u - 0.5) * np.exp(-(((v + 0.22) / 0.34) ** 2) / 2)
    u, v = u + 0.012 * np.sin(5 * v + 1), v + 0.012 * np.sin(4 * u)
    return u * radius_ft, v * radius_ft


def lay_out(blocks: int, seed: int) -> pd.DataFrame:
    """One row per block, ``blocks`` of them, sorted by block_id: names, class, district, line and length.

    Columns: block_id, street, from_street, to_street, functional_class, district, length_ft, line (WKT),
    and for the later stages kind, street_number, place (position along the street) and river_share (distance
    to the river in city radii).
    """
    rng = np.random.default_rng([seed, 1])
    grid = lattice(blocks, rng)
    edges = _edges(grid)
    edges["district"] = districts(edges["u"].to_numpy(), edges["v"].to_numpy(), grid)
    edges = _thinned(edges, grid, rng)
    angle = np.arctan2(edges["v"], edges["u"])
    outline = 1 + 0.13 * np.sin(3 * angle + 0.6) + 0.07 * np.sin(5 * angle + 2.0) + 0.04 * np.sin(9 * angle)
    reach = np.hypot(edges["u"], edges["v"]) / outline
    nearest = np.argsort(reach.to_numpy(), kind="stable")[:blocks]
    city = edges.iloc[nearest].reset_index(drop=True)
    lines, city["length_ft"] = _lines(city, grid, rng)
    city["line"] = lines
    return _named(city, grid).sort_values("block_id", ignore_index=True)


def _edges(grid: Lattice) -> pd.DataFrame:
    """Every possible block: kind, column and row of its beginning, class, middle (u, v) in city radii."""
    column, row = (a.ravel() for a in np.meshgrid(grid.columns[:-1], grid.rows[:-1]))
    kinds = []
    for kind, across, up in ((STREET, 0.5, 0.0), (AVENUE, 0.0, 0.5), (ALLEY, 0.5, 0.5)):
        x, y = grid.at(column + across, row + up)
        kinds.append(pd.DataFrame({"kind": kind, "grid_column": column, "grid_row": row, "u": x / grid.radius_ft,
                                   "v": y / grid.radius_ft}))
    edges = pd.concat(kinds, ignore_index=True)
    edges["functional_class"] = _classes(edges, grid)
    edges["river_share"] = np.abs(edges["v"] - grid.at(0, grid.river + 0.5)[1] / grid.radius_ft)
    return edges


def _classes(edges: pd.DataFrame, grid: Lattice) -> npt.NDArray[np.str_]:
    """Every eighth street and sixth avenue is an arterial, halfway between and along the river collectors."""
    street, row, column = edges["kind"] == STREET, edges["grid_row"], edges["grid_column"]
    arterial = np.where(street, row % 8 == 0, column % 6 == 0)
    collector = np.where(street, (row % 8 == 4) | row.isin([grid.river, grid.river + 1]), column % 6 == 3)
    return np.select([edges["kind"] == ALLEY, arterial, collector], ["alley", "arterial", "collector"], "local")


def districts(u: Floats, v: Floats, grid: Lattice) -> npt.NDArray[np.str_]:
    """District of a place in city radii; river and railway are borders of all they touch."""
    river = float(grid.at(0, grid.river + 0.5)[1]) / grid.radius_ft
    railway = float(grid.at(grid.railway + 0.5, 0)[0]) / grid.radius_ft
    south, east = v < river, u > railway
    return np.select(
        [south & east, east & (v > 0.30), east, south & (u < -0.22), south, (u < -0.06) & (v > 0.16 - 0.3 * u),
         (u >= -0.06) & (v > 0.40)],
        ["Far Meadow", "Skylark Park", "Kilnside", "Millers Flat", "Southbank", "Quarry Hill", "Heron Heath"],
        "Old Landing")


def _thinned(edges: pd.DataFrame, grid: Lattice, rng: np.random.Generator) -> pd.DataFrame:
    """The blocks that exist in concrete: none over the river, few over the railway, none in parks, some gaps."""
    small = edges["functional_class"].isin(["local", "alley"])
    over_river = (edges["kind"] != STREET) & (edges["grid_row"] == grid.river)
    over_railway = (edges["kind"] != AVENUE) & (edges["grid_column"] == grid.railway) & small
    in_park = np.zeros(len(edges), bool)
    for west, south, east, north in PARKS:
        in_park |= (edges["u"].between(west, east) & edges["v"].between(south, north)).to_numpy()
    old = edges["district"].isin(["Old Landing", "Kilnside", "Southbank"])
    gap = np.where(edges["kind"] == ALLEY, np.where(old, 0.84, 0.995), np.where(old, 0.03, 0.10))
    missing = (rng.random(len(edges)) < gap) & small
    keep = ~(over_river | over_railway | (in_park & (edges["functional_class"] != "arterial")) | missing)
    return edges[keep]


def _lines(city: pd.DataFrame, grid: Lattice, rng: np.random.Generator) -> tuple[list[str], Floats]:
    """Centre lines as well-known text, 6 decimals, and their geodesic lengths on the WGS 84 ellipsoid (ft)."""
    share = np.linspace(0, 1, 5)
    alley = (city["kind"] == ALLEY).to_numpy()[:, None]
    along = np.where(alley, ALLEY_INSET + (1 - 2 * ALLEY_INSET) * share, share)
    street = (city["kind"] != AVENUE).to_numpy()[:, None]
    column = city["grid_column"].to_numpy()[:, None] + np.where(street, along, 0.0)
    row = city["grid_row"].to_numpy()[:, None] + np.where(alley, 0.5, np.where(street, 0.0, along))
    x, y = bend(*grid.at(column, row), grid.radius_ft)
    shake = rng.normal(0, 5.0, (2, len(grid.columns), len(grid.rows)))  # old surveys were not exact
    lon, lat = _degrees(x + _between(shake[0], column, row, grid), y + _between(shake[1], column, row, grid))
    vertices = _vertices(x, y)
    texts, lengths = [""] * len(city), np.zeros(len(city))
    for count, picked in ((2, [0, 4]), (3, [0, 2, 4]), (5, [0, 1, 2, 3, 4])):
        rows = np.flatnonzero(vertices == count)
        if len(rows):
            some_lon, some_lat = lon[rows][:, picked], lat[rows][:, picked]
            _, _, metres = GEOD.inv(some_lon[:, :-1], some_lat[:, :-1], some_lon[:, 1:], some_lat[:, 1:])
            lengths[rows] = np.asarray(metres).sum(axis=1) / M_PER_FT
            for at, line in zip(rows, _texts(some_lon, some_lat), strict=True):
                texts[at] = line
    return texts, np.round(lengths, 1)


def _between(shake: Floats, column: Floats, row: Floats, grid: Lattice) -> Floats:
    """Shift of a place (ft): that of the crossings around it, in proportion, so that ends of blocks meet."""
    i, j = column - grid.columns[0], row - grid.rows[0]
    left, low = np.floor(i).astype(int), np.floor(j).astype(int)
    right, high = np.minimum(left + 1, len(grid.columns) - 1), np.minimum(low + 1, len(grid.rows) - 1)
    across, up = i - left, j - low
    lower = shake[left, low] * (1 - across) + shake[right, low] * across
    upper = shake[left, high] * (1 - across) + shake[right, high] * across
    return np.asarray(lower * (1 - up) + upper * up)


def _degrees(x_ft: Floats, y_ft: Floats) -> tuple[Floats, Floats]:
    """Longitude and latitude, 6 decimals, by one scale each way at the centre; lengths are measured afterwards."""
    lon, lat = CENTRE
    _, _, east = GEOD.inv(lon - 0.5, lat, lon + 0.5, lat)
    _, _, north = GEOD.inv(lon, lat - 0.5, lon, lat + 0.5)
    return np.round(lon + x_ft * M_PER_FT / east, 6), np.round(lat + y_ft * M_PER_FT / north, 6)


def _vertices(x: Floats, y: Floats) -> Whole:
    """Vertices a block is drawn with: 2 if its middle is within 2 ft of straight, 3 within 6 ft, else 5."""
    off = np.hypot(x[:, 2] - (x[:, 0] + x[:, 4]) / 2, y[:, 2] - (y[:, 0] + y[:, 4]) / 2)
    return np.select([off < 2, off < 6], [2, 3], 5)


def _texts(lon: Floats, lat: Floats) -> list[str]:
    return ["LINESTRING (" + ", ".join(f"{x} {y}" for x, y in zip(*pair, strict=True)) + ")"
            for pair in zip(lon.tolist(), lat.tolist(), strict=True)]


def _named(city: pd.DataFrame, grid: Lattice) -> pd.DataFrame:
    """Add block_id, street, from_street, to_street, street_number and place."""
    rows = [names.along_river(int(row), grid.river) for row in grid.rows]
    columns = [names.across_river(int(column), grid.railway) for column in grid.columns]
    full_rows = np.array([f"{name} {'Road' if row % 8 == 0 else 'Street'}" if "Levee" not in name else f"{name} Road"
                          for name, row in zip(rows, grid.rows, strict=True)])
    full_columns = np.array([f"{name} {'Boulevard' if column % 6 == 0 else 'Avenue'}"
                             for name, column in zip(columns, grid.columns, strict=True)])
    alleys, short = np.array([f"{name} Alley" for name in rows]), np.array([*rows, *columns])
    i, j = (city["grid_column"] - grid.columns[0]).to_numpy(), (city["grid_row"] - grid.rows[0]).to_numpy()
    avenue, alley = (city["kind"] == AVENUE).to_numpy(), (city["kind"] == ALLEY).to_numpy()
    place = np.where(avenue, city["grid_row"], city["grid_column"]).astype(int)
    number = np.where(avenue, len(rows) + i, j)
    digits = max(2, len(str(int(np.abs(place).max(initial=0)) + 1)))
    sides = np.where(avenue, np.where(place < 0, "S", "N"), np.where(place < 0, "W", "E"))
    steps = np.where(place < 0, -place, place + 1)  # the landing's crossing is between W01 and E01
    tails = [f"{side}{step:0{digits}d}" for side, step in zip(sides.tolist(), steps.tolist(), strict=True)]
    heads = [f"{short[n].upper().replace(' ', '-')}{'-ALLEY' if a else ''}" for n, a in zip(number, alley, strict=True)]
    return city.assign(
        block_id=[f"{head}-{tail}" for head, tail in zip(heads, tails, strict=True)],
        street=np.where(alley, alleys[j], np.where(avenue, full_columns[i], full_rows[j])),
        from_street=np.where(avenue, full_rows[j], full_columns[i]),
        to_street=np.where(avenue, full_rows[j + 1], full_columns[i + 1]),
        street_number=number + (len(rows) + len(columns)) * alley, place=place)
