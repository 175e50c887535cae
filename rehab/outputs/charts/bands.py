"""Shaded bands round a line: from the 10 % to the 90 % point of what may come."""

from __future__ import annotations

from typing import Any, Final

import pandas as pd
import plotly.graph_objects as go

#: what a band is called wherever one is drawn
BAND: Final = "80 % interval"

# Seen on a light and on a dark background, and a line of the same colour on top of it stays plain to see.
_FILL, _EDGE = 0.2, 0.55


def has_band(rows: pd.DataFrame, column: str) -> bool:
    """Whether the rows hold the two ends of a band round a column, in some row at least."""
    ends = [f"{column}_low", f"{column}_high"]
    return set(ends) <= set(rows.columns) and bool(rows[ends].notna().all(axis=1).any())


def add_band(figure: go.Figure, rows: pd.DataFrame, column: str, colour: str, factor: float = 1.0,
             **place: Any) -> None:
    """Shade from COLUMN_low to COLUMN_high over the years, times ``factor``; nothing where there is no band.

    To be added before the line, which then lies on top.  ``place`` goes to plotly: the cell, the legend group.
    """
    if not has_band(rows, column):
        return
    held = rows.dropna(subset=[f"{column}_low", f"{column}_high"])
    year, low, high = (held[name].tolist() for name in ("year", f"{column}_low", f"{column}_high"))
    figure.add_scatter(
        x=[*year, *reversed(year)], y=[factor * value for value in (*high, *reversed(low))], mode="lines",
        fill="toself", fillcolor=_clear(colour, _FILL), line={"color": _clear(colour, _EDGE), "width": 1},
        name=BAND, showlegend=False, hoverinfo="skip", **place,
    )


def name_bands(figure: go.Figure) -> None:
    """Say in the legend what the shading is, once, if there is any."""
    if any(trace.name == BAND for trace in figure.data):
        figure.add_scatter(x=[None], y=[None], mode="markers", name=f"Shaded: {BAND}", hoverinfo="skip",
                           marker={"symbol": "square", "size": 14, "color": _clear("#82898f", 2 * _FILL)})


def band_hover(rows: pd.DataFrame, column: str, form: str = ".1f", factor: float = 1.0,
               sign: str = "") -> dict[str, Any]:
    """Hover text of a line: its value, and the ends of its band in brackets if it has one.

    ``form`` is a number format of d3, ``sign`` what stands before each number.
    """
    value, low, high = (f"{sign}%{{{name}:{form}}}" for name in ("y", "customdata[0]", "customdata[1]"))
    if not has_band(rows, column):
        return {"hovertemplate": value}
    return {"customdata": factor * rows[[f"{column}_low", f"{column}_high"]].to_numpy(float),
            "hovertemplate": f"{value} ({low} to {high})"}


def _clear(colour: str, alpha: float) -> str:
    """A colour like '#176be8' with some of the background seen through it."""
    red, green, blue = (int(colour[at:at + 2], 16) for at in (1, 3, 5))
    return f"rgba({red},{green},{blue},{alpha:g})"
