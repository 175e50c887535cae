"""Needs and rules to strategies: partial depth, full depth, reconstruction or none yet, with reasons.

The rules are rows of ``decision_rules``: a measure, an operator and a threshold.  Rows of one rule_id hold
together (AND); the rule of the lowest priority number that fires decides; the last one always fires.
"""

from __future__ import annotations

import operator
from collections.abc import Callable, Mapping
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.errors import BadAssumption
from rehab.base.settings import Assumptions, Override
from rehab.base.tables import STRATEGIES

Flags = npt.NDArray[np.bool_]
_OPERATORS: Final[Mapping[str, tuple[Callable[[Any, Any], Any], str]]] = {
    ">": (operator.gt, "over"), ">=": (operator.ge, "at least"),
    "<": (operator.lt, "below"), "<=": (operator.le, "at most"),
}


def sort(network: pd.DataFrame, needs: pd.DataFrame, assumptions: Assumptions, *, explain: bool = True) -> pd.DataFrame:
    """The table ``strategies`` for the rows of ``needs``; ``network`` has the same rows in the same order.

    With ``explain`` the reasons name every rule that fired, with its value, limit and source; without, they stay
    empty, which is faster for many forecast years.  Raises :class:`BadAssumption` for a rule that names an
    unknown measure, operator or strategy, or when no rule catches all blocks.
    """
    rules = assumptions.table("decision_rules")
    measures = needs.assign(partial_depth_share=(needs["partial_depth_in"] / network["thickness_in"].to_numpy(float)))
    fired = {rule_id: _fires(rows, measures) for rule_id, rows in _ordered(rules)}
    first = np.argmax(np.column_stack(list(fired.values())), axis=1)
    if not np.column_stack(list(fired.values())).any(axis=1).all():
        raise BadAssumption("decision_rules: the last rule must hold for every block")
    heads = [rows.iloc[0] for _, rows in _ordered(rules)]
    chosen = np.array([head["strategy"] for head in heads])[first]
    adequate = np.array(["; ".join(filter(None, (head["strategy"], head["also"]))) for head in heads])[first]
    reasons = _explain(rules, measures, fired, first, assumptions) if explain else np.full(len(needs), "", object)
    return pd.DataFrame({
        "block_id": needs["block_id"].to_numpy(), "year": needs["year"].to_numpy(), "strategy": chosen,
        "reasons": reasons, "alternatives": adequate, "overridden": False, "estimated": needs["estimated"].to_numpy(),
    }).astype({"strategy": "str", "reasons": "str", "alternatives": "str",
               "overridden": "boolean", "estimated": "boolean"})


def adequate(strategies: pd.DataFrame) -> dict[str, Flags]:
    """For each strategy of work, whether it is adequate in each row."""
    lists = strategies["alternatives"].str.split("; ")
    return {name: lists.map(lambda names, name=name: name in names).to_numpy(bool) for name in STRATEGIES[1:]}


def override(strategies: pd.DataFrame, overrides: tuple[Override, ...]) -> pd.DataFrame:
    """The strategies with the engineer's own laid over them; the reason given and the rule replaced are both kept."""
    if not overrides:
        return strategies
    by_block = {item.block_id: item for item in overrides}
    mask = strategies["block_id"].isin(by_block.keys())
    hit = strategies.loc[mask, "block_id"].map(by_block)
    result = strategies.copy()
    result.loc[mask, "reasons"] = [
        f"set by the engineer: {item.reason} | the rules say {rule.replace('_', ' ')}: {why}" if why
        else f"set by the engineer: {item.reason}"
        for item, rule, why in zip(hit, strategies.loc[mask, "strategy"], strategies.loc[mask, "reasons"], strict=True)]
    for column in ("strategy", "alternatives"):
        result.loc[mask, column] = [item.strategy for item in hit]
    result.loc[mask, "overridden"] = True
    return result


def _ordered(rules: pd.DataFrame) -> list[tuple[str, pd.DataFrame]]:
    order = rules.assign(priority=pd.to_numeric(rules["priority"])).sort_values("priority", kind="stable")
    return [(str(name), rows) for name, rows in order.groupby("rule_id", sort=False)]


def _fires(rows: pd.DataFrame, measures: pd.DataFrame) -> Flags:
    """Whether every row of a rule holds; a measure that is missing does not fire a rule."""
    holds = np.ones(len(measures), bool)
    for row in rows.itertuples():
        if row.measure not in measures.columns:
            raise BadAssumption(f"decision_rules: '{row.Index}' names the unknown measure '{row.measure}'")
        if row.operator not in _OPERATORS:
            raise BadAssumption(f"decision_rules: '{row.Index}' has the unknown operator '{row.operator}'")
        unknown = [name for name in (row.strategy, *filter(None, [row.also])) if name not in STRATEGIES]
        if unknown:
            raise BadAssumption(f"decision_rules: '{row.Index}' names the unknown strategy '{unknown[0]}'")
        compare = _OPERATORS[str(row.operator)][0]
        holds &= compare(measures[str(row.measure)].to_numpy(float), float(str(row.value)))
    return holds


def _explain(rules: pd.DataFrame, measures: pd.DataFrame, fired: dict[str, Flags], first: npt.NDArray[np.int64],
             assumptions: Assumptions) -> npt.NDArray[np.object_]:
    """One text per row: the deciding rule first, then the others that fired; the catch-all only where alone."""
    parts: list[list[str]] = [[] for _ in range(len(measures))]
    last = len(fired) - 1
    for number, (rule_id, rows) in enumerate(_ordered(rules)):
        shown = fired[rule_id] if number < last else fired[rule_id] & (first == last)
        at = np.flatnonzero(shown)
        texts = [_texts(row, measures.iloc[at], assumptions) for _, row in rows.iterrows()]
        # Rules are parted by a bar, the rows of one rule by a blank: their words carry the 'and'.
        for position, pieces in zip(at, zip(*texts, strict=True), strict=True):
            parts[position].append(" ".join(pieces))
    return np.array([" | ".join(texts) for texts in parts], object)


def _texts(row: pd.Series, measures: pd.DataFrame, assumptions: Assumptions) -> list[str]:
    limit, unit = float(row["value"]), str(row["unit"])
    words = _OPERATORS[str(row["operator"])][1]
    cited = f"{words} {_figure(limit, unit)}; {assumptions.citation('decision_rules', str(row.name))}"
    return [f"{row['words']}: {_figure(value, unit)} ({cited})" for value in measures[str(row["measure"])]]


def _figure(value: float, unit: str) -> str:
    if unit == "share":
        return f"{100 * value:.3g} %"
    if unit == "level":
        return f"level {value:.0f} of 3"
    return f"{value:.3g} {'panels' if unit == 'count' else unit}"
