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
    several = np.bincount(corridor, minlength=len(corridor))[corridor] > 1
    shared = several[alternatives.block[rows]]
    lone, nothing = rows[~shared], np.flatnonzero(~several & ~needed)
    sets = together(alternatives, rows[shared], forced, needed, corridor)
    for name in np.setdiff1d(corridor[several], [owner for owner, _ in sets]).tolist():
        sets.append((name, []))  # nothing is open for it
    source = np.concatenate([lone, *(np.array(one, np.int64) for _, one in sets)]).astype(np.int64)
    discount = np.concatenate([np.zeros(len(lone)), *(_discount(alternatives, one, saving) for _, one in sets)])
    made = alternatives.only(source)
    # One offer for each lone alternative, one of nothing for each block that may go without, and then the sets.
    size = np.array([*[1] * len(lone), *[0] * len(nothing), *(len(one) for _, one in sets)], np.int64)
    member = sparse.csr_array((np.ones(len(source)), np.arange(len(source)), np.append(0, np.cumsum(size))),
                              shape=(len(size), len(source)))
    group = np.concatenate([alternatives.block[lone], nothing, np.array([owner for owner, _ in sets], np.int64)])
    return Offers(replace(made, cost_usd=np.round(made.cost_usd - discount, 2)), member, group.astype(np.int64), source)


def together(alternatives: Alternatives, rows: Ints, forced: Flags, needed: Flags,
             corridor: Ints) -> list[tuple[int, list[int]]]:
    """What corridors of several blocks offer: corridor and rows of the alternatives that are carried out together.

    In each year all blocks of a corridor that something is open for are worked on, each by the alternative of the
    most benefit, or of the most benefit per dollar: two offers where these differ.  Where some are needed, a third has
    these alone, at the least cost, so that what would be done beside them cannot make them too dear.
    """
    rate = alternatives.benefit / np.maximum(alternatives.cost_usd + alternatives.then_usd, 1.0)
    own = corridor[alternatives.block[rows]]
    order = rows[np.lexsort((rows, alternatives.step[rows], own))]
    sets: list[tuple[int, list[int]]] = []
    for mine in np.split(order, np.flatnonzero(np.diff(corridor[alternatives.block[order]])) + 1) if len(order) else []:
        name = int(corridor[alternatives.block[mine[0]]])
        must = set(np.flatnonzero(needed & (corridor == name)).tolist())
        sets += [] if must else [(name, [])]
        sets += [(name, one) for one in _sets_of(alternatives, mine, forced, must, rate)]
    return sets


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
