"""Repairs on the earth against geodesics, and the GeoPackage against its standard and read by GDAL.

Rules of the GeoPackage: OGC 12-128r19, GeoPackage Encoding Standard 1.4, from memory; the number of a requirement is not
given where it is not known for sure.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from pyproj import Geod

from rehab.base.tables import STRATEGIES, TABLES, with_types
from rehab.base.units import M_PER_FT
from rehab.inputs import demo
from rehab.outputs.gis.geopackage import Package, geopackage
from rehab.outputs.gis.placing import place
from rehab.outputs.gis.styles import styles
from rehab.outputs.palette import SCALE, STRATEGY

GEOD = Geod(ellps="WGS84")  # Karney's geodesics: another way than the projection that repairs are placed by
STAMP = datetime(2027, 1, 4, 12, 30, tzinfo=UTC)
SQM_PER_SQFT = M_PER_FT**2


def line_from(points: list[tuple[float, float]]) -> str:
    return shapely.linestrings(points).wkt


def walk(start: tuple[float, float], legs: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Points of legs (azimuth in degrees, length in feet) along geodesics."""
    points = [start]
    for azimuth, length in legs:
        lon, lat, _ = GEOD.fwd(*points[-1], azimuth, length * M_PER_FT)
        points.append((lon, lat))
    return points


def streets(**lines: str) -> pd.DataFrame:
    return with_types("geometry", pd.DataFrame({"block_id": list(lines), "line": list(lines.values())}))


def blocks(names: list[str], length: float, width: float = 36.0) -> pd.DataFrame:
    return with_types("network", pd.DataFrame({"block_id": names, "length_ft": length, "width_ft": width}))


def rectangles(block: str, boxes: list[tuple[float, float, float, float]]) -> pd.DataFrame:
    """Repairs of x, y, length, width in feet."""
    return with_types("repairs", pd.DataFrame([
        {"block_id": block, "repair_id": number, "kind": "full depth", "x_ft": x, "y_ft": y, "length_ft": length,
         "width_ft": width, "panel_row": 1, "panel_column": 1}
        for number, (x, y, length, width) in enumerate(boxes, start=1)]))


def area_sqft(shape: shapely.Polygon) -> float:
    """Signed: above zero if the ring runs counter-clockwise."""
    return GEOD.geometry_area_perimeter(shape)[0] / SQM_PER_SQFT


@pytest.mark.parametrize("start", [(-89.5, 43.1), (-101.27, 39.52), (0.0, 0.0), (18.0, 69.6), (151.2, -33.9)])
@pytest.mark.parametrize("azimuth", [0.0, 37.0, 90.0, 180.0, 251.0])
def test_corners_lie_where_geodesics_end(start: tuple[float, float], azimuth: float) -> None:
    line = walk(start, [(azimuth, 400.0)])
    box = (120.0, 4.0, 60.0, 12.0)
    found = place(rectangles("A", [box]), blocks(["A"], 400.0), streets(A=line_from(line)))
    (shape,) = found.polygons
    # from the start along the line to x, then square to the left by half the width less y
    x, y, length, width = box
    for along, across in ((x, y + width), (x + length, y + width), (x + length, y), (x, y)):
        lon, lat, _ = GEOD.fwd(*start, azimuth, along * M_PER_FT)
        here = GEOD.inv(*start, lon, lat)[1] + 180
        aside = 18.0 - across
        corner = GEOD.fwd(lon, lat, here - 90 if aside > 0 else here + 90, abs(aside) * M_PER_FT)[:2]
        off = min(GEOD.inv(*corner, *point)[2] for point in shape.exterior.coords[:4])
        assert off < 0.01 * M_PER_FT  # an eighth of an inch
    assert area_sqft(shape) == pytest.approx(length * width, rel=5e-4)
    assert found.rows["scaled"].tolist() == pytest.approx([1.0], rel=1e-4) and found.unplaced.empty


def test_the_left_edge_is_on_the_left() -> None:
    # north along a meridian: left is west; back south: left is east
    north, south = (line_from(walk((-89.5, lat), [(azimuth, 400.0)])) for lat, azimuth in ((43.1, 0.0), (43.2, 180.0)))
    boxes = [(0.0, 0.0, 10.0, 6.0), (0.0, 30.0, 10.0, 6.0)]  # the first at the left curb, the other at the right
    repairs = pd.concat([rectangles(name, boxes) for name in ("N", "S")], ignore_index=True)
    found = place(repairs, blocks(["N", "S"], 400.0), streets(N=north, S=south))
    east = [shape.centroid.x - -89.5 for shape in found.polygons]
    assert east[0] < 0 < east[1] and east[2] > 0 > east[3]
    assert all(shapely.is_ccw(shape.exterior) for shape in found.polygons)


def test_a_line_of_another_length_stretches_the_places() -> None:
    line = line_from(walk((-89.5, 43.1), [(90.0, 500.0)]))
    found = place(rectangles("A", [(200.0, 12.0, 40.0, 12.0)]), blocks(["A"], 400.0), streets(A=line))
    assert found.rows["scaled"][0] == pytest.approx(1.25, rel=1e-4)
    (shape,) = found.polygons
    assert area_sqft(shape) == pytest.approx(1.25 * 40 * 12, rel=5e-4)
    west = GEOD.line_length([-89.5, shape.bounds[0]], [43.1, 43.1]) / M_PER_FT
    assert west == pytest.approx(250.0, abs=0.1)


@pytest.mark.parametrize("turn", [-60.0, -20.0, 5.0, 45.0, 90.0])
def test_repairs_bend_with_the_line_and_stay_true_to_size(turn: float) -> None:
    points = walk((-89.5, 43.1), [(40.0, 150.0), (40.0 + turn, 150.0)])
    boxes = [(x, y, length, width) for x in (100.0, 140.0, 147.0, 149.0, 151.0) for y in (0.0, 12.0, 24.0)
             for length, width in ((6.0, 12.0), (15.0, 12.0), (60.0, 12.0))]
    found = place(rectangles("A", boxes), blocks(["A"], 300.0), streets(A=line_from(points)))
    assert found.unplaced.empty
    for shape, (_, _, length, width) in zip(found.polygons, boxes, strict=True):
        assert shape.is_valid and area_sqft(shape) == pytest.approx(length * width, rel=5e-3)


def test_a_repair_along_an_arc_follows_it() -> None:
    # a quarter circle of 300 ft radius in 30 legs: the strip along the middle is an arc's strip
    step = 300.0 * np.pi / 2 / 30
    points = walk((-89.5, 43.1), [(3.0 * leg, step) for leg in range(30)])
    length = 30 * step
    found = place(rectangles("A", [(0.0, 12.0, length, 12.0), (100.0, 0.0, 200.0, 12.0)]), blocks(["A"], length),
                  streets(A=line_from(points)))
    middle, left = found.polygons
    assert len(middle.exterior.coords) > 50
    assert area_sqft(middle) == pytest.approx(length * 12, rel=5e-3)
    assert area_sqft(left) == pytest.approx(200 * 12, rel=5e-3)
    way = shapely.linestrings(points)
    inside = [way.interpolate(share, normalized=True) for share in np.linspace(0.02, 0.98, 40)]
    assert all(middle.contains(point) for point in inside) and not any(left.contains(point) for point in inside)


def test_what_has_no_place_is_told_and_not_guessed() -> None:
    apart = "MULTILINESTRING ((-89.5 43.1, -89.499 43.1), (-89.498 43.1, -89.497 43.1))"
    joined = "MULTILINESTRING ((-89.5 43.11, -89.4995 43.11), (-89.4995 43.11, -89.499 43.11))"
    date_line = line_from([(179.9995, 10.0), (-179.9995, 10.0)])
    names = {"apart": apart, "joined": joined, "point": "LINESTRING (-89.5 43.1, -89.5 43.1)", "none": "LINESTRING EMPTY"}
    repairs = pd.concat([rectangles(name, [(10.0, 0.0, 6.0, 12.0)]) for name in (*names, "unknown")], ignore_index=True)
    found = place(repairs, blocks([*names, "unknown"], 250.0), streets(**names))
    assert found.rows["block_id"].tolist() == ["joined"] and len(found.polygons) == 1
    told = dict(zip(found.unplaced["block_id"], found.unplaced["why"], strict=True))
    assert "pieces" in told["apart"] and "no length" in told["point"]
    assert told["none"] == told["unknown"] == "the block has no line"
    across = place(rectangles("far", [(0.0, 0.0, 300.0, 12.0)]), blocks(["far"], 300.0), streets(far=date_line))
    # RFC 7946, 3.1.9, asks to cut what crosses the 180th meridian; it is left out and told
    assert across.rows.empty and "180th meridian" in across.unplaced["why"][0]


def test_no_repairs_are_no_polygons(geometry: pd.DataFrame, network: pd.DataFrame, repairs: pd.DataFrame) -> None:
    found = place(repairs.iloc[:0], network, geometry)
    assert found.rows.empty and not len(found.polygons) and found.unplaced.empty and "scaled" in found.rows
    none = place(repairs, network, geometry.iloc[:0])
    assert none.rows.empty and len(none.unplaced) == len(repairs)


def test_the_demo_city_is_placed_true_to_size() -> None:
    city = demo.invent(150, seed=3)
    length = city.blocks.set_index("block_id")["length_ft"]
    parts = [rectangles(name, [(at * length[name], 0.0, 12.0, 12.0) for at in (0.0, 0.31, 0.62, 0.9)])
             for name in city.geometry["block_id"]]
    drawn = pd.concat(parts, ignore_index=True)
    found = place(drawn, city.blocks, city.geometry)
    assert found.unplaced.empty and len(found.rows) == len(drawn)
    areas = np.array([area_sqft(shape) for shape in found.polygons])
    assert areas == pytest.approx(144 * found.rows["scaled"].to_numpy(), rel=5e-3)
    assert shapely.is_valid(found.polygons).all()


@pytest.fixture
def package(overview: pd.DataFrame, network: pd.DataFrame, program: pd.DataFrame, repairs: pd.DataFrame,
            geometry: pd.DataFrame, quantities: pd.DataFrame) -> Package:
    forecast = with_types("forecast", pd.DataFrame([
        {"block_id": "B1", "year": year, "strategy": "none", "sound_share": 0.5, "partial_share": 0.25,
         "full_share": 0.25, "index": 50.0} for year in (2027, 2028)]))
    dated = network.assign(surveyed_on=pd.to_datetime(["2026-05-01", None, *["2026-06-30"] * 4]).astype("datetime64[us]"),
                           year_built=[1950.0, np.nan, 1990.0, 1991.0, 1992.0, 1993.0],
                           dowelled=pd.array([True, None, False, True, True, True], dtype="boolean"))
    return geopackage(overview, dated, program, repairs, geometry, STAMP, quantities=quantities, forecast=forecast,
                      about={"City": "Anytown", "Scenario": "=1+1"})


@pytest.fixture
def path(package: Package, tmp_path: Path) -> Path:
    (tmp_path / "plan.gpkg").write_bytes(package.content)
    return tmp_path / "plan.gpkg"


@pytest.fixture
def file(path: Path) -> Iterator[sqlite3.Connection]:
    with sqlite3.connect(path) as opened:
        yield opened
    opened.close()


def rows(file: sqlite3.Connection, question: str) -> list[tuple[object, ...]]:
    return file.execute(question).fetchall()


SPATIAL = ("blocks", "strategies", "program", "repairs")


def test_gdal_reads_every_layer_with_equal_values(path: Path, overview: pd.DataFrame, geometry: pd.DataFrame,
                                                  repairs: pd.DataFrame, quantities: pd.DataFrame) -> None:
    layers = dict(pyogrio.list_layers(path))
    assert {name: layers[name] for name in SPATIAL} == {**dict.fromkeys(SPATIAL, "MultiLineString"),
                                                        "repairs": "MultiPolygon"}
    read = pyogrio.read_dataframe(path, layer="strategies").set_index("block_id")
    assert read.crs.to_epsg() == 4326
    source = overview.set_index("block_id").loc[read.index]
    for name in ("street", "strategy", "reasons", "likely_usd", "life_extension_yr", "estimated", "overridden"):
        left, right = (side[name].astype(object).where(side[name].notna(), None).tolist() for side in (read, source))
        assert left == right, name
    lines = geometry.set_index("block_id")["line"]
    for block, shape in read.geometry.items():
        if block in lines.index:
            wanted = shapely.from_wkt(lines[block])
            assert shapely.equals_exact(shapely.get_parts(shape)[0], shapely.get_parts(wanted)[0], tolerance=0)
        else:
            assert shape is None
    work = pyogrio.read_dataframe(path, layer="program").set_index("block_id")
    assert work["year"].to_dict() == {"@B5": 2027, "B1": 2027, "B2": 2027, "B3": 2027, "B6": 2031}
    assert work["cost_usd"]["B2"] == 200_000 and pd.isna(work["then_year"]["B2"]) and work["estimated"]["B2"]
    city = pyogrio.read_dataframe(path, layer="blocks").set_index("block_id")
    assert city["surveyed_on"].isna().tolist() == [False, False, True, False, False, False]  # sorted: @B5 first
    assert city["surveyed_on"]["B1"] == pd.Timestamp("2026-05-01") and pd.isna(city["year_built"]["B2"])
    assert city["dowelled"].isna()["B2"] and city["index"]["B3"] == 19.9
    cut = pyogrio.read_dataframe(path, layer="repairs")
    assert cut[["block_id", "repair_id", "x_ft", "dowels"]].to_numpy().tolist() == repairs[
        ["block_id", "repair_id", "x_ft", "dowels"]].to_numpy().tolist()
    assert not cut["estimated"].any() and (cut["scaled"] > 0.8).all()
    listed = pyogrio.read_dataframe(path, layer="quantities")
    assert listed["quantity"].tolist() == quantities["quantity"].tolist()
    assert listed.loc[listed["block_id"] == "B2", "estimated"].all()
    assert pyogrio.read_dataframe(path, layer="about").set_index("topic")["value"]["Scenario"] == "=1+1"


def test_everything_estimated_says_so(path: Path) -> None:
    for layer in (*SPATIAL, "quantities", "forecast"):
        info = pyogrio.read_info(path, layer=layer)
        kinds = dict(zip(info["fields"], info["dtypes"], strict=True))
        assert kinds["estimated"] == "bool", layer


def test_blocks_without_a_line_are_not_lost(package: Package, path: Path) -> None:
    assert package.without_line == ("B6",) and package.rows["blocks"] == 6
    assert package.sentences()[0].startswith("1 block has no line")
    read = pyogrio.read_dataframe(path, layer="blocks").set_index("block_id")
    assert read.geometry["B6"] is None and read["length_ft"]["B6"] == 400.0
    told = pyogrio.read_dataframe(path, layer="about")["value"].tolist()
    assert package.sentences()[0] in told


def test_the_file_is_a_geopackage(file: sqlite3.Connection) -> None:
    # application_id is 'GPKG' in ASCII; user_version is the version as MMmmbb
    assert rows(file, "PRAGMA application_id")[0][0] == 0x47504B47 == int.from_bytes(b"GPKG", "big")
    assert 10_200 <= int(str(rows(file, "PRAGMA user_version")[0][0])) < 20_000
    assert rows(file, "PRAGMA integrity_check") == [("ok",)] and rows(file, "PRAGMA foreign_key_check") == []
    names = {row[0] for row in rows(file, "SELECT name FROM sqlite_master WHERE type IN ('table', 'view')")}
    assert {"gpkg_spatial_ref_sys", "gpkg_contents", "gpkg_geometry_columns", "gpkg_extensions"} <= names
    # reference systems that every file holds, and the one that is used
    systems = {row[0]: row for row in rows(file, "SELECT srs_id, organization, organization_coordsys_id FROM "
                                                 "gpkg_spatial_ref_sys")}
    assert {-1, 0, 4326} <= set(systems) and systems[4326][1:] == ("EPSG", 4326)


def test_contents_tell_of_every_table(file: sqlite3.Connection) -> None:
    contents = {row[0]: row for row in rows(file, "SELECT table_name, data_type, last_change, min_x, min_y, max_x, max_y,"
                                                  " srs_id FROM gpkg_contents")}
    assert {name for name, row in contents.items() if row[1] == "features"} == set(SPATIAL)
    assert {name for name, row in contents.items() if row[1] == "attributes"} == {
        "quantities", "forecast", "about", "data_dictionary", "layer_styles"}
    # ISO 8601 with milliseconds in UTC
    assert {row[2] for row in contents.values()} == {"2027-01-04T12:30:00.000Z"}
    made = {row[0] for row in rows(file, "SELECT name FROM sqlite_master WHERE type = 'table'")}
    own = {name for name in made if not str(name).startswith(("gpkg_", "rtree_", "sqlite_"))}
    assert own == set(contents)
    for name in contents:  # every user table has an integer primary key
        keys = [row for row in rows(file, f"PRAGMA table_info({name})") if row[5]]
        assert len(keys) == 1 and keys[0][2] == "INTEGER", name
    # legal data types: BOOLEAN, the integers, the floats, TEXT, BLOB, DATE, DATETIME and the geometry types
    legal = {"BOOLEAN", "TINYINT", "SMALLINT", "MEDIUMINT", "INT", "INTEGER", "FLOAT", "DOUBLE", "REAL", "TEXT", "BLOB",
             "DATE", "DATETIME", "MULTILINESTRING", "MULTIPOLYGON"}
    kinds = {(name, row[1]): row[2] for name in contents for row in rows(file, f"PRAGMA table_info({name})")}
    assert set(kinds.values()) <= legal
    assert kinds["blocks", "estimated"] == "BOOLEAN" and kinds["blocks", "surveyed_on"] == "DATE"
    assert kinds["blocks", "year_built"] == "INTEGER" and kinds["blocks", "length_ft"] == "REAL"
    assert rows(file, "SELECT surveyed_on, typeof(estimated) FROM blocks WHERE block_id = 'B1'") == [
        ("2026-05-01", "integer")]


def test_geometries_are_encoded_and_indexed_after_the_standard(file: sqlite3.Connection, path: Path) -> None:
    columns = {row[0]: row[1:] for row in rows(file, "SELECT table_name, column_name, geometry_type_name, srs_id, z, m "
                                                     "FROM gpkg_geometry_columns")}
    assert columns == {name: ("geom", "MULTIPOLYGON" if name == "repairs" else "MULTILINESTRING", 4326, 0, 0)
                       for name in SPATIAL}
    for name in SPATIAL:
        blobs = [row[0] for row in rows(file, f"SELECT geom FROM {name} WHERE geom IS NOT NULL")]
        assert blobs
        for blob in blobs:
            assert blob[:2] == b"GP" and blob[2] == 0  # magic and version
            little, envelope = blob[3] & 1, (blob[3] >> 1) & 7
            assert int.from_bytes(blob[4:8], "little" if little else "big") == 4326
            shape = shapely.from_wkb(blob[8 + {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}[envelope]:])
            assert shape.geom_type.upper() == columns[name][1]
            low, high = shape.bounds[:2], shape.bounds[2:]
            found = rows(file, f"SELECT min_x, min_y, max_x, max_y FROM gpkg_contents WHERE table_name = '{name}'")[0]
            assert found[0] <= low[0] and found[1] <= low[1] and found[2] >= high[0] and found[3] >= high[1]
        assert rows(file, f"SELECT count(*) FROM rtree_{name}_geom") == [(len(blobs),)]
    extensions = rows(file, "SELECT table_name, column_name, extension_name, scope FROM gpkg_extensions")
    for name in SPATIAL:
        assert (name, "geom", "gpkg_rtree_index", "write-only") in extensions
    # the schema extension stands for both of its tables
    assert ("gpkg_data_columns", None, "gpkg_schema", "read-write") in extensions
    assert ("gpkg_data_column_constraints", None, "gpkg_schema", "read-write") in extensions


def test_every_column_is_described(file: sqlite3.Connection) -> None:
    names = [row[0] for row in rows(file, "SELECT table_name FROM gpkg_contents WHERE table_name <> 'layer_styles'")]
    columns = {(name, row[1]) for name in names for row in rows(file, f"PRAGMA table_info({name})")} - {
        (name, column) for name in names for column in ("fid", "geom")}
    told = rows(file, "SELECT layer, column, unit, meaning FROM data_dictionary")
    assert {row[:2] for row in told} == columns and all(row[3] for row in told)
    described = rows(file, "SELECT table_name, column_name, description FROM gpkg_data_columns")
    assert {row[:2] for row in described} == columns and all(row[2] for row in described)
    units = {row[:2]: row[2] for row in told}
    assert units["program", "cost_usd"] == "usd" and units["blocks", "length_ft"] == "ft"


def test_styles_are_styled_layer_descriptors(file: sqlite3.Connection) -> None:
    held = rows(file, "SELECT f_table_name, f_geometry_column, styleSLD, useAsDefault FROM layer_styles ORDER BY id")
    assert [row[0] for row in held] == list(SPATIAL) and all(row[1] == "geom" and row[3] == 1 for row in held)
    # OGC 02-070, Styled Layer Descriptor 1.0.0, from memory: namespaces, nesting and order of the elements
    sld, ogc = "{http://www.opengis.net/sld}", "{http://www.opengis.net/ogc}"
    for name, _, text, _ in held:
        root = ET.fromstring(str(text))
        assert root.tag == f"{sld}StyledLayerDescriptor" and root.get("version") == "1.0.0"
        assert [child.tag for child in root] == [f"{sld}NamedLayer"]
        style = root.find(f"{sld}NamedLayer/{sld}UserStyle")
        assert root.findtext(f"{sld}NamedLayer/{sld}Name") == name and style is not None
        assert [child.tag.removeprefix(sld) for child in style] == ["Name", "Title", "IsDefault", "FeatureTypeStyle"]
        for rule in style.iter(f"{sld}Rule"):
            parts = [child.tag for child in rule]
            assert parts[:2] == [f"{sld}Name", f"{sld}Title"] and parts[2] in {f"{ogc}Filter", f"{sld}ElseFilter"}
            assert parts[3:] == [f"{sld}PolygonSymbolizer" if name == "repairs" else f"{sld}LineSymbolizer"]
            columns = {str(found.text) for found in rule.iter(f"{ogc}PropertyName")}
            assert columns <= {row[1] for row in rows(file, f"PRAGMA table_info({name})")}
            for stroke in rule.iter(f"{sld}Stroke"):
                assert stroke.find(f"{sld}CssParameter[@name='stroke']") is not None


def kept(rule: ET.Element, row: dict[str, object]) -> bool:
    """Whether a rule takes a row, by the rules of OGC 02-059, Filter Encoding 1.0."""
    ogc = "{http://www.opengis.net/ogc}"
    found = rule.find(f"{ogc}Filter")
    if found is None:
        return False
    tests = []
    for part in found.iter():
        if part.tag.startswith(f"{ogc}PropertyIs"):
            value, literal = row[str(part.findtext(f"{ogc}PropertyName"))], str(part.findtext(f"{ogc}Literal"))
            tests.append({"EqualTo": lambda a, b: str(a) == b, "LessThan": lambda a, b: float(a) < float(b),
                          "GreaterThanOrEqualTo": lambda a, b: float(a) >= float(b)}[
                              part.tag.removeprefix(f"{ogc}PropertyIs")](value, literal))
    return all(tests)


def test_every_value_is_drawn_once_with_its_stroke() -> None:
    sld = "{http://www.opengis.net/sld}"

    def colours(layer: str, row: dict[str, object]) -> list[str]:
        rules = [rule for rule in ET.fromstring(styles()[layer]).iter(f"{sld}Rule") if kept(rule, row)]
        return [str(rule.findtext(f"{sld}LineSymbolizer/{sld}Stroke/{sld}CssParameter[@name='stroke']")) for rule in rules]

    # the steps of the map: 80, 60, 40, 20, an edge in the better one
    for index, step in ((100, 0), (80, 0), (79.99, 1), (60, 1), (41, 2), (39.9, 3), (20, 3), (19.9, 4), (0, 4)):
        assert colours("blocks", {"index": index}) == [SCALE[step]]
    for name in STRATEGIES:
        assert colours("strategies", {"strategy": name}) == [STRATEGY[name].colour]
    kinds = [found.text for found in ET.fromstring(styles()["repairs"]).iter("{http://www.opengis.net/ogc}Literal")]
    assert kinds == list(next(one for one in TABLES["repairs"] if one.name == "kind").choices)


def test_the_same_tables_make_the_same_bytes(package: Package, overview: pd.DataFrame, network: pd.DataFrame,
                                             program: pd.DataFrame, repairs: pd.DataFrame, geometry: pd.DataFrame) -> None:
    first, again = (geopackage(overview, network, program, repairs, geometry, STAMP).content for _ in range(2))
    assert first == again
    with pytest.raises(ValueError, match="time zone"):
        geopackage(overview, network, program, repairs, geometry, datetime(2027, 1, 4))


def test_an_empty_program_and_no_lines_are_a_file_all_the_same(
        overview: pd.DataFrame, network: pd.DataFrame, program: pd.DataFrame, repairs: pd.DataFrame,
        geometry: pd.DataFrame, tmp_path: Path) -> None:
    made = geopackage(overview, network, program.iloc[:0], repairs, geometry.iloc[:0], STAMP)
    (tmp_path / "empty.gpkg").write_bytes(made.content)
    assert made.rows["program"] == made.rows["repairs"] == 0 and len(made.without_line) == 6
    assert any("2 repairs of 1 block not drawn" in words for words in made.sentences())
    for layer, size in (("blocks", 6), ("program", 0), ("repairs", 0)):
        info = pyogrio.read_info(tmp_path / "empty.gpkg", layer=layer)
        assert info["features"] == size and info["geometry_type"] in {"MultiLineString", "MultiPolygon"}
        assert info["crs"] == "EPSG:4326"
