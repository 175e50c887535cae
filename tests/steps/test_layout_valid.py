"""Layouts are valid by construction, over thousands of random surveys, and of least cost, by enumeration."""

import functools
import itertools

import numpy as np
import pandas as pd
import pytest

from rehab.base import tables
from rehab.base.settings import Assumptions
from rehab.inputs import assumptions as reader
from rehab.steps import findings, layout, network
from rehab.steps.layout.full import least_cost
from rehab.steps.layout.lane import inner_joints, lane_of
from rehab.steps.layout.patches import near_joined
from rehab.steps.layout.rules import Box, Prices, rules_of

EPS = 1e-5
CITIES: dict[str, dict[str, object]] = {
    "defaults": {},
    "published remainder": {"full.least_remainder_ft": 6, "full.join": "published"},
    "two feet stay, no dowels": {"full.least_remainder_ft": 2, "full.repairs_dowelled": "no", "full.grow": "about the damage"},
    "whole panels": {"full.whole_panel_from_share": 0.5, "full.beyond_damage_ft": 1, "partial.least_side_in": 6},
    "patches stay": {"partial.replace_when_dearer": "no", "partial.greatest_depth_share": 0.33, "partial.join_gap_in": 24},
}


def random_surveys(blocks: int, seed: int, assumptions: Assumptions) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Blocks of all sizes, dowelled or not, and defects of every kind, many of them without position or size."""
    rng = np.random.default_rng(seed)
    panel_ft, panel_wide = rng.uniform(7, 22, blocks).round(1), rng.uniform(7, 15, blocks).round(1)
    rows, columns = rng.integers(1, 9, blocks), rng.integers(1, 4, blocks)
    frame = tables.with_types("blocks", pd.DataFrame({
        "block_id": [f"B{number:05d}" for number in range(blocks)],
        "length_ft": np.maximum((rows * panel_ft).round(1), 10), "width_ft": np.maximum((columns * panel_wide).round(1), 8),
        "panel_length_ft": panel_ft, "panel_width_ft": panel_wide, "thickness_in": rng.integers(5, 12, blocks),
        "dowelled": rng.random(blocks) < 0.5, "reinforced": rng.random(blocks) < 0.3,
        "functional_class": "local", "parking_ft": rng.uniform(0, 200, blocks), "panels_broken": 1.0,
        "faulting_in": rng.uniform(0, 0.6, blocks)}))
    city = network.build(frame, assumptions)
    at = rng.integers(0, blocks, 6 * blocks)
    key = rng.choice(assumptions.table("distresses").index.to_numpy(str), len(at))
    grid = city.iloc[at]
    panel, wide = (grid["length_ft"] / grid["panel_rows"]).to_numpy(), (grid["width_ft"] / grid["panel_columns"]).to_numpy()
    x, y = rng.random(len(at)) * panel, rng.random(len(at)) * wide

    def some(values: np.ndarray, given: float) -> np.ndarray:
        return np.where(rng.random(len(at)) < given, values, np.nan)

    defects = pd.DataFrame({
        "block_id": grid["block_id"].to_numpy(), "panel_row": rng.integers(1, grid["panel_rows"].to_numpy(int) + 1),
        "panel_column": rng.integers(1, grid["panel_columns"].to_numpy(int) + 1),
        "defect": [text.split("/")[0] for text in key],
        "severity": [text.split("/")[1] if not text.endswith("/any") else None for text in key],
        "x_ft": some(x, 0.9), "y_ft": some(y, 0.9), "length_ft": some(rng.random(len(at)) ** 3 * (panel - x), 0.9),
        "width_ft": some(rng.random(len(at)) ** 2 * (wide - y), 0.9), "depth_in": some(rng.uniform(0.5, 5, len(at)), 0.8),
        "step_in": some(rng.uniform(0, 4, len(at)), 0.3), "at_steel": rng.random(len(at)) < 0.03})
    casting = defects["defect"] == "casting"
    defects.loc[casting, "x_ft"], defects.loc[casting, "y_ft"] = x[casting], y[casting]
    return city, tables.with_types("defects", defects)


@pytest.mark.parametrize("name", CITIES)
def test_thousands_of_random_surveys_are_laid_out_validly(name: str, defaults: Assumptions) -> None:
    rules = reader.overlay(defaults, {"layout_rules": CITIES[name]})  # type: ignore[dict-item]
    city, defects = random_surveys(1000, 11 + len(name), rules)
    found = findings.judge(city, defects, rules)
    repairs = layout.lay_out(city, found, rules)
    assert set(repairs["kind"]) == set(tables.REPAIRS)
    block = city.set_index("block_id").loc[repairs["block_id"]].reset_index()
    cut = repairs.assign(x1=repairs["x_ft"] + repairs["length_ft"], y1=repairs["y_ft"] + repairs["width_ft"])
    # None leaves the block.
    assert (cut["x_ft"] > -EPS).all() and (cut["y_ft"] > -EPS).all() and (cut["area_sqft"] > 0).all()
    assert (cut["x1"] < block["length_ft"] + EPS).all() and (cut["y1"] < block["width_ft"] + EPS).all()
    # No two overlap.
    pairs = cut.merge(cut, on="block_id", suffixes=("", "_b"))
    pairs = pairs[pairs["repair_id"] < pairs["repair_id_b"]]
    over_x = np.minimum(pairs["x1"], pairs["x1_b"]) - np.maximum(pairs["x_ft"], pairs["x_ft_b"])
    over_y = np.minimum(pairs["y1"], pairs["y1_b"]) - np.maximum(pairs["y_ft"], pairs["y_ft_b"])
    assert not ((over_x > EPS) & (over_y > EPS)).any()
    full_depth_is_valid(cut, block, rules)
    patches_are_valid(cut, block, rules)
    # All damage that calls for a repair is taken out.
    shaping = found[found["call"].isin(["full depth", "partial depth", "box out"])]
    left = layout.leave(found, repairs).loc[shaping.index]
    assert left["repair_ids"].notna().all()
    deep = shaping[shaping["call"] == "full depth"].merge(cut[cut["kind"] == "full depth"], on=["block_id", "panel_column"])
    held = deep[(deep["x_ft"] < deep["x0_ft"] + EPS) & (deep["x1"] > deep["x1_ft"] - EPS)]
    assert len(held.drop_duplicates(["block_id", "defect_id"])) == (shaping["call"] == "full depth").sum()


def full_depth_is_valid(cut: pd.DataFrame, block: pd.DataFrame, rules: Assumptions) -> None:
    """Whole width of the panel, least length, and no part of a panel narrower than the limit stays."""
    full = (cut["kind"] == "full depth").to_numpy()
    cut, block = cut[full], block[full]
    panel, wide = block["length_ft"] / block["panel_rows"], block["width_ft"] / block["panel_columns"]
    assert np.allclose(cut["width_ft"], wide)
    bars = (block["thickness_in"] >= rules.number("dowels", "from_thickness_in")) & (
        rules.text("layout_rules", "full.repairs_dowelled") == "yes")
    least = np.where(bars, rules.number("layout_rules", "full.least_length_dowelled_ft"),
                     rules.number("layout_rules", "full.least_length_undowelled_ft"))
    assert (cut["length_ft"] > np.minimum(least, block["length_ft"]) - EPS).all()
    remainder = rules.number("layout_rules", "full.least_remainder_ft")
    past = rules.number("layout_rules", "full.past_dowelled_joint_ft")
    for edge, sign in ((cut["x_ft"], -1), (cut["x1"], 1)):
        at_end = (edge < EPS) | (edge > block["length_ft"] - EPS)
        number = edge / panel
        on_joint = (number - number.round()).abs() * panel < EPS
        assert not (on_joint & ~at_end & block["dowelled"].astype(bool)).any()  # a dowelled joint is taken out
        outward = (np.ceil(number - 1e-9) - number) * panel if sign > 0 else (number - np.floor(number + 1e-9)) * panel
        assert ((outward > remainder - EPS) | on_joint | at_end).all()
        inward = panel - outward
        shorter = inward < np.minimum(past, cut["length_ft"]) - EPS  # past a joint, but by less than the rule
        assert not (shorter & (cut["length_ft"] > inward + EPS) & ~on_joint & ~at_end & block["dowelled"].astype(bool)).any()
    order = cut.sort_values(["block_id", "panel_column", "x_ft"])
    same = (order["block_id"] == order["block_id"].shift()) & (order["panel_column"] == order["panel_column"].shift())
    gap = order["x_ft"] - order["x1"].shift()
    assert (gap[same] > remainder - EPS).all()


def patches_are_valid(cut: pd.DataFrame, block: pd.DataFrame, rules: Assumptions) -> None:
    """Within one panel, of the least side, and no strip narrower than the limit between patches or beside a joint."""
    patch = (cut["kind"] == "partial depth").to_numpy()
    own, of = cut[patch], block[patch]
    panel, wide = of["length_ft"] / of["panel_rows"], of["width_ft"] / of["panel_columns"]
    side = rules.number("layout_rules", "partial.least_side_in") / 12
    assert (own["length_ft"] > np.minimum(side, panel) - EPS).all() and (own["width_ft"] > np.minimum(side, wide) - EPS).all()
    for low, high, size in ((own["x_ft"], own["x1"], panel), (own["y_ft"], own["y1"], wide)):
        assert (np.floor(low / size + 1e-6) == np.ceil(high / size - 1e-6) - 1).all()  # none bridges a joint
    assert (own["depth_in"] > rules.number("layout_rules", "partial.least_depth_in") - EPS).all()
    gap = rules.number("layout_rules", "partial.join_gap_in") / 12
    near = own.assign(row=own["panel_row"]).merge(own, on=["block_id", "panel_column", "panel_row"], suffixes=("", "_b"))
    near = near[near["repair_id"] < near["repair_id_b"]]
    apart = np.maximum(np.maximum(near["x_ft"], near["x_ft_b"]) - np.minimum(near["x1"], near["x1_b"]),
                       np.maximum(near["y_ft"], near["y_ft_b"]) - np.minimum(near["y1"], near["y1_b"]))
    # Only a crack that stays parts a patch in two that meet in it.
    parted = (apart.abs() < EPS) & (near["y_ft"] == near["y_ft_b"]) & (near["width_ft"] == near["width_ft_b"])
    assert ((apart > gap - EPS) | parted).all() and parted.sum() < len(own) / 20


Spans = list[tuple[float, float]]
Patches = list[tuple[float, float, float]]


@functools.cache
def grid_case(seed: int) -> tuple[list[float], bool, Spans, Patches, Spans, Spans]:
    """Two to four panels with damage, patches at up to five times the price of full depth, and zones, on half feet."""
    rng = np.random.default_rng(seed)
    panel = rng.integers(14, 31) / 2
    joints = [float(panel * number) for number in range(int(rng.integers(2, 5)) + 1)]

    def span(longest: int) -> tuple[float, float]:
        start = rng.integers(0, int(2 * joints[-1])) / 2
        return float(start), float(min(start + rng.integers(0, longest) / 2, joints[-1]))

    damage = [span(9) for _ in range(int(rng.integers(1, 4)))]
    patches: Patches = []
    for _ in range(int(rng.integers(0, 4))):
        a, b = span(9)
        if b > a and all(b <= x0 or a >= x1 for x0, x1, _ in patches):
            patches.append((a, b, float(rng.integers(0, 500))))
    no_end, no_begin = ([span(11) for _ in range(int(rng.integers(0, 3)))] for _ in range(2))
    return joints, bool(rng.random() < 0.5), damage, patches, no_end, no_begin


def cheapest_on_the_grid(case: tuple[list[float], bool, Spans, Patches, Spans, Spans], remainder: float, least: float,
                         past: float, share: float, prices: Prices) -> float:
    """The least cost of any valid set of repairs with cuts on half feet, by trying all of them."""
    joints, dowelled, damage, patches, no_end, no_begin = case
    low, high = joints[0], joints[-1]
    points = [low + number / 2 for number in range(int(2 * (high - low)) + 1)]

    def may_cut(x: float, end: bool) -> bool:
        if abs(x - (high if end else low)) < EPS:
            return True
        stays = min(j for j in joints if j >= x - EPS) - x if end else x - max(j for j in joints if j <= x + EPS)
        if (dowelled if stays < EPS else stays < remainder - EPS):
            return False
        return not any(a + EPS < x < b - EPS for a, b in (no_end if end else no_begin))

    def valid(a: float, b: float) -> bool:
        inside = [joint for joint in joints[1:-1] if a - EPS <= joint <= b + EPS]
        if b - a < min(least, high - low) - EPS or not may_cut(b, True) or not may_cut(a, False):
            return False
        if dowelled and any(joint - a < past - EPS or b - joint < past - EPS for joint in inside):
            return False
        cuts = [(min(b, j1) - max(a, j0), j1 - j0) for j0, j1 in itertools.pairwise(joints)]
        return share >= 1 or not any(share * whole + EPS < cut < whole - EPS for cut, whole in cuts)

    beyond = past if dowelled else 0.0

    def cost(a: float, b: float) -> float:
        saved = sum(usd * max(0.0, min(b, x1) - max(a, x0)) for x0, x1, usd in patches)
        inner = inner_joints(a, b, joints, beyond, prices.longest_ft)
        return prices.each_usd + prices.per_ft * (b - a) + prices.joint_usd * inner - saved

    spans = [(a, b, cost(a, b)) for a in points for b in points if b > a and (valid(a, b) or (a, b) == (low, high))]

    @functools.cache
    def best(covered: int, last: float) -> float:
        left = [at for at in range(len(damage)) if not covered >> at & 1]
        costs = [np.inf if left else 0.0]
        for a, b, usd in spans:
            if a < last + max(remainder, prices.join_ft) - EPS or any(damage[at][0] < a - EPS for at in left):
                continue
            if not any(a <= x0 + EPS and x1 <= b + EPS for x0, x1 in damage):
                continue
            now = sum(1 << at for at, (x0, x1) in enumerate(damage)
                      if covered >> at & 1 or (a <= x0 + EPS and x1 <= b + EPS))
            costs.append(usd + best(now, b))
        return min(costs)

    return best(0, -1e9)


@pytest.mark.parametrize("seed", range(160))
def test_no_valid_layout_costs_less(seed: int, defaults: Assumptions) -> None:
    # All valid layouts with cuts on half feet are tried; every rule value here lies on half feet, and so the optimum.
    case = joints, dowelled, damage, patches, no_end, no_begin = grid_case(seed)
    remainder, least, share = (2.0, 3.0, 6.0)[seed % 3], (6.0, 8.0)[seed % 2], (1.0, 1.0, 0.5)[seed // 6 % 3]
    rules = rules_of(8.0, reader.overlay(defaults, {"layout_rules": {
        "full.least_remainder_ft": remainder, "full.least_length_dowelled_ft": least, "full.past_dowelled_joint_ft": 1,
        "full.whole_panel_from_share": share}}))
    prices = Prices(each_usd=(300.0, 1200.0, 0.0)[seed % 3], per_ft=100.0, joint_usd=150.0, longest_ft=20.0,
                    join_ft=(0.0, 5.0)[seed // 2 % 2], patch_usd_per_sqft=0.0)
    lane = lane_of(joints, dowelled, no_end, no_begin, patches)
    laid = least_cost(damage, lane, rules, prices)
    known = cheapest_on_the_grid(case, remainder, least, 1.0, share, prices)
    beyond = 1.0 if dowelled else 0.0
    ours = sum(prices.each_usd + prices.per_ft * (b - a)
               + prices.joint_usd * inner_joints(a, b, joints, beyond, prices.longest_ft)
               - sum(usd * max(0.0, min(b, x1) - max(a, x0)) for x0, x1, usd in patches) for a, b in laid)
    assert ours == pytest.approx(known, abs=1e-6)
    assert all(any(a <= x0 + EPS and x1 <= b + EPS for a, b in laid) for x0, x1 in damage)


def partitions(items: list[int]) -> list[list[list[int]]]:
    if not items:
        return [[]]
    first, *rest = items
    return [way for part in partitions(rest)
            for way in ([[first], *part], *([*part[:at], [first, *part[at]], *part[at + 1:]] for at in range(len(part))))]


@pytest.mark.parametrize("seed", range(40))
def test_joined_patches_have_the_least_area(seed: int, defaults: Assumptions) -> None:
    # Every way to put up to six patches together is tried; those whose rectangles keep the gap are valid.
    rng = np.random.default_rng(seed)
    rules = rules_of(8.0, defaults)
    corner = rng.uniform(0, 12, (int(rng.integers(2, 7)), 2))
    boxes = [Box(x, x + rng.uniform(1, 3), y, y + rng.uniform(1, 3), 2.0) for x, y in corner]

    def hulls(way: list[list[int]]) -> list[Box]:
        return [Box(min(boxes[n].x0 for n in part), max(boxes[n].x1 for n in part), min(boxes[n].y0 for n in part),
                    max(boxes[n].y1 for n in part), 2.0) for part in way]

    def keeps_the_gap(found: list[Box]) -> bool:
        return all(max(a.x0, b.x0) - min(a.x1, b.x1) >= rules.partial_gap_ft
                   or max(a.y0, b.y0) - min(a.y1, b.y1) >= rules.partial_gap_ft
                   for at, a in enumerate(found) for b in found[at + 1:])

    def area(found: list[Box]) -> float:
        return sum((box.x1 - box.x0) * (box.y1 - box.y0) for box in found)

    valid = [found for way in partitions(list(range(len(boxes)))) if keeps_the_gap(found := hulls(way))]
    ours = near_joined(boxes, rules)
    assert keeps_the_gap(ours)
    assert area(ours) == pytest.approx(min(area(found) for found in valid))
