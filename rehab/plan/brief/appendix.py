"""The appendix: the method in steps, the assumptions with their sources, prices, rules, and the fingerprints."""

from __future__ import annotations

import re
from importlib.metadata import PackageNotFoundError, version
from typing import Final

import numpy as np
import pandas as pd

import rehab
from rehab.plan import results
from rehab.plan.brief import say
from rehab.plan.brief.choice import rule_rows
from rehab.plan.brief.facts import Facts, each_row
from rehab.plan.brief.model import Grid, Page
from rehab.steps import estimate

_METHOD: Final = (
    "Survey: each block's panels are counted, or its condition is rated. What it needs now follows from the counts: "
    "panels to replace, feet of joint to repair, area to grind.",
    "Forecast: panels fail by survival curves, one for damage at joints and cracks and one for broken panels. The "
    "curves begin with those of the kind of street and are moved by each block's own counts.",
    "Kind of work: rules with published limits say for each block and year whether it needs none, partial-depth "
    "repair, full-depth repair or reconstruction.",
    "Cost: quantities times unit prices, with the mark-ups below, raised to the year of the work.",
    "Gain: the sound pavement that a work adds over the years after, weighted by traffic and discounted, less what "
    "its delay would add to the cost.",
    "Choice: one work at most for a block unless two were asked for, within the money of each year and all other "
    "limits; a search finds the list of the most gain, and a bound proves how near it is to the best there can be.",
    "Nothing here replaces the judgment of the engineer, who may set a kind of work or a year by hand.")
#: rows of economics that a cost or a choice follows from, in the order in which they are told
_ECONOMICS: Final = ("price_year", "escalation", "discount", "horizon_yr", "waiting_worth", "weight.", "trigger.",
                     "clear_before_dig_yr", "rest_after_work_yr", "second_after_yr")
_VALUES: Final = ("Value", "Is", "Range", "Source")
_WIDTHS: Final = (0.32, 0.13, 0.15, 0.4)
_UNIT_ENDS: Final = re.compile(r"_(yr|usd|in|ft|sqft|sqyd|mph)$")
_RIGHT: Final = frozenset({1})
_PACKAGES: Final = ("numpy", "scipy", "pandas", "highspy", "ortools")


def pages(facts: Facts) -> tuple[Page, ...]:
    """Every page of the appendix."""
    return (_method(), _assumptions(facts), _prices(facts), _rules(facts), _own(facts), _sources(facts), _marks(facts))


def _method() -> Page:
    return Page("method", "The method in steps", "From what an inspector counts to a list of streets for each year.",
                text=tuple(f"{number}. {step}" for number, step in enumerate(_METHOD, 1)))


def _assumptions(facts: Facts) -> Page:
    used = facts.prepared.assumptions
    economics = [key for start in _ECONOMICS for key in used.table("economics").index
                 if str(key) == start or (start.endswith(".") and str(key).startswith(start))]
    curves = _curves(facts)
    return Page("assumptions", "The assumptions that matter", "Every value is a row that the city can replace by its "
                                                              "own.",
                grids=(_values(facts, "economics", economics, "Money and time"),
                       _values(facts, "markups", [str(key) for key in used.table("markups").index], "Mark-ups on the "
                                                                                                    "prices"),
                       _values(facts, "survival", curves, "Lives of concrete, for the kinds of street in the table"),
                       _values(facts, "treatment_lives", [str(key) for key in used.table("treatment_lives").index],
                               "Lives of repairs")),
                notes=("A scale is the age by which 63 of 100 panels have the damage; a shape says how much faster "
                       "panels fail as they age. Range: the lowest and highest value that is accepted.",))


def _curves(facts: Facts) -> list[str]:
    """Rows of the table survival that the blocks' families use, and those that hold for all."""
    classes = set(facts.prepared.network["functional_class"])
    return [str(key) for key in facts.prepared.assumptions.table("survival").index
            if not str(key).startswith(("shallow.scale.", "deep.scale.")) or str(key).rsplit(".", 1)[1] in classes]


def _values(facts: Facts, name: str, keys: list[str], title: str) -> Grid:
    return Grid(title, _VALUES, tuple(_row(facts, name, key) for key in keys), _RIGHT, _WIDTHS)


def _row(facts: Facts, name: str, key: str) -> tuple[str, ...]:
    row = facts.prepared.assumptions.table(name).loc[key]
    unit = str(row["unit"])
    if "name" in row.index and str(row["name"]):
        about = str(row["name"])
    else:
        note = str(row["note"])
        about = _words(key) + (f": {note}" if note and row["origin"] != "city" else "")
    low, high = str(row["low"]), str(row["high"])
    part = "share" if unit == "share/yr" else unit if unit == "share" else ""
    ends = f"{say.value(low, part)} to {say.value(high, part)}" if low and high else ""
    return (about, say.value(str(row["value"]), unit), ends, _source(facts, name, key))


def _source(facts: Facts, name: str, key: str) -> str:
    used = facts.prepared.assumptions
    if used.table(name).at[key, "origin"] == "city":
        note = str(used.table(name).at[key, "note"])
        return f"the city's own; {note}" if note else "the city's own"
    return used.citation(name, key)


def _words(key: str) -> str:
    """A key as words: 'weight.arterial' becomes 'Weight, arterial'; the unit at its end stands beside its value."""
    return say.first(_UNIT_ENDS.sub("", key).replace(".", ", ").replace("_", " "))


def _prices(facts: Facts) -> Page:
    plan, used = facts.plan, facts.prepared.assumptions
    table = used.table("pay_items")
    rows = []
    if len(plan.program):
        amounts = results.quantities(facts.prepared, plan.program)
        paid = estimate.priced(amounts.columns, used)
        factor = np.asarray(estimate.factors(plan.program["year"], used, results.rows_of(
            facts.prepared.network, plan.program["block_id"])["condition_source"].to_numpy()))
        usd = pd.Series((amounts.to_numpy(float) * factor[:, None]).sum(axis=0), amounts.columns) * pd.to_numeric(
            table.loc[amounts.columns, "value"]).to_numpy(float)
        total = float(usd[paid].sum())
        for key in usd[paid][usd[paid] > 0].sort_values(ascending=False).index:
            row = table.loc[key]
            low, value, high = (f"{float(row[end]):,.2f}" for end in ("low", "value", "high"))
            amount = f"{amounts[key].sum():,.0f}{say.unit(str(row['unit']))}"
            rows.append((str(row["name"]), amount, value, f"{low} to {high}", say.share(float(usd[key]) / total),
                         _source(facts, "pay_items", str(key))))
    base = int(used.number("economics", "price_year"))
    return Page("prices used", "The prices in the program", f"Unit prices of {base} of everything that the program "
                "pays for, the dearest in all first." if rows else "The program pays for nothing.",
                grids=(Grid("Unit prices, dollars", ("Item", "Amount", "Price", "Range", "Share of the cost", "Source"),
                            tuple(rows), frozenset({1, 2, 3, 4}), (0.24, 0.15, 0.09, 0.14, 0.1, 0.28),
                            empty="No work is planned."),),
                notes=("Mark-ups and the rise of prices come on top. Second works are not among the amounts.",))


def _rules(facts: Facts) -> Page:
    rows = tuple((say.first(row.words), say.first(row.work) + (f"; the engineer decides between it and {row.also}"
                                                               if row.engineer else ""), f"{row.blocks:,}")
                 for row in each_row(rule_rows(facts)))
    return Page("rules", "The rules that say what a block needs", "They are tried from the first to the last; the "
                "first that holds decides.",
                grids=(Grid("Rules", ("If", "Then", "Blocks"), rows, frozenset({2}), (0.58, 0.3, 0.12)),),
                notes=("Blocks: how many each rule decides by the last surveys, without what was set by hand.",))


def _own(facts: Facts) -> Page:
    used = facts.prepared.assumptions
    rows = [(name, str(key)) for name, table in used.tables.items() for key in table.index[table["origin"] == "city"]]
    return Page("city values", "What the city has set itself",
                f"{say.first(say.count(len(rows), 'value'))} {say.verb(len(rows), 'stands', 'stand')} in place of "
                "defaults.",
                grids=(Grid("The city's own values", ("Table", *_VALUES[:3], "What it stands for"), tuple(
                    (_words(name), *_row(facts, name, key)[:3], str(used.table(name).at[key, "note"]))
                    for name, key in rows), frozenset({2}), (0.15, 0.28, 0.13, 0.16, 0.28),
                    empty="All values are defaults."),))


def _sources(facts: Facts) -> Page:
    used = facts.prepared.assumptions
    cited = pd.concat([table["source_id"] for table in used.tables.values()]).value_counts()
    rows = tuple((str(row.title), str(row.publisher), str(row.year), str(row.status), f"{int(cited.get(key, 0)):,}")
                 for key, row in zip(used.sources.index, each_row(used.sources), strict=True))
    return Page("sources", "The sources", "What the defaults were taken from, and whether it was read.",
                grids=(Grid("Sources", ("Title", "Publisher", "Year", "Status", "Values"), rows, frozenset({4}),
                            (0.44, 0.22, 0.07, 0.19, 0.08)),))


def _marks(facts: Facts) -> Page:
    plan = facts.plan
    prints = plan.summary["fingerprints"]
    rows = [("Blocks", str(prints["blocks"])), ("Assumptions", str(prints["assumptions"])),
            ("Scenario", str(prints["scenario"])), ("Name of the scenario", plan.scenario.name),
            *((f"Scenario beside it: {name}", other.scenario.fingerprint()) for name, other in facts.others.items()),
            ("Status of the search", plan.chosen.status),
            *((("Room for a better program, at most", f"{100 * plan.chosen.gap:.4f} %"),)
              if np.isfinite(plan.chosen.gap) else ()),
            ("This program", f"rehab {rehab.__version__}"), *_libraries()]
    notes = tuple(f"{say.first(str(row.topic))}{_of(row)}: "
                  f"{row.message}." for row in each_row(plan.notes))
    return Page("fingerprints", "Fingerprints and versions", "The same input, scenario and versions give the same "
                "brief: a changed value changes its fingerprint.",
                grids=(Grid("Fingerprints", ("What", "Mark"), tuple(rows), frozenset(), (0.6, 0.4)),),
                text=notes and ("What the plan has to say:", *notes))


def _of(row: object) -> str:
    block = getattr(row, "block_id", None)
    return f", block {block}" if say.has(block) else ""


def _libraries() -> list[tuple[str, str]]:
    found = []
    for name in _PACKAGES:
        try:
            found.append((f"Library {name}", version(name)))
        except PackageNotFoundError:
            continue
    return found
