"""Weibull survival: S(t) = exp(-(t / scale)^shape), with t in years.

Pure formulas on arrays that broadcast.  ``scale`` is the age by which 63 % have failed; ``shape`` above 1
means that the old fail faster than the new.  Standard text: source ``nist-handbook``, section 8.1.6.2.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def cumulative_hazard(age: npt.ArrayLike, scale: npt.ArrayLike, shape: npt.ArrayLike) -> Floats:
    """H(t) = (t / scale)^shape; ages below zero count as zero."""
    ratio = np.maximum(np.asarray(age, float), 0.0) / np.asarray(scale, float)
    return np.asarray(ratio ** np.asarray(shape, float))


def survival(age: npt.ArrayLike, scale: npt.ArrayLike, shape: npt.ArrayLike) -> Floats:
    """Share that has not failed by ``age``."""
    return np.asarray(np.exp(-cumulative_hazard(age, scale, shape)))


def failing(age: npt.ArrayLike, years: npt.ArrayLike, scale: npt.ArrayLike, shape: npt.ArrayLike) -> Floats:
    """Share of those whole at ``age`` that fails in the next ``years``: 1 - S(age + years) / S(age)."""
    later = cumulative_hazard(np.asarray(age, float) + np.asarray(years, float), scale, shape)
    return np.asarray(-np.expm1(cumulative_hazard(age, scale, shape) - later))


def median(scale: npt.ArrayLike, shape: npt.ArrayLike) -> Floats:
    """Age by which half have failed."""
    return np.asarray(np.asarray(scale, float) * np.log(2.0) ** (1.0 / np.asarray(shape, float)))


def through_points(age_1: float, share_1: float, age_2: float, share_2: float) -> tuple[float, float]:
    """Scale and shape of the curve through two survival points.

    Raises :class:`ValueError` unless age_1 < age_2 and 1 > share_1 > share_2 > 0.
    """
    if not (0 < age_1 < age_2 and 1 > share_1 > share_2 > 0):
        raise ValueError("survival points must fall with age, with shares between 0 and 1")
    shape = float(np.log(np.log(share_2) / np.log(share_1)) / np.log(age_2 / age_1))
    return float(age_1 / (-np.log(share_1)) ** (1.0 / shape)), shape
