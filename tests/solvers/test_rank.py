"""The simple rules: worked examples, and that no budget is ever broken."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import sparse

from rehab.solvers import choice, compare, rank

# An invented network of six blocks and three years; its optimum, by enumeration, is 93.938.
CONDITION, LOSS = np.array([78, 66, 58, 49, 38, 24.0]), np.array([1.5, 2, 2.5, 3, 3, 2])
AREA, TRAFFIC = np.array([1000, 1500, 1200, 2000, 900, 1600.0]), np.array([20, 35, 10, 40, 15, 25.0])
BUDGET = np.full(3, 100_000.0)


@pytest.fixture(scope="module")
def six() -> dict[str, np.ndarray]:
    made = compare.alternatives(CONDITION, LOSS, AREA, TRAFFIC, years=3, horizon=15)
    cost = made.cost.toarray()
    price = cost.sum(axis=1)
    year = np.where(price > 0, cost.argmax(axis=1), 0)
    order = np.lexsort((-price, year, made.group))  # in each block and year the heaviest work first
    table = {"value": made.value.round(3), "cost": cost, "price": price, "group": made.group, "year": year,
             "badness": -(CONDITION[made.group] - LOSS[made.group] * year)}
    return {name: column[order] for name, column in table.items()}


def named(six: dict[str, np.ndarray], rows: np.ndarray) -> dict[str, tuple[int, float]]:
    """Block to year (1 to 3) and price of the work chosen."""
    return {"ABCDEF"[six["group"][row]]: (int(six["year"][row]) + 1, float(six["price"][row]))
            for row in rows if six["price"][row]}


# The choices below were worked out by hand from the table of alternatives, by the rules as stated.


def test_worst_first_of_six_blocks(six: dict[str, np.ndarray]) -> None:
    rows = rank.worst_first(six["badness"], six["value"], six["cost"], six["group"], BUDGET, six["year"])
    assert six["value"][rows].sum() == pytest.approx(93.161, abs=1e-9)
    # year 1: F (192,000) is too dear, E in full-depth repair, D too dear, C; year 2: D; year 3: B and A
    assert named(six, rows) == {"E": (1, 40_500), "C": (1, 54_000), "D": (2, 90_000), "B": (3, 67_500),
                                "A": (3, 12_000)}


def test_best_ratio_of_six_blocks(six: dict[str, np.ndarray]) -> None:
    rows = rank.by_ratio(six["value"], six["price"], six["cost"], six["group"], BUDGET)
    assert six["value"][rows].sum() == pytest.approx(81.221, abs=1e-9)
    assert named(six, rows) == {"D": (1, 90_000), "B": (2, 18_000), "A": (2, 12_000), "E": (2, 40_500),
                                "C": (2, 14_400)}


def test_incremental_of_six_blocks(six: dict[str, np.ndarray]) -> None:
    rows = rank.incremental(six["value"], six["price"], six["cost"], six["group"], BUDGET)
    assert six["value"][rows].sum() == pytest.approx(90.146, abs=1e-9)
    # as by ratio, but B gives back its patching of year 2 for full-depth repair in year 3
    assert named(six, rows) == {"D": (1, 90_000), "B": (3, 67_500), "A": (2, 12_000), "E": (2, 40_500),
                                "C": (2, 14_400)}


def test_the_best_ratio_alone_is_not_the_best_design() -> None:
    # Newnan, Engineering Economic Analysis, examples 16-4 and 16-5: designs I, II, IV; present worth of costs and
    # benefits in $10,000; increments I to II 1.36, II to IV 0.35; design I has the best ratio, 1.46
    cost, value = np.array([0, 13_953, 16_812, 18_556.0]), np.array([0, 20_342, 24_217, 24_822.0])
    group, matrix = np.zeros(4, int), cost[:, None]
    for limit, greedy, stepwise in ((13_000, 0, 0), (16_000, 1, 1), (17_000, 1, 2), (19_000, 1, 3)):
        assert rank.by_ratio(value, cost, matrix, group, [limit]).tolist() == [greedy]
        assert rank.incremental(value, cost, matrix, group, [limit]).tolist() == [stepwise]


def test_increments_of_five_systems() -> None:
    # five exclusive storm drains of a textbook exercise, $1,000: increments 0-1 8.0, 1-3 2.0, 3-5 1.25, 3-4 0.33
    cost, value = np.array([0, 1000, 4000, 4000, 10000, 12000.0]), np.array([0, 8000, 8000, 14000, 16000, 24000.0])
    for limit, expected in ((999, 0), (1000, 1), (3999, 1), (4000, 3), (9999, 3), (11999, 4), (12000, 5)):
        assert rank.incremental(value, cost, cost[:, None], np.zeros(6, int), [limit]).tolist() == [expected]


def test_best_ratio_of_a_published_capital_budget() -> None:
    # ten projects, ten resources, optimum 8706.1: Petersen, "Computational experience with variants of the Balas
    # algorithm applied to the selection of R&D projects", Management Science 13(9), 1967 (title from memory); the value
    # of the rule, 8336.9, was worked out apart from this project
    value = np.array([600.1, 310.5, 1800, 3850, 18.6, 198.7, 882, 4200, 402.5, 327])
    cost = np.array([
        [20, 5, 100, 200, 2, 4, 60, 150, 80, 40], [20, 7, 130, 280, 2, 8, 110, 210, 100, 40],
        [60, 3, 50, 100, 4, 2, 20, 40, 6, 12], [60, 8, 70, 200, 4, 6, 40, 70, 16, 20],
        [60, 13, 70, 250, 4, 10, 60, 90, 20, 24], [60, 13, 70, 280, 4, 10, 70, 105, 22, 28],
        [5, 2, 20, 100, 2, 5, 10, 60, 0, 0], [45, 14, 80, 180, 6, 10, 40, 100, 20, 0],
        [55, 14, 80, 200, 6, 10, 50, 140, 30, 40], [65, 14, 80, 220, 6, 10, 50, 180, 30, 50.0]]).T
    limit = np.array([450, 540, 200, 360, 440, 480, 200, 360, 440, 480.0])
    worth, uses = np.append(value, np.zeros(10)), np.vstack([cost, np.zeros((10, 10))])
    rows = rank.by_ratio(worth, uses @ (1 / limit), uses, np.tile(np.arange(10), 2), limit)
    assert worth[rows].sum() == pytest.approx(8336.9, abs=1e-9)
    best = choice.select(worth, uses, np.tile(np.arange(10), 2), limit)
    assert best.value == pytest.approx(8706.1, abs=1e-9)


def test_worst_first_takes_what_fits_and_each_group_once() -> None:
    badness = [5, 5, 9, 9, 1, 7, 7]
    cost = np.array([[4], [1], [6], [3], [1], [2], [9]], float)
    group, step = [0, 0, 1, 1, 2, 0, 1], [1, 1, 1, 1, 1, 2, 2]
    # step 1: group 1 is the worst, its first costs 6 of 5, its second fits; then group 0 with 1 of 2 left; then group 2
    assert rank.worst_first(badness, np.ones(7), cost, group, [5], step).tolist() == [1, 3, 4]


def test_an_upgrade_that_frees_money_serves_later_steps() -> None:
    # group 0 first takes resource 0 at the best ratio, then moves to resource 1; group 1, turned to later, takes its place
    value, price = [0, 10, 14, 0, 1], [0, 1, 2, 0, 1]
    cost = [[0, 0], [1, 0], [0, 2], [0, 0], [1, 0]]
    assert rank.by_ratio(value, price, cost, [0, 0, 0, 1, 1], [1, 2]).tolist() == [1, 3]
    assert rank.incremental(value, price, cost, [0, 0, 0, 1, 1], [1, 2]).tolist() == [2, 4]


def test_a_gain_without_extra_price_comes_first() -> None:
    # row 2 costs as much as row 1 and gains more; once row 1 has been taken (row 2 does not fit), nothing is paid more
    value, cost = [0, 3, 4], np.array([[0, 0], [2, 0], [0, 2]], float)
    assert rank.incremental(value, [0, 2, 2], cost, [0, 0, 0], [2, 2]).tolist() == [2]
    assert rank.incremental(value, [0, 2, 2], cost, [0, 0, 0], [2, 1]).tolist() == [1]


def test_floors_are_not_known() -> None:
    # the second resource asks for a use of at least 3 (written as a negative cost); the rules neither see nor mind it
    cost = [[0, 0], [2, 0], [0, 0], [2, -3]]
    assert rank.by_ratio([0, 5, 0, 4], [0, 2, 0, 2], cost, [0, 0, 1, 1], [2, -3]).tolist() == [1, 2]
    assert rank.by_ratio([0, 5, 0, 4], [0, 2, 0, 2], cost, [0, 0, 1, 1], [4, -3]).tolist() == [1, 3]


def test_a_credit_is_not_given_back_if_others_live_on_it() -> None:
    # row 1 earns 2 of the first resource, row 3 needs them; row 2 would be worth more to group 0, but earns nothing
    cost = [[0, 0], [-2, 1], [0, 2], [0, 0], [2, 0]]
    assert rank.incremental([0, 5, 6, 0, 4], [0, 1, 2, 0, 1], cost, [0, 0, 0, 1, 1], [0, 2]).tolist() == [1, 4]


@st.composite
def cases(draw: st.DrawFn) -> dict[str, np.ndarray]:
    sizes = draw(st.lists(st.integers(1, 4), min_size=1, max_size=6))
    n, resources = sum(sizes), draw(st.integers(1, 3))
    figures = st.integers(0, 9)

    def column(of: st.SearchStrategy[int], count: int) -> np.ndarray:
        return np.array(draw(st.lists(of, min_size=count, max_size=count)), float)

    made = {"value": column(st.integers(-2, 20), n), "cost": column(figures, n * resources).reshape(n, resources),
            "group": np.array(draw(st.permutations(np.repeat(np.arange(len(sizes)), sizes).tolist()))),
            "budget": column(st.integers(0, 25), resources), "badness": column(figures, n), "step": column(figures, n)}
    nothing = np.unique(made["group"], return_index=True)[1]
    made["value"][nothing], made["cost"][nothing] = 0, 0
    return {**made, "price": made["cost"].sum(axis=1)}


def all_rules(case: dict[str, np.ndarray], must: np.ndarray | None = None, cost: object = None) -> list[np.ndarray]:
    value, group, budget = case["value"], case["group"], case["budget"]
    matrix = case["cost"] if cost is None else cost
    return [rank.worst_first(case["badness"], value, matrix, group, budget, case["step"], must),
            rank.by_ratio(value, case["price"], matrix, group, budget, must),
            rank.incremental(value, case["price"], matrix, group, budget, must)]


@settings(max_examples=150, deadline=None)
@given(cases())
def test_budgets_hold_and_the_optimum_is_never_below_a_rule(case: dict[str, np.ndarray]) -> None:
    best = choice.select(case["value"], case["cost"], case["group"], case["budget"])
    assert best.status == "optimal"
    for rows, again in zip(all_rules(case), all_rules(case, cost=sparse.coo_array(case["cost"])), strict=True):
        assert (rows == again).all()
        assert (case["group"][rows] == np.unique(case["group"])).all()
        assert (case["cost"][rows].sum(axis=0) <= case["budget"]).all()
        assert case["value"][rows].sum() <= best.upper_bound + 1e-9
        assert case["value"][rows].sum() <= best.value + best.gap * abs(best.upper_bound) + 1e-9


@settings(max_examples=100, deadline=None)
@given(cases(), st.data())
def test_must_rows_are_taken_and_counted(case: dict[str, np.ndarray], data: st.DataObject) -> None:
    must = np.zeros(len(case["value"]), bool)
    must[data.draw(st.lists(st.sampled_from(range(len(must))), unique_by=lambda row: case["group"][row]))] = True
    forced = case["cost"][must].sum(axis=0)
    for rows in all_rules(case, must):
        assert np.isin(np.flatnonzero(must), rows).all()
        # what is over budget is so by the forced rows alone
        assert (case["cost"][rows].sum(axis=0) <= np.maximum(case["budget"], forced)).all()


@settings(max_examples=100, deadline=None)
@given(cases())
def test_no_step_is_left_that_would_fit_where_groups_hold_nothing(case: dict[str, np.ndarray]) -> None:
    rows = rank.by_ratio(case["value"], case["price"], case["cost"], case["group"], case["budget"])
    left = case["budget"] - case["cost"][rows].sum(axis=0)
    held = dict(zip(case["group"][rows].tolist(), rows.tolist(), strict=True))
    for row in np.flatnonzero(case["value"] > 0):
        if case["value"][held[case["group"][row]]] <= 0:
            assert (case["cost"][row] > left)[case["cost"][row] > 0].any()


def test_the_rules_on_a_city_are_below_the_optimum_and_repeat() -> None:
    made = compare.city(300, years=5)
    price = made.cost.sum(axis=1)
    best = choice.select(*made, gap=1e-3, seconds=30.0)
    for rule in (rank.by_ratio, rank.incremental):
        rows = rule(made.value, price, made.cost, made.group, made.budget)
        assert (rows == rule(made.value, price, made.cost, made.group, made.budget)).all()
        assert (made.cost[rows].sum(axis=0) <= made.budget * (1 + 1e-9)).all()
        assert made.value[rows].sum() <= best.value + best.gap * best.upper_bound


def test_nothing_to_choose() -> None:
    none = np.zeros(0)
    assert not len(rank.by_ratio(none, none, np.zeros((0, 2)), none.astype(int), [1, 1]))
    assert not len(rank.worst_first(none, none, np.zeros((0, 2)), none.astype(int), [1, 1], none))
    # a group without "nothing" of which nothing fits is missing
    assert rank.incremental([5, 2], [3, 1], [[3], [1]], [0, 1], [1]).tolist() == [1]


@pytest.mark.parametrize(("change", "message"), [
    ({"value": [1, np.nan]}, r"value\[1\]"), ({"cost": [[1], [np.inf]]}, r"cost\[1, 0\]"),
    ({"budget": [np.nan]}, r"budget\[0\]"), ({"group": [0.5, 1]}, "integers"), ({"group": [0]}, "2 integers"),
    ({"cost": [[1]]}, "shape"), ({"price": [1, -1]}, r"price\[1\]"), ({"price": [1]}, "price"),
    ({"must": [True]}, "must"), ({"group": [0, 0], "must": [True, True]}, "rows 0 and 1"),
])
def test_bad_input_is_named(change: dict[str, object], message: str) -> None:
    case = {"value": [1, 2], "price": [1, 1], "cost": [[1], [1]], "group": [0, 1], "budget": [5], **change}
    with pytest.raises(ValueError, match=message):
        rank.incremental(**case)  # type: ignore[arg-type]
