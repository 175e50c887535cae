"""Cost of waiting: what doing the work later costs, for the network and for one block."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from pages import session
from rehab.base.tables import STRATEGIES
from rehab.outputs import charts, exports
from rehab.outputs.words import label, place, share
from rehab.plan import Plan, Prepared, waiting

_SHOWN = 20
_MONEY = st.column_config.NumberColumn(format="$%,.0f")


def show_network(made: Plan) -> None:
    """Cost and need by years of delay, and the blocks that waiting hurts most."""
    table = _table(made)
    if made.prepared.years < 2 or table.empty:
        st.info("There is nothing to wait for: give the program blocks and more than one year.")
        return
    longest = made.prepared.years - 1
    delay = st.selectbox("Years of delay", range(1, longest + 1), min(5, longest) - 1, key=f"waiting_years_{longest}")
    network = waiting.of_network(table)
    st.write(session.plain(charts.describe_waiting(network, delay)))
    st.plotly_chart(charts.waiting_chart(network), key="waiting_chart", alt=charts.describe_waiting(network))
    _say_how(made.prepared)
    st.dataframe(_in_words(network), hide_index=True, width="stretch",
                 column_config=dict.fromkeys((*charts.WAITING_PARTS.values(), "Total"), _MONEY))
    _hurt(made, table, delay)
    left, right = st.columns(2)
    left.download_button("Cost of waiting by year as CSV", lambda: exports.csv_text(network), "waiting_network.csv",
                         on_click="ignore")
    right.download_button("Cost of waiting by block and year as CSV", lambda: exports.csv_text(table), "waiting.csv",
                          on_click="ignore")


def show_one(made: Plan, block_id: str) -> None:
    """The same for one block."""
    table = _table(made)
    rows = table[table["block_id"] == block_id]
    if made.prepared.years < 2:
        st.info("A program of one year leaves nothing to wait for: give it more years.")
        return
    st.write(session.plain(charts.describe_waiting(rows)))
    st.plotly_chart(charts.waiting_chart(rows), key=f"waiting_{block_id}", alt=charts.describe_waiting(rows))
    _say_how(made.prepared)
    if made.overview.set_index("block_id").loc[block_id, "overridden"]:
        st.caption("The strategy set by hand has no part in this: it shows what the rules decide in each year.")


def _say_how(prepared: Prepared) -> None:
    rate = prepared.assumptions.number("economics", "escalation")
    st.caption("Likely cost of what the rules decide by the condition expected in each year, if nothing is done "
               f"before. All parts but higher prices are in dollars of {prepared.start_year}; prices rise by "
               f"{100 * rate:.3g} % a year, and a budget that rises with them loses nothing by that part.")


def _in_words(network: pd.DataFrame) -> pd.DataFrame:
    return pd.DataFrame({
        "Done in": network["year"].astype("str"),
        **{words: network[name] for name, words in charts.WAITING_PARTS.items()},
        "Total": network["total_usd"], "Panels full depth": network["panels_full"].round(),
        "Partial depth, sq ft": network["partial_sqft"].round(),
        **{f"Blocks: {label(name).lower()}": network[f"blocks_{name}"] for name in STRATEGIES}})


def _hurt(made: Plan, table: pd.DataFrame, delay: int) -> None:
    st.markdown(f"**Waiting hurts most here**: mean of {delay} years, in dollars of {made.prepared.start_year}")
    by = st.radio("Order by", ("usd", "share"), horizontal=True, key="waiting_by", format_func={
        "usd": "Dollars a year", "share": "Share of the first year's cost"}.get)
    worst = waiting.ranked(table, delay, by).head(_SHOWN).merge(
        made.overview[["block_id", "street", "from_street", "to_street"]], on="block_id")
    where = [place(*streets) for streets in worst[["street", "from_street", "to_street"]].itertuples(index=False)]
    st.dataframe(pd.DataFrame({
        "Block": worst["block_id"], "Where": pd.Series(where, dtype="str"),
        "In the first year": worst["strategy"].map(label), "After the delay": worst["later_strategy"].map(label),
        "Cost in the first year": worst["now_usd"],
        "More for each year": worst["rise_usd_per_yr"],
        "As a share": [share(value) if pd.notna(value) else "not due at first" for value in worst["rise_share_per_yr"]],
    }), hide_index=True, width="stretch", placeholder="",
        column_config={"Cost in the first year": _MONEY, "More for each year": _MONEY})


def _table(made: Plan) -> pd.DataFrame:
    """The table of waiting, kept until what was prepared changes."""
    key = tuple(value for name, value in made.summary["fingerprints"].items() if name != "scenario")
    return _made((*key, made.prepared.start_year, made.prepared.years), made.prepared)


@st.cache_resource(max_entries=4)
def _made(key: tuple[object, ...], _prepared: Prepared) -> pd.DataFrame:
    return waiting.by_block(_prepared)
