"""The season as files: iCalendar read by another library and by hand, and the workbook."""

from __future__ import annotations

import re
import zipfile
from datetime import UTC, date, datetime, timedelta, timezone
from io import BytesIO

import icalendar
import openpyxl
import pandas as pd
import pytest
import vobject

from rehab.base.tables import with_types
from rehab.outputs import calendar

STAMP = datetime(2027, 1, 4, 12, 30, tzinfo=UTC)


def season_tasks() -> pd.DataFrame:
    """A train of panels over the turn of the year, a pair of patches, and a curb by the crew of the panels."""
    rows = [("B2", task, "Concrete crew 2", "2026-12-30", "2027-01-01", "2027-01-06", "this", None)
            for task in ("saw", "remove", "drill", "place", "joint")]
    rows += [("B1", task, "Patching crew 1", "2026-12-28", "2026-12-28", "2026-12-29", "this", "Cold; cover it")
             for task in ("mill", "patch")]
    rows += [("B2", "curb", "Concrete crew 2", "2027-01-01", "2027-01-01", None, "this", None),
             ("B1", "grind", "Grinder", "2027-04-19", "2027-04-19", None, "next", None)]
    return with_types("tasks", pd.DataFrame([
        {"task_id": f"{block}/{task}", "block_id": block, "task": task, "crew": crew, "start": start, "finish": finish,
         "opens": opens, "opens_soonest": opens and "2027-01-03", "opens_latest": opens and "2027-01-09", "days": 1.25,
         "season": season, "cautions": cautions}
        for block, task, crew, start, finish, opens, season, cautions in rows]))


def events(content: bytes) -> list[icalendar.Event]:
    return list(icalendar.Calendar.from_ical(content).walk("VEVENT"))


def test_another_reader_finds_every_visit(overview: pd.DataFrame) -> None:
    content = calendar.season_calendar(season_tasks(), overview, STAMP)
    read = vobject.readOne(content.decode("utf-8"))  # a parser of its own, not the library that wrote the file
    found = {event.summary.value.split(":")[0]: event for event in read.vevent_list}
    assert sorted(found) == ["Grind surface", "Place concrete", "Place patches", "Replace curb"]
    place = found["Place concrete"]
    # RFC 5545, 3.6.1: the end of an all-day event is not part of it; 3.8.2.4: dates without a time
    assert (place.dtstart.value, place.dtend.value) == (date(2026, 12, 30), date(2027, 1, 2))
    assert place.dtstamp.value == STAMP
    told = place.description.value.split("\n")
    assert told[0] == "Block B2, Concrete crew 2"
    assert told[1:6] == ["Saw full depth (task B2/saw)", "Remove concrete (task B2/remove)",
                         "Drill and set dowels (task B2/drill)", "Place concrete (task B2/place)", "Saw joints (task B2/joint)"]
    assert "Opens Wed 06 Jan 2027" in told[6] and told[7] == "At the soonest Sun 03 Jan 2027, at the latest Sat 09 Jan 2027"
    assert told[-1] == "Quantities are estimated"
    assert found["Place patches"].description.value.endswith("Cold\ncover it")
    assert "Does not fit this season" in found["Grind surface"].description.value
    assert found["Place patches"].summary.value == "Place patches: B1, Alder St, from 3rd Ave to -2+3"
    every = " ".join(event.description.value for event in read.vevent_list)
    assert all(f"task {task})" in every for task in season_tasks()["task_id"])


def test_tasks_that_do_not_share_days_are_events_of_their_own(tasks: pd.DataFrame, overview: pd.DataFrame) -> None:
    found = vobject.readOne(calendar.season_calendar(tasks, overview, STAMP).decode("utf-8")).vevent_list
    assert len(found) == len(tasks)
    assert [event.dtstart.value for event in found] == sorted(tasks["start"].dt.date)


def test_the_file_obeys_the_standard(overview: pd.DataFrame) -> None:
    long = overview.assign(street="Straße der außergewöhnlich langen Namen, 北京路; \\ Nord" * 4)
    content = calendar.season_calendar(season_tasks(), long, datetime(2027, 1, 4, 7, 30, tzinfo=timezone(timedelta(hours=-5))))
    # RFC 5545, 3.1: lines of at most 75 octets without the break, CRLF, folded with a space; UTF-8 by default
    lines = content.split(b"\r\n")
    assert b"\n" not in content.replace(b"\r\n", b"") and b"\r" not in content.replace(b"\r\n", b"") and lines[-1] == b""
    assert max(map(len, lines)) <= 75
    whole = content.replace(b"\r\n ", b"").decode("utf-8").split("\r\n")[:-1]
    assert all(re.fullmatch(r"[A-Z-]+(;[A-Z-]+=[^:]+)*:.*", line) for line in whole)
    # 3.4, 3.6: one calendar object; 3.7.3, 3.7.4: PRODID and VERSION once each, version 2.0
    assert whole[0] == "BEGIN:VCALENDAR" and whole[-1] == "END:VCALENDAR"
    assert sum(line.startswith("PRODID:-//") for line in whole) == 1 and whole.count("VERSION:2.0") == 1
    inside = "\n".join(whole).split("BEGIN:VEVENT\n")[1:]
    for event in inside:
        names = [re.split("[;:]", line)[0] for line in event.split("\n") if line]
        # 3.6.1: UID and DTSTAMP once and required, DTSTART once, DTEND not beside DURATION
        assert all(names.count(name) == 1 for name in ("UID", "DTSTAMP", "DTSTART", "DTEND", "SUMMARY"))
        assert "DURATION" not in names
        # 3.8.7.2: DTSTAMP in UTC; 3.3.4: dates
        assert "DTSTAMP:20270104T123000Z" in event
        assert re.search(r"^DTSTART;VALUE=DATE:\d{8}$", event, re.M) and re.search(r"^DTEND;VALUE=DATE:\d{8}$", event, re.M)
        # 3.3.11: comma, semicolon and backslash in a text are escaped
        summary = next(line for line in event.split("\n") if line.startswith("SUMMARY"))
        assert "北京路\\; \\\\ Nord" in summary and not re.search(r"(?<!\\)[,;]", summary)
    assert long["street"][0] in str(events(content)[0]["summary"])


def test_event_ids_follow_the_task(overview: pd.DataFrame) -> None:
    def ids(table: pd.DataFrame) -> dict[str, str]:
        return {str(event["summary"]): str(event["uid"]) for event in events(calendar.season_calendar(table, overview, STAMP))}

    tasks = season_tasks()
    later = tasks.assign(start=tasks["start"] + pd.Timedelta(days=3), finish=tasks["finish"] + pd.Timedelta(days=3))
    assert ids(tasks) == ids(later.sample(frac=1, random_state=1))
    assert len(set(ids(tasks).values())) == 4
    # The curb moves onto the days of the panels and away from them, and another crew comes: the events stay.
    curb = tasks["task"] == "curb"
    assert ids(tasks) == ids(tasks.assign(start=tasks["start"].mask(curb, pd.Timestamp("2026-12-30"))))
    assert ids(tasks) == ids(tasks.assign(crew=tasks["crew"].str.replace("2", "3")))
    # A part that is moved by hand gets an event of its own, and the main work keeps its event.
    apart = tasks.assign(start=tasks["start"].mask(tasks["task"] == "saw", pd.Timestamp("2026-12-29")))
    assert ids(tasks).items() <= ids(apart).items() and len(ids(apart)) == 5
    # regression: events that were sent before are still the same
    place = next(uid for summary, uid in ids(tasks).items() if summary.startswith("Place concrete"))
    assert place == "b8ba7383-2d16-56ef-a44b-ec65dbaa305b"


def test_each_crew_has_a_calendar_of_its_own(overview: pd.DataFrame) -> None:
    whole = {str(event["uid"]): event.to_ical() for event in events(calendar.season_calendar(season_tasks(), overview, STAMP))}
    found = calendar.crew_calendars(season_tasks(), overview, STAMP)
    assert list(found) == ["Patching crew 1", "Concrete crew 2", "Grinder"]  # in the order in which work begins
    for crew, content in found.items():
        read = vobject.readOne(content.decode("utf-8"))
        # RFC 7986, 5.1: the name of a calendar
        assert content.decode("utf-8").split("\r\n").count(f"NAME:{crew}") == 1
        assert all(crew in event.description.value.split("\n")[0] for event in read.vevent_list)
    own = [event for content in found.values() for event in events(content)]
    assert {str(event["uid"]): event.to_ical() for event in own} == whole and len(own) == len(whole)
    assert calendar.crew_calendars(season_tasks().iloc[:0], overview, STAMP) == {}


def test_the_calendars_of_the_crews_are_one_archive(overview: pd.DataFrame) -> None:
    odd = season_tasks().assign(crew=season_tasks()["crew"].replace({"Grinder": "../Crew: A/B", "Concrete crew 2": "..-Crew- A-B"}))
    content = calendar.crew_calendars_zip(odd, overview, STAMP)
    assert content == calendar.crew_calendars_zip(odd, overview, STAMP)
    with zipfile.ZipFile(BytesIO(content)) as archive:
        assert archive.testzip() is None
        names = archive.namelist()
        assert len({name.lower() for name in names}) == 3 and "Patching crew 1.ics" in names
        assert all(re.fullmatch(r"[\w() -]+\.ics", name) for name in names)
        assert {archive.read(name) for name in names} == set(calendar.crew_calendars(odd, overview, STAMP).values())


def test_calendar_needs_a_time_zone(tasks: pd.DataFrame, overview: pd.DataFrame) -> None:
    with pytest.raises(ValueError, match="time zone"):
        calendar.season_calendar(tasks, overview, datetime(2027, 1, 4))


def test_a_calendar_without_tasks_is_still_one(tasks: pd.DataFrame, overview: pd.DataFrame) -> None:
    assert not events(calendar.season_calendar(tasks.iloc[:0], overview, STAMP))


@pytest.fixture
def book(overview: pd.DataFrame, notes: pd.DataFrame) -> openpyxl.Workbook:
    campaigns = with_types("campaigns", pd.DataFrame([
        {"season": name, "campaign": 1, "first_day": first, "last_day": last, "blocks": 12, "area_sqyd": 5400.6,
         "crew_days": 9.25, "travel_mi": 7.5, "wait_days": 40.2}
        for name, first, last in (("next", "2027-04-19", "2027-04-30"), ("this", "2026-10-01", "2026-10-20"))]))
    choices = with_types("campaign_choices", pd.DataFrame([
        {"campaigns": number, "ground": 10, "missed": 2, "mobilisation_usd": 9000.0 * number, "wait_days": 60.0 / number,
         "longest_days": 90.0, "first_day": "2026-10-01", "last_day": "2026-10-20", "chosen": number == 1}
        for number in (2, 1)]))
    blocks = with_types("season_blocks", pd.DataFrame([
        {"block_id": "B1", "ready": "2027-01-25", "ground": "2027-04-19", "season": "next", "why": "=patched too late"},
        {"block_id": "B2", "ready": "2026-09-01", "ground": "2026-10-01", "season": "this", "why": None},
        {"block_id": "B3", "ready": None, "ground": None, "season": None, "why": "fits neither season"}]))
    content = calendar.season_workbook(season_tasks(), overview, campaigns, choices, blocks, notes, 2027)
    return openpyxl.load_workbook(BytesIO(content))


def cells(sheet: openpyxl.worksheet.worksheet.Worksheet) -> list[list[object]]:
    return [[cell.value for cell in row] for row in sheet.iter_rows()]


def test_weeks_have_a_row_per_crew_and_a_cell_per_day(book: openpyxl.Workbook) -> None:
    rows = cells(book["Weeks"])
    at = next(place for place, row in enumerate(rows) if row[0] == "Week of Mon 28 Dec 2026")
    assert rows[at][1:] == ["Mon 28 Dec", "Tue 29 Dec", "Wed 30 Dec", "Thu 31 Dec", "Fri 1 Jan", "Sat 2 Jan", "Sun 3 Jan"]
    by_crew = {row[0]: row[1:] for row in rows[at + 1:at + 4]}
    assert by_crew["Patching crew 1"] == ["B1 Alder St: place patches", *[None] * 6]
    assert by_crew["Concrete crew 2"] == [None, None, *["B2 =1+1: place concrete"] * 3, None, None]
    assert by_crew["Opens to traffic"] == [None, "B1 Alder St", *[None] * 5]
    weeks = [row[0] for row in rows if str(row[0]).startswith("Week of")]
    assert weeks == ["Week of Mon 28 Dec 2026", "Week of Mon 04 Jan 2027", "Week of Mon 19 Apr 2027"]


def test_sheets_are_printed_wide_with_their_head(book: openpyxl.Workbook) -> None:
    assert book.sheetnames == ["Weeks", "Tasks", "Not ground this year", "Grinder"]
    for sheet in book:
        assert sheet.page_setup.orientation == "landscape" and sheet.sheet_properties.pageSetUpPr.fitToPage
        # ECMA-376, part 1, 18.3.1.63 (from memory): fitToWidth is 1 where it is left out, a height of 0 is as many as needed
        assert (sheet.page_setup.fitToWidth or 1, sheet.page_setup.fitToHeight) == (1, 0)
        assert str(sheet.print_title_rows).startswith("$1:")
    head = int(str(book["Weeks"].print_title_rows).split("$")[-1])
    assert [cell.value for cell in book["Weeks"][head]][:3] == ["Crew", "Monday", "Tuesday"]
    assert all(cell.data_type != "f" and cell.hyperlink is None for sheet in book for row in sheet.iter_rows() for cell in row)


def test_tasks_and_grinder_hold_numbers_and_dates(book: openpyxl.Workbook) -> None:
    rows = cells(book["Tasks"])
    head = next(row for row in rows if row[0] == "First day")
    body = [dict(zip(head, row, strict=True)) for row in rows[rows.index(head) + 1:]]
    assert [row["Task id"] for row in body] == [*sorted(f"B1/{task}" for task in ("mill", "patch")), *sorted(
        f"B2/{task}" for task in ("saw", "remove", "drill", "place", "joint")), "B2/curb", "B1/grind"]
    patch = next(row for row in body if row["Task id"] == "B1/patch")
    assert (patch["First day"], patch["Opens"], patch["Latest"]) == (
        datetime(2026, 12, 28), datetime(2026, 12, 29), datetime(2027, 1, 9))
    assert (patch["Crew days"], patch["Cautions"], patch["Where"]) == (1.25, "Cold; cover it", "Alder St, from 3rd Ave to -2+3")
    grinder = cells(book["Grinder"])
    assert ["this", 1, datetime(2026, 10, 1), datetime(2026, 10, 20), 12, 5401, 9.2, 7.5, 40.2] in grinder
    assert [row[0] for row in grinder if row[0] in {"this", "next"}] == ["this", "next"]
    chosen = [row for row in grinder if row[-1] == "yes"]
    assert len(chosen) == 1 and chosen[0][:4] == [1, 10, 2, 9000]


def test_what_is_not_ground_this_year_is_listed_with_its_reason(book: openpyxl.Workbook) -> None:
    rows = cells(book["Not ground this year"])
    assert any("2 blocks of 3" in str(row[0]) for row in rows)
    held = {row[0]: row for row in rows}
    assert held["B1"][2:] == [datetime(2027, 1, 25), datetime(2027, 4, 19), "next", "=patched too late"]
    assert held["B3"][2:] == [None, None, "neither", "fits neither season"] and "B2" not in held
    assert any("=2+2 blocks do not fit" in row for row in rows) and not any("A utility digs" in str(row) for row in rows)
