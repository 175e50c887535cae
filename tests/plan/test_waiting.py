"""Cost of waiting: the parts add up, each is what it says, and the network is the sum of its blocks."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import numpy_financial as npf
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from rehab import plan
from rehab.base import tables
from rehab.base.settings import Scenario
from rehab.base.tables import STRATEGIES, WORK
from rehab.inputs import assumptions as reader
from rehab.inputs import reading
from rehab.plan import waiting

DEMO = Path(__file__).parents[2] / "data" / "demo"


def prepared(rule: Any, real: dict[str, Any], rate: float) -> Any:
    """What ``waiting`` reads of a prepared plan; ``real`` holds costs in dollars of the first year, 2030."""
    by_rule = np.asarray(rule, np.int64)
    blocks, years = by_rule.shape
    growth = (1 + rate) ** np.arange(years)
    return SimpleNamespace(
        by_rule=by_rule, years=years, start_year=2030,
        assumptions=reader.overlay(reader.defaults(), {"economics": {"escalation": rate}}),
        costs={name: np.asarray(real[name], float) * growth for name in WORK},
        network=pd.DataFrame({"block_id": pd.Series([f"B{row}" for row in range(blocks)], dtype="str")}),
        needs_by_year=pd.DataFrame({"panels_full": np.arange(blocks * years) * 0.5,
                                    "partial_sqft": np.arange(blocks * years) * 10.0}))


def two_blocks(rate: float = 0.1) -> pd.DataFrame:
    """B0 is patched until full depth falls due after two years; B1 has no work due until then."""
    return waiting.by_block(prepared(
        [[1, 1, 2], [0, 0, 2]],
        {"partial_depth": [[100, 120, 150], [5, 6, 7]], "full_depth": [[400, 450, 500], [200, 210, 220]],
         "reconstruction": [[900] * 3] * 2}, rate))


def parts(table: pd.DataFrame, block: str, delay: int) -> list[float]:
    row = table[(table["block_id"] == block) & (table["delay_yr"] == delay)].iloc[0]
    return [float(row[name]) for name in (*waiting.PARTS, "total_usd")]


def test_two_blocks_by_hand() -> None:
    table = two_blocks()
    assert parts(table, "B0", 0) == [100, 0, 0, 0, 0, 100]
    assert parts(table, "B0", 1) == [100, 20, 0, 0, 12, 132]  # 120 x 1.1
    assert parts(table, "B0", 2) == [100, 50, 350, 0, 105, 605]  # 500 x 1.21; at the later condition 150 and 500
    assert parts(table, "B1", 0) == parts(table, "B1", 1) == [0] * 6
    assert parts(table, "B1", 2) == [0, 0, 0, 220, 46.2, 266.2]  # nothing was due before, so no part of it is heavier
    assert table["strategy"].tolist() == ["partial_depth", "partial_depth", "full_depth", "none", "none", "full_depth"]
    assert table["year"].tolist() == [2030, 2031, 2032] * 2 and table["delay_yr"].tolist() == [0, 1, 2] * 2

    network = waiting.of_network(table)
    last = network.iloc[-1]
    assert [last[name] for name in (*waiting.PARTS, "total_usd")] == [100, 50, 350, 220, 151.2, 871.2]
    assert network["blocks_none"].tolist() == [1, 1, 0] and network["blocks_full_depth"].tolist() == [0, 0, 2]
    assert network["blocks_reconstruction"].tolist() == [0, 0, 0]
    assert network["panels_full"].tolist() == [0 + 1.5, 0.5 + 2, 1 + 2.5]
    assert network["partial_sqft"].tolist() == [30, 50, 70]


def test_no_escalation_no_part_of_it() -> None:
    table = two_blocks(0.0)
    assert (table["escalation_usd"] == 0).all()
    assert parts(table, "B0", 2) == [100, 50, 350, 0, 0, 500]


def test_a_lighter_strategy_is_a_part_below_zero() -> None:
    table = waiting.by_block(prepared([[2, 1], [1, 0]], {
        "partial_depth": [[60, 70], [60, 70]], "full_depth": [[300, 310], [1, 1]],
        "reconstruction": [[900, 900]] * 2}, 0.0))
    assert parts(table, "B0", 1) == [300, 10, -240, 0, 0, 70]
    assert parts(table, "B1", 1) == [60, 10, -70, 0, 0, 0]  # work that is no longer due


@st.composite
def cities(draw: st.DrawFn) -> Any:
    shape = draw(st.tuples(st.integers(0, 4), st.integers(1, 6)))
    money = arrays.arrays(float, shape, elements=st.floats(0, 1e7, allow_subnormal=False))
    rule = draw(arrays.arrays(np.int64, shape, elements=st.integers(0, len(STRATEGIES) - 1)))
    return prepared(rule, {name: draw(money) for name in WORK}, draw(st.sampled_from([0.0, 0.01, 0.04, 0.12])))


def cents(values: pd.Series) -> list[Decimal]:
    """As a file shows them."""
    return [Decimal(f"{value:.2f}") for value in values]


@settings(deadline=None, max_examples=60)
@given(cities())
def test_the_parts_add_up_to_the_cent(city: Any) -> None:
    table = waiting.by_block(city)
    for shown in (table, waiting.of_network(table)):
        sums = [sum(row) for row in zip(*(cents(shown[name]) for name in waiting.PARTS), strict=True)]
        assert sums == cents(shown["total_usd"])
    # The total is the cost of what the rules decide, by a plain walk over the blocks.
    expected = [0.0 if kind == 0 else city.costs[STRATEGIES[kind]][block, year]
                for (block, year), kind in np.ndenumerate(city.by_rule)]
    assert table["total_usd"].to_numpy() == pytest.approx(np.array(expected), abs=0.0051)
    # Escalation against numpy-financial: the future value of the real dollars, within half a cent on either side.
    # (It divides by the rate; none at all has a check of its own.)
    rate = city.assumptions.number("economics", "escalation")
    if rate:
        grown = -npf.fv(rate, table["delay_yr"].to_numpy(), 0, table[[*waiting.PARTS[:-1]]].sum(axis=1).to_numpy())
        assert table["total_usd"].to_numpy() == pytest.approx(grown, abs=0.02)
    # Work is either more of what was due, or new: never both.
    assert not ((table["new_usd"] != 0) & (table[["now_usd", "same_usd", "heavier_usd"]] != 0).any(axis=1)).any()


@settings(deadline=None, max_examples=30)
@given(cities())
def test_one_strategy_throughout_never_changes_it(city: Any) -> None:
    city.by_rule[:] = city.by_rule[:, :1]
    table = waiting.by_block(city)
    assert (table[["heavier_usd", "new_usd"]] == 0).all(axis=None)
    idle = table["strategy"] == "none"
    assert (table.loc[idle, [*waiting.PARTS, "total_usd"]] == 0).all(axis=None)
    assert len(table) == city.by_rule.size  # blocks without work stay in the table


def test_blocks_are_ranked_by_dollars_and_by_share() -> None:
    table = two_blocks()
    first = waiting.ranked(table, 2)
    assert first["block_id"].tolist() == ["B0", "B1"]
    assert first["rise_usd"].tolist() == [400, 220] and first["rise_usd_per_yr"].tolist() == [200, 110]
    assert first["rise_share_per_yr"].iloc[0] == 2 and pd.isna(first["rise_share_per_yr"].iloc[1])
    assert first[["strategy", "later_strategy"]].to_numpy().tolist() == [["partial_depth", "full_depth"],
                                                                        ["none", "full_depth"]]
    after_one = waiting.ranked(table, 1)  # nothing is due on B1 at either end
    assert after_one["block_id"].tolist() == ["B0"] and after_one["rise_usd"].tolist() == [20]
    small = waiting.by_block(prepared([[1, 1], [1, 1]], {
        "partial_depth": [[10, 20], [1000, 1100]], "full_depth": [[1, 1]] * 2, "reconstruction": [[1, 1]] * 2}, 0.04))
    assert waiting.ranked(small, 1)["block_id"].tolist() == ["B1", "B0"]
    assert waiting.ranked(small, 1, "share")["block_id"].tolist() == ["B0", "B1"]
    for delay in (0, 3):
        with pytest.raises(ValueError, match="1 to 2 years"):
            waiting.ranked(table, delay)


def test_no_blocks_no_rows() -> None:
    none = waiting.by_block(prepared(np.empty((0, 3)), {name: np.empty((0, 3)) for name in WORK}, 0.04))
    assert none.empty and waiting.of_network(none).empty and waiting.ranked(tables.empty("waiting"), 1).empty


def test_the_demo_city_waits_for_what_its_need_says() -> None:
    blocks = reading.read_blocks(reading.open_table("blocks.csv", (DEMO / "blocks.csv").read_bytes())).table
    ready = plan.prepare(blocks.iloc[::10].reset_index(drop=True), tables.empty("defects"), reader.defaults(), 2027, 6)
    made = plan.decide(ready, Scenario(start_year=2027, budgets_usd=(0.0,) * 6, choice="no work"))
    table = waiting.by_block(ready)
    network = waiting.of_network(table)
    assert network["total_usd"].to_numpy() == pytest.approx(made.by_year["need_usd"].to_numpy(), abs=0.01 * len(blocks))
    assert (network.filter(like="blocks_").sum(axis=1) == len(ready.network)).all()
    assert network["panels_full"].is_monotonic_increasing and network["total_usd"].is_monotonic_increasing
    assert (network[["same_usd", "heavier_usd", "escalation_usd"]].iloc[1:] > 0).all(axis=None)
    both = table.merge(ready.needs_by_year, on=["block_id", "year"], suffixes=("", "_need"))
    assert len(both) == len(table)
    for name in ("panels_full", "partial_sqft"):
        assert both[name].to_numpy() == pytest.approx(both[f"{name}_need"].to_numpy())
        assert network[name].sum() == pytest.approx(ready.needs_by_year[name].sum())
