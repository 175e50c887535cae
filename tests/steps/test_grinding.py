"""Grinding by year: the published life, renewals against simulation, limits of the slab, areas and money by hand."""

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from rehab.base.settings import Assumptions
from rehab.base.surface import grindings_done, grindings_left
from rehab.base.survival import survival
from rehab.inputs import assumptions as reader
from rehab.steps import grinding, network

Maker = Callable[..., pd.DataFrame]
NAN = np.nan
NOTHING = grinding.Work(np.empty(0, np.int64), np.empty(0, np.int64), np.empty(0), np.empty(0, bool))


def city(blocks: Maker, assumptions: Assumptions, *rows: dict[str, object]) -> pd.DataFrame:
    return network.build(blocks(*({"panels_broken": 0, "thickness_in": 8.0, **row} for row in rows)), assumptions)


def work(*rows: tuple[int, int, float, bool]) -> grinding.Work:
    block, step, area, rebuilt = (np.array(values) for values in zip(*rows, strict=True))
    return grinding.Work(block, step, area.astype(float), rebuilt)


def untreated(blocks: int, years: int, **columns: float) -> pd.DataFrame:
    """The columns of the needs that grinding asks, block by block and year by year: nothing asks for it."""
    usual = {"faulting_in": NAN, "iri_in_per_mi": NAN, "grind_panels_share": 0.0, **columns}
    return pd.DataFrame({name: np.full(blocks * years, value) for name, value in usual.items()})


def test_the_published_life_of_a_ground_surface(defaults: Assumptions) -> None:
    # Concrete Alberta, Diamond grinding and grooving: 90 % last 9.5 years, 50 % last 13.5.
    scale, shape = grinding.curve(defaults)
    assert survival(np.array([9.5, 13.5]), scale, shape) == pytest.approx([0.9, 0.5])
    # By hand: k = ln(ln 0.5 / ln 0.9) / ln(13.5 / 9.5), scale = 13.5 / (ln 2)^(1/k).
    assert shape == pytest.approx(np.log(np.log(0.5) / np.log(0.9)) / np.log(13.5 / 9.5))
    assert scale == pytest.approx(13.5 / np.log(2) ** (1 / shape))
    assert (round(shape, 2), round(scale, 3)) == (5.36, 14.455)


def test_a_new_surface_is_due_again_by_its_curve(defaults: Assumptions) -> None:
    # Ground in year 0 with the work: the shares due in years 1 to 13 and those that last add up to one.
    life = grinding.curve(defaults)
    again = grinding.times_again(np.zeros((1, 14)), np.array([2.0]), work((0, 0, 100.0, False)), life)
    lasting = survival(np.arange(14), *life)
    assert again[0] == pytest.approx(np.concatenate([[0.0], lasting[:-1] - lasting[1:]]))
    assert again.sum() == pytest.approx(1 - survival(np.array([13.0]), *life)[0])
    # The published half: between year 13 and year 14 of a surface, the share ground again passes one half.
    assert again[0].cumsum()[13] < 0.5 < 1 - survival(np.array([14.0]), *life)[0]


@pytest.mark.parametrize(("left", "old", "step", "rebuilt"), [
    (3, 8, None, False), (2, 8, None, False), (3, NAN, 4, False), (3, 8, 12, False), (2, 8, 12, False),
    (1, 8, 12, False), (1, NAN, 4, False), (3, 8, 12, True), (0, 8, None, False), (3, 0, 30, False),
])
def test_expected_grindings_against_simulation(blocks: Maker, defaults: Assumptions, left: int, old: float,
                                               step: int | None, rebuilt: bool) -> None:
    """100,000 surfaces one by one through 45 years; four standard errors of each year's count, and of the whole."""
    years, draws = 45, 100_000
    one = city(blocks, defaults, {"last_ground_year": 2026 - old, "grindings": NAN})
    worn = grinding.worn_share(one, 2027, years, defaults)
    done = NOTHING if step is None else work((0, step, 0.0 if rebuilt else 50.0, rebuilt))
    life = grinding.curve(defaults)
    found = grinding.times_again(worn, np.array([float(left)]), done, life)[0]

    rng = np.random.default_rng(1)
    scale, shape = life

    def lasts(age: float) -> np.ndarray:
        """A life drawn from the curve, given that the surface is this old: by the inverse of the hazard."""
        return np.asarray(scale * ((age / scale)**shape + rng.exponential(size=draws))**(1 / shape))

    counted = np.zeros((draws, years))
    spare = np.full(draws, left)
    # The survey is of 2026, year 0 is 2027; whatever wears out between two years is ground in the later one.
    due = np.full(draws, np.inf) if np.isnan(old) else np.ceil(lasts(old) - old - 1e-12) - 1
    for year in range(years):
        if step == year:
            due = np.full(draws, np.inf) if rebuilt else year + np.ceil(lasts(0.0))
            spare = np.where(rebuilt, 0, spare - 1)
            continue
        again = (due == year) & (spare > 0)
        counted[again, year] = 1
        spare = spare - again
        due = np.where(again, year + np.ceil(lasts(0.0)), due)
    mean, error = counted.mean(axis=0), counted.std(axis=0) / np.sqrt(draws)
    assert (np.abs(found - mean) <= 4 * error + 2e-4).all()
    total = counted.sum(axis=1)
    assert found.sum() == pytest.approx(total.mean(), abs=4 * total.std() / np.sqrt(draws) + 1e-9)
    assert found.sum() <= left + 1e-9  # never more often than the slab allows


def test_at_most_three_times_and_never_too_thin(blocks: Maker, defaults: Assumptions) -> None:
    # Concrete Alberta: up to 3 grindings. 0.2 in each (from memory), 0.75 in at most in all and 5 in left (proposals).
    found = city(blocks, defaults, {}, {"grindings": 2}, {"grindings": 3}, {"grindings": 7}, {"last_ground_year": 2020},
                 {"thickness_in": 5.4}, {"thickness_in": 5.1}, {"thickness_in": 4.0},
                 {"thickness_in": 5.4, "last_ground_year": 2020, "grindings": 1})
    assert grindings_done(found).tolist() == [0, 2, 3, 7, 1, 0, 0, 0, 1]
    assert grindings_left(found, defaults).tolist() == [3, 1, 0, 0, 2, 2, 0, 0, 1]
    deep = reader.overlay(defaults, {"treatment_lives": {"ground.depth_in": 0.3}})
    assert grindings_left(found, deep)[0] == 2  # 0.75 in hold two of 0.3 in
    bare = city(blocks, defaults, {"thickness_in": NAN})
    assert grindings_left(bare, defaults)[0] >= 0


def test_an_old_surface_is_asked_only_for_the_years_since_its_survey(blocks: Maker, defaults: Assumptions) -> None:
    found = city(blocks, defaults, {"last_ground_year": 2016}, {"last_ground_year": 2016, "surveyed_on": "2020-06-01"},
                 {}, {"grindings": 1}, {"last_ground_year": 2016, "surveyed_on": "2035-06-01"})
    worn = grinding.worn_share(found, 2027, 10, defaults)
    life = grinding.curve(defaults)

    def left(age: int) -> float:
        return float(survival(np.array([age]), *life)[0])

    assert worn[0, [0, 9]] == pytest.approx([1 - left(11) / left(10), 1 - left(20) / left(10)])
    assert worn[1, 0] == pytest.approx(1 - left(11) / left(4))  # what wore out since its survey is due at once
    assert (worn[2] == 0).all() and (worn[3] == 0).all()  # no grinding, or nobody knows when
    assert (worn[4, :9] == 0).all() and worn[4, 9] == pytest.approx(1 - left(20) / left(19))  # seen whole in 2035
    assert (np.diff(worn, axis=1) >= 0).all() and (worn <= 1).all()


def test_areas_and_money_by_hand(blocks: Maker, defaults: Assumptions) -> None:
    years = 3
    found = city(blocks, defaults, {"last_ground_year": 2014}, {}, {"grindings": 3}, {})
    surface = np.array([1000.0, 500.0, 400.0, 300.0])
    needs = untreated(4, years)
    needs.loc[3 * 1 + 1:3 * 1 + 2, "faulting_in"] = 0.08  # the second block from the second year on: FHWA, memory
    needs.loc[3 * 2:3 * 2 + 2, "iri_in_per_mi"] = 400.0  # the third is rough, but was ground three times
    needs.loc[3 * 3:3 * 3 + 2, "faulting_in"] = 0.0799
    done = work((1, 1, 450.0, False), (3, 0, 0.0, True))
    areas = grinding.schedule(found, surface, needs, done, 2027, years, defaults)
    life = grinding.curve(defaults)
    lasting = survival(np.array([12.0, 13.0, 14.0, 15.0]), *life)
    new = float(1 - survival(np.array([1.0]), *life)[0])
    assert areas.ground.tolist() == [[0, 0, 0], [0, 450, 0], [0, 0, 0], [0, 0, 0]]
    assert areas.need[0] == pytest.approx(1000 * (1 - lasting[1:] / lasting[0]))
    assert areas.need[1:].tolist() == [[0, 500, 500], [0, 0, 0], [0, 0, 0]]
    assert areas.reground[1] == pytest.approx([0, 0, 500 * new]) and (areas.reground[2:] == 0).all()
    assert areas.reground[0] == pytest.approx(1000 * -np.diff(lasting) / lasting[0], rel=1e-3)  # hardly any twice
    price = np.arange(1.0, 13.0).reshape(4, years)
    table = grinding.by_year(areas, price)
    assert table["ground_usd"].tolist() == [0, 450 * 5, 0] and table["ground_sqyd"].tolist() == [0, 450, 0]
    assert table["grind_need_sqyd"].to_numpy() == pytest.approx(areas.need.sum(axis=0))
    assert table["grind_need_usd"].to_numpy() == pytest.approx((areas.need * price).sum(axis=0))
    assert table["reground_usd"].to_numpy() == pytest.approx((areas.reground * price).sum(axis=0))


def test_a_panel_survey_may_ask_alone(blocks: Maker, defaults: Assumptions) -> None:
    found = city(blocks, defaults, {})
    areas = grinding.schedule(found, np.array([100.0]), untreated(1, 2, grind_panels_share=0.1), NOTHING, 2027, 2,
                              defaults)
    assert areas.need.tolist() == [[100.0, 100.0]] and (areas.reground == 0).all()


def test_no_blocks_and_no_work(blocks: Maker, defaults: Assumptions) -> None:
    none = city(blocks, defaults, {}).iloc[:0]
    areas = grinding.schedule(none, np.empty(0), untreated(0, 4), NOTHING, 2027, 4, defaults)
    assert areas.need.shape == areas.reground.shape == (0, 4)
    assert (grinding.by_year(areas, np.empty((0, 4))) == 0).all().all()
