"""Map layers: any coordinate reference system to WGS 84, and every way in which a geometry can be wrong."""

import io
import json
import zipfile
from pathlib import Path

import geopandas
import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely
from shapely.geometry import LineString, MultiLineString, Point, Polygon

from rehab.base.errors import UnusableInput
from rehab.inputs.reading import open_table, read_blocks, read_lines

CALIFORNIA = "EPSG:2230"  # NAD83 / California zone 6, US survey feet
LINES = [LineString([(-117.16, 32.72), (-117.15, 32.72)]), LineString([(-117.15, 32.72), (-117.15, 32.73)])]


def layer(shapes: list[object], crs: str | None = "OGC:CRS84") -> geopandas.GeoDataFrame:
    count = len(shapes)
    table = {"block_id": [f"0{n}" for n in range(count)], "length_ft": [400.0] * count, "width_ft": [36] * count,
             "pci": [50 + n for n in range(count)]}
    return geopandas.GeoDataFrame(table, geometry=shapes, crs=crs)


def geojson(shapes: list[object], **members: object) -> bytes:
    features = [{"type": "Feature", "geometry": None if shape is None else shapely.geometry.mapping(shape),
                 "properties": {"block_id": f"0{n}", "length_ft": 400, "width_ft": 36.0, "pci": 50 + n,
                                "street": "Elm"}}
                for n, shape in enumerate(shapes)]
    return json.dumps({"type": "FeatureCollection", "features": features, **members}).encode()


def zipped(frame: geopandas.GeoDataFrame, folder: Path, without: tuple[str, ...] = (), inside: str = "") -> bytes:
    frame.to_file(folder / "blocks.shp")
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as package:
        for path in sorted(folder.glob("blocks.*")):
            if path.suffix not in without:
                package.writestr(zipfile.ZipInfo(inside + path.name), path.read_bytes())
    return stream.getvalue()


def packaged(frame: geopandas.GeoDataFrame, folder: Path, **options: str) -> bytes:
    path = folder / "blocks.gpkg"
    frame.to_file(path, driver="GPKG", **options)
    return path.read_bytes()


def points(lines: list[str | None]) -> np.ndarray:
    return shapely.get_coordinates(shapely.from_wkt(lines))


def test_geojson_is_longitude_latitude() -> None:
    """RFC 7946, section 3.1.1: the first two numbers of a position are longitude and latitude in this order."""
    raw = open_table("blocks.geojson", geojson([LINES[0]]))
    assert raw.lines == ["LINESTRING (-117.16 32.72, -117.15 32.72)"]
    assert raw.frame.iloc[0].tolist() == ["00", "400", "36", "50", "Elm"]
    assert raw.problems == []


@pytest.mark.parametrize("name", ["urn:ogc:def:crs:OGC:1.3:CRS84", "EPSG:4326", "urn:ogc:def:crs:EPSG::2230"])
def test_a_legacy_crs_member_is_honoured(name: str) -> None:
    move = pyproj.Transformer.from_crs("OGC:CRS84", name, always_xy=True)
    shapes = [shapely.transform(line, lambda xy: np.column_stack(move.transform(*xy.T))) for line in LINES]
    raw = open_table("blocks.json", geojson(shapes, crs={"type": "name", "properties": {"name": name}}))
    np.testing.assert_allclose(points(raw.lines), shapely.get_coordinates(LINES), atol=1e-6)


def test_feet_in_geojson_without_a_crs_are_no_place_on_earth() -> None:
    feet = [LineString([(6_280_000, 1_850_000), (6_280_400, 1_850_000)])]
    reading = read_blocks(open_table("blocks.geojson", geojson(feet)))
    assert len(reading.table) == 1
    assert reading.geometry.empty
    assert reading.problems[["severity", "row", "column"]].to_numpy().tolist() == [["warn", 1, "geometry"]]
    assert "no place on earth" in reading.problems["message"].iloc[0]
    assert open_table("blocks.geojson", geojson(feet), crs=CALIFORNIA).lines != [None]


@pytest.mark.parametrize("crs", [CALIFORNIA, "EPSG:26911", "EPSG:4269", "EPSG:3857"])
@pytest.mark.parametrize("kind", ["gpkg", "shp"])
def test_any_projection_comes_back_to_longitude_and_latitude(tmp_path: Path, crs: str, kind: str) -> None:
    """Against pyproj's own transformation; 1e-6 degree is about 0.1 m."""
    frame = layer(LINES).to_crs(crs)
    content = packaged(frame, tmp_path) if kind == "gpkg" else zipped(frame, tmp_path)
    raw = open_table(f"blocks.{'gpkg' if kind == 'gpkg' else 'zip'}", content)
    back = pyproj.Transformer.from_crs(crs, "EPSG:4326", always_xy=True)
    expected = np.column_stack(back.transform(*shapely.get_coordinates(frame.geometry.to_numpy()).T))
    np.testing.assert_allclose(points(raw.lines), expected, atol=1e-6)
    reading = read_blocks(raw)
    assert reading.table["block_id"].tolist() == reading.geometry["block_id"].tolist() == ["00", "01"]
    assert reading.problems.empty


@pytest.mark.parametrize("kind", ["gpkg", "shp"])
def test_a_missing_crs_is_refused_until_one_is_given(tmp_path: Path, kind: str) -> None:
    frame = layer(LINES).to_crs(CALIFORNIA).set_crs(None, allow_override=True)
    if kind == "gpkg":
        with pytest.warns(UserWarning, match="crs"):
            content = packaged(frame, tmp_path)
    else:
        with pytest.warns(UserWarning, match="crs"):
            content = zipped(frame, tmp_path)
    name = "blocks.gpkg" if kind == "gpkg" else "blocks.zip"
    with pytest.raises(UnusableInput, match="coordinate reference system") as caught:
        open_table(name, content)
    assert "EPSG" in caught.value.problems[0].accepted
    raw = open_table(name, content, crs=CALIFORNIA)
    np.testing.assert_allclose(points(raw.lines), shapely.get_coordinates(LINES), atol=1e-5)
    with pytest.raises(UnusableInput, match="not known"):
        open_table(name, content, crs="EPSG:nonsense")


def test_parts_that_meet_are_merged_and_others_reported() -> None:
    meet = MultiLineString([[(0, 0), (1, 0)], [(1, 0), (1, 1)]])
    apart = MultiLineString([[(0, 0), (1, 0)], [(2, 0), (3, 0)]])
    raw = open_table("blocks.geojson", geojson([meet, apart, Point(0, 0), Polygon([(0, 0), (1, 0), (1, 1)]), None,
                                                LineString([(0, 0), (0, 0)])]))
    assert shapely.length(shapely.from_wkt(raw.lines[0])) == 2  # type: ignore[index]
    assert raw.lines[1:] == [None] * 5  # type: ignore[index]
    reading = read_blocks(raw)
    assert len(reading.table) == 6
    assert reading.geometry["block_id"].tolist() == ["00"]
    assert reading.problems["row"].tolist() == [2, 3, 4, 5, 6]
    assert reading.problems["value"].dropna().tolist() == ["Point", "Polygon"]
    assert reading.problems["accepted"].str.len().gt(3).all()


def test_a_line_in_a_column_of_well_known_text() -> None:
    text = ("block_id,length_ft,width_ft,pci,the_geom\nB1,400,36,71,\"LINESTRING (-117.16 32.72, -117.15 32.72)\"\n"
            "B2,400,36,71,SRID=4326;POINT (1 2)\nB3,400,36,71,nowhere\nB4,400,36,71,\n"
            "B5,400,36,71,\"SRID=4326;LINESTRING (0 0, 1 1)\"\n")
    reading = read_blocks(open_table("blocks.csv", text.encode()))
    assert reading.geometry.to_numpy().tolist() == [["B1", "LINESTRING (-117.16 32.72, -117.15 32.72)"],
                                                ["B5", "LINESTRING (0 0, 1 1)"]]
    assert reading.problems["row"].tolist() == [3, 4, 5]


def test_a_geometry_column_of_something_else_is_told() -> None:
    raw = open_table("blocks.csv", b"block_id,length_ft,width_ft,pci,geometry\nB1,400,36,71,0102000020\n")
    assert raw.lines is None
    assert [problem.column for problem in raw.problems] == ["geometry"]


@pytest.mark.parametrize("inside", ["../", "/etc/", "a/../../", "C:\\"])
def test_a_zip_with_a_path_outside_itself(tmp_path: Path, inside: str) -> None:
    with pytest.raises(UnusableInput, match="outside the zip") as caught:
        open_table("blocks.zip", zipped(layer(LINES), tmp_path, inside=inside))
    assert caught.value.problems[0].value


def test_a_zip_bomb() -> None:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as package:
        package.writestr("blocks.shp", bytes(1_000))
        package.infolist()[0].file_size = 500_000_001  # what the directory of a bomb says
    with pytest.raises(UnusableInput, match="unfolds to more than 500 MB"):
        open_table("blocks.zip", stream.getvalue())


@pytest.mark.parametrize("without", [(".shx",), (".dbf",), (".shp",), (".dbf", ".shx")])
def test_a_shapefile_with_missing_parts(tmp_path: Path, without: tuple[str, ...]) -> None:
    with pytest.raises(UnusableInput):
        read_blocks(open_table("blocks.zip", zipped(layer(LINES), tmp_path, without)))


def test_a_damaged_projection_file(tmp_path: Path) -> None:
    content = zipped(layer(LINES), tmp_path, without=(".prj",))
    stream = io.BytesIO(content)
    with zipfile.ZipFile(stream, "a") as package:
        package.writestr("blocks.prj", 'GEOGCS["GCS_WGS_1984",DATUM[,,"D_WGS')
    with pytest.raises(UnusableInput):
        open_table("blocks.zip", stream.getvalue())


def test_a_shapefile_in_a_folder_and_a_choice_of_layers(tmp_path: Path) -> None:
    content = zipped(layer(LINES), tmp_path, inside="data/")
    stream = io.BytesIO(content)
    with zipfile.ZipFile(stream, "a") as package:
        for path in sorted(tmp_path.glob("blocks.*")):
            package.write(path, f"other/more{path.suffix.upper()}")
    raw = open_table("blocks.zip", stream.getvalue())
    assert raw.sheets == ["blocks", "more"]
    assert "not read: more" in raw.problems[0].message
    assert len(open_table("blocks.zip", stream.getvalue(), sheet="more").frame) == 2
    with pytest.raises(UnusableInput, match="no layer 'third'"):
        open_table("blocks.zip", stream.getvalue(), sheet="third")


def test_layers_of_a_geopackage(tmp_path: Path) -> None:
    packaged(layer([Point(0, 0)]), tmp_path, layer="signs")
    content = packaged(layer(LINES), tmp_path, layer="blocks")
    raw = open_table("city.gpkg", content)
    assert raw.sheets == ["signs", "blocks"]
    assert len(raw.frame) == 2
    assert "not read: signs" in raw.problems[0].message
    assert len(open_table("city.gpkg", content, sheet="signs").frame) == 1


def test_damaged_layers(tmp_path: Path) -> None:
    for name, content in (("blocks.gpkg", packaged(layer(LINES), tmp_path)),
                          ("blocks.zip", zipped(layer(LINES), tmp_path)),
                          ("blocks.geojson", geojson(list(LINES)))):
        for cut in (30, len(content) // 2):
            with pytest.raises(UnusableInput):
                open_table(name, content[:cut])


@pytest.mark.parametrize("content", [
    b'{"type": "Topology"}', b"[1, 2]", b'{"features": []}', b'{"features": [1, null]}', b"{" * 50_000, b"[" * 200_000,
    b'{"type": "FeatureCollection", "features": [{"properties": {"block_id": 1}}], "crs": 5}',
    b'{"type": "FeatureCollection", "features": [{"properties": {"a": 1}, "geometry": {"type": "LineString",'
    b'"coordinates": [[0, 1]]}}], "crs": {"properties": {"name": "EPSG:0"}}}',
])
def test_json_that_is_no_layer(content: bytes) -> None:
    with pytest.raises(UnusableInput):
        open_table("blocks.geojson", content)


def test_lines_of_a_layer_of_its_own_are_joined_by_block() -> None:
    blocks = pd.DataFrame({"block_id": ["00", "01", "02", "09"]})
    features = [LINES[0], LINES[1], LINES[0], Point(0, 0)]
    content = json.loads(geojson(features))
    content["features"][1]["properties"]["block_id"] = "00"
    content["features"][2]["properties"]["block_id"] = "77"
    content["features"].append({"type": "Feature", "geometry": shapely.geometry.mapping(LINES[0]),
                                "properties": {"block_id": "01"}})
    content["features"].append({"type": "Feature", "geometry": {"type": "LineString", "coordinates": [[0, 0], [1, 1]]},
                                "properties": {"block_id": "01"}})
    geometry, problems = read_lines(open_table("lines.geojson", json.dumps(content).encode()), blocks)
    assert geometry["block_id"].tolist() == ["00"]
    assert shapely.get_num_points(shapely.from_wkt(geometry["line"].iloc[0])) == 3
    told = problems.set_index("row")["message"]
    assert told.loc[[5, 6]].str.contains("do not meet").all()
    assert problems["message"].str.contains("2 features belong to no block").any()
    assert problems["message"].str.contains("3 blocks have no line, the first is 01").any()


def test_a_line_layer_needs_lines_and_ids() -> None:
    blocks = pd.DataFrame({"block_id": ["B1"]})
    with pytest.raises(UnusableInput, match="no lines"):
        read_lines(open_table("lines.csv", b"block_id,length_ft\nB1,4\n"), blocks)
    content = json.loads(geojson([LINES[0]]))
    content["features"][0]["properties"] = {"colour": "red"}
    with pytest.raises(UnusableInput, match="block's name"):
        read_lines(open_table("lines.geojson", json.dumps(content).encode()), blocks)
