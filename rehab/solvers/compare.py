"""The optimiser beside a general solver and the simple rules, on invented street networks of any size."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple, TypeVar

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import sparse

from rehab.solvers import choice, general, rank

Floats = npt.NDArray[np.float64]
_T = TypeVar("_T")

TREATMENTS = (  # condition from, to; condition after (fixed or gain, at most); loss per year after; cost per area
    {"from": 55.0, "to": 85.0, "gain": 12.0, "top": 90.0, "loss": np.nan, "price": 12.0},
    {"from": 35.0, "to": 70.0, "gain": np.inf, "top": 85.0, "loss": 1.5, "price": 45.0},
    {"from": -np.inf, "to": 55.0, "gain": np.inf, "top": 100.0, "loss": 1.2, "price": 120.0},
)
COLUMNS = ("blocks", "years", "alternatives", "method", "asked", "seconds", "ended", "value", "bound", "gap",
           "of_bound", "memory_mib")


class Instance(NamedTuple):
    """Arrays for :func:`rehab.solvers.choice.select`; alternatives by group, then year, then kind of work."""

    value: Floats
    cost: sparse.csr_array
    group: npt.NDArray[np.int32]
    budget: Floats


class Network(NamedTuple):
    """Condition 0 to 100, its loss per year, area in square yards, vehicles a day in hundreds; by block."""

    condition: Floats
    loss: Floats
    area: Floats
    traffic: Floats


def network(blocks: int, seed: int = 1) -> Network:
    """Invented blocks: condition 15 to 95, loss 1 to 3, 600 to 3,000 square yards, 3 to 60 hundred vehicles a day."""
    rng = np.random.default_rng(seed)
    return Network(rng.integers(15, 96, blocks).astype(float), rng.uniform(1.0, 3.0, blocks),
                   rng.uniform(600.0, 3000.0, blocks), rng.uniform(3.0, 60.0, blocks))


def city(blocks: int, years: int = 10, seed: int = 1, *, share: float = 0.25, horizon: int = 30,
         rate: float = 0.03, strategies: int | None = None) -> Instance:
    """An invented network: one treatment per block in one of ``years`` years, or none.

    Blocks as in :func:`network`; each year's budget is ``share`` of the sum of every block's dearest alternative, over
    ``years``.  ``strategies`` as in :func:`alternatives`.
    """
    made = alternatives(*network(blocks, seed), years, horizon=horizon, rate=rate, strategies=strategies)
    dearest = np.zeros(blocks)
    np.maximum.at(dearest, made.group, np.asarray(made.cost.sum(axis=1)).ravel())
    return made._replace(budget=np.full(years, share * dearest.sum() / years))


def alternatives(condition: Floats, loss: Floats, area: Floats, traffic: Floats, years: int, *, horizon: int,
                 rate: float = 0.0, strategies: int | None = None) -> Instance:
    """Every treatment allowed in every year, and none, for each block; budgets are left at zero.

    Benefit: condition gained over the untreated block, summed from the year of work to ``horizon``,
    discounted at ``rate``, times area in square yards, times vehicles a day in hundreds, over a million.
    Costs are those of the year of work, undiscounted.  A treatment is allowed within its limits of condition; with
    ``strategies`` (2 to 4, none among them) the first ``strategies - 1`` treatments are open to every block in every
    year.

    Raises :class:`ValueError` for another number of strategies.
    """
    if strategies is not None and not 2 <= strategies <= len(TREATMENTS) + 1:
        raise ValueError(f"strategies must be 2 to {len(TREATMENTS) + 1}, doing nothing among them; got {strategies}")
    ages = np.arange(horizon)
    untreated = np.maximum(condition[:, None] - loss[:, None] * ages, 0.0)
    weight = (1.0 + rate) ** -ages
    blocks = np.arange(len(condition), dtype=np.int32)
    rows = [(blocks, np.zeros(len(blocks)), np.zeros(len(blocks)), -1)]
    for year in range(years):
        before = untreated[:, year]
        for kind in TREATMENTS if strategies is None else TREATMENTS[: strategies - 1]:
            within = (before >= kind["from"]) & (before <= kind["to"])
            allowed = blocks[within | (strategies is not None)]
            after = np.minimum(before[allowed] + kind["gain"], kind["top"])
            slope = loss[allowed] if np.isnan(kind["loss"]) else np.full(len(allowed), kind["loss"])
            treated = after[:, None] - slope[:, None] * (ages[year:] - year)
            gain = np.maximum(treated - untreated[allowed, year:], 0.0) @ weight[year:]
            rows.append((allowed, gain * area[allowed] * traffic[allowed] / 1e6, kind["price"] * area[allowed], year))
    group = np.concatenate([row[0] for row in rows])
    order = np.argsort(group, kind="stable")
    value = np.concatenate([row[1] for row in rows])[order]
    money = np.concatenate([row[2] for row in rows])[order]
    year_of = np.concatenate([np.full(len(row[0]), row[3], np.int32) for row in rows])[order]
    paid = year_of >= 0
    starts = np.concatenate(([0], np.cumsum(paid))).astype(np.int32)
    cost = sparse.csr_array((money[paid], year_of[paid], starts), shape=(len(group), years))
    return Instance(value, cost, group[order], np.zeros(years))


def run(blocks: Sequence[int], years: int = 10, seconds: float = 10.0, seed: int = 1, *,
        strategies: int | None = None, gaps: Sequence[float] | None = None) -> pd.DataFrame:
    """Our optimiser beside HiGHS and the simple rules on networks of each size, one row per size and method.

    Methods: "building" makes the instance; "ours" stops at the gap asked for (``gaps``, one for each size; else one
    over the number of blocks), "ours, all the time" only at a gap of 1e-6, both after ``seconds`` at the latest;
    "worst first" (heaviest work first), "best ratio" and "incremental" are the rules of :mod:`rehab.solvers.rank`;
    "HiGHS relaxation" is the linear relaxation (a bound, no choice), "HiGHS integer" the same model as an integer
    program to the gap 1e-6.  HiGHS works in a process of its own, on one thread as ours does, in the same time, and
    is ended two seconds later if it does not stop; reading the instance is not counted.  ``strategies`` as in
    :func:`city`.

    Columns :data:`COLUMNS`: ``asked`` is the gap asked for, ``ended`` whether the method came to its own end (else:
    stopped by the clock, with what it had reported by then), ``of_bound`` the value as a share of the least bound of
    all methods, ``memory_mib`` the most memory that its process held meanwhile, the instance included (ours: since the
    start of the process, where the system cannot tell).  Figures that a method does not give are NaN.
    """
    if gaps is not None and len(gaps) != len(blocks):
        raise ValueError(f"gaps needs one figure for each of the {len(blocks)} sizes, got {len(gaps)}")
    wanted = gaps if gaps is not None else [1.0 / max(count, 1) for count in blocks]
    rows: list[dict[str, Any]] = []
    for count, gap in zip(blocks, wanted, strict=True):
        instance, building = _measured(partial(city, count, years, seed, strategies=strategies))
        found = [{"method": "building", **building, "ended": True},
                 _ours("ours", instance, gap, seconds, seed),
                 _ours("ours, all the time", instance, 1e-6, seconds, seed),
                 *_rules(instance, network(count, seed)),
                 *(general.run(*instance, seconds, whole=whole) for whole in (False, True))]
        least = np.nanmin([row.get("bound", np.nan) for row in found])
        rows.extend({"blocks": count, "years": years, "alternatives": len(instance.value), **row,
                     "of_bound": row.get("value", np.nan) / least if least else np.nan} for row in found)
    return pd.DataFrame(rows, columns=list(COLUMNS)).astype({"ended": bool})


def growth(table: pd.DataFrame, method: str = "ours") -> pd.DataFrame:
    """How the time of a method grows from each size to the next larger one in a table of :func:`run`.

    Columns smaller, larger (blocks), times_blocks, times_seconds, and linear: whether the time grew no faster than the
    number of blocks.
    """
    rows = table[table["method"] == method].sort_values("blocks")
    blocks, taken = rows["blocks"].to_numpy(float), rows["seconds"].to_numpy(float)
    made = pd.DataFrame({"smaller": blocks[:-1].astype(int), "larger": blocks[1:].astype(int),
                         "times_blocks": blocks[1:] / blocks[:-1], "times_seconds": taken[1:] / taken[:-1]})
    return made.assign(linear=made["times_seconds"] <= made["times_blocks"])


def _measured(work: Callable[[], _T]) -> tuple[_T, dict[str, Any]]:
    """The result, with the seconds taken and the most memory held meanwhile."""
    with contextlib.suppress(OSError):
        Path("/proc/self/clear_refs").write_text("5", encoding="ascii")  # Linux: forget the peak so far
    began = time.monotonic()
    result = work()
    return result, {"seconds": time.monotonic() - began, "memory_mib": general.peak_mib()}


def _ours(method: str, instance: Instance, gap: float, seconds: float, seed: int) -> dict[str, Any]:
    found, measured = _measured(lambda: choice.select(*instance, gap=gap, seconds=seconds, seed=seed))
    return {"method": method, **measured, "asked": gap, "seconds": found.seconds, "ended": found.status == "optimal",
            "value": found.value, "bound": found.upper_bound, "gap": found.gap}


def _rules(instance: Instance, blocks: Network) -> list[dict[str, Any]]:
    """The simple rules on the same instance."""
    value, cost, group, budget = instance
    price = np.asarray(cost.sum(axis=1)).ravel()
    year = np.full(len(value), -1)
    year[np.diff(cost.indptr) > 0] = cost.indices
    condition = np.maximum(blocks.condition[group] - blocks.loss[group] * np.maximum(year, 0), 0.0)
    last = len(value) - 1

    def heaviest_first() -> npt.NDArray[np.int64]:
        # the rows of a block and year run from the lightest work to the heaviest: taken backwards
        return last - rank.worst_first(-condition[::-1], value[::-1], cost[::-1], group[::-1], budget, year[::-1])

    rows = []
    for method, rule in (("worst first", heaviest_first),
                         ("best ratio", lambda: rank.by_ratio(value, price, cost, group, budget)),
                         ("incremental", lambda: rank.incremental(value, price, cost, group, budget))):
        chosen, measured = _measured(rule)
        rows.append({"method": method, **measured, "ended": True, "value": float(value[chosen].sum())})
    return rows
