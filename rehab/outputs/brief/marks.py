"""What stands on a page, before it is written: lines of text, lines, charts, links and the places they lead to.

Positions are in points from the lower left corner.  Pages are laid out first and written after, so that a number of
a page can be written before the page that it names.
"""

from __future__ import annotations

from typing import Final, NamedTuple

from reportlab.graphics.shapes import Drawing

from rehab.outputs.drawings.marks import Words

INK: Final = "#1d2429"
GREY: Final = "#5a6268"
FAINT: Final = "#c3c7c4"
ACCENT: Final = "#1f5f6b"
PALE: Final = "#f2f1ec"


class PageNumber(NamedTuple):
    """The number of the page on which a target stands, flush right at ``x``."""

    x: float
    y: float
    target: str
    size: float
    bold: bool = False


class Line(NamedTuple):
    """A straight line."""

    x0: float
    y0: float
    x1: float
    y1: float
    width: float = 0.6
    colour: str = FAINT


class Box(NamedTuple):
    """A filled box without an outline."""

    x: float
    y: float
    width: float
    height: float
    colour: str = PALE


class Picture(NamedTuple):
    """A chart with its lower left corner."""

    x: float
    y: float
    drawing: Drawing


class Link(NamedTuple):
    """A box that leads to a target when it is clicked."""

    x0: float
    y0: float
    x1: float
    y1: float
    target: str


class Target(NamedTuple):
    """A place that links lead to, with its line in the outline; ``level`` 0 is the outermost."""

    name: str
    title: str
    level: int
    y: float


__all__ = ["ACCENT", "FAINT", "GREY", "INK", "PALE", "Box", "Line", "Link", "Mark", "PageNumber", "Picture", "Target",
           "Words"]

Mark = Words | PageNumber | Line | Box | Picture | Link | Target
