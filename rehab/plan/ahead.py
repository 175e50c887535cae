"""One survey from another: what the forecast expects of a block so many years on, and its 80 % interval.

The interval holds what a block's own survey leaves open of its two multipliers and the chance of each panel, given
them; with curves that no survey was fitted to, also how far a whole family may be off; and for an index that is held,
the scatter of such an index between two surveys, where it is known.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base import panels, rating, tables
from rehab.base.settings import Assumptions
from rehab.steps import forecast, layout, needs, network
from rehab.steps.forecast.draws import Multiples, counts_at

Floats = npt.NDArray[np.float64]
Measured = tuple[pd.DataFrame, pd.DataFrame]

MEASURES: Final = ("index", "full_share", "partial_share")
#: ends of the 80 % interval
LOW, HIGH = 0.1, 0.9
_DRAWS: Final = 400
_CHUNK: Final = 500  #: blocks drawn at once
_SEED: Final = 2027


def measured(blocks: pd.DataFrame, assumptions: Assumptions) -> Measured:
    """Network and needs of one table of blocks, without those whose condition cannot be told."""
    city = network.build(blocks[network.has_condition(blocks, assumptions)], assumptions)
    nothing = tables.empty("findings"), tables.empty("repairs")
    return city, needs.measure(city, layout.per_panel(city, *nothing, assumptions), assumptions)


def expect(surveys: Sequence[Measured], wanted: pd.DataFrame, assumptions: Assumptions, *, refitted: bool,
           noise: float = 0.0) -> pd.DataFrame:
    """Index and shares expected of each block ``years`` after the survey of ``survey_year``, with their intervals.

    ``wanted`` holds block_id, survey_year and years; ``surveys`` the measured tables, the last of those that hold a
    block and year counts.  ``noise`` is the standard deviation of the change of a held index that is no change of the
    street, points.  Index by block_id; for each of MEASURES a column of its name, and with ``_low``, ``_high`` and
    ``_sd``.
    """
    found = []
    at = pd.MultiIndex.from_frame(wanted[["block_id", "survey_year"]])
    for city, need in surveys:
        mine = pd.MultiIndex.from_frame(city[["block_id", "survey_year"]]).isin(at)
        if mine.any():
            city, need = city[mine].reset_index(drop=True), need[mine].reset_index(drop=True)
            years = wanted.set_index("block_id")["years"].reindex(city["block_id"]).to_numpy(np.int64)
            found.append(_expect(city, need, years, assumptions, refitted, noise))
    everything = pd.concat(found)
    return everything[~everything.index.duplicated(keep="last")].reindex(wanted["block_id"])


def inside(seen: pd.Series, expected: pd.DataFrame, measure: str) -> npt.NDArray[np.bool_]:
    """Whether what was seen lies in the interval of what was expected; its ends, often whole panels, belong to it."""
    low, high = (expected[f"{measure}_{end}"].to_numpy(float) for end in ("low", "high"))
    value = seen.to_numpy(float)
    return np.asarray((value >= low - 1e-9) & (value <= high + 1e-9))


def _expect(city: pd.DataFrame, need: pd.DataFrame, years: npt.NDArray[np.int64], assumptions: Assumptions,
            refitted: bool, noise: float) -> pd.DataFrame:
    # Each block is asked from its own survey year on: the gap to the first year is then zero.
    ageing = forecast.age(city, need, int(city["survey_year"].min()), max(int(years.max()), 1), assumptions)
    row = np.arange(len(city))
    out = pd.DataFrame({"index": ageing.index[row, years], "full_share": ageing.full[row, years],
                        "partial_share": ageing.partial[row, years]}, index=city["block_id"])
    spread = [_spread(city, need, row[low:low + _CHUNK], years[low:low + _CHUNK], ageing, assumptions, refitted, noise)
              for low in range(0, len(city), _CHUNK)]
    for at, name in enumerate(MEASURES):
        for part, end in enumerate(("low", "high", "sd")):
            out[f"{name}_{end}"] = np.concatenate([chunk[at, part] for chunk in spread])
    return out


def _spread(city: pd.DataFrame, need: pd.DataFrame, rows: npt.NDArray[np.int64], years: npt.NDArray[np.int64],
            ageing: forecast.Ageing, assumptions: Assumptions, refitted: bool, noise: float) -> Floats:
    """Ends of the interval and standard deviation of each measure and block: (measures, 3, rows)."""
    rng = np.random.default_rng([_SEED, int(rows[0])])
    drawn = _own(ageing.own, rows, rng)
    if not refitted:
        shallow_alike, deep_alike = (_alike(name, assumptions, rng) for name in ("shallow", "deep"))
        drawn = Multiples(drawn.shallow * shallow_alike, drawn.deep * deep_alike, drawn.patch, drawn.panel)
    shallow, deep, whole = counts_at(
        city, need, rows, city["survey_year"].to_numpy(np.int64)[rows] + years, ageing, drawn,
        np.ones((_DRAWS, len(rows))), assumptions, rng)
    partial, full = shallow / whole, deep / whole
    held = ~np.isnan(rating.index_held(city.iloc[rows], assumptions))
    index = rating.index_of(partial, full, assumptions) + ageing.shift[rows] + held * rng.normal(
        0.0, noise, (_DRAWS, len(rows)))
    each = (np.clip(index, 0.0, 100.0), full, partial)
    return np.stack([[*np.quantile(draws, (LOW, HIGH), axis=0), draws.std(axis=0)] for draws in each])


def _own(own: panels.Multipliers, rows: npt.NDArray[np.int64], rng: np.random.Generator) -> Multiples:
    """A block's two multipliers as its survey leaves them open, divided by the most likely ones.

    The posterior is close to a gamma, and the cube root of a gamma is all but normal (Wilson and Hilferty 1931, from
    memory); the logarithm is skewed, and normal draws of it would have too high a mean.
    """
    shallow, deep = np.sqrt(own.var_shallow[rows]), np.sqrt(own.var_deep[rows])
    like = np.clip(own.covariance[rows] / (shallow * deep), -0.99, 0.99)
    first, second = rng.normal(size=(2, _DRAWS, len(rows)))
    second = like * first + np.sqrt(1 - like**2) * second
    drawn = [np.maximum(1 - np.minimum(sd, 2.0) ** 2 / 9 + sd / 3 * normal, 1e-3) ** 3
             for sd, normal in ((shallow, first), (deep, second))]
    return Multiples(drawn[0], drawn[1], np.ones(_DRAWS), np.ones(_DRAWS))


def _alike(name: str, assumptions: Assumptions, rng: np.random.Generator) -> Floats:
    """What the hazard of a whole family may be off by, (draws, 1): a life off by a share, to the power of the shape."""
    spread = np.sqrt(np.log1p(assumptions.number("uncertainty", "family.life_cv") ** 2))
    return np.asarray(np.exp(rng.normal(0.0, assumptions.number("survival", f"{name}.shape") * spread, (_DRAWS, 1))))
