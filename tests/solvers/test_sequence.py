"""The scheduler: a published instance, small instances worked out by hand, an independent check of every rule."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rehab.solvers import sequence

# PSPLIB, instance j301_1 (Kolisch and Sprecher: "PSPLIB - a project scheduling problem library", European
# Journal of Operational Research 96, 1996); optimal makespan 43.  duration | demand of four resources | successors.
J301_1 = """
0|0 0 0 0|2 3 4; 8|4 0 0 0|6 11 15; 4|10 0 0 0|7 8 13; 6|0 0 0 3|5 9 10; 3|3 0 0 0|20; 8|0 0 0 8|30; 5|4 0 0 0|27
9|0 1 0 0|12 19 27; 2|6 0 0 0|14; 7|0 0 0 1|16 25; 9|0 5 0 0|20 26; 2|0 7 0 0|14; 6|4 0 0 0|17 18; 3|0 8 0 0|17
9|3 0 0 0|25; 10|0 0 0 5|21 22; 6|0 0 0 8|22; 5|0 0 0 7|20 22; 3|0 1 0 0|24 29; 7|0 10 0 0|23 25; 2|0 0 0 6|28
7|2 0 0 0|23; 2|3 0 0 0|24; 3|0 9 0 0|30; 3|4 0 0 0|30; 7|0 0 4 0|31; 8|0 0 0 7|28; 3|0 8 0 0|31; 7|0 7 0 0|32
2|0 7 0 0|32; 2|0 0 2 0|32; 0|0 0 0 0|
"""
CAPACITY = [12, 13, 4, 12]


def j301_1() -> tuple[list[int], list[tuple[int, int, int]], list[list[int]]]:
    jobs = [job.split("|") for line in J301_1.strip().split("\n") for job in line.split(";")]
    arcs = [(job, int(after) - 1, 0) for job, row in enumerate(jobs) for after in row[2].split()]
    return [int(row[0]) for row in jobs], arcs, [[int(use) for use in row[1].split()] for row in jobs]


def broken_rules(found: sequence.Arrangement, duration: Any, precedence: Any, demand: Any, capacity: Any,
                 horizon: int | None = None, calendar: Any = None, release: Any = None, deadline: Any = None,
                 optional: Any = None) -> list[str]:
    """Every rule that the arrangement breaks, worked out period by period from the definitions alone."""
    start, faults = found.start.tolist(), []
    groups = [-1] * len(start) if optional is None else list(optional)
    for task, at in enumerate(start):
        if at < 0:
            faults += [f"{task} left out"] if groups[task] < 0 else []
            continue
        if release is not None and at < release[task]:
            faults.append(f"{task} before release")
        ends = [limit for limit in (horizon, None if deadline is None else deadline[task]) if limit is not None]
        if any(at + duration[task] > limit for limit in ends):
            faults.append(f"{task} after deadline")
    for group in set(groups) - {-1}:
        if len({start[task] >= 0 for task in range(len(start)) if groups[task] == group}) > 1:
            faults.append(f"group {group} in part")
    for before, after, lag, *kind in precedence:
        if start[before] < 0 or start[after] < 0:
            continue
        finish = start[before] + duration[before]
        days = kind and kind[0] == 1
        if start[after] < finish + (0 if days else lag):
            faults.append(f"{after} too soon after {before}")
        last_worked = finish - 1 if duration[before] else start[before]
        # A task without length may begin as the last period ends: on the day after.
        begins = calendar[start[after]] if days and start[after] < len(calendar) else calendar[-1] + 1 if days else 0
        if days and begins < calendar[last_worked] + lag:
            faults.append(f"{after} too few days after {before}")
    for period in range(max([at + length for at, length in zip(start, duration, strict=True)], default=0)):
        at_work = [task for task, at in enumerate(start) if 0 <= at <= period < at + duration[task]]
        for resource, level in enumerate(capacity):
            limit = level if np.ndim(level) == 0 else level[period]
            if sum(demand[task][resource] for task in at_work) > limit:
                faults.append(f"resource {resource} over in {period}")
    ends = [at + length for at, length in zip(start, duration, strict=True) if at >= 0]
    if found.makespan != max(ends, default=0) or not found.lower_bound <= found.makespan or found.placed > found.most:
        faults.append("figures do not agree")
    return faults


def test_published_instance_is_solved_and_proven() -> None:
    duration, arcs, demand = j301_1()
    found = sequence.arrange(duration, arcs, demand, CAPACITY, seconds=60)
    assert (found.status, found.makespan, found.lower_bound) == ("optimal", 43, 43)
    assert not broken_rules(found, duration, arcs, demand, CAPACITY)


def test_heuristic_alone_is_valid_repeats_and_respects_the_published_bounds() -> None:
    duration, arcs, demand = j301_1()
    one, two = (sequence.arrange(duration, arcs, demand, CAPACITY, seconds=0, seed=5) for _ in range(2))
    assert (one.start == two.start).all()
    assert not broken_rules(one, duration, arcs, demand, CAPACITY)
    assert one.lower_bound >= 38  # the published length of the longest path
    assert 43 <= one.makespan <= 49  # published optimum; 49 is what the latest-finish rule alone reaches


def test_tiny_instance() -> None:
    # By hand: tasks of demand 3 and 4 run alone, 4 + 2 + 4 + 3 periods; the other two, of 3 and 1, side by side: 16.
    found = sequence.arrange([3, 4, 2, 4, 3, 1], [(0, 3, 0), (1, 4, 0), (2, 5, 0)], [[2], [3], [4], [4], [3], [2]], [4])
    assert (found.status, found.makespan) == ("optimal", 16)


STREET = {"mark": [1, 1, 1, 1], "saw": [2, 1, 3, 2], "place": [1, 1, 2, 1], "joint": [1, 1, 1, 1],
          "grind": [1, 2, 1, 1], "stripe": [1, 1, 1, 1]}
LAGS = [(0, 1, 3), (1, 2, 0), (2, 3, 7), (2, 4, 28), (3, 4, 0), (2, 5, 30), (4, 5, 0)]


def street() -> tuple[list[int], list[tuple[int, int, int]], list[list[int]]]:
    duration = [STREET[trade][block] for block in range(4) for trade in STREET]
    arcs = [(6 * block + before, 6 * block + after, lag) for block in range(4) for before, after, lag in LAGS]
    return duration, arcs, [[int(trade == crew) for crew in range(6)] for _ in range(4) for trade in range(6)]


def test_street_with_curing_lags_takes_44_days() -> None:
    # invented; one crew per trade; the flow A-B-C-D worked out by hand ends on day 44, other orders on 44 or 45
    duration, arcs, demand = street()
    found = sequence.arrange(duration, arcs, demand, [1] * 6, seconds=30)
    assert (found.status, found.makespan) == ("optimal", 44)
    assert not broken_rules(found, duration, arcs, demand, [1] * 6)


def working_days(first: date, last: date) -> list[date]:
    days = [first + timedelta(days=step) for step in range((last - first).days + 1)]
    return [day for day in days if day.weekday() < 5]


@pytest.mark.parametrize("seconds", [0, 10])
def test_patch_of_15_september_is_ground_on_13_and_painted_on_15_october(seconds: float) -> None:
    days = working_days(date(2026, 9, 15), date(2026, 10, 30))
    found = sequence.arrange([1, 1, 1], [(0, 1, 28, 1), (0, 2, 30, 1), (1, 2, 0, 0)], np.zeros((3, 0)), [],
                             calendar=[day.toordinal() for day in days], seconds=seconds)
    assert [days[at] for at in found.start] == [date(2026, 9, 15), date(2026, 10, 13), date(2026, 10, 15)]


def test_a_lag_in_days_runs_over_the_weekend() -> None:
    friday = date(2026, 9, 18)
    days = working_days(friday, date(2026, 9, 30))
    numbers = [day.toordinal() for day in days]
    for lag, expected in [(0, 1), (1, 1), (3, 1), (4, 2)]:  # Friday + 0, 1 or 3 days: Monday; + 4: Tuesday
        found = sequence.arrange([1, 1], [(0, 1, lag, 1)], np.zeros((2, 0)), [], calendar=numbers, seconds=0)
        assert found.start.tolist() == [0, expected]
    assert sequence.arrange([1, 1], [(0, 1, 3, 0)], np.zeros((2, 0)), [], calendar=numbers, seconds=0).start[1] == 4


def test_no_grinding_day_left_leaves_the_block_out_whole() -> None:
    days = working_days(date(2026, 10, 1), date(2026, 10, 30))
    numbers = [day.toordinal() for day in days]
    arcs = [(0, 1, 28, 1), (2, 3, 28, 1)]
    wanted = {"calendar": numbers, "release": [0, 0, 2, 0], "optional": [0, 0, 1, 1], "weight": [1, 5]}
    for seconds in (0, 5):
        found = sequence.arrange([1, 1, 1, 1], arcs, [[1]] * 4, [1], seconds=seconds, **wanted)
        assert found.start.tolist() == [0, 20, -1, -1]  # 1 October + 28 d = 29 October; 5 October + 28 d is too late
        assert (found.status, found.placed, found.most) == ("optimal", 1, 1)
    strict = sequence.arrange([1, 1], arcs[:1], [[1]] * 2, [1], calendar=numbers, release=[2, 0], seconds=0)
    assert strict.status == "infeasible" and strict.task in (0, 1)


def test_the_greater_weight_is_placed_first() -> None:
    arcs: list[tuple[int, int, int]] = []
    found = sequence.arrange([3, 2, 2], arcs, [[1]] * 3, [1], horizon=4, optional=[0, 1, 2], weight=[3, 2, 2])
    assert (found.placed, found.most, found.status) == (4, 4, "optimal")
    assert found.start[0] == -1 and found.makespan == 4
    found = sequence.arrange([3, 2, 2], arcs, [[1]] * 3, [1], horizon=4, optional=[0, 1, 2], weight=[5, 2, 2])
    assert (found.placed, found.makespan, found.start.tolist()) == (5, 3, [0, -1, -1])


def test_missing_crew_is_named() -> None:
    found = sequence.arrange([1, 2], [(0, 1, 0)], [[1, 0], [1, 1]], [1, 0])
    assert (found.status, found.task, found.short) == ("infeasible", 1, 1)
    assert found.start.tolist() == [-1, -1] and found.makespan == -1
    left = sequence.arrange([1, 2], [(0, 1, 0)], [[1, 0], [1, 1]], [1, 0], optional=[-1, 0], seconds=0)
    assert (left.start.tolist(), left.status, left.most) == ([0, -1], "optimal", 0)
    work = sequence.arrange([4, 4, 4], [], [[1]] * 3, [1], horizon=10)
    assert (work.status, work.short) == ("infeasible", 0)  # twelve days of work in ten


def test_capacity_that_changes_with_time() -> None:
    found = sequence.arrange([2, 2], [], [[1], [1]], [[1, 0, 1, 1, 0, 1, 1]], seconds=5)
    assert sorted(found.start.tolist()) == [2, 5] and found.status == "optimal"


def test_nothing_to_do() -> None:
    found = sequence.arrange([], [], [], [1])
    assert (found.status, found.makespan, len(found.start)) == ("optimal", 0, 0)
    idle = sequence.arrange([0, 0], [(0, 1, 0)], [[5], [5]], [1])
    assert (idle.status, idle.makespan) == ("optimal", 0)


@pytest.mark.parametrize(("change", "message"), [
    ({"duration": [1, -1]}, r"duration\[1\]"), ({"duration": [1, 1.5]}, "whole"),
    ({"precedence": [(0, 1, -2)]}, "precedence"),
    ({"precedence": [(0, 2, 0)]}, "row 0"), ({"precedence": [(0, 1, 0), (1, 0, 0)]}, "circle"),
    ({"precedence": [(0, 1, 3, 1)]}, "calendar"), ({"calendar": [3, 2]}, r"calendar\[1\]"),
    ({"demand": [[1]]}, "shape"),
    ({"release": [1]}, "release"), ({"optional": [-2, 0]}, "optional"), ({"optional": [0, 1], "weight": [1]}, "weight"),
])
def test_bad_input_is_named(change: dict[str, Any], message: str) -> None:
    wanted: dict[str, Any] = {"duration": [1, 1], "precedence": [(0, 1, 0)], "demand": [[1], [1]], "capacity": [1]}
    with pytest.raises(ValueError, match=message):
        sequence.arrange(**{**wanted, **change})


@st.composite
def seasons(draw: st.DrawFn) -> dict[str, Any]:
    n, periods = draw(st.integers(1, 8)), draw(st.integers(6, 24))
    numbers = lambda low, high, size: draw(st.lists(st.integers(low, high), min_size=size, max_size=size))  # noqa: E731
    pairs = [(a, b) for a in range(n) for b in range(a + 1, n)]
    chosen = [pair for pair, keep in zip(pairs, numbers(0, 3, len(pairs)), strict=True) if keep == 0]
    return {
        "duration": numbers(0, 3, n),
        "precedence": [(a, b, *numbers(0, 5, 1), *numbers(0, 1, 1)) for a, b in chosen],
        "demand": [numbers(0, 3, 2) for _ in range(n)],
        "capacity": [numbers(1, 4, periods), [3] * periods],
        "calendar": np.cumsum(numbers(1, 3, periods)).tolist(),
        "release": numbers(0, 3, n), "deadline": numbers(periods // 2, periods + 3, n),
        "optional": numbers(-1, 2, n), "horizon": periods,
    }


@settings(max_examples=80, deadline=None)
@given(seasons())
def test_every_arrangement_keeps_every_rule(season: dict[str, Any]) -> None:
    quick = sequence.arrange(**season, seconds=0)
    full = sequence.arrange(**season, seconds=20)
    assert full.status in ("optimal", "infeasible")
    for found in (quick, full):
        if found.makespan >= 0:
            assert not broken_rules(found, **season)
    if quick.makespan >= 0:
        assert full.status == "optimal"
        assert quick.placed <= full.placed <= quick.most
        if quick.placed == full.placed:
            assert quick.lower_bound <= full.makespan <= quick.makespan


def test_a_season_of_1500_tasks_has_a_first_calendar_by_the_heuristic() -> None:
    chain = [(0, 1, 3, 0), *((step, step + 1, 0, 0) for step in range(1, 6)), (5, 7, 28, 1), (6, 7, 0, 0), (7, 8, 0, 0),
             (8, 9, 1, 1)]
    arcs = [(10 * block + a, 10 * block + b, lag, kind) for block in range(150) for a, b, lag, kind in chain]
    duration = [1 + (block * step) % 5 // 4 for block in range(150) for step in range(10)]
    demand = [[int(step == crew) for crew in range(10)] for _ in range(150) for step in range(10)]
    days = [day for day in range(90, 330) if day % 7 < 5]
    optional = np.repeat(np.arange(150), 10).tolist()
    found = sequence.arrange(duration, arcs, demand, [2] * 10, calendar=days, optional=optional, seconds=0)
    assert found.placed == found.most == 150
    assert not broken_rules(found, duration, arcs, demand, [2] * 10, len(days), days, optional=optional)
