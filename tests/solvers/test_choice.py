"""The choice of one alternative per group: known optima, reference solvers, and properties."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, sparse

from rehab.solvers import choice, compare
from rehab.solvers.choice import finish

# Khan, Li, Manning, Akbar: "Solving the knapsack problem for adaptive multimedia systems", Studia Informatica
# Universalis 2(1), 2002, 161-182, instances I01 (the first five groups, budgets 25, optimum 173) and I02 (all ten,
# budgets 50, optimum 364).  Per alternative: value | use of the five resources.
KHAN = """
7|1 3 1 1 6; 17|1 4 9 9 3; 25|4 3 9 8 2; 35|4 5 8 0 6; 36|6 8 3 0 7
9|0 0 4 4 2; 10|0 0 1 8 7; 10|1 1 6 0 6; 39|9 1 2 2 4; 44|8 7 0 8 2
15|2 0 5 5 5; 19|2 3 2 6 2; 20|3 1 6 4 7; 44|6 7 5 6 9; 50|9 5 9 2 2
5|0 1 3 8 0; 25|2 2 7 0 8; 32|5 5 6 1 9; 37|6 3 6 9 1; 37|7 9 7 2 3
24|4 0 7 0 2; 30|4 8 9 0 0; 32|5 2 7 2 0; 43|5 5 9 5 2; 44|9 2 2 2 3
17|1 6 0 4 0; 22|5 1 2 7 0; 31|5 2 7 9 9; 36|5 3 6 1 8; 41|5 7 9 9 6
15|0 2 6 5 5; 23|1 3 7 2 5; 25|2 2 6 1 9; 25|2 8 2 3 2; 27|6 3 4 9 4
25|0 9 5 0 2; 27|6 5 2 2 8; 34|8 2 5 9 4; 36|8 5 4 2 2; 42|6 2 9 0 3
24|5 3 4 2 9; 28|5 9 2 2 9; 33|3 4 9 7 7; 38|5 7 7 4 6; 44|7 7 6 0 8
13|0 5 4 5 1; 35|5 9 4 0 6; 38|8 8 2 1 0; 40|5 4 8 0 1; 42|9 4 8 7 8
"""


def khan(groups: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rows = [cell.split("|") for line in KHAN.split("\n")[1 : groups + 1] for cell in line.split(";")]
    value = np.array([float(row[0]) for row in rows])
    cost = np.array([[float(use) for use in row[1].split()] for row in rows])
    return value, cost, np.repeat(np.arange(groups), 5)


@pytest.mark.parametrize(("groups", "limit", "optimum", "relaxed"), [(5, 25, 173, 182.71), (10, 50, 364, 365.58)])
def test_published_instances(groups: int, limit: float, optimum: float, relaxed: float) -> None:
    value, cost, group = khan(groups)
    found = choice.select(value, cost, group, np.full(5, limit))
    assert found.status == "optimal"
    assert found.value == optimum
    assert value[found.chosen].sum() == optimum
    assert optimum <= found.upper_bound <= optimum * (1 + 2e-6)
    # the least Lagrangian bound is the published value of the linear relaxation
    dual = found.prices @ np.full(5, limit) + sum(
        (value - cost @ found.prices)[group == label].max() for label in range(groups))
    assert dual == pytest.approx(relaxed, abs=0.005)


# An invented network of six blocks and three years; figures worked out by enumeration of all combinations.
SIX = {"condition": [78, 66, 58, 49, 38, 24], "loss": [1.5, 2, 2.5, 3, 3, 2],
       "area": [1000, 1500, 1200, 2000, 900, 1600], "traffic": [20, 35, 10, 40, 15, 25]}


def six_blocks() -> compare.Instance:
    return compare.alternatives(*(np.array(column, float) for column in SIX.values()), years=3, horizon=15)


def test_six_blocks_have_the_benefits_worked_out_by_hand() -> None:
    made = six_blocks()
    first = made.value[(made.group == 0) & (made.value > 0)]
    # block A, partial-depth work: 12 points for 15, 14, 13 years x 1,000 sq yd x 20 hundred vehicles / 1e6
    assert first == pytest.approx([12 * 15 * 0.02, 12 * 14 * 0.02, 12 * 13 * 0.02])
    last = made.value[(made.group == 5) & (made.value > 0)]
    assert last == pytest.approx([48.720, 46.352, 43.856], abs=5e-4)


def test_six_blocks_reach_the_enumerated_optimum() -> None:
    made = six_blocks()
    value, budget = made.value.round(3), np.full(3, 100_000.0)
    found = choice.select(value, made.cost, made.group, budget)
    assert found.status == "optimal"
    assert found.value == pytest.approx(93.938, abs=1e-9)
    assert np.asarray(made.cost[found.chosen].sum(axis=0)).ravel() == pytest.approx([90_000, 94_500, 79_500])
    assert enumerate_all(value, made.cost.toarray(), made.group, budget) == pytest.approx(93.938, abs=1e-9)


def enumerate_all(value: np.ndarray, cost: np.ndarray, group: np.ndarray, budget: np.ndarray,
                  must: np.ndarray | None = None) -> float | None:
    """Greatest value over every combination, None if none fits."""
    best = None
    rows = [np.flatnonzero(group == label) for label in np.unique(group)]
    if must is not None:
        rows = [row[must[row]] if must[row].any() else row for row in rows]
    for combination in itertools.product(*rows):
        picked = list(combination)
        if (cost[picked].sum(axis=0) <= budget + 1e-9 * np.abs(budget)).all():
            worth = float(value[picked].sum())
            best = worth if best is None else max(best, worth)
    return best


@st.composite
def tiny(draw: st.DrawFn) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    sizes = draw(st.lists(st.integers(1, 4), min_size=1, max_size=5))
    resources = draw(st.integers(0, 3))
    n = sum(sizes)
    labels = draw(st.permutations(range(-3, len(sizes) - 3)))
    order = draw(st.permutations(range(n)))
    group = np.repeat(np.array(labels, dtype=np.int64), sizes)[list(order)]
    value = np.array(draw(st.lists(st.integers(-20, 60), min_size=n, max_size=n)), float) / 2
    uses = draw(st.lists(st.integers(0, 9), min_size=n * resources, max_size=n * resources))
    budget = np.array(draw(st.lists(st.integers(0, 30), min_size=resources, max_size=resources)), float)
    return value, np.array(uses, float).reshape(n, resources), group, budget


def assert_sound(found: choice.Choice, value: np.ndarray, cost: np.ndarray, group: np.ndarray,
                 budget: np.ndarray) -> None:
    assert (group[found.chosen] == np.unique(group)).all()
    assert (cost[found.chosen].sum(axis=0) <= budget * (1 + 1e-9)).all()
    assert found.value == pytest.approx(value[found.chosen].sum(), rel=1e-12, abs=1e-9)
    assert found.upper_bound >= found.value
    assert (found.prices >= 0).all()


@settings(max_examples=200, deadline=None)
@given(tiny(), st.randoms(use_true_random=False))
def test_agrees_with_enumeration(problem: tuple[np.ndarray, ...], random: object) -> None:
    value, cost, group, budget = problem
    must = np.zeros(len(value), bool)
    must[random.randrange(len(value))] = random.random() < 0.3  # type: ignore[attr-defined]
    best = enumerate_all(value, cost, group, budget, must)
    found = choice.select(value, cost, group, budget, must=must)
    if best is None:
        assert found.status == "infeasible"
        assert found.short is not None and 0 <= found.short < len(budget)
        assert not len(found.chosen)
        return
    assert found.status == "optimal"
    assert_sound(found, value, cost, group, budget)
    assert np.isin(np.flatnonzero(must), found.chosen).all()
    assert found.value == pytest.approx(best, rel=2e-6, abs=1e-9)
    assert found.upper_bound >= best - 1e-9


@settings(max_examples=200, deadline=None)
@given(tiny(), st.data())
def test_floors_agree_with_enumeration(problem: tuple[np.ndarray, ...], data: st.DataObject) -> None:
    value, cost, group, budget = problem
    turned = np.array(data.draw(st.lists(st.sampled_from([-1.0, 1.0]), min_size=cost.size, max_size=cost.size)))
    cost = cost * turned.reshape(cost.shape)  # some rows give what others take
    budget = np.where((cost < 0).any(axis=0), budget - data.draw(st.integers(0, 30)), budget)
    best = enumerate_all(value, cost, group, budget)
    found = choice.select(value, sparse.csr_array(cost) if data.draw(st.booleans()) else cost, group, budget)
    if best is None:
        assert found.status == "infeasible" and found.short is not None
        return
    assert found.status == "optimal"
    assert found.value == pytest.approx(best, rel=2e-6, abs=1e-9)
    assert (cost[found.chosen].sum(axis=0) <= budget + 1e-6).all()
    assert (found.prices >= 0).all() and found.upper_bound >= best - 1e-9
    by_prices = found.prices @ budget + sum((value - cost @ found.prices)[group == label].max()
                                            for label in np.unique(group))
    assert by_prices >= best - 1e-7  # whoever holds the prices can work the bound out


def test_a_floor_makes_the_choice_dearer_or_impossible() -> None:
    # two groups, one budget of 10; the second group must take at least 4 of it
    value, group = [0.0, 9, 0, 2, 3], [0, 0, 1, 1, 1]
    cost = np.array([[0.0, 0], [8, 0], [0, 0], [2, -2], [5, -5]])
    assert choice.select(value, cost[:, :1], group, [10.0]).value == 11
    floor = choice.select(value, cost, group, [10.0, -4.0])
    assert (floor.value, floor.status) == (3, "optimal")  # 8 + 5 is too much, so the first group goes without
    beyond = choice.select(value, cost, group, [10.0, -6.0])
    assert (beyond.status, beyond.short) == ("infeasible", 1)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000))
def test_a_choice_to_begin_with_is_never_lost(seed: int) -> None:
    made = compare.city(60, 4, seed, share=0.1)
    known = choice.select(*made, seconds=5.0, effort=4, seed=seed)
    again = choice.select(*made, start=known.chosen, effort=0)
    assert again.value >= known.value
    useless = choice.select(*made, start=np.arange(3), effort=0)  # not one of each group: the search goes without
    assert useless.value == choice.select(*made, effort=0).value


@settings(max_examples=60, deadline=None)
@given(tiny(), st.integers(0, 2), st.integers(1, 10))
def test_more_budget_never_lowers_the_value(problem: tuple[np.ndarray, ...], which: int, more: int) -> None:
    value, cost, group, budget = problem
    richer = budget.copy()
    richer[which % max(len(budget), 1) :][:1] += more
    before, after = choice.select(value, cost, group, budget), choice.select(value, cost, group, richer)
    if before.status == "optimal":
        assert after.status == "optimal"
        assert after.value >= before.value  # values are halves: far coarser than the gap


@settings(max_examples=60, deadline=None)
@given(tiny(), st.randoms(use_true_random=False))
def test_order_of_alternatives_and_storage_do_not_matter(problem: tuple[np.ndarray, ...], random: object) -> None:
    value, cost, group, budget = problem
    order = np.array(random.sample(range(len(value)), len(value)))  # type: ignore[attr-defined]
    one = choice.select(value, cost, group, budget)
    other = choice.select(value[order], sparse.csc_array(cost[order]), group[order], budget)
    assert one.status == other.status
    assert one.value == pytest.approx(other.value, nan_ok=True)


def network(seed: int, groups: int, alternatives: int, resources: int) -> tuple[np.ndarray, ...]:
    rng = np.random.default_rng(seed)
    n = groups * alternatives
    return (rng.normal(10, 5, n), rng.integers(1, 20, (n, resources)).astype(float),
            np.repeat(np.arange(groups), alternatives), np.full(resources, groups * 7.0))


@pytest.mark.parametrize("seed", range(8))
def test_agrees_with_the_integer_program_of_highs(seed: int) -> None:
    value, cost, group, budget = network(seed, 20, 6, 3)
    member = np.kron(np.eye(20), np.ones(6))
    reference = optimize.milp(
        -value, integrality=np.ones(len(value)), bounds=optimize.Bounds(0, 1), options={"mip_rel_gap": 1e-9},
        constraints=[optimize.LinearConstraint(cost.T, ub=budget), optimize.LinearConstraint(member, 1, 1)])
    found = choice.select(value, cost, group, budget, seconds=60.0)
    assert found.status == "optimal"
    assert_sound(found, value, cost, group, budget)
    assert found.value == pytest.approx(-reference.fun, rel=2e-6)


def test_bound_of_a_network_is_the_linear_relaxation() -> None:
    made = compare.city(400, years=5)
    n = len(made.value)
    member = sparse.csr_array((np.ones(n), (made.group, np.arange(n))), shape=(400, n))
    relaxed = optimize.linprog(-made.value, A_ub=made.cost.T, b_ub=made.budget, A_eq=member, b_eq=np.ones(400))
    found = choice.select(*made, seconds=0.3, gap=1e-4)
    assert_sound(found, made.value, made.cost.toarray(), made.group, made.budget)
    assert found.upper_bound == pytest.approx(-relaxed.fun, rel=1e-7)
    # with N blocks and T years at most T blocks are fractional in the relaxation, so the gap is small
    assert found.gap < 5 / 400


def test_a_large_network_is_close_at_once_and_repeats() -> None:
    made = compare.city(5000)
    one, two = (choice.select(*made, gap=2e-4, seconds=60.0, seed=3) for _ in range(2))
    assert one.status == "optimal" and one.gap <= 2e-4
    assert_sound(one, made.value, made.cost.toarray(), made.group, made.budget)
    assert (one.chosen == two.chosen).all() and (one.prices == two.prices).all()


def test_a_choice_that_hardly_fits_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every group takes room in one of four budgets, and there is hardly more than the relaxation needs."""
    groups, budgets, rng = 260, 4, np.random.default_rng(3)
    cost = np.zeros((groups * budgets, budgets))
    cost[np.arange(groups * budgets), np.tile(np.arange(budgets), groups)] = np.repeat(
        rng.integers(20, 60, groups), budgets) * rng.uniform(0.8, 1.25, groups * budgets)
    value, group, most = rng.random(groups * budgets), np.repeat(np.arange(groups), budgets), np.full(budgets, 2300.0)
    assert choice.shortage(cost, group, most).max() == 0 < choice.shortage(cost, group, most * 0.98).max()
    assert_sound(choice.select(value, cost, group, most, effort=0, seconds=60), value, cost, group, most)
    monkeypatch.setattr(finish, "GENERAL", 0)
    assert choice.select(value, cost, group, most, effort=0, seconds=60).status == "unknown"


@pytest.mark.parametrize("seed", [0, 2])
def test_a_few_searches_suffice_where_each_year_has_money_and_crews(seed: int) -> None:
    # Ours alone: no published instance is known that has two scarce resources in each of many periods.
    groups, years, rng = 300, 8, np.random.default_rng(seed)
    size, year = rng.lognormal(0, 0.7, groups), np.tile(np.arange(years), groups)
    value = np.append(np.repeat(size * rng.uniform(0.5, 1.5, groups), years) * (1 - 0.04 * year), np.zeros(groups))
    cost = np.zeros((groups * (years + 1), 2 * years))
    for first in (0, years):  # money, crews
        cost[np.arange(groups * years), first + year] = np.repeat(size * rng.uniform(0.3, 2, groups), years)
    group = np.append(np.repeat(np.arange(groups), years), np.arange(groups))
    budget = np.full(2 * years, size.sum() / years / 2.5)
    plain, searched = (choice.select(value, cost, group, budget, effort=effort, seconds=60) for effort in (0, 10))
    assert searched.gap < 0.35 * plain.gap


@pytest.mark.parametrize("effort", [0, 1, 15])
def test_a_search_ended_by_effort_repeats_and_more_of_it_is_no_worse(effort: int) -> None:
    made = compare.city(60, years=4, share=0.1)
    few, again = (choice.select(*made, gap=0.0, seconds=60.0, effort=effort) for _ in range(2))
    more = choice.select(*made, gap=0.0, seconds=60.0, effort=2 * effort + 1)
    assert_sound(few, made.value, made.cost.toarray(), made.group, made.budget)
    assert (few.chosen == again.chosen).all() and (few.value, few.upper_bound) == (again.value, again.upper_bound)
    assert more.value >= few.value


def test_forced_work_beyond_the_budget_names_the_year() -> None:
    cost = np.array([[0, 0], [5, 0], [0, 9], [0, 0], [0, 4]], float)
    must = np.array([False, False, True, False, True])
    found = choice.select([0, 1, 2, 0, 3], cost, [0, 0, 0, 1, 1], [10, 10], must=must)
    assert (found.status, found.short) == ("infeasible", 1)
    assert np.isnan(found.value) and not len(found.chosen)
    assert choice.select([0, 1, 2, 0, 3], cost, [0, 0, 0, 1, 1], [10, 13], must=must).value == 5


def test_no_whole_choice_though_the_relaxation_has_one() -> None:
    # half of each alternative would fit both budgets of 1, a whole one never does
    found = choice.select([1, 1], [[2, 0], [0, 2]], [0, 0], [1, 1])
    assert found.status == "infeasible" and found.short in (0, 1)
    pairs = np.tile([[3.0, 0.0], [0.0, 3.0]], (3, 1))
    found = choice.select(np.ones(6), pairs, np.repeat([0, 1, 2], 2), [5.0, 5.0])  # two of three share a budget
    assert found.status == "infeasible" and found.short in (0, 1)


def test_a_closed_budget_has_the_price_at_which_it_is_no_longer_wanted() -> None:
    found = choice.select([0, 12, 0, 9], [[0], [4], [0], [2]], [0, 0, 1, 1], [0])
    assert found.value == 0 and found.status == "optimal"
    assert found.prices == pytest.approx([4.5])  # the second group would pay 9 for 2 units


def test_trivial_inputs() -> None:
    empty = choice.select([], np.zeros((0, 2)), [], [1, 2])
    assert (empty.status, empty.value, len(empty.chosen)) == ("optimal", 0, 0)
    free = choice.select([1, 3, 3, 2], np.zeros((4, 0)), [7, 7, 7, -1], [])
    assert free.status == "optimal" and free.chosen.tolist() == [3, 1]  # labels -1, 7; the first of equals


@pytest.mark.parametrize(("change", "message"), [
    ({"value": [1, np.nan]}, r"value\[1\]"), ({"cost": [[1], [np.inf]]}, r"cost\[1, 0\]"),
    ({"cost": [[np.nan], [1]]}, r"cost\[0, 0\]"),
    ({"budget": [-1]}, r"budget\[0\]"), ({"budget": [np.inf]}, r"budget\[0\]"), ({"group": [0.5, 1]}, "integers"),
    ({"group": [0]}, "one length"), ({"cost": [[1]]}, "shape"), ({"must": [True]}, "must"),
    ({"group": [0, 0], "must": [True, True]}, "rows 0 and 1"),
])
def test_bad_input_is_named(change: dict[str, object], message: str) -> None:
    given_: dict[str, object] = {"value": [1, 2], "cost": [[1], [1]], "group": [0, 1], "budget": [5], **change}
    must = given_.pop("must", None)
    with pytest.raises(ValueError, match=message):
        choice.select(*given_.values(), must=must)  # type: ignore[arg-type]
