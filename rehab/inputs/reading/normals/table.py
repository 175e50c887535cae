"""A raw table to the checked table of climate normals: 366 days in deg F, with all that was found wrong."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from rehab.base import tables
from rehab.base.errors import UnusableInput
from rehab.inputs.reading.columns import has_decimal_commas
from rehab.inputs.reading.normals.columns import (
    DAILY_FILE,
    SPREADS,
    TEMPERATURES,
    Columns,
    columns_of,
    place_of,
    refused,
)
from rehab.inputs.reading.normals.dates import LENGTHS, Dates, dates_of
from rehab.inputs.reading.normals.unit import UNITS, ask, in_deg_f, recognised
from rehab.inputs.reading.normals.year import from_days, from_months
from rehab.inputs.reading.raw import Findings, Mask, Raw, problem_table
from rehab.inputs.reading.values import Floats, numbers, per_cent_signs

#: codes for no value in the published files (from memory)
_SPECIAL: Final = (-9999.0, -8888.0, -7777.0, -6666.0, -5555.0)
_ROUNDING_F: Final = 0.11  #: a mean may stand this far outside lowest and highest, each rounded to 0.1
_VALUES: Final = (*TEMPERATURES, *SPREADS, "wet_share")


@dataclass(frozen=True)
class NormalsReading:
    """What a file of climate normals gave.

    ``table`` obeys the schema ``normals``: 366 rows by month and day, deg F.  ``unit``, one of :data:`UNITS`, is what
    the temperatures were read in, and ``how`` says in one sentence of which place they are and how the unit is known:
    both are to be confirmed by the user, who may read the file again with another unit.  ``problems`` is the table of
    problems.
    """

    table: pd.DataFrame
    problems: pd.DataFrame
    unit: str
    how: str


def read_normals(raw: Raw, unit: str | None = None) -> NormalsReading:
    """Daily or monthly climate normals of one station, by the published headings or plain ones such as tmin.

    ``unit``, one of :data:`UNITS`, is used as said; None: it is told by the headings, else by the warm days.  Rows
    with an impossible day, an unreadable temperature, a lowest above the highest, or a day that stands twice are
    stopped by a problem.  Gaps of up to three days, 29 February and means that lack are filled, with a warning.
    Raises :class:`UnusableInput` if there is no lowest or highest temperature, for longer gaps, several stations,
    hourly normals, the weather of several years, and headings in different units; :class:`ValueError` for a unit
    that does not exist.
    """
    if unit is not None and unit not in UNITS:
        raise ValueError(f"unknown unit '{unit}'; known are {', '.join(UNITS)}")
    columns = columns_of(raw, unit)
    place = place_of(raw, columns)
    found = Findings(raw.name, raw.rows)
    found.stopped[:] = raw.broken
    dates = dates_of(raw, columns, found)
    _no_hours(raw, columns, dates, found)
    monthly = columns.published == "MLY" or (not columns.published and dates.months_only(~found.stopped))
    if not monthly:
        _whole_days(raw, columns, dates, found)
    _repeated(raw, columns, dates, monthly, found)
    values = _numbers(raw, columns, found)
    highest = np.where(found.stopped, np.nan, values["tmax_f"].to_numpy("float64"))
    used, reason = recognised(unit, columns.unit, columns.named_by, highest)
    ask(used, unit, columns.unit, columns.named_by, highest, columns.headings["tmax_f"], found)
    converted = _converted(raw, columns, values, used, dates, monthly, found)
    kept = [role for role in _VALUES if role in (*TEMPERATURES, *columns.headings)]
    rows = converted[kept].assign(month=dates.month, day=dates.day)[~found.stopped]
    year, stops = (from_months(rows.drop(columns="day"), found) if monthly else from_days(rows, found))
    if stops:
        raise UnusableInput([*raw.problems, *found.problems, *stops])
    table = tables.check("normals", tables.with_types("normals", year))
    rain = "" if table["wet_share"].notna().any() else "; it has no chance of rain"
    how = (f"{'Monthly' if monthly else 'Daily'} normals of {place or 'a place that the file does not name'}, "
           f"read as {used}: {reason}{rain}.")
    return NormalsReading(table, problem_table(raw.problems + found.problems), used, how)


def _no_hours(raw: Raw, columns: Columns, dates: Dates, found: Findings) -> None:
    """Refuse hours: several times of day, or several numbers in a column of hours."""
    hours = raw.frame[columns.headings["hour"]].nunique() if "hour" in columns.headings else 0
    if dates.times > 1 or hours > 1:
        raise refused(raw, f"the file holds values for {max(dates.times, hours)} hours of the day", DAILY_FILE,
                      columns.headings.get("hour", columns.day), found.problems)


def _whole_days(raw: Raw, columns: Columns, dates: Dates, found: Findings) -> None:
    """Stop rows of a month alone in a file of days."""
    found.add("stop", np.isnan(dates.day) & ~found.stopped, columns.day, raw.frame[columns.day],
              "a month without its day in a file of days; the row is not used", "a day such as 06-30")


def _repeated(raw: Raw, columns: Columns, dates: Dates, monthly: bool, found: Findings) -> None:
    """Stop rows whose day (or month) other rows have too: the later ones if all say the same, else all of them."""
    said = raw.frame[[columns.headings[role] for role in _VALUES if role in columns.headings]]
    key = pd.Series(dates.month * 100 + (0 if monthly else dates.day), index=said.index)[~found.stopped]
    again = key.duplicated(keep=False)
    years = np.unique(dates.year[~found.stopped & ~np.isnan(dates.year)])
    if again.any() and len(years) > 1:
        raise refused(raw, f"the file holds {'months' if monthly else 'days'} of {len(years)} years, {years[0]:.0f} to "
                      f"{years[-1]:.0f}: the weather as measured, not normals",
                      f"the mean of each day over 30 years; {DAILY_FILE}", columns.day, found.problems)
    versions = said.loc[key.index].assign(key=key).drop_duplicates().groupby("key").size()
    clash = key.map(versions) > 1
    same = key.duplicated(keep="first") & ~clash
    what = "month" if monthly else "day"
    for rows, told in ((clash, f"the {what} stands in several rows that differ; none of them is used"),
                       (same, f"the {what} stands in a row above with the same values; this row is not used")):
        found.add("stop", rows.reindex(said.index, fill_value=False).to_numpy(bool), columns.day,
                  raw.frame[columns.day], told, f"each {what} once")


def _numbers(raw: Raw, columns: Columns, found: Findings) -> pd.DataFrame:
    """The values as they stand in the file, NaN for none and for the codes that mean none."""
    given = {role: columns.headings[role] for role in _VALUES if role in columns.headings}
    semicolons = raw.delimiter == ";"
    commas = semicolons and has_decimal_commas(raw.frame, list(given.values()))
    if commas:
        found.note("commas in numbers such as 12,5 were read as decimal commas", "a decimal point, as in 12.5")
    result = pd.DataFrame(np.nan, index=raw.frame.index, columns=list(_VALUES))
    for role, heading in given.items():
        texts = raw.frame[heading]
        if role == "wet_share":
            texts = texts.str.rstrip("% ")
        values, bad = numbers(texts, semicolons, commas)
        values[np.isin(values, _SPECIAL)] = np.nan
        _not_used(role, bad & ~found.stopped, heading, raw.frame[heading], "not a number that can be read without "
                  "doubt", "a number, or -9999 or an empty cell for no value", found)
        result[role] = values
    return result


def _not_used(role: str, mask: Mask, heading: str, texts: pd.Series,
              message: str, takes: str, found: Findings) -> None:
    """A lowest or highest temperature that cannot be used stops its row; another value is left out with a warning."""
    if role not in ("tmin_f", "tmax_f"):
        found.add("warn", mask, heading, texts, f"{message}; the value was not used", takes)
    else:
        found.add("stop", mask, heading, texts, f"{message}; the row is not used", takes)


def _converted(raw: Raw, columns: Columns, values: pd.DataFrame, unit: str, dates: Dates, monthly: bool,
               found: Findings) -> pd.DataFrame:
    """The values in deg F and shares, without those outside the limits or at odds with each other."""
    result = values.copy()
    for role in (*TEMPERATURES, *SPREADS):
        result[role] = in_deg_f(values[role].to_numpy("float64"), unit, role in SPREADS)
    if monthly and values[list(SPREADS)].notna().any(axis=None):
        found.note("standard deviations of monthly normals are those of whole months from year to year, not of days; "
                   "they were not used", "daily normals, for the chance that a day is too cold")
        result[list(SPREADS)] = np.nan
    if "wet_share" in columns.headings:
        result["wet_share"] = _wet(values["wet_share"].to_numpy("float64"), columns.headings["wet_share"], raw, unit,
                                   dates, found)
    _within_limits(raw, columns, result, unit, found)
    _in_order(raw, columns, result, found)
    return result


def _within_limits(raw: Raw, columns: Columns, values: pd.DataFrame, unit: str, found: Findings) -> None:
    """Leave out, in place, what no place on earth has."""
    for role in [role for role in _VALUES if role in columns.headings]:
        item, heading = tables.field("normals", role), columns.headings[role]
        low, high = float(item.low or 0.0), float(item.high or 0.0)
        off = ((values[role] < low) | (values[role] > high)).to_numpy(bool) & ~found.stopped
        takes = (f"a value from {low:g} to {high:g} {item.unit}, when read as {unit}" if role != "wet_share" else
                 "a share from 0 to 1, or per cent under a heading that says so")
        _not_used(role, off, heading, raw.frame[heading], "outside the limits", takes, found)
        values.loc[off, role] = np.nan


def stop_turned(raw: Raw, columns: Columns, values: pd.DataFrame, found: Findings) -> None:
    """Stop rows with the lowest temperature above the highest."""
    low, high = columns.headings["tmin_f"], columns.headings["tmax_f"]
    turned = (values["tmin_f"] > values["tmax_f"]).to_numpy(bool) & ~found.stopped
    found.add("stop", turned, low, raw.frame[low],
              [f"the lowest temperature is above the highest ({value} under '{high}'); the row is not used"
               for value in raw.frame.loc[turned, high]], f"a lowest temperature up to that under '{high}'",
              kind="the lowest temperature is above the highest; the row is not used")


def _in_order(raw: Raw, columns: Columns, values: pd.DataFrame, found: Findings) -> None:
    """Stop rows with the lowest above the highest; leave out, in place, a mean that is not between them."""
    stop_turned(raw, columns, values, found)
    if "tmean_f" not in columns.headings:
        return
    mean = columns.headings["tmean_f"]
    outside = ((values["tmean_f"] < values["tmin_f"] - _ROUNDING_F)
               | (values["tmean_f"] > values["tmax_f"] + _ROUNDING_F)).to_numpy(bool) & ~found.stopped
    _not_used("tmean_f", outside, mean, raw.frame[mean], "the mean is not between lowest and highest",
              "a mean between them, or an empty cell", found)
    values.loc[outside, "tmean_f"] = np.nan


def _wet(values: Floats, heading: str, raw: Raw, unit: str, dates: Dates, found: Findings) -> Floats:
    """The chance of a wet day as a share: from per cent, from days in the month, or a share as it stands.

    Per cent and days in a file with tenths of degrees are in tenths too, if all of them are whole numbers.
    """
    filled, upper = values[np.isfinite(values)], heading.upper()
    in_days = "AVGNDS" in upper
    per_cent = ("PCT" in upper or "%" in upper or "PERCENT" in upper.replace(" ", "")
                or per_cent_signs(raw.frame[heading]))
    tenths = (unit == "tenths of deg F" and len(filled) > 0 and bool((filled % 1 == 0).all())
              and (in_days or bool(np.all(per_cent))))
    size = 0.1 if tenths else 1.0
    if tenths:
        found.note("the chance of rain was read in tenths too, as the temperatures are", "a value with a decimal "
                   "point somewhere, if it is not in tenths", heading)
    divisor = np.where(per_cent, 100.0, 1.0)
    if in_days:
        lengths = np.array([28.25 if length == 29 else length for length in LENGTHS])
        known = (dates.month >= 1) & (dates.month <= 12)
        divisor = lengths[np.where(known, dates.month, 1).astype(int) - 1]
    shares: Floats = values * size / divisor
    return shares
