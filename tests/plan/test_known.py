"""Plans known before, and several plans side by side: on thirty blocks that a little money cannot all pay."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest

from rehab import plan
from rehab.base import tables
from rehab.base.limits import Fund, Target
from rehab.base.settings import Scenario
from rehab.inputs import assumptions, reading
from rehab.plan import council, known, reasons

YEARS = 4


@cache
def prepared() -> plan.Prepared:
    head = "block_id,length_ft,width_ft,panels_broken,panels_cracked,district"
    rows = [f"B{at:02d},300,36,{2 + at % 5},{at % 9},{'North' if at % 3 else 'South'}" for at in range(30)]
    read = reading.read_blocks(reading.open_table("small.csv", "\n".join([head, *rows]).encode()))
    return plan.prepare(read.table, tables.empty("defects"), assumptions.defaults(), 2027, YEARS)


def asked(usd: float, **parts: object) -> Scenario:
    return replace(Scenario(name="own", budgets_usd=(usd,) * YEARS), **parts)


@cache
def decided(usd: float, choice: str = "best") -> plan.Plan:
    return plan.decide(prepared(), asked(usd, choice=choice), 1)


def test_only_plans_of_the_same_question_and_no_more_money_are_worth_knowing() -> None:
    plans = [decided(usd) for usd in (100e3, 200e3, 300e3)] + [decided(200e3, "worst first")]
    found = known.worth_knowing(asked(250e3), plans)
    assert [made.scenario.budgets_usd[0] for made in found] == [200e3, 100e3]
    assert not known.worth_knowing(asked(250e3, works=2), plans)
    assert not known.worth_knowing(asked(250e3, choice="worst first"), plans)
    # More in one year and less in another is no less money.
    assert not known.worth_knowing(replace(asked(1.0), budgets_usd=(1e6, 1e6, 1e6, 0.0)), plans[:3])


def test_a_plan_is_beaten_by_more_benefit_for_less_money() -> None:
    little, more = decided(100e3), decided(300e3)
    assert not known.beaten(more, [little, more]) and not known.beaten(little, [more])
    worse = replace(more, chosen=replace(more.chosen, value=little.chosen.value / 2))
    assert known.beaten(worse, [little])


def test_the_shape_of_money_is_its_share_by_year_and_fund() -> None:
    fund = Fund("gas tax", (1.0, 2.0, 3.0, 4.0))
    one = asked(100.0, funds=(fund,))
    assert known.same_shape(one, one.times(3.7)) and known.same_shape(asked(1.0), asked(7.0))
    assert not known.same_shape(one, replace(one, budgets_usd=(200.0,) * YEARS))
    assert not known.same_shape(asked(1.0), asked(7.0, works=2)) and not known.same_shape(asked(0.0), asked(7.0))


def test_a_plan_answers_the_same_question_under_another_name_only() -> None:
    made = known.under(decided(100e3), asked(100e3, name="other"))
    assert made.summary["scenario"] == "other" and made.program is decided(100e3).program
    assert made.summary["fingerprints"]["scenario"] == made.scenario.fingerprint()
    with pytest.raises(ValueError, match="no answer"):
        known.under(decided(100e3), asked(100e3, targets=(Target(1.0, 2027, 2027),)))


def test_plans_side_by_side_and_the_gain_of_the_best() -> None:
    best, worst = decided(200e3), decided(200e3, "worst first")
    rows = council.side_by_side({"Best": best, "Worst first": worst}).set_index("scenario")
    assert rows.loc["Best", "usd_per_yr"] == 200e3
    assert rows.loc["Best", "spent_usd"] == pytest.approx(best.program["cost_usd"].sum())
    assert rows.loc["Best", "benefit"] == pytest.approx(best.program["benefit"].sum())
    more = 100 * (best.program["benefit"].sum() / worst.program["benefit"].sum() - 1)
    assert council.gain(best, {"Worst first": worst}) == (
        f"The same money chosen for the most benefit buys {more:.1f} % more than worst first.")
    changes = reasons.changes(best, worst)
    assert council.change_counts(changes).startswith(f"{len(changes)} block")
    assert council.change_counts(reasons.changes(best, best)) == "The two programs are the same."


def test_limits_in_words_hold_what_the_table_holds() -> None:
    made = decided(100e3)
    lines, table = council.limit_lines(made), reasons.of_limits(made)
    assert len(lines) == len(table) == YEARS and lines["binds"].sum() == (table["price"] > 1e-6).sum() > 0
    first = table.set_index("year").loc[lines["year"].iloc[0]]
    assert lines["allowed"].iloc[0] == "at most $100,000" and lines["used"].iloc[0] == f"${first['used']:,.0f}"
    assert lines["price"].iloc[0] == f"$100,000 more: {1e5 * first['price']:,.0f} square-yard-years"


def test_what_is_said_of_the_bound_is_proven() -> None:
    made = decided(100e3)
    said = council.bound_words(made)
    room = float(said.split("at most ")[1].split(" %")[0])
    assert room >= 100 * (made.chosen.upper_bound / made.chosen.value - 1)
    assert council.bound_words(decided(100e3, "worst first")) == ""
