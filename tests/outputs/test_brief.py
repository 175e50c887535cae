"""The council brief on paper, and its charts on paper and on the screen; other programs read it in tests/programs."""

from __future__ import annotations

import itertools
import re
from math import isclose, isfinite, nan
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from reportlab.graphics.shapes import Drawing, Group, Polygon, PolyLine, Rect, String
from reportlab.lib.colors import HexColor

from rehab.outputs.brief import chart_drawing, pdf
from rehab.outputs.brief.axis import axis_of, value_text
from rehab.outputs.brief.lines import lines
from rehab.outputs.brief.look import looks, lying
from rehab.outputs.brief.screen import figure
from rehab.outputs.brief.streets import listed, natural
from rehab.plan.brief.model import Brief, Chart, Figure, Grid, Page, Series

LONG = "Old Harbor and Quarry Junction Boulevard of the Twenty-Fifth Infantry, North Arm"
NASTY = "Łódź & <b>Sons</b> <script>alert(1)</script> ¥"
YEARS = ("2027", "2028", "2029")
MONEY = Chart("stacked bars", "Money by year", YEARS, (
    Series("Partial-depth repair", (1e6, 0.5e6, nan), "partial_depth"),
    Series("Full-depth repair", (2e6, 2.5e6, 3e6), "full_depth"),
    Series("Money there is", (4e6, 4e6, 4e6), "limit", line=True)), "$", "Year", "Dollars of the year", "Money a year.")
LINES = Chart("lines", "Sound share", YEARS, (
    Series("With work", (80.0, 82.0, 85.0), "with work", (75.0, 77.0, 79.0), (84.0, 86.0, 90.0)),
    Series("Without work", (80.0, nan, 10.0), "without work")), "%", "Year", "Share of the area", "Share a year.")
ASIDE = Chart("bars", "Left by scenario", ("Half the money for ten years", LONG, NASTY), (
    Series("Left undone", (5e6, 2.5e6, 1.25e6), "need", (4e6, 2e6, 1e6), (7e6, 3e6, 2e6)),), "$", "Scenario",
    "Dollars of 2027", "Work left.")
EMPTY = Chart("lines", "Nothing", (), (), "points", "Year", "Index", "Nothing was drawn.")
ZERO = Chart("bars", "Nothing spent", YEARS, (Series("Spent", (0.0, 0.0, 0.0), "need"),), "$", "Year", "Dollars", "None.")
MANY = Chart("lines", "Many", YEARS, tuple(Series(f"Scenario {at} {LONG}", (float(at), at + 1.0, at + nan), "")
                                           for at in range(15)), "points", "Year", "Index", "Many lines.")
THIRTY = Chart("bars", "Thirty", tuple(f"Scenario {at} of the budget" for at in range(30)), (
    Series("Left", tuple(float(at) for at in range(30)), "need"),), "blocks", "Scenario", "Blocks", "Thirty bars.")
BELOW = Chart("stacked bars", "Below zero", ("North", "South"), (
    Series("Gain", (3.0, 2.0), "with work"), Series("Loss", (-1.0, -2.5), "without work")), "points", "District",
    "Points", "Gain and loss.")
CHARTS = (MONEY, LINES, ASIDE, EMPTY, ZERO, MANY, THIRTY, BELOW)
GRID = Grid("The list", ("Street", "Year", "Cost", "Why"), (
    (LONG, "2027", "$1,234,567", "Panels are broken."), (NASTY, "2028", "$7", "Joints & cracks are <open>."),
    *((f"Street {at}", "2029", f"${at:,}", f"Reason {at} " + "goes on for some words. " * 6) for at in range(40))),
    frozenset({2}), (0.3, 0.1, 0.2, 0.4), ("All", "", "$1,234,574.00", ""))
FIGURES = (Figure("Money there is", "$4.00 million", "dollars of 2027"), Figure("Blocks", "78", "of 1,200"))


def page(key: str, chart: Chart | None = None, *grids: Grid) -> Page:
    return Page(key, f"What is asked in {key}?", f"The answer of {key} & <more> in one sentence.", FIGURES, chart,
                (f"Text of {key}.",), grids, (f"Note of {key}.",))


def street_rows(count: int) -> pd.DataFrame:
    return pd.DataFrame([
        {"block_id": f"B{at}", "street": None if at == 5 else LONG if at == 4 else f"{at % 7 + 1}th <Ave> & {at % 3}",
         "from_street": f"{at} St", "to_street": f"{at + 1} St", "district": None if at % 5 == 0 else f"Ward {at % 5}",
         "year": 2027.0 + at % 4 if at % 2 else nan, "work": "full_depth" if at % 2 else None,
         "cost_usd": 1000.0 * at if at % 2 else nan, "reason": f"Sentence {at} of the block says why."}
        for at in range(count)])


def small(**changes: Any) -> Brief:
    parts: dict[str, Any] = {
        "city": NASTY, "title": "Council brief", "made": "November 26, 2026",
        "pages": (*(page(f"question {at}", chart) for at, chart in enumerate(CHARTS)), page("a list", None, GRID)),
        "districts": (page("Ward 1", MONEY), Page("none", "Ward without work", "No work is planned here.",
                                                  grids=(Grid("Works", ("Street",), ()),))),
        "streets": street_rows(30), "words": (("Backlog", "Work that is due & not paid for."),),
        "appendix": (page("method"),), "street_note": "Find the street by its name.", **changes}
    return Brief(**parts)


@pytest.fixture(scope="module")
def read(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("brief")
    for paper in ("letter", "A4"):
        (folder / f"{paper}.pdf").write_bytes(pdf(small(), paper=paper))  # type: ignore[arg-type]
    return {paper: folder / f"{paper}.pdf" for paper in ("letter", "A4")}


# ---- the pages ------------------------------------------------------------------------------------------------------

def test_the_pdf_is_vectors_alone_and_the_same_bytes_again(read: dict[str, Path]) -> None:
    for paper in ("letter", "A4"):
        content = read[paper].read_bytes()
        assert content.startswith(b"%PDF-1.") and b"/Subtype /Image" not in content
        assert content == pdf(small(), paper=paper)  # type: ignore[arg-type]
    assert read["letter"].read_bytes() != read["A4"].read_bytes()


def test_a_number_and_its_per_cent_sign_stay_on_one_line() -> None:
    text = "of the area, start of 2027; whole city 78 % and less than 1 %"
    for room in range(40, 400, 7):
        made = lines(text, float(room), 8.5)
        assert " ".join(made) == text
        assert not any(one.startswith("%") for one in made), (room, made)


def test_an_outline_leads_to_every_question(read: dict[str, Path]) -> None:
    content = read["letter"].read_bytes()
    assert len(re.findall(rb"/Title ", content)) >= len(small().pages) + len(small().districts) + 3
    assert content.count(b"/Subtype /Link") >= len(small().pages) + 3


def test_a_brief_of_nothing_is_still_a_brief() -> None:
    none = street_rows(1).iloc[:0]
    assert pdf(small(pages=(), districts=(), streets=none, words=(), appendix=(), street_note="")).startswith(b"%PDF")


def test_a_paper_that_is_not_known_is_refused() -> None:
    with pytest.raises(ValueError, match="use 'letter' or 'A4'"):
        pdf(small(), paper="legal")  # type: ignore[arg-type]


# ---- the list of streets --------------------------------------------------------------------------------------------

def test_streets_are_sorted_as_a_reader_looks_for_them() -> None:
    assert sorted(["10th Ave", "2nd Ave", "alder St", "Birch St"], key=natural) == [
        "2nd Ave", "10th Ave", "alder St", "Birch St"]
    rows = street_rows(30)
    done, undone = listed(rows, True), listed(rows, False)
    assert len(done) + len(undone) == len(rows) and all(block.year and block.cost for block in done)
    assert done[-1].street == "Street not given" and not any(block.year or block.cost for block in undone)
    names = [block.street for block in undone]
    assert names == sorted(names, key=natural)


# ---- charts ---------------------------------------------------------------------------------------------------------

def shapes(drawing: Drawing | Group) -> list[Any]:
    return [inner for shape in drawing.contents
            for inner in (shapes(shape) if isinstance(shape, Group) else [shape])]


def bars(drawing: Drawing, chart: Chart, at: int) -> list[Rect]:
    """The bars of a series, without its piece in the legend, which is 26 by 11 points."""
    colour = HexColor(looks(chart)[at].colour)
    return [shape for shape in shapes(drawing) if isinstance(shape, Rect) and shape.fillColor == colour
            and not (isclose(shape.width, 26) and isclose(shape.height, 11))]


@pytest.mark.parametrize("chart", CHARTS, ids=lambda chart: chart.title)
@pytest.mark.parametrize("size", [(516.0, 264.0), (499.0, 500.0)])
def test_charts_stay_within_their_frame_and_are_large_enough_to_read(chart: Chart, size: tuple[float, float]) -> None:
    drawing = chart_drawing(chart, *size)
    left, foot, right, top = drawing.getBounds()
    assert left >= -0.5 and foot >= -0.5 and right <= size[0] + 0.5 and top <= size[1] + 0.5
    if chart is not THIRTY:  # thirty names on a third of a page are smaller; the page gives them more room
        assert min(shape.fontSize for shape in shapes(drawing) if isinstance(shape, String)) >= 11


@pytest.mark.parametrize(("chart", "series"), [(MONEY, 0), (MONEY, 1), (ASIDE, 0), (BELOW, 0), (BELOW, 1)])
def test_bars_are_as_long_as_their_values(chart: Chart, series: int) -> None:
    drawn = bars(chart_drawing(chart, 516, 320), chart, series)
    values = [abs(value) for _, values, *_ in [chart.series[series]] for value in values if isfinite(value)]
    lengths = [bar.width if lying(chart) else bar.height for bar in drawn]
    assert len(lengths) == len(values)
    for (one, first), (other, second) in itertools.pairwise(zip(values, lengths, strict=True)):
        assert second / first == pytest.approx(other / one, rel=1e-9)


def test_piles_stand_on_each_other() -> None:
    drawing = chart_drawing(MONEY, 516, 320)
    lower, upper = bars(drawing, MONEY, 0), bars(drawing, MONEY, 1)
    assert [bar.y + bar.height for bar in lower] == pytest.approx([bar.y for bar in upper[:2]])
    assert upper[2].y == pytest.approx(lower[0].y)  # nothing lies under it, for its value is missing


def test_a_missing_value_leaves_a_gap_in_the_line() -> None:
    colour = HexColor(looks(LINES)[1].colour)
    drawn = [shape for shape in shapes(chart_drawing(LINES, 516, 320)) if isinstance(shape, PolyLine)]
    assert not [line for line in drawn if line.strokeColor == colour]  # two single points are not joined
    whole = [line for line in drawn if line.strokeColor == HexColor(looks(LINES)[0].colour) and line.strokeWidth > 2]
    assert len(whole) == 1 and len(whole[0].points) == 6
    rises = [second - first for first, second in itertools.pairwise(whole[0].points[1::2])]
    assert rises[1] / rises[0] == pytest.approx(3 / 2)
    assert any(isinstance(shape, Polygon) and shape.fillOpacity for shape in shapes(chart_drawing(LINES, 516, 320)))


@pytest.mark.parametrize("chart", [MONEY, LINES, ASIDE, ZERO, MANY, THIRTY, BELOW], ids=lambda chart: chart.title)
def test_the_screen_shows_the_same_numbers_colours_and_axis(chart: Chart) -> None:
    shown = figure(chart)
    styles = looks(chart)
    for series, look in zip(chart.series, styles, strict=True):
        [trace] = [trace for trace in shown.data if trace.name == series.name.replace("<", "&lt;")]
        held = trace.x if lying(chart) else trace.y
        assert list(held) == pytest.approx(list(series.values), nan_ok=True)
        colour = trace.marker.color if trace.type == "bar" else trace.line.color
        assert colour == look.colour
        if trace.type == "bar":
            assert (trace.marker.pattern.shape or "") == look.hatch
    axis = axis_of(chart)
    along = shown.layout.xaxis if lying(chart) else shown.layout.yaxis
    assert tuple(along.range) == (axis.low, axis.high) and tuple(along.ticktext) == axis.texts


def test_the_screen_shows_ranges_and_no_tags() -> None:
    [trace] = figure(ASIDE).data
    reach = [value + up for value, up in zip(trace.x, trace.error_x.array, strict=True)]
    assert reach == pytest.approx(ASIDE.series[0].high)
    assert [value - down for value, down in zip(trace.x, trace.error_x.arrayminus, strict=True)] == pytest.approx(
        ASIDE.series[0].low)
    assert "<script" not in figure(ASIDE).to_json() and "&lt;script" in "".join(trace.y)
    assert not figure(EMPTY).data and figure(EMPTY).layout.annotations[0].text == "There is nothing to draw."


def test_no_two_series_look_alike() -> None:
    styles = looks(MANY)
    assert len({(look.colour, look.dash, look.marker) for look in styles}) == 15
    assert len({(look.colour, look.hatch) for look in styles}) == 15
    twins = MONEY._replace(series=(MONEY.series[0],) * 4)
    assert len({(look.colour, look.hatch) for look in looks(twins)}) == 4


@pytest.mark.parametrize(("values", "unit", "texts"), [
    ((0.0, 4e6), "$", ("$0", "$1M", "$2M", "$3M", "$4M")),
    ((0.0, 9e5), "$", ("$0", "$0.2M", "$0.4M", "$0.6M", "$0.8M", "$1.0M")),
    ((0.0, 7e5), "$", ("$0", "$200k", "$400k", "$600k", "$800k")),
    ((1.2e6,), "$", ("$0", "$0.25M", "$0.50M", "$0.75M", "$1.00M", "$1.25M")),
    ((0.0, 88.0), "%", ("0 %", "20 %", "40 %", "60 %", "80 %", "100 %")),
    ((0.0,), "blocks", ("0.0", "0.2", "0.4", "0.6", "0.8", "1.0")),
    ((-3.0, 4.0), "points", ("-4", "-2", "0", "2", "4")),
])
def test_ticks_are_round_numbers_in_one_unit(values: tuple[float, ...], unit: str, texts: tuple[str, ...]) -> None:
    chart = Chart("bars", "t", tuple(map(str, range(len(values)))), (Series("s", values),), unit, "x", "y", "a")
    axis = axis_of(chart)
    assert axis.texts == texts and axis.low <= min(values) and axis.high >= max(values)


def test_lines_that_lie_close_begin_above_zero_and_say_so() -> None:
    close = LINES._replace(series=(Series("One", (80.0, 82.0, 85.0)), Series("Other", (80.0, 78.0, 76.0))))
    axis = axis_of(close)
    assert 0 < axis.low < 76
    said = [shape.text for shape in shapes(chart_drawing(close, 516, 300)) if isinstance(shape, String)]
    assert any(f"The axis begins at {axis.texts[0]}" in text for text in said)
    assert axis_of(close._replace(kind="bars")).low == 0  # a bar that does not begin at zero misleads
    assert axis_of(close._replace(limits=(0.0, 100.0)))[:2] == (0.0, 100.0)
    assert axis_of(close._replace(limits=(80.0, 82.0)))[:2] != (80.0, 82.0)  # nothing falls off the chart


@pytest.mark.parametrize(("value", "unit", "text"), [
    (1_234_567.0, "$", "$1.2M"), (999_600.0, "$", "$1M"), (29_535.0, "$", "$29.5k"), (0.0, "$", "$0"),
    (-1500.0, "$", "-$1.5k"), (42.4, "%", "42 %"), (4.26, "%", "4.3 %"), (-0.01, "points", "0"), (1234.0, "blocks", "1,234")])
def test_values_over_bars(value: float, unit: str, text: str) -> None:
    assert value_text(value, unit) == text
