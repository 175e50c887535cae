"""A season as files: an iCalendar of the visits, and a workbook with the weeks of the crews to print."""

from __future__ import annotations

import re
import uuid
import zipfile
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from io import BytesIO
from typing import Any, Final

import icalendar
import pandas as pd
import xlsxwriter

from rehab import __version__
from rehab.outputs.visits import Visit, by_crew, openings, visits, work_days
from rehab.outputs.words import count, day, known, label, place
from rehab.outputs.worklist.formats import formats_of
from rehab.outputs.worklist.paper import Paper

#: names the events of this program, so that a task keeps its event when the calendar is sent again
_NAMESPACE: Final = uuid.UUID("5d0d1c4e-6c0b-4f0a-9d6e-0f6f6f1b7a52")
_DAY: Final = pd.Timedelta(days=1)
_DECIDES: Final = "Days are planning values: the engineer and the strength that is measured decide when a street opens."


def season_calendar(tasks: pd.DataFrame, overview: pd.DataFrame, stamp: datetime) -> bytes:
    """The tasks as an iCalendar file (RFC 5545): all-day events, their end the day after the last.

    The tasks of one train, by one crew on the same days, are one event, whose description names each task; every other
    task is an event of its own.  ``stamp`` becomes DTSTAMP, in UTC, and must carry a time zone, since outputs do not
    ask the clock.  An event's UID depends on the id of its main task alone, so a calendar that is sent again moves the
    events that it has sent before.
    """
    return _calendar(visits(tasks, by_train=True), _blocks(overview), stamp)


def crew_calendars(tasks: pd.DataFrame, overview: pd.DataFrame, stamp: datetime) -> dict[str, bytes]:
    """A calendar for each crew, as :func:`season_calendar` makes it of the crew's tasks, named after the crew.

    Crews in the order of the work they begin with.  The events are those of the whole calendar, by their UIDs too.
    """
    blocks = _blocks(overview)
    return {crew: _calendar(seen, blocks, stamp, crew)
            for crew, seen in by_crew(visits(tasks, by_train=True)).items()}


def crew_calendars_zip(tasks: pd.DataFrame, overview: pd.DataFrame, stamp: datetime) -> bytes:
    """The calendars of :func:`crew_calendars` in one archive, a file each, named after the crew: ``Grinder.ics``."""
    stream, taken = BytesIO(), set[str]()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for crew, content in crew_calendars(tasks, overview, stamp).items():
            name = plain = re.sub(r"[^\w -]+", "_", crew).strip(" .") or "Crew"
            number = 1
            while name.lower() in taken:
                number += 1
                name = f"{plain} ({number})"
            taken.add(name.lower())
            entry = zipfile.ZipInfo(f"{name}.ics", stamp.timetuple()[:6])
            entry.compress_type, entry.external_attr = zipfile.ZIP_DEFLATED, 0o644 << 16
            archive.writestr(entry, content)
    return stream.getvalue()


def _calendar(seen: Sequence[Visit], blocks: Mapping[str, Mapping[str, Any]], stamp: datetime,
              name: str | None = None) -> bytes:
    """Visits as a calendar; its name is the property of RFC 7986, 5.1."""
    if stamp.tzinfo is None:
        raise ValueError("the stamp of a calendar needs a time zone")
    calendar = icalendar.Calendar()
    calendar.add("prodid", f"-//Concrete street rehabilitation planner//rehab {__version__}//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", "PUBLISH")
    if name is not None:
        calendar.add("name", name)
    for visit in seen:
        block = blocks.get(visit.block_id, {})
        calendar.add_component(_event(visit, _where(visit.block_id, block), _true(block.get("estimated")), stamp))
    return bytes(calendar.to_ical())


def season_workbook(tasks: pd.DataFrame, overview: pd.DataFrame, campaigns: pd.DataFrame, choices: pd.DataFrame,
                    blocks: pd.DataFrame, notes: pd.DataFrame, year: int) -> bytes:
    """The season as the bytes of an XLSX file with the sheets Weeks, Tasks, Not ground this year and Grinder.

    ``campaigns``, ``choices`` and ``blocks`` are the tables ``campaigns``, ``campaign_choices`` and ``season_blocks``;
    of ``notes`` those on the topic ``season`` are written, of ``year`` or of no year.  Every text is written as text:
    the file holds no formula and no link.
    """
    stream = BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    known_blocks = _blocks(overview)
    with xlsxwriter.Workbook(stream, options) as book:
        book.set_properties({"title": f"Season {year}", "created": datetime(year, 1, 1)})
        formats = {**formats_of(book), **_more(book)}
        _weeks(Paper(book, formats, "Weeks", _WEEK_WIDTHS), tasks, known_blocks, year)
        _tasks(Paper(book, formats, "Tasks", [width for _, width in _TASK_COLUMNS]), tasks, known_blocks, year)
        _not_ground(Paper(book, formats, "Not ground this year", _BLOCK_WIDTHS), blocks, notes, known_blocks, year)
        _grinder(Paper(book, formats, "Grinder", _GRINDER_WIDTHS), campaigns, choices, year)
    return stream.getvalue()


def _event(visit: Visit, where: str, estimated: bool, stamp: datetime) -> icalendar.Event:
    parts = zip(visit.kinds, visit.task_ids, strict=False) if len(visit.kinds) == len(visit.task_ids) else ()
    lines = [f"Block {visit.block_id}, {visit.crew}"]
    lines += [f"{label(kind)} (task {task})" for kind, task in parts] or [f"Tasks {', '.join(visit.task_ids)}"]
    if visit.opens is not None:
        lines.append(f"Opens {day(visit.opens)} (planning value; strength decides)")
        if visit.opens_soonest is not None and visit.opens_latest is not None:
            lines.append(f"At the soonest {day(visit.opens_soonest)}, at the latest {day(visit.opens_latest)}")
    lines += visit.cautions
    if visit.season == "next":
        lines.append("Does not fit this season")
    if estimated:
        lines.append("Quantities are estimated")
    event = icalendar.Event()
    event.add("uid", str(uuid.uuid5(_NAMESPACE, visit.task_id)))
    event.add("dtstamp", stamp)
    event.add("dtstart", visit.start.date())
    event.add("dtend", visit.finish.date() + timedelta(days=1))
    named = where if where == f"Block {visit.block_id}" else f"{visit.block_id}, {where}"
    event.add("summary", f"{label(visit.kind)}: {named}")
    event.add("location", where)
    event.add("description", "\n".join(lines))
    event.add("categories", [label(kind) for kind in visit.kinds])
    event.add("transp", "TRANSPARENT")
    return event


def _blocks(overview: pd.DataFrame) -> dict[str, dict[str, Any]]:
    columns = ("block_id", "street", "from_street", "to_street", "estimated")
    rows = zip(*(overview[name].to_numpy(dtype=object) for name in columns), strict=True)
    return {str(row[0]): dict(zip(columns, row, strict=True)) for row in rows}


def _where(block: str, row: Mapping[str, Any]) -> str:
    street = row.get("street")
    return place(street, row["from_street"], row["to_street"]) if known(street) else f"Block {block}"


def _true(flag: Any) -> bool:
    return known(flag) and bool(flag)


_WEEK_WIDTHS: Final = (19.0, *[17.0] * 7)
_LETTERS: Final = 21  #: of a line in a day's cell
_POINTS: Final = 11.8  #: of a line
_PAGE: Final = 520.0  #: points of rows on a page of letter paper, the repeated head aside


def _more(book: xlsxwriter.Workbook) -> dict[str, Any]:
    """Formats of the week grid: working days plain, the weekend grey."""
    base = {"font_name": "Arial", "font_size": 9, "valign": "top", "text_wrap": True, "border": 1,
            "border_color": "#8a8f94"}
    shapes: dict[str, dict[str, Any]] = {
        "crew": {"bold": True}, "weekend": {"bg_color": "#e2e2de"}, "opens": {"italic": True, "bold": True},
        "opens weekend": {"italic": True, "bold": True, "bg_color": "#e2e2de"},
        "week": {"bold": True, "bg_color": "#cfcdc4", "font_size": 10}}
    return {name: book.add_format({**base, **own}) for name, own in shapes.items()}


def _weeks(paper: Paper, tasks: pd.DataFrame, blocks: Mapping[str, Mapping[str, Any]], year: int) -> None:
    """A row per crew and week with a cell per day, the blocks that open below; weeks without either are left out."""
    paper.line(f"Crews by week, season {year}", "title", lines=2)
    paper.line(f"{_DECIDES} A week without work and without an opening is left out.")
    head = paper.row
    paper.table([1] * 8, ("Crew", "Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"), [])
    seen, opened, days = visits(tasks), openings(tasks), work_days(tasks)
    crews = by_crew(seen)
    mondays = {_monday(one) for visit in seen for one in pd.date_range(visit.start, visit.finish)}
    used = 0.0
    for monday in sorted(mondays | {_monday(one.opens) for one in opened}):
        dates = [monday + step * _DAY for step in range(7)]
        head_row = [f"Week of {day(monday)}", *(f"{one:%a} {one.day} {one:%b}" for one in dates)]
        rows = [(head_row, ("week", "week", "week"))]
        for crew, own in crews.items():
            cells = [_told([visit for visit in own if visit.start <= one <= visit.finish], blocks)
                     if one.weekday() in days else "" for one in dates]
            rows += [([crew, *cells], ("crew", "cell", "weekend"))] if any(cells) else []
        cells = ["\n".join(_short(one.block_id, blocks) for one in opened if one.opens == date_of) for date_of in dates]
        rows += [(["Opens to traffic", *cells], ("opens", "opens", "opens weekend"))] if any(cells) else []
        height = sum(_points(texts) for texts, _ in rows)
        if used and used + height > _PAGE:  # a week stays together where it can
            paper.next_page()
            used = 0.0
        used += height
        for texts, styles in rows:
            _row(paper, texts, *styles)
    paper.print_setup(f"Season {year}, crews by week", landscape=True, repeat=head + 1)
    paper.sheet.freeze_panes(head + 1, 1)


def _row(paper: Paper, texts: Sequence[str], first: str, work_day: str, weekend: str) -> None:
    """One row of the grid, as high as its fullest cell."""
    styles = [first, *[work_day] * 5, weekend, weekend]
    for column, (text, style) in enumerate(zip(texts, styles, strict=True)):
        write = paper.sheet.write_string if text else paper.sheet.write_blank
        write(paper.row, column, text, paper.formats[style])
    paper.sheet.set_row(paper.row, _points(texts))
    paper.row += 1


def _points(texts: Sequence[str]) -> float:
    """Height of a row in points; a spreadsheet has none above 409."""
    lines = max(sum(max(1, -(-len(part) // _LETTERS)) for part in text.split("\n")) for text in texts)
    return min(_POINTS * lines + 3, 409)


def _monday(stamp: pd.Timestamp) -> pd.Timestamp:
    return stamp - stamp.weekday() * _DAY


def _told(seen: Sequence[Visit], blocks: Mapping[str, Mapping[str, Any]]) -> str:
    """The visits of one crew on one day; three or more of one work are a list of blocks."""
    found = []
    for kind in dict.fromkeys(visit.kind for visit in seen):
        names = [visit.block_id for visit in seen if visit.kind == kind]
        found += ([f"{label(kind)}, {len(names)} blocks: {', '.join(names)}"] if len(names) > 2
                  else [f"{_short(name, blocks)}: {label(kind).lower()}" for name in names])
    return "\n".join(found)


def _short(block: str, blocks: Mapping[str, Mapping[str, Any]]) -> str:
    street = blocks.get(block, {}).get("street")
    return f"{block} {street}" if known(street) else block


_TASK_COLUMNS: Final = (
    ("First day", 11.0), ("Last day", 11.0), ("Block", 10.0), ("Where", 30.0), ("Task", 19.0), ("Crew", 19.0),
    ("Crew days", 8.0), ("Opens", 11.0), ("Soonest", 11.0), ("Latest", 11.0), ("Season", 8.0), ("Campaign", 9.5),
    ("Cautions", 30.0), ("Task id", 18.0))


def _tasks(paper: Paper, tasks: pd.DataFrame, blocks: Mapping[str, Mapping[str, Any]], year: int) -> None:
    paper.line(f"Tasks, season {year}", "title", lines=2)
    paper.line(_DECIDES)
    head = paper.row
    columns = ["start", "finish", "block_id", "block_id", "task", "crew", "days", "opens", "opens_soonest",
               "opens_latest", "season", "campaign", "cautions", "task_id"]
    ordered = tasks.sort_values(["start", "block_id", "task_id"])
    rows = [[*row[:3], _where(row[3], blocks.get(row[3], {})), label(row[4]), row[5], round(row[6], 2), *row[7:]]
            for row in zip(*(ordered[name].astype(object) for name in columns), strict=True)]
    paper.table([1] * len(columns), [name for name, _ in _TASK_COLUMNS], rows)
    paper.print_setup(f"Season {year}, tasks", landscape=True, repeat=head + 1)
    paper.sheet.freeze_panes(head + 1, 3)
    if rows:
        paper.sheet.autofilter(head, 0, head + len(rows), len(columns) - 1)


_BLOCK_WIDTHS: Final = (11.0, 32.0, 13.0, 13.0, 12.0, 50.0)


def _not_ground(paper: Paper, held: pd.DataFrame, notes: pd.DataFrame, blocks: Mapping[str, Mapping[str, Any]],
                year: int) -> None:
    paper.line(f"Not ground in {year}", "title", lines=2)
    rows = held[(held["season"] != "this").fillna(True)].sort_values("block_id")
    paper.line(f"{count(len(rows), 'block')} of {len(held):,} in the calendar {'is' if len(rows) == 1 else 'are'} not "
               f"ground in the season of {year}. Ready is the first day on which the concrete may be ground.")
    head = paper.row
    paper.table([1] * 6, ("Block", "Where", "Ready", "Ground", "Season", "Why, and what it would take"), [
        [row["block_id"], _where(row["block_id"], blocks.get(row["block_id"], {})), row["ready"], row["ground"],
         "next" if known(row["season"]) else "neither", row["why"]] for row in rows.to_dict("records")])
    said = notes[(notes["topic"] == "season") & (notes["year"].isna() | (notes["year"] == year))]
    if len(said):
        paper.section("What there is to say about the season")
        paper.table([2, 4], ("Block", "Note"), [(row["block_id"], row["message"]) for row in said.to_dict("records")])
    paper.print_setup(f"Season {year}, not ground", landscape=True, repeat=head + 1)


_GRINDER_WIDTHS: Final = (12.0, 12.0, 14.0, 14.0, 10.0, 13.0, 13.0, 13.0, 16.0)


def _grinder(paper: Paper, campaigns: pd.DataFrame, choices: pd.DataFrame, year: int) -> None:
    paper.line(f"The grinder, season {year}", "title", lines=2)
    paper.line("A campaign is one stay of the machine. Days of waiting are calendar days from the day a block is ready "
               "to the day it is ground, the mean over blocks.")
    paper.section("Campaigns in the calendar")
    paper.table([1] * 9, ("Season", "Campaign", "First day", "Last day", "Blocks", "Area, sq yd", "Crew days",
                          "Travel, mi", "Mean wait, days"),
                [[row["season"], *(row[name] for name in ("campaign", "first_day", "last_day", "blocks")),
                  round(row["area_sqyd"]), *(round(row[name], 1) for name in ("crew_days", "travel_mi", "wait_days"))]
                 for row in campaigns.sort_values(["season", "campaign"], ascending=[False, True]).to_dict("records")])
    paper.section("Fewer campaigns, or a shorter wait")
    paper.table([1] * 9, ("Campaigns", "Ground", "Next season", "Mobilisation, $", "Mean wait", "Longest wait",
                          "First day", "Last day", "In the calendar"),
                [[row["campaigns"], row["ground"], row["missed"], round(row["mobilisation_usd"]),
                  round(row["wait_days"], 1), round(row["longest_days"]), row["first_day"], row["last_day"],
                  "yes" if _true(row["chosen"]) else ""]
                 for row in choices.sort_values("campaigns").to_dict("records")])
    paper.print_setup(f"Season {year}, grinder", landscape=True, repeat=1)
