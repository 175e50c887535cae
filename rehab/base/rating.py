"""Index, rating and word to shares of panels and back, by the editable curve ``rating_to_shares``.

No published conversion was found; the curve is a stated default (source ``proposal``), and whatever rests on
it is flagged as estimated.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.errors import BadAssumption
from rehab.base.settings import Assumptions

Floats = npt.NDArray[np.float64]


def shares_at(index: npt.ArrayLike, assumptions: Assumptions) -> tuple[Floats, Floats]:
    """Shares of panels needing partial and full depth at a condition index of 0-100; NaN stays NaN."""
    points, partial, full, _ = _curve(assumptions)
    at = np.asarray(index, float)
    return np.asarray(np.interp(at, points, partial)), np.asarray(np.interp(at, points, full))


def index_of(partial_share: npt.ArrayLike, full_share: npt.ArrayLike, assumptions: Assumptions) -> Floats:
    """Condition index 0-100 of shares of panels: the curve read backwards.

    Damage is the full share plus a weight times the partial share; it falls as the index rises along the
    curve, so each damage has one index.
    """
    points, partial, full, weight = _curve(assumptions)
    damage = np.asarray(full_share, float) + weight * np.asarray(partial_share, float)
    return np.asarray(np.interp(damage, (full + weight * partial)[::-1], points[::-1]))


def index_held(blocks: pd.DataFrame, assumptions: Assumptions) -> Floats:
    """The index a block holds, else that of its rating, else that of its word; NaN where it holds none.

    ``blocks`` needs condition_index, rating_1_10 and condition_word.
    """
    table = assumptions.table("rating_to_shares")
    value = pd.to_numeric(table["value"])
    ratings = value[table["kind"] == "rating"]
    steps = ratings.index.str.removeprefix("rating.").astype(float).to_numpy()
    order = np.argsort(steps)
    rating = blocks["rating_1_10"].to_numpy(float)
    from_rating = np.interp(rating, steps[order], ratings.to_numpy(float)[order])
    words = value[table["kind"] == "word"]
    lookup = dict(zip(words.index.str.removeprefix("word."), words, strict=True))
    from_word = blocks["condition_word"].str.strip().str.lower().map(lookup).to_numpy(float)
    held = blocks["condition_index"].to_numpy(float)
    return np.where(~np.isnan(held), held, np.where(~np.isnan(rating), from_rating, from_word))


def _curve(assumptions: Assumptions) -> tuple[Floats, Floats, Floats, float]:
    table = assumptions.table("rating_to_shares")
    rows = table[table["kind"] == "index"][["value", "partial_share", "full_share"]].astype(float)
    points, partial, full = rows.sort_values("value").to_numpy().T
    weight = assumptions.number("rating_to_shares", "weight.partial")
    if np.any(np.diff(full + weight * partial) >= 0):
        raise BadAssumption("rating_to_shares: the damage must fall as the index rises; change the shares")
    return points, partial, full, weight
