"""Plans known before: which of them a changed budget may begin with, and when one is beaten by one of less money."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from rehab.base.settings import Scenario
from rehab.plan.model import Plan
from rehab.steps.program.limits import purse


def worth_knowing(asked: Scenario, plans: Iterable[Plan], most: int = 3) -> list[Plan]:
    """The plans of the most benefit that ask the same with no more money in any year and fund, the best first."""
    found = [made for made in plans if _with_less(made.scenario, asked)]
    return sorted(found, key=lambda made: -made.chosen.value)[:most]


def beaten(plan: Plan, plans: Iterable[Plan]) -> bool:
    """Whether a plan that asks the same with no more money has more benefit."""
    best = worth_knowing(plan.scenario, plans, 1)
    return bool(best) and best[0].chosen.value > plan.chosen.value * (1 + 1e-12)


def same_shape(one: Scenario, other: Scenario) -> bool:
    """Whether two scenarios ask the same and their money differs by one factor over all years and funds."""
    if not same_question(one, other):
        return False
    first, second = purse(one), purse(other)
    whole = first.sum(), second.sum()
    return bool(min(whole) > 0 and np.allclose(first / whole[0], second / whole[1], rtol=1e-9, atol=1e-12))


def under(plan: Plan, asked: Scenario) -> Plan:
    """The same program as the answer to a scenario that differs from the plan's by its name alone."""
    if replace(plan.scenario, name=asked.name) != asked:
        raise ValueError(f"the plan '{plan.scenario.name}' is no answer to '{asked.name}'")
    prints = {**plan.summary["fingerprints"], "scenario": asked.fingerprint()}
    return replace(plan, scenario=asked, summary={**plan.summary, "scenario": asked.name, "fingerprints": prints})


def same_question(one: Scenario, other: Scenario) -> bool:
    """Whether two scenarios differ in nothing but how much money each year and fund has."""
    return [fund.name for fund in one.funds] == [fund.name for fund in other.funds] and \
        len(one.budgets_usd) == len(other.budgets_usd) and replace(
            one, budgets_usd=other.budgets_usd, funds=tuple(
                replace(mine, budgets_usd=its.budgets_usd) for mine, its in zip(one.funds, other.funds, strict=True))
        ) == other


def _with_less(one: Scenario, other: Scenario) -> bool:
    return one.choice == other.choice == "best" and same_question(one, other) and bool(
        (purse(one) <= purse(other) + 1e-9).all())
