"""A drawing as PDF: the same marks as lines and text, broken into pages between bands."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import cache
from io import BytesIO
from typing import Final

from reportlab.lib.colors import Color, HexColor
from reportlab.pdfgen.canvas import Canvas
from reportlab.pdfgen.pathobject import PDFPathObject

from rehab.outputs.drawings.lettering import fitted, font, width
from rehab.outputs.drawings.look import GREY
from rehab.outputs.drawings.marks import (
    MARGIN,
    POINTS_PER_IN,
    Band,
    Circle,
    Drawing,
    Group,
    Mark,
    Path,
    Pen,
    Rect,
    Words,
)
from rehab.outputs.drawings.scale import usable_height

_FOOT: Final = 6.5
_CAPS: Final = {"butt": 0, "round": 1}


def as_pdf(drawing: Drawing, *, paged: bool = True) -> bytes:
    """The drawing as a PDF of vectors on pages of its paper, or on one sheet as high as it needs if not ``paged``.

    The same drawing gives the same bytes.
    """
    file = BytesIO()
    canvas = Canvas(file, pagesize=(drawing.width, drawing.height), invariant=1, initialFontName="Helvetica")
    canvas.setTitle(drawing.title)
    canvas.setSubject(drawing.about[:500])
    if paged:
        draw_pages(canvas, drawing)
    else:
        _page(canvas, drawing.bands, drawing.height)
        canvas.showPage()
    canvas.save()
    return file.getvalue()


def draw_pages(canvas: Canvas, drawing: Drawing) -> int:
    """Append the drawing to a PDF that is being written, on pages of its own; returns how many."""
    pages = list(_pages(drawing))
    for number, bands in enumerate(pages, 1):
        # A strip that is higher than the paper, by a scale that was asked for, gets a page as high as it needs.
        height = drawing.paper.height_in * POINTS_PER_IN
        height += max(0.0, sum(band.height for band in bands) - usable_height(drawing.paper))
        canvas.setPageSize((drawing.width, height))
        _page(canvas, bands, height)
        tail = f"Page {number} of {len(pages)}"
        room = drawing.width - 2 * MARGIN - width(tail, _FOOT) - 20
        for words in (Words(MARGIN, height - MARGIN, fitted(drawing.title, room, _FOOT), _FOOT, colour=GREY),
                      Words(drawing.width - MARGIN, height - MARGIN, tail, _FOOT, colour=GREY, anchor="end")):
            _write(canvas, words, height)
        canvas.showPage()
    return len(pages)


def _pages(drawing: Drawing) -> Iterator[list[Band]]:
    """Bands page by page; a heading stays with what it heads."""
    room = usable_height(drawing.paper)
    page: list[Band] = []
    used = 0.0
    for index, band in enumerate(drawing.bands):
        needed = band.height
        if band.kind == "heading":
            needed += drawing.bands[index + 1].height
        if page and used + needed > room + 1e-6:
            yield page
            page, used = [], 0.0
        page.append(band)
        used += band.height
    yield page


def _page(canvas: Canvas, bands: Sequence[Band], height: float) -> None:
    top = height - MARGIN
    for band in bands:
        _draw(canvas, band.marks, top)
        top -= band.height


def _draw(canvas: Canvas, marks: Iterable[Mark], top: float) -> None:
    for mark in marks:
        if isinstance(mark, Group):
            _draw(canvas, mark.marks, top)
        elif isinstance(mark, Words):
            _write(canvas, mark, top)
        else:
            _shape(canvas, mark, top)


def _shape(canvas: Canvas, mark: Rect | Circle | Path, top: float) -> None:
    if mark.fill:
        canvas.setFillColor(_colour(mark.fill))
    if mark.pen:
        _take(canvas, mark.pen)
    paint = {"stroke": int(mark.pen is not None), "fill": int(mark.fill is not None)}
    if isinstance(mark, Rect):
        if mark.radius:
            canvas.roundRect(mark.x, top - mark.y - mark.height, mark.width, mark.height, mark.radius, **paint)
        else:
            canvas.rect(mark.x, top - mark.y - mark.height, mark.width, mark.height, **paint)
    elif isinstance(mark, Circle):
        canvas.circle(mark.x, top - mark.y, mark.radius, **paint)
    else:
        # The operators are written here: the library formats point by point, which takes half of the time.
        code = ["n"]
        for part in mark.parts:
            code += [f"{x:.2f} {top - y:.2f} {'l' if index else 'm'}" for index, (x, y) in enumerate(part)]
            if mark.closed:
                code.append("h")
        canvas.drawPath(PDFPathObject(code), **paint)


@cache
def _colour(code: str) -> Color:
    return HexColor(code)


def _take(canvas: Canvas, pen: Pen) -> None:
    canvas.setStrokeColor(_colour(pen.colour))
    canvas.setLineWidth(pen.width)
    canvas.setDash(list(pen.dash))
    canvas.setLineCap(_CAPS[pen.cap])


def _write(canvas: Canvas, mark: Words, top: float) -> None:
    canvas.setFillColor(_colour(mark.colour))
    canvas.setFont(font(mark.text, mark.bold), mark.size)
    draw = {"start": canvas.drawString, "middle": canvas.drawCentredString, "end": canvas.drawRightString}[mark.anchor]
    if not mark.turned:
        draw(mark.x, top - mark.y, mark.text)
        return
    canvas.saveState()
    canvas.translate(mark.x, top - mark.y)
    canvas.rotate(90)
    draw(0, 0, mark.text)
    canvas.restoreState()
