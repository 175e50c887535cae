"""The rules of a season, each with its words and source: what waits for what, and what is not closed at once."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import pandas as pd

from rehab.base.settings import Assumptions
from rehab.steps.season.days import next_business_day
from rehab.steps.season.work import CONCRETE, FINISHING, NAMES

#: what works in the lanes of a block, and so closes it
CLOSING: Final = ("raise", "patch", "panels", "rebuild", "retrofit", "stitch")
_DIGS: Final = ("raise", "patch", "panels", "rebuild", "curb", "retrofit", "stitch")


@dataclass(frozen=True)
class Wait:
    """An activity waits for another of its block.

    ``earliest`` gives the first day allowed from the last day worked; ``name`` is the same for waits that give the same
    days; ``opening``: it waits until the concrete opens, so that the block's thickness counts.
    """

    before: str
    after: str
    name: str
    earliest: Callable[[date], date]
    words: str
    opening: bool = False


@dataclass(frozen=True)
class Closure:
    """Blocks (rows of the program) of which at most so many are closed at once."""

    kind: str
    name: str
    members: tuple[int, ...]
    most: int
    words: str


def waits(assumptions: Assumptions, off: set[date]) -> list[Wait]:
    """All waits between the activities of a block, in the order of the work."""
    found = [Wait("mark", kind, "notice", _notice(assumptions, off), _notice_words(assumptions)) for kind in _DIGS]
    found += [_next("mark", kind, "a block is marked first") for kind in FINISHING]
    found += [_next("raise", kind, "loose slabs are filled under before they are patched (common practice, no source)")
              for kind in CONCRETE]
    for kind in CONCRETE:
        found += [Wait(kind, after, f"open {kind}", _next_day, "the concrete has to carry traffic first", True)
                  for after in ("retrofit", "stitch", "fill", "grind")]
        found += [_days(kind, after, key, assumptions) for after, key in (
            ("fill", "seal_after_concrete_days"), ("grind", "grind_after_patch_days"),
            ("stripe", "stripe_after_concrete_days"))]
    found += [_days("retrofit", "grind", "grind_after_patch_days", assumptions)]
    found += [_next(kind, after, "what disturbs the surface comes before grinding and sealing (from memory)")
              for kind in ("stitch", "curb", "retrofit") for after in FINISHING
              if (kind, after) != ("retrofit", "grind")]
    if assumptions.text("curing", "fill_before_grinding") == "yes":
        found.append(_next("fill", "grind", "the city fills before it grinds"))
    else:
        found.append(_next("grind", "fill", _cited("filled after grinding", "fill_before_grinding", assumptions)))
    found += [_next(kind, "stripe", "paint comes last") for kind in ("grind", "fill")]
    return found


def closures(network: pd.DataFrame, street_blocks: Mapping[str, int], pairs: list[tuple[int, int]],
             closing: Mapping[int, int], assumptions: Assumptions) -> list[Closure]:
    """What is not closed at once, among blocks that are closed; ``closing`` counts the closing visits of each.

    ``street_blocks``: blocks of each street in the whole city; ``pairs``: parallel blocks, each other's way round.
    """
    found = [Closure("block", str(network["block_id"].iloc[row]), (row,), 1, "one crew at a time works in a block")
             for row, visits in closing.items() if visits > 1]
    shut = network.iloc[sorted(closing)].assign(row=sorted(closing))
    share = assumptions.number("season", "street_closed_share")
    for street, rows in shut.groupby("street", sort=True)["row"]:
        most = max(1, int(share * street_blocks.get(str(street), len(rows)) + 1e-9))
        if len(rows) > most:
            found.append(Closure("street", str(street), tuple(rows), most,
                                 f"at most {most} of the blocks of {street} are closed at once"))
    most = int(assumptions.number("season", "bus_blocks_at_once"))
    on_route = shut[shut["bus_route"].fillna(False).astype(bool)]
    for district, rows in on_route.groupby(on_route["district"].fillna("the city"), sort=True)["row"]:
        if len(rows) > most:
            found.append(Closure("bus", str(district), tuple(rows), most,
                                 f"at most {most} blocks with a bus route are closed at once in {district}"))
    names = network["block_id"].to_numpy()
    return found + [Closure("parallel", f"{names[one]} and {names[other]}", (one, other), 1,
                            f"{names[one]} and {names[other]} are each other's way round")
                    for one, other in pairs if one in closing and other in closing]


def _next_day(day: date) -> date:
    return day + timedelta(days=1)


def _next(before: str, after: str, words: str) -> Wait:
    return Wait(before, after, "next", _next_day, words)


def _days(before: str, after: str, key: str, assumptions: Assumptions) -> Wait:
    lag = max(int(assumptions.number("curing", key)), 1)
    return Wait(before, after, key, lambda day: day + timedelta(days=lag), _cited(
        f"{NAMES[after]} waits {lag} days after {NAMES[before]}", key, assumptions))


def _notice(assumptions: Assumptions, off: set[date]) -> Callable[[date], date]:
    notice = int(assumptions.number("season", "notice_days"))
    locate = int(assumptions.number("season", "locate_days"))

    def earliest(day: date) -> date:
        return max(day + timedelta(days=max(notice, 1)), next_business_day(day, locate, off))

    return earliest


def _notice_words(assumptions: Assumptions) -> str:
    return (f"{assumptions.number('season', 'notice_days'):.0f} days of notice and "
            f"{assumptions.number('season', 'locate_days'):.0f} business days for utilities to mark their lines "
            f"({assumptions.citation('season', 'locate_days')})")


def _cited(words: str, key: str, assumptions: Assumptions) -> str:
    return f"{words} ({assumptions.citation('curing', key)})"
