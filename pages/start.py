"""Start and data: what is loaded, what is wrong with it, and how to load a table of one's own."""

from __future__ import annotations

from datetime import date

import pandas as pd
import streamlit as st

from pages import cities, session
from pages.city_map import show_map
from pages.uploads import mapping_form, opened, show_problems
from rehab.base import tables
from rehab.base.errors import Note, Problem, UnusableInput, as_table
from rehab.inputs import reading
from rehab.outputs.words import label, money

ENDINGS = ["csv", "txt", "tsv", "xlsx", "geojson", "json", "gpkg", "zip"]


def main() -> None:
    st.title("Concrete street rehabilitation planner")
    session.banner("below the map")
    overview_part()
    load_part()
    keeping = st.expander("Keep this work, or open what was kept", key="keeping", on_change="rerun")
    if keeping.open:
        from pages import kept  # the database is opened only where it is wanted
        with keeping:
            kept.show()


def overview_part() -> None:
    made = session.decided()
    found = session.tables()
    st.subheader(session.plain(f"{found.name}: {made.summary['blocks']:,} blocks"))
    tiles = st.columns(5)
    for tile, (name, count) in zip(tiles, made.summary["strategies"].items(), strict=False):
        cost = made.overview.loc[made.overview["strategy"] == name, "likely_usd"].sum()
        tile.metric(label(name), f"{count:,}", help="Blocks by today's condition", delta=money(cost) if cost else None,
                    delta_color="off", delta_arrow="off")
    tiles[4].metric("In the program", f"{len(made.program):,}",
                    delta=f"{money(made.summary['spent_usd'])} in {len(made.by_year)} years", delta_color="off",
                    delta_arrow="off")
    session.estimated_note(made.overview)
    show_map(made, "start")
    if made.prepared.notes:
        st.write(f"**{len(made.prepared.notes):,} things to know about the blocks in use**")
        told = as_table(made.prepared.notes, Note)[["block_id", "topic", "message"]]
        st.dataframe(told, hide_index=True, width="stretch", height=min(80 + 35 * len(told), 300), column_config={
            "block_id": "Block", "topic": "About", "message": "What to know"})
    if len(found.problems):
        show_problems(found.problems)


def load_part() -> None:
    st.header("Load a table of your own")
    st.write("One row per block. Needed: a name for the block, its length and width, and some measure of condition: "
             "panel counts, an index of 0 to 100, a rating of 1 to 10, or a word. CSV, XLSX, GeoJSON, GeoPackage or a "
             "zipped Shapefile; feet or metres.")
    tiles = st.columns(4)
    tiles[0].download_button("Template, workbook", reading.template_workbook, "template.xlsx", on_click="ignore")
    tiles[1].download_button("Template, CSV", reading.template, "template.csv", on_click="ignore")
    tiles[2].download_button("Panel survey template, CSV", lambda: reading.template("defects"), "panel_survey.csv",
                             on_click="ignore")
    tiles[3].download_button("Data dictionary", reading.dictionary, "data_dictionary.csv", on_click="ignore")
    upload = st.file_uploader("Table of blocks", type=ENDINGS, key="blocks_file")
    defects = st.file_uploader("Panel-by-panel survey of some blocks, if any", type=ENDINGS, key="defects_file")
    lines = st.file_uploader("Lines of the blocks, if in a file of their own", type=ENDINGS, key="lines_file")
    if session.tables().invented is False and st.button("Back to the demo city"):
        session.use(session.demo())
        st.rerun()
    if upload is None:
        return
    crs = st.text_input("Coordinate system, only if the layer names none (as EPSG:2230)", key="crs") or None
    try:
        raw = opened(upload, "blocks", crs)
        found = reading.read_blocks(raw, mapping_form(raw, "blocks"), today=date.today())
        panel = None
        if defects:
            survey = opened(defects, "defects", crs)
            panel = reading.read_defects(survey, mapping_form(survey, "defects"), found.table)
        geometry, more = (reading.read_lines(reading.open_table(lines.name, lines.getvalue(), crs=crs), found.table)
                          if lines else (found.geometry, tables.empty("problems")))
    except UnusableInput as error:
        st.error("The file cannot be used as it stands.")
        show_problems(as_table(error.problems, Problem))
        return
    parts = [found.problems, more] + ([panel.problems] if panel else [])
    problems = pd.concat([part for part in parts if len(part)], ignore_index=True) if any(map(len, parts)) else parts[0]
    st.write(f"{found.rows_in:,} rows read, {found.rows_filtered:,} left out by the filter, {len(found.table):,} "
             f"blocks can be used, {len(geometry):,} of them have a line.")
    show_problems(problems)
    if found.table.empty:
        st.error("No row of the table can be used; the problems above say why.")
    elif st.button(f"Use these {len(found.table):,} blocks", type="primary"):
        session.use(cities.take(upload.name, found.table, panel.table if panel else tables.empty("defects"), geometry,
                                 problems))
        st.rerun()


main()
