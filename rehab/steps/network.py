"""Blocks to one checked network: panels, areas, joints, age and family of every block.

Missing optional values take the stated defaults of the table ``defaults``; the column ``assumed`` names them.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from rehab.base import rating, tables
from rehab.base.settings import Assumptions
from rehab.base.units import SQFT_PER_SQYD

#: survey columns that are counts or lengths: where one of them is given, the others count as zero
COUNTED: Final = ("panels_cracked", "panels_broken", "panels_sunken", "corner_breaks", "spalled_joint_ft")


def build(blocks: pd.DataFrame, assumptions: Assumptions) -> pd.DataFrame:
    """The table ``network`` from the table ``blocks``, one row per block, sorted by block_id."""
    frame = blocks.sort_values("block_id", ignore_index=True).drop(columns="row", errors="ignore").copy()
    filled: dict[str, pd.Series] = {}
    _fill_construction(frame, assumptions, filled)
    _measure(frame, filled)
    _date(frame, assumptions, filled)
    _name_source(frame)
    frame["family"] = _family(frame, assumptions)
    names = np.column_stack([np.where(mask, name, "") for name, mask in filled.items()])
    frame["assumed"] = ["; ".join(filter(None, row)) for row in names.tolist()]
    return tables.check("network", tables.with_types("network", frame))


def has_condition(blocks: pd.DataFrame, assumptions: Assumptions) -> pd.Series:
    """Whether the condition of each block can be told: it is counted, or holds an index, a rating or a known word."""
    return blocks[list(COUNTED)].notna().any(axis=1) | ~np.isnan(rating.index_held(blocks, assumptions))


def panel_grid(length_ft: pd.Series, width_ft: pd.Series, panel_length_ft: pd.Series,
               panel_width_ft: pd.Series) -> tuple[pd.Series, pd.Series]:
    """Panels along and across a block: the sizes divided by the joint spacing, rounded, at least one."""
    along = (length_ft / panel_length_ft).round().clip(lower=1)
    return along, (width_ft / panel_width_ft).round().clip(lower=1)


def _default(frame: pd.DataFrame, column: str, value: pd.Series | str | float, filled: dict[str, pd.Series]) -> None:
    mask = frame[column].isna()
    frame.loc[mask, column] = value[mask] if isinstance(value, pd.Series) else value
    filled[column] = filled.get(column, pd.Series(False, index=frame.index)) | mask


def _fill_construction(frame: pd.DataFrame, assumptions: Assumptions, filled: dict[str, pd.Series]) -> None:
    _default(frame, "functional_class", assumptions.text("defaults", "functional_class"), filled)
    for column in ("panel_length_ft", "panel_width_ft"):
        _default(frame, column, assumptions.number("defaults", column), filled)
    # A block narrower or shorter than a usual panel is one panel that wide or long.
    frame["panel_length_ft"] = frame["panel_length_ft"].clip(upper=frame["length_ft"])
    frame["panel_width_ft"] = frame["panel_width_ft"].clip(upper=frame["width_ft"])
    _default(frame, "thickness_in", assumptions.by_class("defaults", "thickness_in", frame["functional_class"]), filled)
    _default(frame, "speed_mph", assumptions.by_class("defaults", "speed_mph", frame["functional_class"]), filled)
    from_in = assumptions.number("defaults", "dowelled_from_in")
    _default(frame, "dowelled", (frame["thickness_in"] >= from_in).astype("boolean"), filled)


def _measure(frame: pd.DataFrame, filled: dict[str, pd.Series]) -> None:
    along, across = panel_grid(frame["length_ft"], frame["width_ft"], frame["panel_length_ft"], frame["panel_width_ft"])
    frame["panel_rows"], frame["panel_columns"] = along, across
    # A count that comes with the table holds; the grid's is only the default.
    _default(frame, "panels", along * across, filled)
    frame["area_sqft"] = frame["length_ft"] * frame["width_ft"]
    frame["area_sqyd"] = frame["area_sqft"] / SQFT_PER_SQYD
    frame["transverse_joint_ft"] = along * frame["width_ft"]
    frame["longitudinal_joint_ft"] = (across - 1) * frame["length_ft"]
    frame["curb_ft"] = 2 * frame["length_ft"]


def _date(frame: pd.DataFrame, assumptions: Assumptions, filled: dict[str, pd.Series]) -> None:
    surveyed = frame["surveyed_on"].dt.year
    frame["survey_year"] = surveyed.fillna(assumptions.number("defaults", "survey_year"))
    filled["survey_year"] = surveyed.isna()
    built = frame["year_built"]
    age = (frame["survey_year"] - built).clip(lower=0)
    frame["age_yr"] = age.fillna(assumptions.number("defaults", "age_yr"))
    filled["age_yr"] = built.isna()


def _name_source(frame: pd.DataFrame) -> None:
    """Counts outrank an index, an index a rating, a rating a word: what was measured speaks first."""
    counted = frame[list(COUNTED)].notna().any(axis=1)
    source = np.select(
        [counted, frame["condition_index"].notna(), frame["rating_1_10"].notna()],
        ["counts", "index", "rating"], "word",
    )
    frame["condition_source"] = source
    frame["estimated"] = ~counted


def _family(frame: pd.DataFrame, assumptions: Assumptions) -> pd.Series:
    thin = assumptions.number("survival", "thin_below_in")
    thick = assumptions.number("survival", "thick_from_in")
    size = pd.Series(np.select([frame["thickness_in"] < thin, frame["thickness_in"] >= thick], ["thin", "thick"],
                               "medium"), index=frame.index)
    joint = frame["dowelled"].astype(bool).map({True: "dowelled", False: "plain"})
    return frame["functional_class"] + ", " + size + ", " + joint
