"""What a plan is made with: the engineer's scenario and the city's assumptions, both frozen and fingerprinted."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields, replace
from typing import Any, Final, Literal

import pandas as pd

from rehab.base.errors import BadAssumption
from rehab.base.tables import STRATEGIES

Choice = Literal["best", "worst first", "no work"]
Strategies = Literal["by rule", "adequate"]
CHOICES: Final[tuple[Choice, ...]] = ("best", "worst first", "no work")
#: what a program may do to a block in a year: what the rules decide then, or all that they find adequate
STRATEGIES_OPEN: Final[tuple[Strategies, ...]] = ("by rule", "adequate")

#: the days of the season's work week, as the city writes them
WEEKDAYS: Final = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")

#: assumption tables, each a file ``data/assumptions/NAME.csv``
ASSUMPTION_TABLES: Final = (
    "defaults", "rating_to_shares", "distresses", "decision_rules", "companions", "curb_ramps", "layout_rules",
    "dowels", "survival", "treatment_lives", "ride", "uncertainty", "pay_items", "markups", "economics", "cost_index",
    "bid_rules", "curing", "season", "crews")


@dataclass(frozen=True)
class Override:
    """The engineer sets a block's strategy by hand; the reason is kept with it."""

    block_id: str
    strategy: str
    reason: str


@dataclass(frozen=True)
class Forced:
    """A block that must be worked on in a year; without a strategy, the best one open to the program is taken."""

    block_id: str
    year: int
    strategy: str | None = None


@dataclass(frozen=True)
class Scenario:
    """One question put to the plan.

    ``budgets_usd`` holds one budget a year, in dollars of that year, from ``start_year`` on.
    """

    name: str = "current budget"
    start_year: int = 2027
    budgets_usd: tuple[float, ...] = (4_000_000.0,) * 10
    choice: Choice = "best"
    overrides: tuple[Override, ...] = field(default=())
    forced: tuple[Forced, ...] = field(default=())
    kept_out: tuple[str, ...] = field(default=())
    strategies: Strategies = "by rule"

    def __post_init__(self) -> None:
        """Refuse what no plan can be made with."""
        if not 1 <= len(self.budgets_usd) <= 50:
            raise ValueError("a program has 1 to 50 years")
        if any(not 0 <= budget < float("inf") for budget in self.budgets_usd):
            raise ValueError("a yearly budget is zero or more dollars")
        if not 1900 <= self.start_year <= 2150:
            raise ValueError(f"the first year {self.start_year} is not between 1900 and 2150")
        if self.choice not in CHOICES:
            raise ValueError(f"'{self.choice}' is not one of {', '.join(CHOICES)}")
        if self.strategies not in STRATEGIES_OPEN:
            raise ValueError(f"'{self.strategies}' is not one of {', '.join(STRATEGIES_OPEN)}")
        named = [(item.block_id, item.strategy) for item in self.overrides]
        named += [(lock.block_id, lock.strategy) for lock in self.forced if lock.strategy]
        for block_id, strategy in named:
            if strategy not in STRATEGIES:
                raise ValueError(f"block {block_id}: '{strategy}' is not one of {', '.join(STRATEGIES)}")
        for item in self.overrides:
            if not item.reason.strip():
                raise ValueError(f"block {item.block_id}: an override needs a reason")
        clash = {item.block_id for item in self.forced} & set(self.kept_out)
        if clash:
            raise ValueError(f"forced into a year and kept out at once: {', '.join(sorted(clash))}")
        for lock in self.forced:
            if lock.year not in self.years:
                raise ValueError(f"block {lock.block_id}: {lock.year} is not a year of the program")
        if len({item.block_id for item in self.forced}) < len(self.forced):
            raise ValueError("a block is forced into two years; one structural strategy per block is planned")

    @property
    def years(self) -> range:
        """The years of the program."""
        return range(self.start_year, self.start_year + len(self.budgets_usd))

    def with_budget(self, usd_per_year: float, years: int | None = None) -> Scenario:
        """The same scenario with one budget for every year."""
        return replace(self, budgets_usd=(float(usd_per_year),) * (len(self.budgets_usd) if years is None else years))

    def fingerprint(self) -> str:
        """Twelve hexadecimal digits that change when anything in the scenario changes."""
        return _digest(json.dumps(asdict(self), sort_keys=True))

    def as_mapping(self) -> dict[str, Any]:
        """Plain lists, numbers and texts, for a file or a database; :meth:`from_mapping` reads it back."""
        return json.loads(json.dumps(asdict(self)))  # type: ignore[no-any-return]

    @classmethod
    def from_mapping(cls, mapping: Mapping[str, Any]) -> Scenario:
        """A scenario from the content of a TOML or JSON file.

        ``budget_usd`` with ``years`` may stand for ``budgets_usd``.  Raises :class:`ValueError` with the name
        of what is unknown or wrong.
        """
        given = dict(mapping)
        if "budget_usd" in given:
            given["budgets_usd"] = [given.pop("budget_usd")] * int(given.pop("years", 10))
        unknown = set(given) - {item.name for item in fields(cls)}
        if unknown:
            raise ValueError(f"unknown in a scenario: {', '.join(sorted(unknown))}")
        try:
            for name, kind in (("overrides", Override), ("forced", Forced)):
                given[name] = tuple(kind(**row) for row in given.get(name, ()))
            given["kept_out"] = tuple(str(block) for block in given.get("kept_out", ()))
            if "budgets_usd" in given:
                given["budgets_usd"] = tuple(float(budget) for budget in given["budgets_usd"])
            return cls(**given)
        except TypeError as error:
            raise ValueError(f"a row of the scenario cannot be read: {error}") from error


@dataclass(frozen=True)
class Assumptions:
    """The assumption tables by name, each indexed by its ``key``, the city's own rows already laid over the defaults.

    The column ``origin`` says 'default' or 'city'.  Treat the tables as read-only.
    """

    tables: Mapping[str, pd.DataFrame]
    sources: pd.DataFrame

    def table(self, name: str) -> pd.DataFrame:
        """One table; :class:`BadAssumption` if it is missing."""
        if name not in self.tables:
            raise BadAssumption(f"there is no assumption table '{name}'")
        return self.tables[name]

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
        return _digest("".join(self.tables[name].to_csv() for name in sorted(self.tables)))


def fingerprint(frame: pd.DataFrame) -> str:
    """Twelve hexadecimal digits that change when any cell of a table changes."""
    return _digest(frame.to_csv(index=False))


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:12]
