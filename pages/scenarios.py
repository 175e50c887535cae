"""Scenarios side by side: the council's set, the least money for aims, programs kept by name, and what changes."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from pages import answers, session
from rehab.outputs import charts, exports
from rehab.outputs.words import label, place
from rehab.plan import Plan, council, known, least, reasons
from rehab.plan.answers import SIMPLE_RULES, standard_scenarios

_AIMS = {"hold": "Hold the condition", "reach": "Reach a mean index", "clear": "Clear the backlog"}
_MOST_KEPT = 6


def show(made: Plan) -> None:
    _least_money(made)
    plans = _plans(made)
    _keep(made, list(plans))
    shown = st.multiselect("Scenarios", list(plans), default=list(plans), key=f"shown_{len(plans)}")
    drawn = {name: plans[name] for name in shown}
    measure = st.radio("Compare by", list(charts.SCENARIO_MEASURES), horizontal=True, key="compare_by",
                       format_func=lambda name: charts.SCENARIO_MEASURES[name].words)
    tables = {name: plan.by_year for name, plan in drawn.items()}
    st.plotly_chart(charts.scenario_chart(tables, measure), key="compare",
                    alt=charts.describe_scenarios(tables, measure))
    _table(drawn)
    said = council.gain(plans["Current budget"], {name: plans[name] for name in SIMPLE_RULES})
    if said:
        st.write(session.plain(said))
    st.caption("Current budget is the best program for the money without what was set by hand, forced, closed or kept "
               "out, and without aims; own program is the one with all of that. The three simple rules spend the same "
               "money under the same limits.")
    _changes(plans)


def _plans(made: Plan) -> dict[str, Plan]:
    """All plans by the name that they are shown under."""
    found = {}
    for asked in standard_scenarios(made.scenario):
        # Where nothing was set by hand the two are one.
        same = asked.choice == "best" and replace(asked, name=made.scenario.name) == made.scenario
        found[asked.name] = known.under(made, asked) if same else session.decided(asked)
    for name, words in _AIMS.items():
        held = answers.found(made, name)
        if held and held[1].plan is not None:
            found[held[0].name or words] = held[1].plan
    return {**found, **st.session_state.get("kept_programs", {})}


def _keep(made: Plan, taken: list[str]) -> None:
    left, right = st.columns([3, 1], vertical_alignment="bottom")
    left.text_input("Keep this program for comparison, under the name", key="keep_name")
    right.button("Keep", key="keep_program", on_click=_take, args=(made, taken))
    session.refused("keep")


def _take(made: Plan, taken: list[str]) -> None:
    name = st.session_state["keep_name"].strip()
    kept = st.session_state.setdefault("kept_programs", {})
    if not name:
        session.refuse("keep", "a program needs a name to be kept")
    elif name in taken and name not in kept:
        session.refuse("keep", f"'{name}' is the name of another scenario; give one of your own")
    elif len(kept) >= _MOST_KEPT and name not in kept:
        session.refuse("keep", f"{_MOST_KEPT} programs are kept already; use the name of one to replace it")
    else:
        kept[name] = made


def _table(plans: dict[str, Plan]) -> None:
    if not plans:
        return
    rows = council.side_by_side(plans)
    percent = rows.assign(sound_share=100 * rows["sound_share"], full_share=100 * rows["full_share"])
    usd = {name: st.column_config.NumberColumn(words, format="$%,.0f") for name, words in (
        ("usd_per_yr", "Money a year"), ("spent_usd", "Spent in all"))}
    st.dataframe(percent.drop(columns=["measure", "status"]), hide_index=True, width="stretch", column_config={
        "scenario": st.column_config.TextColumn("Scenario", width="medium"), **usd,
        "blocks": st.column_config.NumberColumn("Blocks", format="%,d"),
        "benefit": st.column_config.NumberColumn("Benefit", format="%,.0f"),
        "year": st.column_config.NumberColumn("Last year", format="%d"),
        "index": st.column_config.NumberColumn("Mean index then", format="%.1f"),
        "sound_share": st.column_config.NumberColumn("Sound, % of area", format="%.1f"),
        "full_share": st.column_config.NumberColumn("Needs full depth, % of area", format="%.1f")})
    st.download_button("Scenarios as CSV", lambda: exports.csv_text(rows), "scenarios.csv", on_click="ignore")


def _least_money(made: Plan) -> None:
    """The least money for three aims: a button, and in words what was found."""
    missing = [name for name in _AIMS if answers.found(made, name) is None]
    if missing and sum(made.scenario.money_usd) > 0 and st.button(
            "Add the least money that holds the condition, reaches a target and clears the backlog", key="add_least",
            help="Takes some seconds for each. Other targets are set under What money buys."):
        last = made.scenario.years[-1]
        asked = {"hold": least.holding(made.prepared, made.scenario), "clear": least.clearing(made.scenario, last),
                 "reach": least.reaching(made.scenario, council.first_target(made), last)}
        for name in missing:
            with st.spinner(f"{_AIMS[name]}: looking for the least money ..."):
                answers.work_out(name, asked[name])
    for name in _AIMS:
        held = answers.found(made, name)
        if held:
            st.write(session.plain(least.sentences(made.prepared, held[0], [held[1]])[-1]))


def _changes(plans: dict[str, Plan]) -> None:
    st.markdown("**What changes between two of them**")
    left, right = st.columns(2)
    names = list(plans)
    one = left.selectbox("First", names, names.index("Worst first"), key="change_one")
    other = right.selectbox("Second", names, names.index("Current budget"), key="change_other")
    found = reasons.changes(plans[one], plans[other])
    st.write(session.plain(council.change_counts(found)))
    if found.empty:
        return
    shown = found.assign(
        where=[place(*streets) for streets in found[["street", "from_street", "to_street"]].itertuples(index=False)],
        strategy_one=found["strategy_one"].map(label, na_action="ignore"),
        strategy_other=found["strategy_other"].map(label, na_action="ignore"))
    order = ["block_id", "where", "change", "year_one", "strategy_one", "cost_usd_one", "year_other", "strategy_other",
             "cost_usd_other"]
    named = {f"{column}_{end}": kind(f"{words}, {which}", format=form) if form else f"{words}, {which}"
             for end, which in (("one", "first"), ("other", "second"))
             for column, words, kind, form in (("year", "Year", st.column_config.NumberColumn, "%d"),
                                               ("strategy", "Work", None, ""),
                                               ("cost_usd", "Cost", st.column_config.NumberColumn, "$%,.0f"))}
    st.dataframe(shown[order], hide_index=True, width="stretch", height=320, column_config={
        "block_id": "Block", "where": "Where", "change": "Change", **named})
    st.download_button("Changes as CSV", lambda: exports.csv_text(found), "changes.csv", on_click="ignore")
