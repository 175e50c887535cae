"""Why a block got its year, or none: every alternative beside the chosen one, at the prices of the limits."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy import sparse

from rehab.steps.program.alternatives import Alternatives, Floats, Ints, Names
from rehab.steps.program.choose import Chosen
from rehab.steps.program.corridors import Offers
from rehab.steps.program.limits import MONEY, Limits, words
from rehab.steps.program.openings import NOT_DUE, OPEN, REASONS, Openings


def runners_up(block: int, openings: Openings, offers: Offers, limits: Limits, chosen: Chosen,
               start_year: int) -> pd.DataFrame:
    """Every alternative of a block that the rules call for, the nearest to being chosen first.

    Columns year, strategy, then_year, then_work, cost_usd, benefit, priced (what it uses, at the prices of the limits),
    left (benefit less that), short (how far that is below the block's best, doing nothing, where it may, being zero),
    chosen, limit (the limit that takes most of its benefit), cheaper_usd (by how much it would have to cost less to be
    as good as the best), price_share (the share of the price of its year's money at which it would be), why (why it is
    not open; empty where it is).
    """
    given = openings.alternatives
    rows = np.flatnonzero((given.block == block) & (openings.why != NOT_DUE))
    table = _lines(given, rows, start_year)
    table["why"] = [("" if code == OPEN else REASONS[code]) for code in openings.why[rows]]
    order = np.argsort(np.isin(np.arange(len(offers.source)), chosen.rows), kind="stable")  # of several, the chosen one
    of_offer = dict(zip(offers.source[order].tolist(), order.tolist(), strict=True))
    made = np.array([of_offer.get(int(row), -1) for row in rows], np.int64)
    prices = chosen.prices if len(chosen.prices) else np.zeros(len(limits))
    closed = made < 0
    priced = np.zeros((len(rows), len(limits)))
    priced[~closed] = limits.uses[made[~closed]].toarray() * prices
    table["priced"] = np.where(closed, np.nan, priced.sum(axis=1))
    table["left"] = table["benefit"] - table["priced"]
    nothing = -np.inf if openings.needed[block] else 0.0  # a block that must be worked on cannot do nothing
    top = max(nothing, float(table["left"].max(skipna=True))) if (~closed).any() else 0.0
    table["short"] = top - table["left"]
    table["chosen"] = np.isin(made, chosen.rows) & ~closed
    heaviest = np.argmax(priced, axis=1) if len(rows) and len(limits) else np.zeros(len(rows), np.int64)
    binding = priced.max(axis=1, initial=0.0) > 0
    table["limit"] = [words(limits, int(at)) if tight and not shut else "" for at, tight, shut in
                      zip(heaviest, binding, closed, strict=True)]
    money = (limits.table["limit"] == MONEY).to_numpy()
    with np.errstate(divide="ignore", invalid="ignore"):
        per_usd = (priced[:, money].sum(axis=1)) / table["cost_usd"].to_numpy()
        table["cheaper_usd"] = np.where(per_usd > 0, table["short"] / per_usd, np.nan)
        table["price_share"] = np.where(priced[:, money].sum(axis=1) > 0, np.maximum(
            1 - table["short"] / priced[:, money].sum(axis=1), 0.0), np.nan)
    order = np.lexsort((table["year"], table["short"].fillna(np.inf), ~table["chosen"]))
    return table.iloc[order].reset_index(drop=True)


def of_blocks(openings: Openings, offers: Offers, limits: Limits, chosen: Chosen, names: Names,
              start_year: int) -> pd.DataFrame:
    """One line per block: its place in the program, and the alternative that came nearest to it or is next to it.

    Columns block_id, year and strategy (missing where it gets no work), next_year, next_strategy, next_usd (the open
    alternative of the best reduced value beside the chosen one), short (what that would have lost, in benefit), limit
    (the limit that takes most of its benefit), why (where no alternative is open: the reason that shuts most).
    """
    made = offers.alternatives
    prices = chosen.prices if len(chosen.prices) else np.zeros(len(limits))
    left = made.benefit - limits.uses @ prices
    taken = np.zeros(len(made), bool)
    taken[chosen.rows] = True
    out = pd.DataFrame({"block_id": names})
    held = chosen.rows
    out["year"] = pd.Series(start_year + made.step[held], index=made.block[held]).reindex(out.index)
    out["strategy"] = pd.Series(made.strategy[held], index=made.block[held]).reindex(out.index)
    top = np.where(openings.needed, -np.inf, 0.0)
    np.maximum.at(top, made.block, left)
    others = np.flatnonzero(~taken)
    order = others[np.lexsort((others, -left[others], made.block[others]))]
    block, at = np.unique(made.block[order], return_index=True)
    best = order[at]
    said = np.array([*(words(limits, at) for at in range(len(limits))), ""], dtype=object)
    out["next_year"] = pd.Series(start_year + made.step[best], index=block).reindex(out.index)
    out["next_strategy"] = pd.Series(made.strategy[best], index=block).reindex(out.index)
    out["next_usd"] = pd.Series(made.cost_usd[best], index=block).reindex(out.index)
    out["short"] = pd.Series(np.maximum(top[block] - left[best], 0.0), index=block).reindex(out.index)
    heaviest = said[_heaviest(limits.uses[best], prices)]
    out["limit"] = pd.Series(heaviest, index=block, dtype="str").reindex(out.index).fillna("")
    shut = pd.DataFrame({"block": openings.alternatives.block, "why": openings.why})
    some = np.unique(openings.alternatives.block[openings.open])
    shut = shut[(shut["why"] != OPEN) & ~shut["block"].isin(some)]
    reason = {int(block): NOT_DUE for block in shut["block"].unique()}
    for row, codes in shut.loc[shut["why"] != NOT_DUE].groupby("block")["why"]:
        reason[int(str(row))] = int(codes.mode().iloc[0])
    told = {row: REASONS[code] for row, code in reason.items()}
    told |= dict.fromkeys(np.setdiff1d(some, made.block).tolist(), "its corridor offers no work on it in any year")
    out["why"] = pd.Series([told.get(row, "") for row in range(len(out))], dtype="str")
    return out.astype({"year": "Int64", "next_year": "Int64", "strategy": "str", "next_strategy": "str"})


def _heaviest(uses: sparse.csc_array, prices: Floats) -> Ints:
    """The limit that takes most of each row at the prices, the first of equals; -1 where none takes anything."""
    taken = uses.tocoo()
    row, column = taken.coords
    priced = taken.data * prices[column]
    out = np.full(uses.shape[0], -1)
    order = np.lexsort((-column, priced, row))
    order = order[priced[order] > 0]
    out[row[order]] = column[order]  # of several, the greatest written last
    return out


def of_limits(limits: Limits, chosen: Chosen) -> pd.DataFrame:
    """Each row of the limits: what it is, how much is used, and its price.

    Columns limit, year, detail, unit, floor, most, used (in the sense of the words: a floor's signs are turned back),
    price (benefit per unit, of one more allowed or one less demanded; missing by a rule).
    """
    used = np.asarray(limits.uses[chosen.rows].sum(axis=0)).ravel() if len(limits) else np.zeros(0)
    sign = np.where(limits.table["floor"].to_numpy(bool), -1.0, 1.0)
    price = chosen.prices if len(chosen.prices) else np.full(len(limits), np.nan)
    return limits.table.assign(most=sign * limits.most, used=sign * used, price=price)


def year_prices(limits: Limits, chosen: Chosen) -> Floats:
    """Benefit of one more dollar in each year, (years)."""
    if not len(chosen.prices):
        return np.full(limits.gives.shape[1], np.nan)
    return np.asarray(chosen.prices @ limits.gives)


def proof(offers: Offers, limits: Limits, chosen: Chosen, names: Ints, start_year: int) -> tuple[
        pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """The problem and its proof as three tables that anyone can check without this program.

    ``offers``: offer, group, benefit, chosen (0 or 1), works (in words).  ``uses``: offer, limit_row, amount.
    ``limits``: limit_row, limit, year, detail, unit, most (in the sense "at most"), price.  The sum of the benefits of
    the chosen is the objective; price times most over the limits, and the best benefit less priced use of each group,
    add up to a bound on every choice.
    """
    value, cost = offers.member @ offers.alternatives.benefit, (offers.member @ limits.uses).tocoo()
    made = offers.alternatives
    said = np.array([f"{name} {start_year + step} {kind}" + (f" {start_year + then} {work}" if then >= 0 else "")
                     for name, step, kind, then, work in zip(names[made.block], made.step, made.strategy,
                                                             made.then_step, made.then, strict=True)], dtype=object)
    pointer, column = offers.member.indptr, offers.member.indices
    words_ = ["; ".join(said[column[pointer[at]:pointer[at + 1]]]) for at in range(len(value))]
    taken = np.zeros(len(value), np.int64)
    taken[chosen.offers] = 1
    listed = pd.DataFrame({"offer": np.arange(len(value)), "group": offers.group, "benefit": value, "chosen": taken,
                           "works": pd.Series(words_, dtype="str")})
    row, limit_row = cost.coords
    uses = pd.DataFrame({"offer": row, "limit_row": limit_row, "amount": cost.data}).sort_values(
        ["offer", "limit_row"], ignore_index=True)
    price = chosen.prices if len(chosen.prices) else np.full(len(limits), np.nan)
    table = limits.table.drop(columns="floor").assign(limit_row=np.arange(len(limits)), most=limits.most, price=price)
    return listed, uses, table[["limit_row", "limit", "year", "detail", "unit", "most", "price"]]


def _lines(given: Alternatives, rows: Ints, start_year: int) -> pd.DataFrame:
    again = given.then_step[rows] >= 0
    return pd.DataFrame({
        "year": start_year + given.step[rows], "strategy": pd.Series(given.strategy[rows], dtype="str"),
        "then_year": pd.Series(start_year + given.then_step[rows], dtype="Int64").where(again),
        "then_work": pd.Series(given.then[rows], dtype="str").where(again),
        "then_usd": pd.Series(given.then_usd[rows]).where(again),
        "cost_usd": given.cost_usd[rows], "benefit": given.benefit[rows]})
