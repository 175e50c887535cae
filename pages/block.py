"""One block, as several screens show it: which one, everything about it, and what the engineer decides for it."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from pages import session
from pages.chain import show_chain, show_plan
from rehab.base.settings import Scenario
from rehab.base.tables import STRATEGIES, fields
from rehab.outputs import charts
from rehab.outputs.words import heading, label, money, number, place, share, unit
from rehab.plan import Plan, trace
from rehab.plan.answers import block_forecast
from rehab.steps.strategy import curb_ramp_note


def pick_block(made: Plan, key: str) -> str | None:
    """A box to choose the block by name; what is clicked on the map is chosen here."""
    rows = made.overview[["block_id", "street", "from_street", "to_street"]].itertuples(index=False)
    names = {name: f"{name} · {place(*streets)}" for name, *streets in rows}
    if not names:
        return None
    chosen = st.session_state.get("selected")
    if chosen in names and chosen != st.session_state.get(f"{key}_shown"):
        st.session_state[key] = chosen  # chosen elsewhere: on the map, or on another page
    picked = st.selectbox("Block", names, key=key, format_func=names.get)
    st.session_state["selected"] = st.session_state[f"{key}_shown"] = picked
    return picked


def show_block(made: Plan, block_id: str) -> None:
    """One block: survey, why, quantities, cost, forecast with and without work."""
    line = made.overview.set_index("block_id").loc[block_id]
    row = made.prepared.network.set_index("block_id").loc[block_id]
    where = place(line["street"], line["from_street"], line["to_street"])
    st.subheader(session.plain(f"{block_id}: {where}"))
    tiles = st.columns([2.8, 1.3, 1, 1.2, 1.2])
    tiles[0].metric("Set by hand" if line["overridden"] else "By today's condition", label(line["strategy"]))
    tiles[1].metric("Likely cost today", money(line["likely_usd"]),
                    help=f"low {money(line['low_usd'])}, high {money(line['high_usd'])}")
    tiles[2].metric("Condition index", number(line["index"], 0))
    tiles[3].metric("Life added", f"{number(line['life_extension_yr'])} yr",
                    help="Years until major work falls due, with the strategy done in the first year, less without.")
    tiles[4].metric("Year in the program", "none" if pd.isna(line["program_year"]) else f"{line['program_year']:.0f}")
    if pd.notna(line["program_year"]):
        st.write(f"In the program: **{label(line['program_strategy'])}** in {line['program_year']:.0f} for "
                 f"**{money(line['program_cost_usd'])}**, by the condition and prices expected then.")
    if line["estimated"]:
        st.warning("Estimated: this block holds no counts, only an index, a rating or a word.")
    if row["assumed"]:
        st.caption(f"Taken from the defaults: {', '.join(heading(name) for name in row['assumed'].split('; '))}.")
    why, survey, drawn, amounts, future = st.tabs(
        ["Why", "Survey", "Panel plan", "From defect to dollar", "Forecast"], key="block_part", on_change="rerun")
    # Only the part that is open is worked out.
    if why.open:
        with why:
            _why(made, line)
    if survey.open:
        with survey:
            _survey(row)
    if drawn.open:
        with drawn:
            show_plan(made, block_id)
    if amounts.open:
        with amounts:
            show_chain(made, block_id)
    if future.open:
        with future:
            _future(made, block_id)


def override_form(made: Plan, block_id: str) -> None:
    """Set the strategy of a block by hand, with a reason."""
    own = {item.block_id: item for item in session.scenario().overrides}.get(block_id)
    with st.form(f"override_{block_id}"):
        left, right = st.columns([1, 2])
        chosen = left.selectbox("Set the strategy by hand", STRATEGIES, format_func=label,
                                index=STRATEGIES.index(own.strategy if own else
                                                       made.overview.set_index("block_id").loc[block_id, "strategy"]))
        reason = right.text_input("Reason, kept with the block", value=own.reason if own else "")
        keep, drop = st.columns(2)
        if keep.form_submit_button("Set"):
            session.override(block_id, chosen, reason)
            st.rerun()
        if drop.form_submit_button("Back to the rules", disabled=own is None):
            session.override(block_id, None, "")
            st.rerun()


def lock_form(block_id: str, asked: Scenario) -> None:
    """Force a block into a year, keep it out, or leave it free."""
    forced = {item.block_id: item for item in asked.forced}.get(block_id)
    options = ["free", "kept out", *(str(year) for year in asked.years)]
    now = str(forced.year) if forced else "kept out" if block_id in asked.kept_out else "free"
    picked = st.selectbox("This block in the program", options, index=options.index(now), key=f"lock_{block_id}_{now}",
                          format_func=lambda text: f"forced into {text}" if text.isdigit() else text)
    if picked != now:
        if picked == "kept out":
            session.keep_out(block_id, True)
        elif picked == "free":
            session.force(block_id, None, None)
        else:
            session.force(block_id, int(picked), None)
        st.rerun()


def _why(made: Plan, line: pd.Series) -> None:
    if line["engineer_decides"]:
        st.warning("Between published limits: the engineer decides. Today's cost of each adequate strategy stands "
                   "below; set the strategy by hand, with a reason, to settle it.")
    for reason in str(line["reasons"]).split(" | "):
        st.markdown(f"- {session.plain(reason[:1].upper() + reason[1:])}")
    st.caption("In brackets: the limit and where it comes from; 'read' and 'from memory' say whether the source was "
               "read for this program.")
    if line["companions"]:
        st.write(f"Companion work, measured and priced with it: {line['companions']}.")
    adequate = [name for name in str(line["alternatives"]).split("; ") if name != "none"]
    if len(adequate) > 1:
        block_id = str(line.name)
        st.dataframe(pd.DataFrame([{"Adequate": label(name), "Likely cost today": money(
            trace.priced(made, block_id, name)["cost_usd"].sum())} for name in adequate]), hide_index=True)
    st.caption("Curb ramps: " + session.plain(curb_ramp_note(str(line["strategy"]), made.prepared.assumptions)))


def _survey(row: pd.Series) -> None:
    kept = [(item.about, number(row[item.name], 2) if item.kind in {"number", "whole"} else str(row[item.name]),
             unit(item.unit)) for item in fields("network") if item.name not in {"block_id", "assumed"}
            and pd.notna(row[item.name]) and str(row[item.name]) != ""]
    table = pd.DataFrame(kept, columns=["What", "Value", "Unit"])
    years = table["What"].str.contains("ear")
    table.loc[years, "Value"] = table.loc[years, "Value"].str.replace(",", "")
    st.dataframe(table, hide_index=True, width="stretch", height=420)


def _future(made: Plan, block_id: str) -> None:
    paths = block_forecast(made, block_id)
    start = made.prepared.start_year
    if (paths["path"] == "program").any():
        shown = paths[paths["path"].isin(["no work", "program"])]
        start = int(made.overview.set_index("block_id").loc[block_id, "program_year"])
    else:
        shown = paths
    st.plotly_chart(charts.block_chart(shown, start), key=f"future_{block_id}",
                    alt=charts.describe_block(shown, start))
    worth = made.prepared.worth.set_index("block_id").loc[block_id]
    adequate = str(made.overview.set_index("block_id").loc[block_id, "alternatives"]).split("; ")
    lives, network = made.prepared.lives, made.prepared.network
    of = str(network.set_index("block_id").loc[block_id, "functional_class"])
    trigger = made.prepared.assumptions.number("economics", f"trigger.{of}")
    table = pd.DataFrame([{
        "If done now": label(name), f"Years until the index falls to {trigger:.0f}": number(
            lives[name].set_index("block_id").loc[block_id, "treated_yr"]),
        "Present worth of its life cycle": money(worth[f"{name}_worth_usd"]),
        "Equivalent annual cost": money(worth[f"{name}_annual_usd"])} for name in dict.fromkeys(["none", *adequate])])
    st.dataframe(table, hide_index=True, width="stretch")
    line = made.prepared.needs_by_year[made.prepared.needs_by_year["block_id"] == block_id]
    st.caption(f"While the block waits, panels that need full depth grow from {number(line['panels_full'].iloc[0])} "
               f"in {line['year'].iloc[0]} to {number(line['panels_full'].iloc[-1])} in {line['year'].iloc[-1]}, and "
               f"those that need partial depth from {share(line['partial_share'].iloc[0])} to "
               f"{share(line['partial_share'].iloc[-1])}.")
