"""Cautions of ``data/cautions.csv`` that apply to a block, with the figures of the block put in."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from rehab.base.errors import BadAssumption
from rehab.base.tables import TASKS, WORK
from rehab.base.units import IN_PER_FT
from rehab.outputs.words import known, number

#: said on every sheet: a list of cautions is not advice
DECIDES: Final = ("These cautions are reminders and not complete: local codes, the engineer and a competent "
                  "person on site decide.")

FILE: Final = Path(__file__).parents[3] / "data" / "cautions.csv"
POUNDS_PER_CUFT: Final = 150.0  #: plain concrete, common practice, no source
LANE_FT: Final = 12.0  #: offset of a closed lane, the width the taper table is printed for
SPEEDS_MPH: Final = (25, 30, 35, 40, 45)
_STATUS: Final = ("read", "from memory", "common practice, no source")


@dataclass(frozen=True)
class Caution:
    """One caution: the tasks and strategies it belongs to, its words, where it comes from and how sure that is."""

    key: str
    applies_to: tuple[str, ...]
    text: str
    citation: str
    status: str


def load_cautions(path: Path = FILE) -> list[Caution]:
    """The cautions in the order of the file; :class:`BadAssumption` names a row that says something unknown."""
    with path.open(encoding="utf-8", newline="") as file:
        rows = [Caution(row["key"], tuple(row["applies_to"].split("; ")), row["text"], row["citation"], row["status"])
                for row in csv.DictReader(file)]
    for row in rows:
        unknown = set(row.applies_to) - set(TASKS) - set(WORK)
        if unknown:
            raise BadAssumption(f"{path.name}: '{min(unknown)}' of '{row.key}' is not a task or a strategy")
        if row.status not in _STATUS:
            raise BadAssumption(f"{path.name}: the status of '{row.key}' is not one of {', '.join(_STATUS)}")
    return rows


def cautions_for(cautions: Iterable[Caution], strategy: str, tasks: Iterable[str],
                 block: dict[str, Any]) -> list[Caution]:
    """The cautions of a block's strategy and tasks, with its panel's weight and the tapers written in.

    ``block`` holds ``panel_length_ft``, ``panel_width_ft``, ``thickness_in`` and ``assumed`` of the network.
    """
    wanted = {strategy, *tasks}
    sizes = [block.get(name) for name in ("panel_length_ft", "panel_width_ft", "thickness_in")]
    if all(known(size) for size in sizes):
        length, width, thickness = (float(size) for size in sizes)  # type: ignore[arg-type]
        panel = f"{number(length)} x {number(width)} ft, {number(thickness)} in thick,"
        weight = f"{number(panel_weight_lb(length * width, thickness), 0)} lb"
    else:
        panel, weight = "size not known", "a weight to be worked out from its size"
    guessed = set(str(block.get("assumed") or "").split("; "))
    assumed = " (size assumed)" if guessed & {"panel_length_ft", "panel_width_ft", "thickness_in"} else ""
    tapers = ", ".join(f"{number(taper_ft(speed, LANE_FT), 0)} ft at {speed} mph" for speed in SPEEDS_MPH)
    return [Caution(row.key, row.applies_to,
                    row.text.format(panel=panel, weight=weight, tapers=tapers, assumed=assumed),
                    row.citation, row.status)
            for row in cautions if wanted & set(row.applies_to)]


def panel_weight_lb(area_sqft: float, thickness_in: float) -> float:
    """Weight in pounds of a piece of slab: area x thickness x 150 lb per cubic foot (common practice, no source)."""
    return area_sqft * thickness_in / IN_PER_FT * POUNDS_PER_CUFT


def taper_ft(speed_mph: float, offset_ft: float) -> float:
    """Length in feet of a merging taper, not rounded.

    MUTCD Part 6 (federal text of 2009 as in California MUTCD 2012, Table 6H-4): L = W S^2 / 60 up to 40 mph
    and L = W S from 45 mph; a speed between the two is taken by the second, which is longer.

    Raises :class:`ValueError` for a speed or offset that is not above zero.
    """
    if speed_mph <= 0 or offset_ft <= 0:
        raise ValueError("a taper needs a speed and an offset above zero")
    return offset_ft * speed_mph**2 / 60.0 if speed_mph <= 40 else offset_ft * speed_mph
