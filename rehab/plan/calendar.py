"""What it would take to finish more of a year's work in its season: the calendar made anew with one thing changed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from typing import Final

import pandas as pd

from rehab import plan as planning
from rehab.base.settings import Assumptions
from rehab.plan.model import Plan
from rehab.steps.season import Given, Season, span

_LONGER_DAYS: Final = 14
#: columns of the table, with what they hold
COLUMNS: Final = ("change", "ground", "not_ground", "not_placed", "ends")


def what_it_takes(made: Plan, season: Season, geometry: pd.DataFrame | None, given: Given) -> pd.DataFrame:
    """One row for each change of crews, days, campaigns or pace, and for none: what is ground then.

    Columns: change (words), ground and not_ground (blocks this season), not_placed (blocks with repairs that move to
    the next season or further), ends (last day of the season's work).  Every row is the quick calendar, not searched.
    """
    rows = []
    for words, assumptions in _changes(made.prepared.assumptions, season):
        with_it = replace(made, prepared=replace(made.prepared, assumptions=assumptions))
        found = planning.season_of(with_it, season.year, geometry, given, 0.0)
        now = found.tasks[found.tasks["season"] == "this"]
        repaired = set(now.loc[~now["task"].isin(["fill", "grind", "stripe"]), "block_id"])
        every = set(made.program.loc[made.program["year"] == season.year, "block_id"])
        ground = int((found.blocks["season"] == "this").sum())
        rows.append({"change": words, "ground": ground, "not_ground": len(found.blocks) - ground,
                     "not_placed": len(every - repaired), "ends": now["finish"].max()})
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _changes(base: Assumptions, season: Season) -> Iterator[tuple[str, Assumptions]]:
    """Words and values of each change."""
    yield "As it is", base
    for row in season.loads.head(2).to_dict("records"):
        crew, count = str(row["crew"]), int(row["crews"])
        if crew != "Grinder":
            yield f"One more {crew.lower()} ({count + 1})", base.having("season", {f"crews.{crew}": str(count + 1)})
    _, last = span(season.year, base)
    later = last + timedelta(days=_LONGER_DAYS)
    yield (f"Season until {later.day} {later:%B}, two weeks longer",
           base.having("season", {"last_day": f"{later:%m-%d}"}))
    most = int(base.number("season", "campaigns_most"))
    yield f"The grinder brought up to {most} times", base.having("season", {"campaigns": str(most)})
    for pace in ("low", "high"):
        yield f"Crews at their {pace} rate", base.having("season", {"pace": pace})
