"""The workbook of tables read back by another library."""

from __future__ import annotations

from datetime import datetime
from io import BytesIO

import openpyxl
import pandas as pd
import pytest

from rehab.outputs.databook import databook

MADE = datetime(2027, 1, 4)


def opened(content: bytes) -> openpyxl.Workbook:
    return openpyxl.load_workbook(BytesIO(content))


@pytest.fixture
def given(overview: pd.DataFrame, program: pd.DataFrame, by_year: pd.DataFrame, quantities: pd.DataFrame,
          tasks: pd.DataFrame, notes: pd.DataFrame) -> dict[str, pd.DataFrame]:
    cents = program.assign(cost_usd=program["cost_usd"] + 0.126)
    return {"overview": overview, "program": cents, "by_year": by_year, "quantities": quantities, "tasks": tasks,
            "notes": notes}


@pytest.fixture
def book(given: dict[str, pd.DataFrame]) -> openpyxl.Workbook:
    return opened(databook(given, {"City": "=Anytown", "Scenario": "current budget", "Fingerprint": "282739d8cf1d"}, MADE))


def test_a_sheet_per_table_with_equal_values(book: openpyxl.Workbook, given: dict[str, pd.DataFrame]) -> None:
    assert book.sheetnames == ["Contents", "Columns", *given]
    for name, frame in given.items():
        sheet = book[name]
        head = [cell.value for cell in sheet[1]]
        assert head[:len(frame.columns)] == list(frame.columns) and sheet.max_row == len(frame) + 1
        for column, label in enumerate(frame.columns, start=1):
            for row, value in enumerate(frame[label].astype(object), start=2):
                found = sheet.cell(row, column).value
                if pd.isna(value) or value == "":
                    assert found is None, (name, label)
                elif label.endswith("_usd"):
                    assert found == round(value, 2)
                else:
                    assert found == value, (name, label)


def test_money_agrees_to_the_cent_with_the_sum_of_its_cells(book: openpyxl.Workbook, given: dict[str, pd.DataFrame]) -> None:
    sheet = book["program"]
    column = next(cell.column for cell in sheet[1] if cell.value == "cost_usd")
    cells = [sheet.cell(row, column) for row in range(2, sheet.max_row + 1)]
    assert round(sum(cell.value for cell in cells), 2) == round(5 * 0.13 + 970_000, 2)
    assert {cell.number_format for cell in cells} == {"#,##0.00_)"}


def test_numbers_dates_and_flags_keep_their_kind(book: openpyxl.Workbook) -> None:
    formats = {(sheet.title, sheet.cell(1, column).value): sheet.cell(2, column)
               for sheet in book for column in range(1, sheet.max_column + 1)}
    assert formats["tasks", "start"].value == datetime(2027, 5, 3) and formats["tasks", "start"].number_format == "yyyy-mm-dd"
    assert formats["overview", "full_share"].number_format == "0.0%_)" and formats["overview", "full_share"].value == 0.1
    assert formats["program", "year"].number_format == "0_)" and formats["overview", "estimated"].data_type == "b"


def test_no_text_becomes_a_formula_or_a_link(book: openpyxl.Workbook, given: dict[str, pd.DataFrame]) -> None:
    texts = {"=1+1", "+SUM(A1:A9)", "-2+3", "@B5", "=2+2 blocks do not fit", "=Anytown"}
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row]
    found = {cell.value: cell for cell in cells if cell.value in texts}
    assert set(found) == texts and all(cell.data_type == "s" for cell in found.values())
    assert all(cell.data_type != "f" for cell in cells)
    links = [cell.hyperlink for cell in cells if cell.hyperlink is not None]
    assert len(links) == len(given) and all(link.target is None and link.location for link in links)


def test_what_is_estimated_is_a_column_of_every_table_of_blocks(book: openpyxl.Workbook) -> None:
    for name in ("overview", "program", "quantities", "tasks"):
        head = [cell.value for cell in book[name][1]]
        at, block = head.index("estimated"), head.index("block_id")
        told = {row[block]: row[at] for row in book[name].iter_rows(min_row=2, values_only=True)}
        assert {block: told[block] for block in told if block in {"B1", "B2"}} == {"B1": False, "B2": True}, name
    for name in ("by_year", "notes"):
        assert "estimated" not in [cell.value for cell in book[name][1]]


def test_contents_list_the_tables_and_what_they_rest_on(book: openpyxl.Workbook) -> None:
    rows = [[cell.value for cell in row] for row in book["Contents"].iter_rows()]
    assert ["City", "=Anytown"] in [row[:2] for row in rows] and ["Fingerprint", "282739d8cf1d"] in [row[:2] for row in rows]
    listed = {row[0]: row for row in rows}
    assert listed["quantities"][2] == 8 and listed["quantities"][3].startswith("6 of 8 rows rest on an index")
    assert "the block, its year" in listed["program"][1]


def test_every_column_is_explained(book: openpyxl.Workbook) -> None:
    told = {(row[0], row[1]): row for row in book["Columns"].iter_rows(min_row=2, values_only=True)}
    columns = {(sheet.title, cell.value) for sheet in book for cell in sheet[1]
               if sheet.title not in {"Contents", "Columns"}}
    assert set(told) == columns and all(row[2] for row in told.values())
    assert told["overview", "area_sqyd"][3] == "sq yd" and told["overview", "index"][4] == "0 to 100"


def test_heads_stay_and_filter(book: openpyxl.Workbook) -> None:
    assert book["overview"].freeze_panes == "B2" and book["by_year"].freeze_panes == "A2"
    assert book["quantities"].auto_filter.ref == "A1:G9"
    widths = book["overview"].column_dimensions
    assert 9 <= widths["B"].width < 30 and all(one.width <= 62 for one in widths.values())


def test_a_table_that_is_too_long_goes_on_in_another_sheet(quantities: pd.DataFrame) -> None:
    book = opened(databook({"quantities": quantities}, {}, MADE, rows=3))
    assert book.sheetnames[2:] == ["quantities", "quantities 2", "quantities 3"]
    seen = [row[0] for name in book.sheetnames[2:] for row in book[name].iter_rows(min_row=2, values_only=True)]
    assert seen == quantities["block_id"].tolist()
    assert [cell.value for cell in book["quantities 3"][1]] == list(quantities.columns)


def test_empty_tables_have_their_head_and_long_texts_are_cut_in_sight(program: pd.DataFrame, notes: pd.DataFrame) -> None:
    long = notes.assign(message="x" * 40_000)
    book = opened(databook({"program": program.iloc[:0], "notes": long}, {}, MADE))
    assert book["program"].max_row == 1 and book["program"].cell(1, 1).value == "block_id"
    text = next(cell.value for cell in book["notes"][2] if str(cell.value).startswith("x"))
    # a cell takes 32,767 letters (the limit that spreadsheets state)
    assert len(text) == 32_767 and text.endswith("the CSV file has the whole text")


def test_a_column_that_is_nowhere_described_is_refused(program: pd.DataFrame) -> None:
    with pytest.raises(KeyError, match="surprise"):
        databook({"program": program.assign(surprise=1)}, {}, MADE)
