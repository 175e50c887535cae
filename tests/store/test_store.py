"""The database: what is stored reads back the same, nobody's work is lost unseen, and every change is told."""

from __future__ import annotations

import shutil
import sqlite3
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import Connection, Engine, delete, event, func, insert, inspect, select, text, update
from sqlalchemy.exc import IntegrityError

from rehab import store
from rehab.base import tables
from rehab.base.settings import Assumptions, Forced, Override, Scenario
from rehab.base.tables import WORK
from rehab.inputs import assumptions as reader
from rehab.store import database, packing, schema

WHEN = datetime(2026, 11, 25, 9, 30, 15, 123456, tzinfo=UTC)
ODD = "Žižkov «1» ' \" ; DROP TABLE projects; -- \\ % 🛣️ =1+1 <b>"
PROGRAM = tables.with_types("program", pd.DataFrame({
    "block_id": ["B001", ODD], "year": [2027, 2031], "strategy": ["full_depth", "partial_depth"],
    "cost_usd": [0.1 + 0.2, 1_234_567.89], "benefit": [1e-9, -3.5]}))


@pytest.fixture(scope="session")
def city(blocks: Callable[..., pd.DataFrame]) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Three blocks with all that is hard to keep: missing, empty and odd text, three-valued flags, days."""
    streets = blocks(
        {"street": "", "dowelled": True, "surveyed_on": "2026-06-01", "panels_broken": 3, "adt": 0.1 + 0.2, "row": 2},
        {"street": "NA", "dowelled": False, "surveyed_on": None, "condition_word": "a\r\nb, \"c\"\t", "row": 3},
        {"street": None, "dowelled": None, "surveyed_on": "1849-12-31", "panels_broken": None, "row": None},
        {"block_id": ODD, "street": "null", "width_ft": 33.333333333333336, "condition_index": 5e-324, "row": 5})
    defects = tables.with_types("defects", pd.DataFrame({
        "block_id": ["B001", "B001"], "panel_row": [1, 1], "panel_column": [2, 2], "defect": "patch",
        "severity": ["low", "high"], "x_ft": [None, 1.5]}))
    lines = pd.DataFrame({"block_id": ["B001"], "line": ["LINESTRING (-93.1234567 44.1, -93.2 44.1000001)"]})
    return streets, defects, tables.with_types("geometry", lines)


@pytest.fixture(scope="session")
def stored(tmp_path_factory: pytest.TempPathFactory, city: tuple[pd.DataFrame, ...]) -> Path:
    """A file with one project, version 1 of "Teasel Bend", to begin from."""
    path = tmp_path_factory.mktemp("stored") / "rehab.db"
    opened = store.connect(f"sqlite:///{path}")
    assert store.save_project(opened, "Teasel Bend", *city, who="Ann", when=WHEN).id == 1
    opened.dispose()
    return path


@pytest.fixture
def url(tmp_path: Path) -> str:
    return f"sqlite:///{tmp_path / 'city' / 'rehab.db'}"


@pytest.fixture
def engine(url: str, request: pytest.FixtureRequest) -> Iterator[Engine]:
    """A new file; for a test that asks for ``project_id``, one with that project."""
    if "project_id" in request.fixturenames:
        path = Path(url.removeprefix("sqlite:///"))
        path.parent.mkdir()
        shutil.copy(request.getfixturevalue("stored"), path)
    opened = store.connect(url)
    yield opened
    opened.dispose()


@pytest.fixture
def project_id(engine: Engine) -> int:
    return store.projects(engine)[0].id


def overview_of(*block_ids: str) -> pd.DataFrame:
    """Rows that obey the schema: every required column filled."""
    filled: dict[str, Any] = {}
    for item in tables.fields("overview"):
        if item.required:
            filled[item.name] = item.choices[0] if item.choices else {"text": "x", "flag": True}.get(item.kind, 0.25)
    return tables.with_types("overview", pd.DataFrame([{**filled, "block_id": name} for name in block_ids]))


def details(engine: Engine, project_id: int) -> list[str]:
    return store.audit(engine, project_id)["detail"].tolist()


# opening and migrations

def test_a_new_file_is_made_with_its_folder_and_settings(engine: Engine) -> None:
    with engine.connect() as connection:
        pragmas = {name: connection.exec_driver_sql(f"PRAGMA {name}").scalar_one()
                   for name in ("foreign_keys", "journal_mode", "busy_timeout")}
    assert pragmas == {"foreign_keys": 1, "journal_mode": "wal", "busy_timeout": 30_000}


def shape(engine: Engine) -> dict[str, dict[str, str]]:
    found = inspect(engine)
    return {table: {column["name"]: str(column["type"]) for column in found.get_columns(table)}
            for table in found.get_table_names()}


def test_migration_of_an_empty_file_is_done_once(url: str, engine: Engine, project_id: int) -> None:
    before = shape(engine)
    assert set(before) == set(schema.metadata.tables)
    for _ in range(2):
        again = store.connect(url)
        assert shape(again) == before
        assert [item.name for item in store.projects(again)] == ["Teasel Bend"]
        with again.connect() as connection:
            assert connection.execute(select(schema.schema_version.c.version)).scalars().all() == [1, 2]
        again.dispose()


def test_later_migrations_run_in_order_and_all_or_none(engine: Engine, project_id: int) -> None:
    def second(connection: Connection) -> None:
        connection.execute(text("ALTER TABLE projects ADD COLUMN remark TEXT"))

    def broken(connection: Connection) -> None:
        connection.execute(text("ALTER TABLE projects ADD COLUMN other TEXT"))
        raise RuntimeError("in the middle")

    with pytest.raises(RuntimeError, match="middle"):
        database.migrate(engine, [*database.MIGRATIONS, second, broken])
    assert set(shape(engine)["projects"]) == {"id", "name"}
    for _ in range(2):
        database.migrate(engine, [*database.MIGRATIONS, second])
    assert set(shape(engine)["projects"]) == {"id", "name", "remark"}
    with engine.connect() as connection:
        assert connection.execute(select(func.max(schema.schema_version.c.version))).scalar_one() == 3
    with pytest.raises(store.StoreError, match="newer program"):
        database.migrate(engine)


def test_a_database_of_a_newer_program_is_refused(url: str, engine: Engine) -> None:
    with database.writing(engine) as connection:
        connection.execute(insert(schema.schema_version).values(version=99, applied_on=WHEN))
    with pytest.raises(store.StoreError, match=r"version 99, this program knows up to 2.*update the program"):
        store.connect(url)


def test_a_database_of_another_program_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "other.db"
    with sqlite3.connect(path) as other:
        other.execute("CREATE TABLE projects (code TEXT)")
    other.close()
    with pytest.raises(store.StoreError, match="'projects' of another program"):
        store.connect(f"sqlite:///{path}")


@pytest.mark.parametrize(("address", "message"), [
    ("sqlite://", "in memory"), ("sqlite:///:memory:", "in memory"), ("nonsense", "cannot be used"),
    ("nosuchdatabase://x/y", "cannot be used")])
def test_an_address_that_cannot_be_used(address: str, message: str) -> None:
    with pytest.raises(store.StoreError, match=message):
        store.connect(address)


def test_a_file_of_another_kind_and_a_folder_that_cannot_be(tmp_path: Path) -> None:
    (tmp_path / "table.csv").write_text("block_id,length_ft\n" * 500, encoding="utf-8")
    with pytest.raises(store.StoreError, match="not a database"):
        store.connect(f"sqlite:///{tmp_path / 'table.csv'}")
    with pytest.raises(store.StoreError, match="folder of the database"):
        store.connect(f"sqlite:///{tmp_path / 'table.csv' / 'x.db'}")
    with pytest.raises(store.StoreError, match="cannot be opened"):
        store.connect(f"sqlite:///{tmp_path}")


def test_several_programs_may_make_the_same_file_at_once(tmp_path: Path) -> None:
    at_once = threading.Barrier(4)

    def make(_: int) -> list[int]:
        versions = []
        for number in range(15):
            at_once.wait()
            opened = store.connect(f"sqlite:///{tmp_path / f'{number}.db'}")
            with opened.connect() as connection:
                versions += connection.execute(select(schema.schema_version.c.version)).scalars().all()
            opened.dispose()
        return versions

    with ThreadPoolExecutor(4) as pool:
        assert list(pool.map(make, range(4))) == [[1, 2] * 15] * 4


def test_a_file_that_is_locked_for_a_moment_is_opened_after_it(tmp_path: Path) -> None:
    other = sqlite3.connect(tmp_path / "x.db", isolation_level=None, check_same_thread=False)
    other.execute("BEGIN EXCLUSIVE")
    release = threading.Timer(0.6, lambda: other.execute("ROLLBACK"))
    release.start()
    store.connect(f"sqlite:///{tmp_path / 'x.db'}").dispose()
    release.join()
    other.close()


# projects

def test_a_project_reads_back_cell_for_cell(engine: Engine, project_id: int, city: tuple[pd.DataFrame, ...]) -> None:
    for was, now, table in zip(city, store.load_project(engine, project_id), ("blocks", "defects", "geometry"),
                               strict=True):
        pd.testing.assert_frame_equal(now, tables.with_types(table, was), check_exact=True)


def test_missing_empty_and_na_stay_apart(engine: Engine, project_id: int) -> None:
    blocks, _, _ = store.load_project(engine, project_id)
    assert blocks["street"].isna().tolist() == [False, False, True, False]
    assert blocks["street"].dropna().tolist() == ["", "NA", "null"]
    assert [None if flag is pd.NA else bool(flag) for flag in blocks["dowelled"]] == [True, False, None, False]


def test_empty_tables_and_any_index(engine: Engine, city: tuple[pd.DataFrame, ...]) -> None:
    empty = [tables.empty(name) for name in ("blocks", "defects", "geometry")]
    saved = store.save_project(engine, "empty", empty[0], empty[1], empty[2], "Ann")
    for was, now in zip(empty, store.load_project(engine, saved.id), strict=True):
        pd.testing.assert_frame_equal(now, was, check_index_type=False)
    before = city[0].iloc[::-1]
    store.save_project(engine, "empty", before, city[1], city[2], "Ann")
    pd.testing.assert_frame_equal(store.load_project(engine, saved.id)[0], before.reset_index(drop=True))


def test_every_version_of_a_project_is_kept(engine: Engine, project_id: int, city: tuple[pd.DataFrame, ...]) -> None:
    blocks, defects, lines = city
    changed = blocks.assign(thickness_in=[9.0, 8.0, 8.0, 8.0], row=[7.0, 8.0, 9.0, 10.0]).iloc[[0, 2, 3]]
    later = WHEN + timedelta(days=365)
    saved = store.save_project(engine, "Teasel Bend", changed, defects.iloc[:1], lines, "Bo", later)
    assert saved == store.Project(project_id, "Teasel Bend", 2, "Bo", later)
    assert store.projects(engine) == [saved]
    pd.testing.assert_frame_equal(store.load_project(engine, project_id)[0], changed.reset_index(drop=True))
    pd.testing.assert_frame_equal(store.load_project(engine, project_id, version=1)[0], blocks)
    assert details(engine, project_id) == [
        "created project 'Teasel Bend'; blocks: 4 rows; defects: 2 rows; geometry: 1 rows",
        "blocks: 1 removed, 1 changed (3 rows); defects: 1 changed (1 rows)"]


def test_order_and_place_in_the_file_are_no_change(engine: Engine, project_id: int, city: Any) -> None:
    turned = [frame.iloc[::-1] for frame in city]
    store.save_project(engine, "Teasel Bend", turned[0].assign(row=[9.0, 8.0, 7.0, 6.0]), *turned[1:], who="Bo")
    more = pd.concat([city[1], city[1].iloc[:1], city[1].iloc[:1].assign(panel_row=3.0)])
    store.save_project(engine, "Teasel Bend", city[0].iloc[1:].assign(street="x"), more, city[2], who="Bo")
    assert details(engine, project_id)[1:] == [
        "no change", "blocks: 1 removed, 3 changed (3 rows); defects: 1 added, 1 changed (4 rows)"]


def test_projects_are_listed_by_name(engine: Engine, project_id: int, city: Any) -> None:
    for name in ("Alder Falls", ODD):
        store.save_project(engine, name, *city, who="Ann")
    assert [item.name for item in store.projects(engine)] == sorted(["Alder Falls", "Teasel Bend", ODD])


def test_a_table_that_breaks_its_schema_is_not_stored(engine: Engine, city: tuple[pd.DataFrame, ...]) -> None:
    twice = pd.concat([city[0], city[0]])
    with pytest.raises(Exception, match="block_id"):
        store.save_project(engine, "twice", twice, city[1], city[2], "Ann")
    assert store.projects(engine) == []


def test_a_damaged_table_is_noticed(engine: Engine, project_id: int) -> None:
    with database.writing(engine) as connection:
        content = packing.pack("geometry", tables.empty("geometry"))["content"]
        connection.execute(update(schema.project_tables).values(content=content))
    with pytest.raises(store.StoreError, match="damaged"):
        store.load_project(engine, project_id)


@pytest.mark.parametrize(("name", "message"), [
    ("x" * 10_000, "10,000 characters .* at most 200"), ("", "is empty"), ("  ", "is empty"), (" x", "space"),
    ("a\nb", "line end"), ("a\x00b", "control"), ("\ud800", "control")])
def test_names_that_cannot_be_kept(engine: Engine, project_id: int, city: Any, name: str, message: str) -> None:
    attempts: list[Callable[[], object]] = [
        lambda: store.save_project(engine, name, *city, who="Ann"),
        lambda: store.save_project(engine, "x", *city, who=name),
        lambda: store.save_scenario(engine, project_id, Scenario(name), "Ann", None),
        lambda: store.save_scenario(engine, project_id, Scenario("x"), name, None),
        lambda: store.save_city_values(engine, project_id, "markups", name, "1", "Ann"),
        lambda: store.publish(engine, project_id, name, {}, PROGRAM, overview_of("B001"), "Ann"),
    ]
    for attempt in attempts:
        with pytest.raises(store.StoreError, match=message):
            attempt()
    assert len(store.audit(engine, project_id)) == 1


def test_odd_names_and_the_longest_are_kept(engine: Engine, city: Any) -> None:
    for name in (ODD, "道" * 200, "👩‍🔧"):
        saved = store.save_project(engine, name, *city, who=name)
        store.save_scenario(engine, saved.id, Scenario(name), name, None)
        assert store.load_scenario(engine, saved.id, name).scenario.name == name
        assert store.audit(engine, saved.id)["who"].tolist() == [name, name]


def test_times_are_utc_and_need_a_zone(engine: Engine, city: Any) -> None:
    chicago = timezone(timedelta(hours=-6))
    saved = store.save_project(engine, "x", *city, who="Ann", when=WHEN.astimezone(chicago))
    assert store.projects(engine)[0].saved_on == saved.saved_on == WHEN
    assert store.projects(engine)[0].saved_on.utcoffset() == timedelta(0)
    with pytest.raises(store.StoreError, match="time zone"):
        store.save_project(engine, "x", *city, who="Ann", when=datetime(2026, 11, 25))
    before = datetime.now(UTC)
    assert before <= store.save_project(engine, "x", *city, who="Ann").saved_on <= datetime.now(UTC)


def test_what_does_not_exist_is_said(engine: Engine, project_id: int) -> None:
    attempts: list[Callable[[], object]] = [
        lambda: store.load_project(engine, 77), lambda: store.scenarios(engine, 77), lambda: store.audit(engine, 77),
        lambda: store.save_scenario(engine, 77, Scenario(), "Ann", None), lambda: store.city_values(engine, 77),
        lambda: store.published(engine, 77), lambda: store.publish(engine, 77, "x", {}, PROGRAM, overview_of(), "Ann"),
    ]
    for attempt in attempts:
        with pytest.raises(store.StoreError, match="no project 77"):
            attempt()
    with pytest.raises(store.StoreError, match="no version 9"):
        store.load_project(engine, project_id, version=9)
    with pytest.raises(store.StoreError, match="no scenario 'x'"):
        store.load_scenario(engine, project_id, "x")
    with pytest.raises(store.StoreError, match="no published program 5"):
        store.load_published(engine, 5)


def test_foreign_keys_are_enforced(engine: Engine, project_id: int) -> None:
    with pytest.raises(IntegrityError), database.writing(engine) as connection:
        connection.execute(insert(schema.audit).values(project_id=99, saved_on=WHEN, who="x", what="x", changes="[]"))
    with pytest.raises(IntegrityError), database.writing(engine) as connection:
        connection.execute(delete(schema.projects))
    assert len(store.projects(engine)) == 1


# scenarios

def test_versions_of_a_scenario(engine: Engine, project_id: int) -> None:
    first = store.save_scenario(engine, project_id, Scenario(), "Ann", None, WHEN)
    assert first == store.Saved(1, "Ann", WHEN, Scenario())
    richer = Scenario().with_budget(5e6)
    second = store.save_scenario(engine, project_id, richer, "Bo", 1, WHEN)
    other = store.save_scenario(engine, project_id, Scenario("a"), "Ann", None, WHEN)
    assert store.scenarios(engine, project_id) == [other, second]
    assert store.scenario_history(engine, project_id, "current budget") == [first, second]
    assert store.load_scenario(engine, project_id, "current budget") == second
    assert store.load_scenario(engine, project_id, "current budget", version=1) == first


def test_scenarios_of_two_projects_do_not_meet(engine: Engine, project_id: int, city: Any) -> None:
    other = store.save_project(engine, "Alder Falls", *city, who="Ann").id
    store.save_scenario(engine, project_id, Scenario(), "Ann", None)
    store.save_scenario(engine, project_id, Scenario(start_year=2030), "Ann", 1)
    store.save_scenario(engine, other, Scenario(start_year=2040), "Ann", None)
    store.save_city_values(engine, other, "markups", "contingency", "0.2", "Ann")
    assert [item.scenario.start_year for item in store.scenarios(engine, project_id)] == [2030]
    assert [item.scenario.start_year for item in store.scenarios(engine, other)] == [2040]
    assert store.city_values(engine, project_id) == {}


def test_a_stale_change_is_refused_between_two_engines(url: str, engine: Engine, project_id: int) -> None:
    store.save_scenario(engine, project_id, Scenario(), "Ann", None, WHEN)
    other = store.connect(url)
    store.save_scenario(other, project_id, Scenario().with_budget(1e6), "Bo", 1, WHEN)
    with pytest.raises(store.Stale, match=r"Bo saved scenario 'current budget' as version 2 on 2026-11-25 09:30 UTC, "
                                          r"and this change began from version 1; nothing was stored") as caught:
        store.save_scenario(engine, project_id, Scenario().with_budget(2e6), "Ann", 1)
    assert (caught.value.who, caught.value.saved_on, caught.value.version) == ("Bo", WHEN, 2)
    with pytest.raises(store.Stale, match="new scenario"):
        store.save_scenario(engine, project_id, Scenario(), "Ann", None)
    assert store.save_scenario(engine, project_id, Scenario().with_budget(2e6), "Ann", 2).version == 3
    assert store.load_scenario(other, project_id, "current budget").version == 3
    other.dispose()


def test_a_version_that_was_never_there(engine: Engine, project_id: int) -> None:
    with pytest.raises(store.StoreError, match="as a new one"):
        store.save_scenario(engine, project_id, Scenario(), "Ann", 4)


def test_of_many_writers_from_one_version_just_one_wins(url: str, engine: Engine, project_id: int) -> None:
    store.save_scenario(engine, project_id, Scenario(), "Ann", None)
    engines = [engine, store.connect(url)]
    at_once = threading.Barrier(8)

    def save(number: int) -> str:
        at_once.wait()
        try:
            changed = Scenario().with_budget(1e6 + number)
            store.save_scenario(engines[number % 2], project_id, changed, f"w{number}", 1)
        except store.Stale as stale:
            return stale.who
        return "stored"

    with ThreadPoolExecutor(8) as pool:
        ends = list(pool.map(save, range(8)))
    winner = f"w{ends.index('stored')}"
    assert sorted(ends) == sorted(["stored"] + [winner] * 7)
    assert [item.who for item in store.scenario_history(engine, project_id, "current budget")] == ["Ann", winner]
    engines[1].dispose()


def test_many_writers_who_try_again_all_get_in(engine: Engine, project_id: int) -> None:
    store.save_scenario(engine, project_id, Scenario(), "Ann", None)

    def add(number: int) -> None:
        while True:
            newest = store.load_scenario(engine, project_id, "current budget")
            changed = replace(newest.scenario, kept_out=(*newest.scenario.kept_out, f"B{number}"))
            try:
                store.save_scenario(engine, project_id, changed, f"w{number}", newest.version)
            except store.Stale:
                continue
            return

    with ThreadPoolExecutor(6) as pool:
        list(pool.map(add, range(18)))
    newest = store.load_scenario(engine, project_id, "current budget")
    assert newest.version == 19
    assert set(newest.scenario.kept_out) == {f"B{number}" for number in range(18)}
    assert len(store.audit(engine, project_id)) == 20


def test_a_failed_save_leaves_nothing_behind(engine: Engine, project_id: int) -> None:
    @event.listens_for(engine, "before_cursor_execute")
    def fail(connection: Any, cursor: Any, statement: str, *rest: Any) -> None:
        if statement.startswith("INSERT INTO audit"):
            raise RuntimeError("the disk is full")

    with pytest.raises(RuntimeError, match="disk"):
        store.save_scenario(engine, project_id, Scenario(), "Ann", None)
    event.remove(engine, "before_cursor_execute", fail)
    assert store.scenarios(engine, project_id) == []
    assert store.save_scenario(engine, project_id, Scenario(), "Ann", None).version == 1


TEXT = st.text(min_size=1, max_size=20)


@st.composite
def scenarios_of_any_kind(draw: st.DrawFn) -> Scenario:
    start, budgets = draw(st.integers(1900, 2100)), draw(st.lists(st.floats(0, 1e12), min_size=1, max_size=12))
    blocks = draw(st.lists(TEXT, unique=True, max_size=6))
    split = draw(st.integers(0, len(blocks)))
    year = st.integers(start, start + len(budgets) - 1)
    named = st.builds(Override, TEXT, st.sampled_from(tables.STRATEGIES), TEXT.filter(str.strip))
    return Scenario(
        "any", start, tuple(budgets), draw(st.sampled_from(["best", "worst first", "no work"])),
        tuple(draw(st.lists(named, max_size=4))),
        tuple(Forced(block, draw(year), draw(st.none() | st.sampled_from(WORK))) for block in blocks[:split]),
        tuple(blocks[split:]))


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(scenario=scenarios_of_any_kind())
def test_any_scenario_reads_back_and_every_change_is_told(engine: Engine, project_id: int, scenario: Scenario) -> None:
    history = store.scenario_history(engine, project_id, "any")
    saved = store.save_scenario(engine, project_id, scenario, "Ann", len(history) or None)
    loaded = store.load_scenario(engine, project_id, "any")
    assert loaded == saved
    assert loaded.scenario == scenario
    assert loaded.scenario.fingerprint() == scenario.fingerprint()
    told = details(engine, project_id)[-1]
    assert (told == "no change") == (bool(history) and history[-1].scenario == scenario)


# the audit trail

def test_the_trail_says_what_changed_and_why(engine: Engine, project_id: int) -> None:
    first = Scenario("plan", 2027, (4e6, 4e6, 4e6), overrides=(Override("B001", "full_depth", "new trench"),))
    second = replace(
        first, budgets_usd=(4e6, 3_500_000.25, 4e6), choice="worst first", forced=(Forced("B002", 2028, None),),
        overrides=(Override("B001", "reconstruction", "heavy trucks"), Override(ODD, "none", "sold; = 'gone'")),
        kept_out=("B003",))
    third = replace(second, overrides=second.overrides[1:], forced=(Forced("B002", 2029, "full_depth"),), kept_out=(),
                    budgets_usd=(4e6, 3_500_000.25, 4e6, 1e6))
    fourth = replace(third, forced=(), choice="best").with_budget(2e6)
    fifth = fourth.with_budget(3e6)
    later = replace(fifth, start_year=2028)
    for version, scenario in enumerate([first, second, third, fourth, fifth, later, later]):
        store.save_scenario(engine, project_id, scenario, "Bo" if version % 2 else "Ann", version or None,
                            WHEN + timedelta(hours=version))
    trail = store.audit(engine, project_id)
    assert trail.columns.tolist() == ["when", "who", "what", "detail"]
    assert trail["when"].tolist() == [WHEN, *(WHEN + timedelta(hours=hour) for hour in range(7))]
    assert trail["who"].tolist() == ["Ann", "Ann", "Bo", "Ann", "Bo", "Ann", "Bo", "Ann"]
    assert trail["what"].tolist() == ["project version 1", *(f"scenario 'plan' version {n}" for n in range(1, 8))]
    assert trail["detail"].tolist()[1:] == [
        "created: 3 years from 2027, choice 'best'; budget of every year 4,000,000 dollars; "
        "override of B001 added: full_depth (new trench)",
        "budget of 2028 changed: 4,000,000 dollars -> 3,500,000.25 dollars; choice 'best' -> 'worst first'; "
        f"override of {ODD} added: none (sold; = 'gone'); "
        "override of B001 changed: full_depth (new trench) -> reconstruction (heavy trucks); "
        "forced year of B002 added: 2028, the adequate strategy of the most benefit; B003 kept out",
        "budget of 2030 added: 1,000,000 dollars; "
        "override of B001 removed: reconstruction (heavy trucks); "
        "forced year of B002 changed: 2028, the adequate strategy of the most benefit -> 2029, full_depth; "
        "B003 no longer kept out",
        "budget of 2027 changed: 4,000,000 dollars -> 2,000,000 dollars; "
        "budget of 2028 changed: 3,500,000.25 dollars -> 2,000,000 dollars; "
        "budget of 2029 changed: 4,000,000 dollars -> 2,000,000 dollars; "
        "budget of 2030 changed: 1,000,000 dollars -> 2,000,000 dollars; choice 'worst first' -> 'best'; "
        "forced year of B002 removed: 2029, full_depth",
        "budget of every year 2,000,000 dollars -> 3,000,000 dollars",
        "budget of 2031 added: 3,000,000 dollars; budget of 2027 removed: 3,000,000 dollars; first year 2027 -> 2028",
        "no change"]


def test_a_trail_of_one_project_is_its_own(engine: Engine, project_id: int, city: Any) -> None:
    other = store.save_project(engine, "Alder Falls", *city, who="Bo").id
    assert store.audit(engine, project_id)["who"].tolist() == ["Ann"]
    assert store.audit(engine, other)["who"].tolist() == ["Bo"]
    assert str(store.audit(engine, other)["when"].dtype) == "datetime64[us, UTC]"


# city values

def test_city_values_are_set_changed_and_taken_back(engine: Engine, project_id: int, defaults: Assumptions) -> None:
    key = defaults.table("markups").index[0]
    for hour, (value, who) in enumerate([("0.12", "Ann"), ("0.14", "Bo"), ("0.14", "Cy")]):
        store.save_city_values(engine, project_id, "markups", key, value, who, WHEN + timedelta(hours=hour))
    store.save_city_values(engine, project_id, "curing", "odd ' key", ODD, "Ann", WHEN)
    assert store.city_values(engine, project_id) == {"markups": {key: "0.14"}, "curing": {"odd ' key": ODD}}
    table = store.city_values_table(engine, project_id)
    assert table.to_dict("records") == [
        {"table": "curing", "key": "odd ' key", "value": ODD, "who": "Ann", "when": WHEN},
        {"table": "markups", "key": key, "value": "0.14", "who": "Bo", "when": WHEN + timedelta(hours=1)}]
    for _ in range(2):
        store.save_city_values(engine, project_id, "markups", key, None, "Ann", WHEN)
    store.save_city_values(engine, project_id, "curing", "odd ' key", None, "Ann", WHEN)
    assert store.city_values(engine, project_id) == {}
    assert store.city_values_table(engine, project_id).dtypes.astype(str).tolist() == [
        "str", "str", "str", "str", "datetime64[us, UTC]"]
    assert details(engine, project_id)[1:] == [
        f"markups, {key}: default -> '0.12'", f"markups, {key}: '0.12' -> '0.14'",
        f"curing, odd ' key: default -> '{ODD}'", f"markups, {key}: '0.14' -> default",
        f"curing, odd ' key: '{ODD}' -> default"]


def test_city_values_lie_over_the_defaults(engine: Engine, project_id: int, defaults: Assumptions) -> None:
    row = defaults.table("economics").iloc[0]
    store.save_city_values(engine, project_id, "economics", str(row.name), row["high"], "Ann")
    laid = reader.overlay(defaults, store.city_values(engine, project_id))
    assert laid.number("economics", str(row.name)) == float(row["high"])


def test_a_price_keeps_its_own_range_and_note(engine: Engine, project_id: int, defaults: Assumptions) -> None:
    own = {"diamond_grinding": "20.00", "diamond_grinding low": "16.50", "diamond_grinding high": "30.00",
           "diamond_grinding note": "median of 5 bids"}
    for key, value in own.items():
        store.save_city_values(engine, project_id, "pay_items", key, value, "Ann")
    row = reader.overlay(defaults, store.city_values(engine, project_id)).table("pay_items").loc["diamond_grinding"]
    assert row[["value", "low", "high"]].tolist() == ["20.00", "16.50", "30.00"]
    assert row["note"] == "default 6, 2 to 14; median of 5 bids"


@pytest.mark.parametrize(("table", "value", "message"), [
    ("prices", "1", "no assumption table 'prices'"), ("markups", "", "is empty"), ("markups", "x" * 2001, "2,001")])
def test_city_values_that_cannot_be_kept(engine: Engine, project_id: int, table: str, value: str, message: str) -> None:
    with pytest.raises(store.StoreError, match=message):
        store.save_city_values(engine, project_id, table, "contingency", value, "Ann")


def test_a_project_keeps_its_city_values_and_scenarios_through_versions(engine: Engine, project_id: int,
                                                                        city: Any) -> None:
    store.save_city_values(engine, project_id, "markups", "contingency", "0.2", "Ann")
    store.save_scenario(engine, project_id, Scenario(), "Ann", None)
    assert store.save_project(engine, "Teasel Bend", *city, who="Ann").version == 2
    assert details(engine, project_id)[-1] == "no change"
    assert store.city_values(engine, project_id) == {"markups": {"contingency": "0.2"}}
    assert len(store.scenarios(engine, project_id)) == 1


# published programs

def test_a_published_program_is_kept_as_it_was(engine: Engine, project_id: int) -> None:
    overview = overview_of("B001", "B002", ODD)
    summary = {"status": "proven", "gap": 0.1 + 0.2, "years": [{"year": 2027, "spent_usd": 0.30000000000000004}],
               "note": ODD, "none": None}
    saved = store.publish(engine, project_id, ODD, summary, PROGRAM, overview, "Ann", WHEN)
    summary["status"] = "changed afterwards"
    loaded, program, of_all = store.load_published(engine, saved.id)
    assert loaded == saved == store.Published(saved.id, project_id, ODD, "Ann", WHEN, {**summary, "status": "proven"})
    assert store.published(engine, project_id) == [saved]
    pd.testing.assert_frame_equal(program, PROGRAM, check_exact=True)
    pd.testing.assert_frame_equal(of_all, overview, check_exact=True)
    assert program["cost_usd"].sum() == PROGRAM["cost_usd"].sum()
    trail = store.audit(engine, project_id).iloc[-1]
    assert (trail["what"], trail["detail"]) == (f"publication '{ODD}'", "published a program of 2 blocks out of 3")


def test_a_published_program_cannot_be_published_again(engine: Engine, project_id: int, city: Any) -> None:
    first = store.publish(engine, project_id, "Council 2027", {"n": 1}, PROGRAM, overview_of("B001"), "Ann", WHEN)
    with pytest.raises(store.StoreError, match=r"'Council 2027' was published by Ann on 2026-11-25 09:30 UTC and"):
        store.publish(engine, project_id, "Council 2027", {"n": 2}, PROGRAM.iloc[:1], overview_of("B001"), "Bo")
    loaded, program, _ = store.load_published(engine, first.id)
    assert (loaded.summary, len(program), len(store.audit(engine, project_id))) == ({"n": 1}, 2, 2)
    other = store.save_project(engine, "Alder Falls", *city, who="Ann").id
    again = store.publish(engine, other, "Council 2027", {}, PROGRAM, overview_of("B001"), "Ann")
    assert again.id != first.id


def test_a_published_program_that_was_tampered_with_is_noticed(engine: Engine, project_id: int) -> None:
    saved = store.publish(engine, project_id, "x", {"spent_usd": 1.0}, PROGRAM, overview_of("B001"), "Ann")
    with database.writing(engine) as connection:
        connection.execute(update(schema.publications).values(summary='{"spent_usd": 2.0}'))
    for attempt in (lambda: store.load_published(engine, saved.id), lambda: store.published(engine, project_id)):
        with pytest.raises(store.StoreError, match="summary of 'x' is damaged"):
            attempt()


@pytest.mark.parametrize("summary", [{"gap": float("nan")}, {"when": WHEN}, {"years": [{2027: 1.0}]}, {"x": {1, 2}}])
def test_a_summary_that_would_not_read_back(engine: Engine, project_id: int, summary: dict[str, Any]) -> None:
    with pytest.raises(store.StoreError, match="summary"):
        store.publish(engine, project_id, "x", summary, PROGRAM, overview_of("B001"), "Ann")
    assert store.published(engine, project_id) == []


def test_a_table_with_a_column_of_another_program_version(monkeypatch: pytest.MonkeyPatch) -> None:
    packed: Any = packing.pack("program", PROGRAM)
    older = tuple(item for item in tables.fields("program") if item.name != "benefit")
    newer = (*tables.fields("program"), tables.Field("remark", "text", "Remark"))
    monkeypatch.setitem(tables.TABLES, "program", newer)
    assert packing.unpack(packed)["remark"].isna().all()
    monkeypatch.setitem(tables.TABLES, "program", older)
    with pytest.raises(store.StoreError, match="column 'benefit' that this program does not know"):
        packing.unpack(packed)


# any table

def cells(item: tables.Field) -> st.SearchStrategy[Any]:
    """Values that a column accepts, missing where it may be."""
    low, high = item.low, item.high
    kinds: dict[str, st.SearchStrategy[Any]] = {
        "text": st.text(max_size=12), "choice": st.sampled_from(item.choices or ("",)), "flag": st.booleans(),
        "number": st.floats(low, high, allow_nan=False, allow_infinity=False),
        "whole": st.integers(int(low or 0), int(high or 10**6)).map(float), "key": st.integers(1850, 2150),
        "date": st.datetimes(datetime(1850, 1, 1), datetime(2150, 1, 1))}
    return kinds[item.kind] if item.required else st.none() | kinds[item.kind]


@settings(max_examples=25, deadline=None)
@given(data=st.data(), table=st.sampled_from(["blocks", "defects", "geometry", "program", "overview"]))
def test_any_table_packs_and_unpacks(data: st.DataObject, table: str) -> None:
    rows = data.draw(st.integers(0, 3))
    columns = {item.name: data.draw(st.lists(cells(item), min_size=rows, max_size=rows))
               for item in tables.fields(table)}
    columns["block_id"] = [f"{number}{data.draw(st.text(max_size=5))}" for number in range(rows)]
    frame = tables.with_types(table, pd.DataFrame(columns, index=range(rows)))
    packed: Any = packing.pack(table, frame)
    pd.testing.assert_frame_equal(packing.unpack(packed), frame, check_exact=True)


def test_a_database_from_before_the_seasons_gets_their_table(url: str, engine: Engine, project_id: int) -> None:
    with database.writing(engine) as connection:
        connection.execute(text("DROP TABLE season_tables"))
        connection.execute(text("DELETE FROM schema_version WHERE version = 2"))
    again = store.connect(url)
    assert "season_tables" in shape(again) and store.load_season(again, project_id) == {}
    again.dispose()


def test_the_tables_of_a_season_are_kept_by_year_in_their_newest_form(engine: Engine, project_id: int) -> None:
    moves = tables.with_types("moves", pd.DataFrame({"task_id": ["B1/patch"], "start": [pd.Timestamp("2027-05-03")]}))
    shut = tables.with_types("no_work", pd.DataFrame({
        "scope": ["city"], "name": [None], "first_day": [pd.Timestamp("2027-07-01")],
        "last_day": [pd.Timestamp("2027-07-09")], "weekdays": ["Mon Tue"], "reason": ["fair"], "row": [2.0]}))
    for _ in range(2):  # the same once more is not stored again
        store.save_season(engine, project_id, 2027, "moves", moves, "Ada")
        store.save_season(engine, project_id, 0, "no_work", shut, "Ada")
    found = store.load_season(engine, project_id)
    assert set(found) == {(2027, "moves"), (0, "no_work")}
    pd.testing.assert_frame_equal(found[2027, "moves"], moves)
    pd.testing.assert_frame_equal(found[0, "no_work"], shut)
    later = moves.assign(start=pd.Timestamp("2027-05-10"))
    store.save_season(engine, project_id, 2027, "moves", later, "Bea")
    store.save_season(engine, project_id, 0, "no_work", tables.empty("no_work"), "Bea")
    found = store.load_season(engine, project_id)
    assert set(found) == {(2027, "moves")} and found[2027, "moves"]["start"].iloc[0] == pd.Timestamp("2027-05-10")
    trail = store.audit(engine, project_id)
    assert trail["detail"].tolist()[-4:] == ["moves of 2027: 1 rows", "no work: 1 rows", "moves of 2027: 1 rows",
                                             "no work: 0 rows"]


def test_a_weather_forecast_is_kept_for_all_years_until_it_is_given_up(engine: Engine, project_id: int) -> None:
    told = tables.with_types("weather_forecast", pd.DataFrame({
        "date": pd.to_datetime(["2027-06-14", "2027-06-15"]), "tmin_f": [51.0, 48.5], "tmax_f": [75.0, 70.1],
        "tmean_f": [None, 60.0]}))
    store.save_season(engine, project_id, 0, "weather_forecast", told, "Ada")
    pd.testing.assert_frame_equal(store.load_season(engine, project_id)[0, "weather_forecast"], told)
    store.save_season(engine, project_id, 0, "weather_forecast", tables.empty("weather_forecast"), "Ada")
    assert store.load_season(engine, project_id) == {}
    with pytest.raises(store.StoreError, match="is no table of one season"):
        store.save_season(engine, project_id, 2027, "weather_forecast", told, "Ada")


@pytest.mark.parametrize(("year", "table"), [(0, "moves"), (2027, "normals"), (0, "blocks")])
def test_a_table_that_is_none_of_a_season_is_refused(engine: Engine, project_id: int, year: int, table: str) -> None:
    with pytest.raises(store.StoreError, match="is no table of"):
        store.save_season(engine, project_id, year, table, tables.empty(table), "Ada")
