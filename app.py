"""The dashboard: run with ``streamlit run app.py``."""

from __future__ import annotations

import gc
import logging
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from threading import Thread

import streamlit as st

from pages import ahead


@asynccontextmanager
async def begun(_app: st.App) -> AsyncIterator[None]:
    """Read and plan the demo city while the browser still loads the page."""
    ahead.start()
    Thread(target=_plan_demo, daemon=True).start()
    yield None


def _plan_demo() -> None:
    gc.disable()  # libraries make objects by the hundred thousand and hardly any garbage: looking for it costs a tenth
    try:
        # Not pages.city_map: a component that is loaded before the server stands is not served.
        import rehab.outputs.maps  # noqa: F401
        from pages import session

        # Caches work outside a browser's session, but warn of it at every use.
        logging.getLogger("streamlit.runtime.scriptrunner_utils.script_run_context").setLevel(logging.ERROR)
        session.decided()
    finally:
        gc.freeze()  # what stands until the end is not looked through again
        gc.enable()


app = st.App("pages/navigation.py", lifespan=begun)
