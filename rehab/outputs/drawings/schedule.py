"""The schedule of repairs: a table of every rectangle with its station, size and bars, and its rows on the drawing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import Final

import pandas as pd

from rehab.outputs.drawings.lettering import clean, fitted, width
from rehab.outputs.drawings.look import AXIS, GREY, REPAIR
from rehab.outputs.drawings.marks import MARGIN, POINTS_PER_IN, Band, Group, Mark, Paper, Path, Pen, Rect, Words
from rehab.outputs.drawings.repairs import Repair, feet, records
from rehab.outputs.drawings.scale import station, usable_height
from rehab.outputs.words import known, number

_SIZE: Final = 6.3
_LINE: Final = 9.2
_HEAD: Final = 21.0
_PAD: Final = 2.8
_APART: Final = 16.0  #: points between two columns of rows
_ONE_COLUMN: Final = 10  #: up to so many repairs are listed in one column
_LEFT: Final = frozenset({"Kind", "Takes out"})
_PALE: Final = "#f1f2f2"


def schedule(repairs: pd.DataFrame) -> pd.DataFrame:
    """The schedule of a block's rows of the table ``repairs``, as text to be read, one row per repair by number.

    Columns No., Kind, From and To (stations), From left, ft, Length, ft, Width, ft, Depth, in, Area, sq ft, Dowels
    (number and diameter), Joint dowels, Tie bars, Takes out (numbers of defects).
    """
    return pd.DataFrame(_columns(records(repairs.sort_values("repair_id"))), dtype="str")


def _columns(repaired: Sequence[Repair]) -> dict[str, list[str]]:
    """The schedule by column, in the order of the repairs."""
    boxes = [feet(row) for row in repaired]
    sides = _aligned([y for box in boxes for y in (box.y0, box.y1)], 2)
    return {
        "No.": [str(row["repair_id"]) for row in repaired],
        "Kind": [str(row["kind"]).capitalize() for row in repaired],
        "From": [station(box.x0) for box in boxes],
        "To": [station(box.x1) for box in boxes],
        "From left, ft": [f"{a} to {b}" for a, b in zip(sides[::2], sides[1::2], strict=True)],
        "Length, ft": _aligned([row["length_ft"] for row in repaired], 2),
        "Width, ft": _aligned([row["width_ft"] for row in repaired], 2),
        "Depth, in": _aligned([row["depth_in"] for row in repaired], 2),
        "Area, sq ft": _aligned([row["area_sqft"] for row in repaired], 1),
        "Dowels": [_bars(row["dowels"], row["dowel_diameter_in"]) for row in repaired],
        "Joint dowels": [_bars(row["basket_dowels"], 0.0) for row in repaired],
        "Tie bars": [_bars(row["tie_bars"], 0.0) for row in repaired],
        "Takes out": [clean(row["cause"]) if known(row["cause"]) else "" for row in repaired],
    }


def _aligned(values: Sequence[float], most: int) -> list[str]:
    """Numbers with the same decimals, as few as all of them need and ``most`` at most."""
    digits = next(digits for digits in range(most + 1)
                  if digits == most or all(abs(round(v, most) - round(v, digits)) < 1e-9 for v in values))
    return [f"{value:,.{digits}f}" for value in values]


def bands(repaired: Sequence[Repair], paper: Paper) -> Iterator[Band]:
    """The schedule in as many columns as the paper holds, all repairs, in parts that stay together on a page."""
    if not repaired:
        return
    many = len(repaired) > _ONE_COLUMN
    table = {name: texts for name, texts in _columns(repaired).items()
             if any(texts) and not (many and name == "Takes out")}
    room = paper.width_in * POINTS_PER_IN - 2 * MARGIN
    widths = {name: _column_width(name, texts) for name, texts in table.items()}
    if "Takes out" in widths:
        widths["Takes out"] = min(widths["Takes out"], room - sum(widths.values()) + widths["Takes out"])
    columns = max(1, int((room + _APART) / (sum(widths.values()) + _APART))) if many else 1
    yield Band("heading", 16.0, (Words(MARGIN, 11, "Schedule of repairs", 8.5, bold=True),))
    rows = list(zip(*table.values(), strict=True))
    # What fits on one page stays together; more flows by half pages, so that little of a page stays empty.
    page = int((usable_height(paper) - _HEAD - 30) / _LINE)
    high = page if len(rows) <= columns * page else page // 2
    for start in range(0, len(rows), columns * high):
        yield _chunk(rows[start:start + columns * high], widths, columns)
    totals = tuple(_totals(repaired))
    yield Band("totals", 8 + _LINE * len(totals), totals)


def _bars(count: float, diameter_in: float) -> str:
    if not count > 0:
        return ""
    return f"{number(count, 0)} × {inches(diameter_in)} in" if diameter_in > 0 else number(count, 0)


def inches(value: float) -> str:
    """Inches as a crew reads them: 1.25 is '1 1/4'; what is no sixteenth of an inch stays a decimal number."""
    if abs(value * 16 - round(value * 16)) > 1e-6:
        return number(value, 3)
    whole, part = divmod(Fraction(round(value * 16), 16), 1)
    return " ".join(filter(None, (str(whole) if whole or not part else "", str(part) if part else "")))


def _head(name: str) -> list[str]:
    first, _, unit = name.rpartition(", ")
    return [first, unit] if first else name.split(" ", 1)


def _column_width(name: str, values: Sequence[str]) -> float:
    words = max(width(text, _SIZE) for text in values)
    return max(words, *(width(part, _SIZE, True) for part in _head(name))) + 2 * _PAD


def _chunk(rows: Sequence[tuple[str, ...]], widths: dict[str, float], columns: int) -> Band:
    """Rows down one column, then the next."""
    high = -(-len(rows) // columns)
    total = sum(widths.values())
    marks: list[Mark] = []
    for column in range(columns):
        part = rows[column * high:(column + 1) * high]
        if not part:
            break
        left = MARGIN + column * (total + _APART)
        marks += _rows(part, widths, left, total)
    return Band("schedule", _HEAD + high * _LINE + 6, (Group("schedule", "Schedule of repairs", tuple(marks)),))


def _rows(rows: Sequence[tuple[str, ...]], widths: dict[str, float], left: float, total: float) -> Iterator[Mark]:
    at = left
    for name, room in widths.items():
        for line, text in enumerate(_head(name)):
            yield _cell(text, at, room, 8 + line * 7.5, name, bold=True)
        at += room
    yield Path((((left, _HEAD - 2), (left + total, _HEAD - 2)),), Pen(GREY, 0.8))
    for index, row in enumerate(rows):
        top = _HEAD + index * _LINE
        if index % 2 == 1:
            yield Rect(left, top - 1, total, _LINE, None, _PALE)
        at = left
        for (name, room), text in zip(widths.items(), row, strict=True):
            if text:
                yield _cell(fitted(text, room - _PAD, _SIZE), at, room, top + 6, name, bold=name == "No.")
            at += room
    bottom = _HEAD + len(rows) * _LINE
    yield Path((((left, bottom), (left + total, bottom)),), AXIS)


def _cell(text: str, at: float, room: float, base: float, name: str, bold: bool) -> Words:
    if name in _LEFT:
        return Words(at + _PAD, base, text, _SIZE, bold)
    return Words(at + room - _PAD, base, text, _SIZE, bold, anchor="end")


def _totals(repaired: Sequence[Repair]) -> Iterator[Mark]:
    """One line per kind: how many, and what they add up to."""
    base = 8.0
    for kind, look in REPAIR.items():
        rows = [row for row in repaired if row["kind"] == kind]
        if not rows:
            continue
        sums = {name: sum(row[name] for row in rows) for name in ("area_sqft", "dowels", "basket_dowels", "tie_bars")}
        parts = [f"{look.words}: {len(rows)}", f"{number(sums['area_sqft'], 1)} sq ft"]
        parts += [f"{number(sums[name], 0)} {words}" for name, words in
                  (("dowels", "dowels"), ("basket_dowels", "dowels in joints made anew"), ("tie_bars", "tie bars"))
                  if sums[name] > 0]
        yield Words(MARGIN, base, ", ".join(parts), _SIZE + 0.4)
        base += _LINE
