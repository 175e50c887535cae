"""How sure a block's place in the program is: the program chosen anew in many draws of lives, survey and prices."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from rehab.base import tables
from rehab.base.settings import Scenario
from rehab.plan import drawn, problem
from rehab.plan.model import Plan, Prepared
from rehab.steps.program import Alternatives


@dataclass(frozen=True)
class Robust:
    """``blocks`` is the table ``block_places``; ``draws`` were made, in ``failed`` of them no program could be made."""

    blocks: pd.DataFrame
    draws: int
    failed: int

    def sentence(self) -> str:
        """How firm the program is, in a sentence."""
        held = self.blocks[self.blocks["year"].notna()]
        if held.empty:
            return "The program holds no block."
        firm = int((held["in_program"] >= 0.8).sum())
        failed = f" In {self.failed} draws no program kept all limits." if self.failed else ""
        return (f"Chosen anew in {self.draws} draws, the best program holds a block of this one in "
                f"{100 * held['in_program'].mean():.0f} % of them on average, in the same year in "
                f"{100 * held['same_year'].mean():.0f} %; {firm:,} of {len(held):,} blocks are in it in 8 of 10 draws "
                f"or more.{failed}")


def places(plan: Plan, draws: int = 50, seed: int = 1, effort: int = 0) -> Robust:
    """How often each block is in the best program over draws, and in the year and strategy of the plan.

    The limits stay as they are, but for targets of condition, which are left out: they would ask each draw for money
    that it does not have.  Each draw's program is near the best of the draw, by ``effort``: where several are nearly as
    good, a part of the scatter is the search's own.  One work per block is chosen.  Raises :class:`ValueError` for the
    measure 'agency cost', which is not drawn, and for a plan that was not chosen as the best.
    """
    asked = plan.scenario
    if asked.benefit != "sound pavement":
        raise ValueError("the present worth of agency cost is not drawn; choose by sound pavement to see this")
    if asked.choice != "best":
        raise ValueError("only a program chosen as the best can be chosen anew")
    prepared, asked = plan.prepared, replace(asked, works=1, targets=())
    blocks = len(prepared.network)
    year, strategy = _held(plan, blocks)
    inside, same_year, same = np.zeros(blocks), np.zeros(blocks), np.zeros(blocks)
    failed = 0
    for draw in drawn.alternatives(prepared, draws, seed):
        new = replace(prepared, costs=draw.costs, benefits=draw.benefits, by_rule=draw.by_rule,
                      adequate=draw.adequate)
        status, taken = _solve(new, asked, effort)
        if status not in ("optimal", "feasible"):
            failed += 1
            continue
        inside[taken.block] += 1
        same_year[taken.block[taken.step == year[taken.block]]] += 1
        alike = (taken.step == year[taken.block]) & (taken.strategy == strategy[taken.block])
        same[taken.block[alike]] += 1
    made = max(draws - failed, 1)
    table = pd.DataFrame({
        "block_id": prepared.network["block_id"], "year": pd.Series(prepared.start_year + year, dtype="Int64").where(
            pd.Series(year >= 0)), "strategy": pd.Series(strategy, dtype="str").where(pd.Series(year >= 0)),
        "in_program": inside / made, "same_year": same_year / made, "same_work": same / made})
    return Robust(tables.check("block_places", tables.with_types("block_places", table)), draws, failed)


def _solve(prepared: Prepared, asked: Scenario, effort: int) -> tuple[str, Alternatives]:
    posed, chosen = problem.solve(prepared, asked, problem.pose(prepared, asked), effort)
    return chosen.status, posed.offers.alternatives.only(chosen.rows)


def _held(plan: Plan, blocks: int) -> tuple[np.ndarray, np.ndarray]:
    """Step and strategy of the plan per block; -1 and '' where it gets no work."""
    taken = plan.posed.offers.alternatives.only(plan.chosen.rows)
    step, strategy = np.full(blocks, -1), np.full(blocks, "", dtype="<U16")
    step[taken.block], strategy[taken.block] = taken.step, taken.strategy
    return step, strategy
