"""The season: crews down the side, days along, one bar per task."""

from __future__ import annotations

from html import escape

import pandas as pd
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from rehab.base.tables import TASKS
from rehab.outputs.charts.frame import empty, hatched, titled
from rehab.outputs.palette import TASK
from rehab.outputs.words import count, day, label, number

_MS_PER_DAY = 24 * 3600 * 1000  #: a length on a date axis is in milliseconds


def season_chart(tasks: pd.DataFrame) -> go.Figure:
    """Bars per crew on a date axis, colour and hatch by kind of task; the next season's tasks apart below."""
    title = "Season calendar by crew"
    if tasks.empty:
        return empty(title, "No task is on the calendar.")
    seasons = [(name, tasks[tasks["season"] == name]) for name in ("this", "next")]
    seasons = [(name, rows) for name, rows in seasons if len(rows)]
    crews = [max(rows["crew"].nunique(), 1) for _, rows in seasons]
    figure = make_subplots(
        rows=len(seasons), cols=1, row_heights=crews, vertical_spacing=0.18,
        subplot_titles=[f"{name.capitalize()} season" for name, _ in seasons] if len(seasons) > 1 else None,
    )
    for row, (_, rows) in enumerate(seasons, start=1):
        for kind in TASKS:
            _bars(figure, rows[rows["task"] == kind], kind, row)
        in_order = rows.sort_values(["start", "crew"])["crew"].drop_duplicates()
        figure.update_yaxes(type="category", categoryorder="array", autorange="reversed", row=row, col=1,
                            categoryarray=[escape(crew) for crew in in_order])
        figure.update_xaxes(type="date", row=row, col=1)
    titled(figure, title, "", barmode="overlay", height=190 + 60 * len(seasons) + 38 * sum(crews))
    figure.update_layout(hovermode="closest", bargap=0.25, margin={"l": 140, "b": 120})
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


def _bars(figure: go.Figure, rows: pd.DataFrame, kind: str, row: int) -> None:
    if rows.empty:
        return
    colour, hatch = TASK[kind]
    seen = {trace.name for trace in figure.data}
    texts = [f"{escape(block)}: {label(kind)}<br>{day(start)} to {day(finish)} ({number(days)} working days)"
             for block, start, finish, days
             in zip(rows["block_id"], rows["start"], rows["finish"], rows["days"], strict=True)]
    figure.add_bar(
        orientation="h", y=[escape(crew) for crew in rows["crew"]], base=rows["start"],
        x=((rows["finish"] - rows["start"]).dt.days + 1) * _MS_PER_DAY,
        name=label(kind), legendgroup=kind, showlegend=label(kind) not in seen, row=row, col=1,
        marker={"color": colour, "pattern": hatched(hatch, 5), "line": {"color": "#fbfaf7", "width": 0.5}},
        customdata=texts, hovertemplate="%{customdata}<extra></extra>",
    )
