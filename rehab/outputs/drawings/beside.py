"""Names of streets on a sketch: along their lines, none over another."""

from __future__ import annotations

from bisect import bisect
from collections.abc import Iterable, Iterator, Sequence
from itertools import accumulate, pairwise
from math import atan2, cos, degrees, hypot, radians, sin
from typing import Final, NamedTuple

import numpy as np
import shapely

from rehab.outputs.drawings.lettering import fitted, width
from rehab.outputs.drawings.marks import Box, Group, Mark, Path, Point, Words

_SIZES: Final = (7.0, 6.0, 5.2)
_OWN: Final = 7.5
_LEAST: Final = 34.0  #: points: a name is not shortened to less
_BENT: Final = 2.5  #: points that a line may bend away under its name
_BLACK: Final = "#000000"
_DARK: Final = "#3c3c3c"


class Namer:
    """Finds places for words within ``frame``, among ``lines``; a place that is taken is not given again."""

    def __init__(self, frame: Box, lines: Sequence[Sequence[Point]]):
        self._frame = frame
        self._lines = np.array([shapely.linestrings(line) for line in lines], dtype=object)
        self._taken: list[shapely.Geometry] = []

    def keep_clear(self, box: Box) -> None:
        """Let no words stand there."""
        self._taken.append(shapely.box(*box))

    def near(self, text: str, point: Point, away: Point) -> list[Mark]:
        """A text beside a point, rather on the side that does not face the point ``away``."""
        wide, size = width(text, 6.5, True), 6.5
        out = atan2(point[1] - away[1], point[0] - away[0])
        for turn in (60, -60, 90, -90, 35, -35, 120, -120, 0, 150, -150, 180):
            a, b = cos(out + radians(turn)), sin(out + radians(turn))
            x, y = point[0] + a * (7.5 + wide / 2), point[1] + b * (7.5 + size / 2)
            if self._take(_plate((x, y), wide + 1, size, 0.0)):
                return [Words(x, y + size * 0.36, text, size, bold=True, colour=_BLACK, anchor="middle")]
        return []

    def beside(self, name: str, block: Sequence[Sequence[Point]], more: Sequence[Sequence[Point]]) -> list[Mark]:
        """The name of the block's own street beside its line, or on ``more`` of the street where that is too short."""
        way = max(map(_way, block), key=lambda way: way.run[-1])
        for size in (_OWN, _SIZES[1]):
            wide = width(name, size, True)
            for at in (0.5, 0.35, 0.65):
                for middle, turn, _ in _places(way, wide, at):
                    for side in (1, -1):
                        spot = _raised(middle, side * (size / 2 + 3.5), turn)
                        if self._take(_plate(spot, wide + 2, size, turn)):
                            return [_words(name, spot, size, turn, bold=True)]
        return self.along(name, [*more, way.points], bold=True)

    def along(self, name: str, lines: Sequence[Sequence[Point]], bold: bool = False) -> list[Mark]:
        """A name on one of the lines of its street, rather where it cuts no other line, shortened if it must be."""
        ways = sorted((way for way in map(_way, lines) if way.run[-1] > 0), key=lambda way: -way.run[-1])
        for clear in (True, False):
            for size in _SIZES:
                wide = width(name, size, bold)
                for middle, turn, bent in (spot for at in (0.5, 0.25, 0.75, 0.12, 0.88) for way in ways
                                           for spot in _places(way, wide, at)):
                    if bent <= _BENT and self._take(_plate(middle, wide + 3, size + 1, turn), clear):
                        return [_words(name, middle, size, turn, bold)]
        return self._short(name, ways[0], bold) if ways else []

    def _short(self, name: str, way: _Way, bold: bool) -> list[Mark]:
        """A name that no line has room for, shortened to one of them if enough is left of it."""
        size = _SIZES[1]
        for share in (0.9, 0.6, 0.4):
            text = fitted(name, way.run[-1] * share, size, bold)
            wide = width(text, size, bold)
            if wide < min(_LEAST, width(name, size, bold)):
                return []
            for at in (0.5, 0.25, 0.75):
                for middle, turn, _ in _places(way, wide, at):
                    for off in (0.0, size / 2 + 3.5, -size / 2 - 3.5):
                        spot = _raised(middle, off, turn)
                        if self._take(_plate(spot, wide + 3, size + 1, turn)):
                            return [_words(text, spot, size, turn, bold)]
        return []

    def _take(self, corners: Sequence[Point], clear: bool = False) -> bool:
        """Take a place if it is free and on the sketch, and, if it has to be ``clear``, on one line at most."""
        frame = self._frame
        if not all(frame.x0 < x < frame.x1 and frame.y0 < y < frame.y1 for x, y in corners):
            return False
        plate = shapely.Polygon(corners)
        if shapely.intersects(plate, self._taken).any():
            return False
        if clear and np.count_nonzero(shapely.intersects(plate, self._lines)) > 1:
            return False
        self._taken.append(plate)
        return True


def cut_out(named: Iterable[Mark]) -> Iterator[Mark]:
    """White below words that stand on a line."""
    plates = [_plate_of(mark) for mark in named if isinstance(mark, Words)]
    if plates:
        yield Group("plates", "Room for the names", (Path(tuple(plates), None, "#ffffff", closed=True),))


def _plate_of(mark: Words) -> tuple[Point, ...]:
    middle = _raised((mark.x, mark.y), mark.size * 0.36, mark.turn)
    return _plate(middle, width(mark.text, mark.size, mark.bold) + 3, mark.size, mark.turn)


def _words(text: str, middle: Point, size: float, turn: float, bold: bool = False) -> Words:
    """Words about their middle, which lies a third of their size above the base line."""
    return Words(*_raised(middle, -size * 0.36, turn), text, size, bold, _BLACK if bold else _DARK, "middle", turn)


def _raised(middle: Point, by: float, turn: float) -> Point:
    """A place so many points above another, as words turned so see it."""
    return middle[0] - by * sin(radians(turn)), middle[1] - by * cos(radians(turn))


def _plate(middle: Point, wide: float, high: float, turn: float) -> tuple[Point, ...]:
    """The corners of the turned rectangle of words; ``turn`` in degrees against the clock, y downward."""
    (x, y), a, b = middle, cos(radians(turn)) / 2, -sin(radians(turn)) / 2
    ax, ay, bx, by = a * wide, b * wide, -b * high, a * high  # half a side along the words, and half a side down
    return ((x - ax - bx, y - ay - by), (x + ax - bx, y + ay - by), (x + ax + bx, y + ay + by),
            (x - ax + bx, y - ay + by))


class _Way(NamedTuple):
    """A line and how far each of its points lies along it."""

    points: Sequence[Point]
    run: list[float]

    def at(self, run: float) -> Point:
        """The point so far along the line."""
        index = min(max(bisect(self.run, run), 1), len(self.run) - 1)
        (x0, y0), (x1, y1) = self.points[index - 1:index + 1]
        part = (run - self.run[index - 1]) / max(self.run[index] - self.run[index - 1], 1e-9)
        return x0 + (x1 - x0) * part, y0 + (y1 - y0) * part


def _way(line: Sequence[Point]) -> _Way:
    return _Way(line, list(accumulate((hypot(b[0] - a[0], b[1] - a[1]) for a, b in pairwise(line)), initial=0.0)))


def _places(way: _Way, wide: float, at: float) -> Iterator[tuple[Point, float, float]]:
    """The place for words about a part of the way along a line, if it is long enough: middle, turn and how far the
    line bends away from it."""
    whole = way.run[-1]
    if whole < wide + 4:
        return
    middle = min(max(whole * at, wide / 2 + 2), whole - wide / 2 - 2)
    (x0, y0), (x1, y1) = way.at(middle - wide / 2), way.at(middle + wide / 2)
    a, b = x1 - x0, y1 - y0
    length = hypot(a, b)
    if length < wide * 0.8:
        return
    inner = way.points[bisect(way.run, middle - wide / 2):bisect(way.run, middle + wide / 2)]
    bent = max((abs((x - x0) * b - (y - y0) * a) / length for x, y in inner), default=0.0)
    turn = degrees(atan2(-b, a))
    if turn > 90.5 or turn <= -89.5:  # not upside down, and upright words run upward
        turn += 180 if turn < 0 else -180
    yield ((x0 + x1) / 2, (y0 + y1) / 2), turn, bent
