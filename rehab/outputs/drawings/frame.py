"""What stands round the strips: title, north, direction of survey, scale bar, legend and notes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

import pandas as pd

from rehab.outputs.drawings import defects as symbols
from rehab.outputs.drawings.lettering import clean, fitted, wrapped
from rehab.outputs.drawings.look import (
    BAR,
    CURB,
    GREY,
    INK,
    JOINT,
    JOINT_BAR,
    LONGITUDINAL,
    MATCH,
    REPAIR,
    WHITE,
    hatch,
)
from rehab.outputs.drawings.marks import MARGIN, POINTS_PER_IN, Band, Box, Group, Mark, Paper, Path, Pen, Rect, Words
from rehab.outputs.drawings.scale import north
from rehab.outputs.drawings.strip import joint_bars
from rehab.outputs.words import count, known, number

_RIGHT: Final = 236.0  #: points at the right of the title for north and scale
_TEXT: Final = 7.0
_LINE: Final = 9.5
_OF_PLAN: Final = frozenset({"thickness_in", "panel_length_ft", "panel_width_ft", "dowelled"})  #: assumed, and shown
_SWATCH: Final = Box(0.0, 0.0, 26.0, 12.0)
_SHOWN: Final = {"crack": "longitudinal crack"}  #: the defect that stands for its family in the legend


def title(block: Mapping[str, Any], bearing_deg: float | None, feet_per_inch: float, paper: Paper) -> Band:
    """The head of the drawing: which block, what it is made of, north, direction of survey and scale."""
    right = paper.width_in * POINTS_PER_IN - MARGIN
    room = right - MARGIN - _RIGHT
    marks: list[Mark] = []
    base = 0.0
    for text, size, bold in _head_lines(block):
        for line in wrapped(text, room, size, bold):
            base += size * 1.28
            marks.append(Words(MARGIN, base, line, size, bold))
    marks += _north(bearing_deg, right - 28, 24)
    marks += _scale_bar(feet_per_inch, paper, right - _RIGHT + 16)
    height = max(base, 56.0) + 8
    marks.append(Path((((MARGIN, height), (right, height)),), Pen(INK, 0.8)))
    return Band("title", height + 4, (Group("title", "Title, north and scale", tuple(marks)),))


def _head_lines(block: Mapping[str, Any]) -> Iterator[tuple[str, float, bool]]:
    street = clean(block["street"]) if known(block.get("street")) else "Street not given"
    yield street, 13.0, True
    ends = [clean(block[name]) if known(block.get(name)) else "not given" for name in ("from_street", "to_street")]
    yield f"Block {clean(block['block_id'])}, from {ends[0]} to {ends[1]}", 9.0, False
    surveyed = f"{pd.Timestamp(block['surveyed_on']):%d %b %Y}" if known(block.get("surveyed_on")) else "day not known"
    yield f"Panel plan. Surveyed: {surveyed}", 7.5, False
    yield "; ".join(_made_of(block)), 7.5, False


def _assumed(block: Mapping[str, Any]) -> set[str]:
    return set(str(block["assumed"]).split("; ")) if known(block.get("assumed")) else set()


def _made_of(block: Mapping[str, Any]) -> Iterator[str]:
    guessed = _assumed(block)

    def marked(text: str, *names: str) -> str:
        return f"{text} (assumed)" if guessed & set(names) else text

    yield f"{number(block['length_ft'], 1)} ft long, {number(block['width_ft'], 1)} ft wide"
    thick = f"{number(block['thickness_in'], 2)} in thick" if known(block["thickness_in"]) else "thickness not known"
    yield marked(thick, "thickness_in")
    rows, columns = int(block["panel_rows"]), int(block["panel_columns"])
    size = f"{number(block['length_ft'] / rows, 2)} × {number(block['width_ft'] / columns, 2)} ft"
    grid = f"{count(rows * columns, 'panel')} of {size}, {rows} along, {columns} across"
    yield marked(grid, "panel_length_ft", "panel_width_ft")
    words = {True: "dowelled joints", False: "plain joints"}
    joints = words[bool(block["dowelled"])] if known(block["dowelled"]) else "dowels in the joints not known"
    yield marked(joints, "dowelled")
    if known(block.get("reinforced")):
        yield "steel in the panels" if block["reinforced"] else "no steel in the panels"


def _north(bearing_deg: float | None, x: float, y: float) -> list[Mark]:
    if bearing_deg is None:
        text = ("North", "not known")
        return [Group("north", "North is not known", tuple(
            Words(x, y + 2 + 8 * line, words, 6.5, colour=GREY, anchor="middle") for line, words in enumerate(text)))]
    dx, dy = north(bearing_deg)
    tip, tail = (x + 16 * dx, y + 16 * dy), (x - 14 * dx, y - 14 * dy)
    left, right = ((x - 10 * dx + side * 6 * dy, y - 10 * dy - side * 6 * dx) for side in (1, -1))
    notch = (x - 5 * dx, y - 5 * dy)
    return [Group("north", f"North; the block runs {number(bearing_deg, 0)} degrees from north", (
        Path(((tip, left, notch),), Pen(INK, 0.7), INK, closed=True),
        Path(((tip, right, notch),), Pen(INK, 0.7), WHITE, closed=True), Path(((notch, tail),), Pen(INK, 0.7)),
        Words(x + 22 * dx, y + 22 * dy + 2.8, "N", 8, bold=True, anchor="middle")))]


def _scale_bar(feet_per_inch: float, paper: Paper, left: float) -> list[Mark]:
    """Two inches of scale in four parts, and the direction in which the block was surveyed."""
    part = POINTS_PER_IN / 2
    marks: list[Mark] = [
        Rect(left + part * index, 30, part, 4, Pen(INK, 0.6), INK if index % 2 == 0 else WHITE) for index in range(4)
    ]
    marks += [Words(left + part * index, 42, number(feet_per_inch / 2 * index, 0) + (" ft" if index == 4 else ""), 6.5,
                    anchor="middle") for index in (0, 1, 2, 4)]
    words = f"1 in = {number(feet_per_inch, 0)} ft on paper {number(paper.width_in, 1)} in wide"
    marks.append(Words(left, 24, words, 6.5, bold=True))
    way = "Direction of survey"
    marks += [Words(left, 8, way, 6.5),
              Path((((left, 12.5), (left + 138, 12.5)),), Pen(INK, 0.9)),
              Path((((left + 144, 12.5), (left + 136, 9.8), (left + 136, 15.2)),), None, INK, closed=True)]
    return [Group("scale", f"{words}; surveyed from left to right", tuple(marks))]


def legend(block: Mapping[str, Any], found: Sequence[Mapping[str, Any]], repaired: Sequence[Mapping[str, Any]],
           strips: int, paper: Paper) -> Band:
    """What the signs mean, of the signs that occur."""
    entries = [*_ground(block, strips), *_kinds(repaired), *_families(found)]
    right = paper.width_in * POINTS_PER_IN - MARGIN
    columns = 4 if paper.width_in < 14 else 6
    room = (right - MARGIN) / columns
    marks: list[Mark] = [Words(MARGIN, 11, "Legend", 8.5, bold=True)]
    down = -(-len(entries) // columns)
    for index, (words, swatch) in enumerate(entries):
        column, line = divmod(index, down)
        x, y = MARGIN + column * room, 17.0 + line * 15.0
        marks += [_moved(mark, x, y) for mark in swatch]
        marks.append(Words(x + _SWATCH.x1 + 6, y + 8.5, fitted(words, room - _SWATCH.x1 - 10, _TEXT), _TEXT))
    return Band("legend", 17 + 15.0 * down + 4, (Group("legend", "Legend", tuple(marks)),))


def _ground(block: Mapping[str, Any], strips: int) -> Iterator[tuple[str, tuple[Mark, ...]]]:
    box, middle = _SWATCH, _SWATCH.middle
    upright = Path((((middle[0], box.y0), (middle[0], box.y1)),), JOINT)
    if block["panel_rows"] > 1:
        if known(block["dowelled"]) and block["dowelled"]:
            yield "Transverse joint, dowelled", (upright, Path(tuple(joint_bars([middle[0]], box)), JOINT_BAR))
        else:
            plain = "plain" if known(block["dowelled"]) else "dowels not known"
            yield f"Transverse joint, {plain}", (upright,)
    if block["panel_columns"] > 1:
        yield "Longitudinal joint", (Path((((box.x0, middle[1]), (box.x1, middle[1])),), LONGITUDINAL),)
    yield "Curb", (Path(tuple(((box.x0, y), (box.x1, y)) for y in (middle[1] - 1.3, middle[1] + 1.3)), CURB),)
    if strips > 1:
        yield "Match line, goes on in the next strip", (Path((((middle[0], box.y0), (middle[0], box.y1)),), MATCH),)


def _kinds(repaired: Sequence[Mapping[str, Any]]) -> Iterator[tuple[str, tuple[Mark, ...]]]:
    box = _SWATCH
    for kind, look in REPAIR.items():
        size = sum(row["kind"] == kind for row in repaired)
        if size:
            yield f"{look.words} ({size})", (Rect(*box[:2], box.width, box.height, None, look.fill),
                                             hatch(look.hatch, box, look.colour),
                                             Rect(*box[:2], box.width, box.height, Pen(look.colour, 1.1)))
    x, y = box.middle
    if any(row["dowels"] > 0 or row["basket_dowels"] > 0 for row in repaired):
        edge = Path((((x, box.y0), (x, box.y1)),), Pen(REPAIR["full depth"].colour, 1.1))
        yield "Dowels, as many as drawn", (edge, Path(tuple(((x - 4, at), (x + 4, at)) for at in (2, 6, 10)), BAR))
    if any(row["tie_bars"] > 0 for row in repaired):
        edge = Path((((box.x0, y), (box.x1, y)),), Pen(REPAIR["full depth"].colour, 1.1))
        yield "Tie bars, as many as drawn", (edge, Path(tuple(((at, y - 4), (at, y + 4)) for at in (5, 13, 21)), BAR))


def _families(found: Sequence[Mapping[str, Any]]) -> Iterator[tuple[str, tuple[Mark, ...]]]:
    box = Box(3.0, 1.0, 23.0, 11.0)
    for family, (words, members) in symbols.FAMILIES.items():
        rows = [row for row in found if row["defect"] in members]
        if rows:
            lying = Box(3.0, 5.0, 23.0, 7.0) if family in {"crack", "step", "seal", "pumping"} else box
            shown = _SHOWN.get(family, members[0])
            yield f"{words} ({len(rows)})", symbols.symbol(shown, "medium", lying, _SWATCH, _SWATCH)
    if len({str(row["severity"]) for row in found if known(row["severity"])}) > 1:
        weights = tuple(Path((((x, 9.0), (x + 6, 3.0)),), Pen(INK, weight))
                        for x, weight in zip((2, 10, 18), symbols.WEIGHT.values(), strict=True))
        yield "Low, medium, high severity", weights


def _moved(mark: Mark, x: float, y: float) -> Mark:
    if isinstance(mark, Path):
        return mark._replace(parts=tuple(tuple((a + x, b + y) for a, b in part) for part in mark.parts))
    if isinstance(mark, Group):
        return mark._replace(marks=tuple(_moved(part, x, y) for part in mark.marks))
    return mark._replace(x=mark.x + x, y=mark.y + y)


def notes(block: Mapping[str, Any], found: Sequence[Mapping[str, Any]], repaired: Sequence[Mapping[str, Any]],
          paper: Paper) -> Band:
    """What a reader has to know before he measures from the plan."""
    texts = ["Stations run from the start of the block; column 1 and all offsets begin at the left curb, looking along "
             "the direction of survey. Panels, damage and repairs are to scale. Measure on the street before cutting."]
    if any(row["dowels"] > 0 or row["tie_bars"] > 0 for row in repaired):
        texts.append("Dowels and tie bars are drawn by their number, spread evenly, not to their length or spacing; "
                     "tie bars along the side nearer to the middle of the street.")
    if known(block.get("parking_ft")) and block["parking_ft"] > 0:
        texts.append(f"Cars park along {number(block['parking_ft'], 0)} ft of curb, both sides together; on which side "
                     "is not known.")
    if _assumed(block) & _OF_PLAN:
        texts.append("What is marked as assumed was filled in from the city's defaults, not surveyed.")
    if not found:
        texts.append("No defect is recorded panel by panel for this block.")
    if not repaired:
        texts.append("No repair is laid out for this block.")
    room = paper.width_in * POINTS_PER_IN - 2 * MARGIN
    lines = [line for text in texts for line in wrapped(clean(text), room, _TEXT)]
    marks = tuple(Words(MARGIN, 9 + _LINE * index, line, _TEXT, colour=GREY) for index, line in enumerate(lines))
    return Band("notes", _LINE * len(lines) + 6, (Group("notes", "Notes", marks),))
