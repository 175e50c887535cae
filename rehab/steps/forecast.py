"""The forecast: a block is a population of panels, and panels fail by Weibull survival.

Five groups of panels: sound, needing partial depth (shallow damage), needing full depth (deep damage), patched
and replaced.  Sound panels go shallow or deep by two competing curves; unrepaired shallow damage breaks a panel
faster; patches fail back to shallow, replaced panels to deep.  Years are steps with exact conditional survival,
so a panel that has lasted forty years is asked only for its forty-first.

A block's own survey moves its curves (empirical Bayes with a gamma prior on the hazard): the multiplier of the
cumulative hazard is (w + n H_seen) / (w + n H_family), with n panels and w the weight of the family.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base import rating, tables
from rehab.base.settings import Assumptions
from rehab.base.survival import cumulative_hazard, median, through_points

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

_NEARLY_ALL: Final = 0.995  # a block with every panel failed has a finite observed hazard


@dataclass(frozen=True)
class Ageing:
    """Yearly hazards and untreated shares of every block; rows are blocks in the order of the network.

    ``year`` is the first year.  The hazards are arrays (blocks, years): of old sound panels, and of new
    concrete from age zero.  ``sound``, ``partial``, ``full`` and ``index`` hold the untreated condition at the
    start of each year.  ``faster`` and ``renewed`` are the factors on the hazard of panels with shallow damage
    and on new shallow damage after joints and cracks were repaired; ``shift`` is the held index less the one
    computed from the shares in the survey year.
    """

    year: int
    shallow: Floats
    deep: Floats
    new_shallow: Floats
    new_deep: Floats
    patch: Floats
    panel: Floats
    faster: float
    renewed: float
    sound: Floats
    partial: Floats
    full: Floats
    index: Floats
    shift: Floats


def age(network: pd.DataFrame, needs: pd.DataFrame, start_year: int, years: int, assumptions: Assumptions) -> Ageing:
    """Curves and untreated condition for ``years`` years from ``start_year``; network and needs in block order."""
    curves = block_curves(network, needs, assumptions)
    gap = (start_year - network["survey_year"]).clip(lower=0).to_numpy(np.int64)
    longest = int(gap.max(initial=0))
    ages = network["age_yr"].clip(lower=assumptions.number("survival", "least_age_yr")).to_numpy(float)
    shallow = _increments(curves["shallow_scale"], curves["shallow_shape"], ages, longest + years)
    deep = _increments(curves["deep_scale"], curves["deep_shape"], ages, longest + years)
    faster = assumptions.number("survival", "shallow_to_deep.hazard_factor")
    full = needs["full_share"].to_numpy(float)
    partial = np.minimum(needs["partial_share"].to_numpy(float), 1.0 - full)
    path = _untreated(1.0 - full - partial, partial, full, shallow, deep, faster)
    at = gap[:, None] + np.arange(years + 1)
    rows = np.arange(len(network))[:, None]
    sound, partial, full = (group[rows, at] for group in path)
    seen = rating.index_of(needs["partial_share"], needs["full_share"], assumptions)
    shift = needs["index"].to_numpy(float) - seen
    family = _family_curves(network, assumptions)
    none = np.zeros(len(network))
    lives = {name: assumptions.number("treatment_lives", name)
             for name in ("patch.scale", "patch.shape", "panel.scale", "panel.shape")}
    return Ageing(
        start_year, shallow[rows, at[:, :-1]], deep[rows, at[:, :-1]],
        _increments(family["shallow_scale"], family["shallow_shape"], none, years),
        _increments(family["deep_scale"], family["deep_shape"], none, years),
        _increments(np.array([lives["patch.scale"]]), np.array([lives["patch.shape"]]), np.zeros(1), years)[0],
        _increments(np.array([lives["panel.scale"]]), np.array([lives["panel.shape"]]), np.zeros(1), years)[0],
        faster, assumptions.number("treatment_lives", "after_work.shallow_factor"),
        sound, partial, full, _index(partial, full, shift[:, None], assumptions), shift,
    )


def block_curves(network: pd.DataFrame, needs: pd.DataFrame, assumptions: Assumptions) -> pd.DataFrame:
    """Scales and shapes of shallow and deep damage per block, the family's moved by the block's own survey.

    Columns block_id, shallow_scale, shallow_shape, deep_scale, deep_shape (years), shallow_factor and
    deep_factor: what the cumulative hazard of the family is multiplied by.
    """
    family = _family_curves(network, assumptions)
    weight = assumptions.number("survival", "prior.weight_panels")
    panels = network["panels"].to_numpy(float)
    expected_partial, expected_full = _expected(network, family, assumptions)
    seen_full = np.minimum(needs["full_share"].to_numpy(float), _NEARLY_ALL)
    seen_partial = needs["partial_share"].to_numpy(float)

    def factor(seen: Floats, expected: Floats) -> Floats:
        return np.asarray((weight + panels * -np.log1p(-seen)) / (weight + panels * -np.log1p(-expected)))

    deep = factor(seen_full, np.minimum(expected_full, _NEARLY_ALL))
    shallow = factor(_among_rest(seen_partial, seen_full), _among_rest(expected_partial, expected_full))
    return family.assign(
        shallow_factor=shallow, deep_factor=deep,
        shallow_scale=family["shallow_scale"] * shallow ** (-1 / family["shallow_shape"]),
        deep_scale=family["deep_scale"] * deep ** (-1 / family["deep_shape"]),
    )


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
    more_full = np.maximum(full - needs["full_share"].to_numpy(float)[:, None], 0.0)
    more_partial = np.maximum(partial - needs["partial_share"].to_numpy(float)[:, None], 0.0)

    def grown(name: str, more: Floats) -> Floats:
        return np.minimum(needs[name].to_numpy(float)[:, None] + more, 1.0).ravel()

    def ratio(key: str) -> float:
        return assumptions.number("defaults", key)

    return pd.DataFrame({
        "year": np.tile(np.arange(ageing.year, ageing.year + years, dtype=np.int64), len(needs)),
        "full_share": full.ravel(), "partial_share": partial.ravel(), "index": ageing.index[:, :years].ravel(),
        "cracked_share": grown("cracked_share", more_full + ratio("crack_share_of_partial") * more_partial),
        "sunken_share": grown("sunken_share", ratio("sunken_share_of_full") * more_full),
        "curb_share": grown("curb_share", ratio("curb_share_of_full") * more_full),
        "wide_joint_share": grown("wide_joint_share", ratio("wide_joint_share_of_partial") * more_partial),
    })


def treated(ageing: Ageing, block: Ints, step: Ints, strategy: npt.NDArray[np.str_],
            years: int | None = None) -> tuple[Floats, Floats, Floats]:
    """Sound, partial and full shares of treated blocks, arrays (rows, years from the first year on).

    ``block`` is the row of the block, ``step`` the year of work less the first year.  Before the work the shares
    are the untreated ones; in the year of work they are those right after it.
    """
    span = years if years is not None else ageing.shallow.shape[1]
    paths = tuple(getattr(ageing, name)[block, :span].copy() for name in ("sound", "partial", "full"))
    for number in np.unique(step):
        for name in tables.WORK:
            rows = np.flatnonzero((step == number) & (strategy == name))
            if len(rows):
                after = _after_work(ageing, block[rows], int(number), name, span)
                for path, group in zip(paths, after, strict=True):
                    path[rows, number:] = group
    return paths[0], paths[1], paths[2]


def treated_index(ageing: Ageing, block: Ints, step: Ints, strategy: npt.NDArray[np.str_], partial: Floats,
                  full: Floats, assumptions: Assumptions) -> Floats:
    """Index of treated paths.  From the work on, the held index keeps its shift only for what was not renewed."""
    worked = np.arange(partial.shape[1]) >= step[:, None]
    shift = np.where(worked & (strategy != "none")[:, None], 0.0, ageing.shift[block][:, None])
    return _index(partial, full, shift, assumptions)


def benefit(network: pd.DataFrame, ageing: Ageing, years: int, strategy: str, assumptions: Assumptions) -> Floats:
    """What the strategy gains in each block and year of work: an array (blocks, years).

    Discounted square-yard-years of sound pavement gained over the horizon, times the traffic weight of the class.
    The horizon ends for every year of work at the same time, so waiting is never rewarded by a later end.
    """
    rate = assumptions.number("economics", "discount")
    horizon = int(assumptions.number("economics", "horizon_yr"))
    worth = (1.0 + rate) ** -np.arange(horizon, dtype=float)
    weight = network["area_sqyd"].to_numpy(float) * assumptions.by_class(
        "economics", "weight", network["functional_class"]).to_numpy(float)
    block = np.arange(len(network))
    gains = np.empty((len(network), years))
    for step in range(years):
        sound = _after_work(ageing, block, step, strategy, horizon)[0]
        gains[:, step] = (sound - ageing.sound[:, step:horizon]) @ worth[step:]
    return np.asarray(gains * weight[:, None])


def years_to(index: Floats, trigger: Floats, longest: float) -> Floats:
    """Years until a path of the index (rows, years) first falls to the trigger, between two years by a line.

    Zero where it begins at or below; ``longest`` where it does not get there.
    """
    below = index <= trigger[:, None]
    first = np.argmax(below, axis=1)
    rows = np.arange(len(index))
    before, after = index[rows, np.maximum(first - 1, 0)], index[rows, first]
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.where(before > after, (before - trigger) / (before - after), 0.0)
    when = np.where(first == 0, 0.0, first - 1 + part)
    return np.where(below.any(axis=1), np.minimum(when, longest), longest)


def life(network: pd.DataFrame, ageing: Ageing, strategy: npt.NDArray[np.str_],
         assumptions: Assumptions) -> pd.DataFrame:
    """Years to the trigger of the class without work and with the strategy done in the first year, per block.

    Columns block_id, untreated_yr, treated_yr, life_extension_yr; lives end at ``economics/longest_life_yr``.
    """
    longest = assumptions.number("economics", "longest_life_yr")
    trigger = assumptions.by_class("economics", "trigger", network["functional_class"]).to_numpy(float)
    block, step = np.arange(len(network)), np.zeros(len(network), np.int64)
    _, partial, full = treated(ageing, block, step, strategy)
    without = years_to(ageing.index[:, :-1], trigger, longest)
    with_work = years_to(treated_index(ageing, block, step, strategy, partial, full, assumptions), trigger, longest)
    with_work = np.where(strategy == "none", without, with_work)
    return pd.DataFrame({"block_id": network["block_id"], "untreated_yr": without, "treated_yr": with_work,
                         "life_extension_yr": np.maximum(with_work - without, 0.0)})


def grinding_life(assumptions: Assumptions) -> float:
    """Median years a ground surface lasts, from the two published survival points."""
    points = [assumptions.number("treatment_lives", f"ground.{name}")
              for name in ("first_age_yr", "first_share", "second_age_yr", "second_share")]
    return float(median(*through_points(*points)))


def _after_work(ageing: Ageing, block: Ints, step: int, strategy: str, span: int) -> tuple[Floats, Floats, Floats]:
    """Shares from the year of work on, arrays (rows, span - step), for one strategy and one year of work."""
    count, width = len(block), span - step
    sound, partial, full = (getattr(ageing, name)[block, step].copy() for name in ("sound", "partial", "full"))
    patched, replaced = np.zeros(count), np.zeros(count)
    shallow, deep, slower = ageing.shallow, ageing.deep, ageing.renewed
    begin = step
    if strategy == "reconstruction":
        sound, partial, full = np.ones(count), np.zeros(count), np.zeros(count)
        shallow, deep, slower, begin = ageing.new_shallow, ageing.new_deep, 1.0, 0
    elif strategy != "none":
        patched, partial = partial, np.zeros(count)
        if strategy == "full_depth":
            replaced, full = full, np.zeros(count)
    out = tuple(np.empty((count, width)) for _ in range(3))
    for year in range(width):
        out[0][:, year], out[1][:, year], out[2][:, year] = sound + patched + replaced, partial, full
        to_shallow, to_deep = slower * shallow[block, begin + year], deep[block, begin + year]
        once_shallow = ageing.faster * to_deep
        worse, broken, leaving = _leave(sound, to_shallow, to_deep, once_shallow)
        patch_fails, patch_breaks, patch_leaving = _leave(patched, ageing.patch[year], 0.0, once_shallow)
        breaking = partial * -np.expm1(-once_shallow)
        panel_fails = replaced * -np.expm1(-ageing.panel[year])
        sound = sound - leaving
        partial = partial + worse + patch_fails - breaking
        full = full + broken + patch_breaks + breaking + panel_fails
        patched, replaced = patched - patch_leaving, replaced - panel_fails
    return out[0], out[1], out[2]


def _untreated(sound: Floats, partial: Floats, full: Floats, shallow: Floats, deep: Floats,
               faster: float) -> tuple[Floats, Floats, Floats]:
    """Shares at the start of each year, arrays (blocks, years + 1)."""
    years = shallow.shape[1]
    out = tuple(np.empty((len(sound), years + 1)) for _ in range(3))
    for year in range(years + 1):
        out[0][:, year], out[1][:, year], out[2][:, year] = sound, partial, full
        if year < years:
            once_shallow = faster * deep[:, year]
            worse, broken, leaving = _leave(sound, shallow[:, year], deep[:, year], once_shallow)
            breaking = partial * -np.expm1(-once_shallow)
            sound, partial, full = sound - leaving, partial + worse - breaking, full + broken + breaking
    return out[0], out[1], out[2]


def _leave(sound: Floats, to_shallow: npt.ArrayLike, to_deep: npt.ArrayLike,
           once_shallow: Floats) -> tuple[Floats, Floats, Floats]:
    """Of the sound: those shallow at the end of the year, those deep by then, and both.

    Competing hazards, even through the year; a panel that goes shallow early in the year may break late in it:
    shallow = s (e^-f - e^-b) / (b - f), with s the hazard to shallow, b that plus the one straight to deep and f
    the one from shallow to deep (``once_shallow``).
    """
    shallow = np.asarray(to_shallow, float)
    both = shallow + np.asarray(to_deep, float)
    apart = np.abs(both - once_shallow)
    mean = np.divide(-np.expm1(-apart), apart, out=np.ones_like(apart), where=apart > 0)
    leaving = sound * -np.expm1(-both)
    worse = np.minimum(sound * shallow * np.exp(-np.minimum(both, once_shallow)) * mean, leaving)
    return worse, leaving - worse, leaving


def _increments(scale: npt.ArrayLike, shape: npt.ArrayLike, ages: Floats, years: int) -> Floats:
    """Hazard of each coming year, an array (blocks, years): H(age + 1) - H(age)."""
    at = ages[:, None] + np.arange(years + 1)
    return np.diff(cumulative_hazard(at, np.asarray(scale, float)[:, None], np.asarray(shape, float)[:, None]), axis=1)


def _family_curves(network: pd.DataFrame, assumptions: Assumptions) -> pd.DataFrame:
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


def _expected(network: pd.DataFrame, family: pd.DataFrame, assumptions: Assumptions) -> tuple[Floats, Floats]:
    """Shares the family has at the block's age, nothing repaired: each distinct curve is run once from age zero."""
    ages = network["age_yr"].clip(lower=assumptions.number("survival", "least_age_yr")).to_numpy(float)
    names = ["shallow_scale", "shallow_shape", "deep_scale", "deep_shape"]
    distinct, which = np.unique(family[names].to_numpy(float), axis=0, return_inverse=True)
    longest = int(np.ceil(ages.max(initial=1.0)))
    start = np.zeros(len(distinct))
    shallow = _increments(distinct[:, 0], distinct[:, 1], start, longest)
    deep = _increments(distinct[:, 2], distinct[:, 3], start, longest)
    faster = assumptions.number("survival", "shallow_to_deep.hazard_factor")
    _, partial, full = _untreated(start + 1.0, start, start, shallow, deep, faster)
    at = np.rint(ages).astype(np.int64)
    return partial[which.ravel(), at], full[which.ravel(), at]


def _among_rest(partial: Floats, full: Floats) -> Floats:
    """Share needing partial depth among the panels that do not need full depth."""
    return np.minimum(np.divide(partial, 1.0 - full, out=np.zeros_like(partial), where=full < 1.0), _NEARLY_ALL)


def _index(partial: Floats, full: Floats, shift: Floats, assumptions: Assumptions) -> Floats:
    return np.clip(rating.index_of(partial, full, assumptions) + shift, 0.0, 100.0)
