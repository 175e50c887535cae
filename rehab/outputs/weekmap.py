"""A week on the map: which blocks are worked on, by whom, and which are closed to traffic."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from html import escape
from typing import Any, Final

import pandas as pd

from rehab.base.tables import TASKS
from rehab.outputs.maps import LegendRow, legend_line
from rehab.outputs.palette import CURING, THIN, WEEK, Stroke
from rehab.outputs.visits import MAIN, Closure, Visit, closures, visits
from rehab.outputs.words import count, day, known, label

_DAY: Final = pd.Timedelta(days=1)
_CURING: Final = "curing"
_IDLE: Final = ""
_WORDS: Final = {_CURING: "Closed, concrete gains strength", _IDLE: "No work this week"}


def week_layer(tasks: pd.DataFrame, lines: Mapping[str, dict[str, Any]], monday: date,
               streets: Mapping[str, str] | None = None) -> dict[str, Any]:
    """The blocks of ``lines`` as a GeoJSON dictionary for :func:`rehab.outputs.maps.draw` and ``layer``.

    ``lines``: from :func:`rehab.outputs.maps.lines`; ``monday``: any day of the week; ``streets``: street by block.
    A block is drawn by its main work of the week, or as closed if its concrete still gains strength, else thin.  Words
    of tables are escaped, since the viewer takes HTML.
    """
    first = _monday(monday)
    at_work, closed = _week(tasks, first)
    kinds = _kinds(at_work, closed)
    styles = {kind: _style(stroke) for kind, stroke in {**WEEK, _CURING: CURING, _IDLE: THIN}.items()}
    order = sorted(lines, key=lambda block: (block in kinds, kinds.get(block) != _CURING, block))
    return {"type": "FeatureCollection", "features": [
        {"type": "Feature", "geometry": lines[block], "properties": {
            "id": block, "style": styles[kinds.get(block, _IDLE)],
            "tip": _tip(block, (streets or {}).get(block), at_work.get(block, []), closed.get(block, []))}}
        for block in order]}


def week_legend(tasks: pd.DataFrame, monday: date) -> list[LegendRow]:
    """The rows of the legend: the works of the week that holds ``monday``, closed blocks, and the others."""
    kinds = set(_kinds(*_week(tasks, _monday(monday))).values())
    rows = [(label(kind), WEEK[kind]) for kind in TASKS if kind in kinds]
    rows += [(_WORDS[_CURING], CURING)] if _CURING in kinds else []
    return [LegendRow(words, stroke.colour, stroke.dash, stroke.width)
            for words, stroke in [*rows, (_WORDS[_IDLE], THIN)]]


def week_legend_html(tasks: pd.DataFrame, monday: date) -> str:
    """:func:`week_legend` as one line of HTML."""
    return legend_line(week_legend(tasks, monday))


def describe_week(tasks: pd.DataFrame, monday: date) -> str:
    """The map of a week in one sentence."""
    first = _monday(monday)
    at_work, closed = _week(tasks, first)
    kinds = _kinds(at_work, closed)
    parts = [f"{label(kind).lower()} {size:,}" for kind in TASKS
             if (size := sum(own == kind for own in kinds.values()))]
    return (f"Week of {day(first)}: work on {count(len(at_work), 'block')}"
            f"{' (' + ', '.join(parts) + ')' if parts else ''}; "
            f"{count(len(closed), 'block')} closed on one day or more.")


def closed_on(tasks: pd.DataFrame, on: date) -> list[str]:
    """The blocks closed to traffic on a day: from the first day of work that closes them to the eve of opening."""
    stamp = pd.Timestamp(on).normalize()
    return sorted({one.block_id for one in closures(tasks) if one.first_day <= stamp < one.opens})


def _monday(of_week: date) -> pd.Timestamp:
    stamp = pd.Timestamp(of_week).normalize()
    return stamp - stamp.weekday() * _DAY


def _week(tasks: pd.DataFrame, first: pd.Timestamp) -> tuple[dict[str, list[Visit]], dict[str, list[Closure]]]:
    """By block, the visits and the closures that hold on a day of the week."""
    after = first + 7 * _DAY
    at_work: dict[str, list[Visit]] = {}
    closed: dict[str, list[Closure]] = {}
    for visit in visits(tasks):
        if visit.start < after and visit.finish >= first:
            at_work.setdefault(visit.block_id, []).append(visit)
    for one in closures(tasks):
        if one.first_day < after and one.opens > first:
            closed.setdefault(one.block_id, []).append(one)
    return at_work, closed


def _kinds(at_work: dict[str, list[Visit]], closed: dict[str, list[Closure]]) -> dict[str, str]:
    """What each block is drawn as; blocks that are drawn thin are not in it."""
    main = {block: min((visit.kind for visit in of_block), key=MAIN.index) for block, of_block in at_work.items()}
    return {**dict.fromkeys(closed, _CURING), **main}


def _tip(block: str, street: object, at_work: list[Visit], closed: list[Closure]) -> str:
    parts = [f"{street} ({block})" if known(street) else f"Block {block}"]
    for visit in at_work:
        span = day(visit.start) + (f" to {day(visit.finish)}" if visit.finish > visit.start else "")
        parts.append(f"{', '.join(label(kind) for kind in visit.kinds)}: {span}, {visit.crew}")
    for one in closed:
        parts.append(f"Closed from {day(one.first_day)}, opens {day(one.opens)}")
    if not closed:
        parts.append("Open to traffic" if at_work else f"{_WORDS[_IDLE]}, open to traffic")
    return "<br>".join(escape(part) for part in parts)


def _style(stroke: Stroke) -> dict[str, Any]:
    style: dict[str, Any] = {"color": stroke.colour, "weight": stroke.width, "opacity": 0.95}
    return {**style, "dashArray": stroke.dash, "lineCap": "butt"} if stroke.dash else style
