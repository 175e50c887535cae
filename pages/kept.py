"""Keep the work of a city, its scenario and its own values, and open it again another day."""

from __future__ import annotations

import os

import streamlit as st
from sqlalchemy import Engine

from pages import cities, season_given, session
from rehab import store
from rehab.base import tables

#: the database: a file beside the dashboard unless this variable names another, by URL
URL = "REHAB_DATABASE"


def show() -> None:
    """The part of the start screen that keeps and opens projects."""
    try:
        _keep()
        if st.toggle("Show what was kept", key="show_kept"):
            _open()
    except store.StoreError as error:
        st.error(f"The database answered: {error}")


@st.cache_resource
def _engine(url: str) -> Engine:
    return store.connect(url)


def engine() -> Engine:
    """The database in use."""
    return _engine(os.environ.get(URL, "sqlite:///var/rehab.db"))


def _keep() -> None:
    left, right = st.columns(2)
    name = left.text_input("Name of the project", value=session.tables().name, key="project_name")
    who = right.text_input("Your name, kept with the change", key="who")
    if not (name.strip() and who.strip()):
        st.caption("Both names are needed to keep the work.")
    if not st.button("Keep", disabled=not (name.strip() and who.strip())):
        return
    city = session.tables()
    project = store.save_project(engine(), name, city.blocks, city.defects, city.geometry, who)
    earlier = {saved.scenario.name: saved.version for saved in store.scenarios(engine(), project.id)}
    asked = session.scenario()
    opened = st.session_state.get("opened", {}).get((project.id, asked.name))
    # What was opened here and changed by nobody since may be replaced; a stale version is refused and says by whom.
    saved = store.save_scenario(engine(), project.id, asked, who, opened if opened else earlier.get(asked.name))
    st.session_state.setdefault("opened", {})[project.id, asked.name] = saved.version
    before = store.city_values(engine(), project.id)
    own = session.values()
    for table in {*before, *own}:
        for key in {*before.get(table, {}), *own.get(table, {})}:
            value = own.get(table, {}).get(key)
            if value != before.get(table, {}).get(key):
                store.save_city_values(engine(), project.id, table, key, value, who)
    for (year, table), frame in season_given.as_tables().items():
        store.save_season(engine(), project.id, year, table, frame, who)
    st.success(f"Kept '{project.name}', version {project.version}, with the scenario '{asked.name}', version "
               f"{saved.version}.")


def _open() -> None:
    found = store.projects(engine())
    if not found:
        st.write("Nothing was kept yet.")
        return
    project = st.selectbox("Project", found, key="project", format_func=lambda item: (
        f"{item.name}, version {item.version}, {item.who}, {item.saved_on:%d %b %Y %H:%M} UTC"))
    st.dataframe(store.audit(engine(), project.id), hide_index=True, width="stretch", height=220)
    if st.button("Open"):
        blocks, defects, geometry = store.load_project(engine(), project.id)
        session.use(cities.take(project.name, blocks, defects, geometry, tables.empty("problems"),
                                 invented=session.demo().key == cities.take("", blocks, defects, geometry,
                                                                             tables.empty("problems")).key))
        for saved in store.scenarios(engine(), project.id):
            st.session_state["scenario"] = saved.scenario
            st.session_state.setdefault("opened", {})[project.id, saved.scenario.name] = saved.version
        st.session_state["values"] = store.city_values(engine(), project.id)
        season_given.take(store.load_season(engine(), project.id))
        st.rerun()
