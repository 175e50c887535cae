"""The workbook of the work list, opened with openpyxl: what stands where, what is filled in, how it prints."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from io import BytesIO
from typing import Any

import openpyxl
import pandas as pd
import pytest

from rehab.base.settings import Assumptions
from rehab.base.tables import empty
from rehab.base.tables.site import ENTRIES
from rehab.inputs.reading import read_measured
from rehab.outputs.worklist import content, workbook
from rehab.outputs.worklist.gather import Content
from rehab.outputs.worklist.paper import sheet_name

Tables = dict[str, pd.DataFrame]
Listed = Callable[..., Content]
MADE: dict[str, Any] = {}  # the list of the fixtures' tables, made once
NAMES = ("overview", "network", "needs", "program", "quantities", "tasks", "repairs", "findings", "notes", "geometry")


@pytest.fixture
def findings() -> pd.DataFrame:
    return empty("findings")


@pytest.fixture
def tables(request: pytest.FixtureRequest) -> Tables:
    given = {name: request.getfixturevalue(name) for name in NAMES}
    given["network"] = given["network"].assign(speed_mph=30.0, panel_rows=68.0, panel_columns=2.0)
    return given


@pytest.fixture
def listed(tables: Tables, assumptions: Assumptions) -> Listed:
    def made(year: int = 2027, **choice: Any) -> Content:
        return content(*tables.values(), assumptions, year, **choice)

    return made


@pytest.fixture
def file(listed: Listed, assumptions: Assumptions) -> bytes:
    if "file" not in MADE:
        MADE["file"] = workbook(listed(), assumptions)
    return MADE["file"]


@pytest.fixture
def book(file: bytes) -> openpyxl.Workbook:
    """The list of all blocks, opened once for tests that only look at it."""
    if "book" not in MADE:
        MADE["book"] = opened(file)
    return MADE["book"]


def opened(file: bytes) -> openpyxl.Workbook:
    return openpyxl.load_workbook(BytesIO(file))


def texts(sheet: Any) -> list[str]:
    return [str(cell.value) for row in sheet.iter_rows() for cell in row if cell.value is not None]


def held(sheet: Any) -> list[list[Any]]:
    """The rows of a sheet, without their empty cells."""
    return [[value for value in row if value is not None] for row in sheet.iter_rows(values_only=True)]


def below(sheet: Any, section: str) -> list[list[Any]]:
    """The rows of a section, without their empty cells, to the next row without any."""
    rows = held(sheet)
    at = next(index for index, row in enumerate(rows) if row == [section]) + 1
    return rows[at:next((index for index in range(at, len(rows)) if not rows[index]), len(rows))]


def keyed(sheet: Any) -> Iterator[tuple[tuple[str, str, int, str], Any]]:
    """The key of every row that has one, as it stands in the cell past the grid, and the row's cells."""
    for row in sheet.iter_rows():
        for cell in row:
            if isinstance(cell.value, str) and cell.value.startswith('["'):
                yield tuple(json.loads(cell.value)), row


# ---- the file -------------------------------------------------------------------------------------------------------

def test_no_cell_is_a_formula_and_names_are_verbatim(book: openpyxl.Workbook) -> None:
    for sheet in book:
        for row in sheet.iter_rows():
            for cell in row:
                assert cell.data_type != "f", (sheet.title, cell.coordinate, cell.value)
                assert cell.hyperlink is None or cell.hyperlink.target is None, "links stay inside the file"
    found = texts(book["Overview"])
    for name in ("=1+1", "+SUM(A1:A9)", "@B5", "<img src=x onerror=alert(1)>", "=2+2 blocks do not fit"):
        assert name in found


@pytest.mark.parametrize(("paper", "number"), [("letter", "1"), ("A4", "9")])
def test_pages_are_set_up_for_print(listed: Listed, assumptions: Assumptions, paper: Any, number: str) -> None:
    for sheet in opened(workbook(listed(), assumptions, paper=paper)):
        assert str(sheet.page_setup.paperSize) == number  # ECMA-376, part 1, 18.3.1.63
        assert sheet.page_setup.orientation == ("landscape" if sheet.title == "Overview" else "portrait")
        assert (sheet.sheet_properties.pageSetUpPr.fitToPage, sheet.page_setup.fitToHeight) == (True, 0)
        assert sheet.print_title_rows and "Page &P of &N" in str(sheet.oddFooter.right.text).replace("&[Page]", "&P")


def test_an_unknown_paper_is_refused(listed: Listed, assumptions: Assumptions) -> None:
    with pytest.raises(ValueError, match="'foolscap' is not one of letter, A4"):
        workbook(listed(), assumptions, paper="foolscap")  # type: ignore[arg-type]


def test_the_same_tables_give_the_same_file(tables: Tables, assumptions: Assumptions) -> None:
    before = {name: table.copy() for name, table in tables.items()}
    shuffled = {name: table.sample(frac=1, random_state=3) for name, table in tables.items()}
    one, again, other = (workbook(content(*given.values(), assumptions, 2027), assumptions)
                         for given in (tables, tables, shuffled))
    assert one == again
    assert [texts(sheet) for sheet in opened(one)] == [texts(sheet) for sheet in opened(other)]
    for name, table in tables.items():
        pd.testing.assert_frame_equal(table, before[name])


def test_a_full_season_has_a_sheet_for_every_block(tables: Tables, assumptions: Assumptions) -> None:
    def many(table: pd.DataFrame) -> pd.DataFrame:
        if "block_id" not in table:
            return table
        rows = table[table["block_id"] == "B2"]
        return pd.concat([rows.assign(block_id=f"X{number}") for number in range(150)], ignore_index=True)

    told: list[tuple[int, int]] = []
    large = {name: many(table) for name, table in tables.items()}
    file = workbook(content(*large.values(), assumptions, 2027), assumptions, watch=lambda done, of: told.append((done, of)))
    assert len(openpyxl.load_workbook(BytesIO(file), read_only=True).sheetnames) == 153
    assert told == [(done, 150) for done in range(1, 151)]


@pytest.mark.parametrize(("wanted", "name"), [
    ("1 [a]:b*c?d/e\\f", "1 -a--b-c-d-e-f"), ("'quoted'", "quoted"), ("History", "History (2)"), ("", "Block"),
    ("x" * 40, "x" * 31), ("Overview", "Overview (2)"), ("tab\there", "tab-here")])
def test_sheet_names_are_valid(wanted: str, name: str) -> None:
    # limits of a sheet name: XlsxWriter documentation of add_worksheet()
    assert sheet_name(wanted, {"overview"}) == name


def test_sheet_names_are_unique() -> None:
    taken: set[str] = set()
    names = [sheet_name(f"{'y' * 40}{number}", taken) for number in range(12)]
    assert len({name.lower() for name in names}) == 12 and max(map(len, names)) == 31


# ---- the overview ---------------------------------------------------------------------------------------------------

def lines(sheet: Any) -> list[dict[str, Any]]:
    head = next(row for row in sheet.iter_rows(values_only=True) if row[0] == "No.")
    return [dict(zip(head, row, strict=True)) for row in sheet.iter_rows(values_only=True) if isinstance(row[0], int)]


def test_overview_lists_the_blocks_of_the_year_by_date(book: openpyxl.Workbook) -> None:
    found = lines(book["Overview"])
    assert [line["Block"] for line in found] == ["B2", "B1", "@B5", "B3"]
    first, second = found[:2]
    assert (first["Start"], first["Last patch"], first["Opens"]) == tuple(
        pd.Timestamp(day) for day in ("2027-04-20", "2027-05-04", "2027-05-07"))
    assert (first["Basis"], second["Basis"]) == ("estimated", "counted")
    assert second["Grinding"] == pd.Timestamp("2028-04-17")
    assert found[2]["Start"] == "not scheduled"
    links = [cell.hyperlink.location for row in book["Overview"].iter_rows() for cell in row if cell.hyperlink]
    assert [link.split("!")[0].strip("'") for link in links] == book.sheetnames[3:]
    assert book["Overview"].auto_filter.ref == "A3:M7", "the four blocks can be filtered, the total stays"


def test_costs_agree_with_the_program_to_the_cent(tables: Tables, assumptions: Assumptions) -> None:
    odd = tables["program"].assign(cost_usd=[123_456.78, 0.1, 0.2, 987_654.32, 5.0])
    given = {**tables, "program": odd}
    sheet = opened(workbook(content(*given.values(), assumptions, 2027), assumptions))["Overview"]
    costs = {line["Block"]: line["Likely cost"] for line in lines(sheet)}
    this_year = odd[odd["year"] == 2027].set_index("block_id")["cost_usd"]
    assert costs == this_year.to_dict()
    total = next(row for row in sheet.iter_rows() if row[1].value == "Total")
    assert round(total[11].value, 2) == round(this_year.sum(), 2)
    assert {cell.number_format for cell in sheet["L"] if isinstance(cell.value, float)} == {"$#,##0.00_)"}
    assert f"likely cost ${this_year.sum():,.2f}" in " ".join(texts(sheet))


@pytest.mark.parametrize(("order", "blocks"), [
    ("street", ["@B5", "B3", "B2", "B1"]), ("district", ["B2", "B1", "@B5", "B3"])])
def test_other_orders(listed: Listed, order: str, blocks: list[str]) -> None:
    jobs = listed(order=order).jobs
    assert [job.name for job in jobs] == blocks
    assert [job.position for job in jobs] == [1, 2, 3, 4]


def test_unknown_order_is_refused(listed: Listed) -> None:
    with pytest.raises(ValueError, match="'size' is not one of date"):
        listed(order="size")


def test_a_year_without_work_says_what_is_missing(listed: Listed, assumptions: Assumptions) -> None:
    book = opened(workbook(listed(2040), assumptions))
    assert book.sheetnames == ["Overview", "Orders", "Cautions"]
    found = " ".join(texts(book["Overview"]))
    assert "0 blocks, likely cost $0.00" in found and "The program has no work in 2040" in found
    assert any(text.startswith("There is nothing to order") for text in texts(book["Orders"]))


# ---- what a list is cut down to -------------------------------------------------------------------------------------

def test_a_list_of_some_blocks(listed: Listed) -> None:
    assert [job.name for job in listed(blocks=["B3", "B1", "elsewhere"]).jobs] == ["B1", "B3"]


def test_a_list_of_some_weeks_and_crews(listed: Listed, assumptions: Assumptions) -> None:
    # B1 is milled from Wednesday 12 May on, B2's concrete placed until Tuesday 4 May and B1 marked on the 3rd
    assert [job.name for job in listed(weeks=[pd.Timestamp("2027-05-12")]).jobs] == ["B1"]
    assert [job.name for job in listed(weeks=[pd.Timestamp("2027-05-03")]).jobs] == ["B2", "B1"]
    assert [job.name for job in listed(crews=["Concrete crew"]).jobs] == ["B2"]
    assert listed(weeks=[pd.Timestamp("2027-05-10")], crews=["Concrete crew"]).jobs == ()
    assert [job.name for job in listed(crews=["Patching crew", "Grinder"]).jobs] == ["B1"]
    book = opened(workbook(listed(weeks=[pd.Timestamp("2027-04-28")], crews=["Concrete crew"]), assumptions))
    told = next(text for text in texts(book["Overview"]) if text.startswith("Only for"))
    assert "the week of Mon 26 Apr 2027" in told and "Concrete crew" in told
    rows = {row[0]: row[2] for row in below(book["1 B2"], "Order of work") if len(row) > 4 and row[0] != "Task"}
    assert rows == {"Mark and sound": "other crew", "Saw full depth": "other crew", "Drill and set dowels": "yes",
                    "Place concrete": "yes"}
    late = opened(workbook(listed(weeks=[pd.Timestamp("2027-05-03")]), assumptions))["1 B2"]
    assert {row[0]: row[2] for row in below(late, "Order of work") if len(row) > 4 and row[0] != "Task"} == {
        "Mark and sound": "other week", "Saw full depth": "other week", "Drill and set dowels": "other week",
        "Place concrete": "yes"}


def test_a_list_of_a_week_without_work_says_so(listed: Listed, assumptions: Assumptions) -> None:
    book = opened(workbook(listed(weeks=[pd.Timestamp("2027-07-05")]), assumptions))
    assert "No block has a task there: choose other weeks or crews, or look at the season calendar." in texts(
        book["Overview"])


# ---- the sheet of a block -------------------------------------------------------------------------------------------

def test_sheet_of_an_estimated_block(book: openpyxl.Workbook) -> None:
    found = texts(book["1 B2"])
    assert any(text.startswith("Estimated: the quantities") for text in found)
    assert {"Quantities, estimated", "Planned, estimated", "Materials to bring, estimated"} <= set(found)
    assert {"8 in (assumed)", "2 (assumed)", "Note: A utility digs here in 2029", "posted 30 mph"} <= set(found)
    assert "of another year" not in " ".join(found) and "999" not in found
    assert "At least 28 days since the last patch of the block" not in found, "the block is not ground"
    assert {"Drill and set dowels", "Saw full depth", "Dowel drilled and grouted", "196"} <= set(found)
    assert any("local codes, the engineer and a competent person on site decide" in text for text in found)


def test_sheet_of_a_counted_block(book: openpyxl.Workbook) -> None:
    found = texts(book["2 B1"])
    assert not any("stimated" in text for text in found)
    assert "At least 28 days since the last patch of the block" in found
    assert "Grind surface (next season)" in found
    assert "Repairs from the panel survey" not in found


def test_limits_and_days_of_a_block(book: openpyxl.Workbook) -> None:
    found = dict(zip(texts(book["1 B2"]), texts(book["1 B2"])[1:], strict=False))
    assert found["Start station"] == "0+00 at 3rd Ave" and found["End station"] == "4+00 at -2+3"
    assert found["Work"] == "Tue 20 Apr to Tue 04 May 2027" and found["Width"] == "24 ft, curb to curb"
    # sawn on Wednesday 28 April; three working days before: Friday, Monday, Tuesday pass after Thursday
    assert found["Call 811 by"] == "Thu 22 Apr 2027"
    # marked on 20 April, 14 days of the ticket
    assert found["Marks run out"] == "Tue 04 May 2027, if called 20 Apr"
    assert found["Taper, 12 ft"] == "180 ft" and found["Buffer"] == "200 ft"
    assert found["Shifting, shoulder taper"] == "90 ft, 60 ft"


def test_cutting_after_the_marks_have_run_out_is_warned_of(listed: Listed, tables: Tables, assumptions: Assumptions) -> None:
    short = assumptions.having("safety", {"ticket_days": "5"})
    found = " ".join(texts(opened(workbook(content(*tables.values(), short, 2027), short))["1 B2"]))
    assert "Cutting goes on until Thu 29 Apr 2027, but utility marks that are asked for on Tue 20 Apr 2027 run out on Sun 25" \
        in found


def test_repairs_are_listed_in_order_with_their_totals(book: openpyxl.Workbook) -> None:
    rows = held(book["1 B2"])
    # 6 x 12 ft x 8 in: 72 sq ft and 48 cu ft, 48 / 27 = 1.78 cu yd
    assert [[round(value, 2) if isinstance(value, float) else value for value in row[:-1]]
            for row in rows if "Full depth" in row] == [
        [1, "Full depth", "0+15", 0, 6, 12, 8, 72, 1.78, 22, 0], [2, "Full depth", "0+30", 0, 6, 12, 8, 72, 1.78, 22, 0]]
    total = next(row for row in rows if row[:1] == ["Total of 2 repairs"])
    assert total[1] == 144 and total[2] == pytest.approx(96 / 27) and total[3:5] == [44, 0]


def test_repairs_that_a_strategy_does_not_cut_are_not_listed(tables: Tables, assumptions: Assumptions) -> None:
    program = tables["program"].replace({"strategy": {"full_depth": "partial_depth"}})
    quantities = tables["quantities"].replace({"strategy": {"full_depth": "partial_depth"}})
    given = {**tables, "program": program, "quantities": quantities}
    found = texts(opened(workbook(content(*given.values(), assumptions, 2027), assumptions))["1 B2"])
    assert "2 full-depth repairs of the survey are not part of this work." in found and "Full depth" not in found


def test_block_without_quantities_and_days_says_so(book: openpyxl.Workbook) -> None:
    found = texts(book["4 B3"])
    assert {"No quantity is given for this block.", "The block is not on the season calendar.", "not on the calendar",
            "No task is on the calendar, so there is nothing to tick off yet."} <= set(found)
    beside = dict(zip(found, found[1:], strict=False))
    assert beside["Last patch"] == beside["Grinding"] == beside["Opens, plan"] == "not known"


def test_hold_points_stand_in_the_order_of_the_work(tables: Tables, assumptions: Assumptions) -> None:
    def before(sheet: Any) -> list[str]:
        return [row[0] for row in below(sheet, "Hold points: stop until it is seen") if len(row) == 3]

    placed = tables["tasks"][tables["tasks"]["task"] == "place"].assign(block_id="B3", task_id="B3-place")
    tables["tasks"] = pd.concat([tables["tasks"], placed], ignore_index=True)
    made = opened(workbook(content(*tables.values(), assumptions, 2027), assumptions))
    repaired, rebuilt = (next(sheet for sheet in made if sheet.title.endswith(f" {block}")) for block in ("B2", "B3"))
    assert before(repaired) == ["First cut, hole or dig", "Saw full depth", "Drill and set dowels, Place concrete",
                                "Place concrete", "Place concrete", "Traffic on it"]
    # no bar is drilled for the new pavement, so none is looked at
    assert before(rebuilt) == ["Place concrete", "Place concrete", "Traffic on it"]
    assert any("grout holds the bar" in text for text in texts(repaired))
    assert not any("grout holds the bar" in text for text in texts(rebuilt))


def test_a_street_too_narrow_to_pass_beside_a_lane_says_so(tables: Tables, assumptions: Assumptions) -> None:
    tables["network"] = tables["network"].assign(width_ft=16.0)
    found = texts(opened(workbook(content(*tables.values(), assumptions, 2027), assumptions))["1 B2"])
    assert any(text.startswith("16 ft wide, less than two lanes of 12 ft") for text in found)


def test_of_pieces_whole_ones_are_brought(tables: Tables, assumptions: Assumptions) -> None:
    some = tables["quantities"]
    tables["quantities"] = some.assign(quantity=some["quantity"].where(some["pay_item"] != "dowel", 45.2))
    sheet = opened(workbook(content(*tables.values(), assumptions, 2027), assumptions))["1 B2"]
    rows = [row for row in held(sheet) if "Dowels to drill and set" in row]
    at = rows[0].index("Dowels to drill and set")
    assert rows[0][at + 1:at + 3] == [46, "each"]
    assert any("A fraction of a piece is the mean of what may be found." in text for text in texts(sheet))


def test_cautions_stand_where_the_work_is(book: openpyxl.Workbook) -> None:
    found = texts(book["1 B2"])
    at = {text: found.index(text) for text in ("Hold points: stop until it is seen",)}
    general = next(index for index, text in enumerate(found) if text.startswith("- Traffic, posted 30 mph"))
    drilling = next(index for index, text in enumerate(found) if text.startswith("- Silica, dowel drilling rig"))
    step = found.index("Dust collection running, respirators on")
    assert general < at["Hold points: stop until it is seen"] < drilling < step
    assert found[drilling - 1] == "Drill and set dowels"
    once = [text for text in found if "pH 12.5 or more" in text]
    assert len(once) == 1, "a caution of two tasks is written out for the first"


def test_a_sketch_shows_where_a_block_lies(book: openpyxl.Workbook) -> None:
    images = {sheet.title: sheet._images for sheet in book}
    assert {name for name, found in images.items() if found} == {"1 B2", "2 B1", "3 @B5", "4 B3"}


def test_a_list_without_lines_has_no_sketch(tables: Tables, assumptions: Assumptions) -> None:
    given = {**tables, "geometry": empty("geometry")}
    book = opened(workbook(content(*given.values(), assumptions, 2027), assumptions))
    assert len(book.sheetnames) == 7 and not any(sheet._images for sheet in book)


def test_long_names_and_many_repairs_stay_whole(tables: Tables, assumptions: Assumptions) -> None:
    name = "Boulevard of the Old River Embankment " * 2 + "East"
    tables["overview"].loc[tables["overview"]["block_id"] == "B2", ["street", "from_street"]] = name
    one = tables["repairs"].iloc[:1]
    tables["repairs"] = pd.concat([one.assign(repair_id=number, x_ft=6.0 * number) for number in range(1, 61)],
                                  ignore_index=True)
    sheet = opened(workbook(content(*tables.values(), assumptions, 2027), assumptions))["1 B2"]
    assert f"{name}, from {name} to -2+3" in texts(sheet)
    numbers = [key[3] for key, _ in keyed(sheet) if key[0] == "repairs"]
    assert numbers == [str(number) for number in range(1, 61)]
    assert max(row.height for row in sheet.row_dimensions.values() if row.height) <= 409


# ---- what is filled in ----------------------------------------------------------------------------------------------

def test_rows_to_fill_in_have_their_keys_in_a_hidden_column(book: openpyxl.Workbook, tables: Tables) -> None:
    sheet = book["1 B2"]
    assert sheet.column_dimensions["R"].hidden
    keys = [key for key, row in keyed(sheet)]
    planned = tables["quantities"].query("block_id == 'B2' and strategy == 'full_depth'")
    assert sorted(key[3] for key in keys if key[0] == "quantities") == sorted(planned["pay_item"])
    assert [key for key in keys if key[0] == "repairs"] == [("repairs", "B2", 2027, number) for number in ("1", "2")]
    assert {key[1:3] for key in keys} == {("B2", 2027)}


def test_entries_take_numbers_alone_and_the_rest_is_locked(book: openpyxl.Workbook) -> None:
    sheet = book["1 B2"]
    assert sheet.protection.sheet and sheet.protection.password is None
    heads = {cell.value: cell.column for row in sheet.iter_rows() for cell in row if isinstance(cell.value, str)
             and any(cell.value in entries for entries in ENTRIES.values())}
    assert set(heads) == {head for entries in ENTRIES.values() for head in entries}
    for key, row in keyed(sheet):
        for head in ENTRIES[key[0]]:
            cell = row[heads[head] - 1]
            assert cell.value is None and not cell.protection.locked
            [rule] = [rule for rule in sheet.data_validations.dataValidation if cell.coordinate in rule.sqref]
            assert (rule.type, rule.operator, rule.formula1) == ("decimal", "greaterThanOrEqual", "0")
            assert "zero or more" in rule.error
        assert row[0].protection.locked


def test_what_is_typed_in_is_read_back(file: bytes) -> None:
    book = opened(file)
    sheet = book["1 B2"]
    heads = {cell.value: cell.column - 1 for row in sheet.iter_rows() for cell in row}
    for key, row in keyed(sheet):
        if key[3] == "concrete_full":
            row[heads["Actual quantity"]].value = 51.25
        elif key[3] == "2":
            row[heads["Actual length, ft"]].value = 6.5
            row[heads["Actual width, ft"]].value = 12
            row[heads["Actual depth, in"]].value = 9
    filled = BytesIO()
    book.save(filled)
    found = read_measured("filled.xlsx", filled.getvalue(), ["B1", "B2", "B3", "@B5"], 2027)
    [quantity] = found.quantities.to_dict("records")
    assert (quantity["block_id"], quantity["year"], quantity["pay_item"], quantity["quantity"]) == (
        "B2", 2027, "concrete_full", 51.25)
    [repair] = found.repairs.to_dict("records")
    assert [repair[name] for name in ("repair_id", "length_ft", "width_ft", "depth_in")] == [2, 6.5, 12, 9]
    assert found.problems.empty


# ---- the orders -----------------------------------------------------------------------------------------------------

def test_orders_are_listed_by_week(book: openpyxl.Workbook) -> None:
    rows = held(book["Orders"])
    # B2's dowels are drilled on Thursday 29 April 2027; @B5 is on no calendar
    week = rows.index(["Week of Mon 26 Apr 2027"])
    assert ["Dowels to drill and set", 196, "each", 196, "Dowel drilled and grouted"] in rows[week:week + 12]
    assert ["Not on the calendar"] in rows
    assert ["Ready-mixed concrete", pytest.approx(58.9), "cu yd", pytest.approx(58.9)] in rows
