"""The workbook: an overview of the year, materials by week, the cautions, and a sheet per block."""

from __future__ import annotations

from datetime import datetime
from io import BytesIO
from typing import Any, Final

import pandas as pd
import xlsxwriter

from rehab.base.settings import Assumptions
from rehab.outputs.words import count, day, known, label, money, unit
from rehab.outputs.worklist.blocksheet import write_block
from rehab.outputs.worklist.cautions import DECIDES, LANE_FT, Caution, load_cautions, taper_ft
from rehab.outputs.worklist.gather import Job, jobs, materials_by_week
from rehab.outputs.worklist.paper import Paper, formats_of, sheet_name

_ALL_SPEEDS: Final = tuple(range(20, 80, 5))


def workbook(overview: pd.DataFrame, network: pd.DataFrame, needs: pd.DataFrame, program: pd.DataFrame,
             quantities: pd.DataFrame, tasks: pd.DataFrame, repairs: pd.DataFrame, notes: pd.DataFrame,
             assumptions: Assumptions, year: int, *, order: str = "date") -> bytes:
    """The work list of one year as the bytes of an XLSX file.

    The tables are those of the contract; rows of other years and of blocks that the program leaves alone in
    ``year`` are passed over.  ``order`` is one of :data:`~rehab.outputs.worklist.gather.ORDERS`.  Every text is
    written as text: the file holds no formula and no link outside itself.
    """
    listed = jobs(overview, network, needs, program, quantities, tasks, repairs, notes, year, order)
    cautions = load_cautions()
    stream = BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False,
               "strings_to_numbers": False}
    with xlsxwriter.Workbook(stream, options) as book:
        book.set_properties({"title": f"Work list {year}", "created": datetime(year, 1, 1)})
        formats = formats_of(book)
        taken = {"overview", "materials", "cautions"}
        names = [sheet_name(f"{job.position} {job.block['block_id']}", taken) for job in listed]
        _overview(Paper(book, formats, "Overview", _OVERVIEW_WIDTHS), listed, names, notes, year)
        _materials(Paper(book, formats, "Materials"), materials_by_week(listed, assumptions), year)
        _cautions(Paper(book, formats, "Cautions"), cautions)
        for job, name in zip(listed, names, strict=True):
            write_block(Paper(book, formats, name), job, cautions, assumptions, year)
    return stream.getvalue()


_OVERVIEW_WIDTHS: Final = (4.5, 11.0, 16, 22, 11, 19, 10.5, 10.5, 10.5, 10.5, 10.5, 11, 9.5)
_OVERVIEW_HEAD: Final = ("No.", "Block", "Street", "From, to", "District", "Strategy", "Start", "Last patch",
                         "Grinding", "Finish", "Opens", "Likely, $", "Basis")


def _overview(paper: Paper, listed: list[Job], names: list[str], notes: pd.DataFrame, year: int) -> None:
    paper.line(f"Work list {year}", "title", lines=2)
    guessed = sum(job.estimated for job in listed)
    total = money(sum(job.cost_usd for job in listed))
    paper.line(f"{count(len(listed), 'block')}, likely cost {total} in dollars of {year}; "
               f"{count(guessed, 'block rests', 'blocks rest')} on estimated needs. Each block has a sheet, named "
               "by its number and block. Days are planning values.")
    top = paper.row
    paper.table([1] * len(_OVERVIEW_HEAD), _OVERVIEW_HEAD, [_line(job) for job in listed])
    for row, name in enumerate(names, start=top + 1):
        paper.link(row, 1, name, str(listed[row - top - 1].block["block_id"]))
    said = [str(text) for text in notes.loc[notes["block_id"].isna() & (notes["year"].isna()
                                            | (notes["year"] == year)), "message"]]
    if said:
        paper.section("Notes")
        for text in said:
            paper.line(text)
    paper.blank()
    paper.line(DECIDES)
    paper.print_setup(f"Work list {year}, overview", landscape=True, repeat=top + 1)
    paper.sheet.freeze_panes(top + 1, 2)
    if listed:
        paper.sheet.autofilter(top, 0, top + len(listed), len(_OVERVIEW_HEAD) - 1)


def _line(job: Job) -> list[Any]:
    block = job.block
    ends = " to ".join(str(block[end]) for end in ("from_street", "to_street") if known(block.get(end)))
    return [job.position, block["block_id"], block.get("street"), ends, block.get("district"),
            label(job.strategy), job.first() or "not scheduled", job.patched,
            job.first("grind"), job.last(), job.opens, round(job.cost_usd), "estimated" if job.estimated else "counted"]


def _materials(paper: Paper, table: pd.DataFrame, year: int) -> None:
    paper.line(f"Quantities and materials {year}", "title", lines=2)
    paper.line("Quantities of pay items and of the materials inside them, with the waste factors of the "
               "assumptions. The part called estimated rests on an index, a rating or a word, not on counts: "
               "measure before ordering.")
    paper.section("Whole year")
    keys = ["item", "part_of", "unit"]
    whole = table.groupby(keys, as_index=False)[["quantity", "estimated"]].sum().sort_values(["part_of", "item"])
    head = ("Item", "Part of", "Unit", "Quantity", "Of which estimated")
    paper.table([4, 4, 1, 1, 2], head, [_amount(row) for row in whole.to_dict("records")])
    paper.section("By week")
    paper.line("A quantity stands in the week in which the task that uses it begins on the block.")
    for week, rows in table.groupby("week", dropna=False):
        name = f"Week of {day(week)}" if known(week) else "Not on the calendar"
        paper.table([4, 4, 1, 1, 2], (name, "Part of", "Unit", "Quantity", "Of which estimated"),
                    [_amount(row) for row in rows.to_dict("records")])
        paper.blank()
    paper.print_setup(f"Work list {year}, materials", landscape=False, repeat=1)


def _amount(row: dict[Any, Any]) -> list[Any]:
    return [row["item"], row["part_of"], unit(row["unit"]), round(row["quantity"], 1),
            round(row["estimated"], 1) if row["estimated"] else None]


def _cautions(paper: Paper, cautions: list[Caution]) -> None:
    paper.line("Cautions and where they come from", "title", lines=2)
    paper.line(DECIDES, "warning")
    paper.line("The sheet of a block shows those of its own tasks, with its own figures. 'From memory' means that "
               "the source was not read for this list: look it up before relying on it.")
    paper.section("Sources")
    rows = [(row.key.replace("_", " "), row.citation, row.status) for row in cautions]
    paper.table([3, 6, 3], ("Caution", "Source", "How sure"), rows)
    paper.section(f"Taper lengths in feet for an offset of {LANE_FT:.0f} ft")
    paper.line("MUTCD Part 6 (text of 2009; the 11th edition of 2023 was not read): L = W S^2 / 60 up to 40 mph, "
               "L = W S from 45 mph. The posted speed, the 85th percentile or the expected speed counts, "
               "whichever the traffic plan says.")
    lengths = [taper_ft(speed, LANE_FT) for speed in _ALL_SPEEDS]
    paper.table([3, 3, 3, 3], ("Speed, mph", "Merging, L", "Shifting, L / 2", "Shoulder, L / 3"),
                [(speed, length, length / 2, length / 3)
                 for speed, length in zip(_ALL_SPEEDS, lengths, strict=True)])
    paper.print_setup("Cautions", landscape=False, repeat=1)
