"""Lines, bars, hatches, markers and ranges of a chart as shapes."""

from __future__ import annotations

from itertools import groupby
from math import cos, isfinite, pi, sin
from typing import Any, Final

from reportlab.graphics.shapes import Circle, Drawing, Line, Path, Polygon, PolyLine, Rect, String
from reportlab.lib.colors import HexColor

from rehab.outputs.brief.look import Look
from rehab.outputs.brief.marks import INK
from rehab.outputs.brief.plot import Plot
from rehab.outputs.drawings.lettering import font
from rehab.plan.brief.model import Series

SIZE: Final = 12.0  #: type of a chart in points
_WIDE: Final = 3.2
_DASH: Final = {"solid": None, "dash": [9, 5], "dot": [2.5, 4], "dashdot": [9, 4, 2.5, 4], "longdash": [16, 5]}
_STEP: Final = 6.5  #: points between the lines of a hatch

Point = tuple[float, float]
Frame = tuple[float, float, float, float]


def string(x: float, y: float, text: str, size: float, *, bold: bool = False, anchor: str = "start",
           colour: str = INK) -> String:
    """A line of text in a font that holds it."""
    return String(x, y, text, fontName=font(text, bold), fontSize=size, textAnchor=anchor, fillColor=HexColor(colour))


def line(start: Point, end: Point, colour: str, wide: float) -> Line:
    """A straight solid line."""
    return Line(*start, *end, strokeColor=HexColor(colour), strokeWidth=wide)


def bar(drawing: Drawing, frame: Frame, look: Look) -> None:
    """A bar of solid colour under a white hatch, which stays apart from others in black and white."""
    x, y, wide, high = frame
    drawing.add(Rect(x, y, wide, high, fillColor=HexColor(look.colour), strokeColor=HexColor("#ffffff"),
                     strokeWidth=0.6))
    if look.hatch:
        _hatch(drawing, frame, look.hatch)


def path(drawing: Drawing, plot: Plot, series: Series, look: Look, *, steps: bool) -> None:
    """A line with its markers, broken where a value is missing; in ``steps`` of a whole place over bars."""
    for part in _parts(series.values):
        if steps:
            points = [plot.at(at + side, value) for at, value in part for side in (0.0, 1.0)]
        else:
            points = [plot.at(at + 0.5, value) for at, value in part]
        if len(points) > 1:
            drawing.add(_polyline(points, look))
        if not steps:
            crowded = len(points) > 24
            for point in points[::5] if crowded else points:
                marker(drawing, point, look)


def sample(drawing: Drawing, x: float, y: float, look: Look, *, as_line: bool, marked: bool) -> None:
    """A piece of a line or of a bar for the legend, 26 points wide, round the height ``y``."""
    if not as_line:
        bar(drawing, (x, y - 5.5, 26.0, 11.0), look)
        return
    drawing.add(_polyline([(x, y), (x + 26.0, y)], look))
    if marked:
        marker(drawing, (x + 13.0, y), look)


def band(drawing: Drawing, plot: Plot, series: Series, look: Look) -> None:
    """The range of a line: shaded, with thin edges."""
    both = [low if isfinite(low) and isfinite(high) else float("nan")
            for low, high in zip(series.low, series.high, strict=True)]
    for part in _parts(both):
        lower = [plot.at(at + 0.5, value) for at, value in part]
        upper = [plot.at(at + 0.5, series.high[at]) for at, _ in part]
        around = [number for point in (*lower, *reversed(upper)) for number in point]
        drawing.add(Polygon(around, fillColor=HexColor(look.colour), fillOpacity=0.16, strokeColor=None))
        for edge in (lower, upper):
            if len(edge) > 1:
                drawing.add(PolyLine([number for point in edge for number in point],
                                     strokeColor=HexColor(look.colour), strokeWidth=0.8, strokeDashArray=[3, 2]))


def whisker(drawing: Drawing, plot: Plot, place: float, low: float, high: float) -> None:
    """The range of a bar: a thin line with two ends, white round it so that it shows on any colour."""
    start, end = plot.at(place, low), plot.at(place, high)
    caps = [((x - 5, y), (x + 5, y)) if not plot.aside else ((x, y - 4), (x, y + 4)) for x, y in (start, end)]
    for colour, wide in (("#ffffff", 3.6), (INK, 1.5)):
        for first, last in ((start, end), *caps):
            drawing.add(line(first, last, colour, wide))


def marker(drawing: Drawing, point: Point, look: Look) -> None:
    """The marker of a line, five points to each side at most, with a white edge."""
    x, y = point
    pen: dict[str, Any] = {"fillColor": HexColor(look.colour), "strokeColor": HexColor("#ffffff"), "strokeWidth": 0.8}
    if look.marker == "circle":
        drawing.add(Circle(x, y, 4.4, **pen))
    elif look.marker == "x":
        for lean in (1, -1):
            drawing.add(line((x - 4, y - 4 * lean), (x + 4, y + 4 * lean), look.colour, 2.2))
    else:
        sides, turn, reach = {"square": (4, pi / 4, 5.4), "diamond": (4, 0.0, 5.8),
                              "triangle-up": (3, pi / 2, 5.8)}[look.marker]
        corners = [(x + reach * cos(turn + 2 * pi * side / sides), y + reach * sin(turn + 2 * pi * side / sides))
                   for side in range(sides)]
        drawing.add(Polygon([number for corner in corners for number in corner], **pen))


def _polyline(points: list[Point], look: Look) -> PolyLine:
    return PolyLine([number for point in points for number in point], strokeColor=HexColor(look.colour),
                    strokeWidth=_WIDE, strokeDashArray=_DASH[look.dash], strokeLineJoin=1)


def _parts(values: tuple[float, ...] | list[float]) -> list[list[tuple[int, float]]]:
    """Runs of places that have a value."""
    groups = groupby(enumerate(values), lambda item: isfinite(item[1]))
    return [list(group) for there, group in groups if there]


def _hatch(drawing: Drawing, frame: Frame, kind: str) -> None:
    """White lines over a bar, cut to it."""
    x, y, wide, high = frame
    shape = Path(fillColor=None, strokeColor=HexColor("#ffffff"), strokeWidth=1.3)
    if kind == ".":
        dots = Path(fillColor=HexColor("#ffffff"), strokeColor=None)
        for left in _spread(x, x + wide, 5.0):
            for low in _spread(y, y + high, 5.0):
                _square(dots, left, low)
        drawing.add(dots)
        return
    segments: list[tuple[Point, Point]] = []
    if kind in "-+":
        segments += [((x, level), (x + wide, level)) for level in _spread(y, y + high, _STEP)]
    if kind in "|+":
        segments += [((left, y), (left, y + high)) for left in _spread(x, x + wide, _STEP)]
    if kind in "/x":
        segments += _diagonals(frame)
    if kind in "\\x":
        segments += [((2 * x + wide - x0, y0), (2 * x + wide - x1, y1)) for (x0, y0), (x1, y1) in _diagonals(frame)]
    for start, end in segments:
        shape.moveTo(*start)
        shape.lineTo(*end)
    if segments:
        drawing.add(shape)


def _square(dots: Path, x: float, y: float) -> None:
    dots.moveTo(x - 0.8, y - 0.8)
    for dx, dy in ((0.8, -0.8), (0.8, 0.8), (-0.8, 0.8)):
        dots.lineTo(x + dx, y + dy)
    dots.closePath()


def _spread(low: float, high: float, step: float) -> list[float]:
    """Places a step apart, as many as fit, none where there is no room."""
    count = int((high - low) / step)
    inset = (high - low - (count - 1) * step) / 2
    return [low + inset + step * number for number in range(count)]


def _diagonals(frame: Frame) -> list[tuple[Point, Point]]:
    """Lines that rise to the right, cut to the bar."""
    x, y, wide, high = frame
    found = []
    for total in _spread(-high, wide, _STEP * 2 ** 0.5):
        low, most = max(0.0, total), min(wide, total + high)
        if most > low:
            found.append(((x + low, y + low - total), (x + most, y + most - total)))
    return found
