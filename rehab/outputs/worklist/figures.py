"""The figures of a block that its cautions, steps and hold points name."""

from __future__ import annotations

from math import log10
from typing import Final

from rehab.base.settings import Assumptions
from rehab.base.units import CUFT_PER_CUYD, IN_PER_FT, SQFT_PER_SQYD
from rehab.outputs.words import MISSING, known, number
from rehab.outputs.worklist.job import Job, Row
from rehab.outputs.worklist.traffic import Lengths, lengths

_PANEL: Final = ("panel_length_ft", "panel_width_ft", "thickness_in")
_HEARD_FT: Final = 50.0  #: where sound levels of equipment are given


def figures(job: Job, assumptions: Assumptions) -> dict[str, str]:
    """Each figure as text by the name that texts give it in braces; what is not known of the block says so."""
    def of(table: str, key: str) -> str:
        return number(assumptions.number(table, key), 2)

    closure = closed_lane(job, assumptions)
    named = {name: number(getattr(closure, name), 0) if closure else MISSING for name in Lengths._fields}
    saw = assumptions.number("safety", "sound_dba.saw")
    root = assumptions.number("safety", "root_ft_per_in")
    return {
        **named, **_lifting(job, assumptions), "speed": speed_words(job),
        "lane": of("safety", "lane_ft"), "hand_dig": of("safety", "locate_hand_dig_in"),
        "ticket_days": of("safety", "ticket_days"), "from_hour": _hour(assumptions, "noise_from_hour"),
        "until_hour": _hour(assumptions, "noise_until_hour"), "pounds": of("safety", "concrete_lb_per_cuft"),
        "factor": of("safety", "first_lift_factor"), "saw_dba": number(saw, 0),
        "breaker_dba": of("safety", "sound_dba.breaker"), "saw_100": number(sound_dba(saw, 100), 0),
        "saw_200": number(sound_dba(saw, 200), 0), "root": number(root, 1), "root_18": number(18 * root, 0),
        "locate_days": of("season", "locate_days"), "notice_days": of("season", "notice_days"),
        "grind_days": of("curing", "grind_after_patch_days"), "seal_days": of("curing", "seal_after_concrete_days"),
        "stripe_days": of("curing", "stripe_after_concrete_days"), "seal_low": of("season", "seal_low_f"),
        "stripe_low": of("season", "stripe_low_f"), "stripe_high": of("season", "stripe_high_f"),
        "deepest": _deepest(job, assumptions), "slurry": _slurry(job, assumptions),
        "stitch_angle": of("companions", "stitch.angle_deg"), "stitch_spacing": of("companions", "stitch.spacing_in"),
    }


def _hour(assumptions: Assumptions, key: str) -> str:
    """An hour of the day as a clock of twelve hours shows it: '7 am', '6:30 pm', 'midnight'."""
    minutes = round(60 * assumptions.number("safety", key)) % (24 * 60)
    if minutes in (0, 12 * 60):
        return "noon" if minutes else "midnight"
    past = f":{minutes % 60:02d}" if minutes % 60 else ""
    return f"{(minutes // 60 - 1) % 12 + 1}{past} {'am' if minutes < 12 * 60 else 'pm'}"


def closed_lane(job: Job, assumptions: Assumptions) -> Lengths | None:
    """The lengths of closing one lane at the block's speed; None if the speed is not known."""
    speed = job.sizes.get("speed_mph")
    return lengths(float(speed), assumptions.number("safety", "lane_ft")) if known(speed) else None  # type: ignore[arg-type]


def speed_words(job: Job) -> str:
    """The posted speed, and whether it was assumed from the class of the street."""
    speed = job.sizes.get("speed_mph")
    if not known(speed):
        return "posted speed not known"
    return f"posted {number(speed, 0)} mph{' (assumed)' if 'speed_mph' in assumed(job) else ''}"


def assumed(job: Job) -> set[str]:
    """The columns of the block that were filled with a default."""
    return set(str(job.sizes["assumed"]).split("; ")) if known(job.sizes.get("assumed")) else set()


def panel_weight_lb(area_sqft: float, thickness_in: float, lb_per_cuft: float) -> float:
    """Weight in pounds of a piece of slab: area x thickness x weight of concrete."""
    return area_sqft * thickness_in / IN_PER_FT * lb_per_cuft


def sound_dba(at_50_ft: float, distance_ft: float) -> float:
    """Sound level farther off, in the open: 20 log10 of the distance less (a point source, from memory)."""
    return at_50_ft - 20 * log10(distance_ft / _HEARD_FT)


def slurry_cuyd(area_sqyd: float, depth_in: float) -> float:
    """Solid concrete that grinding takes off, in cubic yards: area x mean depth."""
    return area_sqyd * SQFT_PER_SQYD * depth_in / IN_PER_FT / CUFT_PER_CUYD


def _lifting(job: Job, assumptions: Assumptions) -> dict[str, str]:
    """A whole panel, and the heaviest repair that is lifted: weights and first pulls."""
    each = assumptions.number("safety", "concrete_lb_per_cuft")
    factor = assumptions.number("safety", "first_lift_factor")
    pulls = []
    if all(known(job.sizes.get(name)) for name in _PANEL):
        length, width, thickness = (float(job.sizes[name]) for name in _PANEL)
        weight = panel_weight_lb(length * width, thickness, each)
        guessed = " (size assumed)" if set(_PANEL) & assumed(job) else ""
        panel = (f"a whole panel of {number(length)} x {number(width)} ft, {number(thickness)} in thick{guessed}, "
                 f"weighs about {number(weight, 0)} lb.")
        pulls.append(f"{number(weight * factor, 0)} lb for the panel")
    else:
        panel = "the size of the panels is not known: work their weight out before lifting."
    piece, pull = _largest([row for row in job.repairs if row["kind"] != "partial depth"], each, factor, assumptions)
    return {"panel": panel, "piece": piece, "pull": " and ".join([*pulls, *pull]) or MISSING}


def _largest(lifted: list[Row], each: float, factor: float, assumptions: Assumptions) -> tuple[str, list[str]]:
    if not lifted:
        return "", []
    def weight_of(row: Row, length: float) -> float:
        return panel_weight_lb(length * float(row["width_ft"]), float(row["depth_in"]), each)

    row = max(lifted, key=lambda row: (weight_of(row, float(row["length_ft"])), -row["repair_id"]))
    length, most = float(row["length_ft"]), assumptions.number("layout_rules", "full.piece_ft")
    weight = weight_of(row, length)
    words = (f" The largest repair, No. {row['repair_id']}, {number(length, 2)} x {number(row['width_ft'], 2)} ft, "
             f"{number(row['depth_in'], 2)} in deep: {number(weight, 0)} lb")
    if length <= most:
        return f"{words}.", [f"{number(weight * factor, 0)} lb for the largest repair"]
    part = max(weight_of(other, min(float(other["length_ft"]), most)) for other in lifted)
    return (f"{words}; cut into pieces of at most {number(most)} ft no piece is over {number(part, 0)} lb.",
            [f"{number(part * factor, 0)} lb for the largest piece"])


def _deepest(job: Job, assumptions: Assumptions) -> str:
    """The depth at which a patch becomes a full-depth repair."""
    share = assumptions.number("layout_rules", "partial.greatest_depth_share")
    if not known(job.sizes.get("thickness_in")):
        return f"{number(100 * share, 0)} % of the slab"
    return f"{number(share * float(job.sizes['thickness_in']), 1)} in"


def _slurry(job: Job, assumptions: Assumptions) -> str:
    area = sum(float(row["quantity"]) for row in job.quantities if row["pay_item"] == "diamond_grinding")
    depth = assumptions.number("safety", "grind_depth_in")
    if not area:
        return "its solids are area x depth ground"
    return (f"about {number(slurry_cuyd(area, depth), 1)} cu yd of solid concrete from {number(area, 0)} sq yd at a "
            f"mean depth of {number(depth, 2)} in, and several times that with its water")
