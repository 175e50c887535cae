"""One chart of the brief as vectors, to be read from the back row: thick lines, type of 12 points, names at the lines.

A drawing is built from the rows of a :class:`rehab.plan.brief.model.Chart` alone, which the screen draws too.
"""

from __future__ import annotations

from typing import Final

from reportlab.graphics.shapes import Drawing

from rehab.outputs.brief import ends, legend, strokes
from rehab.outputs.brief.axis import (
    Axis,
    axis_of,
    drawn,
    label_words,
    piled,
    range_at,
    ranged,
    value_text,
)
from rehab.outputs.brief.lines import lines, measured, one_line
from rehab.outputs.brief.look import Look, looks, lying
from rehab.outputs.brief.marks import FAINT, GREY, INK
from rehab.outputs.brief.plot import Plot
from rehab.outputs.brief.strokes import SIZE, string
from rehab.plan.brief.model import Chart, Series

_TITLE: Final = 14.0
_LEAST_PLOT: Final = 70.0


def chart_drawing(chart: Chart, width: float, height: float) -> Drawing:
    """The chart as vectors on ``width`` by ``height`` points, with its title, axes, and names at lines or a legend."""
    drawing = Drawing(width, height)
    top = height
    for line in lines(chart.title, width, _TITLE, True)[:2]:
        drawing.add(string(0, top - _TITLE, line, _TITLE, bold=True))
        top -= _TITLE * 1.25
    if not drawn(chart) or not chart.places:
        drawing.add(string(width / 2, height / 2, "There is nothing to draw.", SIZE, anchor="middle", colour=GREY))
        return drawing
    axis, styles, aside = axis_of(chart), looks(chart), lying(chart)
    names = _names(chart, width, top)
    if not names:
        top -= legend.draw(drawing, chart, styles, top - 4, width)
    top = _axis_titles(drawing, chart, top, aside)
    plot = _plot(chart, axis, width, top, aside, ends.room(names))
    _grid(drawing, plot, aside)
    _places(drawing, chart, plot)
    _draw_series(drawing, chart, styles, plot)
    if names:
        ends.draw(drawing, chart, styles, plot, names)
    return drawing


def height_for(chart: Chart, width: float, least: float, most: float) -> float:
    """The height that a chart wants in points: the least, or more for many names beside it or in its legend."""
    if not drawn(chart) or not chart.places:
        return 80.0
    keys = legend.height(chart, width)
    if not lying(chart):
        return min(most, max(least, 0.7 * least + keys)) if not _names(chart, width, least) else least
    bars = len([series for series in chart.series if not series.line]) if chart.kind == "bars" else 1
    slot = max(SIZE * 1.35, bars * SIZE * 1.15)
    return min(most, max(least, len(chart.places) * slot + 85.0 + keys))


def _names(chart: Chart, width: float, height: float) -> list[list[str]]:
    """Names at the ends of the lines, none where a legend is needed."""
    return ends.fitting(chart, width, height) if chart.kind == "lines" else []


def _axis_titles(drawing: Drawing, chart: Chart, top: float, aside: bool) -> float:
    """Both titles lie flat, which is read more easily than turned letters; returns the new upper edge."""
    upper, lower = (chart.x_title, chart.y_title) if aside else (chart.y_title, chart.x_title)
    upper = ". ".join(part for part in (upper, legend.remarks(chart)) if part)
    if upper:
        top -= SIZE * 1.5
        drawing.add(string(0, top + 4, one_line(upper, drawing.width, SIZE), SIZE, colour=GREY))
    if lower:
        drawing.add(string(drawing.width, 3, one_line(lower, drawing.width, SIZE), SIZE, colour=GREY, anchor="end"))
    return top - (SIZE if not aside else 4)


def _plot(chart: Chart, axis: Axis, width: float, top: float, aside: bool, tail: float) -> Plot:
    """Where the values are drawn: what is left beside the words round it."""
    foot = SIZE * 1.5 if (chart.y_title if aside else chart.x_title) else 0.0
    bottom = foot + SIZE * 1.6
    if aside:
        left = min(0.42 * width, max(measured(place, SIZE) for place in chart.places)) + 8
        right = max(0.5 * measured(axis.texts[-1], SIZE), _label_room(chart)) + 4
    else:
        left = max(measured(text, SIZE) for text in axis.texts) + 8
        right = max(tail, 10.0)
        bottom = foot + SIZE * 1.3 * _place_lines(chart, width - left - right) + 6
    return Plot(left, bottom, width - left - right, max(_LEAST_PLOT, top - bottom), axis, len(chart.places), aside)


def _label_room(chart: Chart) -> float:
    """Room to the right of bars on their side, for the values at their ends."""
    piles = [sum(value for value in values if value == value)
             for values in zip(*(series.values for series in chart.series), strict=True)]
    words = [value_text(pile, chart.unit) for pile in piles] if chart.kind == "stacked bars" else [
        label_words(series, place, chart.unit) for series in chart.series for place, value in enumerate(series.values)
        if value == value]
    return max((measured(text, SIZE) + 8 for text in words), default=0.0)


def _place_lines(chart: Chart, room: float) -> int:
    """How many lines the names under upright bars take, three at most."""
    slot = room / len(chart.places) - 4
    if all(len(place) <= 6 for place in chart.places):
        return 1
    return min(3, max(len(lines(place, max(slot, 12.0), SIZE)) for place in chart.places))


def _grid(drawing: Drawing, plot: Plot, aside: bool) -> None:
    for tick, words in zip(plot.axis.ticks, plot.axis.texts, strict=True):
        start, end = plot.at(0.0, tick), plot.at(plot.places, tick)
        colour, wide = (INK, 1.2) if tick == 0 else (FAINT, 0.7)
        drawing.add(strokes.line(start, end, colour, wide))
        if aside:
            drawing.add(string(start[0], plot.bottom - SIZE * 1.25, words, SIZE, anchor="middle"))
        else:
            drawing.add(string(plot.left - 6, start[1] - 0.35 * SIZE, words, SIZE, anchor="end"))


def _places(drawing: Drawing, chart: Chart, plot: Plot) -> None:
    """Names along the places, thinned where they would touch."""
    if plot.aside:
        size = min(SIZE, plot.height / plot.places * 0.92)
        for at, place in enumerate(chart.places):
            x, y = plot.at(at + 0.5, plot.axis.low)
            rows = _cut(lines(place, plot.left - 8, size), int(plot.height / plot.places / (size * 1.12)),
                        plot.left - 8, size)
            for row, words in enumerate(rows):
                drawing.add(string(plot.left - 6, y + (len(rows) / 2 - row - 0.85) * size * 1.12, words, size,
                                   anchor="end"))
        return
    slot = plot.width / plot.places
    short = all(len(place) <= 6 for place in chart.places)
    widest = max(measured(place, SIZE) for place in chart.places)
    every = next(step for step in (1, 2, 5, 10, 20, 50, 100, 1000) if step * slot >= widest + 6 or step == 1000) \
        if short else 1
    y = plot.bottom - SIZE * 1.15
    for at in range(0, plot.places, every):
        x, _ = plot.at(at + 0.5, plot.axis.low)
        written = [chart.places[at]] if short else _cut(
            lines(chart.places[at], max(slot - 4, 12.0), SIZE), 3, max(slot - 4, 12.0), SIZE)
        for row, words in enumerate(written):
            drawing.add(string(x, y - row * SIZE * 1.25, words, SIZE, anchor="middle"))


def _cut(rows: list[str], most: int, room: float, size: float) -> list[str]:
    """At most so many lines, the last with an ellipsis if there were more."""
    count = max(1, most)
    return rows if len(rows) <= count else [*rows[:count - 1], one_line(" ".join(rows[count - 1:]), room, size)]


def _draw_series(drawing: Drawing, chart: Chart, styles: list[Look], plot: Plot) -> None:
    begins = piled(chart)
    bars = [at for at, series in enumerate(chart.series) if chart.kind != "lines" and not series.line]
    for at, series in enumerate(chart.series):
        if at not in bars and ranged(series):
            strokes.band(drawing, plot, series, styles[at])
    for order, at in enumerate(bars):
        side = (0, 1) if chart.kind == "stacked bars" else (order, len(bars))
        labelled = len(bars) == len(chart.series) and not plot.aside
        _bars(drawing, plot, chart.series[at], styles[at], begins[at], side, 0.88 if labelled else 0.5)
    for at, series in enumerate(chart.series):
        if at not in bars:
            strokes.path(drawing, plot, series, styles[at], steps=chart.kind != "lines")
    _bar_labels(drawing, chart, bars, begins, plot)


def _bars(drawing: Drawing, plot: Plot, series: Series, look: Look, begins: tuple[float, ...],
          side: tuple[int, int], whisker: float) -> None:
    """The bars of a series, the ``side[0]``-th of ``side[1]`` beside each other, with their ranges.

    ``whisker`` is the share of a bar's width at which its range stands: beside the label, if there is one.
    """
    for at, value in enumerate(series.values):
        if value != value:
            continue
        first, last = plot.span(at, *side)
        if value:
            strokes.bar(drawing, plot.box(first, last, begins[at], begins[at] + value), look)
        reach = range_at(series, at)
        if reach:
            strokes.whisker(drawing, plot, first + whisker * (last - first), begins[at] + reach[0],
                            begins[at] + reach[1])


def _bar_labels(drawing: Drawing, chart: Chart, bars: list[int], begins: list[tuple[float, ...]],
                plot: Plot) -> None:
    """The value at the end of each bar, or of each pile, where all of them fit and no line crosses them.

    On bars on their side the range stands in brackets; on upright ones there is room for it on the axis alone.
    """
    negative = any(value < 0 for series in chart.series for value in series.values)
    if not bars or len(bars) < len(chart.series) or negative:
        return
    piles = chart.kind == "stacked bars"
    labels: list[tuple[tuple[float, float], float, str]] = []
    for order, at in enumerate(bars[-1:] if piles else bars):
        series = chart.series[at]
        for place in range(len(chart.places)):
            known = [value for bar in (bars if piles else (at,)) if (value := chart.series[bar].values[place]) == value]
            if not known:
                continue
            words, reach = value_text(sum(known), chart.unit), sum(known)
            if plot.aside and (held := range_at(series, place)):
                words = label_words(series, place, chart.unit) if not piles else words
                reach = max(reach, begins[at][place] + held[1])
            labels.append((plot.span(place, *((0, 1) if piles else (order, len(bars)))), reach, words))
    if chart.unit == "%" and all(words == "100 %" for *_, words in labels):
        return  # piles of shares all reach the end, which the axis says
    _write_labels(drawing, plot, labels, beside=any(ranged(series) for series in chart.series))


def _write_labels(drawing: Drawing, plot: Plot, labels: list[tuple[tuple[float, float], float, str]], *,
                  beside: bool) -> None:
    """Labels at the ends of bars; ``beside`` the ranges, on the left part of upright bars."""
    if not labels:
        return
    wide = (labels[0][0][1] - labels[0][0][0]) / plot.places * (plot.height if plot.aside else plot.width)
    room = wide / 0.94 if plot.aside else wide * (0.78 if beside else 1.0) + (0 if beside else 4)
    if max([SIZE * 0.8] if plot.aside else [measured(words, SIZE) for *_, words in labels]) > room:
        return
    for (first, last), value, words in labels:
        x, y = plot.at(first if beside and not plot.aside else (first + last) / 2, value)
        if plot.aside:
            drawing.add(string(x + 6, y - 0.35 * SIZE, words, SIZE))
        else:
            drawing.add(string(x, y + 4, words, SIZE, anchor="start" if beside else "middle"))
