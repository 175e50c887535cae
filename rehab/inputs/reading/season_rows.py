"""Raw tables to the season's checked tables: days without work, tasks moved by hand, tasks as they were done."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable
from dataclasses import replace
from datetime import date
from difflib import get_close_matches
from typing import Final, Literal

import numpy as np
import pandas as pd

from rehab.base import tables
from rehab.base.errors import Problem, UnusableInput
from rehab.inputs.reading.blocks import Reading, convert, kept_rows
from rehab.inputs.reading.columns import read_column
from rehab.inputs.reading.mapping import Applied, apply
from rehab.inputs.reading.raw import LISTED, Findings, Raw, problem_table
from rehab.inputs.reading.values import missing

WEEKDAYS: Final = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_FULL: Final = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_GROUPS: Final = {"weekend": "sat-sun", "weekends": "sat-sun", "weekday": "mon-fri", "weekdays": "mon-fri",
                  "daily": "mon-sun", "every day": "mon-sun", "all": "mon-sun"}
_COLUMNS: Final = {"district": "district", "street": "street", "block": "block_id"}  #: scope -> column of the blocks
_YEAR_DAYS: Final = 366
_NEAR: Final = 50  #: different unknown names for which near ones are looked up


def read_no_work(raw: Raw, mapping: pd.DataFrame | None, blocks: pd.DataFrame) -> Reading:
    """The days without work, checked against the districts, streets and names of ``blocks``; the geometry is empty.

    An empty last day is the first one.  ``weekdays`` become three letters each, from Monday on, separated by blanks;
    all seven, or none, are every day.  A row with an unknown name, days in the wrong order or weekdays that cannot be
    read is stopped by a problem.  Raises :class:`UnusableInput` if scope or first_day has no column, or the mapping
    cannot be used.
    """
    applied = apply(raw, mapping, "no_work")
    frame, found = kept_rows(raw, applied)
    heading = {ours: theirs for ours, (theirs, _) in applied.columns.items()}
    values = _converted(raw, applied, frame, found, "no_work", ("last_day",))
    values["first_day"] = values["first_day"].astype("datetime64[us]")
    values["last_day"] = values["last_day"].fillna(values["first_day"])
    _names(values, blocks, heading, found)
    _span(values, heading, found)
    if "weekdays" in heading:
        _weekdays(values, heading["weekdays"], found)
    return _read(raw, applied, "no_work", values, found, ["first_day", "scope", "name", "row"])


def read_moves(raw: Raw, mapping: pd.DataFrame | None, tasks: Collection[str]) -> Reading:
    """Tasks moved by hand to a first day, checked against the ids of the ``tasks``; the geometry is empty.

    A row with an unknown task, without a day, or of a task that other rows move too is stopped by a problem.  Raises
    :class:`UnusableInput` if task_id or start has no column, or the mapping cannot be used.
    """
    applied, values, found, _ = _of_tasks(raw, mapping, "moves", tasks)
    return _read(raw, applied, "moves", values, found, ["task_id"])


def read_actual(raw: Raw, mapping: pd.DataFrame | None, tasks: Collection[str], *,
                today: date | None = None) -> Reading:
    """The days tasks were begun and ended, checked against the ids of the ``tasks``; the geometry is empty.

    A row with an unknown task, an end before its beginning, a day after ``today``, or of a task that other rows tell
    of too is stopped by a problem.  An end without a beginning is used, with a warning: the task is done, and the day
    it was begun is not known.  A row without either day stays, as a task that was not begun; one warning counts them.
    Raises :class:`UnusableInput` if task_id has no column or both days have none, or the mapping cannot be used.
    """
    applied, values, found, heading = _of_tasks(raw, mapping, "actual", tasks)
    if not {"started", "finished"} & set(heading):
        raise UnusableInput([*raw.problems, *applied.problems, Problem(
            "stop", raw.name, None, "started", None, "no column is known to hold 'started' or 'finished'",
            f"map one of the table's columns to it: {', '.join(raw.frame.columns)}"[:500])])
    for column in ("started", "finished"):
        if today is not None:
            late = (values[column] > pd.Timestamp(today)).to_numpy(bool) & ~found.stopped
            found.add("stop", late, heading.get(column), _shown(values[column]), "after today; the row is not used",
                      f"a day up to {today}")
    turned = (values["finished"] < values["started"]).to_numpy(bool) & ~found.stopped
    found.add("stop", turned, heading.get("finished"), _shown(values["finished"]),
              [f"ended before it was begun on {day}; the row is not used" for day in _shown(values["started"])[turned]],
              "the day of the beginning or a later one", kind="ended before it was begun; the row is not used")
    open_end = (values["finished"].notna() & values["started"].isna()).to_numpy(bool) & ~found.stopped
    found.add("warn", open_end, heading.get("started"), None,
              "ended, but the day it was begun is not given: used as done, its beginning not known",
              "the day it was begun")
    neither = (values["finished"].isna() & values["started"].isna()).to_numpy(bool) & ~found.stopped
    if neither.any():
        found.note(f"{neither.sum():,} rows give neither day: their tasks are taken as not begun",
                   "the day a task was begun, where it was")
    return _read(raw, applied, "actual", values, found, ["task_id"])


def weekdays(text: str) -> str | None:
    """Days of the week in the short form, 'Sat Sun' for 'Saturdays and Sundays', '' for all seven; None if unreadable.

    Read are names from two letters on, lists, ranges such as Mon-Fri (over Sunday too), weekdays and weekends.
    """
    plain = re.sub(r"\s+", " ", text.casefold().replace("–", "-").replace(".", " ")).strip()
    plain = re.sub(r"\s*(?:-|\bto\b|\bthrough\b|\bthru\b)\s*", "-", _GROUPS.get(plain, plain))
    found: set[int] = set()
    for part in re.split(r"[\s,;/&+]+|\band\b", plain):
        if not part:
            continue
        ends = [_weekday(name) for name in _GROUPS.get(part, part).split("-")]
        first, last = ends[0], ends[-1]
        if first is None or last is None or len(ends) > 2:
            return None
        found |= {(first + step) % 7 for step in range((last - first) % 7 + 1)}
    if not found:
        return None
    return "" if len(found) == len(WEEKDAYS) else " ".join(WEEKDAYS[at] for at in sorted(found))


def _weekday(name: str) -> int | None:
    """The number of a day of the week, Monday 0, by its first two letters or more, in the plural too."""
    for at, full in enumerate(_FULL):
        if len(name) >= 2 and (full.startswith(name) or (len(name) >= 4 and f"{full}s".startswith(name))
                               or (len(name) >= 4 and name.endswith("s") and full.startswith(name[:-1]))):
            return at
    return None


def _names(values: pd.DataFrame, blocks: pd.DataFrame, heading: dict[str, str], found: Findings) -> None:
    """Names as the table of blocks writes them; rows with none or an unknown one are stopped."""
    column = heading.get("name", "name")
    city = (values["scope"] == "city").to_numpy(bool)
    found.add("warn", city & values["name"].notna().to_numpy(bool) & ~found.stopped, column, values["name"],
              "the row holds for the whole city; its name is not used",
              "an empty name, or the scope district, street or block")
    values.loc[city, "name"] = np.nan
    for scope, key in _COLUMNS.items():
        rows = (values["scope"] == scope).to_numpy(bool) & ~found.stopped
        found.add("stop", rows & values["name"].isna().to_numpy(bool), column, None,
                  f"the name of the {scope} is empty; the row is not used",
                  f"a {scope} as in the table of blocks, or the scope city")
        rows &= ~found.stopped
        known = [str(name) for name in blocks[key].dropna().unique()]
        read = _as_known(values.loc[rows, "name"], known)
        unknown = rows & read.isna().reindex(values.index, fill_value=False).to_numpy(bool)
        found.add("stop", unknown, column, values["name"],
                  _unknown(values.loc[unknown, "name"], known, f"no {scope} of this name is in use"),
                  f"a {scope} as in the table of blocks" if known else f"blocks with a {scope}; they have none",
                  kind=f"no {scope} of this name is in use; the row is not used")
        other = (read != values.loc[rows, "name"]) & read.notna()
        if other.any():
            told = dict(zip(values.loc[other[other].index, "name"], read[other], strict=True))
            found.note("names read: " + "; ".join(f"'{theirs}' as '{ours}'" for theirs, ours in told.items())[:900],
                       "names as in the table of blocks", column)
        values.loc[read.index, "name"] = read


def _as_known(names: pd.Series, known: list[str]) -> pd.Series:
    """Names that are known, or that are but for capitals and blanks; NA for others and where two could be meant."""
    plain: dict[str, list[str]] = {}
    for name in known:
        plain.setdefault(" ".join(name.casefold().split()), []).append(name)
    exact = set(known)

    def found(name: str) -> str | None:
        alike = plain.get(" ".join(name.casefold().split()), [])
        return name if name in exact else alike[0] if len(alike) == 1 else None

    return pd.Series([found(str(name)) for name in names], index=names.index, dtype="str")


def _unknown(names: Iterable[str], known: Collection[str], message: str) -> list[str]:
    """The message for each name, with up to three known ones that look like it."""
    near: dict[str, str] = {}
    listed = [str(name) for name in names][:LISTED]
    for name in list(dict.fromkeys(listed))[:_NEAR]:
        like = get_close_matches(name, list(known), n=3)
        near[name] = f" (near it: {', '.join(like)})" if like else ""
    return [f"{message}{near.get(name, '')}; the row is not used" for name in listed]


def _span(values: pd.DataFrame, heading: dict[str, str], found: Findings) -> None:
    """Stop rows that end before they begin; ask about those of more than a year."""
    length = (values["last_day"] - values["first_day"]).dt.days
    column = heading.get("last_day", heading["first_day"])
    turned = (length < 0).to_numpy(bool) & ~found.stopped
    found.add("stop", turned, column, _shown(values["last_day"]),
              [f"before the first day {day}; the row is not used" for day in _shown(values["first_day"])[turned]],
              "the first day or a later one; empty for a single day",
              kind="the last day is before the first; the row is not used")
    found.add("warn", (length >= _YEAR_DAYS).to_numpy(bool) & ~found.stopped, column, _shown(values["last_day"]),
              "more than a year after the first day: is the year right? The row is used as it stands",
              "a row for each season")


def _weekdays(values: pd.DataFrame, column: str, found: Findings) -> None:
    """Weekdays in the short form; stops those that cannot be read, warns of rows that then hold for no day."""
    texts = values["weekdays"].mask(missing(values["weekdays"]))
    given = {text: weekdays(str(text)) for text in texts.dropna().unique()}
    short = texts.map(given)
    bad = (texts.notna() & ~texts.isin([text for text, read in given.items() if read is not None])).to_numpy(bool)
    found.add("stop", bad & ~found.stopped, column, texts, "no days of the week that can be read without doubt; the "
              "row is not used", "days of the week such as 'Sat Sun' or 'Mon-Fri'; empty for every day")
    values["weekdays"] = short.astype("str").mask(short == "")
    none = [isinstance(days, str) and first is not pd.NaT and last is not pd.NaT and _covers_none(days, first, last)
            for days, first, last in zip(values["weekdays"], values["first_day"], values["last_day"], strict=True)]
    found.add("warn", np.array(none, bool) & ~found.stopped, column, texts,
              "none of these days of the week is between the first and the last day: the row holds for no day",
              "days of the week within the row's days, or an empty cell for every day")


def _covers_none(days: str, first: pd.Timestamp, last: pd.Timestamp) -> bool:
    wanted = {WEEKDAYS.index(day) for day in days.split()}
    within = min((last - first).days + 1, len(WEEKDAYS))
    return not wanted & {(first.weekday() + step) % 7 for step in range(within)}


def _of_tasks(raw: Raw, mapping: pd.DataFrame | None, table: Literal["moves", "actual"],
              tasks: Collection[str]) -> tuple[Applied, pd.DataFrame, Findings, dict[str, str]]:
    """A table of one row per task: unknown tasks and tasks in several rows are stopped."""
    applied = apply(raw, mapping, table)
    frame, found = kept_rows(raw, applied)
    heading = {ours: theirs for ours, (theirs, _) in applied.columns.items()}
    values = _converted(raw, applied, frame, found, table, ("started", "finished") if table == "actual" else ())
    ids = values["task_id"]
    unknown = ~ids.isin(list(tasks)).to_numpy(bool) & ~found.stopped
    found.add("stop", unknown, heading["task_id"], ids,
              _unknown(ids[unknown], tasks, "no task of this name is in the calendar"), "a task_id of the calendar",
              kind="no task of this name is in the calendar; the row is not used")
    twice = ids[~found.stopped].duplicated(keep=False).reindex(ids.index, fill_value=False).to_numpy(bool)
    found.add("stop", twice, heading["task_id"], ids, "the task is in more than one row; none of them is used",
              "each task once")
    return applied, values, found, heading


def _converted(raw: Raw, applied: Applied, frame: pd.DataFrame, found: Findings, table: str,
               days: Collection[str]) -> pd.DataFrame:
    """All columns of a table; a day in one of ``days`` may be empty, and stops its row if it cannot be read.

    Without that day the row would say something else: one day instead of a week, not ended instead of ended.
    """
    others = {ours: column for ours, column in applied.columns.items() if ours not in days}
    values = convert(raw, replace(applied, columns=others), frame, found, table)
    for column in days:
        values[column] = pd.Series(index=values.index, dtype="datetime64[us]")
        if column not in applied.columns:
            continue
        texts = frame[applied.columns[column][0]]
        given = ~missing(texts) & ~found.stopped
        part = Findings(found.file, found.rows[given])
        item = replace(tables.field(table, column), required=True)
        read = read_column(item, texts[given], "", part, semicolons=False, commas=False, serials=raw.kind == "xlsx")
        found.problems += part.problems
        found.stopped[np.flatnonzero(given)[part.stopped]] = True
        values.loc[given, column] = read
    return values


def _shown(days: pd.Series) -> pd.Series:
    texts: pd.Series = days.dt.strftime("%Y-%m-%d")
    return texts


def _read(raw: Raw, applied: Applied, table: str, values: pd.DataFrame, found: Findings, order: list[str]) -> Reading:
    used = tables.with_types(table, values.assign(row=found.rows.astype("float64")))[~found.stopped]
    return Reading(tables.check(table, used.sort_values(order).reset_index(drop=True)), tables.empty("geometry"),
                   problem_table(raw.problems + applied.problems + found.problems), len(raw.frame),
                   int((~applied.kept).sum()))
