"""The curves of the families by maximum likelihood, with intervals, as rows of the table ``survival``."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

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
_ROUNDS: Final = 40
_CLOSE: Final = 0.01  #: the search ends when no value moves by more than this part of its standard error
_Z95: Final = 1.959964
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
    again: the surveys cannot tell it.  No row leaves the range that its table gives it; one that would is held at the
    end of it, without an interval, and the others are fitted to that.  Raises :class:`ValueError` where no class has
    enough failures.
    """
    kept, classes, notes = _enough(history, assumptions)
    if not classes:
        least = assumptions.number("survival", "refit.least_events")
        raise ValueError(f"too few panels failed between the surveys: no class of street has {least:.0f} of each kind; "
                         "the default curves stay")
    keys = [*(f"{kind}.scale.{name}" for name in classes for kind in ("shallow", "deep")), *_SHARED,
            *_told_apart(kept.blocks)]
    most, held = assumptions.number("survival", "refit.most_error"), []
    while True:
        model = _model(keys, kept.blocks, assumptions)
        before, theta, total, spread, ended = _climb(model, kept)
        error = np.sqrt(np.diag(spread))
        if not len(keys) or error.max() <= most:
            break
        held.append(keys.pop(int(np.argmax(error))))
    rows = _rows(model, theta, np.where(ended, np.nan, error), held, assumptions)
    notes += [Note("calibration", None, None, f"{key} would leave its range and is held at the end of it, "
                   f"{np.exp(value):.4g}; the other values are fitted to that")
              for key, value, end in zip(model.keys, theta, ended, strict=True) if end]
    return Fit(rows, before, total, len(kept.blocks), (*notes, *_notes(history)))


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


def _climb(model: _Model, history: History) -> tuple[float, Floats, float, Floats, Flags]:
    """Log-likelihood at the beginning; the best values, theirs, their covariance, and which are at an end."""
    parts = data_of(history)
    before = sum(float(log_likelihood(part, local, points(part, local)).sum())
                 for part, local in _split(model, model.begin, parts))
    theta, step = model.begin, len(history.blocks) // _FIRST
    if step > 1:  # every so many blocks first, then all from there
        some = replace(model, design=model.design[:, :, ::step], fixed=model.fixed[:, ::step])
        theta, *_ = _scoring(some, data_of(_only(history, np.arange(0, len(history.blocks), step))), theta)
    return before, *_scoring(model, parts, theta)


def _scoring(model: _Model, parts: list[Data], theta: Floats) -> tuple[Floats, float, Floats, Flags]:
    """The best values from ``theta`` on, their log-likelihood and covariance, and which are at an end of their range.

    Scoring with the blocks' own slopes (Berndt, Hall, Hall, Hausman): their sum leads up, their products are the
    information.  The points of the quadrature follow the values from round to round.
    """
    spread = np.zeros((len(theta), len(theta)))
    for _ in range(_ROUNDS):
        nodes = [points(part, local) for part, local in _split(model, theta, parts)]
        total, slopes = _slopes(model, theta, parts, nodes)
        up = slopes.sum(axis=0)
        ended = ((theta <= model.low) & (up < 0)) | ((theta >= model.high) & (up > 0))
        free = np.flatnonzero(~ended)
        spread = np.zeros_like(spread)
        spread[np.ix_(free, free)] = np.linalg.pinv(slopes[:, free].T @ slopes[:, free], rcond=1e-12)
        step = spread @ up
        if (np.abs(step) <= _CLOSE * np.sqrt(np.maximum(np.diag(spread), 0.0))).all():
            break
        step *= min(1.0, 0.7 / np.abs(step).max())
        for _ in range(12):  # never downhill
            tried = sum(log_likelihood(part, local, at).sum() for (part, local), at in zip(
                _split(model, np.clip(theta + step, model.low, model.high), parts), nodes, strict=True))
            if tried >= total - 1e-6:
                break
            step = step / 2
        theta = np.clip(theta + step, model.low, model.high)
    return theta, total, spread, ended


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
