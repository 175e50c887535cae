"""Colours, dashes and hatches of maps and charts.

Chosen by computing, not by eye: each colour has a contrast of 3 to 1 or more on the light and on the dark
background (WCAG 2.2, 1.4.11), and strategies and steps of the scale stay apart for colour-blind readers.
Nothing is told by colour alone: every strategy and step also has its own line width, dash or hatch.
"""

from __future__ import annotations

from typing import Final, NamedTuple


class Stroke(NamedTuple):
    """How a line is drawn: colour, width in pixels, dash as in SVG ('' is a solid line)."""

    colour: str
    width: float
    dash: str


NO_DATA: Final = Stroke("#82898f", 2.0, "1 5")
PLAIN: Final = Stroke("#82898f", 2.0, "")

STRATEGY: Final[dict[str, Stroke]] = {
    "none": PLAIN,
    "partial_depth": Stroke("#2b83cf", 4.0, "6 5"),
    "full_depth": Stroke("#b9720f", 5.0, ""),
    "reconstruction": Stroke("#b23fa0", 7.0, "14 4"),
}

#: hatch of a bar, in the names that plotly uses
HATCH: Final[dict[str, str]] = {"none": "", "partial_depth": "/", "full_depth": "", "reconstruction": "x"}

#: five steps of an ordered measure, from the good end to the bad
SCALE: Final = ("#176be8", "#5583c0", "#96645a", "#a88250", "#b86400")
SCALE_WIDTHS: Final = (2.5, 3.25, 4.0, 5.0, 6.5)

WITH_WORK: Final = "#176be8"
WITHOUT_WORK: Final = "#b86400"
LIMIT: Final = "#82898f"

#: colour and hatch of each kind of task: hues repeat, the hatch tells them apart
TASK: Final[dict[str, tuple[str, str]]] = {
    "mark": ("#82898f", "."), "mill": ("#2b83cf", "/"), "patch": ("#2b83cf", ""),
    "saw": ("#b9720f", "|"), "remove": ("#b9720f", "x"), "drill": ("#b9720f", "."), "place": ("#b9720f", ""),
    "fill": ("#b23fa0", "\\"), "grind": ("#b23fa0", ""), "stripe": ("#82898f", "-"),
}
