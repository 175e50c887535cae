"""Panel-by-panel surveys of a few blocks: one row per damage, in agreement with the block's counts.

Every counted panel gets its row, damage lies inside its panel, and the feet of crack, the feet of spalled joint,
the hollow area and the depth of the block are then those of the rows.  A panel has at most one row per kind of
damage.  Positions are in feet from the beginning and the left of the panel; cracks are drawn 0.1 ft wide.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

Floats = npt.NDArray[np.float64]

SPALL_FT: Final = 3.5  #: usual length of one spall along its joint
HOLLOW_SQFT: Final = 5.0  #: usual size of one hollow place
CASTING_FT: Final = 2.2  #: side of the square that a casting takes
CRACK_FT: Final = 0.1
STATES: Final = (("panels_broken", "broken panel"), ("panels_sunken", "sunken panel"),
                 ("corner_breaks", "corner break"), ("panels_cracked", "linear crack"), ("panels_patched", "patch"))
COLUMNS: Final = ["block_id", "panel_row", "panel_column", "defect", "severity", "x_ft", "y_ft", "length_ft",
                  "width_ft", "depth_in"]


def look_closer(city: pd.DataFrame, seed: int) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The city, and the defects of the 5 % of blocks (rounded up) that were surveyed panel by panel.

    ``city`` as :func:`rehab.inputs.demo.survey.inspect` returns it.  Damaged blocks are chosen more often, as a
    city looks closer where it means to work, and blocks with nothing to write down only if there are no others.
    In the city returned, cracked_ft, spalled_joint_ft, hollow_sqft and damage_depth_in of those blocks follow from
    the defects, and ``close_up`` marks them.
    """
    rng = np.random.default_rng([seed, 4])
    damaged = (city[[column for column, _ in STATES]].sum(axis=1) / city["panels"]).to_numpy()
    weight = 0.06 + np.minimum(damaged, 0.6) + 2.0 * (damaged > 0.04)
    weight[((damaged == 0) & (city["spalled_joint_ft"] == 0) & (city["castings"] == 0)).to_numpy()] = 1e-9
    chosen = rng.choice(len(city), -(-len(city) // 20), replace=False, p=weight / weight.sum())
    close_up = np.zeros(len(city), bool)
    close_up[chosen] = True
    blocks = city[close_up].reset_index(drop=True)
    panels = _panels(blocks, rng)
    rows = [_counted(panels, column, defect, rng) for column, defect in STATES]
    rows += [_spalls(panels, rng), _hollows(panels, rng), _castings(panels, rng)]
    defects = pd.concat([part for part in rows if len(part)] or rows[:1], ignore_index=True)
    defects = defects.sort_values(COLUMNS[:4], ignore_index=True)[COLUMNS]
    return _agreeing(city.assign(close_up=close_up), defects), defects


def _panels(blocks: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Every panel of the blocks with its state; damage gathers around one place of each block."""
    counts = blocks["panels"].to_numpy().astype(int)
    block = np.repeat(np.arange(len(blocks)), counts)
    within = np.arange(len(block)) - np.repeat(np.cumsum(counts) - counts, counts)
    panels = blocks.iloc[block].reset_index(drop=True)
    panels["panel_row"] = within // panels["panel_columns"] + 1
    panels["panel_column"] = within % panels["panel_columns"] + 1
    worst = (rng.random(len(blocks)) * blocks["panel_rows"].to_numpy())[block]
    far = np.abs(panels["panel_row"] - worst) / panels["panel_rows"]
    panels["rank"] = _rank(block, far.to_numpy() + rng.random(len(panels)) * 0.8)
    panels["block"] = block
    ends = panels[[column for column, _ in STATES]].cumsum(axis=1).to_numpy()
    state = (panels["rank"].to_numpy()[:, None] >= ends).sum(axis=1)
    panels["state"] = np.array([*(column for column, _ in STATES), "sound"])[state]
    panels["long"] = _down(np.minimum(panels["panel_length_ft"], panels["length_ft"] / panels["panel_rows"]))
    panels["wide"] = _down(np.minimum(panels["panel_width_ft"], panels["width_ft"] / panels["panel_columns"]))
    return panels


def _rank(block: npt.NDArray[np.int64], key: Floats) -> npt.NDArray[np.int64]:
    """Place of each panel among those of its block by ``key``, from 0; ``block`` is sorted."""
    order = np.lexsort((key, block))
    first = np.searchsorted(block, block)
    rank = np.empty(len(block), np.int64)
    rank[order] = np.arange(len(block))
    return rank - first


def _down(values: npt.ArrayLike) -> Floats:
    """Rounded down to tenths, so that what fits stays inside."""
    return np.asarray(np.floor(np.asarray(values, float) * 10 + 1e-6) / 10)


def _put(panels: pd.DataFrame, defect: str, severity: npt.ArrayLike, box: tuple[npt.ArrayLike, ...],
         depth_in: npt.ArrayLike) -> pd.DataFrame:
    """Defect rows; ``box`` is x, y, length, width in feet, cut to tenths and kept inside the panel."""
    x, y, length, width = (np.broadcast_to(_down(side), len(panels)) for side in box)
    length, width = np.minimum(length, panels["long"]), np.minimum(width, panels["wide"])
    x, y = np.clip(x, 0, panels["long"] - length), np.clip(y, 0, panels["wide"] - width)
    keys = panels[["block_id", "panel_row", "panel_column"]].reset_index(drop=True)
    numbers = {"x_ft": x, "y_ft": y, "length_ft": length, "width_ft": width}
    return keys.assign(defect=defect, severity=np.asarray(severity),
                       **{name: np.round(np.asarray(values, float), 1) for name, values in numbers.items()},
                       depth_in=np.round(np.broadcast_to(np.asarray(depth_in, float), len(keys)), 1))


def _counted(panels: pd.DataFrame, column: str, defect: str, rng: np.random.Generator) -> pd.DataFrame:
    """A row for each panel of one state."""
    some = panels[panels["state"] == column]
    count, long, wide = len(some), some["long"].to_numpy(), some["wide"].to_numpy()
    severity = rng.choice(["low", "medium", "high"], count, p=[0.35, 0.40, 0.25])
    thickness, missing = some["thickness_in"].to_numpy(), np.full(count, np.nan)
    if defect == "broken panel":
        return _put(some, defect, np.where(severity == "low", "medium", severity), (0, 0, long, wide), thickness)
    if defect == "sunken panel":
        return _put(some, defect, severity, (0, 0, long, wide), missing)
    if defect == "corner break":
        legs = np.array([[1.5], [1.5]]) + rng.beta(1.5, 2.5, (2, count)) * 4
        legs = np.minimum(legs, np.array([long, wide]) / 2)
        end, right = rng.random((2, count)) < 0.5
        box = (np.where(end, long, 0), np.where(right, wide, 0), legs[0], legs[1])
        return _put(some, defect, severity, box, thickness)
    if defect == "linear crack":
        across = rng.random(count) < 0.75
        share, at = rng.uniform(0.7, 1.0, count), rng.uniform(0.25, 0.75, count)
        box = (np.where(across, at * long, 0), np.where(across, 0, at * wide),
               np.where(across, CRACK_FT, share * long), np.where(across, share * wide, CRACK_FT))
        return _put(some, defect, severity, box, missing)
    length = np.minimum(long, rng.choice([4.0, 6.0, 8.0, 15.0], count, p=[0.15, 0.35, 0.2, 0.3]))
    return _put(some, defect, "low", (np.where(rng.random(count) < 0.5, long, 0), 0, length, wide), missing)


def _some(panels: pd.DataFrame, wanted: pd.Series, possible: npt.NDArray[np.bool_],
          rng: np.random.Generator) -> pd.DataFrame:
    """``wanted`` panels of each block (alike for all its panels), those that are neither broken nor patched first."""
    lost = panels["state"].isin(["panels_broken", "panels_patched"]).to_numpy()
    late = 10.0 * ~possible + 1.0 * lost + 0.01 * panels["rank"].to_numpy()
    rank = _rank(panels["block"].to_numpy(), late + rng.random(len(panels)))
    return panels.loc[(rank < wanted.to_numpy()) & possible]


def _spalls(panels: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Spalls along the transverse joint at a panel's end or the longitudinal joint at its right, and at corners."""
    end = (panels["panel_row"] < panels["panel_rows"]).to_numpy()
    right = (panels["panel_column"] < panels["panel_columns"]).to_numpy()
    some = _some(panels, np.ceil(panels["spalled_joint_ft"] / SPALL_FT), end | right, rng)
    count, long, wide, thickness = len(some), *(some[name].to_numpy() for name in ("long", "wide", "thickness_in"))
    end, right = end[some.index], right[some.index]
    across = end & (~right | (rng.random(count) < 0.8))
    along = some["spalled_joint_ft"].to_numpy() / _pieces(some) * rng.uniform(0.6, 1.4, count)
    corner = across & (along < 2.0) & (rng.random(count) < 0.4)
    along = np.clip(along, 0.4, np.where(across, wide, long))
    into = np.minimum(rng.uniform(0.3, 1.5, count), along)
    x = np.where(across, long, rng.random(count) * (long - along))
    y = np.where(across, np.where(corner, 0, rng.random(count) * (wide - along)), wide)
    depth = np.clip(some["damage_depth_in"].to_numpy() * rng.uniform(0.6, 1.4, count), 0.4, 0.75 * thickness)
    severity = np.select([depth < 0.2 * thickness, depth <= thickness / 3], ["low", "medium"], "high")
    box = (x, y, np.where(across, into, along), np.where(across, along, into))
    return _put(some, "joint spall", severity, box, depth).assign(
        defect=np.where(corner, "corner spall", "joint spall"))


def _pieces(some: pd.DataFrame) -> Floats:
    """For each chosen panel how many were chosen in its block."""
    return some.groupby("block")["block"].transform("size").to_numpy(float)


def _hollows(panels: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Places beside the joints that sound hollow."""
    some = _some(panels, np.ceil(panels["hollow_sqft"] / HOLLOW_SQFT), np.ones(len(panels), bool), rng)
    area = some["hollow_sqft"].to_numpy() / _pieces(some) * rng.uniform(0.7, 1.3, len(some))
    long, wide, thickness = (some[name].to_numpy() for name in ("long", "wide", "thickness_in"))
    length = np.clip(np.sqrt(area) * rng.uniform(0.6, 1.0, len(some)), 0.5, long)
    width = np.clip(area / length, 0.5, wide)
    severity = np.where(area > 12, "high", np.where(area > 5, "medium", "low"))
    box = (long, rng.random(len(some)) * (wide - width), length, width)
    return _put(some, "hollow area", severity, box, thickness * rng.uniform(0.12, 0.4, len(some)))


def _castings(panels: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Manholes, valves and inlets, one to a panel, anywhere in it."""
    some = _some(panels, panels["castings"], np.ones(len(panels), bool), rng)
    count = len(some)
    x, y = rng.random((2, count)) * (np.array([some["long"], some["wide"]]) - CASTING_FT)
    return _put(some, "casting", rng.choice(["low", "medium", "high"], count, p=[0.6, 0.3, 0.1]),
                (x, y, CASTING_FT, CASTING_FT), np.full(count, np.nan))


def _agreeing(city: pd.DataFrame, defects: pd.DataFrame) -> pd.DataFrame:
    """The city with the feet, areas and depths of the blocks looked at closer taken from their defects."""
    along, by = defects[["length_ft", "width_ft"]].max(axis=1), defects["block_id"]
    spalled, area = defects["defect"].isin(["joint spall", "corner spall"]), defects["length_ft"] * defects["width_ft"]
    sums = pd.DataFrame({
        "cracked_ft": along.where(defects["defect"] == "linear crack", 0.0).groupby(by).sum(),
        "spalled_joint_ft": along.where(spalled, 0.0).groupby(by).sum(),
        "hollow_sqft": area.where(defects["defect"] == "hollow area", 0.0).groupby(by).sum(),
        "damage_depth_in": defects["depth_in"].where(spalled).groupby(by).mean()}).round(1)
    result, close_up = city.set_index("block_id"), city.loc[city["close_up"], "block_id"]
    found = sums.reindex(close_up).fillna({"cracked_ft": 0.0, "spalled_joint_ft": 0.0, "hollow_sqft": 0.0})
    result.loc[close_up, found.columns] = found
    return result.reset_index()
