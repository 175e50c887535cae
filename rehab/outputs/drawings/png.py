"""A drawing as an image of dots, for files that hold no vectors: the same marks, drawn large and made smaller.

Letters come from a TrueType font that the drawing library ships, squeezed to the width that the drawing was laid out
for.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache
from io import BytesIO
from itertools import pairwise
from math import ceil, cos, hypot, pi, radians, sin
from typing import Final

from PIL import Image, ImageDraw, ImageFont

from rehab.outputs.drawings.lettering import file_of, width
from rehab.outputs.drawings.marks import POINTS_PER_IN, Circle, Drawing, Group, Mark, Path, Pen, Point, Rect, Words

_FINE: Final = 3  #: dots drawn to a dot kept, on each side; fewer in a large drawing, to spare memory
_COARSE: Final = 2
_LARGE: Final = 8e6  #: dots kept
_BEFORE: Final = {"start": 0.0, "middle": 0.5, "end": 1.0}


def as_png(drawing: Drawing, *, scale: float = 2.0) -> bytes:
    """The whole drawing as a PNG of ``scale`` dots to a point, which the file says of itself.

    The same drawing gives the same bytes.  Raises :class:`ValueError` for a scale that is not above zero.
    """
    if not scale > 0:
        raise ValueError(f"a drawing cannot be made {scale} dots to a point; give a number above zero")
    size = (max(1, round(drawing.width * scale)), max(1, round(drawing.height * scale)))
    finer = _FINE if size[0] * size[1] <= _LARGE else _COARSE
    greys = all(_is_grey(band.marks) for band in drawing.bands)
    board = _Board((size[0] * finer, size[1] * finer), scale * finer, "L" if greys else "RGB")
    top = drawing.margin
    for band in drawing.bands:
        board.top = top
        board.draw(band.marks)
        top += band.height
    file = BytesIO()
    dots = POINTS_PER_IN * scale
    board.image.reduce(finer).save(file, "PNG", dpi=(dots, dots))
    return file.getvalue()


class _Board:
    """The large image; ``top`` is where the band begins, in points."""

    def __init__(self, size: tuple[int, int], scale: float, mode: str):
        self.image = Image.new(mode, size, "#ffffff")
        self.pencil = ImageDraw.Draw(self.image)
        self.scale = scale
        self.top = 0.0

    def draw(self, marks: Iterable[Mark]) -> None:
        """Draw marks in their order."""
        for mark in marks:
            if isinstance(mark, Group):
                self.draw(mark.marks)
            elif isinstance(mark, Words):
                self._write(mark)
            else:
                closed = mark.closed if isinstance(mark, Path) else True
                for part in _parts(mark):
                    self._part([self._at(*point) for point in part], mark.pen, mark.fill, closed)

    def _at(self, x: float, y: float) -> Point:
        return x * self.scale, (y + self.top) * self.scale

    def _part(self, points: list[Point], pen: Pen | None, fill: str | None, closed: bool) -> None:
        if fill and len(points) > 2:
            self.pencil.polygon(points, fill=fill)
        if pen is None:
            return
        wide = max(1, round(pen.width * self.scale))
        ring = [*points, points[0]] if closed else points
        for piece in _dashed(ring, [length * self.scale for length in pen.dash]) if pen.dash else [ring]:
            if len(piece) > 2 or piece[0] != piece[-1]:
                self.pencil.line(piece, fill=pen.colour, width=wide, joint="curve" if len(piece) > 2 else None)
            if pen.cap == "round" or (closed and not pen.dash):
                for x, y in (piece[0], piece[-1]):
                    self.pencil.circle((x, y), pen.width * self.scale / 2, fill=pen.colour)

    def _write(self, mark: Words) -> None:
        letters = _letters(mark.text, mark.bold, round(mark.size * self.scale))
        room = max(1, round(width(mark.text, mark.size, mark.bold) * self.scale))
        rise = letters.info["rise"]
        tile = letters.resize((room, letters.height), Image.Resampling.BILINEAR)
        away = room * (_BEFORE[mark.anchor] - 0.5), rise - tile.height / 2  # from the middle to the point
        if mark.turn:
            a, b = cos(radians(mark.turn)), sin(radians(mark.turn))
            tile = tile.rotate(mark.turn, Image.Resampling.BICUBIC, expand=True)
            away = away[0] * a + away[1] * b, away[1] * a - away[0] * b
        x, y = self._at(mark.x, mark.y)
        corner = round(x - away[0] - tile.width / 2), round(y - away[1] - tile.height / 2)
        self.image.paste(mark.colour, (*corner, corner[0] + tile.width, corner[1] + tile.height), tile)


@lru_cache(maxsize=64)
def _face(file: str, size: int) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(file, max(size, 1), layout_engine=ImageFont.Layout.BASIC)


@lru_cache(maxsize=512)
def _letters(text: str, bold: bool, size: int) -> Image.Image:
    """A line of text, white on black, as wide as its font makes it; ``rise`` is where its base line runs."""
    face = _face(file_of(text, bold), size)
    rise, fall = face.getmetrics()
    tile = Image.new("L", (max(1, ceil(face.getlength(text))), rise + fall), 0)
    ImageDraw.Draw(tile).text((0, rise), text, fill=255, font=face, anchor="ls")
    tile.info["rise"] = rise
    return tile


def _is_grey(marks: Iterable[Mark]) -> bool:
    """Whether marks hold no colour: an image of greys is made in a third of the time."""
    for mark in marks:
        if isinstance(mark, Group):
            if not _is_grey(mark.marks):
                return False
            continue
        colours = (mark.colour,) if isinstance(mark, Words) else (mark.fill, mark.pen.colour if mark.pen else None)
        if any(code and len({code[1:3], code[3:5], code[5:7]}) > 1 for code in colours):
            return False
    return True


def _parts(mark: Rect | Circle | Path) -> Iterator[Sequence[Point]]:
    """The outline of a mark as polylines."""
    if isinstance(mark, Path):
        yield from mark.parts
    elif isinstance(mark, Circle):
        steps = max(16, ceil(mark.radius * 6))
        yield [(mark.x + mark.radius * cos(2 * pi * step / steps), mark.y + mark.radius * sin(2 * pi * step / steps))
               for step in range(steps)]
    else:
        x0, y0, x1, y1 = mark.x, mark.y, mark.x + mark.width, mark.y + mark.height
        r = min(mark.radius, mark.width / 2, mark.height / 2)
        if r <= 0:
            yield [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
            return
        corners = ((x1 - r, y0 + r, -90), (x1 - r, y1 - r, 0), (x0 + r, y1 - r, 90), (x0 + r, y0 + r, 180))
        yield [(x + r * cos(radians(start + turn)), y + r * sin(radians(start + turn)))
               for x, y, start in corners for turn in (0, 30, 60, 90)]


def _dashed(points: Sequence[Point], lengths: Sequence[float]) -> Iterator[list[Point]]:
    """A polyline cut into dashes, on and off by turns."""
    turn, left, on = 0, lengths[0], True
    piece = [points[0]]
    for (x0, y0), (x1, y1) in pairwise(points):
        length = hypot(x1 - x0, y1 - y0)
        done = 0.0
        while length - done > left:
            done += left
            at = (x0 + (x1 - x0) * done / length, y0 + (y1 - y0) * done / length)
            if on:
                yield [*piece, at]
            piece, on, turn = [at], not on, turn + 1
            left = max(lengths[turn % len(lengths)], 0.05)
        left -= length - done
        piece.append((x1, y1))
    if on and len(piece) > 1:
        yield piece
