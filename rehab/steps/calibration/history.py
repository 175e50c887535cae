"""Surveys of the same blocks as counts of panels from one survey to the next."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.settings import Assumptions

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True)
class History:
    """What may be fitted; ``blocks`` has one row per block, ``steps`` one per pair of surveys that counts.

    ``blocks``: block_id, functional_class, family, dowelled, material_distress, age_yr, and the counts sound, shallow,
    deep of its first survey, with ``from_new`` where they tell of the years since building.  ``steps``: block (row of
    ``blocks``), from_yr and to_yr (ages), and counts of panels: sound, sound_after, shallow, and broken (deep that
    were not).  ``set_apart``: block_id, from_year, to_year, reason: pairs that work explains.  ``evened``: pairs
    in which the later survey found slightly less damage, taken as no change.
    """

    blocks: pd.DataFrame
    steps: pd.DataFrame
    set_apart: pd.DataFrame
    evened: int


def pair(surveys: pd.DataFrame, assumptions: Assumptions) -> History:
    """Pairs of surveys of each block from a table of all of them, one row per block and survey.

    Columns block_id, survey_year, age_yr, age_known, panels, sound, shallow, deep (panels), panels_patched,
    last_work_year, functional_class, family, dowelled, material_distress.  Two surveys of one year: the last row
    counts.  A pair with work recorded in its years, or from the year of its first survey on, is set apart, and so is
    one in which panels got better, or more of them are patched, by more than ``refit.noise_share`` without any: work
    that nobody recorded is not healing.
    """
    rows = surveys.sort_values(["block_id", "survey_year"], kind="stable").drop_duplicates(
        ["block_id", "survey_year"], keep="last").reset_index(drop=True)
    rows = rows[rows.groupby("block_id")["block_id"].transform("size") > 1].reset_index(drop=True)
    # Counts of a block are those of its newest number of panels: surveys may differ in how they divide it.
    panels = rows.groupby("block_id")["panels"].transform("last").to_numpy(float)
    counts = rows[["sound", "shallow", "deep"]].to_numpy(float) * (panels / rows["panels"].to_numpy(float))[:, None]
    deep = np.rint(counts[:, 2])
    shallow = np.minimum(np.rint(counts[:, 1]), panels - deep)
    # Patched and replaced panels have a life of their own: only the others are at risk by these curves.
    patched = rows["panels_patched"].fillna(0).to_numpy(float) * panels / rows["panels"].to_numpy(float)
    sound = panels - deep - shallow - np.minimum(np.rint(patched), panels - deep - shallow)
    rows = rows.assign(panels=panels, deep=deep, shallow=shallow, sound=sound, patched=patched)
    first = ~rows["block_id"].duplicated()
    blocks = rows[first].reset_index(drop=True)
    blocks["from_new"] = (blocks["age_known"].astype(bool) & blocks["last_work_year"].isna()
                          & (blocks["panels_patched"].fillna(0) == 0) & (blocks["age_yr"] > 0))
    steps, reason = _steps(rows, first, assumptions)
    work = reason != ""
    evened = ~work & ((steps["gain"] > 0) | (steps["lost"] < 0)).to_numpy()
    used = steps[~work].reset_index(drop=True)
    used["sound_after"] = np.minimum(used["sound_after"], used["sound"])
    used["broken"] = np.clip(used["lost"], 0.0, used["sound"] - used["sound_after"] + used["shallow"])
    apart = steps.loc[work, ["block_id", "from_year", "to_year"]].assign(reason=reason[work]).reset_index(drop=True)
    names = ["block", "from_yr", "to_yr", "sound", "sound_after", "shallow", "broken"]
    # A block without a pair left says nothing of change; its first survey alone is no repeat.
    kept = np.unique(used["block"].to_numpy())
    used["block"] = np.searchsorted(kept, used["block"].to_numpy())
    return History(blocks.iloc[kept].reset_index(drop=True), used[names], apart, int(evened.sum()))


def _steps(rows: pd.DataFrame, first: pd.Series, assumptions: Assumptions) -> tuple[pd.DataFrame, npt.NDArray[np.str_]]:
    """Every pair of neighbouring surveys, and why it is set apart ('' where it is not)."""
    later = rows.shift(-1)
    inside = ~first.shift(-1, fill_value=True).to_numpy()
    block = np.cumsum(first.to_numpy()) - 1
    steps = pd.DataFrame({
        "block": block, "block_id": rows["block_id"], "from_year": rows["survey_year"],
        "to_year": later["survey_year"], "from_yr": rows["age_yr"].astype(float),
        "to_yr": rows["age_yr"] + later["survey_year"] - rows["survey_year"], "panels": rows["panels"],
        "sound": rows["sound"], "sound_after": later["sound"], "shallow": rows["shallow"],
        "gain": later["sound"] - rows["sound"], "lost": later["deep"] - rows["deep"],
        "more": later["patched"] - rows["patched"], "worked": later["last_work_year"]})[inside].reset_index(drop=True)
    steps = steps.astype({"to_year": "int64", "from_year": "int64"})
    noise = np.maximum(assumptions.number("survival", "refit.noise_share") * steps["panels"].to_numpy(float), 1.0)
    worked = steps["worked"].astype("float64").to_numpy()
    recorded = (worked >= steps["from_year"].to_numpy()) & (worked <= steps["to_year"].to_numpy())
    jumped = ((steps["gain"].to_numpy() > noise) | (steps["lost"].to_numpy() < -noise)
              | (steps["more"].to_numpy() > noise))
    return steps, np.select([recorded, jumped], ["recorded work", "unrecorded work"], "")
