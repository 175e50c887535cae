"""The program as a list, and its tables as files: places, limits, payments, and the proof for whoever checks it."""

from __future__ import annotations

import streamlit as st

from pages import session
from rehab.outputs import exports
from rehab.outputs.words import known, label
from rehab.plan import Plan, reasons


def show(made: Plan) -> None:
    rows = made.overview[made.overview["program_year"].notna()].sort_values(["program_year", "district", "street"])
    if made.scenario.funds:
        rows = exports.with_payers(rows, reasons.payments(made))
    shown = rows.assign(program_strategy=rows["program_strategy"].map(label),
                        then_work=[_work(name) for name in rows["then_work"]])
    usd = {name: st.column_config.NumberColumn(words, format="$%,.0f") for name, words in (
        ("program_cost_usd", "Likely cost"), ("then_usd", "Its likely cost"))}
    years = {name: st.column_config.NumberColumn(words, format="%d") for name, words in (
        ("program_year", "Year"), ("ground_year", "Ground in"), ("then_year", "Second work in"))}
    second = ["then_year", "then_work", "then_usd"] if rows["then_year"].notna().any() else []
    order = ["program_year", "block_id", "program_strategy", "program_cost_usd",
             *(["paid_by"] if made.scenario.funds else []), *second, "district", "street", "from_street", "to_street",
             "ground_year", "estimated"]
    if rows.empty:
        st.info("The program holds no work.")
    st.dataframe(shown[order], hide_index=True, width="stretch", height=420, placeholder="",
                 column_config={"block_id": "Block", "street": "Street", "from_street": "From", "to_street": "To",
                                "district": "District", "program_strategy": "Strategy", "estimated": "Estimated",
                                "paid_by": "Paid by", "then_work": "Second work", **usd, **years})
    left, right = st.columns(2)
    left.download_button("Program as CSV", lambda: exports.csv_text(rows), "program.csv", on_click="ignore")
    geometry = session.tables().geometry
    if len(geometry):
        right.download_button("Program as GeoJSON", lambda: exports.program_geojson(made.overview, geometry),
                              "program.geojson", on_click="ignore")
    _files(made)


def _files(made: Plan) -> None:
    with st.expander("Tables behind the program, to check it line by line"):
        st.caption("Places: every block, in the program or not, and what came nearest. Payments: what each fund pays. "
                   "The proof: all offers with their benefit, what each uses, and the limits with their prices; "
                   "price times limit over all limits, and the best benefit less priced use of each group, add up to "
                   "what no program can exceed.")
        first, second = st.columns(3), st.columns(3)
        first[0].download_button("Places of all blocks", lambda: exports.csv_text(reasons.of_blocks(made)),
                                 "places.csv", on_click="ignore")
        first[1].download_button("Limits", lambda: exports.csv_text(reasons.of_limits(made)), "limits.csv",
                                 on_click="ignore")
        first[2].download_button("Payments", lambda: exports.csv_text(reasons.payments(made)), "payments.csv",
                                 on_click="ignore")
        for at, (words, name) in enumerate((("Proof: offers", "offers"), ("Proof: what each uses", "uses"),
                                            ("Proof: limits and prices", "limits"))):
            second[at].download_button(words, lambda at=at: exports.exact_csv_text(reasons.proof(made)[at]),
                                       f"proof_{name}.csv", on_click="ignore")


def _work(name: object) -> str:
    return "" if not known(name) else "Grinding again" if name == "grinding" else label(str(name))
