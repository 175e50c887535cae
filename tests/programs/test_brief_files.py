"""The council brief read back by Poppler: every word, every page, nothing off the paper."""

from __future__ import annotations

import re
import subprocess
from datetime import date
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from rehab import plan
from rehab.base.settings import Scenario
from rehab.inputs import assumptions, demo
from rehab.outputs.brief import pdf, streets_pdf
from rehab.plan import brief
from rehab.plan.brief.model import Brief

NASTY = "Łódź & <b>Sons</b> <script>alert(1)</script> ¥"
LONG = "Old Harbor and Quarry Junction Boulevard of the Twenty-Fifth Infantry, North Arm"
PAPERS = {"letter": (612.0, 792.0), "A4": (595.28, 841.89)}  # ANSI A; ISO 216


def run(*command: str | Path) -> str:
    return subprocess.run([str(part) for part in command], check=True, capture_output=True, encoding="utf-8").stdout


def squeezed(text: str) -> str:
    """Text without blanks and line breaks, which depend on the setting."""
    return re.sub(r"\s+", "", text)


@pytest.fixture(scope="module")
def shown() -> Brief:
    city = demo.invent(90, 7)
    blocks = city.blocks.assign(street=city.blocks["street"].where(city.blocks.index != 3, LONG),
                                district=city.blocks["district"].where(city.blocks.index % 9 != 0, NASTY))
    ready = plan.prepare(blocks, city.defects, assumptions.defaults(), 2027, 6)
    made = plan.decide(ready, Scenario().with_budget(300_000.0, 6), 2)
    return brief.make(made, city=NASTY, made=date(2026, 11, 26), others=brief.decide(made))


@pytest.fixture(scope="module")
def files(shown: Brief, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder, found = tmp_path_factory.mktemp("brief"), {}
    for paper in PAPERS:
        for name, draw in (("brief", pdf), ("streets", streets_pdf)):
            found[f"{name} {paper}"] = folder / f"{name}_{paper}.pdf"
            found[f"{name} {paper}"].write_bytes(draw(shown, paper=paper))  # type: ignore[arg-type]
    return found


@pytest.mark.parametrize("paper", PAPERS)
def test_every_word_of_the_brief_is_in_the_pdf(shown: Brief, files: dict[str, Path], paper: str) -> None:
    found = squeezed(run("pdftotext", "-raw", files[f"brief {paper}"], "-"))
    for each in (*shown.pages, *shown.districts, *shown.appendix):
        for words in (each.title, each.lead, *each.text, *each.notes):
            assert squeezed(words) in found, words
        for figure in each.figures:
            assert all(squeezed(words) in found for words in figure), figure
        for grid in each.grids:
            cells = [cell for row in (grid.rows or ((grid.empty,),)) for cell in row]
            # A cell of several lines stands beside other cells, whose words come between its lines.
            for word in " ".join((*cells, *grid.total)).split():
                assert word in found or all(part in found for part in re.split(r"(?<=[-_/.])", word)), word
    for term, meaning in shown.words:
        assert squeezed(term) in found and squeezed(meaning.split(".")[0]) in found


@pytest.mark.parametrize("paper", PAPERS)
def test_every_block_is_in_the_list_of_streets_with_its_reason(shown: Brief, files: dict[str, Path],
                                                               paper: str) -> None:
    found = squeezed(run("pdftotext", "-raw", files[f"streets {paper}"], "-"))
    missing = [row["reason"] for row in shown.streets.to_dict("records") if squeezed(row["reason"]) not in found]
    assert len(shown.streets) == 90 and not missing


@pytest.mark.parametrize("name", ["brief letter", "brief A4", "streets letter", "streets A4"])
def test_nothing_is_written_off_the_page(files: dict[str, Path], name: str) -> None:
    tree = ET.fromstring(re.sub(r"[\x00-\x08]", "", run("pdftotext", "-bbox", files[name], "-")))
    space = "{http://www.w3.org/1999/xhtml}"
    for each in tree.findall(f".//{space}page"):
        wide, high = float(each.attrib["width"]), float(each.attrib["height"])
        assert (wide, high) == pytest.approx(PAPERS[name.split()[1]], abs=0.01)
        for word in each.findall(f"{space}word"):
            left, top, right, foot = (float(word.attrib[edge]) for edge in ("xMin", "yMin", "xMax", "yMax"))
            assert 20 <= left <= right <= wide - 20 and 10 <= top <= foot <= high - 10, word.text


@pytest.mark.parametrize("paper", PAPERS)
def test_a_question_takes_one_page_and_the_contents_name_it(shown: Brief, files: dict[str, Path], paper: str) -> None:
    pages = run("pdftotext", "-layout", files[f"brief {paper}"], "-").split("\f")
    found = []
    for each in shown.pages:
        number = re.search(re.escape(each.title) + r"\s+(\d+)", pages[0])
        assert number and squeezed(each.title) in squeezed(pages[int(number[1]) - 1])
        found.append(int(number[1]))
    assert found == list(range(found[0], found[0] + len(shown.pages)))
    count = len([text for text in pages if text.strip()])
    assert f"Page {count} of {count}" in pages[count - 1]


def test_the_first_page_says_the_answers_that_matter_most(shown: Brief, files: dict[str, Path]) -> None:
    first = squeezed(run("pdftotext", "-raw", "-l", "1", files["brief letter"], "-"))
    assert [each.key for each in shown.pages if squeezed(each.lead) in first] == list(shown.first)


def test_pictures_of_pages_have_the_size_of_the_paper_and_are_not_empty(files: dict[str, Path], tmp_path: Path) -> None:
    run("pdftoppm", "-r", "36", "-gray", files["brief letter"], tmp_path / "page")
    pictures = sorted(tmp_path.glob("*.pgm"))
    assert len(pictures) > 15
    for picture in pictures:
        kind, size, _, shades = picture.read_bytes().split(b"\n", 3)
        assert kind == b"P5" and size == b"306 396"  # Netpbm, PGM
        body = shades[:306 * 370]  # above the foot
        assert sum(shade < 160 for shade in body) > 100, picture.name


def test_title_author_and_language(files: dict[str, Path]) -> None:
    said = run("pdfinfo", files["brief letter"])
    assert re.search(r"Title:.*" + re.escape(NASTY), said) and re.search(r"Author:\s+" + re.escape(NASTY), said)
    assert b"/Lang (en-US)" in files["brief letter"].read_bytes()
