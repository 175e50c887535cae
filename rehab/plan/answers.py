"""Questions put to a plan: the council's set of scenarios, and the paths of single blocks."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
import pandas as pd

from rehab.base.settings import Choice, Scenario
from rehab.base.tables import WORK
from rehab.plan import results
from rehab.plan.model import Plan, Prepared
from rehab.steps import forecast, strategy

#: the simple rules beside the best program, by the names of their scenarios
SIMPLE_RULES: Final[dict[str, Choice]] = {
    "Worst first": "worst first", "Best benefit-cost ratio": "benefit-cost ratio",
    "Incremental benefit-cost": "incremental benefit-cost"}


def standard_scenarios(own: Scenario) -> list[Scenario]:
    """The set a council sees beside the engineer's own, which is the last: no work, and the same money in four ways.

    The others are without what was set by hand, and without aims of condition, which simple rules know nothing of;
    funds and the limits of money, crews and districts stay.
    """
    plain = replace(own, overrides=(), forced=(), kept_out=(), closed=(), targets=(), cleared_by=None)
    return [replace(plain, name="No work", choice="no work"), replace(plain, name="Current budget", choice="best"),
            *(replace(plain, name=name, choice=rule) for name, rule in SIMPLE_RULES.items()), own]


def block_forecast(plan: Plan, block_id: str, years: int = 30) -> pd.DataFrame:
    """The table ``forecast`` of one block: untreated, each strategy done in the first year, and the program's.

    Rows of the program carry the strategy of the program from the year of work on, in the column ``path``:
    'no work', 'now: STRATEGY' or 'program'.
    """
    prepared = plan.prepared
    row = prepared.row(block_id)
    paths: list[tuple[str, str, int]] = [("no work", "none", 0)]
    listed = str(plan.strategies["alternatives"].iloc[row]).split("; ")
    paths += [(f"now: {name}", name, 0) for name in listed if name != "none"]
    planned = plan.program[plan.program["block_id"] == block_id]
    once = len(paths)
    if len(planned):
        paths.append(("program", str(planned["strategy"].iloc[0]), int(planned["year"].iloc[0]) - prepared.start_year))
    again = results.second_works(planned, prepared.start_year)
    then = forecast.Work(np.append(np.full(once, -1), again.step), np.append(np.full(once, "none"), again.strategy))
    block, step = np.full(len(paths), row), np.array([path[2] for path in paths])
    names = np.array([path[1] for path in paths])
    sound, partial, full = forecast.treated(prepared.ageing, block, step, names, years, (then,))
    index = forecast.treated_index(prepared.ageing, block, step, names, partial, full, prepared.assumptions)
    return pd.DataFrame({
        "block_id": block_id, "year": np.tile(prepared.start_year + np.arange(years), len(paths)),
        "strategy": np.repeat(names, years), "sound_share": sound.ravel(), "partial_share": partial.ravel(),
        "full_share": full.ravel(), "index": index.ravel(), "path": np.repeat([path[0] for path in paths], years)})


def treated_now(prepared: Prepared) -> pd.DataFrame:
    """The table ``forecast`` after each adequate strategy done in the first year, over the years of the program."""
    parts = [prepared.forecast]
    listed = strategy.adequate(prepared.strategies)
    for name in WORK:
        block = np.flatnonzero(listed[name])
        step, names = np.zeros(len(block), np.int64), np.full(len(block), name)
        sound, partial, full = forecast.treated(prepared.ageing, block, step, names, prepared.years)
        index = forecast.treated_index(prepared.ageing, block, step, names, partial, full, prepared.assumptions)
        parts.append(pd.DataFrame({
            "block_id": np.repeat(prepared.network["block_id"].to_numpy()[block], prepared.years),
            "year": np.tile(prepared.start_year + np.arange(prepared.years), len(block)), "strategy": name,
            "sound_share": sound.ravel(), "partial_share": partial.ravel(), "full_share": full.ravel(),
            "index": index.ravel()}))
    return pd.concat(parts, ignore_index=True).sort_values(["block_id", "year", "strategy"], ignore_index=True)
