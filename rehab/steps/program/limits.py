"""Limits over the whole program: each a named function that makes rows, "so much of this at most".

A row holds what each alternative uses and how much there is.  A floor is a row with its signs turned: what is given up
is then at most so much.  The mathematics is in ``rehab.solvers.choice``; a row that is met exactly has a price.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from scipy import sparse

from rehab.base.limits import CAPACITIES, Fund
from rehab.base.settings import Scenario
from rehab.steps.program.alternatives import Alternatives, Flags, Floats

GENERAL: Final = "general"  #: name of the budget that may pay any work
MONEY: Final = "money"  #: kind of the rows of budgets and funds
DISTRICT: Final = "district share"  #: kind of the rows of least shares, which grow with the money too
_UNITS: Final = {"sqft": "sq ft", "sqyd": "sq yd"}
#: kinds of capacity that a second work takes -> what its amounts are called
_AGAIN: Final = {"grinding": "ground again", "reconstruction": "rebuilt again"}


@dataclass(frozen=True)
class Limits:
    """Rows of limits over alternatives.

    ``uses`` is sparse (alternatives, rows), ``most`` what there is, both in the sense "at most".  ``table`` says what
    each row is: limit (its kind), year (missing: all), detail, unit, floor (true where signs are turned).  ``gives``
    (rows, years) is by how much a row grows with a dollar more in a year, in every fund's share of the year.
    """

    uses: sparse.csc_array
    most: Floats
    table: pd.DataFrame
    gives: Floats

    def __len__(self) -> int:
        """Number of rows."""
        return len(self.most)


def join(every: Sequence[Limits]) -> Limits:
    """Several limits, one at least, as one."""
    return Limits(sparse.csc_array(sparse.hstack([part.uses for part in every])),
                  np.concatenate([part.most for part in every]),
                  pd.concat([part.table for part in every], ignore_index=True),
                  np.vstack([part.gives for part in every]))


def part(limits: Limits, rows: Flags) -> Limits:
    """Some of the rows."""
    at = np.flatnonzero(rows)
    return Limits(limits.uses[:, at], limits.most[at], limits.table.iloc[at].reset_index(drop=True), limits.gives[at])


def of(alternatives: Alternatives, network: pd.DataFrame, scenario: Scenario, amounts: dict[str, Floats] | None = None,
       index_gain: Floats | None = None, index: Floats | None = None) -> Limits:
    """Every limit of a scenario.

    ``amounts``: what each alternative takes of each kind of CAPACITIES, where capacities are asked for.
    ``index_gain`` (alternatives, years) and ``index`` (blocks, years) where targets are: by how much the alternative
    lifts its block's index, and the untreated index.
    """
    parts = [budgets(alternatives, network, scenario)]
    if scenario.capacities:
        assert amounts is not None
        parts.append(capacities(alternatives, scenario, amounts))
    if scenario.district_shares:
        parts.append(district_shares(alternatives, network, scenario))
    if scenario.targets:
        assert index_gain is not None and index is not None
        parts.append(targets(alternatives, network, scenario, index_gain, index))
    return join(parts)


def budgets(alternatives: Alternatives, network: pd.DataFrame, scenario: Scenario) -> Limits:
    """Yearly budgets and funds, with carry-over.

    Money may be parted over the funds that may pay a work.  So a program can be paid if and only if, for every set of
    funds, the works that nobody else may pay cost no more than the set holds (Gale 1957, from memory).  With carry-over
    the same holds for every run of years, to which the year before may leave its share (:mod:`.funds`
    checks the rest: a set of funds that changes within the run).
    """
    money = purse(scenario)
    able = payable(alternatives, network, scenario.funds)
    total = money.sum(axis=0)
    parts, most, about, gives = [], [], [], []
    for chosen in _fund_sets(able):
        own = _only(able, chosen)
        part = np.where(total > 0, money[list(chosen)].sum(axis=0) / np.where(total > 0, total, 1.0), 1.0)
        for first, last in _runs(len(scenario.years), scenario.carry_over):
            uses, holds, derive = run_of_years(alternatives, own, money[list(chosen)], first, last,
                                               scenario.carry_over)
            parts.append(uses)
            most.append(holds)
            gives.append(derive * part)
            about.append((MONEY, scenario.start_year + last, _money_words(scenario, chosen, first, last), "usd", False))
    return _rows(parts, most, about, len(alternatives), len(scenario.years), gives)


def run_of_years(alternatives: Alternatives, own: Flags, money: Floats, first: int, last: int,
                 carry: float) -> tuple[Floats, float, Floats]:
    """What ``own`` alternatives cost from one year to another, what the money (funds, years) holds, and its slopes."""
    uses = np.where(own & (alternatives.step >= first) & (alternatives.step <= last), alternatives.cost_usd, 0.0)
    again = own & (alternatives.then_step >= first) & (alternatives.then_step <= last)
    uses = uses + np.where(again, alternatives.then_usd, 0.0)
    share = np.zeros(money.shape[1])
    share[first:last + 1] = 1.0
    if first > 0:
        share[first - 1] = carry
    return uses, float(share @ money.sum(axis=0)), share


def capacities(alternatives: Alternatives, scenario: Scenario, amounts: dict[str, Floats]) -> Limits:
    """The most of a kind of work that crews or contracts can do in a year.

    ``amounts``: what each alternative's first work takes of each kind; under "ground again" and "rebuilt again" what a
    second work of grinding and of reconstruction would.
    """
    parts, most, about = [], [], []
    for item in scenario.capacities:
        for year in scenario.years if item.year is None else (item.year,):
            step = year - scenario.start_year
            uses = np.where(alternatives.step == step, amounts[item.kind], 0.0)
            if item.kind in _AGAIN:
                uses = uses + np.where((alternatives.then_step == step) & (alternatives.then == item.kind),
                                       amounts[_AGAIN[item.kind]], 0.0)
            parts.append(uses)
            most.append(float(item.most))
            about.append(("capacity", year, f"{item.kind.replace('_', ' ')}", CAPACITIES[item.kind], False))
    return _rows(parts, most, about, len(alternatives), len(scenario.years))


def district_shares(alternatives: Alternatives, network: pd.DataFrame, scenario: Scenario) -> Limits:
    """At least a share of all the program's money goes to a district (a floor)."""
    district = network["district"].astype("str").to_numpy()[alternatives.block]
    total = float(sum(scenario.money_usd))
    whole = alternatives.cost_usd + alternatives.then_usd
    parts, most, about, gives = [], [], [], []
    for item in scenario.district_shares:
        parts.append(-np.where(district == item.district, whole, 0.0))
        most.append(-item.share * total)
        about.append((DISTRICT, None, f"district {item.district}", "usd", True))
        gives.append(np.full(len(scenario.years), -item.share))  # a dollar more is a share of it more to be spent there
    return _rows(parts, most, about, len(alternatives), len(scenario.years), gives)


def targets(alternatives: Alternatives, network: pd.DataFrame, scenario: Scenario, index_gain: Floats,
            index: Floats) -> Limits:
    """The mean index by area is at least so much after the work of each year of a target (floors)."""
    area = network["area_sqyd"].to_numpy(float)
    weight = area / area.sum() if len(area) else area
    parts, most, about = [], [], []
    for item in scenario.targets:
        for year in range(item.first, item.last + 1):
            step = year - scenario.start_year
            parts.append(-weight[alternatives.block] * index_gain[:, step])
            most.append(float(weight @ index[:, step]) - item.least)
            about.append(("target", year, f"mean index at least {item.least:g}", "points", True))
    return _rows(parts, most, about, len(alternatives), len(scenario.years))


def most_in_a_year(scenario: Scenario) -> Floats:
    """The most that each year may spend: its own money and what may be carried into it."""
    money = np.array(scenario.money_usd)
    return money + scenario.carry_over * np.concatenate([[0.0], money[:-1]])


def words(limits: Limits, at: int) -> str:
    """A limit in words: what, year, how much."""
    row = limits.table.iloc[at]
    when = "" if not isinstance(year_of(limits, at), int) else f" in {year_of(limits, at)}"
    most = float(limits.most[at])
    if row["limit"] == "target":
        return f"{row['detail']}{when}"
    sense = "at least" if row["floor"] else "at most"
    return f"{row['limit']}, {row['detail']}{when}: {sense} {amount(-most if row['floor'] else most, row['unit'])}"


def amount(value: float, unit: object) -> str:
    """So much of what a row counts, with its unit in words."""
    value = value + 0.0  # no zero with a sign
    if unit == "usd":
        return f"${value:,.0f}"
    return f"{value:.2f} points" if unit == "points" else f"{value:,.0f} {_UNITS.get(str(unit), unit)}"


def year_of(limits: Limits, at: int) -> int | None:
    """The year of a row, if it has one."""
    year = limits.table["year"].iloc[at]
    return None if pd.isna(year) else int(year)


def _rows(parts: Sequence[Floats], most: Sequence[float], about: Sequence[tuple[str, int | None, str, str, bool]],
          alternatives: int, years: int, gives: Sequence[Floats] | None = None) -> Limits:
    uses = sparse.csc_array(np.column_stack(parts)) if parts else sparse.csc_array((alternatives, 0))
    table = pd.DataFrame(list(about), columns=["limit", "year", "detail", "unit", "floor"]).astype(
        {"limit": "str", "year": "Int64", "detail": "str", "unit": "str", "floor": "bool"})
    derive = np.zeros((len(parts), years)) if gives is None else np.array(gives).reshape(len(parts), years)
    return Limits(uses, np.array(most, float), table, derive)


def purse(scenario: Scenario) -> Floats:
    """Dollars by fund and year, the general budget first."""
    return np.array([scenario.budgets_usd, *(fund.budgets_usd for fund in scenario.funds)], float)


def payable(alternatives: Alternatives, network: pd.DataFrame, funds: Sequence[Fund]) -> Flags:
    """Whether each fund may pay an alternative, (alternatives, funds); the general budget may pay all.

    A second work is paid as the first is: by the block's class and district and the strategy of the first work.
    """
    out = np.ones((len(alternatives), 1 + len(funds)), bool)
    for at, fund in enumerate(funds, 1):
        for given, values in ((fund.strategies, alternatives.strategy),
                              (fund.classes, network["functional_class"].astype("str").to_numpy()[alternatives.block]),
                              (fund.districts, network["district"].astype("str").to_numpy()[alternatives.block])):
            if given:
                out[:, at] &= np.isin(values, given)
    return out


def _fund_sets(payable: Flags) -> list[tuple[int, ...]]:
    """The sets of funds that can bind: unions of sets that may pay some alternative."""
    if payable.shape[1] == 1:
        return [(0,)]
    kinds = {frozenset(np.flatnonzero(row).tolist()) for row in np.unique(payable, axis=0)} or {frozenset((0,))}
    unions: set[frozenset[int]] = set()
    for kind in kinds:  # one after the other: never more than there are sets of funds
        unions |= {kind} | {kind | other for other in unions}
    return sorted((tuple(sorted(one)) for one in unions), key=lambda one: (len(one), one))


def _only(payable: Flags, chosen: tuple[int, ...]) -> Flags:
    """Alternatives that no fund outside the set may pay."""
    others = np.setdiff1d(np.arange(payable.shape[1]), chosen)
    return np.asarray(~payable[:, others].any(axis=1))


def _runs(years: int, carry: float) -> list[tuple[int, int]]:
    """First and last year of every run that can bind; without carry-over each year by itself."""
    if carry == 0:
        return [(year, year) for year in range(years)]
    return [(first, last) for first in range(years) for last in range(first, years)]


def _money_words(scenario: Scenario, chosen: tuple[int, ...], first: int, last: int) -> str:
    names = [GENERAL, *(fund.name for fund in scenario.funds)]
    own = "budget" if not scenario.funds else f"funds {', '.join(names[at] for at in chosen)}"
    span = "" if first == last else f", {scenario.start_year + first} to {scenario.start_year + last} together"
    carried = f", with {100 * scenario.carry_over:g} % of {scenario.start_year + first - 1}" \
        if first and scenario.carry_over else ""
    return own + span + carried
