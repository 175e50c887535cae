"""Life-cycle cost of one block's strategies at several rates."""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go

from rehab.base.tables import STRATEGIES
from rehab.outputs.charts.frame import dollars, empty, hatched, titled
from rehab.outputs.palette import HATCH, STRATEGY
from rehab.outputs.words import label, money, number

_TITLE = "Annual cost of the life cycle by real rate"


def worth_chart(rates: pd.DataFrame, in_use: float | None = None) -> go.Figure:
    """A group of bars per rate, a bar per strategy: equivalent uniform annual cost, real dollars.

    ``rates`` has the columns strategy, rate (share a year) and annual_usd; the rate ``in_use`` is named.
    """
    if rates.empty:
        return empty(_TITLE, "No strategy of this block has a life-cycle cost.")
    figure = go.Figure()
    for name in STRATEGIES:
        rows = rates[rates["strategy"] == name].sort_values("rate")
        if len(rows):
            figure.add_bar(
                x=[_at(rate, in_use) for rate in rows["rate"]], y=rows["annual_usd"], name=_words(name),
                marker={"color": STRATEGY[name].colour, "pattern": hatched(HATCH[name], 7)},
                hovertemplate="$%{y:,.0f} a year",
            )
    titled(figure, _TITLE, "Real dollars a year", barmode="group", showlegend=True)
    figure.update_xaxes(title_text="Real discount rate a year", type="category")
    dollars(figure)
    return figure


def describe_worth(rates: pd.DataFrame, in_use: float | None = None) -> str:
    """The chart of annual costs in words: every strategy at every rate."""
    if rates.empty:
        return "No strategy of this block has a life-cycle cost."
    parts = []
    for rate, rows in rates.groupby("rate"):
        cost = rows.set_index("strategy")["annual_usd"]
        each = ", ".join(f"{_words(name)} {money(cost[name])}" for name in STRATEGIES if name in cost.index)
        parts.append(f"{_at(float(str(rate)), in_use)}: {each}")
    return f"Annual cost by real discount rate. {'; '.join(parts)}."


def _at(rate: float, in_use: float | None) -> str:
    return f"{number(100 * rate, 2)} %{' (in use)' if rate == in_use else ''}"


def _words(name: str) -> str:
    """No work yet is no work now."""
    return "No work now" if name == "none" else label(name)
