"""The whole plan on a part of the demo city: budgets, totals, schemas, order, edges."""

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from rehab import plan
from rehab.base import tables
from rehab.base.settings import Assumptions, Forced, Override, Scenario
from rehab.inputs import assumptions as reader
from rehab.inputs import reading
from rehab.plan import answers, results
from rehab.steps import estimate, network, season

Maker = Callable[..., pd.DataFrame]
DEMO = Path(__file__).parents[2] / "data" / "demo"
YEARS = 6
MONEY = 500_000.0


@cache
def demo() -> tuple[pd.DataFrame, pd.DataFrame]:
    """Every eighth block of the demo city with its defects."""
    blocks = reading.read_blocks(reading.open_table("blocks.csv", (DEMO / "blocks.csv").read_bytes())).table
    opened = reading.open_table("blocks_defects.csv", (DEMO / "blocks_defects.csv").read_bytes())
    part = blocks.iloc[::8].reset_index(drop=True)
    defects = reading.read_defects(opened, None, blocks).table
    return part, defects[defects["block_id"].isin(part["block_id"])].reset_index(drop=True)


@cache
def prepared() -> plan.Prepared:
    return plan.prepare(*demo(), reader.defaults(), 2027, YEARS)


@cache
def decided(usd: float = MONEY, choice: str = "best") -> plan.Plan:
    return plan.decide(prepared(), scenario(usd, choice=choice), effort=3)


def scenario(usd: float = MONEY, **more: object) -> Scenario:
    return Scenario(start_year=2027, budgets_usd=(usd,) * YEARS, **more)  # type: ignore[arg-type]


def bare(*rows: dict[str, object]) -> pd.DataFrame:
    usual = {"length_ft": 300.0, "width_ft": 36.0, "year_built": 1986, "surveyed_on": "2026-06-01"}
    return tables.with_types("blocks", pd.DataFrame(
        [{"block_id": f"B{number:03d}", **usual, **row} for number, row in enumerate(rows, 1)]))


def planned(blocks: pd.DataFrame, usd: float = MONEY, **more: object) -> plan.Plan:
    ready = plan.prepare(blocks, tables.empty("defects"), reader.defaults(), 2027, YEARS)
    return plan.decide(ready, scenario(usd, **more), effort=5)


def test_within_budget_in_every_year() -> None:
    for choice in ("best", "worst first", "no work"):
        made = decided(choice=choice)
        assert (made.by_year["spent_usd"] <= made.by_year["budget_usd"] * (1 + 1e-9)).all()
        assert made.program["block_id"].is_unique
    assert len(decided().program) > 20 and decided(choice="no work").program.empty


def test_best_is_no_worse_than_worst_first_and_the_bound_holds() -> None:
    best, worst = decided(), decided(choice="worst first")
    slack = best.summary["gap"] * best.summary["upper_bound"]  # the clock may end the search before the proof
    assert best.summary["objective"] >= worst.summary["objective"] - slack
    assert best.summary["upper_bound"] >= worst.summary["objective"]
    assert best.summary["upper_bound"] >= best.summary["objective"] - 1e-6
    assert best.summary["objective"] == pytest.approx(best.program["benefit"].sum())
    assert worst.summary["objective"] == pytest.approx(worst.program["benefit"].sum())
    assert worst.summary["upper_bound"] is None and worst.summary["gap"] is None


def test_more_money_never_buys_less() -> None:
    # What the bound proves: the optimum of the larger budget is at least the smaller's, and the program found is
    # within the gap it states.
    values = [decided(usd).summary for usd in (0.0, 100_000.0, MONEY, 2_000_000.0)]
    assert values[0]["objective"] == 0 and values[0]["spent_usd"] == 0
    for less, more in zip(values, values[1:], strict=False):
        assert more["objective"] >= less["objective"] - more["gap"] * abs(more["upper_bound"]) - 1e-6
        assert more["upper_bound"] >= less["objective"] - 1e-6


def test_every_table_passes_its_schema() -> None:
    ready, made = prepared(), decided()
    for name, table in (("network", ready.network), ("needs", ready.needs), ("repairs", ready.repairs),
                        ("strategies", ready.strategies), ("strategies", made.strategies),
                        ("forecast", ready.forecast), ("overview", made.overview), ("program", made.program),
                        ("by_year", made.by_year), ("quantities", made.quantities), ("costs", made.costs),
                        ("forecast", answers.treated_now(ready))):
        tables.check(name, table)
    tables.check("notes", tables.with_types("notes", made.notes))
    tables.check("needs", tables.with_types("needs", ready.needs_by_year))
    assert len(made.overview) == len(demo()[0]) == len(ready.network)


def test_totals_agree() -> None:
    made = decided()
    spent = made.program.groupby("year")["cost_usd"].sum().reindex(made.by_year["year"]).fillna(0).to_numpy()
    assert made.by_year["spent_usd"].to_numpy() == pytest.approx(spent)
    kinds = made.by_year[["partial_depth_usd", "full_depth_usd", "reconstruction_usd"]].sum(axis=1)
    assert kinds.to_numpy() == pytest.approx(spent)
    for name in tables.WORK:
        assert made.by_year[f"{name}_usd"].sum() == pytest.approx(
            made.program.loc[made.program["strategy"] == name, "cost_usd"].sum())
    assert made.summary["spent_usd"] == pytest.approx(made.program["cost_usd"].sum())
    shown = made.overview.dropna(subset="program_year")
    assert shown["program_cost_usd"].sum() == pytest.approx(made.program["cost_usd"].sum())
    today = made.costs[made.costs["basis"] == "today"].set_index("block_id")["likely_usd"]
    assert made.overview["likely_usd"].to_numpy() == pytest.approx(today.reindex(made.overview["block_id"]).to_numpy())
    assert sum(made.summary["strategies"].values()) == made.summary["blocks"] == len(made.overview)


def test_quantities_times_prices_are_the_costs_to_the_cent() -> None:
    # Worked from the listed quantities alone: prices, the four mark-ups with the contingency of the block's survey,
    # 4 % a year from 2023.
    made, assumptions = decided(), reader.defaults()
    items = assumptions.table("pay_items")
    prices = pd.to_numeric(items["value"]).where(items["included_in"] == "", 0.0)
    lines = made.quantities.assign(usd=made.quantities["quantity"] * made.quantities["pay_item"].map(prices))
    key = ["block_id", "year", "strategy"]
    total = lines.groupby(key)["usd"].sum().reset_index()
    detail = made.prepared.network.set_index("block_id")["condition_source"].loc[total["block_id"]]
    contingency = detail.map({"panel survey": 1.2, "counts": 1.25}).fillna(1.3).to_numpy()
    total["usd"] *= 1.1 * 1.08 * contingency * 1.2 * 1.04 ** (total["year"] - 2023)
    costs = made.costs.drop_duplicates(key, keep="first")  # 'program' before 'today' where both stand
    both = costs.merge(total, on=key, how="left").fillna({"usd": 0.0})
    assert np.abs(both["likely_usd"] - both["usd"]).max() < 0.005
    assert (costs["low_usd"] <= costs["likely_usd"]).all() and (costs["likely_usd"] <= costs["high_usd"]).all()
    program_rows = made.costs[made.costs["basis"] == "program"].merge(made.program, on=key)
    assert len(program_rows) == len(made.program)
    assert np.abs(program_rows["likely_usd"] - program_rows["cost_usd"]).max() < 0.005


def test_worked_blocks_are_due_open_and_adequate() -> None:
    made, ready = decided(), prepared()
    row = pd.Series(range(len(ready.network)), index=ready.network["block_id"])
    for block, year, strategy in made.program[["block_id", "year", "strategy"]].itertuples(index=False):
        assert ready.adequate[strategy][row[block], year - 2027]
    joined = made.program.merge(ready.network[["block_id", "utility_year", "no_work_until"]], on="block_id")
    assert not (joined["year"] < joined["no_work_until"]).any()
    assert not ((joined["year"] <= joined["utility_year"]) & (joined["year"] >= joined["utility_year"] - 5)).any()


def test_the_first_year_is_the_survey_carried_forward() -> None:
    # Needs of the first program year differ from the survey only by the years between.
    ready = prepared()
    first = ready.needs_by_year[ready.needs_by_year["year"] == 2027].reset_index(drop=True)
    assert first["block_id"].tolist() == ready.needs["block_id"].tolist()
    assert (first["full_share"] >= ready.needs["full_share"] - 1e-12).all()
    assert first["partial_depth_in"].to_numpy() == pytest.approx(ready.needs["partial_depth_in"].to_numpy())
    # A block without repairs in the survey year may expect some a year later, and is ground with them.
    same = ready.needs["grind_sqyd"] > 0
    assert first["grind_sqyd"][same].to_numpy() == pytest.approx(ready.needs["grind_sqyd"][same].to_numpy())


@cache
def small() -> tuple[pd.DataFrame, pd.DataFrame]:
    """A city so small that the best program is proven long before the clock ends the search."""
    blocks, defects = demo()
    some = blocks.iloc[::8]
    return some, defects[defects["block_id"].isin(some["block_id"])]


def test_the_order_of_rows_is_irrelevant_and_inputs_stay() -> None:
    blocks, defects = small()
    turned, seen = blocks.iloc[::-1], defects.iloc[::-1]
    before = turned.copy(deep=True), seen.copy(deep=True)
    made = [plan.decide(plan.prepare(table, rows, reader.defaults(), 2027, YEARS), scenario(300_000.0), 200)
            for table, rows in ((blocks, defects), (turned, seen))]
    pd.testing.assert_frame_equal(turned, before[0])
    pd.testing.assert_frame_equal(seen, before[1])
    assert made[0].summary["status"] == "optimal" and len(made[0].program) > 5
    for name in ("overview", "program", "by_year", "quantities", "costs", "strategies"):
        pd.testing.assert_frame_equal(getattr(made[0], name), getattr(made[1], name))


def test_twice_is_the_same() -> None:
    ready = [plan.prepare(*small(), reader.defaults(), 2027, YEARS) for _ in range(2)]
    for choice, usd in (("best", 300_000.0), ("best", 20_000_000.0), ("worst first", 300_000.0)):
        first, again = (plan.decide(one, scenario(usd, choice=choice), 200) for one in ready)
        for name in ("overview", "program", "by_year", "quantities", "costs", "notes"):
            pd.testing.assert_frame_equal(getattr(first, name), getattr(again, name))
        assert again.summary["fingerprints"] == first.summary["fingerprints"]
    assert decided().summary["fingerprints"]["scenario"] != decided(100_000.0).summary["fingerprints"]["scenario"]


def test_the_program_does_what_the_rules_decide_unless_all_adequate_work_is_open() -> None:
    ready = prepared()
    position = {name: row for row, name in enumerate(ready.network["block_id"])}
    for opened, same in (("by rule", True), ("adequate", False)):
        made = plan.decide(ready, scenario(50_000_000.0, strategies=opened), 5).program
        rule = ready.by_rule[[position[name] for name in made["block_id"]], made["year"] - ready.start_year]
        assert ((np.array(tables.STRATEGIES)[rule] == made["strategy"]).all()) == same
        assert len(made) > 20


def test_assumptions_stay_as_they_are() -> None:
    assumptions = reader.defaults()
    before = {name: table.copy(deep=True) for name, table in assumptions.tables.items()}
    plan.decide(plan.prepare(demo()[0].iloc[:5], demo()[1], assumptions, 2027, YEARS), scenario())
    for name, table in assumptions.tables.items():
        pd.testing.assert_frame_equal(table, before[name])


def test_the_summary_holds_no_nan() -> None:
    def numbers(value: object) -> list[float]:
        if isinstance(value, dict):
            return [number for item in value.values() for number in numbers(item)]
        if isinstance(value, list):
            return [number for item in value for number in numbers(item)]
        return [float(value)] if isinstance(value, int | float) else []

    for choice in ("best", "worst first", "no work"):
        found = numbers(decided(choice=choice).summary)
        assert len(found) > 50 and np.isfinite(found).all()


def test_work_makes_the_network_better_and_none_leaves_it_alone() -> None:
    idle, made = decided(choice="no work").by_year, decided().by_year
    for name in ("index", "sound", "full"):
        assert idle[f"{name}_with"].to_numpy() == pytest.approx(idle[f"{name}_without"].to_numpy())
        assert made[f"{name}_without"].to_numpy() == pytest.approx(idle[f"{name}_without"].to_numpy())
    assert (made["sound_with"] > made["sound_without"]).all() and (made["full_with"] <= made["full_without"]).all()
    assert (idle["ground_sqyd"] == 0).all() and (made["ground_sqyd"] > 0).any()
    # What the program grinds wears, and only that: no surface of the demo city was ground before.
    assert (idle["reground_sqyd"] == 0).all() and (made["reground_sqyd"].iloc[1:] > 0).any()
    assert (made["grind_need_sqyd"] == idle["grind_need_sqyd"]).all()
    assert (made["grind_need_sqyd"].diff().iloc[1:] >= 0).all()  # without work no surface gets smoother
    area = prepared().network["area_sqyd"]
    mean = np.average(prepared().ageing.index[:, 0], weights=area)
    assert made["index_without"].iloc[0] == pytest.approx(mean)


def test_grinding_of_the_program_is_what_its_quantities_and_prices_say() -> None:
    made = decided()
    listed = made.quantities.merge(made.program[["block_id", "year", "strategy"]])
    ground = listed[listed["pay_item"] == "diamond_grinding"].groupby("year")["quantity"].sum()
    by_year = made.by_year.set_index("year")
    assert by_year["ground_sqyd"].to_numpy() == pytest.approx(ground.reindex(by_year.index, fill_value=0).to_numpy())
    # The same area at the unit price with mark-ups and escalation, block by block.
    rows = listed[listed["pay_item"] == "diamond_grinding"].merge(prepared().network[["block_id", "condition_source"]])
    factor = estimate.factors(rows["year"], prepared().assumptions, rows["condition_source"])
    usd = (rows["quantity"] * prepared().assumptions.number("pay_items", "diamond_grinding") * factor)
    paid = usd.groupby(rows["year"]).sum().reindex(by_year.index, fill_value=0)
    assert by_year["ground_usd"].to_numpy() == pytest.approx(paid.to_numpy())
    assert (by_year["ground_usd"] <= by_year["spent_usd"] + 1e-6).all()


def test_steps_and_ride_grow_with_the_years() -> None:
    ready = prepared()
    steps = ready.needs_by_year["faulting_in"].to_numpy(float).reshape(-1, YEARS)
    seen = ready.network["faulting_in"].notna().to_numpy()
    assert np.isnan(steps[~seen]).all() and np.isfinite(steps[seen]).all() and seen.any()
    assert (np.diff(steps[seen], axis=1) >= 0).all() and (steps[seen, -1] > steps[seen, 0]).any()
    assert (steps[seen, 0] >= ready.network["faulting_in"][seen]).all()


def test_an_override_is_kept_with_its_reason_in_every_choice() -> None:
    made = decided()
    block = made.overview.loc[made.overview["strategy"] == "partial_depth", "block_id"].iloc[0]
    open_years = network_open(block)
    assert open_years
    own = (Override(block, "reconstruction", "a bus lane comes"),)
    for choice in ("best", "worst first"):
        changed = plan.decide(prepared(), scenario(50_000_000.0, overrides=own, choice=choice), 0.5)
        row = changed.overview.set_index("block_id").loc[block]
        assert row["strategy"] == "reconstruction" and row["overridden"] and "a bus lane comes" in row["reasons"]
        assert row["program_strategy"] == "reconstruction"  # money for everything: the block is worked on as set


def network_open(block: str) -> bool:
    row = prepared().network.set_index("block_id").loc[block]
    return bool(np.isnan(row["utility_year"]) and np.isnan(row["no_work_until"]))


def test_locks_reach_the_program() -> None:
    first, second = decided().program["block_id"].iloc[:2]
    asked = scenario(2_000_000.0, forced=(Forced(first, 2030, "full_depth"),), kept_out=(second,))
    made = plan.decide(prepared(), asked, 0.5)
    row = made.program.set_index("block_id").loc[first]
    assert (row["year"], row["strategy"]) == (2030, "full_depth")
    assert second not in set(made.program["block_id"])


def test_forced_work_beyond_the_budget_is_a_result() -> None:
    block = decided().program["block_id"].iloc[0]
    for choice in ("best", "worst first"):
        asked = scenario(1_000.0, forced=(Forced(block, 2028, "reconstruction"),), choice=choice)
        made = plan.decide(prepared(), asked, 0.5)
        assert made.summary["status"] == "infeasible" and made.program.empty
        note = made.notes[made.notes["year"] == 2028].iloc[-1]
        assert note["topic"] == "conflict" and "$1,000" in note["message"]


def test_standard_scenarios_run() -> None:
    own = scenario(400_000.0, kept_out=(decided().program["block_id"].iloc[0],), name="mine")
    asked = answers.standard_scenarios(own)
    assert [item.choice for item in asked] == ["no work", "best", "worst first", "benefit-cost ratio",
                                               "incremental benefit-cost", "best"] and asked[-1] is own
    made = [plan.decide(prepared(), item, 1) for item in asked]
    objective = [item.summary["objective"] for item in made]
    assert objective[0] == 0 and all(made[1].summary["upper_bound"] >= value > 0 for value in objective[2:])
    assert made[0].by_year["spent_usd"].sum() == 0
    assert len({item.summary["fingerprints"]["scenario"] for item in made}) == 6


def test_the_forecast_of_a_block() -> None:
    made = decided()
    for block in made.program["block_id"].iloc[:4]:
        found = answers.block_forecast(made, block, 30)
        tables.check("forecast", found.astype({"year": "int64", "strategy": "str", "block_id": "str"}))
        paths = found.groupby("path", sort=False)
        assert {"no work", "program"} <= set(paths.groups) and (paths.size() == 30).all()
        without, program_path = paths.get_group("no work"), paths.get_group("program")
        year = made.program.set_index("block_id").loc[block, "year"]
        early = program_path["year"].to_numpy() < year
        assert program_path["index"].to_numpy()[early] == pytest.approx(without["index"].to_numpy()[early])
        late = program_path["sound_share"].to_numpy()[~early] - without["sound_share"].to_numpy()[~early]
        assert (late >= -1e-12).all()


def test_years_that_were_not_prepared_are_a_fault() -> None:
    with pytest.raises(ValueError, match="not the prepared ones"):
        plan.decide(prepared(), Scenario(start_year=2028, budgets_usd=(1.0,) * YEARS))


def test_the_season_of_a_year() -> None:
    made = decided()
    year = int(made.program["year"].iloc[0])
    tasks = plan.season_of(made, year, seconds=0.5).tasks
    tables.check("tasks", tasks)
    assert set(tasks["block_id"]) <= set(made.program.loc[made.program["year"] == year, "block_id"])
    ground = tasks[tasks["task"].isin(["grind", "patch"])].pivot_table(
        index="block_id", columns="task", values="start", aggfunc="first").dropna()
    assert len(ground) and ((ground["grind"] - ground["patch"]).dt.days >= 28).all()
    empty = plan.season_of(decided(choice="no work"), 2027, seconds=0.5)
    assert empty.tasks.empty and not empty.notes
    assert set(tasks["start"].dt.date) <= {day for at in (year, year + 1) for day in
                                           season.working_days(at, reader.defaults())}


def test_a_word_that_nobody_knows_leaves_the_block_out_with_a_note() -> None:
    made = planned(bare({"panels_broken": 5}, {"condition_word": "wobbly"}, {"condition_word": "poor"}))
    assert made.overview["block_id"].tolist() == ["B001", "B003"]
    note = made.notes.iloc[0]
    assert note["block_id"] == "B002" and "wobbly" in note["message"] and note["topic"] == "condition"


def test_no_usable_block_is_an_empty_plan() -> None:
    made = planned(bare({"condition_word": "wobbly"}))
    assert made.overview.empty and made.program.empty and len(made.notes) == 1
    assert (made.by_year["spent_usd"] == 0).all() and len(made.by_year) == YEARS


def test_a_single_block() -> None:
    # Rebuilding costs more than $200,000 of any year; replacing five panels does not.
    made = planned(bare({"panels_broken": 5}), usd=200_000.0)
    assert made.program["strategy"].tolist() == ["full_depth"]
    assert made.summary["status"] == "optimal" and made.overview["strategy"].tolist() == ["full_depth"]


def test_all_blocks_estimated() -> None:
    made = planned(bare(*({"condition_index": float(index)} for index in range(0, 101, 5))))
    assert made.overview["estimated"].all() and made.summary["estimated_blocks"] == 21
    assert made.strategies["estimated"].all() and not made.program.empty


@pytest.mark.parametrize("count", [2, 7, 10, 19])
def test_a_sound_city_is_sound(count: int) -> None:
    # Weighted means of shares of 1 must not come out above 1 by rounding.
    sound = bare(*({"panels_broken": 0, "surveyed_on": "2027-01-05", "length_ft": 100.0 + 37.3 * number}
                   for number in range(count)))
    made = planned(sound)
    assert made.by_year["sound_without"].iloc[0] == pytest.approx(1)
    assert made.by_year["index_without"].iloc[0] == pytest.approx(100)
    assert (made.overview["strategy"] == "none").all() and 2027 not in set(made.program["year"])


def test_work_after_the_survey_is_said() -> None:
    made = planned(bare({"panels_broken": 6, "surveyed_on": "2020-01-01", "last_work_year": 2024}, {"panels_broken": 2}))
    note, = (text for text in made.notes["message"] if "recorded after the survey" in text)
    assert note.startswith("1 block with work") and "(B001)" in note


def test_surveyed_after_the_program_begins() -> None:
    made = planned(bare({"panels_broken": 6, "surveyed_on": "2029-01-01"}))
    assert any("1 block surveyed after 2027" in text for text in made.notes["message"])
    assert made.overview["full_share"].iloc[0] == pytest.approx(0.1)  # 20 x 3 panels of 15 x 12 ft
    assert made.by_year["full_without"].iloc[0] == pytest.approx(0.1)


def test_annual_cost_of_every_strategy_is_there() -> None:
    worth = prepared().worth
    assert worth["block_id"].tolist() == prepared().network["block_id"].tolist()
    assert np.isfinite(worth.drop(columns="block_id").to_numpy()).all()
    # A block at its trigger today: doing nothing means to do today the lightest work that is adequate, at its cost.
    due = (prepared().lives["none"]["untreated_yr"] == 0).to_numpy()
    assert due.any()
    adequate = [prepared().adequate[name][due, 0] for name in ("partial_depth", "full_depth")]
    assert adequate[1].any() and not adequate[1].all()
    lightest = np.select(adequate, worth.loc[due, ["partial_depth_worth_usd", "full_depth_worth_usd"]].to_numpy().T,
                         worth.loc[due, "reconstruction_worth_usd"])
    assert worth.loc[due, "none_worth_usd"].to_numpy() == pytest.approx(lightest)


def test_rows_of_keeps_the_order_asked_for(defaults: Assumptions) -> None:
    city = network.build(bare({"panels_broken": 1}, {"panels_broken": 2}), defaults)
    found = results.rows_of(city, pd.Series(["B002", "B001", "B002"]))
    assert found["block_id"].tolist() == ["B002", "B001", "B002"]


def test_prices_reach_the_program() -> None:
    # Twice every price, mark-ups and lives as before: twice the cost, whatever the plan.
    blocks = bare({"panels_broken": 5}, {"condition_index": 30.0})
    assumptions = reader.defaults()
    items = assumptions.table("pay_items").copy()
    items["value"] = (2 * pd.to_numeric(items["value"])).astype(str)
    dear = replace(assumptions, tables={**assumptions.tables, "pay_items": items})
    one, two = (plan.prepare(blocks, tables.empty("defects"), given, 2027, YEARS) for given in (assumptions, dear))
    for name in tables.WORK:
        assert two.costs[name] == pytest.approx(2 * one.costs[name])
        assert two.benefits[name] == pytest.approx(one.benefits[name])
    assert estimate.markup(dear, "counts") == estimate.markup(assumptions, "counts")
