"""Charts of one block: its forecast with and without work, and what its strategies cost."""

from __future__ import annotations

from typing import Final

import pandas as pd
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from rehab.base.tables import STRATEGIES
from rehab.outputs.charts.bands import BAND, add_band, band_hover, has_band, name_bands
from rehab.outputs.charts.frame import dollars, empty, hatched, titled, years
from rehab.outputs.palette import HATCH, LIMIT, STRATEGY
from rehab.outputs.words import known, label, money, number

_SHARES: Final = (
    ("sound_share", "Sound", "#176be8", ""),
    ("partial_share", "Needs partial depth", "#a88250", "/"),
    ("full_share", "Needs full depth", "#b86400", "x"),
)
_SHARE_LINES: Final = {"sound_share": ("solid", "circle"), "partial_share": ("dot", "diamond"),
                       "full_share": ("dash", "x")}
_DASHES: Final = {"none": "dash", "partial_depth": "dot", "full_depth": "solid", "reconstruction": "longdash"}
_SYMBOLS: Final = {"none": "x", "partial_depth": "circle", "full_depth": "square", "reconstruction": "diamond"}


def block_chart(forecast: pd.DataFrame, start_year: int, *, strategy: str | None = None) -> go.Figure:
    """The forecast of one block: index by strategy above; below, shares of panels without and with work.

    ``forecast`` holds the rows of one block; ``strategy`` is the one whose shares are drawn, by default the
    lightest work in the rows.  ``start_year`` is marked as the year in which the work is done.

    Where the rows hold ``index_low`` and ``index_high`` (10 % and 90 % points), the index is shaded between them; with
    the same of ``partial`` and ``full`` the shares are drawn as lines with bands instead of stacked bars.
    """
    if forecast.empty:
        return empty("Forecast", "There is no forecast for this block.")
    rows = forecast.sort_values("year")
    work = _work(rows, strategy)
    titles = ["Condition index", "Panels, no work"] + ([f"Panels, {label(work).lower()}"] if work else [])
    spec = [[{"colspan": 2}, None], [{}, {}]] if work else [[{"colspan": 2}, None], [{"colspan": 2}, None]]
    figure = make_subplots(rows=2, cols=2, specs=spec, subplot_titles=titles, vertical_spacing=0.2)
    _index_lines(figure, rows)
    parts = _share_lines if any(has_band(rows, _end(name)) for name, *_ in _SHARES) else _share_bars
    parts(figure, rows[rows["strategy"] == "none"], column=1, legend=True)
    if work:
        parts(figure, rows[rows["strategy"] == work], column=2, legend=False)
    name_bands(figure)
    figure.add_vline(x=start_year - 0.5, line={"color": LIMIT, "width": 1.5, "dash": "dot"}, row=1, col=1,
                     annotation_text=f"work in {start_year}", annotation_position="bottom right")
    titled(figure, "Forecast of the block", "Per cent of panels", barmode="stack", height=620)
    figure.update_yaxes(title_text="Index, 0 to 100", range=(0, 100), row=1, col=1)
    figure.update_yaxes(range=(0, 100), row=2)
    years(figure, rows["year"])
    return figure


def describe_block(forecast: pd.DataFrame, start_year: int, *, strategy: str | None = None) -> str:
    """The forecast of one block in one sentence: the index in the last year, without and with work."""
    if forecast.empty:
        return "There is no forecast for this block."
    last = forecast[forecast["year"] == forecast["year"].max()].set_index("strategy")
    work = _work(forecast, strategy)
    parts = [f"{_with_band(last.loc['none'])} without work"] if "none" in last.index else []
    if work and work in last.index:
        parts.append(f"{_with_band(last.loc[work])} with {label(work).lower()} in {start_year}")
    means = f" In brackets: {BAND}." if has_band(last, "index") else ""
    return f"Condition index in {forecast['year'].max()}: {', '.join(parts) or 'not known'}.{means}"


def cost_chart(costs: pd.DataFrame) -> go.Figure:
    """A bar from low to high per strategy of one block in one year, with the likely cost marked; dollars."""
    title = "Cost by strategy, low to high"
    rows = costs[costs["strategy"] != "none"].drop_duplicates("strategy").set_index("strategy")
    shown = [name for name in STRATEGIES if name in rows.index]
    if not shown:
        return empty(title, "No strategy of this block has a cost.")
    rows = rows.loc[shown]
    names = [label(name) for name in shown]
    figure = go.Figure()
    figure.add_bar(
        x=names, y=rows["high_usd"] - rows["low_usd"], base=rows["low_usd"], width=0.35, name="Low to high",
        marker={"color": [STRATEGY[name].colour for name in shown],
                "pattern": hatched([HATCH[name] for name in shown], 7)},
        customdata=rows[["low_usd", "high_usd"]].to_numpy(),
        hovertemplate="low $%{customdata[0]:,.0f}<br>high $%{customdata[1]:,.0f}<extra></extra>",
    )
    figure.add_scatter(
        x=names, y=rows["likely_usd"], mode="markers", name="Likely",
        marker={"symbol": "diamond", "size": 13, "color": "#fbfaf7", "line": {"color": "#1b1f22", "width": 2}},
        hovertemplate="likely $%{y:,.0f}<extra></extra>",
    )
    titled(figure, title, "Dollars of the year", showlegend=False)
    figure.update_layout(hovermode="closest", margin={"b": 55})
    figure.update_xaxes(tickvals=names, ticktext=[f"{name}<br>likely {money(value)}" for name, value
                                                  in zip(names, rows["likely_usd"], strict=True)])
    dollars(figure)
    return figure


def describe_cost(costs: pd.DataFrame) -> str:
    """The cost chart in one sentence."""
    rows = costs[costs["strategy"] != "none"].drop_duplicates("strategy").set_index("strategy")
    parts = [f"{label(name)} {money(rows.at[name, 'likely_usd'])} ({money(rows.at[name, 'low_usd'])} to "
             f"{money(rows.at[name, 'high_usd'])})" for name in STRATEGIES if name in rows.index]
    return f"Likely cost, low to high: {'; '.join(parts)}." if parts else "No strategy of this block has a cost."


def _work(forecast: pd.DataFrame, strategy: str | None) -> str | None:
    """The strategy to set against no work: the one asked for, or the lightest in the rows."""
    present = set(forecast["strategy"])
    if strategy is not None:
        return strategy if strategy in present and strategy != "none" else None
    return next((name for name in STRATEGIES[1:] if name in present), None)


def _with_band(row: pd.Series) -> str:
    """The index, and its band in brackets if it has one."""
    low, high = row.get("index_low"), row.get("index_high")
    return number(row["index"]) + (f" ({number(low)} to {number(high)})" if known(low) and known(high) else "")


def _index_lines(figure: go.Figure, rows: pd.DataFrame) -> None:
    """The index of each strategy; the lines after all bands, so that none is hidden."""
    paths = [(name, one) for name in STRATEGIES if len(one := rows[rows["strategy"] == name])]
    for name, one in paths:
        add_band(figure, one, "index", STRATEGY[name].colour, row=1, col=1, legendgroup=f"index {name}")
    for name, one in paths:
        figure.add_scatter(
            x=one["year"], y=one["index"], name="No work" if name == "none" else label(name),
            mode="lines+markers", row=1, col=1, legendgroup=f"index {name}", **band_hover(one, "index"),
            line={"color": STRATEGY[name].colour, "width": 2.5, "dash": _DASHES[name]},
            marker={"symbol": _SYMBOLS[name], "size": 7},
        )


def _share_bars(figure: go.Figure, rows: pd.DataFrame, column: int, legend: bool) -> None:
    for name, words, colour, hatch in _SHARES:
        figure.add_bar(
            x=rows["year"], y=100 * rows[name], name=words, legendgroup=name, showlegend=legend, row=2, col=column,
            marker={"color": colour, "pattern": hatched(hatch, 6)}, hovertemplate="%{y:.1f} %",
        )


def _share_lines(figure: go.Figure, rows: pd.DataFrame, column: int, legend: bool) -> None:
    """Shares as lines with bands: a stack cannot show what is uncertain in its middle."""
    cell = {"row": 2, "col": column}
    for name, _, colour, _ in _SHARES:
        add_band(figure, rows, _end(name), colour, 100.0, legendgroup=name, **cell)
    for name, words, colour, _ in _SHARES:
        dash, symbol = _SHARE_LINES[name]
        figure.add_scatter(
            x=rows["year"], y=100 * rows[name], name=words, legendgroup=name, showlegend=legend, mode="lines+markers",
            line={"color": colour, "width": 2.5, "dash": dash}, marker={"symbol": symbol, "size": 6},
            **band_hover(rows, _end(name), factor=100.0), **cell,
        )


def _end(share: str) -> str:
    """What the columns of a share's band begin with: 'full_share' has 'full_low' and 'full_high'."""
    return share.removesuffix("_share")
