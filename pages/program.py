"""Program and scenarios: what a budget buys, with the proof, and what other budgets would."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from pages import session
from pages.block import lock_form, pick_block, show_block
from pages.city_map import show_map
from pages.uncertainty import show_uncertainty
from pages.waiting import show_network
from rehab.base.settings import STRATEGIES_OPEN
from rehab.outputs import charts, exports
from rehab.outputs.words import label, money, share
from rehab.plan import Plan
from rehab.plan.answers import standard_scenarios


def main() -> None:
    st.title("Program and scenarios")
    session.banner()
    budget_form()
    made = session.decided()
    session.estimated_note(made.overview)
    proof(made)
    views = {"Money": show_money, "Condition": show_condition, "Grinding": show_grinding,
             "Map": lambda made: show_map(made, "program"), "Program list": listed, "Scenarios side by side": compared,
             "Cost of waiting": show_network,
             "Uncertainty": show_uncertainty}
    for tab, show in zip(st.tabs(list(views), key="program_view", on_change="rerun"), views.values(), strict=True):
        if tab.open:
            with tab:
                show(made)
    block = pick_block(made, "program_block")
    if block:
        lock_form(block, made.scenario)
        show_block(made, block)


def budget_form() -> None:
    asked = session.scenario()
    left, middle, right = st.columns(3)
    usd = left.number_input("Budget a year, dollars of that year", min_value=0.0, max_value=1e10, step=250_000.0,
                            value=float(asked.budgets_usd[0]), format="%.0f", key="budget")
    years = middle.number_input("Years", 1, 30, len(asked.budgets_usd), key="years")
    start = right.number_input("First year", 2000, 2100, asked.start_year, key="start_year")
    words = {"by rule": "What the rules decide in each year", "adequate": "All that the rules find adequate"}
    open_ = st.radio("Strategies open to the program", STRATEGIES_OPEN, horizontal=True, key="strategies_open",
                     index=STRATEGIES_OPEN.index(asked.strategies), format_func=words.get)
    if open_ != asked.strategies:
        session.change(strategies=open_)
        st.rerun()
    even = set(asked.budgets_usd) == {asked.budgets_usd[0]}
    with st.expander("A budget of its own for each year", expanded=not even):
        table = pd.DataFrame({"Year": list(asked.years), "Budget": list(asked.budgets_usd)})
        edited = st.data_editor(table, hide_index=True, disabled=["Year"], key=f"budgets_{usd}_{years}_{start}",
                                column_config={"Budget": st.column_config.NumberColumn(min_value=0, format="$%,.0f")})
    if (usd, years, start) != (asked.budgets_usd[0], len(asked.budgets_usd), asked.start_year):
        session.change(budgets_usd=(float(usd),) * int(years), start_year=int(start))
        st.rerun()
    budgets = tuple(float(value) for value in edited["Budget"].fillna(0))
    if budgets != asked.budgets_usd:
        session.change(budgets_usd=budgets)
        st.rerun()


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


def proof(made: Plan) -> None:
    summary = made.summary
    tiles = st.columns(4)
    last = made.by_year.iloc[-1]
    tiles[0].metric("Blocks in the program", f"{len(made.program):,} of {summary['blocks']:,}")
    tiles[1].metric("Spent of the budget", money(summary["spent_usd"]), delta=f"of {money(summary['budget_usd'])}",
                    delta_color="off", delta_arrow="off")
    tiles[2].metric(f"Sound pavement in {last['year']:.0f}", share(last["sound_with"]),
                    delta=f"{share(last['sound_without'])} without work", delta_color="off", delta_arrow="off")
    tiles[3].metric(f"Mean index in {last['year']:.0f}", f"{last['index_with']:.1f}",
                    delta=f"{last['index_without']:.1f} without work", delta_color="off", delta_arrow="off")
    if summary["status"] == "infeasible":
        st.error("No program obeys all that is asked.")
    elif summary["upper_bound"]:
        st.caption(f"Benefit {summary['objective']:,.0f} ({summary['benefit_measures']}); no program under these "
                   f"budgets can reach more than {summary['upper_bound']:,.0f}, so this one is within "
                   f"{100 * summary['gap']:.3f} % of the best.")
    for note in made.notes.itertuples(index=False):
        where = "Network" if pd.isna(note.block_id) else note.block_id
        year = "" if pd.isna(note.year) else f" in {note.year}"
        st.warning(session.plain(f"{where}{year}: {note.message}"))


def listed(made: Plan) -> None:
    rows = made.overview[made.overview["program_year"].notna()].sort_values(["program_year", "district", "street"])
    shown = rows[["program_year", "block_id", "street", "from_street", "to_street", "district", "program_strategy",
                  "program_cost_usd", "ground_year", "estimated"]].assign(
        program_strategy=rows["program_strategy"].map(label))
    st.dataframe(shown, hide_index=True, width="stretch", height=420, column_config={
        "program_year": st.column_config.NumberColumn("Year", format="%d"), "block_id": "Block", "street": "Street",
        "from_street": "From", "to_street": "To", "district": "District", "program_strategy": "Strategy",
        "program_cost_usd": st.column_config.NumberColumn("Likely cost", format="$%,.0f"),
        "ground_year": st.column_config.NumberColumn("Ground in", format="%d"), "estimated": "Estimated"})
    left, right = st.columns(2)
    left.download_button("Program as CSV", lambda: exports.csv_text(rows), "program.csv", on_click="ignore")
    if len(session.tables().geometry):
        right.download_button("Program as GeoJSON",
                              lambda: exports.program_geojson(made.overview, session.tables().geometry),
                              "program.geojson", on_click="ignore")


def compared(_made: Plan) -> None:
    plans = {asked.name: session.decided(asked) for asked in standard_scenarios(session.scenario())}
    measure = st.radio("Compare by", list(charts.SCENARIO_MEASURES), horizontal=True, key="compare_by",
                       format_func=lambda name: charts.SCENARIO_MEASURES[name].words)
    tables = {name: made.by_year for name, made in plans.items()}
    st.plotly_chart(charts.scenario_chart(tables, measure), key="compare",
                    alt=charts.describe_scenarios(tables, measure))
    rows = []
    for name, made in plans.items():
        last = made.by_year.iloc[-1]
        rows.append({"Scenario": name, "Spent": money(made.summary["spent_usd"]), "Blocks": len(made.program),
                     "Benefit": f"{made.summary['objective']:,.0f}", f"Mean index in {last['year']:.0f}":
                     f"{last['index_with']:.1f}", "Sound pavement": share(last["sound_with"]),
                     "Needs full depth": share(last["full_with"])})
    st.dataframe(pd.DataFrame(rows), hide_index=True, width="stretch")
    st.caption("Current budget is the best program for the budget without what was set by hand, forced or kept out; "
               "own program is the one with all of that.")
    best, worst = plans["Current budget"], plans["Worst first"]
    if worst.summary["objective"] and best.summary["objective"]:
        more = best.summary["objective"] / worst.summary["objective"] - 1
        st.write(f"The same money chosen by benefit buys {100 * more:.0f} % more benefit than spending it worst first.")


main()
