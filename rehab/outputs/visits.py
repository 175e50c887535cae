"""Tasks to visits: what one crew does on one block at one time, however many tasks it is made of."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Any, Final, NamedTuple

import pandas as pd

from rehab.base.tables import TASKS
from rehab.outputs.words import known

#: works that follow one another on the same days: what is opened is closed the same day
TRAINS: Final[dict[str, tuple[str, ...]]] = {"patch": ("mill", "patch"),
                                             "panels": ("saw", "remove", "drill", "place", "joint")}
#: what a visit is named after: the first of these that it holds
MAIN: Final = ("place", "patch", "grind", "retrofit", "stitch", "stabilise", "curb", "fill", "stripe", "remove",
               "drill", "saw", "joint", "mill", "mark", "notice")
_TRAIN_OF: Final = {kind: train for train, kinds in TRAINS.items() for kind in kinds}


class Visit(NamedTuple):
    """One crew on one block, ``start`` to ``finish``, both included; ``task_ids`` in the order of the work."""

    block_id: str
    crew: str
    season: str
    kind: str  #: its main work
    kinds: tuple[str, ...]
    task_id: str  #: the task that is its main work
    task_ids: tuple[str, ...]
    start: pd.Timestamp
    finish: pd.Timestamp
    opens: pd.Timestamp | None
    opens_soonest: pd.Timestamp | None
    opens_latest: pd.Timestamp | None
    cautions: tuple[str, ...]


class Closure(NamedTuple):
    """A block closed to traffic from ``first_day`` to the day before ``opens``."""

    block_id: str
    season: str
    first_day: pd.Timestamp
    opens: pd.Timestamp


def visits(tasks: pd.DataFrame, *, by_train: bool = False) -> list[Visit]:
    """The visits of the table ``tasks``, by first day, block and crew.

    Tasks of one crew on one block whose days overlap are one visit.  With ``by_train`` only the tasks of one train
    on the very same days are: which tasks belong together then never depends on other work of the crew.
    """
    groups: list[list[dict[str, Any]]] = []
    for _, rows in _grouped(tasks, "train" if by_train else None):
        for row in rows:
            if groups and _key(groups[-1][-1], by_train) == _key(row, by_train) and _together(
                    groups[-1], row, by_train):
                groups[-1].append(row)
            else:
                groups.append([row])
    return sorted((_visit(group) for group in groups), key=lambda one: (one.start, one.block_id, one.crew, one.task_id))


def by_crew(seen: Iterable[Visit]) -> dict[str, list[Visit]]:
    """The visits of each crew; crews in the order of the work they begin with, crew 2 before crew 10."""
    crews: dict[str, list[Visit]] = {}
    for visit in seen:
        crews.setdefault(visit.crew, []).append(visit)

    def place(crew: str) -> tuple[Any, ...]:
        parts = re.split(r"(\d+)", crew)
        name = tuple((part.isdigit(), int(part) if part.isdigit() else 0, part) for part in parts)
        return min(TASKS.index(visit.kind) for visit in crews[crew]), name

    return {crew: crews[crew] for crew in sorted(crews, key=place)}


def closures(tasks: pd.DataFrame) -> list[Closure]:
    """When each block is closed, by block and first day: from the first day of a work that closes it to its opening.

    A work closes a block if one of its tasks has a day of opening; the tasks of a train before that one belong to it,
    whoever does them.
    """
    found: list[Closure] = []
    for (block, season, _), rows in _grouped(tasks.assign(crew=""), "train"):
        first: Any = None
        end: Any = None
        opens: Any = None
        for row in rows:
            if opens is not None and row["start"] > end:  # the train has been here before, and ended
                found.append(Closure(block, season, first, opens))
                first = end = opens = None
            first = row["start"] if first is None else first
            end = row["finish"] if end is None else max(end, row["finish"])
            if known(row["opens"]):
                opens = row["opens"] if opens is None else max(opens, row["opens"])
        if opens is not None:
            found.append(Closure(block, season, first, opens))
    return sorted(found, key=lambda one: (one.block_id, one.first_day, one.opens))


def openings(tasks: pd.DataFrame) -> list[Closure]:
    """The closures of :func:`closures` after which the block is open: no other one holds on their day of opening."""
    found = closures(tasks)
    by_block: dict[str, list[Closure]] = {}
    for one in found:
        by_block.setdefault(one.block_id, []).append(one)
    ends = [one for one in found
            if not any(other.first_day <= one.opens < other.opens for other in by_block[one.block_id])]
    return list({(one.block_id, one.opens): one for one in ends}.values())


def work_days(tasks: pd.DataFrame) -> set[int]:
    """Days of the week, Monday 0, that a visit is drawn on: Monday to Friday, and a day of the weekend if a task of the
    table begins or ends on one."""
    return {*range(5), *tasks["start"].dt.day_of_week, *tasks["finish"].dt.day_of_week}


def _grouped(tasks: pd.DataFrame, train: str | None) -> Iterator[tuple[tuple[str, str, str], list[dict[str, Any]]]]:
    """Rows by block, season and crew, or by the train as well, in the order of days and of the work."""
    rows: dict[tuple[str, str, str], list[dict[str, Any]]] = {}
    names = [str(name) for name in tasks.columns]
    order = tasks.assign(place=tasks["task"].map(TASKS.index)).sort_values(["start", "place", "task_id"])
    for cells in zip(*(order[name].astype(object) for name in names), strict=True):
        row = dict(zip(names, cells, strict=True))
        row["train"] = _TRAIN_OF.get(row["task"], row["task"])
        key = str(row["block_id"]), str(row["season"]), f"{row['crew']}\n{row['train'] if train else ''}"
        rows.setdefault(key, []).append(row)
    yield from sorted(rows.items())


def _key(row: dict[str, Any], by_train: bool) -> tuple[Any, ...]:
    return row["block_id"], row["season"], row["crew"], row["train"] if by_train else ""


def _together(group: list[dict[str, Any]], row: dict[str, Any], by_train: bool) -> bool:
    if by_train:
        return bool(row["start"] == group[-1]["start"] and row["finish"] == group[-1]["finish"])
    return bool(row["start"] <= max(one["finish"] for one in group))


def _visit(group: list[dict[str, Any]]) -> Visit:
    main = min(group, key=lambda row: (MAIN.index(row["task"]), row["task_id"]))
    group = sorted(group, key=lambda row: (TASKS.index(row["task"]), row["task_id"]))
    said = [part.strip() for row in group if known(row["cautions"]) for part in str(row["cautions"]).split(";")]

    def latest(column: str) -> pd.Timestamp | None:
        return max((row[column] for row in group if known(row[column])), default=None)

    return Visit(str(main["block_id"]), str(main["crew"]), str(main["season"]), str(main["task"]),
                 tuple(dict.fromkeys(str(row["task"]) for row in group)), str(main["task_id"]),
                 tuple(str(row["task_id"]) for row in group), min(row["start"] for row in group),
                 max(row["finish"] for row in group), latest("opens"), latest("opens_soonest"), latest("opens_latest"),
                 tuple(dict.fromkeys(part for part in said if part)))
