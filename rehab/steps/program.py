"""Alternatives per block and year to the choice under yearly budgets.

The benefit of an alternative is the sound pavement it gains over the horizon, in discounted, traffic-weighted
square-yard-years.  At most one structural strategy per block; never over budget in any year.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.errors import Note
from rehab.base.settings import Assumptions, Scenario
from rehab.base.tables import WORK
from rehab.solvers import choice

#: the search stops when the program is proven to be this near the best: far finer than the costs are known
_CLOSE: Final = 2e-4
#: a guard against a hanging search only: it is the effort that ends one, so that a program repeats
_LONGEST_S: Final = 120.0

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Alternatives:
    """Arrays of one length: the block's row, the year's step, the strategy, its cost and benefit."""

    block: Ints
    step: Ints
    strategy: npt.NDArray[np.str_]
    cost_usd: Floats
    benefit: Floats

    def only(self, keep: Flags) -> Alternatives:
        """Those where ``keep`` is true."""
        return Alternatives(self.block[keep], self.step[keep], self.strategy[keep], self.cost_usd[keep],
                            self.benefit[keep])


@dataclass(frozen=True)
class Chosen:
    """The rows of the alternatives that make the program, with the proof: value <= upper_bound."""

    rows: Ints
    value: float
    upper_bound: float
    gap: float
    status: str
    notes: tuple[Note, ...]


def open_years(network: pd.DataFrame, scenario: Scenario, assumptions: Assumptions) -> Flags:
    """Whether work is allowed, an array (blocks, years): not before a no-work year ends, not before a dig."""
    years = np.array(scenario.years)
    return years_after_ban(network, years) & years_clear_of_dig(network, years, assumptions)


def years_after_ban(network: pd.DataFrame, years: Ints) -> Flags:
    """No work before the first year in which it is allowed."""
    first = network["no_work_until"].fillna(-np.inf).to_numpy(float)
    return np.asarray(years >= first[:, None])


def years_clear_of_dig(network: pd.DataFrame, years: Ints, assumptions: Assumptions) -> Flags:
    """No work in the year of a planned utility dig nor in the years before it that the table sets."""
    clear = assumptions.number("economics", "clear_before_dig_yr")
    dig = network["utility_year"].fillna(-np.inf).to_numpy(float)[:, None]
    return np.asarray((years > dig) | (years < dig - clear))


def allowed(alternatives: Alternatives, network: pd.DataFrame, due: Flags, scenario: Scenario,
            assumptions: Assumptions) -> tuple[Alternatives, Flags, list[Note]]:
    """Alternatives left by rules, locks and closed years, which of them must be taken, and notes on conflicts.

    ``due`` says per alternative whether the rules call for it in its year.  An override replaces the
    rules; a forced year replaces the closed years, with a warning.
    """
    names = network["block_id"].to_numpy()
    position = {str(name): row for row, name in enumerate(names)}
    opens = open_years(network, scenario, assumptions)[alternatives.block, alternatives.step]
    notes: list[Note] = []
    for item in scenario.overrides:
        if item.block_id in position:
            own = alternatives.block == position[item.block_id]
            due = np.where(own, alternatives.strategy == item.strategy, due)
        else:
            notes.append(Note("override", item.block_id, None, "the block is not in the table; the override is unused"))
    keep = due & opens & ~np.isin(names, scenario.kept_out)[alternatives.block]
    must = np.zeros(len(keep), bool)
    for lock in scenario.forced:
        if lock.block_id not in position:
            notes.append(Note("forced", lock.block_id, lock.year, "the block is not in the table; nothing was forced"))
            continue
        own = (alternatives.block == position[lock.block_id])
        at = own & (alternatives.step == lock.year - scenario.start_year)
        fits = at & (due if lock.strategy is None else alternatives.strategy == lock.strategy)
        if not fits.any():
            notes.append(Note("forced", lock.block_id, lock.year,
                              "no work is due in this year; name a strategy to force it"))
            continue
        if not opens[fits].any():
            notes.append(Note("conflict", lock.block_id, lock.year,
                              "forced into a year that is closed by a planned dig or a no-work year"))
        pick = np.flatnonzero(fits)[np.argmax(alternatives.benefit[fits])]
        keep, must = np.where(own, False, keep), np.where(own, False, must)
        keep[pick] = must[pick] = True
    return alternatives.only(keep), must[keep], notes


def best(alternatives: Alternatives, must: Flags, blocks: int, scenario: Scenario, effort: int = 30) -> Chosen:
    """The program of the most benefit under the budgets, by :func:`rehab.solvers.choice.select` with ``effort``."""
    years = len(scenario.budgets_usd)
    count = len(alternatives.block)
    forced_blocks = np.isin(np.arange(blocks), alternatives.block[must])
    idle = np.flatnonzero(~forced_blocks)  # a forced block has no way to do nothing
    cost = np.zeros((count + len(idle), years))
    cost[np.arange(count), alternatives.step] = alternatives.cost_usd
    value = np.concatenate([alternatives.benefit, np.zeros(len(idle))])
    group = np.concatenate([alternatives.block, idle])
    found = choice.select(value, cost, group, np.array(scenario.budgets_usd), effort=effort, seconds=_LONGEST_S,
                          gap=_CLOSE)
    if found.status == "infeasible":
        return _unaffordable(alternatives.only(must), scenario)
    if found.status == "unknown":
        note = Note("program", None, None, "the search ended before it found any program; force less")
        return Chosen(np.empty(0, np.int64), 0.0, found.upper_bound, 1.0, "unknown", (note,))
    rows = np.asarray(found.chosen)
    return Chosen(rows[rows < count], found.value, found.upper_bound, found.gap, found.status, ())


def worst_first(alternatives: Alternatives, must: Flags, index: Floats, scenario: Scenario) -> Chosen:
    """The same money spent on the worst blocks first: each year the lowest index that still fits the budget.

    ``index`` is the untreated condition (blocks, years).  The strategy is the deciding one of the rules: the
    first alternative of the block and year.
    """
    left = np.array(scenario.budgets_usd, dtype=float)
    taken: list[int] = [int(row) for row in np.flatnonzero(must)]
    np.subtract.at(left, alternatives.step[must], alternatives.cost_usd[must])
    if (left < 0).any():
        return _unaffordable(alternatives.only(must), scenario)
    done = set(alternatives.block[must].tolist())
    for step in range(len(left)):
        rows = np.flatnonzero(alternatives.step == step)
        order = rows[np.lexsort((rows, index[alternatives.block[rows], step]))]
        seen: set[int] = set()
        for row in order.tolist():
            block = int(alternatives.block[row])
            if block in done or block in seen:
                continue
            seen.add(block)
            if alternatives.cost_usd[row] <= left[step]:
                left[step] -= alternatives.cost_usd[row]
                done.add(block)
                taken.append(row)
    picked = np.array(sorted(taken), np.int64)
    value = float(alternatives.benefit[picked].sum())
    return Chosen(picked, value, np.nan, np.nan, "rule", ())


def as_table(alternatives: Alternatives, network: pd.DataFrame, scenario: Scenario) -> pd.DataFrame:
    """The table ``program`` or ``alternatives``: sorted by block and year."""
    table = pd.DataFrame({
        "block_id": network["block_id"].to_numpy()[alternatives.block],
        "year": scenario.start_year + alternatives.step, "strategy": alternatives.strategy,
        "cost_usd": alternatives.cost_usd, "benefit": alternatives.benefit,
    }).astype({"block_id": "str", "year": "int64", "strategy": "str"})
    return table.sort_values(["block_id", "year"], ignore_index=True, kind="stable")


def every(costs: dict[str, Floats], benefits: dict[str, Floats]) -> Alternatives:
    """All strategies of work in all years, from arrays (blocks, years) per strategy; block by block, year by year."""
    blocks, years = next(iter(costs.values())).shape
    block, step, kind = np.meshgrid(np.arange(blocks), np.arange(years), np.arange(len(WORK)), indexing="ij")
    order = np.stack([costs[name] for name in WORK], axis=2), np.stack([benefits[name] for name in WORK], axis=2)
    return Alternatives(block.ravel(), step.ravel(), np.array(WORK)[kind.ravel()], order[0].ravel(), order[1].ravel())


def less_waiting(benefits: dict[str, Floats], costs: dict[str, Floats], due: Ints, inflation: Floats,
                 discount: Floats, worth: float) -> dict[str, Floats]:
    """Benefits less what waiting adds to the cost, by strategy, arrays (blocks, years).

    The damage that grows while a block waits makes its repair dearer and, by itself, gives the repair more to gain.
    So the real dollars that each strategy costs above its cost in the first year in which the rules call for work
    (``due``, positions in STRATEGIES) are taken off at ``worth`` times what the average dollar of such first years
    buys.  ``inflation`` and ``discount`` turn dollars of a year into real ones and those into today's.
    """
    rows = np.arange(len(due))
    first = np.argmax(due > 0, axis=1)
    real = {name: costs[name] / inflation for name in WORK}
    gained = spent = 0.0
    for number, name in enumerate(WORK, 1):
        by_rule = due[rows, first] == number
        gained += float(benefits[name][rows, first][by_rule].sum())
        spent += float((real[name] * discount)[rows, first][by_rule].sum())
    rate = worth * gained / spent if spent > 0 else 0.0
    return {name: benefits[name] - rate * discount * np.maximum(real[name] - real[name][rows, first][:, None], 0.0)
            for name in WORK}


def _unaffordable(forced: Alternatives, scenario: Scenario) -> Chosen:
    """No program: the forced work costs more than the budget of the years in the notes."""
    budgets = np.array(scenario.budgets_usd)
    spent = np.bincount(forced.step, forced.cost_usd, minlength=len(budgets))
    notes = tuple(Note("conflict", None, scenario.start_year + int(step), f"the forced work costs ${spent[step]:,.0f}, "
                       f"budget ${budgets[step]:,.0f}; raise the budget or force less")
                  for step in np.flatnonzero(spent > budgets))
    return Chosen(np.empty(0, np.int64), 0.0, 0.0, 0.0, "infeasible", notes)
