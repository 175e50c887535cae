"""A raw table to the checked table of blocks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Final

import numpy as np
import pandas as pd

from rehab.base import tables
from rehab.inputs.reading import lines
from rehab.inputs.reading.columns import accepted, has_decimal_commas, read_column
from rehab.inputs.reading.mapping import Applied, apply
from rehab.inputs.reading.raw import Findings, Mask, Raw, problem_table

_NARROW_FT: Final = 14.0  #: a table whose middle street is narrower is asked whether it is in metres
#: panels that together are so much larger or smaller than their block are asked about
_TILING_SHARE: Final = 0.15
_OTHER_COUNT: Final = ("{panels:,.0f} panels, but the sizes give {along:.0f} x {across:.0f} = {grid:,.0f} (they cover "
                       "{covered:,.0f} of {area:,.0f} sq ft): the count is used for shares of panels, the sizes for "
                       "places on the block")
_UNEVEN: Final = ("the panels cover {covered:,.0f} of {area:,.0f} sq ft; they are used as {along:.0f} x {across:.0f} "
                  "panels of {long:.1f} x {wide:.1f} ft")
_SIZES: Final = ("length_ft", "width_ft", "panel_length_ft", "panel_width_ft")
_JOINTS: Final = ("spalled_joint_ft", "wide_joint_ft")


@dataclass(frozen=True)
class Reading:
    """What an upload gave.

    ``table`` obeys the schema of its table, sorted by key, with the spreadsheet ``row``; ``geometry`` has the lines
    of its blocks; ``problems`` is the table of problems.  ``rows_in`` counts the rows with anything in them,
    ``rows_filtered`` those that the mapping's filters left out; the rest is in ``table`` or stopped by a problem.
    """

    table: pd.DataFrame
    geometry: pd.DataFrame
    problems: pd.DataFrame
    rows_in: int
    rows_filtered: int


def read_blocks(raw: Raw, mapping: pd.DataFrame | None = None, *, today: date | None = None) -> Reading:
    """The blocks of a table, by ``mapping`` or the suggested one, in our units.

    Every row is used, filtered out, or stopped by a problem; a value that is not used has a warning.  Years and
    days after ``today``, if given, are warned of.  Raises :class:`UnusableInput` if block_id, length, width or any
    measure of condition has no column, or the mapping cannot be used.
    """
    applied = apply(raw, mapping, "blocks")
    frame, found = kept_rows(raw, applied)
    values = convert(raw, applied, frame, found, "blocks")
    heading = {ours: theirs for ours, (theirs, _) in applied.columns.items()}
    _repeated(values, heading, found)
    panels = _panels(values)
    _shares_of_panels(values, applied, heading, panels, found)
    _counts(values, heading, panels, found)
    _sizes(values, heading, found)
    _tiling(values, heading, found)
    _years(values, heading, found, today)
    _condition(values, heading, found)
    _narrow(values, applied, found)
    used = tables.with_types("blocks", values.assign(row=found.rows.astype("float64")))[~found.stopped]
    kept_lines = None if raw.lines is None else [raw.lines[at] for at in np.flatnonzero(applied.kept)]
    geometry = (tables.empty("geometry") if kept_lines is None
                else lines.joined(found, values["block_id"], kept_lines))
    return Reading(tables.check("blocks", used.sort_values("block_id").reset_index(drop=True)),
                   tables.check("geometry", geometry), problem_table(raw.problems + applied.problems + found.problems),
                   len(raw.frame), int((~applied.kept).sum()))


def kept_rows(raw: Raw, applied: Applied) -> tuple[pd.DataFrame, Findings]:
    """The rows that the filters keep, and their findings; rows that could not be split are stopped."""
    found = Findings(raw.name, raw.rows[applied.kept])
    found.stopped[:] = raw.broken[applied.kept]
    return raw.frame[applied.kept].reset_index(drop=True), found


def convert(raw: Raw, applied: Applied, frame: pd.DataFrame, found: Findings, table: str) -> pd.DataFrame:
    """All columns of a table from the mapped texts; rows stopped before are read as empty and not complained of."""
    fields = [item for item in tables.TABLES[table] if item.name != "row"]
    numeric = [applied.columns[item.name][0] for item in fields
               if item.name in applied.columns and item.kind in ("number", "whole")]
    semicolons = raw.delimiter == ";"
    commas = semicolons and has_decimal_commas(frame, numeric)
    if commas:
        found.note("commas in numbers such as 12,5 were read as decimal commas", "a decimal point, as in 12.5")
    sound = ~found.stopped
    listed = Findings(raw.name, found.rows[sound])
    values = pd.DataFrame(index=frame.index)
    for item in fields:
        if item.name not in applied.columns:
            continue
        theirs, unit = applied.columns[item.name]
        if item.name in tables.COUNTS and unit in ("share", "per cent"):
            item = replace(item, kind="number", unit="share", low=0.0, high=1.0)
        values[item.name] = read_column(item, frame.loc[sound, theirs], unit, listed, semicolons=semicolons,
                                        commas=commas, serials=raw.kind == "xlsx")
    found.problems += listed.problems
    found.stopped[sound] = listed.stopped
    return values.reindex(columns=[item.name for item in fields])


def unused(values: pd.DataFrame, column: str, mask: Mask, heading: Mapping[str, str], found: Findings, message: str,
           takes: str) -> None:
    """Warn that the values of a column in the rows of ``mask`` were not used, and leave them out."""
    mask = mask & ~found.stopped
    found.add("warn", mask, heading.get(column, column), values[column], f"{message}; the value was not used", takes)
    values.loc[mask, column] = np.nan


def panel_grid(blocks: pd.DataFrame) -> tuple[pd.Series, pd.Series]:
    """Panels along and across each block by its sizes, at least one each; NaN where a panel size is missing."""
    along = (blocks["length_ft"] / blocks["panel_length_ft"]).round().clip(lower=1)
    across = (blocks["width_ft"] / blocks["panel_width_ft"]).round().clip(lower=1)
    return along, across


def _repeated(values: pd.DataFrame, heading: Mapping[str, str], found: Findings) -> None:
    """Stop every row whose block_id another row has too: which of them is right cannot be known."""
    ids = values["block_id"]
    mask = (ids.duplicated(keep=False) & ids.notna()).to_numpy(bool)
    if not mask.any():
        return
    rows = pd.Series(found.rows, index=values.index)[mask]
    named = rows.groupby(ids[mask]).agg(_row_list)
    messages = [f"the block is in more than one row ({text}); none of them is used" for text in ids[mask].map(named)]
    found.add("stop", mask, heading["block_id"], ids, messages, "each block once",
              kind="the block is in more than one row; none of them is used")


def _row_list(rows: pd.Series) -> str:
    return ", ".join(map(str, rows.iloc[:6])) + (" ..." if len(rows) > 6 else "")


def _panels(values: pd.DataFrame) -> pd.Series:
    """Panels of each block, given or by its sizes; NaN where neither is known."""
    along, across = panel_grid(values.astype(dict.fromkeys(_SIZES, "float64")))
    return values["panels"].astype("float64").fillna(along * across)


def _shares_of_panels(values: pd.DataFrame, applied: Applied, heading: Mapping[str, str], panels: pd.Series,
                      found: Findings) -> None:
    """Shares of panels to whole panels, told once per column; not used where the panels are not known."""
    for column in tables.COUNTS:
        if column not in applied.columns or applied.columns[column][1] not in ("share", "per cent"):
            continue
        filled = values[column].notna()
        unused(values, column, (filled & panels.isna()).to_numpy(bool), heading, found,
               "a share of panels, but neither the panels nor their sizes are given",
               "counts of panels, or columns for the panels or for their length and width")
        if values[column].notna().any():
            found.note(f"shares of panels were turned into whole panels in {values[column].notna().sum():,} rows",
                       "counts of panels", heading[column])
        values[column] = (values[column] * panels).round()


def _counts(values: pd.DataFrame, heading: Mapping[str, str], panels: pd.Series, found: Findings) -> None:
    for column in tables.COUNTS:
        counts = values[column].astype("float64")
        mask = (counts > panels).to_numpy(bool) & ~found.stopped
        if not mask.any():
            continue
        known = [f"more than the {total:,.0f} panels of the block; the row is not used" for total in panels[mask]]
        found.add("stop", mask, heading.get(column, column),
                  counts.map(lambda count: f"{count:.0f}", na_action="ignore"), known,
                  "at most the panels of the block, given or length / panel length x width / panel width",
                  kind="more than the panels of the block; the row is not used")


def _sizes(values: pd.DataFrame, heading: Mapping[str, str], found: Findings) -> None:
    """Values that the block's own size rules out: not used."""
    number = values.reindex(columns=[item.name for item in tables.TABLES["blocks"] if item.kind in ("number", "whole")])
    number = number.astype("float64")
    area, curb = number["length_ft"] * number["width_ft"], 2 * number["length_ft"]
    along, across = panel_grid(number)
    joints = (along + 1) * number["width_ft"] + (across + 1) * number["length_ft"]
    limits = [("damage_depth_in", number["thickness_in"], "deeper than the slab is thick", "at most the thickness"),
              ("hollow_sqft", area, "more than the area of the block", "at most length x width"),
              ("sunken_curb_ft", curb, "more than both curbs are long", "at most twice the length"),
              ("parking_ft", curb, "more than both curbs are long", "at most twice the length")]
    limits += [(column, joints, "more than all joints of the block",
                "at most the length of its joints") for column in _JOINTS]
    for column, most, message, takes in limits:
        unused(values, column, (number[column] > most).to_numpy(bool), heading, found, message, takes)


def _tiling(values: pd.DataFrame, heading: Mapping[str, str], found: Findings) -> None:
    """Ask about panels that do not tile their block, where their count and all sizes are given; nothing is changed."""
    tiles = values[["panels", *_SIZES]].astype("float64")
    along, across = panel_grid(tiles)
    tiles = tiles.assign(
        along=along, across=across, grid=along * across, area=tiles["length_ft"] * tiles["width_ft"],
        covered=tiles["panels"] * tiles["panel_length_ft"] * tiles["panel_width_ft"],
        long=tiles["length_ft"] / along, wide=tiles["width_ft"] / across)
    counted = tiles["panels"]
    other = (counted != tiles["grid"]) & counted.notna() & tiles["grid"].notna()
    uneven = ~other & ((tiles["covered"] - tiles["area"]).abs() > _TILING_SHARE * tiles["area"])
    for mask, words in ((other, _OTHER_COUNT), (uneven, _UNEVEN)):
        asked = mask.to_numpy(bool) & ~found.stopped
        found.add("warn", asked, heading.get("panels"), counted.map("{:g}".format, na_action="ignore"),
                  [words.format_map(row) for row in tiles[asked].to_dict("records")],
                  "length / panel length x width / panel width panels, each rounded: correct the count or a size",
                  kind="the panels do not tile the block")


def _years(values: pd.DataFrame, heading: Mapping[str, str], found: Findings, today: date | None) -> None:
    """Days and years in an order that cannot be: not used."""
    values["surveyed_on"] = values["surveyed_on"].astype("datetime64[us]")
    if today is not None:
        future = (values["surveyed_on"] > pd.Timestamp(today)).to_numpy(bool)
        unused(values, "surveyed_on", future, heading, found, "after today", f"a day up to {today}")
    survey = values["surveyed_on"].dt.year.astype("float64")
    if today is not None:
        survey = survey.fillna(float(today.year))
    for column in ("year_built", "last_work_year", "last_ground_year"):
        late = (values[column].astype("float64") > survey).to_numpy(bool)
        unused(values, column, late, heading, found, "after the survey, or in the future", "a year up to the survey's")
    for column in ("last_work_year", "last_ground_year"):
        early = (values[column].astype("float64") < values["year_built"].astype("float64")).to_numpy(bool)
        unused(values, column, early, heading, found, "before the year the concrete was placed", "that year or later")
    never = ((values["grindings"].astype("float64") == 0) & values["last_ground_year"].notna()).to_numpy(bool)
    unused(values, "last_ground_year", never, heading, found, "given, but the surface was ground zero times",
           "an empty cell, or a number of grindings above zero")


def _condition(values: pd.DataFrame, heading: Mapping[str, str], found: Findings) -> None:
    """Stop rows without any measure of condition; ask about an index of exactly zero."""
    index = values["condition_index"].astype("float64")
    found.add("warn", (index == 0).to_numpy(bool) & ~found.stopped, heading.get("condition_index"),
              index.map("{:g}".format), "the index is 0: failed, or not rated? It is used as failed",
              "an empty cell for a block that was not rated")
    known = [column for column in tables.CONDITION if column in heading]
    none = values[known].isna().all(axis=1).to_numpy(bool) & ~found.stopped
    column = heading[known[0]] if len(known) == 1 else None
    found.add("stop", none, column, None, "no measure of condition could be used; the row is not used",
              f"a value for one of {', '.join(heading[name] for name in known)}")


def _narrow(values: pd.DataFrame, applied: Applied, found: Findings) -> None:
    widths = values.loc[~found.stopped, "width_ft"].astype("float64").dropna()
    if len(widths) >= 5 and widths.median() < _NARROW_FT and applied.columns["width_ft"][1] == "ft":
        found.note(f"half of the blocks are narrower than {widths.median():.1f} ft: are the sizes in metres?",
                   f"{accepted(tables.field('blocks', 'width_ft'))}; or the unit 'm' in the mapping",
                   applied.columns["width_ft"][0])
