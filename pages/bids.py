"""A price book from what contractors bid: load, match, look at the outliers, take the prices over."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import pandas as pd
import streamlit as st

from pages import cities, session
from pages.uploads import mapping_form, opened, show_problems
from rehab.base.errors import BadAssumption, Problem, UnusableInput, as_table
from rehab.base.settings import Assumptions, fingerprint
from rehab.inputs import assumptions, pricebook, reading
from rehab.outputs import charts, exports
from rehab.outputs.words import count, pay_items, price_range, unit

Matches = dict[tuple[str, str], str]


def show() -> None:
    """The part of the prices screen that makes a price book."""
    st.write("Load the bids of past contracts, one row for each price: item, quantity, unit, unit price, day, and "
             "where known bidder, project and whether the bid won. Say which bid item is a price of which pay item; "
             "see low, likely and high in today's dollars beside the defaults, and take over what you trust.")
    load_part()
    held = st.session_state.get("bids")
    if held is None:
        return
    name, bids = held
    st.subheader(session.plain(f"{name}: {count(len(bids), 'bid')}"))
    given = standard()
    quarters = list(pricebook.index_series(given).index[::-1])
    left, right = st.columns(2, vertical_alignment="bottom")
    quarter = left.selectbox("In dollars of the quarter", quarters, key="bids_quarter", help=(
        "Each price is multiplied by the cost index of this quarter over that of the bid's quarter: the National "
        "Highway Construction Cost Index, table cost_index"))
    if bids["awarded"].notna().any() and right.toggle("Only bids that won the contract", key="bids_awarded"):
        bids = bids[bids["awarded"].fillna(False)]
    matches = match_part(bids, given)
    try:
        book = pricebook.make(bids, matches, given, quarter, st.session_state.get("bids_left_out", set()))
    except BadAssumption as error:
        st.error(f"No price book: {error}")
        return
    if book.prices.empty:
        st.info("Confirm a match to see its prices.")
        return
    names = {key: item.name for key, item in pay_items(given.table("pay_items")).items()}
    outlier_part(book, names)
    price_part(book, names, given)


def standard() -> Assumptions:
    """The assumptions in use, but with the default prices, which the bids are set beside."""
    own = {table: rows for table, rows in session.values().items() if table != "pay_items"}
    return assumptions.overlay(assumptions.defaults(), own)


def load_part() -> None:
    left, middle, right = st.columns(3)
    left.download_button("Template, CSV", lambda: reading.template("bids"), "bids.csv", on_click="ignore",
                         key="bids_template", width="stretch")
    middle.download_button("Invented bids, CSV", (cities.DEMO / "bids.csv").read_bytes, "invented_bids.csv",
                           on_click="ignore", key="bids_demo_file", width="stretch")
    if right.button("Try it with the invented bids", key="bids_demo", width="stretch"):
        raw = reading.open_table("bids.csv", (cities.DEMO / "bids.csv").read_bytes(), table="bids")
        use("Invented bids", reading.read_bids(raw).table)
    upload = st.file_uploader("Table of bids", type=["csv", "txt", "tsv", "xlsx"], key="bids_file")
    if upload is None:
        return
    try:
        raw = opened(upload, "bids", None)
        with st.expander("Which column is which", expanded=not complete(raw)):
            mapping = mapping_form(raw, "bids")
        found = reading.read_bids(raw, mapping, today=date.today())
    except UnusableInput as error:
        st.error("The file cannot be used as it stands.")
        show_problems(as_table(error.problems, Problem))
        return
    st.write(f"{found.rows_in:,} rows read, {found.rows_filtered:,} left out by the filter, {len(found.table):,} bids "
             "can be used.")
    show_problems(found.problems)
    if found.table.empty:
        st.error("No row of the table can be used; the problems above say why.")
    elif st.button(f"Use these {count(len(found.table), 'bid')}", type="primary", key="bids_use"):
        use(upload.name, found.table)


def complete(raw: reading.Raw) -> bool:
    """Whether the headings alone say where every needed column is."""
    return not reading.check_mapping(mapping := reading.suggest(raw, "bids"), raw, "bids") and {
        "item", "quantity", "unit", "unit_price_usd", "bid_date"} <= set(mapping["ours"])


def use(name: str, bids: pd.DataFrame) -> None:
    """Take bids into use; what was confirmed for the same words before is kept, what was left out is not."""
    st.session_state["bids"] = (name, bids)
    st.session_state["bids_left_out"] = set()
    st.rerun()


def match_part(bids: pd.DataFrame, given: Assumptions) -> pd.DataFrame:
    """The bid items with the pay item that each is a price of; those that the user confirmed have one."""
    st.subheader("Which bid item is a price of which pay item")
    basis = given.text("defaults", "price_basis")
    st.caption("An all-in price is for all the work of its item; a part, such as sawing or removal, is a pay item of "
               f"its own. The city pays by: {basis} (row price_basis of the defaults); prices of the other kind are "
               "kept but not used. Where you choose a pay item yourself it counts as confirmed.")
    found = pricebook.suggest(bids, given.table("pay_items"))
    confirmed: Matches = st.session_state.setdefault("bid_matches", {})
    keys = list(zip(found["item"].str.casefold(), found["unit"], strict=True))
    left, right, _ = st.columns([1, 1, 2])
    if left.button("Confirm all suggestions", key="bids_confirm", width="stretch"):
        again({**{key: item for key, item in zip(keys, found["pay_item"], strict=True) if item}, **confirmed})
    if right.button("Forget what was confirmed", key="bids_forget", width="stretch", disabled=not confirmed):
        again({})
    key = f"matches_{fingerprint(bids)}_{st.session_state.get('bids_round', 0)}"
    names = {name: item.name for name, item in pay_items(given.table("pay_items")).items()}
    edited = st.data_editor(
        steady(key, lambda: found.assign(pay_item=[confirmed.get(key, item) for key, item
                                                   in zip(keys, found["pay_item"], strict=True)],
                                         confirmed=[key in confirmed for key in keys], unit=found["unit"].map(unit))),
        key=key, hide_index=True, width="stretch", height=min(40 + 35 * len(found), 425),
        column_order=["confirmed", "item", "unit", "bids", "pay_item", "because"],
        disabled=["item", "unit", "bids", "because"], column_config={
            "confirmed": st.column_config.CheckboxColumn("Confirmed", width=100),
            "item": st.column_config.TextColumn("Bid item", width=250),
            "unit": st.column_config.TextColumn("Unit", width=75),
            "bids": st.column_config.NumberColumn("Bids", width=55),
            "pay_item": st.column_config.SelectboxColumn("Pay item", width=230, format_func=lambda key: names.get(
                key, ""), options=["", *given.table("pay_items").index]),
            "because": st.column_config.TextColumn("Suggested by, or in the way", width=260)})
    taken = edited["pay_item"].fillna("")
    sure = edited["confirmed"] | ((taken != found["pay_item"]) & (taken != ""))
    st.session_state["bid_matches"] = {
        **{old: item for old, item in confirmed.items() if old not in keys},
        **{key: item for key, item, yes in zip(keys, taken, sure, strict=True) if yes}}
    waiting = int((~sure & (taken != "")).sum())
    none = int((taken == "").sum())
    st.caption(f"{count(int((sure & (taken != '')).sum()), 'bid item')} confirmed, {waiting} suggested and not "
               f"confirmed, {none} without a pay item. Only those confirmed give prices.")
    return found.assign(pay_item=taken.where(sure, ""))


def again(matches: Matches) -> None:
    """Take other matches and draw their table anew."""
    st.session_state["bid_matches"] = matches
    st.session_state["bids_round"] = st.session_state.get("bids_round", 0) + 1
    st.rerun()


def steady(key: str, made: Callable[[], pd.DataFrame]) -> pd.DataFrame:
    """The table that an editor began with, as long as it stands: under another one it would forget its edits."""
    if key not in st.session_state or f"{key}_base" not in st.session_state:
        st.session_state[f"{key}_base"] = made()
    return st.session_state[f"{key}_base"]


def outlier_part(book: pricebook.PriceBook, names: dict[str, str]) -> None:
    """The outliers, or every bid, each with a tick to leave it out."""
    st.subheader("Outliers")
    every = st.toggle("Show every bid, not outliers alone", key="bids_every")
    rows = book.bids if every else book.bids[book.bids["outlier"] | book.bids["left_out"]]
    if rows.empty:
        st.write("No bid stands apart from the others of its item.")
        return
    st.caption("A bid that stands far from the others of its item (modified z-score of the logarithm of the price, "
               "limit in the table bid_rules) may be a slip or a price meant otherwise. Nothing is left out by itself.")
    edited = st.data_editor(
        rows.assign(pay_item=rows["pay_item"].map(names)), key=f"out_{fingerprint(rows.drop(columns='left_out'))}",
        hide_index=True, width="stretch", height=min(40 + 35 * len(rows), 390),
        column_order=["left_out", "pay_item", "why", "bidder", "project", "bid_date", "quantity", "unit_price_usd",
                      "price_usd"],
        disabled=[column for column in rows.columns if column != "left_out"], column_config={
            "left_out": st.column_config.CheckboxColumn("Leave out", width=100), "pay_item": "Pay item",
            "bidder": "Bidder", "project": "Project", "bid_date": st.column_config.DateColumn("Day"),
            "quantity": st.column_config.NumberColumn("Quantity", format="%,.0f"),
            "unit_price_usd": st.column_config.NumberColumn("As bid", format="$%,.2f"),
            "price_usd": st.column_config.NumberColumn(f"In dollars of {book.quarter}", format="$%,.2f"),
            "why": st.column_config.TextColumn("Why", width=360 if rows["why"].notna().any() else 60)})
    before: set[float] = st.session_state.setdefault("bids_left_out", set())
    after = (before - set(rows["row"])) | set(edited.loc[edited["left_out"], "row"])
    if after != before:
        st.session_state["bids_left_out"] = after
        st.rerun()


def price_part(book: pricebook.PriceBook, names: dict[str, str], given: Assumptions) -> None:
    """The price book beside the defaults, one item's bids as a chart, and the button that takes prices over."""
    st.subheader(f"Prices in dollars of {book.quarter}")
    defaults = [price_range(row.default_low_usd, row.default_usd, row.default_high_usd)
                for row in book.prices.itertuples(index=False)]
    st.dataframe(
        book.prices.assign(pay_item=book.prices["pay_item"].map(names), unit=book.prices["unit"].map(unit),
                           default=defaults),
        hide_index=True, width="stretch", placeholder="", column_order=[
            "pay_item", "unit", "bids", "low_usd", "likely_usd", "high_usd", "default", "note", "projects",
            "by_quantity_usd"],
        column_config={
            "pay_item": st.column_config.TextColumn("Pay item", width=215),
            "unit": st.column_config.TextColumn("Unit", width=55),
            "bids": st.column_config.NumberColumn("Bids", format="%d", width=50),
            "projects": st.column_config.NumberColumn("Projects", format="%d"), "default": "Default and its range",
            **{f"{column}_usd": st.column_config.NumberColumn(words, format="$%,.2f", width=80) for column, words in {
                "low": "Low", "likely": "Likely", "high": "High", "by_quantity": "By quantity"}.items()},
            "note": st.column_config.TextColumn("What to know", width=250)})
    st.caption(f"Likely is the median of the bids, low and high are their percentiles of the table bid_rules; by "
               "quantity is the price at which half of all quantity was bid. The defaults are raised to "
               f"{book.quarter[:4]} by the plan's own escalation.")
    st.download_button("Price book as CSV", lambda: exports.csv_text(book.prices), "price_book.csv",
                       on_click="ignore", key="bids_book_file")
    for note in book.notes:
        st.caption(session.plain(note.message))
    rows = book.prices.set_index("pay_item")
    item = st.selectbox("Bids of", list(rows.index), format_func=names.get, key="bids_item")
    drawn = (book.bids[book.bids["pay_item"] == item], rows.loc[item].to_dict(), names[item], book.quarter)
    st.plotly_chart(charts.bid_chart(*drawn), key="bids_chart", alt=charts.describe_bids(*drawn))
    priced = list(rows.index[rows["likely_usd"].notna()])
    chosen = st.multiselect("Prices to take over", priced, default=priced, format_func=names.get,
                            key=f"bids_take_{'_'.join(priced)}")
    if st.button(f"Take {count(len(chosen), 'price')} over", type="primary", disabled=not chosen, key="bids_over"):
        own = {**session.values().get("pay_items", {}), **pricebook.city_values(book, chosen, given)}
        try:
            assumptions.overlay(assumptions.defaults(), {"pay_items": own})
        except BadAssumption as error:
            st.error(f"Not taken: {error}")
            return
        session.values()["pay_items"] = own
        st.success(f"{count(len(chosen), 'price')} taken over with low and high, from bids in dollars of "
                   f"{book.quarter}. They stand under *Every number* as the city's own.")
