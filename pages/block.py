"""One block, as several screens show it: which one, everything about it, and what the engineer decides for it."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from pages import session
from rehab.base.settings import Scenario
from rehab.base.tables import STRATEGIES, fields
from rehab.outputs import charts
from rehab.outputs.words import heading, label, money, number, place, unit
from rehab.plan import Plan, intervals, surface, trace
from rehab.plan.answers import block_forecast
from rehab.steps.strategy import curb_ramp_note


def pick_block(made: Plan, key: str, first: bool = True) -> str | None:
    """A box to choose the block by name; what is clicked on the map is chosen here.

    ``first``: the first block stands there until another is chosen; otherwise none does.
    """
    names = _names(made.prepared.fingerprint, made.prepared.network)
    if not names:
        return None
    chosen = st.session_state.get("selected")
    if chosen in names and chosen != st.session_state.get(f"{key}_shown"):
        st.session_state[key] = chosen  # chosen elsewhere: on the map, or on another page
    picked = st.selectbox("Block", names, index=0 if first else None, key=key, format_func=names.get,
                          placeholder="Choose a block, here or on the map")
    st.session_state["selected"] = st.session_state[f"{key}_shown"] = picked
    return picked


@st.cache_resource(max_entries=4, show_spinner=False)
def _names(key: str, _network: pd.DataFrame) -> dict[str, str]:
    rows = _network[["block_id", "street", "from_street", "to_street"]].itertuples(index=False)
    return {name: f"{name} · {place(*streets)}" for name, *streets in rows}


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
    parts = {"Why": lambda: _why(made, line), "In the program": lambda: _place(made, block_id),
             "Survey": lambda: _survey(row), "Panel plan": lambda: _plan(made, block_id),
             "From defect to dollar": lambda: _chain(made, block_id), "Forecast": lambda: _future(made, block_id),
             "If it waits": lambda: _waits(made, block_id), "Life-cycle cost": lambda: _cycle(made, block_id)}
    # Only the part that is open is worked out.
    for tab, show in zip(st.tabs(list(parts), key="block_part", on_change="rerun"), parts.values(), strict=True):
        if tab.open:
            with tab:
                show()


def _place(made: Plan, block_id: str) -> None:
    from pages import place as in_program
    in_program.show(made, block_id)


def _plan(made: Plan, block_id: str) -> None:
    from pages.chain import show_plan
    show_plan(made, block_id)


def _chain(made: Plan, block_id: str) -> None:
    from pages.chain import show_chain
    show_chain(made, block_id)


def _waits(made: Plan, block_id: str) -> None:
    from pages.waiting import show_one
    show_one(made, block_id)


def _cycle(made: Plan, block_id: str) -> None:
    from pages.lifecycle import show_lifecycle
    show_lifecycle(made, block_id)


def override_form(made: Plan, block_id: str) -> None:
    """Set the strategy of a block by hand, with a reason."""
    own = {item.block_id: item for item in session.scenario().overrides}.get(block_id)
    with st.form(f"override_{block_id}"):
        left, right = st.columns([1, 2])
        left.selectbox("Set the strategy by hand", STRATEGIES, format_func=label, key=f"override_strategy_{block_id}",
                       index=STRATEGIES.index(own.strategy if own else
                                              made.overview.set_index("block_id").loc[block_id, "strategy"]))
        right.text_input("Reason, kept with the block", value=own.reason if own else "",
                         key=f"override_reason_{block_id}")
        keep, drop = st.columns(2)
        keep.form_submit_button("Set", on_click=_override, args=(block_id,))
        drop.form_submit_button("Back to the rules", disabled=own is None, on_click=session.override,
                                args=(block_id, None, ""))
        session.refused("override")


def _override(block_id: str) -> None:
    session.override(block_id, st.session_state[f"override_strategy_{block_id}"],
                     st.session_state[f"override_reason_{block_id}"])


def lock_form(block_id: str, asked: Scenario) -> None:
    """Force a block into a year, keep it out, or leave it free."""
    forced = {item.block_id: item for item in asked.forced}.get(block_id)
    key = f"lock_{block_id}"
    st.session_state[key] = str(forced.year) if forced else "kept out" if block_id in asked.kept_out else "free"
    st.selectbox("This block in the program", ["free", "kept out", *(str(year) for year in asked.years)], key=key,
                 on_change=_lock, args=(block_id,),
                 format_func=lambda text: f"forced into {text}" if text.isdigit() else text)
    session.refused("lock")
    if forced and (forced.strategy or forced.cost_usd is not None):
        st.caption(f"Committed: {label(forced.strategy or '')}, cost "
                   f"{'as estimated' if forced.cost_usd is None else money(forced.cost_usd)}; see *Limits and funds*.")


def _lock(block_id: str) -> None:
    picked = st.session_state[f"lock_{block_id}"]
    held = {item.block_id: item for item in session.scenario().forced}.get(block_id)
    if picked == "kept out":
        session.keep_out(block_id, True)
    elif picked == "free":
        session.force(block_id, None)
    else:  # a committed project keeps its work, not its cost, which was for another year
        session.force(block_id, int(picked), held.strategy if held else None)


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
    for sentence in intervals.explain(made.prepared, block_id):
        st.markdown(session.plain(sentence))
    paths = block_forecast(made, block_id)
    start = made.prepared.start_year
    if (paths["path"] == "program").any():
        shown = paths[paths["path"].isin(["no work", "program"])]
        start = int(made.overview.set_index("block_id").loc[block_id, "program_year"])
    else:
        shown = paths
    shown = intervals.with_bands(made, shown)
    st.plotly_chart(charts.block_chart(shown, start), key=f"future_{block_id}",
                    alt=charts.describe_block(shown, start))
    of = str(made.prepared.network.set_index("block_id").loc[block_id, "functional_class"])
    trigger = made.prepared.assumptions.number("economics", f"trigger.{of}")
    lives = intervals.block_lives(made.prepared, block_id)

    def spread(what: str) -> list[str]:
        return [f"{number(middle)} ({number(low)} to {number(high)})" for low, middle, high in
                lives[[f"{what}_low_yr", f"{what}_yr", f"{what}_high_yr"]].itertuples(index=False)]

    st.dataframe(pd.DataFrame({
        "If done now": ["No work" if name == "none" else label(name) for name in lives["strategy"]],
        f"Years until the index falls to {trigger:.0f}": spread("treated"),
        "Years of life added": spread("added")}), hide_index=True, width="stretch")
    st.caption("Median and 80 % interval of 400 draws of what the family, the block and single panels may turn out to "
               "be; the settings are under *Prices and rules*, table uncertainty.")
    ride = surface.of_block(made.prepared, block_id)
    if len(ride):
        _ride(ride, made.prepared.start_year)


def _ride(ride: pd.DataFrame, start: int) -> None:
    shown = ride[ride["year"].sub(start).isin([0, 5, 10, 20])]
    words = {"faulting_in": ("Mean step at the joints, in", 2), "iri_in_per_mi": ("Roughness (IRI), in/mile", 0)}
    st.dataframe(pd.DataFrame([{"Ride": words[str(name)][0], "": kind, **{
        str(year): text for year, text in zip(rows["year"], texts, strict=True)}}
        for name, rows in shown.groupby("measure") for kind, texts in (
            ("No work", [f"{number(value, words[str(name)][1])} ({number(low, words[str(name)][1])} to "
                         f"{number(high, words[str(name)][1])})"
                         for value, low, high in rows[["value", "low", "high"]].itertuples(index=False)]),
            (f"Ground in {start}", [number(value, words[str(name)][1]) for value in rows["ground"]]))]),
        hide_index=True, width="stretch")
