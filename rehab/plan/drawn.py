"""What may be done to each block in each year, drawn: costs, benefits and rules of one possible city after another.

A program that is chosen anew in each draw says how often a block stays in it.  A draw has the families' lives, each
block's own, the lives of patches and panels, the measure of the survey, unit prices and their rise, all spread as for
the chances of one program (:mod:`rehab.plan.uncertainty`).  Single panels are not drawn: the choice is between whole
blocks, each with the shares that its multipliers lead to, as in the plan itself.  Steps and ride are those forecast.

What takes time is measured once for every draw anew (:mod:`rehab.steps.takeoff`), nothing is read off between points.
The benefit alone is worked out in another way than in :func:`rehab.steps.forecast.benefit`, with the same result but
for rounding: sound panels of one kind die away by hazards of their own and never come back without more work, so their
years ahead are one sum from the horizon backwards, and need no path for each year of work.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import ndtri

from rehab.base.money import escalation_factor, present_worth_factor
from rehab.base.tables import STRATEGIES, WORK
from rehab.plan.model import Prepared
from rehab.steps import estimate, forecast, needs, program, strategy, takeoff

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

_Z90: Final = 1.2815516  #: low and high are the 10th and 90th percentiles
_ROWS: Final = 48_000  #: blocks times years at a time: more share the cost of a call, beyond that memory only grows


@dataclass(frozen=True)
class Drawn:
    """One draw of what :class:`~rehab.plan.model.Prepared` holds under these names, arrays (blocks, years).

    ``by_rule`` is the deciding strategy as a position in STRATEGIES, ``adequate`` whether each strategy of work does;
    both follow the costs of the draw where a rule asks for their ratio.  ``costs`` are dollars of the year at the
    draw's prices and rise.  ``benefits`` are sound pavement gained, less waiting, and no other measure: a program
    chosen by its present worth needs that of the draw, for instance the plan's own times ``benefits`` over
    ``prepared.benefits`` where these are above zero, which is an approximation.
    """

    costs: dict[str, Floats]
    benefits: dict[str, Floats]
    by_rule: Ints
    adequate: dict[str, Flags]


def alternatives(prepared: Prepared, draws: int, seed: int = 1) -> Iterator[Drawn]:
    """Draw after draw of what may be done, ``draws`` of them, made as they are asked for.

    The same plan, number and seed give the same draws.  Raises :class:`ValueError` for fewer than one.
    """
    if draws < 1:
        raise ValueError("at least one draw is needed")
    rng = np.random.default_rng(seed)
    everything = np.arange(len(prepared.network))
    lives = forecast.multiples(prepared.ageing, everything, draws, prepared.assumptions, rng)
    return _made(prepared, _Draws(lives, measured(prepared, draws, rng), *prices(prepared, draws, rng)))


def measured(prepared: Prepared, draws: int, rng: np.random.Generator) -> Floats:
    """What the survey's damage is multiplied by, (draws, blocks): lognormal, its range that of the block's detail."""
    used = prepared.assumptions
    spread = np.log1p(estimate.quantity_range(used, prepared.network["condition_source"].to_numpy())) / _Z90
    alike = rng.normal(0.0, np.sqrt(np.log1p(used.number("uncertainty", "quantity.common_cv") ** 2)), (draws, 1))
    return np.asarray(np.exp(alike + spread * rng.normal(size=(draws, len(spread)))))


def prices(prepared: Prepared, draws: int, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Factors on the unit price of each item (draws, items) and on the escalation to each year (draws, years)."""
    used = prepared.assumptions
    items = used.table("pay_items")
    table = items[["low", "high"]].astype(float)
    between = items["origin"].map({name: ndtri((1 + used.number("uncertainty", f"price.range_share.{name}")) / 2)
                                   for name in ("default", "city")}).astype(float)
    low, high = (table[name].to_numpy() for name in ("low", "high"))
    spread = np.where(low > 0, np.log(high / np.maximum(low, 1e-9)) / (2 * between.to_numpy()), 0.0)
    common = used.number("uncertainty", "price.common_share")
    scatter = np.sqrt(common) * rng.normal(size=(draws, 1)) + np.sqrt(1 - common) * rng.normal(
        size=(draws, len(table)))
    rate = used.number("economics", "escalation")
    off = rng.normal(0.0, used.number("uncertainty", "escalation.sd"), (draws, 1))
    ahead = prepared.start_year + np.arange(prepared.years) - used.number("economics", "price_year")
    return np.exp(scatter * spread), np.asarray((np.maximum(1 + rate + off, 0.5) / (1 + rate)) ** ahead)


class _Draws(NamedTuple):
    """Factors: on hazards, on the damage seen (draws, blocks), on prices (draws, items), on the rise (draws, years)."""

    lives: forecast.Multiples
    seen: Floats
    prices: Floats
    rise: Floats


class _Same(NamedTuple):
    """What no draw changes, for the rows of one draw after another: block by block, year by year within the block."""

    row: Ints
    city: pd.DataFrame
    each: pd.DataFrame
    of_year: pd.DataFrame
    markup: Floats
    rebuilt: Floats
    unit_usd: Floats


def _made(prepared: Prepared, draws: _Draws) -> Iterator[Drawn]:
    """The draws whose factors are given; with all factors one, the plan's own costs, benefits and rules."""
    count = len(draws.seen)
    step = min(count, max(1, _ROWS // max(prepared.by_rule.size, 1)))
    same = _same(prepared, step)
    for begin in range(0, count, step):
        yield from _chunk(prepared, same, _Draws(_part(draws.lives, begin, begin + step), *(
            factor[begin:begin + step] for factor in draws[1:])))


def _part(lives: forecast.Multiples, begin: int, end: int) -> forecast.Multiples:
    return forecast.Multiples(lives.shallow[begin:end], lives.deep[begin:end], lives.patch[begin:end],
                              lives.panel[begin:end])


def _same(prepared: Prepared, draws: int) -> _Same:
    used = prepared.assumptions
    of_one = np.repeat(np.arange(len(prepared.network)), prepared.years)
    # Names go nowhere from here and classes are few: numbers for both spare each draw tens of thousands of texts.
    city = prepared.network.assign(block_id=np.arange(len(prepared.network)),
                                   functional_class=prepared.network["functional_class"].astype("category"))
    row = np.tile(of_one, draws)
    of_year = prepared.needs_by_year[["year", "faulting_in", "iri_in_per_mi"]]
    # The whole pavement is rebuilt whatever its damage: the quantities of reconstruction are those of the plan.
    rebuilt = takeoff.measure(city.iloc[of_one], prepared.needs_by_year, "reconstruction", used)
    return _Same(
        row, city.iloc[row].reset_index(drop=True), prepared.each.iloc[row].reset_index(drop=True),
        of_year.iloc[np.tile(np.arange(len(of_year)), draws)].reset_index(drop=True),
        estimate.factors(of_year["year"], used, prepared.network["condition_source"].to_numpy()[of_one]),
        rebuilt.to_numpy(float), estimate.unit_prices("value", rebuilt.columns, used))


def _chunk(prepared: Prepared, same: _Same, draws: _Draws) -> Iterator[Drawn]:
    """Some draws at once; the rows of one follow those of another."""
    used, years, shape = prepared.assumptions, prepared.years, (len(draws.seen), *prepared.by_rule.shape)
    horizon = int(used.number("economics", "horizon_yr"))
    block = np.tile(np.arange(shape[1]), shape[0])
    lives = draws.lives
    ageing = forecast.vary(prepared.ageing, block, lives.shallow.ravel(), lives.deep.ravel(), used,
                           max(horizon, years), np.repeat(lives.patch, shape[1]), np.repeat(lives.panel, shape[1]),
                           draws.seen.ravel())
    rows = slice(0, len(block) * years)
    city = same.city.iloc[rows]
    shares = forecast.shares_like(prepared.needs, ageing.full[:, :years].ravel(), ageing.partial[:, :years].ravel(),
                                  same.row[rows], used)
    need = needs.scale(city, shares.join(same.of_year.iloc[rows]).assign(index=ageing.index[:, :years].ravel()),
                       same.each.iloc[rows])
    costs = _costs(prepared, same, draws, city, need)
    sorted_ = strategy.sort(city, need, used, explain=False, measures=strategy.cost_measures(
        costs["full_depth"].ravel(), costs["reconstruction"].ravel()))
    by_rule = pd.Index(STRATEGIES).get_indexer(pd.Index(sorted_["strategy"])).astype(np.int64).reshape(shape)
    adequate = {name: flags.reshape(shape) for name, flags in strategy.adequate(sorted_).items()}
    gains = {name: gain.reshape(shape) for name, gain in _gains(
        ageing, years, horizon, used.number("economics", "discount")).items()}
    for draw in range(shape[0]):
        of_draw = {name: usd[draw] for name, usd in costs.items()}
        yield Drawn(of_draw, _benefits(prepared, {name: gain[draw] for name, gain in gains.items()}, of_draw,
                                       by_rule[draw], draws.rise[draw]),
                    by_rule[draw], {name: flags[draw] for name, flags in adequate.items()})


def _costs(prepared: Prepared, same: _Same, draws: _Draws, city: pd.DataFrame,
           need: pd.DataFrame) -> dict[str, Floats]:
    """Dollars of the year by strategy, (draws, blocks, years): the quantities of each draw at its prices."""
    count, (blocks, years) = len(draws.seen), prepared.by_rule.shape
    found = {}
    for name in WORK:
        amounts = (None if name == "reconstruction" else
                   takeoff.measure(city, need, name, prepared.assumptions).to_numpy(float))
        usd = np.empty((count, blocks, years))
        for draw in range(count):
            size = blocks * years
            taken = same.rebuilt if amounts is None else amounts[draw * size:(draw + 1) * size]
            usd[draw] = (taken @ (same.unit_usd * draws.prices[draw]) * same.markup).reshape(blocks, years)
        found[name] = usd * draws.rise[:, None, :]
    return found


def _benefits(prepared: Prepared, gains: dict[str, Floats], costs: dict[str, Floats], by_rule: Ints,
              rise: Floats) -> dict[str, Floats]:
    """Gains of one draw by area and traffic, less what waiting adds; its dollars are made real by its own rise."""
    used, city = prepared.assumptions, prepared.network
    weight = city["area_sqyd"].to_numpy(float) * used.by_class(
        "economics", "weight", city["functional_class"]).to_numpy(float)
    ahead = np.arange(prepared.years)
    return program.less_waiting(
        {name: gain * weight[:, None] for name, gain in gains.items()}, costs, by_rule,
        escalation_factor(used.number("economics", "escalation"), ahead) * (rise / rise[0]),
        present_worth_factor(used.number("economics", "discount"), ahead),
        used.number("economics", "waiting_worth"))


def _gains(ageing: forecast.Ageing, years: int, horizon: int, discount: float) -> dict[str, Floats]:
    """Discounted years of sound pavement that each strategy gains per unit of area, (rows, years of work).

    As :func:`rehab.steps.forecast.benefit`, for rows with factors of their own; hazards through the horizon are needed.
    """
    worth = present_worth_factor(discount, np.arange(horizon))
    open_ = slice(0, min(years, horizon))  # work beyond the horizon gains nothing
    shallow, deep, old = (hazard[:, :horizon] for hazard in (ageing.shallow, ageing.deep, ageing.mended_hazard))
    mended = ageing.mended_left[:, None] * _lasting(old)
    sound = np.maximum(ageing.sound[:, :horizon] - mended, 0.0)
    without = np.cumsum((ageing.sound[:, :horizon] * worth)[:, ::-1], axis=1)[:, ::-1]
    kept = sound * _ahead(ageing.renewed * shallow + deep, worth) + mended * _ahead(old, worth)
    factors = [factor[:, None] for factor in ageing.factors]
    new = factors[0] * ageing.new_shallow[ageing.family, :horizon] + factors[1] * ageing.new_deep[
        ageing.family, :horizon]
    patched = kept + ageing.partial[:, :horizon] * _anew(factors[2] * ageing.patch[:horizon], worth)
    with_work = {"partial_depth": patched, "full_depth": patched + ageing.full[:, :horizon] * _anew(
        factors[3] * ageing.panel[:horizon], worth), "reconstruction": _anew(new, worth)}
    gains = {name: np.zeros((len(sound), years)) for name in with_work}
    for name, total in with_work.items():
        gains[name][:, open_] = (total - without)[:, open_]
    return gains


def _lasting(hazard: Floats) -> Floats:
    """What is left at the start of each year of one at the start of the first, by the hazards of the years."""
    return np.asarray(np.exp(-np.column_stack([np.zeros(len(hazard)), np.cumsum(hazard[:, :-1], axis=1)])))


def _ahead(hazard: Floats, worth: Floats) -> Floats:
    """Discounted years to the horizon of one that stands at the start of each year, summed from the end backwards."""
    stays = np.exp(-hazard)
    found = np.empty_like(stays)
    later = np.zeros(len(stays))
    for year in range(len(worth) - 1, -1, -1):
        later = worth[year] + stays[:, year] * later
        found[:, year] = later
    return found


def _anew(hazard: Floats, worth: Floats) -> Floats:
    """Discounted years to the horizon of one made in each year, with the hazards of its own age from zero on."""
    until = np.cumsum(worth * _lasting(hazard), axis=1)  # by number of years
    return np.asarray(until[:, ::-1] * worth)  # made later, it has fewer years, all of them worth less
