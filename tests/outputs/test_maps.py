from __future__ import annotations

import json
import re
import tomllib
from html import unescape
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import shapely

from rehab.base.tables import STRATEGIES
from rehab.outputs import maps, palette

ROOT = Path(__file__).parents[2]


def page(drawn: maps.OfflineMap) -> str:
    return str(drawn.get_root().render())


def test_the_page_asks_no_host(overview: pd.DataFrame, geometry: pd.DataFrame) -> None:
    html = page(maps.block_map(overview, geometry, "strategy"))
    assert not re.findall(r"""(?:src|href)=["'](?!data:)[^"']+""", html)
    assert "://" not in re.sub(r'(?:src|href)="data:[^"]+"', "", html)
    assert html.count("data:text/javascript;base64,") == 1


def test_leaflet_is_the_pinned_release() -> None:
    # version and licence as in the package's own files
    folder = ROOT / "data" / "vendor" / "leaflet"
    assert '.version="1.9.4"' in (folder / "leaflet.js").read_text(encoding="utf-8")
    assert "BSD 2-Clause" in (folder / "LICENSE").read_text(encoding="utf-8")


def test_base_tiles_only_when_asked_for(overview: pd.DataFrame, geometry: pd.DataFrame) -> None:
    assert "tileLayer" not in page(maps.block_map(overview, geometry, "strategy"))
    assert "tileLayer" in page(maps.block_map(overview, geometry, "strategy", base_tiles=True))


def test_html_in_a_name_is_shown_and_not_run(overview: pd.DataFrame, geometry: pd.DataFrame) -> None:
    collection = maps.features(overview, maps.lines(geometry), "strategy")
    tips = {row["properties"]["id"]: row["properties"]["tip"] for row in collection["features"]}
    assert set(re.findall(r"<[^>]*>", "".join(tips.values()))) == {"<br>"}
    assert "<img src=x onerror=alert(1)>, from 3rd Ave to -2+3" in unescape(tips["B3"])
    assert "<img" not in page(maps.draw(collection))


@pytest.mark.parametrize("name", ["{{ 7 * 7 }}", "{% raise %}", "{# gone #}", "</script><b>", "a\\\"b", "${x}"])
def test_a_name_is_no_template(overview: pd.DataFrame, geometry: pd.DataFrame, name: str) -> None:
    html = page(maps.block_map(overview.assign(street=name), geometry, "strategy"))
    given = json.loads(html.split("const given = ", 1)[1].split(";\n", 1)[0])
    assert len(given["rows"]) == 5 and all(unescape(row[1]).startswith(name) for row in given["rows"])
    assert html.count("</script>") == page(maps.block_map(overview, geometry, "strategy")).count("</script>")


def test_each_feature_names_its_block_and_the_estimate(overview: pd.DataFrame, geometry: pd.DataFrame) -> None:
    rows = maps.features(overview, maps.lines(geometry), "condition")["features"]
    assert [row["properties"]["id"] for row in rows] == ["B1", "B2", "B3", "B4", "@B5"]
    assert [("(estimated)" in row["properties"]["tip"]) for row in rows] == [False, True, False, False, True]
    assert "Full-depth repair in 2027, $200,000" in rows[1]["properties"]["tip"]
    assert "None yet" in rows[3]["properties"]["tip"]


def test_lines_are_those_of_the_table(overview: pd.DataFrame, geometry: pd.DataFrame) -> None:
    rows = maps.features(overview, maps.lines(geometry), "strategy")["features"]
    drawn = shapely.from_geojson([str(row["geometry"]).replace("'", '"') for row in rows])
    source = shapely.from_wkt(geometry["line"].to_numpy(dtype=object))
    assert shapely.equals_exact(drawn, source, tolerance=1e-6).all()


def test_blocks_without_a_line_are_counted(overview: pd.DataFrame, geometry: pd.DataFrame) -> None:
    assert maps.unmapped(overview, geometry) == 1
    assert maps.unmapped(overview, geometry.iloc[:0]) == 6
    assert "1 block without geometry" in maps.describe_map(overview, geometry, "strategy")
    assert "L.map(" in page(maps.block_map(overview, geometry.iloc[:0], "strategy"))


def test_strategies_differ_by_more_than_colour() -> None:
    strokes = [palette.STRATEGY[name] for name in STRATEGIES]
    assert len({(stroke.width, stroke.dash) for stroke in strokes}) == len(STRATEGIES)
    assert len({stroke.colour for stroke in strokes}) == len(STRATEGIES)
    assert len(set(palette.SCALE_WIDTHS)) == len(palette.SCALE)
    assert len(set(palette.TASK.values())) == len(palette.TASK)


def test_legend_holds_the_classes_that_occur(overview: pd.DataFrame, geometry: pd.DataFrame) -> None:
    labels = [row.label for row in maps.legend(overview, "strategy")]
    assert labels == ["None yet", "Partial-depth repair", "Full-depth repair", "Reconstruction"]
    assert [row.label for row in maps.legend(overview, "condition")] == ["80 to 100", "60 to 80", "Below 20"]
    gained = [row.label for row in maps.legend(overview, "life extension")]
    assert gained == ["20 years and more", "15 to 20 years", "10 to 15 years", "5 to 10 years",
                      "Below 5 years", "None yet"]
    assert "Reconstruction</span>" in maps.legend_html(overview, "strategy")


@pytest.mark.parametrize("last", [2027, 2031, 2036, 2041, 2076])
def test_a_year_is_in_the_class_that_names_it(overview: pd.DataFrame, geometry: pd.DataFrame, last: int) -> None:
    years = np.linspace(2027, last, 5).round()
    table = overview.iloc[:5].assign(program_year=years)
    rows = maps.legend(table, "year of work")
    assert len({(row.colour, row.dash) for row in rows}) == len(rows) <= 16
    named = {(row.colour, row.dash): row.label for row in rows}
    for year, feature in zip(years, maps.features(table, maps.lines(geometry), "year of work")["features"], strict=True):
        style = feature["properties"]["style"]
        ends = [int(text) for text in named[style["color"], style.get("dashArray", "")].split(" to ")]
        assert ends[0] <= year <= ends[-1]


def test_no_work_at_all_has_one_class(overview: pd.DataFrame) -> None:
    table = overview.assign(program_year=np.nan, ground_year=np.nan)
    assert [row.label for row in maps.legend(table, "year of work")] == ["No work in the program"]
    assert [row.label for row in maps.legend(table, "year of grinding")] == ["Not ground in the program"]


def test_selection_and_year_stand_out(overview: pd.DataFrame, geometry: pd.DataFrame) -> None:
    table = overview.assign(program_year=[2027, 2028, 2027, np.nan, 2029, 2030])
    rows = maps.features(table, maps.lines(geometry), "strategy", selected="B2", highlight_year=2027)["features"]
    assert rows[0]["properties"]["id"] == "B2" and len(rows) == 6
    clear = {row["properties"]["id"] for row in rows[1:] if row["properties"]["style"]["opacity"] > 0.9}
    assert clear == {"B1", "B3"}


def test_inputs_are_left_alone(overview: pd.DataFrame, geometry: pd.DataFrame) -> None:
    before = overview.copy(), geometry.copy()
    for colouring in maps.COLOURINGS:
        maps.block_map(overview, geometry, colouring, selected="B1")
    pd.testing.assert_frame_equal(overview, before[0])
    pd.testing.assert_frame_equal(geometry, before[1])


def _linear(colour: str) -> np.ndarray:
    """WCAG 2.2, definition of relative luminance: the linear red, green, blue of a colour."""
    parts = np.array([int(colour[at:at + 2], 16) for at in (1, 3, 5)]) / 255
    return np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)


def _luminance(colour: str) -> float:
    return float(_linear(colour) @ [0.2126, 0.7152, 0.0722])


def test_colours_can_be_seen_on_both_backgrounds() -> None:
    # WCAG 2.2, success criterion 1.4.11: graphics need a contrast of 3 to 1
    theme = tomllib.loads((ROOT / ".streamlit" / "config.toml").read_text(encoding="utf-8"))["theme"]
    lines = [stroke.colour for stroke in palette.STRATEGY.values()] + list(palette.SCALE)
    for name in ("light", "dark"):
        ground = _luminance(theme[name]["backgroundColor"])
        for colour in lines:
            dim, bright = sorted((ground, _luminance(colour)))
            assert (bright + 0.05) / (dim + 0.05) >= 3.0, (colour, name)


def _lab(linear: np.ndarray) -> np.ndarray:
    """CIE 1976 L*a*b* of linear sRGB, white D65."""
    matrix = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    xyz = matrix @ np.clip(linear, 0, 1) / [0.9505, 1.0, 1.089]
    f = np.where(xyz > 0.008856, np.cbrt(xyz), 7.787 * xyz + 16 / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("matrix", [
    [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
])
def test_strategies_stay_apart_for_colour_blind_readers(matrix: list[list[float]]) -> None:
    # Machado, Oliveira and Fernandes 2009, protan and deutan at severity 1.0; matrices from memory.
    # A difference of 2.3 in CIE 1976 is just noticeable (from memory); several times that is wanted here.
    seen = [_lab(np.array(matrix) @ _linear(palette.STRATEGY[name].colour)) for name in STRATEGIES]
    gaps = [np.linalg.norm(one - other) for at, one in enumerate(seen) for other in seen[:at]]
    assert min(gaps) > 10
    scale = [_lab(np.array(matrix) @ _linear(colour)) for colour in palette.SCALE]
    without = _lab(np.array(matrix) @ _linear(palette.PLAIN.colour))
    assert min(np.linalg.norm(one - other) for at, one in enumerate(scale) for other in [without, *scale[:at]]) > 10
