"""Where a full-depth repair may begin and end, and what it costs: the candidates among which the cheapest is."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable
from dataclasses import replace
from typing import Final

from rehab.steps.layout.lane import EPS, Lane, at_joint, inner_joints
from rehab.steps.layout.rules import Prices, Rules

_FAR: Final = -1e9
_LOOK_PANELS: Final = 4  #: panels ahead in which patches may be worth a longer repair; further ones never are


def cuts(a: float, b: float, lane: Lane, rules: Rules, prices: Prices) -> tuple[list[float], list[float]]:
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
    begin = {round(x, 6) for x in starts if low - EPS <= x <= a + EPS}
    finish = {round(x, 6) for x in ends if b - EPS <= x <= high + EPS}
    return ([x for x in sorted(begin) if may_begin(x, lane, rules)],
            [x for x in sorted(finish) if may_end(x, lane, rules)])


def pairs(begin: list[float], finish: list[float], lane: Lane, rules: Rules,
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
            if end - start >= least - EPS and _fits(start, end, lane, rules):
                inner = (inner_joints(start, end, lane.joints, past, prices.longest_ft) if long
                         else max(after - before, 0))
                found.append((prices.each_usd + more - less + prices.joint_usd * inner, start, end))
    return found


def usual_pairs(begin: list[float], finish: list[float], lane: Lane, rules: Rules,
           prices: Prices) -> list[tuple[float, float, float]]:
    """As :func:`pairs`, and the whole column, which is always valid, where there is no other."""
    return pairs(begin, finish, lane, rules, prices) or pairs(
        [lane.joints[0]], [lane.joints[-1]], lane, replace(rules, whole_panel_from_share=1.0), prices)


def _costs(lane: Lane, rules: Rules, prices: Prices) -> Callable[[float, bool], tuple[float, int]]:
    """What a cut adds to the cost of a repair and the joints before it: two cuts differ by what lies between."""
    past = rules.past_joint_ft if lane.dowelled else 0.0

    def at(x: float, begins: bool) -> tuple[float, int]:
        joints = bisect_right(lane.joints, x + past + EPS) if begins else bisect_left(lane.joints, x - past - EPS)
        return prices.per_ft * x - lane.patches.up_to(x), joints

    return at


def _ends(b: float, slack: float, lane: Lane, rules: Rules, prices: Prices) -> list[float]:
    """Where a repair may end that reaches to b or up to ``slack`` beyond: up to the first joint that is valid.

    It goes on beyond only as far as the patches out there are worth.
    """
    past = rules.past_joint_ft if lane.dowelled else 0.0
    joints, ends, limit = lane.joints, [b], _FAR
    for at in range(bisect_left(joints, b - past - EPS), len(joints)):
        joint, end = joints[at], min(joints[at] + past, joints[-1])
        ends += [joint - rules.least_remainder_ft, end]
        if joint > b + slack + EPS and may_end(end, lane, rules):
            limit = _worthwhile(end, 1, lane, prices) if limit == _FAR else limit
            if end >= limit - EPS:
                break
    zones = (*lane.no_end.over(b, ends[-1]), *lane.patches.over(b, ends[-1] + EPS))
    return ends + [x for low, high, _ in zones for x in (low, high)]


def _begins(a: float, slack: float, lane: Lane, rules: Rules, prices: Prices) -> list[float]:
    """Where a repair may begin that reaches to a, as :func:`_ends` for the other side."""
    past = rules.past_joint_ft if lane.dowelled else 0.0
    joints, begins, limit = lane.joints, [a], _FAR
    for at in range(bisect_right(joints, a + past + EPS) - 1, -1, -1):
        joint, begin = joints[at], max(joints[at] - past, joints[0])
        begins += [joint + rules.least_remainder_ft, begin]
        if joint < a - slack - EPS and may_begin(begin, lane, rules):
            limit = _worthwhile(begin, -1, lane, prices) if limit == _FAR else limit
            if begin <= limit + EPS:
                break
    zones = (*lane.no_begin.over(begins[-1], a), *lane.patches.over(begins[-1] - EPS, a))
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


def may_end(x: float, lane: Lane, rules: Rules) -> bool:
    """Whether a repair may end here: at the block's end, or where enough stays and no zone bars it."""
    joints = lane.joints
    if x >= joints[-1] - EPS:
        return True
    if at_joint(x, joints):
        if lane.dowelled:
            return False  # a dowelled joint at the edge of a repair is taken out
    elif joints[bisect_right(joints, x)] - x < rules.least_remainder_ft - EPS:
        return False
    return not lane.no_end.over(x + EPS, x - EPS)


def may_begin(x: float, lane: Lane, rules: Rules) -> bool:
    """Whether a repair may begin here, as :func:`may_end` for the other side."""
    joints = lane.joints
    if x <= joints[0] + EPS:
        return True
    if at_joint(x, joints):
        if lane.dowelled:
            return False
    elif x - joints[bisect_right(joints, x) - 1] < rules.least_remainder_ft - EPS:
        return False
    return not lane.no_begin.over(x + EPS, x - EPS)


def _fits(start: float, end: float, lane: Lane, rules: Rules) -> bool:
    """Dowelled joints that the repair covers are well inside it, and no panel is cut over more than the limit."""
    joints = lane.joints
    first, last = bisect_left(joints, start - EPS), bisect_right(joints, end + EPS) - 1
    if lane.dowelled and first <= last:
        past = rules.past_joint_ft - EPS
        if (joints[first] > joints[0] and joints[first] - start < past) or (
                joints[last] < joints[-1] and end - joints[last] < past):
            return False
    if rules.whole_panel_from_share >= 1:
        return True
    for at in range(max(first - 1, 0), min(last + 1, len(joints) - 1)):
        cut, panel = min(end, joints[at + 1]) - max(start, joints[at]), joints[at + 1] - joints[at]
        if rules.whole_panel_from_share * panel + EPS < cut < panel - EPS:
            return False
    return True


def gain(x: float, way: int, lane: Lane, prices: Prices) -> float:
    """The most that going on beyond x for the sake of patches can save."""
    ahead = _LOOK_PANELS * (lane.joints[1] - lane.joints[0])
    spans = lane.patches.over(x, x + ahead) if way > 0 else lane.patches.over(x - ahead, x)
    here = lane.patches.up_to(x)
    return max(0.0, *(way * (lane.patches.up_to(edge) - here) - prices.per_ft * way * (edge - x)
                for low, high, _ in spans for edge in (low, high) if way * (edge - x) > 0), 0.0)
