"""How well the forecast does: fitted to older surveys, asked for the newest, beside two plain models."""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base import rating, tables
from rehab.base.errors import Note
from rehab.base.settings import Assumptions
from rehab.plan import calibrate, ride_backtest
from rehab.plan.ahead import MEASURES, Measured, expect, inside, measured
from rehab.plan.surveys import stack

Floats = npt.NDArray[np.float64]
By = Literal["time", "block"]

MODELS: Final = ("survival", "no_change", "straight_line")
#: points of the index by which a block may get better between surveys before unrecorded work is suspected
_UNRECORDED: Final = 5.0
_FOLDS: Final = 5
_LEAST_HELD: Final = 30  #: pairs of held indexes from which their scatter is estimated
_UNIT: Final = {"index": "points", "full_share": "share", "partial_share": "share"}
#: measure -> its words, what it is shown times, and the unit then
_WORDS: Final = {"index": ("Condition index", 1, "points"),
                 "full_share": ("Panels that need full depth", 100, "of a hundred"),
                 "partial_share": ("Panels that need partial depth", 100, "of a hundred"),
                 "faulting": ("Mean step at the joints", 1, "in"), "iri": ("Roughness", 1, "in/mile")}
_RIDE_UNIT: Final = {"faulting": "in", "iri": "in/mi"}
_NEW: Final = {"index": 100.0, "full_share": 0.0, "partial_share": 0.0}  #: a block of age zero


@dataclass(frozen=True)
class BackTest:
    """``errors`` is the table ``backtest``; ``blocks`` the predictions it rests on; ``notes`` what was assumed.

    ``blocks``: block_id, survey_year and survey_year_seen, and for each measure its value then, as seen (``_seen``), as
    each model expects it (``index`` by the names of the models alone, the shares with the model before, as
    ``survival_full_share``), the ends of the 80 % interval (``_low``, ``_high``), then work, unrecorded, counted (in
    both surveys: only then the shares are compared), curves (refitted or default).
    """

    errors: pd.DataFrame
    blocks: pd.DataFrame
    notes: tuple[Note, ...]


def run(older: list[pd.DataFrame], newest: pd.DataFrame, assumptions: Assumptions, by: By = "time") -> BackTest:
    """Errors and coverage per measure and model of what older ``blocks`` tables say of the newest one.

    For each block its latest survey before the newest is the basis.  By ``time`` the curves are fitted to the older
    surveys; with one older survey, or too few failures, they are those given.  By ``block`` five parts of the blocks
    are told by curves fitted to the other parts, the newest survey included.  Left out and counted: blocks with work
    recorded since, and blocks that got better by more than five points, as unrecorded work.  Blocks whose condition
    cannot be told are no part of it.  The straight line runs through the two latest older surveys, or from age zero
    where there is one.  Raises :class:`ValueError` when no block was surveyed twice.
    """
    surveys = [measured(table, assumptions) for table in older if len(table)]
    last = measured(newest, assumptions)
    pairs = _pairs(surveys, last, assumptions)
    if pairs.empty:
        raise ValueError("no block of the newest table was surveyed earlier; the block names must agree, and each "
                         "survey must say its day")
    told = _by_block if by == "block" else _by_time
    expected, notes = told(surveys, last, pairs, assumptions)
    for measure in MEASURES:
        pairs[_column("survival", measure)] = expected[measure].to_numpy(float)
        for end in ("low", "high"):
            pairs[f"{measure}_{end}"] = expected[f"{measure}_{end}"].to_numpy(float)
        pairs[_column("no_change", measure)] = pairs[measure]
        pairs[_column("straight_line", measure)] = _line(pairs, measure)
    pairs["curves"] = expected["curves"].to_numpy()
    columns = ["block_id", "survey_year", "survey_year_seen", *(
        name for measure in MEASURES for name in (measure, f"{measure}_seen", *(
            _column(model, measure) for model in MODELS), f"{measure}_low", f"{measure}_high")),
        "work", "unrecorded", "counted", "curves"]
    return BackTest(tables.check("backtest", tables.with_types("backtest", _errors(pairs))), pairs[columns],
                    tuple(notes))


def ride(surveys: list[pd.DataFrame], assumptions: Assumptions) -> tuple[pd.DataFrame, list[Note]]:
    """Rows of the table ``backtest`` for steps at joints and roughness, each block told by the growth of the others.

    No rows, and a note why, where too few blocks were read twice.
    """
    visits = pd.concat([_visits(measured(table, assumptions)[0]) for table in surveys if len(table)])
    visits = visits.sort_values(["block_id", "surveyed_on"], kind="stable", ignore_index=True)
    since = visits.groupby("block_id")["surveyed_on"].shift().dt.year
    try:
        errors, _ = ride_backtest.run(visits.assign(work=visits["last_work_year"] >= since), assumptions, (0.0,),
                                      folds=5)
    except ValueError as error:
        return tables.empty("backtest"), [Note("back-test", None, None, f"steps and roughness: {error}")]
    rows = errors.assign(
        model=errors["model"].replace({"growth": "survival"}), unit=errors["measure"].map(_RIDE_UNIT),
        coverage=errors["covered"], left_out_work=errors["left_out"], left_out_unrecorded=0.0,
        curves="fitted to the other blocks")
    return tables.check("backtest", tables.with_types("backtest", rows)), []


def sentences(errors: pd.DataFrame) -> list[str]:
    """How far off the forecast is, one sentence a measure: beside the plain models, with what its interval holds."""
    said = []
    for measure, rows in errors.groupby("measure", sort=False):
        by = rows.set_index("model")
        words, factor, unit = _WORDS[str(measure)]
        off = {name: f"{factor * float(by['mean_absolute_error'].loc[name]):.3g}" for name in by.index}
        count, inside = (float(by[name].loc["survival"]) for name in ("blocks", "coverage"))
        said.append(f"{words} of {count:.0f} blocks: the forecast is off by {off['survival']} {unit} on average, no "
                    f"change by {off['no_change']}, a straight line by {off['straight_line']}; the newest survey lies "
                    f"in the 80 % interval in {100 * inside:.0f} % (curves: {by['curves'].loc['survival']}).")
    return said


def _visits(city: pd.DataFrame) -> pd.DataFrame:
    known = city["year_built"].notna()
    return city[["block_id", "faulting_in", "iri_in_per_mi"]].assign(
        age_yr=city["age_yr"].astype(float).where(known), last_work_year=city["last_work_year"].astype(float),
        surveyed_on=city["surveyed_on"].fillna(pd.to_datetime(city["survey_year"].astype(int).astype(str) + "-07-01")))


def _column(model: str, measure: str) -> str:
    return model if measure == "index" else f"{model}_{measure}"


def _condition(survey: Measured, assumptions: Assumptions) -> pd.DataFrame:
    city, need = survey
    return pd.DataFrame({
        "block_id": city["block_id"], "survey_year": city["survey_year"].astype("int64"),
        **{measure: need[measure] for measure in MEASURES}, "age_yr": city["age_yr"],
        "year_built": city["year_built"], "last_work_year": city["last_work_year"],
        "counted": ~city["estimated"].astype(bool),
        "held": ~np.isnan(rating.index_held(city, assumptions))})


def _pairs(older: list[Measured], newest: Measured, assumptions: Assumptions) -> pd.DataFrame:
    """The latest older survey of each block beside the newest one, and the one before where there is one."""
    target = _condition(newest, assumptions)
    if not older:
        return target.iloc[:0]
    history = pd.concat([_condition(survey, assumptions) for survey in older]).sort_values(
        ["block_id", "survey_year"], kind="stable").drop_duplicates(["block_id", "survey_year"], keep="last")
    history = history[history["survey_year"] < history["block_id"].map(target.set_index("block_id")["survey_year"])]
    before = history.groupby("block_id").tail(2)
    before = before[before["block_id"].duplicated(keep="last")]
    merged = history.groupby("block_id").tail(1).merge(target, on="block_id", suffixes=("", "_seen")).merge(
        before[["block_id", "survey_year", *MEASURES]], on="block_id", how="left", suffixes=("", "_before"))
    merged = merged.sort_values("block_id", ignore_index=True)
    work = (merged["last_work_year_seen"] >= merged["survey_year"]).fillna(False).astype(bool)
    work |= (merged["year_built_seen"] > merged["survey_year"]).fillna(False).astype(bool)  # built anew since
    return merged.assign(
        years=merged["survey_year_seen"] - merged["survey_year"], work=work,
        unrecorded=~work & (merged["index_seen"] > merged["index"] + _UNRECORDED),
        counted=merged["counted"] & merged["counted_seen"], held=merged["held"] & merged["held_seen"])


def _by_time(surveys: list[Measured], _: Measured, pairs: pd.DataFrame,
             assumptions: Assumptions) -> tuple[pd.DataFrame, list[Note]]:
    """Expected of the newest survey by what was known before it."""
    given, refitted, notes = _curves(surveys, assumptions)
    earlier = _pairs(surveys[:-1], surveys[-1], assumptions)
    noise, more = _noise(surveys, earlier, pairs, given, refitted)
    return _told(surveys, pairs, given, refitted, noise), [*notes, *more]


def _by_block(surveys: list[Measured], newest: Measured, pairs: pd.DataFrame,
              assumptions: Assumptions) -> tuple[pd.DataFrame, list[Note]]:
    """Expected of each part of the blocks by what the other parts say, their newest survey included."""
    every, parts = [*surveys, newest], []
    notes = stack(every, assumptions)[1]
    for fold in range(_FOLDS):
        mine = _in_fold(pairs["block_id"], fold)
        if not mine.any():
            continue
        others = [_outside(survey, fold) for survey in every]
        given, refitted, said = _curves([survey for survey in others if len(survey[0])], assumptions)
        noise, more = _noise(surveys, pairs[~mine], pairs[mine], given, refitted)
        parts.append(_told(surveys, pairs[mine], given, refitted, noise))
        notes += [Note(note.topic, None, None, f"part {fold + 1}: {note.message}")
                  for note in (*(said if not refitted else ()), *more)]
    return pd.concat(parts).reindex(pairs["block_id"]), notes


def _told(surveys: list[Measured], pairs: pd.DataFrame, given: Assumptions, refitted: bool,
          noise: float) -> pd.DataFrame:
    return expect(surveys, pairs, given, refitted=refitted, noise=noise).assign(
        curves="refitted" if refitted else "default")


def _in_fold(names: pd.Series, fold: int) -> npt.NDArray[np.bool_]:
    """Whether blocks belong to a part: by their names alone, so that a block stays in its part."""
    return np.array([zlib.crc32(str(name).encode()) % _FOLDS == fold for name in names], bool)


def _outside(survey: Measured, fold: int) -> Measured:
    rows = ~_in_fold(survey[0]["block_id"], fold)
    return survey[0][rows].reset_index(drop=True), survey[1][rows].reset_index(drop=True)


def _curves(surveys: list[Measured], assumptions: Assumptions) -> tuple[Assumptions, bool, list[Note]]:
    """The curves that some surveys give: refitted, or those given with a note why."""
    if surveys:
        counted, notes = stack(surveys, assumptions)
        if counted["block_id"].duplicated().any():
            _, found, more = calibrate.fitted(counted, assumptions)
            notes += more
            return (assumptions.having("survival", found.values()) if found else assumptions), bool(found), notes
    return assumptions, False, [Note("back-test", None, None, "no block was surveyed twice before the newest "
                                     "survey, so the curves are not refitted: those given are tested")]


def _noise(surveys: list[Measured], known: pd.DataFrame, asked: pd.DataFrame, given: Assumptions,
           refitted: bool) -> tuple[float, list[Note]]:
    """Scatter of the change of a held index that is no change of the street, points, from pairs other than the asked.

    What is left of the mean square of the misses when the variance that the forecast gives itself is taken off.
    """
    if not asked["held"].any():
        return 0.0, []
    if len(known):
        known = known[known["held"] & ~known["work"] & ~known["unrecorded"]]
    if len(known) < _LEAST_HELD:
        return 0.0, [Note("back-test", None, None, f"{int(asked['held'].sum())} blocks hold an index in both surveys; "
                          "how such indexes scatter is not known from earlier surveys, so their intervals lack it and "
                          "are too narrow")]
    expected = expect(surveys, known, given, refitted=refitted)
    off = known["index_seen"].to_numpy(float) - expected["index"].to_numpy(float)
    noise = float(np.sqrt(max(np.mean(off**2) - np.mean(expected["index_sd"].to_numpy(float) ** 2), 0.0)))
    return noise, [Note("back-test", None, None, f"held indexes scatter by {noise:.1f} points from survey to survey "
                        f"beside what the forecast explains, by {len(known)} other pairs of surveys")]


def _line(pairs: pd.DataFrame, measure: str) -> Floats:
    now, age = pairs[measure].to_numpy(float), pairs["age_yr"].to_numpy(float)
    before = pairs[f"{measure}_before"].to_numpy(float)
    gap = (pairs["survey_year"] - pairs["survey_year_before"]).to_numpy(float)
    slope = np.where(np.isnan(gap), (now - _NEW[measure]) / np.maximum(age, 1.0), (now - before) / gap)
    return np.asarray(now + slope * pairs["years"].to_numpy(float)).clip(0.0, 100.0 if measure == "index" else 1.0)


def _errors(pairs: pd.DataFrame) -> pd.DataFrame:
    used = pairs[~pairs["work"] & ~pairs["unrecorded"]]
    rows: list[dict[str, object]] = []
    for measure in MEASURES:
        # The shares of a block without counts are read off its index and are no observation of their own.
        seen = used if measure == "index" else used[used["counted"]]
        if seen.empty:
            continue
        within = inside(seen[f"{measure}_seen"], seen, measure).mean()
        for model in MODELS:
            error = seen[_column(model, measure)] - seen[f"{measure}_seen"]
            rows.append({
                "measure": measure, "model": model, "unit": _UNIT[measure], "blocks": len(error),
                "mean_error": error.mean(), "mean_absolute_error": error.abs().mean(),
                "root_mean_square_error": (error**2).mean() ** 0.5,
                "coverage": within if model == "survival" else np.nan})
    kinds = set(pairs["curves"])
    frame = pd.DataFrame(rows) if rows else tables.empty("backtest")
    return frame.assign(left_out_work=float(pairs["work"].sum()), left_out_unrecorded=float(pairs["unrecorded"].sum()),
                        curves=kinds.pop() if len(kinds) == 1 else "refitted in some folds")
