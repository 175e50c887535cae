"""What a plan is made with: the engineer's scenario and the city's assumptions, both frozen and fingerprinted."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import MISSING, asdict, dataclass, field, fields, replace
from functools import cached_property
from typing import Any, Final, Literal

import pandas as pd

from rehab.base.errors import BadAssumption
from rehab.base.limits import (
    BENEFITS,
    CORRIDORS,
    Benefit,
    Capacity,
    Closed,
    Corridors,
    DistrictShare,
    Fund,
    Target,
    money_by_year,
)
from rehab.base.tables import STRATEGIES

Choice = Literal["best", "worst first", "benefit-cost ratio", "incremental benefit-cost", "no work"]
Strategies = Literal["by rule", "adequate"]
CHOICES: Final[tuple[Choice, ...]] = ("best", "worst first", "benefit-cost ratio", "incremental benefit-cost",
                                      "no work")
#: what a program may do to a block in a year: what the rules decide then, or all that they find adequate
STRATEGIES_OPEN: Final[tuple[Strategies, ...]] = ("by rule", "adequate")

#: the days of the season's work week, as the city writes them
WEEKDAYS: Final = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")

#: assumption tables, each a file ``data/assumptions/NAME.csv``
ASSUMPTION_TABLES: Final = (
    "defaults", "rating_to_shares", "distresses", "decision_rules", "companions", "curb_ramps", "layout_rules",
    "dowels", "survival", "treatment_lives", "ride", "uncertainty", "pay_items", "markups", "economics", "cost_index",
    "bid_rules", "curing", "season", "crews", "materials", "equipment", "safety")


@dataclass(frozen=True)
class Override:
    """The engineer sets a block's strategy by hand; the reason is kept with it."""

    block_id: str
    strategy: str
    reason: str


@dataclass(frozen=True)
class Forced:
    """A block that must be worked on in a year; without a strategy, the best one open to the program is taken.

    A project that is already committed brings its strategy and may bring its cost in dollars of the year.
    """

    block_id: str
    year: int
    strategy: str | None = None
    cost_usd: float | None = None


@dataclass(frozen=True)
class Scenario:
    """One question put to the plan.

    ``budgets_usd`` holds one budget a year that may pay any work, in dollars of that year, from ``start_year`` on;
    ``funds`` are money beside it.  ``works`` is the most works on one block, ``carry_over`` the share of a year's
    budget that may be left to the next, ``corridors`` whether blocks of one corridor are done together, ``cleared_by``
    the year by which every block that the rules send to full depth or reconstruction has had its work.
    """

    name: str = "current budget"
    start_year: int = 2027
    budgets_usd: tuple[float, ...] = (4_000_000.0,) * 10
    choice: Choice = "best"
    overrides: tuple[Override, ...] = field(default=())
    forced: tuple[Forced, ...] = field(default=())
    kept_out: tuple[str, ...] = field(default=())
    strategies: Strategies = "by rule"
    benefit: Benefit = "sound pavement"
    works: int = 1
    carry_over: float = 0.0
    corridors: Corridors = "apart"
    cleared_by: int | None = None
    funds: tuple[Fund, ...] = field(default=())
    capacities: tuple[Capacity, ...] = field(default=())
    district_shares: tuple[DistrictShare, ...] = field(default=())
    closed: tuple[Closed, ...] = field(default=())
    targets: tuple[Target, ...] = field(default=())

    def __post_init__(self) -> None:
        """Refuse what no plan can be made with."""
        if not 1 <= len(self.budgets_usd) <= 50:
            raise ValueError("a program has 1 to 50 years")
        money_by_year("the yearly budget", dict(zip(self.years, self.budgets_usd, strict=True)), self.years)
        self._check_limits()
        if not 1900 <= self.start_year <= 2150:
            raise ValueError(f"the first year {self.start_year} is not between 1900 and 2150")
        for given, known in ((self.choice, CHOICES), (self.strategies, STRATEGIES_OPEN), (self.benefit, BENEFITS),
                             (self.corridors, CORRIDORS)):
            if given not in known:
                raise ValueError(f"'{given}' is not one of {', '.join(known)}")
        named = [(item.block_id, item.strategy) for item in self.overrides]
        named += [(lock.block_id, lock.strategy) for lock in self.forced if lock.strategy]
        for block_id, strategy in named:
            if strategy not in STRATEGIES:
                raise ValueError(f"block {block_id}: '{strategy}' is not one of {', '.join(STRATEGIES)}")
        for item in self.overrides:
            if not item.reason.strip():
                raise ValueError(f"block {item.block_id}: an override needs a reason")
        self._check_locks()

    def _check_limits(self) -> None:
        if self.works not in (1, 2):
            raise ValueError(f"{self.works!r} works on a block: 1 or 2 can be planned")
        if not 0 <= self.carry_over <= 1:
            raise ValueError(f"the share {self.carry_over!r} of a budget to carry over is not between 0 and 1")
        for fund in self.funds:
            if len(fund.budgets_usd) != len(self.budgets_usd):
                raise ValueError(f"fund '{fund.name}' has {len(fund.budgets_usd)} years, the program "
                                 f"{len(self.budgets_usd)}: give one figure for each year, 0 for no money")
        for kind, names in (("fund", [item.name for item in self.funds]),
                            ("share of district", [item.district for item in self.district_shares])):
            twice = {name for name in names if names.count(name) > 1}
            if twice:
                raise ValueError(f"the {kind} '{min(twice)}' is given twice")
        total = sum(item.share for item in self.district_shares)
        if total > 1 + 1e-9:
            raise ValueError(f"the least shares of the districts add up to {100 * total:.4g} %: 100 % is the most")
        asked = [("closed year", item.year) for item in self.closed] + [
            ("capacity", item.year) for item in self.capacities if item.year is not None] + [
            ("target", year) for item in self.targets for year in (item.first, item.last)]
        asked += [("backlog", self.cleared_by)] if self.cleared_by is not None else []
        for what, year in asked:
            if year not in self.years:
                raise ValueError(f"{what}: {year} is not a year of the program")

    def _check_locks(self) -> None:
        """Contradictory locks, with the blocks and what to take back."""
        clash = {item.block_id for item in self.forced} & set(self.kept_out)
        if clash:
            raise ValueError(f"forced into a year and kept out at once: {', '.join(sorted(clash))}; take one back")
        closed = {(item.block_id, item.year) for item in self.closed}
        for lock in self.forced:
            if lock.year not in self.years:
                raise ValueError(f"block {lock.block_id}: {lock.year} is not a year of the program")
            if (lock.block_id, lock.year) in closed:
                raise ValueError(f"block {lock.block_id} is forced into {lock.year}, and {lock.year} is closed to it; "
                                 "take one back")
            if lock.cost_usd is not None and not 0 <= lock.cost_usd < float("inf"):
                raise ValueError(f"block {lock.block_id}: a cost of {lock.cost_usd!r} is not zero or more dollars")
            if lock.cost_usd is not None and lock.strategy is None:
                raise ValueError(f"block {lock.block_id}: a committed cost needs its strategy")
        forced = [item.block_id for item in self.forced]
        twice = sorted({name for name in forced if forced.count(name) > 1})
        if twice:
            years = ", ".join(str(item.year) for item in self.forced if item.block_id == twice[0])
            raise ValueError(f"block {twice[0]} is forced into two years ({years}); one structural strategy per block "
                             "is planned, so take one back")

    @property
    def years(self) -> range:
        """The years of the program."""
        return range(self.start_year, self.start_year + len(self.budgets_usd))

    @property
    def money_usd(self) -> tuple[float, ...]:
        """All the money of each year: the budget and the funds beside it."""
        return tuple(map(sum, zip(self.budgets_usd, *(fund.budgets_usd for fund in self.funds), strict=True)))

    def times(self, factor: float) -> Scenario:
        """The same scenario with so many times the money, from every fund."""
        return replace(self, budgets_usd=tuple(factor * usd for usd in self.budgets_usd), funds=tuple(
            replace(fund, budgets_usd=tuple(factor * usd for usd in fund.budgets_usd)) for fund in self.funds))

    def with_budget(self, usd_per_year: float, years: int | None = None) -> Scenario:
        """The same scenario with one budget for every year; funds beside it stay only if the years do."""
        count = len(self.budgets_usd) if years is None else years
        return replace(self, budgets_usd=(float(usd_per_year),) * count,
                       funds=self.funds if count == len(self.budgets_usd) else ())

    def fingerprint(self) -> str:
        """Twelve hexadecimal digits that change when anything in the scenario changes."""
        return _digest(json.dumps(asdict(self), sort_keys=True))

    def as_mapping(self) -> dict[str, Any]:
        """Plain lists, numbers and texts, for a file or a database; :meth:`from_mapping` reads it back."""
        return json.loads(json.dumps(asdict(self)))  # type: ignore[no-any-return]

    @classmethod
    def from_mapping(cls, mapping: Mapping[str, Any]) -> Scenario:
        """A scenario from the content of a TOML or JSON file.

        ``budget_usd`` with ``years`` may stand for ``budgets_usd``; beside that ``years`` has to agree.  Raises
        :class:`ValueError` with the name of what is unknown or wrong.
        """
        given = dict(mapping)
        if {"budget_usd", "budgets_usd"} <= set(given):
            raise ValueError("budget_usd and budgets_usd are two ways to say one thing: give one of them")
        asked = given.pop("years", None)
        if "budget_usd" in given or (asked is not None and "budgets_usd" not in given):
            count = len(cls.budgets_usd) if asked is None else int(asked)
            given["budgets_usd"] = [given.pop("budget_usd", cls.budgets_usd[0])] * count
        unknown = set(given) - {item.name for item in fields(cls)}
        if unknown:
            raise ValueError(f"unknown in a scenario: {', '.join(sorted(unknown))}")
        try:
            if "budgets_usd" in given:
                table = isinstance(given["budgets_usd"], Mapping)
                if table and given["budgets_usd"]:
                    given.setdefault("start_year", min(int(str(year)) for year in given["budgets_usd"]))
                given["budgets_usd"] = money_by_year("the yearly budget", given["budgets_usd"], None)
                if asked is not None and int(asked) != len(given["budgets_usd"]):
                    raise ValueError(f"budgets_usd has {len(given['budgets_usd'])} years, but years is {asked}")
            first = int(given.get("start_year", cls.start_year))
            years = range(first, first + len(given.get("budgets_usd", cls.budgets_usd)))
            for name, kind in _ROWS.items():
                given[name] = tuple(_row(name, kind, row, years) for row in given.get(name, ()))
            given["kept_out"] = tuple(str(block) for block in given.get("kept_out", ()))
            return cls(**given)
        except TypeError as error:
            raise ValueError(f"a row of the scenario cannot be read: {error}") from error


#: fields of a scenario that hold rows
_ROWS: Final[dict[str, Any]] = {
    "overrides": Override, "forced": Forced, "funds": Fund, "capacities": Capacity, "district_shares": DistrictShare,
    "closed": Closed, "targets": Target}


def _row(name: str, kind: Any, row: Mapping[str, Any], years: range) -> Any:
    """One row of a scenario from the content of a file."""
    named = {item.name: item.default is MISSING and item.default_factory is MISSING for item in fields(kind)}
    lacking = [key for key, required in named.items() if required and key not in row]
    unknown = [str(key) for key in row if key not in named]
    if lacking or unknown:
        told = {"lacks": lacking, "has no use for": unknown}
        said = [f"{words} {', '.join(keys)}" for words, keys in told.items() if keys]
        held = ", ".join(f"{key} = {value}" for key, value in list(row.items())[:3])
        raise ValueError(f"the row of {name} with {held or 'nothing'} {' and '.join(said)}")
    given = {name: tuple(value) if isinstance(value, list) else value for name, value in row.items()}
    if kind is Fund and "budgets_usd" in given:
        given["budgets_usd"] = money_by_year(f"fund '{given.get('name')}'", given["budgets_usd"], years)
    return kind(**given)


@dataclass(frozen=True)
class Assumptions:
    """The assumption tables by name, each indexed by its ``key``, the city's own rows already laid over the defaults.

    The column ``origin`` says 'default' or 'city'.  Treat the tables as read-only.
    """

    tables: Mapping[str, pd.DataFrame]
    sources: pd.DataFrame
    kept: dict[str, Any] = field(default_factory=dict, compare=False, repr=False, init=False)

    def once(self, key: str, make: Callable[[], Any]) -> Any:
        """What follows from the tables alone, worked out when it is first asked for and then kept."""
        if key not in self.kept:
            self.kept[key] = make()
        return self.kept[key]

    def table(self, name: str) -> pd.DataFrame:
        """One table; :class:`BadAssumption` if it is missing."""
        if name not in self.tables:
            raise BadAssumption(f"there is no assumption table '{name}'")
        return self.tables[name]

    def having(self, table: str, values: Mapping[str, str]) -> Assumptions:
        """The same with other values in a table, whatever their ranges say: to look at alone."""
        rows = self.table(table).copy()
        for key, value in values.items():
            rows.loc[key, ["value", "origin"]] = value, "city"
        return replace(self, tables={**self.tables, table: rows})

    def number(self, table: str, key: str) -> float:
        """The value of one row as a number; :class:`BadAssumption` if the row is missing or not a number."""
        rows = self.table(table)
        if key not in rows.index:
            raise BadAssumption(f"the table '{table}' has no row '{key}'")
        try:
            return float(str(rows.at[key, "value"]))
        except ValueError as error:
            raise BadAssumption(f"the value of '{key}' in '{table}' is not a number") from error

    def text(self, table: str, key: str) -> str:
        """The value of one row as text; :class:`BadAssumption` if the row is missing."""
        rows = self.table(table)
        if key not in rows.index:
            raise BadAssumption(f"the table '{table}' has no row '{key}'")
        return str(rows.at[key, "value"])

    def by_class(self, table: str, prefix: str, classes: pd.Series) -> pd.Series:
        """A number per block from the rows ``prefix.CLASS``; :class:`BadAssumption` if a class has no row."""
        values = {name: self.number(table, f"{prefix}.{name}") for name in classes.unique()}
        return classes.map(values).astype("float64")

    def citation(self, table: str, key: str) -> str:
        """Title, place and status of the source of a row, in one line."""
        row = self.table(table).loc[key]
        source = self.sources.loc[row["source_id"]]
        place = f", {row['place']}" if str(row["place"]) else ""
        if str(source["status"]).startswith(str(source["title"]).lower()):
            return f"{source['status']}{place}"  # the title says nothing more
        return f"{source['title']}{place} ({source['status']})"

    def fingerprint(self) -> str:
        """Twelve hexadecimal digits that change when any value changes."""
        return self._fingerprint

    @cached_property
    def _fingerprint(self) -> str:
        return _digest("".join(self.tables[name].to_csv() for name in sorted(self.tables)))


def fingerprint(frame: pd.DataFrame) -> str:
    """Twelve hexadecimal digits that change when any cell of a table changes."""
    return _digest(frame.to_csv(index=False))


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:12]
