"""Why no program obeys all that is asked: the blocks, the amounts, and what to relax."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from scipy import sparse

from rehab.base.errors import Note
from rehab.solvers import choice
from rehab.steps.program.alternatives import Flags, Floats, Ints
from rehab.steps.program.corridors import Offers
from rehab.steps.program.limits import MONEY, Limits, amount, words, year_of

_NAMED: Final = 6  #: blocks named in one sentence


def explain(offers: Offers, limits: Limits, forced: Flags, names: Ints | Sequence[str],
            cleared_by: int | None = None) -> tuple[Note, ...]:
    """One note for each limit that cannot be kept; if none fails by itself, what is short at the least.

    ``cleared_by``: the year by which the backlog has to be cleared, if it has to.
    """
    cost = offers.member @ limits.uses
    need = needed(cost, offers.group)
    over = beyond(cost, offers.group, limits)
    tightest: dict[tuple[str, float], int] = {}
    for at in np.flatnonzero(over).tolist():  # of runs of years that the same works exceed, the one with least money
        row = limits.table.iloc[at]
        key = (str(row["limit"]) if row["limit"] == MONEY else f"{row['limit']} {at}", round(float(need[at]), 2))
        if key not in tightest or limits.most[at] < limits.most[tightest[key]]:
            tightest[key] = at
    if tightest:
        return tuple(_alone(at, float(need[at]), limits, forced, names, cleared_by)
                     for at in sorted(tightest.values()))
    short = choice.shortage(cost, offers.group, limits.most)
    found = np.flatnonzero(short > 1e-7 * np.maximum(np.abs(limits.most), 1.0))
    if not len(found):
        return (Note("conflict", None, None, "no program of whole blocks obeys all that is asked together, though "
                     "parts of blocks would; relax one of the limits a little"),)
    others = "the other limits" if cleared_by is None else \
        f"the other limits and the backlog that is to be cleared by {cleared_by}"
    return tuple(Note("conflict", None, year_of(limits, at), f"together with {others} this cannot be kept: "
                      f"{words(limits, at)}; it is short by {amount(short[at], limits.table['unit'].iloc[at])} at the "
                      f"least; {_relax(limits, at, cleared_by)}") for at in found.tolist())


def needed(cost: sparse.csr_array, group: Ints) -> Floats:
    """The least that the offers of all groups can use of each limit, (rows)."""
    order = np.argsort(group, kind="stable")
    first = np.flatnonzero(np.diff(group[order], prepend=-1))
    if not len(first):
        return np.zeros(cost.shape[1])
    sorted_ = sparse.csc_array(cost[order])
    least = [np.minimum.reduceat(sorted_[:, [at]].toarray().ravel(), first).sum() for at in range(cost.shape[1])]
    return np.array(least, float)


def beyond(cost: sparse.csr_array, group: Ints, limits: Limits) -> Flags:
    """Limits that cannot be kept whatever else is given up, (rows)."""
    return np.asarray(needed(cost, group) > limits.most + 1e-9 * np.maximum(np.abs(limits.most), 1.0))


def _alone(at: int, need: float, limits: Limits, forced: Flags, names: Ints | Sequence[str],
           cleared_by: int | None) -> Note:
    """A limit that cannot be kept whatever else is given up."""
    row, year, most = limits.table.iloc[at], year_of(limits, at), float(limits.most[at])
    unit = row["unit"]
    if row["limit"] == "target":
        return Note("conflict", None, year, f"{words(limits, at)}: even with all work that is open it stays "
                    f"{amount(need - most, unit)} below; lower the target, open more strategies, or set a later year")
    if row["floor"]:
        there = f"but all work that is open there costs no more than {amount(-need, unit)}" if need < 0 else \
            "but no block lies there, or none may be worked on"
        return Note("conflict", None, year, f"{words(limits, at)}, {there}; lower the share or open more work there")
    uses = limits.uses[:, [at]].toarray().ravel()
    those = np.flatnonzero(forced & (uses > 0))
    those = those[np.argsort(-uses[those], kind="stable")]
    listed = "; ".join(f"{names[one]} {amount(uses[one], unit)}" for one in those[:_NAMED])
    more = f" and {len(those) - _NAMED} more" if len(those) > _NAMED else ""
    what = "the forced work" if len(those) else "what has to be done"
    those_words = f" ({listed}{more})" if listed else ""
    if cleared_by is not None:
        what, those_words = f"the backlog that is to be cleared by {cleared_by}", \
            f", with the forced work{those_words}," if listed else ""
    lack = amount(need - most, unit)
    verb = "costs" if row["limit"] == MONEY else "takes"
    return Note("conflict", None, year, f"{what}{those_words} {verb} {amount(need, unit)}, "
                f"{_kind(limits, at)} {amount(most, unit)}: {lack} too little; {_relax(limits, at, cleared_by)}")


def _kind(limits: Limits, at: int) -> str:
    row = limits.table.iloc[at]
    return str(row["detail"]) if row["limit"] == MONEY else f"the capacity of {row['detail']}"


def _relax(limits: Limits, at: int, cleared_by: int | None) -> str:
    row = limits.table.iloc[at]
    less = "force less" if cleared_by is None else "force less, or set a later year for the backlog"
    return {MONEY: f"raise the budget or {less}", "capacity": f"raise the capacity or {less}",
            "district share": "lower the share", "target": "lower the target or give more money"}[str(row["limit"])]
