"""Start and data: what is loaded, what is wrong with it, and how to load a table of one's own."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Literal

import pandas as pd
import streamlit as st

from pages import session
from pages.city_map import show_map
from rehab.base import tables
from rehab.base.errors import Note, Problem, UnusableInput, as_table
from rehab.base.units import same_kind
from rehab.inputs import reading
from rehab.outputs import exports
from rehab.outputs.words import label, money

if TYPE_CHECKING:
    from streamlit.runtime.uploaded_file_manager import UploadedFile

Table = Literal["blocks", "defects"]
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
        session.use(session.take(upload.name, found.table, panel.table if panel else tables.empty("defects"), geometry,
                                 problems))
        st.rerun()


def opened(upload: UploadedFile, table: Table, crs: str | None) -> reading.Raw:
    """The upload as a raw table, of the sheet or layer that the user chooses if there are several."""
    raw = _read(upload.file_id, table, None, crs, upload)
    if len(raw.sheets) < 2:
        return raw
    sheet = st.selectbox(f"Sheet or layer of {upload.name}", raw.sheets, key=f"{table}_sheet")
    return _read(upload.file_id, table, sheet, crs, upload)


@st.cache_resource(max_entries=4, show_spinner="Reading the file ...")
def _read(file_id: str, table: Table, sheet: str | None, crs: str | None, _upload: UploadedFile) -> reading.Raw:
    """The file as opened, kept while the user works on its mapping."""
    return reading.open_table(_upload.name, _upload.getvalue(), table=table, sheet=sheet, crs=crs)


def mapping_form(raw: reading.Raw, table: Table) -> pd.DataFrame:
    """Their columns beside ours, editable, to be saved and used again."""
    st.subheader("Which column is which" if table == "blocks" else "Which column is which in the panel survey")
    saved = st.file_uploader("A mapping saved before", type=["csv"], key=f"{table}_mapping_file")
    start = reading.read_mapping(saved.getvalue()) if saved else reading.suggest(raw, table)
    examples = {column: ", ".join(raw.frame[column].dropna().head(3)) for column in raw.frame.columns}
    shown = start.assign(example=start["theirs"].map(examples).fillna("(not in this file)"))
    ours = tables.upload_fields(table)
    units = sorted({unit for item in ours if item.unit for unit in same_kind(item.unit)})
    edited = st.data_editor(shown, hide_index=True, width="stretch", key=f"{table}_mapping_{raw.name}_{saved is None}",
                            disabled=["theirs", "example"], column_config={
        "theirs": "Your column", "example": "Examples",
        "ours": st.column_config.SelectboxColumn("Our column", options=["", *(item.name for item in ours)]),
        "unit": st.column_config.SelectboxColumn("Your unit", options=["", *units]),
        "only": st.column_config.TextColumn("Keep only these values", help="parted by |; other rows are left out")})
    if table == "blocks":
        st.caption("A table that holds other pavements too: write the words of the concrete rows beside the column "
                   "that tells them apart, as they stand in it, parted by |, such as PCC|Concrete.")
    mapping = edited.drop(columns="example").fillna("")
    st.download_button("Save this mapping", lambda: reading.write_mapping(mapping), f"{table}_mapping.csv",
                       key=f"{table}_mapping_save", on_click="ignore")
    return mapping


def show_problems(problems: pd.DataFrame) -> None:
    if problems.empty:
        st.success("No problems found.")
        return
    stops = int((problems["severity"] == "stop").sum())
    st.write(f"**{stops:,} problems stop a row, {len(problems) - stops:,} are warnings.** "
             "Rows without a stop go on.")
    st.dataframe(problems, hide_index=True, width="stretch", height=min(80 + 35 * len(problems), 380), placeholder="",
                 column_config={
        "severity": "Kind", "file": "File", "row": "Row", "column": "Column", "value": "Value",
        "message": "What is wrong", "accepted": "What would be accepted"})
    st.download_button("Problems as CSV", lambda: exports.csv_text(problems), "problems.csv", on_click="ignore")


main()
