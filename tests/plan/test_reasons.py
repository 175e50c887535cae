"""Why a block has its place, what limits cost, what changes; the proof worked out anew from its three tables."""

from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd
import pytest

from rehab import plan
from rehab.base import tables
from rehab.base.limits import Closed, DistrictShare, Fund
from rehab.base.settings import Forced, Scenario
from rehab.inputs import assumptions as reader
from rehab.inputs import demo
from rehab.plan import Plan, Prepared, reasons

START, YEARS = 2027, 4


@cache
def city() -> Prepared:
    made = demo.invent(70, 3)
    blocks = made.blocks.assign(corridor=pd.Series(np.where(np.arange(70) < 6, "front", None), dtype="str"))
    blocks["corridor"] = blocks["corridor"].where(np.arange(70) < 6)
    return plan.prepare(tables.with_types("blocks", blocks), made.defects, reader.defaults(), START, YEARS)


@cache
def decided(usd: float = 2e5, **more: object) -> Plan:
    return plan.decide(city(), Scenario(start_year=START, budgets_usd=(usd,) * YEARS, **more), 2)  # type: ignore[arg-type]


def inside(made: Plan) -> set[str]:
    return set(made.program["block_id"])


LIMITED: dict[str, object] = {
    "funds": (Fund("panels", (5e4,) * YEARS, strategies=("full_depth",)),),
    "district_shares": (DistrictShare(str(demo.invent(70, 3).blocks["district"].dropna().iloc[0]), 0.1),)}


@pytest.mark.parametrize("more", [{}, LIMITED, {"strategies": "adequate", "corridors": "given"},
                                  {"benefit": "agency cost"}])
def test_the_proof_can_be_checked_from_its_tables_alone(more: dict[str, object]) -> None:
    made = decided(**more)
    offers, uses, limits = reasons.proof(made)
    taken = offers[offers["chosen"] == 1]
    assert taken["group"].is_unique and set(taken["group"]) == set(offers["group"])  # exactly one offer of each
    objective = float(taken["benefit"].sum())
    used = uses[uses["offer"].isin(taken["offer"])].groupby("limit_row")["amount"].sum()
    most = limits.set_index("limit_row")["most"]
    assert (used.reindex(most.index).fillna(0.0) <= most + 1e-6 * most.abs()).all()
    price = limits.set_index("limit_row")["price"]
    assert (price >= 0).all()
    priced = (uses["amount"] * uses["limit_row"].map(price)).groupby(uses["offer"]).sum()
    reduced = offers["benefit"] - offers["offer"].map(priced).fillna(0.0)
    bound = float((price * most).sum() + reduced.groupby(offers["group"]).max().sum())
    assert objective == pytest.approx(made.chosen.value) and bound == pytest.approx(made.chosen.by_prices)
    assert bound >= made.chosen.upper_bound - 1e-6 >= objective - 2e-6
    assert made.summary["bound_by_prices"] == pytest.approx(bound)
    assert taken["works"].str.len().gt(0).sum() >= (0 if more.get("corridors") else len(made.program))


def test_a_block_in_the_program() -> None:
    made = decided()
    for row in made.program.head(5).itertuples():
        said = reasons.explain(made, row.block_id)
        assert said[0].startswith("Chosen: ") and str(row.year) in said[0] and f"${row.cost_usd:,.0f}" in said[0]
        table = reasons.runners_up(made, row.block_id)
        assert table["chosen"].sum() == 1 and bool(table["chosen"].iloc[0])
        assert (table["short"].dropna() >= -1e-6).all()


def test_a_block_outside() -> None:
    made = decided()
    out = [name for name in made.prepared.network["block_id"] if name not in inside(made)
           and (reasons.runners_up(made, name)["why"] == "").any()]
    assert out
    said = {name: reasons.explain(made, name) for name in out}
    assert all(lines[0].startswith("Not in the program. Nearest: ") for lines in said.values())
    assert any("What keeps it out: money, budget in" in line for lines in said.values() for line in lines)
    assert any("To come in, it would have to cost $" in line for lines in said.values() for line in lines)


def test_to_cost_so_much_less_is_as_good_as_the_best() -> None:
    # At the price of money p: benefit - p (cost - cheaper) equals the block's best reduced value.
    made = decided()
    for name in made.prepared.network["block_id"].head(30):
        table = reasons.runners_up(made, name).dropna(subset=["cheaper_usd"])
        if table.empty:
            continue
        per_usd = table["priced"] / table["cost_usd"]
        best = max(0.0, float(table["left"].max()))
        assert (table["benefit"] - per_usd * (table["cost_usd"] - table["cheaper_usd"])).to_numpy() == pytest.approx(
            np.full(len(table), best), abs=1e-6 * max(best, 1.0) + 1e-6)
        share = table["price_share"]
        assert (share >= 0).all() and (share <= 1 + 1e-9).all()


def test_a_block_closed_not_due_and_unknown() -> None:
    made = decided()
    name = str(made.program["block_id"].iloc[0])
    shut = tuple(Closed(name, START + step) for step in range(YEARS))
    assert reasons.explain(decided(closed=shut), name) == ["No alternative is open: the year is closed to the block by hand."]
    assert reasons.explain(decided(kept_out=(name,)), name) == ["No alternative is open: kept out by hand."]
    idle = made.prepared.network["block_id"][(made.prepared.by_rule == 0).all(axis=1)].iloc[0]
    assert reasons.explain(made, idle) == ["The rules call for no work on this block in any year of the program."]
    with pytest.raises(KeyError):
        reasons.explain(made, "nowhere")
    everything = decided(kept_out=tuple(made.prepared.network["block_id"]))
    assert reasons.explain(everything, name) == ["No alternative is open: kept out by hand."]


def test_a_block_that_is_forced_has_nothing_to_compare_with() -> None:
    made = decided()
    name = str(next(block for block in made.prepared.network["block_id"] if block not in inside(made)))
    forced = decided(1e6, forced=(Forced(name, START, "reconstruction"),))
    said = reasons.explain(forced, name)
    assert said[0].startswith("Chosen: ") and not any("another choice would be better" in line for line in said)
    assert reasons.runners_up(forced, name)["short"].iloc[0] == pytest.approx(0.0)
    own = reasons.of_blocks(forced).set_index("block_id").loc[name]
    assert own["year"] == START and own["strategy"] == "reconstruction"


def test_blocks_of_a_corridor() -> None:
    made = decided(6e5, strategies="adequate", corridors="given")
    mine = [name for name in made.prepared.network["block_id"].head(6) if name in inside(made)]
    for name in made.prepared.network["block_id"].head(6):
        said = reasons.explain(made, name)
        assert said and (said[0].startswith("Chosen") if name in mine else not said[0].startswith("Chosen"))


def test_a_simple_rule_and_no_program() -> None:
    made = decided(choice="worst first")
    name = str(made.program["block_id"].iloc[0])
    assert "simple rule" in reasons.explain(made, name)[0]
    assert np.isnan(reasons.prices(made)).all() and reasons.next_dollars(made) == []
    assert reasons.of_limits(made)["price"].isna().all()
    offers, _, limits = reasons.proof(made)
    assert offers["chosen"].sum() > 0 and limits["price"].isna().all()
    none = decided(1.0, forced=(Forced(name, START, "full_depth"),))
    assert none.chosen.status == "infeasible" and reasons.explain(none, name) == ["There is no program: see the notes above."]
    assert reasons.payments(none).empty and reasons.of_blocks(none)["year"].isna().all()


def test_every_block_has_its_line() -> None:
    for made in (decided(), decided(**LIMITED), decided(strategies="adequate", corridors="given"), decided(0.0)):
        table = tables.check("places", reasons.of_blocks(made)).set_index("block_id")
        assert len(table) == len(made.prepared.network)
        held = made.program.set_index("block_id")
        assert set(table.index[table["year"].notna()]) == set(held.index)
        assert (table.loc[held.index, "year"] == held["year"]).all()
        assert (table.loc[held.index, "strategy"] == held["strategy"]).all()
        shut = table["next_year"].isna() & table["year"].isna()
        assert (table.loc[shut, "why"] != "").all() and (table.loc[~shut, "why"] == "").all()
    # What the line says is what the block's own table says.
    made, table = decided(), reasons.of_blocks(decided()).set_index("block_id")
    for name in made.prepared.network["block_id"].head(25):
        own = reasons.runners_up(made, name)
        rest = own[(own["why"] == "") & ~own["chosen"]]
        if len(rest):
            first, line = rest.sort_values("short", kind="stable").iloc[0], table.loc[name]
            assert line["short"] == pytest.approx(first["short"], abs=1e-6) and line["limit"] == first["limit"]


def test_limits_say_what_is_used() -> None:
    made = decided(**LIMITED)
    table = reasons.of_limits(made)
    floor = table[table["floor"].astype(bool)].iloc[0]
    district = LIMITED["district_shares"][0].district  # type: ignore[index]
    there = made.prepared.network["block_id"][made.prepared.network["district"] == district]
    assert floor["used"] == pytest.approx(made.program.loc[made.program["block_id"].isin(there), "cost_usd"].sum())
    assert floor["most"] == pytest.approx(0.1 * YEARS * 2.5e5) and floor["used"] >= floor["most"] * (1 - 1e-9)
    plain = reasons.of_limits(decided())
    assert plain["used"].to_numpy() == pytest.approx(decided().by_year["spent_usd"].to_numpy())
    assert (plain["most"] == 2e5).all() and (plain["price"] >= 0).all()


def test_the_next_dollars_buy_what_the_relaxation_gains() -> None:
    made = decided()
    said = reasons.next_dollars(made, 1000.0)
    assert len(said) == YEARS and all(str(START + at) in line for at, line in enumerate(said))
    # A dollar more lifts the bound by prices by its price and no more: the bound is their sum.
    prices = reasons.prices(made)
    assert (prices >= 0).all() and prices.max() > 0
    assert prices == pytest.approx(reasons.of_limits(made)["price"].to_numpy())
    assert f"adds {1000 * prices[0]:,.0f} square-yard-years" in said[0]
    rich = decided(1e9)
    assert all("buys nothing" in line for line in reasons.next_dollars(rich))
    assert reasons.gained(decided(benefit="agency cost"), 1234.0) == "saves $1,234 of present worth"


def test_what_changes_between_two_programs() -> None:
    one, other = decided(), decided(4e5)
    table = reasons.changes(one, other)
    first, second = (made.program.set_index("block_id") for made in (one, other))
    for row in table.itertuples():
        before, after = row.block_id in first.index, row.block_id in second.index
        if row.change == "only in the first":
            assert before and not after and pd.isna(row.year_other)
        elif row.change == "only in the second":
            assert after and not before and row.cost_usd_other == second.loc[row.block_id, "cost_usd"]
        elif row.change == "other work":
            assert first.loc[row.block_id, "strategy"] != second.loc[row.block_id, "strategy"]
        else:
            assert row.change == "other year" and row.year_one != row.year_other
    alike = [name for name in first.index.intersection(second.index)
             if (first.loc[name, ["year", "strategy"]] == second.loc[name, ["year", "strategy"]]).all()]
    assert set(table["block_id"]) == (set(first.index) | set(second.index)) - set(alike)
    assert reasons.changes(one, one).empty
    nothing = decided(0.0)
    assert set(reasons.changes(nothing, one)["change"]) == {"only in the second"}
    assert reasons.changes(nothing, nothing).empty


def test_another_second_work_is_a_change() -> None:
    made = decided()
    table = made.program.copy()
    first = table.index[0]
    later = table.assign(then_year=table["then_year"].astype("Int64"))
    later.loc[first, "then_year"] = 2040
    found = reasons.changes(made, replace(made, program=later))
    assert found["change"].tolist() == ["other second work"] and found["block_id"].tolist() == [table.loc[first, "block_id"]]


def test_payments_are_those_of_the_funds() -> None:
    made = decided(**LIMITED)
    paid = tables.check("payments", reasons.payments(made))
    assert paid.groupby("block_id")["usd"].sum().to_numpy() == pytest.approx(
        made.program.set_index("block_id")["cost_usd"].sort_index().to_numpy(), abs=0.02)
    assert set(paid["fund"]) <= {"general", "panels"}
    alone = reasons.payments(decided())
    assert set(alone["fund"]) == {"general"} and len(alone) == len(decided().program)
