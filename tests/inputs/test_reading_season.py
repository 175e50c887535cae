"""Uploads of the season: days without work, tasks moved by hand, tasks as they were done."""

from __future__ import annotations

import io
from collections.abc import Callable, Collection
from datetime import date

import openpyxl
import pandas as pd
import pytest

from rehab.base import tables
from rehab.base.errors import UnusableInput
from rehab.inputs.reading import (
    Reading,
    open_table,
    read_actual,
    read_moves,
    read_no_work,
    suggest,
    template,
)
from rehab.inputs.reading.season_rows import weekdays

TASKS = ("B001-mill-1", "B001-patch-1", "B001-grind-1", "B002-saw-1")
Blocks = Callable[..., pd.DataFrame]


@pytest.fixture(scope="module")
def city(blocks: Blocks) -> pd.DataFrame:
    return blocks({"street": "Alder Street", "district": "North"}, {"street": "Birch Avenue", "district": "South"},
                  {"street": "Cedar Court"})


def no_work(city: pd.DataFrame, *lines: str, header: str = "scope,name,first_day,last_day,weekdays,reason") -> Reading:
    return read_no_work(open_table("off.csv", "\n".join([header, *lines]).encode(), table="no_work"), None, city)


def stopped(reading: Reading) -> list[list[object]]:
    rows = reading.problems[reading.problems["severity"] == "stop"]
    return [[row, column, None if pd.isna(value) else value]
            for row, column, value in rows[["row", "column", "value"]].itertuples(index=False)]


def told(reading: Reading) -> str:
    assert (reading.problems["accepted"] != "").all()
    return "\n".join(reading.problems["message"])


def test_days_without_work_of_every_scope(city: pd.DataFrame) -> None:
    reading = no_work(city, "city,,2027-07-02,2027-07-05,,holiday week", "district,North,2027-05-01,2027-10-30,Sat,market",
                      "street,Birch Avenue,6/12/2027,,,parade", "block,B003,2027-08-30,2027-09-10,Mon-Fri,school")
    assert reading.problems.empty
    assert (reading.rows_in, reading.rows_filtered, len(reading.geometry)) == (4, 0, 0)
    pd.testing.assert_frame_equal(tables.check("no_work", reading.table), reading.table)
    assert reading.table["row"].tolist() == [3, 4, 2, 5]
    parade = reading.table[reading.table["reason"] == "parade"].iloc[0]
    assert parade["first_day"] == parade["last_day"] == pd.Timestamp(2027, 6, 12)
    assert reading.table["weekdays"].fillna("").tolist() == ["Sat", "", "", "Mon Tue Wed Thu Fri"]


def test_single_days_need_no_column_for_the_last_day(city: pd.DataFrame) -> None:
    reading = no_work(city, "city,2027-07-05", "block,2027-07-06", header="scope,first_day")
    assert reading.table[["first_day", "last_day"]].astype(str).to_numpy().tolist() == [["2027-07-05", "2027-07-05"]]
    assert "the name of the block is empty; the row is not used" in told(reading)


@pytest.mark.parametrize(("line", "column", "value", "message"), [
    ("street,Alder Stret,2027-05-01,,,", "name", "Alder Stret", "no street of this name is in use (near it: Alder Street)"),
    ("block,B01,2027-05-01,,,", "name", "B01", "no block of this name is in use (near it: "),
    ("district,Harbour,2027-05-01,,,", "name", "Harbour", "no district of this name is in use; the row is not used"),
    ("district,,2027-05-01,,,", "name", None, "the name of the district is empty"),
    ("town,,2027-05-01,,,", "scope", "town", "not a word that is known"),
    ("city,,2027-05-03,2027-05-01,,", "last_day", "2027-05-01", "before the first day 2027-05-03"),
    ("city,,,2027-05-01,,", "first_day", None, "first_day is empty"),
    ("city,,soon,,,", "first_day", "soon", "not a day that can be read"),
    ("city,,2027-05-01,later,,", "last_day", "later", "not a day that can be read without doubt; the row is not used"),
    ("city,,2027-05-01,2027-09-01,M-F,", "weekdays", "M-F", "no days of the week that can be read"),
])
def test_a_bad_row_is_stopped_and_the_rest_goes_on(city: pd.DataFrame, line: str, column: str, value: str | None,
                                                    message: str) -> None:
    reading = no_work(city, line, "city,,2027-07-05,,,")
    assert reading.table["row"].tolist() == [3]
    assert stopped(reading) == [[2, column, value]]
    assert len(reading.problems) == 1
    assert message in told(reading)


def test_names_but_for_capitals_are_read_and_told(city: pd.DataFrame) -> None:
    reading = no_work(city, "street,ALDER  STREET,2027-05-01,,,")
    assert reading.table["name"].tolist() == ["Alder Street"]
    assert reading.problems["severity"].tolist() == ["warn"]
    assert "'ALDER  STREET' as 'Alder Street'" in told(reading)


def test_a_name_of_the_whole_city_is_not_used(city: pd.DataFrame) -> None:
    reading = no_work(city, "city,North,2027-05-01,,,")
    assert reading.table["name"].isna().all()
    assert reading.problems[["severity", "value"]].to_numpy().tolist() == [["warn", "North"]]
    assert "the row holds for the whole city" in told(reading)


def test_a_city_without_districts_says_so(blocks: Blocks) -> None:
    reading = no_work(blocks({}), "district,North,2027-05-01,,,")
    assert reading.table.empty
    assert reading.problems["accepted"].tolist() == ["blocks with a district; they have none"]


# 1 May 2027 is a Saturday (ISO 8601 week 17, day 6).
@pytest.mark.parametrize(("line", "none"), [
    ("city,,2027-05-01,2027-05-02,Mon-Fri,", True), ("city,,2027-05-01,,Sun,", True), ("city,,2027-05-01,,Sat,", False),
    ("city,,2027-05-01,2027-05-03,Mon,", False), ("city,,2027-05-01,2027-05-07,Fri,", False),
    ("city,,2027-05-01,2027-05-06,Fri,", True), ("city,,2027-05-01,2028-03-01,Wed,", False)])
def test_weekdays_that_do_not_occur_are_asked_about(city: pd.DataFrame, line: str, none: bool) -> None:
    assert date(2027, 5, 1).isoweekday() == 6
    reading = no_work(city, line)
    assert len(reading.table) == 1
    assert ("the row holds for no day" in told(reading)) == none == (not reading.problems.empty)


def test_a_row_of_years_is_asked_about(city: pd.DataFrame) -> None:
    assert "is the year right?" in told(no_work(city, "city,,2027-05-01,2072-05-02,,"))
    assert no_work(city, "city,,2027-05-01,2028-04-30,,").problems.empty


@pytest.mark.parametrize(("text", "short"), [
    ("Sat Sun", "Sat Sun"), ("Saturday", "Sat"), ("Saturdays and Sundays", "Sat Sun"), ("Mon-Fri", "Mon Tue Wed Thu Fri"),
    ("mon – fri", "Mon Tue Wed Thu Fri"), ("Monday to Wednesday", "Mon Tue Wed"), ("Fri-Mon", "Mon Fri Sat Sun"),
    ("Tu, Th", "Tue Thu"), ("Tues/Thurs", "Tue Thu"), ("weekends", "Sat Sun"), ("Weekdays", "Mon Tue Wed Thu Fri"),
    ("weekdays & Sat", "Mon Tue Wed Thu Fri Sat"), ("Sun; Mon", "Mon Sun"), ("every day", ""), ("Mon-Sun", ""),
    ("Weds.", "Wed"), ("M", None), ("T", None), ("1", None), ("market days", None), ("Mon-", None), ("Sat-Sun-Mon", None),
    ("Satt", None), ("and", None)])
def test_days_of_the_week(text: str, short: str | None) -> None:
    assert weekdays(text) == short


def test_every_short_form_is_read_as_itself() -> None:
    names = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
    for chosen in range(1, 127):
        text = " ".join(name for at, name in enumerate(names) if chosen >> at & 1)
        assert weekdays(text) == text


def test_a_table_is_read_again_as_it_was_written(city: pd.DataFrame) -> None:
    table = no_work(city, "city,,2027-07-02,2027-07-05,,holiday", "district,North,2027-05-01,2027-10-30,Sat Sun,").table
    again = read_no_work(open_table("off.csv", table.drop(columns="row").to_csv(index=False).encode(), table="no_work"),
                         None, city)
    assert again.problems.empty
    pd.testing.assert_frame_equal(again.table.drop(columns="row"), table.drop(columns="row"))


def test_a_workbook_with_real_dates_and_a_title(city: pd.DataFrame) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for row in (["Days off", "City works"], [], ["Scope", "Name", "From", "Until", "Days of week", "Why"],
                ["street", "Alder Street", date(2027, 5, 1), date(2027, 5, 9), "Sat", "bus route"]):
        sheet.append(row)
    stream = io.BytesIO()
    book.save(stream)
    raw = open_table("off.xlsx", stream.getvalue(), table="no_work")
    assert suggest(raw, "no_work")["ours"].tolist() == ["scope", "name", "first_day", "last_day", "weekdays", "reason"]
    reading = read_no_work(raw, None, city)
    assert reading.problems.empty
    assert reading.table["row"].tolist() == [4]
    assert reading.table["last_day"].tolist() == [pd.Timestamp(2027, 5, 9)]


@pytest.mark.parametrize("table", ["no_work", "moves", "actual"])
def test_templates_carry_headings_that_map_to_themselves(table: str) -> None:
    names = [item.name for item in tables.upload_fields(table)]  # type: ignore[arg-type]
    assert "row" not in names
    assert template(table).decode().strip().split(",") == names  # type: ignore[arg-type]
    filled = template(table) + ",".join("x" for _ in names).encode()
    assert suggest(open_table("t.csv", filled, table=table), table)["ours"].tolist() == names  # type: ignore[arg-type]


def test_headings_of_ours_are_needed(city: pd.DataFrame) -> None:
    with pytest.raises(UnusableInput, match="no column is known to hold 'scope'"):
        no_work(city, "North,2027-05-01", header="name,first_day")
    with pytest.raises(UnusableInput, match="no column is known to hold 'started' or 'finished'"):
        actual("B001-mill-1,x", header="task_id,remark")


def moves(*lines: str, tasks: Collection[str] = TASKS) -> Reading:
    return read_moves(open_table("moves.csv", "\n".join(["task_id,start", *lines]).encode(), table="moves"), None, tasks)


def test_moves() -> None:
    reading = moves("B002-saw-1,2027-06-01", "B001-mill-1,5/3/2027")
    assert reading.problems.empty
    pd.testing.assert_frame_equal(tables.check("moves", reading.table), reading.table)
    assert reading.table.astype(str).to_numpy().tolist() == [["B001-mill-1", "2027-05-03"], ["B002-saw-1", "2027-06-01"]]


def test_moves_that_cannot_be_used() -> None:
    reading = moves("B001-mil-1,2027-06-01", "B001-patch-1,2027-06-01", "B001-patch-1,2027-06-02", "B002-saw-1,",
                    ",2027-06-01", "B001-grind-1,2027-06-01")
    assert reading.table["task_id"].tolist() == ["B001-grind-1"]
    assert [row[:2] for row in stopped(reading)] == [[2, "task_id"], [3, "task_id"], [4, "task_id"], [5, "start"],
                                                     [6, "task_id"]]
    assert "no task of this name is in the calendar (near it: B001-mill-1" in told(reading)
    assert "the task is in more than one row; none of them is used" in told(reading)


def actual(*lines: str, header: str = "task_id,started,finished", today: date | None = date(2027, 6, 30)) -> Reading:
    raw = open_table("done.csv", "\n".join([header, *lines]).encode(), table="actual")
    return read_actual(raw, None, TASKS, today=today)


def test_what_was_done() -> None:
    reading = actual("B002-saw-1,6/30/2027,", "B001-mill-1,2027-06-01,2027-06-01", "B001-patch-1,2027-06-01,2027-06-03")
    assert reading.problems.empty
    pd.testing.assert_frame_equal(tables.check("actual", reading.table), reading.table)
    assert reading.table["row"].tolist() == [3, 4, 2]
    assert reading.table["finished"].isna().tolist() == [False, False, True]


def test_an_end_without_a_beginning_is_used_and_told() -> None:
    reading = actual("B001-mill-1,,2027-06-01")
    assert reading.table["finished"].tolist() == [pd.Timestamp(2027, 6, 1)]
    assert reading.table["started"].isna().all()
    assert reading.problems[["severity", "row", "column"]].to_numpy().tolist() == [["warn", 2, "started"]]
    assert "used as done, its beginning not known" in told(reading)


def test_tasks_not_begun_are_counted_once() -> None:
    reading = actual("B001-mill-1,,", "B001-patch-1,-,", "B002-saw-1,2027-06-01,")
    assert len(reading.table) == 3
    assert told(reading) == "2 rows give neither day: their tasks are taken as not begun"


@pytest.mark.parametrize(("line", "column", "message"), [
    ("B009-mill-1,2027-06-01,", "task_id", "no task of this name is in the calendar"),
    ("B001-mill-1,2027-06-03,2027-06-01", "finished", "ended before it was begun on 2027-06-03"),
    ("B001-mill-1,2027-07-01,", "started", "after today"),
    ("B001-mill-1,2027-06-01,2027-07-01", "finished", "after today"),
    ("B001-mill-1,June,", "started", "not a day that can be read without doubt; the row is not used"),
    ("B001-mill-1,2027-06-01,31/6/2027", "finished", "not a day that can be read without doubt; the row is not used"),
    ("B001-mill-1,1027-06-01,", "started", "outside the limits; the row is not used"),
])
def test_what_cannot_have_been_done(line: str, column: str, message: str) -> None:
    reading = actual(line, "B002-saw-1,2027-06-01,")
    assert reading.table["task_id"].tolist() == ["B002-saw-1"]
    assert [row[:2] for row in stopped(reading)] == [[2, column]]
    assert len(reading.problems) == 1 and message in told(reading)


def test_a_task_told_twice_is_not_used() -> None:
    reading = actual("B001-mill-1,2027-06-01,", "B001-mill-1,,2027-06-02", "B002-saw-1,2027-06-01,")
    assert reading.table["task_id"].tolist() == ["B002-saw-1"]
    assert [row[0] for row in stopped(reading)] == [2, 3]
    assert len(reading.problems) == 2


def test_without_today_any_day_is_taken() -> None:
    assert len(actual("B001-mill-1,2031-06-01,", today=None).table) == 1


def test_other_headings_of_progress() -> None:
    reading = actual("B001-mill-1,2027-06-01,2027-06-02", header="Task ID,Actual start,Completed")
    assert reading.problems.empty and len(reading.table) == 1


def test_many_unknown_tasks_do_not_take_long() -> None:
    reading = moves(*(f"X{number:05d}-mill-1,2027-06-01" for number in range(2000)),
                    tasks=[f"B{number:03d}-{task}-1" for number in range(150) for task in ("mill", "saw", "grind")])
    assert len(reading.table) == 0
    assert reading.problems["message"].str.startswith("1,000 further rows").any()
