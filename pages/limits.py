"""Limits and funds: all that a program is asked beyond its yearly budget."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from pages import asking, session
from pages.editing import edit
from pages.uploads import show_problems
from rehab.base.errors import Problem, UnusableInput, as_table
from rehab.base.limits import BENEFITS, CORRIDORS
from rehab.inputs import reading
from rehab.inputs.reading.commitments import as_forced
from rehab.outputs.words import number
from rehab.plan import least

if TYPE_CHECKING:
    from streamlit.delta_generator import DeltaGenerator

_BENEFITS = {"sound pavement": "Sound pavement gained", "agency cost": "Present worth of agency cost saved"}
_NOT_ASKED = "not asked"
_CORRIDORS = {"apart": "Each block by itself", "given": "Given by the column 'corridor'", "by street": "By street"}


def show() -> None:
    """The part of the form that is closed until it is wanted; what is in force is said below it."""
    part = st.expander("Limits and funds", key="limits", on_change="rerun")  # another label would close it
    if part.open:
        _open(part)
    said = asking.in_force(session.scenario())
    if said:
        st.caption(session.plain(f"In force: {said}."))


def _open(part: DeltaGenerator) -> None:
    with part:
        views = {"How to choose": _choosing, "Funds": _funds, "Crews and contracts": _capacities,
                 "Districts": _districts, "Committed and closed": _committed, "Condition to reach": _condition}
        for tab, view in zip(st.tabs(list(views), key="limits_view", on_change="rerun"), views.values(), strict=True):
            if tab.open:
                with tab:
                    view()


def _choosing() -> None:
    asked = session.scenario()
    left, right = st.columns(2)
    for place, name, words, options, names, about in (
            (left, "benefit", "Benefit to have the most of", BENEFITS, _BENEFITS, (
                "Sound pavement counts square-yard-years, discounted and weighted by traffic. Agency cost counts the "
                "dollars that work in time saves over the horizon, at today's worth.")),
            (right, "works", "Works planned on a block", (1, 2), {1: "One at most", 2: "One, and a second one later"}, (
                "A second work is a later repair, reconstruction or grinding within the years of the program.")),
            (left, "corridors", "Blocks of one corridor", CORRIDORS, _CORRIDORS, (
                "Together: all work in a corridor falls in one year, brings its equipment once and grinds cheaper."))):
        now = getattr(asked, name)
        st.session_state[f"ask_{name}"] = now
        place.radio(words, options, key=f"ask_{name}", format_func=names.get, on_change=_take, args=(name,))
        place.caption(about)
    st.session_state["ask_carry_over"] = 100 * asked.carry_over
    right.number_input("Share of a year's money that may be left to the next, %", 0.0, 100.0, step=5.0, format="%g",
                       key="ask_carry_over", on_change=_take_share)
    right.caption("0: what a year does not spend is lost to the program.")
    session.refused("choosing")


def _take(name: str) -> None:
    session.change("choosing", **{name: st.session_state[f"ask_{name}"]})


def _take_share() -> None:
    session.change("choosing", carry_over=st.session_state["ask_carry_over"] / 100)


def _funds() -> None:
    st.caption("Money beside the yearly budget that may pay some work only: an empty list allows everything. Each year "
               "needs a figure, 0 for no money. A block may be paid by several funds.")
    asked = session.scenario()
    money = {str(year): st.column_config.NumberColumn(min_value=0, format="$%,.0f") for year in asked.years}
    edit("funds", asking.funds_table(asked), lambda table: asking.funds_of(table, session.scenario()),
         num_rows="dynamic", column_config={
             "Fund": st.column_config.TextColumn(width="small"),
             "Only this work": st.column_config.MultiselectColumn(options=list(asking.WORKS)),
             "Only these streets": st.column_config.MultiselectColumn(options=list(asking.STREETS)),
             "Only these districts": st.column_config.MultiselectColumn(options=_district_names()), **money})


def _capacities() -> None:
    st.caption("The most of a kind of work that crews or contracts can do in a year. Without a year it holds in every "
               "year. Full-depth repair counts the panels it replaces, reconstruction the whole block.")
    asked = session.scenario()
    edit("capacities", asking.capacities_table(asked), asking.capacities_of, num_rows="dynamic", column_config={
        "Kind of work": st.column_config.SelectboxColumn(options=list(asking.KINDS), width="medium"),
        "Most in a year": st.column_config.NumberColumn(min_value=0, format="%,.0f"), "Only in": _year(asked.years)})


def _districts() -> None:
    st.caption("The least share of all the program's money that is to be spent in a district.")
    names = _district_names()
    if not names:
        st.info("The table in use names no districts.")
        return
    edit("district_shares", asking.shares_table(session.scenario()), asking.shares_of, num_rows="dynamic",
         column_config={"District": st.column_config.SelectboxColumn(options=names, width="medium"),
                        "At least, % of all money": st.column_config.NumberColumn(min_value=0, max_value=100)})


def _committed() -> None:
    asked, names = session.scenario(), _block_names()
    st.markdown("**Committed projects and forced blocks**")
    st.caption("Work that the program has to hold, in its year. Without a work the best one open is taken, without a "
               "cost it is estimated. One row per block.")
    edit("forced", asking.forced_table(asked), lambda table: asking.forced_of(table, names), num_rows="dynamic",
         column_config={"Block": st.column_config.TextColumn(width="medium"), "Year": _year(asked.years),
                        "Work": st.column_config.SelectboxColumn(options=list(asking.WORKS)),
                        "Cost": st.column_config.NumberColumn(min_value=0, format="$%,.0f")})
    _upload(names)
    st.markdown("**Closed years**")
    st.caption("Years in which a block may not be worked on.")
    edit("closed", asking.closed_table(asked), lambda table: asking.closed_of(table, names), num_rows="dynamic",
         column_config={"Block": st.column_config.TextColumn(width="medium"), "Closed in": _year(asked.years)})


def _upload(names: set[str]) -> None:
    left, right = st.columns([3, 1], vertical_alignment="bottom")
    upload = left.file_uploader("A list of committed projects: block_id, year, strategy, cost_usd",
                                type=["csv", "xlsx"], key="committed_file")
    right.download_button("Template, CSV", lambda: reading.template("commitments"), "committed.csv",
                          on_click="ignore")
    if upload is None:
        return
    try:
        raw = reading.open_table(upload.name, upload.getvalue(), table="commitments")
        found = reading.read_commitments(raw, None, names, session.scenario().years)
    except UnusableInput as error:
        show_problems(as_table(error.problems, Problem))
        return
    show_problems(found.problems)
    rows = as_forced(found.table)
    if rows:
        st.button(f"Add these {len(rows):,} projects" if len(rows) > 1 else "Add this project", key="add_committed",
                  on_click=_add, args=(rows,))
    session.refused("committed")


def _add(rows: tuple[asking.Forced, ...]) -> None:
    session.change("committed", forced=asking.with_committed(session.scenario(), rows))


def _condition() -> None:
    asked, (_, prepared) = session.scenario(), session.ready()
    st.markdown("**Mean index to hold or reach**")
    st.caption("By area, after the work of each year from one year to another; today it is "
               f"{number(least.mean_index_now(prepared))}. The least money for an aim is under *What money buys*.")
    edit("targets", asking.targets_table(asked), asking.targets_of, num_rows="dynamic", column_config={
        "Mean index at least": st.column_config.NumberColumn(min_value=0, max_value=100),
        "From": _year(asked.years), "To": _year(asked.years)})
    st.session_state["ask_cleared_by"] = str(asked.cleared_by or _NOT_ASKED)
    st.selectbox("Full-depth backlog cleared by", [_NOT_ASKED, *map(str, asked.years)], key="ask_cleared_by",
                 on_change=_take_cleared)
    st.caption("By that year every block that the rules send to full-depth repair or reconstruction has had its work.")
    session.refused("choosing")


def _take_cleared() -> None:
    year = st.session_state["ask_cleared_by"]
    session.change("choosing", cleared_by=None if year == _NOT_ASKED else int(year))


def _year(years: range) -> object:
    return st.column_config.NumberColumn(min_value=years[0], max_value=years[-1], step=1, format="%d")


def _district_names() -> list[str]:
    return sorted(session.tables().blocks["district"].dropna().unique())


def _block_names() -> set[str]:
    return set(session.tables().blocks["block_id"])
