"""Checks of tables: the fast one against pandera, a general-purpose library for the same job."""

from __future__ import annotations

import pandas as pd
import pandera.errors
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rehab.base import tables
from rehab.base.tables import Field


def sound(item: Field) -> st.SearchStrategy[object]:
    """Values that a column takes."""
    if item.kind == "text":
        made: st.SearchStrategy[object] = st.sampled_from(["", "Elm", "=A1", "ä"])
    elif item.kind == "choice":
        made = st.sampled_from(item.choices)
    elif item.kind == "flag":
        made = st.booleans()
    elif item.kind == "date":
        made = st.sampled_from([pd.Timestamp("2027-04-01"), pd.Timestamp("1999-12-31")])
    else:
        low, high = -10 if item.low is None else int(item.low), 10_000 if item.high is None else int(item.high)
        made = st.integers(low, high) if item.kind in {"whole", "key"} else st.floats(low, high)
    return made if item.required or item.kind == "key" else st.one_of(st.none(), made)


def odd(item: Field) -> st.SearchStrategy[object]:
    """Values that a column may or may not take; of a kind that can be cast."""
    if item.kind in {"text", "choice"}:
        return st.sampled_from([None, "overlay", "", *item.choices])
    if item.kind == "flag":
        return st.sampled_from([None, True, False])
    if item.kind == "date":
        return st.sampled_from([None, pd.Timestamp("2027-04-01")])
    if item.kind == "key":
        return st.integers(-5, 5)
    edges = [limit for limit in (item.low, item.high) if limit is not None]
    return st.sampled_from([None, 0.5, -1.0, float("inf"), *edges, *(edge + 1 for edge in edges),
                            *(edge - 1e-9 for edge in edges)])


def accepted(table: str, frame: pd.DataFrame) -> bool:
    try:
        tables.schema(table).validate(frame, lazy=True)
    except pandera.errors.SchemaErrors:
        return False
    return True


@settings(deadline=None, max_examples=150)
@given(st.data())
def test_the_fast_check_says_what_pandera_says(data: st.DataObject) -> None:
    table = data.draw(st.sampled_from(sorted(tables.TABLES)))
    items = tables.fields(table)
    rows = data.draw(st.integers(1, 3))
    columns = {item.name: data.draw(st.lists(sound(item), min_size=rows, max_size=rows)) for item in items}
    if "block_id" in columns:
        columns["block_id"] = [f"B{row}" for row in range(rows)]
    frame = tables.with_types(table, pd.DataFrame(columns))
    assert tables.obeys(table, frame) and accepted(table, frame)
    for item in data.draw(st.lists(st.sampled_from(items), max_size=2)):
        frame.loc[data.draw(st.integers(0, rows - 1)), item.name] = data.draw(odd(item))
    frame = tables.with_types(table, frame)
    assert tables.obeys(table, frame) == accepted(table, frame)


@pytest.mark.parametrize("table", sorted(tables.TABLES))
def test_another_type_or_a_lacking_column_is_refused(table: str) -> None:
    frame = tables.empty(table)
    assert tables.obeys(table, frame)
    for item in tables.fields(table):
        assert not tables.obeys(table, frame.drop(columns=item.name))
        assert not tables.obeys(table, frame.assign(**{item.name: frame[item.name].astype("object")}))
        with pytest.raises(pandera.errors.SchemaErrors):
            tables.check(table, frame.drop(columns=item.name))


def test_a_block_twice_is_refused() -> None:
    one = pd.DataFrame({"block_id": ["A", "A"], "year": [2027, 2028], "strategy": ["full_depth"] * 2,
                        "cost_usd": [1.0, 1.0], "benefit": [1.0, 1.0]})
    frame = tables.with_types("program", one)
    assert not tables.obeys("program", frame) and not accepted("program", frame)
