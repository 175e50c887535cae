"""The sheet of one block: what to do, how much, when, what to tick off and what to beware of."""

from __future__ import annotations

from typing import Any, Final

from rehab.base.settings import Assumptions
from rehab.outputs.words import known, label, number, part_of, pay_items, place, share, unit
from rehab.outputs.worklist.cautions import DECIDES, Caution, cautions_for
from rehab.outputs.worklist.gather import Job
from rehab.outputs.worklist.paper import Paper
from rehab.outputs.worklist.steps import STEPS

_ESTIMATED: Final = ("Estimated: the quantities of this sheet rest on an index, a rating or a word, not on counts "
                     "of the block. Measure before ordering and before cutting.")

_SIZES: Final = (
    ("length_ft", "Length", "ft"), ("width_ft", "Width", "ft"), ("area_sqyd", "Area", "sq yd"),
    ("panel_length_ft", "Panel length", "ft"), ("panel_width_ft", "Panel width", "ft"), ("panels", "Panels", ""),
    ("thickness_in", "Thickness", "in"), ("dowelled", "Joints dowelled", ""), ("reinforced", "Steel in panels", ""),
    ("castings", "Castings", ""), ("year_built", "Built", "year"), ("adt", "Vehicles a day", ""),
    ("bus_route", "Bus route", ""), ("parking_ft", "Curb with parking", "ft"), ("utility_year", "Utility dig", "year"),
)
_SURVEY: Final = (
    ("panels_cracked", "Panels cracked", ""), ("panels_broken", "Panels broken", ""),
    ("panels_sunken", "Panels sunken", ""), ("corner_breaks", "Corner breaks", ""),
    ("panels_patched", "Panels patched", ""), ("cracked_ft", "Cracks", "ft"),
    ("spalled_joint_ft", "Spalled joint", "ft"), ("wide_joint_ft", "Wide joint", "ft"),
    ("hollow_sqft", "Hollow area", "sq ft"), ("damage_depth_in", "Damage depth", "in"),
    ("faulting_in", "Step at joints", "in"), ("sunken_curb_ft", "Sunken curb", "ft"),
    ("condition_index", "Condition index", ""), ("rating_1_10", "Rating, 1 to 10", ""),
    ("condition_word", "Condition", ""), ("material_distress", "Material distress", ""),
)
_NEEDS: Final = (
    ("panels_full", "Panels full depth", ""), ("full_sqyd", "Full depth", "sq yd"),
    ("partial_ft", "Partial depth", "ft"), ("partial_sqft", "Partial depth", "sq ft"),
    ("partial_depth_in", "Partial, depth", "in"), ("crack_ft", "Cracks to fill", "ft"),
    ("reseal_ft", "Joints to seal", "ft"), ("curb_ft", "Curb", "ft"), ("castings", "Castings", ""),
    ("box_outs", "Castings to box out", ""), ("stitch_ft", "Cracks to stitch", "ft"),
    ("retrofit_bars", "Dowels to retrofit", ""), ("jack_panels", "Panels to raise", ""),
    ("stabilise_panels", "Panels to stabilise", ""),
    ("grind_sqyd", "Grinding", "sq yd"), ("full_share", "Panels full depth", "%"),
    ("partial_share", "Panels partial", "%"),
)


def write_block(paper: Paper, job: Job, cautions: list[Caution], assumptions: Assumptions, year: int) -> None:
    """Fill the sheet of one block, top to bottom in the order in which a crew needs it."""
    block = job.block
    name, kinds = str(block["block_id"]), list(dict.fromkeys(str(row["task"]) for row in job.tasks))
    paper.line(f"No. {job.position}   Block {name}   {label(job.strategy)} {year}", "title", lines=2)
    paper.line(place(block.get("street"), block.get("from_street"), block.get("to_street")))
    repeat = paper.row
    if job.estimated:
        paper.line(_ESTIMATED, "warning")
    _header(paper, job)
    _quantities(paper, job, assumptions)
    _tasks(paper, job)
    _repairs(paper, job)
    paper.section("Cautions")
    applying = cautions_for(cautions, job.strategy, kinds, job.sizes)
    paper.table([9, 3], (), [(caution.text, _source(caution)) for caution in applying])
    paper.line(DECIDES, "warning")
    paper.next_page()
    _checklist(paper, job, kinds, assumptions)
    _records(paper, kinds)
    paper.print_setup(f"{name}, {label(job.strategy)} {year}", landscape=False, repeat=repeat)


def _header(paper: Paper, job: Job) -> None:
    block, sizes = job.block, job.sizes
    guessed = set(str(sizes["assumed"]).split("; ")) if known(sizes.get("assumed")) else set()
    street_class = block.get("functional_class")
    paper.section("Limits and sizes")
    rows = [("Start", job.first() or "not scheduled"), ("Last patch", job.patched or "none"),
            ("Opens", job.opens or "not known"), ("District", block.get("district")),
            ("Class", label(str(street_class)) if known(street_class) else None),
            ("By today's condition", label(str(block.get("strategy")))),
            ("Condition rests on", sizes.get("condition_source"))]
    rows += [(words, f"{_shown(sizes[name], of)} (assumed)" if name in guessed else _shown(sizes[name], of))
             for name, words, of in _SIZES if known(sizes.get(name))]
    paper.pairs(rows)
    surveyed = [(words, _shown(sizes[name], of)) for name, words, of in _SURVEY if known(sizes.get(name))]
    if surveyed:
        paper.section(f"Survey of {sizes['survey_year']:.0f}" if known(sizes.get("survey_year")) else "Survey")
        paper.pairs(surveyed)
    needed = [(words, _shown(job.needs[name], of)) for name, words, of in _NEEDS
              if known(job.needs.get(name)) and job.needs[name] > 0]
    if needed:
        mark = ", estimated" if job.estimated else ""
        paper.section(f"Needs in {job.needs['year']}{mark}")
        paper.pairs(needed)


def _quantities(paper: Paper, job: Job, assumptions: Assumptions) -> None:
    mark = ", estimated" if job.estimated else ""
    paper.section(f"Quantities and materials{mark}")
    if not job.quantities:
        paper.line("No quantity is given for this block.")
        return
    paper.line(f"Expected for the work in {job.quantities[0]['year']}; the survey and the needs above are older.")
    items = pay_items(assumptions.table("pay_items"))
    present = {row["pay_item"] for row in job.quantities}
    rows = [(items[row["pay_item"]].name, part_of(items, row["pay_item"], present), round(row["quantity"], 1),
             unit(row["unit"]), None) for row in job.quantities]
    paper.table([4, 4, 1, 1, 2], ("Item", "Part of", f"Planned{mark}", "Unit", "Actual"),
                sorted(rows, key=lambda row: (row[1] != "", row[1], row[0])))


def _tasks(paper: Paper, job: Job) -> None:
    paper.section("Tasks")
    if not job.tasks:
        paper.line("The block is not on the season calendar.")
    else:
        rows = [(label(row["task"]) + (" (next season)" if row["season"] == "next" else ""), row["crew"],
                 row["start"], row["finish"], row["opens"], None) for row in job.tasks]
        paper.table([3, 2, 2, 2, 2, 1], ("Task", "Crew", "Start", "Finish", "Opens", "Initials"), rows)
    for text in job.notes:
        paper.line(f"Note: {text}")


def _repairs(paper: Paper, job: Job) -> None:
    if not job.repairs or job.strategy == "reconstruction":  # the whole block goes: nothing is cut by itself
        return
    paper.section("Repairs from the panel survey")
    paper.line("Feet from the start of the block along it (x) and from its left edge (y), looking along the block.")
    head = ("No.", "Kind", "x, ft", "y, ft", "Length, ft", "Width, ft", "Depth, in", "Dowels", "Tie bars",
            "Actual size", "Done")
    columns = ("repair_id", "kind", "x_ft", "y_ft", "length_ft", "width_ft", "depth_in", "dowels", "tie_bars")
    rows = [(*(row[name] for name in columns), None, None) for row in job.repairs]
    paper.table([1, 2, 1, 1, 1, 1, 1, 1, 1, 1, 1], head, rows)


def _checklist(paper: Paper, job: Job, kinds: list[str], assumptions: Assumptions) -> None:
    paper.section("Checklist")
    if not job.tasks:
        paper.line("No task is on the calendar, so there is nothing to tick off yet.")
        return
    wait = number(assumptions.number("curing", "grind_after_patch_days"), 0)
    for kind in kinds:
        rows = [(None, step.format(wait=wait), None, None) for step in STEPS[kind]]
        paper.table([1, 8, 2, 1], ("Done", label(kind), "Date and time", "Initials"), rows)


def _records(paper: Paper, kinds: list[str]) -> None:
    """Room for what was really done: the pours and the sign-off."""
    if {"patch", "place"} & set(kinds):
        paper.section("Concrete placed and opened")
        head = ("Date", "Time", "Load ticket", "Air, F", "Concrete, F", "Slump, in", "Tested strength, psi",
                "Opened at", "Initials")
        paper.table([1, 1, 2, 1, 1, 1, 2, 2, 1], head, [(None,) * 9] * 4, tall=True)
    paper.section("Finished")
    paper.table([6, 4, 2], ("Problems and changes", "Supervisor", "Date"), [(None,) * 3], tall=True)


def _source(caution: Caution) -> str:
    return caution.citation if caution.status == "read" else f"{caution.citation} ({caution.status})"


def _shown(value: Any, of: str) -> str:
    """A value of the block with its unit; flags as yes and no, shares in per cent, years without separators."""
    if isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "yes" if value else "no"
    if of == "%":
        return share(value)
    if of == "year":
        return f"{value:.0f}"
    return f"{number(value, 2 if of == 'in' else 1)} {of}".strip()
