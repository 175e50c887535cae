"""From the tables of a plan to what one year's work list shows, block by block."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Final

import pandas as pd

from rehab.base.settings import Assumptions
from rehab.base.tables import TASKS
from rehab.outputs.words import known, part_of, pay_items

ORDERS: Final = ("date", "district", "street")
_PATCHES: Final = ("patch", "place")
_SEALING: Final = ("crack_filling", "joint_resealing")


Row = dict[str, Any]


@dataclass(frozen=True)
class Job:
    """One block of the year: its line in the overview and the rows that belong to it."""

    position: int
    block: Row
    sizes: Row
    needs: Row
    strategy: str
    cost_usd: float
    estimated: bool
    quantities: list[Row]
    tasks: list[Row]
    repairs: list[Row]
    notes: list[str]

    def first(self, *kinds: str) -> pd.Timestamp | None:
        """First day of the tasks of these kinds, of all without any; None if there is no such task."""
        return min((row["start"] for row in self.tasks if not kinds or row["task"] in kinds), default=None)

    def last(self, *kinds: str) -> pd.Timestamp | None:
        """Last day of the tasks of these kinds, of all without any; None if there is no such task."""
        return max((row["finish"] for row in self.tasks if not kinds or row["task"] in kinds), default=None)

    @property
    def patched(self) -> pd.Timestamp | None:
        """The day the last patch or panel is placed."""
        return self.last(*_PATCHES)

    @property
    def opens(self) -> pd.Timestamp | None:
        """The day the block opens after its last closing task."""
        return max((row["opens"] for row in self.tasks if known(row["opens"])), default=None)


def jobs(overview: pd.DataFrame, network: pd.DataFrame, needs: pd.DataFrame, program: pd.DataFrame,
         quantities: pd.DataFrame, tasks: pd.DataFrame, repairs: pd.DataFrame, notes: pd.DataFrame, year: int,
         order: str) -> list[Job]:
    """The blocks that the program works on in ``year``, in one of :data:`ORDERS`.

    Needs are those of the year, or else of the latest year before it.
    """
    if order not in ORDERS:
        raise ValueError(f"'{order}' is not one of {', '.join(ORDERS)}")
    chosen = program[(program["year"] == year) & (program["strategy"] != "none")]
    latest = needs[needs["year"] <= year].sort_values("year").drop_duplicates("block_id", keep="last")
    names = set(chosen["block_id"])
    blocks, sizes, need = (_one(frame, names) for frame in (overview, network, latest))
    amounts = _many(quantities[quantities["year"] == year], names)
    in_order = tasks.assign(place=tasks["task"].map(TASKS.index)).sort_values(["start", "finish", "place", "task_id"])
    work = _many(in_order.drop(columns="place"), names)
    cuts = _many(repairs.sort_values("repair_id"), names)
    said = _many(notes[notes["year"].isna() | (notes["year"] == year)], names)
    found = []
    for name, strategy, cost in zip(chosen["block_id"], chosen["strategy"], chosen["cost_usd"], strict=True):
        block, needed = blocks.get(name, {"block_id": name}), need.get(name, {})
        found.append(Job(
            0, block, sizes.get(name, {}), needed, strategy, float(cost),
            _true(block.get("estimated")) or _true(needed.get("estimated")),
            [row for row in amounts.get(name, []) if row["strategy"] == strategy],
            work.get(name, []), cuts.get(name, []), [str(row["message"]) for row in said.get(name, [])],
        ))
    ordered = sorted(found, key=lambda job: _sort_key(job, order))
    return [replace(job, position=position) for position, job in enumerate(ordered, start=1)]


def materials_by_week(listed: list[Job], assumptions: Assumptions) -> pd.DataFrame:
    """Quantities summed by the week in which the task that uses them starts.

    Columns ``week`` (its Monday, NaT for a block that is not on the calendar), ``pay_item``, ``item`` (words),
    ``part_of`` (the items that this one is a part of; empty for an item that stands by itself), ``unit``,
    ``quantity`` and ``estimated`` (the part of the quantity that rests on estimates).
    """
    users, items = _users(assumptions), pay_items(assumptions.table("pay_items"))
    present = {row["pay_item"] for job in listed for row in job.quantities}
    columns = ["week", "pay_item", "item", "part_of", "unit", "quantity", "estimated"]
    rows = [
        (_monday(job, users.get(item, "place")), item, items[item].name, part_of(items, item, present),
         row["unit"], row["quantity"], row["quantity"] if job.estimated else 0.0)
        for job in listed for row in job.quantities for item in (row["pay_item"],)
    ]
    table = pd.DataFrame(rows, columns=columns).astype({"week": "datetime64[us]"})
    keys = columns[:5]
    table = table.groupby(keys, dropna=False, as_index=False, sort=False)[["quantity", "estimated"]].sum()
    return table.sort_values(["week", "part_of", "item"], ignore_index=True)


def _users(assumptions: Assumptions) -> dict[str, str]:
    """Pay item -> the task that uses it up: the last one whose crew rate is counted in it, or in its parent."""
    crews = assumptions.table("crews")
    users = dict.fromkeys(_SEALING, "fill")
    for task, quantity in sorted(zip(crews["task"], crews["quantity"], strict=True),
                                 key=lambda pair: TASKS.index(pair[0])):
        users[str(quantity)] = str(task)
    for key, item in pay_items(assumptions.table("pay_items")).items():
        using = [users[carrier] for carrier in item.carriers if carrier in users]
        if key not in users and using:
            users[key] = using[0]
    return users


def _monday(job: Job, task: str) -> pd.Timestamp | None:
    day = job.first(task) or job.first()
    return None if day is None else day - pd.Timedelta(days=day.weekday())


def _many(frame: pd.DataFrame, names: set[str]) -> dict[str, list[Row]]:
    """The rows of each block as dictionaries, in the order of the table."""
    kept = frame[frame["block_id"].isin(list(names))]
    stamps = [str(name) for name in kept.columns if kept[name].dtype.kind == "M"]
    columns = [kept[name].to_numpy(dtype=object) for name in kept.columns]
    found: dict[str, list[Row]] = {}
    for cells in zip(*columns, strict=True):
        row: Row = dict(zip(map(str, kept.columns), cells, strict=True))
        row.update((name, pd.Timestamp(row[name])) for name in stamps)
        found.setdefault(str(row["block_id"]), []).append(row)
    return found


def _one(frame: pd.DataFrame, names: set[str]) -> dict[str, Row]:
    return {name: rows[0] for name, rows in _many(frame, names).items()}


def _true(flag: Any) -> bool:
    return known(flag) and bool(flag)


def _sort_key(job: Job, order: str) -> tuple[Any, ...]:
    district, street, start, name = (
        str(job.block[column]) if known(job.block.get(column)) else ""
        for column in ("district", "street", "from_street", "block_id"))
    day = job.first(*TASKS[1:]) or job.first() or pd.Timestamp.max  # marking is done far ahead of the work
    return {"date": (day, street, start, name), "district": (district, day, street, name),
            "street": (street, start, name)}[order]
