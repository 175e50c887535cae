"""Work list: what a crew takes to the street."""

from __future__ import annotations

import streamlit as st

from pages import calendars, session
from rehab import plan
from rehab.outputs import worklist
from rehab.outputs.words import label, money


def main() -> None:
    st.title("Work list")
    session.banner()
    made = session.decided()
    year = session.pick_year(made)
    if year is None:
        return
    rows = made.overview[made.overview["program_year"] == year]
    left, right = st.columns(2)
    districts = left.multiselect("Districts", sorted(rows["district"].dropna().unique()), placeholder="All districts")
    order = right.radio("Order the sheets by", worklist.ORDERS, horizontal=True, format_func=str.capitalize)
    if districts:
        rows = rows[rows["district"].isin(districts)]
    st.write(f"{len(rows):,} blocks, {money(rows['program_cost_usd'].sum())}.")
    session.estimated_note(rows)
    st.dataframe(rows[["block_id", "street", "from_street", "to_street", "district", "program_strategy",
                       "program_cost_usd", "estimated"]].assign(program_strategy=rows["program_strategy"].map(label)),
                 hide_index=True, width="stretch", column_config={
        "block_id": "Block", "street": "Street", "from_street": "From", "to_street": "To", "district": "District",
        "program_strategy": "Strategy", "estimated": "Estimated",
        "program_cost_usd": st.column_config.NumberColumn("Likely cost", format="$%,.0f")})
    st.download_button("Crew work list (XLSX)", lambda: workbook(made, year, tuple(districts), order),
                       f"worklist_{year}.xlsx", type="primary", on_click="ignore")
    st.caption("One sheet per block: quantities, materials, dates, checklist and cautions. Silica dust, lifting, "
               "traffic, buried utilities and wet concrete can hurt: local codes, the engineer and a competent person "
               "decide.")


def workbook(made: plan.Plan, year: int, districts: tuple[str, ...], order: str) -> bytes:
    """The crew work list of one year, of some districts or of all."""
    season = calendars.season(made, year)
    tasks, notes = season.tasks, season.notes
    rows = made.overview[made.overview["district"].isin(districts)] if districts else made.overview
    mine = set(rows["block_id"])
    program = made.program[made.program["block_id"].isin(mine)]
    return worklist.workbook(
        rows, made.prepared.network, made.prepared.needs, program, made.quantities, tasks[tasks["block_id"].isin(mine)],
        made.prepared.repairs, plan.with_notes(made.notes, notes), made.prepared.assumptions, year, order=order)


main()
