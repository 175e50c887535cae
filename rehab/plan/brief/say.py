"""Numbers, places and lists as they stand in the sentences and tables of the brief."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any, Final

from rehab.base.tables import IN_WORDS
from rehab.base.wording import known as has
from rehab.base.wording import money as whole
from rehab.base.wording import number
from rehab.base.wording import price as cents

__all__ = ["NO_DISTRICT", "about", "cents", "count", "day", "ends", "first", "has", "in_years", "listed", "number",
           "of", "place", "share", "span", "street", "undone", "unit", "value", "verb", "whole", "work"]

NO_DISTRICT: Final = "No district given"
_MONTHS: Final = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
                  "November", "December")
_UNITS: Final = {"sqft": "sq ft", "sqyd": "sq yd", "cuyd": "cu yd", "yr": "years", "usd": "dollars",
                 "in/mile": "inches a mile", "each": "pieces", "year": "", "index": "", "count": ""}


def about(usd: float) -> str:
    """Dollars of a sentence, rounded to three figures: '$3.99 million', '$84,200', '$0'."""
    if usd < 0:
        return f"-{about(-usd)}"
    for size, word in ((1e9, "billion"), (1e6, "million")):
        if usd >= 0.9995 * size:
            value = float(f"{usd / size:.3g}")
            return f"${value:,.12g} {word}"
    return f"${float(f'{usd:.3g}'):,.0f}"


def undone(usd: float) -> str:
    """So much work: '$154 million of work', or 'no work'."""
    return f"{about(usd)} of work" if usd >= 0.5 else "no work"


def share(value: float, digits: int = 0) -> str:
    """A share of 0 to 1 in per cent; a small one that is not zero is not shown as zero, nor a large one as all."""
    text = f"{100 * value:.{digits}f}"
    least = 10.0**-digits
    if value > 0 and float(text) == 0:
        return f"less than {least:.{digits}f} %"
    if value < 1 and float(text) == 100:
        return f"more than {100 - least:.{digits}f} %"
    return f"{text} %"


def count(size: float, one: str = "block", many: str = "") -> str:
    """A count with its noun: '1 block', '3 blocks', 'no block'."""
    if size == 0:
        return f"no {one}"
    return f"{size:,.0f} {one if size == 1 else many or one + 's'}"


def verb(size: float, one: str, many: str) -> str:
    """The verb for a count of things; none counts as one."""
    return one if size in (0, 1) else many


def listed(parts: Iterable[str], last: str = "and") -> str:
    """Parts as a list in a sentence: 'a, b and c'."""
    every = list(parts)
    return f"{', '.join(every[:-1])} {last} {every[-1]}" if len(every) > 1 else "".join(every)


def span(years: Sequence[int]) -> str:
    """Some years in a row: '2027 to 2031', or '2027'."""
    return f"{years[0]} to {years[-1]}" if len(years) > 1 else str(years[0])


def in_years(years: Sequence[int]) -> str:
    """When: 'in 2027', or 'from 2027 to 2031'."""
    return f"from {span(years)}" if len(years) > 1 else f"in {years[0]}"


def work(name: str) -> str:
    """A work within a sentence; grinding again is a work of its own."""
    return "diamond grinding" if name == "grinding" else IN_WORDS[name]


def first(text: str) -> str:
    """The same with a capital letter at its beginning."""
    return text[:1].upper() + text[1:]


def day(value: date) -> str:
    """A date as written in the United States: 'April 5, 2027'."""
    return f"{_MONTHS[value.month - 1]} {value.day}, {value.year}"


def ends(from_street: Any, to_street: Any) -> str:
    """Between which cross streets a block lies, with what is known: '3rd Ave to 4th Ave'."""
    known = [str(end) for end in (from_street, to_street) if has(end)]
    if len(known) == 2:
        return f"{known[0]} to {known[1]}"
    return f"at {known[0]}" if known else ""


def place(street: Any, from_street: Any, to_street: Any, block_id: str) -> str:
    """Where a block lies, in a sentence; its name where no street is given."""
    where = ends(from_street, to_street)
    name = str(street) if has(street) else f"block {block_id}"
    return f"{name}, {where}" if where else name


def street(name: Any, block_id: str) -> str:
    """The street of a block as it begins a row, or the name of the block where no street is given."""
    return str(name) if has(name) else f"Block {block_id}"


def of(part: float, total: int, one: str = "block") -> str:
    """How many of how many: '910 of 1,200 blocks', 'all 3 blocks', 'none of 3 blocks', 'the one block'."""
    if total == 1:
        return f"the one {one}" if part else f"no {one}"
    if part == 0:
        return f"none of {total:,} {one}s"
    return f"all {total:,} {one}s" if part == total else f"{part:,.0f} of {total:,} {one}s"


def unit(name: str) -> str:
    """A unit after its number, with the blank between; nothing for no unit."""
    words = _UNITS.get(name, name)
    return f" {words}" if words else ""


def value(text: str, name: str) -> str:
    """A value of a table of assumptions with its unit: a share in per cent, anything else as it stands."""
    if name in ("share", "share/yr"):
        return f"{number(100 * float(text), 3)} %{' a year' if name == 'share/yr' else ''}"
    return f"{text}{unit(name)}"
