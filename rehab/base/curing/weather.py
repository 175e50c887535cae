"""What air and wind do to fresh concrete: maturity from temperature, evaporation from wind and humidity.

Pure formulas.  A temperature history is a number of intervals: ``hours`` their lengths, ``temp_c`` the mean
temperature of the concrete in each.  Standard: source ``astm-c1074``.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
ZERO_C_IN_K: Final = 273.15
_KPA_PER_PSI: Final = 6.894757293168361  # exact factors of pound and inch
_F_PER_C: Final = 1.8


def degrees_above(temp: npt.ArrayLike, datum: npt.ArrayLike = 0.0) -> Floats:
    """Nurse-Saul gain per hour: degrees above the datum temperature, none below it; both in one unit.

    Times hours and added up this is the temperature-time factor, such as deg C hours.
    """
    return np.asarray(np.maximum(np.asarray(temp, float) - np.asarray(datum, float), 0.0))


def rate_factor(temp_c: npt.ArrayLike, q_k: npt.ArrayLike, reference_c: npt.ArrayLike) -> Floats:
    """Equivalent hours at the reference temperature gained per hour: exp(-Q (1/T - 1/Ts)), temperatures absolute.

    ``q_k`` is the activation energy over the gas constant, in kelvin; ``temp_c`` and ``reference_c`` in deg C.
    """
    inverse = 1.0 / (np.asarray(temp_c, float) + ZERO_C_IN_K) - 1.0 / (np.asarray(reference_c, float) + ZERO_C_IN_K)
    return np.asarray(np.exp(-np.asarray(q_k, float) * inverse))


def gained(hours: npt.ArrayLike, per_hour: npt.ArrayLike) -> Floats:
    """What has been gained by the end of each interval: hours[n], per_hour[..., n] -> [..., n].

    With :func:`degrees_above` the temperature-time factor, with :func:`rate_factor` the equivalent age in hours.
    """
    return np.asarray(np.cumsum(np.asarray(hours, float) * np.asarray(per_hour, float), axis=-1))


def hours_to_reach(needed: npt.ArrayLike, hours: npt.ArrayLike, per_hour: npt.ArrayLike,
                   begun_h: npt.ArrayLike = 0.0, repeat: bool = False) -> Floats:
    """Hours from placing until ``needed`` has been gained; infinity if the history ends before.

    ``hours[n]`` and ``per_hour[n]`` are one history; ``needed`` and ``begun_h``, the hour of the history at which
    concrete was placed, broadcast.  Inside an interval the gain is linear.  With ``repeat`` the history, such as
    that of one day, begins again whenever it ends.

    Raises :class:`ValueError` for lengths that are not above zero, gains that are negative or no numbers, a need that
    is no number, or a beginning outside the history.
    """
    length, rate = np.asarray(hours, float), np.asarray(per_hour, float)
    want, begun = np.broadcast_arrays(np.asarray(needed, float), np.asarray(begun_h, float))
    if length.ndim != 1 or length.shape != rate.shape or not len(length):
        raise ValueError("a history needs one gain for each of its intervals")
    if not ((length > 0).all() and np.isfinite(length).all() and (rate >= 0).all() and np.isfinite(rate).all()):
        raise ValueError("intervals must be longer than zero, and gains zero or more")
    if np.isnan(want).any():
        raise ValueError("what is needed is not a number")
    edge = np.concatenate([[0.0], np.cumsum(length)])
    total = np.concatenate([[0.0], np.cumsum(length * rate)])
    if not ((begun >= 0) & (begun <= edge[-1])).all():
        raise ValueError(f"concrete must be placed within the {edge[-1]:g} hours of the history")
    goal = np.interp(begun, edge, total) + np.maximum(want, 0.0)
    rounds = np.zeros(goal.shape)
    if repeat and total[-1] > 0:
        # A goal met exactly at the end of a round is met in that round, not at the beginning of the next.
        rounds = np.where(np.isfinite(goal), np.maximum(np.ceil(goal / total[-1]) - 1.0, 0.0), 0.0)
        # What is left can pass the end of the round by rounding alone.
        goal = np.where(np.isfinite(goal), np.minimum(goal - rounds * total[-1], total[-1]), goal)
    place = np.clip(np.searchsorted(total, goal, side="left") - 1, 0, len(length) - 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        at = edge[place] + np.where(goal > total[place], (goal - total[place]) / rate[place], 0.0)
    at = np.where(goal <= total[-1], at, np.inf)
    return np.asarray(np.where(want <= 0, 0.0, rounds * edge[-1] + at - begun))


def evaporation(concrete_f: npt.ArrayLike, air_f: npt.ArrayLike, humidity: npt.ArrayLike,
                wind_mph: npt.ArrayLike) -> Floats:
    """Water lost by fresh concrete in lb/sq ft/h: (Tc^2.5 - r Ta^2.5)(1 + 0.4 V) 10^-6 (source ``uno``, US form).

    Temperatures in deg F (below 0 they count as 0), relative humidity r as a share of 0 to 1, wind V in mph at
    20 in above the surface.  Negative values, dew, are clamped to 0.
    """
    concrete, air = (np.maximum(np.asarray(value, float), 0.0) for value in (concrete_f, air_f))
    pull = concrete**2.5 - np.asarray(humidity, float) * air**2.5
    return np.asarray(np.maximum(pull * (1.0 + 0.4 * np.asarray(wind_mph, float)) * 1e-6, 0.0))


def evaporation_si(concrete_c: npt.ArrayLike, air_c: npt.ArrayLike, humidity: npt.ArrayLike,
                   wind_kmh: npt.ArrayLike) -> Floats:
    """The same in kg/sq m/h: 5 ((Tc + 18)^2.5 - r (Ta + 18)^2.5)(V + 4) 10^-6 (source ``uno``).

    Temperatures in deg C (below -18 they count as that), humidity as a share, wind in km/h; negatives clamped to 0.
    """
    concrete, air = (np.maximum(np.asarray(value, float) + 18.0, 0.0) for value in (concrete_c, air_c))
    pull = concrete**2.5 - np.asarray(humidity, float) * air**2.5
    return np.asarray(np.maximum(5.0 * pull * (np.asarray(wind_kmh, float) + 4.0) * 1e-6, 0.0))


def evaporation_menzel(concrete_f: npt.ArrayLike, air_f: npt.ArrayLike, humidity: npt.ArrayLike,
                       wind_mph: npt.ArrayLike) -> Floats:
    """The same in lb/sq ft/h by vapour pressures: 0.44 (e0 - ea)(0.253 + 0.096 V), in psi (source ``menzel-1954``).

    Temperatures in deg F, humidity as a share, wind in mph; saturation pressure 0.61 exp(17.3 T / (237.3 + T)) kPa
    with T in deg C; negatives clamped to 0.
    """
    surface, around = (_saturation_psi((np.asarray(value, float) - 32.0) / _F_PER_C) for value in (concrete_f, air_f))
    pull = surface - np.asarray(humidity, float) * around
    return np.asarray(np.maximum(0.44 * pull * (0.253 + 0.096 * np.asarray(wind_mph, float)), 0.0))


def _saturation_psi(temp_c: Floats) -> Floats:
    return np.asarray(0.61 * np.exp(17.3 * temp_c / (237.3 + temp_c)) / _KPA_PER_PSI)
