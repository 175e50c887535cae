"""A raw table to the checked table of defects, panel by panel."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import pandas as pd

from rehab.base import tables
from rehab.inputs.reading.blocks import Reading, convert, kept_rows, panel_grid, unused
from rehab.inputs.reading.mapping import apply
from rehab.inputs.reading.raw import Findings, Raw, problem_table

_SLACK_FT: Final = 0.5  #: joints are never quite where the drawing has them
_ORDER: Final = ["block_id", "panel_row", "panel_column", "defect", "severity", "x_ft", "y_ft", "row"]


def read_defects(raw: Raw, mapping: pd.DataFrame | None, blocks: pd.DataFrame) -> Reading:
    """The defects of a panel survey, checked against the ``blocks`` they lie in; the geometry is empty.

    Panels and positions are checked where the block's panel sizes, and depths where its thickness is given.
    Raises :class:`UnusableInput` if block_id, panel_row, panel_column, defect or severity has no column, or the
    mapping cannot be used.
    """
    applied = apply(raw, mapping, "defects")
    frame, found = kept_rows(raw, applied)
    values = convert(raw, applied, frame, found, "defects")
    heading = {ours: theirs for ours, (theirs, _) in applied.columns.items()}
    owner = blocks.set_index("block_id").reindex(values["block_id"]).set_index(values.index)
    owner["known"] = values["block_id"].isin(blocks["block_id"]).to_numpy(bool)
    found.add("stop", ~owner["known"].to_numpy(bool) & ~found.stopped, heading["block_id"], values["block_id"],
              "no block of this name is in use (not in the table of blocks, or stopped or filtered out there); the row "
              "is not used", "a block_id of the table of blocks")
    _panels(values, owner, heading, found)
    _positions(values, owner, heading, found)
    deep = (values["depth_in"].astype("float64") > owner["thickness_in"]).to_numpy(bool)
    unused(values, "depth_in", deep, heading, found, "deeper than the slab is thick",
           "at most the thickness of the block")
    told_twice = values.duplicated(keep="first").to_numpy(bool) & ~found.stopped
    found.add("warn", told_twice, heading["block_id"], values["block_id"],
              "the same as a row above; used as a second defect", "each defect once")
    used = tables.with_types("defects", values.assign(row=found.rows.astype("float64")))[~found.stopped]
    return Reading(tables.check("defects", used.sort_values(_ORDER).reset_index(drop=True)), tables.empty("geometry"),
                   problem_table(raw.problems + applied.problems + found.problems), len(raw.frame),
                   int((~applied.kept).sum()))


def _panels(values: pd.DataFrame, owner: pd.DataFrame, heading: Mapping[str, str], found: Findings) -> None:
    """Stop defects in a panel that the block does not have."""
    for column, most, way in zip(("panel_row", "panel_column"), panel_grid(owner), ("along", "across"), strict=True):
        mask = (values[column].astype("float64") > most).to_numpy(bool) & ~found.stopped
        messages = [f"the block has {count:.0f} panels {way}; the row is not used" for count in most[mask]]
        found.add("stop", mask, heading[column], values[column].map("{:g}".format, na_action="ignore"), messages,
                  f"a panel {way} the block counted from 1, at most its size / the panel's size",
                  kind=f"the block has fewer panels {way}; the row is not used")


def _positions(values: pd.DataFrame, owner: pd.DataFrame, heading: Mapping[str, str], found: Findings) -> None:
    """Stop castings without a position, and damage that lies outside its panel."""
    lost = (values["defect"] == "casting") & (values["x_ft"].isna() | values["y_ft"].isna())
    found.add("stop", lost.to_numpy(bool) & ~found.stopped, heading["defect"], values["defect"],
              "a casting without its position in the panel; the row is not used",
              "x_ft and y_ft of the casting, from the start and the left of its panel")
    along, across = panel_grid(owner)
    sides = (("x_ft", "length_ft", owner["length_ft"] / along, owner["panel_length_ft"]),
             ("y_ft", "width_ft", owner["width_ft"] / across, owner["panel_width_ft"]))
    for start, size, real, drawn in sides:
        limit = pd.concat([real, drawn], axis=1).max(axis=1, skipna=False) + _SLACK_FT
        end = values[start].astype("float64").fillna(0.0) + values[size].astype("float64").fillna(0.0)
        mask = (end > limit).to_numpy(bool) & ~found.stopped
        column = heading.get(start, heading.get(size, start))
        messages = [f"the damage ends {far:,.1f} ft into a panel of {room - _SLACK_FT:,.1f} ft; the row is not used"
                    for far, room in zip(end[mask], limit[mask], strict=True)]
        shown = values[start].where(values[start].notna(), values[size]).astype("float64")
        found.add("stop", mask, column, shown.map("{:g}".format, na_action="ignore"), messages,
                  "damage inside its panel; a larger one as one row for each panel",
                  kind="the damage lies outside its panel; the row is not used")
