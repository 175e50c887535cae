"""The list of the next year by district, and the list of the next five years."""

from __future__ import annotations

from typing import Final

import pandas as pd

from rehab.plan.brief import say
from rehab.plan.brief.condition import NEEDS
from rehab.plan.brief.facts import KINDS, Facts, each_row, hindered
from rehab.plan.brief.model import Chart, Figure, Grid, Page, Series

NAMES: Final = {**NEEDS, "grinding": "Diamond grinding again"}
_WORKS: Final = ("Street", "Between", "Work", "Cost")
_WIDTHS: Final = (0.26, 0.4, 0.2, 0.14)


def next_year(facts: Facts, streets: pd.DataFrame) -> Page:
    """The first year's list."""
    year = facts.start
    works = facts.works[facts.works["year"] == year]
    total, money = float(works["cost_usd"].sum()), facts.money_of(year)
    budget = float(facts.plan.scenario.money_usd[0])
    blocks = int(works["block_id"].nunique())
    if not len(works):
        lead = f"No work is planned in {year}: {_why_none(facts, budget, 1)}."
    else:
        lead = (f"{say.first(say.count(blocks))} {say.verb(blocks, 'is', 'are')} worked on in {year} for "
                f"{say.about(total)}: {_by_kind(money)}.")
    return Page(
        "next year", f"What is done {_when(facts, year)}?", lead,
        figures=(Figure("Budget", say.about(budget), f"dollars of {year}"),
                 Figure("Money planned", say.about(total),
                        f"likely cost, dollars of {year}{facts.cost_range(range(year, year + 1))}"),
                 Figure("Blocks", f"{blocks:,}", f"of {len(facts.blocks):,}")),
        chart=_district_chart(facts, year) if len(works) else None,
        text=("The list of each district stands on the page of the district.",) if facts.districts else (),
        # Without districts there is no other page for it.
        grids=(_by_district(facts, year),
               *(() if facts.districts else (work_list(f"The list of {year}", streets[streets["year"] == year]),))),
        notes=("Rows are rounded to the dollar; the total is exact to the cent. The range of a cost: all prices and "
               "amounts at their low or high ends at once.",
               *(("A share of money beside the share of the area that needs work shows whether a district gets its "
                  "part; the method looks at streets, not at districts, unless a least share was set.",)
                 if facts.districts else ())))


def five_years(facts: Facts) -> Page:
    """The list of the next years, by year and kind of work."""
    years = facts.next_years
    works = facts.works[facts.works["year"].isin(years)]
    table, budget = facts.money(years), facts.plan.scenario.money_usd[:len(years)]
    blocks, total = int(works["block_id"].nunique()), float(works["cost_usd"].sum())
    if len(works):
        lead = (f"{say.first(say.in_years(years))}, {say.of(blocks, len(facts.blocks))} "
                f"{say.verb(blocks, 'gets', 'get')} work for {say.about(total)}: {_by_kind(table.sum())}.")
    else:
        lead = f"No work is planned {say.in_years(years)}: {_why_none(facts, float(sum(budget)), len(years))}."
    return Page(
        "five years", f"What is done in the next {say.count(len(years), 'year')}, {say.span(years)}?"
        if len(years) > 1 else f"What is done in the one year of the program, {years[0]}?", lead,
        figures=(Figure("Budget", say.about(float(sum(budget))), f"{say.span(years)}, dollars of each year"),
                 Figure("Money planned", say.about(total),
                        f"likely cost, {say.span(years)}{facts.cost_range(years)}"),
                 Figure("Blocks", f"{blocks:,}", f"of {len(facts.blocks):,}")),
        chart=_money_chart(facts, years) if total or sum(budget) else None, grids=(_by_year(facts, years),),
        text=(*_grinding(facts, years),
              "Every block, with its year, its work and the reason, stands in the list of streets, a file of its "
              "own."),
        notes=("Dollars are those of the year of work: the rise of prices is in them. Rows are rounded to the dollar; "
               "the totals are exact to the cent. The range of a cost: all prices and amounts at their low or high "
               "ends at once.",))


def _grinding(facts: Facts, years: range) -> tuple[str, ...]:
    """What of the planned money is the grinding that goes with repairs."""
    usd = float(facts.plan.by_year.loc[facts.plan.by_year["year"].isin(years), "ground_usd"].sum())
    if usd <= 0:
        return ()
    return (f"{say.about(usd)} of the planned money is for diamond grinding, which goes with repairs and makes the "
            "surface even again.",)


def _rows(part: pd.DataFrame) -> tuple[tuple[str, ...], ...]:
    return tuple(
        (say.street(row.street, row.block_id), say.ends(row.from_street, row.to_street), say.first(row.work),
         say.whole(row.cost_usd))
        for row in each_row(part))


def _when(facts: Facts, year: int) -> str:
    named = {facts.made.year + 1: "next year, ", facts.made.year: "this year, "}
    return f"{named[year]}{year}" if year in named else f"in {year}"


def work_list(title: str, part: pd.DataFrame) -> Grid:
    """Rows of the list of streets as a table of works, by street."""
    ordered = part.sort_values(["street", "block_id"], kind="stable")
    return Grid(title, _WORKS, _rows(ordered), frozenset({3}), _WIDTHS, empty="No work is planned.")


def _why_none(facts: Facts, budget: float, years: int) -> str:
    if not (facts.prepared.by_rule[:, :years] > 0).any():
        return "the rules call for none"
    if hindered(facts.plan):
        return hindered(facts.plan)
    if budget <= 0:
        return "there is no money for it"
    return "nothing that the rules call for fits the money and the limits"


def _by_kind(money: pd.Series) -> str:
    kinds = {str(name): float(usd) for name, usd in money.items() if usd > 0}
    if len(kinds) == 1:
        return f"all for {say.work(next(iter(kinds)))}"
    return say.listed(f"{say.about(usd)} for {say.work(name)}" for name, usd in kinds.items())


def _by_district(facts: Facts, year: int) -> Grid:
    blocks = facts.blocks
    works = facts.works[facts.works["year"] == year]
    area, need = blocks["area_sqyd"].sum(), blocks.loc[blocks["due"] != "none", "area_sqyd"].sum()
    total = float(works["cost_usd"].sum())

    def row(name: str, mine: pd.DataFrame, part: pd.DataFrame, usd: pd.Series) -> tuple[str, ...]:
        spent = float(mine["cost_usd"].sum())
        due = part.loc[part["due"] != "none", "area_sqyd"].sum()
        return (name, f"{mine['block_id'].nunique():,}", *(say.whole(float(usd[kind])) for kind in kinds),
                say.whole(spent), say.share(spent / total) if total else "0 %",
                say.share(part["area_sqyd"].sum() / area), say.share(due / need) if need else "0 %")

    kinds = [kind for kind in KINDS if (works["work"] == kind).any()] or list(KINDS[:3])
    rows = [row(name, works[works["district"] == name], blocks[blocks["district"] == name],
                facts.money_of(year, name)) for name in facts.districts]
    whole = row("All streets", works, blocks, facts.money_of(year))
    at = 2 + len(kinds)
    each = 0.82 / (5 + len(kinds))
    return Grid(f"Money of {year} by district" if rows else f"Money of {year}",
                ("District", "Blocks", *(NAMES[kind] for kind in kinds), "Together", "Share of the money",
                 "Share of the area", "Share of the area that needs work"), tuple(rows),
                frozenset(range(1, at + 4)), (0.18, *(each,) * (5 + len(kinds))),
                (*whole[:at], say.cents(total), *whole[at + 1:]))


def _district_chart(facts: Facts, year: int) -> Chart | None:
    if not facts.districts:
        return None
    table = pd.DataFrame({name: facts.money_of(year, name) for name in facts.districts}).T
    held = [kind for kind in KINDS if table[kind].sum() > 0]
    return Chart("stacked bars", f"Where the money of {year} goes", tuple(facts.districts),
                 tuple(Series(NAMES[kind], tuple(table[kind].tolist()), kind if kind in NEEDS else "neutral")
                       for kind in held), "$", "District", f"Dollars of {year}",
                 f"Likely cost of the work of {year} in each district, by kind of work.")


def _money_chart(facts: Facts, years: range) -> Chart:
    return money_chart(facts.money(years), years, f"Money by year and kind of work, {say.span(years)}",
                       facts.plan.scenario.money_usd[:len(years)])


def money_chart(table: pd.DataFrame, years: range, title: str, budget: tuple[float, ...] = ()) -> Chart:
    """Bars of money by year and kind, with a line of the money there is where it is given."""
    held = [kind for kind in KINDS if table[kind].sum() > 0] or list(KINDS[:3])
    bars = tuple(Series(NAMES[kind], tuple(table[kind].tolist()), kind if kind in NEEDS else "neutral")
                 for kind in held)
    line = (Series("Budget", budget, "limit", line=True),) if budget else ()
    kinds = f", all of it {NAMES[held[0]].lower()}" if len(held) == 1 else " by kind of work"  # one has no legend
    return Chart("stacked bars", title, tuple(str(year) for year in years), bars + line, "$", "Year",
                 "Dollars of the year", f"Likely cost of the planned work in each year{kinds}"
                 f"{', and the budget' if budget else ''}.")


def _by_year(facts: Facts, years: range) -> Grid:
    table = facts.money(years)
    works = facts.works
    kinds = [kind for kind in KINDS if table[kind].sum() > 0] or list(KINDS[:3])
    blocks = works.groupby("year")["block_id"].nunique().reindex(list(years), fill_value=0)
    budget = dict(zip(facts.years, facts.plan.scenario.money_usd, strict=True))
    rows = tuple((str(year), f"{blocks[year]:,}", *(say.whole(float(usd[kind])) for kind in kinds),
                  say.whole(float(usd.sum())), say.whole(budget[year]))
                 for year in years for usd in [facts.money_of(year)])
    in_all = works.loc[works["year"].isin(years), "block_id"].nunique()
    total = (say.span(years), f"{in_all:,}", *(say.cents(float(table[kind].sum())) for kind in kinds),
             say.cents(float(works.loc[works["year"].isin(years), "cost_usd"].sum())),
             say.cents(float(sum(budget[year] for year in years))))
    each = 0.76 / (2 + len(kinds))
    return Grid("Money by year", ("Year", "Blocks", *(NAMES[kind] for kind in kinds), "Together", "Budget"), rows,
                frozenset(range(1, 4 + len(kinds))), (0.14, 0.1, *(each,) * (2 + len(kinds))), total)
