"""From a bid tabulation to prices of the city's own."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from rehab.base import tables
from rehab.base.errors import BadAssumption, UnusableInput
from rehab.base.settings import Assumptions
from rehab.inputs import assumptions as reader
from rehab.inputs import pricebook, reading
from rehab.inputs.pricebook.figures import by_quantity
from rehab.inputs.reading import Reading, open_table, read_bids
from rehab.steps import estimate

DEMO = Path(__file__).parents[2] / "data" / "demo" / "bids.csv"
GOOD = {"Bid item": "Diamond grinding", "Qty": "1,000", "Unit": "SY", "Unit price": "6.5", "Bidder": "Ash", "Letting":
        "2024-05-01", "Project": "P1", "Award": "yes"}


def read(*rows: dict[str, str]) -> Reading:
    frame = pd.DataFrame([GOOD | {"Bidder": f"Ash {number}"} | row for number, row in enumerate(rows)])
    return read_bids(open_table("bids.csv", frame.to_csv(index=False).encode(), table="bids"), today=date(2026, 6, 30))


def bids(*prices: float, **columns: object) -> pd.DataFrame:
    """Bids for grinding a thousand square yards in 2026Q1, one for each price."""
    usual = {"item": "Diamond grinding", "quantity": 1000.0, "unit": "sqyd", "bid_date": "2026-02-01", "project": "P1"}
    return tables.with_types("bids", pd.DataFrame({"unit_price_usd": prices, "row": range(2, 2 + len(prices)),
                                                   **usual, **columns}))


def book(table: pd.DataFrame, given: Assumptions, left_out: tuple[int, ...] = ()) -> pricebook.PriceBook:
    matches = pricebook.suggest(table, given.table("pay_items"))
    return pricebook.make(table, matches, given, "2026Q1", left_out)


# reading

def test_headings_and_words_of_the_trade_are_read() -> None:
    found = read({})
    assert found.table.drop(columns="row").iloc[0].tolist() == [
        "Diamond grinding", 1000, "sqyd", 6.5, "Ash 0", pd.Timestamp("2024-05-01"), "P1", True]
    assert found.problems["severity"].tolist() == ["warn"] and "'SY' as sqyd" in found.problems["message"].iloc[0]


# Factors: NIST Handbook 44 (2024), Appendix C: 1 ft = 0.3048 m and 1 yd = 3 ft exactly.
@pytest.mark.parametrize(("word", "ours", "size"), [
    ("SQYD", "sqyd", 1), ("square yard", "sqyd", 1), ("S.Y.", "sqyd", 1), ("SF", "sqft", 1), ("L.F.", "ft", 1),
    ("Ea.", "each", 1), ("CY", "cuyd", 1), ("LS", "lump sum", 1), ("m2", "sqyd", 1 / 0.9144**2),
    ("m²", "sqyd", 1 / 0.9144**2), ("m", "ft", 1 / 0.3048), ("m3", "cuyd", 1 / 0.9144**3), ("Mile", "ft", 5280)])
def test_units_are_converted_with_quantity_and_price(word: str, ours: str, size: float) -> None:
    found = read({"Unit": word, "Qty": "250", "Unit price": "12"})
    row = found.table.iloc[0]
    assert row["unit"] == ours
    assert row["quantity"] == pytest.approx(250 * size, rel=1e-12)
    assert row["unit_price_usd"] * row["quantity"] == pytest.approx(3000)  # the amount is what it was
    assert (size != 1) == found.problems["message"].str.contains("were converted").any()


@pytest.mark.parametrize(("row", "column", "told"), [
    ({"Unit price": ""}, "Unit price", "is empty"), ({"Unit price": "-3"}, "Unit price", "outside the limits"),
    ({"Unit price": "cheap"}, "Unit price", "not a number"), ({"Unit price": "0"}, "Unit price", "price of zero"),
    ({"Qty": "0"}, "Qty", "quantity of zero"), ({"Qty": ""}, "Qty", "is empty"),
    ({"Unit": "furlong"}, "Unit", "not a word that is known"), ({"Unit": ""}, "Unit", "is empty"),
    ({"Letting": "2026-07-01"}, "Letting", "after today"), ({"Letting": "soon"}, "Letting", "not a day"),
    ({"Bid item": ""}, "Bid item", "is empty")])
def test_a_bad_bid_is_stopped_and_the_rest_goes_on(row: dict[str, str], column: str, told: str) -> None:
    found = read(row, {})
    stops = found.problems[found.problems["severity"] == "stop"]
    assert found.table["row"].tolist() == [3]
    assert stops[["row", "column"]].to_numpy().tolist() == [[2, column]]
    assert told in stops["message"].iloc[0] and stops["accepted"].iloc[0]


def test_a_bid_told_twice_counts_once() -> None:
    same = {"Bidder": "Ash"}
    found = read(same, same, {**same, "Unit price": "7"}, {"Bidder": ""}, {"Bidder": ""})
    assert found.table["row"].tolist() == [2, 4, 5, 6]
    told = found.problems.dropna(subset="row")
    assert told[["severity", "row"]].to_numpy().tolist() == [["stop", 3], ["warn", 4], ["warn", 6]]


def test_a_dollar_sign_is_left_off_and_said() -> None:
    found = read({"Unit price": "$1,250.50"}, {"Unit price": "$ 7"}, {"Unit price": "$cheap"})
    assert found.table["unit_price_usd"].tolist() == [1250.5, 7]
    assert found.problems["message"].str.contains("2 prices were read without their dollar sign").any()
    assert (found.problems["severity"] == "stop").sum() == 1


def test_missing_columns_are_refused_together() -> None:
    with pytest.raises(UnusableInput) as caught:
        read_bids(open_table("bids.csv", b"item,colour\nGrinding,red\n", table="bids"))
    assert [problem.column for problem in caught.value.problems] == ["quantity", "unit", "unit_price_usd", "bid_date"]


# matching

@pytest.mark.parametrize(("text", "unit", "pay_item"), [
    ("Diamond Grinding Conc. Pvmt", "sqyd", "diamond_grinding"), ("Diamnod griding", "sqyd", "diamond_grinding"),
    ("PCC Pavement Repair, Full-Depth", "sqyd", "full_depth_panel"), ("PDR", "sqyd", "partial_depth_patch"),
    ("C&G, R&R", "ft", "curb_and_gutter"), ("Adjust MH to grade", "each", "casting_adjustment"),
    ("Clean and fill cracks", "ft", "crack_filling"), ("Reseal jts.", "ft", "joint_resealing"),
    ("Pavement reconstruction, 8 in PCC", "sqyd", "pavement_reconstruction"),
    # no suggestion: another unit, two items in one, another work, a part of the work
    ("Diamond grinding", "ft", ""), ("Crack and joint sealing", "ft", ""), ("Full and partial depth repair", "sqyd", ""),
    ("Sidewalk panel replacement", "sqyd", ""), ("Remove concrete pavement", "sqyd", ""), ("Mobilization", "lump sum", ""),
    # sealant by the gallon is a material, by the foot a joint done
    ("Joint sealant", "gal", "sealant"), ("Crack sealant", "gal", "sealant"), ("Joint sealant", "ft", "joint_resealing"),
    ("Joint sealant, asphalt pavement", "gal", ""),
    # words of the trade
    ("DBR", "each", "dowel_bar_retrofit"), ("Cross stitch cracks", "each", "cross_stitching"),
    ("Slabjacking", "sqyd", "slab_jacking"), ("Dowel bars", "each", "dowel"), ("Tie bars", "each", "tie_bar"),
    ("Dowel bar baskets", "each", "basket_dowel"),
    ("Tie bars placed, new pavement", "each", "tie_bar_placed"), ("ADA ramp", "each", "curb_ramp"),
    ("Remove & replace curb ramps", "each", "curb_ramp"), ("Saw cut concrete", "ft", "saw_cut"),
    ("Sawing, full depth", "ft", "saw_cut"), ("Full depth repair, saw cut only", "ft", "saw_cut"),
    ("Remove and replace concrete pavement", "sqyd", "full_depth_panel"), ("R&R PCC pvmt", "sqyd", "full_depth_panel"),
    ("Remove and replace curb and gutter", "ft", "curb_and_gutter"),
    ("Full depth repair incl. saw cut and base", "sqyd", "full_depth_panel"),
    # asphalt, a part of the work, removal without anything new, or work that does not last
    ("Asphalt partial depth patch", "sqft", ""), ("Full depth repair, saw cut only", "sqyd", ""),
    ("Panel replacement without base", "sqyd", ""), ("Curb and gutter removal", "ft", ""),
    ("Sidewalk curb ramp removal", "each", ""), ("Temporary curb ramp", "each", ""), ("Temp. striping", "ft", ""),
    ("Saw cut asphalt", "ft", ""), ("Remove and replace concrete sidewalk", "sqyd", ""),
    ("Remove and replace asphalt pavement", "sqyd", ""), ("Dowel bar retrofit, removal", "each", "")])
def test_a_match_is_suggested_by_words_and_unit(defaults: Assumptions, text: str, unit: str, pay_item: str) -> None:
    found = pricebook.suggest(bids(1.0, item=text, unit=unit), defaults.table("pay_items")).iloc[0]
    assert found["pay_item"] == pay_item
    assert found["because"]


def test_every_pay_item_has_words_of_a_bid(defaults: Assumptions) -> None:
    words = pd.read_csv(reader.FOLDER / "bid_items.csv")
    assert set(words["pay_item"]) == set(defaults.table("pay_items").index)


def test_a_match_in_another_unit_is_not_used_and_said(defaults: Assumptions) -> None:
    table = bids(6.0, 7.0, unit="ft")
    matches = pricebook.suggest(table, defaults.table("pay_items")).assign(pay_item="diamond_grinding")
    made = pricebook.make(table, matches, defaults, "2026Q1")
    assert made.prices.empty and made.bids.empty
    assert [note.message for note in made.notes] == [
        "'Diamond grinding' in ft is no price of 'Diamond grinding, slurry with it' in sqyd: 'ft' is a unit of length and 'sqyd' of area; "
        "its bids are not used", "2 of 2 bids have no confirmed pay item and are not used"]


def test_prices_come_in_the_unit_of_the_pay_item(defaults: Assumptions) -> None:
    # 900 sq ft at $1 is 100 sq yd at $9
    row = book(bids(*[1.0] * 5, quantity=900.0, unit="sqft"), defaults).bids.iloc[0]
    assert (row["quantity"], row["unit_price_usd"]) == pytest.approx((100, 9))


# index and escalation

# NHCCI as published by FHWA, 2003 Q1 = 1, quoted to four decimals by the Eno Center for Transportation,
# "Highway construction costs continue to rise at 9.6 % annual rate" (2024).
@pytest.mark.parametrize(("quarter", "published"), [
    ("2020Q4", 1.8601), ("2021Q1", 1.9112), ("2021Q2", 2.0363), ("2021Q3", 2.1075), ("2021Q4", 2.1821),
    ("2022Q1", 2.2841), ("2022Q2", 2.5555), ("2022Q3", 2.7820), ("2022Q4", 2.7840), ("2023Q1", 2.8426)])
def test_the_cost_index_is_the_published_one(defaults: Assumptions, quarter: str, published: float) -> None:
    assert pricebook.index_series(defaults)[quarter].round(4) == published


def test_the_largest_quarter_on_record_is_2022q2(defaults: Assumptions) -> None:
    # Bureau of Transportation Statistics: +11.9 % in 2022 Q2, the largest quarterly rise on record
    rise = pricebook.index_series(defaults).pct_change()
    assert rise.idxmax() == "2022Q2"
    assert rise.max() == pytest.approx(0.119, abs=5e-4)


def test_a_price_is_raised_by_the_index(defaults: Assumptions) -> None:
    table = bids(100.0, 100.0, bid_date=["2010-05-15", "2026-03-31"])
    index = pricebook.index_series(defaults)
    made = book(table, defaults).bids
    assert made["quarter"].tolist() == ["2010Q2", "2026Q1"]
    assert made["price_usd"].tolist() == pytest.approx([100 * index["2026Q1"] / index["2010Q2"], 100])


def test_days_outside_the_index_take_its_end_and_say_so(defaults: Assumptions) -> None:
    made = book(bids(100.0, 100.0, 100.0, bid_date=["2001-01-01", "2025-12-31", "2026-04-01"]), defaults)
    index = pricebook.index_series(defaults)
    assert made.bids["quarter"].tolist() == ["2003Q1", "2025Q4", "2026Q1"]
    assert made.bids["price_usd"].iloc[0] == pytest.approx(100 * index["2026Q1"])  # the index of 2003Q1 is 1
    assert [note.message.split(";")[0] for note in made.notes] == [
        "1 bids are from before the cost index, which goes from 2003Q1 to 2026Q1",
        "1 bids are from after the cost index, which goes from 2003Q1 to 2026Q1"]


def test_a_quarter_without_index_is_refused(defaults: Assumptions) -> None:
    table = bids(1.0)
    with pytest.raises(BadAssumption, match="no quarter '2031Q1'"):
        pricebook.make(table, pricebook.suggest(table, defaults.table("pay_items")), defaults, "2031Q1")


# figures

def test_low_likely_and_high_are_percentiles(defaults: Assumptions) -> None:
    # Twelve measurements of the NIST e-Handbook, 7.2.6.2 (from memory).  By hand: the 10th percentile lies at place
    # 1 + 0.1 x 11 = 2.1 of the sorted values, 95.0925 + 0.1 x 0.0140; the 90th at 10.9, 95.1937 + 0.9 x 0.0022;
    # the median between 95.1567 and 95.1591.
    values = (95.1772, 95.1567, 95.1937, 95.1959, 95.1442, 95.0610, 95.1591, 95.1195, 95.1065, 95.0925, 95.1990, 95.1682)
    row = book(bids(*values), defaults).prices.iloc[0]
    assert row[["low_usd", "likely_usd", "high_usd"]].tolist() == pytest.approx([95.0939, 95.1579, 95.19568], abs=1e-9)
    assert row["low_usd"] == pytest.approx(np.percentile(values, 10))
    assert (row["bids"], row["projects"]) == (12, 1)
    assert "all of one project" in row["note"]


def test_the_price_by_quantity_is_a_weighted_median() -> None:
    # 6 in all; the two cheapest make 2, the third passes 3
    assert by_quantity(np.array([3.0, 1.0, 2.0]), np.array([4.0, 1.0, 1.0])) == 3
    assert by_quantity(np.array([3.0, 1.0, 2.0]), np.array([1.0, 5.0, 1.0])) == 1


def test_too_few_bids_give_words_instead_of_a_number(defaults: Assumptions) -> None:
    row = book(bids(5.0, 6.0, 7.0, 8.0), defaults).prices.iloc[0]
    assert row[["low_usd", "likely_usd", "high_usd", "by_quantity_usd"]].isna().all()
    assert row["note"] == "too few bids: 4, and 5 are needed"
    four = reader.overlay(defaults, {"bid_rules": {"least_bids": 4}})
    assert book(bids(5.0, 6.0, 7.0, 8.0), four).prices["likely_usd"].tolist() == [6.5]


def test_modified_scores_by_hand() -> None:
    # Example after Iglewicz and Hoaglin 1993 (values from memory).  Median 2.45; deviations .35 .15 .05 .05 .15 .35 .15
    # .15 5.75 5.85, their median .15; 0.6745 x 5.75 / 0.15 = 25.856 and 0.6745 x 5.85 / 0.15 = 26.306.
    values = np.array([2.1, 2.6, 2.4, 2.5, 2.3, 2.1, 2.3, 2.6, 8.2, 8.3])
    scores = pricebook.modified_scores(values)
    assert scores[8:] == pytest.approx([25.8558, 26.3055], abs=1e-4)
    assert np.flatnonzero(np.abs(scores) > 3.5).tolist() == [8, 9]
    # an ordinary z-score names neither: their mean and deviation are pulled along
    assert np.max(np.abs(values - values.mean()) / values.std(ddof=1)) < 3.5


def test_where_most_prices_are_alike_no_outlier_is_told(defaults: Assumptions) -> None:
    assert np.isnan(pricebook.modified_scores(np.log([6.0, 6.0, 6.0, 6.0, 60.0]))).all()
    made = book(bids(6.0, 6.0, 6.0, 6.0, 60.0), defaults)
    assert not made.bids["outlier"].any()
    assert "over half of the prices are alike" in made.prices["note"].iloc[0]


def test_an_outlier_is_named_and_stays_until_it_is_left_out(defaults: Assumptions) -> None:
    table = bids(5.0, 5.5, 6.0, 6.5, 7.0, 60.0)
    made = book(table, defaults)
    assert made.bids.loc[made.bids["outlier"], "row"].tolist() == [7]
    # usual: the median of six, 6.25; logarithms off it, sorted: .0392 .0408 .113 .128 .223 2.262, median .1206
    scores = np.log(np.array([5, 5.5, 6, 6.5, 7, 60]) / 6.25)
    expected = 0.6745 * (scores[5] - np.median(scores)) / np.median(np.abs(scores - np.median(scores)))
    assert made.bids["score"].iloc[5] == pytest.approx(expected)
    assert made.bids["why"].iloc[5].startswith("9.6 times the usual price of $6.25")
    assert made.prices["likely_usd"].iloc[0] == 6.25 and "1 outlier among the bids" in made.prices["note"].iloc[0]
    without = book(table, defaults, (7,))
    assert without.prices[["bids", "likely_usd"]].iloc[0].tolist() == [5, 6]
    assert without.bids["left_out"].tolist() == [False] * 5 + [True]
    assert without.bids["score"].tolist() == made.bids["score"].tolist()
    assert without.prices["note"].iloc[0].startswith("1 left out")


def test_the_line_finds_an_economy_of_scale_that_an_outlier_does_not_move(defaults: Assumptions) -> None:
    quantity = np.array([100, 200, 400, 800, 1600, 3200, 6400, 12800, 25600, 51200], float)
    price = 40 * quantity ** -0.2
    line = pricebook.power_line(quantity, price, 8)
    assert line is not None
    assert (line.exponent, line.at_one, line.bids) == pytest.approx((-0.2, 40, 10))
    price[9] *= 30
    line = pricebook.power_line(quantity, price, 8)
    assert line is not None
    # by another way: the median of all pairwise slopes
    x, y = np.log(quantity), np.log(price)
    slopes = [(y[b] - y[a]) / (x[b] - x[a]) for a in range(10) for b in range(a + 1, 10)]
    assert line.exponent == pytest.approx(np.median(slopes)) == pytest.approx(-0.2)
    assert np.polyfit(x, y, 1)[0] > 0  # least squares would say that larger jobs cost more
    made = book(bids(*price, quantity=quantity), defaults)
    assert made.prices["exponent"].iloc[0] == pytest.approx(-0.2)
    assert "twice the quantity, -13 % in price" in made.prices["note"].iloc[0]  # 2 ** -0.2 = 0.871


def test_a_line_needs_bids_and_quantities() -> None:
    assert pricebook.power_line(np.arange(1.0, 8.0), np.ones(7), 8) is None
    assert pricebook.power_line(np.tile([1.0, 2.0], 5), np.ones(10), 8) is None


# the city's own

def test_prices_are_taken_over_in_dollars_of_the_price_year(defaults: Assumptions) -> None:
    table = bids(30.0, 31.0, 32.0, 33.0, 34.0, project=["a", "b", "c", "d", "e"])
    made = book(table, defaults)
    own = pricebook.city_values(made, ["diamond_grinding"], defaults)
    # The default price year is 2023 at 4 %: 1.04^3 = 1.124864; percentiles 30.4, 32, 33.6; above the default's most.
    assert {key: float(own[key]) for key in list(own)[:3]} == {
        "diamond_grinding": 28.45, "diamond_grinding low": 27.03, "diamond_grinding high": 29.87}
    city = reader.overlay(defaults, {"pay_items": own})
    row = city.table("pay_items").loc["diamond_grinding"]
    assert row["origin"] == "city"
    assert row["note"] == ("default 6, 2 to 14; median of 5 bids, 32.00 in dollars of 2026Q1; laid down in dollars of "
                           "2023, from which the plan raises it")
    one = pd.DataFrame({"diamond_grinding": [1.0]})
    costs = estimate.price(one, [2026], city, "panel survey").iloc[0] / float(estimate.markup(city, "panel survey"))
    assert costs.tolist() == pytest.approx([30.4 * 0.9, 32.0, 33.6 * 1.1], abs=0.007)  # the bids again; 10 % on quantities
    assert made.prices["default_usd"].iloc[0] == pytest.approx(6 * 1.124864)


def test_a_price_that_the_book_lacks_is_not_taken(defaults: Assumptions) -> None:
    made = book(bids(5.0), defaults)
    for key in ("diamond_grinding", "striping"):
        with pytest.raises(BadAssumption, match=f"no price for '{key}'"):
            pricebook.city_values(made, [key], defaults)


def test_no_bids_make_an_empty_book(defaults: Assumptions) -> None:
    made = book(tables.empty("bids"), defaults)
    assert made.prices.empty and made.bids.empty and made.notes == []


# the invented bids

def test_the_invented_bids_show_what_there_is_to_see(defaults: Assumptions) -> None:
    found = reading.read_bids(reading.open_table("bids.csv", DEMO.read_bytes(), table="bids"))
    assert len(found.table) == 324 and not (found.problems["severity"] == "stop").any()
    matches = pricebook.suggest(found.table, defaults.table("pay_items"))
    assert matches.loc[matches["because"].str.contains("cannot be"), "unit"].tolist() == ["ft"]
    made = pricebook.make(found.table, matches, defaults, "2026Q1")
    assert made.bids.loc[made.bids["outlier"], "pay_item"].tolist() == ["casting_adjustment", "crack_filling"]
    priced = made.prices.dropna(subset="likely_usd")
    assert len(priced) == 8 and made.prices["pay_item"].tolist()[-1] == "striping"
    assert priced["likely_usd"].between(priced["default_low_usd"], priced["default_high_usd"]).all()
    assert (priced["likely_usd"] / priced["default_usd"]).between(0.75, 1.25).all()
