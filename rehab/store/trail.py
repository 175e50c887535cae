"""The audit trail: one row for every save, with what changed in words."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from datetime import datetime
from typing import Any, TypeVar

import pandas as pd
from sqlalchemy import Connection, Engine, insert, select

from rehab.base.settings import Forced, Override, Scenario
from rehab.store import checks, schema

Item = TypeVar("Item", Override, Forced)


def record(connection: Connection, project_id: int, what: str, changes: Iterable[str], who: str,
           when: datetime) -> None:
    """Add a row; part of the transaction of the save itself, so neither is stored without the other."""
    # as JSON, since block ids and reasons are free text, and not every database takes every character
    connection.execute(insert(schema.audit).values(project_id=project_id, saved_on=when, who=who, what=what,
                                                   changes=json.dumps(list(changes))))


def audit(engine: Engine, project_id: int) -> pd.DataFrame:
    """Every save of a project, the oldest first: ``when`` (UTC), ``who``, ``what`` was saved, ``detail``: what changed.

    The changes of one save are separated by "; ".  Raises :class:`StoreError` if there is no such project.
    """
    columns = schema.audit.c
    with engine.connect() as connection:
        query = select(columns.saved_on, columns.who, columns.what, columns.changes).order_by(columns.id)
        rows = connection.execute(query.where(columns.project_id == checks.project(connection, project_id))).all()
    return pd.DataFrame({
        "when": pd.Series([row.saved_on for row in rows], dtype="datetime64[us, UTC]"),
        "who": pd.Series([row.who for row in rows], dtype="str"),
        "what": pd.Series([row.what for row in rows], dtype="str"),
        "detail": pd.Series(["; ".join(json.loads(row.changes)) for row in rows], dtype="str"),
    })


def scenario_changes(old: Scenario | None, new: Scenario) -> list[str]:
    """What the engineer changed, a phrase each; everything there is for the first version."""
    if old is None:
        first = [f"created: {len(new.years)} years from {new.start_year}, choice '{new.choice}'"]
        old = Scenario(new.name, new.start_year, new.budgets_usd, new.choice)
        first += _budgets({}, dict(zip(new.years, new.budgets_usd, strict=True)))
    else:
        first = _budgets(*(dict(zip(item.years, item.budgets_usd, strict=True)) for item in (old, new)))
    if old.start_year != new.start_year:
        first.append(f"first year {old.start_year} -> {new.start_year}")
    if old.choice != new.choice:
        first.append(f"choice '{old.choice}' -> '{new.choice}'")
    changes = [
        *first,
        *_differences("override of", _by_block(old.overrides, _override), _by_block(new.overrides, _override)),
        *_differences("forced year of", _by_block(old.forced, _forced), _by_block(new.forced, _forced)),
        *(f"{block} kept out" for block in new.kept_out if block not in old.kept_out),
        *(f"{block} no longer kept out" for block in old.kept_out if block not in new.kept_out),
    ]
    return changes or ["no change" if old == new else "the same in another order"]


def table_changes(table: str, old: pd.DataFrame | None, new: pd.DataFrame) -> list[str]:
    """How many keys of an uploaded table (a block, or a kind of defect in a panel) came, went and changed.

    Another order and another place in the file are no change.
    """
    if old is None:
        return [f"{table}: {len(new):,} rows"]
    key = ["block_id", "panel_row", "panel_column", "defect"] if table == "defects" else ["block_id"]
    before, after = (_marks(frame.drop(columns="row", errors="ignore"), key) for frame in (old, new))
    both = after.index.intersection(before.index)
    counts = {"added": len(after) - len(both), "removed": len(before) - len(both),
              "changed": int((after[both] != before[both]).sum())}
    said = ", ".join(f"{count:,} {word}" for word, count in counts.items() if count)
    return [f"{table}: {said} ({len(new):,} rows)"] if said else []


def _marks(frame: pd.DataFrame, key: list[str]) -> pd.Series:
    """A 64-bit mark of the rows of each key, whatever their order: a panel may have two defects of a kind."""
    rows = pd.util.hash_pandas_object(frame, index=False)
    return rows.groupby(pd.util.hash_pandas_object(frame[key], index=False)).sum()


def _budgets(old: Mapping[int, float], new: Mapping[int, float]) -> list[str]:
    """One phrase per year, or one for all years where they all say the same."""
    before = {_money(old[year]) if year in old else "none" for year in new}
    after = {_money(new[year]) for year in new}
    if len(before) == len(after) == 1 and old != new and set(old) <= set(new):
        if not old:
            return [f"budget of every year {after.pop()}"]
        return [f"budget of every year {before.pop()} -> {after.pop()}"]
    return _differences("budget of", {year: _money(budget) for year, budget in old.items()},
                        {year: _money(budget) for year, budget in new.items()})


def _differences(what: str, old: Mapping[Any, str], new: Mapping[Any, str]) -> list[str]:
    added = [f"{what} {key} added: {text}" for key, text in new.items() if key not in old]
    changed = [f"{what} {key} changed: {old[key]} -> {text}" for key, text in new.items()
               if key in old and old[key] != text]
    return added + changed + [f"{what} {key} removed: {text}" for key, text in old.items() if key not in new]


def _by_block(items: Iterable[Item], say: Callable[[Item], str]) -> dict[str, str]:
    result: dict[str, str] = {}
    for item in items:
        result[item.block_id] = f"{result[item.block_id]} and {say(item)}" if item.block_id in result else say(item)
    return result


def _override(item: Override) -> str:
    return f"{item.strategy} ({item.reason})"


def _forced(item: Forced) -> str:
    return f"{item.year}, {item.strategy or 'the adequate strategy of the most benefit'}"


def _money(dollars: float) -> str:
    """Exact, with thousands separated."""
    return f"{dollars:,.0f} dollars" if dollars == round(dollars) else f"{dollars:,} dollars"
