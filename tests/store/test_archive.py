"""A project as one file: everything of it comes back equal in another database, and nothing of a damaged one."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile
from collections.abc import Callable, Iterator, Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import Engine, select, update

import rehab
from rehab import store
from rehab.base import tables
from rehab.base.settings import Forced, Override, Scenario
from rehab.store import database, schema
from rehab.store.archive import cells, layout, opening, restoring, writing

WHEN = datetime(2026, 11, 25, 9, 30, 15, 123456, tzinfo=UTC)
LATER = WHEN + timedelta(days=3)
ODD = "Žižkov «1» ' \" ; DROP TABLE projects; -- \\ % 🛣️ =1+1 <b>"


def frame(table: str, rows: list[dict[str, Any]]) -> pd.DataFrame:
    return tables.with_types(table, pd.DataFrame(rows))


def overview_of(*block_ids: str) -> pd.DataFrame:
    filled = {item.name: item.choices[0] if item.choices else {"text": "x", "flag": True}.get(item.kind, 0.1 + 0.2)
              for item in tables.fields("overview") if item.required}
    return frame("overview", [{**filled, "block_id": name} for name in block_ids])


def fill(engine: Engine, blocks: Callable[..., pd.DataFrame]) -> int:
    """A project with all that can be saved of one, twice over where versions are kept; its id."""
    streets = blocks(
        {"street": "", "dowelled": True, "surveyed_on": "2026-06-01", "panels_broken": 3, "adt": 0.1 + 0.2, "row": 2},
        {"street": "NA", "dowelled": False, "surveyed_on": None, "condition_word": "a\r\nb, \"c\"\t", "row": 3},
        {"street": None, "dowelled": None, "surveyed_on": "1849-12-31", "panels_broken": None, "row": None},
        {"block_id": ODD, "street": "12.50", "width_ft": 33.333333333333336, "condition_index": 5e-324, "row": 5})
    defects = frame("defects", [{"block_id": "B001", "panel_row": 1, "panel_column": 2, "defect": "patch", "x_ft": 1.5}])
    lines = frame("geometry", [{"block_id": "B001", "line": "LINESTRING (-93.1234567 44.1, -93.2 44.1000001)"}])
    known = store.save_project(engine, "Teasel Bend", streets, defects, lines, "Ann", WHEN).id
    store.save_project(engine, "Teasel Bend", streets.iloc[1:], defects, tables.empty("geometry"), ODD, LATER)
    first = Scenario("council", 2027, (1e6, 0.1 + 0.2), overrides=(Override(ODD, "none", "a, b"),),
                     forced=(Forced("B001", 2028, "reconstruction", 12345.67),), kept_out=("B002",))
    store.save_scenario(engine, known, first, "Ann", None, WHEN)
    store.save_scenario(engine, known, first.times(2), "Bo", 1, LATER)
    store.save_scenario(engine, known, Scenario(ODD), "Bo", None, LATER)
    for value in ("0.2", None, "0.25"):
        store.save_city_values(engine, known, "markups", "mobilisation", value, "Ann", WHEN)
    store.save_city_values(engine, known, "economics", "discount", "0.03", "Ann", WHEN)
    store.save_city_values(engine, known, "economics", "discount", None, "Bo", LATER)
    moves = frame("moves", [{"task_id": "B001/patch", "start": "2027-05-03"}])
    store.save_season(engine, known, 2027, "moves", moves, "Ann", WHEN)
    store.save_season(engine, known, 2027, "moves", moves.assign(start=pd.Timestamp("2027-05-10")), "Bo", LATER)
    store.save_season(engine, known, 0, "no_work", frame("no_work", [{
        "scope": "city", "first_day": "2027-07-01", "last_day": "2027-07-09", "reason": ODD}]), "Bo", LATER)
    program = frame("program", [{"block_id": ODD, "year": 2027, "strategy": "full_depth", "cost_usd": 1_234_567.89,
                                 "benefit": -1e-9}])
    for number, who in enumerate(("Ann", "Bo"), 1):
        store.publish(engine, known, f"Council {number}", {"note": ODD, "gap": 0.1 + 0.2, "none": None, "n": number},
                      program.iloc[: 2 - number], overview_of("B001", ODD), who, LATER)
    return known


@pytest.fixture(scope="session")
def made(tmp_path_factory: pytest.TempPathFactory, blocks: Callable[..., pd.DataFrame]) -> Iterator[tuple[Engine, int]]:
    engine = store.connect(f"sqlite:///{tmp_path_factory.mktemp('made') / 'rehab.db'}")
    store.save_project(engine, "Alder Falls", blocks({}), tables.empty("defects"), tables.empty("geometry"), "Cy")
    yield engine, fill(engine, blocks)
    engine.dispose()


@pytest.fixture(scope="session")
def content(made: tuple[Engine, int]) -> bytes:
    return store.archive(*made, when=LATER)


@pytest.fixture
def other(tmp_path: Path) -> Iterator[Engine]:
    """Another installation, with a project of its own."""
    engine = store.connect(f"sqlite:///{tmp_path / 'other.db'}")
    empty = [tables.empty(name) for name in ("blocks", "defects", "geometry")]
    store.save_project(engine, "Other", *empty, who="Di")
    yield engine
    engine.dispose()


def members(content: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(content)) as package:
        return {name: package.read(name) for name in package.namelist()}


def packed(held: Mapping[str, bytes], *, told: bool = True, **manifest: Any) -> bytes:
    """An archive of these members, its seal right; ``told``: with digests and rows to match."""
    said = {**json.loads(held[layout.MANIFEST]), **manifest}
    if told:
        rows = {member["name"]: member["rows"] for member in said["members"]}
        said["members"] = [{"name": name, "sha256": hashlib.sha256(data).hexdigest(), "bytes": len(data),
                            "rows": _rows(name, data, rows.get(name))}
                           for name, data in held.items() if name != layout.MANIFEST]
    return writing._zipped({**held, layout.MANIFEST: json.dumps(said).encode()})


def _rows(name: str, data: bytes, rows: int | None) -> int | None:
    try:
        return len(next(iter(cells.read(data).values()))) if name.endswith(".csv") else rows
    except ValueError:
        return rows


def everything(engine: Engine, project_id: int) -> dict[str, Any]:
    """All that can be asked of a project, but for ids that a database gives."""
    found: dict[str, Any] = {}
    project = next(item for item in store.projects(engine) if item.id == project_id)
    found["project"] = (project.version, project.who, project.saved_on)
    for version in range(1, project.version + 1):
        for name, table in zip(("blocks", "defects", "geometry"), store.load_project(engine, project_id, version),
                               strict=True):
            found[f"{name} {version}"] = table
    for saved in store.scenarios(engine, project_id):
        found[f"scenario {saved.scenario.name}"] = store.scenario_history(engine, project_id, saved.scenario.name)
    found["values"] = store.city_values(engine, project_id)
    found["values in force"] = store.city_values_table(engine, project_id)
    found |= {f"season {key}": table for key, table in store.load_season(engine, project_id).items()}
    for item in store.published(engine, project_id):
        loaded, program, overview = store.load_published(engine, item.id)
        found[f"published {item.name}"] = (loaded.who, loaded.saved_on, loaded.summary)
        found |= {f"program {item.name}": program, f"overview {item.name}": overview}
    found["trail"] = store.audit(engine, project_id)
    return found


def assert_equal(one: dict[str, Any], two: dict[str, Any]) -> None:
    assert one.keys() == two.keys()
    for key, value in one.items():
        if isinstance(value, pd.DataFrame):
            pd.testing.assert_frame_equal(two[key], value, check_exact=True, obj=key)
        else:
            assert two[key] == value, key


def stored(engine: Engine) -> dict[str, int]:
    """Rows of every table of the database."""
    with engine.connect() as connection:
        return {table.name: len(connection.execute(select(table)).all()) for table in schema.metadata.sorted_tables}


def refused(engine: Engine, content: bytes, message: str) -> None:
    before = stored(engine)
    with pytest.raises(store.StoreError, match=message):
        store.restore(engine, content, "Di")
    assert stored(engine) == before, "nothing was stored"


# back and forth

def test_everything_comes_back_equal_in_another_database(made: tuple[Engine, int], content: bytes, other: Engine) -> None:
    restored = store.restore(other, content, "Di", LATER + timedelta(hours=1))
    assert restored == store.Project(restored.id, "Teasel Bend", 2, ODD, LATER) and restored in store.projects(other)
    was, now = everything(*made), everything(other, restored.id)
    trail = now["trail"]
    assert trail.iloc[-1].to_dict() == {
        "when": pd.Timestamp(LATER + timedelta(hours=1)), "who": "Di", "what": "restored",
        "detail": f"from an archive of project 'Teasel Bend' made on 2026-11-28 09:30 UTC by version {rehab.__version__} "
                  "of the program"}
    now["trail"] = trail.iloc[:-1]
    assert_equal(was, now)
    assert len([key for key in was if key.startswith(("blocks", "scenario", "season", "published"))]) == 2 + 2 + 2 + 2


def test_what_is_stored_is_the_same_to_the_byte(made: tuple[Engine, int], content: bytes, other: Engine) -> None:
    restored = store.restore(other, content, "Di")
    for table in (schema.project_tables, schema.season_tables, schema.city_values, schema.scenario_versions):
        columns = [column for column in table.c if column.name not in ("id", "project_id")]
        rows = []
        for engine, known in ((made[0], made[1]), (other, restored.id)):
            with engine.connect() as connection:
                rows.append(connection.execute(select(*columns).where(table.c.project_id == known)).all())
        assert sorted(map(repr, rows[0])) == sorted(map(repr, rows[1])) and rows[0]


def test_an_archive_of_what_was_restored_is_the_same_but_for_the_trail(content: bytes, other: Engine) -> None:
    again = store.archive(other, store.restore(other, content, "Di", LATER).id, LATER)
    one, two = members(content), members(again)
    assert one.keys() == two.keys()
    assert {name for name in one if one[name] != two[name]} == {"audit.csv", layout.MANIFEST}


def test_the_same_content_gives_the_same_bytes(made: tuple[Engine, int], content: bytes) -> None:
    assert store.archive(*made, when=LATER) == content
    manifest = json.loads(members(content)[layout.MANIFEST])
    assert (manifest["project"], manifest["made_on"], manifest["last_change"]) == (
        "Teasel Bend", LATER.isoformat(), LATER.isoformat())
    assert (manifest["program_version"], manifest["schema_version"]) == (rehab.__version__, len(database.MIGRATIONS))
    assert store.archive(*made) != content, "made at another time"


def test_a_name_that_is_taken_asks_for_another(content: bytes, other: Engine) -> None:
    store.restore(other, content, "Di")
    refused(other, content, "there is a project 'Teasel Bend' in the database already; restore the archive under another")
    second = store.restore(other, content, "Di", name="Teasel Bend (2)")
    assert second.name == "Teasel Bend (2)"
    assert store.audit(other, second.id)["detail"].iloc[-1].endswith("of the program, under the name 'Teasel Bend (2)'")
    with pytest.raises(store.StoreError, match="begins or ends with a space"):
        store.restore(other, content, "Di", name=" x")
    with pytest.raises(store.StoreError, match="who restores is empty"):
        store.restore(other, content, " ")


def test_work_goes_on_in_a_restored_project(content: bytes, other: Engine, blocks: Callable[..., pd.DataFrame]) -> None:
    known = store.restore(other, content, "Di").id
    assert store.save_scenario(other, known, Scenario("council"), "Di", 2).version == 3
    store.save_city_values(other, known, "markups", "mobilisation", "0.3", "Di")
    assert store.audit(other, known)["detail"].iloc[-1] == "markups, mobilisation: '0.25' -> '0.3'"
    saved = store.save_project(other, "Teasel Bend", blocks({}), tables.empty("defects"), tables.empty("geometry"), "Di")
    assert (saved.id, saved.version) == (known, 3)


def test_a_table_that_did_not_change_is_kept_once(content: bytes) -> None:
    held = members(content)
    assert "project/1/defects.csv" in held and "project/2/defects.csv" not in held
    assert "project/2/blocks.csv" in held and "publications/2/overview.csv" not in held


def test_other_programs_open_the_tables(made: tuple[Engine, int], content: bytes) -> None:
    """Python's own csv module and pandas, which know nothing of the rule for missing cells."""
    held = members(content)
    rows = list(csv.reader(io.StringIO(held["project/1/blocks.csv"].decode(), newline="")))
    blocks = store.load_project(*made, version=1)[0]
    assert [row[rows[0].index("block_id")] for row in rows[1:]] == blocks["block_id"].tolist()
    assert rows[2][rows[0].index("condition_word")] == "a\r\nb, \"c\"\t"
    read = pd.read_csv(io.BytesIO(held["project/1/blocks.csv"]))
    assert read["width_ft"].tolist() == blocks["width_ft"].tolist()
    assert json.loads(held["scenarios/1.json"])["budgets_usd"] == [1e6, 0.1 + 0.2]
    assert {"dictionary.csv", "about.txt"} <= held.keys()
    columns = pd.read_csv(io.BytesIO(held["dictionary.csv"]))
    assert set(columns["table"]) == {"blocks", "defects", "geometry", "moves", "no_work", "program", "overview"}
    known = held["about.txt"].decode()
    assert all(name.split("/")[0] in known or name.endswith(("_versions.csv", "_tables.csv"))
               for name in held if name != "about.txt")


def test_a_project_that_there_is_not_and_one_that_is_damaged(other: Engine, content: bytes) -> None:
    with pytest.raises(store.StoreError, match="no project 99"):
        store.archive(other, 99)
    known = store.restore(other, content, "Di").id
    table = schema.season_tables
    with database.writing(other) as connection:
        connection.execute(update(table).where(table.c.project_id == known).values(content=b"x"))
    with pytest.raises(store.StoreError, match="is damaged: its digest is not the one that was stored"):
        store.archive(other, known)


# what is refused

def test_files_of_another_kind(other: Engine, content: bytes) -> None:
    refused(other, b"", "it is no zip")
    refused(other, b"block_id,length_ft\n", "it is no zip")
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as package:
        package.writestr("a.csv", "x")
    refused(other, stream.getvalue(), "its end is missing, or it was packed again by another program")
    refused(other, content[:-1], "its end is missing")
    refused(other, content[:1000], "its end is missing")
    held = members(content)
    refused(other, writing._zipped({"a.csv": b"x"}), "it has no manifest.json")
    refused(other, packed(held, format="another"), "its manifest is not of a street-program archive")


def test_an_archive_of_a_newer_program(other: Engine, content: bytes) -> None:
    newer = packed(members(content), format_version=2, program_version="9.9")
    refused(other, newer, r"newer program \(9.9, version 2 of the format; this program knows up to 1\); update")


@pytest.mark.parametrize("name", ["../../etc/passwd", "/etc/passwd", "extra.csv", "C:\\x", "project/../x"])
def test_members_that_do_not_belong_there(other: Engine, content: bytes, name: str) -> None:
    held = members(content)
    refused(other, packed({**held, name: b"x"}, told=False), "does not hold what its manifest says")
    if name != "extra.csv":
        refused(other, packed({**held, name: b"x"}), "does not hold what its manifest says")


def test_a_member_that_is_missing_or_damaged(other: Engine, content: bytes) -> None:
    held = members(content)
    refused(other, packed({name: data for name, data in held.items() if name != "audit.csv"}, told=False),
            "does not hold what its manifest says.*audit.csv")
    refused(other, packed({**held, "audit.csv": held["audit.csv"].replace(b"Ann", b"Eve")}, told=False),
            "'audit.csv' of the archive is damaged: its digest is not that of the manifest")


def test_an_archive_that_unfolds_without_end(other: Engine, content: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
    assert opening.MOST_OF_MEMBER < opening.MOST_UNFOLDED == 2 * 1024**3
    monkeypatch.setattr(opening, "MOST_OF_MEMBER", 100_000)
    bomb = packed({**members(content), "about.txt": b"\0" * 10_000_000}, told=False)
    assert len(bomb) < len(content) + 20_000
    refused(other, bomb, "or a member of it to more than 0 MB: nothing was unpacked")
    monkeypatch.setattr(opening, "MOST_UNFOLDED", 1000)
    refused(other, content, "unfolds to more than 0 MB")


def changed(content: bytes, name: str, old: bytes, new: bytes) -> bytes:
    held = members(content)
    assert old in held[name], (name, held[name])
    return packed({**held, name: held[name].replace(old, new)})


@pytest.mark.parametrize(("name", "old", "new", "message"), [
    ("project_tables.csv", b'"defects"', b'"gold"', "has the tables blocks, geometry, gold, and not"),
    ("season_tables.csv", b'"moves"', b'"blocks"', "table 'blocks' of the season 2027 that this program does not know"),
    ("project/1/blocks.csv", b'"width_ft"', b'"girth_ft"', "column 'girth_ft' that this program does not know"),
    ("project/1/blocks.csv", b"33.333333333333336", b'"wide"', "does not read as a table 'blocks'"),
    ("project/1/blocks.csv", b"33.333333333333336", b"-5", "holds what a table 'blocks' may not hold"),
    ("project/1/blocks.csv", b"33.333333333333336", b"wide", "cannot be read as a table: line 5: 'wide' is no number"),
    ("project/1/blocks.csv", b"33.333333333333336", b"1,1", "cannot be read as a table: line 5 has"),
    ("audit.csv", b'"changes"', b'"secrets"', "has other columns than it should: changes, secrets"),
    ("audit.csv", b'"Bo"', b"7", "has 7 where who stands"),
    ("audit.csv", b'+00:00"', b'"', "has no time zone"), ("audit.csv", b'"2026-11', b'"2026-99', "is no time"),
    ("audit.csv", b'[""created', b'{""created', "which is no list of changes"),
    ("city_values.csv", b'"markups"', b'"secrets"', "the assumption table 'secrets' that this program does not know"),
    ("scenarios/1.json", b'"start_year": 2027', b'"start_year": 1', "scenario 'council' of the archive cannot be read"),
    ("scenarios/1.json", b'"council"', b'"other"', "has another name inside: 'other'"),
    ("scenario_versions.csv", b"scenarios/2.json", b"scenarios/9.json", "has no 'scenarios/9.json', though"),
    ("scenario_versions.csv", b'"council",2', b'"council",1', "the database does not take what the archive holds"),
    ("project_versions.csv", b"2,", b"3,", "are not 1, 2, 3 and so on"),
    ("publications/1/summary.json", b'"n": 1', b'"n": 2', "is not the one that was published"),
    ("publication_tables.csv", b"\n1,", b"\n7,", "tables of a publication that it does not tell of"),
    ("publication_tables.csv", b'"overview"', b'"program"', "has the tables program, program, and not overview, program"),
])
def test_what_was_changed_with_care_is_noticed_by_what_it_says(
        other: Engine, content: bytes, name: str, old: bytes, new: bytes, message: str) -> None:
    refused(other, changed(content, name, old, new), message)


def test_a_text_that_no_database_takes(other: Engine, content: bytes) -> None:
    lone = changed(content, "audit.csv", b'"Bo"', '"\ud800"'.encode("utf-8", "surrogatepass"))
    refused(other, lone, "the database does not take what the archive holds")


def test_a_fault_in_the_middle_leaves_nothing(other: Engine, content: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: Any) -> None:
        raise RuntimeError("in the middle")

    monkeypatch.setattr(restoring, "_publications", broken)
    before = stored(other)
    with pytest.raises(RuntimeError, match="middle"):
        store.restore(other, content, "Di")
    assert stored(other) == before


@settings(max_examples=150, deadline=None)
@given(data=st.data())
def test_no_damage_goes_unnoticed(data: st.DataObject, content: bytes) -> None:
    """Any changed byte, anywhere in the file, its zip directory and its end among them."""
    spoilt = bytearray(content)
    for _ in range(data.draw(st.integers(1, 3))):
        at = data.draw(st.integers(0, len(spoilt) - 1) | st.integers(max(len(spoilt) - 3000, 0), len(spoilt) - 1))
        spoilt[at] ^= data.draw(st.integers(1, 255))
    if bytes(spoilt) != content:
        with pytest.raises(store.StoreError):
            opening.opened(bytes(spoilt))
    with pytest.raises(store.StoreError):
        opening.opened(content[:data.draw(st.integers(0, len(content) - 1))])


@settings(max_examples=60, deadline=None)
@given(where=st.floats(0, 1, exclude_max=True), bit=st.integers(0, 7))
def test_damage_under_a_right_seal_is_refused_or_harmless_and_never_half_stored(
        where: float, bit: int, made: tuple[Engine, int], content: bytes, tmp_path_factory: pytest.TempPathFactory) -> None:
    """Whoever can make the seal can write anything: then a project is stored whole, or nothing is."""
    spoilt = bytearray(content[:-64])
    spoilt[int(where * (len(spoilt) - len(layout.SEAL)))] ^= 1 << bit
    engine = store.connect(f"sqlite:///{tmp_path_factory.mktemp('spoilt') / 'x.db'}")
    try:
        known = store.restore(engine, writing.sealed(bytes(spoilt)), "Di").id
    except store.StoreError:
        counted = stored(engine)
        assert counted.pop("schema_version") == len(database.MIGRATIONS)
        assert set(counted.values()) == {0}
    else:
        now, was = everything(engine, known), everything(*made)
        now["trail"] = now["trail"].iloc[:-1]
        assert_equal(was, now)
    finally:
        engine.dispose()


# cells

@settings(max_examples=200, deadline=None)
@given(rows=st.lists(st.tuples(
    st.none() | st.text(st.characters(), max_size=12) | st.sampled_from(["", "12", "true", "NA", '"', ",", "\r\n", "\ud800"]),
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False)), max_size=6), names=st.lists(
        st.text(max_size=6), min_size=2, max_size=2, unique=True))
def test_any_cells_read_back_the_same(rows: list[tuple[Any, Any]], names: list[str]) -> None:
    columns = {names[0]: [row[0] for row in rows], names[1]: [row[1] for row in rows]}
    read = cells.read(cells.written(columns))
    assert json.dumps(read) == json.dumps(columns)  # tells 1 from 1.0 and true, and 0.0 from -0.0


@pytest.mark.parametrize("content", [
    b"", b'"a"', b'"a","a"\r\n', b'a\r\n', b'"a"\r\n"b', b'"a"\r\nx\r\n', b'"a"\r\n"b"c\r\n', b'"a"\r\n01,\r\n', b'"a"\n',
    b'"a"\r\nNaN\r\n', b'"a","b"\r\n1\r\n', b"\xff\r\n", b'1\r\n'])
def test_what_is_no_such_table_is_no_table(content: bytes) -> None:
    with pytest.raises(ValueError, match=r"line|decode"):
        cells.read(content)
