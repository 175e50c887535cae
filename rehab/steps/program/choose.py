"""The choice of a program from offers under limits: the best by the optimiser, or by the simple rules beside it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from rehab.base.errors import Note
from rehab.base.settings import Scenario
from rehab.solvers import choice, rank
from rehab.steps.program import conflicts
from rehab.steps.program.alternatives import Flags, Floats, Ints
from rehab.steps.program.corridors import Offers
from rehab.steps.program.limits import Limits, words

#: the search stops when the program is proven to be this near the best: far finer than the costs are known
_CLOSE: Final = 2e-5
#: a guard against a hanging search only: it is the effort that ends one, so that a program repeats
_LONGEST_S: Final = 120.0


@dataclass(frozen=True)
class Chosen:
    """The chosen alternatives (rows of the offers' alternatives), with the proof: value <= upper_bound.

    ``offers``: the chosen offers.  ``prices``: of each row of the limits, benefit per unit; empty by a rule.
    ``by_prices``: the bound that these prices prove, at or above ``upper_bound``, which a search may have lowered.
    """

    rows: Ints
    offers: Ints
    value: float
    upper_bound: float
    gap: float
    status: str
    prices: Floats
    by_prices: float
    notes: tuple[Note, ...]

    @property
    def failed(self) -> bool:
        """Whether there is no program: none can be, or none was found."""
        return self.status in ("infeasible", "unknown")


def best(offers: Offers, limits: Limits, forced: Flags, names: Ints | list[str], effort: int = 60,
         start: Ints | None = None, cleared_by: int | None = None) -> Chosen:
    """The program of the most benefit within the limits, by :func:`rehab.solvers.choice.select` with ``effort``.

    ``forced`` says which of the offers' alternatives must be chosen, ``names`` the block of each alternative,
    ``cleared_by`` the year of the backlog, all for the words of a conflict; ``start`` are the offers of a program known
    before.
    """
    value, cost = offers.member @ offers.alternatives.benefit, offers.member @ limits.uses
    if conflicts.beyond(cost, offers.group, limits).any():
        return nothing("infeasible", conflicts.explain(offers, limits, forced, names, cleared_by))
    found = choice.select(value, cost, offers.group, limits.most, effort=effort, seconds=_LONGEST_S, gap=_CLOSE,
                          start=start)
    if found.status == "infeasible":
        return nothing("infeasible", conflicts.explain(offers, limits, forced, names, cleared_by))
    if found.status == "unknown":
        note = Note("program", None, None, "the search ended before it found any program; ask for less")
        return nothing("unknown", (note,), found.upper_bound)
    picked = np.asarray(found.chosen)
    rows = np.sort(offers.member[picked].indices.astype(np.int64))
    return Chosen(rows, picked, found.value, found.upper_bound, found.gap, found.status, found.prices,
                  bound(value, cost, offers.group, limits.most, found.prices), ())


def bound(value: Floats, cost: object, group: Ints, most: Floats, prices: Floats) -> float:
    """What no program can exceed, by prices alone: prices times limits, and the best reduced value of each group."""
    reduced = value - cost @ prices  # type: ignore[operator]
    top = np.full(int(group.max(initial=-1)) + 1, -np.inf)
    np.maximum.at(top, group, reduced)
    return float(prices @ most + top[np.unique(group)].sum())


def by_rule(offers: Offers, limits: Limits, scenario: Scenario, must: Flags, badness: Floats, forced: Flags,
            names: Ints | list[str]) -> Chosen:
    """The program of a simple rule, for comparison: worst first, benefit-cost ratio, incremental benefit-cost.

    ``must`` per offer; ``badness`` per offer: the greater, the sooner (worst first).  Such rules know no
    floors.  ``forced`` and ``names`` as in :func:`best`.
    """
    made = offers.alternatives
    value, cost = offers.member @ made.benefit, offers.member @ limits.uses
    price = offers.member @ (made.cost_usd + made.then_usd)
    given = (value, cost, offers.group, limits.most)
    if scenario.choice == "worst first":
        some = np.diff(offers.member.indptr) > 0
        lead = np.zeros(len(value), np.int64)
        lead[some] = offers.member.indices[offers.member.indptr[:-1][some]]
        step = np.where(some, made.step[lead] if len(made) else 0, -1)
        picked = rank.worst_first(badness, *given, step, must=must)
    elif scenario.choice == "benefit-cost ratio":
        picked = rank.by_ratio(value, price, *given[1:], must=must)
    else:
        picked = rank.incremental(value, price, *given[1:], must=must)
    rows = np.sort(offers.member[picked].indices.astype(np.int64))
    empty = np.zeros(0)
    used = np.asarray(cost[picked].sum(axis=0)).ravel()
    over = used > limits.most + 1e-6 * np.maximum(np.abs(limits.most), 1.0)
    if (over & ~limits.table["floor"].to_numpy(bool)).any():  # only what is forced may be beyond its limit
        return nothing("infeasible", conflicts.explain(offers, limits, forced, names, scenario.cleared_by))
    notes = tuple(Note("limit", None, None, f"a simple rule does not keep this: {words(limits, int(at))}")
                  for at in np.flatnonzero(over))
    missed = np.isin(offers.group, np.setdiff1d(offers.group, offers.group[picked]))  # they had no way to do nothing
    if missed.any():
        blocks = np.unique(np.asarray(names)[np.unique(offers.member[np.flatnonzero(missed)].indices)]).tolist()
        notes += (Note("limit", None, None, f"a simple rule leaves {len(blocks):,} of the blocks that must be worked "
                       f"on ({', '.join(blocks[:5])}{' and more' if len(blocks) > 5 else ''})"),)
    return Chosen(rows, picked, float(value[picked].sum()), np.nan, np.nan, "rule", empty, np.nan, notes)


def nothing(status: str, notes: tuple[Note, ...] = (), upper: float = np.nan) -> Chosen:
    """No program, and no gap to the best."""
    none = np.empty(0, np.int64)
    return Chosen(none, none, 0.0, upper, np.nan, status, np.zeros(0), np.nan, notes)
