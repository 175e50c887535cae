"""Needs and rules to strategies: partial depth, full depth, reconstruction or none yet, with reasons.

The rules are rows of ``decision_rules``: a measure, an operator and a threshold, for some classes of street and some
traffic or for all.  Rows of one rule_id hold together (AND); of the rules that fire, the one of the lowest priority
number decides; the last one always fires.  Between published limits the deciding rule says that the engineer decides.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.errors import BadAssumption
from rehab.base.settings import Assumptions, Override
from rehab.base.tables import STRATEGIES
from rehab.steps.strategy.companion_work import companions
from rehab.steps.strategy.reasons import explain as _reasons
from rehab.steps.strategy.rules import fires, measured, read

__all__ = ["adequate", "cost_measures", "curb_ramp_note", "override", "sort"]

Flags = npt.NDArray[np.bool_]
_DUTIES = ("alteration", "review", "maintenance", "none")


def sort(network: pd.DataFrame, needs: pd.DataFrame, assumptions: Assumptions, *, measures: pd.DataFrame | None = None,
         explain: bool = True) -> pd.DataFrame:
    """The table ``strategies`` for the rows of ``needs``; ``network`` has the same rows in the same order.

    ``measures`` holds further measures for the same rows, in the same order, such as ``cost_ratio``: the cost of
    full-depth repair as a share of the cost of reconstruction.  A measure that is missing in a row fires no rule.
    With ``explain`` the reasons name every rule that fired, with its value, limit and source; without, they stay
    empty, which is faster for many forecast years.  Raises :class:`BadAssumption` for a rule that names an
    unknown measure, operator, strategy, class or verdict, or when no rule catches all blocks.
    """
    rules = read(assumptions)
    values = measured(rules, network, needs, measures)
    fired = np.column_stack([fires(rule, values, network) for rule in rules])
    if not fired.any(axis=1).all():
        raise BadAssumption("decision_rules: the last rule must hold for every block")
    first = fired.argmax(axis=1)
    chosen = np.array([STRATEGIES.index(rule.strategy) for rule in rules])[first]
    reasons = (pd.Series(_reasons(rules, values, fired, first, assumptions), dtype="str") if explain
               else _texts([""], np.zeros(len(needs), np.int64)))
    return pd.DataFrame({
        "block_id": needs["block_id"].to_numpy(), "year": needs["year"].to_numpy(),
        "strategy": _texts(STRATEGIES, chosen), "reasons": reasons,
        "alternatives": _texts(["; ".join(rule.adequate) for rule in rules], first),
        "companions": companions(chosen, needs),
        "curb_ramps": _texts(_curb_ramps(assumptions), chosen),
        "engineer_decides": np.array([rule.engineer for rule in rules])[first],
        "overridden": False, "estimated": needs["estimated"].to_numpy(),
    }).astype({"engineer_decides": "boolean", "overridden": "boolean", "estimated": "boolean"})


def cost_measures(full_usd: npt.NDArray[np.float64], rebuilt_usd: npt.NDArray[np.float64]) -> pd.DataFrame:
    """What the rules ask beside the needs: the cost of full-depth repair as a share of that of reconstruction."""
    return pd.DataFrame({"cost_ratio": np.divide(full_usd, rebuilt_usd, out=np.full(len(rebuilt_usd), np.nan),
                                                 where=rebuilt_usd > 0)})


def adequate(strategies: pd.DataFrame) -> dict[str, Flags]:
    """For each strategy of work, whether it is adequate in each row."""
    codes, texts = pd.factorize(strategies["alternatives"])
    listed = [str(text).split("; ") for text in texts]
    return {name: np.array([name in names for names in listed], bool)[codes] for name in STRATEGIES[1:]}


def override(strategies: pd.DataFrame, overrides: tuple[Override, ...], needs: pd.DataFrame,
             assumptions: Assumptions) -> pd.DataFrame:
    """The strategies with the engineer's own laid over them; the reason given and the rule replaced are both kept.

    ``needs`` has the rows of ``strategies`` in the same order: companion work follows the new strategy, and so does
    the duty to build curb ramps.  What the engineer has set is no longer the engineer's to decide.
    """
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
    chosen = np.array([STRATEGIES.index(item.strategy) for item in hit], np.int64)
    result.loc[mask, "companions"] = companions(chosen, needs[mask.to_numpy()]).tolist()
    result.loc[mask, "curb_ramps"] = np.array(_curb_ramps(assumptions), object)[chosen]
    result.loc[mask, "engineer_decides"] = False
    result.loc[mask, "overridden"] = True
    return result


def curb_ramp_note(strategy: str, assumptions: Assumptions) -> str:
    """The duty to build curb ramps that a strategy brings, in words, with its source and who decides.

    Raises :class:`BadAssumption` when the table ``curb_ramps`` lacks the strategy or holds another word than
    alteration, review, maintenance or none.
    """
    duty = _curb_ramps(assumptions)[STRATEGIES.index(strategy)]
    words = assumptions.table("curb_ramps").at[strategy, "words"]
    cited = assumptions.citation("curb_ramps", strategy)
    return f"{duty}: {words!s} ({cited}). {assumptions.text('curb_ramps', 'counsel')}"


def _curb_ramps(assumptions: Assumptions) -> list[str]:
    """The duty of each strategy, in the order of :data:`STRATEGIES`."""
    duties = [assumptions.text("curb_ramps", name) for name in STRATEGIES]
    for name, duty in zip(STRATEGIES, duties, strict=True):
        if duty not in _DUTIES:
            raise BadAssumption(f"curb_ramps: '{duty}' for '{name}' is not one of {', '.join(_DUTIES)}")
    return duties


def _texts(words: list[str] | tuple[str, ...], codes: npt.NDArray[np.int64]) -> pd.Series:
    """One of a few words per row; taking from an array of texts is faster than turning objects into texts."""
    return pd.Series(pd.array(list(words), dtype="str").take(codes))
