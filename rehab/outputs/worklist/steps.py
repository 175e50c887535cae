"""The checklist: what a crew ticks off, by kind of task, in the order of the work; and where the work must stop.

The order follows the sources of the season tables: FHWA, Full-Depth Repairs (web guide), section 5; UFC
3-270-03, chapter 3 (partial depth); Maryland 509 (grinding).  Words in braces are figures of the block.
"""

from __future__ import annotations

from typing import Final, NamedTuple


class Step(NamedTuple):
    """One step, and what is written down beside the tick, if anything."""

    text: str
    write: str = ""


class Hold(NamedTuple):
    """Before these tasks the work stops until somebody has looked; where that comes from.

    ``first`` says before what, where the names of the tasks do not; ``needs`` is a task without which there is no stop.
    """

    before: tuple[str, ...]
    text: str
    who: str
    source: str
    first: str = ""
    needs: str = ""


_PRACTICE: Final = "practice"  #: common practice, no source

TRAFFIC: Final = "Traffic on it"

HOLDS: Final[tuple[Hold, ...]] = (
    Hold(("stabilise", "mill", "saw", "remove", "curb", "retrofit", "stitch"),
         "every utility has answered, its marks are seen and photographed, the ticket is valid", "Supervisor",
         "811, state one-call law (read)", "First cut, hole or dig"),
    Hold(("mill", "saw", "remove"), "the surface is sounded, the cuts are marked and agreed", "Engineer", _PRACTICE),
    Hold(("patch",), "removal has reached sound concrete all over; from {deepest} on it is a full-depth repair",
         "Engineer", "FHWA checklist 9: deeper damage goes full depth (read); this city's depth"),
    Hold(("remove",), "the piece's weight, the rigging and the reach of the crane are checked", "Rigger",
         "29 CFR 1926.251 (read)"),
    Hold(("drill", "place"), "the base is looked at, made good, compacted and accepted", "Engineer", _PRACTICE),
    Hold(("place",), "bars are set level and fast, their grout holds", "Inspector",
         "Ohio 255.02: the grout holds the bar within 30 minutes (read)", needs="drill"),
    Hold(("patch", "place", "curb"), "air and concrete are within the limits of this sheet, and stay so until it opens",
         "Inspector", "weather limits as set for this city"),
    Hold(("patch", "place", "retrofit"), "strength tested, or the time of the opening rule passed", "Engineer",
         _PRACTICE, TRAFFIC),
    Hold(("fill",), "{seal_days} days since the last concrete; joints and cracks dry and clean", "Supervisor",
         "UFC 3-270-03, 16.6 and 16.7: curing complete (read)"),
    Hold(("grind",), "{grind_days} days since the last patch, panel or dowel in a slot; castings low or known",
         "Supervisor", _PRACTICE),
    Hold(("stripe",), "{stripe_days} days since the last concrete; surface clean and dry", "Supervisor",
         "UFGS 02763A, 3.1 (read)"),
)

STEPS: Final[dict[str, tuple[Step, ...]]] = {
    "mark": (
        Step("Limits and count agree with this sheet; differences told to the engineer"),
        Step("All of the surface sounded; hollow areas marked"),
        Step("Cuts marked square; new damage since the survey added", "added:"),
        Step("Trees, inlets and castings in the work marked on the surface"),
    ),
    "notice": (
        Step("Utility locate called in; ticket number written on this sheet", "day, time:"),
        Step("Neighbors, bus operator, waste collection and emergency services told of days and hours", "day:"),
        Step("Every utility has answered; its marks are seen and photographed before the first cut", "day:"),
    ),
    "stabilise": (
        Step("Holes drilled where slabs were found loose; grout mix and pressure to the drawing", "psi:"),
        Step("Slab watched with a gauge: stopped when it lifts more than allowed", "lift, in:"),
        Step("Holes plugged; deflection or sounding checked again"),
    ),
    "mill": (
        Step("Water and dust control running"),
        Step("Edges sawn or milled square, outside the damage"),
        Step("Depth reached sound concrete; sounded again; from {deepest} on: stop, call the engineer", "deepest, in:"),
    ),
    "patch": (
        Step("Blasted, blown clean and dry; joint insert set through the full depth of the patch"),
        Step("Bonding agent on, patching mix placed before it dries", "time, air F:"),
        Step("Finished flush with the slab, straightedge checked"),
        Step("Curing started at once; closed to traffic", "time:"),
    ),
    "saw": (
        Step("811 ticket valid; marks clear of the cuts"),
        Step("Full-depth cuts on the marks; neighboring panels not overcut; overcuts to be filled"),
        Step("Slurry vacuumed, inlets protected"),
    ),
    "remove": (
        Step("Weight of the piece and reach of the crane checked; rigging inspected"),
        Step("Lifted out without spalling the neighboring panels"),
        Step("Base looked at, soft spots dug out, compacted; wet base told to the engineer", "accepted:"),
    ),
    "drill": (
        Step("Dust collection running, respirators on"),
        Step("Holes level, at mid-depth, on the marks, blown clean"),
        Step("Grout or epoxy from the back of the hole; dowels aligned; free ends oiled", "time:"),
    ),
    "place": (
        Step("Forms, joint board and castings set; base damp, no standing water"),
        Step("Load ticket, slump, air and temperature recorded below; cylinders or probes set"),
        Step("Vibrated at edges and dowels, struck off, tested with the straightedge, textured"),
        Step("Curing on in time and full coverage", "time, gal:"),
        Step("Opened only on tested strength"),
    ),
    "joint": (
        Step("Sawn as soon as the edge does not ravel, and before cracks run", "time:"),
        Step("Joints of the neighboring slabs met in line; depth checked", "depth, in:"),
        Step("Slurry vacuumed"),
    ),
    "curb": (
        Step("Line, level and fall to the inlet checked before forms are set"),
        Step("Ramps built to the drawing; slopes measured and written down", "slopes, %:"),
        Step("Castings set to the finished surface; curing on in time", "time:"),
    ),
    "retrofit": (
        Step("Slots cut parallel to the lane, square to the joint, blown and blasted clean"),
        Step("Dowels on chairs at mid-depth, aligned, with their caps and the joint board"),
        Step("Slots filled flush, finished and cured; closed to traffic until strong enough", "time:"),
    ),
    "stitch": (
        Step("Holes at {stitch_angle} degrees, {stitch_spacing} in apart, alternating from side to side of the crack"),
        Step("Holes blown clean; epoxy from the back of the hole; bars below the surface"),
        Step("Epoxy set before traffic", "time:"),
    ),
    "fill": (
        Step("Joint and crack clean and dry", "air F:"),
        Step("Backer rod and sealant to the drawing", "sealant F:"),
        Step("Sealant set before traffic"),
    ),
    "grind": (
        Step("At least {grind_days} days since the last patch of the block", "last patch:"),
        Step("Markings removed; castings known to the operator; joints sound"),
        Step("Slurry vacuumed and hauled; none in gutters or inlets", "loads:"),
        Step("Straightedge checked; feathered at gutters and crossings"),
    ),
    "stripe": (
        Step("New concrete old enough for paint; surface clean and dry", "air F:"),
        Step("Layout agrees with the drawing; temporary markings gone"),
        Step("All signs, cones and debris removed"),
    ),
}
