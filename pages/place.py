"""In the program: why one block has its place, and every alternative beside it."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from pages import session
from rehab.outputs import exports
from rehab.outputs.words import label, number
from rehab.plan import Plan, reasons


def show(made: Plan, block_id: str) -> None:
    """Sentences and the alternatives, the nearest to being chosen first."""
    for sentence in reasons.explain(made, block_id):
        st.markdown(f"- {session.plain(sentence)}")
    table = reasons.runners_up(made, block_id)
    if table.empty or made.scenario.choice != "best":
        return
    usd = st.column_config.NumberColumn(format="$%,.0f")
    two = table["then_year"].notna().any()
    out = table["why"].where(table["why"] != "", table["limit"]).where(~table["chosen"], "")
    st.dataframe(pd.DataFrame({
        "Year": table["year"].astype(str), "Work": table["strategy"].map(label),
        **({"Second work": [_second(*cells) for cells in table[["then_work", "then_year"]].itertuples(index=False)]}
           if two else {}),
        "Cost": table["cost_usd"], "Benefit": [number(value, 0) for value in table["benefit"]],
        "Short of best": [number(value, 0) if pd.notna(value) else "" for value in table["short"]],
        "Chosen": ["yes" if taken else "" for taken in table["chosen"]],
        "What keeps it out": out}), hide_index=True, width="stretch", column_config={
            "Cost": usd, "What keeps it out": st.column_config.TextColumn(width="large")})
    st.caption("Benefit as the scenario counts it. Short: by how much the benefit, less what the alternative uses at "
               "the prices of the limits, stays below the best of this block.")
    st.download_button("Alternatives as CSV", lambda: exports.csv_text(table), f"alternatives_{block_id}.csv",
                       on_click="ignore")


def _second(work: object, year: object) -> str:
    return "" if pd.isna(year) else f"{'Grinding again' if work == 'grinding' else label(str(work))} in {year:.0f}"
