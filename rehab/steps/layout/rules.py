"""The layout rules in feet, from the rows of ``layout_rules``, and the prices that decide between valid layouts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from rehab.base.settings import Assumptions
from rehab.base.units import CUFT_PER_CUYD, IN_PER_FT, SQFT_PER_SQYD
from rehab.steps.layout.bars import gets_dowels


class Box(NamedTuple):
    """A rectangle in feet from the start and the left edge of the block, with its depth in inches."""

    x0: float
    x1: float
    y0: float
    y1: float
    depth_in: float


@dataclass(frozen=True)
class Rules:
    """The layout rules for slabs of one thickness: feet, inches for depths."""

    dowels: bool
    least_length_ft: float
    least_remainder_ft: float
    past_joint_ft: float
    beyond_ft: float
    about_the_damage: bool
    whole_panel_from_share: float
    keep_from_cracks: bool
    utility_beyond_ft: float
    utility_near_ft: float
    box_clear_ft: float
    box_strip_ft: float
    partial_beyond_ft: float
    partial_side_ft: float
    partial_gap_ft: float
    partial_strip_ft: float
    whole_joint_from: int
    replace_when_dearer: bool
    least_depth_in: float
    into_sound_in: float


class Prices(NamedTuple):
    """What a full-depth repair of one width costs, by the unit prices of the parts it is made of.

    ``each_usd`` for its two ends and for being one more, ``per_ft`` for a foot of its length, ``joint_usd`` for a
    joint remade inside, ``longest_ft`` the longest panel; ``join_ft`` is the published distance under which two are
    joined where the city goes by it, else zero; ``patch_usd_per_sqft`` is the price of partial depth.
    """

    each_usd: float
    per_ft: float
    joint_usd: float
    longest_ft: float
    join_ft: float
    patch_usd_per_sqft: float


def rules_of(thickness_in: float, assumptions: Assumptions) -> Rules:
    """The rules for slabs of a thickness; :class:`BadAssumption` for a row that is missing or no number."""
    def number(key: str) -> float:
        return assumptions.number("layout_rules", key)

    def yes(key: str, word: str = "yes") -> bool:
        return assumptions.text("layout_rules", key) == word

    bars = bool(gets_dowels(thickness_in, assumptions))
    return Rules(
        bars, number("full.least_length_dowelled_ft" if bars else "full.least_length_undowelled_ft"),
        number("full.least_remainder_ft"), number("full.past_dowelled_joint_ft"), number("full.beyond_damage_ft"),
        yes("full.grow", "about the damage"), number("full.whole_panel_from_share"), yes("full.keep_from_cracks"),
        number("utility.beyond_ft"), number("utility.whole_panel_within_ft"),
        number("casting.clear_ft"), number("casting.least_strip_ft"),
        number("partial.beyond_damage_in") / IN_PER_FT, number("partial.least_side_in") / IN_PER_FT,
        number("partial.join_gap_in") / IN_PER_FT, number("partial.least_remainder_in") / IN_PER_FT,
        int(number("partial.whole_joint_from")), yes("partial.replace_when_dearer"),
        number("partial.least_depth_in"), number("partial.into_sound_in"),
    )


def prices_of(thickness_in: float, width_ft: float, dowelled_joints: bool, dowels_per_end: float,
              assumptions: Assumptions) -> Prices:
    """The prices for repairs of one width and thickness."""
    end = end_usd(width_ft, dowels_per_end, assumptions)
    past = assumptions.number("layout_rules", "full.past_dowelled_joint_ft") if dowelled_joints else 0.0
    published = assumptions.text("layout_rules", "full.join") == "published"
    longest = max(assumptions.number("layout_rules", "full.longest_panel_ft"), 2 * past)
    return Prices(
        2 * end + assumptions.number("layout_rules", "full.each_usd"), width_ft * area_usd(thickness_in, assumptions),
        end, longest, published_join_ft(thickness_in, width_ft, assumptions) if published else 0.0,
        assumptions.number("pay_items", "partial_depth_patch"))


def end_usd(width_ft: float, dowels: float, assumptions: Assumptions) -> float:
    """One end of a full-depth repair: sawn, dowelled, its joint formed and sealed."""
    def price(key: str) -> float:
        return assumptions.number("pay_items", key)

    return width_ft * (price("saw_cut") + price("new_joint")) + dowels * price("dowel")


def area_usd(thickness_in: float, assumptions: Assumptions) -> float:
    """A square foot of full-depth repair: removal, base and concrete; the cuts along its sides are small beside it."""
    def price(key: str) -> float:
        return assumptions.number("pay_items", key)

    return ((price("removal_full") + price("base_repair")) / SQFT_PER_SQYD
            + price("concrete_full") * thickness_in / IN_PER_FT / CUFT_PER_CUYD)


def published_join_ft(thickness_in: float, width_ft: float, assumptions: Assumptions) -> float:
    """The published distance under which two full-depth repairs are joined, feet.

    The table for the nearest whole thickness and width, and outside it the constant volume that the table follows:
    90 cu ft of concrete between the two (source ``tb002``).
    """
    key = f"join_ft.{round(thickness_in)}.{round(width_ft)}"
    if key in assumptions.table("layout_rules").index:
        return assumptions.number("layout_rules", key)
    volume = assumptions.number("layout_rules", "full.join_volume_cuft")
    return volume * IN_PER_FT / (thickness_in * width_ft)


def economic_join_ft(thickness_in: float, width_ft: float, dowels_per_end: float, assumptions: Assumptions) -> float:
    """The distance under which one longer repair costs less than two, by the unit prices, feet.

    gap < (2 ends + one repair more) / (width x price of the area): two transverse ends are saved.
    """
    saved = 2 * end_usd(width_ft, dowels_per_end, assumptions) + assumptions.number("layout_rules", "full.each_usd")
    return saved / (width_ft * area_usd(thickness_in, assumptions))
