"""Which fund pays: sums, rules and carry-over against the bills; cuts against greatest flows of whole dollars."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rehab.base.limits import Fund
from rehab.base.settings import Scenario
from rehab.steps.program import funds
from tests.steps.program import making
from tests.steps.program.making import START, alternatives, city, scenario

WORKS = ["partial_depth", "full_depth", "reconstruction"]


def drawn(seed: int, blocks: int = 6, years: int = 3) -> tuple[pd.DataFrame, Scenario, making.Alternatives]:
    """A city of two districts and classes, money of up to three funds, half of which is carried, and alternatives."""
    rng = np.random.default_rng(seed)
    network = city(blocks, district=rng.choice(["east", "west"], blocks),
                   functional_class=rng.choice(["local", "arterial"], blocks))
    some = [tuple(sorted(rng.choice(names, rng.integers(0, len(names)), replace=False).tolist()))
            for names in (WORKS, ["local", "arterial"], ["east", "west"])]
    rules = [(some[0], (), ()), ((), some[1], some[2]), (some[0], some[1], ())][:int(rng.integers(1, 4))]
    made = tuple(Fund(f"F{at}", tuple(2.0 * rng.integers(0, 40, years)), *rule) for at, rule in enumerate(rules))
    asked = scenario(*(2.0 * rng.integers(0, 40, years)), funds=made, carry_over=float(rng.choice([0.0, 0.5, 1.0])))
    rows = [(block, step, str(rng.choice(WORKS)), float(rng.integers(0, 60)), float(rng.integers(1, 60)))
            for block in range(blocks) for step in range(years) for _ in range(2)]
    given_ = alternatives(*rows)
    two = [(block, 0, "partial_depth", float(rng.integers(1, 30)), float(rng.integers(20, 60)), 2, "full_depth",
            float(rng.integers(1, 30))) for block in range(blocks) if rng.random() < 0.4]
    return network, asked, given_.beside(making.pairs(*two)) if two and years > 2 else given_


def check_payments(paid: pd.DataFrame, taken: making.Alternatives, network: pd.DataFrame, asked: Scenario) -> None:
    """Every bill in full, no fund against its rule, no fund beyond its money with what it carries."""
    cents = 0.01 * len(network)
    names = network["block_id"].to_numpy()
    owed: dict[tuple[str, int], float] = {}
    who: dict[str, frozenset[int]] = {}
    for at in range(len(taken)):
        name, row = str(names[taken.block[at]]), network.iloc[int(taken.block[at])]
        who[name] = making.able(asked, str(taken.strategy[at]), str(row["functional_class"]), str(row["district"]))
        for step, usd in ((taken.step[at], taken.cost_usd[at]), (taken.then_step[at], taken.then_usd[at])):
            if step >= 0:
                owed[name, START + int(step)] = float(usd)
    got = paid.groupby(["block_id", "year"])["usd"].sum()
    assert {(str(name), int(year)): float(usd) for (name, year), usd in got.items()} == pytest.approx(owed, abs=0.02)
    known = ["general", *(fund.name for fund in asked.funds)]
    assert (paid["usd"] >= 0).all() and all(
        known.index(fund) in who[name] for name, fund in zip(paid["block_id"], paid["fund"], strict=True))
    for name, money in zip(known, making.money_of(asked), strict=True):
        own = paid[paid["fund"] == name].groupby("year")["usd"].sum().reindex(asked.years).fillna(0.0)
        assert making.carried([usd + cents for usd in money], own.tolist(), asked.carry_over)


@given(st.integers(0, 100_000))
@settings(max_examples=50, deadline=None)
def test_the_best_program_can_be_paid_and_is_paid(seed: int) -> None:
    network, asked, given_ = drawn(seed)
    made = making.apart(given_, len(network))
    limits = making.limit_rows.budgets(made.alternatives, network, asked)
    none = np.zeros(len(given_), bool)
    chosen, _, _ = making.best(made, limits, none, network, asked, effort=10)
    assert chosen.status in ("optimal", "feasible")
    taken = made.alternatives.only(chosen.rows)
    assert making.paid_by_flow(making.bills(taken, network, asked), making.money_of(asked), asked.carry_over)
    check_payments(funds.pay(taken, network, asked), taken, network, asked)


@given(st.integers(0, 100_000))
@settings(max_examples=80, deadline=None)
def test_a_cut_forbids_what_cannot_be_paid_and_nothing_that_can(seed: int) -> None:
    network, asked, given_ = drawn(seed)
    rng = np.random.default_rng(seed + 1)
    blocks = len(network)

    def some() -> np.ndarray:
        return np.array([rng.choice(np.flatnonzero(given_.block == block)) for block in range(blocks)
                         if rng.random() < 0.6], np.int64)

    def pays(rows: np.ndarray) -> bool:
        return making.paid_by_flow(making.bills(given_.only(rows), network, asked), making.money_of(asked),
                                   asked.carry_over)

    rows = some()
    cut = funds.missing_row(given_.only(rows), given_, network, asked)
    if asked.carry_over == 0:
        assert cut is None
        return
    assert (cut is None) == pays(rows)
    if cut is not None:
        def over(rows: np.ndarray) -> float:
            return float(cut.uses[rows].sum() - cut.most[0])
        assert over(rows) > 0
        assert all(over(other) <= 1e-9 for other in (some() for _ in range(10)) if pays(other))


def test_a_set_of_funds_that_changes_within_the_run_is_cut() -> None:
    # 2027: only East's fund may help, 2028: only West's.  Neither run of one set of funds is short: East has 10 + 10 of
    # general over two years for 10 in 2027 and so on; but the general dollar carried from 2027 is asked for twice.
    network = city(2, district=["east", "west"])
    asked = scenario(10, 0, carry_over=1.0, funds=(Fund("E", (0.0, 10.0), districts=("east",)),
                                                   Fund("W", (10.0, 0.0), districts=("west",))))
    given_ = alternatives((0, 0, "full_depth", 10, 5), (1, 1, "full_depth", 20, 5), (1, 1, "full_depth", 10, 1))
    assert making.paid_by_flow(making.bills(given_.only(np.array([0, 2])), network, asked), making.money_of(asked), 1.0)
    assert not making.paid_by_flow(making.bills(given_.only(np.array([0, 1])), network, asked), making.money_of(asked),
                                   1.0)
    made = making.apart(given_, 2)
    limits = making.limit_rows.budgets(made.alternatives, network, asked)
    chosen, ended, _ = making.best(made, limits, np.zeros(3, bool), network, asked)
    assert chosen.value == 6 and len(ended) >= len(limits)


def test_restricted_funds_pay_first_and_work_that_costs_nothing_is_listed() -> None:
    network = city(2)
    asked = scenario(100, 100, funds=(Fund("panels", (30.0, 0.0), strategies=("full_depth",)),))
    taken = alternatives((0, 0, "full_depth", 50, 1), (1, 0, "full_depth", 0, 1))
    paid = funds.pay(taken, network, asked)
    assert paid.to_dict("records") == [
        {"block_id": "B0", "year": 2027, "fund": "general", "usd": pytest.approx(20)},
        {"block_id": "B0", "year": 2027, "fund": "panels", "usd": pytest.approx(30)},
        {"block_id": "B1", "year": 2027, "fund": "general", "usd": 0.0}]


def test_what_cannot_be_paid_or_is_nothing_has_no_payments() -> None:
    asked = scenario(10, funds=(Fund("panels", (30.0,), strategies=("full_depth",)),))
    assert funds.pay(alternatives((0, 0, "partial_depth", 20, 1)), city(1), asked).empty
    assert funds.pay(alternatives(), city(1), asked).empty and funds.pay(alternatives(), city(0), asked).empty
