"""Marks as operators of a PDF, in colour or in greys; what a pen or font already is, is not said again."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from math import cos, radians, sin
from typing import Final

from reportlab.lib.colors import Color, HexColor
from reportlab.pdfgen.canvas import Canvas
from reportlab.pdfgen.pathobject import PDFPathObject
from reportlab.pdfgen.textobject import PDFTextObject

from rehab.outputs.drawings.lettering import font, width
from rehab.outputs.drawings.look import grey
from rehab.outputs.drawings.marks import Circle, Group, Mark, Path, Pen, Rect, Words

_CAPS: Final = {"butt": 0, "round": 1}
_BEFORE: Final = {"middle": 0.5, "end": 1.0}  #: the part of a text that lies before its point
_grey = cache(grey)


def draw_marks(canvas: Canvas, marks: Iterable[Mark], top: float, *, left: float = 0.0, mono: bool = False) -> None:
    """Draw marks on the page of a PDF; ``left`` and ``top`` are where their 0, 0 lies, in points from the lower left.

    In ``mono`` nothing but black, white and greys is written.
    """
    ink = _Ink(canvas, left, top, mono)
    ink.draw(marks)
    ink.end_text()


def draw_placed(canvas: Canvas, placed: Iterable[tuple[float, Iterable[Mark]]], left: float, *,
                mono: bool = False) -> None:
    """Draw marks that count from tops of their own, in points above the lower edge of the page."""
    ink = _Ink(canvas, left, 0.0, mono)
    for top, marks in placed:
        ink.top = top
        ink.draw(marks)
    ink.end_text()


@cache
def _colour(code: str) -> Color:
    return HexColor(code)


class _Text(PDFTextObject):  # type: ignore[misc]
    """Lines of text, each at its place; what the library writes beyond that, and measures for it, is left out."""

    def put(self, x: float, y: float, text: str, turn: float) -> None:
        """Write a line from a point on."""
        a, b = cos(radians(turn)), sin(radians(turn))
        way = f"{a:.5f} {b:.5f} {-b:.5f} {a:.5f}" if turn else "1 0 0 1"
        self._code.append(f"{way} {x:.2f} {y:.2f} Tm {self._formatText(text)}")


class _Ink:
    """Draws on a canvas and knows which fill, pen and font it drew with last."""

    def __init__(self, canvas: Canvas, left: float, top: float, mono: bool):
        self.canvas, self.left, self.top, self.mono = canvas, left, top, mono
        self._fill: str | None = None
        self._pen: Pen | None = None
        self._text: _Text | None = None
        self._font: tuple[str, float, str] | None = None

    def draw(self, marks: Iterable[Mark]) -> None:
        """Draw marks in their order."""
        for mark in marks:
            if isinstance(mark, Words):
                self._write(mark)
            elif isinstance(mark, Group):
                self.draw(mark.marks)
            else:
                self.end_text()
                self._shape(mark)

    def end_text(self) -> None:
        """Lines of text that follow each other are one text of the PDF: end it before anything else is drawn."""
        if self._text is not None:
            self.canvas.drawText(self._text)
            self._text, self._fill = None, None

    def _shape(self, mark: Rect | Circle | Path) -> None:
        if mark.fill and mark.fill != self._fill:
            self._fill = mark.fill
            if self.mono:
                self.canvas.setFillGray(_grey(mark.fill, line=False))
            else:
                self.canvas.setFillColor(_colour(mark.fill))
        if mark.pen and mark.pen != self._pen:
            self._take(mark.pen)
        paint = {"stroke": int(mark.pen is not None), "fill": int(mark.fill is not None)}
        canvas, left, top = self.canvas, self.left, self.top
        if isinstance(mark, Rect):
            corner = (left + mark.x, top - mark.y - mark.height)
            if mark.radius:
                canvas.roundRect(*corner, mark.width, mark.height, mark.radius, **paint)
            else:
                canvas.rect(*corner, mark.width, mark.height, **paint)
        elif isinstance(mark, Circle):
            canvas.circle(left + mark.x, top - mark.y, mark.radius, **paint)
        else:
            # The operators are written here: the library formats point by point, which takes half of the time.
            code = ["n"]
            for part in mark.parts:
                code += [f"{left + x:.2f} {top - y:.2f} {'l' if index else 'm'}" for index, (x, y) in enumerate(part)]
                if mark.closed:
                    code.append("h")
            canvas.drawPath(PDFPathObject(code), **paint)

    def _take(self, pen: Pen) -> None:
        last, self._pen = self._pen, pen
        if last is None or pen.colour != last.colour:
            if self.mono:
                self.canvas.setStrokeGray(_grey(pen.colour, line=True))
            else:
                self.canvas.setStrokeColor(_colour(pen.colour))
        if last is None or pen.width != last.width:
            self.canvas.setLineWidth(pen.width)
        if last is None or pen.dash != last.dash:
            self.canvas.setDash(list(pen.dash))
        if last is None or pen.cap != last.cap:
            self.canvas.setLineCap(_CAPS[pen.cap])

    def _write(self, mark: Words) -> None:
        look = font(mark.text, mark.bold), mark.size, mark.colour
        if self._text is None:
            self._text, self._font = _Text(self.canvas), None
        text = self._text
        if look != self._font:
            text.setFont(*look[:2])
            if self.mono:
                text.setFillGray(_grey(mark.colour, line=True))
            else:
                text.setFillColor(_colour(mark.colour))
            self._font = look
        x, y = self.left + mark.x, self.top - mark.y
        if mark.anchor != "start":
            before = _BEFORE[mark.anchor] * width(mark.text, mark.size, mark.bold)
            x -= before * cos(radians(mark.turn))
            y -= before * sin(radians(mark.turn))
        text.put(x, y, mark.text, mark.turn)
