"""Lengths of a lane closure: its tapers by posted speed and offset, and the buffer before the work."""

from __future__ import annotations

from math import ceil
from typing import Final, NamedTuple

SPEEDS_MPH: Final = tuple(range(15, 80, 5))  #: posted speeds of the table of lengths
_REACTION_S: Final = 2.5
_BRAKING_FTPS2: Final = 11.2
_BUFFER_STEP_FT: Final = 5.0  #: the printed table is rounded up to it


class Lengths(NamedTuple):
    """Feet of a lane closure at one speed, each rounded up to a whole foot, the buffer to five."""

    merging: float
    shifting: float
    shoulder: float
    buffer: float


def taper_ft(speed_mph: float, offset_ft: float) -> float:
    """Length in feet of a merging taper, not rounded.

    MUTCD Part 6 (federal text of 2009 as in California MUTCD 2012, Table 6H-4): L = W S^2 / 60 up to 40 mph
    and L = W S from 45 mph; a speed between the two is taken by the second, which is longer.

    Raises :class:`ValueError` for a speed or offset that is not above zero.
    """
    if not (speed_mph > 0 and offset_ft > 0):
        raise ValueError("a taper needs a speed and an offset above zero")
    return offset_ft * speed_mph**2 / 60.0 if speed_mph <= 40 else offset_ft * speed_mph


def buffer_ft(speed_mph: float) -> float:
    """Length in feet of the buffer: the stopping sight distance, rounded up to 5 ft as its printed table is.

    1.47 V t + 1.075 V^2 / a with t = 2.5 s and a = 11.2 ft/s^2: Texas Roadway Design Manual, stopping sight distance.

    Raises :class:`ValueError` for a speed that is not above zero.
    """
    if not speed_mph > 0:
        raise ValueError("a buffer needs a speed above zero")
    exact = 1.47 * speed_mph * _REACTION_S + 1.075 * speed_mph**2 / _BRAKING_FTPS2
    return _BUFFER_STEP_FT * ceil(exact / _BUFFER_STEP_FT - 1e-9)


def lengths(speed_mph: float, offset_ft: float) -> Lengths:
    """All lengths of a closure: the shifting taper is half, the shoulder taper a third of the merging one, at least."""
    merging = taper_ft(speed_mph, offset_ft)
    whole, half, third = (float(ceil(merging / part - 1e-9)) for part in (1, 2, 3))
    return Lengths(whole, half, third, buffer_ft(speed_mph))


def devices(speed_mph: float, offset_ft: float, spacing: float) -> int:
    """Cones or drums along a merging taper, one at each end, ``spacing`` feet apart for each mile per hour."""
    return ceil(taper_ft(speed_mph, offset_ft) / (spacing * speed_mph) - 1e-9) + 1
