"""One strip of the plan: panels, joints, curbs, stations, defects, repairs and their numbers."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any, Final

import numpy as np

from rehab.outputs.drawings import defects as symbols
from rehab.outputs.drawings import labels
from rehab.outputs.drawings import repairs as cuts
from rehab.outputs.drawings.lettering import clean, fitted, width
from rehab.outputs.drawings.look import AXIS, CURB, GREY, INK, JOINT, JOINT_BAR, LONGITUDINAL, MATCH, WHITE
from rehab.outputs.drawings.marks import MARGIN, Band, Box, Group, Mark, Path, Point, Rect, Words
from rehab.outputs.drawings.scale import GUTTER, View, station
from rehab.outputs.words import known, number

_ABOVE: Final = 16.0  #: points above the pavement for the numbers of the panels
_BELOW: Final = 39.0  #: points below it for stations
_CURB: Final = 2.6
_GAP: Final = 8.0
_SMALL: Final = 5.6
_STEP: Final = 5.5


def band(block: Mapping[str, Any], stretch: tuple[float, float], joints: Sequence[float], edges: Sequence[float],
         found: Sequence[Mapping[str, Any]], repaired: Sequence[Mapping[str, Any]], points_per_ft: float) -> Band:
    """The strip from one place of the block to another; ``joints`` and ``edges`` are the panel grid in feet."""
    last = stretch[1] >= joints[-1] - 1e-9
    view = View(*stretch, edges[-1], MARGIN + GUTTER, _GAP + _ABOVE, points_per_ft, last)
    here = [row for row in repaired if view.shows(cuts.feet(row).x0, cuts.feet(row).x1)]
    seen = [row for row in found if view.shows(row["x0_ft"], row["x1_ft"])]
    drawn, tags = _drawn(here, seen, view, joints, edges)
    if tags.lanes:  # rows of numbers above the pavement push it down
        view = replace(view, top=view.top + tags.lanes * labels.LANE)
        drawn, tags = _drawn(here, seen, view, joints, edges)
    marks = (*_panels(block, view, joints, edges), *(cuts.ground(row, view, joints) for row in here), *drawn,
             *(cuts.edges(row, view, joints) for row in here), *_curbs(view), *tags.marks, *_ends(block, view, joints),
             *_stations(view, joints), *_numbers(view, joints, edges))
    return Band("strip", view.pavement.y1 + _BELOW, marks)


def _drawn(here: Sequence[Mapping[str, Any]], seen: Sequence[Mapping[str, Any]], view: View, joints: Sequence[float],
           edges: Sequence[float]) -> tuple[list[Group], labels.Placed]:
    """The defects of a strip with their steps, and the numbers of its repairs placed clear of them."""
    drawn = [_defect(row, view, joints, edges) for row in seen]
    cut = [(row, view.box(*cuts.feet(row))) for row in here]
    taken = [symbols.reach(group.marks) for group in drawn if _is_small(group, view)]
    bar = cuts.half_bar(view)
    rims = [(box.grown(-bar), box.grown(bar)) for _, box in cut]
    for index, row in enumerate(seen):
        if known(row["step_in"]) and row["step_in"] > 0:
            written = _step(row, drawn[index], taken, rims, view)
            if written is not None:
                taken.append(written[0])
                drawn[index] = drawn[index]._replace(marks=(*drawn[index].marks, *written[1]))
    return drawn, labels.place(cut, taken, view)


def _step(row: Mapping[str, Any], group: Group, taken: Sequence[Box], rims: Sequence[tuple[Box, Box]],
          view: View) -> tuple[Box, tuple[Mark, ...]] | None:
    """The step of a defect in inches on a white plate, if there is a free place for it; it is in the words anyway.

    A place is free on no symbol and no saw cut with its bars, which lie between the two boxes of ``rims``.
    """
    text = symbols.step_words(float(row["step_in"]))
    places = symbols.step_places(str(row["defect"]), group.marks, width(text, _STEP) + 2, _STEP + 1)
    box = next((box for box in places if box.inside(view.pavement) and not any(map(box.meets, taken))
                and all(box.inside(inner) or not box.meets(outer) for inner, outer in rims)), None)
    if box is None:
        return None
    return box, (Rect(box.x0, box.y0, box.width, box.height, None, WHITE),
                 Words(box.middle[0], box.y1 - 1.4, text, _STEP, anchor="middle"))


def _is_small(group: Group, view: View) -> bool:
    """Whether a number has to keep off a defect: one that covers most of a panel may be written over."""
    box = symbols.reach(group.marks)
    return box.width * box.height < 60 * view.points_per_ft**2


def _defect(row: Mapping[str, Any], view: View, joints: Sequence[float], edges: Sequence[float]) -> Group:
    line, column = int(row["panel_row"]), int(row["panel_column"])
    panel = view.box(joints[line - 1], edges[column - 1], joints[line], edges[column])
    damage = view.box(row["x0_ft"], row["y0_ft"], row["x1_ft"], row["y1_ft"])
    severity = str(row["severity"]) if known(row["severity"]) else ""
    marks = symbols.symbol(str(row["defect"]), severity, damage, panel, view.pavement)
    step = f"step {symbols.step_words(float(row['step_in']))}" if known(row["step_in"]) else ""
    text = ", ".join(filter(None, (f"Defect {row['defect_id']}: {row['defect']}", severity, step,
                                   f"panel {line}, column {column}", f"calls for: {row['call']}")))
    return Group("defect", text, marks, int(row["defect_id"]))


def _panels(block: Mapping[str, Any], view: View, joints: Sequence[float], edges: Sequence[float]) -> Iterator[Mark]:
    area = view.pavement
    yield Rect(area.x0, area.y0, area.width, area.height, None, WHITE)
    across = [view.x(x) for x in joints[1:-1] if view.start_ft + 1e-9 < x < view.end_ft - 1e-9]
    if across:
        dowelled = bool(known(block["dowelled"]) and block["dowelled"])
        parts: list[Mark] = [Path(tuple(((x, area.y0), (x, area.y1)) for x in across), JOINT)]
        if dowelled:
            parts.append(Path(tuple(joint_bars(across, area)), JOINT_BAR))
        yield Group("joints", "Transverse joints, dowelled" if dowelled else "Transverse joints", tuple(parts))
    along = [view.y(y) for y in edges[1:-1]]
    if along:
        yield Group("joints", "Longitudinal joints",
                    (Path(tuple(((area.x0, y), (area.x1, y)) for y in along), LONGITUDINAL),))


def joint_bars(across: Sequence[float], area: Box) -> Iterator[tuple[Point, ...]]:
    """Short strokes through a joint: the sign of a dowelled one, not a count of its dowels."""
    count = max(2, int(area.height / 7))
    for x in across:
        for y in (area.y0 + area.height * (bar + 0.5) / count for bar in range(count)):
            yield (x - 1.7, y), (x + 1.7, y)


def _curbs(view: View) -> Iterator[Mark]:
    area = view.pavement
    lines = tuple(((area.x0, y), (area.x1, y)) for y in (area.y0 - _CURB, area.y0, area.y1, area.y1 + _CURB))
    yield Group("curbs", "Curbs", (Path(lines, CURB),))


def _ends(block: Mapping[str, Any], view: View, joints: Sequence[float]) -> Iterator[Mark]:
    """Both ends of the strip: the cross street where the block ends, else a match line."""
    area = view.pavement
    for at, x, out, name in ((view.start_ft, area.x0, -1, "from_street"), (view.end_ft, area.x1, 1, "to_street")):
        ends_here = abs(at - joints[0 if out < 0 else -1]) < 1e-9
        beyond = 0.0 if ends_here else 9.0
        yield Path((((x, area.y0 - _CURB - beyond), (x, area.y1 + _CURB)),), CURB if ends_here else MATCH)
        street = clean(block[name]) if known(block.get(name)) else ("Start of block" if out < 0 else "End of block")
        text = street if ends_here else f"Match line {station(at)}"
        size = 7.0 if ends_here else 6.5
        room = area.height + _ABOVE + _BELOW / 2
        text = fitted(text, room, size, bold=True)
        middle = area.middle[1] + width(text, size, True) / 2
        yield Words(x + out * (27 if out < 0 else 14), min(middle, area.y1 + _BELOW / 2), text, size, bold=True,
                    turn=90)


def _stations(view: View, joints: Sequence[float]) -> Iterator[Mark]:
    """The station of every joint, as far as they have room, and a scale of full and ten-foot stations below."""
    area = view.pavement
    low, axis = area.y1 + _CURB, area.y1 + 20.0
    at = [x for x in joints if view.start_ft - 1e-9 <= x <= view.end_ft + 1e-9]
    wide = max(width(station(x), _SMALL) for x in at) + 3 if at else 0.0
    ticks, last = [], -1e9
    for x in at:
        ticks.append(((view.x(x), low), (view.x(x), low + 3)))
        if view.x(x) - last >= wide and (x == at[-1] or view.x(at[-1]) - view.x(x) >= wide or x == at[0]):
            last = view.x(x)
            yield Words(last, low + 9.5, station(x), _SMALL, colour=GREY, anchor="middle")
    yield Path(tuple(ticks), JOINT)
    every = next(step for step in (10, 20, 50, 100, 200) if step * view.points_per_ft >= 40)
    tens = np.arange(np.ceil(view.start_ft / 10 - 1e-9) * 10, view.end_ft + 1e-6, 10.0)
    yield Path((((area.x0, axis), (area.x1, axis)),
                *(((view.x(x), axis), (view.x(x), axis + (5 if x % 100 == 0 else 3 if x % 50 == 0 else 1.8)))
                  for x in map(float, tens))), AXIS)
    for x in map(float, tens):
        if x % every == 0:
            full = x % 100 == 0
            yield Words(view.x(x), axis + 11, station(x), 6.5, bold=full, colour=INK, anchor="middle")
    yield Path((((area.x1 + 10, axis), (area.x1 + 4, axis - 2.2), (area.x1 + 4, axis + 2.2)),), None, INK, closed=True)
    yield Path((((area.x1, axis), (area.x1 + 5, axis)),), AXIS)


def _numbers(view: View, joints: Sequence[float], edges: Sequence[float]) -> Iterator[Mark]:
    """Numbers of the panels along the block above it, of the columns at its left."""
    area = view.pavement
    panels = [(index, view.x((a + b) / 2)) for index, (a, b) in enumerate(pairwise(joints), 1)
              if view.start_ft - 1e-9 <= (a + b) / 2 < view.end_ft]
    if panels:
        for index, x in _thinned(panels, width(str(panels[-1][0]), _SMALL) + 4):
            yield Words(x, area.y0 - _CURB - 3, str(index), _SMALL, colour=GREY, anchor="middle")
    columns = [(index, view.y((a + b) / 2)) for index, (a, b) in enumerate(pairwise(edges), 1)]
    beside = area.x0 - 3 - cuts.half_bar(view)  # clear of dowels at the end of the block
    for index, y in _thinned(columns, _SMALL + 1):
        yield Words(beside, y + 2, number(index, 0), _SMALL, colour=GREY, anchor="end")


def _thinned(numbers: Sequence[tuple[int, float]], apart: float) -> Iterator[tuple[int, float]]:
    """Every number, or every fifth or so where they stand closer than ``apart``."""
    gap = numbers[1][1] - numbers[0][1] if len(numbers) > 1 else apart
    every = next(step for step in (1, 2, 5, 10, 20, 50, 100, 1000) if step * gap >= apart or step == 1000)
    return ((index, at) for index, at in numbers if every == 1 or index % every == 0)
