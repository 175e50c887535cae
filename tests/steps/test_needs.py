"""Survey to needs: shares by hand, caps, what is estimated, and intensity that stays."""

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rehab.base import rating, tables
from rehab.base.settings import Assumptions
from rehab.inputs import assumptions as reader
from rehab.steps import findings, layout, needs, network

Maker = Callable[..., pd.DataFrame]
#: 300 x 36 ft, 20 x 3 panels of 15 x 12 ft: 20 sq yd each, by hand
PANELS = 60


def survey(blocks: pd.DataFrame, assumptions: Assumptions, *defects: dict[str, object]) -> tuple[pd.DataFrame, ...]:
    """The network, what one panel takes, and the needs of the survey year."""
    city = network.build(blocks, assumptions)
    seen = tables.with_types("defects", pd.DataFrame(defects)) if defects else tables.empty("defects")
    found = findings.judge(city, seen, assumptions)
    repairs = layout.lay_out(city, found, assumptions)
    per_panel = layout.per_panel(city, layout.leave(found, repairs), repairs, assumptions)
    city = city.assign(estimated=city["estimated"] & ~city["block_id"].isin(seen["block_id"]))
    return city, per_panel, needs.measure(city, per_panel, assumptions)


def test_counts_to_panels_by_hand(blocks: Maker, defaults: Assumptions) -> None:
    # Full depth: broken + sunken + corner breaks (FHWA Full-Depth Repairs, Table 1).
    *_, need = survey(blocks({"panels_broken": 3, "panels_sunken": 2, "corner_breaks": 1, "panels_cracked": 10,
                              "spalled_joint_ft": 36.0, "cracked_ft": 140.0, "sunken_curb_ft": 60.0,
                              "wide_joint_ft": 132.0, "castings": 10}), defaults)
    row = need.iloc[0]
    assert row["panels_full"] == pytest.approx(6) and row["full_share"] == pytest.approx(6 / PANELS)
    # By hand: 5 whole panels of 20 sq yd, and 6 ft of one for its broken corner (FHWA: least length 6 ft); cuts round
    # them, and two more across a whole panel, for no piece longer than 6 ft is lifted (Missouri 613.1).
    assert (row["panels_whole"], row["panels_part"]) == pytest.approx((5, 1))
    assert row["full_sqyd"] == pytest.approx(5 * 20 + 6 * 12 / 9)
    assert row["saw_ft"] == pytest.approx(5 * (2 * (15 + 12) + 2 * 12) + 2 * (6 + 12))
    assert row["joint_ft"] == pytest.approx(5 * 2 * (15 + 12) + 2 * (6 + 12))
    assert row["jackable_panels"] == pytest.approx(1)  # half the settled panels, a proposal
    assert row["partial_share"] == pytest.approx(36 / 6 / PANELS)  # 6 ft a panel, a setting
    assert row["partial_ft"] == pytest.approx(36) and row["partial_sqft"] == pytest.approx(36)  # 1 ft wide
    assert row["cracked_share"] == pytest.approx((10 + 3 + 1) / PANELS)
    # Cracks on replaced panels are not filled: not on the 4 broken ones, nor on the 2 of the other 56 that are sunken.
    assert row["crack_ft"] == pytest.approx(10 * (1 - 2 / 56) * 140 / 14)
    assert row["sunken_share"] == pytest.approx(2 / PANELS)
    assert row["curb_share"] == pytest.approx(60 / 600) and row["curb_ft"] == pytest.approx(60)  # both sides
    assert row["wide_joint_share"] == pytest.approx(132 / (20 * 36 + 2 * 300))
    assert row["reseal_ft"] == pytest.approx(132 * (1 - 6 / PANELS))  # the joints of replaced panels are new
    assert row["castings"] == pytest.approx(10 * 6 / PANELS)
    assert not row["estimated"]
    assert row["grind_sqyd"] == pytest.approx(300 * (36 - 2 * 2) / 9)  # Pennsylvania 514: not within 2 ft of curbs


def test_what_a_count_leaves_out_is_none_seen(blocks: Maker, defaults: Assumptions) -> None:
    *_, need = survey(blocks({"panels_cracked": 0}), defaults)
    zero = ["full_share", "partial_share", "cracked_share", "sunken_share", "curb_share", "wide_joint_share",
            "partial_sqft", "crack_ft", "reseal_ft", "curb_ft", "castings", "distress_level"]
    assert (need[zero].to_numpy(float) == 0).all() and need["index"].iloc[0] == 100
    assert not need["estimated"].iloc[0]


def test_hollow_area_needs_partial_depth(blocks: Maker, defaults: Assumptions) -> None:
    # By hand: 120 sq ft over 6 ft x 1 ft a panel are 20 panels; the area patched is what sounded hollow.
    *_, need = survey(blocks({"panels_broken": 0, "hollow_sqft": 120.0}), defaults)
    assert need["partial_share"].iloc[0] == pytest.approx(20 / PANELS)
    assert need["partial_sqft"].iloc[0] == pytest.approx(120)
    # Hollow area within what the counted feet cover already adds nothing.
    *_, both = survey(blocks({"panels_broken": 0, "hollow_sqft": 50.0, "spalled_joint_ft": 120.0}), defaults)
    assert both["partial_share"].iloc[0] == pytest.approx(20 / PANELS)
    assert both["partial_sqft"].iloc[0] == pytest.approx(120)


def test_shares_are_capped(blocks: Maker, defaults: Assumptions) -> None:
    *_, need = survey(blocks(
        {"panels_broken": 60, "panels_sunken": 60, "corner_breaks": 60, "panels_cracked": 60, "sunken_curb_ft": 9999.0,
         "wide_joint_ft": 99999.0, "spalled_joint_ft": 99999.0, "hollow_sqft": 1e6},
        {"panels_broken": 15, "spalled_joint_ft": 99999.0, "hollow_sqft": 1e6}), defaults)
    shares = [name for name in need.columns if name.endswith("_share")]
    assert (need[shares] <= 1).all().all()
    assert need["full_share"].tolist() == [1, 0.25] and need["partial_share"].tolist() == [0, 0.75]
    # no more is patched than the panels measure: 45 panels of 180 sq ft
    assert need["partial_sqft"].tolist() == pytest.approx([0, 45 * 180])
    assert need["index"].iloc[0] == 0


@pytest.mark.parametrize(("given", "index"), [
    ({"condition_index": 55.0}, 55), ({"rating_1_10": 4.0}, 45), ({"condition_word": " Poor "}, 45)])
def test_index_rating_and_word_are_estimated(blocks: Maker, defaults: Assumptions, given: dict[str, object],
                                             index: float) -> None:
    # Expected: the rows index.55, index.45, rating.4 and word.poor of the table rating_to_shares, our proposal.
    *_, need = survey(blocks(given), defaults)
    row = need.iloc[0]
    assert row["estimated"] and row["index"] == index
    assert (row["partial_share"], row["full_share"]) == pytest.approx((0.24, 0.008) if index == 55 else (0.28, 0.12))
    assert row["cracked_share"] == pytest.approx(row["full_share"] + 0.5 * row["partial_share"])
    assert row["partial_ft"] == pytest.approx(row["partial_share"] * PANELS * 6)


def test_an_index_beside_counts_is_held_and_the_shares_come_from_the_counts(blocks: Maker,
                                                                            defaults: Assumptions) -> None:
    *_, need = survey(blocks({"panels_broken": 6, "condition_index": 88.0}), defaults)
    assert need["index"].iloc[0] == 88 and need["full_share"].iloc[0] == pytest.approx(0.1)
    assert not need["estimated"].iloc[0]


def test_a_panel_survey_outranks_counts_and_index(blocks: Maker, defaults: Assumptions) -> None:
    # Two whole panels broken and one joint spall of 2 x 1 ft; the counts of the table say otherwise.
    broken = {"block_id": "B001", "defect": "broken panel", "severity": "high"}
    spall = {"block_id": "B001", "panel_row": 9, "panel_column": 2, "defect": "joint spall", "severity": "high",
             "x_ft": 7.0, "length_ft": 2.0, "y_ft": 4.0, "width_ft": 1.0, "depth_in": 1.0}
    seen = ({**broken, "panel_row": 3, "panel_column": 1}, {**broken, "panel_row": 15, "panel_column": 3}, spall)
    _, per_panel, need = survey(blocks({"panels_broken": 30, "spalled_joint_ft": 300.0}), defaults, *seen)
    assert need["full_share"].iloc[0] == pytest.approx(2 / PANELS)
    assert need["partial_share"].iloc[0] == pytest.approx(1 / PANELS)
    assert need["partial_sqft"].iloc[0] == pytest.approx(per_panel["patch_sqft"].iloc[0])
    # UFC 3-270-03 Table 3.1: 2 in beyond the damage on every side: 28 x 16 in
    assert need["partial_sqft"].iloc[0] == pytest.approx(28 * 16 / 144)
    _, _, from_index = survey(blocks({"condition_index": 20.0}), defaults, *seen)
    assert from_index["full_share"].iloc[0] == pytest.approx(2 / PANELS) and not from_index["estimated"].iloc[0]


def test_feet_of_crack_without_a_count_of_panels_are_filled_all_the_same(blocks: Maker, defaults: Assumptions) -> None:
    *_, need = survey(blocks({"panels_broken": 0, "cracked_ft": 96.0},
                              {"panels_broken": 0, "cracked_ft": 1e5}), defaults)
    assert need["crack_ft"].iloc[0] == pytest.approx(96) and need["cracked_share"].iloc[0] == pytest.approx(8 / PANELS)
    assert need["cracked_share"].iloc[1] == 1


def test_partial_never_above_the_rest_with_a_panel_survey(blocks: Maker, defaults: Assumptions) -> None:
    city, per_panel, _ = survey(blocks({"panels_broken": 1}), defaults)
    need = needs.measure(city, per_panel.fillna(0.0).assign(full_share=0.7, partial_share=0.6, patch_sqft=50.0), defaults)
    assert (need["full_share"].iloc[0], need["partial_share"].iloc[0]) == pytest.approx((0.7, 0.3))


def test_intensity_is_the_blocks_own_and_stays(blocks: Maker, defaults: Assumptions) -> None:
    city, per_panel, need = survey(blocks({"panels_broken": 6, "spalled_joint_ft": 120.0, "hollow_sqft": 300.0,
                                           "panels_cracked": 4, "cracked_ft": 80.0}), defaults)
    each = needs.intensity(city, need, per_panel, defaults)
    again = needs.scale(city, need[list(need.columns)], each)
    pd.testing.assert_frame_equal(tables.check("needs", tables.with_types("needs", again)), need)
    grown = need.assign(full_share=need["full_share"] * 2, partial_share=need["partial_share"] * 1.5, year=2031)
    later = needs.scale(city, grown, each).iloc[0]
    for name in ("full_sqyd", "dowels", "tie_bars", "saw_ft", "panels_full"):
        assert later[name] == pytest.approx(2 * need[name].iloc[0])
    for name in ("partial_ft", "partial_sqft"):
        assert later[name] == pytest.approx(1.5 * need[name].iloc[0])
    assert later["partial_depth_in"] == need["partial_depth_in"].iloc[0]
    assert later["year"] == 2031


def test_dowels_are_retrofitted_where_load_transfer_is_poor_and_panels_are_sound(blocks: Maker,
                                                                                  defaults: Assumptions) -> None:
    # FP2, Load transfer restoration: load transfer below 60 %, faulting 0.12 to 0.5 in, under 10 % of slabs broken;
    # 3 bars per wheel path.  A lane-mile of 15-ft joints by hand: 5280 / 15 = 352 joints x 6 = 2,112 bars.
    poor = {"panels_broken": 0, "load_transfer": 0.45, "faulting_in": 0.2}
    mile = {"length_ft": 5280.0, "width_ft": 12.0}
    *_, need = survey(blocks({**poor, **mile, "length_ft": 5280.0 + 15}, {**poor, "load_transfer": 0.65},
                             {**poor, "faulting_in": 0.1}, {**poor, "faulting_in": 0.6}, {**poor, "panels_broken": 7},
                             {**poor, "thickness_in": 6.0}, {**poor, "load_transfer": None}), defaults)
    assert need["retrofit_bars"].tolist() == [2112, 0, 0, 0, 0, 0, 0]


def test_settled_panels_are_raised_where_the_city_does_so(blocks: Maker, defaults: Assumptions) -> None:
    raises = reader.overlay(defaults, {"companions": {"jack.used": "yes"}})
    counted = {"panels_sunken": 4, "panels_broken": 2}
    *_, replaced = survey(blocks(counted), defaults)
    *_, raised = survey(blocks(counted), raises)
    assert (replaced["panels_full"].iloc[0], replaced["jack_panels"].iloc[0]) == (6, 0)
    assert (raised["panels_full"].iloc[0], raised["jack_panels"].iloc[0]) == pytest.approx((4, 2))
    assert replaced["jackable_panels"].iloc[0] == 2 and raised["jackable_panels"].iloc[0] == 0
    # Panel by panel: one settled 1 in, one broken as well, one settled too far.
    sunken = {"block_id": "B001", "panel_column": 1, "defect": "sunken panel", "severity": "low", "step_in": 1.0}
    seen = ({**sunken, "panel_row": 2}, {**sunken, "panel_row": 6},
            {**sunken, "panel_row": 6, "defect": "broken panel", "severity": "high"},
            {**sunken, "panel_row": 12, "step_in": 5.0})
    *_, found = survey(blocks({"panels_broken": 0}), raises, *seen)
    assert (found["panels_full"].iloc[0], found["jack_panels"].iloc[0]) == pytest.approx((2, 1))


def test_what_a_panel_survey_finds_beside_repairs(blocks: Maker, defaults: Assumptions) -> None:
    # A tight transverse crack over 12 ft is filled, a longitudinal one over 15 ft stitched, 12 ft of joint resealed;
    # a pumping joint is stabilised; a loose casting is set anew, one with broken concrete boxed out: by hand 2 + 1 + 1 ft
    # a side.  A crack in a panel that is replaced is gone.
    usual = {"block_id": "B001", "panel_column": 2, "x_ft": 7.0, "y_ft": 0.0, "length_ft": 0.1, "width_ft": 12.0}
    crack = {**usual, "panel_row": 2, "defect": "transverse crack", "severity": "low"}
    seen = (crack, {**crack, "panel_row": 8}, {**crack, "panel_row": 8, "defect": "broken panel", "x_ft": 0, "length_ft": 15},
            {**usual, "panel_row": 4, "defect": "longitudinal crack", "severity": "medium", "x_ft": 0, "length_ft": 15,
             "y_ft": 6, "width_ft": 0.1},
            {**usual, "panel_row": 12, "defect": "joint seal damage", "severity": "high", "x_ft": 0.0},
            {**usual, "panel_row": 14, "defect": "pumping", "severity": None},
            {**usual, "panel_row": 16, "defect": "casting", "severity": "medium", "y_ft": 5, "length_ft": 2, "width_ft": 2},
            {**usual, "panel_row": 18, "defect": "casting", "severity": "high", "y_ft": 5, "length_ft": 2, "width_ft": 2})
    *_, need = survey(blocks({"panels_broken": 0}), defaults, *seen)
    row = need.iloc[0]
    assert (row["crack_ft"], row["stitch_ft"], row["reseal_ft"]) == pytest.approx((12, 15, 12 * (1 - 1 / PANELS)))
    assert (row["stabilise_panels"], row["castings"], row["box_outs"]) == pytest.approx((1, 2, 1))
    assert (row["box_out_sqft"], row["felt_ft"]) == pytest.approx((16, 16))
    assert row["panels_full"] == pytest.approx(1)


def test_a_repair_made_for_its_patches_alone_is_measured(blocks: Maker, defaults: Assumptions) -> None:
    # Nothing calls for full depth, but patching 8 ft over the whole width costs more: that panel counts as full depth.
    scaled = {"block_id": "B001", "panel_row": 3, "panel_column": 1, "defect": "scaling", "severity": "high", "x_ft": 0.0,
              "y_ft": 0.0, "length_ft": 8.0, "width_ft": 12.0}
    *_, need = survey(blocks({"panels_broken": 0}), defaults, scaled)
    row = need.iloc[0]
    # 8 ft and 2 in from the joint, 12 ft wide: 98 sq ft
    assert row["full_sqyd"] == pytest.approx(98 / 9) and row["panels_full"] == pytest.approx(1)
    assert row["partial_sqft"] == 0 and row["dowels"] > 0


def test_depth_is_the_blocks_own_or_two_inches(blocks: Maker, defaults: Assumptions) -> None:
    # UFC 3-270-03: half an inch into sound concrete, and at least 2 in are removed.
    *_, need = survey(blocks({"panels_broken": 0}, {"panels_broken": 0, "damage_depth_in": 3.5},
                             {"panels_broken": 0, "damage_depth_in": 1.0}), defaults)
    assert need["partial_depth_in"].tolist() == [2.0, 4.0, 2.0]


counts = st.fixed_dictionaries({
    **{name: st.one_of(st.none(), st.integers(0, PANELS)) for name in tables.COUNTS if name != "panels_broken"},
    "panels_broken": st.integers(0, PANELS),
    **{name: st.one_of(st.none(), st.floats(0, 3000)) for name in
       ("cracked_ft", "spalled_joint_ft", "wide_joint_ft", "hollow_sqft", "sunken_curb_ft")},
    "condition_index": st.one_of(st.none(), st.floats(0, 100)),
})


@given(st.lists(counts, min_size=20, max_size=40))
@settings(max_examples=4, deadline=None)
def test_any_counts_give_a_valid_table(rows: list[dict[str, object]]) -> None:
    # Many blocks in one table: a run of the steps costs much the same for one block as for forty.
    usual = {"length_ft": 300.0, "width_ft": 36.0, "panel_length_ft": 15.0, "panel_width_ft": 12.0, "thickness_in": 8.0}
    table = tables.with_types("blocks", pd.DataFrame(
        [{"block_id": f"B{number:02d}", **usual, **row} for number, row in enumerate(rows)]))
    before = table.copy(deep=True)
    city, _, need = survey(table, reader.defaults())
    pd.testing.assert_frame_equal(table, before)
    assert (need["full_share"] + need["partial_share"] <= 1).all()
    assert not need.drop(columns=["faulting_in", "iri_in_per_mi", "load_transfer"]).isna().any().any()
    assert (need["partial_sqft"] <= city["area_sqft"] + 1e-9).all()
    assert np.allclose(need["panels_whole"] + need["panels_part"], need["panels_full"])
    assert (need["full_pay_sqyd"] >= need["full_sqyd"] - 1e-9).all()


def test_index_and_shares_convert_back(defaults: Assumptions) -> None:
    # Along the curve every index has its own damage: there and back is the same index.
    index = np.linspace(0, 100, 201)
    partial, full = rating.shares_at(index, defaults)
    points = [100, 85, 70, 60, 55, 45, 40, 25, 10, 0]
    at_points = rating.index_of(*rating.shares_at(points, defaults), defaults)
    assert at_points == pytest.approx(points)
    assert rating.index_of(partial, full, defaults) == pytest.approx(index)


def test_the_surface_of_a_later_year_comes_with_its_shares(blocks: Maker, defaults: Assumptions) -> None:
    # Grinding from 0.08 in of steps, all traffic, or 90 in/mile, low traffic (FHWA 2001, from memory).
    city, per_panel, need = survey(blocks({"panels_broken": 0, "faulting_in": 0.05, "iri_in_per_mi": 80.0},
                                          {"panels_broken": 0, "faulting_in": 0.05}, {"panels_broken": 0}), defaults)
    each = needs.intensity(city, need, per_panel, defaults)
    whole = 300 * 32 / 9  # 36 ft less a strip of 2 ft at each curb (Pennsylvania 514)
    assert need["grind_sqyd"].tolist() == [0, 0, 0]
    assert needs.grindable_sqyd(city, defaults) == pytest.approx([whole] * 3)
    shares = need[["year", "index", "full_share", "partial_share", "cracked_share", "sunken_share", "curb_share",
                   "wide_joint_share"]]

    def later(faulting: list[float], iri: list[float]) -> pd.DataFrame:
        return needs.scale(city, shares.assign(faulting_in=faulting, iri_in_per_mi=iri), each)

    smooth = later([0.079, 0.05, np.nan], [89.9, np.nan, np.nan])
    assert smooth["grind_sqyd"].tolist() == [0, 0, 0]
    assert smooth["faulting_in"].tolist()[:2] == [0.079, 0.05] and np.isnan(smooth["faulting_in"][2])
    rough = later([0.05, 0.08, np.nan], [90.0, np.nan, np.nan])
    assert rough["grind_sqyd"].to_numpy() == pytest.approx([whole, whole, 0])
    assert rough["iri_in_per_mi"].tolist()[:1] == [90.0]
    # Without those columns the survey's surface stands.
    assert needs.scale(city, shares, each)["faulting_in"].tolist()[:2] == [0.05, 0.05]


def test_a_slab_that_may_not_be_ground_again_needs_no_grinding(blocks: Maker, defaults: Assumptions) -> None:
    # Concrete Alberta: up to three grindings; 5 in left at least is a proposal.
    *_, need = survey(blocks({"panels_broken": 3}, {"panels_broken": 3, "grindings": 3},
                             {"panels_broken": 3, "thickness_in": 5.0}), defaults)
    assert (need["grind_sqyd"] > 0).tolist() == [True, False, False]
