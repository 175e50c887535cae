"""Blocks without work, from their survey through the years of the plan."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base import rating
from rehab.base.panels import Multipliers, leave
from rehab.base.settings import Assumptions
from rehab.base.survival import cumulative_hazard
from rehab.steps.forecast import curves

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Shares = tuple[Floats, Floats, Floats]


@dataclass(frozen=True)
class Ageing:
    """Yearly hazards and untreated shares of every block; rows are blocks in the order of the network.

    ``year`` is the first year.  ``shallow`` and ``deep`` are the hazards of old sound panels in each year from then on,
    ``before_shallow`` and ``before_deep`` those of the years between survey and first year (zero before the survey).
    ``new_shallow`` and ``new_deep`` are the hazards of new concrete from age zero, one row per distinct family, and
    ``family`` the row of each block; ``patch`` and ``panel`` those of patches and replaced panels by age.
    ``seen`` holds the shares sound, partial and full at the survey, ``mended`` the share of the sound ones that were
    patched or replaced before it, ``before_mended`` and ``mended_hazard`` their hazards, by the curve of replaced
    panels, and ``mended_left`` what stands of them at the start of the first year.
    ``sound``, ``partial``, ``full`` and ``index`` hold the untreated condition at the start of each year, a column more
    than the hazards.  ``faster`` and ``renewed`` are the factors on the hazard of panels with shallow damage and on new
    shallow damage after joints and cracks were repaired; ``shift`` is the held index less the one computed from the
    shares in the survey year; ``own`` is what each block's survey says of its multipliers, already in the hazards.
    ``factors`` multiply each row's hazards of new concrete (shallow, deep), of patches and of replaced panels: ones
    unless the ageing was varied.
    """

    year: int
    shallow: Floats
    deep: Floats
    before_shallow: Floats
    before_deep: Floats
    new_shallow: Floats
    new_deep: Floats
    family: Ints
    patch: Floats
    panel: Floats
    faster: float
    renewed: float
    seen: Shares
    mended: Floats
    before_mended: Floats
    mended_hazard: Floats
    mended_left: Floats
    sound: Floats
    partial: Floats
    full: Floats
    index: Floats
    shift: Floats
    own: Multipliers
    factors: tuple[Floats, Floats, Floats, Floats]


def age(network: pd.DataFrame, needs: pd.DataFrame, start_year: int, years: int, assumptions: Assumptions) -> Ageing:
    """Curves and untreated condition for ``years`` years from ``start_year``; network and needs in block order.

    A survey dated after the first year stands for the first year: nothing is aged backwards.
    """
    family = curves.families(network, assumptions)
    own = curves.own(network, needs, family, assumptions)
    gap = (start_year - network["survey_year"]).clip(lower=0).to_numpy(np.int64)
    longest = int(gap.max(initial=0))
    # A row's first column is the year of the oldest survey; the hazards before its own survey are none.
    surveyed = curves.ages(network, assumptions)
    begins = surveyed - (longest - gap)
    at = np.maximum(begins[:, None] + np.arange(longest + years + 1), surveyed[:, None])
    hazards = [np.diff(cumulative_hazard(at, family[f"{name}_scale"].to_numpy(float)[:, None],
                                         family[f"{name}_shape"].to_numpy(float)[:, None]), axis=1)
               * np.exp(log)[:, None] for name, log in (("shallow", own.log_shallow), ("deep", own.log_deep))]
    names = ["shallow_scale", "shallow_shape", "deep_scale", "deep_shape"]
    distinct, which = np.unique(family[names].to_numpy(float), axis=0, return_inverse=True)
    panels = network["panels"].to_numpy(float)
    _, partial, full = (count / panels for count in curves.counted(network, needs))
    seen = (1.0 - full - partial, partial, full)
    shift = needs["index"].to_numpy(float) - rating.index_of(seen[1], seen[2], assumptions)
    lives = {name: assumptions.number("treatment_lives", name)
             for name in ("patch.scale", "patch.shape", "panel.scale", "panel.shape")}
    mended = curves.mended(network, needs)
    at_mending = curves.mended_age(network, assumptions)[:, None] + np.maximum(
        np.arange(longest + years + 1) - (longest - gap)[:, None], 0)
    old = np.diff(cumulative_hazard(at_mending, lives["panel.scale"], lives["panel.shape"]), axis=1)
    nothing = np.empty((len(network), 0))
    bare = Ageing(
        start_year, hazards[0][:, longest:], hazards[1][:, longest:], hazards[0][:, :longest],
        hazards[1][:, :longest],
        _new(distinct[:, 0], distinct[:, 1], years), _new(distinct[:, 2], distinct[:, 3], years),
        which.ravel().astype(np.int64), _new(lives["patch.scale"], lives["patch.shape"], years)[0],
        _new(lives["panel.scale"], lives["panel.shape"], years)[0],
        assumptions.number("survival", "shallow_to_deep.hazard_factor"),
        assumptions.number("treatment_lives", "after_work.shallow_factor"),
        seen, mended / panels, old[:, :longest], old[:, longest:], np.zeros(len(network)), nothing, nothing, nothing,
        nothing, shift, own, _ones(len(network)),
    )
    return _through(bare, assumptions)


def vary(ageing: Ageing, block: Ints, shallow: Floats, deep: Floats, assumptions: Assumptions, years: int,
         patch: Floats | float = 1.0, panel: Floats | float = 1.0, seen: Floats | float = 1.0) -> Ageing:
    """Rows ``block`` again with their hazards multiplied: by ``shallow`` and ``deep``, patches and panels by theirs.

    The untreated condition is run anew from the survey for ``years`` years, with the damage seen then multiplied by
    ``seen``.  The factors are arrays of a number per row; those of patches and panels and ``seen`` may be one for all.
    """
    full = np.minimum(ageing.seen[2][block] * seen, 1.0)
    partial = np.minimum(ageing.seen[1][block] * seen, 1.0 - full)

    def times(hazard: Floats, factor: Floats) -> Floats:
        return np.asarray(hazard[block] * factor[:, None])

    ones = np.ones(len(block))
    varied = replace(
        ageing, shallow=times(ageing.shallow[:, :years], shallow), deep=times(ageing.deep[:, :years], deep),
        before_shallow=times(ageing.before_shallow, shallow), before_deep=times(ageing.before_deep, deep),
        before_mended=times(ageing.before_mended, ones * panel),
        mended_hazard=times(ageing.mended_hazard[:, :years], ones * panel),
        mended=np.minimum(ageing.mended[block], 1.0 - full - partial),
        family=ageing.family[block], factors=(shallow, deep, ones * patch, ones * panel),
        seen=(1.0 - full - partial, partial, full), shift=ageing.shift[block])
    return _through(varied, assumptions)


def untreated(network: pd.DataFrame, ageing: Ageing, years: int) -> pd.DataFrame:
    """The table ``forecast`` without work: the condition going into each year's season."""
    blocks = len(network)
    return pd.DataFrame({
        "block_id": np.repeat(network["block_id"].to_numpy(), years),
        "year": np.tile(np.arange(ageing.year, ageing.year + years, dtype=np.int64), blocks),
        "strategy": "none",
        **{f"{name}_share": getattr(ageing, name)[:, :years].ravel() for name in ("sound", "partial", "full")},
        "index": ageing.index[:, :years].ravel(),
    }).astype({"strategy": "str"})


def growing_shares(needs: pd.DataFrame, ageing: Ageing, years: int, assumptions: Assumptions) -> pd.DataFrame:
    """All shares of the needs for each block and year, year by year within the block.

    Cracked and settled panels, curb and wide joints grow with the shares they belong to, by the ratios of the
    table ``defaults``; they never shrink without work.
    """
    full, partial = ageing.full[:, :years], ageing.partial[:, :years]
    shares = shares_like(needs, full.ravel(), partial.ravel(), np.repeat(np.arange(len(needs)), years), assumptions)
    return shares.assign(year=np.tile(np.arange(ageing.year, ageing.year + years, dtype=np.int64), len(needs)),
                         index=ageing.index[:, :years].ravel())


def shares_like(needs: pd.DataFrame, full: Floats, partial: Floats, row: Ints,
                assumptions: Assumptions) -> pd.DataFrame:
    """All shares of the needs where those needing full and partial depth have become ``full`` and ``partial``.

    ``row`` is the row of ``needs`` that each belongs to.
    """
    more_full = np.maximum(full - needs["full_share"].to_numpy(float)[row], 0.0)
    more_partial = np.maximum(partial - needs["partial_share"].to_numpy(float)[row], 0.0)

    def grown(name: str, more: Floats) -> Floats:
        return np.minimum(needs[name].to_numpy(float)[row] + more, 1.0)

    def ratio(key: str) -> float:
        return assumptions.number("defaults", key)

    return pd.DataFrame({
        "full_share": full, "partial_share": partial,
        "cracked_share": grown("cracked_share", more_full + ratio("crack_share_of_partial") * more_partial),
        "sunken_share": grown("sunken_share", ratio("sunken_share_of_full") * more_full),
        "curb_share": grown("curb_share", ratio("curb_share_of_full") * more_full),
        "wide_joint_share": grown("wide_joint_share", ratio("wide_joint_share_of_partial") * more_partial),
    })


def index_of(partial: Floats, full: Floats, shift: Floats, assumptions: Assumptions) -> Floats:
    """Index of shares, with the distance that the held index keeps from it."""
    return np.clip(rating.index_of(partial, full, assumptions) + shift, 0.0, 100.0)


def _through(ageing: Ageing, assumptions: Assumptions) -> Ageing:
    """The untreated shares from the survey to the last year, at the start of each year from the first on."""
    gap, years = ageing.before_shallow.shape[1], ageing.shallow.shape[1]
    out = tuple(np.empty((len(ageing.shallow), years + 1)) for _ in range(3))
    sound, partial, full = ageing.seen
    mended = left = ageing.mended
    sound = np.maximum(sound - mended, 0.0)
    for step in range(gap + years + 1):
        if step >= gap:
            out[0][:, step - gap], out[1][:, step - gap], out[2][:, step - gap] = sound + mended, partial, full
        if step == gap:
            left = mended
        if step == gap + years:
            break
        shallow, deep, old = (
            (ageing.before_shallow[:, step], ageing.before_deep[:, step], ageing.before_mended[:, step]) if step < gap
            else (ageing.shallow[:, step - gap], ageing.deep[:, step - gap], ageing.mended_hazard[:, step - gap]))
        once_shallow = ageing.faster * deep
        worse, broken, leaving = leave(sound, shallow, deep, once_shallow)
        breaking = partial * -np.expm1(-once_shallow)
        lost = mended * -np.expm1(-old)
        mended = mended - lost
        sound, partial, full = sound - leaving, partial + worse - breaking, full + broken + breaking + lost
    return replace(ageing, mended_left=left, sound=np.minimum(out[0], 1.0), partial=out[1], full=out[2],
                   index=index_of(out[1], out[2], ageing.shift[:, None], assumptions))


def _ones(count: int) -> tuple[Floats, Floats, Floats, Floats]:
    return np.ones(count), np.ones(count), np.ones(count), np.ones(count)


def _new(scale: npt.ArrayLike, shape: npt.ArrayLike, years: int) -> Floats:
    """Hazard of each year of life from age zero on, an array (curves, years)."""
    at = np.arange(years + 1.0)
    total = cumulative_hazard(at, np.atleast_1d(scale)[:, None], np.atleast_1d(shape)[:, None])
    return np.asarray(np.diff(total, axis=1))
