"""What a browser session runs: the pages, in the order of the work."""

import streamlit as st

st.set_page_config(page_title="Concrete street rehabilitation planner", page_icon="🛣️", layout="wide")
# What is about to be replaced fades after a while in one step: to fade it frame by frame slows what replaces it.
st.html("<style>[data-stale='true']{transition:opacity 0s 1s!important}</style>")

st.navigation([
    st.Page("start.py", title="Start and data", default=True),
    st.Page("strategies.py", title="Strategies", url_path="strategies"),
    st.Page("program.py", title="Program and scenarios", url_path="program"),
    st.Page("season.py", title="Season", url_path="season"),
    st.Page("worklist.py", title="Work list", url_path="worklist"),
    st.Page("brief.py", title="Council brief", url_path="brief"),
    st.Page("files.py", title="Files", url_path="files"),
    st.Page("prices.py", title="Prices and rules", url_path="prices"),
    st.Page("calibration.py", title="Calibration", url_path="calibration"),
]).run()
