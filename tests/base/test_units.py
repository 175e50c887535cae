"""Unit factors against NIST Handbook 44 (2024), Appendix C: exact definitions."""

import pytest

from rehab.base import units


@pytest.mark.parametrize(("theirs", "ours", "expected"), [
    ("m", "ft", 1 / 0.3048),  # 1 ft = 0.3048 m exactly
    ("in", "ft", 1 / 12),
    ("mm", "in", 1 / 25.4),  # 1 in = 25.4 mm exactly
    ("mile", "ft", 5280.0),
    ("yd", "ft", 3.0),
    ("km", "mile", 1000 / 1609.344),  # 1 mile = 1,609.344 m exactly
    ("sqm", "sqft", 10.763910416709722),  # Appendix C general table: 1 square meter = 10.763 91 square feet
    ("sqyd", "sqft", 9.0),
    ("cuyd", "cuft", 27.0),
    ("gal", "cuft", 231 / 1728),  # 1 US gallon = 231 cubic inches exactly
    ("cum", "cuyd", 1 / 0.9144**3),  # 1 yd = 0.9144 m exactly
    ("m/km", "in/mile", 63.36),  # 1 m/km = 63.36 in/mile exactly: 63,360 in in a mile
    ("per cent", "share", 0.01),
])
def test_factors_of_handbook_44(theirs: str, ours: str, expected: float) -> None:
    assert units.factor(theirs, ours) == pytest.approx(expected, rel=1e-12)


def test_gallon_and_pound_of_handbook_44() -> None:
    assert units.CUIN_PER_GALLON == 231
    assert units.KG_PER_LB == 0.45359237


def test_cubic_yards_by_hand() -> None:
    # 12 x 6 ft x 9 in = 54 cu ft = 2 cu yd
    assert units.cubic_yards(72.0, 9.0) == pytest.approx(2.0)


def test_unknown_and_unlike_units_are_named() -> None:
    with pytest.raises(ValueError, match="unknown unit 'furlong'"):
        units.factor("furlong", "ft")
    with pytest.raises(ValueError, match="unit of area"):
        units.factor("sqm", "ft")
    assert units.same_kind("ft")[0] == "ft"
    assert "m" in units.same_kind("ft") and "sqm" not in units.same_kind("ft")
    assert units.same_kind("points") == ["points"]
