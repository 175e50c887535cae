"""The file: sheets one after the other, each with its own count of pages, a bookmark and what links to it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from io import BytesIO
from typing import Final, Literal

from reportlab.pdfgen.canvas import Canvas

from rehab.base.settings import Assumptions
from rehab.outputs.drawings import A4, LETTER, Drawing, Paper
from rehab.outputs.drawings.ink import draw_marks, draw_placed
from rehab.outputs.drawings.lettering import clean, fitted, width
from rehab.outputs.drawings.marks import MARGIN, Mark, Path, Pen, Words
from rehab.outputs.drawings.pdf import draw_bands, draw_pages, page_count, save
from rehab.outputs.worklist.book import write
from rehab.outputs.worklist.gather import Content
from rehab.outputs.worklist.printed.flow import Page, Pages

PAPERS: Final[dict[str, Paper]] = {"letter": LETTER, "A4": A4}
_FOOT: Final = 7.0
_SMALL: Final = 6.0
_DARK: Final = "#4c4c4c"


def pdf(content: Content, assumptions: Assumptions, *, paper: Literal["letter", "A4"] = "letter",
        watch: Callable[[int, int], None] | None = None) -> bytes:
    """The work list as a PDF, the same bytes for the same content.

    Pages stand but for wide sheets and plans, which lie; ``watch`` is told how many blocks are written, and of how
    many.  Raises :class:`ValueError` for a paper that is neither.
    """
    book = PdfBook(paper)
    write(book, content, assumptions, watch, plans=book.paper)
    return book.finish()


class PdfBook:
    """All sheets of one PDF; ``paper`` is letter (8.5 by 11 in) or A4 (210 by 297 mm)."""

    def __init__(self, paper: str = "letter"):
        if paper not in PAPERS:
            raise ValueError(f"there is no paper '{paper}'; take one of {', '.join(PAPERS)}")
        self.paper = PAPERS[paper]  #: lying, as plans are drawn on it
        self._file = BytesIO()
        self._canvas = Canvas(self._file, invariant=1, initialFontName="Helvetica", lang="en-US")
        self._canvas.setViewerPreference("DisplayDocTitle", "true")
        self._canvas.showOutline()
        for say in (self._canvas.setAuthor, self._canvas.setSubject, self._canvas.setCreator):
            say("")  # else the library says that nobody is known
        self._title = ""
        self._open: list[str] = []
        self._keys: dict[str, str] = {}
        self._written: list[str] = []

    def sheet(self, name: str, widths: Sequence[float] | None = None, *, landscape: bool = False) -> Pages:
        """A new sheet; it is put into the file when it is finished."""
        self._open.append(name)
        return Pages(name, widths, self.paper, landscape, self._write)

    def finish(self) -> bytes:
        """The whole file.

        Raises :class:`ValueError` for a sheet that is not finished or a link to none: faults of the caller.
        """
        if self._open:
            raise ValueError(f"the sheets {', '.join(self._open)} are not finished")
        lost = sorted(set(self._keys) - set(self._written))
        if lost:
            raise ValueError(f"links lead to sheets that the file does not have: {', '.join(lost)}")
        self._canvas.setTitle(self._title)
        save(self._canvas)
        return self._file.getvalue()

    def _key(self, name: str) -> str:
        return self._keys.setdefault(name, f"sheet{len(self._keys) + 1}")

    def _write(self, sheet: Pages) -> None:
        self._open.remove(sheet.name)
        self._written.append(sheet.name)
        self._title = self._title or clean(sheet.title)
        counts = [page_count(page.plan) if page.plan else 1 for page in sheet.pages]
        self._canvas.bookmarkPage(self._key(sheet.name))
        self._canvas.addOutlineEntry(clean(sheet.name), self._key(sheet.name))
        done = 0
        for page, count in zip(sheet.pages, counts, strict=True):
            if page.plan:
                self._plan(page.plan, done, sum(counts))
            else:
                self._page(sheet, page, f"Page {done + 1} of {sum(counts)}")
            done += count

    def _plan(self, drawing: Drawing, done: int, whole: int) -> None:
        begin = self._canvas.getPageNumber() - 1
        draw_pages(self._canvas, drawing, mono=True,
                   tail=lambda number: f"{_whole(begin + number)}      Page {done + number} of {whole}")

    def _page(self, sheet: Pages, page: Page, tail: str) -> None:
        canvas, top = self._canvas, sheet.size[1] - MARGIN
        canvas.setPageSize(sheet.size)
        draw_placed(canvas, ((top - at, row.shapes) for at, row in page.rows), MARGIN, mono=True)
        for at, row in page.rows:
            if row.picture:
                _picture(canvas, *row.picture, top - at)
        draw_placed(canvas, ((top - at, row.words) for at, row in page.rows), MARGIN, mono=True)
        for box, target in page.links:
            canvas.linkAbsolute("", self._key(target), (MARGIN + box.x0, top - box.y1, MARGIN + box.x1, top - box.y0))
        foot = _foot(clean(sheet.foot), _whole(canvas.getPageNumber()), tail, sheet.wide)
        draw_marks(canvas, foot, MARGIN, left=MARGIN, mono=True)
        canvas.showPage()


def _whole(number: int) -> str:
    return f"page {number} of the file"


def _picture(canvas: Canvas, drawing: Drawing, scale: float, top: float) -> None:
    canvas.saveState()
    canvas.translate(MARGIN, top - 3)
    canvas.scale(scale, scale)
    draw_bands(canvas, drawing.bands, -drawing.margin, mono=True)
    canvas.restoreState()


def _foot(text: str, whole: str, tail: str, wide: float) -> list[Mark]:
    """The sheet's words at the left, its own count of pages at the right and, small, the page of the file."""
    right = wide - width(tail, _FOOT, True) - 12
    room = right - width(whole, _SMALL) - 12
    return [Path((((0.0, -9.5), (wide, -9.5)),), Pen("#8c8c8c", 0.4)),
            Words(0.0, 0.0, fitted(text, room, _FOOT), _FOOT, colour=_DARK),
            Words(right, 0.0, whole, _SMALL, colour=_DARK, anchor="end"),
            Words(wide, 0.0, tail, _FOOT, True, "#000000", "end")]
