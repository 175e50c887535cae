"""Full-depth repairs along one column of panels."""

from __future__ import annotations

from bisect import bisect_left, bisect_right

import numpy as np

from rehab.steps.layout.rules import Rules


def full_intervals(damage: list[tuple[float, float]], joints: list[float], dowelled_joints: bool,
                   rules: Rules) -> list[tuple[float, float]]:
    """Full-depth repairs along one column of panels, feet from the start of the block.

    ``damage`` holds the deep defects as intervals, ``joints`` every joint including both ends of the block.
    """
    # Damage is widened up to the joints of its own panel: across a joint the concrete is another panel's.
    beyond = rules.beyond_ft
    found = sorted((max(a - beyond, _joint_before(a, joints)), min(b + beyond, _joint_after(b, joints)))
                   for a, b in damage)
    while True:
        grown = _joined([_to_joints(_to_length(part, joints, rules), joints, dowelled_joints, rules)
                         for part in found], rules)
        if len(grown) == len(found) and np.allclose(grown, found):
            return found
        found = grown


def _to_length(part: tuple[float, float], joints: list[float], rules: Rules) -> tuple[float, float]:
    """Grow about the middle to the least length; within the panel where it is long enough, else within the block."""
    low, high = _joint_before(part[0], joints), _joint_after(part[1], joints)
    if high - low < rules.least_length_ft:
        low, high = joints[0], joints[-1]
    length = max(part[1] - part[0], min(rules.least_length_ft, high - low))
    start = min(max((part[0] + part[1] - length) / 2, low), high - length)
    return start, start + length


def _to_joints(part: tuple[float, float], joints: list[float], dowelled: bool, rules: Rules) -> tuple[float, float]:
    """Take each end to its joint where too little would stay, and past it where that joint has dowels."""
    past = rules.past_joint_ft if dowelled else 0.0
    before, after = _joint_before(part[0], joints), _joint_after(part[1], joints)
    start, end = part
    if start - before < rules.least_remainder_ft - 1e-9:
        start = max(before - past, joints[0])
    if after - end < rules.least_remainder_ft - 1e-9:
        end = min(after + past, joints[-1])
    return start, end


def _joint_before(x: float, joints: list[float]) -> float:
    return joints[bisect_right(joints, x + 1e-9) - 1]


def _joint_after(x: float, joints: list[float]) -> float:
    return joints[bisect_left(joints, x - 1e-9)]


def _joined(parts: list[tuple[float, float]], rules: Rules) -> list[tuple[float, float]]:
    joined: list[tuple[float, float]] = []
    for part in sorted(parts):
        if joined and part[0] - joined[-1][1] < rules.least_remainder_ft - 1e-9:
            joined[-1] = (joined[-1][0], max(joined[-1][1], part[1]))
        else:
            joined.append(part)
    return joined
