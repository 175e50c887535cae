"""Blocks after work: patches and replaced panels age by curves of their own, the rest goes on as it was."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.panels import leave
from rehab.base.settings import Assumptions
from rehab.steps.forecast.ageing import Ageing, Floats, Ints, Shares, index_of


class Work(NamedTuple):
    """Work on each row: ``step`` years after the first year (never where it is out of reach), and the strategy."""

    step: Ints
    strategy: npt.NDArray[np.str_]


def treated(ageing: Ageing, block: Ints, step: Ints, strategy: npt.NDArray[np.str_], years: int | None = None,
            then: Sequence[Work] = ()) -> Shares:
    """Sound, partial and full shares of treated blocks, arrays (rows, years from the first year on).

    ``block`` is the row of the block, ``step`` the year of work less the first year; ``then`` is work that follows.
    Before the work the shares are the untreated ones; in the year of work they are those right after it.
    """
    span = years if years is not None else ageing.shallow.shape[1]
    works = [Work(np.asarray(step), np.asarray(strategy)), *then]
    out: Shares = (np.empty((len(block), span)), np.empty((len(block), span)), np.empty((len(block), span)))
    state = _State(ageing, block, len(works))
    for year in range(span):
        for number, work in enumerate(works):
            due = np.asarray(work.step) == year
            if due.any():
                state.do(number, year, due, work.strategy)
        for path, group in zip(out, (state.standing(), state.partial, state.full), strict=True):
            path[:, year] = group
        if year + 1 < span:
            state.pass_year(year)
    return out


def treated_index(ageing: Ageing, block: Ints, step: Ints, strategy: npt.NDArray[np.str_], partial: Floats,
                  full: Floats, assumptions: Assumptions) -> Floats:
    """Index of treated paths.  From the work on, the held index keeps its shift only for what was not renewed."""
    worked = np.arange(partial.shape[1]) >= step[:, None]
    shift = np.where(worked & (strategy != "none")[:, None], 0.0, ageing.shift[block][:, None])
    return index_of(partial, full, shift, assumptions)


def benefit(network: pd.DataFrame, ageing: Ageing, years: int, strategy: str, assumptions: Assumptions) -> Floats:
    """What the strategy gains in each block and year of work: an array (blocks, years).

    Discounted square-yard-years of sound pavement gained over the horizon, times the traffic weight of the class.
    The horizon ends for every year of work at the same time, so waiting is never rewarded by a later end.
    """
    rate = assumptions.number("economics", "discount")
    horizon = int(assumptions.number("economics", "horizon_yr"))
    worth = (1.0 + rate) ** -np.arange(horizon, dtype=float)
    weight = network["area_sqyd"].to_numpy(float) * assumptions.by_class(
        "economics", "weight", network["functional_class"]).to_numpy(float)
    block = np.arange(len(network))
    gains = np.empty((len(network), years))
    for step in range(years):
        sound = treated(ageing, block, np.full(len(block), step), np.full(len(block), strategy), horizon)[0]
        gains[:, step] = (sound - ageing.sound[:, :horizon]) @ worth
    return np.asarray(gains * weight[:, None])


class _State:
    """Shares of panels of every row in one year; patches and replaced panels by the work they come from."""

    def __init__(self, ageing: Ageing, block: Ints, works: int) -> None:
        self.ageing, self.block = ageing, block
        self.sound, self.partial, self.full = (getattr(ageing, name)[block, 0] for name in ("sound", "partial", "full"))
        self.patched, self.replaced = np.zeros((works, len(block))), np.zeros((works, len(block)))
        self.since = np.full((works, len(block)), -1)  #: year of each work, -1 before it
        self.rebuilt = np.full(len(block), -1)  #: year of reconstruction, -1 without one
        self.slower = np.ones(len(block))

    def standing(self) -> Floats:
        return np.asarray(self.sound + self.patched.sum(axis=0) + self.replaced.sum(axis=0))

    def do(self, number: int, year: int, due: npt.NDArray[np.bool_], strategy: npt.NDArray[np.str_]) -> None:
        """The work of one number in one year, on the rows where it is due."""
        repair, new = due & np.isin(strategy, ("partial_depth", "full_depth")), due & (strategy == "reconstruction")
        panels = repair & (strategy == "full_depth")
        self.since[number][repair] = year
        self.patched[number] = np.where(repair, self.partial, self.patched[number])
        self.replaced[number] = np.where(panels, self.full, self.replaced[number])
        self.partial = np.where(repair | new, 0.0, self.partial)
        self.full = np.where(panels | new, 0.0, self.full)
        self.slower = np.where(repair, self.ageing.renewed, np.where(new, 1.0, self.slower))
        if new.any():
            self.sound = np.where(new, 1.0, self.sound)
            self.patched[:, new], self.replaced[:, new] = 0.0, 0.0
            self.rebuilt[new] = year

    def pass_year(self, year: int) -> None:
        """One year of ageing, by hazards of the block, of its new concrete, and of patches and panels by their age."""
        ageing, block = self.ageing, self.block
        to_shallow, to_deep = ageing.shallow[block, year], ageing.deep[block, year]
        new = np.flatnonzero(self.rebuilt >= 0)
        if len(new):
            family, old = ageing.family[block[new]], year - self.rebuilt[new]
            to_shallow[new], to_deep[new] = ageing.new_shallow[family, old], ageing.new_deep[family, old]
        once_shallow = ageing.faster * to_deep
        worse, broken, leaving = leave(self.sound, self.slower * to_shallow, to_deep, once_shallow)
        breaking = self.partial * -np.expm1(-once_shallow)
        self.sound = self.sound - leaving
        self.partial, self.full = self.partial + worse - breaking, self.full + broken + breaking
        for number, since in enumerate(self.since):
            if (since < 0).all():
                continue
            old = np.maximum(year - since, 0)
            fails, breaks, leaving = leave(self.patched[number], _at(ageing.patch, block, old), 0.0, once_shallow)
            lost = self.replaced[number] * -np.expm1(-_at(ageing.panel, block, old))
            self.patched[number] -= leaving
            self.replaced[number] -= lost
            self.partial = self.partial + fails
            self.full = self.full + breaks + lost


def _at(hazard: Floats, block: Ints, old: Ints) -> Floats:
    """Hazard of each row's age: one curve for all, or one for each row of the ageing."""
    return np.asarray(hazard[old] if hazard.ndim == 1 else hazard[block, old])
