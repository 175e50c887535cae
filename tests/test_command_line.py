"""The command line: exit codes, files and their columns, re-checked from the files alone."""

from __future__ import annotations

import csv
import json
import math
import re
import tomllib
from pathlib import Path

import openpyxl
import pandas as pd
import pytest

from rehab.__main__ import main
from rehab.base.settings import Scenario

HEAD = "block_id,street,length_ft,width_ft,panels_broken,panels_cracked,spalled_joint_ft,year_built"
ROWS = [f"B{number:02d},{'=HYPERLINK(1)' if number == 1 else 'Elm'},330,36,{number % 7},{number % 11},{number * 9 % 160},19{50 + number}"
        for number in range(1, 41)]


@pytest.fixture
def blocks(tmp_path: Path) -> Path:
    path = tmp_path / "blocks.csv"
    path.write_text("\n".join([HEAD, *ROWS]) + "\n")
    return path


def test_plan_writes_every_file_of_the_contract(blocks: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    assert main(["plan", str(blocks), "--budget", "150000", "--years", "4", "--start", "2028", "--out", str(out)]) == 0
    columns = {
        "strategies.csv": ["block_id", "strategy", "reasons", "alternatives", "life_extension_yr", "cost_usd"],
        "program.csv": ["block_id", "year", "strategy", "cost_usd", "benefit"],
        "tasks.csv": ["task_id", "block_id", "task", "crew", "start", "finish", "opens"],
        "forecast.csv": ["block_id", "year", "strategy", "sound_share", "partial_share", "full_share", "index"],
        "quantities.csv": ["block_id", "year", "pay_item", "quantity", "unit"], "blocks.csv": ["block_id", "panels"],
        "problems.csv": ["severity", "file", "row", "column", "value", "message", "accepted"],
        "lifecycle.csv": ["block_id", "full_depth_worth_usd", "full_depth_annual_usd"],
        "waiting.csv": ["year", "delay_yr", "now_usd", "total_usd"],
    }
    for name, wanted in columns.items():
        assert set(wanted) <= set(pd.read_csv(out / name).columns), name
    summary = json.loads((out / "summary.json").read_text())
    assert {"years", "budget_usd", "spent_usd", "status", "objective", "upper_bound", "gap", "seconds"} <= set(summary)
    program = pd.read_csv(out / "program.csv")
    assert program["block_id"].is_unique
    assert (program.groupby("year")["cost_usd"].sum() <= 150_000).all()
    assert set(program["year"]) <= {2028, 2029, 2030, 2031}
    assert summary["spent_usd"] == pytest.approx(program["cost_usd"].sum(), abs=0.01 * len(program))
    assert summary["objective"] <= summary["upper_bound"] * (1 + 1e-9)
    assert (out / "season.ics").read_bytes().startswith(b"BEGIN:VCALENDAR\r\n")
    assert not (out / "blocks.geojson").exists()  # the table has no lines


def test_a_program_is_drawn(blocks: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "out"
    command = ["plan", str(blocks), "--budget", "150000", "--years", "3", "--out", str(out), "--draws"]
    assert main([*command, "50"]) == 0
    by_year, by_block = (pd.read_csv(out / f"{name}.csv") for name in ("chances", "block_chances"))
    assert (by_year["low_usd"] <= by_year["high_usd"]).all() and by_year["over"].between(0, 1).all()
    assert sorted(by_block["block_id"]) == sorted(pd.read_csv(out / "program.csv")["block_id"])
    assert "over the draws it costs" in capsys.readouterr().out
    assert main([*command, "1"]) == 2


def test_a_formula_stays_text_in_every_file(blocks: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    main(["plan", str(blocks), "--budget", "900000", "--years", "3", "--out", str(out)])
    for path in out.glob("*.csv"):
        with path.open(newline="", encoding="utf-8") as lines:
            cells = [cell for row in csv.reader(lines) for cell in row]
        assert not any(cell.startswith("=") for cell in cells), path.name
    book = openpyxl.load_workbook(out / "worklist.xlsx")
    assert not any(cell.data_type == "f" for sheet in book for row in sheet.iter_rows() for cell in row)


@pytest.mark.parametrize(("name", "content", "said"), [
    ("empty.csv", "", "empty"),
    ("header.csv", HEAD + "\n", "header.csv"),
    ("lacking.csv", "block_id,length_ft\nA,300\n", "width_ft"),
    ("text.csv", "block_id,length_ft,width_ft,panels_broken\nA,far,36,1\n", "far"),
])
def test_input_that_cannot_be_used_ends_with_2(tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str,
                                               content: str, said: str) -> None:
    path, out = tmp_path / name, tmp_path / "out"
    path.write_text(content)
    assert main(["plan", str(path), "--out", str(out)]) == 2
    error = capsys.readouterr().err
    assert said in error and "Traceback" not in error
    assert len(pd.read_csv(out / "problems.csv")) > 0


@pytest.mark.parametrize("arguments", [
    ["plan", "no-such-file.csv"], ["plan", "BLOCKS", "--years", "0"], ["plan", "BLOCKS", "--budget", "-5"],
    ["plan", "BLOCKS", "--scenario", "BLOCKS"], ["demo", "--blocks", "0", "--out", "x.csv"], ["backtest", "BLOCKS"],
    ["calibrate", "BLOCKS"], ["calibrate", "BLOCKS", "BLOCKS"], ["backtest", "BLOCKS", "BLOCKS"],
])
def test_impossible_arguments_end_with_2_and_a_line(blocks: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str],
                                                    monkeypatch: pytest.MonkeyPatch, arguments: list[str]) -> None:
    monkeypatch.chdir(tmp_path)
    assert main([str(blocks) if word == "BLOCKS" else word for word in arguments]) == 2
    error = capsys.readouterr().err
    assert error.strip() and "Traceback" not in error


def test_bad_rows_are_listed_and_good_rows_go_on(blocks: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    blocks.write_text(blocks.read_text() + "B01,Oak,300,36,1,1,1,1990\nX,Oak,-3,36,1,1,1,1990\nY,Oak,300,36,9999,1,1,1990\n")
    out = tmp_path / "out"
    assert main(["plan", str(blocks), "--budget", "150000", "--out", str(out)]) == 0
    problems = pd.read_csv(out / "problems.csv")
    assert {2, 42, 43} <= set(problems.loc[problems["severity"] == "stop", "row"])
    assert len(pd.read_csv(out / "blocks.csv")) == 40  # 39 of the 40, and Y
    notes = pd.read_csv(out / "notes.csv").set_index("block_id")
    assert "9999 counted, but the block has 60 panels" in notes.loc["Y", "message"]


def test_a_scenario_that_no_program_can_keep_ends_with_2(blocks: Path, tmp_path: Path,
                                                         capsys: pytest.CaptureFixture[str]) -> None:
    scenario, out = tmp_path / "asked.toml", tmp_path / "out"
    scenario.write_text('budget_usd = 10\nyears = 2\nkept_out = ["nowhere"]\n'
                        '[[forced]]\nblock_id = "B01"\nyear = 2027\nstrategy = "reconstruction"\n')
    assert main(["plan", str(blocks), "--scenario", str(scenario), "--out", str(out)]) == 2
    said = capsys.readouterr()
    assert "programmed" not in said.out and "nowhere: the block is not in the table" in said.err
    assert "too little" in said.err and "no program obeys all that is asked" in said.err
    assert pd.read_json(out / "summary.json", typ="series")["status"] == "infeasible"


def test_demo_and_check(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "city.csv"
    assert main(["demo", "--blocks", "30", "--seed", "3", "--out", str(out)]) == 0
    assert len(pd.read_csv(out)) == 30
    assert main(["check", str(out), "--geometry", str(tmp_path / "city_lines.geojson"), "--defects",
                 str(tmp_path / "city_defects.csv"), "--out", str(tmp_path / "out")]) == 0
    assert "0 rows or values stop" in capsys.readouterr().out


def test_the_examples_of_the_readme_are_taken(tmp_path: Path) -> None:
    readme = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")
    scenario, more, values = re.findall(r"```toml\n(.*?)```", readme, re.DOTALL)
    asked = Scenario.from_mapping({**tomllib.loads(scenario), **tomllib.loads(more)})
    assert asked.money_usd == (4_500_000.0,) * 10 and asked.cleared_by == 2034 and asked.targets[0].least == 65
    rows = [f"{name},300,36,2" for name in ("B007", "B012", "B020")]
    for name, text in (("scenario.toml", scenario), ("city.toml", values),
                       ("blocks.csv", "\n".join(["block_id,length_ft,width_ft,panels_broken", *rows]) + "\n")):
        (tmp_path / name).write_text(text)
    assert main(["plan", str(tmp_path / "blocks.csv"), "--scenario", str(tmp_path / "scenario.toml"), "--assumptions",
                 str(tmp_path / "city.toml"), "--out", str(tmp_path / "out")]) == 0
    program = pd.read_csv(tmp_path / "out" / "program.csv").set_index("block_id")
    assert program.loc["B020", "year"] == 2028 and "B007" not in program.index
    assert "the sewer comes first" in (tmp_path / "out" / "strategies.csv").read_text()
    tasks = pd.read_csv(tmp_path / "out" / "tasks.csv")
    assert tasks["start"].min() >= "2027-05-01"


def test_a_panel_survey_may_have_a_mapping_of_its_own(tmp_path: Path) -> None:
    (tmp_path / "blocks.csv").write_text("block_id,length_ft,width_ft,panels_broken\nA,300,36,0\n")
    (tmp_path / "survey.csv").write_text("where,along,across,kind,bad\nA,1,1,broken panel,high\n")
    (tmp_path / "mapping.csv").write_text("theirs,ours,unit,only\nwhere,block_id,,\nalong,panel_row,,\n"
                                          "across,panel_column,,\nkind,defect,,\nbad,severity,,\n")
    given = ["plan", str(tmp_path / "blocks.csv"), "--defects", str(tmp_path / "survey.csv"), "--years", "2",
             "--out", str(tmp_path / "out")]
    assert main(given) == 2
    assert main([*given, "--defects-mapping", str(tmp_path / "mapping.csv")]) == 0
    assert len(pd.read_csv(tmp_path / "out" / "repairs.csv")) == 1


def test_backtest_reports_three_models(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for year, index in ((2016, 80), (2026, 70)):
        lines = [f"B{number},300,36,{index - number % 9},{1970},{year}-06-01" for number in range(20)]
        (tmp_path / f"{year}.csv").write_text(
            "\n".join(["block_id,length_ft,width_ft,condition_index,year_built,surveyed_on", *lines]) + "\n")
    out = tmp_path / "out"
    assert main(["backtest", str(tmp_path / "2016.csv"), str(tmp_path / "2026.csv"), "--out", str(out)]) == 0
    errors = pd.read_csv(out / "backtest.csv")
    assert set(errors["measure"]) == {"index"}  # no block is counted
    errors = errors.set_index("model")
    assert errors.loc["no_change", "mean_absolute_error"] == pytest.approx(10)  # 80 to 70 by hand
    assert set(errors.index) == {"survival", "no_change", "straight_line"}
    assert {"survival", "index_low", "index_high", "work"} <= set(pd.read_csv(out / "backtest_blocks.csv").columns)
    assert "not refitted" in capsys.readouterr().err


def test_calibrate_writes_values_that_a_plan_takes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["demo", "--blocks", "90", "--out", str(tmp_path / "city.csv"), "--earlier"]) == 0
    assert "city_2021.csv" in capsys.readouterr().out
    out, both = tmp_path / "out", [str(tmp_path / "city_2021.csv"), str(tmp_path / "city.csv")]
    assert main(["calibrate", *both, "--out", str(out)]) == 0
    said = capsys.readouterr()
    assert len(said.out.splitlines()) == 3 and said.out.startswith("The surveys of 2021, 2026 give ")
    rows = pd.read_csv(out / "calibration.csv")
    assert rows["fitted"].any()
    own = tomllib.loads((out / "survival.toml").read_text())["survival"]
    fitted = rows[rows["fitted"]].set_index("key")["value"].to_dict()
    assert {key: float(value) for key, value in own.items()} == pytest.approx(fitted, rel=1e-5)
    for name in ("calibration_fit", "residuals"):
        table = pd.read_csv(out / f"{name}.csv")
        assert len(table) and not table.isna().any().any()
    assert pd.read_csv(out / "set_apart.csv").columns.tolist() == ["block_id", "from_year", "to_year", "reason"]
    assert main(["plan", both[1], "--assumptions", str(out / "survival.toml"), "--years", "2", "--out",
                 str(tmp_path / "plan")]) == 0
    assert main(["backtest", *both, "--by", "block", "--out", str(out)]) == 0
    errors = pd.read_csv(out / "backtest.csv")
    assert {"index", "full_share", "partial_share", "faulting"} <= set(errors["measure"])
    assert errors["coverage"].notna().sum() == errors["measure"].nunique()


def test_a_season_from_files(blocks: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out, given = tmp_path / "out", tmp_path / "given"
    given.mkdir()
    days = pd.date_range("2028-01-01", "2028-12-31")
    mean = [45 - 35 * math.cos((day.day_of_year - 15) / 366 * 2 * math.pi) for day in days]
    pd.DataFrame({"date": days.strftime("%m-%d"), "tmin": [at - 10 for at in mean], "tmax": [at + 10 for at in mean]}
                 ).to_csv(given / "normals.csv", index=False)
    (given / "shut.csv").write_text("scope,name,first_day,last_day,weekdays,reason\nstreet,Elm,2028-05-01,2028-07-31,,fair\n"
                                    "street,Elmm,2028-05-01,,,x\n")
    command = ["plan", str(blocks), "--budget", "150000", "--years", "3", "--start", "2028", "--out", str(out),
               "--season-seconds", "0"]
    assert main([*command, "--normals", str(given / "normals.csv"), "--no-work", str(given / "shut.csv")]) == 0
    told = capsys.readouterr().err
    assert "deg F" in told and "Elmm" in told and "warn" not in told.split("Elmm")[0].split("\n")[-1]
    tasks = pd.read_csv(out / "tasks.csv", parse_dates=["start", "finish", "opens"])
    elm = tasks[tasks["block_id"] != "B01"]  # every block but one is on Elm
    assert len(elm) and not elm["start"].between("2028-05-01", "2028-07-31").any()
    for name in ("campaigns", "campaign_choices", "season_blocks", "crew_loads"):
        assert len(pd.read_csv(out / f"{name}.csv")), name
    assert openpyxl.load_workbook(out / "season.xlsx").sheetnames[0] == "Weeks"
    assert not (out / "breaks.csv").exists() and not (out / "progress.csv").exists()

    first = tasks[tasks["task"] == "mark"].iloc[0]
    (given / "done.csv").write_text(f"task_id,started,finished\n{first['task_id']},2028-04-17,2028-04-18\n")
    assert main([*command, "--actual", str(given / "done.csv"), "--today", "2028-05-02"]) == 0
    again = pd.read_csv(out / "tasks.csv", parse_dates=["start"]).set_index("task_id")
    assert again.loc[first["task_id"], "start"] == pd.Timestamp("2028-04-17")
    assert (again.drop([first["task_id"], first["block_id"] + "/notice"])["start"] >= "2028-05-02").all()
    assert (pd.read_csv(out / "progress.csv").set_index("task_id").loc[first["task_id"], "state"]) == "done"


def test_a_season_that_cannot_be(blocks: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    command = ["plan", str(blocks), "--budget", "150000", "--years", "3", "--start", "2028", "--out", str(tmp_path / "out")]
    assert main([*command, "--season-year", "2040"]) == 2
    assert "no work in 2040" in capsys.readouterr().err
    days = pd.date_range("2028-01-01", "2028-12-31")
    bare = pd.DataFrame({"date": days.strftime("%m-%d"), "tmin": 40, "tmax": 60})
    bare[days.month != 7].to_csv(tmp_path / "normals.csv", index=False)
    assert main([*command, "--normals", str(tmp_path / "normals.csv")]) == 2
    assert "July" in capsys.readouterr().err
