"""The charts of the brief for the screen: the same rows, colours, hatches and axes as on paper."""

from __future__ import annotations

from typing import Any

import plotly.graph_objects as go

from rehab.outputs.brief.axis import axis_of, drawn, ranged
from rehab.outputs.brief.legend import remarks
from rehab.outputs.brief.look import Look, looks, lying
from rehab.outputs.charts.frame import empty, hatched, titled
from rehab.plan.brief.model import Chart, Series


def figure(chart: Chart) -> go.Figure:
    """The chart as a figure of plotly; ranges are bars of error, or shaded round lines."""
    if not drawn(chart) or not chart.places:
        return empty(_plain(chart.title), "There is nothing to draw.")
    found, aside, axis = go.Figure(), lying(chart), axis_of(chart)
    places = [_plain(place) for place in chart.places]
    parts = list(zip(chart.series, looks(chart), strict=True))
    for series, look in parts:
        if _is_line(chart, series) and ranged(series):
            _band(found, places, series, look)
    for series, look in parts:
        if _is_line(chart, series):
            _line(found, chart, places, series, look, aside)
        else:
            _bars(found, chart, places, series, look, aside)
    long = max(len(place) for place in places)
    height = max(420, 26 * len(places) + 190) if aside else 430 + (min(long, 20) * 4 if long > 6 else 0)
    titled(found, _plain(chart.title), "", height, barmode="stack" if chart.kind == "stacked bars" else "group",
           showlegend=len(chart.series) > 1, uirevision=chart.title)
    _axes(found, chart, places, aside)
    values = {"range": [axis.low, axis.high], "tickvals": list(axis.ticks), "ticktext": list(axis.texts)}
    (found.update_xaxes if aside else found.update_yaxes)(**values)
    said = remarks(chart)
    if said:
        found.add_annotation(text=said, showarrow=False, xref="paper", yref="paper", x=0, y=1.02,
                             xanchor="left", yanchor="bottom", font={"size": 12})
    return found


def _axes(found: go.Figure, chart: Chart, places: list[str], aside: bool) -> None:
    names: dict[str, Any] = {"type": "category", "categoryorder": "array", "categoryarray": places,
                             "title_text": _plain(chart.x_title)}
    if aside:
        found.update_yaxes(**names, autorange="reversed", tickmode="linear", automargin=True)
        found.update_xaxes(title_text=_plain(chart.y_title), automargin=True)
        found.update_layout(hovermode="y unified")
    else:
        found.update_xaxes(**names, automargin=True)
        found.update_yaxes(title_text=_plain(chart.y_title))


def _bars(found: go.Figure, chart: Chart, places: list[str], series: Series, look: Look, aside: bool) -> None:
    along = {"x": list(series.values), "y": places, "orientation": "h"} if aside else \
        {"x": places, "y": list(series.values)}
    found.add_bar(**along, name=_plain(series.name), marker={"color": look.colour, "pattern": hatched(look.hatch, 7)},
                  customdata=_ends(series), hovertemplate=_hover(chart, "x" if aside else "y", ranged(series)))
    if ranged(series):
        up = [high - value for value, high in zip(series.values, series.high, strict=True)]
        down = [value - low for value, low in zip(series.values, series.low, strict=True)]
        error = {"type": "data", "array": up, "arrayminus": down, "symmetric": False, "thickness": 1.5}
        found.data[-1].update({"error_x" if aside else "error_y": error})


def _line(found: go.Figure, chart: Chart, places: list[str], series: Series, look: Look, aside: bool) -> None:
    over = chart.kind != "lines"
    along = {"x": list(series.values), "y": places} if aside else {"x": places, "y": list(series.values)}
    shape = ("vhv" if aside else "hvh") if over else "linear"
    found.add_scatter(**along, name=_plain(series.name), mode="lines+markers", connectgaps=False,
                      line={"color": look.colour, "width": 3, "dash": look.dash, "shape": shape},
                      marker={"symbol": _symbol(aside) if over else look.marker, "size": 14 if over else 9},
                      customdata=_ends(series), hovertemplate=_hover(chart, "x" if aside else "y", ranged(series)))


def _symbol(aside: bool) -> str:
    return "line-ns-open" if aside else "line-ew-open"


def _band(found: go.Figure, places: list[str], series: Series, look: Look) -> None:
    """Shaded from low to high over the places that have both."""
    held = [(place, low, high) for place, low, high in zip(places, series.low, series.high, strict=True)
            if low == low and high == high]
    red, green, blue = (int(look.colour[at:at + 2], 16) for at in (1, 3, 5))
    found.add_scatter(
        x=[place for place, *_ in held] + [place for place, *_ in reversed(held)],
        y=[high for *_, high in held] + [low for _, low, _ in reversed(held)], mode="lines", fill="toself",
        fillcolor=f"rgba({red},{green},{blue},0.2)", line={"color": f"rgba({red},{green},{blue},0.55)", "width": 1},
        showlegend=False, hoverinfo="skip", name=f"{_plain(series.name)}, range")


def _is_line(chart: Chart, series: Series) -> bool:
    return chart.kind == "lines" or series.line


def _ends(series: Series) -> list[tuple[float, float]] | None:
    return list(zip(series.low, series.high, strict=True)) if ranged(series) else None


def _hover(chart: Chart, axis: str, with_range: bool) -> str:
    """Value, and the ends of its range in brackets, in the chart's unit."""
    sign, form = ("$", ",.0f") if chart.unit == "$" else ("", ",.1f")
    tail = {"%": " %", "$": ""}.get(chart.unit, f" {_plain(chart.unit)}".rstrip())
    value, low, high = (f"{sign}%{{{name}:{form}}}{tail}" for name in (axis, "customdata[0]", "customdata[1]"))
    return f"{value} ({low} to {high})" if with_range else value


def _plain(text: str) -> str:
    """A name as text: a chart reads a few tags, and names are a city's own."""
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
