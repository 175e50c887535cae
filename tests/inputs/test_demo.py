"""The invented city: reproducible, sound as a table, and plausible as a city.

Outside checks: geodesic lengths by pyproj (GeographicLib, WGS 84), crossing and touching lines by shapely, rank
correlation by scipy, GeoJSON by RFC 7946.  The shares of good and bad blocks are what the demo is meant to show
(own choice, no source).
"""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import shapely
from pandas.testing import assert_frame_equal
from pyproj import Geod
from scipy.stats import spearmanr

from rehab.base import tables
from rehab.base.units import M_PER_FT
from rehab.inputs import demo
from rehab.inputs.demo import names, pavement, streets

STANDARD = Path(__file__).parents[2] / "data" / "demo"
CASES = [(1, 7), (1, 2), (2, 7), (2, 5), (37, 7), (37, 1), (1200, 7), (1200, 23), (5000, 4)]
COUNTED = {"broken panel": "panels_broken", "sunken panel": "panels_sunken", "corner break": "corner_breaks",
           "linear crack": "panels_cracked", "patch": "panels_patched", "casting": "castings"}

invented = cache(demo.invent)
every_city = pytest.mark.parametrize("city", CASES, indirect=True, ids=lambda case: f"{case[0]} blocks, seed {case[1]}")


@pytest.fixture
def city(request: pytest.FixtureRequest) -> demo.City:
    return invented(*request.param)


def lines(city: demo.City) -> np.ndarray:
    return shapely.from_wkt(city.geometry["line"].to_numpy(object))


def grid(blocks: pd.DataFrame) -> tuple[pd.Series, pd.Series]:
    """Panel rows and columns by the rule of the network step: sizes divided, rounded, at least one."""
    rows = (blocks["length_ft"] / blocks["panel_length_ft"]).round().clip(lower=1)
    return rows, (blocks["width_ft"] / blocks["panel_width_ft"]).round().clip(lower=1)


def joints(blocks: pd.DataFrame) -> pd.Series:
    rows, columns = grid(blocks)
    return (rows - 1) * blocks["width_ft"] + (columns - 1) * blocks["length_ft"]


def deep(blocks: pd.DataFrame) -> pd.Series:
    return blocks["panels_broken"] + blocks["panels_sunken"] + blocks["corner_breaks"]


def counted(city: demo.City) -> pd.DataFrame:
    """The blocks with counts, panels filled in where the city's table lacks them."""
    blocks = city.blocks[city.blocks["panels_broken"].notna()]
    rows, columns = grid(blocks)
    return blocks.assign(panels=rows * columns)


@every_city
def test_tables_obey_their_schemas_and_have_the_size_asked_for(city: demo.City, request: pytest.FixtureRequest) -> None:
    for table, frame in (("blocks", city.blocks), ("defects", city.defects), ("geometry", city.geometry)):
        assert_frame_equal(tables.check(table, frame), frame)
    asked = request.node.callspec.params["city"][0]
    assert len(city.blocks) == len(city.geometry) == asked
    assert city.blocks["block_id"].is_unique
    assert city.blocks["block_id"].is_monotonic_increasing
    assert list(city.blocks["block_id"]) == list(city.geometry["block_id"])
    assert city.blocks["block_id"].str.fullmatch(r"[A-Z]+(-[A-Z]+)*-[NSEW]\d{2,3}").all()


@pytest.mark.parametrize(("blocks", "seed"), [(1, 3), (37, 3), (700, 3)])
def test_same_size_and_seed_make_the_same_city(blocks: int, seed: int) -> None:
    first, second = demo.invent(blocks, seed), demo.invent(blocks, seed)
    for name in ("blocks", "defects", "geometry"):
        assert_frame_equal(getattr(first, name), getattr(second, name))


def test_another_seed_makes_another_city() -> None:
    assert not invented(1200, 7).blocks.equals(invented(1200, 23).blocks)


def test_committed_files_come_from_the_generator_byte_for_byte(tmp_path: Path) -> None:
    earlier = demo.write_earlier(demo.earlier(), tmp_path / "blocks.csv")
    for path in (*demo.write(invented(), tmp_path / "blocks.csv"), earlier):
        assert path.read_bytes() == (STANDARD / path.name).read_bytes(), path.name


@pytest.mark.parametrize(("blocks", "seed", "message"),
                         [(0, 7, "1 to 200,000"), (200_001, 7, "200,001"), (5, -1, "seed")])
def test_impossible_sizes_are_refused(blocks: int, seed: int, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        demo.invent(blocks, seed)


@every_city
def test_lengths_are_geodesic(city: demo.City) -> None:
    measured = [Geod(ellps="WGS84").geometry_length(line) / M_PER_FT for line in lines(city)]
    np.testing.assert_allclose(city.blocks["length_ft"], measured, rtol=0.005)


@every_city
def test_lines_neither_cross_nor_touch_but_at_their_ends(city: demo.City) -> None:
    shapes = lines(city)
    vertices = shapely.get_num_points(shapes)
    assert vertices.min() >= 2
    assert vertices.max() <= 6
    assert shapely.is_simple(shapes).all()
    tree = shapely.STRtree(shapes)
    for predicate in ("crosses", "overlaps"):
        assert tree.query(shapes, predicate=predicate).shape[1] == 0
    first, second = tree.query(shapes, predicate="touches")
    ends = np.array([[shapely.get_coordinates(shapely.get_point(shapes, at)) for at in (0, -1)]])[0]
    shared = [(ends[a][first] == ends[b][second]).all(axis=1) for a in (0, 1) for b in (0, 1)]
    assert np.any(shared, axis=0).all()


@every_city
def test_blocks_that_name_the_same_crossing_meet_there(city: demo.City) -> None:
    blocks, shapes = city.blocks, lines(city)
    assert (blocks["street"] != blocks["from_street"]).all()
    assert (blocks["street"] != blocks["to_street"]).all()
    assert (blocks["from_street"] != blocks["to_street"]).all()
    places: dict[frozenset[str], set[tuple[float, ...]]] = {}
    streets_only = blocks["functional_class"] != "alley"
    for row, line in zip(blocks[streets_only].itertuples(), shapes[streets_only], strict=True):
        for cross, at in ((row.from_street, 0), (row.to_street, -1)):
            places.setdefault(frozenset((row.street, cross)), set()).add(line.coords[at])
    assert {len(found) for found in places.values()} <= {1}


def test_names_reach_to_the_edge_of_the_largest_city() -> None:
    largest = streets.lattice(200_000, np.random.default_rng(0))
    found = [names.along_river(int(row), largest.river) for row in largest.rows]
    found += [names.across_river(int(column), largest.railway) for column in largest.columns]
    assert len(set(found)) == len(found)
    with pytest.raises(ValueError, match="the theme has"):
        names.in_theme(names.CROPS, 1000)


@every_city
def test_sizes_and_years_stay_within_the_story(city: demo.City) -> None:
    blocks = city.blocks
    width = {"alley": (16, 20), "local": (26, 36), "collector": (36, 44), "arterial": (48, 72)}
    for kind, some in blocks.groupby("functional_class"):
        assert some["width_ft"].between(*width[str(kind)]).all()
    assert blocks["year_built"].dropna().between(1938, 2019).all()
    assert blocks["thickness_in"].dropna().between(6, 9).all()
    assert blocks["panel_length_ft"].between(12, 15).all()
    assert blocks["panel_width_ft"].between(9, 16).all()
    assert (blocks["surveyed_on"].dt.year == 2026).all()
    assert blocks["utility_year"].dropna().between(2027, 2036).all()
    assert (blocks["parking_ft"] <= 2 * blocks["length_ft"]).all()
    for column in ("bus_route", "functional_class"):
        assert not blocks[["street", column]].drop_duplicates()["street"].duplicated().any(), column
    rows, columns = grid(blocks)
    stated = blocks["panels"].notna()
    assert (blocks["panels"] == rows * columns)[stated].all()


@every_city
def test_counts_and_measures_fit_the_block(city: demo.City) -> None:
    blocks = counted(city)
    assert (blocks[list(tables.COUNTS)].sum(axis=1) <= blocks["panels"]).all()
    assert (blocks["spalled_joint_ft"] <= joints(blocks) + 1e-6).all()
    assert (blocks["wide_joint_ft"] <= joints(blocks) + 1e-6).all()
    assert (blocks["hollow_sqft"] <= blocks["length_ft"] * blocks["width_ft"]).all()
    assert (blocks["sunken_curb_ft"] <= 2 * blocks["length_ft"]).all()
    assert ((blocks["cracked_ft"] > 0) == (blocks["panels_cracked"] > 0)).all()
    assert (blocks["damage_depth_in"].notna() == (blocks["spalled_joint_ft"] > 0)).all()
    known = blocks.dropna(subset=["thickness_in", "damage_depth_in"])
    assert (known["damage_depth_in"] < known["thickness_in"]).all()
    assert (blocks["last_work_year"].notna() == (blocks["panels_patched"] > 0)).all()
    worked = blocks.dropna(subset=["last_work_year", "year_built"])
    assert (worked["last_work_year"] > worked["year_built"]).all()
    assert (worked["last_work_year"] < 2026).all()
    assert set(blocks.loc[blocks["iri_in_per_mi"].notna(), "functional_class"]) <= {"arterial", "collector"}


@every_city
def test_a_panel_survey_agrees_with_the_counts_of_its_block(city: demo.City) -> None:
    blocks = city.blocks.set_index("block_id")
    surveyed = blocks.loc[city.defects["block_id"].unique()]
    assert len(surveyed) <= -(-len(blocks) // 20)
    assert surveyed["panels_broken"].notna().all()
    for defect, column in COUNTED.items():
        rows = city.defects.loc[city.defects["defect"] == defect, "block_id"].value_counts()
        assert rows.reindex(surveyed.index, fill_value=0).eq(surveyed[column]).all(), defect
    along = city.defects[["length_ft", "width_ft"]].max(axis=1)
    for kinds, column in ((["linear crack"], "cracked_ft"), (["joint spall", "corner spall"], "spalled_joint_ft")):
        feet = along[city.defects["defect"].isin(kinds)].groupby(city.defects["block_id"]).sum()
        np.testing.assert_allclose(feet.reindex(surveyed.index, fill_value=0.0), surveyed[column], atol=0.06)
    hollow = city.defects[city.defects["defect"] == "hollow area"]
    area = (hollow["length_ft"] * hollow["width_ft"]).groupby(hollow["block_id"]).sum()
    np.testing.assert_allclose(area.reindex(surveyed.index, fill_value=0.0), surveyed["hollow_sqft"], atol=0.06)


@every_city
def test_damage_lies_inside_its_panel_and_is_written_down_once(city: demo.City) -> None:
    found = city.defects.merge(city.blocks, on="block_id", suffixes=("", "_block"))
    rows, columns = (found["length_ft_block"] / found["panel_length_ft"]).round(), (
        found["width_ft_block"] / found["panel_width_ft"]).round()
    assert (found["panel_row"] <= rows).all()
    assert (found["panel_column"] <= columns).all()
    end, right = found["x_ft"] + found["length_ft"], found["y_ft"] + found["width_ft"]
    assert (end <= found[["panel_length_ft"]].min(axis=1) + 1e-6).all()
    assert (end <= found["length_ft_block"] / rows + 1e-6).all()
    assert (right <= found["panel_width_ft"] + 1e-6).all()
    assert found[["x_ft", "y_ft"]].min().min() >= 0
    assert found[["length_ft", "width_ft"]].min().min() > 0
    assert (found["depth_in"].dropna() <= found["thickness_in"][found["depth_in"].notna()]).all()
    assert not found.duplicated(["block_id", "panel_row", "panel_column", "defect"]).any()
    states = found[found["defect"].isin(set(COUNTED) - {"casting"})]
    assert not states.duplicated(["block_id", "panel_row", "panel_column"]).any()


@pytest.mark.parametrize("case", [(1200, 7), (1200, 23), (5000, 4)])
def test_a_plausible_network(case: tuple[int, int]) -> None:
    blocks = counted(invented(*case))
    share = (deep(blocks) + blocks["panels_cracked"]) / blocks["panels"]
    wrecked = share > 0.5
    some_deep = ~wrecked & (deep(blocks) > 0)
    few_cracks = blocks["panels_cracked"] <= 0.05 * blocks["panels"]
    light = few_cracks & (blocks["spalled_joint_ft"] <= 0.03 * joints(blocks))
    hardly = ~wrecked & ~some_deep & light
    assert 0.42 <= hardly.mean() <= 0.56
    assert 0.19 <= (~wrecked & ~some_deep & ~light).mean() <= 0.30
    assert 0.17 <= some_deep.mean() <= 0.28
    assert 0.03 <= wrecked.mean() <= 0.065


@pytest.mark.parametrize("case", [(1200, 7), (1200, 23), (5000, 4)])
def test_damage_rises_with_age_and_index_falls_with_damage(case: tuple[int, int]) -> None:
    blocks = counted(invented(*case)).dropna(subset=["year_built"])
    age = 2026 - blocks["year_built"]
    for measure, least in ((deep(blocks) / blocks["panels"], 0.25), (blocks["panels_cracked"] / blocks["panels"], 0.35),
                           (blocks["spalled_joint_ft"] / joints(blocks), 0.5), (blocks["faulting_in"].fillna(0), 0.3)):
        assert spearmanr(age, measure).statistic > least
    older, newer = age > 50, age < 30
    assert (deep(blocks) > 0)[older].mean() > 3 * (deep(blocks) > 0)[newer].mean()
    both = blocks[blocks["condition_index"].notna()]
    damage = (deep(both) + both["panels_cracked"]) / both["panels"] + both["spalled_joint_ft"] / joints(both)
    assert spearmanr(damage, both["condition_index"]).statistic < -0.6


def test_the_gravel_of_one_pit_is_bad() -> None:
    blocks = invented(5000, 4).blocks
    bad = blocks["material_distress"].isin(["medium", "high"])
    pit = (blocks["district"] == "Quarry Hill") & blocks["year_built"].between(1960, 1972)
    assert bad[pit].mean() > 0.15
    assert bad[~pit & blocks["year_built"].notna()].mean() < 0.02


def test_the_standard_city_is_as_its_readme_says() -> None:
    city = invented()
    blocks = city.blocks
    assert city.defects["block_id"].nunique() == 60
    no_counts = blocks["panels_broken"].isna()
    assert (no_counts & blocks["condition_index"].notna()).sum() == 36
    assert (no_counts & blocks["rating_1_10"].notna()).sum() == 24
    assert (~no_counts & blocks["condition_index"].notna()).sum() == 120
    assert blocks[list(tables.CONDITION)].notna().any(axis=1).all()
    assert set(blocks["district"]) == set(pavement.WAVES)
    assert set(blocks["functional_class"]) == set(tables.CLASSES)
    for column, low, high in (("utility_year", 0.025, 0.06), ("no_work_until", 0.01, 0.035),
                              ("load_transfer", 0.02, 0.1)):
        assert low < blocks[column].notna().mean() < high, column
    for column in ("thickness_in", "year_built", "dowelled", "adt", "panels"):
        assert 0 < blocks[column].isna().mean() < 0.1, column


def test_files_are_plain_csv_and_rfc_7946(tmp_path: Path) -> None:
    city = invented(37, 7)
    written = demo.write(city, tmp_path / "new" / "town.csv")
    assert [path.name for path in written] == ["town.csv", "town_defects.csv", "town_lines.geojson"]
    back = pd.read_csv(written[0], parse_dates=["surveyed_on"])
    assert list(back.columns) == [field.name for field in tables.upload_fields("blocks")]
    flags = {name: back[name].map({"yes": True, "no": False}) for name in ("dowelled", "reinforced", "bus_route")}
    assert_frame_equal(tables.with_types("blocks", back.assign(**flags)), city.blocks)
    assert_frame_equal(tables.with_types("defects", pd.read_csv(written[1])), city.defects)
    shown = json.loads(written[2].read_text(encoding="utf-8"))
    assert set(shown) == {"type", "features"}  # RFC 7946, section 4: no other coordinate system, so no "crs"
    assert [feature["properties"]["block_id"] for feature in shown["features"]] == list(city.blocks["block_id"])
    assert {len(feature["properties"]) for feature in shown["features"]} == {1}
    for feature, line in zip(shown["features"], lines(city), strict=True):
        assert feature["geometry"]["type"] == "LineString"
        assert [tuple(place) for place in feature["geometry"]["coordinates"]] == list(line.coords)
        assert all(round(number, 7) == number for place in feature["geometry"]["coordinates"] for number in place)


@pytest.mark.parametrize(("blocks", "seed"), [(1, 7), (300, 3), (1200, 7)])
def test_no_panel_heals_but_where_the_year_of_work_says_so(blocks: int, seed: int) -> None:
    city, before = invented(blocks, seed), demo.earlier(blocks, seed)
    assert_frame_equal(tables.check("blocks", before), before)
    assert list(before["block_id"]) == list(city.blocks["block_id"])
    assert (before["surveyed_on"].dt.year == 2021).all()
    same = ["length_ft", "width_ft", "panels", "year_built", "thickness_in", "functional_class", "dowelled"]
    assert_frame_equal(before[same], city.blocks[same])
    worked = (city.blocks["last_work_year"] >= 2021).to_numpy()
    was, now = before[~worked], city.blocks[~worked]
    panels = grid(now)[0] * grid(now)[1]
    assert (deep(was).fillna(0) <= deep(now).fillna(0)).all()
    assert (was["panels_patched"].fillna(0) == now["panels_patched"].fillna(0)).all()
    # a panel that broke since may have been spalled, six feet of joint each: it is worse now, not healed
    damaged = [(deep(rows) + rows["spalled_joint_ft"] / 6).fillna(0) for rows in (was, now)]
    assert (damaged[0] <= damaged[1] + 1e-9).all() and (deep(was).fillna(0) <= panels).all()
    assert not (before["last_work_year"] >= 2021).any()
    assert (before.loc[worked, "panels_patched"].fillna(0) == 0).all()
    assert (before["panels_broken"].isna() == city.blocks["panels_broken"].isna()).all()
    step = before["faulting_in"] <= city.blocks["faulting_in"]
    assert (step | city.blocks["faulting_in"].isna()).all()
