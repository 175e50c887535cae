"""The crews' PDF and drawings opened by Poppler: texts, pages, links, and images that agree with the project's own."""

from __future__ import annotations

import re
import subprocess
from io import BytesIO
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from PIL import Image

from rehab.outputs import drawings
from rehab.outputs.worklist.printed import PdfBook

ITEMS = [f"Ærø & Łódź item {number}" for number in range(90)]


def run(*command: str | Path) -> str:
    done = subprocess.run([str(part) for part in command], check=True, capture_output=True, text=True)
    assert done.stderr == ""
    return done.stdout


def sketch() -> drawings.Drawing:
    lines = {f"{name}{step}": f"LINESTRING ({x0} {y0}, {x1} {y1})" for name, step, x0, y0, x1, y1 in (
        ("A", 0, -101.302, 39.5, -101.3, 39.5), ("A", 1, -101.3, 39.5, -101.298, 39.5), ("B", 0, -101.3, 39.498, -101.3, 39.5),
        ("B", 1, -101.3, 39.5, -101.3, 39.502), ("C", 0, -101.298, 39.498, -101.2975, 39.502))}
    names = {block: {"A": "Alder Street", "B": "Birch Avenue", "C": "Cedar Avenue"}[block[0]] for block in lines}
    made = drawings.location_sketch("A1", pd.DataFrame({"block_id": list(lines), "line": list(lines.values())}), names,
                                    length_ft=563.0)
    assert made is not None
    return made


@pytest.fixture(params=["letter", "A4"])
def file(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    book = PdfBook(request.param)
    overview = book.sheet("Overview", landscape=True)
    overview.line("Work list 2027", "title")
    overview.table([2, 10], ("No.", "Block"), [(1, "B1"), (2, "B2")])
    for row in (0, 1):
        overview.link(f"B{row + 1}", f"{row + 1} B{row + 1}", table_row=row, column=1)
    overview.finish("Overview")
    for number in (1, 2):
        sheet = book.sheet(f"{number} B{number}")
        sheet.line(f"Block B{number}", "title")
        sheet.repeat_above()
        sheet.picture(sketch())
        sheet.table([8, 4], ("What", "How much"), [(item, 12.25) for item in ITEMS], tall=True)
        sheet.finish(f"B{number}")
    path = tmp_path / f"{request.param}.pdf"
    path.write_bytes(book.finish())
    return path


def test_every_text_is_read_with_its_head_on_every_page(file: Path) -> None:
    first, *rest, last = run("pdftotext", "-layout", file, "-").split("\f")
    assert last == ""
    assert "Work list 2027" in first
    assert len(rest) % 2 == 0
    for number, pages in ((1, rest[:len(rest) // 2]), (2, rest[len(rest) // 2:])):
        found = [line for page in pages for line in ITEMS if re.search(rf"{re.escape(line)}\s+12.3\n", page)]
        assert found == ITEMS
        for at, page in enumerate(pages, 1):
            assert page.strip().startswith(f"Block B{number}")
            assert "How much" in page
            assert f"Page {at} of {len(pages)}" in page
        assert {"Alder Street", "0+00", "5+63"} <= set(re.split(r"\s{2,}|\n", pages[0]))


def test_the_file_is_of_the_paper_and_named(file: Path) -> None:
    told = dict(line.split(":", 1) for line in run("pdfinfo", "-f", "1", "-l", "99", file).splitlines())
    assert told["Title"].strip() == "Work list 2027"
    sizes = {tuple(sorted(map(float, re.findall(r"[\d.]+", words.split("(")[0]))))
             for name, words in told.items() if re.fullmatch(r"Page +\d+ size", name)}
    # US letter is 8.5 by 11 in; ISO 216 A4 is 210 by 297 mm, 25.4 mm to an inch
    expected = {"letter": (612.0, 792.0), "A4": (595.28, 841.89)}[file.stem]
    assert all(size == pytest.approx(expected, abs=0.01) for size in sizes)


def test_pages_have_ink_and_no_colour(file: Path, tmp_path: Path) -> None:
    run("pdftoppm", "-r", "50", file, tmp_path / "page")
    images = [np.asarray(Image.open(path).convert("RGB"), int) for path in sorted(tmp_path.glob("page*.ppm"))]
    assert len(images) > 4
    for image in images:
        assert (image.max(axis=2) == image.min(axis=2)).all()
        assert (image < 128).any()
        edge = int(0.4 * 50)
        for rim in (image[:edge], image[-edge:], image[:, :edge], image[:, -edge:]):
            assert (rim == 255).all()


def test_the_image_of_a_sketch_agrees_with_its_pdf(tmp_path: Path) -> None:
    made = sketch()
    (tmp_path / "sketch.pdf").write_bytes(drawings.as_pdf(made, paged=False))
    run("pdftoppm", "-r", "144", "-gray", "-singlefile", tmp_path / "sketch.pdf", tmp_path / "sketch")
    theirs = np.asarray(Image.open(tmp_path / "sketch.pgm"), float)
    ours = np.asarray(Image.open(BytesIO(drawings.as_png(made, scale=2.0))).convert("L"), float)
    assert abs(theirs.shape[0] - ours.shape[0]) <= 1
    assert abs(theirs.shape[1] - ours.shape[1]) <= 1
    high, wide = min(theirs.shape[0], ours.shape[0]), min(theirs.shape[1], ours.shape[1])
    theirs, ours = theirs[:high, :wide], ours[:high, :wide]
    assert np.abs(theirs - ours).mean() < 4  # of 255; edges and the shapes of letters differ a little
    assert np.corrcoef(theirs.ravel(), ours.ravel())[0, 1] > 0.85
    # what is heavy, the line of the block and its arrow, is black in both
    assert (theirs[(ours < 40)] < 128).mean() > 0.85
