"""What the pages that take a file share: opening it, its columns beside ours, its problems."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import pandas as pd
import streamlit as st

from rehab.base import tables
from rehab.base.units import same_kind
from rehab.inputs import reading
from rehab.outputs import exports

if TYPE_CHECKING:
    from streamlit.runtime.uploaded_file_manager import UploadedFile

Table = Literal["blocks", "defects", "bids"]


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
    if table != "bids":
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
