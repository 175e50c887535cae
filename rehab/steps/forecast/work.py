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


class Chance(NamedTuple):
    """Single panels failing at random: how many each row has, and the generator."""

    panels: Ints
    rng: np.random.Generator

    def whole(self, share: Floats) -> Floats:
        """The share in whole panels; a part of a panel is one with that chance, so that the mean stays."""
        count = share * self.panels
        return np.asarray((np.floor(count) + (self.rng.random(count.shape) < count % 1.0)) / self.panels)

    def of(self, share: Floats, part: Floats) -> Floats:
        """Of a share of each row's panels, the share that goes with a chance of ``part``."""
        count = np.maximum(np.rint(share * self.panels), 0.0).astype(np.int64)
        return np.asarray(self.rng.binomial(count, np.clip(part, 0.0, 1.0)) / self.panels)


def treated(ageing: Ageing, block: Ints, step: Ints, strategy: npt.NDArray[np.str_], years: int | None = None,
            then: Sequence[Work] = (), chance: Chance | None = None) -> Shares:
    """Sound, partial and full shares of treated blocks, arrays (rows, years from the first year on).

    ``block`` is the row of the block, ``step`` the year of work less the first year; ``then`` is work that follows.
    Before the work the shares are the untreated ones; in the year of work they are those right after it.  With a
    ``chance`` the panels of each row fail one by one, at random, from the expected shares of the first year on;
    without, the shares are the expected ones.
    """
    span = years if years is not None else ageing.shallow.shape[1]
    works = [Work(np.asarray(step), np.asarray(strategy)), *then]
    out: Shares = (np.empty((len(block), span)), np.empty((len(block), span)), np.empty((len(block), span)))
    state = _State(ageing, block, len(works), chance)
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
    """Index of treated paths.

    A held index above the one of the shares reads the same damage as milder, and goes on to do so after work, which
    then never seems to shorten a life.  What put one below it is taken to go with the work.
    """
    worked = (np.arange(partial.shape[1]) >= step[:, None]) & (strategy != "none")[:, None]
    before = ageing.shift[block][:, None]
    return index_of(partial, full, np.where(worked, np.maximum(before, 0.0), before), assumptions)


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

    def __init__(self, ageing: Ageing, block: Ints, works: int, chance: Chance | None) -> None:
        self.ageing, self.block, self.chance = ageing, block, chance
        self.sound, self.partial, self.full = (getattr(ageing, name)[block, 0] for name in ("sound", "partial", "full"))
        self.mended = ageing.mended_left[block]  #: patched or replaced before the survey
        if chance is not None:
            self.full, self.partial = chance.whole(self.full), chance.whole(self.partial)
            self.partial = np.minimum(self.partial, 1.0 - self.full)
            self.mended = np.minimum(chance.whole(self.mended), 1.0 - self.full - self.partial)
            self.sound = 1.0 - self.full - self.partial
        self.sound = np.maximum(self.sound - self.mended, 0.0)
        self.patched, self.replaced = np.zeros((works, len(block))), np.zeros((works, len(block)))
        self.since = np.full((works, len(block)), -1)  #: year of each work, -1 before it
        self.rebuilt = np.full(len(block), -1)  #: year of reconstruction, -1 without one
        self.slower = np.ones(len(block))

    def standing(self) -> Floats:
        repaired = self.mended + self.patched.sum(axis=0) + self.replaced.sum(axis=0)
        return np.asarray(np.minimum(self.sound + repaired, 1.0))  # sums of shares may come out a rounding above one

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
            self.sound, self.mended = np.where(new, 1.0, self.sound), np.where(new, 0.0, self.mended)
            self.patched[:, new], self.replaced[:, new] = 0.0, 0.0
            self.rebuilt[new] = year

    def pass_year(self, year: int) -> None:
        """One year of ageing, by hazards of the block, of its new concrete, and of patches and panels by their age."""
        ageing, block = self.ageing, self.block
        to_shallow, to_deep = ageing.shallow[block, year], ageing.deep[block, year]
        new = np.flatnonzero(self.rebuilt >= 0)
        if len(new):
            family, old = ageing.family[block[new]], year - self.rebuilt[new]
            faster = [factor[block[new]] for factor in ageing.factors[:2]]
            to_shallow[new] = faster[0] * ageing.new_shallow[family, old]
            to_deep[new] = faster[1] * ageing.new_deep[family, old]
        once_shallow = ageing.faster * to_deep
        worse, broken, leaving = self._leave(self.sound, self.slower * to_shallow, to_deep, once_shallow)
        breaking = self._lose(self.partial, once_shallow)
        self.sound = self.sound - leaving
        gone = self._lose(self.mended, ageing.mended_hazard[block, year])
        self.mended = self.mended - gone
        self.partial, self.full = self.partial + worse - breaking, self.full + broken + breaking + gone
        for number, since in enumerate(self.since):
            if (since < 0).all():
                continue
            old = np.maximum(year - since, 0)
            patch, panel = ageing.factors[2][block] * ageing.patch[old], ageing.factors[3][block] * ageing.panel[old]
            fails, breaks, leaving = self._leave(self.patched[number], patch, 0.0, once_shallow)
            lost = self._lose(self.replaced[number], panel)
            self.patched[number] -= leaving
            self.replaced[number] -= lost
            self.partial = self.partial + fails
            self.full = self.full + breaks + lost

    def _leave(self, group: Floats, to_shallow: Floats, to_deep: npt.ArrayLike, once_shallow: Floats) -> Shares:
        """Of a group: those shallow at the end of the year, those deep by then, and both."""
        if self.chance is None:
            return leave(group, to_shallow, to_deep, once_shallow)
        worse, _, leaving = leave(np.ones_like(group), to_shallow, to_deep, once_shallow)
        gone = self.chance.of(group, leaving)
        shallow = self.chance.of(gone, np.divide(worse, leaving, out=np.zeros_like(worse), where=leaving > 0))
        return shallow, gone - shallow, gone

    def _lose(self, group: Floats, hazard: Floats) -> Floats:
        part = -np.expm1(-hazard)
        return np.asarray(group * part) if self.chance is None else self.chance.of(group, part)

