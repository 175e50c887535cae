"""What the screens share: the tables in use, the city's values, the scenario, and the plan made of them."""

from __future__ import annotations

import json
from dataclasses import replace

import pandas as pd
import streamlit as st

from pages import ahead, cities
from pages.cities import Tables
from rehab import plan
from rehab.base.errors import BadAssumption
from rehab.base.settings import Assumptions, Forced, Override, Scenario
from rehab.inputs import assumptions
from rehab.plan import known

#: what a session keeps of one city
OF_CITY = ("shelf", "aims", "curve", "robust", "kept_programs", "season_given", "season_takes")
_KEPT, _KEPT_LARGE, _LARGE = 18, 8, 3000  #: plans kept, and of cities with more blocks than this


@st.cache_resource(show_spinner="Reading the demo city ...")
def demo() -> Tables:
    """The invented city that the dashboard opens on."""
    ready = ahead.found()
    return ready[0] if ready else cities.demo()


def tables() -> Tables:
    """The tables in use: the demo city until others are loaded."""
    return st.session_state.get("tables") or demo()


def use(found: Tables) -> None:
    """Take other tables into use; locks and overrides belong to the city before and go with it."""
    st.session_state["tables"] = found
    st.session_state["scenario"] = replace(scenario(), overrides=(), forced=(), kept_out=(), closed=(),
                                           district_shares=())
    for name in ("selected", *OF_CITY):
        st.session_state.pop(name, None)


def scenario() -> Scenario:
    """The engineer's scenario."""
    return st.session_state.setdefault("scenario", Scenario(name=ahead.OWN))


def change(where: str, **parts: object) -> bool:
    """Change the engineer's scenario; what cannot be is kept for :func:`refused` and the former scenario stays."""
    try:
        st.session_state["scenario"] = replace(scenario(), **parts)
    except ValueError as error:
        refuse(where, error)
        return False
    return True


def refuse(where: str, why: object) -> None:
    """Keep what cannot be done, to be said where it was asked."""
    st.session_state.setdefault("refused", {})[where] = str(why)


def refused(where: str) -> None:
    """Say, where it was asked, what could not be done."""
    message = st.session_state.get("refused", {}).pop(where, "")
    if message:
        st.error(plain(f"Not changed: {message}"))


def override(block_id: str, strategy: str | None, reason: str) -> None:
    """Set or, with no strategy, remove the engineer's strategy of a block."""
    kept = tuple(item for item in scenario().overrides if item.block_id != block_id)
    change("override", overrides=kept if strategy is None else (*kept, Override(block_id, strategy, reason)))


def force(block_id: str, year: int | None, strategy: str | None = None, cost_usd: float | None = None) -> None:
    """Force a block into a year, or, with no year, release it; a committed project brings its strategy and cost."""
    kept = tuple(item for item in scenario().forced if item.block_id != block_id)
    change("lock", forced=kept if year is None else (*kept, Forced(block_id, year, strategy, cost_usd)),
           kept_out=tuple(name for name in scenario().kept_out if name != block_id))


def keep_out(block_id: str, out: bool) -> None:
    """Keep a block out of the program, or let it in again."""
    kept = tuple(name for name in scenario().kept_out if name != block_id)
    change("lock", kept_out=(*kept, block_id) if out else kept,
           forced=tuple(item for item in scenario().forced if item.block_id != block_id))


def values() -> dict[str, dict[str, str]]:
    """The city's own values, table -> key -> value."""
    return st.session_state.setdefault("values", {})


def given() -> Assumptions:
    """The assumptions in use; a city value that cannot be is said and left out."""
    own = values()
    try:
        return _overlaid(json.dumps(own, sort_keys=True), own) if any(own.values()) else _defaults()
    except BadAssumption as error:
        st.error(f"The city's values are not used: {error}")
        return _defaults()


@st.cache_resource(max_entries=4, show_spinner=False)
def _overlaid(key: str, _own: dict[str, dict[str, str]]) -> Assumptions:
    """Kept, with its fingerprint, until a value is changed."""
    return assumptions.overlay(_defaults(), _own)


def decided(question: Scenario | None = None) -> plan.Plan:
    """The plan of a scenario, the engineer's own if none is given.

    Plans decided before in this session are kept, and begun with: more money never buys less than they show.
    """
    asked = question or scenario()
    at, prepared = ready(asked)
    shelf = st.session_state.setdefault("shelf", {})
    known_plans = [made for key, made in shelf.items() if key[:-1] == at]
    found = shelf.pop((*at, asked.fingerprint()), None)
    if found is None or known.beaten(found, known_plans):
        found = _decide(at, prepared, asked, known_plans)
    keep(at, found)
    return found


def ready(asked: Scenario | None = None) -> tuple[tuple[object, ...], plan.Prepared]:
    """The key of the city, the values and the years in use, and all that holds for every scenario of them."""
    city, used = tables(), given()
    at = _key(city, used, asked or scenario())
    return at, _prepare(at, city, used)


def keep(at: tuple[object, ...], made: plan.Plan) -> None:
    """Put a plan on the shelf, the last used last; fewer are kept of a large city."""
    shelf = st.session_state.setdefault("shelf", {})
    shelf.pop((*at, made.scenario.fingerprint()), None)
    shelf[(*at, made.scenario.fingerprint())] = made
    most = _KEPT if len(made.overview) <= _LARGE else _KEPT_LARGE
    for key in list(shelf)[:-most]:
        del shelf[key]


def banner(where: str = "under *Start and data*") -> None:
    """What every screen says at its top: whose streets these are; ``where`` a table of one's own is loaded."""
    if tables().invented:
        st.info(f"This is an **invented city**, to look around in. Load a table of your own {where}.")


def estimated_note(rows: pd.DataFrame) -> None:
    """Say how many blocks of a table rest on an index, a rating or a word."""
    count = int(rows["estimated"].sum())
    if count:
        st.warning(f"{count:,} of {len(rows):,} blocks hold only an index, a rating or a word: their needs, quantities "
                   "and costs are **estimated**, and every list and file says so.")


@st.cache_resource
def _defaults() -> Assumptions:
    return assumptions.defaults()


def _key(city: Tables, used: Assumptions, asked: Scenario) -> tuple[object, ...]:
    return city.key, used.fingerprint(), asked.start_year, len(asked.budgets_usd)


@st.cache_resource(max_entries=4, show_spinner="Sorting, pricing and forecasting the blocks ...")
def _prepare(key: tuple[object, ...], _city: Tables, _given: Assumptions) -> plan.Prepared:
    ready = ahead.found()
    if ready and key == _key(ready[0], ready[1].prepared.assumptions, ready[1].scenario):
        return ready[1].prepared
    return plan.prepare(_city.blocks, _city.defects, _given, int(key[2]), int(key[3]))


def _decide(at: tuple[object, ...], prepared: plan.Prepared, asked: Scenario, plans: list[plan.Plan]) -> plan.Plan:
    begun = ahead.found()
    if begun and prepared is begun[1].prepared and asked == begun[1].scenario and not known.beaten(begun[1], plans):
        return begun[1]
    return plan.decide(prepared, asked, ahead.EFFORT, known.worth_knowing(asked, plans))


def plain(text: str) -> str:
    """Text from outside as it is: no markdown, no HTML."""
    return "".join(f"\\{sign}" if sign in "\\`*_{}[]()#+-.!|<>$~:" else sign for sign in text)


def pick_year(made: plan.Plan) -> int | None:
    """A box to choose a year of the program that has work; says so if none has."""
    years = sorted(int(year) for year in made.program["year"].unique())
    if not years:
        st.info("The program holds no work. Give it a budget under *Program and scenarios*.")
        return None
    return st.selectbox("Year", years, key="year_of_work")
