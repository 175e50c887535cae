"""Quantities by hand for one block of each strategy, with published yields."""

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from rehab.base import tables
from rehab.base.settings import Assumptions
from rehab.inputs import assumptions as reader
from rehab.steps import layout, needs, network, takeoff

Maker = Callable[..., pd.DataFrame]
NEEDS = {"partial_sqft": 0.0, "partial_depth_in": 2.0, "crack_ft": 0.0, "reseal_ft": 0.0, "grind_sqyd": 0.0,
         "full_sqyd": 0.0, "curb_ft": 0.0, "castings": 0.0, "saw_ft": 0.0, "dowels": 0.0, "tie_bars": 0.0}


def one(assumptions: Assumptions, strategy: str, block: dict[str, object] | None = None,
        **need: float) -> dict[str, float]:
    """Quantities that are not zero, for a local block of 300 x 36 ft, 8 in thick."""
    city = pd.DataFrame([{"block_id": "B001", "functional_class": "local", "length_ft": 300.0, "thickness_in": 8.0,
                          "area_sqft": 10_800.0, "curb_ft": 600.0, "castings": 2.0, **(block or {})}])
    row = takeoff.measure(city, pd.DataFrame([{**NEEDS, **need}]), strategy, assumptions).iloc[0]
    return {str(item): float(value) for item, value in row.items() if value != 0}


def test_concrete_for_a_repair_of_12_by_6_feet(defaults: Assumptions) -> None:
    # By hand: 12 x 6 ft = 72 sq ft = 8 sq yd; 8 in deep: 48 cu ft = 1.778 cu yd.
    bare = reader.overlay(defaults, {"pay_items": {"concrete_full": 1.0}})
    found = one(bare, "full_depth", full_sqyd=8.0)
    assert found["full_depth_panel"] == 8 and found["concrete_full"] == pytest.approx(48 / 27)
    # The waste factor of 1.1 is common practice, no source.
    assert one(defaults, "full_depth", full_sqyd=8.0)["concrete_full"] == pytest.approx(1.1 * 48 / 27)


def test_concrete_of_the_fhwa_layout_example(defaults: Assumptions) -> None:
    # FHWA Full-Depth Repairs 5.1, by hand: 9 x 12 ft at 8 in = 2.667 cu yd.
    bare = reader.overlay(defaults, {"pay_items": {"concrete_full": 1.0}})
    assert one(bare, "full_depth", full_sqyd=12.0)["concrete_full"] == pytest.approx(2.667, abs=5e-4)


def test_curing_compound_by_ohio_255(defaults: Assumptions) -> None:
    # Ohio 255.06: at least 1 gal per 150 sq ft; by hand 264 / 150 = 1.76 gal, at 200 sq ft 1.32 gal.
    assert one(defaults, "full_depth", full_sqyd=264 / 9)["curing_compound"] == pytest.approx(1.76)
    wide = reader.overlay(defaults, {"pay_items": {"curing_compound": 200}})
    assert one(wide, "full_depth", full_sqyd=264 / 9)["curing_compound"] == pytest.approx(1.32)
    both = one(defaults, "full_depth", full_sqyd=200 / 9, partial_sqft=64.0)
    assert both["curing_compound"] == pytest.approx(1.76)  # patches and panels are both covered


def test_a_ground_lane_mile_is_7040_square_yards(blocks: Maker, defaults: Assumptions) -> None:
    # Arithmetic: 5,280 x 12 / 9 = 7,040. With no strip left at the curb, one lane of 12 ft, one mile long.
    bare = reader.overlay(defaults, {"defaults": {"grind_curb_strip_ft": 0}})
    city = network.build(blocks({"length_ft": 5280.0, "width_ft": 12.0, "panels_broken": 0}), bare)
    per_panel = layout.per_panel(city, tables.empty("defects"), tables.empty("repairs"), bare)
    need = needs.measure(city, per_panel, bare)
    assert takeoff.measure(city, need, "partial_depth", bare)["diamond_grinding"].iloc[0] == pytest.approx(7040)


def test_partial_depth_by_hand(defaults: Assumptions) -> None:
    found = one(defaults, "partial_depth", partial_sqft=54.0, partial_depth_in=3.0, crack_ft=120.0, reseal_ft=80.0,
                grind_sqyd=1066.7, full_sqyd=40.0, curb_ft=30.0, castings=1.0, saw_ft=108.0, dowels=44.0, tie_bars=12.0)
    # 54 sq ft x 3 in = 13.5 cu ft = 0.5 cu yd, with 15 % waste; panels, curb and castings stay.
    assert found == pytest.approx({"partial_depth_patch": 54, "patch_mix": 1.15 * 0.5, "crack_filling": 120,
                                   "joint_resealing": 80, "diamond_grinding": 1066.7, "curing_compound": 54 / 150})


def test_full_depth_by_hand(defaults: Assumptions) -> None:
    found = one(defaults, "full_depth", partial_sqft=54.0, partial_depth_in=3.0, crack_ft=120.0, reseal_ft=80.0,
                grind_sqyd=1066.7, full_sqyd=40.0, curb_ft=30.0, castings=1.0, saw_ft=108.0, dowels=44.0, tie_bars=12.0)
    # 40 sq yd = 360 sq ft at 8 in = 240 cu ft, with 10 % waste
    assert found == pytest.approx({
        "partial_depth_patch": 54, "patch_mix": 1.15 * 0.5, "crack_filling": 120, "joint_resealing": 80,
        "diamond_grinding": 1066.7, "full_depth_panel": 40, "concrete_full": 1.1 * 240 / 27, "curb_and_gutter": 30,
        "casting_adjustment": 1, "saw_cut": 108, "dowel": 44, "tie_bar": 12, "curing_compound": (54 + 360) / 150})


def test_reconstruction_by_hand(defaults: Assumptions) -> None:
    # The whole block, both curbs and all castings, whatever the survey found; no grinding of new concrete.
    found = one(defaults, "reconstruction", partial_sqft=54.0, full_sqyd=40.0, grind_sqyd=1066.7)
    assert found == pytest.approx({
        "pavement_reconstruction": 1200, "curb_and_gutter": 600, "casting_adjustment": 2,
        "concrete_reconstruction": 1.05 * 10_800 * 8 / 12 / 27, "curing_compound": 72})


def test_an_alley_has_no_curb_and_an_arterial_four_lines(defaults: Assumptions) -> None:
    assert "curb_and_gutter" not in one(defaults, "reconstruction", {"functional_class": "alley"})
    assert one(defaults, "partial_depth", {"functional_class": "arterial"})["striping"] == 4 * 300
    assert "striping" not in one(defaults, "partial_depth")  # local streets carry no lines, common practice


def test_no_work_takes_nothing(defaults: Assumptions) -> None:
    assert one(defaults, "none", partial_sqft=54.0, full_sqyd=40.0) == {}


def test_an_unknown_strategy_is_a_fault(defaults: Assumptions) -> None:
    with pytest.raises(KeyError):
        one(defaults, "overlay")


def test_the_list_says_what_the_wide_table_says(defaults: Assumptions) -> None:
    city = pd.DataFrame({"block_id": ["A", "B"], "functional_class": ["arterial", "alley"], "length_ft": [300.0, 200.0],
                         "thickness_in": [9.0, 6.0], "area_sqft": [10_800.0, 3_000.0], "curb_ft": [600.0, 400.0],
                         "castings": [2.0, np.nan]})
    need = pd.DataFrame([{**NEEDS, "partial_sqft": 12.0, "grind_sqyd": 900.0}, {**NEEDS, "full_sqyd": 30.0}])
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
