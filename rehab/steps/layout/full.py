"""Full-depth repairs along one column of panels: the valid set of least cost.

A repair is an interval along the column, over the full width of the panel (FHWA, source ``fhwa-full-depth``).  It
may end at a joint without dowels, a foot past one with dowels, or inside a panel where the least remainder stays to
the next joint; never where a casting, a patch or a crack that stays leaves too little.  Two repairs keep the least
remainder between them.  Among all such sets that take out the damage, the one of least cost is found by dynamic
programming over the damage from left to right: which of it to join, and where to cut.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable
from dataclasses import replace
from itertools import pairwise
from typing import Final, NamedTuple

from rehab.steps.layout.rules import Prices, Rules

Span = tuple[float, float]
#: repairs up to some damage: their cost, what ties are decided by, the end of the last and all of them
State = tuple[float, float, float, tuple[Span, ...]]
_EPS: Final = 1e-6
_FAR: Final = -1e9
_CENT: Final = 1e-4  #: costs that differ by less are alike, and the ties decide
_LOOK_PANELS: Final = 4  #: panels ahead in which patches may be worth a longer repair; further ones never are


class Spans:
    """Intervals along a column, each with a figure of its own, found fast by where they lie."""

    def __init__(self, spans: Iterable[tuple[float, float, float]]) -> None:
        self.all = sorted(spans)
        self._lows = [span[0] for span in self.all]
        self._widest = max((span[1] - span[0] for span in self.all), default=0.0)
        self._edges, self._sums = _running(self.all)

    def over(self, low: float, high: float) -> list[tuple[float, float, float]]:
        """Intervals that overlap the one from low to high."""
        first, last = bisect_left(self._lows, low - self._widest), bisect_left(self._lows, high)
        return [span for span in self.all[first:last] if span[1] > low]

    def up_to(self, x: float) -> float:
        """Figure times length of all intervals before x, and of the parts before x of those that hold it."""
        at = bisect_right(self._edges, x)
        if at == 0:
            return 0.0
        if at == len(self._edges):
            return self._sums[-1]
        low, high = self._edges[at - 1:at + 1]
        return self._sums[at - 1] + (self._sums[at] - self._sums[at - 1]) * (x - low) / (high - low)


def _running(spans: list[tuple[float, float, float]]) -> tuple[list[float], list[float]]:
    """The edges of the intervals, and figure times length of all up to each edge."""
    edges = sorted({edge for low, high, _ in spans for edge in (low, high)})
    slopes = dict.fromkeys(edges, 0.0)
    for low, high, figure in spans:
        slopes[low] += figure
        slopes[high] -= figure
    sums, slope = [0.0], 0.0
    for low, high in pairwise(edges):
        slope += slopes[low]
        sums.append(sums[-1] + slope * (high - low))
    return edges, sums


class Lane(NamedTuple):
    """One column of panels, feet from the start of the block.

    ``joints`` holds every joint including both ends of the block; ``no_end`` and ``no_begin`` are open intervals in
    which no repair may end or begin; ``patches`` are shallow damage with what patching it costs per foot along the
    column: a full-depth repair over it saves that.
    """

    joints: list[float]
    dowelled: bool
    no_end: Spans
    no_begin: Spans
    patches: Spans


def lane_of(joints: list[float], dowelled: bool, no_end: Iterable[Span] = (), no_begin: Iterable[Span] = (),
            patches: Iterable[tuple[float, float, float]] = ()) -> Lane:
    """A column from plain lists."""
    return Lane(joints, dowelled, Spans((a, b, 0.0) for a, b in no_end), Spans((a, b, 0.0) for a, b in no_begin),
                Spans(patches))


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
        if laid[at + 1][0][0] - laid[at][-1][1] >= gap - _EPS:
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
        if merged and a <= merged[-1][1] + _EPS:
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
    return start - end >= gap - _EPS and cost + more <= _at_least(low, high, lane, prices) + _EPS


def _at_least(a: float, b: float, lane: Lane, prices: Prices) -> float:
    """What a repair over damage from a to b costs at least, however far it goes for the sake of patches."""
    saved = lane.patches.up_to(b) - lane.patches.up_to(a)
    return (prices.each_usd + prices.per_ft * (b - a) - saved - _gain(a, -1, lane, prices)
            - _gain(b, 1, lane, prices))


def _gain(x: float, way: int, lane: Lane, prices: Prices) -> float:
    """The most that going on beyond x for the sake of patches can save."""
    ahead = _LOOK_PANELS * (lane.joints[1] - lane.joints[0])
    spans = lane.patches.over(x, x + ahead) if way > 0 else lane.patches.over(x - ahead, x)
    here = lane.patches.up_to(x)
    return max(0.0, *(way * (lane.patches.up_to(edge) - here) - prices.per_ft * way * (edge - x)
                for low, high, _ in spans for edge in (low, high) if way * (edge - x) > 0), 0.0)


def best_one(a: float, b: float, lane: Lane, rules: Rules, prices: Prices) -> tuple[float, Span]:
    """Cost and place of the cheapest repair that takes out damage from a to b; patches that go with it are saved."""
    pairs = _usual(*_cuts(a, b, lane, rules, prices), lane, rules, prices)
    least = min(cost for cost, _, _ in pairs)
    ties = [(*_ties(start, end, a, b, lane.joints), (start, end)) for cost, start, end in pairs if cost < least + _CENT]
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
            begin, finish = _cuts(a, b, lane, rules, prices)
            usual = _usual(begin, finish, lane, rules, prices)
            for cost, tie, end_before, repairs in states[at]:
                first = round(end_before + gap, 6)
                found = usual
                # Where the repair before bars the usual cuts, this one may begin as soon as it may.
                if begin and begin[0] < first <= a and first > lane.joints[0] and _may_begin(first, lane, rules):
                    end = first + rules.least_length_ft
                    more_ends = [end] if b < end <= lane.joints[-1] and _may_end(end, lane, rules) else []
                    found = usual + _pairs([first], finish + more_ends, lane, rules, prices)
                for more, start, end in found:
                    if start >= first - _EPS:
                        interior, off, _ = _ties(start, end, a, b, lane.joints)
                        tied = tie + interior + 1e-3 * off
                        states[last + 1].append((cost + more, tied, end, (*repairs, (start, end))))
    return list(min(states[-1], key=lambda state: (round(state[0], 4), round(state[1], 6), state[3]))[3])


def _undominated(states: list[State]) -> list[State]:
    """States for which no other ends earlier at less cost."""
    kept: list[State] = []
    for state in sorted(states, key=lambda state: (round(state[2], 6), round(state[0], 4), state[1], state[3])):
        if not kept or (round(state[0], 4), round(state[1], 6)) < (round(kept[-1][0], 4), round(kept[-1][1], 6)):
            kept.append(state)
    return kept


def inner_joints(start: float, end: float, joints: list[float], past_ft: float, longest_ft: float) -> int:
    """Transverse joints to be remade inside a repair.

    Those of the street that it covers, in line with the next column, but for one that its end takes out (no more than
    ``past_ft`` inside); and more of them where a panel would be longer than it may be.
    """
    first, last = bisect_right(joints, start + past_ft + _EPS), bisect_left(joints, end - past_ft - _EPS)
    kept = [start, *joints[first:last], end]
    return len(kept) - 2 + sum(max(0, -int(-(b - a - _EPS) // longest_ft) - 1) for a, b in pairwise(kept))


def _ties(start: float, end: float, a: float, b: float, joints: list[float]) -> tuple[float, float, float]:
    """What decides between repairs of one cost: fewer new joints inside panels, then even beyond the damage."""
    interior = float(not _at(start, joints)) + float(not _at(end, joints))
    return interior, round(abs((a - start) - (end - b)), 4), round(start, 4)


def _at(x: float, joints: list[float]) -> bool:
    at = bisect_left(joints, x - _EPS)
    return at < len(joints) and joints[at] <= x + _EPS


def _cuts(a: float, b: float, lane: Lane, rules: Rules, prices: Prices) -> tuple[list[float], list[float]]:
    """Where a repair over damage from a to b may begin and end, among them the cuts of one of least cost.

    Cost grows with length, so a cut lies at the damage, at a joint or past it, at the least remainder, where a zone
    without cuts or a patch ends, or a least length from the other cut.
    """
    low, high = lane.joints[0], lane.joints[-1]
    least = min(rules.least_length_ft, high - low)
    slack = max(least - (b - a), 0.0)
    middle = min(max((a + b - least) / 2, low), high - least)
    starts = [*_begins(a, slack, lane, rules, prices), b - least, middle]
    ends = [*_ends(b, slack, lane, rules, prices), a + least, middle + least]
    if slack > 0:
        starts, ends = starts + [end - least for end in ends], ends + [start + least for start in starts]
    begin = {round(x, 6) for x in starts if low - _EPS <= x <= a + _EPS}
    finish = {round(x, 6) for x in ends if b - _EPS <= x <= high + _EPS}
    return ([x for x in sorted(begin) if _may_begin(x, lane, rules)],
            [x for x in sorted(finish) if _may_end(x, lane, rules)])


def _pairs(begin: list[float], finish: list[float], lane: Lane, rules: Rules,
           prices: Prices) -> list[tuple[float, float, float]]:
    """Valid repairs with these cuts: cost, beginning, end.  What patches would have cost is taken off."""
    low, high = lane.joints[0], lane.joints[-1]
    least = min(rules.least_length_ft, high - low)
    cost = _costs(lane, rules, prices)
    left, right = [(x, *cost(x, True)) for x in begin], [(x, *cost(x, False)) for x in finish]
    past = rules.past_joint_ft if lane.dowelled else 0.0
    long = lane.joints[1] + 2 * past > prices.longest_ft
    found = []
    for start, less, before in left:
        for end, more, after in right:
            if end - start >= least - _EPS and _fits(start, end, lane, rules):
                inner = (inner_joints(start, end, lane.joints, past, prices.longest_ft) if long
                         else max(after - before, 0))
                found.append((prices.each_usd + more - less + prices.joint_usd * inner, start, end))
    return found


def _usual(begin: list[float], finish: list[float], lane: Lane, rules: Rules,
           prices: Prices) -> list[tuple[float, float, float]]:
    """As :func:`_pairs`, and the whole column, which is always valid, where there is no other."""
    return _pairs(begin, finish, lane, rules, prices) or _pairs(
        [lane.joints[0]], [lane.joints[-1]], lane, replace(rules, whole_panel_from_share=1.0), prices)


def _costs(lane: Lane, rules: Rules, prices: Prices) -> Callable[[float, bool], tuple[float, int]]:
    """What a cut adds to the cost of a repair and the joints before it: two cuts differ by what lies between."""
    past = rules.past_joint_ft if lane.dowelled else 0.0

    def at(x: float, begins: bool) -> tuple[float, int]:
        joints = bisect_right(lane.joints, x + past + _EPS) if begins else bisect_left(lane.joints, x - past - _EPS)
        return prices.per_ft * x - lane.patches.up_to(x), joints

    return at


def _ends(b: float, slack: float, lane: Lane, rules: Rules, prices: Prices) -> list[float]:
    """Where a repair may end that reaches to b or up to ``slack`` beyond: up to the first joint that is valid.

    It goes on beyond only as far as the patches out there are worth.
    """
    past = rules.past_joint_ft if lane.dowelled else 0.0
    joints, ends, limit = lane.joints, [b], _FAR
    for at in range(bisect_left(joints, b - past - _EPS), len(joints)):
        joint, end = joints[at], min(joints[at] + past, joints[-1])
        ends += [joint - rules.least_remainder_ft, end]
        if joint > b + slack + _EPS and _may_end(end, lane, rules):
            limit = _worthwhile(end, 1, lane, prices) if limit == _FAR else limit
            if end >= limit - _EPS:
                break
    zones = (*lane.no_end.over(b, ends[-1]), *lane.patches.over(b, ends[-1] + _EPS))
    return ends + [x for low, high, _ in zones for x in (low, high)]


def _begins(a: float, slack: float, lane: Lane, rules: Rules, prices: Prices) -> list[float]:
    """Where a repair may begin that reaches to a, as :func:`_ends` for the other side."""
    past = rules.past_joint_ft if lane.dowelled else 0.0
    joints, begins, limit = lane.joints, [a], _FAR
    for at in range(bisect_right(joints, a + past + _EPS) - 1, -1, -1):
        joint, begin = joints[at], max(joints[at] - past, joints[0])
        begins += [joint + rules.least_remainder_ft, begin]
        if joint < a - slack - _EPS and _may_begin(begin, lane, rules):
            limit = _worthwhile(begin, -1, lane, prices) if limit == _FAR else limit
            if begin <= limit + _EPS:
                break
    zones = (*lane.no_begin.over(begins[-1], a), *lane.patches.over(begins[-1] - _EPS, a))
    return begins + [x for low, high, _ in zones for x in (low, high)]


def _worthwhile(x: float, way: int, lane: Lane, prices: Prices) -> float:
    """How far beyond x a repair may go for the sake of patches: as far as all up to there are worth the length."""
    ahead = _LOOK_PANELS * (lane.joints[1] - lane.joints[0])
    spans = lane.patches.over(x, x + ahead) if way > 0 else lane.patches.over(x - ahead, x)[::-1]
    far, saved = x, 0.0
    for low, high, usd in spans:
        saved += usd * (high - low)
        end = high if way > 0 else low
        if saved >= prices.per_ft * way * (end - x):
            far = end
    return far


def _may_end(x: float, lane: Lane, rules: Rules) -> bool:
    joints = lane.joints
    if x >= joints[-1] - _EPS:
        return True
    if _at(x, joints):
        if lane.dowelled:
            return False  # a dowelled joint at the edge of a repair is taken out
    elif joints[bisect_right(joints, x)] - x < rules.least_remainder_ft - _EPS:
        return False
    return not lane.no_end.over(x + _EPS, x - _EPS)


def _may_begin(x: float, lane: Lane, rules: Rules) -> bool:
    joints = lane.joints
    if x <= joints[0] + _EPS:
        return True
    if _at(x, joints):
        if lane.dowelled:
            return False
    elif x - joints[bisect_right(joints, x) - 1] < rules.least_remainder_ft - _EPS:
        return False
    return not lane.no_begin.over(x + _EPS, x - _EPS)


def _fits(start: float, end: float, lane: Lane, rules: Rules) -> bool:
    """Dowelled joints that the repair covers are well inside it, and no panel is cut over more than the limit."""
    joints = lane.joints
    first, last = bisect_left(joints, start - _EPS), bisect_right(joints, end + _EPS) - 1
    if lane.dowelled and first <= last:
        past = rules.past_joint_ft - _EPS
        if (joints[first] > joints[0] and joints[first] - start < past) or (
                joints[last] < joints[-1] and end - joints[last] < past):
            return False
    if rules.whole_panel_from_share >= 1:
        return True
    for at in range(max(first - 1, 0), min(last + 1, len(joints) - 1)):
        cut, panel = min(end, joints[at + 1]) - max(start, joints[at]), joints[at + 1] - joints[at]
        if rules.whole_panel_from_share * panel + _EPS < cut < panel - _EPS:
            return False
    return True


def _grown(part: Span, joints: list[float], rules: Rules) -> Span:
    """Damage grown about its middle to the least length; within its panel where that is long enough."""
    low = joints[max(bisect_right(joints, part[0] + _EPS) - 1, 0)]
    high = joints[min(bisect_left(joints, part[1] - _EPS), len(joints) - 1)]
    if high - low < rules.least_length_ft:
        low, high = joints[0], joints[-1]
    length = max(part[1] - part[0], min(rules.least_length_ft, high - low))
    start = min(max((part[0] + part[1] - length) / 2, low), high - length)
    return start, start + length
