"""The assumptions: defaults from ``data/assumptions/*.csv`` with the city's own rows laid over them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Final

import pandas as pd

from rehab.base.errors import BadAssumption
from rehab.base.settings import ASSUMPTION_TABLES, WEEKDAYS, Assumptions
from rehab.base.tables import CALLS, CLASSES, SEVERITIES, WORK

FOLDER: Final = Path(__file__).parents[2] / "data"
_COMMON: Final = ("key", "value", "unit", "low", "high", "source_id", "place", "year", "note")
#: unit of a row that holds a word -> the words it takes
_WORDS: Final = {"severity": SEVERITIES, "call": CALLS, "class of street": CLASSES, "yes or no": ("yes", "no"),
                 "eighth or published": ("eighth", "published"),
                 "all-in or components": ("all-in", "components"),
                 "least cost or about the damage": ("least cost", "about the damage"),
                 "unit prices or published": ("unit prices", "published"),
                 "across or wheel paths": ("across", "wheel paths"),
                 "strategy": WORK,
                 "days or strength": ("days", "strength"),
                 "ACI 209 or CEB-FIP or own curve": ("ACI 209", "CEB-FIP", "own curve"),
                 "Nurse-Saul or equivalent age": ("Nurse-Saul", "equivalent age"),
                 "pace of crews": ("low", "likely", "high"), "late or soon": ("late", "soon"),
                 "curb-ramp duty": ("alteration", "review", "maintenance", "none")}
#: parts of a price that a city may bring with its value, as keys of their own: 'diamond_grinding low'
_OWN: Final = ("low", "high", "note")
_STATUS: Final = ("read", "from memory", "common practice, no source")


def defaults(folder: Path = FOLDER) -> Assumptions:
    """The default assumptions and their sources.

    Raises :class:`BadAssumption` when a file lacks a column, repeats a key, names an unknown source or holds
    a value outside its own range.
    """
    sources = pd.read_csv(folder / "sources.csv", dtype=str, keep_default_na=False).set_index("source_id")
    wrong = sources.index[~sources["status"].isin(_STATUS)]
    if len(wrong):
        raise BadAssumption(f"sources.csv: the status of '{wrong[0]}' is not one of {', '.join(_STATUS)}")
    tables = {name: _read(folder / "assumptions" / f"{name}.csv", sources) for name in ASSUMPTION_TABLES}
    return Assumptions(tables, sources)


def overlay(base: Assumptions, city: Mapping[str, Mapping[str, float | str]]) -> Assumptions:
    """The assumptions with the city's values, given as table -> key -> value; the note says what the default was.

    With a price of ``pay_items`` a city may bring its own low, high and note, under the keys 'KEY low', 'KEY high' and
    'KEY note'; the price must then lie between those.  Raises :class:`BadAssumption` for a table or key that does not
    exist, for a number outside the row's range of low to high, for a range that is none, and for a word that its unit
    does not know, since a default is never edited in place but only replaced by a reasonable value.
    """
    tables = dict(base.tables)
    for name, given in city.items():
        table = base.table(name).copy()
        rows, own = _parted(name, given, table)
        for key, parts in own.items():
            _own_range(table, key, parts, rows.setdefault(key, str(table.at[key, "value"])))
        for key, value in rows.items():
            if key not in table.index:
                raise BadAssumption(f"the table '{name}' has no row '{key}'")
            low, high, unit = (str(table.at[key, column]) for column in ("low", "high", "unit"))
            _within(name, key, value, low, high)
            _among(name, key, str(value), unit)
            for column, text in (("value", str(value)), ("origin", "city"),
                                 ("note", _note(base.table(name), key, own.get(key, {})))):
                table.at[key, column] = text
        tables[name] = table
    if "season" in city:
        _holidays_known(tables["season"]["value"])
    return replace(base, tables=tables)


def _parted(name: str, given: Mapping[str, float | str], table: pd.DataFrame
            ) -> tuple[dict[str, float | str], dict[str, dict[str, float | str]]]:
    """The values by key, and what a city brings of its own beside them: key -> low, high, note."""
    rows: dict[str, float | str] = {}
    own: dict[str, dict[str, float | str]] = {}
    for key, value in given.items():
        row, _, part = key.rpartition(" ")
        if part not in _OWN or row not in table.index:
            rows[key] = value
            continue
        if name != "pay_items":
            raise BadAssumption(f"{name}: '{row}' takes no {part} of the city's own; prices of pay_items do")
        own.setdefault(row, {})[part] = value
    return rows, own


def _own_range(table: pd.DataFrame, key: str, parts: Mapping[str, float | str], value: float | str) -> None:
    """Lay a city's low and high over the default's in place, if they are prices around the value."""
    for part in ("low", "high"):
        if part in parts:
            table.at[key, part] = str(parts[part])
    try:
        low, middle, high = (float(str(number)) for number in (table.at[key, "low"], value, table.at[key, "high"]))
    except ValueError as error:
        raise BadAssumption(f"pay_items: the low, the value or the high of '{key}' is not a number") from error
    # Written so that NaN is refused as well.
    if not 0 < low <= middle <= high < float("inf"):
        raise BadAssumption(f"pay_items: the city's low {low:g}, value {middle:g} and high {high:g} of '{key}' are not "
                            "prices above zero in that order")


def _note(defaults: pd.DataFrame, key: str, own: Mapping[str, float | str]) -> str:
    """What the default was, and what the city says of its own value."""
    value, low, high = (str(defaults.at[key, column]) for column in ("value", "low", "high"))
    text = f"default {value}" + (f", {low} to {high}" if "low" in own or "high" in own else "")
    return f"{text}; {own['note']}" if "note" in own else text


def _read(path: Path, sources: pd.DataFrame) -> pd.DataFrame:
    table = pd.read_csv(path, dtype=str, keep_default_na=False)
    missing = [column for column in _COMMON if column not in table.columns]
    if missing:
        raise BadAssumption(f"{path.name} lacks the column '{missing[0]}'")
    repeated = table.loc[table["key"].duplicated(), "key"]
    if len(repeated):
        raise BadAssumption(f"{path.name} has two rows '{repeated.iloc[0]}'")
    unknown = table.loc[~table["source_id"].isin(sources.index), ["key", "source_id"]]
    if len(unknown):
        key, source = (str(text) for text in unknown.iloc[0])
        raise BadAssumption(f"{path.name}: the source '{source}' of '{key}' is not known")
    for row in table.itertuples(index=False):
        _within(path.name, str(row.key), str(row.value), str(row.low), str(row.high))
        _among(path.name, str(row.key), str(row.value), str(row.unit))
    return table.set_index("key").assign(origin="default")


def _within(table: str, key: str, value: float | str, low: str, high: str) -> None:
    """Check a value against its row's range; rows without a range hold text or a free number."""
    if not low and not high:
        return
    try:
        number = float(value)
    except ValueError as error:
        raise BadAssumption(f"{table}: '{value}' for '{key}' is not a number") from error
    # Written so that NaN is refused as well.
    if not (float(low or "-inf") <= number <= float(high or "inf")):
        raise BadAssumption(f"{table}: {value} for '{key}' is not between {low or 'any'} and {high or 'any'}")


def _among(table: str, key: str, value: str, unit: str) -> None:
    """Check a word against what its row's unit takes."""
    takes: str | None = None
    if unit in _WORDS and value not in _WORDS[unit]:
        takes = f"one of {', '.join(_WORDS[unit])}"
    if unit == "share/yr, parted by |" and not all(map(_is_rate, value.split("|"))):
        takes = "real rates of 0 to 0.2 a year, as 0.02|0.03|0.04|0.07"
    if unit == "weekdays" and not (value.split() and set(value.split()) <= set(WEEKDAYS)):
        takes = f"some of {' '.join(WEEKDAYS)}"
    if unit == "month-day":
        try:
            date.fromisoformat(f"2027-{value}")  # not a leap year: the day must exist in every year
        except ValueError:
            takes = "a month and a day of every year, such as 04-15"
    if takes:
        raise BadAssumption(f"{table}: '{value}' for '{key}' is not {takes}")


def _is_rate(text: str) -> bool:
    try:
        return 0 <= float(text) <= 0.2
    except ValueError:
        return False


def _holidays_known(season: pd.Series) -> None:
    """Check that the holidays of the country and state are known."""
    import holidays

    try:
        holidays.country_holidays(str(season["country"]), subdiv=str(season["state"]) or None, years=[2027])
    except NotImplementedError as error:
        raise BadAssumption(f"season: {error}; codes are those of ISO 3166, such as US and OR") from error
