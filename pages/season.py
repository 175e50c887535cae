"""Season: one year's chosen work on the calendar."""

from __future__ import annotations

from datetime import UTC, datetime

import pandas as pd
import streamlit as st

from pages import session
from rehab.outputs import charts, exports
from rehab.outputs.words import label
from rehab.steps import season as calendar


def main() -> None:
    st.title("Season")
    session.banner()
    made = session.decided()
    year = session.pick_year(made)
    if year is None:
        return
    tasks, notes = session.season(made, year)
    used = made.prepared.assumptions
    first, last = calendar.span(year, used)
    st.caption(f"Season {first:%B} {first.day} to {last:%B} {last.day}; grinding waits "
               f"{used.number('curing', 'grind_after_patch_days'):.0f} days after the last patch of a block "
               f"({used.citation('curing', 'grind_after_patch_days')}). Dates are for planning: the engineer and field "
               "tests decide when a street opens.")
    if tasks.empty:
        st.info("Nothing to put on the calendar.")
        return
    tiles = st.columns(4)
    this = tasks[tasks["season"] == "this"]
    tiles[0].metric("Blocks", tasks["block_id"].nunique())
    tiles[1].metric("Tasks this season", len(this))
    tiles[2].metric("Blocks ground this season", this.loc[this["task"] == "grind", "block_id"].nunique())
    tiles[3].metric("Carried into the next season", tasks.loc[tasks["season"] == "next", "block_id"].nunique())
    if notes:
        st.warning(f"{len(notes):,} of {tasks['block_id'].nunique():,} blocks do not fit the season whole. More crews, "
                   "a longer season or a smaller program would make room; the crews stand under *Prices and rules*.")
        with st.expander("Which blocks, and what is left"):
            st.dataframe(pd.DataFrame({"Block": [note.block_id for note in notes],
                                       "What": [note.message for note in notes]}), hide_index=True, width="stretch")
    st.plotly_chart(charts.season_chart(tasks), key="season", alt=charts.describe_season(tasks))
    streets = made.overview.set_index("block_id")["street"]
    st.dataframe(tasks.assign(task=tasks["task"].map(label), street=tasks["block_id"].map(streets)).drop(
        columns="task_id"), hide_index=True, width="stretch", height=420, placeholder="", column_order=[
            "start", "finish", "block_id", "street", "task", "crew", "opens", "days", "season"], column_config={
        "block_id": "Block", "street": "Street", "task": "Task", "crew": "Crew", "season": "Season",
        "start": st.column_config.DateColumn("First day", format="ddd D MMM YYYY"),
        "finish": st.column_config.DateColumn("Last day", format="ddd D MMM YYYY"),
        "opens": st.column_config.DateColumn("Opens", format="ddd D MMM YYYY"),
        "days": st.column_config.NumberColumn("Crew days", format="%.2f")})
    left, right = st.columns(2)
    left.download_button("Calendar file", lambda: exports.season_calendar(tasks, made.overview, datetime.now(UTC)),
                         f"season_{year}.ics", on_click="ignore")
    right.download_button("Tasks as CSV", lambda: exports.csv_text(tasks), f"tasks_{year}.csv", on_click="ignore")


main()
