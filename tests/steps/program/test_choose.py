"""The choice: six blocks by hand, full enumeration under all limits at once, HiGHS, and the simple rules."""

import itertools
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, sparse

from rehab.base.limits import Capacity, Closed, DistrictShare, Fund, Target
from rehab.base.settings import Assumptions, Forced, Scenario
from rehab.steps import program
from rehab.steps.program import Alternatives, Chosen, Offers, choose
from tests.steps.program import making
from tests.steps.program.making import START, alternatives, apart, city, scenario, solved, spent

#: Own invention, figures by enumeration and by the stated rules: six blocks, three years, $100,000 a year.  Block,
#: strategy, cost, benefit in year 1, 2, 3; None where the strategy is not adequate.
SIX = (
    (0, "partial_depth", 12_000, (3.600, 3.360, 3.120)), (1, "partial_depth", 18_000, (9.450, 8.820, 8.190)),
    (1, "full_depth", 67_500, (17.719, 17.824, 17.745)), (2, "partial_depth", 14_400, (2.160, 2.016, None)),
    (2, "full_depth", 54_000, (6.120, 6.048, 5.928)), (2, "reconstruction", 144_000, (None, None, 8.549)),
    (3, "full_depth", 90_000, (55.800, 54.600, 53.040)), (3, "reconstruction", 240_000, (76.320, 73.584, 70.512)),
    (4, "full_depth", 40_500, (11.576, 11.225, None)), (4, "reconstruction", 108_000, (15.039, 14.429, 13.762)),
    (5, "reconstruction", 192_000, (48.720, 46.352, 43.856)))
#: index before work in years 1, 2, 3: first figure and loss a year of blocks A to F
SIX_INDEX = np.array([[first - loss * year for year in range(3)] for first, loss in
                      ((78, 1.5), (66, 2.0), (58, 2.5), (49, 3.0), (38, 3.0), (24, 2.0))])


def six() -> Alternatives:
    # The heaviest adequate work first, as worst first takes them.
    heavy = {"reconstruction": 0, "full_depth": 1, "partial_depth": 2}
    rows = [(block, step, name, cost, benefit) for block, name, cost, benefits in SIX
            for step, benefit in enumerate(benefits) if benefit is not None]
    return alternatives(*sorted(rows, key=lambda row: (row[0], row[1], heavy[row[2]])))


def by_rule(given_: Alternatives, choice: str, index: np.ndarray, asked: Scenario, blocks: int,
            forced: tuple[int, ...] = ()) -> tuple[Chosen, Alternatives]:
    made = apart(given_, blocks, forced)
    network = city(blocks)
    limits = program.limits_of(made.alternatives, network, asked)
    must = np.isin(made.source, forced)
    bad = np.zeros(made.member.shape[0])
    row = np.repeat(np.arange(len(bad)), np.diff(made.member.indptr))
    bad[row] = 100 - index[made.alternatives.block, made.alternatives.step][made.member.indices]
    held = np.asarray((made.member @ must.astype(float)) > 0)
    chosen = program.by_rule(made, limits, replace(asked, choice=choice), held, bad, must,  # type: ignore[arg-type]
                             network["block_id"].to_numpy()[made.alternatives.block])
    return chosen, made.alternatives


def works(made: Alternatives, rows: np.ndarray) -> set[tuple[int, int, str]]:
    return {(int(made.block[row]), int(made.step[row]), str(made.strategy[row])) for row in rows}


def test_six_blocks_and_three_years() -> None:
    asked = scenario(1e5, 1e5, 1e5)
    chosen, made = solved(six(), city(6), asked)
    assert chosen.status == "optimal" and chosen.value == pytest.approx(93.938)
    assert 93.938 - 1e-9 <= chosen.upper_bound <= chosen.by_prices + 1e-9
    assert works(made, chosen.rows) == {(3, 0, "full_depth"), (2, 1, "full_depth"), (4, 1, "full_depth"),
                                        (0, 2, "partial_depth"), (1, 2, "full_depth")}
    assert spent(made, chosen.rows, 3).tolist() == [90_000, 94_500, 79_500]


@pytest.mark.parametrize(("choice", "value"), [("worst first", 93.161), ("incremental benefit-cost", 90.146),
                                               ("benefit-cost ratio", 81.221)])
def test_six_blocks_by_the_simple_rules(choice: str, value: float) -> None:
    chosen, made = by_rule(six(), choice, SIX_INDEX, scenario(1e5, 1e5, 1e5), 6)
    assert chosen.value == pytest.approx(value) and chosen.status == "rule" and not chosen.notes
    assert (spent(made, chosen.rows, 3) <= 1e5).all() and np.isnan(chosen.upper_bound) and not len(chosen.prices)


# --- all limits at once against full enumeration ---------------------------------------------------------------------


KINDS = ("partial_depth", "full_depth", "reconstruction")


class Case:
    """Four blocks, three years, every kind of limit; whole figures, so that sums are exact."""

    def __init__(self, seed: int) -> None:
        rng = self.rng = np.random.default_rng(seed)
        self.network = city(4, district=rng.choice(["east", "west"], 4), area_sqyd=rng.integers(1, 5, 4) * 100.0,
                            functional_class=rng.choice(["local", "arterial"], 4),
                            no_work_until=np.where(rng.random(4) < 0.2, START + 1, np.nan),
                            utility_year=np.where(rng.random(4) < 0.1, START + 1, np.nan),
                            corridor=pd.Series(["A", "A", None, None] if rng.random() < 0.4 else [None] * 4, dtype="str"))
        rows = [(block, step, kind, float(rng.integers(1, 40)), float(rng.integers(-3, 50))) for block in range(4)
                for step in range(3) for kind in KINDS if rng.random() < 0.4]
        two = [(block, 0, "partial_depth", float(rng.integers(1, 20)), float(rng.integers(10, 60)), 2,
                str(rng.choice(["grinding", "reconstruction"])), float(rng.integers(1, 20)))
               for block in range(4) if rng.random() < 0.4]
        self.given = alternatives(*rows).beside(making.pairs(*two)) if two else alternatives(*rows)
        self.asked = self.scenario()
        count = len(self.given)
        self.amounts = {kind: rng.integers(0, 9, count) * (self.given.strategy == kind).astype(float) for kind in KINDS}
        self.amounts |= {"grinding": rng.integers(0, 9, count).astype(float)}
        self.amounts |= {"ground again": rng.integers(0, 9, count).astype(float),
                         "rebuilt again": rng.integers(0, 9, count).astype(float)}
        self.index = np.sort(rng.integers(20, 90, (4, 3)).astype(float), axis=1)[:, ::-1]
        self.gain = rng.integers(0, 60, (count, 3)) * (np.arange(3) >= self.given.step[:, None]).astype(float)

    def scenario(self) -> Scenario:
        rng, more = self.rng, {}

        def some(share: float, value: tuple[object, ...]) -> tuple[object, ...]:
            return value if rng.random() < share else ()

        more["funds"] = some(0.6, (Fund("F", tuple(2.0 * rng.integers(0, 20, 3)), strategies=("full_depth",)),)) + some(
            0.3, (Fund("G", tuple(2.0 * rng.integers(0, 20, 3)), districts=("west",)),))
        more["capacities"] = some(0.4, (Capacity("full_depth", float(rng.integers(2, 12))),)) + some(
            0.4, (Capacity("grinding", float(rng.integers(4, 14)), START + 2),)) + some(
            0.3, (Capacity("reconstruction", float(rng.integers(4, 14)), START + 2),))
        more["district_shares"] = some(0.3, (DistrictShare("west", float(rng.integers(0, 4)) / 8),))
        more["targets"] = some(0.3, (Target(float(rng.integers(30, 60)), START + 1, START + 2),))
        more["closed"] = some(0.4, (Closed("B2", START),))
        more["kept_out"] = some(0.2, ("B3",))
        more["forced"] = some(0.3, (Forced("B0", START + int(rng.integers(0, 3)), str(rng.choice(KINDS))),))
        return scenario(*(2.0 * rng.integers(2, 20, 3)), carry_over=float(rng.choice([0, 0.5])),
                        corridors=str(rng.choice(["apart", "given"])), **more)

    def pose(self, assumptions: Assumptions) -> tuple[Offers, program.Limits, np.ndarray]:
        asked, network = self.asked, self.network
        opened = program.allowed(self.given, network, np.ones(len(self.given), bool), asked, assumptions,
                                 program.most_in_a_year(asked))
        corridor = program.corridor_of(network, asked, assumptions)
        offers = program.offers(opened.alternatives, opened.open, opened.forced, opened.needed, corridor,
                                np.zeros(len(self.given)))
        amounts = {kind: values[offers.source] for kind, values in self.amounts.items()}
        limits = program.limits_of(offers.alternatives, network, asked, amounts, self.gain[offers.source], self.index)
        return offers, limits, opened.forced[offers.source]

    def kept(self, rows: np.ndarray) -> bool:
        """Whether the given alternatives of these rows keep every limit over the program, each worked out anew."""
        taken, asked, network = self.given.only(rows), self.asked, self.network
        again = {"grinding": "ground again", "reconstruction": "rebuilt again"}
        for item in asked.capacities:
            for step in range(3):
                used = sum(self.amounts[item.kind][row] for row in rows if self.given.step[row] == step)
                used += sum(self.amounts[again[item.kind]][row] for row in rows if item.kind in again
                            and self.given.then_step[row] == step and self.given.then[row] == item.kind)
                if item.year in (None, START + step) and used > item.most:
                    return False
        for share in asked.district_shares:
            there = network["district"].to_numpy()[taken.block] == share.district
            if (taken.cost_usd + taken.then_usd)[there].sum() < share.share * sum(asked.money_usd) - 1e-9:
                return False
        for target in asked.targets:
            index = self.index.copy()
            index[taken.block] += self.gain[rows]
            mean = np.average(index, axis=0, weights=network["area_sqyd"])
            if (mean[target.first - START:target.last - START + 1] < target.least - 1e-9).any():
                return False
        return making.paid_by_flow(making.bills(taken, network, asked), making.money_of(asked), asked.carry_over)


def enumerated(case: Case, offers: Offers) -> float:
    """The greatest benefit of one offer per group that keeps every limit; minus infinity if none does."""
    groups = [np.flatnonzero(offers.group == name) for name in np.unique(offers.group)]
    own = [offers.source[offers.member.indices[offers.member.indptr[row]:offers.member.indptr[row + 1]]]
           for row in range(len(offers.group))]
    worth = np.array([case.given.benefit[rows].sum() for rows in own])
    picks = np.array(list(itertools.product(*groups)), np.int64)
    values = worth[picks].sum(axis=1)
    for at in np.argsort(-values, kind="stable"):  # the first that keeps every limit is the best
        if case.kept(np.concatenate([own[row] for row in picks[at]]).astype(np.int64)):
            return float(values[at])
    return -np.inf


def check_case(seed: int, assumptions: Assumptions) -> str:
    case = Case(seed)
    offers, limits, must = case.pose(assumptions)
    chosen, ended, _ = making.best(offers, limits, must, case.network, case.asked, effort=30)
    best = enumerated(case, offers)
    if best == -np.inf:
        assert chosen.status == "infeasible" and chosen.notes
        return "infeasible"
    assert chosen.status in ("optimal", "feasible")
    assert case.kept(offers.source[chosen.rows])
    value = float(case.given.benefit[offers.source[chosen.rows]].sum())
    assert chosen.value == pytest.approx(value)
    assert chosen.upper_bound >= best - 1e-7 and chosen.by_prices >= chosen.upper_bound - 1e-6
    assert value >= best - chosen.gap * abs(chosen.upper_bound) - 1e-7
    if chosen.status == "optimal":
        assert value >= best * (1 - 3e-5) - 1e-7
    by_hand = choose.bound(offers.member @ offers.alternatives.benefit, offers.member @ ended.uses, offers.group,
                           ended.most, chosen.prices)
    assert chosen.by_prices == pytest.approx(by_hand)
    return chosen.status


@pytest.mark.parametrize("part", range(4))
def test_the_best_under_all_limits_at_once(part: int, defaults: Assumptions) -> None:
    found = [check_case(1000 * part + seed, defaults) for seed in range(50)]
    assert found.count("optimal") > 25 and found.count("infeasible") > 5


cases = st.integers(1, 5).flatmap(lambda blocks: st.tuples(
    st.lists(st.tuples(st.integers(0, blocks - 1), st.integers(0, 2), st.sampled_from(KINDS),
                       st.integers(0, 60).map(float), st.integers(-5, 40).map(float)), min_size=1, max_size=9),
    st.tuples(*[st.integers(0, 100).map(float)] * 3), st.just(blocks)))


@given(cases)
@settings(max_examples=60, deadline=None)
def test_tiny_programs_are_the_best_of_all(case: tuple[list[making.Row], tuple[float, ...], int]) -> None:
    rows, budgets, blocks = case
    given_ = alternatives(*rows)
    chosen, made = solved(given_, city(blocks), scenario(*budgets))
    assert (spent(made, chosen.rows, 3) <= np.array(budgets) * (1 + 1e-9)).all()
    assert len(set(made.block[chosen.rows])) == len(chosen.rows)
    options = [[None, *np.flatnonzero(given_.block == block)] for block in range(blocks)]
    best = 0.0
    for picks in itertools.product(*options):
        taken = np.array([row for row in picks if row is not None], np.int64)
        if (spent(given_, taken, 3) <= np.array(budgets)).all():
            best = max(best, given_.benefit[taken].sum())
    assert chosen.value == pytest.approx(made.benefit[chosen.rows].sum())
    assert chosen.value >= best * (1 - 3e-5) - 1e-9 and chosen.upper_bound >= best - 1e-9


@given(st.integers(0, 100_000))
@settings(max_examples=3, deadline=None)
def test_small_programs_against_highs(seed: int) -> None:
    rng = np.random.default_rng(seed)
    costs = {name: rng.uniform(1e4, 4e5, (30, 4)).round(2) for name in KINDS}
    given_ = program.every(costs, {name: rng.uniform(0.1, 1, (30, 4)) * usd for name, usd in costs.items()})
    network = city(30, district=rng.choice(["east", "west"], 30))
    asked = scenario(*rng.uniform(3e5, 9e5, 4), funds=(Fund("F", (2e5,) * 4, districts=("west",)),),
                     district_shares=(DistrictShare("east", 0.3),))
    chosen, made = solved(given_, network, asked, effort=4)
    offers = apart(given_, 30)
    limits = program.limits_of(offers.alternatives, network, asked)
    value, cost = offers.member @ offers.alternatives.benefit, offers.member @ limits.uses
    one = sparse.csr_array((np.ones(len(value)), (offers.group, np.arange(len(value)))))
    exact = optimize.milp(-value, integrality=np.ones(len(value)), bounds=(0, 1), options={"time_limit": 2.0}, constraints=[
        optimize.LinearConstraint(cost.T, -np.inf, limits.most), optimize.LinearConstraint(one, 1, 1)])
    assert exact.x is not None
    assert chosen.upper_bound >= -exact.fun * (1 - 1e-9)  # of the best that it found
    assert chosen.value >= -exact.fun - chosen.gap * chosen.upper_bound - 1e-6
    assert -exact.fun * 0.98 <= chosen.value <= -exact.mip_dual_bound * (1 + 1e-9)
    assert (spent(made, chosen.rows, 4) <= np.array(asked.money_usd) * (1 + 1e-9)).all()


# --- simple rules ----------------------------------------------------------------------------------------------------


@given(st.integers(0, 10_000), st.integers(10, 60), st.floats(0, 1))
@settings(max_examples=12, deadline=None)
def test_budgets_hold_in_every_year_and_best_beats_the_rules(seed: int, blocks: int, tight: float) -> None:
    rng = np.random.default_rng(seed)
    costs = {name: rng.uniform(1e4, 4e5, (blocks, 4)) for name in KINDS}
    given_ = program.every(costs, {name: rng.uniform(-1e3, 1e5, (blocks, 4)) for name in KINDS})
    index = rng.uniform(0, 100, (blocks, 4))
    asked = scenario(*(rng.uniform(0, 1, 4) * tight * blocks * 1e5))
    one_each = given_.only(given_.strategy == "full_depth")
    best, made = solved(one_each, city(blocks), asked, effort=2)
    others = [by_rule(one_each, choice, index, asked, blocks)
              for choice in ("worst first", "benefit-cost ratio", "incremental benefit-cost")]
    for chosen, mine in ((best, made), *others):
        assert (spent(mine, chosen.rows, 4) <= np.array(asked.budgets_usd) * (1 + 1e-9)).all()
        assert len(set(mine.block[chosen.rows])) == len(chosen.rows)
        assert chosen.value == pytest.approx(mine.benefit[chosen.rows].sum())
    for chosen, _ in others:
        assert best.upper_bound >= chosen.value - 1e-6
        assert best.value >= chosen.value - best.gap * abs(best.upper_bound) - 1e-6


def test_worst_first_by_hand() -> None:
    # Year 1, $100: index 10 costs 80 and is taken, 20 costs 50 and no longer fits, 30 costs 20 and does.
    # Year 2, $60: the one of index 20, at 18 by then, costs 55; the block of index 5 has no work that year.
    given_ = alternatives((0, 0, "full_depth", 50, 1), (1, 0, "full_depth", 80, 1), (2, 0, "full_depth", 20, 1),
                          (0, 1, "full_depth", 55, 2), (1, 1, "full_depth", 1, 9), (4, 1, "full_depth", 5, 3),
                          (3, 1, "full_depth", 61, 9))
    index = np.array([[20.0, 18], [10, 8], [30, 28], [5, 3], [90, 88]])
    chosen, made = by_rule(given_, "worst first", index, scenario(100, 60), 5)
    assert works(made, chosen.rows) == {(1, 0, "full_depth"), (2, 0, "full_depth"), (0, 1, "full_depth"),
                                        (4, 1, "full_depth")}
    assert chosen.value == 7 and chosen.status == "rule"
    assert np.isnan(chosen.upper_bound) and np.isnan(chosen.gap)


def test_worst_first_ties_go_by_the_blocks_order_and_locks_come_first() -> None:
    given_ = alternatives((1, 0, "full_depth", 60, 1), (0, 0, "full_depth", 60, 1), (2, 0, "full_depth", 40, 1))
    index = np.full((3, 1), 50.0)
    chosen, made = by_rule(given_, "worst first", index, scenario(100), 3)
    assert chosen.value == 2 and len(works(made, chosen.rows)) == 2
    chosen, made = by_rule(given_, "worst first", index, scenario(100), 3, (1,))
    assert works(made, chosen.rows) == {(0, 0, "full_depth"), (2, 0, "full_depth")}


def test_floors_that_a_simple_rule_misses_are_said() -> None:
    given_ = alternatives((0, 0, "full_depth", 60, 9), (1, 0, "full_depth", 60, 1))
    network = city(2, district=["east", "west"])
    asked = scenario(100, choice="benefit-cost ratio", district_shares=(DistrictShare("west", 0.5),))
    made = apart(given_, 2)
    limits = program.limits_of(made.alternatives, network, asked)
    none = np.zeros(made.member.shape[0], bool)
    chosen = program.by_rule(made, limits, asked, none, np.zeros(len(none)), np.zeros(2, bool), ["B0", "B1"])
    assert works(made.alternatives, chosen.rows) == {(0, 0, "full_depth")}
    assert "district west: at least $50" in chosen.notes[0].message
    needed = program.offers(given_, np.ones(2, bool), np.zeros(2, bool), np.array([False, True]), np.arange(2), np.zeros(2))
    none = np.zeros(needed.member.shape[0], bool)
    chosen = program.by_rule(needed, program.limits_of(needed.alternatives, network, scenario(100)),
                             replace(asked, district_shares=()), none, np.zeros(len(none)), np.zeros(2, bool), ["B0", "B1"])
    assert "1 of the blocks that must be worked on (B1)" in chosen.notes[0].message


def test_nothing_to_choose() -> None:
    for blocks in (0, 2):
        for chosen in (solved(alternatives(), city(blocks), scenario(5, 5))[0],
                       by_rule(alternatives(), "worst first", np.zeros((blocks, 2)), scenario(5, 5), blocks)[0],
                       program.nothing("rule")):
            assert len(chosen.rows) == 0 and chosen.value == 0
