"""Charts of the whole network over the years of a program, from the table ``by_year``."""

from __future__ import annotations

from typing import Final

import pandas as pd
import plotly.graph_objects as go

from rehab.base.tables import WORK
from rehab.outputs.charts.frame import Measure, dollars, empty, hatched, steady, titled, years
from rehab.outputs.palette import HATCH, LIMIT, STRATEGY, WITH_WORK, WITHOUT_WORK
from rehab.outputs.words import label, money, number

#: what :func:`condition_chart` can show, by the first part of its two columns
MEASURES: Final[dict[str, Measure]] = {
    "index": Measure("Mean condition index by area", "Index, 0 to 100", 1.0, (0.0, 100.0)),
    "sound": Measure("Area of sound panels", "Per cent of area", 100.0, (0.0, 100.0)),
    "full": Measure("Area that needs full depth", "Per cent of area", 100.0, None),
}


def program_chart(by_year: pd.DataFrame) -> go.Figure:
    """Money by strategy, stacked per year, with the budget as steps.  Dollars of each year."""
    title = "Money by strategy and year"
    if by_year.empty:
        return empty(title, "The program has no years.")
    figure = go.Figure()
    for strategy in WORK:
        figure.add_bar(
            x=by_year["year"], y=by_year[f"{strategy}_usd"], name=label(strategy),
            marker={"color": STRATEGY[strategy].colour, "pattern": hatched(HATCH[strategy], 7)},
            hovertemplate="$%{y:,.0f}",
        )
    figure.add_scatter(
        x=by_year["year"], y=by_year["budget_usd"], name="Budget", mode="lines+markers",
        line={"color": LIMIT, "width": 2.5, "dash": "dash", "shape": "hvh"},
        marker={"symbol": "line-ew-open", "size": 14}, hovertemplate="$%{y:,.0f}",
    )
    titled(figure, title, "Dollars of the year", barmode="stack")
    dollars(figure)
    if not by_year[["budget_usd", *(f"{name}_usd" for name in WORK)]].to_numpy().any():
        figure.update_yaxes(range=[0, 1e6])  # without any money an axis of its own would show thousandths
    years(figure, by_year["year"])
    steady(figure)
    return figure


def describe_program(by_year: pd.DataFrame) -> str:
    """The program chart in one sentence."""
    if by_year.empty:
        return "The program has no years."
    parts = ", ".join(f"{label(strategy)} {money(by_year[f'{strategy}_usd'].sum())}" for strategy in WORK)
    return (f"From {by_year['year'].min()} to {by_year['year'].max()} the program spends "
            f"{money(by_year['spent_usd'].sum())} of {money(by_year['budget_usd'].sum())}: {parts}.")


def condition_chart(by_year: pd.DataFrame, measure: str = "index") -> go.Figure:
    """A measure of :data:`MEASURES` by year: after the year's work, and without any work."""
    shown = MEASURES[measure]
    title = f"{shown.words}, with and without the program"
    if by_year.empty:
        return empty(title, "The program has no years.")
    figure = go.Figure()
    for column, name, colour, dash, symbol in (
        (f"{measure}_with", "With the program", WITH_WORK, "solid", "circle"),
        (f"{measure}_without", "No work", WITHOUT_WORK, "dash", "x"),
    ):
        figure.add_scatter(
            x=by_year["year"], y=by_year[column] * shown.factor, name=name, mode="lines+markers",
            line={"color": colour, "width": 3, "dash": dash}, marker={"symbol": symbol, "size": 8},
            hovertemplate="%{y:.1f}",
        )
    titled(figure, title, shown.axis)
    figure.update_yaxes(range=shown.limits, rangemode="tozero")
    years(figure, by_year["year"])
    steady(figure)
    return figure


def describe_condition(by_year: pd.DataFrame, measure: str = "index") -> str:
    """The condition chart in one sentence."""
    if by_year.empty:
        return "The program has no years."
    shown = MEASURES[measure]
    last = by_year.sort_values("year").iloc[-1]
    sign = " %" if shown.factor == 100 else ""
    done, undone = (number(last[f"{measure}_{which}"] * shown.factor) + sign for which in ("with", "without"))
    return f"{shown.words} in {last['year']:.0f}: {done} with the program, {undone} without work."


def grinding_chart(by_year: pd.DataFrame) -> go.Figure:
    """Area ground with the repairs, again on top of it, and beside them what would ask for grinding without work.

    Square yards a year; the money of the year is shown where the pointer rests.
    """
    title = "Area to grind by year"
    if by_year.empty:
        return empty(title, "The program has no years.")
    figure = go.Figure()
    bars = (("ground", "Ground with the repairs", WITH_WORK, "", "program"),
            ("reground", "Ground again, expected", WITH_WORK, "x", "program"),
            ("grind_need", "Asks for grinding, no work", WITHOUT_WORK, "/", "need"))
    for name, words, colour, hatch, place in bars:
        figure.add_bar(
            x=by_year["year"], y=by_year[f"{name}_sqyd"], name=words, offsetgroup=place,
            base=by_year["ground_sqyd"] if name == "reground" else None,
            marker={"color": colour, "pattern": hatched(hatch, 7)},
            customdata=by_year[[f"{name}_sqyd", f"{name}_usd"]].to_numpy(),
            hovertemplate="%{customdata[0]:,.0f} sq yd, $%{customdata[1]:,.0f}",
        )
    titled(figure, title, "Square yards", barmode="group")
    figure.update_yaxes(tickformat="~s", rangemode="tozero")
    years(figure, by_year["year"])
    steady(figure)
    return figure


def describe_grinding(by_year: pd.DataFrame) -> str:
    """The grinding chart in some sentences."""
    if by_year.empty:
        return "The program has no years."
    ground = by_year[by_year["ground_sqyd"] > 0]
    if ground.empty:
        text = "The program grinds no surface with its repairs."
    else:
        most = ground.sort_values(["ground_sqyd", "year"], ascending=[False, True]).iloc[0]
        text = (f"With its repairs the program grinds {number(ground['ground_sqyd'].sum(), 0)} sq yd "
                f"({money(ground['ground_usd'].sum())}), the most in {most['year']:.0f} "
                f"({number(most['ground_sqyd'], 0)} sq yd).")
    last = by_year.sort_values("year").iloc[-1]
    again, need = number(by_year["reground_sqyd"].sum(), 0), number(last["grind_need_sqyd"], 0)
    return (f"{text} Worn surfaces ground again are expected to come to {again} sq yd "
            f"({money(by_year['reground_usd'].sum())}). Without work, {need} sq yd ask for grinding in "
            f"{last['year']:.0f} ({money(last['grind_need_usd'])}).")
