"""Strength, maturity and evaporation against published values, values from memory and values worked out by hand.

Beside each check: published, from memory, or computed (worked out apart from the program, from the published formula).
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.stats import linregress

from rehab.base.curing import strength, weather

AGES = [1, 2, 3, 4, 5, 7, 10, 14, 21, 28, 56, 90, 180, 365]
#: the worked example, constructed: a laboratory curve at 23 deg C, and the log of a field repair every two hours
LAB_M = [184, 276, 552, 1104, 1656, 3864, 15456]
LAB_PSI = [950, 1500, 2500, 3350, 3800, 4500, 5300]
LOG_C = np.array([18, 20, 24, 28, 31, 33, 32, 30, 28, 26, 24, 22, 20], float)
MEAN_C = (LOG_C[:-1] + LOG_C[1:]) / 2
TWO_H = np.full(12, 2.0)
A, B = -3955.080, 2307.826
GAS = 8.314  # J/(mol K); with its further digits some of the figures below end one higher or lower


# ACI 209R-92, equation 2-1: constants from memory (Table 2.2.1), shares computed.
@pytest.mark.parametrize(("a", "b", "shares"), [
    (4.00, 0.85, [.2062, .3509, .4580, .5405, .6061, .7035, .8000, .8805, .9611, 1.0072, 1.0853, 1.1180, 1.1465,
                  1.1615]),  # Type I, moist
    (2.30, 0.92, [.3106, .4831, .5929, .6689, .7246, .8009, .8696, .9223, .9713, .9979, 1.0405, 1.0576, 1.0721,
                  1.0796]),  # Type III, moist
    (1.00, 0.95, [.5128, .6897, .7792, .8333, .8696, .9150, .9524, .9790, 1.0024, 1.0145, 1.0332, 1.0405, 1.0465,
                  1.0496]),  # Type I, steam
    (0.70, 0.98, [.5952, .7519, .8242, .8658, .8929, .9259, .9524, .9709, .9868, .9950, 1.0076, 1.0124, 1.0164,
                  1.0184]),  # Type III, steam
])
def test_shares_by_age_of_aci_209(a: float, b: float, shares: list[float]) -> None:
    assert strength.share_by_age(AGES, a, b) == pytest.approx(shares, abs=5.1e-5)
    assert strength.age_at_share(strength.share_by_age(AGES, a, b), a, b) == pytest.approx(AGES, rel=1e-9)


def test_the_rounded_table_of_aci_209() -> None:
    # ACI 209R-92, its own table for Type I moist, two decimals (28 days: one), from memory
    ages, shares = [3, 7, 14, 21, 56, 91, 365], [.46, .70, .88, .96, 1.08, 1.12, 1.16]
    assert strength.share_by_age(ages, 4.0, 0.85) == pytest.approx(shares, abs=0.0055)
    assert round(float(strength.share_by_age(28, 4.0, 0.85)), 1) == 1.0
    assert float(strength.share_by_age(28, 4.0, 0.85)) != 1.0


@pytest.mark.parametrize(("share", "type_1_d", "type_3_d"), [  # computed
    (2 / 3, 6.1538, 3.9655), (.70, 6.9136, 4.5225), (.75, 8.2759, 5.5645), (.80, 10.0, 6.9697),
    (.90, 15.3191, 12.0349)])
def test_ages_at_shares_of_aci_209(share: float, type_1_d: float, type_3_d: float) -> None:
    assert strength.age_at_share(share, [4.0, 2.3], [0.85, 0.92]) == pytest.approx([type_1_d, type_3_d], abs=5.1e-5)


def test_no_age_reaches_the_limit_of_aci_209() -> None:
    # The limits 1/b: 1.17647 and 1.08696, computed
    assert np.isinf(strength.age_at_share([1 / .85, 1.17648, 5.0], 4.0, 0.85)).all()
    assert np.isfinite(strength.age_at_share([1.17647, 1.0], 4.0, 0.85)).all()
    assert np.isinf(strength.age_at_share(1.08696, 2.3, 0.92))
    assert strength.age_at_share([0.0, -0.1], 4.0, 0.85).tolist() == [0.0, 0.0]
    assert strength.share_by_age([-1.0, 0.0], 4.0, 0.85).tolist() == [0.0, 0.0]


CEB_AGES = [1, 2, 3, 5, 7, 14, 21, 28, 56, 90, 365]


# CEB-FIP Model Code 1990: formula published, s from memory, shares computed.
@pytest.mark.parametrize(("s", "shares"), [
    (.20, [.4239, .5779, .6630, .7609, .8187, .9205, .9695, 1, 1.0603, 1.0925, 1.1556]),
    (.25, [.3420, .5039, .5982, .7106, .7788, .9016, .9621, 1, 1.0760, 1.1169, 1.1981]),
    (.38, [.1958, .3528, .4580, .5950, .6839, .8544, .9429, 1, 1.1177, 1.1830, 1.3162]),
])
def test_shares_by_age_of_ceb_fip(s: float, shares: list[float]) -> None:
    assert strength.ceb_share(CEB_AGES, s) == pytest.approx(shares, abs=5.1e-5)
    assert strength.ceb_age(strength.ceb_share(CEB_AGES, s), s) == pytest.approx(CEB_AGES, rel=1e-9)
    assert np.isinf(strength.ceb_age([np.exp(s) + 1e-9, 2.0], s)).all()
    assert strength.ceb_share([0.0, -3.0], s).tolist() == strength.ceb_age([0.0, -3.0], s).tolist() == [0.0, 0.0]


def test_the_day_factor_of_ceb_fip() -> None:
    # exp(13.65 - 4000/(273 + T)), from memory, is the rate at Q = 4000 K about 293 K: shares computed at 5 to 30 deg C
    shares = np.array([.4778, .6161, .7875, .9981, 1.2551, 1.5662])
    temps = [5, 10, 15, 20, 25, 30]
    # 13.65 is 4000/293 = 13.6519 rounded, and 273 stands for 273.15: 0.3 % apart
    assert weather.rate_factor(temps, 4000, 20) == pytest.approx(shares, rel=0.004)


def test_the_published_example_of_a_temperature_time_factor() -> None:
    # Published (page of a maker of sensors): 12 h at 20 deg C, then 12 h at 25 deg C, datum 0: 240, then 540 deg C h
    assert weather.gained([12, 12], weather.degrees_above([20, 25], 0)) == pytest.approx([240, 540])


def test_the_curve_of_the_worked_example_is_fitted() -> None:
    # Constructed and computed
    a, b, r2 = strength.fit_curve(LAB_M, LAB_PSI)
    assert (a, b, r2) == (pytest.approx(A, abs=5e-4), pytest.approx(B, abs=5e-4), pytest.approx(0.96380, abs=5e-6))
    line = linregress(np.log10(LAB_M), LAB_PSI)  # reference library
    assert (a, b, r2) == pytest.approx((line.intercept, line.slope, line.rvalue**2), rel=1e-10)
    needed = [380.527, 567.163, 1032.032, 1699.602]
    assert strength.maturity_at([2000, 2400, 3000, 3500], a, b) == pytest.approx(needed, abs=2e-3)
    assert np.array(needed) / 23 == pytest.approx([16.54, 24.66, 44.87, 73.90], abs=0.0055)
    assert strength.by_maturity(needed, a, b) == pytest.approx([2000, 2400, 3000, 3500], abs=2e-3)


def test_the_field_log_of_the_worked_example() -> None:
    # Constructed and computed, every interval of the log
    zero = weather.gained(TWO_H, weather.degrees_above(MEAN_C, 0))
    ten = weather.gained(TWO_H, weather.degrees_above(MEAN_C, -10))
    assert zero == pytest.approx([38, 82, 134, 193, 257, 322, 384, 442, 496, 546, 592, 634])
    assert ten == pytest.approx([58, 122, 194, 273, 357, 442, 524, 602, 676, 746, 812, 874])
    assert weather.gained(TWO_H, weather.rate_factor(MEAN_C, 5000, 23)) == pytest.approx(
        [1.587, 3.476, 5.845, 8.719, 12.010, 15.390, 18.508, 21.305, 23.809, 26.049, 28.049, 29.832], abs=5.1e-4)
    # 40 kJ/mol
    assert weather.gained(TWO_H, weather.rate_factor(MEAN_C, 40_000 / GAS, 23)) == pytest.approx(
        [1.601, 3.494, 5.848, 8.683, 11.912, 15.226, 18.292, 21.054, 23.537, 25.768, 27.768, 29.558], abs=5.1e-4)
    # The first interval lies before the curve begins, which is there below zero and clamped
    assert strength.by_maturity(zero, A, B) == pytest.approx(
        [0, 462, 954, 1320, 1607, 1833, 2009, 2150, 2266, 2362, 2443, 2512], abs=0.51)


def test_the_worked_example_in_fahrenheit() -> None:
    # Computed: 1573.2 deg F h above 14 deg F are 874 deg C h above -10, 1141.2 above 32 are 634 above 0
    fahrenheit = MEAN_C * 1.8 + 32
    assert weather.gained(TWO_H, weather.degrees_above(fahrenheit, 14))[-1] == pytest.approx(1573.2)
    assert weather.gained(TWO_H, weather.degrees_above(fahrenheit, 32))[-1] == pytest.approx(1141.2)


def test_the_crossings_of_the_worked_example() -> None:
    # Constructed and computed: 2000 and 2400 psi within the log, 3000 psi in the steady 20 deg C after it
    hours, temps = np.append(TWO_H, 100.0), np.append(MEAN_C, 20.0)
    needed = strength.maturity_at([2000, 2400, 3000], A, B)
    found = weather.hours_to_reach(needed, hours, weather.degrees_above(temps, 0))
    assert found == pytest.approx([13.888, 20.920, 43.902], abs=5.1e-4)


# Computed: exp(-Q (1/T - 1/Ts)) at 5, 10, 15, 20, 23, 25, 30, 35, 40 deg C
@pytest.mark.parametrize(("q_k", "reference_c", "factors"), [
    (5000, 23, [.3354, .4606, .6258, .8413, 1, 1.1199, 1.4768, 1.9299, 2.5006]),
    (5000, 20, [.3986, .5475, .7438, 1, 1.1886, 1.3311, 1.7553, 2.2939, 2.9723]),
    (33_500 / GAS, 20, [.4765, .6154, .7878, 1, None, 1.2592, 1.5737, 1.9524, 2.4057]),
])
def test_rate_factors(q_k: float, reference_c: float, factors: list[float | None]) -> None:
    for temp, factor in zip([5, 10, 15, 20, 23, 25, 30, 35, 40], factors, strict=True):
        if factor is not None:
            assert float(weather.rate_factor(temp, q_k, reference_c)) == pytest.approx(factor, abs=5.1e-5), temp


def test_time_to_a_strength_at_steady_temperatures() -> None:
    # Computed: 2400 psi of the constructed mix at 5 to 30 deg C, with datum 0, and with Q = 5000 K about 23 deg C
    needed = float(strength.maturity_at(2400, A, B))
    saul = [113.43, 56.72, 37.81, 28.36, 22.69, 18.91]
    age = [73.53, 53.53, 39.40, 29.31, 22.02, 16.70]
    for temp, by_saul, by_age in zip([5, 10, 15, 20, 25, 30], saul, age, strict=True):
        for repeat, hours in ((False, [500.0]), (True, [1.0]), (True, [10.0, 14.0])):
            steady = np.full(len(hours), float(temp))
            assert float(weather.hours_to_reach(needed, hours, weather.degrees_above(steady), repeat=repeat)) == \
                pytest.approx(by_saul, abs=0.0051)
            assert float(weather.hours_to_reach(needed / 23, hours, weather.rate_factor(steady, 5000, 23),
                                                repeat=repeat)) == pytest.approx(by_age, abs=0.0051)


def test_below_the_datum_nothing_is_gained() -> None:
    assert weather.degrees_above([-5.0, 0.0, 5.0], 0.0).tolist() == [0.0, 0.0, 5.0]
    # 12 h at 10 deg C, 12 h of frost, 12 h at 10 deg C: 120 is there after 12 h, 130 one hour into the third
    found = weather.hours_to_reach([120, 130, 240, 241], [12, 12, 12], weather.degrees_above([10, -10, 10], 0))
    assert found.tolist() == [12.0, 25.0, 36.0, np.inf]
    assert np.isinf(weather.hours_to_reach(1.0, [24.0], [0.0], repeat=True))
    assert float(weather.hours_to_reach(0.0, [24.0], [0.0])) == 0.0


def test_a_day_repeats() -> None:
    # By hand: a day of 12 h at 20 and 12 h at 10 deg C gains 360; 1000 = 2 x 360 + 240 + 40: 48 + 12 + 4 h.
    # Placed at hour 12 it begins with 120: 1000 = 120 + 2 x 360 + 160, so 12 + 48 + 8 h.
    found = weather.hours_to_reach(1000, [12, 12], [20, 10], begun_h=[0, 12], repeat=True)
    assert found == pytest.approx([64, 68])
    assert weather.hours_to_reach([360, 720], [12, 12], [20, 10], repeat=True) == pytest.approx([24, 48])


history = st.lists(st.tuples(st.floats(0.1, 50), st.one_of(st.just(0.0), st.floats(0.1, 40))), min_size=1, max_size=8)


@given(history, st.floats(0.1, 3000), st.floats(0, 1), st.booleans())
def test_the_time_to_a_maturity_agrees_with_integration(steps: list[tuple[float, float]], needed: float, part: float,
                                                        repeat: bool) -> None:
    hours, rate = (np.array(column) for column in zip(*steps, strict=True))
    edge = np.concatenate([[0.0], np.cumsum(hours)])
    begun = part * edge[-1]
    found = float(weather.hours_to_reach(needed, hours, rate, begun, repeat))

    def integral(until: float) -> float:
        """The gain from placing until an hour of the history, rounds added one by one."""
        total, start, offset = 0.0, begun, 0.0
        while offset < until:
            for low, high, gain in zip(edge[:-1], edge[1:], rate, strict=True):
                total += gain * max(0.0, min(until, offset + high) - max(start, offset + low))
            offset += edge[-1]
        return total

    if np.isinf(found):
        assert (not repeat and integral(edge[-1]) < needed * (1 + 1e-9)) or rate.sum() == 0
    else:
        assert integral(begun + found) == pytest.approx(needed, rel=1e-9)


def test_equivalent_age_within_a_smooth_day() -> None:
    # Reference library: half-hour means of a sine against numerical integration
    def temp(hour: float) -> float:
        return 15 + 8 * float(np.sin(hour * np.pi / 12))

    middle = np.arange(0.25, 24, 0.5)
    rate = weather.rate_factor([temp(hour) for hour in middle], 5000, 23)
    exact = quad(lambda hour: float(weather.rate_factor(temp(hour), 5000, 23)), 0, 24)[0]
    assert weather.gained(np.full(48, 0.5), rate)[-1] == pytest.approx(exact, rel=1e-4)


def test_histories_and_curves_that_are_none_are_refused() -> None:
    for words, given_ in (("one gain for each", ([1.0], [1.0, 2.0])), ("longer than zero", ([0.0], [1.0])),
                          ("longer than zero", ([1.0], [-1.0])), ("longer than zero", ([1.0], [np.nan])),
                          ("one gain", ([], []))):
        with pytest.raises(ValueError, match=words):
            weather.hours_to_reach(5.0, *given_)
    with pytest.raises(ValueError, match="within the 24 hours"):
        weather.hours_to_reach(5.0, [24.0], [1.0], begun_h=25.0)
    with pytest.raises(ValueError, match="not a number"):
        weather.hours_to_reach(np.nan, [24.0], [1.0])
    with pytest.raises(ValueError, match="must grow"):
        strength.maturity_at(2000, 100, 0)
    for words, points in (("one strength for each", ([1, 2], [1])), ("two different", ([5, 5], [1, 2])),
                          ("above zero", ([0, 5], [1, 2])), ("above zero", ([1, 5], [1, np.nan]))):
        with pytest.raises(ValueError, match=words):
            strength.fit_curve(*points)
    assert np.isinf(strength.maturity_at(1e6, 0.0, 1.0))
    assert strength.fit_curve([10, 100], [500, 500]) == (500.0, 0.0, 1.0)


# Concrete and air in deg F, humidity in %, wind in mph -> Uno's US form, Uno SI in kg/sq m/h and in lb/sq ft/h, Menzel.
# Formulas published (Uno 1998; US form as used by a producer), Menzel's of 1954 from memory; values computed.
@pytest.mark.parametrize(("concrete", "air", "humidity", "wind", "us", "si", "si_lb", "menzel"), [
    (80, 80, 50, 5, 0.0859, 0.4016, 0.0822, 0.0819),
    (80, 80, 50, 10, 0.1431, 0.6698, 0.1372, 0.1356),
    (80, 80, 50, 20, 0.2576, 1.2063, 0.2471, 0.2428),
    (87, 80, 50, 12, 0.2435, 1.1378, 0.2330, 0.2366),
    (70, 70, 50, 10, 0.1025, 0.4806, 0.0984, 0.0970),
    (90, 90, 50, 10, 0.1921, 0.8979, 0.1839, 0.1868),
    (70, 70, 10, 10, 0.1845, 0.8650, 0.1772, 0.1747),
    (60, 40, 50, 10, 0.1141, 0.5354, 0.1097, 0.1044),
    (95, 90, 30, 15, 0.4544, 2.1228, 0.4348, 0.4526),
    (75, 70, 60, 5, 0.0723, 0.3383, 0.0693, 0.0685),
])
def test_evaporation(concrete: float, air: float, humidity: float, wind: float, us: float, si: float, si_lb: float,
                     menzel: float) -> None:
    r = humidity / 100
    kilograms = float(weather.evaporation_si((concrete - 32) / 1.8, (air - 32) / 1.8, r, wind * 1.609344))
    assert float(weather.evaporation(concrete, air, r, wind)) == pytest.approx(us, abs=5.1e-5)
    assert kilograms == pytest.approx(si, abs=5.1e-5)
    # 0.45359237 kg and 0.3048 m, exact
    assert kilograms * 0.3048**2 / 0.45359237 == pytest.approx(si_lb, abs=5.1e-5)
    assert float(weather.evaporation_menzel(concrete, air, r, wind)) == pytest.approx(menzel, abs=5.1e-5)


@pytest.mark.parametrize(("concrete", "air", "humidity", "wind", "si"), [  # computed; deg C and km/h
    (30, 25, 50, 20, 1.1880), (27, 27, 50, 16, 0.6792), (25, 20, 60, 10, 0.4749), (35, 35, 30, 25, 2.0757)])
def test_evaporation_in_si(concrete: float, air: float, humidity: float, wind: float, si: float) -> None:
    assert float(weather.evaporation_si(concrete, air, humidity / 100, wind)) == pytest.approx(si, abs=5.1e-5)


def test_evaporation_of_the_nomograph() -> None:
    # ACI and PCA nomograph, worked example, from memory: air 80, humidity 50 %, concrete 87 deg F, wind 12 mph give
    # about 0.25, read off a figure to about 0.02
    for formula in (weather.evaporation, weather.evaporation_menzel):
        assert float(formula(87, 80, 0.5, 12)) == pytest.approx(0.25, abs=0.02)
    si = float(weather.evaporation_si(55 / 1.8, 48 / 1.8, 0.5, 12 * 1.609344))
    assert si * 0.3048**2 / 0.45359237 == pytest.approx(0.25, abs=0.02)


def test_the_wind_at_which_precautions_begin() -> None:
    # Computed: concrete and air at 80 deg F, humidity 50 %: 0.2 lb/sq ft/h at 14.97 mph
    assert brentq(lambda wind: float(weather.evaporation(80, 80, 0.5, wind)) - 0.2, 0, 40) == pytest.approx(14.97, abs=5e-3)


def test_dew_is_no_evaporation() -> None:
    for cold, warm, formula in ((50, 90, weather.evaporation), (10, 32, weather.evaporation_si),
                                (50, 90, weather.evaporation_menzel)):
        assert float(formula(cold, warm, 1.0, 10)) == 0.0
    assert np.isfinite(weather.evaporation([-10, 40], -20, 0.5, 5)).all()
    assert np.isfinite(weather.evaporation_si([-30, 5], -40, 0.5, 5)).all()
