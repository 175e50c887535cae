"""A small invented program for the tests of outputs: six blocks, four of them worked on in 2027."""

from __future__ import annotations

import pandas as pd
import pytest

from rehab.base.settings import Assumptions
from rehab.base.tables import with_types
from rehab.inputs.assumptions import defaults

NASTY = "<img src=x onerror=alert(1)>"
FORMULAS = ("=1+1", "+SUM(A1:A9)", "-2+3", "@cmd")


def frame(table: str, rows: list[dict[str, object]]) -> pd.DataFrame:
    return with_types(table, pd.DataFrame(rows))


@pytest.fixture
def overview() -> pd.DataFrame:
    common = {"functional_class": "local", "district": "Ward 1", "area_sqyd": 1200.0, "full_share": 0.1,
              "partial_share": 0.2, "reasons": "r", "alternatives": "", "overridden": False, "low_usd": 70.0,
              "untreated_yr": 4.0, "treated_yr": 19.0, "high_usd": 150.0}
    rows = [
        ("B1", "Alder St", "partial_depth", 92.5, 12.0, 100_000.0, 2027.0, False),
        ("B2", "=1+1", "full_depth", 80.0, 16.5, 200_000.0, 2027.0, True),
        ("B3", NASTY, "reconstruction", 19.9, 30.0, 600_000.0, 2027.0, False),
        ("B4", "Elm & Oak St", "none", 60.0, 0.0, 0.0, None, False),
        ("@B5", "+SUM(A1:A9)", "full_depth", 0.0, 4.0, 50_000.0, 2027.0, True),
        ("B6", None, "partial_depth", 100.0, 9.0, 20_000.0, 2031.0, False),
    ]
    return frame("overview", [
        {**common, "block_id": block, "street": street, "from_street": "3rd Ave", "to_street": "-2+3",
         "strategy": strategy, "index": index, "life_extension_yr": gained, "likely_usd": cost, "program_year": year,
         "program_strategy": strategy if year else None, "program_cost_usd": cost if year else None,
         "ground_year": year, "estimated": estimated}
        for block, street, strategy, index, gained, cost, year, estimated in rows
    ])


@pytest.fixture
def geometry() -> pd.DataFrame:
    """Lines of five of the six blocks, one of them in two parts."""
    lines = {"B1": "LINESTRING (-89.50012345678 43.1, -89.499 43.1001)",
             "B2": "LINESTRING (-89.499 43.1, -89.499 43.101)",
             "B3": "MULTILINESTRING ((-89.498 43.1, -89.498 43.101), (-89.498 43.102, -89.498 43.103))",
             "B4": "LINESTRING (-89.497 43.1, -89.496 43.1)", "@B5": "LINESTRING (-89.495 43.099, -89.495 43.1)"}
    return frame("geometry", [{"block_id": block, "line": line} for block, line in lines.items()])


@pytest.fixture
def program(overview: pd.DataFrame) -> pd.DataFrame:
    rows = overview[overview["program_year"].notna()]
    return frame("program", [
        {"block_id": row.block_id, "year": int(row.program_year), "strategy": row.program_strategy,
         "cost_usd": row.program_cost_usd, "benefit": 10.0} for row in rows.itertuples()
    ])


@pytest.fixture
def network(overview: pd.DataFrame) -> pd.DataFrame:
    return frame("network", [
        {"block_id": row.block_id, "length_ft": 400.0, "width_ft": 24.0, "panel_length_ft": 6.0,
         "panel_width_ft": 12.0, "panels": 54.0, "thickness_in": 8.0, "dowelled": True, "castings": 2.0,
         "panels_broken": 3.0, "area_sqyd": 1066.7, "survey_year": 2026.0, "condition_source": "counts",
         "estimated": row.estimated, "assumed": "thickness_in; castings" if row.estimated else ""}
        for row in overview.itertuples()
    ])


@pytest.fixture
def needs(overview: pd.DataFrame) -> pd.DataFrame:
    return frame("needs", [
        {"block_id": row.block_id, "year": year, "panels_full": 3.0, "full_sqyd": full, "estimated": row.estimated}
        for row in overview.itertuples() for year, full in ((2026, 24.0), (2027, 25.5), (2030, 99.0))
    ])


@pytest.fixture
def quantities() -> pd.DataFrame:
    rows = [("B1", "partial_depth", "partial_depth_patch", 240.0, "sqft"),
            ("B1", "partial_depth", "patch_mix", 2.6, "cuyd"),
            ("B2", "full_depth", "full_depth_panel", 200.0, "sqyd"),
            ("B2", "full_depth", "concrete_full", 48.9, "cuyd"),
            ("B2", "full_depth", "dowel", 196.0, "each"), ("B2", "reconstruction", "concrete_full", 999.0, "cuyd"),
            ("@B5", "full_depth", "concrete_full", 10.0, "cuyd"), ("@B5", "full_depth", "tie_bar", 7.0, "each")]
    return frame("quantities", [
        {"block_id": block, "year": 2027, "strategy": strategy, "pay_item": item, "quantity": quantity, "unit": unit}
        for block, strategy, item, quantity, unit in rows
    ])


@pytest.fixture
def tasks() -> pd.DataFrame:
    """B1 and B2 are on the calendar, B1's grinding in the next season; B3 and @B5 are not."""
    rows = [("B1", "mark", "Marking crew", "2027-05-03", "2027-05-03", None, "this"),
            ("B1", "mill", "Patching crew", "2027-05-12", "2027-05-13", None, "this"),
            ("B1", "patch", "Patching crew", "2027-05-14", "2027-05-17", "2027-05-18", "this"),
            ("B1", "grind", "Grinder", "2028-04-17", "2028-04-17", None, "next"),
            ("B2", "mark", "Marking crew", "2027-04-20", "2027-04-20", None, "this"),
            ("B2", "saw", "Sawing crew", "2027-04-28", "2027-04-28", None, "this"),
            ("B2", "drill", "Concrete crew", "2027-04-29", "2027-04-29", None, "this"),
            ("B2", "place", "Concrete crew", "2027-04-30", "2027-05-04", "2027-05-07", "this")]
    return frame("tasks", [
        {"task_id": f"{block}-{task}", "block_id": block, "task": task, "crew": crew, "start": start, "finish": finish,
         "opens": opens, "days": 1.0, "season": season}
        for block, task, crew, start, finish, opens, season in rows
    ])


@pytest.fixture
def repairs() -> pd.DataFrame:
    return frame("repairs", [
        {"block_id": "B2", "repair_id": number, "kind": "full depth", "x_ft": 15.0 * number, "y_ft": 0.0,
         "length_ft": 6.0, "width_ft": 12.0, "depth_in": 8.0, "area_sqft": 72.0, "pay_sqft": 72.0,
         "panel_row": number + 1, "panel_column": 1, "dowels": 22.0, "basket_dowels": 0.0, "dowel_diameter_in": 1.0,
         "tie_bars": 0.0, "inner_joints": 0.0, "saw_ft": 36.0, "joint_ft": 36.0, "insert_ft": 0.0, "cause": "1",
         "why": "full.least_length_dowelled_ft"}
        for number in (2, 1)
    ])


@pytest.fixture
def notes() -> pd.DataFrame:
    return frame("notes", [
        {"topic": "season", "block_id": None, "year": 2027, "message": "=2+2 blocks do not fit"},
        {"topic": "utility", "block_id": "B2", "year": 2027, "message": "A utility digs here in 2029"},
        {"topic": "utility", "block_id": "B2", "year": 2033, "message": "of another year"},
    ])


@pytest.fixture
def by_year() -> pd.DataFrame:
    return frame("by_year", [
        {"year": year, "budget_usd": 1e6, "spent_usd": 9e5, "partial_depth_usd": 2e5, "full_depth_usd": 3e5,
         "reconstruction_usd": 4e5, "index_without": 60.0 - 2 * step, "index_with": 61.0 + step, "sound_without": 0.8,
         "sound_with": 0.85, "full_without": 0.1, "full_with": 0.05, "need_usd": 9e6, "ground_sqyd": 1000.0 * step,
         "ground_usd": 7000.0 * step, "reground_sqyd": 50.0 * step, "reground_usd": 400.0 * step,
         "grind_need_sqyd": 5000.0, "grind_need_usd": 40_000.0 + step}
        for step, year in enumerate((2027, 2028, 2029))
    ])


@pytest.fixture(scope="session")
def assumptions() -> Assumptions:
    return defaults()
