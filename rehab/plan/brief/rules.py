"""The rules that say what a block needs: in the words of their table, and for whoever does not know the trade."""

from __future__ import annotations

from typing import Final

import numpy as np

from rehab.plan.brief import say
from rehab.steps.strategy.rules import OPERATORS, Limit, Rule

_CLASSES: Final = {"arterial": "arterials", "collector": "collectors", "local": "local streets", "alley": "alleys"}
_COUNTS: Final = ("count", "castings", "bars", "panels")  #: what a number of things is a number of is said before it
_WHAT: Final = {
    "panels_full": "number of panels broken or sunken", "full_share": "panels broken or sunken",
    "index": "condition index", "curb_share": "curb sunken or broken",
    "cost_ratio": "cost of repair beside that of building anew",
    "box_outs": "number of manhole or valve covers that need new concrete around them",
    "partial_share": "panels with crumbling joints or cracks", "cracked_share": "panels cracked",
    "distress_level": "decay of the concrete itself", "replaced_share": "area to be replaced",
    "faulting_in": "mean step between panels", "retrofit_bars": "number of steel bars that weak joints need",
    "jack_panels": "number of panels settled but whole", "stabilise_panels": "number of panels over hollow ground",
    "stitch_ft": "cracks along the street", "wide_joint_share": "joints open wide",
    "grind_panels_share": "panels stepped or polished smooth", "iri_in_per_mi": "bumps",
}


def rule_words(rule: Rule) -> str:
    """A rule in the words of its table, with its limits, the streets and the traffic that it is meant for."""
    if _last(rule):
        return rule.limits[0].words
    return " ".join(f"{limit.words} ({_limit(limit)})" for limit in rule.limits) + _whom(rule)


def plain_words(rule: Rule) -> str:
    """The same in plain words: what is looked at, and its limit."""
    if _last(rule):
        return "none of these holds"
    return say.listed(f"{_WHAT.get(limit.measure, limit.words)} {_limit(limit)}" for limit in rule.limits) + _whom(rule)


def _last(rule: Rule) -> bool:
    """Whether a rule holds for every block."""
    return len(rule.limits) == 1 and rule.limits[0].measure == "index" and rule.limits[0].operator.startswith(">") \
        and rule.limits[0].threshold <= 0


def _whom(rule: Rule) -> str:
    """The streets and the traffic that a rule is meant for, where it is not meant for all."""
    head = rule.limits[0]
    parts = [say.listed(_CLASSES[name] for name in head.classes)] if head.classes else []
    low, high = head.adt_from, head.adt_below
    if low > 0 and high < np.inf:
        parts.append(f"{low:,.0f} to {high - 1:,.0f} vehicles a day")
    elif low > 0:
        parts.append(f"{low:,.0f} vehicles a day or more")
    elif high < np.inf:
        parts.append(f"fewer than {high:,.0f} vehicles a day")
    return f"; {', '.join(parts)}" if parts else ""


def _limit(limit: Limit) -> str:
    """A limit with its unit: 'over 50 %', 'at least level 2 of 3'."""
    words = OPERATORS[limit.operator][1]
    if limit.unit == "share":
        return f"{words} {say.number(100 * limit.threshold)} %"
    if limit.unit == "level":
        return f"{words} level {limit.threshold:.0f} of 3"
    return f"{words} {say.number(limit.threshold, 2)}{say.unit('' if limit.unit in _COUNTS else limit.unit)}"
