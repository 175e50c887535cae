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
    """Surveys of one city, panel by panel from the family curves of local streets, 8 in plain, blocks all alike.

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


def test_where_the_model_is_true_it_beats_both_plain_models() -> None:
    """The curves are fitted to two older surveys; ten years on each measure is met better than by no change or a line."""
    made = backtest.run((surveys := drawn(11, 200, (2008, 2016, 2026)))[:2], surveys[2], ASSUMED)
    assert set(made.errors["curves"]) == {"refitted"} and (made.blocks["survey_year_seen"] == 2026).all()
    for measure, error in (("index", 2.0), ("full_share", 0.02), ("partial_share", 0.02)):
        rows = made.errors[made.errors["measure"] == measure].set_index("model")
        assert (rows["blocks"] == 200).all()
        for column in ("mean_absolute_error", "root_mean_square_error"):
            for plain in ("no_change", "straight_line"):
                assert rows.at["survival", column] < 0.75 * rows.at[plain, column], (measure, plain)
        assert abs(rows.at["survival", "mean_error"]) < error
        # binomial: 200 blocks of 80 % are within 0.72 and 0.88; counts are whole, so that more may lie inside
        assert 0.72 < rows.at["survival", "coverage"] < 0.95
        assert rows["coverage"].isna().sum() == 2


def test_with_one_older_survey_the_curves_given_are_used_and_said() -> None:
    older, newest = drawn(11, 100, (2016, 2026))
    made = backtest.run([older], newest, ASSUMED)
    assert set(made.errors["curves"]) == {"default"}
    assert any("not refitted" in note.message for note in made.notes)
    # with curves that no survey was fitted to the interval also holds what the family may be off by: wider
    width = (made.blocks["index_high"] - made.blocks["index_low"]).mean()
    by_block = backtest.run([older], newest, ASSUMED, by="block")
    assert width > 1.2 * (by_block.blocks["index_high"] - by_block.blocks["index_low"]).mean()


def test_by_block_every_part_is_told_by_the_others() -> None:
    older, newest = drawn(12, 60, (2016, 2026))
    made = backtest.run([older], newest, ASSUMED, by="block")
    assert set(made.errors["curves"]) == {"refitted"} and len(made.blocks) == 60
    again = backtest.run([older.iloc[::-1]], newest.iloc[::-1], ASSUMED, by="block")
    pd.testing.assert_frame_equal(made.blocks, again.blocks)
    rows = made.errors[made.errors["measure"] == "index"].set_index("model")
    assert rows.at["survival", "mean_absolute_error"] < 0.7 * rows.at["no_change", "mean_absolute_error"]
    assert 0.7 < rows.at["survival", "coverage"] < 0.95
    # what a block shows in the newest survey is no part of what tells it: a change moves others' forecasts, not its own
    changed = newest.copy()
    changed.loc[0, "panels_broken"] = changed.loc[0, "panels_broken"] + 20
    other = backtest.run([older], changed, ASSUMED, by="block").blocks
    same = made.blocks.set_index("block_id")["survival"] == other.set_index("block_id")["survival"]
    assert same["B0000"] and not same.all()


def test_the_newest_survey_has_no_part_in_its_own_forecast() -> None:
    first, second, newest = drawn(13, 80, (2006, 2016, 2026))
    made = backtest.run([first, second], newest, ASSUMED).blocks
    worse = newest.assign(panels_broken=newest["panels_broken"] + 5)
    other = backtest.run([first, second], worse, ASSUMED).blocks
    for column in ("survival", "index_low", "index_high", "survival_full_share"):
        pd.testing.assert_series_equal(made[column], other[column])


def test_the_scatter_of_held_indexes_is_learned_from_earlier_surveys() -> None:
    surveys = drawn(14, 200, (2006, 2016, 2026))
    rng = np.random.default_rng(1)
    from rehab.plan import ahead
    for table in surveys:
        city, need = ahead.measured(table, ASSUMED)
        assert (city["block_id"].to_numpy() == table["block_id"].to_numpy()).all()
        table["condition_index"] = (need["index"] + rng.normal(0, 3, len(table))).clip(0, 100)
    made = backtest.run(surveys[:2], surveys[2], ASSUMED)
    said = next(note.message for note in made.notes if note.message.startswith("held indexes scatter"))
    noise = float(said.split(" by ")[1].split()[0])
    assert noise == pytest.approx(3 * 2**0.5, rel=0.25)  # two readings, 3 points each
    rows = made.errors[made.errors["measure"] == "index"].set_index("model")
    assert 0.7 < rows.at["survival", "coverage"] < 0.9
    bare = backtest.run([surveys[1]], surveys[2], ASSUMED)
    assert any("too narrow" in note.message for note in bare.notes)


def test_shares_are_compared_where_they_were_counted() -> None:
    older, newest = drawn(15, 30, (2016, 2026))
    for table, index in ((older, 80.0), (newest, 70.0)):
        table.loc[:4, ["panels_broken", "spalled_joint_ft"]] = np.nan
        table.loc[:4, "condition_index"] = index
    made = backtest.run([older], newest, ASSUMED)
    blocks = made.errors.groupby("measure")["blocks"].first()
    assert blocks.to_dict() == {"index": 30, "full_share": 25, "partial_share": 25}
    assert (~made.blocks["counted"]).sum() == 5


def test_ride_is_told_by_the_other_blocks_or_a_note_says_why_not() -> None:
    older, newest = drawn(16, 60, (2016, 2026))
    assert backtest.ride([older, newest], ASSUMED)[0].empty
    assert "steps" in backtest.ride([older, newest], ASSUMED)[1][0].message
    rng = np.random.default_rng(2)
    rate = 0.002 * rng.gamma(8, 1 / 8, 60)
    for table, year in ((older, 2016), (newest, 2026)):
        table["faulting_in"] = (rate * (year - table["year_built"])).round(2)
    rows, notes = backtest.ride([older, newest], ASSUMED)
    assert not notes and set(rows["measure"]) == {"faulting"} and set(rows["model"]) == set(backtest.MODELS)
    by_model = rows.set_index("model")["mean_absolute_error"]
    assert by_model["survival"] < 0.7 * by_model["no_change"]


def test_the_latest_older_survey_is_the_basis() -> None:
    first, second, newest = drawn(5, 15, (2010, 2020, 2026))
    both = backtest.run([first, second], newest, ASSUMED).blocks
    last = backtest.run([second], newest, ASSUMED).blocks
    assert (both["survey_year"] == 2020).all()
    pd.testing.assert_series_equal(both["no_change"], last["no_change"])
    turned = backtest.run([second.iloc[::-1], first], newest.iloc[::-1], ASSUMED).blocks
    pd.testing.assert_frame_equal(both, turned)
    # by hand: the line through the two older surveys, six years on
    older = backtest.run([first], second, ASSUMED).blocks["index"]
    line = (both["index"] + (both["index"] - older) / 10 * 6).clip(0, 100)
    assert both["straight_line"].to_numpy() == pytest.approx(line.to_numpy())
    before = first["panels_broken"] / PANELS
    line = (both["full_share"] + (both["full_share"] - before) / 10 * 6).clip(0, 1)
    assert both["straight_line_full_share"].to_numpy() == pytest.approx(line.to_numpy())


def test_one_older_survey_gives_a_line_from_a_hundred_at_age_zero() -> None:
    older, newest = drawn(5, 10, (2016, 2026))
    predicted = backtest.run([older], newest, ASSUMED).blocks
    age = 2016 - older["year_built"]
    line = (predicted["index"] + (predicted["index"] - 100) / age * 10).clip(0, 100)
    assert predicted["straight_line"].to_numpy() == pytest.approx(line.to_numpy())


def test_worked_and_improved_blocks_are_left_out_and_counted() -> None:
    older, newest = drawn(7, 30, (2016, 2026))
    older.loc[0, ["panels_broken", "spalled_joint_ft"]] = 30.0, 0.0
    newest.loc[0, ["panels_broken", "spalled_joint_ft"]] = 0.0, 0.0  # better without a record
    newest.loc[1, "last_work_year"] = 2020.0
    newest.loc[2, "last_work_year"] = 2015.0  # before the older survey: kept
    made = backtest.run([older], newest, ASSUMED)
    errors, predicted = made.errors, made.blocks
    assert predicted["unrecorded"].tolist()[:3] == [True, False, False]
    assert predicted["work"].tolist()[:3] == [False, True, False]
    assert (errors["blocks"] == 30 - 2).all()
    assert (errors["left_out_work"] == 1).all() and (errors["left_out_unrecorded"] == 1).all()


def test_errors_by_hand() -> None:
    older, newest = drawn(9, 12, (2016, 2026))
    made = backtest.run([older], newest, ASSUMED)
    errors, predicted = made.errors, made.blocks
    row = errors[errors["measure"] == "index"].set_index("model").loc["no_change"]
    used = predicted[~predicted["unrecorded"]]
    off = (used["index"] - used["index_seen"]).to_numpy()
    assert row["mean_error"] == pytest.approx(off.mean())
    assert row["mean_absolute_error"] == pytest.approx(np.abs(off).mean())
    assert row["root_mean_square_error"] == pytest.approx(np.sqrt((off**2).mean()))


def test_blocks_in_one_survey_alone_are_no_part_of_it() -> None:
    older, newest = drawn(3, 12, (2016, 2026))
    made = backtest.run([older.iloc[:8]], newest.iloc[4:], ASSUMED)
    errors, predicted = made.errors, made.blocks
    assert predicted["block_id"].tolist() == [f"B{number:04d}" for number in range(4, 8)]
    with pytest.raises(ValueError, match="block names must agree"):
        backtest.run([older.iloc[:3]], newest.iloc[4:], ASSUMED)
    with pytest.raises(ValueError, match="surveyed earlier"):
        backtest.run([newest], newest, ASSUMED)  # the same year is no earlier survey
    assert len(errors) == 9


def test_a_word_that_nobody_knows_is_no_sound_block() -> None:
    older, newest = drawn(3, 6, (2016, 2026))
    for table in (older, newest):
        table.loc[0, ["panels_broken", "spalled_joint_ft"]] = np.nan
        table.loc[0, "condition_word"] = "wobbly"
    made = backtest.run([older], newest, ASSUMED)
    errors, predicted = made.errors, made.blocks
    assert "B0000" not in set(predicted["block_id"]) and (errors["blocks"] <= 5).all()


def test_inputs_stay_as_they_are() -> None:
    older, newest = drawn(3, 6, (2016, 2026))
    before = older.copy(deep=True), newest.copy(deep=True)
    backtest.run([older], newest, ASSUMED)
    pd.testing.assert_frame_equal(older, before[0])
    pd.testing.assert_frame_equal(newest, before[1])
