"""What a block's forecast leaves open: bands around its paths, its lives with their intervals, and the why in words.

Each draw has its family's lives, its block's own multipliers and single panels; 80 % of the draws lie within a band.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import pandas as pd

from rehab.base import tables
from rehab.base.settings import Assumptions
from rehab.base.survival import median
from rehab.base.tables import IN_WORDS, STRATEGIES, WORK
from rehab.plan import results
from rehab.plan.model import Plan, Prepared
from rehab.steps import forecast

_BAND: Final = (10, 50, 90)
_SEED: Final = 1


def with_bands(plan: Plan, paths: pd.DataFrame, draws: int = 400) -> pd.DataFrame:
    """Paths of one block (``answers.block_forecast``) with columns NAME_low and NAME_high: 10 and 90 %.

    NAME is index, partial and full.
    """
    prepared = plan.prepared
    rng = np.random.default_rng(_SEED)
    row = prepared.row(str(paths["block_id"].iloc[0]))
    drawn = forecast.multiples(prepared.ageing, np.array([row]), draws, prepared.assumptions, rng)
    count = int(prepared.network["panels"].iloc[row])
    chance = forecast.Chance(np.full(draws, max(count, 1)), rng)
    years = int(paths["year"].nunique())
    varied = forecast.vary(prepared.ageing, np.full(draws, row), drawn.shallow[:, 0], drawn.deep[:, 0],
                           prepared.assumptions, years, drawn.patch, drawn.panel)
    found = []
    for name, rows in paths.groupby("path", sort=False):
        kind = str(rows["strategy"].iloc[0])
        block, steps, kinds, then = np.arange(draws), np.zeros(draws, np.int64), np.full(draws, kind), []
        if name == "program":
            planned = plan.program[plan.program["block_id"] == rows["block_id"].iloc[0]]
            steps += int(planned["year"].iloc[0]) - prepared.start_year
            again = results.second_works(planned, prepared.start_year)
            then = [forecast.Work(np.full(draws, again.step), np.full(draws, again.strategy))]
        _, partial, full = forecast.treated(varied, block, steps, kinds, years, then, chance)
        index = forecast.treated_index(varied, block, steps, kinds, partial, full, prepared.assumptions)
        bands = {f"{what}_{end}": np.percentile(path, at, axis=0) for what, path in (
            ("index", index), ("partial", partial), ("full", full)) for end, at in (("low", 10), ("high", 90))}
        found.append(rows.sort_values("year").assign(**bands))
    return pd.concat(found, ignore_index=True)


def block_lives(prepared: Prepared, block_id: str, draws: int = 400) -> pd.DataFrame:
    """The table ``lives`` of one block: every adequate strategy done in the first year, and none."""
    row = prepared.row(block_id)
    listed = str(prepared.strategies["alternatives"].iloc[row]).split("; ")
    names = [name for name in STRATEGIES if name == "none" or name in listed]
    rows = np.full(len(names), row)
    without, with_work = _drawn(prepared, rows, np.array(names), draws)
    return _lives([block_id] * len(names), names, without, with_work, _added(prepared, rows, np.array(names), draws))


def lives_by_strategy(prepared: Prepared, draws: int = 20) -> pd.DataFrame:
    """Years of life that today's strategy adds, over the blocks that have it and the draws.

    Columns strategy, blocks, low_yr, median_yr, high_yr (10, 50, 90 %); strategies that no block has are left out.
    """
    chosen = prepared.strategies["strategy"]
    rows = np.flatnonzero((chosen != "none").to_numpy())
    kinds = chosen.to_numpy(object)[rows].astype(str)
    added = _added(prepared, rows, kinds, draws)
    found = []
    for name in WORK:
        if (kinds == name).any():
            low, middle, high = np.percentile(added[:, kinds == name], _BAND)
            found.append({"strategy": name, "blocks": int((kinds == name).sum()), "low_yr": low, "median_yr": middle,
                          "high_yr": high})
    return pd.DataFrame(found, columns=["strategy", "blocks", "low_yr", "median_yr", "high_yr"])


def explain(prepared: Prepared, block_id: str) -> tuple[str, str, str]:
    """The forecast of a block in three sentences: its family, what its own survey makes of it, what follows."""
    row = prepared.row(block_id)
    city, used = prepared.network.iloc[[row]], prepared.assumptions
    line, need = city.iloc[0], prepared.needs.iloc[row]
    curve = forecast.families(city, used).iloc[0]
    half = [float(median(curve[f"{kind}_scale"], curve[f"{kind}_shape"])) for kind in ("shallow", "deep")]
    family = (f"In its family ({line['family']}) half of the panels have damage at joints or cracks after "
              f"{half[0]:.0f} years and, were it not for that damage, half are broken or settled after {half[1]:.0f}.")
    return family, _own(prepared, row, line, need, city, used), _ahead(prepared, block_id, line, need, used)


def _own(prepared: Prepared, row: int, line: pd.Series, need: pd.Series, city: pd.DataFrame,
         used: Assumptions) -> str:
    curve = forecast.block_curves(city, prepared.needs.iloc[[row]], used).iloc[0]
    usual = forecast.usual_shares(city, used).iloc[0]
    panels = float(line["panels"])
    factors = [(float(curve[f"{kind}_factor"]), float(curve[f"{kind}_sd"])) for kind in ("shallow", "deep")]
    said = [f"{value:.2f} times (80 % interval {value * np.exp(-1.2816 * sd):.2f} to {value * np.exp(1.2816 * sd):.2f})"
            for value, sd in factors]
    seen = {"panel survey": "The panel survey found", "counts": "The survey counted"}.get(
        str(line["condition_source"]), "Its rating stands for")
    age = "of unknown age, taken as" if "age_yr" in str(line["assumed"]).split("; ") else "at"
    counts = [f"{panels * shares[f'{kind}_share']:.1f}" for shares in (need, usual) for kind in ("partial", "full")]
    return (f"{seen} {counts[0]} panels with shallow and {counts[1]} with deep damage of {panels:.0f}, {age} "
            f"{line['age_yr']:.0f} years, where a usual block of its family would have {counts[2]} and {counts[3]}; so "
            f"its panels are taken to fail {said[0]} as fast at joints and cracks, and {said[1]} as fast in depth.")


def _ahead(prepared: Prepared, block_id: str, line: pd.Series, need: pd.Series, used: Assumptions) -> str:
    trigger = used.number("economics", f"trigger.{line['functional_class']}")
    lives = block_lives(prepared, block_id).set_index("strategy")
    longest = used.number("economics", "longest_life_yr")

    def years(name: str, what: str) -> str:
        low, middle, high = (float(lives[f"{what}_{end}yr"].loc[name]) for end in ("low_", "", "high_"))
        return f"{_life(middle, longest)} (80 % interval {low:.0f} to {_life(high, longest)})"

    if float(lives["treated_high_yr"].loc["none"]) > 0:
        said = (f"Without work the index, {need['index']:.0f} at the survey, falls to {trigger:.0f}, where major work "
                f"is due, in {years('none', 'treated')} years from {prepared.start_year}")
    else:
        said = (f"Without work the index, {need['index']:.0f} at the survey, is at {trigger:.0f} or below in "
                f"{prepared.start_year}: major work is due")
    for name in (name for name in WORK if name in lives.index):
        said += (f"; with {IN_WORDS[name]} then, in "
                 f"{years(name, 'treated')} years, {years(name, 'added')} more")
    return said + "."


def _life(years: float, longest: float) -> str:
    return f"over {longest:.0f}" if years >= longest else f"{years:.0f}"


def _drawn(prepared: Prepared, rows: np.ndarray, kinds: np.ndarray, draws: int) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(_SEED)
    drawn = forecast.multiples(prepared.ageing, rows, draws, prepared.assumptions, rng)
    return forecast.drawn_lives(prepared.network, prepared.ageing, rows, kinds, drawn, rng, prepared.assumptions)


def _added(prepared: Prepared, rows: np.ndarray, kinds: np.ndarray, draws: int) -> np.ndarray:
    """Years that the work adds, by the expected shares of each draw: lives of single panels would differ by chance."""
    drawn = forecast.multiples(prepared.ageing, rows, draws, prepared.assumptions, np.random.default_rng(_SEED))
    without, with_work = forecast.drawn_lives(prepared.network, prepared.ageing, rows, kinds, drawn, None,
                                              prepared.assumptions)
    return np.maximum(with_work - without, 0.0)


def _lives(blocks: list[str], names: Sequence[str], without: np.ndarray, with_work: np.ndarray,
           added: np.ndarray) -> pd.DataFrame:
    found = {f"{what}_{end}yr": np.percentile(path, at, axis=0) for what, path in (
        ("untreated", without), ("treated", with_work), ("added", added))
        for end, at in (("low_", 10), ("", 50), ("high_", 90))}
    return tables.check("lives", tables.with_types("lives", pd.DataFrame(
        {"block_id": blocks, "strategy": names, **found}).sort_values(["block_id", "strategy"], ignore_index=True)))
