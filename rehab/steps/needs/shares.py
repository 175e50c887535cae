"""Survey to shares: from counts, or from an index or a rating by the ratios of the table ``defaults``."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base import rating
from rehab.base.settings import Assumptions


def from_counts(network: pd.DataFrame, assumptions: Assumptions) -> pd.DataFrame:
    """Shares of panels, curb and joints from counts and lengths; what a count leaves out counts as none seen."""
    panels = network["panels"].astype(float)
    counts = {name: network[name].astype(float).fillna(0.0)
              for name in ("panels_cracked", "panels_broken", "panels_sunken", "corner_breaks")}
    # Feet of crack without a count of panels are spread over panels, as spalled joints are.
    spread = network["cracked_ft"] / assumptions.number("defaults", "crack_ft_per_panel")
    counts["panels_cracked"] = network["panels_cracked"].astype(float).fillna(spread.clip(upper=panels)).fillna(0.0)
    saved = assumptions.number("companions", "jack.saved_share_of_sunken") * counts["panels_sunken"] / panels
    raised = saved * (assumptions.text("companions", "jack.used") == "yes")
    # A panel may be broken and sunken at once; without a panel-by-panel survey the sum is taken, up to all panels.
    lost = counts["panels_broken"] + counts["panels_sunken"] + counts["corner_breaks"]
    full = (lost / panels - raised).clip(upper=1.0)
    partial_ft = network["spalled_joint_ft"].fillna(0.0)
    hollow = network["hollow_sqft"].fillna(0.0)
    per_panel = assumptions.number("defaults", "partial_ft_per_panel")
    width = assumptions.number("defaults", "partial_width_ft")
    # Feet of spalled joint, and hollow area beyond what those feet cover, are spread over panels.
    partial_panels = (partial_ft / per_panel).clip(lower=hollow / (per_panel * width))
    partial = (partial_panels / panels).clip(upper=1.0 - full)
    # Damage deeper than the allowed share of the slab goes full depth, as in a panel survey.
    depth = network["damage_depth_in"] + assumptions.number("layout_rules", "partial.into_sound_in")
    deep = depth > assumptions.number("layout_rules", "partial.greatest_depth_share") * network["thickness_in"]
    full, partial = full + partial.where(deep, 0.0), partial.where(~deep, 0.0)
    cracked = (counts["panels_cracked"] + counts["panels_broken"] + counts["corner_breaks"]) / panels
    joints = network["transverse_joint_ft"] + network["longitudinal_joint_ft"]
    return pd.DataFrame({
        "full_share": full, "partial_share": partial, "cracked_share": cracked.clip(upper=1.0),
        "sunken_share": (counts["panels_sunken"] / panels - raised).clip(upper=1.0),
        "jack_panels": raised * panels, "jackable_panels": (saved - raised) * panels,
        "curb_share": (network["sunken_curb_ft"].fillna(0.0) / network["curb_ft"]).clip(upper=1.0),
        "wide_joint_share": (network["wide_joint_ft"].fillna(0.0) / joints).clip(upper=1.0),
    })


def from_index(network: pd.DataFrame, held: npt.NDArray[np.float64], assumptions: Assumptions) -> pd.DataFrame:
    """The same shares where only an index (or what converts to one) is held: estimated, and flagged as such."""
    partial, full = rating.shares_at(np.nan_to_num(held, nan=100.0), assumptions)

    def ratio(key: str) -> float:
        return assumptions.number("defaults", key)

    cracked = np.minimum(full + partial * ratio("crack_share_of_partial"), 1.0)
    sunken = full * ratio("sunken_share_of_full")
    saved = sunken * assumptions.number("companions", "jack.saved_share_of_sunken")
    used = float(assumptions.text("companions", "jack.used") == "yes")
    return pd.DataFrame({
        "full_share": full - used * saved, "partial_share": partial, "cracked_share": cracked,
        "sunken_share": sunken - used * saved,
        "jack_panels": used * saved * network["panels"].to_numpy(float),
        "jackable_panels": (1 - used) * saved * network["panels"].to_numpy(float),
        "curb_share": full * ratio("curb_share_of_full"),
        "wide_joint_share": np.minimum(partial * ratio("wide_joint_share_of_partial"), 1.0),
    }, index=network.index)
