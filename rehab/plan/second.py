"""Programs of two works on a block: a repair in one year, and a second work in a later year of the program.

The second work is what the rules find adequate on the condition expected by then of the block repaired in the first
year, at least ``economics/second_after_yr`` years after it; or the surface ground again when the surface that the first
work left has lived its median life.  Needs, rules, quantities and prices are those of any other work.  What the
first work mended beside the panels (cracks filled, joints resealed, curb, slabs raised, castings ...) is asked for
again only as far as it has come back with new damage.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.money import present_worth_factor
from rehab.base.surface import LIMITS, grindings_left
from rehab.base.survival import survival
from rehab.base.tables import WORK
from rehab.plan import follow, saving
from rehab.plan.model import Floats, Prepared
from rehab.steps import forecast, grinding, needs, ride
from rehab.steps.forecast import Work
from rehab.steps.lifecycle import GRINDING
from rehab.steps.ride.network import surface_age

Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

REPAIRS: Final = ("partial_depth", "full_depth")  #: what a first work may be
#: columns of ``needs.intensity`` that belong to the block as a whole and are done with either repair, or with panels
_DONE: Final = ("castings_set", "crack_ft_set", "stitch_ft_set", "partial_ft_set", "partial_sqft_set",
                "partial_pay_sqft_set", "patch_saw_ft_set", "insert_ft_set", "jack_panels", "stabilise_panels",
                "retrofit_bars", "hollow_sqft", "grind_panels_share")
_DONE_WITH_PANELS: Final = ("full_sqyd_set", "full_pay_sqyd_set", "dowels_set", "tie_bars_set", "basket_dowels_set",
                            "saw_ft_set", "joint_ft_set", "box_outs", "box_out_sqft", "felt_ft", "jackable_panels")
_CHUNK: Final = 40_000  #: rows asked at once: enough to hide the fixed cost of a step, few enough to stay small


@dataclass(frozen=True)
class Pairs:
    """Arrays of one length: the row of the block, and for each work years from the first year and strategy.

    ``cost_usd`` are dollars of the year of the first work, ``then_usd`` of that of the second.  ``gain`` is what both
    works gain over the untreated path (discounted, traffic-weighted square-yard-years of sound pavement, as
    ``forecast.benefit``), ``then_gain`` what the second adds to the first alone.  ``saving`` is the present worth of
    agency cost that both save (as ``saving.savings``), NaN if it was not asked for.
    """

    block: Ints
    step: Ints
    strategy: npt.NDArray[np.str_]
    then_step: Ints
    then_strategy: npt.NDArray[np.str_]
    cost_usd: Floats
    then_usd: Floats
    gain: Floats
    then_gain: Floats
    saving: Floats


@dataclass(frozen=True)
class _First:
    """First works, with the path of each alone: shares by year, sound pavement gained, and what is left to gain."""

    block: Ints
    step: Ints
    strategy: npt.NDArray[np.str_]
    partial: Floats
    full: Floats
    gain: Floats  #: over the horizon, unweighted
    rest: Floats  #: discounted sound shares from each year to the horizon, (rows, years)
    ground: Flags  #: whether the surface is ground with it


def pairs(prepared: Prepared, due: Mapping[str, Flags], with_saving: bool = False) -> Pairs:
    """All programs of two works; ``due`` says by strategy, in arrays (blocks, years), where the first may be done.

    Sorted by block, first work, and second work.  Second works begin within the horizon.
    """
    first = _first_works(prepared, due)
    found = [*_structural(prepared, first, with_saving), *_grindings(prepared, first, with_saving)]
    names = [item.name for item in fields(Pairs)]
    joined = {name: np.concatenate([getattr(part, name) for part in found]) for name in names}
    kinds = [np.searchsorted(sorted((*WORK, GRINDING)), joined[name]) for name in ("then_strategy", "strategy")]
    order = np.lexsort((kinds[0], joined["then_step"], kinds[1], joined["step"], joined["block"]))
    return Pairs(**{name: values[order] for name, values in joined.items()})


def paths(prepared: Prepared, block: Ints, step: Ints, strategy: npt.NDArray[np.str_], then_step: Ints,
          then_strategy: npt.NDArray[np.str_], years: int) -> tuple[Floats, Floats, Floats, Floats]:
    """Sound, partial and full shares and the index with one or two works on each row: arrays (rows, years).

    A row without a second work has one out of reach (a step of -1); grinding changes no panel.
    """
    sound, partial, full = _treated(prepared, block, Work(step, strategy), years, Work(then_step, then_strategy))
    index = forecast.treated_index(prepared.ageing, block, step, strategy, partial, full, prepared.assumptions)
    return sound, partial, full, index


def _treated(prepared: Prepared, block: Ints, first: Work, years: int, *then: Work) -> tuple[Floats, Floats, Floats]:
    return forecast.treated(prepared.ageing, block, *first, years, then)


def _first_works(prepared: Prepared, due: Mapping[str, Flags]) -> _First:
    """First works that leave years enough for a second, and what the sound pavement of each alone comes to."""
    years = _years(prepared)
    least = _least_gap(prepared)
    cells = [np.nonzero(due[name][:, :max(years - least, 0)]) for name in REPAIRS]
    block, step = (np.concatenate([cell[axis] for cell in cells]).astype(np.int64) for axis in (0, 1))
    strategy = np.repeat(np.array(REPAIRS), [len(cell[0]) for cell in cells])
    worth = _worth(prepared)
    sound, partial, full = _treated(prepared, block, Work(step, strategy), len(worth))
    gain = (sound - prepared.ageing.sound[block, :len(worth)]) @ worth
    rest = np.cumsum((sound * worth)[:, ::-1], axis=1)[:, ::-1]
    ground = prepared.needs_by_year["grind_sqyd"].to_numpy(float)[block * prepared.years + step] > 0
    return _First(block, step, strategy, partial[:, :years], full[:, :years], gain, rest[:, :years], ground)


def _structural(prepared: Prepared, first: _First, with_saving: bool) -> Iterator[Pairs]:
    """Second works on panels, a chunk of rows (first work, later year) after the other."""
    after = _after(prepared, first)
    kept = np.maximum(prepared.ageing.shift, 0.0)
    values = _values(prepared)
    for row, then in _later(first, _least_gap(prepared), _years(prepared)):
        block, partial, full = first.block[row], first.partial[row, then], first.full[row, then]
        rows = follow.Rows(block, prepared.network.iloc[block], after[0].iloc[row], after[1].iloc[row])
        surface = {name: readings[row, then - first.step[row]] for name, readings in after[2].items()}
        asks = follow.needs_at(rows, partial, full, kept[block], prepared.start_year + then, prepared.assumptions,
                               surface)
        usd, fits = follow.asked(rows.city, asks, prepared.assumptions)
        patched = partial * values["patch"][block, then]
        more = {"partial_depth": patched, "full_depth": patched + full * values["panel"][block, then],
                "reconstruction": values["new"][block, then] - first.rest[row, then]}
        ground = asks["grind_sqyd"].to_numpy(float)
        for name in WORK:
            at = np.flatnonzero(fits[name])
            weight = _weight(prepared)[block[at]]
            yield _pairs(prepared, first, row[at], name, then[at], usd[name][at], more[name][at] * weight, ground[at],
                         with_saving)


def _grindings(prepared: Prepared, first: _First, with_saving: bool) -> Iterator[Pairs]:
    """The surface ground again once half of such surfaces have worn out, while the block is above its trigger.

    What that is worth: ``economics/smooth_worth`` times the discounted years by which the surface is expected to last
    longer within the horizon, times area and traffic weight.
    """
    assumptions = prepared.assumptions
    left = grindings_left(prepared.network, assumptions)[first.block]
    fit = np.flatnonzero(first.ground & (left >= 2))  # one of them goes with the first work
    least = max(_least_gap(prepared), int(np.ceil(grinding.life(assumptions))))
    trigger = assumptions.by_class("economics", "trigger", prepared.network["functional_class"]).to_numpy(float)
    kept = np.maximum(prepared.ageing.shift, 0.0)
    area = needs.grindable_sqyd(prepared.network, assumptions)
    longer = assumptions.number("economics", "smooth_worth") * _smoother(prepared)
    for row, then in _later(first, least, _years(prepared), fit):
        index = forecast.index_of(first.partial[row, then], first.full[row, then], kept[first.block[row]], assumptions)
        above = index > trigger[first.block[row]]
        row, then = row[above], then[above]
        block = first.block[row]
        usd = area[block] * saving.grinding_price(prepared, block, prepared.start_year + then)
        gain = longer[first.step[row], then] * _weight(prepared)[block]
        yield _pairs(prepared, first, row, GRINDING, then, usd, gain, area[block], with_saving)


def _pairs(prepared: Prepared, first: _First, row: Ints, name: str, then: Ints, usd: Floats, gain: Floats,
           ground_sqyd: Floats, with_saving: bool) -> Pairs:
    block, step, strategy = first.block[row], first.step[row], first.strategy[row]
    cost = np.empty(len(row))
    for kind in REPAIRS:
        own = strategy == kind
        cost[own] = prepared.costs[kind][block[own], step[own]]
    second = Work(then, np.full(len(row), name, dtype="<U16"))
    saved = saving.of_pairs(prepared, name, block, Work(step, strategy), second, usd, ground_sqyd
                            ) if with_saving else np.full(len(row), np.nan)
    alone = first.gain[row] * _weight(prepared)[block]
    return Pairs(block, step, strategy, then, second.strategy, cost, usd, alone + gain, gain, saved)


def _later(first: _First, least: int, years: int, rows: Ints | None = None) -> Iterator[tuple[Ints, Ints]]:
    """Rows of first works with each year at least so many years later, in chunks; one empty chunk if there are none."""
    chosen = np.arange(len(first.block)) if rows is None else rows
    begins = first.step[chosen] + least
    count = np.maximum(years - begins, 0)
    row = np.repeat(chosen, count)
    then = np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count) + np.repeat(begins, count)
    for at in range(0, max(len(row), 1), _CHUNK):
        yield row[at:at + _CHUNK], then[at:at + _CHUNK]


def _after(prepared: Prepared, first: _First) -> tuple[pd.DataFrame, pd.DataFrame, dict[str, Floats]]:
    """Needs and what one panel takes right after the first works, and the surface by years since; rows as these.

    Cracks are filled, joints resealed, curb replaced; with partial depth, panels that need more stay as they are.
    """
    at, panels = first.block * prepared.years + first.step, first.strategy == "full_depth"
    need = prepared.needs_by_year.iloc[at].reset_index(drop=True)
    left = np.where(panels, 0.0, need["full_share"].to_numpy(float))
    need = need.assign(full_share=left, partial_share=0.0, curb_share=0.0, wide_joint_share=0.0,
                       **{name: np.minimum(need[name].to_numpy(float), left) for name in ("cracked_share",
                                                                                          "sunken_share")})
    each = prepared.each.iloc[first.block].reset_index(drop=True)
    bears = grindings_left(prepared.network, prepared.assumptions)[first.block] > first.ground
    each = each.assign(**dict.fromkeys(_DONE, 0.0), grind_sqyd=each["grind_sqyd"].to_numpy(float) * bears,
                       **{name: each[name].to_numpy(float) * ~panels for name in _DONE_WITH_PANELS})
    return need, each, _surface(prepared, first)


def _surface(prepared: Prepared, first: _First) -> dict[str, Floats]:
    """Steps and roughness by years since the first work, (rows, years); as without work where it grinds nothing."""
    years, city, assumptions = prepared.years, prepared.network, prepared.assumptions
    gap = (prepared.start_year - city["survey_year"].to_numpy(float)).clip(min=0.0)
    age = (surface_age(city) + gap)[first.block] + first.step
    later = np.minimum(first.step[:, None] + np.arange(years), years - 1)
    found = {}
    for measure, column in ride.MEASURES.items():
        untreated = prepared.needs_by_year[column].to_numpy(float).reshape(-1, years)
        ground = ride.after_grinding(measure, untreated[first.block, first.step], age, np.arange(float(years)),
                                     ride.growth(measure, assumptions), assumptions)
        found[column] = np.where(first.ground[:, None], ground, untreated[first.block[:, None], later])
    return {name: found[name] for name in LIMITS}


def _values(prepared: Prepared) -> dict[str, Floats]:
    """Discounted years to the horizon that a panel patched, replaced or new in each year is expected to stay sound.

    Arrays (blocks, years).  Sound panels are left by hazards alone and repaired ones never join them, so that what a
    second work adds is its panels times these: the paths of ``forecast.treated``, summed without walking them.
    """
    ageing, worth = prepared.ageing, _worth(prepared)
    years, horizon = _years(prepared), len(worth)
    since = np.arange(horizon)[:, None] + np.arange(years)
    discounted = np.where(since < horizon, worth[np.minimum(since, horizon - 1)], 0.0)  # (age, year of work)

    def lasting(*parts: tuple[Floats, Floats]) -> Floats:
        hazard = sum((factor[:, None] * of_age[..., :horizon - 1] for factor, of_age in parts),
                     start=np.zeros((len(ageing.family), horizon - 1)))
        return np.asarray(np.exp(-np.cumsum(np.pad(hazard, ((0, 0), (1, 0))), axis=1)) @ discounted)

    shallow, deep, patch, panel = ageing.factors
    return {"patch": lasting((patch, ageing.patch)), "panel": lasting((panel, ageing.panel)),
            "new": lasting((shallow, ageing.new_shallow[ageing.family]), (deep, ageing.new_deep[ageing.family]))}


def _smoother(prepared: Prepared) -> Floats:
    """Discounted years by which a surface ground in the year of the row lasts longer, ground again in the column's."""
    worth, years = _worth(prepared), _years(prepared)
    at, begun = np.arange(len(worth)), np.arange(years)
    lasts = np.where(at >= begun[:, None], survival(at - begun[:, None], *grinding.curve(prepared.assumptions)), 0.0)
    from_then = (at >= begun[:, None]) * worth  # (year of the second, year)
    return np.asarray((lasts * worth).sum(axis=1)[None, :] - lasts @ from_then.T)


def _worth(prepared: Prepared) -> Floats:
    """Worth today of each year within the horizon."""
    horizon = int(prepared.assumptions.number("economics", "horizon_yr"))
    return present_worth_factor(prepared.assumptions.number("economics", "discount"), np.arange(horizon))


def _weight(prepared: Prepared) -> Floats:
    city = prepared.network
    return np.asarray(city["area_sqyd"].to_numpy(float) * prepared.assumptions.by_class(
        "economics", "weight", city["functional_class"]).to_numpy(float))


def _years(prepared: Prepared) -> int:
    """Years of the program within the horizon."""
    return min(prepared.years, int(prepared.assumptions.number("economics", "horizon_yr")))


def _least_gap(prepared: Prepared) -> int:
    """Whole years between two works on a block, one at least."""
    return max(int(np.ceil(prepared.assumptions.number("economics", "second_after_yr"))), 1)
