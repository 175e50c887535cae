"""Rules at their published limits from both sides, reasons, overrides, and a worse block never treated lighter."""

from collections.abc import Callable
from dataclasses import replace

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rehab.base import tables
from rehab.base.errors import BadAssumption
from rehab.base.settings import Assumptions, Override
from rehab.base.tables import STRATEGIES
from rehab.inputs import assumptions as reader
from rehab.steps import layout, needs, network, strategy

Maker = Callable[..., pd.DataFrame]
SOUND = {"full_share": 0.0, "partial_share": 0.0, "cracked_share": 0.0, "sunken_share": 0.0, "curb_share": 0.0,
         "wide_joint_share": 0.0, "panels_full": 0.0, "partial_depth_in": 2.0, "distress_level": 0.0, "index": 95.0}


def needed(*rows: dict[str, float]) -> pd.DataFrame:
    """Needs of sound blocks with what the rows say laid over them."""
    frame = pd.DataFrame([{"block_id": f"B{number:03d}", "year": 2026, **SOUND, **row}
                          for number, row in enumerate(rows, 1)])
    return frame.assign(estimated=False)


def sort(assumptions: Assumptions, *rows: dict[str, float], thickness_in: float = 8.0) -> pd.DataFrame:
    table = needed(*rows)
    return strategy.sort(pd.DataFrame({"thickness_in": [thickness_in] * len(table)}), table, assumptions)


def with_rules(assumptions: Assumptions, rules: pd.DataFrame) -> Assumptions:
    return replace(assumptions, tables={**assumptions.tables, "decision_rules": rules})


@pytest.mark.parametrize(("row", "expected"), [
    # City of Fort Worth, Informal Report 23-0726: more than half the panels and an index below 50.
    ({"full_share": 0.501, "panels_full": 30.1, "index": 49.9}, "reconstruction"),
    ({"full_share": 0.500, "panels_full": 30.0, "index": 49.9}, "full_depth"),
    ({"full_share": 0.501, "panels_full": 30.1, "index": 50.0}, "full_depth"),
    # The same report: more than 30 % of the curb (with the low index).
    ({"curb_share": 0.301, "panels_full": 3.0, "index": 49.9}, "reconstruction"),
    ({"curb_share": 0.300, "panels_full": 3.0, "index": 49.9}, "full_depth"),
    ({"curb_share": 0.301, "panels_full": 3.0, "index": 50.0}, "full_depth"),
    # Missouri City (2020, as reported): below 40.
    ({"index": 39.9}, "reconstruction"),
    ({"index": 40.0}, "none"),
    # FHWA Full-Depth Repairs, limitations: material distress, where repair gives only temporary relief.
    ({"distress_level": 3.0}, "reconstruction"),
    ({"distress_level": 2.0}, "none"),
    # FHWA Full-Depth Repairs, Table 1: one broken corner or panel takes full depth.
    ({"panels_full": 1.0}, "full_depth"),
    ({"panels_full": 0.5}, "full_depth"),  # half a panel, the rounding of an expectation: our proposal
    ({"panels_full": 0.49}, "none"),
    # Concrete restoration guide (from memory): 2.5 % of joints; a quarter of the joints wide open: reseal.
    ({"partial_share": 0.025}, "partial_depth"),
    ({"partial_share": 0.0249}, "none"),
    ({"wide_joint_share": 0.25}, "partial_depth"),
    ({"wide_joint_share": 0.249}, "none"),
])
def test_rules_at_their_limits(defaults: Assumptions, row: dict[str, float], expected: str) -> None:
    assert sort(defaults, row)["strategy"].tolist() == [expected]


@pytest.mark.parametrize(("limit", "depth_in", "expected"), [
    # FHWA Partial-Depth Repairs: the top third; other texts: half. 9 in slab: a third is 3 in, half is 4.5 in.
    (0.3333333, 3.1, "full_depth"), (0.3333334, 3.0, "partial_depth"),
    (0.5, 4.51, "full_depth"), (0.5, 4.5, "partial_depth"), (0.5, 3.1, "partial_depth")])
def test_deep_damage_turns_partial_into_full(defaults: Assumptions, limit: float, depth_in: float,
                                             expected: str) -> None:
    rules = reader.overlay(defaults, {"decision_rules": {"depth/partial_depth_share": limit}})
    row = {"partial_share": 0.1, "partial_depth_in": depth_in}
    assert sort(rules, row, thickness_in=9.0)["strategy"].tolist() == [expected]


def test_deep_damage_alone_does_not_fire(defaults: Assumptions) -> None:
    assert sort(defaults, {"partial_share": 0.0, "partial_depth_in": 7.0})["strategy"].tolist() == ["none"]


def test_alternatives_begin_with_the_strategy(defaults: Assumptions) -> None:
    found = sort(defaults, {"index": 30.0}, {"panels_full": 2.0}, {"partial_share": 0.1}, {}, {"distress_level": 3.0})
    assert found["alternatives"].tolist() == ["reconstruction; full_depth", "full_depth; reconstruction",
                                              "partial_depth", "none", "reconstruction"]
    flags = strategy.adequate(found)
    assert flags["reconstruction"].tolist() == [True, True, False, False, True]
    assert flags["full_depth"].tolist() == [True, True, False, False, False]
    assert flags["partial_depth"].tolist() == [False, False, True, False, False]


def test_reasons_name_value_limit_and_source(defaults: Assumptions) -> None:
    found = sort(defaults, {"full_share": 0.62, "panels_full": 37.2, "index": 31.0, "partial_share": 0.2}, {})
    first = found["reasons"].iloc[0]
    for part in ("62 %", "over 50 %", "31 points", "below 50 points", "Informal Report 23-0726", "(read)",
                 "37.2 panels", "Table 1", "20 %", "at least 2.5 %"):
        assert part in first
    assert first.index("Informal Report 23-0726") < first.index("37.2 panels")  # the deciding rule comes first
    assert "no rule asks for work yet" not in first
    assert found["reasons"].iloc[1].startswith("no rule asks for work yet: 95 points (at least 0 points;")
    quiet = strategy.sort(pd.DataFrame({"thickness_in": [8.0]}), needed({}), defaults, explain=False)
    assert quiet["reasons"].tolist() == [""]


def test_a_missing_measure_fires_nothing(defaults: Assumptions) -> None:
    rules = defaults.table("decision_rules")
    extra = rules.loc[["distress/distress_level"]].rename({"distress/distress_level": "step/faulting_in"}).assign(
        rule_id="step", measure="faulting_in", value="0.25", unit="in", priority="15")
    table = needed({}, {}).assign(faulting_in=[float("nan"), 0.3])
    found = strategy.sort(pd.DataFrame({"thickness_in": [8.0, 8.0]}), table,
                          with_rules(defaults, pd.concat([rules, extra])))
    assert found["strategy"].tolist() == ["none", "reconstruction"]


def test_override_keeps_the_reason_and_the_rule_replaced(defaults: Assumptions) -> None:
    found = sort(defaults, {"partial_share": 0.1}, {"panels_full": 2.0})
    before = found.copy(deep=True)
    own = strategy.override(found, (Override("B001", "reconstruction", "sewer is renewed"),
                                    Override("ZZZ", "none", "not here")))
    pd.testing.assert_frame_equal(found, before)
    row = own.iloc[0]
    assert (row["strategy"], row["alternatives"]) == ("reconstruction", "reconstruction") and row["overridden"]
    assert "sewer is renewed" in row["reasons"] and "partial depth" in row["reasons"]
    assert "joints and cracks are spalled" in row["reasons"]
    pd.testing.assert_series_equal(own.iloc[1], found.iloc[1])
    assert strategy.override(found, ()) is found


@pytest.mark.parametrize(("column", "value", "named"), [
    ("measure", "temperature", "unknown measure 'temperature'"), ("operator", "==", "unknown operator '=='"),
    ("strategy", "overlay", "unknown strategy 'overlay'"), ("also", "overlay", "unknown strategy 'overlay'")])
def test_an_impossible_rule_is_refused(defaults: Assumptions, column: str, value: str, named: str) -> None:
    rules = defaults.table("decision_rules").copy()
    rules.loc["low index/index", column] = value
    with pytest.raises(BadAssumption, match=named) as error:
        sort(with_rules(defaults, rules), {})
    assert "low index/index" in str(error.value)


def test_without_a_catch_all_a_block_that_no_rule_catches_is_refused(defaults: Assumptions) -> None:
    rules = defaults.table("decision_rules").drop("sound/index")
    with pytest.raises(BadAssumption, match="last rule must hold for every block"):
        sort(with_rules(defaults, rules), {"panels_full": 3.0}, {})


def test_the_order_of_rows_decides_nothing(defaults: Assumptions) -> None:
    rows = [{"panels_full": 2.0}, {"index": 20.0}, {}, {"partial_share": 0.3}, {"distress_level": 3.0}]
    found = sort(defaults, *rows)
    table = needed(*rows)
    turned = strategy.sort(pd.DataFrame({"thickness_in": [8.0] * 5}), table.iloc[::-1], defaults)
    pd.testing.assert_frame_equal(turned.iloc[::-1].reset_index(drop=True), found)
    shuffled = defaults.table("decision_rules").sample(frac=1, random_state=3)  # priority decides, not the file
    again = strategy.sort(pd.DataFrame({"thickness_in": [8.0] * 5}), table, with_rules(defaults, shuffled))
    assert again["strategy"].tolist() == found["strategy"].tolist()


ASSUMED = reader.defaults()
worse_by = {"full_share": 1, "partial_share": 1, "curb_share": 1, "wide_joint_share": 1, "panels_full": 60,
            "partial_depth_in": 8, "distress_level": 3, "index": -100}
values = st.fixed_dictionaries({
    **{name: st.floats(0, abs(top)) for name, top in worse_by.items() if name != "distress_level"},
    "distress_level": st.integers(0, 3).map(float)})


@given(st.lists(st.tuples(values, st.sampled_from(sorted(worse_by)), st.floats(0, 1)), min_size=20, max_size=40))
@settings(max_examples=15, deadline=None)
def test_a_worse_measure_never_gets_a_lighter_strategy(drawn: list[tuple[dict[str, float], str, float]]) -> None:
    pairs: list[dict[str, float]] = []
    for row, name, step in drawn:
        worse = row[name] + step * (max(worse_by[name], 0) - row[name])
        pairs += [row, {**row, name: round(worse) if name == "distress_level" else worse}]
    found = sort(ASSUMED, *pairs)["strategy"].map(STRATEGIES.index).to_numpy()
    assert (found[1::2] >= found[::2]).all()


surveyed = st.fixed_dictionaries({
    **{name: st.integers(0, 60) for name in ("panels_cracked", "panels_broken", "panels_sunken", "corner_breaks")},
    "spalled_joint_ft": st.floats(0, 600), "wide_joint_ft": st.floats(0, 1320), "hollow_sqft": st.floats(0, 5000),
    "sunken_curb_ft": st.floats(0, 600), "damage_depth_in": st.floats(0, 8),
    "material_distress": st.integers(0, 3)})
mostly_sound = st.fixed_dictionaries({
    **{name: st.sampled_from([0, 0, 0, 1, 30]) for name in
       ("panels_cracked", "panels_broken", "panels_sunken", "corner_breaks", "material_distress")},
    **{name: st.sampled_from([0.0, 0.0, 8.0, 9.0, 330.0]) for name in
       ("spalled_joint_ft", "wide_joint_ft", "hollow_sqft", "sunken_curb_ft", "damage_depth_in")}}).map(
           lambda row: {**row, "material_distress": min(row["material_distress"], 3),
                        "damage_depth_in": min(row["damage_depth_in"], 8.0)})
most = {"damage_depth_in": 8.0, "material_distress": 3, "spalled_joint_ft": 600.0, "wide_joint_ft": 1320.0,
        "hollow_sqft": 5000.0, "sunken_curb_ft": 600.0, "panels_cracked": 60, "panels_broken": 60,
        "panels_sunken": 60, "corner_breaks": 60}


def sorted_blocks(rows: list[dict[str, object]]) -> pd.DataFrame:
    """Strategies of blocks through network and needs, inputs checked to be as before."""
    usual = {"length_ft": 300.0, "width_ft": 36.0, "panel_length_ft": 15.0, "panel_width_ft": 12.0, "thickness_in": 8.0}
    named = [{"block_id": f"B{number:03d}", **usual, **row} for number, row in enumerate(rows)]
    city = network.build(tables.with_types("blocks", pd.DataFrame(named)), ASSUMED)
    per_panel = layout.per_panel(city, tables.empty("defects"), tables.empty("repairs"), ASSUMED)
    need = needs.measure(city, per_panel, ASSUMED)
    before = city.copy(deep=True), need.copy(deep=True)
    found = strategy.sort(city, need, ASSUMED)
    for now, then in zip((city, need), before, strict=True):
        pd.testing.assert_frame_equal(now, then)
    return found


@given(st.lists(st.tuples(st.one_of(surveyed, mostly_sound), st.sampled_from(sorted(most)), st.floats(0, 1)),
                min_size=20, max_size=40))
@settings(max_examples=4, deadline=None)
def test_a_worse_survey_never_gets_a_lighter_strategy(drawn: list[tuple[dict[str, float], str, float]]) -> None:
    # Through network and needs, where a share that grows takes room from another.
    rows: list[dict[str, object]] = []
    for row, name, step in drawn:
        more = step * (most[name] - row[name])
        worse = {**row, name: row[name] + (round(more) if isinstance(most[name], int) else more)}
        rows += [{**either, "material_distress": tables.DISTRESS[int(either["material_distress"])]}
                 for either in (row, worse)]
    found = sorted_blocks(rows)["strategy"].map(STRATEGIES.index).to_numpy()
    assert (found[1::2] >= found[::2]).all()


def test_a_lower_index_never_gets_a_lighter_strategy() -> None:
    found = sorted_blocks([{"condition_index": index / 4} for index in range(400, -1, -1)])
    assert found["strategy"].map(STRATEGIES.index).is_monotonic_increasing
    assert set(found["strategy"]) == set(STRATEGIES) and found["estimated"].all()
