"""The work list as PDF, read back from its page contents: every text, heads that come again, links, greys, scale."""

from __future__ import annotations

import re
import zlib
from collections.abc import Iterator
from io import BytesIO
from itertools import pairwise
from typing import Any, Literal, NamedTuple

import numpy as np
import openpyxl
import pandas as pd
import pytest
from reportlab.pdfbase.pdfmetrics import stringWidth

from rehab.base import tables
from rehab.base.settings import Assumptions
from rehab.outputs import drawings, worklist
from rehab.outputs.drawings.marks import Band, Path, Pen, Rect, Words
from rehab.outputs.worklist import printed
from rehab.outputs.worklist.printed import PdfBook, shown
from rehab.outputs.worklist.sheet import Book, Figure, Key, Sheet

MARGIN = 36.0
FONTS = {"/F1": "Helvetica", "/F2": "Helvetica-Bold"}
PAPERS = {"letter": (8.5 * 72, 11 * 72), "A4": (210 / 25.4 * 72, 297 / 25.4 * 72)}  # ISO 216: 210 by 297 mm


class Said(NamedTuple):
    """A line of text on a page: where its base line begins, its font and size."""

    text: str
    x: float
    y: float
    font: str
    size: float

    @property
    def right(self) -> float:
        return self.x + float(stringWidth(self.text, self.font, self.size))


# ---- reading a PDF back --------------------------------------------------------------------------------------------

def contents(pdf: bytes) -> list[str]:
    """What is drawn on each page, in the order of the pages."""
    found = []
    for number in pages(pdf):
        [body] = re.findall(rb"\n%d 0 obj.*?stream\r?\n(.*?)endstream" % number, pdf, re.DOTALL)
        found.append(zlib.decompressobj().decompress(body).decode("latin-1"))
    return found


def pages(pdf: bytes) -> list[int]:
    """The objects that hold the contents of the pages."""
    return [int(re.findall(rb"\n%d 0 obj.*?/Contents (\d+) 0 R" % number, pdf, re.DOTALL)[0]) for number in page_objects(pdf)]


def page_objects(pdf: bytes) -> list[int]:
    [kids] = re.findall(rb"/Count \d+ /Kids \[([\s\dR]+)\]", pdf)
    return [int(number) for number in re.findall(rb"(\d+) 0 R", kids)]


def sizes(pdf: bytes) -> list[tuple[float, float]]:
    return [(float(a), float(b)) for a, b in re.findall(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", pdf)]


def said(page: str) -> list[Said]:
    """The level texts of a page in the fonts whose widths every reader knows."""
    found: list[Said] = []
    font, size = "", 0.0
    token = r"(/F\d+) ([\d.]+) Tf|1 0 0 1 (-?[\d.]+) (-?[\d.]+) Tm \(((?:[^()\\]|\\.)*)\) Tj"
    for name, high, x, y, text in re.findall(token, page):
        if name:
            font, size = FONTS.get(name, ""), float(high)
        elif font:
            plain = re.sub(r"\\(\d{3}|.)", lambda m: chr(int(m[1], 8)) if m[1].isdigit() else m[1], text)
            found.append(Said(plain.encode("latin-1").decode("cp1252"), float(x), float(y), font, size))
    return found


def points(page: str) -> Iterator[tuple[float, float]]:
    """Where lines and rectangles of a page reach, in its own coordinates."""
    for x, y in re.findall(r"(-?[\d.]+) (-?[\d.]+) [ml](?=\s)", page):
        yield float(x), float(y)
    for x, y, wide, high in re.findall(r"(-?[\d.]+) (-?[\d.]+) (-?[\d.]+) (-?[\d.]+) re", page):
        yield float(x), float(y)
        yield float(x) + float(wide), float(y) + float(high)


def texts(page: str) -> list[str]:
    return [one.text for one in said(page)]


def everything(pdf: bytes) -> str:
    return " ".join(text for page in contents(pdf) for text in texts(page))


def made(*write: Any, paper: str = "letter", **how: Any) -> bytes:
    """A book of one sheet for each function that writes one."""
    book = PdfBook(paper)
    for number, one in enumerate(write, 1):
        sheet = book.sheet(f"{number} B", **how)
        one(sheet)
        sheet.finish(f"Sheet {number}")
    return book.finish()


def number_of(page: str) -> str:
    [found] = [text for text in texts(page) if re.fullmatch(r"Page \d+ of \d+", text)]
    return found


ROWS = [(number, f"Item {number}", "sq yd", number * 1.25, None) for number in range(1, 121)]
HEAD = ("No.", "Item", "Unit", "Quantity", "Actual")


def long_sheet(sheet: Sheet) -> None:
    sheet.line("No. 1   Block B1   Full-depth repair 2027", "title")
    sheet.line("Alder St, from 3rd Ave to 4th Ave")
    sheet.repeat_above()
    sheet.line("Measure before cutting.", "warning")
    sheet.section("Quantities")
    sheet.table([1, 5, 2, 2, 2], HEAD, ROWS)


# ---- the protocol --------------------------------------------------------------------------------------------------

def test_it_is_a_book_of_the_protocol() -> None:
    def write(book: Book) -> None:
        sheet = book.sheet("Overview", (4, 11, 16), landscape=True)
        sheet.table([1, 1, 1], (), [("a", "b", "c")], keys=[Key("repairs", "B1", 2027, "1")])
        sheet.finish("foot")

    book = PdfBook()
    write(book)
    assert {"a", "b", "c", "foot"} <= set(texts(contents(book.finish())[0]))


@pytest.mark.parametrize("paper", PAPERS)
def test_pages_are_of_the_paper_asked_for(paper: str) -> None:
    wide, high = PAPERS[paper]
    for landscape, size in ((False, (wide, high)), (True, (high, wide))):
        for found in sizes(made(long_sheet, paper=paper, landscape=landscape)):
            assert found == pytest.approx(size, abs=0.01)
    with pytest.raises(ValueError, match="no paper 'legal'; take one of letter, A4"):
        PdfBook("legal")


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("landscape", [False, True])
def test_every_row_is_there_once_under_a_head_on_every_page(paper: str, landscape: bool) -> None:
    found = contents(made(long_sheet, paper=paper, landscape=landscape))
    assert len(found) >= 3
    whole = [text for page in found for text in texts(page)]
    for number, item, _, quantity, _ in ROWS:
        assert whole.count(item) == 1, number
        assert shown(quantity) in whole
    for page, (number, text) in enumerate(zip(range(1, len(found) + 1), found, strict=True)):
        lines = texts(text)
        assert lines[0] == "No. 1 Block B1 Full-depth repair 2027"
        assert lines[1] == "Alder St, from 3rd Ave to 4th Ave"
        assert set(HEAD) <= set(lines), page
        assert number_of(text) == f"Page {number} of {len(found)}"
        assert "Sheet 1" in lines
    assert sum("Measure before cutting." in texts(text) for text in found) == 1
    assert sum("Quantities" in texts(text) for text in found) == 1


def test_cells_of_a_row_stand_on_one_line_and_numbers_at_the_right() -> None:
    for page in contents(made(long_sheet)):
        lines = said(page)
        for item in [one for one in lines if one.text.startswith("Item ")]:
            number, unit, quantity = (next(one for one in lines if one.y == item.y and one.text == text) for text in (
                item.text.split()[1], "sq yd", shown(int(item.text.split()[1]) * 1.25)))
            # by hand: columns of 1, 5, 2, 2 and 2 twelfths of 540 points, 3 points of white beside a text
            assert number.right == pytest.approx(36 + 45 - 3, abs=0.02)
            assert item.x == pytest.approx(36 + 45 + 3, abs=0.02)
            assert unit.x == pytest.approx(36 + 270 + 3, abs=0.02)
            assert quantity.right == pytest.approx(36 + 450 - 3, abs=0.02)


NASTY = 'Quarry & "Old" (west) \\ Road — naïve' + " of the Twenty-Fifth Infantry" * 3
BROAD = "Łódź 東京 Ω"


def nasty_sheet(sheet: Sheet) -> None:
    sheet.line(NASTY, "title", lines=2)
    sheet.line(BROAD)
    sheet.repeat_above()
    sheet.section("Limits " + "and sizes " * 30)
    sheet.pairs([("Start", pd.Timestamp("2027-04-05")), ("A label that is long and longer", NASTY), ("Blank", None),
                 ("x" * 200, "y" * 200), ("Empty", ""), ("Yes", True)], across=2)
    sheet.table([2, 8, 2], ("Done", "S" * 90, "Initials"), [(None, "=1+1", None), (pd.NaT, "Z" * 700, float("nan"))], tall=True)
    sheet.line("small print " * 60, "small")
    sheet.blank()
    sheet.line("two\nlines and \x07")
    sheet.line("Beware. " * 50, "warning", lines=9)


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("write", [long_sheet, nasty_sheet])
def test_nothing_lies_outside_the_margins(write: Any, paper: str) -> None:
    pdf = made(write, paper=paper)
    for page, (wide, high) in zip(contents(pdf), sizes(pdf), strict=True):
        assert said(page)
        for one in said(page):
            assert one.x >= MARGIN - 0.02, one
            assert one.right <= wide - MARGIN + 0.02, one
            assert MARGIN <= one.y <= high - MARGIN, one
        for x, y in points(page):
            assert MARGIN - 0.02 <= x <= wide - MARGIN + 0.02
            assert MARGIN - 10 <= y <= high - MARGIN + 0.02  # the line above the foot lies in the margin


def test_long_words_are_broken_and_none_of_their_letters_is_lost() -> None:
    whole = everything(made(nasty_sheet))
    assert whole.replace(" ", "").count("y") >= 200
    for letter, count in (("x", 200), ("S", 90), ("Z", 700)):
        parts = re.findall(rf"\b{letter}{{2,}}\b", whole)
        assert sum(map(len, parts)) == count
    title = " ".join(one.text for one in said(contents(made(nasty_sheet))[0]) if one.size == 15)
    assert title == NASTY
    assert "=1+1" in whole
    assert {"two", "lines and \N{REPLACEMENT CHARACTER}"} & set(texts(contents(made(nasty_sheet))[-1])) == {"two"}
    assert "Mon 5 Apr 2027" in whole


def test_no_two_texts_stand_on_each_other() -> None:
    for write in (long_sheet, nasty_sheet):
        for page in contents(made(write)):
            lines = sorted(said(page), key=lambda one: (-one.y, one.x))
            for one, other in pairwise(lines):
                if abs(one.y - other.y) < 0.7 * min(one.size, other.size):
                    assert one.right <= other.x + 0.02 or other.right <= one.x + 0.02, (one, other)


def test_a_heading_stays_with_what_follows() -> None:
    for rows in range(30, 60):
        def write(sheet: Sheet, rows: int = rows) -> None:
            sheet.table([12], (), [(f"Row {number}",) for number in range(rows)])
            sheet.section("Cautions")
            sheet.line("What they are.")
            sheet.table([6, 6], ("Caution", "Source"), [("One", "A")])

        for page in contents(made(write)):
            assert ("Cautions" in texts(page)) == ("Caution" in texts(page)) == ("One" in texts(page)) == (
                "What they are." in texts(page)), rows


def test_a_row_goes_to_the_next_page_as_a_whole() -> None:
    def write(sheet: Sheet) -> None:
        sheet.table([2, 10], ("No.", "Text"), [(number, f"first{number} " + "word " * 70 + f"last{number}") for number in range(60)])

    found = [set(texts_of_words(page)) for page in contents(made(write))]
    assert len(found) > 2
    for number in range(60):
        assert [f"first{number}" in words for words in found] == [f"last{number}" in words for words in found]


def texts_of_words(page: str) -> list[str]:
    return " ".join(texts(page)).split()


def test_a_row_higher_than_a_page_is_cut_and_nothing_of_it_lost() -> None:
    long = " ".join(f"w{number}" for number in range(3000))

    def write(sheet: Sheet) -> None:
        sheet.line("Title", "title")
        sheet.repeat_above()
        sheet.section("Long")
        sheet.table([2, 10], ("No.", "Text"), [(1, long), (2, "after")])
        sheet.line(long)

    found = contents(made(write))
    whole = [word for page in found for word in texts_of_words(page) if re.fullmatch(r"w\d+", word)]
    assert whole == long.split() * 2
    for page in found:
        assert texts(page)[0] == "Title"


def test_pages_begin_where_they_are_asked_to_and_none_is_empty() -> None:
    def write(sheet: Sheet) -> None:
        sheet.next_page()
        sheet.line("one")
        sheet.next_page()
        sheet.next_page()
        sheet.section("two")
        sheet.line("three")
        sheet.next_page()

    first, second = contents(made(write))
    assert "one" in texts(first)
    assert {"two", "three"} <= set(texts(second))
    assert len(contents(made(lambda sheet: None))) == 1


def test_room_to_write_is_left() -> None:
    def write(sheet: Sheet) -> None:
        sheet.table([6, 6], ("Time", "Initials"), [(None, None)] * 3, tall=True)
        sheet.pairs([("Supervisor", None)])

    [page] = contents(made(write))
    levels = sorted({round(y, 2) for _, y in points(page) if y > 100}, reverse=True)
    assert [round(a - b, 1) for a, b in pairwise(levels)][1:4] == [22.0] * 3
    supervisor = next(one for one in said(page) if one.text == "Supervisor")
    assert any(abs(y - supervisor.y) < 8 and x > supervisor.right for x, y in points(page))


# ---- values --------------------------------------------------------------------------------------------------------

@pytest.mark.parametrize(("value", "written"), [
    # by hand from the number formats of the workbook: #,##0 and #,##0.0, a half away from zero, dates d mmm yyyy
    (1234567, "1,234,567"), (1234.5, "1,234.5"), (0.25, "0.3"), (2.25, "2.3"), (-0.25, "-0.3"), (-0.01, "0.0"), (3.0, "3"),
    (np.float64(7.0), "7"), (np.int64(12), "12"), (0.05, "0.1"), (True, "yes"), (False, "no"), (None, ""), ("", ""),
    (float("nan"), ""), (pd.NaT, ""), (pd.NA, ""), (pd.Timestamp("2027-04-05"), "5 Apr 2027"),
    (pd.Timestamp("2027-12-31 13:00"), "31 Dec 2027"), ("=1+1", "=1+1"), (Figure(1234.565, 2, "$"), "$1,234.57"),
    (Figure(-3.0, 2, "$"), "-$3.00"), (Figure(0.125), "0.13"), (Figure(7.0, 0), "7"), (Figure(float("nan")), ""),
])
def test_values_are_written_as_in_the_workbook(value: Any, written: str) -> None:
    assert shown(value) == written


def test_dates_beside_a_label_have_their_day_of_the_week() -> None:
    assert shown(pd.Timestamp("2027-04-05"), "value") == "Mon 5 Apr 2027"  # 5 April 2027 is a Monday (ISO week 14, day 1)
    assert pd.Timestamp("2027-04-05").isocalendar() == (2027, 14, 1)


# ---- the whole file ------------------------------------------------------------------------------------------------

def linked_book() -> bytes:
    book = PdfBook()
    first = book.sheet("Overview", landscape=True)
    first.line("Work list 2027", "title")
    first.table([2, 10], ("No.", "Block"), [(number, f"B{number}") for number in range(90)])
    for row in range(90):
        first.link(f"B{row}", f"{row} B", table_row=row, column=1)
    first.finish("overview")
    for number in range(90):
        sheet = book.sheet(f"{number} B")
        sheet.line(f"Block B{number}", "title")
        sheet.finish(f"B{number}")
    return book.finish()


def test_links_lead_to_the_sheets_that_they_name() -> None:
    pdf = linked_book()
    by_page = dict(zip(page_objects(pdf), contents(pdf), strict=True))
    links = re.findall(rb"/Dest \[ (\d+) 0 R /Fit \] /Rect \[ ([\d. ]+) \] /Subtype /Link", pdf)
    assert len(links) == 90
    overview = [page for page in by_page.values() if "Work list 2027" in texts(page) or "Block" in texts(page)]
    lines = [(one, page) for page in overview for one in said(page) if re.fullmatch(r"B\d+", one.text)]
    assert len(lines) == 90
    for (target, corners), (one, _) in zip(links, lines, strict=True):
        x0, y0, x1, y1 = map(float, corners.split())
        assert x0 <= one.x
        assert one.right <= x1
        assert y0 <= one.y <= y1
        assert f"Block {one.text}" in texts(by_page[int(target)])


def test_every_sheet_has_a_bookmark_and_its_own_count_of_pages() -> None:
    pdf = made(long_sheet, lambda sheet: sheet.line("short"), long_sheet)
    assert re.findall(rb"/Title \((\d B)\)", pdf) == [b"1 B", b"2 B", b"3 B"]
    found = contents(pdf)
    count = (len(found) - 1) // 2
    assert [number_of(page) for page in found] == [
        *(f"Page {number} of {count}" for number in range(1, count + 1)), "Page 1 of 1",
        *(f"Page {number} of {count}" for number in range(1, count + 1))]
    for number, page in enumerate(found, 1):
        assert f"page {number} of the file" in texts(page)


def test_the_file_says_what_it_is_and_can_be_repeated() -> None:
    pdf = linked_book()
    assert b"/Title (Work list 2027)" in pdf
    assert b"/Lang (en-US)" in pdf
    assert b"/DisplayDocTitle true" in pdf
    assert b"anonymous" not in pdf
    assert pdf == linked_book()


def test_faults_of_the_caller_are_named() -> None:
    book = PdfBook()
    sheet = book.sheet("Overview")
    with pytest.raises(ValueError, match="the sheets Overview are not finished"):
        book.finish()
    sheet.table([6], (), [("B1",)])
    sheet.link("B1", "1 B1", table_row=0, column=0)
    sheet.finish("")
    with pytest.raises(ValueError, match="links lead to sheets that the file does not have: 1 B1"):
        book.finish()
    with pytest.raises(ValueError, match="a table of 13 columns does not fit on the 12 of sheet 'x'"):
        PdfBook().sheet("x").table([12, 1], (), [("a", "b")])


def test_a_cell_takes_the_words_of_its_link() -> None:
    def write(sheet: Sheet) -> None:
        sheet.table([2, 10], ("No.", "Block"), [(1, None), (2, "old")])
        sheet.link("new name", "1 B", table_row=0, column=1)
        sheet.link("N" * 300, "1 B", table_row=1, column=1)

    [page] = contents(made(write))
    assert "new name" in texts(page)
    assert "old" not in texts(page)
    assert any(text.startswith("NNN") and text.endswith("…") for text in texts(page))


# ---- the list of a year --------------------------------------------------------------------------------------------

TABLES = ("overview", "network", "needs", "program", "quantities", "tasks", "repairs")


@pytest.mark.parametrize("paper", PAPERS)
def test_the_list_says_what_the_workbook_says(request: pytest.FixtureRequest, notes: pd.DataFrame, geometry: pd.DataFrame,
                                              assumptions: Assumptions, paper: Literal["letter", "A4"]) -> None:
    given = {name: request.getfixturevalue(name) for name in TABLES}
    given["network"] = given["network"].assign(panel_rows=20.0, panel_columns=3.0)
    listed = worklist.content(*given.values(), tables.empty("findings"), notes, geometry, assumptions, 2027)
    told: list[tuple[int, int]] = []
    pdf = printed.pdf(listed, assumptions, paper=paper, watch=lambda done, whole: told.append((done, whole)))
    assert told == [(number, len(listed.jobs)) for number in range(1, len(listed.jobs) + 1)]
    book = openpyxl.load_workbook(BytesIO(worklist.workbook(listed, assumptions, paper=paper)))
    assert [name.decode() for name in re.findall(rb"/Title \((?!Work list)([^)]*)\)", pdf)] == book.sheetnames
    starts = [number for number, page in enumerate(contents(pdf)) if re.fullmatch(r"Page 1 of \d+", number_of_last(page))]
    assert len(starts) == len(book.sheetnames)
    checked = 0
    for sheet, (start, end) in zip(book, pairwise([*starts, len(contents(pdf))]), strict=True):
        squeezed = "".join("".join(texts(page)) for page in contents(pdf)[start:end]).replace(" ", "")
        for row in sheet.iter_rows(max_col=len(worklist.blocksheet.WIDTHS)):
            for cell in row:
                if isinstance(cell.value, str) and "in the PDF of this list" not in cell.value:
                    checked += 1
                    assert re.sub(r"\s", "", cell.value) in squeezed, (sheet.title, cell.value)
                elif isinstance(cell.value, int | float) and "$" in cell.number_format:
                    assert f"${cell.value:,.2f}" in squeezed  # money to the cent
    assert checked > 300


def number_of_last(page: str) -> str:
    return next(text[text.index("Page "):] for text in reversed(texts(page)) if "Page " in text)


# ---- drawings ------------------------------------------------------------------------------------------------------

def coloured() -> drawings.Drawing:
    marks = (Rect(0, 0, 100, 50, Pen("#b9720f", 1), "#2b83cf"), Words(5, 20, "Sketch", 9, colour="#b23fa0"),
             Path((((0, 0), (100, 50)),), Pen("#1d2429", 1)))
    return drawings.Drawing("Sketch", "A sketch", drawings.Paper(2, 1), 1.0, (Band("b", 72, marks),), 0.0)


def panel_plan(paper: drawings.Paper, **how: Any) -> drawings.Drawing:
    block = {"block_id": "B1", "street": "Alder St", "from_street": "3rd Ave", "to_street": "4th Ave", "length_ft": 150.0,
             "width_ft": 36.0, "panel_rows": 10.0, "panel_columns": 3.0, "thickness_in": 8.0, "dowelled": True,
             "surveyed_on": "2026-06-01", "assumed": ""}
    usual = {"block_id": "B1", "panel_row": 1, "panel_column": 1, "depth_in": 8.0, "basket_dowels": 0, "tie_bars": 0,
             "inner_joints": 0, "saw_ft": 1.0, "joint_ft": 1.0, "insert_ft": 0.0, "cause": "1", "why": "a rule"}
    rows = [{**usual, "repair_id": 1, "kind": "full depth", "x_ft": 20.0, "y_ft": 0.0, "length_ft": 100.0, "width_ft": 12.0, "dowels": 22,
             "dowel_diameter_in": 1.0},
            {**usual, "repair_id": 2, "kind": "partial depth", "x_ft": 20.0, "y_ft": 24.0, "length_ft": 10.0, "width_ft": 10.0,
             "dowels": 0, "dowel_diameter_in": 0.0},
            {**usual, "repair_id": 3, "kind": "casting box-out", "x_ft": 60.0, "y_ft": 24.0, "length_ft": 10.0, "width_ft": 10.0,
             "dowels": 0, "dowel_diameter_in": 0.0}]
    for row in rows:
        row["area_sqft"] = row["pay_sqft"] = row["length_ft"] * row["width_ft"]
    return drawings.panel_plan(tables.with_types("network", pd.DataFrame([block])).iloc[0], tables.empty("findings"),
                               tables.with_types("repairs", pd.DataFrame(rows)), paper=paper, **how)


def drawn_book(paper: str) -> bytes:
    book = PdfBook(paper)

    def sheet() -> None:
        one = book.sheet("1 B1")
        one.line("Block B1", "title")
        one.repeat_above()
        one.section("Where")
        one.picture(coloured())
        one.plan(panel_plan(book.paper, feet_per_inch=20.0))
        one.section("After")
        one.line("the plan")
        one.finish("B1")

    sheet()
    return book.finish()


@pytest.mark.parametrize("paper", PAPERS)
def test_the_whole_file_is_black_white_and_grey(paper: str) -> None:
    pdf = drawn_book(paper)
    assert b"/Subtype /Image" not in pdf
    for page in contents(pdf):
        for operands in re.findall(r"([\d. ]+) (?:rg|RG)\b", page):
            assert len(set(operands.split()[-3:])) == 1, operands
        assert not re.search(r"[\d.]+ (?:k|K|sc|SC|scn|SCN)\s", page)
        assert re.search(r"[\d.]+ [gG]\s", page)


@pytest.mark.parametrize("paper", PAPERS)
def test_the_panel_plan_is_to_the_scale_that_it_states(paper: str) -> None:
    pdf = drawn_book(paper)
    wide, high = PAPERS[paper]
    found, boxes = contents(pdf), sizes(pdf)
    plans = [page for page, size in zip(found, boxes, strict=True) if size == pytest.approx((high, wide), abs=0.01)]
    assert plans
    assert any(text.startswith("1 in = 20 ft on paper") for text in texts(plans[0]))
    outlines = [(float(w), float(h)) for w, h in re.findall(r"n -?[\d.]+ -?[\d.]+ ([\d.]+) ([\d.]+) re S", plans[0])]
    # 100 ft by 12 ft at 20 ft to an inch are 5 in by 0.6 in, 72 points each
    assert any(size == pytest.approx((360.0, 43.2), abs=0.01) for size in outlines)
    assert sum(size == pytest.approx((36.0, 36.0), abs=0.01) for size in outlines) == 2


def test_kinds_of_repairs_are_told_apart_without_colour() -> None:
    def hatch(kind: str) -> tuple[set[float], set[str]]:
        """Slopes and caps of the lines inside a repair of 10 by 10 ft, and the grey below them."""
        plan = panel_plan(drawings.LETTER, feet_per_inch=20.0)
        ground = next(group for group in plan.bands[1].marks if getattr(group, "kind", "") == "ground" and kind in group.about)  # type: ignore[union-attr]
        fill, lines = ground.marks[:2]  # type: ignore[union-attr]
        assert isinstance(lines, Path)
        assert isinstance(fill, Rect)
        assert lines.pen is not None
        slopes = {round((b[1] - a[1]) / (b[0] - a[0]), 1) if a != b else 0.0 for a, b in lines.parts}
        return slopes, {lines.pen.cap}

    found = {kind: hatch(kind) for kind in tables.REPAIRS}
    assert len({str(sorted(slopes)) + str(caps) for slopes, caps in found.values()}) == 3
    page = next(page for page in contents(drawn_book("letter")) if any("Panel plan." in text for text in texts(page)))
    lines = [float(grey) for grey in re.findall(r"([\d.]+) G\s", page)]
    assert min(lines) < 0.2  # hatches and saw cuts are dark: a printer breaks up thin lines of light grey
    assert max(lines) <= 1


def test_plans_count_as_pages_of_their_sheet() -> None:
    found = contents(drawn_book("A4"))
    for number, page in enumerate(found, 1):
        assert any(f"Page {number} of {len(found)}" in text for text in texts(page)), texts(page)
    assert "Panel plan of block B1, Alder St, from 3rd Ave to 4th Ave" in texts(found[1])
    assert texts(found[-1])[:3] == ["Block B1", "After", "the plan"]


def test_a_picture_stays_with_its_heading_and_within_the_page() -> None:
    wide = drawings.Drawing("w", "w", drawings.Paper(20, 2), 1.0, (Band("b", 144, (Rect(0, 0, 1440, 144, Pen("#000000", 1)),)),), 0.0)
    for rows in range(36, 44):
        def write(sheet: Sheet, rows: int = rows) -> None:
            sheet.table([12], (), [(f"Row {number}",) for number in range(rows)])
            sheet.section("Where")
            sheet.picture(coloured())

        for page in contents(made(write)):
            assert ("Where" in texts(page)) == ("Sketch" in texts(page))
    [page] = contents(made(lambda sheet: sheet.picture(wide)))
    [scale] = re.findall(r"([\d.]+) 0 0 ([\d.]+) 36 [\d.]+ cm", page)
    assert [float(one) for one in scale] == pytest.approx([540 / 1440] * 2, abs=1e-4)
