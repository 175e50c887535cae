"""Life-cycle cost of one block: its strategies side by side, rates, break-even lives, increments and events."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from pages import session
from rehab.outputs import charts
from rehab.outputs.words import label, money, number
from rehab.plan import Plan
from rehab.plan import worth as worths


def show_lifecycle(made: Plan, block_id: str) -> None:
    """What each adequate strategy costs over its life cycle, and what that hangs on."""
    prepared = made.prepared
    adequate = str(made.overview.set_index("block_id").loc[block_id, "alternatives"]).split("; ")
    due = worths.is_due(prepared, block_id)  # no work now would be the work that is due, today
    names = list(dict.fromkeys((["none"] if not due else []) + adequate))
    table = worths.compared(prepared, block_id, names)
    horizon, rate = (prepared.assumptions.number("economics", key) for key in ("horizon_yr", "discount"))
    st.markdown(f"**Life-cycle cost over {horizon:.0f} years, real dollars of {prepared.start_year}**")
    _compared(table)
    st.caption(f"Present worth at a real rate of {number(100 * rate, 2)} % a year; the annual cost is the same money "
               "as a uniform amount each year. Each work comes when the index is back at the trigger; the surface is "
               "ground again in between; what is left of the last work's life at the end is taken off.")
    if due:
        st.caption("The block is at its trigger already, so leaving it alone is no choice to compare with.")
    if "user_worth_usd" in table:
        st.caption("The delay of road users is no cost of the agency and never added to it. It is not known where the "
                   "vehicles a day or the share of trucks are not known.")
    rates = worths.by_rate(prepared, block_id, names)
    st.plotly_chart(charts.worth_chart(rates, rate), key=f"worth_{block_id}", alt=charts.describe_worth(rates, rate))
    _rates(rates)
    if len(names) > 1:
        st.write(session.plain(worths.rate_words(rates)))
    sentences = worths.break_evens(prepared, block_id, names)
    if sentences:
        st.markdown("**How long a work must last**")
        for sentence in sentences:
            st.markdown(f"- {session.plain(sentence)}")
    _steps(worths.benefit_cost(prepared, block_id, names))
    picked = st.selectbox("Events of the life cycle with", names, format_func=_name, key=f"events_{block_id}",
                          index=len(names) > 1)
    _events(worths.stream(prepared, block_id, picked))


def _name(strategy: str) -> str:
    return "No work now" if strategy == "none" else label(strategy)


def _compared(table: pd.DataFrame) -> None:
    lasts = f"Years until the index falls to {number(table['trigger'].iloc[0])}"
    shown = {"If done now": table["strategy"].map(_name), lasts: table["life_yr"].map(number), "Then": table["then"],
             "Cost now": table["first_usd"].map(money), "Present worth": table["worth_usd"].map(money),
             "Annual cost": table["annual_usd"].map(money)}
    if "user_worth_usd" in table:
        shown["Delay of road users, present worth"] = table["user_worth_usd"].map(money)
    st.dataframe(pd.DataFrame(shown), hide_index=True, width="stretch")


def _rates(rates: pd.DataFrame) -> None:
    rows = [{"If done now": _name(str(name)), **dict(zip(
        one["rate"].map(lambda rate: f"{number(100 * rate, 2)} %"),
        one["worth_usd"].map(money) + " (" + one["annual_usd"].map(money) + " a year)", strict=True))}
            for name, one in rates.groupby("strategy", sort=False)]
    st.dataframe(pd.DataFrame(rows), hide_index=True, width="stretch")


def _steps(steps: pd.DataFrame) -> None:
    if steps.empty:
        return
    st.markdown("**What each heavier work gains for what it costs more**")
    verdict = steps["taken"].map({True: "yes", False: "no"}).fillna("no work is due to measure by")
    st.dataframe(pd.DataFrame({
        "From": [_name(name) if name else "Nothing" for name in steps["held"]], "To": steps["challenger"].map(_name),
        "Costs more": steps["cost_usd"].map(money), "Gains more, sq yd-years": steps["benefit"].map(number),
        "Gain per $1,000": steps["per_1000_usd"].map(number), "Worth the step": verdict}),
        hide_index=True, width="stretch")
    least = steps["least_per_1000_usd"].iloc[0]
    st.caption(session.plain(
        "Gain: sound pavement over the years counted, discounted and weighted by traffic. Cost: present worth of the "
        "work alone with its regrindings, less its value at the end; what follows it is in neither. "
        + (f"A step is worth it if $1,000 gain at least {number(least)}: what they gain on average where the rules "
           "call for work in the first year." if pd.notna(least) else "")))


def _events(events: pd.DataFrame) -> None:
    shown = {"Year": events["year"].astype(str), "Years from now": events["after_yr"].map(number),
             "What": events["what"], "Dollars": events["usd"].map(money),
             "Present worth": events["worth_usd"].map(money)}
    if "user_usd" in events:
        shown["Delay of road users"] = events["user_usd"].map(money)
    st.dataframe(pd.DataFrame(shown), hide_index=True, width="stretch")
