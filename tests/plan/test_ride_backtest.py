"""The test of the ride forecast: where the growth is known it comes out ahead, and no block sees its own newest."""

import numpy as np
import pandas as pd
import pytest

from rehab.base.settings import Assumptions
from rehab.plan import ride_backtest
from rehab.steps import ride


def surveyed(blocks: int, readings: int, seed: int) -> pd.DataFrame:
    """Visits of invented blocks: every block has its own rate, every reading its error, one visit in two or three years."""
    rng = np.random.default_rng(seed)
    begin = rng.uniform(3, 20, (blocks, 1))
    age = begin + np.cumsum(rng.uniform(2, 3, (blocks, readings)), axis=1)
    rate = rng.normal(0.004, 0.0015, (blocks, 1)).clip(0)
    steps = rate * age + rng.normal(0, 0.02, age.shape)
    rough = np.exp(np.log(100) + rng.normal(0, 0.25, (blocks, 1)) + rng.normal(0.015, 0.005, (blocks, 1)) * age
                   + rng.normal(0, 0.06, age.shape))
    return pd.DataFrame({
        "block_id": np.repeat([f"B{number:03d}" for number in range(blocks)], readings), "age_yr": age.ravel(),
        "faulting_in": steps.ravel(), "iri_in_per_mi": rough.ravel(), "work": False})


def test_where_the_growth_is_true_it_beats_both_plain_models(defaults: Assumptions) -> None:
    errors, predicted = ride_backtest.run(surveyed(120, 5, 3), defaults, folds=4)
    assert set(errors["measure"]) == set(ride.MEASURES) and set(errors["horizon_yr"]) == {0.0, 2.0, 5.0}
    for _, part in errors.groupby(["measure", "horizon_yr"]):
        by_model = part.set_index("model")
        for name in ("mean_absolute_error", "root_mean_square_error"):
            assert by_model.at["growth", name] < 0.9 * by_model.loc[["no_change", "straight_line"], name].min()
        assert by_model.at["growth", "covered"] == pytest.approx(0.8, abs=4 * np.sqrt(0.16 / 120))  # standard errors
        assert abs(by_model.at["growth", "mean_error"]) < 0.2 * by_model.at["growth", "root_mean_square_error"]
    # Older readings end as long before the newest as was asked.
    assert (predicted["years"] >= predicted["horizon_yr"] - 1e-6).all()


def test_no_block_is_predicted_with_its_own_newest(defaults: Assumptions) -> None:
    table = surveyed(40, 3, 5).drop(columns="iri_in_per_mi")
    asked = {"horizons": (0.0,), "folds": 3}
    before = ride_backtest.run(table, defaults, **asked)[1]
    last = table.index[table["block_id"] == "B007"][-1]
    table.loc[last, "faulting_in"] += 0.05
    after = ride_backtest.run(table, defaults, **asked)[1]
    changed = before.merge(after, on=["measure", "block_id"], suffixes=("", "_then"))
    own = changed["block_id"] == "B007"
    assert changed.loc[own, "growth"].tolist() == changed.loc[own, "growth_then"].tolist()
    assert (changed.loc[own, "seen_then"] - changed.loc[own, "seen"]).tolist() == pytest.approx([0.05])
    # It is a reading of the others' growth all the same.
    assert (changed.loc[~own, "growth"] != changed.loc[~own, "growth_then"]).any()


def test_the_same_table_gives_the_same_errors_in_any_order(defaults: Assumptions) -> None:
    table = surveyed(40, 3, 6).drop(columns="iri_in_per_mi")
    one = ride_backtest.run(table, defaults, horizons=(0.0,), folds=2)
    two = ride_backtest.run(table.sample(frac=1, random_state=1), defaults, horizons=(0.0,), folds=2)
    pd.testing.assert_frame_equal(one[0], two[0])
    pd.testing.assert_frame_equal(one[1], two[1])


def test_plain_models_and_errors_by_hand(defaults: Assumptions) -> None:
    table = surveyed(20, 3, 8).drop(columns="iri_in_per_mi")
    first, second, newest = table.index[table["block_id"] == "B000"]
    table.loc[[first, second, newest], "age_yr"] = [10.0, 12.0, 16.0]
    table.loc[[first, second, newest], "faulting_in"] = [0.04, 0.06, 0.05]
    table = table.drop(table.index[table["block_id"] == "B001"][0])  # one older reading: the line begins at zero
    errors, predicted = ride_backtest.run(table, defaults, horizons=(0.0,), folds=2)
    two, one = predicted.set_index("block_id").loc[["B000", "B001"]].itertuples()
    assert (two.no_change, two.straight_line, two.seen, two.years) == pytest.approx((0.06, 0.06 + 0.01 * 4, 0.05, 4))
    older = table[table["block_id"] == "B001"].iloc[0]
    assert one.straight_line == pytest.approx(older["faulting_in"] / older["age_yr"] * one.age_yr)
    row = errors.set_index("model").loc["no_change"]
    off = predicted["no_change"] - predicted["seen"]
    assert row["mean_error"] == pytest.approx(off.mean()) and row["blocks"] == 20
    assert row["mean_absolute_error"] == pytest.approx(off.abs().mean())
    assert row["root_mean_square_error"] == pytest.approx(np.sqrt((off**2).mean()))


def test_newest_readings_after_work_are_left_out_and_counted(defaults: Assumptions) -> None:
    table = surveyed(30, 3, 9).drop(columns="iri_in_per_mi")
    last = {block: table.index[table["block_id"] == block][-1] for block in ("B000", "B001", "B002")}
    table.loc[last["B000"], "work"] = True
    table.loc[last["B001"] - 1, "faulting_in"] = 0.30
    table.loc[last["B001"], "faulting_in"] = 0.20  # more than 2 mm down: FHWA-HRT-06-121, chapter 5, Table 18
    table.loc[last["B002"] - 1, "work"] = True  # earlier: the newest is predicted from the one reading since
    errors, predicted = ride_backtest.run(table, defaults, horizons=(0.0,), folds=2)
    assert (errors["left_out"] == 2).all() and (errors["blocks"] == 28).all()
    assert {"B000", "B001"}.isdisjoint(predicted["block_id"])
    assert predicted.set_index("block_id").at["B002", "visits"] == 1


def test_days_tell_the_years_between_visits(defaults: Assumptions) -> None:
    table = surveyed(24, 3, 4).drop(columns="iri_in_per_mi")
    whole = table.assign(age_yr=np.floor(table["age_yr"]),
                         surveyed_on=pd.Timestamp("1990-01-01") + pd.to_timedelta(table["age_yr"] * 365.25, unit="D"))
    predicted = ride_backtest.run(whole, defaults, horizons=(0.0,), folds=2)[1].set_index("block_id")
    age = table.groupby("block_id")["age_yr"]
    assert predicted["years"].to_numpy() == pytest.approx((age.nth(2).to_numpy() - age.nth(1).to_numpy()), abs=1e-6)


def test_tables_that_cannot_be_judged_say_why(defaults: Assumptions) -> None:
    table = surveyed(5, 3, 2)
    with pytest.raises(ValueError, match="faulting_in: fewer than ten blocks"):
        ride_backtest.run(table, defaults, folds=2)
    with pytest.raises(ValueError, match="no visit has steps or a roughness"):
        ride_backtest.run(table.assign(faulting_in=np.nan, iri_in_per_mi=np.nan), defaults)
    # Ages that nobody knows are no part of it; the other measure stands.
    more = surveyed(30, 3, 2)
    more.loc[more["block_id"] == "B003", "age_yr"] = np.nan
    errors, predicted = ride_backtest.run(more.assign(iri_in_per_mi=np.nan), defaults, horizons=(0.0,), folds=2)
    assert set(errors["measure"]) == {"faulting"} and "B003" not in set(predicted["block_id"])
