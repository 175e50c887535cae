"""The program: budgets, locks, closed years, worst first by hand, full enumeration of tiny cases."""

import itertools
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rehab.base.settings import Assumptions, Forced, Override, Scenario
from rehab.inputs import assumptions as reader
from rehab.steps import program
from rehab.steps.program import Alternatives

ASSUMED = reader.defaults()
START = 2027


def city(count: int, **columns: list[float | None]) -> pd.DataFrame:
    """A network of named blocks without bans and digs, columns laid over it."""
    frame = pd.DataFrame({"block_id": [f"B{number}" for number in range(count)], "utility_year": np.nan,
                          "no_work_until": np.nan})
    return frame.assign(**{name: np.array(values, float) for name, values in columns.items()})


def alternatives(*rows: tuple[int, int, str, float, float]) -> Alternatives:
    block, step, strategy, cost, benefit = zip(*rows, strict=True)
    return Alternatives(np.array(block, np.int64), np.array(step, np.int64), np.array(strategy, "<U14"),
                        np.array(cost, float), np.array(benefit, float))


def scenario(*budgets: float, **more: object) -> Scenario:
    return Scenario(start_year=START, budgets_usd=tuple(map(float, budgets)), **more)  # type: ignore[arg-type]


def free(given_: Alternatives) -> np.ndarray:
    return np.zeros(len(given_.block), bool)


def spent(given_: Alternatives, rows: np.ndarray, years: int) -> np.ndarray:
    return np.bincount(given_.step[rows], given_.cost_usd[rows], minlength=years)


#: Own invention, the optimum by brute force: six blocks, three years, $100,000 a year.  Block, strategy, cost, benefit
#: in year 1, 2, 3; None where the strategy is not adequate.
SIX = (
    (0, "partial_depth", 12_000, (3.600, 3.360, 3.120)), (1, "partial_depth", 18_000, (9.450, 8.820, 8.190)),
    (1, "full_depth", 67_500, (17.719, 17.824, 17.745)), (2, "partial_depth", 14_400, (2.160, 2.016, None)),
    (2, "full_depth", 54_000, (6.120, 6.048, 5.928)), (2, "reconstruction", 144_000, (None, None, 8.549)),
    (3, "full_depth", 90_000, (55.800, 54.600, 53.040)), (3, "reconstruction", 240_000, (76.320, 73.584, 70.512)),
    (4, "full_depth", 40_500, (11.576, 11.225, None)), (4, "reconstruction", 108_000, (15.039, 14.429, 13.762)),
    (5, "reconstruction", 192_000, (48.720, 46.352, 43.856)))


def test_six_blocks_and_three_years() -> None:
    given_ = alternatives(*[(block, step, name, cost, benefit) for block, name, cost, benefits in SIX
                            for step, benefit in enumerate(benefits) if benefit is not None])
    chosen = program.best(given_, free(given_), 6, scenario(1e5, 1e5, 1e5))
    assert chosen.status == "optimal" and chosen.value == pytest.approx(93.938)
    assert chosen.upper_bound >= 93.938 - 1e-9
    picked = {("ABCDEF"[given_.block[row]], str(given_.strategy[row]), int(given_.step[row])) for row in chosen.rows}
    assert picked == {("D", "full_depth", 0), ("C", "full_depth", 1), ("E", "full_depth", 1),
                      ("A", "partial_depth", 2), ("B", "full_depth", 2)}
    assert spent(given_, chosen.rows, 3).tolist() == [90_000, 94_500, 79_500]


cases = st.integers(1, 5).flatmap(lambda blocks: st.tuples(
    st.lists(st.tuples(st.integers(0, blocks - 1), st.integers(0, 2),
                       st.sampled_from(["partial_depth", "full_depth", "reconstruction"]),
                       st.integers(0, 60).map(float), st.integers(-5, 40).map(float)), min_size=1, max_size=9),
    st.tuples(*[st.integers(0, 100).map(float)] * 3), st.just(blocks)))


@given(cases)
@settings(max_examples=60, deadline=None)
def test_tiny_programs_are_the_best_of_all(case: tuple[list[tuple[int, int, str, float, float]],
                                                       tuple[float, ...], int]) -> None:
    rows, budgets, blocks = case
    given_ = alternatives(*rows)
    chosen = program.best(given_, free(given_), blocks, scenario(*budgets))
    assert (spent(given_, chosen.rows, 3) <= np.array(budgets) * (1 + 1e-9)).all()
    assert len(set(given_.block[chosen.rows])) == len(chosen.rows)
    options = [[None, *np.flatnonzero(given_.block == block)] for block in range(blocks)]
    best = 0.0
    for picks in itertools.product(*options):
        taken = np.array([row for row in picks if row is not None], np.int64)
        if (spent(given_, taken, 3) <= np.array(budgets)).all():
            best = max(best, given_.benefit[taken].sum())
    assert chosen.value == pytest.approx(given_.benefit[chosen.rows].sum())
    assert chosen.value >= best * (1 - 2e-4) - 1e-9 and chosen.upper_bound >= best - 1e-9


@given(st.integers(0, 10_000), st.integers(10, 60), st.floats(0, 1))
@settings(max_examples=12, deadline=None)
def test_budgets_hold_in_every_year_and_best_beats_worst_first(seed: int, blocks: int, tight: float) -> None:
    rng = np.random.default_rng(seed)
    costs = {name: rng.uniform(1e4, 4e5, (blocks, 4)) for name in program.WORK}
    benefits = {name: rng.uniform(-1e3, 1e5, (blocks, 4)) for name in program.WORK}
    given_ = program.every(costs, benefits)
    index = rng.uniform(0, 100, (blocks, 4))
    asked = scenario(*(rng.uniform(0, 1, 4) * tight * blocks * 1e5))
    one_each = given_.only(given_.strategy == "full_depth")
    best = program.best(one_each, free(one_each), blocks, asked, effort=10)
    worst = program.worst_first(one_each, free(one_each), index, asked)
    for chosen in (best, worst):
        assert (spent(one_each, chosen.rows, 4) <= np.array(asked.budgets_usd) * (1 + 1e-9)).all()
        assert len(set(one_each.block[chosen.rows])) == len(chosen.rows)
        assert chosen.value == pytest.approx(one_each.benefit[chosen.rows].sum())
    assert best.upper_bound >= worst.value - 1e-6
    assert best.value >= worst.value - best.gap * abs(best.upper_bound) - 1e-6


def test_worst_first_by_hand() -> None:
    # Year 1, $100: index 10 costs 80 and is taken, 20 costs 50 and no longer fits, 30 costs 20 and does.
    # Year 2, $60: the one of index 20, at 18 by then, costs 55; the block of index 5 has no work that year.
    given_ = alternatives((0, 0, "full_depth", 50, 1), (1, 0, "full_depth", 80, 1), (2, 0, "full_depth", 20, 1),
                          (0, 1, "full_depth", 55, 2), (1, 1, "full_depth", 1, 9), (4, 1, "full_depth", 5, 3),
                          (3, 1, "full_depth", 61, 9))
    index = np.array([[20.0, 18], [10, 8], [30, 28], [5, 3], [90, 88]])
    chosen = program.worst_first(given_, free(given_), index, scenario(100, 60))
    assert chosen.rows.tolist() == [1, 2, 3, 5] and chosen.value == 7 and chosen.status == "rule"
    assert np.isnan(chosen.upper_bound) and np.isnan(chosen.gap)


def test_worst_first_ties_go_by_the_blocks_order_and_locks_come_first() -> None:
    given_ = alternatives((1, 0, "full_depth", 60, 1), (0, 0, "full_depth", 60, 1), (2, 0, "full_depth", 40, 1))
    index = np.full((3, 1), 50.0)
    assert program.worst_first(given_, free(given_), index, scenario(100)).rows.tolist() == [0, 2]
    must = np.array([False, True, False])
    assert program.worst_first(given_, must, index, scenario(100)).rows.tolist() == [1, 2]


def test_forced_work_above_the_budget_is_said_with_amounts() -> None:
    given_ = alternatives((0, 1, "full_depth", 120_000, 5), (1, 0, "full_depth", 10_000, 5))
    must = np.array([True, False])
    asked = scenario(100_000, 90_000)
    for chosen in (program.best(given_, must, 2, asked), program.worst_first(given_, must, np.zeros((2, 2)), asked)):
        assert chosen.status == "infeasible" and len(chosen.rows) == 0
        note = chosen.notes[0]
        assert note.year == START + 1 and "$120,000" in note.message and "$90,000" in note.message


@pytest.mark.parametrize("year", range(2027, 2037))
def test_years_before_a_dig_are_closed(defaults: Assumptions, year: int) -> None:
    # Marysville municipal code 11.09: no cuts in the 5 years after paving: no paving in the 5 years before a dig, nor
    # in its year.  Dig in 2033: 2028 to 2033 are closed.
    opens = program.open_years(city(1, utility_year=[2033]), scenario(*[1] * 10), defaults)
    assert bool(opens[0, year - 2027]) == (year == 2027 or year > 2033)


def test_no_work_years_end_with_the_year_given(defaults: Assumptions) -> None:
    blocks = city(3, no_work_until=[2029, None, 2020], utility_year=[None, None, 2026])
    opens = program.open_years(blocks, scenario(1, 1, 1, 1), defaults)
    assert opens.tolist() == [[False, False, True, True], [True] * 4, [True] * 4]  # a dig of the past closes nothing
    none = reader.overlay(defaults, {"economics": {"clear_before_dig_yr": 0}})
    assert program.open_years(city(1, utility_year=[2028]), scenario(1, 1, 1), none).tolist() == [[True, False, True]]


FOUR = alternatives((0, 0, "partial_depth", 10, 1), (0, 0, "full_depth", 20, 3), (0, 1, "full_depth", 20, 2),
                    (1, 0, "full_depth", 30, 5), (1, 1, "full_depth", 30, 4), (1, 1, "reconstruction", 90, 9))
ADEQUATE = np.array([True, True, True, True, True, False])


def allow(network: pd.DataFrame, **more: object) -> tuple[set[tuple[int, int, str]], set[tuple[int, int, str]], list]:
    """Alternatives left and those that must be taken, as (block, step, strategy), and the notes."""
    left, must, notes = program.allowed(FOUR, network, ADEQUATE, scenario(1000, 1000, **more), ASSUMED)
    rows = list(zip(left.block.tolist(), left.step.tolist(), left.strategy.tolist(), strict=True))
    return set(rows), {row for row, taken in zip(rows, must, strict=True) if taken}, notes


def test_what_the_rules_find_adequate_is_left() -> None:
    rows, must, notes = allow(city(2))
    assert rows == {(0, 0, "partial_depth"), (0, 0, "full_depth"), (0, 1, "full_depth"), (1, 0, "full_depth"),
                    (1, 1, "full_depth")}
    assert not must and not notes
    assert allow(city(2, utility_year=[2027, None]))[0] == {(0, 1, "full_depth"), (1, 0, "full_depth"),
                                                           (1, 1, "full_depth")}


def test_a_block_kept_out_gets_nothing_even_with_an_override() -> None:
    assert {row[0] for row in allow(city(2), kept_out=("B1",))[0]} == {0}
    own = (Override("B1", "reconstruction", "sewer"),)
    assert {row[0] for row in allow(city(2), kept_out=("B1",), overrides=own)[0]} == {0}


def test_an_override_replaces_the_rules_but_not_the_closed_years() -> None:
    own = (Override("B1", "reconstruction", "sewer"),)
    rows = allow(city(2), overrides=own)[0]
    assert {row for row in rows if row[0] == 1} == {(1, 1, "reconstruction")}
    assert not [row for row in allow(city(2, no_work_until=[None, 2030]), overrides=own)[0] if row[0] == 1]
    none = (Override("B1", "none", "rebuilt by others"),)
    assert not [row for row in allow(city(2), overrides=none)[0] if row[0] == 1]


def test_a_forced_year_takes_the_adequate_strategy_of_most_benefit() -> None:
    rows, must, notes = allow(city(2), forced=(Forced("B0", START),))
    assert must == {(0, 0, "full_depth")} and not notes
    assert {row for row in rows if row[0] == 0} == must  # the other ways of that block are gone


def test_a_forced_strategy_that_the_rules_do_not_name_is_no_conflict_with_a_closed_year() -> None:
    rows, must, notes = allow(city(2), forced=(Forced("B1", START + 1, "reconstruction"),))
    assert must == {(1, 1, "reconstruction")} and (1, 0, "full_depth") not in rows
    assert not [note for note in notes if note.topic == "conflict"]


@pytest.mark.parametrize("closed", [{"utility_year": [None, 2027]}, {"no_work_until": [None, 2028]}])
def test_a_forced_closed_year_is_obeyed_and_warned(closed: dict[str, list[float | None]]) -> None:
    _, must, notes = allow(city(2, **closed), forced=(Forced("B1", START),))
    assert must == {(1, 0, "full_depth")}
    assert [(note.topic, note.block_id, note.year) for note in notes] == [("conflict", "B1", START)]


def test_a_forced_year_keeps_an_override() -> None:
    own = (Override("B0", "partial_depth", "cheap for now"),)
    assert allow(city(2), forced=(Forced("B0", START),), overrides=own)[1] == {(0, 0, "partial_depth")}


def test_a_forced_year_without_work_due_is_said() -> None:
    own = (Override("B0", "none", "rebuilt by others"),)
    _, must, notes = allow(city(2), forced=(Forced("B0", START),), overrides=own)
    assert not must and [(note.topic, note.block_id) for note in notes] == [("forced", "B0")]


def test_names_that_are_not_in_the_table_are_said() -> None:
    _, must, notes = allow(city(2), forced=(Forced("X", START),), overrides=(Override("Y", "none", "why"),))
    assert not must and {(note.topic, note.block_id) for note in notes} == {("forced", "X"), ("override", "Y")}


def test_inputs_stay_as_they_are() -> None:
    before = replace(FOUR, cost_usd=FOUR.cost_usd.copy(), benefit=FOUR.benefit.copy())
    network = city(2, utility_year=[2027, None])
    copy = network.copy(deep=True)
    allow(network, forced=(Forced("B0", START),), overrides=(Override("B1", "reconstruction", "sewer"),))
    program.best(FOUR, free(FOUR), 2, scenario(50, 50))
    program.worst_first(FOUR, np.array([True] + [False] * 5), np.zeros((2, 2)), scenario(50, 50))
    pd.testing.assert_frame_equal(network, copy)
    assert np.array_equal(FOUR.cost_usd, before.cost_usd) and np.array_equal(FOUR.benefit, before.benefit)


def test_waiting_is_charged_with_what_its_dollars_would_have_bought() -> None:
    # By hand: two blocks, three years, no discount, prices up by half a year.  Today's needs: $100 of partial depth
    # for 30 and $300 of full depth for 50, so the average dollar buys 0.2.
    def both(first: list[float], second: list[float]) -> np.ndarray:
        return np.array([first, second])

    inflation, today = np.array([1.0, 1.5, 2.25]), np.ones(3)
    costs = {"partial_depth": both([100, 150, 450], [0, 0, 0]), "full_depth": both([200, 300, 900], [300, 450, 675]),
             "reconstruction": both([900, 1350, 2025], [900, 1350, 2025])}
    benefits = {"partial_depth": both([30, 29, 33], [0, 0, 0]), "full_depth": both([40, 41, 70], [50, 52, 54]),
                "reconstruction": both([60, 61, 62], [60, 61, 62])}
    due = np.array([[1, 1, 2], [2, 2, 2]])
    found = program.less_waiting(benefits, costs, due, inflation, today, 1.0)
    assert found["partial_depth"].tolist() == pytest.approx(both([30, 29, 33 - 0.2 * 100], [0, 0, 0]))
    assert found["full_depth"] == pytest.approx(both([40, 41, 70 - 0.2 * 200], [50, 52, 54]))
    assert found["reconstruction"] == pytest.approx(benefits["reconstruction"])
    half = program.less_waiting(benefits, costs, due, inflation, np.array([1.0, 0.5, 0.25]), 0.5)
    assert half["full_depth"][0, 2] == pytest.approx(70 - 0.5 * 0.2 * 0.25 * 200)
    for name, values in program.less_waiting(benefits, costs, due, inflation, today, 0.0).items():
        assert (values == benefits[name]).all()
    nothing = program.less_waiting(benefits, costs, np.zeros((2, 3), int), inflation, today, 1.0)
    assert all((nothing[name] == benefits[name]).all() for name in program.WORK)


def test_nothing_to_choose() -> None:
    none = FOUR.only(np.zeros(6, bool))
    for chosen in (program.best(none, free(none), 2, scenario(5, 5)), program.best(none, free(none), 0, scenario(5, 5)),
                   program.worst_first(none, free(none), np.zeros((2, 2)), scenario(5, 5))):
        assert len(chosen.rows) == 0 and chosen.value == 0


def test_every_alternative_is_there_once() -> None:
    costs = {name: np.arange(6.0).reshape(2, 3) + 100 * position for position, name in enumerate(program.WORK)}
    given_ = program.every(costs, {name: -value for name, value in costs.items()})
    assert len(given_.block) == 18 and len(set(zip(given_.block, given_.step, given_.strategy, strict=True))) == 18
    row = np.flatnonzero((given_.block == 1) & (given_.step == 2) & (given_.strategy == "reconstruction"))[0]
    assert given_.cost_usd[row] == 205 and given_.benefit[row] == -205
