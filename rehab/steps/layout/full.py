"""Full-depth repairs along one column of panels: the valid set of least cost.

A repair is an interval along the column, over the full width of the panel (FHWA, source ``fhwa-full-depth``).  It
may end at a joint without dowels, a foot past one with dowels, or inside a panel where the least remainder stays to
the next joint; never where a casting, a patch or a crack that stays leaves too little.  Two repairs keep the least
remainder between them.  Among all such sets that take out the damage, the one of least cost is found by dynamic
programming over the damage from left to right: which of it to join, and where to cut.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable
from itertools import pairwise
from typing import Final

from rehab.steps.layout.cuts import cuts, gain, may_begin, may_end, pairs, usual_pairs
from rehab.steps.layout.lane import EPS, Lane, Span, at_joint
from rehab.steps.layout.rules import Prices, Rules

#: repairs up to some damage: their cost, what ties are decided by, the end of the last and all of them
State = tuple[float, float, float, tuple[Span, ...]]
_FAR: Final = -1e9
_CENT: Final = 1e-4  #: costs that differ by less are alike, and the ties decide


def least_cost(damage: Iterable[Span], lane: Lane, rules: Rules, prices: Prices) -> list[Span]:
    """The full-depth repairs of one column that take out all ``damage`` at least cost, from left to right."""
    found = [_grown(part, lane.joints, rules) for part in damage] if rules.about_the_damage else list(damage)
    groups = merged(found)
    if not groups:
        return []
    alone = [best_one(a, b, lane, rules, prices) for a, b in groups]
    gap = max(rules.least_remainder_ft, prices.join_ft)

    def together(first: int, last: int) -> list[Span]:
        if last - first == 1:
            return [alone[first][1]]
        return _together(groups[first:last], alone[first:last], gap, lane, rules, prices)

    # What may be better joined with the next, or crowds it, is laid out together with it.
    breaks = [at + 1 for at in range(len(groups) - 1) if _apart(groups, alone, at, gap, lane, prices)]
    clusters = list(pairwise([0, *breaks, len(groups)]))
    laid = [together(*cluster) for cluster in clusters]
    at = 0
    while at + 1 < len(laid):
        if laid[at + 1][0][0] - laid[at][-1][1] >= gap - EPS:
            at += 1
            continue
        clusters[at:at + 2] = [(clusters[at][0], clusters[at + 1][1])]
        laid[at:at + 2] = [together(*clusters[at])]
        at = max(at - 1, 0)
    return [span for spans in laid for span in spans]


def merged(parts: Iterable[Span]) -> list[Span]:
    """Damage that overlaps is one."""
    merged: list[Span] = []
    for a, b in sorted(parts):
        if merged and a <= merged[-1][1] + EPS:
            merged[-1] = (merged[-1][0], max(merged[-1][1], b))
        else:
            merged.append((a, b))
    return merged


def _apart(groups: list[Span], alone: list[tuple[float, Span]], at: int, gap: float, lane: Lane,
           prices: Prices) -> bool:
    """Whether damage ``at`` and the next can be repaired each for itself, and no joining could cost less.

    A joined repair costs at least its end and the length from damage to damage, less the patches it takes out; if the
    two alone cost no more, joining more of them cannot pay either.
    """
    (cost, (_, end)), (more, (start, _)) = alone[at], alone[at + 1]
    low, high = groups[at][0], groups[at + 1][1]
    return start - end >= gap - EPS and cost + more <= _at_least(low, high, lane, prices) + EPS


def _at_least(a: float, b: float, lane: Lane, prices: Prices) -> float:
    """What a repair over damage from a to b costs at least, however far it goes for the sake of patches."""
    saved = lane.patches.up_to(b) - lane.patches.up_to(a)
    return (prices.each_usd + prices.per_ft * (b - a) - saved - gain(a, -1, lane, prices)
            - gain(b, 1, lane, prices))


def best_one(a: float, b: float, lane: Lane, rules: Rules, prices: Prices) -> tuple[float, Span]:
    """Cost and place of the cheapest repair that takes out damage from a to b; patches that go with it are saved."""
    found = usual_pairs(*cuts(a, b, lane, rules, prices), lane, rules, prices)
    least = min(cost for cost, _, _ in found)
    ties = [(*_ties(start, end, a, b, lane.joints), (start, end)) for cost, start, end in found if cost < least + _CENT]
    return least, min(ties)[-1]


def _together(groups: list[Span], alone: list[tuple[float, Span]], gap: float, lane: Lane, rules: Rules,
              prices: Prices) -> list[Span]:
    """The cheapest repairs of damage that lies near together, any neighbours joined.

    ``alone`` holds cost and place of each by itself.  Two that crowd each other can always become one from the
    beginning of the first to the end of the second, at no more than their sum and ``crowded``; a longer repair that
    costs more than its parts so joined is not tried.
    """
    crowded = max(prices.per_ft * gap + prices.joint_usd - prices.each_usd, 0.0)
    if rules.whole_panel_from_share < 1:
        crowded += prices.per_ft * 2 * (lane.joints[1] - lane.joints[0])
    states: list[list[State]] = [[] for _ in range(len(groups) + 1)]
    states[0].append((0.0, 0.0, _FAR, ()))
    for at in range(len(groups)):
        a, apart, reached = groups[at][0], 0.0, _FAR
        states[at] = _undominated(states[at])
        for last in range(at, len(groups)):
            b, (cost, (start, end)) = groups[last][1], alone[last]
            # What patches save is saved once, though several parts may take a patch out.
            twice = lane.patches.up_to(min(end, max(reached, start))) - lane.patches.up_to(start)
            apart, reached = apart + cost + twice + crowded * (last > at), max(reached, end)
            if last > at and _at_least(a, b, lane, prices) > apart:
                continue
            begin, finish = cuts(a, b, lane, rules, prices)
            usual = usual_pairs(begin, finish, lane, rules, prices)
            for cost, tie, end_before, repairs in states[at]:
                first = round(end_before + gap, 6)
                found = usual
                # Where the repair before bars the usual cuts, this one may begin as soon as it may.
                if begin and begin[0] < first <= a and first > lane.joints[0] and may_begin(first, lane, rules):
                    end = first + rules.least_length_ft
                    more_ends = [end] if b < end <= lane.joints[-1] and may_end(end, lane, rules) else []
                    found = usual + pairs([first], finish + more_ends, lane, rules, prices)
                for more, start, end in found:
                    if start >= first - EPS:
                        interior, off, _ = _ties(start, end, a, b, lane.joints)
                        tied = tie + interior + 1e-3 * off
                        states[last + 1].append((cost + more, tied, end, (*repairs, (start, end))))
    if not states[-1]:  # they crowd each other however they are parted
        return [best_one(groups[0][0], groups[-1][1], lane, rules, prices)[1]]
    return list(min(states[-1], key=lambda state: (round(state[0], 4), round(state[1], 6), state[3]))[3])


def _undominated(states: list[State]) -> list[State]:
    """States for which no other ends earlier at less cost."""
    kept: list[State] = []
    for state in sorted(states, key=lambda state: (round(state[2], 6), round(state[0], 4), state[1], state[3])):
        if not kept or (round(state[0], 4), round(state[1], 6)) < (round(kept[-1][0], 4), round(kept[-1][1], 6)):
            kept.append(state)
    return kept


def _ties(start: float, end: float, a: float, b: float, joints: list[float]) -> tuple[float, float, float]:
    """What decides between repairs of one cost: fewer new joints inside panels, then even beyond the damage."""
    interior = float(not at_joint(start, joints)) + float(not at_joint(end, joints))
    return interior, round(abs((a - start) - (end - b)), 4), round(start, 4)


def _grown(part: Span, joints: list[float], rules: Rules) -> Span:
    """Damage grown about its middle to the least length; within its panel where that is long enough."""
    low = joints[max(bisect_right(joints, part[0] + EPS) - 1, 0)]
    high = joints[min(bisect_left(joints, part[1] - EPS), len(joints) - 1)]
    if high - low < rules.least_length_ft:
        low, high = joints[0], joints[-1]
    length = max(part[1] - part[0], min(rules.least_length_ft, high - low))
    start = min(max((part[0] + part[1] - length) / 2, low), high - length)
    return start, start + length
