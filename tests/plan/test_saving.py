"""What work in a year of the program saves, against the plan's own life cycles and streams written out.

Present worth by numpy-financial 1.0.0 (``pv``), a reference outside the project.
"""

from functools import cache

import numpy as np
import numpy_financial as npf
import pandas as pd
import pytest

from rehab import plan
from rehab.base import tables
from rehab.base.tables import WORK
from rehab.inputs import assumptions as reader
from rehab.plan import Prepared, saving, worth
from rehab.steps import forecast, grinding, lifecycle
from rehab.steps.forecast import Work

BUILT = "reconstruction"


@cache
def prepared(years: int = 10, blocks: int = 7, ground: str = "", **economics: str) -> Prepared:
    """Blocks from sound to worn, of two classes; one that is at its trigger, one whose concrete falls apart."""
    usual = {"length_ft": 300.0, "width_ft": 36.0, "year_built": 1986, "surveyed_on": "2026-06-01"}
    rows = [{"condition_index": 90.0}, {"panels_broken": 1, "spalled_joint_ft": 90.0},
            {"panels_broken": 5, "panels_cracked": 6}, {"condition_index": 45.0, "functional_class": "collector"},
            {"condition_index": 30.0}, {"panels_broken": 4, "material_distress": "high"},
            {"panels_broken": 3, "grindings": 2, "last_ground_year": 2019}]
    frame = pd.DataFrame([{"block_id": f"B{number}", **usual, **row} for number, row in enumerate(rows, 1)])
    lives = {"ground.second_age_yr": ground} if ground else {}
    assumptions = reader.overlay(reader.defaults(), {"economics": economics, "treatment_lives": lives})
    return plan.prepare(tables.with_types("blocks", frame.iloc[:blocks]), tables.empty("defects"), assumptions, 2027,
                        years)


def everywhere(made: Prepared) -> dict[str, np.ndarray]:
    return {name: np.ones((len(made.network), made.years), bool) for name in WORK}


def present(usd: float, when: float) -> float:
    return float(npf.pv(0.03, when, 0, -usd))


def none_usd(made: Prepared, row: int) -> float:
    return float(made.worth["none_worth_usd"].iloc[row])


@pytest.mark.parametrize("economics", [{}, {"real_escalation": "yes"}, {"discount": "0.07", "horizon_yr": "35"}])
def test_in_the_first_year_it_is_the_difference_of_the_plans_own_worths(economics: dict[str, str]) -> None:
    made = prepared(**economics)
    found = saving.savings(made, everywhere(made))
    for name in WORK:
        assert np.array_equal(found[name][:, 0], made.worth["none_worth_usd"] - made.worth[f"{name}_worth_usd"])


def test_reconstruction_in_each_year_by_hand() -> None:
    # In real dollars reconstruction costs the same in every year; it is paid once, and its value at the horizon is the
    # unused part of its life.  A block past its trigger (the fifth) waits like the others: nothing else is paid.
    made = prepared()
    found = saving.savings(made, everywhere(made))[BUILT]
    assert made.lives["none"]["treated_yr"].iloc[4] == 0
    checked = 0
    for row in range(len(made.network)):
        usd, life = made.costs[BUILT][row, 0], made.lives[BUILT]["treated_yr"].iloc[row]
        for step in range(10):
            if step + life >= 40:
                expected = present(usd, step) - present(usd * (1 - (40 - step) / life), 40)
                assert found[row, step] == pytest.approx(none_usd(made, row) - expected, abs=0.01)
                checked += 1
    assert checked >= 35


def test_new_concrete_lasts_as_long_whatever_its_year() -> None:
    made = prepared()
    block, built = np.arange(len(made.network)), np.full(len(made.network), BUILT)
    for step in (0, 4, 9):
        found = saving.life_from(made, block, [Work(np.full(len(block), step), built)])
        assert found == pytest.approx(made.lives[BUILT]["treated_yr"].to_numpy(), abs=1e-9)


def test_prices_that_grow_above_inflation_count_from_the_first_year() -> None:
    # 4 % above 2.5 % inflation: 1.04 / 1.025 a year, by the dollars of the year and by those of the horizon's value.
    made = prepared(real_escalation="yes")
    found = saving.savings(made, everywhere(made))[BUILT]
    row = int(np.argmax(made.lives[BUILT]["treated_yr"]))
    life, usd = made.lives[BUILT]["treated_yr"].iloc[row], made.costs[BUILT][row, 0] * (1.04 / 1.025) ** 6
    assert life > 34
    expected = present(usd, 6) - present(usd * (1 - 34 / life), 40)
    assert found[row, 6] == pytest.approx(none_usd(made, row) - expected, abs=0.01)


@pytest.mark.parametrize(("row", "step"), [(2, 0), (2, 5), (3, 3), (6, 2), (6, 9)])
def test_full_depth_in_a_later_year_by_its_stream_written_out(row: int, step: int) -> None:
    # Left alone until the year, panels replaced, reconstruction when the index is back at the trigger; the surface is
    # ground again every 13.5 years in between, where the slab allows it (three grindings in all).
    made = prepared()
    path = forecast.treated(made.ageing, np.array([row]), np.array([step]), np.array(["full_depth"]))
    index = forecast.index_of(path[1], path[2], np.maximum(made.ageing.shift[[row]], 0.0)[:, None],
                              made.assumptions)[0]
    trigger = 50 if row == 3 else 40
    first = step + int(np.argmax(index[step:] <= trigger))
    back = first - 1 + (index[first - 1] - trigger) / (index[first - 1] - index[first])
    assert step < back < 40
    total = present(made.costs["full_depth"][row, step] / 1.04**step, step)
    ground = made.needs_by_year["grind_sqyd"].iloc[row * 10 + step]
    price = saving.grinding_price(made, np.array([row]), 2027)[0]
    done = 2 if row == 6 else 0
    for time in (1, 2):
        when = step + 13.5 * time
        if ground > 0 and when < back and done + 1 + time <= 3:
            total += present(ground * price, when)
    built, life, at = made.costs[BUILT][row, 0], max(made.lives[BUILT]["treated_yr"].iloc[row], 1.0), back
    while at < 40:
        total += present(built, at)
        at += life
    total -= present(built * (at - 40) / life, 40)
    found = saving.savings(made, everywhere(made))["full_depth"]
    assert found[row, step] == pytest.approx(none_usd(made, row) - total, abs=0.01)


def test_worked_out_where_the_rules_find_the_work_adequate_or_where_asked() -> None:
    made = prepared()
    usual, whole = saving.savings(made), saving.savings(made, everywhere(made))
    for number, name in enumerate(WORK, 1):
        open_ = made.adequate[name] | (made.by_rule == number)
        assert open_.any() and not open_.all()
        assert np.array_equal(np.isfinite(usual[name]), open_) and np.isfinite(whole[name]).all()
        assert np.array_equal(usual[name][open_], whole[name][open_])


def test_chunks_change_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    made = prepared()
    whole = saving.savings(made)
    monkeypatch.setattr(saving, "_CHUNK", 3)
    for name, found in saving.savings(made).items():
        assert found == pytest.approx(whole[name], abs=1e-6, nan_ok=True)


def test_years_after_the_horizon_have_no_figure() -> None:
    made = prepared(years=37, blocks=2, horizon_yr="35")
    for found in saving.savings(made, everywhere(made)).values():
        assert np.isfinite(found[:, :35]).all() and np.isnan(found[:, 35:]).all()


@pytest.mark.parametrize(("years", "blocks"), [(1, 7), (3, 0)])
def test_one_year_and_no_block(years: int, blocks: int) -> None:
    made = prepared(years=years, blocks=blocks)
    for found in saving.savings(made, everywhere(made)).values():
        assert found.shape == (blocks, years) and np.isfinite(found).all()


def test_a_repair_and_reconstruction_after_it_by_hand() -> None:
    made = prepared()
    row, first, then = np.array([2]), Work(np.array([1]), np.array(["full_depth"])), Work(np.array([9]), np.array([BUILT]))
    usd = made.costs[BUILT][row, 9]
    found = saving.of_pairs(made, BUILT, row, first, then, usd, np.zeros(1))[0]
    life = made.lives[BUILT]["treated_yr"].iloc[2]
    assert life > 31  # 8 years between the works are too few for grinding in between
    paid = present(made.costs["full_depth"][2, 1] / 1.04, 1) + present(usd[0] / 1.04**9, 9)
    assert found == pytest.approx(none_usd(made, 2) - paid + present(usd[0] / 1.04**9 * (1 - 31 / life), 40), abs=0.01)


def test_a_second_work_at_the_trigger_is_the_follow_up_itself() -> None:
    # Partial depth in the first year is followed by full depth when the index is back at the trigger: planned for just
    # that time, the second work is the follow-up.  The plan knows years alone, so the time is moved to a whole year.
    made = prepared()
    course = made.later["partial_depth"][0]
    assert course.of is not None
    back = made.lives["partial_depth"]["treated_yr"].to_numpy()
    rows = np.flatnonzero(course.of & (back >= 1) & (np.rint(back) < 10))
    assert len(rows)
    step = np.rint(back[rows]).astype(np.int64)
    first = Work(np.zeros(len(rows), np.int64), np.full(len(rows), "partial_depth"))
    then = Work(step, np.full(len(rows), "full_depth"))
    usd = course.cost_usd[rows] * 1.04**step
    found = saving.of_pairs(made, "full_depth", rows, first, then, usd, made.needs_by_year["grind_sqyd"].to_numpy()[rows * 10])
    terms = lifecycle.terms(made.assumptions, grinding.life(made.assumptions))
    for at, row in enumerate(rows):
        whole = worth.of_block(made, f"B{row + 1}")["partial_depth"]
        moved = (lifecycle.Activity("partial_depth", whole[0].cost_usd, np.array([float(step[at])]), whole[0].grinding_usd,
                                    ground_before=whole[0].ground_before), *whole[1:])
        expected = lifecycle.present_worth(moved, terms, (0.03,))[0, 0]
        assert found[at] == pytest.approx(none_usd(made, int(row)) - expected, abs=0.01)


@pytest.mark.parametrize("name", ["partial_depth", "full_depth"])
def test_grinding_when_the_surface_is_worn_is_what_the_life_cycle_does_anyway(name: str) -> None:
    # A ground surface that lasts 14 years: ground again in the fourteenth year, at the price of that year, the pair is
    # the single work itself; a year later it costs a year's discount less, if the life leaves room for as many grindings.
    made = prepared(years=20, ground="14")
    alone = saving.savings(made, everywhere(made))[name]
    rows = np.arange(len(made.network))
    ground = made.needs_by_year["grind_sqyd"].to_numpy(float).reshape(-1, 20)
    lives = np.stack([saving.life_from(made, rows, [Work(np.full(len(rows), step), np.full(len(rows), name))])
                      for step in range(5)], axis=1)
    left = np.where(rows == 6, 1, 3)[:, None]
    fit = (ground[:, :5] > 0) & (lives > 16) & (left >= 2)
    block, step = np.nonzero(fit)
    assert len(block) >= 5
    first = Work(step, np.full(len(block), name))
    area, real = ground[block, step], saving.grinding_price(made, block, 2027)
    for later in (14, 15):
        then = Work(step + later, np.full(len(block), "grinding"))
        usd = area * saving.grinding_price(made, block, 2027 + then.step)
        found = saving.of_pairs(made, "grinding", block, first, then, usd, area)
        once = np.array([present(value, when) for value, when in zip(area * real, step + 14.0, strict=True)])
        twice = np.array([present(value, when) for value, when in zip(area * real, step + 28.0, strict=True)])
        life = lives[block, step]
        second = (life > 28) & (step + 28 < 40)
        if later == 14:
            assert found == pytest.approx(alone[block, step], abs=0.01)
        else:
            same = second == ((life > 29) & (step + 29 < 40))
            gained = (once + twice * second) * (1 - 1 / 1.03)
            assert same.any() and found[same] == pytest.approx((alone[block, step] + gained)[same], abs=0.01)
