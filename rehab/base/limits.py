"""What a scenario asks beyond a budget: funds, capacities, shares of districts, closed years, targets.

Each is a plain frozen row that refuses what cannot be; what it does to a program is in ``rehab.steps.program``.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal

from rehab.base.tables import CLASSES, WORK

#: kinds of work whose yearly amount may be limited -> the unit it is counted in
CAPACITIES: Final[dict[str, str]] = {
    "partial_depth": "sqft", "full_depth": "sqyd", "reconstruction": "sqyd", "grinding": "sqyd"}

Benefit = Literal["sound pavement", "agency cost"]
Corridors = Literal["apart", "given", "by street"]
BENEFITS: Final[tuple[Benefit, ...]] = ("sound pavement", "agency cost")
CORRIDORS: Final[tuple[Corridors, ...]] = ("apart", "given", "by street")


def amount(what: str, value: object) -> float:
    """Zero or more, finite; :class:`ValueError` with ``what`` and the value otherwise."""
    try:
        number = float(str(value))
    except ValueError:
        number = math.nan
    if not 0 <= number < math.inf:
        raise ValueError(f"{what} is {value!r}: zero or more is accepted")
    return number


def money_by_year(what: str, given: object, years: range | None) -> tuple[float, ...]:
    """Dollars of each year from a list, or from a table year -> dollars, in which no year may be missing.

    ``years``: the years that have to be there, or None for those from the first to the last of the table.
    """
    if isinstance(given, Mapping):
        try:
            table = {int(str(year)): usd for year, usd in given.items()}
        except ValueError as error:
            raise ValueError(f"{what}: a year is not a whole number ({error})") from error
        wanted = years if years is not None else range(min(table), max(table) + 1) if table else range(0)
        missing = [str(year) for year in wanted if year not in table]
        if missing:
            raise ValueError(f"{what}: no figure for {', '.join(missing)}; give one, 0 for no money")
        beyond = sorted(set(table) - set(wanted))
        if beyond:
            raise ValueError(f"{what}: {beyond[0]} is not a year of the program")
        return tuple(amount(f"{what} of {year}", table[year]) for year in wanted)
    if isinstance(given, (int, float)) and years is not None:
        return (amount(what, given),) * len(years)
    rows: list[Any] = list(given) if isinstance(given, (list, tuple)) else [given]
    return tuple(amount(f"{what}, year {at}", usd) for at, usd in enumerate(rows, 1))


@dataclass(frozen=True)
class Fund:
    """Money that may pay some work only: a budget a year, dollars of the year; empty lists allow everything."""

    name: str
    budgets_usd: tuple[float, ...]
    strategies: tuple[str, ...] = ()
    classes: tuple[str, ...] = ()
    districts: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Refuse what no fund can be."""
        if not self.name.strip():
            raise ValueError("a fund needs a name")
        if self.name.strip().lower() == "general":
            raise ValueError(f"a fund named '{self.name}': it is the budget that may pay any work; give another name")
        for at, usd in enumerate(self.budgets_usd, 1):
            amount(f"fund '{self.name}', year {at}", usd)
        for given, known in ((self.strategies, WORK), (self.classes, CLASSES)):
            wrong = set(given) - set(known)
            if wrong:
                raise ValueError(f"fund '{self.name}': '{min(wrong)}' is not one of {', '.join(known)}")

    def rule(self) -> str:
        """What the fund may pay, in words."""
        parts = [", ".join(names).replace("_", " ") for names in (self.strategies, self.classes) if names]
        parts += [f"district {', '.join(self.districts)}"] if self.districts else []
        return "; ".join(parts) or "any work"


@dataclass(frozen=True)
class Capacity:
    """The most of a kind of work in a year, in the unit of :data:`CAPACITIES`; without a year, in every year."""

    kind: str
    most: float
    year: int | None = None

    def __post_init__(self) -> None:
        """Refuse unknown kinds and amounts below zero."""
        if self.kind not in CAPACITIES:
            raise ValueError(f"capacity: '{self.kind}' is not one of {', '.join(CAPACITIES)}")
        amount(f"capacity of {self.kind}", self.most)


@dataclass(frozen=True)
class DistrictShare:
    """The least share of the whole program's money that is to be spent in a district."""

    district: str
    share: float

    def __post_init__(self) -> None:
        """Refuse shares that are none."""
        if not 0 <= self.share <= 1:
            raise ValueError(f"district '{self.district}': a share of {self.share!r} is not between 0 and 1")


@dataclass(frozen=True)
class Closed:
    """A year in which a block may not be worked on."""

    block_id: str
    year: int


@dataclass(frozen=True)
class Target:
    """The mean index by area is to be at least ``least`` after the work of each year from ``first`` to ``last``."""

    least: float
    first: int
    last: int

    def __post_init__(self) -> None:
        """Refuse what is no index or no span of years."""
        if not 0 <= self.least <= 100:
            raise ValueError(f"the index {self.least!r} of a target is not between 0 and 100")
        if self.first > self.last:
            raise ValueError(f"a target from {self.first} to {self.last} has no year")
