"""Quantities times prices, marked up in a stated order and escalated to the year of work."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.money import escalation_factor
from rehab.base.settings import Assumptions

Floats = npt.NDArray[np.float64]


def price(quantities: pd.DataFrame, years: npt.ArrayLike, assumptions: Assumptions) -> pd.DataFrame:
    """Costs in dollars of the year of work: low_usd, likely_usd, high_usd, one row per row of ``quantities``.

    ``quantities`` has one column per pay item, ``years`` the year of work of each row.  An item whose price is
    included in another costs nothing by itself.  Low and high take every unit price at its own low and high.
    """
    factor = factors(years, assumptions)
    amounts = quantities.to_numpy(float)
    return pd.DataFrame({f"{name}_usd": amounts @ unit_prices(column, quantities.columns, assumptions) * factor
                         for name, column in (("low", "low"), ("likely", "value"), ("high", "high"))})


def unit_prices(column: str, items: pd.Index, assumptions: Assumptions) -> Floats:
    """Unit prices of the items before mark-ups, zero where the price is included in another item."""
    table = assumptions.table("pay_items").loc[items]
    priced = (table["included_in"] == "").to_numpy()
    return np.where(priced, pd.to_numeric(table[column]).to_numpy(float), 0.0)


def factors(years: npt.ArrayLike, assumptions: Assumptions) -> Floats:
    """What an amount at unit prices is multiplied by: all mark-ups and the escalation to each year."""
    base = assumptions.number("economics", "price_year")
    rate = assumptions.number("economics", "escalation")
    return markup(assumptions) * escalation_factor(rate, np.asarray(years, float) - base)


def markup(assumptions: Assumptions) -> float:
    """The product of the mark-ups; each is taken on the sum of the items and the mark-ups before it."""
    return float(np.prod(1.0 + pd.to_numeric(assumptions.table("markups")["value"]).to_numpy(float)))


def steps(amount_usd: float, year: int, assumptions: Assumptions) -> pd.DataFrame:
    """One block's estimate line by line: items, each mark-up in its order, escalation; columns line, usd.

    The last line is the total and equals :func:`price`.
    """
    table = assumptions.table("markups").assign(order=lambda rows: pd.to_numeric(rows["order"])).sort_values("order")
    lines, running = [("Items at unit prices", amount_usd)], amount_usd
    for row in table.itertuples():
        more = running * float(str(row.value))
        lines.append((f"{row.name} {100 * float(str(row.value)):.3g} %", more))
        running += more
    base = int(assumptions.number("economics", "price_year"))
    factor = float(escalation_factor(assumptions.number("economics", "escalation"), year - base))
    lines.append((f"Escalation {base} to {year}", running * (factor - 1)))
    lines.append(("Total", running * factor))
    return pd.DataFrame(lines, columns=["line", "usd"])
