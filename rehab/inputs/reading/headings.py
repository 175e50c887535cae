"""What the columns of an upload mean: headings matched through ``data/headings.csv``, units guessed from them."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Final, Literal

import numpy as np
import pandas as pd

from rehab.base import tables, units
from rehab.base.tables import COUNTS, Field
from rehab.inputs.assumptions import FOLDER
from rehab.inputs.reading.raw import Raw
from rehab.inputs.reading.values import missing, numbers

Upload = Literal["blocks", "defects", "bids", "commitments", "normals", "no_work", "moves", "actual"]

_SAMPLE: Final = 1_000
#: tables whose columns tell a row of headings from other rows
_HEADED: Final[tuple[Upload, ...]] = ("blocks", "defects", "bids", "normals", "no_work", "actual")
#: spellings of units in headings and saved mappings, without blanks and punctuation
_SPELLINGS: Final = {
    "ft": "ft feet foot lf linft linearft linearfeet lineal lft",
    "in": "in inch inches",
    "yd": "yd yard yards",
    "mile": "mi mile miles",
    "mm": "mm millimeter millimeters millimetre millimetres",
    "cm": "cm centimeter centimeters centimetre centimetres",
    "m": "m meter meters metre metres",
    "km": "km kilometer kilometers kilometre kilometres",
    "sqft": "sqft sf ft2 sqfeet squarefeet squareft ft²",
    "sqyd": "sqyd sy yd2 squareyards yd²",
    "sqm": "sqm m2 squaremeters squaremetres m²",
    "in/mile": "in/mile in/mi inpermi inpermile inchespermile inmi",
    "m/km": "m/km mperkm mkm",
    "mm/m": "mm/m mmperm",
    "per cent": "% percent pct percentage",
    "share": "share fraction ratio",
}
_UNIT_OF: Final = {word: unit for unit, words in _SPELLINGS.items() for word in words.split()}
#: words that add nothing to a heading of a street table
_FILLERS: Final = frozenset(["seg", "segment", "section", "sect", "block", "blk", "street", "st", "road", "rd",
                             "pavement", "pavt", "pvmt", "asset", "survey", "surveyed", "inspection", "no", "num",
                             "number", "nbr", "count", "cnt", "qty", "total", "of", "the", "value", "val", "size",
                             "dimension", "dimensions"])


@dataclass(frozen=True)
class _Match:
    ours: str
    unit: str
    score: float


def suggest(raw: Raw, table: Upload = "blocks") -> pd.DataFrame:
    """A mapping for the file: one row per heading, text columns theirs, ours, unit, only (empty: no value).

    Each column of ours is given to the heading that fits best, by name and by the values found under it.
    """
    found = [(place, heading, match) for place, heading in enumerate(raw.frame.columns)
             for match in _matches(heading, table)]
    by_ours, by_heading = Counter(match.ours for *_, match in found), Counter(heading for _, heading, _ in found)
    options = []
    for place, heading, match in found:
        # Values are looked at only where there is a choice: they are most of the work.
        rivals = by_ours[match.ours] > 1 or by_heading[heading] > 1
        off = _misfit(tables.field(table, match.ours), raw.frame[heading], raw) if rivals else 0.0
        options.append((match.score - off, -place, heading, match))
    taken: dict[str, _Match] = {}
    for _, _, heading, match in sorted(options, key=lambda option: (-option[0], -option[1], option[3].ours)):
        if heading not in taken and match.ours not in {other.ours for other in taken.values()}:
            taken[heading] = match
    rows = [{"theirs": heading, "ours": taken[heading].ours if heading in taken else "",
             "unit": taken[heading].unit if heading in taken else "", "only": ""} for heading in raw.frame.columns]
    return pd.DataFrame(rows, columns=["theirs", "ours", "unit", "only"], dtype="str")


def recognised(*lines: list[str]) -> int:
    """How many different columns of ours the cells name, exactly or with a unit: how much they look like a header."""
    return len({match.ours for cells in lines for cell in cells if cell and len(cell) < 80
                for table in _HEADED for match in _matches(cell, table) if match.score >= 2})


def complete(headings: list[str], table: Upload) -> bool:
    """Whether every required column of the table, and for blocks a measure of condition, may be among the headings."""
    ours = {match.ours for heading in headings if heading for match in _matches(heading, table)}
    required = {item.name for item in tables.upload_fields(table) if item.required}
    return required <= ours and (table != "blocks" or bool(ours & set(tables.CONDITION)))


def known_as(heading: str, table: Upload) -> str | None:
    """The column of ours that a heading names as a whole, by our own name or a known one; None if it names none."""
    best = [match for match in _matches(heading, table) if match.score > 2]
    return max(best, key=lambda match: match.score).ours if best else None


def is_unit(text: str) -> bool:
    """Whether a cell is a unit and nothing else."""
    return unit_of(text) is not None


def unit_of(text: str) -> str | None:
    """The unit a spelling stands for: '(feet)' -> 'ft'; None if it is not one."""
    return _UNIT_OF.get(re.sub(r"[\s_.()\[\]]+", "", text.casefold()))


def allowed_units(item: Field) -> list[str]:
    """The units a column may come in, ours first; none for text, words, dates and flags.

    Counts of panels may also come as a share or per cent of the block's panels.
    """
    if item.name in COUNTS:
        return [item.unit, "per cent", "share"]
    return units.same_kind(item.unit) if item.unit else []


@lru_cache(maxsize=10_000)  # the same cells are asked for under each delimiter, then as header, then for the mapping
def _matches(heading: str, table: str) -> tuple[_Match, ...]:
    """Every column of ours that a heading may mean: 3 by its whole name, 2 without unit, 1 without fillers."""
    if not any(letter.isalpha() for letter in heading):
        return ()
    aliases = _aliases(table)
    found = [_Match(ours, unit, 3.0 - rank / 1000) for ours, unit, rank in aliases.get(_plain(heading), ())]
    rest, unit = _split_unit(heading)
    tries = [(2.0, rest)]
    bare = " ".join(word for word in _words(rest) if word not in _FILLERS)
    tries.append((1.0, bare))
    for score, text in tries:
        for ours, alias_unit, rank in aliases.get(_plain(text), ()) if _plain(text) else ():
            allowed = allowed_units(tables.field(table, ours))
            if ours in {match.ours for match in found} or (unit and allowed and unit not in allowed):
                continue
            if unit and not allowed:
                continue
            found.append(_Match(ours, unit or alias_unit, score - rank / 1000))
    return tuple(found)


@cache
def _aliases(table: str) -> dict[str, list[tuple[str, str, int]]]:
    """Plain heading -> (ours, unit, rank in the file) for one table; our own names come first."""
    rows = pd.read_csv(FOLDER / "headings.csv", dtype=str, keep_default_na=False)
    fields = {item.name: item for item in tables.TABLES[table] if item.name != "row"}
    entries = [(item.name, item.name, "") for item in fields.values()]
    entries += [(ours, alias, unit) for ours, alias, unit in zip(rows["ours"], rows["alias"], rows["unit"], strict=True)
                if ours in fields]
    found: dict[str, list[tuple[str, str, int]]] = {}
    rank: dict[str, int] = {}
    for ours, alias, unit in entries:
        rank[ours] = rank.get(ours, -1) + 1
        usual = fields[ours].unit if fields[ours].unit in units.UNITS else ""
        known = found.setdefault(_plain(alias), [])
        if ours not in {entry[0] for entry in known}:
            known.append((ours, unit or usual, rank[ours]))
    return found


def _plain(text: str) -> str:
    """Letters, digits and the per cent sign, which changes what a heading means."""
    return re.sub(r"[^\w%]+|_+", "", text.casefold())


def _words(text: str) -> list[str]:
    """The words of a heading; capitals inside a word begin a new one: SegLength -> seg, length."""
    return [word.casefold() for word in re.findall(r"[A-Z]?[a-z]+|[A-Z]+(?![a-z])|\d+|[^\W\d_]+", text)]


def _split_unit(heading: str) -> tuple[str, str | None]:
    """The heading without its unit, and the unit, if it names one in brackets, as '%' or as the last words."""
    for match in re.finditer(r"[(\[]([^()\[\]]*)[)\]]", heading):
        unit = unit_of(match.group(1))
        if unit:
            return heading[: match.start()] + " " + heading[match.end():], unit
    if "%" in heading:
        return heading.replace("%", " "), "per cent"
    words = _words(heading)
    for size in (3, 2, 1):
        unit = unit_of("".join(words[-size:])) if len(words) > size else None
        if unit:
            return " ".join(words[:-size]), unit
    if len(words) > 1 and words[0] in ("percent", "pct"):
        return " ".join(words[1:]), "per cent"
    return " ".join(words), None


def _misfit(item: Field, texts: pd.Series, raw: Raw) -> float:
    """What is taken off a match when most values under the heading are not of the column's kind."""
    sample = texts.dropna().iloc[:_SAMPLE]
    sample = sample[~missing(sample)]
    if sample.empty:
        return 0.0
    values, bad = numbers(sample, semicolons=raw.delimiter == ";", commas=True)
    if item.name == "condition_word":
        return 0.75 if bad.mean() < 0.5 else 0.0
    if item.kind not in ("number", "whole"):
        return 0.0
    if bad.mean() > 0.5:
        return 0.75
    if item.unit in ("points", "year"):
        low = -np.inf if item.low is None else item.low
        high = np.inf if item.high is None else item.high
        return 0.5 if np.mean((values[~bad] < low) | (values[~bad] > high)) > 0.5 else 0.0
    return 0.0
