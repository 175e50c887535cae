"""From feet of the block to points of the page: the scale, the strips, stations and north."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, cos, radians, sin
from typing import Final

from rehab.outputs.drawings.marks import MARGIN, POINTS_PER_IN, Box, Paper, Point

#: feet to an inch, as on an engineer's scale
SCALES: Final = (10.0, 20.0, 30.0, 40.0, 50.0, 60.0, 80.0, 100.0, 200.0)
_COARSEST_FOR_LENGTH: Final = 40.0  #: a longer block gets more strips, not a smaller scale
GUTTER: Final = 40.0  #: points beside a strip for streets, match lines and column numbers
AROUND_STRIP: Final = 63.0  #: points above and below the pavement of a strip
_FOOTER: Final = 14.0
_BESIDE_STRIPS: Final = 72.0  #: points of the first page for the title


def usable_height(paper: Paper) -> float:
    """Height of a page in points for bands."""
    return paper.height_in * POINTS_PER_IN - 2 * MARGIN - _FOOTER


def strip_feet(paper: Paper, feet_per_inch: float) -> float:
    """Feet of block that one strip can show."""
    return (paper.width_in * POINTS_PER_IN - 2 * MARGIN - 2 * GUTTER) / POINTS_PER_IN * feet_per_inch


def choose_scale(length_ft: float, width_ft: float, paper: Paper) -> float:
    """The largest scale at which the block takes at most two pages; feet to an inch.

    A block too long for that is drawn 1 in = 40 ft on as many pages as it needs, smaller only if a strip would be
    higher than a page.
    """
    page = usable_height(paper)
    for feet in SCALES:
        strip = width_ft / feet * POINTS_PER_IN + AROUND_STRIP
        if strip > page - _BESIDE_STRIPS:
            continue
        count = ceil(length_ft / strip_feet(paper, feet) - 1e-9)
        if feet >= _COARSEST_FOR_LENGTH or count <= (page - _BESIDE_STRIPS) // strip + page // strip:
            return feet
    return SCALES[-1]


def strips(joints: Sequence[float], longest_ft: float,
           keep: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """The block in strips of at most ``longest_ft``, of about equal length, broken at joints.

    A break through one of the stretches ``keep`` is avoided where another joint will do.
    """
    start, end = joints[0], joints[-1]
    found: list[tuple[float, float]] = []
    while end - start > longest_ft + 1e-9:
        wanted = start + (end - start) / ceil((end - start) / longest_ft - 1e-9)
        within = [x for x in joints if start + longest_ft / 3 < x <= start + longest_ft + 1e-9 and x < end - 1e-9]
        free = [x for x in within if not any(a + 1e-6 < x < b - 1e-6 for a, b in keep)]
        at = min(free or within, key=lambda x: (abs(x - wanted), x), default=start + longest_ft)
        found.append((start, at))
        start = at
    return [*found, (start, end)]


@dataclass(frozen=True)
class View:
    """One strip on its band: feet from the start and the left edge of the block to points of the band."""

    start_ft: float
    end_ft: float
    width_ft: float
    left: float
    top: float
    points_per_ft: float
    is_last: bool

    def x(self, feet: float) -> float:
        """Points from the left of the paper."""
        return self.left + (feet - self.start_ft) * self.points_per_ft

    def y(self, feet: float) -> float:
        """Points from the top of the band; the left edge of the block is drawn on top."""
        return self.top + feet * self.points_per_ft

    def box(self, x0: float, y0: float, x1: float, y1: float) -> Box:
        """A rectangle of the block on the band, cut off at the ends of the strip."""
        x0, x1 = max(x0, self.start_ft), min(x1, self.end_ft)
        return Box(self.x(x0), self.y(y0), self.x(x1), self.y(y1))

    def shows(self, x0: float, x1: float) -> bool:
        """Whether some of a stretch lies on this strip; a place without length belongs to one strip only."""
        if x1 - x0 < 1e-9:
            return self.start_ft <= x0 < self.end_ft or (x0 == self.end_ft and self.is_last)
        return x0 < self.end_ft - 1e-9 and x1 > self.start_ft + 1e-9

    @property
    def pavement(self) -> Box:
        """The concrete of the strip."""
        return self.box(self.start_ft, 0.0, self.end_ft, self.width_ft)


def station(feet: float) -> str:
    """Distance from the start in stations of 100 ft, to a tenth of a foot: 150 ft is '1+50', 7.5 ft is '0+07.5'."""
    tenths = round(feet * 10)
    hundreds, rest = divmod(tenths, 1000)
    return f"{hundreds}+{rest // 10:02d}" + (f".{rest % 10}" if rest % 10 else "")


def north(bearing_deg: float) -> Point:
    """Where north points on the page, for a block whose line bears so from start to end, drawn left to right.

    A unit vector, y downward.  ``bearing_deg`` is clockwise from north: a block that runs east has north at the top.
    """
    return cos(radians(bearing_deg)), -sin(radians(bearing_deg))
