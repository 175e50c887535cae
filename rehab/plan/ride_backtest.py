"""How well steps and roughness are forecast: growth fitted on other blocks, each block's newest reading predicted.

Blocks are dealt into folds; the growth that predicts a block was fitted without it.  Beside it stand two plain models:
no change, and a straight line through the two latest older readings, or from a new surface where there is one.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.settings import Assumptions
from rehab.steps import ride

Floats = npt.NDArray[np.float64]

MODELS: Final = ("growth", "no_change", "straight_line")
_DAYS: Final = 365.25


def run(visits: pd.DataFrame, assumptions: Assumptions, horizons: Sequence[float] = (0.0, 2.0, 5.0),
        folds: int = 10, seed: int = 1) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Errors per measure, horizon and model, and the predictions they rest on.

    ``visits`` has one row per visit: block_id, age_yr, faulting_in and iri_in_per_mi (either may be missing or
    empty), a flag ``work`` (work recorded since the visit before) and, if it is known, surveyed_on, which then gives
    the years between visits.  For each horizon the older readings end that many years before the newest.  Left
    out and counted: blocks whose newest reading comes after work, recorded or not.  Visits without age or block are
    no part of it; a measure read too seldom to be fitted is in neither table.  Raises :class:`ValueError` when that is
    so of both.
    """
    table = _timed(visits)
    found, reasons = [], []
    for measure, column in ride.MEASURES.items():
        if column not in table or table[column].notna().sum() == 0:
            continue
        try:
            found.append(_measure(table, measure, column, assumptions, horizons, folds, seed))
        except ValueError as error:
            reasons.append(f"{column}: {error}")
    if not found:
        raise ValueError("; ".join(reasons) or "no visit has steps or a roughness")
    predicted = pd.concat(found, ignore_index=True)
    return _errors(predicted), predicted


def _timed(visits: pd.DataFrame) -> pd.DataFrame:
    """Visits with an age, in the order of blocks and ages; days between visits count where they are known."""
    table = visits[visits["age_yr"].notna() & visits["block_id"].notna()]
    if table.empty:
        raise ValueError("no block has a year of building, so that the age of its surface is not known")
    if "surveyed_on" in table:
        first = table.sort_values("surveyed_on").groupby("block_id")[["surveyed_on", "age_yr"]].first()
        begin = table["block_id"].map(first["surveyed_on"])
        since = (table["surveyed_on"] - begin).dt.total_seconds() / 86_400 / _DAYS
        table = table.assign(age_yr=(table["block_id"].map(first["age_yr"]) + since).fillna(table["age_yr"]))
    return table.sort_values(["block_id", "age_yr"], kind="stable", ignore_index=True)


def _measure(table: pd.DataFrame, measure: ride.Measure, column: str, assumptions: Assumptions,
             horizons: Sequence[float], folds: int, seed: int) -> pd.DataFrame:
    """Predictions of one measure, one row per block and horizon."""
    state = ride.since_work(table, measure, column, assumptions)
    read = table[table[column].notna()].assign(**state)
    newest = read.groupby("block_id").tail(1).set_index("block_id")
    # Older than the newest and yet not before the last work: else the newest stands alone after it.
    kept = read[read["counts"]].rename(columns={column: "reading"})
    twice = read.groupby("block_id").size() > 1
    worked = twice & (kept.groupby("block_id").size() == 1)
    blocks = np.array(sorted(read["block_id"].unique()))
    fold = pd.Series(np.random.default_rng(seed).permutation(len(blocks)) % min(folds, len(blocks)), index=blocks)
    families = {number: ride.fit(*_wide(kept[kept["block_id"].map(fold) != number]), measure)[0]
                for number in sorted(fold.unique())}
    rows = []
    for horizon in horizons:
        until = kept["block_id"].map(newest["age_yr"]) - max(horizon, 1e-6)
        older = kept[kept["age_yr"] <= until]
        target = newest.loc[sorted(older["block_id"].unique())].rename(columns={column: "seen"})
        for number, family in families.items():
            part = target[fold[target.index].to_numpy() == number]
            if len(part):
                rows.append(_predicted(part, older, family, horizon, assumptions))
    together = pd.concat(rows, ignore_index=True).sort_values(["horizon_yr", "block_id"], ignore_index=True)
    return together.assign(measure=measure, left_out=int(worked.sum()))


def _predicted(target: pd.DataFrame, older: pd.DataFrame, family: ride.Growth, horizon: float,
               assumptions: Assumptions) -> pd.DataFrame:
    own = older[older["block_id"].isin(target.index)].sort_values(["block_id", "age_yr"], kind="stable")
    asked = target["age_yr"].to_numpy(float)
    share = assumptions.number("ride", "interval_share")
    made = ride.predict(family, *_wide(own), asked[:, None], share)
    last, before = (own.groupby("block_id").nth(place).set_index("block_id").reindex(target.index)
                    for place in (-1, -2))
    latest, at = last["reading"].to_numpy(float), last["age_yr"].to_numpy(float)
    new = assumptions.number("ride", f"{family.measure}.start")
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = np.where(before["age_yr"].notna(), (latest - before["reading"]) / (at - before["age_yr"]),
                         (latest - new) / np.maximum(at, 1.0))
    return pd.DataFrame({
        "block_id": target.index, "horizon_yr": horizon, "age_yr": asked, "years": asked - at,
        "visits": own.groupby("block_id").size().reindex(target.index).to_numpy(), "seen": target["seen"].to_numpy(),
        "growth": made.value[:, 0], "low": made.low[:, 0], "high": made.high[:, 0], "no_change": latest,
        "straight_line": latest + slope * (asked - at),
    })


def _wide(visits: pd.DataFrame) -> tuple[Floats, Floats]:
    """Ages and readings as arrays (blocks in order, visits), NaN where a block has fewer."""
    numbered = visits.assign(number=visits.groupby("block_id").cumcount())
    ages, readings = (numbered.pivot_table(index="block_id", columns="number", values=name).to_numpy(float)
                      for name in ("age_yr", "reading"))
    return ages, readings


def _errors(predicted: pd.DataFrame) -> pd.DataFrame:
    rows = []
    for (measure, horizon), part in predicted.groupby(["measure", "horizon_yr"], sort=True):
        inside = ((part["seen"] >= part["low"]) & (part["seen"] <= part["high"])).mean()
        for model in MODELS:
            error = part[model] - part["seen"]
            rows.append({
                "measure": measure, "horizon_yr": horizon, "model": model, "blocks": len(part),
                "mean_error": float(error.mean()), "mean_absolute_error": float(error.abs().mean()),
                "root_mean_square_error": float((error**2).mean() ** 0.5),
                "covered": float(inside) if model == "growth" else np.nan, "left_out": int(part["left_out"].iloc[0]),
            })
    return pd.DataFrame(rows)
