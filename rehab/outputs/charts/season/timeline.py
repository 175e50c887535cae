"""One block through the season: its tasks under one another, concrete that gains strength, and what waits for it."""

from __future__ import annotations

from html import escape
from typing import Any, Final, NamedTuple

import pandas as pd
import plotly.graph_objects as go

from rehab.base.tables import TASKS
from rehab.outputs.charts.frame import empty, hatched, titled
from rehab.outputs.charts.season.cards import DAY, DAY_MS, INK, PAPER, opening
from rehab.outputs.palette import CURING, LIMIT, TASK
from rehab.outputs.visits import Visit, visits
from rehab.outputs.words import count, day, known, label

_CONCRETE: Final = ("patch", "place")
_AFTER_CONCRETE: Final = ("fill", "grind", "stripe")
_BEFORE: Final = ("mark", "notice")
_CURES: Final = "Concrete gains strength, closed"


class _Wait(NamedTuple):
    """A task begins so many calendar days after another work's last day."""

    row: str
    since: pd.Timestamp
    start: pd.Timestamp
    after: pd.Timestamp  #: the day after the task
    words: str


def block_timeline(tasks: pd.DataFrame, block_id: str) -> go.Figure:
    """The tasks of one block, first above; from the last day of placing to the opening the concrete is drawn curing.

    A diamond marks the day of opening, its line reaches from the soonest to the latest.  Dotted lines show how long
    filling, grinding and striping wait for the last concrete, and the first work for marking and notice.
    """
    title = f"Block {escape(block_id)} through the season"
    rows = _rows(tasks, block_id)
    if rows.empty:
        return empty(title, "This block has no task on the calendar.")
    names = dict(zip(rows["task_id"], _names(rows), strict=True))
    figure = go.Figure()
    for kind in [kind for kind in TASKS if kind in set(rows["task"])]:
        some = rows[rows["task"] == kind]
        colour, hatch = TASK[kind]
        figure.add_bar(
            orientation="h", y=[names[task] for task in some["task_id"]], base=some["start"], width=0.55,
            x=((some["finish"] - some["start"]).dt.days + 1) * DAY_MS, name=label(kind), showlegend=False,
            marker={"color": colour, "pattern": hatched(hatch, 6), "line": {"color": PAPER, "width": 0.5}},
            customdata=[_told(row) for row in some.to_dict("records")], hovertemplate="%{customdata}<extra></extra>")
    cured = [visit for visit in visits(rows, by_train=True) if known(visit.opens)]
    _curing(figure, cured, names)
    ends = [rows["finish"].max() + DAY, *(visit.opens_latest or visit.opens for visit in cured)]
    span = max(ends) - rows["start"].min()
    for wait in _waits(rows, names):
        _dotted(figure, wait, long=wait.start - wait.since > 0.35 * span)
    titled(figure, title, "", barmode="overlay", height=165 + 46 * len(rows))
    figure.update_layout(hovermode="closest", margin={"l": 190, "r": 30, "t": 50, "b": 85})
    figure.update_yaxes(type="category", categoryorder="array", categoryarray=list(names.values()),
                        autorange="reversed", automargin=True)
    # Room on the right for the words beside a bar.
    figure.update_xaxes(type="date", ticks="outside",
                        range=(rows["start"].min() - 0.02 * span, max(ends) + 0.27 * span))
    return figure


def describe_timeline(tasks: pd.DataFrame, block_id: str) -> str:
    """The same in one sentence."""
    rows = _rows(tasks, block_id)
    if rows.empty:
        return f"Block {block_id} has no task on the calendar."
    work = ", ".join(map(_in_words, visits(rows, by_train=True)))
    waits = "".join(f"; {label(name).lower()} {wait.words}" for name, wait in zip(
        rows["task"], _by_row(rows), strict=True) if wait is not None)
    return f"Block {block_id}: {work}{waits}."


def _in_words(visit: Visit) -> str:
    span = day(visit.start) + (f" to {day(visit.finish)}" if visit.finish > visit.start else "")
    opens = opening(visit.opens, visit.opens_soonest, visit.opens_latest)
    return f"{label(visit.kind).lower()} {span}" + (f", {opens}" if opens else "")


def _rows(tasks: pd.DataFrame, block_id: str) -> pd.DataFrame:
    held = tasks[tasks["block_id"] == block_id]
    return held.assign(place=held["task"].map(TASKS.index)).sort_values(
        ["start", "place", "task_id"], ignore_index=True).drop(columns="place")


def _names(rows: pd.DataFrame) -> list[str]:
    """A name per task; the second of a name gets its number, since a name is a place on the axis."""
    found: list[str] = []
    for task, crew in zip(rows["task"], rows["crew"], strict=True):
        name = f"{label(task)}<br><i>{escape(crew)}</i>"
        again = sum(known_name == name or known_name.startswith(f"{name} (") for known_name in found)
        found.append(f"{name} ({again + 1})" if again else name)
    return found


def _told(row: dict[Any, Any]) -> str:
    lines = [f"{label(str(row['task']))}: {row['crew']}",
             f"{day(row['start'])} to {day(row['finish'])}" + (", next season" if row["season"] == "next" else "")]
    return "<br>".join(map(escape, [*lines, *([str(row["cautions"])] if known(row["cautions"]) else [])]))


def _curing(figure: go.Figure, cured: list[Visit], names: dict[str, str]) -> None:
    if not cured:
        return
    places = [names[visit.task_id] for visit in cured]
    said = [escape(opening(visit.opens, visit.opens_soonest, visit.opens_latest)) for visit in cured]
    figure.add_bar(
        orientation="h", y=places, base=[visit.finish + DAY for visit in cured], width=0.3, name=_CURES,
        x=[max((visit.opens - visit.finish - DAY).days, 0) * DAY_MS for visit in cured if visit.opens is not None],
        marker={"color": CURING.colour, "pattern": hatched(".", 5)}, customdata=said,
        hovertemplate="%{customdata}<extra></extra>")
    drawn = False
    for visit, place in zip(cured, places, strict=True):
        if known(visit.opens_soonest) and known(visit.opens_latest):
            figure.add_scatter(
                x=[visit.opens_soonest, visit.opens_latest], y=[place, place], mode="lines+markers", hoverinfo="skip",
                line={"color": LIMIT, "width": 3}, marker={"symbol": "line-ns-open", "size": 14, "color": LIMIT,
                                                           "line": {"width": 3, "color": LIMIT}},
                name="Soonest to latest", legendgroup="range", showlegend=not drawn)
            drawn = True
    figure.add_scatter(
        x=[visit.opens for visit in cured], y=places, mode="markers",
        marker={"symbol": "diamond", "size": 11, "color": PAPER, "line": {"color": INK, "width": 1.5}},
        customdata=said, hovertemplate="%{customdata}<extra></extra>", name="Opens to traffic")
    for visit, place in zip(cured, places, strict=True):
        ends = [end for end in (visit.opens, visit.opens_latest) if end is not None]
        _beside(figure, max(ends), place, f"opens {day(visit.opens)}")


def _dotted(figure: go.Figure, wait: _Wait, *, long: bool) -> None:
    """The line of a wait, with its words over it, or beside the task if it is too short to bear them."""
    figure.add_scatter(
        x=[wait.since, wait.start], y=[wait.row, wait.row], mode="lines",
        line={"color": LIMIT, "width": 2, "dash": "dot"},
        name="Waits", legendgroup="waits", showlegend=not any(trace.legendgroup == "waits" for trace in figure.data),
        hoverinfo="skip")
    if long:
        figure.add_annotation(x=wait.since + (wait.start - wait.since) / 2, y=wait.row, text=wait.words, yshift=2,
                              yanchor="bottom", showarrow=False, font={"size": 11})
    else:
        _beside(figure, wait.after, wait.row, wait.words)


def _beside(figure: go.Figure, after: pd.Timestamp, row: str, words: str) -> None:
    figure.add_annotation(x=after, y=row, text=words, showarrow=False, xanchor="left", xshift=8, font={"size": 11})


def _waits(rows: pd.DataFrame, names: dict[str, str]) -> list[_Wait]:
    return [wait._replace(row=names[task]) for task, wait in zip(rows["task_id"], _by_row(rows), strict=True)
            if wait is not None]


def _by_row(rows: pd.DataFrame) -> list[_Wait | None]:
    """Per task, what it waited for, in calendar days; none for a task without a wait."""
    concrete = rows[rows["task"].isin(_CONCRETE)]
    told = rows[rows["task"].isin(_BEFORE)]
    work = rows[~rows["task"].isin(_BEFORE)]
    found: list[_Wait | None] = []
    for task_id, task, start, end in zip(rows["task_id"], rows["task"], rows["start"], rows["finish"], strict=True):
        before, words = None, ""
        if task in _AFTER_CONCRETE:
            before, words = concrete.loc[concrete["finish"] < start, "finish"].max(), "the last concrete"
        elif len(told) and len(work) and task_id == work["task_id"].iloc[0]:
            before, words = told.loc[told["finish"] < start, "finish"].max(), "marking and notice"
        if not known(before) or before is None:
            found.append(None)
        else:
            wait = f"{count((start - before).days, 'day')} after {words}"
            found.append(_Wait("", before + DAY, start, end + DAY, wait))
    return found
