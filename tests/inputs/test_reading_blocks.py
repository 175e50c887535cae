"""Blocks: units, words, days and every kind of bad value, each with its row, column, value and remedy."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rehab.base import tables
from rehab.base.errors import UnusableInput
from rehab.inputs.reading import Reading, open_table, read_blocks, suggest

GOOD = {"block_id": "B1", "length_ft": "400", "width_ft": "36", "condition_index": "71"}


def read(*rows: dict[str, str], today: dt.date | None = None, delimiter: str = ",", **units: str) -> Reading:
    """Blocks from rows of cells; ``units`` replaces the unit of a column of ours in the mapping."""
    frame = pd.DataFrame([GOOD | row for row in rows])
    raw = open_table("blocks.csv", frame.to_csv(index=False, sep=delimiter).encode())
    mapping = suggest(raw)
    for ours, unit in units.items():
        mapping.loc[mapping["ours"] == ours, "unit"] = unit
    return read_blocks(raw, mapping, today=today)


def only_problem(reading: Reading, severity: str, column: str, value: str | None, words: str) -> None:
    """The reading has exactly this problem, in row 2, with a remedy."""
    assert len(reading.problems) == 1, reading.problems.to_string()
    problem = reading.problems.iloc[0]
    assert (problem["severity"], problem["row"], problem["column"]) == (severity, 2, column)
    assert value is None or problem["value"] == value
    assert words in problem["message"]
    assert problem["accepted"]
    assert len(reading.table) == (0 if severity == "stop" else 1)


def test_a_good_table_obeys_the_schema_sorted_with_rows() -> None:
    reading = read({"block_id": "B2"}, {"block_id": "B10"}, {"block_id": "0001"})
    assert reading.table["block_id"].tolist() == ["0001", "B10", "B2"]
    assert reading.table["row"].tolist() == [4, 3, 2]
    pd.testing.assert_frame_equal(tables.check("blocks", reading.table), reading.table)
    assert reading.problems.empty
    assert reading.geometry.empty


def test_text_is_kept_verbatim() -> None:
    street = '=HYPERLINK("http://example.com")<b>+@-'
    assert read({"street": f"  {street} ", "block_id": "+1", "district": "-"}).table[
        ["street", "block_id", "district"]].iloc[0].tolist() == [street, "+1", "-"]


@pytest.mark.parametrize(("column", "value"), [
    ("length_ft", "long"), ("length_ft", "400 ft"), ("width_ft", "-36"), ("width_ft", "3"), ("length_ft", "99999"),
    ("length_ft", ""), ("width_ft", "NA"), ("length_ft", "inf"), ("length_ft", "1.234,5"), ("block_id", " "),
])
def test_a_bad_value_in_a_required_column_stops_the_row(column: str, value: str) -> None:
    reading = read({column: value})
    only_problem(reading, "stop", column, value.strip() or None, "not used")


@pytest.mark.parametrize(("column", "value"), [
    ("thickness_in", "thick"), ("thickness_in", "-8"), ("thickness_in", "80"), ("panels_broken", "2.5"),
    ("year_built", "1066"), ("functional_class", "spaceport"), ("bus_route", "maybe"), ("surveyed_on", "soon"),
    ("truck_share", "7"), ("spalled_joint_ft", "-1"), ("hollow_sqft", "20000"), ("sunken_curb_ft", "801"),
    ("load_transfer", "2"), ("material_distress", "lots"),
])
def test_a_bad_value_in_an_optional_column_is_not_used_and_said_so(column: str, value: str) -> None:
    reading = read({column: value})
    only_problem(reading, "warn", column, None, "the value was not used")
    assert float(reading.problems["value"].astype("float64").iloc[0]) == float(value) if value.lstrip("-").replace(
        ".", "").isdigit() else reading.problems["value"].iloc[0] == value
    assert reading.table[column].isna().all()


@pytest.mark.parametrize("word", ["NA", "n/a", "-", "none", "NULL", ""])
def test_words_for_no_value_in_numbers(word: str) -> None:
    reading = read({"thickness_in": word}, {"block_id": "B2", "thickness_in": "8"})
    assert reading.problems.empty
    assert reading.table["thickness_in"].isna().tolist() == [True, False]


def test_thousands_separators_are_read() -> None:
    assert read({"length_ft": "1,234.5"}).table["length_ft"].tolist() == [1234.5]


def test_decimal_commas_in_a_semicolon_file_are_read_where_they_can_be_nothing_else() -> None:
    reading = read({"width_ft": "12,5"}, {"block_id": "B2", "width_ft": "1,234"},
                   {"block_id": "B3", "length_ft": "1.234"},
                   {"block_id": "B4", "length_ft": "1.234,5"}, {"block_id": "B5", "width_ft": "12.5"}, delimiter=";")
    assert reading.table[["block_id", "width_ft"]].to_numpy().tolist() == [["B1", 12.5], ["B5", 12.5]]
    assert "decimal commas" in reading.problems["message"].iloc[0]
    assert reading.problems["row"].tolist()[1:] == [3, 4, 5]


def test_without_semicolons_a_decimal_comma_is_no_number() -> None:
    only_problem(read({"width_ft": "12,5"}), "stop", "width_ft", "12,5", "not a number")


def test_every_row_of_a_repeated_id_is_stopped_and_names_the_others() -> None:
    reading = read({}, {}, {"block_id": "B2"}, {"block_id": "B1 "})
    assert reading.table["block_id"].tolist() == ["B2"]
    assert reading.problems["row"].tolist() == [2, 3, 5]
    assert reading.problems["message"].str.contains("2, 3, 5").all()


def test_counts_above_the_panels_stop_the_row() -> None:
    """400 x 36 ft in panels of 15 x 12 ft: round(26.67) x 3 = 81 panels."""
    sizes = {"panel_length_ft": "15", "panel_width_ft": "12"}
    reading = read({"panels_broken": "82"} | sizes, {"block_id": "B2", "panels_broken": "81"} | sizes)
    assert reading.table["block_id"].tolist() == ["B2"]
    assert "81 panels" in reading.problems["message"].iloc[0]
    only_problem(read({"panels": "10", "corner_breaks": "11"}), "stop", "corner_breaks", "11", "10 panels")
    assert len(read({"panels_broken": "5000"}).table) == 1  # the panels are not known here
    both = read({"panels": "10", "panels_broken": "8", "panels_sunken": "8"})  # a panel may be broken and sunken
    assert both.problems.empty


def test_depth_and_joints_beyond_the_block() -> None:
    only_problem(read({"thickness_in": "7", "damage_depth_in": "7.5"}), "warn", "damage_depth_in", "7.5", "thick")
    sizes = {"panel_length_ft": "20", "panel_width_ft": "12"}
    most = 21 * 36 + 4 * 400  # joints with both ends and both edges of 20 x 3 panels
    assert read({"wide_joint_ft": str(most)} | sizes).problems.empty
    only_problem(read({"wide_joint_ft": str(most + 1)} | sizes), "warn", "wide_joint_ft", None, "joints")


def test_years_and_days_in_an_impossible_order() -> None:
    only_problem(read({"year_built": "2020", "surveyed_on": "2019-05-01"}), "warn", "year_built", "2020.0", "survey")
    only_problem(read({"surveyed_on": "2031-01-01"}, today=dt.date(2026, 5, 1)), "warn", "surveyed_on", None, "today")
    only_problem(read({"year_built": "2027"}, today=dt.date(2026, 5, 1)), "warn", "year_built", None, "future")
    only_problem(read({"year_built": "1990", "last_work_year": "1980"}), "warn", "last_work_year", None, "placed")
    only_problem(read({"year_built": "1990", "last_ground_year": "1980"}), "warn", "last_ground_year", None, "placed")
    only_problem(read({"last_ground_year": "2020", "surveyed_on": "2019-05-01"}), "warn", "last_ground_year", None,
                 "survey")
    only_problem(read({"last_ground_year": "2010", "grindings": "0"}), "warn", "last_ground_year", None, "zero times")
    only_problem(read({"grindings": "10"}), "warn", "grindings", "10", "")


@pytest.mark.parametrize(("text", "day"), [
    ("2024-06-30", "2024-06-30"), ("2024/6/3", "2024-06-03"), ("6/30/2024", "2024-06-30"), ("03/04/2024", "2024-03-04"),
    ("2024-06-30T08:15:00Z", "2024-06-30"), ("6/30/2024 8:15", "2024-06-30"), ("30/6/2024", None), ("6/30/24", None),
    ("2024-02-30", None), ("45473", None), ("June 2024", None),
])
def test_days(text: str, day: str | None) -> None:
    reading = read({"surveyed_on": text})
    value = reading.table["surveyed_on"].iloc[0]
    assert (None if pd.isna(value) else value.strftime("%Y-%m-%d")) == day
    assert len(reading.problems) == (day is None)


def test_days_that_could_be_either_are_refused_beside_a_day_first_one() -> None:
    reading = read({"surveyed_on": "25/12/2023"}, {"block_id": "B2", "surveyed_on": "03/04/2024"},
                   {"block_id": "B3", "surveyed_on": "2024-04-03"})
    assert reading.table["surveyed_on"].isna().tolist() == [True, True, False]
    assert reading.problems["row"].tolist() == [2, 3]


def test_spreadsheet_day_numbers_in_a_workbook() -> None:
    """Day 45473 of the 1900 system is 30 June 2024 (openpyxl's conversion as the reference)."""
    import io

    import openpyxl
    from openpyxl.utils.datetime import from_excel

    book = openpyxl.Workbook()
    book.active.append([*GOOD, "survey date"])
    book.active.append(["B1", 400, 36, 71, 45473])
    stream = io.BytesIO()
    book.save(stream)
    reading = read_blocks(open_table("blocks.xlsx", stream.getvalue()))
    assert reading.table["surveyed_on"].iloc[0] == from_excel(45473)
    assert "1900" in reading.problems["message"].iloc[0]


def test_an_index_of_zero_is_used_and_asked_about() -> None:
    reading = read({"condition_index": "0"})
    only_problem(reading, "warn", "condition_index", "0", "not rated?")
    assert reading.table["condition_index"].tolist() == [0]


def test_a_row_without_condition_is_stopped() -> None:
    reading = read({"condition_index": "n/a"})
    only_problem(reading, "stop", "condition_index", None, "no measure of condition")
    reading = read({"condition_index": "150"})
    assert reading.table.empty
    assert reading.problems["severity"].tolist() == ["warn", "stop"]


@pytest.mark.parametrize(("word", "ours"), [
    ("Residential", "local"), ("MAJOR", "arterial"), ("Minor-Arterial", "arterial"), ("Alley", "alley"),
    ("Collector", "collector"), ("prime", "arterial"),
])
def test_classes_of_street(word: str, ours: str) -> None:
    reading = read({"functional_class": word})
    assert reading.table["functional_class"].tolist() == [ours]
    assert reading.problems["severity"].tolist() == ([] if word.lower() == ours else ["warn"])
    if word.lower() != ours:
        assert f"'{word}' as {ours} (1)" in reading.problems["message"].iloc[0]


@pytest.mark.parametrize(("word", "flag"), [("Yes", True), ("n", False), ("1", True), ("FALSE", False), ("T", True)])
def test_flags(word: str, flag: bool) -> None:
    assert read({"dowelled": word}).table["dowelled"].tolist() == [flag]


# NIST Handbook 44 (2024), Appendix C: 1 ft = 0.3048 m, 1 in = 25.4 mm, 1 mile = 5280 ft exactly;
# 1 m2 = 10.763 91 ft2 (rounded there); 1 m/km = 63.36 in/mile follows from 1 mile = 63 360 in.
@pytest.mark.parametrize(("column", "unit", "value", "ours", "digits"), [
    ("length_ft", "m", "100", 100 / 0.3048, 12), ("length_ft", "mile", "0.1", 528.0, 12),
    ("length_ft", "km", "0.1", 328.08399, 7), ("thickness_in", "mm", "203.2", 8.0, 12),
    ("thickness_in", "cm", "20.32", 8.0, 12), ("hollow_sqft", "sqm", "10", 107.6391, 7),
    ("hollow_sqft", "sqyd", "10", 90.0, 12), ("iri_in_per_mi", "m/km", "2", 126.72, 12),
    ("truck_share", "per cent", "7", 0.07, 12), ("panel_length_ft", "metres", "4.572", 15.0, 12),
])
def test_units_are_converted_once_at_the_border(column: str, unit: str, value: str, ours: float, digits: int) -> None:
    table = read({column: value}, **{column: unit}).table
    assert table[column].iloc[0] == pytest.approx(ours, rel=10.0**-digits)


def test_per_cent_signs_and_shares_of_panels() -> None:
    assert read({"truck_share": "7%"}).table["truck_share"].iloc[0] == pytest.approx(0.07)
    reading = read({"% cracked": "25", "panels": "80"})
    assert reading.table["panels_cracked"].tolist() == [20]
    assert "whole panels" in reading.problems["message"].iloc[0]
    only_problem(read({"% cracked": "25"}), "warn", "% cracked", None, "neither the panels nor their sizes")


def test_sizes_that_look_like_metres_are_asked_about() -> None:
    rows = [{"block_id": f"B{n}", "width_ft": "4.5"} for n in range(6)]
    assert read(*rows).problems["accepted"].str.contains("give the unit 'm'").all()
    rows = [{"block_id": f"B{n}", "width_ft": "11"} for n in range(6)]
    assert "in metres?" in read(*rows).problems["message"].iloc[0]


@pytest.mark.parametrize("lacking", ["block_id", "length_ft", "width_ft", "condition_index"])
def test_a_missing_required_column_is_refused_with_the_headings(lacking: str) -> None:
    columns = [name for name in GOOD if name != lacking]
    raw = open_table("blocks.csv", (",".join([*columns, "colour"]) + "\n" + "1," * len(columns) + "red\n").encode())
    with pytest.raises(UnusableInput) as caught:
        read_blocks(raw)
    assert [problem.column for problem in caught.value.problems] == [lacking.replace("condition_index", "condition")]
    assert "map one of" in caught.value.problems[0].accepted


def test_all_missing_columns_are_told_at_once() -> None:
    with pytest.raises(UnusableInput) as caught:
        read_blocks(open_table("blocks.csv", b"street,colour\nElm,red\n"))
    assert [problem.column for problem in caught.value.problems] == ["block_id", "length_ft", "width_ft", "condition"]


def test_many_problems_of_one_kind_are_counted_in_one_row() -> None:
    rows = 2_500
    frame = pd.DataFrame({"block_id": np.arange(rows), "length_ft": "x", "width_ft": 36, "condition_index": 50})
    problems = read_blocks(open_table("blocks.csv", frame.to_csv(index=False).encode())).problems
    assert len(problems) == 1_001
    assert problems["message"].iloc[0].startswith("1,500 further rows, from row 1002 on")


CELLS = st.sampled_from(["", "NA", "5", "36", "400", "1,200", "-3", "x", "1e3", "12,5", "70%", "2024-01-01", "local",
                         "0"])
ROW = st.fixed_dictionaries({
    "block_id": st.sampled_from(["B1", "B2", "B3", "B4", "B5", "B6", ""]),
    "length_ft": st.sampled_from(["400", "", "x"]),
    "width_ft": st.sampled_from(["36", "36", "-1"]), "condition_index": CELLS, "panels": CELLS, "panels_broken": CELLS,
    "functional_class": CELLS, "surface": st.sampled_from(["concrete", "Concrete ", "asphalt"]),
})


@settings(max_examples=20, deadline=None)
@given(rows=st.lists(ROW, min_size=1, max_size=8), seed=st.randoms(use_true_random=False))
def test_every_row_is_used_filtered_or_stopped_and_order_does_not_matter(rows: list[dict[str, str]],
                                                                         seed: object) -> None:
    def run(some: list[dict[str, str]]) -> Reading | None:
        raw = open_table("blocks.csv", pd.DataFrame(some).to_csv(index=False).encode())
        mapping = suggest(raw)
        mapping.loc[mapping["theirs"] == "surface", "only"] = "concrete"
        try:
            return read_blocks(raw, mapping)
        except UnusableInput as error:
            assert "keeps no row" in str(error)
            return None

    reading = run(rows)
    shuffled = rows.copy()
    seed.shuffle(shuffled)  # type: ignore[attr-defined]
    other = run(shuffled)
    assert (reading is None) == (other is None)
    if reading is None or other is None:
        return
    stopped = reading.problems.loc[reading.problems["severity"] == "stop", "row"].nunique()
    assert reading.rows_in == len(rows)
    assert reading.rows_in == len(reading.table) + reading.rows_filtered + stopped
    pd.testing.assert_frame_equal(reading.table.drop(columns="row"), other.table.drop(columns="row"))
    assert sorted(reading.problems["severity"]) == sorted(other.problems["severity"])
