"""Files of every kind, good and bad: what opens, and what is refused with which words."""

import io
import zipfile

import openpyxl
import pytest

from rehab.base.errors import UnusableInput
from rehab.inputs.reading import Raw, open_table, read_blocks, template

HEADER = "block_id,length_ft,width_ft,condition_index"


def refused(name: str, content: bytes, **options: str) -> str:
    """The message and the remedy of a refusal, which must name both."""
    with pytest.raises(UnusableInput) as caught:
        open_table(name, content, **options)
    problem = caught.value.problems[0]
    assert problem.severity == "stop"
    assert problem.file == name
    assert problem.message and problem.accepted
    return f"{problem.message} | {problem.accepted}"


def workbook(*sheets: tuple[str, list[list[object]]]) -> openpyxl.Workbook:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for title, rows in sheets:
        page = book.create_sheet(title)
        for row in rows:
            page.append(row)
    return book


def saved(book: openpyxl.Workbook) -> bytes:
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


ROWS: list[list[object]] = [HEADER.split(","), ["B1", 400, 36.5, 71], ["B2", 380, 36, 55]]


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_any_delimiter_and_unicode_encoding(delimiter: str, encoding: str) -> None:
    text = "\r\n".join(["street," + HEADER, "Calle Ñandú,0012,400,36.5,71", "Ash,B2,380,36,55"]).replace(",", delimiter)
    raw = open_table("blocks.csv", text.encode(encoding))
    assert raw.problems == []
    assert raw.delimiter == delimiter
    assert raw.frame["street"].tolist() == ["Calle Ñandú", "Ash"]
    assert raw.frame["block_id"].tolist() == ["0012", "B2"]
    assert raw.rows.tolist() == [2, 3]


def test_windows_1252_is_read_and_said() -> None:
    raw = open_table("blocks.csv", f"street,{HEADER}\nCafé €,B1,400,36,71\n".encode("cp1252"))
    assert raw.frame["street"].tolist() == ["Café €"]
    assert [problem.severity for problem in raw.problems] == ["warn"]
    assert "Windows-1252" in raw.problems[0].message
    assert "line 2" in raw.problems[0].message


def test_quoting_of_rfc_4180() -> None:
    """RFC 4180, section 2: quotes around commas, line breaks and doubled quotes; a break in a cell is no new row."""
    text = f'street,{HEADER}\r\n"Main, ""old""\r\npart",B1,400,36,71\r\n,B2,380,36,55\r\n'
    raw = open_table("blocks.csv", text.encode())
    assert raw.frame["street"].iloc[0] == 'Main, "old"\r\npart'
    assert raw.rows.tolist() == [2, 3]
    assert raw.problems == []


def test_rows_are_numbered_as_in_a_spreadsheet_with_title_and_blank_rows() -> None:
    text = f"Pavement survey\n\n{HEADER}\n\nB1,400,36,71\n\n\nB2,380,36,55\n\n"
    raw = open_table("blocks.csv", text.encode())
    assert raw.rows.tolist() == [5, 8]


def test_rows_with_too_many_cells_are_stopped_and_with_too_few_told() -> None:
    text = f"{HEADER},street\nB1,400,36,71,Elm,extra\nB2,380,36,55\nB3,380,36,55,Oak,,\n"
    reading = read_blocks(open_table("blocks.csv", text.encode()))
    assert reading.table["block_id"].tolist() == ["B2", "B3"]
    assert reading.problems[["severity", "row"]].to_numpy().tolist() == [["stop", 2], ["warn", 3]]
    assert "B1 | 400" in reading.problems["value"].iloc[0]


def test_a_broken_quotation_stops_its_row_only() -> None:
    reading = read_blocks(open_table("blocks.csv", f'{HEADER}\n"B"1,400,36,71\nB2,380,36,55\n'.encode()))
    assert reading.table["block_id"].tolist() == ["B2"]
    assert reading.problems[["severity", "row"]].to_numpy().tolist() == [["stop", 2]]


def test_a_quotation_that_never_ends_is_refused_with_its_row() -> None:
    message = refused("blocks.csv", f'{HEADER}\nB1,400,36,71\n"B2,380,36,55\nB3,1,2,3\n'.encode())
    assert "row 3" in message


@pytest.mark.parametrize("content", [b"", b"  \r\n\r\n", b"\xef\xbb\xbf\r\n"])
def test_an_empty_file(content: bytes) -> None:
    assert "empty" in refused("blocks.csv", content)


@pytest.mark.parametrize("content", [template("blocks"), b"block_id;length_ft;width_ft;pci\n\n;;;\n"])
def test_a_header_alone(content: bytes) -> None:
    assert "no rows" in refused("blocks.csv", content)


def test_a_header_alone_in_a_workbook() -> None:
    assert "no rows" in refused("blocks.xlsx", saved(workbook(("Blocks", [HEADER.split(",")]))))


@pytest.mark.parametrize(("name", "content", "told"), [
    ("blocks.csv", b"%PDF-1.7\n%\xe2\xe3", "PDF"),
    ("blocks.xlsx", b"\x89PNG\r\n\x1a\n\0\0", "picture"),
    ("blocks.csv", saved(workbook(("Blocks", ROWS))), "XLSX"),
    ("blocks.zip", saved(workbook(("Blocks", ROWS))), "XLSX"),
    ("blocks.xlsx", b"block_id,length_ft\nB1,4\n", "text"),
    ("blocks.gpkg", b"block_id,length_ft\nB1,4\n", "text"),
    ("blocks.csv", b'{"type": "FeatureCollection", "features": []}', "JSON"),
    ("blocks.csv", b"<!DOCTYPE html><html><table></table></html>", "web page"),
    ("blocks.csv", b"\x1f\x8b\x08\0\0", "archive"),
    ("blocks.shp", b"\0\0\x27\x0a\0\0", ".shp"),
    ("blocks.xls", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600, ".xlsx"),
    ("blocks.docx", b"block_id,length_ft\nB1,4\n", ".docx"),
    ("blocks", b"block_id,length_ft\nB1,4\n", "ending"),
])
def test_another_kind_of_file_under_a_false_ending(name: str, content: bytes, told: str) -> None:
    assert told in refused(name, content)


@pytest.mark.parametrize("content", [b"a,b\n\0\x01\x02,3\n", bytes(range(256)) * 4])
def test_binary_data(content: bytes) -> None:
    assert "binary" in refused("blocks.csv", content)


@pytest.mark.parametrize("content", [b"just a line of prose\nand another\n", b"1,2,3\n4,5,6\n"])
def test_no_table_found(content: bytes) -> None:
    assert "no table" in refused("notes.txt", content)


def test_a_workbook_with_a_password() -> None:
    """An encrypted workbook is a compound file with the stream EncryptedPackage (MS-OFFCRYPTO 2.3.4, from memory)."""
    content = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 504 + "EncryptedPackage".encode("utf-16-le") + b"\0" * 900
    assert "password" in refused("blocks.xlsx", content)


def test_a_damaged_workbook() -> None:
    content = saved(workbook(("Blocks", ROWS)))
    for cut in (60, len(content) // 3, len(content) // 2, len(content) - 30):
        refused("blocks.xlsx", content[:cut])


def test_a_workbook_with_title_rows_numbers_days_and_leading_zeros() -> None:
    import datetime as dt

    book = workbook(("Blocks", [["Survey of the concrete streets"], [None, "all blocks"], [],
                                [*HEADER.split(","), "surveyed_on", "bus_route"],
                                ["007", 400, 36.5, 71, dt.datetime(2024, 6, 30), True],
                                [8, 380.0, 36, 55, dt.date(2024, 7, 1), False]]))
    reading = read_blocks(open_table("blocks.xlsx", saved(book)))
    assert reading.problems.empty
    assert reading.table["block_id"].tolist() == ["007", "8"]
    assert reading.table["row"].tolist() == [5, 6]
    assert reading.table["surveyed_on"].dt.strftime("%Y-%m-%d").tolist() == ["2024-06-30", "2024-07-01"]
    assert reading.table["bus_route"].tolist() == [True, False]


def test_merged_and_two_line_headers_are_joined() -> None:
    book = workbook(("Blocks", [["Survey"], ["Segment ID", "Size", None, "Slabs", None, None],
                                [None, "length", "width", "total", "cracked", "broken"],
                                ["B1", 400, 36, 80, 10, 2], ["B2", 380, 36, 70, 9, 1]]))
    page = book["Blocks"]
    for cells in ("A2:A3", "B2:C2", "D2:F2", "A1:F1"):
        page.merge_cells(cells)
    raw = open_table("blocks.xlsx", saved(book))
    assert raw.frame.columns.tolist() == ["Segment ID", "Size length", "Size width", "Slabs total", "Slabs cracked",
                                          "Slabs broken"]
    assert raw.rows.tolist() == [4, 5]


def test_a_line_of_units_below_the_header_belongs_to_it() -> None:
    text = "Segment ID,Length,Width,PCI\n,(m),(m),\nB1,120,11,71\n"
    raw = open_table("blocks.csv", text.encode())
    assert raw.frame.columns.tolist() == ["Segment ID", "Length (m)", "Width (m)", "PCI"]
    table = read_blocks(raw).table
    assert table["length_ft"].iloc[0] == pytest.approx(120 / 0.3048)  # NIST Handbook 44, Appendix C: 1 ft = 0.3048 m


def test_a_single_data_row_of_texts_is_no_second_header_line() -> None:
    reading = read_blocks(open_table("blocks.csv", f"{HEADER}\nB1,abc,def,ghi\n".encode()))
    assert reading.rows_in == 1
    assert set(reading.problems["row"]) == {2}


def test_hidden_sheets_are_ignored_and_the_first_table_is_taken() -> None:
    book = workbook(("Old", ROWS), ("Notes", [["Read me"], ["nothing here"]]), ("Current", ROWS[:2]), ("Codes", ROWS))
    book["Old"].sheet_state = "hidden"
    raw = open_table("blocks.xlsx", saved(book))
    assert raw.sheets == ["Notes", "Current", "Codes"]
    assert len(raw.frame) == 1
    assert [problem.value for problem in raw.problems] == ["Current"]
    assert len(open_table("blocks.xlsx", saved(book), sheet="Codes").frame) == 2
    assert "'Old'" in refused("blocks.xlsx", saved(book), sheet="Old")


def test_a_workbook_without_a_table() -> None:
    assert "no table" in refused("blocks.xlsx", saved(workbook(("Notes", [["Read me"]]), ("Empty", []))))


def test_a_cell_far_away_is_refused_before_it_takes_the_memory() -> None:
    book = workbook(("Blocks", ROWS))
    book["Blocks"]["XFD1048576"] = "stray"
    assert "1,048,576" in refused("blocks.xlsx", saved(book))


def test_an_error_in_a_cell_is_told() -> None:
    book = workbook(("Blocks", ROWS))
    book["Blocks"]["D3"].value, book["Blocks"]["D3"].data_type = "#DIV/0!", "e"
    raw = open_table("blocks.xlsx", saved(book))
    assert [(problem.row, problem.column) for problem in raw.problems] == [(3, "column D")]


def test_a_workbook_that_unfolds_to_a_bomb(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("rehab.inputs.reading.layers.MOST_UNZIPPED", 1_000)
    assert "unfolds" in refused("blocks.xlsx", saved(workbook(("Blocks", ROWS))))


def test_doubled_and_missing_headings_are_told() -> None:
    raw: Raw = open_table("blocks.csv", f"{HEADER},note,note,\nB1,400,36,71,a,b,c\n".encode())
    assert raw.frame.columns.tolist() == [*HEADER.split(","), "note", "note (2)", "column G"]
    assert [problem.column for problem in raw.problems] == ["note", "column G"]


def test_a_cell_longer_than_a_reader_takes_stops_its_row() -> None:
    reading = read_blocks(open_table("blocks.csv",
                                     f"{HEADER},note\nB1,400,36,71,{'x' * 200_000}\nB2,380,36,55,\n".encode()))
    assert reading.table["block_id"].tolist() == ["B2"]


def test_a_zip_without_a_layer() -> None:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as package:
        package.writestr("readme.txt", "nothing")
    assert "no Shapefile" in refused("blocks.zip", stream.getvalue())


def test_a_date_above_the_headings_is_no_half_of_them() -> None:
    book = workbook(("Blocks", [["Harbour streets"], ["Printed 11/03/2026", None, "Surveyed by: R. Okafor", None],
                                ["Segment ID", "Length (ft)", "Width (ft)", "Broken slabs"], ["B1", 400, 36, 2]]))
    raw = open_table("blocks.xlsx", saved(book))
    assert raw.frame.columns.tolist() == ["Segment ID", "Length (ft)", "Width (ft)", "Broken slabs"]
