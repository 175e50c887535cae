"""Grinding by year: with the repairs, again when the ground surface is worn, and what an untouched network asks for.

A ground surface lasts by a Weibull curve through two published points (source ``alberta-grinding``: 90 % last 9.5
years, 50 % 13.5).  A surface that wears out is ground again while the slab allows it, and lasts by the same curve from
age zero: expected grindings are a renewal, worked out year by year as a convolution.  A surface known from the past
is asked only for the years since its survey.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.settings import Assumptions
from rehab.base.surface import LIMITS, grindings_left, is_rough
from rehab.base.survival import cumulative_hazard, median, survival, through_points

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]


class Work(NamedTuple):
    """Rows of a program: row of the block, year less the first, area ground with the work, whether it was rebuilt."""

    block: Ints
    step: Ints
    ground_sqyd: Floats
    rebuilt: Flags


class Schedule(NamedTuple):
    """Area by block and year, arrays (blocks, years) in sq yd; ``need`` is that of the network without any work."""

    ground: Floats
    reground: Floats
    need: Floats


def curve(assumptions: Assumptions) -> tuple[float, float]:
    """Scale (years) and shape of the life of a ground surface, through the two points of ``treatment_lives``."""
    first_age, first_share, second_age, second_share = (
        assumptions.number("treatment_lives", f"ground.{name}")
        for name in ("first_age_yr", "first_share", "second_age_yr", "second_share"))
    return through_points(first_age, first_share, second_age, second_share)


def life(assumptions: Assumptions) -> float:
    """Years by which half of the ground surfaces have worn out."""
    return float(median(*curve(assumptions)))


def schedule(network: pd.DataFrame, surface_sqyd: Floats, needs: pd.DataFrame, work: Work, start_year: int,
             years: int, assumptions: Assumptions) -> Schedule:
    """Expected area ground in each year; rows in the order of the network.

    ``surface_sqyd`` is what a grinder reaches on each block, ``needs`` holds the untreated needs block by block and
    year by year within the block.  The need counts surfaces known from the past that have worn out, and blocks whose
    steps, ride or panel survey ask for grinding; a slab that may not be ground again is in none.
    """
    worn = worn_share(network, start_year, years, assumptions)
    left = grindings_left(network, assumptions)
    ground = np.zeros((len(network), years))
    np.add.at(ground, (work.block, work.step), work.ground_sqyd)
    again = times_again(worn, left, work, curve(assumptions))
    limits = {name: assumptions.number("companions", key) for name, key in LIMITS.items()}
    names = (*LIMITS, "grind_panels_share")
    rough = is_rough({name: needs[name].to_numpy(float).reshape(-1, years) for name in names}, limits)
    asked = np.where(rough, 1.0, worn) * (left > 0)[:, None]
    return Schedule(ground, again * surface_sqyd[:, None], asked * surface_sqyd[:, None])


def by_year(areas: Schedule, usd_per_sqyd: Floats) -> pd.DataFrame:
    """Area and dollars of the network in each year; ``usd_per_sqyd`` is an array (blocks, years), dollars of the year.

    Columns ground_sqyd, ground_usd, reground_sqyd, reground_usd, grind_need_sqyd and grind_need_usd.
    """
    named = {"ground": areas.ground, "reground": areas.reground, "grind_need": areas.need}
    return pd.DataFrame({f"{name}_{unit}": (area * factor).sum(axis=0) for name, area in named.items()
                         for unit, factor in (("sqyd", 1.0), ("usd", usd_per_sqyd))})


def worn_share(network: pd.DataFrame, start_year: int, years: int, assumptions: Assumptions) -> Floats:
    """Share of each block's ground surface that has worn out by each year, given that it lasted until its survey.

    Zero where no year of grinding is known, or where it lies after the survey's: an array (blocks, years).
    """
    then = network["last_ground_year"].to_numpy(float)[:, None]
    surveyed = network["survey_year"].to_numpy(float)[:, None] - then
    now = np.maximum(start_year + np.arange(years) - then, surveyed)
    scale, shape = curve(assumptions)
    known = np.isfinite(surveyed) & (surveyed >= 0)
    before, after = (cumulative_hazard(np.where(known, age, 0.0), scale, shape) for age in (surveyed, now))
    return np.asarray(-np.expm1(before - after))


def times_again(worn: Floats, left: Floats, work: Work, life: tuple[float, float]) -> Floats:
    """Expected times that a block is ground again in each year, beyond the grinding with its work: (blocks, years).

    ``worn`` is the cumulative share of surfaces from the past that have worn out, ``left`` how often each slab may
    still be ground.  Work that grinds gives the whole block a new surface and takes one of these times;
    reconstruction ends the old surface and its grindings.
    """
    count, years = worn.shape
    wears = _wearing(years, *life)
    most = int(left.max(initial=0))
    reset = (work.ground_sqyd > 0) | work.rebuilt
    end = np.full(count, years)
    end[work.block[reset]] = work.step[reset]
    open_ = np.arange(years) < end[:, None]
    # Of the surfaces from the past: the chance of a first, second ... grinding in each year before the work.
    due = np.diff(worn, axis=1, prepend=0.0)
    total = np.zeros((count, years))
    at_least = np.zeros((count, most + 1))  # the chance of so many grindings before the work
    at_least[:, 0] = 1.0
    for number in range(1, most + 1):
        due = due * open_ * (left >= number)[:, None]
        total += due
        at_least[:, number] = due.sum(axis=1)
        due = due @ wears
    # Of the surfaces new with the work: as often as the slab allows after the grindings before and the work's own.
    new = np.flatnonzero((work.ground_sqyd > 0) & ~work.rebuilt)
    block = work.block[new]
    due = np.zeros((len(new), years))
    due[np.arange(len(new)), work.step[new]] = 1.0
    for number in range(1, most):
        due = due @ wears
        spare = left[block].astype(int) - number  # with so many or more used before, none is left for this one
        used = at_least[block, np.maximum(spare, 0)]
        np.add.at(total, block, due * np.where(spare > 0, 1.0 - used, 0.0)[:, None])
    return total


def _wearing(years: int, scale: float, shape: float) -> Floats:
    """The share of surfaces ground in the year of the row that wear out in the year of the column."""
    lasting = survival(np.arange(years + 1), scale, shape)
    lost = np.concatenate([[0.0], -np.diff(lasting)])
    since = np.arange(years)[None, :] - np.arange(years)[:, None]
    return np.asarray(np.where(since > 0, lost[np.maximum(since, 0)], 0.0))
