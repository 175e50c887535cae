"""Repairs to scale: saw-cut rectangles with their hatch, dowels at both ends, joints made anew, tie bars."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, cast

import numpy as np
import pandas as pd

from rehab.outputs.drawings.look import BAR, BAR_FT, BAR_LEAST, CURB_CLEAR_FT, JOINT, REPAIR, WHITE, hatch
from rehab.outputs.drawings.marks import Box, Group, Mark, Path, Pen, Point, Rect
from rehab.outputs.drawings.scale import View, station
from rehab.outputs.words import known, number

Repair = Mapping[str, Any]


def records(table: pd.DataFrame) -> list[dict[str, Any]]:
    """The rows of a table, whose columns have names, as mappings."""
    return cast("list[dict[str, Any]]", table.to_dict("records"))


def feet(repair: Repair) -> Box:
    """The rectangle of a repair in feet from the start and the left edge of the block."""
    x, y = float(repair["x_ft"]), float(repair["y_ft"])
    return Box(x, y, x + float(repair["length_ft"]), y + float(repair["width_ft"]))


def ground(repair: Repair, view: View, joints: Sequence[float]) -> Group:
    """The fill and hatch of a repair as far as it lies on the strip, and the joints made anew in it."""
    block, look = feet(repair), REPAIR[str(repair["kind"])]
    box = view.box(*block)
    marks: list[Mark] = [Rect(*box[:2], box.width, box.height, None, look.fill), hatch(look.hatch, box, look.colour)]
    lines = tuple(((view.x(at), box.y0), (view.x(at), box.y1)) for at in _remade(repair, joints)
                  if view.start_ft <= at < view.end_ft)
    if lines:
        marks += [Path(lines, Pen(WHITE, 3.0)), Path(lines, Pen(JOINT.colour, 0.8))]
    return Group("ground", about(repair), tuple(marks), int(repair["repair_id"]))


def edges(repair: Repair, view: View, joints: Sequence[float]) -> Group:
    """The saw cut of a repair and its bars, as far as they lie on the strip.

    The rectangle is to scale; dowels and tie bars are as many as the repair has, spread evenly over its ends and
    along one side.  A side cut off by the end of the strip has neither edge nor bars.
    """
    block = feet(repair)
    box, pen = view.box(*block), Pen(REPAIR[str(repair["kind"])].colour, 1.1)
    if block.x0 < view.start_ft - 1e-9 or block.x1 > view.end_ft + 1e-9:
        marks: list[Mark] = [Path(tuple(_sides_shown(block, box, view)), pen)]
    else:
        marks = [Rect(*box[:2], box.width, box.height, pen)]
    marks += _bars(_baskets(repair, block, view, joints), "basket dowels")
    marks += _bars(_dowels(repair, block, view), "dowels")
    marks += _bars(_tie_bars(repair, block, view), "tie bars")
    return Group("repair", about(repair), tuple(marks), int(repair["repair_id"]))


def half_bar(view: View) -> float:
    """Half the length of a drawn dowel or tie bar, in points."""
    return max(BAR_FT * view.points_per_ft, BAR_LEAST) / 2


def about(repair: Repair) -> str:
    """A repair in words."""
    box = feet(repair)
    parts = [f"Repair {repair['repair_id']}: {repair['kind']}, station {station(box.x0)} to {station(box.x1)}",
             f"{size(repair)} ft, {number(repair['depth_in'], 2)} in deep"]
    parts += [f"{number(repair[name], 0)} {words}" for name, words in (("dowels", "dowels"), ("tie_bars", "tie bars"))
              if repair[name] > 0]
    if known(repair.get("cause")):
        parts.append(f"takes out defects {repair['cause']}")
    return "; ".join(parts)


def size(repair: Repair) -> str:
    """Length by width in feet."""
    return f"{number(repair['length_ft'], 2)} × {number(repair['width_ft'], 2)}"


def _sides_shown(block: Box, box: Box, view: View) -> Iterator[tuple[Point, ...]]:
    yield (box.x0, box.y0), (box.x1, box.y0)
    yield (box.x0, box.y1), (box.x1, box.y1)
    for at, x in ((block.x0, box.x0), (block.x1, box.x1)):
        if view.start_ft - 1e-9 <= at <= view.end_ft + 1e-9:
            yield (x, box.y0), (x, box.y1)


def _remade(repair: Repair, joints: Sequence[float]) -> list[float]:
    """Where the joints inside a repair are made anew: at old joints far from its ends, else evenly spread."""
    block, count = feet(repair), int(repair["inner_joints"])
    old = sorted((x for x in joints if block.x0 + 1e-6 < x < block.x1 - 1e-6),
                 key=lambda x: (-min(x - block.x0, block.x1 - x), x))
    if len(old) >= count:
        return sorted(old[:count])
    return [block.x0 + block.width * (joint + 1) / (count + 1) for joint in range(count)]


def _baskets(repair: Repair, block: Box, view: View, joints: Sequence[float]) -> list[tuple[Point, Point]]:
    """The dowels of the joints made anew, shared evenly among them."""
    remade = _remade(repair, joints)
    shares = np.array_split(np.arange(int(repair["basket_dowels"])), max(len(remade), 1))
    return [bar for at, share in zip(remade, shares, strict=False) if view.start_ft <= at < view.end_ft
            for bar in _across(view, at, block, len(share))]


def _dowels(repair: Repair, block: Box, view: View) -> list[tuple[Point, Point]]:
    """Half of the dowels at each end, an odd one at the first."""
    count = int(repair["dowels"])
    ends = ((block.x0, count - count // 2), (block.x1, count // 2))
    return [bar for at, many in ends if view.start_ft - 1e-9 <= at <= view.end_ft + 1e-9
            for bar in _across(view, at, block, many)]


def _across(view: View, at: float, block: Box, count: int) -> list[tuple[Point, Point]]:
    """Bars along the block across a cut, evenly over the width that is clear of a curb."""
    clear = min(CURB_CLEAR_FT, block.height / 4)
    low = block.y0 + (clear if block.y0 < 1e-6 else 0.0)
    high = block.y1 - (clear if block.y1 > view.width_ft - 1e-6 else 0.0)
    half, x = half_bar(view), view.x(at)
    places = (view.y(low + (high - low) * (bar + 0.5) / count) for bar in range(count))
    return [((x - half, y), (x + half, y)) for y in places]


def _tie_bars(repair: Repair, block: Box, view: View) -> list[tuple[Point, Point]]:
    """The tie bars, along the side that lies nearer to the middle of the block."""
    count, half = int(repair["tie_bars"]), half_bar(view)
    side = view.y(min((block.y0, block.y1), key=lambda y: (abs(y - view.width_ft / 2), y)))
    places = (block.x0 + block.width * (bar + 0.5) / max(count, 1) for bar in range(count))
    return [((view.x(at), side - half), (view.x(at), side + half)) for at in places
            if view.start_ft <= at < view.end_ft or (at == view.end_ft and view.is_last)]


def _bars(bars: Sequence[tuple[Point, Point]], kind: str) -> list[Mark]:
    """Bars as one path, named so that they can be counted."""
    if not bars:
        return []
    parts = tuple(bars)
    return [Group(kind, f"{len(parts)} {kind}", (Path(parts, BAR),))]
