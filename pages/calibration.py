"""Calibration: the city's own surveys set against the curves of the forecast, and the curves fitted to them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import partial

import pandas as pd
import streamlit as st

from pages import cities, session
from pages.uploads import mapping_form, opened, show_problems
from rehab.base.errors import BadAssumption, Note, Problem, UnusableInput, as_table
from rehab.base.settings import Assumptions, fingerprint
from rehab.inputs import assumptions, demo, reading
from rehab.outputs import charts, exports
from rehab.outputs.words import count, known, label, number, share
from rehab.plan import backtest, calibrate

ENDINGS = ["csv", "txt", "tsv", "xlsx", "geojson", "json", "gpkg", "zip"]
_MODELS = {"survival": "The forecast", "no_change": "No change", "straight_line": "Straight line"}
_MEASURES = {"index": "Condition index", "full_share": "Panels that need full depth",
             "partial_share": "Panels that need partial depth"}
_CURVES = {"default": "values before", "refitted": "fitted to the older surveys"}


@dataclass(frozen=True)
class Survey:
    """One survey to fit to: where it is from, and its blocks."""

    name: str
    blocks: pd.DataFrame


def main() -> None:
    st.title("Calibration")
    session.banner()
    st.write("The forecast ages panels by curves. With two or more surveys of the same blocks the curves are fitted to "
             "what your own streets did between them: most likely values, how sure they are, and where work must have "
             "been done that nobody recorded.")
    surveys = _surveys()
    if len(surveys) < 2:
        st.info("Give at least two surveys of the same blocks.")
        return
    given = _before()
    key = (*(fingerprint(survey.blocks) for survey in surveys), given.fingerprint())
    if st.button("Fit the curves to the surveys", type="primary", key="fit"):
        st.session_state["fitted"] = key
    if st.session_state.get("fitted") != key:
        st.caption("A thousand blocks take some seconds, ten thousand a minute or more.")
        return
    try:
        made = _fit(key, [survey.blocks for survey in surveys], given)
    except ValueError as error:
        st.error(f"Not fitted: {error}")
        return
    _show(made, given)
    if len(surveys) > 2:
        _tested(key, [survey.blocks for survey in surveys], given)


def _before() -> Assumptions:
    """The assumptions in use, but with the curves of the defaults: a refit begins where nothing was fitted."""
    own = {table: rows for table, rows in session.values().items() if table != "survival"}
    return assumptions.overlay(assumptions.defaults(), own)


def _surveys() -> list[Survey]:
    """The surveys chosen, in the order in which they are given."""
    found = []
    uploads = st.file_uploader("Tables of blocks, one for each survey", type=ENDINGS, key="surveys_file",
                               accept_multiple_files=True)
    if session.tables().invented and st.checkbox(
            f"The demo city's survey of {demo.EARLIER_YEAR}", not uploads, key="survey_demo"):
        found.append(_demo())
    mapping = None
    for number_, upload in enumerate(uploads):
        try:
            raw = opened(upload, "blocks", None)
            if number_ == 0:
                with st.expander(session.plain(f"Which column is which, from {upload.name}, for all the tables")):
                    mapping = mapping_form(raw, "blocks")
            read = reading.read_blocks(raw, mapping, today=date.today())
        except UnusableInput as error:
            st.error(session.plain(f"{upload.name} cannot be used as it stands."))
            show_problems(as_table(error.problems, Problem))
            continue
        st.write(session.plain(f"{upload.name}: {count(len(read.table), 'block')} can be used."))
        if len(read.problems):
            with st.expander(session.plain(f"{count(len(read.problems), 'problem')} of {upload.name}")):
                st.dataframe(read.problems, hide_index=True, width="stretch", placeholder="", column_config={
                    "severity": "Kind", "file": "File", "row": "Row", "column": "Column", "value": "Value",
                    "message": "What is wrong", "accepted": "What would be accepted"})
        if len(read.table):
            found.append(Survey(upload.name, read.table))
    if st.checkbox("The blocks in use are the newest survey", key="survey_in_use", value=True):
        found.append(Survey(session.tables().name, session.tables().blocks))
    return found


@st.cache_resource
def _demo() -> Survey:
    file = cities.DEMO / f"blocks_{demo.EARLIER_YEAR}.csv"
    return Survey(file.name, reading.read_blocks(reading.open_table(file.name, file.read_bytes())).table)


@st.cache_resource(max_entries=4, show_spinner="Fitting the curves ...")
def _fit(key: tuple[str, ...], _surveys: list[pd.DataFrame], _given: Assumptions) -> calibrate.Refit:
    return calibrate.refit(_surveys, _given)


@st.cache_resource(max_entries=4, show_spinner="Running the forecast on the older surveys ...")
def _test(key: tuple[str, ...], _surveys: list[pd.DataFrame], _given: Assumptions) -> backtest.BackTest:
    # The newest is the one whose surveys are latest, wherever it stands.
    ordered = sorted(_surveys, key=lambda blocks: blocks["surveyed_on"].max() if blocks["surveyed_on"].notna().any()
                     else pd.Timestamp(0))
    return backtest.run(ordered[:-1], ordered[-1], _given)


def _show(made: calibrate.Refit, given: Assumptions) -> None:
    for sentence in calibrate.sentences(made):
        st.markdown(f"- {session.plain(sentence)}")
    if len(made.rows):
        st.subheader("What the surveys say")
        st.dataframe(_in_words(made.rows), hide_index=True, width="stretch")
        st.caption("A value that the surveys cannot tell stays as it was. Interval: 95 %. Values are most likely all "
                   "together; taking some of them alone would not be.")
        _take_over(made)
    st.subheader("Curves against what was seen")
    classes = [name for name in ("arterial", "collector", "local", "alley")
               if (made.against["functional_class"] == name).any()]
    if classes:
        shown = st.selectbox("Class", classes, classes.index("local") if "local" in classes else 0, format_func=label,
                             key="fit_class")
        st.plotly_chart(charts.fit_chart(made.against, shown), key="fit_chart",
                        alt=charts.describe_fit(made.against, shown))
        st.write(session.plain(charts.describe_fit(made.against, shown)))
    st.caption("Points: blocks of known age that were never repaired, by their newest survey. Curves: expected of the "
               "same blocks, averaged over how blocks of a family differ. Streets that needed repair early are no "
               "longer among them, and old ages look better than they are.")
    st.subheader("Block by block")
    st.plotly_chart(charts.residual_chart(made.residuals), key="residual_chart",
                    alt=charts.describe_residuals(made.residuals))
    st.write(session.plain(charts.describe_residuals(made.residuals)))
    st.caption("Each block's newest survey is expected from the one before it, by the fitted curves.")
    _residuals(made.residuals)
    _apart(made.set_apart)
    if made.notes:
        st.subheader("What was assumed")
        for note in made.notes:
            st.markdown(f"- {session.plain(_said(note, made.rows))}")


def _in_words(rows: pd.DataFrame) -> pd.DataFrame:
    def interval(row: pd.Series) -> str:
        if known(row["low"]):
            return f"{_figure(row['low'])} to {_figure(row['high'])}"
        return "at an end of its range" if row["fitted"] else "cannot be told"

    moved = rows["fitted"] & ~rows["default"].between(rows["low"], rows["high"])
    return pd.DataFrame({
        "Value": rows["key"].map(calibrate.named), "Before": rows["default"].map(_figure),
        "Fitted": rows["value"].map(_figure).where(rows["fitted"].astype(bool), "as before"),
        "Interval": rows.apply(interval, axis=1), "Changed": moved.map({True: "yes", False: "no"})})


def _figure(value: float) -> str:
    return f"{value:,.0f}" if abs(value) >= 100 else f"{value:.3g}"


def _take_over(made: calibrate.Refit) -> None:
    own = {"survival": made.fit.values()} if made.fit else {}
    left, right, _ = st.columns([2, 2, 3])
    if left.button("Take over as the city's values", key="take_over", width="stretch"):
        wanted = {**session.values().get("survival", {}), **own["survival"]}
        try:
            assumptions.overlay(assumptions.defaults(), {"survival": wanted})
        except BadAssumption as error:
            st.error(f"Not taken over: {error}")
        else:
            session.values()["survival"] = wanted
            st.success("Taken over: every screen now forecasts with the city's own curves. *Prices and rules*, table "
                       "Survival, shows them and takes them back.")
    right.download_button("The values as a file", partial(exports.values_toml, own), "survival.toml",
                          on_click="ignore", width="stretch", help="For plan --assumptions on the command line")


def _residuals(rows: pd.DataFrame) -> None:
    if rows.empty:
        return
    far = rows.assign(far=rows[["partial_residual", "full_residual"]].abs().max(axis=1))
    far = far.sort_values("far", ascending=False, kind="stable").head(50)
    st.markdown("**Blocks farthest from what was expected**: damaged more or less than their family and their last "
                "survey say; look whether the surveys agree on what they count")
    st.dataframe(pd.DataFrame({
        "Block": far["block_id"], "Surveys": far["from_year"].astype(str) + " to " + far["to_year"].astype(str),
        **{f"{words}, {when}": far[f"{when}_{name}_share"].map(share)
           for name, words in (("partial", "Shallow"), ("full", "Deep")) for when in ("expected", "seen")},
        "Standard deviations": far["far"].map(number)}), hide_index=True, width="stretch", height=300)
    st.download_button("Every block as CSV", partial(exports.csv_text, rows), "residuals.csv", on_click="ignore")


def _apart(rows: pd.DataFrame) -> None:
    st.subheader("Set apart")
    if rows.empty:
        st.write("No block got better between two surveys, and none has work recorded between them.")
        return
    st.write("Between these surveys work explains what changed, so they say nothing of how streets age. Where nobody "
             "recorded it, the panels themselves tell: they do not heal.")
    st.dataframe(pd.DataFrame({
        "Block": rows["block_id"], "From": rows["from_year"].astype(str), "To": rows["to_year"].astype(str),
        "Why": rows["reason"].map({"recorded work": "work was recorded", "unrecorded work": "work nobody recorded"})}),
        hide_index=True, width="stretch", height=min(80 + 35 * len(rows), 300))
    st.download_button("Set apart as CSV", partial(exports.csv_text, rows), "set_apart.csv", on_click="ignore")


def _tested(key: tuple[str, ...], surveys: list[pd.DataFrame], given: Assumptions) -> None:
    st.subheader("Back-test")
    st.write("The curves fitted to the older surveys alone are asked for the newest, beside two plain models.")
    try:
        made = _test(key, surveys, given)
    except ValueError as error:
        st.write(f"No back-test: {error}")
        return
    rows = made.errors
    digits = (rows["unit"] == "share").map({True: 100.0, False: 1.0})
    st.dataframe(pd.DataFrame({
        "What": rows["measure"].map(_MEASURES), "By": rows["model"].map(_MODELS), "Blocks": rows["blocks"].map(int),
        "Unit": rows["unit"].map({"share": "points of a hundred panels", "points": "points"}),
        **{words: (digits * rows[name]).map(lambda value: number(value, 2)) for words, name in (
            ("Mean error", "mean_error"), ("Mean size of error", "mean_absolute_error"),
            ("Root mean square", "root_mean_square_error"))},
        "Inside the 80 % interval": [share(value) if known(value) else "no interval" for value in rows["coverage"]]}),
        hide_index=True, width="stretch")
    first = rows.iloc[0]
    worked, better = (count(int(first[f"left_out_{name}"]), "block") for name in ("work", "unrecorded"))
    st.caption(f"Curves: {_CURVES.get(first['curves'], first['curves'])}. Left out: {worked} with work recorded, "
               f"{better} that got better without a record.")
    for note in made.notes:
        st.markdown(f"- {session.plain(note.message)}")


def _said(note: Note, rows: pd.DataFrame) -> str:
    """A note without the names of rows."""
    text = note.message
    for key in rows["key"]:
        text = text.replace(str(key), calibrate.named(str(key)))
    return f"{text[0].upper()}{text[1:]}."


main()
