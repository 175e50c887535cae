"""The unit of temperatures: said, named by a heading, or recognised by the warm days; and the way to deg F."""

from __future__ import annotations

from typing import Final

import numpy as np

from rehab.inputs.reading.raw import Findings
from rehab.inputs.reading.values import Floats

UNITS: Final = ("deg F", "tenths of deg F", "deg C")
#: nine in ten of the highest temperatures of a year are that or less: more is no deg F, less no summer in deg F
_MOST_F: Final = 200.0
_LEAST_F: Final = 50.0
_PLAUSIBLE_F: Final = (50.0, 125.0)  #: the same as it is found in places with streets; outside, the user is asked


def warm(highest: Floats) -> float:
    """What nine in ten of the highest temperatures are or less, so that no slip of the pen decides; NaN without any."""
    filled = highest[np.isfinite(highest)]
    return float(np.quantile(filled, 0.9, method="lower")) if len(filled) else float("nan")


def recognised(said: str | None, heading_unit: str | None, heading: str | None, highest: Floats) -> tuple[str, str]:
    """The unit and, in words, how it is known: from the user, from a heading, from the warm days."""
    top = warm(highest)
    if said:
        return said, "as was said"
    if heading_unit:
        return heading_unit, f"as the heading '{heading}' says"
    seen = f"nine in ten of its highest temperatures are {top:g} or less"
    if top > _MOST_F:
        return "tenths of deg F", f"{seen}, and the others are too much for whole degrees"
    if top < _LEAST_F:
        return "deg C", f"{seen}, too little for deg F"
    return "deg F", seen


def in_deg_f(values: Floats, unit: str, spread: bool = False) -> Floats:
    """Temperatures, or with ``spread`` their standard deviations, in deg F; deg F = 1.8 deg C + 32 exactly.

    Source of the factor: NIST SP 811 (2008), Appendix B.8 (from memory).
    """
    if unit == "deg C":
        return values * 1.8 + (0.0 if spread else 32.0)
    return values / 10 if unit == "tenths of deg F" else values.copy()


def ask(unit: str, said: str | None, heading_unit: str | None, heading: str | None, highest: Floats, column: str,
        found: Findings) -> None:
    """Warn of a conversion, of a unit that contradicts its heading, and of a year too cold or too hot to be true."""
    choices = f"the right one of the units {', '.join(UNITS)}, if this is not it"
    if unit != "deg F":
        found.note(f"the temperatures were read as {unit} and converted to deg F", choices, column)
    if said and heading_unit and said != heading_unit:
        found.note(f"the heading names the unit {heading_unit}, but {said} was said and is used", choices, heading)
    top = float(in_deg_f(np.array([warm(highest)]), unit)[0])
    if top < _PLAUSIBLE_F[0] or top > _PLAUSIBLE_F[1]:
        found.note(f"read as {unit}, nine in ten of the highest temperatures of the year are {top:.0f} deg F or less: "
                   "is the unit right?", choices, column)
