"""Scenario, assumptions and tables: what is refused, what is kept, what a fingerprint sees."""

import pandas as pd
import pandera.errors
import pytest

from rehab.base import rating, tables
from rehab.base.errors import BadAssumption
from rehab.base.settings import Assumptions, Forced, Override, Scenario
from rehab.inputs import assumptions as reader


def test_a_scenario_survives_the_way_to_a_file_and_back() -> None:
    own = Scenario("own", 2027, (1e6, 2e6), overrides=(Override("B1", "none", "sewer first"),),
                   forced=(Forced("B2", 2028, "full_depth"),), kept_out=("B3",))
    again = Scenario.from_mapping(own.as_mapping())
    assert again == own
    assert again.fingerprint() == own.fingerprint()
    assert own.with_budget(3e6).fingerprint() != own.fingerprint()


@pytest.mark.parametrize(("given", "budgets"), [
    ({"budget_usd": 3, "years": 2}, (3.0, 3.0)),
    ({"budgets_usd": [1, 2], "years": 2}, (1.0, 2.0)),
    ({"budgets_usd": {"2027": 1, "2028": 2}, "years": 2}, (1.0, 2.0)),
    ({"years": 3}, Scenario().budgets_usd[:1] * 3),
    ({"budget_usd": 5}, (5.0,) * 10),
])
def test_years_and_money_go_together(given: dict[str, object], budgets: tuple[float, ...]) -> None:
    assert Scenario.from_mapping(given).budgets_usd == budgets


@pytest.mark.parametrize(("given", "words"), [
    ({"budgets_usd": [-1]}, "zero or more"),
    ({"budgets_usd": []}, "1 to 50 years"),
    ({"choice": "random"}, "not one of"),
    ({"speed": 3}, "unknown in a scenario: speed"),
    ({"overrides": [{"block_id": "B1", "strategy": "none", "reason": " "}]}, "needs a reason"),
    ({"overrides": [{"block_id": "B1", "strategy": "overlay", "reason": "x"}]}, "'overlay' is not one of"),
    ({"forced": [{"block_id": "B1", "year": 1999}]}, "1999 is not a year"),
    ({"forced": [{"block_id": "B1", "year": 2027}], "kept_out": ["B1"]}, "at once: B1"),
    ({"forced": [{"block_id": "B1"}]}, "the row of forced with block_id = B1 lacks year"),
    ({"closed": [{"block_id": "B1", "year": 2028, "reason": "x"}]}, "has no use for reason"),
    ({"budget_usd": 1, "budgets_usd": [1]}, "two ways"),
    ({"budgets_usd": [1, 2], "years": 3}, "has 2 years, but years is 3"),
    ({"budget_usd": 1, "years": 0}, "1 to 50 years"),
])
def test_an_impossible_scenario_says_why(given: dict[str, object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        Scenario.from_mapping(given)


def test_one_budget_may_stand_for_all_years() -> None:
    assert Scenario.from_mapping({"budget_usd": 5e5, "years": 4}).budgets_usd == (5e5,) * 4


def test_city_values_lie_over_the_defaults(defaults: Assumptions) -> None:
    city = reader.overlay(defaults, {"pay_items": {"diamond_grinding": 9}})
    assert city.number("pay_items", "diamond_grinding") == 9
    assert city.table("pay_items").loc["diamond_grinding", "origin"] == "city"
    assert defaults.number("pay_items", "diamond_grinding") == 6
    assert city.fingerprint() != defaults.fingerprint()


def test_a_price_may_bring_its_own_range_and_note(defaults: Assumptions) -> None:
    only = reader.overlay(defaults, {"pay_items": {"diamond_grinding": 9}})
    own = reader.overlay(defaults, {"pay_items": {"diamond_grinding": 20, "diamond_grinding low": 16.5,
                                                  "diamond_grinding high": "30", "diamond_grinding note": "five bids"}})
    row = own.table("pay_items").loc["diamond_grinding"]
    assert row[["value", "low", "high", "origin"]].tolist() == ["20", "16.5", "30", "city"]
    assert row["note"] == "default 6, 2 to 14; five bids"
    assert only.table("pay_items").loc["diamond_grinding", "note"] == "default 6"
    assert len({item.fingerprint() for item in (defaults, only, own)}) == 3
    narrow = reader.overlay(defaults, {"pay_items": {"diamond_grinding high": 6.5}})
    assert narrow.table("pay_items").loc["diamond_grinding", ["value", "low", "high"]].tolist() == ["6", "2", "6.5"]
    assert defaults.table("pay_items").loc["diamond_grinding", ["value", "low", "high"]].tolist() == ["6", "2", "14"]


@pytest.mark.parametrize(("rows", "words"), [
    ({"pay_items": {"diamond_grinding low": 7}}, "low 7, value 6 and high 14 of 'diamond_grinding' are not"),
    ({"pay_items": {"diamond_grinding": 1, "diamond_grinding high": 5}}, "not prices above zero in that order"),
    ({"pay_items": {"diamond_grinding": 15, "diamond_grinding low": 3}}, "not prices above zero in that order"),
    ({"pay_items": {"diamond_grinding low": 0}}, "not prices above zero"),
    ({"pay_items": {"diamond_grinding low": "nan"}}, "not prices above zero"),
    ({"pay_items": {"diamond_grinding high": "inf"}}, "not prices above zero"),
    ({"pay_items": {"diamond_grinding high": "dear"}}, "is not a number"),
    ({"economics": {"discount high": 0.5}}, "'discount' takes no high"),
    ({"pay_items": {"gold_plating low": 1}}, "no row 'gold_plating low'"),
    ({"pay_items": {"gold_plating": 1}}, "no row 'gold_plating'"),
    ({"prices": {"x": 1}}, "no assumption table"),
    ({"pay_items": {"diamond_grinding": 500}}, "not between"),
    ({"pay_items": {"diamond_grinding": "cheap"}}, "is not a number"),
    ({"pay_items": {"diamond_grinding": "nan"}}, "not between"),
    ({"season": {"first_day": "02-29"}}, "a day of every year"),
    ({"season": {"first_day": "April 15"}}, "a day of every year"),
    ({"season": {"country": "Teasel"}}, "ISO 3166"),
    ({"season": {"state": "ZZ"}}, "ISO 3166"),
    ({"season": {"work_week": "Monday"}}, "some of Mon"),
    ({"distresses": {"patch/medium": "awful"}}, "one of full depth, box out"),
    ({"layout_rules": {"full.repairs_dowelled": "maybe"}}, "one of yes, no"),
    ({"dowels": {"rule": "thick"}}, "one of eighth, published"),
    ({"defaults": {"functional_class": "lane"}}, "one of arterial"),
])
def test_impossible_city_values_are_refused(defaults: Assumptions, rows: dict[str, dict[str, object]],
                                            words: str) -> None:
    with pytest.raises(BadAssumption, match=words):
        reader.overlay(defaults, rows)  # type: ignore[arg-type]


def test_every_assumption_names_its_source(defaults: Assumptions) -> None:
    for name, table in defaults.tables.items():
        for key in table.index:
            assert defaults.citation(name, key), (name, key)


def test_tables_refuse_what_the_schema_forbids() -> None:
    good = tables.with_types("program", pd.DataFrame(
        {"block_id": ["B1"], "year": [2027], "strategy": ["full_depth"], "cost_usd": [1.0], "benefit": [2.0]}))
    assert list(tables.check("program", good).columns)[0] == "block_id"
    for column, value in (("strategy", "overlay"), ("cost_usd", -1.0)):
        with pytest.raises(pandera.errors.SchemaErrors):
            tables.check("program", good.assign(**{column: value}))


def test_every_table_is_in_the_dictionary_with_a_meaning() -> None:
    words = tables.dictionary()
    assert set(words["table"]) == set(tables.TABLES)
    assert words["about"].str.len().gt(0).all()


def test_index_and_shares_are_inverse(defaults: Assumptions) -> None:
    for index in range(0, 101):
        partial, full = rating.shares_at(index, defaults)
        assert float(rating.index_of(partial, full, defaults)) == pytest.approx(index, abs=0.6)
    # at the points of the curve exactly
    for index in (0, 10, 25, 40, 45, 55, 60, 70, 85, 100):
        assert float(rating.index_of(*rating.shares_at(index, defaults), defaults)) == pytest.approx(index, abs=1e-9)


def test_ratings_sort_as_their_manual_groups_them(defaults: Assumptions) -> None:
    # Visual rating of concrete roads (2002), groups: 5-6 surface repair and partial depth, 3-4 panels, 1-2 rebuild.
    held = rating.index_held(pd.DataFrame({"condition_index": [float("nan")] * 3, "rating_1_10": [6.0, 3.0, 1.0],
                                           "condition_word": pd.Series(["x"] * 3, dtype="str")}), defaults)
    partial, full = rating.shares_at(held, defaults)
    assert partial[0] > 0.1 and full[0] < 0.02
    assert 0.2 < full[1] < 0.5
    assert full[2] > 0.5
