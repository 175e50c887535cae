"""The least money that holds the condition, reaches a target or clears the backlog, and what more money buys."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import optimize, sparse

from rehab import plan
from rehab.base.limits import Target
from rehab.base.settings import Scenario
from rehab.plan import problem, reasons
from rehab.plan.model import Floats, Plan, Posed, Prepared
from rehab.solvers import choice
from rehab.steps.program import conflicts
from rehab.steps.program.limits import DISTRICT, MONEY

#: how far above the proven least the money is raised until a program of whole blocks is found, shares of it
_STEPS: Final = (0.002, 0.005, 0.01, 0.02, 0.04, 0.08, 0.15, 0.25, *(0.5 * 2.0**at for at in range(24)))
_WIDE: Final = 0.25  #: beyond this step the money is come nearer to by halving, so many times
_NEARER: Final = 6
_TINY: Final = 1e-9  #: added to a multiple, so that rounding does not make a budget too small
_EFFORT: Final = 10
_TRIAL: Final = 2  #: effort of a search for any program at all
#: a guard against a hanging search only: it is the effort that ends one, so that an answer repeats
_LONGEST_S: Final = 60.0
#: multiples of the present money that a curve is drawn through
FACTORS: Final = (0.0, 0.25, 0.5, 0.75, 0.9, 1.0, 1.1, 1.25, 1.5, 2.0, 3.0)


@dataclass(frozen=True)
class Least:
    """The least money for an aim.

    ``plan`` reaches it with ``factor`` times the scenario's money; no program can with less than ``proven`` times that.
    Without any that does, ``plan`` is None and ``why`` says what stands against it; otherwise what it leaves out.
    """

    aim: str
    factor: float
    proven: float
    plan: Plan | None
    why: str = ""


def mean_index_now(prepared: Prepared) -> float:
    """Mean index by area going into the first year."""
    area = prepared.network["area_sqyd"].to_numpy(float)
    return float(np.average(prepared.ageing.index[:, 0], weights=area)) if area.sum() > 0 else 0.0


def holding(prepared: Prepared, asked: Scenario) -> Scenario:
    """The scenario that also holds today's mean index after the work of every year."""
    now = np.floor(mean_index_now(prepared) * 1e6) / 1e6
    return replace(asked, name="Hold the condition", choice="best", targets=(Target(
        float(now), asked.start_year, asked.years[-1]),))


def reaching(asked: Scenario, index: float, year: int) -> Scenario:
    """The scenario whose mean index is at least ``index`` from a year on."""
    return replace(asked, name=f"Reach {index:g} by {year}", choice="best",
                   targets=(Target(float(index), year, asked.years[-1]),))


def clearing(asked: Scenario, year: int) -> Scenario:
    """The scenario in which by a year no block is left that the rules send to full depth or reconstruction."""
    return replace(asked, name=f"Clear the backlog by {year}", choice="best", cleared_by=year)


def least(prepared: Prepared, asked: Scenario, effort: int = _EFFORT) -> Least:
    """The least multiple of the scenario's money under which its targets and its backlog can be met.

    Money keeps its shape over the years and funds, and least shares of districts stay shares of it.  The proof is the
    linear relaxation with the multiple as its objective: no program of whole blocks does with less.  Among those that
    do, the plan has the most benefit.  Raises :class:`ValueError` for a scenario without any money.
    """
    if sum(asked.money_usd) <= 0:
        raise ValueError("the least money is a multiple of the scenario's: give every year that may spend some")
    rich = _rich(prepared, asked)
    most = sum(rich.money_usd) / sum(asked.money_usd)
    posed = problem.pose(prepared, rich)
    relaxed = _relaxed(posed)
    if relaxed is None:
        return Least(asked.name, np.nan, np.nan, None, _against(prepared, rich))
    low, failed = relaxed.factor * most, 0.0
    for step in _STEPS:
        factor = low * (1 + step) + _TINY
        found = _tried(prepared, asked.times(factor), posed, relaxed, effort)
        if found is not None:
            break
        failed = step
        if factor > 2 * max(most, low):
            return Least(asked.name, np.nan, low, None, "no program of whole blocks was found with "
                         f"{factor:,.3g} times the money, although parts of blocks would do: limits may be at odds in "
                         "whole blocks")
    else:
        return Least(asked.name, np.nan, low, None, "no program of whole blocks was found with any money tried")
    if step > _WIDE:  # far apart: come nearer
        for _ in range(_NEARER):
            middle = (failed + step) / 2
            nearer = _tried(prepared, asked.times(low * (1 + middle) + _TINY), posed, relaxed, effort)
            failed, step, found = (middle, step, found) if nearer is None else (failed, middle, nearer)
    assert found is not None
    return Least(asked.name, low * (1 + step) + _TINY, low, found, "; ".join(
        found.notes.loc[found.notes["topic"] == "backlog", "message"]))


def _tried(prepared: Prepared, trial: Scenario, rich: Posed, relaxed: _Relaxed, effort: int) -> Plan | None:
    """The plan of a scenario that works on every block that ``rich`` has to, too; None if none was found."""
    posed = problem.pose(prepared, trial)
    if (rich.openings.needed & ~posed.openings.needed).any():  # a block of the backlog is dearer than any year's money
        return None
    begin = _feasible(posed, relaxed)
    if begin is None:
        return None
    made = plan.decide(prepared, trial, effort, begin=begin)
    return None if made.chosen.failed else made


def _against(prepared: Prepared, rich: Scenario) -> str:
    """What stands against an aim, however much money there is: the conflict of the scenario with money for everything.

    With so much money a share of it for a district cannot be spent: it is told only if nothing else is in the way.
    """
    for asked in (replace(rich, district_shares=()), rich):
        chosen = problem.solve(prepared, asked, problem.pose(prepared, asked), 0)[1]
        if chosen.notes:
            return "; ".join(note.message for note in chosen.notes)
    return "no program does"


def _feasible(posed: Posed, relaxed: _Relaxed) -> npt.NDArray[np.int64] | None:
    """Offers that keep every limit, chosen for what counts towards the floors; None if none was found."""
    cost = posed.offers.member @ posed.limits.uses
    if conflicts.beyond(cost, posed.offers.group, posed.limits).any():
        return None
    worth = -(cost @ (relaxed.prices / relaxed.scale))
    if not worth.any():  # no floor: a backlog is met by what is open
        worth = posed.offers.member @ posed.offers.alternatives.benefit
    found = choice.select(worth, cost, posed.offers.group, posed.limits.most, effort=_TRIAL, seconds=_LONGEST_S,
                          gap=1e-5)
    return found.chosen if found.status in ("optimal", "feasible") else None


def curve(prepared: Prepared, asked: Scenario, factors: Sequence[float] = FACTORS, effort: int = _EFFORT,
          known: Sequence[Plan] = ()) -> pd.DataFrame:
    """What other money buys: one row per multiple of the scenario's money, from little to much.

    Columns factor, usd_per_yr (mean), spent_usd, benefit, upper_bound, index (mean, after the last year's work),
    blocks, next_usd (benefit of a dollar more, in equal parts of every year).  More money never buys less.
    """
    rows: list[dict[str, float]] = []
    plans = list(known)
    for factor in sorted(factors):
        made = plan.decide(prepared, asked.times(factor), effort, plans)
        plans.append(made)
        rows.append({"factor": factor, "usd_per_yr": sum(made.scenario.money_usd) / prepared.years,
                     "spent_usd": float(made.summary["spent_usd"]),
                     "benefit": np.nan if made.chosen.failed else made.chosen.value,
                     "upper_bound": made.chosen.upper_bound, "index": float(made.by_year["index_with"].iloc[-1]),
                     "blocks": float(len(made.program)),
                     "next_usd": float(reasons.prices(made).mean())})
    return pd.DataFrame(rows)


def table(asked: Scenario, found: Sequence[Least]) -> pd.DataFrame:
    """The aims as rows: aim, usd_per_yr (mean of the years), proven_usd_per_yr (no program does with less), why."""
    mean = sum(asked.money_usd) / len(asked.money_usd)
    return pd.DataFrame({
        "aim": pd.Series([one.aim for one in found], dtype="str"), "usd_per_yr": [mean * one.factor for one in found],
        "proven_usd_per_yr": [mean * one.proven for one in found],
        "why": pd.Series([one.why for one in found], dtype="str")})


def sentences(prepared: Prepared, asked: Scenario, found: Sequence[Least]) -> list[str]:
    """What the least money is for each aim, or why there is none."""
    rows = table(asked, found)
    every = " a year" if len(set(asked.money_usd)) == 1 else " a year on average, spread as the budget is"
    said = []
    for one, usd, proven in zip(found, rows["usd_per_yr"], rows["proven_usd_per_yr"], strict=True):
        if one.plan is None:
            said.append(f"{one.aim}: cannot be met: {one.why}.")
        else:
            less = f" Not quite: {one.why}." if one.why else ""
            said.append(f"{one.aim}: ${usd:,.0f}{every} is enough; it is proven that less than ${proven:,.0f} is not."
                        + less)
    now = mean_index_now(prepared)
    return [f"The mean index by area is {now:.1f} today.", *said]


def _rich(prepared: Prepared, asked: Scenario) -> Scenario:
    """The scenario with so much money that no work is dearer than any year that has some."""
    whole = sum(float(values.max(axis=1).sum()) for values in prepared.costs.values())
    committed = sum(lock.cost_usd or 0.0 for lock in asked.forced)
    return asked.times(2 * max(whole + committed, 1.0) / min(usd for usd in asked.money_usd if usd > 0))


class _Relaxed(NamedTuple):
    """The least multiple of the money with which parts of offers keep every limit.

    ``prices`` are those of the other limits, each row divided by ``scale``.
    """

    factor: float
    prices: Floats
    scale: Floats


def _relaxed(posed: Posed) -> _Relaxed | None:
    """The relaxation with the multiple of all that money scales as its objective; None if no money is enough."""
    kind = posed.limits.table["limit"]
    grows = ((kind == MONEY) | (kind == DISTRICT)).to_numpy()
    cost = sparse.csr_array(posed.offers.member @ posed.limits.uses)
    groups, of = np.unique(posed.offers.group, return_inverse=True)
    count = len(of)
    most = np.abs(posed.limits.most)
    largest = abs(cost).max(axis=0).toarray().ravel() if count else np.zeros(len(most))
    scale = np.where(most > 0, most, np.where(largest > 0, largest, 1.0))
    whole = cost.T.tocsr().multiply((1 / scale)[:, None]).tocsr()
    factor = sparse.csr_array(np.where(grows, -posed.limits.most / scale, 0.0)[:, None])
    fixed: Floats = np.where(grows, 0.0, posed.limits.most / scale)
    one = sparse.csr_array((np.ones(count), (of, np.arange(count))), shape=(len(groups), count))
    given: dict[str, Any] = {
        "A_ub": sparse.hstack([whole, factor]).tocsr(), "b_ub": fixed,
        "A_eq": sparse.hstack([one, sparse.csr_array((len(groups), 1))]).tocsr(), "b_eq": np.ones(len(groups))}
    answer: Any = optimize.linprog(np.append(np.zeros(count), 1.0), method="highs", **given)
    if answer.status != 0:
        return None
    prices = np.maximum(-np.asarray(answer.ineqlin.marginals), 0.0)
    return _Relaxed(float(answer.fun), np.where(kind == MONEY, 0.0, prices), scale)
