"""A scenario as a problem of choice: what is open, what is chosen at once, and the limits over all of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import numpy.typing as npt

from rehab.base.settings import Scenario
from rehab.base.tables import STRATEGIES, WORK
from rehab.plan import saving, second
from rehab.plan.model import Floats, Plan, Posed, Prepared
from rehab.steps import program
from rehab.steps.program import Alternatives, Chosen, Offers, funds
from rehab.steps.program import limits as limit_rows

Flags = npt.NDArray[np.bool_]

#: cuts that money of several funds with carry-over may need beyond the rows of the budgets
_MOST_CUTS: Final = 20
#: kinds of capacity -> the need that a work takes of it, and the strategies that do
_TAKES: Final = {
    "partial_depth": ("partial_sqft", ("partial_depth", "full_depth")), "full_depth": ("full_sqyd", ("full_depth",)),
    "grinding": ("grind_sqyd", ("partial_depth", "full_depth"))}


def pose(prepared: Prepared, scenario: Scenario) -> Posed:
    """The problem of a scenario."""
    due = _due(prepared, scenario)
    singles = program.every(prepared.costs, benefits(prepared, scenario))
    candidates, flags = _with_second(prepared, scenario, singles, due)
    backlog = _backlog(prepared, scenario)
    openings = program.allowed(candidates, prepared.network, flags, scenario, prepared.assumptions,
                               program.most_in_a_year(scenario), backlog)
    corridor = program.corridor_of(prepared.network, scenario, prepared.assumptions)
    offers = program.offers(openings.alternatives, openings.open, openings.forced, openings.needed, corridor,
                            _shared(prepared, scenario, openings.alternatives))
    made = offers.alternatives
    gain, index = _lifts(prepared, scenario, made)
    limits = program.limits_of(made, prepared.network, scenario, _amounts(prepared, scenario, made), gain, index)
    return Posed(openings, offers, limits, openings.forced[offers.source])


def solve(prepared: Prepared, scenario: Scenario, posed: Posed, effort: int,
          start: npt.NDArray[np.int64] | None = None) -> tuple[Posed, Chosen]:
    """The program of a scenario, and the problem with the limits that it was found under.

    ``start``: offers of a program known before.
    """
    offers, names = posed.offers, prepared.network["block_id"].to_numpy()
    if scenario.choice == "no work":
        return posed, program.nothing("rule")
    of = names[offers.alternatives.block]
    limits = posed.limits
    for _ in range(_MOST_CUTS):
        if scenario.choice == "best":
            chosen = program.best(offers, limits, posed.must, of, effort, start)
        else:
            chosen = program.by_rule(offers, limits, scenario, _must(posed), _badness(prepared, offers), posed.must, of)
        taken = offers.alternatives.only(chosen.rows)
        missing = funds.missing_row(taken, offers.alternatives, prepared.network, scenario)
        if missing is None:
            break
        limits = limit_rows.join([limits, missing], len(offers.alternatives), prepared.years)
    return replace(posed, limits=limits), chosen


def best_known(posed: Posed, scenario: Scenario, known: Sequence[Plan]) -> npt.NDArray[np.int64] | None:
    """The offers of the known plan of the most benefit that this scenario can keep too; None if there is none.

    A plan can be kept if its every offer is still open and within the limits.
    """
    best, found = -np.inf, None
    names = _names(posed) if known else {}
    for plan in known:
        if plan.chosen.value <= best or replace(plan.scenario, budgets_usd=scenario.budgets_usd,
                                                funds=scenario.funds) != scenario:
            continue
        held = list(_names(plan.posed))
        mine = np.array([names.get(held[row], -1) for row in plan.chosen.offers.tolist()], np.int64)
        used = np.asarray((posed.offers.member[mine] @ posed.limits.uses).sum(axis=0)).ravel()
        if (mine >= 0).all() and (used <= posed.limits.most + 1e-9 * np.abs(posed.limits.most)).all():
            best, found = plan.chosen.value, mine
    return found


def _names(posed: Posed) -> dict[tuple[object, ...], int]:
    """The row of each offer by its group and its alternatives: the same in every problem of one scenario."""
    member, source = posed.offers.member, posed.offers.source
    rows, ends = source[member.indices].tolist(), member.indptr.tolist()
    return {(group, *rows[ends[row]:ends[row + 1]]): row for row, group in enumerate(posed.offers.group.tolist())}


def benefits(prepared: Prepared, scenario: Scenario) -> dict[str, Floats]:
    """The benefit of each strategy, arrays (blocks, years), in the measure of the scenario."""
    if scenario.benefit == "sound pavement":
        return prepared.benefits
    every = {name: np.ones_like(prepared.adequate[name]) for name in WORK}
    own = bool(scenario.overrides or scenario.forced)  # these may take a strategy that the rules do not
    found = prepared.once(f"savings {own}", lambda: saving.without_waiting(
        prepared, saving.savings(prepared, every if own else None)))
    return {name: np.nan_to_num(values) for name, values in found.items()}


def _due(prepared: Prepared, scenario: Scenario) -> dict[str, Flags]:
    """Where the scenario opens each strategy, (blocks, years); worst first does what the rules decide."""
    if scenario.strategies == "adequate" and scenario.choice != "worst first":
        return prepared.adequate
    return {name: prepared.by_rule == STRATEGIES.index(name) for name in WORK}


def _with_second(prepared: Prepared, scenario: Scenario, singles: Alternatives,
                 due: dict[str, Flags]) -> tuple[Alternatives, Flags]:
    """The alternatives of one work and, where the scenario plans two, of two; and whether each is due."""
    flags = np.stack([due[name] for name in WORK], axis=2).ravel()
    if scenario.works == 1:
        return singles, flags
    money = scenario.benefit == "agency cost"
    key = f"second {scenario.strategies} {scenario.choice == 'worst first'} {money}"
    found = prepared.once(key, lambda: second.pairs(prepared, due, money))
    single = benefits(prepared, scenario)
    first = np.zeros(len(found.block))
    for name in WORK:
        at = found.strategy == name
        first[at] = single[name][found.block[at], found.step[at]]
    both = Alternatives(found.block, found.step, found.strategy, found.cost_usd,
                        found.saving if money else first + found.then_gain, found.then_step, found.then_strategy,
                        found.then_usd)
    return singles.beside(both), np.concatenate([flags, np.ones(len(both), bool)])


def _backlog(prepared: Prepared, scenario: Scenario) -> Flags | None:
    """Blocks that, left alone, the rules send to full depth or reconstruction in the year by which none may be left."""
    if scenario.cleared_by is None:
        return None
    rule = prepared.by_rule[:, scenario.cleared_by - prepared.start_year]
    return np.asarray(rule >= STRATEGIES.index("full_depth"))


def _shared(prepared: Prepared, scenario: Scenario, made: Alternatives) -> Floats:
    """What a block of a corridor costs less beside others in its year: mobilisation, and a discount on grinding."""
    if scenario.corridors == "apart":
        return np.zeros(len(made))
    used = prepared.assumptions
    rate = used.number("markups", "mobilisation")
    mobilised = made.cost_usd * rate / (1 + rate) * used.number("economics", "corridor.mobilisation_saved")
    ground = _need(prepared, "grind_sqyd", made) * np.isin(made.strategy, _TAKES["grinding"][1])
    price = saving.grinding_price(prepared, made.block, prepared.start_year + made.step)
    return np.asarray(mobilised + used.number("economics", "corridor.grinding_discount") * ground * price)


def _amounts(prepared: Prepared, scenario: Scenario, made: Alternatives) -> dict[str, Floats] | None:
    """What each alternative takes of each kind of capacity; 'ground again' is that of a second work of grinding."""
    if not scenario.capacities:
        return None
    found = {kind: _need(prepared, column, made) * np.isin(made.strategy, kinds)
             for kind, (column, kinds) in _TAKES.items()}
    area = prepared.network["area_sqyd"].to_numpy(float)[made.block]
    return {**found, "reconstruction": area * (made.strategy == "reconstruction"),
            "ground again": found["grinding"]}


def _need(prepared: Prepared, column: str, made: Alternatives) -> Floats:
    values = prepared.needs_by_year[column].to_numpy(float)
    return np.asarray(np.nan_to_num(values[made.block * prepared.years + made.step]))


def _lifts(prepared: Prepared, scenario: Scenario, made: Alternatives) -> tuple[Floats | None, Floats | None]:
    """By how much each alternative lifts its block's index, (rows, years), and the untreated index."""
    if not scenario.targets:
        return None, None
    index = prepared.ageing.index[:, :prepared.years]
    return index_of(prepared, made) - index[made.block], index


def index_of(prepared: Prepared, made: Alternatives) -> Floats:
    """The index of each alternative's block in each year of the program, (rows, years)."""
    later = np.where(made.then_step >= 0, made.then_step, prepared.years)
    then = np.where(made.then_step >= 0, made.then, "none")
    return second.paths(prepared, made.block, made.step, made.strategy, later, then, prepared.years)[3]


def _must(posed: Posed) -> Flags:
    """Offers that a simple rule has to take: of each block that is forced, the first that holds its forced work."""
    holds = np.asarray((posed.offers.member @ posed.must.astype(float)) > 0)
    first = np.zeros(len(holds), bool)
    rows = np.flatnonzero(holds)
    _, at = np.unique(posed.offers.group[rows], return_index=True)
    first[rows[at]] = True
    return first


def _badness(prepared: Prepared, offers: Offers) -> Floats:
    """How far below 100 the worst untreated index among the blocks of each offer is in its year."""
    made, member = offers.alternatives, offers.member
    below = 100.0 - prepared.ageing.index[made.block, made.step]
    out = np.zeros(member.shape[0])
    np.maximum.at(out, np.repeat(np.arange(member.shape[0]), np.diff(member.indptr)), below[member.indices])
    return out
