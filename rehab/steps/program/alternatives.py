"""Alternatives of a program: a work in a year on a block, perhaps with a second one later, its cost and benefit."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.settings import Scenario
from rehab.base.tables import WORK

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]
Names = npt.NDArray[np.str_]


@dataclass(frozen=True)
class Alternatives:
    """Arrays of one length: the block's row, the year's step, the strategy, its cost in that year, its benefit.

    ``then_step`` is the step of a second work, or -1; ``then`` that work ("" without one) and ``then_usd`` its cost in
    dollars of its year.
    """

    block: Ints
    step: Ints
    strategy: Names
    cost_usd: Floats
    benefit: Floats
    then_step: Ints
    then: Names
    then_usd: Floats

    def only(self, keep: Flags | Ints) -> Alternatives:
        """Those where ``keep`` is true, or the rows that it names."""
        return Alternatives(*(getattr(self, item.name)[keep] for item in fields(self)))

    def beside(self, other: Alternatives) -> Alternatives:
        """These and then others."""
        return Alternatives(*(np.concatenate([getattr(self, item.name), getattr(other, item.name)])
                              for item in fields(self)))

    def __len__(self) -> int:
        """Number of alternatives."""
        return len(self.block)


def single(block: Ints, step: Ints, strategy: Names, cost_usd: Floats, benefit: Floats) -> Alternatives:
    """Alternatives of one work; costs are whole cents, so that their sums are the same wherever they are made."""
    count = len(block)
    return Alternatives(block, step, strategy, np.round(cost_usd, 2), benefit, np.full(count, -1), np.full(count, ""),
                        np.zeros(count))


def as_table(alternatives: Alternatives, network: pd.DataFrame, scenario: Scenario) -> pd.DataFrame:
    """The table ``program`` or ``alternatives``: sorted by block and year."""
    again = alternatives.then_step >= 0
    table = pd.DataFrame({
        "block_id": network["block_id"].to_numpy()[alternatives.block],
        "year": scenario.start_year + alternatives.step, "strategy": alternatives.strategy,
        "cost_usd": alternatives.cost_usd, "benefit": alternatives.benefit,
        "then_year": np.where(again, scenario.start_year + alternatives.then_step, np.nan),
        "then_work": pd.Series(alternatives.then, dtype="str").where(again),
        "then_usd": pd.Series(alternatives.then_usd, dtype="float64").where(again),
    }).astype({"block_id": "str", "year": "int64", "strategy": "str"})
    return table.sort_values(["block_id", "year"], ignore_index=True, kind="stable")


def every(costs: dict[str, Floats], benefits: dict[str, Floats]) -> Alternatives:
    """All strategies of work in all years, from arrays (blocks, years) per strategy; block by block, year by year."""
    blocks, years = next(iter(costs.values())).shape
    block, step, kind = np.meshgrid(np.arange(blocks), np.arange(years), np.arange(len(WORK)), indexing="ij")
    order = np.stack([costs[name] for name in WORK], axis=2), np.stack([benefits[name] for name in WORK], axis=2)
    return single(block.ravel(), step.ravel(), np.array(WORK)[kind.ravel()], order[0].ravel(), order[1].ravel())


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
