"""Earliest and latest starts, and how soon an arrangement can end at best."""

from __future__ import annotations

import numpy as np

from rehab.solvers.sequence.network import Bools, Ints, Network


def with_times(network: Network) -> Network:
    """Earliest and latest start of each task by precedence, release, deadline and its own calendar alone.

    An optional task that asks for more than there ever is gets no room at all.
    """
    early, late = network.release.tolist(), [network.horizon] * len(network.duration)
    asks = (network.demand > network.capacity.max(axis=1, initial=0)).any(axis=1) & (network.duration > 0)
    for task in network.order:
        for arc in network.before[task]:
            if network.bound_to(task, arc.task):
                early[task] = max(early[task], arc.ready[min(early[arc.task], network.horizon)])
        finish = network.finish[task]
        while early[task] <= network.horizon and finish[early[task]] < 0:
            early[task] += 1
    for task in reversed(network.order):
        finish, limit, at = network.finish[task], int(network.deadline[task]), late[task]
        arcs = [(arc.ready, late[arc.task]) for arc in network.after[task] if network.bound_to(task, arc.task)]
        while at >= 0 and (not 0 <= finish[at] <= limit or any(ready[at] > last for ready, last in arcs)):
            at -= 1
        late[task] = -1 if asks[task] and network.group[task] >= 0 else at
    return Network(**{**network.__dict__, "early": np.array(early, np.int64), "late": np.array(late, np.int64)})


def makespan_bound(network: Network, must: Bools) -> tuple[int, int | None]:
    """No arrangement of the tasks in ``must`` ends sooner: longest path, and work content of each resource.

    Also returns the resource that sets the bound, None if a path does.
    """
    if not must.any():
        return 0, None
    tail = np.zeros(len(must), np.int64)
    gaps: dict[int, int] = {}
    for task in reversed(network.order):
        for arc in network.after[task]:
            if must[arc.task]:
                if id(arc.ready) not in gaps:
                    gaps[id(arc.ready)] = _least_gap(network.finish[task], arc.ready, network.horizon)
                tail[task] = max(tail[task], gaps[id(arc.ready)] + network.duration[arc.task] + tail[arc.task])
    early = _earliest(network, must)
    best, tightest = int((early + network.duration + tail)[must].max()), None
    for resource in range(network.demand.shape[1]):
        users = np.flatnonzero(must & (network.demand[:, resource] * network.duration > 0))
        if len(users):
            level = _work_and_tail(network, users, resource, early, tail)
            if level > best:
                best, tightest = level, resource
    return best, tightest


def _earliest(network: Network, must: Bools) -> Ints:
    """Earliest start of each task when all of ``must`` are placed; beyond the horizon at most by one."""
    early = network.early.tolist()
    for task in network.order:
        for arc in network.before[task]:
            if must[task] and must[arc.task]:
                early[task] = max(early[task], arc.ready[min(early[arc.task], network.horizon)])
        while must[task] and early[task] <= network.horizon and network.finish[task][early[task]] < 0:
            early[task] += 1
    return np.array(early, np.int64)


def _work_and_tail(network: Network, users: Ints, resource: int, early: Ints, tail: Ints) -> int:
    """No arrangement ends sooner: of the tasks with at least so much to follow, all begin after the first may begin,
    and the last of them to end has that much to follow still.  The largest of these bounds.
    """
    users = users[np.argsort(-tail[users], kind="stable")]
    work = np.cumsum(network.demand[users, resource] * network.duration[users])
    begin = np.minimum.accumulate(early[users])
    most = max(int(network.capacity[resource].max(initial=0) * network.copies[resource]), 1)
    done = np.concatenate([[0], np.cumsum(network.capacity[resource] * network.copies[resource])])
    asked = work + done[np.minimum(begin, network.horizon)]
    reached = np.searchsorted(done, asked)
    beyond = network.horizon - (-(asked - done[-1]) // most)
    return int((np.where(reached < len(done), reached, beyond) + tail[users]).max())


def _least_gap(finish: list[int], ready: list[int], horizon: int) -> int:
    """Fewest periods between the end of a task and the start of the one that waits for it, where there is one."""
    return max(min((first - end for end, first in zip(finish, ready, strict=True) if end >= 0 and first <= horizon),
                   default=0), 0)
