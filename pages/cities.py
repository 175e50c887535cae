"""A city as read: its tables and their problems.  Nothing here knows the screen."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from rehab.base.settings import fingerprint
from rehab.inputs import reading

DEMO = Path(__file__).parents[1] / "data" / "demo"


@dataclass(frozen=True)
class Tables:
    """One city as read: its tables and their problems; ``key`` changes with any cell."""

    name: str
    invented: bool
    blocks: pd.DataFrame
    defects: pd.DataFrame
    geometry: pd.DataFrame
    problems: pd.DataFrame
    key: str


def take(name: str, blocks: pd.DataFrame, defects: pd.DataFrame, geometry: pd.DataFrame, problems: pd.DataFrame,
         *, invented: bool = False) -> Tables:
    """Tables with their key."""
    key = "-".join(fingerprint(table) for table in (blocks, defects, geometry))
    return Tables(name, invented, blocks, defects, geometry, problems, key)


def demo() -> Tables:
    """The invented city that the dashboard opens on."""
    found = reading.read_blocks(reading.open_table("blocks.csv", (DEMO / "blocks.csv").read_bytes()))
    survey = reading.open_table("blocks_defects.csv", (DEMO / "blocks_defects.csv").read_bytes(), table="defects")
    panel = reading.read_defects(survey, None, found.table)
    lines = reading.open_table("blocks_lines.geojson", (DEMO / "blocks_lines.geojson").read_bytes())
    geometry, more = reading.read_lines(lines, found.table)
    problems = pd.concat([found.problems, panel.problems, more], ignore_index=True)
    return take("Demo city", found.table, panel.table, geometry, problems, invented=True)
