"""What one block needs of which crew: activities, and how many days they take.

An activity is done in one visit.  Its tasks run as one train, day by day: concrete is milled and patched, or sawn,
removed, drilled, placed and jointed on the same day, so that a hole opened is closed the same day (Missouri 613.3,
source ``missouri-613``), and none stays open over a night or a weekend.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from rehab.base.errors import BadAssumption
from rehab.base.settings import Assumptions
from rehab.base.units import CUFT_PER_CUYD

PARTS: Final = 4  #: parts of a working day: a visit takes one at least
WHOLE: Final = 5  #: what a crew can give in one part of a day; several short visits may share it

#: activity -> the rows of crews that it works off, in the order of the work
ACTIVITIES: Final[Mapping[str, tuple[str, ...]]] = {
    "mark": ("mark",), "raise": ("stabilise", "stabilise.jacking"), "patch": ("mill", "patch"),
    "panels": ("saw", "remove", "drill", "place", "place.box_out", "joint"),
    "rebuild": ("remove.reconstruction", "place.reconstruction"), "curb": ("curb", "curb.ramp", "curb.casting"),
    "retrofit": ("retrofit",), "stitch": ("stitch",), "fill": ("fill",), "grind": ("grind",), "stripe": ("stripe",),
}
FINISHING: Final = ("fill", "grind", "stripe")  #: what waits for the repairs of its block
MINOR: Final = ("raise", "curb", "retrofit", "stitch")  #: what a forecast often expects only traces of
LEAST_DAYS: Final = 0.02  #: of a crew: a visit of minor work takes ten minutes at least
CONCRETE: Final = ("patch", "panels", "rebuild")  #: what cures before the block opens
NAMES: Final = {"mark": "marking", "raise": "stabilising", "patch": "patching", "panels": "full-depth repair",
                "rebuild": "reconstruction", "curb": "curb work", "retrofit": "dowel-bar retrofit",
                "stitch": "cross-stitching", "fill": "crack and joint filling", "grind": "grinding",
                "stripe": "striping"}
BUSY: Final = "under way"  #: begins the kind of a visit that only keeps its crews: it was begun before
CURES: Final = "closed after"  #: begins the kind of what only keeps its block closed
_PACES: Final = {"likely": "value", "low": "low", "high": "high"}


@dataclass(frozen=True)
class Activity:
    """One visit to a block (a row of the program): parts of working days, and what it asks of each crew.

    ``keys``: rows of crews with work; ``crew_days``: work by crew; ``asks``: how much of each part each crew
    is asked for, of :data:`WHOLE`; ``supply``: concrete in each part, tenths of a cubic yard.
    """

    block: int
    kind: str
    parts: int
    keys: tuple[str, ...]
    crew_days: Mapping[str, float]
    asks: Mapping[str, int]
    supply: int = 0

    @property
    def days(self) -> int:
        """Working days that it takes at most, begun in the morning."""
        return -(-self.parts // PARTS)

    @property
    def unbroken(self) -> bool:
        """Whether it is begun and ended on one day: concrete that a day is enough for."""
        return self.kind in CONCRETE and self.parts <= PARTS


def rates(assumptions: Assumptions, factor: float) -> dict[str, tuple[str, float]]:
    """By row of crews, the quantity worked off and how much of it a day, weather allowed for by ``factor``."""
    pace = assumptions.text("season", "pace")
    table = assumptions.table("crews")
    found = {}
    for key in (key for keys in ACTIVITIES.values() for key in keys):
        try:
            rate = float(str(table.at[key, _PACES[pace]])) * factor
        except (KeyError, ValueError) as error:
            raise BadAssumption(f"crews: the rate of '{key}' is not a number") from error
        if rate <= 0:
            raise BadAssumption(f"crews: the rate of '{key}' is zero; nothing could ever be finished")
        found[key] = (str(table.at[key, "quantity"]), rate)
    return found


def daily_concrete(assumptions: Assumptions) -> int | None:
    """Cubic yards of concrete delivered in a day at most; None where no limit is given."""
    most = assumptions.number("season", "concrete_cuyd_per_day")
    trucks = assumptions.number("season", "mixer_trucks")
    loads = trucks * assumptions.number("season", "truck_cuyd") * assumptions.number("season", "truck_trips")
    limits = [limit for limit in (most, loads) if limit > 0]
    return max(int(min(limits)), 1) if limits else None


def activities(network: pd.DataFrame, quantities: pd.DataFrame, assumptions: Assumptions,
               factor: float) -> list[Activity]:
    """What each block needs; an activity with nothing, or next to nothing, to do is left out.

    ``network`` and ``quantities`` (one column per pay item) hold the same blocks in the same order.
    """
    amounts = quantities.assign(sqyd=network["area_sqyd"].to_numpy(float),
                                filling=quantities["crack_filling"] + quantities["joint_resealing"])
    volume = {"patch": amounts["patch_mix"].to_numpy(float) / CUFT_PER_CUYD,
              "panels": amounts["concrete_full"].to_numpy(float),
              "rebuild": amounts["concrete_reconstruction"].to_numpy(float)}
    each, limit = rates(assumptions, factor), daily_concrete(assumptions)
    least = assumptions.number("season", "least_quantity")
    crews = assumptions.table("crews")["crew"].to_dict()
    found = []
    for row, amount in enumerate(amounts.to_dict("records")):
        for kind in ACTIVITIES:
            need = _days_by_row(kind, amount, each, least)
            if need:
                own = volume.get(kind)
                cuyd = float(own[row]) if own is not None and limit else 0.0
                found.append(_activity(row, kind, need, crews, cuyd, limit))
    return found


def _days_by_row(kind: str, amount: Mapping[Hashable, float], each: Mapping[str, tuple[str, float]],
                 least: float) -> dict[str, float]:
    """Days of work by row of crews.  New joints are those of reconstruction as well: they alone are no repair.

    A forecast expects parts of a casting or of a panel: where no quantity reaches ``least``, nobody is sent.
    """
    need = {key: float(amount[each[key][0]]) / each[key][1] for key in ACTIVITIES[kind]}
    need = {key: days for key, days in need.items() if days > 1e-9}
    reached = any(float(amount[each[key][0]]) >= least for key in need if key != "joint")
    return need if reached and (kind not in MINOR or sum(need.values()) >= LEAST_DAYS) else {}


def next_to_nothing(quantities: pd.DataFrame, items: Sequence[Activity], assumptions: Assumptions) -> dict[str, int]:
    """By activity, blocks on which some of it is expected, but so little that nobody is sent."""
    amounts = quantities.assign(sqyd=0.0, filling=quantities["crack_filling"] + quantities["joint_resealing"])
    item = assumptions.table("crews")["quantity"]
    sent = Counter(activity.kind for activity in items)
    found = {}
    for kind, keys in ACTIVITIES.items():
        largest = amounts[[str(item.at[key]) for key in keys if key != "joint"]].max(axis=1)
        found[kind] = int((largest > 1e-9).sum()) - sent[kind]
    return {kind: count for kind, count in found.items() if count > 0}


def _activity(block: int, kind: str, by_row: Mapping[str, float], crews: Mapping[Hashable, str], cuyd: float,
              limit: int | None) -> Activity:
    need: dict[str, float] = {}
    for key, each in by_row.items():
        need[crews[key]] = need.get(crews[key], 0.0) + each
    parts = max(1, int(np.ceil(PARTS * max(need.values()) - 1e-6)))
    most = limit * 10 // PARTS if limit else 0  # of a part of a day, so that no day has more than its limit
    if limit:
        parts = max(parts, int(np.ceil(10 * cuyd / most - 1e-6)))
    asks = {crew: max(1, min(WHOLE, int(np.ceil(WHOLE * PARTS * each / parts - 1e-6)))) for crew, each in need.items()}
    if parts > 1:  # the crew that sets the pace stays for the whole visit
        asks[max(need, key=lambda crew: need[crew])] = WHOLE
    return Activity(block, kind, parts, tuple(by_row), need, asks,
                    min(int(np.ceil(10 * cuyd / parts - 1e-6)), most) if limit else 0)
