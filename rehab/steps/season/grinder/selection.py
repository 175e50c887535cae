"""Which blocks are ground in which campaign, and in which order."""

from __future__ import annotations

from bisect import bisect_left
from typing import Final, NamedTuple

import numpy as np

from rehab.steps.season.grinder.grouping import cut
from rehab.steps.season.grinder.times import (
    EPS,
    Floats,
    Ints,
    Season,
    Spans,
    Starts,
    calendar_day,
    ends,
    following,
    morning,
    opening,
    placed,
    soonest,
    thread,
)

_FEW: Final = 8  # blocks of which every selection and order is tried
_TRIES: Final = 6  # missed blocks that are tried between others


class Laid(NamedTuple):
    """Campaigns that can be carried out: the blocks of each in order, with times."""

    orders: list[list[int]]
    starts: list[Floats]
    finishes: list[Floats]


def lay(season: Season, blocks: Ints, most: int) -> list[Laid]:
    """The best campaigns found for each number of them up to ``most``, as far as there are any."""
    first = [season.windows[block][0][0] for block in blocks]
    final = [season.windows[block][-1][1] for block in blocks]
    by_ready: list[int] = blocks[np.lexsort((blocks, final, first))].tolist()
    by_last: list[int] = blocks[np.lexsort((blocks, first, final))].tolist()
    best: dict[int, Laid] = {}

    def take(given: list[list[list[int]]]) -> None:
        for groups in given:
            laid = _settled(season, groups)
            if laid and (len(laid.orders) not in best or _worth(season, laid) > _worth(season, best[len(laid.orders)])):
                best[len(laid.orders)] = laid

    take(cut(season, by_ready, most, leave_out=False))
    if 1 in best and _size(best[1]) == len(blocks):
        return [best[number] for number in sorted(best)]
    kept = backward(season, by_ready, drop=True)
    bound = len(backward(season, by_ready, drop=True, common=True))
    take(cut(season, kept, most, leave_out=False))
    if 1 in best and _size(best[1]) == bound:
        return [best[number] for number in sorted(best)]
    for order in (kept, by_last):
        take(cut(season, order, most, leave_out=True))
    if len(blocks) <= _FEW:
        for groups in every(season, by_ready, most):
            picked = {block for group in groups for block in group}
            take([groups, *cut(season, [block for block in by_ready if block in picked], most, leave_out=False)])
    else:
        for number in sorted(best):
            if _size(best[number]) < bound:
                take([_squeezed(season, best[number].orders, blocks, bound)])
    return [best[number] for number in sorted(best)]


def backward(season: Season, blocks: list[int], drop: bool, common: bool = False) -> list[int]:
    """An order made from the season's end: of the blocks that may end by then, the one that is ready last.

    With ``drop``, blocks are left out so that all are ready in time: each time one is not, the longest so far.  With
    ``common`` they all may end on the last day that any of them may, and work is allowed on all days; then no more can
    be ground by any number of campaigns (Moore, An n job, one machine sequencing algorithm for minimizing the number of
    late jobs, Management Science 15(1), 1968, backwards in time).
    """
    windows = {block: season.windows[block] for block in blocks}
    final = max(window[-1][1] + window[-1][2] for window in windows.values())
    if common:
        windows = {block: [(window[0][0], final - season.load[block], season.load[block])]
                   for block, window in windows.items()}
    kept = sorted(blocks, key=lambda block: (windows[block][0][0], windows[block][-1][1], block))
    while True:
        left, order, late, time = kept.copy(), list[int](), False, final
        while left and not late:
            best, chosen = -1.0, (0, 0.0)
            for at in range(len(left) - 1, -1, -1):
                end, took = _last_end(windows[left[at]], time)
                if end < 0 and drop:
                    order.append(left[at])
                    late = True
                elif end > best + EPS:
                    best, chosen = end, (at, end - took)
                if late or end >= time - EPS:
                    break
            if not late:
                order.append(left.pop(chosen[0]))
                time = chosen[1] if best >= 0 else time - season.load[order[-1]]
        if not late:
            return order[::-1]
        kept.remove(max(order, key=lambda block: (season.load[block], -season.area[block], block)))


def forward(season: Season, blocks: list[int], begin: float) -> list[int]:
    """The blocks that can be ground in turn from ``begin``, in the order given but for those that may not yet."""
    left, order, time = list(blocks), list[int](), begin
    while left:
        soon, chosen = np.inf, (0, 0.0)
        for at, block in enumerate(left):
            starts = following(season, [(time, time)], block) if order else opening(season, time, block)
            if starts and starts[0][0] < soon - EPS:
                soon, chosen = starts[0][0], (at, starts[0][2])
            if soon <= time + EPS:
                break
        if soon == np.inf or (not order and soon > begin + 1):
            return order
        order.append(left.pop(chosen[0]))
        time = soon + chosen[1]
    return order


def _last_end(window: Starts, time: float) -> tuple[float, float]:
    """The last time up to ``time`` at which a block may end, and how long before it begins; -1 if there is none."""
    for low, high, took in reversed(window):
        if low + took <= time + EPS:
            return min(high + took, time), took
    return -1.0, 0.0


def every(season: Season, blocks: list[int], most: int) -> list[list[list[int]]]:
    """For 1 to ``most`` campaigns the most blocks, then the most area, of all selections and orders of a few blocks.

    A selection of blocks in so many campaigns is known by the times at which the last of it may end; adding a block
    to it, in the same campaign or another, leads to the next one.
    """
    may_end: dict[tuple[int, int], Spans] = {}  # selection as bits, campaigns

    def add(selection: int, number: int, spans: Spans) -> None:
        if spans:
            known = may_end.get((selection, number), [])
            may_end[selection, number] = ends([(low, high, 0.0) for low, high in (*known, *spans)])

    for bit, block in enumerate(blocks):
        add(1 << bit, 1, ends(opening(season, 0.0, block)))
    for selection in range(1, 1 << len(blocks)):
        for number in range(1, most + 1):
            spans = may_end.get((selection, number))
            for bit, block in enumerate(blocks):
                if spans and not selection >> bit & 1:
                    add(selection | 1 << bit, number, ends(following(season, spans, block)))
                    if number < most:
                        free = morning(spans[0][0]) + float(season.apart)
                        add(selection | 1 << bit, number + 1, ends(opening(season, free, block)))

    def worth(selection: int) -> tuple[int, float, int]:
        area = sum(season.area[block] for bit, block in enumerate(blocks) if selection >> bit & 1)
        return selection.bit_count(), round(float(area), 6), -selection

    found = []
    for number in range(1, most + 1):
        selection = max((made for made, campaigns in may_end if campaigns == number), key=worth, default=0)
        if selection:
            found.append(_traced(season, blocks, may_end, selection, number))
    return found


def _traced(season: Season, blocks: list[int], may_end: dict[tuple[int, int], Spans], selection: int,
            number: int) -> list[list[int]]:
    """The campaigns that lead to a selection, found from its soonest end back to its first block."""
    groups: list[list[int]] = [[]]
    end = may_end[selection, number][0][0]
    while selection:
        end, bit, opens = _step_back(season, blocks, may_end, selection, number, end)
        groups[0].insert(0, blocks[bit])
        selection &= ~(1 << bit)
        if opens and selection:
            number -= 1
            groups.insert(0, [])
            end = may_end[selection, number][0][0]
    return groups


def _step_back(season: Season, blocks: list[int], may_end: dict[tuple[int, int], Spans], selection: int, number: int,
               end: float) -> tuple[float, int, bool]:
    """Which block can end at ``end`` as the last of the selection, when the one before ends, and if it opens one."""
    for bit, block in enumerate(blocks):
        if not selection >> bit & 1:
            continue
        rest = selection & ~(1 << bit)
        spans = may_end.get((rest, number), []) if rest else []
        for low, high, took in following(season, spans, block):
            if low - EPS <= end - took <= high + EPS:
                return max(min(top, end - took) for bottom, top in spans if bottom <= end - took + EPS), bit, False
        before = may_end.get((rest, number - 1)) if rest else None
        if (not rest and number == 1) or before:
            free = morning(before[0][0]) + float(season.apart) if before else 0.0
            if any(low - EPS <= end - took <= high + EPS for low, high, took in opening(season, free, block)):
                return 0.0, bit, True
    raise AssertionError("a selection that was reached cannot be traced back")


def _size(laid: Laid) -> int:
    return sum(len(order) for order in laid.orders)


def _worth(season: Season, laid: Laid) -> tuple[int, float, float]:
    """Blocks, area, and then the sooner area ends the better."""
    done = [block for order in laid.orders for block in order]
    area = season.area[done]
    ending = calendar_day(season, np.concatenate(laid.finishes))
    return len(done), round(float(area.sum()), 6), -float((area * ending).sum())


def _settled(season: Season, groups: list[list[int]]) -> Laid | None:
    """The campaigns with their times; what does not fit is left out."""
    orders: list[list[int]] = []
    carried: list[int] = []
    for number, group in enumerate(groups):
        free = soonest(season, orders)
        wanted = [*carried, *group]
        if free is None or not wanted:
            return None
        order = _possible(season, wanted, free, number == len(groups) - 1)
        carried = [block for block in wanted if block not in set(order)]
        if order:
            orders.append(order)
    if not orders:
        return None
    if season.late:
        orders[-1] = _later(season, orders)
    times = []
    for number, order in enumerate(orders):
        free = soonest(season, orders[:number])
        one = placed(season, order, free, number == len(orders) - 1) if free is not None else None
        if one is None:
            return None
        times.append(one)
    return Laid(orders, [one for one, _ in times], [end for _, end in times])


def _possible(season: Season, blocks: list[int], free: float, final: bool) -> list[int]:
    """The blocks in an order in which they can be ground in one campaign: as many as are found to fit."""
    days_off = any(season.resumes[block] is not None for block in blocks)
    if not days_off and thread(season, blocks, free) is not None:
        return blocks
    turned = backward(season, blocks, drop=False)
    if not days_off and thread(season, turned, free) is not None:
        return turned
    # When it would begin if the blocks followed one another in this order without days off, and some days later.
    first = [season.windows[block][0][0] for block in blocks]
    begin = max(free, float(np.max(first - np.concatenate([[0.0], np.cumsum(season.load[blocks])[:-1]]))))
    options = [forward(season, blocks, morning(begin) + float(more)) for more in (0, season.apart)]
    options += [_through(season, order, free) for order in (turned, blocks)]
    most = max(len(order) for order in options)

    def worth(order: list[int]) -> float:
        """Late is late, and soon is soon with few days of waiting between."""
        times = placed(season, order, free, final) if order else None
        if times is None:
            return -np.inf
        return float(times[0][0]) if final and season.late else float(times[0][0] - 2 * times[1][-1])

    return max((order for order in options if len(order) == most), key=worth)


def _through(season: Season, order: list[int], free: float) -> list[int]:
    """The blocks of an order that can be ground one after the other, without those before a gap or those after it."""
    best: list[int] = []
    begin = 0
    while begin < len(order) - len(best):
        kept, failed = list[int](), len(order)
        spans: Spans = []
        for at in range(begin, len(order)):
            starts = following(season, spans, order[at]) if kept else opening(season, free, order[at])
            if starts:
                kept.append(order[at])
                spans = ends(starts)
            else:
                failed = min(failed, at)
        best = max(best, kept, key=len)
        begin = max(failed, begin + 1)
    return best


def _later(season: Season, orders: list[list[int]]) -> list[int]:
    """The last campaign's blocks in the order in which it may begin later."""
    given, free = orders[-1], soonest(season, orders[:-1])
    other = backward(season, given, drop=False)
    if free is None or other == given:
        return given
    one, two = placed(season, given, free, True), placed(season, other, free, True)
    return other if one and two and two[0][0] > one[0][0] + EPS else given


def _squeezed(season: Season, orders: list[list[int]], blocks: Ints, bound: int) -> list[list[int]]:
    """The campaigns with blocks between others that were left out, the shortest first, as far as they fit."""
    there = {block for order in orders for block in order}
    missed = sorted((block for block in blocks.tolist() if block not in there), key=lambda block: season.load[block])
    for block in missed[:_TRIES]:
        if len(there) < bound:
            orders = _with(season, orders, block)
            there = {block for order in orders for block in order}
    return orders


def _with(season: Season, orders: list[list[int]], block: int) -> list[list[int]]:
    """The campaigns with one more block, if it fits by when it is ready or must be done, in front or at the end."""
    first, final = season.windows[block][0][0], season.windows[block][-1][1]
    for number, order in enumerate(orders):
        free = soonest(season, orders[:number])
        found = thread(season, order, free) if free is not None else None
        if free is None or found is None:
            return orders
        ready = bisect_left(sorted(season.windows[one][0][0] for one in order), first)
        until = bisect_left(sorted(season.windows[one][-1][1] for one in order), final)
        for place in dict.fromkeys((ready, until, 0, len(order))):
            starts = following(season, ends(found[place - 1]), block) if place else opening(season, free, block)
            for one in order[place:]:
                starts = following(season, ends(starts), one) if starts else []
            tried = [*orders[:number], [*order[:place], block, *order[place:]], *orders[number + 1:]]
            if starts and (number == len(orders) - 1 or soonest(season, tried) is not None):
                return tried
    return orders
