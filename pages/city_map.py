"""The map of blocks with its legend; a click chooses a block for every screen."""

from __future__ import annotations

import pandas as pd
import streamlit as st
from streamlit_folium import st_folium

from pages import session
from rehab.outputs import maps
from rehab.plan import Plan


@st.fragment
def show_map(made: Plan, key: str) -> None:
    """The map of all blocks, drawn again by itself when it is recoloured or loaded."""
    geometry = session.tables().geometry
    if geometry.empty:
        st.info("This table has no lines, so there is no map. Every block is in the lists of *Strategies* and *Program "
                "and scenarios*; lines can be loaded with the table under *Start and data*.")
        return
    left, right = st.columns([3, 1])
    colour = left.radio("Colour the blocks by", list(maps.COLOURINGS), horizontal=True, key=f"{key}_colour",
                        index=list(maps.COLOURINGS).index("year of work" if key == "program" else "strategy"),
                        format_func=str.capitalize)
    tiles = right.toggle("Street map underneath", key=f"{key}_tiles", help="Fetched from the internet; off by default.")
    # The map objects are made anew at every run: the component changes those it is given.  The ground stays the same,
    # so that a changed program recolours the blocks where the map stands.
    lines = features(made, colour)
    shown = st_folium(maps.ground(lines, base_tiles=tiles), key=f"{key}_map", height=520, use_container_width=True,
                      feature_group_to_add=maps.layer(lines) if lines["features"] else None,
                      returned_objects=["last_active_drawing"])
    st.html(maps.legend_html(made.overview, colour))
    missing = _missing((made.prepared.fingerprint, session.tables().key), made, geometry)
    if missing:
        st.caption(f"{missing:,} blocks have no line and are not on the map.")
    st.caption(maps.describe_map(made.overview, geometry, colour))
    select_clicked(shown, key)


@st.cache_resource(max_entries=4, show_spinner=False)
def _missing(key: tuple[str, ...], _made: Plan, _geometry: pd.DataFrame) -> int:
    return maps.unmapped(_made.overview, _geometry)


def features(made: Plan, colour_by: str) -> dict[str, object]:
    """The map's features, kept until the plan changes."""
    fingerprints = tuple(made.summary["fingerprints"].values())
    city = session.tables()
    return _features((*fingerprints, city.key, colour_by), made, lines_of(city.key, city.geometry), colour_by)


@st.cache_resource(max_entries=12, show_spinner=False)
def _features(key: tuple[object, ...], _made: Plan, _drawn: dict[str, dict[str, object]],
              _colour_by: str) -> dict[str, object]:
    return maps.features(_made.overview, _drawn, _colour_by)


@st.cache_resource(max_entries=2, show_spinner=False)
def lines_of(key: str, _geometry: pd.DataFrame) -> dict[str, dict[str, object]]:
    """The lines of the blocks as a map draws them, kept."""
    return maps.lines(_geometry)


def select_clicked(shown: dict[str, object] | None, key: str) -> None:
    """Take a new click as the selected block; the component reports the last click again at every run."""
    drawing = (shown or {}).get("last_active_drawing") or {}
    clicked = drawing.get("properties", {}).get("id") if isinstance(drawing, dict) else None
    if clicked and clicked != st.session_state.get(f"{key}_clicked"):
        st.session_state[f"{key}_clicked"] = clicked
        st.session_state["selected"] = clicked
        st.rerun()
