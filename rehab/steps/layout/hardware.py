"""Bars, cuts, joints and inserts of repairs, and the area paid."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.settings import Assumptions
from rehab.base.units import SQFT_PER_SQYD
from rehab.steps.layout.bars import column_dowels, dowel_diameter_in, gets_dowels, tie_bar_count
from rehab.steps.layout.lane import EPS, inner_joints

Floats = npt.NDArray[np.float64]


def hardware(laid: pd.DataFrame, block: pd.DataFrame, assumptions: Assumptions) -> dict[str, Floats]:
    """Dowels, tie bars, saw cut, joints, inserts and the area paid; a line shared by two repairs is counted once."""
    full, box, patch = ((laid["kind"] == kind).to_numpy(bool)
                        for kind in ("full depth", "casting box-out", "partial depth"))
    length, width = laid["length_ft"].to_numpy(float).round(6), laid["width_ft"].to_numpy(float).round(6)
    columns = block["panel_columns"].to_numpy(float)
    column = laid["panel_column"].to_numpy(float)
    at_curb = (column == 1) | (column == columns)
    thick = block["thickness_in"].to_numpy(float)
    dowelled = full & gets_dowels(thick, assumptions)
    each = column_dowels(block, at_curb, assumptions)
    past = assumptions.number("layout_rules", "full.past_dowelled_joint_ft") * block["dowelled"].to_numpy(bool)
    inner = np.where(full, _inner(laid, block, past, assumptions), 0.0)
    piece = assumptions.number("layout_rules", "full.piece_ft")
    lifts = np.where(full, np.ceil(length / piece - EPS) - 1, 0.0)
    shared = _shared_sides(laid, full)
    on_joint = _on_joints(laid, block)
    around = 2 * (length + width)
    sides = np.where(full, around - shared, around)
    diameter = {value: dowel_diameter_in(value, assumptions) for value in np.unique(thick).tolist()}
    least = np.select([full, patch], [SQFT_PER_SQYD * assumptions.number("layout_rules", "pay.least_full_sqyd"),
                                      assumptions.number("layout_rules", "pay.least_partial_sqft")], 0.0)
    return {
        "dowels": np.where(dowelled, 2 * each, 0.0), "basket_dowels": np.where(dowelled, inner * each, 0.0),
        "dowel_diameter_in": np.where(dowelled & (each > 0), [diameter[value] for value in thick.tolist()], 0.0),
        "tie_bars": np.where(full & (columns > 1), tie_bar_count(length, assumptions), 0.0),
        "inner_joints": inner, "saw_ft": np.select([full, box], [sides + lifts * width, around],
                                              np.maximum(around - on_joint, 0.0)),
        "joint_ft": np.select([full, box], [sides + inner * width, around], on_joint),
        "insert_ft": np.select([box, patch], [around, on_joint], 0.0),
        "pay_sqft": np.maximum(laid["area_sqft"].to_numpy(float), least),
    }


def _inner(laid: pd.DataFrame, block: pd.DataFrame, past: Floats, assumptions: Assumptions) -> list[int]:
    """Joints remade inside each rectangle."""
    limit = assumptions.number("layout_rules", "full.longest_panel_ft")
    start, length = laid["x_ft"].to_numpy(float).round(6), laid["length_ft"].to_numpy(float).round(6)
    sizes = zip(start, length, block["length_ft"], block["panel_rows"], past, strict=True)
    return [inner_joints(a, a + long, np.linspace(0.0, whole, int(rows) + 1).round(6).tolist(), beyond, limit)
            for a, long, whole, rows, beyond in sizes]


def _shared_sides(laid: pd.DataFrame, full: npt.NDArray[np.bool_]) -> Floats:
    """Feet of each full-depth repair's right side that is the left side of one in the next column."""
    own = laid.loc[full, ["block_id", "panel_column", "x_ft", "length_ft"]].rename_axis("repair").reset_index()
    own["end_ft"] = own["x_ft"] + own["length_ft"]
    pairs = own.merge(own.assign(panel_column=own["panel_column"] - 1), on=["block_id", "panel_column"],
                      suffixes=("", "_next"))
    both = np.minimum(pairs["end_ft"], pairs["end_ft_next"]) - np.maximum(pairs["x_ft"], pairs["x_ft_next"])
    shared = pd.Series(np.maximum(np.asarray(both, float), 0.0)).groupby(pairs["repair"]).sum()
    return np.asarray(shared.reindex(laid.index).fillna(0.0), float)


def _on_joints(laid: pd.DataFrame, block: pd.DataFrame) -> Floats:
    """Feet of each rectangle's outline that lie on a joint or along a curb, where no new cut is needed."""
    total = np.zeros(len(laid))
    for at, size, other, whole, count in (("x_ft", "length_ft", "width_ft", "length_ft", "panel_rows"),
                                          ("y_ft", "width_ft", "length_ft", "width_ft", "panel_columns")):
        panel = (block[whole] / block[count]).to_numpy(float)
        for edge in (laid[at].to_numpy(float), (laid[at] + laid[size]).to_numpy(float)):
            on = np.abs(edge - np.round(edge / panel) * panel) < 1e-4
            total += np.where(on, laid[other].to_numpy(float), 0.0)
    return total
