"""Several programs side by side."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import pandas as pd
import plotly.graph_objects as go

from rehab.outputs.charts.bands import BAND, add_band, band_hover, has_band, name_bands
from rehab.outputs.charts.frame import Measure, dollars, empty, titled, years
from rehab.outputs.palette import SCALE
from rehab.outputs.words import money, number

#: columns of ``by_year`` that scenarios can be compared by
SCENARIO_MEASURES: Final[dict[str, Measure]] = {
    "index_with": Measure("Mean condition index by area", "Index, 0 to 100", 1.0, (0.0, 100.0)),
    "sound_with": Measure("Area of sound panels", "Per cent of area", 100.0, (0.0, 100.0)),
    "full_with": Measure("Area that needs full depth", "Per cent of area", 100.0, None),
    "spent_usd": Measure("Money spent", "Dollars of the year", 1.0, None, money=True),
    "ground_sqyd": Measure("Area ground", "Square yards", 1.0, None),
}

_DASHES: Final = ("solid", "dash", "dot", "dashdot", "longdash")
_SYMBOLS: Final = ("circle", "x", "square", "diamond", "triangle-up")
_ORDER: Final = (0, 4, 2, 1, 3)  #: the ends of the scale first, so that two scenarios differ most


def scenario_chart(scenarios: Mapping[str, pd.DataFrame], measure: str = "index_with") -> go.Figure:
    """One line per scenario: a measure of :data:`SCENARIO_MEASURES` over the years of each ``by_year`` table.

    A table that also holds ``MEASURE_low`` and ``MEASURE_high`` (10 % and 90 % points) is shaded between them.
    """
    shown = SCENARIO_MEASURES[measure]
    title = f"{shown.words} by scenario"
    drawn = {name: table for name, table in scenarios.items() if len(table)}
    if not drawn:
        return empty(title, "There is no scenario to draw.")
    figure = go.Figure()
    for position, (name, table) in enumerate(drawn.items()):
        add_band(figure, table, measure, _colour(position), shown.factor, legendgroup=_plain(name))
    for position, (name, table) in enumerate(drawn.items()):
        style, second = position % len(_ORDER), position // len(_ORDER)
        figure.add_scatter(
            x=table["year"], y=table[measure] * shown.factor, name=_plain(name), mode="lines+markers",
            legendgroup=_plain(name),
            line={"color": _colour(position), "width": 3, "dash": _DASHES[(style + second) % len(_DASHES)]},
            marker={"symbol": _SYMBOLS[(style + 2 * second) % len(_SYMBOLS)], "size": 8},
            **band_hover(table, measure, ",.0f" if shown.money else ",.1f", shown.factor, "$" if shown.money else ""),
        )
    name_bands(figure)
    titled(figure, title, shown.axis, showlegend=True)
    figure.update_yaxes(range=shown.limits, rangemode="tozero")
    if shown.money:
        dollars(figure)
    years(figure, pd.concat([table["year"] for table in drawn.values()]))
    return figure


def describe_scenarios(scenarios: Mapping[str, pd.DataFrame], measure: str = "index_with") -> str:
    """The last year of every scenario in one sentence; money and areas are summed over the years.

    The interval of the last year stands in brackets; a sum has none, since the ends of intervals do not add up.
    """
    shown = SCENARIO_MEASURES[measure]
    parts, summed, banded = [], measure in {"spent_usd", "ground_sqyd"}, False
    for name, table in scenarios.items():
        if table.empty:
            continue
        last = table.sort_values("year").iloc[[-1]]
        value = table[measure].sum() if summed else last[measure].iloc[0]
        sign = " %" if shown.factor == 100 else ""
        said = money(value) if shown.money else number(value * shown.factor) + sign
        if not summed and has_band(last, measure):
            ends = [number(last[f"{measure}_{end}"].iloc[0] * shown.factor) for end in ("low", "high")]
            said, banded = f"{said} ({' to '.join(ends)}{sign})", True
        parts.append(f"{name}: {said}")
    when = "over all years" if summed else "in the last year"
    means = f" In brackets: {BAND}." if banded else ""
    return f"{shown.words} {when}. {'; '.join(parts)}.{means}" if parts else "There is no scenario to draw."


def _colour(position: int) -> str:
    return SCALE[_ORDER[position % len(_ORDER)]]


def _plain(text: str) -> str:
    """A name as text: the chart reads a few tags, and a scenario's name is the user's own."""
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
