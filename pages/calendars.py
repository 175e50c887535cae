"""The calendar of a year, kept until the plan or what is given of the season changes."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from pages import season_given, season_search, session
from rehab import plan
from rehab.steps.season import Given, Season


def season(made: plan.Plan, year: int) -> Season:
    """One year on the calendar: the quick one, or the better one that a search has found."""
    at = key(made, year)
    return season_search.found(at) or _season(at, made, year, session.tables().geometry, season_given.of_year(year))


def key(made: plan.Plan, year: int) -> tuple[object, ...]:
    """A key that changes with the plan, the lines of the blocks and what is given of the season."""
    return (*made.summary["fingerprints"].values(), session.tables().key, year,
            *season_given.key_of(season_given.of_year(year)))


@st.cache_resource(max_entries=8, show_spinner="Putting the year on the calendar ...")
def _season(key: tuple[object, ...], _made: plan.Plan, _year: int, _geometry: pd.DataFrame, _given: Given) -> Season:
    return plan.season_of(_made, _year, _geometry, _given, 0.0)
