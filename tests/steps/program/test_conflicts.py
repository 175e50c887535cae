"""What cannot be kept is said with the limit, the blocks, the amounts and what to relax."""

import numpy as np
import pytest

from rehab.base.errors import Note
from rehab.base.limits import Capacity, DistrictShare, Fund, Target
from rehab.base.settings import Scenario
from rehab.steps import program
from rehab.steps.program import Alternatives
from tests.steps.program.making import START, alternatives, apart, city, scenario, solved

TWO = alternatives((0, 0, "full_depth", 60_000, 5), (0, 1, "full_depth", 120_000, 5), (1, 1, "full_depth", 10_000, 5))
NETWORK = city(2, district=["east", "west"])


def told(given: Alternatives, asked: Scenario, forced: tuple[int, ...] = (), amounts: dict | None = None,
         gain: np.ndarray | None = None, index: np.ndarray | None = None) -> tuple[Note, ...]:
    made = apart(given, 2, forced)
    limits = program.limits_of(made.alternatives, NETWORK, asked,
                               {kind: values[made.source] for kind, values in (amounts or {}).items()},
                               None if gain is None else gain[made.source], index)
    names = NETWORK["block_id"].to_numpy()[made.alternatives.block]
    chosen = program.best(made, limits, np.isin(made.source, forced), names)
    assert chosen.status == "infeasible" and len(chosen.rows) == 0 and chosen.value == 0 and chosen.notes
    assert {note.topic for note in chosen.notes} == {"conflict"}
    return chosen.notes


def test_forced_work_above_the_budget_names_blocks_and_amounts() -> None:
    notes = told(TWO, scenario(100_000, 90_000), (1,))
    assert len(notes) == 1 and notes[0].year == START + 1
    for words in ("B0 $120,000", "budget $90,000", "$30,000 too little", "raise the budget or force less"):
        assert words in notes[0].message


def test_many_forced_blocks_are_named_dearest_first() -> None:
    made = alternatives(*[(block, 0, "full_depth", 100 + block, 5) for block in range(9)])
    chosen, _ = solved(made, city(9), scenario(500), range(9))
    assert "(B8 $108; B7 $107; B6 $106; B5 $105; B4 $104; B3 $103 and 3 more) costs $936" in chosen.notes[0].message


def test_no_money_at_all() -> None:
    notes = told(TWO, scenario(0, 0), (0,))
    assert notes[0].year == START and "budget $0: $60,000 too little" in notes[0].message
    nothing = solved(TWO, NETWORK, scenario(0, 0))[0]  # without a lock there is just nothing to do
    assert nothing.status == "optimal" and nothing.value == 0 and len(nothing.rows) == 0


def test_funds_that_may_not_pay_the_forced_work() -> None:
    asked = scenario(50_000, 0, funds=(Fund("repairs", (100_000.0, 0.0), strategies=("partial_depth",)),))
    notes = told(TWO, asked, (0,))
    assert "funds general" in notes[0].message and "$10,000 too little" in notes[0].message


def test_carry_over_that_is_not_enough() -> None:
    notes = told(TWO, scenario(100_000, 90_000, carry_over=0.25), (1,))
    assert any("with 25 % of 2027" in note.message and "$115,000" in note.message for note in notes)
    assert solved(TWO, NETWORK, scenario(100_000, 90_000, carry_over=0.3), (1,))[0].status == "optimal"


@pytest.mark.parametrize(("district", "most"), [
    ("west", "no more than $10,000;"), ("nowhere", "no block lies there, or none may be worked on;")])
def test_a_district_share_that_cannot_be_met(district: str, most: str) -> None:
    notes = told(TWO, scenario(200_000, 200_000, district_shares=(DistrictShare(district, 0.1),)))
    assert notes[0].year is None
    for words in (f"district {district}", "at least $40,000", most, "lower the share"):
        assert words in notes[0].message


def test_a_target_that_cannot_be_reached() -> None:
    # Two blocks of one size at 40 and 60; full depth lifts the first by 30 points in its second year, the other by 10.
    gain = np.array([[0.0, 30], [0, 30], [0, 10]])
    index = np.array([[40.0, 40], [60, 60]])
    notes = told(TWO, scenario(1e6, 1e6, targets=(Target(80.0, START + 1, START + 1),)), gain=gain, index=index)
    assert notes[0].year == START + 1 and "it stays 10.00 points below; lower the target" in notes[0].message
    none = told(alternatives(), scenario(1e6, 1e6, targets=(Target(80.0, START, START),)), gain=np.zeros((0, 2)), index=index)
    assert "it stays 30.00 points below" in none[0].message


def test_a_capacity_too_small_for_the_forced_work() -> None:
    amounts = {"full_depth": np.array([700.0, 0, 0])}
    notes = told(TWO, scenario(1e6, 1e6, capacities=(Capacity("full_depth", 500.0),)), (0,), amounts)
    for words in ("B0 700 sq yd", "the capacity of full depth 500 sq yd", "200 sq yd too little", "raise the capacity"):
        assert words in notes[0].message


def test_limits_that_fail_only_together_are_told_with_what_is_short() -> None:
    # East's half of the money needs block 0, which leaves too little for the target that block 1 alone could reach.
    given = alternatives((0, 0, "full_depth", 60, 5), (1, 0, "full_depth", 60, 5))
    asked = scenario(100, 0, district_shares=(DistrictShare("east", 0.6),), targets=(Target(58.0, START, START),))
    notes = told(given, asked, gain=np.array([[0.0, 0], [20.0, 20]]), index=np.full((2, 2), 50.0))
    # Either limit may be the one that gives way in the least sum of shares.
    assert len(notes) >= 1 and all("together with the other limits this cannot be kept" in note.message for note in notes)
    assert any(words in notes[0].message for words in ("raise the budget", "lower the share", "lower the target"))


def test_whole_blocks_that_do_not_fit_where_parts_would() -> None:
    # Half of block 0 in each year would fit in parts, the whole in neither.
    given = alternatives((0, 0, "full_depth", 60, 5), (0, 1, "full_depth", 60, 5))
    made = program.offers(given, np.ones(2, bool), np.zeros(2, bool), np.array([True, False]), np.arange(2), np.zeros(2))
    limits = program.limits_of(made.alternatives, NETWORK, scenario(40, 40))
    chosen = program.best(made, limits, np.zeros(2, bool), ["B0", "B0"])
    assert chosen.status == "infeasible" and "whole blocks" in chosen.notes[0].message
