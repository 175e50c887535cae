"""What every chart shares: a quiet layout, axes with units, years as whole numbers."""

from __future__ import annotations

from typing import Any, NamedTuple

import pandas as pd
import plotly.graph_objects as go


class Measure(NamedTuple):
    """How a measure is drawn: words, axis title with unit, factor to the shown unit, fixed range or None."""

    words: str
    axis: str
    factor: float
    limits: tuple[float, float] | None
    money: bool = False


def titled(figure: go.Figure, title: str, axis: str, height: int = 400, **layout: Any) -> go.Figure:
    """The figure with title, y title, a height in pixels and the legend at its foot."""
    figure.update_layout(
        title={"text": title, "x": 0, "xanchor": "left", "font": {"size": 16}},
        margin={"l": 70, "r": 20, "t": 55, "b": 95}, hovermode="x unified", height=height,
        legend={"orientation": "h", "yref": "container", "y": 0.01, "yanchor": "bottom", "x": 0,
                "traceorder": "normal"},
        **layout,
    )
    figure.update_yaxes(title_text=axis)
    return figure


def steady(figure: go.Figure) -> None:
    """Margins that do not grow with the labels, which spares the browser a second drawing; for short labels only."""
    figure.update_layout(margin={"autoexpand": False})
    figure.update_xaxes(automargin=False)
    figure.update_yaxes(automargin=False)


def hatched(shape: str | list[str], size: int) -> dict[str, Any]:
    """A hatch over a bar of solid colour: bars of thin lines alone are dim on a dark screen."""
    return {"shape": shape, "fillmode": "overlay", "size": size}


def years(figure: go.Figure, values: pd.Series, **place: Any) -> None:
    """A year axis: whole numbers, a tick a year, and fewer where there are many."""
    span = int(values.max() - values.min()) + 1 if len(values) else 1
    figure.update_xaxes(title_text="Year", dtick=1 if span <= 16 else 5, tickformat="d", **place)


def dollars(figure: go.Figure, **place: Any) -> None:
    """A y axis of money from zero."""
    figure.update_yaxes(tickprefix="$", tickformat="~s", rangemode="tozero", **place)


def empty(title: str, message: str) -> go.Figure:
    """A chart that says that there is nothing to draw."""
    figure = titled(go.Figure(), title, "")
    figure.add_annotation(text=message, showarrow=False, font={"size": 15}, xref="paper", yref="paper", x=0.5, y=0.5)
    figure.update_xaxes(visible=False)
    figure.update_yaxes(visible=False)
    return figure
