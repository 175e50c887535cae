"""The page on what may come otherwise: the range of the cost, estimates, prices, what was not measured, the season."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
import pandas as pd

from rehab.plan import results
from rehab.plan.brief import say
from rehab.plan.brief.facts import Facts, each_row
from rehab.plan.brief.model import Chart, Figure, Grid, Page, Series
from rehab.steps import estimate

OWN: Final = "the city's own"
#: columns of the blocks that are filled with a default where the survey has none, as the page names them
ASSUMED: Final = {
    "thickness_in": "the thickness of the concrete", "dowelled": "whether the joints hold steel bars",
    "age_yr": "the age of the concrete", "panels": "the number of panels", "panel_length_ft": "the length of the "
                                                                                              "panels",
    "panel_width_ft": "the width of the panels", "functional_class": "the class of the street",
    "survey_year": "the year of the survey", "speed_mph": "the posted speed", "adt": "the traffic"}


def ranges(facts: Facts) -> pd.DataFrame:
    """The cost of each year's program: year, low_usd, likely_usd, high_usd, over (odds of passing the money, or NaN).

    With the table ``chances`` low and high are the ends of its 80 % interval; without, all prices and quantities at
    their low or high ends at once.  Second works and committed costs stand at their planned cost.
    """
    year = facts.plan.by_year
    likely = year["spent_usd"].to_numpy(float)
    if facts.chances is not None:
        drawn = facts.chances.set_index("year").reindex(list(facts.years))
        return pd.DataFrame({"year": list(facts.years), "low_usd": drawn["low_usd"].to_numpy(float),
                             "likely_usd": likely, "high_usd": drawn["high_usd"].to_numpy(float),
                             "over": drawn["over"].to_numpy(float)})
    ends = facts.ends.groupby("year")[["low_usd", "high_usd"]].sum().reindex(list(facts.years), fill_value=0.0)
    return pd.DataFrame({"year": list(facts.years), "low_usd": ends["low_usd"].to_numpy(float), "likely_usd": likely,
                         "high_usd": ends["high_usd"].to_numpy(float), "over": math.nan})


def price_statuses(facts: Facts) -> pd.Series:
    """Shares of the program's first works by what their unit prices rest on, the greatest first."""
    prepared, program = facts.prepared, facts.plan.program
    if not len(program):
        return pd.Series(dtype=float)
    amounts = results.quantities(prepared, program)
    used = prepared.assumptions
    detail = results.rows_of(prepared.network, program["block_id"])["condition_source"].to_numpy()
    usd = (amounts.to_numpy(float) * estimate.unit_prices("value", amounts.columns, used)
           * np.asarray(estimate.factors(program["year"], used, detail))[:, None]).sum(axis=0)
    table = used.table("pay_items").loc[amounts.columns]
    status = used.sources["status"].reindex(table["source_id"]).to_numpy()
    of = pd.Series(usd).groupby(np.where(table["origin"] == "city", OWN, status)).sum()
    return (of[of > 0] / of.sum()).sort_values(ascending=False)


def page(facts: Facts) -> Page:
    """What may come otherwise than planned."""
    table, start = ranges(facts), facts.start
    now = table.iloc[0]
    works = facts.works
    total = float(works["cost_usd"].sum())
    guessed = _estimated(facts)
    if total <= 0:
        lead = ("No work is planned, so no cost can pass the budget; the condition of the streets may still come "
                "otherwise.")
    elif now["likely_usd"] <= 0:
        lead = f"No work is planned in {start}; over all years the program is planned at {say.about(total)}."
    else:
        ends = f"{say.about(now['low_usd'])} and {say.about(now['high_usd'])}"
        if facts.chances is not None:
            middle = float(facts.chances.set_index("year")["median_usd"].loc[start])
            lead = (f"The program of {start} is planned at {say.about(now['likely_usd'])}. Drawn many times with all "
                    f"that is not sure, it comes to {say.about(middle)} in the middle, and eight times in "
                    f"ten to between {ends}.")
        else:
            lead = (f"The program of {start} is planned at {say.about(now['likely_usd'])}. With all prices and amounts "
                    f"at their low or high ends at once it would cost between {ends}.")
    figures = [Figure(f"Cost of {start}", say.about(now["likely_usd"]),
                      f"{say.about(now['low_usd'])} to {say.about(now['high_usd'])}, dollars of {start}")]
    if not math.isnan(now["over"]):
        figures.append(Figure(f"Odds of passing the budget of {start}", _odds(now["over"]), "if nothing is taken off "
                                                                                            "the list"))
    if facts.chances is not None:
        end = facts.chances.set_index("year").loc[facts.years[-1]]
        figures.append(Figure("Condition index", f"{end['index_with']:.0f} points", f"end of {facts.years[-1]}; eight "
                              f"times in ten {end['index_with_low']:.0f} to {end['index_with_high']:.0f}"))
    if total > 0:
        figures.append(Figure("Money on blocks rated by estimate", say.share(guessed / total), f"{say.about(guessed)} "
                              f"of {say.about(total)}, {say.span(facts.years)}"))
    return Page("risks", "What may come otherwise?", lead, tuple(figures), _chart(facts, table),
                (*_price_text(facts), *_unmeasured(facts), *_ramps(facts), *_season(facts)), (_grid(facts, table),),
                _notes(facts))


def _estimated(facts: Facts) -> float:
    guessed = facts.blocks.loc[facts.blocks["estimated"].to_numpy(bool), "block_id"]
    return float(facts.works.loc[facts.works["block_id"].isin(guessed), "cost_usd"].sum())


def _odds(chance: float) -> str:
    tenths = round(10 * chance)
    if chance <= 0:
        return "none seen"
    return "less than 1 in 10" if tenths < 1 else "more than 9 in 10" if tenths > 9 else f"{tenths} in 10"


def _chart(facts: Facts, table: pd.DataFrame) -> Chart | None:
    if table["likely_usd"].sum() <= 0:
        return None
    low, likely, high = (tuple(table[f"{name}_usd"].tolist()) for name in ("low", "likely", "high"))
    return Chart("bars", "What each year's program may cost", tuple(str(year) for year in table["year"]), (
        Series("Planned, with its range", likely, "with work", low, high),
        Series("Budget", facts.plan.scenario.money_usd, "limit", line=True)), "$", "Year", "Dollars of the year",
        "Planned cost of each year's work with its range, beside the budget.")


def _grid(facts: Facts, table: pd.DataFrame) -> Grid:
    odds = facts.chances is not None
    head = ("Year", "Budget", "Planned", "Low", "High", *(("Odds of passing the budget",) if odds else ()))
    rows = tuple((str(int(row.year)), say.whole(usd), say.whole(row.likely_usd), say.whole(row.low_usd),
                  say.whole(row.high_usd), *((_odds(row.over),) if odds else ()))
                 for row, usd in zip(each_row(table), facts.plan.scenario.money_usd, strict=True))
    widths = (0.1, 0.17, 0.17, 0.17, 0.17, 0.22) if odds else (0.2, 0.2, 0.2, 0.2, 0.2)
    return Grid("The range of each year's cost", head, rows, frozenset(range(1, len(head))), widths)


def _price_text(facts: Facts) -> tuple[str, ...]:
    found = price_statuses(facts)
    if not len(found):
        return ()
    said = {OWN: "the city's own prices", "read": "prices read in a published source",
            "from memory": "prices kept from memory, to be checked against the city's bids",
            "common practice, no source": "prices of common practice without a source"}
    return (f"Of the money, "
            f"{say.listed(f'{say.share(float(part))} rests on {said[str(name)]}' for name, part in found.items())}.",)


def _unmeasured(facts: Facts) -> tuple[str, ...]:
    told = assumed_words(facts)
    guessed = int(facts.blocks["estimated"].sum())
    rated = (f"{say.first(say.of(guessed, len(facts.blocks)))} {say.verb(guessed, 'is', 'are')} rated, not counted: "
             "when their panels are counted, the work and its cost may change.",) if guessed else ()
    return (*rated, f"Not measured, and filled in by rule: {told}." if told else
            "Nothing that the cost rests on was filled in by rule.")


def _ramps(facts: Facts) -> tuple[str, ...]:
    """Works of the next years that bring a duty to build curb ramps, or one that counsel has to look at."""
    used, works = facts.prepared.assumptions, facts.works
    soon = works[works["year"].isin(facts.next_years) & (works["work"] != "grinding")]
    duty = soon["work"].map(lambda name: used.text("curb_ramps", str(name))).value_counts()
    told = [f"{words} {say.count(int(duty[name]))}" for name, words in (
        ("alteration", "the law asks for curb ramps with the work on"),
        ("review", "the city's counsel has to say whether it asks for curb ramps with the work "
                   "on")) if duty.get(name, 0)]
    return (f"{say.first(say.in_years(facts.next_years))}, {say.listed(told)}. Only ramps that the estimate counts "
            "with the work are in its cost.",) if told else ()


def assumed_words(facts: Facts) -> str:
    """What was filled with a default and on how many blocks, in words; empty where nothing was."""
    by_count: dict[int, list[str]] = {}
    for words, count in assumed_counts(facts):
        by_count.setdefault(count, []).append(words)
    return "; ".join(f"on {say.count(count)} {say.listed(words)}" for count, words in by_count.items())


def assumed_counts(facts: Facts) -> list[tuple[str, int]]:
    """What was filled with a default, in words, and on how many blocks; the posted speed is none of the cost's."""
    names = facts.prepared.network["assumed"].fillna("").astype(str).str.split("; ").explode().value_counts()
    found = [(ASSUMED.get(str(name), str(name).replace("_", " ")), int(count)) for name, count in names.items()
             if name and name != "speed_mph"]
    return sorted(found, key=lambda item: (-item[1], item[0]))


def _season(facts: Facts) -> tuple[str, ...]:
    if facts.season is None:
        return (f"Whether the work of {facts.start} fits the season's days and crews was not worked out for this "
                "brief.",)
    season = facts.season
    listed = set(season.tasks["block_id"])
    over = set(season.tasks.loc[season.tasks["season"] == "next", "block_id"])
    never = {note.block_id for note in season.notes if note.message.startswith("fits neither")}
    if not listed and not never:
        return (f"No work of {season.year} is on the calendar.",)
    late = (f"; {say.count(len(never))} {say.verb(len(never), 'fits', 'fit')} neither that season nor the next"
            if never else "")
    if not over and not never:
        return (f"All work of {season.year} fits the days of its season and the crews there are.",)
    return (f"On the calendar of {season.year}, part or all of the work on {say.of(len(over), len(listed | never))} "
            f"moves to {season.year + 1}{late}. Cold or wet weeks may move more.",)


def _notes(facts: Facts) -> tuple[str, ...]:
    if facts.chances is not None:
        return ("The range comes from drawing lives of concrete, survey counts, unit prices and their rise many "
                "times; one draw in ten costs less than the low end, one in ten more than the high end.",)
    shares = facts.blocks["condition_source"].map(lambda source: estimate.estimate_class(str(source))).value_counts()
    kinds = say.listed(f"{say.count(int(count))} {name}" for name, count in shares.items())
    return (f"Low and high take every price and every amount at the same end at once; costs seldom come to either "
            f"end. How wide the amounts range depends on what a block's estimate rests on: {kinds}.",
            "The odds of passing the budget were not worked out for this brief.")

