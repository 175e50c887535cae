"""Weibull survival against published points of ground surfaces and scipy."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import weibull_min

from rehab.base import survival


def test_ground_surface_points_are_reproduced() -> None:
    # Concrete Alberta, diamond grinding: 90 % last 9.5 years, 50 % last 13.5 years
    scale, shape = survival.through_points(9.5, 0.9, 13.5, 0.5)
    assert shape == pytest.approx(5.361, abs=5e-4)
    assert scale == pytest.approx(14.455, abs=5e-4)
    assert survival.survival([9.5, 13.5], scale, shape) == pytest.approx([0.9, 0.5])
    assert float(survival.median(scale, shape)) == pytest.approx(13.5)


def test_partial_depth_lower_bound_is_reproduced() -> None:
    # FHWA, Partial-Depth Repairs, performance: 80 to 100 % good after 3 to 10 years; shape 3 through 80 % at 10
    assert float(survival.survival(10, 16.5, 3)) == pytest.approx(0.80, abs=0.005)
    assert float(survival.survival(3, 16.5, 3)) == pytest.approx(0.994, abs=0.0005)


@given(st.floats(0, 120), st.floats(0.1, 40), st.floats(5, 200), st.floats(0.5, 8))
def test_conditional_failure_agrees_with_scipy(age: float, years: float, scale: float, shape: float) -> None:
    curve = weibull_min(shape, scale=scale)
    expected = -np.expm1(curve.logsf(age + years) - curve.logsf(age))
    assert float(survival.failing(age, years, scale, shape)) == pytest.approx(expected, rel=1e-9, abs=1e-12)


def test_points_must_fall() -> None:
    with pytest.raises(ValueError, match="fall with age"):
        survival.through_points(9.5, 0.5, 13.5, 0.9)
