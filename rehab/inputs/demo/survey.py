"""What the inspectors found: counts that follow from age, traffic and ground, with honest scatter.

Each block draws a frailty (its ground, its contractor) that multiplies its hazard.  Panels fail by Weibull
survival S(a) = exp(-f (a / scale)^shape): one curve for cracks, one for deep damage (broken, sunken, corner
gone), one for the share of joint that spalls.  Some blocks had their failed panels replaced in the past.
The scales are set so that many streets reach 40 to 50 years and old ones live on by replaced panels, as
city and federal reports say of concrete; the values themselves are invented.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.survival import cumulative_hazard
from rehab.inputs.demo.pavement import SURVEY_YEAR

Floats = npt.NDArray[np.float64]

CRACK: Final = (225.0, 2.2)  #: scale (yr) and shape of cracked panels
DEEP: Final = (102.0, 4.6)  #: of broken, sunken and corner-broken panels
SPALL: Final = (235.0, 2.3)  #: of the length of joint
#: material distress of the Quarry Hill gravel of these years: shares of none, low, medium, high
MARL_PIT: Final = ("Quarry Hill", 1960, 1972, (0.30, 0.33, 0.25, 0.12))
ELSEWHERE: Final = (0.975, 0.02, 0.005, 0.0)
LEVELS: Final = ("none", "low", "medium", "high")


def inspect(city: pd.DataFrame, seed: int) -> pd.DataFrame:
    """The city with the survey's counts and measures for every block, and last_work_year.

    ``city`` as :func:`rehab.inputs.demo.pavement.build` returns it; same rows, same order.
    """
    rng = np.random.default_rng([seed, 3])
    city = city.assign(material_distress=_material(city, rng))
    city = _counts(city, _stress(city), _frailty(city, rng), rng)
    city = _lengths(city, rng)
    return _ride(city, rng)


def _material(city: pd.DataFrame, rng: np.random.Generator) -> npt.NDArray[np.str_]:
    """Distress of the concrete itself; the gravel of one pit, used in one district for twelve years, is bad."""
    district, first, last, shares = MARL_PIT
    bad = ((city["district"] == district) & city["year_built"].between(first, last)).to_numpy()
    draw = rng.random(int(city["contract"].max()) + 1)[city["contract"]]
    level = np.where(bad, np.searchsorted(np.cumsum(shares)[:3], draw), np.searchsorted(np.cumsum(ELSEWHERE)[:3], draw))
    return np.array(LEVELS)[level]


def _frailty(city: pd.DataFrame, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Factors on the hazard, mean 1: of deep damage (very uneven) and of shallow damage (less so)."""
    contracts = int(city["contract"].max()) + 1
    ground = rng.gamma(0.24, 1 / 0.24, contracts)[city["contract"]] * rng.gamma(0.20, 1 / 0.20, len(city))
    joints = rng.gamma(2.0, 1 / 2.0, contracts)[city["contract"]] * rng.gamma(2.0, 1 / 2.0, len(city))
    return ground, joints * (0.7 + 0.3 * np.sqrt(ground))


def _stress(city: pd.DataFrame) -> Floats:
    """Factor on the hazard from trucks, thickness, joints and material: 1 for an ordinary block of its class."""
    middle = city["functional_class"].map({"arterial": 660.0, "collector": 126.0, "local": 12.0, "alley": 3.0})
    ordinary = city["functional_class"].map({"arterial": 8.0, "collector": 7.0, "local": 6.5, "alley": 6.0})
    kind = city["functional_class"].map({"arterial": 1.5, "collector": 1.2, "local": 0.9, "alley": 0.9})
    trucks = (city["adt"] * city["truck_share"] / middle).clip(0.1, 10) ** 0.30
    thin = (ordinary / city["thickness_in"]) ** 2.0
    joints = np.where(city["dowelled"], 0.7, 1.1)
    material = city["material_distress"].map(dict(zip(LEVELS, (1.0, 1.5, 2.8, 5.5), strict=True)))
    return np.asarray(kind * trucks * thin * joints * material, float)


def _counts(city: pd.DataFrame, stress: Floats, frailty: tuple[Floats, Floats],
            rng: np.random.Generator) -> pd.DataFrame:
    """Panels by what was seen; each panel is counted once, so the counts never exceed the panels."""
    ground, joints = frailty
    age = SURVEY_YEAR - city["year_built"].to_numpy()
    panels = city["panels"].to_numpy().astype(int)
    soft = np.exp(-((city["river_share"].to_numpy() / 0.12) ** 2))
    deep_factor = stress * ground * (1 + 0.8 * soft)
    worked, work_year = _past_work(city, age, deep_factor, rng)
    age_worked = np.where(worked, work_year - city["year_built"].to_numpy(), 0.0)
    then = deep_factor * cumulative_hazard(age_worked, *DEEP)
    now = deep_factor * cumulative_hazard(age, *DEEP)
    patched = rng.binomial(panels, -np.expm1(-then))
    cut = rng.binomial(1, np.where(age > 12, 0.05, 0.0)) * rng.integers(1, 3, len(city))  # trenches of utilities
    patched = np.minimum(patched + np.where(patched > 0, 0, cut), panels)
    left = panels - patched
    deep = rng.binomial(left, -np.expm1(-(now - then)))
    sunken = rng.binomial(deep, 0.14 + 0.30 * soft)
    corners = rng.binomial(deep - sunken, np.where(city["dowelled"], 0.25, 0.42))
    crack_factor = stress * joints * np.minimum(0.7 + 0.3 * ground, 8.0) * rng.gamma(1.5, 1 / 1.5, len(city))
    cracked = rng.binomial(left - deep, -np.expm1(-crack_factor * cumulative_hazard(age, *CRACK)))
    year = np.where(worked, work_year, rng.integers(2005, 2025, len(city)))
    year = np.maximum(year, city["year_built"].to_numpy() + 2)
    whole = {"panels_cracked": cracked, "panels_broken": deep - sunken - corners, "panels_sunken": sunken,
             "corner_breaks": corners, "panels_patched": patched}
    return city.assign(**{name: counts.astype(float) for name, counts in whole.items()},
                       last_work_year=np.where(patched > 0, year, np.nan), joint_factor=stress * joints)


def _past_work(city: pd.DataFrame, age: Floats, deep_factor: Floats,
               rng: np.random.Generator) -> tuple[npt.NDArray[np.bool_], Floats]:
    """Which blocks had their failed panels replaced, and when: the busy and the bad ones first."""
    by_class = {"arterial": 0.60, "collector": 0.42, "local": 0.25, "alley": 0.05}
    chance = city["functional_class"].map(by_class).to_numpy()
    chance = chance * np.clip(deep_factor * cumulative_hazard(age, *DEEP) / 0.10, 0.2, 1.4)
    worked = (rng.random(len(city)) < chance) & (age > 28)
    year = SURVEY_YEAR - rng.integers(2, np.maximum(age - 18, 4).astype(int).clip(max=26))
    return worked, year.astype(float)


def _lengths(city: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Feet of crack, joint and curb, square feet that sound hollow, depth of the shallow damage.

    cracked_ft is the cracks of panels_cracked; broken panels are counted as panels.
    """
    count, age = len(city), SURVEY_YEAR - city["year_built"].to_numpy()
    joint = joint_length(city)
    spalled_share = -np.expm1(-city["joint_factor"] * cumulative_hazard(age, *SPALL)) * rng.gamma(4.0, 0.25, count)
    spalled = np.round(joint * np.clip(spalled_share, 0, 0.9))
    spalled = np.where(spalled < 3, 0.0, spalled)
    unsealed = rng.beta(1.2, 9.0, count) * np.clip(age / 50, 0, 1.3) * np.where(city["dowelled"], 0.6, 1.0)
    wide = np.round(np.clip(unsealed, 0, 0.8) * joint)
    per_crack = city["panel_width_ft"] * rng.uniform(0.8, 1.2, count)
    hollow = np.round(spalled * rng.gamma(1.5, 0.25, count) + city["panels_sunken"] * rng.uniform(2, 12, count))
    deep = np.clip(city["thickness_in"] * rng.beta(3.2, 9.0, count), 0.5, 0.7 * city["thickness_in"])
    curb_share = (city["panels_sunken"] + 0.3 * city["panels_broken"]) / city["panels"] * rng.gamma(1.2, 0.7, count)
    return city.assign(
        cracked_ft=np.round(city["panels_cracked"] * per_crack), spalled_joint_ft=spalled,
        wide_joint_ft=np.floor(np.minimum(wide, joint)), hollow_sqft=hollow,
        damage_depth_in=np.where(spalled > 0, np.round(deep, 1), np.nan),
        sunken_curb_ft=np.floor(np.clip(curb_share, 0, 0.95) * 2 * city["length_ft"]))


def joint_length(city: pd.DataFrame) -> Floats:
    """Joints inside the block (ft): transverse between its panel rows, longitudinal between its columns."""
    across, along = city["panel_rows"] - 1, city["panel_columns"] - 1
    return np.asarray(across * city["width_ft"] + along * city["length_ft"], float)


def _ride(city: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Steps at the joints, load transfer where it was tested, roughness where the van drove."""
    count, age = len(city), SURVEY_YEAR - city["year_built"].to_numpy()
    trucks = (city["adt"] * city["truck_share"]).to_numpy()
    step = 0.0011 * age * trucks**0.17 * np.where(city["dowelled"], 0.35, 1.0) * rng.gamma(3.0, 1 / 3.0, count)
    step = np.asarray(np.round(np.clip(step, 0, 0.75), 2), float)
    busy = city["functional_class"].isin(["arterial", "collector"]).to_numpy()
    tested = (rng.random(count) < 0.18) & busy
    transfer = np.where(city["dowelled"], 0.90, 0.78) - 0.6 * step - 0.0012 * age + rng.normal(0, 0.05, count)
    bad = (city[["panels_broken", "panels_sunken", "panels_cracked"]].sum(axis=1) / city["panels"]).to_numpy()
    rough = 85 + 230 * step + 190 * bad + 0.5 * age + rng.normal(0, 14, count)
    driven = busy & (rng.random(count) < 0.85)
    return city.assign(faulting_in=step, load_transfer=np.where(tested, np.round(transfer, 2).clip(0.15, 1.0), np.nan),
                       iri_in_per_mi=np.where(driven, np.round(rough).clip(55, 600), np.nan))
