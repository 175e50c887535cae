"""From the tables of a plan to what one year's work list shows, block by block."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field, replace
from typing import Any, Final

import pandas as pd

from rehab.base.settings import Assumptions
from rehab.base.tables import TASKS
from rehab.outputs.words import known
from rehab.outputs.worklist.job import Chosen, Job, Row, monday
from rehab.outputs.worklist.orders import orders

ORDERS: Final = ("date", "district", "street")
#: kinds of repairs that a strategy does not cut: they wait for a heavier one
_LEFT: Final = {"partial_depth": ("full depth", "casting box-out"), "reconstruction": (
    "full depth", "casting box-out", "partial depth")}

@dataclass(frozen=True)
class Content:
    """All that a work list of one year shows, whatever it is written into.

    ``orders`` is the table of that name; ``notes`` are those of the year that belong to no block.  ``geometry`` holds
    the lines of all blocks and ``streets`` their names, for the sketches.
    """

    year: int
    jobs: tuple[Job, ...]
    orders: pd.DataFrame
    chosen: Chosen
    notes: tuple[str, ...]
    geometry: pd.DataFrame
    streets: dict[str, str] = field(repr=False)

    @property
    def cost_usd(self) -> float:
        """Likely cost of the listed blocks, dollars of the year."""
        return sum(job.cost_usd for job in self.jobs)


def content(overview: pd.DataFrame, network: pd.DataFrame, needs: pd.DataFrame, program: pd.DataFrame,
            quantities: pd.DataFrame, tasks: pd.DataFrame, repairs: pd.DataFrame, findings: pd.DataFrame,
            notes: pd.DataFrame, geometry: pd.DataFrame, assumptions: Assumptions, year: int, *,
            order: str = "date", blocks: Collection[str] | None = None,
            weeks: Iterable[pd.Timestamp] | None = None, crews: Iterable[str] | None = None) -> Content:
    """What the work list of a year shows, from tables of the contract.

    Rows of other years and of blocks that the program leaves alone in ``year`` are passed over.  ``order`` is one of
    :data:`ORDERS`.  ``blocks`` keeps these alone; ``weeks`` (any day of each) those with a task in one of them;
    ``crews`` (by name, or by the name that several share: 'Concrete crew') those with a task of one of them, in one of
    the weeks where both are given.  Raises :class:`ValueError` for an order that is not known.
    """
    chosen = Chosen(tuple(sorted({monday(pd.Timestamp(day)) for day in weeks or ()})),
                    tuple(dict.fromkeys(crews or ())))
    wanted = program if blocks is None else program[program["block_id"].isin(list(blocks))]
    found = jobs(overview, network, needs, wanted, quantities, tasks, repairs, findings, notes, year, order)
    if chosen:
        found = [job for job in found if any(not chosen.other(task) for task in job.tasks)]
        found = [replace(job, position=position) for position, job in enumerate(found, start=1)]
    of_year = notes[notes["block_id"].isna() & (notes["year"].isna() | (notes["year"] == year))]
    named = overview[overview["street"].notna()]
    return Content(year, tuple(found), orders(found, assumptions, chosen), chosen,
                   tuple(str(text) for text in of_year["message"]), geometry,
                   dict(zip(named["block_id"].astype(str), named["street"].astype(str), strict=True)))


def jobs(overview: pd.DataFrame, network: pd.DataFrame, needs: pd.DataFrame, program: pd.DataFrame,
         quantities: pd.DataFrame, tasks: pd.DataFrame, repairs: pd.DataFrame, findings: pd.DataFrame,
         notes: pd.DataFrame, year: int, order: str) -> list[Job]:
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
    seen = _many(findings.sort_values("defect_id"), names)
    said = _many(notes[notes["year"].isna() | (notes["year"] == year)], names)
    found = []
    for name, strategy, cost in zip(chosen["block_id"], chosen["strategy"], chosen["cost_usd"], strict=True):
        block, needed, surveyed = blocks.get(name, {"block_id": name}), need.get(name, {}), cuts.get(name, [])
        found.append(Job(
            0, block, sizes.get(name, {}), needed, strategy, float(cost),
            _true(block.get("estimated")) or _true(needed.get("estimated")),
            [row for row in amounts.get(name, []) if row["strategy"] == strategy], work.get(name, []),
            [row for row in surveyed if row["kind"] not in _LEFT.get(strategy, ())], surveyed, seen.get(name, []),
            [str(row["message"]) for row in said.get(name, [])],
        ))
    ordered = sorted(found, key=lambda job: _sort_key(job, order))
    return [replace(job, position=position) for position, job in enumerate(ordered, start=1)]


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
