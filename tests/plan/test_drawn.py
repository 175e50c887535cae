"""Drawn alternatives: against the plan itself, each draw made the long way, series by hand, and scipy's percentiles."""

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from rehab import plan
from rehab.base.money import escalation_factor, present_worth_factor
from rehab.base.settings import Assumptions
from rehab.base.tables import STRATEGIES, WORK
from rehab.inputs import assumptions as reader
from rehab.inputs import demo
from rehab.plan import Prepared, drawn
from rehab.steps import estimate, forecast, needs, program, strategy, takeoff

ITEMS = len(reader.defaults().table("pay_items"))


def given(base: Assumptions, **values: dict[str, Any]) -> Assumptions:
    """The assumptions with these values, whatever range the rows allow."""
    tables = dict(base.tables)
    for name, rows in values.items():
        tables[name] = tables[name].copy()
        for key, value in rows.items():
            tables[name].loc[key, "value"] = str(value)
    return replace(base, tables=tables)


def certain(base: Assumptions) -> Assumptions:
    """Assumptions that leave nothing open: each block is its family's, each survey and each price is right."""
    zero = dict.fromkeys(("family.life_cv", "patch.life_cv", "panel.life_cv", "escalation.sd", "quantity.common_cv"), 0)
    ranges = [key for key in base.table("defaults").index if key.startswith("quantity_range")]
    found = given(base, uncertainty=zero, defaults=dict.fromkeys(ranges, 0),
                  survival={"prior.shallow_weight": 1e12, "prior.deep_weight": 1e12})
    items = found.table("pay_items").copy()
    items["low"] = items["high"] = items["value"]
    return replace(found, tables={**found.tables, "pay_items": items})


@cache
def city(years: int = 5, blocks: int = 60, **economics: float) -> Prepared:
    made = demo.invent(blocks, 3)
    used = given(reader.defaults(), economics=economics) if economics else reader.defaults()
    return plan.prepare(made.blocks, made.defects, used, 2027, years)


def as_planned(ready: Prepared, draws: int = 1) -> drawn._Draws:
    """All factors one."""
    one = np.ones((draws, len(ready.network)))
    return drawn._Draws(forecast.Multiples(one, one, np.ones(draws), np.ones(draws)), one, np.ones((draws, ITEMS)),
                        np.ones((draws, ready.years)))


def at_random(ready: Prepared, draws: int, rise_to: float, seed: int = 4) -> drawn._Draws:
    """Factors far from one, and prices that rise by ``rise_to`` a year."""
    rng = np.random.default_rng(seed)
    shape = (draws, len(ready.network))
    lives = forecast.Multiples(*(rng.uniform(0.3, 3.0, size) for size in (shape, shape, draws, draws)))
    used = ready.assumptions
    ahead = ready.start_year + np.arange(ready.years) - used.number("economics", "price_year")
    rise = ((1 + rise_to) / (1 + used.number("economics", "escalation"))) ** ahead
    return drawn._Draws(lives, rng.uniform(0.5, 2.0, shape), rng.uniform(0.6, 1.8, (draws, ITEMS)),
                        np.tile(rise, (draws, 1)))


def agree(found: drawn.Drawn, costs: dict[str, Any], benefits: dict[str, Any], by_rule: Any,
          adequate: dict[str, Any]) -> None:
    """Costs and benefits to rounding, what the rules decide in every block and year."""
    np.testing.assert_array_equal(found.by_rule, by_rule)
    for name in WORK:
        np.testing.assert_array_equal(found.adequate[name], adequate[name])
        np.testing.assert_allclose(found.costs[name], costs[name], rtol=1e-13)
        largest = np.abs(benefits[name]).max()  # a difference of two sums: rounding is that of the sums
        np.testing.assert_allclose(found.benefits[name], benefits[name], rtol=1e-12, atol=1e-13 * largest)


def long_way(ready: Prepared, draws: drawn._Draws, draw: int, rise_to: float) -> tuple[Any, Any, Any, Any]:
    """One draw by the steps that prepare a plan, with the draw's prices and rise put into the assumptions."""
    price = ready.assumptions.table("pay_items")["value"].astype(float) * draws.prices[draw]
    used = given(ready.assumptions, pay_items=price.to_dict(), economics={"escalation": rise_to})
    blocks, years = ready.by_rule.shape
    lives = draws.lives
    ageing = forecast.vary(ready.ageing, np.arange(blocks), lives.shallow[draw], lives.deep[draw], used,
                           ready.ageing.shallow.shape[1], lives.patch[draw], lives.panel[draw], draws.seen[draw])
    row = np.repeat(np.arange(blocks), years)
    rides = ready.needs_by_year[["faulting_in", "iri_in_per_mi"]]
    shares = forecast.growing_shares(ready.needs, ageing, years, used).join(rides)
    block = ready.network.iloc[row]
    need = needs.scale(block, shares, ready.each.iloc[row])
    costs = {name: estimate.price(takeoff.measure(block, need, name, used), need["year"], used,
                                  block["condition_source"].to_numpy())["likely_usd"].to_numpy() for name in WORK}
    yearly = strategy.sort(block, need, used, measures=strategy.cost_measures(
        costs["full_depth"], costs["reconstruction"]))
    by_rule = yearly["strategy"].map(STRATEGIES.index).to_numpy().reshape(-1, years)
    costs = {name: usd.reshape(-1, years) for name, usd in costs.items()}
    benefits = {name: forecast.benefit(ready.network, ageing, years, name, used) for name in WORK}
    ahead = np.arange(years)
    waited = program.less_waiting(benefits, costs, by_rule, escalation_factor(rise_to, ahead), present_worth_factor(
        used.number("economics", "discount"), ahead), used.number("economics", "waiting_worth"))
    return costs, waited, by_rule, {name: flags.reshape(-1, years)
                                    for name, flags in strategy.adequate(yearly).items()}


@pytest.mark.parametrize(("years", "economics"), [(10, {}), (1, {}), (5, {"horizon_yr": 3}), (4, {"discount": 0.0})])
def test_with_every_factor_one_a_draw_is_the_plan(years: int, economics: dict[str, float]) -> None:
    ready = city(years, **economics)
    made = list(drawn._made(ready, as_planned(ready, 3)))
    assert len(made) == 3
    for found in made:
        agree(found, ready.costs, ready.benefits, ready.by_rule, ready.adequate)


def test_every_draw_is_what_the_steps_make_of_it_the_long_way() -> None:
    ready = city()
    draws = at_random(ready, 4, 0.07)
    moved = 0
    for draw, found in enumerate(drawn._made(ready, draws)):
        agree(found, *long_way(ready, draws, draw, 0.07))
        moved += int((found.by_rule != ready.by_rule).sum())
    assert moved > 20  # the factors are large enough to change what the rules decide


def test_new_concrete_of_even_hazard_stands_a_geometric_series() -> None:
    # With one hazard h in every year and the discount r, a panel made in year s stands sum of (exp(-h) / (1 + r))^k
    # over the k = 0 ... H - s - 1 years left, discounted from s: (1 - q^n) / (1 - q) of any textbook of algebra.
    ready, horizon, rate = city(), 40, 0.03
    even = np.full((1, horizon), 0.01)
    nothing, one = np.zeros((1, horizon)), np.ones(1)
    lost = replace(ready.ageing, shallow=even, deep=even, mended_hazard=nothing, mended_left=np.zeros(1),
                   sound=nothing, partial=nothing, full=np.ones((1, horizon)), new_shallow=even, new_deep=2 * even,
                   panel=np.full(horizon, 0.05), patch=np.full(horizon, 0.08), family=np.zeros(1, np.int64),
                   factors=(2 * one, 3 * one, one, 4 * one))
    gains = drawn._gains(lost, 6, horizon, rate)
    for name, hazard in (("reconstruction", 2 * 0.01 + 3 * 0.02), ("full_depth", 4 * 0.05)):
        q, step = np.exp(-hazard) / (1 + rate), np.arange(6)
        series = (1 + rate) ** -step * (1 - q ** (horizon - step)) / (1 - q)
        np.testing.assert_allclose(gains[name][0], series, rtol=1e-12)
    assert (gains["partial_depth"] == 0).all()  # nothing is patched where all panels are broken


def test_dearer_money_and_a_faster_rise_make_costs_dearer_and_no_waiting() -> None:
    # All prices times two, rising at 9 % a year instead of 4 %: the damage is the same, and so is what waiting loses.
    ready = city()
    ahead = ready.start_year + np.arange(5) - ready.assumptions.number("economics", "price_year")
    rise = (1.09 / (1 + ready.assumptions.number("economics", "escalation"))) ** ahead
    found = next(drawn._made(ready, as_planned(ready)._replace(prices=np.full((1, ITEMS), 2.0), rise=rise[None])))
    agree(found, {name: 2 * usd * rise for name, usd in ready.costs.items()}, ready.benefits, ready.by_rule,
          ready.adequate)


def test_where_nothing_is_open_the_draws_are_the_plan(defaults: Assumptions) -> None:
    made = demo.invent(60, 3)
    ready = plan.prepare(made.blocks, made.defects, certain(defaults), 2027, 4)
    for found in drawn.alternatives(ready, 3):
        np.testing.assert_array_equal(found.by_rule, ready.by_rule)
        for name in WORK:
            np.testing.assert_allclose(found.costs[name], ready.costs[name], rtol=1e-4)
            np.testing.assert_allclose(found.benefits[name], ready.benefits[name], rtol=1e-4,
                                       atol=1e-5 * np.abs(ready.benefits[name]).max())


def test_the_same_seed_gives_the_same_draws_however_many_are_made_at_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    ready = city()
    together = list(drawn.alternatives(ready, 5, 9))
    monkeypatch.setattr(drawn, "_ROWS", 2 * ready.by_rule.size)  # two, two and one
    for found, one in zip(drawn.alternatives(ready, 5, 9), together, strict=True):
        agree(found, one.costs, one.benefits, one.by_rule, one.adequate)
    other = next(drawn.alternatives(ready, 5, 10))
    assert not np.allclose(other.costs["full_depth"], together[0].costs["full_depth"])
    with pytest.raises(ValueError, match="at least one draw"):
        drawn.alternatives(ready, 0)


def test_draws_have_the_meaning_and_shape_of_the_plan() -> None:
    ready = city()
    for found in drawn.alternatives(ready, 20):
        assert found.by_rule.shape == ready.by_rule.shape and found.by_rule.dtype == ready.by_rule.dtype
        assert found.costs.keys() == ready.costs.keys() and found.adequate.keys() == ready.adequate.keys()
        assert all((usd >= 0).all() and np.isfinite(usd).all() for usd in found.costs.values())
        assert all(np.isfinite(gain).all() for gain in found.benefits.values())
        for number, name in enumerate(WORK, 1):  # what the rules decide is adequate
            assert found.adequate[name][found.by_rule == number].all()


def test_the_measure_of_a_survey_spreads_as_its_range_says(defaults: Assumptions) -> None:
    # Low and high are the 10th and 90th percentiles: with no error common to all blocks, one block in ten has more
    # damage than one plus its range says, and by scipy's lognormal the same is true at any other percentile.
    ready = replace(city(), assumptions=given(defaults, uncertainty={"quantity.common_cv": 0}))
    seen = drawn.measured(ready, 4_000, np.random.default_rng(2))
    reach = estimate.quantity_range(defaults, ready.network["condition_source"].to_numpy())
    assert (seen > 1 + reach).mean() == pytest.approx(0.1, abs=0.003)
    curve = stats.lognorm(np.log1p(reach) / stats.norm.ppf(0.9))
    assert (seen < curve.ppf(0.75)).mean() == pytest.approx(0.75, abs=0.004)


def test_lives_damage_and_prices_each_move_the_costs_their_own_way() -> None:
    # By what is known of each: decay and damage leave reconstruction alone, prices move every strategy.
    ready = city()
    lives = at_random(ready, 1, 0.04)._replace(prices=np.ones((1, ITEMS)), rise=np.ones((1, ready.years)))
    found = next(drawn._made(ready, lives))
    np.testing.assert_allclose(found.costs["reconstruction"], ready.costs["reconstruction"], rtol=1e-13)
    assert not np.allclose(found.costs["partial_depth"], ready.costs["partial_depth"])
    more = as_planned(ready)
    more = more._replace(lives=replace(more.lives, deep=2 * more.lives.deep))
    broken = next(drawn._made(ready, more)).costs["full_depth"].sum(axis=0)
    assert broken[0] >= ready.costs["full_depth"].sum(axis=0)[0]
    assert (np.diff(broken / ready.costs["full_depth"].sum(axis=0)) > 0).all()  # faster decay tells with the years
    assert pd.Series(broken).is_monotonic_increasing
