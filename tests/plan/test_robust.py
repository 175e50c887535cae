"""Programs chosen anew in draws: nothing uncertain gives the plan itself; shares add up; what is not drawn is refused."""

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from rehab import plan
from rehab.base import tables
from rehab.base.limits import Target
from rehab.base.settings import Assumptions, Forced, Scenario
from rehab.inputs import assumptions as reader
from rehab.inputs import demo
from rehab.plan import Prepared, robust

START, YEARS = 2027, 4


def certain(base: Assumptions) -> Assumptions:
    """Assumptions that leave nothing open: each block is its family's, each survey and each price is right."""
    made = dict(base.tables)

    def put(name: str, rows: dict[str, Any]) -> None:
        made[name] = made[name].copy()
        for key, value in rows.items():
            made[name].loc[key, "value"] = str(value)

    put("uncertainty", dict.fromkeys(("family.life_cv", "patch.life_cv", "panel.life_cv", "escalation.sd",
                                      "quantity.common_cv"), 0))
    put("defaults", dict.fromkeys([key for key in base.table("defaults").index if key.startswith("quantity_range")], 0))
    put("survival", {"prior.shallow_weight": 1e12, "prior.deep_weight": 1e12})
    made["pay_items"] = made["pay_items"].copy()
    made["pay_items"]["low"] = made["pay_items"]["high"] = made["pay_items"]["value"]
    return replace(base, tables=made)


@cache
def city(sure: bool = False, blocks: int = 60) -> Prepared:
    made = demo.invent(blocks, 3)
    used = reader.defaults()
    return plan.prepare(made.blocks, made.defects, certain(used) if sure else used, START, YEARS)


def asked(usd: float = 3e5, **more: object) -> Scenario:
    return Scenario(start_year=START, budgets_usd=(usd,) * YEARS, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(("blocks", "usd"), [(60, 1e9), (12, 1.5e5)])
def test_with_nothing_uncertain_every_draw_is_the_plan(blocks: int, usd: float) -> None:
    # Money for everything, or few enough blocks for the best to be proven: else rounding may lead a search elsewhere.
    prepared = city(True, blocks)
    made = plan.decide(prepared, asked(usd), 20)
    assert made.chosen.status == "optimal"
    found = robust.places(made, 5, effort=20)
    assert found.draws == 5 and found.failed == 0
    table = found.blocks.set_index("block_id")
    held = made.program.set_index("block_id")
    inside = table.index.isin(held.index)
    assert inside.sum() > 2 and not inside.all()
    for share in ("in_program", "same_year", "same_work"):
        assert (table.loc[inside, share] == 1).all() and (table.loc[~inside, share] == 0).all()
    assert (table.loc[held.index, "year"] == held["year"]).all()
    assert (table.loc[held.index, "strategy"] == held["strategy"]).all() and table.loc[~inside, "year"].isna().all()
    assert "100 % of them on average, in the same year in 100 %" in found.sentence()


def test_shares_of_draws_are_nested_and_repeat() -> None:
    made = plan.decide(city(), asked(), 0)
    found, few, again, other = (robust.places(made, draws, seed) for draws, seed in ((5, 1), (2, 1), (2, 1), (2, 2)))
    table = tables.check("block_places", found.blocks)
    assert few.blocks.equals(again.blocks) and not few.blocks.equals(other.blocks)
    assert (table["same_work"] <= table["same_year"]).all() and (table["same_year"] <= table["in_program"]).all()
    counts = table[["in_program", "same_year", "same_work"]].to_numpy() * 5
    assert counts == pytest.approx(np.rint(counts)) and 0 < table["in_program"].mean() < 1
    assert (table.loc[table["year"].isna(), ["same_year", "same_work"]] == 0).all().all()
    assert table["in_program"].nunique() > 2  # something is uncertain


def test_a_forced_block_is_in_every_draw_and_targets_are_left_out() -> None:
    name = str(city().network["block_id"].iloc[0])
    made = plan.decide(city(), asked(9e5, forced=(Forced(name, START, "reconstruction", 1000.0),), targets=(
        Target(40.0, START, START),)), 0)
    found = robust.places(made, 3)
    row = found.blocks.set_index("block_id").loc[name]
    assert found.failed == 0 and row["in_program"] == row["same_year"] == row["same_work"] == 1


def test_draws_without_a_program_are_counted() -> None:
    name = str(city().network["block_id"].iloc[0])
    made = plan.decide(city(), asked(10.0, forced=(Forced(name, START, "reconstruction"),)), 0)
    found = robust.places(made, 3)
    assert found.failed == 3 and (found.blocks["in_program"] == 0).all()
    assert found.sentence() == "The program holds no block."


def test_what_is_not_drawn_is_refused() -> None:
    for more, words in (({"benefit": "agency cost"}, "not drawn"), ({"choice": "worst first"}, "chosen as the best")):
        with pytest.raises(ValueError, match=words):
            robust.places(plan.decide(city(), asked(**more), 0), 2)
    with pytest.raises(ValueError, match="at least one draw"):
        robust.places(plan.decide(city(), asked(), 0), 0)
