"""The optimiser beside a general solver, on invented street networks of any size."""

from __future__ import annotations

import time
from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import optimize, sparse

from rehab.solvers import choice

Floats = npt.NDArray[np.float64]

TREATMENTS = (  # condition from, to; condition after (fixed or gain, at most); loss per year after; cost per area
    {"from": 55.0, "to": 85.0, "gain": 12.0, "top": 90.0, "loss": np.nan, "price": 12.0},
    {"from": 35.0, "to": 70.0, "gain": np.inf, "top": 85.0, "loss": 1.5, "price": 45.0},
    {"from": -np.inf, "to": 55.0, "gain": np.inf, "top": 100.0, "loss": 1.2, "price": 120.0},
)


class Instance(NamedTuple):
    """Arrays for :func:`rehab.solvers.choice.select`."""

    value: Floats
    cost: sparse.csr_array
    group: npt.NDArray[np.int64]
    budget: Floats


def city(blocks: int, years: int = 10, seed: int = 1, *, share: float = 0.25, horizon: int = 30,
         rate: float = 0.03) -> Instance:
    """An invented network: one treatment per block in one of ``years`` years, or none.

    Condition 15 to 95, loss 1 to 3 a year, 600 to 3,000 square yards, 3 to 60 hundred vehicles a day;
    each year's budget is ``share`` of the sum of every block's dearest alternative, over ``years``.
    """
    rng = np.random.default_rng(seed)
    condition = rng.integers(15, 96, blocks).astype(float)
    loss = rng.uniform(1.0, 3.0, blocks)
    area = rng.uniform(600.0, 3000.0, blocks)
    traffic = rng.uniform(3.0, 60.0, blocks)
    made = alternatives(condition, loss, area, traffic, years, horizon=horizon, rate=rate)
    dearest = np.zeros(blocks)
    np.maximum.at(dearest, made.group, np.asarray(made.cost.sum(axis=1)).ravel())
    return made._replace(budget=np.full(years, share * dearest.sum() / years))


def alternatives(condition: Floats, loss: Floats, area: Floats, traffic: Floats, years: int, *, horizon: int,
                 rate: float = 0.0) -> Instance:
    """Every treatment allowed in every year, and none, for each block; budgets are left at zero.

    Benefit: condition gained over the untreated block, summed from the year of work to ``horizon``,
    discounted at ``rate``, times area in square yards, times vehicles a day in hundreds, over a million.
    Costs are those of the year of work, undiscounted.
    """
    ages = np.arange(horizon)
    untreated = np.maximum(condition[:, None] - loss[:, None] * ages, 0.0)
    weight = (1.0 + rate) ** -ages
    rows = [(np.arange(len(condition)), np.zeros(len(condition)), np.zeros(len(condition)), -1)]
    for year in range(years):
        before = untreated[:, year]
        for kind in TREATMENTS:
            allowed = np.flatnonzero((before >= kind["from"]) & (before <= kind["to"]))
            after = np.minimum(before[allowed] + kind["gain"], kind["top"])
            slope = loss[allowed] if np.isnan(kind["loss"]) else np.full(len(allowed), kind["loss"])
            treated = after[:, None] - slope[:, None] * (ages[year:] - year)
            gain = np.maximum(treated - untreated[allowed, year:], 0.0) @ weight[year:]
            rows.append((allowed, gain * area[allowed] * traffic[allowed] / 1e6, kind["price"] * area[allowed], year))
    group = np.concatenate([row[0] for row in rows])
    value = np.concatenate([row[1] for row in rows])
    money = np.concatenate([row[2] for row in rows])
    year_of = np.concatenate([np.full(len(row[0]), row[3]) for row in rows])
    order = np.argsort(group, kind="stable")
    paid = np.flatnonzero(year_of[order] >= 0)
    cost = sparse.csr_array((money[order][paid], (paid, year_of[order][paid])), shape=(len(group), years))
    return Instance(value[order], cost, group[order], np.zeros(years))


def run(blocks: Sequence[int], years: int = 10, seconds: float = 10.0, seed: int = 1) -> pd.DataFrame:
    """Our optimiser beside HiGHS on networks of each size, one row per size and method.

    Methods: "ours to 1/blocks" stops at a gap of one over the number of blocks, "ours" uses all of
    ``seconds`` unless the optimum is proven; "HiGHS relaxation" is the linear relaxation (a bound, no choice); "HiGHS
    integer" the same model as an integer program in the same time.  Columns blocks, years, alternatives, method,
    seconds (taken), value, bound, gap; figures that a method does not give are NaN.
    """
    rows: list[dict[str, Any]] = []
    for count in blocks:
        instance = city(count, years, seed)
        size = {"blocks": count, "years": years, "alternatives": len(instance.value)}
        for method, gap in (("ours to 1/blocks", 1.0 / max(count, 1)), ("ours", 1e-6)):
            ours = choice.select(*instance, gap=gap, seconds=seconds, seed=seed)
            rows.append({**size, "method": method, "seconds": ours.seconds, "value": ours.value,
                         "bound": ours.upper_bound, "gap": ours.gap})
        rows.extend({**size, **_general(instance, seconds, whole=whole)} for whole in (False, True))
    columns = ["blocks", "years", "alternatives", "method", "seconds", "value", "bound", "gap"]
    return pd.DataFrame(rows, columns=columns)


def _general(instance: Instance, seconds: float, *, whole: bool) -> dict[str, Any]:
    """The relaxation or the integer program by HiGHS, through scipy."""
    began = time.monotonic()
    n, groups = len(instance.value), int(instance.group.max(initial=-1)) + 1
    member = sparse.csr_array((np.ones(n), (instance.group, np.arange(n))), shape=(groups, n))
    answer = optimize.milp(
        -instance.value, integrality=np.full(n, int(whole)), bounds=optimize.Bounds(0.0, 1.0),
        constraints=[optimize.LinearConstraint(instance.cost.T.tocsr(), ub=instance.budget),
                     optimize.LinearConstraint(member, 1.0, 1.0)],
        options={"time_limit": seconds, "mip_rel_gap": 1e-6})
    taken = time.monotonic() - began
    if not whole:
        bound = -float(answer.fun) if answer.status == 0 else np.nan
        return {"method": "HiGHS relaxation", "seconds": taken, "value": np.nan, "bound": bound, "gap": np.nan}
    value = -float(answer.fun) if answer.fun is not None else np.nan
    bound = -float(answer.mip_dual_bound) if answer.mip_dual_bound is not None else np.nan
    return {"method": "HiGHS integer", "seconds": taken, "value": value, "bound": bound,
            "gap": (bound - value) / abs(bound) if bound else np.nan}
