"""The list of streets: every block with its year, its work and the reason in one sentence."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.plan.brief import say
from rehab.plan.brief.facts import Facts
from rehab.plan.brief.reason import sentences

COLUMNS = ("street", "from_street", "to_street", "district", "year", "work", "cost_usd", "reason", "block_id")


def table(facts: Facts) -> pd.DataFrame:
    """One row per block, by street and along it: year, work and cost are missing where no work is planned."""
    blocks = facts.blocks
    planned = blocks["program_year"].notna()
    work = [say.work(name) if held else None for name, held in zip(blocks["program_strategy"], planned, strict=True)]
    found = pd.DataFrame({
        "street": blocks["street"], "from_street": blocks["from_street"], "to_street": blocks["to_street"],
        "district": blocks["district"], "year": blocks["program_year"].astype("Int64"),
        "work": pd.Series(work, index=blocks.index, dtype="str"), "cost_usd": blocks["program_cost_usd"],
        "reason": pd.Series(sentences(facts), index=blocks.index, dtype="str"), "block_id": blocks["block_id"]})
    order = np.lexsort((_natural(found["block_id"]), found["street"].fillna("").str.lower(), found["street"].isna()))
    return found.iloc[order].reset_index(drop=True)[list(COLUMNS)]


def _natural(names: pd.Series) -> npt.NDArray[np.object_]:
    """Names with their numbers of one width, so that 2 stands before 10."""
    return names.str.lower().str.replace(r"\d+", lambda found: found.group().zfill(9), regex=True).to_numpy(object)


def note(facts: Facts) -> str:
    """What the list of streets rests on, for its small print."""
    years = facts.blocks["survey_year"].astype(int)
    seen = f"{int(years.min())}" if len(set(years)) == 1 else f"{int(years.min())} to {int(years.max())}"
    return (f"Counts of panels and feet are those of the last survey, {seen}; 'about' marks what is expected by a "
            "later year, 'an estimated' what was rated and not counted. Broken or sunken counts panels with a broken "
            "corner too. Costs are likely costs in dollars of the year of the work.")
