"""A page for each district: what its streets are like, what they get, and why."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd

from rehab.plan.brief import say
from rehab.plan.brief.facts import Facts, hindered
from rehab.plan.brief.listing import money_chart, work_list
from rehab.plan.brief.model import Figure, Page


class _District(NamedTuple):
    """A district: its blocks, its rows of the list of streets, its money by year and kind, and all the city's."""

    name: str
    blocks: pd.DataFrame
    streets: pd.DataFrame
    money: pd.DataFrame
    city_usd: float


def pages(facts: Facts, streets: pd.DataFrame) -> tuple[Page, ...]:
    """One page per district, in the order of their names."""
    years = facts.next_years
    parts = {str(name): part for name, part in facts.blocks.groupby("district")}
    lists = {str(name): part for name, part in streets.groupby("district")}
    total = float(facts.money(years).to_numpy().sum())
    return tuple(_page(facts, _District(name, parts[name], lists[name], facts.money(years, name), total))
                 for name in facts.districts)


def _page(facts: Facts, mine: _District) -> Page:
    years, blocks = facts.next_years, mine.blocks
    listed = mine.streets[mine.streets["year"] == years[0]]
    usd, first = float(mine.money.to_numpy().sum()), float(mine.money.iloc[0].sum())
    area, due = blocks["area_sqyd"].to_numpy(float), int((blocks["due"] != "none").sum())
    share = float(area.sum() / facts.blocks["area_sqyd"].sum())
    worked = set(facts.works.loc[facts.works["year"].isin(years) & (facts.works["district"] == mine.name), "block_id"])
    lead = (f"{say.first(say.of(len(worked), len(blocks)))} {say.verb(len(worked), 'gets', 'get')} work "
            f"{say.in_years(years)} for {say.about(usd)}.") if worked else \
        f"No work is planned here {say.in_years(years)}: {_why_none(facts, mine)}."
    figures = (
        Figure("Blocks", f"{len(blocks):,}", f"{due:,} {say.verb(due, 'needs', 'need')} work at the start of "
                                             f"{facts.start}"),
        Figure("Sound concrete", say.share(float(np.average(blocks["sound"], weights=area))),
               f"of the area, start of {facts.start}; whole city {say.share(_sound(facts))}"),
        Figure(f"Money in {years[0]}", say.about(first), f"likely cost, dollars of {years[0]}"
               f"{facts.cost_range(years[:1], mine.name)}"),
        *((Figure(f"Money {say.in_years(years)}", say.about(usd), f"likely cost, dollars of each year"
                  f"{facts.cost_range(years, mine.name)}"),) if len(years) > 1 else ()),
        Figure("Share of the city's money", say.share(usd / mine.city_usd) if mine.city_usd else "0 %",
               f"{say.in_years(years)}; it has {say.share(share)} of the street area"))
    return Page(
        f"district {mine.name}", f"What is done in {mine.name}?" if mine.name != say.NO_DISTRICT else
        "What is done on streets without a district?", lead, figures,
        money_chart(mine.money, years, f"Money by year, {mine.name}") if usd else None,
        (*_fair(facts, mine, usd), *_left(facts, mine)),
        (work_list(f"The list of {years[0]}", listed),),
        ("The cost in the list is that of the first work on a block; where a second is planned, the reason names it "
         "and the money above holds it." if facts.works["again"].any() else
         "Costs are likely costs in dollars of the year of the work, rounded to the dollar.",
         "The years after, and the reason for every block, stand in the list of streets."))


def _sound(facts: Facts) -> float:
    return float(np.average(facts.blocks["sound"], weights=facts.blocks["area_sqyd"].to_numpy(float)))


def _fair(facts: Facts, mine: _District, usd: float) -> tuple[str, ...]:
    """The district's share of the money beside its share of what needs work."""
    due = facts.blocks["due"] != "none"
    every, here = (float(part.loc[part["due"] != "none", "area_sqyd"].sum()) for part in (facts.blocks, mine.blocks))
    if not due.any() or mine.city_usd <= 0:
        return ()
    return (f"Of all the street area in the city that needs work at the start of {facts.start}, "
            f"{say.share(here / every)} lies here; of the money {say.in_years(facts.next_years)}, "
            f"{say.share(usd / mine.city_usd)} is spent here.",)


def _left(facts: Facts, mine: _District) -> tuple[str, ...]:
    """How many blocks that need work get it later or not at all."""
    due = mine.blocks[mine.blocks["due"] != "none"]
    later = int((due["program_year"] > facts.next_years[-1]).sum())
    never = int(due["program_year"].isna().sum())
    if not len(due):
        return (f"By the rules no block here needs work at the start of {facts.start}.",)
    parts = []
    if later:
        parts.append(f"{later:,} {say.verb(later, 'gets', 'get')} it after {facts.next_years[-1]}")
    if never:
        parts.append(f"{never:,} {say.verb(never, 'gets', 'get')} none by {facts.years[-1]}")
    return (f"Of {say.count(len(due))} that {say.verb(len(due), 'needs', 'need')} work, "
            f"{say.listed(parts)}.",) if parts else ()


def _why_none(facts: Facts, mine: _District) -> str:
    """Why a district gets no work in the next years, and when or what comes nearest."""
    blocks = mine.blocks
    later = blocks[blocks["program_year"].notna()].sort_values(["program_year", "block_id"])
    rows = np.flatnonzero(facts.blocks["district"].to_numpy() == mine.name)
    span = facts.prepared.by_rule[rows, :len(facts.next_years)]
    if not (span > 0).any():
        why = "no rule asks for any in these years"
    elif hindered(facts.plan):
        return hindered(facts.plan)
    else:
        why = "what is needed here comes later or not at all within the money and the limits"
    if len(later):
        row = later.iloc[0]
        where = say.place(row["street"], row["from_street"], row["to_street"], str(row["block_id"]))
        return f"{why}; the first is {say.work(str(row['program_strategy']))} in {row['program_year']:.0f} on {where}"
    return f"{why}{_nearest(facts, blocks)}"


def _nearest(facts: Facts, blocks: pd.DataFrame) -> str:
    """The block of a district that came nearest to being chosen, where prices tell it."""
    if facts.plan.scenario.choice != "best":
        return ""
    found = facts.places
    found = found[found["block_id"].isin(blocks["block_id"]) & found["next_strategy"].notna() & found["year"].isna()]
    if found.empty:
        return ""
    near = found.sort_values(["short", "block_id"]).iloc[0]
    at = blocks.set_index("block_id").loc[near["block_id"]]
    where = say.place(at["street"], at["from_street"], at["to_street"], str(near["block_id"]))
    return (f"; nearest to being chosen was {say.work(str(near['next_strategy']))} in {near['next_year']:.0f} on "
            f"{where}, for {say.about(float(near['next_usd']))}")
