"""Improvement and proof by constraint programming: OR-Tools' CP-SAT, started from the heuristic's arrangement."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from threading import Event, Thread
from typing import Any

import numpy as np

from rehab.solvers.sequence.network import Ints, Network, Use
from rehab.solvers.sequence.serial import Attempt


@dataclass(frozen=True)
class Found:
    """What CP-SAT says: the best arrangement (None: none), a bound on the objective, whether it is proven."""

    start: Ints | None
    bound: float
    proven: bool


def improve(network: Network, first: Attempt | None, lower: int, seconds: float, seed: int,
            watch: Callable[[Ints, float], None], stop: Event | None) -> Found:
    """Least of makespan - (horizon + 1) * weight placed, within ``seconds``; repeatable unless time runs out.

    Several strategies take turns in a fixed order (interleaved search), so that the result does not depend on
    how threads happen to run.  All copies of a resource are taken as one: the bound holds for single copies as well.
    ``watch`` is given the starts and the bound at every improvement; ``stop`` ends the search with the best so far.
    """
    from ortools.sat.python import cp_model

    model: Any = cp_model.CpModel()
    starts, ends, present = _variables(network, model)
    _precedences(network, model, starts, present)
    _capacities(network, model, starts, ends, present)
    end = model.new_int_var(lower, network.horizon, "end")
    for task, finish in enumerate(ends):
        if finish is not None:
            _when(model.add(end >= finish), present, network.group[task])
    placed = sum(int(network.weight[group]) * literal for group, literal in present.items())
    model.minimize(end - (network.horizon + 1) * placed)
    if first is not None:
        _hint(network, model, starts, present, end, first)
    solver: Any = cp_model.CpSolver()
    # Its own count of work ends the search, the same on every machine (large models count slower than the clock, by
    # trial); the clock only guards against a slow one.
    solver.parameters.max_deterministic_time = seconds * min(0.4, 30.0 / max(len(network.duration), 1))
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.random_seed = seed
    solver.parameters.num_workers = 8
    solver.parameters.interleave_search = True

    class Watcher(cp_model.CpSolverSolutionCallback):
        def on_solution_callback(self) -> None:
            watch(_values(network, starts, present, self.value, self.boolean_value), self.best_objective_bound)

    with _Stopping(solver, stop):
        status = solver.solve(model, Watcher())
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return Found(None, -np.inf, status == cp_model.INFEASIBLE)
    return Found(_values(network, starts, present, solver.value, solver.boolean_value), solver.best_objective_bound,
                 status == cp_model.OPTIMAL)


class _Stopping:
    """Ends the solver's search when the event is set."""

    def __init__(self, solver: Any, stop: Event | None) -> None:
        self.solver, self.stop, self.over = solver, stop, Event()

    def __enter__(self) -> None:
        if self.stop is not None:
            Thread(target=self._wait, daemon=True).start()

    def __exit__(self, *_: object) -> None:
        self.over.set()

    def _wait(self) -> None:
        while self.stop is not None and not self.over.wait(0.1):
            if self.stop.is_set():
                self.solver.stop_search()


def _values(network: Network, starts: list[Any], present: dict[int, Any], value: Callable[[Any], int],
            truth: Callable[[Any], bool]) -> Ints:
    chosen = {group for group, literal in present.items() if truth(literal)} | {-1}
    return np.array([value(start) if start is not None and int(network.group[task]) in chosen else -1
                     for task, start in enumerate(starts)], dtype=np.int64)


def _variables(network: Network, model: Any) -> tuple[list[Any], list[Any], dict[int, Any]]:
    """A start and an end for each task that has room (None: its group has none), a literal for each such group."""
    from ortools.sat.python import cp_model

    hopeless = set(network.hopeless.tolist())
    present = {group: model.new_bool_var(f"group {group}") for group in range(len(network.weight))
               if group not in hopeless and (network.group == group).any()}
    starts: list[Any] = []
    ends: list[Any] = []
    for task, group in enumerate(network.group.tolist()):
        if group >= 0 and group not in present:
            starts.append(None)
            ends.append(None)
            continue
        finish = network.finish[task]
        open_at = [at for at in range(int(network.early[task]), int(network.late[task]) + 1) if finish[at] >= 0]
        start = model.new_int_var_from_domain(cp_model.Domain.from_values(open_at), f"start {task}")
        starts.append(start)
        ends.append(_follows(model, start, open_at, finish, f"end {task}"))
    for group, literal in present.items():
        for other in network.with_it[group]:
            if other in present:
                model.add_implication(present[other], literal)
    return starts, ends, present


def _follows(model: Any, start: Any, open_at: list[int], table: list[int], name: str) -> Any:
    """What the table says at the start: an expression where it moves with it, a variable where it does not."""
    steps = {table[at] - at for at in open_at}
    if len(steps) == 1:
        return start + steps.pop()
    low, high = open_at[0], open_at[-1]
    values, last = [], table[low]
    for at in range(low, high + 1):  # periods in which it cannot start take the value before: they never count
        last = table[at] if table[at] >= last else last
        values.append(last)
    found = model.new_int_var(min(values), max(values), name)
    model.add_element(start - low, values, found)
    model.add(found >= start + min(steps))
    return found


def _when(constraint: Any, present: dict[int, Any], *groups: int) -> None:
    """Let the constraint hold only if the groups are placed."""
    literals = [present[int(group)] for group in set(groups) if group >= 0]
    if literals:
        constraint.only_enforce_if(literals)


def _precedences(network: Network, model: Any, starts: list[Any], present: dict[int, Any]) -> None:
    """Successors wait for their predecessors; one table look-up for each task and lag."""
    for task, arcs in enumerate(network.after):
        if starts[task] is None:
            continue
        finish, known = network.finish[task], {}
        open_at = [at for at in range(int(network.early[task]), int(network.late[task]) + 1) if finish[at] >= 0]
        for arc in arcs:
            if starts[arc.task] is None:
                continue
            if id(arc.ready) not in known:
                known[id(arc.ready)] = _follows(model, starts[task], open_at, arc.ready, f"ready {task}")
            _when(model.add(starts[arc.task] >= known[id(arc.ready)]), present, network.group[task],
                  network.group[arc.task])


def _capacities(network: Network, model: Any, starts: list[Any], ends: list[Any], present: dict[int, Any]) -> None:
    """No period uses more of a resource than there is; times of reduced capacity are taken by fixed blocks."""
    intervals: list[list[Any]] = [[] for _ in network.capacity]
    demands: list[list[int]] = [[] for _ in network.capacity]
    for task, uses in enumerate(network.uses):
        if starts[task] is None:
            continue
        kept: dict[int, Any] = {}
        for use in uses:
            key = 0 if use.until is None else id(use.until)
            if key not in kept:
                kept[key] = _interval(network, model, task, use, starts[task], ends[task], present)
            intervals[use.resource].append(kept[key])
            demands[use.resource].append(use.amount)
    for resource, row in enumerate(network.capacity):
        if not intervals[resource]:
            continue
        level = row * network.copies[resource]
        most = int(level.max(initial=0))
        edges = np.flatnonzero(np.diff(level, prepend=-1, append=-1))
        for left, right in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
            if level[left] < most:
                less = model.new_fixed_size_interval_var(left, right - left, f"less {resource} {left}")
                intervals[resource].append(less)
                demands[resource].append(most - int(level[left]))
        if most == 1 or min(demands[resource]) * 2 > most:
            model.add_no_overlap(intervals[resource])
        else:
            model.add_cumulative(intervals[resource], demands[resource], most)


def _interval(network: Network, model: Any, task: int, use: Use, start: Any, end: Any,
              present: dict[int, Any]) -> Any:
    """The time for which a task holds a resource."""
    finish, group = network.finish[task], int(network.group[task])
    open_at = [at for at in range(int(network.early[task]), int(network.late[task]) + 1) if finish[at] >= 0]
    table = finish if use.until is None else use.until
    steps = {table[at] - at for at in open_at}
    name = f"work {task} {use.resource}"
    if len(steps) == 1:
        size = steps.pop()
        return model.new_fixed_size_interval_var(start, size, name) if group < 0 else \
            model.new_optional_fixed_size_interval_var(start, size, present[group], name)
    to = end if use.until is None else _follows(model, start, open_at, table, f"until {task}")
    size = model.new_int_var(min(steps), max(steps), f"size {task}")
    return model.new_interval_var(start, size, to, name) if group < 0 else \
        model.new_optional_interval_var(start, size, to, present[group], name)


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
