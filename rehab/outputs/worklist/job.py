"""One block of a work list with all that belongs to it, and what a list was made for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import pandas as pd

from rehab.base.tables import TASKS
from rehab.outputs.words import known

_PATCHES: Final = ("patch", "place")
_WEEK: Final = pd.Timedelta(days=7)

Row = dict[str, Any]


def monday(day: pd.Timestamp) -> pd.Timestamp:
    """The Monday of the week of a day."""
    return (day - pd.Timedelta(days=day.weekday())).normalize()


@dataclass(frozen=True)
class Job:
    """One block of the year: its line in the overview and the rows that belong to it.

    ``block`` is its row of the overview, ``sizes`` of the network, ``needs`` of the needs.  ``repairs`` are those of
    the panel survey that the strategy cuts; ``surveyed`` are all of them and ``findings`` the defects, for the plan.
    """

    position: int
    block: Row
    sizes: Row
    needs: Row
    strategy: str
    cost_usd: float
    estimated: bool
    quantities: list[Row]
    tasks: list[Row]
    repairs: list[Row]
    surveyed: list[Row]
    findings: list[Row]
    notes: list[str]

    @property
    def name(self) -> str:
        """The block."""
        return str(self.block["block_id"])

    @property
    def kinds(self) -> list[str]:
        """The kinds of its tasks, in the order of the work: by the first day, then as a block meets them."""
        first: dict[str, pd.Timestamp] = {}
        for row in self.tasks:
            first[row["task"]] = min(row["start"], first.get(row["task"], row["start"]))
        return sorted(first, key=lambda kind: (first[kind], TASKS.index(kind)))

    @property
    def steps(self) -> list[str]:
        """The kinds of its work as its crews meet them: the calendar counts the joints of a new pavement in placing."""
        found = self.kinds
        if "place" in found and "joint" in self.within("place") and "joint" not in found:
            found.insert(found.index("place") + 1, "joint")
        return found

    def within(self, kind: str) -> set[str]:
        """The kinds of work that a task of one kind holds."""
        return {kind, "joint"} if self.strategy == "reconstruction" and kind == "place" else {kind}

    def first(self, *kinds: str) -> pd.Timestamp | None:
        """First day of the tasks of these kinds, of all without any; None if there is no such task."""
        return min((row["start"] for row in self.tasks if not kinds or row["task"] in kinds), default=None)

    def last(self, *kinds: str) -> pd.Timestamp | None:
        """Last day of the tasks of these kinds, of all without any; None if there is no such task."""
        return max((row["finish"] for row in self.tasks if not kinds or row["task"] in kinds), default=None)

    @property
    def patched(self) -> pd.Timestamp | None:
        """The day the last patch or panel is placed."""
        return self.last(*_PATCHES)

    @property
    def opens(self) -> pd.Timestamp | None:
        """The day the block opens after its last closing task."""
        return max((row["opens"] for row in self.tasks if known(row["opens"])), default=None)


@dataclass(frozen=True)
class Chosen:
    """The weeks (their Mondays) and crews that a list is for; all of them where it names none."""

    weeks: tuple[pd.Timestamp, ...] = ()
    crews: tuple[str, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.weeks or self.crews)

    def other(self, task: Row) -> str:
        """Why a task is not for this list: 'other crew', 'other week', or nothing if it is."""
        crew = str(task["crew"])
        if self.crews and not any(crew == name or crew.startswith(f"{name} ") for name in self.crews):
            return "other crew"
        in_week = any(task["start"] < week + _WEEK and task["finish"] >= week for week in self.weeks)
        return "other week" if self.weeks and not in_week else ""

    def wants(self, week: pd.Timestamp | None) -> bool:
        """Whether what is needed in a week, or in none that is known, is for this list."""
        return not self.weeks or week in self.weeks
