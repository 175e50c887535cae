"""The growth of a family and what a block's own readings make of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal, NamedTuple

import numpy as np
import numpy.typing as npt
from scipy import special

from rehab.base.settings import Assumptions

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
Measure = Literal["faulting", "iri"]

#: measure -> the column that holds it
MEASURES: Final[dict[Measure, str]] = {"faulting": "faulting_in", "iri": "iri_in_per_mi"}
#: error that a second reading on the same day would not repeat, as a share of noise_sd
_OWN_ERROR: Final = 0.01


@dataclass(frozen=True)
class Growth:
    """How one measure grows in a family: inches for steps, the natural logarithm of in/mile for roughness.

    A reading at age t has the mean ``start + rate t``; two readings at t and u have the covariance
    ``level_sd^2 + rate_sd^2 t u + wander_sd^2 min(t, u) + noise_sd^2 max(0, 1 - |t - u| / noise_yr)``.
    ``tails`` are the degrees of freedom of the t distribution that has these as its scale.
    """

    measure: Measure
    start: float
    rate: float
    level_sd: float
    rate_sd: float
    wander_sd: float
    noise_sd: float
    noise_yr: float
    tails: float

    def mean(self, age: Floats) -> Floats:
        """Mean reading of the family at an age, on the scale of the model."""
        return np.asarray(self.start + self.rate * age)

    def covariance(self, first: Floats, second: Floats) -> Floats:
        """Covariance of readings at two ages (arrays that broadcast), on the scale of the model."""
        shared = self.noise_sd**2 * np.maximum(1.0 - np.abs(first - second) / self.noise_yr, 0.0)
        return np.asarray(self.level_sd**2 + self.rate_sd**2 * first * second
                          + self.wander_sd**2 * np.minimum(first, second) + shared)

    @property
    def own_error(self) -> float:
        """Variance of a reading that no other one shares, on the scale of the model."""
        return (_OWN_ERROR * self.noise_sd) ** 2


class Predicted(NamedTuple):
    """Median and interval of later readings, arrays (blocks, times) in the unit of the measure; NaN without reading."""

    value: Floats
    low: Floats
    high: Floats


def growth(measure: Measure, assumptions: Assumptions) -> Growth:
    """The growth that the table ``ride`` holds for a measure."""
    names = ("rate", "level_sd", "rate_sd", "wander_sd", "noise_sd", "noise_yr", "tails")
    values = {name: assumptions.number("ride", f"{measure}.{name}") for name in names}
    start = assumptions.number("ride", f"{measure}.start")
    return Growth(measure, float(to_scale(measure, np.array(start))), **values)


def to_scale(measure: Measure, readings: Floats) -> Floats:
    """Readings on the scale of the model; a roughness of zero or less is no reading and becomes NaN."""
    values = np.asarray(readings, float)
    if measure == "faulting":
        return values
    return np.asarray(np.log(np.where(values > 0, values, np.nan)))


def from_scale(measure: Measure, values: Floats) -> Floats:
    """Inches or in/mile from the scale of the model."""
    return values if measure == "faulting" else np.asarray(np.exp(values))


def predict(family: Growth, ages: Floats, readings: Floats, at: Floats, share: float = 0.8) -> Predicted:
    """Later readings of blocks from their older ones.

    ``ages`` and ``readings`` are arrays (blocks, visits), years and inches or in/mile, a missing one NaN in either;
    ``at`` (blocks, times) holds the ages asked for.  The interval holds ``share`` of the readings expected.
    """
    values, seen = on_scale(family, ages, readings)
    when = np.where(seen, ages, 0.0)
    off = np.where(seen, values - family.mean(when), 0.0)
    own = with_self(family, when, seen)
    across = family.covariance(np.asarray(at, float)[:, :, None], when[:, None, :]) * seen[:, None, :]
    weights = np.linalg.solve(own, np.swapaxes(across, 1, 2))
    middle = family.mean(at) + np.einsum("bvt,bv->bt", weights, off)
    spread = family.covariance(at, at) + family.own_error - np.einsum("btv,bvt->bt", across, weights)
    count = seen.sum(axis=1)[:, None]
    scatter = (off * np.linalg.solve(own, off[:, :, None])[:, :, 0]).sum(axis=1)[:, None]
    freedom = family.tails + count
    half = (special.stdtrit(freedom, 0.5 + share / 2)
            * np.sqrt(np.maximum(spread, 0.0) * (family.tails + scatter) / freedom))
    known = np.where(count > 0, 1.0, np.nan)
    return Predicted(*(from_scale(family.measure, known * (middle + part * half)) for part in (0.0, -1.0, 1.0)))


def on_scale(family: Growth, ages: Floats, readings: Floats) -> tuple[Floats, Flags]:
    """Readings on the scale of the model and which of them count: those with a value and an age."""
    values = to_scale(family.measure, readings)
    return values, np.asarray(~np.isnan(values) & ~np.isnan(ages))


def with_self(family: Growth, ages: Floats, seen: Flags) -> Floats:
    """Covariance of each block's readings, arrays (blocks, visits, visits); rows that are not seen stand alone."""
    both = seen[:, :, None] & seen[:, None, :]
    matrix = family.covariance(ages[:, :, None], ages[:, None, :]) * both
    diagonal = np.arange(ages.shape[1])
    matrix[:, diagonal, diagonal] += np.where(seen, family.own_error, 1.0)
    return np.asarray(matrix)
