"""The pages on money: what there is against what is needed, and how prices have risen."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from rehab.base.money import escalation_factor
from rehab.plan.brief import say
from rehab.plan.brief.facts import Facts, between
from rehab.plan.brief.model import Chart, Figure, Grid, Page, Series

_RECENT_YR: Final = 5  #: the last years whose rise is told beside that of the whole series
BACKLOG_NOTE: Final = (
    "Left undone (the backlog) in a year: what the rules call for, at the condition of that year and its prices, on "
    "all blocks without any work in the program up to and including that year. A block that was worked on counts no "
    "more, though it wears again.")


def need(facts: Facts) -> Page:
    """The money there is beside the work that is needed and what is left undone."""
    start, last = facts.start, facts.years[-1]
    year, left = facts.plan.by_year, facts.backlog
    needed, budget = float(year["need_usd"].iloc[0]), facts.plan.scenario.money_usd
    undone, without = float(left["backlog_usd"].iloc[-1]), float(year["need_usd"].iloc[-1])
    real = undone / float(escalation_factor(_rate(facts), len(facts.years) - 1))
    money = f"the budget of that year is {say.about(budget[0])}" if budget[0] > 0 else "there is no money that year"
    lead = f"At the start of {start} the rules call for {say.undone(needed)}; {money}."
    if len(facts.years) > 1:
        prices = f" ({say.about(real)} in prices of {start})" if real >= 0.5 else ""
        lead += (f" With the program {say.undone(undone)} is left undone at the end of {last}{prices}; without any "
                 f"work it would be {say.about(without)}.")
    figures = [Figure("Work needed", say.about(needed), f"start of {start}, likely cost{_range(facts)}"),
               Figure("Budget", say.about(float(sum(budget))), f"{say.span(facts.years)}, dollars of each year"),
               Figure("Left undone", say.about(undone), f"end of {last}, dollars of {last}"),
               Figure("Left undone", say.count(int(left["blocks"].iloc[-1])), f"end of {last}")]
    if len(facts.years) > 1:
        figures.insert(3, Figure("The same without the rise of prices", say.about(real), f"end of {last}, in prices "
                                                                                         f"of {start}"))
    text = []
    if budget[0] > 0 and needed > 0:
        times = needed / budget[0]
        text.append(f"The work needed at the start of {start} is {say.number(times)} times the budget of that year."
                    if times > 1 else f"The budget of {start} is no less than the work needed at its start.")
    if needed > 0 and len(facts.years) > 1:
        text.append(_direction(needed, real, start, len(facts.works) > 0))
    return Page("need", "Is the money enough for what is "
                        "needed?", lead, tuple(figures), _need_chart(facts), tuple(text),
                (_need_grid(facts),), (
                    BACKLOG_NOTE, "Needed without any work: what the rules call for on all blocks at the condition of "
                    "the year if nothing was done before."))


def _range(facts: Facts) -> str:
    return between(facts.needed["low"], facts.needed["high"]) if facts.needed["likely"] > 0 else ""


def _direction(needed: float, real: float, start: int, works: bool) -> str:
    if real < 0.5:
        return "By the end of the program nothing is left undone."
    if real < 0.995 * needed:
        return f"In prices of {start}, the work left undone shrinks by {say.share(1 - real / needed)}."
    if real > 1.005 * needed:
        why = "the streets wear faster than this money mends them" if works else "the streets wear, and no work is done"
        return f"In prices of {start}, the work left undone grows by {say.share(real / needed - 1)}: {why}."
    return f"In prices of {start}, the work left undone stays what it is."


def _rate(facts: Facts) -> float:
    return facts.prepared.assumptions.number("economics", "escalation")


def _need_chart(facts: Facts) -> Chart:
    year, left = facts.plan.by_year, facts.backlog
    return Chart("bars", "Work left undone, and the budget", tuple(str(one) for one in facts.years), (
        Series("Left undone with the program", tuple(left["backlog_usd"].tolist()), "need"),
        Series("Needed without any work", tuple(year["need_usd"].tolist()), "without work", line=True),
        Series("Budget", facts.plan.scenario.money_usd, "limit", line=True)), "$", "Year",
        "Dollars of the year", "Likely cost of the work that the rules call for and the program has not done, what "
        "would be needed without any work, and the budget of each year.")


def _need_grid(facts: Facts) -> Grid:
    year, left = facts.plan.by_year, facts.backlog
    rows = tuple((str(one), say.whole(usd), say.whole(spent), say.whole(needed), say.whole(undone), f"{blocks:,}")
                 for one, usd, spent, needed, undone, blocks in zip(
                     facts.years, facts.plan.scenario.money_usd, year["spent_usd"], year["need_usd"],
                     left["backlog_usd"], left["blocks"], strict=True))
    return Grid("Money and need by year, dollars of the year",
                ("Year", "Budget", "Planned", "Needed without any work", "Left undone", "Blocks left undone"),
                rows, frozenset(range(1, 6)), (0.1, 0.17, 0.17, 0.22, 0.19, 0.15))


def prices(facts: Facts) -> Page:
    """How the prices of road building have risen, what the plan assumes, and what the list would cost at that trend."""
    used = facts.prepared.assumptions
    years = by_year(used.table("cost_index")["value"])
    assumed, base = _rate(facts), int(used.number("economics", "price_year"))
    rates = {"as assumed": assumed, **trends(years)}
    lead = f"The plan lets prices rise by {_percent(assumed)} a year from {base} on."
    if len(years) > 1:
        first, last = int(years.index[0]), int(years.index[-1])
        lead += (f" By the index of highway construction they rose by {_percent(_grown(years, first, last))} a year "
                 f"from {first} to {last}: what cost $100 then cost {say.whole(100 * years.iloc[-1] / years.iloc[0])}.")
    works = facts.works
    total = float(works["cost_usd"].sum())
    figures = [Figure("Rise assumed", f"{_percent(assumed)} a year", f"from {base} on")]
    figures += [Figure("Rise by the index", f"{_percent(rate)} a year", words) for words, rate in trends(years).items()]
    figures += [Figure(f"The program at {_percent(rate)} a "
                       "year", say.about(float(_at(works, rate, assumed, base).sum())),
                       f"{say.span(facts.years)}, if prices rise as {words}") for words, rate in rates.items()
                if words != "as assumed" and total > 0]
    return Page("prices", "How fast do prices rise?", lead, tuple(figures), _price_chart(years),
                _price_text(facts, years, rates, base), (_price_grid(facts, rates, base),),
                (f"The index: {_source(facts)}. Each year is the mean of its quarters; only whole years are taken. The "
                 f"unit prices are those of {base}. Rates are compound: a rise on the rise before.",))


def by_year(quarters: pd.Series) -> pd.Series:
    """An index by whole years from one by quarters, '2003Q1' and so on."""
    values = pd.to_numeric(quarters)
    of = pd.Index(values.index.astype(str).str[:4].astype(int), name="year")
    grouped = values.groupby(of.to_numpy())
    return grouped.mean()[grouped.size() == 4]


def trends(years: pd.Series) -> dict[str, float]:
    """The compound rise per year of an index: over all its years, and over the last ones where it is longer."""
    if len(years) < 2:
        return {}
    first, last = int(years.index[0]), int(years.index[-1])
    found = {f"from {first} to {last}": _grown(years, first, last)}
    recent = last - _RECENT_YR
    if recent > first and recent in years.index:
        found[f"from {recent} to {last}"] = _grown(years, recent, last)
    return found


def _grown(years: pd.Series, first: int, last: int) -> float:
    return float((years.loc[last] / years.loc[first]) ** (1 / (last - first)) - 1)


def _at(works: pd.DataFrame, rate: float, assumed: float, base: int) -> pd.Series:
    """The cost of works if prices rose from the year of the prices by another rate than was assumed."""
    ahead = works["year"].to_numpy(float) - base
    factor = np.asarray(escalation_factor(rate, ahead)) / np.asarray(escalation_factor(assumed, ahead))
    return works["cost_usd"] * factor


def _percent(rate: float) -> str:
    return f"{say.number(100 * rate)} %"


def _source(facts: Facts) -> str:
    table = facts.prepared.assumptions.table("cost_index")
    return facts.prepared.assumptions.citation("cost_index", str(table.index[0])) if len(table) else "none is held"


def _price_chart(years: pd.Series) -> Chart | None:
    if len(years) < 2:
        return None
    first = int(years.index[0])
    return Chart("lines", f"Prices of highway construction, {first} = 100", tuple(str(year) for year in years.index), (
        Series("Price index", tuple((100 * years / years.iloc[0]).tolist()), "need", line=True),), "points", "Year",
        f"Index, {first} = 100", f"What highway construction cost in each year if it cost 100 in {first}.")


def _price_text(facts: Facts, years: pd.Series, rates: dict[str, float], base: int) -> tuple[str, ...]:
    said = []
    assumed = rates["as assumed"]
    last = int(years.index[-1]) if len(years) else base
    if base in years.index and last > base:
        said.append(f"From {base}, the year of the unit prices, to {last} the index rose by "
                    f"{_percent(_total(years, base))}; the plan's prices rise by "
                    f"{_percent((1 + assumed) ** (last - base) - 1)} over these years.")
    planned, budget = float(facts.works["cost_usd"].sum()), float(sum(facts.plan.scenario.money_usd))
    for words, rate in rates.items():
        usd = float(_at(facts.works, rate, assumed, base).sum())
        if planned > 0 and abs(usd - planned) >= 0.005 * planned:
            beside = f", {say.about(usd - budget)} more than the budget" if usd > budget else \
                ", and the budget pays for it"
            said.append(f"If prices rise as they did {words}, the same list costs {say.about(usd)} by "
                        f"{facts.years[-1]}{beside}.")
    return tuple(said)


def _total(years: pd.Series, base: int) -> float:
    return float(years.iloc[-1] / years.loc[base] - 1)


def _price_grid(facts: Facts, rates: dict[str, float], base: int) -> Grid:
    works, assumed = facts.works, rates["as assumed"]
    start, five, last = facts.start, facts.next_years[-1], facts.years[-1]
    ends = list(dict.fromkeys((start, five, last)))
    rows = []
    for words, rate in rates.items():
        usd = _at(works, rate, assumed, base)
        upto = (say.whole(float(usd[works["year"] <= end].sum())) for end in ends)
        rows.append((say.first(words), _percent(rate), *upto))
    spans = (say.span(range(start, end + 1)) for end in ends)
    return Grid("What the same list would cost", ("Prices rise", "A year", *spans),
                tuple(rows), frozenset(range(1, 2 + len(ends))), (0.31, 0.12, *(0.57 / len(ends),) * len(ends)))
