"""Strategy and needs to quantities per pay item.

Work is measured once: what an all-in price includes (sawing, dowels, concrete) is counted for the crew and
never priced again; the column ``included_in`` of ``pay_items`` says which item carries it.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from rehab.base.settings import Assumptions
from rehab.base.units import SQFT_PER_SQYD, cubic_yards

_ROADS_WITHOUT_CURB = "alley"


def measure(network: pd.DataFrame, needs: pd.DataFrame, strategy: str, assumptions: Assumptions) -> pd.DataFrame:
    """Quantities of one strategy: one row per row of ``needs``, one column per pay item, in the item's unit.

    ``network`` has the same rows in the same order.  ``partial_depth`` patches joints and cracks, fills, seals,
    grinds and stripes; ``full_depth`` replaces panels as well; ``reconstruction`` replaces the whole block.
    """
    items = assumptions.table("pay_items").index
    work = {"none": {}, "partial_depth": _repair(network, needs, False, assumptions),
            "full_depth": _repair(network, needs, True, assumptions),
            "reconstruction": _rebuild(network, assumptions)}[strategy]
    unknown = set(work) - set(items)
    if unknown:
        raise KeyError(f"no pay item {', '.join(sorted(unknown))}")
    zero = np.zeros(len(needs))
    return pd.DataFrame({item: work.get(item, zero) for item in items})


def as_list(keys: pd.DataFrame, quantities: pd.DataFrame, assumptions: Assumptions) -> pd.DataFrame:
    """The table ``quantities``, one row per block, year, strategy and pay item that is not zero.

    ``keys`` holds block_id, year and strategy of each row of ``quantities``.
    """
    # A coverage such as 'sqft/gal' counts gallons.
    units = assumptions.table("pay_items")["unit"].str.rpartition("/")[2].reindex(quantities.columns)
    row, column = np.nonzero(quantities.to_numpy())
    result = keys.iloc[row].reset_index(drop=True)
    result = result.assign(pay_item=quantities.columns.to_numpy()[column], unit=units.to_numpy()[column],
                           quantity=quantities.to_numpy()[row, column])
    columns = ["block_id", "year", "strategy", "pay_item", "quantity", "unit"]
    return result.astype({"pay_item": "str", "unit": "str"})[columns]


def _repair(network: pd.DataFrame, needs: pd.DataFrame, deep: bool, assumptions: Assumptions) -> dict[str, np.ndarray]:
    waste = {key: assumptions.number("pay_items", key)
             for key in ("patch_mix", "concrete_full", "saw_cut", "dowel", "tie_bar", "curing_compound")}
    need = {name: needs[name].to_numpy(float) for name in (
        "partial_sqft", "partial_depth_in", "crack_ft", "reseal_ft", "grind_sqyd", "full_sqyd", "curb_ft", "castings",
        "saw_ft", "dowels", "tie_bars")}
    covered = need["partial_sqft"].copy()
    work = {
        "partial_depth_patch": need["partial_sqft"],
        "patch_mix": waste["patch_mix"] * cubic_yards(need["partial_sqft"], need["partial_depth_in"]),
        "crack_filling": need["crack_ft"], "joint_resealing": need["reseal_ft"],
        "diamond_grinding": need["grind_sqyd"], "striping": _stripes(network, assumptions),
    }
    if deep:
        full_sqft = need["full_sqyd"] * SQFT_PER_SQYD
        covered = covered + full_sqft
        work |= {
            "full_depth_panel": need["full_sqyd"], "curb_and_gutter": need["curb_ft"],
            "casting_adjustment": need["castings"],
            "concrete_full": waste["concrete_full"] * cubic_yards(full_sqft, network["thickness_in"].to_numpy(float)),
            "saw_cut": waste["saw_cut"] * need["saw_ft"], "dowel": waste["dowel"] * need["dowels"],
            "tie_bar": waste["tie_bar"] * need["tie_bars"],
        }
    work["curing_compound"] = covered / waste["curing_compound"]
    return work


def _rebuild(network: pd.DataFrame, assumptions: Assumptions) -> dict[str, np.ndarray]:
    area = network["area_sqft"].to_numpy(float)
    curbed = (network["functional_class"] != _ROADS_WITHOUT_CURB).to_numpy(float)
    share = assumptions.number("defaults", "reconstruction_curb_share")
    return {
        "pavement_reconstruction": area / SQFT_PER_SQYD,
        "curb_and_gutter": share * curbed * network["curb_ft"].to_numpy(float),
        "casting_adjustment": network["castings"].fillna(0).to_numpy(float),
        "striping": _stripes(network, assumptions),
        "concrete_reconstruction": assumptions.number("pay_items", "concrete_reconstruction")
        * cubic_yards(area, network["thickness_in"].to_numpy(float)),
        "curing_compound": area / assumptions.number("pay_items", "curing_compound"),
    }


def _stripes(network: pd.DataFrame, assumptions: Assumptions) -> np.ndarray:
    lines = assumptions.by_class("defaults", "stripe_lines", network["functional_class"])
    return (lines * network["length_ft"]).to_numpy(float)
