"""Limits over the program one by one: by hand, by simulation, by greatest flows (Gale 1957, from memory)."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rehab.base.limits import Capacity, DistrictShare, Fund, Target
from rehab.base.settings import Scenario
from rehab.steps.program import limits, most_in_a_year
from tests.steps.program import making
from tests.steps.program.making import START, alternatives, city, scenario


def kept(made: limits.Limits, rows: list[int] | np.ndarray) -> bool:
    """Whether the alternatives of these rows keep every row of the limits."""
    return bool((np.asarray(made.uses[rows].sum(axis=0)).ravel() <= made.most + 1e-9).all())


def test_each_year_has_its_budget() -> None:
    given_ = alternatives((0, 0, "full_depth", 60, 1), (1, 0, "full_depth", 50, 1), (1, 1, "full_depth", 40, 1))
    made = limits.budgets(given_, city(2), scenario(100, 40))
    assert made.uses.toarray().tolist() == [[60, 0], [50, 0], [0, 40]] and made.most.tolist() == [100, 40]
    assert made.table["limit"].tolist() == ["money", "money"] and made.table["year"].tolist() == [2027, 2028]
    assert not kept(made, [0, 1]) and kept(made, [0, 2])


def test_carry_over_by_hand() -> None:
    # $100 a year, a quarter carried: $30 left of 2027, so 25 go on and 5 lapse; 2028 may spend 125 and no more.
    given_ = alternatives((0, 0, "full_depth", 70, 1), (1, 1, "full_depth", 125, 1), (1, 1, "full_depth", 126, 1),
                          (2, 2, "full_depth", 100, 1), (2, 2, "full_depth", 101, 1), (0, 0, "full_depth", 76, 1))
    made = limits.budgets(given_, city(3), scenario(100, 100, 100, carry_over=0.25))
    assert kept(made, [0, 1, 3]) and not kept(made, [0, 2]) and not kept(made, [0, 1, 4])
    assert not kept(made, [5, 1])  # 24 are left, 124 may be spent
    assert most_in_a_year(scenario(100, 80, 60, carry_over=0.25)).tolist() == [100, 105, 80]


@given(st.lists(st.tuples(st.integers(0, 20), st.integers(0, 100)), min_size=1, max_size=6), st.integers(0, 4))
@settings(max_examples=80, deadline=None)
def test_carry_over_is_as_simulated(years: list[tuple[int, int]], quarters: int) -> None:
    money, share = [4.0 * usd for usd, _ in years], quarters / 4
    given_ = alternatives(*[(0, step, "full_depth", usd, 1) for step, (_, usd) in enumerate(years)])
    made = limits.budgets(given_, city(1), scenario(*money, carry_over=share))
    assert kept(made, np.arange(len(years))) == making.carried(money, [usd for _, usd in years], share)


KINDS = [("partial_depth", 0), ("full_depth", 0), ("reconstruction", 0), ("partial_depth", 1), ("full_depth", 1),
         ("reconstruction", 1)]
NETWORK = city(2, district=["east", "west"], functional_class=["local", "arterial"])
rules = st.tuples(st.sets(st.sampled_from(["partial_depth", "full_depth", "reconstruction"])),
                  st.sets(st.sampled_from(["local", "arterial"])), st.sets(st.sampled_from(["east", "west"])))


def with_funds(general: list[int], funds: list[tuple[list[int], tuple[set[str], set[str], set[str]]]],
               **more: object) -> Scenario:
    made = tuple(Fund(f"F{at}", tuple(map(float, money)), *(tuple(sorted(part)) for part in rule))
                 for at, (money, rule) in enumerate(funds))
    return scenario(*general, funds=made, **more)


@given(st.lists(st.tuples(st.lists(st.integers(0, 30), min_size=2, max_size=2), rules), max_size=3),
       st.lists(st.integers(0, 30), min_size=2, max_size=2),
       st.lists(st.tuples(st.sampled_from(KINDS), st.integers(0, 1), st.integers(0, 30)), min_size=1, max_size=6))
@settings(max_examples=80, deadline=None)
def test_funds_pay_if_and_only_if_a_flow_does(funds: list, general: list[int], works: list) -> None:
    asked = with_funds(general, funds)
    given_ = alternatives(*[(block, step, kind, usd, 1) for (kind, block), step, usd in works])
    made = limits.budgets(given_, NETWORK, asked)
    rows = np.arange(len(given_))
    assert kept(made, rows) == making.paid_by_flow(making.bills(given_, NETWORK, asked), making.money_of(asked), 0.0)


@given(st.lists(st.tuples(st.lists(st.integers(0, 15), min_size=3, max_size=3), rules), max_size=2),
       st.lists(st.integers(0, 15), min_size=3, max_size=3),
       st.lists(st.tuples(st.sampled_from(KINDS), st.integers(0, 2), st.integers(0, 30)), min_size=1, max_size=6))
@settings(max_examples=60, deadline=None)
def test_rows_never_forbid_what_funds_with_carry_over_can_pay(funds: list, general: list[int], works: list) -> None:
    # The other way round needs the cuts of rehab.steps.program.funds.
    even = [([2 * usd for usd in money], rule) for money, rule in funds]
    asked = with_funds([2 * usd for usd in general], even, carry_over=0.5)
    given_ = alternatives(*[(block, step, kind, usd, 1) for (kind, block), step, usd in works])
    if making.paid_by_flow(making.bills(given_, NETWORK, asked), making.money_of(asked), 0.5):
        assert kept(limits.budgets(given_, NETWORK, asked), np.arange(len(given_)))


def test_many_funds_make_no_more_rows_than_there_are_sets_of_them() -> None:
    many = tuple(Fund(f"F{at}", (1.0,), districts=tuple(f"D{other}" for other in range(8) if other != at))
                 for at in range(7))
    names = [f"D{at}" for at in range(8)]
    given_ = alternatives(*[(block, 0, kind, 1, 1) for block in range(8) for kind in ("full_depth", "partial_depth")])
    made = limits.budgets(given_, city(8, district=names), scenario(5, funds=many))
    assert len(made) <= 2 ** 7


@given(st.lists(st.tuples(st.lists(st.integers(0, 9), min_size=3, max_size=3), rules), max_size=2),
       st.lists(st.integers(1, 9), min_size=3, max_size=3), st.sampled_from([0.0, 0.5]))
@settings(max_examples=12, deadline=None)
def test_gives_is_how_rows_grow_with_a_dollar_more(funds: list, general: list[int], share: float) -> None:
    asked = with_funds(general, funds, carry_over=share, district_shares=(DistrictShare("east", 0.25),))
    given_ = alternatives(*[(block, step, kind, 1, 1) for kind, block in KINDS for step in range(3)])
    made = limits.of(given_, NETWORK, asked)
    for year in range(3):
        total = asked.money_usd[year]
        def more(money: tuple[float, ...], year: int = year, total: float = total) -> tuple[float, ...]:
            return tuple(usd * (1 + 1 / total) if at == year else usd for at, usd in enumerate(money))
        richer = replace(asked, budgets_usd=more(asked.budgets_usd), funds=tuple(
            replace(fund, budgets_usd=more(fund.budgets_usd)) for fund in asked.funds))
        grown = limits.of(given_, NETWORK, richer).most - made.most
        assert made.gives[:, year] == pytest.approx(grown, abs=1e-9)


def test_capacities_by_hand() -> None:
    given_ = alternatives((0, 0, "full_depth", 1, 1), (1, 0, "partial_depth", 1, 1), (1, 1, "partial_depth", 1, 1)
                          ).beside(making.pairs((0, 0, "full_depth", 1, 1, 2, "grinding", 5),
                                                (1, 0, "partial_depth", 1, 1, 2, "reconstruction", 7)))
    amounts = {"partial_depth": np.array([5.0, 8, 9, 5, 8]), "full_depth": np.array([30.0, 0, 0, 30, 0]),
               "reconstruction": np.zeros(5), "grinding": np.full(5, 100.0), "ground again": np.full(5, 90.0),
               "rebuilt again": np.full(5, 700.0)}
    asked = scenario(9, 9, 9, capacities=(Capacity("partial_depth", 12.0, START), Capacity("grinding", 180.0),
                                          Capacity("reconstruction", 500.0, START + 2)))
    made = limits.capacities(given_, asked, amounts)
    assert made.uses.toarray().tolist() == [[5, 100, 0, 0, 0], [8, 100, 0, 0, 0], [0, 0, 100, 0, 0],
                                            [5, 100, 0, 90, 0], [8, 100, 0, 0, 700]]
    assert made.most.tolist() == [12, 180, 180, 180, 500]
    assert made.table["unit"].tolist() == ["sqft", "sqyd", "sqyd", "sqyd", "sqyd"]
    assert limits.words(made, 0) == "capacity, partial depth in 2027: at most 12 sq ft"


def test_district_shares_by_hand() -> None:
    given_ = alternatives((0, 0, "full_depth", 30, 1), (1, 0, "full_depth", 50, 1)).beside(
        making.pairs((1, 0, "partial_depth", 20, 1, 1, "full_depth", 15)))
    asked = scenario(100, 60, funds=(Fund("gas tax", (20.0, 20.0)),), district_shares=(DistrictShare("west", 0.25),))
    made = limits.district_shares(given_, NETWORK, asked)  # a quarter of $200
    assert not kept(made, [0, 2]) and kept(made, [1]) and made.most.tolist() == [-50]
    assert made.uses.toarray().ravel().tolist() == [0, -50, -35]
    assert limits.year_of(made, 0) is None and bool(made.table["floor"].iloc[0])
    assert limits.words(made, 0) == "district share, district west: at least $50"


def test_targets_by_hand() -> None:
    # Areas 100 and 300: the second block counts three quarters.  Untreated means 45 and 35; the target is 55.
    given_ = alternatives((0, 0, "full_depth", 1, 1), (1, 0, "full_depth", 1, 1), (1, 1, "full_depth", 1, 1))
    index = np.array([[60.0, 50], [40, 30]])
    gain = np.array([[40.0, 45], [20, 25], [0, 28]])
    network = city(2, area_sqyd=[100.0, 300.0])
    made = limits.targets(given_, network, scenario(1, 1, targets=(Target(55.0, START, START + 1),)), gain, index)
    assert made.most.tolist() == [-10, -20] and made.uses.toarray().tolist() == [
        [-10, -11.25], [-15, -18.75], [0, -21]]
    assert kept(made, [0, 1]) and not kept(made, [0]) and not kept(made, [1]) and not kept(made, [2])
    assert limits.words(made, 1) == "mean index at least 55 in 2028"


def test_no_alternatives() -> None:
    none = alternatives()
    asked = scenario(5, 6, carry_over=0.5, district_shares=(DistrictShare("east", 0.1),))
    made = limits.of(none, city(0), asked)
    assert made.uses.shape == (0, 4) and made.most.tolist() == [5, 11, 8.5, pytest.approx(-1.1)]
