"""Why a strategy was chosen, in words: value, limit and source of every rule that fired."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

import numpy as np
import numpy.typing as npt

from rehab.base.settings import Assumptions
from rehab.base.tables import IN_WORDS
from rehab.steps.strategy.rules import OPERATORS, Limit, Rule

Floats = npt.NDArray[np.float64]


def explain(rules: list[Rule], values: Mapping[str, Floats], fired: npt.NDArray[np.bool_],
            first: npt.NDArray[np.int64], assumptions: Assumptions) -> npt.NDArray[np.object_]:
    """One text per row: the deciding rule first, then the others that fired; the catch-all only where alone.

    Before them all stands between what the engineer decides, where that is so.  ``fired`` has a row per block and a
    column per rule, ``first`` the number of the deciding rule.
    """
    parts: list[list[str]] = [[f"engineer decides between {IN_WORDS[rules[number].strategy]} and "
                               f"{IN_WORDS[rules[number].also]}"] if rules[number].engineer else [] for number in first]
    last = len(rules) - 1
    for number, rule in enumerate(rules):
        at = np.flatnonzero(fired[:, number] & ((number < last) | (first == last)))
        texts = [_texts(limit, values[limit.measure][at], assumptions) for limit in rule.limits]
        # Rules are parted by a bar, the rows of one rule by a blank: their words carry the 'and'.
        for position, pieces in zip(at, zip(*texts, strict=True), strict=True):
            parts[position].append(" ".join(pieces))
    return np.array([" | ".join(texts) for texts in parts], object)


def _texts(limit: Limit, values: Floats, assumptions: Assumptions) -> list[str]:
    threshold = _exact(limit)
    cited = (f"{OPERATORS[limit.operator][1]} {_with_unit(threshold, limit.unit)}; "
             f"{assumptions.citation('decision_rules', limit.key)}")
    return [f"{limit.words}: {_with_unit(_beside(value, limit, threshold), limit.unit)} ({cited})"
            for value in values.tolist()]


def _exact(limit: Limit) -> str:
    """The limit with all its digits; shares in percent."""
    shown = _shown(limit.threshold, limit.unit)
    return next((text for text in _longer_and_longer(shown)
                 if math.isclose(_read(text), shown, rel_tol=1e-12, abs_tol=1e-12)), repr(shown))


def _beside(value: float, limit: Limit, threshold: str) -> str:
    """A value with three digits, or as many as it takes to lie where it lies: 39.99 is not 40 beside a limit of 40."""
    shown, bound = _shown(value, limit.unit), _shown(limit.threshold, limit.unit)
    return next((text for text in _longer_and_longer(shown)
                 if _side(_read(text), _read(threshold)) == _side(shown, bound)), repr(shown))


def _side(value: float, bound: float) -> int:
    return (value > bound) - (value < bound)


def _longer_and_longer(shown: float) -> Iterator[str]:
    """A number with three significant digits, four and so on; never fewer than its whole ones, no zeros at the end."""
    whole = math.floor(math.log10(abs(shown))) + 1 if shown else 1
    for digits in range(3, 16):
        text = f"{shown:,.{max(digits - whole, 0)}f}"
        yield text.rstrip("0").rstrip(".") if "." in text else text


def _shown(value: float, unit: str) -> float:
    return 100 * value if unit == "share" else value


def _read(text: str) -> float:
    return float(text.replace(",", ""))


def _with_unit(figure: str, unit: str) -> str:
    if unit == "share":
        return f"{figure} %"
    if unit == "level":
        return f"level {figure} of 3"
    several = "panels" if unit == "count" else unit
    return f"{figure} {several.removesuffix('s') if figure == '1' else several}"
