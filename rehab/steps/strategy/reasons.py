"""Why a strategy was chosen, in words: value, limit and source of every rule that fired."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import numpy.typing as npt

from rehab.base.settings import Assumptions
from rehab.steps.strategy.rules import OPERATORS, Limit, Rule

Floats = npt.NDArray[np.float64]
_NAMES: Final = {"none": "no work", "partial_depth": "partial-depth repair", "full_depth": "full-depth repair",
                 "reconstruction": "reconstruction"}


def explain(rules: list[Rule], values: Mapping[str, Floats], fired: npt.NDArray[np.bool_],
            first: npt.NDArray[np.int64], assumptions: Assumptions) -> npt.NDArray[np.object_]:
    """One text per row: the deciding rule first, then the others that fired; the catch-all only where alone.

    Before them all stands between what the engineer decides, where that is so.  ``fired`` has a row per block and a
    column per rule, ``first`` the number of the deciding rule.
    """
    parts: list[list[str]] = [[f"engineer decides between {_NAMES[rules[number].strategy]} and "
                               f"{_NAMES[rules[number].also]}"] if rules[number].engineer else [] for number in first]
    last = len(rules) - 1
    for number, rule in enumerate(rules):
        at = np.flatnonzero(fired[:, number] & ((number < last) | (first == last)))
        texts = [_texts(limit, values[limit.measure][at], assumptions) for limit in rule.limits]
        # Rules are parted by a bar, the rows of one rule by a blank: their words carry the 'and'.
        for position, pieces in zip(at, zip(*texts, strict=True), strict=True):
            parts[position].append(" ".join(pieces))
    return np.array([" | ".join(texts) for texts in parts], object)


def _texts(limit: Limit, values: Floats, assumptions: Assumptions) -> list[str]:
    cited = (f"{OPERATORS[limit.operator][1]} {_figure(limit.threshold, limit.unit)}; "
             f"{assumptions.citation('decision_rules', limit.key)}")
    return [f"{limit.words}: {_figure(value, limit.unit)} ({cited})" for value in values]


def _figure(value: float, unit: str) -> str:
    if unit == "share":
        return f"{100 * value:.3g} %"
    if unit == "level":
        return f"level {value:.0f} of 3"
    return f"{value:.3g} {'panels' if unit == 'count' else unit}"
