"""From a defect or a count to dollars: what stands between, for one block, as tables.

found -> (repairs) -> needs -> quantities -> cost.  Every table carries the rule or row that made its numbers, so that
each can be checked by hand; the costs add up to the block's likely cost.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from rehab.base import tables
from rehab.base.settings import Assumptions
from rehab.plan.model import Plan, Prepared
from rehab.steps import estimate, takeoff

#: survey column -> the needs that it becomes, where panels are counted
_BECOMES: Final = {
    "panels_broken": ("panels_full",), "panels_sunken": ("panels_full", "jack_panels"),
    "corner_breaks": ("panels_full",), "panels_cracked": ("crack_ft",), "cracked_ft": ("crack_ft",),
    "spalled_joint_ft": ("partial_ft", "partial_sqft"), "hollow_sqft": ("partial_sqft",),
    "wide_joint_ft": ("reseal_ft",), "damage_depth_in": ("partial_depth_in",), "sunken_curb_ft": ("curb_ft",),
    "load_transfer": ("retrofit_bars",), "faulting_in": ("retrofit_bars",),
    "condition_index": ("panels_full", "partial_ft"), "rating_1_10": ("panels_full", "partial_ft"),
    "condition_word": ("panels_full", "partial_ft"),
}
#: needs that are sums over the repairs of a panel survey: need -> kinds of repair, column, divisor
_SUMS: Final = {
    "full_sqyd": (("full depth",), "area_sqft", 9.0), "full_pay_sqyd": (("full depth",), "pay_sqft", 9.0),
    "dowels": (("full depth",), "dowels", 1.0), "basket_dowels": (("full depth",), "basket_dowels", 1.0),
    "tie_bars": (("full depth",), "tie_bars", 1.0), "saw_ft": (("full depth", "casting box-out"), "saw_ft", 1.0),
    "joint_ft": (("full depth", "casting box-out"), "joint_ft", 1.0),
    "box_out_sqft": (("casting box-out",), "area_sqft", 1.0),
    "partial_sqft": (("partial depth",), "area_sqft", 1.0),
    "partial_pay_sqft": (("partial depth",), "pay_sqft", 1.0),
    "patch_saw_ft": (("partial depth",), "saw_ft", 1.0), "insert_ft": (("partial depth",), "insert_ft", 1.0),
}


def found(prepared: Prepared, block_id: str) -> pd.DataFrame:
    """What the survey holds of one block and what it becomes.

    Of a panel survey the rows of ``findings``; else one row per measure: measure, value, unit, becomes (names of
    needs).
    """
    rows = prepared.findings[prepared.findings["block_id"] == block_id]
    if len(rows):
        return rows.reset_index(drop=True)
    line = _line(prepared.network, block_id)
    given = [(name, line[name], tables.field("network", name).unit, becomes) for name, becomes in _BECOMES.items()
             if pd.notna(line[name]) and (line["condition_source"] == "counts" or not name.startswith("panels"))]
    return pd.DataFrame(given, columns=["measure", "value", "unit", "becomes"])


def cut(prepared: Prepared, block_id: str) -> pd.DataFrame:
    """The repairs of one block, with ``rules``: each rule that shaped it with its value and source."""
    rows = prepared.repairs[prepared.repairs["block_id"] == block_id].reset_index(drop=True)
    words = {key: _rule(key, prepared.assumptions) for key in {key for text in rows["why"] for key in _keys(text)}}
    return rows.assign(rules=pd.Series([" | ".join(words[key] for key in _keys(text)) for text in rows["why"]],
                                       index=rows.index, dtype="str"))


def needed(prepared: Prepared, block_id: str) -> pd.DataFrame:
    """The needs of one block that are not zero: need, amount, unit, by (the repairs that add up to it, or how)."""
    line = _line(prepared.needs, block_id)
    repairs = prepared.repairs[prepared.repairs["block_id"] == block_id]
    surveyed = bool((prepared.findings["block_id"] == block_id).any())
    source = str(_line(prepared.network, block_id)["condition_source"])
    rows = []
    for item in tables.fields("needs"):
        value = line[item.name]
        if item.name in ("block_id", "year", "estimated") or pd.isna(value) or value == 0:
            continue
        by = f"from {source}"
        if surveyed and item.name in _SUMS:
            kinds, column, _ = _SUMS[item.name]
            part = repairs[repairs["kind"].isin(kinds) & (repairs[column] != 0)]
            by = f"sum over {len(part)} repairs, No. {_ranges(part['repair_id'].tolist())}"
        rows.append((item.name, float(value), item.unit, item.about, by))
    return pd.DataFrame(rows, columns=["need", "amount", "unit", "about", "by"])


def priced(plan: Plan, block_id: str, strategy: str) -> pd.DataFrame:
    """The quantities and prices of one strategy of one block today, as :func:`rehab.steps.estimate.lines`.

    With ``measured_by``: the needs and sizes each quantity is measured by, ``waste``, and ``price_source``.  Empty
    where the strategy takes nothing.
    """
    prepared = plan.prepared
    assumptions, at = prepared.assumptions, (prepared.network["block_id"] == block_id).to_numpy()
    city = prepared.network[at]
    keys = city[["block_id"]].assign(year=prepared.start_year, strategy=strategy)
    wide = takeoff.measure(city, prepared.needs[at], strategy, assumptions)
    rows = estimate.lines(takeoff.as_list(keys, wide, assumptions), assumptions, prepared.start_year,
                          str(city["condition_source"].iloc[0]))
    items = assumptions.table("pay_items").loc[rows["pay_item"]]
    cited = [assumptions.citation("pay_items", str(key)) for key in rows["pay_item"]]
    return rows.assign(name=items["name"].to_numpy(), measured_by=items["measured_by"].to_numpy(),
                       waste=items["waste"].astype(float).to_numpy(), price_source=pd.Series(cited, dtype="str"))


def measures_used(prepared: Prepared, block_id: str, strategy: str, lines: pd.DataFrame) -> list[list[str]]:
    """Of the needs and sizes that each item of :func:`priced` may be measured by, those that count here.

    Reconstruction is measured by the sizes of the block, repairs by its needs that are not zero, and the thickness.
    """
    line, sizes = _line(prepared.needs, block_id), {item.name for item in tables.fields("network")}
    used = []
    for text in lines["measured_by"]:
        names = str(text).split("|")
        if strategy == "reconstruction":
            kept = [name for name in names if name in sizes] or names
        else:
            kept = [name for name in names if name == "thickness_in" or line.get(name, 0) != 0] or names
        used.append(kept)
    return used


def summed(prepared: Prepared, block_id: str) -> pd.DataFrame:
    """Each need that is a sum over the repairs of a panel survey, and that sum; columns need, amount, sum."""
    line = _line(prepared.needs, block_id)
    repairs = prepared.repairs[prepared.repairs["block_id"] == block_id]
    rows = [(need, float(line[need]), float(repairs.loc[repairs["kind"].isin(kinds), column].sum()) / divisor)
            for need, (kinds, column, divisor) in _SUMS.items()]
    return pd.DataFrame(rows, columns=["need", "amount", "sum"])


def _line(table: pd.DataFrame, block_id: str) -> pd.Series:
    return table.iloc[int(np.flatnonzero((table["block_id"] == block_id).to_numpy())[0])]


def _keys(text: object) -> list[str]:
    return [key for key in str(text).split(" | ") if key]


def _rule(key: str, assumptions: Assumptions) -> str:
    """A layout rule in words: what it says, its value, its source; 'full.join' stands for the distance it was under."""
    row = assumptions.table("layout_rules").loc[key]
    words = str(row["note"]) or key.partition(".")[2].replace("_", " ")
    return f"{words}: {row['value']} {row['unit']} ({assumptions.citation('layout_rules', key)})"


def _ranges(numbers: list[int]) -> str:
    """Numbers as a crew writes them: '1 to 4, 7'."""
    runs: list[list[int]] = []
    for number in sorted(numbers):
        if runs and number == runs[-1][1] + 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    return ", ".join(str(a) if a == b else f"{a} to {b}" if b > a + 1 else f"{a}, {b}" for a, b in runs)
