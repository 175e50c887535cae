"""Actual quantities beside the plan: priced as the plan is, adding up to the cent, and what they say of the rest."""

from __future__ import annotations

import io
import json
from functools import cache
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rehab import plan
from rehab.base import tables
from rehab.base.settings import Forced, Scenario
from rehab.base.tables.site import ENTRIES
from rehab.inputs import assumptions as reader
from rehab.inputs import reading
from rehab.outputs import worklist
from rehab.plan import measured
from rehab.steps import estimate

DEMO = Path(__file__).parents[2] / "data" / "demo"

# 300 ft by 36 ft, 1,200 sq yd, rebuilt in 2027 by the default prices of 2023:
# 1,200 sq yd at $140, 600 ft of curb at $45, 4 ramps at $4,500; traffic control 10 %, mobilisation 8 %, contingency
# from a rating 30 %, engineering 20 %, each on all before; four years at 4 %
UNIT_USD = {"pavement_reconstruction": 140.0, "curb_and_gutter": 45.0, "curb_ramp": 4500.0}
PLANNED = {"pavement_reconstruction": 1200.0, "curb_and_gutter": 600.0, "curb_ramp": 4.0}
FACTOR = 1.10 * 1.08 * 1.30 * 1.20 * 1.04**4
COMMITTED_USD = 250_000.01


@cache
def rebuilt(basis: str = "all-in") -> plan.Plan:
    """Four blocks to be rebuilt in 2027, B002 in 2028 at a committed price."""
    rows = [{"block_id": f"B{number:03d}", "length_ft": 300.0, "width_ft": 36.0, "year_built": 1986,
             "surveyed_on": "2026-06-01", "condition_index": 20.0 + number} for number in range(1, 5)]
    blocks = tables.with_types("blocks", pd.DataFrame(rows))
    values = reader.overlay(reader.defaults(), {"defaults": {"price_basis": basis}}) if basis != "all-in" else (
        reader.defaults())
    ready = plan.prepare(blocks, tables.empty("defects"), values, 2027, 3)
    asked = Scenario(start_year=2027, budgets_usd=(5e6,) * 3,
                     forced=(Forced("B002", 2028, "reconstruction", COMMITTED_USD),))
    made = plan.decide(ready, asked, effort=3)
    assert made.program["year"].tolist() == [2027, 2028, 2027, 2027]
    return made


@cache
def demo() -> plan.Plan:
    """Every eighth block of the demo city."""
    blocks = reading.read_blocks(reading.open_table("b.csv", (DEMO / "blocks.csv").read_bytes())).table.iloc[::8]
    opened = reading.open_table("d.csv", (DEMO / "blocks_defects.csv").read_bytes())
    defects = reading.read_defects(opened, None, blocks).table
    ready = plan.prepare(blocks.reset_index(drop=True), defects, reader.defaults(), 2027, 4)
    return plan.decide(ready, Scenario(start_year=2027, budgets_usd=(700_000.0,) * 4), effort=3)


def seen(*rows: tuple[str, int, str, float]) -> pd.DataFrame:
    return tables.with_types("measured", pd.DataFrame(rows, columns=["block_id", "year", "pay_item", "quantity"]))


def line(overruns: pd.DataFrame, block: str, item: str) -> pd.Series:
    return overruns.set_index(["block_id", "pay_item"]).loc[(block, item)]


def test_the_plan_is_the_one_worked_out_by_hand() -> None:
    total = sum(UNIT_USD[item] * quantity for item, quantity in PLANNED.items()) * FACTOR
    assert rebuilt().program["cost_usd"].iloc[0] == round(total, 2)
    assert total == pytest.approx(461_800.08, abs=0.005)


def test_actual_quantities_cost_what_the_plan_would_charge_for_them() -> None:
    found = measured.compare(rebuilt(), seen(("B001", 2027, "curb_and_gutter", 660), ("B001", 2027, "curb_ramp", 0)))
    pd.testing.assert_frame_equal(tables.check("overruns", found), found[[item.name for item in tables.fields("overruns")]])
    curb, ramp, paving = (line(found, "B001", item) for item in (
        "curb_and_gutter", "curb_ramp", "pavement_reconstruction"))
    assert curb["actual_usd"] == round(660 * 45 * FACTOR, 2) == 64_391.84
    assert curb["planned_usd"] == pytest.approx(600 * 45 * FACTOR, abs=0.01)
    assert curb["change_usd"] == pytest.approx(60 * 45 * FACTOR, abs=0.011) and curb["change_share"] == pytest.approx(0.1)
    assert (ramp["actual"], ramp["actual_usd"], ramp["change_share"]) == (0.0, 0.0, -1.0), "0 is measured"
    assert (paving["actual"], paving["actual_usd"], paving["change_usd"]) == (1200.0, paving["planned_usd"], 0.0)
    assert found.loc[found["measured"], "pay_item"].tolist() == ["curb_and_gutter", "curb_ramp"]
    blocks = measured.updated(rebuilt(), found)
    assert blocks.to_dict("records") == [{
        "block_id": "B001", "year": 2027, "planned_usd": 461_800.08,
        "updated_usd": pytest.approx(461_800.08 + curb["change_usd"] + ramp["change_usd"], abs=1e-9),
        "change_usd": pytest.approx(curb["change_usd"] + ramp["change_usd"], abs=1e-9),
        "items_measured": 2, "items_priced": 3}]


def test_a_committed_price_is_shared_out_by_the_estimate() -> None:
    found = measured.compare(rebuilt(), seen(("B002", 2028, "curb_ramp", 8)))
    assert round(found["planned_usd"].sum(), 2) == round(COMMITTED_USD, 2)
    share = 4 * 4500 / (1200 * 140 + 600 * 45 + 4 * 4500)
    assert line(found, "B002", "curb_ramp")["actual_usd"] == pytest.approx(2 * share * COMMITTED_USD, abs=0.005)


def test_parts_of_an_all_in_item_cost_nothing_by_themselves() -> None:
    found = measured.compare(rebuilt(), seen(("B001", 2027, "concrete_reconstruction", 300)))
    part = line(found, "B001", "concrete_reconstruction")
    assert (part["planned"], part["planned_usd"], part["actual_usd"]) == (pytest.approx(245.0), 0.0, 0.0)
    assert part["change_share"] == pytest.approx(300 / 245 - 1)
    assert found["change_usd"].eq(0).all()
    assert measured.updated(rebuilt(), found)["items_measured"].tolist() == [0]


def test_a_part_measured_by_the_same_need_moves_its_all_in_item() -> None:
    """Removal and base are measured by the area of the block, as the pavement itself is."""
    found = measured.compare(rebuilt(), seen(("B001", 2027, "removal_reconstruction", 1300)))
    paving = line(found, "B001", "pavement_reconstruction")
    assert (paving["actual"], paving["actual_usd"]) == (1300.0, round(1300 * 140 * FACTOR, 2)) and paving["measured"]
    assert line(found, "B001", "base_reconstruction")["actual"] == 1200.0, "it has no price that it could change"
    both = seen(("B001", 2027, "removal_reconstruction", 1300), ("B001", 2027, "base_reconstruction", 1250))
    assert line(measured.compare(rebuilt(), both), "B001", "pavement_reconstruction")["actual"] == 1200.0, "which one?"
    own = seen(("B001", 2027, "removal_reconstruction", 1300), ("B001", 2027, "pavement_reconstruction", 1190))
    assert line(measured.compare(rebuilt(), own), "B001", "pavement_reconstruction")["actual"] == 1190.0


def test_by_components_the_parts_have_the_price() -> None:
    made = rebuilt("components")
    found = measured.compare(made, seen(("B001", 2027, "pavement_reconstruction", 1300)))
    assert line(found, "B001", "pavement_reconstruction")["actual_usd"] == 0
    for item, price in (("removal_reconstruction", 18), ("base_reconstruction", 22)):
        assert line(found, "B001", item)["actual_usd"] == round(1300 * price * FACTOR, 2)
    assert round(found["planned_usd"].sum(), 2) == round(made.program["cost_usd"].iloc[0], 2)


def test_an_item_that_was_not_planned_is_priced_and_has_no_share() -> None:
    found = line(measured.compare(rebuilt(), seen(("B001", 2027, "casting_adjustment", 3))), "B001", "casting_adjustment")
    assert (found["planned"], found["planned_usd"], found["unit"]) == (0.0, 0.0, "each")
    assert found["actual_usd"] == round(3 * 900 * FACTOR, 2) and np.isnan(found["change_share"])


def test_blocks_and_years_outside_the_program_are_told_and_compared_with_nothing() -> None:
    rows = seen(("B001", 2028, "curb_ramp", 1), ("Q9", 2027, "curb_ramp", 1), ("Q9", 2027, "curb_and_gutter", 1))
    assert measured.compare(rebuilt(), rows).empty
    repairs = tables.with_types("measured_repairs", pd.DataFrame({
        "block_id": ["B001"], "year": [2027], "repair_id": [7], "length_ft": [6], "width_ft": [6]}))
    assert measured.repair_changes(rebuilt(), repairs).empty
    notes = measured.unplanned(rebuilt(), rows, repairs)
    assert [(note.block_id, note.year) for note in notes] == [("B001", 2028), ("Q9", 2027), ("B001", 2027)]
    assert "2 quantities were measured, and the program does no work" in notes[1].message
    assert "no repair 7" in notes[2].message


def test_an_unknown_item_and_one_that_stands_twice_are_faults() -> None:
    with pytest.raises(ValueError, match="no pay item 'gold_leaf'"):
        measured.compare(rebuilt(), seen(("B001", 2027, "gold_leaf", 1)))
    with pytest.raises(ValueError, match="curb_ramp of block B001 stands twice"):
        measured.compare(rebuilt(), seen(("B001", 2027, "curb_ramp", 1), ("B001", 2027, "curb_ramp", 2)))


def test_nothing_measured_is_nothing_changed() -> None:
    nothing = measured.compare(rebuilt(), tables.empty("measured"))
    assert nothing.empty and measured.updated(rebuilt(), nothing).empty
    ahead = measured.outlook(rebuilt(), nothing, 2027)
    assert ahead.rates.empty and "Nothing is measured yet" in ahead.sentence
    assert ahead.money["blocks"].tolist() == [3, 4]
    assert ahead.money["planned_usd"].tolist() == ahead.money["at_rates_usd"].tolist()


def test_two_blocks_are_too_few_for_a_rate_and_three_are_enough() -> None:
    rows = [(block, 2027, "pavement_reconstruction", 1260.0) for block in ("B001", "B003")]
    few = measured.outlook(rebuilt(), measured.compare(rebuilt(), seen(*rows)), 2027)
    assert few.rates[["blocks", "rate", "used"]].to_numpy().tolist() == [[2, 1.05, 1.0]]
    assert few.money["at_rates_usd"].tolist() == few.money["planned_usd"].tolist() == [461_800.08, 711_800.09]
    assert "too little to say anything of the rest: a rate needs at least 3 blocks" in few.sentence
    # 1,260, 1,260 and 1,440 of 3,600 sq yd measured: a rate of 1.1 on the paving of B002, the rest as planned
    enough = measured.outlook(rebuilt(), measured.compare(
        rebuilt(), seen(*rows, ("B004", 2027, "pavement_reconstruction", 1440.0))), 2027)
    assert enough.rates[["blocks", "planned", "actual", "rate", "used"]].to_numpy().tolist() == [
        [3, 3600.0, 3960.0, pytest.approx(1.1), pytest.approx(1.1)]]
    paving = 1200 * 140 / (1200 * 140 + 600 * 45 + 4 * 4500)
    assert enough.money.to_dict("records") == [
        {"scope": "year", "blocks": 0, "planned_usd": 0.0, "at_rates_usd": 0.0},
        {"scope": "program", "blocks": 1, "planned_usd": 250_000.01,
         "at_rates_usd": pytest.approx(COMMITTED_USD * (1 + 0.1 * paving), abs=0.005)}]
    assert "No block of 2027 is left to measure." in enough.sentence
    assert "at the same rates $269,718.32" in enough.sentence
    assert "Blocks done first may be unlike the rest" in enough.sentence


@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_money_adds_up_to_the_cent_whatever_was_measured(data: st.DataObject) -> None:
    made = {"demo": demo, "all-in": rebuilt, "components": lambda: rebuilt("components")}[
        data.draw(st.sampled_from(["demo", "all-in", "components"]))]()
    planned = made.quantities.merge(made.program[["block_id", "year", "strategy"]])
    blocks = data.draw(st.lists(st.sampled_from(planned["block_id"].unique().tolist()), min_size=1, max_size=4, unique=True))
    rows = planned[planned["block_id"].isin(blocks)]
    kept = data.draw(st.lists(st.integers(0, len(rows) - 1), min_size=1, unique=True))
    amounts = data.draw(st.lists(st.floats(0, 1e5), min_size=len(kept), max_size=len(kept)))
    given_ = rows.iloc[kept].assign(quantity=amounts)
    found = measured.compare(made, tables.with_types("measured", given_))
    cost = made.program.set_index("block_id")["cost_usd"]
    for block, part in found.groupby("block_id"):
        assert cents(part["planned_usd"]) == round(round(float(cost[block]), 2) * 100)
        assert cents(part["planned_usd"]) + cents(part["change_usd"]) == cents(part["actual_usd"])
    totals = measured.updated(made, found)
    assert set(totals["block_id"]) == set(given_["block_id"])
    assert cents(totals["updated_usd"]) == cents(found["actual_usd"])
    assert cents(totals["change_usd"]) == cents(found["change_usd"])
    priced = estimate.priced(pd.Index(found["pay_item"]), made.prepared.assumptions)
    assert (found.loc[~priced, ["planned_usd", "actual_usd"]] == 0).all().all()
    raw = found["planned_usd"] - expected(made, found)
    assert raw.abs().max() < 0.01, "a line is never a cent away from its own price"
    merged = given_.merge(found, on=["block_id", "year", "pay_item"])
    assert (merged["actual"] == merged["quantity_x" if "quantity_x" in merged else "quantity"]).all()


def cents(amounts: pd.Series) -> int:
    """Each amount is whole cents, and so is the sum."""
    each = (amounts * 100).round()
    assert np.allclose(each, amounts * 100, rtol=1e-12, atol=1e-4)
    return int(each.sum())


def expected(made: plan.Plan, found: pd.DataFrame) -> pd.Series:
    """Each planned line by :func:`estimate.lines`, not rounded; committed prices as a share of it."""
    usd = pd.Series(0.0, found.index)
    source = made.prepared.network.set_index("block_id")["condition_source"]
    for (block, year), rows in found.groupby(["block_id", "year"]):
        listed = rows.rename(columns={"planned": "quantity"})
        line = estimate.lines(listed, made.prepared.assumptions, int(str(year)), str(source[block]))["cost_usd"]
        cost = float(made.program.set_index("block_id").at[block, "cost_usd"])
        usd[rows.index] = line.to_numpy() * cost / line.sum()
    return usd


def test_the_same_measures_in_another_order_give_the_same_table() -> None:
    made = demo()
    rows = made.quantities.merge(made.program[["block_id", "year", "strategy"]]).iloc[:80].assign(quantity=3.25)
    one = measured.compare(made, tables.with_types("measured", rows))
    other = measured.compare(made, tables.with_types("measured", rows.sample(frac=1, random_state=5)))
    pd.testing.assert_frame_equal(one, other)


def test_repairs_one_by_one() -> None:
    made = demo()
    plans = made.prepared.repairs.iloc[:3]
    rows = plans.assign(year=2027, length_ft=[7.0, np.nan, 0.0], width_ft=[6.0, np.nan, 0.0],
                        depth_in=[8.0, 9.0, np.nan])
    found = measured.repair_changes(made, tables.with_types("measured_repairs", rows))
    pd.testing.assert_frame_equal(tables.check("repair_changes", found), found)
    planned = plans["area_sqft"].tolist()
    assert found["planned_sqft"].tolist() == planned
    # 7 x 6 ft is 42 sq ft and 8 in deep 28 cu ft; a depth alone leaves the area; 0 x 0 was not cut
    assert found["actual_sqft"].tolist() == [42.0, planned[1], 0.0]
    assert found["actual_cuft"].tolist() == [pytest.approx(28.0), pytest.approx(planned[1] * 0.75), 0.0]
    assert found["change_sqft"].tolist() == [42.0 - planned[0], 0.0, -planned[2]]
    assert found["planned_cuft"].tolist() == pytest.approx(
        (plans["area_sqft"] * plans["depth_in"] / 12).tolist())
    unmeasured = measured.repair_changes(made, tables.with_types("measured_repairs", rows.assign(depth_in=np.nan)))
    assert unmeasured["actual_cuft"].isna().tolist() == [True, True, False]


def test_a_work_list_goes_to_the_street_and_comes_back() -> None:
    """The real workbook, filled in by another program: planned times 1.1, repairs 1 ft longer, some cells empty."""
    made, year = demo(), 2027
    ready = made.prepared
    listed = worklist.content(made.overview, ready.network, ready.needs, made.program, made.quantities,
                              tables.empty("tasks"), ready.repairs, ready.findings, made.notes, tables.empty("geometry"),
                              ready.assumptions, year)
    book = openpyxl.load_workbook(io.BytesIO(worklist.workbook(listed, ready.assumptions)))
    asked: dict[str, set[tuple[str, str]]] = {kind: set() for kind in ENTRIES}
    skipped = 0
    for sheet in book:
        heads: dict[str, int] = {}
        for row in sheet.iter_rows():
            heads |= {str(cell.value): cell.column for cell in row if isinstance(cell.value, str)}
            keys = [json.loads(cell.value) for cell in row if str(cell.value).startswith('["')]
            if not keys:
                continue
            kind, block, of_year, name = keys[0]
            assert of_year == year and sheet.column_dimensions[row[-1].column_letter].hidden
            if (len(asked[kind]) + skipped) % 7 == 3:
                skipped += 1
                continue
            asked[kind].add((block, name))
            if kind == "quantities":
                sheet.cell(row[0].row, heads["Actual quantity"], 1.1 * planned_of(made, block, name))
            else:
                size = ready.repairs.set_index(["block_id", "repair_id"]).loc[(block, int(name))]
                for heading, value in (("Actual length, ft", size["length_ft"] + 1), ("Actual width, ft", size["width_ft"])):
                    sheet.cell(row[0].row, heads[heading], float(value))
    stream = io.BytesIO()
    book.save(stream)
    assert len(asked["quantities"]) > 50 and len(asked["repairs"]) > 5 and skipped > 10
    found = reading.read_measured("list.xlsx", stream.getvalue(), ready.network, year, repairs=ready.repairs)
    assert found.problems.empty, found.problems["message"].tolist()
    assert set(found.quantities[["block_id", "pay_item"]].itertuples(index=False, name=None)) == asked["quantities"]
    assert {(block, str(number)) for block, number in found.repairs[["block_id", "repair_id"]].astype(
        {"repair_id": int}).itertuples(index=False)} == asked["repairs"]
    overruns = measured.compare(made, found.quantities)
    seen_ = overruns[overruns["measured"]]
    assert np.allclose(seen_["change_share"], 0.1)
    assert np.allclose(seen_["actual_usd"], 1.1 * seen_["planned_usd"], atol=0.02)
    assert np.allclose(overruns.loc[~overruns["measured"], "change_usd"], 0)
    changes = measured.repair_changes(made, found.repairs)
    width = ready.repairs.merge(changes[["block_id", "repair_id"]].astype({"repair_id": "int64"}))["width_ft"]
    assert sorted(changes["change_sqft"].round(6)) == sorted(width.round(6))


def planned_of(made: plan.Plan, block: str, item: str) -> float:
    rows = made.quantities.merge(made.program[["block_id", "year", "strategy"]])
    return float(rows.set_index(["block_id", "pay_item"]).at[(block, item), "quantity"])


def of_repairs(made: plan.Plan, block: str, factor: float) -> pd.DataFrame:
    """All repairs of a block as if each had become longer."""
    rows = made.prepared.repairs[made.prepared.repairs["block_id"] == block]
    year = int(made.program.set_index("block_id")["year"].loc[block])
    return tables.with_types("measured_repairs", rows.assign(year=year, length_ft=rows["length_ft"] * factor)[
        ["block_id", "year", "repair_id", "length_ft", "width_ft", "depth_in"]])


def repaired(made: plan.Plan, kind: str) -> str:
    """A block of the program that is repaired with such repairs from its panel survey."""
    own = made.prepared.repairs.loc[made.prepared.repairs["kind"] == kind, "block_id"]
    program = made.program[made.program["block_id"].isin(own) & (made.program["strategy"] == "partial_depth")]
    return str(program["block_id"].iloc[0])


def planned(made: plan.Plan, block: str, item: str) -> float:
    """What the program plans of an item on a block."""
    rows = made.quantities.merge(made.program[["block_id", "year", "strategy"]])
    return float(rows.loc[(rows["block_id"] == block) & (rows["pay_item"] == item), "quantity"].iloc[0])


def test_measured_repairs_change_the_area_that_is_paid() -> None:
    made = demo()
    block = repaired(made, "partial depth")
    own = made.prepared.repairs[(made.prepared.repairs["block_id"] == block) & (made.prepared.repairs["kind"] == "partial depth")]
    found = measured.with_repairs(made, seen(), of_repairs(made, block, 1.2)).set_index("pay_item")["quantity"]
    before = planned(made, block, "partial_depth_patch")
    assert found["partial_depth_patch"] == pytest.approx(before + 0.2 * own["area_sqft"].sum())
    written = seen((block, int(made.program.set_index("block_id")["year"].loc[block]), "partial_depth_patch", 7.0))
    assert measured.with_repairs(made, written, of_repairs(made, block, 1.2)).set_index("pay_item")["quantity"][
        "partial_depth_patch"] == 7.0, "what was written down holds"
    assert measured.with_repairs(made, seen(), of_repairs(made, block, 1.0)).set_index("pay_item")["quantity"][
        "partial_depth_patch"] == pytest.approx(before)
    overruns = measured.compare(made, measured.with_repairs(made, seen(), of_repairs(made, block, 1.2)))
    assert measured.updated(made, overruns)["change_usd"].iloc[0] > 0


def test_a_slip_of_the_decimal_point_is_said() -> None:
    made = demo()
    block = repaired(made, "partial depth")
    year = int(made.program.set_index("block_id")["year"].loc[block])
    usual = planned(made, block, "partial_depth_patch")
    for factor, said in ((1.3, 0), (10.0, 1), (100.0, 1)):
        overruns = measured.compare(made, seen((block, year, "partial_depth_patch", usual * factor)))
        notes = measured.doubtful(overruns, measured.repair_changes(made, of_repairs(made, block, 1.1)))
        assert len(notes) == said and all("decimal point" in note.message for note in notes)
    longer = of_repairs(made, block, 10.0)
    notes = measured.doubtful(tables.empty("overruns"), measured.repair_changes(made, longer))
    assert notes and all("repair" in note.message and note.block_id == block for note in notes)
