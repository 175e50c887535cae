"""Program and scenarios: what a budget buys, with the proof, why, and what other budgets would."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import pandas as pd
import streamlit as st

from pages import asking, limits, session
from pages.block import lock_form, pick_block, show_block
from pages.editing import edit
from rehab.base.settings import STRATEGIES_OPEN
from rehab.outputs import charts
from rehab.outputs.words import money, share
from rehab.plan import Plan, council, decide
from rehab.plan.least import mean_index_now

_OPEN = {"by rule": "What the rules decide in each year", "adequate": "All that the rules find adequate"}


def main() -> None:
    st.title("Program and scenarios")
    session.banner()
    budget_form()
    limits.show()
    # The places come first and what takes time follows: a changed budget shows at once in the open tab.
    figures = st.container()
    at_once = {"Money": show_money, "Condition": show_condition, "Grinding": show_grinding, "Map": _map,
               "Program list": _list}
    after = {"What money buys": _buys, "Limits and prices": _prices, "Scenarios side by side": _compared,
             "Cost of waiting": _waiting, "Uncertainty": _uncertainty}
    tabs = st.tabs([*at_once, *after], key="program_view", on_change="rerun")
    with figures:
        made = session.decided()
    _fill(tabs[:len(at_once)], at_once, made)
    with figures:
        session.estimated_note(made.strategies)
        proof(made)
    _fill(tabs[len(at_once):], after, made)
    block = pick_block(made, "program_block", first=False)
    if block:
        lock_form(block, made.scenario)
        show_block(made, block)


def _fill(tabs: Sequence[Any], views: dict[str, Callable[[Plan], None]], made: Plan) -> None:
    for tab, show in zip(tabs, views.values(), strict=True):
        if tab.open:
            with tab:
                show(made)


def budget_form() -> None:
    """Money, years and strategies; each box shows what the scenario holds and changes it when it is changed."""
    asked = session.scenario()
    st.session_state.update(budget=float(asked.budgets_usd[0]), years=len(asked.budgets_usd),
                            start_year=asked.start_year, strategies_open=asked.strategies)
    left, middle, right = st.columns(3)
    left.number_input("Budget a year, dollars of that year", min_value=0.0, max_value=1e10, step=250_000.0,
                      format="%.0f", key="budget", on_change=_take_budget)
    middle.number_input("Years", 1, 30, key="years", on_change=_take_years)
    right.number_input("First year", 2000, 2100, key="start_year", on_change=_take_years)
    session.refused("budget")
    for told in st.session_state.pop("told", []):
        st.info(session.plain(told))
    st.radio("Strategies open to the program", STRATEGIES_OPEN, horizontal=True, key="strategies_open",
             format_func=_OPEN.get, on_change=_take_strategies)
    even = set(asked.budgets_usd) == {asked.budgets_usd[0]}
    part = st.expander("A budget of its own for each year", key="by_year", on_change="rerun")
    if not even:
        st.caption("The years have budgets of their own; a figure in the box above becomes that of every year.")
    if part.open:
        with part:
            edit("budgets_usd", asking.budgets_table(asked), asking.budgets_of, disabled=["Year"], column_config={
                "Year": st.column_config.NumberColumn(format="%d"),
                "Budget": st.column_config.NumberColumn(min_value=0, format="$%,.0f")})


def _take_budget() -> None:
    asked = session.scenario()
    session.change("budget", budgets_usd=(float(st.session_state["budget"]),) * len(asked.budgets_usd))


def _take_years() -> None:
    parts, told = asking.over_years(session.scenario(), int(st.session_state["start_year"]),
                                    int(st.session_state["years"]))
    if session.change("budget", **parts) and told:
        st.session_state["told"] = [told]


def _take_strategies() -> None:
    session.change("budget", strategies=st.session_state["strategies_open"])


def proof(made: Plan) -> None:
    """What stands against a program, or its figures and how near it is to the best."""
    notes = made.notes
    if made.chosen.failed:
        st.error("No program obeys all that is asked. " + " ".join(
            session.plain(f"{'' if pd.isna(note.year) else f'{note.year}: '}{note.message}.")
            for note in notes[notes["topic"].isin(["conflict", "program"])].itertuples(index=False)))
        _notes(notes[~notes["topic"].isin(["conflict", "program"])])
        return
    tiles = st.columns(4)
    last = made.by_year.iloc[-1]
    tiles[0].metric("Blocks in the program", f"{len(made.program):,} of {made.summary['blocks']:,}")
    tiles[1].metric("Spent of the budget", money(made.summary["spent_usd"]),
                    delta=f"of {money(made.summary['budget_usd'])}", delta_color="off", delta_arrow="off")
    tiles[2].metric(f"Sound pavement in {last['year']:.0f}", share(last["sound_with"]),
                    delta=f"{share(last['sound_without'])} without work", delta_color="off", delta_arrow="off")
    tiles[3].metric(f"Mean index in {last['year']:.0f}", f"{last['index_with']:.1f}",
                    delta=f"{mean_index_now(made.prepared):.1f} today, {last['index_without']:.1f} without work",
                    delta_color="off", delta_arrow="off")
    said = council.bound_words(made)
    if said:
        st.caption(session.plain(said))
    _search_longer(made)
    _notes(notes)


def _search_longer(made: Plan) -> None:
    """As long a search as the command line's, begun from what is shown; every page then rests on what it finds."""
    longer = st.session_state.setdefault("searched", set())
    at, prepared = session.ready(made.scenario)
    key = (*at, made.scenario.fingerprint())
    if made.scenario.choice != "best" or key in longer:
        return
    if st.button("Search longer", key="search_longer", help="The screen searches briefly, so that a change shows at "
                 "once; the command line searches longer. Do so before a program is published."):
        with st.spinner("Searching for a better program ..."):
            found = decide(prepared, made.scenario, known=[made])
        longer.add(key)
        session.keep(at, found)
        st.rerun()


def _notes(notes: pd.DataFrame) -> None:
    """The first notes in full, the others in a table."""
    said = []
    for note in notes.itertuples(index=False):
        where = " in ".join(str(part) for part in (note.block_id, note.year) if pd.notna(part))
        said.append(session.plain(f"{where}: {note.message}." if where else f"{note.message[:1].upper()}"
                                  f"{note.message[1:]}."))
    if len(said) <= 3:
        for words in said:
            st.warning(words)
        return
    with st.expander(f"{len(said):,} things to know about this program"):
        st.dataframe(notes[["block_id", "year", "message"]], hide_index=True, width="stretch", column_config={
            "block_id": "Block", "year": st.column_config.NumberColumn("Year", format="%d"),
            "message": "What to know"})


def show_money(made: Plan) -> None:
    st.plotly_chart(charts.program_chart(made.by_year), key="money", alt=charts.describe_program(made.by_year))


def show_condition(made: Plan) -> None:
    names = {"index": "Condition index", "sound": "Sound pavement", "full": "Pavement that needs full depth"}
    measure = st.radio("Show", list(charts.MEASURES), horizontal=True, format_func=lambda name: names[name])
    st.plotly_chart(charts.condition_chart(made.by_year, measure), key="condition",
                    alt=charts.describe_condition(made.by_year, measure))


def show_grinding(made: Plan) -> None:
    text = charts.describe_grinding(made.by_year)
    st.plotly_chart(charts.grinding_chart(made.by_year), key="ground", alt=text)
    st.caption(text)
    named = {"ground": "With the repairs", "reground": "Again, expected", "grind_need": "Asked for, no work"}
    columns = {"year": st.column_config.NumberColumn("Year", format="%d")}
    for name, words in named.items():
        columns[f"{name}_sqyd"] = st.column_config.NumberColumn(f"{words}, sq yd", format="%,.0f")
        columns[f"{name}_usd"] = st.column_config.NumberColumn(f"{words}, dollars of the year", format="$%,.0f")
    st.dataframe(made.by_year[list(columns)], hide_index=True, width="stretch", column_config=columns)


# What follows loads its part of the program only when its tab is opened.


def _map(made: Plan) -> None:
    from pages.city_map import show_map
    show_map(made, "program")


def _list(made: Plan) -> None:
    from pages.listing import show
    show(made)


def _buys(made: Plan) -> None:
    from pages.answers import show_buys
    show_buys(made)


def _prices(made: Plan) -> None:
    from pages.answers import show_limits
    show_limits(made)


def _compared(made: Plan) -> None:
    from pages.scenarios import show
    show(made)


def _waiting(made: Plan) -> None:
    from pages.waiting import show_network
    show_network(made)


def _uncertainty(made: Plan) -> None:
    from pages.uncertainty import show_uncertainty
    show_uncertainty(made)


main()
