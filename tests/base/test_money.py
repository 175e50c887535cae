"""Money against the reference library numpy-financial and printed tables and examples."""

import numpy as np
import numpy_financial as npf
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rehab.base import money


@pytest.mark.parametrize(("years", "printed"), [
    (5, 0.8219), (10, 0.6756), (15, 0.5553), (20, 0.4564), (25, 0.3751), (30, 0.3083), (35, 0.2534)])
def test_present_worth_factors_of_interest_tables_at_4_per_cent(years: int, printed: float) -> None:
    # Interest tables of any engineering economy text, four decimals.
    assert float(money.present_worth_factor(0.04, years)) == pytest.approx(printed, abs=5e-5)


@pytest.mark.parametrize(("years", "printed"), [(10, 0.12329), (20, 0.07358), (30, 0.05783), (35, 0.05358)])
def test_capital_recovery_factors_of_interest_tables_at_4_per_cent(years: int, printed: float) -> None:
    assert float(money.annual_cost(1.0, 0.04, years)) == pytest.approx(printed, abs=5e-6)


def test_series_factor_of_newnan_example_16_4() -> None:
    # Newnan, Engineering Economic Analysis, Ex. 16-4: i = 8 %, n = 45, P/A = 12.1084
    assert float(money.series_factor(0.08, 45)) == pytest.approx(12.1084, abs=5e-5)


def test_net_present_values_of_newnan_example_7_6() -> None:
    # Newnan, Ex. 7-6: 6 %, one year; -10 then +15 and -20 then +28 give 4.15 and 6.42
    assert -10 + 15 * float(money.present_worth_factor(0.06, 1)) == pytest.approx(4.15, abs=5e-3)
    assert -20 + 28 * float(money.present_worth_factor(0.06, 1)) == pytest.approx(6.42, abs=6e-3)


def test_present_worth_in_the_layout_of_fhwa_sa_98_079() -> None:
    # Inputs from memory of FHWA-SA-98-079 (1998), table of a deterministic example; $ thousands at 4 %, 35 years.
    years = np.array([0, 15, 30, 35])
    agency = np.array([1100.0, 325.0, 325.0, -325 * 10 / 15])
    worth = float(agency @ money.present_worth_factor(0.04, years))
    assert worth == pytest.approx(1325.8, abs=0.05)
    assert float(money.annual_cost(worth, 0.04, 35)) == pytest.approx(71.03, abs=0.005)


# The reference library loses digits to cancellation below a tenth of a per cent and warns at zero.
@given(st.floats(0.001, 0.2), st.integers(1, 60))
def test_factors_agree_with_numpy_financial(rate: float, years: int) -> None:
    assert float(money.series_factor(rate, years)) == pytest.approx(-npf.pv(rate, years, 1.0), rel=1e-9)
    assert float(money.present_worth_factor(rate, years)) == pytest.approx(-npf.pv(rate, years, 0, 1.0), rel=1e-9)
    assert float(money.annual_cost(1.0, rate, years)) == pytest.approx(-npf.pmt(rate, years, 1.0), rel=1e-9)


def test_a_rate_of_zero_adds_up() -> None:
    assert float(money.series_factor(0.0, 12)) == 12.0
    assert float(money.annual_cost(24.0, 0.0, 12)) == 2.0


def test_escalation_of_the_national_construction_cost_index() -> None:
    # FHWA index, Eno Center (2024): 1.8601 in 2020 Q4 and 3.1908 in 2024 Q1, 3.25 years: 18.1 % a year
    assert 1.8601 * float(money.escalation_factor(0.181, 3.25)) == pytest.approx(3.1908, rel=2e-3)


def test_real_rate_by_hand() -> None:
    # (1.055 / 1.025) - 1 = 2.93 %
    assert float(money.real_rate(0.055, 0.025)) == pytest.approx(0.0293, abs=5e-5)


def test_annual_cost_needs_years() -> None:
    with pytest.raises(ValueError, match="above zero"):
        money.annual_cost(1.0, 0.04, 0)
