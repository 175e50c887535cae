"""The surface of a slab: whether it asks for grinding, and how often it may still be ground."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.settings import Assumptions

Floats = npt.NDArray[np.float64]

_ROUNDING: Final = 1e-9  #: a depth that fits exactly fits
#: measure of the surface -> its limit in the table ``companions``, from which the surface is ground
LIMITS: Final = {"faulting_in": "grind.faulting_from_in", "iri_in_per_mi": "grind.iri_from"}


def is_rough(surface: Mapping[str, Floats], limits: Mapping[str, npt.ArrayLike]) -> npt.NDArray[np.bool_]:
    """Whether steps, ride or a panel survey ask for grinding by themselves; what was not measured asks for none.

    ``surface`` holds faulting_in, iri_in_per_mi and grind_panels_share, ``limits`` the limits of the first two.
    """
    asked = [np.asarray(surface[name], float) >= np.asarray(limits[name], float) for name in LIMITS]
    return np.asarray(np.logical_or.reduce(asked) | (np.asarray(surface["grind_panels_share"], float) > 0))


def grindings_done(network: pd.DataFrame) -> Floats:
    """Times each block has been ground: as given, at least once where the year of a grinding is known, else none."""
    given = network["grindings"].fillna(0.0).to_numpy(float)
    return np.asarray(np.maximum(given, network["last_ground_year"].notna().to_numpy(float)))


def grindings_left(network: pd.DataFrame, assumptions: Assumptions) -> Floats:
    """Times each block may still be ground, a whole number of zero or more.

    Three limits of the table ``treatment_lives`` hold, those done already counted: ``ground.most_times`` (source
    ``alberta-grinding``), ``ground.most_loss_in`` of thickness lost in all, and ``ground.least_thickness_in`` left of
    the thickness as built; each grinding takes ``ground.depth_in``.
    """
    def number(name: str) -> float:
        return assumptions.number("treatment_lives", f"ground.{name}")

    spare = network["thickness_in"].to_numpy(float) - number("least_thickness_in")
    by_depth = np.floor(np.minimum(number("most_loss_in"), spare) / number("depth_in") + _ROUNDING)
    return np.asarray(np.maximum(np.minimum(by_depth, number("most_times")) - grindings_done(network), 0.0))
