"""The layout rules in feet, from the rows of ``layout_rules``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, NamedTuple

from rehab.base import tables
from rehab.base.settings import Assumptions
from rehab.base.units import IN_PER_FT

RANK: Final = {name: rank for rank, name in enumerate(tables.SEVERITIES)}


class Box(NamedTuple):
    """A rectangle in feet from the start and the left edge of the block, with its depth in inches."""

    x0: float
    x1: float
    y0: float
    y1: float
    depth_in: float


@dataclass(frozen=True)
class Rules:
    """The layout rules in feet, and the rank of severity from which a defect needs full or partial depth."""

    least_length_ft: float
    least_remainder_ft: float
    past_joint_ft: float
    beyond_ft: float
    partial_beyond_ft: float
    partial_side_ft: float
    partial_gap_ft: float
    partial_strip_ft: float
    least_depth_in: float
    into_sound_in: float
    deepest_in: float
    full_from: Mapping[str, int]
    partial_from: Mapping[str, int]
    curb_clear_ft: float


def rules_of(thickness_in: float, assumptions: Assumptions) -> Rules:
    """The rules for slabs of a thickness; :class:`BadAssumption` for a row that is missing or no number."""
    def number(key: str) -> float:
        return assumptions.number("layout_rules", key)

    bars = assumptions.text("layout_rules", "full.repairs_dowelled") == "yes"
    return Rules(
        number("full.least_length_dowelled_ft" if bars else "full.least_length_undowelled_ft"),
        number("full.least_remainder_ft"), number("full.past_dowelled_joint_ft"), number("full.beyond_damage_ft"),
        number("partial.beyond_damage_in") / IN_PER_FT, number("partial.least_side_in") / IN_PER_FT,
        number("partial.join_gap_in") / IN_PER_FT, number("partial.least_remainder_in") / IN_PER_FT,
        number("partial.least_depth_in"), number("partial.into_sound_in"),
        number("partial.greatest_depth_share") * thickness_in, _least("full_from.", assumptions),
        _least("partial_from.", assumptions), assumptions.number("dowels", "curb_clear_in") / IN_PER_FT,
    )


def _least(prefix: str, assumptions: Assumptions) -> dict[str, int]:
    """Rank of the least severity by defect, from the rows with a prefix."""
    rows = assumptions.table("layout_rules")["value"]
    return {str(key).removeprefix(prefix): RANK[str(value)] for key, value in rows.items()
            if str(key).startswith(prefix)}
