"""The sheet of one block: where, when, what and how much, then what to beware of, to tick off and to write down."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import Any, Final

import pandas as pd

from rehab.base.settings import Assumptions
from rehab.base.tables import with_types
from rehab.base.units import cubic_yards
from rehab.outputs.drawings import Drawing, Paper, panel_plan
from rehab.outputs.drawings.scale import station
from rehab.outputs.words import PayItem, count, day, known, label, number, pay_items, place, unit
from rehab.outputs.worklist import days
from rehab.outputs.worklist.cautions import Caution
from rehab.outputs.worklist.checks import write_checks
from rehab.outputs.worklist.figures import assumed, closed_lane, figures, speed_words
from rehab.outputs.worklist.job import Chosen, Job, Row
from rehab.outputs.worklist.orders import Amount, equipment, materials, to_bring, waste_words
from rehab.outputs.worklist.sheet import Figure, Key, Sheet

#: the grid of the sheet in characters: the columns of the repairs, which other tables take several of
WIDTHS: Final = (3.7, 9.6, 7.4, 6.3, 6.6, 6.4, 6.4, 6.7, 6.7, 7.0, 5.5, 7.1, 7.1, 7.1, 6.4, 5.6, 7.5)

_ESTIMATED: Final = ("Estimated: the quantities of this sheet rest on an index, a rating or a word, not on counts "
                     "of the block. Measure before ordering and before cutting.")
_SIZES: Final = (
    ("panel_length_ft", "Panel length", "ft"), ("panel_width_ft", "Panel width", "ft"), ("panels", "Panels", ""),
    ("thickness_in", "Thickness", "in"), ("dowelled", "Joints dowelled", ""), ("reinforced", "Steel in panels", ""),
    ("castings", "Castings", ""), ("parking_ft", "Curb with parking", "ft"), ("bus_route", "Bus route", ""),
    ("utility_year", "Utility dig", "year"),
)
#: what is written of a repair by hand, over how many columns of the grid, and rows for it
_BY_HAND: Final = ((2, "Kind"), (2, "Station"), (1, "Offset, ft"), (2, "Length, ft"), (2, "Width, ft"),
                   (1, "Depth, in"), (1, "Dowels"), (1, "Ties"), (2, "Placed, time"), (2, "Concrete, F"), (1, "Init."))
_MORE, _ALL = 3, 8
_IF_SO: Final = ("reinforced", "bus_route", "parking_ft")  #: said only where there is any
_LEAST: Final = 0.05  #: quantities that show as 0.0: traces that a forecast expects
_KINDS: Final = {"full depth": "Full depth", "partial depth": "Partial", "casting box-out": "Box-out"}
_FORM: Final = (2, 3, 2, 3, 3, 4)  #: three labels with their values
_REPAIRS: Final = ("No.", "Repair", "Station", "Offset, ft", "Length, ft", "Width, ft", "Depth, in", "Area, sq ft",
                   "Vol., cu yd", "Dowels", "Tie bars", "Actual length, ft", "Actual width, ft", "Actual depth, in",
                   "Time", "Conc. F", "Initials")


def write_block(sheet: Sheet, job: Job, sketch: Drawing | None, cautions: Sequence[Caution], chosen: Chosen,
                assumptions: Assumptions, year: int, plans: Paper | None, bearing_deg: float | None) -> None:
    """Fill the sheet of one block, top to bottom in the order in which a crew needs it.

    ``plans`` is the paper that its panel plan is drawn for, if its panels were surveyed; None leaves the plan out.
    ``bearing_deg``: where the block's line points, clockwise from north, for the plan's arrow; None if not known.
    """
    block = job.block
    sheet.line(f"No. {job.position}   Block {job.name}   {label(job.strategy)} {year}", "title")
    sheet.line(place(block.get("street"), block.get("from_street"), block.get("to_street")))
    sheet.repeat_above()
    if job.estimated:
        sheet.line(_ESTIMATED, "warning")
    if sketch is not None:
        sheet.picture(sketch)
    _where(sheet, job)
    _when(sheet, job, assumptions)
    _traffic(sheet, job, assumptions)
    _order_of_work(sheet, job, chosen)
    _repairs(sheet, job, year)
    _found(sheet, job)
    _quantities(sheet, job, assumptions, year)
    _loads(sheet, job, assumptions)
    write_checks(sheet, job, cautions, figures(job, assumptions))
    if plans is not None and job.surveyed:
        sheet.plan(_plan(job, plans, bearing_deg))
    elif job.surveyed:
        sheet.line("The panel plan to scale, with every repair, is in the PDF of this list.", "small")
    sheet.finish(f"{job.name}, {label(job.strategy)} {year}")


def _where(sheet: Sheet, job: Job) -> None:
    block, sizes = job.block, job.sizes
    sheet.section("Where")
    ends = [f"at {block[end]}" if known(block.get(end)) else "" for end in ("from_street", "to_street")]
    rows: list[tuple[str, Any]] = []
    if known(sizes.get("length_ft")):
        rows += [("Start station", f"{station(0.0)} {ends[0]}".strip()),
                 ("End station", f"{station(float(sizes['length_ft']))} {ends[1]}".strip())]
    if known(sizes.get("width_ft")):
        rows.append(("Width", f"{number(sizes['width_ft'])} ft, curb to curb"))
    rows += [("District", block["district"])] if known(block.get("district")) else []
    guessed = assumed(job)
    rows += [(words, _shown(sizes[name], of) + (" (assumed)" if name in guessed else ""))
             for name, words, of in _SIZES if known(sizes.get(name)) and (name not in _IF_SO or sizes[name])]
    _form(sheet, rows)


def _when(sheet: Sheet, job: Job, assumptions: Assumptions) -> None:
    sheet.section("When")
    window, none = days.span([job.first(), job.last()]), "none" if job.tasks else "not known"
    first, (asked, ends) = job.first(*days.CUTTING), days.marks(job, assumptions)
    locate = int(assumptions.number("season", "locate_days"))
    rows: list[tuple[str, Any]] = [
        ("Work", window or "not on the calendar"), ("Opens, plan", _day(job.opens, "not known")), ("Supervisor", None),
        ("Last patch", _day(job.patched, none)), ("Grinding", _day(job.first("grind"), none)),
        ("811 ticket No.", None)]
    if first is not None:
        told = f"{day(ends)}, if called {asked:%d %b}" if asked is not None else "not known"
        call = days.call_by(first, locate, days.holidays_before(first, assumptions))
        rows += [("Call 811 by", day(call)), ("Marks run out", told), ("Ticket valid until", None)]
    _form(sheet, rows)
    rules = days.opening_rules(job, assumptions)
    if rules:
        sheet.line(f"Opening rule: {'; '.join(rules)}. The days are planning values: field tests and the engineer "
                   "decide.")
    limits = days.weather_limits(job, assumptions)
    if limits:
        sheet.line(f"Weather limits: {'; '.join(limits)}.")
    late = _too_late(job, assumptions)
    if late:
        sheet.line(late, "warning")


def _too_late(job: Job, assumptions: Assumptions) -> str:
    """Cutting that goes on after the utility marks have run out."""
    (asked, ends), last = days.marks(job, assumptions), job.last(*days.CUTTING)
    if ends is None or last is None or last <= ends:
        return ""
    return (f"Cutting goes on until {day(last)}, but utility marks that are asked for on {day(asked)} run out on "
            f"{day(ends)}: call later, or have them renewed in time.")


def _traffic(sheet: Sheet, job: Job, assumptions: Assumptions) -> None:
    sheet.section("Traffic")
    closure, lane = closed_lane(job, assumptions), number(assumptions.number("safety", "lane_ft"))
    rows: list[tuple[str, Any]] = [("Closure", "[  ] lane   [  ] half   [  ] full"), ("Hours", None),
                                   ("Speed", speed_words(job))]
    if closure is not None:
        rows += [(f"Taper, {lane} ft", f"{number(closure.merging, 0)} ft"),
                 ("Buffer", f"{number(closure.buffer, 0)} ft"),
                 ("Shifting, shoulder taper", f"{number(closure.shifting, 0)} ft, {number(closure.shoulder, 0)} ft")]
    _form(sheet, rows)
    width = job.sizes.get("width_ft")
    if known(width) and float(width) < 2 * assumptions.number("safety", "lane_ft"):  # type: ignore[arg-type]
        sheet.line(f"{number(width)} ft wide, less than two lanes of {lane} ft: nobody can pass beside a closed lane. "
                   "Close it as a whole; tapers and buffer are then for the streets that lead to it.", "warning")


def _order_of_work(sheet: Sheet, job: Job, chosen: Chosen) -> None:
    sheet.section("Order of work")
    if not job.tasks:
        sheet.line("The block is not on the season calendar.")
    else:
        marked = bool(chosen)
        head = ["Task", "Crew", *(["This list"] if marked else []), "Start", "Finish", "Opens, likely", "Soonest",
                "Latest", "Initials"]
        rows = [[label(row["task"]) + (" (next season)" if row["season"] == "next" else ""), row["crew"],
                 *([chosen.other(row) or "yes"] if marked else []), row["start"], row["finish"],
                 *(row[name] if known(row[name]) else "" for name in ("opens", "opens_soonest", "opens_latest")), None]
                for row in job.tasks]
        sheet.table([3, *((2, 1) if marked else (3,)), 2, 2, 2, 2, 2, 1], head, rows)
        said: dict[str, list[str]] = {}
        for row in job.tasks:
            if known(row["cautions"]):
                said.setdefault(str(row["cautions"]), []).append(label(row["task"]))
        for text, tasks in said.items():
            sheet.line(f"{', '.join(tasks)}: {text}.")
    for text in job.notes:
        sheet.line(f"Note: {text}")


def _repairs(sheet: Sheet, job: Job, year: int) -> None:
    if job.strategy == "reconstruction" or not job.surveyed:  # the whole block goes: nothing is cut by itself
        return
    sheet.section("Repairs from the panel survey")
    left = len(job.surveyed) - len(job.repairs)
    if left:
        sheet.line(f"{count(left, 'full-depth repair')} of the survey {'is' if left == 1 else 'are'} not part of this "
                   "work.")
    if not job.repairs:
        return
    baskets = any(row["basket_dowels"] > 0 for row in job.repairs)
    more = " Dowels after a plus: in baskets, in joints remade inside the repair." if baskets else ""
    sheet.line("Stations of the near edge from the start of the block; offsets from its left edge or curb, looking "
               f"along the block. Write actual length and width down together.{more}")
    sheet.table([1] * len(_REPAIRS), _REPAIRS, [_repair(row) for row in job.repairs], tall=True,
                keys=[Key("repairs", job.name, year, str(int(row["repair_id"]))) for row in job.repairs])
    area, volume, dowels, inside, ties = (sum(float(of(row)) for row in job.repairs) for of in (
        lambda row: row["area_sqft"], _cuyd, lambda row: row["dowels"], lambda row: row["basket_dowels"],
        lambda row: row["tie_bars"]))
    total = f"Total of {count(len(job.repairs), 'repair')}"
    sheet.table([7, 1, 1, 1, 1, 6], (),
                [(total, Figure(area, 1), Figure(volume), _bars(dowels, inside), ties, "")])


def _found(sheet: Sheet, job: Job) -> None:
    """Room for repairs that no survey holds: without a panel survey all of them, with one those found since."""
    if job.strategy == "reconstruction":
        return
    sheet.section("More repairs found on the street" if job.repairs else "Repairs as they are marked on the street")
    sheet.line("Written here by hand; their sums go into the actual quantities below.", "small")
    rows = _MORE if job.repairs else _ALL
    sheet.table([span for span, _ in _BY_HAND], [head for _, head in _BY_HAND], [[None] * len(_BY_HAND)] * rows,
                tall=True)


def _repair(row: Row) -> list[Any]:
    return [int(row["repair_id"]), _KINDS[str(row["kind"])], station(float(row["x_ft"])), _size(row["y_ft"]),
            *(_size(row[name]) for name in ("length_ft", "width_ft", "depth_in")), Figure(float(row["area_sqft"]), 1),
            Figure(_cuyd(row)), _bars(row["dowels"], row["basket_dowels"]), row["tie_bars"], *[None] * 6]


def _cuyd(row: Row) -> float:
    return cubic_yards(float(row["area_sqft"]), float(row["depth_in"]))


def _bars(drilled: float, in_baskets: float) -> Any:
    return f"{drilled:.0f} + {in_baskets:.0f}" if in_baskets else float(drilled)


def _size(value: float) -> Figure:
    """A size to a hundredth, with as few decimals as it needs."""
    return Figure(float(value), next(digits for digits in (0, 1, 2) if digits == 2 or abs(
        round(float(value), digits) - float(value)) < 1e-6))


def _quantities(sheet: Sheet, job: Job, assumptions: Assumptions, year: int) -> None:
    mark = ", estimated" if job.estimated else ""
    sheet.section(f"Quantities{mark}")
    if not job.quantities:
        sheet.line("No quantity is given for this block.")
        return
    left_out = any(row["quantity"] < _LEAST for row in job.quantities)
    fractions = any(row["unit"] == "each" and round(float(row["quantity"]), 1) % 1 for row in job.quantities)
    sheet.line(f"Expected for the work in {year}" + (", so they may be more than the survey's repairs above."
                                                     if job.repairs else ".")
               + (" A fraction of a piece is the mean of what may be found." if fractions else "")
               + (f" Less than {_LEAST} of an item is left out." if left_out else ""))
    items = pay_items(assumptions.table("pay_items"))
    present = {row["pay_item"] for row in job.quantities}
    rows = [(items[row["pay_item"]].name, _part(items, row["pay_item"], present), Figure(float(row["quantity"]), 1),
             unit(row["unit"]), None, None, row["pay_item"]) for row in job.quantities if row["quantity"] >= _LEAST]
    rows.sort(key=lambda row: (row[1] != "", row[1], row[0]))
    sheet.table([5, 4, 2, 1, 2, 3], ("Item", "Part of", f"Planned{mark}", "Unit", "Actual quantity", "Remarks"),
                [row[:-1] for row in rows],
                keys=[Key("quantities", job.name, year, str(row[-1])) for row in rows])


def _part(items: Mapping[str, PayItem], item: str, present: Collection[str]) -> str:
    """The item that this one is a part of, if the block has it."""
    carriers = [items[key].name for key in items[item].carriers if key in present]
    return carriers[0] if len(carriers) == 1 else "several items" if carriers else ""


def _loads(sheet: Sheet, job: Job, assumptions: Assumptions) -> None:
    brought: list[list[Any]] = [[row.item, Figure(*to_bring(row.quantity, row.unit)), unit(row.unit),
                                 waste_words(row.waste)]
                                for row in materials(job, assumptions) if row.quantity >= _LEAST]
    if brought:
        sheet.section(f"Materials to bring{', estimated' if job.estimated else ''}")
        sheet.line("From the expected quantities, with the waste that is shown; whole pieces are rounded up.", "small")
        half = (len(brought) + 1) // 2
        right = brought[half:] + [[""] * 4] * (2 * half - len(brought))
        sheet.table([4, 2, 1, 2, 3, 2, 1, 2], ("Material", "Quantity", "Unit", "Waste") * 2,
                    [[*one, *other] for one, other in zip(brought[:half], right, strict=True)])
    tools = equipment(job, assumptions)
    if tools:
        sheet.section("Equipment")
        sheet.table([4, 13], (), [(crew, "; ".join(_piece(row) for row in rows)) for crew, rows in tools.items()])


def _piece(row: Amount) -> str:
    return row.item if row.quantity == 1 else f"{number(row.quantity, 0)} x {row.item}"


def _form(sheet: Sheet, rows: Sequence[tuple[str, Any]]) -> None:
    """Labels and values in boxes, three to a row; an empty one is filled in by hand."""
    cells = [cell for label_of, value in rows for cell in (label_of, value)]
    cells += [""] * (-len(cells) % 6)
    sheet.table(_FORM, (), [cells[start:start + 6] for start in range(0, len(cells), 6)])


def _day(stamp: pd.Timestamp | None, otherwise: str) -> str:
    return otherwise if stamp is None else day(stamp)


def _plan(job: Job, paper: Paper, bearing_deg: float | None) -> Drawing:
    found, repaired = (with_types(name, pd.DataFrame(rows)) for name, rows in (
        ("findings", job.findings), ("repairs", job.surveyed)))
    return panel_plan(job.sizes, found, repaired, bearing_deg=bearing_deg, paper=paper)


def _shown(value: Any, of: str) -> str:
    """A value of the block with its unit; flags as yes and no, years without separators."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.0f}" if of == "year" else f"{number(value, 2 if of == 'in' else 1)} {of}".strip()
