"""Better serial arrangements: priority rules, random variations, and orders of groups that keep to one site's side.

Every pass is a whole arrangement that obeys all rules; the search only chooses among passes.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from rehab.solvers.sequence.network import Network
from rehab.solvers.sequence.serial import Attempt, Ledger, place

Keys = npt.NDArray[np.float64]
FIRST = 8_000  #: task placements spent on random variations for the first arrangement, some tenths of a second


def first(network: Network, tours: list[npt.NDArray[np.int64]], slack: int, seed: int) -> Attempt:
    """The best of several priority rules, of the tours and of seeded random variations of the better rules.

    Of those that end at most ``slack`` periods later than the soonest, the one with the least travel.
    """
    ledger, n = Ledger(network), len(network.duration)
    rules = _rules(network)
    tried = [place(network, key.tolist(), ledger) for key in [*rules, *(_by_tour(network, tour) for tour in tours)]]
    rng = np.random.default_rng(seed)
    for turn in range(min(FIRST // n, 100) if n else 0):
        key = rules[turn % 2].copy()
        key += rng.normal(0.0, 0.15 * max(float(np.ptp(key)), 1.0) * (0.2 + turn % 5), n)
        tried.append(place(network, key.tolist(), ledger))
    soonest = min(tried, key=lambda attempt: attempt.rank)
    return soonest if network.site is None else min(tried, key=lambda attempt: _score(attempt, soonest, slack))


def redone(network: Network, start: npt.NDArray[np.int64], ledger: Ledger) -> Attempt:
    """The tasks placed anew in the order of starts that were found without looking at single copies."""
    late = float(network.horizon + 1)
    return place(network, [float(at) if at >= 0 else late for at in start.tolist()], ledger)


def by_orders(network: Network, begin: Attempt, tours: list[npt.NDArray[np.int64]], slack: int, passes: int,
              seconds: float, seed: int, watch: Callable[[Attempt], bool]) -> Attempt:
    """Of arrangements that end at most ``slack`` periods later than the soonest found, one with little travel.

    At most so many ``passes``, or as many as the ``seconds`` allow.  ``watch`` is given every better attempt and says
    whether to go on.
    """
    ledger, rng, until = Ledger(network), np.random.default_rng(seed), time.monotonic() + seconds
    soonest, least = begin, begin
    orders = [*tours, _order_of(network, begin)]
    scored = sorted(((_score(place(network, _by_tour(network, order).tolist(), ledger), begin, slack), number)
                     for number, order in enumerate(orders)))
    order, score = orders[scored[0][1]], scored[0][0]
    for turn in range(passes):
        tried = _moved(order, rng)
        attempt = place(network, _by_tour(network, tried).tolist(), ledger)
        if attempt.rank[:3] < soonest.rank[:3]:
            soonest = attempt
        if _score(attempt, soonest, slack) < _score(least, soonest, slack):
            least = attempt
            if not watch(least):
                break
        found = _score(attempt, soonest, slack)
        if found <= score:
            order, score = tried, found
        if time.monotonic() > until or (turn % 16 == 15 and not watch(least)):
            break
    return least


def _score(attempt: Attempt, soonest: Attempt, slack: int) -> tuple[bool, int, float, float]:
    """Smaller is better: all that is compulsory, the weight, periods beyond the slack, travel."""
    beyond = max(attempt.makespan - soonest.makespan - slack, 0)
    return (attempt.stuck is not None, -attempt.weight, float(beyond), attempt.travel)


def _rules(network: Network) -> list[Keys]:
    """Priorities, the smallest first: latest finish, latest start, group by group, work still to follow."""
    late = network.late.astype(float)
    follow = np.zeros(len(late))
    for task in reversed(network.order):
        begin = min(max(int(network.early[task]), 0), network.horizon)
        later = max((follow[arc.task] + arc.ready[begin] - begin for arc in network.after[task]
                     if arc.ready[begin] <= network.horizon), default=float(network.duration[task]))
        follow[task] = max(later, network.duration[task])
    member = network.group >= 0
    size = np.bincount(network.group[member], network.duration[member], minlength=len(network.weight))
    worth = size / np.maximum(network.weight, 1e-9)
    rank = np.argsort(np.argsort(worth, kind="stable"), kind="stable") if len(worth) else np.zeros(0)
    by_group = late + np.where(member, (rank[network.group] if len(rank) else 0.0) * (network.horizon + 1.0), 0.0)
    return [late + network.duration, by_group, late, -follow]


def _by_tour(network: Network, tour: npt.NDArray[np.int64]) -> Keys:
    """Site after site in the order of the tour, each with its tasks in the order of precedence."""
    if network.site is None:
        return network.late.astype(float)
    place_of = np.empty(len(tour))
    place_of[tour] = np.arange(len(tour))
    step = np.empty(len(network.duration))
    step[network.order] = np.arange(len(network.order))
    return np.asarray(place_of[network.site] * (len(step) + 1.0) + step)


def _order_of(network: Network, attempt: Attempt) -> npt.NDArray[np.int64]:
    """Sites by the first task placed there."""
    if network.site is None or network.distance is None:
        return np.zeros(0, np.int64)
    first = np.full(len(network.distance), network.horizon + 1)
    placed = attempt.start >= 0
    np.minimum.at(first, network.site[placed], attempt.start[placed])
    return np.argsort(first, kind="stable")


def _moved(order: npt.NDArray[np.int64], rng: np.random.Generator) -> npt.NDArray[np.int64]:
    """A stretch of the order put elsewhere or turned round."""
    n = len(order)
    if n < 2:
        return order
    length = int(min(rng.geometric(0.2), n - 1))
    begin = int(rng.integers(0, n - length + 1))
    stretch, rest = order[begin: begin + length], np.delete(order, np.s_[begin: begin + length])
    if rng.random() < 0.3:
        stretch = stretch[::-1]
    far = int(rng.integers(0, len(rest) + 1)) if rng.random() < 0.5 else \
        int(np.clip(begin + rng.integers(-12, 13), 0, len(rest)))
    return np.insert(rest, far, stretch)
