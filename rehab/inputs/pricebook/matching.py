"""Which pay item a bid is a price of: suggested by the words of the bid, confirmed by the user, agreeing in unit."""

from __future__ import annotations

import difflib
import re
from functools import cache
from typing import Final

import numpy as np
import pandas as pd

from rehab.base.errors import Note
from rehab.base.units import factor
from rehab.inputs.assumptions import FOLDER

#: how alike two words of five letters or more must be, where one may be mistyped; 'diamnod' and 'diamond' are at 0.86
_ALIKE: Final = 0.85
_LONG_WORD: Final = 5
_NO_WORDS: Final = "no words of a pay item"


def suggest(bids: pd.DataFrame, pay_items: pd.DataFrame) -> pd.DataFrame:
    """The items of the bids with what they may be: item, unit, bids (how many), pay_item (key or ''), because.

    One row per text and unit, capitals and blanks apart; those with a suggestion first, then those with something in
    the way, and of each the most bid first.  A pay item is suggested when all words of
    one of its rows in ``data/bid_items.csv`` are in the text, none of its ``unless`` words, and the units can be
    converted; where two pay items fit alike, none is.  ``because`` says which words it was, or what is in the way.
    """
    rows = []
    for (_, unit), group in bids.groupby([_plain(bids["item"]), bids["unit"]], sort=True):
        text = str(group["item"].iloc[0])
        pay_item, because = _suggestion(text, str(unit), pay_items)
        rows.append({"item": text, "unit": str(unit), "bids": len(group), "pay_item": pay_item, "because": because})
    found = pd.DataFrame(rows, columns=["item", "unit", "bids", "pay_item", "because"])
    place = np.select([found["pay_item"] != "", found["because"] != _NO_WORDS], [0, 1], 2)
    order = np.lexsort((-found["bids"].to_numpy(), place))
    return found.iloc[order].reset_index(drop=True)


def matched(bids: pd.DataFrame, matches: pd.DataFrame, pay_items: pd.DataFrame) -> tuple[pd.DataFrame, list[Note]]:
    """The bids that the user matched, with ``pay_item``, quantity and price in its unit; notes on the others.

    ``matches`` has item, unit and pay_item ('' for none) as :func:`suggest` gives them.
    """
    notes: list[Note] = []
    chosen: dict[tuple[str, str], tuple[str, float]] = {}
    for text, plain, unit, pay_item in zip(matches["item"], _plain(matches["item"]), matches["unit"],
                                           matches["pay_item"], strict=True):
        if not pay_item:
            continue
        if pay_item not in pay_items.index:
            notes.append(Note("match", None, None, f"'{text}': there is no pay item '{pay_item}'; not used"))
            continue
        ours = str(pay_items.at[pay_item, "unit"])
        try:
            chosen[plain, unit] = (pay_item, factor(unit, ours))
        except ValueError as error:
            notes.append(Note("match", None, None, f"'{text}' in {unit} is no price of "
                              f"'{_name(pay_items, pay_item)}' in {ours}: {error}; its bids are not used"))
    keys = list(zip(_plain(bids["item"]), bids["unit"], strict=True))
    used = pd.Series([key in chosen for key in keys], index=bids.index, dtype=bool)
    size = pd.Series([chosen[key][1] if key in chosen else 1.0 for key in keys], index=bids.index, dtype="float64")
    names = pd.Series([chosen[key][0] if key in chosen else "" for key in keys], index=bids.index, dtype="str")
    result = bids.assign(pay_item=names, quantity=bids["quantity"] * size,
                         unit_price_usd=bids["unit_price_usd"] / size)[used]
    if (~used).any():
        notes.append(Note("match", None, None, f"{(~used).sum():,} of {len(bids):,} bids have no confirmed pay item "
                          "and are not used"))
    return result.reset_index(drop=True), notes


def _suggestion(text: str, unit: str, items: pd.DataFrame) -> tuple[str, str]:
    """The pay item that fits best and why, or '' and what is in the way."""
    words = _tokens(text)
    fits: dict[str, list[str]] = {}
    for pay_item, needed, unless in _phrases():
        if pay_item in items.index and all(_among(word, words) for word in needed) and not (
                any(_among(word, words) for word in unless)):
            fits[pay_item] = max(fits.get(pay_item, []), needed, key=len)
    if not fits:
        return "", _NO_WORDS
    agree = {pay_item: found for pay_item, found in fits.items() if _agrees(unit, str(items.at[pay_item, "unit"]))}
    if not agree:
        first = next(iter(fits))
        return "", f"words of {_name(items, first)}, but {unit} cannot be {_name(items, first, 'unit')}"
    most = max(len(found) for found in agree.values())
    best = [pay_item for pay_item, found in agree.items() if len(found) == most]
    if len(best) > 1:
        return "", "may be " + " or ".join(_name(items, pay_item) for pay_item in best)
    return best[0], f"words: {', '.join(agree[best[0]])}"


def _name(items: pd.DataFrame, pay_item: str, column: str = "name") -> str:
    return str(items.at[pay_item, column])


def _agrees(theirs: str, ours: str) -> bool:
    try:
        factor(theirs, ours)
    except ValueError:
        return False
    return True


def _among(word: str, words: list[str]) -> bool:
    if word in words:
        return True
    return len(word) >= _LONG_WORD and bool(difflib.get_close_matches(
        word, [other for other in words if len(other) >= _LONG_WORD], 1, _ALIKE))


@cache
def _phrases() -> tuple[tuple[str, list[str], list[str]], ...]:
    rows = pd.read_csv(FOLDER / "bid_items.csv", dtype=str, keep_default_na=False)
    return tuple((pay_item, _tokens(words), _tokens(unless)) for pay_item, words, unless
                 in zip(rows["pay_item"], rows["words"], rows["unless"], strict=True))


@cache
def _short() -> dict[str, str]:
    rows = pd.read_csv(FOLDER / "bid_abbreviations.csv", dtype=str, keep_default_na=False)
    return dict(zip(rows["short"], rows["words"], strict=True))


def _tokens(text: str) -> list[str]:
    """The words of a text in lower case, abbreviations written out and each once."""
    found = re.findall(r"[^\W\d_]+(?:&[^\W\d_]+)?", text.casefold())
    return list(dict.fromkeys(word for part in found for word in _short().get(part, part).split()))


def _plain(texts: pd.Series) -> pd.Series:
    return texts.str.casefold().str.split().str.join(" ")
