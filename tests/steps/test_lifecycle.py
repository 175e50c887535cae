"""Life-cycle cost against explicit cash flows, numpy-financial and worked examples."""

import numpy as np
import numpy_financial as npf
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rehab.base.money import annual_cost
from rehab.base.settings import Assumptions
from rehab.inputs import assumptions as reader
from rehab.steps import lifecycle

ASSUMED = reader.defaults()
HORIZON = 40
WHOLE = {"economics": {"discount": 0.04, "horizon_yr": HORIZON}}


def worth(assumptions: Assumptions, strategy: str, first: float, until: float, grinding: float = 0.0,
          rebuilt: float = 0.0, ground_life: float = 13.0, new_life: float = 60.0) -> tuple[float, float]:
    """Present worth and annual cost of one block and strategy."""
    found = lifecycle.compare(pd.DataFrame({strategy: [first]}), pd.DataFrame({strategy: [until]}),
                              np.array([grinding]), np.array([rebuilt]), ground_life, np.array([new_life]), assumptions)
    return float(found[f"{strategy}_worth_usd"].iloc[0]), float(found[f"{strategy}_annual_usd"].iloc[0])


def test_three_grindings_and_a_rebuild_as_a_cash_flow(defaults: Assumptions) -> None:
    # Repair now; ground again after 13 and 26 years (three grindings in all, Concrete Alberta); back at the trigger
    # after 30 years: rebuilt, and 10 of its 40 years used at the end: a credit of 30/40.
    assumptions = reader.overlay(defaults, WHOLE)
    flow = np.zeros(HORIZON + 1)
    flow[[0, 13, 26, 30]] = 50.0, 20.0, 20.0, 400.0
    flow[40] -= 400.0 * 30 / 40
    for strategy in ("partial_depth", "full_depth"):
        present, annual = worth(assumptions, strategy, 50.0, 30.0, 20.0, 400.0, 13.0, 40.0)
        assert present == pytest.approx(npf.npv(0.04, flow))
        assert annual == pytest.approx(-npf.pmt(0.04, HORIZON, npf.npv(0.04, flow)))


def test_no_grinding_once_the_block_is_back_at_its_trigger(defaults: Assumptions) -> None:
    assumptions = reader.overlay(defaults, WHOLE)
    flow = np.zeros(HORIZON + 1)
    flow[[0, 13]] = 50.0, 20.0
    assert worth(assumptions, "partial_depth", 50.0, 20.0, 20.0)[0] == pytest.approx(npf.npv(0.04, flow))
    once = reader.overlay(assumptions, {"treatment_lives": {"ground.most_times": 1}})
    assert worth(once, "partial_depth", 50.0, 60.0, 20.0)[0] == pytest.approx(50.0)
    assert worth(assumptions, "none", 0.0, 60.0, 20.0)[0] == 0.0  # what is not ground now is not ground later


def test_credit_of_fhwa_ten_of_fifteen_years_unused(defaults: Assumptions) -> None:
    # FHWA-SA-98-079 layout (inputs from memory): 325 spent in year 30 of 35, life 15: a credit of
    # 325 x 10/15 = 216.7 in year 35; at 4 % 325 x .3083 - 216.7 x .2534 = 100.2 - 54.9.
    found = lifecycle.rebuild(np.array([30.0]), np.array([325.0]), np.array([15.0]), 35.0, 0.04)[0]
    flow = np.zeros(36)
    flow[30], flow[35] = 325.0, -325.0 * 10 / 15
    assert found == pytest.approx(npf.npv(0.04, flow)) and found == pytest.approx(100.2 - 54.9, abs=0.06)
    # The bulletin's own words (from memory): a 10-year job in year 30 of 35 keeps 50 %.
    half = lifecycle.rebuild(np.array([30.0]), np.array([100.0]), np.array([10.0]), 35.0, 0.0)[0]
    assert half == pytest.approx(50.0)


def test_the_whole_fhwa_stream(defaults: Assumptions) -> None:
    # The same layout, agency cost alone: 1,100, 325 in year 15 and 30, credit 216.7: 1,325.8 at 4 %, EUAC 71.03.
    later = lifecycle.rebuild(np.array([15.0]), np.array([325.0]), np.array([15.0]), 35.0, 0.04)[0]
    assert 1100 + later == pytest.approx(1325.8, abs=0.05)
    assert annual_cost(1100 + later, 0.04, 35) == pytest.approx(71.03, abs=0.005)


@pytest.mark.parametrize(("cost", "life", "two", "four", "seven"), [
    (12, 10, 1.336, 1.479, 1.709), (45, 15, 3.502, 4.047, 4.941), (120, 35, 4.800, 6.429, 9.268)])
def test_unequal_lives(cost: float, life: int, two: float, four: float, seven: float) -> None:
    # Own inputs in $/sq yd over their own lives, worked with the textbook's A/P; numpy-financial beside it.
    for rate, expected in ((0.02, two), (0.04, four), (0.07, seven)):
        assert annual_cost(cost, rate, life) == pytest.approx(expected, abs=5e-4)
        assert annual_cost(cost, rate, life) == pytest.approx(-npf.pmt(rate, life, cost))


def test_reconstruction_keeps_the_life_left(defaults: Assumptions) -> None:
    # Lasts 60 of which 40 are used: a third comes back in year 40.
    assumptions = reader.overlay(defaults, WHOLE)
    flow = np.zeros(HORIZON + 1)
    flow[0], flow[40] = 600.0, -200.0
    assert worth(assumptions, "reconstruction", 600.0, 60.0, 0.0, 600.0, new_life=60.0)[0] == pytest.approx(
        npf.npv(0.04, flow))


@pytest.mark.parametrize("life", [12.0, 25.0, 40.0, 55.0])
def test_waiting_no_time_is_reconstruction_now(defaults: Assumptions, life: float) -> None:
    # A block that is at its trigger today and gets no repair is rebuilt today: the same stream, however short
    # the new life is against the horizon.
    assumptions = reader.overlay(defaults, WHOLE)
    now = worth(assumptions, "reconstruction", 600.0, life, 0.0, 600.0, new_life=life)
    waited = worth(assumptions, "none", 0.0, 0.0, 0.0, 600.0, new_life=life)
    assert waited == pytest.approx(now)


def test_a_short_new_life_is_rebuilt_again(defaults: Assumptions) -> None:
    assumptions = reader.overlay(defaults, WHOLE)
    flow = np.zeros(HORIZON + 1)
    flow[[5, 20, 35]] = 300.0  # life 15: in year 40 ten of fifteen years are left
    flow[40] -= 300.0 * 10 / 15
    assert worth(assumptions, "none", 0.0, 5.0, 0.0, 300.0, new_life=15.0)[0] == pytest.approx(npf.npv(0.04, flow))


def test_no_interest_is_plain_addition(defaults: Assumptions) -> None:
    assumptions = reader.overlay(defaults, {"economics": {"discount": 0, "horizon_yr": HORIZON}})
    present, annual = worth(assumptions, "partial_depth", 50.0, 30.0, 20.0, 400.0, 13.0, 40.0)
    assert (present, annual) == pytest.approx((50 + 40 + 400 - 300, 190 / 40))


@given(st.floats(0, 1e6), st.floats(0, 60), st.floats(0, 1e5), st.floats(1, 1e6), st.floats(2, 60))
@settings(max_examples=60, deadline=None)
def test_a_longer_wait_for_the_rebuild_never_costs_more(first: float, until: float, grinding: float, rebuilt: float,
                                                        new_life: float) -> None:
    sooner = worth(ASSUMED, "none", first, until, grinding, rebuilt, new_life=new_life)[0]
    later = worth(ASSUMED, "none", first, min(until + 3, 60.0), grinding, rebuilt, new_life=new_life)[0]
    assert later <= sooner + 1e-6 * rebuilt
    assert sooner >= -1e-6
