"""Years until the index of a block falls to its trigger, without work and with."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.settings import Assumptions
from rehab.steps.forecast.ageing import Ageing, Floats, Ints, vary
from rehab.steps.forecast.draws import Multiples
from rehab.steps.forecast.work import Chance, treated, treated_index


def years_to(index: Floats, trigger: Floats, longest: float) -> Floats:
    """Years until a path of the index (rows, years) first falls to the trigger, between two years by a line.

    Zero where it begins at or below; ``longest`` where it does not get there.
    """
    below = index <= trigger[:, None]
    first = np.argmax(below, axis=1)
    rows = np.arange(len(index))
    before, after = index[rows, np.maximum(first - 1, 0)], index[rows, first]
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.where(before > after, (before - trigger) / (before - after), 0.0)
    when = np.where(first == 0, 0.0, first - 1 + part)
    return np.where(below.any(axis=1), np.minimum(when, longest), longest)


def life(network: pd.DataFrame, ageing: Ageing, strategy: npt.NDArray[np.str_],
         assumptions: Assumptions) -> pd.DataFrame:
    """Years to the trigger of the class without work and with the strategy done in the first year, per block.

    Columns block_id, untreated_yr, treated_yr, life_extension_yr; lives end at ``economics/longest_life_yr``.
    """
    longest = assumptions.number("economics", "longest_life_yr")
    trigger = assumptions.by_class("economics", "trigger", network["functional_class"]).to_numpy(float)
    block, step = np.arange(len(network)), np.zeros(len(network), np.int64)
    without = years_to(ageing.index[:, :-1], trigger, longest)
    _, partial, full = treated(ageing, block, step, strategy)
    with_work = years_to(treated_index(ageing, block, step, strategy, partial, full, assumptions), trigger, longest)
    with_work = np.where(strategy == "none", without, with_work)
    return pd.DataFrame({"block_id": network["block_id"], "untreated_yr": without, "treated_yr": with_work,
                         "life_extension_yr": np.maximum(with_work - without, 0.0)})


def drawn_lives(network: pd.DataFrame, ageing: Ageing, rows: Ints, strategy: npt.NDArray[np.str_], drawn: Multiples,
                rng: np.random.Generator | None, assumptions: Assumptions) -> tuple[Floats, Floats]:
    """Years to the trigger without work and with the strategy done in the first year, arrays (draws, rows).

    ``rows`` are blocks, ``drawn`` their multiples.  With a generator panels fail one by one, each of the two lives by
    itself; without, the blocks have the expected shares of their multiples, and the two differ by the work alone.
    Lives end at ``economics/longest_life_yr``.
    """
    longest = assumptions.number("economics", "longest_life_yr")
    draws = len(drawn.shallow)
    block = np.tile(rows, draws)
    city = network.iloc[block]
    trigger = assumptions.by_class("economics", "trigger", city["functional_class"]).to_numpy(float)
    years = min(int(np.ceil(longest)) + 1, ageing.shallow.shape[1])
    varied = vary(ageing, block, drawn.shallow.ravel(), drawn.deep.ravel(), assumptions, years,
                  np.repeat(drawn.patch, len(rows)), np.repeat(drawn.panel, len(rows)))
    at, now = np.arange(len(block)), np.zeros(len(block), np.int64)
    panels = np.maximum(np.rint(city["panels"].to_numpy(float)), 1).astype(np.int64)
    chance = None if rng is None else Chance(panels, rng)
    found = []
    for kinds in (np.full(len(block), "none"), np.tile(strategy, draws)):
        _, partial, full = treated(varied, at, now, kinds, years, chance=chance)
        index = treated_index(varied, at, now, kinds, partial, full, assumptions)
        found.append(years_to(index, trigger, longest).reshape(draws, len(rows)))
    return found[0], np.where(strategy == "none", found[0], found[1])
