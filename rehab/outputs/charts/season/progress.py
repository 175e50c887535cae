"""Plan and actual: what was begun and ended when, beside what was planned."""

from __future__ import annotations

from datetime import date
from html import escape
from typing import Any, Final

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from rehab.outputs.charts.frame import empty, hatched, titled
from rehab.outputs.charts.season.cards import DAY, DAY_MS
from rehab.outputs.palette import LIMIT
from rehab.outputs.words import count, day, known, label, number

_MOST: Final = 60  #: rows that can be read in one picture
#: where a task stands -> words, colour, hatch
_STATES: Final = {"done": ("Done", "#176be8", ""), "under way": ("Under way", "#1f8f94", "/"),
                  "late to finish": ("Late to finish", "#b86400", "x"),
                  "late to start": ("Late to start", "#b86400", "."), "to come": ("To come", "#82898f", "")}
_NONE: Final = "No task has been planned."


def progress_chart(progress: pd.DataFrame, today: date) -> go.Figure:
    """A row per task: the plan as an outline, what was done inside it, and a line at ``today``.

    ``progress`` is the table of that name.  A task that goes on is drawn to today.  Of more than 60 tasks those that
    are late or under way and then those whose plan is nearest to today are drawn, and the picture says so.
    """
    title = "Plan and actual"
    if progress.empty:
        return empty(title, _NONE)
    now = pd.Timestamp(today).normalize()
    rows = _shown(progress, now)
    if len(rows) < len(progress):
        title += f": {len(rows):,} of {len(progress):,} tasks, late ones and those nearest to today"
    places = [f"{escape(block)}: {label(task)}, {escape(crew)}" for block, task, crew in zip(
        rows["block_id"], rows["task"], rows["crew"], strict=True)]
    rows = rows.assign(place=[_once(places, at) for at in range(len(places))])
    figure = go.Figure()
    told = [_told(row) for row in rows.to_dict("records")]
    figure.add_bar(
        orientation="h", y=rows["place"], base=rows["start"], x=((rows["finish"] - rows["start"]).dt.days + 1) * DAY_MS,
        width=0.8, name="Plan", marker={"color": "rgba(130,137,143,0.18)", "line": {"color": LIMIT, "width": 1.5}},
        customdata=told, hovertemplate="%{customdata}<extra></extra>")
    ends = _done(figure, rows.assign(told=told), now)
    titled(figure, title, "", barmode="overlay", height=185 + 24 * len(rows))
    figure.update_layout(hovermode="closest", margin={"l": 240, "r": 20, "t": 65, "b": 100})
    figure.update_yaxes(type="category", categoryorder="array", categoryarray=list(rows["place"]),
                        automargin=True, dtick=1, range=(len(rows) - 0.4, -0.6))
    first, last = min(rows["start"].min(), rows["started"].min(), now), max(rows["finish"].max(), now, *ends)
    figure.update_xaxes(type="date", range=(first - 2 * DAY, last + 4 * DAY), ticks="outside")
    figure.add_vline(x=now + DAY / 2, line={"color": "#b23fa0", "width": 2, "dash": "dash"})
    figure.add_annotation(x=now + DAY / 2, y=1, yref="paper", yanchor="bottom", showarrow=False,
                          text=f"today, {day(now)}", font={"size": 12})
    return figure


def describe_progress(progress: pd.DataFrame, today: date) -> str:
    """How many tasks are where, in one sentence, and the latest of them."""
    if progress.empty:
        return _NONE
    parts = [f"{words.lower()} {size:,}" for state, (words, *_) in _STATES.items()
             if (size := int((progress["state"] == state).sum()))]
    late = progress[progress["late_days"] > 0].sort_values(["late_days", "task_id"], ascending=[False, True])
    tail = ""
    if len(late):
        worst = late.iloc[0]
        tail = (f"; latest is {label(worst['task']).lower()} on block {worst['block_id']}, "
                f"{_working_days(worst['late_days'])} behind")
    return f"Of {count(len(progress), 'task')} on {day(today)}: {', '.join(parts)}{tail}."


def _working_days(days: Any) -> str:
    return f"{number(days)} working {'day' if days == 1 else 'days'}"


def _shown(progress: pd.DataFrame, now: pd.Timestamp) -> pd.DataFrame:
    """The rows that are drawn, by planned first day."""
    pressing = ~progress["state"].isin(["late to start", "late to finish", "under way"])
    away = np.maximum((progress["start"] - now).dt.days, (now - progress["finish"]).dt.days).clip(lower=0)
    kept = progress.assign(pressing=pressing, away=away).sort_values(["pressing", "away", "task_id"]).head(_MOST)
    return kept.sort_values(["start", "finish", "task_id"], ignore_index=True).drop(columns=["pressing", "away"])


def _once(places: list[str], at: int) -> str:
    """A name is a place on the axis: the second of a name gets its number."""
    again = places[:at].count(places[at])
    return f"{places[at]} ({again + 1})" if again else places[at]


def _done(figure: go.Figure, rows: pd.DataFrame, now: pd.Timestamp) -> list[pd.Timestamp]:
    """The bars of what was done, by state; their last days."""
    ends: list[pd.Timestamp] = []
    for state, (words, colour, hatch) in _STATES.items():
        some = rows[(rows["state"] == state) & (rows["started"].notna() | rows["finished"].notna())]
        if some.empty:
            continue
        start = some["started"].fillna(some["finished"])
        end = some["finished"].fillna(now).where(lambda days, since=start: days >= since, start)
        ends += list(end)
        figure.add_bar(
            orientation="h", y=some["place"], base=start, x=((end - start).dt.days + 1) * DAY_MS, width=0.42,
            name=words, marker={"color": colour, "pattern": hatched(hatch, 6)}, customdata=some["told"],
            hovertemplate="%{customdata}<extra></extra>")
    late = rows[(rows["state"] == "late to start")]
    if len(late):
        figure.add_scatter(x=late["start"] + DAY / 2, y=late["place"], mode="markers", name="Late to start",
                           marker={"symbol": "x-open", "size": 9, "color": _STATES["late to start"][1],
                                   "line": {"width": 2}}, customdata=late["told"],
                           hovertemplate="%{customdata}<extra></extra>")
    behind = rows[rows["late_days"].abs() > 0]
    if len(behind):
        at = behind[["finish", "finished"]].max(axis=1)
        at = at.where(~behind["state"].isin(["late to start", "late to finish"]) | (at >= now), now) + 1.3 * DAY
        figure.add_scatter(
            x=at, y=behind["place"], mode="text", textposition="middle right", textfont={"size": 11}, showlegend=False,
            text=[f"{number(abs(days))} {'day' if abs(days) == 1 else 'days'} {'late' if days > 0 else 'early'}"
                  for days in behind["late_days"]],
            hoverinfo="skip", cliponaxis=False)
    return ends


def _told(row: dict[Any, Any]) -> str:
    lines = [f"{row['block_id']}: {label(row['task'])}, {row['crew']}",
             f"planned {day(row['start'])} to {day(row['finish'])}"]
    if known(row["started"]):
        ended = f"ended {day(row['finished'])}" if known(row["finished"]) else "goes on"
        lines.append(f"begun {day(row['started'])}, {ended}")
    if known(row["late_days"]) and row["late_days"]:
        lines.append(f"{_working_days(abs(row['late_days']))} {'late' if row['late_days'] > 0 else 'early'}")
    return "<br>".join(map(escape, [*lines, _STATES[row["state"]][0]]))
