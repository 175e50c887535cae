"""Corridors: who belongs to one, what is offered, what is saved, and locks that no year can keep."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rehab.base.settings import Assumptions
from rehab.steps import program
from rehab.steps.program import Offers, corridors
from tests.steps.program.making import alternatives, apart, city, pairs, scenario

#: a corridor of blocks 0, 1, 2 and block 3 alone
CORRIDOR = np.array([0, 0, 0, 3])
FOUR = alternatives((0, 0, "full_depth", 100, 50), (0, 0, "partial_depth", 10, 20), (1, 0, "full_depth", 60, 30),
                    (1, 1, "full_depth", 66, 40), (2, 1, "full_depth", 40, -1), (3, 0, "full_depth", 80, 9))
SAVING = np.array([8.0, 2, 5, 6, 3, 4])
ALL = np.ones(6, bool)
NONE = np.zeros(6, bool)


def sets(made: Offers) -> dict[int, set[tuple[int, ...]]]:
    """The given alternatives of each offer, by group."""
    out: dict[int, set[tuple[int, ...]]] = {}
    for row in range(made.member.shape[0]):
        own = made.source[made.member.indices[made.member.indptr[row]:made.member.indptr[row + 1]]]
        out.setdefault(int(made.group[row]), set()).add(tuple(sorted(own.tolist())))
    return out


def offered(open_: np.ndarray = ALL, forced: tuple[int, ...] = (), needed: tuple[int, ...] = ()) -> Offers:
    must, blocks = NONE.copy(), np.zeros(4, bool)
    must[list(forced)] = True
    blocks[[*needed, *FOUR.block[must].tolist()]] = True
    return program.offers(FOUR, open_, must, blocks, CORRIDOR, SAVING)


def test_blocks_apart_choose_for_themselves() -> None:
    made = apart(FOUR, 4)
    assert sets(made) == {0: {(), (0,), (1,)}, 1: {(), (2,), (3,)}, 2: {(), (4,)}, 3: {(), (5,)}}
    assert made.alternatives.cost_usd.tolist() == FOUR.cost_usd.tolist()
    assert sets(apart(FOUR, 4, [3])) == {0: {(), (0,), (1,)}, 1: {(3,)}, 2: {(), (4,)}, 3: {(), (5,)}}


def test_a_corridor_is_worked_on_in_one_year() -> None:
    # By benefit: full depth on block 0; by benefit per dollar: partial depth (2 against 0.5).  What gains nothing is
    # left out.
    made = offered()
    assert sets(made) == {0: {(), (0, 2), (1, 2), (3,)}, 3: {(), (5,)}}


def test_the_dearest_keeps_its_mobilisation_and_the_others_save_theirs_once() -> None:
    made = offered()
    cost = {tuple(sorted(made.source[own].tolist())): dict(zip(made.source[own].tolist(),
                                                               made.alternatives.cost_usd[own].tolist(), strict=True))
            for row in range(made.member.shape[0])
            for own in [made.member.indices[made.member.indptr[row]:made.member.indptr[row + 1]]]}
    assert cost[0, 2] == {0: 100, 2: 55} and cost[1, 2] == {1: 8, 2: 60} and cost[(3,)] == {3: 66}
    assert cost[(5,)] == {5: 80}
    large = program.offers(FOUR, ALL, NONE, np.zeros(4, bool), CORRIDOR, np.full(6, 500.0))
    assert large.alternatives.cost_usd.min() == 0  # never less than nothing


def test_a_needed_block_is_in_every_offer() -> None:
    assert sets(offered(needed=(0,)))[0] == {(0, 2), (1, 2), (1,)}  # also alone, at the least cost
    assert sets(offered(needed=(2,)))[0] == {(3, 4), (4,)}  # although it gains nothing
    lone = sets(offered(needed=(3,)))
    assert lone[3] == {(5,)} and () in lone[0]


def test_a_forced_work_is_in_every_offer() -> None:
    open_ = ALL.copy()
    open_[0] = False
    assert sets(offered(open_, forced=(1,)))[0] == {(1, 2), (1,)}
    with_second = FOUR.beside(pairs((0, 0, "full_depth", 100, 90, 1, "grinding", 30)))
    must = np.append(NONE, True)
    open_ = np.array([False, False, True, True, True, True, True])
    made = program.offers(with_second, open_, must, np.array([True, False, False, False]), CORRIDOR,
                          np.append(SAVING, 8.0))
    assert sets(made)[0] == {(2, 6), (6,)} and made.alternatives.then_usd.max() == 30


def test_a_corridor_with_nothing_open_does_nothing() -> None:
    open_ = np.array([False] * 5 + [True])
    assert sets(offered(open_)) == {0: {()}, 3: {(), (5,)}}


def test_locks_in_different_years_part_a_corridor_and_are_told() -> None:
    names = city(4)["block_id"].to_numpy()
    open_ = np.array([True, False, False, True, True, True])
    needed = np.array([True, True, False, False])
    single, notes = corridors.parted(CORRIDOR, FOUR, open_, needed, names, 2027)
    assert single.tolist() == [0, 1, 2, 3] and CORRIDOR.tolist() == [0, 0, 0, 3]
    assert [note.topic for note in notes] == ["conflict"]
    assert "B0 in 2027" in notes[0].message and "B1 in 2028" in notes[0].message and "take one back" in notes[0].message
    must = np.array([True, False, False, True, False, False])
    assert sets(program.offers(FOUR, open_, must, needed, single, SAVING)) == {0: {(0,)}, 1: {(3,)}, 2: {(), (4,)},
                                                                            3: {(), (5,)}}
    same, none = corridors.parted(CORRIDOR, FOUR, ALL, needed, names, 2027)  # both can be worked on in 2027
    assert same.tolist() == CORRIDOR.tolist() and not none


@given(st.integers(0, 100_000))
@settings(max_examples=40, deadline=None)
def test_every_offer_has_one_year_and_each_block_once(seed: int) -> None:
    rng = np.random.default_rng(seed)
    rows = [(block, step, name, float(rng.integers(0, 90)), float(rng.integers(-9, 90))) for block in range(7)
            for step in range(3) for name in ("partial_depth", "full_depth") if rng.random() < 0.6]
    given_ = alternatives(*rows)
    corridor = np.array([0, 0, 2, 2, 2, 5, 6])
    open_, needed = rng.random(len(rows)) < 0.8, rng.random(7) < 0.2
    has = np.zeros(7, bool)
    has[given_.block[open_]] = True
    needed &= has
    saving = rng.integers(0, 20, len(rows)).astype(float)
    single, _ = corridors.parted(corridor, given_, open_, needed, city(7)["block_id"].to_numpy(), 2027)
    made = program.offers(given_, open_, np.zeros(len(rows), bool), needed, single, saving)
    assert set(made.group.tolist()) == set(single.tolist())  # every group has an offer
    for row in range(made.member.shape[0]):
        own = made.member.indices[made.member.indptr[row]:made.member.indptr[row + 1]]
        taken = made.alternatives.only(own.astype(np.int64))
        assert len(set(taken.block.tolist())) == len(own) and (len(own) == 0 or np.ptp(taken.step) == 0)
        assert open_[made.source[own]].all() and (single[taken.block] == made.group[row]).all()
        assert set(np.flatnonzero(needed & (single == made.group[row])).tolist()) <= set(taken.block.tolist())
        less = given_.cost_usd[made.source[own]] - taken.cost_usd
        assert (less >= 0).all() and (less <= saving[made.source[own]] + 1e-9).all() and (len(own) == 0 or (less == 0).any())


def test_who_belongs_together(defaults: Assumptions) -> None:
    network = city(7, street=["Elm", "Oak", "Elm", "Elm", "Elm", "Elm", None],
                   district=["east", "east", "east", "west", "east", "east", "east"],
                   corridor=["A", None, "A", "B", None, "B", None])
    alone = program.corridor_of(network, scenario(1), defaults)
    assert alone.tolist() == list(range(7))
    given_ = program.corridor_of(network, scenario(1, corridors="given"), defaults)
    assert given_.tolist() == [0, 1, 0, 3, 4, 3, 6]
    street = program.corridor_of(network, scenario(1, corridors="by street"), defaults)
    assert street.tolist() == [0, 1, 0, 3, 0, 0, 6]  # four of one street and district, the default's most
    assert program.corridor_of(city(6), scenario(1, corridors="by street"), defaults).tolist() == [0, 0, 0, 0, 4, 4]
    assert len(program.corridor_of(city(0), scenario(1, corridors="by street"), defaults)) == 0
    assert defaults.number("economics", "corridor.most_blocks") == pytest.approx(4)


def test_no_blocks() -> None:
    made = apart(alternatives(), 0)
    assert made.member.shape == (0, 0) and len(made.group) == 0
