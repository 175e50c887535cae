"""The backtest where the truth is known: panels drawn from the model itself, and the edges of the bookkeeping."""

import numpy as np
import pandas as pd
import pytest

from rehab.base import tables
from rehab.inputs import assumptions as reader
from rehab.plan import backtest

ASSUMED = reader.defaults()
PANELS = 60


def drawn(seed: int, blocks: int, years: tuple[int, ...]) -> list[pd.DataFrame]:
    """Surveys of one city, panel by panel from the family curves of local streets, 8 in plain: scales 50 and 110.

    A panel goes shallow or deep, whichever comes first; one that is shallow breaks ten times as fast.
    """
    rng = np.random.default_rng(seed)
    built = rng.integers(1960, 2000, blocks)
    shallow = 50 * rng.weibull(2.5, (blocks, PANELS))
    deep = 110 * rng.weibull(3, (blocks, PANELS))
    broken = 110 * ((shallow / 110) ** 3 + rng.exponential(size=(blocks, PANELS)) / 10) ** (1 / 3)
    full_at = np.where(deep < shallow, deep, broken)
    surveys = []
    for year in years:
        age = (year - built)[:, None]
        full = (full_at <= age).sum(axis=1)
        partial = ((shallow <= age) & (full_at > age)).sum(axis=1)
        surveys.append(tables.with_types("blocks", pd.DataFrame({
            "block_id": [f"B{number:04d}" for number in range(blocks)], "length_ft": 300.0, "width_ft": 36.0,
            "panel_length_ft": 15.0, "panel_width_ft": 12.0, "thickness_in": 8.0, "functional_class": "local",
            "dowelled": False, "year_built": built, "surveyed_on": f"{year}-06-01", "panels_broken": full,
            "spalled_joint_ft": 6.0 * partial})))
    return surveys


def test_where_the_model_is_true_it_beats_no_change() -> None:
    older, newest = drawn(11, 150, (2016, 2026))
    errors, predicted = backtest.run([older], newest, ASSUMED)
    by_model = errors.set_index("model")
    assert (by_model["blocks"] == 150).all() and (predicted["survey_year_seen"] == 2026).all()
    for measure in ("mean_absolute_error", "root_mean_square_error"):
        assert by_model.at["survival", measure] < 0.7 * by_model.at["no_change", measure]
    # No bias to speak of: ten years on, the mean is met within two points of a hundred.
    assert abs(by_model.at["survival", "mean_error"]) < 2 < by_model.at["no_change", "mean_error"]


def test_the_latest_older_survey_is_the_basis() -> None:
    first, second, newest = drawn(5, 15, (2010, 2020, 2026))
    both = backtest.run([first, second], newest, ASSUMED)[1]
    last = backtest.run([second], newest, ASSUMED)[1]
    assert (both["survey_year"] == 2020).all()
    pd.testing.assert_series_equal(both["survival"], last["survival"])
    pd.testing.assert_series_equal(both["no_change"], last["no_change"])
    turned = backtest.run([second.iloc[::-1], first], newest.iloc[::-1], ASSUMED)[1]
    pd.testing.assert_frame_equal(both, turned)
    # by hand: the line through the two older surveys, six years on
    older = backtest.run([first], second, ASSUMED)[1]["index"]
    line = (both["index"] + (both["index"] - older) / 10 * 6).clip(0, 100)
    assert both["straight_line"].to_numpy() == pytest.approx(line.to_numpy())


def test_one_older_survey_gives_a_line_from_a_hundred_at_age_zero() -> None:
    older, newest = drawn(5, 10, (2016, 2026))
    predicted = backtest.run([older], newest, ASSUMED)[1]
    age = 2016 - older["year_built"]
    line = (predicted["index"] + (predicted["index"] - 100) / age * 10).clip(0, 100)
    assert predicted["straight_line"].to_numpy() == pytest.approx(line.to_numpy())


def test_worked_and_improved_blocks_are_left_out_and_counted() -> None:
    older, newest = drawn(7, 30, (2016, 2026))
    older.loc[0, ["panels_broken", "spalled_joint_ft"]] = 30.0, 0.0
    newest.loc[0, ["panels_broken", "spalled_joint_ft"]] = 0.0, 0.0  # better without a record
    newest.loc[1, "last_work_year"] = 2020.0
    newest.loc[2, "last_work_year"] = 2015.0  # before the older survey: kept
    errors, predicted = backtest.run([older], newest, ASSUMED)
    assert predicted["unrecorded"].tolist()[:3] == [True, False, False]
    assert predicted["work"].tolist()[:3] == [False, True, False]
    assert (errors["blocks"] == 30 - 2).all()
    assert (errors["left_out_work"] == 1).all() and (errors["left_out_unrecorded"] == 1).all()


def test_errors_by_hand() -> None:
    older, newest = drawn(9, 12, (2016, 2026))
    errors, predicted = backtest.run([older], newest, ASSUMED)
    row = errors.set_index("model").loc["no_change"]
    used = predicted[~predicted["unrecorded"]]
    off = (used["index"] - used["index_seen"]).to_numpy()
    assert row["mean_error"] == pytest.approx(off.mean())
    assert row["mean_absolute_error"] == pytest.approx(np.abs(off).mean())
    assert row["root_mean_square_error"] == pytest.approx(np.sqrt((off**2).mean()))


def test_blocks_in_one_survey_alone_are_no_part_of_it() -> None:
    older, newest = drawn(3, 12, (2016, 2026))
    errors, predicted = backtest.run([older.iloc[:8]], newest.iloc[4:], ASSUMED)
    assert predicted["block_id"].tolist() == [f"B{number:04d}" for number in range(4, 8)]
    with pytest.raises(ValueError, match="block names must agree"):
        backtest.run([older.iloc[:3]], newest.iloc[4:], ASSUMED)
    with pytest.raises(ValueError, match="surveyed earlier"):
        backtest.run([newest], newest, ASSUMED)  # the same year is no earlier survey
    assert len(errors) == 3


def test_a_word_that_nobody_knows_is_no_sound_block() -> None:
    older, newest = drawn(3, 6, (2016, 2026))
    for table in (older, newest):
        table.loc[0, ["panels_broken", "spalled_joint_ft"]] = np.nan
        table.loc[0, "condition_word"] = "wobbly"
    errors, predicted = backtest.run([older], newest, ASSUMED)
    assert "B0000" not in set(predicted["block_id"]) and (errors["blocks"] <= 5).all()


def test_inputs_stay_as_they_are() -> None:
    older, newest = drawn(3, 6, (2016, 2026))
    before = older.copy(deep=True), newest.copy(deep=True)
    backtest.run([older], newest, ASSUMED)
    pd.testing.assert_frame_equal(older, before[0])
    pd.testing.assert_frame_equal(newest, before[1])
