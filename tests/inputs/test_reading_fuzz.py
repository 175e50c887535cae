"""Whatever bytes come in, nothing but a refusal with problems comes out."""

import io
import json

import openpyxl
import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from rehab.base import tables
from rehab.base.errors import UnusableInput
from rehab.inputs.reading import open_table, read_blocks, read_defects, read_mapping

SOUND = (b"block_id,street,length_ft,width_ft,condition_index,panels,panels_broken,surveyed_on,bus_route\r\n"
         b"B1,Elm,400,36,71,80,3,2024-06-30,yes\r\nB2,\"Oak, old\",380,36,55,70,,6/30/2024,no\r\n")
NAMES = st.sampled_from(["a.csv", "a.xlsx", "a.geojson", "a.gpkg", "a.zip", "a.txt", "a.pdf", "a", ""])


def survives(name: str, content: bytes) -> None:
    try:
        raw = open_table(name, content)
        reading = read_blocks(raw)
        read_defects(raw, None, reading.table)
    except UnusableInput as error:
        assert error.problems
        assert all(problem.message and problem.accepted for problem in error.problems)
    else:
        tables.check("blocks", reading.table)


def workbook() -> bytes:
    book = openpyxl.Workbook()
    for row in pd.read_csv(io.BytesIO(SOUND), header=None).to_numpy().tolist():
        book.active.append(row)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


XLSX = workbook()


@settings(max_examples=150, deadline=None)
@given(name=NAMES, start=st.sampled_from([b"", b"PK\x03\x04", b"SQLite format 3\0", b"{", b"\xef\xbb\xbf",
                                         b"\xff\xfe"]),
       content=st.binary(max_size=300))
def test_random_bytes(name: str, start: bytes, content: bytes) -> None:
    survives(name, start + content)


@settings(max_examples=120, deadline=None)
@given(content=st.text(st.sampled_from('abB1,;\t|"\'\r\n=-. %{}[]é0'), max_size=120))
def test_random_delimited_text(content: str) -> None:
    survives("a.csv", content.encode())


@settings(max_examples=30, deadline=None)
@given(at=st.lists(st.integers(0, len(SOUND) - 1), min_size=1, max_size=6),
       put=st.lists(st.sampled_from([b",", b'"', b"\n", b"\r", b";", b"\xe9", b"", b"-", b"1e9", b"NA", b"\0", b"  ",
                                     b"/"]),
                    min_size=6, max_size=6))
def test_mutated_tables(at: list[int], put: list[bytes]) -> None:
    content = SOUND
    for place, piece in zip(at, put, strict=False):
        content = content[:place] + piece + content[place + 1:]
    survives("a.csv", content)


@settings(max_examples=25, deadline=None)
@given(at=st.lists(st.tuples(st.integers(0, len(XLSX) - 1), st.integers(0, 255)), min_size=1, max_size=5))
def test_mutated_workbooks(at: list[tuple[int, int]]) -> None:
    content = bytearray(XLSX)
    for place, value in at:
        content[place] = value
    survives("a.xlsx", bytes(content))


ANYTHING = st.recursive(st.none() | st.booleans() | st.integers(-200, 200) | st.floats() | st.text(max_size=5),
                        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner,
                                                                                    max_size=3),
                        max_leaves=6)
GEOMETRY = st.fixed_dictionaries({"type": st.sampled_from(["LineString", "MultiLineString", "Point", "Nothing"]),
                                  "coordinates": ANYTHING}) | ANYTHING


@settings(max_examples=120, deadline=None)
@given(features=st.lists(st.fixed_dictionaries({"geometry": GEOMETRY, "properties": ANYTHING,
                                                "id": ANYTHING}) | ANYTHING,
                         max_size=3), crs=ANYTHING)
def test_random_features(features: list[object], crs: object) -> None:
    survives("a.geojson", json.dumps({"type": "FeatureCollection", "features": features, "crs": crs}).encode())


@settings(max_examples=80, deadline=None)
@given(content=st.binary(max_size=80) | st.text(st.sampled_from('theirsou,"\n;|'), max_size=60).map(str.encode))
def test_random_mappings(content: bytes) -> None:
    try:
        mapping = read_mapping(content)
        read_blocks(open_table("a.csv", SOUND), mapping)
    except UnusableInput as error:
        assert error.problems
