"""Lives, quantities, prices and decay drawn together: what a program may cost, and which strategies hold.

A plan rests on likely values.  Here the families' lives, each block's own, single panels, the measure of the survey,
unit prices and their rise are drawn many times; in each draw a block gets what the rules decide for its condition in
the year of work, as the program says.  The draws are seeded: the same plan gives the same chances.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base import tables
from rehab.base.tables import STRATEGIES, WORK
from rehab.plan import results
from rehab.plan.drawn import measured as _measured
from rehab.plan.drawn import prices as _prices
from rehab.plan.model import Plan, Prepared
from rehab.steps import estimate, forecast, needs, strategy, takeoff

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

_BAND: Final = (10, 50, 90)
_CHUNK: Final = 20  #: draws of the network's condition at a time


@dataclass(frozen=True)
class Chances:
    """What the draws say: a row per year of the program, a row per block, and the network's mean index.

    ``by_year`` is the table ``chances``, ``by_block`` the table ``block_chances``.  ``cost_usd`` holds each draw's cost
    of each year (draws, years), ``same_usd`` that of the planned strategies at the quantities of the draw, and
    ``index`` the mean index by area after each year's work (draws, years), whatever that work cost.
    """

    by_year: pd.DataFrame
    by_block: pd.DataFrame
    cost_usd: Floats
    same_usd: Floats
    index: Floats
    index_without: Floats

    def reaches(self, index: float) -> float:
        """The chance that the mean index after the last year's work is at least ``index``."""
        return float((self.index[:, -1] >= index).mean())


def chances(plan: Plan, draws: int = 1000, seed: int = 1) -> Chances:
    """Draw the program of a plan ``draws`` times.

    A block whose strategy was set by hand, or is not what the rules decide for its year, keeps it in every draw.
    Second works are taken as planned.  Raises :class:`ValueError` for fewer than two draws.
    """
    if draws < 2:
        raise ValueError("an interval needs at least two draws")
    prepared, used = plan.prepared, plan.prepared.assumptions
    rng = np.random.default_rng(seed)
    row = pd.Index(prepared.network["block_id"]).get_indexer(plan.program["block_id"]).astype(np.int64)
    step = plan.program["year"].to_numpy(np.int64) - prepared.start_year
    planned = plan.program["strategy"].map(STRATEGIES.index).to_numpy(np.int64)
    everything = np.arange(len(prepared.network))
    drawn = forecast.multiples(prepared.ageing, everything, draws, used, rng)
    seen = _measured(prepared, draws, rng)
    mine = forecast.Multiples(drawn.shallow[:, row], drawn.deep[:, row], drawn.patch, drawn.panel)
    partial, full, panels = forecast.counts_at(prepared.network, prepared.needs, row, prepared.start_year + step,
                                               prepared.ageing, mine, seen[:, row], used, rng)
    cases, which = _distinct(partial, full, len(row))
    decided, amounts = _cases(prepared, row[cases.row], step[cases.row], cases.partial / panels[cases.row],
                              cases.full / panels[cases.row])
    kept = _kept(plan, row, step, planned)
    taken = np.where(kept, planned, decided[which])
    prices, rise = _prices(prepared, draws, rng)
    usd, same = (_cost(amounts, which, kind, prices, rise[:, step]) for kind in (
        taken, np.broadcast_to(planned, which.shape)))
    years = np.arange(prepared.years)
    then = results.second_works(plan.program, prepared.start_year)
    later = np.flatnonzero(then.step >= 0)
    again = np.zeros(prepared.years)
    np.add.at(again, then.step[later], plan.program["then_usd"].to_numpy(float)[later])
    cost, same_cost = (np.stack([each[:, step == year].sum(axis=1) for year in years], axis=1) + again
                       for each in (usd, same))
    index, without = _condition(plan, drawn, seen, row, step, planned, then)
    return Chances(_by_year(plan, cost, same_cost, index, without), _by_block(plan, taken, planned, usd), cost,
                   same_cost, index, without)


@dataclass(frozen=True)
class _Cases:
    row: Ints
    partial: Ints
    full: Ints


def _distinct(partial: Ints, full: Ints, rows: int) -> tuple[_Cases, Ints]:
    """The distinct conditions among the draws, and which of them each draw and row has."""
    most = int(max(partial.max(initial=0), full.max(initial=0))) + 1
    code = (np.arange(rows) * most + partial) * most + full
    found, which = np.unique(code, return_inverse=True)
    return _Cases(found // (most * most), found // most % most, found % most), which.reshape(code.shape)


def _cases(prepared: Prepared, row: Ints, step: Ints, partial: Floats, full: Floats) -> tuple[Ints, dict[int, Floats]]:
    """What the rules decide for each condition, and its dollars item by item for each strategy of work."""
    used = prepared.assumptions
    city = prepared.network.iloc[row].reset_index(drop=True)
    shares = forecast.shares_like(prepared.needs, full, partial, row, used)
    at = row * prepared.years + step
    of_year = prepared.needs_by_year[["year", "faulting_in", "iri_in_per_mi"]].iloc[at].reset_index(drop=True)
    index = forecast.index_of(partial, full, prepared.ageing.shift[row], used)
    need = needs.scale(city, shares.join(of_year).assign(index=index), prepared.each.iloc[row].reset_index(drop=True))
    detail = city["condition_source"].to_numpy()
    factor = estimate.factors(need["year"], used, detail)
    amounts = {}
    for name in WORK:
        quantities = takeoff.measure(city, need, name, used)
        price = estimate.unit_prices("value", quantities.columns, used)
        amounts[STRATEGIES.index(name)] = quantities.to_numpy(float) * price * factor[:, None]
    full_usd, rebuilt_usd = (amounts[STRATEGIES.index(name)].sum(axis=1) for name in ("full_depth", "reconstruction"))
    sorted_ = strategy.sort(city, need, used, measures=strategy.cost_measures(full_usd, rebuilt_usd), explain=False)
    return sorted_["strategy"].map(STRATEGIES.index).to_numpy(np.int64), amounts


def _cost(amounts: dict[int, Floats], which: Ints, kind: Ints, prices: Floats, rise: Floats) -> Floats:
    """Dollars of each draw and row: the items of its condition by its strategy, at the prices of the draw."""
    found = np.zeros(which.shape)
    for code, dollars in amounts.items():
        for draw in range(len(which)):
            at = kind[draw] == code
            if at.any():
                found[draw, at] = dollars[which[draw, at]] @ prices[draw]
    return found * rise


def _kept(plan: Plan, row: Ints, step: Ints, planned: Ints) -> npt.NDArray[np.bool_]:
    """Rows whose strategy is not the rules' to change: set by hand, forced, or another than theirs."""
    own = {item.block_id for item in plan.scenario.overrides}
    own |= {item.block_id for item in plan.scenario.forced if item.strategy}
    by_hand = plan.program["block_id"].isin(own).to_numpy()
    return np.asarray(by_hand | (plan.prepared.by_rule[row, step] != planned))


def _condition(plan: Plan, drawn: forecast.Multiples, seen: Floats, row: Ints, step: Ints,
               planned: Ints, then: forecast.Work) -> tuple[Floats, Floats]:
    """Mean index by area in each draw and year, after the planned work and without any, (draws, years).

    Over a whole network single panels even out: each block has the expected condition of its multipliers.
    """
    prepared, used = plan.prepared, plan.prepared.assumptions
    draws, blocks = drawn.shallow.shape
    weight = prepared.network["area_sqyd"].to_numpy(float)
    weight = weight / weight.sum() if blocks else weight
    out, without = np.empty((draws, prepared.years)), np.empty((draws, prepared.years))
    names = np.array(STRATEGIES)[planned]
    for begin in range(0, draws, _CHUNK):
        at = slice(begin, min(begin + _CHUNK, draws))
        count = at.stop - at.start
        block = np.tile(np.arange(blocks), count)
        ageing = forecast.vary(prepared.ageing, block, drawn.shallow[at].ravel(), drawn.deep[at].ravel(), used,
                               prepared.years, np.repeat(drawn.patch[at], blocks), np.repeat(drawn.panel[at], blocks),
                               seen[at].ravel())
        rows = (np.arange(count)[:, None] * blocks + row).ravel()
        steps, kinds = np.tile(step, count), np.tile(names, count)
        later = forecast.Work(np.tile(then.step, count), np.tile(then.strategy, count))
        _, partial, full = forecast.treated(ageing, rows, steps, kinds, prepared.years, (later,))
        with_work = forecast.treated_index(ageing, rows, steps, kinds, partial, full, used)
        index = ageing.index[:, :prepared.years].reshape(count, blocks, prepared.years)
        without[at] = np.einsum("dby,b->dy", index, weight)
        index[:, row] = with_work.reshape(count, len(row), prepared.years)
        out[at] = np.einsum("dby,b->dy", index, weight)
    return out, without


def _by_year(plan: Plan, cost: Floats, same: Floats, index: Floats, without: Floats) -> pd.DataFrame:
    year = plan.by_year
    low, median, high = np.percentile(cost, _BAND, axis=0)
    bands = {name: np.percentile(path, _BAND, axis=0) for name, path in (("with", index), ("without", without))}
    budget = np.array(plan.scenario.budgets_usd)
    return tables.check("chances", tables.with_types("chances", pd.DataFrame({
        "year": year["year"].to_numpy(), "budget_usd": budget, "planned_usd": year["spent_usd"].to_numpy(float),
        "mean_usd": cost.mean(axis=0), "low_usd": low, "median_usd": median, "high_usd": high,
        "same_usd": same.mean(axis=0), "over": (cost > budget + 0.5).mean(axis=0),
        **{f"index_{name}{end}": band[at] for name, band in bands.items()
           for at, end in enumerate(("_low", "", "_high"))},
    })))


def _by_block(plan: Plan, taken: Ints, planned: Ints, usd: Floats) -> pd.DataFrame:
    low, median, high = np.percentile(usd, _BAND, axis=0) if len(planned) else np.zeros((3, 0))
    return tables.check("block_chances", tables.with_types("block_chances", plan.program[
        ["block_id", "year", "strategy"]].reset_index(drop=True).assign(
            planned_usd=plan.program["cost_usd"].to_numpy(float), low_usd=low, median_usd=median, high_usd=high,
            stays=(taken == planned).mean(axis=0), heavier=(taken > planned).mean(axis=0),
            lighter=(taken < planned).mean(axis=0)).sort_values("block_id", ignore_index=True)))


