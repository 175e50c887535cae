"""One column of an upload: its texts to checked values in our unit, with a problem for each that is not used."""

from __future__ import annotations

import numpy as np
import pandas as pd

from rehab.base import units
from rehab.base.errors import Severity
from rehab.base.tables import Field
from rehab.inputs.reading.raw import Findings, Mask
from rehab.inputs.reading.values import (
    NO_VALUE_WORDS,
    days,
    decimal_commas,
    missing,
    numbers,
    per_cent_signs,
    plain_word,
    word_list,
    words,
)


def read_column(item: Field, texts: pd.Series, unit: str, found: Findings, *, semicolons: bool, commas: bool,
                serials: bool) -> pd.Series:
    """The values of one column of ours, NA where there is none or where it could not be used.

    A bad value stops the row in a required column; in an optional one it is left out with a warning that says so.
    ``semicolons``: the file is delimited by them; ``commas``: it holds decimal commas; ``serials``: days may be
    spreadsheet numbers.
    """
    heading = str(texts.name)
    if item.required:
        empty = missing(texts) if item.kind != "text" else texts.isna().to_numpy(bool)
        found.add("stop", empty, heading, texts, f"{item.name} is empty; the row is not used", accepted(item, unit))
    if item.kind == "text":
        return texts
    if item.kind in ("number", "whole"):
        return _number(item, texts, unit, found, semicolons, commas)
    if item.kind == "date":
        return _day(item, texts, found, serials)
    return _word(item, texts, found)


def accepted(item: Field, unit: str = "") -> str:
    """What a column takes, in words: kind, limits, units."""
    if item.kind in ("choice", "flag"):
        return f"one of {', '.join(item.choices)}" if item.choices else "yes or no (also y/n, true/false, 1/0)"
    if item.kind == "date":
        return "a day such as 2024-06-30 or 6/30/2024 (month first)"
    if item.kind == "text":
        return "a text"
    kind = "a whole number" if item.kind == "whole" else "a number"
    own = "" if item.unit in ("count", "year", "points") else f" {item.unit}"
    text = f"{kind}{_limits(item.low, item.high)}{own}"
    if unit and unit != item.unit and unit in units.UNITS and item.unit in units.UNITS:
        factor = units.factor(item.unit, unit)
        low, high = (None if limit is None else limit * factor for limit in (item.low, item.high))
        text += f", that is{_limits(low, high)} {unit}"
    return text if item.required else f"{text}; {NO_VALUE_WORDS}"


def has_decimal_commas(frame: pd.DataFrame, headings: list[str]) -> bool:
    """Whether any cell under the headings of numbers can only be a number with a decimal comma."""
    return any(decimal_commas(frame[heading]).any() for heading in headings)


def _limits(low: float | None, high: float | None) -> str:
    if low is None and high is None:
        return ""
    if high is None:
        return f" of {low:,.4g} or more"
    return f" from {low:,.6g} to {high:,.6g}"


def _not_used(item: Field) -> tuple[Severity, str]:
    return ("stop", "the row is not used") if item.required else ("warn", "the value was not used")


def _number(item: Field, texts: pd.Series, unit: str, found: Findings, semicolons: bool, commas: bool) -> pd.Series:
    heading, takes = str(texts.name), accepted(item, unit)
    severity, outcome = _not_used(item)
    percent = per_cent_signs(texts) if item.unit == "share" else np.zeros(len(texts), bool)
    bare = texts.mask(percent, texts.str.rstrip("% ")) if percent.any() else texts
    values, bad = numbers(bare, semicolons, commas)
    found.add(severity, bad, heading, texts, f"not a number that can be read without doubt; {outcome}", takes)
    factor = units.factor(unit or item.unit, item.unit)
    values = values * np.where(percent, 0.01, factor)
    if item.kind == "whole":
        broken = np.isfinite(values) & (values % 1 != 0)
        found.add(severity, broken, heading, texts, f"not a whole number; {outcome}", takes)
        values[broken] = np.nan
    low = -np.inf if item.low is None else item.low
    high = np.inf if item.high is None else item.high
    outside = (values < low) | (values > high)
    if outside.any():
        found.add(severity, outside, heading, texts, f"outside the limits; {outcome}",
                  takes + _perhaps(item, unit, values))
        values[outside] = np.nan
    return pd.Series(values, index=texts.index)


def _perhaps(item: Field, unit: str, values: np.ndarray[tuple[int], np.dtype[np.float64]]) -> str:
    """A hint at a mistaken unit, where another one would bring most values within the limits."""
    filled = values[np.isfinite(values)]
    low = -np.inf if item.low is None else item.low
    high = np.inf if item.high is None else item.high

    def inside(factor: float) -> float:
        return float(np.mean((filled * factor >= low) & (filled * factor <= high)))

    others = {other: units.factor(other, unit) for other in units.same_kind(unit)[1:]}
    preferred = sorted(others, key=lambda other: (other not in ("m", "per cent", "mm", "in", "ft"), others[other]))
    better = [other for other in preferred if inside(others[other]) > 0.9]
    return f" (are the values in {better[0]}? then give the unit '{better[0]}')" if better and inside(1.0) < 0.5 else ""


def _day(item: Field, texts: pd.Series, found: Findings, serials: bool) -> pd.Series:
    severity, outcome = _not_used(item)
    values, bad, counted = days(texts, serials)
    found.add(severity, bad, str(texts.name), texts, f"not a day that can be read without doubt; {outcome}",
              accepted(item))
    if counted.any():
        found.note(f"{counted.sum():,} numbers were read as spreadsheet days counted from 1900", accepted(item),
                   str(texts.name), str(texts[counted].iloc[0]))
    years = values.dt.year
    outside = ((years < 1850) | (years > 2150)).to_numpy(bool)
    found.add(severity, outside, str(texts.name), texts, f"outside the limits; {outcome}", "a day from 1850 to 2150")
    return values.mask(outside)


def _word(item: Field, texts: pd.Series, found: Findings) -> pd.Series:
    severity, outcome = _not_used(item)
    values, bad = words(texts, word_list("flag" if item.kind == "flag" else item.name, item.choices))
    found.add(severity, bad, str(texts.name), texts, f"not a word that is known; {outcome}", accepted(item))
    if item.kind == "flag":
        return values.map({"true": True, "false": False}).astype("boolean")
    _translated(item, texts, values, found)
    return values


def _translated(item: Field, texts: pd.Series, values: pd.Series, found: Findings) -> None:
    """One warning that says which words were read as which of ours."""
    own = dict(zip(item.choices, plain_word(pd.Series(item.choices, dtype="str")), strict=True))
    other: Mask = (values.notna() & (plain_word(texts) != values.map(own))).to_numpy(bool)
    if other.any():
        counts = pd.DataFrame({"theirs": texts[other], "ours": values[other]}).value_counts()
        told = "; ".join(f"'{theirs}' as {ours} ({count:,})"
                         for (theirs, ours), count in zip(counts.index, counts, strict=True))
        found.note(f"words read: {told}"[:1000], f"{accepted(item)}, or another word in the table", str(texts.name))
