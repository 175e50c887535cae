"""One column of panels of one block: from findings to the rectangles of all three kinds."""

from __future__ import annotations

from typing import NamedTuple

from rehab.steps.layout.full import Lane, Span, lane_of, least_cost
from rehab.steps.layout.patches import box_outs, cut_round, joined
from rehab.steps.layout.rules import Box, Prices, Rules

_EPS = 1e-6


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


def lay_out_column(found: list[Found], joints: list[float], edges: Span, thickness_in: float, dowelled: bool,
                   rules: Rules, prices: Prices) -> list[Cut]:
    """The repairs of one column, by their beginning along the block.

    Patches and box-outs are made panel by panel, for none ever bridges a joint; then the full-depth repairs at least
    cost, which take out what they cover.
    """
    patches: list[Box] = []
    boxes: list[Box] = []
    deep = _widened(found, joints, rules)
    hull = [box for box, _ in deep]
    for row in sorted({item.row for item in found if item.call in ("partial depth", "box out")}):
        panel = Box(joints[row], joints[row + 1], *edges, 0.0)
        own = [item for item in found if item.row == row]
        cut = joined([cut_round(item.box, panel, rules) for item in own if item.call == "partial depth"], panel, rules)
        frames = [item.box for item in own if item.call == "box out"]
        if frames:
            made, cut = box_outs(frames, cut, panel, thickness_in, rules)
            boxes += made
        if rules.replace_when_dearer and _dearer(cut, panel, dowelled, rules, prices):
            hull.append((panel.x0, panel.x1))
            deep.append(((panel.x0, panel.x1), ("partial.replace_when_dearer",)))
        patches += cut
    if not hull:
        return [Cut("casting box-out", box, ("casting.clear_ft",)) for box in boxes] + [_patch(box) for box in patches]
    lane = _lane(found, joints, dowelled, patches, boxes, rules, prices)
    spans = least_cost(hull, lane, rules, prices)
    cuts = [Cut("full depth", Box(a, b, *edges, thickness_in), _why((a, b), deep, lane, rules)) for a, b in spans]
    cuts += [Cut("casting box-out", box, ("casting.clear_ft",)) for box in boxes
             if not any(box.x0 < b - _EPS and a + _EPS < box.x1 for a, b in spans)]
    for patch in patches:
        cuts += [_patch(part) for part in _outside(patch, spans)]
    return cuts


def _widened(found: list[Found], joints: list[float], rules: Rules) -> list[tuple[Span, tuple[str, ...]]]:
    """Deep damage as intervals, widened up to the joints of its own panel, with the rules that widened it.

    Across a joint the concrete is another panel's.  A utility cut near another takes the whole panel (Seattle, source
    ``seattle-cut``).
    """
    cuts = [item.box for item in found if item.defect == "utility cut"]
    wide: list[tuple[Span, tuple[str, ...]]] = []
    for item in found:
        if item.call != "full depth":
            continue
        low, high, box = joints[item.row], joints[item.row + 1], item.box
        utility = item.defect == "utility cut"
        near = utility and any(other is not box and max(other.x0 - box.x1, box.x0 - other.x1) < rules.utility_near_ft
                               for other in cuts)
        if near:
            wide.append(((low, high), ("utility.whole_panel_within_ft",)))
            continue
        beyond = rules.utility_beyond_ft if utility else rules.beyond_ft
        why = ("utility.beyond_ft" if utility else "full.beyond_damage_ft",) if beyond > 0 else ()
        wide.append(((max(box.x0 - beyond, low), min(box.x1 + beyond, high)), why))
    return wide


def _dearer(patches: list[Box], panel: Box, dowelled: bool, rules: Rules, prices: Prices) -> bool:
    """Whether patching a panel costs more than replacing it."""
    area = sum((box.x1 - box.x0) * (box.y1 - box.y0) for box in patches)
    length = panel.x1 - panel.x0 + 2 * (rules.past_joint_ft if dowelled else 0.0)
    return area * prices.patch_usd_per_sqft > prices.each_usd + prices.per_ft * length


def _lane(found: list[Found], joints: list[float], dowelled: bool, patches: list[Box], boxes: list[Box], rules: Rules,
          prices: Prices) -> Lane:
    """Where no cut may lie: beside castings, in patches and near cracks that stay."""
    no_end: list[Span] = []
    no_begin: list[Span] = []
    castings = [item.box for item in found if item.defect == "casting" and item.call != "box out"] + boxes
    for box in castings:
        zone = (box.x0 - rules.box_strip_ft, box.x1 + rules.box_strip_ft)
        no_end.append(zone)
        no_begin.append(zone)
    for box in patches:
        no_end += [(box.x0 - rules.partial_strip_ft, box.x0), (max(box.x1 - rules.partial_side_ft, box.x0), box.x1)]
        no_begin += [(box.x1, box.x1 + rules.partial_strip_ft), (box.x0, min(box.x0 + rules.partial_side_ft, box.x1))]
    if rules.keep_from_cracks:
        for item in found:
            if _crosses(item):
                no_end.append((item.box.x0 - rules.least_remainder_ft, item.box.x1 + rules.beyond_ft))
                no_begin.append((item.box.x0 - rules.beyond_ft, item.box.x1 + rules.least_remainder_ft))
    price = prices.patch_usd_per_sqft
    return lane_of(joints, dowelled, no_end, no_begin, [(box.x0, box.x1, (box.y1 - box.y0) * price) for box in patches])


def _crosses(item: Found) -> bool:
    """Whether a crack that stays runs across the column, so that concrete beside it is a part of a panel."""
    across, along = item.box.y1 - item.box.y0, item.box.x1 - item.box.x0
    return item.defect in ("transverse crack", "linear crack") and item.call != "full depth" and across > 2 * along


def _outside(patch: Box, spans: list[Span]) -> list[Box]:
    """What full-depth repairs leave of a patch."""
    parts = [(patch.x0, patch.x1)]
    for a, b in spans:
        parts = [piece for low, high in parts for piece in ((low, min(high, a)), (max(low, b), high))
                 if piece[1] - piece[0] > _EPS] if a < patch.x1 and patch.x0 < b else parts
    return [patch._replace(x0=low, x1=high) for low, high in parts]


def _patch(box: Box) -> Cut:
    return Cut("partial depth", box, ("partial.beyond_damage_in", "partial.least_side_in", "partial.join_gap_in"))


def _why(span: Span, deep: list[tuple[Span, tuple[str, ...]]], lane: Lane, rules: Rules) -> tuple[str, ...]:
    """The rules that shaped one repair, by what its ends and length are."""
    inside = [(part, why) for part, why in deep if part[0] >= span[0] - _EPS and part[1] <= span[1] + _EPS]
    why = [key for _, keys in inside for key in keys]
    low, high = min(part[0] for part, _ in inside), max(part[1] for part, _ in inside)
    least = "full.least_length_dowelled_ft" if rules.dowels else "full.least_length_undowelled_ft"
    if abs(span[1] - span[0] - rules.least_length_ft) < _EPS and high - low < rules.least_length_ft - _EPS:
        why.append(least)
    past = rules.past_joint_ft if lane.dowelled else 0.0
    for end, damage in ((span[0] + past, low), (span[1] - past, high)):
        if any(abs(end - joint) < _EPS for joint in lane.joints[1:-1] if past):
            why.append("full.past_dowelled_joint_ft")
        if abs(end - damage) > _EPS and any(abs(end - joint) < _EPS for joint in lane.joints):
            why.append("full.least_remainder_ft")
    if len({part for part, _ in inside}) > 1:
        why.append("full.join")
    return tuple(dict.fromkeys(why))
