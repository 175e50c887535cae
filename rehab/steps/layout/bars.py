"""Dowels and tie bars of repairs: how many, and how thick."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.settings import Assumptions
from rehab.base.units import IN_PER_FT

Floats = npt.NDArray[np.float64]


def gets_dowels(thickness_in: npt.ArrayLike, assumptions: Assumptions) -> npt.NDArray[np.bool_]:
    """Whether full-depth repairs in slabs of a thickness get dowels drilled at their ends."""
    wanted = assumptions.text("layout_rules", "full.repairs_dowelled") == "yes"
    return np.asarray(wanted & (np.asarray(thickness_in) >= assumptions.number("dowels", "from_thickness_in")))


def dowel_count(width_ft: npt.ArrayLike, curb_side_ft: npt.ArrayLike, assumptions: Assumptions,
                spacing_in: npt.ArrayLike | None = None) -> Floats:
    """Dowels in one end of a repair: floor((W - two edge distances) / spacing) + 1, widths in feet.

    ``curb_side_ft`` is kept free at one side instead of the edge distance, as beside a curb; without a spacing that of
    the table holds.  Where the pattern is 'wheel paths', two wheel paths hold their own number, never more.
    """
    edge = assumptions.number("dowels", "edge_in")
    spacing = assumptions.number("dowels", "spacing_in") if spacing_in is None else np.asarray(spacing_in, float)
    room = np.asarray(width_ft, float) * IN_PER_FT - edge - np.maximum(edge, np.asarray(curb_side_ft) * IN_PER_FT)
    across = np.where(room < -1e-9, 0.0, np.floor(room / spacing + 1e-9) + 1)
    if assumptions.text("dowels", "pattern") == "across":
        return np.asarray(across)
    return np.asarray(np.minimum(across, 2 * assumptions.number("dowels", "per_wheel_path")))


def tie_bar_count(length_ft: npt.ArrayLike, assumptions: Assumptions) -> Floats:
    """Tie bars along one side of a repair: none below the limit of length, else one per spacing."""
    length = np.asarray(length_ft, float)
    count = np.floor(length * IN_PER_FT / assumptions.number("dowels", "tie.spacing_in") + 1e-9)
    return np.asarray(np.where(length >= assumptions.number("dowels", "tie.from_length_ft"), count, 0.0))


def dowel_diameter_in(thickness_in: float, assumptions: Assumptions, rule: str | None = None) -> float:
    """Dowel diameter by the chosen rule: 'eighth' of the thickness, or the 'published' table; inches."""
    table = assumptions.table("dowels")
    if (rule or assumptions.text("dowels", "rule")) == "eighth":
        return assumptions.number("dowels", "eighth") * thickness_in
    rows = table[table["rule"] == "published"].astype({"from_thickness_in": float, "value": float})
    return float(rows[rows["from_thickness_in"] <= thickness_in].sort_values("from_thickness_in")["value"].iloc[-1])


def hole_in(diameter_in: float, assumptions: Assumptions) -> float:
    """Diameter of the hole drilled for a dowel, inches."""
    return diameter_in + assumptions.number("dowels", "hole_over_in")


def column_dowels(network: pd.DataFrame, at_curb: npt.NDArray[np.bool_], assumptions: Assumptions) -> Floats:
    """Dowels in one end of a repair in a column of panels, rows as in the network.

    None near a curb, and fewer where cars park along most of one curb (common practice, no source).
    """
    clear = np.where(at_curb, assumptions.number("dowels", "curb_clear_in") / IN_PER_FT, 0.0)
    parked = at_curb & (network["parking_ft"].fillna(0.0) > network["length_ft"] / 2).to_numpy(bool)
    spacing = np.where(parked, assumptions.number("dowels", "parking_spacing_in"),
                       assumptions.number("dowels", "spacing_in"))
    width = (network["width_ft"] / network["panel_columns"]).to_numpy(float).round(6)
    # A street one panel wide has a curb on both sides.
    edge = assumptions.number("dowels", "edge_in") / IN_PER_FT
    both = np.where(at_curb & (network["panel_columns"].to_numpy(float) == 1), np.maximum(clear - edge, 0.0), 0.0)
    return dowel_count(width - both, clear, assumptions, spacing)


def usual_dowels(network: pd.DataFrame, assumptions: Assumptions) -> Floats:
    """Dowels in one end of one panel: the mean over the columns, of which up to two lie at a curb."""
    curb = np.ones(len(network), bool)
    share = np.minimum(2 / network["panel_columns"].to_numpy(float), 1.0)
    return np.asarray(share * column_dowels(network, curb, assumptions)
                      + (1 - share) * column_dowels(network, ~curb, assumptions))
