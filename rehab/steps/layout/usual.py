"""What one panel that needs full depth takes: by the block's own layout, else by rule from the block's sizes."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.settings import Assumptions
from rehab.base.units import SQFT_PER_SQYD
from rehab.steps.layout.bars import gets_dowels, tie_bar_count, usual_dowels
from rehab.steps.layout.lane import EPS

Floats = npt.NDArray[np.float64]

#: columns of the repairs that are summed as they are
_SUMS: Final = ("dowels", "basket_dowels", "tie_bars", "saw_ft", "joint_ft")
_PANEL: Final = ["block_id", "panel_row", "panel_column"]


def per_panel(network: pd.DataFrame, findings: pd.DataFrame, repairs: pd.DataFrame,
              assumptions: Assumptions) -> pd.DataFrame:
    """What one panel that needs full depth takes in each block, and what a panel survey found; rows as in the network.

    For a panel replaced whole (``whole_``) and in part, as for a broken corner (``part_``): sqyd, dowels, tie_bars,
    saw_ft, joint_ft.  Where panels were surveyed: sums of the repairs (``full_`` and ``patch_``), the shares of panels
    that need full and partial depth, and what else the findings call for; NA where no panel survey exists.
    """
    whole = _rectangle(network, network["length_ft"] / network["panel_rows"], True, assumptions)
    length = _part_ft(network, assumptions)
    part = _rectangle(network, length, False, assumptions).where(pd.Series(~np.isnan(length)), whole)
    surveyed = network["block_id"].isin(findings["block_id"]).to_numpy(bool)
    found = _found(network, findings, repairs,
                   *(assumptions.number("layout_rules", key) for key in ("full.past_dowelled_joint_ft",
                                                                         "casting.clear_ft")))
    return pd.concat([
        network[["block_id"]].reset_index(drop=True), whole.add_prefix("whole_"), part.add_prefix("part_"),
        found.where(pd.Series(surveyed), np.nan)], axis=1)


def _part_ft(network: pd.DataFrame, assumptions: Assumptions) -> Floats:
    """Length of the least repair at a joint, for a broken corner; NaN where too little of the panel would stay."""
    def number(key: str) -> float:
        return assumptions.number("layout_rules", key)

    panel = (network["length_ft"] / network["panel_rows"]).to_numpy(float)
    bars = gets_dowels(network["thickness_in"].to_numpy(float), assumptions)
    least = np.where(bars, number("full.least_length_dowelled_ft"), number("full.least_length_undowelled_ft"))
    past = network["dowelled"].to_numpy(bool) * number("full.past_dowelled_joint_ft")
    inside = least - past  # the part past the joint counts towards the least length
    return np.where(panel - inside >= number("full.least_remainder_ft") - EPS, least, np.nan)


def _rectangle(network: pd.DataFrame, length_ft: npt.ArrayLike, whole: bool, assumptions: Assumptions) -> pd.DataFrame:
    """One repair over the width of a panel: area, bars, saw cut and joint; its sides are shared with no other."""
    length = np.asarray(length_ft, float)
    width = (network["width_ft"] / network["panel_columns"]).to_numpy(float)
    bars = gets_dowels(network["thickness_in"].to_numpy(float), assumptions)
    past = network["dowelled"].to_numpy(bool) * assumptions.number("layout_rules", "full.past_dowelled_joint_ft")
    length = length + (2 * past if whole else 0.0)
    pieces = np.ceil(length / assumptions.number("layout_rules", "full.piece_ft") - EPS) - 1
    sqft = length * width
    return pd.DataFrame({
        "sqyd": sqft / SQFT_PER_SQYD,
        "pay_sqyd": np.maximum(sqft / SQFT_PER_SQYD, assumptions.number("layout_rules", "pay.least_full_sqyd")),
        "dowels": np.where(bars, 2 * usual_dowels(network, assumptions), 0.0), "basket_dowels": 0.0,
        "tie_bars": np.where(network["panel_columns"].to_numpy(float) > 1, tie_bar_count(length.round(6), assumptions),
                             0.0),
        "saw_ft": 2 * (length + width) + pieces * width, "joint_ft": 2 * (length + width)})


def _found(network: pd.DataFrame, findings: pd.DataFrame, repairs: pd.DataFrame, past_ft: float,
           clear_ft: float) -> pd.DataFrame:
    """Sums over each block's own repairs and findings, zero where there is none; rows as in the network."""
    ids = network["block_id"]

    def total(rows: pd.DataFrame, values: npt.ArrayLike | str) -> Floats:
        given = rows[values] if isinstance(values, str) else pd.Series(np.asarray(values, float), rows.index)
        return np.asarray(given.groupby(rows["block_id"]).sum().reindex(ids).fillna(0.0), float)

    def called(*calls: str) -> pd.DataFrame:
        return findings[findings["call"].isin(calls)]

    full, patch, box = (repairs[repairs["kind"] == kind] for kind in ("full depth", "partial depth", "casting box-out"))
    touched, whole = _panels_of(network, full, past_ft)
    patched = _panels_of(network, patch, 0.0)[0]
    damaged = called("full depth")[_PANEL].drop_duplicates()
    # Panels whose damage calls for full depth, those replaced beside it, and those whose patches went with it.
    spalled = called("partial depth")[_PANEL].drop_duplicates()
    needs_full = pd.concat([damaged, whole, touched.merge(spalled)]).drop_duplicates()
    needs_part = _without(patched, pd.concat([needs_full, touched]))
    panels = network["panels"].to_numpy(float)

    def counted(rows: pd.DataFrame) -> Floats:
        return np.asarray(rows.groupby("block_id").size().reindex(ids).fillna(0.0), float)

    held = findings.merge(full[["block_id", "panel_column", "x_ft", "length_ft"]], on=["block_id", "panel_column"])
    castings = held[(held["defect"] == "casting") & (held["x0_ft"] < held["x_ft"] + held["length_ft"])
                    & (held["x1_ft"] > held["x_ft"])]
    in_panel = castings.groupby("block_id")["defect_id"].nunique().reindex(ids).fillna(0.0).to_numpy(float)
    apart = _without(called("box out", "adjust")[["block_id", "defect_id"]], castings[["block_id", "defect_id"]])

    def panels_called(*calls: str) -> Floats:
        return counted(_without(called(*calls)[_PANEL].drop_duplicates(), needs_full))

    sunken = findings.loc[findings["defect"] == "sunken panel", _PANEL].drop_duplicates()
    could = findings[findings["could_raise"].astype(bool)]
    # A casting in a replaced panel is set in the new concrete: its felt counts, its box-out is the panel.
    round_it = 2 * (castings["x1_ft"] - castings["x0_ft"] + castings["y1_ft"] - castings["y0_ft"] + 4 * clear_ft)
    return pd.DataFrame({
        "full_share": np.minimum(counted(needs_full) / panels, 1.0),
        "partial_share": np.minimum(counted(needs_part) / panels, 1.0),
        # As from counts: panels that are cracked and stay, and those that are replaced.
        "cracked_share": np.minimum((panels_called("fill", "stitch") + counted(needs_full)) / panels, 1.0),
        "sunken_share": counted(needs_full.merge(sunken)) / panels,
        "jack_panels": panels_called("jack"), "jackable_panels": counted(could[_PANEL].drop_duplicates()),
        "whole_count": counted(whole),
        "full_sqyd": total(full, "area_sqft") / SQFT_PER_SQYD, "full_pay_sqyd": total(full, "pay_sqft") / SQFT_PER_SQYD,
        **{f"full_{name}": total(full, name) for name in _SUMS},
        "patch_sqft": total(patch, "area_sqft"), "patch_pay_sqft": total(patch, "pay_sqft"),
        "patch_ft": total(patch, np.maximum(patch["length_ft"], patch["width_ft"])),
        "patch_saw_ft": total(patch, "saw_ft"), "insert_ft": total(patch, "insert_ft"),
        "patch_depth_in": np.divide(total(patch, patch["depth_in"] * patch["area_sqft"]), total(patch, "area_sqft"),
                                    out=np.full(len(network), np.nan), where=total(patch, "area_sqft") > 0),
        "box_outs": counted(box), "box_out_sqft": total(box, "area_sqft"),
        "box_saw_ft": total(box, "saw_ft"), "box_joint_ft": total(box, "joint_ft"),
        "felt_ft": total(box, "insert_ft") + total(castings, round_it),
        "castings": counted(apart), "castings_in_panels": in_panel,
        "hollow_sqft": total(rows := findings[findings["defect"] == "hollow area"],
                             (rows["x1_ft"] - rows["x0_ft"]) * (rows["y1_ft"] - rows["y0_ft"])),
        "crack_ft": total(called("fill"), "left_ft"), "stitch_ft": total(called("stitch"), "left_ft"),
        "seal_ft": total(called("reseal"), "left_ft"), "stabilise_panels": panels_called("stabilise"),
        "retrofit_panels": panels_called("restore load transfer"), "grind_panels": panels_called("grind"),
    })


def _without(rows: pd.DataFrame, others: pd.DataFrame) -> pd.DataFrame:
    """The rows that are not among the others; both have the same columns."""
    merged = rows.merge(others.drop_duplicates(), how="left", indicator=True)
    return merged[merged["_merge"] == "left_only"]


def _panels_of(network: pd.DataFrame, cut: pd.DataFrame, past_ft: float) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Panels that rectangles touch, and those that they cover whole.

    A cut that only goes past a joint takes the joint out, not the next panel.
    """
    size = network.set_index("block_id")
    along = (size["length_ft"] / size["panel_rows"]).reindex(cut["block_id"]).to_numpy(float)
    first = np.floor(cut["x_ft"].to_numpy(float) / along + EPS).astype(np.int64)
    ends = (cut["x_ft"] + cut["length_ft"]).to_numpy(float)
    last = np.maximum(np.ceil(ends / along - EPS).astype(np.int64), first + 1)
    each = np.repeat(np.arange(len(cut)), last - first)
    row = np.arange(len(each)) - np.repeat(np.cumsum(last - first) - (last - first), last - first) + first[each]
    start, length, panel = cut["x_ft"].to_numpy(float)[each], cut["length_ft"].to_numpy(float)[each], along[each]
    covered = np.minimum(start + length, (row + 1) * panel) - np.maximum(start, row * panel)
    touched = pd.DataFrame({"block_id": cut["block_id"].to_numpy()[each], "panel_row": row + 1,
                            "panel_column": cut["panel_column"].to_numpy()[each]})
    return (touched[(covered > past_ft + EPS) | (covered >= panel / 2)].drop_duplicates(),
            touched[covered >= panel - 1e-4].drop_duplicates())
