"""Files to fill in, and the dictionary of their columns, made from the schemas."""

from __future__ import annotations

import io

import pandas as pd

from rehab.base import tables
from rehab.inputs.reading.headings import Upload

_ROWS = 5_000
_INLINE = 255  #: characters of a list that a spreadsheet takes in place; a longer one stands beside the dictionary


def template(table: Upload = "blocks") -> bytes:
    """An empty CSV with the headings of the table."""
    return (",".join(item.name for item in tables.upload_fields(table)) + "\r\n").encode()


def dictionary() -> bytes:
    """The columns of the uploads as CSV: kind, unit, whether required, limits, choices and meaning of each."""
    return _dictionary().to_csv(index=False, lineterminator="\r\n").encode()


def template_workbook() -> bytes:
    """A workbook with the sheets Blocks, Defects and Dictionary; columns of choices have a list to pick from."""
    import xlsxwriter
    from xlsxwriter.utility import xl_col_to_name

    stream = io.BytesIO()
    rows = _dictionary().astype(object).fillna("")
    long: list[tuple[str, tuple[str, ...]]] = []
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    with xlsxwriter.Workbook(stream, options) as book:
        bold = book.add_format({"bold": True, "text_wrap": True, "valign": "top"})
        as_text = book.add_format({"num_format": "@"})
        as_day = book.add_format({"num_format": "yyyy-mm-dd"})
        formats = {"text": as_text, "date": as_day}
        uploads: tuple[tuple[str, Upload], ...] = (("Blocks", "blocks"), ("Defects", "defects"))
        for title, table in uploads:
            sheet = book.add_worksheet(title)
            sheet.freeze_panes(1, 1)
            for place, item in enumerate(tables.upload_fields(table)):
                sheet.set_column(place, place, max(12, len(item.name) + 2), formats.get(item.kind))
                sheet.write_string(0, place, item.name, bold)
                sheet.write_comment(0, place, f"{item.about}{f' ({item.unit})' if item.unit else ''}")
                choices = item.choices or (("yes", "no") if item.kind == "flag" else ())
                source: list[str] | str = list(choices)
                if len(",".join(choices)) > _INLINE:
                    column = xl_col_to_name(len(rows.columns) + 1 + len(long), col_abs=True)
                    source = f"=Dictionary!{column}$2:{column}${len(choices) + 1}"
                    long.append((item.name, choices))
                if choices:
                    sheet.data_validation(1, place, _ROWS, place, {"validate": "list", "source": source})
        sheet = book.add_worksheet("Dictionary")
        sheet.freeze_panes(1, 0)
        for place, heading in enumerate(rows.columns):
            sheet.set_column(place, place, 60 if heading == "about" else 16)
            sheet.write_column(0, place, [heading, *rows[heading]])
        for place, (name, choices) in enumerate(long, start=len(rows.columns) + 1):
            sheet.set_column(place, place, 20)
            sheet.write_column(0, place, [f"choices of {name}", *choices])
    return stream.getvalue()


def _dictionary() -> pd.DataFrame:
    rows = tables.dictionary()
    return rows[rows["table"].isin(["blocks", "defects", "bids"]) & (rows["column"] != "row")].assign(
        required=lambda frame: frame["required"].map({True: "yes", False: "no"}))
