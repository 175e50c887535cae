"""What planning makes: everything a budget cannot change, and one scenario decided."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.errors import Note
from rehab.base.settings import Assumptions, Scenario
from rehab.steps.forecast import Ageing
from rehab.steps.lifecycle import Course
from rehab.steps.program import Chosen, Limits, Offers, Openings

Floats = npt.NDArray[np.float64]
Result = TypeVar("Result")


@dataclass(frozen=True)
class Prepared:
    """What holds for every scenario of one table, one first year and one number of years.

    ``by_rule`` is the deciding strategy per (block, year) as a position in STRATEGIES, ``adequate`` whether each
    strategy of work is adequate there; ``each`` is what one panel of each block takes (``needs.intensity``); ``costs``
    and ``benefits`` are arrays (blocks, years) by strategy; ``later`` the works that follow each at its trigger.
    """

    assumptions: Assumptions
    start_year: int
    years: int
    network: pd.DataFrame
    needs: pd.DataFrame
    findings: pd.DataFrame
    repairs: pd.DataFrame
    strategies: pd.DataFrame
    forecast: pd.DataFrame
    ageing: Ageing
    each: pd.DataFrame
    needs_by_year: pd.DataFrame
    by_rule: npt.NDArray[np.int64]
    adequate: dict[str, npt.NDArray[np.bool_]]
    costs: dict[str, Floats]
    benefits: dict[str, Floats]
    lives: dict[str, pd.DataFrame]
    later: dict[str, Course]
    worth: pd.DataFrame
    notes: tuple[Note, ...]
    seconds: dict[str, float]
    fingerprint: str
    kept: dict[str, Any] = field(default_factory=dict, compare=False, repr=False, init=False)

    def once(self, key: str, make: Callable[[], Result]) -> Result:
        """What only some scenarios ask for, made when it is first asked for and then kept."""
        if key not in self.kept:
            self.kept[key] = make()
        found: Result = self.kept[key]
        return found

    def row(self, block_id: str) -> int:
        """The row of a block in the network and in every table like it; :class:`KeyError` for an unknown block."""
        rows = np.flatnonzero(self.network["block_id"].to_numpy() == block_id)
        if len(rows) != 1:
            raise KeyError(block_id)
        return int(rows[0])


@dataclass(frozen=True)
class Posed:
    """A scenario as a problem of choice; ``must`` says of the offers' alternatives whether each is forced."""

    openings: Openings
    offers: Offers
    limits: Limits
    must: npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Plan:
    """One scenario decided: tables as in ``rehab.base.tables`` and a summary of plain numbers.

    ``posed`` is the problem, ``chosen`` its solution with the prices of the limits.  What a chart of the program does
    not show, the lines of the blocks, their quantities and costs, is made when it is first asked for.
    """

    prepared: Prepared
    scenario: Scenario
    strategies: pd.DataFrame
    program: pd.DataFrame
    by_year: pd.DataFrame
    notes: pd.DataFrame
    summary: dict[str, Any]
    posed: Posed
    chosen: Chosen
    look: Callable[[], pd.DataFrame]
    measure: Callable[[], tuple[pd.DataFrame, pd.DataFrame]]

    @cached_property
    def overview(self) -> pd.DataFrame:
        """One line per block."""
        return self.look()

    @property
    def quantities(self) -> pd.DataFrame:
        """Quantities of today's strategies and of the program."""
        return self._measured[0]

    @property
    def costs(self) -> pd.DataFrame:
        """Costs of today's strategies and of the program."""
        return self._measured[1]

    @cached_property
    def _measured(self) -> tuple[pd.DataFrame, pd.DataFrame]:
        return self.measure()
