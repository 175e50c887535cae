"""Quantities times prices, marked up in a stated order and escalated to the year of work.

Contract prices come in two kinds: all-in items, and the parts inside them.  The default ``price_basis`` says which
kind is paid, so that no scope is ever paid twice (Iowa section 7040, source ``iowa-7040``: the all-in square yard
holds sawing, removal, base, dowels, ties, curing and joints).  What the survey rests on, the ``detail``, sets the
contingency and the range of the quantities.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.errors import BadAssumption
from rehab.base.money import escalation_factor
from rehab.base.settings import Assumptions
from rehab.base.tables import SOURCES

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

#: what the condition rests on -> the class of estimate, the ending of its rows in the assumptions
_CLASS: Final = {source: source if source in ("panel survey", "counts") else "rating" for source in SOURCES}


def price(quantities: pd.DataFrame, years: npt.ArrayLike, assumptions: Assumptions,
          detail: npt.ArrayLike) -> pd.DataFrame:
    """Costs in dollars of the year of work: low_usd, likely_usd, high_usd, one row per row of ``quantities``.

    ``quantities`` has one column per pay item, ``years`` the year of work and ``detail`` the condition_source of each
    row (or one for all).  Low and high take every unit price at its own low and high and every quantity at the
    lower and upper end of the range of its detail.
    """
    factor, spread = factors(years, assumptions, detail), quantity_range(assumptions, detail)
    amounts = quantities.to_numpy(float)
    return pd.DataFrame({f"{name}_usd": amounts @ unit_prices(column, quantities.columns, assumptions) * factor * part
                         for name, column, part in (("low", "low", 1 - spread), ("likely", "value", 1.0),
                                                    ("high", "high", 1 + spread))})


def unit_prices(column: str, items: pd.Index, assumptions: Assumptions) -> Floats:
    """Unit prices of the items before mark-ups (``column`` value, low or high), zero where another item is paid."""
    prices = pd.to_numeric(assumptions.table("pay_items").loc[items, column]).to_numpy(float)
    return np.where(priced(items, assumptions), prices, 0.0)


def priced(items: pd.Index, assumptions: Assumptions) -> Flags:
    """Whether each item is paid by itself: all-in items and those without parts, or by components the parts."""
    included = assumptions.table("pay_items")["included_in"]
    if _by_components(assumptions):
        return ~items.isin(list({carrier for text in included for carrier in str(text).split("|")}))
    return (included.loc[items] == "").to_numpy(bool)


def scope(item: str, assumptions: Assumptions) -> list[str]:
    """An item and the parts inside it: whichever the basis, what is paid of them is the whole price of the item."""
    included = assumptions.table("pay_items")["included_in"]
    return [item, *(str(key) for key, text in included.items() if item in str(text).split("|"))]


def factors(years: npt.ArrayLike, assumptions: Assumptions, detail: npt.ArrayLike) -> Floats:
    """What an amount at unit prices is multiplied by: all mark-ups and the escalation to each year."""
    base = assumptions.number("economics", "price_year")
    rate = assumptions.number("economics", "escalation")
    return markup(assumptions, detail) * escalation_factor(rate, np.asarray(years, float) - base)


def markup(assumptions: Assumptions, detail: npt.ArrayLike) -> Floats:
    """The product of the mark-ups for each detail; each is taken on the items and the mark-ups before it."""
    return _by_detail(detail, lambda word: float(assumptions.once(f"mark-up {word}", lambda: np.prod(
        1.0 + _markups(word, assumptions)["value"].to_numpy(float)))))


def quantity_range(assumptions: Assumptions, detail: npt.ArrayLike) -> Floats:
    """The share by which quantities may be more or less, for each detail."""
    return _by_detail(detail, lambda word: assumptions.number("defaults", f"quantity_range.{_CLASS[word]}"))


def estimate_class(detail: str) -> str:
    """What an estimate rests on, in words: from a panel survey, from counts or from a rating.

    :class:`ValueError` for a word that is no condition_source.
    """
    _check([detail])
    return {"panel survey": "from a panel survey", "counts": "from counts", "rating": "from a rating"}[_CLASS[detail]]


def steps(amount_usd: float, year: int, assumptions: Assumptions, detail: str) -> pd.DataFrame:
    """One block's estimate line by line: items, each mark-up in its order, escalation; columns line, usd.

    The last line is the total and equals :func:`price`.
    """
    _check([detail])
    found, running = [("Items at unit prices", amount_usd)], amount_usd
    for name, rate in _markups(detail, assumptions)[["name", "value"]].itertuples(index=False):
        more = running * rate
        found.append((f"{name} {100 * rate:.3g} %", more))
        running += more
    base = int(assumptions.number("economics", "price_year"))
    factor = float(escalation_factor(assumptions.number("economics", "escalation"), year - base))
    found.append((f"Escalation {base} to {year}", running * (factor - 1)))
    found.append(("Total", running * factor))
    return pd.DataFrame(found, columns=["line", "usd"])


def lines(listed: pd.DataFrame, assumptions: Assumptions, year: int, detail: str) -> pd.DataFrame:
    """The likely estimate of one block item by item: rows of ``quantities`` of one block, year and strategy.

    Columns pay_item, quantity, unit, unit_price_usd, amount_usd (both NA where another item is paid), priced,
    carried_by (the names of the items listed that hold the price, separated by '; ') and cost_usd (the amount with its
    mark-ups and escalation, zero where another item is paid).  The costs add up to :func:`price`; the amounts
    are what :func:`steps` begins with.  Nothing is rounded.
    """
    items = pd.Index(listed["pay_item"])
    table = assumptions.table("pay_items")
    paid = priced(items, assumptions)
    unit_price = pd.Series(pd.to_numeric(table.loc[items, "value"]).to_numpy(float)).where(paid)
    quantity = listed["quantity"].reset_index(drop=True).astype(float)
    amount = unit_price * quantity
    carried_by = ["" if alone else "; ".join(str(table.at[key, "name"]) for key in _holders(item, items, assumptions))
                  for item, alone in zip(items, paid, strict=True)]
    return pd.DataFrame({
        "pay_item": items.to_numpy(), "quantity": quantity, "unit": listed["unit"].to_numpy(),
        "unit_price_usd": unit_price, "amount_usd": amount, "priced": paid,
        "carried_by": pd.Series(carried_by, dtype="str"),
        "cost_usd": amount.fillna(0.0) * float(factors(year, assumptions, detail)),
    })


def _holders(item: str, present: pd.Index, assumptions: Assumptions) -> list[str]:
    """Of the items present, those whose price holds an item that is not paid by itself."""
    if _by_components(assumptions):
        return [key for key in scope(item, assumptions)[1:] if key in present]
    carriers = str(assumptions.table("pay_items").at[item, "included_in"]).split("|")
    return [key for key in carriers if key in present]


def _by_components(assumptions: Assumptions) -> bool:
    return assumptions.text("defaults", "price_basis") == "components"


def _markups(detail: str, assumptions: Assumptions) -> pd.DataFrame:
    """The mark-ups that count for a detail, in their order, numbers as numbers.

    A row ``name.CLASS`` counts for its class of estimate only; :class:`BadAssumption` where a class has none.
    """
    table = assumptions.table("markups")
    parted = {str(key): str(key).partition(".") for key in table.index}
    keep = [key for key, (_, dot, ending) in parted.items() if not dot or ending == _CLASS[detail]]
    lacking = {name for name, _, _ in parted.values()} - {parted[key][0] for key in keep}
    if lacking:
        raise BadAssumption(f"the table 'markups' has no row '{min(lacking)}.{_CLASS[detail]}'")
    rows = table.loc[keep].astype({"value": float, "order": float})
    return rows.sort_values("order", kind="stable")


def _by_detail(detail: npt.ArrayLike, value_of: Callable[[str], float]) -> Floats:
    """A number for each condition_source, worked out once for each word; the shape is that of ``detail``."""
    words = np.asarray(detail, object)
    codes, found = pd.factorize(words.ravel(), use_na_sentinel=False)
    _check(found)
    return np.array([value_of(str(word)) for word in found], float)[codes].reshape(words.shape)


def _check(words: npt.ArrayLike) -> None:
    unknown = [word for word in np.asarray(words, object) if word not in _CLASS]
    if unknown:
        raise ValueError(f"'{unknown[0]}' is not one of {', '.join(SOURCES)}")
