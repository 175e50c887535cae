"""Tasks with durations, lags, crews and calendars: when each one starts.

``arrange`` finds starts that respect precedence, capacities, release times and deadlines, places the greatest
weight of optional groups and then ends as soon as possible (resource-constrained project scheduling with
minimum lags).  A serial heuristic gives the first arrangement in a moment; OR-Tools' CP-SAT improves it and proves
how good it is.  The module knows nothing of what the tasks are.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from rehab.solvers.sequence import exact, serial
from rehab.solvers.sequence.network import Ints, Network, check, makespan_bound

__all__ = ["Arrangement", "Status", "arrange"]

Status = Literal["optimal", "feasible", "infeasible", "unknown"]


@dataclass(frozen=True)
class Arrangement:
    """Starts, and how good they are proven to be.

    ``start[n]``: first period of each task, -1 for tasks left out (all of them when there is no arrangement).
    ``makespan``: periods until the last placed task ends, -1 without an arrangement; ``lower_bound``: no
    arrangement that places as much ends sooner.  ``placed``: weight of the optional groups placed; ``most``: no
    arrangement places more.  ``status``: "optimal" (both proven), "feasible", "infeasible" (proven that
    the compulsory tasks cannot all be placed) or "unknown" (none found in the time given).  When it is known,
    ``task`` is a task that cannot be placed and ``short`` the resource that it asks too much of.
    """

    start: Ints
    makespan: int
    lower_bound: int
    status: Status
    placed: int = 0
    most: int = 0
    task: int | None = None
    short: int | None = None


def arrange(duration: npt.ArrayLike, precedence: npt.ArrayLike, demand: npt.ArrayLike, capacity: npt.ArrayLike, *,
            calendar: npt.ArrayLike | None = None, release: npt.ArrayLike | None = None,
            deadline: npt.ArrayLike | None = None, optional: npt.ArrayLike | None = None,
            weight: npt.ArrayLike | None = None, horizon: int | None = None, seconds: float = 10.0,
            seed: int = 0) -> Arrangement:
    """Starts of all tasks, ending as soon as possible.

    All figures are whole numbers, none negative.  ``duration[n]`` periods.  ``precedence`` rows (before, after,
    lag) or (before, after, lag, kind).  Kind 0: the lag is in periods, start[after] >= start[before] +
    duration[before] + lag.  Kind 1: the lag is in calendar days, counted from the day of the last period
    worked: calendar[start[after]] >= calendar[start[before] + duration[before] - 1] + lag, so that lag 1 is the next
    calendar day; a task without duration counts as done on the day of its start.  The periods also
    follow one another: a lag of 0 days still means start[after] >= start[before] + duration[before].
    ``calendar[p]``: calendar day number of each period, rising; it sets the horizon.  ``demand[n, k]`` per period,
    ``capacity[k]``, or ``capacity[k, p]`` where it changes with time.  ``release[n]`` earliest start,
    ``deadline[n]`` latest finish (finish = start + duration).  ``optional[n]``: group number of tasks that
    may be left out, a group as a whole, -1 for compulsory ones; ``weight[g]`` of the groups (1 unless given).  A
    precedence holds when both of its tasks are placed.  ``horizon``: number of periods.

    ``seconds`` limits CP-SAT; 0 means the heuristic alone, which is fast and depends on ``seed`` and the input
    only.  With time, the result repeats exactly unless the clock ends the search.

    Raises :class:`ValueError`, naming the entry, for figures that are negative or not whole, shapes that do not
    agree, and tasks that wait for one another in a circle.
    """
    network = check(duration, precedence, demand, capacity, calendar=calendar, release=release, deadline=deadline,
                    optional=optional, weight=weight, horizon=horizon)
    impossible = _impossible(network)
    if impossible is not None:
        return impossible
    hopeful = (network.group >= 0) & ~np.isin(network.group, network.hopeless)
    most = int(network.weight[np.unique(network.group[hopeful])].sum())
    lower, tightest = makespan_bound(network, network.group < 0)
    if lower > network.horizon:
        return _nothing(network, "infeasible", None, tightest)
    attempt = serial.best(network, seed)
    first = None if attempt.stuck is not None else attempt
    if first is not None and first.weight == most:
        worth = np.append(network.weight, 0)[network.group] > 0
        lower, _ = makespan_bound(network, (network.group < 0) | (hopeful & worth))
        if first.makespan == lower:
            return Arrangement(first.start, lower, lower, "optimal", most, most)
    if seconds <= 0:
        if first is None:
            return _nothing(network, "unknown", attempt.stuck, None)
        return Arrangement(first.start, first.makespan, lower, "feasible", first.weight, most)
    floor = lower if first is None or first.weight == most else makespan_bound(network, network.group < 0)[0]
    return _combined(network, first, exact.improve(network, first, floor, seconds, seed), lower, most)


def _impossible(network: Network) -> Arrangement | None:
    """A compulsory task that asks more than there ever is, or whose times leave no room."""
    compulsory = network.group < 0
    over = (network.demand > network.capacity.max(axis=1, initial=0)) & (compulsory & (network.duration > 0))[:, None]
    if over.any():
        task, resource = (int(place) for place in np.argwhere(over)[0])
        return _nothing(network, "infeasible", task, resource)
    late = np.flatnonzero((network.early > network.late) & compulsory)
    return _nothing(network, "infeasible", int(late[0]), None) if len(late) else None


def _nothing(network: Network, status: Status, task: int | None, short: int | None) -> Arrangement:
    """The answer when there is no arrangement."""
    return Arrangement(np.full(len(network.duration), -1), -1, 0, status, task=task, short=short)


def _combined(network: Network, first: serial.Attempt | None, found: exact.Found, lower: int, most: int) -> Arrangement:
    """The better of the two arrangements with the better of the two bounds."""
    start, stride = found.start, network.horizon + 1
    if start is None:
        if first is None:
            return _nothing(network, "infeasible" if found.proven else "unknown", None, None)
        return Arrangement(first.start, first.makespan, lower, "feasible", first.weight, most)
    placed = start >= 0
    makespan = int((start + network.duration)[placed].max(initial=0))
    worth = int(network.weight[np.unique(network.group[placed & (network.group >= 0)])].sum())
    bound = int(np.ceil(found.bound - 1e-6)) if np.isfinite(found.bound) else -stride * (most + 1)
    most = min(most, (network.horizon - bound) // stride)
    if first is not None and first.rank < (False, -worth, makespan):
        start, makespan, worth = first.start, first.makespan, first.weight
    if worth == most:
        lower = min(max(lower, bound + stride * worth), makespan)
    status: Status = "optimal" if worth == most and makespan == lower else "feasible"
    return Arrangement(start, makespan, lower, status, worth, most)
