"""The council brief: what a budget buys, in plain words, as pages that a PDF and a screen draw.

Each page answers one question; every number on it comes from the tables of a plan, of the plans beside it, or of the
assumptions.  Nothing here draws.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date
from typing import Final

import pandas as pd

from rehab.plan.brief import (
    appendix,
    before,
    choice,
    condition,
    districts,
    listing,
    money,
    risks,
    say,
    sides,
    streets,
    waits,
)
from rehab.plan.brief.facts import Facts, backlog
from rehab.plan.brief.model import Brief, Page
from rehab.plan.brief.sides import decide, scenarios
from rehab.plan.brief.words import WORDS
from rehab.plan.model import Plan
from rehab.steps.season import Season

__all__ = ["backlog", "decide", "make", "scenarios"]

_PUBLISHED: Final = ("block_id", "year", "strategy", "cost_usd")
Watch = Callable[[float, str], None]


def make(plan: Plan, *, city: str, made: date, others: Mapping[str, Plan] | None = None,
         chances: pd.DataFrame | None = None, last_year: pd.DataFrame | None = None, season: Season | None = None,
         watch: Watch | None = None) -> Brief:
    """The brief of a plan.

    ``others``: plans of other scenarios by name, as :func:`decide` makes them.  ``chances``: the table of that name.
    ``last_year``: the published program that held the year before the first, a table with block_id, year, strategy and
    cost_usd.  ``season``: the first year on the calendar.  ``watch`` is told the share that is done, 0 to 1, and what
    comes next.  Raises :class:`ValueError` for a plan of no block, for a plan beside it of other years, and for a
    published program that lacks a column.
    """
    if plan.prepared.network.empty:
        raise ValueError("there is no block to tell of: the plan holds none")
    others = others or {}
    for name, one in others.items():
        if one.scenario.years != plan.scenario.years:
            raise ValueError(f"the scenario '{name}' has the years {say.span(one.scenario.years)}, the plan "
                             f"{say.span(plan.scenario.years)}: plans beside it need the same years")
    if last_year is not None:
        lacking = [name for name in _PUBLISHED if name not in last_year.columns]
        if lacking:
            raise ValueError(f"the published program lacks {say.listed(lacking)}: give {say.listed(_PUBLISHED)}")
    facts = Facts(plan, city, made, others, chances, last_year, season)
    told = watch or (lambda _share, _what: None)
    told(0.0, "the list of streets")
    listed = streets.table(facts)
    parts: tuple[tuple[str, Callable[[], Page]], ...] = (
        ("the condition", lambda: condition.page(facts)), ("last year", lambda: before.page(facts)),
        ("next year", lambda: listing.next_year(facts, listed)), ("the next years", lambda: listing.five_years(facts)),
        ("the scenarios", lambda: sides.page(facts)), ("the cost of waiting", lambda: waits.page(facts)),
        ("money and need", lambda: money.need(facts)), ("prices", lambda: money.prices(facts)),
        ("risks", lambda: risks.page(facts)), ("the choice", lambda: choice.page(facts)),
        ("what it rests on", lambda: choice.basis(facts)))
    pages = []
    for at, (what, write) in enumerate(parts, 1):
        told(at / (len(parts) + 3), what)
        pages.append(write())
    told(1 - 2 / (len(parts) + 3), "the districts")
    by_district = districts.pages(facts, listed)
    told(1 - 1 / (len(parts) + 3), "the appendix")
    brief = Brief(city, f"Concrete streets of {city}: what the money buys, {say.span(facts.years)}", say.day(made),
                  tuple(pages), by_district, listed, WORDS, appendix.pages(facts), streets.note(facts))
    told(1.0, "done")
    return brief
