"""Surveys as tables of blocks fitted, and every odd survey: nothing missing in what is shown, and a note that says it."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from rehab.base import tables
from rehab.inputs import assumptions as reader
from rehab.plan import calibrate

ASSUMED = reader.defaults()
YEARS = (2016, 2021)


def survey(year: int, full: object, partial: object, **more: object) -> pd.DataFrame:
    """Blocks of 60 panels: one feet-of-spall default (six feet) for each panel that needs partial depth."""
    rows = pd.DataFrame({"panels_broken": np.asarray(full, float), "spalled_joint_ft": 6.0 * np.asarray(partial, float)})
    rows = rows.assign(block_id=[f"B{number:04d}" for number in range(len(rows))], **{
        "length_ft": 300.0, "width_ft": 36.0, "panel_length_ft": 15.0, "panel_width_ft": 12.0, "thickness_in": 8.0,
        "functional_class": "local", "dowelled": False, "year_built": 1980.0, "surveyed_on": f"{year}-06-01", **more})
    return tables.with_types("blocks", rows)


def drawn(blocks: int = 250, seed: int = 3, years: tuple[int, ...] = YEARS) -> list[pd.DataFrame]:
    """Panels one by one on the default curves of local streets, blocks all alike."""
    rng = np.random.default_rng(seed)
    value = {key: ASSUMED.number("survival", key) for key in (
        "shallow.scale.local", "shallow.shape", "deep.scale.local", "deep.shape", "shallow_to_deep.hazard_factor")}
    built = rng.integers(1950, 2000, blocks).astype(float)
    shallow = value["shallow.scale.local"] * rng.weibull(value["shallow.shape"], (blocks, 60))
    scale, shape = value["deep.scale.local"], value["deep.shape"]
    deep = scale * rng.weibull(shape, (blocks, 60))
    after = scale * ((shallow / scale) ** shape + rng.exponential(size=(blocks, 60))
                     / value["shallow_to_deep.hazard_factor"]) ** (1 / shape)
    full = np.where(deep < shallow, deep, after)
    return [survey(year, (full <= (age := (year - built)[:, None])).sum(axis=1),
                   ((shallow <= age) & (full > age)).sum(axis=1), year_built=built) for year in years]


def shown(made: calibrate.Refit) -> None:
    """Nothing missing where a screen shows it, and three whole sentences."""
    for table in (made.against, made.residuals, made.set_apart):
        assert not table.isna().any().any()
    fitted = made.rows[made.rows["fitted"]]
    assert not fitted[["value", "default"]].isna().any().any()
    words = calibrate.sentences(made)
    assert len(words) == 3
    for sentence in (*words, *(note.message for note in made.notes)):
        assert sentence and not any(bad in sentence.lower() for bad in ("nan", "none,", "<na>", "inf "))
    for sentence in words:
        assert sentence.endswith(".")


def test_the_curves_that_made_the_surveys_are_found_again() -> None:
    made = calibrate.refit(drawn(), ASSUMED)
    shown(made)
    rows = made.rows.set_index("key")
    keys = ["shallow.scale.local", "deep.scale.local", "shallow.shape", "deep.shape", "shallow_to_deep.hazard_factor"]
    error = np.log(rows["high"] / rows["low"]) / (2 * 1.96)  # the values before are the true ones here
    assert (np.abs(np.log(rows["value"] / rows["default"]) / error)[keys] < 3).all()
    many = made.against[made.against["panels"] > 1000]
    for kind in ("partial", "full"):
        assert many[f"after_{kind}_share"].to_numpy() == pytest.approx(many[f"seen_{kind}_share"], abs=0.03)
    weights = rows.loc[["prior.shallow_weight", "prior.deep_weight"]]
    assert (weights["value"] > 40).all()  # the blocks are all alike
    assert made.residuals["full_residual"].std() == pytest.approx(1, abs=0.2)
    assert made.residuals["partial_inside"].mean() == pytest.approx(0.85, abs=0.08)  # counts: a little over 80 %
    assert (made.against["age_to_yr"] - made.against["age_from_yr"] == 10).all()
    assert made.against["blocks"].sum() == 250 and made.against["panels"].sum() == 250 * 60
    off = (made.against["after_full_share"] - made.against["seen_full_share"]).abs()
    assert np.average(off, weights=made.against["panels"]) < 0.01


def test_the_order_and_the_index_of_the_tables_do_not_matter() -> None:
    older, newest = drawn(60)
    one = calibrate.refit([older, newest], ASSUMED)
    two = calibrate.refit([newest.iloc[::-1], older.sample(frac=1, random_state=1)], ASSUMED)
    pd.testing.assert_frame_equal(one.rows, two.rows)
    pd.testing.assert_frame_equal(one.residuals, two.residuals)


def test_the_sentences_say_what_the_tables_hold() -> None:
    older, newest = drawn(120)
    newest.loc[0, "last_work_year"] = 2018.0
    older.loc[1, "panels_broken"], newest.loc[1, "panels_broken"] = 40.0, 2.0
    made = calibrate.refit([older, newest], ASSUMED)
    first, second, third = calibrate.sentences(made)
    assert "2016, 2021 give 118 pairs of surveys of 118 blocks; set apart: 1 with work recorded and 1 with work that " in first
    assert made.set_apart["reason"].tolist() == ["recorded work", "unrecorded work"]
    assert "95 % interval" in second or "end of its range" in second
    assert "of 118 blocks" in third and {"B0000", "B0001"}.isdisjoint(made.residuals["block_id"])
    # the shares that the third sentence names are those of the table
    off = (made.against["after_partial_share"] - made.against["seen_partial_share"]).abs()
    assert f"by {100 * np.average(off, weights=made.against['panels']):.3g} points" in third
    shown(made)


ODD = {
    "all failed": ([60] * 30, [0] * 30, [60] * 30, [0] * 30),
    "none failed": ([0] * 30, [0] * 30, [0] * 30, [0] * 30),
    "all failed between": ([0] * 30, [0] * 30, [60] * 30, [0] * 30),
    "all went shallow": ([0] * 30, [0] * 30, [0] * 30, [60] * 30),
    "one block": ([1], [2], [2], [4]),
    "shares that do not add up": ([50] * 30, [40] * 30, [58] * 30, [50] * 30),
    "fewer later within the noise": ([4] * 30, [8] * 30, [3] * 30, [8] * 30),
    "fewer later beyond the noise": ([30] * 30, [8] * 30, [3] * 30, [8] * 30),
}


@pytest.mark.parametrize("case", ODD)
def test_odd_surveys_are_answered(case: str) -> None:
    full, partial, later_full, later_partial = ODD[case]
    made = calibrate.refit([survey(2016, full, partial), survey(2021, later_full, later_partial)], ASSUMED)
    shown(made)
    if case in {"all failed", "none failed", "one block", "fewer later beyond the noise"}:
        assert made.fit is None and made.rows.empty and any("too few" in note.message for note in made.notes)
        assert "values before stay" in calibrate.sentences(made)[1]
        assert made.assumptions.number("survival", "deep.shape") == ASSUMED.number("survival", "deep.shape")
    assert (len(made.set_apart) == 30) is (case == "fewer later beyond the noise")
    if case == "fewer later within the noise":
        assert any("noise of surveys" in note.message for note in made.notes) and len(made.residuals) == 30


def test_blocks_of_one_panel() -> None:
    small = {"length_ft": 12.0, "width_ft": 12.0, "panel_length_ft": 12.0}
    rng = np.random.default_rng(1)
    before = (rng.random(300) < 0.2).astype(float)
    later = np.maximum(before, (rng.random(300) < 0.3).astype(float))
    shallow = (rng.random(300) < 0.3) * (1 - later)
    made = calibrate.refit([survey(2016, before, 0 * before, **small), survey(2021, later, shallow, **small)], ASSUMED)
    assert (made.history.blocks[["sound", "shallow", "deep"]].sum(axis=1) == 1).all()
    shown(made)


def test_age_zero_unknown_and_learned_later() -> None:
    older, newest = drawn(60)
    older.loc[0, "year_built"] = newest.loc[0, "year_built"] = 2016.0
    older.loc[0, ["panels_broken", "spalled_joint_ft"]] = 0.0
    older.loc[1, "year_built"] = newest.loc[1, "year_built"] = np.nan
    older.loc[2, "year_built"] = np.nan
    found = calibrate.surveys([older, newest], ASSUMED).set_index(["block_id", "survey_year"])
    assert found.loc[("B0000", 2016), "age_yr"] == 0
    assert not found.loc["B0001", "age_known"].any()
    assert found.loc[("B0002", 2016), "age_yr"] == 2016 - newest.loc[2, "year_built"]
    assert found.loc["B0002", "age_known"].all()
    made = calibrate.refit([older, newest], ASSUMED)
    shown(made)
    from_new = made.history.blocks.set_index("block_id")["from_new"]
    assert not from_new["B0000"] and not from_new["B0001"] and from_new["B0002"]
    assert any(note.message.startswith("1 blocks have no year built") for note in made.notes)


def test_a_block_rebuilt_between_has_work_in_that_year() -> None:
    older, newest = drawn(60)
    newest.loc[0, ["year_built", "panels_broken", "spalled_joint_ft"]] = 2018.0, 0.0, 0.0
    made = calibrate.refit([older, newest], ASSUMED)
    assert made.set_apart.to_numpy().tolist() == [["B0000", 2016, 2021, "recorded work"]]
    found = calibrate.surveys([older, newest], ASSUMED).set_index(["block_id", "survey_year"])
    assert found.loc[("B0000", 2016), "age_yr"] == 2016 - older.loc[0, "year_built"]
    shown(made)


def test_work_that_only_a_later_survey_names_counts_from_its_year() -> None:
    first, second, third = drawn(60, years=(2011, 2016, 2021))
    third.loc[0, "last_work_year"] = 2013.0
    made = calibrate.refit([first, second, third], ASSUMED)
    assert made.set_apart.to_numpy().tolist() == [["B0000", 2011, 2016, "recorded work"]]
    assert made.years == (2011, 2016, 2021) and len(made.history.steps) == 119
    shown(made)


def test_a_survey_in_the_future_counts_by_its_day() -> None:
    older, newest = drawn(60, years=(2016, 2051))
    made = calibrate.refit([older, newest], ASSUMED)
    shown(made)
    assert (made.residuals["to_year"] == 2051).all() and made.years == (2016, 2051)


def test_two_surveys_of_one_year_and_blocks_seen_once() -> None:
    older, newest = drawn(60)
    again = newest.assign(panels_broken=newest["panels_broken"])
    again.loc[3, "panels_broken"] = 60.0
    made = calibrate.refit([older.iloc[:50], newest, again], ASSUMED)
    shown(made)
    assert made.history.blocks["block_id"].tolist() == [f"B{number:04d}" for number in range(50)]
    said = [note.message for note in made.notes]
    assert any(text.startswith("60 rows are a second survey") for text in said)
    assert made.residuals.set_index("block_id").loc["B0003", "seen_full_share"] == 1  # the last table counts


@pytest.mark.parametrize("other", [None, 2016])
def test_one_year_alone_is_no_history(other: int | None) -> None:
    older, newest = drawn(10)
    both = [older, newest.assign(surveyed_on=older["surveyed_on"])] if other else [older]
    with pytest.raises(ValueError, match="two different years"):
        calibrate.refit(both, ASSUMED)
    with pytest.raises(ValueError, match="no block"):
        calibrate.refit([older.iloc[:0]], ASSUMED)


def test_no_day_of_survey_is_said() -> None:
    older, newest = drawn(60)
    newest["surveyed_on"] = pd.NaT
    made = calibrate.refit([older, tables.with_types("blocks", newest)], ASSUMED)
    shown(made)
    assert made.years == (2016, int(ASSUMED.number("defaults", "survey_year")))
    assert any(note.message.startswith("60 rows have no day of survey") for note in made.notes)


def test_other_numbers_of_panels_are_scaled_and_said() -> None:
    older, newest = drawn(60)
    older.loc[0, "panel_length_ft"] = 30.0  # half the panels, by another way to count
    older.loc[0, ["panels_broken", "spalled_joint_ft"]] = 3.0, 12.0
    newest.loc[0, ["panels_broken", "spalled_joint_ft"]] = 8.0, 36.0
    made = calibrate.refit([older, newest], ASSUMED)
    step = made.history.steps[made.history.steps["block"] == 0].iloc[0]
    assert (step["shallow"], step["broken"]) == (4, 2)  # 2 and 3 of 30 are 4 and 6 of 60; 8 - 6
    assert any(note.message.startswith("1 blocks have a different number") for note in made.notes)
    shown(made)


def test_an_index_speaks_for_a_part_of_the_panels() -> None:
    older, newest = drawn(60)
    for table, index in ((older, 70.0), (newest, 60.0)):
        table.loc[0, ["panels_broken", "spalled_joint_ft"]] = np.nan
        table.loc[0, "condition_index"] = index
    found = calibrate.surveys([older, newest], ASSUMED)
    part = 60 * ASSUMED.number("survival", "prior.rating_counts_for")
    assert (found.loc[found["block_id"] == "B0000", "panels"] == part).all()
    made = calibrate.refit([older, newest], ASSUMED)
    assert any("for a part of their panels" in note.message for note in made.notes)
    shown(made)


def test_every_row_has_words() -> None:
    keys = [key for key in ASSUMED.table("survival").index if ".scale." in key or key in calibrate._NAMES]
    assert len(keys) == 8 + len(calibrate._NAMES)
    for key in keys:
        assert "_" not in calibrate.named(key) and calibrate.named(key) != key


def test_inputs_stay_as_they_are() -> None:
    surveys = drawn(30)
    before = [table.copy(deep=True) for table in surveys]
    calibrate.refit(surveys, ASSUMED)
    for table, kept in zip(surveys, before, strict=True):
        pd.testing.assert_frame_equal(table, kept)
