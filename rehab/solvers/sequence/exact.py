"""Improvement and proof by constraint programming: OR-Tools' CP-SAT, started from the heuristic's arrangement."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from rehab.solvers.sequence.network import Ints, Network
from rehab.solvers.sequence.serial import Attempt


@dataclass(frozen=True)
class Found:
    """What CP-SAT says: the best arrangement (None: none), a bound on the objective, whether it is proven."""

    start: Ints | None
    bound: float
    proven: bool


def improve(network: Network, first: Attempt | None, lower: int, seconds: float, seed: int) -> Found:
    """Least of makespan - (horizon + 1) * weight placed, within ``seconds``; repeatable unless time runs out.

    Several strategies take turns in a fixed order (interleaved search), so that the result does not depend on
    how threads happen to run.
    """
    from ortools.sat.python import cp_model

    model: Any = cp_model.CpModel()
    starts, present = _variables(network, model)
    _precedences(network, model, starts, present)
    _capacities(network, model, starts, present)
    end = model.new_int_var(lower, network.horizon, "end")
    for task, start in enumerate(starts):
        if start is not None:
            _when(model.add(end >= start + int(network.duration[task])), present, network.group[task])
    placed = sum(int(network.weight[group]) * literal for group, literal in present.items())
    model.minimize(end - (network.horizon + 1) * placed)
    if first is not None:
        _hint(network, model, starts, present, end, first)
    solver: Any = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.random_seed = seed
    solver.parameters.num_workers = 8
    solver.parameters.interleave_search = True
    status = solver.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return Found(None, -np.inf, status == cp_model.INFEASIBLE)
    chosen = [start is not None and (network.group[task] < 0 or solver.boolean_value(present[int(network.group[task])]))
              for task, start in enumerate(starts)]
    values = [solver.value(start) if taken else -1 for start, taken in zip(starts, chosen, strict=True)]
    return Found(np.array(values, dtype=np.int64), solver.best_objective_bound, status == cp_model.OPTIMAL)


def _variables(network: Network, model: Any) -> tuple[list[Any], dict[int, Any]]:
    """A start for each task that has room (None: its group cannot be placed), a literal for each such group."""
    hopeless = set(network.hopeless.tolist())
    present = {group: model.new_bool_var(f"group {group}") for group in range(len(network.weight))
               if group not in hopeless and (network.group == group).any()}
    starts = [model.new_int_var(int(network.early[task]), int(network.late[task]), f"start {task}")
              if group < 0 or group in present else None for task, group in enumerate(network.group.tolist())]
    return starts, present


def _when(constraint: Any, present: dict[int, Any], *groups: int) -> None:
    """Let the constraint hold only if the groups are placed."""
    literals = [present[int(group)] for group in set(groups) if group >= 0]
    if literals:
        constraint.only_enforce_if(literals)


def _precedences(network: Network, model: Any, starts: list[Any], present: dict[int, Any]) -> None:
    """Successors wait for their predecessors; one table look-up for each task and lag in calendar days."""
    for task, arcs in enumerate(network.after):
        if starts[task] is None:
            continue
        ready: dict[int, Any] = {}
        for arc in arcs:
            if starts[arc.task] is None:
                continue
            groups = (network.group[task], network.group[arc.task])
            if arc.table < 0:
                finish = starts[task] + int(network.duration[task])
                _when(model.add(starts[arc.task] >= finish + arc.lag), present, *groups)
                continue
            if arc.table not in ready:
                ready[arc.table] = _look_up(network, model, starts[task], task, arc.table)
            _when(model.add(starts[arc.task] >= ready[arc.table]), present, *groups)


def _look_up(network: Network, model: Any, start: Any, task: int, table: int) -> Any:
    """The first period after a lag in calendar days, as a variable that follows the start."""
    duration = int(network.duration[task])
    shift = max(duration - 1, 0)
    low, high = int(network.early[task]), int(network.late[task])
    at = np.arange(low, high + 1)
    last = at + shift
    first = np.maximum(network.tables[table, np.minimum(last, network.horizon - 1)], at + duration)
    first[last >= network.horizon] = network.horizon + 1
    ready = model.new_int_var(int(first.min()), int(first.max()), f"ready {task} {table}")
    model.add_element(start - low, [int(period) for period in first], ready)
    least = int((first - at).min())
    model.add(ready >= start + least)
    return ready


def _capacities(network: Network, model: Any, starts: list[Any], present: dict[int, Any]) -> None:
    """No period uses more of a resource than there is; times of reduced capacity are taken by fixed blocks."""
    for resource, level in enumerate(network.capacity):
        users = [task for task in np.flatnonzero(network.demand[:, resource] * network.duration).tolist()
                 if starts[task] is not None]
        if not users:
            continue
        intervals, demands, most = [], [], int(level.max(initial=0))
        for task in users:
            group, length = int(network.group[task]), int(network.duration[task])
            interval = model.new_fixed_size_interval_var(starts[task], length, f"work {task}") if group < 0 else \
                model.new_optional_fixed_size_interval_var(starts[task], length, present[group], f"work {task}")
            intervals.append(interval)
            demands.append(int(network.demand[task, resource]))
        edges = np.flatnonzero(np.diff(level, prepend=-1, append=-1))
        for left, right in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
            if level[left] < most:
                intervals.append(model.new_fixed_size_interval_var(left, right - left, f"less {resource} {left}"))
                demands.append(most - int(level[left]))
        model.add_cumulative(intervals, demands, most)


def _hint(network: Network, model: Any, starts: list[Any], present: dict[int, Any], end: Any, first: Attempt) -> None:
    """Give the heuristic's arrangement to the search as its first solution."""
    placed = set(network.group[first.start >= 0].tolist())
    for task, start in enumerate(starts):
        if start is not None:
            at = int(first.start[task])
            model.add_hint(start, at if at >= 0 else int(network.early[task]))
    for group, literal in present.items():
        model.add_hint(literal, group in placed)
    model.add_hint(end, first.makespan)
