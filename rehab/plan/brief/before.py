"""The page on what was done last year: what the table of blocks records, beside what was published then."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.plan.brief import say
from rehab.plan.brief.facts import Facts, each_row
from rehab.plan.brief.model import Figure, Grid, Page

Flags = npt.NDArray[np.bool_]

_MOST_LISTED: Final = 60


def page(facts: Facts) -> Page:
    """What was done in the year before the first."""
    year, blocks = facts.start - 1, facts.blocks
    done = blocks["last_work_year"].eq(year).fillna(False).to_numpy(bool)
    ground = facts.prepared.network["last_ground_year"].eq(year).fillna(False).to_numpy(bool)
    published = _published(facts.last_year, year)
    lead = (f"{say.first(say.of(int(done.sum()), len(blocks)))} {say.verb(int(done.sum()), 'has', 'have')} work "
            f"recorded in {year}." if done.any() else f"The table of blocks records no work in {year}.")
    if published is not None:
        lead += " " + _kept(published, set(blocks.loc[done, "block_id"]), year)
    figures = [Figure("Blocks with work recorded", f"{int(done.sum()):,}", f"in {year}"),
               Figure("Area of these blocks", f"{blocks.loc[done, 'area_sqyd'].sum():,.0f} square yards",
                      f"{say.share(float(blocks.loc[done, 'area_sqyd'].sum() / blocks['area_sqyd'].sum()))} "
                      "of all the concrete")]
    if published is not None:
        figures.append(Figure("Published for the year", say.about(float(published["cost_usd"].sum())),
                              f"likely cost of {say.count(len(published))}, dollars of {year}"))
    return Page("last year", _title(facts, year), lead, tuple(figures),
                text=_text(facts, done, ground, published, year),
                grids=(_by_district(facts, done, published, year), *_not_done(facts, done, published, year)),
                notes=_notes(published, year))


def _title(facts: Facts, year: int) -> str:
    if facts.made.year == year:
        return f"What has been done this year, {year}?"
    return f"What was done last year, {year}?" if facts.made.year == year + 1 else f"What was done in {year}?"


def _published(table: pd.DataFrame | None, year: int) -> pd.DataFrame | None:
    """The rows of a published program that were set for a year; None where no program was given."""
    return None if table is None else table[table["year"] == year].reset_index(drop=True)


def _kept(published: pd.DataFrame, done: set[str], year: int) -> str:
    if not len(published):
        return f"The published program held nothing for {year}."
    kept = int(published["block_id"].isin(done).sum())
    return (f"The published program named {say.count(len(published))} for {year}: {kept:,} of them "
            f"{say.verb(kept, 'has', 'have')} work recorded, {len(published) - kept:,} "
            f"{say.verb(len(published) - kept, 'has', 'have')} none.")


def _text(facts: Facts, done: Flags, ground: Flags, published: pd.DataFrame | None, year: int) -> tuple[str, ...]:
    said = []
    blocks = facts.blocks
    recorded = set(blocks.loc[done, "block_id"])
    if not recorded:
        said.append("That may mean that nothing was done, or that it was not entered: the table holds only the year of "
                    "the last work of each block.")
    if ground.any():
        said.append(f"{say.first(say.count(int(ground.sum())))} {say.verb(int(ground.sum()), 'was', 'were')} ground "
                    f"smooth in {year}.")
    if published is not None:
        known = set(blocks["block_id"])
        beyond = recorded - set(published["block_id"])
        if beyond:
            said.append(f"{say.first(say.count(len(beyond)))} {say.verb(len(beyond), 'has', 'have')} work recorded "
                        "that the published program did not name for the year.")
        gone = [name for name in published["block_id"] if name not in known]
        if gone:
            said.append(f"{say.first(say.count(len(gone), 'published block'))} {say.verb(len(gone), 'is', 'are')} no "
                        f"longer in the table: {say.listed(gone[:3])}{' and more' if len(gone) > 3 else ''}.")
    stale = int((blocks.loc[done, "survey_year"] < year).sum())
    if stale:
        said.append(f"{say.first(say.count(stale))} of these {say.verb(stale, 'was', 'were')} last surveyed before the "
                    "work: the plan still rests on the condition before it.")
    return tuple(said)


def _by_district(facts: Facts, done: Flags, published: pd.DataFrame | None, year: int) -> Grid:
    blocks = facts.blocks
    worked = blocks[done]
    more = () if published is None else ("Blocks published", "Published cost")
    of = None if published is None else published.assign(
        district=blocks.set_index("block_id")["district"].reindex(published["block_id"]).to_numpy())

    def row(name: str, mine: pd.DataFrame, named: pd.DataFrame | None) -> tuple[str, ...]:
        told = () if named is None else (f"{len(named):,}", say.whole(float(named["cost_usd"].sum())))
        return (name, f"{len(mine):,}", f"{mine['area_sqyd'].sum():,.0f}", *told)

    rows = tuple(row(name, worked[worked["district"] == name], None if of is None else of.loc[of["district"] == name])
                 for name in facts.districts)
    total = row("All streets", worked, of)
    if of is not None:
        total = (*total[:-1], say.cents(float(of["cost_usd"].sum())))
    each = 0.7 / (2 + len(more))
    return Grid(f"Work recorded in {year}", ("District", "Blocks with work", "Square yards", *more), rows,
                frozenset(range(1, 3 + len(more))), (0.3, *(each,) * (2 + len(more))), total)


def _not_done(facts: Facts, done: Flags, published: pd.DataFrame | None, year: int) -> tuple[Grid, ...]:
    """What was published and has no record, the dearest first."""
    if published is None:
        return ()
    recorded = set(facts.blocks.loc[done, "block_id"])
    left = published[~published["block_id"].isin(recorded)].sort_values(
        ["cost_usd", "block_id"], ascending=[False, True], kind="stable")
    where = facts.blocks.set_index("block_id")
    rows = []
    for row in each_row(left.head(_MOST_LISTED)):
        known = where.loc[row.block_id] if row.block_id in where.index else None
        name = f"Block {row.block_id}" if known is None else say.street(known["street"], str(row.block_id))
        between = "" if known is None else say.ends(known["from_street"], known["to_street"])
        planned = "not planned" if known is None or pd.isna(known["program_year"]) else f"{known['program_year']:.0f}"
        rows.append((name, between, say.first(say.work(str(row.strategy))), say.whole(float(row.cost_usd)), planned))
    more = f", the {_MOST_LISTED} dearest of {len(left):,}" if len(left) > _MOST_LISTED else ""
    return (Grid(f"Published for {year} without a record{more}", ("Street", "Between", "Work", "Cost", "Now planned"),
                 tuple(rows), frozenset({3}), (0.24, 0.3, 0.2, 0.13, 0.13),
                 empty="All that was published has work recorded."),)


def _notes(published: pd.DataFrame | None, year: int) -> tuple[str, ...]:
    said = ["What the work of the year cost is not in the table of blocks, and is not told here."]
    if published is None:
        said.append(f"No published program of {year} was given: what was promised cannot be set beside what was done.")
    return tuple(said)
