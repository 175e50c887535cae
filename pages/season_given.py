"""What the engineer gives of a season: weather, days without work, what was moved and what was done."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

import pandas as pd
import streamlit as st

from pages import session, uploads
from rehab.base import tables
from rehab.base.errors import UnusableInput
from rehab.base.settings import fingerprint
from rehab.base.tables import TASKS
from rehab.inputs import reading
from rehab.inputs.reading import normals as climate
from rehab.outputs import exports
from rehab.outputs.words import label
from rehab.plan import Plan
from rehab.steps.season import Given, Season, progress, span

_RECOGNISED = "as recognised"


def held() -> dict[str, Any]:
    """What this session holds of the city's seasons."""
    return st.session_state.setdefault("season_given", {})


def of_year(year: int) -> Given:
    """What is known of a year's season."""
    kept = held()
    return Given(kept.get("normals"), kept.get("no_work"), kept.get(f"moves {year}"), kept.get(f"actual {year}"),
                 kept.get(f"today {year}"), kept.get("weather_forecast") if "normals" in kept else None)


def as_tables() -> dict[tuple[int, str], pd.DataFrame]:
    """All that is held, by year (0: all years) and table, to be kept; what was given up is an empty table."""
    kept = held()
    found = {(0, name): kept.get(name, tables.empty(name)) for name in ("normals", "weather_forecast", "no_work")}
    for key, frame in kept.items():
        name, _, year = key.partition(" ")
        if name in ("moves", "actual", "tasks", "measured", "measured_repairs") and year.isdigit():
            found[int(year), name] = frame
    return found


def take(found: Mapping[tuple[int, str], pd.DataFrame]) -> None:
    """Take over what was kept."""
    kept = held()
    kept.clear()
    for (year, name), frame in found.items():
        kept[f"{name} {year}" if year else name] = frame
    if "normals" in kept:
        kept["normals_how"] = "Daily normals as they were kept with the project."
    if "weather_forecast" in kept:
        days = kept["weather_forecast"]["date"]
        kept["weather_forecast_how"] = (f"The weather of {len(days):,} days from {days.min():%Y-%m-%d} to "
                                        f"{days.max():%Y-%m-%d}, as it was kept with the project.")


def key_of(given: Given) -> tuple[object, ...]:
    """A key that changes with anything given."""
    frames = (given.normals, given.forecast, given.no_work, given.moves, given.actual)
    return (*("" if frame is None else fingerprint(frame) for frame in frames), given.today)


def move(year: int, task_id: str, day: date) -> None:
    """Set the first day of a task by hand; it takes the place of one set before."""
    kept = held().get(f"moves {year}", tables.empty("moves"))
    row = pd.DataFrame({"task_id": [task_id], "start": [pd.Timestamp(day)]})
    others = kept[kept["task_id"] != task_id]
    held()[f"moves {year}"] = tables.with_types("moves", pd.concat([others, row], ignore_index=True))


def show_moves(year: int) -> None:
    """The days set by hand, with a way back."""
    kept = held().get(f"moves {year}")
    if kept is None or kept.empty:
        return
    st.caption("Set by hand: " + "; ".join(
        session.plain(f"{row.task_id} on {row.start:%a} {row.start.day} {row.start:%b}") for row in kept.itertuples()))
    if st.button("Let the calendar choose these days again"):
        held()[f"moves {year}"] = tables.empty("moves")
        st.rerun()


def show_weather(made: Plan) -> None:
    """The daily normals and the forecast: uploads, units to be confirmed, what they do to the season."""
    st.subheader("Weather")
    _show_normals()
    _show_forecast(made)


def _show_normals() -> None:
    kept = held()
    if "normals" in kept:
        _show_kept("normals", "Do without these normals")
        return
    st.caption("Daily climate normals of a station near the city narrow the days on which concrete is placed, joints "
               "are sealed and paint is laid, and tell how long concrete takes to open. Without them the season is "
               "that of its dates alone. The national normals' files are read as they come; others need a date and the "
               "lowest and highest temperature of each day.")
    upload = st.file_uploader("Daily normals", type=["csv", "xlsx", "txt"], key="normals_file")
    if upload is None:
        return
    unit = st.selectbox("Unit of the temperatures", [_RECOGNISED, *climate.UNITS], key="normals_unit")
    try:
        raw = reading.open_table(upload.name, upload.getvalue(), table="normals")
        found = reading.read_normals(raw, None if unit == _RECOGNISED else unit)
    except UnusableInput as error:
        _refused(error)
        return
    warmest = found.table.loc[found.table["tmax_f"].idxmax()]
    coldest = found.table.loc[found.table["tmin_f"].idxmin()]
    st.write(session.plain(found.how))
    st.write(f"The warmest normal high is **{warmest['tmax_f']:.0f} deg F** on {_day_of(warmest)}, the coldest normal "
             f"low **{coldest['tmin_f']:.0f} deg F** on {_day_of(coldest)}. If that is not your city, choose another "
             "unit.")
    if len(found.problems):
        uploads.show_problems(found.problems)
    if st.button(f"Use these normals, read as {found.unit}", type="primary"):
        kept["normals"], kept["normals_how"] = found.table, found.how
        st.rerun()


def _show_forecast(made: Plan) -> None:
    """A forecast or measured days: they take the place of the normals on their dates."""
    kept = held()
    if "weather_forecast" in kept:
        if "normals" not in kept:
            st.warning("The forecast is not used until daily normals are given: it tells of its own days alone.")
        _show_outside(made, kept["weather_forecast"])
        _show_kept("weather_forecast", "Do without this forecast")
        return
    if "normals" not in kept:
        st.caption("Beside the normals a forecast of the next days, or days as they were measured, may be given.")
        return
    st.caption("A forecast of the next days, or days as they were measured, takes the place of the normals on its "
               "dates: in the days on which work may be done, in the days until concrete opens and in the cautions. It "
               "needs a date with its year and the lowest and highest temperature of each day; a mean is used where "
               "there is one, else midway between them. The weather is taken as forecast: how far it errs is not "
               "allowed for.")
    upload = st.file_uploader("Forecast or measured days", type=["csv", "xlsx", "txt"], key="forecast_file")
    if upload is None:
        return
    unit = st.selectbox("Unit of its temperatures", [_RECOGNISED, *climate.UNITS], key="forecast_unit")
    try:
        raw = reading.open_table(upload.name, upload.getvalue(), table="normals")
        found = reading.read_forecast(raw, None if unit == _RECOGNISED else unit, normals=kept["normals"],
                                      today=date.today())
    except UnusableInput as error:
        _refused(error)
        return
    st.write(session.plain(found.how))
    first, last = found.table.iloc[0], found.table.iloc[-1]
    st.write("; ".join(f"{word} day, {day:%a} {day.day} {day:%B %Y}: **{row['tmin_f']:.0f}** to "
                       f"**{row['tmax_f']:.0f} deg F**" for word, day, row in (("First", found.first, first),
                                                                               ("last", found.last, last)))
             + ". If that is not the weather, choose another unit.")
    _show_outside(made, found.table)
    if len(found.problems):
        uploads.show_problems(found.problems)
    if st.button(f"Use this forecast, read as {found.unit}", type="primary"):
        kept["weather_forecast"], kept["weather_forecast_how"] = found.table, found.how
        st.rerun()


def _show_kept(name: str, words: str) -> None:
    """What is used, with a button to do without it."""
    kept = held()
    st.write(session.plain(kept[f"{name}_how"]))
    if st.button(words):
        for key in (name, f"{name}_how"):
            kept.pop(key, None)
        st.rerun()


def _show_outside(made: Plan, forecast: pd.DataFrame) -> None:
    """Say so if no day of the forecast is in the season that is looked at."""
    year = st.session_state.get("year_of_work")
    if year is None:
        return
    first, last = span(year, made.prepared.assumptions)
    if not forecast["date"].between(pd.Timestamp(first), pd.Timestamp(last)).any():
        st.warning(f"None of its days is in the season of {year}, {first} to {last}.")


def _refused(error: UnusableInput) -> None:
    for problem in error.problems:
        st.error(session.plain(f"{problem.message}; accepted: {problem.accepted}"))


def show_no_work(made: Plan) -> None:
    """Days without work: a table to edit, or a file."""
    st.subheader("Days without work")
    st.caption("Market days, school terms, events: for the city, a district, a street or a block. Work already on "
               "the calendar gives way. Holidays are known by country and state (*Prices and rules*, season).")
    kept = held()
    rows = kept.get("no_work", tables.empty("no_work"))
    upload = st.file_uploader("A list of them", type=["csv", "xlsx"], key="no_work_file")
    if upload is not None and kept.get("no_work_file") != upload.file_id:
        try:
            found = reading.read_no_work(reading.open_table(upload.name, upload.getvalue(), table="no_work"), None,
                                         made.prepared.network)
        except UnusableInput as error:
            _refused(error)
            return
        kept["no_work_file"] = upload.file_id
        kept["no_work_problems"] = found.problems
        kept["no_work"] = pd.concat([rows, found.table], ignore_index=True)
        st.rerun()
    if len(kept.get("no_work_problems", ())):
        uploads.show_problems(kept["no_work_problems"])
    version = kept.setdefault("no_work_version", 0)
    edited = st.data_editor(
        rows.drop(columns="row"), num_rows="dynamic", hide_index=True, width="stretch",
        key=f"no_work_{version}_{len(rows)}",
        column_config={
            "scope": st.column_config.SelectboxColumn("Where", options=["city", "district", "street", "block"],
                                                      required=True),
            "name": "Name", "first_day": st.column_config.DateColumn("First day", required=True),
            "last_day": st.column_config.DateColumn("Last day"),
            "weekdays": st.column_config.TextColumn("Only on", help="such as Sat Sun; empty for every day"),
            "reason": "Why"})
    left, right = st.columns(2)
    if left.button("Use these days"):
        text = exports.csv_text(edited).encode()
        found = reading.read_no_work(reading.open_table("days without work.csv", text, table="no_work"), None,
                                     made.prepared.network)
        kept["no_work"], kept["no_work_problems"] = found.table, found.problems
        kept["no_work_version"] = version + 1
        st.rerun()
    right.download_button("Days without work as CSV", lambda: exports.csv_text(rows), "no_work.csv", on_click="ignore")


def show_progress(made: Plan, season: Season, chart: Any) -> None:
    """Plan and actual: dates come in by file or by hand, and the rest is arranged anew from a day on."""
    year, kept = season.year, held()
    st.caption("Give the days on which tasks were begun and ended, by file (task_id, started, finished) or in the "
               "table. What is done stays where it was; what is not is arranged anew from the day you set.")
    upload = st.file_uploader("Work done", type=["csv", "xlsx"], key=f"actual_file_{year}")
    ids = [f"{block}/{task}" for block in set(season.tasks["block_id"]) for task in TASKS]
    if upload is not None and kept.get("actual_file") != upload.file_id:
        try:
            found = reading.read_actual(reading.open_table(upload.name, upload.getvalue(), table="actual"), None, ids)
        except UnusableInput as error:
            _refused(error)
            return
        kept.setdefault(f"tasks {year}", season.tasks[season.tasks["season"] == "this"])
        kept.update({"actual_file": upload.file_id, f"actual {year}": found.table, "actual_problems": found.problems})
        st.rerun()
    if len(kept.get("actual_problems", ())):
        uploads.show_problems(kept["actual_problems"])
    actual = kept.get(f"actual {year}", tables.empty("actual"))
    # The plan is the calendar that the crews held when the first days came in; arranging anew does not change it.
    now = kept.get(f"tasks {year}", season.tasks[season.tasks["season"] == "this"])
    today = st.date_input("Day from which the rest is arranged", value=kept.get(f"today {year}"), key=f"today_{year}",
                          format="YYYY-MM-DD", help="Empty: from the first day of the season.")
    rows = now[["task_id", "block_id", "task", "crew", "start", "finish"]].merge(
        actual[["task_id", "started", "finished"]], on="task_id", how="left")
    edited = st.data_editor(
        rows.assign(task=rows["task"].map(label)), hide_index=True, width="stretch", height=320,
        key=f"actual_table_{year}_{len(actual)}", disabled=["block_id", "task", "crew", "start", "finish"],
        column_order=["block_id", "task", "crew", "start", "finish", "started", "finished"], column_config={
            "block_id": "Block", "task": "Task", "crew": "Crew",
            **{name: st.column_config.DateColumn(words, format="ddd D MMM") for name, words in (
                ("start", "Planned from"), ("finish", "to"), ("started", "Begun"), ("finished", "Ended"))}})
    if st.button("Take these days over", type="primary"):
        given = edited[edited["started"].notna() | edited["finished"].notna()]
        text = exports.csv_text(given[["task_id", "started", "finished"]]).encode()
        if len(given):
            found = reading.read_actual(reading.open_table("work done.csv", text, table="actual"), None, ids)
            kept[f"actual {year}"], kept["actual_problems"] = found.table, found.problems
        kept[f"today {year}"] = today
        kept.setdefault(f"tasks {year}", now)
        st.rerun()
    if f"tasks {year}" in kept and st.button("Take the calendar as it is now for the plan"):
        kept[f"tasks {year}"] = season.tasks[season.tasks["season"] == "this"]
        st.rerun()
    if len(actual) and kept.get(f"today {year}"):
        table = progress(now, actual, kept[f"today {year}"], made.prepared.assumptions)
        chart(table, kept[f"today {year}"])
    elif len(actual):
        st.caption("Set the day from which the rest is arranged, to see plan and actual side by side.")


def _day_of(row: pd.Series) -> str:
    return f"{row['day']:.0f} {date(2028, int(row['month']), 1):%B}"
