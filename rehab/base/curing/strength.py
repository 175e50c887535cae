"""Strength of concrete by age, and by maturity.

Pure formulas on arrays that broadcast.  A share is strength over the strength at 28 days.  The two rules by age are
for ordinary mixes near 20 deg C; they hold from one day on and not for rapid-set mixes: callers keep to that.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
_AGE_28 = 28.0


def share_by_age(age_d: npt.ArrayLike, a_d: npt.ArrayLike, b: npt.ArrayLike) -> Floats:
    """Share of the 28-day strength at an age in days: t / (a + b t), with a in days (source ``aci-209``, 2.2.1).

    Ages below zero count as zero.  The share tends to 1/b; at 28 days it is near 1, not exactly 1.
    """
    age = np.maximum(np.asarray(age_d, float), 0.0)
    return np.asarray(age / (np.asarray(a_d, float) + np.asarray(b, float) * age))


def age_at_share(share: npt.ArrayLike, a_d: npt.ArrayLike, b: npt.ArrayLike) -> Floats:
    """Age in days at which that share is reached: a r / (1 - b r); infinity from 1/b on, which no age reaches."""
    part = np.maximum(np.asarray(share, float), 0.0)
    left = 1.0 - np.asarray(b, float) * part
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(left > 0, np.asarray(a_d, float) * part / left, np.inf))


def ceb_share(age_d: npt.ArrayLike, s: npt.ArrayLike) -> Floats:
    """Share of the 28-day strength at an equivalent age in days: exp(s (1 - sqrt(28/t))) (source ``ceb-fip-mc90``).

    ``s`` is smaller the faster the cement hardens.  Ages of zero and below have no strength.
    """
    age = np.maximum(np.asarray(age_d, float), 0.0)
    with np.errstate(divide="ignore"):
        return np.asarray(np.exp(np.asarray(s, float) * (1.0 - np.sqrt(_AGE_28 / age))))


def ceb_age(share: npt.ArrayLike, s: npt.ArrayLike) -> Floats:
    """Equivalent age in days at which that share is reached: 28 / (1 - ln r / s)^2; infinity from exp(s) on."""
    part, slope = np.maximum(np.asarray(share, float), 0.0), np.asarray(s, float)
    with np.errstate(divide="ignore", invalid="ignore"):
        root = 1.0 - np.log(part) / slope
        return np.asarray(np.where(root > 0, _AGE_28 / root**2, np.inf))


def by_maturity(maturity: npt.ArrayLike, a: npt.ArrayLike, b: npt.ArrayLike) -> Floats:
    """Strength, in the unit of a and b, at a maturity above zero: a + b log10 M, the usual curve of ASTM C1074.

    Early on the line is below zero, where it says nothing: clamped to 0.
    """
    value = np.asarray(maturity, float)
    with np.errstate(divide="ignore"):
        return np.asarray(np.maximum(np.asarray(a, float) + np.asarray(b, float) * np.log10(value), 0.0))


def maturity_at(strength: npt.ArrayLike, a: npt.ArrayLike, b: npt.ArrayLike) -> Floats:
    """Maturity at which that strength is reached: 10^((f - a) / b), for b above 0; infinity where no number holds it.

    Raises :class:`ValueError` where b is not above 0: strength would not grow with maturity.
    """
    slope = np.asarray(b, float)
    if not (slope > 0).all():
        raise ValueError("strength must grow with maturity: b is not above 0")
    with np.errstate(over="ignore"):
        return np.asarray(10.0 ** ((np.asarray(strength, float) - np.asarray(a, float)) / slope))


def fit_curve(maturity: npt.ArrayLike, strength: npt.ArrayLike) -> tuple[float, float, float]:
    """a, b and R squared of the least-squares line f = a + b log10 M through points of one mix.

    Raises :class:`ValueError` unless there are as many strengths as maturities, all finite, maturities above zero,
    at least two of which differ.
    """
    given, f = np.asarray(maturity, float), np.asarray(strength, float)
    if given.ndim != 1 or given.shape != f.shape:
        raise ValueError(f"{given.size} maturities and {f.size} strengths: give one strength for each maturity")
    if not (np.isfinite(given).all() and np.isfinite(f).all() and (given > 0).all()):
        raise ValueError("maturities must be above zero, and all points numbers")
    if len(np.unique(given)) < 2:
        raise ValueError("a curve needs points of at least two different maturities")
    x = np.log10(given)
    dx, df = x - x.mean(), f - f.mean()
    b = float((dx * df).sum() / (dx**2).sum())
    a = float(f.mean() - b * x.mean())
    total = float((df**2).sum())
    # Points of one strength lie on a level line exactly.
    return a, b, 1.0 - float(((df - b * dx) ** 2).sum()) / total if total > 0 else 1.0
