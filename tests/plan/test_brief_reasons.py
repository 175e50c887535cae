"""Why a block has its year: one sentence a block, each clause read from the tables; small cities told by hand."""

from dataclasses import replace
from datetime import date
from functools import cache

import numpy as np
import pandas as pd
import pytest

from rehab import plan
from rehab.base import tables
from rehab.base.limits import Capacity, Closed
from rehab.base.settings import Forced, Override, Scenario
from rehab.base.tables import STRATEGIES
from rehab.inputs import assumptions as reader
from rehab.inputs import demo
from rehab.plan import Plan, Prepared, reasons, waiting
from rehab.plan.brief import cause, rules, streets
from rehab.plan.brief.facts import Facts, step_of
from rehab.plan.brief.reason import WAITED_YR

START, YEARS = 2027, 8


@cache
def city() -> Prepared:
    made = demo.invent(150, 5)
    return plan.prepare(made.blocks, made.defects, reader.defaults(), START, YEARS)


@cache
def decided(usd: float = 4e5, **more: object) -> Plan:
    return chosen(city(), usd, **more)


def ready(*rows: dict[str, object], years: int = YEARS) -> Prepared:
    """Blocks of 300 ft by 36 ft, 20 by 3 panels, prepared."""
    usual = {"length_ft": 300.0, "width_ft": 36.0, "panel_length_ft": 15.0, "panel_width_ft": 12.0, "year_built": 1986,
             "surveyed_on": "2026-06-01", "functional_class": "local", "thickness_in": 8.0, "dowelled": False}
    blocks = tables.with_types("blocks", pd.DataFrame(
        [{"block_id": f"B{number:03d}", **usual, **row} for number, row in enumerate(rows, 1)]))
    return plan.prepare(blocks, tables.empty("defects"), reader.defaults(), START, years)


def chosen(prepared: Prepared, usd: float = 5e6, **more: object) -> Plan:
    return plan.decide(prepared, Scenario(start_year=START, budgets_usd=(usd,) * prepared.years, **more), 2)  # type: ignore[arg-type]


def of_rows(*rows: dict[str, object], usd: float = 5e6, years: int = YEARS, **more: object) -> Plan:
    return chosen(ready(*rows, years=years), usd, **more)


def listed(of: Plan) -> pd.DataFrame:
    return streets.table(Facts(of, "Testville", date(2026, 11, 5))).set_index("block_id")


def told(of: Plan, block: str = "B001") -> str:
    return str(listed(of).at[block, "reason"])


def test_what_the_rules_saw_at_the_last_survey() -> None:
    made = of_rows({"panels_broken": 6}, {"panels_broken": 1}, {"spalled_joint_ft": 120.0, "panels_broken": 0},
                   {"panels_broken": 0, "faulting_in": 0.31}, {"material_distress": "high", "panels_broken": 0},
                   {"condition_index": 20.0})
    said = listed(made)["reason"]
    assert said["B001"] == (
        "6 of 60 panels are broken or sunken; full-depth repair is planned for 2027; left until 2032, it would cost about "
        f"{_rise(made, 'B001')} more, before any rise of prices.")
    assert said["B002"].startswith("1 of 60 panels is broken or sunken; full-depth repair is planned for 2027")
    assert said["B003"].startswith("120 ft of joints and cracks are crumbling; partial-depth repair is planned for 2027")
    assert said["B004"].startswith("The steps between panels are 0.31 in high on average; ")
    year = made.program.set_index("block_id").at["B005", "year"]  # there is money for all: the year of the most benefit
    assert year > START and said["B005"] == (
        f"The concrete itself is decaying (level 3 of 3); reconstruction is planned for {year}, when it adds more than in 2027.")
    assert said["B006"].startswith("An estimated 36 of 60 panels are broken or sunken and the condition is at 20 of 100 points "
                                   "(the limit is 50); reconstruction is planned for 20")


def _rise(one: Plan, block: str) -> str:
    """What five years of waiting add, from the table of waiting, rounded to three figures by hand."""
    table = waiting.by_block(one.prepared).set_index(["block_id", "delay_yr"]).loc[(block, WAITED_YR)]
    usd = float(table["same_usd"] + table["heavier_usd"] + table["new_usd"])
    return f"${float(f'{usd:.3g}'):,.0f}"


def test_a_sound_block_and_one_that_falls_due_later() -> None:
    prepared = ready({"panels_broken": 0, "year_built": 2022}, {"panels_broken": 0})
    made = chosen(prepared)
    assert told(made) == "Sound enough: no work is called for through 2034."
    due = START + int((prepared.by_rule[1] > 0).argmax())
    said = told(made, "B002")
    assert due > START and said.startswith("Sound enough at the last survey; about ")
    assert f"by {made.program['year'].iloc[0]}, and " in said and said.endswith("is planned for then.")
    assert told(chosen(prepared, kept_out=("B002",)), "B002") == (
        "Kept out of the program by hand; it is sound enough now.")
    assert told(chosen(prepared, 0.0), "B002") == (
        f"Sound enough now: no work is called for before about {due}; there is no money for work.")


def test_what_was_set_by_hand() -> None:
    made = of_rows(*[{"panels_broken": 6}] * 6, overrides=(
        Override("B001", "partial_depth", "to be rebuilt with the sewer."), Override("B002", "none", "vacated")),
        forced=(Forced("B003", 2030),), kept_out=("B004",), closed=(
            Closed("B005", START), *(Closed("B006", year) for year in range(START, START + YEARS))))
    said, years = listed(made)["reason"], made.program.set_index("block_id")["year"]
    broken = "6 of 60 panels are broken or sunken"
    assert said["B001"] == ("Partial-depth repair was set by hand (to be rebuilt with the sewer) and is planned for "
                            f"{years['B001']}.")
    assert said["B002"] == "Set by hand to get no work (vacated)."
    assert said["B003"] == f"{broken}; full-depth repair in 2030 was fixed by hand."
    assert said["B004"] == f"Kept out of the program by hand; {broken}."
    assert said["B005"] == (f"{broken}; earlier years were closed to it by hand, and full-depth repair is planned for "
                            f"{years['B005']}.")
    assert said["B006"] == f"{broken}; its years are closed to work by hand."


def test_utilities_and_years_without_work() -> None:
    broken = {"panels_broken": 6}
    made = of_rows({**broken, "utility_year": 2029.0}, {**broken, "utility_year": 2034.0}, {**broken, "no_work_until": 2030.0},
                   {**broken, "no_work_until": 2040.0})
    said, years = listed(made)["reason"], made.program.set_index("block_id")["year"]
    begin = "6 of 60 panels are broken or sunken; "
    assert said["B001"] == (f"{begin}utility work is planned for 2029, and full-depth repair comes after it, in "
                            f"{years['B001']}.")
    # No work in the five years before a dig (the default): 2027 and 2028 are open, 2034 ends the program.
    assert years["B002"] in (2027, 2028) and said["B002"].startswith(f"{begin}full-depth repair is planned for 202")
    assert said["B003"] == f"{begin}no work is allowed before 2030, and full-depth repair is planned for 2030."
    assert said["B004"] == f"{begin}no work is allowed before 2040."


def test_money_that_does_not_reach() -> None:
    prepared = ready({"panels_broken": 6}, {"panels_broken": 6})
    one_a_year = chosen(prepared, 1.3 * float(prepared.costs["full_depth"][0, 0]))
    first, second = (one_a_year.program.sort_values("year")[name].tolist() for name in ("year", "block_id"))
    broken = "6 of 60 panels are broken or sunken"
    assert first == [2027, 2028]
    assert told(one_a_year, second[1]) == f"{broken}; full-depth repair follows in 2028, when the money reaches it."
    assert told(chosen(prepared, 0.0)) == f"{broken}; there is no money for work."
    assert told(chosen(prepared, 1_000.0)) == f"{broken}; its work costs more than all the money of a year."
    assert told(chosen(prepared, choice="no work")) == f"{broken}; this scenario does no work."


def test_blocks_that_wait_name_what_came_nearest() -> None:
    made = decided()
    places, found = reasons.of_blocks(made).set_index("block_id"), listed(made)
    waits = found[found["year"].isna() & found["reason"].str.contains("the money does more on other streets")]
    assert len(waits) > 20
    for block, row in waits.iterrows():
        near = places.loc[block]
        assert near["short"] > 0 and str(near["limit"]).startswith("money")
        assert f" in {near['next_year']:.0f} for $" in row["reason"]


def test_a_capacity_that_holds_a_block_back_is_named() -> None:
    rows = [{"spalled_joint_ft": 200.0, "panels_broken": 0, "year_built": 2000}] * 3
    made = of_rows(*rows, years=1, capacities=(Capacity("partial_depth", 250.0),))
    assert len(made.program) == 1
    said = [text for text in listed(made)["reason"] if "planned" not in text]
    assert len(said) == 2
    for text in said:
        assert text.startswith("200 ft of joints and cracks are crumbling; it waits because of a limit (capacity, partial depth "
                               "in 2027: at most 250 sq ft), and nearest to being chosen was partial-depth repair in 2027 for $")


def test_every_block_has_one_sentence() -> None:
    for made in (decided(), decided(choice="worst first"), decided(0.0), decided(works=2, strategies="adequate")):
        said = listed(made)["reason"]
        assert said.str.endswith(".").all() and not said.str[:-1].str.contains(r"\.\s", regex=True).any()
        assert (said.str[0] == said.str[0].str.upper()).all()
        assert not said.str.contains("nan|<NA>|  ", regex=True).any() and said.str.len().max() < 320


def test_the_sentence_names_the_year_and_the_work_of_the_program() -> None:
    for made in (decided(), decided(works=2), decided(choice="benefit-cost ratio")):
        found = listed(made)
        planned = found[found["year"].notna()]
        for row in planned.itertuples():
            assert str(row.year) in row.reason and row.work in row.reason.lower()
        again = made.program[made.program["then_year"].notna()].set_index("block_id")
        for block, row in again.iterrows():
            assert f"in {row['then_year']}." in found.at[block, "reason"] and ", then " in found.at[block, "reason"]


def test_the_causes_are_the_rules_decisions() -> None:
    made = city()
    now = cause.codes(cause.now(made))
    assert [STRATEGIES[code] for code in now] == made.strategies["strategy"].tolist()
    block = np.repeat(np.arange(len(made.network)), YEARS)
    step = np.tile(np.arange(YEARS), len(made.network))
    assert (cause.codes(cause.then(made, block, step)).reshape(-1, YEARS) == made.by_rule).all()


def test_what_waiting_adds_is_that_of_the_table() -> None:
    made = decided()
    table = waiting.by_block(made.prepared).set_index(["block_id", "delay_yr"])
    real = table[["now_usd", "same_usd", "heavier_usd", "new_usd"]].sum(axis=1)
    found = listed(made)
    dear = found[found["reason"].str.contains("it would cost about")]
    assert len(dear) and (dear["year"] == START).all()
    for block, row in dear.iterrows():
        usd = real[(block, WAITED_YR)] - real[(block, 0)]
        assert f"about ${float(f'{usd:.3g}'):,.0f} more" in row["reason"] or "million" in row["reason"]


def test_estimated_blocks_say_so() -> None:
    made = decided()
    found, guessed = listed(made), made.prepared.network.set_index("block_id")["estimated"]
    said = found["reason"].str.contains("estimated", case=False)
    assert said[said].index.isin(guessed[guessed].index).all() and said.any()
    assert step_of(made).shape == (150,)


def test_a_rule_that_no_words_are_known_for_is_told_in_its_own() -> None:
    used = reader.defaults()
    rows = used.table("decision_rules").copy()
    rows.loc["joints/partial_share", ["measure", "words", "value", "unit"]] = [
        "crack_ft", "cracks are long", "10", "ft"]
    other = replace(used, tables={**used.tables, "decision_rules": rows})
    blocks = tables.with_types("blocks", pd.DataFrame([{
        "block_id": "B001", "length_ft": 300.0, "width_ft": 36.0, "panels_cracked": 2, "cracked_ft": 40.0, "panels_broken": 0,
        "year_built": 1986, "surveyed_on": "2026-06-01"}]))
    made = plan.decide(plan.prepare(blocks, tables.empty("defects"), other, START, 2),
                       Scenario(start_year=START, budgets_usd=(2e5,) * 2), 1)
    assert told(made).startswith("The rule is 'cracks are long' (40); partial-depth repair")


def test_every_default_rule_has_plain_words() -> None:
    made = cause.now(city()).rules
    assert rules.plain_words(made[-1]) == "none of these holds"
    for rule in made[:-1]:
        plain = rules.plain_words(rule)
        assert not any(limit.words in plain and " " in limit.words for limit in rule.limits), plain
        assert all(limit.measure in cause.TOLD for limit in rule.limits)
    low = next(rule for rule in made if rule.name == "low index")
    assert rules.plain_words(low) == "condition index below 40 points"
    arterial = next(rule for rule in made if rule.name == "structure, arterial")
    assert rules.plain_words(arterial) == "panels broken or sunken over 15 %; arterials"
    panels = next(rule for rule in made if len(rule.limits) == 1 and rule.limits[0].measure == "panels_full")
    assert rules.plain_words(panels).startswith("number of panels broken or sunken at least ")
    steps = next(rule for rule in made if rule.name == "steps, medium traffic")
    assert rules.rule_words(steps) == (
        "the mean step at the joints asks for grinding (at least 0.12 in); 3,000 to 10,000 vehicles a day")


def test_streets_are_in_the_order_of_a_resident() -> None:
    made = of_rows({"street": "Oak St", "panels_broken": 0, "block_id": "O10"}, {"street": "oak St", "panels_broken": 0, "block_id": "O2"},
                   {"panels_broken": 0, "block_id": "A1"}, {"street": "Elm St", "panels_broken": 0, "block_id": "Z9"})
    assert list(listed(made).index) == ["Z9", "O2", "O10", "A1"]


@pytest.mark.parametrize("blocks", [1, 30])
def test_a_plan_whose_limits_cannot_be_kept(blocks: int) -> None:
    made = of_rows(*[{"panels_broken": 6}] * blocks, cleared_by=2027, usd=1_000.0)
    if made.chosen.failed:
        assert told(made).endswith("no program keeps all the limits asked for.")
    else:
        assert listed(made)["year"].isna().all() and "costs more than all the money" in told(made)
