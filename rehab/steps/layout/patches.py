"""Where damage lies, which repair it calls for, and the rectangles of partial-depth patches."""

from __future__ import annotations

from collections.abc import Hashable
from typing import Any, Final

import numpy as np

from rehab.steps.layout.rules import RANK, Box, Rules

_AT_JOINT: Final = frozenset({"joint spall", "corner spall", "corner break"})


def place(defect: dict[Hashable, Any], x0: float, x1: float, y0: float, y1: float) -> Box:
    """The damage in block feet.

    Without a position it lies in the middle of its panel, at the first joint if it is a spall of a joint or corner;
    without a size it reaches to the end of its panel, without either it covers the panel.
    """
    x, y, length, width, depth = (float(defect[name]) for name in ("x_ft", "y_ft", "length_ft", "width_ft", "depth_in"))
    at_joint = str(defect["defect"]) in _AT_JOINT
    start, end = _stretch(x, length, x0, x1, at_joint)
    left, right = _stretch(y, width, y0, y1, False)
    return Box(start, end, left, right, depth)


def _stretch(at: float, size: float, low: float, high: float, at_low: bool) -> tuple[float, float]:
    """From where to where damage reaches between two joints; ``at`` (from the lower joint) and ``size`` may be NaN."""
    if np.isnan(at) and np.isnan(size):
        return low, high
    if np.isnan(at):
        size = min(size, high - low)
        start = low if at_low else (low + high - size) / 2
        return start, start + size
    start = min(low + at, high)
    return start, high if np.isnan(size) else min(start + size, high)


def kind_of(defect: str, severity: str, depth_in: float, rules: Rules) -> str | None:
    """The repair a defect calls for, by its least severities and by its depth; None for none."""
    rank = RANK[severity]
    for kind, least in (("full depth", rules.full_from), ("partial depth", rules.partial_from)):
        if rank >= least.get(defect, len(RANK)):
            return "full depth" if depth_in + rules.into_sound_in > rules.deepest_in else kind
    return None


def cut_round(box: Box, x0: float, x1: float, y0: float, y1: float, rules: Rules) -> Box:
    """The saw cut round shallow damage, within its panel."""
    start, end = _side(box.x0, box.x1, x0, x1, rules)
    left, right = _side(box.y0, box.y1, y0, y1, rules)
    deepest = rules.least_depth_in if np.isnan(box.depth_in) else box.depth_in + rules.into_sound_in
    return Box(start, end, left, right, max(deepest, rules.least_depth_in))


def _side(a: float, b: float, low: float, high: float, rules: Rules) -> tuple[float, float]:
    a, b = max(a - rules.partial_beyond_ft, low), min(b + rules.partial_beyond_ft, high)
    short = min(rules.partial_side_ft, high - low) - (b - a)
    if short > 0:
        a = min(max(a - short / 2, low), high - (b - a) - short)
        b = a + min(rules.partial_side_ft, high - low)
    # A strip narrower than the limit beside the patch would break off: it is patched as well.
    return (low if a - low < rules.partial_strip_ft else a), (high if high - b < rules.partial_strip_ft else b)


def near_joined(patches: list[Box], rules: Rules) -> list[Box]:
    """Join the patches of one panel that lie nearer than the gap."""
    joined: list[Box] = []
    for patch in sorted(patches):
        box = patch
        while True:
            near = next((other for other in joined if _near(box, other, rules.partial_gap_ft)), None)
            if near is None:
                break
            joined.remove(near)
            box = Box(min(box.x0, near.x0), max(box.x1, near.x1), min(box.y0, near.y0), max(box.y1, near.y1),
                      max(box.depth_in, near.depth_in))
        joined.append(box)
    return sorted(joined)


def _near(a: Box, b: Box, gap: float) -> bool:
    across = max(a.x0, b.x0) - min(a.x1, b.x1)
    along = max(a.y0, b.y0) - min(a.y1, b.y1)
    return across < gap and along < gap
