"""Life-cycle cost of whole plans and of single blocks, against the streams written out."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd
import pytest

from rehab import plan
from rehab.base import money, tables
from rehab.base.errors import BadAssumption
from rehab.inputs import assumptions as reader
from rehab.plan import Prepared, worth
from rehab.steps import estimate, grinding, lifecycle
from rehab.steps.lifecycle import Activity

ALL = tables.STRATEGIES


@cache
def prepared(**economics: str) -> Prepared:
    """Six blocks from sound to worn; the last but one has no traffic count, the last no share of trucks."""
    usual = {"length_ft": 300.0, "width_ft": 36.0, "year_built": 1986, "surveyed_on": "2026-06-01", "adt": 4000.0,
             "truck_share": 0.05, "functional_class": "collector"}
    rows = [{"condition_index": 90.0}, {"condition_index": 62.0}, {"panels_broken": 5, "panels_cracked": 6},
            {"condition_index": 45.0}, {"condition_index": 30.0, "adt": None},
            {"condition_index": 55.0, "truck_share": None}]
    blocks = tables.with_types("blocks", pd.DataFrame(
        [{"block_id": f"B{number}", **usual, **row} for number, row in enumerate(rows, 1)]))
    assumptions = reader.overlay(reader.defaults(), {"economics": economics} if economics else {})
    return plan.prepare(blocks, tables.empty("defects"), assumptions, 2027, 4)


def delayed() -> Prepared:
    return prepared(**{"user_delay.used": "yes"})


def cell(made: Prepared, block_id: str, column: str) -> float:
    return float(made.worth.set_index("block_id").at[block_id, column])


def test_the_plan_keeps_worth_and_annual_cost_of_every_strategy() -> None:
    table = prepared().worth
    kinds = ("worth_usd", "annual_usd", "own_usd")
    assert list(table.columns) == [*(f"{name}_{kind}" for name in ALL for kind in kinds), "block_id"]
    for name in ALL:
        assert table[f"{name}_annual_usd"].to_numpy() == pytest.approx(
            money.annual_cost(table[f"{name}_worth_usd"], 0.03, 40))


@pytest.mark.parametrize("block_id", ["B2", "B3", "B4"])
@pytest.mark.parametrize("strategy", ALL)
def test_the_events_of_a_block_add_up_to_its_worth(block_id: str, strategy: str) -> None:
    events = worth.stream(prepared(), block_id, strategy)
    assert events["worth_usd"].sum() == pytest.approx(cell(prepared(), block_id, f"{strategy}_worth_usd"), abs=0.01)
    assert events["worth_usd"].to_numpy() == pytest.approx((events["usd"] * 1.03 ** -events["after_yr"]).to_numpy())
    assert events["after_yr"].is_monotonic_increasing
    assert (events["year"] == 2027 + events["after_yr"].astype(int)).all()
    assert "user_usd" not in events


def test_a_repair_now_costs_what_the_program_pays_in_the_first_year() -> None:
    made = prepared()
    row = made.network["block_id"].tolist().index("B3")
    events = worth.stream(made, "B3", "full_depth")
    assert events["what"].iloc[0] == "Full-depth repair"
    assert events["usd"].iloc[0] == pytest.approx(made.costs["full_depth"][row, 0])
    ground = events[events["what"] == "Grinding the surface again"]
    lasts = grinding.life(made.assumptions)
    back = float(made.lives["full_depth"]["treated_yr"].iloc[row])
    assert ground["after_yr"].tolist() == pytest.approx([time * lasts for time in (1, 2) if time * lasts < min(back, 40)])
    # The block is ground but for 2 ft at each curb, at the price and the mark-ups of the first year.
    area = 300 * (36 - 4) / 9
    detail = made.network["condition_source"].to_numpy()[[row]]
    once = area * made.assumptions.number("pay_items", "diamond_grinding") * float(
        estimate.factors([2027], made.assumptions, detail)[0])
    assert len(ground) and ground["usd"].to_numpy() == pytest.approx(once)
    again = events[events["what"] == "Reconstruction"]
    assert again["after_yr"].iloc[0] == pytest.approx(back)


def test_strategies_side_by_side() -> None:
    made = prepared()
    table = worth.compared(made, "B4", ["none", "full_depth", "reconstruction"])
    assert table["strategy"].tolist() == ["none", "full_depth", "reconstruction"]
    assert table["then"].tolist() == ["full-depth repair, then reconstruction", "reconstruction", "reconstruction"]
    assert (table["trigger"] == made.assumptions.number("economics", "trigger.collector")).all()
    for row in table.itertuples():
        assert row.worth_usd == cell(made, "B4", f"{row.strategy}_worth_usd")
        assert row.annual_usd == cell(made, "B4", f"{row.strategy}_annual_usd")
        assert row.life_yr == made.lives[row.strategy].set_index("block_id").at["B4", "treated_yr"]
    assert "user_worth_usd" not in table
    with pytest.raises(KeyError):
        worth.compared(made, "B99", ["none"])


def test_rates_side_by_side() -> None:
    made = prepared(rates_shown="0.01|0.07", discount="0.04")
    rates = worth.by_rate(made, "B4", ["full_depth", "reconstruction"])
    assert rates["rate"].tolist() == [0.01, 0.04, 0.07] * 2
    used = rates[rates["rate"] == 0.04].set_index("strategy")
    for name in ("full_depth", "reconstruction"):
        assert used.at[name, "worth_usd"] == pytest.approx(cell(made, "B4", f"{name}_worth_usd"))
        assert used.at[name, "annual_usd"] == pytest.approx(cell(made, "B4", f"{name}_annual_usd"))
    rebuilt = rates[rates["strategy"] == "reconstruction"]
    assert rebuilt["annual_usd"].is_monotonic_increasing  # paid at once: dearer money, dearer years


def test_the_order_by_rate_in_words() -> None:
    def said(*worths: tuple[str, float, float]) -> str:
        return worth.rate_words(pd.DataFrame([{"strategy": name, "rate": rate, "worth_usd": usd}
                                              for name, low, high in worths for rate, usd in ((0.02, low), (0.07, high))]))

    assert said(("full_depth", 90, 95), ("reconstruction", 100, 80)) == (
        "The strategy of the least cost hangs on the rate: full-depth repair at 2 %; reconstruction at 7 %.")
    assert said(("full_depth", 90, 70), ("reconstruction", 100, 80)) == (
        "From 2 % to 7 %, full-depth repair costs least; the order of all stays the same.")
    assert said(("none", 10, 10), ("full_depth", 90, 95), ("reconstruction", 100, 80)) == (
        "From 2 % to 7 %, no work costs least; the order of the others changes with it.")
    assert said(("none", 10, 10)) == "One strategy alone has no order."


def test_a_rate_that_is_none_is_refused_before_a_plan_is_made() -> None:
    with pytest.raises(BadAssumption, match="'3' for 'rates_shown' is not real rates"):
        prepared(rates_shown="3")


def test_break_even_life_of_a_block_makes_both_cost_the_same() -> None:
    made = prepared()
    names = ["none", "full_depth", "reconstruction"]
    said = worth.break_evens(made, "B3", names)
    waiting = float(made.lives["none"].set_index("block_id").at["B3", "treated_yr"])
    assert len(said) == (3 if waiting > 0 else 1)
    found = re.search(r"full-depth repair costs less than reconstruction unless the index falls to 50 in under ([0-9.]+) "
                      r"years; by the forecast that takes ([0-9.]+) years, so it costs (less|more)", said[0])
    assert found, said
    course = worth.of_block(made, "B3")
    terms = lifecycle.terms(made.assumptions, grinding.life(made.assumptions))

    def full_depth(life: float) -> float:
        lasting = (replace(course["full_depth"][0], life_yr=np.array([life])), *course["full_depth"][1:])
        return float(lifecycle.present_worth(lasting, terms, (0.03,))[0, 0])

    rebuilt = cell(made, "B3", "reconstruction_worth_usd")
    even = float(found[1])
    assert full_depth(even - 0.06) > rebuilt > full_depth(even + 0.06)  # printed to a tenth
    assert (full_depth(float(found[2])) < rebuilt) == (found[3] == "less")


def test_waiting_is_no_choice_at_the_trigger() -> None:
    made = prepared()
    at_trigger = made.network["block_id"][made.lives["none"]["treated_yr"] == 0].tolist()
    assert "B5" in at_trigger
    assert all("no work" not in sentence for sentence in worth.break_evens(made, "B5", ALL))
    assert any("no work now and partial-depth repair then" in sentence for sentence in worth.break_evens(made, "B2", ALL))


def test_incremental_benefit_cost_of_a_block() -> None:
    made = prepared()
    names = ["none", "partial_depth", "full_depth", "reconstruction"]
    steps = worth.benefit_cost(made, "B3", names)
    row = made.network["block_id"].tolist().index("B3")
    held_cost = held_gain = 0.0
    for step in steps.itertuples():
        cost = cell(made, "B3", f"{step.challenger}_own_usd") - held_cost
        gain = made.benefits[step.challenger][row, 0] - held_gain
        assert (step.cost_usd, step.benefit) == pytest.approx((cost, gain))
        assert step.per_1000_usd == pytest.approx(1000 * gain / cost)
        assert step.taken == (step.per_1000_usd >= step.least_per_1000_usd)
        if step.taken:
            held_cost, held_gain = held_cost + cost, held_gain + gain
    assert steps["challenger"].tolist() == sorted(names[1:], key=lambda name: cell(made, "B3", f"{name}_own_usd"))
    # The measure: benefit and cost of what the rules decide in the first year, over all blocks.
    due = [(made.benefits[ALL[rule]][at, 0], made.worth[f"{ALL[rule]}_own_usd"].iloc[at])
           for at, rule in enumerate(made.by_rule[:, 0]) if rule]
    gained, spent = map(sum, zip(*due, strict=True))
    assert steps["least_per_1000_usd"].to_numpy() == pytest.approx(1000 * gained / spent)
    assert worth.benefit_cost(made, "B1", ["none"]).empty


def test_without_work_due_anywhere_no_step_is_judged() -> None:
    sound = tables.with_types("blocks", pd.DataFrame([
        {"block_id": "B1", "length_ft": 300.0, "width_ft": 36.0, "panels_broken": 0, "surveyed_on": "2027-01-05"}]))
    made = plan.prepare(sound, tables.empty("defects"), reader.defaults(), 2027, 3)
    steps = worth.benefit_cost(made, "B1", ["none", "reconstruction"])
    assert steps["taken"].isna().all() and steps["least_per_1000_usd"].isna().all() and len(steps) == 1


def test_delay_of_road_users_stands_apart() -> None:
    made, plain = delayed(), prepared()
    for name in ALL:
        assert made.worth[f"{name}_worth_usd"].tolist() == plain.worth[f"{name}_worth_usd"].tolist()
        assert f"{name}_user_worth_usd" in made.worth and f"{name}_user_worth_usd" not in plain.worth
    assert np.isnan([cell(made, block, "full_depth_user_worth_usd") for block in ("B5", "B6")]).all()
    # B4 by hand: 300 x 36 / 9 = 1,200 sq yd, 4 days per 1,000: 4.8 days x 4,000 vehicles x 2/60 h x
    # (0.95 x 22 + 0.05 x 36) $/h = $14,528, raised 4 years at 4 % from 2023 to 2027.
    events = worth.stream(made, "B4", "full_depth")
    assert events["user_usd"].iloc[0] == pytest.approx(4.8 * 4000 * 2 / 60 * 22.7 * 1.04 ** 4)
    assert (events["user_usd"] * 1.03 ** -events["after_yr"]).sum() == pytest.approx(
        cell(made, "B4", "full_depth_user_worth_usd"))
    assert worth.compared(made, "B4", ["full_depth"])["user_worth_usd"].iloc[0] == pytest.approx(
        cell(made, "B4", "full_depth_user_worth_usd"))


def test_unknown_delay_is_said() -> None:
    assert worth.delay_notes(prepared().network, prepared().assumptions) == []
    note, = worth.delay_notes(delayed().network, delayed().assumptions)
    assert "not known on 2 of 6 blocks" in note.message
    assert worth.delay_notes(delayed().network.iloc[:4], delayed().assumptions) == []


def test_follow_up_work_comes_before_reconstruction() -> None:
    made = delayed()
    blocks = len(made.network)
    first = made.needs_by_year.iloc[::made.years].reset_index(drop=True)
    given = (made.network, first, {name: usd[:, 0] for name, usd in made.costs.items()}, made.lives, 2027,
             made.assumptions)
    assert worth.table(*given, made.later)["none_worth_usd"].tolist() == pytest.approx(made.worth["none_worth_usd"].tolist())
    later = {"none": (Activity("full_depth", np.full(blocks, 1e5), np.full(blocks, 12.0)),)}
    found = worth.courses(*given, later)
    assert [activity.strategy for activity in found["none"]] == ["none", "full_depth", "reconstruction"]
    assert [activity.strategy for activity in found["full_depth"]] == ["full_depth", "reconstruction"]
    # The grinding and the delay of the work that follows are those of the same work done now.
    now, then = found["full_depth"][0], found["none"][1]
    assert then.grinding_usd is now.grinding_usd and then.grinding_user_usd is now.grinding_user_usd
    assert then.user_usd is now.user_usd
    changed = worth.table(*given, later)
    assert (changed["none_worth_usd"] != made.worth["none_worth_usd"]).any()
    assert changed["full_depth_worth_usd"].tolist() == pytest.approx(made.worth["full_depth_worth_usd"].tolist())
