"""The works that follow a strategy when the block is back at its trigger: what each costs by then, how long it lasts.

The condition of that time is forecast as any other, and the same needs, rules, quantities and prices are asked.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from rehab.base.settings import Assumptions
from rehab.base.tables import STRATEGIES
from rehab.plan.model import Floats
from rehab.steps import estimate, forecast, lifecycle, needs, strategy, takeoff
from rehab.steps.forecast import Ageing, Work
from rehab.steps.lifecycle import Activity, Course


def works(city: pd.DataFrame, need: pd.DataFrame, each: pd.DataFrame, ageing: Ageing, lives: dict[str, pd.DataFrame],
          start_year: int, assumptions: Assumptions) -> dict[str, Course]:
    """What follows each strategy before reconstruction, in dollars of the first year (``economics/followup.*``).

    A block on which the rules do not find the follow-up work adequate by then goes on to the next.
    """
    return {name: _chain(name, city, need, each, ageing, lives[name]["treated_yr"].to_numpy(float), start_year,
                         assumptions) for name in STRATEGIES[:-1]}


def _chain(first: str, city: pd.DataFrame, need: pd.DataFrame, each: pd.DataFrame, ageing: Ageing, until: Floats,
           start_year: int, assumptions: Assumptions) -> Course:
    span = ageing.shallow.shape[1]
    block, now = np.arange(len(city)), np.zeros(len(city), np.int64)
    longest = assumptions.number("economics", "longest_life_yr")
    trigger = assumptions.by_class("economics", "trigger", city["functional_class"]).to_numpy(float)
    kinds, done, found = np.full(len(city), first), [], []
    kept = np.maximum(ageing.shift, 0.0)  # what a held index keeps of its distance after a repair
    shift = ageing.shift if first == "none" else kept
    _, partial, full = forecast.treated(ageing, block, now, kinds, span)
    for name in lifecycle.follow_ups(first, assumptions)[:-1]:
        step = np.minimum(np.rint(until), span - 1).astype(np.int64)
        at = partial[block, step], full[block, step]
        cost, fits = _asked(name, city, need, each, at[0], at[1], shift, start_year, assumptions)
        done.append(Work(step, np.where(fits, name, "none")))
        _, partial, full = forecast.treated(ageing, block, now, kinds, span, done)
        index = forecast.index_of(partial, full, kept[:, None], assumptions)
        before = np.arange(span) < step[:, None]
        lasts = forecast.years_to(np.where(before, 101.0, index), trigger, longest) - step
        lasts = np.where(fits, np.clip(lasts, 0.0, longest), 0.0)
        found.append(Activity(name, np.where(fits, cost, 0.0), lasts, of=fits))
        until = until + lasts
        shift = np.where(fits, kept, shift)
    return tuple(found)


def _asked(name: str, city: pd.DataFrame, need: pd.DataFrame, each: pd.DataFrame, partial: Floats, full: Floats,
           shift: Floats, start_year: int, assumptions: Assumptions) -> tuple[Floats, np.ndarray]:
    """Likely cost of a strategy at shares of a later condition, and whether the rules find it adequate there."""
    shares = forecast.shares_like(need, full, partial, np.arange(len(city)), assumptions).assign(
        year=start_year, index=forecast.index_of(partial, full, shift, assumptions))
    then = needs.scale(city, shares, each)
    detail = city["condition_source"].to_numpy()
    usd = {kind: estimate.price(takeoff.measure(city, then, kind, assumptions), then["year"], assumptions, detail)[
        "likely_usd"].to_numpy(float) for kind in {name, "full_depth", "reconstruction"}}
    measures = strategy.cost_measures(usd["full_depth"], usd["reconstruction"])
    sorted_ = strategy.sort(city, then, assumptions, measures=measures, explain=False)
    return usd[name], strategy.adequate(sorted_)[name]
