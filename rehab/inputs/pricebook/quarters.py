"""Dollars of one day to dollars of a quarter, by a published index of construction cost."""

from __future__ import annotations

import numpy as np
import pandas as pd

from rehab.base.errors import BadAssumption, Note
from rehab.base.settings import Assumptions


def index_series(assumptions: Assumptions) -> pd.Series:
    """The cost index by quarter ('2015Q1'), in the order of time.

    Raises :class:`BadAssumption` for a key that is no quarter and a value that is not above zero.
    """
    table = assumptions.table("cost_index")
    wrong = table.index[~table.index.str.fullmatch(r"\d{4}Q[1-4]")]
    if len(wrong):
        raise BadAssumption(f"cost_index: '{wrong[0]}' is no quarter such as 2015Q1")
    values = pd.to_numeric(table["value"], errors="coerce").astype("float64").sort_index()
    bad = values.index[~(values > 0)]
    if len(bad):
        raise BadAssumption(f"cost_index: the value of {bad[0]} is not a number above zero")
    return values


def usual_quarter(index: pd.Series) -> str:
    """The quarter that prices are brought to if nothing else is asked for: the newest of the index."""
    return str(index.index[-1])


def raised(bids: pd.DataFrame, quarter: str, index: pd.Series) -> tuple[pd.DataFrame, list[Note]]:
    """The bids with ``price_usd`` in dollars of ``quarter`` and the ``quarter`` whose index each was raised from.

    price then x index now / index then, with the index of the bid's quarter; a bid before the first quarter takes the
    first, one after the last the last, which a note says.  Raises :class:`BadAssumption` for a quarter without index.
    """
    if quarter not in index.index:
        raise BadAssumption(f"the cost index has no quarter '{quarter}'; it goes from {index.index[0]} to "
                            f"{index.index[-1]}")
    own = bids["bid_date"].dt.to_period("Q").astype("str")
    # Text of the form 2015Q1 sorts by time; a quarter missing inside the index takes the one before it.
    place = np.clip(np.searchsorted(index.index.to_numpy(str), own.to_numpy(str), side="right") - 1, 0, None)
    taken = pd.Series(index.index.to_numpy(str)[place], index=bids.index, dtype="str")
    price = bids["unit_price_usd"].to_numpy(float) * index[quarter] / index.to_numpy(float)[place]
    notes = []
    for words, outside, end in (("before", own < index.index[0], index.index[0]),
                                ("after", own > index.index[-1], index.index[-1])):
        if outside.any():
            notes.append(Note("index", None, None, f"{outside.sum():,} bids are from {words} the cost index, which "
                              f"goes from {index.index[0]} to {index.index[-1]}; they were taken as bid in {end}"))
    return bids.assign(price_usd=price, quarter=taken), notes
