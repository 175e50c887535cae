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


def joined(spalls: list[Box], castings: list[Box], panel: Box, rules: Rules) -> list[Box]:
    """The patches of one panel from the cuts round its shallow damage.

    So many at one joint become one over the whole joint; near ones are joined; one that would cut through the frame of
    a casting, or leave a narrow strip beside it, takes the casting in.
    """
    patches = list(spalls)
    for side, across in ((0, True), (1, True), (2, False), (3, False)):
        at = [box for box in spalls if abs(box[side] - panel[side]) < _EPS]
        if len(at) >= rules.whole_joint_from:
            whole = _hull(at)
            whole = whole._replace(y0=panel.y0, y1=panel.y1) if across else whole._replace(x0=panel.x0, x1=panel.x1)
            patches = [*(box for box in patches if box not in at), whole]
    patches = near_joined(patches, rules)
    while True:
        touched = next(((box, frame) for box in patches for frame in castings
                        if _near(box, frame, rules.partial_strip_ft) and not _holds(box, frame)), None)
        if touched is None:
            return patches
        box, frame = touched
        taken = _hull([box, frame])._replace(depth_in=box.depth_in)
        wider = Box(*_side(taken.x0, taken.x1, panel.x0, panel.x1, rules),
                    *_side(taken.y0, taken.y1, panel.y0, panel.y1, rules), box.depth_in)
        patches = near_joined([*(other for other in patches if other != box), wider], rules)


def split_at(patches: list[Box], cracks: list[Box], kept_clear: list[Box], panel: Box, rules: Rules) -> list[Box]:
    """The patches, parted at cracks that stay: no patch bridges one (UFC 3-270-03 note 4), each part of least side.

    A patch stays whole where a part would come near another patch, a casting or a box-out (``kept_clear``).
    """
    parts = list(patches)
    for crack in sorted(cracks):
        middle = (crack.x0 + crack.x1) / 2
        for box in list(parts):
            over = box.x0 + _EPS < middle < box.x1 - _EPS and crack.y0 < box.y1 - _EPS and crack.y1 > box.y0 + _EPS
            if not over or min(middle - panel.x0, panel.x1 - middle) < rules.partial_side_ft:
                continue
            low, high = min(box.x0, middle - rules.partial_side_ft), max(box.x1, middle + rules.partial_side_ft)
            low = panel.x0 if low - panel.x0 < rules.partial_strip_ft else low
            high = panel.x1 if panel.x1 - high < rules.partial_strip_ft else high
            halves = [box._replace(x0=low, x1=middle), box._replace(x0=middle, x1=high)]
            rest = [other for other in parts if other != box]
            if not (any(_near(half, other, rules.partial_gap_ft) for half in halves for other in rest)
                    or any(_near(half, other, rules.partial_strip_ft) for half in halves for other in kept_clear)):
                parts = [*rest, *halves]
    return sorted(parts)


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


def box_outs(frames: list[Box], castings: list[Box], patches: list[Box], panel: Box, thickness_in: float,
             rules: Rules) -> tuple[list[Box], list[Box]]:
    """Box-outs of the castings of one panel, and the patches that they leave; ``castings`` are those that stay.

    A box-out is square-cornered, clear of the frame on every side, and goes to the joint where a narrow strip would
    stay; a patch or casting that it touches, or comes nearer than the strip, becomes part of it.
    """
    if not frames:
        return [], patches
    clear = rules.box_clear_ft

    def round_it(frame: Box) -> Box:
        return _within(Box(frame.x0 - clear, frame.x1 + clear, frame.y0 - clear, frame.y1 + clear, thickness_in), panel)

    boxes = [_to_joint(round_it(frame), panel, rules) for frame in frames]
    left, staying = list(patches), list(castings)
    while True:
        pair = next(((a, b) for at, a in enumerate(boxes) for b in boxes[at + 1:] if _near(a, b, rules.box_strip_ft)),
                    None)
        if pair:
            boxes = [box for box in boxes if box not in pair] + [_to_joint(_hull(list(pair)), panel, rules)]
            continue
        touched = next(((a, b) for a in boxes for b in staying if _near(a, b, rules.box_strip_ft)), None) or next(
            ((a, b) for a in boxes for b in left if _near(a, b, rules.partial_strip_ft)), None)
        if touched is None:
            return sorted(boxes), left
        box, other = touched
        (left if other in left else staying).remove(other)
        grown = _hull([box, other if other in patches else round_it(other)])._replace(depth_in=thickness_in)
        boxes = [kept for kept in boxes if kept != box] + [_to_joint(grown, panel, rules)]


def _within(box: Box, panel: Box) -> Box:
    return Box(max(box.x0, panel.x0), min(box.x1, panel.x1), max(box.y0, panel.y0), min(box.y1, panel.y1), box.depth_in)


def _holds(box: Box, other: Box) -> bool:
    return (box.x0 <= other.x0 + _EPS and box.x1 >= other.x1 - _EPS and box.y0 <= other.y0 + _EPS
            and box.y1 >= other.y1 - _EPS)


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
