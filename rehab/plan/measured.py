"""What was measured on the street beside the plan: each pay item, each repair, the cost of the blocks and of the rest.

An actual quantity is priced as the planned one was: at the plan's unit prices, mark-ups and escalation to the year of
the work, and where a block has a committed price, at that price's share of the estimate.  What was not measured stays
as planned.  Money is rounded to the cent here, so that lines add up to their block: each planned line is rounded down,
and the cents then lacking go to the lines that lost the largest parts of one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base import tables
from rehab.base.errors import Note
from rehab.base.settings import Assumptions
from rehab.base.units import IN_PER_FT, SQFT_PER_SQYD
from rehab.plan.model import Plan
from rehab.steps import estimate

Floats = npt.NDArray[np.float64]

#: measured blocks that a rate must rest on (common practice, no source): one or two may be far off by chance
LEAST_BLOCKS: Final = 3
#: kind of repair -> the pay item whose paid area its measured size changes
_PAID: Final = {"full depth": "full_depth_panel", "partial depth": "partial_depth_patch"}
_SLIP: Final = 10.0  #: so many times the plan looks like a slip of the decimal point; common practice, no source
_BLOCK: Final = ["block_id", "year"]
_KEY: Final = [*_BLOCK, "pay_item"]
_MONEY: Final = ("planned_usd", "updated_usd", "change_usd")


@dataclass(frozen=True)
class Outlook:
    """What is not measured yet, if quantities there run over as they did where they were measured.

    ``rates`` has a row per measured item: pay_item, unit, blocks (measured), planned, actual, rate (actual by planned,
    missing where nothing was planned), used (the rate, or 1 where too few blocks stand behind it).  ``money`` has the
    rows 'year' and 'program': scope, blocks (not measured), planned_usd, at_rates_usd.  ``sentence`` says it in words.
    """

    rates: pd.DataFrame
    money: pd.DataFrame
    sentence: str


def compare(plan: Plan, quantities: pd.DataFrame) -> pd.DataFrame:
    """The table ``overruns``: all items of every block of the table ``measured`` (``quantities``).

    planned_usd adds up to the program's cost of the block to the cent; an item that was not measured has its planned
    quantity as the actual one.  An item priced by itself counts as measured too where only an item inside it, or one
    that holds it, was: if both are measured by the same need in the same unit, they are one quantity.  Rows of blocks
    and years that the program does not work on are left out, see :func:`unplanned`.  Raises :class:`ValueError` for
    an unknown pay item and for one that stands twice.
    """
    assumptions = plan.prepared.assumptions
    _check(quantities, assumptions)
    given = quantities.merge(plan.program[_BLOCK], on=_BLOCK)
    lines = _lines(plan, given[_BLOCK].drop_duplicates())
    both = lines.merge(given[[*_KEY, "quantity"]].rename(columns={"quantity": "seen"}), on=_KEY, how="outer")
    both = _priced(plan, both.assign(planned=both["planned"].fillna(0.0)))
    if both.empty:
        return tables.empty("overruns")
    both["seen"] = both["seen"].fillna(_by_twin(both, assumptions))
    both["measured"] = both["seen"].notna()
    both["actual"] = both["seen"].fillna(both["planned"])
    both["planned_usd"] = _to_the_cent((both["planned"] * both["usd"]).to_numpy(float), both)
    again = (both["actual"] * both["usd"]).round(2)
    both["actual_usd"] = both["planned_usd"].where(both["actual"] == both["planned"], again)
    both["change_usd"] = (both["actual_usd"] - both["planned_usd"]).round(2)
    share = (both["actual"] - both["planned"]) / both["planned"].where(both["planned"] > 0)
    rows = both.assign(change_share=share).sort_values(_KEY, ignore_index=True)
    return tables.check("overruns", tables.with_types("overruns", rows))


def latest(parts: Sequence[pd.DataFrame], table: str) -> pd.DataFrame:
    """Several tables ``measured`` or ``measured_repairs`` as one; of what stands in several the last holds."""
    keys = [*_BLOCK, "pay_item" if table == "measured" else "repair_id"]
    both = pd.concat(list(parts), ignore_index=True).drop_duplicates(keys, keep="last")
    return tables.with_types(table, both.sort_values(keys, ignore_index=True))


def with_repairs(plan: Plan, quantities: pd.DataFrame, repairs: pd.DataFrame) -> pd.DataFrame:
    """The table ``measured`` (quantities) and, where none was written, what the repairs measured one by one make of it.

    The paid area of full-depth and of partial-depth repair is the planned one and the change of the block's measured
    repairs of that kind; repairs that were not measured stand as planned.  A quantity that was written down holds.
    """
    changes = repair_changes(plan, repairs).merge(plan.program[_BLOCK], on=_BLOCK)
    if changes.empty:
        return quantities
    rows = changes.assign(pay_item=changes["kind"].map(_PAID), change=changes["change_sqft"])
    rows["change"] = rows["change"].where(rows["pay_item"] != "full_depth_panel", rows["change"] / SQFT_PER_SQYD)
    summed = rows.dropna(subset="pay_item").groupby(_KEY, as_index=False)[["change"]].sum()
    planned = _lines(plan, summed[_BLOCK].drop_duplicates())
    made = _without(summed, quantities, _KEY).merge(planned, on=_KEY)
    made = made.assign(quantity=(made["planned"] + made["change"]).clip(lower=0.0))
    return latest([quantities, tables.with_types("measured", made)], "measured")


def doubtful(overruns: pd.DataFrame, changes: pd.DataFrame) -> list[Note]:
    """What is so far from the plan that it may be a slip: ten times as much or more; ``changes`` of the repairs."""
    items = overruns[overruns["measured"].to_numpy(bool)].assign(kind="quantity")
    areas = changes.assign(kind="area", unit="sqft", actual=changes["actual_sqft"], planned=changes["planned_sqft"],
                           pay_item="repair " + changes["repair_id"].astype("Int64").astype("str"))
    columns = ["kind", "block_id", "year", "pay_item", "unit", "actual", "planned"]
    both = pd.concat([items[columns], areas[columns]], ignore_index=True)
    slips = both[(both["planned"] > 0) & (both["actual"] >= _SLIP * both["planned"])
                 & (both["actual"] - both["planned"] >= _SLIP)]
    return [Note("measured", str(row["block_id"]), int(row["year"]), f"{str(row['pay_item']).replace('_', ' ')}: the "
                 f"{row['kind']} of {row['actual']:,.1f} {row['unit']} is {row['actual'] / row['planned']:,.0f} times "
                 f"the planned {row['planned']:,.1f}; it is used as it stands: look at the decimal point")
            for row in slips.to_dict("records")]


def repair_changes(plan: Plan, repairs: pd.DataFrame) -> pd.DataFrame:
    """The table ``repair_changes``: each repair of ``measured_repairs`` that the plan has, as planned and as measured.

    Where only the depth was measured the planned area stands; where no depth was, the actual volume is missing.
    """
    planned = plan.prepared.repairs[["block_id", "repair_id", "kind", "area_sqft", "depth_in"]]
    seen = repairs.assign(repair_id=repairs["repair_id"].astype("int64"))
    both = seen.merge(planned.rename(columns={"depth_in": "planned_in"}), on=["block_id", "repair_id"])
    area = (both["length_ft"] * both["width_ft"]).fillna(both["area_sqft"])
    table = both.assign(
        planned_sqft=both["area_sqft"], actual_sqft=area, change_sqft=area - both["area_sqft"],
        planned_cuft=both["area_sqft"] * both["planned_in"] / IN_PER_FT,
        actual_cuft=(area * both["depth_in"] / IN_PER_FT).mask(area == 0, 0.0))
    table = tables.with_types("repair_changes", table).sort_values([*_BLOCK, "repair_id"], ignore_index=True)
    return tables.check("repair_changes", table)


def unplanned(plan: Plan, quantities: pd.DataFrame, repairs: pd.DataFrame) -> list[Note]:
    """What was measured and the plan knows nothing of, block by block: it is compared with nothing."""
    outside = _without(quantities, plan.program, _BLOCK).groupby(_BLOCK, as_index=False).size()
    notes = [Note("measured", str(block), int(year), f"{count} quantities were measured, and the program does no work "
                  "on the block in that year: they are compared with nothing")
             for block, year, count in outside.itertuples(index=False)]
    strange = _without(repairs.astype({"repair_id": "int64"}), plan.prepared.repairs, ["block_id", "repair_id"])
    return notes + [Note("measured", str(block), int(year), f"the plan has no repair {number}: it is compared with "
                         "nothing") for block, year, number in strange[[*_BLOCK, "repair_id"]].itertuples(index=False)]


def updated(plan: Plan, overruns: pd.DataFrame) -> pd.DataFrame:
    """The measured blocks of :func:`compare`: block_id, year, planned_usd, updated_usd, change_usd, and how much of it
    is measured: items_measured of items_priced, the items with a price of their own.
    """
    if overruns.empty:
        return pd.DataFrame({"block_id": pd.Series(dtype="str"), "year": pd.Series(dtype="int64"),
                             **{name: pd.Series(dtype="float64") for name in _MONEY},
                             **{name: pd.Series(dtype="int64") for name in ("items_measured", "items_priced")}})
    own = estimate.priced(pd.Index(overruns["pay_item"]), plan.prepared.assumptions)
    rows = overruns.assign(items_priced=own, items_measured=own & overruns["measured"].to_numpy(bool))
    summed = rows.groupby(_BLOCK, as_index=False)[
        ["planned_usd", "actual_usd", "change_usd", "items_measured", "items_priced"]].sum()
    table = summed.rename(columns={"actual_usd": "updated_usd"})
    return table.astype({"items_measured": "int64", "items_priced": "int64"}).round(dict.fromkeys(_MONEY, 2))


def outlook(plan: Plan, overruns: pd.DataFrame, year: int) -> Outlook:
    """What the blocks that were not measured come to, in ``year`` and in the whole program, at the rates so far.

    A rate is what was measured of an item over what was planned of it, summed over the blocks on which it was measured;
    with fewer than :data:`LEAST_BLOCKS` of them the item is taken as planned.
    """
    rates = _rates(overruns)
    used = dict(zip(rates["pay_item"], rates["used"], strict=True))
    open_ = _without(plan.program, overruns[overruns["measured"].to_numpy(bool)], _BLOCK)[_BLOCK]
    rows = _priced(plan, _lines(plan, open_))
    usd = rows["planned"] * rows["usd"]
    more = (usd * (rows["pay_item"].map(used).fillna(1.0) - 1)).groupby([rows["block_id"], rows["year"]]).sum()
    cost = plan.program.set_index(_BLOCK)["cost_usd"].loc[pd.MultiIndex.from_frame(open_)]
    change = more.reindex(cost.index).fillna(0.0)
    of_year = (cost.index.get_level_values("year") == year).astype(bool)
    found = [(scope, int(at.sum()), round(float(cost[at].sum()), 2), round(float((cost + change)[at].sum()), 2))
             for scope, at in (("year", of_year), ("program", np.ones(len(cost), bool)))]
    money = pd.DataFrame(found, columns=["scope", "blocks", "planned_usd", "at_rates_usd"])
    return Outlook(rates, money, _sentence(plan, overruns, rates, money, year))


def _without(rows: pd.DataFrame, others: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    """The rows whose keys are in none of the others."""
    there = pd.MultiIndex.from_frame(rows[keys]).isin(pd.MultiIndex.from_frame(others[keys]))
    return rows[~there]


def _check(quantities: pd.DataFrame, assumptions: Assumptions) -> None:
    items = assumptions.table("pay_items").index
    unknown = quantities.loc[~quantities["pay_item"].isin(items), "pay_item"]
    if len(unknown):
        raise ValueError(f"there is no pay item '{unknown.iloc[0]}'")
    twice = quantities[quantities.duplicated(_KEY)]
    if len(twice):
        raise ValueError(f"{twice['pay_item'].iloc[0]} of block {twice['block_id'].iloc[0]} stands twice")


def _lines(plan: Plan, keys: pd.DataFrame) -> pd.DataFrame:
    """The planned quantities of rows (block_id, year) of the program: block_id, year, pay_item, planned."""
    works = plan.program[[*_BLOCK, "strategy"]].merge(keys, on=_BLOCK)
    listed = plan.quantities.merge(works, on=[*_BLOCK, "strategy"])
    return listed[[*_KEY, "quantity"]].rename(columns={"quantity": "planned"})


def _priced(plan: Plan, rows: pd.DataFrame) -> pd.DataFrame:
    """Rows of program blocks and their items with the unit, ``usd``: dollars of one unit in the year of the work with
    all mark-ups (zero for an item priced inside others), and ``cost_usd`` of the block in the program.
    """
    prepared, items = plan.prepared, pd.Index(rows["pay_item"])
    unit = prepared.assumptions.table("pay_items")["unit"].loc[items].to_numpy()
    detail = prepared.network.set_index("block_id")["condition_source"].loc[rows["block_id"]].to_numpy()
    usd = estimate.unit_prices("value", items, prepared.assumptions) * estimate.factors(
        rows["year"].to_numpy(), prepared.assumptions, detail)
    keys = pd.MultiIndex.from_frame(rows[_BLOCK])
    cost = plan.program.set_index(_BLOCK)["cost_usd"].loc[keys].to_numpy()
    likely = (rows["planned"] * usd).groupby([rows["block_id"], rows["year"]]).transform("sum").to_numpy(float)
    scale = np.divide(cost, likely, out=np.ones(len(rows)), where=likely > 0)
    return rows.assign(unit=unit, usd=usd * scale, cost_usd=cost)


def _by_twin(rows: pd.DataFrame, assumptions: Assumptions) -> pd.Series:
    """For priced items that were not measured: the quantity of measured items that are the same one, NaN without any.

    An item and the parts inside it are one quantity where ``measured_by``, unit and waste agree, and so does the plan.
    Twins that were measured differently say nothing.
    """
    table = assumptions.table("pay_items")
    same = _twins(table)
    wanted = rows["seen"].isna().to_numpy() & estimate.priced(pd.Index(rows["pay_item"]), assumptions)
    seen, planned = rows["seen"].to_numpy(float), rows["planned"].to_numpy(float)
    keys = list(rows[_KEY].itertuples(index=False, name=None))
    measured = {key: at for at, key in enumerate(keys) if not np.isnan(seen[at])}
    found = np.full(len(rows), np.nan)
    for place in np.flatnonzero(wanted):
        block, year, item = keys[place]
        twins = [measured[block, year, other] for other in same.get(item, ()) if (block, year, other) in measured]
        if twins and (seen[twins] == seen[twins[0]]).all() and np.allclose(planned[twins], planned[place], rtol=1e-9):
            found[place] = seen[twins[0]]
    return pd.Series(found, index=rows.index)


def _twins(table: pd.DataFrame) -> Mapping[str, list[str]]:
    """Item -> its parts and the items that hold it, of those with the same measure, unit and waste."""
    alike = dict(zip(table.index, zip(table["measured_by"], table["unit"], table["waste"], strict=True), strict=True))
    found: dict[str, list[str]] = {}
    for part, carriers in zip(table.index, table["included_in"], strict=True):
        for carrier in filter(None, str(carriers).split("|")):
            if alike[carrier] == alike[part]:
                found.setdefault(carrier, []).append(part)
                found.setdefault(part, []).append(carrier)
    return found


def _to_the_cent(usd: Floats, rows: pd.DataFrame) -> Floats:
    """Dollars of lines rounded so that those of each block add up to its ``cost_usd``."""
    found, cost = np.zeros(len(rows)), rows["cost_usd"].to_numpy(float)
    for at in rows.groupby(_BLOCK).indices.values():
        found[at] = _cents(usd[at], float(cost[at[0]])) / 100
    return found


def _cents(usd: Floats, total_usd: float) -> npt.NDArray[np.int64]:
    """Whole cents of lines that add up to the total rounded to the cent, by largest remainders, ties in their order.

    All zero where no line has a price: then nothing tells what the total is for.
    """
    if not usd.any():
        return np.zeros(len(usd), np.int64)
    exact = usd * 100
    cents = np.floor(exact).astype(np.int64)
    lacking = round(round(total_usd, 2) * 100) - int(cents.sum())
    order = np.argsort(-np.where(usd > 0, exact - cents, -1.0), kind="stable")
    cents[order[:max(lacking, 0)]] += 1
    return cents


def _rates(overruns: pd.DataFrame) -> pd.DataFrame:
    seen = overruns[overruns["measured"].to_numpy(bool)]
    rates = seen.groupby(["pay_item", "unit"], as_index=False).agg(
        blocks=("block_id", "size"), planned=("planned", "sum"), actual=("actual", "sum"))
    rate = (rates["actual"] / rates["planned"].where(rates["planned"] > 0)).astype("float64")
    return rates.assign(rate=rate, used=rate.where(rates["blocks"] >= LEAST_BLOCKS).fillna(1.0))


def _sentence(plan: Plan, overruns: pd.DataFrame, rates: pd.DataFrame, money: pd.DataFrame, year: int) -> str:
    blocks = updated(plan, overruns[overruns["measured"].to_numpy(bool)])
    count, own = len(blocks), estimate.priced(pd.Index(rates["pay_item"]), plan.prepared.assumptions)
    if not count:
        return "Nothing is measured yet, so nothing can be said of the rest."
    firm = int((own & (rates["blocks"] >= LEAST_BLOCKS) & rates["rate"].notna()).sum())
    said = (f"On {_count(count, 'measured block')} the quantities measured cost {_usd(blocks['updated_usd'])} where "
            f"{_usd(blocks['planned_usd'])} was planned for them. ")
    if not firm:
        return said + (f"That is too little to say anything of the rest: a rate needs at least {LEAST_BLOCKS} blocks "
                       "on which the same priced item was measured.")
    for scope, words in (("year", f"of {year}"), ("program", "of the whole program")):
        row = money[money["scope"] == scope].iloc[0]
        said += (f"The {_count(int(row['blocks']), 'block')} {words} not measured yet: planned "
                 f"{_usd(row['planned_usd'])}, at the same rates {_usd(row['at_rates_usd'])}. "
                 if row["blocks"] else f"No block {words} is left to measure. ")
    return said + (f"This rests on {_count(firm, 'priced item')} measured on {LEAST_BLOCKS} blocks or more; all others "
                   "are taken as planned. Blocks done first may be unlike the rest, and a rate says nothing of prices.")


def _count(number: int, noun: str) -> str:
    return f"{number:,} {noun}{'' if number == 1 else 's'}"


def _usd(amount: float | pd.Series) -> str:
    return f"${float(np.sum(amount)):,.2f}"
