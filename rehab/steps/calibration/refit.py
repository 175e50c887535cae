"""The curves of the families by maximum likelihood, with intervals, as rows of the table ``survival``."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base import tables
from rehab.base.errors import Note
from rehab.base.settings import Assumptions
from rehab.steps.calibration.history import History
from rehab.steps.calibration.likelihood import LOCAL, Data, data_of, log_likelihood, points, with_slopes

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

_FIRST: Final = 2000  #: blocks on which the search begins where there are many more
_ROUNDS: Final = 60
_CLOSE: Final = 0.004  #: the search ends where the values together are this near, in squared standard errors
_Z95: Final = 1.959964
_WORSE: Final = _Z95**2 / 2  #: loss of log-likelihood that is significant at 5 %, one value
_ENDLESS: Final = 10.0  #: a standard error of a logarithm from which an interval says nothing
_SHARED: Final = {"shallow.shape": "shallow_shape", "deep.shape": "deep_shape",
                  "shallow_to_deep.hazard_factor": "faster", "prior.shallow_weight": "shallow_weight",
                  "prior.deep_weight": "deep_weight"}
_FACTORS: Final = ("factor.dowelled.deep", "factor.thin.deep", "factor.thick.deep")


@dataclass(frozen=True)
class Fit:
    """A refit: ``rows`` as the table ``calibration``, log-likelihood before and after, blocks used, and notes."""

    rows: pd.DataFrame
    before: float
    after: float
    blocks: int
    notes: tuple[Note, ...]

    def values(self) -> dict[str, str]:
        """The fitted rows as the city's own values of the table ``survival``."""
        fitted = self.rows[self.rows["fitted"]]
        return {key: f"{value:.6g}" for key, value in zip(fitted["key"], fitted["value"], strict=True)}


@dataclass(frozen=True)
class _Model:
    """Which rows are sought: their keys, where they begin, and how they make up the local parameters of a block."""

    keys: tuple[str, ...]
    begin: Floats
    design: Floats  #: (local, keys, blocks)
    fixed: Floats  #: (local, blocks): what is held
    low: Floats  #: ends of the ranges, as logarithms
    high: Floats


def fit(history: History, assumptions: Assumptions) -> Fit:
    """The rows of ``survival`` that a city's surveys can tell, by maximum likelihood, with 95 % intervals.

    A class is fitted from ``refit.least_events`` failures of each kind on; blocks of other classes are left out.  A row
    whose standard error passes ``refit.most_error`` (of its logarithm) is held at its default and the rest is fitted
    again: the surveys cannot tell it, unless the default then fits significantly worse.  No row leaves the range that
    its table gives it; one that would is held at the end of it, without an interval, and the others are fitted to that.
    Raises :class:`ValueError` where no class has enough failures.
    """
    kept, classes, notes = _enough(history, assumptions)
    if not classes:
        least = assumptions.number("survival", "refit.least_events")
        raise ValueError(f"too few panels failed between the surveys: no class of street has {least:.0f} of each kind; "
                         "the default curves stay")
    keys = [*(f"{kind}.scale.{name}" for name in classes for kind in ("shallow", "deep")), *_SHARED,
            *_told_apart(kept.blocks)]
    most = assumptions.number("survival", "refit.most_error")
    held: list[str] = []
    sure: set[str] = set()  # rows that the surveys tell, if roughly: their defaults fit far worse
    wider: tuple[list[str], _Model, _Best] | None = None
    while True:
        model = _model(keys, kept.blocks, assumptions)
        before, best = _climb(model, kept)
        if wider and wider[2].total - best.total > _WORSE:
            sure.add(held.pop())
            keys, model, best = wider
        error = np.sqrt(np.diag(best.spread))
        wide = [at for at, key in enumerate(keys) if error[at] > most and key not in sure]
        if not wide:
            break
        wider, at = (keys, model, best), max(wide, key=lambda at: error[at])
        held.append(keys[at])
        keys = [*keys[:at], *keys[at + 1:]]
    rows = _rows(model, best.theta, np.where(best.ended, np.nan, error), held, assumptions)
    notes += [Note("calibration", None, None, f"{key} would leave its range and is held at the end of it, "
                   f"{np.exp(value):.4g}; the other values are fitted to that")
              for key, value, end in zip(model.keys, best.theta, best.ended, strict=True) if end]
    if not best.rested:
        notes.append(Note("calibration", None, None, "the search ended before it came to rest; the values may still be "
                          "better: take them over and fit again from there"))
    return Fit(rows, before, best.total, len(kept.blocks), (*notes, *_notes(history)))


def _enough(history: History, assumptions: Assumptions) -> tuple[History, list[str], list[Note]]:
    """The history of the classes that have enough failures of each kind, and a note for every other class."""
    least = assumptions.number("survival", "refit.least_events")
    blocks, steps = history.blocks, history.steps
    of_step = blocks["functional_class"].to_numpy()[steps["block"].to_numpy()]
    left = (steps["sound"] - steps["sound_after"]).groupby(of_step).sum()
    broken = steps["broken"].groupby(of_step).sum()
    new = blocks[blocks["from_new"]].groupby("functional_class")[["shallow", "deep"]].sum()
    found, notes = [], []
    for name in tables.CLASSES:
        shallow = float(left.get(name, 0.0)) + float(new["shallow"].get(name, 0.0))
        deep = float(broken.get(name, 0.0)) + float(new["deep"].get(name, 0.0))
        if min(shallow, deep) >= least:
            found.append(name)
        elif (blocks["functional_class"] == name).any():
            notes.append(Note("calibration", None, None, f"class {name}: {shallow:.0f} panels left the sound ones and "
                              f"{deep:.0f} broke, under {least:.0f} of one kind; its curves stay the default"))
    return _only(history, np.flatnonzero(blocks["functional_class"].isin(found))), found, notes


def _only(history: History, keep: npt.NDArray[np.int64]) -> History:
    """The history of some rows of its blocks."""
    used = history.steps[history.steps["block"].isin(keep)]
    return replace(history, blocks=history.blocks.iloc[keep].reset_index(drop=True), steps=used.assign(
        block=np.searchsorted(keep, used["block"].to_numpy())).reset_index(drop=True))


def _told_apart(blocks: pd.DataFrame) -> list[str]:
    """Factors between families that the blocks can tell: not all alike, and not the same as the class."""
    columns = [(blocks["functional_class"] == name).to_numpy(float) for name in blocks["functional_class"].unique()]
    found = []
    for key in _FACTORS:
        column = _has(blocks, key)
        if np.linalg.matrix_rank(np.column_stack([*columns, column])) > len(columns):
            found.append(key)
            columns.append(column)
    return found


def _has(blocks: pd.DataFrame, key: str) -> Floats:
    if key == "factor.dowelled.deep":
        return np.asarray(blocks["dowelled"].astype(bool), float)
    return np.asarray(blocks["family"].str.split(", ").str[1] == key.split(".")[1], float)


def _model(keys: list[str], blocks: pd.DataFrame, assumptions: Assumptions) -> _Model:
    """Local parameters as sums of logarithms of the rows: those of ``keys`` are sought, the others held."""
    def number(key: str) -> float:
        return float(np.log(assumptions.number("survival", key)))

    count = len(blocks)
    design, fixed = np.zeros((len(LOCAL), len(keys), count)), np.zeros((len(LOCAL), count))
    level = blocks["material_distress"].map({name: at for at, name in enumerate(tables.DISTRESS)}).fillna(0)
    worse = level.to_numpy(float) * number("distress.scale_factor")
    parts = [(f"{kind}.scale.{name}", f"{kind}_scale", (blocks["functional_class"] == name).to_numpy(float))
             for name in blocks["functional_class"].unique() for kind in ("shallow", "deep")]
    parts += [(key, local, np.ones(count)) for key, local in _SHARED.items()]
    parts += [(key, "deep_scale", _has(blocks, key)) for key in _FACTORS]
    for key, local, column in parts:
        if key in keys:
            design[LOCAL.index(local), keys.index(key)] += column
        else:
            fixed[LOCAL.index(local)] += number(key) * column
    for local in ("shallow_scale", "deep_scale"):
        fixed[LOCAL.index(local)] += worse
    table = assumptions.table("survival")
    low, high = (np.log([float(str(table.at[key, end])) for key in keys]) for end in ("low", "high"))
    return _Model(tuple(keys), np.array([number(key) for key in keys]), design, fixed, low, high)


class _Best(NamedTuple):
    """The best values, their log-likelihood and covariance, which are at an end of their range, if it came to rest."""

    theta: Floats
    total: float
    spread: Floats
    ended: Flags
    rested: bool


def _climb(model: _Model, history: History) -> tuple[float, _Best]:
    """Log-likelihood at the beginning, and the best values."""
    parts = data_of(history)
    before = sum(float(log_likelihood(part, local, points(part, local)).sum())
                 for part, local in _split(model, model.begin, parts))
    theta, step = model.begin, len(history.blocks) // _FIRST
    if step > 1:  # every so many blocks first, then all from there
        some = replace(model, design=model.design[:, :, ::step], fixed=model.fixed[:, ::step])
        theta = _scoring(some, data_of(_only(history, np.arange(0, len(history.blocks), step))), theta).theta
    return before, _scoring(model, parts, theta)


def _scoring(model: _Model, parts: list[Data], theta: Floats) -> _Best:
    """The best values from ``theta`` on, none outside its range.

    Scoring with the blocks' own slopes (Berndt, Hall, Hall, Hausman): their sum leads up, their products are the
    information.  The points of the quadrature follow the values from round to round.
    """
    spread, rested = np.zeros((len(theta), len(theta))), False
    for _ in range(_ROUNDS):
        nodes = [points(part, local) for part, local in _split(model, theta, parts)]
        total, slopes = _slopes(model, theta, parts, nodes)
        up = slopes.sum(axis=0)
        ended = ((theta <= model.low) & (up < 0)) | ((theta >= model.high) & (up > 0))
        free = np.flatnonzero(~ended)
        spread = np.zeros_like(spread)
        spread[np.ix_(free, free)] = np.linalg.pinv(slopes[:, free].T @ slopes[:, free], rcond=1e-12)
        step = spread @ up
        gain = float(up @ step)  # twice what the log-likelihood would still rise; in squared standard errors
        rested = gain < _CLOSE
        if rested:
            break
        theta = _stride(model, theta, step, parts, nodes, total, gain > 1)
    return _Best(theta, total, spread, ended, rested)


def _stride(model: _Model, theta: Floats, step: Floats, parts: list[Data], nodes: list[Floats], total: float,
            far: bool) -> Floats:
    """Where a step leads: half as far until it leads up, twice as far while that leads higher if the top is ``far``.

    Far from the top, or where blocks differ more than the model says, their products overstate the information, and
    the steps are short.
    """
    def at(length: float) -> tuple[Floats, float]:
        there = np.clip(theta + length * step, model.low, model.high)
        return there, float(sum(log_likelihood(part, local, each).sum() for (part, local), each in zip(
            _split(model, there, parts), nodes, strict=True)))

    most = 0.7 / np.abs(step).max()
    length = min(1.0, most)
    there, found = at(length)
    while found < total - 1e-6 and length > 1e-4:
        length /= 2
        there, found = at(length)
    while far and 2 * length <= most:
        further, more = at(2 * length)
        if more <= found:
            break
        length, there, found = 2 * length, further, more
    return there


def _split(model: _Model, theta: Floats, parts: list[Data]) -> list[tuple[Data, Floats]]:
    local = np.tensordot(theta, model.design, axes=(0, 1)) + model.fixed
    ends = np.cumsum([len(part.age) for part in parts])
    return list(zip(parts, np.split(local, ends[:-1], axis=1), strict=True))


def _slopes(model: _Model, theta: Floats, parts: list[Data], nodes: list[Floats]) -> tuple[float, Floats]:
    """The log-likelihood, and each block's slope by each sought logarithm: (blocks, keys)."""
    wanted = [at for at in range(len(LOCAL)) if model.design[at].any()]
    found = [with_slopes(part, local, at, wanted)
             for (part, local), at in zip(_split(model, theta, parts), nodes, strict=True)]
    by_local = np.concatenate([slopes for _, slopes in found], axis=1)
    return float(sum(each.sum() for each, _ in found)), np.einsum("lkb,lb->bk", model.design, by_local)


def _rows(model: _Model, theta: Floats, error: Floats, held: list[str], assumptions: Assumptions) -> pd.DataFrame:
    """The table ``calibration``: what was fitted with its interval, and what the surveys could not tell."""
    table = assumptions.table("survival")
    error = np.where(error < _ENDLESS, error, np.nan)
    rows = [{"key": key, "value": np.exp(theta[at]), "low": np.exp(theta[at] - _Z95 * error[at]),
             "high": np.exp(theta[at] + _Z95 * error[at]), "fitted": True} for at, key in enumerate(model.keys)]
    rows += [{"key": key, "value": assumptions.number("survival", key), "low": np.nan, "high": np.nan, "fitted": False}
             for key in held]
    found = pd.DataFrame(rows)
    found["default"] = [assumptions.number("survival", key) for key in found["key"]]
    found["unit"] = [str(table.at[key, "unit"]) for key in found["key"]]
    return found.sort_values("key", ignore_index=True)


def _notes(history: History) -> list[Note]:
    apart = history.set_apart["reason"].value_counts()
    said = {"recorded work": "pairs of surveys with work recorded between them are not fitted",
            "unrecorded work": "pairs of surveys in which panels got better without recorded work are taken as work "
                               "that nobody recorded, and not fitted as healing"}
    notes = [Note("calibration", None, None, f"{count} {said[str(reason)]}") for reason, count in apart.items()]
    if history.evened:
        notes.append(Note("calibration", None, None, f"{history.evened} pairs of surveys in which a panel or two got "
                          "better are taken as no change: the noise of surveys"))
    return notes
