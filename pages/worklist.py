"""Work list: what a crew takes to the street, what to order for it, and what comes back measured."""

from __future__ import annotations

from typing import Any

import pandas as pd
import streamlit as st

from pages import calendars, measured, session
from rehab import plan
from rehab.outputs import exports, folder, worklist
from rehab.outputs.words import count, label, price
from rehab.outputs.worklist.orders import to_bring
from rehab.steps.season import Season

_PAPERS = {"letter": "Letter", "A4": "A4"}
Asked = tuple[tuple[str, ...] | None, tuple[pd.Timestamp, ...] | None, tuple[str, ...] | None, str]


def main() -> None:
    st.title("Work list")
    session.banner()
    made = session.decided()
    year = session.pick_year(made)
    if year is None:
        return
    season = calendars.season(made, year)
    views = {"Sheets for crews": _sheets, "Orders by week": _orders, "What was measured": measured.show}
    tabs = st.tabs(list(views), key="worklist_view", on_change="rerun")
    for tab, show in zip(tabs, views.values(), strict=True):
        if tab.open:
            with tab:
                show(made, season)


def _sheets(made: plan.Plan, season: Season) -> None:
    rows = made.overview[made.overview["program_year"] == season.year]
    asked = _choose(rows, season)
    listed = _content(made, season, asked)
    names = [job.name for job in listed.jobs]
    shown = rows.set_index("block_id", drop=False).loc[names]
    st.write(f"{count(len(shown), 'block')}, {price(shown['program_cost_usd'].sum())} likely.")
    session.estimated_note(shown)
    st.dataframe(shown[["block_id", "street", "from_street", "to_street", "district", "program_strategy",
                        "program_cost_usd", "estimated"]].assign(program_strategy=shown["program_strategy"].map(label)),
                 hide_index=True, width="stretch", height=300, column_config={
        "block_id": "Block", "street": "Street", "from_street": "From", "to_street": "To", "district": "District",
        "program_strategy": "Strategy", "estimated": "Estimated",
        "program_cost_usd": st.column_config.NumberColumn("Likely cost", format="$%,.2f")})
    if len(shown):
        _files(made, season, asked, listed)
    st.caption("A sheet for each block: where it lies, limits and stations, repairs, order of work, materials, "
               "equipment, opening, hold points, checklists and cautions; the PDF holds the panel plan to scale as "
               "well. What is written into the workbook can be read back under *What was measured*. Silica dust, "
               "lifting, traffic, buried utilities and wet concrete can hurt: local codes, the engineer and a "
               "competent person decide.")


def _choose(rows: pd.DataFrame, season: Season) -> Asked:
    """Which blocks: of districts, single ones, of weeks or of crews, all of these together; all if none is named."""
    tasks = season.tasks[season.tasks["season"] == "this"]
    first, second = st.columns(2), st.columns(2)
    districts = first[0].multiselect("Districts", sorted(rows["district"].dropna().unique()),
                                     placeholder="All districts")
    names = first[1].multiselect("Blocks", sorted(rows["block_id"]), placeholder="All blocks of the year")
    mondays = sorted(_mondays(tasks))
    weeks = second[0].multiselect("Weeks with work on the block", mondays, placeholder="All weeks",
                                  format_func=lambda day: f"Week of {day.day} {day:%b %Y}")
    crews = second[1].multiselect("Crews with work on the block", sorted(tasks["crew"].unique()),
                                  placeholder="All crews")
    order = st.radio("Order the sheets by", worklist.ORDERS, horizontal=True, format_func=str.capitalize)
    chosen: tuple[str, ...] | None = None
    if districts or names:
        kept = rows[rows["district"].isin(districts)] if districts else rows
        chosen = tuple(name for name in kept["block_id"] if not names or name in names)
    return chosen, tuple(weeks) or None, tuple(crews) or None, order


def _mondays(tasks: pd.DataFrame) -> set[pd.Timestamp]:
    spans = tasks[["start", "finish"]].drop_duplicates()
    return {day - pd.Timedelta(days=day.weekday()) for first, last in spans.itertuples(index=False)
            for day in pd.date_range(first, last)}


def _content(made: plan.Plan, season: Season, asked: Asked) -> worklist.Content:
    blocks, weeks, crews, order = asked
    return folder.work_list(made, season, session.tables().geometry, order=order, blocks=blocks, weeks=weeks,
                            crews=crews)


def _files(made: plan.Plan, season: Season, asked: Asked, listed: worklist.Content) -> None:
    """The sheets as files: made when they are asked for, with a bar that says how far they are."""
    paper = st.radio("Paper", list(_PAPERS), horizontal=True, format_func=_PAPERS.get, key="paper")
    at = (*calendars.key(made, season.year), asked, paper)
    if st.button("Make the sheets", type="primary"):
        bar = st.progress(0.0, "Making the sheets ...")
        book = worklist.workbook(listed, made.prepared.assumptions, paper=paper, watch=_watch(bar, 0.0, "Workbook"))
        sheets = worklist.pdf(listed, made.prepared.assumptions, paper=paper, watch=_watch(bar, 0.5, "PDF"))
        bar.empty()
        st.session_state["sheets"] = at, book, sheets
    kept = st.session_state.get("sheets")
    if not kept or kept[0] != at:
        return
    left, right = st.columns(2)
    left.download_button("Work list as workbook (XLSX)", kept[1], f"worklist_{season.year}.xlsx", on_click="ignore")
    right.download_button(f"Work list to print (PDF, {_PAPERS[paper]})", kept[2], f"worklist_{season.year}.pdf",
                          on_click="ignore")


def _watch(bar: Any, begin: float, what: str) -> Any:
    def told(done: int, total: int) -> None:
        bar.progress(begin + 0.5 * done / max(total, 1), f"{what}: block {done:,} of {total:,}")
    return told


def _orders(made: plan.Plan, season: Season) -> None:
    """Materials and equipment by week."""
    listed = _content(made, season, (None, None, None, worklist.ORDERS[0]))
    if listed.orders.empty:
        st.info("Nothing to order.")
        return
    weeks = sorted(listed.orders["week"].dropna().unique())
    week = st.selectbox("Week", [None, *weeks], key="order_week", format_func=lambda day: "Whole year" if day is None
                        else f"Week of {pd.Timestamp(day).day} {pd.Timestamp(day):%b %Y}")
    shown = worklist.whole_year(listed.orders) if week is None else listed.orders[listed.orders["week"] == week]
    for kind, words in (("material", "Materials"), ("equipment", "Equipment")):
        st.subheader(words)
        rows = shown[shown["kind"] == kind]
        rows = rows.assign(**{name: [to_bring(amount, unit)[0] for amount, unit in zip(rows[name], rows["unit"],
                                                                                    strict=True)]
                              for name in ("quantity", "estimated")})
        st.dataframe(rows[["item", "quantity", "unit", "estimated", "why"]], hide_index=True, width="stretch",
                     column_config={
            "item": st.column_config.TextColumn("Item", width="medium"),
            "quantity": st.column_config.NumberColumn("Quantity", format="%,.1f"), "unit": "Unit",
            "estimated": st.column_config.NumberColumn("Of which estimated", format="%,.1f"),
            "why": st.column_config.TextColumn("For", width="large")})
    st.caption("Materials with their waste, in the week in which the task that uses them begins on the block; "
               "equipment is the most that the crews at work in the week need at once. The part called estimated rests "
               "on an index, a rating or a word: measure before ordering. Pieces are rounded up.")
    st.download_button("Orders of all weeks as CSV", lambda: exports.csv_text(listed.orders),
                       f"orders_{season.year}.csv", on_click="ignore")


main()
