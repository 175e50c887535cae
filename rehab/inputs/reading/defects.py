"""A raw table to the checked table of defects, panel by panel."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from difflib import get_close_matches
from functools import cache
from typing import Final

import numpy as np
import pandas as pd

from rehab.base import tables
from rehab.base.errors import Problem, UnusableInput
from rehab.inputs.assumptions import FOLDER
from rehab.inputs.reading.blocks import Reading, convert, kept_rows, panel_grid, unused
from rehab.inputs.reading.columns import accepted, read_column
from rehab.inputs.reading.mapping import Applied, apply
from rehab.inputs.reading.raw import LISTED, Findings, Mask, Raw, problem_table
from rehab.inputs.reading.values import missing, plain_word, word_list, words

_SLACK_FT: Final = 0.5  #: joints are never quite where the drawing has them
_ORDER: Final = ["block_id", "panel_row", "panel_column", "defect", "severity", "x_ft", "y_ft", "row"]
#: words in a column of severities that say there is none, beside those for no value
_NOT_GRADED: Final = ("not graded", "ungraded", "no grade", "not rated", "no severity", "not applicable", "n a", "nil")
_NEAR: Final = 200  #: unknown words for which near ones are looked up; more are a column that holds something else


def read_defects(raw: Raw, mapping: pd.DataFrame | None, blocks: pd.DataFrame) -> Reading:
    """The defects of a panel survey, checked against the ``blocks`` they lie in; the geometry is empty.

    Panels and positions are checked where the block's panel sizes, and depths where its thickness is given.  A
    severity is needed but for kinds that the table of distresses also, or only, has without.
    Raises :class:`UnusableInput` if block_id, panel_row, panel_column or defect has no column, if severity has none
    and some defect needs it, or the mapping cannot be used.
    """
    applied = apply(raw, mapping, "defects")
    frame, found = kept_rows(raw, applied)
    whole = ~found.stopped
    heading = {ours: theirs for ours, (theirs, _) in applied.columns.items()}
    # The two columns of words need more than a word to be right: they are read here, the others as in any table.
    others = {ours: column for ours, column in applied.columns.items() if ours not in ("defect", "severity")}
    values = convert(raw, replace(applied, columns=others), frame, found, "defects")
    values["defect"] = _kinds(frame[heading["defect"]], whole, found)
    if "severity" in heading:
        values["severity"] = _severities(frame[heading["severity"]], values["defect"], whole, found)
    else:
        _none_graded(raw, applied, values["defect"])
    owner = blocks.set_index("block_id").reindex(values["block_id"]).set_index(values.index)
    owner["known"] = values["block_id"].isin(blocks["block_id"]).to_numpy(bool)
    found.add("stop", ~owner["known"].to_numpy(bool) & ~found.stopped, heading["block_id"], values["block_id"],
              "no block of this name is in use (not in the table of blocks, or stopped or filtered out there); the row "
              "is not used", "a block_id of the table of blocks")
    _panels(values, owner, heading, found)
    _positions(values, owner, heading, found)
    deep = (values["depth_in"].astype("float64") > owner["thickness_in"]).to_numpy(bool)
    unused(values, "depth_in", deep, heading, found, "deeper than the slab is thick",
           "at most the thickness of the block")
    told_twice = values.duplicated(keep="first").to_numpy(bool) & ~found.stopped
    found.add("warn", told_twice, heading["block_id"], values["block_id"],
              "the same as a row above; used as a second defect", "each defect once")
    used = tables.with_types("defects", values.assign(row=found.rows.astype("float64")))[~found.stopped]
    return Reading(tables.check("defects", used.sort_values(_ORDER).reset_index(drop=True)), tables.empty("geometry"),
                   problem_table(raw.problems + applied.problems + found.problems), len(raw.frame),
                   int((~applied.kept).sum()))


@cache
def ungraded() -> tuple[frozenset[str], frozenset[str]]:
    """Kinds of defect that may stand without a severity, and those of them that never have one (``distresses``)."""
    rows = pd.read_csv(FOLDER / "assumptions" / "distresses.csv", dtype=str, keep_default_na=False)
    graded = rows["severity"] != ""
    alone = frozenset(rows.loc[~graded, "defect"])
    return alone, alone - frozenset(rows.loc[graded, "defect"])


def _kinds(texts: pd.Series, whole: Mask, found: Findings) -> pd.Series:
    """What was seen, in words of ours; an unknown word stops its row and is shown those nearest to it."""
    item = tables.field("defects", "defect")
    known = word_list("defect", item.choices)
    bad = words(texts, known)[1] & whole
    near = {text: _near(text, known) for text in texts[bad].drop_duplicates().iloc[:_NEAR]}
    found.add("stop", bad, str(texts.name), texts,
              [f"not a word that is known{near.get(text, '')}; the row is not used" for text in texts[bad][:LISTED]],
              accepted(item), kind="not a word that is known; the row is not used")
    return _read(item, texts, whole & ~bad, found)


def _near(text: str, known: Mapping[str, str]) -> str:
    """' (near it: ...)' with up to three kinds whose names look like the text; empty if none does."""
    named = [word for word in known if not word[:1].isdigit()]
    plain = str(plain_word(pd.Series([text[:60]], dtype="str")).iloc[0])
    kinds = dict.fromkeys(known[word] for word in get_close_matches(plain, named, n=5))
    return f" (near it: {', '.join(list(kinds)[:3])})" if kinds else ""


def _severities(texts: pd.Series, kinds: pd.Series, whole: Mask, found: Findings) -> pd.Series:
    """How bad; stops rows of kinds that need it and lack it, warns where it is given to a kind that has none."""
    item = tables.field("defects", "severity")
    alone, never = ungraded()
    may, none = kinds.isin(alone).to_numpy(bool), kinds.isin(never).to_numpy(bool)
    texts = texts.mask(plain_word(texts).isin(_NOT_GRADED))
    bad = words(texts, word_list("severity", item.choices))[1] & whole
    heading, takes = str(texts.name), accepted(item)
    found.add("stop", bad & ~may, heading, texts, "not a word that is known; the row is not used", takes)
    found.add("warn", bad & may, heading, texts, "not a word that is known; the value was not used",
              f"{takes}, or empty")
    lacks = missing(texts) & whole & ~may & kinds.notna().to_numpy(bool)
    found.add("stop", lacks, heading, None, [f"severity is empty, and '{kind}' needs one; the row is not used"
                                             for kind in kinds[lacks]],
              f"{takes}; empty only for {', '.join(sorted(alone))}",
              kind="severity is empty for a defect that needs one; the row is not used")
    given = ~missing(texts) & ~bad & whole & none
    found.add("warn", given, heading, texts, [f"'{kind}' is not graded; used without the severity"
                                              for kind in kinds[given]],
              "an empty cell", kind="a severity for a defect that is not graded; used without it")
    return _read(item, texts, whole & ~bad & ~none, found)


def _none_graded(raw: Raw, applied: Applied, kinds: pd.Series) -> None:
    """Raise :class:`UnusableInput` if a table without severities has a defect that needs one."""
    alone, _ = ungraded()
    needs = kinds[kinds.notna() & ~kinds.isin(alone)].unique()
    if len(needs):
        item = tables.field("defects", "severity")
        raise UnusableInput([*raw.problems, *applied.problems, Problem(
            "stop", raw.name, None, "severity", None,
            f"no column is known to hold 'severity' ({item.about}); needed for {', '.join(sorted(needs))}"[:500],
            f"map one of the table's columns to it: {', '.join(raw.frame.columns)}"[:500])])


def _read(item: tables.Field, texts: pd.Series, rows: Mask, found: Findings) -> pd.Series:
    """A column of words read in the given rows only; NA in the others, of which nothing is said."""
    part = Findings(found.file, found.rows[rows])
    values = read_column(item, texts[rows], "", part, semicolons=False, commas=False, serials=False)
    found.problems += part.problems
    found.stopped[np.flatnonzero(rows)[part.stopped]] = True
    return values.reindex(texts.index)


def _panels(values: pd.DataFrame, owner: pd.DataFrame, heading: Mapping[str, str], found: Findings) -> None:
    """Stop defects in a panel that the block does not have."""
    for column, most, way in zip(("panel_row", "panel_column"), panel_grid(owner), ("along", "across"), strict=True):
        mask = (values[column].astype("float64") > most).to_numpy(bool) & ~found.stopped
        messages = [f"the block has {count:.0f} panels {way}; the row is not used" for count in most[mask]]
        found.add("stop", mask, heading[column], values[column].map("{:g}".format, na_action="ignore"), messages,
                  f"a panel {way} the block counted from 1, at most its size / the panel's size",
                  kind=f"the block has fewer panels {way}; the row is not used")


def _positions(values: pd.DataFrame, owner: pd.DataFrame, heading: Mapping[str, str], found: Findings) -> None:
    """Stop castings without a position, and damage that lies outside its panel."""
    lost = (values["defect"] == "casting") & (values["x_ft"].isna() | values["y_ft"].isna())
    found.add("stop", lost.to_numpy(bool) & ~found.stopped, heading["defect"], values["defect"],
              "a casting without its position in the panel; the row is not used",
              "x_ft and y_ft of the casting, from the start and the left of its panel")
    along, across = panel_grid(owner)
    sides = (("x_ft", "length_ft", owner["length_ft"] / along, owner["panel_length_ft"]),
             ("y_ft", "width_ft", owner["width_ft"] / across, owner["panel_width_ft"]))
    for start, size, real, drawn in sides:
        limit = pd.concat([real, drawn], axis=1).max(axis=1, skipna=False) + _SLACK_FT
        end = values[start].astype("float64").fillna(0.0) + values[size].astype("float64").fillna(0.0)
        mask = (end > limit).to_numpy(bool) & ~found.stopped
        column = heading.get(start, heading.get(size, start))
        messages = [f"the damage ends {far:,.1f} ft into a panel of {room - _SLACK_FT:,.1f} ft; the row is not used"
                    for far, room in zip(end[mask], limit[mask], strict=True)]
        shown = values[start].where(values[start].notna(), values[size]).astype("float64")
        found.add("stop", mask, column, shown.map("{:g}".format, na_action="ignore"), messages,
                  "damage inside its panel; a larger one as one row for each panel",
                  kind="the damage lies outside its panel; the row is not used")
