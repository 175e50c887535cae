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
from typing import Final, NamedTuple

from rehab.steps.layout.rules import Prices, Rules

Span = tuple[float, float]
#: repairs up to some damage: their cost, what ties are decided by, the end of the last and all of them
State = tuple[float, float, float, tuple[Span, ...]]
_EPS: Final = 1e-6
_FAR: Final = -1e9


class Spans:
    """Intervals along a column, each with a figure of its own, found fast by where they lie."""

    def __init__(self, spans: Iterable[tuple[float, float, float]]) -> None:
        self.all = sorted(spans)
        self._lows = [span[0] for span in self.all]
        self._widest = max((span[1] - span[0] for span in self.all), default=0.0)

    def over(self, low: float, high: float) -> list[tuple[float, float, float]]:
        """Intervals that overlap the one from low to high."""
        first, last = bisect_left(self._lows, low - self._widest), bisect_left(self._lows, high)
        return [span for span in self.all[first:last] if span[1] > low]


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
    groups = _merged(found)
    if len(groups) < 2:
        return [_best_one(a, b, lane, rules, prices)[1] for a, b in groups]
    alone = [_best_one(a, b, lane, rules, prices) for a, b in groups]
    gap = max(rules.least_remainder_ft, prices.join_ft)
    clusters: list[list[Span]] = [[groups[0]]]
    for at, group in enumerate(groups[1:]):
        # What may be better joined with the next, or crowds it, is laid out together with it.
        if _apart(groups, alone, at, gap, lane, prices):
            clusters.append([group])
        else:
            clusters[-1].append(group)
    single = {group: [span] for group, (_, span) in zip(groups, alone, strict=True)}
    laid = [single[cluster[0]] if len(cluster) == 1 else _together(cluster, gap, lane, rules, prices)
            for cluster in clusters]
    at = 0
    while at + 1 < len(laid):
        if laid[at + 1][0][0] - laid[at][-1][1] >= gap - _EPS:
            at += 1
            continue
        clusters[at:at + 2] = [clusters[at] + clusters[at + 1]]
        laid[at:at + 2] = [_together(clusters[at], gap, lane, rules, prices)]
        at = max(at - 1, 0)
    return [span for spans in laid for span in spans]


def _merged(parts: Iterable[Span]) -> list[Span]:
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
    saved = sum(usd * (x1 - x0) for x0, x1, usd in lane.patches.over(low - gap, high + gap))
    return start - end >= gap - _EPS and cost + more <= prices.each_usd + prices.per_ft * (high - low) - saved + _EPS


def _best_one(a: float, b: float, lane: Lane, rules: Rules, prices: Prices) -> tuple[float, Span]:
    """The cheapest repair that takes out damage from a to b, and its cost."""
    best: tuple[float, float, float, float, Span] | None = None
    pairs = _pairs(a, b, lane, rules, ())
    if not lane.patches.over(pairs[0][0], pairs[-1][1]):
        shortest = min(end - start for start, end in pairs) + _EPS
        pairs = [(start, end) for start, end in pairs if end - start <= shortest]
    for start, end in pairs:
        cost = _cost(start, end, lane, prices)
        key = (round(cost, 4), *_ties(start, end, a, b, lane.joints), (start, end))
        if best is None or key < best:
            best = key
    assert best is not None
    return best[0], best[-1]


def _together(groups: list[Span], gap: float, lane: Lane, rules: Rules, prices: Prices) -> list[Span]:
    """The cheapest repairs of damage that lies near together, any neighbours joined."""
    states: list[list[State]] = [[] for _ in range(len(groups) + 1)]
    states[0].append((0.0, 0.0, _FAR, ()))
    for at in range(len(groups)):
        states[at] = _undominated(states[at])
        for cost, tie, end_before, repairs in states[at]:
            extra = (end_before + gap,) if end_before > _FAR else ()
            for last in range(at, len(groups)):
                a, b = groups[at][0], groups[last][1]
                for start, end in _pairs(a, b, lane, rules, extra):
                    if start < end_before + gap - _EPS:
                        continue
                    interior, off, _ = _ties(start, end, a, b, lane.joints)
                    states[last + 1].append((cost + _cost(start, end, lane, prices), tie + interior + 1e-3 * off, end,
                                             (*repairs, (start, end))))
    return list(min(states[-1], key=lambda state: (round(state[0], 4), round(state[1], 6), state[3]))[3])


def _undominated(states: list[State]) -> list[State]:
    """States for which no other ends earlier at less cost."""
    kept: list[State] = []
    for state in sorted(states, key=lambda state: (round(state[2], 6), round(state[0], 4), state[1], state[3])):
        if not kept or (round(state[0], 4), round(state[1], 6)) < (round(kept[-1][0], 4), round(kept[-1][1], 6)):
            kept.append(state)
    return kept


def _cost(start: float, end: float, lane: Lane, prices: Prices) -> float:
    """Cost of one repair, less what the patches that it takes out would have cost."""
    length = end - start
    cost = prices.each_usd + prices.per_ft * length + prices.joint_usd * inner_joints(length, prices.longest_ft)
    for x0, x1, usd in lane.patches.over(start, end):
        cost -= usd * (min(x1, end) - max(x0, start))
    return cost


def inner_joints(length_ft: float, longest_ft: float) -> int:
    """Transverse joints to be remade inside a repair that is longer than a panel may be."""
    return max(0, -int(-(length_ft - _EPS) // longest_ft) - 1)


def _ties(start: float, end: float, a: float, b: float, joints: list[float]) -> tuple[float, float, float]:
    """What decides between repairs of one cost: fewer new joints inside panels, then even beyond the damage."""
    interior = float(not _at(start, joints)) + float(not _at(end, joints))
    return interior, round(abs((a - start) - (end - b)), 4), round(start, 4)


def _at(x: float, joints: list[float]) -> bool:
    at = bisect_left(joints, x - _EPS)
    return at < len(joints) and joints[at] <= x + _EPS


def _pairs(a: float, b: float, lane: Lane, rules: Rules, begins: tuple[float, ...]) -> list[Span]:
    """Valid repairs over damage from a to b, among them one of least cost.

    Cost grows with length, so a cut lies at the damage, at a joint or past it, at the least remainder, where a zone
    without cuts or a patch ends, or a least length from the other cut.
    """
    low, high = lane.joints[0], lane.joints[-1]
    least = min(rules.least_length_ft, high - low)
    slack = max(least - (b - a), 0.0)
    middle = min(max((a + b - least) / 2, low), high - least)
    starts = _begins(a, slack, lane, rules)
    ends = _ends(b, slack, lane, rules)
    starts += [b - least, middle, *begins]
    ends += [a + least, middle + least]
    if slack > 0:
        starts, ends = starts + [end - least for end in ends], ends + [start + least for start in starts]
    begin = sorted({round(x, 6) for x in starts if low - _EPS <= x <= a + _EPS and _may_begin(x, lane, rules)})
    finish = sorted({round(x, 6) for x in ends if b - _EPS <= x <= high + _EPS and _may_end(x, lane, rules)})
    if not begin or not finish:
        return [(low, high)]
    if lane.patches.over(begin[0], finish[-1]):
        found = [(start, end) for start in begin for end in finish
                 if end - start >= least - _EPS and _fits(start, end, lane, rules)]
    else:  # nothing is saved by being longer: of all beginnings only the last is worth trying
        found = []
        for end in finish:
            for start in reversed(begin):
                if end - start >= least - _EPS and _fits(start, end, lane, rules):
                    found.append((start, end))
                    break
    return found or [(low, high)]  # the whole column is always valid


def _ends(b: float, slack: float, lane: Lane, rules: Rules) -> list[float]:
    """Where a repair may end that reaches to b or up to ``slack`` beyond; the joints go on until one is valid."""
    past = rules.past_joint_ft if lane.dowelled else 0.0
    joints, ends = lane.joints, [b]
    at = bisect_left(joints, b - past - _EPS)
    while at < len(joints):
        joint = joints[at]
        ends += [joint - rules.least_remainder_ft, min(joint + past, joints[-1])]
        if joint > b + slack + _EPS and _may_end(min(joint + past, joints[-1]), lane, rules):
            break
        at += 1
    reach = ends[-1]
    return ends + [span[1] for span in lane.no_end.over(b, reach)] + [
        x for patch in lane.patches.over(b, reach + _EPS) for x in patch[:2]]


def _begins(a: float, slack: float, lane: Lane, rules: Rules) -> list[float]:
    """Where a repair may begin that reaches to a, as :func:`_ends` for the other side."""
    past = rules.past_joint_ft if lane.dowelled else 0.0
    joints, begins = lane.joints, [a]
    at = bisect_right(joints, a + past + _EPS) - 1
    while at >= 0:
        joint = joints[at]
        begins += [joint + rules.least_remainder_ft, max(joint - past, joints[0])]
        if joint < a - slack - _EPS and _may_begin(max(joint - past, joints[0]), lane, rules):
            break
        at -= 1
    reach = begins[-1]
    return begins + [span[0] for span in lane.no_begin.over(reach, a)] + [
        x for patch in lane.patches.over(reach - _EPS, a) for x in patch[:2]]


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
