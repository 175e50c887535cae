"""What is chosen at once: a block's alternative, or in a corridor all the works of one year together."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy import sparse

from rehab.base.errors import Note
from rehab.base.settings import Assumptions, Scenario
from rehab.steps.program.alternatives import Alternatives, Flags, Floats, Ints, Names


@dataclass(frozen=True)
class Offers:
    """Sets of alternatives, of which each group takes exactly one.

    ``alternatives``: those that offers are made of; ``member`` sparse (offers, alternatives) of ones; ``group`` per
    offer; ``source``: per alternative the row of the given ones that it comes from.  An offer of nothing has no member.
    """

    alternatives: Alternatives
    member: sparse.csr_array
    group: Ints
    source: Ints


def corridor_of(network: pd.DataFrame, scenario: Scenario, assumptions: Assumptions) -> Ints:
    """The corridor of each block: a number that the blocks of one corridor share.

    'given': by the column ``corridor``; blocks without one stand alone.  'by street': up to
    ``economics/corridor.most_blocks`` blocks of one street and district, in the order of the table.
    """
    alone = np.arange(len(network))
    if scenario.corridors == "apart" or not len(network):
        return alone
    if scenario.corridors == "given":
        label = network["corridor"]
    else:
        most = int(assumptions.number("economics", "corridor.most_blocks"))
        street = network["street"].astype("str") + " | " + network["district"].astype("str")
        part = network.groupby(street.to_numpy()).cumcount().to_numpy() // most
        label = (street + " | " + pd.Series(part.astype(str), index=network.index)).where(network["street"].notna())
    code, _ = pd.factorize(label)
    first = np.full(code.max(initial=-1) + 1, len(network))
    np.minimum.at(first, code[code >= 0], alone[code >= 0])
    return np.asarray(np.where(code >= 0, first[np.maximum(code, 0)] if len(first) else alone, alone), np.int64)


def parted(corridor: Ints, alternatives: Alternatives, open_: Flags, needed: Flags, names: Names,
           start_year: int) -> tuple[Ints, list[Note]]:
    """The corridors less those whose needed blocks cannot be worked on in one year, and a note on each of these.

    Such a corridor falls into single blocks, so that what is forced is obeyed all the same.
    """
    notes = []
    rows = np.flatnonzero(open_ & needed[alternatives.block])
    own = corridor[alternatives.block[rows]]
    single = corridor.copy()
    for name in np.unique(corridor[needed]).tolist():
        must, mine = np.flatnonzero(needed & (corridor == name)), rows[own == name]
        if len(must) < 2:
            continue
        years = {int(block): np.unique(alternatives.step[mine[alternatives.block[mine] == block]]) for block in must}
        if len(set.intersection(*(set(steps.tolist()) for steps in years.values()))):
            continue
        blocks = np.flatnonzero(corridor == name)
        single[blocks] = blocks
        said = "; ".join(f"{names[block]} in {', '.join(str(start_year + int(step)) for step in steps)}"
                         for block, steps in years.items())
        notes.append(Note("conflict", str(names[must[0]]), None, "blocks of one corridor that must be worked on have "
                          f"no year in common ({said}): the corridor is not done together; force them into one year or "
                          "take one back"))
    return single, notes


def offers(alternatives: Alternatives, open_: Flags, forced: Flags, needed: Flags, corridor: Ints,
           saving: Floats) -> Offers:
    """The offers of every block and corridor.

    ``saving`` is what each alternative costs less, in dollars, where two or more blocks of a corridor are worked on in
    its year (the dearest of them still brings its own mobilisation; see :func:`together`).  Blocks of a corridor that
    are worked on at all are worked on in one year; a block ``needed`` is in every offer of its corridor.
    """
    rows = np.flatnonzero(open_)
    size = np.bincount(corridor, minlength=len(corridor))
    several = size[corridor] > 1
    lone = rows[~several[alternatives.block[rows]]]
    nothing = np.flatnonzero(~several & ~needed)
    kept, members, groups = [lone], [np.arange(len(lone)), np.full(len(nothing), -1)], [
        alternatives.block[lone], nothing]
    made = alternatives.only(lone)
    extra, sets, owner = together(alternatives, rows[several[alternatives.block[rows]]], forced, needed, corridor,
                                  saving)
    given = np.concatenate([*kept, extra.source])
    whole = made.beside(extra.alternatives) if len(extra.source) else made
    single = np.concatenate(members)
    entry = np.flatnonzero(single >= 0)
    offer_of = np.concatenate([entry, len(single) + np.repeat(np.arange(len(sets)), [len(one) for one in sets])])
    column = np.concatenate([single[entry], *(len(lone) + np.array(one, np.int64) for one in sets)])
    count = len(single) + len(sets)
    member = sparse.csr_array((np.ones(len(column)), (offer_of, column.astype(np.int64))), shape=(count, len(whole)))
    return Offers(whole, member, np.concatenate([*groups, np.array(owner, np.int64)]).astype(np.int64), given)


@dataclass(frozen=True)
class _Extra:
    alternatives: Alternatives
    source: Ints


def together(alternatives: Alternatives, rows: Ints, forced: Flags, needed: Flags, corridor: Ints,
             saving: Floats) -> tuple[_Extra, list[list[int]], list[int]]:
    """The offers of corridors of several blocks: alternatives made for them, the sets, and the corridor of each set.

    In each year all blocks of a corridor that something is open for are worked on, each by the alternative of the
    most benefit, or of the most benefit per dollar: two offers where these differ.  Where some are needed, a third has
    these alone, at the least cost, so that what would be done beside them cannot make them too dear.
    """
    source: list[int] = []
    cost: list[float] = []
    sets: list[list[int]] = []
    owner: list[int] = []
    whole = alternatives.cost_usd + alternatives.then_usd
    rate = alternatives.benefit / np.maximum(whole, 1.0)
    own = corridor[alternatives.block[rows]]
    order = rows[np.lexsort((rows, alternatives.step[rows], own))]
    blocks_needed = {int(name): set(np.flatnonzero(needed & (corridor == name)).tolist()) for name in np.unique(
        corridor[needed])}
    for mine in np.split(order, np.flatnonzero(np.diff(corridor[alternatives.block[order]])) + 1) if len(order) else []:
        name = int(corridor[alternatives.block[mine[0]]])
        must = blocks_needed.get(name, set())
        found = _sets_of(alternatives, mine, forced, must, rate)
        if not must:
            sets.append([])
            owner.append(name)
        for one in found:
            discount = _discount(alternatives, one, saving)
            sets.append(list(range(len(source), len(source) + len(one))))
            owner.append(name)
            source += one
            cost += (alternatives.cost_usd[one] - discount).tolist()
    taken = np.array(source, np.int64)
    empty = [name for name in np.unique(corridor[np.bincount(corridor, minlength=len(corridor))[corridor] > 1]).tolist()
             if name not in set(owner)]  # corridors that nothing is open for
    sets += [[] for _ in empty]
    owner += empty
    return _Extra(replace(alternatives.only(taken), cost_usd=np.array(cost)), taken), sets, owner


def _sets_of(alternatives: Alternatives, mine: Ints, forced: Flags, must: set[int], rate: Floats) -> list[list[int]]:
    """For each year of one corridor, one alternative of each block that has one worth taking there."""
    found: list[list[int]] = []
    for step in np.unique(alternatives.step[mine]):
        here = mine[alternatives.step[mine] == step]
        if not must <= set(alternatives.block[here].tolist()):
            continue
        whole = alternatives.cost_usd + alternatives.then_usd
        for by, only in ((alternatives.benefit, False), (rate, False), (-whole, True))[:3 if must else 2]:
            one = []
            for block in np.unique(alternatives.block[here]) if not only else sorted(must):
                those = here[alternatives.block[here] == block]
                best = int(those[np.argmax(by[those])])
                if alternatives.benefit[best] > 0 or forced[best] or int(block) in must:
                    one.append(best)
            if one and one not in found:
                found.append(one)
    return found


def _discount(alternatives: Alternatives, one: list[int], saving: Floats) -> Floats:
    """Nothing for a single block; of several, the dearest brings its mobilisation and saves nothing."""
    if len(one) < 2:
        return np.zeros(len(one))
    out = np.minimum(saving[one], alternatives.cost_usd[one])
    out[int(np.argmax(alternatives.cost_usd[one]))] = 0.0
    return np.asarray(out)
