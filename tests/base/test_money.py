"""Money against the reference library numpy-financial and printed tables and examples."""

import numpy as np
import numpy_financial as npf
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rehab.base import money


@pytest.mark.parametrize(("years", "printed"), [
    (5, 0.8219), (10, 0.6756), (15, 0.5553), (20, 0.4564), (25, 0.3751), (30, 0.3083), (35, 0.2534), (40, 0.2083)])
def test_present_worth_factors_of_interest_tables_at_4_per_cent(years: int, printed: float) -> None:
    # Interest tables of any engineering economy text, four decimals.
    assert float(money.present_worth_factor(0.04, years)) == pytest.approx(printed, abs=5e-5)


@pytest.mark.parametrize(("years", "printed"), [(10, 0.12329), (20, 0.07358), (30, 0.05783), (35, 0.05358),
                                                (40, 0.05052)])
def test_capital_recovery_factors_of_interest_tables_at_4_per_cent(years: int, printed: float) -> None:
    assert float(money.annual_cost(1.0, 0.04, years)) == pytest.approx(printed, abs=5e-6)


def test_series_factor_of_newnan_example_16_4() -> None:
    # Newnan, Engineering Economic Analysis, Ex. 16-4: i = 8 %, n = 45, P/A = 12.1084
    assert float(money.series_factor(0.08, 45)) == pytest.approx(12.1084, abs=5e-5)


def test_newnan_example_7_6() -> None:
    # Newnan, Ex. 7-6 (inputs read): 6 %, one year; -10 then +15 and -20 then +28.  Net present values 4.15 and 6.42,
    # and the increment -10 then +13 is worth 2.26 (computed apart from this program): the second.
    year = float(money.present_worth_factor(0.06, 1))
    assert [15 * year - 10, 28 * year - 20] == pytest.approx([4.15, 6.42], abs=6e-3)
    steps = money.increments([10, 20], [15 * year, 28 * year])
    assert held(steps) == 1
    assert steps[1].benefit - steps[1].cost == pytest.approx(2.26, abs=5e-3)


def held(steps: list[money.Increment]) -> int | None:
    """The alternative held at the end."""
    return next((step.challenger for step in reversed(steps) if step.taken), None)


# Newnan, Engineering Economic Analysis, Ex. 16-4 and 16-5 (read), in 10,000 dollars, 8 %, 45 years: first cost,
# operation, savings, revenue of capacity and of jobs a year.  Design III's inputs could not be read.
DAMS = {"I": (12_500, 120, 580, 700, 400), "II": (11_000, 480, 700, 550, 750), "IV": (16_800, 145, 1_300, 250, 500)}


def test_incremental_benefit_cost_of_newnan_example_16_4() -> None:
    series = float(money.series_factor(0.08, 45))
    cost = [first + series * running for first, running, *_ in DAMS.values()]
    benefit = [series * sum(gains) for _, _, *gains in DAMS.values()]
    assert cost == pytest.approx([13_953, 16_812, 18_556], abs=0.6)
    assert benefit == pytest.approx([20_342, 24_217, 24_822], abs=0.6)
    assert [gain / paid for gain, paid in zip(benefit, cost, strict=True)] == pytest.approx([1.458, 1.440, 1.338], abs=5e-4)
    steps = money.increments(cost, benefit)
    assert [(step.held, step.challenger, step.taken) for step in steps] == [
        (None, 0, True), (0, 1, True), (1, 2, False)]
    assert [step.ratio for step in steps] == pytest.approx([1.46, 1.36, 0.35], abs=5e-3)
    assert (steps[1].cost, steps[1].benefit) == (pytest.approx(2_859, abs=0.6), pytest.approx(3_875, abs=0.6))
    # Design II, though I has the largest ratio of its own; it is also that of the largest net present value.
    net = np.subtract(benefit, cost)
    assert held(steps) == 1 == int(net.argmax())
    assert net == pytest.approx([6_389, 7_405, 6_267], abs=1.1)


def test_modified_incremental_benefit_cost_of_newnan_example_16_5() -> None:
    # Operation as a negative benefit (read): nothing to II 1.67, II to I 0.32, II to IV 0.80: II again.
    series = float(money.series_factor(0.08, 45))
    steps = money.increments([first for first, *_ in DAMS.values()],
                             [series * (sum(gains) - running) for _, running, *gains in DAMS.values()])
    assert [(step.held, step.challenger, step.taken) for step in steps] == [
        (None, 1, True), (1, 0, False), (1, 2, False)]
    assert [step.ratio for step in steps] == pytest.approx([1.67, 0.32, 0.80], abs=5e-3)


def test_storm_drain_of_five_exclusive_systems() -> None:
    # Statement read (tutorsglobe.com, a textbook exercise), answers computed apart from this program: thousand dollars.
    cost, benefit = [1000, 4000, 4000, 10_000, 12_000], [8000, 8000, 14_000, 16_000, 24_000]
    steps = money.increments(cost, benefit)
    shown = {(step.held, step.challenger): (round(step.ratio, 2), step.taken) for step in steps}
    assert shown == {(None, 0): (8.0, True), (0, 1): (0.0, False), (0, 2): (2.0, True), (2, 3): (0.33, False),
                     (2, 4): (1.25, True)}
    assert held(steps) == 4 == int(np.subtract(benefit, cost).argmax())


def test_four_cities_of_blank_and_tarquin() -> None:
    # Blank and Tarquin, Engineering Economy, ch. 9 (read): 7 %, 8 years, A/P 0.16747.  City 1 costs 6.948 and gains
    # 7.377 a year, 1.06; city 3 costs 1.164 and gains 3.077 more, 2.64: city 3.  What cities 2 and 4 cost and gain
    # could not be read.
    assert float(money.annual_cost(1.0, 0.07, 8)) == pytest.approx(0.16747, abs=5e-6)
    steps = money.increments([6.948, 6.948 + 1.164], [7.377, 7.377 + 3.077])
    assert [step.ratio for step in steps] == pytest.approx([1.06, 2.64], abs=5e-3)
    assert held(steps) == 1


def test_an_increment_at_no_more_cost_needs_more_benefit() -> None:
    steps = money.increments([5.0, 5.0, 5.0], [9.0, 7.0, 9.0])
    assert [step.challenger for step in steps] == [1, 0, 2]
    assert [step.taken for step in steps] == [True, True, False]
    assert steps[1].ratio == np.inf and np.isnan(steps[2].ratio)
    assert held(money.increments([5.0], [4.0])) is None
    assert held(money.increments([5.0], [4.0], least=0.8)) == 0
    assert money.increments([], []) == []


@pytest.mark.parametrize(("cost", "benefit"), [([-1], [1]), ([1, 2], [1]), ([float("nan")], [1]), ([1], [float("inf")])])
def test_increments_need_costs_and_benefits(cost: list[float], benefit: list[float]) -> None:
    with pytest.raises(ValueError, match="a cost of zero or more and a benefit"):
        money.increments(cost, benefit)


@given(st.lists(st.tuples(st.integers(0, 1000), st.integers(0, 5000)), min_size=1, max_size=8))
def test_increments_of_money_find_the_largest_net_present_value(alternatives: list[tuple[int, int]]) -> None:
    cost, benefit = zip(*alternatives, strict=True)
    found = held(money.increments(cost, benefit))
    best = max(0, *np.subtract(benefit, cost))
    assert (0 if found is None else benefit[found] - cost[found]) == best


def test_present_worth_in_the_layout_of_fhwa_sa_98_079() -> None:
    # Inputs from memory of FHWA-SA-98-079 (1998), table of a deterministic example; $ thousands at 4 %, 35 years.
    years = np.array([0, 15, 30, 35])
    agency = np.array([1100.0, 325.0, 325.0, -325 * 10 / 15])
    worth = float(agency @ money.present_worth_factor(0.04, years))
    assert worth == pytest.approx(1325.8, abs=0.05)
    assert float(money.annual_cost(worth, 0.04, 35)) == pytest.approx(71.03, abs=0.005)


# The reference library loses digits to cancellation below a tenth of a per cent and warns at zero.
@given(st.floats(0.001, 0.2), st.integers(1, 60))
def test_factors_agree_with_numpy_financial(rate: float, years: int) -> None:
    assert float(money.series_factor(rate, years)) == pytest.approx(-npf.pv(rate, years, 1.0), rel=1e-9)
    assert float(money.present_worth_factor(rate, years)) == pytest.approx(-npf.pv(rate, years, 0, 1.0), rel=1e-9)
    assert float(money.annual_cost(1.0, rate, years)) == pytest.approx(-npf.pmt(rate, years, 1.0), rel=1e-9)


def test_a_rate_of_zero_adds_up() -> None:
    assert float(money.series_factor(0.0, 12)) == 12.0
    assert float(money.annual_cost(24.0, 0.0, 12)) == 2.0


def test_escalation_of_the_national_construction_cost_index() -> None:
    # FHWA index, Eno Center (2024): 1.8601 in 2020 Q4 and 3.1908 in 2024 Q1, 3.25 years: 18.1 % a year
    assert 1.8601 * float(money.escalation_factor(0.181, 3.25)) == pytest.approx(3.1908, rel=2e-3)


@pytest.mark.parametrize(("escalation", "printed"), [(0.055, 0.0293), (0.04, 0.0146), (0.03, 0.0049)])
def test_real_differential_escalation(escalation: float, printed: float) -> None:
    # Computed apart from this program against a general inflation of 2.5 %: 5.5 % makes 2.93 %, 4.0 % 1.46 %, 3.0 % 0.49 %.
    assert float(money.real_rate(escalation, 0.025)) == pytest.approx(printed, abs=5e-5)


def test_annual_cost_needs_years() -> None:
    with pytest.raises(ValueError, match="above zero"):
        money.annual_cost(1.0, 0.04, 0)
