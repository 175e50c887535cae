"""What a program may cost: planned beside drawn, with its interval and the budget."""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go

from rehab.outputs.charts.bands import BAND
from rehab.outputs.charts.frame import dollars, empty, hatched, titled, years
from rehab.outputs.palette import LIMIT, WITH_WORK, WITHOUT_WORK
from rehab.outputs.words import money, share


def chance_chart(chances: pd.DataFrame) -> go.Figure:
    """Per year, from the table ``chances``: the plan at likely values, the mean of the draws with its 80 % interval."""
    title = "Cost of the program by year: planned, and drawn"
    if chances.empty:
        return empty(title, "The program has no years.")
    figure = go.Figure()
    figure.add_bar(x=chances["year"], y=chances["planned_usd"], name="Planned at likely values",
                   marker={"color": WITH_WORK}, hovertemplate="planned $%{y:,.0f}")
    figure.add_bar(
        x=chances["year"], y=chances["mean_usd"], name=f"Mean of the draws; line: {BAND}",
        marker={"color": WITHOUT_WORK, "pattern": hatched("/", 7)},
        error_y={"type": "data", "symmetric": False, "array": chances["high_usd"] - chances["mean_usd"],
                 "arrayminus": chances["mean_usd"] - chances["low_usd"], "color": LIMIT, "thickness": 2.5, "width": 6},
        customdata=chances[["low_usd", "high_usd", "over"]].assign(over=100 * chances["over"]).to_numpy(float),
        hovertemplate="mean $%{y:,.0f}, 80 %: $%{customdata[0]:,.0f} to $%{customdata[1]:,.0f}; over the budget in "
                      "%{customdata[2]:.0f} %")
    figure.add_scatter(
        x=chances["year"], y=chances["budget_usd"], name="Budget", mode="lines+markers",
        line={"color": LIMIT, "width": 2.5, "dash": "dash", "shape": "hvh"},
        marker={"symbol": "line-ew-open", "size": 14}, hovertemplate="$%{y:,.0f}")
    titled(figure, title, "Dollars of the year", barmode="group")
    dollars(figure)
    years(figure, chances["year"])
    return figure


def describe_chances(chances: pd.DataFrame) -> str:
    """What the draws say of the money, in two sentences; more than planned is parted by what it comes from."""
    planned, mean, same = (float(chances[f"{name}_usd"].sum()) for name in ("planned", "mean", "same"))
    if planned <= 0:
        return "The program holds no work, so nothing of it can cost more."
    often = int((chances["over"] > 0.5).sum())

    def by(usd: float) -> str:
        return f"{money(abs(usd))} {'more' if usd >= 0 else 'less'}"

    apart = f"{share(abs(mean / planned - 1))} {'more' if mean >= planned else 'less'}"
    return (f"Planned at likely values the program costs {money(planned)}; over the draws it costs {money(mean)} on "
            f"average, {apart}: {by(same - planned)} by the quantities and prices of the planned work, "
            f"{by(mean - same)} by blocks that need another strategy when their year comes. In {often} of "
            f"{len(chances)} years it costs more than the budget in over half of the draws.")
