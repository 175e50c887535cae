"""The whole season: crews down the side, days along, one bar per visit of a crew to a block."""

from __future__ import annotations

from html import escape
from typing import Final

import pandas as pd
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from rehab.base.tables import TASKS
from rehab.outputs.charts.frame import empty, hatched, titled
from rehab.outputs.charts.season.cards import DAY, DAY_MS, PAPER, Card, cards, hover, lanes
from rehab.outputs.palette import TASK
from rehab.outputs.visits import Visit, by_crew, visits
from rehab.outputs.words import count, day, label

_ROW: Final = 30  #: least height of a crew in pixels
_LANE: Final = 13  #: least height of a bar in pixels
_GAP: Final = 75


def season_chart(tasks: pd.DataFrame) -> go.Figure:
    """Bars per crew on a date axis, colour and hatch by main work; the next season's tasks apart below.

    Where a crew has several bars on one day they share the height of its row; many blocks of one work on the same
    days are one bar, whose words name them.
    """
    title = "Season calendar by crew"
    if tasks.empty:
        return empty(title, "No task is on the calendar.")
    seen = visits(tasks)
    seasons = [(name, by_crew(visit for visit in seen if visit.season == name)) for name in ("this", "next")]
    seasons = [(name, crews) for name, crews in seasons if crews]
    rows = [[(crew, *_row(of_crew)) for crew, of_crew in crews.items()] for _, crews in seasons]
    heights = [sum(height for *_, height in season) for season in rows]
    inner = sum(heights) + _GAP * (len(seasons) - 1)
    figure = make_subplots(
        rows=len(seasons), cols=1, row_heights=heights, vertical_spacing=_GAP / inner if len(seasons) > 1 else 0,
        subplot_titles=[f"{name.capitalize()} season" for name, _ in seasons] if len(seasons) > 1 else None,
    )
    shown: set[str] = set()
    for at, season in enumerate(rows, start=1):
        _draw(figure, season, at, shown)
    titled(figure, title, "", barmode="overlay", height=inner + 185)
    figure.update_layout(hovermode="closest", margin={"l": 150, "b": 130})
    figure.update_xaxes(title_text="Date", row=len(seasons), col=1)
    return figure


def describe_season(tasks: pd.DataFrame) -> str:
    """The season in one sentence: tasks, blocks, crews, first and last day, and what falls into the next season."""
    if tasks.empty:
        return "No task is on the calendar."
    now, later = tasks[tasks["season"] == "this"], tasks[tasks["season"] == "next"]
    parts = []
    if len(now):
        parts.append(f"{count(len(now), 'task')} on {count(now['block_id'].nunique(), 'block')} by "
                     f"{count(now['crew'].nunique(), 'crew')} from {day(now['start'].min())} to "
                     f"{day(now['finish'].max())}")
    if len(later):
        parts.append(f"{count(len(later), 'task')} on {count(later['block_id'].nunique(), 'block')} in the next season")
    return f"{'; '.join(parts)}."


def _row(of_crew: list[Visit]) -> tuple[list[Card], list[int], int]:
    """The bars of a crew, their lanes, and the height of its row in pixels."""
    found = cards(of_crew, min(visit.start for visit in of_crew), max(visit.finish for visit in of_crew), set(range(7)))
    lane = lanes(found)
    return found, lane, max(_ROW, _LANE * (max(lane) + 1) + 8)


def _draw(figure: go.Figure, season: list[tuple[str, list[Card], list[int], int]], at: int, shown: set[str]) -> None:
    """One season: the crews from the top, a bar's place on the axis in pixels."""
    top, ticks = 0, []
    bars: dict[str, list[tuple[Card, float, float]]] = {}
    for crew, found, lane, height in season:
        room = (height - 8) / (max(lane) + 1)
        for card, place in zip(found, lane, strict=True):
            bars.setdefault(card.kind, []).append((card, top + 4 + (place + 0.5) * room, room - 1))
        ticks.append((top + height / 2, escape(crew)))
        top += height
    for kind in sorted(bars, key=TASKS.index):
        colour, hatch = TASK[kind]
        figure.add_bar(
            orientation="h", y=[y for _, y, _ in bars[kind]], base=[card.first for card, *_ in bars[kind]],
            x=[card.days * DAY_MS for card, *_ in bars[kind]], width=[width for *_, width in bars[kind]],
            name=label(kind), legendgroup=kind, showlegend=kind not in shown, row=at, col=1,
            marker={"color": colour, "pattern": hatched(hatch, 5), "line": {"color": PAPER, "width": 0.5}},
            customdata=[hover(card, None) for card, *_ in bars[kind]], hovertemplate="%{customdata}<extra></extra>",
        )
        shown.add(kind)
    figure.update_yaxes(range=(top, 0), tickvals=[y for y, _ in ticks], ticktext=[crew for _, crew in ticks],
                        showgrid=False, zeroline=False, automargin=True, row=at, col=1)
    held = [card for _, found, *_ in season for card in found]
    first, last = min(card.first for card in held), max(card.last for card in held) + DAY
    month = {"dtick": "M1", "tickformat": "%b %Y"} if (last - first).days > 90 else {}
    mondays = {"tick0": "2024-01-01", "dtick": 7 * DAY_MS, "ticks": "outside"}  # any Monday
    figure.update_xaxes(type="date", range=(first - DAY, last + DAY), showgrid=True, ticks="outside",
                        minor=mondays, **month, row=at, col=1)
