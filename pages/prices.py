"""Prices and rules: every number the plan rests on, with its source, and the city's own beside it."""

from __future__ import annotations

import streamlit as st

from pages import session
from rehab.base.errors import BadAssumption
from rehab.base.settings import ASSUMPTION_TABLES
from rehab.inputs import assumptions
from rehab.outputs import exports
from rehab.outputs.words import heading, part_of, pay_items, unit

FIRST = ("pay_items", "markups", "decision_rules", "economics")


def main() -> None:
    st.title("Prices and rules")
    session.banner()
    numbers, from_bids = st.tabs(["Every number", "Price book from bids"], key="prices_view", on_change="rerun")
    if numbers.open:
        with numbers:
            every_number()
    if from_bids.open:
        from pages import bids  # drawn only where it is wanted
        with from_bids:
            bids.show()


def every_number() -> None:
    name = st.selectbox("Table", [*FIRST, *(table for table in ASSUMPTION_TABLES if table not in FIRST)],
                        format_func=heading)
    standard = assumptions.defaults()
    table = standard.table(name)
    own = session.values().get(name, {})
    ranged = ["city_low", "city_high"] if name == "pay_items" else []
    shown = table.drop(columns=["origin"]).assign(
        city=[own.get(key, "") for key in table.index],
        **{column: [own.get(f"{key} {column[5:]}", "") for key in table.index] for column in ranged},
        note=[f"the city's own: {own[f'{key} note']}" if f"{key} note" in own else note
              for key, note in table["note"].items()],
        unit=table["unit"].map(unit), source=[standard.citation(name, key) for key in table.index]).reset_index()
    if "included_in" in shown:
        shown["included_in"] = [part_of(pay_items(table), key, table.index) for key in table.index]
    # measured_by holds names of columns; a block's chain from defect to dollar says it in words.
    apart = {"value", "unit", "low", "high", "measured_by", "source_id", "place", "year", "note", "origin"}
    extra = [column for column in table.columns if column not in apart]
    st.write("A default is never changed: a value of the city's own is laid over it and takes effect at once.")
    edited = st.data_editor(
        shown, hide_index=True, width="stretch", height=560, key=f"rows_{name}",
        column_order=["key", *extra, "value", "city", *ranged, "unit", "low", "high", "year", "source", "note"],
        disabled=[column for column in shown.columns if column not in {"city", *ranged}],
        column_config={"key": "Row", "value": "Default", "city": "City's own",
                       "city_low": "City's low", "city_high": "City's high", "unit": "Unit", "low": "Least",
                       "high": "Most", "year": "Year", "source": "Source", "note": "Note",
                       **{column: heading(column) for column in extra}})
    new = {f"{key}{column[4:].replace('_', ' ')}": str(value).strip() for column in ("city", *ranged)
           for key, value in zip(edited["key"], edited[column].fillna(""), strict=True) if str(value).strip()}
    # What is said of a price goes when the price or its range is changed by hand.
    new |= {f"{key} note": own[f"{key} note"] for key in table.index if f"{key} note" in own and all(
        new.get(part) == own.get(part) for part in (key, f"{key} low", f"{key} high"))}
    if new != own:
        try:
            assumptions.overlay(standard, {name: new})
        except BadAssumption as error:
            st.error(f"Not taken: {error}")
        else:
            session.values()[name] = new
            st.rerun()
    changed = {table: rows for table, rows in session.values().items() if rows}
    if changed:
        st.subheader("The city's own values")
        st.json(changed)
        if st.button("Back to the defaults in this table", disabled=not own):
            session.values().pop(name, None)
            st.session_state.pop(f"rows_{name}", None)
            st.rerun()
    st.download_button("This table as CSV", lambda: exports.csv_text(shown), f"{name}.csv", on_click="ignore")


main()
