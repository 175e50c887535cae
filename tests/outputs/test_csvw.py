"""The CSV files of a plan against their own metadata, by the rules of the W3C, and the schema as a page.

W3C Recommendations of 17 December 2015: Metadata Vocabulary for Tabular Data (MV), Model for Tabular Data and Metadata
(TM).  Read from memory: sections are named, wording is not.
"""

from __future__ import annotations

import csv
import json
import re
from datetime import date
from io import StringIO
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from rehab import plan as planning
from rehab.base import tables
from rehab.base.settings import Assumptions, Scenario
from rehab.base.tables.meanings import KEYS, MEANINGS
from rehab.inputs import demo
from rehab.outputs import csvw, exports
from rehab.outputs.csvw.metadata import described
from rehab.outputs.csvw.written import WRITTEN
from rehab.plan import reasons, waiting
from rehab.plan.answers import treated_now


@pytest.fixture(scope="module")
def written(defaults: Assumptions) -> dict[str, pd.DataFrame]:
    """The tables of a plan by the files that they are written to."""
    city = demo.invent(60, seed=11)
    odd = city.blocks.assign(street=city.blocks["street"].where(city.blocks.index > 2, "=HYPERLINK(A1)"))
    made = planning.decide(planning.prepare(odd, city.defects, defaults, 2027, 5), Scenario().with_budget(500_000.0, 5))
    season = planning.season_of(made, 2027, city.geometry, None, 0.0)
    parts = made.prepared
    listed = made.strategies.merge(made.overview[["block_id", "life_extension_yr", "likely_usd"]], on="block_id")
    frames = {
        "blocks": parts.network, "needs": parts.needs, "findings": parts.findings, "repairs": parts.repairs,
        "strategies": listed.rename(columns={"likely_usd": "cost_usd"}), "forecast": treated_now(parts),
        "quantities": made.quantities, "costs": made.costs, "lifecycle": parts.worth,
        "waiting": waiting.of_network(waiting.by_block(parts)), "program": made.program, "notes": made.notes,
        "alternatives": reasons.alternatives(made), "places": reasons.of_blocks(made), "limits": reasons.of_limits(made),
        "overview": made.overview, "by_year": made.by_year, "tasks": season.tasks, "campaigns": season.campaigns,
        "campaign_choices": season.choices, "season_blocks": season.blocks, "crew_loads": season.loads,
        "geometry": city.geometry, "defects": city.defects, "payments": reasons.payments(made),
        **dict(zip(("proof_offers", "proof_uses", "proof_limits"), reasons.proof(made), strict=True)),
    }
    assert all(len(frames[name]) for name in ("repairs", "program", "tasks", "findings"))
    return {f"{name}.csv": frame for name, frame in frames.items()}


@pytest.fixture(scope="module")
def folder(written: dict[str, pd.DataFrame], tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("files")
    for name, frame in written.items():
        (exports.write_exact if name.startswith("proof_") else exports.write_csv)(frame, made / name)
    (made / "csv-metadata.json").write_text(csvw.describe(written), encoding="utf-8")
    return made


#: what each built-in datatype takes without a format (TM 6.4.2: as XML Schema part 2 writes it)
LEXICAL = {"integer": r"[+-]?\d+", "number": r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?|[+-]?INF|NaN", "string": r"(?s:.*)"}


def faults(text: str, table: dict[str, Any], group: dict[str, Any]) -> list[str]:
    """What a CSV file breaks of its table's description."""
    dialect = {**group["dialect"], **table.get("dialect", {})}
    assert any(text.endswith(end) for end in dialect["lineTerminators"])
    if dialect["lineTerminators"] == ["\r\n"]:
        outside = re.sub(r'"(?:[^"]|"")*"', "", text)
        assert "\n" not in outside.replace("\r\n", "")
    rows = list(csv.reader(StringIO(text, newline=""), delimiter=dialect["delimiter"], quotechar=dialect["quoteChar"],
                           doublequote=dialect["doubleQuote"], strict=True))
    columns, found = table["tableSchema"]["columns"], []
    if [column["titles"] for column in columns] != rows[0]:  # MV 5.5.1: the titles are those of the head
        found.append(f"head {rows[0]}")
    for at, row in enumerate(rows[1:], start=2):
        if len(row) != len(columns):
            found.append(f"row {at}: {len(row)} cells")
            continue
        found += [f"row {at} {column['name']}: {said}" for cell, column in zip(row, columns, strict=True)
                  if (said := fault(cell, column, group["null"]))]
    names = [column["name"] for column in columns]
    key = [names.index(name) for name in table["tableSchema"].get("primaryKey", [])]
    if key:  # MV 5.5: the cells of the primary key name one row
        seen = [tuple(row[at] for at in key) for row in rows[1:]]
        found += [f"key {one} twice" for one in set(seen) if seen.count(one) > 1] if len(seen) != len(set(seen)) else []
    return found


def fault(cell: str, column: dict[str, Any], null: str) -> str:
    """TM 6.4, parsing cells: null, required, datatype with format, then the least and the greatest value."""
    if cell == null:
        return "empty" if column["required"] else ""
    kind = column["datatype"] if isinstance(column["datatype"], dict) else {"base": column["datatype"]}
    base = kind["base"]
    if base == "boolean":
        true, false = kind["format"].split("|")
        return "" if cell in {true, false} else f"{cell} is no truth"
    if base == "date":
        assert kind["format"] == "yyyy-MM-dd"
        return "" if re.fullmatch(r"\d{4}-\d\d-\d\d", cell) and date.fromisoformat(cell) else f"{cell} is no date"
    if not re.fullmatch(LEXICAL[base], cell):
        return f"{cell!r} is no {base}"
    if base == "string":
        return "" if "format" not in kind or re.search(kind["format"], cell) else f"{cell} is none of the words"
    if not kind.get("minimum", -float("inf")) <= float(cell) <= kind.get("maximum", float("inf")):
        return f"{cell} is out of {kind}"
    return ""


def test_every_file_obeys_its_metadata(folder: Path, written: dict[str, pd.DataFrame]) -> None:
    group = json.loads((folder / "csv-metadata.json").read_text(encoding="utf-8"))
    assert [table["url"] for table in group["tables"]] == list(written)
    for table in group["tables"]:
        text = (folder / table["url"]).read_bytes().decode(group["dialect"]["encoding"])
        assert faults(text, table, group) == [], table["url"]


def test_the_check_finds_faults(folder: Path) -> None:
    group = json.loads((folder / "csv-metadata.json").read_text(encoding="utf-8"))
    table = next(one for one in group["tables"] if one["url"] == "program.csv")
    text = (folder / "program.csv").read_bytes().decode()
    head, first, *rest = text.split("\r\n")
    cells = first.split(",")
    for at, cell, said in ((0, "", "block_id: empty"), (1, "20x7", "no integer"), (2, "overlay", "none of the words"),
                           (3, "-1", "out of"), (3, "$5", "no number")):
        bad = "\r\n".join([head, ",".join([*cells[:at], cell, *cells[at + 1:]]), *rest])
        assert any(said in one for one in faults(bad, table, group)), (at, cell)
    assert any("twice" in one for one in faults("\r\n".join([head, first, first, *rest]), table, group))
    assert any("head" in one for one in faults(text.replace("block_id", "id", 1), table, group))


def test_the_metadata_are_those_of_the_vocabulary(folder: Path) -> None:
    group = json.loads((folder / "csv-metadata.json").read_text(encoding="utf-8"))
    # MV 5.2: the context is the vocabulary's, alone or with a language and a base
    assert group["@context"] == ["http://www.w3.org/ns/csvw", {"@language": "en"}] and group["@type"] == "TableGroup"
    # MV 5.3 to 5.6: properties of a group, a table, a schema and a column; MV 5.8: of others only with a known prefix
    prefixes = {"dc", "schema"}  # of the initial context of RDFa
    allowed = {"group": {"@context", "@type", "dialect", "notes", "tables", "null"},
               "table": {"url", "tableSchema", "notes", "dialect"},
               "schema": {"columns", "primaryKey", "foreignKeys"}, "column": {"name", "titles", "datatype", "required"}}

    def obeys(kind: str, given: dict[str, Any]) -> None:
        others = set(given) - allowed[kind]
        assert all(name.split(":")[0] in prefixes and ":" in name for name in others), others

    obeys("group", group)
    names = {table["url"]: [column["name"] for column in table["tableSchema"]["columns"]] for table in group["tables"]}
    for table in group["tables"]:
        obeys("table", table)
        obeys("schema", table["tableSchema"])
        assert table["dc:description"]
        for column in table["tableSchema"]["columns"]:
            obeys("column", column)
            # MV 5.6: a name is that of a variable of a URI template and does not begin with an underscore
            assert re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_]*", column["name"]) and column["dc:description"]
        assert len(set(names[table["url"]])) == len(names[table["url"]])
        assert set(table["tableSchema"].get("primaryKey", [])) <= set(names[table["url"]])
        for key in table["tableSchema"].get("foreignKeys", []):
            assert key["reference"]["columnReference"] in names[key["reference"]["resource"]]


def test_blocks_of_other_files_are_in_the_file_of_blocks(folder: Path) -> None:
    group = json.loads((folder / "csv-metadata.json").read_text(encoding="utf-8"))

    def cells(file: str, column: str) -> set[str]:
        with (folder / file).open(encoding="utf-8", newline="") as stream:
            return {row[column] for row in csv.DictReader(stream)}

    checked = 0
    for table in group["tables"]:
        for key in table["tableSchema"].get("foreignKeys", []):
            there = cells(key["reference"]["resource"], key["reference"]["columnReference"])
            assert cells(table["url"], key["columnReference"]) <= there, table["url"]
            checked += 1
    assert checked > 10


def test_units_stand_beside_the_columns() -> None:
    group = json.loads(csvw.describe({"program.csv": "program", "blocks.csv": "network"}, base="https://example.org/"))
    columns = {column["name"]: column for table in group["tables"] for column in table["tableSchema"]["columns"]}
    assert columns["cost_usd"]["schema:unitText"] == "usd" and columns["length_ft"]["schema:unitText"] == "ft"
    assert columns["length_ft"]["datatype"] == {"base": "number", "minimum": 10, "maximum": 10000}
    assert columns["strategy"]["datatype"]["format"] == "^(none|partial_depth|full_depth|reconstruction)$"
    assert group["@context"][1]["@base"] == "https://example.org/"


def test_formulas_are_told(folder: Path) -> None:
    group = json.loads((folder / "csv-metadata.json").read_text(encoding="utf-8"))
    assert "'=HYPERLINK" in (folder / "blocks.csv").read_text(encoding="utf-8")
    assert "apostrophe" in " ".join(note["dc:description"] for note in group["notes"])


def test_what_is_nowhere_described_is_refused(written: dict[str, pd.DataFrame]) -> None:
    program = written["program.csv"]
    with pytest.raises(KeyError, match="surprise"):
        csvw.describe({"program.csv": program.assign(surprise=1.0)})
    with pytest.raises(KeyError, match="unknown"):
        csvw.describe({"program.csv": "unknown"})
    added = json.loads(csvw.describe({"program.csv": exports.with_estimated(program, written["overview.csv"])}))
    assert added["tables"][0]["tableSchema"]["columns"][-1]["name"] == "estimated"


def test_a_table_is_known_by_its_columns(written: dict[str, pd.DataFrame]) -> None:
    told = {table["url"]: table["dc:title"] for table in json.loads(csvw.describe(written))["tables"]}
    assert told["blocks.csv"] == "network" and told["waiting.csv"] == "waiting_network"
    assert told["alternatives.csv"] == "alternatives" and told["program.csv"] == "program"


def test_every_table_has_a_meaning_and_a_page() -> None:
    assert set(MEANINGS) == set(tables.TABLES) and set(KEYS) <= set(tables.TABLES)
    assert not set(WRITTEN) & set(tables.TABLES)
    page = csvw.schema_page()
    for name in (*tables.TABLES, *WRITTEN):
        one = described(name)
        section = page.split(f"\n## {name}\n")[1].split("\n## ")[0]
        assert one.meaning in section and set(one.key) <= {field.name for field in one.fields}
        for field in one.fields:
            line = next(line for line in section.splitlines() if line.startswith(f"| `{field.name}` |"))
            parts = [part.strip() for part in re.split(r"(?<!\\)\|", line)[1:-1]]
            assert len(parts) == 6 and parts[1] == field.about.replace("|", "\\|") and parts[3] == field.unit
            assert parts[5] == ("no" if field.required else "yes")
