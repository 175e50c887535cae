"""The tasks as the scheduler holds them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]


class Arc(NamedTuple):
    """One precedence: the other task, and by start of the first the earliest start of the second."""

    task: int
    ready: list[int]


class Use(NamedTuple):
    """What a task asks of a resource, and by start the period in which it lets it go (None: when it ends)."""

    resource: int
    amount: int
    until: list[int] | None


@dataclass(frozen=True)
class Network:
    """Everything about the tasks; periods run from 0 to ``horizon`` - 1.

    ``duration[n]``, ``finish[n]`` (by start, one past the last period; -1 where the task cannot start),
    ``demand[n, k]``, ``capacity[k, horizon]`` of one of the ``copies[k]``, ``uses`` (of each task), ``release[n]``,
    ``deadline[n]`` (latest finish, never beyond the horizon), ``group[n]`` (-1: compulsory), ``weight[g]``, ``with_it``
    (of each group, those that cannot be placed without it),
    ``before`` and ``after`` (arcs of each task), ``order`` (tasks, each after its predecessors), ``site[n]`` and
    ``distance`` (where the tasks are).
    """

    duration: Ints
    finish: list[list[int]]
    demand: Ints
    capacity: Ints
    copies: Ints
    uses: list[list[Use]]
    release: Ints
    deadline: Ints
    group: Ints
    weight: Ints
    with_it: list[list[int]]
    horizon: int
    before: list[list[Arc]]
    after: list[list[Arc]]
    order: list[int]
    site: Ints | None
    distance: npt.NDArray[np.float64] | None
    early: Ints = field(default_factory=lambda: np.zeros(0, np.int64))
    late: Ints = field(default_factory=lambda: np.zeros(0, np.int64))

    @property
    def hopeless(self) -> Ints:
        """Optional groups with a task that has no room, and those that cannot be placed without them."""
        return np.array(sorted(self.together(self.group[(self.early > self.late) & (self.group >= 0)].tolist())),
                        np.int64)

    def together(self, groups: Iterable[int]) -> set[int]:
        """The groups, and all that cannot be placed without one of them."""
        found: set[int] = set()
        waiting = list(groups)
        while waiting:
            group = waiting.pop()
            if group not in found:
                found.add(group)
                waiting += self.with_it[group]
        return found

    def bound_to(self, task: int, other: int) -> bool:
        """Whether ``task`` cannot be placed without ``other``: it is compulsory or of the same group."""
        return bool(self.group[other] < 0 or self.group[other] == self.group[task])

    def ends(self, start: Ints) -> Ints:
        """Finish of each placed task, -1 for those left out."""
        return np.array([self.finish[task][at] if at >= 0 else -1 for task, at in enumerate(start.tolist())], np.int64)
