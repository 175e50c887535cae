"""Why each block got its year or none, what each limit costs, and what changes between two programs."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from rehab.base import tables
from rehab.base.tables import IN_WORDS
from rehab.plan.model import Floats, Plan
from rehab.steps import program
from rehab.steps.program import funds, why
from rehab.steps.program.openings import DEARER

NEXT_USD: Final = 100_000.0  #: what "the next dollars" are said of


def runners_up(plan: Plan, block_id: str) -> pd.DataFrame:
    """Every alternative of a block, nearest to being chosen first: :func:`rehab.steps.program.why.runners_up`."""
    return why.runners_up(plan.prepared.row(block_id), plan.posed.openings, plan.posed.offers, plan.posed.limits,
                          plan.chosen, plan.prepared.start_year)


def of_blocks(plan: Plan) -> pd.DataFrame:
    """The table ``places``: one line per block, its place and what came nearest to it."""
    found = why.of_blocks(plan.posed.openings, plan.posed.offers, plan.posed.limits, plan.chosen,
                          plan.prepared.network["block_id"].to_numpy(), plan.prepared.start_year)
    return tables.check("places", tables.with_types("places", found))


def alternatives(plan: Plan) -> pd.DataFrame:
    """The table ``alternatives``: all that is open, in the order of blocks and years, at its cost and benefit."""
    made = plan.posed.openings.alternatives.only(plan.posed.openings.open)
    table = program.as_table(made, plan.prepared.network, plan.scenario)
    return tables.check("alternatives", tables.with_types("alternatives", table))


def of_limits(plan: Plan) -> pd.DataFrame:
    """The table ``limits``: what each limit allows, what is used of it, and its price."""
    return tables.check("limits", tables.with_types("limits", why.of_limits(plan.posed.limits, plan.chosen)))


def payments(plan: Plan) -> pd.DataFrame:
    """The table ``payments``: what each fund pays of each block."""
    taken = plan.posed.offers.alternatives.only(plan.chosen.rows)
    found = funds.pay(taken, plan.prepared.network, plan.scenario)
    return tables.check("payments", tables.with_types("payments", found))


def proof(plan: Plan) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Offers, uses and limits of the choice, for whoever wants to check it: :func:`rehab.steps.program.why.proof`."""
    return why.proof(plan.posed.offers, plan.posed.limits, plan.chosen,
                     plan.prepared.network["block_id"].to_numpy(), plan.prepared.start_year)


def prices(plan: Plan) -> Floats:
    """Benefit of one more dollar in each year, (years); NaN where no prices are known."""
    return why.year_prices(plan.posed.limits, plan.chosen)


def next_dollars(plan: Plan, usd: float = NEXT_USD) -> list[str]:
    """What the next dollars of each year buy, a sentence a year."""
    said = []
    for year, price in zip(plan.scenario.years, prices(plan), strict=True):
        if np.isnan(price):
            continue
        if price <= 0:
            dear = _dearer(plan, year)
            still = f", but {dear:,} {'block has' if dear == 1 else 'blocks have'} work that costs more than all " \
                "that the year may spend" if dear else ""
            said.append(f"A little more money in {year} buys nothing: all that is worth doing then is paid for{still}.")
        else:
            said.append(f"The next ${usd:,.0f} in {year} {gained(plan, usd * price)}.")
    return said


def _dearer(plan: Plan, year: int) -> int:
    """Blocks with work in a year that is shut because it is dearer than all the money of the year."""
    found = plan.posed.openings
    those = (found.why == DEARER) & (found.alternatives.step == year - plan.prepared.start_year)
    return len(np.unique(found.alternatives.block[those]))


def gained(plan: Plan, benefit: float) -> str:
    """An amount of benefit in words."""
    if plan.scenario.benefit == "agency cost":
        return f"saves ${benefit:,.0f} of present worth"
    return f"adds {benefit:,.0f} square-yard-years of sound pavement, discounted and weighted by traffic"


def explain(plan: Plan, block_id: str) -> list[str]:
    """Why a block has its place, in sentences: the chosen work beside the next best, or what keeps it out."""
    table = runners_up(plan, block_id)
    if plan.scenario.choice != "best":
        return ["This program was made by a simple rule: it has no prices that could tell what stands next."]
    if plan.chosen.failed:
        return ["There is no program: see the notes above."]
    if table.empty:
        return ["The rules call for no work on this block in any year of the program."]
    open_ = table[table["why"] == ""]
    taken = table[table["chosen"]]
    if open_.empty:
        return [f"No alternative is open: {'; '.join(dict.fromkeys(table['why']))}."]
    if len(taken):
        return _inside(plan, taken.iloc[0], open_[~open_["chosen"]])
    if plan.prepared.row(block_id) in set(plan.posed.offers.alternatives.block[plan.chosen.rows].tolist()):
        return ["It is worked on with its corridor; the corridor was chosen as a whole."]
    return _outside(plan, open_.iloc[0])


def changes(one: Plan, other: Plan) -> pd.DataFrame:
    """Blocks whose place differs between two programs.

    Columns block_id, street, from_street, to_street, change, and year, strategy and cost_usd of both with the endings
    _one and _other; sorted by change and block.
    """
    names = ["year", "strategy", "cost_usd"]
    held = ["block_id", *names, "then_year", "then_work"]
    both = one.program[held].merge(other.program[held], on="block_id", how="outer", suffixes=("_one", "_other"))
    again = [both[f"{name}_one"].astype("object").fillna("") != both[f"{name}_other"].astype("object").fillna("")
             for name in ("then_year", "then_work")]
    kind = np.select(
        [both["year_other"].isna(), both["year_one"].isna(),
         (both["strategy_one"] != both["strategy_other"]).to_numpy(),
         (both["year_one"] != both["year_other"]).to_numpy(na_value=False), again[0] | again[1]],
        ["only in the first", "only in the second", "other work", "other year", "other second work"], "")
    both["change"] = pd.Series(kind, dtype="str")
    where = one.overview[["block_id", "street", "from_street", "to_street"]]
    listed = both[both["change"] != ""].merge(where, on="block_id", how="left")
    columns = ["block_id", "street", "from_street", "to_street", "change",
               *(f"{name}_{end}" for end in ("one", "other") for name in names)]
    return listed[columns].astype({"year_one": "Int64", "year_other": "Int64"}).sort_values(
        ["change", "block_id"], ignore_index=True)


def _inside(plan: Plan, taken: pd.Series, others: pd.DataFrame) -> list[str]:
    said = [f"Chosen: {_work(taken)} for ${taken['cost_usd']:,.0f}. It {gained(plan, taken['benefit'])}; at the prices "
            f"of the limits what it uses is worth {taken['priced']:,.0f} of that elsewhere."]
    if taken["short"] > 1e-6 * max(abs(taken["benefit"]), 1.0):
        said.append(f"At these prices another choice would be better by {taken['short']:,.0f}; it was taken so that "
                    "the budgets are filled with whole blocks.")
    if len(others):
        second = others.iloc[0]
        less = second["short"] - taken["short"]
        beside = f"{less:,.0f} less after paying for what it uses" if less >= 0 else "better, but it would not fit"
        said.append(f"Next best: {_work(second)} for ${second['cost_usd']:,.0f}, {beside}.")
    return said


def _outside(plan: Plan, near: pd.Series) -> list[str]:
    said = [f"Not in the program. Nearest: {_work(near)} for ${near['cost_usd']:,.0f}, which "
            f"{gained(plan, near['benefit'])}; what it uses is worth {near['priced']:,.0f} elsewhere."]
    if near["limit"]:
        said.append(f"What keeps it out: {near['limit']}.")
    if near["short"] <= 1e-6 * max(abs(near["benefit"]), 1.0):
        said.append("At the prices it is as good as what was chosen: it does not fit beside the other whole blocks.")
    elif pd.notna(near["cheaper_usd"]) and near["cheaper_usd"] < near["cost_usd"]:
        year = int(near["year"])
        spare = _spare(plan, year)
        said.append(f"To come in, it would have to cost ${near['cheaper_usd']:,.0f} less, or what a dollar buys "
                    f"elsewhere in {year} would have to fall to {100 * near['price_share']:.0f} % of what it is; "
                    f"${max(near['cost_usd'] - spare, 0.0):,.0f} more in {year} would pay for it beside all the rest.")
    elif near["benefit"] <= 0:
        said.append("It gains nothing in this measure, so no money would bring it in.")
    return said


def _spare(plan: Plan, year: int) -> float:
    line = plan.by_year[plan.by_year["year"] == year].iloc[0]
    return max(float(line["budget_usd"]) - float(line["spent_usd"]), 0.0)


def _work(row: pd.Series) -> str:
    words = f"{IN_WORDS[row['strategy']]} in {row['year']:.0f}"
    if pd.isna(row["then_year"]):
        return words
    then = "grinding again" if row["then_work"] == "grinding" else IN_WORDS[row["then_work"]]
    return f"{words}, then {then} in {row['then_year']:.0f} for ${row['then_usd']:,.0f}"
