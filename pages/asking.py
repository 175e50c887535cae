"""Parts of a scenario as tables to edit, and read back.  Nothing here knows the screen.

What a row lacks is said with its number in the table; nothing is filled in silently.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Any

import pandas as pd

from rehab.base.limits import CAPACITIES, Capacity, Closed, DistrictShare, Fund, Target, money_by_year
from rehab.base.settings import Forced, Scenario
from rehab.base.tables import CLASSES, WORK
from rehab.outputs.words import count, known, label, unit

KINDS = {f"{'Grinding' if kind == 'grinding' else label(kind)}, {unit(size)}": kind
         for kind, size in CAPACITIES.items()}
WORKS = {label(name): name for name in WORK}
STREETS = {label(name): name for name in CLASSES}


def budgets_table(asked: Scenario) -> pd.DataFrame:
    return pd.DataFrame({"Year": list(asked.years), "Budget": list(asked.budgets_usd)})


def budgets_of(table: pd.DataFrame) -> tuple[float, ...]:
    years = [int(year) for year in table["Year"]]
    given = {year: float(usd) for year, usd in zip(years, table["Budget"], strict=True) if known(usd)}
    return money_by_year("the yearly budget", given, range(years[0], years[-1] + 1))


def funds_table(asked: Scenario) -> pd.DataFrame:
    rows = [{"Fund": fund.name, "Only this work": [label(name) for name in fund.strategies],
             "Only these streets": [label(name) for name in fund.classes], "Only these districts": list(fund.districts),
             **{str(year): usd for year, usd in zip(asked.years, fund.budgets_usd, strict=True)}}
            for fund in asked.funds]
    lists = dict.fromkeys(("Only this work", "Only these streets", "Only these districts"), "object")
    return pd.DataFrame(rows, columns=["Fund", *lists, *map(str, asked.years)]).astype(
        {"Fund": "str", **lists, **dict.fromkeys(map(str, asked.years), "float64")})


def funds_of(table: pd.DataFrame, asked: Scenario) -> tuple[Fund, ...]:
    found = []
    for at, row in _rows(table):
        if not known(row["Fund"]):
            raise ValueError(f"row {at}: the fund needs a name")
        given = {year: float(row[str(year)]) for year in asked.years if known(row[str(year)])}
        found.append(Fund(str(row["Fund"]), money_by_year(f"fund '{row['Fund']}'", given, asked.years),
                          tuple(WORKS[name] for name in _list(row["Only this work"])),
                          tuple(STREETS[name] for name in _list(row["Only these streets"])),
                          tuple(_list(row["Only these districts"]))))
    return tuple(found)


def capacities_table(asked: Scenario) -> pd.DataFrame:
    names = {kind: words for words, kind in KINDS.items()}
    return _typed([{"Kind of work": names[item.kind], "Most in a year": item.most, "Only in": item.year}
                   for item in asked.capacities], {"Kind of work": "str", "Most in a year": "float64",
                                                   "Only in": "Int64"})


def capacities_of(table: pd.DataFrame) -> tuple[Capacity, ...]:
    return tuple(Capacity(KINDS[_cell(row, at, "Kind of work")], float(_cell(row, at, "Most in a year")),
                          int(row["Only in"]) if known(row["Only in"]) else None) for at, row in _rows(table))


def shares_table(asked: Scenario) -> pd.DataFrame:
    return _typed([{"District": item.district, "At least, % of all money": 100 * item.share}
                   for item in asked.district_shares], {"District": "str", "At least, % of all money": "float64"})


def shares_of(table: pd.DataFrame) -> tuple[DistrictShare, ...]:
    return tuple(DistrictShare(str(_cell(row, at, "District")), float(_cell(row, at, "At least, % of all money")) / 100)
                 for at, row in _rows(table))


def closed_table(asked: Scenario) -> pd.DataFrame:
    return _typed([{"Block": item.block_id, "Closed in": item.year} for item in asked.closed],
                  {"Block": "str", "Closed in": "Int64"})


def closed_of(table: pd.DataFrame, blocks: Collection[str]) -> tuple[Closed, ...]:
    return tuple(Closed(_block(row, at, blocks), int(_cell(row, at, "Closed in"))) for at, row in _rows(table))


def targets_table(asked: Scenario) -> pd.DataFrame:
    return _typed([{"Mean index at least": item.least, "From": item.first, "To": item.last}
                   for item in asked.targets], {"Mean index at least": "float64", "From": "Int64", "To": "Int64"})


def targets_of(table: pd.DataFrame) -> tuple[Target, ...]:
    return tuple(Target(float(_cell(row, at, "Mean index at least")), int(_cell(row, at, "From")),
                        int(_cell(row, at, "To"))) for at, row in _rows(table))


def forced_table(asked: Scenario) -> pd.DataFrame:
    return _typed([{"Block": item.block_id, "Year": item.year, "Work": label(item.strategy) if item.strategy else None,
                    "Cost": item.cost_usd} for item in asked.forced],
                  {"Block": "str", "Year": "Int64", "Work": "str", "Cost": "float64"})


def forced_of(table: pd.DataFrame, blocks: Collection[str]) -> tuple[Forced, ...]:
    return tuple(Forced(_block(row, at, blocks), int(_cell(row, at, "Year")),
                        WORKS[str(row["Work"])] if known(row["Work"]) else None,
                        float(row["Cost"]) if known(row["Cost"]) else None) for at, row in _rows(table))


def with_committed(asked: Scenario, more: tuple[Forced, ...]) -> tuple[Forced, ...]:
    """The forced blocks with others added; what is said of a block anew stands."""
    new = {item.block_id for item in more}
    return (*(item for item in asked.forced if item.block_id not in new), *more)


def over_years(asked: Scenario, start: int, years: int) -> tuple[dict[str, Any], str]:
    """Budgets and funds over other years: what each calendar year has stays, and years anew get the nearest figure.

    Second, which figures were taken over from another year, in words: empty where they are all the same anyway.
    """
    wanted, had = range(start, start + years), asked.years
    nearest = [min(max(year, had[0]), had[-1]) - had[0] for year in wanted]
    parts: dict[str, Any] = {
        "start_year": start, "budgets_usd": tuple(asked.budgets_usd[at] for at in nearest), "funds": tuple(
            Fund(fund.name, tuple(fund.budgets_usd[at] for at in nearest), fund.strategies, fund.classes,
                 fund.districts) for fund in asked.funds)}
    new = [str(year) for year in wanted if year not in had]
    uneven = [name for name, usd in (("the budget", asked.budgets_usd),
                                     *((f"fund '{fund.name}'", fund.budgets_usd) for fund in asked.funds))
              if len(set(usd)) > 1]
    told = [*uneven, *(f"fund '{fund.name}'" for fund in asked.funds if f"fund '{fund.name}'" not in uneven)]
    if not new or not told:
        return parts, ""
    return parts, (f"{', '.join(new)}: {' and '.join(told)} took over the figure of the nearest year; look whether "
                   "that is so and change it in its table.")


def in_force(asked: Scenario) -> str:
    """What a scenario asks beyond its budget, in words; empty if nothing."""
    said = [count(len(rows), one) for rows, one in (
        (asked.funds, "fund"), (asked.capacities, "capacity limit"), (asked.district_shares, "least share"),
        (asked.closed, "closed year"), (asked.forced, "forced block"), (asked.kept_out, "kept-out block"),
        (asked.targets, "target")) if rows]
    said += [f"up to {100 * asked.carry_over:g} % carried over"] if asked.carry_over else []
    said += [f"corridors {asked.corridors}"] if asked.corridors != "apart" else []
    said += [f"up to {asked.works} works on a block"] if asked.works > 1 else []
    said += ["benefit in agency cost"] if asked.benefit == "agency cost" else []
    said += [f"backlog cleared by {asked.cleared_by}"] if asked.cleared_by else []
    return ", ".join(said)


def _typed(rows: list[dict[str, Any]], types: dict[str, str]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=list(types)).astype(types)


def _rows(table: pd.DataFrame) -> Iterator[tuple[int, Any]]:
    """The rows that hold anything, with their number in the table."""
    for at, row in enumerate(table.to_dict("records"), 1):
        if any(_list(cell) if isinstance(cell, list | tuple) or hasattr(cell, "tolist") else known(cell)
               for cell in row.values()):
            yield at, row


def _list(cell: Any) -> list[str]:
    if hasattr(cell, "tolist"):
        cell = cell.tolist()
    return [str(item) for item in cell] if isinstance(cell, list | tuple) else []


def _cell(row: Any, at: int, column: str) -> Any:
    if not known(row[column]):
        raise ValueError(f"row {at}: '{column}' is empty; fill it in or delete the row")
    return row[column]


def _block(row: Any, at: int, blocks: Collection[str]) -> str:
    name = str(_cell(row, at, "Block")).strip()
    if name not in blocks:
        raise ValueError(f"row {at}, Block: there is no block '{name}' in the table in use")
    return name
