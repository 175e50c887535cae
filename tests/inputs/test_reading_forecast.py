"""The weather of given dates: units, days that stand twice, values at odds, and files that are something else."""

from __future__ import annotations

import io
from datetime import date, timedelta

import numpy as np
import openpyxl
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rehab.base import tables
from rehab.base.errors import UnusableInput
from rehab.inputs.reading import ForecastReading, open_table, read_forecast

HEAD = "date,tmin_f,tmax_f"
JUNE = ("2027-06-14,51,75", "2027-06-15,48.5,70", "2027-06-16,50,72")


def opened(*lines: str, head: str = HEAD, unit: str | None = None, normals: pd.DataFrame | None = None,
           today: date | None = None) -> ForecastReading:
    raw = open_table("forecast.csv", "\n".join([head, *lines]).encode(), table="normals")
    return read_forecast(raw, unit, normals=normals, today=today)


def refused(*lines: str, head: str = HEAD, unit: str | None = None, normals: pd.DataFrame | None = None) -> str:
    with pytest.raises(UnusableInput) as caught:
        opened(*lines, head=head, unit=unit, normals=normals)
    assert all(problem.accepted for problem in caught.value.problems)
    assert caught.value.problems[-1].severity == "stop"
    return "\n".join(f"{problem.message}; accepted: {problem.accepted}" for problem in caught.value.problems)


def messages(reading: ForecastReading) -> str:
    assert (reading.problems["accepted"] != "").all()
    return "\n".join(reading.problems["message"])


def usual(high_f: float) -> pd.DataFrame:
    """Normals that are the same on every day."""
    days = pd.date_range("2028-01-01", "2028-12-31")
    return tables.check("normals", tables.with_types("normals", pd.DataFrame({
        "month": days.month, "day": days.day, "tmin_f": high_f - 20, "tmean_f": high_f - 10, "tmax_f": high_f})))


def test_a_forecast_is_read_day_by_day() -> None:
    reading = opened(*reversed(JUNE))
    pd.testing.assert_frame_equal(reading.table, tables.with_types("weather_forecast", pd.DataFrame({
        "date": pd.to_datetime(["2027-06-14", "2027-06-15", "2027-06-16"]), "tmin_f": [51, 48.5, 50],
        "tmax_f": [75, 70, 72]})))
    assert (reading.first, reading.last, reading.unit) == (date(2027, 6, 14), date(2027, 6, 16), "deg F")
    assert reading.how == ("The weather of 3 days from 2027-06-14 to 2027-06-16, in a place that the file does not "
                           "name, read as deg F: as the heading 'tmin_f' says.")
    assert reading.problems.empty


def test_days_in_other_forms_and_days_left_out() -> None:
    reading = opened("6/14/2027,75,51,60", "6/20/2027,70,48,", "2027-06-16T00:00,72,50,61",
                     head="Day,High (°F),Low (°F),Mean (°F)")
    assert reading.table["date"].dt.day.tolist() == [14, 16, 20]
    assert reading.table["tmean_f"].fillna(-1).tolist() == [60, 61, -1]
    assert "from 2027-06-14 to 2027-06-20, 4 days between them left to the normals" in reading.how


def test_measured_days_of_a_station() -> None:
    # The layout of the daily summaries of the national archive (from memory); names invented
    reading = opened('"USX00000001","INVENTED FIELD, XX US","2026-06-14","0.00","75","51"',
                     '"USX00000001","INVENTED FIELD, XX US","2026-06-15","0.21","70","48"',
                     head='"STATION","NAME","DATE","PRCP","TMAX","TMIN"')
    assert reading.table["tmax_f"].tolist() == [75, 70]
    assert "in USX00000001, INVENTED FIELD, XX US, read as deg F: nine in ten" in reading.how
    assert "2 stations" in refused("A,2027-06-14,50,70", "B,2027-06-14,51,71", head="STATION,DATE,TMIN,TMAX")


def test_a_workbook_with_days() -> None:
    book = openpyxl.Workbook()
    for row in (["date", "tmin_f", "tmax_f"], [date(2027, 6, 14), 51, 75], [46188, 48, 70]):  # 46188: 15 June 2026
        book.active.append(row)
    stream = io.BytesIO()
    book.save(stream)
    reading = read_forecast(open_table("days.xlsx", stream.getvalue(), table="normals"))
    assert reading.table["date"].dt.strftime("%Y-%m-%d").tolist() == ["2026-06-15", "2027-06-14"]
    assert "spreadsheet days" in messages(reading)


def test_units_by_heading_by_word_and_by_the_temperatures() -> None:
    # 10 deg C are 50, 25 deg C 77 deg F exactly
    for head, unit in (("date,low (deg C),high (deg C)", None), ("date,tmin,tmax", "deg C")):
        reading = opened("2027-06-14,10,25", head=head, unit=unit)
        assert reading.unit == "deg C" and reading.table[["tmin_f", "tmax_f"]].to_numpy().tolist() == [[50, 77]]
        assert "read as deg C and converted" in messages(reading)
    # 57 and 134: more was never measured in deg C, in deg F (56.7 deg C, world record, from memory)
    for low, high, unit, tmax_f in ((50, 57.5, "deg F", 57.5), (60, 134, "deg F", 134), (500, 571, "tenths of deg F", 57.1)):
        reading = opened(f"2027-06-14,{low},{high}", head="date,tmin,tmax")
        assert (reading.unit, reading.table["tmax_f"].item()) == (unit, pytest.approx(tmax_f))
    said = opened(*JUNE, unit="tenths of deg F")
    assert "the heading names the unit deg F, but tenths of deg F was said and is used" in messages(said)
    assert said.table["tmax_f"].tolist() == [7.5, 7.0, 7.2]


@pytest.mark.parametrize(("low", "high", "rivals"), [(10, 25, "deg F or deg C"), (-10, 57, "deg F or deg C"),
                                                    (100, 250, "tenths of deg F or tenths of deg C")])
def test_a_unit_that_is_not_clear_is_asked_for(low: float, high: float, rivals: str) -> None:
    told = refused(f"2027-06-14,{low},{high}", head="date,tmin,tmax")
    assert f"it is not clear whether the temperatures are {rivals}: nine in ten" in told
    assert "said: deg F, tenths of deg F, deg C" in told
    # Normals between both are no help
    assert "it is not clear" in refused("2027-06-14,20,38", head="date,tmin,tmax", normals=usual(69))


def test_the_normals_tell_the_unit_where_they_can() -> None:
    for normal, unit, tmax_f in ((80, "deg C", 77), (40, "deg F", 25)):  # 25 deg C are 77 deg F
        reading = opened("2027-06-14,10,25", head="date,tmin,tmax", normals=usual(normal))
        assert (reading.unit, reading.table["tmax_f"].item()) == (unit, tmax_f)
    assert "3 deg F off the normals of their days (the median), but 55 if they were deg F" in opened(
        "2027-06-14,10,25", head="date,tmin,tmax", normals=usual(80)).how
    # 250 tenths: 25 deg F near normals of 30; 77 deg F (25 deg C) near normals of 80, which is not taken
    assert opened("2027-01-14,100,250", head="date,tmin,tmax", normals=usual(30)).unit == "tenths of deg F"
    assert "it is not clear" in refused("2027-06-14,100,250", head="date,tmin,tmax", normals=usual(80))
    # One slip of the pen among seven does not decide
    lines = [f"2027-06-{day},10,25" for day in range(14, 20)] + ["2027-06-20,10,-9999"]
    reading = opened(*lines, head="date,tmin,tmax", normals=usual(80))
    assert reading.unit == "deg C" and len(reading.table) == 6


def test_weather_far_from_the_normals_is_asked_about() -> None:
    assert "are the unit and the place right?" in messages(opened(*JUNE, normals=usual(100)))
    assert opened(*JUNE, normals=usual(90)).problems.empty


def test_every_bad_row_is_named_with_its_value_and_remedy() -> None:
    reading = opened(*(f"{line}," for line in JUNE), "2027-06-17,80,60,", "2027-06-31,50,70,", ",50,70,", "2027-06-18,x,70,", "2027-06-19,,70,",
                     "2027-06-20,50,150,", "2027-06-21,50,70,49", "2027-06-22,50,70,warm", "06-23,50,70,",
                     "2027-06-24,50,70,50", head=f"{HEAD},tmean_f")
    rows = reading.problems.set_index("row")
    assert rows["severity"].to_dict() == {5: "stop", 6: "stop", 7: "stop", 8: "stop", 9: "stop", 10: "stop",
                                          11: "warn", 12: "warn", 13: "stop"}
    assert rows["column"].tolist() == ["tmin_f", "date", "date", "tmin_f", "tmin_f", "tmax_f", "tmean_f", "tmean_f",
                                       "date"]
    assert rows["value"].fillna("").tolist() == ["80", "2027-06-31", "", "x", "", "150", "49", "warm", "06-23"]
    assert "the lowest temperature is above the highest (60 under 'tmax_f')" in rows.at[5, "message"]
    assert "not between lowest and highest; the value was not used: midway" in rows.at[11, "message"]
    assert "from -90 to 140 deg F" in rows.at[10, "accepted"]
    assert reading.table["date"].dt.day.tolist() == [14, 15, 16, 21, 22, 24]
    assert reading.table["tmean_f"].fillna(-1).tolist() == [-1, -1, -1, -1, -1, 50]


def test_days_that_stand_twice() -> None:
    same = opened(*JUNE, "6/15/2027,48.5,70.0")
    assert same.problems[["severity", "row", "value"]].to_numpy().tolist() == [["stop", 5, "6/15/2027"]]
    assert "stands in a row above with the same values" in messages(same)
    pd.testing.assert_frame_equal(same.table, opened(*JUNE).table)
    other = opened(*JUNE, "2027-06-15,48,70", "2027-06-15,48,70")
    assert other.problems["row"].tolist() == [3, 5, 6] and "differ; none of them is used" in messages(other)
    assert other.table["date"].dt.day.tolist() == [14, 16]


def test_days_far_ahead_are_used_and_called_weak() -> None:
    lines = [f"{date(2027, 6, 14) + timedelta(days=at)},50,70" for at in range(45)]
    reading = opened(*lines, today=date(2027, 6, 13))
    assert len(reading.table) == 45
    # 16 days after 13 June is 29 June; the file ends on 28 July
    assert messages(reading) == ("29 days are more than 16 days after 2027-06-13: used as given, but a forecast so far "
                                 "ahead is weak (common practice, no source)")
    assert reading.problems["value"].tolist() == ["2027-06-30"]
    assert opened(*lines[:16], today=date(2027, 6, 13)).problems.empty
    assert opened(*lines).problems.empty


def test_files_that_are_something_else() -> None:
    assert "no column is known to hold 'tmax_f' (Highest temperature of the day); accepted: a table with date" in refused(
        "2027-06-14,50", head="date,tmin")
    assert "no column is known to hold the date" in refused("50,70", head="tmin,tmax")
    assert "hold the date with its year" in refused("6,14,50,70", head="month,day,tmin,tmax")
    assert "climate normals, not the weather of given dates" in refused(
        "06-14,50,70", head="DATE,DLY-TMIN-NORMAL,DLY-TMAX-NORMAL")
    assert "hours of the day" in refused("2027-06-14T06:00,50,70", "2027-06-14T12:00,50,71")
    assert "hours of the day" in refused("2027-06-14,6,50,70", "2027-06-14,12,50,71", head="date,hour,tmin,tmax")
    assert "the headings name different units" in refused("2027-06-14,50,25", head="date,tmin_f,high (deg C)")
    # Days without years: nothing is left, and every row says why
    told = refused("06-14,50,70", "06-15,50,70")
    assert told.count("not a day that can be read without doubt") == 2 and "no row of the file can be used" in told
    assert "no row of the file can be used" in refused("2027-06-14,90,70")
    with pytest.raises(ValueError, match="unknown unit 'K'"):
        opened(*JUNE, unit="K")


@settings(deadline=None, max_examples=50)
@given(st.lists(st.tuples(st.integers(0, 30), st.floats(-20, 90), st.floats(-20, 90),
                          st.sampled_from(["", "-", "55", "x"])), min_size=1, max_size=12))
def test_every_row_is_used_or_stopped(rows: list[tuple[int, float, float, str]]) -> None:
    lines = [f"{date(2027, 6, 1) + timedelta(days=at)},{low:.1f},{high:.1f},{mean}" for at, low, high, mean in rows]
    try:
        reading = opened(*lines, head="date,tmin_f,tmax_f,tmean_f")
    except UnusableInput as error:
        stopped = {problem.row for problem in error.problems if problem.severity == "stop" and problem.row}
        assert stopped == set(range(2, len(rows) + 2))
        return
    stops = reading.problems.loc[reading.problems["severity"] == "stop", "row"]
    assert stops.is_unique and len(reading.table) + len(stops) == len(rows)
    assert reading.table["date"].is_monotonic_increasing and reading.table["date"].is_unique
    assert (reading.table["tmin_f"] <= reading.table["tmax_f"]).all()
    mean = reading.table["tmean_f"].to_numpy()
    inside = (mean >= reading.table["tmin_f"] - 0.11) & (mean <= reading.table["tmax_f"] + 0.11)
    assert (np.isnan(mean) | inside).all()
