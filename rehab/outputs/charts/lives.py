"""Life added by each strategy, as ranges."""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go

from rehab.base.tables import STRATEGIES
from rehab.outputs.charts.bands import BAND
from rehab.outputs.charts.frame import empty, hatched, titled
from rehab.outputs.palette import HATCH, LIMIT, STRATEGY
from rehab.outputs.words import count, label, number

_EVENT = "years until the index falls to the trigger"


def life_chart(lives: pd.DataFrame, mark_yr: float | None = None) -> go.Figure:
    """A range from 10 % to 90 % per strategy, with the median marked: years of life that the strategy adds.

    ``lives`` has one row per strategy: strategy, low_yr, median_yr, high_yr, blocks.  Life is counted in years until
    the index falls to the trigger, with the work less without it.  ``mark_yr`` draws a line at a life that is
    common practice, no source.
    """
    title = "Life added by strategy"
    rows = _rows(lives)
    if rows.empty:
        return empty(title, "No strategy has a life to show.")
    names = [f"{label(str(name))}<br>median {number(row['median_yr'])} yr, {count(int(row['blocks']), 'block')}"
             for name, row in rows.iterrows()]
    figure = go.Figure()
    figure.add_bar(
        y=names, x=rows["high_yr"] - rows["low_yr"], base=rows["low_yr"], orientation="h", width=0.4, name=BAND,
        marker={"color": [STRATEGY[name].colour for name in rows.index],
                "pattern": hatched([HATCH[name] for name in rows.index], 7)},
        customdata=rows[["low_yr", "high_yr"]].to_numpy(float),
        hovertemplate=BAND + ": %{customdata[0]:.1f} to %{customdata[1]:.1f} years<extra></extra>",
    )
    figure.add_scatter(
        y=names, x=rows["median_yr"], mode="markers", name="Median",
        marker={"symbol": "diamond", "size": 13, "color": "#fbfaf7", "line": {"color": "#1b1f22", "width": 2}},
        hovertemplate="median %{x:.1f} years<extra></extra>",
    )
    titled(figure, title, "", showlegend=False, height=170 + 90 * len(rows))
    figure.update_layout(hovermode="closest", margin={"l": 180, "b": 55})
    figure.update_yaxes(autorange="reversed")
    figure.update_xaxes(title_text=f"Years added: {_EVENT}, with the work less without", rangemode="tozero")
    if mark_yr is not None:
        figure.add_vline(x=mark_yr, line={"color": LIMIT, "width": 2, "dash": "dash"}, annotation_position="top",
                         annotation_text=f"{number(mark_yr)} years: common practice, no source")
    return figure


def describe_lives(lives: pd.DataFrame, mark_yr: float | None = None) -> str:
    """The chart of lives in words."""
    rows = _rows(lives)
    if rows.empty:
        return "No strategy has a life to show."
    parts = [f"{label(str(name))} {number(row['median_yr'])} ({number(row['low_yr'])} to {number(row['high_yr'])}, "
             f"{count(int(row['blocks']), 'block')})" for name, row in rows.iterrows()]
    mark = "" if mark_yr is None else f" {number(mark_yr)} years are common practice, no source."
    return f"Years of life added, {_EVENT}, median and {BAND}: {'; '.join(parts)}.{mark}"


def _rows(lives: pd.DataFrame) -> pd.DataFrame:
    """Rows with a median, by strategy from light to heavy."""
    held = lives.dropna(subset="median_yr").set_index("strategy")
    return held.loc[[name for name in STRATEGIES if name in held.index]]
