"""One plan's files opened by other programs: GDAL, LibreOffice, Poppler, readers of calendars; and what they agree on."""

from __future__ import annotations

import csv
import json
import re
import subprocess
import zipfile
from io import StringIO
from pathlib import Path

import geopandas
import openpyxl
import pandas as pd
import pyogrio
import pytest
import vobject
from icalendar import Calendar
from openpyxl.workbook import Workbook

from rehab.__main__ import main
from rehab.inputs import demo

YEAR = 2027
LONG = "Old Harbor and Quarry Junction Boulevard of the Twenty-Fifth Infantry, North Arm"  # 80 letters


def run(*command: str | Path) -> str:
    return subprocess.run([str(part) for part in command], check=True, capture_output=True, encoding="utf-8").stdout


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("plan")
    city = demo.invent(110, 7)
    written = demo.write(city, folder / "city.csv")
    rows = pd.read_csv(folder / "city.csv", dtype="str")
    broken = rows["panels_broken"].astype("float64").rank(ascending=False) <= 60  # those that are worked on among them
    rows.assign(street=rows["street"].mask(broken, LONG)).to_csv(folder / "city.csv", index=False)
    defects, lines = (next(path for path in written if ending in path.name) for ending in ("defects", "lines"))
    assert main(["plan", str(folder / "city.csv"), "--defects", str(defects), "--geometry", str(lines), "--budget", "400000",
                 "--years", "4", "--start", str(YEAR), "--brief", "--city", "Our city", "--out", str(folder / "out")]) == 0
    return folder / "out"


@pytest.fixture(scope="module")
def program(out: Path) -> pd.DataFrame:
    return pd.read_csv(out / "program.csv")


@pytest.fixture(scope="module")
def total(program: pd.DataFrame) -> str:
    """What the first year costs, to the cent, by the CSV file."""
    return f"${program.loc[program['year'] == YEAR, 'cost_usd'].sum():,.2f}"


def cells(book: Workbook, sheet: str) -> list[object]:
    return [cell.value for row in book[sheet].iter_rows() for cell in row if cell.value is not None]


def test_totals_agree_to_the_cent_in_every_file(out: Path, program: pd.DataFrame, total: str) -> None:
    book = openpyxl.load_workbook(out / "worklist.xlsx")
    money = [value for value in cells(book, "Overview") if isinstance(value, int | float)]
    costs = sorted(round(usd, 2) for usd in program.loc[program["year"] == YEAR, "cost_usd"])
    listed = sorted(round(value, 2) for value in money)
    assert set(costs) <= set(listed) and round(sum(costs), 2) in listed
    assert total in run("pdftotext", "-layout", out / "worklist.pdf", "-")
    assert total in run("pdftotext", "-layout", out / "brief.pdf", "-")
    layer = pyogrio.read_dataframe(out / "plan.gpkg", layer="program", read_geometry=False)
    assert f"${layer.loc[layer['year'] == YEAR, 'cost_usd'].sum():,.2f}" == total
    blocks = geopandas.read_file(out / "blocks.geojson")
    assert f"${blocks.loc[blocks['program_year'] == YEAR, 'program_cost_usd'].sum():,.2f}" == total
    by_year = pd.read_csv(out / "by_year.csv").set_index("year")
    assert f"${by_year.at[YEAR, 'spent_usd']:,.2f}" == total
    streets = pd.read_csv(out / "brief_streets.csv")
    assert f"${streets.loc[streets['year'] == YEAR, 'cost_usd'].sum():,.2f}" == total


def test_libre_office_opens_both_workbooks(out: Path, total: str, tmp_path: Path) -> None:
    run("soffice", "--headless", f"-env:UserInstallation=file://{tmp_path / 'office'}", "--convert-to", "pdf",
        "--outdir", tmp_path, out / "worklist.xlsx", out / "season.xlsx")
    said = re.sub(r"\s+", " ", run("pdftotext", "-layout", tmp_path / "worklist.pdf", "-"))
    assert total.lstrip("$") in said and "Hold points" in said and "competent person" in said
    assert "#####" not in said and "Err:" not in said  # a column too narrow for its number; a formula gone wrong
    assert LONG in said or all(word in said for word in LONG.split())
    assert (tmp_path / "season.pdf").stat().st_size > 10_000


def test_libre_office_keeps_what_the_reader_needs(out: Path, tmp_path: Path) -> None:
    """A work list filled in and saved by another program reads back."""
    book = openpyxl.load_workbook(out / "worklist.xlsx")
    sheet = next(book[name] for name in book.sheetnames if name[:1].isdigit())
    keyed = [row for row in sheet.iter_rows() if any(str(cell.value).startswith('["quantities"') for cell in row)]
    heads = {cell.column: cell.value for row in sheet.iter_rows() for cell in row if cell.value == "Actual quantity"}
    key = json.loads(next(str(cell.value) for cell in keyed[0] if str(cell.value).startswith('["quantities"')))
    sheet.cell(keyed[0][0].row, next(iter(heads)), 12.5)
    book.save(tmp_path / "filled.xlsx")
    run("soffice", "--headless", f"-env:UserInstallation=file://{tmp_path / 'office'}", "--convert-to", "ods",
        "--outdir", tmp_path, tmp_path / "filled.xlsx")
    run("soffice", "--headless", f"-env:UserInstallation=file://{tmp_path / 'office'}", "--convert-to", "xlsx:Calc MS Excel 2007 XML",
        "--outdir", tmp_path / "again", tmp_path / "filled.ods")
    from rehab.inputs import reading

    found = reading.read_measured("filled.xlsx", (tmp_path / "again" / "filled.xlsx").read_bytes())
    assert found.quantities[["block_id", "year", "pay_item", "quantity"]].to_numpy().tolist() == [[*key[1:], 12.5]]
    assert found.problems.empty


def test_gdal_reads_every_layer(out: Path, program: pd.DataFrame) -> None:
    names = {name for name, kind in pyogrio.list_layers(out / "plan.gpkg").tolist() if kind is not None}
    assert {"blocks", "strategies", "program", "repairs"} <= names
    for name in names:
        layer = pyogrio.read_dataframe(out / "plan.gpkg", layer=name)
        assert "estimated" in layer.columns and layer.crs.to_epsg() == 4326, name
    assert len(pyogrio.read_dataframe(out / "plan.gpkg", layer="program")) == len(program)
    repairs = geopandas.read_file(out / "repairs.geojson")
    written = pd.read_csv(out / "repairs.csv")
    assert len(repairs) == len(written) > 0 and repairs.geometry.is_valid.all()


def test_independent_readers_of_calendars_agree(out: Path) -> None:
    content = (out / "season.ics").read_bytes()
    one = Calendar.from_ical(content).walk("VEVENT")
    other = list(vobject.readOne(content.decode()).vevent_list)
    assert len(one) == len(other) > 0
    assert {str(event["uid"]) for event in one} == {event.uid.value for event in other}


def test_a_calendar_for_each_crew_holds_its_tasks_and_no_others(out: Path) -> None:
    tasks = pd.read_csv(out / "tasks.csv")
    whole = {str(event["uid"]) for event in Calendar.from_ical((out / "season.ics").read_bytes()).walk("VEVENT")}
    packed = zipfile.ZipFile(out / "season_crews.zip")
    parts = [{str(event["uid"]) for event in Calendar.from_ical(packed.read(name)).walk("VEVENT")}
             for name in packed.namelist() if name.endswith(".ics")]
    assert len(parts) == tasks["crew"].nunique()
    assert set.union(*parts) <= whole and sum(map(len, parts)) == len(set.union(*parts))


def test_csv_reads_as_its_description_says(out: Path) -> None:
    """Cells against the CSVW metadata beside them: W3C, Metadata Vocabulary for Tabular Data (2015), from memory."""
    group = json.loads((out / "csv-metadata.json").read_text())
    described = {table["url"]: table["tableSchema"]["columns"] for table in group["tables"]}
    assert {"program.csv", "quantities.csv", "orders.csv", "tasks.csv"} <= set(described)
    for url, columns in described.items():
        rows = list(csv.reader(StringIO((out / url).read_text(encoding="utf-8"), newline="")))
        assert rows[0] == [column["titles"] for column in columns], url
        for row in rows[1:]:
            for cell, column in zip(row, columns, strict=True):
                base = column["datatype"] if isinstance(column["datatype"], str) else column["datatype"]["base"]
                if cell == "":
                    assert not column.get("required") or base == "string", (url, column["name"])
                elif base in ("number", "integer"):
                    float(cell)
                elif base == "boolean":
                    assert cell in ("true", "false")
                elif base == "date":
                    pd.Timestamp(cell)


def test_every_page_of_the_sheets_is_a_page_of_something(out: Path, tmp_path: Path) -> None:
    run("pdftoppm", "-r", "30", "-gray", out / "worklist.pdf", tmp_path / "page")
    pictures = sorted(tmp_path.glob("*.pgm"))
    assert len(pictures) > 20
    for picture in pictures:
        shades = picture.read_bytes().split(b"\n", 3)[3]
        assert sum(shade < 160 for shade in shades) > 100, picture.name
    said = run("pdfinfo", out / "worklist.pdf")
    assert re.search(r"Title:\s+Work list", said) and "Encrypted:       no" in said
