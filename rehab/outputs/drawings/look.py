"""Pens, fills and hatches of a drawing; everything stays apart when printed in black and white."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final, NamedTuple

import numpy as np

from rehab.outputs import palette
from rehab.outputs.drawings.marks import Box, Path, Pen, Point

INK: Final = "#1d2429"
GREY: Final = "#5f676c"
WHITE: Final = "#ffffff"

_COLOURED: Final = 0.15  #: from the least to the most of red, green and blue, of 1

CURB: Final = Pen(INK, 0.9)
JOINT: Final = Pen(GREY, 0.5)
JOINT_BAR: Final = Pen(GREY, 0.45)
LONGITUDINAL: Final = Pen(GREY, 0.5, (7, 1.5, 1.5, 1.5))
MATCH: Final = Pen(INK, 0.8, (9, 2.5, 2.5, 2.5))
BAR: Final = Pen(INK, 0.7)
LEADER: Final = Pen(INK, 0.4)
AXIS: Final = Pen(GREY, 0.5)

BAR_FT: Final = 1.5  #: dowels and tie bars are drawn so long, with a least length in points
BAR_LEAST: Final = 4.0
CURB_CLEAR_FT: Final = 2.0  #: no bar is drawn so near to a curb


class RepairLook(NamedTuple):
    """Outline colour, light fill, hatch and words of one kind of repair."""

    colour: str
    fill: str
    hatch: str
    words: str


REPAIR: Final[dict[str, RepairLook]] = {
    "full depth": RepairLook(palette.STRATEGY["full_depth"].colour, "#faf1e2", "lines", "Full-depth repair"),
    "casting box-out": RepairLook("#2f7265", "#e6f1ee", "cross", "Casting box-out"),
    "partial depth": RepairLook(palette.STRATEGY["partial_depth"].colour, "#e8f1fa", "dots", "Partial-depth repair"),
}

def grey(colour: str, *, line: bool) -> float:
    """The grey, from 0 for black to 1 for white, that stands for a colour where nothing is printed in colour.

    Its luma (ITU-R BT.709-6, item 3.2); a coloured line is drawn darker, since a printer breaks up thin grey lines.
    """
    parts = [int(colour[at:at + 2], 16) / 255 for at in (1, 3, 5)]
    luma = 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]
    return luma / 4 if line and max(parts) - min(parts) > _COLOURED else luma


_SPACING: Final = {"lines": 4.2, "cross": 3.6, "dots": 2.8}


def hatch(kind: str, box: Box, colour: str) -> Path:
    """The hatch of a rectangle: 'lines' rise to the right, 'cross' is a diagonal net, 'dots' a grid of dots."""
    step = _SPACING[kind]
    if kind == "dots":
        across = _spread(box.x0, box.x1, step)
        return Path(tuple(((x, y), (x, y)) for x in across for y in _spread(box.y0, box.y1, step)),
                    Pen(colour, 0.95, (), "round"))
    parts = list(_diagonals(box, step))
    if kind == "cross":
        mirrored = _diagonals(box, step)
        parts += [tuple((x, box.y0 + box.y1 - y) for x, y in part) for part in mirrored]
    return Path(tuple(parts), Pen(colour, 0.5))


def _spread(low: float, high: float, step: float) -> list[float]:
    count = max(1, int((high - low) / step))
    inset = (high - low) / count / 2
    return [float(value) for value in np.linspace(low + inset, high - inset, count)]


def _diagonals(box: Box, step: float) -> Iterator[tuple[Point, ...]]:
    """Lines of 45 degrees, x + y = c, a step apart, cut to the box; at least one, from corner to corner or nearly."""
    low, high = box.x0 + box.y0, box.x1 + box.y1
    for total in _spread(low, high, step * 2 ** 0.5):
        x0, x1 = max(box.x0, total - box.y1), min(box.x1, total - box.y0)
        if x1 > x0:
            yield (x0, total - x0), (x1, total - x1)
