"""Defects to findings: where the damage lies on the block, and what it calls for, by the rows of ``distresses``.

One row of that table decides for each kind and severity; some rows ask for a least step across the crack or joint.
Shallow damage that reaches too deep, or down to steel, calls for full depth (FHWA, source ``fhwa-partial-depth``).
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base import tables
from rehab.base.errors import BadAssumption
from rehab.base.settings import Assumptions
from rehab.base.units import IN_PER_FT

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

#: damage without a position lies at the first joint of its panel, any other in the middle
_AT_JOINT: Final = ("joint spall", "corner spall", "corner break", "joint seal damage", "faulting", "pumping")
#: where the mean step of the block stands for a step that was not measured
_FAULTED: Final = ("faulting", "joint spall", "transverse crack", "linear crack", "punchout")
#: damage of a joint as such: without a size it is as long as the joint
_OF_JOINT: Final = ("joint seal damage", "faulting", "pumping")
#: calls measured along a line
_LINES: Final = ("fill", "stitch", "reseal")


def judge(network: pd.DataFrame, defects: pd.DataFrame, assumptions: Assumptions) -> pd.DataFrame:
    """The table ``findings``, one row per defect that lies on a panel of its block, numbered within the block.

    Raises :class:`BadAssumption` if no row of ``distresses`` decides for a kind and severity.
    """
    order = ["block_id", "panel_column", "panel_row", "defect", "severity", "x_ft", "y_ft", "row"]
    found = defects.sort_values(order, kind="stable", ignore_index=True)
    block = network.set_index("block_id").reindex(found["block_id"]).reset_index()
    inside = on_grid(block, found)
    found, block = found[inside].reset_index(drop=True), block[inside].reset_index(drop=True)
    rows, rule = _deciding(found, assumptions)
    step, needed = _step(found, block), pd.to_numeric(rows["step_from_in"]).to_numpy(float)
    stepped = np.isnan(needed) | (np.nan_to_num(step) >= needed)
    call = np.where(stepped, rows["value"], rows["otherwise"]).astype(object)
    why = (found["defect"] + found["severity"].map(", {}".format).where(found["severity"].notna(), "")).to_numpy(object)
    met = np.where(np.isnan(needed), "", np.where(stepped, ", with a step of ", ", without a step of "))
    limit = np.where(np.isnan(needed), "", [f"{value:g} in" for value in needed])
    why = why + met + limit
    x0, x1, y0, y1 = _placed(found, block, assumptions)
    _deepen(call, why, found, block, (x0, x1), assumptions)
    could_raise = _raise_or_replace(call, why, found, step, assumptions)
    cited = {key: assumptions.citation("distresses", key) for key in rule.unique()}
    line = np.isin(call.astype(str), _LINES)
    return tables.check("findings", tables.with_types("findings", pd.DataFrame({
        "block_id": found["block_id"], "defect_id": found.groupby("block_id").cumcount() + 1,
        "panel_row": found["panel_row"], "panel_column": found["panel_column"], "defect": found["defect"],
        "call": call, "x0_ft": x0, "x1_ft": x1, "y0_ft": y0, "y1_ft": y1, "rule": rule,
        "why": why + " (" + rule.map(cited).to_numpy(object) + ")", "severity": found["severity"],
        "could_raise": could_raise, "depth_in": found["depth_in"], "step_in": step, "row": found["row"],
        "left_ft": np.where(line, np.maximum(x1 - x0, y1 - y0), np.nan)})))


def on_grid(block: pd.DataFrame, defects: pd.DataFrame) -> Flags:
    """Whether each defect lies on a panel of its block; ``block`` holds the network's row of each defect."""
    rows = defects["panel_row"].to_numpy(float) <= block["panel_rows"].to_numpy(float)
    return np.asarray(rows & (defects["panel_column"].to_numpy(float) <= block["panel_columns"].to_numpy(float)))


def _deciding(found: pd.DataFrame, assumptions: Assumptions) -> tuple[pd.DataFrame, pd.Series]:
    """The row of ``distresses`` for each defect, and its key: that of the severity, else that of any."""
    table = assumptions.table("distresses")
    graded = found["defect"] + "/" + found["severity"].fillna("any")
    rule = graded.where(graded.isin(table.index), found["defect"] + "/any")
    unknown = rule[~rule.isin(table.index)]
    if len(unknown):
        raise BadAssumption(f"distresses: no row '{graded[unknown.index[0]]}' and no row '{unknown.iloc[0]}'")
    return table.loc[rule].reset_index(drop=True), rule


def _step(found: pd.DataFrame, block: pd.DataFrame) -> Floats:
    """The step at each defect: its own, else, at transverse joints and cracks, the block's mean faulting."""
    mean = block["faulting_in"].where(found["defect"].isin(_FAULTED))
    return found["step_in"].fillna(mean).to_numpy(float)


def _placed(found: pd.DataFrame, block: pd.DataFrame,
            assumptions: Assumptions) -> tuple[Floats, Floats, Floats, Floats]:
    """Beginning and end of the damage along and across the block, feet."""
    at_joint = found["defect"].isin(_AT_JOINT).to_numpy(bool)
    hollow = (found["defect"] == "hollow area").to_numpy(bool)
    mark = np.where(hollow, assumptions.number("layout_rules", "hollow.mark_to_in") / IN_PER_FT, 0.0)
    sides = []
    for number, at, size, other, whole, count, first in (
            ("panel_row", "x_ft", "length_ft", "width_ft", "length_ft", "panel_rows", at_joint),
            ("panel_column", "y_ft", "width_ft", "length_ft", "width_ft", "panel_columns", np.zeros(len(found), bool))):
        panel = (block[whole] / block[count]).to_numpy(float)
        given = _thin(found, number == "panel_row", size, other, assumptions.number("layout_rules", "casting.frame_ft"))
        low, high = _stretch(found[at].to_numpy(float), given, panel, first)
        # A hollow place is marked outward, never inward: the mark covers the whole void (common practice, no source).
        low = np.where(mark > 0, np.floor(low / np.where(mark > 0, mark, 1) + 1e-9) * mark, low)
        high = np.where(mark > 0, np.ceil(high / np.where(mark > 0, mark, 1) - 1e-9) * mark, high)
        begin = (found[number].to_numpy(float) - 1) * panel
        sides += [begin + low, begin + np.minimum(high, panel)]
    return sides[0], sides[1], sides[2], sides[3]


def _thin(found: pd.DataFrame, along: bool, size: str, other: str, frame_ft: float) -> Floats:
    """The size of the damage in one direction, where the survey leaves it out but the kind tells it.

    A crack has no breadth across its run, a faulted joint none along the block, a casting the usual frame.
    """
    given, missing = found[size].to_numpy(float), found[size].isna().to_numpy(bool)
    placed = found["x_ft" if along else "y_ft"].notna().to_numpy(bool)
    across = found["defect"].isin(["transverse crack"] if along else ["longitudinal crack"]).to_numpy(bool) & placed
    one_sided = (found["defect"] == "linear crack").to_numpy(bool) & placed & found[other].notna().to_numpy(bool)
    joint = found["defect"].isin(_OF_JOINT).to_numpy(bool) & along
    given = np.where(missing & (across | one_sided | joint), 0.0, given)
    return np.asarray(np.where(missing & (found["defect"] == "casting").to_numpy(bool), frame_ft, given))


def _stretch(at: Floats, size: Floats, panel: Floats, at_first: Flags) -> tuple[Floats, Floats]:
    """From where to where damage reaches within its panel; ``at`` (from the lower joint) and ``size`` may be NaN.

    Without a position it lies in the middle of the panel, or at its first joint; without a size it reaches to the end
    of the panel, without either it covers the panel.
    """
    size = np.minimum(size, panel)
    middle = np.where(at_first, 0.0, (panel - size) / 2)
    low = np.where(np.isnan(at), np.where(np.isnan(size), 0.0, middle), np.minimum(at, panel))
    return low, np.where(np.isnan(size), panel, np.minimum(low + size, panel))


def _deepen(call: npt.NDArray[np.object_], why: npt.NDArray[np.object_], found: pd.DataFrame, block: pd.DataFrame,
            along: tuple[Floats, Floats], assumptions: Assumptions) -> None:
    """Turn partial depth into full depth where the damage reaches too deep or down to steel; in place."""
    def number(key: str) -> float:
        return assumptions.number("layout_rules", key)

    shallow = call == "partial depth"
    thick = block["thickness_in"].to_numpy(float)
    bottom = np.maximum(found["depth_in"].to_numpy(float) + number("partial.into_sound_in"),
                        number("partial.least_depth_in"))  # what is removed, not what is seen
    share = number("partial.greatest_depth_share")
    # Dowels lie at mid-depth and reach half their length to either side of a transverse joint (wiki, SUDAS 7010.101).
    half = assumptions.number("dowels", "length_in") / IN_PER_FT / 2
    panel = (block["length_ft"] / block["panel_rows"]).to_numpy(float)
    begin = (found["panel_row"].to_numpy(float) - 1) * panel
    over_dowel = block["dowelled"].to_numpy(bool) & ((along[0] - begin < half) | (begin + panel - along[1] < half))
    cover = number("partial.mesh_depth_share") * thick
    reinforced = block["reinforced"].fillna(False).to_numpy(bool)
    seen = found["at_steel"].fillna(False).to_numpy(bool)
    for mask, words in (
            (seen, "down to steel, as surveyed: full depth"),
            (over_dowel & (bottom > number("partial.dowel_depth_share") * thick),
             "down to the dowels of the joint: full depth"),
            (reinforced & (bottom > cover), "down to the mesh: full depth"),
            (bottom > share * thick, f"deeper than {share:g} of the slab: full depth")):
        hit = shallow & mask
        call[hit] = "full depth"
        why[hit] += f"; {words}"
        shallow &= ~hit


def _raise_or_replace(call: npt.NDArray[np.object_], why: npt.NDArray[np.object_], found: pd.DataFrame, step: Floats,
                      assumptions: Assumptions) -> Flags:
    """A settled panel is raised only where the city does so, it is not broken and has not settled too far; in place.

    Returns where a panel is replaced that could be raised.
    """
    jack = call == "jack"
    panel = pd.Series(list(zip(found["block_id"], found["panel_row"], found["panel_column"], strict=True)))
    broken = panel.isin(panel[call == "full depth"]).to_numpy(bool)
    far = np.nan_to_num(step) > assumptions.number("companions", "jack.most_settlement_in")
    could = jack & ~broken & ~far & (assumptions.text("companions", "jack.used") != "yes")
    for mask, words in ((broken, "broken as well: replaced"), (far, "settled too far to be raised: replaced"),
                        (could, "could be raised instead of replaced")):
        hit = jack & mask
        call[hit] = "full depth"
        why[hit] += f"; {words}"
        jack &= ~hit
    return np.asarray(could, bool)
