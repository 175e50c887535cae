"""The forecast against panels simulated one by one, plain Weibull curves, limits of the block's own survey."""

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
import numpy.typing as npt
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, optimize, stats

from rehab.base import tables
from rehab.base.settings import Assumptions
from rehab.inputs import assumptions as reader
from rehab.steps import forecast, layout, needs, network

Maker = Callable[..., pd.DataFrame]
ASSUMED = reader.defaults()
PANELS = 200_000


def changed(assumptions: Assumptions, **values: dict[str, float]) -> Assumptions:
    """Assumptions with values outside their usual range, to take the model to its limits."""
    replaced = dict(assumptions.tables)
    for name, rows in values.items():
        replaced[name] = replaced[name].copy()
        for key, value in rows.items():
            assert key in replaced[name].index
            replaced[name].loc[key, "value"] = str(value)
    return replace(assumptions, tables=replaced)


def measured(table: pd.DataFrame, assumptions: Assumptions) -> tuple[pd.DataFrame, pd.DataFrame]:
    city = network.build(table, assumptions)
    per_panel = layout.per_panel(city, tables.empty("findings"), tables.empty("repairs"), assumptions)
    return city, needs.measure(city, per_panel, assumptions)


@cache
def mixed() -> tuple[pd.DataFrame, pd.DataFrame]:
    """Blocks at the edges: all failed, none failed, one panel, new, very old, surveyed later, estimated, counted."""
    usual = {"length_ft": 300.0, "width_ft": 36.0, "panel_length_ft": 15.0, "panel_width_ft": 12.0, "thickness_in": 8.0,
             "functional_class": "local", "year_built": 1986, "surveyed_on": "2026-06-01"}
    rows: list[dict[str, object]] = [
        {"panels_broken": 60}, {"panels_broken": 0},
        {"panels": 1, "panels_broken": 1}, {"panels": 1, "panels_broken": 0},
        {"year_built": 2026, "panels_broken": 0}, {"year_built": 2026, "panels_broken": 60},
        {"year_built": 1880, "panels_broken": 3}, {"year_built": 1880, "panels_broken": 0},
        {"surveyed_on": "2031-06-01", "panels_broken": 6}, {"surveyed_on": "2019-06-01", "panels_broken": 6},
        {"condition_index": 0.0}, {"condition_index": 100.0}, {"condition_index": 43.0, "functional_class": "alley"},
        {"panels_broken": 5, "spalled_joint_ft": 90.0, "material_distress": "high", "functional_class": "arterial"},
        {"spalled_joint_ft": 360.0, "panels_broken": 0, "thickness_in": 6.0, "dowelled": True},
        {"panels_broken": 2, "spalled_joint_ft": 60.0, "condition_index": 91.0},
        {"panels_broken": 2, "spalled_joint_ft": 60.0, "condition_index": 30.0, "functional_class": "collector"}]
    named = [{"block_id": f"B{number:03d}", **usual, **row} for number, row in enumerate(rows, 1)]
    return measured(tables.with_types("blocks", pd.DataFrame(named)), ASSUMED)


def later(age: float, scale: float, shape: float, hazard: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Age at which a panel of that age has met so much more cumulative hazard: the Weibull inverted."""
    return np.asarray(scale * ((age / scale) ** shape + hazard) ** (1 / shape))


def simulate(block: pd.Series, curve: pd.Series, strategy: str, years: int, faster: float, slower: float,
             seed: int) -> npt.NDArray[np.float64]:
    """Shares (sound, partial, full) of single panels after some years, in continuous time, each drawn by itself."""
    rng = np.random.default_rng(seed)
    age, end = block["age_yr"], block["age_yr"] + years
    kind = rng.choice(3, PANELS, p=[1 - block["partial_share"] - block["full_share"], block["partial_share"],
                                    block["full_share"]])
    draw = rng.exponential(size=(4, PANELS))
    shallow_at = later(age, curve["shallow_scale"], curve["shallow_shape"], draw[0] / slower)
    deep_at = later(age, curve["deep_scale"], curve["deep_shape"], draw[1])
    if strategy != "none":  # a patch fails back to shallow damage by its own curve and breaks no panel before
        patch = np.where(kind == 1, stats.weibull_min(3, scale=16.5).rvs(PANELS, random_state=rng), np.nan)
        shallow_at = np.where(kind == 1, age + patch, shallow_at)
        deep_at = np.where(kind == 1, np.inf, deep_at)
    else:
        shallow_at = np.where(kind == 1, age, shallow_at)
        deep_at = np.where(kind == 1, np.inf, deep_at)
    replaced_at = age + stats.weibull_min(3, scale=34).rvs(PANELS, random_state=rng)
    broken_at = later(0, curve["deep_scale"], curve["deep_shape"],
                      (np.minimum(shallow_at, 1e4) / curve["deep_scale"]) ** curve["deep_shape"] + draw[2] / faster)
    full_at = np.where(deep_at < shallow_at, deep_at, broken_at)
    full_at = np.where(kind == 2, replaced_at if strategy == "full_depth" else age, full_at)
    shallow_at = np.where(kind == 2, np.inf, shallow_at)
    full = full_at <= end
    partial = (shallow_at <= end) & ~full
    return np.array([(~full & ~partial).mean(), partial.mean(), full.mean()])


@pytest.mark.parametrize("strategy", ["none", "partial_depth", "full_depth"])
@pytest.mark.parametrize("name", ["B014", "B016", "B015"])
def test_shares_are_those_of_simulated_panels(strategy: str, name: str) -> None:
    # 200,000 panels by themselves through 20 years in continuous time; four standard errors of their shares.
    city, need = mixed()
    row = int(np.flatnonzero(city["block_id"] == name)[0])
    ageing = forecast.age(city, need, 2026, 25, ASSUMED)
    curve = forecast.block_curves(city, need, ASSUMED).iloc[row]
    found = forecast.treated(ageing, np.array([row]), np.array([0]), np.array([strategy]), 21)
    block = pd.concat([city.iloc[row], need.iloc[row][["partial_share", "full_share"]]])
    expected = simulate(block, curve, strategy, 20, ageing.faster, 1.0 if strategy == "none" else ageing.renewed, 5)
    error = np.sqrt(np.maximum(expected * (1 - expected), 1 / PANELS) / PANELS)
    assert (np.abs(np.array([path[0, 20] for path in found]) - expected) <= 4 * error).all()


def test_deep_damage_alone_is_a_plain_weibull(blocks: Maker, defaults: Assumptions) -> None:
    # Shallow damage that does not break a panel faster leaves the deep curve as it is: scipy's Weibull, conditional
    # on the age of 40 years.
    plain = changed(defaults, survival={"shallow_to_deep.hazard_factor": 1})
    city, need = measured(blocks({"panels_broken": 6}, {"panels_broken": 0, "spalled_joint_ft": 120.0}), plain)
    ageing = forecast.age(city, need, 2026, 30, plain)
    curves = forecast.block_curves(city, need, plain)
    for row in range(2):
        curve = stats.weibull_min(curves["deep_shape"][row], scale=curves["deep_scale"][row])
        start = need["full_share"][row]
        expected = 1 - (1 - start) * curve.sf(40 + np.arange(31)) / curve.sf(40)
        assert ageing.full[row] == pytest.approx(expected)


def test_shallow_damage_alone_is_a_plain_weibull(blocks: Maker, defaults: Assumptions) -> None:
    never = changed(defaults, survival={"deep.scale.local": 1e9})
    city, need = measured(blocks({"panels_broken": 0, "spalled_joint_ft": 90.0}), never)
    ageing = forecast.age(city, need, 2026, 30, never)
    curves = forecast.block_curves(city, need, never)
    curve = stats.weibull_min(curves["shallow_shape"][0], scale=curves["shallow_scale"][0])
    expected = 1 - 0.75 * curve.sf(40 + np.arange(31)) / curve.sf(40)  # 90 ft at 6 ft a panel: 15 of 60
    assert ageing.partial[0] == pytest.approx(expected) and ageing.full[0] == pytest.approx(np.zeros(31), abs=1e-12)


@pytest.mark.parametrize(("kind", "low", "due"), [("arterial", 22, 38), ("collector", 24, 42), ("local", 26, 46),
                                                  ("alley", 25, 44)])
def test_families_last_as_published(blocks: Maker, defaults: Assumptions, kind: str, low: int, due: int) -> None:
    # FHWA TechBrief on long-life concrete: 20 to 25 years of low maintenance, many reach 40 to 50.  Read as: one panel
    # in twenty damaged by then, and major work due (index 50, TM 5-623) some two decades later, nothing repaired.
    city, need = measured(blocks({"functional_class": kind, "panels_broken": 0, "year_built": 1960,
                                  "thickness_in": 8.0, "dowelled": False}), defaults)
    new = forecast.treated(forecast.age(city, need, 2026, 60, defaults), np.array([0]), np.array([0]),
                           np.array(["reconstruction"]), 60)
    index = forecast.index_of(new[1], new[2], np.zeros(1), defaults)[0]
    curve = forecast.families(city, defaults).iloc[0]
    assert stats.weibull_min(curve["shallow_shape"], scale=curve["shallow_scale"]).cdf(low) == pytest.approx(0.05, abs=0.002)
    assert index[due - 1] > 50 - 0.6 and index[due + 1] < 50


def test_family_curves_of_a_new_block(blocks: Maker, defaults: Assumptions) -> None:
    # Reconstruction begins at age zero on the family's curves: scale 70 and 132 years on local streets.
    plain = changed(defaults, survival={"shallow_to_deep.hazard_factor": 1})
    city, need = measured(blocks({"panels_broken": 60}), plain)
    ageing = forecast.age(city, need, 2026, 60, plain)
    sound, _, full = forecast.treated(ageing, np.array([0]), np.array([0]), np.array(["reconstruction"]), 60)
    age = np.arange(60)
    assert full[0] == pytest.approx(stats.weibull_min(3, scale=132).cdf(age))
    assert sound[0] == pytest.approx(stats.weibull_min(3, scale=132).sf(age) * stats.weibull_min(3, scale=70).sf(age))


def test_shares_sum_to_one_for_every_block_year_and_strategy() -> None:
    city, need = mixed()
    before = city.copy(deep=True), need.copy(deep=True)
    ageing = forecast.age(city, need, 2027, 80, ASSUMED)
    assert ageing.sound + ageing.partial + ageing.full == pytest.approx(np.ones((len(city), 81)))
    block = np.arange(len(city))
    for name in tables.STRATEGIES:
        for step in (0, 3, 9):
            paths = forecast.treated(ageing, block, np.full(len(city), step), np.full(len(city), name), 70)
            assert sum(paths) == pytest.approx(np.ones((len(city), 70)))
            assert all((path >= -1e-12).all() and (path <= 1 + 1e-12).all() for path in paths)
            index = forecast.treated_index(ageing, block, np.full(len(city), step), np.full(len(city), name),
                                           paths[1], paths[2], ASSUMED)
            assert ((index >= 0) & (index <= 100)).all()
    for now, then in zip((city, need), before, strict=True):
        pd.testing.assert_frame_equal(now, then)
    tables.check("forecast", forecast.untreated(city, ageing, 10))


def test_untreated_blocks_only_get_worse() -> None:
    city, need = mixed()
    ageing = forecast.age(city, need, 2027, 80, ASSUMED)
    assert (np.diff(ageing.sound) <= 1e-15).all() and (np.diff(ageing.full) >= -1e-15).all()
    assert (np.diff(ageing.index) <= 1e-9).all()
    growing = forecast.growing_shares(need, ageing, 10, ASSUMED)
    for name in ("cracked_share", "sunken_share", "curb_share", "wide_joint_share"):
        path = growing[name].to_numpy().reshape(-1, 10)
        assert (path <= 1).all() and (path >= need[name].to_numpy()[:, None] - 1e-15).all()


def test_the_edges_by_name() -> None:
    city, need = mixed()
    ageing = forecast.age(city, need, 2027, 40, ASSUMED)
    at = {name: row for row, name in enumerate(city["block_id"])}
    assert (ageing.full[at["B001"]] == 1).all()  # all failed stays all failed
    assert ageing.sound[at["B002"], 0] < 1  # none failed at the survey; a year has passed since
    assert ageing.full[at["B003"], 0] == 1
    for name in ("B005", "B007", "B008"):
        assert np.isfinite(ageing.index[at[name]]).all()
    # surveyed after the first year: the condition of the survey stands for the first year, not an earlier one
    assert ageing.full[at["B009"], 0] == pytest.approx(0.1)


def test_years_between_survey_and_program_are_forecast(blocks: Maker, defaults: Assumptions) -> None:
    early = blocks({"panels_broken": 6, "spalled_joint_ft": 60.0, "surveyed_on": "2019-06-01"})
    city, need = measured(early, defaults)
    waited, at_once = forecast.age(city, need, 2027, 10, defaults), forecast.age(city, need, 2019, 20, defaults)
    for name in ("sound", "partial", "full", "index"):
        assert getattr(waited, name)[0] == pytest.approx(getattr(at_once, name)[0, 8:19])
    assert waited.deep[0] == pytest.approx(at_once.deep[0, 8:18])


def test_a_held_index_keeps_its_distance_until_work(blocks: Maker, defaults: Assumptions) -> None:
    city, need = measured(blocks({"panels_broken": 2, "spalled_joint_ft": 60.0, "condition_index": 91.0}), defaults)
    ageing = forecast.age(city, need, 2026, 20, defaults)
    assert ageing.index[0, 0] == pytest.approx(91)
    work = np.array([0]), np.array([4]), np.array(["full_depth"])
    sound, partial, full = forecast.treated(ageing, *work, 10)
    index = forecast.treated_index(ageing, *work, partial, full, defaults)
    assert index[0, :4] == pytest.approx(ageing.index[0, :4]) and index[0, 4] == pytest.approx(100)
    assert sound[0, 4] == pytest.approx(1)
    for held in (91.0, 40.0):  # above and below what the counts say: work never seems to shorten a life
        city, need = measured(blocks({"panels_broken": 2, "spalled_joint_ft": 60.0, "condition_index": held}), defaults)
        ageing = forecast.age(city, need, 2026, 60, defaults)
        for name in tables.WORK:
            now = np.array([0]), np.array([0]), np.array([name])
            _, partial, full = forecast.treated(ageing, *now, 60)
            assert (forecast.treated_index(ageing, *now, partial, full, defaults)[0] >= ageing.index[0, :60] - 1e-9).all()


def weighing(assumptions: Assumptions, weight: float, **more: float) -> Assumptions:
    return changed(assumptions, survival={"prior.shallow_weight": weight, "prior.deep_weight": weight, **more})


def test_few_panels_lean_on_the_family_and_many_speak_for_themselves(blocks: Maker, defaults: Assumptions) -> None:
    rows = [{"panels": count, "panels_broken": count // 10, "block_id": f"B{number}"}
            for number, count in enumerate((10, 60, 1_000, 20_000))]
    plain = changed(defaults, survival={"shallow_to_deep.hazard_factor": 1})
    city, need = measured(blocks(*rows), plain)
    family = forecast.block_curves(city, need, weighing(plain, 1e12))
    assert family["deep_factor"].to_numpy() == pytest.approx(np.ones(4), abs=1e-6)
    curves = forecast.block_curves(city, need, plain)
    # By hand, with one kind of damage: the mode over the logarithm of the multiplier z solves
    # z (broken H e^-zH / (1 - e^-zH) - whole H) + w (1 - z) = 0, with H of the family at 40 years and w = 6.
    hazard = (40 / 132) ** 3

    def slope(log: float, panels: int) -> float:
        z = np.exp(log)
        gone = panels // 10
        return float(z * (gone * hazard / np.expm1(z * hazard) - (panels - gone) * hazard) + 6 * (1 - z))

    expected = [np.exp(optimize.brentq(slope, -5, 5, args=(count,))) for count in city["panels"]]
    assert curves["deep_factor"].to_numpy() == pytest.approx(np.array(expected), rel=1e-6)
    assert (np.diff(curves["deep_factor"]) > 0).all() and (np.diff(curves["deep_sd"]) < 0).all()
    own = -np.log(0.9) / hazard  # all alone: the curve through what was seen
    assert curves["deep_factor"][3] == pytest.approx(own, rel=0.01)


def test_the_multipliers_are_the_mode_that_a_general_search_finds() -> None:
    # scipy's simplex search on the same log-posterior, with the occupancy by scipy's quad, block by block.
    city, need = mixed()
    family = forecast.families(city, ASSUMED)
    found = forecast.block_curves(city, need, ASSUMED)
    for row in (0, 1, 2, 6, 13, 14, 15):
        curve, age = family.iloc[row], city["age_yr"][row]
        full, part = need["full_share"][row], need["partial_share"][row]
        panels = city["panels"][row] * (1.0 if city["condition_source"][row] == "counts" else 0.5)

        def lost(logs: npt.NDArray[np.float64], curve: pd.Series = curve, age: float = age, full: float = full,
                 part: float = part, panels: float = panels) -> float:
            zs, zd = np.exp(logs)

            def hazard(kind: str, at: float) -> float:
                return float((at / curve[f"{kind}_scale"]) ** curve[f"{kind}_shape"])

            def goes(at: float) -> float:
                rate = curve["shallow_shape"] / at * hazard("shallow", at)
                return float(zs * rate * np.exp(-zs * hazard("shallow", at) - zd * hazard("deep", at)
                                                - 10 * zd * (hazard("deep", age) - hazard("deep", at))))

            sound = np.exp(-zs * hazard("shallow", age) - zd * hazard("deep", age))
            shallow = integrate.quad(goes, 1e-12, age)[0]
            terms = ((1 - full - part, sound), (part, shallow), (full, 1 - sound - shallow))
            return float(-sum(panels * share * np.log(max(chance, 1e-13)) for share, chance in terms if share)
                         - 6 * (logs.sum() - zs - zd))

        expected = optimize.minimize(lost, np.zeros(2), method="Nelder-Mead", options={"xatol": 1e-6, "fatol": 1e-9}).x
        assert np.log(found.loc[row, ["shallow_factor", "deep_factor"]].to_numpy(float)) == pytest.approx(
            expected, abs=2e-3)


def test_a_block_of_many_panels_follows_its_own_count(blocks: Maker, defaults: Assumptions) -> None:
    # One kind of damage, no faster path: the block's own curve passes through what was seen at its age.
    alone = weighing(defaults, 1e-9, **{"shallow_to_deep.hazard_factor": 1})
    city, need = measured(blocks({"panels_broken": 15}), alone)
    curve = forecast.block_curves(city, need, alone).iloc[0]
    assert stats.weibull_min(curve["deep_shape"], scale=curve["deep_scale"]).cdf(40) == pytest.approx(0.25)


def test_recorded_work_is_respected(blocks: Maker, defaults: Assumptions) -> None:
    # Patched panels were damaged once; with work recorded and no count of them, the block leans on its family.
    city, need = measured(blocks({"panels_broken": 3}, {"panels_broken": 3, "panels_patched": 12, "last_work_year": 2010},
                                 {"panels_broken": 3, "last_work_year": 2010}), defaults)
    curves = forecast.block_curves(city, need, defaults)
    assert curves["shallow_factor"][1] > curves["shallow_factor"][0]
    assert curves.loc[2, ["shallow_factor", "deep_factor"]].tolist() == pytest.approx([1, 1])
    assert curves["deep_sd"][2] == pytest.approx(1 / np.sqrt(6))


def test_more_seen_is_a_faster_curve(blocks: Maker, defaults: Assumptions) -> None:
    city, need = measured(blocks(*[{"panels_broken": count} for count in (0, 1, 5, 20, 60)]), defaults)
    assert (np.diff(forecast.block_curves(city, need, defaults)["deep_scale"]) < 0).all()
    city, need = measured(blocks(*[{"panels_broken": 0, "spalled_joint_ft": feet} for feet in (0.0, 9.0, 90.0, 360.0)]),
                          defaults)
    assert (np.diff(forecast.block_curves(city, need, defaults)["shallow_scale"]) < 0).all()


def test_repair_is_never_worse_than_none() -> None:
    city, need = mixed()
    ageing = forecast.age(city, need, 2027, 80, ASSUMED)
    block = np.arange(len(city))
    for name in ("partial_depth", "full_depth"):
        for step in (0, 5):
            sound, _, full = forecast.treated(ageing, block, np.full(len(city), step), np.full(len(city), name), 80)
            assert (sound >= ageing.sound[:, :80] - 1e-12).all()
            # A replaced panel breaks by its own curve, so full depth may have the more broken panels only where
            # there were broken ones before, of which none is sound without work.
            assert (full <= ageing.full[:, :80] + 1e-12).all()


@given(st.lists(st.fixed_dictionaries({
    "panels_broken": st.integers(0, 30), "spalled_joint_ft": st.floats(0, 180), "year_built": st.integers(1900, 2026),
    "functional_class": st.sampled_from(tables.CLASSES), "material_distress": st.sampled_from(tables.DISTRESS)}),
    min_size=15, max_size=30))
@settings(max_examples=4, deadline=None)
def test_any_survey_gives_sound_shares_and_lives(rows: list[dict[str, object]]) -> None:
    usual = {"length_ft": 300.0, "width_ft": 36.0, "surveyed_on": "2026-06-01"}
    city, need = measured(tables.with_types("blocks", pd.DataFrame(
        [{"block_id": f"B{number:02d}", **usual, **row} for number, row in enumerate(rows)])), ASSUMED)
    ageing = forecast.age(city, need, 2027, 70, ASSUMED)
    assert (np.diff(ageing.index) <= 1e-9).all()
    block, now = np.arange(len(city)), np.zeros(len(city), np.int64)
    for name in tables.STRATEGIES:
        paths = forecast.treated(ageing, block, now, np.full(len(city), name), 70)
        assert sum(paths) == pytest.approx(np.ones((len(city), 70)))
        if name in {"partial_depth", "full_depth"}:
            assert (paths[0] >= ageing.sound[:, :70] - 1e-12).all()
            assert (paths[2] <= ageing.full[:, :70] + 1e-12).all()
        lives = forecast.life(city, ageing, np.full(len(city), name), ASSUMED)
        assert (lives["life_extension_yr"] >= 0).all() and lives["treated_yr"].between(0, 60).all()
    assert (lives["untreated_yr"] <= 60).all()


def test_benefit_is_the_discounted_area_between_two_paths() -> None:
    # By its definition: sound share with the work less without, year by year to the horizon, at 3 %, times the
    # square yards and the weight of the class.
    city, need = mixed()
    ageing = forecast.age(city, need, 2027, 60, ASSUMED)
    weight = city["area_sqyd"] * city["functional_class"].map({"arterial": 3, "collector": 2, "local": 1, "alley": 0.5})
    for name in tables.WORK:
        found = forecast.benefit(city, ageing, 10, name, ASSUMED)
        for step in (0, 4, 9):
            block = np.arange(len(city))
            sound = forecast.treated(ageing, block, np.full(len(city), step), np.full(len(city), name), 40)[0]
            gained = [sum((sound[row, year] - ageing.sound[row, year]) / 1.03**year for year in range(40))
                      for row in block]
            assert found[:, step] == pytest.approx(np.array(gained) * weight.to_numpy())
    assert (forecast.benefit(city, ageing, 10, "full_depth", ASSUMED)
            >= forecast.benefit(city, ageing, 10, "partial_depth", ASSUMED) - 1e-9).all()


def test_the_trigger_is_met_between_two_years() -> None:
    # By hand: from 55 to 45 the trigger of 50 lies half-way; on the year it lies on the year; at once; never.
    index = np.array([[60.0, 55.0, 45.0, 40.0], [60.0, 50.0, 45.0, 40.0], [50.0, 45.0, 40.0, 30.0],
                      [90.0, 88.0, 86.0, 84.0], [60.0, 54.0, 49.0, 40.0]])
    assert forecast.years_to(index, np.full(5, 50.0), 60.0).tolist() == pytest.approx([1.5, 1, 0, 60, 1.8])
    assert forecast.years_to(index, np.full(5, 50.0), 1.2).tolist() == pytest.approx([1.2, 1, 0, 1.2, 1.2])


def test_life_extension_is_the_difference_and_none_adds_nothing() -> None:
    city, need = mixed()
    ageing = forecast.age(city, need, 2027, 70, ASSUMED)
    for name in tables.STRATEGIES:
        found = forecast.life(city, ageing, np.full(len(city), name), ASSUMED)
        assert (found["life_extension_yr"] >= 0).all()
        assert found["life_extension_yr"].to_numpy() == pytest.approx(
            np.maximum(found["treated_yr"] - found["untreated_yr"], 0).to_numpy())
        if name == "none":
            assert (found["life_extension_yr"] == 0).all()


def test_patches_and_panels_last_as_published(defaults: Assumptions) -> None:
    # FHWA Partial-Depth Repairs: 80 to 100 % good after 3 to 10 years; replaced slabs (California, as reported) can
    # last up to 30 years, taken as the median.
    def number(key: str) -> float:
        return defaults.number("treatment_lives", key)

    patch = stats.weibull_min(number("patch.shape"), scale=number("patch.scale"))
    assert patch.sf(10) == pytest.approx(0.8, abs=0.01) and patch.sf(3) > 0.99
    assert stats.weibull_min(number("panel.shape"), scale=number("panel.scale")).median() == pytest.approx(30, abs=0.5)


def test_an_empty_city(defaults: Assumptions) -> None:
    city, need = mixed()
    ageing = forecast.age(city.iloc[:0], need.iloc[:0], 2027, 20, defaults)
    assert ageing.sound.shape == (0, 21) and forecast.untreated(city.iloc[:0], ageing, 10).empty


def test_panels_patched_before_age_as_replaced_ones(blocks: Maker, defaults: Assumptions) -> None:
    # Twelve of 60 panels replaced 16 years before the survey, by scipy's Weibull of replaced panels (scale 34, shape 3)
    # conditional on 16 years; the other 48 by the block's own curves as a block of 48 would.
    city, need = measured(blocks({"panels_patched": 12, "last_work_year": 2010, "panels_broken": 0}), defaults)
    ageing = forecast.age(city, need, 2026, 30, defaults)
    alone = changed(defaults, survival={"shallow.scale.local": 1e9, "deep.scale.local": 1e9})
    still = forecast.age(city, need, 2026, 30, alone)
    curve = stats.weibull_min(3, scale=34)
    stands = curve.sf(16 + np.arange(31)) / curve.sf(16)
    assert still.full[0] == pytest.approx(0.2 * (1 - stands)) and still.sound[0] == pytest.approx(0.8 + 0.2 * stands)
    assert ageing.mended[0] == pytest.approx(0.2) and ageing.full[0, 30] > still.full[0, 30]
    kept = forecast.treated(ageing, np.array([0]), np.array([0]), np.array(["none"]), 31)
    assert kept[0][0] == pytest.approx(ageing.sound[0]) and kept[2][0] == pytest.approx(ageing.full[0])
    new = forecast.treated(ageing, np.array([0]), np.array([5]), np.array(["reconstruction"]), 31)
    assert new[0][0, 5] == pytest.approx(1)
    unknown, _ = measured(blocks({"panels_patched": 12, "panels_broken": 0}), defaults)
    assert forecast.age(unknown, need, 2026, 5, defaults).full[0, 1] == pytest.approx(
        0.2 * (1 - curve.sf(11) / curve.sf(10)), abs=0.01)
