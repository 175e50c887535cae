"""The brief as a PDF of vectors: one question a page, the districts, the tables behind, words and appendix.

The list of streets is a PDF of its own: it is for who asks about one street, and many times as long.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final, Literal

from rehab.outputs.brief import grid, streets
from rehab.outputs.brief.chart import chart_drawing, height_for
from rehab.outputs.brief.lines import lines, measured, one_line
from rehab.outputs.brief.marks import ACCENT, GREY, INK, Box, Line, Link, PageNumber, Picture, Words
from rehab.outputs.brief.pages import SIDE, Pages, height_of, leading
from rehab.outputs.drawings.lettering import clean
from rehab.plan.brief.model import Brief, Chart, Figure, Page

PaperName = Literal["letter", "A4"]
_PAPERS: Final[dict[PaperName, tuple[float, float]]] = {"letter": (612.0, 792.0), "A4": (595.28, 841.89)}
_FIRST: Final = 12.4
_TITLE, _LEAD, _TEXT, _NOTE, _CAPTION = 22.0, 15.0, 11.0, 8.5, 9.5
_WORDS, _ABOUT = 10.0, 8.5
_VALUES: Final = (19.0, 17.0, 15.0, 13.5)  #: sizes of the values of a page, the first in which none is broken
_CHART_LOWEST, _CHART_LEAST, _CHART_MOST = 0.25, 0.334, 0.46  #: shares of the page's height
_WHERE: Final = 20.0  #: points of the line that says where the tables stand
_CARDS, _BETWEEN, _PAD = 5, 9.0, 7.0
_SENTENCES: Final = 3
_KEPT: Final = 90.0  #: points of a paragraph that stand on one page


def pdf(brief: Brief, *, paper: PaperName = "letter") -> bytes:
    """The whole brief on portrait pages; the same brief gives the same bytes.

    Raises:
        ValueError: the paper is neither 'letter' nor 'A4'.
    """
    pages = _pages(paper)
    _first(pages, brief)
    for key, page in _questions(brief):
        _question(pages, page, key, behind=True)
    if brief.districts:
        for at, page in enumerate(brief.districts):
            _question(pages, page, f"district {at}", level=1, above="Districts" if at == 0 else "")
    _behind(pages)
    if brief.words:
        _words(pages, brief)
    for at, page in enumerate(brief.appendix):
        _question(pages, page, f"appendix {at}", level=1, above="Appendix" if at == 0 else "")
    return _written(pages, brief)


def streets_pdf(brief: Brief, *, paper: PaperName = "letter") -> bytes:
    """The list of streets, by name: year, work, cost and the reason in a sentence.  Raises as :func:`pdf`."""
    pages = _pages(paper)
    streets.draw(pages, brief.streets, brief.street_note)
    return _written(pages, brief)


def _pages(paper: PaperName) -> Pages:
    if paper not in _PAPERS:
        raise ValueError(f"paper '{paper}' is not known; use 'letter' or 'A4'")
    return Pages(*_PAPERS[paper])


def _written(pages: Pages, brief: Brief) -> bytes:
    title = clean(brief.title if brief.city in brief.title else f"{brief.city}: {brief.title}")
    return pages.written(title=title, author=clean(brief.city), foot=clean(f"{title}, {brief.made}"))


def _questions(brief: Brief) -> Iterator[tuple[str, Page]]:
    for at, page in enumerate(brief.pages):
        yield f"page {at}", page


def _first(pages: Pages, brief: Brief) -> None:
    """Whose brief it is, the answers that matter most, and what is inside."""
    pages.begin()
    pages.target("first", brief.title)
    pages.skip(8)
    if brief.city not in brief.title:
        pages.text(brief.city, 16, bold=True, colour=ACCENT, gap=2)
    pages.text(brief.title, 25, bold=True, gap=5)
    pages.text(brief.made, 12, colour=GREY, gap=10)
    pages.put(Line(SIDE, pages.y, SIDE + pages.room, pages.y, 2.0, ACCENT))
    pages.skip(10)
    first = [(key, page) for key, page in _questions(brief) if page.key in brief.first]
    for key, page in first or list(_questions(brief))[:_SENTENCES]:
        _sentence(pages, page, key)
    pages.skip(6)
    pages.text("What is inside", 14, bold=True, colour=ACCENT, gap=4)
    for key, page in _questions(brief):
        _entry(pages, page.title, key)
    if brief.districts:
        _entry(pages, "District by district", "district 0")
        _in_two_columns(pages, [(page.title, f"district {at}") for at, page in enumerate(brief.districts)])
    if any(page.grids for page in brief.pages):
        _entry(pages, "The tables behind these pages", "behind")
    if brief.words:
        _entry(pages, "Words used in this brief", "words")
    if brief.appendix:
        _entry(pages, "Appendix: method, assumptions and sources", "appendix 0")


def _sentence(pages: Pages, page: Page, key: str) -> None:
    """The lead of a page as one of the sentences of the first page, with the page that it is from."""
    room = pages.room - 70
    pages.need(height_of(page.lead, room, _FIRST, True))
    top = pages.y
    pages.text(page.lead, _FIRST, bold=True, room=room)
    y = top - leading(_FIRST) + 0.28 * _FIRST
    pages.put(Words(SIDE + pages.room - 22, y, "page", 10, colour=GREY, anchor="end"),
              PageNumber(SIDE + pages.room, y, key, 10))
    pages.put(Link(SIDE, min(pages.y, y - 4), SIDE + pages.room, top, key))
    pages.skip(8)


def _entry(pages: Pages, title: str, key: str) -> None:
    pages.need(15.5)
    pages.skip(15.5)
    pages.put(Words(SIDE, pages.y + 4, one_line(title, pages.room - 40, 11), 11),
              PageNumber(SIDE + pages.room, pages.y + 4, key, 11),
              Line(SIDE, pages.y - 1, SIDE + pages.room, pages.y - 1, 0.4),
              Link(SIDE, pages.y, SIDE + pages.room, pages.y + 16, key))


def _in_two_columns(pages: Pages, entries: list[tuple[str, str]]) -> None:
    room = (pages.room - 14 - 24) / 2
    for start in range(0, len(entries), 2):
        pages.need(14)
        pages.skip(14)
        for column, (title, key) in enumerate(entries[start:start + 2]):
            x = SIDE + 14 + column * (room + 24)
            pages.put(Words(x, pages.y + 3, one_line(title, room - 30, 10), 10, colour=GREY),
                      PageNumber(x + room, pages.y + 3, key, 10), Link(x, pages.y, x + room, pages.y + 14, key))
    pages.skip(3)


def _question(pages: Pages, page: Page, key: str, *, level: int = 0, above: str = "", behind: bool = False) -> None:
    """One question with its answer, figures, chart, text and tables, on a page of its own.

    ``behind``: tables that this page has no room for stand behind the districts, and the page says where.
    """
    pages.begin()
    if above:
        pages.target(above.lower(), above)
    pages.target(key, clean(page.title), level)
    pages.text(page.title, _TITLE, bold=True, gap=5)
    pages.text(page.lead, _LEAD, bold=True, colour=ACCENT, gap=10)
    _cards(pages, page.figures)
    if page.chart is not None:
        _chart(pages, page, behind)
    for words in page.text:
        pages.need(min(height_of(words, pages.room, _TEXT), _KEPT))
        pages.text(words, _TEXT, gap=6)
    if page.text:
        pages.skip(4)
    if behind:
        _tables_or_where(pages, page, key)
        return
    # What the figures rest on stands near them, not after a list of many pages.
    long = [grid.height(pages, table) > pages.full for table in page.grids]
    for table, late in zip(page.grids, long, strict=True):
        if not late:
            grid.draw(pages, table)
    for note in page.notes:
        pages.text(note, _NOTE, colour=GREY, gap=3)
    if any(long):
        pages.skip(10)
    for table, late in zip(page.grids, long, strict=True):
        if late:
            grid.draw(pages, table)


def _tables_or_where(pages: Pages, page: Page, key: str) -> None:
    """The tables of a page if all of them and the small print fit under its text, else where they stand."""
    notes = sum(height_of(note, pages.room, _NOTE) + 3 for note in page.notes)
    fits = sum(grid.height(pages, table) for table in page.grids) + notes <= pages.left
    if fits:
        for table in page.grids:
            grid.draw(pages, table)
    for note in page.notes:
        pages.text(note, _NOTE, colour=GREY, gap=3)
    if page.grids and not fits:
        pages.need(16)
        pages.skip(14)
        words = "The figures of this page as a table: page"
        end = SIDE + measured(f"{words} 000", _ABOUT + 1)
        pages.put(Words(SIDE, pages.y, words, _ABOUT + 1, colour=ACCENT),
                  PageNumber(end, pages.y, f"behind {key}", _ABOUT + 1),
                  Link(SIDE, pages.y - 2, end + 2, pages.y + 10, f"behind {key}"))
        pages.behind.append((key, page))


def _behind(pages: Pages) -> None:
    """The tables that had no room on their pages, in their order."""
    waiting, pages.behind = pages.behind, []
    pages.begin()
    pages.target("behind", "The tables behind these pages")
    pages.text("The tables behind these pages", _TITLE, bold=True, gap=10)
    if not waiting:
        pages.text("All tables stand on their pages.", _TEXT)
    for key, page in waiting:
        pages.need(120)
        pages.target(f"behind {key}", clean(page.title), 1)
        pages.text(page.title, 14, bold=True, colour=ACCENT, gap=4)
        for table in page.grids:
            grid.draw(pages, table)
        pages.skip(8)


def _cards(pages: Pages, figures: tuple[Figure, ...]) -> None:
    """Figures side by side, five a row at most and as even as they go; the value is what the eye meets first."""
    if not figures:
        return
    rows = -(-len(figures) // _CARDS)
    across = -(-len(figures) // rows)
    wide = (pages.room - _BETWEEN * (across - 1)) / across
    room = wide - 2 * _PAD
    size = next((size for size in _VALUES if all(len(lines(each.value, room, size, True)) == 1 for each in figures)),
                _VALUES[-1])
    for start in range(0, len(figures), across):
        cards = [_card(figure, room, size) for figure in figures[start:start + across]]
        high = max(sum(leading(line[1]) for line in card) for card in cards) + 14
        pages.need(high)
        for at, card in enumerate(cards):
            x = SIDE + at * (wide + _BETWEEN)
            pages.put(Box(x, pages.y - high, wide, high), Box(x, pages.y - 2, wide, 2, ACCENT))
            y = pages.y - 7
            for text, type_size, bold, colour in card:
                y -= leading(type_size)
                pages.put(Words(x + _PAD, y + 0.28 * type_size, text, type_size, bold, colour))
        pages.skip(high + 10)
    pages.skip(2)


def _card(figure: Figure, room: float, size: float) -> list[tuple[str, float, bool, str]]:
    """The lines of a card with their size, weight and colour."""
    card = [(text, size, True, INK) for text in lines(figure.value, room, size, True)]
    card += [(text, _WORDS, False, INK) for text in lines(figure.words, room, _WORDS)]
    return card + ([(text, _ABOUT, False, GREY) for text in lines(figure.about, room, _ABOUT)] if figure.about else [])


def _chart(pages: Pages, page: Page, behind: bool) -> None:
    """The chart, a third of the page or more, and as high as it may be if that keeps the question on one page.

    Where tables may stand behind, text and small print are kept on the page even if the chart gets somewhat lower.
    """
    if page.chart is None:
        return
    caption = height_of(page.chart.about, pages.room, _CAPTION) + 12 if page.chart.about else 12.0
    # The sentence under a chart is a part of it.
    least, most = _CHART_LEAST * pages.height - caption, _CHART_MOST * pages.height
    wanted = height_for(page.chart, pages.room, least, pages.full - caption)
    # All that follows on the same page, or else as much of it as leaves no gap.
    text = sum(height_of(words, pages.room, _TEXT) + 6 for words in page.text) + 4
    tables = [high for table in page.grids if (high := grid.height(pages, table)) <= pages.full]
    notes = sum(height_of(note, pages.room, _NOTE) + 3 for note in page.notes)
    most_tables = max(0, len(tables) - (1 if page.notes else 0))  # notes do not stand on a page alone
    if behind:
        rest = text + notes + _WHERE
        whole = text + sum(tables) + notes
        most = pages.left - caption - (whole if pages.left - caption - whole >= wanted else rest)
        high = max(min(most, max(_CHART_MOST * pages.height, wanted)), _CHART_LOWEST * pages.height)
        _put_chart(pages, page.chart, high, caption)
        return
    follows = (text + sum(tables) + notes, *(text + sum(tables[:count]) for count in range(most_tables, -1, -1)))
    rooms = [pages.left - caption - rest for rest in follows]
    there = next((room for room in rooms if room >= max(least, 0.85 * wanted)), None)
    if len(tables) == len(page.grids) and rooms[0] >= _CHART_LOWEST * pages.height:
        there = rooms[0]  # a lower chart, but all of the question on one page
    _put_chart(pages, page.chart, min(max(most, wanted), there) if there else wanted, caption)


def _put_chart(pages: Pages, chart: Chart, high: float, caption: float) -> None:
    pages.need(high + caption)
    pages.picture(Picture(SIDE, 0.0, chart_drawing(chart, pages.room, high)))
    pages.skip(4)
    if chart.about:
        pages.text(chart.about, _CAPTION, colour=GREY)
    pages.skip(8)


def _words(pages: Pages, brief: Brief) -> None:
    """Trade words beside what they mean."""
    pages.begin()
    pages.target("words", "Words used in this brief")
    pages.text("Words used in this brief", _TITLE, bold=True, gap=10)
    left = 0.27 * pages.room
    for term, meaning in brief.words:
        named, said = lines(term, left - 10, 9.8, True), lines(meaning, pages.room - left, 9.8)
        high = max(len(named), len(said)) * leading(9.8) + 8
        pages.need(min(high, pages.full))
        top = pages.y
        for row, text in enumerate(named, 1):
            pages.put(Words(SIDE, top - row * leading(9.8) + 2, text, 9.8, True))
        for text in said:
            pages.need(leading(9.8))
            pages.skip(leading(9.8))
            pages.put(Words(SIDE + left, pages.y + 2, text, 9.8))
        pages.y = min(pages.y, top - len(named) * leading(9.8)) if pages.y <= top else pages.y
        pages.skip(4)
        pages.put(Line(SIDE, pages.y, SIDE + pages.room, pages.y, 0.4))
        pages.skip(4)
