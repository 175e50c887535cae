"""Quantities by hand for one block of each strategy, with published yields."""

import numpy as np
import pandas as pd
import pytest

from rehab.base import tables
from rehab.base.settings import Assumptions
from rehab.inputs import assumptions as reader
from rehab.steps import takeoff

NUMBERS = {item.name: 0.0 for item in tables.fields("needs") if item.kind == "number"}
#: what a panel survey may lay out for one block: two patches, two full-depth repairs, one box-out, companion work
SURVEYED = {
    "partial_sqft": 54.0, "partial_pay_sqft": 60.0, "partial_depth_in": 3.0, "patch_saw_ft": 60.0, "insert_ft": 20.0,
    "crack_ft": 120.0, "reseal_ft": 80.0, "stitch_ft": 40.0, "jack_panels": 1.0, "stabilise_panels": 2.0,
    "retrofit_bars": 36.0, "grind_sqyd": 1066.7, "full_sqyd": 40.0, "full_pay_sqyd": 41.0, "saw_ft": 108.0,
    "dowels": 44.0, "basket_dowels": 11.0, "tie_bars": 12.0, "joint_ft": 96.0, "box_outs": 1.0, "box_out_sqft": 25.0,
    "felt_ft": 10.0, "curb_ft": 30.0, "castings": 2.0,
}
GAL_PER_FT = 0.375 * 0.375 * 12 / 231  # of sealant: 1 gal = 231 cu in, NIST Handbook 44


def one(assumptions: Assumptions, strategy: str, block: dict[str, object] | None = None,
        **need: float) -> dict[str, float]:
    """Quantities that are not zero, for a local block of 300 x 36 ft, 8 in thick, 60 panels of 15 x 12 ft."""
    city = pd.DataFrame([{"block_id": "B001", "functional_class": "local", "length_ft": 300.0, "thickness_in": 8.0,
                          "area_sqft": 10_800.0, "panels": 60.0, "transverse_joint_ft": 720.0,
                          "longitudinal_joint_ft": 600.0, "curb_ft": 600.0, "castings": 2.0, **(block or {})}])
    assert set(need) <= set(NUMBERS)
    row = takeoff.measure(city, pd.DataFrame([{**NUMBERS, **need}]), strategy, assumptions).iloc[0]
    return {str(item): float(value) for item, value in row.items() if value != 0}


def without_waste(assumptions: Assumptions) -> Assumptions:
    items = assumptions.table("pay_items").assign(waste="1")
    return Assumptions({**assumptions.tables, "pay_items": items}, assumptions.sources)


@pytest.fixture(scope="module")
def bare(defaults: Assumptions) -> Assumptions:
    return without_waste(defaults)


@pytest.mark.parametrize(("where", "length_ft", "width_ft", "sqyd", "cuyd"), [
    ("section 7040 of Iowa, a repair above its least 2 sq yd: 6 x 12 ft, 8 in", 6.0, 12.0, 8.0, 1.7778),
    ("FHWA Full-Depth Repairs 5.1, crack at 5 ft of 15, dowelled: 9 x 12 ft, 8 in", 9.0, 12.0, 12.0, 2.6667),
    ("FHWA 5.1, the same crack in a panel of 12 ft goes past both joints: 14 x 12 ft", 14.0, 12.0, 18.6667, 4.1481),
    ("two repairs joined over a gap of 10 ft, bulletin on full-depth repair: 22 x 12 ft", 22.0, 12.0, 29.3333, 6.5185),
    ("UFC 3-270-04 4.3, utility cut of 3 x 8 ft sawn 6 in beyond: 4 x 9 ft", 4.0, 9.0, 4.0, 0.8889),
    ("UFC 3-270-04 4.3, sawn 12 in beyond: 5 x 10 ft", 5.0, 10.0, 5.5556, 1.2346)])
def test_published_layouts_as_square_and_cubic_yards(bare: Assumptions, where: str, length_ft: float, width_ft: float,
                                                     sqyd: float, cuyd: float) -> None:
    # Volume by hand: area x 8 / 12 / 27; no waste.
    area = length_ft * width_ft / 9
    found = one(bare, "full_depth", full_sqyd=area, full_pay_sqyd=area)
    assert found["full_depth_panel"] == found["removal_full"] == pytest.approx(sqyd, abs=5e-5), where
    assert found["concrete_full"] == pytest.approx(cuyd, abs=5e-5), where


def test_the_least_pay_quantity_is_paid_and_the_true_area_is_poured(bare: Assumptions) -> None:
    # Iowa section 7040: a patch of 3 x 4 ft = 1.333 sq yd counts as 2; by hand its concrete is 12 x 8 / 12 / 27.
    found = one(bare, "full_depth", full_sqyd=12 / 9, full_pay_sqyd=2.0)
    assert found["full_depth_panel"] == 2.0
    assert found["removal_full"] == found["base_repair"] == pytest.approx(1.3333, abs=5e-5)
    assert found["concrete_full"] == pytest.approx(12 * 8 / 12 / 27) and found["curing_compound"] == 12 / 150
    patch = one(bare, "partial_depth", partial_sqft=0.375, partial_pay_sqft=1.0, partial_depth_in=2.0)
    assert patch["partial_depth_patch"] == 1.0 and patch["patch_milling"] == 0.375


def test_waste_is_on_the_material_and_not_on_what_is_paid(defaults: Assumptions) -> None:
    # Waste of 10 % on concrete is common practice, no source: by hand 1.1 x 2.667 cu yd.
    found = one(defaults, "full_depth", full_sqyd=12.0, full_pay_sqyd=12.0)
    assert found["concrete_full"] == pytest.approx(1.1 * 2.6667, abs=5e-5) and found["full_depth_panel"] == 12
    table = defaults.table("pay_items")
    assert (table.loc[table["included_in"] == "", "waste"].astype(float) == 1).all()
    assert table["waste"].astype(float).between(1, 1.5).all()


@pytest.mark.parametrize(("where", "sqft", "cuft"), [
    ("UFC 3-270-03 Table 3.1, Army: a spall of 5 x 3 in becomes 9 x 6 in, 2 in deep", 9 * 6 / 144, 0.0625),
    ("UFC 3-270-03 Table 3.1, Navy: the same becomes 12 x 12 in, 2 in deep", 1.0, 0.1667)])
def test_patching_mix_of_the_published_spall(bare: Assumptions, where: str, sqft: float, cuft: float) -> None:
    found = one(bare, "partial_depth", partial_sqft=sqft, partial_pay_sqft=1.0, partial_depth_in=2.0)
    assert 27 * found["patch_mix"] == pytest.approx(cuft, abs=5e-5), where


def test_curing_compound_by_ohio_255(defaults: Assumptions) -> None:
    # Ohio 255.06: at least 1 gal per 150 sq ft; by hand 264 / 150 = 1.76 gal, at 200 sq ft (ASTM C309, from memory)
    # 1.32 gal.
    assert one(defaults, "full_depth", full_sqyd=264 / 9)["curing_compound"] == pytest.approx(1.76)
    wide = reader.overlay(defaults, {"defaults": {"curing_sqft_per_gal": 200}})
    assert one(wide, "full_depth", full_sqyd=264 / 9)["curing_compound"] == pytest.approx(1.32)
    both = one(defaults, "full_depth", full_sqyd=100 / 9, box_out_sqft=100.0, partial_sqft=64.0)
    assert both["curing_compound"] == pytest.approx(1.76)  # patches, box-outs and panels are all covered


@pytest.mark.parametrize(("depth_in", "gal_per_ft", "ft_per_gal"), [(0.375, 0.0073, 137), (0.1875, 0.0037, 274)])
def test_sealant_of_a_reservoir(bare: Assumptions, depth_in: float, gal_per_ft: float, ft_per_gal: int) -> None:
    # Width x depth x 12 / 231 by hand: 3/8 x 3/8 in hot-poured 7.3 gal in 1,000 ft, silicone half as deep 3.7 gal
    # (sizes from memory, FHWA-RD-99-146).
    given = reader.overlay(bare, {"defaults": {"sealant_depth_in": depth_in}})
    gallons = one(given, "partial_depth", reseal_ft=600.0, crack_ft=400.0)["sealant"]
    assert gallons == pytest.approx(1000 * gal_per_ft, abs=0.05) and 1000 / gallons == pytest.approx(ft_per_gal, abs=0.6)


def test_a_lane_mile_is_7040_square_yards(bare: Assumptions) -> None:
    # Arithmetic: 5,280 x 12 / 9 = 7,040, ground or rebuilt.
    mile = {"length_ft": 5280.0, "area_sqft": 5280.0 * 12}
    ground = one(bare, "partial_depth", mile, grind_sqyd=5280 * 12 / 9)
    assert ground == pytest.approx({"diamond_grinding": 7040, "grinding_surface": 7040, "slurry_handling": 7040})
    assert one(bare, "reconstruction", mile)["pavement_reconstruction"] == pytest.approx(7040)


@pytest.mark.parametrize(("joint_ft", "bars"), [(15, 2112), (20, 1584)])
def test_retrofit_bars_of_a_lane_mile(bare: Assumptions, joint_ft: float, bars: float) -> None:
    # FP2, load transfer restoration: 3 bars in each of two wheel paths; 5,280 / 15 = 352 joints, / 20 = 264.
    found = one(bare, "partial_depth", retrofit_bars=5280 / joint_ft * 6)
    assert found == {"dowel_bar_retrofit": bars}


@pytest.mark.parametrize(("spacing_in", "bars"), [(30, 16), (20, 24)])
def test_stitching_bars_of_a_crack(defaults: Assumptions, spacing_in: float, bars: float) -> None:
    # Concrete Alberta, cross-stitching: 20 in apart under heavy traffic to 30 in; a crack of 40 ft = 480 in.
    given = reader.overlay(defaults, {"companions": {"stitch.spacing_in": spacing_in}})
    assert one(given, "partial_depth", stitch_ft=40.0) == {"cross_stitching": bars}
    assert one(given, "partial_depth", stitch_ft=40.1)["cross_stitching"] == bars + 1  # no part of a bar


def test_steel_of_a_box_out(bare: Assumptions) -> None:
    # ASTM A615 (from memory): a No. 4 bar weighs 0.668 lb/ft; 5 x 5 ft with bars a foot apart both ways holds 50 ft.
    found = one(bare, "full_depth", box_outs=1.0, box_out_sqft=25.0, felt_ft=10.0)
    assert found["box_out_steel"] == pytest.approx(50 * 0.668) and found["expansion_felt"] == 10
    assert found["casting_box_out"] == 1 and "full_depth_panel" not in found


def test_castings_take_nothing_from_the_paid_area(defaults: Assumptions) -> None:
    # Iowa Construction Manual 9.30: the paid area of pavement includes manholes and intakes.
    for strategy, item in (("full_depth", "full_depth_panel"), ("reconstruction", "pavement_reconstruction")):
        few, many = (one(defaults, strategy, {"castings": count}, full_sqyd=20.0, full_pay_sqyd=20.0, castings=count)
                     for count in (0.0, 5.0))
        assert many[item] == few[item] and many["casting_adjustment"] == 5 and "casting_adjustment" not in few


def test_boards_only_in_patches_and_felt_only_round_box_outs(defaults: Assumptions) -> None:
    # UFC 3-270-03 16.2: an insert as wide as the joint through the depth of the patch; ready-mix guide of Illinois:
    # isolation through the full depth round castings.
    included = defaults.table("pay_items")["included_in"]
    assert included["joint_insert"] == "partial_depth_patch"
    assert included["expansion_felt"] == "full_depth_panel|casting_box_out"  # a casting in a replaced panel has felt too
    assert "joint_insert" not in one(defaults, "full_depth", full_sqyd=20.0, full_pay_sqyd=20.0, joint_ft=50.0)
    assert "expansion_felt" not in one(defaults, "partial_depth", **SURVEYED)


def partial_by_hand(waste: float) -> dict[str, float]:
    """54 sq ft, 3 in deep, 60 ft sawn: 13.5 cu ft = 0.5 cu yd; 54 + 60 x 3 / 12 = 69 sq ft bonded, 1/16 in thick."""
    return {
        "partial_depth_patch": 60, "patch_milling": 54, "patch_saw_cut": 60, "patch_mix": (1.15 if waste else 1) * 0.5,
        "bonding_grout": (1.1 if waste else 1) * 69 * 144 / 16 / 231, "joint_insert": (1.05 if waste else 1) * 20,
        "curing_compound": 54 / 150, "crack_filling": 120, "joint_resealing": 80, "joint_preparation": 200,
        "sealant": (1.15 if waste else 1) * (200 + 20) * GAL_PER_FT, "curb_and_gutter": 30, "casting_adjustment": 2, "cross_stitching": 16, "slab_jacking": 20,
        "slab_stabilisation": 40, "dowel_bar_retrofit": 36, "diamond_grinding": 1066.7, "grinding_surface": 1066.7,
        "slurry_handling": 1066.7}


@pytest.mark.parametrize("waste", [True, False])
def test_partial_depth_by_hand(defaults: Assumptions, waste: bool) -> None:
    # Panels and box-outs stay.
    given = defaults if waste else without_waste(defaults)
    assert one(given, "partial_depth", **SURVEYED) == pytest.approx(partial_by_hand(waste))


def test_full_depth_by_hand(bare: Assumptions) -> None:
    # 40 sq yd + 25 sq ft = 385 sq ft, 42.78 sq yd, at 8 in 256.67 cu ft.
    assert one(bare, "full_depth", **SURVEYED) == pytest.approx({
        **partial_by_hand(False), "full_depth_panel": 41, "casting_box_out": 1, "saw_cut": 108, "removal_full": 385 / 9,
        "base_repair": 385 / 9, "dowel": 44, "basket_dowel": 11, "tie_bar": 12, "concrete_full": 385 * 8 / 12 / 27,
        "new_joint": 96, "sealant": (296 + 20) * GAL_PER_FT, "curing_compound": (54 + 385) / 150, "expansion_felt": 10,
        "box_out_steel": 25 * 1.336})


def test_reconstruction_by_hand(bare: Assumptions) -> None:
    # The whole block, both curbs and all castings, whatever the survey found; no grinding of new concrete. 8 in is
    # dowelled at 12 in (SUDAS 5G-2): 720 ft of joint, 720 bars; 600 ft tied at 30 in: 240.
    found = one(bare, "reconstruction", **SURVEYED)
    assert found == pytest.approx({
        "pavement_reconstruction": 1200, "removal_reconstruction": 1200, "base_reconstruction": 1200,
        "concrete_reconstruction": 10_800 * 8 / 12 / 27, "curing_compound": 72, "new_joint": 1320,
        "sealant": 1320 * GAL_PER_FT, "basket_dowel": 720, "tie_bar_placed": 240, "curb_and_gutter": 600,
        "curb_ramp": 4, "casting_adjustment": 2})
    # SUDAS 5G-2: joints of 6 to 7 in are plain.
    assert "basket_dowel" not in one(bare, "reconstruction", {"thickness_in": 7.0})


def test_curb_ramps_come_with_the_alteration_alone(defaults: Assumptions) -> None:
    # Joint technical assistance of DOJ and DOT, 8 July 2013, and its supplement Q12: reconstruction is an alteration;
    # patching, grinding, joint repairs and dowel retrofit are maintenance. Alleys have no curb.
    ramps = {strategy: one(defaults, strategy, **SURVEYED).get("curb_ramp", 0.0) for strategy in tables.STRATEGIES}
    assert ramps == {"none": 0, "partial_depth": 0, "full_depth": 0, "reconstruction": 4}
    alley = one(defaults, "reconstruction", {"functional_class": "alley"})
    assert "curb_ramp" not in alley and "curb_and_gutter" not in alley
    none = reader.overlay(defaults, {"defaults": {"ramps_with_reconstruction": 0}})
    assert "curb_ramp" not in one(none, "reconstruction")


@pytest.mark.parametrize(("need", "strategy", "striped"), [
    ({}, "partial_depth", False), ({"crack_ft": 50.0}, "partial_depth", False), ({"grind_sqyd": 9.0}, "partial_depth", True),
    ({"partial_sqft": 9.0}, "partial_depth", True), ({"retrofit_bars": 6.0}, "partial_depth", True),
    ({"full_sqyd": 9.0}, "partial_depth", False), ({"full_sqyd": 9.0}, "full_depth", True),
    ({"box_outs": 1.0}, "full_depth", True), ({}, "full_depth", False), ({}, "reconstruction", True)])
def test_lines_are_painted_where_something_is_ground_or_placed(defaults: Assumptions, need: dict[str, float],
                                                              strategy: str, striped: bool) -> None:
    # An arterial carries four lines; local streets carry none (common practice, no source).
    found = one(defaults, strategy, {"functional_class": "arterial"}, **need)
    assert found.get("striping", 0.0) == (4 * 300 if striped else 0)
    assert "striping" not in one(defaults, strategy, **need)


def test_a_block_without_needs_takes_nothing(defaults: Assumptions) -> None:
    assert one(defaults, "none", **SURVEYED) == {}
    assert one(defaults, "partial_depth", partial_depth_in=2.0) == one(defaults, "full_depth", partial_depth_in=2.0) == {}


@pytest.mark.parametrize("strategy", tables.STRATEGIES[1:])
def test_every_item_is_measured_somewhere(defaults: Assumptions, strategy: str) -> None:
    arterial = {"functional_class": "arterial"}
    everywhere = {item for name in tables.STRATEGIES for item in one(defaults, name, arterial, **SURVEYED)}
    assert everywhere == set(defaults.table("pay_items").index)
    assert set(one(defaults, strategy, arterial, **SURVEYED)) < everywhere


def test_an_unknown_strategy_or_item_is_a_fault(defaults: Assumptions) -> None:
    with pytest.raises(KeyError, match="no strategy overlay"):
        one(defaults, "overlay")
    short = Assumptions({**defaults.tables, "pay_items": defaults.table("pay_items").drop(index="sealant")},
                        defaults.sources)
    with pytest.raises(KeyError, match="no pay item sealant"):
        one(short, "partial_depth")


def test_the_list_says_what_the_wide_table_says(defaults: Assumptions) -> None:
    city = pd.DataFrame({"block_id": ["A", "B"], "functional_class": ["arterial", "alley"], "length_ft": [300.0, 200.0],
                         "thickness_in": [9.0, 6.0], "area_sqft": [10_800.0, 3_000.0], "curb_ft": [600.0, 400.0],
                         "panels": [60.0, 17.0], "castings": [2.0, np.nan]}, index=[7, 7])
    need = pd.DataFrame([{**NUMBERS, **SURVEYED}, {**NUMBERS, "full_sqyd": 30.0, "full_pay_sqyd": 30.0}], index=[3, 9])
    before = city.copy(deep=True), need.copy(deep=True)
    wide = takeoff.measure(city, need, "full_depth", defaults)
    pd.testing.assert_frame_equal(city, before[0])
    pd.testing.assert_frame_equal(need, before[1])
    keys = pd.DataFrame({"block_id": ["A", "B"], "year": [2027, 2028], "strategy": "full_depth"}, dtype=object).astype(
        {"block_id": "str", "year": "int64", "strategy": "str"})
    listed = takeoff.as_list(keys, wide, defaults)
    tables.check("quantities", listed)
    back = listed.pivot_table(index="block_id", columns="pay_item", values="quantity").reindex(columns=wide.columns)
    back = back.fillna(0.0)
    assert np.array_equal(back.to_numpy(), wide.to_numpy())
    assert (listed["quantity"] > 0).all()
    units = dict(zip(listed["pay_item"], listed["unit"], strict=True))
    assert units["curing_compound"] == "gal" and units["concrete_full"] == "cuyd" and units["striping"] == "ft"
    assert units["full_depth_panel"] == "sqyd" and units["partial_depth_patch"] == "sqft"
    assert set(units.values()) == {"sqft", "sqyd", "ft", "each", "cuyd", "gal", "lb"}


def test_blocks_are_measured_each_by_itself(defaults: Assumptions) -> None:
    rng = np.random.default_rng(5)
    city = pd.DataFrame({"functional_class": rng.choice(tables.CLASSES, 40), "length_ft": 300.0, "thickness_in": 8.0,
                         "area_sqft": 9_000.0, "panels": 50.0, "transverse_joint_ft": 600.0,
                         "longitudinal_joint_ft": 300.0, "curb_ft": 600.0, "castings": 3.0})
    need = pd.DataFrame({name: rng.uniform(0, 50, 40) for name in NUMBERS})
    for strategy in tables.STRATEGIES:
        whole = takeoff.measure(city, need, strategy, defaults)
        for row in (0, 17, 39):
            own = takeoff.measure(city.iloc[[row]], need.iloc[[row]], strategy, defaults)
            assert np.array_equal(own.to_numpy()[0], whole.to_numpy()[row])
