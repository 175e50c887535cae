"""Defects of a panel survey, checked against the blocks they lie in."""

import pandas as pd
import pytest

from rehab.base import tables
from rehab.base.errors import UnusableInput
from rehab.inputs.reading import Reading, open_table, read_blocks, read_defects

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


# Names of concrete distresses as in the open standards (UFC 3-270-08, Appendix B: corner break, divided slab, linear
# cracking, large patch and utility cut, corner and joint spalling).
@pytest.mark.parametrize(("word", "ours"), [
    ("Corner Break", "corner break"), ("Divided slab", "broken panel"), ("Linear Cracking", "linear crack"),
    ("Patch, large", None), ("Patching", "patch"), ("Utility cut", "patch"), ("Spalling - Corner", "corner spall"),
    ("Joint Spalling", "joint spall"), ("Punch-out", "broken panel"), ("Manhole", "casting"),
    ("settlement", "sunken panel"),
])
def test_words_of_the_trade(word: str, ours: str | None) -> None:
    reading = read({"defect": word})
    assert reading.table["defect"].tolist() == [ours or "patch"]


def test_missing_columns_are_refused_together() -> None:
    blocks = read_blocks(open_table("blocks.csv", BLOCKS)).table
    with pytest.raises(UnusableInput) as caught:
        read_defects(open_table("defects.csv", b"block_id,panel row,note\nB1,2,x\n"), None, blocks)
    assert [problem.column for problem in caught.value.problems] == ["panel_column", "defect", "severity"]
