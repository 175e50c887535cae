"""Why a block has its year and its work, or none, in one plain sentence.

Every clause is read from the tables: what the deciding rule saw at the last survey, or is expected to see in the year
of the work; what was set by hand; what closes a year; where the money ends; and what waiting would add.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from rehab.base.money import escalation_factor
from rehab.base.tables import WORK
from rehab.plan import reasons
from rehab.plan.brief import cause, say
from rehab.plan.brief.facts import Facts, each_row, hindered, step_of

Floats = npt.NDArray[np.float64]

WAITED_YR: Final = 5  #: the years of waiting that a sentence tells of
_LEAST_RISE: Final = 0.1  #: a share of the cost, below which what waiting adds is not told
_NEAR: Final = 1e-6
_OF_BLOCK: Final = ["block_id", "strategy", "overridden", "program_year", "program_strategy", "then_year", "then_work",
                    "utility_year", "no_work_until"]
_OF_PLACE: Final = ["block_id", "next_year", "next_strategy", "next_usd", "short", "limit", "why"]
#: what shuts all work on a block (REASONS of the openings), told in a sentence
_SHUT: Final = {
    "too near earlier work": "it was worked on lately",
    "the year is closed to the block by hand": "its years are closed to work by hand",
    "another work or year is forced": "another work or year is fixed by hand",
    "dearer than all the money of its year": "its work costs more than all the money of a year",
    "not by the year set for the backlog": "nothing is open by the year set for clearing what is left undone",
    "its corridor offers no work on it in any year": "it is done with its neighbors, and they offer no year for it",
}


def sentences(facts: Facts) -> list[str]:
    """One sentence per block, in the order of the network."""
    teller = _Teller(facts)
    told = facts.blocks[_OF_BLOCK].merge(facts.places[_OF_PLACE], on="block_id", how="left")
    return [f"{say.first(teller.tell(at, row))}." for at, row in enumerate(each_row(told))]


@dataclass(frozen=True)
class _Teller:
    facts: Facts

    @cached_property
    def now(self) -> cause.Causes:
        return cause.now(self.facts.prepared)

    @cached_property
    def then(self) -> cause.Causes:
        """The causes in the year of work, or in the first year in which work is due, for every block."""
        return cause.then(self.facts.prepared, np.arange(len(self.step)), np.minimum(
            np.where(self.step < self.facts.prepared.years, self.step, self.due), self.facts.prepared.years - 1))

    @cached_property
    def step(self) -> npt.NDArray[np.int64]:
        return step_of(self.facts.plan)

    @cached_property
    def due(self) -> npt.NDArray[np.int64]:
        """The first step in which the rules call for work; the number of years where they never do."""
        some = self.facts.prepared.by_rule > 0
        return np.where(some.any(axis=1), some.argmax(axis=1), self.facts.prepared.years)

    @cached_property
    def rise(self) -> Floats:
        """What the work costs more some years after its year, without the rise of prices, or NaN, (blocks)."""
        prepared, step = self.facts.prepared, np.minimum(self.step, self.facts.prepared.years - 1)
        later = np.minimum(step + WAITED_YR, prepared.years - 1)
        factor = escalation_factor(prepared.assumptions.number("economics", "escalation"), np.arange(prepared.years))
        real = np.stack([np.zeros(prepared.by_rule.shape), *(prepared.costs[name] / factor for name in WORK)])
        row = np.arange(len(step))
        first, last = (real[prepared.by_rule[row, at], row, at] for at in (step, later))
        told = (self.step < prepared.years) & (later > step) & (first > 0) & (last - first >= _LEAST_RISE * first)
        return np.asarray(np.where(told, last - first, np.nan))

    @cached_property
    def bound(self) -> Floats:
        """What a dollar more in the first year is worth; NaN where a simple rule chose."""
        return reasons.prices(self.facts.plan)

    @cached_property
    def free(self) -> bool:
        """Whether no limit binds in the first year: what is planned later then adds more later."""
        limits = reasons.of_limits(self.facts.plan)
        first = limits["year"].isna() | (limits["year"] == self.facts.start)
        return self.facts.plan.scenario.choice == "best" and not (limits.loc[first, "price"] > 0).any()

    @cached_property
    def by_hand(self) -> Mapping[str, str]:
        return {item.block_id: item.reason.strip().rstrip(".") for item in self.facts.plan.scenario.overrides}

    @cached_property
    def fixed(self) -> Mapping[str, int]:
        return {item.block_id: item.year for item in self.facts.plan.scenario.forced}

    @cached_property
    def kept_out(self) -> frozenset[str]:
        return frozenset(self.facts.plan.scenario.kept_out)

    @cached_property
    def closed(self) -> Mapping[str, list[int]]:
        found: dict[str, list[int]] = {}
        for item in self.facts.plan.scenario.closed:
            found.setdefault(item.block_id, []).append(item.year)
        return found

    def tell(self, at: int, row: Any) -> str:
        """The sentence of one block, without its capital and its full stop."""
        if self.step[at] >= self.facts.prepared.years:
            return self._without(at, row)
        then = f", then {say.work(row.then_work)} in {row.then_year:.0f}" if say.has(row.then_work) else ""
        return self._with(at, row) + then

    def _with(self, at: int, row: Any) -> str:
        """A block with work in the program."""
        year, work = int(row.program_year), say.work(row.program_strategy)
        if row.overridden and row.block_id in self.by_hand:
            return f"{work} was set by hand ({self.by_hand[row.block_id]}) and is planned for {year}"
        today = self.now.strategy(at)
        seen = "sound enough at the last survey" if today == "none" else self.now.words(at)
        if self.fixed.get(row.block_id) == year:
            return f"{seen}; {work} in {year} was fixed by hand"
        if row.program_strategy == today:
            return f"{seen}; {self._when(at, row, work, year)}"
        if self.then.strategy(at) != row.program_strategy:
            return f"{seen}; {work}, which will do here, is planned for {year}"
        expected = self.then.words(at, year)
        if self.then.words(at) == seen:
            return f"{seen}, and by {year} this will take {work}; it is planned for then"
        return f"{seen}; {expected}, and {work} is planned for then"

    def _when(self, at: int, row: Any, work: str, year: int) -> str:
        start, dear = self.facts.start, self.rise[at]
        told = "" if np.isnan(dear) else (
            f"; left until {min(year + WAITED_YR, self.facts.years[-1])}, it would cost about {say.about(dear)} more, "
            "before any rise of prices")
        if year == start:
            return f"{work} is planned for {year}{told}"
        if row.utility_year >= start and year > row.utility_year:
            return f"utility work is planned for {row.utility_year:.0f}, and {work} comes after it, in {year}"
        if row.no_work_until > start and year >= row.no_work_until:
            return f"no work is allowed before {row.no_work_until:.0f}, and {work} is planned for {year}"
        if any(closed < year for closed in self.closed.get(row.block_id, ())):
            return f"earlier years were closed to it by hand, and {work} is planned for {year}"
        if self.bound[0] > 0 or np.isnan(self.bound[0]):
            return f"{work} follows in {year}, when the money reaches it"
        gains = f", when it adds more than in {start}" if self.free else ""
        return f"{work} is planned for {year}{gains}"

    def _without(self, at: int, row: Any) -> str:
        """A block without work in the program."""
        end, prepared = self.facts.years[-1], self.facts.prepared
        if row.block_id in self.kept_out:
            return f"kept out of the program by hand{self._cause(at)}"
        if row.overridden and row.block_id in self.by_hand:
            if row.strategy == "none":
                return f"set by hand to get no work ({self.by_hand[row.block_id]})"
            why = f"{say.work(row.strategy)} was set by hand ({self.by_hand[row.block_id]})"
            return f"{why}; {self._waits(row, end)}"
        due = int(self.due[at])
        if due >= prepared.years:
            if self.now.strategy(at) == "none":
                return f"sound enough: no work is called for through {end}"
            return f"{self.now.words(at)}; by the forecast no rule calls for work through {end}"
        if self.now.strategy(at) != "none":
            return f"{self.now.words(at)}; {self._waits(row, end)}"
        if due == 0:
            return (f"sound enough at the last survey; {self.then.words(at, self.facts.start)}, and "
                    f"{self._waits(row, end)}")
        return (f"sound enough now: no work is called for before about {self.facts.start + due}; "
                f"{self._waits(row, end, later=True)}")

    def _cause(self, at: int) -> str:
        return "; it is sound enough now" if self.now.strategy(at) == "none" else f"; {self.now.words(at)}"

    def _waits(self, row: Any, end: int, later: bool = False) -> str:
        """Why there is no work for a block that the rules call for work on."""
        if hindered(self.facts.plan):
            return hindered(self.facts.plan)
        if say.has(row.why):
            return self._shut(row, end)
        if not say.has(row.next_strategy):
            return f"the money does not reach it by {end}"
        nearest = (f"nearest to being chosen was {say.work(row.next_strategy)} in {row.next_year:.0f} for "
                   f"{say.about(row.next_usd)}")
        if not say.has(row.limit):
            return f"the money does not reach it by {end}" if np.isnan(self.bound[0]) else \
                f"work by {end} gains nothing in the measure that the choice goes by"
        if str(row.limit).startswith("money") and row.short <= _NEAR:
            return f"it no longer fits beside the work that was chosen, and {nearest}"
        if str(row.limit).startswith("money"):
            when = "then" if later else f"through {end}"
            return f"{when} the money does more on other streets, and {nearest}"
        return f"it waits because of a limit ({row.limit}), and {nearest}"

    def _shut(self, row: Any, end: int) -> str:
        if row.why == "too near a planned dig":
            return f"utility work is planned for {row.utility_year:.0f}, and no work is done in the years before it"
        if row.why == "not before the no-work year ends":
            return f"no work is allowed before {row.no_work_until:.0f}"
        if row.why == "the rules do not call for it in this year":
            return f"by the forecast no work that is open calls for it by {end}"
        return _SHUT.get(str(row.why), str(row.why))

