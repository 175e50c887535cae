"""Findings on the panel grid to saw-cut rectangles, by the rows of ``layout_rules``.

Patches are rectangles of a least side within their panel, joined when near; castings are boxed out square with their
own joints; full-depth repairs span a panel's full width and are the valid set of least cost (see ``full``).  No repair
overlaps another, none leaves the block, and nothing narrower than the limits stays beside one.
"""

from __future__ import annotations

from functools import cache, partial
from typing import Any, Final

import numpy as np
import pandas as pd

from rehab.base import tables
from rehab.base.settings import Assumptions
from rehab.steps.layout.bars import column_dowels, dowel_count, dowel_diameter_in, hole_in, tie_bar_count
from rehab.steps.layout.column import Found, lay_out_column
from rehab.steps.layout.hardware import hardware
from rehab.steps.layout.lane import EPS
from rehab.steps.layout.rules import Box, economic_join_ft, prices_of, published_join_ft, rules_of
from rehab.steps.layout.usual import per_panel

__all__ = ["dowel_count", "dowel_diameter_in", "economic_join_ft", "hole_in", "join_distances", "lay_out", "leave",
           "per_panel", "published_join_ft", "tie_bar_count"]

_NARROW_FT: Final = 0.5  #: a crack shorter than this along the block is cut out whole or not at all
#: calls that shape a layout; the others are measured where they lie
_SHAPING: Final = ("full depth", "box out", "partial depth")


def lay_out(network: pd.DataFrame, findings: pd.DataFrame, assumptions: Assumptions) -> pd.DataFrame:
    """The table ``repairs`` of the blocks that have a panel-by-panel survey, numbered along each block."""
    laid = pd.DataFrame(_cuts(network, findings, assumptions),
                        columns=["block_id", "panel_column", "kind", "x_ft", "y_ft", "length_ft", "width_ft",
                                 "depth_in", "why"])
    laid = laid.sort_values(["block_id", "x_ft", "y_ft"], ignore_index=True, kind="stable")
    block = network.set_index("block_id").loc[laid["block_id"]].reset_index()
    laid["repair_id"] = laid.groupby("block_id").cumcount() + 1
    panel = (block["length_ft"] / block["panel_rows"]).to_numpy(float)
    laid["panel_row"] = np.minimum(np.floor(laid["x_ft"] / panel + EPS) + 1, block["panel_rows"].to_numpy(float))
    laid["panel_row"] = laid["panel_row"].astype("int64")
    laid["area_sqft"] = laid["length_ft"] * laid["width_ft"]
    laid["cause"] = _causes(laid, findings)
    laid = laid.assign(**hardware(laid, block, assumptions))
    return tables.check("repairs", tables.with_types("repairs", laid))


def leave(findings: pd.DataFrame, repairs: pd.DataFrame) -> pd.DataFrame:
    """The findings with the repairs that take them out, and the feet of crack and joint that stay beside them."""
    pairs = _overlaps(findings, repairs)
    full = pairs[pairs["kind"] == "full depth"]
    long = findings["x1_ft"] - findings["x0_ft"]
    over = np.maximum(np.minimum(full["x1_ft"], full["end_ft"]) - np.maximum(full["x0_ft"], full["x_ft"]), 0.0)
    gone = over.groupby(full["finding"]).sum().reindex(findings.index)
    # A repair spans the column: of a crack along it the part inside goes, of one across it all or nothing.
    share = np.where(long > _NARROW_FT, (gone / long.where(long > 0)).fillna(0.0), gone.notna().astype(float))
    return findings.assign(repair_ids=_numbers(pairs, "finding", "repair_id").reindex(findings.index).astype("str"),
                           left_ft=findings["left_ft"] * (1 - np.minimum(share, 1.0)))


def _numbers(pairs: pd.DataFrame, by: str | list[str], of: str) -> pd.Series:
    """The numbers ``of`` each group as one text."""
    ordered = pairs.sort_values(of)
    return ordered[of].astype("str").groupby([ordered[name] for name in ([by] if isinstance(by, str) else by)]).agg(
        "; ".join)


def join_distances(network_row: pd.Series, assumptions: Assumptions) -> dict[str, float]:
    """The distances under which two full-depth repairs of a block are joined, feet: published and by unit prices."""
    one = pd.DataFrame([network_row])
    dowels = float(column_dowels(one, np.zeros(1, bool), assumptions)[0])
    width = float(network_row["width_ft"] / network_row["panel_columns"])
    thick = float(network_row["thickness_in"])
    bars = rules_of(thick, assumptions).dowels
    return {"published": published_join_ft(thick, width, assumptions),
            "unit prices": economic_join_ft(thick, width, dowels if bars else 0.0, assumptions)}


def _cuts(network: pd.DataFrame, findings: pd.DataFrame, assumptions: Assumptions) -> list[tuple[Any, ...]]:
    """Every rectangle of every column as a plain row."""
    rules = cache(partial(rules_of, assumptions=assumptions))
    prices = cache(partial(prices_of, assumptions=assumptions))
    surveyed = network[network["block_id"].isin(findings["block_id"])]
    ends = {curb: dict(zip(surveyed["block_id"], column_dowels(surveyed, np.full(len(surveyed), curb), assumptions),
                           strict=True)) for curb in (True, False)}
    sizes = ("length_ft", "width_ft", "panel_rows", "panel_columns", "thickness_in", "dowelled")
    blocks = dict(zip(surveyed["block_id"], zip(*(surveyed[name].astype(float) for name in sizes), strict=True),
                      strict=True))
    shaping = findings["call"].isin(_SHAPING)
    rows: list[tuple[Any, ...]] = []
    utility = _utility_cuts(findings)
    for (name, column), found in _by_column(findings, shaping).items():
        length, wide, along, across, thick, dowelled = blocks[name]
        joints = [float(x) for x in np.linspace(0.0, length, int(along) + 1).round(6)]
        edges = (wide / across * (column - 1), wide / across * column)
        own = rules(thick)
        bars = ends[column in (1, int(across))][name] if own.dowels else 0.0
        price = prices(thick, round(wide / across, 6), bool(dowelled), float(bars))
        for cut in lay_out_column(found, utility.get(name, []), joints, edges, thick, bool(dowelled), own, price):
            box = cut.box
            rows.append((name, column, cut.kind, box.x0, box.y0, box.x1 - box.x0, box.y1 - box.y0, box.depth_in,
                         " | ".join(cut.why)))
    return rows


def _utility_cuts(findings: pd.DataFrame) -> dict[str, list[Box]]:
    """Every utility cut of each block: one may call for the whole panel of another in the next column."""
    rows = findings[findings["defect"] == "utility cut"]
    cuts: dict[str, list[Box]] = {}
    columns = ("block_id", "x0_ft", "x1_ft", "y0_ft", "y1_ft", "depth_in")
    for name, *box in zip(*(rows[item].tolist() for item in columns), strict=True):
        cuts.setdefault(name, []).append(Box(*box))
    return cuts


def _by_column(findings: pd.DataFrame, shaping: pd.Series) -> dict[tuple[str, int], list[Found]]:
    """Findings by block and column, of the columns where something shapes a layout."""
    busy = pd.MultiIndex.from_frame(findings.loc[shaping, ["block_id", "panel_column"]])
    near = findings[pd.MultiIndex.from_frame(findings[["block_id", "panel_column"]]).isin(busy)]
    grouped: dict[tuple[str, int], list[Found]] = {}
    columns = ("block_id", "panel_column", "panel_row", "call", "defect", "x0_ft", "x1_ft", "y0_ft", "y1_ft",
               "depth_in")
    for name, column, row, call, defect, x0, x1, y0, y1, depth in zip(*(near[item].tolist() for item in columns),
                                                                      strict=True):
        grouped.setdefault((name, column), []).append(Found(row - 1, call, defect, Box(x0, x1, y0, y1, depth)))
    return grouped


def _overlaps(findings: pd.DataFrame, repairs: pd.DataFrame) -> pd.DataFrame:
    """Pairs of a finding and a repair over it; ``finding`` is the row of the findings."""
    cut = repairs.assign(end_ft=repairs["x_ft"] + repairs["length_ft"], right_ft=repairs["y_ft"] + repairs["width_ft"])
    left = findings[["block_id", "panel_column", "x0_ft", "x1_ft", "y0_ft", "y1_ft"]]
    left = left.rename_axis("finding").reset_index()
    pairs = left.merge(cut[["block_id", "panel_column", "repair_id", "kind", "x_ft", "end_ft", "y_ft", "right_ft"]],
                       on=["block_id", "panel_column"])
    # Damage without a breadth, such as a crack, lies in a repair as well.
    thin, narrow = (3 * EPS * (pairs[high] - pairs[low] < EPS) for low, high in (("x0_ft", "x1_ft"),
                                                                                  ("y0_ft", "y1_ft")))
    meets = (pairs["x0_ft"] - thin < pairs["end_ft"] - EPS) & (pairs["x1_ft"] + thin > pairs["x_ft"] + EPS)
    beside = (pairs["y0_ft"] - narrow < pairs["right_ft"] - EPS) & (pairs["y1_ft"] + narrow > pairs["y_ft"] + EPS)
    return pairs[meets & beside]


def _causes(laid: pd.DataFrame, findings: pd.DataFrame) -> pd.Series:
    """Numbers of the defects that each repair takes out."""
    pairs = _overlaps(findings[findings["call"].isin(_SHAPING)], laid)
    pairs = pairs.assign(defect_id=findings["defect_id"].loc[pairs["finding"]].to_numpy())
    named = _numbers(pairs, ["block_id", "repair_id"], "defect_id")
    keys = pd.MultiIndex.from_frame(laid[["block_id", "repair_id"]])
    return named.reindex(keys).fillna("").reset_index(drop=True).astype("str")
