"""What of the truth got into the city's table: some blocks hold just an index or a rating, some values are missing."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base import tables
from rehab.inputs.demo.pavement import SURVEY_YEAR
from rehab.inputs.demo.survey import LEVELS, joint_length

Floats = npt.NDArray[np.float64]

INDEX_ONLY: Final = 0.03  #: shares of the blocks
RATING_ONLY: Final = 0.02
INDEX_TOO: Final = 0.10
#: share of the blocks in which a value is not known
UNKNOWN: Final = {"thickness_in": 0.05, "year_built": 0.03, "dowelled": 0.06, "reinforced": 0.08, "adt": 0.03,
                  "truck_share": 0.08, "panels": 0.02, "faulting_in": 0.03}
#: survey columns that a block rated as a whole does not have
NOT_COUNTED: Final = (*tables.COUNTS, "cracked_ft", "spalled_joint_ft", "wide_joint_ft", "hollow_sqft",
                      "damage_depth_in", "faulting_in", "sunken_curb_ft", "material_distress", "load_transfer",
                      "iri_in_per_mi", "last_work_year")


def as_reported(city: pd.DataFrame, seed: int, year: int = SURVEY_YEAR) -> pd.DataFrame:
    """The blocks table as the city holds it, from the city as :func:`rehab.inputs.demo.panels.look_closer` returns it.

    Of the blocks not surveyed panel by panel, 3 % hold just a condition index and 2 % just a rating from 1 to 10;
    10 % hold an index beside their counts.  Blocks surveyed panel by panel miss nothing.  A survey of another ``year``
    leaves the same out, and its indexes and ratings scatter anew.
    """
    rng = np.random.default_rng([seed, 5])
    scatter = rng.normal(0, 3.5, len(city)), rng.normal(0, 0.5, len(city))
    if year != SURVEY_YEAR:
        anew = np.random.default_rng([seed, 5, year])
        scatter = anew.normal(0, 3.5, len(city)), anew.normal(0, 0.5, len(city))
    index = _index(city, year, scatter[0])
    rating = np.rint(index / 10 + scatter[1]).clip(1, 10)
    plain, blocks = ~city["close_up"].to_numpy(bool), tables.with_types("blocks", city)
    for column, share in UNKNOWN.items():
        blocks[column] = blocks[column].mask((rng.random(len(city)) < share) & plain)
    others = rng.permutation(np.flatnonzero(plain))
    ends = np.cumsum([int(share * len(city)) for share in (INDEX_ONLY, RATING_ONLY, INDEX_TOO)])
    only_index, only_rating, both = others[: ends[0]], others[ends[0]: ends[1]], others[ends[1]: ends[2]]
    indexed = np.concatenate([only_index, both])
    not_counted = np.isin(np.arange(len(city)), np.concatenate([only_index, only_rating]))
    blocks.loc[indexed, "condition_index"] = index[indexed]
    blocks.loc[only_rating, "rating_1_10"] = rating[only_rating]
    for column in NOT_COUNTED:
        blocks[column] = blocks[column].mask(not_counted)
    return blocks


def _index(city: pd.DataFrame, year: int, scatter: Floats) -> Floats:
    """An index from 0 to 100, whole points, by a formula of this demo's own: losses by damage and age, and scatter."""
    panels = city["panels"]
    deep = (city["panels_broken"] + city["panels_sunken"] + city["corner_breaks"]) / panels
    spalled: pd.Series = city["spalled_joint_ft"] / np.maximum(joint_length(city), 1.0)
    material = city["material_distress"].map({level: 6.0 * at for at, level in enumerate(LEVELS)})
    cracked = city["panels_cracked"] / panels
    loss = (-75 * np.expm1(-3 * deep) - 30 * np.expm1(-4 * cracked) - 25 * np.expm1(-6 * spalled) + material
            + 0.08 * (year - city["year_built"]))
    return np.asarray(np.rint(100 - loss + scatter).clip(3, 100), float)
