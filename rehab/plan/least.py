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
from rehab.plan import problem
from rehab.plan.model import Floats, Plan, Posed, Prepared
from rehab.solvers import choice
from rehab.steps.program.limits import MONEY

#: how far above the proven least the money is raised until a program of whole blocks is found, shares of it
_STEPS: Final = (0.0005, 0.001, 0.002, 0.004, 0.008, 0.015, 0.03, 0.06, 0.12, 0.25)
_EFFORT: Final = 10
#: multiples of the present money that a curve is drawn through
FACTORS: Final = (0.0, 0.25, 0.5, 0.75, 0.9, 1.0, 1.1, 1.25, 1.5, 2.0, 3.0)


@dataclass(frozen=True)
class Least:
    """The least money for an aim.

    ``plan`` reaches it with ``factor`` times the scenario's money; no program can with less than ``proven`` times that.
    Without any that does, ``plan`` is None and ``why`` says what stands against it.
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

    Money keeps its shape over the years and funds.  The proof is the linear relaxation with the multiple as its
    objective: no program of whole blocks does with less.  Among those that do, the plan has the most benefit.  Raises
    :class:`ValueError` for a scenario without any money.
    """
    if sum(asked.money_usd) <= 0:
        raise ValueError("the least money is a multiple of the scenario's: give every year that may spend some")
    top = _enough(prepared, asked)
    relaxed = _relaxed(problem.pose(prepared, top)) if top else None
    if top is None or relaxed is None:
        found = plan.decide(prepared, top or asked.times(1e3), 0)
        return Least(asked.name, np.nan, np.nan, None, "; ".join(found.notes["message"]) or "no program does")
    low = relaxed.factor * sum(top.money_usd) / sum(asked.money_usd)
    for step in _STEPS:
        trial = asked.times(low * (1 + step) + 1e-9)
        begin = _feasible(problem.pose(prepared, trial), relaxed)
        if begin is not None:
            return Least(asked.name, low * (1 + step), low, plan.decide(prepared, trial, effort, begin=begin))
    return Least(asked.name, np.nan, low, None, "no program of whole blocks was found with a quarter more than the "
                 "least money that is proven to be needed")


def _feasible(posed: Posed, relaxed: _Relaxed) -> npt.NDArray[np.int64] | None:
    """Offers that keep every limit, chosen for what counts towards the floors; None if none was found."""
    cost = posed.offers.member @ posed.limits.uses
    worth = -(cost @ (relaxed.prices / np.maximum(np.abs(posed.limits.most), 1e-9)))
    if not worth.any():  # no floor: a backlog is met by what is open
        worth = posed.offers.member @ posed.offers.alternatives.benefit
    found = choice.select(worth, cost, posed.offers.group, posed.limits.most, effort=_EFFORT, seconds=5.0, gap=1e-5)
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
        prices = made.chosen.prices
        rows.append({"factor": factor, "usd_per_yr": sum(made.scenario.money_usd) / prepared.years,
                     "spent_usd": float(made.summary["spent_usd"]), "benefit": made.chosen.value,
                     "upper_bound": made.chosen.upper_bound, "index": float(made.by_year["index_with"].iloc[-1]),
                     "blocks": float(len(made.program)),
                     "next_usd": float((prices @ made.posed.limits.gives).mean()) if len(prices) else np.nan})
    return pd.DataFrame(rows)


def _enough(prepared: Prepared, asked: Scenario) -> Scenario | None:
    """The scenario with so much money that no year's budget can bind."""
    dearest = sum(values.max() for values in prepared.costs.values()) if len(prepared.network) else 0.0
    whole = sum(float(values.max(axis=1).sum()) for values in prepared.costs.values())
    most = max(whole, dearest, 1.0)
    least_year = min((usd for usd in asked.money_usd if usd > 0), default=0.0)
    if least_year <= 0:
        return None
    rich = asked.times(2 * most / least_year)
    found = plan.decide(prepared, replace(rich, targets=asked.targets), 0)
    return rich if found.summary["status"] in ("optimal", "feasible") else None


class _Relaxed(NamedTuple):
    """The least multiple of the money with which parts of offers keep every limit, and the prices of the floors."""

    factor: float
    prices: Floats


def _relaxed(posed: Posed) -> _Relaxed | None:
    """The relaxation with the multiple of the money rows as its objective; None if no money is enough."""
    money = (posed.limits.table["limit"] == MONEY).to_numpy()
    cost = sparse.csr_array(posed.offers.member @ posed.limits.uses)
    groups, of = np.unique(posed.offers.group, return_inverse=True)
    count = len(of)
    scale = np.maximum(np.abs(posed.limits.most), 1e-9)
    whole = sparse.vstack([cost.T.tocsr().multiply((1 / scale)[:, None])]).tocsr()
    factor = sparse.csr_array(np.where(money, -posed.limits.most / scale, 0.0)[:, None])
    fixed: Floats = np.where(money, 0.0, posed.limits.most / scale)
    one = sparse.csr_array((np.ones(count), (of, np.arange(count))), shape=(len(groups), count))
    given: dict[str, Any] = {
        "A_ub": sparse.hstack([whole, factor]).tocsr(), "b_ub": fixed,
        "A_eq": sparse.hstack([one, sparse.csr_array((len(groups), 1))]).tocsr(), "b_eq": np.ones(len(groups))}
    answer: Any = optimize.linprog(np.append(np.zeros(count), 1.0), method="highs", **given)
    if answer.status != 0:
        return None
    prices = np.maximum(-np.asarray(answer.ineqlin.marginals), 0.0)
    return _Relaxed(float(answer.fun), np.where(money, 0.0, prices))
