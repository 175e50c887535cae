"""The rows of ``decision_rules`` as rules: read and checked, measured, and tried on every block at once."""

from __future__ import annotations

import operator
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.errors import BadAssumption
from rehab.base.settings import Assumptions
from rehab.base.tables import CLASSES, STRATEGIES

Flags = npt.NDArray[np.bool_]
Floats = npt.NDArray[np.float64]
Row = dict[str, str]

OPERATORS: Final[Mapping[str, tuple[Callable[[Any, Any], Any], str]]] = {
    ">": (operator.gt, "over"), ">=": (operator.ge, "at least"),
    "<": (operator.lt, "below"), "<=": (operator.le, "at most"),
}
VERDICTS: Final = ("rule", "engineer decides")
#: measures that the caller may hand over; without them their rules do not fire
FROM_CALLER: Final = ("cost_ratio",)
_OPTIONAL: Final = ("verdict", "classes", "adt_from", "adt_below")


@dataclass(frozen=True)
class Limit:
    """One row: a measure against a threshold, on some classes of street and some traffic or on all.

    ``adt_from`` is within the traffic meant, ``adt_below`` is not; minus and plus infinity stand for no limit.
    """

    key: str
    measure: str
    operator: str
    threshold: float
    unit: str
    words: str
    classes: tuple[str, ...]
    adt_from: float
    adt_below: float


@dataclass(frozen=True)
class Rule:
    """The rows of one rule_id: all must hold."""

    name: str
    strategy: str
    also: str
    engineer: bool
    limits: tuple[Limit, ...]

    @property
    def adequate(self) -> list[str]:
        """The strategies that do, the one chosen first."""
        return [name for name in (self.strategy, self.also) if name]


def read(assumptions: Assumptions) -> list[Rule]:
    """The rules, those that decide before others first; the order of rows with one priority is that of the table.

    Raises :class:`BadAssumption` with the row for what it does not know: operator, strategy, class, verdict, or a
    limit that is not a number; and for rows of one rule that do not agree.
    """
    # Plain rows: a frame of thirty rows taken apart by pandas costs more than trying it on ten thousand blocks.
    columns = assumptions.table("decision_rules").reset_index(names="key").to_dict("list")
    rows: list[Row] = [dict.fromkeys(_OPTIONAL, "") | dict(zip(map(str, columns), map(str, cells), strict=True))
                       for cells in zip(*columns.values(), strict=True)]
    by_rule: dict[str, list[Row]] = {}
    for row in sorted(rows, key=lambda row: _number(row, "priority")):
        by_rule.setdefault(row["rule_id"], []).append(row)
    return [_rule(name, rows) for name, rows in by_rule.items()]


def measured(rules: list[Rule], network: pd.DataFrame, needs: pd.DataFrame,
             more: pd.DataFrame | None) -> dict[str, Floats]:
    """The measures that the rules name, one value per row of ``needs``.

    Beside the columns of ``needs`` and ``more``: ``replaced_share``, the area of full-depth repair as a share of the
    block's.
    """
    def column(limit: Limit) -> Floats:
        if limit.measure == "replaced_share":
            return _floats(needs, "full_sqyd") / _floats(network, "area_sqyd")
        for frame in (needs, more):
            if frame is not None and limit.measure in frame.columns:
                return _floats(frame, limit.measure)
        if limit.measure in FROM_CALLER:
            return np.full(len(needs), np.nan)
        raise BadAssumption(f"decision_rules: '{limit.key}' names the unknown measure '{limit.measure}'")

    return {limit.measure: column(limit) for rule in rules for limit in rule.limits}


def fires(rule: Rule, values: Mapping[str, Floats], network: pd.DataFrame) -> Flags:
    """Whether every row of a rule holds; a measure that is missing fires nothing.

    A block without traffic is taken as having the least: it is meant by rows that have no ``adt_from``.
    """
    holds = np.ones(len(network), bool)
    for limit in rule.limits:
        holds &= OPERATORS[limit.operator][0](values[limit.measure], limit.threshold)
    for classes in {limit.classes for limit in rule.limits if limit.classes}:
        holds &= network["functional_class"].isin(classes).to_numpy(bool)
    for low, high in {(limit.adt_from, limit.adt_below) for limit in rule.limits} - {(-np.inf, np.inf)}:
        adt = np.nan_to_num(_floats(network, "adt"), nan=-np.inf)
        holds &= (adt >= low) & (adt < high)
    return holds


def _rule(name: str, rows: list[Row]) -> Rule:
    head = rows[0]
    for column in ("strategy", "also", "verdict", "priority"):
        if any(row[column] != head[column] for row in rows):
            raise BadAssumption(f"decision_rules: the rows of '{name}' do not agree on '{column}'")
    strategy, also, verdict = head["strategy"], head["also"], head["verdict"] or VERDICTS[0]
    for word in (strategy, *filter(None, [also])):
        if word not in STRATEGIES:
            raise BadAssumption(f"decision_rules: '{head['key']}' names the unknown strategy '{word}'")
    if verdict not in VERDICTS:
        raise BadAssumption(f"decision_rules: '{head['key']}' has the unknown verdict '{verdict}'; it takes "
                            f"{' or '.join(VERDICTS)}")
    engineer = verdict != VERDICTS[0]
    if engineer and STRATEGIES.index(also or STRATEGIES[0]) <= STRATEGIES.index(strategy):
        raise BadAssumption(f"decision_rules: '{head['key']}' leaves the engineer nothing to decide; 'also' must name "
                            f"a heavier strategy than '{strategy}'")
    return Rule(name, strategy, also, engineer, tuple(_limit(row) for row in rows))


def _limit(row: Row) -> Limit:
    if row["operator"] not in OPERATORS:
        raise BadAssumption(f"decision_rules: '{row['key']}' has the unknown operator '{row['operator']}'")
    classes = tuple(filter(None, (name.strip() for name in row["classes"].split("|"))))
    for name in classes:
        if name not in CLASSES:
            raise BadAssumption(f"decision_rules: '{row['key']}' names the unknown class '{name}'; the classes are "
                                f"{', '.join(CLASSES)}")
    return Limit(row["key"], row["measure"], row["operator"], _number(row, "value"), row["unit"], row["words"],
                 classes, _number(row, "adt_from", "-inf"), _number(row, "adt_below", "inf"))


def _number(row: Row, column: str, empty: str = "") -> float:
    try:
        number = float(row[column] or empty)
    except ValueError as error:
        raise BadAssumption(f"decision_rules: '{row['key']}' has '{row[column]}' in '{column}', which is not a "
                            "number") from error
    if np.isnan(number):
        raise BadAssumption(f"decision_rules: '{row['key']}' has no number in '{column}'")
    return number


def _floats(frame: pd.DataFrame, name: str) -> Floats:
    return np.asarray(frame[name].to_numpy(float))
