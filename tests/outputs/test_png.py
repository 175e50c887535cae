"""Drawings as images: every mark where it was put, in its colour, at the size that the file says."""

from __future__ import annotations

from io import BytesIO

import numpy as np
import pytest
from PIL import Image

from rehab.outputs.drawings import Drawing, Paper, as_png
from rehab.outputs.drawings.lettering import width
from rehab.outputs.drawings.marks import Band, Circle, Group, Mark, Path, Pen, Rect, Words


def drawing(*marks: Mark, high: float = 72.0, margin: float = 0.0) -> Drawing:
    """Two inches wide, one high."""
    return Drawing("t", "a", Paper(2, 1), 1.0, (Band("b", high, marks),), margin)


def opened(made: Drawing, scale: float = 2.0) -> Image.Image:
    image = Image.open(BytesIO(as_png(made, scale=scale)))
    image.load()
    return image


def dots(made: Drawing, scale: float = 2.0) -> np.ndarray:
    """Greys by row and column: 0 is black."""
    return np.asarray(opened(made, scale).convert("L"), int)


def inked(made: Drawing, scale: float = 2.0) -> tuple[int, int, int, int]:
    """Left, top, right and bottom of what is darker than half."""
    rows, columns = np.nonzero(dots(made, scale) < 128)
    return int(columns.min()), int(rows.min()), int(columns.max()) + 1, int(rows.max()) + 1


@pytest.mark.parametrize("scale", [1.0, 2.0, 3.0, 4.17])
def test_an_image_is_as_large_as_it_says(scale: float) -> None:
    image = opened(drawing(), scale)
    assert image.format == "PNG"
    assert image.size == (round(144 * scale), round(72 * scale))
    # 72 points to an inch; PNG keeps whole dots to a metre
    assert image.info["dpi"] == pytest.approx((72 * scale, 72 * scale), abs=0.02)
    assert image.size[0] / image.info["dpi"][0] == pytest.approx(2, rel=0.003)


def test_marks_lie_where_they_were_put() -> None:
    assert inked(drawing(Rect(10, 20, 30, 15, None, "#000000"))) == pytest.approx((20, 40, 80, 70), abs=1)
    assert inked(drawing(Circle(50, 30, 12, None, "#000000"))) == pytest.approx((76, 36, 124, 84), abs=1)
    assert inked(drawing(Path((((5, 8), (60, 8)),), Pen("#000000", 2.0)))) == pytest.approx((10, 14, 120, 18), abs=1)
    triangle = drawing(Path((((10, 10), (50, 10), (10, 50)),), None, "#000000", closed=True))
    assert inked(triangle) == pytest.approx((20, 20, 100, 100), abs=1)
    assert dots(triangle)[30, 30] == 0
    assert dots(triangle)[90, 90] == 255


def test_bands_follow_each_other_below_the_margin() -> None:
    box = Rect(0, 0, 144, 10, None, "#000000")
    made = Drawing("t", "a", Paper(2, 1), 1.0, (Band("a", 30, (Group("g", "w", (box,)),)), Band("b", 30, (box,))), 12.0)
    column = dots(made)[:, 100]
    assert len(column) == 2 * (12 + 30 + 30 + 12)
    assert [int(at) for at in np.nonzero(np.diff((column < 128).astype(int)))[0] + 1] == [24, 44, 84, 104]


def test_dashes_are_as_long_as_the_pen_says() -> None:
    row = dots(drawing(Path((((0, 36), (144, 36)),), Pen("#000000", 2.0, (10, 5)))))[72]
    ends = np.nonzero(np.diff((row < 128).astype(int)))[0] + 1
    # by hand: ten points on and five off from the left edge, two dots to a point
    assert ends.tolist() == pytest.approx([20 + 30 * (at // 2) + 10 * (at % 2) for at in range(len(ends))], abs=1)
    assert len(ends) == 2 * 9  # nine whole dashes and gaps; the tenth dash is cut off by the edge
    # round a corner the dash goes on
    bent = dots(drawing(Path((((0, 36), (4, 36), (4, 72)),), Pen("#000000", 2.0, (10, 5)))))
    assert bent[2 * 40, 8] < 128
    assert bent[2 * 44, 8] > 128


def test_a_part_of_two_equal_points_is_a_dot_under_a_round_pen_alone() -> None:
    spot = (((40.0, 30.0), (40.0, 30.0)),)
    assert inked(drawing(Path(spot, Pen("#000000", 6.0, (), "round")))) == pytest.approx((74, 54, 86, 66), abs=1)
    assert dots(drawing(Path(spot, Pen("#000000", 6.0)))).min() == 255


def test_edges_are_smooth() -> None:
    slanted = dots(drawing(Path((((10, 10), (100, 40)),), Pen("#000000", 3.0))))
    assert len(np.unique(slanted)) > 5  # greys between black and white: three dots drawn to each, on each side


def test_colours_are_kept_and_greys_make_an_image_of_greys() -> None:
    coloured = opened(drawing(Rect(0, 0, 50, 50, None, "#b9720f"), Words(60, 40, "W", 12, colour="#000000")))
    assert coloured.mode == "RGB"
    assert coloured.getpixel((40, 40)) == (0xB9, 0x72, 0x0F)
    grey = opened(drawing(Rect(0, 0, 50, 50, Pen("#000000", 1), "#8c8c8c")))
    assert grey.mode == "L"
    assert grey.getpixel((40, 40)) == 0x8C


@pytest.mark.parametrize("anchor", ["start", "middle", "end"])
def test_words_take_the_room_that_was_measured_for_them(anchor: str) -> None:
    text, before = "HAMBURG", {"start": 0.0, "middle": 0.5, "end": 1.0}[anchor]
    wide = width(text, 12)
    left, top, right, bottom = inked(drawing(Words(72, 40, text, 12, anchor=anchor, colour="#000000")), 4.0)  # type: ignore[arg-type]
    begin = (72 - before * wide) * 4
    assert left == pytest.approx(begin, abs=8)
    assert right == pytest.approx(begin + wide * 4, abs=8)  # letters have a little white on either side
    # capital letters of a sans serif are seven to eight tenths of its size high (common practice, no source)
    assert bottom == pytest.approx(160, abs=2)
    assert 0.68 * 48 <= bottom - top <= 0.8 * 48


def test_turned_words_run_upward_from_their_point() -> None:
    text = "HAMBURG"
    wide = width(text, 10)
    left, top, right, bottom = inked(drawing(Words(50, 65, text, 10, colour="#000000", turn=90)), 4.0)
    assert bottom == pytest.approx(65 * 4, abs=8)
    assert top == pytest.approx((65 - wide) * 4, abs=8)
    assert right == pytest.approx(50 * 4, abs=2)
    assert left == pytest.approx((50 - 7.3) * 4, abs=3)
    slant = inked(drawing(Words(20, 60, "IIIIIIII", 10, colour="#000000", turn=45)), 4.0)
    assert slant[2] - slant[0] == pytest.approx(slant[3] - slant[1], abs=6)


@pytest.mark.parametrize("text", ["Łódź ulica", "東京都", "عربي", "🚧", "\N{REPLACEMENT CHARACTER}", "", " "])
def test_letters_beyond_the_font_are_drawn_or_boxed(text: str) -> None:
    grey = dots(drawing(Words(20, 40, text, 14, colour="#000000")))
    assert (grey.min() < 128) == bool(text.strip())


def test_an_image_can_be_repeated() -> None:
    made = drawing(Words(20, 40, "Alder St", 14), Circle(50, 30, 12, Pen("#2b83cf", 1.0, (3, 2))), Rect(1, 1, 9, 9, Pen("#000000", 1), None, 3.0))
    assert as_png(made) == as_png(made)


def test_a_scale_of_nothing_is_refused() -> None:
    for scale in (0.0, -1.0, float("nan")):
        with pytest.raises(ValueError, match="dots to a point"):
            as_png(drawing(), scale=scale)
