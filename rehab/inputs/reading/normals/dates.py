"""The month and day of each row of a file of climate normals, however it writes them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from rehab.inputs.reading.normals.columns import Columns, refused
from rehab.inputs.reading.raw import Findings, Mask, Raw
from rehab.inputs.reading.values import Floats

#: days of the months, 29 February among them
LENGTHS: Final = (31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
MONTHS: Final = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
                 "November", "December")
_TAKES: Final = "a day such as 06-30, 6/30 or 2010-06-30 (month first), or the columns month and day"
_TIME: Final = r"(?:[T ](?P<time>.*))?"
#: ways to write a day, or a month alone; the first that fits a cell is taken
_PATTERNS: Final = tuple(re.compile(pattern, re.ASCII) for pattern in (
    rf"(?:(?P<year>\d{{4}})[-/])?(?P<month>\d{{1,2}})[-/](?P<day>\d{{1,2}}){_TIME}",
    rf"(?P<month>\d{{1,2}})[-/](?P<day>\d{{1,2}})[-/](?P<year>\d{{4}}){_TIME}",
    r"(?P<year>\d{4})(?P<month>\d{2})(?P<day>\d{2})",
    r"(?P<month>[A-Za-z]{3,9})\.?[ -](?P<day>\d{1,2})",
    r"(?P<day>\d{1,2})\.?[ -](?P<month>[A-Za-z]{3,9})",
    r"(?P<month>\d{1,2}|[A-Za-z]{3,9})\.?",
    r"(?P<year>\d{4})[-/](?P<month>\d{1,2})",
    r"(?P<year>(?:19|20)\d{2})(?P<month>\d{2})",
))
_NUMBERS: Final = {word: number for number, name in enumerate(MONTHS, start=1)
                   for word in (name.casefold(), name.casefold()[:3])} | {"sept": 9}
_PARTS: Final = ("year", "month", "day", "time")


@dataclass(frozen=True)
class Dates:
    """Month, day (NaN for a month alone) and year (NaN if not written) of each row; ``times`` counts times of day."""

    month: Floats
    day: Floats
    year: Floats
    times: int

    def months_only(self, used: Mask) -> bool:
        """Whether the rows are those of months: no day, or at most twelve rows, each in a month of its own."""
        months = self.month[used]
        return bool(len(months)) and (bool(np.isnan(self.day[used]).mean() > 0.5)
                                      or (len(months) <= 12 and len(set(months)) == len(months)
                                          and len(set(self.day[used])) == 1))


def dates_of(raw: Raw, columns: Columns, found: Findings) -> Dates:
    """The dates of the rows; those that cannot be read or do not exist are stopped in ``found``.

    The column of dates is used if there is one, else the columns of months and days, else that of either alone.
    Raises :class:`UnusableInput` where the days stand before the months.
    """
    heading = columns.day
    texts = raw.frame[heading]
    if "date" not in columns.headings and "month" in columns.headings and "day" in columns.headings:
        texts = raw.frame[columns.headings["month"]] + "-" + texts
    parts = _split(texts)
    year, month, day = (parts[name].to_numpy("float64", na_value=np.nan) for name in ("year", "month", "day"))
    fault = np.isnan(month) & ~found.stopped
    turned = (month > 12) & (day <= 12)
    if turned.sum() > 0.1 * (~fault).sum():
        raise refused(raw, "the days seem to stand before the months", _TAKES, heading, found.problems)
    found.add("stop", fault, heading, texts, "not a day that can be read without doubt; the row is not used", _TAKES)
    known = (month >= 1) & (month <= 12)
    last = np.array(LENGTHS, float)[np.where(known, month, 1).astype(int) - 1]
    real = known & (np.isnan(day) | ((day >= 1) & (day <= last)))
    found.add("stop", ~real & ~found.stopped, heading, texts, "no such day is in any year; the row is not used", _TAKES)
    return Dates(month, day, year, int(parts.loc[~found.stopped, "time"].nunique()))


def _split(texts: pd.Series) -> pd.DataFrame:
    """Numbers year, month, day and the text of a time; NA for what a cell does not have."""
    rows = [_parts(text) if isinstance(text, str) else (None, None, None, None) for text in texts]
    return pd.DataFrame(rows, columns=list(_PARTS)).astype(dict.fromkeys(_PARTS[:3], "float64") | {"time": "str"})


def _parts(text: str) -> tuple[int | None, int | None, int | None, str | None]:
    """Year, month, day and time of a cell, by the first pattern that fits; without a month nothing was read."""
    for pattern in _PATTERNS:
        found = pattern.fullmatch(text)
        if found is None:
            continue
        said = found.groupdict()
        month = _NUMBERS.get(said["month"].casefold()) or (int(said["month"]) if said["month"].isdecimal() else None)
        if month is not None:
            year, day = (int(said[name]) if said.get(name) else None for name in ("year", "day"))
            return year, month, day, said.get("time")
    return None, None, None, None
