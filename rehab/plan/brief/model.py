"""What a council brief is made of: pages of plain sentences, figures, one chart and one table each.

The pages know nothing of paper or screen: a PDF and a screen are drawn from the same rows, so that they cannot differ.
Everything that is shown is said here: a number is in its unit, with its year, and with its range where one is known.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal, NamedTuple

import pandas as pd

ChartKind = Literal["stacked bars", "bars", "lines"]


class Figure(NamedTuple):
    """One figure: what it is, the value as written with its unit, and when it holds or what its range is."""

    words: str
    value: str
    about: str = ""


class Series(NamedTuple):
    """One line or one set of bars; ``low`` and ``high`` are its range, as long as the values or empty.

    ``role`` names what is drawn, for its colour and hatch: a strategy, "limit", "with work", "without work", "need",
    "neutral", or empty for a place of its own on the scale.  A missing value is NaN.
    """

    name: str
    values: tuple[float, ...]
    role: str = ""
    low: tuple[float, ...] = ()
    high: tuple[float, ...] = ()
    line: bool = False  #: drawn as a line over the bars


class Chart(NamedTuple):
    """One chart: ``places`` are the years or names along x; ``unit`` is "$", "%", "points" or words of a unit.

    ``limits`` are the ends of the y axis, None where the data decide.  ``about`` says the chart in one sentence.
    """

    kind: ChartKind
    title: str
    places: tuple[str, ...]
    series: tuple[Series, ...]
    unit: str
    x_title: str
    y_title: str
    about: str
    limits: tuple[float, float] | None = None


class Grid(NamedTuple):
    """A table as it is read: heads, rows of texts as written, and which columns are flush right.

    ``widths`` are shares of the page's width, one a column; ``total`` is a last row, or empty.
    """

    title: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    right: frozenset[int] = frozenset()
    widths: tuple[float, ...] = ()
    total: tuple[str, ...] = ()
    empty: str = "Nothing to list."


@dataclass(frozen=True)
class Page:
    """One question and its answer, in the order in which it is read."""

    key: str
    title: str  #: the question, in plain words
    lead: str  #: the answer in one or two sentences
    figures: tuple[Figure, ...] = ()
    chart: Chart | None = None
    text: tuple[str, ...] = ()
    grids: tuple[Grid, ...] = ()
    notes: tuple[str, ...] = ()  #: small print: what the figures rest on


@dataclass(frozen=True)
class Brief:
    """The whole brief.  ``streets`` holds one row per block: street, from_street, to_street, district, year, work,
    cost_usd, reason, and block_id; year, work and cost are missing where no work is planned."""

    city: str
    title: str
    made: str  #: the date that it was made for, as written
    pages: tuple[Page, ...]
    districts: tuple[Page, ...]
    streets: pd.DataFrame
    words: tuple[tuple[str, str], ...]  #: trade words and what they mean
    appendix: tuple[Page, ...] = field(default=())
    street_note: str = ""
    first: tuple[str, ...] = ("condition", "next year", "scenarios", "need")  #: pages whose leads stand on the first
