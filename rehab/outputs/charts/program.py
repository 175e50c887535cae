"""What other money would buy: the benefit of the best programs over the money of a year."""

from __future__ import annotations

from typing import Final

import pandas as pd
import plotly.graph_objects as go

from rehab.outputs.charts.frame import empty, titled
from rehab.outputs.palette import LIMIT, WITH_WORK, WITHOUT_WORK
from rehab.outputs.words import money, number

_AXES: Final = {"sound pavement": "Square-yard-years of sound pavement", "agency cost": "Present worth saved, dollars"}


def curve_chart(curve: pd.DataFrame, now_usd: float, now_benefit: float, measure: str = "sound pavement") -> go.Figure:
    """Benefit and its proven bound over the money of a year, from ``least.curve``; today's program is marked.

    ``measure`` is the benefit measure of the scenario.
    """
    title = "What money buys"
    if curve.empty:
        return empty(title, "There is no money to compare.")
    figure = go.Figure()
    figure.add_scatter(
        x=curve["usd_per_yr"], y=curve["upper_bound"], name="No program can reach more", mode="lines",
        line={"color": WITHOUT_WORK, "width": 2, "dash": "dash"}, hovertemplate="%{y:,.0f}")
    figure.add_scatter(
        x=curve["usd_per_yr"], y=curve["benefit"], name="Best program", mode="lines+markers",
        line={"color": WITH_WORK, "width": 3}, marker={"symbol": "circle", "size": 8}, hovertemplate="%{y:,.0f}")
    figure.add_scatter(
        x=[now_usd], y=[now_benefit], name="Budget in use", mode="markers",
        marker={"symbol": "diamond-open", "size": 17, "color": LIMIT, "line": {"width": 3, "color": LIMIT}},
        hovertemplate="%{y:,.0f}")
    titled(figure, title, _AXES[measure])
    figure.update_yaxes(tickformat="~s", rangemode="tozero")
    figure.update_xaxes(title_text="Money a year, dollars of that year", tickprefix="$", tickformat="~s",
                        rangemode="tozero")
    return figure


def describe_curve(curve: pd.DataFrame, now_usd: float, now_benefit: float) -> str:
    """The curve in some sentences: today's point, and what the nearest more and less money would buy."""
    if curve.empty:
        return "There is no money to compare."
    said = [f"{money(now_usd)} a year buys a benefit of {number(now_benefit, 0)}."]
    for words, rows in (("Less", curve[curve["usd_per_yr"] < now_usd * 0.98].tail(1)),
                        ("More", curve[curve["usd_per_yr"] > now_usd * 1.02].head(1))):
        said += [f"{words}, {money(row.usd_per_yr)} a year, buys {number(row.benefit, 0)}."
                 for row in rows.itertuples(index=False)]
    top = curve.iloc[-1]
    return " ".join([*said, f"With {money(top['usd_per_yr'])} a year it is {number(top['benefit'], 0)}."])
