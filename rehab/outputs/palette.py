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

#: colour and hatch of each kind of task: hues repeat, the hatch tells them apart; patches, panels, filling and grinding
#: have hatches of their own, so that they differ on a black and white print
TASK: Final[dict[str, tuple[str, str]]] = {
    "mark": ("#82898f", "."), "notice": ("#82898f", "+"), "stabilise": ("#1f8f94", "."),
    "mill": ("#2b83cf", "."), "patch": ("#2b83cf", "/"),
    "saw": ("#b9720f", "/"), "remove": ("#b9720f", "x"), "drill": ("#b9720f", "."), "place": ("#b9720f", ""),
    "joint": ("#b9720f", "-"), "curb": ("#b9720f", "|"), "retrofit": ("#1f8f94", "|"), "stitch": ("#1f8f94", "+"),
    "fill": ("#b23fa0", "\\"), "grind": ("#b23fa0", "x"), "stripe": ("#82898f", "-"),
}

_DASH: Final = {"mark": "2 4", "notice": "2 8", "stabilise": "2 4", "mill": "2 3", "patch": "6 5", "saw": "9 4",
                "remove": "10 3 2 3", "drill": "2 4", "place": "", "joint": "4 4", "curb": "14 3 3 3",
                "retrofit": "8 4", "stitch": "12 3 3 3", "fill": "3 3", "grind": "14 4", "stripe": "8 6"}
#: a block by its work in a week, on the map
WEEK: Final = {kind: Stroke(colour, 5.5, _DASH[kind]) for kind, (colour, _) in TASK.items()}
CURING: Final = Stroke("#176be8", 3.5, "1 3")  #: closed while its concrete gains strength
THIN: Final = Stroke("#82898f", 1.0, "")
