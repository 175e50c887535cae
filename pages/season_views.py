"""The views of a season: weeks, map, block, grinder, list, work done, weather."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pandas as pd
import streamlit as st
from streamlit_folium import st_folium

from pages import calendars, city_map, season_given, session
from rehab.outputs import charts, exports, maps, weekmap
from rehab.outputs.words import label, money
from rehab.plan import Plan
from rehab.plan.calendar import what_it_takes
from rehab.steps.season import Season, breaks, moved

_DAY = "ddd D MMM YYYY"


def weeks(made: Plan, season: Season) -> None:
    """The crews' weeks, to be pinned on the wall."""
    monday = _pick_week(season, "weeks")
    if monday is None:
        return
    count = st.segmented_control("Weeks shown", [2, 4, 6], default=4, key="weeks_shown") or 4
    streets = made.overview.set_index("block_id")["street"].dropna().to_dict()
    st.plotly_chart(charts.crew_weeks(season.tasks, monday, count, streets), key="crew_weeks",
                    alt=charts.describe_weeks(season.tasks, monday, count))
    until = pd.Timestamp(monday) + pd.Timedelta(weeks=count)
    rows = season.tasks[(season.tasks["start"] < until) & (season.tasks["finish"] >= pd.Timestamp(monday))]
    said = rows[rows["cautions"].notna()].drop_duplicates(["finish", "cautions"])
    if len(said):
        with st.expander(f"Weather to watch in these weeks ({len(said):,})"):
            st.dataframe(said.assign(task=said["task"].map(label)), hide_index=True, width="stretch",
                         column_order=["finish", "block_id", "task", "cautions"], column_config={
                "finish": st.column_config.DateColumn("Day placed", format=_DAY), "block_id": "Block", "task": "Task",
                "cautions": st.column_config.TextColumn("Weather", width="large")})


def whole(made: Plan, season: Season) -> None:
    """The whole season by crew, and how loaded the crews are."""
    st.plotly_chart(charts.season_chart(season.tasks), key="season", alt=charts.describe_season(season.tasks))
    st.dataframe(season.loads, hide_index=True, width="stretch", column_config={
        "crew": "Crew", "crews": "Crews", "crew_days": st.column_config.NumberColumn("Days of work", format="%.1f"),
        "available": st.column_config.NumberColumn("Days that they have", format="%.0f"),
        "share": st.column_config.NumberColumn("Share", format="percent")})
    changes = season.district_changes
    st.caption(f"All crews together travel {season.travel_mi:,.0f} mi between blocks and go on to another district "
               f"{changes:,} time{'' if changes == 1 else 's'}.")
    if season.ends and season.bound:
        st.caption(f"With the grinder coming as soon as it can, the work ends on {_words(season.ends)}; no arrangement "
                   f"of as much work ends before {_words(season.bound)}. The grinder's campaigns are set after that.")


def on_map(made: Plan, season: Season) -> None:
    """The blocks at work and closed in a week."""
    city = session.tables()
    if city.geometry.empty:
        st.info("This table has no lines, so there is no map. Lines can be loaded under *Start and data*.")
        return
    monday = _pick_week(season, "map")
    if monday is None:
        return
    streets = made.overview.set_index("block_id")["street"].dropna().to_dict()
    layer = weekmap.week_layer(season.tasks, city_map.lines_of(city.key, city.geometry), monday, streets)
    st_folium(maps.ground(layer), key="week_map", height=520, use_container_width=True,
              feature_group_to_add=maps.layer(layer), returned_objects=[])
    st.html(weekmap.week_legend_html(season.tasks, monday))
    st.caption(weekmap.describe_week(season.tasks, monday))


def block(made: Plan, season: Season) -> None:
    """One block's tasks in their order; one of them moved by hand, and what that breaks."""
    if season.tasks.empty:
        return
    names = sorted(season.tasks["block_id"].unique())
    name = st.selectbox("Block", names, key="season_block")
    st.plotly_chart(charts.block_timeline(season.tasks, name), key="timeline",
                    alt=charts.describe_timeline(season.tasks, name))
    rows = season.tasks[season.tasks["block_id"] == name]
    _table(rows, made)
    st.subheader("Move a task by hand")
    season_given.show_moves(season.year)
    left, right = st.columns(2)
    task = left.selectbox("Task", rows["task_id"].tolist(), key="move_task", format_func=lambda one: label(
        str(rows.set_index("task_id").at[one, "task"])))
    now = rows.set_index("task_id").at[task, "start"].date()
    day = right.date_input("First day", value=now, key=f"move_day_{task}", format="YYYY-MM-DD")
    if not isinstance(day, date) or day == now:
        st.caption("Choose another first day to see what it would break. Tasks of one visit, such as milling and "
                   "patching, move together.")
        return
    broken = breaks(season, moved(season, task, day))
    if broken.empty:
        st.success("Nothing else has to change.")
    else:
        st.warning(f"This breaks {len(broken)} rule{'s' if len(broken) > 1 else ''}:")
        for row in broken.head(12).itertuples():
            st.markdown(session.plain(f"{row.block_id}: {row.message}."))
        if len(broken) > 12:
            st.caption(f"and {len(broken) - 12} more of the kind")
    if st.button("Keep this day and arrange the rest around it", type="primary" if broken.empty else "secondary"):
        season_given.move(season.year, task, day)
        st.rerun()


def grinder(made: Plan, season: Season) -> None:
    """When the machine comes, and what bringing it more often costs and spares."""
    if season.choices.empty:
        st.info("Nothing is ground this season.")
        return
    chosen = season.choices[season.choices["chosen"]].iloc[0]
    st.write(f"The grinder comes {_times(int(chosen['campaigns']))} this season for {chosen['ground']:.0f} blocks, at "
             f"{money(chosen['mobilisation_usd'])} for bringing it; blocks wait {chosen['wait_days']:.0f} days on "
             "average "
             f"from the day they are ready, {chosen['longest_days']:.0f} at most.")
    st.plotly_chart(charts.campaign_chart(season.choices), key="campaigns",
                    alt=charts.describe_campaigns(season.choices))
    st.dataframe(season.choices, hide_index=True, width="stretch", column_config={
        "campaigns": "Times brought", "ground": "Blocks ground", "missed": "Carried to next season",
        "mobilisation_usd": st.column_config.NumberColumn("Bringing it", format="$%,.0f"),
        "wait_days": st.column_config.NumberColumn("Mean wait, days", format="%.0f"),
        "longest_days": st.column_config.NumberColumn("Longest wait, days", format="%.0f"),
        "first_day": st.column_config.DateColumn("From", format=_DAY),
        "last_day": st.column_config.DateColumn("To", format=_DAY), "chosen": "On the calendar"})
    st.caption("How often it comes (campaigns), whether the last time is as late as the season allows or as soon as "
               "its blocks are ready (grind_timing), and what bringing it costs (grinder_mobilisation_usd) are values "
               "under "
               "*Prices and rules*, table season.")
    st.dataframe(season.campaigns, hide_index=True, width="stretch", column_config={
        "season": "Season", "campaign": "Campaign", "first_day": st.column_config.DateColumn("From", format=_DAY),
        "last_day": st.column_config.DateColumn("To", format=_DAY), "blocks": "Blocks",
        "area_sqyd": st.column_config.NumberColumn("Sq yd", format="%,.0f"),
        "crew_days": st.column_config.NumberColumn("Machine days", format="%.1f"),
        "travel_mi": st.column_config.NumberColumn("Ways, mi", format="%.1f"),
        "wait_days": st.column_config.NumberColumn("Mean wait, days", format="%.0f")})


def listed(made: Plan, season: Season) -> None:
    """All tasks, by crew if wanted."""
    crews = st.multiselect("Crews", sorted(season.tasks["crew"].unique()), placeholder="All crews", key="list_crews")
    _table(season.tasks[season.tasks["crew"].isin(crews)] if crews else season.tasks, made)


def done(made: Plan, season: Season) -> None:
    """Plan and actual."""
    def chart(table: pd.DataFrame, today: date) -> None:
        st.plotly_chart(charts.progress_chart(table, today), key="progress", alt=charts.describe_progress(table, today))
        st.download_button("Plan and actual as CSV", lambda: exports.csv_text(table), f"progress_{season.year}.csv",
                           on_click="ignore")

    season_given.show_progress(made, season, chart)


def days(made: Plan, season: Season) -> None:
    """Weather and days without work."""
    season_given.show_weather(made)
    if season.bases:
        with st.expander("What the opening days rest on"):
            for basis in season.bases:
                st.caption(session.plain(basis))
    season_given.show_no_work(made)


def takes(made: Plan, season: Season) -> None:
    """What it would take to grind more of the blocks this year, worked out when asked."""
    key = calendars.key(made, season.year)
    kept: dict[str, Any] = st.session_state.setdefault("season_takes", {})
    if kept.get("key") != key:
        if not st.button("Work out what it would take"):
            return
        with st.spinner("Making the calendar anew with one thing changed at a time ..."):
            kept.update(key=key, table=what_it_takes(made, season, session.tables().geometry,
                                                     season_given.of_year(season.year)))
    st.dataframe(kept["table"], hide_index=True, width="stretch", column_config={
        "change": "If", "ground": "Blocks ground", "not_ground": "Not ground", "not_placed": "Not repaired this season",
        "ends": st.column_config.DateColumn("Last day of work", format=_DAY)})


def _table(rows: pd.DataFrame, made: Plan) -> None:
    streets = made.overview.set_index("block_id")["street"]
    st.dataframe(rows.assign(task=rows["task"].map(label), street=rows["block_id"].map(streets)), hide_index=True,
                 width="stretch", height=min(80 + 35 * len(rows), 420), placeholder="", column_order=[
            "start", "finish", "block_id", "street", "task", "crew", "days", "opens", "opens_soonest", "opens_latest",
            "season", "cautions"], column_config={
        "block_id": "Block", "street": "Street", "task": "Task", "crew": "Crew", "season": "Season",
        "cautions": "Weather",
        **{name: st.column_config.DateColumn(words, format=_DAY) for name, words in (
            ("start", "First day"), ("finish", "Last day"), ("opens", "Opens"), ("opens_soonest", "soonest"),
            ("opens_latest", "latest"))},
        "days": st.column_config.NumberColumn("Crew days", format="%.2f")})


def _pick_week(season: Season, where: str) -> date | None:
    """A box to choose a week of the season, the first with work unless another was chosen."""
    if season.tasks.empty:
        return None
    first, last = season.tasks["start"].min(), season.tasks["finish"].max()
    monday = (first - pd.Timedelta(days=first.weekday())).date()
    mondays = [monday + timedelta(weeks=at) for at in range((last.date() - monday).days // 7 + 1)]
    return st.selectbox("Week of", mondays, key=f"week_{where}_{season.year}",
                        format_func=lambda at: f"Monday {at.day} {at:%B %Y}")


def _words(day: date) -> str:
    return f"{day.day} {day:%B}"


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count} times")
