"""A raw table to the checked list of committed projects: block, year, work and cost that a program has to hold."""

from __future__ import annotations

from collections.abc import Collection

import pandas as pd

from rehab.base import tables
from rehab.base.settings import Forced
from rehab.inputs.reading.blocks import Reading, convert, kept_rows
from rehab.inputs.reading.mapping import apply
from rehab.inputs.reading.raw import Raw, problem_table


def read_commitments(raw: Raw, mapping: pd.DataFrame | None, blocks: Collection[str], years: range) -> Reading:
    """The committed projects, checked against the blocks in use and the years of the program; the geometry is empty.

    A row with an unknown block, a year outside the program, or a block that stands above already is stopped by a
    problem.  Raises :class:`UnusableInput` if block_id, year or strategy has no column, or the mapping cannot be used.
    """
    applied = apply(raw, mapping, "commitments")
    frame, found = kept_rows(raw, applied)
    heading = {ours: theirs for ours, (theirs, _) in applied.columns.items()}
    values = convert(raw, applied, frame, found, "commitments")
    unknown = (~values["block_id"].isin(list(blocks))).to_numpy(bool) & ~found.stopped
    found.add("stop", unknown, heading["block_id"], values["block_id"],
              "no block of this name is in use; the row is not used", "a block_id of the table of blocks")
    outside = (~values["year"].astype("float64").isin(list(years))).to_numpy(bool) & ~found.stopped
    found.add("stop", outside, heading["year"], frame[heading["year"]],
              "not a year of the program; the row is not used", f"a year from {years[0]} to {years[-1]}")
    standing = ~found.stopped
    twice = values.loc[standing].duplicated(subset=["block_id"]).reindex(values.index, fill_value=False).to_numpy(bool)
    found.add("stop", twice, heading["block_id"], values["block_id"],
              "the block is committed in a row above already; the row is not used", "each block once")
    used = tables.with_types("commitments", values.assign(row=found.rows.astype("float64")))[~found.stopped]
    return Reading(tables.check("commitments", used.sort_values("block_id").reset_index(drop=True)),
                   tables.empty("geometry"), problem_table(raw.problems + applied.problems + found.problems),
                   len(raw.frame), int((~applied.kept).sum()))


def as_forced(commitments: pd.DataFrame) -> tuple[Forced, ...]:
    """The rows of a scenario that the commitments become."""
    columns = (commitments[name].tolist() for name in ("block_id", "year", "strategy", "cost_usd"))
    return tuple(Forced(str(block), int(year), str(strategy), None if pd.isna(usd) else float(usd))
                 for block, year, strategy, usd in zip(*columns, strict=True))
