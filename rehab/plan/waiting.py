"""Cost of waiting: what the work that the rules decide costs when it is done in a later year, and why it costs more.

For every year of delay the cost climbs from the first year's in steps, each of which is a part:

    now         the strategy of the first year, at the condition and the prices of the first year
    same        the same strategy at the condition of the later year: more of the same repair
    heavier     the strategy that the rules decide in the later year, less the first year's, both at the later condition
    new         the same step for a block without work in the first year: work that was not due before
    escalation  the later year's prices

The parts up to ``new`` are real dollars, those of the first year; with escalation they make dollars of the year of
work.  Each level is rounded to cents before the steps are taken, so the parts add up to the cent in files as well.
A part is negative where the rules fall to a lighter strategy, or a repair to less; nothing is clipped.

The rules decide, as in ``Prepared.by_rule``: strategies set by hand have no part in it, and no work is done before.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Final, Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base import tables
from rehab.base.money import escalation_factor
from rehab.base.tables import STRATEGIES, WORK
from rehab.plan.model import Floats, Prepared

#: the columns that add up to ``total_usd``, in the order of the steps
PARTS: Final = ("now_usd", "same_usd", "heavier_usd", "new_usd", "escalation_usd")
_GROWING: Final = ("panels_full", "partial_sqft")


def by_block(prepared: Prepared) -> pd.DataFrame:
    """The table ``waiting``: one row per block and year of delay, 0 to ``years`` - 1.

    Blocks without work in any year stay in the table with zero money, so that its sums are the network's.
    """
    rule, years = prepared.by_rule, prepared.years
    ahead = np.arange(years)
    due = np.stack([np.zeros(rule.shape), *(prepared.costs[name] for name in WORK)])  # none costs nothing
    rate = prepared.assumptions.number("economics", "escalation")
    real = due / escalation_factor(rate, ahead)
    first = np.broadcast_to(rule[:, :1], rule.shape)
    same = _of(real, first)
    levels = [np.round(level, 2) for level in (np.broadcast_to(same[:, :1], same.shape), same, _of(real, rule),
                                               _of(due, rule))]
    more, change, prices = (np.round(after - before, 2) for before, after in pairwise(levels))
    had_work = first != STRATEGIES.index("none")
    parts = (levels[0], more, np.where(had_work, change, 0.0), np.where(had_work, 0.0, change), prices)
    table = pd.DataFrame({
        "block_id": np.repeat(prepared.network["block_id"].to_numpy(), years),
        "year": np.tile(prepared.start_year + ahead, len(rule)), "delay_yr": np.tile(ahead, len(rule)),
        "strategy": np.array(STRATEGIES)[rule].ravel(),
        **{name: part.ravel() for name, part in zip(PARTS, parts, strict=True)}, "total_usd": levels[-1].ravel(),
        **{name: prepared.needs_by_year[name].to_numpy(float) for name in _GROWING},
    })
    return tables.check("waiting", tables.with_types("waiting", table))


def of_network(waiting: pd.DataFrame) -> pd.DataFrame:
    """The table ``waiting_network``: sums of the table ``waiting`` by year of delay, and blocks by strategy."""
    years = waiting.groupby(["year", "delay_yr"], as_index=False)
    sums = years[[*PARTS, "total_usd", *_GROWING]].sum().round(dict.fromkeys((*PARTS, "total_usd"), 2))
    counts = pd.crosstab(waiting["delay_yr"], waiting["strategy"]).reindex(columns=list(STRATEGIES), fill_value=0)
    table = sums.merge(counts.add_prefix("blocks_").reset_index(), on="delay_yr")
    return tables.check("waiting_network", tables.with_types("waiting_network", table))


def ranked(waiting: pd.DataFrame, delay_yr: int, by: Literal["usd", "share"] = "usd") -> pd.DataFrame:
    """Blocks by what a year of delay costs, the dearest first; a mean over ``delay_yr`` years, real dollars.

    Columns block_id, strategy and later_strategy (in the first year and after the delay), now_usd, rise_usd (over the
    whole delay, without escalation), rise_usd_per_yr, and rise_share_per_yr: the same as a share of now_usd, missing
    where nothing was due.  ``by`` orders by dollars or by that share.  Blocks without work at both ends are left out.
    :class:`ValueError` if ``delay_yr`` is no delay of a table with rows.
    """
    if delay_yr < 1 or (len(waiting) and not (waiting["delay_yr"] == delay_yr).any()):
        raise ValueError(f"{delay_yr} is no delay of the table: give 1 to {waiting['delay_yr'].max()} years")
    now = waiting.loc[waiting["delay_yr"] == 0, ["block_id", "strategy", "now_usd"]]
    later = waiting[waiting["delay_yr"] == delay_yr]
    rise = later[["same_usd", "heavier_usd", "new_usd"]].sum(axis=1)
    ends = now.merge(pd.DataFrame({"block_id": later["block_id"], "later_strategy": later["strategy"],
                                   "rise_usd": rise}), on="block_id")
    ends = ends[(ends["strategy"] != "none") | (ends["later_strategy"] != "none")]
    per_year = ends["rise_usd"] / delay_yr
    table = ends.assign(rise_usd_per_yr=per_year,
                        rise_share_per_yr=per_year / ends["now_usd"].where(ends["now_usd"] > 0))
    return table.sort_values([f"rise_{by}_per_yr", "block_id"], ascending=[False, True], ignore_index=True)


def _of(costs: Floats, strategy: npt.NDArray[np.int64]) -> Floats:
    """Of costs (strategies, blocks, years) those of one strategy per block and year."""
    return np.asarray(np.take_along_axis(costs, strategy[np.newaxis], axis=0)[0])
