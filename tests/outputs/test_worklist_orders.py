"""What is ordered: materials from quantities, equipment from the crews at work."""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest

from rehab.base.settings import Assumptions
from rehab.base.tables import TASKS, empty
from rehab.outputs.worklist import Chosen, Job, orders
from rehab.outputs.worklist.orders import equipment, materials, waste_words


def task(kind: str, crew: str, start: str, finish: str | None = None) -> dict[str, Any]:
    return {"task": kind, "crew": crew, "start": pd.Timestamp(start), "finish": pd.Timestamp(finish or start),
            "opens": pd.NaT, "season": "this", "cautions": None}


def job(name: str, quantities: dict[str, float], tasks: list[dict[str, Any]], *, estimated: bool = False,
        speed: float = 25.0) -> Job:
    rows = [{"pay_item": item, "quantity": amount} for item, amount in quantities.items()]
    return Job(1, {"block_id": name}, {"speed_mph": speed}, {}, "full_depth", 1.0, estimated, rows, tasks, [], [], [], [])


@pytest.fixture
def jobs() -> list[Job]:
    """Two blocks of one concrete crew each in the same week, a third a week later, and one on no calendar."""
    return [
        job("A", {"concrete_full": 11.0, "dowel": 100.0, "sealant": 5.0, "saw_cut": 250.0},
            [task("mark", "Marking crew", "2027-04-12"), task("drill", "Concrete crew 1", "2027-04-29"),
             task("place", "Concrete crew 1", "2027-04-29", "2027-05-04"), task("fill", "Sealing crew", "2027-06-01")]),
        job("B", {"concrete_full": 22.0, "dowel": 50.0},
            [task("drill", "Concrete crew 2", "2027-04-26"), task("place", "Concrete crew 2", "2027-04-26")], estimated=True,
            speed=45.0),
        job("C", {"concrete_full": 5.5, "curb_and_gutter": 100.0},
            [task("place", "Concrete crew 1", "2027-05-05"), task("curb", "Curb crew", "2027-05-05")]),
        job("D", {"patch_mix": 2.0}, []),
    ]


def only(table: pd.DataFrame, item: str, week: str | None = None) -> pd.DataFrame:
    rows = table[table["item"] == item]
    return rows if week is None else rows[rows["week"] == pd.Timestamp(week)]


def test_materials_stand_in_the_week_in_which_their_task_begins(jobs: list[Job], assumptions: Assumptions) -> None:
    table = orders(jobs, assumptions)
    concrete = only(table, "Ready-mixed concrete").set_index("week")
    # A and B are placed in the week of Monday 26 April, C in that of 3 May, its curb with 0.06 cu yd to the foot
    assert concrete["quantity"].to_dict() == {
        pd.Timestamp("2027-04-26"): 33.0, pd.Timestamp("2027-05-03"): pytest.approx(5.5 + 6.0)}
    assert concrete["estimated"].tolist() == [22.0, 0.0]
    assert only(table, "Dowels to drill and set", "2027-04-26")["quantity"].tolist() == [150.0]
    assert only(table, "Sealant", "2027-05-31")["quantity"].tolist() == [5.0]
    # paint is used when the cuts are marked, weeks before they are sawn: 250 ft to a can
    assert only(table, "Marking paint", "2027-04-12")["quantity"].tolist() == [1.0]


def test_a_block_on_no_calendar_is_ordered_without_a_week(jobs: list[Job], assumptions: Assumptions) -> None:
    rows = only(orders(jobs, assumptions), "Patching mix")
    assert rows["week"].isna().tolist() == [True] and rows["quantity"].tolist() == [2.0]
    # bags of 50 lb that yield 0.45 cu ft: 54 cu ft take 120
    assert only(orders(jobs, assumptions), "Patching mix, if it comes in bags")["quantity"].tolist() == [120.0]


def test_orders_add_up_to_the_quantities(jobs: list[Job], assumptions: Assumptions) -> None:
    table = orders(jobs, assumptions)
    rows = assumptions.table("materials")
    amounts: dict[str, float] = {}
    for one in jobs:
        for row in one.quantities:
            amounts[row["pay_item"]] = amounts.get(row["pay_item"], 0.0) + row["quantity"]
    expected: dict[tuple[str, str], float] = {}
    for item, material, unit, value in zip(rows["pay_item"], rows["material"], rows["unit"], rows["value"], strict=True):
        if item in amounts:
            expected[material, unit] = expected.get((material, unit), 0.0) + amounts[item] * float(value)
    bought = table[table["kind"] == "material"].groupby(["item", "unit"])["quantity"].sum()
    assert bought.to_dict() == pytest.approx(expected)


def test_equipment_is_the_most_at_work_at_once(jobs: list[Job], assumptions: Assumptions) -> None:
    table = orders(jobs, assumptions)
    # two crews place in the first week with 2 vibrators each; in the second crew 1 places on A and then on C, and the
    # curb crew works: two crews again
    vibrators = only(table, "Internal vibrators").set_index("week")
    assert vibrators["quantity"].to_dict() == {pd.Timestamp("2027-04-26"): 4.0, pd.Timestamp("2027-05-03"): 4.0}
    assert vibrators["estimated"].tolist() == [2.0, 0.0], "crew 2 works on an estimated block alone"
    assert vibrators["why"].tolist() == ["Place concrete", "Place concrete; Replace curb"]
    # cones: 6 along the taper at 25 mph, 13 at 45 mph
    assert only(table, "Cones or drums, for the taper alone", "2027-04-26")["quantity"].tolist() == [19.0]


def test_orders_of_some_weeks_and_crews(jobs: list[Job], assumptions: Assumptions) -> None:
    week = pd.Timestamp("2027-05-03")
    table = orders(jobs, assumptions, Chosen((week,), ()))
    assert set(table["week"]) == {week}
    # C's concrete alone: A's was needed when it was begun
    assert only(table, "Ready-mixed concrete")["quantity"].tolist() == [pytest.approx(11.5)]
    crew = orders(jobs, assumptions, Chosen((), ("Concrete crew 1",)))
    assert only(crew, "Ready-mixed concrete")["quantity"].tolist() == [11.0, 5.5]
    assert only(crew, "Internal vibrators")["quantity"].tolist() == [2.0, 2.0]
    every = orders(jobs, assumptions, Chosen((), ("Concrete crew",)))
    assert only(every, "Ready-mixed concrete")["quantity"].tolist() == [33.0, 5.5]


def test_no_job_orders_nothing(assumptions: Assumptions) -> None:
    pd.testing.assert_frame_equal(orders([], assumptions), empty("orders"))


def test_materials_of_a_block_say_their_waste(jobs: list[Job], assumptions: Assumptions) -> None:
    waste = {row.item: waste_words(row.waste) for row in materials(jobs[0], assumptions)}
    # the waste of the pay items is in their quantities: concrete 1.1, sealant 1.15, dowels none
    assert waste["Ready-mixed concrete"] == "10 % in it" and waste["Sealant"] == "15 % in it"
    assert waste["Dowels to drill and set"] == "none"


def test_equipment_of_a_block_is_listed_by_crew(jobs: list[Job], assumptions: Assumptions) -> None:
    found = {crew: [row.item for row in rows] for crew, rows in equipment(jobs[0], assumptions).items()}
    assert list(found) == ["Marking crew", "Concrete crew 1", "Sealing crew"]
    assert "Gang drill, three holes or more at once, with dust shrouds" in found["Concrete crew 1"]
    assert "Sounding hammer, chain or steel rod" in found["Marking crew"] and "Compressor" in found["Sealing crew"]


def test_materials_and_equipment_name_pay_items_and_tasks_that_exist(assumptions: Assumptions) -> None:
    rows = assumptions.table("materials")
    assert set(rows["pay_item"]) <= set(assumptions.table("pay_items").index)
    assert set(rows["task"]) - {""} <= set(TASKS)
    assert {kind for text in assumptions.table("equipment")["task"] for kind in text.split("; ")} <= set(TASKS)
    assert (rows["value"].astype(float) > 0).all()


# shapes worked out by hand: 4 in x 0.015 in x 12 in = 0.72 cu in a foot of line, 231 cu in to a gallon
def test_paint_covers_what_its_note_says(assumptions: Assumptions) -> None:
    assert assumptions.number("materials", "paint") == pytest.approx(4 * 0.015 * 12 / 231, rel=0.01)
    assert assumptions.number("materials", "beads") == pytest.approx(6 * 4 * 0.015 * 12 / 231, rel=0.01)


def test_slots_and_holes_hold_what_their_notes_say(assumptions: Assumptions) -> None:
    # slot of 2.5 x 36 x 6 in less a dowel of 1.25 x 18 in, 46,656 cu in to a cubic yard
    assert assumptions.number("materials", "patch_mix.retrofit") == pytest.approx(
        (2.5 * 36 * 6 - 3.1416 / 4 * 1.25**2 * 18) / 46_656, rel=0.01)
    # twice the ring round 9 in of a bar of 1.25 in in a hole of 1.375 in, 231 cu in to a gallon
    assert assumptions.number("materials", "adhesive.dowel") == pytest.approx(
        2 * 3.1416 / 4 * (1.375**2 - 1.25**2) * 9 / 231, rel=0.01)
