"""Which alternatives are open: one named function per limit on single blocks and years, each an array to look at."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd

from rehab.base.errors import Note
from rehab.base.settings import Assumptions, Forced, Scenario
from rehab.base.tables import IN_WORDS
from rehab.steps.program.alternatives import Alternatives, Flags, Floats, Ints

#: why an alternative is not open, in the order in which the first one found is told; 0 is open
REASONS: Final = (
    "open", "the rules do not call for it in this year", "kept out by hand", "not before the no-work year ends",
    "too near a planned dig", "too near earlier work", "the year is closed to the block by hand",
    "another work or year is forced", "dearer than all the money of its year", "not by the year set for the backlog")
(OPEN, NOT_DUE, KEPT_OUT, BAN, DIG, REST, CLOSED, FORCED, DEARER, LATE) = range(len(REASONS))


@dataclass(frozen=True)
class Openings:
    """What a scenario leaves open.

    ``alternatives`` are all that were given, with committed costs; ``why`` says per alternative why it is not open
    (positions in REASONS, 0 is open); ``forced`` marks the ones that must be chosen, ``needed`` the blocks that must
    get some work.
    """

    alternatives: Alternatives
    why: Ints
    forced: Flags
    needed: Flags
    notes: tuple[Note, ...]

    @property
    def open(self) -> Flags:
        """Which alternatives are open."""
        return np.asarray(self.why == OPEN)


def years_after_ban(network: pd.DataFrame, years: Ints) -> Flags:
    """No work before the first year in which it is allowed: true where it is, (blocks, years)."""
    first = network["no_work_until"].fillna(-np.inf).to_numpy(float)
    return np.asarray(years >= first[:, None])


def years_clear_of_dig(network: pd.DataFrame, years: Ints, assumptions: Assumptions) -> Flags:
    """No work in the year of a planned utility dig nor in the years before it that the table sets."""
    clear = assumptions.number("economics", "clear_before_dig_yr")
    dig = network["utility_year"].fillna(-np.inf).to_numpy(float)[:, None]
    return np.asarray((years > dig) | (years < dig - clear))


def years_rested(network: pd.DataFrame, years: Ints, assumptions: Assumptions) -> Flags:
    """No work in the years after earlier recorded work that the table sets; with 0 every year is open."""
    rest = assumptions.number("economics", "rest_after_work_yr")
    last = network["last_work_year"].fillna(-np.inf).to_numpy(float)[:, None]
    return np.asarray((years < last) | (years >= last + rest))


def years_not_closed(network: pd.DataFrame, scenario: Scenario) -> Flags:
    """No work in the block-years that the engineer closed."""
    position = _places(network, (item.block_id for item in scenario.closed))
    out = np.ones((len(network), len(scenario.years)), bool)
    for item in scenario.closed:
        if item.block_id in position:
            out[position[item.block_id], item.year - scenario.start_year] = False
    return out


def blocks_let_in(network: pd.DataFrame, scenario: Scenario) -> Flags:
    """True for the blocks that the engineer did not keep out."""
    return ~network["block_id"].isin(scenario.kept_out).to_numpy()


def affordable(alternatives: Alternatives, most_usd: Floats) -> Flags:
    """True where each work costs no more than the most that its year may spend."""
    again = alternatives.then_step >= 0
    later = np.where(again, most_usd[np.maximum(alternatives.then_step, 0)], np.inf)
    slack = 1.0 + 1e-9
    return np.asarray((alternatives.cost_usd <= most_usd[alternatives.step] * slack)
                      & (alternatives.then_usd <= later * slack))


def allowed(alternatives: Alternatives, network: pd.DataFrame, due: Flags, scenario: Scenario,
            assumptions: Assumptions, most_usd: Floats | None = None, backlog: Flags | None = None) -> Openings:
    """What rules, locks and closed years leave open, and notes on locks that cannot be kept.

    ``due`` says per alternative whether the rules call for it in its year.  An override replaces the rules; a forced
    year replaces the closed years, with a note.  ``most_usd``: the most that each year may spend; ``backlog``: blocks
    that must have had their work by the year ``scenario.cleared_by``.
    """
    notes: list[Note] = []
    due = _overridden(alternatives, network, due, scenario, notes)
    years = np.array(scenario.years)
    closed = ((years_not_closed(network, scenario), CLOSED), (years_rested(network, years, assumptions), REST),
              (years_clear_of_dig(network, years, assumptions), DIG), (years_after_ban(network, years), BAN))
    why = np.zeros(len(alternatives), np.int64)
    if most_usd is not None:
        why[~affordable(alternatives, most_usd)] = DEARER
    again = np.maximum(alternatives.then_step, 0)
    for flags, reason in closed:
        shut = ~flags[alternatives.block, alternatives.step]
        shut |= (alternatives.then_step >= 0) & ~flags[alternatives.block, again]
        why[shut] = reason
    why[~blocks_let_in(network, scenario)[alternatives.block]] = KEPT_OUT
    why[~due] = NOT_DUE
    needed = np.zeros(len(network), bool)
    if backlog is not None and scenario.cleared_by is not None:
        _clear(alternatives, why, backlog, scenario, network, needed, notes)
    alternatives, forced = _force(alternatives, network, due, why, scenario, needed, notes)
    needed[alternatives.block[forced]] = True
    return Openings(alternatives, why, forced, needed, tuple(notes))


def _places(network: pd.DataFrame, blocks: Iterable[str]) -> dict[str, int]:
    """The rows of blocks by name, of those that are in the table."""
    names = list(blocks)
    rows = pd.Index(network["block_id"]).get_indexer(pd.Index(names, dtype=object)).tolist() if names else []
    return {name: row for name, row in zip(names, rows, strict=True) if row >= 0}


def _overridden(alternatives: Alternatives, network: pd.DataFrame, due: Flags, scenario: Scenario,
                notes: list[Note]) -> Flags:
    position = _places(network, [*(item.block_id for item in scenario.overrides),
                                 *(item.block_id for item in scenario.closed), *scenario.kept_out])
    for item in scenario.overrides:
        if item.block_id in position:
            own = alternatives.block == position[item.block_id]
            due = np.where(own, (alternatives.strategy == item.strategy) & (alternatives.then_step < 0), due)
        else:
            notes.append(Note("override", item.block_id, None, "the block is not in the table; the override is unused"))
    unknown = [("closed year", item.block_id) for item in scenario.closed if item.block_id not in position]
    unknown += [("kept out", name) for name in scenario.kept_out if name not in position]
    notes.extend(Note(topic, name, None, "the block is not in the table; this is unused") for topic, name in unknown)
    return np.asarray(due, bool)


def _clear(alternatives: Alternatives, why: Ints, backlog: Flags, scenario: Scenario, network: pd.DataFrame,
           needed: Flags, notes: list[Note]) -> None:
    """Blocks of the backlog get their first work by the year set; those that nothing is open for by then are told."""
    assert scenario.cleared_by is not None
    last = scenario.cleared_by - scenario.start_year
    of_backlog, in_time = backlog[alternatives.block], alternatives.step <= last
    can = np.zeros(len(backlog), bool)
    can[alternatives.block[(why == OPEN) & in_time]] = True
    why[of_backlog & can[alternatives.block] & (why == OPEN) & ~in_time] = LATE  # the others may come later
    needed |= backlog & can
    left = np.flatnonzero(backlog & ~can)
    if len(left):
        said = "; ".join(f"{network['block_id'].iloc[row]}: {_shut(alternatives, why, in_time, row)}"
                         for row in left[:5])
        notes.append(Note("backlog", None, scenario.cleared_by,
                          f"{len(left):,} {'block' if len(left) == 1 else 'blocks'} of the backlog can get no work by "
                          f"then ({said}{'; and more' if len(left) > 5 else ''}); they are left out of the aim and may "
                          "be worked on later"))


def _shut(alternatives: Alternatives, why: Ints, in_time: Flags, row: int) -> str:
    """What most of the work that the rules call for on a block by then is not open for."""
    found = why[(alternatives.block == row) & in_time & (why != NOT_DUE)]
    return REASONS[int(np.bincount(found).argmax()) if len(found) else NOT_DUE]


def _force(alternatives: Alternatives, network: pd.DataFrame, due: Flags, why: Ints, scenario: Scenario,
           needed: Flags, notes: list[Note]) -> tuple[Alternatives, Flags]:
    """Shut what is beside forced work, and mark it.

    A lock that names no work leaves all that is open in its year to the optimiser; a simple rule is given one work.
    """
    position = _places(network, (lock.block_id for lock in scenario.forced))
    forced = np.zeros(len(alternatives), bool)
    cost = alternatives.cost_usd.copy()
    for lock in scenario.forced:
        if lock.block_id not in position:
            notes.append(Note("forced", lock.block_id, lock.year, "the block is not in the table; nothing was forced"))
            continue
        own = alternatives.block == position[lock.block_id]
        at = own & (alternatives.step == lock.year - scenario.start_year)
        fits = at & (due if lock.strategy is None else
                     (alternatives.strategy == lock.strategy) & (alternatives.then_step < 0))
        if not fits.any():
            notes.append(Note("forced", lock.block_id, lock.year, _no_work(lock, scenario)))
            continue
        shut = why[fits & np.isin(why, (BAN, DIG, REST, LATE))]
        if len(shut) and not (fits & (why == OPEN)).any():
            notes.append(Note("conflict", lock.block_id, lock.year,
                              f"forced into a year that is closed to it: {REASONS[int(shut[0])]}"))
        notes.extend(_against_override(lock, scenario))
        free = fits & (why == OPEN)
        if lock.strategy is None and lock.cost_usd is None and scenario.choice == "best" and free.sum() > 1:
            why[own & ~free & (why != NOT_DUE)] = FORCED
            needed[position[lock.block_id]] = True
            continue
        # What is forced may break what closes its year, but no more than that: no second work in a closed year.
        better = why == OPEN if (fits & (why == OPEN)).any() else alternatives.then_step < 0
        fits = fits & better if (fits & better).any() else fits
        pick = int(np.flatnonzero(fits)[np.argmax(alternatives.benefit[fits])])
        why[own] = np.where(why[own] == NOT_DUE, NOT_DUE, FORCED)
        why[pick], forced[pick] = OPEN, True
        if lock.cost_usd is not None:
            cost[pick] = round(lock.cost_usd, 2)
    return replace(alternatives, cost_usd=cost), forced


def _against_override(lock: Forced, scenario: Scenario) -> list[Note]:
    """A note where the forced strategy is not the one set by hand."""
    return [Note("conflict", lock.block_id, lock.year, f"forced with {IN_WORDS[lock.strategy]}, but the strategy set "
                 f"by hand is {IN_WORDS[item.strategy]}: the forced one is taken; take one back")
            for item in scenario.overrides if item.block_id == lock.block_id and lock.strategy is not None
            and lock.strategy != item.strategy]


def _no_work(lock: Forced, scenario: Scenario) -> str:
    """Why nothing could be forced."""
    if lock.strategy == "none":
        return "doing nothing cannot be forced into a year: keep the block out instead"
    if any(item.block_id == lock.block_id for item in scenario.overrides):
        return "the strategy set by hand leaves no other to force; take one back"
    return "no work is due in this year; name a strategy to force it"
