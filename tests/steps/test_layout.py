"""Layout and hardware: published rules, worked by hand, and validity over random surveys."""

from collections.abc import Callable
from functools import cache

import numpy as np
import pandas as pd
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from rehab.base import tables
from rehab.base.settings import Assumptions
from rehab.inputs import assumptions as reader
from rehab.steps import layout, network

Maker = Callable[..., pd.DataFrame]
FHWA = {"layout_rules": {"full.least_remainder_ft": 6, "full.beyond_damage_ft": 0}}  # FHWA full5: 6 ft stay


def lay_out(assumptions: Assumptions, city: pd.DataFrame, *rows: dict[str, object]) -> pd.DataFrame:
    usual = {"block_id": "B001", "panel_row": 5, "panel_column": 2, "severity": "high", "y_ft": 0.0, "width_ft": 12.0}
    defects = tables.with_types("defects", pd.DataFrame([{**usual, **row} for row in rows]))
    return layout.lay_out(city, defects, assumptions)


def one_block(blocks: Maker, assumptions: Assumptions, **more: object) -> pd.DataFrame:
    return network.build(blocks({"panels_broken": 1, **more}), assumptions)


def test_crack_in_a_15_ft_dowelled_panel_by_the_fhwa_rules(blocks: Maker, defaults: Assumptions) -> None:
    # FHWA, Full-Depth Repairs 5.1: 6 ft least length, 6 ft to the next joint, 1 ft past a dowelled joint.
    # By hand: crack 4-6 ft -> 2-8 ft; 2 < 6, so to the joint and 1 ft past: -1 to 8 = 9 ft; 15 - 8 = 7 stays.
    rules = reader.overlay(defaults, FHWA)
    city = one_block(blocks, rules, dowelled=True)
    repair = lay_out(rules, city, {"defect": "linear crack", "x_ft": 4.0, "length_ft": 2.0}).iloc[0]
    assert (repair["x_ft"], repair["length_ft"]) == pytest.approx((60 - 1, 9))
    assert repair["area_sqft"] == pytest.approx(108) and repair["area_sqft"] / 9 == pytest.approx(12)
    assert repair["area_sqft"] * 8 / 12 / 27 == pytest.approx(2.667, abs=5e-4)  # cu yd at 8 in
    assert repair["dowels"] == 24  # 12 ft, 6 in from the edges, 12 in apart: 12 at each end


def test_crack_in_a_12_ft_panel_takes_the_whole_panel(blocks: Maker, defaults: Assumptions) -> None:
    # The same crack in a 12-ft panel by hand: 2-8 leaves 4 ft < 6 on the far side: both joints, 1 ft past each.
    rules = reader.overlay(defaults, FHWA)
    crack = {"defect": "linear crack", "x_ft": 4.0, "length_ft": 2.0}
    dowelled = lay_out(rules, one_block(blocks, rules, dowelled=True, panel_length_ft=12.0), crack).iloc[0]
    plain = lay_out(rules, one_block(blocks, rules, dowelled=False, panel_length_ft=12.0), crack).iloc[0]
    assert (dowelled["x_ft"], dowelled["length_ft"]) == pytest.approx((47, 14))
    assert dowelled["area_sqft"] / 9 == pytest.approx(18.67, abs=5e-3)
    assert (plain["x_ft"], plain["length_ft"]) == pytest.approx((48, 12))
    assert plain["area_sqft"] / 9 == pytest.approx(16.0)


def test_damage_without_a_position_keeps_its_size(blocks: Maker, defaults: Assumptions) -> None:
    # By hand: panel 5 begins at 60 ft, column 2 lies from 12 to 24 ft.  A spall of 7 x 5 ft begins at the joint and is
    # cut 2 in beyond on its three other sides; a hollow of 6 x 4 ft lies in the middle and is cut 2 in beyond on all.
    city = one_block(blocks, defaults)
    nowhere = {"x_ft": np.nan, "y_ft": np.nan, "length_ft": 7.0, "width_ft": 5.0}
    spall = lay_out(defaults, city, {"defect": "joint spall", **nowhere}).iloc[0]
    assert (spall["x_ft"], spall["length_ft"]) == pytest.approx((60, 7 + 2 / 12))
    assert (spall["y_ft"], spall["width_ft"]) == pytest.approx((18 - 2.5 - 2 / 12, 5 + 4 / 12))
    hollow = lay_out(defaults, city, {"defect": "hollow area", **nowhere, "length_ft": 6.0, "width_ft": 4.0}).iloc[0]
    assert (hollow["x_ft"], hollow["length_ft"]) == pytest.approx((67.5 - 3 - 2 / 12, 6 + 4 / 12))
    assert (hollow["y_ft"], hollow["width_ft"]) == pytest.approx((18 - 2 - 2 / 12, 4 + 4 / 12))
    sizeless = {**nowhere, "length_ft": np.nan, "width_ft": np.nan}
    whole = lay_out(defaults, city, {"defect": "hollow area", **sizeless}).iloc[0]
    assert whole["area_sqft"] == pytest.approx(15 * 12)


def test_three_feet_may_stay_by_default(blocks: Maker, defaults: Assumptions) -> None:
    # Common practice, no source: the smallest part of a panel that may stay is 3 ft.
    assert defaults.number("layout_rules", "full.least_remainder_ft") == 3
    city = one_block(blocks, defaults)
    repair = lay_out(defaults, city, {"defect": "linear crack", "x_ft": 6.0, "length_ft": 2.0}).iloc[0]
    assert (repair["x_ft"], repair["length_ft"]) == pytest.approx((64, 6))  # 4-10 ft: 4 and 5 ft stay
    near = lay_out(defaults, city, {"defect": "linear crack", "x_ft": 4.0, "length_ft": 1.0}).iloc[0]
    assert (near["x_ft"], near["length_ft"]) == pytest.approx((60, 7.5))  # 1.5-7.5 ft: 1.5 ft would stay, so it goes


def test_a_spall_by_the_rules_of_ufc_3_270_03(blocks: Maker, defaults: Assumptions) -> None:
    # UFC 3-270-03 Table 3.1: 2 in beyond on each side, least side 6 in (Army): 5 x 3 in becomes 9 x 6 in by hand
    # where no joint is near; Navy: 12 x 12 in.
    army = reader.overlay(defaults, {"layout_rules": {"partial.least_side_in": 6, "partial.least_remainder_in": 6}})
    city = one_block(blocks, army)
    spall = {"defect": "joint spall", "x_ft": 7.0, "length_ft": 5 / 12, "y_ft": 4.0, "width_ft": 3 / 12, "depth_in": 1.5}
    patch = lay_out(army, city, spall).iloc[0]
    # 3 in + 2 + 2 = 7 in > 6 in: away from the joint both sides are widened
    assert (patch["length_ft"], patch["width_ft"]) == pytest.approx((9 / 12, 7 / 12))
    assert patch["depth_in"] == pytest.approx(2.0)  # 1/2 in into sound concrete, at least 2 in
    at_joint = lay_out(army, city, {**spall, "y_ft": 0.0}).iloc[0]
    assert (at_joint["length_ft"], at_joint["width_ft"]) == pytest.approx((9 / 12, 6 / 12))  # 3 + 2 < 6 in
    navy = lay_out(defaults, city, spall).iloc[0]
    assert (navy["length_ft"], navy["width_ft"]) == pytest.approx((1.0, 1.0))


@pytest.mark.parametrize(("limit", "kind"), [(0.33, "full depth"), (0.50, "partial depth")])
def test_depth_turns_partial_into_full(blocks: Maker, defaults: Assumptions, limit: float, kind: str) -> None:
    # FHWA: the top third; other texts half. Damage 2.2 in + 1/2 in = 2.7 in; 8 in: a third 2.67, half 4.0.
    rules = reader.overlay(defaults, {"layout_rules": {"partial.greatest_depth_share": limit}})
    spall = {"defect": "joint spall", "x_ft": 7.0, "length_ft": 1.0, "y_ft": 4.0, "width_ft": 1.0, "depth_in": 2.2}
    repairs = lay_out(rules, one_block(blocks, rules), spall)
    assert repairs["kind"].tolist() == [kind]


def test_patches_on_both_sides_of_a_joint_stay_two(blocks: Maker, defaults: Assumptions) -> None:
    # UFC 3-270-03 note 4: never bridge a joint.
    left = {"defect": "joint spall", "x_ft": 14.5, "length_ft": 0.5, "y_ft": 3.0, "width_ft": 2.0, "depth_in": 1.0}
    repairs = lay_out(defaults, one_block(blocks, defaults), left, {**left, "panel_row": 6, "x_ft": 0.0})
    assert len(repairs) == 2
    assert repairs["x_ft"].iloc[0] + repairs["length_ft"].iloc[0] == pytest.approx(repairs["x_ft"].iloc[1])


def test_near_patches_become_one(blocks: Maker, defaults: Assumptions) -> None:
    # Concrete Pavement Preservation Guide (from memory): patches nearer than 12 in are joined.
    first = {"defect": "corner spall", "x_ft": 3.0, "length_ft": 1.0, "y_ft": 4.0, "width_ft": 1.0, "depth_in": 1.0}
    city = one_block(blocks, defaults)
    assert len(lay_out(defaults, city, first, {**first, "x_ft": 5.0})) == 1  # 1 ft less 4 in between
    assert len(lay_out(defaults, city, first, {**first, "x_ft": 6.0})) == 2  # 2 ft less 4 in between


@pytest.mark.parametrize(("thickness", "published", "eighth"), [
    # National Concrete Consortium (2009): 6-7.5 in 1.000, 8-10 in 1.250, 10.5-12.5 in 1.500.
    # Common practice, no source: an eighth of the thickness, so 3/4 in for 6 in.
    (6, 1.0, 0.75), (7.5, 1.0, 0.9375), (8, 1.25, 1.0), (10, 1.25, 1.25), (10.5, 1.5, 1.3125), (12, 1.5, 1.5)])
def test_dowel_diameters(defaults: Assumptions, thickness: float, published: float, eighth: float) -> None:
    assert layout.dowel_diameter_in(thickness, defaults, "published") == published
    assert layout.dowel_diameter_in(thickness, defaults, "eighth") == eighth
    assert defaults.text("dowels", "rule") == "eighth"


@pytest.mark.parametrize(("width", "curb", "bars"), [(12, 0.0, 12), (10, 0.0, 10), (12, 2.0, 10)])
def test_dowels_across_a_lane(defaults: Assumptions, width: float, curb: float, bars: int) -> None:
    # SUDAS fig. 7010.101: 12 in apart; from 6 in off the edge; SUDAS 5G-2: none within 24 in of the back of curb.
    assert layout.dowel_count(width, curb, defaults).iloc[0] == bars


def test_hardware_sizes(defaults: Assumptions) -> None:
    assert defaults.number("dowels", "length_in") == 18  # SUDAS fig. 7010.101
    assert defaults.number("dowels", "hole_over_in") == 0.125  # UFC 3-270-04: epoxy hole at most 1/8 in over
    assert layout.tie_bar_count(9.9, defaults).iloc[0] == 0  # Ohio 255.05: ties from 10 ft on
    assert layout.tie_bar_count(15.0, defaults).iloc[0] == 6  # 180 in at 30 in


defect_rows = st.lists(st.fixed_dictionaries({
    "panel_row": st.integers(1, 20), "panel_column": st.integers(1, 3),
    "defect": st.sampled_from(tables.DEFECTS), "severity": st.sampled_from(tables.SEVERITIES),
    "x_ft": st.one_of(st.none(), st.floats(0, 14)), "y_ft": st.one_of(st.none(), st.floats(0, 11)),
    "length_ft": st.one_of(st.none(), st.floats(0, 15)), "width_ft": st.one_of(st.none(), st.floats(0, 12)),
    "depth_in": st.one_of(st.none(), st.floats(0, 8)),
}), min_size=1, max_size=25)


@cache
def surveyed(dowelled: bool, remainder: float) -> tuple[Assumptions, pd.DataFrame]:
    assumptions = reader.overlay(reader.defaults(), {"layout_rules": {"full.least_remainder_ft": remainder}})
    block = tables.with_types("blocks", pd.DataFrame([{
        "block_id": "B001", "length_ft": 300.0, "width_ft": 36.0, "panel_length_ft": 15.0, "panel_width_ft": 12.0,
        "thickness_in": 8.0, "functional_class": "local", "year_built": 1986, "surveyed_on": "2026-06-01",
        "dowelled": dowelled, "panels_broken": 1}]))
    return assumptions, network.build(block, assumptions)


@given(defect_rows, st.booleans(), st.sampled_from([2.0, 3.0, 6.0]))
@settings(max_examples=150, deadline=None, phases=(Phase.generate, Phase.reuse))
def test_every_layout_is_valid(rows: list[dict[str, object]], dowelled: bool, remainder: float) -> None:
    assumptions, city = surveyed(dowelled, remainder)
    repairs = lay_out(assumptions, city, *rows)
    x0, y0 = repairs["x_ft"].to_numpy(), repairs["y_ft"].to_numpy()
    x1, y1 = x0 + repairs["length_ft"].to_numpy(), y0 + repairs["width_ft"].to_numpy()
    assert (x0 >= -1e-9).all() and (x1 <= 300 + 1e-9).all() and (y0 >= -1e-9).all() and (y1 <= 36 + 1e-9).all()
    assert (repairs["area_sqft"] > 0).all()
    apart_x = np.maximum.outer(x0, x0) - np.minimum.outer(x1, x1)
    apart_y = np.maximum.outer(y0, y0) - np.minimum.outer(y1, y1)
    overlap = (apart_x < -1e-9) & (apart_y < -1e-9)
    np.fill_diagonal(overlap, False)
    assert not overlap.any()
    full = repairs[repairs["kind"] == "full depth"]
    assert np.allclose(full["width_ft"], 12.0)
    assert (full["length_ft"] >= 6 - 1e-9).all()
    joints = np.arange(0, 301, 15.0)
    for column in full["y_ft"].unique():
        own = full[full["y_ft"] == column].sort_values("x_ft")
        for start, length in own[["x_ft", "length_ft"]].itertuples(index=False):
            before = start - joints[joints <= start + 1e-6].max()
            after = joints[joints >= start + length - 1e-6].min() - start - length
            for stays in (before, after):
                assert abs(stays) < 1e-6 or stays >= remainder - 1e-6
        gaps = own["x_ft"].to_numpy()[1:] - (own["x_ft"] + own["length_ft"]).to_numpy()[:-1]
        assert (gaps >= remainder - 1e-6).all()


def test_counts_alone_use_a_whole_panel(blocks: Maker, defaults: Assumptions) -> None:
    city = one_block(blocks, defaults)
    per = layout.per_panel(city, tables.empty("defects"), tables.empty("repairs"), defaults).iloc[0]
    # By hand: 15 x 12 ft = 20 sq yd; 2 of 3 columns at a curb: (2 x 10 + 12) / 3 bars an end; ties 6; saw 54 ft
    assert per["sqyd"] == pytest.approx(20) and per["dowels"] == pytest.approx(2 * 32 / 3)
    assert per["tie_bars"] == 6 and per["saw_ft"] == 54
    assert np.isnan(per["full_share"])
