"""Other scenarios beside the plan: which a council should see, and the page that sets them side by side."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

import pandas as pd

from rehab import plan as plans
from rehab.base.settings import Scenario
from rehab.plan.brief import say
from rehab.plan.brief.facts import REBUILD, Facts, backlog, each_row, rebuilt_for_want_of_repair
from rehab.plan.brief.model import Chart, Figure, Grid, Page, Series
from rehab.plan.brief.money import BACKLOG_NOTE
from rehab.plan.least import Least
from rehab.plan.model import Plan

NO_MONEY: Final = "No work at all"
WORST_FIRST: Final = "Worst streets first"
HOLDING: Final = "Hold today's condition"
LESS, MORE = 0.5, 1.5  #: multiples of the present money
_FALL: Final = 0.005  #: a fall of the sound share that is worth telling
_PLAIN: Final = {"overrides": (), "forced": (), "closed": (), "targets": (), "cleared_by": None, "kept_out": ()}


def scenarios(plan: Plan) -> list[Scenario]:
    """What a council should see beside the plan: no work, less money, more money, and the same money worst first.

    The question of less and of more money is the plan's own in all else; no work and worst first are without what was
    set by hand and without aims of condition, which simple rules know nothing of.  Without any money in the plan only
    no work remains.
    """
    own = plan.scenario
    found = [replace(own, name=NO_MONEY, choice="no work", **_PLAIN)]  # type: ignore[arg-type]
    if sum(own.money_usd) > 0:
        found += [replace(own.times(LESS), name="Half the money"),
                  replace(own.times(MORE), name="Half as much money again")]
        if own.choice != "worst first":
            found.append(replace(own, name=WORST_FIRST, choice="worst first", **_PLAIN))  # type: ignore[arg-type]
    return found


def decide(plan: Plan, effort: int = 3, holds: Least | None = None) -> dict[str, Plan]:
    """The plans of :func:`scenarios` by name; with ``holds``, the least money that holds the condition, where known."""
    made: dict[str, Plan] = {}
    for scenario in scenarios(plan):
        made[scenario.name] = plans.decide(plan.prepared, scenario, effort, [plan, *made.values()])
    if holds is not None and holds.plan is not None:
        made[HOLDING] = holds.plan
    return made


def all_plans(facts: Facts) -> dict[str, Plan]:
    """The plan under the name of its scenario, then the others; one that has the plan's name is left out."""
    own = say.first(facts.plan.scenario.name)
    return {own: facts.plan, **{name: made for name, made in facts.others.items() if name != own}}


def outcomes(made: Mapping[str, Plan]) -> pd.DataFrame:
    """One row per plan: what it costs, what it buys and what it leaves.

    Columns scenario, usd_per_yr (mean of the money there is), spent_usd, blocks, sound (share of the area after the
    last year's work), index, backlog_usd and backlog_blocks (in the last year), rebuilt (blocks that a repair in the
    first year would have saved from reconstruction), failed.
    """
    rows = []
    for name, one in made.items():
        last, left = one.by_year.iloc[-1], backlog(one).iloc[-1]
        rows.append({
            "scenario": name, "usd_per_yr": 0.0 if one.scenario.choice == "no work" else
            sum(one.scenario.money_usd) / one.prepared.years,
            "spent_usd": float(one.by_year["spent_usd"].sum()), "blocks": len(one.program),
            "sound": float(last["sound_with"]), "index": float(last["index_with"]),
            "backlog_usd": float(left["backlog_usd"]), "backlog_blocks": int(left["blocks"]),
            "rebuilt": len(rebuilt_for_want_of_repair(one)), "failed": one.chosen.failed})
    return pd.DataFrame(rows)


def page(facts: Facts) -> Page:
    """The scenarios side by side."""
    made = all_plans(facts)
    table = outcomes(made)
    start, last, own = facts.start, facts.years[-1], table.iloc[0]
    sound = float(facts.plan.by_year["sound_without"].iloc[0])
    lead = (f"With {_money(own)}, the sound share of the concrete goes from {say.share(sound)} at the start of "
            f"{start} to {say.share(own['sound'])} at the end of {last}, and {say.undone(own['backlog_usd'])} is "
            "left undone then.")
    if own["failed"]:
        lead = (f"With {_money(own)}, no program keeps all the limits asked for: what is shown for it is what happens "
                "without any work.")
    without = _without_work(facts)
    return Page("scenarios", "What would other amounts of money buy, and what would they leave?", lead,
                figures=tuple(Figure(str(row["scenario"]), "no program" if row["failed"] else say.share(row["sound"]),
                                     f"sound at the end of {last}, for {_money(row)}") for _, row in table.iterrows()),
                chart=_chart(facts, made), text=(*_peak(facts), without),
                grids=(_grid(facts, table),),
                notes=(f"Sound: share of the area after the work of {last}. Dollars are those of the year; left "
                       f"undone in dollars of {last}.", BACKLOG_NOTE,
                       f"Rebuilt for want of repair: blocks that partial- or full-depth repair would mend at the "
                       f"start of {start} by the rules, and that the scenario reconstructs, or does no work on and "
                       f"leaves in need of reconstruction by {last}."))


def _peak(facts: Facts) -> tuple[str, ...]:
    """When the sound share is highest, where it falls again before the end."""
    path = facts.plan.by_year["sound_with"].to_numpy(float)
    best = int(path.argmax())
    if path[best] - path[-1] < _FALL:
        return ()
    if best == 0 and path[0] <= float(facts.plan.by_year["sound_without"].iloc[0]) + _FALL:
        why = "the streets wear faster than the money mends them" if len(facts.works) else \
            "the streets wear, and no work is done"
        return (f"With this program the sound share falls from {facts.start} on: {why}.",)
    if backlog(facts.plan)["backlog_usd"].iloc[-1] <= 0 and facts.plan.scenario.works == 1:
        return (f"With this program the sound share is highest after {facts.years[best]}, {say.share(path[best])}; the "
                "plan gives a block one work, and the blocks wear on after it.",)
    return (f"With this program the sound share is highest after {facts.years[best]}, {say.share(path[best])}; from "
            "then on the streets wear faster than the money mends them.",)


def _money(row: pd.Series) -> str:
    usd = float(row["usd_per_yr"])
    return f"{say.about(usd)} a year" if usd > 0 else "no money"


def _without_work(facts: Facts) -> str:
    """How many blocks a repair would save from reconstruction, by this program and without any work."""
    prepared, last = facts.prepared, facts.years[-1]
    rule = prepared.by_rule
    repair = (rule[:, 0] > 0) & (rule[:, 0] < REBUILD)
    lost, mine = int((repair & (rule[:, -1] == REBUILD)).sum()), len(rebuilt_for_want_of_repair(facts.plan))
    if not lost and not mine:
        return f"No block that a repair would mend today comes to need reconstruction by {last}."
    return (f"Without any work, {say.count(lost)} that a repair would mend at the start of {facts.start} "
            f"{say.verb(lost, 'needs', 'need')} reconstruction by {last}; with this program {say.count(mine)} "
            f"{say.verb(mine, 'does', 'do')}, or {say.verb(mine, 'is', 'are')} rebuilt.")


def _chart(facts: Facts, made: Mapping[str, Plan]) -> Chart:
    series = tuple(Series(name, tuple((100 * one.by_year["sound_with"]).tolist()), _role(at, one), line=True)
                   for at, (name, one) in enumerate(made.items()))
    return Chart("lines", "Share of sound concrete", tuple(str(year) for year in facts.years), series, "%", "Year",
                 "Sound share of the area", "Share of the concrete that is sound after each year's work.")


def _role(at: int, one: Plan) -> str:
    if at == 0:
        return "with work"
    return "without work" if one.scenario.choice == "no work" else ""


def _grid(facts: Facts, table: pd.DataFrame) -> Grid:
    rows = tuple((row.scenario, say.whole(row.usd_per_yr), say.whole(row.spent_usd), f"{row.blocks:,}",
                  say.share(row.sound, 1), f"{row.index_:.1f}", say.whole(row.backlog_usd), f"{row.backlog_blocks:,}",
                  f"{row.rebuilt:,}") for row in each_row(table.rename(columns={"index": "index_"})))
    last = facts.years[-1]
    return Grid("The scenarios side by side",
                ("Scenario", "Money a year", f"Spent by {last}", "Blocks worked on", f"Sound, end of {last}",
                 f"Index, end of {last}", f"Left undone in {last}", "Blocks left undone", "Rebuilt for want of repair"),
                rows, frozenset(range(1, 9)), (0.2, 0.1, 0.1, 0.1, 0.1, 0.09, 0.12, 0.09, 0.1))
