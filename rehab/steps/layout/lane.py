"""One column of panels: its joints, where no cut may lie, and its patches."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable
from itertools import pairwise
from typing import Final, NamedTuple

Span = tuple[float, float]
EPS: Final = 1e-6  #: feet that are none: positions are rounded to as much


class Spans:
    """Intervals along a column, each with a figure of its own, found fast by where they lie."""

    def __init__(self, spans: Iterable[tuple[float, float, float]]) -> None:
        self.all = sorted(spans)
        self._lows = [span[0] for span in self.all]
        self._widest = max((span[1] - span[0] for span in self.all), default=0.0)
        self._edges, self._sums = _running(self.all)

    def over(self, low: float, high: float) -> list[tuple[float, float, float]]:
        """Intervals that overlap the one from low to high."""
        first, last = bisect_left(self._lows, low - self._widest), bisect_left(self._lows, high)
        return [span for span in self.all[first:last] if span[1] > low]

    def up_to(self, x: float) -> float:
        """Figure times length of all intervals before x, and of the parts before x of those that hold it."""
        at = bisect_right(self._edges, x)
        if at == 0:
            return 0.0
        if at == len(self._edges):
            return self._sums[-1]
        low, high = self._edges[at - 1:at + 1]
        return self._sums[at - 1] + (self._sums[at] - self._sums[at - 1]) * (x - low) / (high - low)


def _running(spans: list[tuple[float, float, float]]) -> tuple[list[float], list[float]]:
    """The edges of the intervals, and figure times length of all up to each edge."""
    edges = sorted({edge for low, high, _ in spans for edge in (low, high)})
    slopes = dict.fromkeys(edges, 0.0)
    for low, high, figure in spans:
        slopes[low] += figure
        slopes[high] -= figure
    sums, slope = [0.0], 0.0
    for low, high in pairwise(edges):
        slope += slopes[low]
        sums.append(sums[-1] + slope * (high - low))
    return edges, sums


class Lane(NamedTuple):
    """One column of panels, feet from the start of the block.

    ``joints`` holds every joint including both ends of the block; ``no_end`` and ``no_begin`` are open intervals in
    which no repair may end or begin; ``patches`` are shallow damage with what patching it costs per foot along the
    column: a full-depth repair over it saves that.
    """

    joints: list[float]
    dowelled: bool
    no_end: Spans
    no_begin: Spans
    patches: Spans


def lane_of(joints: list[float], dowelled: bool, no_end: Iterable[Span] = (), no_begin: Iterable[Span] = (),
            patches: Iterable[tuple[float, float, float]] = ()) -> Lane:
    """A column from plain lists."""
    return Lane(joints, dowelled, Spans((a, b, 0.0) for a, b in no_end), Spans((a, b, 0.0) for a, b in no_begin),
                Spans(patches))


def inner_joints(start: float, end: float, joints: list[float], past_ft: float, longest_ft: float) -> int:
    """Transverse joints to be remade inside a repair.

    Those of the street that it covers, in line with the next column, but for one that its end takes out (no more than
    ``past_ft`` inside); and more of them where a panel would be longer than it may be.
    """
    first, last = bisect_right(joints, start + past_ft + EPS), bisect_left(joints, end - past_ft - EPS)
    kept = [start, *joints[first:last], end]
    return len(kept) - 2 + sum(max(0, -int(-(b - a - EPS) // longest_ft) - 1) for a, b in pairwise(kept))


def at_joint(x: float, joints: list[float]) -> bool:
    """Whether a position is that of a joint."""
    at = bisect_left(joints, x - EPS)
    return at < len(joints) and joints[at] <= x + EPS
