"""Survey to needs: how much of a block needs what, from counts or, flagged, from an index, a rating or a word.

Panels that are broken, sunken or broken at a corner need full depth (FHWA, source ``fhwa-full-depth-table``);
spalled joints and cracks need partial depth; tight cracks are filled; joints opened wide are resealed.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base import rating, tables
from rehab.base.settings import Assumptions
from rehab.base.units import SQFT_PER_SQYD

Floats = npt.NDArray[np.float64]
_LEVEL: Final = {name: float(level) for level, name in enumerate(tables.DISTRESS)}


def measure(network: pd.DataFrame, per_panel: pd.DataFrame, assumptions: Assumptions) -> pd.DataFrame:
    """The table ``needs`` of the survey year, one row per block.

    ``per_panel`` holds what one full-depth panel takes (block_id, sqyd, dowels, tie_bars, saw_ft) and, where a
    panel survey was laid out, the shares and the patch area it found (full_share, partial_share, partial_sqft).
    Where a block is counted, what its survey leaves out counts as none seen.  Where only an index, a rating or
    a word is held, shares come from the table ``rating_to_shares`` and ``estimated`` is true.
    """
    held = rating.index_held(network, assumptions)
    estimated = network["estimated"].astype(bool)
    shares = _from_index(network, held, assumptions).where(estimated, _from_counts(network, assumptions))
    for name in ("full_share", "partial_share"):
        shares[name] = per_panel[name].where(per_panel[name].notna(), shares[name])
    shares["partial_share"] = np.minimum(shares["partial_share"], 1.0 - shares["full_share"])
    computed = rating.index_of(shares["partial_share"], shares["full_share"], assumptions)
    shares = shares.assign(index=np.where(np.isnan(held), computed, held),
                           year=network["survey_year"].astype("int64"))
    needs = scale(network, shares, intensity(network, shares, per_panel, assumptions))
    return tables.check("needs", tables.with_types("needs", needs))


def intensity(network: pd.DataFrame, shares: pd.DataFrame, per_panel: pd.DataFrame,
              assumptions: Assumptions) -> pd.DataFrame:
    """What one panel in need takes, from the block's own survey or the defaults; rows as in the network.

    It stays the same while the shares grow: a forecast year multiplies it by its own shares.
    """
    def number(key: str) -> float:
        return assumptions.number("defaults", key)

    def own(seen: Floats, on_panels: Floats, default: float) -> Floats:
        """Seen divided by the panels it was seen on; the default where there is nothing to divide."""
        given = (np.nan_to_num(seen) > 0) & (on_panels > 0) & ~network["estimated"].to_numpy(bool)
        return np.asarray(np.divide(seen, on_panels, out=np.full(len(network), default), where=given))

    panels = network["panels"].to_numpy(float)
    partial_panels = shares["partial_share"].to_numpy(float) * panels
    feet = own(network["spalled_joint_ft"].to_numpy(float), partial_panels, number("partial_ft_per_panel"))
    hollow = own(network["hollow_sqft"].to_numpy(float), partial_panels, 0.0)
    laid_out = own(per_panel["partial_sqft"].to_numpy(float), partial_panels, np.nan)
    area = np.where(np.isnan(laid_out), np.maximum(feet * number("partial_width_ft"), hollow), laid_out)
    cracks = own(network["cracked_ft"].to_numpy(float), shares["cracked_share"].to_numpy(float) * panels,
                 number("crack_ft_per_panel"))
    return pd.DataFrame({
        "partial_ft": feet, "partial_sqft": area, "crack_ft": cracks,
        "partial_depth_in": network["damage_depth_in"].fillna(number("damage_depth_in")).to_numpy(float),
        "full_sqyd": per_panel["sqyd"].to_numpy(float),
        **{name: per_panel[name].to_numpy(float) for name in ("dowels", "tie_bars", "saw_ft")},
        "grind_sqyd": (network["length_ft"] * (network["width_ft"] - 2 * number("grind_curb_strip_ft")).clip(lower=0)
                       / SQFT_PER_SQYD).to_numpy(float),
    })


def scale(network: pd.DataFrame, shares: pd.DataFrame, each: pd.DataFrame) -> pd.DataFrame:
    """Needs in feet, square feet and panels from shares; the rows of the three tables belong together.

    ``shares`` holds year, index and the shares, ``each`` what one panel takes; the same code serves the survey
    year and every forecast year.
    """
    panels = network["panels"].to_numpy(float)
    full_panels = shares["full_share"].to_numpy(float) * panels
    partial_panels = shares["partial_share"].to_numpy(float) * panels
    cracked_panels = _left_cracked(shares) * panels
    most_sqft = partial_panels * network["area_sqft"].to_numpy(float) / panels
    joints = (network["transverse_joint_ft"] + network["longitudinal_joint_ft"]).to_numpy(float)
    given = ("full_share", "partial_share", "cracked_share", "sunken_share", "curb_share", "wide_joint_share", "index")
    return pd.DataFrame({
        "block_id": network["block_id"].to_numpy(), "year": shares["year"].to_numpy(),
        **{name: shares[name].to_numpy(float) for name in given},
        "panels_full": full_panels,
        **{name: full_panels * each[name].to_numpy(float) for name in ("full_sqyd", "dowels", "tie_bars", "saw_ft")},
        "partial_ft": partial_panels * each["partial_ft"].to_numpy(float),
        "partial_sqft": np.minimum(partial_panels * each["partial_sqft"].to_numpy(float), most_sqft),
        "partial_depth_in": each["partial_depth_in"].to_numpy(float),
        "crack_ft": cracked_panels * each["crack_ft"].to_numpy(float),
        "reseal_ft": shares["wide_joint_share"].to_numpy(float) * joints,
        "curb_ft": shares["curb_share"].to_numpy(float) * network["curb_ft"].to_numpy(float),
        "castings": shares["full_share"].to_numpy(float) * network["castings"].fillna(0).to_numpy(float),
        "grind_sqyd": each["grind_sqyd"].to_numpy(float),
        "distress_level": network["material_distress"].map(_LEVEL).fillna(0.0).to_numpy(float),
        **{name: network[name].to_numpy(float) for name in ("faulting_in", "iri_in_per_mi", "load_transfer")},
        "estimated": network["estimated"].to_numpy(),
    })


def _left_cracked(shares: pd.DataFrame) -> Floats:
    """Share of panels that are cracked and stay: broken ones are replaced, sunken ones are cracked like any other."""
    full, cracked, sunken = (shares[f"{name}_share"].to_numpy(float) for name in ("full", "cracked", "sunken"))
    broken = np.maximum(full - sunken, 0.0)
    staying = 1.0 - np.minimum(sunken / np.maximum(1.0 - broken, 1e-12), 1.0)
    return np.asarray(np.maximum(cracked - broken, 0.0) * staying)


def _from_counts(network: pd.DataFrame, assumptions: Assumptions) -> pd.DataFrame:
    panels = network["panels"].astype(float)
    counts = {name: network[name].astype(float).fillna(0.0)
              for name in ("panels_cracked", "panels_broken", "panels_sunken", "corner_breaks")}
    # Feet of crack without a count of panels are spread over panels, as spalled joints are.
    spread = network["cracked_ft"] / assumptions.number("defaults", "crack_ft_per_panel")
    counts["panels_cracked"] = network["panels_cracked"].astype(float).fillna(spread.clip(upper=panels)).fillna(0.0)
    # A panel may be broken and sunken at once; without a panel-by-panel survey the sum is taken, up to all panels.
    full = ((counts["panels_broken"] + counts["panels_sunken"] + counts["corner_breaks"]) / panels).clip(upper=1.0)
    partial_ft = network["spalled_joint_ft"].fillna(0.0)
    hollow = network["hollow_sqft"].fillna(0.0)
    per_panel = assumptions.number("defaults", "partial_ft_per_panel")
    width = assumptions.number("defaults", "partial_width_ft")
    # Feet of spalled joint, and hollow area beyond what those feet cover, are spread over panels.
    partial_panels = np.maximum(partial_ft / per_panel, hollow / (per_panel * width))
    partial = np.minimum(partial_panels / panels, 1.0 - full)
    cracked = (counts["panels_cracked"] + counts["panels_broken"] + counts["corner_breaks"]) / panels
    joints = network["transverse_joint_ft"] + network["longitudinal_joint_ft"]
    return pd.DataFrame({
        "full_share": full, "partial_share": partial, "cracked_share": cracked.clip(upper=1.0),
        "sunken_share": (counts["panels_sunken"] / panels).clip(upper=1.0),
        "curb_share": (network["sunken_curb_ft"].fillna(0.0) / network["curb_ft"]).clip(upper=1.0),
        "wide_joint_share": (network["wide_joint_ft"].fillna(0.0) / joints).clip(upper=1.0),
    })


def _from_index(network: pd.DataFrame, held: Floats, assumptions: Assumptions) -> pd.DataFrame:
    partial, full = rating.shares_at(np.nan_to_num(held, nan=100.0), assumptions)

    def ratio(key: str) -> float:
        return assumptions.number("defaults", key)

    cracked = np.minimum(full + partial * ratio("crack_share_of_partial"), 1.0)
    return pd.DataFrame({
        "full_share": full, "partial_share": partial, "cracked_share": cracked,
        "sunken_share": full * ratio("sunken_share_of_full"), "curb_share": full * ratio("curb_share_of_full"),
        "wide_joint_share": np.minimum(partial * ratio("wide_joint_share_of_partial"), 1.0),
    }, index=network.index)
