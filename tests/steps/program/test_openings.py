"""What is open: closed years of every kind, locks, overrides, the backlog, and what is said of each."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from rehab.base.limits import Closed
from rehab.base.settings import Assumptions, Forced, Override
from rehab.inputs import assumptions as reader
from rehab.steps import program
from rehab.steps.program import Alternatives, Openings, openings
from tests.steps.program.making import START, alternatives, city, pairs, scenario

ASSUMED = reader.defaults()
FOUR = alternatives((0, 0, "partial_depth", 10, 1), (0, 0, "full_depth", 20, 3), (0, 1, "full_depth", 20, 2),
                    (1, 0, "full_depth", 30, 5), (1, 1, "full_depth", 30, 4), (1, 1, "reconstruction", 90, 9))
ADEQUATE = np.array([True, True, True, True, True, False])
Rows = set[tuple[int, int, str]]


def all_years_open(network: pd.DataFrame, years: np.ndarray, assumptions: Assumptions) -> np.ndarray:
    return openings.years_after_ban(network, years) & openings.years_clear_of_dig(network, years, assumptions)


def named(given: Alternatives, which: np.ndarray) -> Rows:
    return set(zip(given.block[which].tolist(), given.step[which].tolist(), given.strategy[which].tolist(),
                   strict=True))


def opened(network: pd.DataFrame, given: Alternatives = FOUR, due: np.ndarray = ADEQUATE, money: float = 1000.0,
           backlog: list[bool] | None = None, assumptions: Assumptions = ASSUMED, **more: object) -> Openings:
    asked = scenario(money, money, **more)
    return program.allowed(given, network, due, asked, assumptions, program.most_in_a_year(asked),
                           None if backlog is None else np.array(backlog))


def allow(network: pd.DataFrame, **more: object) -> tuple[Rows, Rows, list]:
    """Alternatives open and those that must be taken, as (block, step, strategy), and the notes."""
    found = opened(network, **more)  # type: ignore[arg-type]
    return named(FOUR, found.open), named(FOUR, found.forced), list(found.notes)


def reason(found: Openings, row: int) -> str:
    return openings.REASONS[int(found.why[row])]


@pytest.mark.parametrize("year", range(2027, 2037))
def test_years_before_a_dig_are_closed(defaults: Assumptions, year: int) -> None:
    # Marysville municipal code 11.09: no cuts in the 5 years after paving: no paving in the 5 years before a dig, nor
    # in its year.  Dig in 2033: 2028 to 2033 are closed.
    opens = all_years_open(city(1, utility_year=[2033.0]), np.arange(2027, 2037), defaults)
    assert bool(opens[0, year - 2027]) == (year == 2027 or year > 2033)


def test_no_work_years_end_with_the_year_given(defaults: Assumptions) -> None:
    years = np.arange(2027, 2031)
    blocks = city(3, no_work_until=[2029, np.nan, 2020], utility_year=[np.nan, np.nan, 2026])
    opens = all_years_open(blocks, years, defaults)
    assert opens.tolist() == [[False, False, True, True], [True] * 4, [True] * 4]  # a dig of the past closes nothing
    none = reader.overlay(defaults, {"economics": {"clear_before_dig_yr": 0}})
    assert all_years_open(city(1, utility_year=[2028.0]), years[:3], none).tolist() == [[True, False, True]]


def test_years_after_recorded_work_rest(defaults: Assumptions) -> None:
    blocks = city(3, last_work_year=[2025, np.nan, 2029])
    years = np.arange(2027, 2032)
    assert openings.years_rested(blocks, years, defaults).all()  # by default there is no rule
    four = reader.overlay(defaults, {"economics": {"rest_after_work_yr": 4}})
    assert openings.years_rested(blocks, years, four).tolist() == [
        [False, False, True, True, True], [True] * 5, [True, True, False, False, False]]
    found = opened(city(2, last_work_year=[np.nan, 2024]), assumptions=four)
    assert reason(found, 3) == "too near earlier work" and reason(found, 4) == "open"


def test_years_closed_by_hand() -> None:
    closed = (Closed("B1", START), Closed("X", START))
    rows, _, notes = allow(city(2), closed=closed)
    assert {row for row in rows if row[0] == 1} == {(1, 1, "full_depth")}
    assert [(note.topic, note.block_id) for note in notes] == [("closed year", "X")]
    assert reason(opened(city(2), closed=closed), 3) == "the year is closed to the block by hand"


def test_a_second_work_in_a_closed_year_is_closed() -> None:
    both = FOUR.beside(pairs((1, 0, "full_depth", 30, 8, 1, "grinding", 5)))
    due = np.append(ADEQUATE, True)
    assert opened(city(2), both, due).open[-1]
    found = opened(city(2), both, due, closed=(Closed("B1", START + 1),))
    assert not found.open[-1] and found.open[3]
    assert not opened(city(2, utility_year=[np.nan, START + 1]), both, due).open[-1]


def test_what_the_rules_find_adequate_is_left() -> None:
    rows, must, notes = allow(city(2))
    assert rows == {(0, 0, "partial_depth"), (0, 0, "full_depth"), (0, 1, "full_depth"), (1, 0, "full_depth"),
                    (1, 1, "full_depth")}
    assert not must and not notes
    assert allow(city(2, utility_year=[2027, np.nan]))[0] == {(0, 1, "full_depth"), (1, 0, "full_depth"),
                                                              (1, 1, "full_depth")}


def test_what_is_dearer_than_a_year_may_spend_is_closed() -> None:
    assert allow(city(2), money=20.0)[0] == {(0, 0, "partial_depth"), (0, 0, "full_depth"), (0, 1, "full_depth")}
    carried = opened(city(2), money=20.0, carry_over=0.5)  # 30 may be spent in the second year
    assert carried.open[4] and not carried.open[3]
    assert reason(carried, 3) == "dearer than all the money of its year"
    late = FOUR.beside(pairs((0, 0, "full_depth", 20, 8, 1, "grinding", 21)))
    assert not opened(city(2), late, np.append(ADEQUATE, True), money=20.0).open[-1]


def test_a_block_kept_out_gets_nothing_even_with_an_override() -> None:
    assert {row[0] for row in allow(city(2), kept_out=("B1",))[0]} == {0}
    own = (Override("B1", "reconstruction", "sewer"),)
    assert {row[0] for row in allow(city(2), kept_out=("B1",), overrides=own)[0]} == {0}


def test_an_override_replaces_the_rules_but_not_the_closed_years() -> None:
    own = (Override("B1", "reconstruction", "sewer"),)
    rows = allow(city(2), overrides=own)[0]
    assert {row for row in rows if row[0] == 1} == {(1, 1, "reconstruction")}
    assert not [row for row in allow(city(2, no_work_until=[np.nan, 2030]), overrides=own)[0] if row[0] == 1]
    none = (Override("B1", "none", "rebuilt by others"),)
    assert not [row for row in allow(city(2), overrides=none)[0] if row[0] == 1]


def test_a_forced_year_leaves_its_open_work_to_the_optimiser() -> None:
    rows, must, notes = allow(city(2), forced=(Forced("B0", START),))
    assert not must and not notes
    assert {row for row in rows if row[0] == 0} == {(0, 0, "partial_depth"), (0, 0, "full_depth")}
    found = opened(city(2), forced=(Forced("B0", START),))
    assert found.needed.tolist() == [True, False] and reason(found, 2) == "another work or year is forced"


def test_a_simple_rule_is_given_the_forced_work_of_most_benefit() -> None:
    _, must, _ = allow(city(2), forced=(Forced("B0", START),), choice="worst first")
    assert must == {(0, 0, "full_depth")}


def test_a_forced_year_takes_what_is_open_before_what_is_not() -> None:
    both = FOUR.beside(pairs((1, 0, "full_depth", 30, 8, 1, "grinding", 5)))  # more benefit, in a closed year
    due = np.append(ADEQUATE, True)
    lock = (Forced("B1", START),)
    free = opened(city(2), both, due, forced=lock)
    assert not free.forced.any() and free.open[[3, 6]].all() and free.needed[1]
    shut = opened(city(2), both, due, forced=lock, closed=(Closed("B1", START + 1),))
    assert shut.forced.tolist() == [False] * 3 + [True] + [False] * 3 and not shut.notes
    dear = opened(city(2), money=10.0, forced=(Forced("B0", START),))
    assert named(FOUR, dear.forced) == {(0, 0, "partial_depth")} and not dear.notes
    # A year that is closed by a dig is broken by the work that is forced, never by a second one beside it.
    dug = opened(city(2, utility_year=[np.nan, START + 1]), both, due, forced=lock)
    assert dug.forced.tolist() == [False] * 3 + [True] + [False] * 3 and [note.topic for note in dug.notes] == ["conflict"]


def test_a_forced_strategy_that_the_rules_do_not_name_is_no_conflict_with_a_closed_year() -> None:
    rows, must, notes = allow(city(2), forced=(Forced("B1", START + 1, "reconstruction"),))
    assert must == {(1, 1, "reconstruction")} and (1, 0, "full_depth") not in rows
    assert not [note for note in notes if note.topic == "conflict"]


@pytest.mark.parametrize("closed", [{"utility_year": [np.nan, 2027]}, {"no_work_until": [np.nan, 2028]}])
def test_a_forced_closed_year_is_obeyed_and_warned(closed: dict[str, list[float]]) -> None:
    _, must, notes = allow(city(2, **closed), forced=(Forced("B1", START),))
    assert must == {(1, 0, "full_depth")}
    assert [(note.topic, note.block_id, note.year) for note in notes] == [("conflict", "B1", START)]


def test_a_forced_year_keeps_an_override() -> None:
    own = (Override("B0", "partial_depth", "cheap for now"),)
    _, must, notes = allow(city(2), forced=(Forced("B0", START),), overrides=own)
    assert must == {(0, 0, "partial_depth")} and not notes


def test_a_forced_strategy_against_one_set_by_hand_is_said() -> None:
    own = (Override("B0", "partial_depth", "cheap for now"),)
    _, must, notes = allow(city(2), forced=(Forced("B0", START, "full_depth"),), overrides=own)
    assert must == {(0, 0, "full_depth")}
    assert [(note.topic, note.block_id) for note in notes] == [("conflict", "B0")]
    assert "full-depth repair" in notes[0].message and "partial-depth repair" in notes[0].message


def test_a_forced_year_without_work_due_is_said() -> None:
    own = (Override("B0", "none", "rebuilt by others"),)
    _, must, notes = allow(city(2), forced=(Forced("B0", START),), overrides=own)
    assert not must and [(note.topic, note.block_id) for note in notes] == [("forced", "B0")]
    assert "set by hand" in notes[0].message
    none_due = opened(city(2), due=np.zeros(6, bool), forced=(Forced("B0", START),)).notes
    assert "name a strategy" in none_due[0].message
    nothing = opened(city(2), forced=(Forced("B0", START, "none"),)).notes
    assert "keep the block out" in nothing[0].message


def test_a_committed_cost_stands_in_place_of_the_likely_one() -> None:
    found = opened(city(2), money=50.0, forced=(Forced("B1", START + 1, "reconstruction", 44.0),))
    assert found.alternatives.cost_usd.tolist() == [10, 20, 20, 30, 30, 44] and found.open[5] and found.forced[5]
    assert FOUR.cost_usd[5] == 90


def test_names_that_are_not_in_the_table_are_said() -> None:
    _, must, notes = allow(city(2), forced=(Forced("X", START),), overrides=(Override("Y", "none", "why"),),
                           kept_out=("Z",))
    assert not must and {(note.topic, note.block_id) for note in notes} == {
        ("forced", "X"), ("override", "Y"), ("kept out", "Z")}


def test_a_backlog_is_cleared_by_its_year() -> None:
    found = opened(city(3), backlog=[True, False, True], cleared_by=START)
    assert found.needed.tolist() == [True, False, False]
    assert reason(found, 2) == "not by the year set for the backlog" and reason(found, 4) == "open"
    note = found.notes[0]
    assert note.topic == "backlog" and note.year == START and note.message.startswith("1 block ") and "B2" in note.message
    later = opened(city(3), backlog=[True, False, False], cleared_by=START, forced=(Forced("B0", START + 1),))
    assert named(FOUR, later.forced) == {(0, 1, "full_depth")}  # the lock is obeyed, and told
    assert [(note.topic, note.block_id) for note in later.notes] == [("conflict", "B0")]


def test_a_block_that_misses_the_year_of_the_backlog_may_come_later() -> None:
    found = opened(city(3), backlog=[True, False, False], cleared_by=START, closed=(Closed("B0", START),))
    assert not found.needed.any() and reason(found, 2) == "open"
    assert "B0: the year is closed to the block by hand" in found.notes[0].message


def test_inputs_stay_as_they_are() -> None:
    before = replace(FOUR, cost_usd=FOUR.cost_usd.copy(), benefit=FOUR.benefit.copy())
    network = city(2, utility_year=[2027, np.nan])
    copy = network.copy(deep=True)
    due = ADEQUATE.copy()
    opened(network, due=due, forced=(Forced("B0", START, "full_depth", 3.0),),
           overrides=(Override("B1", "reconstruction", "sewer"),), closed=(Closed("B0", START + 1),))
    pd.testing.assert_frame_equal(network, copy)
    assert np.array_equal(FOUR.cost_usd, before.cost_usd) and np.array_equal(FOUR.benefit, before.benefit)
    assert np.array_equal(due, ADEQUATE)


def test_no_blocks() -> None:
    found = program.allowed(alternatives(), city(0), np.zeros(0, bool), scenario(5.0, 5.0), ASSUMED, np.array([5.0, 5]))
    assert len(found.why) == 0 and not found.notes and len(found.needed) == 0
