"""Small cities, alternatives and scenarios, and checks of a program that share nothing with the code under test."""

from collections.abc import Iterable, Sequence

import numpy as np
import pandas as pd
from scipy import sparse
from scipy.sparse.csgraph import maximum_flow

from rehab.base.settings import Scenario
from rehab.steps import program
from rehab.steps.program import Alternatives, Chosen, Limits, Offers, funds
from rehab.steps.program import limits as limit_rows

START = 2027
Row = tuple[int, int, str, float, float]


def city(count: int, **columns: object) -> pd.DataFrame:
    """A network of named blocks without bans, digs and recorded work, columns laid over it."""
    frame = pd.DataFrame({
        "block_id": [f"B{number}" for number in range(count)], "utility_year": np.nan, "no_work_until": np.nan,
        "last_work_year": np.nan, "district": pd.Series(["east"] * count, dtype="str"),
        "functional_class": pd.Series(["local"] * count, dtype="str"), "area_sqyd": 100.0,
        "street": pd.Series(["Elm"] * count, dtype="str"), "corridor": pd.Series([None] * count, dtype="str")})
    return frame.assign(**columns)


def alternatives(*rows: Row) -> Alternatives:
    block, step, strategy, cost, benefit = zip(*rows, strict=True) if rows else ((), (), (), (), ())
    return program.single(np.array(block, np.int64), np.array(step, np.int64), np.array(strategy, "<U14"),
                          np.array(cost, float), np.array(benefit, float))


def pairs(*rows: tuple[int, int, str, float, float, int, str, float]) -> Alternatives:
    block, step, strategy, cost, benefit, then_step, then, then_usd = zip(*rows, strict=True)
    return Alternatives(np.array(block, np.int64), np.array(step, np.int64), np.array(strategy, "<U14"),
                        np.array(cost, float), np.array(benefit, float), np.array(then_step, np.int64),
                        np.array(then, "<U14"), np.array(then_usd, float))


def scenario(*budgets: float, **more: object) -> Scenario:
    return Scenario(start_year=START, budgets_usd=tuple(map(float, budgets)), **more)  # type: ignore[arg-type]


def apart(given: Alternatives, blocks: int, forced: Iterable[int] = ()) -> Offers:
    """Every alternative an offer of its own; the blocks of ``forced`` rows have that one alone."""
    must = np.zeros(len(given), bool)
    must[list(forced)] = True
    needed = np.zeros(blocks, bool)
    needed[given.block[must]] = True
    return program.offers(given, ~needed[given.block] | must, must, needed, np.arange(blocks), np.zeros(len(given)))


def solved(given: Alternatives, network: pd.DataFrame, asked: Scenario, forced: Iterable[int] = (),
           effort: int = 60) -> tuple[Chosen, Alternatives]:
    """The best program of blocks apart under budgets and funds, and the alternatives that its rows name."""
    made = apart(given, len(network), forced)
    must = np.isin(made.source, list(forced))
    limits = program.limits_of(made.alternatives, network, asked)
    return best(made, limits, must, network, asked, effort)[0], made.alternatives


def best(made: Offers, limits: Limits, must: np.ndarray, network: pd.DataFrame, asked: Scenario,
         effort: int = 60) -> tuple[Chosen, Limits, int]:
    """The best program that the funds can pay, the limits at the end and how many cuts it took."""
    names = network["block_id"].to_numpy()[made.alternatives.block]
    for cuts in range(20):
        chosen = program.best(made, limits, must, names, effort)
        missing = funds.missing_row(made.alternatives.only(chosen.rows), made.alternatives, network, asked)
        if missing is None:
            return chosen, limits, cuts
        limits = limit_rows.join([limits, missing])
    raise AssertionError("the cuts did not end")


def spent(given: Alternatives, rows: np.ndarray, years: int) -> np.ndarray:
    return np.bincount(given.step[rows], given.cost_usd[rows], minlength=years)


def carried(budgets: Sequence[float], spends: Sequence[float], share: float) -> bool:
    """Whether one budget pays for years of spending, year by year: what is left lapses but for a share of the budget."""
    left = 0.0
    for money, usd in zip(budgets, spends, strict=True):
        if usd > money + left:
            return False
        left = min(share * money, money + left - usd)
    return True


def paid_by_flow(bills: Sequence[tuple[int, int, frozenset[int]]], money: Sequence[Sequence[int]],
                 share: float) -> bool:
    """Whether funds can pay bills of (year, whole dollars, funds that may), by a greatest flow of whole dollars.

    ``money`` by fund and year; of each a ``share`` may be left to the next year.
    """
    count, years = len(money), len(money[0])
    for year in range(years):  # what no flow can pay, without looking for one
        if sum(usd for at, usd, _ in bills if at == year) > sum(own[year] + (own[year - 1] if year else 0) for own in money):
            return False
    source, sink = 0, 1
    place = {(fund, year): 2 + fund * years + year for fund in range(count) for year in range(years)}
    first = 2 + count * years
    graph = np.zeros((first + len(bills), first + len(bills)), np.int32)
    for (fund, year), node in place.items():
        graph[source, node] = money[fund][year]
        if year + 1 < years:
            graph[node, place[fund, year + 1]] = int(share * money[fund][year])
    for at, (year, usd, able) in enumerate(bills):
        graph[first + at, sink] = usd
        for fund in able:
            graph[place[fund, year], first + at] = usd
    return int(maximum_flow(sparse.csr_array(graph), source, sink).flow_value) == sum(usd for _, usd, _ in bills)


def able(asked: Scenario, strategy: str, class_: str, district: str) -> frozenset[int]:
    """The funds, the general budget first, that may pay a work, by their rules as they are written."""
    return frozenset([0] + [at for at, fund in enumerate(asked.funds, 1) if all(
        not given or value in given for given, value in
        ((fund.strategies, strategy), (fund.classes, class_), (fund.districts, district)))])


def bills(taken: Alternatives, network: pd.DataFrame, asked: Scenario) -> list[tuple[int, int, frozenset[int]]]:
    """What is to be paid, a second work by who pays the first."""
    found = []
    classes, districts = network["functional_class"].tolist(), network["district"].tolist()
    for at, block in enumerate(taken.block.tolist()):
        who = able(asked, str(taken.strategy[at]), classes[block], districts[block])
        found.append((int(taken.step[at]), round(float(taken.cost_usd[at])), who))
        if taken.then_step[at] >= 0:
            found.append((int(taken.then_step[at]), round(float(taken.then_usd[at])), who))
    return found


def money_of(asked: Scenario) -> list[list[int]]:
    return [[round(usd) for usd in asked.budgets_usd], *([round(usd) for usd in fund.budgets_usd]
                                                         for fund in asked.funds)]
