"""Life-cycle cost against explicit cash flows, numpy-financial and published examples."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import numpy_financial as npf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rehab.base import money
from rehab.base.errors import BadAssumption
from rehab.base.settings import Assumptions
from rehab.inputs import assumptions as reader
from rehab.steps import lifecycle
from rehab.steps.lifecycle import Activity, Course, Terms

TERMS = Terms(horizon_yr=40.0, ground_life_yr=13.0, most_grindings=3, growth=0.0, discount=0.04,
              rates=(0.02, 0.03, 0.04, 0.07), longest_yr=60.0)


def one(strategy: str, cost: float, life: float, grinding: float | None = None, **more: Any) -> Activity:
    """A work on one block."""
    arrays = {name: np.array([value]) for name, value in more.items()}
    return Activity(strategy, np.array([float(cost)]), np.array([float(life)]),
                    None if grinding is None else np.array([float(grinding)]), **arrays)


def repaired(life: float = 30.0, rebuilt: float = 400.0, new_life: float = 40.0) -> Course:
    return one("full_depth", 50.0, life, 20.0), one("reconstruction", rebuilt, new_life)


def worth(course: Course, terms: Terms = TERMS) -> float:
    return float(lifecycle.present_worth(course, terms, (terms.discount,))[0, 0])


def flow(**dollars: float) -> np.ndarray:
    """Dollars by year, y13=20.0, as an array of the 41 ends of years."""
    values = np.zeros(41)
    for year, usd in dollars.items():
        values[int(year[1:])] += usd
    return values


# ------------------------------------------------------------------------------------------------ streams

def test_three_grindings_and_a_rebuild_as_a_cash_flow() -> None:
    # Repair now; ground again after 13 and 26 years (three grindings in all, Concrete Alberta, read); back at the
    # trigger after 30 years: rebuilt, and 10 of its 40 years used at the end: a credit of 30/40.
    expected = npf.npv(0.04, flow(y0=50, y13=20, y26=20, y30=400, y40=-300))
    found = lifecycle.compare({"full_depth": repaired()}, TERMS).iloc[0]
    assert found["full_depth_worth_usd"] == pytest.approx(expected)
    assert found["full_depth_annual_usd"] == pytest.approx(-npf.pmt(0.04, 40, expected))
    assert list(found.index) == ["full_depth_worth_usd", "full_depth_annual_usd", "full_depth_own_usd"]


def test_the_work_alone_keeps_its_own_regrindings_and_credit() -> None:
    own = lifecycle.compare({"full_depth": repaired(60.0)}, TERMS)["full_depth_own_usd"].iloc[0]
    assert own == pytest.approx(npf.npv(0.04, flow(y0=50, y13=20, y26=20, y40=-50 / 3)))


def test_no_grinding_once_the_block_is_back_at_its_trigger() -> None:
    free = one("reconstruction", 0.0, 40.0)
    assert worth((one("partial_depth", 50, 20, 20), free)) == pytest.approx(npf.npv(0.04, flow(y0=50, y13=20)))
    assert worth((one("partial_depth", 50, 20, 20), free), replace(TERMS, most_grindings=1)) == pytest.approx(50)
    assert worth((one("partial_depth", 50, 13, 20), free)) == pytest.approx(50)  # due when the next work is
    assert worth((one("none", 0, 60), free)) == 0.0


def test_what_is_not_ground_now_is_not_ground_later() -> None:
    course = (one("partial_depth", 40, 30, 0), one("full_depth", 90, 30, 20), one("reconstruction", 300, 30))
    grindings = [event for event in lifecycle.events(course, replace(TERMS, horizon_yr=60.0))
                 if event.what == lifecycle.GRINDING]
    # The surface of partial depth is not ground and counts as no grinding: the next bears all its regrindings.
    assert [(float(event.year[0]), bool(event.done[0])) for event in grindings] == [(43, True), (56, True)]


def test_follow_up_work_before_reconstruction_as_a_cash_flow() -> None:
    # Partial depth lasts 15, full depth 12, new concrete 30; one regrinding after 13 years, and the grinding of the
    # follow-up is the third: no more until the concrete is new.  At the end 13 of 30 years are used.
    course = (one("partial_depth", 40, 15, 20), one("full_depth", 90, 20, 20), one("reconstruction", 300, 30))
    assert worth(course) == pytest.approx(npf.npv(0.04, flow(y0=40, y13=20, y15=90, y35=300, y40=-300 * 25 / 30)))
    # Without the regrinding of the first surface the second bears one.
    early = (one("partial_depth", 40, 10, 20), *course[1:])
    assert worth(early) == pytest.approx(npf.npv(0.04, flow(y0=40, y10=90, y23=20, y30=300, y40=-300 * 20 / 30)))


def test_grindings_are_counted_anew_on_new_concrete() -> None:
    course = (one("full_depth", 50, 27, 20), one("reconstruction", 100, 1), one("full_depth", 60, 60, 20),
              one("reconstruction", 100, 40))
    assert worth(course) == pytest.approx(npf.npv(0.04, flow(
        y0=50, y13=20, y26=20, y27=100, y28=60, y40=-60 * 48 / 60)))


def test_blocks_that_do_not_get_a_work_go_on_to_the_next() -> None:
    two = [np.array(values, float) for values in ([0, 0], [10, 10], [90, 90], [20, 20], [300, 300], [60, 60])]
    course = (Activity("none", two[0], two[1]), Activity("full_depth", two[2], two[3], of=np.array([True, False])),
              Activity("reconstruction", two[4], two[5]))
    found = lifecycle.present_worth(course, TERMS, (0.04,))[:, 0]
    assert found[0] == pytest.approx(npf.npv(0.04, flow(y10=90, y30=300, y40=-300 * 50 / 60)))
    assert found[1] == pytest.approx(npf.npv(0.04, flow(y10=300, y40=-300 * 30 / 60)))
    with pytest.raises(ValueError, match="every block"):
        list(lifecycle.events(course[:2], TERMS))
    second = tuple(activity.only(np.array([1])) for activity in course)
    assert worth(second) == pytest.approx(found[1])


def test_whatever_was_done_last_keeps_its_life_left() -> None:
    # The repair itself lasts beyond the horizon: 50 x 20/60 come back; so with new concrete, 600 x 20/60.
    assert worth((one("full_depth", 50, 60), one("reconstruction", 400, 40))) == pytest.approx(
        npf.npv(0.04, flow(y0=50, y40=-50 / 3)))
    assert worth((one("reconstruction", 600, 60),)) == pytest.approx(npf.npv(0.04, flow(y0=600, y40=-200)))


@pytest.mark.parametrize("life", [12.0, 25.0, 40.0, 55.0])
def test_waiting_no_time_is_reconstruction_now(life: float) -> None:
    rebuilt = one("reconstruction", 600, life)
    assert worth((one("none", 0, 0), rebuilt)) == pytest.approx(worth((rebuilt,)))


def test_a_short_new_life_is_rebuilt_again() -> None:
    course = (one("none", 0, 5), one("reconstruction", 300, 15))  # in year 40 ten of fifteen years are left
    assert worth(course) == pytest.approx(npf.npv(0.04, flow(y5=300, y20=300, y35=300, y40=-200)))
    events = [(event.what, float(event.year[0]), float(event.usd[0])) for event in lifecycle.events(course, TERMS)
              if event.done[0]]
    assert events == [("none", 0, 0), ("reconstruction", 5, 300), ("reconstruction", 20, 300),
                      ("reconstruction", 35, 300), ("remaining_value", 40, pytest.approx(-200))]
    yearly = worth((one("reconstruction", 10, 0.2),))  # the repeated work lasts a year at least
    assert yearly == pytest.approx(10 + float(money.series_factor(0.04, 39)) * 10)


def test_no_interest_is_plain_addition() -> None:
    found = lifecycle.compare({"full_depth": repaired()}, TERMS, rate=0.0).iloc[0]
    assert found[["full_depth_worth_usd", "full_depth_annual_usd"]].tolist() == pytest.approx(
        [50 + 40 + 400 - 300, 190 / 40])


@pytest.mark.parametrize(("cost", "life", "more", "words"), [
    ([1.0, 2.0], [1.0], {}, "life_yr is not one number per block"),
    ([-1.0], [1.0], {}, "cost_usd holds a number below zero"),
    ([1.0], [np.nan], {}, "life_yr holds"),
    ([1.0], [np.inf], {}, "life_yr holds"),
    ([1.0], [1.0], {"grinding_usd": np.array([np.nan])}, "grinding_usd holds"),
])
def test_what_would_make_events_vanish_is_refused(cost: list[float], life: list[float], more: dict[str, Any],
                                                  words: str) -> None:
    with pytest.raises(ValueError, match=words):
        Activity("full_depth", np.array(cost), np.array(life), **more)


# ------------------------------------------------------------------------------------------------ published examples

def fhwa() -> tuple[Course, Terms]:
    """Layout of FHWA-SA-98-079 (1998), inputs from memory: $ thousands, 35 years, new work lasts 15."""
    def at(name: str, agency: float, user: float) -> Activity:
        return one(name, agency, 15, user_usd=user)

    return ((at("reconstruction", 1100, 300), at("full_depth", 325, 269), at("full_depth", 325, 361)),
            replace(TERMS, horizon_yr=35.0))


@pytest.mark.parametrize(("rate", "agency", "user", "both", "annual_both", "annual"), [
    (0.02, 1412.6, 699.2, 2111.7, 84.47, 56.51), (0.03, 1365.5, 621.4, 1986.9, 92.47, 63.55),
    (0.04, 1325.8, 560.7, 1886.4, 101.07, 71.03), (0.05, 1292.2, 512.9, 1805.2, 110.24, 78.92),
    (0.06, 1264.0, 475.1, 1739.1, 119.95, 87.18), (0.07, 1240.2, 444.9, 1685.1, 130.15, 95.79)])
def test_the_layout_of_fhwa_at_six_rates(rate: float, agency: float, user: float, both: float, annual_both: float,
                                         annual: float) -> None:
    # The table of FHWA-SA-98-079: inputs from memory; the sums computed apart from this program, one decimal.
    course, terms = fhwa()
    found = lifecycle.compare({"it": course}, terms, rate).iloc[0]
    assert found["it_worth_usd"] == pytest.approx(agency, abs=0.06)
    assert found["it_user_worth_usd"] == pytest.approx(user, abs=0.06)
    assert found["it_worth_usd"] + found["it_user_worth_usd"] == pytest.approx(both, abs=0.06)
    assert found["it_annual_usd"] == pytest.approx(annual, abs=0.006)
    assert money.annual_cost(found["it_worth_usd"] + found["it_user_worth_usd"], rate, 35) == pytest.approx(
        annual_both, abs=0.006)


def test_the_lines_of_the_layout_of_fhwa() -> None:
    # The same table line by line at 4 %: 180.5, 100.2 and -54.9 for the agency, 149.4 and 111.3 for users.
    course, terms = fhwa()
    rows = [(float(event.year[0]), float(event.usd[0]), float(event.user_usd[0]))
            for event in lifecycle.events(course, terms) if event.done[0]]
    assert rows == [(0, 1100, 300), (15, 325, 269), (30, 325, 361), (35, pytest.approx(-325 * 10 / 15), 0)]
    brought = [(usd * 1.04 ** -year, user * 1.04 ** -year) for year, usd, user in rows]
    assert [usd for usd, _ in brought] == pytest.approx([1100, 180.5, 100.2, -54.9], abs=0.06)
    assert [user for _, user in brought] == pytest.approx([300, 149.4, 111.3, 0], abs=0.06)


def test_remaining_life_example_of_fhwa() -> None:
    # FHWA-SA-98-079 (from memory): a rehabilitation of 10 years in year 30 of 35 keeps 5/10 of its cost.
    course = (one("none", 0, 30), one("full_depth", 100, 10), one("reconstruction", 400, 35))
    *_, last = lifecycle.events(course, replace(TERMS, horizon_yr=35.0))
    assert (last.what, float(last.year[0]), float(last.usd[0])) == (lifecycle.REMAINING, 35, pytest.approx(-50))


@pytest.mark.parametrize(("cost", "life", "two", "four", "seven"), [
    (12, 10, 1.336, 1.479, 1.709), (45, 15, 3.502, 4.047, 4.941), (120, 35, 4.800, 6.429, 9.268)])
def test_annual_cost_of_unequal_lives(cost: float, life: int, two: float, four: float, seven: float) -> None:
    # Invented inputs in $/sq yd over their own lives, worked apart with the textbook's A/P; numpy-financial beside it.
    for rate, expected in ((0.02, two), (0.04, four), (0.07, seven)):
        own = lifecycle.compare({"it": (one("full_depth", cost, life),)}, replace(TERMS, horizon_yr=float(life)), rate)
        assert own["it_annual_usd"].iloc[0] == pytest.approx(expected, abs=5e-4)
        assert own["it_annual_usd"].iloc[0] == pytest.approx(-npf.pmt(rate, life, cost))


def test_prices_that_outgrow_inflation() -> None:
    # With no life left at the end, growth g at a rate i is the same as the rate (1 + i) / (1 + g) - 1 alone.
    course = (one("full_depth", 50, 10, 20), one("reconstruction", 400, 30))
    grown = worth(course, replace(TERMS, growth=0.0146))
    assert grown == pytest.approx(worth(course, replace(TERMS, discount=float(money.real_rate(0.04, 0.0146)))))
    # The credit is a part of what was paid: 300 in year 20, grown, of which 20 of 40 years are left.
    late = (one("none", 0, 20), one("reconstruction", 300, 40))
    paid = 300 * 1.02 ** 20
    assert worth(late, replace(TERMS, growth=0.02)) == pytest.approx(npf.npv(0.04, flow(y20=paid, y40=-paid / 2)))


# ------------------------------------------------------------------------------------------------ rules as data

def test_terms_come_from_the_tables(defaults: Assumptions) -> None:
    terms = lifecycle.terms(defaults, 13.4)
    assert (terms.horizon_yr, terms.ground_life_yr, terms.most_grindings, terms.growth) == (40, 13.4, 3, 0)
    assert terms.rates == (0.02, 0.03, 0.04, 0.07) and terms.discount in terms.rates
    own = reader.overlay(defaults, {"economics": {"discount": 0.055, "rates_shown": "0.07| 0.02", "real_escalation": "yes"}})
    terms = lifecycle.terms(own, 13.4)
    assert terms.rates == (0.02, 0.055, 0.07)
    # Real differential escalation (computed apart from this program): 4.0 % against 2.5 % is 1.46 % a year.
    assert terms.growth == pytest.approx(0.0146, abs=5e-5)


@pytest.mark.parametrize("text", ["2|3", "0.02;0.03", "", "0.02|", "nan", "-0.01|0.02"])
def test_rates_that_are_none_are_refused(defaults: Assumptions, text: str) -> None:
    with pytest.raises(BadAssumption, match=r"'rates_shown' is not real rates of 0 to 0.2 a year, as 0.02\|0.03"):
        reader.overlay(defaults, {"economics": {"rates_shown": text}})


def test_follow_up_work_is_data(defaults: Assumptions) -> None:
    found = {name: lifecycle.follow_ups(name, defaults) for name in ("none", "partial_depth", "full_depth", "reconstruction")}
    assert found == {"none": ("partial_depth", "full_depth", "reconstruction"), "partial_depth": ("full_depth", "reconstruction"),
                     "full_depth": ("reconstruction",), "reconstruction": ("reconstruction",)}
    own = reader.overlay(defaults, {"economics": {"followup.none": "full_depth"}})
    assert lifecycle.follow_ups("none", own) == ("full_depth", "reconstruction")


@pytest.mark.parametrize(("key", "value"), [("full_depth", "full_depth"), ("partial_depth", "none"), ("none", "overlay")])
def test_follow_up_work_must_be_heavier(defaults: Assumptions, key: str, value: str) -> None:
    with pytest.raises(BadAssumption, match=f"economics: '{value}' for 'followup.{key}' is not one of .*reconstruction"):
        own = reader.overlay(defaults, {"economics": {f"followup.{key}": value}})
        lifecycle.follow_ups("none" if key == "none" else "partial_depth", own)


def test_delay_of_road_users_by_hand(defaults: Assumptions) -> None:
    # 10,000 vehicles a day, 8 % trucks, 2 minutes each, 2,000 sq yd closed 4 days per 1,000: 8 days;
    # 10,000 x 8 x 2/60 h x (0.92 x 22 + 0.08 x 36) = 2,666.7 h x 23.12 = $61,653.
    assert not lifecycle.delay_counted(defaults)
    nan = float("nan")
    found = lifecycle.delay_usd("full_depth", [2000] * 4, [1e4, nan, 1e4, 0], [0.08, 0.08, nan, 0.08], defaults)
    assert found[[0, 3]] == pytest.approx([61_653.33, 0], abs=0.01)
    assert np.isnan(found[[1, 2]]).all()
    assert lifecycle.delay_usd("none", [2000], [nan], [nan], defaults) == 0


def test_user_delay_has_a_column_of_its_own() -> None:
    plain = repaired()
    delayed = (replace(plain[0], user_usd=np.array([7.0]), grinding_user_usd=np.array([1.0])),
               replace(plain[1], user_usd=np.array([11.0])))
    without, with_delay = (lifecycle.compare({"it": course}, TERMS).iloc[0] for course in (plain, delayed))
    assert with_delay["it_worth_usd"] == without["it_worth_usd"]
    assert with_delay["it_user_worth_usd"] == pytest.approx(npf.npv(0.04, flow(y0=7, y13=1, y26=1, y30=11)))
    unknown = (replace(plain[0], user_usd=np.array([np.nan])), plain[1])
    assert np.isnan(lifecycle.compare({"it": unknown}, TERMS)["it_user_worth_usd"].iloc[0])


def test_the_order_may_hang_on_the_rate() -> None:
    # 100 now against 150 in year 20: equal at 2.05 % (1.5 ** (1/20) - 1).
    now, later = np.full((3, 3), 100.0), np.full((3, 3), 150.0) * np.array([1.01, 1.02, 1.03]) ** -20.0
    later[1] = 90.0  # cheaper at every rate
    later[2] = 100.5  # within a dollar: no order
    assert lifecycle.order_changes({"now": now, "later": later}).tolist() == [True, False, False]


# ------------------------------------------------------------------------------------------------ properties

money_usd, years = st.floats(1, 1e6), st.floats(0, 60)
rates = st.floats(0, 0.1)


@given(money_usd, money_usd, st.floats(0, 1e5), years, st.floats(1, 60), rates)
@settings(max_examples=80, deadline=None)
def test_present_worth_is_additive(first: float, rebuilt: float, grinding: float, life: float, new_life: float,
                                   rate: float) -> None:
    def course(share: float) -> Course:
        return (one("full_depth", share * first, life, share * grinding), one("reconstruction", share * rebuilt, new_life))

    terms = replace(TERMS, discount=rate)
    assert worth(course(0.3), terms) + worth(course(0.7), terms) == pytest.approx(worth(course(1.0), terms), abs=1e-3)


@given(money_usd, money_usd, years, st.floats(1, 60), rates)
@settings(max_examples=80, deadline=None)
def test_annual_cost_times_the_series_factor_is_present_worth(first: float, rebuilt: float, life: float,
                                                              new_life: float, rate: float) -> None:
    found = lifecycle.compare({"it": (one("full_depth", first, life), one("reconstruction", rebuilt, new_life))}, TERMS,
                              rate).iloc[0]
    factor = float(money.series_factor(rate, TERMS.horizon_yr))
    assert found["it_annual_usd"] * factor == pytest.approx(found["it_worth_usd"], rel=1e-9)


@given(money_usd, money_usd, st.floats(0, 60), st.floats(1, 60), st.floats(0, 0.05))
@settings(max_examples=80, deadline=None)
def test_remaining_value_never_exceeds_the_last_cost(first: float, rebuilt: float, life: float, new_life: float,
                                                     growth: float) -> None:
    course = (one("full_depth", first, life, 10.0), one("reconstruction", rebuilt, new_life))
    *works, last = lifecycle.events(course, replace(TERMS, growth=growth))
    paid = [float(event.usd[0]) for event in works if event.what != lifecycle.GRINDING and event.done[0]]
    assert last.what == lifecycle.REMAINING
    assert 0 <= -float(last.usd[0]) <= paid[-1] * (1 + 1e-12)
    assert worth(course) >= -1e-6


@given(money_usd, st.floats(0, 57), money_usd, st.floats(2, 60), rates)
@settings(max_examples=60, deadline=None)
def test_a_longer_wait_never_costs_more(first: float, life: float, rebuilt: float, new_life: float, rate: float) -> None:
    terms = replace(TERMS, discount=rate)
    sooner, later = (worth((one("full_depth", first, wait), one("reconstruction", rebuilt, new_life)), terms)
                     for wait in (life, life + 3))
    assert later <= sooner + 1e-6 * (first + rebuilt)


# ------------------------------------------------------------------------------------------------ break-even

def even(course: Course, other: Course, terms: Terms = TERMS) -> tuple[str, float, bool]:
    found = lifecycle.break_even(course, np.array([worth(other, terms)]), terms)
    return str(found.case[0]), float(found.life_yr[0]), bool(found.also_below[0])


def test_break_even_by_hand() -> None:
    # No interest: 100 now, reconstruction 400 that lasts 40 after N years leaves a credit of 400 N/40; against 400 now,
    # used up at the end: 100 + 400 - 10 N = 400 at N = 10.
    rebuilt = one("reconstruction", 400, 40)
    terms = replace(TERMS, discount=0.0)
    case, life, below = even((one("full_depth", 100, 25), rebuilt), (rebuilt,), terms)
    assert (case, life, below) == ("from", pytest.approx(10), False)


def test_break_even_of_the_first_cost_alone() -> None:
    # New concrete of 60 years over 60 years, done in year N, has N of 60 left: 100 + 400 v^N - 400 N/60 v^60 = 400.
    rebuilt = one("reconstruction", 400, 60)
    terms = replace(TERMS, horizon_yr=60.0)
    case, life, _ = even((one("full_depth", 100, 25), rebuilt), (rebuilt,), terms)
    assert case == "from"
    assert 100 + 400 * 1.04 ** -life - 400 * life / 60 * 1.04 ** -60 == pytest.approx(400)


def test_break_even_cases_without_a_crossing() -> None:
    rebuilt = one("reconstruction", 400, 40)
    assert even((one("full_depth", 0, 25), rebuilt), (rebuilt,))[0] == "always"  # for nothing, whatever it lasts
    case, life, _ = even((one("full_depth", 500, 25), rebuilt), (rebuilt,))
    assert case == "never" and np.isnan(life)
    # Prices that outgrow the rate turn it round: the later the reconstruction, the dearer.  Over 40 years, new concrete
    # of 40 done at once has no credit: 410 at life 0, and 10 + 400 x (1.06/1.02)^30 less 30/40 of it at 1.02^-10 at 30.
    terms = replace(TERMS, growth=0.06, discount=0.02, longest_yr=30.0)
    latest = 10 + 400 * 1.06 ** 30 * (1.02 ** -30 - 30 / 40 * 1.02 ** -40)
    assert latest > 420
    found = lifecycle.break_even((one("full_depth", 10, 25), rebuilt), np.array([420.0]), terms)
    assert (found.case[0], found.also_below[0]) == ("mixed", False) and np.isnan(found.life_yr[0])


def test_break_even_says_that_a_further_grinding_breaks_it() -> None:
    # No interest: at 13 years a second grinding of 30 falls due.  100 + 400 - 10 N against 380 is even at N = 12;
    # from 13 on it is 130 + 400 - 10 N, even at N = 15.
    rebuilt = one("reconstruction", 400, 40)
    terms = replace(TERMS, discount=0.0, most_grindings=2)
    found = lifecycle.break_even((one("full_depth", 100, 25, 30), rebuilt), np.array([380.0]), terms)
    assert (found.case[0], found.also_below[0]) == ("from", True)
    assert found.life_yr[0] == pytest.approx(15)


@given(st.floats(1, 1e6), st.floats(1, 1e6), st.floats(0, 1e5), st.floats(1, 60), st.floats(0, 0.1), st.floats(0, 60))
@settings(max_examples=60, deadline=None)
def test_break_even_life_reproduces_equality(first: float, rebuilt: float, grinding: float, new_life: float, rate: float,
                                             longer: float) -> None:
    terms = replace(TERMS, discount=rate)
    last = one("reconstruction", rebuilt, new_life)
    against = worth((last,), terms)

    def lasting(life: float) -> float:
        return worth((one("full_depth", first, life, grinding), last), terms)

    case, life, _ = even((one("full_depth", first, 20, grinding), last), (last,), terms)
    near = 1e-6 * (first + rebuilt + grinding)
    if case == "always":
        assert lasting(min(longer, 60.0)) <= against + near
    elif case == "never":
        assert lasting(60.0) > against - near
    elif case == "from":
        assert lasting(life) <= against + near
        assert lasting(min(life + longer, 60.0)) <= against + near
        assert lasting(max(life - 1e-6, 0.0)) >= against - near
        assert lasting(life) == pytest.approx(against, abs=near)
    else:
        assert lasting(60.0) > against - near


@given(st.floats(1, 1e6), st.floats(1, 1e6), st.floats(1, 60), st.floats(0, 0.1))
@settings(max_examples=60, deadline=None)
def test_break_even_without_grinding_is_an_equality(first: float, rebuilt: float, new_life: float, rate: float) -> None:
    terms = replace(TERMS, discount=rate)
    last = one("reconstruction", rebuilt, new_life)
    case, life, below = even((one("full_depth", first, 20), last), (last,), terms)
    assert case != "mixed" and not below  # the cost falls steadily with the life
    if case == "from":
        assert worth((one("full_depth", first, life), last), terms) == pytest.approx(worth((last,), terms), rel=1e-6)


def test_sentences_name_the_event_and_the_number() -> None:
    found = lifecycle.BreakEven(np.array(["from", "always", "never", "mixed"]), np.array([14.24, np.nan, np.nan, np.nan]),
                                np.array([True, False, False, False]))
    said = [lifecycle.sentence("full-depth repair", "reconstruction", found, row, forecast, cheaper, 50.0,
                               replace(TERMS, discount=0.035))
            for row, (forecast, cheaper) in enumerate([(21.46, True), (8.0, True), (8.0, False), (60.0, False)])]
    begins = "Over 40 years at 3.5 % a year, full-depth repair costs"
    assert said == [
        f"{begins} less than reconstruction unless the index falls to 50 in under 14.2 years; by the forecast that takes "
        "21.5 years, so it costs less. Some shorter lives do as well, since each further grinding adds its cost at once.",
        f"{begins} less than reconstruction, however soon the index falls to 50.",
        f"{begins} more than reconstruction, even if it takes 60 years until the index falls to 50.",
        f"{begins} less than reconstruction at some lives and more at others, the longest among them. Life is counted until "
        "the index falls to 50; by the forecast that takes 60.0 years or more, so it costs more."]
