"""In the work list: workbooks that crews have filled in, beside the plan, and what that does to the estimate."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from pages import season_given, session, uploads
from rehab.base import tables
from rehab.base.errors import Problem, UnusableInput, as_table
from rehab.inputs import reading
from rehab.outputs import exports
from rehab.outputs.words import count, label, pay_items, price, unit
from rehab.plan import Plan
from rehab.plan import measured as compared
from rehab.steps.season import Season

_NAMES = ("measured", "measured_repairs")
_TOLD = 5  #: problems that are written out


def show(made: Plan, season: Season) -> None:
    """Upload, comparison, updated estimate."""
    year = season.year
    _take(made, year)
    quantities, repairs = (season_given.held().get(f"{name} {year}", tables.empty(name)) for name in _NAMES)
    if quantities.empty and repairs.empty:
        st.info("Nothing measured yet. Make the workbook under *Sheets for crews*, write actual quantities and sizes "
                "into its pale cells, and load it here; an empty cell means not measured, 0 means none.")
        return
    changes = compared.repair_changes(made, repairs)
    overruns = compared.compare(made, compared.with_repairs(made, quantities, repairs))
    for note in (*compared.unplanned(made, quantities, repairs), *compared.doubtful(overruns, changes)):
        st.warning(session.plain(f"{note.block_id}: {note.message}."))
    _estimate(made, overruns, year)
    _repairs(changes)


def _take(made: Plan, year: int) -> None:
    upload = st.file_uploader("Work list filled in (XLSX), or a table of quantities (CSV, XLSX)", type=["xlsx", "csv"],
                              key=f"measured_file_{year}")
    if upload is not None and st.session_state.get("measured_taken") != upload.file_id:
        try:
            found = reading.read_measured(upload.name, upload.getvalue(), made.prepared.network, year,
                                          repairs=made.prepared.repairs)
        except UnusableInput as error:
            uploads.show_problems(as_table(error.problems, Problem))
            return
        st.session_state["measured_taken"] = upload.file_id
        st.session_state["measured_problems"] = found.problems
        for name, rows in zip(_NAMES, (found.quantities, found.repairs), strict=True):
            key = f"{name} {year}"
            before = season_given.held().get(key, tables.empty(name))
            season_given.held()[key] = compared.latest([before, rows], name)
    if upload is not None and "measured_problems" in st.session_state:
        found = st.session_state["measured_problems"]
        uploads.show_problems(found)
        for row in found.head(_TOLD).to_dict("records"):  # in full: a table cuts what is wrong
            st.caption(session.plain(f"{row['message']}; accepted: {row['accepted']}."))
    held = season_given.held()
    if any(f"{name} {year}" in held for name in _NAMES) and st.button("Forget what was measured"):
        for name in _NAMES:
            held[f"{name} {year}"] = tables.empty(name)
        st.rerun()


def _estimate(made: Plan, overruns: pd.DataFrame, year: int) -> None:
    if overruns.empty:
        return
    blocks = compared.updated(made, overruns)
    change = float(blocks["change_usd"].sum())
    st.write(f"**{count(len(blocks), 'block')} measured: planned {price(blocks['planned_usd'].sum())}, "
             f"by actual quantities {price(blocks['updated_usd'].sum())}, "
             f"{price(abs(change))} {'more' if change >= 0 else 'less'}.**")
    usd = {name: st.column_config.NumberColumn(words, format="$%,.2f") for name, words in (
        ("planned_usd", "Planned"), ("updated_usd", "By actual quantities"), ("actual_usd", "By actual quantity"),
        ("change_usd", "Change"))}
    st.dataframe(blocks, hide_index=True, width="stretch", column_config={
        "block_id": "Block", "year": st.column_config.NumberColumn("Year", format="%d"),
        "items_measured": "Priced items measured", "items_priced": "of", **usd})
    items = pay_items(made.prepared.assumptions.table("pay_items"))
    shown = overruns.assign(pay_item=[items[key].name for key in overruns["pay_item"]],
                            unit=overruns["unit"].map(unit), change_share=100 * overruns["change_share"])
    st.subheader("Item by item")
    st.dataframe(shown, hide_index=True, width="stretch", height=320, column_config={
        "block_id": "Block", "year": st.column_config.NumberColumn("Year", format="%d"),
        "pay_item": st.column_config.TextColumn("Item", width="medium"), "unit": "Unit",
        "planned": st.column_config.NumberColumn("Planned", format="%,.1f"),
        "actual": st.column_config.NumberColumn("Actual", format="%,.1f"),
        "measured": "Measured",
        "change_share": st.column_config.NumberColumn("Change, %", format="%+.0f"), **usd})
    st.caption("Items inside an all-in price have no price of their own: they are compared and cost nothing by "
               "themselves. What was not measured stays as planned. Where repairs were measured and no area "
               "was written down, their sizes change the paid area.")
    st.download_button("Planned and actual as CSV", lambda: exports.csv_text(overruns), f"overruns_{year}.csv",
                       on_click="ignore")
    ahead = compared.outlook(made, overruns, year)
    st.subheader("If the rest turns out alike")
    st.write(session.plain(ahead.sentence))
    st.dataframe(ahead.rates.assign(pay_item=[items[key].name for key in ahead.rates["pay_item"]],
                                    unit=ahead.rates["unit"].map(unit)), hide_index=True, width="stretch",
                 column_config={
        "unit": "Unit", "pay_item": st.column_config.TextColumn("Item", width="medium"),
        "blocks": st.column_config.NumberColumn("Blocks measured", format="%d"),
        "planned": st.column_config.NumberColumn("Planned", format="%,.1f"),
        "actual": st.column_config.NumberColumn("Actual", format="%,.1f"),
        "rate": st.column_config.NumberColumn("Actual by planned", format="%.2f"),
        "used": st.column_config.NumberColumn("Rate used", format="%.2f")})


def _repairs(changes: pd.DataFrame) -> None:
    if changes.empty:
        return
    st.subheader("Repairs measured one by one")
    planned, actual = changes["planned_sqft"].sum(), changes["actual_sqft"].sum()
    st.write(f"{count(len(changes), 'repair')}: {planned:,.1f} sq ft in the plan, {actual:,.1f} sq ft as measured.")
    st.dataframe(changes.assign(kind=changes["kind"].map(label)), hide_index=True, width="stretch", height=300,
                 column_config={
        "block_id": "Block", "year": st.column_config.NumberColumn("Year", format="%d"), "repair_id": "Repair",
        "kind": "Kind", **{f"{which}_{of}": st.column_config.NumberColumn(f"{words}, {shown}", format="%,.1f")
                           for which, words in (("planned", "Planned"), ("actual", "Actual"), ("change", "Change"))
                           for of, shown in (("sqft", "sq ft"), ("cuft", "cu ft"))}})
    st.download_button("Repairs as CSV", lambda: exports.csv_text(changes), "repair_changes.csv", on_click="ignore")
