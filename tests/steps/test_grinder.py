"""The grinder's campaigns: a season by hand, brute force over small ones, every rule re-checked over random ones."""

import heapq
import itertools
import math
import time
from datetime import date, timedelta
from typing import Any, NamedTuple

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rehab.steps.season import grinder
from rehab.steps.season.grinder import Campaigns
from rehab.steps.season.grinder.way import shorten

TOLERANCE = 1e-6  # of a day


def weekdays(count: int, first: date = date(2026, 5, 4)) -> list[date]:
    days = (first + timedelta(days=offset) for offset in itertools.count())
    return list(itertools.islice((day for day in days if day.weekday() < 5), count))


class Case(NamedTuple):
    ready: np.ndarray
    load: np.ndarray
    last: np.ndarray
    area: np.ndarray
    distance: np.ndarray
    days: list[date]

    def plan(self, **options: Any) -> list[Campaigns]:
        return grinder.plan(*self, **options)


def case(ready: list[int], load: list[float], last: list[int] | int, periods: int, area: list[float] | None = None,
         distance: np.ndarray | None = None) -> Case:
    count = len(ready)
    return Case(np.array(ready, np.int64), np.array(load, float), np.full(count, last) if isinstance(last, int) else np.array(last),
                np.full(count, 1000.0) if area is None else np.array(area),
                np.zeros((count, count)) if distance is None else distance, weekdays(periods))


def invented(count: int, seed: int, load: float = 0.25, varied: int = 3, periods: int = 140) -> Case:
    rng = np.random.default_rng(seed)
    loads = rng.uniform(0.5, 1.5, count) * load
    spots = rng.random((count, 2)) * 4
    return Case(np.sort(rng.integers(25, 130, count)), loads, periods - 1 - rng.integers(0, varied + 1, count), loads * 3000,
                np.abs(spots[:, None] - spots).sum(axis=2), weekdays(periods, date(2026, 4, 15)))


# ------------------------------------------------------------------------------------------------- by hand

#: A and B ready on Monday 4 and Tuesday 5 May, C on Monday 18, D on Wednesday 20; 20 weekdays end on Friday 29 May
FOUR = case([0, 1, 10, 12], [0.5, 0.5, 1.0, 0.5], 19, 20)


def test_late_by_hand() -> None:
    one, two, three = FOUR.plan()
    # Once: two and a half days up to the end.  Ends: Wed 27, Thu 28, Fri 29, Fri 29 May; 23 + 23 + 11 + 9 days of waiting.
    assert one.start.tolist() == [17.5, 18.0, 18.5, 19.5] and one.finish.tolist() == [18.0, 18.5, 19.5, 20.0]
    assert one.campaign.tolist() == [1, 1, 1, 1] and one.wait_days.tolist() == [23, 23, 11, 9]
    assert (one.mean_wait_days, one.longest_wait_days) == (16.5, 23)
    assert (one.first_day.tolist(), one.last_day.tolist(), one.missed) == ([17], [19], 0)
    # Twice: A so that B follows it when it is ready, on the morning of day 1; the rest up to the end.
    assert two.start.tolist() == [0.5, 1.0, 18.5, 19.5] and two.campaign.tolist() == [1, 1, 2, 2]
    assert two.wait_days.tolist() == [0, 0, 11, 9] and two.mean_wait_days == 5
    assert two.first_day.tolist() == [0, 18] and two.last_day.tolist() == [1, 19]
    # Three times: C on the day it is ready, D alone up to the end.
    assert three.start.tolist() == [0.5, 1.0, 10.0, 19.5] and three.wait_days.tolist() == [0, 0, 0, 9]
    assert three.last_day.tolist() == [1, 10, 19] and three.area_wait_days == 2.25
    # A fourth would only part A and B, and B would wait until day 6.
    assert grinder.choose([one, two, three]) == 0


def test_days_kept_for_weather_by_hand() -> None:
    one, two, _ = FOUR.plan(reserve=3)
    assert one.start.tolist() == [14.5, 15.0, 15.5, 16.5]
    assert two.start.tolist() == [0.5, 1.0, 15.5, 16.5]
    # More than there is: as soon as all of its blocks are ready, and none is missed for it.
    assert FOUR.plan(reserve=50)[0].start.tolist() == [10.0, 10.5, 11.0, 12.0]


def test_soon_by_hand() -> None:
    one, two = FOUR.plan(timing="soon")
    # D is ready on day 12; the others lie before it without a gap.
    assert one.start.tolist() == [10.0, 10.5, 11.0, 12.0]
    # A ends on Mon 18 May, 14 days after it was ready; B 13; C on Tue 19, one; D at once.
    assert one.wait_days.tolist() == [14, 13, 1, 0]
    assert two.start.tolist() == [0.5, 1.0, 11.0, 12.0] and two.wait_days.tolist() == [0, 0, 1, 0]
    # A third time would have to come five idle days after C: D would wait longer than it does now, so it is not offered.
    assert len(FOUR.plan(timing="soon", most=4)) == 2


def test_campaigns_less_than_five_idle_days_apart_are_one() -> None:
    near = case([0, 6], [1.0, 1.0], [0, 6], 10)  # days 1 to 5 are idle
    assert [found.number for found in near.plan(apart=5)] == [1, 2]
    assert [found.missed for found in near.plan(apart=5)] == [1, 0]
    assert [(found.number, found.missed) for found in near.plan(apart=6)] == [(1, 1)]


def test_the_machine_waits_until_the_morning_but_not_for_a_day() -> None:
    # Day 0 for the first, day 1 for the second, day 2 for the third: parts of days are idle, but no whole day.
    chain = case([0, 1, 2], [0.4, 0.4, 0.4], [0, 1, 2], 5)
    found = chain.plan()
    assert [(one.number, one.missed) for one in found] == [(1, 0)]
    assert np.floor(found[0].start).tolist() == [0, 1, 2]
    assert case([0, 2], [0.4, 0.4], [0, 2], 5).plan()[0].missed == 1


def test_area_decides_where_the_number_does_not() -> None:
    for large in (0, 1, 2):
        area = [10.0, 10.0, 10.0]
        area[large] = 30.0
        found = case([0, 0, 0], [1.0, 1.0, 1.0], [1, 1, 1], 4, area).plan(timing="soon")
        assert found[0].missed == 1 and found[0].campaign[large] == 1


def test_what_is_missed_says_why() -> None:
    short = case([0, 5, 3, 0, 9, 2], [3.0, 0.5, 2.5, 0.5, 0.5, 0.5], [3, 4, 4, 3, 3, 3], 5)
    allowed = np.ones((6, 5), bool)
    allowed[5] = False
    found = short.plan(allowed=allowed)[0]
    assert found.campaign.tolist() == [1, -1, -1, 1, -1, -1]
    assert grinder.why_missed(found, short.ready, short.load, short.last, allowed) == \
        ["", "not ready", "too short", "", "not ready", "too short"]
    full = case([0, 0, 0], [1.0, 1.0, 0.5], 1, 2)
    found = full.plan()[0]
    assert found.missed == 1
    assert sorted(grinder.why_missed(found, full.ready, full.load, full.last)) == ["", "", "no day left"]


@pytest.mark.parametrize("count", [0, 3])
def test_nothing_to_grind_is_one_answer(count: int) -> None:
    found = case([5] * count, [1.0] * count, 4, 5).plan()
    assert len(found) == 1 and grinder.choose(found) == 0
    assert (found[0].number, found[0].missed) == (0, count)
    assert np.isnan(found[0].start).all() and np.isnan(found[0].mean_wait_days)
    without = case([0] * count, [1.0] * count, -1, 0).plan()
    assert without[0].missed == count


def test_days_without_work_by_hand() -> None:
    # Both may be ground from day 0 on, the first not on day 1: the machine takes the second in between or first.
    two = case([0, 0], [1.0, 1.0], 2, 3)
    allowed = np.array([[True, False, True], [True, True, True]])
    for timing in grinder.TIMINGS:
        found = two.plan(timing=timing, allowed=allowed)[0]
        assert found.missed == 0 and found.start[0] in (0.0, 2.0)
    # A block of two days goes on after the day off; one that would pause for five days is not begun.
    alone = case([0], [2.0], 6, 7)
    assert alone.plan(timing="soon", allowed=np.array([[1, 0, 1, 1, 1, 1, 1]], bool))[0].finish.tolist() == [3.0]
    assert alone.plan(timing="soon", allowed=np.array([[1, 0, 0, 0, 0, 0, 1]], bool))[0].missed == 1
    # Where the campaign has nothing else to do, it waits for the day without work to pass.
    wait = case([0, 0], [1.0, 1.0], [0, 2], 3)
    assert wait.plan(allowed=np.array([[1, 1, 1], [1, 0, 1]], bool))[0].start.tolist() == [0.0, 2.0]


def test_a_short_way_where_nobody_has_to_wait() -> None:
    place = np.random.default_rng(1).permutation(30).astype(float)
    line = case([0] * 30, [0.3] * 30, 39, 40, distance=np.abs(place[:, None] - place))
    for timing in grinder.TIMINGS:
        assert line.plan(timing=timing)[0].travel_mi.tolist() == [29.0]


def test_readiness_comes_before_a_short_way() -> None:
    # On a line, ready from the far end: the machine has to come as they are ready.
    place = np.arange(8.0)
    found = case([7, 0, 6, 1, 5, 2, 4, 3], [1.0] * 8, 7, 8, distance=np.abs(place[:, None] - place)).plan()[0]
    assert found.start.tolist() == [7, 0, 6, 1, 5, 2, 4, 3]
    assert found.travel_mi.tolist() == [2 + 2 + 2 + 1 + 2 + 2 + 2]


def test_a_shorter_order_keeps_within_its_times() -> None:
    rng = np.random.default_rng(5)
    for _ in range(30):
        spots = rng.random((15, 2))
        distance = np.abs(spots[:, None] - spots).sum(axis=2)
        load, order = rng.uniform(0.1, 1, 15), rng.permutation(15)
        begin = 2 + np.cumsum(load[order]) - load[order]
        early, late = np.empty(15), np.empty(15)
        early[order], late[order] = begin - rng.exponential(2, 15), begin + rng.exponential(2, 15)
        found = np.array(shorten(distance, order.tolist(), load, early, late, 2.0))
        time_ = 2 + np.cumsum(load[found]) - load[found]
        assert sorted(found) == list(range(15))
        assert (time_ >= early[found] - TOLERANCE).all() and (time_ <= late[found] + TOLERANCE).all()
        assert distance[found[:-1], found[1:]].sum() <= distance[order[:-1], order[1:]].sum() + 1e-12


# ---------------------------------------------------------------------------------------------- brute force

def most_by_hand(ready: list[int], load: list[int], last: list[int], campaigns: int, apart: int) -> int:
    """Most blocks ground, by trying every order and division; loads and times in quarters of a day.

    With whole days and quarters all times of a season that can be carried out can be moved to quarters.
    """
    best = 0

    def fits(block: int, starts: set[int]) -> set[int]:
        return {start + load[block] for start in starts
                if start >= 4 * ready[block] and start + load[block] <= 4 * (last[block] + 1)}

    def extend(left: frozenset[int], used: int, ends: set[int]) -> None:
        nonlocal best
        best = max(best, len(ready) - len(left))
        for block in left:
            if ends:
                go_on = fits(block, {start for end in ends for start in range(end, 4 * math.ceil(end / 4) + 1)})
                if go_on:
                    extend(left - {block}, used, go_on)
            if used < campaigns:
                free = 4 * (math.ceil(min(ends) / 4) + apart) if ends else 0
                again = fits(block, set(range(free, 4 * (max(last) + 1))))
                if again:
                    extend(left - {block}, used + 1, again)

    extend(frozenset(range(len(ready))), 0, set())
    return best


@pytest.mark.parametrize("seed", range(60))
@pytest.mark.parametrize("timing", grinder.TIMINGS)
def test_no_order_and_division_grinds_more(seed: int, timing: str) -> None:
    rng = np.random.default_rng(seed)
    count, periods, apart = int(rng.integers(3, 7 if seed % 6 == 0 else 6)), int(rng.integers(6, 18)), int(rng.integers(1, 5))
    ready = rng.integers(0, periods, count)
    last = np.minimum(ready + rng.integers(0, 8, count), periods - 1) if seed % 3 else np.full(count, periods - 1)
    load = rng.integers(1, 11, count)
    found = case(ready.tolist(), (load / 4).tolist(), last.tolist(), periods, rng.uniform(500, 900, count).tolist()).plan(
        most=4, timing=timing, apart=apart)
    for number in range(1, 5):
        most = most_by_hand(ready.tolist(), load.tolist(), last.tolist(), number, apart)
        assert max(count - one.missed for one in found if one.number <= number) == most


@pytest.mark.parametrize("seed", range(25))
def test_no_season_grinds_more_with_one_last_day_for_all(seed: int) -> None:
    # Moore 1968 (Management Science 15(1)): with all jobs at hand the fewest are late if, by due date, the longest so
    # far is put off whenever one is late.  Backwards in time all are at hand on the last day and due when ready.
    rng = np.random.default_rng(seed)
    count, periods = 60, 40
    ready, load = rng.integers(0, periods, count), rng.uniform(0.1, 2.5, count)
    done: list[float] = []
    total = 0.0
    for block in np.argsort(-ready, kind="stable"):
        heapq.heappush(done, -load[block])
        total += load[block]
        if total > periods - ready[block] + 1e-9:
            total += heapq.heappop(done)
    found = case(ready.tolist(), load.tolist(), periods - 1, periods, (load * 1000).tolist()).plan()
    assert count - found[0].missed == len(done)


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("timing", grinder.TIMINGS)
def test_no_other_division_waits_less(seed: int, timing: str) -> None:
    rng = np.random.default_rng(seed)
    ready = np.sort(rng.choice(40, 7, replace=False))
    load, area, apart = rng.integers(1, 7, 7) / 4, rng.uniform(200, 2000, 7), 3
    season = case(ready.tolist(), load.tolist(), 44, 45, area.tolist())
    found = {one.number: one for one in season.plan(timing=timing, apart=apart)}
    least = {number: min(waited(season, [0, *cuts, 7], timing, apart) for cuts in itertools.combinations(range(1, 7), number - 1))
             for number in range(1, 5)}
    assert 1 in found and max(found) > 1
    for number in range(1, 5):
        if number in found:
            assert found[number].area_wait_days == pytest.approx(least[number], abs=1e-9)
        else:
            assert least[number] >= min(least[fewer] for fewer in range(1, number)) - 1e-9


def waited(season: Case, cuts: list[int], timing: str, apart: int) -> float:
    """Days that the mean square yard waits if blocks from cut to cut are campaigns, each without a gap."""
    free, total = 0, 0.0
    for begin, stop in itertools.pairwise(cuts):
        final = timing == "late" and stop == cuts[-1]
        quarters = range(4 * free, 4 * 45 + 1)
        for start in reversed(quarters) if final else quarters:
            starts = start / 4 + np.concatenate([[0.0], np.cumsum(season.load[begin:stop])])
            if (starts[:-1] >= season.ready[begin:stop]).all() and starts[-1] <= 45:
                break
        else:
            return math.inf
        for block, end in zip(range(begin, stop), starts[1:], strict=True):
            total += season.area[block] * (season.days[math.ceil(end) - 1] - season.days[season.ready[block]]).days
        free = math.ceil(starts[-1]) + apart
    return total / season.area.sum()


# --------------------------------------------------------------------------------------------- random seasons

@st.composite
def seasons(draw: st.DrawFn) -> tuple[Case, dict[str, Any]]:
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    count, periods = draw(st.integers(1, 30)), draw(st.integers(1, 45))
    ready = rng.integers(0, periods + 1, count)
    last = np.full(count, periods - 1) - rng.integers(0, draw(st.sampled_from([1, 4, periods])), count)
    spots = rng.random((count, 2)) * 3
    load = rng.uniform(0.05, draw(st.sampled_from([0.5, 1.5, 6.0])), count)
    load = np.maximum(np.round(load * 4) / 4, 0.25) if draw(st.booleans()) else load
    made = Case(ready, load, last, load * 2500, np.abs(spots[:, None] - spots).sum(axis=2), weekdays(periods))
    allowed = rng.random((count, periods)) < draw(st.sampled_from([0.5, 0.9])) if draw(st.booleans()) else None
    return made, {"allowed": allowed, "timing": draw(st.sampled_from(grinder.TIMINGS)), "most": draw(st.integers(1, 4)),
                  "reserve": draw(st.integers(0, 6)), "apart": draw(st.integers(1, 6))}


@settings(max_examples=250, deadline=None, derandomize=True)
@given(seasons())
def test_every_rule_holds(given_: tuple[Case, dict[str, Any]]) -> None:
    season, options = given_
    found = season.plan(**options)
    assert found
    for one in found:
        check(season, one, options["allowed"], options["apart"])
    numbers = [one.number for one in found]
    assert numbers == sorted(set(numbers)) and numbers[-1] <= options["most"]
    for fewer, more in itertools.pairwise(found):
        done, then = fewer.campaign > 0, more.campaign > 0
        assert (then.sum(), season.area[then].sum() + 1e-6) > (done.sum(), season.area[done].sum()) or \
            more.area_wait_days < fewer.area_wait_days
    best = found[grinder.choose(found)]
    assert best.missed == min(one.missed for one in found)
    assert all(one.number >= best.number for one in found if one.missed == best.missed)
    again = season.plan(**options)
    for one, other in zip(found, again, strict=True):
        np.testing.assert_array_equal(one.start, other.start)


def check(season: Case, found: Campaigns, allowed: np.ndarray | None, apart: int) -> None:
    """Every rule, from starts and finishes alone."""
    open_ = np.ones((len(season.ready), len(season.days)), bool) if allowed is None else allowed
    done = np.flatnonzero(found.campaign > 0)
    assert (np.isnan(found.start) == (found.campaign < 0)).all() and (np.isnan(found.finish) == (found.campaign < 0)).all()
    spans = {}
    for block in done:
        first, end = int(found.start[block] + TOLERANCE), math.ceil(found.finish[block] - TOLERANCE) - 1
        spans[block] = (first, end)
        assert first >= season.ready[block] and end <= season.last[block]
        # Worked on for its load, on days allowed only: on the first and the last day, and on each allowed between.
        assert open_[block, first] and open_[block, end]
        parts = [min(found.finish[block], day + 1) - max(found.start[block], day) for day in range(first, end + 1) if open_[block, day]]
        assert sum(parts) == pytest.approx(season.load[block], abs=1e-5)
        assert max(np.diff(np.flatnonzero(open_[block, first:end + 1])), default=1) <= apart
        assert found.wait_days[block] == (season.days[end] - season.days[season.ready[block]]).days
    order = done[np.argsort(found.start[done], kind="stable")]
    for one, other in itertools.pairwise(order):
        assert found.start[other] >= found.finish[one] - TOLERANCE  # never two at a time
        idle = range(spans[one][1] + 1, spans[other][0])
        if found.campaign[one] == found.campaign[other]:
            assert all(day >= season.ready[other] and not open_[other, day] for day in idle) and len(idle) < apart
        else:
            assert found.campaign[other] == found.campaign[one] + 1 and len(idle) >= apart
    for number in range(1, found.number + 1):
        mine = order[found.campaign[order] == number]
        assert len(mine)
        assert found.first_day[number - 1] == spans[mine[0]][0] and found.last_day[number - 1] == spans[mine[-1]][1]
        assert found.travel_mi[number - 1] == pytest.approx(season.distance[mine[:-1], mine[1:]].sum())
    reasons = grinder.why_missed(found, season.ready, season.load, season.last, allowed)
    for block, reason in enumerate(reasons):
        assert (reason == "") == (found.campaign[block] > 0)
        if season.ready[block] > season.last[block]:
            assert reason == "not ready"


def test_a_large_season_keeps_the_rules_and_is_quick() -> None:
    season = invented(300, 5)
    begun = time.process_time()
    found = season.plan(reserve=3)
    assert time.process_time() - begun < 5  # 0.6 s measured on two busy cores
    assert [one.number for one in found] == [1, 2, 3, 4] and all(one.missed == 0 for one in found)
    for one in found:
        check(season, one, None, 5)
    waits = [one.area_wait_days for one in found]
    assert waits == sorted(waits, reverse=True)
    assert found[0].travel_mi[0] < 0.3 * season.distance[np.arange(299), np.arange(1, 300)].sum()


@pytest.mark.parametrize(("changed", "message"), [
    ({"load": np.ones(3)}, "3 loads"), ({"distance": np.zeros((2, 2))}, r"shape \(2, 2\)"),
    ({"last": np.full(4, 20)}, "one of the days"), ({"load": np.array([1.0, 0.0, 1.0, 1.0])}, "no time"),
    ({"load": np.array([1.0, np.nan, 1.0, 1.0])}, "no time"), ({"ready": np.array([0, 0, -1, 0])}, "day 0"),
])
def test_arrays_that_do_not_match_are_refused(changed: dict[str, np.ndarray], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        FOUR._replace(**changed).plan()


@pytest.mark.parametrize(("options", "message"), [
    ({"timing": "early"}, "'early'"), ({"most": 0}, "not 0"), ({"allowed": np.ones((4, 3), bool)}, "allowed"),
])
def test_options_that_make_no_sense_are_refused(options: dict[str, Any], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        FOUR.plan(**options)
