from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go
import pytest

from rehab.base.tables import with_types
from rehab.outputs import charts


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
    figure = charts.grinding_chart(by_year)
    ground, again, need = figure.data
    assert list(ground.y) == [0, 1000, 2000] and list(need.y) == [5000] * 3
    # Ground again stands on what is ground with the repairs; the need stands beside them.
    assert list(again.y) == [0, 50, 100] and list(again.base) == list(ground.y)
    assert ground.offsetgroup == again.offsetgroup != need.offsetgroup
    assert len({(bar.marker.color, bar.marker.pattern.shape) for bar in figure.data}) == 3
    assert len({bar.marker.pattern.shape for bar in figure.data}) == 3  # told apart without colour
    assert [row.tolist() for row in again.customdata] == [[0, 0], [50, 400], [100, 800]] and "$" in again.hovertemplate
    assert charts.describe_grinding(by_year) == (
        "With its repairs the program grinds 3,000 sq yd ($21,000), the most in 2029 (2,000 sq yd). Worn surfaces ground "
        "again are expected to come to 150 sq yd ($1,200). Without work, 5,000 sq yd ask for grinding in 2029 ($40,002).")
    assert "no surface with its repairs" in charts.describe_grinding(by_year.assign(ground_sqyd=0.0))
    none = by_year.iloc[:0]
    assert "no years" in charts.describe_grinding(none) and not charts.grinding_chart(none).data


def test_curve_chart_marks_the_budget_in_use_between_benefit_and_bound() -> None:
    curve = pd.DataFrame({"usd_per_yr": [0.0, 1e6, 2e6, 4e6], "benefit": [0.0, 50.0, 80.0, 100.0],
                          "upper_bound": [0.0, 52.0, 81.0, 100.0]})
    figure = charts.curve_chart(curve, 2e6, 80.0)
    assert list(named(figure, "Best program").y) == [0, 50, 80, 100]
    bound = named(figure, "No program can reach more")
    assert all(high >= low for high, low in zip(bound.y, named(figure, "Best program").y, strict=True))
    assert bound.line.dash != named(figure, "Best program").line.dash
    now = named(figure, "Budget in use")
    assert (list(now.x), list(now.y)) == ([2e6], [80]) and now.marker.symbol == "diamond-open"
    assert "sound pavement" in figure.layout.yaxis.title.text
    assert "saved" in charts.curve_chart(curve, 2e6, 80.0, "agency cost").layout.yaxis.title.text
    assert charts.describe_curve(curve, 2e6, 80.0) == (
        "$2,000,000 a year buys a benefit of 80. Less, $1,000,000 a year, buys 50. More, $4,000,000 a year, buys 100. "
        "With $4,000,000 a year it is 100.")
    none = curve.iloc[:0]
    assert not charts.curve_chart(none, 0.0, 0.0).data and "no money" in charts.describe_curve(none, 0.0, 0.0)


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


def waiting_block() -> pd.DataFrame:
    """Patched at first, full depth from 2029; prices rise by a tenth a year."""
    rows = [("partial_depth", 0, 0, 0, 100_000), ("partial_depth", 20_000, 0, 12_000, 132_000),
            ("full_depth", 50_000, 350_000, 105_000, 605_000)]
    return with_types("waiting", pd.DataFrame([
        {"block_id": "B1", "year": 2027 + delay, "delay_yr": delay, "strategy": strategy, "now_usd": 100_000,
         "same_usd": same, "heavier_usd": heavier, "new_usd": 0, "escalation_usd": prices, "total_usd": total,
         "panels_full": 2.0 + delay, "partial_sqft": 90.0}
        for delay, (strategy, same, heavier, prices, total) in enumerate(rows)]))


def waiting_network() -> pd.DataFrame:
    counts = {f"blocks_{name}": 1.0 for name in ("none", "partial_depth", "full_depth", "reconstruction")}
    return with_types("waiting_network", waiting_block().assign(
        new_usd=[0, 0, 20_000.4], total_usd=[100_000, 132_000, 625_000.4], partial_sqft=[900, 1000, 1200], **counts))


def test_waiting_bars_stack_to_the_total() -> None:
    for table, kinds in ((waiting_block(), 4), (waiting_network(), 5)):
        figure = charts.waiting_chart(table)
        bars = [trace for trace in figure.data if trace.type == "bar"]
        assert [sum(heights) for heights in zip(*(bar.y for bar in bars), strict=True)] == pytest.approx(
            list(named(figure, "Total").y))
        assert list(bars[0].x) == [0, 1, 2] and "2027" in figure.layout.xaxis.title.text
        assert len({(bar.marker.color, bar.marker.pattern.shape) for bar in bars}) == len(bars) == kinds
        assert len({bar.marker.pattern.shape for bar in bars}) == kinds, "told apart without colour"
    lighter = waiting_block().assign(heavier_usd=[0.0, 0.0, -40_000.0])
    assert charts.waiting_chart(lighter).layout.barmode == "relative", "a part below zero is not stacked on top"
    assert list(named(charts.waiting_chart(lighter), "Change of strategy").y) == [0, 0, -40_000]


def test_waiting_in_words_adds_up() -> None:
    block = waiting_block()
    assert charts.describe_waiting(block) == (
        "Waiting 2 years raises the cost from $100,000 to $605,000: $50,000 more of the same repair, $350,000 for the "
        "change to full-depth repair from 2029, $105,000 by prices. The need changes: panels that need full depth from "
        "2 to 4.")
    assert charts.describe_waiting(block, 1).startswith(
        "Waiting 1 year raises the cost from $100,000 to $132,000: $20,000 more of the same repair, $12,000 by prices.")
    assert charts.describe_waiting(waiting_network()) == (
        "Waiting 2 years raises the cost of the work due from $100,000 to $625,000: $50,000 more of the same repair, "
        "$350,000 for heavier strategies, $20,000 for work not due before, $105,000 by prices. The need changes: panels "
        "that need full depth from 2 to 4, partial-depth repair from 900 to 1,200 sq ft.")
    # 0.4 + 0.4 + 0.4 dollars are one dollar: rounded so that the parts make the difference of the totals shown.
    small = block.iloc[[0, 2]].assign(now_usd=100.0, same_usd=[0, 0.4], heavier_usd=[0, 0.4], escalation_usd=[0, 0.4],
                                      total_usd=[100.0, 101.2], panels_full=0.0)
    assert charts.describe_waiting(small) == (
        "Waiting 2 years raises the cost from $100 to $101: $1 for the change to full-depth repair from 2028.")
    with pytest.raises(ValueError, match="no delay"):
        charts.describe_waiting(block, 3)


def test_waiting_in_words_at_the_edges() -> None:
    idle = waiting_block().assign(strategy="none", panels_full=0.0, **dict.fromkeys(
        ("now_usd", "same_usd", "heavier_usd", "escalation_usd", "total_usd"), 0.0))
    assert charts.describe_waiting(idle) == (
        "No work is due in 2027, nor in 2029: waiting 2 years costs nothing yet.")
    due = idle.assign(strategy=["none", "none", "full_depth"], new_usd=[0, 0, 200.0], escalation_usd=[0, 0, 42.0],
                      total_usd=[0, 0, 242.0])
    assert charts.describe_waiting(due) == (
        "No work is due in 2027; in 2029 it costs $242: $200 for full-depth repair from 2029, $42 by prices.")
    done = waiting_block().assign(strategy=["full_depth", "none", "none"], same_usd=[0, -10.0, -20.0], panels_full=0.0,
                                  heavier_usd=[0, -99_990.0, -99_980.0], escalation_usd=0.0, total_usd=[100_000, 0, 0.0])
    assert charts.describe_waiting(done) == (
        "Waiting 2 years lowers the cost from $100,000 to $0: $20 less of the same repair, $99,980 less for the change "
        "to no work from 2028.")
    still = waiting_block().assign(strategy="full_depth", same_usd=0.0, heavier_usd=0.0, escalation_usd=0.0,
                                   total_usd=100_000.0, panels_full=0.0)
    assert charts.describe_waiting(still) == "Waiting 2 years leaves the cost at $100,000."
    assert "No work falls due by 2029." in charts.waiting_chart(idle).layout.annotations[0].text


def lives() -> pd.DataFrame:
    return pd.DataFrame([("reconstruction", 28.0, 33.0, 41.0, 12), ("partial_depth", 6.0, 12.3, 19.0, 1),
                         ("full_depth", float("nan"), float("nan"), float("nan"), 0)],
                        columns=["strategy", "low_yr", "median_yr", "high_yr", "blocks"])


def test_life_chart_spans_low_to_high_and_names_the_event() -> None:
    figure = charts.life_chart(lives(), 15.0)
    bar, median = figure.data
    assert list(bar.y) == list(median.y) == ["Partial-depth repair<br>median 12.3 yr, 1 block",
                                            "Reconstruction<br>median 33 yr, 12 blocks"]
    assert (list(bar.base), list(bar.x), list(median.x)) == ([6, 28], [13, 13], [12.3, 33])
    assert len(set(bar.marker.pattern.shape)) == 2
    assert "index falls to the trigger" in figure.layout.xaxis.title.text
    assert figure.layout.shapes[0].x0 == 15 and "common practice, no source" in figure.layout.annotations[0].text
    assert not charts.life_chart(lives()).layout.shapes
    assert charts.describe_lives(lives(), 15.0) == (
        "Years of life added, years until the index falls to the trigger, median and 80 % interval: Partial-depth "
        "repair 12.3 (6 to 19, 1 block); Reconstruction 33 (28 to 41, 12 blocks). 15 years are common practice, no "
        "source.")
    assert "No strategy" in charts.describe_lives(lives().iloc[2:])


def banded(table: pd.DataFrame, **spread: float) -> pd.DataFrame:
    """The table with a band round each column: so much below and above."""
    return table.assign(**{f"{name.removesuffix('_share')}_{end}": table[name] + sign * by
                           for name, by in spread.items() for end, sign in (("low", -1), ("high", 1))})


def shaded(figure: go.Figure) -> list[int]:
    return [place for place, trace in enumerate(figure.data) if trace.type == "scatter" and trace.fill == "toself"]


def test_bands_of_a_block_lie_under_its_lines() -> None:
    figure = charts.block_chart(banded(forecast(), index=5.0, partial_share=0.02, full_share=0.05), 2027)
    bands = [figure.data[place] for place in shaded(figure)]
    assert len(bands) == 3 + 2 * 2  # three paths of the index, two shares without and with work
    assert list(bands[0].x) == [2026, 2027, 2028, 2028, 2027, 2026]
    assert list(bands[0].y) == pytest.approx([75, 75, 65, 55, 65, 65])  # the high end, and back along the low end
    assert [list(band.y) for band in bands if band.legendgroup == "full_share"][0] == pytest.approx(
        [25, 25, 35, 25, 15, 15])
    assert all(band.fillcolor.startswith("rgba(") and float(band.fillcolor[:-1].split(",")[-1]) < 0.5 for band in bands)
    line = named(figure, "No work")
    assert line.line.dash == "dash" and line.mode == "lines+markers" and "customdata[1]" in line.hovertemplate
    assert list(line.customdata[0]) == [65, 75]
    for at in shaded(figure):
        band = figure.data[at]
        lines = [place for place, trace in enumerate(figure.data) if place != at and trace.xaxis == band.xaxis
                 and trace.legendgroup == band.legendgroup]
        assert len(lines) == 1 and lines[0] > at, "what is drawn later lies on top"
    shares = [trace for trace in figure.data if trace.name in {"Sound", "Needs full depth", "Needs partial depth"}]
    assert len(shares) == 6 and len({(trace.line.dash, trace.marker.symbol) for trace in shares}) == 3
    assert sum(bool(trace.name and "80 % interval" in trace.name and trace.showlegend is not False)
               for trace in figure.data) == 1
    text = charts.describe_block(banded(forecast(), index=5.0), 2027)
    assert text == ("Condition index in 2028: 60 (55 to 65) without work, 80 (75 to 85) with full-depth repair in 2027. "
                    "In brackets: 80 % interval.")


def test_without_bands_a_block_is_drawn_as_before() -> None:
    rows = forecast()
    for table in (rows, rows.assign(index_low=float("nan"), index_high=float("nan"))):
        figure = charts.block_chart(table, 2027)
        assert not shaded(figure) and sum(trace.type == "bar" for trace in figure.data) == 6
        assert not any("interval" in str(trace.name) for trace in figure.data)
        assert "interval" not in charts.describe_block(table, 2027)
    some = banded(rows, index=5.0)
    some.loc[some["strategy"] == "none", ["index_low", "index_high"]] = float("nan")
    assert len(shaded(charts.block_chart(some, 2027))) == 2  # only where there is one


def test_bands_of_scenarios(by_year: pd.DataFrame) -> None:
    tables = {"now": banded(by_year, sound_with=0.04), "then": by_year}
    figure = charts.scenario_chart(tables, "sound_with")
    assert shaded(figure) == [0] and figure.data[0].legendgroup == "now"
    assert list(figure.data[0].y) == pytest.approx([89, 89, 89, 81, 81, 81])
    assert named(figure, "now").line.dash == "solid" and "customdata" not in named(figure, "then").hovertemplate
    assert charts.describe_scenarios(tables, "sound_with") == (
        "Area of sound panels in the last year. now: 85 % (81 to 89 %); then: 85 %. In brackets: 80 % interval.")
    money = {"now": banded(by_year, spent_usd=1e5)}
    assert "interval" not in charts.describe_scenarios(money, "spent_usd"), "ends of intervals do not add up"
    assert named(charts.scenario_chart(money, "spent_usd"), "now").hovertemplate == (
        "$%{y:,.0f} ($%{customdata[0]:,.0f} to $%{customdata[1]:,.0f})")


def test_nothing_to_draw_is_said(by_year: pd.DataFrame) -> None:
    none = by_year.iloc[:0]
    for figure in (charts.program_chart(none), charts.condition_chart(none), charts.grinding_chart(none),
                   charts.scenario_chart({}),
                   charts.block_chart(forecast().iloc[:0], 2027), charts.waiting_chart(waiting_block().iloc[:0]),
                   charts.life_chart(lives().iloc[:0])):
        assert figure.layout.annotations[0].text.endswith(".")


def rates() -> pd.DataFrame:
    return pd.DataFrame([{"strategy": strategy, "rate": rate, "worth_usd": 0.0, "annual_usd": annual}
                         for strategy, low, high in (("reconstruction", 29_000, 50_000), ("none", 20_000, 26_000),
                                                     ("full_depth", 18_000.4, 25_000))
                         for rate, annual in ((0.035, high), (0.02, low))])


def test_worth_chart_groups_strategies_by_rate() -> None:
    figure = charts.worth_chart(rates(), 0.035)
    assert [bar.name for bar in figure.data] == ["No work now", "Full-depth repair", "Reconstruction"]
    assert {tuple(bar.x) for bar in figure.data} == {("2 %", "3.5 % (in use)")}
    assert list(named(figure, "Full-depth repair").y) == [18_000.4, 25_000]
    assert len({(bar.marker.color, bar.marker.pattern.shape) for bar in figure.data}) == 3
    assert (figure.layout.barmode, figure.layout.xaxis.type, figure.layout.yaxis.tickprefix) == ("group", "category", "$")
    assert charts.describe_worth(rates(), 0.035) == (
        "Annual cost by real discount rate. 2 %: No work now $20,000, Full-depth repair $18,000, Reconstruction $29,000; "
        "3.5 % (in use): No work now $26,000, Full-depth repair $25,000, Reconstruction $50,000.")
    assert charts.worth_chart(rates().iloc[:0]).layout.annotations[0].text == charts.describe_worth(rates().iloc[:0])


def against() -> pd.DataFrame:
    rows = [{"functional_class": "local", "age_from_yr": age, "age_to_yr": age + 10, "age_yr": age + 4.5, "blocks": blocks,
             "panels": 60.0 * blocks, "seen_partial_share": 0.1, "seen_full_share": 0.02 * at,
             "before_partial_share": 0.2, "before_full_share": 0.05 * at, "after_partial_share": 0.11,
             "after_full_share": 0.02 * at} for at, (age, blocks) in enumerate([(20, 9), (30, 36), (40, 1)])]
    return with_types("calibration_fit", pd.DataFrame(rows))


def test_fit_chart_sets_the_curves_beside_what_was_seen() -> None:
    figure = charts.fit_chart(against(), "local")
    for name, shares in (("Curves before", [0, 5, 10]), ("Curves fitted", [0, 2, 4]), ("Seen; larger: more panels", [0, 2, 4])):
        traces = [trace for trace in figure.data if trace.name == name]
        assert len(traces) == 2 and list(traces[1].y) == pytest.approx(shares)
        assert [trace.showlegend for trace in traces] == [True, False]
    before, fitted, seen = (named(figure, name) for name in ("Curves before", "Curves fitted", "Seen; larger: more panels"))
    assert before.line.dash != fitted.line.dash and len({before.marker.symbol, fitted.marker.symbol, seen.marker.symbol}) == 3
    assert seen.marker.size[1] == max(seen.marker.size) and seen.marker.size[2] == min(seen.marker.size)
    text = charts.describe_fit(against(), "local")
    assert text.startswith("Local street, at 30 to 40 years") and "deep damage 2 % seen, 5 % by the curves before and 2 %" in text
    assert text.endswith("miss by 1 and 0 points of a hundred.")
    assert "never repaired" in charts.describe_fit(against(), "alley")
    assert charts.fit_chart(against(), "alley").layout.annotations[0].text == charts.describe_fit(against(), "alley")


def test_residual_chart_counts_every_block_once() -> None:
    rows = with_types("residuals", pd.DataFrame([{
        "block_id": f"B{at}", "from_year": 2021, "to_year": 2026, "seen_partial_share": 0.1, "expected_partial_share": 0.1,
        "partial_inside": abs(at) < 2, "partial_residual": float(at), "seen_full_share": 0.1, "expected_full_share": 0.1,
        "full_inside": True, "full_residual": 0.2} for at in (-9, -1, 0, 0, 1, 4)]))
    figure = charts.residual_chart(rows)
    assert [list(bar.y) for bar in figure.data] == [[1, 0, 1, 2, 1, 0, 1], [0, 0, 0, 6, 0, 0, 0]]
    assert len({(bar.marker.color, bar.marker.pattern.shape) for bar in figure.data}) == 2
    assert list(figure.layout.xaxis.ticktext) == ["-3 or less", "-2", "-1", "0", "+1", "+2", "+3 or more"]
    text = charts.describe_residuals(rows)
    assert "Of 6 blocks" in text and "shallow damage: 67 % inside, on average 0.83 standard deviations less" in text
    assert charts.describe_residuals(rows.iloc[:0]) == charts.residual_chart(rows.iloc[:0]).layout.annotations[0].text
