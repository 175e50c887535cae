"""A scenario as a problem: no limit is broken by the tables that come out, more money buys no less, edges."""

from collections import defaultdict
from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rehab import plan
from rehab.base import tables
from rehab.base.limits import Capacity, Closed, DistrictShare, Fund, Target
from rehab.base.settings import Forced, Override, Scenario
from rehab.inputs import assumptions as reader
from rehab.inputs import demo
from rehab.plan import Plan, Prepared, problem, reasons

START = 2027


@cache
def city(blocks: int = 200, seed: int = 3, years: int = 4) -> Prepared:
    made = demo.invent(blocks, seed)
    return plan.prepare(made.blocks, made.defects, reader.defaults(), START, years)


@cache
def bare(*index: float, years: int = 3) -> Prepared:
    """Blocks of one street with these indices."""
    usual = {"length_ft": 300.0, "width_ft": 36.0, "year_built": 1986, "surveyed_on": "2026-06-01", "district": "east",
             "functional_class": "local", "corridor": "main"}
    rows = [{"block_id": f"B{number}", "condition_index": value, **usual} for number, value in enumerate(index)]
    blocks = tables.with_types("blocks", pd.DataFrame(rows)) if rows else tables.empty("blocks")
    return plan.prepare(blocks, tables.empty("defects"), reader.defaults(), START, years)


def asked(prepared: Prepared, usd: float, **more: object) -> Scenario:
    given_ = {"budgets_usd": (float(usd),) * prepared.years, **more}
    return Scenario(start_year=START, **given_)  # type: ignore[arg-type]


# --- an examination of what comes out, by the tables and the scenario alone ---------------------------------------------


def left_over(budgets: list[float], spends: list[float], share: float) -> float:
    """The least that is ever left of a budget that carries over a share of itself; below zero it is broken."""
    kept, least = 0.0, np.inf
    for money, usd in zip(budgets, spends, strict=True):
        least = min(least, money + kept - usd)
        kept = min(share * money, money + kept - usd)
    return least


def broken(made: Plan) -> list[str]:
    """Every limit of the scenario that the tables of the plan break, in words.  Nothing of the optimiser is used."""
    scenario, table, paid = made.scenario, made.program, reasons.payments(made)
    blocks = made.prepared.network.set_index("block_id")
    years = list(range(START, START + len(scenario.budgets_usd)))
    out: list[str] = []

    def no(wrong: bool, what: str) -> None:
        if wrong:
            out.append(what)

    no(not table["block_id"].is_unique, "two rows of one block")
    usd: dict[tuple[str, int], float] = {}
    for row in table.itertuples():
        usd[row.block_id, row.year] = row.cost_usd
        if pd.notna(row.then_year):
            no(row.then_year - row.year < 8, f"{row.block_id}: second work too soon")  # the default's least years
            usd[row.block_id, int(row.then_year)] = row.then_usd
    work = table.set_index("block_id")["strategy"].to_dict()
    by_block = {(str(name), int(year)): float(value) for (name, year), value in
                paid.groupby(["block_id", "year"])["usd"].sum().items()}
    for key, value in usd.items():
        no(abs(by_block.get(key, 0.0) - value) > 0.02 + 1e-6 * value, f"{key} is not paid as it costs")
    no(not set(by_block) <= set(usd), "something is paid that is not done")
    funds = {"general": (scenario.budgets_usd, (), (), ())} | {
        item.name: (item.budgets_usd, item.strategies, item.classes, item.districts) for item in scenario.funds}
    for name, (money, strategies, classes, districts) in funds.items():
        own = paid[paid["fund"] == name]
        spends = [float(own.loc[own["year"] == year, "usd"].sum()) for year in years]
        no(left_over(list(money), spends, scenario.carry_over) < -1e-6 * max(*money, 1.0) - 0.5, f"{name} is overspent")
        for block in own["block_id"]:
            row = blocks.loc[block]
            no(bool(strategies) and work[block] not in strategies, f"{name} may not pay the work on {block}")
            no(bool(classes) and row["functional_class"] not in classes, f"{name} may not pay the class of {block}")
            no(bool(districts) and row["district"] not in districts, f"{name} may not pay the district of {block}")
    there: dict[str, float] = defaultdict(float)
    for (block, _), value in usd.items():
        there[str(blocks.loc[block, "district"])] += value
    total = sum(sum(money) for money, *_ in funds.values())
    for share in scenario.district_shares:
        no(there[share.district] < share.share * total * (1 - 1e-6), f"{share.district} gets too little")
    measures = {"partial_depth": "partial_depth_patch", "full_depth": "full_depth_panel", "grinding": "diamond_grinding"}
    listed = made.quantities.merge(table[["block_id", "year", "strategy"]], on=["block_id", "year", "strategy"])
    for item in scenario.capacities:
        for year in years if item.year is None else [item.year]:
            here = table[table["year"] == year]
            if item.kind == "reconstruction":
                used = float(blocks.loc[here.loc[here["strategy"] == "reconstruction", "block_id"], "area_sqyd"].sum())
                again = table[(table["then_year"] == year).fillna(False) & (table["then_work"] == "reconstruction")]
                used += float(blocks.loc[again["block_id"], "area_sqyd"].sum())
            else:
                rows = listed[(listed["year"] == year) & (listed["pay_item"] == measures[item.kind])]
                used = float(rows.loc[rows["strategy"] != "reconstruction", "quantity"].sum())
            no(used > item.most * (1 + 1e-6), f"{item.kind} in {year}: {used:,.1f} of {item.most:,.1f}")
    locked = {lock.block_id for lock in scenario.forced}
    for block, year in usd:
        row = blocks.loc[block]
        no(block in scenario.kept_out, f"{block} is kept out")
        no(any(item.block_id == block and item.year == year for item in scenario.closed), f"{block} is closed in {year}")
        dig, ban = row["utility_year"], row["no_work_until"]
        if block not in locked:
            no(pd.notna(ban) and year < ban, f"{block}: {year} is before the ban ends")
            no(pd.notna(dig) and dig - 5 <= year <= dig, f"{block}: {year} is too near the dig")
    for lock in scenario.forced:
        no((lock.block_id, lock.year) not in usd, f"{lock.block_id} is not worked on in {lock.year}")
    mean = made.by_year.set_index("year")["index_with"]
    for target in scenario.targets:
        for year in range(target.first, target.last + 1):
            no(mean[year] < target.least - 1e-6, f"the index of {year} is below {target.least}")
    if scenario.corridors == "given":
        named = table.assign(corridor=blocks.loc[table["block_id"], "corridor"].to_numpy()).dropna(subset=["corridor"])
        no(bool((named.groupby("corridor")["year"].agg(np.ptp) > 0).any()), "a corridor is worked on in two years")
    return out


def drawn(prepared: Prepared, seed: int) -> Scenario:
    """A scenario with some of every limit."""
    rng = np.random.default_rng(seed)
    names = prepared.network["block_id"].tolist()
    districts = prepared.network["district"].unique().tolist()
    years = prepared.years
    usd = float(rng.uniform(2e5, 2e6))

    def some(share: float, *value: object) -> tuple[object, ...]:
        return value if rng.random() < share else ()

    picked = [str(name) for name in rng.choice(names, 8, replace=False)]
    funds = some(0.5, Fund("panels", tuple(rng.uniform(0, usd, years).round()), strategies=("full_depth",))) + some(
        0.4, Fund("ward", tuple(rng.uniform(0, usd / 2, years).round()), districts=(str(districts[0]),)))
    capacities = some(0.5, Capacity("full_depth", float(rng.uniform(300, 3000)))) + some(
        0.5, Capacity("grinding", float(rng.uniform(4000, 40_000)))) + some(
        0.4, Capacity("partial_depth", float(rng.uniform(200, 2000)), START + 1)) + some(
        0.4, Capacity("reconstruction", float(rng.uniform(500, 5000))))
    return Scenario(
        start_year=START, budgets_usd=tuple(rng.uniform(0.3 * usd, usd, years).round()), funds=funds,  # type: ignore[arg-type]
        carry_over=float(rng.choice([0.0, 0.25])), capacities=capacities,  # type: ignore[arg-type]
        district_shares=some(0.4, DistrictShare(str(districts[1]), 0.05)),  # type: ignore[arg-type]
        closed=tuple(Closed(name, START + int(rng.integers(years))) for name in picked[:3]), kept_out=tuple(picked[3:5]),
        forced=some(0.4, Forced(picked[5], START + 1, "partial_depth")),  # type: ignore[arg-type]
        overrides=some(0.3, Override(picked[6], "reconstruction", "sewer")),  # type: ignore[arg-type]
        targets=some(0.3, Target(50.0, START + 1, START + 2)),  # type: ignore[arg-type]
        strategies=str(rng.choice(["by rule", "adequate"])), corridors=str(rng.choice(["apart", "given", "by street"])),  # type: ignore[arg-type]
        choice=str(rng.choice(["best", "best", "worst first", "benefit-cost ratio"])))  # type: ignore[arg-type]


@given(st.integers(0, 100_000))
@settings(max_examples=12, deadline=None)
def test_no_limit_is_ever_broken(seed: int) -> None:
    prepared = city()
    scenario = drawn(prepared, seed)
    made = plan.decide(prepared, scenario, effort=1)
    wrong = broken(made)
    if made.chosen.status in ("infeasible", "unknown"):
        assert made.program.empty and len(made.chosen.notes)
        return
    if scenario.choice != "best":  # rules know no floors, and say so
        said = " ".join(note.message for note in made.chosen.notes)
        wrong = [words for words in wrong if not (("gets too little" in words and "district share" in said)
                                                  or ("the index of" in words and "mean index" in said))]
    assert not wrong


def test_the_examination_finds_what_is_broken() -> None:
    prepared = city()
    made = plan.decide(prepared, asked(prepared, 5e5), effort=0)
    assert not broken(made)
    block, year = str(made.program["block_id"].iloc[0]), int(made.program["year"].iloc[0])
    used = float(made.by_year["index_with"].max())
    district = str(made.prepared.network["district"].iloc[0])
    for wrong in ({"budgets_usd": (1e5,) * prepared.years}, {"closed": (Closed(block, year),)}, {"kept_out": (block,)},
                  {"targets": (Target(used + 1, START, START),)}, {"district_shares": (DistrictShare(district, 1.0),)},
                  {"capacities": (Capacity("grinding", 1.0),)}, {"capacities": (Capacity("full_depth", 1.0),)},
                  {"forced": (Forced(block, year + 1 if year == START else START),)}):
        assert broken(replace(made, scenario=replace(made.scenario, **wrong))), wrong


@pytest.mark.parametrize("more", [{}, {"strategies": "adequate"}, {"carry_over": 0.25}])
def test_more_money_never_lowers_the_benefit(more: dict[str, object]) -> None:
    prepared = city(80)  # 0 searches: programs far enough from the best to be out of order by themselves
    rng = np.random.default_rng(5)
    known: list[Plan] = []
    usd = np.zeros(prepared.years)
    for _ in range(6):
        usd = usd + rng.uniform(0, 1.5e5, prepared.years) * (rng.random(prepared.years) < 0.7)
        made = plan.decide(prepared, asked(prepared, 0, budgets_usd=tuple(usd), **more), 0, known)
        assert not known or made.chosen.value >= known[-1].chosen.value - 1e-6
        assert made.chosen.value <= made.chosen.upper_bound + 1e-6
        known.append(made)
    assert known[-1].chosen.value > known[0].chosen.value > 0


def test_a_known_plan_is_a_start_only_where_it_can_be_kept() -> None:
    prepared = city(80)
    less, more = asked(prepared, 2e5), asked(prepared, 4e5)
    made = plan.decide(prepared, less, 1)
    found = problem.best_known(problem.pose(prepared, more), more, [made])
    assert found is not None and len(found) == len(made.chosen.offers)
    poorer, other = asked(prepared, 5e4), replace(more, benefit="agency cost")
    assert problem.best_known(problem.pose(prepared, poorer), poorer, [made]) is None
    assert problem.best_known(problem.pose(prepared, other), other, [made]) is None
    assert problem.best_known(problem.pose(prepared, more), more, []) is None
    none = plan.decide(prepared, replace(less, forced=(Forced(str(prepared.network["block_id"].iloc[0]), START,
                                                             "reconstruction", 9e9),)), 1)
    assert none.chosen.status == "infeasible"
    assert problem.best_known(problem.pose(prepared, none.scenario), none.scenario, [none]) is None


def test_two_forced_blocks_of_one_corridor_in_different_years() -> None:
    prepared = bare(45.0, 40.0, 55.0)
    locks = (Forced("B0", START, "full_depth"), Forced("B1", START + 2, "full_depth"))
    made = plan.decide(prepared, asked(prepared, 2e6, corridors="given", forced=locks), 5)
    assert {("B0", START), ("B1", START + 2)} <= set(zip(made.program["block_id"], made.program["year"], strict=True))
    note = made.notes[made.notes["topic"] == "conflict"]["message"].iloc[0]
    assert f"B0 in {START}" in note and f"B1 in {START + 2}" in note
    together = plan.decide(prepared, asked(prepared, 2e6, corridors="given", forced=locks[:1]), 5)
    assert set(together.program["year"]) == {START} and "B0" in set(together.program["block_id"])


def test_a_forced_block_is_not_made_too_dear_by_its_corridor() -> None:
    prepared = bare(45.0, 40.0, 55.0)
    usd = 1.02 * float(prepared.costs["full_depth"][0, 0])
    made = plan.decide(prepared, asked(prepared, usd, corridors="given", forced=(Forced("B0", START, "full_depth"),)), 5)
    assert made.chosen.status in ("optimal", "feasible") and "B0" in set(made.program["block_id"])


def test_blocks_of_a_corridor_save_their_mobilisation() -> None:
    prepared = bare(45.0, 40.0, 55.0)
    lock = tuple(Forced(f"B{number}", START, "full_depth") for number in range(3))
    apart, given_ = (plan.decide(prepared, asked(prepared, 9e6, corridors=name, forced=lock), 1)
                     for name in ("apart", "given"))
    rate = prepared.assumptions.number("markups", "mobilisation")
    before, after = (made.program.set_index("block_id")["cost_usd"] for made in (apart, given_))
    less = before - after
    assert less[before.idxmax()] == 0 and (less.drop(before.idxmax()) > 0.5 * rate / (1 + rate) * before.drop(
        before.idxmax()) - 0.01).all()  # half the mobilisation, and the discount on grinding where there is some


def test_the_backlog_is_cleared_by_its_year() -> None:
    prepared = city(80)
    made = plan.decide(prepared, asked(prepared, 2e7, cleared_by=START + 2), 1)
    heavy = set(prepared.network["block_id"][prepared.by_rule[:, 2] >= 2])
    done = set(made.program.loc[made.program["year"] <= START + 2, "block_id"])
    openings = made.posed.openings
    in_time = openings.open & (openings.alternatives.step <= 2)
    left = set(prepared.network["block_id"][~np.isin(np.arange(80), openings.alternatives.block[in_time])]) & heavy
    assert heavy and heavy - done == left


def test_a_lock_without_a_work_is_no_worse_than_one_with_a_work() -> None:
    prepared = city(40)
    names = prepared.network["block_id"].to_numpy()
    several = sum(prepared.adequate[name][:, 1].astype(int) for name in tables.WORK) > 1
    name = names[np.flatnonzero(several)[0]]
    free = plan.decide(prepared, asked(prepared, 2e6, strategies="adequate", forced=(Forced(name, START + 1),)), 1)
    assert free.program.set_index("block_id").at[name, "year"] == START + 1
    for work in tables.WORK:
        lock = Forced(name, START + 1, work)
        tied = plan.decide(prepared, asked(prepared, 2e6, strategies="adequate", forced=(lock,)), 1)
        assert tied.chosen.value <= free.chosen.upper_bound * (1 + 1e-9)


def test_two_works_on_a_block_keep_their_years_and_capacities() -> None:
    prepared = city(60, 3, 20)
    made = plan.decide(prepared, asked(prepared, 1e5, works=2), 0)
    assert made.program["then_year"].notna().sum() > 0 and not broken(made)
    tight = asked(prepared, 1e5, works=2, capacities=(Capacity("full_depth", 200.0), Capacity("reconstruction", 1500.0)))
    limited = plan.decide(prepared, tight, 0)
    assert not broken(limited) and not set(limited.program["then_work"].dropna()) & {"full_depth"}
    assert any("no full-depth repair is planned as a second work" in words for words in limited.notes["message"])


@pytest.mark.parametrize(("benefit", "works"), [("sound pavement", 1), ("agency cost", 2)])
def test_edges(benefit: str, works: int) -> None:
    for prepared in (bare(), bare(45.0, years=1), bare(30.0, 62.0, years=12))[works - 1:]:
        names = tuple(prepared.network["block_id"])
        for more in ({}, {"kept_out": names}, {"budgets_usd": (0.0,) * prepared.years}, {"corridors": "given"},
                     {"carry_over": 0.5, "funds": (Fund("f", (1e5,) * prepared.years, districts=("east",)),)},
                     {"choice": "incremental benefit-cost" if works == 1 else "worst first"}, {"choice": "no work"}):
            made = plan.decide(prepared, asked(prepared, 3e5, benefit=benefit, works=works, **more), 0)
            assert (not names or not broken(made)) and made.chosen.status in ("optimal", "feasible", "rule")
            if "kept_out" in more or more.get("budgets_usd") or not names:
                assert made.program.empty and made.chosen.value == 0
            assert len(reasons.proof(made)) == 3 and len(reasons.of_blocks(made)) == len(names)


@pytest.mark.parametrize(("more", "words"), [
    ({"budgets_usd": (-1.0, 1, 1)}, "2027"), ({"budgets_usd": (1, float("nan"), 1)}, "2028"),
    ({"carry_over": 1.5}, "carry over"), ({"works": 3}, "1 or 2"), ({"budgets_usd": ()}, "1 to 50 years"),
    ({"funds": (Fund("f", (1.0,)),)}, "fund 'f' has 1 years, the program 3"),
    ({"district_shares": (DistrictShare("a", 0.6), DistrictShare("b", 0.6))}, "120 %"),
    ({"forced": (Forced("B0", 2027),), "closed": (Closed("B0", 2027),)}, "block B0 is forced into 2027"),
    ({"forced": (Forced("B0", 2027),), "kept_out": ("B0",)}, "B0; take one back"),
    ({"forced": (Forced("B0", 2027), Forced("B0", 2028))}, "two years (2027, 2028)"),
    ({"forced": (Forced("B0", 2040),)}, "2040 is not a year of the program"),
    ({"cleared_by": 2050}, "2050"), ({"capacities": (Capacity("grinding", 1.0, 2020),)}, "2020")])
def test_contradictions_are_refused(more: dict[str, object], words: str) -> None:
    with pytest.raises(ValueError) as error:
        Scenario(**{"start_year": START, "budgets_usd": (1.0, 1.0, 1.0), **more})  # type: ignore[arg-type]
    assert words in str(error.value)


@pytest.mark.parametrize("make", [
    lambda: Fund("f", (1.0, float("nan"))), lambda: Fund("f", (-1.0,)), lambda: Fund(" ", (1.0,)),
    lambda: Fund("General", (1.0,)), lambda: Fund("f", (1.0,), strategies=("paint",)), lambda: Capacity("paint", 1.0),
    lambda: Capacity("grinding", -1.0), lambda: DistrictShare("d", 1.1), lambda: DistrictShare("d", float("nan")),
    lambda: Target(101.0, 2027, 2028), lambda: Target(50.0, 2028, 2027)])
def test_rows_that_cannot_be_are_refused(make: object) -> None:
    with pytest.raises(ValueError):
        make()  # type: ignore[operator]


def test_a_missing_year_of_a_table_of_budgets_is_named() -> None:
    with pytest.raises(ValueError, match="no figure for 2028; give one, 0 for no money"):
        Scenario.from_mapping({"budgets_usd": {"2027": 1, "2029": 2}})
    made = Scenario.from_mapping({"budgets_usd": {"2028": 1, "2027": 2}, "funds": [
        {"name": "f", "budgets_usd": {"2027": 3, "2028": 4}, "strategies": ["full_depth"]}]})
    assert made.budgets_usd == (2.0, 1.0) and made.start_year == 2027 and made.money_usd == (5.0, 5.0)
    with pytest.raises(ValueError, match="fund 'f': no figure for 2028"):
        Scenario.from_mapping({"budgets_usd": {"2028": 1, "2027": 2}, "funds": [{"name": "f", "budgets_usd": {"2027": 3}}]})


def test_unknown_blocks_are_told_and_change_nothing() -> None:
    prepared = bare(45.0, 40.0)
    plain = plan.decide(prepared, asked(prepared, 3e5), 1)
    odd = plan.decide(prepared, asked(prepared, 3e5, forced=(Forced("X", START),), closed=(Closed("Y", START),),
                                      kept_out=("Z",)), 1)
    pd.testing.assert_frame_equal(plain.program, odd.program)
    assert {"X", "Y", "Z"} <= set(odd.notes["block_id"].dropna())
