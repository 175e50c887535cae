"""The air of given days: the normals, and over them a forecast where there is one."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import ndtr

from rehab.base.errors import BadAssumption

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]


def at_dates(days: Sequence[date], normals: pd.DataFrame, forecast: pd.DataFrame | None = None) -> pd.DataFrame:
    """The rows of ``normals`` for the dates, in their order, 29 February included, with the forecast laid over them.

    On a date of ``forecast`` (table ``weather_forecast``) lowest, mean (midway between both where it gives none) and
    highest are its own, and the standard deviations are 0: the day is taken as it was told, since how far a forecast
    errs is not known here.  The chance of rain stays the normal one.  Raises :class:`BadAssumption` for a day of the
    year that ``normals`` lacks, in the forecast or not.
    """
    own = pd.Index(normals["month"].to_numpy(np.int64) * 100 + normals["day"].to_numpy(np.int64))
    rows = own.get_indexer([day.month * 100 + day.day for day in days])
    if (rows < 0).any():
        lacking = days[int(np.argmax(rows < 0))]
        raise BadAssumption(f"the normals have no row for {lacking.day} {lacking:%B}: give all 366 days of the year")
    found = normals.take(rows).reset_index(drop=True)
    told = by_forecast(days, forecast)
    if forecast is None or not told.any():
        return found
    at = pd.Index(forecast["date"]).get_indexer(pd.Index(_stamps(days)[told]))
    own = forecast.take(at)
    mid = own["tmean_f"].fillna((own["tmin_f"] + own["tmax_f"]) / 2)
    for column, values in (("tmin_f", own["tmin_f"]), ("tmean_f", mid), ("tmax_f", own["tmax_f"])):
        found.loc[told, column] = values.to_numpy(float)
    found.loc[told, ["tmin_sd_f", "tmean_sd_f", "tmax_sd_f"]] = 0.0
    return found


def by_forecast(days: Sequence[date], forecast: pd.DataFrame | None) -> Bools:
    """Whether each of the days is in the table ``weather_forecast``; none is if there is no forecast."""
    if forecast is None:
        return np.zeros(len(days), bool)
    return np.asarray(np.isin(_stamps(days), forecast["date"].to_numpy("datetime64[us]")))


def chance_below(mean_f: npt.ArrayLike, sd_f: npt.ArrayLike, limit_f: float) -> Floats:
    """Chance that a day's mean air is below the limit: Phi((limit - mean) / sd), NaN where no deviation is given.

    Daily means are taken as normally distributed about their normal; without any spread it is 0 or 1.
    """
    gap, sd = limit_f - np.asarray(mean_f, float), np.asarray(sd_f, float)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(sd == 0, (gap > 0).astype(float), ndtr(gap / sd)))


def window(days: Sequence[date], low_f: float, high_f: float, normals: pd.DataFrame | None,
           forecast: pd.DataFrame | None = None) -> Bools:
    """Whether each day's mean is at least ``low_f`` and its high at most ``high_f``; all without normals.

    The mean and the high are those of the forecast on its days.  Raises :class:`BadAssumption` for a forecast without
    normals.
    """
    refuse_alone(normals, forecast)
    if normals is None:
        return np.ones(len(days), bool)
    rows = at_dates(days, normals, forecast)
    return np.asarray((rows["tmean_f"].to_numpy(float) >= low_f) & (rows["tmax_f"].to_numpy(float) <= high_f))


def refuse_alone(normals: pd.DataFrame | None, forecast: pd.DataFrame | None) -> None:
    """Concrete of the last days of a forecast cures in air that it does not tell of."""
    if normals is None and forecast is not None:
        raise BadAssumption("a weather forecast tells of its own days alone: give daily normals for the days after it, "
                            "or leave the forecast out")


def _stamps(days: Sequence[date]) -> npt.NDArray[np.datetime64]:
    return np.array(days, "datetime64[us]")
