"""A panel between three states: sound, shallow damage (partial depth), deep damage (full depth).

Sound panels go shallow with the cumulative hazard Hs and deep with Hd; a panel with unrepaired shallow damage goes
deep ``faster`` times as fast as a sound one.  Nothing goes back without work: an illness-death model of survival
analysis (source ``kalbfleisch-prentice``), with Weibull hazards that a block multiplies by two factors of its own.

A path from one age to another is prepared once (:func:`path`) and asked for any multipliers (:func:`moves`).
The share that goes shallow and stays so is an integral over the moment it does; with the cumulative hazard of shallow
damage as the clock the integrand is smooth, and Gauss and Legendre's points do it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from rehab.base.survival import cumulative_hazard

Floats = npt.NDArray[np.float64]

_POINTS: Final = 16  #: exact to rounding for hazards up to about ten, to 1e-4 at a hundred
_LEAST: Final = 1e-13  #: below this a probability is rounding


class Curves(NamedTuple):
    """Weibull scales (years) and shapes of the two hazards, arrays of rows."""

    shallow_scale: Floats
    shallow_shape: Floats
    deep_scale: Floats
    deep_shape: Floats


@dataclass(frozen=True)
class Path:
    """Family's hazards from one age to another; arrays of rows, nodes along the last axis.

    ``shallow`` and ``deep`` are the increments of the cumulative hazards; ``at_shallow`` and ``at_deep`` what
    multiplies the two factors in the exponent at each node; ``weight`` the nodes' weights.
    """

    shallow: Floats
    deep: Floats
    at_shallow: Floats
    at_deep: Floats
    weight: Floats
    faster: float


def path(begin_yr: Floats, end_yr: Floats, curves: Curves, faster: float, points: int = _POINTS) -> Path:
    """The way from ages ``begin_yr`` to ``end_yr`` on Weibull hazards; arrays of rows, end not before begin."""
    shallow_scale, shallow_shape, deep_scale, deep_shape = curves
    nodes, weight = np.polynomial.legendre.leggauss(points)
    part = (nodes + 1) / 2
    s0, s1 = (cumulative_hazard(age, shallow_scale, shallow_shape) for age in (begin_yr, end_yr))
    d0, d1 = (cumulative_hazard(age, deep_scale, deep_shape) for age in (begin_yr, end_yr))
    along = (s1 - s0)[..., None] * part
    # Where the shallow hazard is so much, the deep one is this: both are powers of the age.
    ratio = np.divide(s0[..., None] + along, s1[..., None], out=np.zeros_like(along), where=s1[..., None] > 0)
    deep = d1[..., None] * ratio ** (np.asarray(deep_shape, float) / np.asarray(shallow_shape, float))[..., None]
    left = faster * (d1[..., None] - deep)
    return Path(s1 - s0, d1 - d0, along, deep - d0[..., None] + left, weight / 2, faster)


def moves(way: Path, shallow: npt.ArrayLike, deep: npt.ArrayLike) -> tuple[Floats, Floats, Floats, Floats]:
    """Probabilities of a path for blocks with these multipliers of the two hazards.

    Returned: sound stays sound, sound is shallow at the end, sound is deep at the end, shallow is deep at the end.
    The multipliers broadcast with the rows of the path.
    """
    zs, zd = np.asarray(shallow, float), np.asarray(deep, float)
    inside = np.exp(-zs[..., None] * way.at_shallow - zd[..., None] * way.at_deep) @ way.weight
    stays = np.exp(-zs * way.shallow - zd * way.deep)
    worse = np.minimum(zs * way.shallow * inside, 1.0 - stays)
    return stays, worse, np.maximum(1.0 - stays - worse, 0.0), -np.expm1(-way.faster * zd * way.deep)


def leave(sound: Floats, to_shallow: npt.ArrayLike, to_deep: npt.ArrayLike,
          once_shallow: Floats) -> tuple[Floats, Floats, Floats]:
    """Of the sound in one year: those shallow at its end, those deep by then, and both; hazards of the year.

    Even hazards through the year; a panel that goes shallow early in it may break late in it:
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


@dataclass(frozen=True)
class Multipliers:
    """A block's own factors on its family's two hazards, as logarithms: most likely value and covariance."""

    log_shallow: Floats
    log_deep: Floats
    var_shallow: Floats
    var_deep: Floats
    covariance: Floats


def multipliers(way: Path, counts: Sequence[Floats], shallow_weight: float, deep_weight: float,
                rounds: int = 25) -> Multipliers:
    """What a block's own panels say of its multipliers, shrunk to its family's (empirical Bayes).

    ``counts`` are the panels of each row at the end of a path from age zero: never damaged, shallow, deep, and repaired
    since, of which only that they were damaged is known.
    The prior of each multiplier is a gamma of mean one, whose weight is the expected failures by which a block's own
    panels weigh as much as its family.  The mode over the logarithms is returned: with a simple count it is the
    well-known (weight + failures) / (weight + expected failures), the mean of the gamma.  Newton's method, all rows
    at once.
    """
    x = np.zeros((2, len(way.shallow)))
    slope, curve = _slope(way, counts, x, shallow_weight, deep_weight)
    for _ in range(rounds):
        step = _newton(slope, curve)
        x = x + step
        slope, curve = _slope(way, counts, x, shallow_weight, deep_weight)
        if np.abs(step).max(initial=0.0) < 1e-7:
            break
    a, b, c = _definite(curve)
    det = a * c - b * b
    return Multipliers(x[0], x[1], c / det, a / det, -b / det)


def _definite(curve: Floats) -> tuple[Floats, Floats, Floats]:
    """Minus the curvature (rows: shallow, mixed, deep), made positive definite where it is not."""
    a, b, c = np.maximum(-curve[0], 1e-3), -curve[1], np.maximum(-curve[2], 1e-3)
    return a, np.clip(b, -0.95 * np.sqrt(a * c), 0.95 * np.sqrt(a * c)), c


def _newton(slope: Floats, curve: Floats) -> Floats:
    a, b, c = _definite(curve)
    det = a * c - b * b
    step = np.stack([c * slope[0] - b * slope[1], a * slope[1] - b * slope[0]]) / det
    return np.asarray(step * np.minimum(1.0, 1.0 / np.maximum(np.abs(step).max(axis=0), 1e-300)))


def _slope(way: Path, counts: Sequence[Floats], x: Floats, shallow_weight: float,
           deep_weight: float) -> tuple[Floats, Floats]:
    """First and second derivatives of the log-posterior by the two logarithms; rows shallow(, mixed), deep."""
    z = np.exp(x)
    at = np.exp(-z[0][:, None] * way.at_shallow - z[1][:, None] * way.at_deep) * way.weight
    xs, yd, hs, hd = way.at_shallow, way.at_deep, way.shallow, way.deep
    m0, mx, my, mxx, mxy, myy = ((at * part).sum(axis=1) for part in (1.0, xs, yd, xs * xs, xs * yd, yd * yd))
    stays = np.exp(-z[0] * hs - z[1] * hd)
    # Sound, shallow, deep and damaged at all: the probability, its slopes and its curvatures by the multipliers.
    chance = _with_rest(np.stack([stays, z[0] * hs * m0]), 1.0)
    first = [_with_rest(np.stack(rows), 0.0) for rows in (
        (-hs * stays, hs * (m0 - z[0] * mx)), (-hd * stays, -z[0] * hs * my))]
    second = [_with_rest(np.stack(rows), 0.0) for rows in (
        (hs * hs * stays, hs * (z[0] * mxx - 2 * mx)), (hs * hd * stays, hs * (z[0] * mxy - my)),
        (hd * hd * stays, z[0] * hs * myy))]
    per = np.stack(counts) / np.maximum(chance, _LEAST)
    by = [(per * rows).sum(axis=0) for rows in first]
    bent = [(per * (rows - first[i] * first[j] / np.maximum(chance, _LEAST))).sum(axis=0)
            for rows, (i, j) in zip(second, ((0, 0), (0, 1), (1, 1)), strict=True)]
    pull = (shallow_weight, deep_weight)
    slope = np.stack([z[i] * by[i] + pull[i] * (1.0 - z[i]) for i in (0, 1)])
    own = [z[i] * by[i] - pull[i] * z[i] for i in (0, 1)]
    return slope, np.stack([z[0] ** 2 * bent[0] + own[0], z[0] * z[1] * bent[1], z[1] ** 2 * bent[2] + own[1]])


def _with_rest(two: Floats, whole: float) -> Floats:
    """Sound and shallow, then deep and damaged at all as what is left of the whole."""
    return np.concatenate([two, whole - two.sum(axis=0, keepdims=True), whole - two[:1]])
