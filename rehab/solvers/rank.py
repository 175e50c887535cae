"""The simple rules by which work is picked without an optimiser: worst first, best ratio first, incremental ratio.

They know nothing of streets: arrays in, chosen rows out, so that what an optimum gains over them can be measured on
any data.  The input is that of :func:`rehab.solvers.choice.select`: ``value[n]``, ``cost[n, r]`` (dense or scipy
sparse), integer labels ``group[n]``, ``budget[r]`` and perhaps ``must[n]``.  At most one alternative of a group is
taken.  An alternative of zero cost and zero value is "nothing": it stands for its group if no other of it is taken
(a group without one is then missing from the answer).  Rows with a ``must`` are taken first, whatever they cost, and
what they use is counted.

An alternative fits if no resource of which its cost is positive ends above ``budget * (1 + 1e-9)``.  A resource of
which its cost is zero or negative never stops it: these rules look at what they spend and know of no floors
(a least use, written as a negative cost under a negative budget), so they may miss one.

Every function returns the chosen rows, groups by rising label, and raises :class:`ValueError`, naming the row, for
figures that are not finite, shapes that do not agree, and two ``must`` in one group.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
from scipy import sparse

from rehab.solvers.choice.problem import TOLERANCE, matrix

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

CHUNK = 50_000
"""Rows turned into Python numbers at a time: little memory, and what cannot fit any more is left out at once."""

Step = tuple[float, float, int]
NOTHING: dict[int, float] = {}


class _Case(NamedTuple):
    """The checked input, and where the rule stands: ``held[g]`` is the row taken by each group, -1 for none."""

    value: Floats
    cost: sparse.csr_array
    of: Ints
    nothing: Flags
    limit: list[float]
    used: list[float]
    held: Ints
    starts: memoryview[int]
    """Where the entries of each row start in ``columns`` and ``uses``: the parts of ``cost``, quick to read singly."""
    columns: memoryview[int]
    uses: memoryview[float]
    back: dict[int, dict[int, float]]
    """What each group would give back, by resource, if it let go of the row it holds."""


def worst_first(badness: npt.ArrayLike, value: npt.ArrayLike, cost: object, group: npt.ArrayLike, budget: npt.ArrayLike,
                step: npt.ArrayLike, must: npt.ArrayLike | None = None) -> Ints:
    """The worst first, step after step, whatever it gains.

    ``step[n]`` is when an alternative would be carried out, ``badness[n]`` how bad its group then is (greater is
    worse; of differing figures of one group and step the greatest counts).  Steps come by rising ``step``; in each the
    groups from the worst to the best, equals by their first row; each takes the first of its alternatives in that step,
    in the caller's order, that fits, and is served once.  So the caller's order is the order of preference within a
    group: by the usual rule the heaviest work first, lighter work only where that does not fit.
    """
    case = _case(value, cost, group, budget, must)
    rows = np.flatnonzero(~case.nothing)
    bad, steps = _finite(badness, "badness", len(case.value))[rows], _finite(step, "step", len(case.value))[rows]
    if not len(rows):
        return _answer(case)
    order = np.lexsort((rows, case.of[rows], steps))
    rows, bad, steps = rows[order], bad[order], steps[order]
    first = np.flatnonzero(np.append(True, (np.diff(steps) != 0) | (np.diff(case.of[rows]) != 0)))
    size = np.diff(first, append=len(rows))
    worst = np.repeat(np.maximum.reduceat(bad, first), size)
    return _down(case, rows[np.lexsort((rows, np.repeat(rows[first], size), -worst, steps))])


def by_ratio(value: npt.ArrayLike, price: npt.ArrayLike, cost: object, group: npt.ArrayLike, budget: npt.ArrayLike,
             must: npt.ArrayLike | None = None) -> Ints:
    """The best benefit-cost ratio first, without second thoughts.

    ``price[n]`` is the money of an alternative over all resources, not negative.  All alternatives of a positive value
    stand in one list by falling value per price (those without a price first), ties by row; each is taken if it fits
    and its group holds none yet.
    """
    case = _case(value, cost, group, budget, must)
    prices = _prices(price, case)
    rows = np.flatnonzero(case.value > 0)
    return _down(case, rows[np.argsort(-_ratio(case.value[rows], prices[rows]), kind="stable")])


def incremental(value: npt.ArrayLike, price: npt.ArrayLike, cost: object, group: npt.ArrayLike, budget: npt.ArrayLike,
                must: npt.ArrayLike | None = None) -> Ints:
    """Incremental benefit-cost: the best ratio of extra value to extra price first, with upgrades.

    A step takes a group from what it holds (at first nothing) to an alternative of more value.  The steps of all
    groups stand in one list by falling extra value per extra price; one that costs no more comes before all others;
    ties by the greater extra value, then by row.  A step is made if what it needs fits once the alternative that it
    replaces is given back; the steps of its group are then worked out anew from what it holds.  A step that does not
    fit at its turn is passed over, and is looked at again only if its group makes another.  Groups with a ``must`` keep
    it.  ``price[n]`` as in :func:`by_ratio`.
    """
    case = _case(value, cost, group, budget, must)
    prices = _prices(price, case)
    order = np.argsort(case.of, kind="stable")
    first = np.searchsorted(case.of[order], np.arange(len(case.held) + 1))
    rows = np.flatnonzero((case.value > 0) & (case.held[case.of] < 0))
    fresh = _steps(rows, case.value[rows], prices[rows], 4096, case)
    of = _view(case.of)
    heads: list[Step] = []  # the best step not yet looked at of every group that holds something
    rest: dict[int, Iterator[Step]] = {}

    def renewed(row: int) -> Iterator[Step]:
        own = of[row]
        rows = order[first[own] : first[own + 1]]
        rows = rows[case.value[rows] > case.value[row]]
        return _steps(rows, case.value[rows] - case.value[row], prices[rows] - prices[row], 16)

    step = next(fresh, None)
    while step is not None or heads:
        if step is not None and (not heads or step < heads[0]):
            row, step = step[2], next(fresh, None)
            own = of[row]
            if own not in rest and _take(case, row):  # else its group has moved on
                rest[own] = renewed(row)
                if (head := next(rest[own], None)) is not None:
                    heapq.heappush(heads, head)
            continue
        row = heads[0][2]
        own = of[row]
        if _take(case, row):
            rest[own] = renewed(row)
        if (head := next(rest[own], None)) is None:
            heapq.heappop(heads)
        else:
            heapq.heapreplace(heads, head)
    return _answer(case)


def _steps(rows: Ints, gain: Floats, extra: Floats, chunk: int, case: _Case | None = None) -> Iterator[Step]:
    """Steps to ``rows``, the best first, as (-ratio, -gain, row), which also is how they are compared.

    With a ``case`` the steps of groups that hold something by then are left out, ``chunk`` by ``chunk``.
    """
    ratio = _ratio(gain, extra)
    order = np.lexsort((rows, -gain, -ratio))
    for at in range(0, len(order), chunk):
        part = order[at : at + chunk]
        if case is not None:
            part = part[case.held[case.of[rows[part]]] < 0]
        yield from zip((-ratio[part]).tolist(), (-gain[part]).tolist(), rows[part].tolist(), strict=True)


def _ratio(gain: Floats, extra: Floats) -> Floats:
    """Positive gain per extra price, infinite where nothing (that a ratio could be made of) is to pay."""
    made: Floats = np.divide(gain, extra, out=np.full(len(gain), np.inf), where=extra > gain * 1e-300)
    return made


def _down(case: _Case, rows: Ints) -> Ints:
    """Take each of ``rows``, in this order, that fits and whose group holds nothing yet."""
    only_spending = not (case.cost.data < 0).any()  # what does not fit now never will
    for at in range(0, len(rows), CHUNK):
        part = rows[at : at + CHUNK]
        part = part[case.held[case.of[part]] < 0]
        if only_spending:
            part = part[_might_fit(case, part)]
        for row in part.tolist():
            if case.held[case.of[row]] < 0:
                _take(case, row)
    return _answer(case)


def _might_fit(case: _Case, rows: Ints) -> Flags:
    """Whether each row, taken alone now, would fit."""
    cost = case.cost[rows]
    over = (cost.data > 0) & (np.array(case.used)[cost.indices] + cost.data > np.array(case.limit)[cost.indices])
    fits = np.ones(len(rows), bool)
    fits[np.repeat(np.arange(len(rows)), np.diff(cost.indptr))[over]] = False
    return fits


def _take(case: _Case, row: int, *, at_any_cost: bool = False) -> bool:
    """Let the row's group hold it, in place of what it held, if that fits; whether it was done."""
    group, used, limit, columns, uses = int(case.of[row]), case.used, case.limit, case.columns, case.uses
    back = case.back.get(group, NOTHING)
    start, end = case.starts[row], case.starts[row + 1]
    if not at_any_cost:
        for entry in range(start, end):
            use, resource = uses[entry], columns[entry]
            extra = use - back[resource] if resource in back else use
            if extra > 0 and used[resource] + extra > limit[resource] and (use > 0 or limit[resource] >= 0):
                return False
        for resource, use in back.items():
            # a negative cost given back raises the use too: of concern unless it served a floor, which are not known
            if use < 0 <= limit[resource] < used[resource] - use and resource not in columns[start:end]:
                return False
    for resource, use in back.items():
        used[resource] -= use
    case.back[group] = {columns[entry]: uses[entry] for entry in range(start, end)}
    for resource, use in case.back[group].items():
        used[resource] += use
    case.held[group] = row
    return True


def _answer(case: _Case) -> Ints:
    """The rows held; "nothing" for the groups that hold none and have it."""
    idle = np.flatnonzero(case.nothing & (case.held[case.of] < 0))[::-1]
    chosen = case.held.copy()
    chosen[case.of[idle]] = idle  # of several the first, written last
    return chosen[chosen >= 0]


# --- the input ------------------------------------------------------------------------------------------


def _case(value: npt.ArrayLike, cost: object, group: npt.ArrayLike, budget: npt.ArrayLike,
          must: npt.ArrayLike | None) -> _Case:
    """The checked input with the ``must`` rows taken."""
    values = np.array(value, dtype=float, ndmin=1)
    labels, limits = np.array(group, ndmin=1), np.array(budget, dtype=float, ndmin=1)
    values, limits = _finite(values, "value", len(values)), _finite(limits, "budget", len(limits))
    if labels.shape != values.shape or (len(labels) and labels.dtype.kind not in "iu"):
        raise ValueError(f"group must be {len(values)} integers, got the shape {labels.shape} of {labels.dtype}")
    costs = matrix(cost, len(values), len(limits))
    names, of = np.unique(labels, return_inverse=True)
    free = np.diff(costs.indptr) == 0
    room = limits + TOLERANCE * np.abs(limits)
    case = _Case(values, costs, of.astype(np.int64), free & (values == 0), room.tolist(), [0.0] * len(limits),
                 np.full(len(names), -1, np.int64), _view(costs.indptr), _view(costs.indices),
                 _view(costs.data), {})
    forced = np.zeros(len(values), bool) if must is None else np.array(must, dtype=bool, ndmin=1)
    if forced.shape != values.shape:
        raise ValueError(f"must has to be of the length of value, got {forced.shape}")
    for row in np.flatnonzero(forced).tolist():
        if (other := int(case.held[case.of[row]])) >= 0:
            raise ValueError(f"two forced alternatives in one group: rows {other} and {row}")
        _take(case, row, at_any_cost=True)
    return case


def _view(array: Any) -> Any:
    """Single entries of an array as Python numbers, several times as fast as from the array."""
    return memoryview(array)


def _finite(figures: npt.ArrayLike, name: str, length: int) -> Floats:
    """The figures as floats, one per alternative; :class:`ValueError` names the first that is not finite."""
    made = np.array(figures, dtype=float, ndmin=1)
    if made.shape != (length,):
        raise ValueError(f"{name} must be {length} figures, got the shape {made.shape}")
    wrong = np.flatnonzero(~np.isfinite(made))
    if len(wrong):
        raise ValueError(f"{name}[{int(wrong[0])}] must be a finite number")
    return made


def _prices(price: npt.ArrayLike, case: _Case) -> Floats:
    """The prices, none negative."""
    made = _finite(price, "price", len(case.value))
    wrong = np.flatnonzero(made < 0)
    if len(wrong):
        raise ValueError(f"price[{int(wrong[0])}] must be zero or a positive number")
    return made
