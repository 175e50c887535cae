"""Sketches of where a block lies: true to scale against geodesics, names apart from each other, no colour."""

from __future__ import annotations

import random
import re
from collections.abc import Iterator
from itertools import combinations, pairwise
from math import cos, radians, sin

import pandas as pd
import pytest
import shapely
from pyproj import Geod
from reportlab.pdfbase.pdfmetrics import stringWidth

from rehab.outputs.drawings import Drawing, Streets, as_pdf, as_png, as_svg, location_sketch
from rehab.outputs.drawings.marks import Circle, Group, Mark, Path, Rect, Words
from rehab.outputs.drawings.sketch import feet_per_degree
from rehab.outputs.shapes import bearing_deg

GEOD = Geod(ellps="WGS84")
FT = 0.3048


def table(lines: dict[str, str]) -> pd.DataFrame:
    return pd.DataFrame({"block_id": list(lines), "line": list(lines.values())})


def wkt(points: list[tuple[float, float]]) -> str:
    return "LINESTRING (" + ", ".join(f"{lon:.7f} {lat:.7f}" for lon, lat in points) + ")"


def place(lon: float, lat: float, east_ft: float, north_ft: float) -> tuple[float, float]:
    """A point so many feet east and north of another, along geodesics."""
    lon, lat, _ = GEOD.fwd(lon, lat, 0, north_ft * FT)
    lon, lat, _ = GEOD.fwd(lon, lat, 90, east_ft * FT)
    return lon, lat


def grid(lat: float = 39.5, lon: float = -101.3, turn: float = 0.0) -> tuple[pd.DataFrame, dict[str, str]]:
    """Six streets east and six north, 330 ft apart, in blocks: 'E2-3' is the third block of the third street east."""
    a, b = cos(radians(turn)), sin(radians(turn))

    def at(x: float, y: float) -> tuple[float, float]:
        return place(lon, lat, 330 * (a * x - b * y), 330 * (b * x + a * y))

    lines = {f"E{row}-{step}": wkt([at(step, row), at(step + 1, row)]) for row in range(6) for step in range(5)}
    lines |= {f"N{row}-{step}": wkt([at(row, step), at(row, step + 1)]) for row in range(6) for step in range(5)}
    numbers = ("1st", "2nd", "3rd", "4th", "5th", "6th")
    names = {block: f"{numbers[int(block[1])]} {'Street' if block[0] == 'E' else 'Avenue'}" for block in lines}
    return table(lines), names


def flat(marks: tuple[Mark, ...]) -> Iterator[Mark]:
    for mark in marks:
        if isinstance(mark, Group):
            yield from flat(mark.marks)
        else:
            yield mark


def group(drawing: Drawing, kind: str) -> Group:
    def found(marks: tuple[Mark, ...]) -> Iterator[Group]:
        for mark in marks:
            if isinstance(mark, Group):
                if mark.kind == kind:
                    yield mark
                yield from found(mark.marks)

    [one] = found(drawing.bands[0].marks)
    return one


def words(drawing: Drawing) -> list[Words]:
    return [mark for mark in flat(drawing.bands[0].marks) if isinstance(mark, Words)]


def line(drawing: Drawing) -> list[tuple[float, float]]:
    heavy = group(drawing, "block").marks[0]
    assert isinstance(heavy, Path)
    return [point for part in heavy.parts for point in part]


def box(mark: Words) -> shapely.Polygon:
    """The turned rectangle of a text by the widths of Helvetica, from its base line to its capitals' height."""
    wide = stringWidth(mark.text, "Helvetica-Bold" if mark.bold else "Helvetica", mark.size)
    left = {"start": 0.0, "middle": -wide / 2, "end": -wide}[mark.anchor]
    upright = shapely.box(mark.x + left, mark.y - 0.72 * mark.size, mark.x + left + wide, mark.y)
    return shapely.affinity.rotate(upright, -mark.turn, origin=(mark.x, mark.y))


def made(streets: Streets, block: str, **how: float) -> Drawing:
    drawing = streets.sketch(block, **how)
    assert drawing is not None
    return drawing


# ---- to scale ------------------------------------------------------------------------------------------------------

@pytest.mark.parametrize("latitude", [0.0, 21.3, 39.5, 47.6, 61.2, -33.9])
def test_degrees_are_as_long_as_geodesics_say(latitude: float) -> None:
    east, north = feet_per_degree(latitude)
    _, _, lon = GEOD.inv(-0.005, latitude, 0.005, latitude)
    _, _, lat = GEOD.inv(0, latitude - 0.005, 0, latitude + 0.005)
    assert east * 0.01 * FT == pytest.approx(lon, rel=1e-6)
    assert north * 0.01 * FT == pytest.approx(lat, rel=1e-6)


@pytest.mark.parametrize("latitude", [1.0, 39.5, 61.2])
@pytest.mark.parametrize("bearing", [0, 37, 90, 145, 180, 270])
@pytest.mark.parametrize("length_ft", [120.0, 330.0, 2640.0, 10_000.0])
def test_a_line_is_drawn_as_long_as_it_is_and_where_it_points(latitude: float, bearing: float, length_ft: float) -> None:
    lon, lat, _ = GEOD.fwd(-101.3, latitude, bearing, length_ft * FT)
    drawing = location_sketch("B", table({"B": wkt([(-101.3, latitude), (lon, lat)])}), {})
    assert drawing is not None
    (x0, y0), (x1, y1) = line(drawing)
    drawn = ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5 / 72 * drawing.feet_per_inch
    assert drawn == pytest.approx(length_ft, rel=1e-3, abs=0.1)
    # north is up: whoever walks with a bearing goes so far to the right, and down the page against north
    assert (x1 - x0) / 72 * drawing.feet_per_inch == pytest.approx(length_ft * sin(radians(bearing)), abs=2e-3 * length_ft + 0.1)
    assert (y1 - y0) / 72 * drawing.feet_per_inch == pytest.approx(-length_ft * cos(radians(bearing)), abs=2e-3 * length_ft + 0.1)


def test_bearing_is_that_of_the_map() -> None:
    geometry, _ = grid(turn=33)
    streets = Streets(geometry, {})
    for block in ("E2-2", "N1-4"):
        assert streets.bearing_deg(block) == pytest.approx(bearing_deg(geometry, block), abs=1e-6)
    assert streets.bearing_deg("E2-2") == pytest.approx(90 - 33, abs=0.1)
    assert streets.bearing_deg("unheard of") is None
    assert Streets(table({"A": "LINESTRING (0 0, 0 0)"}), {}).bearing_deg("A") is None


def test_what_lies_around_is_shown_to_the_reach_asked_for() -> None:
    geometry, names = grid()
    for reach in (100.0, 300.0, 700.0):
        drawing = made(Streets(geometry, names), "E2-2", reach_ft=reach)
        xs, ys = zip(*line(drawing), strict=True)
        per_ft = 72 / drawing.feet_per_inch
        assert min(xs) >= reach * per_ft - 0.01
        assert drawing.width - max(xs) >= reach * per_ft - 0.01
        assert min(ys) >= reach * per_ft - 0.01
        assert drawing.bands[0].height - max(ys) >= reach * per_ft - 0.01


def test_streets_around_lie_true() -> None:
    geometry, names = grid()
    drawing = made(Streets(geometry, names), "E2-2")
    (x0, y0), (x1, _) = line(drawing)
    [thin] = [mark for mark in group(drawing, "around").marks if isinstance(mark, Path)]
    ends = [point for part in thin.parts for point in part]
    for dx, dy in ((-330, 0), (660, 0), (0, 330), (330, -330)):  # corners of the blocks beside it
        wanted = x0 + dx * 72 / drawing.feet_per_inch, y0 - dy * 72 / drawing.feet_per_inch
        assert min(abs(a - wanted[0]) + abs(b - wanted[1]) for a, b in ends) < 0.15
    assert x1 > x0


def test_scale_bar_is_as_long_as_it_says() -> None:
    geometry, names = grid()
    for reach in (20.0, 300.0, 3000.0, 40_000.0):
        drawing = made(Streets(geometry, names), "N1-1", reach_ft=reach)
        bar = group(drawing, "scale")
        parts = [mark for mark in bar.marks if isinstance(mark, Rect) and mark.pen]
        feet = [mark.text for mark in bar.marks if isinstance(mark, Words)][-1]
        assert sum(part.width for part in parts) / 72 * drawing.feet_per_inch == pytest.approx(
            float(feet.removesuffix(" ft").replace(",", "")))


# ---- signs and names -----------------------------------------------------------------------------------------------

def test_beginning_and_end_are_told_apart() -> None:
    geometry, names = grid()
    drawing = made(Streets(geometry, names), "E2-2", length_ft=330.0)
    (x0, y0), (x1, y1) = line(drawing)
    ring, head = group(drawing, "start").marks[0], group(drawing, "end").marks[0]
    assert isinstance(ring, Circle)
    assert isinstance(head, Path)
    assert (ring.x, ring.y) == (x0, y0)
    assert max(x for x, _ in head.parts[0]) > x1 - 0.01  # its tip points on
    stations = {mark.text: mark for mark in words(drawing) if "+" in mark.text}
    assert set(stations) == {"0+00", "3+30"}  # 330 ft: three hundreds and 30 ft
    for text, (x, y) in (("0+00", (x0, y0)), ("3+30", (x1, y1))):
        assert abs(stations[text].x - x) < 30
        assert abs(stations[text].y - y) < 20
    assert not [mark for mark in words(made(Streets(geometry, names), "E2-2")) if mark.text == "3+30"]


def test_the_streets_it_ends_at_are_named() -> None:
    geometry, names = grid(turn=20)
    for block in ("E2-2", "N3-1", "E0-0"):
        drawing = made(Streets(geometry, names), block, reach_ft=350)
        row, step = int(block[1]), int(block[3])
        across = "Avenue" if block[0] == "E" else "Street"
        own = names[block]
        shown = [mark.text for mark in words(drawing)]
        assert own in shown
        for number in (step, step + 1):
            assert names[f"{'N' if block[0] == 'E' else 'E'}{number}-0"] in shown, (block, row, across)
        assert [mark.bold for mark in words(drawing) if mark.text == own] == [True]


def random_town(seed: int) -> tuple[pd.DataFrame, dict[str, str]]:
    """Bent streets with names of 4 to 80 letters."""
    rng = random.Random(seed)
    lines: dict[str, str] = {}
    names: dict[str, str] = {}
    for street in range(40):
        x, y = rng.uniform(-2500, 2500), rng.uniform(-2500, 2500)
        way, name = rng.uniform(0, 360), "".join(rng.choice("ABCdefgh ijklmnop") for _ in range(rng.choice((4, 14, 25, 80))))
        for step in range(8):
            points = [place(-101.3, 39.5, x, y)]
            for _ in range(rng.randint(1, 4)):
                way += rng.uniform(-15, 15)
                x, y = x + 110 * sin(radians(way)), y + 110 * cos(radians(way))
                points.append(place(-101.3, 39.5, x, y))
            lines[f"{street}-{step}"] = wkt(points)
            names[f"{street}-{step}"] = name.strip() or "A"
    return table(lines), names


@pytest.mark.parametrize("seed", range(3))
def test_no_words_stand_on_others_or_leave_the_sketch(seed: int) -> None:
    geometry, names = random_town(seed)
    streets = Streets(geometry, names)
    named = 0
    for block in list(names)[::9]:
        drawing = made(streets, block, length_ft=1234.5)
        boxes = [(mark, box(mark)) for mark in words(drawing)]
        named += len(boxes)
        frame = shapely.box(0, 0, drawing.width, drawing.bands[0].height)
        for mark, shape in boxes:
            assert shapely.contains(frame, shape), mark.text
        for (one, a), (other, b) in combinations(boxes, 2):
            assert a.intersection(b).area < 0.3, (block, one.text, other.text)
        texts = [mark.text for mark in words(drawing)]
        assert len(set(texts)) == len(texts)
    assert named > 36 * 6


def test_names_stand_along_their_lines() -> None:
    geometry, names = grid(turn=30)
    drawing = made(Streets(geometry, names), "E2-2")
    turns = {mark.text: mark.turn for mark in words(drawing) if "Street" in mark.text or "Avenue" in mark.text}
    assert len(turns) >= 4
    for text, turn in turns.items():
        assert turn == pytest.approx(30 if "Street" in text else -60, abs=0.5)


def test_a_long_name_is_shortened_and_none_is_upside_down() -> None:
    geometry, names = grid(turn=100)
    long = "Avenue of the Amalgamated Brotherhood of Bridge Carpenters and Lock Keepers, East"
    assert len(long) > 80
    drawing = made(Streets(geometry, {block: long if name == "3rd Street" else name for block, name in names.items()}), "N2-2")
    shown = [mark for mark in words(drawing) if mark.text.startswith("Avenue of")]
    assert len(shown) == 1
    assert shown[0].text.endswith("…")
    assert all(-90 < mark.turn <= 90.5 for mark in words(drawing))


def test_it_says_in_words_where_the_block_lies() -> None:
    geometry, names = grid()
    drawing = made(Streets(geometry, names), "E2-2")
    assert drawing.about.startswith("Where block E2-2 lies on 3rd Street; near it 2nd Avenue, 2nd Street, 3rd Avenue")
    unnamed = location_sketch("E2-2", geometry, {})
    assert unnamed is not None
    assert unnamed.about == "Where block E2-2 lies on street not given"
    assert {mark.text for mark in words(unnamed)} == {"0+00", "N", "0", "200 ft"}


# ---- lines of all kinds --------------------------------------------------------------------------------------------

def test_no_line_no_sketch() -> None:
    geometry = table({"A": "LINESTRING EMPTY", "B": "LINESTRING (0 0, 0.001 0)"})
    assert Streets(geometry, {}).sketch("A") is None
    assert Streets(geometry, {}).sketch("unheard of") is None
    assert Streets(geometry[:0], {}).sketch("B") is None


def test_lines_of_parts_heights_and_no_length() -> None:
    geometry = table({
        "parts": "MULTILINESTRING ((-101.3 39.5, -101.299 39.5), (-101.298 39.5, -101.297 39.501))",
        "high": "LINESTRING Z (-101.3 39.5 800, -101.299 39.5 801)",
        "still": "LINESTRING (-101.3 39.5, -101.3 39.5)",
        "twice": "LINESTRING (-101.3 39.5, -101.299 39.5, -101.299 39.5)",
    })
    streets = Streets(geometry, {})
    for block in geometry["block_id"]:
        drawing = made(streets, block, length_ft=100.0)
        assert "0+00" in {mark.text for mark in words(drawing)}
    parts = group(made(streets, "parts"), "block").marks[0]
    assert isinstance(parts, Path)
    assert len(parts.parts) == 2
    assert line(made(streets, "parts"))[0][0] < line(made(streets, "parts"))[-1][0]
    with pytest.raises(StopIteration):
        next(mark for mark in flat(made(streets, "still").bands[0].marks) if isinstance(mark, Group))


def test_no_name_stands_under_the_line_of_the_block() -> None:
    geometry, names = grid(turn=0.3)
    long = "Reverend Doctor Bartholomew Featherston Memorial Parkway North of the Old River"
    for block in ("E2-2", "N3-2", "E0-0"):
        drawing = made(Streets(geometry, {**names, block: long}), block, width_in=5.8, height_in=1.5, reach_ft=200.0)
        heavy = shapely.LineString(line(drawing)).buffer(1.5, cap_style="flat")
        for mark in words(drawing):
            assert not shapely.intersects(box(mark), heavy), (block, mark.text)


def test_sizes_are_kept_and_silly_ones_refused() -> None:
    geometry, names = grid()
    drawing = made(Streets(geometry, names), "E1-1", width_in=7.5, height_in=1.9)
    assert (drawing.width, drawing.height) == pytest.approx((540, 136.8))
    with pytest.raises(ValueError, match="too small to be read"):
        Streets(geometry, names).sketch("E1-1", width_in=0)


def test_a_sketch_is_black_white_and_grey_in_every_format() -> None:
    geometry, names = grid(turn=15)
    drawing = made(Streets(geometry, names), "E2-2", length_ft=330.0)
    svg = as_svg(drawing)
    for code in re.findall(r"#[0-9a-f]{6}", svg):
        assert len(set(re.findall("..", code[1:]))) == 1, code
    assert svg.count("rotate(-15 ") + svg.count("rotate(-15.") >= 2
    assert as_pdf(drawing, paged=False) == as_pdf(made(Streets(geometry, names), "E2-2", length_ft=330.0), paged=False)
    assert as_png(drawing) == as_png(drawing)


def test_blocks_that_follow_each_other_share_one_name() -> None:
    geometry, names = grid()
    drawing = made(Streets(geometry, names), "E2-2", reach_ft=700)
    texts = [mark.text for mark in words(drawing)]
    assert all(one != other for one, other in pairwise(sorted(texts)))
