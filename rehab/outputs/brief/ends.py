"""Names at the ends of lines, so that no legend has to be matched by eye, where all of them fit."""

from __future__ import annotations

from typing import Final

from reportlab.graphics.shapes import Drawing

from rehab.outputs.brief import strokes
from rehab.outputs.brief.axis import value_text
from rehab.outputs.brief.lines import lines, measured
from rehab.outputs.brief.look import Look
from rehab.outputs.brief.plot import Plot
from rehab.outputs.brief.strokes import SIZE, string
from rehab.plan.brief.model import Chart, Series

_SHARE, _LINES, _GAP = 0.30, 3, 10.0
_ROW: Final = SIZE * 1.12


def fitting(chart: Chart, width: float, height: float) -> list[list[str]]:
    """The lines of each series' name with its last value, or none if they do not fit beside the plot."""
    found = []
    for series in chart.series:
        at = _last(series)
        if at is None:
            return []
        value = value_text(series.values[at], chart.unit)
        name = series.name if at == len(chart.places) - 1 else f"{series.name}, {chart.places[at]}"
        found.append([*lines(name, _SHARE * width, SIZE), value])
    tall = sum(len(name) for name in found) * _ROW + 4.0 * len(found)
    fits = tall <= 0.72 * height and all(len(name) <= _LINES + 1 for name in found)
    return found if fits else []


def room(names: list[list[str]]) -> float:
    """Width of the names in points, zero where there are none."""
    return max((measured(line, SIZE, True) for name in names for line in name), default=-_GAP) + _GAP


def draw(drawing: Drawing, chart: Chart, styles: list[Look], plot: Plot, names: list[list[str]]) -> None:
    """Write the names from the top down in the order of the lines' ends, apart from each other."""
    order = sorted(range(len(names)), key=lambda at: -_end(chart.series[at], plot)[1])
    wanted = [_end(chart.series[at], plot)[1] for at in order]
    heights = [len(names[at]) * _ROW + 4.0 for at in order]
    right = plot.left + plot.width
    for at, (_, y), middle in zip(order, (_end(chart.series[at], plot) for at in order),
                                  _apart(wanted, heights, plot.bottom, plot.bottom + plot.height), strict=True):
        x = _end(chart.series[at], plot)[0]
        if abs(middle - y) > 5 or x < right - plot.width / plot.places:
            drawing.add(strokes.line((x + 6, y), (right + 3, middle), styles[at].colour, 1.0))
        top = middle + len(names[at]) * _ROW / 2
        for row, words in enumerate(names[at]):
            last = row == len(names[at]) - 1
            drawing.add(string(right + 6, top - _ROW * (row + 0.8), words, SIZE, bold=last))


def _last(series: Series) -> int | None:
    return max((at for at, value in enumerate(series.values) if value == value), default=None)


def _end(series: Series, plot: Plot) -> tuple[float, float]:
    at = _last(series) or 0
    return plot.at(at + 0.5, series.values[at])


def _apart(wanted: list[float], heights: list[float], low: float, high: float) -> list[float]:
    """Middles of the names, as near to where they are wanted as they can be without touching, from the top down."""
    middles: list[float] = []
    edge = high + heights[0] / 2 if heights else high
    for want, tall in zip(wanted, heights, strict=True):
        middle = min(want, edge - tall / 2)
        middles.append(middle)
        edge = middle - tall / 2
    floor = low - 4.0
    for at in range(len(middles) - 1, -1, -1):
        middles[at] = max(middles[at], floor + heights[at] / 2)
        floor = middles[at] + heights[at] / 2
    return middles
