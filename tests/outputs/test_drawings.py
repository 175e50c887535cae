"""Panel plans read back from the SVG and from the PDF: positions to scale, counts, stations, hatches, escaping."""

from __future__ import annotations

import random
import re
import zlib
from collections import Counter
from collections.abc import Iterator
from io import BytesIO
from itertools import combinations, pairwise
from typing import Any, NamedTuple
from xml.etree import ElementTree as ET

import pandas as pd
import pytest
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from rehab.base import tables
from rehab.outputs import drawings
from rehab.outputs.drawings.defects import FAMILIES, FAMILY
from rehab.outputs.drawings.lettering import fitted, width, wrapped
from rehab.outputs.drawings.look import grey
from rehab.outputs.drawings.scale import choose_scale, north, station, strips
from rehab.outputs.drawings.schedule import inches

SVG = "{http://www.w3.org/2000/svg}"
NASTY = 'Quarry & "Old" <script>alert(1)</script> Road of the Twenty-Fifth Infantry — Łódź \x07'
Row = dict[str, Any]


# ---- the tables that are drawn -------------------------------------------------------------------------------------

def block(**given: Any) -> Row:
    """300 by 36 ft, 20 by 3 panels of 15 by 12 ft, dowelled, unless said otherwise."""
    row = {"block_id": "B1", "street": "Alder St", "from_street": "3rd Ave", "to_street": "4th Ave", "length_ft": 300.0,
           "width_ft": 36.0, "panel_rows": 20.0, "panel_columns": 3.0, "thickness_in": 8.0, "dowelled": True,
           "surveyed_on": "2026-06-01", "assumed": "", **given}
    return tables.with_types("network", pd.DataFrame([row])).iloc[0].to_dict()


def repairs(*rows: Row) -> pd.DataFrame:
    """Repairs numbered from 1, with no bars unless the rows say so."""
    usual = {"block_id": "B1", "kind": "partial depth", "panel_row": 1, "panel_column": 1, "depth_in": 2.5, "dowels": 0,
             "basket_dowels": 0, "dowel_diameter_in": 0.0, "tie_bars": 0, "inner_joints": 0, "saw_ft": 1.0,
             "joint_ft": 1.0, "insert_ft": 0.0, "cause": "1", "why": "a rule"}
    full = [{**usual, "repair_id": number, **row} for number, row in enumerate(rows, 1)]
    for row in full:
        row["area_sqft"] = row["pay_sqft"] = row["length_ft"] * row["width_ft"]
    return tables.check("repairs", tables.with_types("repairs", pd.DataFrame(full))) if full else tables.empty("repairs")


def findings(*rows: Row) -> pd.DataFrame:
    """Findings numbered from 1."""
    usual = {"block_id": "B1", "panel_row": 1, "panel_column": 1, "severity": "medium", "call": "full depth",
             "could_raise": False, "rule": "r", "why": "w"}
    full = [{**usual, "defect_id": number, **row} for number, row in enumerate(rows, 1)]
    frame = tables.with_types("findings", pd.DataFrame(full)) if full else tables.empty("findings")
    return tables.check("findings", frame)


def cut(kind: str, x: float, y: float, length: float, across: float, **more: Any) -> Row:
    return {"kind": kind, "x_ft": x, "y_ft": y, "length_ft": length, "width_ft": across, **more}


def seen(defect: str, row: int, column: int, x0: float, y0: float, x1: float, y1: float, **more: Any) -> Row:
    return {"defect": defect, "panel_row": row, "panel_column": column, "x0_ft": x0, "y0_ft": y0, "x1_ft": x1, "y1_ft": y1,
            **more}


BARS = {"depth_in": 8.0, "dowels": 22, "dowel_diameter_in": 1.0}
MIXED = repairs(
    cut("full depth", 14, 0, 7, 12, **BARS, inner_joints=1, basket_dowels=11, cause="1; 2"),
    cut("partial depth", 44.2, 12, 1.6, 3),
    cut("full depth", 60, 12, 15, 12, **BARS, tie_bars=12),
    cut("casting box-out", 97, 14, 5, 5, depth_in=8.0),
    cut("partial depth", 119.5, 24, 1, 1),
    cut("full depth", 164, 24, 32, 12, depth_in=8.0, dowels=17, dowel_diameter_in=1.25, inner_joints=2, basket_dowels=18,
        tie_bars=13),
)
SURVEYED = findings(
    seen("corner break", 1, 1, 11.5, 0, 15, 3, severity="high"), seen("joint spall", 2, 1, 15, 2, 16.2, 8),
    seen("broken panel", 5, 2, 60, 12, 75, 24, severity="high"), seen("casting", 7, 2, 98, 15, 101, 18, severity=None),
    seen("sunken panel", 12, 3, 165, 24, 180, 36, step_in=1.25), seen("hollow area", 6, 3, 77, 26, 86, 33),
    seen("longitudinal crack", 4, 1, 46, 6, 59, 6.2, severity="low"), seen("faulting", 18, 3, 255, 24, 270, 36, step_in=0.4),
    seen("map cracking", 10, 1, 136, 1, 149, 11), seen("patch", 11, 2, 150, 12, 156, 20),
)


def crowd(count: int, length: float, rows: int) -> pd.DataFrame:
    """Random repairs on three columns of panels, none over another."""
    rng = random.Random(7)
    spots = rng.sample([(row, column) for row in range(rows) for column in range(3)], count)
    panel = length / rows
    made = [cut("full depth", row * panel + rng.uniform(0, panel - 6), column * 12, 6, 12, **BARS) if rng.random() < 0.2 else
            cut("partial depth", row * panel + rng.uniform(0, panel - 1.2), column * 12 + rng.uniform(0, 8), 1.2,
                rng.uniform(1, 3)) for row, column in spots]
    return repairs(*sorted(made, key=lambda row: (row["x_ft"], row["y_ft"])))


NOTHING = findings()
CASES: dict[str, tuple[Row, pd.DataFrame, pd.DataFrame, Row]] = {
    "mixed": (block(parking_ft=250.0), SURVEYED, MIXED, {"bearing_deg": 65.0}),
    "sixty repairs": (block(), NOTHING, crowd(60, 300.0, 20), {}),
    "hostile names": (block(street=NASTY, from_street=NASTY, to_street="Åsgårdsgränd Ωmega " * 6, dowelled=None,
                            surveyed_on=None, assumed="thickness_in; panel_length_ft"), NOTHING, repairs(), {}),
    "nothing known": (block(street=None, from_street=None, to_street=None), NOTHING, repairs(), {"bearing_deg": 0.0}),
    "one panel": (block(length_ft=12.0, width_ft=10.0, panel_rows=1.0, panel_columns=1.0), NOTHING,
                  repairs(cut("full depth", 0, 0, 12, 10, **BARS)), {"bearing_deg": 180.0}),
    "ten thousand feet": (block(length_ft=10_000.0, panel_rows=667.0), NOTHING, crowd(60, 10_000.0, 667), {}),
    "sixty columns": (block(width_ft=200.0, panel_columns=60.0), NOTHING, repairs(cut("full depth", 30, 10, 6, 10 / 3)), {}),
    "wide paper": (block(), SURVEYED, MIXED, {"paper": drawings.TABLOID, "bearing_deg": 290.0}),
    "crowded by scale": (block(), NOTHING, crowd(60, 300.0, 20), {"feet_per_inch": 60.0}),
    "strip above page": (block(width_ft=100.0), SURVEYED, MIXED, {"feet_per_inch": 10.0}),
}


@pytest.fixture(params=CASES, scope="module")
def drawn(request: pytest.FixtureRequest) -> drawings.Drawing:
    row, found, repaired, how = CASES[request.param]
    return drawings.panel_plan(row, found, repaired, **how)


def plan(name: str) -> drawings.Drawing:
    row, found, repaired, how = CASES[name]
    return drawings.panel_plan(row, found, repaired, **how)


# ---- reading a drawing back ----------------------------------------------------------------------------------------

class Placed(NamedTuple):
    """An element of the SVG with the height at which its band begins."""

    element: ET.Element
    top: float


def tree(drawing: drawings.Drawing) -> ET.Element:
    return ET.fromstring(drawings.as_svg(drawing))


def bands(root: ET.Element, kind: str = "") -> list[Placed]:
    found = [band for band in root.findall(f"{SVG}g") if str(band.get("class")).startswith(kind)]
    return [Placed(band, float(str(band.get("transform")).removeprefix("translate(0 ").removesuffix(")"))) for band in found]


def groups(root: ET.Element, kind: str) -> list[ET.Element]:
    return [group for group in root.iter(f"{SVG}g") if group.get("class") == kind]


def texts(root: ET.Element) -> list[str]:
    return [str(text.text) for text in root.iter(f"{SVG}text")]


def numbers(element: ET.Element, *names: str) -> list[float]:
    return [float(str(element.get(name))) for name in names]


def segments(path: ET.Element) -> list[list[tuple[float, float]]]:
    return [[(float(pair.split()[0]), float(pair.split()[1])) for pair in part.removesuffix("Z").split("L")]
            for part in str(path.get("d")).split("M")[1:]]


def bars(group: ET.Element, kind: str) -> int:
    return sum(len(segments(path)) for found in groups(group, kind) for path in found.findall(f"{SVG}path"))


def outline(group: ET.Element) -> tuple[float, float, float, float]:
    """The stroked rectangle of a repair: x, y, width, height."""
    [found] = [rect for rect in group.findall(f"{SVG}rect") if rect.get("stroke")]
    x, y, wide, high = numbers(found, "x", "y", "width", "height")
    return x, y, wide, high


def text_box(text: ET.Element) -> tuple[float, float, float, float]:
    """Left, top, right and bottom of a text by the metrics of Helvetica, cap height and descent at their largest."""
    x, y, size = numbers(text, "x", "y", "font-size")
    wide = stringWidth(str(text.text), "Helvetica-Bold" if text.get("font-weight") else "Helvetica", size)
    left = {"start": 0.0, "middle": -wide / 2, "end": -wide}[text.get("text-anchor", "start")]
    if text.get("transform"):
        return x - 0.75 * size, y - left - wide, x + 0.2 * size, y - left
    return x + left, y - 0.75 * size, x + left + wide, y + 0.2 * size


def reach(element: ET.Element) -> tuple[float, float, float, float] | None:
    """Left, top, right and bottom of an element, without the width of its pen."""
    tag = element.tag.removeprefix(SVG)
    if tag == "rect" and element.get("x"):
        x, y, wide, high = numbers(element, "x", "y", "width", "height")
        return x, y, x + wide, y + high
    if tag == "circle":
        x, y, radius = numbers(element, "cx", "cy", "r")
        return x - radius, y - radius, x + radius, y + radius
    if tag == "path":
        xs, ys = zip(*(point for part in segments(element) for point in part), strict=True)
        return min(xs), min(ys), max(xs), max(ys)
    return text_box(element) if tag == "text" else None


def streams(pdf: bytes) -> Iterator[str]:
    """The page contents of a PDF: deflated streams."""
    for body in re.findall(rb"/Filter \[ /FlateDecode \].*?stream\r?\n(.*?)endstream", pdf, re.DOTALL):
        plain = zlib.decompressobj().decompress(body)
        if b" re" in plain and not plain.startswith(b"\0\1\0\0"):  # a page, not a TrueType font nor its letters
            yield plain.decode("latin-1")


# ---- stations, scales and north ------------------------------------------------------------------------------------

@pytest.mark.parametrize(("feet", "written"), [
    # by hand: hundreds before the sign, feet within the hundred after it, tenths only where there are any
    (0, "0+00"), (7.5, "0+07.5"), (15, "0+15"), (99.94, "0+99.9"), (99.96, "1+00"), (150, "1+50"), (1234.5, "12+34.5"),
    (9_999.96, "100+00"), (300 / 7, "0+42.9"),
])
def test_stations_are_hundreds_of_feet(feet: float, written: str) -> None:
    assert station(feet) == written


@pytest.mark.parametrize(("bearing", "right", "down"), [(90, 0, -1), (0, 1, 0), (180, -1, 0), (270, 0, 1),
                                                         (45, 0.5**0.5, -(0.5**0.5))])
def test_north_of_a_block_drawn_from_left_to_right(bearing: float, right: float, down: float) -> None:
    # by hand: whoever walks east and draws his way to the right has north at the top of the page
    assert north(bearing) == pytest.approx((right, down), abs=1e-12)


def test_scale_is_the_largest_that_takes_two_pages() -> None:
    # by hand: a letter page lying has 792 - 2 x 36 - 2 x 40 = 640 points for a strip, 8 8/9 in
    assert choose_scale(150, 36, drawings.LETTER) == 10  # a strip of 36 ft is 259 points and its stations: one a page, two of 88.9 ft
    assert choose_scale(300, 36, drawings.LETTER) == 20  # 4 strips at 10 ft are too many; 2 at 20 ft stand on one page
    assert choose_scale(10_000, 36, drawings.LETTER) == 40  # never smaller for length
    assert choose_scale(300, 200, drawings.LETTER) > 30  # 200 ft at 30 ft to an inch are 480 points: no room for stations
    for length in (20, 150, 300, 700, 10_000):
        assert choose_scale(length, 40, drawings.TABLOID) <= choose_scale(length, 40, drawings.LETTER)


def test_A4_is_the_paper_of_the_standard_and_keeps_to_the_scales() -> None:
    assert pytest.approx((297, 210)) == (drawings.A4.width_in * 25.4, drawings.A4.height_in * 25.4)  # ISO 216
    for length, width_ft in ((150, 36), (300, 36), (300, 60), (700, 44), (10_000, 36), (300, 200)):
        scale = choose_scale(length, width_ft, drawings.A4)
        assert scale in (10, 20, 30, 40, 50, 60, 80, 100, 200)
        # by hand: 842 - 2 x 36 - 2 x 40 = 690 points for a strip, 595 - 2 x 36 - 14 = 509 down for its width and 63 around
        assert width_ft / scale * 72 + 63 <= 509.3
    drawing = drawings.panel_plan(block(), SURVEYED, MIXED, paper=drawings.A4)
    sizes = re.findall(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", drawings.as_pdf(drawing))
    for wide, high in sizes:
        assert (float(wide), float(high)) == pytest.approx((841.89, 595.28), abs=0.01)
    assert "1 in = 20 ft on paper 11.7 in wide" in texts(tree(drawing))


def test_strips_tile_the_block_and_spare_repairs() -> None:
    joints = [15.0 * row for row in range(21)]
    assert strips(joints, 180, []) == [(0, 150), (150, 300)]
    # a repair over the joint at 150 ft: the joints at 135 and 165 ft are as near, the first is taken
    assert strips(joints, 180, [(140, 152)]) == [(0, 135), (135, 300)]
    # where every joint is in a repair the break cuts it
    assert strips(joints, 180, [(0, 300)]) == [(0, 150), (150, 300)]
    for longest in (40, 177.8, 355.6):
        made = strips([float(x) for x in range(0, 10_001, 20)], longest, [(500, 700)])
        assert made[0][0] == 0
        assert made[-1][1] == 10_000
        assert all(a[1] == b[0] for a, b in pairwise(made))
        assert all(0 < end - start <= longest + 1e-9 for start, end in made)


def test_a_panel_longer_than_a_strip_is_cut_between_joints() -> None:
    assert strips([0.0, 100.0], 60, []) == [(0, 60), (60, 100)]


# ---- to scale ------------------------------------------------------------------------------------------------------

@pytest.mark.parametrize("feet_per_inch", [10.0, 20.0, 40.0])
def test_repairs_lie_where_the_table_says(feet_per_inch: float) -> None:
    """On paper wide enough for one strip: 72 points to an inch, ``feet_per_inch`` feet to an inch."""
    paper = drawings.Paper(300 / feet_per_inch + 3, 11)
    drawing = drawings.panel_plan(block(), NOTHING, MIXED, paper=paper, feet_per_inch=feet_per_inch)
    [strip] = bands(tree(drawing), "strip")
    pavement = strip.element.find(f"{SVG}rect")
    assert pavement is not None
    left, top, wide, high = numbers(pavement, "x", "y", "width", "height")
    per_ft = 72 / feet_per_inch
    assert (wide, high) == pytest.approx((300 * per_ft, 36 * per_ft), abs=0.006)
    shown = groups(strip.element, "repair")
    assert [int(str(group.get("data-number"))) for group in shown] == list(MIXED["repair_id"])
    for group, row in zip(shown, MIXED.to_dict("records"), strict=True):
        expected = (left + row["x_ft"] * per_ft, top + row["y_ft"] * per_ft, row["length_ft"] * per_ft,
                    row["width_ft"] * per_ft)
        assert outline(group) == pytest.approx(expected, abs=0.011)  # both are written to a hundredth of a point


def test_joints_lie_at_their_stations() -> None:
    paper = drawings.Paper(18, 11)
    [strip] = bands(tree(drawings.panel_plan(block(), NOTHING, repairs(), paper=paper, feet_per_inch=20)), "strip")
    across, along = groups(strip.element, "joints")
    left = outline_of_pavement(strip)[0]
    lines = segments(across.findall(f"{SVG}path")[0])
    # by hand: 300 ft in 20 panels have joints every 15 ft, 54 points at 20 ft to an inch
    assert [part[0][0] for part in lines] == pytest.approx([left + 54 * joint for joint in range(1, 20)], abs=0.006)
    assert len(segments(along.findall(f"{SVG}path")[0])) == 2
    placed = {text.text: numbers(text, "x")[0] for text in strip.element.iter(f"{SVG}text") if text.get("text-anchor")}
    assert {name: placed[name] - left for name in ("0+15", "1+50", "2+85", "1+00")} == pytest.approx(
        {"0+15": 54, "1+50": 540, "2+85": 1026, "1+00": 360}, abs=0.011)


def outline_of_pavement(strip: Placed) -> tuple[float, float, float, float]:
    found = strip.element.find(f"{SVG}rect")
    assert found is not None
    x, y, wide, high = numbers(found, "x", "y", "width", "height")
    return x, y, wide, high


def test_damage_lies_where_it_was_found() -> None:
    found = findings(seen("patch", 4, 2, 47, 13, 55, 20))
    strip = bands(tree(drawings.panel_plan(block(), found, repairs(), feet_per_inch=20)), "strip")[0]
    left, top, *_ = outline_of_pavement(strip)
    [group] = groups(strip.element, "defect")
    outer = group.findall(f"{SVG}rect")[0]
    assert numbers(outer, "x", "y", "width", "height") == pytest.approx(
        [left + 47 * 3.6, top + 13 * 3.6, 8 * 3.6, 7 * 3.6], abs=0.006)


def test_scale_bar_and_words_tell_the_scale() -> None:
    root = tree(drawings.panel_plan(block(), NOTHING, repairs(), feet_per_inch=30))
    assert "1 in = 30 ft on paper 11 in wide" in texts(root)
    [scale] = groups(root, "scale")
    parts = [numbers(rect, "x", "width") for rect in scale.findall(f"{SVG}rect")]
    assert parts[-1][0] + parts[-1][1] - parts[0][0] == pytest.approx(2 * 72)  # two inches of 30 ft
    assert "60 ft" in texts(scale)


# ---- bars and hatches ----------------------------------------------------------------------------------------------

@pytest.mark.parametrize("name", ["mixed", "sixty repairs", "one panel", "wide paper", "crowded by scale"])
def test_bars_are_as_many_as_the_repairs_have(name: str) -> None:
    root, repaired = tree(plan(name)), CASES[name][2]
    for column, kind in (("dowels", "dowels"), ("basket_dowels", "basket-dowels"), ("tie_bars", "tie-bars")):
        counted: Counter[int] = Counter()
        for group in groups(root, "repair"):
            counted[int(str(group.get("data-number")))] += bars(group, kind)
        assert {number: counted[number] for number in repaired["repair_id"]} == dict(
            zip(repaired["repair_id"], repaired[column].astype(int), strict=True))


def test_dowels_cross_both_ends_and_tie_bars_one_inner_side() -> None:
    root = tree(drawings.panel_plan(block(), NOTHING, MIXED))
    group = next(group for group in groups(root, "repair") if group.get("data-number") == "3")
    x, y, wide, high = outline(group)
    dowels = segments(groups(group, "dowels")[0].findall(f"{SVG}path")[0])
    assert Counter(round((a[0] + b[0]) / 2 - x, 1) for a, b in dowels) == {0.0: 11, round(wide, 1): 11}
    assert all(y < a[1] < y + high for a, _ in dowels)
    ties = segments(groups(group, "tie-bars")[0].findall(f"{SVG}path")[0])
    assert Counter(round((a[1] + b[1]) / 2 - y, 1) for a, b in ties) == {0.0: 12}  # the left one of two as near to the middle
    at_curb = next(group for group in groups(root, "repair") if group.get("data-number") == "6")
    _, y, _, _ = outline(at_curb)
    ties = segments(groups(at_curb, "tie-bars")[0].findall(f"{SVG}path")[0])
    assert {round((a[1] + b[1]) / 2 - y, 1) for a, b in ties} == {0.0}  # none at the curb
    dowels = segments(groups(at_curb, "dowels")[0].findall(f"{SVG}path")[0])
    assert max(a[1] for a, _ in dowels) < y + 10 * 3.6  # the last 2 ft beside the curb stay free, 20 ft to an inch


def test_a_repair_over_a_match_line_keeps_its_bars_and_has_no_edge_there() -> None:
    long = repairs(cut("full depth", 0, 12, 300, 12, **BARS, inner_joints=19, basket_dowels=209, tie_bars=240))
    root = tree(drawings.panel_plan(block(), NOTHING, long))
    shown = groups(root, "repair")
    assert len(bands(root, "strip")) == len(shown) == 2
    for kind, count in (("dowels", 22), ("basket-dowels", 209), ("tie-bars", 240)):
        assert sum(bars(group, kind) for group in shown) == count
    for group in shown:
        assert not [rect for rect in group.findall(f"{SVG}rect") if rect.get("stroke")]
        sides = segments([path for path in group.findall(f"{SVG}path") if path.get("stroke-width") == "1.1"][0])
        assert len(sides) == 3
    assert texts(root).count("Match line 1+50") == 2


def slopes(path: ET.Element) -> set[float]:
    return {round((b[1] - a[1]) / (b[0] - a[0]), 2) if a != b else 0.0 for a, b in segments(path)}


def test_hatches_tell_kinds_apart_without_colour() -> None:
    hatches: dict[str, list[ET.Element]] = {}
    for group in groups(tree(drawings.panel_plan(block(), NOTHING, MIXED)), "ground"):
        kind = str(MIXED.set_index("repair_id")["kind"][int(str(group.get("data-number")))])
        hatches.setdefault(kind, []).append(group.findall(f"{SVG}path")[0])
    assert set(hatches) == set(tables.REPAIRS)
    for path in hatches["full depth"]:
        assert slopes(path) == {-1.0}  # y runs down the page: lines that rise to the right
    for path in hatches["casting box-out"]:
        assert slopes(path) == {-1.0, 1.0}
    for path in hatches["partial depth"]:
        assert path.get("stroke-linecap") == "round"
        assert all(start == end for start, end in segments(path))


@pytest.mark.parametrize(("begin", "length", "count", "where"), [
    # panels of 15 ft: one joint past its end at either side is taken out, those between are made anew
    (14, 32, 1, [30]), (14, 47, 2, [30, 45]), (15, 30, 1, [30]), (14, 17, 0, []),
    # a joint where there was none: in the middle of what is replaced
    (31, 12, 1, [37]),
])
def test_joints_made_anew_lie_at_the_old_ones(begin: float, length: float, count: int, where: list[float]) -> None:
    made = repairs(cut("full depth", begin, 12, length, 12, **BARS, inner_joints=count, basket_dowels=11 * count))
    paper = drawings.Paper(18, 11)
    [strip] = bands(tree(drawings.panel_plan(block(), NOTHING, made, paper=paper, feet_per_inch=20)), "strip")
    left = outline_of_pavement(strip)[0]
    found = [segments(path) for group in groups(strip.element, "basket-dowels") for path in group.findall(f"{SVG}path")]
    middles = Counter(round(((a[0] + b[0]) / 2 - left) / 3.6, 1) for parts in found for a, b in parts)
    assert middles == {float(x): 11 for x in where}


@pytest.mark.parametrize("name", ["mixed", "sixty repairs"])
def test_hatches_stay_within_their_repairs(name: str) -> None:
    for group in groups(tree(plan(name)), "ground"):
        x, y, wide, high = numbers(group.findall(f"{SVG}rect")[0], "x", "y", "width", "height")
        for part in segments(group.findall(f"{SVG}path")[0]):
            assert all(x - 0.011 <= a <= x + wide + 0.011 and y - 0.011 <= b <= y + high + 0.011 for a, b in part)


def test_dowelled_joints_are_marked_otherwise_than_plain_ones() -> None:
    marked, plain, unknown = (tree(drawings.panel_plan(block(dowelled=flag), NOTHING, repairs())) for flag in
                              (True, False, None))
    assert [len(groups(root, "joints")[0].findall(f"{SVG}path")) for root in (marked, plain, unknown)] == [2, 1, 1]
    for root, words in ((marked, "Transverse joint, dowelled"), (plain, "Transverse joint, plain"),
                        (unknown, "Transverse joint, dowels not known")):
        assert words in texts(root)


# ---- everything on the page, nothing over another ------------------------------------------------------------------

def test_nothing_lies_outside_the_page(drawn: drawings.Drawing) -> None:
    root = tree(drawn)
    _, _, wide, high = map(float, str(root.get("viewBox")).split())
    assert (wide, high) == pytest.approx((drawn.width, drawn.height), abs=0.006)
    checked = 0
    for band in bands(root):
        for element in band.element.iter():
            box = reach(element)
            if box is not None:
                checked += 1
                assert 0 <= box[0] <= box[2] <= wide, ET.tostring(element)
                assert 0 <= box[1] + band.top <= box[3] + band.top <= high, ET.tostring(element)
    assert checked > 20


def test_bands_do_not_reach_into_each_other(drawn: drawings.Drawing) -> None:
    found = bands(tree(drawn))
    for band, height in zip(found, (band.height for band in drawn.bands), strict=True):
        boxes = [box for box in map(reach, band.element.iter()) if box is not None]
        assert min(box[1] for box in boxes) >= -1e-6
        assert max(box[3] for box in boxes) <= height + 1e-6


def test_no_words_stand_on_other_words(drawn: drawings.Drawing) -> None:
    for band in bands(tree(drawn)):
        boxes = [(text_box(text), text.text) for text in band.element.iter(f"{SVG}text")]
        for (a, one), (b, other) in combinations(boxes, 2):
            over = min(a[2], b[2]) - max(a[0], b[0]), min(a[3], b[3]) - max(a[1], b[1])
            assert not (over[0] > 0.5 and over[1] > 1.5), (one, other)


def test_every_repair_is_numbered_and_listed(drawn: drawings.Drawing, request: pytest.FixtureRequest) -> None:
    root, repaired = tree(drawn), CASES[request.node.callspec.params["drawn"]][2]
    tags = [text for strip in bands(root, "strip") for group in groups(strip.element, "number")
            for text in texts(group)]
    assert {str(number) for number in repaired["repair_id"]} <= set(tags)
    listed = [text for group in groups(root, "schedule") for text in texts(group)]
    for row in drawings.schedule(repaired).to_dict("records"):
        assert {row["No."], row["From"], row["To"], row["Kind"]} <= set(listed)
    assert listed.count("Partial depth") == int((repaired["kind"] == "partial depth").sum())


def test_numbers_of_small_repairs_keep_off_other_repairs() -> None:
    for strip in bands(tree(plan("sixty repairs")), "strip"):
        cuts = {group.get("data-number"): outline(group) for group in groups(strip.element, "repair")}
        for tag in groups(strip.element, "number"):
            [text] = [text for text in tag.iter(f"{SVG}text") if text.get("font-weight")]
            left, top, right, bottom = text_box(text)
            for number, (x, y, wide, high) in cuts.items():
                if number != tag.get("data-number"):
                    assert right <= x or left >= x + wide or bottom <= y + 2 or top >= y + high - 2


def test_a_long_block_is_drawn_whole() -> None:
    drawing = plan("ten thousand feet")
    root = tree(drawing)
    found = bands(root, "strip")
    assert drawing.feet_per_inch == 40
    assert sum(outline_of_pavement(strip)[2] for strip in found) == pytest.approx(10_000 * 72 / 40, abs=0.01 * len(found))
    ends = [text for strip in found for text in texts(strip.element) if text.startswith("Match line")]
    assert len(ends) == 2 * (len(found) - 1)
    assert all(count == 2 for count in Counter(ends).values())
    assert "100+00" in texts(found[-1].element)
    assert len(groups(root, "repair")) == 60


# ---- words ---------------------------------------------------------------------------------------------------------

def test_svg_stands_by_itself(drawn: drawings.Drawing) -> None:
    text = drawings.as_svg(drawn)
    root = ET.fromstring(text)
    assert root.tag == f"{SVG}svg"
    assert root[0].tag == f"{SVG}title"
    assert root[0].text == drawn.title
    assert root[1].tag == f"{SVG}desc"
    assert str(root[1].text).count("Repair ") == len({group.get("data-number") for group in groups(root, "repair")})
    used = {element.tag.removeprefix(SVG) for element in root.iter()}
    assert used <= {"svg", "title", "desc", "g", "rect", "circle", "path", "text"}
    assert {name for element in root.iter() for name in element.attrib if "href" in name or name.startswith("on")} == set()
    assert "<!" not in text
    assert re.findall(r"https?://[^\"]*", text) == ["http://www.w3.org/2000/svg"]


def test_hostile_names_are_words_and_nothing_else() -> None:
    root = tree(plan("hostile names"))
    clean = NASTY.replace("\x07", "\N{REPLACEMENT CHARACTER}")
    assert clean in str(root[0].text)
    head = " ".join(texts(groups(root, "title")[0]))
    assert clean in head.replace("  ", " ")
    assert "<script>" not in drawings.as_svg(plan("hostile names"))
    pages = "".join(streams(drawings.as_pdf(plan("hostile names"))))
    assert r'(Quarry & "Old" <script>alert\(1\)</script>' in pages


def test_head_says_what_is_known_and_what_is_assumed() -> None:
    root = tree(drawings.panel_plan(block(reinforced=True), NOTHING, repairs()))
    head = texts(groups(root, "title")[0])
    assert "Alder St" in head
    assert "Block B1, from 3rd Ave to 4th Ave" in head
    assert "Panel plan. Surveyed: 01 Jun 2026" in head
    assert ("300 ft long, 36 ft wide; 8 in thick; 60 panels of 15 × 12 ft, 20 along, 3 across; dowelled joints; "
            "steel in the panels") in head
    guessed = " ".join(texts(groups(tree(plan("hostile names")), "title")[0]))
    assert "8 in thick (assumed)" in guessed
    assert "3 across (assumed)" in guessed
    assert "dowels in the joints not known" in guessed
    assert "Surveyed: day not known" in guessed


def test_north_is_drawn_only_where_it_is_known() -> None:
    known, unknown = (tree(drawings.panel_plan(block(), NOTHING, repairs(), bearing_deg=bearing)) for bearing in (90.0, None))
    assert texts(groups(unknown, "north")[0]) == ["North", "not known"]
    assert texts(groups(known, "north")[0]) == ["N"]
    needle = segments(groups(known, "north")[0].findall(f"{SVG}path")[0])[0]
    tip, letter = needle[0], groups(known, "north")[0].find(f"{SVG}text")
    assert letter is not None
    assert tip[1] < min(point[1] for point in needle[1:])  # east to the right: north points up
    assert numbers(letter, "x", "y") == pytest.approx([tip[0], tip[1] - 6 + 2.8], abs=0.011)


def test_legend_holds_what_occurs_and_nothing_else() -> None:
    bare = texts(groups(tree(drawings.panel_plan(block(), NOTHING, repairs(), paper=drawings.Paper(40, 11))), "legend")[0])
    assert bare == ["Legend", "Transverse joint, dowelled", "Longitudinal joint", "Curb"]
    mixed = texts(groups(tree(plan("mixed")), "legend")[0])
    assert {"Full-depth repair (3)", "Casting box-out (1)", "Partial-depth repair (2)", "Casting (1)", "Crack (1)",
            "Low, medium, high severity"} <= set(mixed)
    assert not any(text.startswith("Pumping") for text in mixed)


@pytest.mark.parametrize("defect", tables.DEFECTS)
def test_every_defect_has_a_symbol_and_a_line_in_the_legend(defect: str) -> None:
    words = FAMILIES[FAMILY[defect]][0]
    for box in ((30, 12, 45, 24), (33, 14, 34, 14), (36, 12, 36, 24), (40, 20, 40, 20)):  # panel, edge, cut, point
        root = tree(drawings.panel_plan(block(), findings(seen(defect, 3, 2, *box, step_in=0.5)), repairs()))
        [group] = groups(root, "defect")
        marks = [mark for mark in group.iter() if mark.get("stroke")]
        assert marks
        assert f"{words} (1)" in texts(groups(root, "legend")[0])
        assert defect in str(group[0].text)


def test_families_are_drawn_differently() -> None:
    shapes = {}
    for family, (_, members) in FAMILIES.items():
        root = tree(drawings.panel_plan(block(), findings(seen(members[0], 3, 2, 30, 12, 45, 24)), repairs()))
        shapes[family] = tuple(ET.tostring(mark) for mark in groups(root, "defect")[0][1:])
    assert len(set(shapes.values())) == len(FAMILIES)


def test_notes_tell_of_parking_and_of_what_is_missing() -> None:
    notes = " ".join(texts(groups(tree(plan("mixed")), "notes")[0]))
    assert "Cars park along 250 ft of curb, both sides together; on which side is not known." in notes
    empty = " ".join(texts(groups(tree(drawings.panel_plan(block(), NOTHING, repairs())), "notes")[0]))
    assert "No defect is recorded" in empty
    assert "No repair is laid out" in empty
    assert "Cars park" not in empty


def test_defects_and_repairs_carry_their_words() -> None:
    root = tree(plan("mixed"))
    about = {group.get("data-number"): str(group[0].text) for group in groups(root, "repair")}
    assert about["1"] == ("Repair 1: full depth, station 0+14 to 0+21; 7 × 12 ft, 8 in deep; 22 dowels; "
                          "takes out defects 1; 2")
    assert str(groups(root, "defect")[0][0].text) == ("Defect 1: corner break, high, panel 1, column 1, "
                                                      "calls for: full depth")


# ---- the schedule --------------------------------------------------------------------------------------------------

def test_schedule_says_each_repair_as_the_table_does() -> None:
    table = drawings.schedule(MIXED.iloc[::-1])
    assert list(table["No."]) == ["1", "2", "3", "4", "5", "6"]
    first = table.iloc[0].to_dict()
    # by hand from the first repair: begins at 14 ft, 7 ft by 12 ft, 84 sq ft
    assert first == {"No.": "1", "Kind": "Full depth", "From": "0+14", "To": "0+21", "From left, ft": "0 to 12",
                     "Length, ft": "7.0", "Width, ft": "12", "Depth, in": "8.0", "Area, sq ft": "84.0",
                     "Dowels": "22 × 1 in", "Joint dowels": "11", "Tie bars": "", "Takes out": "1; 2"}
    assert table["Dowels"][5] == "17 × 1 1/4 in"
    assert table["From"][1] == "0+44.2"
    assert drawings.schedule(repairs()).empty


def test_schedule_ends_with_sums() -> None:
    # by hand: 7 x 12 + 15 x 12 + 32 x 12 = 648 sq ft; 22 + 22 + 17 = 61 dowels; 11 + 18 = 29; 12 + 13 = 25
    assert "Full-depth repair: 3, 648 sq ft, 61 dowels, 29 dowels in joints made anew, 25 tie bars" in texts(tree(plan("mixed")))


@pytest.mark.parametrize(("value", "written"), [(1.0, "1"), (0.75, "3/4"), (1.25, "1 1/4"), (0.8125, "13/16"), (0.85, "0.85"),
                                               (0.0, "0")])
def test_diameters_are_written_in_sixteenths(value: float, written: str) -> None:
    assert inches(value) == written


# ---- text that fits ------------------------------------------------------------------------------------------------

def test_text_is_shortened_and_wrapped_to_its_room() -> None:
    text = "Saint Bartholomew " + "Extraordinarily" * 6 + " Road"
    for room in (40.0, 90.0, 200.0):
        assert width(fitted(text, room, 7), 7) <= room
        lines = wrapped(text, room, 7)
        assert all(width(line, 7) <= room for line in lines)
        assert "".join(lines).replace(" ", "") == text.replace(" ", "")
    assert wrapped("NORTH-LEVEE-W10", 40, 7) == ["NORTH-", "LEVEE-W10"]  # a name is cut at its hyphens
    for line in wrapped(f"{text} Łódź {text}", 90, 7):
        assert width(line, 7) <= 90
    assert fitted("Alder St", 200, 7) == "Alder St"
    # advance widths of Helvetica in thousandths, Adobe Font Metrics 1997 (value from memory): A 667, l 222
    assert width("Al", 10) == pytest.approx(8.89)


# ---- the PDF -------------------------------------------------------------------------------------------------------

def test_pdf_is_vectors_within_its_pages(drawn: drawings.Drawing) -> None:
    pdf = drawings.as_pdf(drawn)
    assert pdf.startswith(b"%PDF-1.")
    assert b"/Subtype /Image" not in pdf
    pages = list(streams(pdf))
    sizes = [tuple(map(float, box.split()[2:])) for box in re.findall(rb"/MediaBox \[ ([\d. ]+) \]", pdf)]
    assert len(pages) == len(sizes) >= 1
    for number, (page, (wide, high)) in enumerate(zip(pages, sizes, strict=True), 1):
        assert f"(Page {number} of {len(pages)}) Tj" in page
        assert " Do" not in page
        assert wide == pytest.approx(drawn.width)
        points = re.findall(r"(-?[\d.]+) (-?[\d.]+) [ml](?=\s)", page)
        points += re.findall(r"(-?[\d.]+) (-?[\d.]+) -?[\d.]+ -?[\d.]+ re", page)
        assert all(0 <= float(x) <= wide and 0 <= float(y) <= high for x, y in points)
    assert sum(page.count(" l") for page in pages) > 20


def test_pages_are_of_the_paper_unless_a_strip_is_higher() -> None:
    for name, high in (("mixed", 612.0), ("ten thousand feet", 612.0), ("wide paper", 792.0)):
        sizes = re.findall(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", drawings.as_pdf(plan(name)))
        assert {float(size[1]) for size in sizes} == {high}
    tall = re.findall(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", drawings.as_pdf(plan("strip above page")))
    assert max(float(size[1]) for size in tall) > 720  # 100 ft at 10 ft to an inch are 720 points


def test_pdf_and_svg_show_the_same_words() -> None:
    drawing = plan("mixed")
    pages = "".join(streams(drawings.as_pdf(drawing)))
    for text in texts(tree(drawing)):
        if text.isascii():
            assert f"({text.replace('(', chr(92) + '(').replace(')', chr(92) + ')')}) Tj" in pages


def test_one_sheet_holds_all() -> None:
    drawing = plan("sixty repairs")
    [size] = re.findall(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", drawings.as_pdf(drawing, paged=False))
    assert (float(size[0]), float(size[1])) == pytest.approx((drawing.width, drawing.height), abs=0.01)


def test_in_black_and_white_nothing_else_changes(drawn: drawings.Drawing) -> None:
    colour = r"[\d.]+ [\d.]+ [\d.]+ (?:rg|RG)(?=\s)|[\d.]+ [gG](?=\s)"
    plain, grey = (list(streams(drawings.as_pdf(drawn, mono=mono))) for mono in (False, True))
    assert [re.sub(colour, "ink", page) for page in plain] == [re.sub(colour, "ink", page) for page in grey]
    for page in grey:
        assert not re.search(r" (?:rg|RG|k|K)\s", page)
    assert drawings.pdf.page_count(drawn) == len(grey)


@pytest.mark.parametrize(("code", "luma"), [
    # by hand from ITU-R BT.709: 0.2126 R + 0.7152 G + 0.0722 B
    ("#000000", 0.0), ("#ffffff", 1.0), ("#808080", 128 / 255), ("#ff0000", 0.2126), ("#00ff00", 0.7152), ("#0000ff", 0.0722),
])
def test_colours_become_greys_and_coloured_lines_dark(code: str, luma: float) -> None:
    assert grey(code, line=False) == pytest.approx(luma)
    assert grey(code, line=True) == pytest.approx(luma / 4 if "ff" in code and "00" in code else luma)


def test_pages_can_join_another_document() -> None:
    file = BytesIO()
    canvas = Canvas(file, pagesize=(612, 792), invariant=1)
    canvas.drawString(72, 720, "Crew sheet")
    canvas.showPage()
    count = drawings.draw_pages(canvas, plan("mixed"))
    canvas.save()
    sizes = re.findall(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", file.getvalue())
    assert len(sizes) == 1 + count
    assert sizes[0] == (b"612", b"792")


def test_a_drawing_can_be_repeated() -> None:
    assert drawings.as_svg(plan("mixed")) == drawings.as_svg(plan("mixed"))
    assert drawings.as_pdf(plan("mixed")) == drawings.as_pdf(plan("mixed"))


def test_tables_are_left_as_they_are() -> None:
    before = MIXED.copy(deep=True), SURVEYED.copy(deep=True)
    drawings.panel_plan(block(), SURVEYED, MIXED)
    pd.testing.assert_frame_equal(MIXED, before[0])
    pd.testing.assert_frame_equal(SURVEYED, before[1])


# ---- faults of the caller ------------------------------------------------------------------------------------------

def test_what_cannot_be_drawn_is_refused() -> None:
    with pytest.raises(ValueError, match="rows of B2"):
        drawings.panel_plan(block(), NOTHING, repairs(cut("full depth", 0, 0, 6, 12, block_id="B2")))
    with pytest.raises(ValueError, match=r"repair 1 of block B1 reaches from 298, 0 to 304, 12 ft, outside its 300 by 36"):
        drawings.panel_plan(block(), NOTHING, repairs(cut("full depth", 298, 0, 6, 12)))
    with pytest.raises(ValueError, match="defect 1 of block B1 reaches"):
        drawings.panel_plan(block(), findings(seen("patch", 1, 3, 0, 30, 5, 37)), repairs())
    with pytest.raises(ValueError, match="panel 21, column 1, which the block does not have"):
        drawings.panel_plan(block(), findings(seen("patch", 21, 1, 0, 0, 5, 3)), repairs())
    with pytest.raises(ValueError, match="scale of 1 in = 0"):
        drawings.panel_plan(block(), NOTHING, repairs(), feet_per_inch=0)
