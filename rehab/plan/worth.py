"""Life-cycle cost of the strategies: for all blocks as a plan keeps it, and for one block as a screen shows it.

Every strategy is done in the first year, on the needs and at the prices of that year, and lasts as the forecast says:
until the index falls to the trigger of the block's class.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import pandas as pd

from rehab.base.errors import Note
from rehab.base.money import annual_cost, escalation_factor, increments, present_worth_factor
from rehab.base.settings import Assumptions
from rehab.base.surface import grindings_left
from rehab.base.tables import IN_WORDS, STRATEGIES
from rehab.plan.model import Floats, Prepared
from rehab.steps import estimate, grinding, lifecycle, takeoff
from rehab.steps.lifecycle import Activity, Course

_GROUND: Final = ("partial_depth", "full_depth")  #: strategies that leave a ground surface
_WORDS: Final = {**IN_WORDS, lifecycle.GRINDING: "grinding the surface again",
                 lifecycle.REMAINING: "value of the life left"}


def courses(network: pd.DataFrame, needs: pd.DataFrame, first_usd: Mapping[str, Floats],
            lives: Mapping[str, pd.DataFrame], start_year: int, assumptions: Assumptions,
            later: Mapping[str, Course] | None = None) -> dict[str, Course]:
    """The life cycle of every strategy done in the first year, on the blocks of ``network`` in their order.

    ``needs`` are those of the first year, ``first_usd`` the costs of the strategies of work in it, ``lives`` the
    years to the trigger per strategy (column treated_yr).  ``later`` holds, per strategy, the works that follow it
    before reconstruction, which always ends the life cycle: at the prices of the first year.  What they do not bring
    of the cost of a regrinding and of the delay of users is taken from the same work done now.
    """
    detail = network["condition_source"].to_numpy()
    year = np.full(len(network), start_year)
    items = takeoff.measure(network, needs, "partial_depth", assumptions)
    of_grinding = items.columns.isin(estimate.scope("diamond_grinding", assumptions))
    grinding = estimate.price(items * of_grinding, year, assumptions, detail)["likely_usd"].to_numpy(float)
    delays = _delays(network, start_year, assumptions)

    def whole(work: Activity) -> Activity:
        ground = work.strategy in _GROUND
        again = work.grinding_usd if work.grinding_usd is not None or not ground else grinding
        delay = work.user_usd if work.user_usd is not None else delays.get(work.strategy)
        return replace(work, grinding_usd=again, user_usd=delay,
                       grinding_user_usd=delays.get(lifecycle.GRINDING) if ground else None)

    nothing = np.zeros(len(network))
    used = assumptions.number("treatment_lives", "ground.most_times") - grindings_left(network, assumptions)
    now = {name: whole(Activity(name, first_usd.get(name, nothing), lives[name]["treated_yr"].to_numpy(float),
                                ground_before=used)) for name in STRATEGIES}
    last = now[STRATEGIES[-1]]
    return {name: (now[name], *map(whole, (later or {}).get(name, ())), last) for name in STRATEGIES[:-1]} | {
        STRATEGIES[-1]: (last,)}


def table(network: pd.DataFrame, needs: pd.DataFrame, first_usd: Mapping[str, Floats],
          lives: Mapping[str, pd.DataFrame], start_year: int, assumptions: Assumptions,
          later: Mapping[str, Course] | None = None) -> pd.DataFrame:
    """Worth of every strategy per block, real dollars of the first year: the columns of ``lifecycle.compare``."""
    found = courses(network, needs, first_usd, lives, start_year, assumptions, later)
    terms = lifecycle.terms(assumptions, grinding.life(assumptions))
    return lifecycle.compare(found, terms).assign(block_id=network["block_id"].to_numpy())


def delay_notes(network: pd.DataFrame, assumptions: Assumptions) -> list[Note]:
    """One note on the blocks whose delay of road users is asked for but cannot be told."""
    if not lifecycle.delay_counted(assumptions):
        return []
    lacking = int(network[["adt", "truck_share"]].isna().any(axis=1).sum())
    return [Note("life cycle", None, None, f"the delay of road users is not known on {lacking:,} of {len(network):,} "
                 "blocks: give their vehicles a day and share of trucks")] if lacking else []


def of_block(prepared: Prepared, block_id: str) -> dict[str, Course]:
    """The life cycles of one block, as :func:`courses` of a single row; :class:`KeyError` for an unknown block."""
    row = prepared.row(block_id)
    first = row * prepared.years
    return courses(prepared.network.iloc[[row]], prepared.needs_by_year.iloc[[first]],
                   {name: costs[row:row + 1, 0] for name, costs in prepared.costs.items()},
                   {name: lives.iloc[[row]] for name, lives in prepared.lives.items()}, prepared.start_year,
                   prepared.assumptions, {name: tuple(work.only(np.array([row])) for work in course)
                                          for name, course in prepared.later.items()})


def is_due(prepared: Prepared, block_id: str) -> bool:
    """Whether the block is at its trigger in the first year, so that no work now means the work that follows, today."""
    return bool(prepared.lives["none"]["treated_yr"].iloc[prepared.row(block_id)] <= 0)


def compared(prepared: Prepared, block_id: str, names: Sequence[str]) -> pd.DataFrame:
    """The strategies of one block at the rate in use, in the order of ``names``.

    Columns strategy, then (what follows, in words), trigger (index at which that falls due), life_yr (years until the
    index falls to it), first_usd, worth_usd, annual_usd, and user_worth_usd where the delay of road users is counted.
    """
    row = prepared.row(block_id)
    found, line, trigger = of_block(prepared, block_id), prepared.worth.iloc[row], _trigger(prepared, row)
    rows = [{"strategy": name, "then": _then(found[name]), "trigger": trigger,
             "life_yr": float(found[name][0].life_yr[0]), "first_usd": float(found[name][0].cost_usd[0]),
             **{kind: line[f"{name}_{kind}"] for kind in ("worth_usd", "annual_usd", "user_worth_usd")
                if f"{name}_{kind}" in line.index}} for name in names]
    return pd.DataFrame(rows)


def by_rate(prepared: Prepared, block_id: str, names: Sequence[str]) -> pd.DataFrame:
    """Present worth and annual cost of one block's strategies at the rates shown and the one in use.

    Columns strategy, rate, worth_usd, annual_usd: strategies in the order of ``names``, rates from low to high.
    """
    found, terms = of_block(prepared, block_id), _terms(prepared)
    rates = np.array(terms.rates)
    parts = []
    for name in names:
        present = lifecycle.present_worth(found[name], terms)[0]
        parts.append(pd.DataFrame({"strategy": name, "rate": rates, "worth_usd": present,
                                   "annual_usd": annual_cost(present, rates, terms.horizon_yr)}))
    return pd.concat(parts, ignore_index=True).astype({"strategy": "str"})


def rate_words(rates: pd.DataFrame) -> str:
    """Whether the order of the strategies by cost hangs on the rate, in a sentence; ``rates`` as of :func:`by_rate`."""
    wide = pd.DataFrame({str(name): rows.set_index("rate")["worth_usd"]
                         for name, rows in rates.groupby("strategy", sort=False)})
    if wide.shape[1] < 2:
        return "One strategy alone has no order."
    cheapest = [str(name) for name in wide.idxmin(axis="columns")]
    words = list(dict.fromkeys(_WORDS[name] for name in cheapest))
    span = f"{_percent(wide.index[0])} to {_percent(wide.index[-1])}"
    if len(words) > 1:
        at = {name: ", ".join(_percent(rate) for rate, one in zip(wide.index, cheapest, strict=True) if one == name)
              for name in dict.fromkeys(cheapest)}
        which = "; ".join(f"{_WORDS[name]} at {those}" for name, those in at.items())
        return f"The strategy of the least cost hangs on the rate: {which}."
    changed = lifecycle.order_changes({name: wide[name].to_numpy(float)[np.newaxis] for name in map(str, wide)})[0]
    rest = "the order of the others changes with it" if changed else "the order of all stays the same"
    return f"From {span}, {words[0]} costs least; {rest}."


def break_evens(prepared: Prepared, block_id: str, names: Sequence[str]) -> list[str]:
    """How long each work must last to cost less than each heavier one, and than no work now, in sentences.

    Waiting is left out where the block is at its trigger already: it is then the work that follows, done today.
    """
    found, terms, row = of_block(prepared, block_id), _terms(prepared), prepared.row(block_id)
    trigger = _trigger(prepared, row)
    cost = {name: lifecycle.present_worth(found[name], terms, (terms.discount,))[:, 0] for name in names}
    said = []
    for name in (name for name in STRATEGIES[1:] if name in names):
        heavier = STRATEGIES[STRATEGIES.index(name) + 1:]
        others = [other for other in heavier if other in names]
        if "none" in names and found["none"][0].life_yr[0] > 0:
            others.append("none")
        for other in others:
            even = lifecycle.break_even(found[name], cost[other], terms)
            words = _WORDS[other] if other != "none" else f"no work now and {_WORDS[found[other][1].strategy]} then"
            said.append(lifecycle.sentence(_WORDS[name], words, even, 0, float(found[name][0].life_yr[0]),
                                           bool(cost[name][0] < cost[other][0]), trigger, terms))
    return said


def benefit_cost(prepared: Prepared, block_id: str, names: Sequence[str]) -> pd.DataFrame:
    """Incremental benefit-cost of one block's strategies of work, from the cheapest to the dearest.

    Columns held (empty: nothing), challenger, cost_usd and benefit (what the challenger adds to the one held),
    per_1000_usd (benefit of a thousand dollars of the step), least_per_1000_usd and taken.  Benefit is the discounted
    sound pavement that the work gains over the horizon, weighted by traffic, cost the present worth of the same work
    alone with its regrindings and less its value at the end: what follows is in neither.  A step is taken if it gains
    at least what as many dollars gain on average where the rules call for work in the first year; both of the last
    columns are missing where they call for none.
    """
    row, least = prepared.row(block_id), _average_benefit(prepared)
    works = [name for name in STRATEGIES[1:] if name in names]
    line = prepared.worth.iloc[row]
    cost = [max(float(line[f"{name}_own_usd"]), 0.0) for name in works]
    steps = increments(cost, [float(prepared.benefits[name][row, 0]) for name in works],
                       0.0 if np.isnan(least) else least)
    return pd.DataFrame({
        "held": pd.Series(["" if step.held is None else works[step.held] for step in steps], dtype="str"),
        "challenger": pd.Series([works[step.challenger] for step in steps], dtype="str"),
        "cost_usd": [step.cost for step in steps], "benefit": [step.benefit for step in steps],
        "per_1000_usd": [1_000 * step.ratio for step in steps], "least_per_1000_usd": 1_000 * least,
        "taken": pd.array([None if np.isnan(least) else step.taken for step in steps], dtype="boolean")})


def stream(prepared: Prepared, block_id: str, strategy: str) -> pd.DataFrame:
    """The events of one block's life cycle with a strategy done now, in the order of time.

    Columns year, after_yr (years from the first year), what (in words), usd (real dollars of the first year), worth_usd
    (the same at its present worth), and user_usd where the delay of road users is counted.
    """
    terms = _terms(prepared)
    course = of_block(prepared, block_id)[strategy]
    rows = [{"year": prepared.start_year + int(event.year[0]), "after_yr": float(event.year[0]),
             "what": _WORDS[event.what].capitalize(), "usd": float(event.usd[0]),
             "worth_usd": float(event.usd[0] * present_worth_factor(terms.discount, event.year[0])),
             "user_usd": float(event.user_usd[0])} for event in lifecycle.events(course, terms) if event.done[0]]
    shown = ["year", "after_yr", "what", "usd", "worth_usd"]
    if lifecycle.delay_counted(prepared.assumptions):
        shown.append("user_usd")
    return pd.DataFrame(rows).sort_values("after_yr", kind="stable", ignore_index=True)[shown]


def _average_benefit(prepared: Prepared) -> float:
    """What a dollar of the work that the rules call for in the first year gains on average; NaN if there is none."""
    gained = spent = 0.0
    for number, name in enumerate(STRATEGIES[1:], 1):
        due = prepared.by_rule[:, 0] == number
        gained += float(prepared.benefits[name][due, 0].sum())
        spent += float(prepared.worth.loc[due, f"{name}_own_usd"].sum())
    return gained / spent if spent > 0 else float("nan")


def _delays(network: pd.DataFrame, start_year: int, assumptions: Assumptions) -> dict[str, Floats]:
    """Delay of road users by strategy and for a grinding, dollars of the first year; empty if it is not counted."""
    if not lifecycle.delay_counted(assumptions):
        return {}
    raised = escalation_factor(assumptions.number("economics", "escalation"),
                               start_year - assumptions.number("economics", "price_year"))
    area, adt, trucks = (network[name].to_numpy(float) for name in ("area_sqyd", "adt", "truck_share"))
    return {name: raised * lifecycle.delay_usd(name, area, adt, trucks, assumptions)
            for name in (*STRATEGIES, lifecycle.GRINDING)}


def _then(course: Course) -> str:
    works = [activity.strategy for activity in course[1:] if activity.of is None or activity.of[0]]
    return ", then ".join(_WORDS[name] for name in works or [course[-1].strategy])


def _terms(prepared: Prepared) -> lifecycle.Terms:
    return lifecycle.terms(prepared.assumptions, grinding.life(prepared.assumptions))


def _trigger(prepared: Prepared, row: int) -> float:
    of = str(prepared.network["functional_class"].iloc[row])
    return prepared.assumptions.number("economics", f"trigger.{of}")


def _percent(rate: float) -> str:
    return f"{100 * rate:.2f}".rstrip("0").rstrip(".") + " %"
