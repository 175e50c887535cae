from __future__ import annotations

from io import BytesIO
from typing import Any

import openpyxl
import pandas as pd
import pytest

from rehab.base.settings import Assumptions
from rehab.base.tables import TASKS, WORK
from rehab.outputs.worklist import cautions_for, load_cautions, materials_by_week, panel_weight_lb, taper_ft, workbook
from rehab.outputs.worklist.gather import jobs
from rehab.outputs.worklist.paper import sheet_name
from rehab.outputs.worklist.steps import STEPS

Tables = dict[str, pd.DataFrame]
NAMES = ("overview", "network", "needs", "program", "quantities", "tasks", "repairs", "notes")


@pytest.fixture
def tables(request: pytest.FixtureRequest) -> Tables:
    return {name: request.getfixturevalue(name) for name in NAMES}


def opened(content: bytes) -> openpyxl.Workbook:
    return openpyxl.load_workbook(BytesIO(content))


def texts(sheet: Any) -> list[str]:
    return [str(cell.value) for row in sheet.iter_rows() for cell in row if cell.value is not None]


# MUTCD taper lengths for an offset of 12 ft, as printed in California MUTCD 2012 (federal text of 2009),
# Table 6H-4(CA): speed in mph -> L, L/2, L/3 in feet
TAPERS = {20: (80, 40, 27), 25: (125, 63, 42), 30: (180, 90, 60), 35: (245, 123, 82), 40: (320, 160, 107),
          45: (540, 270, 180), 50: (600, 300, 200), 55: (660, 330, 220), 60: (720, 360, 240), 65: (780, 390, 260),
          70: (840, 420, 280), 75: (900, 450, 300)}


@pytest.mark.parametrize("speed", TAPERS)
def test_taper_lengths_are_those_of_the_manual(speed: int) -> None:
    length = taper_ft(speed, 12)
    assert length == TAPERS[speed][0]
    for part, printed in zip((2, 3), TAPERS[speed][1:], strict=True):
        assert int(length / part + 0.5) == printed


@pytest.mark.parametrize(("speed", "offset", "length"), [
    # formula of the same source worked out for other offsets: 11 x 25^2 / 60, 10 x 40^2 / 60, 11 x 55, 10 x 45
    (25, 11, 114.6), (40, 10, 266.7), (55, 11, 605.0), (45, 10, 450.0),
    # between 40 and 45 mph the longer branch: 12 x 42
    (42, 12, 504.0),
])
def test_taper_of_other_offsets(speed: float, offset: float, length: float) -> None:
    assert taper_ft(speed, offset) == pytest.approx(length, abs=0.05)


def test_taper_refuses_nonsense() -> None:
    for speed, offset in ((0, 12), (30, 0), (-5, 12)):
        with pytest.raises(ValueError, match="above zero"):
            taper_ft(speed, offset)


def test_weight_of_a_panel() -> None:
    # by hand: 12 x 6 ft x 8 in = 48 cubic feet, at 150 lb (common practice, no source) 7,200 lb
    assert panel_weight_lb(12 * 6, 8) == 7200


def test_every_caution_has_a_citation_and_every_work_has_cautions() -> None:
    cautions = load_cautions()
    assert all(row.citation and row.text for row in cautions)
    assert len({row.key for row in cautions}) == len(cautions)
    for name in (*WORK, *TASKS):
        assert any(name in row.applies_to for row in cautions), name


def test_cautions_of_a_block() -> None:
    block = {"panel_length_ft": 6.0, "panel_width_ft": 12.0, "thickness_in": 8.0, "assumed": "thickness_in"}
    full = {row.key: row.text for row in cautions_for(load_cautions(), "full_depth", ["remove"], block)}
    assert "7,200 lb" in full["lifting_weight"] and "(size assumed)" in full["lifting_weight"]
    assert "125 ft at 25 mph" in full["traffic_taper"] and "540 ft at 45 mph" in full["traffic_taper"]
    assert {"silica_limit", "utilities", "wet_concrete", "slurry", "noise", "ramps_review"} <= set(full)
    partial = {row.key for row in cautions_for(load_cautions(), "partial_depth", ["mill", "patch"], block)}
    assert not {"lifting_weight", "silica_drill", "ramps_alteration", "ramps_review"} & partial
    unknown = {row.key: row.text for row in cautions_for(load_cautions(), "full_depth", [], {})}
    assert "size not known" in unknown["lifting_weight"]


def test_checklist_covers_every_task() -> None:
    assert set(STEPS) == set(TASKS)


def test_no_cell_is_a_formula_and_names_are_verbatim(tables: Tables, assumptions: Assumptions) -> None:
    book = opened(workbook(*tables.values(), assumptions, 2027))
    for sheet in book:
        for row in sheet.iter_rows():
            for cell in row:
                assert cell.data_type != "f", (sheet.title, cell.coordinate, cell.value)
                assert cell.hyperlink is None or cell.hyperlink.target is None, "links stay inside the file"
    found = texts(book["Overview"])
    for name in ("=1+1", "+SUM(A1:A9)", "@B5", "<img src=x onerror=alert(1)>", "=2+2 blocks do not fit"):
        assert name in found


def test_overview_lists_the_blocks_of_the_year_by_date(tables: Tables, assumptions: Assumptions) -> None:
    sheet = opened(workbook(*tables.values(), assumptions, 2027))["Overview"]
    head = next(row for row in sheet.iter_rows(values_only=True) if row[0] == "No.")
    lines = [dict(zip(head, row, strict=True)) for row in sheet.iter_rows(values_only=True) if isinstance(row[0], int)]
    assert [line["Block"] for line in lines] == ["B2", "B1", "@B5", "B3"]
    first, second = lines[:2]
    assert (first["Start"], first["Last patch"], first["Opens"]) == tuple(
        pd.Timestamp(day) for day in ("2027-04-20", "2027-05-04", "2027-05-07"))
    assert (first["Basis"], second["Basis"]) == ("estimated", "counted")
    assert second["Grinding"] == pd.Timestamp("2028-04-17")
    assert lines[2]["Start"] == "not scheduled"
    assert "likely cost $950,000" in " ".join(texts(sheet))


@pytest.mark.parametrize(("order", "blocks"), [
    ("street", ["@B5", "B3", "B2", "B1"]), ("district", ["B2", "B1", "@B5", "B3"])])
def test_other_orders(tables: Tables, assumptions: Assumptions, order: str, blocks: list[str]) -> None:
    listed = jobs(*tables.values(), 2027, order)
    assert [job.block["block_id"] for job in listed] == blocks
    assert [job.position for job in listed] == [1, 2, 3, 4]


def test_unknown_order_is_refused(tables: Tables, assumptions: Assumptions) -> None:
    with pytest.raises(ValueError, match="'size' is not one of date"):
        workbook(*tables.values(), assumptions, 2027, order="size")


def test_sheet_of_an_estimated_block(tables: Tables, assumptions: Assumptions) -> None:
    found = texts(opened(workbook(*tables.values(), assumptions, 2027))["1 B2"])
    assert any(text.startswith("Estimated: the quantities") for text in found)
    assert {"Quantities and materials, estimated", "Planned, estimated", "Needs in 2027, estimated"} <= set(found)
    assert {"8 in (assumed)", "2 (assumed)", "25.5 sq yd", "A utility digs here in 2029"} <= {
        text.removeprefix("Note: ") for text in found}
    assert "of another year" not in " ".join(found) and "999" not in found
    assert "At least 28 days since the last patch of the block" not in found, "the block is not ground"
    assert {"Drill and set dowels", "Saw full depth", "Dowel drilled and grouted", "196"} <= set(found)
    assert any("local codes, the engineer and a competent person on site decide" in text for text in found)


def test_sheet_of_a_counted_block(tables: Tables, assumptions: Assumptions) -> None:
    found = texts(opened(workbook(*tables.values(), assumptions, 2027))["2 B1"])
    assert not any("stimated" in text for text in found)
    assert "At least 28 days since the last patch of the block" in found
    assert "Grind surface (next season)" in found
    assert "Repairs from the panel survey" not in found


def test_repairs_are_listed_in_order(tables: Tables, assumptions: Assumptions) -> None:
    sheet = opened(workbook(*tables.values(), assumptions, 2027))["1 B2"]
    rows = [[value for value in row if value is not None] for row in sheet.iter_rows(values_only=True)]
    assert [row for row in rows if "full depth" in row] == [[1, "full depth", 15, 0, 6, 12, 8, 22, 0],
                                                           [2, "full depth", 30, 0, 6, 12, 8, 22, 0]]


def test_block_without_quantities_and_days_says_so(tables: Tables, assumptions: Assumptions) -> None:
    found = texts(opened(workbook(*tables.values(), assumptions, 2027))["4 B3"])
    assert {"No quantity is given for this block.", "The block is not on the season calendar."} <= set(found)


def test_materials_stand_in_the_week_of_their_task(tables: Tables, assumptions: Assumptions) -> None:
    table = materials_by_week(jobs(*tables.values(), 2027, "date"), assumptions).set_index("pay_item")
    # B2's concrete is placed from Friday 30 April 2027, its dowels drilled the day before, B1's patches on 14 May
    assert table.loc["dowel", "week"] == pd.Timestamp("2027-04-26")
    assert table.loc["patch_mix", ["week", "quantity", "estimated"]].tolist() == [pd.Timestamp("2027-05-10"), 2.6, 0.0]
    concrete = table.loc["concrete_full"].reset_index(drop=True)
    assert concrete["quantity"].tolist() == [48.9, 10.0] and concrete["estimated"].tolist() == [48.9, 10.0]
    assert concrete["week"].isna().tolist() == [False, True]
    kept = tables["quantities"][tables["quantities"]["strategy"] != "reconstruction"]
    assert table["quantity"].sum() == pytest.approx(kept["quantity"].sum())
    found = texts(opened(workbook(*tables.values(), assumptions, 2027))["Materials"])
    assert {"Week of Mon 26 Apr 2027", "Not on the calendar", "58.9"} <= set(found)


def test_pages_are_set_up_for_print(tables: Tables, assumptions: Assumptions) -> None:
    for sheet in opened(workbook(*tables.values(), assumptions, 2027)):
        assert sheet.page_setup.paperSize in (1, "1"), "letter"
        assert sheet.page_setup.orientation == ("landscape" if sheet.title == "Overview" else "portrait")
        assert (sheet.sheet_properties.pageSetUpPr.fitToPage, sheet.page_setup.fitToHeight) == (True, 0)
        assert sheet.print_title_rows and "Page &P of &N" in str(sheet.oddFooter.right.text).replace("&[Page]", "&P")


def test_the_same_tables_give_the_same_file(tables: Tables, assumptions: Assumptions) -> None:
    before = {name: table.copy() for name, table in tables.items()}
    shuffled = {name: table.sample(frac=1, random_state=3) for name, table in tables.items()}
    assert workbook(*tables.values(), assumptions, 2027) == workbook(*tables.values(), assumptions, 2027)
    one, other = (opened(workbook(*given.values(), assumptions, 2027)) for given in (tables, shuffled))
    assert [texts(sheet) for sheet in one] == [texts(sheet) for sheet in other]
    for name, table in tables.items():
        pd.testing.assert_frame_equal(table, before[name])


def test_a_year_without_work_has_an_empty_list(tables: Tables, assumptions: Assumptions) -> None:
    book = opened(workbook(*tables.values(), assumptions, 2040))
    assert book.sheetnames == ["Overview", "Materials", "Cautions"]


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


def test_a_full_season_has_a_sheet_for_every_block(tables: Tables, assumptions: Assumptions) -> None:
    def many(table: pd.DataFrame) -> pd.DataFrame:
        rows = table[table["block_id"] == "B2"]
        return pd.concat([rows.assign(block_id=f"X{number}") for number in range(150)], ignore_index=True)

    large = {name: many(table) for name, table in tables.items()}
    content = workbook(*large.values(), assumptions, 2027)
    assert len(openpyxl.load_workbook(BytesIO(content), read_only=True).sheetnames) == 153
