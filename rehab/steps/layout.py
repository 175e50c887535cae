"""Defects on the panel grid to saw-cut rectangles, by the rows of ``layout_rules``.

Full-depth repairs span a panel's full width (FHWA, source ``fhwa-full-depth``).  Along a column of panels each
deep defect is an interval: it is widened beyond the damage, grown to the least length, taken to the joint where
less than the least remainder would stay, one foot past it where that joint has dowels, and joined with its
neighbour where less than the least remainder would stay between them, until nothing changes.  Shallow defects
become rectangles with a least side, joined when near; those that touch a full-depth repair belong to it.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass
from functools import cache, partial
from typing import Any, Final, NamedTuple

import numpy as np
import pandas as pd

from rehab.base import tables
from rehab.base.settings import Assumptions
from rehab.base.units import IN_PER_FT

#: the columns of a row as laid out, before its bars are counted; the last two say where bars go
_COLUMNS: Final = ("block_id", "repair_id", "kind", "x_ft", "y_ft", "length_ft", "width_ft", "depth_in", "area_sqft",
                   "why", "curb_clear_ft", "beside_another")
_AT_JOINT: Final = frozenset({"joint spall", "corner spall", "corner break"})
_RANK: Final = {name: rank for rank, name in enumerate(tables.SEVERITIES)}


class Box(NamedTuple):
    """A rectangle in feet from the start and the left edge of the block, with its depth in inches."""

    x0: float
    x1: float
    y0: float
    y1: float
    depth_in: float


@dataclass(frozen=True)
class Rules:
    """The layout rules in feet, and the rank of severity from which a defect needs full or partial depth."""

    least_length_ft: float
    least_remainder_ft: float
    past_joint_ft: float
    beyond_ft: float
    partial_beyond_ft: float
    partial_side_ft: float
    partial_gap_ft: float
    partial_strip_ft: float
    least_depth_in: float
    into_sound_in: float
    deepest_in: float
    full_from: Mapping[str, int]
    partial_from: Mapping[str, int]
    curb_clear_ft: float


def lay_out(network: pd.DataFrame, defects: pd.DataFrame, assumptions: Assumptions) -> pd.DataFrame:
    """The table ``repairs`` of the blocks that have a panel-by-panel survey.

    No repair overlaps another, none leaves the block, and no part of a panel narrower than the limit stays
    beside a full-depth repair.
    """
    found_in = network[network["block_id"].isin(defects["block_id"])]
    surveyed = {str(row["block_id"]): row for _, row in found_in.iterrows()}
    rules = cache(partial(_rules, assumptions=assumptions))
    by_block: dict[str, list[dict[Hashable, Any]]] = {}
    for defect in defects.to_dict("records"):
        by_block.setdefault(str(defect["block_id"]), []).append(defect)
    rows = [row for block_id in sorted(by_block) if block_id in surveyed
            for row in _block(block_id, surveyed[block_id], by_block[block_id], rules)]
    laid = pd.DataFrame(rows, columns=_COLUMNS)
    return tables.check("repairs", tables.with_types("repairs", laid.assign(**_bars(laid, assumptions))))


def per_panel(network: pd.DataFrame, defects: pd.DataFrame, repairs: pd.DataFrame,
              assumptions: Assumptions) -> pd.DataFrame:
    """What one full-depth panel takes in each block, and what a panel survey found; rows as in the network.

    Columns block_id, sqyd, dowels, tie_bars, saw_ft (for one panel replaced whole, or the mean of the block's
    own repairs) and full_share, partial_share, partial_sqft: NA where no panel survey exists.
    """
    bars = assumptions.text("layout_rules", "full.repairs_dowelled") == "yes"
    columns = network["panel_columns"].to_numpy(float)
    usual = pd.DataFrame({
        "block_id": network["block_id"],
        "sqyd": network["area_sqyd"] / network["panels"],
        "dowels": 2 * _usual_dowels(network, assumptions) if bars else 0.0,
        "tie_bars": np.where(columns > 1, tie_bar_count(network["panel_length_ft"], assumptions), 0.0),
        "saw_ft": 2 * (network["panel_length_ft"] + network["panel_width_ft"]),
    })
    surveyed = network["block_id"].isin(defects["block_id"])
    full = repairs[repairs["kind"] == "full depth"]
    panel_sqft = network.set_index("block_id")["area_sqft"] / network.set_index("block_id")["panels"]
    count = (full.groupby("block_id")["area_sqft"].sum() / panel_sqft).reindex(network["block_id"]).to_numpy()
    for name, values in (("dowels", full["dowels"]), ("tie_bars", full["tie_bars"]),
                         ("saw_ft", 2 * (full["length_ft"] + full["width_ft"]))):
        total = values.groupby(full["block_id"]).sum().reindex(network["block_id"]).to_numpy(float)
        usual[name] = np.where(count > 0, total / count, usual[name])
    partial = repairs[repairs["kind"] == "partial depth"]
    area = partial.groupby("block_id")["area_sqft"].sum().reindex(network["block_id"]).to_numpy(float)
    touched = _panels_touched(network, partial)
    panels = network["panels"].to_numpy(float)
    return usual.assign(
        full_share=np.where(surveyed, np.minimum(np.nan_to_num(count) / panels, 1.0), np.nan),
        partial_share=np.where(surveyed, np.minimum(touched / panels, 1.0), np.nan),
        partial_sqft=np.where(surveyed, np.nan_to_num(area), np.nan),
    )


def outside_grid(network: pd.DataFrame, defects: pd.DataFrame) -> pd.DataFrame:
    """Defects that lie on no panel of their block as the network counts panels; they are not laid out."""
    placed = defects.merge(network[["block_id", "panel_rows", "panel_columns"]], on="block_id", how="left")
    inside = (placed["panel_row"] <= placed["panel_rows"]) & (placed["panel_column"] <= placed["panel_columns"])
    return defects[~inside.to_numpy()]


def dowel_count(width_ft: pd.Series | float, curb_side_ft: pd.Series | float,
                assumptions: Assumptions) -> pd.Series:
    """Dowels in one end of a repair: floor((W - two edge distances) / spacing) + 1, widths in feet.

    ``curb_side_ft`` is kept free at one side instead of the edge distance, as beside a curb.
    """
    edge = assumptions.number("dowels", "edge_in")
    room = pd.Series(width_ft, dtype=float) * IN_PER_FT - edge - np.maximum(edge, curb_side_ft * IN_PER_FT)
    return (room / assumptions.number("dowels", "spacing_in") + 1e-9).floordiv(1).add(1).clip(lower=0)


def tie_bar_count(length_ft: pd.Series | float, assumptions: Assumptions) -> pd.Series:
    """Tie bars along one side of a repair: none below the limit of length, else one per spacing."""
    length = pd.Series(length_ft, dtype=float)
    count = (length * IN_PER_FT / assumptions.number("dowels", "tie.spacing_in") + 1e-9).floordiv(1)
    return count.where(length >= assumptions.number("dowels", "tie.from_length_ft"), 0.0)


def dowel_diameter_in(thickness_in: float, assumptions: Assumptions, rule: str | None = None) -> float:
    """Dowel diameter by the chosen rule: 'eighth' of the thickness, or the 'published' table; inches."""
    table = assumptions.table("dowels")
    if (rule or assumptions.text("dowels", "rule")) == "eighth":
        return assumptions.number("dowels", "eighth") * thickness_in
    rows = table[table["rule"] == "published"].astype({"from_thickness_in": float, "value": float})
    return float(rows[rows["from_thickness_in"] <= thickness_in].sort_values("from_thickness_in")["value"].iloc[-1])


def full_intervals(damage: list[tuple[float, float]], joints: list[float], dowelled_joints: bool,
                   rules: Rules) -> list[tuple[float, float]]:
    """Full-depth repairs along one column of panels, feet from the start of the block.

    ``damage`` holds the deep defects as intervals, ``joints`` every joint including both ends of the block.
    """
    # Damage is widened up to the joints of its own panel: across a joint the concrete is another panel's.
    beyond = rules.beyond_ft
    found = sorted((max(a - beyond, _joint_before(a, joints)), min(b + beyond, _joint_after(b, joints)))
                   for a, b in damage)
    while True:
        grown = _joined([_to_joints(_to_length(part, joints, rules), joints, dowelled_joints, rules)
                         for part in found], rules)
        if len(grown) == len(found) and np.allclose(grown, found):
            return found
        found = grown


def _to_length(part: tuple[float, float], joints: list[float], rules: Rules) -> tuple[float, float]:
    """Grow about the middle to the least length; within the panel where it is long enough, else within the block."""
    low, high = _joint_before(part[0], joints), _joint_after(part[1], joints)
    if high - low < rules.least_length_ft:
        low, high = joints[0], joints[-1]
    length = max(part[1] - part[0], min(rules.least_length_ft, high - low))
    start = min(max((part[0] + part[1] - length) / 2, low), high - length)
    return start, start + length


def _to_joints(part: tuple[float, float], joints: list[float], dowelled: bool, rules: Rules) -> tuple[float, float]:
    """Take each end to its joint where too little would stay, and past it where that joint has dowels."""
    past = rules.past_joint_ft if dowelled else 0.0
    before, after = _joint_before(part[0], joints), _joint_after(part[1], joints)
    start, end = part
    if start - before < rules.least_remainder_ft - 1e-9:
        start = max(before - past, joints[0])
    if after - end < rules.least_remainder_ft - 1e-9:
        end = min(after + past, joints[-1])
    return start, end


def _joint_before(x: float, joints: list[float]) -> float:
    return joints[bisect_right(joints, x + 1e-9) - 1]


def _joint_after(x: float, joints: list[float]) -> float:
    return joints[bisect_left(joints, x - 1e-9)]


def _joined(parts: list[tuple[float, float]], rules: Rules) -> list[tuple[float, float]]:
    joined: list[tuple[float, float]] = []
    for part in sorted(parts):
        if joined and part[0] - joined[-1][1] < rules.least_remainder_ft - 1e-9:
            joined[-1] = (joined[-1][0], max(joined[-1][1], part[1]))
        else:
            joined.append(part)
    return joined


def _block(block_id: str, block: pd.Series, found: list[dict[Hashable, Any]],
           rules_for: Callable[[float], Rules]) -> list[dict[str, object]]:
    rules = rules_for(float(block["thickness_in"]))
    joints = [float(x) for x in np.linspace(0.0, block["length_ft"], int(block["panel_rows"]) + 1)]
    edges = [float(y) for y in np.linspace(0.0, block["width_ft"], int(block["panel_columns"]) + 1)]
    deep: dict[int, list[tuple[float, float]]] = {}
    shallow: dict[tuple[int, int], list[Box]] = {}
    for defect in found:
        column, row = int(defect["panel_column"]) - 1, int(defect["panel_row"]) - 1
        if not (0 <= column < len(edges) - 1 and 0 <= row < len(joints) - 1):
            continue  # outside the grid: see outside_grid, which the plan tells
        kind = _kind(str(defect["defect"]), str(defect["severity"]), float(defect["depth_in"]), rules)
        box = _place(defect, joints[row], joints[row + 1], edges[column], edges[column + 1])
        if kind == "full depth":
            deep.setdefault(column, []).append((box.x0, box.x1))
        elif kind == "partial depth":
            shallow.setdefault((column, row), []).append(_patch(box, joints[row], joints[row + 1], edges[column],
                                                                edges[column + 1], rules))
    # Patches are joined panel by panel: none ever bridges a joint.
    ready = {panel: _near_joined(boxes, rules) for panel, boxes in shallow.items()}
    rows: list[dict[str, object]] = []
    for column in sorted({*deep, *(panel[0] for panel in ready)}):
        own = [box for panel, boxes in sorted(ready.items()) if panel[0] == column for box in boxes]
        intervals, patches = _settle(deep.get(column, []), own, joints, bool(block["dowelled"]), rules)
        span = (edges[column], edges[column + 1])
        clear = rules.curb_clear_ft if column in (0, len(edges) - 2) else 0.0
        rows += [_full_row(start, end, span, float(block["thickness_in"]), clear, len(edges) > 2)
                 for start, end in intervals]
        rows += [_patch_row(patch) for patch in patches]
    rows.sort(key=lambda row: (row["x_ft"], row["y_ft"]))
    return [{"block_id": block_id, "repair_id": number, **row} for number, row in enumerate(rows, 1)]


def _settle(deep: list[tuple[float, float]], patches: list[Box], joints: list[float], dowelled: bool,
            rules: Rules) -> tuple[list[tuple[float, float]], list[Box]]:
    """Lay out both kinds in one column; a patch that touches a full-depth repair becomes part of it."""
    damage, left = list(deep), list(patches)
    while True:
        intervals = full_intervals(damage, joints, dowelled, rules) if damage else []
        touching = [box for box in left if any(box.x0 < end and start < box.x1 for start, end in intervals)]
        if not touching:
            return intervals, left
        left = [box for box in left if box not in touching]
        damage += [(box.x0, box.x1) for box in touching]


def _near_joined(patches: list[Box], rules: Rules) -> list[Box]:
    """Join the patches of one panel that lie nearer than the gap."""
    joined: list[Box] = []
    for patch in sorted(patches):
        box = patch
        while True:
            near = next((other for other in joined if _near(box, other, rules.partial_gap_ft)), None)
            if near is None:
                break
            joined.remove(near)
            box = Box(min(box.x0, near.x0), max(box.x1, near.x1), min(box.y0, near.y0), max(box.y1, near.y1),
                      max(box.depth_in, near.depth_in))
        joined.append(box)
    return sorted(joined)


def _near(a: Box, b: Box, gap: float) -> bool:
    across = max(a.x0, b.x0) - min(a.x1, b.x1)
    along = max(a.y0, b.y0) - min(a.y1, b.y1)
    return across < gap and along < gap


def _place(defect: dict[Hashable, Any], x0: float, x1: float, y0: float, y1: float) -> Box:
    """The damage in block feet.

    Without a position it lies in the middle of its panel, at the first joint if it is a spall of a joint or corner;
    without a size it reaches to the end of its panel, without either it covers the panel.
    """
    x, y, length, width, depth = (float(defect[name]) for name in ("x_ft", "y_ft", "length_ft", "width_ft", "depth_in"))
    at_joint = str(defect["defect"]) in _AT_JOINT
    start, end = _stretch(x, length, x0, x1, at_joint)
    left, right = _stretch(y, width, y0, y1, False)
    return Box(start, end, left, right, depth)


def _stretch(at: float, size: float, low: float, high: float, at_low: bool) -> tuple[float, float]:
    """From where to where damage reaches between two joints; ``at`` (from the lower joint) and ``size`` may be NaN."""
    if np.isnan(at) and np.isnan(size):
        return low, high
    if np.isnan(at):
        size = min(size, high - low)
        start = low if at_low else (low + high - size) / 2
        return start, start + size
    start = min(low + at, high)
    return start, high if np.isnan(size) else min(start + size, high)


def _kind(defect: str, severity: str, depth_in: float, rules: Rules) -> str | None:
    """The repair a defect calls for, by its least severities and by its depth; None for none."""
    rank = _RANK[severity]
    for kind, least in (("full depth", rules.full_from), ("partial depth", rules.partial_from)):
        if rank >= least.get(defect, len(_RANK)):
            return "full depth" if depth_in + rules.into_sound_in > rules.deepest_in else kind
    return None


def _patch(box: Box, x0: float, x1: float, y0: float, y1: float, rules: Rules) -> Box:
    """The saw cut round shallow damage, within its panel."""
    start, end = _side(box.x0, box.x1, x0, x1, rules)
    left, right = _side(box.y0, box.y1, y0, y1, rules)
    deepest = rules.least_depth_in if np.isnan(box.depth_in) else box.depth_in + rules.into_sound_in
    return Box(start, end, left, right, max(deepest, rules.least_depth_in))


def _side(a: float, b: float, low: float, high: float, rules: Rules) -> tuple[float, float]:
    a, b = max(a - rules.partial_beyond_ft, low), min(b + rules.partial_beyond_ft, high)
    short = min(rules.partial_side_ft, high - low) - (b - a)
    if short > 0:
        a = min(max(a - short / 2, low), high - (b - a) - short)
        b = a + min(rules.partial_side_ft, high - low)
    # A strip narrower than the limit beside the patch would break off: it is patched as well.
    return (low if a - low < rules.partial_strip_ft else a), (high if high - b < rules.partial_strip_ft else b)


def _bars(laid: pd.DataFrame, assumptions: Assumptions) -> dict[str, np.ndarray]:
    """Dowels at both ends and tie bars along one side of each full-depth repair; none in a patch."""
    full = (laid["kind"] == "full depth").to_numpy()
    dowelled = full & (assumptions.text("layout_rules", "full.repairs_dowelled") == "yes")
    dowels = 2 * dowel_count(laid["width_ft"].astype(float).round(6), laid["curb_clear_ft"].astype(float), assumptions)
    ties = tie_bar_count(laid["length_ft"].astype(float).round(6), assumptions)
    tied = full & laid["beside_another"].to_numpy(bool)
    return {"dowels": np.where(dowelled, dowels, 0.0), "tie_bars": np.where(tied, ties, 0.0)}


def _full_row(start: float, end: float, span: tuple[float, float], thickness_in: float, curb_clear_ft: float,
              beside_another: bool) -> dict[str, object]:
    width, length = span[1] - span[0], end - start
    return {"kind": "full depth", "x_ft": start, "y_ft": span[0], "length_ft": length, "width_ft": width,
            "depth_in": thickness_in, "area_sqft": length * width, "curb_clear_ft": curb_clear_ft,
            "beside_another": beside_another, "why": "full panel width; least length, remainder and joint rules"}


def _patch_row(box: Box) -> dict[str, object]:
    return {"kind": "partial depth", "x_ft": box.x0, "y_ft": box.y0, "length_ft": box.x1 - box.x0,
            "width_ft": box.y1 - box.y0, "depth_in": box.depth_in, "area_sqft": (box.x1 - box.x0) * (box.y1 - box.y0),
            "curb_clear_ft": 0.0, "beside_another": False, "why": "beyond the damage, least side, near patches joined"}


def _usual_dowels(network: pd.DataFrame, assumptions: Assumptions) -> pd.Series:
    """Dowels in one end of one panel: the mean over the columns, of which up to two lie at a curb."""
    clear = assumptions.number("dowels", "curb_clear_in") / IN_PER_FT
    at_curb = np.minimum(2 / network["panel_columns"], 1.0)
    width = network["panel_width_ft"]
    mean = at_curb * dowel_count(width, clear, assumptions) + (1 - at_curb) * dowel_count(width, 0.0, assumptions)
    return pd.Series(mean)


def _rules(thickness_in: float, assumptions: Assumptions) -> Rules:
    def number(key: str) -> float:
        return assumptions.number("layout_rules", key)

    bars = assumptions.text("layout_rules", "full.repairs_dowelled") == "yes"
    return Rules(
        number("full.least_length_dowelled_ft" if bars else "full.least_length_undowelled_ft"),
        number("full.least_remainder_ft"), number("full.past_dowelled_joint_ft"), number("full.beyond_damage_ft"),
        number("partial.beyond_damage_in") / IN_PER_FT, number("partial.least_side_in") / IN_PER_FT,
        number("partial.join_gap_in") / IN_PER_FT, number("partial.least_remainder_in") / IN_PER_FT,
        number("partial.least_depth_in"), number("partial.into_sound_in"),
        number("partial.greatest_depth_share") * thickness_in, _least("full_from.", assumptions),
        _least("partial_from.", assumptions), assumptions.number("dowels", "curb_clear_in") / IN_PER_FT,
    )


def _least(prefix: str, assumptions: Assumptions) -> dict[str, int]:
    """Rank of the least severity by defect, from the rows with a prefix."""
    rows = assumptions.table("layout_rules")["value"]
    return {str(key).removeprefix(prefix): _RANK[str(value)] for key, value in rows.items()
            if str(key).startswith(prefix)}


def _panels_touched(network: pd.DataFrame, partial: pd.DataFrame) -> np.ndarray:
    """Panels with at least one patch, per block of the network."""
    size = network.set_index("block_id")
    along = (size["length_ft"] / size["panel_rows"]).reindex(partial["block_id"]).to_numpy(float)
    across = (size["width_ft"] / size["panel_columns"]).reindex(partial["block_id"]).to_numpy(float)
    middle_x, middle_y = partial["x_ft"] + partial["length_ft"] / 2, partial["y_ft"] + partial["width_ft"] / 2
    panels = pd.DataFrame({"block_id": partial["block_id"], "row": middle_x // along, "column": middle_y // across})
    count = panels.drop_duplicates().groupby("block_id").size()
    return count.reindex(network["block_id"]).fillna(0).to_numpy(float)
