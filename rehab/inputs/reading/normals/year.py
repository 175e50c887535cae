"""Rows of days or months to the 366 days of a year: short gaps bridged and told, longer ones refused."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.errors import Problem
from rehab.inputs.reading.normals.columns import DAILY_FILE, TEMPERATURES
from rehab.inputs.reading.normals.dates import LENGTHS, MONTHS
from rehab.inputs.reading.raw import Findings, Mask
from rehab.inputs.reading.values import Floats

BRIDGED: Final = 3  #: days in a row without values that are taken in a straight line between the days beside them
DAYS: Final = sum(LENGTHS)
MONTH: Final = np.repeat(np.arange(1, 13), LENGTHS)
DAY: Final = np.concatenate([np.arange(1, length + 1) for length in LENGTHS])
_LEAP_DAY: Final = 59  #: place of 29 February, from 0
_NAMED: Final = 40
_SMOOTH_F: Final = 1.5  #: normals of 30 years move less than this from a line between the days beside


def from_days(rows: pd.DataFrame, found: Findings) -> tuple[pd.DataFrame, list[Problem]]:
    """The year from ``rows`` (month, day and values, a day once); stops for gaps too long, then the year is empty.

    A day without lowest or highest temperature is bridged as a whole, so that lowest <= mean <= highest stays true.
    """
    place = pd.MultiIndex.from_arrays([MONTH, DAY], names=["month", "day"])
    year = rows.set_index(["month", "day"]).reindex(place).reset_index().astype({"month": "int64", "day": "int64"})
    gap = year[["tmin_f", "tmax_f"]].isna().any(axis=1).to_numpy(bool)
    lengths = _run_lengths(gap)
    if (lengths > BRIDGED).any():
        return year.iloc[:0], [_gaps(found.file, gap, lengths)]
    halves = year["tmean_f"].isna().to_numpy(bool) & ~gap
    year.loc[halves, "tmean_f"] = (year["tmin_f"] + year["tmax_f"])[halves] / 2
    if halves.all() or halves.sum() == DAYS - gap.sum():
        found.note("there are no mean temperatures: taken as half the sum of lowest and highest",
                   "a column of mean temperatures")
    elif halves.any():
        found.note(f"no mean temperature for {_named(halves)}: taken as half the sum of lowest and highest",
                   "a mean temperature for every day")
    year.loc[gap, list(TEMPERATURES)] = np.nan
    for column in TEMPERATURES:
        year[column] = _bridged(year[column].to_numpy("float64"), gap)
    alone = bool(gap[_LEAP_DAY] and lengths[_LEAP_DAY] == 1)
    if alone:
        found.note("no temperatures for 29 February: taken midway between 28 February and 1 March",
                   "a row for 02-29")
    told = gap & ~(alone & (np.arange(DAYS) == _LEAP_DAY))
    if told.any():
        found.note(f"no temperatures for {_named(told)}: taken in a straight line between the days beside",
                   "a row with lowest and highest temperature for every day")
    for column in [name for name in year.columns if name not in ("month", "day", *TEMPERATURES)]:
        year[column] = _as_far_as_known(column, year[column].to_numpy("float64"), gap, found)
    _rough(year["tmax_f"].to_numpy("float64"), found)
    return year, []


def from_months(rows: pd.DataFrame, found: Findings) -> tuple[pd.DataFrame, list[Problem]]:
    """The year from ``rows`` of months, in straight lines between the middles of the months; stops if one lacks."""
    months = rows.set_index("month").reindex(range(1, 13))
    gone = months[["tmin_f", "tmax_f"]].isna().any(axis=1).to_numpy(bool)
    if gone.any():
        names = ", ".join(MONTHS[at] for at in np.flatnonzero(gone))
        return rows.iloc[:0], [Problem("stop", found.file, None, "month", None,
                                       f"no lowest or highest temperature for {names}", "a row for each of the 12 "
                                       f"months, or {DAILY_FILE}")]
    halves = months["tmean_f"].isna()
    months.loc[halves, "tmean_f"] = (months["tmin_f"] + months["tmax_f"])[halves] / 2
    if halves.any():
        which = "" if halves.all() else " for " + ", ".join(MONTHS[at] for at in np.flatnonzero(halves))
        found.note(f"no mean temperature{which}: taken as half the sum of lowest and highest", "mean temperatures")
    found.note("monthly normals: the days were taken in straight lines between the middles of the months, which takes "
               "a little off the warmest and the coldest weeks", DAILY_FILE)
    starts = np.concatenate([[0], np.cumsum(LENGTHS)[:-1]])
    middles = starts + np.array(LENGTHS) / 2
    year = pd.DataFrame({"month": MONTH, "day": DAY}).astype("int64")
    for column in [name for name in months.columns if name != "day"]:
        known = months[column].notna().to_numpy(bool)
        values = months[column].to_numpy("float64")
        if not known.all() and known.any():
            found.note(f"'{column}' is not given for every month; it is left out", "a value for each of the 12 months")
        year[column] = (np.interp(np.arange(DAYS) + 0.5, middles, values, period=DAYS) if known.all()
                        else np.full(DAYS, np.nan))
    return year, []


def _run_lengths(gap: Mask) -> npt.NDArray[np.int64]:
    """For each day without values how many stand in a row there, over the turn of the year too; 0 elsewhere."""
    result = np.zeros(DAYS, "int64")
    if gap.all():
        return np.full(DAYS, DAYS)
    first = int(np.flatnonzero(~gap)[0])
    turned = np.roll(gap, -first)  # begins with a day that has values
    edges = np.flatnonzero(np.diff(np.append(turned, False).astype("int8")))
    for before, last in zip(edges[::2], edges[1::2], strict=True):
        result[before + 1:last + 1] = last - before
    return np.roll(result, first)


def _bridged(values: Floats, gap: Mask) -> Floats:
    days = np.arange(DAYS)
    return np.where(gap, np.interp(days, days[~gap], values[~gap], period=DAYS), values)


def _as_far_as_known(column: str, values: Floats, told: Mask, found: Findings) -> Floats:
    """A column that may have gaps: short ones bridged, longer ones left; days ``told`` of before are not told again."""
    gap = np.isnan(values)
    if not gap.any():
        return values
    if gap.all():
        found.note(f"'{column}' has no values", "a value for every day")
        return values
    short = gap & (_run_lengths(gap) <= BRIDGED)
    if (short & ~told).any():
        found.note(f"'{column}' is missing for {_named(short & ~told)}: taken in a straight line between the days "
                   "beside", "a value for every day")
    if (gap & ~short).any():
        found.note(f"'{column}' is missing for {_named(gap & ~short)}, which is too long to bridge: it stays without",
                   "a value for every day")
    return np.where(short, _bridged(values, gap), values)


def _rough(highest: Floats, found: Findings) -> None:
    """Ask whether these are normals at all where the days jump as the weather of single years does."""
    jump = float(np.median(np.abs(highest - (np.roll(highest, 1) + np.roll(highest, -1)) / 2)))
    if jump > _SMOOTH_F:
        found.note(f"the highest temperatures jump from day to day, by {jump:.1f} deg F in the middle: is this the "
                   "weather of one year or of a few? Normals of 30 years are smooth", DAILY_FILE)


def _gaps(file: str, gap: Mask, lengths: npt.NDArray[np.int64]) -> Problem:
    """The stop that names the months without any values and the other gaps that are too long."""
    whole = [month for month in range(1, 13) if gap[month == MONTH].all()]
    rest = (lengths > BRIDGED) & ~np.isin(MONTH, whole)
    parts = [", ".join(MONTHS[month - 1] for month in whole)] if whole else []
    parts += [_named(rest)] if rest.any() else []
    return Problem("stop", file, None, None, None,
                   f"no lowest or highest temperature for {' and for '.join(parts)}; gaps of more than {BRIDGED} days "
                   "are not bridged", "a file with a row for every day of the year, or another station near the city")


def _named(days: Mask) -> str:
    """Days in words, those in a row as 'from to': '3 March, 9 to 11 April'."""
    starts = np.flatnonzero(days & ~np.append(False, days[:-1]))
    ends = np.flatnonzero(days & ~np.append(days[1:], False))
    spans = [_word(first) if first == last else f"{_word(first)} to {_word(last)}"
             for first, last in zip(starts, ends, strict=True)]
    more = f" and {len(spans) - _NAMED:,} more" if len(spans) > _NAMED else ""
    return ", ".join(spans[:_NAMED]) + more


def _word(at: np.int64) -> str:
    return f"{DAY[at]} {MONTHS[MONTH[at] - 1]}"
