"""Climate normals: the published layout, units, gaps, and files that are something else."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Callable, Iterable, Sequence
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rehab.base import tables
from rehab.base.errors import UnusableInput
from rehab.inputs.reading import NormalsReading, open_table, read_normals, template

LEAP = [date(2000, 1, 1) + timedelta(at) for at in range(366)]
Row = dict[str, str]


def wave(middle: float, swing: float, at: int) -> float:
    """An invented year: coldest on 20 January."""
    return middle - swing * math.cos(2 * math.pi * (at - 19) / 366)


def published(**changes: Callable[[date], str | None]) -> list[Row]:
    """Rows in the published daily layout, with invented numbers: flags beside values, numbers padded with blanks."""
    rows = []
    for at, day in enumerate(LEAP):
        low, high = round(wave(34, 24, at), 1), round(wave(56, 27, at), 1)
        row = {"STATION": "USX00000001", "DATE": f"{day:%m-%d}", "LATITUDE": "40.0", "NAME": "INVENTED FIELD, XX US",
               "month": f"{day:%m}", "day": f"{day:%d}", "hour": "99"}
        for code, value in (("DLY-TAVG-NORMAL", (low + high) / 2), ("DLY-TMAX-NORMAL", high), ("DLY-TMIN-NORMAL", low),
                            ("DLY-DUTR-NORMAL", high - low), ("DLY-TAVG-STDDEV", 8.5), ("DLY-TMAX-STDDEV", 9.5),
                            ("DLY-TMIN-STDDEV", 10.5), ("DLY-PRCP-PCTALL-GE001HI", 35.5),
                            ("DLY-PRCP-PCTALL-GE010HI", 20.5), ("YTD-PRCP-NORMAL", -9999.0)):
            row |= {code: f"{value:8.2f}", f"meas_flag_{code}": " ", f"comp_flag_{code}": "R", f"years_{code}": "30"}
        rows.append(row | {code.replace("_", "-"): text for code, change in changes.items()
                           if (text := change(day)) is not None})
    return rows


def written(rows: Sequence[Row], quoting: int = csv.QUOTE_ALL, delimiter: str = ",") -> bytes:
    stream = io.StringIO()
    writer = csv.DictWriter(stream, list(rows[0]), quoting=quoting, delimiter=delimiter)  # type: ignore[arg-type]
    writer.writeheader()
    writer.writerows(rows)
    return stream.getvalue().encode()


def read(rows: Sequence[Row], unit: str | None = None, delimiter: str = ",") -> NormalsReading:
    return read_normals(open_table("normals.csv", written(rows, delimiter=delimiter), table="normals"), unit)


def plain(days: Iterable[date] = LEAP, headings: str = "date,tmin,tmean,tmax", form: str = "{0:%m-%d}",
          scale: Callable[[float], str] = "{:.1f}".format) -> list[Row]:
    """A table that somebody made: a date and three temperatures."""
    rows = []
    for day in days:
        at = LEAP.index(day.replace(year=2000))
        values = (wave(34, 24, at), wave(45, 25.5, at), wave(56, 27, at))
        rows.append(dict(zip(headings.split(","), (form.format(day), *map(scale, values)), strict=True)))
    return rows


def refused(rows: Sequence[Row], unit: str | None = None) -> str:
    with pytest.raises(UnusableInput) as caught:
        read(rows, unit)
    last = caught.value.problems[-1]
    assert last.severity == "stop" and last.accepted
    return last.message


def messages(reading: NormalsReading) -> str:
    assert (reading.problems["accepted"] != "").all()
    return "\n".join(reading.problems["message"])


def on(day: str, text: str) -> Callable[[date], str | None]:
    return lambda at: text if f"{at:%m-%d}" == day else None


def test_the_published_daily_layout() -> None:
    reading = read(published())
    assert reading.problems.empty
    assert reading.unit == "deg F"
    assert "Daily normals of USX00000001, INVENTED FIELD, XX US, read as deg F" in reading.how
    table = reading.table
    pd.testing.assert_frame_equal(tables.check("normals", table), table)
    assert table[["month", "day"]].to_numpy().tolist() == [[day.month, day.day] for day in LEAP]
    july = table[(table["month"] == 7) & (table["day"] == 4)].iloc[0]
    at = LEAP.index(date(2000, 7, 4))
    assert july["tmin_f"] == round(wave(34, 24, at), 1)
    assert july["tmax_f"] == round(wave(56, 27, at), 1)
    assert july[["tmean_sd_f", "tmax_sd_f", "tmin_sd_f", "wet_share"]].tolist() == [8.5, 9.5, 10.5, 0.205]


def test_the_table_is_read_again_as_it_was_written() -> None:
    table = read(published()).table
    again = read_normals(open_table("normals.csv", table.to_csv(index=False).encode(), table="normals"))
    assert again.problems.empty
    pd.testing.assert_frame_equal(again.table, table)
    assert template("normals").decode().strip().split(",") == list(table.columns)


# The oldest published files hold whole numbers, tenths of deg F and of per cent.
def test_tenths_are_recognised_and_told() -> None:
    rows = [row | {code: f"{round(float(row[code]) * 10):8d}" for code in row if code.startswith("DLY-")}
            for row in published()]
    reading, usual = read(rows), read(published())
    assert reading.unit == "tenths of deg F" and "read as tenths of deg F" in reading.how
    assert "read as tenths of deg F and converted" in messages(reading)
    pd.testing.assert_frame_equal(reading.table, usual.table, atol=0.051, rtol=0)
    assert reading.table["wet_share"].tolist() == pytest.approx([0.205] * 366)


# 100 deg C is 212 deg F and 0 deg C is 32 deg F, by definition of the scale; 5 deg C of spread are 9 deg F.
def test_celsius_is_recognised_by_its_summer_and_by_its_headings() -> None:
    def celsius(value: float) -> str:
        return f"{(value - 32) / 1.8:.3f}"

    usual = read(plain()).table
    for headings, why in (("date,tmin,tmean,tmax", "too little for deg F"),
                          ("Date,Min temp (°C),Mean temp (°C),Max temp (°C)", "as the heading 'Min temp (°C)' says"),
                          ("date,tmin_c,tmean_c,tmax_c", "as the heading 'tmin_c' says")):
        reading = read(plain(headings=headings, scale=celsius))
        assert reading.unit == "deg C" and why in reading.how
        pd.testing.assert_frame_equal(reading.table, usual, atol=0.051, rtol=0)
    spread = [row | {"sd of tmin (°C)": "5", "sd of tmean (°C)": "5"}
              for row in plain(headings="date,tmin (°C),tmean (°C),tmax (°C)", scale=celsius)]
    assert read(spread).table[["tmin_sd_f", "tmean_sd_f"]].to_numpy() == pytest.approx(9)


def test_a_unit_that_is_said_is_used() -> None:
    warm = read(plain(scale=lambda value: f"{(value - 32) / 1.8:.2f}"), "deg C")
    assert warm.unit == "deg C" and "as was said" in warm.how
    cold = read(plain(scale=lambda value: f"{(value - 32) / 1.8:.2f}"), "deg F")
    assert cold.unit == "deg F" and "is the unit right?" in messages(cold)
    assert cold.table["tmax_f"].max() < 30
    against = read(plain(headings="date,tmin_f,tmean_f,tmax_f", scale=lambda value: f"{value * 10:.0f}"),
                   "tenths of deg F")
    assert "the heading names the unit deg F, but tenths of deg F was said" in messages(against)
    assert against.table["tmax_f"].max() == pytest.approx(83, abs=0.1)
    with pytest.raises(ValueError, match="unknown unit 'kelvin'"):
        read(plain(), "kelvin")


def test_one_slip_of_the_pen_does_not_decide_the_unit() -> None:
    reading = read(published(DLY_TMAX_NORMAL=on("07-04", "829")))
    assert reading.unit == "deg F"
    stopped = reading.problems[reading.problems["severity"] == "stop"]
    assert stopped[["row", "column", "value", "message"]].to_numpy().tolist() == [
        [LEAP.index(date(2000, 7, 4)) + 2, "DLY-TMAX-NORMAL", "829", "outside the limits; the row is not used"]]
    assert "no temperatures for 4 July" in messages(reading)


def test_tenths_of_celsius_and_kelvin_are_asked_about() -> None:
    for scale in (lambda value: f"{(value - 32) / 0.18:.0f}", lambda value: f"{(value - 32) / 1.8 + 273.15:.1f}"):
        assert "is the unit right?" in messages(read(plain(scale=scale)))


@settings(max_examples=12, deadline=None)
@given(top=st.floats(62, 112), swing=st.floats(4, 45), low=st.floats(5, 35), seed=st.integers(0, 9))
def test_all_units_give_the_same_table(top: float, swing: float, low: float, seed: int) -> None:
    noise = np.random.default_rng(seed).normal(0, 0.3, 366)
    high = np.round([wave(top - swing, swing, at) + noise[at] for at in range(366)], 1)
    least = np.round(high - low, 1)

    def table(scale: Callable[[float], str]) -> pd.DataFrame:
        lines = [f"{day:%m-%d},{scale(cold)},{scale(hot)}" for day, cold, hot in zip(LEAP, least, high, strict=True)]
        return read_normals(open_table("t.csv", "\n".join(["date,tmin,tmax", *lines]).encode())).table

    fahrenheit = table(lambda value: f"{value:.1f}")
    for other in (table(lambda value: f"{value * 10:.0f}"), table(lambda value: f"{(value - 32) / 1.8:.2f}")):
        for column in ("tmin_f", "tmean_f", "tmax_f"):
            assert np.abs(other[column] - fahrenheit[column]).max() < 0.05


@pytest.mark.parametrize("form", ["{0:%m-%d}", "{0.month}/{0.day}", "2010-{0:%m-%d}", "{0.month}/{0.day}/2010",
                                  "2010{0:%m%d}", "{0:%b %d}", "{0.day}-{0:%b}", "{0:%B} {0.day}",
                                  "2010-{0:%m-%d}T00:00:00"])
def test_dates_as_people_write_them(form: str) -> None:
    days = [day for day in LEAP if (day.month, day.day) != (2, 29)]
    reading = read(plain(days, form=form))
    told = messages(reading)
    assert told == "no temperatures for 29 February: taken midway between 28 February and 1 March"
    february = reading.table.set_index(["month", "day"])["tmin_f"]
    assert february[2, 29] == pytest.approx((february[2, 28] + february[3, 1]) / 2)
    whole = read(plain()).table.set_index(["month", "day"])["tmin_f"].drop((2, 29))
    pd.testing.assert_series_equal(february.drop((2, 29)), whole)


@pytest.mark.parametrize("headings", ["month,day", "Month,Day"])
@pytest.mark.parametrize("form", ["{0.month},{0.day}", "{0:%m},{0:%d}", "{0:%B},{0.day}"])
def test_months_and_days_in_columns_of_their_own(headings: str, form: str) -> None:
    rows = [dict(zip(headings.split(","), form.format(day).split(","), strict=True)) | row
            for day, row in zip(LEAP, plain(headings="x,tmin,tmean,tmax"), strict=True)]
    pd.testing.assert_frame_equal(read(rows).table, read(plain()).table)


def test_decimal_commas_and_semicolons() -> None:
    rows = plain(scale=lambda value: f"{value:.2f}".replace(".", ","))
    reading = read(rows, delimiter=";")
    assert "decimal commas" in messages(reading)
    pd.testing.assert_frame_equal(reading.table, read(plain(scale="{:.2f}".format)).table)


@pytest.mark.parametrize("special", ["-9999", "-8888", "-7777", "-6666", "-5555", "-9999.0", "-7777.00", ""])
def test_codes_for_no_value_are_missing(special: str) -> None:
    reading = read(published(DLY_TMIN_NORMAL=on("05-10", special), DLY_TAVG_NORMAL=on("05-20", special),
                             DLY_TMAX_STDDEV=on("06-01", special), DLY_PRCP_PCTALL_GE010HI=on("06-02", special)))
    told = messages(reading)
    assert len(reading.problems) == 4 and (reading.problems["severity"] == "warn").all()
    assert "no temperatures for 10 May: taken in a straight line" in told
    assert "no mean temperature for 20 May" in told
    assert "'tmax_sd_f' is missing for 1 June" in told and "'wet_share' is missing for 2 June" in told
    table = reading.table.set_index(["month", "day"])
    for column in ("tmin_f", "tmean_f", "tmax_f"):
        assert table.loc[(5, 10), column] == pytest.approx(
            (table.loc[(5, 9), column] + table.loc[(5, 11), column]) / 2)
    assert table.loc[(5, 20), "tmean_f"] == pytest.approx(table.loc[(5, 20), ["tmin_f", "tmax_f"]].mean())
    assert table.loc[(6, 1), "tmax_sd_f"] == 9.5 and table.loc[(6, 2), "wet_share"] == pytest.approx(0.205)


def test_gaps_up_to_three_days_are_bridged_over_the_turn_of_the_year_too() -> None:
    gone = {(12, 31), (1, 1), (1, 2), (4, 9), (4, 10)}
    reading = read(plain([day for day in LEAP if (day.month, day.day) not in gone]))
    assert "no temperatures for 1 January to 2 January, 9 April to 10 April, 31 December: taken" in messages(reading)
    high = reading.table.set_index(["month", "day"])["tmax_f"]
    before, after = high[12, 30], high[1, 3]
    assert high[[(12, 31), (1, 1), (1, 2)]].tolist() == pytest.approx(
        [before + (after - before) * part / 4 for part in (1, 2, 3)])


def test_a_leap_day_in_a_longer_gap_is_part_of_it() -> None:
    gone = {(2, 28), (2, 29)}
    reading = read(plain([day for day in LEAP if (day.month, day.day) not in gone]))
    assert "no temperatures for 28 February to 29 February: taken in a straight line" in messages(reading)


def test_longer_gaps_stop_and_are_named() -> None:
    july = [day for day in LEAP if day.month != 7]
    assert "for July; gaps" in refused(plain(july))
    assert "for July, August; gaps" in refused(plain([day for day in july if day.month != 8]))
    assert "for 9 April to 12 April; gaps" in refused(
        plain([day for day in LEAP if not date(2000, 4, 9) <= day <= date(2000, 4, 12)]))
    turn = {(12, 30), (12, 31), (1, 1), (1, 2), (1, 3)}
    assert "for July and for 1 January to 3 January, 30 December to 31 December; gaps" in refused(
        plain([day for day in july if (day.month, day.day) not in turn]))
    special = published(DLY_TMAX_NORMAL=lambda day: "-9999" if day.month == 3 else None)
    assert "for March; gaps" in refused(special)
    assert "January" in refused(published(DLY_TMAX_NORMAL=lambda day: "-9999"))


def test_what_is_not_temperature_may_stay_missing() -> None:
    reading = read(published(DLY_PRCP_PCTALL_GE010HI=lambda day: "-9999" if day.month == 8 else None))
    assert "'wet_share' is missing for 1 August to 31 August, which is too long" in messages(reading)
    assert reading.table["wet_share"].isna().sum() == 31
    none = read(plain())
    assert none.problems.empty
    assert none.table["wet_share"].isna().all() and "no chance of rain" in none.how
    assert "'wet_share' has no values" in messages(read(published(DLY_PRCP_PCTALL_GE010HI=lambda day: "-9999")))


@pytest.mark.parametrize(("heading", "text"), [("wet_share", "0.2"), ("wet share %", "20"), ("wet_share", "20%"),
                                               ("DLY-PRCP-PCTALL-GE010HI", "   20.0")])
def test_chances_of_rain(heading: str, text: str) -> None:
    reading = read([row | {heading: text} for row in plain()])
    assert reading.table["wet_share"].tolist() == pytest.approx([0.2] * 366)


def test_a_chance_above_one_is_not_used() -> None:
    reading = read([row | {"wet_share": "20"} for row in plain()])
    assert reading.table["wet_share"].isna().all()
    assert "outside the limits; the value was not used" in messages(reading)


def test_without_means_half_the_sum_is_taken() -> None:
    rows = [{key: text for key, text in row.items() if key != "tmean"} for row in plain()]
    reading = read(rows)
    assert messages(reading) == "there are no mean temperatures: taken as half the sum of lowest and highest"
    assert (reading.table["tmean_f"] == (reading.table["tmin_f"] + reading.table["tmax_f"]) / 2).all()


def test_bad_rows_are_stopped_and_bridged() -> None:
    changes = {"03-03": {"tmin": "99"}, "03-10": {"tmax": "warm"}, "03-17": {"date": "02-30"},
               "03-24": {"date": "soon"}, "04-05": {"date": "13-05"}, "04-12": {"tmax": "190"},
               "04-20": {"tmean": "80"}, "04-21": {"tmean": "x"}}
    rows = [row | changes.get(row["date"], {}) for row in plain()]
    reading = read(rows)
    stops = reading.problems[reading.problems["severity"] == "stop"]
    places = {day: LEAP.index(date(2000, *map(int, day.split("-")))) + 2 for day in changes}
    told = {(int(row), column): message for row, column, message in
            stops[["row", "column", "message"]].itertuples(index=False)}
    assert told == {
        (places["03-03"], "tmin"): told[places["03-03"], "tmin"],
        (places["03-10"], "tmax"): "not a number that can be read without doubt; the row is not used",
        (places["03-17"], "date"): "no such day is in any year; the row is not used",
        (places["03-24"], "date"): "not a day that can be read without doubt; the row is not used",
        (places["04-05"], "date"): "no such day is in any year; the row is not used",
        (places["04-12"], "tmax"): "outside the limits; the row is not used"}
    assert told[places["03-03"], "tmin"].startswith("the lowest temperature is above the highest")
    warned = messages(reading)
    assert "no temperatures for 3 March, 10 March, 17 March, 24 March, 5 April, 12 April: taken" in warned
    assert "the mean is not between lowest and highest; the value was not used" in warned
    assert "no mean temperature for 20 April to 21 April" in warned
    usual = read(plain()).table
    assert (reading.table["tmax_f"] - usual["tmax_f"]).abs().max() < 0.2
    ordered = reading.table
    assert (ordered["tmin_f"] <= ordered["tmean_f"]).all() and (ordered["tmean_f"] <= ordered["tmax_f"]).all()


def test_days_that_stand_twice() -> None:
    rows = plain()
    same = read([*rows, rows[100]])
    assert same.problems[["severity", "row"]].to_numpy().tolist() == [["stop", 368]]
    assert "stands in a row above with the same values" in messages(same)
    pd.testing.assert_frame_equal(same.table, read(rows).table)
    other = read([*rows, rows[100] | {"tmax": "90"}, rows[100]])
    assert other.problems[["severity", "row"]].dropna().to_numpy().tolist() == [
        ["stop", 102], ["stop", 368], ["stop", 369]]
    assert "no temperatures for 10 April" in messages(other)


def test_days_before_months_are_refused() -> None:
    assert "the days seem to stand before the months" in refused(plain(form="{0:%d/%m}"))


def test_several_stations_are_named_and_none_taken() -> None:
    rows = published()
    message = refused(rows + [row | {"STATION": "USX00000002", "NAME": "OTHER FIELD, XX US"} for row in rows])
    assert "2 stations: USX00000001, INVENTED FIELD, XX US; USX00000002, OTHER FIELD, XX US" in message


def test_hours_are_refused() -> None:
    hourly = [{"DATE": f"{day:%m-%d}T{hour:02d}:00:00", "HLY-TEMP-NORMAL": "50"} for day in LEAP[:3]
              for hour in range(24)]
    assert "hourly normals" in refused(hourly)
    assert "24 hours" in refused([row | {"date": f"2010-01-01T{at % 24:02d}:00"} for at, row in enumerate(plain())])
    assert "24 hours" in refused([row | {"hour": str(at % 24)} for at, row in enumerate(plain())])


def test_measured_weather_is_not_taken_for_normals() -> None:
    assert "days of 2 years, 2019 to 2020" in refused(plain(form="2019-{0:%m-%d}") + plain(form="2020-{0:%m-%d}"))
    rng = np.random.default_rng(3)
    rough = [row | {"tmax": f"{float(row['tmax']) + jump:.1f}"}
             for row, jump in zip(plain(), rng.uniform(0, 15, 366), strict=True)]
    assert "is this the weather of one year" in messages(read(rough))


def test_headings_that_do_not_do() -> None:
    only_high = [{"date": row["date"], "tmax": row["tmax"]} for row in plain()]
    assert "no column is known to hold 'tmin_f'" in refused(only_high)
    assert "no column is known to hold the date" in refused(plain(headings="x,tmin,tmean,tmax"))
    mixed = plain(headings="date,tmin_f,tmean_f,tmax_c")
    assert "the headings name different units: 'tmin_f' deg F, 'tmax_c' deg C" in refused(mixed)
    both = [row | {"lowest (°C)": "1", "highest (°C)": "2", "mean (°C)": "1.5"}
            for row in plain(headings="date,lowest (°F),mean (°F),highest (°F)")]
    assert "'lowest (°F)' and 'lowest (°C)' could each be 'tmin_f'" in refused(both)
    pd.testing.assert_frame_equal(read(both, "deg F").table, read(plain()).table)
    assert "no column is known to hold 'tmax_f'" in refused(
        plain(headings="date,tmin (tenths °C),mean (tenths °C),max (tenths °C)"))


# Monthly normals of a northern and of a southern city, deg F, from memory.
NORTH = ([31.6, 35.7, 47.0, 59.0, 70.5, 80.4, 84.5, 82.5, 75.5, 62.7, 48.4, 36.6],
         [18.8, 21.9, 31.0, 40.3, 50.7, 60.8, 66.3, 65.1, 57.1, 45.3, 34.2, 24.4])
SOUTH = ([63.8, 67.8, 74.0, 80.1, 86.9, 92.3, 94.5, 94.9, 90.4, 82.8, 72.6, 65.3],
         [43.7, 47.6, 53.6, 59.8, 67.8, 73.7, 75.7, 75.4, 70.6, 60.8, 50.9, 45.4])


def monthly(normals: tuple[list[float], list[float]], **more: str) -> list[Row]:
    return [{"DATE": f"{month:02d}", "MLY-TMAX-NORMAL": f"{high:8.1f}", "MLY-TMIN-NORMAL": f"{low:8.1f}"} | more
            for month, (high, low) in enumerate(zip(*normals, strict=True), start=1)]


def test_monthly_normals_are_laid_between_the_middles_of_the_months() -> None:
    reading = read(monthly(NORTH))
    assert "Monthly normals" in reading.how
    assert "straight lines between the middles of the months" in messages(reading)
    days = reading.table.set_index(["month", "day"])
    for month in (1, 3, 5, 7, 8, 10, 12):  # the middle of 31 days is noon of the 16th
        assert days.loc[(month, 16), "tmax_f"] == pytest.approx(NORTH[0][month - 1])
    # By hand: the mean is 39.0 at noon of 16 March and 49.65 at the midnight that ends 15 April, 30.5 days later, so
    # it is 40 after 1 / 10.65 x 30.5 = 2.86 days, between noon of the 18th and of the 19th.
    assert days.loc[(3, 18), "tmean_f"] < 40 <= days.loc[(3, 19), "tmean_f"]
    assert days.loc[(3, 19), "tmean_f"] == pytest.approx(39 + 3 / 30.5 * 10.65)
    # Days of the windows by another computation, with straight lines from mid-month to mid-month in 365 days.
    common = reading.table[(reading.table["month"] != 2) | (reading.table["day"] != 29)]
    assert [(common[column] >= least).sum() for column, least in (("tmean_f", 40), ("tmin_f", 40), ("tmean_f", 50))] == [
        246, 199, 192]
    south = read(monthly(SOUTH)).table
    assert (south["tmean_f"] >= 50).all()
    assert (south["tmax_f"] >= 90).sum() == 107


def test_monthly_normals_in_other_forms() -> None:
    usual = read(monthly(NORTH)).table
    for form in ("{0:%B}", "2010-{0:%m}", "2010-{0:%m}-01", "2010{0:%m}"):
        rows = [{"month": form.format(date(2010, at + 1, 1)), "high": row["MLY-TMAX-NORMAL"],
                 "low": row["MLY-TMIN-NORMAL"]} for at, row in enumerate(monthly(NORTH))]
        pd.testing.assert_frame_equal(read(rows).table, usual)
    # 31 days in January and 30 in April: 6.2 and 6 days of rain are a fifth of them.
    rainy = [row | {"MLY-PRCP-AVGNDS-GE010HI": f"{days:5.2f}", "MLY-TMIN-STDDEV": "3.0", "sd of tmin": "3.0"}
             for row, days in zip(monthly(NORTH), (6.2, 5.65, 6.2, 6, 6.2, 6, 6.2, 6.2, 6, 6.2, 6, 6.2), strict=True)]
    reading = read(rainy)
    assert reading.table["wet_share"].tolist() == pytest.approx([0.2] * 366)
    assert reading.table["tmin_sd_f"].isna().all()
    assert "those of whole months from year to year" in messages(reading)


def test_a_missing_month_is_named() -> None:
    assert refused([row for row in monthly(NORTH) if row["DATE"] not in ("02", "09")]) == (
        "no lowest or highest temperature for February, September")
    assert "for June" in refused([row | ({"MLY-TMIN-NORMAL": "-9999"} if row["DATE"] == "06" else {})
                                  for row in monthly(NORTH)])


def test_a_title_above_the_headings_does_not_hide_them() -> None:
    body = written(plain(headings="date,tmin,tmean,tmax"), csv.QUOTE_MINIMAL).decode()
    content = "Normals of our field,made by hand,,\n\n" + body
    pd.testing.assert_frame_equal(read_normals(open_table("n.csv", content.encode(), table="normals")).table,
                                  read(plain()).table)
