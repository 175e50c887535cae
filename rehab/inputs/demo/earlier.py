"""The survey before: the same blocks five years younger, so that the city can be held against itself.

Of the panels damaged today each was damaged then with the chance that its damage curve gives, on the condition that it
is damaged by now; of those that broke since, many had spalled or cracked before.  What an engineer would have counted
then follows.  No panel was worse then than it is today, but in blocks whose panels were replaced since, which the year
of last work says.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.survival import cumulative_hazard
from rehab.inputs.demo.pavement import SURVEY_YEAR
from rehab.inputs.demo.survey import CRACK, DEEP, SPALL, joint_length

Floats = npt.NDArray[np.float64]

YEARS_BEFORE: Final = 5
EARLIER_YEAR: Final = SURVEY_YEAR - YEARS_BEFORE
#: times as fast that a spalled panel breaks, feet of spall counted on it, chance that one that broke was cracked before
FASTER: Final = 8.0
SPALL_FT: Final = 6.0
CRACKED_BEFORE: Final = 0.4


def look_back(city: pd.DataFrame, seed: int) -> pd.DataFrame:
    """The city as surveyed five years before; ``city`` as :func:`rehab.inputs.demo.panels.look_closer` returns it."""
    rng = np.random.default_rng([seed, 6])
    age = SURVEY_YEAR - city["year_built"].to_numpy(float)
    then = np.maximum(age - YEARS_BEFORE, 0.0)
    panels, patched = (city[name].to_numpy(float) for name in ("panels", "panels_patched"))
    at_work = (city["last_work_year"] - city["year_built"]).fillna(0.0).to_numpy(float)
    since = (city["last_work_year"] >= EARLIER_YEAR).to_numpy()
    parts = {name: city[name].to_numpy(float) for name in ("panels_broken", "panels_sunken", "corner_breaks")}
    deep = np.sum(list(parts.values()), axis=0)
    # Replaced panels have a life of their own: what is broken today broke after the work, where that came before.
    begin = np.where((patched > 0) & ~since, at_work, 0.0)
    chance = _by_then(deep / np.maximum(panels - patched, 1.0), _part(then, age, begin, DEEP))
    kept = {name: rng.binomial(count.astype(int), chance) for name, count in parts.items()}
    replaced = rng.binomial(np.where(since, patched, 0).astype(int), _by_then(
        patched / panels, _part(then, np.maximum(at_work, 1.0), np.zeros(len(city)), DEEP)))
    kept["panels_broken"] = kept["panels_broken"] + replaced
    whole = panels - deep - patched
    cracked = rng.binomial(city["panels_cracked"].to_numpy(int), _by_then(
        city["panels_cracked"].to_numpy(float) / np.maximum(whole, 1.0), _part(then, age, np.zeros(len(city)), CRACK)))
    broke = np.maximum(deep + np.where(since, patched, 0.0) - np.sum(list(kept.values()), axis=0), 0.0)
    cracked = cracked + rng.binomial(broke.astype(int), CRACKED_BEFORE)
    new = {**kept, "panels_cracked": cracked, "panels_patched": np.where(since, 0.0, patched)}
    back = city.assign(
        **{name: np.asarray(count, float) for name, count in new.items()},
        last_work_year=city["last_work_year"].mask(since), utility_year=np.nan, no_work_until=np.nan,
        surveyed_on=city["surveyed_on"] - pd.DateOffset(years=YEARS_BEFORE))
    return _ride(city, _lengths(city, back, broke, then, age, rng), then, age, rng)


def _part(then: Floats, now: Floats, begin: Floats, curve: tuple[float, float]) -> Floats:
    """Part of the cumulative hazard from ``begin`` to ``now`` (ages) that was spent by ``then``."""
    first, middle, last = (cumulative_hazard(age, *curve) for age in (begin, np.maximum(then, begin), now))
    return np.asarray(np.divide(middle - first, last - first, out=np.zeros_like(last), where=last > first).clip(0, 1))


def _by_then(share: Floats, part: Floats) -> Floats:
    """Chance that what is damaged today, a ``share`` of all, was damaged when a part of the hazard was spent."""
    today = np.clip(share, 1e-9, 1 - 1e-9)
    return np.asarray(-np.expm1(part * np.log1p(-today)) / today).clip(0, 1)


def _lengths(city: pd.DataFrame, back: pd.DataFrame, broke: Floats, then: Floats, age: Floats,
             rng: np.random.Generator) -> pd.DataFrame:
    """Feet and square feet: less of each by its own curve or by the panels that they lie on.

    Panels that ``broke`` since are no longer counted as spalled; then, those that were are.
    """
    spalled = city["spalled_joint_ft"].to_numpy(float)
    less = _by_then(spalled / np.maximum(joint_length(city), 1.0), _part(then, age, np.zeros(len(city)), SPALL))
    less = np.minimum(less * rng.gamma(60.0, 1 / 60.0, len(city)), 1.0)
    feet = np.floor(spalled * less)
    share = np.minimum(feet / SPALL_FT / city["panels"].to_numpy(float), 0.9)
    before = rng.binomial(broke.astype(int), FASTER * share / (FASTER * share + 1.0 - share))
    feet = np.minimum(np.where(feet < 3, 0.0, feet) + SPALL_FT * before, np.floor(joint_length(city)))
    cracked = _ratio(back["panels_cracked"], city["panels_cracked"])
    return back.assign(
        spalled_joint_ft=feet, hollow_sqft=np.floor(city["hollow_sqft"] * less),
        damage_depth_in=city["damage_depth_in"].where(feet > 0),
        cracked_ft=np.where(city["panels_cracked"] > 0, np.floor(city["cracked_ft"] * cracked),
                            np.floor(back["panels_cracked"] * city["panel_width_ft"])),
        wide_joint_ft=np.floor(city["wide_joint_ft"] * then / np.maximum(age, 1.0)),
        sunken_curb_ft=np.floor(city["sunken_curb_ft"] * _ratio(back["panels_sunken"], city["panels_sunken"])))


def _ride(city: pd.DataFrame, back: pd.DataFrame, then: Floats, age: Floats,
          rng: np.random.Generator) -> pd.DataFrame:
    """Steps grow with age; roughness with steps, damaged panels and age, and no run of the van repeats another."""
    step = np.floor(100 * city["faulting_in"].to_numpy(float) * then / np.maximum(age, 1.0)) / 100
    bad = ["panels_broken", "panels_sunken", "panels_cracked"]
    more = ((city[bad].sum(axis=1) - back[bad].sum(axis=1)) / city["panels"]).to_numpy(float)
    risen = 230 * (city["faulting_in"].to_numpy(float) - step) + 190 * more + 0.5 * YEARS_BEFORE
    rough = np.round(city["iri_in_per_mi"].to_numpy(float) - risen + rng.normal(0, 4, len(city))).clip(50, 600)
    return back.assign(faulting_in=step, iri_in_per_mi=rough)


def _ratio(part: pd.Series, whole: pd.Series) -> Floats:
    over = whole.to_numpy(float)
    return np.asarray(np.divide(part.to_numpy(float), over, out=np.zeros(len(over)), where=over > 0))
