"""Which column of a file of climate normals is which, what unit a heading names, and which station the file is of."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from rehab.base import tables
from rehab.base.errors import Problem, UnusableInput
from rehab.inputs.reading.headings import known_as
from rehab.inputs.reading.raw import Raw

#: columns of a value for each day, as far as a file has them
SPREADS: Final = ("tmean_sd_f", "tmin_sd_f", "tmax_sd_f")
TEMPERATURES: Final = ("tmin_f", "tmean_f", "tmax_f")
DAILY_FILE: Final = ("the daily normals of one station as CSV, with DATE, DLY-TMIN-NORMAL, DLY-TAVG-NORMAL and "
                     "DLY-TMAX-NORMAL; or a table with date, tmin, tmean and tmax, the unit in its headings")
#: plain heading -> what it is, beside the values
_KEYS: Final = {"station": "station", "stationid": "station", "name": "name", "stationname": "name", "date": "date",
                "month": "month", "mon": "month", "day": "day", "hour": "hour"}
#: beginnings of the published headings: daily, monthly, and those of other products
_PUBLISHED: Final = re.compile(r"(DLY|MLY|HLY|ANN|SEA|DJF|MAM|JJA|SON|MTD|YTD)-")
_FLAGS: Final = re.compile(r"(meas_flag|comp_flag|years)_", re.IGNORECASE)
_PER_CENT: Final = re.compile(r"[%()\[\]]|\bper ?cent\b|\bpct\b", re.IGNORECASE)
#: words of a heading that somebody chose freely; every word of it must be one of these
_LOW: Final = frozenset(["min", "minimum", "low", "lowest", "lows", "tmin"])
_HIGH: Final = frozenset(["max", "maximum", "high", "highest", "highs", "tmax"])
_MIDDLE: Final = frozenset(["mean", "average", "avg", "tmean", "tavg"])
_SPREAD: Final = frozenset(["sd", "std", "stddev", "stdev", "standard", "deviation", "dev"])
_TEMPERATURE: Final = frozenset(["temp", "temps", "temperature", "temperatures"])
_FILLERS: Final = frozenset(["t", "air", "normal", "normals", "daily", "monthly", "of", "the", "in", "deg", "degree",
                             "degrees"])
_CELSIUS: Final = frozenset(["c", "degc", "celsius", "centigrade"])
_FAHRENHEIT: Final = frozenset(["f", "degf", "fahrenheit"])
_TENTHS: Final = frozenset(["tenth", "tenths"])


@dataclass(frozen=True)
class Columns:
    """What a column is -> its heading; the unit that headings name and the first of them that does."""

    headings: dict[str, str]
    unit: str | None
    named_by: str | None

    @property
    def published(self) -> str:
        """DLY or MLY under the published headings of daily or monthly normals; empty under others."""
        found = _PUBLISHED.match(self.headings["tmin_f"].upper())
        return found.group(1) if found else ""

    @property
    def day(self) -> str:
        """The heading under which a fault of the day is told."""
        if "date" in self.headings:
            return self.headings["date"]
        return self.headings.get("day", self.headings.get("month", ""))


def columns_of(raw: Raw, unit: str | None) -> Columns:
    """The columns of the file; of two that could be the same, the one in ``unit``.

    Raises :class:`UnusableInput` for hourly normals, without lowest or highest temperatures, for two columns of one
    kind, and for headings that name different units.
    """
    options: dict[str, list[tuple[str, str | None]]] = {}
    for heading in raw.frame.columns:
        role, unit_named = _meaning(heading)
        if role:
            options.setdefault(role, []).append((heading, unit_named))
    lacking = [role for role in ("tmin_f", "tmax_f") if role not in options]
    if any(heading.upper().startswith("HLY-") for heading in raw.frame.columns):
        raise refused(raw, "the file holds hourly normals", DAILY_FILE)
    if lacking:
        raise UnusableInput([*raw.problems, *(Problem(
            "stop", raw.name, None, role, None, f"no column is known to hold '{role}' "
            f"({tables.field('normals', role).about})",
            f"{DAILY_FILE}; the columns found are {', '.join(raw.frame.columns)}"[:500]) for role in lacking)])
    if not {"date", "month", "day"} & set(options):
        raise refused(raw, "no column is known to hold the date", "a column date with days such as 06-30, or the "
                       "columns month and day")
    chosen = {role: _one(raw, role, found, unit) for role, found in options.items()}
    named: dict[str, str] = {}
    for heading, said in chosen.values():
        if said:
            named.setdefault(said, heading)
    if len(named) > 1:
        raise refused(raw, f"the headings name different units: {_listed(named)}", "all temperatures in one unit")
    headings = {role: heading for role, (heading, _) in chosen.items()}
    for one, heading in named.items():
        return Columns(headings, one, heading)
    return Columns(headings, None, None)


def place_of(raw: Raw, columns: Columns) -> str:
    """The station and its name, empty if the file does not say; :class:`UnusableInput` if there are several."""
    known = [columns.headings[role] for role in ("station", "name") if role in columns.headings]
    if not known:
        return ""
    rows = raw.frame.loc[~raw.broken, known].dropna(subset=known[:1]).drop_duplicates(subset=known[:1])
    names = [", ".join(cell for cell in row if isinstance(cell, str)) for row in rows.itertuples(index=False)]
    if len(names) > 1:
        more = f" and {len(names) - 10:,} more" if len(names) > 10 else ""
        raise refused(raw, f"the file holds {len(names):,} stations: {'; '.join(names[:10])}{more}; none of them was "
                       "taken", "a file with the rows of the one station nearest to the city in place and height",
                       known[0])
    return names[0] if names else ""


def refused(raw: Raw, message: str, accepted: str, column: str | None = None,
            before: Sequence[Problem] = ()) -> UnusableInput:
    """The exception for a file that cannot be used, with the problems found ``before``."""
    return UnusableInput([*raw.problems, *before, Problem("stop", raw.name, None, column, None, message, accepted)])


def _one(raw: Raw, role: str, found: list[tuple[str, str | None]], unit: str | None) -> tuple[str, str | None]:
    """The one column of a kind: the daily one, or the one in the unit that was said, if there are several."""
    for narrower in ([item for item in found if not item[0].upper().startswith("MLY-")],
                     [item for item in found if unit and item[1] == unit]):
        if len(found) > 1 and narrower:
            found = narrower
    if len(found) > 1:
        both = " and ".join(f"'{heading}'" for heading, _ in found[:5])
        raise refused(raw, f"{both} could each be '{role}'", "one column of each kind; if they differ in their unit, "
                       "the unit to be used", found[0][0])
    return found[0]


def _meaning(heading: str) -> tuple[str, str | None]:
    """What a column is ('' for nothing that is needed here) and the unit its heading names."""
    if _FLAGS.match(heading):
        return "", None
    plain = "".join(letter for letter in heading.casefold() if letter.isalnum())
    known = known_as(heading, "normals")
    if known:
        return known, "deg F" if plain == known.replace("_", "") and known.endswith("_f") else None
    if known_as(_PER_CENT.sub(" ", heading), "normals") == "wet_share":
        return "wet_share", None
    if plain in _KEYS:
        return _KEYS[plain], None
    return ("", None) if _PUBLISHED.match(heading.upper()) else _in_words(heading)


def _in_words(heading: str) -> tuple[str, str | None]:
    words = {word.casefold() for word in re.findall(r"[A-Z]?[a-z]+|[A-Z]+(?![a-z])|\d+", heading)}
    low, high, middle = words & _LOW, words & _HIGH, words & _MIDDLE
    allowed = (_LOW | _HIGH | _MIDDLE | _SPREAD | _TEMPERATURE | _FILLERS | _CELSIUS | _FAHRENHEIT | _TENTHS)
    if words - allowed or (low and high) or not (low or high or middle or words & _TEMPERATURE):
        return "", None
    kind = "tmin" if low else "tmax" if high else "tmean"
    unit = "deg C" if words & _CELSIUS else "deg F" if words & _FAHRENHEIT else None
    if words & _TENTHS and unit != "deg C":
        unit = "tenths of deg F"
    elif words & _TENTHS:
        return "", None  # tenths of deg C: not taken for anything else
    return f"{kind}_sd_f" if words & _SPREAD else f"{kind}_f", unit


def _listed(named: dict[str, str]) -> str:
    return ", ".join(f"'{heading}' {unit}" for unit, heading in named.items())
