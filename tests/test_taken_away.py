"""What people take away, by the command line: choices of sheets, read-back, brief, description, archive."""

from __future__ import annotations

import json
from pathlib import Path

import openpyxl
import pandas as pd
import pytest

from rehab import store
from rehab.__main__ import main
from rehab.base import tables
from rehab.inputs import reading

HEAD = "block_id,street,district,length_ft,width_ft,panels_broken,panels_cracked,spalled_joint_ft,year_built,speed_mph"
ROWS = [f"B{number:02d},Elm {number // 8},Ward {number % 3},330,36,{number % 7},{number % 11},{number * 9 % 160},19{50 + number},30"
        for number in range(1, 25)]


@pytest.fixture(scope="module")
def blocks(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("city") / "blocks.csv"
    path.write_text("\n".join([HEAD, *ROWS]) + "\n")
    return path


def planned(blocks: Path, out: Path, *more: str) -> int:
    return main(["plan", str(blocks), "--budget", "150000", "--years", "3", "--start", "2027", "--season-seconds", "0",
                 "--out", str(out), *more])


@pytest.fixture(scope="module")
def out(blocks: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("out")
    assert planned(blocks, folder, "--brief", "--city", "Elm & Oak", "--paper", "A4") == 0
    return folder


def sheets(path: Path) -> list[str]:
    return [name for name in openpyxl.load_workbook(path, read_only=True).sheetnames if name[:1].isdigit()]


def test_tables_of_blocks_say_what_is_estimated(out: Path) -> None:
    for name in ("blocks", "strategies", "program", "quantities", "costs", "forecast", "tasks", "needs", "alternatives"):
        assert pd.read_csv(out / f"{name}.csv")["estimated"].notna().all(), name


def test_brief_sheets_and_map_are_written(out: Path) -> None:
    for name in ("brief.pdf", "brief_streets.pdf", "worklist.pdf"):
        content = (out / name).read_bytes()
        assert content.startswith(b"%PDF-") and b"595.2" in content  # A4 is 210 mm = 595.28 pt wide (ISO 216)
    assert (out / "plan.gpkg").read_bytes().startswith(b"SQLite format 3\0")
    assert len(pd.read_csv(out / "brief_streets.csv")) == len(ROWS)
    described = {table["url"] for table in json.loads((out / "csv-metadata.json").read_text())["tables"]}
    assert {"program.csv", "orders.csv", "by_year.csv"} <= described


def test_sheets_of_some_blocks_crews_and_weeks(blocks: Path, out: Path, tmp_path: Path) -> None:
    tasks = pd.read_csv(out / "tasks.csv", parse_dates=["start", "finish"])
    tasks = tasks[tasks["season"] == "this"]
    name = str(tasks["block_id"].iloc[0])
    assert planned(blocks, tmp_path, "--only-blocks", name) == 0
    assert [sheet.split()[-1] for sheet in sheets(tmp_path / "worklist.xlsx")] == [name]
    crew = str(tasks.loc[tasks["task"] == "grind", "crew"].iloc[0])
    assert planned(blocks, tmp_path, "--only-crews", crew) == 0
    assert len(sheets(tmp_path / "worklist.xlsx")) == tasks.loc[tasks["crew"] == crew, "block_id"].nunique()
    day = tasks["start"].min()
    monday = day - pd.Timedelta(days=day.weekday())
    at_work = tasks[(tasks["start"] < monday + pd.Timedelta(days=7)) & (tasks["finish"] >= monday)]
    assert planned(blocks, tmp_path, "--only-weeks", f"{day:%Y-%m-%d}") == 0
    assert len(sheets(tmp_path / "worklist.xlsx")) == at_work["block_id"].nunique()


@pytest.mark.parametrize(("option", "name"), [("--only-blocks", "B99"), ("--only-crews", "Night crew")])
def test_sheets_of_what_is_not_there_are_refused(blocks: Path, tmp_path: Path, option: str, name: str,
                                                 capsys: pytest.CaptureFixture[str]) -> None:
    assert planned(blocks, tmp_path, option, name) == 2
    assert f"'{name}' has no work in 2027" in capsys.readouterr().err


def test_what_was_measured_updates_the_estimate(blocks: Path, out: Path, tmp_path: Path,
                                                capsys: pytest.CaptureFixture[str]) -> None:
    quantities = pd.read_csv(out / "quantities.csv").merge(
        pd.read_csv(out / "program.csv")[["block_id", "year", "strategy"]])
    mine = quantities[(quantities["year"] == 2027) & (quantities["pay_item"] == "diamond_grinding")]
    filled = mine.head(3).assign(quantity=mine["quantity"] * 1.2)[["block_id", "year", "pay_item", "quantity"]]
    path = tmp_path / "filled.csv"
    path.write_text(filled.to_csv(index=False) + "B01,2027,diamond_grinding,about 12\n")
    assert planned(blocks, tmp_path / "out", "--measured", str(path)) == 0
    said = capsys.readouterr()
    assert "about 12" in said.err and "not measured" in said.out
    overruns = pd.read_csv(tmp_path / "out" / "overruns.csv")
    cost = pd.read_csv(out / "program.csv").set_index("block_id")["cost_usd"]
    for block, rows in overruns.groupby("block_id"):
        assert rows["planned_usd"].sum() == pytest.approx(cost[block], abs=1e-6)
    over = overruns[overruns["pay_item"] == "diamond_grinding"]
    assert (over["change_share"] - 0.2).abs().max() < 1e-4 and (over["change_usd"] > 0).all()
    updated = pd.read_csv(tmp_path / "out" / "updated.csv")
    assert updated["change_usd"].sum() == pytest.approx(overruns["change_usd"].sum(), abs=1e-6)
    assert len(pd.read_csv(tmp_path / "out" / "measured_problems.csv")) == 1
    assert planned(blocks, tmp_path / "out") == 0 and not (tmp_path / "out" / "overruns.csv").exists()


def test_last_years_program_stands_beside_what_was_done(blocks: Path, out: Path, tmp_path: Path) -> None:
    assert planned(blocks, tmp_path, "--brief", "--last-year", str(out / "program.csv")) == 0
    assert (tmp_path / "brief.pdf").stat().st_size > 10_000


def test_every_table_is_described(tmp_path: Path) -> None:
    assert main(["schema", "--out", str(tmp_path)]) == 0
    page = (tmp_path / "tables.md").read_text()
    for name, fields in tables.TABLES.items():
        assert name in page and all(field.name in page for field in fields), name
    assert len(json.loads((tmp_path / "csv-metadata.json").read_text())["tables"]) >= len(tables.TABLES)


def test_a_project_goes_from_one_database_to_another(blocks: Path, tmp_path: Path,
                                                     capsys: pytest.CaptureFixture[str]) -> None:
    first, second = (f"sqlite:///{tmp_path / name}.db" for name in ("one", "two"))
    read = reading.read_blocks(reading.open_table(blocks.name, blocks.read_bytes()))
    store.save_project(store.connect(first), "Elm", read.table, tables.empty("defects"), read.geometry, "Ada")
    path = tmp_path / "project.zip"
    assert main(["archive", "Oak", "--database", first, "--out", str(path)]) == 2
    assert "no project 'Oak', but Elm" in capsys.readouterr().err
    assert main(["archive", "Elm", "--database", first, "--out", str(path)]) == 0
    assert main(["restore", str(path), "--database", second, "--who", "Bo"]) == 0
    engine = store.connect(second)
    project = store.projects(engine)[0]
    assert project.name == "Elm"
    pd.testing.assert_frame_equal(store.load_project(engine, project.id)[0], read.table)
    assert main(["restore", str(path), "--database", second, "--who", "Bo"]) == 2
    assert "Elm" in capsys.readouterr().err
    assert main(["restore", str(path), "--database", second, "--who", "Bo", "--name", "Elm again"]) == 0
    path.write_bytes(path.read_bytes()[:-7])
    assert main(["restore", str(path), "--database", second, "--who", "Bo", "--name", "third"]) == 2
    assert len(store.projects(engine)) == 2
