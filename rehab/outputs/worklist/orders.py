"""What the work of a year takes: materials from the quantities, equipment from the tasks; by block and by week."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from math import ceil
from typing import Any, Final, NamedTuple

import pandas as pd

from rehab.base.settings import Assumptions
from rehab.base.tables import TASKS, check, with_types
from rehab.outputs.words import known, label, pay_items
from rehab.outputs.worklist.job import Chosen, Job, Row, monday
from rehab.outputs.worklist.traffic import devices

_SEALING: Final = ("crack_filling", "joint_resealing")
_BEFORE: Final = ("mark", "notice")  #: tasks that use up nothing but paint
#: units of what comes in whole pieces: as a figure to order it is rounded up
WHOLE: Final = ("each", "bag", "can", "set")
_TAPER: Final = "taper"  #: unit of equipment that is counted along a taper


class Amount(NamedTuple):
    """One material or piece of equipment: how much of it, what waste is in it, and what it is for."""

    item: str
    unit: str
    quantity: float
    waste: float
    task: str | None
    why: str


def orders(jobs: Iterable[Job], assumptions: Assumptions, chosen: Chosen | None = None) -> pd.DataFrame:
    """The table ``orders``: what is needed in each week, materials summed, equipment as the most at once.

    A material is needed in the week in which its task begins on the block, without a week where the block is on no
    calendar.  Equipment is what a crew needs times the crews at work on its tasks in the week.  With ``chosen`` only
    its weeks and the tasks of its crews count.
    """
    listed, chosen = list(jobs), chosen or Chosen()
    rows = [*_materials_by_week(listed, assumptions, chosen), *_equipment_by_week(listed, assumptions, chosen)]
    table = with_types("orders", pd.DataFrame(rows, columns=["week", "kind", "item", "unit", "quantity", "estimated",
                                                             "why"]))
    kind = table["kind"].map({"material": 0, "equipment": 1})
    return check("orders", table.assign(place=kind).sort_values(["week", "place", "item", "unit"], ignore_index=True))


def whole_year(table: pd.DataFrame) -> pd.DataFrame:
    """The table ``orders`` without its weeks: materials summed, equipment as the most of any week.

    Columns kind, item, unit, quantity, estimated, why; materials first.
    """
    parts = []
    for kind, how in (("material", "sum"), ("equipment", "max")):
        rows = table[table["kind"] == kind].groupby(["kind", "item", "unit"], as_index=False)
        parts.append(rows.agg({"quantity": how, "estimated": how, "why": _all_of}))
    return pd.concat(parts, ignore_index=True)


def _all_of(parts: pd.Series) -> str:
    return "; ".join(dict.fromkeys(word for text in parts for word in str(text).split("; ")))


def materials(job: Job, assumptions: Assumptions) -> list[Amount]:
    """The materials of a block in the order of the table ``materials``, those of one name and unit as one."""
    found: dict[tuple[str, str], Amount] = {}
    for amount in _materials(job, assumptions):
        key = amount.item, amount.unit
        held = found.get(key)
        if held is not None:
            why = held.why if amount.why in held.why.split("; ") else f"{held.why}; {amount.why}"
            waste = (held.waste * held.quantity + amount.waste * amount.quantity) / (held.quantity + amount.quantity)
            amount = held._replace(quantity=held.quantity + amount.quantity, waste=waste, why=why)
        found[key] = amount
    return list(found.values())


def equipment(job: Job, assumptions: Assumptions) -> dict[str, list[Amount]]:
    """What each crew needs on a block, in the order in which they come; ``why`` holds the crew's tasks."""
    tasks: dict[str, set[str]] = {}
    for task in job.tasks:
        tasks.setdefault(str(task["crew"]), set()).update(job.within(str(task["task"])))
    found = {}
    for crew, kinds in tasks.items():
        why = "; ".join(label(kind) for kind in TASKS if kind in kinds)
        needed = [(row, _each(row, job, assumptions)) for row in _equipment_rows(assumptions) if kinds & row["tasks"]]
        found[crew] = [Amount(row["equipment"], _unit(row["unit"]), many, 1.0, None, why)
                       for row, many in needed if many]
    return {crew: amounts for crew, amounts in found.items() if amounts}


def _materials(job: Job, assumptions: Assumptions) -> Iterator[Amount]:
    amounts = {str(row["pay_item"]): float(row["quantity"]) for row in job.quantities}
    waste = assumptions.table("pay_items")["waste"]
    names = pay_items(assumptions.table("pay_items"))
    for row in _material_rows(assumptions):
        quantity = amounts.get(row["pay_item"], 0.0) * row["value"]
        if quantity > 0:
            yield Amount(row["material"], row["unit"], quantity, float(waste[row["pay_item"]]),
                         _task(row, job, assumptions), names[row["pay_item"]].name)


def _materials_by_week(jobs: Sequence[Job], assumptions: Assumptions, chosen: Chosen) -> Iterator[Row]:
    sums: dict[tuple[Any, str, str], Row] = {}
    for job in jobs:
        for amount in _materials(job, assumptions):
            week = _week(job, amount.task, chosen)
            if week is None and chosen:
                continue
            key = (week, amount.item, amount.unit)
            row = sums.setdefault(key, {"week": week, "kind": "material", "item": amount.item, "unit": amount.unit,
                                        "quantity": 0.0, "estimated": 0.0, "why": []})
            row["quantity"] += amount.quantity
            row["estimated"] += amount.quantity if job.estimated else 0.0
            row["why"].append(amount.why)
    for row in sums.values():
        yield {**row, "why": "; ".join(sorted(set(row["why"])))}


def _week(job: Job, kind: str | None, chosen: Chosen) -> pd.Timestamp | None:
    """The week in which a task begins on a block; None if it is on no calendar or not for this list."""
    starts = [task["start"] for task in job.tasks if task["task"] == kind and not _passed(task, chosen)]
    weeks = [monday(start) for start in starts if chosen.wants(monday(start))]
    return min(weeks, default=None)


def _passed(task: Row, chosen: Chosen) -> bool:
    return chosen.other(task) == "other crew"


def _equipment_by_week(jobs: Sequence[Job], assumptions: Assumptions, chosen: Chosen) -> Iterator[Row]:
    """By week and item: over the crews at work on its tasks, the most that a block of each crew asks for."""
    work: dict[pd.Timestamp, list[tuple[Job, Row]]] = {}
    for job in jobs:
        for task in job.tasks:
            for week in pd.date_range(monday(task["start"]), task["finish"], freq="7D"):
                if chosen.wants(week) and not _passed(task, chosen):
                    work.setdefault(week, []).append((job, task))
    for week, tasks in work.items():
        for row in _equipment_rows(assumptions):
            most: dict[str, float] = {}
            sure: dict[str, bool] = {}
            for job, task in tasks:
                if job.within(task["task"]) & row["tasks"]:
                    crew = str(task["crew"])
                    most[crew] = max(most.get(crew, 0.0), _each(row, job, assumptions))
                    sure[crew] = sure.get(crew, False) or not job.estimated
            if most:
                kinds = set().union(*(job.within(str(task["task"])) for job, task in tasks)) & row["tasks"]
                yield {"week": week, "kind": "equipment", "item": row["equipment"], "unit": _unit(row["unit"]),
                       "quantity": sum(most.values()), "estimated": sum(most[crew] for crew in most if not sure[crew]),
                       "why": "; ".join(label(kind) for kind in TASKS if kind in kinds)}


def _each(row: Row, job: Job, assumptions: Assumptions) -> float:
    """How much a crew needs on a block; along a taper it depends on the speed, none where that is not known."""
    if row["unit"] != _TAPER:
        return float(row["value"])
    speed = job.sizes.get("speed_mph")
    if not known(speed):
        return 0.0
    return float(devices(float(speed), assumptions.number("safety", "lane_ft"), row["value"]))  # type: ignore[arg-type]


def _unit(unit: str) -> str:
    return "each" if unit == _TAPER else unit


def _material_rows(assumptions: Assumptions) -> list[Row]:
    return assumptions.once("worklist materials", lambda: _rows(assumptions, "materials"))  # type: ignore[no-any-return]


def _equipment_rows(assumptions: Assumptions) -> list[Row]:
    return assumptions.once("worklist equipment", lambda: [  # type: ignore[no-any-return]
        {**row, "tasks": frozenset(str(row["task"]).split("; "))} for row in _rows(assumptions, "equipment")])


def _rows(assumptions: Assumptions, name: str) -> list[Row]:
    table = assumptions.table(name)
    return [{**{str(column): cell for column, cell in row.items()}, "value": assumptions.number(name, str(key))}
            for key, row in zip(table.index, table.to_dict("records"), strict=True)]


def _task(row: Row, job: Job, assumptions: Assumptions) -> str | None:
    """The task of the block that uses a material up; another where the usual one is not on its calendar."""
    users = assumptions.once("worklist users", lambda: _users(assumptions))
    usual = [row["task"]] if row["task"] else users.get(row["pay_item"], [])
    present = job.kinds
    working = [kind for kind in present if kind not in _BEFORE]
    return next((str(kind) for kind in usual if kind in present), next(iter(working or present), None))


def _users(assumptions: Assumptions) -> dict[str, list[str]]:
    """Pay item -> the tasks that may use it up: the last one whose crew rate is counted in it, then in its parents."""
    crews = assumptions.table("crews")
    own = dict.fromkeys(_SEALING, "fill")
    for task, quantity in sorted(zip(crews["task"], crews["quantity"], strict=True),
                                 key=lambda pair: TASKS.index(pair[0])):
        own[str(quantity)] = str(task)
    return {key: [own[name] for name in (key, *item.carriers) if name in own]
            for key, item in pay_items(assumptions.table("pay_items")).items()}


def to_bring(amount: float, unit: str) -> tuple[float, int]:
    """An amount and its decimals as they are loaded: what comes in whole pieces is rounded up."""
    return (float(ceil(amount - 1e-9)), 0) if unit in WHOLE else (amount, 1)


def waste_words(waste: float) -> str:
    """The waste in an amount: '10 % in it', 'none'."""
    return f"{100 * (waste - 1):.0f} % in it" if waste > 1 + 1e-9 else "none"
