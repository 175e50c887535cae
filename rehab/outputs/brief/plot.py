"""Where a place and a value lie on the drawing."""

from __future__ import annotations

from typing import NamedTuple

from rehab.outputs.brief.axis import Axis


class Plot(NamedTuple):
    """The field in which values are drawn, in points; ``aside`` is true where bars lie on their side."""

    left: float
    bottom: float
    width: float
    height: float
    axis: Axis
    places: int
    aside: bool

    @property
    def filled(self) -> float:
        """Share of a place that its bars take; few places do not make bars as wide as the page."""
        slot = (self.height if self.aside else self.width) / self.places
        return min(0.74, (40.0 if self.aside else 96.0) / slot)

    def span(self, at: int, order: int, count: int) -> tuple[float, float]:
        """First and last end of a bar, in places: the ``order``-th of ``count`` at place ``at``."""
        wide = self.filled / count
        first = at + (1 - self.filled) / 2 + order * wide
        return first, first + wide * (0.94 if count > 1 else 1.0)

    def at(self, place: float, value: float) -> tuple[float, float]:
        """The point of a value at a place; the first place reaches from 0 to 1."""
        along = place / self.places
        share = (value - self.axis.low) / (self.axis.high - self.axis.low)
        if self.aside:
            return self.left + share * self.width, self.bottom + self.height * (1 - along)
        return self.left + along * self.width, self.bottom + share * self.height

    def box(self, first: float, last: float, low: float, high: float) -> tuple[float, float, float, float]:
        """Left, bottom, width and height of a bar from one place and value to another."""
        (x0, y0), (x1, y1) = self.at(first, low), self.at(last, high)
        return min(x0, x1), min(y0, y1), abs(x1 - x0), abs(y1 - y0)
