"""Break-even: how long a strategy must last to cost no more over its life cycle than another one."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from rehab.steps.lifecycle.stream import Course, Flags, Floats, Terms
from rehab.steps.lifecycle.worth import present_worth

_HALVINGS: Final = 40  #: of a bracket of a year at most: far finer than a life is known
_NEARLY: Final = 1e-9  #: share of the other's cost within which two costs are one

#: the strategy costs no more at every life, from ``life_yr`` on, at no life, or at some lives but not the longest
CASES: Final = ("always", "from", "never", "mixed")


@dataclass(frozen=True)
class BreakEven:
    """Per block: one of :data:`CASES`, the life in years (NaN unless 'from'), and whether shorter lives do as well.

    The cost does not fall steadily with the life: every regrinding that a longer life calls for adds its cost at
    once.  So ``life_yr`` is the life from which on the strategy costs no more at every longer one, and ``also_below``
    says that it costs no more at some shorter life too.
    """

    case: npt.NDArray[np.str_]
    life_yr: Floats
    also_below: Flags


def break_even(course: Course, against_usd: Floats, terms: Terms, rate: float | None = None) -> BreakEven:
    """The life of the first work of ``course`` at which its present worth comes down to ``against_usd``, per block.

    Life is counted in years until the index is back at the trigger, from 0 to the longest of the terms; all else
    stays as it is, and what follows comes sooner or later with it.  ``against_usd`` is the present worth of the other
    strategy at the same rate.  Every year of life and every life at which a regrinding falls due is tried; the last
    bracket from dearer to no dearer is halved.
    """
    real = terms.discount if rate is None else rate
    blocks = len(against_usd)
    allowed = _NEARLY * np.maximum(np.abs(against_usd), 1.0)

    def dearer(life: Floats) -> Flags:
        lasting = (replace(course[0], life_yr=life), *course[1:])
        return np.asarray(present_worth(lasting, terms, (real,))[:, 0] > against_usd + allowed)

    lives = _lives(terms)
    tried = np.stack([dearer(np.full(blocks, life)) for life in lives])
    last = len(lives) - 1 - np.argmax(tried[::-1], axis=0)  # the longest life tried at which it is dearer
    case = np.select([~tried.any(axis=0), ~tried[-1], tried.all(axis=0)], CASES[:3], CASES[3])
    crossing = case == "from"
    low, high = lives[last], lives[np.minimum(last + 1, len(lives) - 1)]
    for _ in range(_HALVINGS if crossing.any() else 0):
        middle = (low + high) / 2
        above = dearer(middle)
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    below = np.arange(len(lives))[:, None] < last
    return BreakEven(case, np.where(crossing, high, np.nan), crossing & (~tried & below).any(axis=0))


def sentence(strategy: str, other: str, found: BreakEven, row: int, forecast_yr: float, cheaper: bool, trigger: float,
             terms: Terms) -> str:
    """The break-even of one block in plain English; ``strategy`` and ``other`` are words as they stand in a sentence.

    ``forecast_yr`` is how long the forecast lets the strategy last, ``cheaper`` whether it costs less then.
    """
    rate = f"{100 * terms.discount:.2f}".rstrip("0").rstrip(".")
    begins = f"Over {terms.horizon_yr:.0f} years at {rate} % a year, {strategy} costs"
    event = f"the index falls to {trigger:.0f}"
    lasts = f"{forecast_yr:.1f} years{' or more' if forecast_yr >= terms.longest_yr else ''}"
    outcome = f"by the forecast that takes {lasts}, so it costs {'less' if cheaper else 'more'}"
    case = str(found.case[row])
    if case == "always":
        return f"{begins} less than {other}, however soon {event}."
    if case == "never":
        return f"{begins} more than {other}, even if it takes {terms.longest_yr:.0f} years until {event}."
    if case == "mixed":
        return (f"{begins} less than {other} at some lives and more at others, the longest among them. Life is counted "
                f"until {event}; {outcome}.")
    also = " Some shorter lives do as well, since each further grinding adds its cost at once." \
        if found.also_below[row] else ""
    return f"{begins} less than {other} unless {event} in under {found.life_yr[row]:.1f} years; {outcome}.{also}"


def _lives(terms: Terms) -> Floats:
    """Lives to try: every year, and both sides of every life at which a further grinding falls due."""
    due = terms.ground_life_yr * np.arange(1, terms.most_grindings)
    lives = np.concatenate([np.arange(np.ceil(terms.longest_yr)), [terms.longest_yr], due, np.nextafter(due, np.inf)])
    return np.unique(lives[lives <= terms.longest_yr])
