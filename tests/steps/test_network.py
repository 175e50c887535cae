"""Blocks to network: panels, areas, defaults that are flagged."""

from collections.abc import Callable

import pandas as pd
import pytest

from rehab.base import tables
from rehab.base.settings import Assumptions
from rehab.steps import network

Maker = Callable[..., pd.DataFrame]


def test_a_typical_city_block_has_66_panels(blocks: Maker, defaults: Assumptions) -> None:
    # City of Eugene (2016): a typical block has 66 panels in three columns.
    city = network.build(blocks({"length_ft": 330.0, "panels_broken": 0}), defaults)
    assert city["panels"].iloc[0] == 66
    assert city["panel_rows"].iloc[0] == 22 and city["panel_columns"].iloc[0] == 3
    assert city["area_sqyd"].iloc[0] == pytest.approx(330 * 36 / 9)


def test_joints_are_counted_once(blocks: Maker, defaults: Assumptions) -> None:
    city = network.build(blocks({"panels_broken": 0}), defaults)
    assert city["transverse_joint_ft"].iloc[0] == 20 * 36  # by hand: 20 rows of panels, one joint each, 36 ft
    assert city["longitudinal_joint_ft"].iloc[0] == 2 * 300  # two joints between three columns


def test_what_is_missing_is_filled_and_named(blocks: Maker, defaults: Assumptions) -> None:
    bare = tables.with_types("blocks", pd.DataFrame(
        {"block_id": ["A"], "length_ft": [200.0], "width_ft": [30.0], "condition_index": [60.0]}))
    row = network.build(bare, defaults).iloc[0]
    assert set(row["assumed"].split("; ")) == {"functional_class", "panel_length_ft", "panel_width_ft", "thickness_in",
                                               "dowelled", "panels", "survey_year", "age_yr", "speed_mph"}
    assert row["functional_class"] == "local" and row["thickness_in"] == 7
    assert bool(row["estimated"]) and row["condition_source"] == "index"
    full = network.build(blocks({"panels_broken": 1, "panels": 60}), defaults).iloc[0]
    assert full["assumed"] == "" and not full["estimated"]


def test_slabs_from_8_in_are_taken_as_dowelled(blocks: Maker, defaults: Assumptions) -> None:
    # SUDAS 5G-2: transverse joints of 6 to 7 in are plain, 8 in and more dowelled.
    city = network.build(blocks({"thickness_in": 7.0, "dowelled": None, "panels_broken": 0},
                                {"thickness_in": 8.0, "dowelled": None, "panels_broken": 0}), defaults)
    assert city["dowelled"].tolist() == [False, True]


def test_a_narrow_alley_is_one_panel_wide(blocks: Maker, defaults: Assumptions) -> None:
    city = network.build(blocks({"width_ft": 10.0, "panels_broken": 0}), defaults)
    assert city["panel_columns"].iloc[0] == 1 and city["longitudinal_joint_ft"].iloc[0] == 0


def test_counts_outrank_an_index(blocks: Maker, defaults: Assumptions) -> None:
    city = network.build(blocks({"panels_broken": 3, "condition_index": 50.0, "rating_1_10": 4}), defaults)
    assert city["condition_source"].iloc[0] == "counts"


def test_the_order_of_rows_does_not_matter_and_inputs_stay(blocks: Maker, defaults: Assumptions) -> None:
    table = blocks({"panels_broken": 1}, {"condition_index": 70.0}, {"rating_1_10": 4})
    before = table.copy(deep=True)
    turned = table.iloc[::-1].reset_index(drop=True)
    pd.testing.assert_frame_equal(network.build(table, defaults), network.build(turned, defaults))
    pd.testing.assert_frame_equal(table, before)
