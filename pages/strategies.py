"""Strategies: what each block needs and why, on the map, in a list and block by block."""

from __future__ import annotations

import streamlit as st

from pages import session
from pages.block import override_form, pick_block, show_block
from pages.city_map import show_map
from rehab.base.tables import STRATEGIES
from rehab.outputs import exports
from rehab.outputs.words import label
from rehab.plan import Plan


def main() -> None:
    st.title("Strategies")
    session.banner()
    made = session.decided()
    session.estimated_note(made.overview)
    on_map, in_list = st.tabs(["Map", "List"], key="strategies_view", on_change="rerun")
    if on_map.open:
        with on_map:
            show_map(made, "strategies")
    if in_list.open:
        with in_list:
            listed(made)
    block = pick_block(made, "strategies_block")
    if block:
        show_block(made, block)
        override_form(made, block)


def listed(made: Plan) -> None:
    left, right = st.columns(2)
    kinds = left.multiselect("Strategies", STRATEGIES, default=list(STRATEGIES), format_func=label)
    districts = sorted(made.overview["district"].dropna().unique())
    places = right.multiselect("Districts", districts, placeholder="All districts")
    rows = made.overview[made.overview["strategy"].isin(kinds)]
    if places:
        rows = rows[rows["district"].isin(places)]
    shown = rows.assign(strategy=rows["strategy"].map(label), functional_class=rows["functional_class"].map(label),
                        full_share=100 * rows["full_share"], partial_share=100 * rows["partial_share"])
    usd = st.column_config.NumberColumn(format="$%,.0f")
    st.dataframe(shown, hide_index=True, width="stretch", height=420, column_config={
        "block_id": "Block", "street": "Street", "from_street": "From", "to_street": "To", "district": "District",
        "functional_class": "Class", "strategy": "Strategy", "reasons": "Why", "alternatives": "Adequate",
        "index": st.column_config.NumberColumn("Index", format="%.0f"),
        "full_share": st.column_config.NumberColumn("Full depth, % of panels", format="%.1f"),
        "partial_share": st.column_config.NumberColumn("Partial depth, % of panels", format="%.1f"),
        "area_sqyd": st.column_config.NumberColumn("Area, sq yd", format="%.0f"),
        "likely_usd": st.column_config.NumberColumn("Likely cost", format="$%,.0f"), "low_usd": usd, "high_usd": usd,
        "life_extension_yr": st.column_config.NumberColumn("Life added, years", format="%.1f"),
        "untreated_yr": st.column_config.NumberColumn("Years to trigger, no work", format="%.1f"),
        "treated_yr": st.column_config.NumberColumn("Years to trigger, with it", format="%.1f"),
        "companions": "Companion work", "curb_ramps": "Curb ramps",
        "engineer_decides": "Engineer decides",
        "estimated": "Estimated", "overridden": "Set by hand", "program_year": None, "program_strategy": None,
        "program_cost_usd": None, "ground_year": None})
    st.download_button("This list as CSV", lambda: exports.csv_text(rows), "strategies.csv", on_click="ignore")


main()
