"""The refit against lifelines, enumeration, quadrature and simulated surveys; the rules of pairing by hand.

lifelines 0.30.0 (WeibullFitter, interval censoring) is the reference for the special case that it knows: one kind of
damage, blocks all alike.  scipy integrates over the two multipliers; the gamma is scipy.stats'.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from math import comb

import lifelines
import numpy as np
import pandas as pd
import pytest
from scipy.integrate import simpson
from scipy.stats import gamma

from rehab.base.errors import Note
from rehab.base.panels import Curves, moves, path
from rehab.base.settings import Assumptions
from rehab.inputs import assumptions as reader
from rehab.steps import calibration
from rehab.steps.calibration import refit
from rehab.steps.calibration.likelihood import data_of, log_likelihood, points

ASSUMED = reader.defaults()
TRUE = {"shallow.scale.local": 42.0, "deep.scale.local": 120.0, "shallow.shape": 2.2, "deep.shape": 3.4,
        "shallow_to_deep.hazard_factor": 8.0, "prior.shallow_weight": 4.0, "prior.deep_weight": 8.0}


def with_values(**values: float) -> Assumptions:
    """Any value, in its range or not: limits of a model lie outside."""
    survival = ASSUMED.table("survival").copy()
    for key, value in values.items():
        survival.loc[key, "value"] = repr(value)
    return replace(ASSUMED, tables={**ASSUMED.tables, "survival": survival})


def simulated(blocks: int, seed: int, true: dict[str, float], years: tuple[int, ...] = (2016, 2020)) -> pd.DataFrame:
    """Surveys of panels that fail one by one in continuous time, each block with its own two multipliers."""
    rng = np.random.default_rng(seed)
    number, age = rng.integers(20, 70, blocks), rng.integers(10, 70, blocks)
    of = np.repeat(np.arange(blocks), number)
    shallow, deep = (rng.gamma(true[key], 1 / true[key], blocks)[of] for key in (
        "prior.shallow_weight", "prior.deep_weight"))
    one, two, three = rng.exponential(size=(3, len(of)))
    scale, shape = true["deep.scale.local"], true["deep.shape"]
    when_shallow = true["shallow.scale.local"] * (one / shallow) ** (1 / true["shallow.shape"])
    when_deep = scale * (two / deep) ** (1 / shape)
    after = scale * ((when_shallow / scale) ** shape + three / (true["shallow_to_deep.hazard_factor"] * deep)) ** (1 / shape)
    full = np.where(when_deep < when_shallow, when_deep, after)
    rows = []
    for year in years:
        at = age + year - years[0]
        broken = full <= at[of]
        count = np.bincount(of, broken, blocks)
        spalled = np.bincount(of, (when_shallow <= at[of]) & ~broken, blocks)
        rows.append(table([f"B{name:05d}" for name in range(blocks)], year, at, number, spalled, count))
    return pd.concat(rows, ignore_index=True)


def table(names: list[str], year: int, age: object, panels: object, shallow: object, deep: object,
          **more: object) -> pd.DataFrame:
    rows = pd.DataFrame({"block_id": names, "survey_year": year, "age_yr": age, "age_known": True, "panels": panels,
                         "shallow": shallow, "deep": deep})
    return rows.assign(sound=rows["panels"] - rows["shallow"] - rows["deep"], **{
        "panels_patched": np.nan, "last_work_year": np.nan, "functional_class": "local",
        "family": "local, medium, plain", "dowelled": False, "material_distress": "none", **more})


@pytest.mark.parametrize("kind", ["deep", "shallow"])
def test_one_kind_of_damage_is_the_weibull_of_lifelines(kind: str) -> None:
    true = {**TRUE, "prior.shallow_weight": 1e6, "prior.deep_weight": 1e6, "shallow_to_deep.hazard_factor": 1.0,
            f"{'shallow' if kind == 'deep' else 'deep'}.scale.local": 1e7}
    history = calibration.pair(simulated(400, 3, true), ASSUMED)
    assumed = with_values(**{**true, f"{kind}.scale.local": 60.0, f"{kind}.shape": 2.0})
    model = refit._model([f"{kind}.scale.local", f"{kind}.shape"], history.blocks, assumed)
    best = refit._climb(model, history)[1]
    assert best.rested and not best.ended.any()
    blocks, steps = history.blocks, history.steps
    failed = steps["sound"] - steps["sound_after"]
    lower = [np.zeros(len(blocks)), steps["from_yr"], steps["to_yr"]]
    upper = [blocks["age_yr"], steps["to_yr"], np.full(len(steps), np.inf)]
    counts = np.concatenate([blocks[kind], failed, steps["sound_after"]])
    some = counts > 0
    reference = lifelines.WeibullFitter().fit_interval_censoring(
        np.concatenate(lower)[some], np.concatenate(upper)[some], weights=counts[some].astype(int))
    found = np.exp(best.theta)
    assert found == pytest.approx([reference.lambda_, reference.rho_], rel=2e-3)
    assert best.total == pytest.approx(reference.log_likelihood_, abs=0.1)
    errors = np.sqrt(np.diag(best.spread)) * found  # of the values, not of their logarithms
    assert errors == pytest.approx(reference.summary.loc[["lambda_", "rho_"], "se(coef)"].to_numpy(), rel=0.15)


def one_step(sound: int, after: int, shallow: int, broken: int, new: bool = False) -> calibration.History:
    first = table(["A"], 2016, 40, sound + shallow, shallow, 0, age_known=new)
    last = table(["A"], 2021, 45, sound + shallow, sound + shallow - after - broken, broken)
    return calibration.pair(pd.concat([first, last]), ASSUMED)


@pytest.mark.parametrize(("sound", "after", "shallow", "broken"), [
    (3, 1, 2, 2), (3, 3, 2, 0), (4, 1, 0, 2), (0, 0, 3, 1), (3, 0, 2, 5), (1, 1, 0, 0)])
def test_the_sum_of_two_binomials_is_that_of_every_way_panel_by_panel(sound: int, after: int, shallow: int,
                                                                      broken: int) -> None:
    data = data_of(one_step(sound, after, shallow, broken))[0]
    local = np.log([[42.0], [2.2], [90.0], [3.0], [8.0], [4.0], [8.0]])
    # one point at multipliers of one, freed of the gammas' densities over the logarithm
    nodes = np.array([[[0.0]], [[0.0]], [[-gamma.logpdf(1, 4, scale=1 / 4) - gamma.logpdf(1, 8, scale=1 / 8)]]])
    way = path(np.array([40.0]), np.array([45.0]), Curves(*(np.array([value]) for value in (42.0, 2.2, 90.0, 3.0))), 8.0)
    stays, worse, breaks, once = (float(chance[0]) for chance in moves(way, 1.0, 1.0))
    total = 0.0
    for ways in product(["soundly", "worse", "deep"], repeat=sound):
        for again in product((True, False), repeat=shallow):
            if ways.count("soundly") == after and ways.count("deep") + sum(again) == broken:
                chance = {"soundly": stays, "worse": worse, "deep": breaks}
                total += np.prod([chance[way] for way in ways]) * np.prod([once if yes else 1 - once for yes in again])
    choose = len([0 for ways in product((0, 1), repeat=sound) if sum(ways) == after])
    # Which of the sound panels stay is no parameter's business; the likelihood leaves that constant out.
    assert choose * np.exp(log_likelihood(data, local, nodes)[0]) == pytest.approx(total, rel=1e-6)


@pytest.mark.parametrize(("counts", "weights", "new"), [
    ((30, 20, 8, 5), (4.0, 8.0), False), ((30, 20, 8, 5), (4.0, 8.0), True), ((60, 60, 0, 0), (6.0, 6.0), False),
    ((12, 2, 20, 14), (2.0, 3.0), False), ((12, 2, 20, 14), (2.0, 3.0), True), ((1, 0, 0, 1), (1.0, 1.0), True)])
def test_the_quadrature_is_the_integral(counts: tuple[int, int, int, int], weights: tuple[float, float], new: bool) -> None:
    history = one_step(*counts, new=new)
    data = data_of(history)[0]
    curves = (42.0, 2.2, 90.0, 3.0)
    local = np.log(np.array([*curves, 8.0, *weights]))[:, None]
    found = log_likelihood(data, local, points(data, local))[0]
    given = Curves(*(np.array([value]) for value in curves))
    way = path(np.array([40.0]), np.array([45.0]), given, 8.0)
    begin = path(np.array([0.0]), np.array([40.0]), given, 8.0)
    sound, after, shallow, broken = counts
    least, most = max(broken - shallow, 0), min(sound - after, broken)

    # scipy's Simpson rule over both multipliers, on a grid far finer than the likelihood is narrow.
    grid = np.linspace(1e-6, 12, 801)
    light, deep = np.meshgrid(grid, grid, indexing="ij")
    stays, worse, breaks, once = moves(way, light, deep)
    total = sum(comb(sound - after, k) * comb(shallow, broken - k) * breaks**k * worse ** (sound - after - k)
                * once ** (broken - k) * (1 - once) ** (shallow - broken + k) for k in range(least, most + 1)) * stays**after
    if new:
        first = moves(begin, light, deep)
        total = total * first[0] ** sound * first[1] ** shallow
    prior = gamma.pdf(light, weights[0], scale=1 / weights[0]) * gamma.pdf(deep, weights[1], scale=1 / weights[1])
    exact = simpson(simpson(total * prior, x=grid, axis=1), x=grid)
    assert found == pytest.approx(np.log(exact), abs=0.02)


def test_the_mean_over_a_family_is_the_integral() -> None:
    given = Curves(*(np.array([value]) for value in (42.0, 2.2, 90.0, 3.0)))
    way = path(np.array([0.0]), np.array([47.0]), given, 8.0)
    shares = calibration.population(np.array([47.0]), given, 8.0, 2.0, 3.0)
    grid = np.linspace(1e-6, 16, 1001)
    light, deep = np.meshgrid(grid, grid, indexing="ij")
    prior = gamma.pdf(light, 2, scale=1 / 2) * gamma.pdf(deep, 3, scale=1 / 3)
    for share, chance in zip(shares, moves(way, light, deep)[:3], strict=True):
        assert share[0] == pytest.approx(simpson(simpson(chance * prior, x=grid, axis=1), x=grid), abs=1e-5)
    assert sum(share[0] for share in shares) == pytest.approx(1)


def test_true_values_lie_in_their_intervals_on_simulated_surveys() -> None:
    """A few repeats: of 28 intervals of 95 % one or two may miss; five or more would be one chance in a hundred."""
    missed, off = 0, []
    for seed in (101, 102, 103, 104):
        found = calibration.fit(calibration.pair(simulated(1200, seed, TRUE), ASSUMED), ASSUMED).rows.set_index("key")
        assert set(TRUE) <= set(found.index) and found["fitted"].all()
        true = pd.Series(TRUE)
        rows = found.loc[true.index]
        missed += int((~true.between(rows["low"], rows["high"])).sum())
        off.append(np.log(rows["value"] / true))
    assert missed <= 4
    assert np.abs(np.mean(off, axis=0)).max() < 0.12  # and not all to one side


def test_a_refit_climbs_and_says_its_values() -> None:
    history = calibration.pair(simulated(300, 1, TRUE), ASSUMED)
    found = calibration.fit(history, ASSUMED)
    assert found.after > found.before and found.blocks == 300
    assert set(found.values()) == set(found.rows.loc[found.rows["fitted"], "key"])
    reader.overlay(ASSUMED, {"survival": found.values()})  # all within their ranges


def test_a_value_that_would_leave_its_range_is_held_at_the_end() -> None:
    alike = {**TRUE, "deep.shape": 9.5, "deep.scale.local": 60.0}
    found = calibration.fit(calibration.pair(simulated(400, 2, alike), ASSUMED), ASSUMED)
    row = found.rows.set_index("key").loc["deep.shape"]
    assert row["value"] == pytest.approx(8) and row["fitted"] and np.isnan(row["low"]) and np.isnan(row["high"])
    assert any(note.message.startswith("deep.shape would leave its range") for note in found.notes)
    reader.overlay(ASSUMED, {"survival": found.values()})


def paired(*rows: pd.DataFrame) -> calibration.History:
    return calibration.pair(pd.concat(rows), ASSUMED)


def test_recorded_work_sets_a_pair_apart_and_the_next_goes_on() -> None:
    rows = [table(["A"], year, year - 1980, 40, 4, deep, last_work_year=work)
            for year, deep, work in ((2010, 6, np.nan), (2015, 1, 2013.0), (2020, 2, 2013.0))]
    made = paired(*rows)
    assert made.set_apart.to_numpy().tolist() == [["A", 2010, 2015, "recorded work"]]
    assert made.steps[["from_yr", "to_yr", "broken"]].to_numpy().tolist() == [[35, 40, 1]]


@pytest.mark.parametrize(("work", "apart"), [(2009.0, False), (2010.0, True), (2015.0, True)])
def test_work_in_the_year_of_the_older_survey_counts_as_since(work: float, apart: bool) -> None:
    made = paired(table(["A"], 2010, 30, 40, 4, 2), table(["A"], 2015, 35, 40, 4, 2, last_work_year=work))
    assert (len(made.set_apart) == 1) is apart and (len(made.steps) == 0) is apart


@pytest.mark.parametrize(("deep", "reason"), [(4, []), (3, ["unrecorded work"])])
def test_panels_do_not_heal_beyond_the_noise(deep: int, reason: list[str]) -> None:
    made = paired(table(["A"], 2010, 30, 40, 0, 6), table(["A"], 2015, 35, 40, 0, deep))
    assert made.set_apart["reason"].tolist() == reason  # 5 % of 40 panels is two
    assert made.evened == (not reason)
    assert made.steps["broken"].tolist() == ([] if reason else [0.0])


def test_counts_follow_the_newest_number_of_panels() -> None:
    made = paired(table(["A"], 2010, 30, 20, 4, 2), table(["A"], 2015, 35, 40, 8, 6))
    step = made.steps.iloc[0]
    assert (step["sound"], step["shallow"], step["broken"]) == (28, 8, 2)  # twice the counts of 2010, by hand


def test_two_surveys_of_one_year_and_a_block_seen_once() -> None:
    made = paired(table(["A"], 2010, 30, 40, 9, 9), table(["A"], 2010, 30, 40, 4, 2), table(["A"], 2015, 35, 40, 4, 3),
                  table(["B"], 2015, 35, 40, 4, 3))
    assert made.blocks["block_id"].tolist() == ["A"]
    assert made.steps["broken"].tolist() == [1]


def test_an_unknown_age_says_nothing_of_the_years_since_building() -> None:
    rows = [table(list("ABCD"), year, [30 + year - 2010, year - 2010, 30 + year - 2010, 30 + year - 2010], 40, 4, 2,
                  age_known=[False, True, True, True], panels_patched=[np.nan, np.nan, 3.0, 0.0])
            for year in (2010, 2015)]
    made = paired(*rows)
    assert made.blocks["from_new"].tolist() == [False, False, False, True]
    assert len(made.steps) == 4


def test_a_class_with_too_few_failures_keeps_its_curves() -> None:
    local, alley = simulated(200, 4, TRUE), simulated(6, 5, {**TRUE, "deep.scale.local": 4000.0})
    both = pd.concat([local, alley.assign(block_id="X" + alley["block_id"], functional_class="alley",
                                          family="alley, medium, plain")])
    found = calibration.fit(calibration.pair(both, ASSUMED), ASSUMED)
    assert not found.rows["key"].str.endswith(".alley").any() and found.blocks == 200
    assert isinstance(found.notes[0], Note) and "class alley" in found.notes[0].message
    with pytest.raises(ValueError, match="too few panels failed"):
        calibration.fit(calibration.pair(alley, ASSUMED), ASSUMED)
