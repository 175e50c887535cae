"""What more of a season would take, and the benchmark of the calendar, on a small invented city."""

from __future__ import annotations

import pytest

from rehab import plan
from rehab.base.settings import Scenario
from rehab.inputs import assumptions as reader
from rehab.inputs import demo
from rehab.plan import pace
from rehab.plan.calendar import COLUMNS, what_it_takes
from rehab.steps.season import Given


@pytest.fixture(scope="module")
def short() -> tuple[plan.Plan, demo.City]:
    """Sixty blocks with plenty of money, and a season of seven weeks."""
    city = demo.invent(60, 3)
    used = reader.overlay(reader.defaults(), {"season": {"first_day": "08-15", "last_day": "10-03"}})
    ready = plan.prepare(city.blocks, city.defects, used, 2027, 2)
    return plan.decide(ready, Scenario(start_year=2027).with_budget(3_000_000.0, 2), 2), city


def test_what_a_season_would_take_is_what_a_calendar_with_it_has(short: tuple[plan.Plan, demo.City]) -> None:
    made, city = short
    season = plan.season_of(made, 2027, city.geometry, seconds=0.0)
    table = what_it_takes(made, season, city.geometry, Given())
    assert tuple(table.columns) == COLUMNS and table["change"].iloc[0] == "As it is"
    assert (table["ground"] + table["not_ground"] == len(season.blocks)).all()
    assert table["ground"].iloc[0] == (season.blocks["season"] == "this").sum() < len(season.blocks)
    longer = next(row for row in table.to_dict("records") if "longer" in row["change"])
    used = reader.overlay(made.prepared.assumptions, {"season": {"last_day": "10-17"}})  # two weeks after 3 October
    ready = plan.prepare(city.blocks, city.defects, used, 2027, 2)
    again = plan.season_of(plan.decide(ready, made.scenario, 2), 2027, city.geometry, seconds=0.0)
    assert longer["ground"] == (again.blocks["season"] == "this").sum() > table["ground"].iloc[0]
    assert longer["ends"] == again.tasks.loc[again.tasks["season"] == "this", "finish"].max()


def test_every_block_that_is_not_ground_says_why(short: tuple[plan.Plan, demo.City]) -> None:
    made, city = short
    season = plan.season_of(made, 2027, city.geometry, seconds=0.0)
    late = season.blocks[season.blocks["season"] != "this"]
    assert len(late) and late["why"].notna().all() and season.blocks.drop(late.index)["why"].isna().all()
    named = {note.block_id for note in season.notes}
    assert set(late["block_id"]) <= named


def test_the_benchmark_tells_when_what_was_found() -> None:
    city = demo.invent(120, 7)
    table = pace.calendar(city.blocks, city.geometry, 20, 1.0, 1.0, reader.defaults())
    assert (table["days_behind"].iloc[-1] >= 0) and table["seconds"].is_monotonic_increasing
    assert (table["blocks"] <= 20).all() and table["ends"].iloc[-1] >= table["bound"].iloc[-1]
