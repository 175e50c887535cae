"""The method on one page: from checked tables to a program and its season.

``prepare`` does everything that a budget cannot change, ``decide`` makes the program of one scenario from it, and
``season_of`` puts one year of a program on the calendar.  This module chains the steps
and does nothing else; ``results`` makes tables of what comes out, ``answers`` puts questions to it.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from threading import Event

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base import tables
from rehab.base.errors import Note, as_table
from rehab.base.money import escalation_factor, present_worth_factor
from rehab.base.settings import Assumptions, Scenario, fingerprint
from rehab.base.tables import STRATEGIES, WORK
from rehab.plan import follow, problem, results
from rehab.plan import worth as worths
from rehab.plan.model import Plan, Prepared
from rehab.steps import (
    estimate,
    findings,
    forecast,
    layout,
    needs,
    network,
    program,
    ride,
    season,
    strategy,
    takeoff,
)

__all__ = ["Plan", "Prepared", "decide", "prepare", "season_of", "with_notes"]


def prepare(blocks: pd.DataFrame, defects: pd.DataFrame, assumptions: Assumptions, start_year: int,
            years: int) -> Prepared:
    """Run every step that does not depend on money; the tables are those of reading."""
    seconds: dict[str, float] = {}
    usable, notes = _usable(blocks, assumptions)
    with _timed(seconds, "network"):
        city = network.build(usable, assumptions)
    notes += _over_counted(city) + _out_of_time(city, start_year)
    with _timed(seconds, "layout"):
        found = findings.judge(city, defects, assumptions)
        repairs = layout.lay_out(city, found, assumptions)
        found = layout.leave(found, repairs)
        per_panel = layout.per_panel(city, found, repairs, assumptions)
        city = _name_surveyed(city, found)
        notes += _off_grid(city, defects)
    with _timed(seconds, "needs"):
        need = needs.measure(city, per_panel, assumptions)
    with _timed(seconds, "forecast"):
        span = int(max(assumptions.number("economics", key) for key in ("horizon_yr", "longest_life_yr"))) + years
        ageing = forecast.age(city, need, start_year, span, assumptions)
        untreated = forecast.untreated(city, ageing, years)
        rides = ride.forecast(city, start_year, years, assumptions)
        shares = forecast.growing_shares(need, ageing, years, assumptions).assign(
            **{name: path.value.ravel() for name, path in rides.items()})
        benefits = {name: forecast.benefit(city, ageing, years, name, assumptions) for name in WORK}
    with _timed(seconds, "needs by year"):
        row = np.repeat(np.arange(len(city)), years)
        each = needs.intensity(city, need, per_panel, assumptions)
        by_year = needs.scale(city.iloc[row], shares, each.iloc[row])
    with _timed(seconds, "takeoff and estimate"):
        detail = city["condition_source"].to_numpy()
        today = {name: _likely(city, need, name, need["year"], detail, assumptions) for name in WORK}
        costs = {name: _likely(city.iloc[row], by_year, name, by_year["year"], detail[row], assumptions)
                 for name in WORK}
    with _timed(seconds, "strategy"):
        strategies = strategy.sort(city, need, assumptions, measures=strategy.cost_measures(
            today["full_depth"], today["reconstruction"]))
        yearly = strategy.sort(city.iloc[row], by_year, assumptions, explain=False, measures=strategy.cost_measures(
            costs["full_depth"], costs["reconstruction"]))
        by_rule = yearly["strategy"].map(STRATEGIES.index).to_numpy(np.int64).reshape(-1, years)
        adequate = {name: flags.reshape(-1, years) for name, flags in strategy.adequate(yearly).items()}
    with _timed(seconds, "benefit"):
        costs = {name: values.reshape(-1, years) for name, values in costs.items()}
        ahead = np.arange(years)
        benefits = program.less_waiting(
            benefits, costs, by_rule, escalation_factor(assumptions.number("economics", "escalation"), ahead),
            present_worth_factor(assumptions.number("economics", "discount"), ahead),
            assumptions.number("economics", "waiting_worth"))
    with _timed(seconds, "life"):
        lives = {name: forecast.life(city, ageing, np.full(len(city), name), assumptions) for name in STRATEGIES}
        first = by_year.iloc[::years].reset_index(drop=True)
        later = follow.works(city, need, each, ageing, lives, start_year, assumptions)
        worth = worths.table(city, first, {name: usd[:, 0] for name, usd in costs.items()}, lives, start_year,
                             assumptions, later)
        notes += worths.delay_notes(city, assumptions)
    return Prepared(assumptions, start_year, years, city, need, found, repairs, strategies, untreated, ageing, each,
                    by_year, by_rule, adequate, costs, benefits, lives, later, worth, tuple(notes), seconds,
                    fingerprint(blocks.drop(columns="row", errors="ignore")))


def decide(prepared: Prepared, scenario: Scenario, effort: int = 60, known: Sequence[Plan] = (),
           begin: npt.NDArray[np.int64] | None = None) -> Plan:
    """The program of one scenario; the scenario must begin and last as prepared (:class:`ValueError`).

    ``effort`` counts the searches for a better program, of some hundredths of a second each.  ``known`` are plans of
    the same scenario with other money: with no less money than one of them, no program worth less is returned.
    ``begin``: offers of the posed problem to begin with instead.  The same input gives the same program.
    """
    if (scenario.start_year, len(scenario.budgets_usd)) != (prepared.start_year, prepared.years):
        raise ValueError("the scenario's years are not the prepared ones")
    spent: dict[str, float] = {}
    with _timed(spent, "program"):
        posed = problem.pose(prepared, scenario)
        start = begin if begin is not None else problem.best_known(posed, scenario, known)
        posed, chosen = problem.solve(prepared, scenario, posed, effort, start)
        taken = posed.offers.alternatives.only(chosen.rows)
        table = program.as_table(taken, prepared.network, scenario)
    with _timed(spent, "by year"):
        strategies = strategy.override(prepared.strategies, scenario.overrides, prepared.needs, prepared.assumptions)
        by_year = results.by_year(prepared, scenario, taken)
    all_notes = as_table([*prepared.notes, *posed.openings.notes, *chosen.notes], Note)
    summary = results.summary(prepared, scenario, chosen, by_year, strategies, {**prepared.seconds, **spent})
    return Plan(prepared, scenario, strategies, table, by_year, all_notes, summary, posed, chosen,
                partial(results.overview, prepared, strategies, table),
                partial(results.measure, prepared, strategies, table))


def season_of(plan: Plan, year: int, geometry: pd.DataFrame | None = None, given: season.Given | None = None,
              seconds: float = 2.0, watch: Callable[[season.Standing], None] | None = None,
              stop: Event | None = None) -> season.Season:
    """One year of the program on the calendar.

    ``geometry``: lines of the blocks, which tell who is whose neighbour; ``given``: weather, days without work, moves
    and what was done; ``watch`` is told how far the search has come, and setting ``stop`` ends it with the best so far.
    """
    rows = plan.program[plan.program["year"] == year].reset_index(drop=True)
    whole, assumptions = plan.prepared.network, plan.prepared.assumptions
    streets = {str(street): int(count) for street, count in whole["street"].value_counts().items()}
    ground = season.ground(results.rows_of(whole, rows["block_id"]), streets, geometry, assumptions)
    return season.arrange(ground, results.quantities(plan.prepared, rows), assumptions, year, given, seconds, watch,
                          stop)


def with_notes(notes: pd.DataFrame, more: list[Note]) -> pd.DataFrame:
    """The table ``notes`` with more of them at its end."""
    return pd.concat([notes, as_table(more, Note)], ignore_index=True) if more else notes


@contextmanager
def _timed(seconds: dict[str, float], step: str) -> Iterator[None]:
    begin = time.perf_counter()
    yield
    seconds[step] = round(time.perf_counter() - begin, 3)


def _usable(blocks: pd.DataFrame, assumptions: Assumptions) -> tuple[pd.DataFrame, list[Note]]:
    """Blocks whose condition can be told; a word that no row of the assumptions knows is said, not guessed."""
    known = network.has_condition(blocks, assumptions)
    notes = [Note("condition", str(block), None, f"the word '{word}' is not in the table rating_to_shares; the block "
                  "is left out until the word is added there or another measure is given")
             for block, word in blocks.loc[~known, ["block_id", "condition_word"]].itertuples(index=False)]
    return blocks[known], notes


def _over_counted(city: pd.DataFrame) -> list[Note]:
    """Counts above the panels of a block; reading stops them where the sizes are given, here they are defaults."""
    panels = city["panels"].to_numpy()
    return [Note("survey", str(block), None, f"{heading.replace('_', ' ')}: {count:.0f} counted, but the block has "
                 f"{most:.0f} panels by its sizes, some of them defaults; no more than all are taken: give panel sizes")
            for heading in tables.COUNTS
            for block, count, most in zip(city["block_id"], city[heading], panels, strict=True) if count > most]


def _out_of_time(city: pd.DataFrame, start_year: int) -> list[Note]:
    """Surveys that do not tell of the first year as they should: dated after it, or older than recorded work."""
    late = city["survey_year"] > start_year
    stale = (city["last_work_year"] > city["survey_year"]).fillna(False)
    said = ((late, f"surveyed after {start_year}: the survey stands for the first year, nothing is aged backwards"),
            (stale, "with work recorded after the survey: the plan rests on the condition before it; survey again"))
    return [Note("survey", None, None, f"{flags.sum():,} {'block' if flags.sum() == 1 else 'blocks'} {words} ("
                 f"{', '.join(city.loc[flags, 'block_id'].head(3))}{' and more' if flags.sum() > 3 else ''})")
            for flags, words in said if flags.any()]


def _off_grid(city: pd.DataFrame, defects: pd.DataFrame) -> list[Note]:
    block = city.set_index("block_id").reindex(defects["block_id"]).reset_index()
    off = defects[~findings.on_grid(block, defects)].groupby("block_id").size()
    return [Note("survey", str(block), None, f"{count} defects lie on no panel of the block as its sizes give them; "
                 "they are not laid out: check the panel sizes or the positions") for block, count in off.items()]


def _likely(city: pd.DataFrame, need: pd.DataFrame, name: str, years: npt.ArrayLike, detail: npt.ArrayLike,
            assumptions: Assumptions) -> npt.NDArray[np.float64]:
    """Likely cost of one strategy, row by row, dollars of the years."""
    quantities = takeoff.measure(city, need, name, assumptions)
    return estimate.price(quantities, years, assumptions, detail)["likely_usd"].to_numpy(float)


def _name_surveyed(city: pd.DataFrame, found: pd.DataFrame) -> pd.DataFrame:
    surveyed = city["block_id"].isin(found["block_id"])
    return city.assign(condition_source=city["condition_source"].where(~surveyed, "panel survey"),
                       estimated=city["estimated"] & ~surveyed)
