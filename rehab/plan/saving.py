"""What work in a year of the program saves: life cycles that begin with waiting, against the one without a program.

Every figure is real dollars of the first year at their present worth, at the rate in use, over ``economics/horizon_yr``
from the first year on, whatever the year of work.  A block left alone past its trigger simply waits for its work:
nothing else is done to it and nothing is paid while it waits, since the program decides.  The life cycle without a
program is that of ``none``: the block is left alone until its trigger, then what follows.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.money import escalation_factor, present_worth_factor
from rehab.base.surface import grindings_left
from rehab.base.tables import STRATEGIES, WORK
from rehab.plan import follow, worth
from rehab.plan.model import Floats, Prepared
from rehab.steps import estimate, forecast, grinding, lifecycle
from rehab.steps.forecast import Work
from rehab.steps.lifecycle import Activity, Course

Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

_CHUNK: Final = 40_000  #: rows worked out at once: enough to hide the fixed cost of a step, few enough to stay small


def savings(prepared: Prepared, of: Mapping[str, Flags] | None = None) -> dict[str, Floats]:
    """Present worth of agency cost that each strategy saves in each block and year of work: arrays (blocks, years).

    The life cycle without a program (``none_worth_usd``) less that of the block left alone until the year, worked on at
    the cost of that year, and followed by what follows from there.  In the first year this is the difference of the
    plan's own present worths.  Costs of a year are brought back to real ones by the escalation; above general inflation
    they grow only where ``economics/real_escalation`` says so.

    Worked out where ``of`` (arrays (blocks, years) by strategy) is true, or without it where the rules find the
    strategy adequate or decide on it; NaN elsewhere, and in years after the horizon.
    """
    counted = np.arange(prepared.years) < prepared.assumptions.number("economics", "horizon_yr")
    none = prepared.worth["none_worth_usd"].to_numpy(float)
    result = {}
    for number, name in enumerate(WORK, 1):
        asked = (prepared.adequate[name] | (prepared.by_rule == number)) if of is None else of[name]
        block, step = np.nonzero(asked & counted)
        result[name] = np.full((len(prepared.network), prepared.years), np.nan)
        for at in range(0, len(block), _CHUNK):
            rows = slice(at, at + _CHUNK)
            result[name][block[rows], step[rows]] = none[block[rows]] - _of_one(prepared, name, block[rows], step[rows])
    return result


def without_waiting(prepared: Prepared, found: Mapping[str, Floats]) -> dict[str, Floats]:
    """Savings in which waiting past the trigger earns nothing.

    The life cycle without a program pays for its next work when the index is at the trigger; a block that a program
    leaves longer pays nobody for its poor years.  So from the year after the trigger on nothing saves more than it does
    in the first year at or after it, discounted to its own year.
    """
    until = prepared.lives["none"]["untreated_yr"].to_numpy(float)
    first = np.minimum(np.ceil(until), prepared.years - 1).astype(np.int64)
    late = np.maximum(np.arange(prepared.years) - first[:, None], 0)
    factor = present_worth_factor(prepared.assumptions.number("economics", "discount"), late)
    out = {}
    for name, values in found.items():
        at_trigger = values[np.arange(len(first)), first][:, None]
        most = np.where(at_trigger > 0, at_trigger * factor, at_trigger)
        out[name] = np.where((late > 0) & ~np.isnan(most), np.minimum(values, most), values)
    return out


def of_pairs(prepared: Prepared, name: str, block: Ints, first: Work, then: Work, then_usd: Floats,
             then_ground_sqyd: Floats) -> Floats:
    """What two works on a block save, one number per row; the second of every row is ``name``.

    ``then_usd`` is its cost in dollars of its year, ``then_ground_sqyd`` the area ground with it.  The first work ends
    when the second begins.  'grinding' leaves the first work its life: the surface is ground in the second year instead
    of whenever it is worn, and again from there.
    """
    found = np.empty(len(block))
    for at in range(0, len(block), _CHUNK):
        rows = slice(at, at + _CHUNK)
        works = Work(first.step[rows], first.strategy[rows]), Work(then.step[rows], then.strategy[rows])
        found[rows] = _of_grinding(prepared, block[rows], *works, then_usd[rows]) if name == lifecycle.GRINDING else \
            _of_two(prepared, name, block[rows], *works, then_usd[rows], then_ground_sqyd[rows])
    return np.asarray(prepared.worth["none_worth_usd"].to_numpy(float)[block] - found)


def life_from(prepared: Prepared, block: Ints, done: Sequence[Work]) -> Floats:
    """Years from the last of the works on each row until the index is at its trigger, ``longest_life_yr`` at most."""
    ageing, assumptions = prepared.ageing, prepared.assumptions
    longest = assumptions.number("economics", "longest_life_yr")
    trigger = assumptions.by_class("economics", "trigger", prepared.network["functional_class"]).to_numpy(float)[block]
    span, begun = ageing.shallow.shape[1], done[-1].step
    _, partial, full = forecast.treated(ageing, block, *done[0], span, done[1:])
    index = forecast.treated_index(ageing, block, *done[0], partial, full, assumptions)
    later = np.minimum(begun[:, None] + np.arange(span), span - 1)
    return forecast.years_to(np.take_along_axis(index, later, axis=1), trigger, longest)


def grinding_price(prepared: Prepared, block: Ints, year: int | Ints) -> Floats:
    """Dollars of the year for grinding a square yard by itself, all mark-ups in, one number per row."""
    assumptions = prepared.assumptions
    items = pd.Index(estimate.scope("diamond_grinding", assumptions))  # each of them is counted by the square yard
    detail = prepared.network["condition_source"].to_numpy()[block]
    return np.asarray(estimate.unit_prices("value", items, assumptions).sum()
                      * estimate.factors(year, assumptions, detail))


def _of_one(prepared: Prepared, name: str, block: Ints, step: Ints) -> Floats:
    """Present worth of waiting, one work and what follows."""
    usd = prepared.costs[name][block, step] / _inflation(prepared, step)
    done = [Work(step, np.full(len(block), name))]
    course = _course(prepared, name, block, done, usd, _needs(prepared, block, step))
    return _worth(prepared, (_waiting(step, course[0]), *course))


def _of_two(prepared: Prepared, name: str, block: Ints, first: Work, then: Work, then_usd: Floats,
            ground_sqyd: Floats) -> Floats:
    """Present worth of waiting, a first work until the second, the second and what follows it."""
    real = then_usd / _inflation(prepared, then.step)
    needs = _needs(prepared, block, first.step)
    course = _course(prepared, name, block, [first, then], real, needs.assign(grind_sqyd=ground_sqyd))
    one = _first(prepared, block, first, needs, (then.step - first.step).astype(float))
    return _worth(prepared, (_waiting(first.step, one), one, *course))


def _of_grinding(prepared: Prepared, block: Ints, first: Work, then: Work, then_usd: Floats) -> Floats:
    """Present worth of waiting, a first work whose surface is ground again in the second year, and what follows."""
    needs, terms = _needs(prepared, block, first.step), _terms(prepared)
    found = np.empty(len(block))
    for kind in np.unique(first.strategy):
        at = np.flatnonzero(first.strategy == kind)
        own, start = needs.iloc[at], first.step[at]
        usd = prepared.costs[str(kind)][block[at], start] / _inflation(prepared, start)
        work, *later = _course(prepared, str(kind), block[at], [Work(start, first.strategy[at])], usd, own)
        since = (then.step[at] - start).astype(float)
        # Ground with the work, then in the second year and never in between: the slab has borne the first by then.
        used = np.zeros(len(at)) if work.ground_before is None else work.ground_before
        used = used + (own["grind_sqyd"].to_numpy(float) > 0)
        until = replace(work, life_yr=np.minimum(since, work.life_yr), grinding_usd=None, ground_before=used)
        ground_usd = then_usd[at] / _inflation(prepared, then.step[at])
        rest = np.maximum(work.life_yr - since, 0.0)
        again = Activity(lifecycle.GRINDING, ground_usd, rest, grinding_usd=ground_usd)
        total = _worth(prepared, (_waiting(start, until), until, again, *later))
        # What is left at the horizon is left of the work, not of the grinding.
        last, horizon = start + work.life_yr >= terms.horizon_yr, terms.horizon_yr
        left = [cost * escalation_factor(terms.growth, when) * np.clip(1 - (horizon - when) / np.maximum(life, 1e-9),
                                                                       0, 1)
                for cost, when, life in ((ground_usd, then.step[at], rest), (usd, start, work.life_yr))]
        found[at] = total + last * (left[0] - left[1]) * present_worth_factor(terms.discount, horizon)
    return found


def _course(prepared: Prepared, name: str, block: Ints, done: list[Work], real_usd: Floats,
            needs: pd.DataFrame) -> Course:
    """The last work of ``done`` and what follows it, row by row; costs are real dollars of the first year."""
    city, rebuilt = prepared.network.iloc[block], STRATEGIES[-1]
    lives = {kind: prepared.lives[kind].iloc[block] for kind in STRATEGIES}
    if name != rebuilt:  # new concrete lasts as long whatever its year
        lives[name] = pd.DataFrame({"treated_yr": life_from(prepared, block, done)})
    later = _later(prepared, name, block, done, lives[name]["treated_yr"].to_numpy(float), city)
    costs = {rebuilt: prepared.costs[rebuilt][block, 0]} | {name: real_usd}
    return worth.courses(city, needs, costs, lives, prepared.start_year, prepared.assumptions, {name: later})[name]


def _first(prepared: Prepared, block: Ints, work: Work, needs: pd.DataFrame, life_yr: Floats) -> Activity:
    """The first of two works, a repair whichever of the two, with the life that the second leaves it."""
    usd = np.empty(len(block))
    for kind in np.unique(work.strategy):
        own = work.strategy == kind
        usd[own] = prepared.costs[str(kind)][block[own], work.step[own]]
    ground = needs["grind_sqyd"].to_numpy(float) * grinding_price(prepared, block, prepared.start_year)
    most = prepared.assumptions.number("treatment_lives", "ground.most_times")
    return Activity("repair", usd / _inflation(prepared, work.step), life_yr, grinding_usd=ground,
                    ground_before=most - grindings_left(prepared.network, prepared.assumptions)[block])


def _later(prepared: Prepared, name: str, block: Ints, done: list[Work], life: Floats, city: pd.DataFrame) -> Course:
    """What follows before reconstruction; asked only of rows that are back at their trigger within the horizon."""
    near = np.flatnonzero(done[-1].step + life < prepared.assumptions.number("economics", "horizon_yr"))
    rows = follow.Rows(block[near], city.iloc[near], prepared.needs.iloc[block[near]], prepared.each.iloc[block[near]])
    found = follow.chain(name, rows, [Work(work.step[near], work.strategy[near]) for work in done], life[near],
                         prepared.ageing, prepared.start_year, prepared.assumptions)

    return tuple(Activity(work.strategy, _at(near, work.cost_usd, len(block)), _at(near, work.life_yr, len(block)),
                          of=np.isin(np.arange(len(block)), near[work.of])) for work in found)


def _at(rows: Ints, values: Floats, count: int) -> Floats:
    """Zeros but for these rows."""
    return np.bincount(rows, values, count).astype(float)  # whole numbers where there are no rows


def _waiting(step: Ints, following: Activity) -> Activity:
    """The years until the work, in which nothing is done nor paid."""
    return Activity("none", np.zeros(len(step)), step.astype(float), ground_before=following.ground_before)


def _worth(prepared: Prepared, course: Course) -> Floats:
    terms = _terms(prepared)
    return lifecycle.present_worth(course, terms, (terms.discount,))[:, 0]


def _terms(prepared: Prepared) -> lifecycle.Terms:
    return lifecycle.terms(prepared.assumptions, grinding.life(prepared.assumptions))


def _inflation(prepared: Prepared, step: Ints) -> Floats:
    return escalation_factor(prepared.assumptions.number("economics", "escalation"), step)


def _needs(prepared: Prepared, block: Ints, step: Ints) -> pd.DataFrame:
    return prepared.needs_by_year.iloc[block * prepared.years + step]
