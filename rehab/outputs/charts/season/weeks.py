"""The weeks of the crews, to pin on the wall: crews down the side, a week's days along, week under week."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from html import escape
from textwrap import wrap
from typing import Any, Final, NamedTuple

import pandas as pd
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from rehab.base.tables import TASKS
from rehab.outputs.charts.frame import empty, hatched, titled
from rehab.outputs.charts.season.cards import (
    DAY,
    DAY_MS,
    INK,
    PAPER,
    Card,
    cards,
    cut,
    hover,
    lanes,
    street_of,
)
from rehab.outputs.palette import LIMIT, TASK, WITH_WORK
from rehab.outputs.visits import Closure, by_crew, openings, visits, work_days
from rehab.outputs.words import count, day, label

# Heights are in pixels and so is the axis that goes down; the width follows the screen.
_LINE: Final = 14
_TALL: Final = 24  #: of the bar that is not seen but holds a line: it takes some for a margin
_FOOT: Final = 9  #: the strip of colour and hatch under the words of a bar
_EDGE: Final = 5
_LEAST: Final = 26  #: height of a crew without work in the week
_GAP: Final = 52
_ROOM: Final = 18  #: characters of a line in the width of a day
_MARK: Final = 12  #: the same beside a mark, where words do not shrink
_WEEK: Final = 7 * DAY
_OPENS: Final = "Opens to traffic"
_RULE: Final = {"color": "rgba(130,137,143,0.55)", "width": 1}


class _Bar(NamedTuple):
    card: Card
    top: float
    words: list[str]


class _Panel(NamedTuple):
    """One week: bars, openings as day, place down and words; where the rows begin and end; their names."""

    monday: pd.Timestamp
    bars: list[_Bar]
    opening: list[tuple[pd.Timestamp, float, str]]
    edges: list[float]
    names: list[str]


def crew_weeks(tasks: pd.DataFrame, first_week: date, weeks: int = 4,
               streets: Mapping[str, str] | None = None) -> go.Figure:
    """Every crew with work in ``weeks`` weeks from the one that holds ``first_week``, a bar per visit to a block.

    A bar bears its block, its main work and the street, where ``streets`` names it by block; under them a strip of the
    work's colour and hatch.  Three blocks or more of one work on the same days share a bar that lists them.  The last
    row of a week marks the days on which blocks open.  Weekends are shaded; a visit is not drawn over a weekend at the
    end of a week if no task of the table begins or ends on such a day.
    """
    monday = _monday(first_week)
    title = f"Crews by week, {count(weeks, 'week')} from {day(monday)}"
    seen = [visit for visit in visits(tasks) if visit.start < monday + weeks * _WEEK and visit.finish >= monday]
    opened = [one for one in openings(tasks) if monday <= one.opens < monday + weeks * _WEEK]
    if not seen and not opened:
        return empty(title, "No crew works in these weeks.")
    crews, days = by_crew(seen), work_days(tasks)
    panels = []
    for week in range(weeks):
        start = monday + week * _WEEK
        rows = {crew: cards(of_crew, start, start + _WEEK - DAY, days) for crew, of_crew in crews.items()}
        panels.append(_panel(start, rows, [one for one in opened if start <= one.opens < start + _WEEK], streets))
    return _drawn(panels, title, streets)


def describe_weeks(tasks: pd.DataFrame, first_week: date, weeks: int = 4) -> str:
    """The weeks in one sentence: visits by crew, and the blocks that open."""
    monday = _monday(first_week)
    span = f"{count(weeks, 'week')} from {day(monday)}"
    seen = [visit for visit in visits(tasks) if visit.start < monday + weeks * _WEEK and visit.finish >= monday]
    opened = {one.block_id for one in openings(tasks) if monday <= one.opens < monday + weeks * _WEEK}
    if not seen and not opened:
        return f"{span}: no crew works."
    parts = [f"{crew} {count(len({visit.block_id for visit in of_crew}), 'block')}"
             for crew, of_crew in by_crew(seen).items()]
    return f"{span}: {', '.join(parts) or 'no crew works'}; {count(len(opened), 'block')} open to traffic."


def _monday(day_of_week: date) -> pd.Timestamp:
    stamp = pd.Timestamp(day_of_week).normalize()
    return stamp - pd.Timedelta(days=stamp.weekday())


def _panel(monday: pd.Timestamp, rows: dict[str, list[Card]], opened: list[Closure],
           streets: Mapping[str, str] | None) -> _Panel:
    bars: list[_Bar] = []
    edges = [0.0]
    for row in rows.values():
        words = [_words(card, streets) for card in row]
        lane = lanes(row)
        high = [max(_FOOT + 4 + _LINE * len(text) for text, own in zip(words, lane, strict=True) if own == at)
                for at in range(max(lane, default=-1) + 1)]
        tops = [edges[-1] + _EDGE + sum(height + 3 for height in high[:at]) for at in lane]
        bars += [_Bar(card, top, text) for card, top, text in zip(row, tops, words, strict=True)]
        edges.append(edges[-1] + max(_LEAST, 2 * _EDGE + sum(high) + 3 * max(len(high) - 1, 0)))
    opening, count_of = [], dict.fromkeys(range(7), 0)
    for one in sorted(opened, key=lambda one: (one.opens, one.block_id)):
        at = (one.opens - monday).days
        lines = _parted(one.block_id)
        middle = count_of[at] + len(lines) / 2
        opening.append((one.opens, edges[-1] + _EDGE + middle * (_LINE + 2), "<br>".join(map(escape, lines))))
        count_of[at] += len(lines)
    edges.append(edges[-1] + max(_LEAST, 2 * _EDGE + max(count_of.values()) * (_LINE + 2)))
    return _Panel(monday, bars, opening, edges, [*rows, _OPENS])


def _words(card: Card, streets: Mapping[str, str] | None) -> list[str]:
    """The lines of a bar, as HTML: block and work, then the street; or how many blocks, then their names."""
    room = _ROOM * card.days
    if len(card.visits) > 1:
        name = f"{len(card.visits)} blocks"
        below = wrap(", ".join(visit.block_id for visit in card.visits), room, break_on_hyphens=False)
    else:
        name = cut(card.visits[0].block_id, room)
        street = street_of(card.visits[0].block_id, streets)
        below = [", ".join(part for part in (street, "cont." if card.visits[0].start < card.first else "") if part)]
    work = label(card.kind)
    if len(name) + len(work) < room + 2:
        head = f"<b>{escape(name)}</b> {escape(work)}"
    else:
        head, below = f"<b>{escape(name)}</b>", [work, *below]
    return [head, *(escape(cut(text, room)) for text in below if text)]


def _drawn(panels: list[_Panel], title: str, streets: Mapping[str, str] | None) -> go.Figure:
    heights = [panel.edges[-1] for panel in panels]
    inner = sum(heights) + _GAP * (len(panels) - 1)
    figure = make_subplots(rows=len(panels), cols=1, row_heights=heights,
                           vertical_spacing=_GAP / inner if len(panels) > 1 else 0)
    shown: set[str] = set()
    for at, panel in enumerate(panels, start=1):
        _grid(figure, panel, at)
        for kind in sorted({bar.card.kind for bar in panel.bars}, key=TASKS.index):
            _bars(figure, [bar for bar in panel.bars if bar.card.kind == kind], kind, at, kind not in shown, streets)
            shown.add(kind)
        if panel.opening:
            _openings(figure, panel, at, _OPENS not in shown)
            shown.add(_OPENS)
    # All at once: the library goes through all shapes at every change of them.
    figure.layout.shapes = [shape for at, panel in enumerate(panels, start=1) for shape in _rules(panel, at)]
    titled(figure, title, "", barmode="overlay", height=round(inner + 215))
    figure.update_layout(hovermode="closest", margin={"l": 165, "r": 15, "t": 95, "b": 120},
                         legend={"traceorder": "grouped"})
    return figure


def _grid(figure: go.Figure, panel: _Panel, at: int) -> None:
    """The axes of a week: its Monday in the corner, a name per day."""
    days = [panel.monday + step * DAY for step in range(7)]
    figure.update_xaxes(
        type="date", range=(panel.monday, panel.monday + _WEEK), side="top", showgrid=False, zeroline=False,
        tickvals=[one + DAY / 2 for one in days], ticktext=[f"{one:%a} {one.day} {one:%b}" for one in days],
        ticks="", row=at, col=1)
    figure.update_yaxes(
        range=(panel.edges[-1], 0), showgrid=False, zeroline=False, automargin=True, ticks="",
        tickvals=[(top + foot) / 2 for top, foot in zip(panel.edges[:-1], panel.edges[1:], strict=True)],
        ticktext=[escape(name) for name in panel.names], row=at, col=1)
    side = figure.layout["yaxis" if at == 1 else f"yaxis{at}"].domain
    figure.add_annotation(text=f"Week of<br><b>{day(panel.monday)}</b>", xref="paper", yref="paper", x=0, y=side[1],
                          xanchor="right", yanchor="bottom", xshift=-8, yshift=2, showarrow=False, align="right")


def _rules(panel: _Panel, at: int) -> list[dict[str, Any]]:
    """The shapes of a week: the weekend, lines between crews and between days."""
    after, foot = panel.monday + _WEEK, panel.edges[-1]
    days = [panel.monday + step * DAY for step in range(7)]
    lines = [(panel.monday, edge, after, edge) for edge in panel.edges]
    lines += [(one, 0, one, foot) for one in [*days, after]]
    axes = {"xref": f"x{at}", "yref": f"y{at}", "layer": "below"}
    weekend = {"type": "rect", "x0": days[5], "y0": 0, "x1": after, "y1": foot, "fillcolor": LIMIT, "opacity": 0.22,
               "line": {"width": 0}, **axes}
    return [weekend, *({"type": "line", "x0": x0, "y0": y0, "x1": x1, "y1": y1, "line": _RULE, **axes}
                       for x0, y0, x1, y1 in lines)]


def _bars(figure: go.Figure, bars: list[_Bar], kind: str, at: int, legend: bool,
          streets: Mapping[str, str] | None) -> None:
    """A visit as a box of paper, which can be read in any theme and print, the strip below it, and its lines of words.

    Each line is the text of a bar of its own that is not seen: so it begins at the left and shrinks if it is too long.
    """
    colour, hatch = TASK[kind]
    inset = DAY * 0.02
    base = [bar.card.first + inset for bar in bars]
    long = [bar.card.days * DAY_MS - 2 * 0.02 * DAY_MS for bar in bars]
    high = [_LINE * len(bar.words) + 4 for bar in bars]
    told = [hover(bar.card, streets) for bar in bars]
    edge = {"color": colour, "width": 1.2}
    figure.add_bar(
        orientation="h", base=base, x=long, y=[bar.top + height / 2 for bar, height in zip(bars, high, strict=True)],
        width=high, marker={"color": PAPER, "line": edge}, customdata=told, name=label(kind), legendgroup=kind,
        hovertemplate="%{customdata}<extra></extra>", showlegend=False, row=at, col=1)
    lines = [(start, days, bar.top + 2 + (step + 0.5) * _LINE, text)
             for start, days, bar in zip(base, long, bars, strict=True) for step, text in enumerate(bar.words)]
    figure.add_bar(
        orientation="h", base=[start for start, *_ in lines], x=[days for _, days, *_ in lines], width=_TALL,
        y=[place for *_, place, _ in lines], text=[text for *_, text in lines], textposition="inside", textangle=0,
        insidetextanchor="start", constraintext="inside", insidetextfont={"color": INK, "size": 11},
        marker={"color": "rgba(0,0,0,0)", "line": {"width": 0}}, hoverinfo="skip", legendgroup=kind,
        name=f"{label(kind)}, words", showlegend=False, row=at, col=1)
    figure.add_bar(
        orientation="h", base=base, x=long, width=_FOOT,
        y=[bar.top + height + _FOOT / 2 for bar, height in zip(bars, high, strict=True)],
        marker={"color": colour, "pattern": hatched(hatch, 6), "line": edge},
        customdata=told, hovertemplate="%{customdata}<extra></extra>", name=label(kind), legendgroup=kind,
        showlegend=legend, row=at, col=1)


def _parted(name: str) -> list[str]:
    """A block's name in lines that fit beside a mark, parted after a hyphen or a blank where there is one."""
    lines, rest = [], name
    while len(rest) > _MARK:
        at = max(rest.rfind("-", 0, _MARK), rest.rfind(" ", 0, _MARK))
        at = at + 1 if at > 0 else _MARK
        lines.append(rest[:at].rstrip())
        rest = rest[at:]
    return [*lines, rest]


def _openings(figure: go.Figure, panel: _Panel, at: int, legend: bool) -> None:
    figure.add_scatter(
        x=[opens + DAY * 0.08 for opens, _, _ in panel.opening], y=[place for _, place, _ in panel.opening],
        text=[words for *_, words in panel.opening], mode="markers+text", textposition="middle right",
        textfont={"size": 11}, cliponaxis=False, hovertemplate="%{text} opens<extra></extra>",
        marker={"symbol": "triangle-up", "size": 10, "color": WITH_WORK, "line": {"color": INK, "width": 1}},
        name=_OPENS, legendgroup=_OPENS, showlegend=legend, row=at, col=1)
