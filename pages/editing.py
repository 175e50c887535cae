"""A table of the scenario to edit: it begins with what the scenario holds, and anew when that is changed elsewhere."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pandas as pd
import streamlit as st

from pages import session


def edit(part: str, table: pd.DataFrame, read: Callable[[pd.DataFrame], Any], **editor: Any) -> None:
    """Show ``table``, which the scenario's ``part`` makes, and take over what is edited; ``read`` may refuse it.

    What is refused is said below the table, stays in it to be mended, and leaves the scenario as it was.
    """
    held = getattr(session.scenario(), part)
    state = st.session_state.get(f"table_{part}")
    shape = tuple(table.columns)
    # The browser's edits are gone once the table was off the screen.
    if state is None or state["held"] != held or state["shape"] != shape or state["key"] not in st.session_state:
        version = state["version"] + 1 if state else 0
        state = st.session_state[f"table_{part}"] = {
            "held": held, "shape": shape, "table": table, "version": version, "key": f"edit_{part}_{version}"}
    edited = st.data_editor(state["table"], key=state["key"], hide_index=True, width="stretch", **editor)
    try:
        found = read(edited)
    except (ValueError, KeyError) as error:
        session.refuse(part, error)
    else:
        if found != held and session.change(part, **{part: found}):
            state["held"] = found
    session.refused(part)
