"""Texts to numbers, flags, words and days, on whole columns; what cannot be read is marked, never guessed."""

from __future__ import annotations

from functools import cache
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.inputs.assumptions import FOLDER
from rehab.inputs.reading.raw import Mask

Floats = npt.NDArray[np.float64]

#: entries that stand for 'no value' in a column that is not free text
NO_VALUE: Final = ("na", "n/a", "#n/a", "-", "--", "none", "null", "nan")
NO_VALUE_WORDS: Final = "empty, NA, N/A, -, none or null for no value"

_PLAIN: Final = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,2})?"
_THOUSANDS: Final = r"[+-]?\d{1,3}(?:,\d{3})+(?:\.\d*)?"
_COMMA_DECIMAL: Final = r"[+-]?(?:\d+,\d{1,2}|\d+,\d{4,}|\d{4,},\d+|0+,\d+)"
_DOT_GROUPS: Final = r"[+-]?[1-9]\d{0,2}(?:\.\d{3})+"
_COMMA_GROUPS: Final = r"[+-]?[1-9]\d{0,2}(?:,\d{3})+"
_EXCEL_DAY_0: Final = np.datetime64("1899-12-30")


def missing(texts: pd.Series) -> Mask:
    """Where a cell is empty or one of :data:`NO_VALUE`."""
    return np.asarray(texts.isna() | texts.str.lower().isin(NO_VALUE), bool)


def decimal_commas(texts: pd.Series) -> Mask:
    """Where a cell can only be a number with a decimal comma: 12,5 or 0,125 but not 1,234."""
    return _like(texts, _COMMA_DECIMAL)


def numbers(texts: pd.Series, semicolons: bool = False, commas: bool = False) -> tuple[Floats, Mask]:
    """Numbers, NaN for no value, and a mask of what is neither.

    1,234.5 is read with its thousands.  In a file delimited by ``semicolons`` a comma is a decimal comma where it
    can be nothing else, and 1,234 is refused; so is 1.234 if decimal ``commas`` were seen in the file.
    """
    none = missing(texts)
    values = pd.to_numeric(texts.mask(none), errors="coerce").to_numpy("float64", na_value=np.nan).copy()
    values[~np.isfinite(values)] = np.nan
    odd = np.isnan(values) & ~none
    if semicolons and commas:
        values[_like(texts, _DOT_GROUPS)] = np.nan
    if odd.any():
        rest = texts[odd]
        thousands = _like(rest, _THOUSANDS)
        if semicolons:
            thousands &= ~_like(rest, _COMMA_GROUPS)
        parsed = np.full(len(rest), np.nan)
        parsed[thousands] = rest[thousands].str.replace(",", "").astype("float64").to_numpy()
        if semicolons:
            decimal = decimal_commas(rest)
            parsed[decimal] = rest[decimal].str.replace(",", ".").astype("float64").to_numpy()
        values[odd] = parsed
    return values, np.isnan(values) & ~none


def per_cent_signs(texts: pd.Series) -> Mask:
    """Where a cell is a number followed by a per cent sign."""
    return _like(texts, _PLAIN + r"\s*%")


def words(texts: pd.Series, known: dict[str, str]) -> tuple[pd.Series, Mask]:
    """Cells looked up in ``known`` (plain word -> value), NaN for no value, and a mask of unknown ones."""
    plain = plain_word(texts)
    values = plain.map(known).astype("str")
    none = missing(texts) & np.asarray(values.isna())
    return values, np.asarray(values.isna(), bool) & ~none


def plain_word(texts: pd.Series) -> pd.Series:
    """Lower case, words separated by one blank: 'Minor-Arterial ' -> 'minor arterial'."""
    return texts.str.lower().str.replace(r"[\W_]+", " ", regex=True).str.strip()


@cache
def word_list(column: str, choices: tuple[str, ...] = ()) -> dict[str, str]:
    """Plain word -> value for a column, from ``data/value_words.csv`` and the values themselves."""
    rows = pd.read_csv(FOLDER / "value_words.csv", dtype=str, keep_default_na=False)
    rows = rows[rows["ours"] == column]
    known = dict(zip(rows["word"], rows["value"], strict=True))
    return known | dict(zip(plain_word(pd.Series(choices, dtype="str")), choices, strict=True))


def days(texts: pd.Series, serials: bool = False) -> tuple[pd.Series, Mask, Mask]:
    """Days (datetime64[us], NaT for none), a mask of what cannot be read, and a mask of spreadsheet day numbers read.

    Read are 2024-06-30 (a time after it is left off), 2024/06/30, 6/30/2024 (month first, four-digit year) and, if
    ``serials``, the day number of a spreadsheet counted from 1900.  Where some cell of the column can only have
    the day first, all cells with slashes that could be either are refused as ambiguous.
    """
    distinct = pd.Series(texts.dropna().unique(), dtype="str")
    codes = pd.Index(distinct).get_indexer(pd.Index(texts))
    parsed, counted = _distinct_days(distinct, serials)
    result = parsed.reindex(codes).set_axis(texts.index)
    return result, result.isna().to_numpy(bool) & ~missing(texts), np.append(counted, False)[codes]


def _distinct_days(texts: pd.Series, serials: bool) -> tuple[pd.Series, Mask]:
    year_first = texts.str.extract(r"^(\d{4})[-/](\d{1,2})[-/](\d{1,2})(?:[T ].*)?$")
    us = texts.str.extract(r"^(\d{1,2})/(\d{1,2})/(\d{4})(?:[T ].*)?$")[[2, 0, 1]]
    first, second = (pd.to_numeric(us[part], errors="coerce").to_numpy("float64", na_value=np.nan) for part in (0, 1))
    if np.any((first > 12) & (second <= 12)):
        us = us.mask(pd.Series((second <= 12) & (first != second), index=us.index), axis=0)
    us.columns = year_first.columns
    parts = year_first.where(year_first[0].notna(), us)
    joined = parts[0] + "-" + parts[1].str.zfill(2) + "-" + parts[2].str.zfill(2)
    result = pd.to_datetime(joined, format="%Y-%m-%d", errors="coerce").astype("datetime64[us]")
    counted = np.zeros(len(texts), bool)
    if serials:
        number = pd.to_numeric(texts, errors="coerce").to_numpy("float64", na_value=np.nan)
        counted = (number >= 10_000) & (number < 100_000)
        days_since = np.where(counted, number, 0).astype("int64").astype("timedelta64[D]")
        from_serial = pd.Series((_EXCEL_DAY_0 + days_since).astype("datetime64[us]"), index=texts.index)
        result = result.mask(counted, from_serial)
    return result, counted


def _like(texts: pd.Series, pattern: str) -> Mask:
    return texts.str.fullmatch(pattern).fillna(False).to_numpy(bool, copy=True)
