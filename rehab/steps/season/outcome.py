"""Visits to tables: tasks, campaigns, blocks that are not ground, the load of the crews, and what there is to say."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any, Final

import numpy as np
import pandas as pd

from rehab.base import tables
from rehab.base.errors import Note
from rehab.steps.season.finishing import Finished
from rehab.steps.season.frame import Frame, Key
from rehab.steps.season.placing import Visit
from rehab.steps.season.work import CONCRETE, FINISHING, NAMES, Activity

_ORDER: Final = {name: place for place, name in enumerate(tables.TASKS)}


def tasks(frames: dict[str, Frame], visits: Sequence[Visit]) -> pd.DataFrame:
    """The table ``tasks``: one row for each task of each visit; tasks of one train share their days."""
    records: list[dict[str, object]] = []
    for visit in visits:
        records += _records(frames[visit.season], visit)
    table = pd.DataFrame(records)
    if table.empty:
        return tables.empty("tasks")
    table = table.assign(place=table["task"].map(_ORDER)).sort_values(["start", "block_id", "place"], ignore_index=True)
    return tables.check("tasks", tables.with_types("tasks", table.drop(columns="place")))


def campaigns(frames: dict[str, Frame], visits: Sequence[Visit], finished: Finished) -> pd.DataFrame:
    """The table ``campaigns``: when the grinder comes and for how much."""
    records = []
    for season, frame in frames.items():
        ground = [visit for visit in visits if visit.campaign and visit.season == season]
        area = frame.ground.network["area_sqyd"].to_numpy(float)
        for number in sorted({visit.campaign for visit in ground}):
            rows = sorted((visit for visit in ground if visit.campaign == number),
                          key=lambda visit: (visit.first, visit.last))
            blocks = [visit.item.block for visit in rows]
            waits = [(visit.last - finished.ready[visit.item.block]).days for visit in rows
                     if visit.item.block in finished.ready]
            records.append({
                "season": season, "campaign": number, "first_day": pd.Timestamp(rows[0].first),
                "last_day": pd.Timestamp(max(visit.last for visit in rows)), "blocks": len(rows),
                "area_sqyd": area[blocks].sum(), "crew_days": sum(visit.item.crew_days["Grinder"] for visit in rows),
                "travel_mi": float(frame.ground.miles[blocks[:-1], blocks[1:]].sum()),
                "wait_days": float(np.mean(waits)) if waits else 0.0})
    return _table("campaigns", records)


def choices(frame: Frame, finished: Finished, items: Sequence[Activity]) -> pd.DataFrame:
    """The table ``campaign_choices``: what bringing the machine more often costs, and how much less blocks wait."""
    each = frame.assumptions.number("season", "grinder_mobilisation_usd")
    total = sum(item.kind == "grind" for item in items)
    records = []
    for number, found in enumerate(finished.choices):
        ground = found.campaign > 0
        if not ground.any():
            continue
        times = int(found.campaign.max())
        ready = [finished.ready[block] for block in finished.blocks]
        last = [frame.days[int(np.floor(end - 1e-6))] for end in found.finish[ground]]
        waits = [(day - ready[at]).days for day, at in zip(last, np.flatnonzero(ground).tolist(), strict=True)]
        records.append({
            "campaigns": times, "ground": int(ground.sum()), "missed": total - int(ground.sum()),
            "mobilisation_usd": times * each, "wait_days": float(np.mean(waits)), "longest_days": float(max(waits)),
            "first_day": pd.Timestamp(frame.days[int(np.floor(found.start[ground].min() + 1e-6))]),
            "last_day": pd.Timestamp(max(last)), "chosen": number == finished.chosen})
    return _table("campaign_choices", records)


def blocks(frames: dict[str, Frame], visits: Sequence[Visit], finished: Finished,
           items: Sequence[Activity]) -> pd.DataFrame:
    """The table ``season_blocks``: when each block with grinding is ready and ground, or what that would take."""
    ground = {visit.item.block: visit for visit in visits if visit.item.kind == "grind"}
    names = frames["this"].ground.network["block_id"]
    records = []
    for item in (item for item in items if item.kind == "grind"):
        visit = ground.get(item.block)
        ready = finished.ready.get(item.block)
        late = visit is None or visit.season == "next"
        records.append({
            "block_id": names.iloc[item.block], "ready": pd.Timestamp(ready) if ready else pd.NaT,
            "ground": pd.Timestamp(visit.last) if visit else pd.NaT, "season": visit.season if visit else pd.NA,
            "why": _why(frames["this"], visits, finished, item, items) if late else pd.NA})
    return _table("season_blocks", records)


def loads(frame: Frame, items: Sequence[Activity]) -> pd.DataFrame:
    """Work of each crew beside the days that it has: crew, crews, crew_days, available, share (of one)."""
    need: dict[str, float] = {}
    days: dict[str, float] = {}
    for item in items:
        for name, each in item.crew_days.items():
            need[name] = need.get(name, 0.0) + each
            days[name] = max(days.get(name, 0.0), float(frame.open_to(item.block, item.kind).sum()))
    rows = [{"crew": name, "crews": frame.crews(name), "crew_days": each,
             "available": frame.crews(name) * days[name],
             "share": each / (frame.crews(name) * days[name]) if frame.crews(name) * days[name] else np.inf}
            for name, each in need.items()]
    return pd.DataFrame(rows, columns=["crew", "crews", "crew_days", "available", "share"]).sort_values(
        "share", ascending=False, ignore_index=True)


def notes(frames: dict[str, Frame], left: Sequence[Activity], never: Sequence[Activity], visits: Sequence[Visit],
          little: Mapping[str, int], year: int) -> list[Note]:
    """What does not fit this season, block by block, and what fits neither; ``little``: blocks with next to no work."""
    frame = frames["this"]
    said = [] if frame.days else [Note("season", None, year, "the season has no working day: check its first and last "
                                       "day, the work week and the days without work")]
    if frame.given.today is not None and frame.days and frame.given.today > frame.days[-1]:
        said.append(Note("season", None, year, f"no working day of the season is left on {frame.given.today}; what is "
                         "not done moves to the next"))
    for kind, count in little.items():
        said.append(Note("season", None, year, f"next to no {NAMES[kind]} is expected on {count:,} "
                         f"{'block' if count == 1 else 'blocks'}: no visit is planned for it"))
    lost = {(item.block, item.kind) for item in never}
    there = {visit.key for visit in visits if visit.season == "this"}
    names = frame.ground.network["block_id"]
    for block in sorted({item.block for item in left}):
        mine = [item for item in left if item.block == block]
        gone = [item for item in mine if (block, item.kind) in lost]
        name = str(names.iloc[block])
        if gone:
            said.append(Note("season", name, year, f"fits neither this season nor the next: {_words(gone)}; "
                             f"{_takes(frame, gone)}"))
        elif any(item.kind not in FINISHING for item in mine):
            said.append(Note("season", name, year, f"does not fit this season; all work moves to {year + 1}"))
        else:
            before = "patched" if any((block, kind) in there for kind in CONCRETE) else "begun"
            said.append(Note("season", name, year, f"{before} this season; left for {year + 1}: {_words(mine)}"))
    return said


def not_kept(frame: Frame, visits: Sequence[Visit], told: Mapping[Key, str], pins: Mapping[Key, date],
             year: int) -> list[Note]:
    """Days set by hand that the calendar does not have: ``told`` in words, and those that finishing could not keep."""
    names = frame.ground.network["block_id"]
    first = {visit.key: visit.first for visit in visits}
    said = {**{key: f"the day set by hand, {day}, is not kept: it is not ready by then, or the machine or the crew is "
               "elsewhere" for key, day in pins.items() if first.get(key) != day}, **told}
    return [Note("set by hand", str(names.iloc[block]), year, f"{NAMES[kind]}: {words}")
            for (block, kind), words in sorted(said.items())]


def unrecorded(frame: Frame, items: Sequence[Activity], year: int) -> list[Note]:
    """What has no record though what waits for it is done: it is taken as done."""
    names = frame.ground.network["block_id"]
    return [Note("season", str(names.iloc[item.block]), year, f"{NAMES[item.kind]} has no record, but work that comes "
                 "after it is done: it is taken as done") for item in items]


def ways(frame: Frame, visits: Sequence[Visit]) -> tuple[float, int]:
    """Miles of all crews between the blocks of this season, and times that a crew goes on to another district."""
    district = frame.ground.network["district"].fillna("").to_numpy()
    by_crew: dict[tuple[str, int], list[Visit]] = {}
    for visit in visits:
        if visit.season == "this":
            for name, number in visit.crews.items():
                by_crew.setdefault((name, number), []).append(visit)
    miles, changes = 0.0, 0
    for way in by_crew.values():
        in_order = sorted(way, key=lambda visit: (visit.first, visit.begins, visit.last, visit.ends))
        blocks = [visit.item.block for visit in in_order]
        miles += float(frame.ground.miles[blocks[:-1], blocks[1:]].sum())
        changes += int((district[blocks[1:]] != district[blocks[:-1]]).sum())
    return miles, changes


def crew_label(frame: Frame, name: str, number: int) -> str:
    """A crew by its name, with its number where there are several."""
    return f"{name} {number}" if frame.crews(name) > 1 else name


def _records(frame: Frame, visit: Visit) -> list[dict[str, object]]:
    rows = frame.assumptions.once("tasks and crews", lambda: frame.assumptions.table("crews")[
        ["task", "crew"]].astype(object).to_dict("index"))
    block = str(frame.ground.network["block_id"].iloc[visit.item.block])
    opened: dict[str, object] = {"opens": pd.NaT, "opens_soonest": pd.NaT, "opens_latest": pd.NaT, "cautions": pd.NA}
    if visit.item.kind in CONCRETE:
        soonest, likely, latest, told = frame.opened(visit.item.block, visit.item.kind, visit.last)
        opened = {"opens": pd.Timestamp(likely), "opens_soonest": pd.Timestamp(soonest),
                  "opens_latest": pd.Timestamp(latest), "cautions": told or pd.NA}
    shown: dict[str, str] = {}
    for key in visit.item.keys:
        shown.setdefault(rows[key]["task"], rows[key]["crew"])
    if visit.item.kind == "mark":
        shown["notice"] = shown["mark"]
    records: list[dict[str, object]] = []
    for task, crew in shown.items():
        records.append({
            "task_id": f"{block}/{task}", "block_id": block, "task": task,
            "crew": crew_label(frame, crew, visit.crews.get(crew, 1)), "start": pd.Timestamp(visit.first),
            "finish": pd.Timestamp(visit.last), "begins_at": visit.begins, "ends_at": visit.ends,
            "days": visit.item.crew_days[crew], "season": visit.season,
            "campaign": float(visit.campaign) if visit.campaign and task == "grind" else np.nan,
            **opened})
    return records


def _why(frame: Frame, visits: Sequence[Visit], finished: Finished, item: Activity,
         items: Sequence[Activity]) -> str:
    """Why a block is not ground this season, and what it would take."""
    if not frame.crews("Grinder"):
        return "there is no grinder: give one under crews"
    if not frame.days:
        return "the season has no working day"
    there = [visit for visit in visits if visit.item.block == item.block and visit.season == "this"]
    repairs = [visit for visit in there if visit.item.kind not in FINISHING]
    if not repairs and item.block not in finished.ready:
        impossible = _impossible(frame, [other for other in items if other.block == item.block])
        return impossible or ("its repairs do not fit this season: more crews, a longer season or a smaller program "
                              "would make room")
    ready = finished.ready.get(item.block)
    if ready is None:
        return "the season has no working day left"
    last_start = _last_start(frame, item)
    cured = [visit for visit in repairs if visit.item.kind in CONCRETE]
    if last_start is None or ready > last_start:
        if not cured or last_start is None:
            return "no day of the season is left for it after its repairs"
        patched = max(visit.last for visit in cured)
        over = (ready - last_start).days
        return (f"patched until {_day(patched)}, it may be ground from {_day(ready)}, but the last day to begin with "
                f"is {_day(last_start)}: it takes patches {over} days sooner, or a season {over} days longer")
    return (f"ready on {_day(ready)}, but the grinder has no {item.crew_days['Grinder']:.1f} days left for it: it "
            "takes another campaign, a longer season, or less to grind")


def _last_start(frame: Frame, item: Activity) -> date | None:
    """Last day on which a block's grinding may begin and still end in the season."""
    open_at = np.flatnonzero(frame.open_to(item.block, "grind"))
    return frame.days[int(open_at[-item.days])] if len(open_at) >= item.days else None


def _takes(frame: Frame, gone: Sequence[Activity]) -> str:
    """What work that fits no season would take."""
    return _impossible(frame, gone) or "more crews, higher rates or a longer season are needed"


def _impossible(frame: Frame, items: Sequence[Activity]) -> str:
    """Why some of the activities fit no season like this one; empty if each alone would."""
    for item in items:
        room = int(frame.open_to(item.block, item.kind).sum()) if frame.days else 0
        for name in item.crew_days:
            if not frame.crews(name):
                return f"there is no {name}: give one under crews"
        if not room and frame.days:
            return (f"no day of the season is open to {NAMES[item.kind]}: too cold or too hot by the normals, or kept "
                    "free of work; check the normals and their unit")
        if item.days > room:
            crew = max(item.crew_days, key=lambda name: item.crew_days[name])
            count = f"{item.days} working day{'' if item.days == 1 else 's'}"
            return (f"{NAMES[item.kind]} takes the {crew} {count}, the season has {room}: give the block to several "
                    "crews as parts, or a higher rate")
    return ""


def _words(items: Sequence[Activity]) -> str:
    return ", ".join(NAMES[item.kind] for item in items)


def _day(day: date) -> str:
    return f"{day.day} {day:%B}"


def _table(name: str, records: list[dict[str, Any]]) -> pd.DataFrame:
    if not records:
        return tables.empty(name)
    return tables.check(name, tables.with_types(name, pd.DataFrame(records)))
