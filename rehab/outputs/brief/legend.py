"""The legend of a chart: pieces of its bars and lines with their names, in as many rows as they need."""

from __future__ import annotations

from typing import Final

from reportlab.graphics.shapes import Drawing

from rehab.outputs.brief import strokes
from rehab.outputs.brief.axis import axis_of, begins_above_zero, ranged
from rehab.outputs.brief.lines import measured, one_line
from rehab.outputs.brief.look import Look
from rehab.outputs.brief.strokes import SIZE, string
from rehab.plan.brief.model import Chart

_SAMPLE, _GAP, _ROW = 32.0, 14.0, SIZE * 1.45
RANGE: Final = {True: "thin lines: the range from low to high", False: "shaded: the range from low to high"}


def draw(drawing: Drawing, chart: Chart, styles: list[Look], top: float, width: float) -> float:
    """Draw the legend under ``top``; returns its height, zero for one series without a name to tell apart."""
    rows = _rows(chart, width, top)
    for row, items in enumerate(rows):
        y = top - _ROW * (row + 0.55)
        for at, x, words in items:
            as_line = chart.kind == "lines" or chart.series[at].line
            strokes.sample(drawing, x, y, styles[at], as_line=as_line, marked=chart.kind == "lines")
            drawing.add(string(x + _SAMPLE, y - 0.35 * SIZE, words, SIZE))
    return _ROW * len(rows) + (4.0 if rows else 0.0)


def remarks(chart: Chart) -> str:
    """What has to be known to read the chart: what is drawn round the values, and an axis that leaves out zero."""
    axis = axis_of(chart)
    said = [range_words(chart)] + ([f"the axis begins at {axis.texts[0]}"] if begins_above_zero(axis) else [])
    return ". ".join(words[:1].upper() + words[1:] for words in said if words)


def range_words(chart: Chart) -> str:
    """What is drawn round the values, or nothing where no series has a range."""
    bars = [ranged(series) for series in chart.series if chart.kind != "lines" and not series.line]
    lines = [ranged(series) for series in chart.series if chart.kind == "lines" or series.line]
    return "; ".join(RANGE[kind] for kind, there in ((True, any(bars)), (False, any(lines))) if there)


def height(chart: Chart, width: float, most: float = 1e9) -> float:
    """Height of the legend in points."""
    return _ROW * len(_rows(chart, width, most))


def _rows(chart: Chart, width: float, height: float) -> list[list[tuple[int, float, str]]]:
    """Items as (series, left edge, name), row by row; a lone series has none, its title says what it is.

    Names are cut only where they would leave less than half of the height to the chart.
    """
    if len(chart.series) < 2:
        return []
    for columns in (1, 2, 3):
        rows = _flowed(chart, width, columns)
        if _ROW * len(rows) <= 0.5 * height:
            break
    return rows


def _flowed(chart: Chart, width: float, columns: int) -> list[list[tuple[int, float, str]]]:
    rows: list[list[tuple[int, float, str]]] = [[]]
    x = 0.0
    most = (width - _GAP * (columns - 1)) / columns - _SAMPLE - 0.1
    for at, series in enumerate(chart.series):
        words = one_line(series.name, most, SIZE)
        wide = _SAMPLE + measured(words, SIZE)
        if rows[-1] and x + wide > width:
            rows.append([])
            x = 0.0
        rows[-1].append((at, x, words))
        x += wide + _GAP
    return rows
