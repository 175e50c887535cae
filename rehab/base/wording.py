"""How numbers and money are written, wherever they are read: in sentences, tables, files and on screens."""

from __future__ import annotations

from typing import Any, Final

import pandas as pd

MISSING: Final = "not known"


def known(value: Any) -> bool:
    """Whether a cell holds something: not NA and not an empty text."""
    if isinstance(value, float):  # most cells: a hundred times faster than asking pandas
        return value == value
    if isinstance(value, str):
        return bool(value.strip())
    return value is not None and not pd.isna(value) and str(value).strip() != ""


def money(value: Any) -> str:
    """Whole dollars with separators; 'not known' for a missing number."""
    if not known(value):
        return MISSING
    return f"-${-value:,.0f}" if round(value) < 0 else f"${abs(value):,.0f}"


def price(value: Any) -> str:
    """Dollars with cents; 'not known' for a missing number."""
    if not known(value):
        return MISSING
    return f"-${-value:,.2f}" if round(value, 2) < 0 else f"${abs(value):,.2f}"


def number(value: Any, digits: int = 1) -> str:
    """A number with separators and at most ``digits`` decimals, none where they are zero."""
    if not known(value):
        return MISSING
    text = f"{value:,.{digits}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in {"-0", ""} else text
