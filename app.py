"""The dashboard: run with ``streamlit run app.py``."""

import streamlit as st

st.set_page_config(page_title="Concrete street rehabilitation planner", page_icon="🛣️", layout="wide")

st.navigation([
    st.Page("pages/start.py", title="Start and data", default=True),
    st.Page("pages/strategies.py", title="Strategies", url_path="strategies"),
    st.Page("pages/program.py", title="Program and scenarios", url_path="program"),
    st.Page("pages/season.py", title="Season", url_path="season"),
    st.Page("pages/worklist.py", title="Work list", url_path="worklist"),
    st.Page("pages/prices.py", title="Prices and rules", url_path="prices"),
]).run()
