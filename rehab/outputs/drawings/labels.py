"""Numbers of repairs on a strip: inside a repair where there is room, else beside it with a leader."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import cos, pi, sin
from typing import Final, NamedTuple

from rehab.outputs.drawings.lettering import width
from rehab.outputs.drawings.look import INK, LEADER, WHITE
from rehab.outputs.drawings.marks import Box, Group, Mark, Path, Rect, Words
from rehab.outputs.drawings.repairs import Repair, half_bar, size
from rehab.outputs.drawings.scale import View

_SIZE: Final = 6.5
_SMALL: Final = 5.2
_HEIGHT: Final = 8.0
_RIM: Final = 7.0  #: hatch left to be seen beside a number
LANE: Final = 10.0  #: height in points of a row of numbers above the pavement


class Placed(NamedTuple):
    """The marks of all numbers of a strip, and how many rows of them stand above the pavement."""

    marks: tuple[Mark, ...]
    lanes: int


class _Tag(NamedTuple):
    repair: Repair
    box: Box
    text: str
    width: float


def place(shown: Sequence[tuple[Repair, Box]], taken: Sequence[Box], view: View) -> Placed:
    """Number every repair of a strip; ``shown`` holds its rectangles and ``taken`` those of defects, in points.

    A number beside its repair covers no repair and no other number, and no defect if that can be helped; one that
    finds no such place within an inch stands in a row above the pavement.
    """
    marks: list[Mark] = []
    outside: list[_Tag] = []
    busy = [box.grown(half_bar(view) if repair["dowels"] > 0 else 0.5) for repair, box in shown]
    for repair, box in shown:
        text = str(repair["repair_id"])
        tag = _Tag(repair, box, text, width(text, _SIZE, True) + 3.0)
        # A number may not hide the hatch of a small repair, nor the casting in a box-out.
        if repair["kind"] != "casting box-out" and tag.width + _RIM <= box.width and box.height >= _HEIGHT + _RIM:
            marks.append(_inside(tag, taken))
        else:
            outside.append(tag)
    waiting: list[_Tag] = []
    for tag in sorted(outside, key=lambda one: (one.box.x0, one.box.y0)):
        spot = next((spot for spot in _round(tag) if spot.inside(view.pavement) and _free(spot, busy)
                     and _free(spot, taken)), None)
        spot = spot or next((spot for spot in _round(tag) if spot.inside(view.pavement) and _free(spot, busy)), None)
        if spot is None:
            waiting.append(tag)
        else:
            busy.append(spot)
            marks.append(_beside(tag, spot))
    above, lanes = _above(waiting, view)
    return Placed((*marks, *above), lanes)


def _free(spot: Box, busy: Sequence[Box]) -> bool:
    return not any(spot.meets(other) for other in busy)


def _inside(tag: _Tag, taken: Sequence[Box]) -> Group:
    """A number in its repair, with the size below it if both fit, clear of the symbols there if that can be."""
    words = size(tag.repair)
    wide, high = max(width(words, _SMALL) + 2.0, tag.width), _HEIGHT + _SMALL + 1.6
    sized = wide <= tag.box.width - 2 and high <= tag.box.height - 4
    spot = _clear(tag.box, wide, high, taken) if sized else None
    if spot is None:
        spot = _clear(tag.box, tag.width, _HEIGHT, taken)
        sized = sized and spot is None
    if spot is None:
        x, y = tag.box.middle
        spot = Box(x - tag.width / 2, y - _HEIGHT, x + tag.width / 2, y) if sized else Box(
            x - tag.width / 2, y - _HEIGHT / 2, x + tag.width / 2, y + _HEIGHT / 2)
    x = spot.middle[0]
    upper = Box(x - tag.width / 2, spot.y0, x + tag.width / 2, spot.y0 + _HEIGHT)
    if not sized:
        return _number(tag, upper, ())
    wide = width(words, _SMALL) + 2.0
    plate = Rect(x - wide / 2, upper.y1, wide, _SMALL + 1.6, None, WHITE)
    return _number(tag, upper, (plate, Words(x, upper.y1 + _SMALL, words, _SMALL, anchor="middle")))


def _clear(box: Box, wide: float, high: float, taken: Sequence[Box]) -> Box | None:
    """A place of a size in a box that meets nothing taken, the middle first."""
    (x, y) = box.middle
    across, down = max((box.width - wide) / 2 - 3, 0.0), max((box.height - high) / 2 - 2, 0.0)
    for dx, dy in ((0, 0), (-0.5, 0), (0.5, 0), (0, -0.5), (0, 0.5), (-1, 0), (1, 0), (0, -1), (0, 1), (-0.5, -0.5),
                   (0.5, -0.5), (-0.5, 0.5), (0.5, 0.5), (-1, -1), (1, -1), (-1, 1), (1, 1)):
        at_x, at_y = x + dx * across, y + dy * down
        spot = Box(at_x - wide / 2, at_y - high / 2, at_x + wide / 2, at_y + high / 2)
        if _free(spot, taken):
            return spot
    return None


def _number(tag: _Tag, box: Box, more: tuple[Mark, ...]) -> Group:
    plate = Rect(box.x0, box.y0, box.width, box.height, None, WHITE, 1.5)
    words = Words(box.middle[0], box.y1 - 1.8, tag.text, _SIZE, bold=True, colour=INK, anchor="middle")
    return Group("number", f"Repair {tag.text}", (*more[:1], plate, words, *more[1:]), int(tag.repair["repair_id"]))


def _round(tag: _Tag) -> Iterator[Box]:
    """Places round a repair, near ones first."""
    x, y = tag.box.middle
    for away in (3.0, 7.0, 12.0, 18.0, 26.0, 36.0, 50.0):
        for turn in range(12):
            dx, dy = cos(turn * pi / 6), sin(turn * pi / 6)
            at_x = x + dx * (tag.box.width / 2 + tag.width / 2 + away)
            at_y = y + dy * (tag.box.height / 2 + _HEIGHT / 2 + away)
            yield Box(at_x - tag.width / 2, at_y - _HEIGHT / 2, at_x + tag.width / 2, at_y + _HEIGHT / 2)


def _beside(tag: _Tag, spot: Box) -> Group:
    number = _number(tag, spot, ())
    return number._replace(marks=(_leader(tag.box, spot), *number.marks))


def _leader(box: Box, spot: Box) -> Path:
    """A line from the nearest points of the two."""
    x = min(max(spot.middle[0], box.x0), box.x1)
    y = min(max(spot.middle[1], box.y0), box.y1)
    return Path((((x, y), (min(max(x, spot.x0), spot.x1), min(max(y, spot.y0), spot.y1))),), LEADER)


def _above(waiting: Sequence[_Tag], view: View) -> tuple[list[Mark], int]:
    """Rows of numbers above the pavement, spread so that none covers another and no two leaders cross in a row."""
    if not waiting:
        return [], 0
    marks: list[Mark] = []
    ordered = sorted(waiting, key=lambda one: one.box.middle)
    lanes = 1
    while any(sum(one.width + 2 for one in ordered[lane::lanes]) > view.pavement.width for lane in range(lanes)):
        lanes += 1
    rows = [ordered[lane::lanes] for lane in range(lanes)]
    for lane, row in reversed(list(enumerate(rows))):  # a near row covers the leaders of a far one
        base = -14.0 - LANE * lane
        for tag, x in zip(row, _spread(row, view.pavement), strict=True):
            spot = Box(x - tag.width / 2, view.top + base - _HEIGHT, x + tag.width / 2, view.top + base)
            marks.append(_beside(tag, spot))
    return marks, lanes


def _spread(row: Sequence[_Tag], pavement: Box) -> list[float]:
    """Middles as near as may be to their repairs, none nearer to the next than both need."""
    places = [tag.box.middle[0] for tag in row]
    at = pavement.x0
    for index, tag in enumerate(row):
        places[index] = max(places[index], at + tag.width / 2)
        at = places[index] + tag.width / 2 + 2
    at = pavement.x1
    for index in range(len(row) - 1, -1, -1):
        places[index] = min(places[index], at - row[index].width / 2)
        at = places[index] - row[index].width / 2 - 2
    return places
