"""The words and number formats that every screen and file shares."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any, Final, NamedTuple

import pandas as pd

from rehab.base.wording import MISSING as MISSING
from rehab.base.wording import known as known
from rehab.base.wording import money as money
from rehab.base.wording import number as number
from rehab.base.wording import price as price

LABELS: Final[dict[str, str]] = {
    "none": "None yet", "partial_depth": "Partial-depth repair", "full_depth": "Full-depth repair",
    "reconstruction": "Reconstruction",
    "arterial": "Arterial", "collector": "Collector", "local": "Local street", "alley": "Alley",
    "mark": "Mark and sound", "notice": "Give notice", "stabilise": "Stabilize slabs", "mill": "Mill patches",
    "patch": "Place patches", "saw": "Saw full depth", "remove": "Remove concrete", "drill": "Drill and set dowels",
    "place": "Place concrete", "joint": "Saw joints", "curb": "Replace curb", "retrofit": "Retrofit dowels",
    "stitch": "Stitch cracks", "fill": "Fill cracks and joints", "grind": "Grind surface", "stripe": "Stripe lanes",
}

_UNITS: Final = {"sqft": "sq ft", "sqyd": "sq yd", "cuyd": "cu yd", "usd": "$", "per cent": "%"}


def label(value: str) -> str:
    """The words for a strategy, a class of street or a kind of task; any other value comes back as it is."""
    return LABELS.get(value, value)


def heading(column: str) -> str:
    """The words for a column or key without words of its own: 'saw_cut' becomes 'Saw cut'."""
    return column.replace("_", " ").strip().capitalize()


def unit(name: str) -> str:
    """A unit as a crew writes it: 'sqyd' becomes 'sq yd'."""
    return _UNITS.get(name, name)


class PayItem(NamedTuple):
    """What a pay item is called, and the items that it is a part of: an all-in price holds the price of its parts."""

    name: str
    carriers: tuple[str, ...]


def pay_items(table: pd.DataFrame) -> dict[str, PayItem]:
    """The words of the table ``pay_items``, by key."""
    return {str(key): PayItem(str(name) if known(name) else heading(str(key)),
                              tuple(str(carriers).split("|")) if known(carriers) else ())
            for key, name, carriers in zip(table.index, table["name"], table["included_in"], strict=True)}


def part_of(items: dict[str, PayItem], item: str, present: Collection[str]) -> str:
    """The names of the pay items, of those ``present``, that this one is a part of."""
    return "; ".join(items[key].name for key in items[item].carriers if key in present)


def price_range(low: Any, likely: Any, high: Any) -> str:
    """A price with its range: '$6.71, 2.25 to 15.75'; 'not known' for a missing price."""
    return f"{price(likely)}, {low:,.2f} to {high:,.2f}" if known(likely) else MISSING


def share(value: Any) -> str:
    """A share of 0 to 1 in per cent, as shown on every screen."""
    return f"{number(100 * value, 0)} %" if known(value) else MISSING


def day(value: Any) -> str:
    """A date as 'Mon 05 Apr 2027'; 'not known' if it is missing."""
    return f"{pd.Timestamp(value):%a %d %b %Y}" if known(value) else MISSING


def count(size: int, one: str, many: str = "") -> str:
    """A count with its noun: '1 block', '3 blocks'."""
    return f"{size:,} {one if size == 1 else many or one + 's'}"


def place(street: Any, from_street: Any, to_street: Any) -> str:
    """Where a block lies, with what is known of it: 'Alder St, from 3rd Ave to 4th Ave'."""
    ends = " ".join(f"{word} {end}" for word, end in (("from", from_street), ("to", to_street)) if known(end))
    parts = [str(street)] if known(street) else []
    return ", ".join([*parts, ends] if ends else parts) or "Street not given"
