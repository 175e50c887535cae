"""Layout and hardware against published rules and worked examples, each recomputed by hand beside its test."""

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from rehab.base import tables
from rehab.base.settings import Assumptions
from rehab.inputs import assumptions as reader
from rehab.steps import findings, layout, network
from rehab.steps.layout import rules as layout_rules

Maker = Callable[..., pd.DataFrame]
#: FHWA, Full-Depth Repairs 5.1: 6 ft stay; the repair grows evenly about the damage, as its figures show
FHWA: dict[str, object] = {"full.least_remainder_ft": 6, "full.beyond_damage_ft": 0, "full.grow": "about the damage"}
CRACK = {"defect": "linear crack", "x_ft": 4.0, "length_ft": 2.0}


def city_values(assumptions: Assumptions, rows: dict[str, object]) -> Assumptions:
    return reader.overlay(assumptions, {"layout_rules": rows})  # type: ignore[dict-item]


def lay_out(assumptions: Assumptions, city: pd.DataFrame, *rows: dict[str, object]) -> pd.DataFrame:
    usual = {"block_id": "B001", "panel_row": 5, "panel_column": 2, "severity": "high", "y_ft": 0.0, "width_ft": 12.0}
    defects = tables.with_types("defects", pd.DataFrame([{**usual, **row} for row in rows]))
    return layout.lay_out(city, findings.judge(city, defects, assumptions), assumptions)


def one_block(blocks: Maker, assumptions: Assumptions, **more: object) -> pd.DataFrame:
    return network.build(blocks({"panels_broken": 1, **more}), assumptions)


# --- full depth -------------------------------------------------------------------------------------------------------

def test_crack_in_a_15_ft_dowelled_panel_by_the_fhwa_rules(blocks: Maker, defaults: Assumptions) -> None:
    # FHWA, Full-Depth Repairs 5.1: 6 ft least length, 6 ft to the next joint, 1 ft past a dowelled joint.
    # By hand: crack 4-6 ft -> 2-8 ft; 2 < 6, so to the joint and 1 ft past: -1 to 8 = 9 ft; 15 - 8 = 7 stays.
    rules = city_values(defaults, FHWA)
    repair = lay_out(rules, one_block(blocks, rules, dowelled=True), CRACK).iloc[0]
    assert (repair["x_ft"], repair["length_ft"]) == pytest.approx((60 - 1, 9))
    assert repair["area_sqft"] == pytest.approx(108) and repair["area_sqft"] / 9 == pytest.approx(12)
    assert repair["area_sqft"] * 8 / 12 / 27 == pytest.approx(2.667, abs=5e-4)  # cu yd at 8 in
    assert repair["dowels"] == 24  # 12 ft, 6 in from the edges, 12 in apart: 12 at each end
    # Transverse cuts 24 ft, the sides 2 x 9 ft, and one cut more across: no piece is longer than 6 ft (Missouri 613.1).
    assert repair["saw_ft"] == pytest.approx(24 + 18 + 12)
    assert {"full.least_remainder_ft", "full.past_dowelled_joint_ft"} <= set(repair["why"].split(" | "))


def test_crack_in_a_12_ft_panel_takes_the_whole_panel(blocks: Maker, defaults: Assumptions) -> None:
    # The same crack in a 12-ft panel by hand: 2-8 leaves 4 ft < 6 on the far side: both joints, 1 ft past each.
    rules = city_values(defaults, FHWA)
    dowelled = lay_out(rules, one_block(blocks, rules, dowelled=True, panel_length_ft=12.0), CRACK).iloc[0]
    plain = lay_out(rules, one_block(blocks, rules, dowelled=False, panel_length_ft=12.0), CRACK).iloc[0]
    assert (dowelled["x_ft"], dowelled["length_ft"]) == pytest.approx((47, 14))
    assert dowelled["area_sqft"] / 9 == pytest.approx(18.67, abs=5e-3)
    assert (plain["x_ft"], plain["length_ft"]) == pytest.approx((48, 12))
    assert plain["area_sqft"] / 9 == pytest.approx(16.0)


def test_the_same_crack_at_least_cost(blocks: Maker, defaults: Assumptions) -> None:
    # By hand: the damage 4-6 ft needs a cut at the joint or 1 ft past (4 < 6) and may end at 6 (15 - 6 = 9 stays):
    # -1 to 6 = 7 ft obeys every rule and is shorter than the 9 ft above.
    rules = city_values(defaults, {**FHWA, "full.grow": "least cost"})
    repair = lay_out(rules, one_block(blocks, rules, dowelled=True), CRACK).iloc[0]
    assert (repair["x_ft"], repair["length_ft"]) == pytest.approx((59, 7))


def test_crack_by_the_rules_of_ufc_3_270_04(blocks: Maker, defaults: Assumptions) -> None:
    # UFC 3-270-04 par. 4.3: least length 10 ft or half the slab, so 7.5 ft of 15; a cut is 2 ft or more from a joint.
    # By hand: 4-6 ft grown evenly is 1.25-8.75; 1.25 < 2, so from the joint: 0 to 7.5.
    rules = city_values(defaults, {"full.least_remainder_ft": 2, "full.beyond_damage_ft": 0,
                                   "full.least_length_dowelled_ft": 7.5})
    repair = lay_out(rules, one_block(blocks, rules), CRACK).iloc[0]
    assert (repair["x_ft"] - 60, repair["length_ft"]) == pytest.approx((0, 7.5))


@pytest.mark.parametrize(("bars", "least"), [("yes", 6.0), ("no", 8.0)])
def test_least_length_with_and_without_dowels(blocks: Maker, defaults: Assumptions, bars: str, least: float) -> None:
    # FHWA, Full-Depth Repairs 5.1: 6 ft with dowels, 8 to 10 ft where aggregate interlock alone carries load across.
    rules = city_values(defaults, {"full.repairs_dowelled": bars})
    repair = lay_out(rules, one_block(blocks, rules), {**CRACK, "x_ft": 6.5, "length_ft": 1.0}).iloc[0]
    assert repair["length_ft"] == pytest.approx(least)
    assert (repair["dowels"] > 0) == (bars == "yes")


@pytest.mark.parametrize(("remainder", "begin", "length"), [(2.0, 2.0, 6.0), (3.0, 3.0, 6.0), (6.0, 0.0, 6.0)])
def test_smallest_part_of_a_panel_that_may_stay(blocks: Maker, defaults: Assumptions, remainder: float, begin: float,
                                                length: float) -> None:
    # Common practice, no source: 3 ft; UFC 3-270-04: 2 ft; FHWA full5: 6 ft.  Damage 3.5-5.5 ft, widened by nothing.
    # By hand, 6 ft long: grown evenly it begins at 1.5, too near the joint for each: the nearest valid 2, 3 or 0.
    assert defaults.number("layout_rules", "full.least_remainder_ft") == 3
    rules = city_values(defaults, {"full.least_remainder_ft": remainder, "full.beyond_damage_ft": 0,
                                   "full.keep_from_cracks": "no"})
    repair = lay_out(rules, one_block(blocks, rules), {**CRACK, "x_ft": 3.5}).iloc[0]
    at_joint = (0.0, 6.0)  # one new joint less for the same area: preferred where both are valid
    assert (repair["x_ft"] - 60, repair["length_ft"]) == pytest.approx(at_joint)
    # Without that choice, for the damage reaches beyond 6 ft, the cut lies where the remainder allows.
    far = lay_out(rules, one_block(blocks, rules), {**CRACK, "x_ft": 3.5, "length_ft": 3.0}).iloc[0]
    assert (far["x_ft"] - 60, far["length_ft"]) == pytest.approx((begin, length) if begin else (0.0, 6.5))


def test_a_crack_that_stays_counts_as_a_joint(blocks: Maker, defaults: Assumptions) -> None:
    # FHWA, Full-Depth Repairs 5.1: the remainder is measured to the next transverse joint or crack.
    # By hand: damage 7-8 ft, a tight crack at 11 ft, 3 ft stay: a cut between 8 and 11 ft leaves less than 3 ft to it.
    city = one_block(blocks, defaults)
    tight = {"defect": "transverse crack", "severity": "low", "x_ft": 11.0, "length_ft": 0.0}
    damage = {"defect": "corner break", "x_ft": 7.0, "length_ft": 1.0}
    rules = city_values(defaults, {"full.beyond_damage_ft": 0})
    beside = lay_out(rules, city, damage, tight).iloc[0]
    end = beside["x_ft"] - 60 + beside["length_ft"]
    assert end <= 8.0 + 1e-9 or end >= 11.0 - 1e-9
    free = city_values(rules, {"full.beyond_damage_ft": 0, "full.keep_from_cracks": "no"})
    assert lay_out(free, city, damage, tight)["x_ft"].iloc[0] - 60 == pytest.approx(4.5)  # evenly about the damage
    wide = lay_out(rules, city, {**damage, "length_ft": 2.5}, tight).iloc[0]  # 7-9.5: the crack goes with it
    assert wide["x_ft"] - 60 + wide["length_ft"] >= 11.0


# --- joining ----------------------------------------------------------------------------------------------------------

@pytest.mark.parametrize(("thickness", "width", "feet"), [
    # Distance under which two full-depth repairs are joined, from memory (paving bulletin on full-depth repair).
    (7, 9, 17), (7, 12, 13), (8, 10, 13), (8, 12, 11), (9, 11, 11), (10, 12, 9), (11, 9, 11), (12, 12, 8)])
def test_published_distance(defaults: Assumptions, thickness: float, width: float, feet: float) -> None:
    assert layout.published_join_ft(thickness, width, defaults) == feet
    # The table follows a constant volume of about 90 cu ft between the two: within a foot everywhere.
    assert 90 * 12 / (thickness * width) == pytest.approx(feet, abs=1)


def test_outside_the_table_the_volume_holds(defaults: Assumptions) -> None:
    # 90 cu ft at 6 in x 10 ft by hand: 90 / (0.5 x 10) = 18 ft.
    assert layout.published_join_ft(6, 10, defaults) == pytest.approx(18)


@pytest.mark.parametrize(("gap", "repairs", "area_sqyd", "dowels"), [(10, 1, 29.33, 24), (12, 2, 16.0, 48)])
def test_two_repairs_by_the_published_distance(blocks: Maker, defaults: Assumptions, gap: float, repairs: int,
                                               area_sqyd: float, dowels: int) -> None:
    # 8 in, 12 ft wide: 11 ft.  By hand: 6 + 10 + 6 = 22 ft x 12 = 29.33 sq yd, 6.52 cu yd, 24 dowels instead of 48;
    # 12 ft apart: two of 6 ft, 16.0 sq yd.
    rules = city_values(defaults, {"full.join": "published", "full.beyond_damage_ft": 0, "full.piece_ft": 15})
    city = one_block(blocks, rules, panel_length_ft=30.0)
    damage = {"defect": "utility cut", "x_ft": 3.0, "length_ft": 6.0}
    rules = city_values(rules, {"full.join": "published", "full.beyond_damage_ft": 0, "utility.whole_panel_within_ft": 0})
    laid = lay_out(rules, city, {**damage, "defect": "corner break"}, {**damage, "defect": "corner break", "x_ft": 9.0 + gap})
    assert len(laid) == repairs
    assert laid["area_sqft"].sum() / 9 == pytest.approx(area_sqyd, abs=5e-3)
    assert laid["dowels"].sum() == dowels
    if repairs == 1:
        assert laid["area_sqft"].iloc[0] * 8 / 12 / 27 == pytest.approx(6.52, abs=5e-3)


def test_two_repairs_by_the_unit_prices(blocks: Maker, defaults: Assumptions) -> None:
    # gap < (2 ends + one repair more) / (width x price of the area), by hand from the rows of pay_items.
    price = {key: defaults.number("pay_items", key) for key in
             ("saw_cut", "new_joint", "dowel", "removal_full", "base_repair", "concrete_full")}
    end = 12 * (price["saw_cut"] + price["new_joint"]) + 12 * price["dowel"]
    area = (price["removal_full"] + price["base_repair"]) / 9 + price["concrete_full"] * 8 / 12 / 27
    distance = (2 * end + defaults.number("layout_rules", "full.each_usd")) / (12 * area)
    assert layout.economic_join_ft(8, 12, 12, defaults) == pytest.approx(distance)
    city = one_block(blocks, defaults, panel_length_ft=60.0, length_ft=300.0)
    side_by_side = layout.join_distances(city.iloc[0], defaults)
    assert side_by_side == pytest.approx({"published": 11, "unit prices": distance})
    for gap, count in ((distance - 0.2, 1), (distance + 0.2, 2)):
        damage = {"defect": "corner break", "panel_row": 2, "x_ft": 10.0, "length_ft": 6.0}
        rules = city_values(defaults, {"full.beyond_damage_ft": 0})
        assert len(lay_out(rules, city, damage, {**damage, "x_ft": 16.0 + gap})) == count


# --- utility cuts and castings ----------------------------------------------------------------------------------------

@pytest.mark.parametrize(("beyond", "length"), [(0.5, 9.0), (1.0, 10.0)])
def test_utility_cut_is_sawn_beyond_the_excavation(blocks: Maker, defaults: Assumptions, beyond: float,
                                                   length: float) -> None:
    # UFC 3-270-04: saw 6 to 12 in beyond the excavation: 8 ft becomes 9 or 10 ft; a full width of a panel below 20 ft.
    rules = city_values(defaults, {"utility.beyond_ft": beyond})
    repair = lay_out(rules, one_block(blocks, rules, panel_length_ft=30.0),
                     {"defect": "utility cut", "x_ft": 10.0, "length_ft": 8.0, "y_ft": 4.0, "width_ft": 3.0}).iloc[0]
    assert (repair["length_ft"], repair["width_ft"]) == pytest.approx((length, 12))


@pytest.mark.parametrize(("apart", "whole"), [(4.0, True), (6.0, False)])
def test_utility_cut_near_another_takes_the_panel(blocks: Maker, defaults: Assumptions, apart: float,
                                                  whole: bool) -> None:
    # Seattle: a cut within 5 ft of another: the full panel.
    cut = {"defect": "utility cut", "x_ft": 4.0, "length_ft": 3.0}
    laid = lay_out(defaults, one_block(blocks, defaults, panel_length_ft=30.0), cut,
                   {**cut, "severity": "low", "x_ft": 7.0 + apart})
    assert (laid["length_ft"].iloc[0] == pytest.approx(30)) == whole


def test_casting_is_boxed_out_square_and_clear(blocks: Maker, defaults: Assumptions) -> None:
    # Iowa construction manual 9.30: about 12 in clear of the ring; joint layout rules: no strip below 2 ft.
    # By hand: a 2-ft frame at 6-8 ft, 5-7 ft across: 5-9 by 4-8 ft, 4 ft left to the joint at the right; at 2-4 ft along
    # the box would begin 1 ft from the joint: it begins at the joint.
    city = one_block(blocks, defaults)
    frame = {"defect": "casting", "x_ft": 6.0, "length_ft": 2.0, "y_ft": 5.0, "width_ft": 2.0}
    box = lay_out(defaults, city, frame).iloc[0]
    assert box["kind"] == "casting box-out" and box["depth_in"] == 8
    assert box[["x_ft", "length_ft", "y_ft", "width_ft"]].tolist() == pytest.approx([65, 4, 16, 4])
    assert box["insert_ft"] == pytest.approx(16)  # expansion felt all round
    near = lay_out(defaults, city, {**frame, "x_ft": 2.0}).iloc[0]
    assert (near["x_ft"], near["length_ft"]) == pytest.approx((60, 5))


def test_no_saw_cut_runs_close_to_a_casting(blocks: Maker, defaults: Assumptions) -> None:
    # Joint layout rules: slabs below 2 ft wide are avoided.  By hand: damage 4-6 ft, a casting at 8-10 ft: a cut at 6.5
    # lies 1.5 ft before it, so the repair ends at 6 at most, or goes 2 ft beyond the frame.
    city = one_block(blocks, defaults, panel_length_ft=30.0)
    casting = {"defect": "casting", "severity": "low", "x_ft": 8.0, "length_ft": 2.0, "y_ft": 5.0, "width_ft": 2.0}
    rules = city_values(defaults, {"full.beyond_damage_ft": 0.5})
    end = lay_out(rules, city, {**CRACK, "defect": "corner break"}, casting).eval("x_ft + length_ft").iloc[0] - 120
    assert end >= 12.0 - 1e-9
    clear = city_values(defaults, {"full.beyond_damage_ft": 0})
    end = lay_out(clear, city, {**CRACK, "defect": "corner break"}, casting).eval("x_ft + length_ft").iloc[0] - 120
    assert end == pytest.approx(6.0)


# --- partial depth ----------------------------------------------------------------------------------------------------

def test_damage_without_a_position_keeps_its_size(blocks: Maker, defaults: Assumptions) -> None:
    # By hand: panel 5 begins at 60 ft, column 2 lies from 12 to 24 ft.  A spall of 7 x 5 ft begins at the joint and is
    # cut 2 in beyond on its three other sides; a hollow of 6 x 4 ft lies in the middle, is marked outward to 3 in and cut
    # 2 in beyond on all.
    city = one_block(blocks, defaults)
    rules = city_values(defaults, {"partial.replace_when_dearer": "no"})
    nowhere = {"x_ft": np.nan, "y_ft": np.nan, "length_ft": 7.0, "width_ft": 5.0}
    spall = lay_out(rules, city, {"defect": "joint spall", **nowhere}).iloc[0]
    assert (spall["x_ft"], spall["length_ft"]) == pytest.approx((60, 7 + 2 / 12))
    assert (spall["y_ft"], spall["width_ft"]) == pytest.approx((18 - 2.5 - 2 / 12, 5 + 4 / 12))
    hollow = lay_out(rules, city, {"defect": "hollow area", **nowhere, "length_ft": 6.0, "width_ft": 4.0}).iloc[0]
    assert (hollow["x_ft"], hollow["length_ft"]) == pytest.approx((67.5 - 3 - 2 / 12, 6 + 4 / 12))
    assert (hollow["y_ft"], hollow["width_ft"]) == pytest.approx((18 - 2 - 2 / 12, 4 + 4 / 12))
    sizeless = {**nowhere, "length_ft": np.nan, "width_ft": np.nan}
    whole = lay_out(rules, city, {"defect": "hollow area", **sizeless}).iloc[0]
    assert whole["area_sqft"] == pytest.approx(15 * 12)


def test_a_spall_by_the_rules_of_ufc_3_270_03(blocks: Maker, defaults: Assumptions) -> None:
    # UFC 3-270-03 Table 3.1: 2 in beyond on each side, least side 6 in (Army): 5 x 3 in becomes 9 x 6 in by hand
    # where its joint is one side; Navy: 12 x 12 in.
    army = city_values(defaults, {"partial.least_side_in": 6, "partial.least_remainder_in": 6})
    city = one_block(blocks, army)
    spall = {"defect": "joint spall", "x_ft": 7.0, "length_ft": 5 / 12, "y_ft": 4.0, "width_ft": 3 / 12, "depth_in": 1.5}
    patch = lay_out(army, city, spall).iloc[0]
    # 3 in + 2 + 2 = 7 in > 6 in: away from the joint both sides are widened
    assert (patch["length_ft"], patch["width_ft"]) == pytest.approx((9 / 12, 7 / 12))
    assert patch["depth_in"] == pytest.approx(2.0)  # 1/2 in into sound concrete, at least 2 in
    at_joint = lay_out(army, city, {**spall, "y_ft": 0.0}).iloc[0]
    assert (at_joint["length_ft"], at_joint["width_ft"]) == pytest.approx((9 / 12, 6 / 12))  # 3 + 2 < 6 in
    assert at_joint["area_sqft"] == pytest.approx(0.375) and at_joint["pay_sqft"] == 1
    assert at_joint["area_sqft"] * 2 / 12 == pytest.approx(0.0625)  # cu ft, 2 in deep
    navy = lay_out(defaults, city, spall).iloc[0]
    assert (navy["length_ft"], navy["width_ft"]) == pytest.approx((1.0, 1.0))
    assert navy["area_sqft"] * navy["depth_in"] / 12 == pytest.approx(0.167, abs=5e-4)


@pytest.mark.parametrize(("limit", "kind"), [(0.33, "full depth"), (0.50, "partial depth")])
def test_depth_turns_partial_into_full(blocks: Maker, defaults: Assumptions, limit: float, kind: str) -> None:
    # FHWA: the top third; other texts half. Damage 2.2 in + 1/2 in = 2.7 in; 8 in: a third 2.67, half 4.0.
    rules = city_values(defaults, {"partial.greatest_depth_share": limit})
    spall = {"defect": "joint spall", "x_ft": 7.0, "length_ft": 1.0, "y_ft": 4.0, "width_ft": 1.0, "depth_in": 2.2}
    repairs = lay_out(rules, one_block(blocks, rules), spall)
    assert repairs["kind"].tolist() == [kind]


def test_patches_on_both_sides_of_a_joint_stay_two(blocks: Maker, defaults: Assumptions) -> None:
    # UFC 3-270-03 note 4: never bridge a joint; an insert in the joint along each.
    left = {"defect": "joint spall", "x_ft": 14.5, "length_ft": 0.5, "y_ft": 3.0, "width_ft": 2.0, "depth_in": 1.0}
    repairs = lay_out(defaults, one_block(blocks, defaults), left, {**left, "panel_row": 6, "x_ft": 0.0})
    assert len(repairs) == 2
    assert repairs["x_ft"].iloc[0] + repairs["length_ft"].iloc[0] == pytest.approx(repairs["x_ft"].iloc[1])
    # By hand 2 ft + 2 in on both sides: the board is as long as the patch, the saw cut has its three other sides.
    assert repairs["insert_ft"].tolist() == pytest.approx([2 + 4 / 12] * 2)
    assert repairs["saw_ft"].tolist() == pytest.approx([2 + 4 / 12 + 2 * 1.0] * 2)


def test_near_patches_become_one(blocks: Maker, defaults: Assumptions) -> None:
    # Concrete Pavement Preservation Guide (from memory): patches nearer than 12 in are joined.
    first = {"defect": "corner spall", "x_ft": 3.0, "length_ft": 1.0, "y_ft": 4.0, "width_ft": 1.0, "depth_in": 1.0}
    city = one_block(blocks, defaults)
    assert len(lay_out(defaults, city, first, {**first, "x_ft": 5.0})) == 1  # 1 ft less 4 in between
    assert len(lay_out(defaults, city, first, {**first, "x_ft": 6.0})) == 2  # 2 ft less 4 in between


@pytest.mark.parametrize(("patches", "laid"), [(2, 2), (3, 1)])
def test_more_than_two_patches_along_one_joint_take_the_joint(blocks: Maker, defaults: Assumptions, patches: int,
                                                             laid: int) -> None:
    # Concrete Pavement Preservation Guide (from memory): more than two along one joint: the whole joint length.
    at = [{"defect": "joint spall", "x_ft": 0.0, "length_ft": 0.5, "y_ft": y, "width_ft": 1.0, "depth_in": 1.0}
          for y in (1.5, 5.5, 9.0)]
    repairs = lay_out(defaults, one_block(blocks, defaults), *at[:patches])
    assert len(repairs) == laid
    assert (repairs["width_ft"].max() == pytest.approx(12)) == (laid == 1)


def test_a_panel_is_replaced_where_patching_costs_more(blocks: Maker, defaults: Assumptions) -> None:
    # By hand from the prices: 8.08 x 8.33 ft at $45 are $3,031, at $25 $1,684; a repair of 9.92 x 12 ft from the joint
    # is $1,951 by its parts: 119 sq ft at (25 + 10) / 9 and 260 x 8 / 12 / 27, two ends of 12 ft at 5 + 3 with 12 dowels
    # at 18, and 100.
    hollow = {"defect": "hollow area", "x_ft": 2.0, "length_ft": 7.7, "y_ft": 2.0, "width_ft": 8.0}
    city = one_block(blocks, defaults)
    laid = lay_out(defaults, city, hollow)
    assert laid["kind"].tolist() == ["full depth"] and laid["length_ft"].iloc[0] == pytest.approx(9 + 11 / 12)
    assert "partial.replace_when_dearer" in laid["why"].iloc[0]
    cheap = reader.overlay(defaults, {"pay_items": {"partial_depth_patch": 25}})
    assert lay_out(cheap, city, hollow)["kind"].tolist() == ["partial depth"]


def test_a_patch_beside_a_full_depth_repair_keeps_what_is_outside(blocks: Maker, defaults: Assumptions) -> None:
    # By hand: a repair 0-6 ft; a spall of 1 x 10 ft along the longitudinal joint from 3 ft on: 3-6 ft goes with the
    # repair, 6-13 ft and 2 in stay a patch.
    corner = {"defect": "corner break", "x_ft": 0.0, "length_ft": 4.0}
    spall = {"defect": "joint spall", "x_ft": 3.0, "length_ft": 10.0, "y_ft": 0.0, "width_ft": 1.0, "depth_in": 1.0}
    laid = lay_out(defaults, one_block(blocks, defaults), corner, spall).set_index("kind")
    full, patch = laid.loc["full depth"], laid.loc["partial depth"]
    assert (full["x_ft"], full["length_ft"]) == pytest.approx((60, 6))
    assert (patch["x_ft"], patch["length_ft"]) == pytest.approx((66, 7 + 2 / 12))


def test_patches_part_at_a_crack_that_stays(blocks: Maker, defaults: Assumptions) -> None:
    # UFC 3-270-03 note 4: never bridge a joint or crack.  By hand: spall 6-8 ft, cut 5.83-8.17, crack at 7: two parts.
    city = one_block(blocks, defaults)
    crack = {"defect": "transverse crack", "severity": "low", "x_ft": 7.0, "length_ft": 0.0}
    spall = {"defect": "joint spall", "severity": "low", "x_ft": 6.0, "length_ft": 2.0, "y_ft": 3.0, "width_ft": 2.0}
    parts = lay_out(defaults, city, crack, spall)
    assert parts["x_ft"].tolist() == pytest.approx([60 + 6 - 2 / 12, 67])
    assert (parts["x_ft"] + parts["length_ft"]).tolist() == pytest.approx([67, 60 + 8 + 2 / 12])
    # Near a joint a part is widened to it, for a strip of 0.7 ft would break off.
    near = lay_out(defaults, city, {**crack, "x_ft": 1.7}, {**spall, "x_ft": 1.4, "length_ft": 0.6})
    assert near["x_ft"].iloc[0] == pytest.approx(60)
    # A casting that the patch takes in keeps it whole: no saw cut through the frame.
    casting = {"defect": "casting", "severity": "low", "x_ft": 6.5, "length_ft": 2.0, "y_ft": 3.0, "width_ft": 2.0}
    assert len(lay_out(defaults, city, crack, spall, casting)) == 1


def test_patches_that_crowd_repairs_never_stop_a_layout(blocks: Maker, defaults: Assumptions) -> None:
    # Three repairs crowd one dear patch: each alone would save it, one repair does.
    city = one_block(blocks, defaults, length_ft=45.0, width_ft=12.0, dowelled=True)
    usual = {"panel_column": 1, "y_ft": 0.0, "width_ft": 12.0}
    laid = lay_out(defaults, city, {**usual, "panel_row": 2, "defect": "scaling", "x_ft": 0.0, "length_ft": 13.0},
                   {**usual, "panel_row": 1, "defect": "patch", "x_ft": 13.3, "length_ft": 0.5},
                   {**usual, "panel_row": 3, "defect": "patch", "x_ft": 3.6, "length_ft": 0.5})
    assert laid["kind"].tolist() == ["full depth"]
    whole = city_values(defaults, {"partial.replace_when_dearer": "no"})
    odd = one_block(blocks, whole, length_ft=95.9, panel_length_ft=13.7)
    patch = lay_out(whole, odd, {"panel_row": 1, "defect": "scaling", "x_ft": np.nan, "y_ft": np.nan, "width_ft": np.nan}).iloc[0]
    assert patch["kind"] == "partial depth" and patch["saw_ft"] == pytest.approx(0, abs=1e-6)  # joints all round


# --- hardware ---------------------------------------------------------------------------------------------------------

@pytest.mark.parametrize(("thickness", "published", "eighth"), [
    # National Concrete Consortium (2009): 6-7.5 in 1.000, 8-10 in 1.250, 10.5-12.5 in 1.500.
    # Common practice, no source: an eighth of the thickness, so 3/4 in for 6 in.
    (6, 1.0, 0.75), (7.5, 1.0, 0.9375), (8, 1.25, 1.0), (10, 1.25, 1.25), (10.5, 1.5, 1.3125), (12, 1.5, 1.5)])
def test_dowel_diameters(defaults: Assumptions, thickness: float, published: float, eighth: float) -> None:
    assert layout.dowel_diameter_in(thickness, defaults, "published") == published
    assert layout.dowel_diameter_in(thickness, defaults, "eighth") == eighth
    assert defaults.text("dowels", "rule") == "eighth"


@pytest.mark.parametrize(("width", "curb", "bars"), [(12, 0.0, 12), (10, 0.0, 10), (12, 2.0, 10), (1, 0.0, 1), (0.5, 0, 0)])
def test_dowels_across_a_lane(defaults: Assumptions, width: float, curb: float, bars: int) -> None:
    # SUDAS fig. 7010.101: 12 in apart; from 6 in off the edge; SUDAS 5G-2: none within 24 in of the back of curb.
    assert layout.dowel_count(width, curb, defaults) == bars


def test_dowels_12_in_from_the_edge(defaults: Assumptions) -> None:
    # By hand: (144 - 24) / 12 + 1 = 11.
    assert layout.dowel_count(12, 0.0, reader.overlay(defaults, {"dowels": {"edge_in": 12}})) == 11


def test_dowels_in_the_wheel_paths_only_and_fewer_where_cars_park(blocks: Maker, defaults: Assumptions) -> None:
    # From memory: 4 to 5 in each wheel path.  Common practice, no source: fewer where cars park; none near the curb.
    paths = reader.overlay(defaults, {"dowels": {"pattern": "wheel paths"}})
    assert layout.dowel_count(12, 0.0, paths) == 8 and layout.dowel_count(5, 0.0, paths) == 5
    corner = {"defect": "corner break", "x_ft": 0.0, "length_ft": 3.0}
    parked = one_block(blocks, defaults, parking_ft=400.0)
    laid = lay_out(defaults, parked, {**corner, "panel_column": 1}, {**corner, "panel_row": 9})
    # By hand at the curb: 144 - 6 - 24 = 114 in; 114 / 24 + 1 = 5 each end; in the middle column 12.
    assert laid.sort_values("panel_column")["dowels"].tolist() == [10, 24]


def test_no_dowels_in_thin_slabs(blocks: Maker, defaults: Assumptions) -> None:
    # SUDAS 5G-2: dowels from 8 in on; by default here from 6 in.
    sudas = reader.overlay(defaults, {"dowels": {"from_thickness_in": 8}})
    corner = {"defect": "corner break", "x_ft": 0.0, "length_ft": 3.0}
    thin = lay_out(sudas, one_block(blocks, sudas, thickness_in=7.5), corner).iloc[0]
    assert (thin["dowels"], thin["dowel_diameter_in"], thin["length_ft"]) == pytest.approx((0, 0, 8))


def test_hardware_sizes(defaults: Assumptions) -> None:
    assert defaults.number("dowels", "length_in") == 18  # SUDAS fig. 7010.101
    assert layout.hole_in(1.25, defaults) == 1.375  # UFC 3-270-04: epoxy hole at most 1/8 in over
    assert layout.tie_bar_count(9.9, defaults) == 0  # Ohio 255.05: ties from 10 ft on
    assert layout.tie_bar_count(15.0, defaults) == 6  # 180 in at 30 in


def test_a_cut_shared_by_two_repairs_counts_once(blocks: Maker, defaults: Assumptions) -> None:
    # Missouri 613.1: one longitudinal joint shared by two repaired lanes counts once; its example: 6 ft x 24 ft.
    # By hand: 2 x 24 ft across and 3 x 6 ft along = 66 ft.
    corner = {"defect": "corner break", "x_ft": 0.0, "length_ft": 3.0}
    laid = lay_out(defaults, one_block(blocks, defaults), corner, {**corner, "panel_column": 3})
    assert laid["length_ft"].tolist() == pytest.approx([6, 6])
    assert laid["saw_ft"].sum() == pytest.approx(2 * 24 + 3 * 6) == laid["joint_ft"].sum()


def test_joints_inside_long_repairs_are_remade(blocks: Maker, defaults: Assumptions) -> None:
    # Two whole panels of 15 ft: one joint between them, with dowels in a basket; ties from 10 ft on at 30 in: 12.
    broken = {"defect": "broken panel", "x_ft": 0.0, "length_ft": 15.0}
    repair = lay_out(defaults, one_block(blocks, defaults), broken, {**broken, "panel_row": 6}).iloc[0]
    assert (repair["length_ft"], repair["inner_joints"], repair["basket_dowels"]) == pytest.approx((30, 1, 12))
    assert (repair["dowels"], repair["tie_bars"]) == (24, 12)
    assert repair["cause"] == "1; 2" and repair["joint_ft"] == pytest.approx(2 * (30 + 12) + 12)


def test_least_area_paid(blocks: Maker, defaults: Assumptions) -> None:
    # Iowa/SUDAS 7040: a patch below 2 sq yd counts as 2; 6 x 12 ft = 8.0 sq yd.  By hand: 3 ft x 4 ft = 1.33 sq yd.
    narrow = one_block(blocks, defaults, width_ft=8.0, panel_width_ft=4.0, length_ft=300.0)
    rules = city_values(defaults, {"full.least_length_dowelled_ft": 4, "full.least_remainder_ft": 2})
    small = lay_out(rules, narrow, {"defect": "corner break", "x_ft": 0.0, "length_ft": 1.0, "width_ft": 2.0}).iloc[0]
    assert (small["area_sqft"] / 9, small["pay_sqft"] / 9) == pytest.approx((16 / 9, 2.0))
    usual = lay_out(defaults, one_block(blocks, defaults), {"defect": "corner break", "x_ft": 0.0, "length_ft": 1.0}).iloc[0]
    assert usual["pay_sqft"] / 9 == pytest.approx(8.0)


def test_counts_alone_take_whole_panels_and_corners(blocks: Maker, defaults: Assumptions) -> None:
    city = one_block(blocks, defaults)
    per = layout.per_panel(city, tables.empty("findings"), tables.empty("repairs"), defaults).iloc[0]
    # By hand: 15 x 12 ft = 20 sq yd; 2 of 3 columns at a curb: (2 x 10 + 12) / 3 bars an end; ties 6; 54 ft round and two
    # cuts across to lift it.  A corner: 6 ft of it, 8 sq yd.
    assert per["whole_sqyd"] == pytest.approx(20) and per["whole_dowels"] == pytest.approx(2 * 32 / 3)
    assert per["whole_tie_bars"] == 6 and per["whole_saw_ft"] == pytest.approx(54 + 24)
    assert per["part_sqyd"] == pytest.approx(8) and per["part_tie_bars"] == 0
    assert np.isnan(per["full_share"])
    dowelled = layout.per_panel(one_block(blocks, defaults, dowelled=True), tables.empty("findings"),
                                tables.empty("repairs"), defaults).iloc[0]
    assert dowelled["whole_sqyd"] == pytest.approx(17 * 12 / 9)  # FHWA: 1 ft past both dowelled joints


def test_a_corner_of_a_short_dowelled_panel_takes_all_of_it(blocks: Maker, defaults: Assumptions) -> None:
    # By hand: 7 ft long; 6 ft from 1 ft past the joint leave 2 ft < 3: the whole panel, 1 ft past both joints, 9 x 12 ft.
    city = one_block(blocks, defaults, panel_length_ft=7.0, length_ft=294.0, dowelled=True)
    per = layout.per_panel(city, tables.empty("findings"), tables.empty("repairs"), defaults).iloc[0]
    assert (per["part_sqyd"], per["whole_sqyd"]) == pytest.approx((12, 12))


def test_rules_speak_of_feet(defaults: Assumptions) -> None:
    rules = layout_rules.rules_of(8.0, defaults)
    assert (rules.partial_side_ft, rules.partial_beyond_ft) == pytest.approx((1.0, 2 / 12))
