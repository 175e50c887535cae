"""The life cycle of a strategy as a stream of events: works, regrindings, and the value of what is left at the end.

A life cycle is a row of works: the strategy now; the follow-up work when the index is back at the trigger; then the
next; the last of them, reconstruction, again each time the new concrete has lasted its life.  Between them the
surface is ground again each time it has lasted its own life, up to the number of grindings that the concrete bears.
At the horizon the last work is worth its cost times the unused part of its life (FHWA-SA-98-079, source
``fhwa-lcca``: remaining service life, constant dollars, sunk costs left out).

Times are years from the first year; dollars are those of the first year, with prices that grow faster than general
inflation only where the city asks for it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from itertools import chain, repeat
from typing import Final

import numpy as np
import numpy.typing as npt

from rehab.base.errors import BadAssumption
from rehab.base.money import escalation_factor, real_rate
from rehab.base.settings import Assumptions
from rehab.base.tables import STRATEGIES

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

GRINDING: Final = "grinding"
REMAINING: Final = "remaining_value"


@dataclass(frozen=True)
class Activity:
    """One work on every block; arrays of one number per block.

    ``cost_usd`` is what it costs when it is done, in real dollars of the first year; ``life_yr`` the years from then
    until the index is back at the trigger.  ``grinding_usd`` is one regrinding of the surface that it leaves, zero on
    blocks that it does not grind, missing if it grinds none; ``user_usd`` and ``grinding_user_usd`` the delay of road
    users while the street is closed (NaN where it is not known), missing if it is not counted.  ``of`` says which
    blocks get the work at all, missing for all of them; the others go on to the next.  ``ground_before`` counts the
    grindings that the slab has used up before the first work of a life cycle, none if missing.  :class:`ValueError`
    for costs or lives that cannot be.
    """

    strategy: str
    cost_usd: Floats
    life_yr: Floats
    grinding_usd: Floats | None = None
    user_usd: Floats | None = None
    grinding_user_usd: Floats | None = None
    of: Flags | None = None
    ground_before: Floats | None = None

    def __post_init__(self) -> None:
        """Refuse arrays of several lengths, and numbers that would make events vanish."""
        for name in (item.name for item in fields(self)[1:]):
            values = getattr(self, name)
            if values is None:
                continue
            if np.shape(values) != np.shape(self.cost_usd):
                raise ValueError(f"{self.strategy}: {name} is not one number per block")
            if name in {"cost_usd", "life_yr", "grinding_usd"} and not (np.isfinite(values) & (values >= 0)).all():
                raise ValueError(f"{self.strategy}: {name} holds a number below zero or none at all")

    def only(self, rows: npt.NDArray[np.int64]) -> Activity:
        """The same work on the blocks of these rows."""
        return replace(self, **{item.name: getattr(self, item.name)[rows] for item in fields(self)[1:]
                                if getattr(self, item.name) is not None})


#: the works of a life cycle in their order, the last of them repeated
Course = tuple[Activity, ...]


@dataclass(frozen=True)
class Terms:
    """What holds for every life cycle of a city.

    ``horizon_yr`` years are counted; a ground surface lasts ``ground_life_yr`` and is made at most ``most_grindings``
    times; prices grow by ``growth`` a year above general inflation; ``discount`` is the real rate in use and
    ``rates`` those shown side by side, the one in use among them; no life is taken as longer than ``longest_yr``.
    """

    horizon_yr: float
    ground_life_yr: float
    most_grindings: int
    growth: float
    discount: float
    rates: tuple[float, ...]
    longest_yr: float


@dataclass(frozen=True)
class Event:
    """One thing that happens on the blocks where ``done``, in ``year``; dollars are zero on the others.

    ``what`` is the strategy, :data:`GRINDING`, or :data:`REMAINING` with its value as negative dollars.
    """

    what: str
    year: Floats
    done: Flags
    usd: Floats
    user_usd: Floats


def terms(assumptions: Assumptions, ground_life_yr: float) -> Terms:
    """The terms by the tables ``economics`` and ``treatment_lives``; :class:`BadAssumption` for rates that are none."""
    def number(key: str) -> float:
        return assumptions.number("economics", key)

    grows = assumptions.text("economics", "real_escalation") == "yes"
    return Terms(number("horizon_yr"), ground_life_yr, int(assumptions.number("treatment_lives", "ground.most_times")),
                 float(real_rate(number("escalation"), number("inflation"))) if grows else 0.0, number("discount"),
                 _rates(assumptions), number("longest_life_yr"))


def follow_ups(strategy: str, assumptions: Assumptions) -> tuple[str, ...]:
    """The works that follow a strategy, each when the index is back at the trigger; the last is reconstruction.

    By the rows ``followup.STRATEGY``; :class:`BadAssumption` if one of them names no work or work that is not heavier
    than what it follows, since such a row of works would not come to an end.
    """
    works: list[str] = []
    last = strategy
    while last != STRATEGIES[-1]:
        key = f"followup.{last}"
        following = assumptions.text("economics", key)
        heavier = STRATEGIES[STRATEGIES.index(last) + 1:]
        if following not in heavier:
            raise BadAssumption(f"economics: '{following}' for '{key}' is not one of {', '.join(heavier)}")
        works.append(following)
        last = following
    return tuple(works) or (STRATEGIES[-1],)


def events(course: Course, terms: Terms) -> Iterator[Event]:
    """The events of a life cycle from the first year up to the horizon, works and regrindings in their order.

    The remaining value comes last.  The repeated work is taken to last a year at least.  :class:`ValueError` if
    some blocks do not get the work that is repeated.
    """
    if course[-1].of is not None and not course[-1].of.all():
        raise ValueError("the last work of a life cycle is done on every block")
    blocks = len(course[0].cost_usd)
    at, ground, left = np.zeros(blocks), _ground_before(course[0]), np.zeros(blocks)
    for activity in chain(course, repeat(course[-1])):
        due = at < terms.horizon_yr
        if not due.any():
            break
        done = due if activity.of is None else due & activity.of
        life = np.maximum(activity.life_yr, 1.0) if activity is course[-1] else activity.life_yr
        grown = np.where(done, activity.cost_usd * escalation_factor(terms.growth, at), 0.0)
        yield Event(activity.strategy, at, done, grown, _where(done, activity.user_usd))
        if activity.strategy == STRATEGIES[-1]:
            ground = np.where(done, 0, ground)  # new concrete bears all its grindings
        if activity.grinding_usd is not None:
            made = ground + (done & (activity.grinding_usd > 0))
            for event in _regrindings(activity, activity.grinding_usd, at, life, done, made, terms):
                made = made + event.done
                yield event
            ground = made
        left = np.where(done, grown * _unused(at, life, terms.horizon_yr), left)
        at = np.where(done, at + life, at)
    yield Event(REMAINING, np.full(blocks, terms.horizon_yr), left > 0, -left, np.zeros(blocks))


def own_events(activity: Activity, terms: Terms) -> Iterator[Event]:
    """The events of one work in the first year and nothing after it: itself, its regrindings, its value at the end."""
    at, done = np.zeros(len(activity.cost_usd)), np.ones(len(activity.cost_usd), bool)
    yield Event(activity.strategy, at, done, activity.cost_usd, _where(done, activity.user_usd))
    if activity.grinding_usd is not None:
        made = _ground_before(activity) + 1
        yield from _regrindings(activity, activity.grinding_usd, at, activity.life_yr, done, made, terms)
    left = activity.cost_usd * _unused(at, activity.life_yr, terms.horizon_yr)
    yield Event(REMAINING, at + terms.horizon_yr, left > 0, -left, at)


def _regrindings(activity: Activity, once_usd: Floats, at: Floats, life: Floats, done: Flags,
                 made: npt.NDArray[np.int64], terms: Terms) -> Iterator[Event]:
    """Grindings after the one that belongs to the work, before the next work and before the horizon.

    ``made`` counts the grindings so far, the one of the work included.
    """
    for time in range(1, terms.most_grindings):
        when = at + time * terms.ground_life_yr
        again = done & (once_usd > 0) & (time * terms.ground_life_yr < life) & (when < terms.horizon_yr)
        again &= made + (time - 1) < terms.most_grindings
        if not again.any():
            return
        usd = np.where(again, once_usd * escalation_factor(terms.growth, when), 0.0)
        yield Event(GRINDING, when, again, usd, _where(again, activity.grinding_user_usd))


def _ground_before(activity: Activity) -> npt.NDArray[np.int64]:
    """Grindings that each slab has used up before the first work."""
    before = np.zeros(len(activity.cost_usd)) if activity.ground_before is None else activity.ground_before
    return np.asarray(before, np.int64)


def _unused(at: Floats, life: Floats, horizon: float) -> Floats:
    """The part of a life that is unused at the horizon, 0 to 1."""
    return np.clip(1.0 - (horizon - at) / np.maximum(life, 1e-9), 0.0, 1.0)


def _where(done: Flags, values: Floats | None) -> Floats:
    return np.zeros(len(done)) if values is None else np.where(done, values, 0.0)


def _rates(assumptions: Assumptions) -> tuple[float, ...]:
    """The rates of the row ``rates_shown`` and the one in use, from low to high."""
    shown = {float(part) for part in assumptions.text("economics", "rates_shown").split("|")}
    found = {assumptions.number("economics", "discount")} | shown
    return tuple(sorted(found))
