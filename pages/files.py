"""Files: what other programs open, and the whole project from hand to hand."""

from __future__ import annotations

from datetime import UTC, datetime

import pandas as pd
import streamlit as st

from pages import calendars, kept, session
from rehab import store
from rehab.outputs import calendar, csvw, exports, folder
from rehab.outputs.databook import databook
from rehab.outputs.gis.geopackage import geopackage
from rehab.plan import Plan

_LONG = ("forecast", "alternatives")  #: tables that would make the workbook slow to open


def main() -> None:
    st.title("Files")
    session.banner()
    made = session.decided()
    _maps(made)
    year = session.pick_year(made)
    if year is not None:
        _tables(made, year)
        _calendars(made, year)
    _project()
    st.caption("Every table says in its column *estimated* what rests on an index, a rating or a word. Text that a "
               "spreadsheet would take for a formula stays text.")


def _maps(made: Plan) -> None:
    st.subheader("For a map of your own")
    ready, geometry = made.prepared, session.tables().geometry
    if geometry.empty:
        st.caption("This table has no lines: the GeoPackage holds its rows without a place. Lines can be loaded under "
                   "*Start and data*.")
    parts = st.columns(3)
    parts[0].download_button("GeoPackage of four layers", lambda: geopackage(
        made.overview, ready.network, made.program, ready.repairs, geometry, datetime.now(UTC),
        quantities=made.quantities, about=_about(made)).content, "plan.gpkg", on_click="ignore")
    if len(geometry):
        parts[1].download_button("Blocks as GeoJSON", lambda: exports.program_geojson(made.overview, geometry),
                                 "blocks.geojson", on_click="ignore")
    if len(geometry) and len(ready.repairs):
        parts[2].download_button("Repairs as GeoJSON", lambda: exports.repairs_geojson(
            ready.repairs, ready.network, geometry), "repairs.geojson", on_click="ignore")
    st.caption("Layers blocks, strategies, program and repairs; longitude and latitude on WGS 84. The GeoPackage "
               "brings the look of its layers as Styled Layer Descriptors, and a table of what each column means.")


def _tables(made: Plan, year: int) -> None:
    st.subheader("All tables")
    parts = st.columns(3)
    parts[0].download_button("Workbook of all tables (XLSX)", lambda: databook(
        _short(made, year), _about(made), datetime.now(UTC)), "tables.xlsx", on_click="ignore")
    parts[1].download_button("All tables as CSV (ZIP)", lambda: folder.as_zip(
        _found(made, year), datetime.now(UTC)), "tables.zip", on_click="ignore")
    parts[2].download_button("What every table and column means", csvw.schema_page, "tables.md", on_click="ignore")
    st.caption("The ZIP brings CSVW metadata (W3C, 2015) with names, types, units, limits and keys of every column. "
               "The workbook leaves out the forecast and the alternatives, which are long; the ZIP has them.")


def _calendars(made: Plan, year: int) -> None:
    st.subheader(f"Calendars of {year}")
    season = calendars.season(made, year)
    if season.tasks.empty:
        st.caption("Nothing is on the calendar.")
        return
    left, right = st.columns(2)
    left.download_button("Calendar of all crews (iCalendar)", lambda: calendar.season_calendar(
        season.tasks, made.overview, datetime.now(UTC)), f"season_{year}.ics", on_click="ignore")
    right.download_button("A calendar for each crew (ZIP of iCalendar)", lambda: calendar.crew_calendars_zip(
        season.tasks, made.overview, datetime.now(UTC)), f"crews_{year}.zip", on_click="ignore")


def _project() -> None:
    st.subheader("The whole project")
    try:
        _give()
        _take()
    except store.StoreError as error:
        st.error(session.plain(f"The database answered: {error}"))


def _give() -> None:
    found = store.projects(kept.engine())
    if not found:
        st.caption("Nothing was kept yet: *Keep this work* under *Start and data* keeps the city, and its file can "
                   "then be opened in another installation.")
        return
    left, right = st.columns([2, 1], vertical_alignment="bottom")
    project = left.selectbox("Kept project", found, format_func=lambda item: f"{item.name}, version {item.version}")
    right.download_button("Project as one file", lambda: store.archive(kept.engine(), project.id),
                          f"{project.name}.zip", on_click="ignore")


def _take() -> None:
    upload = st.file_uploader("A project from another installation", type=["zip"], key="archive_file")
    if upload is None:
        return
    left, right = st.columns(2)
    who = left.text_input("Your name, kept with the change", key="archive_who")
    name = right.text_input("Another name for it, if its own is taken", key="archive_name")
    if st.button("Open it here", disabled=not who.strip()):
        project = store.restore(kept.engine(), upload.getvalue(), who.strip(), name=name.strip() or None)
        st.success(session.plain(f"'{project.name}' is here, version {project.version}. Open it under Start and data, "
                                 "Show what was kept."))


def _short(made: Plan, year: int) -> dict[str, pd.DataFrame]:
    return {"overview": made.overview, **{name: table for name, table in _found(made, year).items()
                                          if name not in _LONG}}


def _found(made: Plan, year: int) -> dict[str, pd.DataFrame]:
    season = calendars.season(made, year)
    orders = folder.work_list(made, season, session.tables().geometry).orders
    return folder.tables(made, season, session.tables().problems, orders)


def _about(made: Plan) -> dict[str, str]:
    return {"city": session.tables().name, "scenario": made.scenario.name,
            **{f"fingerprint of {name}": str(text) for name, text in made.summary["fingerprints"].items()}}


main()
