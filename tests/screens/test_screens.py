"""Every screen, run without a browser: on the demo city, on a city without work, on bad files."""

from __future__ import annotations

from dataclasses import replace
from io import BytesIO
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

from pages import asking
from rehab.base import tables
from rehab.base.limits import Capacity, Closed, DistrictShare, Fund, Target
from rehab.base.settings import Forced, Scenario
from rehab.inputs import reading

APP = Path(__file__).parents[2] / "pages" / "navigation.py"
PAGES = ("strategies.py", "program.py", "season.py", "worklist.py", "prices.py", "calibration.py")
GOOD = b"block_id,length_ft,width_ft,panels_broken,panels_cracked,street\nA,300,36,4,10,Elm\nB,300,36,0,0,Oak\n"

# Third parties warn of their own changes to come while the screens run.
pytestmark = pytest.mark.filterwarnings("ignore")


@pytest.fixture
def app() -> AppTest:
    return AppTest.from_file(str(APP), default_timeout=120).run()


def words(app: AppTest) -> str:
    parts = [*app.title, *app.header, *app.subheader, *app.markdown, *app.info, *app.warning, *app.error, *app.caption]
    return " ".join(str(part.value) for part in parts).replace("\\", "")  # escapes are not shown


def load(app: AppTest, name: str, content: bytes) -> AppTest:
    return app.file_uploader(key="blocks_file").set_value((name, content, "application/octet-stream")).run()


def press(app: AppTest, label: str) -> AppTest:
    return next(button for button in app.button if button.label.startswith(label)).click().run()


def show(app: AppTest, part: str, opened: str | bool) -> AppTest:
    """Open a tab or a part that is worked out only when it is open."""
    app.session_state[part] = opened
    return app.run()


def test_the_dashboard_opens_on_the_invented_city(app: AppTest) -> None:
    assert not app.exception
    assert "invented city" in words(app)
    counts = {metric.label: int(metric.value.replace(",", "")) for metric in app.metric[:4]}
    assert sum(counts.values()) == 1200 and min(counts.values()) > 0
    assert "estimated" in words(app)


@pytest.mark.parametrize("page", PAGES)
def test_every_screen_opens(app: AppTest, page: str) -> None:
    app.switch_page(page).run()
    assert not app.exception
    assert app.title


@pytest.mark.parametrize(("page", "part", "tabs"), [
    ("strategies.py", "strategies_view", ("Map", "List")),
    ("program.py", "program_view", ("Money", "Condition", "Grinding", "Map", "Program list", "Limits and prices",
                                      "Scenarios side by side", "Cost of waiting")),
    ("season.py", "season_view", ("Four weeks", "Whole season", "Week on the map", "One block", "Grinder", "All tasks",
                                  "Work done", "Weather and days")),
    ("prices.py", "prices_view", ("Every number", "Price book from bids")),
    ("strategies.py", "block_part", ("Why", "In the program", "Survey", "Panel plan", "From defect to dollar", "Forecast")),
])
def test_every_tab_opens_with_something_in_it(app: AppTest, page: str, part: str, tabs: tuple[str, ...]) -> None:
    app.switch_page(page).run()
    assert [tab.label for tab in app.tabs if tab.label in tabs] == list(tabs)
    for name in tabs:
        show(app, part, name)
        assert not app.exception
        assert [tab.label for tab in app.tabs if tab.label in tabs and len(tab.children)] == [name]


@pytest.mark.parametrize("page", PAGES)
def test_every_screen_opens_on_a_city_without_work(app: AppTest, page: str) -> None:
    sound = b"block_id,length_ft,width_ft,panels_broken,panels_cracked\nA,300,36,0,0\n"
    press(load(app, "sound.csv", sound), "Use these 1")
    app.switch_page(page).run()
    assert not app.exception


def test_a_table_of_ones_own_replaces_the_demo(app: AppTest) -> None:
    load(app, "mine.csv", GOOD)
    assert not app.exception and "2 blocks can be used" in words(app)
    press(app, "Use these 2")
    assert "mine.csv: 2 blocks" in words(app) and "invented city" not in words(app)
    assert {metric.label: metric.value for metric in app.metric}["Full-depth repair"] == "1"
    press(app, "Back to the demo city")
    assert "invented city" in words(app)


def test_a_panel_survey_is_read_beside_its_blocks_with_a_mapping_of_its_own(app: AppTest) -> None:
    load(app, "mine.csv", GOOD)
    survey = b"block,row,col,type,sev\nA,1,1,broken panel,high\nC,1,1,broken panel,high\n"
    app.file_uploader(key="defects_file").set_value(("survey.csv", survey, "text/csv")).run()
    assert not app.exception and "Which column is which in the panel survey" in words(app)
    assert any("no block of this name" in str(table.value.get("message")) for table in app.dataframe)
    press(app, "Use these 2")
    assert len(app.session_state["tables"].defects) == 1


@pytest.mark.parametrize(("name", "content", "said"), [
    ("empty.csv", b"", "cannot be used"),
    ("picture.csv", b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", "cannot be used"),
    ("header.csv", b"block_id,length_ft,width_ft,panels_broken\n", "cannot be used"),
    ("lacking.csv", b"block_id,length_ft\nA,300\n", "cannot be used"),
    ("wrong.csv", b"block_id,length_ft,width_ft,panels_broken\nA,far,36,1\n", "No row of the table can be used"),
])
def test_a_bad_file_is_answered_with_its_problems(app: AppTest, name: str, content: bytes, said: str) -> None:
    load(app, name, content)
    assert not app.exception
    assert said in words(app)
    assert any("accepted" in table.value.columns for table in app.dataframe)
    assert "invented city" in words(app)  # what was in use stays in use


def test_html_in_a_street_is_never_rendered(app: AppTest) -> None:
    evil = b'block_id,length_ft,width_ft,panels_broken,street\nA,300,36,4,<img src=x onerror=alert(1)>\n'
    press(load(app, "evil.csv", evil), "Use these 1")
    app.switch_page("strategies.py").run()
    assert not app.exception
    assert not any(part.allow_html for part in app.markdown if "onerror" in part.value)


def test_a_budget_of_zero_buys_nothing_and_says_so(app: AppTest) -> None:
    app.switch_page("program.py").run()
    before = next(metric.value for metric in app.metric if metric.label == "Blocks in the program")
    app.number_input(key="budget").set_value(0.0).run()
    assert not app.exception
    after = next(metric.value for metric in app.metric if metric.label == "Blocks in the program")
    assert before != after and after.startswith("0 of")
    app.switch_page("season.py").run()
    assert "holds no work" in words(app)


def small_city(app: AppTest) -> AppTest:
    """Thirty blocks of two districts with work that a little money cannot all pay."""
    rows = [f"B{at:02d},300,36,{2 + at % 5},{at % 9},{'North' if at % 3 else 'South'},Elm,{1 + at // 5}" for at in range(30)]
    head = "block_id,length_ft,width_ft,panels_broken,panels_cracked,district,street,corridor"
    press(load(app, "small.csv", "\n".join([head, *rows]).encode()), "Use these 30")
    app.switch_page("program.py").run()
    return app.number_input(key="budget").set_value(150_000.0).run()


def metric(app: AppTest, label: str) -> str:
    return next(item.value for item in app.metric if item.label == label)


def test_more_money_never_lowers_the_benefit_shown(app: AppTest) -> None:
    app.switch_page("program.py").run()
    shown = {}
    for usd in (1.5e6, 3e6, 3.1e6, 2.9e6, 3e6):
        app.number_input(key="budget").set_value(usd).run()
        assert not app.exception
        for made in app.session_state["shelf"].values():
            shown[made.scenario.budgets_usd[0]] = made.chosen.value
        assert app.session_state["scenario"].budgets_usd == (usd,) * 10
    assert len(shown) >= 4 and [shown[usd] for usd in sorted(shown)] == sorted(shown.values())
    assert "Proven: a program at most" in words(app) and "% better can exist" in words(app)


def test_a_fund_and_a_capacity_show_in_the_list_and_among_the_limits(app: AppTest) -> None:
    small_city(app)
    own = app.session_state["scenario"]
    app.session_state["scenario"] = replace(
        own, funds=(Fund("gas tax", (60_000.0,) * 10, districts=("South",)),), carry_over=0.2,
        capacities=(Capacity("full_depth", 400.0),))
    show(app, "program_view", "Program list")
    assert not app.exception
    assert "In force: 1 fund, 1 capacity limit, up to 20 % carried over." in words(app)
    listed = next(table.value for table in app.dataframe if "paid_by" in table.value)
    assert listed["paid_by"].str.contains("gas tax").any()
    assert listed.loc[listed["district"] == "North", "paid_by"].eq("general").all()
    show(app, "program_view", "Limits and prices")
    binding = next(table.value for table in app.dataframe if "allowed" in table.value)
    assert len(binding) and binding["price"].str.contains("more: .*square-yard-years").all()
    # The years change: the fund goes with them and says so.
    app.number_input(key="years").set_value(11).run()
    assert not app.exception and len(app.session_state["scenario"].funds[0].budgets_usd) == 11
    assert "2037" in words(app) and "took over the figure of the nearest year" in words(app)


def test_committed_projects_are_read_and_held(app: AppTest) -> None:
    small_city(app)
    show(app, "limits", True)
    show(app, "limits_view", "Committed and closed")
    rows = b"block_id,year,strategy,cost_usd\nB04,2029,full_depth,91000\nnobody,2029,full_depth,1\nB05,1999,full_depth,1\n"
    app.file_uploader(key="committed_file").set_value(("committed.csv", rows, "text/csv")).run()
    assert not app.exception
    problems = next(table.value for table in app.dataframe if "accepted" in table.value)
    assert problems["row"].tolist() == [3, 4] and {"block_id", "year"} == set(problems["column"])
    app.button(key="add_committed").click().run()
    assert app.session_state["scenario"].forced == (Forced("B04", 2029, "full_depth", 91_000.0),)
    show(app, "program_view", "Program list")
    line = next(table.value for table in app.dataframe if "program_strategy" in table.value).set_index("block_id").loc["B04"]
    assert (line["program_year"], line["program_cost_usd"]) == (2029, 91_000)


def test_every_part_of_the_limits_opens_and_changes_the_scenario(app: AppTest) -> None:
    small_city(app)
    show(app, "limits", True)
    for view in ("Funds", "Crews and contracts", "Districts", "Committed and closed", "Condition to reach"):
        show(app, "limits_view", view)
        assert not app.exception
    app.selectbox(key="ask_cleared_by").set_value("2036").run()
    assert app.session_state["scenario"].cleared_by == 2036
    app.selectbox(key="ask_cleared_by").set_value("not asked").run()
    show(app, "limits_view", "How to choose")
    for key, value in (("ask_benefit", "agency cost"), ("ask_works", 2), ("ask_corridors", "given")):
        app.radio(key=key).set_value(value).run()
        assert not app.exception
    app.number_input(key="ask_carry_over").set_value(25.0).run()
    asked = app.session_state["scenario"]
    assert not app.exception and (asked.benefit, asked.works, asked.corridors, asked.carry_over, asked.cleared_by) == (
        "agency cost", 2, "given", 0.25, None)
    made = list(app.session_state["shelf"].values())[-1]
    assert made.scenario == asked and made.summary["benefit_measures"].startswith("present worth of agency cost")
    show(app, "program_view", "Limits and prices")
    assert not app.exception


def test_what_cannot_be_is_said_where_it_was_asked_and_changes_nothing(app: AppTest) -> None:
    small_city(app)
    app.session_state["scenario"] = replace(app.session_state["scenario"], forced=(Forced("B04", 2036),))
    app.run()
    before = metric(app, "Spent of the budget")
    app.number_input(key="years").set_value(5).run()
    assert not app.exception and "Not changed: block B04: 2036 is not a year of the program" in words(app)
    assert app.number_input(key="years").value == 10 and metric(app, "Spent of the budget") == before
    app.session_state["scenario"] = replace(app.session_state["scenario"], budgets_usd=(1000.0,) * 10)
    app.run()
    assert not app.exception and "No program obeys all that is asked" in words(app) and "too little" in words(app)
    show(app, "program_view", "Limits and prices")
    assert not app.exception


def test_the_least_money_for_an_aim_is_found_and_taken_over(app: AppTest) -> None:
    small_city(app)
    show(app, "program_view", "What money buys")
    assert not app.exception and "a year buys a benefit of" in words(app) and "The next $100,000 in 2027" in words(app)
    app.button(key="least_hold").click().run()
    assert not app.exception and "it is proven that less than" in words(app)
    held = app.session_state["aims"]["hold"][2]
    assert held.proven <= held.factor
    app.button(key="use_hold").click().run()
    assert not app.exception
    asked = app.session_state["scenario"]
    assert asked.budgets_usd == held.plan.scenario.budgets_usd and asked.targets and asked.name == "Own program"
    assert float(metric(app, "Mean index in 2036")) >= round(asked.targets[0].least, 1) - 0.05
    show(app, "program_view", "Scenarios side by side")
    assert not app.exception
    listed = next(table.value for table in app.dataframe if "usd_per_yr" in table.value)["scenario"].tolist()
    assert listed[:6] == ["No work", "Current budget", "Worst first", "Best benefit-cost ratio", "Incremental benefit-cost",
                          "Own program"] and "Hold the condition" in listed


def test_programs_are_kept_by_name_and_compared(app: AppTest) -> None:
    show(small_city(app), "program_view", "Scenarios side by side")
    assert "more than worst first" in words(app)
    app.text_input(key="keep_name").set_value("Worst first").run()
    app.button(key="keep_program").click().run()
    assert "name of another scenario" in words(app)
    app.text_input(key="keep_name").set_value("Tight").run()
    app.button(key="keep_program").click().run()
    app.number_input(key="budget").set_value(400_000.0).run()
    app.selectbox(key="change_one").set_value("Tight").run()
    app.selectbox(key="change_other").set_value("Own program").run()
    assert not app.exception and "only in the second" in words(app)
    changed = next(table.value for table in app.dataframe if "change" in table.value)
    assert f"{len(changed)} blocks differ" in words(app)


def test_a_block_tells_why_it_has_its_place(app: AppTest) -> None:
    small_city(app)
    show(app, "block_part", "In the program")
    for block in ("B04", "B00"):
        app.selectbox(key="program_block").set_value(block).run()
        assert not app.exception and ("Chosen:" in words(app) or "Not in the program." in words(app))
        assert any("What keeps it out" in table.value for table in app.dataframe)


def test_a_program_is_chosen_anew_in_draws(app: AppTest) -> None:
    show(small_city(app), "program_view", "Uncertainty")
    app.button(key="robust_draws").click().run()
    assert not app.exception and "Chosen anew in 50 draws" in words(app)
    table = next(table.value for table in app.dataframe if "In the same year" in table.value)
    sure = table["In the program"].str.removesuffix(" %").astype(float)
    assert sure.is_monotonic_increasing and sure.between(0, 100).all()


def test_parts_of_a_scenario_go_through_their_tables_and_back() -> None:
    asked = Scenario(
        budgets_usd=(5.0, 6.0, 7.0), funds=(Fund("gas tax", (1.0, 0.0, 2.0), ("full_depth",), ("local",), ("North",)),),
        capacities=(Capacity("grinding", 100.0, 2028), Capacity("partial_depth", 5.0)), closed=(Closed("A", 2028),),
        district_shares=(DistrictShare("North", 0.25),), targets=(Target(60.0, 2028, 2029),),
        forced=(Forced("A", 2027), Forced("B", 2029, "full_depth", 9.0)))
    assert asking.budgets_of(asking.budgets_table(asked)) == asked.budgets_usd
    assert asking.funds_of(asking.funds_table(asked), asked) == asked.funds
    assert asking.capacities_of(asking.capacities_table(asked)) == asked.capacities
    assert asking.shares_of(asking.shares_table(asked)) == asked.district_shares
    assert asking.closed_of(asking.closed_table(asked), {"A"}) == asked.closed
    assert asking.targets_of(asking.targets_table(asked)) == asked.targets
    assert asking.forced_of(asking.forced_table(asked), {"A", "B"}) == asked.forced


def test_an_empty_cell_is_never_taken_for_zero() -> None:
    asked = Scenario(budgets_usd=(5.0, 6.0, 7.0), funds=(Fund("gas tax", (1.0, 0.0, 2.0)),))
    budgets = asking.budgets_table(asked)
    budgets.loc[1, "Budget"] = None
    with pytest.raises(ValueError, match="no figure for 2028; give one, 0 for no money"):
        asking.budgets_of(budgets)
    with pytest.raises(ValueError, match="fund 'gas tax': no figure for 2029"):
        asking.funds_of(asking.funds_table(asked).assign(**{"2029": [None]}), asked)
    closed = pd.DataFrame({"Block": ["A", "Z"], "Closed in": [2027, 2028]})
    with pytest.raises(ValueError, match="row 2, Block: there is no block 'Z'"):
        asking.closed_of(closed, {"A"})
    with pytest.raises(ValueError, match="row 1: 'Closed in' is empty"):
        asking.closed_of(closed.assign(**{"Closed in": [None, None]}), {"A"})


def test_other_years_keep_the_figures_of_the_years_that_stay() -> None:
    asked = Scenario(start_year=2027, budgets_usd=(5.0, 6.0), funds=(Fund("gas tax", (1.0, 2.0)),))
    parts, told = asking.over_years(asked, 2028, 3)
    assert parts["budgets_usd"] == (6.0,) * 3 and parts["funds"][0].budgets_usd == (2.0,) * 3
    assert told.startswith("2029, 2030: the budget and fund 'gas tax'")
    assert asking.over_years(Scenario(budgets_usd=(5.0,) * 4), 2027, 6)[1] == ""


def test_waiting_is_told_for_the_delay_asked_for(app: AppTest) -> None:
    show(app.switch_page("program.py").run(), "program_view", "Cost of waiting")
    assert "Waiting 5 years raises the cost of the work due" in words(app)
    app.selectbox(key="waiting_years_9").set_value(1).run()
    assert "Waiting 1 year raises" in words(app)
    dearest = next(table.value for table in app.dataframe if "More for each year" in table.value)
    assert len(dearest) == 20 and dearest["More for each year"].is_monotonic_decreasing
    for years, said in ((2, "Waiting 1 year raises"), (1, "nothing to wait for")):
        app.number_input(key="years").set_value(years).run()
        assert not app.exception and said in words(app)


def test_waiting_costs_nothing_where_no_work_falls_due(app: AppTest) -> None:
    press(load(app, "sound.csv", b"block_id,length_ft,width_ft,condition_index\nA,300,36,100\n"), "Use these 1")
    app.switch_page("program.py").run()
    app.number_input(key="years").set_value(2).run()
    show(app, "program_view", "Cost of waiting")
    assert not app.exception and "costs nothing yet" in words(app)


def test_an_override_needs_a_reason_and_is_kept(app: AppTest) -> None:
    app.switch_page("strategies.py").run()
    press(app, "Set")
    assert "needs a reason" in words(app)
    next(field for field in app.text_input if field.label.startswith("Reason")).set_value("sewer first")
    press(app, "Set")
    assert not app.exception
    assert "Set by the engineer: sewer first" in words(app)


def test_a_price_of_the_citys_own_changes_the_cost(app: AppTest) -> None:
    before = app.metric[1].proto.delta
    app.switch_page("prices.py").run()
    rows = app.session_state["rows_pay_items"]
    assert rows is not None
    app.session_state["values"] = {"pay_items": {"partial_depth_patch": "90"}}
    app.switch_page("start.py").run()
    assert app.metric[1].proto.delta != before


def test_prices_are_made_from_bids_and_taken_over(app: AppTest) -> None:
    before = app.metric[1].proto.delta
    show(app.switch_page("prices.py").run(), "prices_view", "Price book from bids")
    press(app, "Try it")
    assert not app.exception and "Invented bids: 324 bids" in words(app)
    assert "Confirm a match" in words(app)  # nothing is matched by itself
    press(app, "Confirm all")
    assert not app.exception and "93 of 324 bids have no confirmed pay item" in words(app)
    prices = next(table.value for table in app.dataframe if "likely_usd" in table.value).set_index("pay_item")
    assert prices.loc["Lane striping", "note"] == "too few bids: 4, and 5 are needed"
    dear = prices.loc["Casting adjusted", "high_usd"]
    app.session_state["bids_left_out"] = set(app.session_state["bids"][1].query("unit_price_usd == 9800")["row"])
    app.run()
    prices = next(table.value for table in app.dataframe if "likely_usd" in table.value).set_index("pay_item")
    assert prices.loc["Casting adjusted", "high_usd"] < dear
    press(app, "Take 8")
    assert not app.exception and any("8 prices taken over" in part.value for part in app.success)
    own = app.session_state["values"]["pay_items"]
    assert float(own["full_depth_panel low"]) < float(own["full_depth_panel"]) < float(own["full_depth_panel high"])
    show(app, "prices_view", "Every number")
    assert not app.exception and app.session_state["values"]["pay_items"] == own
    app.switch_page("start.py").run()
    assert app.metric[1].proto.delta != before


def test_bids_of_ones_own_are_read_with_their_problems(app: AppTest) -> None:
    show(app.switch_page("prices.py").run(), "prices_view", "Price book from bids")
    rows = (b"item,quantity,unit,unit price,bidder,date\nDiamond grinding,10,SY,6,<b>A</b>,2024-05-01\n"
            b"Grinding,x,SY,6,B,2024-05-01\n")
    app.file_uploader(key="bids_file").set_value(("mine.csv", rows, "text/csv")).run()
    assert not app.exception and "1 bids can be used" in words(app)
    assert any("not a number" in str(table.value.get("message")) for table in app.dataframe)
    press(app, "Use these 1 bid")
    press(app, "Confirm all")
    assert not app.exception and "mine.csv: 1 bid" in words(app)
    app.file_uploader(key="bids_file").set_value(("bad.csv", b"", "text/csv")).run()
    assert not app.exception and "cannot be used" in words(app)


def test_the_template_holds_every_column_of_the_upload() -> None:
    heads = pd.read_csv(BytesIO(reading.template())).columns
    assert list(heads) == [item.name for item in tables.upload_fields("blocks")]


def test_work_is_kept_and_opened_again(app: AppTest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("REHAB_DATABASE", f"sqlite:///{tmp_path / 'kept.db'}")
    press(load(app, "mine.csv", GOOD), "Use these 2")
    app.switch_page("strategies.py").run()
    next(field for field in app.text_input if field.label.startswith("Reason")).set_value("sewer first")
    press(app, "Set")
    app.switch_page("start.py").run()
    show(app, "keeping", True).text_input(key="who").set_value("R. Mason").run()
    press(app, "Keep")
    assert not app.exception
    assert any("Kept 'mine.csv'" in part.value for part in app.success)
    another = AppTest.from_file(str(APP), default_timeout=120).run()
    show(another, "keeping", True).toggle(key="show_kept").set_value(True).run()
    press(another, "Open")
    assert not another.exception
    assert "mine.csv: 2 blocks" in words(another)
    another.switch_page("strategies.py").run()
    assert "Set by the engineer: sewer first" in words(another)


def survey_of(year: int, broken: int, spalled: int) -> tuple[str, bytes, str]:
    rows = [f"B{at:03d},300,36,{broken * (1 + at * at % 11) // 4},{spalled * (1 + at * at % 13) // 4 * 6},1980,"
            f"{year}-06-01" for at in range(40)]
    head = "block_id,length_ft,width_ft,panels_broken,spalled_joint_ft,year_built,surveyed_on"
    return f"{year}.csv", "\n".join([head, *rows]).encode(), "text/csv"


def test_the_curves_are_fitted_to_surveys_and_taken_over(app: AppTest) -> None:
    app.switch_page("calibration.py").run()
    assert not app.exception and "2021" in app.checkbox(key="survey_demo").label
    app.file_uploader(key="surveys_file").set_value([survey_of(2010, 1, 4), survey_of(2016, 3, 8), survey_of(2022, 6, 12)]).run()
    app.checkbox(key="survey_demo").set_value(False).run()
    app.checkbox(key="survey_in_use").set_value(False).run()
    assert not app.exception and "2016.csv: 40 blocks can be used" in words(app)
    app.button(key="fit").click().run()
    assert not app.exception
    said = words(app)
    assert "The surveys of 2010, 2016, 2022 give 80 pairs of surveys of 40 blocks" in said
    assert "inside the 80 % interval" in said and "Back-test" in said and "No block got better" in said
    for table in app.dataframe:
        assert not any("_" in str(name) for name in table.value.columns)
        assert not table.value.astype("str").isin(["nan", "None", "<NA>"]).any().any()
    app.button(key="take_over").click().run()
    assert not app.exception and "Taken over" in app.success[0].value
    own = app.session_state["values"]["survival"]
    assert float(own["deep.scale.local"]) > 0
    app.switch_page("prices.py").run()
    assert not app.exception


def test_surveys_of_other_blocks_are_answered(app: AppTest) -> None:
    app.switch_page("calibration.py").run()
    app.file_uploader(key="surveys_file").set_value([survey_of(2016, 3, 8), ("bad.csv", b"", "text/csv")]).run()
    app.checkbox(key="survey_demo").set_value(False).run()
    assert not app.exception and "bad.csv cannot be used" in words(app)
    app.button(key="fit").click().run()
    assert not app.exception and "two different years" in words(app)


def season(app: AppTest) -> AppTest:
    """The season of thirty blocks of two districts, on its first view."""
    small_city(app)
    app.number_input(key="budget").set_value(4_000_000.0).run()
    return app.switch_page("season.py").run()


def test_a_season_says_what_is_ground_and_what_more_would_take(app: AppTest) -> None:
    season(app)
    assert not app.exception and "fits this season" in " ".join(str(part.value) for part in app.success)
    app.session_state["values"] = {"season": {"first_day": "09-01", "last_day": "10-15"}}
    app.run()
    assert "blocks are not ground this season" in words(app)
    why = app.table[0].value["Why"]
    assert len(why) and why.str.len().gt(20).all()
    press(app, "Work out what it would take")
    assert not app.exception
    takes = next(frame.value for frame in app.dataframe if "change" in frame.value)
    assert takes["change"].iloc[0] == "As it is" and "two weeks longer" in " ".join(takes["change"])
    ground = dict(zip(takes["change"], takes["ground"], strict=True))
    longer = next(words for words in ground if "longer" in words)
    assert ground[longer] > ground["As it is"] == int(metric(app, "Blocks ground this season").split()[0])


def test_a_task_moved_by_hand_tells_what_breaks_and_is_kept(app: AppTest) -> None:
    season(app)
    show(app, "season_view", "One block")
    task = app.selectbox(key="move_task").options
    assert len(task) >= 8
    patch = app.selectbox(key="season_block").value + "/patch"
    app.selectbox(key="move_task").set_value(patch).run()
    app.date_input(key=f"move_day_{patch}").set_value(pd.Timestamp("2027-04-15").date()).run()
    assert not app.exception and "This breaks" in words(app)
    app.date_input(key=f"move_day_{patch}").set_value(pd.Timestamp("2027-06-09").date()).run()
    press(app, "Keep this day and arrange the rest")
    assert not app.exception and "Set by hand" in words(app)
    press(app, "Let the calendar choose these days again")
    assert not app.exception and "Set by hand" not in words(app)


def test_a_longer_search_runs_beside_the_page_and_ends_when_stopped(app: AppTest) -> None:
    season(app)
    press(app, "Look for a better calendar")
    job = app.session_state["season_job"]
    assert not app.exception and job.key
    press(app, "Stop and keep the best so far")
    job.thread.join(60)
    app.run()
    assert job.found is not None and not job.failed and "Searched." in words(app)


def test_weather_and_days_without_work_change_the_season(app: AppTest) -> None:
    season(app)
    show(app, "season_view", "Weather and days")
    days = pd.date_range("2028-01-01", "2028-12-31")
    mean = 45 - 35 * np.cos((days.day_of_year - 15) / 366 * 2 * np.pi)
    rows = pd.DataFrame({"date": days.strftime("%m-%d"), "tmin": mean - 10, "tmax": mean + 10})
    app.file_uploader(key="normals_file").set_value(("normals.csv", rows.to_csv(index=False).encode(), "text/csv")).run()
    assert not app.exception
    press(app, "Use these normals")
    assert not app.exception and "by the daily normals" in words(app)
    text = b"scope,name,first_day,last_day,weekdays,reason\ncity,,2027-05-03,2027-08-31,,fair\nstreet,Elmm,2027-05-03,,,x\n"
    app.file_uploader(key="no_work_file").set_value(("days.csv", text, "text/csv")).run()
    assert not app.exception
    show(app, "season_view", "All tasks")
    starts = next(frame.value for frame in app.dataframe if "opens_soonest" in frame.value)["start"]
    assert not starts.between(pd.Timestamp("2027-05-03"), pd.Timestamp("2027-08-31")).any()
    show(app, "season_view", "Weather and days")
    assert any("Elmm" in str(frame.value.get("value", "")) for frame in app.dataframe)
