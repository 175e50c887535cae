"""Cost of waiting: what the same work costs when it is done later, parted into why; one block or the network."""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import pandas as pd
import plotly.graph_objects as go

from rehab.outputs.charts.frame import dollars, empty, hatched, titled
from rehab.outputs.words import label, money, number
from rehab.plan.waiting import PARTS

#: the parts in words, from the bottom of the stack
WAITING_PARTS: Final[dict[str, str]] = dict(zip(PARTS, (
    "As in the first year", "More of the same repair", "Change of strategy", "Work not due before", "Higher prices"),
    strict=True))
_LOOK: Final = dict(zip(PARTS, (("#176be8", ""), ("#a88250", "/"), ("#b23fa0", "x"), ("#b86400", "\\"),
                                ("#82898f", ".")), strict=True))


def waiting_chart(waiting: pd.DataFrame) -> go.Figure:
    """The parts of the cost by years of delay, stacked; dollars of the year of work.

    ``waiting`` is the table ``waiting_network``, or the rows of one block of the table ``waiting``.  What falls
    below zero is stacked below; a mark stands at the total.
    """
    title = "Cost of the work when it waits"
    if waiting.empty:
        return empty(title, "There are no years to wait.")
    rows = waiting.sort_values("delay_yr")
    if not (rows["total_usd"] != 0).any():
        return empty(title, f"No work falls due by {rows['year'].iloc[-1]}.")
    figure = go.Figure()
    for part, words in WAITING_PARTS.items():
        colour, hatch = _LOOK[part]
        if (rows[part] != 0).any():
            figure.add_bar(x=rows["delay_yr"], y=rows[part], name=words, hovertemplate="$%{y:,.0f}",
                           marker={"color": colour, "pattern": hatched(hatch, 7)})
    figure.add_scatter(
        x=rows["delay_yr"], y=rows["total_usd"], name="Total", mode="markers", hovertemplate="$%{y:,.0f}",
        marker={"symbol": "diamond", "size": 9, "color": "#fbfaf7", "line": {"color": "#1b1f22", "width": 1.5}},
    )
    titled(figure, title, "Dollars of the year of work", barmode="relative", showlegend=True)
    dollars(figure)
    first, last = int(rows["year"].iloc[0]), len(rows) - 1
    figure.update_xaxes(title_text=f"Years of delay after {first}", dtick=1 if last < 16 else 5, tickformat="d")
    return figure


def describe_waiting(waiting: pd.DataFrame, delay_yr: int | None = None) -> str:
    """The cost after a delay, by default the longest of the table, in words; the parts in whole dollars add up.

    ``waiting`` as in :func:`waiting_chart`; :class:`ValueError` for a delay that it does not hold.
    """
    if waiting.empty:
        return "There are no years to wait."
    rows = waiting.sort_values("delay_yr", ignore_index=True)
    delay = int(rows["delay_yr"].iloc[-1]) if delay_yr is None else delay_yr
    if delay not in set(rows["delay_yr"]):
        raise ValueError(f"{delay} is no delay of the table")
    rows = rows[rows["delay_yr"] <= delay]
    now, then = rows.iloc[0], rows.iloc[-1]
    block = "strategy" in rows
    parts = _parts(then, _change(rows) if block else "")
    before, after = money(now["total_usd"]), money(then["total_usd"])
    wait = f"Waiting {delay} year{'s' if delay != 1 else ''}"
    if not then["total_usd"] and not now["total_usd"]:
        said = f"No work is due in {now['year']}, nor in {then['year']}: {wait.lower()} costs nothing yet."
    elif not now["total_usd"]:
        said = f"No work is due in {now['year']}; in {then['year']} it costs {after}: {parts}."
    elif before == after:
        said = f"{wait} leaves the cost at {before}" + (f": {parts}." if parts else ".")
    else:
        verb = "raises" if then["total_usd"] > now["total_usd"] else "lowers"
        said = f"{wait} {verb} the cost{'' if block else ' of the work due'} from {before} to {after}: {parts}."
    return f"{said} {_growth(now, then)}".strip()


def _parts(row: pd.Series, change: str) -> str:
    """Every part but today's: whole dollars, rounded so that they add up to the difference of the totals shown."""
    steps = [round(float(level)) for level in row[list(PARTS)].astype(float).cumsum()]
    shown = []
    for part, (below, above) in zip(PARTS[1:], pairwise(steps), strict=True):
        more = above > below
        words = {
            "same_usd": f"{'more' if more else 'less'} of the same repair",
            "heavier_usd": change or ("for heavier strategies" if more else "by lighter strategies"),
            "new_usd": change or "for work not due before",
            "escalation_usd": "by prices",
        }[part]
        if above != below:
            less = "less " if above < below and part != "same_usd" else ""
            shown.append(f"{money(abs(above - below))} {less}{words}")
    return ", ".join(shown)


def _change(rows: pd.DataFrame) -> str:
    """What the rules decide at the end instead of at the beginning, and since when; '' if it is the same."""
    first, last = rows["strategy"].iloc[0], rows["strategy"].iloc[-1]
    if first == last:
        return ""
    year = rows.loc[rows["strategy"] != last, "year"].max() + 1
    name = "no work" if last == "none" else label(last).lower()
    return f"for {name} from {year}" if first == "none" else f"for the change to {name} from {year}"


def _growth(now: pd.Series, then: pd.Series) -> str:
    """How the need grows, where it does."""
    parts = []
    for column, words, sign in (("panels_full", "panels that need full depth", ""),
                                ("partial_sqft", "partial-depth repair", " sq ft")):
        ends = [number(row[column], 0 if row[column] >= 100 else 1) for row in (now, then)]
        if ends[0] != ends[1]:
            parts.append(f"{words} from {ends[0]} to {ends[1]}{sign}")
    return f"The need changes: {', '.join(parts)}." if parts else ""
