"""The likelihood of a block's surveys, its own two multipliers integrated out.

From one survey to the next the sound panels that stay sound are a binomial, and those newly deep are the sum of two:
of the sound that left, and of those with shallow damage.  The first survey counts from building where nothing was
repaired before.  The multipliers are gamma distributed with mean one; the integral over them is taken at Gauss and
Hermite's points around each block's own mode (adaptive quadrature).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import digamma, gammaln

from rehab.base.panels import Curves, moves, multipliers, path
from rehab.steps.calibration.history import History

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: what a block's likelihood depends on, as logarithms; the order of the rows of its parameters
LOCAL: Final = ("shallow_scale", "shallow_shape", "deep_scale", "deep_shape", "faster", "shallow_weight", "deep_weight")
_NODES: Final = 5  #: points in each of the two directions
_POINTS: Final = 8  #: points along a path between two surveys
_LEAST: Final = 1e-300
_WEIGHTS: Final = 5  #: the first row of LOCAL that is a weight of the prior
_STEP: Final = 1e-5  #: of a logarithm, for differences
_CHUNK: Final = 1000


@dataclass(frozen=True)
class Data:
    """A history as arrays; ``term_*`` hold the terms of each step's sum over the newly deep that were sound."""

    from_new: npt.NDArray[np.bool_]
    age: Floats
    counts: Floats  #: (3, blocks): sound, shallow, deep at the first survey
    block: Ints
    begin: Floats
    end: Floats
    sound: Floats
    after: Floats
    shallow: Floats
    broken: Floats
    term_step: Ints
    term_sound: Floats  #: newly deep that were sound before
    term_log: Floats  #: logarithm of the ways to choose them
    first_term: Ints
    first_step: Ints  #: first step of each block; steps are sorted by block


def data_of(history: History) -> list[Data]:
    """The arrays of a history with the terms of its sums, in parts that fit a processor's cache."""
    steps, blocks = history.steps, history.blocks
    bounds = np.arange(0, len(blocks) + _CHUNK, _CHUNK)
    cut = np.searchsorted(steps["block"].to_numpy(), bounds)
    return [_data(blocks.iloc[low:high], steps.iloc[cut[at]:cut[at + 1]], int(low))
            for at, (low, high) in enumerate(pairwise(bounds)) if low < len(blocks)]


def _data(blocks: pd.DataFrame, steps: pd.DataFrame, offset: int) -> Data:
    sound, after, shallow, broken = (steps[name].to_numpy(float) for name in (
        "sound", "sound_after", "shallow", "broken"))
    left = sound - after
    low, high = np.maximum(broken - shallow, 0.0), np.minimum(left, broken)
    number = (high - low + 1).astype(np.int64)
    first = np.concatenate([[0], np.cumsum(number)[:-1]]).astype(np.int64)
    step = np.repeat(np.arange(len(steps)), number)
    k = low[step] + np.arange(len(step)) - first[step]
    ways = _choose(left[step], k) + _choose(shallow[step], broken[step] - k)
    block = steps["block"].to_numpy(np.int64) - offset
    return Data(blocks["from_new"].to_numpy(bool), blocks["age_yr"].to_numpy(float),
                blocks[["sound", "shallow", "deep"]].to_numpy(float).T, block, steps["from_yr"].to_numpy(float),
                steps["to_yr"].to_numpy(float), sound, after, shallow, broken, step, k, ways, first,
                np.searchsorted(block, np.arange(len(blocks))))


def points(data: Data, local: Floats) -> Floats:
    """Points of the quadrature around each block's mode, as :func:`log_likelihood` takes them."""
    curves, faster = _curves(local), float(np.exp(local[4, 0]))
    weights = np.exp(local[5:, 0])
    last = np.append(data.first_step[1:], len(data.block)) - 1
    begin = np.where(data.from_new, 0.0, data.begin[data.first_step])
    # Near enough to the mode and its breadth: the panels that were sound at the beginning, from there to the end.
    start = np.where(data.from_new, data.counts.sum(axis=0), data.sound[data.first_step])
    broke = np.add.reduceat(data.broken, data.first_step)
    deep = np.minimum(broke + np.where(data.from_new, data.counts[2], 0.0), start - data.after[last])
    # Those that were shallow already break without having been sound: their part is taken off by the hazards alone.
    was = np.where(data.from_new, 0.0, data.shallow[data.first_step])
    deep = np.maximum(deep - 0.5 * np.minimum(was, broke), 0.0)
    found = multipliers(path(begin, data.end[last], curves, faster), (
        data.after[last], np.maximum(start - data.after[last] - deep, 0.0), deep, np.zeros(len(deep))),
        float(weights[0]), float(weights[1]))
    t, weight = np.polynomial.hermite.hermgauss(_NODES)
    u, v = (grid.ravel()[:, None] for grid in np.meshgrid(t, t, indexing="ij"))
    log_weight = np.add.outer(np.log(weight), np.log(weight)).ravel()[:, None] + u**2 + v**2
    # The cube root of a gamma is all but normal (Wilson, Hilferty), and few points do; its logarithm is skewed.
    roots = [np.exp(log / 3) * (1 - np.minimum(var, 2.0) / 9) for log, var in (
        (found.log_shallow, found.var_shallow), (found.log_deep, found.var_deep))]
    a = np.sqrt(2 * found.var_shallow) / 3 * roots[0]
    b = np.sqrt(2.0) * found.covariance / np.sqrt(found.var_shallow) / 3 * roots[1]
    c = np.sqrt(np.maximum(2 * found.var_deep / 9 * roots[1] ** 2 - b**2, 1e-12))
    x = np.maximum(roots[0] + a * u, 1e-3 * roots[0])
    y = np.maximum(roots[1] + b * u + c * v, 1e-3 * roots[1])
    return np.stack([3 * np.log(x), 3 * np.log(y), np.log(a * c) + log_weight + np.log(9 / (x * y))])


def log_likelihood(data: Data, local: Floats, nodes: Floats) -> Floats:
    """Log-likelihood of each block at its ``local`` parameters (rows LOCAL, columns blocks).

    ``nodes`` (3, points, blocks) holds the logarithms of the two multipliers at each point, and of its weight.
    """
    total = _at_points(data, local, nodes)
    top = total.max(axis=0)
    return np.asarray(top + np.log(np.exp(total - top).sum(axis=0)))


def with_slopes(data: Data, local: Floats, nodes: Floats, wanted: Sequence[int]) -> tuple[Floats, Floats]:
    """Log-likelihood of each block, and its slope by the ``wanted`` rows of the local parameters (LOCAL, blocks).

    Those of the weights are exact, the mean over the points; the others are forward differences.
    """
    total = _at_points(data, local, nodes)
    top = total.max(axis=0)
    each = np.exp(total - top)
    found = np.asarray(top + np.log(each.sum(axis=0)))
    each /= each.sum(axis=0)
    slopes = np.zeros((len(LOCAL), len(found)))
    for row in wanted:
        if row >= _WEIGHTS:
            value, own = nodes[row - _WEIGHTS], np.exp(local[row])
            slopes[row] = (each * own * (1.0 + np.log(own) - digamma(own) + value - np.exp(value))).sum(axis=0)
        else:
            moved = local.copy()
            moved[row] += _STEP
            slopes[row] = (log_likelihood(data, moved, nodes) - found) / _STEP
    return found, slopes


def _at_points(data: Data, local: Floats, nodes: Floats) -> Floats:
    """Logarithm of what each point adds to each block's likelihood: (points, blocks)."""
    curves, faster, weight = _curves(local), float(np.exp(local[4, 0])), np.exp(local[5:])
    x, y, total = nodes[0], nodes[1], nodes[2].copy()
    for value, own in ((x, weight[0]), (y, weight[1])):  # gamma of mean one, over the logarithm
        total += own * np.log(own) - gammaln(own) + own * (value - np.exp(value))
    zs, zd = np.exp(x), np.exp(y)
    new = data.from_new
    if new.any():
        way = path(np.zeros(int(new.sum())), data.age[new], Curves(*(part[new] for part in curves)), faster)
        for count, chance in zip(data.counts[:, new], moves(way, zs[:, new], zd[:, new])[:3], strict=True):
            total[:, new] += count * np.log(np.maximum(chance, _LEAST))
    block = data.block
    way = path(data.begin, data.end, Curves(*(part[block] for part in curves)), faster, _POINTS)
    stays, worse, breaks, shallow_breaks = (
        np.log(np.maximum(chance, _LEAST)) for chance in moves(way, zs[:, block], zd[:, block]))
    kept = -faster * zd[:, block] * way.deep
    step, k = data.term_step, data.term_sound
    terms = data.term_log + k * (breaks - worse)[:, step] + (data.broken[step] - k) * (shallow_breaks - kept)[:, step]
    top = np.maximum.reduceat(terms, data.first_term, axis=1)
    summed = top + np.log(np.add.reduceat(np.exp(terms - top[:, step]), data.first_term, axis=1))
    each = data.after * stays + (data.sound - data.after) * worse + data.shallow * kept + summed
    return np.asarray(total + np.add.reduceat(each, data.first_step, axis=1))


def _curves(local: Floats) -> Curves:
    return Curves(*np.exp(local[:4]))


def _choose(n: Floats, k: Floats) -> Floats:
    return np.asarray(gammaln(n + 1) - gammaln(k + 1) - gammaln(n - k + 1))
