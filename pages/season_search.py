"""A longer search for a better calendar, in the background: it shows how far it is and can be stopped."""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from threading import Event, Thread
from typing import Any

import pandas as pd
import streamlit as st

from pages import session
from rehab import plan
from rehab.base.errors import BadAssumption
from rehab.steps.season import Given, Season, Standing

SECONDS = 30.0


@dataclass
class Job:
    """A search that is running or has ended."""

    key: tuple[object, ...]
    begun: float
    stop: Event = field(default_factory=Event)
    seen: list[tuple[float, Standing]] = field(default_factory=list)
    found: Season | None = None
    failed: str = ""
    thread: Thread | None = None

    @property
    def runs(self) -> bool:
        return self.thread is not None and self.thread.is_alive()


def show(made: plan.Plan, year: int, key: tuple[object, ...], given: Given, geometry: pd.DataFrame) -> None:
    """The button that begins the search, its progress, and the button that ends it."""
    job: Job | None = st.session_state.get("season_job")
    if job is not None and job.key == key:
        _watch()
        return
    if st.button("Look for a better calendar", help=f"Searches up to {SECONDS:.0f} seconds for an earlier end and "
                 "shorter ways; the best so far is kept when you stop it."):
        begin(made, year, key, given, geometry)
        st.rerun()


def begin(made: plan.Plan, year: int, key: tuple[object, ...], given: Given, geometry: pd.DataFrame) -> None:
    """Start the search; one that runs for something else ends."""
    old: Job | None = st.session_state.get("season_job")
    if old is not None:
        old.stop.set()
    job = Job(key, time.monotonic())

    def work() -> None:
        try:
            job.found = plan.season_of(made, year, geometry, given, SECONDS, lambda at: job.seen.append(
                (time.monotonic() - job.begun, at)), job.stop)
        except BadAssumption as error:
            job.failed = str(error)

    job.thread = Thread(target=work, daemon=True)
    st.session_state["season_job"] = job
    job.thread.start()


def found(key: tuple[object, ...]) -> Season | None:
    """The better calendar, if the search for it has ended."""
    job: Job | None = st.session_state.get("season_job")
    return job.found if job is not None and job.key == key and not job.runs else None


@st.fragment(run_every=1.0)
def _watch() -> None:
    job: Job = st.session_state["season_job"]
    latest: Any = job.seen[-1][1] if job.seen else None
    told = "" if latest is None else \
        f"With the grinder coming at once, {latest.blocks} blocks until {latest.ends:%a} {latest.ends.day} " \
        f"{latest.ends:%b}"
    if latest is not None and latest.bound is not None:
        told += f"; nothing ends before {latest.bound:%a} {latest.bound.day} {latest.bound:%b}"
    if job.runs:
        passed = time.monotonic() - job.begun
        st.progress(min(passed / SECONDS, 1.0), text=f"Searching for {passed:.0f} of {SECONDS:.0f} s. {told}")
        if st.button("Stop and keep the best so far"):
            job.stop.set()
        st.session_state["season_running"] = True
        return
    if st.session_state.pop("season_running", False):
        st.rerun(scope="app")
    if job.found is None:
        why = job.failed or "a fault of the program, written where it runs"
        st.error(session.plain(f"The search broke off: {why}"))
    elif told:
        st.caption(f"Searched. {told}.")
