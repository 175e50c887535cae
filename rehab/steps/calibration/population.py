"""What curves say of blocks of which nothing is known but age and family: the mean over their multipliers."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from rehab.base.panels import Curves, path

Floats = npt.NDArray[np.float64]


def population(age_yr: Floats, curves: Curves, faster: float, shallow_weight: float,
               deep_weight: float) -> tuple[Floats, Floats, Floats]:
    """Shares of panels sound, shallow and deep at an age, of blocks never repaired; arrays of rows.

    The multipliers of the blocks are gamma distributed with mean one and these weights.  Their mean needs no sampling:
    E exp(-z a) = (1 + a / w)^-w and E z exp(-z a) = (1 + a / w)^-(w + 1), the gamma's Laplace transform and minus
    its slope.
    """
    way = path(np.zeros(len(age_yr)), age_yr, curves, faster)
    sound = (1 + way.shallow / shallow_weight) ** -shallow_weight * (1 + way.deep / deep_weight) ** -deep_weight
    inside = ((1 + way.at_shallow / shallow_weight) ** -(shallow_weight + 1)
              * (1 + way.at_deep / deep_weight) ** -deep_weight) @ way.weight
    shallow = np.minimum(way.shallow * inside, 1.0 - sound)
    return sound, shallow, 1.0 - sound - shallow
