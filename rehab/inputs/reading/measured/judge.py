"""Entries to checked tables: a number that can be read, about a block, year and item that there are, once."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

import pandas as pd

from rehab.base import tables
from rehab.base.errors import Problem
from rehab.base.units import factor
from rehab.inputs.reading.measured.entries import Cell, Entry
from rehab.inputs.reading.values import missing, numbers

#: a repair may be this much longer or wider than its block's own sizes, which are rounded, and the area of an item this
#: much larger, as corners are (both: common practice, no source); beyond it the unit or the place is wrong
MOST_OF_SIZE: Final = 1.1
MOST_OF_AREA: Final = 1.5
_AREAS: Final = ("sqft", "sqyd")
_A_NUMBER: Final = "a number of zero or more, without a unit; an empty cell for what was not measured, 0 for none"
_WITH_MORE: Final = re.compile(r"[+-]?[\d.,]*\d[\d.,]*\s*[^\d\s.,/].*", re.DOTALL)
_MOST_DEPTH_IN: Final = tables.field("defects", "depth_in").high or math.inf


@dataclass(frozen=True)
class Known:
    """What entries are held against: None or empty where it is not known.

    ``sizes``: block -> length and width in ft; ``items``: pay item -> name and unit; ``repairs``: repairs of a block.
    """

    blocks: frozenset[str] | None
    year: int | None
    sizes: Mapping[str, tuple[float, float]]
    items: Mapping[str, tuple[str, str]]
    repairs: Mapping[str, frozenset[str]] | None


@dataclass
class Judged:
    """What can be used: an entry with its values by column, and the problems of the rest."""

    used: list[tuple[Entry, dict[str, float]]] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)


def judge(file: str, entries: list[Entry], known: Known) -> Judged:
    """The entries that are filled in and can be used; the problems of those that cannot."""
    result = Judged()
    for entry in _ours(file, entries, known, result.problems):
        found = len(result.problems)
        values = {column: number for column, cell in entry.cells.items()
                  if (number := _number(file, entry, cell, result.problems)) is not None}
        sound = len(result.problems) == found
        said = sound and values and (_strange(entry, known) or _too_large(entry, values, known))
        if said:
            result.problems.append(_stop(file, entry, None, said[0], said[1]))
        elif sound and values:
            result.used.append((entry, values))
    _told_twice(file, result)
    return result


def _stop(file: str, entry: Entry, cell: Cell | None, message: str, accepted: str) -> Problem:
    value = None if cell is None else str(cell.value)[:200] or None
    return Problem("stop", file, entry.row, cell.heading if cell else None, value,
                   f"{entry.place}{_about(entry)}: {message}; it is not used", accepted)


def _about(entry: Entry) -> str:
    of = entry.name if entry.kind == "quantities" else f"repair {entry.name}"
    return f"block {entry.block_id}, {of}"


def _ours(file: str, entries: list[Entry], known: Known, problems: list[Problem]) -> list[Entry]:
    """The filled entries of blocks and the year that are known; one problem for each block and sheet that is not."""
    ours: list[Entry] = []
    strange: defaultdict[tuple[str, str, int], list[Entry]] = defaultdict(list)
    for entry in entries:
        if not entry.filled:
            continue
        if (known.blocks is None or entry.block_id in known.blocks) and known.year in (None, entry.year):
            ours.append(entry)
        else:
            strange[entry.sheet, entry.block_id, entry.year].append(entry)
    for (_, block_id, year), rows in strange.items():
        other = known.blocks is not None and block_id not in known.blocks
        said = f"there is no block '{block_id}' in this city" if other else f"of {year}, and {known.year} is asked for"
        problems.append(Problem("stop", file, rows[0].row, None, block_id if other else str(year),
                                f"{rows[0].place}{said}; {len(rows)} rows filled in are not used",
                                "a work list of this city" if other else f"the work list of {known.year}"))
    return ours


def _number(file: str, entry: Entry, cell: Cell, problems: list[Problem]) -> float | None:
    """The number in a cell, None for an empty one and for one that gets a problem."""
    said, value = cell.fault, cell.value
    number: float | None = None
    if said:
        pass
    elif isinstance(value, bool):
        said = "the cell holds yes or no, not a number"
    elif isinstance(value, int | float):
        number = float(value)
    elif isinstance(value, dt.date | dt.time | dt.timedelta):
        said = "the spreadsheet took what was written for a day or a time"
    elif text := str(value).strip():
        one = pd.Series([text], dtype="str")
        read, bad = numbers(one)
        if missing(one).any():
            said = f"'{text}' may mean none or not measured"
        elif bad[0]:
            said = (f"'{text[:60]}' holds more than a number" if _WITH_MORE.fullmatch(text) else
                    f"'{text[:60]}' is not a number that can be read without doubt")
        else:
            number = float(read[0])
    if number is not None and not (0 <= number < math.inf):
        said, number = "the number is below zero" if number < 0 else "not a number", None
    if said:
        problems.append(_stop(file, entry, cell, said, _A_NUMBER))
    return number


def _strange(entry: Entry, known: Known) -> tuple[str, str] | None:
    """What is wrong with what a row is about: an item or repair that there is not, or not the one that it shows."""
    if entry.kind == "quantities":
        if entry.name not in known.items:
            return "there is no such pay item", "a pay item of the assumptions"
        shown = [key for key, (words, _) in known.items.items() if words == entry.said]
        if shown and entry.name not in shown:
            return (f"the row shows '{entry.said}' but its hidden key is of '{known.items[entry.name][0]}': were the "
                    "rows sorted without their last column?"), "the rows in the order of the work list"
        return None
    if not entry.name.isdecimal() or int(entry.name) < 1:
        return f"'{entry.name}' is no number of a repair", "the number of a repair, from 1"
    if isinstance(entry.said, int | float) and entry.said != int(entry.name):
        return (f"the row shows repair {entry.said:g} but its hidden key is of {entry.name}: were the rows sorted "
                "without their last column?"), "the rows in the order of the work list"
    if known.repairs is not None and entry.name not in known.repairs.get(entry.block_id, ()):
        return "the plan has no such repair", "a repair of the block, by its number"
    return None


def _too_large(entry: Entry, values: Mapping[str, float], known: Known) -> tuple[str, str] | None:
    """What no block of this size can hold, and sizes of a repair that do not go together."""
    length, width = known.sizes.get(entry.block_id, (math.inf, math.inf))
    if entry.kind == "quantities":
        unit = known.items[entry.name][1]
        area = length * width * factor("sqft", unit) if unit in _AREAS else math.inf
        if values["quantity"] <= MOST_OF_AREA * area:
            return None
        return (f"{values['quantity']:,.6g} {unit}, but the whole block has {area:,.0f}: is it in {unit}?",
                f"at most {MOST_OF_AREA:g} times the area of the block")
    lacking = {"length_ft": "length", "width_ft": "width"}.keys() - values.keys()
    if len(lacking) == 1:
        one, other = ("width", "length") if "width_ft" in lacking else ("length", "width")
        return f"the {other} is filled in, but not the {one}", "length and width, or neither"
    long, wide = values.get("length_ft", 0.0), values.get("width_ft", 0.0)
    if (long == 0) != (wide == 0):
        return "one side is zero and the other is not", "both sides, or 0 for both where nothing was cut"
    if long > MOST_OF_SIZE * length or wide > MOST_OF_SIZE * width:
        return (f"{long:g} x {wide:g} ft, but the block is {length:g} x {width:g} ft: are the sizes in feet, length "
                "along the block?", "a repair within its block")
    if values.get("depth_in", 0.0) > _MOST_DEPTH_IN:
        return f"{values['depth_in']:g} in deep: is it in inches?", f"a depth of at most {_MOST_DEPTH_IN:g} in"
    return None


def _told_twice(file: str, judged: Judged) -> None:
    """A row that stands in several places: used once where all say the same, not at all where they do not."""
    places: defaultdict[tuple[str, str, int, str], list[tuple[Entry, dict[str, float]]]] = defaultdict(list)
    for entry, values in judged.used:
        places[entry.kind, entry.block_id, entry.year, _once(entry)].append((entry, values))
    judged.used = []
    for found in places.values():
        entry, values = found[0]
        where = " and ".join(f"row {other.row}" + (f" of sheet '{other.sheet}'" if other.sheet else "")
                             for other, _ in found)
        if all(other == values for _, other in found):
            judged.used.append((entry, values))
            if len(found) > 1:
                judged.problems.append(Problem(
                    "warn", file, entry.row, None, None, f"{_about(entry)}: stands in {where} with the same figures; "
                    "used once", "each row once"))
        else:
            judged.problems.append(_stop(file, entry, None, f"stands in {where} with different figures (was a sheet "
                                         "copied?)", "each row once: clear the figures that do not hold"))


def _once(entry: Entry) -> str:
    return str(int(entry.name)) if entry.kind == "repairs" else entry.name
