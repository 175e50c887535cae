"""Several surveys of a city as one table of counts of panels, as calibration takes it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from rehab.base.errors import Note
from rehab.base.settings import Assumptions
from rehab.plan.ahead import Measured
from rehab.steps import calibration

_COLUMNS = ("block_id", "survey_year", "age_yr", "age_known", "panels", "sound", "shallow", "deep", "panels_patched",
            "last_work_year", "functional_class", "family", "dowelled", "material_distress")


def stack(surveys: Sequence[Measured], assumptions: Assumptions) -> tuple[pd.DataFrame, list[Note]]:
    """One row per block and survey, with what was assumed.

    What a block is (class, family, distress) is what its newest survey says; a year of building that one survey knows
    holds for all, and so does a year of work.  A block rebuilt between two surveys has work in the year of building.
    Where only an index, a rating or a word is held in any survey of a block, it speaks for a part of its panels.
    """
    rows = pd.concat([_rows(*one) for one in surveys], ignore_index=True)
    rows = rows.sort_values(["block_id", "survey_year"], kind="stable", ignore_index=True)
    notes = _notes(rows)
    rows = rows.drop_duplicates(["block_id", "survey_year"], keep="last", ignore_index=True)
    block = rows.groupby("block_id")
    for name in ("functional_class", "family", "dowelled", "material_distress"):
        rows[name] = block[name].transform("last")
    speaks = np.where(block["estimated"].transform("any"), assumptions.number("survival", "prior.rating_counts_for"), 1)
    panels = np.maximum(np.rint(rows["panels"].to_numpy(float) * speaks), 1.0)
    built = _as_of(rows, rows["built"])
    rows["last_work_year"] = _as_of(rows, rows["last_work_year"], rows["built"].where(
        rows["built"] > block["survey_year"].transform("min")))
    # A year of building later than the survey belongs to the concrete that came after it.
    known = rows["built"].fillna(pd.Series(built, index=rows.index))
    return rows.assign(
        age_yr=(rows["survey_year"] - known).clip(lower=0).fillna(rows["age_yr"]), age_known=known.notna(),
        panels=panels, sound=panels * (1 - rows["partial"] - rows["full"]), shallow=panels * rows["partial"],
        deep=panels * rows["full"])[list(_COLUMNS)], notes


def _rows(city: pd.DataFrame, need: pd.DataFrame) -> pd.DataFrame:
    full = np.clip(need["full_share"].to_numpy(float), 0.0, 1.0)
    assumed = city["assumed"].str.split("; ")
    return pd.DataFrame({
        "block_id": city["block_id"], "survey_year": city["survey_year"].astype("int64"),
        "age_yr": city["age_yr"].astype(float), "built": city["year_built"].astype(float),
        "panels": city["panels"].astype(float), "full": full,
        "partial": np.clip(need["partial_share"].to_numpy(float), 0.0, 1.0 - full),
        "estimated": city["estimated"].astype(bool), "undated": [("survey_year" in names) for names in assumed],
        "panels_patched": city["panels_patched"].astype(float), "last_work_year": city["last_work_year"].astype(float),
        "functional_class": city["functional_class"], "family": city["family"],
        "dowelled": city["dowelled"].astype(bool), "material_distress": city["material_distress"]})


def _as_of(rows: pd.DataFrame, *years: pd.Series) -> pd.Series:
    """The latest of some years that any survey of the block names and that is not after the row's own survey."""
    named = pd.concat([pd.DataFrame({"block_id": rows["block_id"], "named": year}) for year in years])
    named = named.dropna().drop_duplicates()
    at = rows[["block_id", "survey_year"]].reset_index(names="at").merge(named, on="block_id")
    latest = at[at["named"] <= at["survey_year"]].groupby("at")["named"].max()
    return latest.reindex(rows.index).astype("float64")


def _undated(rows: pd.DataFrame) -> str:
    return ", ".join(str(year) for year in sorted(rows.loc[rows["undated"].astype(bool), "survey_year"].unique()))


def _notes(rows: pd.DataFrame) -> list[Note]:
    """What has to be assumed of the surveys, one note a kind; ``rows`` before any is dropped."""
    twice = rows.duplicated(["block_id", "survey_year"], keep="last")
    panels = rows.groupby("block_id")["panels"]
    counts = {
        "blocks are in one survey only and say nothing of change": (~rows["block_id"].duplicated(keep=False)).sum(),
        "rows are a second survey of a block in one year; the last table counts": twice.sum(),
        f"rows have no day of survey; the year {_undated(rows)} is taken for them, and what the years between surveys "
        "say hangs on it: give the days": rows["undated"].sum(),
        "blocks have no year built: they tell of the years between surveys, not of those since building":
            (~rows.groupby("block_id")["built"].any()).sum(),
        "blocks have a different number of panels in their surveys; all counts are scaled to the newest":
            (panels.max() > panels.min()).sum(),
        "blocks are known by an index, a rating or a word in some survey; they speak for a part of their panels":
            rows.groupby("block_id")["estimated"].any().sum(),
    }
    return [Note("calibration", None, None, f"{count:,} {said}") for said, count in counts.items() if count]


def unrepaired(surveys: pd.DataFrame, history: calibration.History) -> pd.DataFrame:
    """The newest survey of each block before any work on it, of blocks whose age is known.

    Only those can be held against curves that begin at building.  ``surveys`` as :func:`stack` makes it.
    """
    apart = history.set_apart.groupby("block_id")["to_year"].min()
    rows = surveys[surveys["age_known"] & surveys["last_work_year"].isna() & (surveys["age_yr"] > 0)
                   & (surveys["panels_patched"].fillna(0) == 0)]
    before = rows["survey_year"] < rows["block_id"].map(apart).astype("float64").fillna(np.inf)
    return rows[before].groupby("block_id").tail(1).reset_index(drop=True)
