"""The checklist: what a crew ticks off, by kind of task, in the order of the work.

The order follows the sources of the season tables: FHWA, Full-Depth Repairs (web guide), section 5; UFC
3-270-03, chapter 3 (partial depth); Maryland 509 (grinding).  Limits are not repeated here: the specification
of the contract and the layout rules hold them.
"""

from __future__ import annotations

from typing import Final

STEPS: Final[dict[str, tuple[str, ...]]] = {
    "mark": (
        "Limits and count agree with this sheet; differences told to the engineer",
        "All of the surface sounded; hollow areas marked",
        "Cuts marked square; new damage since the survey added",
    ),
    "notice": (
        "Utility locate called in; day and ticket number written down",
        "Neighbours, bus operator, waste collection and emergency services told of days and hours",
        "Every utility has answered and its marks are seen and photographed before the first cut",
    ),
    "stabilise": (
        "Holes drilled where slabs were found loose; grout mix and pressure to the drawing",
        "Slab watched with a gauge: stopped when it lifts more than allowed",
        "Holes plugged; deflection or sounding checked again",
    ),
    "mill": (
        "Water and dust control running",
        "Edges sawn or milled square, outside the damage",
        "Depth reached sound concrete; sounded again; if damage goes deeper than the engineer allows: stop, call",
    ),
    "patch": (
        "Blasted, blown clean and dry; joint insert set through the full depth of the patch",
        "Bonding agent on, patching mix placed before it dries",
        "Finished flush with the slab; curing started at once; closed to traffic",
    ),
    "saw": (
        "811 ticket valid; marks clear of the cuts",
        "Full-depth cuts on the marks; neighbouring panels not overcut; overcuts to be filled",
        "Slurry vacuumed, inlets protected",
    ),
    "remove": (
        "Weight of the piece and reach of the crane checked; rigging inspected",
        "Lifted out without spalling the neighbouring panels",
        "Base looked at, soft spots dug out, compacted; wet base told to the engineer",
    ),
    "drill": (
        "Dust collection running",
        "Holes level, at mid-depth, on the marks, blown clean",
        "Grout or epoxy from the back of the hole; dowels aligned; free ends oiled",
    ),
    "place": (
        "Forms, joint board and castings set; base damp, no standing water",
        "Load ticket, slump, air and temperature recorded; cylinders made",
        "Vibrated at edges and dowels, struck off, tested with the straightedge, textured",
        "Curing on in time and full coverage; joints sawn before cracks run",
        "Opened only on tested strength",
    ),
    "joint": (
        "Sawn as soon as the edge does not ravel, and before cracks run",
        "Joints of the neighbouring slabs met in line; depth checked",
        "Slurry vacuumed",
    ),
    "curb": (
        "Line, level and fall to the inlet checked before forms are set",
        "Ramps built to the drawing; slopes measured and written down",
        "Castings set to the finished surface; curing on in time",
    ),
    "retrofit": (
        "Slots cut parallel to the lane, square to the joint, blown and blasted clean",
        "Dowels on chairs at mid-depth, aligned, with their caps and the joint board",
        "Slots filled flush, finished and cured; closed to traffic until strong enough",
    ),
    "stitch": (
        "Holes drilled at the angle and spacing of the drawing, alternating from side to side of the crack",
        "Holes blown clean; epoxy from the back of the hole; bars below the surface",
        "Epoxy set before traffic",
    ),
    "fill": (
        "Curing is complete; joint and crack clean and dry",
        "Backer rod and sealant to the drawing",
        "Sealant set before traffic",
    ),
    "grind": (
        "At least {wait} days since the last patch of the block",
        "Markings removed; castings known to the operator; joints sound",
        "Slurry vacuumed and hauled; none in gutters or inlets",
        "Straightedge checked; feathered at gutters and crossings",
    ),
    "stripe": (
        "New concrete old enough for paint; surface clean and dry",
        "Layout agrees with the drawing; temporary markings gone",
        "All signs, cones and debris removed",
    ),
}
