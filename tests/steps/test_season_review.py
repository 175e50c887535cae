"""What a move by hand breaks, plan and actual side by side, and what the scheduler does with what is needed together."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pandas as pd
import pytest

from rehab.base import tables
from rehab.base.settings import Assumptions
from rehab.inputs import assumptions as reader
from rehab.solvers import sequence
from rehab.steps import season

ITEMS = list(reader.defaults().table("pay_items").index)
PATCHED = {"partial_depth_patch": 160.0, "crack_filling": 200.0, "diamond_grinding": 1200.0, "striping": 900.0}


def made(assumptions: Assumptions, count: int, given: season.Given | None = None, street: str | None = None,
         **values: str) -> season.Season:
    """Blocks alike, of a street of their own each or of one: one day of patching at 320 sq ft a day milled and placed."""
    names = [f"B{number}" for number in range(count)]
    network = pd.DataFrame({"block_id": names, "street": [street or f"Street {name}" for name in names],
                            "district": "North", "bus_route": False, "area_sqyd": 1200.0, "thickness_in": 8.0,
                            "length_ft": 300.0})
    amounts = pd.DataFrame([PATCHED] * count).reindex(columns=ITEMS).fillna(0.0)
    used = reader.overlay(assumptions, {"season": {"grind_timing": "soon", **values}})
    ground = season.ground(network, network["street"].value_counts().to_dict(), None, used)
    return season.arrange(ground, amounts, used, 2027, given, 0.0)


def rules(found: season.Season, task: str, day: date) -> dict[str, str]:
    broken = season.breaks(found, season.moved(found, task, day))
    return dict(zip(broken["rule"], broken["message"], strict=True))


def test_a_calendar_breaks_nothing(defaults: Assumptions) -> None:
    assert season.breaks(made(defaults, 6, street="Main")).empty


def test_what_a_move_breaks(defaults: Assumptions) -> None:
    # By hand: marked on Thursday 15 April; patched on Thursday the 22nd, open on the 23rd; ground from 20 May on.
    found = made(defaults, 1)
    assert "outside the season" in rules(found, "B0/mark", date(2027, 4, 12))["day"]
    assert "no day of the work week" in rules(found, "B0/patch", date(2027, 4, 24))["day"]
    assert "a holiday" in rules(found, "B0/patch", date(2027, 5, 31))["day"]  # Memorial Day (5 U.S.C. 6103)
    early = rules(found, "B0/patch", date(2027, 4, 21))
    assert set(early) == {"wait"} and "7 days of notice" in early["wait"] and "Thu 22 Apr" in early["wait"]
    late = rules(found, "B0/patch", date(2027, 4, 23))
    assert "28 days" in late["wait"] and "Fri 21 May" in late["wait"]
    assert not rules(found, "B0/grind", date(2027, 5, 21)).keys() - {"wait"}  # filling and striping come too soon
    with pytest.raises(KeyError):
        season.moved(found, "B9/patch", date(2027, 5, 3))


def test_a_train_moves_as_one_and_opens_later(defaults: Assumptions) -> None:
    found = made(defaults, 1)
    moved = season.moved(found, "B0/mill", date(2027, 4, 28)).set_index("task_id")
    for task in ("B0/mill", "B0/patch"):
        assert moved.loc[task, "start"] == moved.loc[task, "finish"] == pd.Timestamp("2027-04-28")
        assert moved.loc[task, "opens"] == pd.Timestamp("2027-04-29")  # UFC 3-270-04 5.7: 24 hours
    assert moved.loc["B0/mark", "start"] == pd.Timestamp("2027-04-15")


def test_two_blocks_of_a_street_at_once_and_one_crew_twice(defaults: Assumptions) -> None:
    found = made(defaults, 2, street="Main", **{"crews.Patching crew": "1"})
    first, second = found.tasks[found.tasks["task"] == "patch"]["start"].dt.date.tolist()
    assert first != second  # half of two blocks is one
    found_rules = rules(found, "B1/patch", first) if found.tasks.set_index("task_id").loc["B1/patch", "start"].date() \
        == second else rules(found, "B0/patch", first)
    assert {"street", "crew"} <= set(found_rules)
    assert "at most 1 of the blocks of Main" in found_rules["street"]


def test_a_day_set_by_hand_is_kept_and_the_rest_gives_way(defaults: Assumptions) -> None:
    moves = tables.with_types("moves", pd.DataFrame({"task_id": ["B0/patch"], "start": [pd.Timestamp("2027-06-09")]}))
    found = made(defaults, 3, season.Given(moves=moves))
    by_task = found.tasks.set_index("task_id")
    assert by_task.loc["B0/patch", "start"] == pd.Timestamp("2027-06-09")
    assert by_task.loc["B0/grind", "start"] >= pd.Timestamp("2027-07-07")  # 28 days later
    assert season.breaks(found).empty


def test_plan_and_actual(defaults: Assumptions) -> None:
    # By hand, working days: finished on Tuesday the 27th for Thursday the 22nd is three late; a day early is -1.
    found = made(defaults, 3)
    plan = found.tasks[found.tasks["task"].isin(["mark", "patch"])].copy()
    plan.loc[plan["task"] == "mark", ["start", "finish"]] = pd.Timestamp("2027-04-16")
    plan.loc[plan["task"] == "patch", ["start", "finish"]] = pd.Timestamp("2027-04-22")
    done: dict[str, Any] = {
        "task_id": ["B0/mark", "B0/patch", "B1/mark", "B1/patch"],
        "started": pd.to_datetime(["2027-04-15", "2027-04-26", "2027-04-16", "2027-04-22"]),
        "finished": pd.to_datetime(["2027-04-15", "2027-04-27", "2027-04-16", None])}
    table = season.progress(plan, tables.with_types("actual", pd.DataFrame(done)), date(2027, 4, 28), defaults)
    told = table.set_index("task_id")
    assert told["state"].to_dict() == {"B0/mark": "done", "B0/patch": "done", "B1/mark": "done",
                                       "B1/patch": "late to finish", "B2/mark": "late to start",
                                       "B2/patch": "late to start"}
    assert told["late_days"].to_dict() == {"B0/mark": -1.0, "B0/patch": 3.0, "B1/mark": 0.0, "B1/patch": 4.0,
                                           "B2/mark": 8.0, "B2/patch": 4.0}


def test_a_group_is_placed_only_with_what_it_needs() -> None:
    # Four periods: the first two tasks take them all; the third, of the greater weight, needs the second's group.
    wanted: dict[str, Any] = {"optional": [0, 1, 2], "weight": [1, 1, 5], "horizon": 4}
    for seconds in (0, 5):
        free = sequence.arrange([2, 3, 2], [], [[1]] * 3, [1], seconds=seconds, **wanted)
        assert free.placed == 6 and free.start[1] == -1
        bound = sequence.arrange([2, 3, 2], [], [[1], [1], [0]], [1], needs=[(2, 1)], seconds=seconds, **wanted)
        if seconds:
            assert bound.placed == 6 and bound.start[0] == -1 and (bound.start[1:] >= 0).all()
        assert bound.start[2] < 0 or bound.start[1] >= 0
    with pytest.raises(ValueError, match="needs"):
        sequence.arrange([1], [], [[1]], [1], optional=[0], needs=[(0, 3)])


def test_crews_of_a_kind_and_what_they_keep_until_opening() -> None:
    # Two copies, three tasks of two periods: two at once, the third after them.  A hold of two days keeps a street.
    found = sequence.arrange([2, 2, 2], [], [[1]] * 3, [1], copies=[2], horizon=9, seconds=2)
    assert (found.makespan, found.status) == (4, "optimal") and set(found.copy.values()) == {0, 1}
    lags = [np.minimum(np.arange(9) + 3, 9)]
    held = sequence.arrange([1, 1], [], [[1], [1]], [1], lags=lags, holds=[(0, 0, 0), (1, 0, 0)], horizon=9, seconds=2)
    assert sorted(held.start.tolist()) == [0, 3] and held.status == "optimal"


def test_a_calendar_with_a_gap_and_a_task_of_one_day() -> None:
    # Two periods a day; the first day is shut for the second half of the week.  By hand: three periods of work in
    # periods 0, 1 and 4; what must stay on one day cannot begin in the second half of it.
    shut = [[True, True, False, False, True, True]]
    found = sequence.arrange([3], [], np.zeros((1, 0)), [], calendar=[0, 0, 1, 1, 2, 2], calendars=shut, works=[0])
    assert (found.start[0], found.finish[0]) == (0, 5)
    late = sequence.arrange([2], [], np.zeros((1, 0)), [], calendar=[0, 0, 1, 1, 2, 2], unbroken=[1], release=[1])
    assert late.start[0] == 2
