"""A scenario as a problem of choice: what is open, what is chosen at once, and the limits over all of it."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.errors import Note
from rehab.base.settings import Scenario
from rehab.base.tables import IN_WORDS, STRATEGIES, WORK
from rehab.plan import saving, second
from rehab.plan.known import same_question
from rehab.plan.model import Floats, Plan, Posed, Prepared
from rehab.solvers import choice
from rehab.steps import program
from rehab.steps.program import Alternatives, Chosen, Limits, Offers, corridors, funds
from rehab.steps.program import limits as limit_rows

Flags = npt.NDArray[np.bool_]

#: cuts that money of several funds with carry-over may need beyond the rows of the budgets
_MOST_CUTS: Final = 100
#: a guard against a search for them without end
_LONGEST_S: Final = 180.0
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
    corridor, apart = corridors.parted(
        program.corridor_of(prepared.network, scenario, prepared.assumptions), openings.alternatives, openings.open,
        openings.needed, prepared.network["block_id"].to_numpy(), scenario.start_year)
    openings = replace(openings, notes=(*openings.notes, *apart, *_uncounted(scenario)))
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
    limits, gives = posed.limits, posed.limits.gives >= 1
    active = (gives.sum(axis=1) <= 1) | gives[:, 0]  # of the runs of a carry-over few bind: one year, or from the first
    if scenario.choice == "best" and scenario.funds and scenario.carry_over > 0:
        limits, active = _cut(prepared, scenario, posed)
    quick = scenario.carry_over > 0 and effort > 0  # rows that come and go are found by plain choices first
    latest = time.monotonic() + _LONGEST_S
    for _ in range(_MOST_CUTS):
        if time.monotonic() > latest:
            break
        if scenario.choice == "best":
            chosen = program.best(offers, limit_rows.part(limits, active), posed.must, of,
                                  0 if quick else effort, start, scenario.cleared_by)
            chosen = replace(chosen, prices=_all_prices(chosen.prices, active))
            used = np.asarray(limits.uses[chosen.rows].sum(axis=0)).ravel()
            broken = ~active & (used > limits.most + 1e-9 * np.abs(limits.most))
            active |= broken
            if broken.any():
                continue
        else:
            chosen = program.by_rule(offers, limits, scenario, _must(posed), _badness(prepared, offers), posed.must, of)
        taken = offers.alternatives.only(chosen.rows)
        missing = funds.missing_row(taken, offers.alternatives, prepared.network, scenario)
        if missing is not None:
            limits = limit_rows.join([limits, missing])
            active = np.append(active, True)
        elif quick and scenario.choice == "best":
            quick = False
        else:
            return replace(posed, limits=limits), chosen
    note = Note("program", None, None, "no program was found whose works the funds can pay year by year: funds whose "
                "money is carried over were at odds to the end; allow no carry-over, or merge funds")
    return replace(posed, limits=limits), program.nothing("unknown", (note,), chosen.upper_bound)


def _cut(prepared: Prepared, scenario: Scenario, posed: Posed) -> tuple[Limits, Flags]:
    """The limits with the cuts that parts of offers ask for, and which rows of money they meet; all other rows, too.

    A program of whole blocks then asks for fewer: each of its cuts takes a search, each of these a linear program.
    """
    limits, offers, made = posed.limits, posed.offers, posed.offers.alternatives
    cuts: list[Limits] = []

    def missing(shares: Floats) -> tuple[Floats, float] | None:
        share = np.asarray(offers.member.T @ shares)
        parts = replace(made, cost_usd=made.cost_usd * share, then_usd=made.then_usd * share).only(share > 1e-9)
        found = funds.missing_row(parts, made, prepared.network, scenario)
        if found is None:
            return None
        cuts.append(found)
        return np.asarray((offers.member @ found.uses).toarray()).ravel(), float(found.most[0])

    shares = choice.shares(offers.member @ made.benefit, offers.member @ limits.uses, offers.group, limits.most,
                           missing, _MOST_CUTS) if len(offers.group) else None
    limits = limit_rows.join([limits, *cuts])
    if shares is None:
        return limits, np.ones(len(limits), bool)
    slack = limits.most - np.asarray(shares @ (offers.member @ limits.uses)).ravel()
    met = slack <= 1e-7 * np.maximum(np.abs(limits.most), 1.0)
    return limits, np.asarray(met | (limits.table["limit"] != limit_rows.MONEY).to_numpy())


def _all_prices(prices: Floats, active: Flags) -> Floats:
    """Prices of all rows: zero for those that were not needed."""
    if not len(prices):
        return prices
    out = np.zeros(len(active))
    out[active] = prices
    return out


def best_known(posed: Posed, scenario: Scenario, known: Sequence[Plan]) -> npt.NDArray[np.int64] | None:
    """The offers of the known plan of the most benefit that this scenario can keep too; None if there is none.

    A plan can be kept if its every offer is still open and within the limits.
    """
    best, found = -np.inf, None
    for plan in known:
        if plan.chosen.failed or plan.chosen.value <= best or not same_question(
                plan.scenario, scenario):
            continue
        mine = _same(posed.offers, plan.posed.offers, plan.chosen.offers)
        used = np.asarray((posed.offers.member[mine] @ posed.limits.uses).sum(axis=0)).ravel()
        if (mine >= 0).all() and (used <= posed.limits.most + 1e-9 * np.abs(posed.limits.most)).all():
            best, found = plan.chosen.value, mine
    return found


def _same(offers: Offers, others: Offers, rows: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """The offers that hold what rows of other offers to the same scenario hold; -1 where there is none."""
    mine, wanted = _marks(offers), _marks(others)[rows]
    order = np.argsort(mine)
    if not len(mine):
        return np.full(len(rows), -1)
    at = order[np.minimum(np.searchsorted(mine, wanted, sorter=order), len(mine) - 1)]
    return np.asarray(np.where(mine[at] == wanted, at, -1))


def _marks(offers: Offers) -> npt.NDArray[np.uint64]:
    """A number for each offer by its group and its alternatives, the same whatever the money.

    Two offers share one by a chance in 10^14; at worst a program known before is then not begun with.
    """
    each = pd.util.hash_array(offers.source[offers.member.indices])
    total = np.append(np.zeros(1, np.uint64), np.cumsum(each, dtype=np.uint64))  # sums that pass 2^64 begin anew
    ends = offers.member.indptr
    return pd.util.hash_array(-1 - offers.group) + total[ends[1:]] - total[ends[:-1]]


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
    both = Alternatives(found.block, found.step, found.strategy, np.round(found.cost_usd, 2),
                        found.saving if money else first + found.then_gain, found.then_step, found.then_strategy,
                        np.round(found.then_usd, 2))
    both = both.only(~np.isin(both.then, _not_counted(scenario)))
    return singles.beside(both), np.concatenate([flags, np.ones(len(both), bool)])


def _not_counted(scenario: Scenario) -> list[str]:
    """Second works that take of a capacity so much as is not known here; they are not planned, so that it is kept."""
    asked = {item.kind for item in scenario.capacities}
    return [name for name in second.REPAIRS if asked & {kind for kind, (_, takers) in _TAKES.items() if name in takers}]


def _uncounted(scenario: Scenario) -> list[Note]:
    """A note on second works that capacities rule out."""
    names = [IN_WORDS[name] for name in (_not_counted(scenario) if scenario.works > 1 else ())]
    return [Note("limit", None, None, f"no {' and no '.join(names)} is planned as a second work on a block: what it "
                 "takes of the capacities is not known ahead")] if names else []


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
    saved = mobilised + used.number("economics", "corridor.grinding_discount") * ground * price
    committed = [lock.block_id for lock in scenario.forced if lock.cost_usd is not None]
    fixed = prepared.network["block_id"].isin(committed).to_numpy()[made.block]  # a committed cost is what it is
    return np.asarray(np.where(fixed, 0.0, saved))


def _amounts(prepared: Prepared, scenario: Scenario, made: Alternatives) -> dict[str, Floats] | None:
    """What each alternative takes of each kind of capacity, as :func:`.limits.capacities` asks."""
    if not scenario.capacities:
        return None
    found = {kind: _need(prepared, column, made) * np.isin(made.strategy, kinds)
             for kind, (column, kinds) in _TAKES.items()}
    area = prepared.network["area_sqyd"].to_numpy(float)[made.block]
    return {**found, "reconstruction": area * (made.strategy == "reconstruction"), "rebuilt again": area,
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
    return second.paths(prepared, made.block, made.step, made.strategy, made.then_step, made.then, prepared.years)[3]


def _must(posed: Posed) -> Flags:
    """Offers that a simple rule has to take: of each block that is forced, the last that holds its forced work.

    Of a corridor that is the one of its forced blocks alone.
    """
    holds = np.asarray((posed.offers.member @ posed.must.astype(float)) > 0)
    last = np.zeros(len(holds), bool)
    rows = np.flatnonzero(holds)[::-1]
    _, at = np.unique(posed.offers.group[rows], return_index=True)
    last[rows[at]] = True
    return last


def _badness(prepared: Prepared, offers: Offers) -> Floats:
    """How far below 100 the worst untreated index among the blocks of each offer is in its year."""
    made, member = offers.alternatives, offers.member
    below = 100.0 - prepared.ageing.index[made.block, made.step]
    out = np.zeros(member.shape[0])
    np.maximum.at(out, np.repeat(np.arange(member.shape[0]), np.diff(member.indptr)), below[member.indices])
    return out
