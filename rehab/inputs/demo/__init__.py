"""The demo city: Teasel Bend, invented from its founding to its last corner break.

A ferry landing of 1872 on the plain, where the Teasel River makes its bend; a railway came twelve years
later and crossed the bend to the east.  A cement kiln beside the tracks opened in 1937, and a year later the
council resolved to pave in concrete.  The city grew by districts: Old Landing, Kilnside and Southbank first, then
Quarry Hill, whose streets turn with the slope and whose gravel (the Marl Pit, 1960 to 1972) swells and cracks,
then the flats and the meadows.  Every name, place and number is made up; a number generator with a seed makes the
same city every time, at any size from 1 to 200,000 blocks.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from rehab.base import tables
from rehab.inputs.demo.earlier import EARLIER_YEAR, look_back
from rehab.inputs.demo.files import write_lines, write_table
from rehab.inputs.demo.panels import look_closer
from rehab.inputs.demo.pavement import build
from rehab.inputs.demo.reported import as_reported
from rehab.inputs.demo.streets import lay_out
from rehab.inputs.demo.survey import inspect

__all__ = ["EARLIER_YEAR", "City", "earlier", "invent", "write", "write_earlier"]


@dataclass(frozen=True)
class City:
    """An invented city: the tables ``blocks``, ``defects`` and ``geometry`` of :mod:`rehab.base.tables`."""

    blocks: pd.DataFrame
    defects: pd.DataFrame
    geometry: pd.DataFrame


def invent(blocks: int = 1200, seed: int = 7) -> City:
    """The city with so many blocks, sorted by block_id; the same size and seed give the same city.

    About 5 % of the blocks have a panel-by-panel survey in ``defects``.  Lengths are geodesic (ft), years end with
    the survey of 2026.  Raises :class:`ValueError` for a size outside 1 to 200,000 or a negative seed.
    """
    city, defects = _surveyed(blocks, seed)
    return City(blocks=tables.check("blocks", as_reported(city, seed)),
                defects=tables.check("defects", tables.with_types("defects", defects)),
                geometry=tables.check("geometry", tables.with_types("geometry", city)))


def earlier(blocks: int = 1200, seed: int = 7) -> pd.DataFrame:
    """The table ``blocks`` of the same city's survey of 2021; errors as :func:`invent`.

    The same values are missing, and the same blocks hold just an index or a rating, from another day's scatter.
    """
    city, _ = _surveyed(blocks, seed)
    return tables.check("blocks", as_reported(look_back(city, seed), seed, EARLIER_YEAR))


def write_earlier(blocks: pd.DataFrame, file: Path) -> Path:
    """Write :func:`earlier` beside the ``file`` of the city, as ``x_2021.csv``; returns the path."""
    path = file.with_name(f"{file.stem}_{EARLIER_YEAR}.csv")
    path.parent.mkdir(parents=True, exist_ok=True)
    write_table("blocks", blocks, path)
    return path


def _surveyed(blocks: int, seed: int) -> tuple[pd.DataFrame, pd.DataFrame]:
    if not 1 <= blocks <= 200_000:
        raise ValueError(f"the demo city can have 1 to 200,000 blocks, not {blocks:,}")
    if seed < 0:
        raise ValueError(f"the seed is zero or more, not {seed}")
    return look_closer(inspect(build(lay_out(blocks, seed), seed), seed), seed)


def write(city: City, file: Path) -> list[Path]:
    """Write the blocks to ``file`` (CSV) and, beside it, the defects and the lines; returns the three paths.

    ``x.csv`` gets the companions ``x_defects.csv`` and ``x_lines.geojson``.  Folders are made as needed, files
    that exist are replaced.
    """
    defects, lines = file.with_name(f"{file.stem}_defects.csv"), file.with_name(f"{file.stem}_lines.geojson")
    file.parent.mkdir(parents=True, exist_ok=True)
    write_table("blocks", city.blocks, file)
    write_table("defects", city.defects, defects)
    write_lines(city.geometry, lines)
    return [file, defects, lines]
