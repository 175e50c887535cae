"""Defects as surveyed: one symbol per family, heavier with severity, drawn where the damage was measured."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from math import cos, hypot, pi, sin
from typing import Final

from rehab.outputs.drawings.look import GREY, INK, WHITE
from rehab.outputs.drawings.marks import Box, Circle, Mark, Path, Pen, Point, Rect

#: what a family is called in the legend, and the defects in it
FAMILIES: Final[dict[str, tuple[str, tuple[str, ...]]]] = {
    "crack": ("Crack", ("linear crack", "transverse crack", "longitudinal crack", "shrinkage crack")),
    "corner": ("Corner break", ("corner break",)),
    "broken": ("Broken or buckled panel", ("broken panel", "blow-up", "punchout")),
    "spall": ("Spall", ("joint spall", "corner spall")),
    "hollow": ("Hollow area, sounded", ("hollow area",)),
    "settled": ("Settled panel", ("sunken panel",)),
    "step": ("Step or gap at a joint", ("faulting", "lane drop-off", "lane separation")),
    "patch": ("Old patch or utility cut", ("patch", "small patch", "utility cut")),
    "surface": ("Surface or material distress", ("durability cracking", "map cracking", "polished aggregate", "popouts",
                                                 "scaling")),
    "seal": ("Joint seal damage", ("joint seal damage",)),
    "pumping": ("Pumping", ("pumping",)),
    "casting": ("Casting", ("casting",)),
    "crossing": ("Railroad crossing", ("railroad crossing",)),
}
FAMILY: Final = {defect: family for family, (_, members) in FAMILIES.items() for defect in members}

WEIGHT: Final = {"low": 0.6, "medium": 0.9, "high": 1.4}
_JAG: Final = (0.0, 0.9, -0.5, 0.7, -1.0, 0.3, 1.0, -0.8)
_LEAST: Final = 4.0  #: a symbol is at least so many points long


def symbol(defect: str, severity: str, box: Box, panel: Box, pavement: Box) -> tuple[Mark, ...]:
    """The marks of one defect, in points of the band: ``box`` is the damage, within its panel, within the pavement.

    :class:`KeyError` for a defect that the table does not know.
    """
    pen = Pen(INK, WEIGHT.get(severity, 0.8))
    family = FAMILY[defect]
    if family == "crack":
        return _crack(defect, box, pen)
    if family in {"step", "seal", "pumping"}:
        return _ALONG[family](_side(defect, box, pavement), pen)
    if family == "corner":
        return _corner(box, panel, pen)
    return _FILLING[family](_at_least(box), pen)


def reach(marks: tuple[Mark, ...]) -> Box:
    """The rectangle round the lines and outlines of a symbol."""
    points = [point for mark in marks if isinstance(mark, Path) for part in mark.parts for point in part]
    for mark in marks:
        if isinstance(mark, Rect):
            points += [(mark.x, mark.y), (mark.x + mark.width, mark.y + mark.height)]
        elif isinstance(mark, Circle):
            points += [(mark.x - mark.radius, mark.y - mark.radius), (mark.x + mark.radius, mark.y + mark.radius)]
    xs, ys = zip(*points, strict=True)
    return Box(min(xs), min(ys), max(xs), max(ys))


def _at_least(box: Box) -> Box:
    (x, y), half = box.middle, _LEAST / 2
    return Box(min(box.x0, x - half), min(box.y0, y - half), max(box.x1, x + half), max(box.y1, y + half))


def _zigzag(start: Point, end: Point, wave: float = 1.3) -> tuple[Point, ...]:
    """A jagged line from start to end: the same line every time."""
    length = hypot(end[0] - start[0], end[1] - start[1])
    count = max(2, round(length / 5))
    along = ((end[0] - start[0]) / length, (end[1] - start[1]) / length)
    offs = [0.0, *(wave * _JAG[step % len(_JAG)] for step in range(1, count)), 0.0]
    return tuple((start[0] + along[0] * length * step / count - along[1] * off,
                  start[1] + along[1] * length * step / count + along[0] * off) for step, off in enumerate(offs))


def _over_hatch(parts: tuple[tuple[Point, ...], ...], pen: Pen) -> tuple[Mark, ...]:
    """Lines with a white rim, so that they stand out from a hatch below."""
    return Path(parts, Pen(WHITE, pen.width + 1.6, (), "round")), Path(parts, pen)


def _crack(defect: str, box: Box, pen: Pen) -> tuple[Mark, ...]:
    box = _at_least(box) if max(box.width, box.height) < _LEAST else box
    x, y = box.middle
    ends = {"transverse crack": ((x, box.y0), (x, box.y1)), "longitudinal crack": ((box.x0, y), (box.x1, y))}
    start, end = ends.get(defect, ((box.x0, box.y0), (box.x1, box.y1)))
    if hypot(end[0] - start[0], end[1] - start[1]) < 1e-6:  # said to run across the side that has no size
        start, end = (box.x0, box.y0), (box.x1, box.y1)
    return _over_hatch((_zigzag(start, end),), pen)


def _corner(box: Box, panel: Box, pen: Pen) -> tuple[Mark, ...]:
    box = _at_least(box)
    (x, y), (px, py) = box.middle, panel.middle
    near_x, far_x = (box.x0, box.x1) if x <= px else (box.x1, box.x0)
    near_y, far_y = (box.y0, box.y1) if y <= py else (box.y1, box.y0)
    shape = Path((((near_x, near_y), (far_x, near_y), (near_x, far_y)),), None, WHITE, closed=True)
    return (shape, *_over_hatch((_zigzag((far_x, near_y), (near_x, far_y), 0.9),), pen),
            Path((((far_x, near_y), (near_x, near_y), (near_x, far_y)),), pen))


def _broken(box: Box, pen: Pen) -> tuple[Mark, ...]:
    x, y = box.middle
    ends = ((box.x0, box.y0), (box.x1, box.y0), (box.x1, box.y1), (box.x0, box.y1), (x, box.y0), (x, box.y1))
    return _over_hatch(tuple(_zigzag((x, y), end) for end in ends), pen)


def _spall(box: Box, pen: Pen) -> tuple[Mark, ...]:
    """A ragged outline within the damage."""
    bite = min(1.4, box.width / 4, box.height / 4)
    corners = ((box.x0, box.y0), (box.x1, box.y0), (box.x1, box.y1), (box.x0, box.y1))
    middle = box.middle
    ring: list[Point] = []
    for start, end in zip(corners, corners[1:] + corners[:1], strict=True):
        count = max(2, round(hypot(end[0] - start[0], end[1] - start[1]) / 3.5))
        for step in range(count):
            point = (start[0] + (end[0] - start[0]) * step / count, start[1] + (end[1] - start[1]) * step / count)
            away = hypot(middle[0] - point[0], middle[1] - point[1])
            pull = bite / away if step % 2 == 0 else 0.0
            ring.append((point[0] + (middle[0] - point[0]) * pull, point[1] + (middle[1] - point[1]) * pull))
    return (Path((tuple(ring),), Pen(INK, pen.width * 0.8), None, closed=True),)


def _hollow(box: Box, pen: Pen) -> tuple[Mark, ...]:
    radius = min(box.width, box.height) / 2.5
    return (Rect(box.x0, box.y0, box.width, box.height, Pen(INK, pen.width, (2.4, 1.4)), None, radius),)


def _settled(box: Box, pen: Pen) -> tuple[Mark, ...]:
    inset = min(2.5, box.width / 5, box.height / 5)
    x, y = box.x0 + 0.25 * box.width, box.y0 + 0.3 * box.height  # clear of a number in the middle
    half = max(min(box.width, box.height, 22) / 4, 1.5)
    dashes = Pen(INK, pen.width, (4, 2))
    dish = Rect(box.x0 + inset, box.y0 + inset, box.width - 2 * inset, box.height - 2 * inset, dashes)
    arrow = Path((((x - half, y - half * 0.8), (x + half, y - half * 0.8), (x, y + half)),), pen, WHITE, closed=True)
    return dish, arrow


def _patch(box: Box, pen: Pen) -> tuple[Mark, ...]:
    inset = min(1.8, box.width / 4, box.height / 4)
    thin = Pen(INK, pen.width * 0.7)
    return (Rect(box.x0, box.y0, box.width, box.height, thin),
            Rect(box.x0 + inset, box.y0 + inset, box.width - 2 * inset, box.height - 2 * inset, thin))


def _surface(box: Box, pen: Pen) -> tuple[Mark, ...]:
    step, arm = 8.0, 1.5
    across, down = max(1, int(box.width / step)), max(1, int(box.height / step))
    parts: list[tuple[Point, ...]] = []
    for i in range(across):
        for j in range(down):
            x = box.x0 + box.width * (i + 0.5) / across
            y = box.y0 + box.height * (j + 0.5) / down
            parts += [((x - arm, y), (x + arm, y)), ((x, y - arm), (x, y + arm))]
    return (Rect(box.x0, box.y0, box.width, box.height, Pen(GREY, 0.4, (1.5, 1.5))), Path(tuple(parts), pen))


def _casting(box: Box, pen: Pen) -> tuple[Mark, ...]:
    x, y = box.middle
    radius = max(min(box.width, box.height) / 2, 3.0)
    rim = tuple((x + radius * cos(turn * pi / 4), y + radius * sin(turn * pi / 4)) for turn in (1, 5, 3, 7))
    return Circle(x, y, radius, pen, WHITE), Path((rim[:2], rim[2:]), Pen(INK, 0.7))


def _crossing(box: Box, pen: Pen) -> tuple[Mark, ...]:
    third = box.width / 3
    rails = tuple(((x, box.y0), (x, box.y1)) for x in (box.x0 + third, box.x1 - third))
    count = max(2, int(box.height / 5))
    ties = tuple(((box.x0, y), (box.x1, y)) for y in (box.y0 + box.height * (i + 0.5) / count for i in range(count)))
    return Path(rails, Pen(INK, pen.width + 0.5)), Path(ties, Pen(INK, 0.6))


def _side(defect: str, box: Box, pavement: Box) -> tuple[Point, Point]:
    """The joint along which a defect of a joint lies: its own middle line if it is thin, else the side it belongs to.

    That is the first transverse joint of a panel; for a drop-off its side at the edge of the pavement, for a
    separation its side away from that edge.
    """
    if min(box.width, box.height) < 0.35 * max(box.width, box.height):
        x, y = box.middle
        return ((box.x0, y), (box.x1, y)) if box.width >= box.height else ((x, box.y0), (x, box.y1))
    box = _at_least(box)
    if defect not in {"lane drop-off", "lane separation"}:
        return (box.x0, box.y0), (box.x0, box.y1)
    outer, inner = ((box.y0, box.y1) if box.y0 - pavement.y0 <= pavement.y1 - box.y1 else (box.y1, box.y0))
    y = outer if defect == "lane drop-off" else inner
    return (box.x0, y), (box.x1, y)


def _points_on(side: tuple[Point, Point], step: float) -> list[tuple[Point, Point]]:
    """Points along a line about a step apart, each with the direction of the line."""
    (x0, y0), (x1, y1) = side
    length = max(hypot(x1 - x0, y1 - y0), 1e-6)
    count = max(1, int(length / step))
    way = ((x1 - x0) / length, (y1 - y0) / length)
    return [((x0 + (x1 - x0) * (i + 0.5) / count, y0 + (y1 - y0) * (i + 0.5) / count), way) for i in range(count)]


def _step(side: tuple[Point, Point], pen: Pen) -> tuple[Mark, ...]:
    teeth = tuple(((x - 1.4 * a, y - 1.4 * b), (x + 3.2 * b, y - 3.2 * a), (x + 1.4 * a, y + 1.4 * b))
                  for (x, y), (a, b) in _points_on(side, 7.0))
    return Path((side,), Pen(INK, pen.width + 0.6)), Path(teeth, Pen(INK, 0.4), INK, closed=True)


def _seal(side: tuple[Point, Point], pen: Pen) -> tuple[Mark, ...]:
    parts = [part for (x, y), _ in _points_on(side, 5.0)
             for part in (((x - 1.4, y - 1.4), (x + 1.4, y + 1.4)), ((x - 1.4, y + 1.4), (x + 1.4, y - 1.4)))]
    return (Path(tuple(parts), pen),)


def _pumping(side: tuple[Point, Point], pen: Pen) -> tuple[Mark, ...]:
    return tuple(Circle(x, y, 1.5, pen, WHITE) for (x, y), _ in _points_on(side, 6.0))


_FILLING: Final[dict[str, Callable[[Box, Pen], tuple[Mark, ...]]]] = {
    "broken": _broken, "spall": _spall, "hollow": _hollow, "settled": _settled, "patch": _patch, "surface": _surface,
    "casting": _casting, "crossing": _crossing,
}
_ALONG: Final[dict[str, Callable[[tuple[Point, Point], Pen], tuple[Mark, ...]]]] = {
    "step": _step, "seal": _seal, "pumping": _pumping,
}


def step_words(step_in: float) -> str:
    """A step or settlement as it is written beside its symbol."""
    return f"{step_in:.2f}".rstrip("0").rstrip(".") + " in"


def step_places(defect: str, marks: tuple[Mark, ...], wide: float, high: float) -> Iterator[Box]:
    """Where the step of a defect may be written: at the foot of a settled panel, else close beside the symbol."""
    box = reach(marks)
    (x, y), half = box.middle, high / 2
    if FAMILY[defect] == "settled":
        for at_y in (box.y1 - half - 2, box.y0 + half + 2):
            for at_x in (x, box.x1 - wide / 2 - 3, box.x0 + wide / 2 + 3):
                yield Box(at_x - wide / 2, at_y - half, at_x + wide / 2, at_y + half)
        return
    for at_y in (y, box.y1 - half - 1, box.y0 + half + 1):
        for at_x in (box.x1 + wide / 2 + 1.5, box.x0 - wide / 2 - 1.5):
            yield Box(at_x - wide / 2, at_y - half, at_x + wide / 2, at_y + half)
    for at_y in (box.y0 - half - 1.5, box.y1 + half + 1.5):
        yield Box(x - wide / 2, at_y - half, x + wide / 2, at_y + half)
