"""Tasks with durations, lags, crews and calendars: when each one starts.

``arrange`` finds starts that respect precedence, capacities, release times and deadlines, places the greatest
weight of optional groups and then ends as soon as possible (resource-constrained project scheduling with
minimum lags).  A serial heuristic gives the first arrangement in a moment; OR-Tools' CP-SAT improves it and proves
how good it is.  The module knows nothing of what the tasks are.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from threading import Event
from typing import Literal

import numpy as np
import numpy.typing as npt

from rehab.solvers.sequence import exact, search
from rehab.solvers.sequence.checks import check
from rehab.solvers.sequence.network import Ints, Network
from rehab.solvers.sequence.serial import Attempt, Ledger, finished
from rehab.solvers.sequence.times import makespan_bound

__all__ = ["Arrangement", "Status", "arrange"]

Status = Literal["optimal", "feasible", "infeasible", "unknown"]
_PLACED_A_SECOND = 25_000  #: task placements that the search over orders counts as a second


@dataclass(frozen=True)
class Arrangement:
    """Starts, and how good they are proven to be.

    ``start[n]``: first period of each task, -1 for tasks left out (all of them when there is no arrangement);
    ``finish[n]``: one past its last period.  ``copy``: by (task, resource) which copy of a resource a task has,
    where there are several.  ``makespan``: periods until the last placed task ends, -1 without an arrangement;
    ``lower_bound``: no arrangement that places as much ends sooner.  ``placed``: weight of the optional groups
    placed; ``most``: no arrangement places more.  ``status``: "optimal" (both proven), "feasible", "infeasible"
    (proven that the compulsory tasks cannot all be placed) or "unknown" (none found in the time given).
    ``travel``: distance between sites that follow one another.  When it is known, ``task`` is a task that cannot be
    placed and ``short`` the resource that it asks too much of.
    """

    start: Ints
    makespan: int
    lower_bound: int
    status: Status
    placed: int = 0
    most: int = 0
    task: int | None = None
    short: int | None = None
    finish: Ints = field(default_factory=lambda: np.zeros(0, np.int64))
    copy: dict[tuple[int, int], int] = field(default_factory=dict)
    travel: float = 0.0


def arrange(duration: npt.ArrayLike, precedence: npt.ArrayLike, demand: npt.ArrayLike, capacity: npt.ArrayLike, *,
            calendar: npt.ArrayLike | None = None, lags: npt.ArrayLike | None = None,
            calendars: npt.ArrayLike | None = None, works: npt.ArrayLike | None = None,
            unbroken: npt.ArrayLike | None = None, holds: npt.ArrayLike | None = None,
            copies: npt.ArrayLike | None = None,
            release: npt.ArrayLike | None = None, deadline: npt.ArrayLike | None = None,
            optional: npt.ArrayLike | None = None, weight: npt.ArrayLike | None = None,
            needs: npt.ArrayLike | None = None,
            site: npt.ArrayLike | None = None, distance: npt.ArrayLike | None = None,
            tours: Sequence[npt.ArrayLike] = (), slack: int = 0, horizon: int | None = None, seconds: float = 10.0,
            seed: int = 0, watch: Callable[[Arrangement], None] | None = None,
            stop: Event | None = None) -> Arrangement:
    """Starts of all tasks, ending as soon as possible.

    All figures are whole numbers, none negative.  ``duration[n]`` periods.  ``precedence`` rows (before, after,
    lag) or (before, after, lag, kind).  Kind 0: the lag is in periods, start[after] >= finish[before] + lag.  Kind 1:
    the lag is in calendar days, counted from the day of the last period worked: calendar[start[after]] >=
    calendar[finish[before] - 1] + lag, so that lag 1 is the next calendar day.  Kind 2: the lag is a row of ``lags``,
    start[after] >= lags[lag, finish[before] - 1].  A task without duration counts as done on the day of its start.
    The periods also follow one another: a lag of 0 days still means start[after] >= finish[before].  ``calendar[p]``:
    calendar day number of each period, the same for those of one day, never falling; it sets the horizon.
    ``demand[n, k]`` per period, ``capacity[k]``, or ``capacity[k, p]`` where it changes with time, of each of
    ``copies[k]`` (1 unless given): a task is done by one copy alone.  ``works[n]``: row of ``calendars[c, p]``, the
    periods in which the task works (-1: all); it starts in such a period, takes ``duration`` of them, and keeps what
    it demands in between.  ``unbroken[n]``: 1 for tasks that begin and end on one calendar day.  ``holds`` rows (task,
    resource, row of ``lags``): the task keeps what it demands of the resource until before period
    lags[row, finish - 1].
    ``release[n]`` earliest start, ``deadline[n]`` latest finish.  ``optional[n]``: group number of tasks that
    may be left out, a group as a whole, -1 for compulsory ones; ``weight[g]`` of the groups (1 unless given);
    ``needs`` rows (group, other): the first is placed only with the other.  A precedence holds when both of its tasks
    are placed.  ``horizon``: number of periods.

    ``site[n]`` and ``distance[s, s]``: where tasks are; of arrangements that place as much and end at most ``slack``
    periods later than the soonest found, one with little travel is returned.  ``tours``: orders of the sites to try.

    ``seconds`` limits the search; 0 means the heuristic alone, which is fast and depends on ``seed`` and the input
    only.  With time, the result repeats exactly unless the clock ends the search.  ``watch`` is told of every better
    arrangement; setting ``stop`` ends the search with the best so far.

    Raises :class:`ValueError`, naming the entry, for figures that are negative or not whole, shapes that do not
    agree, and tasks that wait for one another in a circle.
    """
    network = check(duration, precedence, demand, capacity, calendar=calendar, lags=lags, calendars=calendars,
                    works=works, unbroken=unbroken, holds=holds, copies=copies, release=release, deadline=deadline,
                    optional=optional, weight=weight, needs=needs, site=site, distance=distance, horizon=horizon)
    impossible = _impossible(network)
    if impossible is not None:
        return impossible
    hopeful = (network.group >= 0) & ~np.isin(network.group, network.hopeless)
    most = int(network.weight[np.unique(network.group[hopeful])].sum())
    lower, tightest = makespan_bound(network, network.group < 0)
    if lower > network.horizon:
        return _nothing(network, "infeasible", None, tightest)
    orders = [np.asarray(tour, np.int64) for tour in tours] if network.site is not None else []
    attempt = search.first(network, orders, slack, seed)
    worth = np.append(network.weight, 0)[network.group] > 0
    whole, _ = makespan_bound(network, (network.group < 0) | (hopeful & worth))
    best = _Best(network, attempt if attempt.stuck is None else None, lower, whole, most, watch, stop)
    best.tell()
    if best.attempt is None and seconds <= 0:
        return _nothing(network, "unknown", attempt.stuck, None)
    if seconds > 0 and not (best.proven and network.site is None):
        _improve(network, best, orders, slack, seconds, seed)
    return best.answer()


class _Best:
    """The best arrangement so far, with the bounds known."""

    def __init__(self, network: Network, attempt: Attempt | None, lower: int, whole: int, most: int,
                 watch: Callable[[Arrangement], None] | None, stop: Event | None) -> None:
        self.network, self.attempt, self.lower, self.whole, self.most = network, attempt, lower, whole, most
        self.watch, self.stop, self.infeasible = watch, stop, False
        self.first = attempt

    @property
    def bound(self) -> int:
        """No arrangement that places as much as the best ends sooner."""
        if self.attempt is None:
            return self.lower
        full = self.attempt.weight == self.most
        return min(max(self.lower, self.whole if full else 0), self.attempt.makespan)

    @property
    def proven(self) -> bool:
        """Whether nothing is better but for travel."""
        return (self.attempt is not None and self.attempt.weight == self.most
                and self.attempt.makespan == self.bound)

    @property
    def stopped(self) -> bool:
        """Whether the user asked to end."""
        return self.stop is not None and self.stop.is_set()

    def offer(self, attempt: Attempt) -> bool:
        """Take an attempt if it is better; says whether to go on."""
        if attempt.stuck is None and (self.attempt is None or attempt.rank < self.attempt.rank):
            self.attempt = attempt
            self.tell()
        return not self.stopped

    def tell(self) -> None:
        """Tell the watcher."""
        if self.watch is not None and self.attempt is not None:
            self.watch(self.answer())

    def answer(self) -> Arrangement:
        """The arrangement as it stands."""
        if self.attempt is None:
            return _nothing(self.network, "infeasible" if self.infeasible else "unknown", None, None)
        made = self.attempt
        return Arrangement(made.start, made.makespan, self.bound, "optimal" if self.proven else "feasible",
                           made.weight, self.most, finish=self.network.ends(made.start), copy=made.copy,
                           travel=made.travel)


def _improve(network: Network, best: _Best, orders: list[Ints], slack: int, seconds: float, seed: int) -> None:
    """Constraint programming, then, where there are sites, a search over the orders in which they are visited."""
    travels = network.site is not None
    if not best.proven and not best.stopped:
        _exactly(network, best, seconds * (0.6 if travels else 1.0), seed)
    if travels and best.attempt is not None and not best.stopped:
        passes = int(seconds * 0.4 * _PLACED_A_SECOND / max(len(network.duration), 1))
        begin = best.attempt

        def watch(attempt: Attempt) -> bool:
            best.attempt = attempt
            best.tell()
            return not best.stopped

        found = search.by_orders(network, begin, orders, slack, passes, seconds * 0.8, seed, watch)
        best.attempt = found if found.stuck is None else begin


def _exactly(network: Network, best: _Best, seconds: float, seed: int) -> None:
    """CP-SAT; what it finds for copies taken as one is placed anew copy by copy."""
    several, ledger = bool((network.copies > 1).any()), Ledger(network)
    stride = network.horizon + 1

    def watch(start: Ints, _bound: float) -> None:
        best.offer(search.redone(network, start, ledger) if several else finished(network, start, {}))

    found = exact.improve(network, best.attempt, best.bound, seconds, seed, watch, best.stop)
    best.infeasible = best.attempt is None and found.start is None and found.proven
    if found.start is None:
        return
    watch(found.start, found.bound)
    bound = int(np.ceil(found.bound - 1e-6)) if np.isfinite(found.bound) else -stride * (best.most + 1)
    best.most = min(best.most, (network.horizon - bound) // stride)
    if best.attempt is not None and best.attempt.weight == best.most:
        best.lower = max(best.lower, bound + stride * best.attempt.weight)


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
    none = np.full(len(network.duration), -1)
    return Arrangement(none, -1, 0, status, task=task, short=short, finish=none)
