"""Which fund pays which block: money parted so that every work is paid, restricted funds first."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from scipy import optimize, sparse

from rehab.base.settings import Scenario
from rehab.steps.program.alternatives import Alternatives, Flags, Floats, Ints
from rehab.steps.program.limits import GENERAL, MONEY, Limits, payable, purse


def pay(taken: Alternatives, network: pd.DataFrame, scenario: Scenario) -> pd.DataFrame:
    """What each fund pays of each work: block_id, year, fund, usd; sorted by block, year and fund.

    Empty if the works cannot be paid, which the rows of the budgets rule out but for the rare case that
    :func:`missing_row` tells of.
    """
    bills = _bills(taken, network, scenario)
    funds = [GENERAL, *(fund.name for fund in scenario.funds)]
    found = _flow(bills, scenario)
    rows: list[tuple[str, int, str, float]] = []
    if found is None or found[1] > _slack(bills):
        return _table(rows)
    for (kind, step), shares in found[0].items():
        mine = np.flatnonzero((bills.kind == kind) & (bills.step == step))
        paid = float(shares.sum())
        ends = np.cumsum(shares * (float(bills.usd[mine].sum()) / paid if paid > 0 else 1.0))  # rid of rounding
        at = np.cumsum(bills.usd[mine])
        for row, begin, end in zip(mine, at - bills.usd[mine], at, strict=True):
            for fund, (low, high) in enumerate(zip(ends - shares, ends, strict=True)):
                part = min(end, high) - max(begin, low) if bills.usd[row] > 0 else 0.0
                if part > 0.005 or (bills.usd[row] == 0 and fund == 0):
                    rows.append((str(network["block_id"].iloc[bills.block[row]]),
                                 scenario.start_year + int(step), funds[fund], float(part)))
    return _table(rows)


def missing_row(taken: Alternatives, every: Alternatives, network: pd.DataFrame, scenario: Scenario) -> Limits | None:
    """A limit that these works break though they keep those of :func:`.limits.budgets`; None if they can be paid.

    Only funds with carry-over need one: a set of funds that changes from year to year within a run.  It is the least
    cut of the flow of money from funds to works.
    """
    if not scenario.funds or scenario.carry_over == 0:
        return None
    bills = _bills(taken, network, scenario)
    found = _flow(bills, scenario)
    if found is None or found[1] <= _slack(bills):
        return None
    inside = found[2]
    money = purse(scenario)
    carried = np.zeros(inside.shape, bool)
    carried[:, 1:] = inside[:, 1:] & ~inside[:, :-1]  # funds that the set takes in anew bring what is left to them
    share = np.zeros(money.shape)
    share[inside] = 1.0
    share[:, :-1] += np.where(carried[:, 1:], scenario.carry_over, 0.0)
    covered = _covered(payable(every, network, scenario.funds), inside)
    uses = np.where(covered[np.arange(len(every)), every.step], every.cost_usd, 0.0)
    again = np.maximum(every.then_step, 0)
    uses += np.where((every.then_step >= 0) & covered[np.arange(len(every)), again], every.then_usd, 0.0)
    year = scenario.start_year + int(np.flatnonzero(inside.any(axis=0)).max())
    table = pd.DataFrame({"limit": [MONEY], "year": pd.array([year], dtype="Int64"),
                          "detail": [_in_words(inside, scenario)], "unit": ["usd"], "floor": [False]}).astype(
        {"limit": "str", "detail": "str", "unit": "str"})
    slopes = (share * money).sum(axis=0) / np.maximum(money.sum(axis=0), 1e-9)
    return Limits(sparse.csc_array(uses[:, None]), np.array([float((share * money).sum())]), table, slopes[None, :])


def _in_words(inside: Flags, scenario: Scenario) -> str:
    """A set of funds that changes from year to year: each fund with its years."""
    said = []
    for name, own in zip([GENERAL, *(fund.name for fund in scenario.funds)], inside, strict=True):
        if own.any():
            first, last = (scenario.start_year + int(np.flatnonzero(own)[end]) for end in (0, -1))
            said.append(f"{name} {first}" + (f" to {last}" if last > first else ""))
    return f"funds together: {', '.join(said)}"


class _Bills(NamedTuple):
    """What is to be paid: block, step, dollars and kind of payer (a row of ``kinds``) of each work."""

    block: Ints
    step: Ints
    usd: Floats
    kind: Ints
    kinds: Flags


def _bills(taken: Alternatives, network: pd.DataFrame, scenario: Scenario) -> _Bills:
    kinds, kind = np.unique(payable(taken, network, scenario.funds), axis=0, return_inverse=True)
    kind = kind.ravel()
    again = np.flatnonzero(taken.then_step >= 0)
    return _Bills(np.concatenate([taken.block, taken.block[again]]),
                  np.concatenate([taken.step, taken.then_step[again]]),
                  np.concatenate([taken.cost_usd, taken.then_usd[again]]), np.concatenate([kind, kind[again]]), kinds)


def _slack(bills: _Bills) -> float:
    return 1e-6 * float(bills.usd.sum()) + 0.01


def _flow(bills: _Bills, scenario: Scenario) -> tuple[dict[tuple[int, int], Floats], float, Flags] | None:
    """Dollars by fund for each kind and year, what is left unpaid, and the funds and years of the least cut."""
    money = purse(scenario)
    funds, years = money.shape
    demand = {(int(k), int(t)): float(bills.usd[(bills.kind == k) & (bills.step == t)].sum())
              for k, t in {(int(k), int(t)) for k, t in zip(bills.kind, bills.step, strict=True)}}
    keys = sorted(demand)
    arcs = [(at, fund) for at, (kind, _) in enumerate(keys) for fund in range(funds) if bills.kinds[kind, fund]]
    pays, carry = len(arcs), funds * (years - 1)
    if not pays:
        return {}, 0.0, np.zeros(money.shape, bool)
    rows, columns, values = [], [], []
    for number, (at, fund) in enumerate(arcs):
        rows += [at, len(keys) + fund * years + keys[at][1]]
        columns += [number, number]
        values += [1.0, 1.0]
    for fund in range(funds):
        for year in range(years - 1):
            number = pays + fund * (years - 1) + year
            rows += [len(keys) + fund * years + year, len(keys) + fund * years + year + 1]
            columns += [number, number]
            values += [1.0, -1.0]
    shape = (len(keys) + funds * years, pays + carry)
    matrix = sparse.csr_array((values, (rows, columns)), shape=shape)
    limit = np.concatenate([[demand[key] for key in keys], money.ravel()])
    # every dollar paid counts one, a little more from a restricted fund and a little less if carried over
    worth = np.array([1.0 + 1e-6 * (fund > 0) for _, fund in arcs] + [-1e-7] * carry)
    most = [np.inf] * pays + (scenario.carry_over * money[:, :-1]).ravel().tolist()
    unit = max(float(limit.max()), 1.0)
    given: dict[str, Any] = {"A_ub": matrix, "b_ub": limit / unit, "bounds": [(0, top / unit) for top in most]}
    answer: Any = optimize.linprog(-worth, method="highs", **given)
    if answer.status != 0:
        return None
    shares = {key: np.zeros(funds) for key in keys}
    for number, (at, fund) in enumerate(arcs):
        shares[keys[at]][fund] += answer.x[number] * unit
    unpaid = sum(demand.values()) - sum(float(part.sum()) for part in shares.values())
    cut = -np.asarray(answer.ineqlin.marginals)[len(keys):].reshape(funds, years) > 0.5
    return shares, unpaid, cut


def _covered(able: Flags, inside: Flags) -> Flags:
    """Per alternative and year: whether every fund that may pay it is in the set of that year."""
    return np.asarray(~(able[:, :, None] & ~inside[None, :, :]).any(axis=1))


def _table(rows: list[tuple[str, int, str, float]]) -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=["block_id", "year", "fund", "usd"]).astype(
        {"block_id": "str", "year": "int64", "fund": "str", "usd": "float64"})
    return table.sort_values(["block_id", "year", "fund"], ignore_index=True)
