"""Season: one year's chosen work on the calendar."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

import pandas as pd
import streamlit as st

from pages import calendars, season_given, season_search, season_views, session
from rehab.base.errors import Note, as_table
from rehab.outputs import calendar as files
from rehab.outputs import exports
from rehab.plan import Plan
from rehab.steps import season as calendar

_SHOWN = 8  #: blocks that are shown with their reasons


def main() -> None:
    st.title("Season")
    session.banner()
    made = session.decided()
    year = session.pick_year(made)
    if year is None:
        return
    season = calendars.season(made, year)
    _said(made, season)
    season_search.show(made, year, calendars.key(made, year), season_given.of_year(year), session.tables().geometry)
    if season.tasks.empty:
        st.info("Nothing to put on the calendar.")
    else:
        _figures(season)
        _not_ground(made, season)
    views: dict[str, Callable[[Plan, calendar.Season], None]] = {
        "Four weeks": season_views.weeks, "Whole season": season_views.whole, "Week on the map": season_views.on_map,
        "One block": season_views.block, "Grinder": season_views.grinder, "All tasks": season_views.listed,
        "Work done": season_views.done, "Weather and days": season_views.days}
    tabs = st.tabs(list(views), key="season_view", on_change="rerun")
    for tab, show in zip(tabs, views.values(), strict=True):
        if tab.open:
            with tab:
                show(made, season)
    if len(season.tasks):
        _files(made, season)


def _said(made: Plan, season: calendar.Season) -> None:
    """What the dates rest on."""
    used = made.prepared.assumptions
    first, last = calendar.span(season.year, used)
    given = season_given.of_year(season.year)
    told = "" if given.forecast is None else f" and a forecast of {len(given.forecast)} days"
    weather = f"by the daily normals{told}" if given.normals is not None else \
        "without daily normals, which would narrow it (*Weather and days*)"
    until = f"{last:%B} {last.day}" + (f" {last.year}" if last.year != first.year else "")
    st.caption(f"Season {first:%B} {first.day} to {until}, "
               f"{weather}; grinding waits {used.number('curing', 'grind_after_patch_days'):.0f} days after the last "
               f"patch of a block ({used.citation('curing', 'grind_after_patch_days')}). Crews, rates and rules "
               "stand under *Prices and rules*. Dates are for planning: the engineer and field tests decide when a "
               "street opens.")


def _figures(season: calendar.Season) -> None:
    tiles = st.columns(4)
    this = season.tasks[season.tasks["season"] == "this"]
    late = season.blocks["season"] != "this"
    end = this["finish"].max()
    tiles[0].metric("Blocks with work this season", f"{this['block_id'].nunique():,}")
    tiles[1].metric("Last day of work", "none" if pd.isna(end) else f"{end.day} {end:%b %Y}")
    tiles[2].metric("Blocks ground this season", f"{len(season.blocks) - int(late.sum()):,} of {len(season.blocks):,}")
    tiles[3].metric("Carried into the next season",
                    f"{season.tasks.loc[season.tasks['season'] == 'next', 'block_id'].nunique():,}")


def _not_ground(made: Plan, season: calendar.Season) -> None:
    """Which blocks are not ground this year, why, and what it would take."""
    late = season.blocks[season.blocks["season"] != "this"]
    for note in (note for note in season.notes if note.topic == "set by hand"):
        st.warning(session.plain(f"{note.block_id}: {note.message}."))
    other = [note for note in season.notes if note.topic != "set by hand"
             and (note.block_id is None or note.block_id not in set(late["block_id"]))]
    for note in (note for note in other if note.block_id is None):
        st.caption(session.plain(f"{note.message[:1].upper()}{note.message[1:]}."))
    named = [note for note in other if note.block_id is not None]
    if late.empty and not named:
        if season.tasks["season"].eq("this").all():
            st.success("All work of the year fits this season, grinding with it.")
        return
    if len(late):
        st.warning(f"{len(late):,} of {len(season.blocks):,} blocks are not ground this season.")
        with st.expander("Which blocks are not ground, and why", expanded=True):
            # A table of plain HTML, for the reasons are sentences and must not be cut.
            first = late.head(_SHOWN)
            st.table(pd.DataFrame({
                "Block": first["block_id"].map(session.plain), "Ready to grind": _dates(first["ready"]),
                "Ground by": _dates(first["ground"]), "Why": first["why"].map(session.plain)}).set_index("Block"))
            if len(late) > _SHOWN:
                st.caption(f"and {len(late) - _SHOWN:,} more, all in the file and in the workbook")
            st.download_button("Blocks not ground as CSV", lambda: exports.csv_text(late),
                               f"not_ground_{season.year}.csv", on_click="ignore")
    if named:
        with st.expander(f"What else does not fit ({len(named):,})"):
            st.dataframe(pd.DataFrame({"Block": [note.block_id for note in named],
                                       "What": [note.message for note in named]}), hide_index=True, width="stretch")
    season_views.takes(made, season)


def _dates(days: pd.Series) -> list[str]:
    return ["" if pd.isna(day) else f"{day.day} {day:%b %Y}" for day in days]


def _files(made: Plan, season: calendar.Season) -> None:
    tasks, year = season.tasks, season.year
    parts = st.columns(3)
    parts[0].download_button("Calendar file (iCalendar)", lambda: files.season_calendar(
        tasks, made.overview, datetime.now(UTC)), f"season_{year}.ics", on_click="ignore")
    parts[1].download_button("Workbook: weeks, tasks, grinder (XLSX)", lambda: files.season_workbook(
        tasks, made.overview, season.campaigns, season.choices, season.blocks, as_table(season.notes, Note), year),
        f"season_{year}.xlsx", on_click="ignore")
    parts[2].download_button("Tasks as CSV", lambda: exports.csv_text(tasks), f"tasks_{year}.csv", on_click="ignore")


main()
