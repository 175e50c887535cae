"""What calls for a work, as the deciding rule sees it, for whoever lives there: '12 of 40 panels are broken'."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.tables import STRATEGIES
from rehab.plan.brief import say
from rehab.plan.model import Prepared
from rehab.steps import estimate, strategy, takeoff
from rehab.steps.strategy.rules import Limit, Rule, fires, measured, read

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


class Seen(NamedTuple):
    """One block in one year: panels it has, and whether what is told of it is estimated or expected."""

    panels: float
    estimated: bool
    expected: bool


class Told(NamedTuple):
    """What is so: a subject, whether it is one thing, and what it is."""

    subject: str
    one: bool
    state: str


def _panels(state: str) -> Callable[[float, Limit, Seen], Told]:
    """Panels by their count."""
    def tell(value: float, _: Limit, seen: Seen) -> Told:
        return _of_panels(value, state, seen)
    return tell


def _panel_share(state: str) -> Callable[[float, Limit, Seen], Told]:
    """Panels by their share."""
    def tell(value: float, _: Limit, seen: Seen) -> Told:
        return _of_panels(value * seen.panels, state, seen)
    return tell


def _of_panels(value: float, state: str, seen: Seen) -> Told:
    count = round(value)
    if count < 1:
        return Told("part of a panel", True, state)
    if seen.panels <= 1:
        return Told("its only panel", True, state)
    return Told(f"{_guess(seen)}{count:,} of {seen.panels:,.0f} panels", count == 1, state)


def _share_of(what: str, state: str) -> Callable[[float, Limit, Seen], Told]:
    def tell(value: float, _: Limit, seen: Seen) -> Told:
        return Told(f"{_guess(seen)}{say.share(min(value, 1.0))} of the {what}", what in ("curb", "area"), state)
    return tell


def _feet(what: str, state: str) -> Callable[[float, Limit, Seen], Told]:
    def tell(value: float, _: Limit, seen: Seen) -> Told:
        return Told(f"{_guess(seen)}{max(round(value), 1):,} ft of {what}", False, state)
    return tell


def _plain(subject: str, one: bool, state: str, scale: float = 1.0) -> Callable[[float, Limit, Seen], Told]:
    """A measure as it is; the state holds '{value}' and '{limit}' where they are told."""
    def tell(value: float, limit: Limit, _: Seen) -> Told:
        return Told(subject, one, state.format(value=say.number(scale * value, 2 if value < 1 < 2 * scale else 0),
                                               limit=say.number(scale * limit.threshold, 2 if scale == 1 else 0)))
    return tell


def _steps(value: float, _: Limit, seen: Seen) -> Told:
    return Told("the steps between panels", False, f"{_guess(seen)}{value:.2f} in high on average")


def _index(value: float, limit: Limit, _: Seen) -> Told:
    return Told("the condition", True, f"at {_beside(value, limit.threshold)} of 100 points (the limit is "
                f"{say.number(limit.threshold)})")


def _beside(value: float, limit: float) -> str:
    """A value with as many digits as it takes to lie below its limit."""
    return next((text for digits in range(4) if float((text := f"{value:.{digits}f}")) < limit), f"{value:.4f}")


def _guess(seen: Seen) -> str:
    return "about " if seen.expected else "an estimated " if seen.estimated else ""


#: measure of a rule -> how its value is told
TOLD: Final[dict[str, Callable[[float, Limit, Seen], Told]]] = {
    "panels_full": _panels("broken or sunken"), "full_share": _panel_share("broken or sunken"),
    "cracked_share": _panel_share("cracked"), "jack_panels": _panels("settled but whole"),
    "stabilise_panels": _panels("over hollow ground"), "grind_panels_share": _panel_share("stepped or polished smooth"),
    "partial_ft": _feet("joints and cracks", "crumbling"), "partial_share": _panel_share("crumbling at joints or "
                                                                                         "cracks"),
    "stitch_ft": _feet("cracks along the street", "running through good panels"),
    "curb_share": _share_of("curb", "sunken or broken"), "wide_joint_share": _share_of("joints", "open wide"),
    "replaced_share": _share_of("area", "to be replaced"), "faulting_in": _steps, "index": _index,
    "iri_in_per_mi": _plain("the ride", True, "rough, {value} inches of bumps in a mile"),
    "distress_level": _plain("the concrete itself", True, "decaying (level {value} of 3)"),
    "cost_ratio": _plain("repair", True, "at {value} % of the cost of building anew", 100.0),
    "box_outs": _plain("manhole or valve covers", False, "in need of new concrete around them ({value})"),
    "retrofit_bars": _plain("joints or cracks", False, "too weak to carry a wheel from panel to panel"),
}


class Causes(NamedTuple):
    """Rows of blocks in a year: the deciding rule of each, and the values of all measures, with what tells them."""

    rules: list[Rule]
    first: Ints
    values: dict[str, Floats]
    seen: list[Seen]

    def strategy(self, row: int) -> str:
        """What the rules decide in a row."""
        return str(self.rules[self.first[row]].strategy)

    def words(self, row: int, by: int | None = None) -> str:
        """What calls for the work of a row, with its verb; ``by``: the year in which it is expected."""
        told = self._told(row)
        return say.listed(dict.fromkeys(_clause(one, by) for one in told))

    def _told(self, row: int) -> list[Told]:
        limits = [limit for limit in self.rules[self.first[row]].limits
                  if not (limit.measure == "panels_full" and limit.operator.startswith("<"))]
        names = [limit.measure for limit in limits]
        found = [self._tell(row, limit) for limit in limits
                 if not (limit.measure == "panels_full" and len(limits) > 1 and "cost_ratio" not in names)]
        if names == ["index"] and self._held("panels_full", row) >= 1:
            found.insert(0, TOLD["panels_full"](self._held("panels_full", row), limits[0], self.seen[row]))
        return found

    def _tell(self, row: int, limit: Limit) -> Told:
        value = self._held(limit.measure, row)
        if limit.measure == "partial_share" and self._held("partial_ft", row) >= 1:
            return TOLD["partial_ft"](self._held("partial_ft", row), limit, self.seen[row])
        if limit.measure in TOLD:
            return TOLD[limit.measure](value, limit, self.seen[row])
        return Told("the rule", True, f"'{limit.words}' ({say.number(value, 2)})")

    def _held(self, measure: str, row: int) -> float:
        values = self.values.get(measure)
        return 0.0 if values is None or np.isnan(values[row]) else float(values[row])


def _clause(told: Told, by: int | None) -> str:
    be = "is" if told.one else "are"
    return f"{told.subject} {be} expected to be {told.state} by {by}" if by else f"{told.subject} {be} {told.state}"


def now(prepared: Prepared) -> Causes:
    """The causes by the last surveys, one row per block."""
    return prepared.once("brief causes now", lambda: _causes(
        prepared, np.arange(len(prepared.network)), prepared.needs, expected=False))


def then(prepared: Prepared, block: Ints, step: Ints) -> Causes:
    """The causes expected without work before, for rows of blocks and steps of the program."""
    rows = prepared.needs_by_year.iloc[block * prepared.years + step].reset_index(drop=True)
    return _causes(prepared, block, rows, expected=True)


def _causes(prepared: Prepared, block: Ints, needs: pd.DataFrame, *, expected: bool) -> Causes:
    used = prepared.assumptions
    network = prepared.network.iloc[block].reset_index(drop=True)
    needs = needs.reset_index(drop=True)
    detail = network["condition_source"].to_numpy()
    full, rebuilt = (estimate.price(takeoff.measure(network, needs, name, used), needs["year"], used, detail)[
        "likely_usd"].to_numpy(float) for name in ("full_depth", "reconstruction"))
    rules = read(used)
    values = measured(rules, network, needs, strategy.cost_measures(full, rebuilt))
    fired = np.column_stack([fires(rule, values, network) for rule in rules])
    values |= {name: needs[name].to_numpy(float) for name in ("panels_full", "partial_ft")}
    estimated = needs["estimated"].to_numpy(bool)
    return Causes(rules, fired.argmax(axis=1), values, [
        Seen(float(panels), bool(guess), expected)
        for panels, guess in zip(network["panels"], estimated, strict=True)])


def codes(causes: Causes) -> Ints:
    """What the rules decide in every row, as positions in STRATEGIES."""
    of_rule = np.array([STRATEGIES.index(rule.strategy) for rule in causes.rules])
    return np.asarray(of_rule[causes.first], np.int64)
