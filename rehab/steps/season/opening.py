"""When fresh concrete opens to traffic: by days or by strength, through normal or forecast air; cautions on weather.

Planning values: on the street field tests and the engineer decide.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final, Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.curing import strength, weather
from rehab.base.errors import BadAssumption
from rehab.base.settings import Assumptions
from rehab.steps.season.air import at_dates, by_forecast, chance_below, refuse_alone

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]
Kind = Literal["patch", "panels", "rebuild"]

_FIXED_DAYS: Final = {"patch": "open_partial_days", "panels": "open_full_days", "rebuild": "open_reconstruction_days"}
_COLD: Final = {"patch": "cold_partial_f", "panels": "cold_full_f", "rebuild": "cold_full_f"}
_DAY_H: Final = 24.0
#: the cases soonest, likely and latest: standard deviations of the air, and spreads of strength, over the likely ones
_CASES: Final = (1.0, 0.0, -1.0)
_NONE: Final = 1e-9  #: a share of a time that is rounding
_FIELD: Final = "planning values: field tests of strength and the engineer decide"


@dataclass(frozen=True, eq=False)
class Openings:
    """For each placing day, calendar days from it to the day on which the concrete opens.

    ``hours`` is the likely one before it is rounded up to whole days; ``cautions`` are separated by '; ', empty
    where there is none; ``basis`` says in one sentence what the days rest on.
    """

    soonest: Ints
    likely: Ints
    latest: Ints
    hours: Floats
    cautions: tuple[str, ...]
    basis: str


@dataclass(frozen=True, eq=False)
class _Need:
    """Hours at a temperature in each of the cases, and the least hours on the clock."""

    hours: tuple[float, float, float]
    at_c: float
    least_h: float
    words: str


@dataclass(frozen=True, eq=False)
class _Air:
    """Daily air from the first placing day on, deg F, and the hour of it at which concrete is placed.

    ``told``: the day is in the forecast; ``words`` say which days are, empty if none is.
    """

    mean: Floats
    sd: Floats
    high: Floats
    placed: Ints
    begun_h: Floats
    told: Bools
    words: str


def openings(days: Sequence[date], kind: Kind, thickness_in: float | None, assumptions: Assumptions,
             normals: pd.DataFrame | None, length_ft: float | None = None,
             forecast: pd.DataFrame | None = None) -> Openings:
    """When concrete placed on each of ``days`` opens; ``normals`` is the table of that name, or None if there is none.

    By strength: the strength asked for by thickness becomes an equivalent age, and that, through the normal daily mean
    air, hours on the clock.  The air is taken for the concrete's: in cool weather that errs late, since fresh concrete
    makes heat of its own and, above the datum, a day's swing gains no less than its mean.  Soonest and latest have
    every day a standard deviation of the daily mean off, together with the spread of strength.  By days: the row's
    days; air below the limit for opening on time alone draws them out to the maturity of so many days at that limit,
    likely at the normal mean, soonest and latest a standard deviation off.  Without ``normals`` the days are those at
    the reference temperature, or the row's.  The days of ``forecast`` (table ``weather_forecast``) stand as they were
    forecast in all three cases, see :func:`at_dates`; basis and cautions say where they rest on it.

    ``length_ft`` is the length of the longest repair; without it the row that asks for more holds.  Raises
    :class:`BadAssumption` for a strength that the mix never reaches, an own curve that is not given, a method that
    is not known and a forecast without normals; :class:`ValueError` for a kind that is not known.
    """
    if kind not in _FIXED_DAYS:
        raise ValueError(f"'{kind}' is not one of {', '.join(_FIXED_DAYS)}")
    by = assumptions.text("curing", f"opening_basis.{kind}")
    if by not in ("days", "strength"):
        raise BadAssumption(f"curing: '{by}' for 'opening_basis.{kind}' is not days or strength")
    need = (_by_days(kind, assumptions) if by == "days"
            else _by_strength(kind, thickness_in, length_ft, assumptions))
    refuse_alone(normals, forecast)
    air = None if normals is None or not len(days) else _air(days, assumptions, normals, forecast)
    hours = _clock(need, by, air, len(days), assumptions)
    longest = int(assumptions.number("curing", "longest_wait_days"))
    # A hair over a whole day is rounding, not time.
    count = np.minimum(np.ceil(hours / _DAY_H - 1e-9), longest).astype(np.int64)
    late = hours > longest * _DAY_H
    said = [_weather(kind, air, count[1], assumptions), _capped(late, longest, air)]
    cautions = tuple("; ".join(text for part in said for text in part[at]) for at in range(len(days)))
    return Openings(count[0], count[1], count[2], np.minimum(hours[1], longest * _DAY_H), cautions,
                    f"{need.words}; {_temperature_words(by, normals, air, assumptions)}; {_FIELD}.")


def _by_days(kind: Kind, assumptions: Assumptions) -> _Need:
    key = _FIXED_DAYS[kind]
    days = assumptions.number("curing", key)
    limit = assumptions.number("curing", "time_alone_f")
    return _Need((days * _DAY_H,) * 3, float(_celsius(limit)), days * _DAY_H,
                 f"Opens after {days:g} {'day' if days == 1 else 'days'} ({assumptions.citation('curing', key)})")


def _by_strength(kind: Kind, thickness_in: float | None, length_ft: float | None, assumptions: Assumptions) -> _Need:
    key, psi, where = _asked(kind, thickness_in, length_ft, assumptions)
    spread = assumptions.number("curing", "strength_spread")
    asked = np.array([psi / (1.0 + case * spread) for case in _CASES])
    hours, least, words = _age(asked, assumptions)
    if not np.isfinite(hours[1]):
        raise BadAssumption(f"curing: the mix never reaches the {psi:,.0f} psi of '{key}' ({words}): raise the "
                            "strength of the mix, or lower the opening strength if the engineer agrees")
    reference = assumptions.number("curing", "reference_c")
    return _Need((float(hours[0]), float(hours[1]), float(hours[2])), reference, least,
                 f"Opens at {psi:,.0f} psi{where} ({assumptions.citation('curing', key)}), by {words}, "
                 f"{100 * spread:g} % stronger for the soonest and weaker for the latest day")


def _asked(kind: Kind, thickness_in: float | None, length_ft: float | None,
           assumptions: Assumptions) -> tuple[str, float, str]:
    """Row, psi and words of the opening strength; between two thicknesses the thinner's row, which asks for more."""
    if kind == "patch":
        return "opening_psi.patch", assumptions.number("curing", "opening_psi.patch"), " for a partial-depth patch"
    fallback = ("opening_psi.fallback", assumptions.number("curing", "opening_psi.fallback"))
    if thickness_in is None or np.isnan(thickness_in):
        return *fallback, ", thickness not known"
    sizes = ["short", "long"]
    if length_ft is not None:
        sizes = ["short" if length_ft < assumptions.number("curing", "short_repair_ft") else "long"]
    found, thin = [], False
    for size in sizes:
        prefix = f"opening_psi.{size}."
        rows = sorted((float(key.removeprefix(prefix)), key) for key in assumptions.table("curing").index
                      if key.startswith(prefix))
        fits = [key for least, key in rows if least <= thickness_in + 1e-9]
        thin |= not fits
        key = fits[-1] if fits else rows[0][1]
        found.append((key, assumptions.number("curing", key)))
    key, psi = max(found + [fallback] * thin, key=lambda row: row[1])
    return key, psi, f" for {thickness_in:g} in of concrete" + (", thinner than any row by thickness" if thin else "")


def _age(psi: Floats, assumptions: Assumptions) -> tuple[Floats, float, str]:
    """Hours at the reference temperature to reach each strength, the least that the method can tell, and words."""
    def number(key: str) -> float:
        return assumptions.number("curing", key)

    method = assumptions.text("curing", "strength_method")
    if method == "own curve":
        if not (assumptions.text("curing", "own_curve_a") and assumptions.text("curing", "own_curve_b")):
            raise BadAssumption("curing: 'own curve' needs own_curve_a and own_curve_b, the mix's maturity curve")
        a, b = number("own_curve_a"), number("own_curve_b")
        if not (np.isfinite(a) and 0 < b < np.inf):
            raise BadAssumption(f"curing: {b:g} for 'own_curve_b' is not above 0, or {a:g} for 'own_curve_a' not a "
                                "number: strength must grow with maturity")
        return (strength.maturity_at(psi, a, b) / (number("reference_c") - number("datum_c")), 0.0,
                f"the mix's own curve {a:g} + {b:g} log10 of deg C hours")
    mix = number("strength_28_psi")
    share = psi / mix
    if method == "ACI 209":
        a, b = number("aci_a"), number("aci_b")
        days, key, constants = strength.age_at_share(share, a, b), "aci_a", f"a {a:g}, b {b:g}"
        most = mix / b
    elif method == "CEB-FIP":
        s = number("ceb_s")
        days, key, constants = strength.ceb_age(share, s), "ceb_s", f"s {s:g}"
        most = mix * float(np.exp(s))
    else:
        raise BadAssumption(f"curing: '{method}' for 'strength_method' is not ACI 209, CEB-FIP or own curve")
    # Neither rule holds below one day.
    return (np.maximum(days, 1.0) * _DAY_H, _DAY_H,
            f"{method} ({assumptions.citation('curing', key)}; {constants}) for a mix of {mix:,.0f} psi at 28 days and "
            f"{most:,.0f} psi in the end")


def _air(days: Sequence[date], assumptions: Assumptions, normals: pd.DataFrame,
         forecast: pd.DataFrame | None) -> _Air:
    first = min(days)
    longest = int(assumptions.number("curing", "longest_wait_days"))
    span = (max(days) - first).days + longest + 2
    dates = [first + timedelta(days=offset) for offset in range(span)]
    rows = at_dates(dates, normals, forecast)
    told = by_forecast(dates, forecast)
    known = [day for day, is_told in zip(dates, told.tolist(), strict=True) if is_told]
    words = "" if not known else (f", but by the forecast on {known[0]}" if len(known) == 1 else
                                  f", but by the forecast on {len(known)} days from {known[0]} to {known[-1]}")
    placed = np.array([(day - first).days for day in days], np.int64)
    begun = np.asarray(placed * _DAY_H + assumptions.number("curing", "placing_hour"), np.float64)
    return _Air(rows["tmean_f"].to_numpy(float), np.nan_to_num(rows["tmean_sd_f"].to_numpy(float), nan=0.0),
                rows["tmax_f"].to_numpy(float), placed, begun, told, words)


def _clock(need: _Need, by: str, air: _Air | None, count: int, assumptions: Assumptions) -> Floats:
    """Hours from placing to opening [case, day]; infinity where the need is not met in the time looked at."""
    if air is None:
        hours = np.full(3, need.least_h) if by == "days" else np.maximum(need.hours, need.least_h)
        return np.asarray(np.repeat(hours[:, None], count, axis=1))
    once = float(_gain(need.at_c, assumptions))
    length = np.full(len(air.mean), _DAY_H)
    found = [weather.hours_to_reach(hours * once, length, _gain(_celsius(air.mean + case * air.sd), assumptions),
                                    air.begun_h)
             for case, hours in zip(_CASES, need.hours, strict=True)]
    return np.asarray(np.maximum(np.stack(found), need.least_h))


def _gain(temp_c: npt.ArrayLike, assumptions: Assumptions) -> Floats:
    """What an hour at a temperature adds; nothing at or below the datum, where concrete is taken to rest."""
    datum = assumptions.number("curing", "datum_c")
    method = assumptions.text("curing", "temperature_method")
    if method == "Nurse-Saul":
        return weather.degrees_above(temp_c, datum)
    if method == "equivalent age":
        factor = weather.rate_factor(temp_c, assumptions.number("curing", "activation_k"),
                                     assumptions.number("curing", "reference_c"))
        return np.asarray(np.where(np.asarray(temp_c, float) > datum, factor, 0.0))
    raise BadAssumption(f"curing: '{method}' for 'temperature_method' is not Nurse-Saul or equivalent age")


def _weather(kind: Kind, air: _Air | None, likely: Ints, assumptions: Assumptions) -> list[list[str]]:
    """Cold, heat and drying on each placing day, and cool air until it opens."""
    if air is None:
        return [[] for _ in likely]
    (cold, alone, hot, most, limit, first, humidity, wind, above) = (
        assumptions.number("curing", key) for key in (
            _COLD[kind], "time_alone_f", "hot_air_f", "hot_concrete_f", "evaporation_limit", "evaporation_first",
            "evaporation_humidity", "evaporation_wind_mph", "concrete_above_air_f"))
    mean, high, told = air.mean[air.placed], air.high[air.placed], air.told[air.placed]
    drying = weather.evaporation(high + above, high, humidity, wind)
    taken = f"at {100 * humidity:g} % humidity and {wind:g} mph of wind, both assumed"
    odds = chance_below(mean, air.sd[air.placed], cold)
    least_odds = assumptions.number("curing", "cold_chance")
    since, share = _mean_since(air, air.mean, likely), _mean_since(air, air.told.astype(float), likely)
    found = []
    for day, top, loss, cool, is_told, part, chance in zip(mean.tolist(), high.tolist(), drying.tolist(),
                                                           since.tolist(), told.tolist(), share.tolist(),
                                                           odds.tolist(), strict=True):
        said = []
        normal, by = ("", " by the forecast") if is_told else ("normal ", "")
        if day < cold:
            said.append(f"cold: {normal}mean air of {day:.1f} F{by}, under the {cold:g} F for placing")
        elif chance >= least_odds:
            said.append(f"cold: {100 * chance:.0f} in 100 such days have a mean under the {cold:g} F for placing")
        if top > hot:
            said.append(f"hot: {normal}high of {top:.1f} F{by}, over the {hot:g} F for placing")
        if top + above > most:
            said.append(f"hot: concrete may pass {most:g} F, taken {above:g} F over the air{by}")
        if loss >= first:
            what = "precautions" if loss >= limit else "first warning"
            said.append(f"drying: {loss:.2f} lb/sq ft/h{by} {taken}, {what}")
        if cool < alone:
            by = "" if part < _NONE else " by the forecast" if part > 1 - _NONE else " partly by the forecast"
            said.append(f"mean air of {cool:.1f} F{by} from placing to opening, under {alone:g} F: never open on time "
                        "alone, test strength")
        found.append(said)
    return found


def _mean_since(air: _Air, values: Floats, likely: Ints) -> Floats:
    """Mean of daily values from placing over so many days, by the hour."""
    edge = np.arange(len(values) + 1) * _DAY_H
    total = np.concatenate([[0.0], np.cumsum(values * _DAY_H)])
    span = np.maximum(likely, 1) * _DAY_H  # opened on its own day: the day after placing tells of the air as well
    return np.asarray((np.interp(air.begun_h + span, edge, total) - np.interp(air.begun_h, edge, total)) / span)


def _capped(late: Bools, longest: int, air: _Air | None) -> list[list[str]]:
    """Where the likely or the latest opening lies past the longest wait, of which the days then tell."""
    count = late.shape[1]
    told = (np.zeros(count) if air is None else
            _mean_since(air, air.told.astype(float), np.full(count, longest, np.int64))) > _NONE
    likely = [f"not strong enough within {longest} days at normal air{', partly by the forecast' if is_told else ''}: "
              f"{longest} stands for longer, protect and test" for is_told in told.tolist()]
    latest = f"with weaker concrete or cooler air not strong enough within {longest} days: the latest is longer"
    return [[likely[at]] if late[1, at] else [latest] if late[2, at] else [] for at in range(count)]


def _temperature_words(by: str, normals: pd.DataFrame | None, air: _Air | None, assumptions: Assumptions) -> str:
    if normals is None:
        at = assumptions.number("curing", "reference_c")
        return ("no normal temperatures are given, so cool air is not allowed for" if by == "days" else
                f"no normal temperatures are given, so the age is that at {at:g} deg C")
    method = assumptions.text("curing", "temperature_method")
    told = "" if air is None else air.words
    words = (f"{method} ({assumptions.citation('curing', 'temperature_method')}) on the normal daily mean air{told}, "
             "taken for the concrete's")
    if by == "days":
        limit = assumptions.number("curing", "time_alone_f")
        words = f"longer in air under {limit:g} F, until the maturity of so many days at {limit:g} F by {words}"
    known = bool(normals["tmean_sd_f"].notna().any())
    words += (", a standard deviation warmer for the soonest and cooler for the latest day" if known else
              "; no standard deviations of the air are given")
    return words + ("; how far the forecast errs is not allowed for" if told else "")


def _celsius(temp_f: npt.ArrayLike) -> Floats:
    return np.asarray((np.asarray(temp_f, float) - 32.0) / 1.8)
