"""Ride of a whole network: year by year from one survey, and after grinding."""

from __future__ import annotations

import numpy as np
import pandas as pd

from rehab.base.settings import Assumptions
from rehab.steps.ride.model import MEASURES, Floats, Growth, Measure, Predicted, from_scale, growth, predict, to_scale


def forecast(network: pd.DataFrame, start_year: int, years: int, assumptions: Assumptions) -> dict[str, Predicted]:
    """Steps and roughness of every block in each year without work: column -> arrays (blocks, years).

    Each block is asked given what its survey read; without a reading it has none.  The median never falls below
    the reading: without work a surface does not get smoother.  Age counts from the concrete, or from the last
    grinding where that is known.
    """
    age = surface_age(network)
    gap = (start_year - network["survey_year"].to_numpy(float)).clip(min=0.0)
    later = (age + gap)[:, None] + np.arange(years)
    share = assumptions.number("ride", "interval_share")
    found = {}
    for measure, column in MEASURES.items():
        today = network[column].to_numpy(float)[:, None]
        seen = predict(growth(measure, assumptions), age[:, None], today, later, share)
        found[column] = Predicted(np.maximum(seen.value, today), np.maximum(seen.low, 0.0),
                                  np.maximum(seen.high, today))
    return found


def surface_age(network: pd.DataFrame) -> Floats:
    """Years from the concrete, or from the last grinding, to the survey."""
    age = network["age_yr"].to_numpy(float)
    since = network["survey_year"].to_numpy(float) - network["last_ground_year"].to_numpy(float)
    return np.asarray(np.where(since >= 0, np.fmin(since, age), age))


def after_grinding(measure: Measure, before: Floats, age: Floats, since: Floats, family: Growth,
                   assumptions: Assumptions) -> Floats:
    """Readings ``since`` years (times) after grinding, of blocks that read ``before`` at ``age``: (blocks, times).

    Steps are ground away.  Roughness falls by the share ``grind.iri_cut``, but not below ``grind.iri_least``, nor does
    it rise.  From there a surface grows at the rate of its block: the family's, moved by the reading before; NaN
    where there was none.
    """
    off = to_scale(measure, before) - family.mean(age)
    pull = family.rate_sd**2 * age / (family.covariance(age, age) + family.own_error)
    rate = np.maximum(family.rate + pull * off, 0.0)
    if measure == "faulting":
        reset = np.where(np.isnan(before), np.nan, 0.0)
    else:
        cut, least = (assumptions.number("ride", f"grind.iri_{name}") for name in ("cut", "least"))
        reset = np.minimum(before, np.maximum((1.0 - cut) * before, least))
    return from_scale(measure, to_scale(measure, reset)[:, None] + rate[:, None] * np.asarray(since, float))
