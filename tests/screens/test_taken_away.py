"""The screens of what people take away: sheets, orders, what was measured, files."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

import openpyxl
import pytest
from streamlit.testing.v1 import AppTest

from pages import kept

APP = Path(__file__).parents[2] / "pages" / "navigation.py"
CITY = ("block_id,length_ft,width_ft,panels_broken,panels_cracked,spalled_joint_ft,street,district\n"
        + "".join(f"{name},300,36,{broken},10,90,Elm,North\n" for name, broken in (("A", 14), ("B", 9), ("C", 0)))).encode()

pytestmark = pytest.mark.filterwarnings("ignore")


def words(app: AppTest) -> str:
    parts = [*app.title, *app.subheader, *app.markdown, *app.info, *app.warning, *app.error, *app.caption, *app.success]
    return " ".join(str(part.value) for part in parts).replace("\\", "")


def press(app: AppTest, label: str) -> AppTest:
    return next(button for button in app.button if button.label.startswith(label)).click().run()


@pytest.fixture
def app() -> AppTest:
    """A small city of its own, on the work list."""
    started = AppTest.from_file(str(APP), default_timeout=120).run()
    started.file_uploader(key="blocks_file").set_value(("city.csv", CITY, "text/csv")).run()
    press(started, "Use these 3")
    return started.switch_page("worklist.py").run()


def test_sheets_are_made_when_they_are_asked_for_and_go_when_the_choice_changes(app: AppTest) -> None:
    assert not app.exception and "likely." in words(app)
    assert "sheets" not in app.session_state
    press(app, "Make the sheets")
    assert not app.exception
    _, book, sheets = app.session_state["sheets"]
    assert book.startswith(b"PK") and sheets.startswith(b"%PDF-")
    labels = [button.label for button in app.get("download_button")]
    assert any("workbook (XLSX)" in label for label in labels) and any("PDF, Letter" in label for label in labels)
    app.radio(key="paper").set_value("A4").run()
    assert not any("PDF, " in button.label for button in app.get("download_button"))


def test_orders_stand_by_week(app: AppTest) -> None:
    app.session_state["worklist_view"] = "Orders by week"
    app.run()
    assert not app.exception and {"Materials", "Equipment"} <= {part.value for part in app.subheader}
    week = app.selectbox(key="order_week")
    assert len(week.options) > 2 and week.options[0] == "Whole year"
    week.select_index(1).run()
    assert not app.exception


def test_what_was_measured_comes_back(app: AppTest) -> None:
    press(app, "Make the sheets")
    book = openpyxl.load_workbook(BytesIO(app.session_state["sheets"][1]))
    sheet = next(book[name] for name in book.sheetnames if name[:1].isdigit())
    head = next(cell for row in sheet.iter_rows() for cell in row if cell.value == "Actual quantity")
    rows = [row[0].row for row in sheet.iter_rows() if any(str(cell.value).startswith('["quantities"') for cell in row)]
    sheet.cell(rows[0], head.column, 77.5)
    sheet.cell(rows[1], head.column, "about 12")
    stream = BytesIO()
    book.save(stream)
    app.session_state["worklist_view"] = "What was measured"
    app.run()
    assert "Nothing measured yet" in words(app)
    app.file_uploader(key="measured_file_2027").set_value(("filled.xlsx", stream.getvalue(), "application/xlsx")).run()
    assert not app.exception
    assert "1 block measured: planned $" in words(app) and "If the rest turns out alike" in words(app)
    press(app, "Forget what was measured")
    assert "measured: planned" not in words(app)


def test_a_file_that_is_no_work_list_is_said(app: AppTest) -> None:
    app.session_state["worklist_view"] = "What was measured"
    app.run()
    app.file_uploader(key="measured_file_2027").set_value(("x.csv", b"a,b\n1,2\n", "text/csv")).run()
    assert not app.exception and "problems stop a row" in words(app)


def test_files_offer_everything_and_a_project_goes_round(app: AppTest, tmp_path: Path,
                                                         monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(kept.URL, f"sqlite:///{tmp_path / 'kept.db'}")
    app.switch_page("start.py").run()
    app.session_state["keeping"] = True
    app.run()
    app.text_input(key="who").set_value("Ada").run()
    press(app, "Keep")
    app.switch_page("files.py").run()
    assert not app.exception
    labels = [button.label for button in app.get("download_button")]
    for begin in ("GeoPackage", "Workbook of all tables", "All tables as CSV", "What every table", "Calendar of all",
                  "A calendar for each crew", "Project as one file"):
        assert any(label.startswith(begin) for label in labels), begin
    app.file_uploader(key="archive_file").set_value(("x.zip", b"not a zip", "application/zip")).run()
    app.text_input(key="archive_who").set_value("Bo").run()
    press(app, "Open it here")
    assert not app.exception and "The database answered" in words(app)


def test_a_longer_search_is_offered_once_and_keeps_the_better_program(app: AppTest) -> None:
    app.switch_page("program.py").run()
    before = max(made.chosen.value for made in app.session_state["shelf"].values())
    press(app, "Search longer")
    assert not app.exception and not any(button.label == "Search longer" for button in app.button)
    assert max(made.chosen.value for made in app.session_state["shelf"].values()) >= before
