"""Headings to columns: the suggestion, the saved mapping, its faults, and the templates."""

import io

import openpyxl
import pandas as pd
import pytest

from rehab.base import tables
from rehab.base.errors import UnusableInput
from rehab.inputs.reading import (
    check_mapping,
    dictionary,
    open_table,
    read_blocks,
    read_defects,
    read_mapping,
    suggest,
    template,
    template_workbook,
    write_mapping,
)
from rehab.inputs.reading.bids import CONVERTED
from rehab.inputs.reading.headings import allowed_units


def mapped(headings: str, values: str, table: str = "blocks") -> dict[str, tuple[str, str]]:
    mapping = suggest(open_table("t.csv", f"{headings}\n{values}\n".encode()), table)  # type: ignore[arg-type]
    assert mapping.columns.tolist() == ["theirs", "ours", "unit", "only"]
    assert mapping["theirs"].tolist() == headings.split(",")
    return {row.theirs: (row.ours, row.unit) for row in mapping.itertuples()}


def test_common_headings_of_street_tables() -> None:
    found = mapped("Asset ID,Street Name,From,To,Length (m),Seg Width (ft),Pavement Condition Index,Func_Class,"
                   "Year Built,"
                   "AADT,Slabs,% cracked,Thickness [mm],colour", "A1,Elm,A,B,120,36,71,Local,1960,900,80,12,200,red")
    assert found == {
        "Asset ID": ("block_id", ""), "Street Name": ("street", ""), "From": ("from_street", ""),
        "To": ("to_street", ""),
        "Length (m)": ("length_ft", "m"), "Seg Width (ft)": ("width_ft", "ft"),
        "Pavement Condition Index": ("condition_index", ""), "Func_Class": ("functional_class", ""),
        "Year Built": ("year_built", ""), "AADT": ("adt", ""), "Slabs": ("panels", ""),
        "% cracked": ("panels_cracked", "per cent"), "Thickness [mm]": ("thickness_in", "mm"), "colour": ("", "")}


def test_other_spellings() -> None:
    found = mapped("seg_id,beg,end,seg_length_ft,seg_width_ft,oci,func_class,IRI (m/km),Slab Length m,TruckPct,"
                   "SurveyDate",
                   "S1,A,B,400,36,71,Alley,2,4.5,7,2024-01-01")
    assert [ours for ours, _ in found.values()] == [
        "block_id", "from_street", "to_street", "length_ft", "width_ft", "condition_index", "functional_class",
        "iri_in_per_mi", "panel_length_ft", "truck_share", "surveyed_on"]
    assert found["IRI (m/km)"][1] == "m/km"
    assert found["Slab Length m"][1] == "m"
    assert found["TruckPct"][1] == "per cent"


@pytest.mark.parametrize(("values", "ours"), [
    (["71", "88"], "condition_index"), (["Good", "Poor"], "condition_word"), (["7", "8"], "condition_index")])
def test_condition_is_told_by_its_values(values: list[str], ours: str) -> None:
    raw = open_table("t.csv", ("id,condition\n" + "".join(f"B{v},{v}\n" for v in values)).encode())
    assert suggest(raw)["ours"].tolist() == ["block_id", ours]


def test_a_column_of_ours_is_given_once_to_the_best_heading() -> None:
    found = mapped("id,segment id,length,segment length", "1,2,3,4")
    assert list(found.values()) == [("", ""), ("block_id", ""), ("length_ft", "ft"), ("", "")]


def test_a_file_with_our_own_headings_maps_to_itself() -> None:
    for table in ("blocks", "defects", "bids"):
        names = [item.name for item in tables.upload_fields(table)]  # type: ignore[arg-type]
        assert template(table).decode().strip().split(",") == names  # type: ignore[arg-type]
        found = mapped(",".join(names), ",".join("1" for _ in names), table)
        assert [ours for ours, _ in found.values()] == names


def test_a_mapping_is_saved_and_read_again() -> None:
    mapping = pd.DataFrame({"theirs": ['odd, "heading"', "b"], "ours": ["block_id", ""], "unit": ["", ""],
                            "only": ["", "a|b"]}, dtype="str")
    pd.testing.assert_frame_equal(read_mapping(write_mapping(mapping)), mapping)


def test_a_filter_keeps_its_values_trimmed_and_in_any_case() -> None:
    text = ("id,length,width,pci,surface\n1,400,36,70,Jointed Concrete\n2,400,36,70, jointed concrete \n"
            "3,400,36,70,Asphalt\n4,400,36,x,\n")
    raw = open_table("t.csv", text.encode())
    mapping = read_mapping(b"theirs,ours,unit,only\nid,block_id,,\nlength,length_ft,feet,\nwidth,width_ft,,\n"
                           b"PCI,condition_index,,\nsurface,,,JOINTED CONCRETE | brick\n")
    reading = read_blocks(raw, mapping)
    assert reading.table["block_id"].tolist() == ["1", "2"]
    assert (reading.rows_in, reading.rows_filtered) == (4, 2)
    assert reading.problems.empty
    mapping.loc[4, "only"] = "cobbles"
    with pytest.raises(UnusableInput, match="keeps no row") as caught:
        read_blocks(raw, mapping)
    assert "Asphalt" in caught.value.problems[0].accepted


@pytest.mark.parametrize(("line", "column", "severity"), [
    ("length,lenght_ft,,", "ours", "stop"), ("length,length_ft,furlong,", "unit", "stop"),
    ("length,length_ft,sqm,", "unit", "stop"), ("pci,block_id,,", "ours", "stop"),
    ("lost,length_ft,,", "theirs", "stop"),
    ("lost,,,concrete", "theirs", "stop"), ("lost,street,,", "theirs", "warn"),
    ("pci,condition_index,ft,", "unit", "stop"),
])
def test_faults_of_a_mapping(line: str, column: str, severity: str) -> None:
    raw = open_table("t.csv", b"id,length,width,pci\n1,400,36,70\n")
    problems = check_mapping(read_mapping(f"theirs,ours,unit,only\nid,block_id,,\n{line}\n".encode()), raw)
    assert [(problem.severity, problem.row, problem.column) for problem in problems] == [(severity, 3, column)]
    assert problems[0].accepted


def test_a_mapping_with_faults_is_refused_with_all_of_them() -> None:
    raw = open_table("t.csv", b"id,length,width,pci\n1,400,36,70\n")
    with pytest.raises(UnusableInput) as caught:
        read_blocks(raw, read_mapping(b"theirs;ours\nid;key\nlength;size\n"))
    assert len(caught.value.problems) == 2
    with pytest.raises(UnusableInput, match="no column 'only'"):
        read_blocks(raw, suggest(raw).drop(columns="only"))


@pytest.mark.parametrize("content", [b"", b"heading,ours\na,b\n", b"\0\1\2", b"theirs,theirs\na,b\n",
                                     b'theirs,ours\n"a,b\n',
                                     b"theirs,ours,unit,only\na,b,c,d,e\n"])
def test_a_file_that_is_no_mapping(content: bytes) -> None:
    with pytest.raises(UnusableInput):
        read_mapping(content)


def test_units_that_a_column_may_come_in() -> None:
    assert set(allowed_units(tables.field("blocks", "length_ft"))) == {"ft", "in", "yd", "mile", "mm", "cm", "m", "km"}
    assert allowed_units(tables.field("blocks", "panels_broken")) == ["count", "per cent", "share"]
    assert allowed_units(tables.field("blocks", "street")) == []


def test_aliases_and_words_lead_to_columns_and_values_that_exist() -> None:
    from rehab.inputs.assumptions import FOLDER

    fields = {item.name: item for table in ("blocks", "defects", "bids", "commitments", "normals", "no_work", "moves", "actual")
              for item in tables.TABLES[table]}
    headings = pd.read_csv(FOLDER / "headings.csv", dtype=str, keep_default_na=False)
    assert set(headings["ours"]) <= set(fields)
    assert not headings.duplicated(["ours", "alias"]).any()
    for row in headings[headings["unit"] != ""].itertuples():
        assert row.unit in allowed_units(fields[str(row.ours)])
    words = pd.read_csv(FOLDER / "value_words.csv", dtype=str, keep_default_na=False)
    assert not words.duplicated(["ours", "word"]).any()
    for row in words.itertuples():
        other = CONVERTED if row.ours == "unit" else ()  # units that are read and then converted
        assert row.value in (("true", "false") if row.ours == "flag" else (*fields[str(row.ours)].choices, *other))


def test_the_template_workbook_can_be_filled_and_read() -> None:
    book = openpyxl.load_workbook(io.BytesIO(template_workbook()))
    assert book.sheetnames == ["Blocks", "Defects", "Dictionary"]
    names = [cell.value for cell in book["Blocks"][1]]
    assert names == [item.name for item in tables.upload_fields("blocks")]
    filled = {"block_id": "0042", "length_ft": 400, "width_ft": 36, "condition_index": 55, "dowelled": "yes"}
    book["Blocks"].append([filled.get(name) for name in names])
    stream = io.BytesIO()
    book.save(stream)
    reading = read_blocks(open_table("filled.xlsx", stream.getvalue(), sheet="Blocks"))
    assert reading.table[list(filled)].iloc[0].tolist() == ["0042", 400, 36, 55, True]
    assert reading.problems.empty
    damage = {"block_id": "0042", "panel_row": 2, "panel_column": 1, "defect": "joint spall", "severity": "low"}
    book["Defects"].append([damage.get(cell.value) for cell in book["Defects"][1]])
    stream = io.BytesIO()
    book.save(stream)
    assert len(read_blocks(open_table("filled.xlsx", stream.getvalue())).table) == 1
    panel = read_defects(open_table("filled.xlsx", stream.getvalue(), table="defects"), None, reading.table)
    assert panel.table[list(damage)].iloc[0].tolist() == list(damage.values())


def test_the_dictionary_lists_every_column_of_the_uploads() -> None:
    rows = pd.read_csv(io.BytesIO(dictionary()), keep_default_na=False)
    expected = [(table, item.name) for table in ("blocks", "defects", "bids") for item in tables.upload_fields(table)]  # type: ignore[arg-type]
    assert list(zip(rows["table"], rows["column"], strict=True)) == expected
    assert (rows["about"] != "").all()
