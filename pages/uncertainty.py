"""How sure the program is: money, condition, lives and strategies, drawn a thousand times."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from pages import session
from rehab.outputs import charts, exports
from rehab.outputs.words import label, share
from rehab.plan import Plan, Prepared, intervals
from rehab.plan import uncertainty as chance

_DRAWS = 1000
_SHOWN = 20
_REDRAWN = 50


def show_uncertainty(made: Plan) -> None:
    """What the draws say of the engineer's program."""
    found = drawn(tuple(made.summary["fingerprints"].values()), made)
    st.write(session.plain(charts.describe_chances(found.by_year)))
    st.plotly_chart(charts.chance_chart(found.by_year), key="chances", alt=charts.describe_chances(found.by_year))
    st.caption(f"{_DRAWS:,} draws of lives, decay, single panels, the measure of the survey, unit prices and their "
               "rise. In each draw a block gets what the rules decide for its condition in its year; what was set by "
               "hand stays, and second works cost what is planned. The settings are under *Prices and rules*, "
               "table uncertainty.")
    _by_year(found.by_year)
    _target(made, found)
    bands = _bands(found.by_year)
    st.plotly_chart(charts.scenario_chart(bands), key="chances_index", alt=charts.describe_scenarios(bands))
    lives = _lives((made.prepared.fingerprint, made.prepared.assumptions.fingerprint(), made.prepared.start_year),
                   made.prepared)
    mark = made.prepared.assumptions.number("economics", "life_mark_yr")
    st.plotly_chart(charts.life_chart(lives, mark), key="lives", alt=charts.describe_lives(lives, mark))
    st.caption("Over the blocks that have each strategy today, done in the first year, and over the draws.")
    _least_sure(found.by_block)
    _robustness(made)


def _robustness(made: Plan) -> None:
    """The program chosen anew in many draws, on demand."""
    st.markdown("**How sure each block's place is**")
    key = tuple(made.summary["fingerprints"].values())
    held = st.session_state.get("robust")
    if st.button(f"Choose the program anew in {_REDRAWN} draws", key="robust_draws",
                 disabled=bool(held and held[0] == key), help="Lives, survey and prices are drawn; it takes a while."):
        _choose_anew(key, made)
        held = st.session_state.get("robust")
    if not held or held[0] != key:
        return
    st.write(session.plain(held[1].sentence()))
    rows = held[1].blocks[held[1].blocks["year"].notna()].sort_values(["in_program", "same_year", "block_id"])
    st.dataframe(pd.DataFrame({
        "Block": rows["block_id"], "Year": rows["year"].astype("int64").astype(str),
        "Work": rows["strategy"].map(label),
        "In the program": rows["in_program"].map(share), "In the same year": rows["same_year"].map(share),
        "The same work in that year": rows["same_work"].map(share)}), hide_index=True, width="stretch", height=320,
        placeholder="")
    st.download_button("Robustness of all blocks as CSV", lambda: exports.csv_text(held[1].blocks), "robustness.csv",
                       on_click="ignore")


def _choose_anew(key: tuple[str, ...], made: Plan) -> None:
    from rehab.plan import robust
    try:
        with st.spinner("Choosing the program anew ..."):
            st.session_state["robust"] = (key, robust.places(made, _REDRAWN))
    except ValueError as error:
        st.error(session.plain(f"Not drawn: {error}."))


def _by_year(chances: pd.DataFrame) -> None:
    names = {"budget_usd": "Budget", "planned_usd": "Planned", "mean_usd": "Mean of the draws",
             "low_usd": "1 in 10 below", "high_usd": "1 in 10 above"}
    st.dataframe(pd.DataFrame({"Year": chances["year"].astype(str), **{
        words: chances[name] for name, words in names.items()}, "Over the budget": chances["over"].map(share)}),
        hide_index=True, width="stretch",
        column_config=dict.fromkeys(names.values(), st.column_config.NumberColumn(format="$%,.0f")))


def _target(made: Plan, found: chance.Chances) -> None:
    now = float(made.by_year["index_without"].iloc[0])
    last = int(made.by_year["year"].iloc[-1])
    target = st.number_input(f"Mean index to reach or hold after the work of {last}", 0.0, 100.0, round(now, 1), 0.5,
                             key="target_index", format="%.1f",
                             help="To begin with, today's mean: to hold the condition.")
    st.write(f"The program reaches a mean index of {target:g} in {last} in **{share(found.reaches(target))}** of the "
             "draws, whatever its work then costs.")


def _bands(by_year: pd.DataFrame) -> dict[str, pd.DataFrame]:
    return {name: pd.DataFrame({"year": by_year["year"], **{
        f"index_with{end}": by_year[f"index_{part}{end}"] for end in ("", "_low", "_high")}})
        for name, part in (("The program", "with"), ("No work", "without"))}


def _least_sure(blocks: pd.DataFrame) -> None:
    if blocks.empty:
        return
    st.markdown("**Blocks whose strategy is least sure to hold until their year**")
    rows = blocks.sort_values(["stays", "block_id"]).head(_SHOWN)
    usd = st.column_config.NumberColumn(format="$%,.0f")
    st.dataframe(pd.DataFrame({
        "Block": rows["block_id"], "Year": rows["year"].astype(str), "Planned": rows["strategy"].map(label),
        "Still that": rows["stays"].map(share), "Heavier": rows["heavier"].map(share),
        "Lighter or none": rows["lighter"].map(share), "Planned cost": rows["planned_usd"],
        "Cost, 1 in 10 below": rows["low_usd"], "Cost, 1 in 10 above": rows["high_usd"]}), hide_index=True,
        width="stretch", column_config=dict.fromkeys((
            "Planned cost", "Cost, 1 in 10 below", "Cost, 1 in 10 above"), usd))
    st.download_button("All blocks of the program as CSV", lambda: exports.csv_text(blocks), "chances.csv",
                       on_click="ignore")


@st.cache_resource(max_entries=4, show_spinner="Drawing the program a thousand times ...")
def drawn(key: tuple[str, ...], _made: Plan) -> chance.Chances:
    return chance.chances(_made, _DRAWS)


@st.cache_resource(max_entries=4, show_spinner="Drawing the lives of the blocks ...")
def _lives(key: tuple[object, ...], _prepared: Prepared) -> pd.DataFrame:
    return intervals.lives_by_strategy(_prepared)
