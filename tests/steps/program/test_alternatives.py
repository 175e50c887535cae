"""Alternatives as arrays and as a table, and what waiting is charged with."""

import numpy as np
import pandas as pd
import pytest

from rehab.base import tables
from rehab.steps import program
from tests.steps.program.making import alternatives, city, pairs, scenario


def test_waiting_is_charged_with_what_its_dollars_would_have_bought() -> None:
    # By hand: two blocks, three years, no discount, prices up by half a year.  Today's needs: $100 of partial depth
    # for 30 and $300 of full depth for 50, so the average dollar buys 0.2.
    def both(first: list[float], second: list[float]) -> np.ndarray:
        return np.array([first, second])

    inflation, today = np.array([1.0, 1.5, 2.25]), np.ones(3)
    costs = {"partial_depth": both([100, 150, 450], [0, 0, 0]), "full_depth": both([200, 300, 900], [300, 450, 675]),
             "reconstruction": both([900, 1350, 2025], [900, 1350, 2025])}
    benefits = {"partial_depth": both([30, 29, 33], [0, 0, 0]), "full_depth": both([40, 41, 70], [50, 52, 54]),
                "reconstruction": both([60, 61, 62], [60, 61, 62])}
    due = np.array([[1, 1, 2], [2, 2, 2]])
    found = program.less_waiting(benefits, costs, due, inflation, today, 1.0)
    assert found["partial_depth"].tolist() == pytest.approx(both([30, 29, 33 - 0.2 * 100], [0, 0, 0]))
    assert found["full_depth"] == pytest.approx(both([40, 41, 70 - 0.2 * 200], [50, 52, 54]))
    assert found["reconstruction"] == pytest.approx(benefits["reconstruction"])
    half = program.less_waiting(benefits, costs, due, inflation, np.array([1.0, 0.5, 0.25]), 0.5)
    assert half["full_depth"][0, 2] == pytest.approx(70 - 0.5 * 0.2 * 0.25 * 200)
    for name, values in program.less_waiting(benefits, costs, due, inflation, today, 0.0).items():
        assert (values == benefits[name]).all()
    nothing = program.less_waiting(benefits, costs, np.zeros((2, 3), int), inflation, today, 1.0)
    assert all((nothing[name] == benefits[name]).all() for name in tables.WORK)


def test_every_alternative_is_there_once() -> None:
    costs = {name: np.arange(6.0).reshape(2, 3) + 100 * position for position, name in enumerate(tables.WORK)}
    given = program.every(costs, {name: -value for name, value in costs.items()})
    assert len(given) == 18 and len(set(zip(given.block, given.step, given.strategy, strict=True))) == 18
    row = np.flatnonzero((given.block == 1) & (given.step == 2) & (given.strategy == "reconstruction"))[0]
    assert given.cost_usd[row] == 205 and given.benefit[row] == -205
    assert (given.then_step == -1).all() and (given.then == "").all() and (given.then_usd == 0).all()


def test_the_table_is_sorted_and_says_second_works() -> None:
    given = alternatives((1, 1, "full_depth", 7, 3), (0, 2, "reconstruction", 9, 4)).beside(
        pairs((0, 0, "partial_depth", 2, 5, 2, "grinding", 6)))
    table = tables.check("alternatives", program.as_table(given, city(2), scenario(1, 1, 1)))
    assert table["block_id"].tolist() == ["B0", "B0", "B1"] and table["year"].tolist() == [2027, 2029, 2028]
    assert table["then_work"].tolist()[0] == "grinding" and table["then_work"].isna().tolist() == [False, True, True]
    assert table["then_year"].tolist()[0] == 2029 and table["then_usd"].tolist()[0] == 6
    assert table["cost_usd"].tolist() == [2, 9, 7] and table["benefit"].tolist() == [5, 4, 3]


def test_parts_and_joins() -> None:
    given = alternatives((0, 0, "full_depth", 1, 2), (1, 1, "partial_depth", 3, 4))
    assert given.only(np.array([False, True])).cost_usd.tolist() == [3]
    assert given.only(np.array([1, 0])).block.tolist() == [1, 0]
    assert given.beside(given).benefit.tolist() == [2, 4, 2, 4]
    none = alternatives()
    assert len(none) == 0 and program.as_table(none, city(0), scenario(1)).empty
    pd.testing.assert_series_equal(program.as_table(none, city(0), scenario(1)).dtypes,
                                   program.as_table(given, city(2), scenario(1, 1)).dtypes)
