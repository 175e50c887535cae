"""Programs of two works, against the paths of the forecast, prices of the same work, and blocks worked by hand."""

from functools import cache

import numpy as np
import pandas as pd
import pytest

from rehab import plan
from rehab.base import tables
from rehab.base.tables import WORK
from rehab.inputs import assumptions as reader
from rehab.plan import Prepared, saving, second
from rehab.plan.second import Pairs
from rehab.steps import estimate, forecast, takeoff
from rehab.steps.forecast import Work

NEVER = 10_000


@cache
def prepared(years: int = 12, blocks: int = 12, **economics: str) -> Prepared:
    """Blocks from sound to worn.  The seventh is the second with more beside its panels; the ninth bears one grinding,
    the tenth two; the last is young, with spalled joints alone."""
    usual = {"length_ft": 300.0, "width_ft": 36.0, "year_built": 1986, "surveyed_on": "2026-06-01",
             "thickness_in": 8.0, "functional_class": "local"}
    worn = {"panels_broken": 3, "panels_cracked": 4, "spalled_joint_ft": 60.0}
    rows = [{"condition_index": 90.0}, worn, {"panels_broken": 5, "panels_cracked": 6, "faulting_in": 0.2},
            {"condition_index": 62.0, "functional_class": "collector"}, {"condition_index": 45.0},
            {"panels_broken": 4, "material_distress": "high"},
            {**worn, "wide_joint_ft": 300.0, "sunken_curb_ft": 80.0},
            {"panels_broken": 1, "spalled_joint_ft": 90.0, "functional_class": "arterial"},
            {**worn, "thickness_in": 5.2}, {**worn, "grindings": 1, "last_ground_year": 2019},
            {"condition_index": 30.0}, {"panels_broken": 0, "spalled_joint_ft": 60.0, "year_built": 2014}]
    frame = pd.DataFrame([{"block_id": f"B{number:02d}", **usual, **row} for number, row in enumerate(rows, 1)])
    assumptions = reader.overlay(reader.defaults(), {"economics": economics})
    return plan.prepare(tables.with_types("blocks", frame.iloc[:blocks]), tables.empty("defects"), assumptions, 2027,
                        years)


def found(made: Prepared, with_saving: bool = False) -> Pairs:
    return second.pairs(made, made.adequate, with_saving)


def rows_of(pairs: Pairs) -> list[tuple[int, int, str, int, str]]:
    return list(zip(pairs.block.tolist(), pairs.step.tolist(), pairs.strategy.tolist(), pairs.then_step.tolist(),
                    pairs.then_strategy.tolist(), strict=True))


def weight(made: Prepared) -> np.ndarray:
    """Area times the traffic weights of the default table: arterial 3, collector 2, local 1."""
    by_class = made.network["functional_class"].map({"arterial": 3.0, "collector": 2.0, "local": 1.0})
    return (made.network["area_sqyd"] * by_class).to_numpy(float)


def test_the_gain_is_that_of_the_paths_with_both_works() -> None:
    made = prepared()
    pairs = found(made)
    assert set(pairs.then_strategy) == set(WORK) and set(pairs.strategy) == set(second.REPAIRS)
    sound, *_ = second.paths(made, pairs.block, pairs.step, pairs.strategy, pairs.then_step, pairs.then_strategy, 40)
    gain = (sound - made.ageing.sound[pairs.block, :40]) @ 1.03 ** -np.arange(40.0)
    assert pairs.gain == pytest.approx(gain * weight(made)[pairs.block], rel=1e-9)


def test_a_second_work_out_of_reach_is_the_single_work() -> None:
    made = prepared()
    pairs, count = found(made), len(found(made).block)
    alone = second.paths(made, pairs.block, pairs.step, pairs.strategy, np.full(count, NEVER), np.full(count, "none"), 40)
    single = forecast.treated(made.ageing, pairs.block, pairs.step, pairs.strategy, 40)
    index = forecast.treated_index(made.ageing, pairs.block, pairs.step, pairs.strategy, single[1], single[2],
                                   made.assumptions)
    for one, other in zip(alone, (*single, index), strict=True):
        assert np.array_equal(one, other)
    for name in second.REPAIRS:
        rows = pairs.strategy == name
        expected = forecast.benefit(made.network, made.ageing, made.years, name, made.assumptions)
        assert (pairs.gain - pairs.then_gain)[rows] == pytest.approx(expected[pairs.block, pairs.step][rows], rel=1e-9)


def test_grinding_changes_no_panel() -> None:
    made = prepared()
    block, step, strategy = np.array([1]), np.array([0]), np.array(["full_depth"])
    ground = second.paths(made, block, step, strategy, np.array([3]), np.array(["grinding"]), 20)
    alone = second.paths(made, block, step, strategy, np.array([NEVER]), np.array(["none"]), 20)
    assert all(np.array_equal(one, other) for one, other in zip(ground, alone, strict=True))


def test_one_block_by_hand() -> None:
    # Full depth in the first year, full depth again in the ninth: the panels that have failed by then, shallow and deep,
    # are patched and replaced; each group of them lasts by its Weibull curve from age zero (median of the table's scale
    # and shape), counted at the start of each year, discounted at 3 %; the block is 1,200 sq yd of a local street.
    made = prepared()
    pairs = found(made)
    at = rows_of(pairs).index((1, 0, "full_depth", 8, "full_depth"))
    _, partial, full = forecast.treated(made.ageing, np.array([1]), np.array([0]), np.array(["full_depth"]), 9)
    by_hand = sum(1.03 ** -(8 + age) * (partial[0, 8] * np.exp(-(age / 16.5) ** 3) + full[0, 8] * np.exp(-(age / 34) ** 3))
                  for age in range(32))
    assert made.network["area_sqyd"].iloc[1] == 1_200
    assert pairs.then_gain[at] == pytest.approx(1_200 * by_hand, rel=1e-9)
    assert pairs.cost_usd[at] == made.costs["full_depth"][1, 0]


def test_a_second_repair_never_loses_and_no_pair_is_there_twice() -> None:
    made = prepared(years=20)
    pairs = found(made)
    assert "grinding" in pairs.then_strategy
    repaired = pairs.then_strategy != "reconstruction"
    assert repaired.any() and (pairs.then_gain[repaired] >= 0).all()
    rows = rows_of(pairs)
    assert len(set(rows)) == len(rows) and [row[:2] for row in rows] == sorted(row[:2] for row in rows)
    for usd in (pairs.cost_usd, pairs.then_usd):
        assert np.isfinite(usd).all() and (usd > 0).all()
    assert np.isnan(pairs.saving).all()
    sound, partial, full, index = second.paths(made, pairs.block, pairs.step, pairs.strategy, pairs.then_step,
                                               pairs.then_strategy, 40)
    assert sound + partial + full == pytest.approx(1.0) and (sound >= 0).all()
    assert (index >= 0).all() and (index <= 100).all()


def test_only_where_the_first_work_is_due_and_years_enough_after_it() -> None:
    made = prepared()
    pairs = found(made)
    assert {later - begun for _, begun, _, later, _ in rows_of(pairs)} == {8, 9, 10, 11}
    for block, begun, name, _, _ in rows_of(pairs):
        assert made.adequate[name][block, begun]
    by_rule = {name: made.by_rule == number for number, name in enumerate(WORK, 1)}
    fewer = second.pairs(made, by_rule)
    assert set(rows_of(fewer)) == {row for row in rows_of(pairs) if by_rule[row[2]][row[0], row[1]]}
    assert 0 < len(fewer.block) < len(pairs.block)
    sooner = found(prepared(second_after_yr="5"))
    assert {row for row in rows_of(sooner) if row[3] - row[1] >= 8} == set(rows_of(pairs))
    assert min(sooner.then_step - sooner.step) == 5


def test_reconstruction_costs_what_it_costs_alone_and_repair_what_its_damage_takes() -> None:
    made = prepared()
    pairs = found(made)
    built = pairs.then_strategy == "reconstruction"
    assert pairs.then_usd[built] == pytest.approx(made.costs["reconstruction"][pairs.block, pairs.then_step][built])
    # Of one block and first work, more damage by a later year costs more, in dollars of one year.
    table = pd.DataFrame({"of": [row[:3] for row in rows_of(pairs)], "step": pairs.then_step,
                          "usd": pairs.then_usd / 1.04**pairs.then_step})[pairs.then_strategy == "full_depth"]
    assert (table.sort_values("step").groupby("of")["usd"].diff().dropna() > 0).all()


def test_what_the_first_work_mended_beside_the_panels_is_not_asked_for_again() -> None:
    # Two blocks of the same panels; one had joints opened wide and sunken curb besides.  Full depth mends all of it, and
    # the second work finds the same on both.
    made = prepared()
    pairs = found(made)
    at = {row: number for number, row in enumerate(rows_of(pairs))}
    assert made.costs["full_depth"][6, 0] > 1.1 * made.costs["full_depth"][1, 0]
    both = [(at[6, *row[1:]], number) for row, number in at.items() if row[0] == 1 and (6, *row[1:]) in at]
    one, other = np.array(both).T
    assert "full_depth" in pairs.then_strategy[one]
    assert pairs.then_usd[one] == pytest.approx(pairs.then_usd[other])
    assert pairs.then_gain[one] == pytest.approx(pairs.then_gain[other])


def test_grinding_again_by_hand() -> None:
    # Half of the surfaces have worn out after 13.5 years: not before the fourteenth.  Alberta's two points (90 % last 9.5
    # years, 50 % 13.5) make a shape of ln(ln 0.5 / ln 0.9) / ln(13.5 / 9.5) = 5.361; smoother years are worth a tenth.
    made = prepared(years=20)
    pairs = found(made)
    ground = np.flatnonzero(pairs.then_strategy == "grinding")
    assert min((pairs.then_step - pairs.step)[ground]) == 14
    shape = np.log(np.log(0.5) / np.log(0.9)) / np.log(13.5 / 9.5)
    scale = 9.5 / (-np.log(0.9)) ** (1 / shape)
    assert shape == pytest.approx(5.361, abs=5e-4)
    needs = made.needs_by_year.reset_index(drop=True)
    items = estimate.scope("diamond_grinding", made.assumptions)
    for row in ground:
        block, begun, then = pairs.block[row], pairs.step[row], pairs.then_step[row]
        longer = sum(1.03**-year * (np.exp(-((year - then) / scale) ** shape) - np.exp(-((year - begun) / scale) ** shape))
                     for year in range(then, 40))
        assert pairs.then_gain[row] == pytest.approx(0.1 * weight(made)[block] * longer, rel=1e-9)
        at = [block * 20 + begun]  # the grinding that went with the first work, priced by itself
        work = takeoff.measure(made.network.iloc[[block]], needs.iloc[at], "partial_depth", made.assumptions)
        alone = estimate.price(work * work.columns.isin(items), np.array([2027 + then]), made.assumptions,
                               made.network["condition_source"].iloc[[block]].to_numpy())
        assert pairs.then_usd[row] == pytest.approx(alone["likely_usd"].iloc[0])


def test_a_slab_is_ground_again_only_where_it_bears_it_and_above_the_trigger() -> None:
    made = prepared(years=20)
    pairs = found(made)
    ground = pairs.then_strategy == "grinding"
    blocks = set(pairs.block[ground].tolist())
    assert {1, 9} <= blocks  # three grindings in all, of which the tenth block has had one
    assert 8 not in blocks and 8 in pairs.block  # 5.2 in thick: one grinding of 0.2 in, the first work's
    path = second.paths(made, pairs.block[ground], pairs.step[ground], pairs.strategy[ground], pairs.then_step[ground],
                        pairs.then_strategy[ground], 20)
    trigger = made.network["functional_class"].map({"arterial": 50, "collector": 50, "local": 40}).to_numpy(float)
    at = np.arange(int(ground.sum())), pairs.then_step[ground]
    assert (path[3][at] > trigger[pairs.block[ground]]).all()


def test_smoothness_that_is_worth_nothing_gains_nothing() -> None:
    pairs = found(prepared(years=20, smooth_worth="0"))
    ground = pairs.then_strategy == "grinding"
    assert ground.any() and (pairs.then_gain[ground] == 0).all()


def test_steps_are_those_of_the_ground_surface() -> None:
    # The third block has steps of 0.2 in, over the 0.15 in that ask for grinding.  Ground with the first work they begin
    # anew, and grow in eight years by far less than that: nothing asks for work if no panel does.
    made = prepared()
    assert made.needs_by_year["faulting_in"].iloc[2 * 12] >= 0.15
    first = second._first_works(made, made.adequate)
    at = np.flatnonzero((first.block == 2) & (first.step == 0) & first.ground)
    assert len(at)
    steps = second._surface(made, first)["faulting_in"][at]
    assert (steps[:, 0] == 0).all() and (np.diff(steps, axis=1) >= 0).all() and (steps[:, 8:] < 0.15).all()


def test_savings_are_those_of_both_works() -> None:
    made = prepared()
    pairs = found(made, with_saving=True)
    assert np.isfinite(pairs.saving).all()
    # Cheaper by exactly what the second work is paid less: one dollar of the year, less its value left at the horizon.
    rows = np.flatnonzero(pairs.then_strategy == "reconstruction")
    life = made.lives["reconstruction"]["treated_yr"].to_numpy()[pairs.block[rows]]
    rows, life = rows[life >= 40], life[life >= 40]
    then = pairs.then_step[rows]
    more = saving.of_pairs(made, "reconstruction", pairs.block[rows], Work(pairs.step[rows], pairs.strategy[rows]),
                           Work(then, pairs.then_strategy[rows]), pairs.then_usd[rows] - 1.04**then, np.zeros(len(rows)))
    assert len(rows) and more - pairs.saving[rows] == pytest.approx(
        1.03**-then.astype(float) - (1 - (40 - then) / life) * 1.03**-40.0, abs=1e-4)


def test_chunks_change_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = found(prepared())
    monkeypatch.setattr(second, "_CHUNK", 7)
    parts = found(prepared())
    assert rows_of(parts) == rows_of(whole)
    assert parts.then_usd == pytest.approx(whole.then_usd) and parts.gain == pytest.approx(whole.gain)


@pytest.mark.parametrize(("years", "blocks"), [(1, 12), (3, 0), (12, 0)])
def test_one_year_and_no_block(years: int, blocks: int) -> None:
    for with_saving in (False, True):
        pairs = found(prepared(years=years, blocks=blocks), with_saving)
        assert all(len(values) == 0 for values in vars(pairs).values())
    nothing = np.empty(0, np.int64), np.empty(0, np.int64), np.empty(0, "<U16")
    sound, *_ = second.paths(prepared(years=years, blocks=blocks), *nothing, *nothing[1:], years)
    assert sound.shape == (0, years)
