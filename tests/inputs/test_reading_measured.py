"""Work lists that were filled in: what crews write is read as they mean it, or not at all and said."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Callable, Sequence
from typing import Any

import openpyxl
import pandas as pd
import pytest
import xlsxwriter
from hypothesis import given, settings
from hypothesis import strategies as st

from rehab.base import tables
from rehab.base.errors import UnusableInput
from rehab.base.tables.site import ENTRIES
from rehab.inputs.reading import Measured, read_measured

Row = Sequence[Any]
GRID = 12
HEAD_Q = ("Item", "Planned", "Unit", "Actual quantity")
HEAD_R = ("No.", "Kind", "Length, ft", "Actual length, ft", "Actual width, ft", "Actual depth, in")
PATCH, MILLING = "Partial-depth repair, all in", "Partial-depth milling and removal"


def quantity(pay_item: str, actual: Any, name: str = PATCH, block: str = "B001", year: int = 2027) -> Row:
    return (name, 100.0, "sq ft", actual, ["quantities", block, year, pay_item])


def repair(number: int, *actual: Any, block: str = "B001", year: int = 2027) -> Row:
    return (number, "full depth", 6.0, *actual, ["repairs", block, year, str(number)])


def written(sheets: dict[str, list[tuple[Row, list[Row]]]], merged: bool = True) -> bytes:
    """A workbook by the contract: tables with a head, three columns of the grid for each of their columns if merged,
    the key of a row as JSON in the hidden column after the grid."""
    stream = io.BytesIO()
    wide = 2 if merged else 1
    with xlsxwriter.Workbook(stream, {"in_memory": True}) as book:
        for name, blocks in sheets.items():
            sheet = book.add_worksheet(name)
            sheet.set_column(GRID, GRID, None, None, {"hidden": True})
            sheet.merge_range(0, 0, 0, GRID - 1, f"Block {name}")
            at = 2
            for head, rows in blocks:
                for row in (head, *rows):
                    cells = row if row is head else row[:-1]
                    for place, value in enumerate(cells):
                        if merged:
                            sheet.merge_range(at, place * wide, at, place * wide + 1, "")
                        if isinstance(value, str) and value.startswith("="):
                            sheet.write_formula(at, place * wide, value, None, 41.5)
                        elif isinstance(value, pd.Timestamp):
                            sheet.write_datetime(at, place * wide, value.to_pydatetime(),
                                                 book.add_format({"num_format": "d mmm"}))
                        else:
                            sheet.write(at, place * wide, value)
                    if row is not head:
                        key = row[-1]
                        sheet.write_string(at, GRID, key if isinstance(key, str) else json.dumps(key))
                    at += 1
                at += 1
    return stream.getvalue()


def one(*rows: Row, head: Row = HEAD_Q, name: str = "1 B001") -> bytes:
    return written({name: [(head, list(rows))]})


@pytest.fixture(scope="module")
def city(blocks: Callable[..., pd.DataFrame]) -> pd.DataFrame:
    """B001 and B002: 300 ft by 36 ft, 1,200 square yards."""
    return blocks({}, {})


def told(measured: Measured) -> str:
    assert (measured.problems["accepted"] != "").all()
    return "\n".join(measured.problems["message"])


def test_what_is_filled_in_is_read_with_its_place(city: pd.DataFrame) -> None:
    content = written({
        "Overview": [(("No.", "Block"), [(1, "B001", "not a key")])],
        "1 B001": [(HEAD_Q, [quantity("partial_depth_patch", 112.5), quantity("patch_milling", 0, MILLING),
                             quantity("patch_mix", None, "Patching mix placed")]),
                   (HEAD_R, [repair(1, 6.5, 12, 8), repair(2, None, None, None), repair(3, 4, 5.25, None)])],
        "2 B002": [(HEAD_Q, [quantity("partial_depth_patch", 90, block="B002")])]})
    for merged in (content, written({"1 B001": [(HEAD_Q, [quantity("partial_depth_patch", 112.5)])]}, merged=False)):
        found = read_measured("list.xlsx", merged, city, 2027)
        assert found.problems.empty
        pd.testing.assert_frame_equal(tables.check("measured", found.quantities), found.quantities)
        assert found.quantities.iloc[0][["block_id", "year", "pay_item", "quantity", "sheet", "row"]].tolist() == [
            "B001", 2027, "partial_depth_patch", 112.5, "1 B001", 4]
    found = read_measured("list.xlsx", content, city, 2027)
    assert found.quantities[["block_id", "pay_item", "quantity"]].to_numpy().tolist() == [
        ["B001", "partial_depth_patch", 112.5], ["B001", "patch_milling", 0.0], ["B002", "partial_depth_patch", 90.0]]
    assert found.repairs[["repair_id", "length_ft", "width_ft", "depth_in"]].fillna(-1).to_numpy().tolist() == [
        [1, 6.5, 12, 8], [3, 4, 5.25, -1]]


def test_columns_put_in_between_and_rows_in_another_order_do_no_harm(city: pd.DataFrame) -> None:
    head = ("Item", "Remark", "Actual  quantity", "Unit")
    rows = [("Patching mix placed", "late", 3.5, "cu yd", ["quantities", "B001", 2027, "patch_mix"]),
            (PATCH, "", 50, "sq ft", ["quantities", "B001", 2027, "partial_depth_patch"])]
    found = read_measured("list.xlsx", one(*rows, head=head), city, 2027)
    assert found.problems.empty
    assert found.quantities[["pay_item", "quantity"]].to_numpy().tolist() == [
        ["partial_depth_patch", 50.0], ["patch_mix", 3.5]]


@pytest.mark.parametrize(("value", "message"), [
    ("about 12", "'about 12' is not a number that can be read without doubt"),
    ("12 ft", "'12 ft' holds more than a number"), ("12.5sf", "holds more than a number"),
    (-3, "below zero"), ("-3", "below zero"), ("n/a", "'n/a' may mean none or not measured"),
    ("-", "may mean none"), (True, "yes or no"), (pd.Timestamp("2027-12-05"), "took what was written for a day"),
    ("1/2", "not a number"), ("none", "may mean none"), ("9e999", "more than a number")])
def test_what_cannot_be_read_without_doubt_is_said(city: pd.DataFrame, value: Any, message: str) -> None:
    content = one(quantity("partial_depth_patch", value), quantity("patch_mix", 2, "Patching mix placed"))
    found = read_measured("list.xlsx", content, city, 2027)
    assert found.quantities["pay_item"].tolist() == ["patch_mix"], "the other row is used"
    assert len(found.problems) == 1
    problem = found.problems.iloc[0]
    assert (problem["severity"], problem["file"], problem["row"], problem["column"]) == (
        "stop", "list.xlsx", 4, "Actual quantity")
    assert problem["message"].startswith("sheet '1 B001': block B001, partial_depth_patch: ")
    assert message in problem["message"] and problem["message"].endswith("it is not used")


@pytest.mark.parametrize(("value", "number"), [("12.5", 12.5), (" 1,234.5 ", 1234.5), (7, 7.0), ("0", 0.0)])
def test_numbers_kept_as_text_are_numbers(city: pd.DataFrame, value: Any, number: float) -> None:
    found = read_measured("list.xlsx", one(quantity("partial_depth_patch", value)), city, 2027)
    assert found.problems.empty and found.quantities["quantity"].tolist() == [number]


def test_formulas_are_taken_as_computed_and_not_without_a_value(city: pd.DataFrame) -> None:
    found = read_measured("list.xlsx", one(quantity("partial_depth_patch", "=SUM(1,2)")), city, 2027)
    assert found.quantities["quantity"].tolist() == [41.5], "the value that the file holds"
    book = openpyxl.load_workbook(io.BytesIO(one(quantity("partial_depth_patch", 1), quantity("patch_mix", 2, "x"))))
    sheet: Any = book["1 B001"]
    assert sheet["G4"].value == 1 and sheet["G5"].value == 2
    sheet["G4"], sheet["G5"] = "=10+2", "=1/0"  # openpyxl computes nothing, so the file holds no value
    stream = io.BytesIO()
    book.save(stream)
    found = read_measured("list.xlsx", stream.getvalue(), city, 2027)
    assert found.quantities.empty and len(found.problems) == 2
    assert told(found).count("the cell holds a formula without a computed value") == 2
    broken = io.BytesIO()
    with zipfile.ZipFile(stream) as old, zipfile.ZipFile(broken, "w") as new:
        for item in old.namelist():
            new.writestr(item, old.read(item).replace(b'<f>1/0</f><v />', b'<f>1/0</f><v>#DIV/0!</v>').replace(
                b'<c r="G5"', b'<c r="G5" t="e"'))
    assert "the cell holds an error of the spreadsheet" in told(read_measured("x.xlsx", broken.getvalue(), city, 2027))


def test_a_sheet_that_was_copied(city: pd.DataFrame) -> None:
    def twice(first: Any, second: Any) -> Measured:
        return read_measured("list.xlsx", written({
            name: [(HEAD_Q, [quantity("partial_depth_patch", value)])]
            for name, value in (("1 B001", first), ("1 B001 (2)", second))}), city, 2027)

    found = twice(10, 12)
    assert found.quantities.empty
    assert "stands in row 4 of sheet '1 B001' and row 4 of sheet '1 B001 (2)' with different figures" in told(found)
    found = twice(10, 10)
    assert found.quantities["quantity"].tolist() == [10.0]
    assert found.problems["severity"].tolist() == ["warn"] and "with the same figures; used once" in told(found)
    for found in (twice(10, None), twice(None, 10)):
        assert found.problems.empty and found.quantities["quantity"].tolist() == [10.0]


def test_sizes_of_repairs_that_do_not_go_together(city: pd.DataFrame) -> None:
    content = one(repair(1, 6, None, 8), repair(2, None, 12, None), repair(3, 0, 12, 8), repair(4, 0, 0, None),
                  repair(5, None, None, 9), repair(6, 600, 12, 8), repair(7, 6, 40, 8), repair(8, 6, 12, 96),
                  repair(9, 6, "12 ft", 8), head=HEAD_R)
    found = read_measured("list.xlsx", content, city, 2027)
    assert found.repairs["repair_id"].tolist() == [4, 5]
    assert found.repairs.iloc[0][["length_ft", "width_ft"]].tolist() == [0, 0], "it was not cut"
    text = told(found)
    for said in ("repair 1: the length is filled in, but not the width", "repair 2: the width is filled in",
                 "repair 3: one side is zero", "repair 6: 600 x 12 ft, but the block is 300 x 36 ft",
                 "repair 7: 6 x 40 ft", "repair 8: 96 in deep: is it in inches?", "repair 9: '12 ft' holds more"):
        assert said in text
    assert len(found.problems) == 7
    assert len(read_measured("x.xlsx", content, ["B001"], 2027).problems) == 5, "sizes of blocks are not known"


def test_quantities_beyond_the_block_are_asked_about(city: pd.DataFrame) -> None:
    # 1,200 sq yd of pavement, 10,800 sq ft; half as much again is taken
    ground = "Diamond grinding, slurry with it"
    content = one(quantity("diamond_grinding", 1800, ground), quantity("partial_depth_patch", 16_201))
    found = read_measured("list.xlsx", content, city, 2027)
    assert found.quantities["pay_item"].tolist() == ["diamond_grinding"]
    assert "16,201 sqft, but the whole block has 10,800: is it in sqft?" in told(found)


def test_items_and_repairs_that_there_are_not(city: pd.DataFrame) -> None:
    found = read_measured("list.xlsx", one(quantity("gold_leaf", 1)), city, 2027)
    assert found.quantities.empty and "block B001, gold_leaf: there is no such pay item" in told(found)
    known = pd.DataFrame({"block_id": ["B001", "B001"], "repair_id": [1, 2]})
    content = one(repair(2, 6, 12, 8), repair(3, 6, 12, 8), head=HEAD_R)
    found = read_measured("list.xlsx", content, city, 2027, repairs=known)
    assert found.repairs["repair_id"].tolist() == [2] and "repair 3: the plan has no such repair" in told(found)


def test_rows_sorted_without_their_key_are_noticed(city: pd.DataFrame) -> None:
    swapped = one(quantity("patch_milling", 5, PATCH), quantity("partial_depth_patch", 7, MILLING))
    found = read_measured("list.xlsx", swapped, city, 2027)
    assert found.quantities.empty
    assert f"the row shows '{PATCH}' but its hidden key is of '{MILLING}'" in told(found)
    row = list(repair(2, 6, 12, 8))
    row[0] = 4
    found = read_measured("list.xlsx", one(row, head=HEAD_R), city, 2027)
    assert found.repairs.empty and "the row shows repair 4 but its hidden key is of 2" in told(found)


def test_blocks_of_another_city_and_another_year(city: pd.DataFrame) -> None:
    mixed = written({"1 B001": [(HEAD_Q, [quantity("partial_depth_patch", 5)])],
                     "2 Q9": [(HEAD_Q, [quantity("partial_depth_patch", 5, block="Q9"),
                                        quantity("patch_mix", 1, "Patching mix placed", block="Q9"),
                                        quantity("saw_cut", None, "Full-depth saw cut", block="Q9")])],
                     "3 B002": [(HEAD_Q, [quantity("partial_depth_patch", 5, block="B002", year=2028)])]})
    found = read_measured("list.xlsx", mixed, city, 2027)
    assert found.quantities["block_id"].tolist() == ["B001"]
    assert sorted(found.problems["message"]) == [
        "sheet '2 Q9': there is no block 'Q9' in this city; 2 rows filled in are not used",
        "sheet '3 B002': of 2028, and 2027 is asked for; 1 rows filled in are not used"]
    with pytest.raises(UnusableInput, match="of another city: none of its 1 blocks"):
        read_measured("list.xlsx", one(quantity("partial_depth_patch", 5, block="Q9")), city, 2027)
    with pytest.raises(UnusableInput, match="the work list is of 2028, and 2027 is asked for"):
        read_measured("list.xlsx", one(quantity("partial_depth_patch", 5, year=2028)), city, 2027)


@pytest.mark.parametrize("key", [
    '["quantities", "B001", 2027', '["quantities", "B001", "2027", "patch_mix"]', '["quantities", "B001", 2027]',
    '["quantities", 1, 2027, "patch_mix"]'])
def test_a_key_that_was_changed(city: pd.DataFrame, key: str) -> None:
    rows = [(*quantity("patch_mix", 4)[:-1], key), quantity("partial_depth_patch", 5)]
    found = read_measured("list.xlsx", one(*rows), city, 2027)
    assert found.quantities["pay_item"].tolist() == ["partial_depth_patch"]
    assert "sheet '1 B001': the hidden key of the row was changed" in told(found)
    assert found.problems["row"].tolist() == [4]


def test_a_sheet_without_its_headings_or_without_its_keys(city: pd.DataFrame) -> None:
    with pytest.raises(UnusableInput, match="no heading 'Actual quantity' stands above the row"):
        read_measured("list.xlsx", one(quantity("patch_mix", 4), head=("Item", "Planned", "Unit", "Done")), city)
    content = written({"1 B001": [(HEAD_Q, [quantity("patch_mix", 4, "Patching mix placed")])],
                       "2 B002": [(HEAD_Q, [(PATCH, 100, "sq ft", 7, "x")])]})
    found = read_measured("list.xlsx", content, city, 2027)
    assert len(found.quantities) == 1 and found.problems["severity"].tolist() == ["warn"]
    assert "sheet '2 B002' has the headings of a work list but no hidden keys" in told(found)


def test_the_nearest_headings_above_hold(city: pd.DataFrame) -> None:
    content = written({"1 B001": [
        (HEAD_Q, [quantity("patch_mix", 4, "Patching mix placed")]),
        (("Actual quantity", "Item"), [(9, PATCH, ["quantities", "B001", 2027, "partial_depth_patch"])]),
        (("No.", "Actual length, ft", "Actual width, ft"), [(1, 6, 12, ["repairs", "B001", 2027, "1"])])]})
    found = read_measured("list.xlsx", content, city, 2027)
    assert found.quantities["quantity"].tolist() == [9.0, 4.0]
    assert found.repairs.empty and "no heading 'Actual depth, in' stands above the row" in told(found)


def test_an_empty_list_says_so(city: pd.DataFrame) -> None:
    found = read_measured("list.xlsx", one(quantity("patch_mix", None), quantity("saw_cut", "  ")), city, 2027)
    assert found.quantities.empty and found.repairs.empty
    assert told(found) == "nothing is filled in: all 2 rows are empty"


def test_workbooks_and_files_that_are_no_work_list(city: pd.DataFrame) -> None:
    with pytest.raises(UnusableInput, match="no row of the workbook is one of a work list"):
        read_measured("x.xlsx", written({"a": [(("Street", "Length"), [("Elm", 3, "")])]}), city)
    for name, content, message in (
            ("x.csv", b"", "the file is empty"), ("x.xlsx", b"PK\x03\x04 xl/workbook.xml", "damaged"),
            ("x.pdf", b"%PDF-1.7", "PDF"), ("x.csv", b"street,length\nElm,3\n", "neither a work list"),
            ("x.xlsx", one(quantity("patch_mix", 1))[:900], "content is a zip")):
        with pytest.raises(UnusableInput, match=message):
            read_measured(name, content, city)


@settings(max_examples=40, deadline=None)
@given(data=st.data())
def test_a_damaged_workbook_is_refused_or_read_but_never_fails(data: st.DataObject, city: pd.DataFrame) -> None:
    content = bytearray(CONTENT)
    for _ in range(data.draw(st.integers(1, 4))):
        content[data.draw(st.integers(0, len(content) - 1))] = data.draw(st.integers(0, 255))
    try:
        read_measured("x.xlsx", bytes(content), city, 2027)
    except UnusableInput as error:
        assert error.problems


CONTENT = one(quantity("partial_depth_patch", 5), quantity("patch_mix", 1, "Patching mix placed"))


def test_plain_tables_of_quantities(city: pd.DataFrame) -> None:
    text = ("Block ID,Year,Pay item,Planned quantity,Qty\nB001,2027,partial_depth_patch,100,112.5\n"
            "B001,2027,patch_mix,3,\nB002,2027,gold_leaf,1,1\n,2027,patch_mix,1,1\nB002,soon,patch_mix,1,1\n"
            "B002,2027,patch_mix,1,4 cy\n")
    found = read_measured("q.csv", text.encode(), city, 2027)
    assert found.quantities[["block_id", "pay_item", "quantity", "row"]].to_numpy().tolist() == [
        ["B001", "partial_depth_patch", 112.5, 2.0]]
    assert found.quantities["sheet"].isna().all()
    assert found.problems[["row", "column"]].fillna("").to_numpy().tolist() == [
        [4, ""], [5, "Block ID"], [6, "Year"], [7, "Qty"]]
    with pytest.raises(UnusableInput, match="neither a work list"):
        read_measured("q.csv", b"block_id,year,pay_item,planned quantity\nB001,2027,patch_mix,3\n", city, 2027)


def test_plain_tables_of_repairs_in_both_kinds_of_file(city: pd.DataFrame) -> None:
    rows: list[list[Any]] = [["block_id", "year", "repair_id", "length_ft", "width_ft", "depth_in"],
                             ["B001", 2027, 1, 6.5, 12, 8], ["B001", 2027, 2, 6, 12, None]]
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)  # type: ignore[union-attr]
    stream = io.BytesIO()
    book.save(stream)
    text = "\n".join(",".join("" if cell is None else str(cell) for cell in row) for row in rows)
    for name, content in (("r.xlsx", stream.getvalue()), ("r.csv", text.encode())):
        found = read_measured(name, content, city, 2027)
        assert found.problems.empty and found.quantities.empty
        assert found.repairs[["repair_id", "length_ft", "width_ft", "depth_in", "row"]].fillna(-1).to_numpy().tolist(
            ) == [[1, 6.5, 12, 8, 2], [2, 6, 12, -1, 3]]


def test_headings_are_those_of_the_contract() -> None:
    assert set(HEAD_Q) >= set(ENTRIES["quantities"]) and set(HEAD_R) >= set(ENTRIES["repairs"])
