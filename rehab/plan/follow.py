"""The works that follow a strategy when the block is back at its trigger: what each costs by then, how long it lasts.

The condition of that time is forecast as any other, and the same needs, rules, quantities and prices are asked.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.settings import Assumptions
from rehab.base.tables import STRATEGIES, WORK
from rehab.plan.model import Floats
from rehab.steps import estimate, forecast, lifecycle, needs, strategy, takeoff
from rehab.steps.forecast import Ageing, Work
from rehab.steps.lifecycle import Activity, Course

Flags = npt.NDArray[np.bool_]


class Rows(NamedTuple):
    """Rows to ask: the row of each one's block in the ageing; its network, needs and what one panel takes, alike."""

    block: npt.NDArray[np.int64]
    city: pd.DataFrame
    need: pd.DataFrame
    each: pd.DataFrame


def works(city: pd.DataFrame, need: pd.DataFrame, each: pd.DataFrame, ageing: Ageing, lives: dict[str, pd.DataFrame],
          start_year: int, assumptions: Assumptions) -> dict[str, Course]:
    """What follows each strategy before reconstruction, in dollars of the first year (``economics/followup.*``).

    A block on which the rules do not find the follow-up work adequate by then goes on to the next.
    """
    rows, now = Rows(np.arange(len(city)), city, need, each), np.zeros(len(city), np.int64)
    return {name: chain(name, rows, [Work(now, np.full(len(city), name))], lives[name]["treated_yr"].to_numpy(float),
                        ageing, start_year, assumptions) for name in STRATEGIES[:-1]}


def chain(first: str, rows: Rows, done: Sequence[Work], until: Floats, ageing: Ageing, start_year: int,
          assumptions: Assumptions) -> Course:
    """What follows the strategy ``first``, the last work of ``done``, before reconstruction; one number per row.

    ``done`` are the works on each row so far, in their order; ``until`` the years from the last of them until the index
    is back at the trigger.  Costs are dollars of ``start_year``.
    """
    block, begun, span = rows.block, done[-1].step, ageing.shallow.shape[1]
    longest = assumptions.number("economics", "longest_life_yr")
    trigger = assumptions.by_class("economics", "trigger", rows.city["functional_class"]).to_numpy(float)
    done, found, since, row = list(done), [], np.arange(span), np.arange(len(block))
    later = np.minimum(begun[:, None] + since, span - 1)  # the years from the last work on
    kept = np.maximum(ageing.shift[block], 0.0)  # what a held index keeps of its distance after a repair
    shift = ageing.shift[block] if first == "none" else kept
    follows = lifecycle.follow_ups(first, assumptions)[:-1]
    if not follows:
        return ()
    partial, full = _shares(ageing, block, done, later)
    for name in follows:
        step = np.minimum(np.rint(until), span - 1 - begun).astype(np.int64)
        then = needs_at(rows, partial[row, step], full[row, step], shift, start_year, assumptions)
        usd, fitting = asked(rows.city, then, assumptions, {name})
        fits = fitting[name]
        done.append(Work(begun + step, np.where(fits, name, "none")))
        partial, full = _shares(ageing, block, done, later)
        index = forecast.index_of(partial, full, kept[:, None], assumptions)
        lasts = forecast.years_to(np.where(since < step[:, None], 101.0, index), trigger, longest) - step
        lasts = np.where(fits, np.clip(lasts, 0.0, longest), 0.0)
        found.append(Activity(name, np.where(fits, usd[name], 0.0), lasts, of=fits))
        until = until + lasts
        shift = np.where(fits, kept, shift)
    return tuple(found)


def needs_at(rows: Rows, partial: Floats, full: Floats, shift: Floats, year: int | npt.NDArray[np.int64],
             assumptions: Assumptions, surface: Mapping[str, Floats] | None = None) -> pd.DataFrame:
    """The needs of rows whose panels have come to these shares by ``year``, one for all or one per row.

    ``shift`` is the distance that a held index keeps from the one of the shares; ``surface`` may hold faulting_in and
    iri_in_per_mi of that time, else those of the survey stand.
    """
    shares = forecast.shares_like(rows.need, full, partial, np.arange(len(rows.city)), assumptions).assign(
        year=year, index=forecast.index_of(partial, full, shift, assumptions), **(surface or {}))
    return needs.scale(rows.city, shares, rows.each)


def asked(city: pd.DataFrame, then: pd.DataFrame, assumptions: Assumptions,
          names: Collection[str] = WORK) -> tuple[dict[str, Floats], dict[str, Flags]]:
    """Likely cost of strategies at later needs, dollars of their year, and whether the rules find them adequate there.

    ``city`` and ``then`` have the same rows in the same order.
    """
    detail = city["condition_source"].to_numpy()
    usd = {kind: estimate.price(takeoff.measure(city, then, kind, assumptions), then["year"], assumptions, detail)[
        "likely_usd"].to_numpy(float) for kind in {*names, "full_depth", "reconstruction"}}
    measures = strategy.cost_measures(usd["full_depth"], usd["reconstruction"])
    sorted_ = strategy.sort(city, then, assumptions, measures=measures, explain=False)
    fitting = strategy.adequate(sorted_)
    return {name: usd[name] for name in names}, {name: fitting[name] for name in names}


def _shares(ageing: Ageing, block: npt.NDArray[np.int64], done: Sequence[Work],
            columns: npt.NDArray[np.int64]) -> tuple[Floats, Floats]:
    """Partial and full shares after all works so far, in each row's own years."""
    _, partial, full = forecast.treated(ageing, block, *done[0], columns.shape[1], done[1:])
    return np.take_along_axis(partial, columns, axis=1), np.take_along_axis(full, columns, axis=1)
