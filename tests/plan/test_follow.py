"""Works that follow: the condition of their time, asked as any other."""

import numpy as np
import pandas as pd
import pytest

from rehab import plan
from rehab.base import tables
from rehab.inputs import assumptions as reader
from rehab.plan import Prepared
from rehab.steps import forecast, lifecycle


@pytest.fixture(scope="module")
def made() -> Prepared:
    usual = {"length_ft": 300.0, "width_ft": 36.0, "year_built": 1976, "surveyed_on": "2026-06-01"}
    rows = [{"panels_broken": 0, "spalled_joint_ft": 60.0}, {"panels_broken": 3, "spalled_joint_ft": 90.0},
            {"panels_broken": 30}, {"panels_broken": 4, "material_distress": "high"}]
    blocks = tables.with_types("blocks", pd.DataFrame([{"block_id": f"B{number}", **usual, **row}
                                                       for number, row in enumerate(rows, 1)]))
    return plan.prepare(blocks, tables.empty("defects"), reader.defaults(), 2027, 4)


def test_the_chain_is_that_of_the_settings(made: Prepared) -> None:
    for name, course in made.later.items():
        assert [work.strategy for work in course] == list(lifecycle.follow_ups(name, made.assumptions)[:-1])
    assert list(made.later) == ["none", "partial_depth", "full_depth"] and not made.later["full_depth"]


def test_full_depth_after_partial_depth_by_the_paths_themselves(made: Prepared) -> None:
    # The path of each block by itself: partial depth in 2027, full depth in the year nearest the trigger, and the years
    # until the index is back there, read off the path.
    work = made.later["partial_depth"][0]
    assert work.of is not None
    for row in np.flatnonzero(work.of):
        back = round(made.lives["partial_depth"]["treated_yr"].iloc[row])
        block, now = np.array([row]), np.array([0])
        _, partial, full = forecast.treated(
            made.ageing, block, now, np.array(["partial_depth"]), 64,
            [forecast.Work(np.array([back]), np.array(["full_depth"]))])
        index = forecast.index_of(partial, full, np.zeros(1), made.assumptions)[0]
        assert index[back] > 99 or back == 0
        first = back + int(np.argmax(index[back:] <= 40))
        lasts = first - 1 + (index[first - 1] - 40) / (index[first - 1] - index[first]) - back
        assert work.life_yr[row] == pytest.approx(min(lasts, 60), abs=1e-6)


def test_a_work_that_is_not_adequate_is_left_out(made: Prepared) -> None:
    # Concrete that falls apart is not repaired in full depth by the rules, and a street half broken not in part.
    for course in made.later.values():
        for work in course:
            assert work.of is not None
            assert (work.cost_usd[~work.of] == 0).all() and (work.life_yr[~work.of] == 0).all()
            assert (work.cost_usd[work.of] > 0).all()
    none = made.later["none"]
    assert none[0].strategy == "partial_depth" and none[0].of is not None and not none[0].of[2]
    assert none[1].of is not None and not none[1].of[3]
