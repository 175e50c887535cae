"""Defects of a panel survey, checked against the blocks they lie in."""

import pandas as pd
import pytest

from rehab.base import tables
from rehab.base.errors import UnusableInput
from rehab.inputs.reading import Reading, open_table, read_blocks, read_defects
from rehab.inputs.reading.defects import ungraded

# 400 x 36 ft in panels of 15 x 12 ft: 27 x 3 panels, each 14.8 x 12 ft
BLOCKS = (b"block_id,length_ft,width_ft,panel_length_ft,panel_width_ft,thickness_in,condition_index\n"
          b"B1,400,36,15,12,8,50\nB2,400,36,,,,50\n")
GOOD = {"block_id": "B1", "panel_row": "27", "panel_column": "3", "defect": "corner break", "severity": "high",
        "x_ft": "0", "y_ft": "0", "length_ft": "3", "width_ft": "2.5", "depth_in": "8"}


def read(*rows: dict[str, str]) -> Reading:
    frame = pd.DataFrame([GOOD | row for row in rows])
    return read_defects(open_table("defects.csv", frame.to_csv(index=False).encode()), None,
                        read_blocks(open_table("blocks.csv", BLOCKS)).table)


def test_good_defects_obey_the_schema_in_order() -> None:
    reading = read({}, {"panel_row": "2", "depth_in": ""}, {"block_id": "B2", "panel_row": "400", "depth_in": "20"})
    assert reading.problems.empty
    assert reading.table["row"].tolist() == [3, 2, 4]
    pd.testing.assert_frame_equal(tables.check("defects", reading.table), reading.table)


@pytest.mark.parametrize(("row", "column", "told"), [
    ({"block_id": "B9"}, "block_id", "no block of this name"),
    ({"block_id": ""}, "block_id", "empty"),
    ({"panel_row": "28"}, "panel_row", "27 panels along"),
    ({"panel_column": "4"}, "panel_column", "3 panels across"),
    ({"panel_row": "0"}, "panel_row", "outside the limits"),
    ({"panel_row": "first"}, "panel_row", "not a number"),
    ({"panel_row": "1.5"}, "panel_row", "whole number"),
    ({"defect": "graffiti"}, "defect", "not a word that is known"),
    ({"severity": ""}, "severity", "empty"),
    ({"severity": "awful"}, "severity", "not a word that is known"),
    ({"x_ft": "14"}, "x_ft", "17.0 ft into a panel of 15.0 ft"),
    ({"y_ft": "11"}, "y_ft", "13.5 ft into a panel of 12.0 ft"),
    ({"defect": "casting", "x_ft": ""}, "defect", "without its position"),
])
def test_a_bad_defect_is_stopped_and_the_rest_goes_on(row: dict[str, str], column: str, told: str) -> None:
    reading = read(row, {})
    assert reading.table["row"].tolist() == [3]
    assert reading.problems[["severity", "row", "column"]].to_numpy().tolist() == [["stop", 2, column]]
    assert told in reading.problems["message"].iloc[0]
    assert reading.problems["accepted"].iloc[0]
    assert (reading.rows_in, reading.rows_filtered) == (2, 0)


def test_a_depth_beyond_the_slab_is_not_used() -> None:
    reading = read({"depth_in": "8.5"})
    assert reading.table["depth_in"].isna().all()
    assert "not used" in reading.problems["message"].iloc[0]


def test_the_same_defect_twice_is_asked_about() -> None:
    reading = read({}, {})
    assert len(reading.table) == 2
    assert reading.problems[["severity", "row"]].to_numpy().tolist() == [["warn", 3]]


# Names of concrete distresses as in the open standards: UFC 3-270-08, Appendix B (corner break, divided slab, linear
# cracking, patches, corner and joint spalling) and FHWA-HRT-13-092, chapter 2 (longitudinal and transverse cracking,
# spalling of joints, joint seal damage, map cracking); the rest are words of the trade.
@pytest.mark.parametrize(("word", "ours"), [
    ("Corner Break", "corner break"), ("Divided slab", "broken panel"), ("Linear Cracking", "linear crack"),
    ("Patch, large", "patch"), ("Patching", "patch"), ("Patch, small", "small patch"), ("Utility cut", "utility cut"),
    ("Spalling - Corner", "corner spall"), ("Joint Spalling", "joint spall"), ("Punch-out", "punchout"),
    ("Manhole", "casting"), ("settlement", "sunken panel"), ("Longitudinal cracking", "longitudinal crack"),
    ("Transverse Cracks", "transverse crack"), ("spalling of transverse joints", "joint spall"),
    ("Blow-up/Buckling", "blow-up"), ("blow-up", "blow-up"), ('Durability ("D") cracking', "durability cracking"),
    ("Patching, large, and utility cuts", "patch"), ("Lane/Shoulder Drop-off", "lane drop-off"),
])
def test_words_of_the_trade(word: str, ours: str) -> None:
    reading = read({"defect": word})
    assert reading.table["defect"].tolist() == [ours]


def test_our_own_words_are_read_without_a_remark() -> None:
    rows = [{"defect": word, "severity": "" if word in ungraded()[1] else "low", "panel_row": str(number)}
            for number, word in enumerate(tables.DEFECTS, start=1)]
    reading = read(*rows)
    assert reading.problems.empty, reading.problems.to_string()
    assert sorted(reading.table["defect"]) == sorted(tables.DEFECTS)


@pytest.mark.parametrize(("word", "near"), [("corner brake", "corner break"), ("spalling", "joint spall"),
                                            ("longitud. crack", "longitudinal crack")])
def test_an_unknown_word_is_shown_the_nearest_ones(word: str, near: str) -> None:
    message = str(read({"defect": word}).problems["message"].iloc[0])
    assert near in message.split("near it: ")[1]
    assert "near it" not in str(read({"defect": "graffiti"}).problems["message"].iloc[0])


def test_many_unknown_words_do_not_take_long() -> None:
    reading = read(*({"defect": f"something else {number}"} for number in range(3000)))
    assert len(reading.table) == 0
    assert reading.problems["message"].str.startswith("2,000 further rows").any()


# Severity words of the standard (low, medium, high; UFC 3-270-08) and of the federal manual (moderate), letters and
# figures as surveyors write them.
@pytest.mark.parametrize(("word", "ours"), [
    ("L", "low"), ("M", "medium"), ("H", "high"), ("Low", "low"), ("moderate", "medium"), ("1", "low"), ("2", "medium"),
    ("3", "high"), ("slight", "low"), ("severe", "high"),
])
def test_severity_words(word: str, ours: str) -> None:
    assert read({"severity": word}).table["severity"].tolist() == [ours]


@pytest.mark.parametrize("empty", ["", "none", "-", "N/A", "Not graded", "not applicable"])
@pytest.mark.parametrize("defect", ["pumping", "faulting"])
def test_some_defects_may_stand_without_a_severity(defect: str, empty: str) -> None:
    reading = read({"defect": defect, "severity": empty})
    assert not (reading.problems["severity"] == "stop").any()
    assert reading.table["severity"].isna().tolist() == [True]


@pytest.mark.parametrize("empty", ["none", "-", "not graded"])
def test_the_others_may_not(empty: str) -> None:
    reading = read({"severity": empty}, {})
    assert reading.table["row"].tolist() == [3]
    problem = reading.problems.iloc[0]
    assert (problem["severity"], problem["row"], problem["column"]) == ("stop", 2, "severity")
    assert "'corner break' needs one" in problem["message"]
    assert "low, medium, high" in problem["accepted"]


@pytest.mark.parametrize(("defect", "severity", "told"), [
    ("popouts", "high", "'popouts' is not graded; used without"), ("hollow area", "awful", "the value was not used"),
])
def test_a_severity_that_is_not_needed_is_no_reason_to_stop(defect: str, severity: str, told: str) -> None:
    reading = read({"defect": defect, "severity": severity})
    assert reading.problems[["severity", "row", "column"]].to_numpy().tolist() == [["warn", 2, "severity"]]
    assert told in reading.problems["message"].iloc[0]
    assert reading.table["severity"].isna().tolist() == [True]


def test_an_ungraded_defect_never_keeps_a_severity() -> None:
    rows = [{"defect": defect, "severity": severity} for defect in sorted(ungraded()[1])
            for severity in tables.SEVERITIES]
    assert read(*rows).table["severity"].isna().all()


def test_a_row_with_two_faults_is_told_both() -> None:
    problems = read({"defect": "graffiti", "severity": "awful"}).problems
    assert problems["column"].tolist() == ["defect", "severity"]


def test_steps_and_steel() -> None:
    reading = read({"step_in": "0.5", "at_steel": "yes"}, {"panel_row": "26", "at_steel": "N"}, {"panel_row": "25"})
    assert reading.problems.empty
    assert reading.table["step_in"].fillna(-1).tolist() == [-1, -1, 0.5]
    assert reading.table["at_steel"].astype(object).where(reading.table["at_steel"].notna(), None).tolist() == [
        None, False, True]


# One inch is 25.4 mm exactly (international yard and pound agreement, 1959).
@pytest.mark.parametrize(("heading", "value", "column", "inches"), [
    ("Fault height (mm)", "12.7", "step_in", 0.5), ("step_in", "0.5", "step_in", 0.5),
    ("depth (mm)", "50.8", "depth_in", 2.0), ("Depth (cm)", "5.08", "depth_in", 2.0),
    ("settlement (mm)", "25.4", "step_in", 1.0),
])
def test_metric_steps_and_depths(heading: str, value: str, column: str, inches: float) -> None:
    row = {name: cell for name, cell in GOOD.items() if name != column} | {heading: value}
    raw = open_table("defects.csv", pd.DataFrame([row]).to_csv(index=False).encode())
    reading = read_defects(raw, None, read_blocks(open_table("blocks.csv", BLOCKS)).table)
    assert reading.table[column].iloc[0] == pytest.approx(inches, rel=1e-12)


@pytest.mark.parametrize(("column", "value", "told"), [
    ("step_in", "13", "outside the limits"), ("step_in", "-0.1", "outside the limits"), ("step_in", "big", "not a number"),
    ("at_steel", "perhaps", "not a word that is known"),
])
def test_a_bad_step_or_flag_is_not_used(column: str, value: str, told: str) -> None:
    reading = read({column: value})
    assert reading.problems[["severity", "row", "column"]].to_numpy().tolist() == [["warn", 2, column]]
    assert told in reading.problems["message"].iloc[0]
    assert reading.table[column].isna().all()


def test_missing_columns_are_refused_together() -> None:
    blocks = read_blocks(open_table("blocks.csv", BLOCKS)).table
    with pytest.raises(UnusableInput) as caught:
        read_defects(open_table("defects.csv", b"block_id,panel row,note\nB1,2,x\n"), None, blocks)
    assert [problem.column for problem in caught.value.problems] == ["panel_column", "defect"]


def without_severity(*defects: str) -> Reading:
    frame = pd.DataFrame([GOOD | {"defect": defect} for defect in defects]).drop(columns="severity")
    return read_defects(open_table("defects.csv", frame.to_csv(index=False).encode()), None,
                        read_blocks(open_table("blocks.csv", BLOCKS)).table)


def test_the_column_of_severities_may_be_absent_where_nothing_is_graded() -> None:
    reading = without_severity("pumping", "popouts", "faulting")
    assert reading.problems.empty
    assert reading.table["severity"].isna().all()
    with pytest.raises(UnusableInput) as caught:
        without_severity("pumping", "patch", "casting")
    problem, = caught.value.problems
    assert (problem.column, problem.severity) == ("severity", "stop")
    assert "needed for casting, patch" in problem.message
    assert problem.accepted


TILED = ("block_id,length_ft,width_ft,panel_length_ft,panel_width_ft,panels,condition_index\n"
         "T1,400,36,15,12,81,50\nT2,{length},{width},{along},{across},{panels},50\n")


# By hand: 400 / 15 = 26.7, so 27 x 3 = 81 panels; 90 of 15 x 12 ft cover 16,200 of 14,400 sq ft.  22 / 15 = 1.5, so
# 1 x 1; one panel of 180 sq ft on 264 sq ft leaves 32 %.  100 / 15 = 6.7, so 7: 7 x 180 = 1,260 of 1,200 sq ft is 5 %.
@pytest.mark.parametrize(("size", "told"), [
    ({"length": 400, "width": 36, "along": 15, "across": 12, "panels": 90}, ("27 x 3 = 81", "16,200 of 14,400")),
    ({"length": 22, "width": 12, "along": 15, "across": 12, "panels": 1}, ("180 of 264", "1 x 1 panels of 22.0 x 12.0")),
    ({"length": 100, "width": 12, "along": 15, "across": 12, "panels": 7}, ()),
    ({"length": 400, "width": 36, "along": 15, "across": 12, "panels": ""}, ()),
    ({"length": 400, "width": 36, "along": "", "across": 12, "panels": 90}, ()),
])
def test_panels_that_do_not_tile_their_block_are_asked_about(size: dict[str, object], told: tuple[str, ...]) -> None:
    reading = read_blocks(open_table("blocks.csv", TILED.format(**size).encode()))
    assert reading.table["block_id"].tolist() == ["T1", "T2"]
    problems = reading.problems
    assert len(problems) == bool(told)
    for words in told:
        assert words in problems["message"].iloc[0]
    if told:
        assert problems[["severity", "row", "column"]].to_numpy().tolist() == [["warn", 3, "panels"]]
        assert "correct the count or a size" in problems["accepted"].iloc[0]
        assert reading.table["panels"].iloc[1] == size["panels"]
