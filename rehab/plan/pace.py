"""How long repair engineering, forecast and calendar take: invented surveys, timed step by step in one run."""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import partial
from typing import Final, TypeVar

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab import plan
from rehab.base import tables
from rehab.base.settings import Assumptions, Scenario
from rehab.plan import results, uncertainty
from rehab.steps import findings, forecast, layout, needs, network, season

Result = TypeVar("Result")

#: panels of 15 by 12 ft: 100 along and 4 across a block
_ALONG: Final = 100
_ACROSS: Final = 4
#: what is found on a panel: kind, share of the defects, usual length and width in feet, depth in inches
_KINDS: Final = (
    ("joint spall", 0.46, 1.0, 3.5, 2.0), ("hollow area", 0.14, 2.0, 2.5, 1.5),
    ("transverse crack", 0.12, 0.0, 12.0, np.nan), ("corner break", 0.08, 3.0, 3.0, 8.0),
    ("longitudinal crack", 0.06, 15.0, 0.0, np.nan), ("broken panel", 0.05, 15.0, 12.0, 8.0),
    ("patch", 0.05, 6.0, 12.0, np.nan), ("sunken panel", 0.03, 15.0, 12.0, np.nan), ("casting", 0.01, 2.2, 2.2, np.nan),
)


def panel_survey(panels: int, defects: int, assumptions: Assumptions, seed: int = 1) -> pd.DataFrame:
    """Seconds of every step on an invented panel survey; columns step, rows, seconds."""
    rng = np.random.default_rng(seed)
    blocks = max(panels // (_ALONG * _ACROSS), 1)
    city = network.build(_blocks(blocks, rng), assumptions)
    kind = rng.choice(len(_KINDS), defects, p=[item[1] for item in _KINDS])
    length, width, depth = (np.array([item[at] for item in _KINDS])[kind] for at in (2, 3, 4))
    long, wide = (np.minimum(size * rng.uniform(0.6, 1.4, defects), most) for size, most in ((length, 15), (width, 12)))
    survey = tables.with_types("defects", pd.DataFrame({
        "block_id": city["block_id"].to_numpy()[rng.integers(0, blocks, defects)],
        "panel_row": rng.integers(1, _ALONG + 1, defects), "panel_column": rng.integers(1, _ACROSS + 1, defects),
        "defect": [_KINDS[at][0] for at in kind], "severity": rng.choice(tables.SEVERITIES, defects),
        "x_ft": rng.random(defects) * (15 - long), "y_ft": rng.random(defects) * (12 - wide), "length_ft": long,
        "width_ft": wide, "depth_in": depth * rng.uniform(0.5, 1.5, defects)}))
    rows: list[tuple[str, int, float]] = []
    found = _timed(rows, "findings", lambda: findings.judge(city, survey, assumptions))
    cut = _timed(rows, "layout", lambda: layout.lay_out(city, found, assumptions))
    left = _timed(rows, "what stays", lambda: layout.leave(found, cut))
    per_panel = _timed(rows, "sums per block", lambda: layout.per_panel(city, left, cut, assumptions))
    _timed(rows, "needs", lambda: needs.measure(city, per_panel, assumptions))
    return pd.DataFrame(rows, columns=["step", "rows", "seconds"])


def forecasts(blocks: int, years: int, assumptions: Assumptions, seed: int = 1) -> pd.DataFrame:
    """Seconds of forecasting invented blocks untreated and after every strategy; columns step, rows, seconds."""
    nothing = tables.empty("findings"), tables.empty("repairs")
    city = network.build(_blocks(blocks, np.random.default_rng(seed)), assumptions)
    need = needs.measure(city, layout.per_panel(city, *nothing, assumptions), assumptions)
    rows: list[tuple[str, int, float]] = []
    ageing = _timed(rows, "curves and untreated", lambda: forecast.age(city, need, 2027, years, assumptions), blocks)
    block, now = np.arange(blocks), np.zeros(blocks, np.int64)

    def path(name: str) -> npt.NDArray[np.float64]:
        kinds = np.full(blocks, name)
        _, shallow, deep = forecast.treated(ageing, block, now, kinds, years)
        return forecast.treated_index(ageing, block, now, kinds, shallow, deep, assumptions)

    for name in tables.STRATEGIES:
        _timed(rows, f"after {name.replace('_', ' ')}", partial(path, name))
    return pd.DataFrame(rows, columns=["step", "rows", "seconds"])


def draws(blocks: pd.DataFrame, count: int, years: int, assumptions: Assumptions) -> pd.DataFrame:
    """Seconds of planning a table of blocks and of drawing its program ``count`` times; columns step, rows, seconds."""
    rows: list[tuple[str, int, float]] = []
    ready = _timed(rows, "prepare", lambda: plan.prepare(blocks, tables.empty("defects"), assumptions, 2027, years),
                   len(blocks))
    asked = Scenario(start_year=2027).with_budget(4_000_000.0, years)
    made = _timed(rows, "decide", lambda: plan.decide(ready, asked, 2), len(blocks))
    _timed(rows, "draw", lambda: uncertainty.chances(made, count), len(made.program))
    return pd.DataFrame(rows, columns=["step", "rows", "seconds"])


def calendar(city: pd.DataFrame, geometry: pd.DataFrame, blocks: int, spread: float, seconds: float,
             assumptions: Assumptions) -> pd.DataFrame:
    """What the search for a year's calendar has found by when: every change of blocks or of the last day, and the end.

    The first ``blocks`` of the city that call for work are put on one calendar; ``spread`` multiplies the crews, so
    that so many blocks fit.  Columns: seconds, blocks, tasks, ends, bound, days_behind (working days after the bound;
    missing while more might be placed), gap_percent (of the working days until the bound), travel (miles, changes of
    district counted in).
    """
    ready = plan.prepare(city, tables.empty("defects"), assumptions, 2027, 1)
    rows = ready.strategies[ready.strategies["strategy"] != "none"].head(blocks).reset_index(drop=True)
    network_of = results.rows_of(ready.network, rows["block_id"])
    amounts = results.quantities(ready, rows[["block_id", "year", "strategy"]].assign(year=2027))
    crews = [str(key) for key in assumptions.table("season").index
             if str(key).startswith("crews.") and key != "crews.Grinder"]
    used = assumptions.having("season", {key: str(round(assumptions.number("season", key) * spread)) for key in crews})
    streets = {str(street): int(count) for street, count in ready.network["street"].value_counts().items()}
    seen: list[tuple[float, season.Standing]] = []
    begin = time.perf_counter()
    ground = season.ground(network_of, streets, geometry, used)
    made = season.arrange(ground, amounts, used, 2027, None, seconds,
                          lambda at: seen.append((time.perf_counter() - begin, at)))
    days = season.working_days(2027, used)
    records = []
    for number, (passed, at) in enumerate(seen):
        before = seen[number - 1][1]
        if number in (0, len(seen) - 1) or (at.blocks, at.ends) != (before.blocks, before.ends):
            behind = np.nan if at.bound is None else days.index(at.ends) - days.index(at.bound)
            gap = np.nan if at.bound is None else round(100.0 * behind / (days.index(at.bound) + 1), 2)
            records.append((round(passed, 2), at.blocks, len(made.tasks), at.ends, at.bound, behind, gap,
                            round(at.travel)))
    return pd.DataFrame(records, columns=["seconds", "blocks", "tasks", "ends", "bound", "days_behind", "gap_percent",
                                          "travel"])


def counts(blocks: int, assumptions: Assumptions, seed: int = 1) -> pd.DataFrame:
    """Seconds of every step on invented blocks whose panels are counted; columns step, rows, seconds."""
    table = _blocks(blocks, np.random.default_rng(seed))
    nothing = tables.empty("findings"), tables.empty("repairs")
    rows: list[tuple[str, int, float]] = []
    city = _timed(rows, "network", lambda: network.build(table, assumptions))
    per_panel = _timed(rows, "sums per block", lambda: layout.per_panel(city, *nothing, assumptions))
    _timed(rows, "needs", lambda: needs.measure(city, per_panel, assumptions))
    return pd.DataFrame(rows, columns=["step", "rows", "seconds"])


def _blocks(blocks: int, rng: np.random.Generator) -> pd.DataFrame:
    return tables.with_types("blocks", pd.DataFrame({
        "block_id": [f"B{number:05d}" for number in range(blocks)], "length_ft": 15.0 * _ALONG,
        "width_ft": 12.0 * _ACROSS, "panel_length_ft": 15.0, "panel_width_ft": 12.0,
        "thickness_in": rng.choice([6.0, 7.0, 8.0, 9.0], blocks), "dowelled": rng.random(blocks) < 0.5,
        "functional_class": "local", "panels_broken": rng.integers(0, 20, blocks).astype(float),
        "corner_breaks": rng.integers(0, 20, blocks).astype(float), "spalled_joint_ft": rng.uniform(0, 600, blocks),
        "hollow_sqft": rng.uniform(0, 200, blocks)}))


def _timed(rows: list[tuple[str, int, float]], step: str, run: Callable[[], Result],
           count: int | None = None) -> Result:
    began = time.perf_counter()
    result = run()
    took = time.perf_counter() - began
    rows.append((step, len(result) if count is None else count, took))  # type: ignore[arg-type]
    return result
