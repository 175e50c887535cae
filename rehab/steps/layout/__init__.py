"""Defects on the panel grid to saw-cut rectangles, by the rows of ``layout_rules``.

Full-depth repairs span a panel's full width (FHWA, source ``fhwa-full-depth``).  Along a column of panels each
deep defect is an interval: it is widened beyond the damage, grown to the least length, taken to the joint where
less than the least remainder would stay, one foot past it where that joint has dowels, and joined with its
neighbour where less than the least remainder would stay between them, until nothing changes.  Shallow defects
become rectangles with a least side, joined when near; those that touch a full-depth repair belong to it.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from functools import cache, partial
from typing import Any, Final

import numpy as np
import pandas as pd

from rehab.base import tables
from rehab.base.settings import Assumptions
from rehab.steps.layout.bars import counted, dowel_count, dowel_diameter_in, tie_bar_count, usual_dowels
from rehab.steps.layout.full import full_intervals
from rehab.steps.layout.patches import cut_round, kind_of, near_joined, place
from rehab.steps.layout.rules import Box, Rules, rules_of

__all__ = ["dowel_count", "dowel_diameter_in", "lay_out", "outside_grid", "per_panel", "tie_bar_count"]

#: the columns of a row as laid out, before its bars are counted; the last two say where bars go
_COLUMNS: Final = ("block_id", "repair_id", "kind", "x_ft", "y_ft", "length_ft", "width_ft", "depth_in", "area_sqft",
                   "why", "curb_clear_ft", "beside_another")


def lay_out(network: pd.DataFrame, defects: pd.DataFrame, assumptions: Assumptions) -> pd.DataFrame:
    """The table ``repairs`` of the blocks that have a panel-by-panel survey.

    No repair overlaps another, none leaves the block, and no part of a panel narrower than the limit stays
    beside a full-depth repair.
    """
    found_in = network[network["block_id"].isin(defects["block_id"])]
    surveyed = {str(row["block_id"]): row for _, row in found_in.iterrows()}
    rules = cache(partial(rules_of, assumptions=assumptions))
    by_block: dict[str, list[dict[Hashable, Any]]] = {}
    for defect in defects.to_dict("records"):
        by_block.setdefault(str(defect["block_id"]), []).append(defect)
    rows = [row for block_id in sorted(by_block) if block_id in surveyed
            for row in _block(block_id, surveyed[block_id], by_block[block_id], rules)]
    laid = pd.DataFrame(rows, columns=_COLUMNS)
    return tables.check("repairs", tables.with_types("repairs", laid.assign(**counted(laid, assumptions))))


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
        "dowels": 2 * usual_dowels(network, assumptions) if bars else 0.0,
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
        kind = kind_of(str(defect["defect"]), str(defect["severity"]), float(defect["depth_in"]), rules)
        box = place(defect, joints[row], joints[row + 1], edges[column], edges[column + 1])
        if kind == "full depth":
            deep.setdefault(column, []).append((box.x0, box.x1))
        elif kind == "partial depth":
            shallow.setdefault((column, row), []).append(cut_round(box, joints[row], joints[row + 1], edges[column],
                                                                edges[column + 1], rules))
    # Patches are joined panel by panel: none ever bridges a joint.
    ready = {panel: near_joined(boxes, rules) for panel, boxes in shallow.items()}
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


def _panels_touched(network: pd.DataFrame, partial: pd.DataFrame) -> np.ndarray:
    """Panels with at least one patch, per block of the network."""
    size = network.set_index("block_id")
    along = (size["length_ft"] / size["panel_rows"]).reindex(partial["block_id"]).to_numpy(float)
    across = (size["width_ft"] / size["panel_columns"]).reindex(partial["block_id"]).to_numpy(float)
    middle_x, middle_y = partial["x_ft"] + partial["length_ft"] / 2, partial["y_ft"] + partial["width_ft"] / 2
    panels = pd.DataFrame({"block_id": partial["block_id"], "row": middle_x // along, "column": middle_y // across})
    count = panels.drop_duplicates().groupby("block_id").size()
    return count.reindex(network["block_id"]).fillna(0).to_numpy(float)
