"""How often to bring the grinder: dollars of mobilisation against days that ready blocks wait."""

from __future__ import annotations

from typing import Any

import pandas as pd
import plotly.graph_objects as go

from rehab.outputs.charts.frame import dollars, empty, titled
from rehab.outputs.palette import LIMIT, WITH_WORK
from rehab.outputs.words import count, money, number

_NONE = "There is no grinding to bring the machine for."


def campaign_chart(choices: pd.DataFrame) -> go.Figure:
    """A point per number of campaigns, with the blocks that miss the season; the one in use is a filled diamond.

    ``choices`` is the table ``campaign_choices``.
    """
    title = "Fewer campaigns of the grinder, or a shorter wait"
    if choices.empty:
        return empty(title, _NONE)
    rows = choices.sort_values("campaigns", ignore_index=True)
    used = rows["chosen"].fillna(False).astype(bool)
    figure = go.Figure()
    figure.add_scatter(x=rows["wait_days"], y=rows["mobilisation_usd"], mode="lines", hoverinfo="skip",
                       showlegend=False, line={"color": LIMIT, "width": 1.5, "dash": "dot"})
    for name, some, symbol, size in (("Other choices", rows[~used], "circle-open", 12),
                                     ("In the calendar", rows[used], "diamond", 15)):
        figure.add_scatter(
            x=some["wait_days"], y=some["mobilisation_usd"], mode="markers+text", name=name, cliponaxis=False,
            text=[_said(row) for row in some.to_dict("records")], textposition="top right",
            marker={"symbol": symbol, "size": size, "color": WITH_WORK, "line": {"width": 2, "color": WITH_WORK}},
            customdata=some[["ground", "longest_days"]].to_numpy(float), hovertemplate=(
                "%{text}<br>%{customdata[0]:.0f} blocks ground, mobilisation $%{y:,.0f}<br>"
                "mean wait %{x:.0f} days, longest %{customdata[1]:.0f}<extra></extra>"))
    titled(figure, title, "Mobilisation of the season, dollars", height=430)
    dollars(figure)
    wide = float(rows["wait_days"].max()) or 1.0
    figure.update_yaxes(range=(0, float(rows["mobilisation_usd"].max()) * 1.25 or 1.0), rangemode="normal")
    figure.update_layout(hovermode="closest", margin={"r": 30})
    figure.update_xaxes(title_text="Mean calendar days from ready to ground, by block", range=(0, wide * 1.35))
    return figure


def describe_campaigns(choices: pd.DataFrame) -> str:
    """The choice in one sentence."""
    if choices.empty:
        return _NONE
    parts = [f"{count(int(row['campaigns']), 'campaign')}{' (in the calendar)' if row['chosen'] is True else ''}: "
             f"{money(row['mobilisation_usd'])}, mean wait {number(row['wait_days'], 0)} days, "
             f"{count(int(row['missed']), 'block')} missed"
             for row in choices.sort_values("campaigns").astype({"chosen": object}).to_dict("records")]
    return f"Bringing the grinder: {'; '.join(parts)}."


def _said(row: dict[Any, Any]) -> str:
    return f"{count(int(row['campaigns']), 'campaign')}<br>{count(int(row['missed']), 'block')} missed"
