"""Pages that are filled from the top down, and written when all of them are known."""

from __future__ import annotations

from functools import cache
from io import BytesIO
from typing import Final

from reportlab.graphics import renderPDF
from reportlab.lib.colors import Color, HexColor
from reportlab.pdfgen.canvas import Canvas

from rehab.outputs.brief.lines import lines, one_line, write
from rehab.outputs.brief.marks import GREY, INK, Box, Line, Link, Mark, PageNumber, Picture, Target, Words
from rehab.plan.brief.model import Page

SIDE: Final = 48.0  #: margins left and right, in points
_TOP, _FOOT, _BOTTOM = 46.0, 30.0, 58.0
_FOOT_SIZE: Final = 8.5


class Pages:
    """A cursor that goes down one page after the other.  ``y`` is its height above the page's foot, in points."""

    def __init__(self, width: float, height: float):
        self.width, self.height = width, height
        self.pages: list[list[Mark]] = []
        self.y = 0.0
        self.behind: list[tuple[str, Page]] = []  #: pages whose tables stand behind, with their keys
        self.heads: dict[int, list[str]] = {}  #: names that stand on a page, by its place, for the line at its head

    @property
    def room(self) -> float:
        """Width of the text in points."""
        return self.width - 2 * SIDE

    @property
    def full(self) -> float:
        """Height of the text of an empty page in points."""
        return self.height - _TOP - _BOTTOM

    @property
    def left(self) -> float:
        """Height that is left on this page in points."""
        return self.y - _BOTTOM

    def begin(self) -> None:
        """Go to the top of a new page."""
        self.pages.append([])
        self.y = self.height - _TOP

    def need(self, height: float) -> bool:
        """Go to a new page if less than ``height`` is left; says whether it did."""
        if self.left >= height - 1e-6:
            return False
        self.begin()
        return True

    def put(self, *marks: Mark) -> None:
        """Add marks to the page."""
        self.pages[-1].extend(marks)

    def skip(self, height: float) -> None:
        """Leave some room."""
        self.y -= height

    def text(self, words: object, size: float, *, bold: bool = False, colour: str = INK, gap: float = 0.0,
             x: float = SIDE, room: float = 0.0) -> None:
        """A paragraph with room under it, which goes on on the next page where it must."""
        for line in lines(words, room or self.room, size, bold):
            self.need(leading(size))
            self.y -= leading(size)
            self.put(Words(x, self.y + 0.28 * size, line, size, bold, colour))
        self.y -= gap

    def target(self, name: str, title: str, level: int = 0) -> None:
        """Make this place one that links and the outline lead to."""
        self.put(Target(name, title, level, self.y))

    def picture(self, drawing: Picture) -> None:
        """Put a chart whose upper edge is at the cursor."""
        self.need(drawing.drawing.height)
        self.y -= drawing.drawing.height
        self.put(drawing._replace(y=self.y))

    def written(self, *, title: str, author: str, foot: str) -> bytes:
        """All pages as a PDF with links, outline and the running foot; the same pages give the same bytes."""
        file = BytesIO()
        canvas = Canvas(file, pagesize=(self.width, self.height), invariant=1, initialFontName="Helvetica",
                        lang="en-US", pageCompression=1)
        canvas.setTitle(title)
        canvas.setAuthor(author)
        canvas.setSubject(foot)
        canvas.setCreator("")
        canvas.setViewerPreference("DisplayDocTitle", "true")
        found = {mark.name: number for number, page in enumerate(self.pages, 1)
                 for mark in page if isinstance(mark, Target)}
        for number, page in enumerate(self.pages, 1):
            for mark in page:
                _put(canvas, mark, found)
            self._head(canvas, self.heads.get(number - 1, []))
            self._foot(canvas, foot, f"Page {number} of {len(self.pages)}")
            canvas.showPage()
        canvas.save()
        return file.getvalue()

    def _head(self, canvas: Canvas, names: list[str]) -> None:
        if not names:
            return
        words = names[0] if names[0] == names[-1] else f"{names[0]} to {names[-1]}"
        shown = one_line(words, self.room, _FOOT_SIZE + 1, True)
        _put(canvas, Words(self.width - SIDE, self.height - 32, shown, _FOOT_SIZE + 1, True, GREY, "end"), {})

    def _foot(self, canvas: Canvas, foot: str, tail: str) -> None:
        _put(canvas, Line(SIDE, _FOOT + 12, self.width - SIDE, _FOOT + 12), {})
        room = self.room - 90
        _put(canvas, Words(SIDE, _FOOT, one_line(foot, room, _FOOT_SIZE), _FOOT_SIZE, colour=GREY), {})
        _put(canvas, Words(self.width - SIDE, _FOOT, tail, _FOOT_SIZE, colour=GREY, anchor="end"), {})


def leading(size: float) -> float:
    """From one foot line to the next in points: large type stands closer."""
    return size * (1.36 if size < 13 else 1.24)


def height_of(words: object, room: float, size: float, bold: bool = False) -> float:
    """Height of a paragraph in points."""
    return len(lines(words, room, size, bold)) * leading(size)


@cache
def _colour(code: str) -> Color:
    return HexColor(code)


def _put(canvas: Canvas, mark: Mark, numbers: dict[str, int]) -> None:
    if isinstance(mark, Words):
        canvas.setFillColor(_colour(mark.colour))
        write(canvas, mark.x, mark.y, mark.text, mark.size, mark.bold, mark.anchor)
    elif isinstance(mark, PageNumber):
        canvas.setFillColor(_colour(INK))
        write(canvas, mark.x, mark.y, str(numbers[mark.target]), mark.size, mark.bold, "end")
    elif isinstance(mark, Line):
        canvas.setStrokeColor(_colour(mark.colour))
        canvas.setLineWidth(mark.width)
        canvas.line(mark.x0, mark.y0, mark.x1, mark.y1)
    elif isinstance(mark, Box):
        canvas.setFillColor(_colour(mark.colour))
        canvas.rect(mark.x, mark.y, mark.width, mark.height, stroke=0, fill=1)
    elif isinstance(mark, Picture):
        renderPDF.draw(mark.drawing, canvas, mark.x, mark.y)
    elif isinstance(mark, Link):
        canvas.linkRect("", mark.target, (mark.x0, mark.y0, mark.x1, mark.y1), relative=0, Border="[0 0 0]")
    else:
        canvas.bookmarkPage(mark.name, fit="XYZ", left=0, top=mark.y + 12)
        canvas.addOutlineEntry(mark.title, mark.name, level=mark.level, closed=mark.level > 0)
