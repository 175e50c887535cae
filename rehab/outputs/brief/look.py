"""How each series of a chart looks, on paper and on the screen: colour, hatch of bars, dash and marker of lines."""

from __future__ import annotations

from typing import Final, NamedTuple

from rehab.outputs.palette import HATCH, LIMIT, SCALE, STRATEGY, WITH_WORK, WITHOUT_WORK
from rehab.plan.brief.model import Chart

HATCHES: Final = ("", "/", "x", ".", "-", "\\", "|", "+")  #: in the names that plotly uses
DASHES: Final = ("solid", "dash", "dot", "dashdot", "longdash")
MARKERS: Final = ("circle", "square", "diamond", "triangle-up", "x")
_ORDER: Final = (0, 4, 2, 1, 3)  #: the ends of the scale first, so that two series differ most


class Look(NamedTuple):
    """Colour as '#rrggbb'; hatch, dash and marker of :data:`HATCHES`, :data:`DASHES` and :data:`MARKERS`."""

    colour: str
    hatch: str
    dash: str
    marker: str


_ROLES: Final[dict[str, Look]] = {
    "none": Look(STRATEGY["none"].colour, HATCH["none"], "dot", "circle"),
    "partial_depth": Look(STRATEGY["partial_depth"].colour, HATCH["partial_depth"], "dash", "square"),
    "full_depth": Look(STRATEGY["full_depth"].colour, HATCH["full_depth"], "solid", "circle"),
    "reconstruction": Look(STRATEGY["reconstruction"].colour, HATCH["reconstruction"], "longdash", "diamond"),
    "limit": Look(LIMIT, "", "dash", "square"),
    "with work": Look(WITH_WORK, "", "solid", "circle"),
    "without work": Look(WITHOUT_WORK, "/", "dash", "x"),
    "need": Look(WITHOUT_WORK, "x", "dashdot", "diamond"),
    "neutral": Look(STRATEGY["none"].colour, "", "solid", "circle"),
}


def looks(chart: Chart) -> list[Look]:
    """One look per series, no two alike: by role, else by place; a look that is taken gets another hatch and dash."""
    found: list[Look] = []
    places = 0
    for series in chart.series:
        wanted = _ROLES.get(series.role)
        if wanted is None:
            wanted = _by_place(places)
            places += 1
        found.append(_another(wanted, found))
    return found


def lying(chart: Chart) -> bool:
    """Whether bars lie on their side: names too long, or too many, to stand side by side under upright bars."""
    if chart.kind == "lines" or all(len(place) <= 6 for place in chart.places):
        return False
    longest = max(len(place) for place in chart.places)
    return longest * len(chart.places) > 60


def _by_place(place: int) -> Look:
    step, again = place % len(_ORDER), place // len(_ORDER)
    return Look(SCALE[_ORDER[step]], HATCHES[(place + again) % len(HATCHES)], DASHES[(step + again) % len(DASHES)],
                MARKERS[(step + 2 * again) % len(MARKERS)])


def _another(wanted: Look, taken: list[Look]) -> Look:
    """The look, with the next hatch, dash and marker until neither its bars nor its lines are taken."""
    hatch, dash, marker = (names.index(name) for names, name in (
        (HATCHES, wanted.hatch), (DASHES, wanted.dash), (MARKERS, wanted.marker)))
    for turn in range(len(HATCHES) * len(DASHES)):
        look = Look(wanted.colour, HATCHES[(hatch + turn) % len(HATCHES)],
                    DASHES[(dash + turn) % len(DASHES)],
                    MARKERS[(marker + turn + turn // len(DASHES)) % len(MARKERS)])
        if not any(look.colour == other.colour and (look.hatch == other.hatch or look[2:] == other[2:])
                   for other in taken):
            return look
    return wanted
