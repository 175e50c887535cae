"""Dowels and tie bars of repairs: how many, and how thick."""

from __future__ import annotations

import numpy as np
import pandas as pd

from rehab.base.settings import Assumptions
from rehab.base.units import IN_PER_FT


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


def counted(laid: pd.DataFrame, assumptions: Assumptions) -> dict[str, np.ndarray]:
    """Dowels at both ends and tie bars along one side of each full-depth repair; none in a patch."""
    full = (laid["kind"] == "full depth").to_numpy()
    dowelled = full & (assumptions.text("layout_rules", "full.repairs_dowelled") == "yes")
    dowels = 2 * dowel_count(laid["width_ft"].astype(float).round(6), laid["curb_clear_ft"].astype(float), assumptions)
    ties = tie_bar_count(laid["length_ft"].astype(float).round(6), assumptions)
    tied = full & laid["beside_another"].to_numpy(bool)
    return {"dowels": np.where(dowelled, dowels, 0.0), "tie_bars": np.where(tied, ties, 0.0)}


def usual_dowels(network: pd.DataFrame, assumptions: Assumptions) -> pd.Series:
    """Dowels in one end of one panel: the mean over the columns, of which up to two lie at a curb."""
    clear = assumptions.number("dowels", "curb_clear_in") / IN_PER_FT
    at_curb = np.minimum(2 / network["panel_columns"], 1.0)
    width = network["panel_width_ft"]
    mean = at_curb * dowel_count(width, clear, assumptions) + (1 - at_curb) * dowel_count(width, 0.0, assumptions)
    return pd.Series(mean)
