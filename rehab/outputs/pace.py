"""How long the files take that people take away, for a benchmark that can be run again."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import UTC, date, datetime

import pandas as pd

from rehab import plan as planning
from rehab.base.settings import Assumptions, Scenario
from rehab.base.tables import empty
from rehab.outputs import brief as drawn
from rehab.outputs import folder, worklist
from rehab.outputs.databook import databook
from rehab.outputs.gis.geopackage import geopackage
from rehab.plan import Plan, Prepared, brief
from rehab.plan.brief.model import Brief
from rehab.steps.season import Season


def files(blocks: pd.DataFrame, defects: pd.DataFrame, geometry: pd.DataFrame, size: int,
          assumptions: Assumptions) -> pd.DataFrame:
    """Seconds and size of each file of a plan whose first year works on at least ``size`` blocks.

    Columns file, seconds, kib, rows (blocks, or rows of tables, that it holds).
    """
    ready = planning.prepare(blocks, defects, assumptions, 2027, 5)
    made, season = _large(ready, geometry, size)
    listed = folder.work_list(made, season, geometry)
    keep = [job.name for job in listed.jobs[:size]]
    listed = folder.work_list(made, season, geometry, blocks=keep)
    stamp = datetime(2026, 11, 26, tzinfo=UTC)
    tables = folder.tables(made, season, empty("problems"), listed.orders)
    asked: tuple[tuple[str, int, Callable[[], bytes]], ...] = (
        ("work list, workbook", len(listed.jobs), lambda: worklist.workbook(listed, assumptions)),
        ("work list, PDF with drawings", len(listed.jobs), lambda: worklist.pdf(listed, assumptions)),
        ("council brief with its scenarios", len(blocks), lambda: drawn.pdf(_brief(made, season))),
        ("list of streets", len(blocks), lambda: drawn.streets_pdf(_brief(made, season))),
        ("GeoPackage", len(blocks), lambda: geopackage(
            made.overview, ready.network, made.program, ready.repairs, geometry, stamp,
            quantities=made.quantities).content),
        ("CSV and metadata, ZIP", sum(map(len, tables.values())), lambda: folder.as_zip(tables, stamp)),
        ("workbook of all tables", sum(map(len, tables.values())), lambda: databook(tables, {}, stamp)),
    )
    rows = []
    for name, count, write in asked:
        began = time.perf_counter()
        content = write()
        rows.append({"file": name, "seconds": round(time.perf_counter() - began, 2),
                     "kib": round(len(content) / 1024), "rows": count})
    return pd.DataFrame(rows)


def _large(ready: Prepared, geometry: pd.DataFrame, size: int) -> tuple[Plan, Season]:
    """A plan with money enough for so many blocks in the first year, and that year on the calendar."""
    usd = 1e6
    while True:
        made = planning.decide(ready, Scenario().with_budget(usd, 5), 1)
        if int((made.program["year"] == 2027).sum()) >= size or usd > 1e10:
            return made, planning.season_of(made, 2027, geometry, None, 0.0)
        usd *= 1.5


def _brief(made: Plan, season: Season) -> Brief:
    return brief.make(made, city="An invented city", made=date(2026, 11, 26), others=brief.decide(made), season=season)
