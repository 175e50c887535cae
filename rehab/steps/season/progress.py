"""The plan beside what was done."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from rehab.base import tables
from rehab.base.settings import WEEKDAYS, Assumptions
from rehab.steps.season.days import holidays_of


def progress(tasks: pd.DataFrame, actual: pd.DataFrame, today: date, assumptions: Assumptions) -> pd.DataFrame:
    """The table ``progress``: each task of this season with the days it was planned for and those it was done on.

    ``actual``: table of that name.  A task that was ended is done; one begun and not ended in time is late to finish,
    one not begun in time late to start.  ``late_days`` are working days, below zero where the work came earlier.
    """
    rows = tasks.merge(actual[["task_id", "started", "finished"]], on="task_id", how="left")
    now = pd.Timestamp(today)
    done, begun = rows["finished"].notna(), rows["started"].notna()
    state = np.select(
        [done, begun & (rows["finish"] < now), begun, rows["start"] < now], ["done", "late to finish", "under way",
                                                                             "late to start"], "to come")
    planned = rows["finish"].where(done | begun, rows["start"])
    reached = rows["finished"].where(done, now.to_datetime64()).where(done | (planned < now), planned)
    week = "".join("1" if name in assumptions.text("season", "work_week").split() else "0" for name in WEEKDAYS)
    days: list[Any] = [*planned, *reached]
    off = sorted(holidays_of(min(days).date(), max(days).date(), assumptions)) if days else []
    late = np.busday_count(planned.to_numpy("datetime64[D]"), reached.to_numpy("datetime64[D]"), weekmask=week,
                           holidays=np.array(off, "datetime64[D]"))
    found = rows[["task_id", "block_id", "task", "crew", "start", "finish", "started", "finished"]].assign(
        state=state, late_days=late.astype(float))
    return tables.check("progress", tables.with_types("progress", found))
