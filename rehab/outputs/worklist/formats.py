"""How the cells of a workbook look: one format for every kind of cell and of number, made once."""

from __future__ import annotations

from typing import Any, Final

import pandas as pd
import xlsxwriter

from rehab.outputs.words import known
from rehab.outputs.worklist.sheet import Figure

#: sizes of letters in points, where they are not 9
LETTERS: Final = {"title": 15.0, "section": 11.0, "small": 8.0}
#: styles of cells with nothing drawn round them
BARE: Final = frozenset({"title", "text", "small", "label"})


def formats_of(book: xlsxwriter.Workbook) -> dict[str, Any]:
    """The cell formats of a workbook by name, to be made once."""
    base = {"font_name": "Arial", "font_size": 9, "valign": "top", "text_wrap": True}
    box, pale = {**base, "border": 1, "border_color": "#8a8f94"}, {"bg_color": "#eceae3"}
    shapes: dict[str, dict[str, Any]] = {
        "title": {**base, "font_size": LETTERS["title"], "bold": True}, "text": base,
        "section": {**base, "font_size": LETTERS["section"], "bold": True, "bottom": 2},
        "small": {**base, "font_size": LETTERS["small"], "font_color": "#55606a"},
        "warning": {**box, "bold": True, "bg_color": "#fdf3dc"},
        "label": {**base, "font_color": "#55606a"}, "value": {**base, "align": "left"},
        "head": {**box, **pale, "bold": True}, "cell": box, "link": {**box, "font_color": "#1f5f6b", "underline": 1},
        "cell blank": {**box, "locked": False}, "value blank": {**base, "bottom": 4, "locked": False},
        "entry": {**box, "bg_color": "#fff9e3", "locked": False, "align": "right"},
    }
    for kind in ("cell", "value"):
        side = {"align": "right"} if kind == "cell" else {}
        shapes[f"{kind} whole"] = {**shapes[kind], **side, "num_format": "#,##0_)"}
        shapes[f"{kind} number"] = {**shapes[kind], **side, "num_format": "#,##0.0_)"}
        for digits in range(4):
            for before in ("", "$"):
                shapes[f"{kind} {before}{digits}"] = {**shapes[kind], **side, "num_format": _written(before, digits)}
        written = "ddd d mmm yyyy" if kind == "value" else "d mmm yyyy"
        shapes[f"{kind} date"] = {**shapes[kind], "align": "left", "num_format": written}
    return {name: book.add_format(shape) for name, shape in shapes.items()}


def style_of(value: Any, style: str) -> str:
    """The format of a value: numbers, dates and empty cells of tables and pairs have one of their own."""
    if style not in {"cell", "value"} or isinstance(value, bool):
        return style
    if isinstance(value, Figure):
        return f"{style} {value.before}{value.digits}"
    if not known(value):
        return style if value == "" else f"{style} blank"
    if isinstance(value, pd.Timestamp):
        return f"{style} date"
    if isinstance(value, int | float):
        return f"{style} whole" if float(value).is_integer() else f"{style} number"
    return style


def _written(before: str, digits: int) -> str:
    return f"{before}#,##0{'.' if digits else ''}{'0' * digits}_)"
