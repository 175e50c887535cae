"""A raw table of the weather of given dates, forecast or measured, to the checked table, in deg F."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Final

import numpy as np
import pandas as pd

from rehab.base import tables
from rehab.base.errors import UnusableInput
from rehab.inputs.reading.columns import accepted, has_decimal_commas, read_column
from rehab.inputs.reading.normals.columns import DAILY_FILE, Columns, columns_of, place_of, refused
from rehab.inputs.reading.normals.table import stop_turned
from rehab.inputs.reading.normals.unit import UNITS, in_deg_f, warm
from rehab.inputs.reading.raw import Findings, Mask, Raw, problem_table
from rehab.inputs.reading.values import Floats, missing, numbers

#: days ahead of which a forecast still says more than the normals (common practice, no source)
REACH_DAYS: Final = 16
_TABLE: Final = "weather_forecast"
_TEMPERATURES: Final = ("tmin_f", "tmax_f", "tmean_f")
_FILE: Final = ("a table with date (2027-06-14), tmin and tmax of each day, the unit in its headings, such as tmin_f "
                "or 'low (deg C)'; tmean if there is one")
_SAY: Final = f"the unit in the headings, such as tmax_f or 'high (deg C)', or said: {', '.join(UNITS)}"
#: no air was ever measured hotter: 56.7 deg C, 134 deg F (world record of the meteorological organisation, from memory)
_HOTTEST_C: Final = 57.0
_HOTTEST_F: Final = 134.0
#: the middle one of the distances of some days from their normals is less; the standard deviation of a day is about
#: 10 (both: common practice, no source)
_NEAR_F: Final = 25.0
_ROUNDING_F: Final = 0.11  #: a mean may stand this far outside lowest and highest, each rounded to 0.1


@dataclass(frozen=True)
class ForecastReading:
    """What a file of the weather of given dates gave.

    ``table`` obeys the schema ``weather_forecast``: a row per day, rising, deg F.  ``unit``, one of deg F, tenths of
    deg F and deg C, is what the temperatures were read in, ``how`` says in one sentence of which days and place they
    are and how the unit is known, ``first`` and ``last`` are the days at the ends: all to be confirmed by the user, who
    may read the file again with another unit.  ``problems`` is the table of problems.
    """

    table: pd.DataFrame
    problems: pd.DataFrame
    unit: str
    how: str
    first: date
    last: date


def read_forecast(raw: Raw, unit: str | None = None, *, normals: pd.DataFrame | None = None,
                  today: date | None = None) -> ForecastReading:
    """The weather of some days of one place: a date with its year, lowest and highest temperature, perhaps the mean.

    ``unit`` is used as said; None: it is told by the headings, else by the temperatures where they can be in one unit
    only, else by ``normals`` (the table of that name) if they lie near them in one unit only.  Rows with an unreadable
    day or temperature, a lowest above the highest, or a day that stands twice are stopped by a problem.  Days more than
    :data:`REACH_DAYS` after ``today`` are used, with a warning.  Raises :class:`UnusableInput` without column of
    dates, lowest or highest temperatures, without any row that can be used, for several stations, hours, climate
    normals, headings in different units and a unit that is not clear; :class:`ValueError` for a unit that does not
    exist.
    """
    if unit is not None and unit not in UNITS:
        raise ValueError(f"unknown unit '{unit}'; known are {', '.join(UNITS)}")
    columns = _columns(raw, unit)
    place = place_of(raw, columns)
    found = Findings(raw.name, raw.rows)
    found.stopped[:] = raw.broken
    _no_hours(raw, columns)
    day = _days(raw, columns, found)
    values = _numbers(raw, columns, found)
    _repeated(raw, columns, day, values, found)
    _some_left(raw, columns, found)
    highest = np.where(found.stopped, np.nan, values["tmax_f"].to_numpy(float))
    used, reason = _unit(raw, unit, columns, day, highest, normals, found)
    values = values.apply(lambda column: in_deg_f(column.to_numpy(float), used))
    _within_limits(raw, columns, values, used, found)
    _in_order(raw, columns, values, found)
    _some_left(raw, columns, found)
    table = tables.with_types(_TABLE, values.assign(date=day)[~found.stopped].sort_values("date", ignore_index=True))
    _ask(table, used, unit, columns, normals, found)
    first, last = table["date"].iloc[0].date(), table["date"].iloc[-1].date()
    if today is not None:
        _far_ahead(table["date"], today, columns.day, found)
    gaps = (last - first).days + 1 - len(table)
    between = f", {gaps:,} days between them left to the normals" if gaps else ""
    how = (f"The weather of {len(table):,} {'day' if len(table) == 1 else 'days'} from {first} to {last}{between}, in "
           f"{place or 'a place that the file does not name'}, read as {used}: {reason}.")
    return ForecastReading(tables.check(_TABLE, table), problem_table(raw.problems + found.problems), used, how, first,
                           last)


def _columns(raw: Raw, unit: str | None) -> Columns:
    """The columns, found as those of normals are, with the words of this table."""
    try:
        columns = columns_of(raw, unit)
    except UnusableInput as error:
        raise UnusableInput([
            problem if DAILY_FILE not in problem.accepted else replace(
                problem, accepted=problem.accepted.replace(DAILY_FILE, _FILE),
                message=f"no column is known to hold '{problem.column}' ({tables.field(_TABLE, problem.column).about})"
                if problem.column in _TEMPERATURES else problem.message)
            for problem in error.problems]) from error
    if columns.published:
        raise refused(raw, "the file holds climate normals, not the weather of given dates",
                      f"the file given as daily normals; here {_FILE}")
    if "date" not in columns.headings and ("month" in columns.headings or "day" not in columns.headings):
        raise refused(raw, "no column is known to hold the date with its year", _FILE)
    return columns


def _no_hours(raw: Raw, columns: Columns) -> None:
    """Refuse hours: several times of day, or several numbers in a column of hours."""
    times = raw.frame.loc[~raw.broken, columns.day].str.extract(r"^\S+[T ](.+)$")[0].nunique()
    hours = raw.frame[columns.headings["hour"]].nunique() if "hour" in columns.headings else 0
    if max(times, hours) > 1:
        raise refused(raw, f"the file holds values for {max(times, hours)} hours of the day", _FILE,
                      columns.headings.get("hour", columns.day))


def _days(raw: Raw, columns: Columns, found: Findings) -> pd.Series:
    """The day of each row; rows without a readable one are stopped."""
    sound = ~found.stopped
    part = Findings(found.file, found.rows[sound])
    read = read_column(tables.field(_TABLE, "date"), raw.frame.loc[sound, columns.day], "", part, semicolons=False,
                       commas=False, serials=raw.kind == "xlsx")
    found.problems += part.problems
    found.stopped[sound] = part.stopped
    return read.reindex(raw.frame.index).astype("datetime64[us]")


def _numbers(raw: Raw, columns: Columns, found: Findings) -> pd.DataFrame:
    """The temperatures as they stand in the file, NaN for none."""
    given = [role for role in _TEMPERATURES if role in columns.headings]
    semicolons = raw.delimiter == ";"
    commas = semicolons and has_decimal_commas(raw.frame, [columns.headings[role] for role in given])
    if commas:
        found.note("commas in numbers such as 12,5 were read as decimal commas", "a decimal point, as in 12.5")
    result = pd.DataFrame(np.nan, index=raw.frame.index, columns=list(_TEMPERATURES))
    for role in given:
        texts = raw.frame[columns.headings[role]]
        values, bad = numbers(texts, semicolons, commas)
        if role != "tmean_f":
            found.add("stop", missing(texts) & ~found.stopped, columns.headings[role], None,
                      f"{role} is empty; the row is not used", "a number")
        _not_used(role, bad, columns, raw, "not a number that can be read without doubt", "a number", found)
        result[role] = values
    return result


def _not_used(role: str, mask: Mask, columns: Columns, raw: Raw, message: str, takes: str, found: Findings) -> None:
    """A lowest or highest temperature that cannot be used stops its row; a mean is left out with a warning."""
    heading = columns.headings[role]
    severity, outcome = (("warn", "the value was not used: midway between lowest and highest is")
                         if role == "tmean_f" else ("stop", "the row is not used"))
    found.add(severity, mask & ~found.stopped, heading, raw.frame[heading],  # type: ignore[arg-type]
              f"{message}; {outcome}", takes)


def _repeated(raw: Raw, columns: Columns, day: pd.Series, values: pd.DataFrame, found: Findings) -> None:
    """Stop rows whose day other rows have too: the later ones if all say the same, else all of them."""
    said = values.assign(day=day)[~found.stopped]
    different = said.drop_duplicates().groupby("day").size()
    clash = (said["day"].map(different) > 1).reindex(values.index, fill_value=False).to_numpy(bool)
    same = said["day"].duplicated(keep="first").reindex(values.index, fill_value=False).to_numpy(bool) & ~clash
    for mask, told in ((clash, "the day stands in several rows that differ; none of them is used"),
                       (same, "the day stands in a row above with the same values; this row is not used")):
        found.add("stop", mask, columns.day, raw.frame[columns.day], told, "each day once")


def _some_left(raw: Raw, columns: Columns, found: Findings) -> None:
    if found.stopped.all():
        raise refused(raw, "no row of the file can be used as a day's weather", _FILE, columns.day, found.problems)


def _unit(raw: Raw, said: str | None, columns: Columns, day: pd.Series, highest: Floats, normals: pd.DataFrame | None,
          found: Findings) -> tuple[str, str]:
    """The unit and, in words, how it is known: from the user, a heading, the temperatures or the normals."""
    if said:
        return said, "as was said"
    if columns.unit:
        return columns.unit, f"as the heading '{columns.named_by}' says"
    top = warm(highest)
    seen = f"nine in ten of its highest temperatures are {top:g} or less"
    if top > _HOTTEST_C * 10:
        return "tenths of deg F", f"{seen}, too much for whole degrees and for tenths of deg C"
    if _HOTTEST_C < top <= _HOTTEST_F:
        return "deg F", f"{seen}, too much for deg C"
    rivals = ("deg F", "deg C") if top <= _HOTTEST_C else ("tenths of deg F", "tenths of deg C")
    far = [_distance(day, highest, rival, normals) for rival in rivals]
    near = [at for at, value in enumerate(far) if value <= _NEAR_F]
    if len(near) == 1 and rivals[near[0]] in UNITS:
        at = near[0]
        return rivals[at], (f"so the highest are {far[at]:.0f} deg F off the normals of their days (the median), but "
                            f"{far[1 - at]:.0f} if they were {rivals[1 - at]}")
    raise refused(raw, f"it is not clear whether the temperatures are {' or '.join(rivals)}: {seen}", _SAY,
                  columns.headings["tmax_f"], found.problems)


def _distance(day: pd.Series, highest: Floats, unit: str, normals: pd.DataFrame | None) -> float:
    """Median distance of the highest temperatures, read in a unit, from the normal ones, deg F; NaN without normals."""
    if normals is None:
        return float("nan")
    usual = pd.Series(normals["tmax_f"].to_numpy(float), index=normals["month"] * 100 + normals["day"])
    read = in_deg_f(highest / 10, "deg C") if unit == "tenths of deg C" else in_deg_f(highest, unit)
    gap = np.abs(read - (day.dt.month * 100 + day.dt.day).map(usual).to_numpy(float))
    return float(np.nanmedian(gap)) if np.isfinite(gap).any() else float("nan")


def _within_limits(raw: Raw, columns: Columns, values: pd.DataFrame, unit: str, found: Findings) -> None:
    """Leave out, in place, what no place on earth has."""
    for role in [role for role in _TEMPERATURES if role in columns.headings]:
        item = tables.field(_TABLE, role)
        off = ((values[role] < item.low) | (values[role] > item.high)).to_numpy(bool)
        _not_used(role, off, columns, raw, "outside the limits", f"{accepted(item)}, when read as {unit}", found)
        values.loc[off, role] = np.nan


def _in_order(raw: Raw, columns: Columns, values: pd.DataFrame, found: Findings) -> None:
    """Stop rows with the lowest above the highest; leave out, in place, a mean that is not between them."""
    stop_turned(raw, columns, values, found)
    outside = ((values["tmean_f"] < values["tmin_f"] - _ROUNDING_F)
               | (values["tmean_f"] > values["tmax_f"] + _ROUNDING_F)).to_numpy(bool)
    if "tmean_f" in columns.headings:
        _not_used("tmean_f", outside, columns, raw, "the mean is not between lowest and highest",
                  "a mean between them, or an empty cell", found)
        values.loc[outside, "tmean_f"] = np.nan


def _ask(table: pd.DataFrame, unit: str, said: str | None, columns: Columns, normals: pd.DataFrame | None,
         found: Findings) -> None:
    """Warn of a conversion, of a unit that contradicts its heading, and of weather far from the normals."""
    heading = columns.headings["tmax_f"]
    if unit != "deg F":
        found.note(f"the temperatures were read as {unit} and converted to deg F", _SAY, heading)
    if said and columns.unit and said != columns.unit:
        found.note(f"the heading names the unit {columns.unit}, but {said} was said and is used", _SAY,
                   columns.named_by)
    off = _distance(table["date"], table["tmax_f"].to_numpy(float), "deg F", normals)
    if off > _NEAR_F:
        found.note(f"read as {unit}, the highest temperatures are {off:.0f} deg F off the normals of their days (the "
                   "median): are the unit and the place right?", _SAY, heading)


def _far_ahead(days: pd.Series, today: date, heading: str, found: Findings) -> None:
    reach = today + timedelta(days=REACH_DAYS)
    far = days[days > pd.Timestamp(reach)]
    if len(far):
        found.note(f"{len(far):,} {'day is' if len(far) == 1 else 'days are'} more than {REACH_DAYS} days after "
                   f"{today}: used as given, but a forecast so far ahead is weak (common practice, no source)",
                   f"days up to {reach}; the normals tell of later ones", heading, f"{far.iloc[0]:%Y-%m-%d}")
