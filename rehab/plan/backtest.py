"""How well the forecast does: run on older surveys, asked for the newest, beside two plain models."""

from __future__ import annotations

import numpy as np
import pandas as pd

from rehab.base import tables
from rehab.base.settings import Assumptions
from rehab.steps import forecast, layout, needs, network

#: points of the index by which a block may get better between surveys before unrecorded work is suspected
_UNRECORDED = 5.0


def run(older: list[pd.DataFrame], newest: pd.DataFrame, assumptions: Assumptions) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Errors per model, and the predictions they rest on, one row per block.

    ``older`` holds ``blocks`` tables of earlier surveys; for each block the latest one before the newest is the
    basis.  Left out and counted: blocks with work recorded since, and blocks that got better by more than
    five points, as unrecorded work.  Blocks whose condition cannot be told are no part of it.  The straight line
    runs through the two latest older surveys, or from 100 at age zero where there is one.  Raises
    :class:`ValueError` when no block was surveyed twice.
    """
    target = _condition(newest, assumptions)
    history = pd.concat([_condition(table, assumptions) for table in older]).sort_values(["block_id", "survey_year"])
    history = history[history["survey_year"] < history["block_id"].map(target.set_index("block_id")["survey_year"])]
    last = history.groupby("block_id").tail(1).reset_index(drop=True)
    if last.empty:
        raise ValueError("no block of the newest table was surveyed earlier; the block names must agree")
    merged = last.merge(target, on="block_id", suffixes=("", "_seen")).sort_values("block_id", ignore_index=True)
    merged["years"] = merged["survey_year_seen"] - merged["survey_year"]
    merged["work"] = (merged["last_work_year_seen"] >= merged["survey_year"]).fillna(False)
    merged["unrecorded"] = ~merged["work"] & (merged["index_seen"] > merged["index"] + _UNRECORDED)
    predicted = merged.assign(
        survival=_survival(older, merged, assumptions), no_change=merged["index"],
        straight_line=_line(history, merged))
    used = predicted[~predicted["work"] & ~predicted["unrecorded"]]
    columns = ["block_id", "survey_year", "survey_year_seen", "index", "index_seen", "survival", "no_change",
               "straight_line", "work", "unrecorded"]
    rows = [_errors(name, used[name] - used["index_seen"]) for name in ("survival", "no_change", "straight_line")]
    errors = pd.DataFrame(rows).assign(left_out_work=int(predicted["work"].sum()),
                                       left_out_unrecorded=int(predicted["unrecorded"].sum()))
    return errors, predicted[columns]


def _condition(blocks: pd.DataFrame, assumptions: Assumptions) -> pd.DataFrame:
    city, need = _measured(blocks, assumptions)
    return pd.DataFrame({"block_id": city["block_id"], "survey_year": city["survey_year"], "index": need["index"],
                         "age_yr": city["age_yr"], "last_work_year": city["last_work_year"]})


def _measured(blocks: pd.DataFrame, assumptions: Assumptions) -> tuple[pd.DataFrame, pd.DataFrame]:
    city = network.build(blocks[network.has_condition(blocks, assumptions)], assumptions)
    nothing = tables.empty("findings"), tables.empty("repairs")
    return city, needs.measure(city, layout.per_panel(city, *nothing, assumptions), assumptions)


def _survival(older: list[pd.DataFrame], merged: pd.DataFrame, assumptions: Assumptions) -> np.ndarray:
    """The index the survival model expects in the year of the newest survey, from each block's latest older one."""
    expected = pd.Series(np.nan, index=merged["block_id"])
    for table in older:
        city, need = _measured(table, assumptions)
        at = pd.MultiIndex.from_frame(merged[["block_id", "survey_year"]])
        mine = pd.MultiIndex.from_frame(city[["block_id", "survey_year"]]).isin(at)
        city, need = city[mine].reset_index(drop=True), need[mine].reset_index(drop=True)
        if city.empty:
            continue
        years = merged.set_index("block_id")["years"].reindex(city["block_id"]).to_numpy(int)
        # Each block is asked from its own survey year on: the gap to the first year is then zero.
        span = int(years.max() + np.ptp(city["survey_year"]))
        ageing = forecast.age(city, need, int(city["survey_year"].min()), span, assumptions)
        expected[city["block_id"]] = ageing.index[np.arange(len(city)), years]
    return np.asarray(expected, float)


def _line(history: pd.DataFrame, merged: pd.DataFrame) -> np.ndarray:
    two = history.groupby("block_id").tail(2).groupby("block_id")
    first, count = two.first().reindex(merged["block_id"]), two.size().reindex(merged["block_id"]).to_numpy()
    now, age = merged["index"].to_numpy(float), merged["age_yr"].to_numpy(float)
    gap = merged["survey_year"].to_numpy(float) - first["survey_year"].to_numpy(float)
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = np.where(count > 1, (now - first["index"].to_numpy(float)) / gap, (now - 100.0) / np.maximum(age, 1.0))
    return np.asarray(now + slope * merged["years"].to_numpy(float)).clip(0.0, 100.0)


def _errors(name: str, error: pd.Series) -> dict[str, object]:
    return {"model": name, "blocks": len(error), "mean_error": float(error.mean()),
            "mean_absolute_error": float(error.abs().mean()), "root_mean_square_error": float((error**2).mean() ** 0.5)}
