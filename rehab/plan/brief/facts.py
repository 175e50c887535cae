"""What the pages are written from, worked out once: the blocks, the works of the program, and what is left undone."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.tables import STRATEGIES, WORK
from rehab.plan import reasons, results, waiting
from rehab.plan.brief.say import NO_DISTRICT, about
from rehab.plan.model import Plan, Prepared
from rehab.steps import estimate, takeoff
from rehab.steps.season import Season

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: how many years the list of the next years holds
NEXT_YEARS: Final = 5
KINDS: Final = (*WORK, "grinding")
_NONE: Final = STRATEGIES.index("none")
REBUILD: Final = STRATEGIES.index("reconstruction")


@dataclass(frozen=True)
class Facts:
    """A plan and what is given beside it; every table below has one row per block in the order of the network."""

    plan: Plan
    city: str
    made: date
    others: Mapping[str, Plan] = field(default_factory=dict)
    chances: pd.DataFrame | None = None
    last_year: pd.DataFrame | None = None
    season: Season | None = None

    @property
    def prepared(self) -> Prepared:
        """What no budget changes."""
        return self.plan.prepared

    @property
    def start(self) -> int:
        """The first year."""
        return self.prepared.start_year

    @property
    def years(self) -> range:
        """All years of the program."""
        return range(self.start, self.start + self.prepared.years)

    @property
    def next_years(self) -> range:
        """The years of the list of the next years."""
        return self.years[:NEXT_YEARS]

    @cached_property
    def blocks(self) -> pd.DataFrame:
        """The blocks: overview, what of the network the pages tell, and ``due``, the rules' strategy in the first year.

        ``sound``, ``partial``, ``full`` and ``points`` are the condition at the start of the first year without work.
        """
        found, network, ageing = self.plan.overview, self.prepared.network, self.prepared.ageing
        assert (found["block_id"].to_numpy() == network["block_id"].to_numpy()).all()
        rule = self.prepared.by_rule
        return found.assign(
            district=found["district"].fillna(NO_DISTRICT).astype("str"),
            **{name: network[name].to_numpy() for name in (
                "length_ft", "panels", "condition_source", "survey_year", "surveyed_on", "last_work_year",
                "utility_year", "no_work_until", "corridor")},
            due=np.array(STRATEGIES)[rule[:, 0]], sound=ageing.sound[:, 0], partial=ageing.partial[:, 0],
            full=ageing.full[:, 0], points=ageing.index[:, 0])

    @cached_property
    def districts(self) -> list[str]:
        """The districts in the order of their names, blocks without one last; none where no block has any."""
        names = sorted(set(self.blocks["district"]))
        if names == [NO_DISTRICT]:
            return []
        return [name for name in names if name != NO_DISTRICT] + [name for name in names if name == NO_DISTRICT]

    @cached_property
    def works(self) -> pd.DataFrame:
        """Every work of the program, second works too.

        Columns block_id, district, year, work (a strategy, or 'grinding' again), cost_usd, again; by year and block.
        """
        program = self.plan.program
        first = program.assign(work=program["strategy"], again=False)
        then = program[program["then_year"].notna()]
        second = then.assign(year=then["then_year"].astype("int64"), work=then["then_work"], again=True,
                             cost_usd=then["then_usd"])
        names = ["block_id", "year", "work", "cost_usd", "again"]
        parts = [part[names] for part in (first, second) if len(part)]
        table = pd.concat(parts, ignore_index=True) if parts else first[names]
        where = self.blocks.set_index("block_id")["district"]
        table.insert(1, "district", where.reindex(table["block_id"]).to_numpy())
        return table.sort_values(["year", "block_id"], ignore_index=True)

    @cached_property
    def backlog(self) -> pd.DataFrame:
        """What is left undone year by year: :func:`backlog`."""
        return backlog(self.plan)

    @cached_property
    def places(self) -> pd.DataFrame:
        """The table ``places``: the place of every block and what came nearest to it."""
        return reasons.of_blocks(self.plan)

    @cached_property
    def waiting(self) -> pd.DataFrame:
        """The table ``waiting``: what the work that the rules call for costs when it is done later."""
        return waiting.by_block(self.prepared)

    @cached_property
    def ends(self) -> pd.DataFrame:
        """Every work of ``works`` with low_usd and high_usd: all prices and amounts at their low or high ends at once.

        Second works and committed costs have no range: both ends are the planned cost.
        """
        prepared, works = self.prepared, self.works
        table = works.assign(low_usd=works["cost_usd"], high_usd=works["cost_usd"])
        committed = {lock.block_id for lock in self.plan.scenario.forced if lock.cost_usd is not None}
        at = np.flatnonzero(~works["again"].to_numpy(bool) & ~works["block_id"].isin(committed).to_numpy())
        if len(at):
            rows = works.iloc[at][["block_id", "year", "work"]].set_axis(
                ["block_id", "year", "strategy"], axis=1).reset_index(drop=True)
            detail = results.rows_of(prepared.network, rows["block_id"])["condition_source"].to_numpy()
            usd = estimate.price(results.quantities(prepared, rows), rows["year"], prepared.assumptions, detail)
            for name in ("low_usd", "high_usd"):
                values = table[name].to_numpy(float).copy()
                values[at] = usd[name].to_numpy(float)
                table[name] = values
        return table

    @cached_property
    def needed(self) -> dict[str, float]:
        """What the rules call for at the start of the first year: low, likely and high cost of it all."""
        prepared, rule = self.prepared, self.prepared.by_rule[:, 0]
        first = prepared.needs_by_year.iloc[::prepared.years].reset_index(drop=True)
        total = {"low": 0.0, "likely": 0.0, "high": 0.0}
        for code, name in enumerate(STRATEGIES):
            at = rule == code
            if name == "none" or not at.any():
                continue
            city, need = prepared.network[at], first[at]
            usd = estimate.price(takeoff.measure(city, need, name, prepared.assumptions), need["year"],
                                 prepared.assumptions, city["condition_source"].to_numpy())
            for end in total:
                total[end] += float(usd[f"{end}_usd"].sum())
        return total

    @cached_property
    def kinds(self) -> list[str]:
        """The kinds of work that the program holds, from light to heavy."""
        held = set(self.works["work"])
        return [name for name in KINDS if name in held]

    def cost_range(self, years: range, district: str | None = None) -> str:
        """The range of the planned cost of some years in words, or an empty text where no work is planned."""
        table = self.ends[self.ends["year"].isin(years)]
        mine = table if district is None else table[table["district"] == district]
        return between(float(mine["low_usd"].sum()), float(mine["high_usd"].sum())) if len(mine) else ""

    @cached_property
    def sums(self) -> dict[str | None, pd.DataFrame]:
        """Dollars by year and kind of work of each district, and of the city under None."""
        works, names = self.works, self.districts
        usd = works["cost_usd"].to_numpy(float)
        year = works["year"].to_numpy(np.int64) - self.start
        kind = pd.Index(KINDS).get_indexer(pd.Index(works["work"]))
        city = np.zeros((len(self.years), len(KINDS)))
        np.add.at(city, (year, kind), usd)
        parts = np.zeros((len(names), *city.shape))
        if names:
            np.add.at(parts, (pd.Index(names).get_indexer(pd.Index(works["district"])), year, kind), usd)
        return {name: pd.DataFrame(table, index=list(self.years), columns=list(KINDS))
                for name, table in zip([None, *names], [city, *parts], strict=True)}

    def money(self, years: range, district: str | None = None) -> pd.DataFrame:
        """Dollars by kind of work (columns of KINDS) and year, of the city or one district; a row for every year."""
        return self.sums[district].loc[list(years)]

    def money_of(self, year: int, district: str | None = None) -> pd.Series:
        """Dollars by kind of work in one year, of the city or one district."""
        return self.money(range(year, year + 1), district).iloc[0]


def each_row(table: pd.DataFrame) -> Iterator[Any]:
    """The rows of a table, each with a field for a column."""
    return iter(table.itertuples(index=False))


def between(low: float, high: float) -> str:
    """A range of dollars at the end of a figure's words."""
    return f"; {about(low)} to {about(high)}"


def step_of(plan: Plan) -> Ints:
    """The step of each block's first work, (blocks); as many as there are years where it gets none."""
    years = plan.prepared.years
    step = pd.Series(plan.program["year"].to_numpy(np.int64) - plan.prepared.start_year,
                     index=plan.program["block_id"].to_numpy())
    return step.reindex(plan.prepared.network["block_id"]).fillna(years).to_numpy(np.int64)


def backlog(plan: Plan) -> pd.DataFrame:
    """What the rules call for and the program has not done: columns year, backlog_usd, blocks.

    Counted in each year are the blocks without any work up to and including it whose rule calls for work at the
    condition of that year, at the likely cost of that work in dollars of the year.  A block that was worked on counts
    no more, though it wears again.  Without a program it is the need of the table ``by_year``.
    """
    prepared = plan.prepared
    rule, years = prepared.by_rule, prepared.years
    due = np.stack([np.zeros(rule.shape), *(prepared.costs[name] for name in WORK)])
    usd = np.take_along_axis(due, rule[np.newaxis], axis=0)[0]
    left = (step_of(plan)[:, None] > np.arange(years)) & (rule != _NONE)
    return pd.DataFrame({"year": np.arange(prepared.start_year, prepared.start_year + years),
                         "backlog_usd": np.where(left, usd, 0.0).sum(axis=0), "blocks": left.sum(axis=0)})


def rebuilt_for_want_of_repair(plan: Plan) -> Ints:
    """Rows of blocks that a repair in the first year would have saved from reconstruction.

    By the rules they need partial- or full-depth repair in the first year; the program reconstructs them, or it does
    not work on them at all and by the last year the rules call for reconstruction.
    """
    prepared = plan.prepared
    repair = (prepared.by_rule[:, 0] != _NONE) & (prepared.by_rule[:, 0] != REBUILD)
    rebuilt = prepared.network["block_id"].isin(
        plan.program.loc[plan.program["strategy"] == "reconstruction", "block_id"]).to_numpy()
    lost = (step_of(plan) >= prepared.years) & (prepared.by_rule[:, -1] == REBUILD)
    return np.flatnonzero(repair & (rebuilt | lost))


def hindered(plan: Plan) -> str:
    """What keeps a plan from doing any work at all, in words; empty where nothing does."""
    if plan.scenario.choice == "no work":
        return "this scenario does no work"
    if plan.chosen.failed:
        return "no program keeps all the limits asked for"
    return "there is no money for work" if sum(plan.scenario.money_usd) <= 0 else ""
