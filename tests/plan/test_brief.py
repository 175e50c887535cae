"""The pages of the council brief: their sums are the plan's to the cent, and every page is true of an odd city too."""

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from functools import cache

import numpy as np
import pandas as pd
import pytest

from rehab import plan
from rehab.base import tables
from rehab.base.limits import Closed, Fund, Target
from rehab.base.settings import Forced, Override, Scenario
from rehab.base.tables import STRATEGIES
from rehab.inputs import assumptions as reader
from rehab.inputs import demo
from rehab.plan import Plan, Prepared, brief, council, least, results, uncertainty, waiting
from rehab.plan.brief import money, risks, say, sides
from rehab.plan.brief.facts import Facts, rebuilt_for_want_of_repair
from rehab.plan.brief.model import Brief, Grid, Page, Series

START, YEARS = 2027, 7
MADE = date(2026, 11, 5)


@cache
def city() -> Prepared:
    made = demo.invent(70, 3)
    return plan.prepare(made.blocks, made.defects, reader.defaults(), START, YEARS)


@cache
def decided(usd: float = 3e5, **more: object) -> Plan:
    return plan.decide(city(), Scenario(start_year=START, budgets_usd=(usd,) * YEARS, **more), 2)  # type: ignore[arg-type]


@cache
def others() -> dict[str, Plan]:
    return brief.decide(decided(), 2)


@cache
def made() -> Brief:
    return brief.make(decided(), city="Testville", made=MADE, others=others())


def facts(of: Plan | None = None, **more: object) -> Facts:
    return Facts(of or decided(), "Testville", MADE, **more)  # type: ignore[arg-type]


def of_rows(*rows: dict[str, object], usd: float = 2e5, years: int = YEARS, **more: object) -> Plan:
    """A plan of blocks of 300 ft by 36 ft, 20 by 3 panels."""
    usual = {"length_ft": 300.0, "width_ft": 36.0, "panel_length_ft": 15.0, "panel_width_ft": 12.0, "year_built": 1986,
             "surveyed_on": "2026-06-01", "functional_class": "local", "thickness_in": 8.0}
    blocks = tables.with_types("blocks", pd.DataFrame(
        [{"block_id": f"B{number:03d}", **usual, **row} for number, row in enumerate(rows, 1)]))
    ready = plan.prepare(blocks, tables.empty("defects"), reader.defaults(), START, years)
    return plan.decide(ready, Scenario(start_year=START, budgets_usd=(usd,) * years, **more), 2)  # type: ignore[arg-type]


def page(of: Brief, key: str) -> Page:
    return next(one for one in of.pages if one.key == key)


def grid(of: Page, begin: str) -> Grid:
    return next(one for one in of.grids if one.title.startswith(begin))


def dollars(text: str) -> float:
    return float(text.replace("$", "").replace(",", ""))


def column(of: Grid, head: str) -> list[str]:
    return [row[of.head.index(head)] for row in of.rows]


def heights(of: Series) -> tuple[float, ...]:
    return of[1]


def every_page(of: Brief) -> list[Page]:
    return [*of.pages, *of.districts, *of.appendix]


def texts(of: Brief) -> Iterator[str]:
    yield from (of.title, of.made, of.street_note, *(part for pair in of.words for part in pair), *of.streets["reason"])
    for one in every_page(of):
        yield from (one.title, one.lead, *one.text, *one.notes, *(part for figure in one.figures for part in figure))
        if one.chart is not None:
            yield from (one.chart.title, one.chart.about, one.chart.unit, one.chart.x_title, one.chart.y_title)
            yield from (*one.chart.places, *(series.name for series in one.chart.series))
        for each in one.grids:
            yield from (each.title, each.empty, *each.head, *each.total, *(cell for row in each.rows for cell in row))


def check_shape(of: Brief) -> None:
    """What every brief keeps, whatever the city."""
    for text in texts(of):
        assert isinstance(text, str)
        assert not re.search(r"\b(nan|NaN|inf|NaT)\b|<NA>|\bnone of 0\b|\b0 of 0\b|\$-|-\$0\b|  |\{|\}", text), text
        assert not re.search(r"(?<![\d,.])1 (blocks|years|panels|rules|sources)\b", text), text
    keys = [one.key for one in every_page(of)]
    assert len(keys) == len(set(keys))
    for one in every_page(of):
        assert one.title and one.lead.endswith((".", "?")) and one.lead[0] == one.lead[0].upper()
        for each in one.grids:
            assert len(each.widths) == len(each.head) and sum(each.widths) == pytest.approx(1.0), each.title
            assert all(len(row) == len(each.head) for row in each.rows), each.title
            assert not each.total or len(each.total) == len(each.head), each.title
            assert all(0 <= at < len(each.head) for at in each.right)
        for series in one.chart.series if one.chart else ():
            assert len(series.values) == len(one.chart.places)  # type: ignore[union-attr]
            assert len(series.low) == len(series.high) and len(series.low) in (0, len(series.values))
            assert np.isfinite(heights(series)).all()
    assert list(of.streets.columns) == ["street", "from_street", "to_street", "district", "year", "work", "cost_usd",
                                        "reason", "block_id"]
    assert of.streets["block_id"].is_unique
    no_work = of.streets["year"].isna()
    assert (of.streets["work"].isna() == no_work).all() and (of.streets["cost_usd"].isna() == no_work).all()


@pytest.mark.parametrize(("value", "told"), [
    (3_995_612.31, "$4 million"), (3_985_612.0, "$3.99 million"), (999_499.0, "$999,000"), (999_500.0, "$1 million"),
    (107_105_187.0, "$107 million"), (1.5e9, "$1.5 billion"), (84_213.0, "$84,200"), (0.0, "$0"), (12.4, "$12"),
    (-84_213.0, "-$84,200")])
def test_dollars_of_a_sentence(value: float, told: str) -> None:
    assert say.about(value) == told


def test_small_words() -> None:
    assert say.cents(3_995_612.305) in ("$3,995,612.30", "$3,995,612.31") and say.whole(-0.2) == "$0"
    assert (say.share(0.004), say.share(0.9999), say.share(1.0), say.share(0.0)) == (
        "less than 1 %", "more than 99 %", "100 %", "0 %")
    assert (say.count(1), say.count(1200), say.count(0)) == ("1 block", "1,200 blocks", "no block")
    assert (say.of(3, 3), say.of(0, 3), say.of(2, 3), say.of(1, 1)) == (
        "all 3 blocks", "none of 3 blocks", "2 of 3 blocks", "the one block")
    assert say.listed(["a", "b", "c"]) == "a, b and c" and say.listed(["a"]) == "a" and say.listed([]) == ""
    assert (say.span(range(2027, 2032)), say.span(range(2027, 2028))) == ("2027 to 2031", "2027")
    assert say.day(date(2027, 4, 5)) == "April 5, 2027"
    assert (say.ends("A", "B"), say.ends("A", pd.NA), say.ends(None, float("nan"))) == ("A to B", "at A", "")


def test_the_pages_and_their_order() -> None:
    assert [one.key for one in made().pages] == [
        "condition", "last year", "next year", "five years", "scenarios", "waiting", "need", "prices", "risks", "choice",
        "basis"]
    assert made().made == "November 5, 2026" and made().city == "Testville"
    assert {one.title.removeprefix("What is done in ").rstrip("?") for one in made().districts} == set(
        city().network["district"])
    check_shape(made())


def test_the_condition_is_that_of_the_first_year() -> None:
    first, of = decided().by_year.iloc[0], page(made(), "condition")
    assert say.share(float(first["sound_without"])) in of.lead
    counts = np.bincount(city().by_rule[:, 0], minlength=4)
    total = grid(of, "Condition").total
    assert total[1:2] == ("70",) and [int(cell) for cell in total[5:]] == counts.tolist()
    for at, name in enumerate(grid(of, "Condition").head[5:], 5):
        assert sum(int(row[at]) for row in grid(of, "Condition").rows) == int(total[at]), name
    assert f"{counts[1:].sum()} of 70 blocks need work" in of.lead
    chart = of.chart
    assert chart is not None and chart.unit == "%"
    assert np.sum([heights(series) for series in chart.series], axis=0) == pytest.approx(100.0)


def test_many_districts_are_put_together_in_the_chart() -> None:
    rows = [{"panels_broken": number % 3, "district": f"D{number:02d}"} for number in range(14)]
    chart = brief.make(of_rows(*rows), city="x", made=MADE).pages[0].chart
    assert chart is not None and len(chart.places) == 9 and chart.places[-1] == "All others"
    assert np.sum([heights(series) for series in chart.series], axis=0) == pytest.approx(100.0)


def test_next_years_districts_add_up_to_the_year_to_the_cent() -> None:
    program = decided().program
    mine, of = program[program["year"] == START], page(made(), "next year")
    table = grid(of, "Money of 2027")
    assert table.total[table.head.index("Together")] == say.cents(float(mine["cost_usd"].sum()))
    district = city().network.set_index("block_id")["district"].reindex(mine["block_id"]).to_numpy()
    for row in table.rows:
        assert row[table.head.index("Together")] == say.whole(float(mine.loc[district == row[0], "cost_usd"].sum()))
        assert row[1] == f"{(district == row[0]).sum()}"
    lists = [grid(one, "The list of 2027") for one in made().districts]
    assert sum(len(one.rows) for one in lists) == len(mine)
    listed = sum(dollars(cell) for one in lists for cell in column(one, "Cost"))
    assert listed == pytest.approx(mine["cost_usd"].sum(), abs=len(mine))


def test_the_five_years_are_those_of_by_year() -> None:
    first = decided().by_year.iloc[:5]
    table = grid(page(made(), "five years"), "Money by year")
    assert column(table, "Together") == [say.whole(usd) for usd in first["spent_usd"]]
    assert column(table, "Full-depth repair") == [say.whole(usd) for usd in first["full_depth_usd"]]
    assert table.total[table.head.index("Together")] == say.cents(float(first["spent_usd"].sum()))
    chart = page(made(), "five years").chart
    assert chart is not None
    bars = np.sum([heights(series) for series in chart.series if not series.line], axis=0)
    assert bars == pytest.approx(first["spent_usd"].to_numpy())
    assert say.about(float(first["ground_usd"].sum())) in page(made(), "five years").text[0]


def test_the_list_of_streets_holds_every_block_and_all_first_works() -> None:
    streets, program = made().streets, decided().program.set_index("block_id")
    assert set(streets["block_id"]) == set(city().network["block_id"])
    assert streets["cost_usd"].sum() == pytest.approx(program["cost_usd"].sum(), abs=0.005)
    planned = streets[streets["year"].notna()].set_index("block_id")
    assert planned["year"].to_dict() == program["year"].reindex(planned.index).to_dict()
    assert streets["street"].str.lower().is_monotonic_increasing


def test_districts_share_the_money_of_the_next_years() -> None:
    program = decided().program
    soon = program[program["year"] < START + 5]
    total = sum(sum(heights(series)) for one in made().districts if one.chart for series in one.chart.series)
    assert total == pytest.approx(soon["cost_usd"].sum(), abs=0.01)


def test_what_is_left_undone_without_a_program_is_the_need() -> None:
    nothing = plan.decide(city(), Scenario(start_year=START, budgets_usd=(0.0,) * YEARS, choice="no work"), 1)
    left = brief.backlog(nothing)
    assert left["backlog_usd"].to_numpy() == pytest.approx(nothing.by_year["need_usd"].to_numpy())
    assert left["blocks"].tolist() == (city().by_rule > 0).sum(axis=0).tolist()


def test_what_is_left_undone_block_by_block() -> None:
    done = decided().program.set_index("block_id")["year"].to_dict()
    for at, row in brief.backlog(decided()).iterrows():
        usd, blocks = 0.0, 0
        for number, name in enumerate(city().network["block_id"]):
            rule = STRATEGIES[city().by_rule[number, int(str(at))]]
            if rule != "none" and done.get(name, 9999) > row["year"]:
                usd, blocks = usd + city().costs[rule][number, int(str(at))], blocks + 1
        assert row["backlog_usd"] == pytest.approx(usd) and row["blocks"] == blocks


def test_blocks_rebuilt_for_want_of_repair_one_by_one() -> None:
    for one in (decided(), *others().values()):
        done = one.program.set_index("block_id")["strategy"].to_dict()
        lost = [at for at, name in enumerate(city().network["block_id"])
                if STRATEGIES[city().by_rule[at, 0]] in ("partial_depth", "full_depth")
                and (done.get(name) == "reconstruction"
                     or (name not in done and STRATEGIES[city().by_rule[at, -1]] == "reconstruction"))]
        assert rebuilt_for_want_of_repair(one).tolist() == lost
    assert len(rebuilt_for_want_of_repair(others()[sides.NO_MONEY])) > 0


def test_scenarios_side_by_side() -> None:
    every = sides.all_plans(facts(others=others()))
    table, known = sides.outcomes(every).set_index("scenario"), council.side_by_side(every).set_index("scenario")
    assert list(table.index) == ["Current budget", sides.NO_MONEY, "Half the money", "Half as much money again",
                                 sides.WORST_FIRST]
    for name in ("spent_usd", "blocks", "index"):
        assert table[name].astype(float).tolist() == pytest.approx(known[name].astype(float).tolist())
    assert table["sound"].tolist() == pytest.approx(known["sound_share"].tolist())
    assert table.at[sides.NO_MONEY, "usd_per_yr"] == 0.0 and table.at["Half the money", "usd_per_yr"] == 1.5e5
    of = page(made(), "scenarios")
    assert column(grid(of, "The scenarios"), "Scenario") == list(table.index)
    assert column(grid(of, "The scenarios"), f"Left undone in {START + YEARS - 1}") == [
        say.whole(usd) for usd in table["backlog_usd"]]
    assert of.chart is not None and [series.name for series in of.chart.series] == list(table.index)
    assert heights(of.chart.series[0]) == pytest.approx((100 * decided().by_year["sound_with"]).tolist())
    assert f"{100 * table['sound'].iloc[0]:.0f} %" in of.lead


def test_more_money_never_buys_less_and_the_other_questions_are_plain() -> None:
    made_of = {one.name: one for one in brief.scenarios(decided(kept_out=("AGATE-N01",), targets=()))}
    assert made_of["Half the money"].money_usd == (1.5e5,) * YEARS
    assert made_of["Half the money"].kept_out == ("AGATE-N01",)  # the plan's own question
    assert made_of[sides.WORST_FIRST].kept_out == () and made_of[sides.NO_MONEY].choice == "no work"
    values = [others()["Half the money"].chosen.value, decided().chosen.value,
              others()["Half as much money again"].chosen.value]
    assert values == sorted(values)
    assert [one.name for one in brief.scenarios(decided(0.0))] == [sides.NO_MONEY]


def test_the_least_money_that_holds_the_condition_stands_beside_where_it_is_known() -> None:
    asked = replace(decided().scenario, name=sides.HOLDING, budgets_usd=(4e5,) * YEARS)
    found = least.Least(sides.HOLDING, 4 / 3, 1.3, plan.decide(city(), asked, 1))
    every = brief.decide(decided(), 1, found)
    assert list(every)[-1] == sides.HOLDING and every[sides.HOLDING] is found.plan
    told = page(brief.make(decided(), city="x", made=MADE, others=every), "scenarios")
    assert any(row[:2] == (sides.HOLDING, "$400,000") for row in told.grids[0].rows)
    assert list(brief.decide(decided(), 1, replace(found, plan=None))) == list(every)[:-1]


def test_curb_ramps_are_told() -> None:
    program, used = decided().program, reader.defaults()
    duty = program.loc[program["year"] < START + 5, "strategy"].map(lambda name: used.text("curb_ramps", name))
    said = " ".join(page(made(), "risks").text)
    for word, words in (("alteration", "the law asks for curb ramps"), ("review", "whether it asks for curb ramps")):
        assert (words in said) == bool((duty == word).any())


def test_waiting_is_that_of_the_network() -> None:
    table = waiting.of_network(waiting.by_block(city())).set_index("delay_yr")
    real = table[["now_usd", "same_usd", "heavier_usd", "new_usd"]].sum(axis=1)
    of = page(made(), "waiting")
    assert say.about(real[0]) in of.lead and say.about(real[1] - real[0]) in of.lead
    assert f"5 years later {say.about(real[5] - real[0])} more" in of.lead
    assert of.chart is not None and heights(of.chart.series[0]) == pytest.approx(real.tolist())
    examples = grid(of, "Where 5 years")
    rise = [dollars(then) - dollars(now) for now, then in zip(column(examples, "Cost"), column(examples, "Cost then"),
                                                              strict=True)]
    assert rise == sorted(rise, reverse=True) and rise[0] == pytest.approx(
        waiting.ranked(waiting.by_block(city()), 5)["rise_usd"].max(), abs=1)


def test_need_in_prices_of_the_first_year() -> None:
    of, left = page(made(), "need"), brief.backlog(decided())
    last = float(left["backlog_usd"].iloc[-1])
    assert say.about(last) in of.lead
    assert say.about(last / 1.04**(YEARS - 1)) in of.lead  # the escalation of the defaults is 4 % a year
    likely = facts().needed
    assert likely["likely"] == pytest.approx(decided().by_year["need_usd"].iloc[0])
    assert likely["low"] < likely["likely"] < likely["high"]


def test_trends_of_an_index() -> None:
    # What doubles in ten years grows by 2^(1/10) - 1 = 7.177 % a year (compound interest, any table).
    quarters = pd.Series({f"{year}Q{part}": 2.0 ** ((year - 2010) / 10) for year in range(2010, 2021)
                          for part in (1, 2, 3, 4)} | {"2021Q1": 99.0}).astype(str)
    years = money.by_year(quarters)
    assert list(years.index) == list(range(2010, 2021))  # a year of one quarter is none
    found = money.trends(years)
    assert list(found) == ["from 2010 to 2020", "from 2015 to 2020"]
    assert list(found.values()) == pytest.approx([0.0717735, 0.0717735], abs=1e-7)
    assert money.trends(years.iloc[:1]) == {}


def test_the_list_at_another_rise_of_prices() -> None:
    table, works = grid(page(made(), "prices"), "What the same list"), decided().program
    rate = money.trends(money.by_year(reader.defaults().table("cost_index")["value"]))["from 2003 to 2025"]
    usd = sum(row.cost_usd * ((1 + rate) / 1.04) ** (row.year - 2023) for row in works.itertuples())
    assert dollars(table.rows[1][-1]) == pytest.approx(usd, abs=1)
    assert dollars(table.rows[0][-1]) == pytest.approx(works["cost_usd"].sum(), abs=1)


def test_the_range_of_the_cost_is_that_of_the_estimate() -> None:
    costs = decided().costs
    year = costs[costs["basis"] == "program"].groupby("year")[["low_usd", "likely_usd", "high_usd"]].sum()
    table = risks.ranges(facts()).set_index("year")
    for name in ("low_usd", "likely_usd", "high_usd"):
        assert table[name].to_dict() == pytest.approx(year[name].reindex(table.index).fillna(0.0).to_dict())
    assert table["over"].isna().all()


def test_a_committed_cost_has_no_range() -> None:
    lock = Forced("B001", START, "full_depth", 12_345.0)
    one = of_rows({"panels_broken": 6}, forced=(lock,))
    row = risks.ranges(facts(one)).iloc[0]
    assert (row["low_usd"], row["likely_usd"], row["high_usd"]) == (12_345.0, 12_345.0, 12_345.0)


def test_chances_tell_the_odds() -> None:
    drawn = uncertainty.chances(decided(), 40).by_year
    of = brief.make(decided(), city="x", made=MADE, chances=drawn)
    check_shape(of)
    table = grid(page(of, "risks"), "The range")
    assert column(table, "Low") == [say.whole(usd) for usd in drawn["low_usd"]]
    for told, odds in zip(column(table, "Odds of passing the budget"), drawn["over"], strict=True):
        assert told == ("none seen" if odds == 0 else "less than 1 in 10" if odds < 0.05 else
                        "more than 9 in 10" if odds > 0.95 else f"{round(10 * odds)} in 10")
    assert "eight times in ten" in page(of, "risks").lead


def test_prices_rest_on_their_sources() -> None:
    shares = risks.price_statuses(facts())
    assert shares.sum() == pytest.approx(1.0) and set(shares.index) <= {*reader.defaults().sources["status"], risks.OWN}
    own = reader.overlay(reader.defaults(), {"pay_items": {"full_depth_panel": 170.0}})
    blocks = city().network[[field.name for field in tables.fields("blocks") if field.name in city().network]]
    ready = plan.prepare(tables.with_types("blocks", blocks), tables.empty("defects"), own, START, YEARS)
    priced = plan.decide(ready, Scenario(start_year=START, budgets_usd=(3e5,) * YEARS), 1)
    rows = results.quantities(ready, priced.program)
    usd = rows["full_depth_panel"].to_numpy() * 170.0
    assert usd.sum() > 0 and 0 < risks.price_statuses(facts(priced))[risks.OWN] < 1
    of = brief.make(priced, city="x", made=MADE)
    check_shape(of)
    listed = next(one for one in of.appendix if one.key == "city values").grids[0]
    assert len(listed.rows) == 1 and "170" in listed.rows[0][2]


def test_last_year_planned_beside_recorded() -> None:
    blocks = [{"panels_broken": 0, "last_work_year": 2026.0, "district": "North"}, {"panels_broken": 3, "district": "North"},
              {"panels_broken": 0, "last_work_year": 2026.0, "district": "South"}, {"panels_broken": 2, "last_work_year": 2020.0}]
    published = pd.DataFrame({"block_id": ["B001", "B002", "GONE", "B004"], "year": [2026, 2026, 2026, 2025],
                              "strategy": ["full_depth", "partial_depth", "reconstruction", "full_depth"],
                              "cost_usd": [1_000.25, 2_000.5, 3_000.0, 9_000.0]})
    one = of_rows(*blocks)
    of = brief.make(one, city="x", made=MADE, last_year=published)
    check_shape(of)
    last = page(of, "last year")
    assert last.title == "What has been done this year, 2026?"
    assert last.lead == ("2 of 4 blocks have work recorded in 2026. The published program named 3 blocks for 2026: 1 of them "
                         "has work recorded, 2 have none.")
    assert any("1 block has work recorded that the published program did not name" in text for text in last.text)
    assert any("1 published block is no longer in the table: GONE" in text for text in last.text)
    assert grid(last, "Work recorded").total[1:] == ("2", "2,400", "3", "$6,000.75")
    assert column(grid(last, "Published for 2026"), "Cost") == ["$3,000", "$2,000"]
    assert page(brief.make(one, city="x", made=date(2027, 2, 1)), "last year").title == "What was done last year, 2026?"
    with pytest.raises(ValueError, match="lacks cost_usd"):
        brief.make(one, city="x", made=MADE, last_year=published.drop(columns="cost_usd"))


def test_nothing_recorded_is_said() -> None:
    assert page(made(), "last year").lead == "The table of blocks records no work in 2026."
    assert any("not entered" in text for text in page(made(), "last year").text)


def test_the_season_says_what_does_not_fit() -> None:
    season = plan.season_of(decided(), START, None, None, 0.0)
    told = page(brief.make(decided(), city="x", made=MADE, season=season), "risks").text[-1]
    over = season.tasks.loc[season.tasks["season"] == "next", "block_id"].nunique()
    assert ("fits the days" in told) == (over == 0)
    names = season.tasks["block_id"].unique()
    late = replace(season, tasks=season.tasks.assign(season=np.where(season.tasks["block_id"] == names[0], "next", "this")))
    told = page(brief.make(decided(), city="x", made=MADE, season=late), "risks").text[-1]
    assert f"the work on 1 of {len(names)} blocks moves to {START + 1}" in told


def test_dollars_of_the_leads_are_in_the_tables() -> None:
    """Every sum of money that a lead tells is the rounding of a number of the plan's tables."""
    year, works = decided().by_year, facts().works
    known = {*year["need_usd"], *year["spent_usd"], *year["budget_usd"], *brief.backlog(decided())["backlog_usd"]}
    known |= {usd / 1.04**(YEARS - 1) for usd in set(known)}
    for last in (START, START + 4):
        soon = works[works["year"] <= last]
        known |= {soon["cost_usd"].sum(), *soon.groupby("work")["cost_usd"].sum()}
    real = waiting.of_network(waiting.by_block(city()))[["now_usd", "same_usd", "heavier_usd", "new_usd"]].sum(axis=1)
    known |= {*real, *(real - real[0])}
    known |= set(risks.ranges(facts())[["low_usd", "high_usd"]].iloc[0])
    index = money.by_year(reader.defaults().table("cost_index")["value"])
    told = {say.about(usd) for usd in known} | {"$100", say.whole(100 * index.iloc[-1] / index.iloc[0])}
    for one in made().pages:
        for found in re.findall(r"\$[\d,.]*\d(?: million| billion)?", one.lead):
            assert found in told, (one.key, found)


def test_how_the_choice_is_made() -> None:
    of = page(made(), "choice")
    assert council.bound_words(decided()) in of.notes  # trade words, so in the small print
    assert any("% more than worst streets first" in text for text in of.text)
    decides = [int(cell) for cell in column(grid(of, "The rules"), "Blocks")]
    assert sum(decides) == 70 and min(decides) > 0
    alone = brief.make(decided(choice="worst first"), city="x", made=MADE)
    assert not any("Proven" in text for text in page(alone, "choice").notes)
    assert sum(dollars(cell) for one in alone.districts for cell in column(grid(one, "The list"), "Cost")) <= 3e5


def test_what_the_numbers_rest_on() -> None:
    of = page(made(), "basis")
    assert sum(int(cell.replace(",", "")) for cell in column(grid(of, "What the condition"), "Blocks")) == 70
    values = grid(of, "What the values")
    used = reader.defaults()
    assert int(values.total[1].replace(",", "")) == sum(len(table) for table in used.tables.values())
    sources = next(one for one in made().appendix if one.key == "sources").grids[0]
    assert len(sources.rows) == len(used.sources)
    assert sum(int(cell.replace(",", "")) for cell in column(sources, "Values")) == sum(
        len(table) for table in used.tables.values())


def test_the_appendix_names_fingerprints_and_prices() -> None:
    marks = dict(next(one for one in made().appendix if one.key == "fingerprints").grids[0].rows)
    prints = decided().summary["fingerprints"]
    assert (marks["Blocks"], marks["Assumptions"], marks["Scenario"]) == (
        prints["blocks"], prints["assumptions"], prints["scenario"])
    priced = next(one for one in made().appendix if one.key == "prices used").grids[0]
    amounts = results.quantities(city(), decided().program)
    table = reader.defaults().table("pay_items")
    for row in priced.rows:
        key = table.index[table["name"] == row[0]][0]
        assert row[1].startswith(f"{amounts[key].sum():,.0f} ") and float(row[2]) == float(table.at[key, "value"])


def test_two_works_and_limits_by_hand() -> None:
    ids = city().network["block_id"].tolist()
    one = decided(6e5, works=2, corridors="by street", strategies="adequate",
                  overrides=(Override(ids[0], "reconstruction", "sewer comes anyway."), Override(ids[1], "none", "vacated")),
                  forced=(Forced(ids[2], 2028, "full_depth", 33_000.0), Forced(ids[5], 2029)), kept_out=(ids[3],),
                  closed=(Closed(ids[4], 2027),), funds=(Fund("panels", (5e4,) * YEARS, strategies=("full_depth",)),))
    of = brief.make(one, city="x", made=MADE, others=brief.decide(one, 1))
    check_shape(of)
    first = one.by_year.iloc[:5]
    assert grid(page(of, "five years"), "Money by year").total[-2] == say.cents(float(first["spent_usd"].sum()))
    assert column(grid(page(of, "five years"), "Money by year"), "Budget") == ["$650,000"] * 5
    assert any("2 kinds of work set by hand, 2 years fixed by hand" in text for text in page(of, "choice").text)
    again = facts(one).works
    assert again["cost_usd"].sum() == pytest.approx(one.by_year["spent_usd"].sum())
    assert again["again"].sum() == one.program["then_year"].notna().sum()


ODD = {
    "no money": lambda: decided(0.0),
    "no work": lambda: decided(choice="no work"),
    "money for all": lambda: decided(1e8),
    "no program": lambda: decided(1e4, targets=(Target(99.0, START + 1, START + 3),)),
    "one block": lambda: of_rows({"panels_broken": 6}),
    "one sound block": lambda: of_rows({"panels_broken": 0}),
    "one year": lambda: of_rows({"panels_broken": 6, "district": "North"}, {"panels_broken": 0, "district": "South"},
                                {"panels_broken": 1}, years=1),
    "two years": lambda: of_rows({"panels_broken": 6, "street": "A St"}, {"panels_broken": 0}, years=2),
    "all estimated": lambda: of_rows({"condition_word": "poor"}, {"rating_1_10": 7.0}, {"condition_index": 33.0}),
    "simple rule": lambda: decided(choice="incremental benefit-cost"),
    "least agency cost": lambda: decided(benefit="agency cost"),
}


@pytest.mark.parametrize("name", ODD)
def test_odd_cities_have_true_pages(name: str) -> None:
    one = ODD[name]()
    of = brief.make(one, city="x", made=MADE, others=brief.decide(one, 1))
    check_shape(of)
    total = float(facts(one).works["cost_usd"].sum())
    assert total == pytest.approx(one.by_year["spent_usd"].sum())
    if total == 0:
        assert "No work is planned" in page(of, "next year").lead
        assert of.streets["year"].isna().all() and page(of, "next year").chart is None
        assert (page(of, "five years").chart is None) == (sum(one.scenario.money_usd) == 0)  # nothing to draw
    if "district" not in one.prepared.network or one.prepared.network["district"].isna().all():
        assert of.districts == () and page(of, "next year").chart is None


def test_a_district_without_work_says_so() -> None:
    one = of_rows({"panels_broken": 6, "district": "North", "street": "Oak St"},
                  {"panels_broken": 0, "district": "South", "year_built": 2020},
                  {"panels_broken": 5, "district": "West", "street": "Elm St", "from_street": "1st Ave", "to_street": "2nd Ave"},
                  kept_out=("B003",))
    leads = {of.key: of.lead for of in brief.make(one, city="x", made=MADE).districts}
    assert leads["district North"].startswith("The one block gets work from 2027 to 2031")
    assert leads["district South"] == ("No work is planned here from 2027 to 2031: no rule asks for any in these years.")
    assert leads["district West"].startswith("No work is planned here from 2027 to 2031: what is needed here comes later or not")
    later = of_rows({"panels_broken": 6, "district": "North", "street": "Oak St", "no_work_until": 2032.0})
    assert brief.make(later, city="x", made=MADE).districts[0].lead.endswith(
        "the first is full-depth repair in 2032 on Oak St.")


def test_blocks_without_a_district_have_a_page_where_others_have_one() -> None:
    of = brief.make(of_rows({"panels_broken": 6, "district": "North"}, {"panels_broken": 1}), city="x", made=MADE)
    assert [one.title for one in of.districts] == [
        "What is done in North?", "What is done on streets without a district?"]


def test_refusals_and_progress() -> None:
    told: list[float] = []
    brief.make(decided(), city="x", made=MADE, watch=lambda share, _: told.append(share))
    assert told == sorted(told) and told[0] == 0.0 and told[-1] == 1.0 and len(told) > 10
    with pytest.raises(ValueError, match="has the years 2027"):
        brief.make(decided(), city="x", made=MADE, others={"short": of_rows({"panels_broken": 1}, years=2)})


def test_the_same_input_gives_the_same_brief() -> None:
    again = brief.make(decided(), city="Testville", made=MADE, others=others())
    assert replace(again, streets=made().streets) == made()
    pd.testing.assert_frame_equal(again.streets, made().streets)
