"""The forecast drawn at random: what a family, a block and single panels may turn out to be.

Everything is seeded by the caller's generator and vectorised over draws and blocks.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base import panels
from rehab.base.settings import Assumptions
from rehab.base.survival import failing
from rehab.steps.forecast import curves
from rehab.steps.forecast.ageing import Ageing, Floats, Ints

_SHAPES = ("patch", "panel")


@dataclass(frozen=True)
class Multiples:
    """Factors on the likely hazards: ``shallow`` and ``deep`` (draws, rows), ``patch`` and ``panel`` (draws,)."""

    shallow: Floats
    deep: Floats
    patch: Floats
    panel: Floats


def multiples(ageing: Ageing, rows: Ints, draws: int, assumptions: Assumptions,
              rng: np.random.Generator) -> Multiples:
    """Factors for blocks ``rows``: the family's lives for all alike, and each block's own by what its survey left open.

    A life that may be off by a share means a hazard that may be off by that share times the shape.
    """
    def alike(shape: float, cv: str) -> Floats:
        spread = np.sqrt(np.log1p(assumptions.number("uncertainty", cv) ** 2))
        return np.asarray(rng.normal(0.0, shape * spread, draws))

    shapes = {name: assumptions.number("survival", f"{name}.shape") for name in ("shallow", "deep")}
    common = {name: alike(shape, "family.life_cv") for name, shape in shapes.items()}
    own = ageing.own
    spread = [np.sqrt(var[rows]) for var in (own.var_shallow, own.var_deep)]
    together = np.clip(own.covariance[rows] / (spread[0] * spread[1]), -1.0, 1.0)
    a, b = rng.normal(size=(2, draws, len(rows)))
    b = together * a + np.sqrt(1.0 - together**2) * b
    lives = {name: np.exp(alike(assumptions.number("treatment_lives", f"{name}.shape"), f"{name}.life_cv"))
             for name in _SHAPES}
    return Multiples(np.exp(common["shallow"])[:, None] * _gamma(spread[0], a),
                     np.exp(common["deep"])[:, None] * _gamma(spread[1], b), lives["patch"], lives["panel"])


def counts_at(network: pd.DataFrame, needs: pd.DataFrame, rows: Ints, years: Ints, ageing: Ageing, drawn: Multiples,
              seen: Floats, assumptions: Assumptions, rng: np.random.Generator) -> tuple[Ints, Ints, Ints]:
    """Panels with shallow and with deep damage in each draw and row, and of how many: (draws, rows), (rows,).

    Rows are blocks ``rows`` in the ``years`` of work, without work before.  ``seen`` (draws, rows) is what the damage
    of the survey is multiplied by: it was measured, and may be more or less.  Panels fail one by one, given their
    block's multipliers.
    """
    city, need = network.iloc[rows], needs.iloc[rows]
    family = curves.families(city, assumptions)
    begin = curves.ages(city, assumptions)
    ahead = np.maximum(years - city["survey_year"].to_numpy(np.int64), 0)
    way = panels.path(begin, begin + ahead, panels.Curves(*(
        family[name].to_numpy(float) for name in panels.Curves._fields)), ageing.faster, points=8)
    stays, _, breaks, once = panels.moves(way, np.exp(ageing.own.log_shallow[rows]) * drawn.shallow,
                                          np.exp(ageing.own.log_deep[rows]) * drawn.deep)
    whole = np.rint(city["panels"].to_numpy(float)).astype(np.int64)
    _, partial, full = curves.counted(city, need)
    # A part of a panel is a panel with that chance, so that small blocks keep their mean.
    deep = np.minimum(_rounded(full * seen, rng), whole)
    shallow = np.minimum(_rounded(partial * seen, rng), whole - deep)
    mended = np.minimum(np.rint(curves.mended(city, need)).astype(np.int64), whole - deep - shallow)
    sound = whole - deep - shallow - mended
    left = sound - rng.binomial(sound, np.clip(stays, 0.0, 1.0))
    chance = np.divide(breaks, 1.0 - stays, out=np.zeros_like(breaks), where=stays < 1.0)
    broke = rng.binomial(left, np.clip(chance, 0.0, 1.0))
    broke_later = rng.binomial(shallow, np.clip(once, 0.0, 1.0))
    old, scale, shape = curves.mended_age(city, assumptions), *(
        assumptions.number("treatment_lives", f"panel.{name}") for name in ("scale", "shape"))
    stands = (1.0 - failing(old, ahead, scale, shape)) ** drawn.panel[:, None]
    lost = rng.binomial(mended, 1.0 - stands)
    return shallow + left - broke - broke_later, deep + broke + broke_later + lost, whole


def _gamma(spread: Floats, normal: Floats) -> Floats:
    """Draws of a gamma of mean one whose logarithm spreads so far: its cube root is all but normal (Wilson, Hilferty).

    A block's multiplier has all but such a distribution around its mode over the logarithm, which is a gamma's mean; a
    lognormal of the same spread would have the higher mean.
    """
    return np.asarray(np.maximum(1.0 - spread**2 / 9.0 + spread / 3.0 * normal, 0.02) ** 3)


def _rounded(amount: Floats, rng: np.random.Generator) -> npt.NDArray[np.int64]:
    low = np.floor(amount)
    return np.asarray(low + (rng.random(amount.shape) < amount - low), np.int64)
