from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go
import pytest

from rehab.base.tables import with_types
from rehab.outputs import charts

DAY_MS = 86_400_000


def named(figure: go.Figure, name: str) -> go.Figure:
    return next(trace for trace in figure.data if trace.name == name)


def test_program_chart_stacks_to_the_money_spent(by_year: pd.DataFrame) -> None:
    figure = charts.program_chart(by_year)
    bars = [trace for trace in figure.data if trace.type == "bar"]
    assert [sum(heights) for heights in zip(*(bar.y for bar in bars), strict=True)] == list(by_year["spent_usd"])
    assert list(named(figure, "Budget").y) == list(by_year["budget_usd"])
    assert len({(bar.marker.color, bar.marker.pattern.shape) for bar in bars}) == 3
    assert figure.layout.barmode == "stack"
    text = charts.describe_program(by_year)
    assert "$2,700,000 of $3,000,000" in text and "Reconstruction $1,200,000" in text


def test_years_are_whole_numbers(by_year: pd.DataFrame) -> None:
    for figure in (charts.program_chart(by_year), charts.condition_chart(by_year), charts.grinding_chart(by_year),
                   charts.scenario_chart({"a": by_year})):
        assert (figure.layout.xaxis.dtick, figure.layout.xaxis.tickformat) == (1, "d")
        assert figure.layout.title.text and figure.layout.xaxis.title.text == "Year" and figure.layout.yaxis.title.text
    long = pd.concat([by_year.assign(year=by_year["year"] + shift) for shift in range(0, 30, 3)])
    assert charts.condition_chart(long).layout.xaxis.dtick == 5


@pytest.mark.parametrize(("measure", "done", "undone"), [("index", 63, 56), ("sound", 85, 80), ("full", 5, 10)])
def test_condition_chart(by_year: pd.DataFrame, measure: str, done: float, undone: float) -> None:
    figure = charts.condition_chart(by_year, measure)
    assert named(figure, "With the program").y[-1] == pytest.approx(done)
    assert named(figure, "No work").y[-1] == pytest.approx(undone)
    assert named(figure, "No work").line.dash != named(figure, "With the program").line.dash
    text = charts.describe_condition(by_year, measure)
    assert f"{done}" in text and f"{undone}" in text and "2029" in text
    assert ("%" in text) == (measure != "index")


def test_grinding_chart(by_year: pd.DataFrame) -> None:
    assert list(charts.grinding_chart(by_year).data[0].y) == [0, 1000, 2000]
    assert charts.describe_grinding(by_year) == "The program grinds 3,000 sq yd, the most in 2029 (2,000 sq yd)."
    assert "no surface" in charts.describe_grinding(by_year.assign(ground_sqyd=0.0))


def forecast() -> pd.DataFrame:
    rows = [{"block_id": "B1", "year": year, "strategy": strategy, "sound_share": sound, "partial_share": 0.1,
             "full_share": 0.9 - sound, "index": 100 * sound}
            for strategy, start in (("none", 0.7), ("full_depth", 0.9), ("reconstruction", 0.95))
            for year, sound in ((2026, 0.7), (2027, start), (2028, start - 0.1))]
    return with_types("forecast", pd.DataFrame(rows))


def test_block_chart_shows_both_futures() -> None:
    figure = charts.block_chart(forecast(), 2027)
    assert list(named(figure, "No work").y) == pytest.approx([70, 70, 60])
    assert list(named(figure, "Full-depth repair").y) == pytest.approx([70, 90, 80])
    sound = [trace for trace in figure.data if trace.name == "Sound"]
    assert [list(trace.y) for trace in sound] == [pytest.approx([70, 70, 60]), pytest.approx([70, 90, 80])]
    bars = [trace for trace in figure.data if trace.type == "bar"][:3]
    assert [sum(parts) for parts in zip(*(bar.y for bar in bars), strict=True)] == pytest.approx([100] * 3)
    text = charts.describe_block(forecast(), 2027, strategy="reconstruction")
    assert text == "Condition index in 2028: 60 without work, 85 with reconstruction in 2027."


def test_block_chart_without_work_has_one_future() -> None:
    rows = forecast()
    figure = charts.block_chart(rows[rows["strategy"] == "none"], 2027)
    assert sum(trace.name == "Sound" for trace in figure.data) == 1


def test_cost_chart_spans_low_to_high() -> None:
    costs = with_types("costs", pd.DataFrame([
        {"block_id": "B1", "year": 2027, "strategy": strategy, "low_usd": 50.0, "likely_usd": 100.0, "high_usd": 180.0}
        for strategy in ("full_depth", "none", "partial_depth")]))
    figure = charts.cost_chart(costs)
    bar, likely = figure.data
    assert figure.layout.xaxis.ticktext[0] == "Partial-depth repair<br>likely $100"
    assert list(bar.x) == list(likely.x) == ["Partial-depth repair", "Full-depth repair"]
    assert (list(bar.base), list(bar.y), list(likely.y)) == ([50, 50], [130, 130], [100, 100])
    assert "Partial-depth repair $100 ($50 to $180)" in charts.describe_cost(costs)


def test_scenarios_differ_by_more_than_colour(by_year: pd.DataFrame) -> None:
    tables = dict.fromkeys(("a", "b", "c", "d", "e", "<b>f</b>", "g"), by_year)
    figure = charts.scenario_chart(tables, "sound_with")
    assert len({(trace.line.dash, trace.marker.symbol) for trace in figure.data}) == 7
    assert figure.data[5].name == "&lt;b&gt;f&lt;/b&gt;"
    assert figure.data[0].y[0] == pytest.approx(85)
    text = charts.describe_scenarios({"now": by_year, "none": by_year.iloc[:0]}, "spent_usd")
    assert text == "Money spent over all years. now: $2,700,000."


def test_season_bars_cover_first_to_last_day(tasks: pd.DataFrame) -> None:
    figure = charts.season_chart(tasks)
    patch = named(figure, "Place patches")
    assert (pd.Timestamp(patch.base[0]), patch.x[0]) == (pd.Timestamp("2027-05-14"), 4 * DAY_MS)
    assert list(patch.y) == ["Patching crew"]
    grind, saw = named(figure, "Grind surface"), named(figure, "Saw full depth")
    assert grind.xaxis != saw.xaxis, "the next season is drawn apart"
    assert sum(trace.showlegend for trace in figure.data) == len({trace.name for trace in figure.data})
    text = charts.describe_season(tasks)
    assert "7 tasks on 2 blocks by 4 crews from Tue 20 Apr 2027 to Mon 17 May 2027" in text
    assert "1 task on 1 block in the next season" in text


def test_bid_chart_marks_outliers_by_shape_and_name() -> None:
    bids = with_types("priced_bids", pd.DataFrame([
        {"pay_item": "striping", "item": "Line", "quantity": quantity, "unit_price_usd": usd, "price_usd": usd,
         "bid_date": "2026-02-01", "quarter": "2026Q1", "outlier": usd > 5, "left_out": usd == 1.2, "row": row,
         "bidder": "<i>Ash</i> & Co", "project": None} for row, (quantity, usd) in
        enumerate([(100, 1.0), (1000, 1.1), (200, 1.2), (500, 9.0)], start=2)]))
    prices = {"unit": "ft", "low_usd": 1.0, "likely_usd": 1.1, "high_usd": 1.3, "default_low_usd": 0.5, "default_usd": 1.0,
              "default_high_usd": 4.0, "exponent": -0.1, "at_one_usd": 2.0}
    figure = charts.bid_chart(bids, prices, "Striping", "2026Q1")
    marks = {name: named(figure, name) for name in ("Bid", "Outlier", "Left out")}
    assert {name: list(trace.y) for name, trace in marks.items()} == {"Bid": [1, 1.1], "Outlier": [9], "Left out": [1.2]}
    assert len({trace.marker.symbol for trace in marks.values()}) == 3
    assert marks["Outlier"].text[0] == "&lt;i&gt;Ash&lt;/i&gt; &amp; Co, $9.00"
    assert set(named(figure, "Default, low to high").y) == {0.5, 4.0}
    line = named(figure, "By quantity, power -0.10")
    assert line.y[0] == pytest.approx(2.0 * 80 ** -0.1)  # from four fifths of the least quantity
    assert (figure.layout.xaxis.type, figure.layout.yaxis.type) == ("log", "log")
    assert "$5" in figure.layout.yaxis.ticktext and "200" in figure.layout.xaxis.ticktext
    assert charts.describe_bids(bids, prices, "Striping", "2026Q1") == (
        "Striping: 4 bids from $1.00 to $9.00 in dollars of 2026Q1, likely $1.10, 1 outlier.")
    few = {**prices, "low_usd": float("nan"), "likely_usd": float("nan"), "high_usd": float("nan"), "exponent": float("nan")}
    assert not {"Likely", "Low and high"} & {trace.name for trace in charts.bid_chart(bids, few, "S", "2026Q1").data}


def test_nothing_to_draw_is_said(by_year: pd.DataFrame, tasks: pd.DataFrame) -> None:
    none = by_year.iloc[:0]
    for figure in (charts.program_chart(none), charts.condition_chart(none), charts.grinding_chart(none),
                   charts.scenario_chart({}), charts.season_chart(tasks.iloc[:0]),
                   charts.block_chart(forecast().iloc[:0], 2027)):
        assert figure.layout.annotations[0].text.endswith(".")
    assert charts.describe_season(tasks.iloc[:0]) == "No task is on the calendar."
