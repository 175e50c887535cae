"""Results of a plan as tables: quantities, costs, one line per block, one line per year, the summary."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base import tables
from rehab.base.settings import Assumptions, Scenario
from rehab.base.tables import STRATEGIES, WORK
from rehab.plan import saving, second
from rehab.plan.model import Prepared, Result
from rehab.steps import estimate, forecast, grinding, needs, program, takeoff

Floats = npt.NDArray[np.float64]

_MEASURES: Final = {
    "sound pavement": "sound pavement gained over the horizon, less what the dollars that waiting adds would have "
    "bought: discounted, traffic-weighted square-yard-years",
    "agency cost": "present worth of agency cost saved over the horizon, dollars of the first year"}


def rows_of(frame: pd.DataFrame, block_ids: pd.Series) -> pd.DataFrame:
    """The rows of a table with one row per block, in the order of ``block_ids``."""
    return frame.set_index("block_id", drop=False).loc[block_ids].reset_index(drop=True)


def quantities(prepared: Prepared, rows: pd.DataFrame) -> pd.DataFrame:
    """Quantities of program rows (block_id, year, strategy), from the needs of their year; same rows, same order."""
    at = pd.Index(prepared.network["block_id"]).get_indexer(rows["block_id"]) * prepared.years
    position = at + (rows["year"].to_numpy() - prepared.start_year)
    return _by_strategy(rows_of(prepared.network, rows["block_id"]),
                        prepared.needs_by_year.iloc[position].reset_index(drop=True), rows["strategy"],
                        prepared.assumptions)


def _by_strategy(city: pd.DataFrame, need: pd.DataFrame, chosen: pd.Series, assumptions: Assumptions) -> pd.DataFrame:
    parts = [takeoff.measure(city[at], need[at], name, assumptions).set_axis(np.flatnonzero(at))
             for name in STRATEGIES if (at := (chosen == name).to_numpy()).any()]
    return pd.concat(parts).sort_index() if parts else takeoff.measure(city, need, "none", assumptions)


def measure(prepared: Prepared, strategies: pd.DataFrame, table: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Quantities and costs of today's strategies, in the first year, and of the program, in its years.

    Where a block is worked on in the first year by today's strategy, the program's row stands alone: it rests on
    the condition expected by then.
    """
    of_today, usd_today = _today(prepared, strategies)
    planned = table[["block_id", "year", "strategy"]]
    of_program = quantities(prepared, planned)
    keys = pd.concat([usd_today[list(planned)], planned], ignore_index=True)
    wide = pd.concat([of_today, of_program], ignore_index=True)
    costs = pd.concat([usd_today, _priced(prepared, planned, of_program, "program")], ignore_index=True)
    keep = ~keys.duplicated(keep="last")
    listed = takeoff.as_list(keys[keep].reset_index(drop=True), wide[keep].reset_index(drop=True),
                                 prepared.assumptions)
    order = ["block_id", "year", "strategy"]
    return (listed.sort_values([*order, "pay_item"], ignore_index=True),
            costs.sort_values([*order, "basis"], ignore_index=True))


def _today(prepared: Prepared, strategies: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Quantities and costs of today's strategies in the first year, in the order of the network."""
    keys = strategies.assign(year=prepared.start_year)[["block_id", "year", "strategy"]]
    def make() -> tuple[pd.DataFrame, pd.DataFrame]:
        wide = _by_strategy(prepared.network, prepared.needs, keys["strategy"], prepared.assumptions)
        return wide, _priced(prepared, keys, wide, "today")
    return _of_rules(prepared, strategies, "measures today", make)


def _priced(prepared: Prepared, keys: pd.DataFrame, wide: pd.DataFrame, basis: str) -> pd.DataFrame:
    """Costs of rows (block_id, year, strategy) with their quantities."""
    detail = prepared.network.set_index("block_id")["condition_source"].loc[keys["block_id"]].to_numpy()
    return keys.join(estimate.price(wide, keys["year"], prepared.assumptions, detail)).assign(basis=basis)


def overview(prepared: Prepared, strategies: pd.DataFrame, table: pd.DataFrame) -> pd.DataFrame:
    """The table ``overview``: one line per block, today's strategy beside the program's (``table``)."""
    names = [item.name for item in tables.fields("overview")]
    planned = table.rename(columns={"year": "program_year", "strategy": "program_strategy",
                                    "cost_usd": "program_cost_usd"}).drop(columns="benefit")
    ground = planned["program_year"].where(planned["program_strategy"] != "reconstruction")
    lines = _of_rules(prepared, strategies, "lines today", lambda: _lines(prepared, strategies))
    merged = lines.merge(planned.assign(ground_year=ground), on="block_id", how="left")
    return tables.check("overview", tables.with_types("overview", merged[names]))


def _of_rules(prepared: Prepared, strategies: pd.DataFrame, key: str, make: Callable[[], Result]) -> Result:
    """What a budget does not change, made once for the strategies of the rules; anew where one was set by hand."""
    return prepared.once(key, make) if strategies is prepared.strategies else make()


def _lines(prepared: Prepared, strategies: pd.DataFrame) -> pd.DataFrame:
    """The part of the overview that no program changes."""
    lives = pd.concat(list(prepared.lives.values()), keys=prepared.lives.keys(), names=["strategy"]).reset_index()
    own = strategies[["block_id", "strategy", "reasons", "alternatives", "companions", "curb_ramps",
                      "engineer_decides", "estimated", "overridden"]]
    return (
        prepared.network.drop(columns="estimated")
        .merge(prepared.needs[["block_id", "index", "full_share", "partial_share"]], on="block_id")
        .merge(own, on="block_id")
        .merge(lives, on=["block_id", "strategy"])
        .merge(_today(prepared, strategies)[1].drop(columns=["year", "strategy", "basis"]), on="block_id")
    )


def second_works(program: pd.DataFrame, start_year: int) -> forecast.Work:
    """The second works of rows of a program's table; a step of -1 where there is none."""
    step = program["then_year"].fillna(start_year - 1).to_numpy(np.int64) - start_year
    return forecast.Work(step, program["then_work"].fillna("none").to_numpy(str))


def by_year(prepared: Prepared, scenario: Scenario, taken: program.Alternatives) -> pd.DataFrame:
    """Money and condition of the network, year by year, weighted by area."""
    years = prepared.years
    area = prepared.network["area_sqyd"].to_numpy(float)
    weight = area / area.sum() if len(area) else area
    ageing = prepared.ageing
    sound, full, index = (getattr(ageing, name)[:, :years].copy() for name in ("sound", "full", "index"))
    without = {"sound": weight @ sound, "full": weight @ full, "index": weight @ index}
    with_sound, _, with_full, with_index = second.paths(
        prepared, taken.block, taken.step, taken.strategy, taken.then_step, taken.then, years)
    for path, treated in ((sound, with_sound), (full, with_full), (index, with_index)):
        path[taken.block] = treated
    money = _money(taken, years)
    need = sum(((prepared.costs[name] * (prepared.by_rule == STRATEGIES.index(name))).sum(axis=0) for name in WORK),
               start=np.zeros(years))
    table = {
        "year": np.array(scenario.years, np.int64), "budget_usd": scenario.money_usd,
        "spent_usd": sum(money.values(), start=np.zeros(years)),
        **{f"{name}_usd": usd for name, usd in money.items()},
        "index_without": without["index"], "index_with": weight @ index,
        "sound_without": without["sound"], "sound_with": weight @ sound,
        "full_without": without["full"], "full_with": weight @ full,
        "need_usd": need, **_grinding(prepared, taken),
    }
    # A mean of ones by weights that sum to one may come out a rounding above one.
    for item in tables.fields("by_year"):
        if item.low is not None or item.high is not None:
            table[item.name] = np.clip(table[item.name], item.low, item.high)
    return tables.check("by_year", tables.with_types("by_year", pd.DataFrame(table)))


def _money(taken: program.Alternatives, years: int) -> dict[str, Floats]:
    """Dollars of each year by kind of work, second works among them."""
    money = {name: np.zeros(years) for name in (*WORK, "grinding")}
    for name, usd in money.items():
        first, again = taken.strategy == name, (taken.then == name) & (taken.then_step >= 0)
        np.add.at(usd, taken.step[first], taken.cost_usd[first])
        np.add.at(usd, taken.then_step[again], taken.then_usd[again])
    return money


def _grinding(prepared: Prepared, taken: program.Alternatives) -> pd.DataFrame:
    """Area and dollars of grinding by year: with the program's work, again when it is worn, and the need without.

    From a planned second work on, nothing more is expected of a block's surface within the program.
    """
    years, city, assumptions = prepared.years, prepared.network, prepared.assumptions
    rebuilt = taken.strategy == "reconstruction"
    ground = prepared.needs_by_year["grind_sqyd"].to_numpy(float)[taken.block * years + taken.step] * ~rebuilt
    areas = grinding.schedule(
        city, needs.grindable_sqyd(city, assumptions), prepared.needs_by_year,
        grinding.Work(taken.block, taken.step, ground, rebuilt), prepared.start_year, years, assumptions)
    again = np.flatnonzero(taken.then_step >= 0)
    planned = np.arange(years) >= taken.then_step[again][:, None]
    areas.reground[taken.block[again]] = np.where(planned, 0.0, areas.reground[taken.block[again]])
    own = again[taken.then[again] == "grinding"]
    areas.ground[taken.block[own], taken.then_step[own]] += ground[own]
    of_year = np.arange(prepared.start_year, prepared.start_year + years)
    return grinding.by_year(areas, saving.grinding_price(prepared, np.arange(len(city))[:, None], of_year))


def summary(prepared: Prepared, scenario: Scenario, chosen: program.Chosen, by_year: pd.DataFrame,
            strategies: pd.DataFrame, seconds: dict[str, float]) -> dict[str, Any]:
    """Plain numbers for ``summary.json``: proof, measures of the network per year, seconds, fingerprints."""
    def number(value: float) -> float | None:
        return float(value) if np.isfinite(value) else None

    counts = strategies["strategy"].value_counts()
    return {
        "scenario": scenario.name, "choice": scenario.choice, "status": chosen.status,
        "benefit_measures": _MEASURES[scenario.benefit],
        "objective": number(chosen.value), "upper_bound": number(chosen.upper_bound), "gap": number(chosen.gap),
        "bound_by_prices": number(chosen.by_prices),
        "blocks": len(strategies), "estimated_blocks": int(strategies["estimated"].sum()),
        "strategies": {name: int(counts.get(name, 0)) for name in STRATEGIES},
        "budget_usd": sum(scenario.money_usd), "spent_usd": float(by_year["spent_usd"].sum()),
        "years": by_year.to_dict("records"), "seconds": seconds,
        "fingerprints": {"blocks": prepared.fingerprint, "assumptions": prepared.assumptions.fingerprint(),
                         "scenario": scenario.fingerprint()},
    }
