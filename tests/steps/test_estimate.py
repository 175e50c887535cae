"""Prices, mark-ups in their order, escalation: by hand, to the cent."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rehab.base.settings import Assumptions
from rehab.inputs import assumptions as reader
from rehab.steps import estimate

ASSUMED = reader.defaults()
ITEMS = list(ASSUMED.table("pay_items").index)
INCLUDED = ["concrete_full", "concrete_reconstruction", "patch_mix", "saw_cut", "dowel", "tie_bar", "curing_compound"]


def quantities(*rows: dict[str, float]) -> pd.DataFrame:
    return pd.DataFrame(list(rows)).reindex(columns=ITEMS).fillna(0.0).astype(float)


def test_markups_in_their_order_by_hand(defaults: Assumptions) -> None:
    # 100 sq yd of panels at $160 = $16,000; traffic control 10 % 1,600; mobilisation 8 % of 17,600 = 1,408;
    # contingency 25 % of 19,008 = 4,752; engineering 20 % of 23,760 = 4,752; total 28,512 in 2023 dollars.
    lines = estimate.steps(16_000.0, 2023, defaults)
    assert lines["usd"].tolist() == pytest.approx([16_000, 1_600, 1_408, 4_752, 4_752, 0, 28_512])
    assert lines["line"].tolist() == [
        "Items at unit prices", "Traffic control 10 %", "Mobilisation 8 %", "Contingency 25 %",
        "Engineering and inspection 20 %", "Escalation 2023 to 2023", "Total"]
    assert estimate.price(quantities({"full_depth_panel": 100}), [2023], defaults)["likely_usd"].iloc[0] == \
        pytest.approx(28_512)


def test_the_order_is_that_of_the_table(defaults: Assumptions) -> None:
    table = defaults.table("markups").iloc[::-1]
    turned = replace(defaults, tables={**defaults.tables, "markups": table})
    pd.testing.assert_frame_equal(estimate.steps(1000.0, 2030, turned), estimate.steps(1000.0, 2030, defaults))


def test_escalation_by_hand(defaults: Assumptions) -> None:
    # 4 % a year from 2023: 1.04^4 = 1.16985856 in 2027; a year before the price year divides.
    factor = estimate.factors([2023, 2024, 2027, 2022], defaults) / estimate.markup(defaults)
    assert factor == pytest.approx([1, 1.04, 1.16985856, 1 / 1.04])
    flat = reader.overlay(defaults, {"economics": {"escalation": 0}})
    assert estimate.factors([2023, 2050], flat) == pytest.approx([1.782, 1.782])  # 1.1 x 1.08 x 1.25 x 1.2


def test_an_item_inside_another_is_never_priced(defaults: Assumptions) -> None:
    # What an all-in price includes is counted for the crew only (Iowa SUDAS 7040): its figures are waste factors
    # and coverages, and doubling them changes no cost of the same quantities.
    table = defaults.table("pay_items").copy()
    assert sorted(table.index[table["included_in"] != ""]) == sorted(INCLUDED)
    carriers = {key for text in table.loc[INCLUDED, "included_in"] for key in text.split("|")}
    assert carriers <= set(table.index[table["included_in"] == ""])
    for column in ("low", "value", "high"):
        table.loc[INCLUDED, column] = (2 * pd.to_numeric(table.loc[INCLUDED, column])).astype(str)
    doubled = replace(defaults, tables={**defaults.tables, "pay_items": table})
    rows = quantities({name: 50.0 for name in ITEMS}, {name: 50.0 for name in INCLUDED})
    pd.testing.assert_frame_equal(estimate.price(rows, [2027, 2027], doubled),
                                  estimate.price(rows, [2027, 2027], defaults))
    assert (estimate.price(rows, [2027, 2027], defaults).iloc[1] == 0).all()


def test_every_priced_item_by_hand(defaults: Assumptions) -> None:
    # One unit of each: 45 + 160 + 140 + 45 + 900 + 1.5 + 2 + 6 + 1 = 1,300.5 at likely prices (from memory, settings).
    found = estimate.price(quantities({name: 1.0 for name in ITEMS}), [2023], defaults).iloc[0]
    assert found["likely_usd"] == pytest.approx(1300.5 * 1.782)
    assert found["low_usd"] == pytest.approx((25 + 90 + 80 + 25 + 400 + 0.75 + 1 + 2 + 0.4) * 1.782)
    assert found["high_usd"] == pytest.approx((100 + 350 + 250 + 90 + 2500 + 3 + 4 + 14 + 3) * 1.782)


amounts = st.lists(st.floats(0, 1e5), min_size=len(ITEMS), max_size=len(ITEMS))


@given(amounts, st.integers(2015, 2080))
@settings(max_examples=60, deadline=None)
def test_steps_add_up_to_the_price_and_low_is_below_high(row: list[float], year: int) -> None:
    wide = pd.DataFrame([row], columns=ITEMS)
    before = wide.copy(deep=True)
    cost = estimate.price(wide, [year], ASSUMED).iloc[0]
    pd.testing.assert_frame_equal(wide, before)
    assert cost["low_usd"] <= cost["likely_usd"] <= cost["high_usd"]
    at_prices = float(wide.to_numpy()[0] @ estimate.unit_prices("value", wide.columns, ASSUMED))
    lines = estimate.steps(at_prices, year, ASSUMED)
    assert lines["usd"].iloc[:-1].sum() == pytest.approx(lines["usd"].iloc[-1], rel=1e-12, abs=1e-6)
    assert round(lines["usd"].iloc[-1], 2) == pytest.approx(round(cost["likely_usd"], 2), rel=1e-12, abs=0.011)


def test_no_rows_cost_nothing(defaults: Assumptions) -> None:
    empty = estimate.price(quantities({"striping": 1.0}).iloc[:0], np.array([], int), defaults)
    assert list(empty.columns) == ["low_usd", "likely_usd", "high_usd"] and empty.empty
