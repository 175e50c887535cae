from __future__ import annotations

import csv
import json
import math
from datetime import UTC, date, datetime
from io import StringIO
from itertools import pairwise
from pathlib import Path

import geopandas
import numpy as np
import pandas as pd
import pytest
import shapely

from rehab.outputs import exports

STAMP = datetime(2027, 1, 4, 12, 30, tzinfo=UTC)


def test_csv_is_read_back(tmp_path: Path) -> None:
    frame = pd.DataFrame({
        "block_id": ["001", 'a "b", c', "two\nlines"], "cost_usd": [1234.5678, -2.0, math.nan],
        "share": [1 / 3, 2e-7, math.inf], "year": [2027, 2028, 2029],
        "start": pd.to_datetime(["2027-05-01", None, None]),
        "estimated": pd.array([True, False, None], dtype="boolean"),
    })
    exports.write_csv(frame, tmp_path / "table.csv")
    content = (tmp_path / "table.csv").read_bytes()
    # RFC 4180, section 2: CRLF between records, quotes doubled inside quotes
    assert content.startswith(b"block_id,cost_usd,share,year,start,estimated\r\n"
                              b"001,1234.57,0.333333,2027,2027-05-01,true\r\n")
    rows = list(csv.reader(StringIO(content.decode(), newline="")))
    assert rows[2] == ['a "b", c', "-2", "2e-07", "2028", "", "false"]
    assert rows[3] == ["two\nlines", "", "", "2029", "", ""]


@pytest.mark.parametrize("text", ["=1+1", "+1", "-2+3", "@cmd", "\tx", "\rx"])
def test_formulas_become_text_and_numbers_stay(text: str) -> None:
    frame = pd.DataFrame({"street": [text], "change": [-5.5]})
    rows = list(csv.reader(StringIO(exports.csv_text(frame), newline="")))
    assert rows[1] == [f"'{text}", "-5.5"]


def test_csv_of_an_empty_table_has_its_head(overview: pd.DataFrame) -> None:
    assert exports.csv_text(overview.iloc[:0]).count("\r\n") == 1


def test_geojson_is_read_by_gis(overview: pd.DataFrame, geometry: pd.DataFrame, tmp_path: Path) -> None:
    path = tmp_path / "blocks.geojson"
    path.write_text(exports.program_geojson(overview, geometry), encoding="utf-8")
    read = geopandas.read_file(path, engine="pyogrio").set_index("block_id")
    source = geometry.set_index("block_id")["line"]
    assert list(read.index) == list(source.index) and read.crs.to_epsg() == 4326
    for block, line in source.items():
        assert shapely.equals_exact(read.geometry[block], shapely.from_wkt(line), tolerance=5e-8)
    assert read["estimated"].tolist() == [False, True, False, False, True]
    assert read["street"]["B3"] == "<img src=x onerror=alert(1)>"
    assert read["likely_usd"]["B2"] == 200_000


def test_geojson_obeys_the_standard(overview: pd.DataFrame, geometry: pd.DataFrame) -> None:
    # RFC 7946: section 4 (no crs member), 5 (bbox west south east north), 11.2 (precision); JSON has no NaN
    def refuse(name: str) -> float:
        raise AssertionError(name)

    parsed = json.loads(exports.program_geojson(overview, geometry), parse_constant=refuse)
    assert "crs" not in parsed and parsed["type"] == "FeatureCollection"
    assert parsed["bbox"] == [-89.5001235, 43.099, -89.495, 43.103]
    assert parsed["features"][0]["geometry"]["coordinates"][0] == [-89.5001235, 43.1]
    none_yet = parsed["features"][3]["properties"]
    assert none_yet["program_year"] is None and none_yet["program_strategy"] is None
    assert parsed["features"][0]["properties"]["program_year"] == 2027


def test_geojson_without_geometry_is_an_empty_collection(overview: pd.DataFrame, geometry: pd.DataFrame) -> None:
    parsed = json.loads(exports.program_geojson(overview, geometry.iloc[:0]))
    assert parsed == {"type": "FeatureCollection", "features": []}


def ring_area(ring: list[list[float]]) -> float:
    """Twice the signed area by the shoelace formula: above zero if the ring runs counter-clockwise."""
    return sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in pairwise(ring))


def test_repairs_obey_the_standard_and_are_read_by_gis(repairs: pd.DataFrame, network: pd.DataFrame, geometry: pd.DataFrame,
                                                       tmp_path: Path) -> None:
    def refuse(name: str) -> float:
        raise AssertionError(name)

    text = exports.repairs_geojson(repairs, network, geometry)
    parsed = json.loads(text, parse_constant=refuse)
    # RFC 7946, 3.3 and 3.2: members; 4: no crs; 7.1: no member of another kind of object
    assert set(parsed) == {"type", "bbox", "features"} and parsed["type"] == "FeatureCollection"
    points = []
    for feature in parsed["features"]:
        assert set(feature) == {"type", "id", "geometry", "properties"} and feature["type"] == "Feature"
        assert set(feature["geometry"]) == {"type", "coordinates"} and feature["geometry"]["type"] == "Polygon"
        for ring in feature["geometry"]["coordinates"]:
            # 3.1.6: closed, four positions or more, the outer ring counter-clockwise
            assert ring[0] == ring[-1] and len(ring) >= 4 and ring_area(ring) > 0
            points += ring
        # 3.1.9: nothing crosses the 180th meridian
        longitudes = [point[0] for ring in feature["geometry"]["coordinates"] for point in ring]
        assert max(longitudes) - min(longitudes) < 180
    # 3.1.1 and 4: longitude, then latitude, in degrees; 11.2: no more decimals than are of use
    assert all(len(point) == 2 and -180 <= point[0] <= 180 and -90 <= point[1] <= 90 for point in points)
    assert all(len(str(value).partition(".")[2]) <= 7 for point in points for value in point)
    # 5: west, south, east, north
    west, south, east, north = (pick(point[at] for point in points) for pick, at in ((min, 0), (min, 1), (max, 0), (max, 1)))
    assert parsed["bbox"] == [west, south, east, north]
    assert [feature["id"] for feature in parsed["features"]] == ["B2/2", "B2/1"]
    assert all(feature["properties"]["estimated"] is False for feature in parsed["features"])
    (tmp_path / "repairs.geojson").write_text(text, encoding="utf-8")
    read = geopandas.read_file(tmp_path / "repairs.geojson", engine="pyogrio")
    assert read["x_ft"].tolist() == repairs["x_ft"].tolist() and read.crs.to_epsg() == 4326 and read.is_valid.all()
    assert read["scaled"].between(0.9, 1.1).all()


def test_repairs_without_a_line_are_an_empty_collection(repairs: pd.DataFrame, network: pd.DataFrame,
                                                        geometry: pd.DataFrame) -> None:
    parsed = json.loads(exports.repairs_geojson(repairs, network, geometry.iloc[:0]))
    assert parsed == {"type": "FeatureCollection", "features": []}


def test_rows_say_what_they_rest_on(program: pd.DataFrame, overview: pd.DataFrame) -> None:
    told = exports.with_estimated(program, overview)
    assert told.set_index("block_id")["estimated"].to_dict() == {"B1": False, "B2": True, "B3": False, "@B5": True, "B6": False}
    assert exports.csv_text(told).splitlines()[2].endswith(",true")
    assert list(told.columns) == [*program.columns, "estimated"] and "estimated" not in program
    assert exports.with_estimated(overview, overview) is overview


def test_summary_never_writes_nan(by_year: pd.DataFrame) -> None:
    given = {"gap": math.nan, "bound": np.float64("inf"), "count": np.int64(3), "ok": np.bool_(True), "when": STAMP,
             "day": date(2027, 5, 1), "none": pd.NA, "nat": pd.NaT, "years": by_year.iloc[:1], "many": (1, 2.5),
             "nested": {2027: np.array([1.0, math.nan])}}

    def refuse(name: str) -> float:
        raise AssertionError(name)

    parsed = json.loads(exports.summary_json(given), parse_constant=refuse)
    assert parsed["gap"] is None and parsed["bound"] is None and parsed["none"] is None and parsed["nat"] is None
    assert (parsed["count"], parsed["ok"], parsed["day"]) == (3, True, "2027-05-01")
    assert parsed["years"][0]["year"] == 2027 and parsed["nested"] == {"2027": [1.0, None]}
    assert parsed["when"].startswith("2027-01-04T12:30")
