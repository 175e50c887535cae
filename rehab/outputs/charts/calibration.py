"""Charts of a calibration: curves against what was seen, and how far blocks lie from what was expected of them."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from rehab.outputs.charts.frame import empty, hatched, titled
from rehab.outputs.palette import LIMIT
from rehab.outputs.words import label, number

_KINDS: Final = {"partial": "Shallow damage", "full": "Deep damage"}
_LINES: Final = {"before": ("Curves before", LIMIT, "dash", "x"),
                 "after": ("Curves fitted", "#b86400", "solid", "square")}
_BARS: Final = {"partial": ("#a88250", "/"), "full": ("#176be8", "")}
_EDGES: Final = np.arange(-3.5, 4.0, 1.0)  #: standard deviations; what lies beyond is counted in the outer bars


def fit_chart(against: pd.DataFrame, functional_class: str) -> go.Figure:
    """Shares of panels by age in one class: seen, by the curves before and by the curves fitted; per cent.

    ``against`` is the table ``calibration_fit``.  A point is larger the more panels it rests on.
    """
    rows = against[against["functional_class"] == functional_class].sort_values("age_yr")
    title = f"Panels damaged by age: {label(functional_class).lower()}"
    if rows.empty:
        return empty(title, "No block of this class was never repaired and has an age.")
    figure = make_subplots(rows=1, cols=2, subplot_titles=list(_KINDS.values()), shared_yaxes=True,
                           horizontal_spacing=0.06)
    for column, kind in enumerate(_KINDS, 1):
        cell = {"row": 1, "col": column, "showlegend": column == 1}
        for when, (words, colour, dash, symbol) in _LINES.items():
            figure.add_scatter(
                x=rows["age_yr"], y=100 * rows[f"{when}_{kind}_share"], name=words, legendgroup=when,
                mode="lines+markers", line={"color": colour, "width": 2.5, "dash": dash},
                marker={"symbol": symbol, "size": 7}, hovertemplate="%{y:.1f} %", **cell)
        size = 7 + 17 * np.sqrt(rows["panels"] / rows["panels"].max())
        figure.add_scatter(
            x=rows["age_yr"], y=100 * rows[f"seen_{kind}_share"], name="Seen; larger: more panels", legendgroup="seen",
            mode="markers", marker={"symbol": "circle-open", "size": size, "color": "#2b83cf", "line": {"width": 2.5}},
            customdata=rows[["panels", "blocks"]].to_numpy(float),
            hovertemplate="%{y:.1f} % of %{customdata[0]:,.0f} panels in %{customdata[1]:,.0f} blocks", **cell)
    titled(figure, title, "")
    figure.update_yaxes(title_text="Per cent of panels", col=1)
    figure.update_yaxes(rangemode="tozero")
    figure.update_xaxes(title_text="Age, years", rangemode="tozero", hoverformat=".0f")
    return figure


def describe_fit(against: pd.DataFrame, functional_class: str) -> str:
    """The chart in one sentence: the mean distance of the curves from what was seen, and the band of most panels."""
    rows = against[against["functional_class"] == functional_class]
    if rows.empty:
        return "No block of this class was never repaired and has an age."
    most = rows.iloc[int(np.argmax(rows["panels"].to_numpy(float)))]
    parts = [f"{_KINDS[kind].lower()} {number(100 * most[f'seen_{kind}_share'])} % seen, "
             f"{number(100 * most[f'before_{kind}_share'])} % by the curves before and "
             f"{number(100 * most[f'after_{kind}_share'])} % by those fitted" for kind in _KINDS]
    return (f"{label(functional_class)}, at {most['age_from_yr']} to {most['age_to_yr']} years, where most panels are: "
            f"{'; '.join(parts)}. Over all ages the fitted curves miss by {_miss(rows, 'partial')} and "
            f"{_miss(rows, 'full')} points of a hundred.")


def residual_chart(residuals: pd.DataFrame) -> go.Figure:
    """How many blocks lie how far from what the survey before made expect, in standard deviations.

    ``residuals`` is the table of that name.
    """
    title = "Newest survey less what was expected of it"
    if residuals.empty:
        return empty(title, "There is no block to compare.")
    figure = go.Figure()
    middle = (_EDGES[:-1] + _EDGES[1:]) / 2
    for kind, words in _KINDS.items():
        colour, hatch = _BARS[kind]
        held = np.clip(residuals[f"{kind}_residual"].to_numpy(float), _EDGES[0], _EDGES[-1])
        figure.add_bar(x=middle, y=np.histogram(held, _EDGES)[0], name=words, hovertemplate="%{y:,} blocks",
                       marker={"color": colour, "pattern": hatched(hatch, 7)})
    titled(figure, title, "Blocks", barmode="group")
    ticks = ["-3 or less", *(f"{value:+.0f}" if value else "0" for value in middle[1:-1]), "+3 or more"]
    figure.update_xaxes(title_text="Standard deviations: more damage than expected to the right", tickvals=middle,
                        ticktext=ticks)
    return figure


def describe_residuals(residuals: pd.DataFrame) -> str:
    """The chart in words: how many blocks lie within their 80 % interval, and which way the others lean."""
    if residuals.empty:
        return "There is no block to compare."
    parts = []
    for kind, words in _KINDS.items():
        inside = 100 * float(residuals[f"{kind}_inside"].mean())
        mean = float(residuals[f"{kind}_residual"].mean())
        parts.append(f"{words.lower()}: {inside:.0f} % inside, on average {abs(mean):.2f} standard deviations "
                     f"{'more' if mean >= 0 else 'less'} than expected")
    return (f"Of {len(residuals):,} blocks, inside the 80 % interval expected from the survey before: "
            f"{'; '.join(parts)}.")


def _miss(rows: pd.DataFrame, kind: str) -> str:
    gap = (rows[f"after_{kind}_share"] - rows[f"seen_{kind}_share"]).abs().to_numpy(float)
    return number(100 * float(np.average(gap, weights=rows["panels"].to_numpy(float))))
