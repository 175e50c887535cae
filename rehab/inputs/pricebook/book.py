"""The price book: low, likely and high by pay item from matched bids, its outliers, and what the city takes over."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from rehab.base import tables
from rehab.base.errors import BadAssumption, Note
from rehab.base.money import escalation_factor
from rehab.base.settings import Assumptions
from rehab.inputs.pricebook import figures
from rehab.inputs.pricebook.matching import matched
from rehab.inputs.pricebook.quarters import index_series, raised


@dataclass(frozen=True)
class PriceBook:
    """Tables ``price_book`` and ``priced_bids``, notes, and the quarter whose dollars the prices are in."""

    prices: pd.DataFrame
    bids: pd.DataFrame
    notes: list[Note]
    quarter: str


def make(bids: pd.DataFrame, matches: pd.DataFrame, assumptions: Assumptions, quarter: str,
         left_out: Collection[int] = ()) -> PriceBook:
    """The price book of the ``bids`` (table 'bids') under the user's ``matches``, in dollars of ``quarter``.

    Likely is the median of the bids, low and high are percentiles of the assumption table ``bid_rules`` (10 and 90),
    by linear interpolation (type 7 of Hyndman and Fan, 1996, numpy's default).  The median and not the mean, since a
    few wild prices must not move it; unweighted, since the quantity's effect is shown by the line and by the price by
    quantity beside it.  ``left_out`` holds the ``row`` of bids that the user leaves out.  Outliers are scored on
    all bids of an item, so that leaving one out makes no other one; they are only named.
    Raises :class:`BadAssumption` for a quarter without index and percentiles in the wrong order.
    """
    known, notes = matched(bids, matches, assumptions.table("pay_items"))
    priced, more = raised(known, quarter, index_series(assumptions))
    priced = _judged(priced.assign(left_out=priced["row"].isin(list(left_out))), assumptions)
    rows = [_figured(str(key), group, assumptions, quarter)
            for key, group in priced.groupby(_place(priced, assumptions), sort=True)]
    book = tables.with_types("price_book", pd.DataFrame(rows, columns=[item.name for item in
                                                                       tables.fields("price_book")]))
    return PriceBook(tables.check("price_book", book.sort_index()),
                     tables.check("priced_bids", tables.with_types("priced_bids", priced)), [*notes, *more], quarter)


def city_values(book: PriceBook, items: Iterable[str], assumptions: Assumptions) -> dict[str, str]:
    """The chosen prices as values of the city's own for ``pay_items``, under KEY, 'KEY low', 'KEY high', 'KEY note'.

    The plan takes unit prices in dollars of ``economics/price_year`` and raises them by ``economics/escalation``;
    a price is laid down so that the plan meets it again in the year of the book's quarter.
    Raises :class:`BadAssumption` for an item without a price.
    """
    prices = book.prices.set_index("pay_item")[["bids", "low_usd", "likely_usd", "high_usd"]].astype("float64")
    known = {str(key): numbers for key, numbers in zip(prices.index, prices.to_numpy(), strict=True)}
    factor = _years_factor(book.quarter, assumptions)
    year = int(assumptions.number("economics", "price_year"))
    found: dict[str, str] = {}
    for key in items:
        if key not in known or np.isnan(known[key]).any():
            raise BadAssumption(f"the price book has no price for '{key}'")
        count, *usd = known[key].tolist()
        low, likely, high = (_cents(price / factor) for price in usd)
        note = f"median of {count:.0f} bids, {_cents(usd[1])} in dollars of {book.quarter}"
        if factor != 1:
            note += f"; laid down in dollars of {year}, from which the plan raises it"
        found |= {key: likely, f"{key} low": low, f"{key} high": high, f"{key} note": note}
    return found


def _place(priced: pd.DataFrame, assumptions: Assumptions) -> pd.Series:
    """The pay item of each bid as a category, so that items come in the order of their table."""
    order = [key for key in assumptions.table("pay_items").index if key in set(priced["pay_item"])]
    return pd.Series(pd.Categorical(priced["pay_item"], order, ordered=True), index=priced.index)


def _judged(priced: pd.DataFrame, assumptions: Assumptions) -> pd.DataFrame:
    """The bids with score, outlier and why; scores are of log prices off the line, or off the median without one.

    ``usual`` in ``why`` is the price on that line for the bid's own quantity, or the median.
    """
    limit = assumptions.number("bid_rules", "outlier_score")
    least, least_line = (int(assumptions.number("bid_rules", key)) for key in ("least_bids", "least_line_bids"))
    score = pd.Series(np.nan, index=priced.index, dtype="float64")
    usual = pd.Series(np.nan, index=priced.index, dtype="float64")
    for _, group in priced.groupby("pay_item"):
        if len(group) < least:
            continue
        price, quantity = group["price_usd"].to_numpy(float), group["quantity"].to_numpy(float)
        line = figures.power_line(quantity, price, least_line)
        expected = np.full(len(price), np.median(price)) if line is None else line.price(quantity)
        score[group.index] = figures.modified_scores(np.log(price) - np.log(expected))
        usual[group.index] = expected
    outlier = score.abs() > limit
    why = [f"{price / expected:,.3g} times the usual price of ${expected:,.2f} (score {number:+.1f}, limit {limit:g})"
           if out else None for price, expected, number, out
           in zip(priced["price_usd"], usual, score, outlier, strict=True)]
    return priced.assign(score=score, outlier=outlier, why=pd.Series(why, index=priced.index, dtype="str"))


def _figured(key: str, group: pd.DataFrame, assumptions: Assumptions, quarter: str) -> dict[str, object]:
    """One row of the table ``price_book``."""
    least, least_line = (int(assumptions.number("bid_rules", name)) for name in ("least_bids", "least_line_bids"))
    low, high = (assumptions.number("bid_rules", f"{name}_percentile") for name in ("low", "high"))
    item = {name: str(assumptions.table("pay_items").at[key, name]) for name in ("unit", "low", "value", "high")}
    kept = group[~group["left_out"]]
    price, quantity = kept["price_usd"].to_numpy(float), kept["quantity"].to_numpy(float)
    factor = _years_factor(quarter, assumptions)
    row: dict[str, object] = {
        "pay_item": key, "unit": item["unit"], "bids": len(kept), "projects": int(kept["project"].nunique()),
        "first_on": kept["bid_date"].min(), "last_on": kept["bid_date"].max(),
        "default_low_usd": float(item["low"]) * factor, "default_usd": float(item["value"]) * factor,
        "default_high_usd": float(item["high"]) * factor}
    if len(kept) < least:
        return row | {"note": f"too few bids: {len(kept)}, and {least} are needed"}
    prices = np.percentile(price, [low, 50, high])
    row |= dict(zip(("low_usd", "likely_usd", "high_usd"), prices.tolist(), strict=True))
    row["by_quantity_usd"] = figures.by_quantity(price, quantity)
    line = figures.power_line(quantity, price, least_line)
    if line is not None:
        row |= {"exponent": line.exponent, "exponent_low": line.low, "exponent_high": line.high,
                "at_one_usd": line.at_one}
    return row | {"note": "; ".join(_notes(group, kept, line))}


def _notes(group: pd.DataFrame, kept: pd.DataFrame, line: figures.Line | None) -> list[str]:
    said = [f"{len(group) - len(kept)} left out"] if len(kept) < len(group) else []
    named = int((kept["outlier"]).sum())
    if named:
        said.append(f"{named} outlier{'s' if named > 1 else ''} among the bids")
    if group["score"].isna().all() and len(group):
        said.append("outliers not looked for, over half of the prices are alike")
    if len(set(kept["project"].dropna())) == 1:
        said.append("all of one project")
    if line is None:
        said.append("too few for a line of price against quantity")
    elif line.low <= 0 <= line.high:
        said.append("no clear effect of the quantity")
    else:
        said.append(f"twice the quantity, {100 * (2 ** line.exponent - 1):+.0f} % in price")
    return said


def _years_factor(quarter: str, assumptions: Assumptions) -> float:
    """What the plan itself multiplies a unit price by, from the price year to the year of the quarter."""
    years = int(quarter[:4]) - assumptions.number("economics", "price_year")
    return float(escalation_factor(assumptions.number("economics", "escalation"), years))


def _cents(usd: float) -> str:
    """Dollars and cents; prices below a dollar with four decimals."""
    return f"{usd:.2f}" if usd >= 1 else f"{usd:.4f}"
