"""All tables of a plan as files of one folder: CSV, the metadata that describe them, and the same as one ZIP."""

from __future__ import annotations

import zipfile
from collections.abc import Collection, Iterable, Mapping
from datetime import datetime
from io import BytesIO
from pathlib import Path
from typing import Final

import pandas as pd

from rehab import plan as planning
from rehab.outputs import csvw, exports, worklist
from rehab.plan import Plan, reasons, waiting
from rehab.plan.answers import treated_now
from rehab.steps.season import Season

METADATA: Final = "csv-metadata.json"  #: where CSVW looks for the metadata of a file's folder (W3C, 2015, section 5.3)


def work_list(made: Plan, season: Season, geometry: pd.DataFrame, *, order: str = "date",
              blocks: Collection[str] | None = None, weeks: Iterable[pd.Timestamp] | None = None,
              crews: Iterable[str] | None = None) -> worklist.Content:
    """What the work list of a season holds: :func:`rehab.outputs.worklist.content` of a plan's tables."""
    ready = made.prepared
    return worklist.content(
        made.overview, ready.network, ready.needs, made.program, made.quantities, season.tasks, ready.repairs,
        ready.findings, planning.with_notes(made.notes, season.notes), geometry, ready.assumptions, season.year,
        order=order, blocks=blocks, weeks=weeks, crews=crews)


def tables(made: Plan, season: Season, problems: pd.DataFrame, orders: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """The tables of a plan and of one season of it, by the name of their file.

    ``orders`` are those of the season's work list.  Tables of blocks say in their column ``estimated`` what rests on an
    index, a rating or a word.
    """
    ready, overview = made.prepared, made.overview
    listed = made.strategies.merge(overview[["block_id", "life_extension_yr", "likely_usd"]], on="block_id")
    of_blocks = {
        "blocks": ready.network, "needs": ready.needs, "findings": ready.findings, "repairs": ready.repairs,
        "strategies": listed.rename(columns={"likely_usd": "cost_usd"}), "forecast": treated_now(ready),
        "quantities": made.quantities, "costs": made.costs, "lifecycle": ready.worth, "program": made.program,
        "alternatives": reasons.alternatives(made), "places": reasons.of_blocks(made),
        **({"payments": reasons.payments(made)} if made.scenario.funds else {}),
        "tasks": season.tasks, "season_blocks": season.blocks,
    }
    return {
        **{name: exports.with_estimated(table, overview) for name, table in of_blocks.items()},
        "problems": problems, "by_year": made.by_year, "limits": reasons.of_limits(made),
        "waiting": waiting.of_network(waiting.by_block(ready)), "campaigns": season.campaigns,
        "campaign_choices": season.choices, "crew_loads": season.loads, "orders": orders,
        "notes": planning.with_notes(made.notes, season.notes),
    }


def write(found: Mapping[str, pd.DataFrame], out: Path, exact: Mapping[str, pd.DataFrame]) -> None:
    """Write tables as CSV files, those of ``exact`` with all digits, and beside them what their columns mean."""
    out.mkdir(parents=True, exist_ok=True)
    for name, table in found.items():
        exports.write_csv(table, out / f"{name}.csv")
    for name, table in exact.items():
        exports.write_exact(table, out / f"{name}.csv")
    (out / METADATA).write_text(_described({**found, **exact}), encoding="utf-8")


def as_zip(found: Mapping[str, pd.DataFrame], made: datetime) -> bytes:
    """The same files in one ZIP; ``made`` is the time that they bear."""
    stream = BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as file:
        for name, text in (*((f"{name}.csv", exports.csv_text(table)) for name, table in found.items()),
                           (METADATA, _described(found))):
            file.writestr(zipfile.ZipInfo(name, made.timetuple()[:6]), text.encode("utf-8"), zipfile.ZIP_DEFLATED)
    return stream.getvalue()


def _described(found: Mapping[str, pd.DataFrame]) -> str:
    return csvw.describe({f"{name}.csv": table for name, table in found.items()})
