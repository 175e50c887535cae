"""One column of panels of one block: from findings to the rectangles of all three kinds."""

from __future__ import annotations

from bisect import bisect_right
from math import hypot
from typing import NamedTuple

from rehab.steps.layout.full import best_one, least_cost, merged
from rehab.steps.layout.lane import EPS, Lane, Span, lane_of
from rehab.steps.layout.patches import box_outs, cut_round, joined, split_at
from rehab.steps.layout.rules import Box, Prices, Rules


class Found(NamedTuple):
    """One finding as layout needs it: panel row from zero, call, kind of defect and where it lies in the block."""

    row: int
    call: str
    defect: str
    box: Box


class Cut(NamedTuple):
    """One rectangle laid out, with the rows of ``layout_rules`` that shaped it."""

    kind: str
    box: Box
    why: tuple[str, ...]


def lay_out_column(found: list[Found], utility: list[Box], joints: list[float], edges: Span, thickness_in: float,
                   dowelled: bool, rules: Rules, prices: Prices) -> list[Cut]:
    """The repairs of one column, by their beginning along the block; ``utility`` are all utility cuts of the block.

    Patches and box-outs are made panel by panel, for none ever bridges a joint; then the full-depth repairs at least
    cost, which take out what they cover.
    """
    patches: list[Box] = []
    boxes: list[Box] = []
    for row in sorted({item.row for item in found if item.call in ("partial depth", "box out")}):
        panel = Box(joints[row], joints[row + 1], *edges, 0.0)
        own = [item for item in found if item.row == row]
        spalls = [cut_round(item.box, panel, rules) for item in own if item.call == "partial depth"]
        staying = [item.box for item in own if item.defect == "casting" and item.call != "box out"]
        made, cut = box_outs([item.box for item in own if item.call == "box out"], staying,
                             joined(spalls, staying, panel, rules), panel, thickness_in, rules)
        boxes += made
        patches += split_at(cut, [item.box for item in own if _crosses(item, edges)], [*made, *staying], panel, rules)
    deep = _widened(found, utility, joints, rules)
    zones = _zones(found, patches, boxes, edges, rules)
    price = prices.patch_usd_per_sqft
    lane = lane_of(joints, dowelled, [zone[:2] for zone in zones if zone[2] != "begin"],
                   [zone[:2] for zone in zones if zone[2] != "end"],
                   [(box.x0, box.x1, (box.y1 - box.y0) * price) for box in patches])
    if rules.replace_when_dearer:
        deep += _dearer(patches, joints, lane, rules, prices)
    spans = least_cost([part for part, _ in deep], lane, rules, prices)
    cuts = [Cut("full depth", Box(a, b, *edges, thickness_in), _why((a, b), deep, zones, lane, rules))
            for a, b in spans]
    cuts += [Cut("casting box-out", box, ("casting.clear_ft", "casting.least_strip_ft")) for box in boxes
             if not any(box.x0 < b - EPS and a + EPS < box.x1 for a, b in spans)]
    for patch in patches:
        # What is left of a patch without damage in it was only its margin.
        cuts += [Cut("partial depth", part, why) for part in _outside(patch, spans)
                 if (why := _why_patch(part, found, edges, rules))]
    return cuts


def _widened(found: list[Found], cuts: list[Box], joints: list[float],
             rules: Rules) -> list[tuple[Span, tuple[str, ...]]]:
    """Deep damage as intervals, widened up to the joints of its own panel, with the rules that widened it.

    Across a joint the concrete is another panel's.  A utility cut near another takes the whole panel (Seattle, source
    ``seattle-cut``).
    """
    wide: list[tuple[Span, tuple[str, ...]]] = []
    for item in found:
        if item.call != "full depth":
            continue
        low, high, box = joints[item.row], joints[item.row + 1], item.box
        utility = item.defect == "utility cut"
        if utility and any(other[:4] != box[:4] and _apart_ft(box, other) < rules.utility_near_ft for other in cuts):
            wide.append(((low, high), ("utility.whole_panel_within_ft",)))
            continue
        beyond = rules.utility_beyond_ft if utility else rules.beyond_ft
        start, end = max(box.x0 - beyond, low), min(box.x1 + beyond, high)
        key = "utility.beyond_ft" if utility else "full.beyond_damage_ft"
        wide.append(((start, end), (key,) if start < box.x0 - EPS or end > box.x1 + EPS else ()))
    return wide


def _dearer(patches: list[Box], joints: list[float], lane: Lane, rules: Rules,
            prices: Prices) -> list[tuple[Span, tuple[str, ...]]]:
    """The patches of each panel that cost more than the one full-depth repair that takes them out."""
    by_panel: dict[int, list[Box]] = {}
    for box in patches:
        by_panel.setdefault(bisect_right(joints, box.x0 + EPS), []).append(box)
    dear: list[tuple[Span, tuple[str, ...]]] = []
    for own in by_panel.values():
        a, b = min(box.x0 for box in own), max(box.x1 for box in own)
        cost = sum((box.x1 - box.x0) * (box.y1 - box.y0) for box in own) * prices.patch_usd_per_sqft
        # What the repair saves is in its cost: below zero it is cheaper than the patches.
        if cost > prices.each_usd + prices.per_ft * (b - a) and best_one(a, b, lane, rules, prices)[0] < -EPS:
            dear.append(((a, b), ("partial.replace_when_dearer",)))
    return dear


def _apart_ft(a: Box, b: Box) -> float:
    return hypot(max(0.0, a.x0 - b.x1, b.x0 - a.x1), max(0.0, a.y0 - b.y1, b.y0 - a.y1))


def _zones(found: list[Found], patches: list[Box], boxes: list[Box], edges: Span,
           rules: Rules) -> list[tuple[float, float, str, str]]:
    """Where no cut may lie: beside castings, in patches and near cracks that stay.

    Open intervals, whether they bar an 'end', a 'begin' or 'both', and the rule that does.
    """
    zones: list[tuple[float, float, str, str]] = []
    for box in [item.box for item in found if item.defect == "casting" and item.call != "box out"] + boxes:
        zones.append((box.x0 - rules.box_strip_ft, box.x1 + rules.box_strip_ft, "both", "casting.least_strip_ft"))
    strip, side = rules.partial_strip_ft, rules.partial_side_ft
    for box in patches:
        zones += [(box.x0 - strip, box.x0, "end", "partial.least_remainder_in"),
                  (max(box.x1 - side, box.x0), box.x1, "end", "partial.least_side_in"),
                  (box.x1, box.x1 + strip, "begin", "partial.least_remainder_in"),
                  (box.x0, min(box.x0 + side, box.x1), "begin", "partial.least_side_in")]
    for item in found:
        if rules.keep_from_cracks and _crosses(item, edges):
            near, beyond = rules.least_remainder_ft, rules.beyond_ft
            zones += [(item.box.x0 - near, item.box.x1 + beyond, "end", "full.keep_from_cracks"),
                      (item.box.x0 - beyond, item.box.x1 + near, "begin", "full.keep_from_cracks")]
    return zones


def _crosses(item: Found, edges: Span) -> bool:
    """Whether a crack that stays runs across the column, so that concrete beside it is a part of a panel."""
    across = item.box.y1 - item.box.y0
    return (item.call in ("fill", "watch", "stitch") and across >= (edges[1] - edges[0]) / 2
            and (item.defect == "transverse crack"
                 or (item.defect == "linear crack" and across >= item.box.x1 - item.box.x0)))


def _outside(patch: Box, spans: list[Span]) -> list[Box]:
    """What full-depth repairs leave of a patch."""
    parts = [(patch.x0, patch.x1)]
    for a, b in spans:
        parts = [piece for low, high in parts for piece in ((low, min(high, a)), (max(low, b), high))
                 if piece[1] - piece[0] > EPS] if a < patch.x1 and patch.x0 < b else parts
    return [patch._replace(x0=low, x1=high) for low, high in parts]


def _meet(damage: Box, cut: Box) -> bool:
    """Whether damage lies in a rectangle by more than its edge; damage without a breadth by any part."""
    sides = ((damage.x0, damage.x1, cut.x0, cut.x1), (damage.y0, damage.y1, cut.y0, cut.y1))
    return all(min(high, upper) - max(low, lower) > (EPS if high - low >= EPS else -2 * EPS)
               for low, high, lower, upper in sides)


def _why_patch(box: Box, found: list[Found], edges: Span, rules: Rules) -> tuple[str, ...]:
    """The rules that shaped one patch; none if there is no damage in it."""
    inside = [item for item in found if item.call == "partial depth" and _meet(item.box, box)]
    if not inside:
        return ()
    why = ["partial.beyond_damage_in"]
    if min(box.x1 - box.x0, box.y1 - box.y0) < rules.partial_side_ft + EPS:
        why.append("partial.least_side_in")
    if len(inside) > 1:
        whole = box.y0 < edges[0] + EPS and box.y1 > edges[1] - EPS and len(inside) >= rules.whole_joint_from
        why.append("partial.whole_joint_from" if whole else "partial.join_gap_in")
    return tuple(why)


def _why(span: Span, deep: list[tuple[Span, tuple[str, ...]]], zones: list[tuple[float, float, str, str]], lane: Lane,
         rules: Rules) -> tuple[str, ...]:
    """The rules that shaped one repair, by what its ends and length are."""
    inside = [(part, why) for part, why in deep if part[0] >= span[0] - EPS and part[1] <= span[1] + EPS]
    why = [key for _, keys in inside for key in keys]
    low, high = min(part[0] for part, _ in inside), max(part[1] for part, _ in inside)
    if abs(span[1] - span[0] - rules.least_length_ft) < EPS and high - low < rules.least_length_ft - EPS:
        why.append("full.least_length_dowelled_ft" if rules.dowels else "full.least_length_undowelled_ft")
    past = rules.past_joint_ft if lane.dowelled else 0.0
    for end, damage, side in ((span[0], low, "begin"), (span[1], high, "end")):
        if abs(end - damage) < EPS:
            continue
        at_joint = end + past if side == "begin" else end - past
        if any(abs(at_joint - joint) < EPS for joint in lane.joints):
            why += ["full.least_remainder_ft", *(["full.past_dowelled_joint_ft"] if past else [])]
        why += [key for a, b, bars, key in zones
                if bars in (side, "both") and (a < damage < b or min(abs(end - a), abs(end - b)) < EPS)]
    if rules.whole_panel_from_share < 1 and high - low < span[1] - span[0] - EPS:
        why.append("full.whole_panel_from_share")
    if len(merged(part for part, _ in inside)) > 1:
        why.append("full.join")
    return tuple(dict.fromkeys(why))
