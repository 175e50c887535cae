"""What money buys: the curve, the next dollars, the least money for an aim; and what each limit costs."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import streamlit as st

from pages import ahead, session
from rehab.base.settings import Scenario
from rehab.outputs import charts, exports
from rehab.plan import Plan, council, known, least, reasons
from rehab.plan.least import Least

_AIMS = ("hold", "reach", "clear")


def show_buys(made: Plan) -> None:
    """Benefit over money, what the next dollars of each year buy, and the least money for three aims."""
    if sum(made.scenario.money_usd) <= 0:
        st.info("Give the program a budget first: other money is shown as more or less of it.")
        return
    if made.chosen.failed:
        st.info("There is no program under these limits, so there is nothing to set beside other money.")
        return
    now = council.side_by_side({"": made}).iloc[0]
    curve = _curve(made, now)
    st.plotly_chart(charts.curve_chart(curve, now["usd_per_yr"], now["benefit"], made.scenario.benefit), key="curve",
                    alt=charts.describe_curve(curve, now["usd_per_yr"], now["benefit"]))
    st.caption(session.plain(charts.describe_curve(curve, now["usd_per_yr"], now["benefit"])))
    _table(curve)
    said = reasons.next_dollars(made)
    if said:
        st.markdown("**What the next dollars buy**\n\n" + "\n".join(f"- {session.plain(line)}" for line in said))
    st.markdown("**The least money for an aim**")
    st.caption("With everything else that is asked; the money keeps its shape over the years and funds. Each takes "
               "some seconds and comes with a proof that less cannot do. A program for an aim spends its money on the "
               "aim: it may hold the index with less than a program for the most benefit, which lets the index fall.")
    for column, name in zip(st.columns(3), _AIMS, strict=True):
        with column:
            _aim(made, name)


def _curve(made: Plan, now: pd.Series) -> pd.DataFrame:
    """The curve; kept while only the amount of money changes, since it holds for every amount."""
    at, prepared = session.ready()
    held = st.session_state.get("curve")
    if held and held[0] == at and known.same_shape(held[1], made.scenario) and \
            held[2]["usd_per_yr"].iloc[1] < now["usd_per_yr"] < held[2]["usd_per_yr"].iloc[-2]:
        return held[2]
    with st.spinner("Choosing programs for other budgets ..."):
        found = least.curve(prepared, made.scenario, effort=ahead.EFFORT, known=(made,))
    st.session_state["curve"] = (at, made.scenario, found)
    return found


def _table(curve: pd.DataFrame) -> None:
    with st.expander("The curve as a table"):
        usd = {name: st.column_config.NumberColumn(words, format="$%,.0f") for name, words in (
            ("usd_per_yr", "Money a year"), ("spent_usd", "Spent in all"))}
        st.dataframe(curve.drop(columns=["factor", "next_usd"]), hide_index=True, width="stretch", column_config={
            **usd, "benefit": st.column_config.NumberColumn("Benefit", format="%,.0f"),
            "upper_bound": st.column_config.NumberColumn("No program reaches more than", format="%,.0f"),
            "index": st.column_config.NumberColumn("Mean index at the end", format="%.1f"),
            "blocks": st.column_config.NumberColumn("Blocks", format="%,d")})
        st.download_button("The curve as CSV", lambda: exports.csv_text(curve), "money.csv", on_click="ignore")


def _aim(made: Plan, name: str) -> None:
    asked = _asked(made, name)
    held = found(made, name)
    if st.button("Work it out", key=f"least_{name}", disabled=held is not None and known.same_shape(held[0], asked)):
        with st.spinner("Looking for the least money ..."):
            work_out(name, asked)
        held = found(made, name)
    if held is None:
        return
    st.write(session.plain(least.sentences(made.prepared, held[0], [held[1]])[-1]))
    if held[1].plan is not None:
        st.button("Use this budget", key=f"use_{name}", on_click=use, args=(held[1].plan,),
                  help="Takes over the money and the aim; the aim then stands under Limits and funds.")


def _asked(made: Plan, name: str) -> Scenario:
    """The scenario of an aim, with the boxes that it is asked in."""
    asked, years = made.scenario, list(made.scenario.years)
    if name == "hold":
        st.markdown(f"Hold today's mean index of {least.mean_index_now(made.prepared):.1f} in every year")
        return least.holding(made.prepared, asked)
    if name == "reach":
        index = st.number_input("Reach a mean index of", 0.0, 100.0, council.first_target(made), 0.5,
                                key="aim_index", format="%.1f")
        return least.reaching(asked, index, st.selectbox("from the work of this year on", years, len(years) - 1,
                                                         key=f"aim_reach_{years[0]}_{len(years)}"))
    return least.clearing(asked, st.selectbox("Clear the full-depth backlog by", years, len(years) - 1,
                                              key=f"aim_clear_{years[0]}_{len(years)}"))


def work_out(name: str, asked: Scenario) -> None:
    """Find the least money for an aim and keep it."""
    at, prepared = session.ready(asked)
    st.session_state.setdefault("aims", {})[name] = (at, asked, least.least(prepared, asked))


def found(made: Plan, name: str) -> tuple[Scenario, Least] | None:
    """The least money for an aim, if it was worked out for what is asked now, whatever the amount of money."""
    held = st.session_state.get("aims", {}).get(name)
    if not held or held[0] != session.ready()[0]:
        return None
    free = replace(held[1], targets=(), cleared_by=None, name=made.scenario.name)
    return held[1:] if known.same_shape(free, replace(made.scenario, targets=(), cleared_by=None)) else None


def use(made: Plan) -> None:
    """Take the money and the aim of a plan into the engineer's scenario; the program is the one that was shown."""
    own = replace(made.scenario, name=session.scenario().name)
    st.session_state["scenario"] = own
    session.keep(session.ready(own)[0], known.under(made, own))


def show_limits(made: Plan) -> None:
    """Every limit: what it allows, what is used, and what more of it would bring."""
    lines = council.limit_lines(made)
    binding = lines[lines["binds"]]
    if made.chosen.failed:
        st.info("There is no program, so the limits have no prices; what stands against one is said above.")
    else:
        rest = " The others cost the program nothing." if len(binding) < len(lines) else ""
        st.write(f"{len(binding):,} of {len(lines):,} limits bind: more of them would buy more.{rest}")
    every = st.toggle("Show those that do not bind, too", key="every_limit", value=binding.empty)
    st.dataframe((lines if every else binding).drop(columns="binds"), hide_index=True, width="stretch",
                 placeholder="", column_config={
        "limit": "Limit", "year": st.column_config.NumberColumn("Year", format="%d"), "allowed": "Asked",
        "used": "In the program", "price": st.column_config.TextColumn("What a little more brings", width="large")})
    st.caption("In the benefit of the program: square-yard-years of sound pavement, discounted and weighted by "
               "traffic, or dollars of agency cost at today's worth.")
    st.download_button("Limits as CSV", lambda: exports.csv_text(reasons.of_limits(made)), "limits.csv",
                       key="limits_csv", on_click="ignore")
