"""The council brief on the screen, run without a browser: every page, the street finder, hostile names."""

from __future__ import annotations

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

APP = Path(__file__).parents[2] / "pages" / "navigation.py"
NASTY = b"""block_id,length_ft,width_ft,panels_broken,panels_cracked,street,from_street,district
A,300,36,4,30,<img src=x onerror=alert(1)>,$x_1$ St,Ward *1*
B,300,36,9,40,Oak & Elm <b>St</b>,3rd Ave,Ward *1*
C,300,36,0,0,Quiet Ln,4th Ave,
"""

# Third parties warn of their own changes to come while the screens run.
pytestmark = pytest.mark.filterwarnings("ignore")


def words(app: AppTest) -> str:
    parts = [*app.title, *app.header, *app.subheader, *app.markdown, *app.info, *app.warning, *app.error, *app.caption]
    return " ".join(str(part.value) for part in parts).replace("\\", "")  # escapes are not shown


def opened(table: bytes = b"") -> AppTest:
    app = AppTest.from_file(str(APP), default_timeout=120).run()
    if table:
        app.file_uploader(key="blocks_file").set_value(("own.csv", table, "text/csv")).run()
        next(button for button in app.button if button.label.startswith("Use these")).click().run()
    app.switch_page("brief.py").run()
    assert not app.exception
    return app


def test_every_question_of_the_demo_city_is_answered() -> None:
    app = opened()
    assert "invented city" in words(app) and "Nothing on this page changes the plan" in words(app)
    questions = app.radio(key="brief_page").options
    assert len(questions) >= 6
    for question in app.radio(key="brief_page").options:
        app.radio(key="brief_page").set_value(question.replace("\\", "")).run()
        assert not app.exception, question
        assert len(app.subheader) >= 1


def test_a_resident_finds_a_street_and_nothing_is_changed() -> None:
    app = opened()
    before = app.session_state["scenario"]
    app.text_input(key="brief_find").set_value("agate ave").run()
    said = words(app)
    assert not app.exception and "Agate Avenue" in said and "from " in said
    app.text_input(key="brief_find").set_value("no such street").run()
    assert "No street has 'no such street' in its name" in words(app)
    assert app.session_state["scenario"] == before


def test_names_are_shown_as_they_are_and_a_city_of_three_blocks_has_a_brief() -> None:
    app = opened(NASTY)
    app.text_input(key="brief_find").set_value("onerror").run()
    assert not app.exception
    told = [str(part.value) for part in app.markdown if "onerror" in str(part.value)]
    assert told and all(part.count("\\<img") == part.count("<img") for part in told)  # the sign is escaped
    assert all(part.count("\\$") == part.count("$") for part in told)  # no formula either
    for question in app.radio(key="brief_page").options:
        app.radio(key="brief_page").set_value(question.replace("\\", "")).run()
        assert not app.exception, question


def test_a_city_without_work_has_a_brief() -> None:
    app = opened(b"block_id,length_ft,width_ft,panels_broken,panels_cracked\nA,300,36,0,0\n")
    for question in app.radio(key="brief_page").options:
        app.radio(key="brief_page").set_value(question.replace("\\", "")).run()
        assert not app.exception, question
