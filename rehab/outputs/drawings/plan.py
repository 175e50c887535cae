"""The panel plan of one block: title, strips, legend, notes and schedule, put one below the other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from rehab.outputs.drawings import frame, schedule, strip
from rehab.outputs.drawings.lettering import clean
from rehab.outputs.drawings.marks import LETTER, POINTS_PER_IN, Band, Box, Drawing, Paper
from rehab.outputs.drawings.repairs import about, feet, records
from rehab.outputs.drawings.scale import choose_scale, strip_feet, strips
from rehab.outputs.words import count, number, place


def panel_plan(block: Mapping[str, Any] | pd.Series, findings: pd.DataFrame, repairs: pd.DataFrame, *,
               bearing_deg: float | None = None, paper: Paper = LETTER,
               feet_per_inch: float | None = None) -> Drawing:
    """The scaled panel plan of one block.

    ``block`` is its row of the table ``network``; ``findings`` and ``repairs`` are its rows of those tables, empty
    where the block has none.  ``bearing_deg`` is where its line points from start to end, in degrees clockwise from
    north; None if that is not known.  The scale is chosen to be readable on the paper unless it is given.  Raises
    :class:`ValueError` for rows of another block, a repair or defect outside the block, or a scale that is not above
    zero: faults of the caller.
    """
    block = {str(name): value for name, value in block.items()}
    found, repaired = records(findings), records(repairs.sort_values("repair_id"))
    length, across = float(block["length_ft"]), float(block["width_ft"])
    _refuse_strangers(block, found, repaired)
    joints = [float(x) for x in np.linspace(0.0, length, int(block["panel_rows"]) + 1)]
    edges = [float(y) for y in np.linspace(0.0, across, int(block["panel_columns"]) + 1)]
    scale = choose_scale(length, across, paper) if feet_per_inch is None else float(feet_per_inch)
    if not scale > 0:
        raise ValueError(f"a scale of 1 in = {scale} ft cannot be drawn; give feet to an inch above zero")
    kept = [(feet(row).x0, feet(row).x1) for row in repaired]
    stretches = strips(joints, strip_feet(paper, scale), kept)
    bands: list[Band] = [frame.title(block, bearing_deg, scale, paper)]
    bands += [strip.band(block, stretch, joints, edges, found, repaired, POINTS_PER_IN / scale)
              for stretch in stretches]
    bands += [frame.legend(block, found, repaired, len(stretches), paper), frame.notes(block, found, repaired, paper)]
    bands += schedule.bands(repaired, paper)
    where = place(*(clean(block[name]) if pd.notna(block.get(name)) else None
                    for name in ("street", "from_street", "to_street")))
    return Drawing(f"Panel plan of block {clean(block['block_id'])}, {where}",
                   _in_words(block, len(found), repaired), paper, scale, tuple(bands))


def _in_words(block: Mapping[str, Any], found: int, repaired: Sequence[Mapping[Any, Any]]) -> str:
    """What the drawing shows, for a reader who does not see it: the block, then every repair."""
    rows, columns = int(block["panel_rows"]), int(block["panel_columns"])
    texts = [f"{number(block['length_ft'], 1)} ft by {number(block['width_ft'], 1)} ft, {rows} by {columns} panels, "
             f"{count(found, 'defect')}, {count(len(repaired), 'repair')}"]
    return clean(". ".join([*texts, *(about(row) for row in repaired)]) + ".")


def _refuse_strangers(block: Mapping[str, Any], found: Sequence[Mapping[Any, Any]],
                      repaired: Sequence[Mapping[Any, Any]]) -> None:
    name = block["block_id"]
    others = sorted({str(row["block_id"]) for row in (*found, *repaired)} - {str(name)})
    if others:
        raise ValueError(f"the rows to draw on block {name} hold rows of {', '.join(others[:5])}; "
                         "give the rows of one block")
    boxes = [(f"repair {row['repair_id']}", feet(row)) for row in repaired]
    boxes += [(f"defect {row['defect_id']}", Box(row["x0_ft"], row["y0_ft"], row["x1_ft"], row["y1_ft"]))
              for row in found]
    room = Box(-1e-6, -1e-6, float(block["length_ft"]) + 1e-6, float(block["width_ft"]) + 1e-6)
    for what, box in boxes:
        if not box.inside(room):
            raise ValueError(f"{what} of block {name} reaches from {box.x0:g}, {box.y0:g} to {box.x1:g}, {box.y1:g} "
                             f"ft, outside its {block['length_ft']:g} by {block['width_ft']:g} ft")
    for row in found:
        if not (1 <= row["panel_row"] <= block["panel_rows"] and 1 <= row["panel_column"] <= block["panel_columns"]):
            raise ValueError(f"defect {row['defect_id']} of block {name} lies on panel {row['panel_row']}, column "
                             f"{row['panel_column']}, which the block does not have")
