"""Chances of a program: against numpy's own draws, by hand where nothing is left open, and by their limits."""

from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from rehab import plan
from rehab.base import tables
from rehab.base.settings import Assumptions, Override, Scenario
from rehab.inputs import assumptions as reader
from rehab.inputs import demo
from rehab.plan import Plan, answers, intervals, uncertainty
from rehab.steps import forecast

CERTAIN = {"family.life_cv": 0.0, "patch.life_cv": 0.0, "panel.life_cv": 0.0, "escalation.sd": 0.0,
           "quantity.common_cv": 0.0}


def settled(assumptions: Assumptions, **values: float) -> Assumptions:
    """Assumptions in which nothing is uncertain but what ``values`` of the table uncertainty say, and panels."""
    own = reader.overlay(assumptions, {"uncertainty": {**CERTAIN, **values}})
    given = dict(own.tables)
    given["pay_items"] = given["pay_items"].copy()
    if not values:
        for end in ("low", "high"):
            given["pay_items"][end] = given["pay_items"]["value"]
    given["defaults"] = given["defaults"].copy()
    for key in given["defaults"].index[given["defaults"].index.str.startswith("quantity_range")]:
        given["defaults"].loc[key, "value"] = "0"
    return replace(own, tables=given)


@cache
def city() -> Plan:
    blocks = demo.invent(60, 3).blocks
    ready = plan.prepare(blocks, tables.empty("defects"), reader.defaults(), 2027, 5)
    return plan.decide(ready, Scenario(start_year=2027, budgets_usd=(300_000.0,) * 5), 2)


@cache
def drawn() -> uncertainty.Chances:
    return uncertainty.chances(city(), 400)


def test_tables_hold_and_chances_are_chances() -> None:
    found = drawn()
    tables.check("chances", found.by_year)
    tables.check("block_chances", found.by_block)
    parts = found.by_block[["stays", "heavier", "lighter"]].sum(axis=1)
    assert parts.to_numpy() == pytest.approx(np.ones(len(parts)))
    assert (found.by_year["low_usd"] <= found.by_year["median_usd"]).all()
    assert (found.by_year["median_usd"] <= found.by_year["high_usd"]).all()
    budget = np.array(city().scenario.budgets_usd)
    assert found.by_year["over"].to_numpy() == pytest.approx((found.cost_usd > budget + 0.5).mean(axis=0))
    assert found.by_block["block_id"].tolist() == sorted(city().program["block_id"])


def test_second_works_are_in_the_draws_as_they_are_planned() -> None:
    sure = settled(reader.defaults())
    ready = plan.prepare(demo.invent(60, 3).blocks, tables.empty("defects"), sure, 2027, 10)
    made = plan.decide(ready, Scenario(start_year=2027, budgets_usd=(600_000.0,) * 10, works=2), 2)
    again = made.program[made.program["then_year"].notna()]
    assert len(again) > 2
    found = uncertainty.chances(made, 20)
    alone = uncertainty.chances(replace(made, program=made.program.assign(then_year=np.nan, then_work=None)), 20)
    years = made.by_year["year"].to_numpy()
    more = again.groupby("then_year")["then_usd"].sum().reindex(years, fill_value=0.0).to_numpy()
    assert found.cost_usd - alone.cost_usd == pytest.approx(np.tile(more, (20, 1)))
    assert (found.index[:, -1] > alone.index[:, -1]).all()
    block = again.iloc[0]
    path = answers.block_forecast(made, block["block_id"], 10).query("path == 'program'").set_index("year")
    assert path.loc[block["then_year"], "full_share"] < path.loc[block["then_year"] - 1, "full_share"]
    assert path.loc[block["then_year"], "full_share"] == 0  # panels were replaced, or all is new
    bands = intervals.with_bands(made, path.reset_index(), 50)
    assert bands.set_index("year").loc[block["then_year"], "full_high"] == 0


def test_the_same_seed_gives_the_same_draws_and_another_one_others() -> None:
    again, other = uncertainty.chances(city(), 50, 7), uncertainty.chances(city(), 50, 8)
    pd.testing.assert_frame_equal(again.by_year, uncertainty.chances(city(), 50, 7).by_year)
    assert not np.array_equal(again.cost_usd, other.cost_usd)


def test_planning_on_means_understates_the_money(defaults: Assumptions) -> None:
    # Chootinan and others 2006 (read in abstract): planning on expected condition underestimates the budget and
    # overestimates the condition.  Here panels and lives alone, at certain prices and measures.
    made = replace(city(), prepared=replace(city().prepared, assumptions=settled(defaults, **{"family.life_cv": 0.2})))
    found = uncertainty.chances(made, 400)
    error = found.cost_usd.sum(axis=1).std() / np.sqrt(400)
    assert found.by_year["mean_usd"].sum() > found.by_year["planned_usd"].sum() + 3 * error
    assert (found.by_year["index_with"] <= made.by_year["index_with"] + 0.5).all()


def test_nothing_open_but_panels_keeps_the_mean_condition(defaults: Assumptions) -> None:
    # With lives, measures and multipliers certain the drawn network is the planned one; weights of 1e9 hold the blocks
    # to their families, so that the plan is made anew.
    sure = reader.overlay(settled(defaults), {})
    rows = dict(sure.tables)
    rows["survival"] = rows["survival"].copy()
    rows["survival"].loc[["prior.shallow_weight", "prior.deep_weight"], "value"] = "1e12"
    sure = replace(sure, tables=rows)
    ready = plan.prepare(demo.invent(60, 3).blocks, tables.empty("defects"), sure, 2027, 5)
    made = plan.decide(ready, Scenario(start_year=2027, budgets_usd=(300_000.0,) * 5), 2)
    found = uncertainty.chances(made, 300)
    assert found.index == pytest.approx(np.broadcast_to(made.by_year["index_with"].to_numpy(), found.index.shape), abs=1e-3)
    assert found.index_without == pytest.approx(
        np.broadcast_to(made.by_year["index_without"].to_numpy(), found.index.shape), abs=1e-3)


def test_drawn_panels_are_those_of_their_chances(defaults: Assumptions) -> None:
    # A block's panels at a later year are multinomial given its multipliers: mean and variance of 20,000 draws against
    # the forecast's shares and scipy's binomial.
    ready = city().prepared
    row = int(np.flatnonzero((ready.needs["partial_share"] > 0).to_numpy())[0])
    rows, draws = np.array([row]), 20_000
    ones = forecast.Multiples(np.ones((draws, 1)), np.ones((draws, 1)), np.ones(draws), np.ones(draws))
    partial, full, whole = forecast.counts_at(ready.network, ready.needs, rows, np.array([2031]), ready.ageing, ones,
                                              np.ones((draws, 1)), ready.assumptions, np.random.default_rng(5))
    count = int(whole[0])
    for found, share in ((partial, ready.ageing.partial[row, 4]), (full, ready.ageing.full[row, 4])):
        curve = stats.binom(count, share)
        assert found.mean() == pytest.approx(curve.mean(), abs=5 * curve.std() / np.sqrt(draws) + 0.05)
        assert found.var() <= 1.1 * curve.var() + 0.3


def test_what_the_engineer_set_stays_in_every_draw() -> None:
    block = str(city().program["block_id"].iloc[0])
    asked = replace(city().scenario, overrides=(Override(block, "reconstruction", "sewer below"),),
                    budgets_usd=(2_000_000.0,) * 5)
    made = plan.decide(city().prepared, asked, 2)
    found = uncertainty.chances(made, 30).by_block.set_index("block_id")
    assert block in found.index and found.at[block, "stays"] == 1


def test_no_program_and_too_few_draws() -> None:
    idle = plan.decide(city().prepared, replace(city().scenario, budgets_usd=(0.0,) * 5), 2)
    found = uncertainty.chances(idle, 20)
    assert (found.by_year["mean_usd"] == 0).all() and found.by_block.empty and (found.by_year["over"] == 0).all()
    assert found.index == pytest.approx(found.index_without)
    with pytest.raises(ValueError, match="at least two draws"):
        uncertainty.chances(idle, 1)


def test_a_target_is_met_more_seldom_the_higher_it_is() -> None:
    found = drawn()
    middle = float(np.median(found.index[:, -1]))
    assert found.reaches(0) == 1 and found.reaches(100) == 0
    assert found.reaches(middle) == pytest.approx(0.5, abs=0.01)


def test_prices_spread_as_their_range_says(defaults: Assumptions) -> None:
    # A city's own low and high are the 10th and 90th percentiles: four in five draws lie between.
    own = reader.overlay(defaults, {"pay_items": {"diamond_grinding": 5.0, "diamond_grinding low": 4.0,
                                                  "diamond_grinding high": 6.25}})
    ready = replace(city().prepared, assumptions=own)
    factor, rise = uncertainty._prices(ready, 20_000, np.random.default_rng(1))
    at = own.table("pay_items").index.get_loc("diamond_grinding")
    assert ((factor[:, at] > 0.8) & (factor[:, at] < 1.25)).mean() == pytest.approx(0.8, abs=0.01)
    other = own.table("pay_items").index.get_loc("full_depth_panel")
    assert np.corrcoef(np.log(factor[:, [at, other]]).T)[0, 1] == pytest.approx(0.5, abs=0.03)
    assert rise.shape == (20_000, 5) and np.median(rise[:, 0]) == pytest.approx(1, abs=0.01)


def test_bands_hold_the_median_path_and_four_in_five_draws() -> None:
    block = str(city().program["block_id"].iloc[0])
    paths = answers.block_forecast(city(), block, 20)
    found = intervals.with_bands(city(), paths, 300)
    assert len(found) == len(paths)
    for name in ("index", "partial", "full"):
        assert (found[f"{name}_low"] <= found[f"{name}_high"]).all()
    assert (found["index_low"] <= found["index"] + 2).all() and (found["index_high"] >= found["index"] - 2).all()
    wide = (found["index_high"] - found["index_low"]).groupby(found["path"]).last()
    assert (wide > 0).all()


def test_lives_and_their_three_sentences() -> None:
    ready = city().prepared
    for block in ready.network["block_id"].iloc[::9]:
        lives = intervals.block_lives(ready, block, 60)
        tables.check("lives", lives)
        assert (lives.loc[lives["strategy"] == "none", "added_yr"] == 0).all()
        sentences = intervals.explain(ready, block)
        assert len(sentences) == 3 and "nan" not in " ".join(sentences)
        assert "falls to" in sentences[2] and "80 % interval" in sentences[1]
    network = intervals.lives_by_strategy(ready, 10)
    assert (network["low_yr"] <= network["median_yr"]).all() and network["blocks"].sum() <= len(ready.network)


def test_a_block_of_many_panels_has_the_narrower_band() -> None:
    usual = {"length_ft": 300.0, "width_ft": 36.0, "year_built": 1986, "surveyed_on": "2026-06-01"}
    rows = [{"panels": 10, "panels_broken": 1}, {"panels": 2_000, "panels_broken": 200}]
    blocks = tables.with_types("blocks", pd.DataFrame([{"block_id": f"B{number}", **usual, **row}
                                                       for number, row in enumerate(rows, 1)]))
    ready = plan.prepare(blocks, tables.empty("defects"), reader.defaults(), 2027, 4)
    few, many = (intervals.block_lives(ready, block).set_index("strategy").loc["full_depth"] for block in ("B1", "B2"))
    assert many["treated_high_yr"] - many["treated_low_yr"] < few["treated_high_yr"] - few["treated_low_yr"]
