"""A drawing as PDF: the same marks as lines and text, broken into pages between bands."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from io import BytesIO
from typing import Final

from reportlab import rl_config
from reportlab.pdfgen.canvas import Canvas

from rehab.outputs.drawings.ink import draw_marks
from rehab.outputs.drawings.lettering import fitted, width
from rehab.outputs.drawings.look import GREY
from rehab.outputs.drawings.marks import MARGIN, POINTS_PER_IN, Band, Drawing, Words
from rehab.outputs.drawings.scale import usable_height

_FOOT: Final = 6.5


def as_pdf(drawing: Drawing, *, paged: bool = True, mono: bool = False) -> bytes:
    """The drawing as a PDF of vectors on pages of its paper, or on one sheet as high as it needs if not ``paged``.

    In ``mono`` it holds no colour.  The same drawing gives the same bytes.
    """
    file = BytesIO()
    canvas = Canvas(file, pagesize=(drawing.width, drawing.height), invariant=1, initialFontName="Helvetica")
    canvas.setTitle(drawing.title)
    canvas.setSubject(drawing.about[:500])
    if paged:
        draw_pages(canvas, drawing, mono=mono)
    else:
        draw_bands(canvas, drawing.bands, drawing.height - drawing.margin, mono=mono)
        canvas.showPage()
    save(canvas)
    return file.getvalue()


def save(canvas: Canvas) -> None:
    """Write a PDF with streams of plain bytes: written as letters they take a quarter more room and of the time."""
    before = rl_config.useA85
    rl_config.useA85 = 0
    try:
        canvas.save()
    finally:
        rl_config.useA85 = before


def draw_pages(canvas: Canvas, drawing: Drawing, *, mono: bool = False,
               tail: Callable[[int], str] | None = None) -> int:
    """Append the drawing to a PDF that is being written, on pages of its own; returns how many.

    ``tail`` gives the words at the right of a page's foot from its number in the drawing, counted from 1; without
    it they are that number and how many there are.
    """
    pages = list(_pages(drawing))
    for number, bands in enumerate(pages, 1):
        # A strip that is higher than the paper, by a scale that was asked for, gets a page as high as it needs.
        height = drawing.paper.height_in * POINTS_PER_IN
        height += max(0.0, sum(band.height for band in bands) - usable_height(drawing.paper))
        canvas.setPageSize((drawing.width, height))
        draw_bands(canvas, bands, height - MARGIN, mono=mono)
        last = tail(number) if tail else f"Page {number} of {len(pages)}"
        room = drawing.width - 2 * MARGIN - width(last, _FOOT) - 20
        foot = (Words(MARGIN, 0, fitted(drawing.title, room, _FOOT), _FOOT, colour=GREY),
                Words(drawing.width - MARGIN, 0, last, _FOOT, colour=GREY, anchor="end"))
        draw_marks(canvas, foot, MARGIN, mono=mono)
        canvas.showPage()
    return len(pages)


def page_count(drawing: Drawing) -> int:
    """How many pages :func:`draw_pages` makes of a drawing."""
    return sum(1 for _ in _pages(drawing))


def draw_bands(canvas: Canvas, bands: Sequence[Band], top: float, *, left: float = 0.0,
               mono: bool = False) -> None:
    """Draw bands one below the other on the page of a PDF, from ``top`` points above its lower edge."""
    for band in bands:
        draw_marks(canvas, band.marks, top, left=left, mono=mono)
        top -= band.height


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
