"""The chain from a defect or a count to dollars, over the whole demo city: every link adds up."""

from functools import cache

import numpy as np
import pandas as pd
import pytest

from rehab import plan
from rehab.base import tables
from rehab.base.settings import Scenario
from rehab.inputs import assumptions as reader
from rehab.inputs import demo
from rehab.plan import Plan, trace
from rehab.steps import takeoff

BASES = ("all-in", "components")


@cache
def decided(basis: str) -> Plan:
    """The demo city, planned; the blocks surveyed panel by panel and every tenth of the others."""
    city = demo.invent()
    blocks, defects = tables.with_types("blocks", city.blocks), tables.with_types("defects", city.defects)
    keep = blocks["block_id"].isin(defects["block_id"]) | (np.arange(len(blocks)) % 10 == 0)
    rules = reader.overlay(reader.defaults(), {"defaults": {"price_basis": basis}})
    return plan.decide(plan.prepare(blocks[keep], defects, rules, 2027, 3), Scenario(budgets_usd=(1e6,) * 3), effort=1)


@pytest.mark.parametrize("basis", BASES)
def test_the_lines_of_every_block_add_up_to_its_cost_to_the_cent(basis: str) -> None:
    made = decided(basis)
    today = made.costs[made.costs["basis"] == "today"].set_index("block_id")["likely_usd"]
    assert len(today) > 150
    for block, strategy in made.strategies[["block_id", "strategy"]].itertuples(index=False):
        lines = trace.priced(made, block, strategy)
        assert round(lines["cost_usd"].sum(), 2) == round(today[block], 2)
        paid = lines[lines["priced"]]
        assert np.allclose(paid["amount_usd"], paid["quantity"] * paid["unit_price_usd"], rtol=0, atol=1e-9)
        assert lines.loc[~lines["priced"], "carried_by"].ne("").all()


def test_the_repairs_of_every_surveyed_block_add_up_to_its_needs() -> None:
    prepared = decided("all-in").prepared
    blocks = prepared.findings["block_id"].unique()
    assert len(blocks) == 60
    for block in blocks:
        sums = trace.summed(prepared, block)
        assert np.allclose(sums["amount"], sums["sum"], rtol=1e-9, atol=1e-6)
        listed = trace.needed(prepared, block).set_index("need")
        for need in sums.loc[sums["sum"] > 0, "need"]:
            assert listed.at[need, "by"].startswith("sum over ")


def test_every_defect_is_answered() -> None:
    # A defect that calls for a cut names the repair that takes it out, and that repair names it as its cause.
    prepared = decided("all-in").prepared
    cut = prepared.findings[prepared.findings["call"].isin(["full depth", "partial depth", "box out"])]
    assert cut["repair_ids"].notna().all() and len(cut) > 3000
    causes = {(block, int(defect)) for block, text in prepared.repairs[["block_id", "cause"]].itertuples(index=False)
              for defect in text.split("; ") if defect}
    assert causes == set(cut[["block_id", "defect_id"]].itertuples(index=False, name=None))
    assert prepared.repairs["cause"].ne("").all()
    assert prepared.findings["why"].str.contains(r"\(").all()  # the source in brackets


def test_every_rule_that_shaped_a_repair_is_named_with_value_and_source() -> None:
    prepared = decided("all-in").prepared
    block = prepared.repairs.loc[prepared.repairs["kind"] == "full depth", "block_id"].iloc[0]
    cut = trace.cut(prepared, block)
    assert cut["rules"].ne("").all()
    rows = cut.loc[cut["why"].str.contains("full.least_length_dowelled_ft"), "rules"]
    assert rows.str.contains("6 ft (Full-Depth Repairs (web guide), 5.1 (read))", regex=False).all() and len(rows)


def test_counts_name_the_needs_they_become() -> None:
    made = decided("all-in")
    block = made.prepared.network.query("condition_source == 'counts' and panels_broken > 0")["block_id"].iloc[0]
    found = trace.found(made.prepared, block).set_index("measure")
    assert found.at["panels_broken", "becomes"] == ("panels_full",)
    needs = {item.name for item in tables.fields("needs")}
    assert {need for becomes in found["becomes"] for need in becomes} <= needs


@pytest.mark.parametrize("strategy", tables.WORK)
def test_items_are_measured_by_what_they_say(strategy: str) -> None:
    # Each need and each size is doubled by itself: only the items that name it may change, and each names what moves it.
    prepared = decided("all-in").prepared
    items = prepared.assumptions.table("pay_items")
    city, need = prepared.network.head(80), prepared.needs.head(80)
    full = need.assign(**{name: 3.0 for name in ("stitch_ft", "jack_panels", "stabilise_panels", "retrofit_bars", "box_outs",
                                                 "box_out_sqft", "felt_ft", "joint_ft", "full_sqyd", "partial_sqft",
                                                 "full_pay_sqyd", "partial_pay_sqft", "curb_ft", "castings")})
    before = takeoff.measure(city, full, strategy, prepared.assumptions)
    named = {item: set(str(text).split("|")) for item, text in items["measured_by"].items()}
    moved: dict[str, set[str]] = {item: set() for item in items.index}
    for name in sorted(set.union(*named.values()) - {"functional_class"}):
        frames = [frame.assign(**{name: frame[name].astype(float) * 2}) if name in frame else frame for frame in (city, full)]
        after = takeoff.measure(*frames, strategy, prepared.assumptions)
        for item in items.index:
            if not np.allclose(before[item], after[item]):
                moved[item].add(name)
    for item, names in moved.items():
        assert names <= named[item], item
    at_work = [item for item in items.index if (before[item] > 0).any() and named[item] != {"functional_class"}]
    assert at_work and all(moved[item] for item in at_work)


def test_measures_that_count_here_are_those_named() -> None:
    # By hand: reconstruction is measured by sizes alone; a repair by needs that are there.
    made = decided("all-in")
    block = made.prepared.needs.query("partial_sqft > 0 and full_sqyd == 0")["block_id"].iloc[0]
    rebuilt, patched = (dict(zip((lines := trace.priced(made, block, name))["pay_item"],
                                 trace.measures_used(made.prepared, block, name, lines), strict=True))
                        for name in ("reconstruction", "partial_depth"))
    assert rebuilt["curing_compound"] == ["area_sqft"] and patched["curing_compound"] == ["partial_sqft"]
    assert patched["patch_mix"] == ["partial_sqft", "partial_depth_in"]


def test_a_block_without_work_has_no_lines() -> None:
    made = decided("all-in")
    block = made.strategies.query("strategy == 'none'")["block_id"].iloc[0]
    assert trace.priced(made, block, "none").empty
    assert isinstance(trace.needed(made.prepared, block), pd.DataFrame)
