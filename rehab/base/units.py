"""Exact unit factors and the conversions at the border.  Inside, everything is US customary.

Factors: NIST Handbook 44 (2024), Appendix C: 1 in = 25.4 mm exactly, 1 ft = 0.3048 m exactly (the
international foot), 1 yd = 3 ft, 1 US gallon = 231 cubic inches exactly, 1 lb = 0.45359237 kg exactly.
"""

from __future__ import annotations

from typing import Final, TypeVar

import numpy as np
import numpy.typing as npt

MM_PER_IN: Final = 25.4
M_PER_FT: Final = 0.3048
SQFT_PER_SQYD: Final = 9.0
CUFT_PER_CUYD: Final = 27.0
IN_PER_FT: Final = 12.0
FT_PER_MILE: Final = 5280.0
CUIN_PER_GALLON: Final = 231.0
KG_PER_LB: Final = 0.45359237

#: length, area, ... : unit name -> (dimension, size in the unit used inside for that dimension)
UNITS: Final[dict[str, tuple[str, float]]] = {
    "in": ("length", 1 / IN_PER_FT),
    "ft": ("length", 1.0),
    "yd": ("length", 3.0),
    "mile": ("length", FT_PER_MILE),
    "mm": ("length", 1 / (1000 * M_PER_FT)),
    "cm": ("length", 1 / (100 * M_PER_FT)),
    "m": ("length", 1 / M_PER_FT),
    "km": ("length", 1000 / M_PER_FT),
    "sqft": ("area", 1.0),
    "sqyd": ("area", SQFT_PER_SQYD),
    "sqm": ("area", 1 / M_PER_FT**2),
    "cuft": ("volume", 1.0),
    "cuyd": ("volume", CUFT_PER_CUYD),
    "cum": ("volume", 1 / M_PER_FT**3),
    "gal": ("volume", CUIN_PER_GALLON / IN_PER_FT**3),
    "each": ("count", 1.0),
    "in/mile": ("roughness", 1.0),
    "m/km": ("roughness", FT_PER_MILE * IN_PER_FT / 1000),
    "mm/m": ("roughness", FT_PER_MILE * IN_PER_FT / 1000),
    "share": ("share", 1.0),
    "per cent": ("share", 0.01),
}

Number = TypeVar("Number", float, npt.NDArray[np.float64])


def factor(theirs: str, ours: str) -> float:
    """What a number in unit ``theirs`` is multiplied by to be in unit ``ours``; 1.0 for the same unit.

    Raises :class:`ValueError` for an unknown unit or two of different dimensions.
    """
    if theirs == ours:
        return 1.0
    for unit in (theirs, ours):
        if unit not in UNITS:
            raise ValueError(f"unknown unit '{unit}'; known are {', '.join(sorted(UNITS))}")
    (their_kind, their_size), (our_kind, our_size) = UNITS[theirs], UNITS[ours]
    if their_kind != our_kind:
        raise ValueError(f"'{theirs}' is a unit of {their_kind} and '{ours}' of {our_kind}")
    return their_size / our_size


def same_kind(ours: str) -> list[str]:
    """The units that can be converted to ``ours``, itself first; just itself if nothing else is known."""
    if ours not in UNITS:
        return [ours]
    kind = UNITS[ours][0]
    return [ours, *sorted(unit for unit, (other, _) in UNITS.items() if other == kind and unit != ours)]


def cubic_yards(area_sqft: Number, depth_in: Number) -> Number:
    """Volume in cubic yards of an area in square feet and a depth in inches."""
    return area_sqft * depth_in / IN_PER_FT / CUFT_PER_CUYD
