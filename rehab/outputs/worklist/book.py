"""The whole list: an overview of the year, orders by week, the cautions' sources, and a sheet per block."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, Final, Literal

from rehab.base.settings import Assumptions
from rehab.outputs.drawings import LETTER, Paper, Streets
from rehab.outputs.words import count, day, known, label, price, unit
from rehab.outputs.worklist.blocksheet import WIDTHS, write_block
from rehab.outputs.worklist.cautions import DECIDES, Caution, load_cautions
from rehab.outputs.worklist.gather import Content
from rehab.outputs.worklist.job import Chosen, Job
from rehab.outputs.worklist.orders import WHOLE, to_bring, whole_year
from rehab.outputs.worklist.paper import Workbook, sheet_name
from rehab.outputs.worklist.sheet import Book, Figure, Sheet
from rehab.outputs.worklist.traffic import SPEEDS_MPH, lengths

#: told how many of all blocks are done
Watch = Callable[[int, int], None]

_SKETCH_IN: Final = (5.8, 1.5)
_REACH_FT: Final = 200.0  #: shown around a block: its cross streets and the next ones
_LEAST: Final = 0.05  #: what shows as 0.0: traces that a forecast expects
_OVERVIEW_WIDTHS: Final = (4.5, 15.0, 16, 20, 11, 17, 10.5, 10.5, 10.5, 10.5, 10.5, 13.5, 9.5)
_OVERVIEW_HEAD: Final = ("No.", "Block", "Street", "From, to", "District", "Strategy", "Start", "Last patch",
                         "Grinding", "Finish", "Opens", "Likely cost", "Basis")
_ONES: Final = (1,) * len(_OVERVIEW_HEAD)


def workbook(listed: Content, assumptions: Assumptions, *, paper: Literal["letter", "A4"] = "letter",
             watch: Watch | None = None) -> bytes:
    """The work list of one year as the bytes of an XLSX file, laid out to print on ``paper``.

    Every text is written as text: the file holds no formula and no link outside itself.  Where actual sizes and
    quantities are entered, a hidden cell past the row's end says what the row is (:class:`~.sheet.Key`, as JSON).
    """
    file = Workbook(f"Work list {listed.year}", listed.year, paper)
    write(file, listed, assumptions, watch, plans=None)
    return file.file()


def write(book: Book, listed: Content, assumptions: Assumptions, watch: Watch | None = None, *,
          plans: Paper | None = LETTER) -> None:
    """Write all sheets into a book.

    ``plans`` is the paper, lying, that panel plans are drawn for; None for a book that keeps no scale.  ``watch`` is
    called after each block.
    """
    cautions = load_cautions()
    taken = {"overview", "orders", "cautions"}
    names = [sheet_name(f"{job.position} {job.name}", taken) for job in listed.jobs]
    _overview(book.sheet("Overview", _OVERVIEW_WIDTHS, landscape=True), listed, names)
    _orders(book.sheet("Orders"), listed)
    _cautions(book.sheet("Cautions"), cautions, assumptions)
    streets = Streets(listed.geometry, listed.streets)
    for done, (job, name) in enumerate(zip(listed.jobs, names, strict=True), start=1):
        length = job.sizes.get("length_ft")
        sketch = streets.sketch(job.name, width_in=_SKETCH_IN[0], height_in=_SKETCH_IN[1], reach_ft=_REACH_FT,
                                length_ft=float(length) if known(length) else None)  # type: ignore[arg-type]
        write_block(book.sheet(name, WIDTHS), job, sketch, cautions, listed.chosen, assumptions, listed.year, plans,
                    streets.bearing_deg(job.name))
        if watch is not None:
            watch(done, len(listed.jobs))


def _overview(sheet: Sheet, listed: Content, names: Sequence[str]) -> None:
    year, jobs = listed.year, listed.jobs
    sheet.line(f"Work list {year}", "title")
    guessed = sum(job.estimated for job in jobs)
    sheet.line(f"{count(len(jobs), 'block')}, likely cost {price(listed.cost_usd)} in dollars of {year}; "
               f"{count(guessed, 'block rests', 'blocks rest')} on estimated needs. Each block has a sheet, named "
               "by its number and block. Days are planning values.")
    for text in (_chosen_words(listed.chosen), _missing(listed)):
        if text:
            sheet.line(text, "warning")
    sheet.table(_ONES, _OVERVIEW_HEAD, [])
    sheet.repeat_above()
    if jobs:
        sheet.table(_ONES, (), [_line(job) for job in jobs])
        for row, (job, name) in enumerate(zip(jobs, names, strict=True)):
            sheet.link(job.name, name, table_row=row, column=1)
        sheet.table(_ONES, (), [["", "Total", *[""] * 9, Figure(listed.cost_usd, 2, "$"), ""]])
    if listed.notes:
        sheet.section("Notes")
        for text in listed.notes:
            sheet.line(text[:1].upper() + text[1:])
    sheet.section("How to use the list")
    sheet.line("A sheet has what the crew needs on the block, in the order in which it is needed. Actual sizes and "
               "quantities are entered as numbers in the pale cells of the workbook and can be read back to be "
               "compared with the plan; all else that a sheet leaves empty is written by hand or typed.")
    sheet.line(DECIDES, "warning")
    sheet.finish(f"Work list {year}, overview")


def _chosen_words(chosen: Chosen) -> str:
    """What the list was cut down to, if it was."""
    weeks = ", ".join(day(week) for week in chosen.weeks)
    parts = [f"the {'week' if len(chosen.weeks) == 1 else 'weeks'} of {weeks}"] if weeks else []
    parts += [", ".join(chosen.crews)] if chosen.crews else []
    return (f"Only for {' and for '.join(parts)}: blocks without a task there are left out. The order of work shows "
            "all tasks of a block and which of them are for this list." if parts else "")


def _missing(listed: Content) -> str:
    """Why a list is empty, and what to do about it."""
    if listed.jobs:
        return ""
    if listed.chosen:
        return "No block has a task there: choose other weeks or crews, or look at the season calendar."
    return (f"The program has no work in {listed.year} on the blocks that were chosen: choose another year or other "
            "blocks, or give the year a budget.")


def _line(job: Job) -> list[Any]:
    block = job.block
    ends = " to ".join(str(block[end]) for end in ("from_street", "to_street") if known(block.get(end)))
    given = [block["block_id"], block.get("street"), ends, block.get("district"), label(job.strategy),
             job.first() or "not scheduled", job.patched, job.first("grind"), job.last(), job.opens]
    return [job.position, *(value if known(value) else "" for value in given), Figure(job.cost_usd, 2, "$"),
            "estimated" if job.estimated else "counted"]


def _orders(sheet: Sheet, listed: Content) -> None:
    table = listed.orders[listed.orders["quantity"] >= _LEAST]
    sheet.line(f"Orders {listed.year}", "title")
    sheet.repeat_above()
    sheet.line("Materials with the waste factors of the pay items, in the week in which the task that uses them begins "
               "on the block; equipment as the most that is at work at once in the week. The part called estimated "
               "rests on an index, a rating or a word, not on counts: measure before ordering. Less than "
               f"{_LEAST} is left out; pieces are rounded up.")
    if table.empty:
        sheet.line("There is nothing to order: no block is listed, or none has quantities or tasks.")
    bought = table[table["kind"] == "material"]
    whole = whole_year(bought)
    if len(whole):
        sheet.section("Materials, all weeks")
        sheet.table([6, 2, 2, 2], ("Material", "Quantity", "Unit", "Of which estimated"),
                    [_amount(row, 1) for row in whole.to_dict("records")])
    for week, rows in table.groupby("week", dropna=False):
        sheet.section(f"Week of {day(week)}" if known(week) else "Not on the calendar")
        for kind, head, digits in (("material", "Material", 1), ("equipment", "Equipment", 0)):
            own = rows[rows["kind"] == kind]
            if len(own):
                sheet.table([4, 1, 1, 2, 4], (head, "Quantity", "Unit", "Of which estimated", "For"),
                            [[*_amount(row, digits), row["why"]] for row in own.to_dict("records")])
    sheet.finish(f"Work list {listed.year}, orders")


def _amount(row: dict[Any, Any], digits: int) -> list[Any]:
    amount, guessed = float(row["quantity"]), float(row["estimated"])
    if row["unit"] in WHOLE:
        (amount, digits), (guessed, _) = to_bring(amount, row["unit"]), to_bring(guessed, row["unit"])
    return [row["item"], Figure(amount, digits), unit(row["unit"]), Figure(guessed, digits) if guessed else ""]


def _cautions(sheet: Sheet, cautions: Sequence[Caution], assumptions: Assumptions) -> None:
    lane = assumptions.number("safety", "lane_ft")
    sheet.line("Cautions and where they come from", "title")
    sheet.repeat_above()
    sheet.line(DECIDES, "warning")
    sheet.line("The sheet of a block shows those of its own tasks, with its own figures. 'From memory' means that "
               "the source was not read for this list: look it up before relying on it.")
    sheet.section("Sources")
    pounds = {"pounds": f"{assumptions.number('safety', 'concrete_lb_per_cuft'):g}"}
    sheet.table([3, 6, 3], ("Caution", "Source", "How sure"),
                [(row.key.replace("_", " "), row.citation.format_map(pounds), row.status) for row in cautions])
    sheet.section(f"Lengths in feet of closing a lane of {lane:g} ft, by speed")
    sheet.line("Tapers: MUTCD Part 6 (text of 2009; the 11th edition of 2023 was not read): L = W S^2 / 60 up to "
               "40 mph, L = W S from 45 mph. Buffer: stopping sight distance. The posted speed, the 85th percentile or "
               "the expected speed counts, whichever the traffic plan says.")
    head = ("Speed, mph", "Merging taper, L", "Shifting taper, L / 2", "Shoulder, L / 3", "Buffer")
    sheet.table([2, 3, 3, 2, 2], head, [(speed, *lengths(speed, lane)) for speed in SPEEDS_MPH])
    sheet.finish("Cautions")
