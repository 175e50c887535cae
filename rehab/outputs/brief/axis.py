"""The value axis of a chart: its ends, its ticks, and how a value is written in its unit."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from math import floor, isfinite, log10
from typing import Final, NamedTuple

from rehab.plan.brief.model import Chart, Series

_STEPS: Final = (1.0, 2.0, 2.5, 5.0, 10.0)
_TICKS: Final = 5  #: about so many steps
_CLOSE: Final = 0.4  #: lines whose spread is less than this share of the highest value
_LARGE: Final = ((1e9, "B"), (1e6, "M"), (1e3, "k"))
_ALONE: Final = {"$": 1e6, "%": 100.0, "points": 100.0}  #: the end of an axis on which all is zero


class Axis(NamedTuple):
    """Ends of the axis and its ticks in the chart's unit, with the words of each tick."""

    low: float
    high: float
    ticks: tuple[float, ...]
    texts: tuple[str, ...]


def axis_of(chart: Chart) -> Axis:
    """The value axis of a chart: from zero, or below it where values are; limits that are given hold.

    Lines that differ by little beside what they stand at would all lie on each other: their axis begins higher, which
    :func:`begins_above_zero` is there to say.  Values outside of the limits widen them, for nothing that was counted
    may fall off the chart.
    """
    values = [0.0, *_values(chart)]
    low, high = min(values), max(values)
    held = values[1:]
    if chart.kind == "lines" and held and 0 < max(held) - min(held) < _CLOSE * max(held) and min(held) > 0:
        low = max(0.0, min(held) - 0.5 * (max(held) - min(held)))
    if chart.limits is not None:
        low, high = min(chart.limits[0], *values[1:]), max(chart.limits[1], *values[1:])
    if high <= low:
        high = low + _ALONE.get(chart.unit, 1.0)
    step = _step((high - low) / _TICKS)
    if chart.limits is None or low < chart.limits[0]:
        low = floor(low / step + 1e-9) * step
    if chart.limits is None or high > chart.limits[1]:
        high = -floor(-high / step + 1e-9) * step
    first = -floor(-low / step + 1e-9)
    ticks = tuple(step * number for number in range(first, floor(high / step + 1e-9) + 1))
    return Axis(low, high, ticks, tuple(tick_text(tick, chart.unit, step, max(abs(low), high)) for tick in ticks))


def begins_above_zero(axis: Axis) -> bool:
    """Whether the axis leaves out what lies between zero and its first tick, which has to be said beside it."""
    return axis.low > 0


def tick_text(value: float, unit: str, step: float, most: float) -> str:
    """A tick as written: '$0', '$2.5M', '40 %', '1,200'; all ticks of an axis in one size of unit."""
    size, sign = next(((size, sign) for size, sign in _LARGE if most >= size), (1.0, "")) if unit == "$" else (1.0, "")
    digits = next(digits for digits in range(10) if abs(round(step / size, digits) - step / size) < 1e-9 * step / size)
    number = f"{abs(value) / size:,.{digits}f}"
    if unit == "$":
        number = f"${number}{sign}" if value else "$0"
    elif unit == "%":
        number = f"{number} %"
    return f"-{number}" if value < 0 else number


def value_text(value: float, unit: str) -> str:
    """A value over a bar: three figures of money, whole numbers else, one decimal where it is below ten."""
    if unit == "$":
        size, sign = next(((size, sign) for size, sign in _LARGE if abs(value) >= 0.9995 * size), (1.0, ""))
        part = abs(value) / size
        digits = 0 if size == 1 or part >= 100 else 1
        number = f"{part:.{digits}f}"
        number = f"${number.removesuffix('.0')}{sign}"
    else:
        digits = 0 if abs(value) >= 10 else 1
        number = f"{abs(value):,.{digits}f}".removesuffix(".0") + (" %" if unit == "%" else "")
    return f"-{number}" if value < 0 and any(letter in "123456789" for letter in number) else number


def drawn(chart: Chart) -> bool:
    """Whether the chart holds any value."""
    return any(isfinite(value) for series in chart.series for value in series.values)


def ranged(series: Series) -> bool:
    """Whether a series holds a range at some place."""
    return any(isfinite(low) and isfinite(high) for low, high in zip(series.low, series.high, strict=True))


def range_at(series: Series, place: int) -> tuple[float, float] | None:
    """The range at a place, if it has one."""
    if place >= min(len(series.low), len(series.high)):
        return None
    low, high = series.low[place], series.high[place]
    return (low, high) if isfinite(low) and isfinite(high) else None


def label_words(series: Series, place: int, unit: str) -> str:
    """The value at a place, with its range in brackets: '$2.5M ($1.4M to $4M)'."""
    held = range_at(series, place)
    value = value_text(series.values[place], unit)
    return f"{value} ({value_text(held[0], unit)} to {value_text(held[1], unit)})" if held else value


def piled(chart: Chart) -> list[tuple[float, ...]]:
    """Where each series of a chart begins: on top of those before it in stacked bars, else at zero.

    A value below zero is piled downwards; a missing one adds nothing.
    """
    up, down = [0.0] * len(chart.places), [0.0] * len(chart.places)
    begins = []
    for series in chart.series:
        if chart.kind != "stacked bars" or series.line:
            begins.append((0.0,) * len(chart.places))
            continue
        begins.append(tuple(up[at] if value >= 0 else down[at] for at, value in enumerate(_filled(series.values))))
        for at, value in enumerate(_filled(series.values)):
            (up if value >= 0 else down)[at] += value
    return begins


def _values(chart: Chart) -> Iterator[float]:
    """All that the axis must reach."""
    for series, begins in zip(chart.series, piled(chart), strict=True):
        for ends in (series.values, series.low, series.high):
            yield from (begin + end for begin, end in zip(begins, ends, strict=False) if isfinite(end))


def _filled(values: Iterable[float]) -> list[float]:
    return [value if isfinite(value) else 0.0 for value in values]


def _step(wanted: float) -> float:
    power = 10.0 ** floor(log10(wanted))
    return next(step * power for step in _STEPS if step * power >= wanted * (1 - 1e-9))
