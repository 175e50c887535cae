"""What a drawing is made of: lines, rectangles, circles and words on bands of a page, in points, y downward.

One description serves the SVG and the PDF.  A point is 1/72 in.  A band is a part of the drawing that no page
break may cut; its marks count from its own top and from the left edge of the paper.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal, NamedTuple, TypeAlias

POINTS_PER_IN: Final = 72.0

Point: TypeAlias = tuple[float, float]


class Pen(NamedTuple):
    """How a line is drawn: colour, width and dashes in points."""

    colour: str
    width: float
    dash: tuple[float, ...] = ()
    cap: Literal["butt", "round"] = "butt"


class Rect(NamedTuple):
    """An upright rectangle by its upper left corner."""

    x: float
    y: float
    width: float
    height: float
    pen: Pen | None = None
    fill: str | None = None
    radius: float = 0.0


class Circle(NamedTuple):
    """A circle by its middle."""

    x: float
    y: float
    radius: float
    pen: Pen | None = None
    fill: str | None = None


class Path(NamedTuple):
    """Polylines drawn as one; a part of two equal points under a round pen is a dot."""

    parts: tuple[tuple[Point, ...], ...]
    pen: Pen | None = None
    fill: str | None = None
    closed: bool = False


class Words(NamedTuple):
    """One line of text on its base line; ``turn`` is in degrees against the clock: at 90 the text runs upward."""

    x: float
    y: float
    text: str
    size: float
    bold: bool = False
    colour: str = "#1d2429"
    anchor: Literal["start", "middle", "end"] = "start"
    turn: float = 0.0


class Group(NamedTuple):
    """Marks that belong together: a kind of thing, its words for a reader, and its number."""

    kind: str
    about: str
    marks: tuple[Mark, ...]
    number: int | None = None


Mark: TypeAlias = Rect | Circle | Path | Words | Group


class Band(NamedTuple):
    """A part of the drawing as high as ``height`` points that stays on one page."""

    kind: str
    height: float
    marks: tuple[Mark, ...]


class Paper(NamedTuple):
    """A sheet of paper, lying or standing, in inches."""

    width_in: float
    height_in: float


LETTER: Final = Paper(11.0, 8.5)
A4: Final = Paper(297 / 25.4, 210 / 25.4)  #: ISO 216: 210 by 297 mm
TABLOID: Final = Paper(17.0, 11.0)
MARGIN: Final = 36.0  #: points of white on every side


class Box(NamedTuple):
    """A rectangle by its sides, in points or in feet."""

    x0: float
    y0: float
    x1: float
    y1: float

    @property
    def width(self) -> float:
        """Size along x."""
        return self.x1 - self.x0

    @property
    def height(self) -> float:
        """Size along y."""
        return self.y1 - self.y0

    @property
    def middle(self) -> Point:
        """The point in the middle."""
        return (self.x0 + self.x1) / 2, (self.y0 + self.y1) / 2

    def grown(self, by: float) -> Box:
        """The rectangle with a rim, or without one if ``by`` is below zero."""
        return Box(self.x0 - by, self.y0 - by, self.x1 + by, self.y1 + by)

    def meets(self, other: Box) -> bool:
        """Whether the two share more than an edge."""
        return self.x0 < other.x1 and other.x0 < self.x1 and self.y0 < other.y1 and other.y0 < self.y1

    def inside(self, other: Box) -> bool:
        """Whether it lies wholly in the other."""
        return self.x0 >= other.x0 and self.x1 <= other.x1 and self.y0 >= other.y0 and self.y1 <= other.y1


@dataclass(frozen=True)
class Drawing:
    """A scaled plan: its bands from the top down, the paper it is made for and its scale in feet to an inch.

    ``margin`` is the white above and below the bands, in points; a small drawing to be put on a page has none.
    """

    title: str
    about: str
    paper: Paper
    feet_per_inch: float
    bands: tuple[Band, ...]
    margin: float = MARGIN

    @property
    def width(self) -> float:
        """Width in points."""
        return self.paper.width_in * POINTS_PER_IN

    @property
    def height(self) -> float:
        """Height in points of the whole drawing on one long sheet."""
        return 2 * self.margin + sum(band.height for band in self.bands)
