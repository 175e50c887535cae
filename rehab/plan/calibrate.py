"""The city's own curves: several surveys fitted, and the fit held against what was seen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base import tables
from rehab.base.errors import Note
from rehab.base.panels import Curves
from rehab.base.settings import Assumptions
from rehab.plan.ahead import Measured, expect, inside, measured
from rehab.plan.surveys import stack, unrepaired
from rehab.steps import calibration, forecast

Floats = npt.NDArray[np.float64]

_BAND_YR: Final = 10
_CLASSES: Final = {"arterial": "arterials", "collector": "collectors", "local": "local streets", "alley": "alleys"}
_NAMES: Final = {
    "shallow.shape": "how steeply shallow damage comes with age (shape)",
    "deep.shape": "how steeply deep damage comes with age (shape)",
    "factor.dowelled.deep": "life of dowelled panels beside plain ones, deep damage",
    "factor.thin.deep": "life of thin panels beside those of middle thickness, deep damage",
    "factor.thick.deep": "life of thick panels beside those of middle thickness, deep damage",
    "shallow_to_deep.hazard_factor": "times as fast that a panel with shallow damage breaks",
    "prior.shallow_weight": "likeness of the blocks of a family, shallow damage",
    "prior.deep_weight": "likeness of the blocks of a family, deep damage",
}


@dataclass(frozen=True)
class Refit:
    """Surveys fitted: ``fit`` is none where too few panels failed, and ``assumptions`` are then those given.

    ``history`` holds the pairs of surveys, ``against`` is the table ``calibration_fit``, ``residuals`` and
    ``set_apart`` are the tables of these names; ``assumptions`` have the fitted values laid over.  ``years`` are those
    of the surveys.
    """

    fit: calibration.Fit | None
    history: calibration.History
    assumptions: Assumptions
    against: pd.DataFrame
    residuals: pd.DataFrame
    set_apart: pd.DataFrame
    notes: tuple[Note, ...]
    years: tuple[int, ...]

    @property
    def rows(self) -> pd.DataFrame:
        """The table ``calibration``; empty where nothing was fitted."""
        return self.fit.rows if self.fit else tables.empty("calibration")


def surveys(given: Sequence[pd.DataFrame], assumptions: Assumptions) -> pd.DataFrame:
    """Several ``blocks`` tables as one table of counts, one row per block and survey, as calibration pairs it."""
    return stack([measured(table, assumptions) for table in given], assumptions)[0]


def refit(given: Sequence[pd.DataFrame], assumptions: Assumptions) -> Refit:
    """Fit the curves to two or more ``blocks`` tables of the same city, in any order.

    Raises :class:`ValueError` when no block was surveyed in two years.
    """
    taken = [measured(table, assumptions) for table in given if len(table)]
    if not taken:
        raise ValueError("the surveys hold no block")
    counted, notes = stack(taken, assumptions)
    if not counted["block_id"].duplicated().any():
        raise ValueError("no block was surveyed in two different years; the block names must agree, and each survey "
                         "must say its day")
    history, found, more = fitted(counted, assumptions)
    after = assumptions.having("survival", found.values()) if found else assumptions
    return Refit(
        found, history, after, _against(unrepaired(counted, history), assumptions, after),
        _residuals(taken, counted, history, after, found is not None),
        tables.check("set_apart", tables.with_types("set_apart", history.set_apart)),
        (*notes, *more), tuple(int(year) for year in sorted(counted["survey_year"].unique())))


def fitted(counted: pd.DataFrame, assumptions: Assumptions
           ) -> tuple[calibration.History, calibration.Fit | None, list[Note]]:
    """The history and the fit of a table of :func:`surveys`; no fit, and a note why, where too few panels failed."""
    history = calibration.pair(counted, assumptions)
    try:
        found = calibration.fit(history, assumptions)
    except ValueError as error:
        return history, None, [Note("calibration", None, None, str(error))]
    return history, found, [replace(note, message=_in_words(note.message)) for note in found.notes]


def named(key: str) -> str:
    """A row of the table ``survival`` in words."""
    kind, _, rest = key.partition(".scale.")
    if rest:
        return f"years by which 63 % of the panels of {_CLASSES[rest]} would have {kind} damage (scale)"
    return _NAMES[key]


def _in_words(message: str) -> str:
    """A message with rows of the table ``survival`` in words."""
    first, _, rest = message.partition(" ")
    known = first in _NAMES or first.partition(".scale.")[2] in _CLASSES
    return f"{named(first)[:1].upper()}{named(first)[1:]} {rest}" if known else message


def sentences(made: Refit) -> tuple[str, str, str]:
    """The calibration in three sentences: what was fitted, what changed most, how well it fits."""
    return _fitted_words(made), _changed_words(made), _close_words(made)


def _fitted_words(made: Refit) -> str:
    reasons = made.set_apart["reason"].value_counts()
    apart = [f"{reasons[name]:,} with {words}" for name, words in (
        ("recorded work", "work recorded"), ("unrecorded work", "work that nobody recorded")) if name in reasons]
    years = ", ".join(str(year) for year in made.years)
    said = (f"The surveys of {years} give {_count(len(made.history.steps), 'pair')} of surveys of "
            f"{_count(len(made.history.blocks), 'block')}")
    return said + (f"; set apart: {' and '.join(apart)}." if apart else "; none is set apart for work.")


def _changed_words(made: Refit) -> str:
    rows = made.rows[made.rows["fitted"]]
    if rows.empty:
        return "Too few panels failed between the surveys to tell the curves: the values before stay."
    told = rows[rows["low"].notna()]  # a value at an end of its range has no interval
    moved = told[~told["default"].between(told["low"], told["high"])]
    most = moved if len(moved) else told if len(told) else rows
    row = most.iloc[int(np.argmax(np.abs(np.log(most["value"].to_numpy(float) / most["default"].to_numpy(float)))))]
    value, low, high, default = (_short(float(row[name])) for name in ("value", "low", "high", "default"))
    interval = "the end of its range" if np.isnan(row["low"]) else f"95 % interval {low} to {high}"
    change = f"{named(str(row['key']))}, from {default} to {value} ({interval})"
    if moved.empty:
        return f"No value before lies outside its new interval; the most moved is: {change}."
    held = len(rows) - len(told)
    ends = f"; {_count(held, 'value')} ended at an end of the range" if held else ""
    return (f"{len(moved)} of {_count(len(told), 'value')} with an interval lay outside it before; most changed is: "
            f"{change}{ends}.")


def _close_words(made: Refit) -> str:
    parts = []
    if len(made.against):
        off = {when: [_off(made.against, when, kind) for kind in ("partial", "full")] for when in ("before", "after")}
        parts.append(
            "by class and age the curves miss the share of panels seen by "
            f"{_short(off['after'][0])} points of a hundred for shallow and {_short(off['after'][1])} for deep damage"
            + (f" ({_short(off['before'][0])} and {_short(off['before'][1])} before)" if made.fit else ""))
    if len(made.residuals):
        inside = made.residuals["full_inside"].mean()
        parts.append(f"{100 * inside:.0f} % of {_count(len(made.residuals), 'block')} have their share of deep damage "
                     "inside the 80 % interval expected from the survey before")
    if not parts:
        return "There is no block without work to hold the curves against."
    said = "; ".join(parts)
    return f"{said[0].upper()}{said[1:]}."


def _off(against: pd.DataFrame, when: str, kind: str) -> float:
    gap = (against[f"{when}_{kind}_share"] - against[f"seen_{kind}_share"]).abs()
    return float(100 * np.average(gap, weights=against["panels"]))


def _count(number: int, what: str) -> str:
    return f"{number:,} {what}{'' if number == 1 else 's'}"


def _short(value: float) -> str:
    return f"{value:,.0f}" if abs(value) >= 100 else f"{value:.3g}"


def _against(rows: pd.DataFrame, before: Assumptions, after: Assumptions) -> pd.DataFrame:
    """The table ``calibration_fit``: panels seen by class and age, and what the curves say of the same blocks."""
    parts = {"seen": (rows["shallow"].to_numpy(float), rows["deep"].to_numpy(float))}
    panels = rows["panels"].to_numpy(float)
    for when, given in (("before", before), ("after", after)):
        curves = forecast.families(rows, given)
        _, shallow, deep = calibration.population(
            rows["age_yr"].to_numpy(float), Curves(*(curves[name].to_numpy(float) for name in Curves._fields)),
            *(given.number("survival", key) for key in (
                "shallow_to_deep.hazard_factor", "prior.shallow_weight", "prior.deep_weight")))
        parts[when] = shallow * panels, deep * panels
    counts = pd.DataFrame({
        "functional_class": rows["functional_class"].astype("str"), "panels": panels, "blocks": 1,
        "age_from_yr": (rows["age_yr"] // _BAND_YR * _BAND_YR).astype("int64"), "age_yr": rows["age_yr"] * panels,
        **{f"{when}_{name}_share": count for when, pair in parts.items()
           for name, count in zip(("partial", "full"), pair, strict=True)}})
    found = counts.groupby(["functional_class", "age_from_yr"], as_index=False).sum()
    means = found.drop(columns=["functional_class", "panels", "blocks", "age_from_yr"]).div(found["panels"], axis=0)
    found = found.assign(**means, age_to_yr=found["age_from_yr"] + _BAND_YR)
    return tables.check("calibration_fit", tables.with_types("calibration_fit", found))


def _residuals(taken: Sequence[Measured], counted: pd.DataFrame, history: calibration.History,
               assumptions: Assumptions, refitted: bool) -> pd.DataFrame:
    """The table ``residuals``: the newest survey of each block, expected from the one before it."""
    last = counted.groupby("block_id").tail(2)
    last = last[last["block_id"].duplicated(keep=False)]
    older, newer = (getattr(last.groupby("block_id"), end)().reset_index() for end in ("first", "last"))
    apart = pd.MultiIndex.from_frame(history.set_apart[["block_id", "to_year"]])
    used = ~pd.MultiIndex.from_frame(newer[["block_id", "survey_year"]]).isin(apart)
    older, newer = older[used].reset_index(drop=True), newer[used].reset_index(drop=True)
    if older.empty:
        return tables.empty("residuals")
    expected = expect(taken, older.assign(years=newer["survey_year"] - older["survey_year"]), assumptions,
                      refitted=refitted).reset_index(drop=True)
    out = pd.DataFrame({"block_id": newer["block_id"], "from_year": older["survey_year"],
                        "to_year": newer["survey_year"]})
    for name, kind in (("partial", "shallow"), ("full", "deep")):
        share, seen = f"{name}_share", newer[kind] / newer["panels"]
        out[f"seen_{share}"], out[f"expected_{share}"] = seen, expected[share]
        out[f"{name}_inside"] = inside(seen, expected, share)
        # Half a panel is the least that a count can tell.
        out[f"{name}_residual"] = (seen - expected[share]) / np.maximum(expected[f"{share}_sd"], 0.5 / newer["panels"])
    return tables.check("residuals", tables.with_types("residuals", out))
