"""Rectangles of partial-depth patches and of casting box-outs, panel by panel."""

from __future__ import annotations

import numpy as np

from rehab.steps.layout.rules import Box, Rules

_EPS = 1e-9


def cut_round(box: Box, panel: Box, rules: Rules) -> Box:
    """The saw cut round shallow damage, within its panel."""
    start, end = _side(box.x0, box.x1, panel.x0, panel.x1, rules)
    left, right = _side(box.y0, box.y1, panel.y0, panel.y1, rules)
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


def joined(patches: list[Box], panel: Box, rules: Rules) -> list[Box]:
    """The patches of one panel: near ones joined, and so many at one joint made one over the whole joint."""
    near = near_joined(patches, rules)
    for ends in ((0, True), (1, True), (2, False), (3, False)):
        side, across = ends
        at = [box for box in near if abs(box[side] - panel[side]) < _EPS]
        if len(at) >= rules.whole_joint_from:
            whole = _hull(at)
            whole = whole._replace(y0=panel.y0, y1=panel.y1) if across else whole._replace(x0=panel.x0, x1=panel.x1)
            near = near_joined([*(box for box in near if box not in at), whole], rules)
    return near


def near_joined(patches: list[Box], rules: Rules) -> list[Box]:
    """Join the patches of one panel that lie nearer than the gap: the smallest rectangles that obey it."""
    done: list[Box] = []
    for patch in sorted(patches):
        box = patch
        while True:
            near = next((other for other in done if _near(box, other, rules.partial_gap_ft)), None)
            if near is None:
                break
            done.remove(near)
            box = _hull([box, near])
        done.append(box)
    return sorted(done)


def box_outs(frames: list[Box], patches: list[Box], panel: Box, thickness_in: float,
             rules: Rules) -> tuple[list[Box], list[Box]]:
    """Box-outs of the castings of one panel, and the patches that they leave.

    A box-out is square-cornered, clear of the frame on every side, and goes to the joint where a narrow strip would
    stay; a patch that it touches, or comes nearer than the strip of a patch, becomes part of it.
    """
    boxes = [_to_joint(Box(frame.x0 - rules.box_clear_ft, frame.x1 + rules.box_clear_ft, frame.y0 - rules.box_clear_ft,
                           frame.y1 + rules.box_clear_ft, thickness_in), panel, rules) for frame in frames]
    left = list(patches)
    while True:
        pair = next(((a, b) for at, a in enumerate(boxes) for b in boxes[at + 1:] if _near(a, b, rules.box_strip_ft)),
                    None)
        if pair:
            boxes = [box for box in boxes if box not in pair] + [_to_joint(_hull(list(pair)), panel, rules)]
            continue
        touched = next(((a, b) for a in boxes for b in left if _near(a, b, rules.partial_strip_ft)), None)
        if touched is None:
            return sorted(boxes), left
        box, patch = touched
        left.remove(patch)
        boxes = [other for other in boxes if other != box] + [_to_joint(_hull([box, patch]), panel, rules)]


def _to_joint(box: Box, panel: Box, rules: Rules) -> Box:
    strip = rules.box_strip_ft
    return Box(panel.x0 if box.x0 - panel.x0 < strip else box.x0, panel.x1 if panel.x1 - box.x1 < strip else box.x1,
               panel.y0 if box.y0 - panel.y0 < strip else box.y0, panel.y1 if panel.y1 - box.y1 < strip else box.y1,
               box.depth_in)


def _hull(boxes: list[Box]) -> Box:
    return Box(min(box.x0 for box in boxes), max(box.x1 for box in boxes), min(box.y0 for box in boxes),
               max(box.y1 for box in boxes), max(box.depth_in for box in boxes))


def _near(a: Box, b: Box, gap: float) -> bool:
    across = max(a.x0, b.x0) - min(a.x1, b.x1)
    along = max(a.y0, b.y0) - min(a.y1, b.y1)
    return across < gap and along < gap
