"""The curves of the families, and what a block's own survey makes of them."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base import panels, tables
from rehab.base.settings import Assumptions

Floats = npt.NDArray[np.float64]


def families(network: pd.DataFrame, assumptions: Assumptions) -> pd.DataFrame:
    """Scales (years) and shapes of shallow and deep damage of each block's family, one row per block.

    Columns block_id, shallow_scale, shallow_shape, deep_scale, deep_shape: by class, thickness, dowels and material
    distress, rows of the table ``survival``.
    """
    def number(key: str) -> float:
        return assumptions.number("survival", key)

    levels = {name: level for level, name in enumerate(tables.DISTRESS)}
    level = network["material_distress"].map(levels).fillna(0).to_numpy(float)
    worse = number("distress.scale_factor") ** level
    size = network["family"].str.split(", ").str[1].map(
        {"thin": number("factor.thin.deep"), "medium": 1.0, "thick": number("factor.thick.deep")}).to_numpy(float)
    joint = np.where(network["dowelled"].astype(bool), number("factor.dowelled.deep"), 1.0)
    classes = network["functional_class"]
    return pd.DataFrame({
        "block_id": network["block_id"],
        "shallow_scale": assumptions.by_class("survival", "shallow.scale", classes).to_numpy(float) * worse,
        "shallow_shape": number("shallow.shape"),
        "deep_scale": assumptions.by_class("survival", "deep.scale", classes).to_numpy(float) * worse * size * joint,
        "deep_shape": number("deep.shape"),
    })


def ages(network: pd.DataFrame, assumptions: Assumptions) -> Floats:
    """Age of each block at its survey, years; the youngest are taken as ``least_age_yr`` old."""
    return network["age_yr"].clip(lower=assumptions.number("survival", "least_age_yr")).to_numpy(float)


def counted(network: pd.DataFrame, needs: pd.DataFrame) -> tuple[Floats, Floats, Floats]:
    """Panels sound, with shallow and with deep damage at the survey; a panel counts once, by its worst."""
    count = network["panels"].to_numpy(float)
    full = np.clip(needs["full_share"].to_numpy(float), 0.0, 1.0)
    partial = np.clip(needs["partial_share"].to_numpy(float), 0.0, 1.0 - full)
    return count * (1.0 - full - partial), count * partial, count * full


def mended(network: pd.DataFrame, needs: pd.DataFrame) -> Floats:
    """Panels that were patched or replaced before the survey and are sound."""
    sound, _, _ = counted(network, needs)
    return np.asarray(np.minimum(network["panels_patched"].fillna(0).to_numpy(float), sound))


def mended_age(network: pd.DataFrame, assumptions: Assumptions) -> Floats:
    """Years from the patching to the survey: since the last work, where it is recorded, else as a default says."""
    since = (network["survey_year"] - network["last_work_year"]).astype("float64").to_numpy()
    return np.where(since >= 0, since, assumptions.number("survival", "mended_age_yr"))


def own(network: pd.DataFrame, needs: pd.DataFrame, family: pd.DataFrame,
        assumptions: Assumptions) -> panels.Multipliers:
    """What each block's own survey makes of its family's hazards, as a multiplier of each (empirical Bayes).

    Patched panels were damaged once, and count so.  A block with work recorded but no count of patched panels leans on
    its family: how much was repaired is not known.  One of which only an index, a rating or a word is held speaks for a
    part of its panels.
    """
    def number(key: str) -> float:
        return assumptions.number("survival", key)

    end = ages(network, assumptions)
    way = panels.path(np.zeros(len(end)), end, panels.Curves(*(family[name].to_numpy(float) for name in (
        panels.Curves._fields))), number("shallow_to_deep.hazard_factor"))
    worked = (network["last_work_year"] <= network["survey_year"]).fillna(False).to_numpy(bool)
    speaks = np.where(network["estimated"].to_numpy(bool), number("prior.rating_counts_for"), 1.0)
    speaks = np.where(worked & network["panels_patched"].isna().to_numpy(), 0.0, speaks)
    sound, partial, full = counted(network, needs)
    patched = mended(network, needs)
    counts = [count * speaks for count in (sound - patched, partial, full, patched)]
    return panels.multipliers(way, counts, number("prior.shallow_weight"), number("prior.deep_weight"))


def block_curves(network: pd.DataFrame, needs: pd.DataFrame, assumptions: Assumptions) -> pd.DataFrame:
    """Scales and shapes of shallow and deep damage per block, the family's moved by the block's own survey.

    Columns as :func:`families`, with shallow_factor and deep_factor, what the cumulative hazard of the family is
    multiplied by, and the standard deviations of their logarithms, shallow_sd and deep_sd.
    """
    family = families(network, assumptions)
    found = own(network, needs, family, assumptions)
    shallow, deep = np.exp(found.log_shallow), np.exp(found.log_deep)
    return family.assign(
        shallow_factor=shallow, deep_factor=deep,
        shallow_sd=np.sqrt(found.var_shallow), deep_sd=np.sqrt(found.var_deep),
        shallow_scale=family["shallow_scale"] * shallow ** (-1 / family["shallow_shape"]),
        deep_scale=family["deep_scale"] * deep ** (-1 / family["deep_shape"]),
    )


def usual_shares(network: pd.DataFrame, assumptions: Assumptions) -> pd.DataFrame:
    """Shares with shallow and with deep damage that a usual block of each family has at the block's age, unrepaired.

    Columns block_id, partial_share, full_share.
    """
    end, family = ages(network, assumptions), families(network, assumptions)
    way = panels.path(np.zeros(len(end)), end, panels.Curves(*(family[name].to_numpy(float) for name in (
        panels.Curves._fields))), assumptions.number("survival", "shallow_to_deep.hazard_factor"))
    _, shallow, deep, _ = panels.moves(way, np.ones(len(end)), np.ones(len(end)))
    return pd.DataFrame({"block_id": network["block_id"], "partial_share": shallow, "full_share": deep})
