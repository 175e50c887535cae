"""A raw table to the checked table of bids: one row for each price that a bidder asked for an item."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Final

import pandas as pd

from rehab.base import tables
from rehab.base.units import factor
from rehab.inputs.reading.blocks import Reading, convert, kept_rows
from rehab.inputs.reading.mapping import apply
from rehab.inputs.reading.raw import Findings, Raw, problem_table

#: units that bids may come in beside those they are kept in -> the one they are converted to
CONVERTED: Final = {"m": "ft", "yd": "ft", "mile": "ft", "sqm": "sqyd", "cum": "cuyd"}
_SIGN: Final = r"\$\s*(?=[\d.])"
_ORDER: Final = ["item", "bid_date", "project", "bidder", "row"]
#: two rows alike in these are one bid told twice
_SAME: Final = ["item", "unit", "bid_date", "project", "bidder", "quantity", "unit_price_usd"]


def read_bids(raw: Raw, mapping: pd.DataFrame | None = None, *, today: date | None = None) -> Reading:
    """The bids of a bid tabulation, by ``mapping`` or the suggested one; the geometry is empty.

    Prices stay in dollars of their day.  Metric units, yards and miles are converted to ours, quantity and price,
    which a warning says.  A row without item, quantity, unit, price or day, with a quantity or price of zero, or with
    a day after ``today`` is stopped by a problem, and so is a bid that stands in the file twice.  Raises
    :class:`UnusableInput` if one of those columns is missing, or the mapping cannot be used.
    """
    applied = apply(raw, mapping, "bids")
    frame, found = kept_rows(raw, applied)
    heading = {ours: theirs for ours, (theirs, _) in applied.columns.items()}
    values = convert(raw, applied, _without_signs(frame, heading, found), found, "bids")
    for column, what in (("quantity", "quantity"), ("unit_price_usd", "price")):
        zero = (values[column].astype("float64") == 0).to_numpy(bool) & ~found.stopped
        found.add("stop", zero, heading[column], frame[heading[column]],
                  f"a {what} of zero cannot be compared with others; the row is not used", f"a {what} above zero")
    _converted(values, heading, found)
    values["bid_date"] = values["bid_date"].astype("datetime64[us]")
    if today is not None:
        late = (values["bid_date"] > pd.Timestamp(today)).to_numpy(bool) & ~found.stopped
        found.add("stop", late, heading["bid_date"], frame[heading["bid_date"]],
                  "after today; the row is not used", f"a day up to {today}")
    _told_twice(values, heading, found)
    used = tables.with_types("bids", values.assign(row=found.rows.astype("float64")))[~found.stopped]
    return Reading(tables.check("bids", used.sort_values(_ORDER).reset_index(drop=True)), tables.empty("geometry"),
                   problem_table(raw.problems + applied.problems + found.problems), len(raw.frame),
                   int((~applied.kept).sum()))


def _without_signs(frame: pd.DataFrame, heading: Mapping[str, str], found: Findings) -> pd.DataFrame:
    """Prices without their dollar sign, which one warning says."""
    column = heading["unit_price_usd"]
    signed = frame[column].str.match(_SIGN).fillna(False).to_numpy(bool)
    if not signed.any():
        return frame
    found.note(f"{signed.sum():,} prices were read without their dollar sign", "a number", column,
               str(frame.loc[signed, column].iloc[0]))
    return frame.assign(**{column: frame[column].mask(signed, frame[column].str.replace(_SIGN, "", regex=True))})


def _converted(values: pd.DataFrame, heading: Mapping[str, str], found: Findings) -> None:
    """Quantities and prices of units that are not kept, in place; a warning for each says by how much."""
    for theirs, ours in CONVERTED.items():
        rows = (values["unit"] == theirs).to_numpy(bool)
        if not rows.any():
            continue
        size = factor(theirs, ours)
        values.loc[rows, "quantity"] *= size
        values.loc[rows, "unit_price_usd"] /= size
        values.loc[rows, "unit"] = ours
        found.note(f"{rows.sum():,} bids in {theirs} were converted: 1 {theirs} is {size:,.6g} {ours}",
                   f"{ours}, or {theirs} as here", heading["unit"], theirs)


def _told_twice(values: pd.DataFrame, heading: Mapping[str, str], found: Findings) -> None:
    """Stop a row that repeats one above by the same bidder; ask about one that differs in quantity or price alone."""
    named = values["bidder"].notna().to_numpy(bool) & ~found.stopped
    again = values.loc[named].duplicated(subset=_SAME).reindex(values.index, fill_value=False).to_numpy(bool)
    found.add("stop", again, heading["item"], values["item"],
              "the same bid as in a row above, to the cent; the row is not used",
              "each bid once; an item that stands twice in one bid told apart in its text")
    named &= ~again
    other = values.loc[named].duplicated(subset=_SAME[:5]).reindex(values.index, fill_value=False).to_numpy(bool)
    found.add("warn", other, heading["item"], values["item"],
              "the same bidder priced this item of the project in a row above, with another quantity or price; "
              "both are used", "each item of a bid once")
    unnamed = (~values["bidder"].notna()).to_numpy(bool) & ~found.stopped
    alike = values.loc[unnamed].duplicated(subset=_SAME).reindex(values.index, fill_value=False).to_numpy(bool)
    found.add("warn", alike, heading["item"], values["item"],
              "the same as a row above, and no bidder tells them apart; both are used", "the bidder of each bid")
