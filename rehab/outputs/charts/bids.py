"""Every bid for one pay item: price against quantity, the price book's figures and the default's range."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from rehab.outputs.charts.frame import empty, titled
from rehab.outputs.palette import LIMIT, WITH_WORK, WITHOUT_WORK
from rehab.outputs.words import count, known, price, unit

#: name, colour and shape of the marks; the shape alone tells them apart
_MARKS: Final = (
    ("Bid", WITH_WORK, "circle", 8), ("Outlier", WITHOUT_WORK, "diamond", 13), ("Left out", LIMIT, "x-thin-open", 11),
)
_MOST_LABELS: Final = 12
_BAND: Final = "rgba(130, 137, 143, 0.18)"  #: LIMIT, to see the marks through


def bid_chart(bids: pd.DataFrame, prices: Mapping[str, Any], name: str, quarter: str) -> go.Figure:
    """Price in dollars of ``quarter`` against quantity on logarithmic axes.

    ``bids`` holds the rows of ``priced_bids`` of one pay item, ``prices`` is its row of ``price_book``.  The band is
    the default's low to high; the lines are the likely price of the book, its low and high, and, where one was fitted,
    the price that follows the quantity.  Outliers have another shape and a name.
    """
    title = f"{_plain(name)}: price against quantity"
    if bids.empty:
        return empty(title, "There is no bid for this item.")
    figure = go.Figure()
    ends = [0.8 * float(bids["quantity"].min()), 1.25 * float(bids["quantity"].max())]
    figure.add_scatter(x=[*ends, *ends[::-1]], y=[prices["default_low_usd"]] * 2 + [prices["default_high_usd"]] * 2,
                       fill="toself", fillcolor=_BAND, mode="lines", line={"width": 0}, hoverinfo="skip",
                       name="Default, low to high")
    for words, column, dash, width in (("Default", "default_usd", "dot", 1.5), ("Likely", "likely_usd", "solid", 2.5),
                                       ("Low and high", "low_usd", "dash", 1.5), ("", "high_usd", "dash", 1.5)):
        if known(prices[column]):
            colour = LIMIT if words == "Default" else WITH_WORK
            figure.add_scatter(x=ends, y=[prices[column]] * 2, mode="lines", name=words, showlegend=bool(words),
                               legendgroup="range" if column in {"low_usd", "high_usd"} else column, hoverinfo="skip",
                               line={"color": colour, "width": width, "dash": dash})
    if known(prices["exponent"]):
        x = np.geomspace(ends[0], ends[1], 30)
        figure.add_scatter(x=x, y=prices["at_one_usd"] * x ** prices["exponent"], mode="lines", hoverinfo="skip",
                           name=f"By quantity, power {prices['exponent']:+.2f}",
                           line={"color": WITHOUT_WORK, "width": 2, "dash": "longdashdot"})
    kind = np.select([bids["left_out"], bids["outlier"]], ["Left out", "Outlier"], "Bid")
    for words, colour, symbol, size in _MARKS:
        _marks(figure, bids[kind == words], words, {"color": colour, "symbol": symbol, "size": size,
                                                    "line": {"width": 2 if symbol.endswith("open") else 0}})
    measure = "" if prices["unit"] == "each" else unit(str(prices["unit"]))
    titled(figure, title, f"Dollars of {quarter} " + (f"per {measure}" if measure else "each"), height=460)
    figure.update_layout(hovermode="closest")
    figure.update_xaxes(title_text=f"Quantity, {measure}" if measure else "Quantity", **_logarithmic(ends))
    default = [prices["default_low_usd"], prices["default_high_usd"]]
    figure.update_yaxes(**_logarithmic([*bids["price_usd"], *default], "$"))
    return figure


def describe_bids(bids: pd.DataFrame, prices: Mapping[str, Any], name: str, quarter: str) -> str:
    """The chart of one item's bids in one sentence."""
    if bids.empty:
        return "There is no bid for this item."
    said = f"{name}: {count(len(bids), 'bid')} from {price(bids['price_usd'].min())} to " \
           f"{price(bids['price_usd'].max())} in dollars of {quarter}"
    if known(prices["likely_usd"]):
        said += f", likely {price(prices['likely_usd'])}"
    named = int(bids["outlier"].sum())
    return f"{said}, {count(named, 'outlier')}." if named else f"{said}."


def _marks(figure: go.Figure, rows: pd.DataFrame, words: str, marker: dict[str, Any]) -> None:
    """The bids of one kind; outliers have the bidder and the price beside them, where they are few."""
    if rows.empty:
        return
    bidders = [_plain(str(bidder)) if known(bidder) else "bidder not named" for bidder in rows["bidder"]]
    named = words != "Bid" and len(rows) <= _MOST_LABELS
    places = [_plain(str(project)) if known(project) else "project not named" for project in rows["project"]]
    figure.add_scatter(
        x=rows["quantity"], y=rows["price_usd"], mode="markers+text" if named else "markers", name=words, marker=marker,
        text=[f"{bidder}, {price(usd)}" for bidder, usd in zip(bidders, rows["price_usd"], strict=True)],
        textposition="bottom center", textfont={"size": 11},
        customdata=list(zip(bidders, places, rows["bid_date"].dt.strftime("%d %b %Y"), rows["unit_price_usd"],
                            rows["row"], strict=True)),
        hovertemplate="%{customdata[0]}<br>%{customdata[1]}, %{customdata[2]}<br>as bid $%{customdata[3]:,.2f}, "
                      "here $%{y:,.2f}<br>quantity %{x:,.0f}, row %{customdata[4]:.0f}<extra></extra>")


def _logarithmic(values: Sequence[float], sign: str = "") -> dict[str, Any]:
    """A logarithmic axis around the values with marks at 1, 2 and 5 times the powers of ten."""
    low, high = 0.85 * min(values), 1.18 * max(values)
    powers = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    marks = [step * 10.0 ** power for power in powers for step in (1, 2, 5)]
    shown = [mark for mark in marks if low <= mark <= high]
    return {"type": "log", "range": [math.log10(low), math.log10(high)], "tickvals": shown,
            "ticktext": [f"{sign}{mark:,.10g}" for mark in shown]}


def _plain(text: str) -> str:
    """A name as text: the chart reads a few tags, and the names are the user's own."""
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
