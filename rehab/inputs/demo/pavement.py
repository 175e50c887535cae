"""What was built and what drives on it: sizes, years, joints, traffic and plans of each block.

The concrete came in contracts: up to five blocks of a street in one district share the year, the thickness
and the joints.  Figures are invented within what city streets have (common practice, no source).
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

Floats = npt.NDArray[np.float64]

#: first and last year in which a district was built up
WAVES: Final = {"Old Landing": (1938, 1957), "Kilnside": (1946, 1964), "Southbank": (1952, 1970),
                "Quarry Hill": (1960, 1977), "Millers Flat": (1968, 1986), "Heron Heath": (1978, 1997),
                "Skylark Park": (1988, 2008), "Far Meadow": (2001, 2019)}
FIRST_YEAR: Final = 1938
LAST_YEAR: Final = 2019
SURVEY_YEAR: Final = 2026
WIDTHS_FT: Final = {"arterial": (48, 52, 56, 60, 64, 68, 72), "collector": (36, 38, 40, 42, 44),
                    "local": (26, 28, 30, 32, 34, 36), "alley": (16, 18, 20)}
#: vehicles a day: the middle of the streets of a class
TRAFFIC: Final = {"arterial": 12_000.0, "collector": 3_600.0, "local": 650.0, "alley": 90.0}
TRUCKS: Final = {"arterial": 0.055, "collector": 0.035, "local": 0.018, "alley": 0.03}


def build(streets: pd.DataFrame, seed: int) -> pd.DataFrame:
    """The streets with every column of the block that is not condition, plus panel_rows, panel_columns, contract.

    ``streets`` as :func:`rehab.inputs.demo.streets.lay_out` returns it; same rows, same order.  Nothing is
    missing yet but utility_year and no_work_until, which most blocks do not have.
    """
    rng = np.random.default_rng([seed, 2])
    city = streets.copy()
    city["contract"] = city.groupby(["street_number", "district", city["place"] // 5], sort=True).ngroup()
    name = city["street"] + ", part " + (city["place"] // 5 + 1).astype(str)
    city["corridor"] = name.where(city["functional_class"] == "arterial")
    city["year_built"] = _years(city, rng).astype(float)
    city["thickness_in"] = _thickness(city, rng)
    city["dowelled"], city["reinforced"] = _steel(city, rng)
    city["width_ft"] = _by_street(city, WIDTHS_FT, rng)
    city = _panels(city, rng)
    city = _traffic(city, rng)
    city["castings"] = rng.poisson(0.6 + city["length_ft"] / 250 + (city["width_ft"] > 44)).clip(max=12).astype(float)
    return _plans(city, rng)


def _years(city: pd.DataFrame, rng: np.random.Generator) -> npt.NDArray[np.int64]:
    """Year of each block's contract: early in the district's wave, some scatter, some rebuilt since."""
    contracts = int(city["contract"].max()) + 1
    early, late = np.array([WAVES[district] for district in city["district"]], float).T
    at = rng.beta(1.6, 1.9, contracts)[city["contract"]]
    scatter = rng.normal(0, 2.0, contracts)[city["contract"]]
    first = np.rint(early + at * (late - early) + scatter).clip(FIRST_YEAR, LAST_YEAR).astype(np.int64)
    again = rng.integers(1984, LAST_YEAR + 1, contracts)[city["contract"]]
    chance = np.where(city["functional_class"] == "arterial", 0.22, 0.07)
    rebuilt = (rng.random(contracts)[city["contract"]] < chance) & (again > first + 22)
    return np.where(rebuilt, again, first)


def _thickness(city: pd.DataFrame, rng: np.random.Generator) -> Floats:
    """Thickness in half inches, 6 to 9: by class, thicker since 1960 and 1985."""
    base = city["functional_class"].map({"arterial": 7.5, "collector": 6.5, "local": 6.0, "alley": 6.0}).to_numpy()
    era = 0.5 * (city["year_built"] >= 1960) + 0.5 * (city["year_built"] >= 1985)
    contracts = int(city["contract"].max()) + 1
    scatter = rng.choice([-0.5, 0.0, 0.0, 0.5], contracts)[city["contract"]]
    return np.asarray((base + era.to_numpy() + scatter).clip(6.0, 9.0))


def _steel(city: pd.DataFrame, rng: np.random.Generator) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
    """Dowels in arterials and newer streets, mesh or bars in old ones."""
    contracts, year = int(city["contract"].max()) + 1, city["year_built"]
    kind = city["functional_class"]
    dowels = np.select(
        [kind == "arterial", kind == "collector", kind == "local"],
        [np.where(year >= 1965, 0.95, 0.45), np.where(year >= 1985, 0.80, 0.20), np.where(year >= 2000, 0.45, 0.03)],
        0.0)
    mesh = np.select([year < 1960, year < 1975], [0.40, 0.18], 0.03)
    draws = rng.random((2, contracts))[:, city["contract"]]
    return draws[0] < dowels, draws[1] < mesh


def _by_street(city: pd.DataFrame, values: dict[str, tuple[int, ...]], rng: np.random.Generator) -> Floats:
    """One of the class's values for each whole street within a district."""
    whole = city.groupby(["street_number", "district", "functional_class"], sort=True).ngroup().to_numpy()
    draw = rng.random(int(whole.max()) + 1)[whole]
    result = np.zeros(len(city))
    for kind, options in values.items():
        of_kind = (city["functional_class"] == kind).to_numpy()
        result[of_kind] = np.array(options, float)[(draw[of_kind] * len(options)).astype(int)]
    return result


def _panels(city: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Joints: 15 ft apart in old streets, 12 in new ones; lanes share the width evenly."""
    contracts = int(city["contract"].max()) + 1
    era = np.searchsorted([1960, 1980, 2000], city["year_built"].to_numpy(), side="right")
    spacing = np.array([[15, 15, 15], [15, 15, 14], [14, 13.5, 12.5], [12, 12, 13]])
    pick = rng.integers(0, 3, contracts)[city["contract"]]
    columns = np.maximum(1, np.rint(city["width_ft"] / 12.0))
    city = city.assign(panel_length_ft=spacing[era, pick], panel_width_ft=np.round(city["width_ft"] / columns, 2))
    rows = np.maximum(1, np.rint(city["length_ft"] / city["panel_length_ft"]))
    columns = np.maximum(1, np.rint(city["width_ft"] / city["panel_width_ft"]))
    return city.assign(panel_rows=rows.astype(int), panel_columns=columns.astype(int), panels=rows * columns)


def _traffic(city: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Daily vehicles and trucks, alike along a street, more near the landing and the kilns; buses on whole streets;
    posted speeds by class and street."""
    streets = int(city["street_number"].max()) + 1
    kind, street = city["functional_class"], city["street_number"].to_numpy()
    near = np.exp(-np.hypot(city["u"], city["v"]) / 1.2)
    scatter = np.exp(rng.normal(0, 0.30, streets)[street] + rng.normal(0, 0.12, len(city)))
    adt = kind.map(TRAFFIC) * (0.65 + 0.6 * near) * scatter
    adt = np.where(adt > 1000, np.round(adt / 100) * 100, np.round(adt / 10) * 10).clip(20, 60_000)
    kilns = np.where(city["district"] == "Kilnside", 1.8, 1.0)
    trucks = kind.map(TRUCKS) * kilns * np.exp(rng.normal(0, 0.25, streets)[street] + rng.normal(0, 0.10, len(city)))
    served = rng.random(streets)[street]
    bus = ((kind == "arterial") & (served < 0.62)) | ((kind == "collector") & (served < 0.28))
    curb = np.maximum(city["length_ft"] - 60, 0) * np.select([kind == "local", kind == "collector"], [2.0, 1.5], 0.0)
    parking = np.round(curb * rng.uniform(0.45, 0.9, len(city)) / 10) * 10
    # Alleys have no signs; without a draw, so that all else of the city stays as it is.
    posted = np.select([kind == "arterial", kind == "collector", kind == "local"],
                       [np.where(street % 2 == 0, 40.0, 35.0), 30.0, 25.0], np.nan)
    return city.assign(adt=adt, truck_share=np.round(trucks, 3).clip(0.005, 0.25), bus_route=bus.to_numpy(),
                       parking_ft=parking, speed_mph=posted)


def _plans(city: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Utility work on runs of up to three blocks, no-work years after a moratorium, days of the 2026 survey."""
    run = city.groupby(["street_number", city["place"] // 3], sort=True).ngroup().to_numpy()
    runs = int(run.max()) + 1
    digs = (rng.random(runs) < 0.04)[run]
    barred = (rng.random(runs) < 0.025)[run] & ~digs
    order = city["district"].map({name: at for at, name in enumerate(WAVES)}).to_numpy()
    day = (order * 22 + rng.integers(0, 24, int(city["contract"].max()) + 1)[city["contract"]]).clip(0, 183)
    return city.assign(
        utility_year=np.where(digs, rng.integers(2027, 2037, runs)[run], np.nan),
        no_work_until=np.where(barred, rng.integers(2027, 2032, runs)[run], np.nan),
        surveyed_on=pd.Timestamp(SURVEY_YEAR, 4, 6) + pd.to_timedelta(day, unit="D"))
