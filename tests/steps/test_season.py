"""The season: curing and notice, working days, crews, what is carried over; checked on whole calendars."""

from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

from rehab.base import tables
from rehab.base.errors import BadAssumption, Note
from rehab.base.settings import Assumptions
from rehab.inputs import assumptions as reader
from rehab.steps import season

ITEMS = list(reader.defaults().table("pay_items").index)
#: a small block of every strategy: panels, patches, finishing
FULL = {"partial_depth_patch": 60.0, "crack_filling": 100.0, "joint_resealing": 50.0, "diamond_grinding": 1000.0,
        "striping": 600.0, "full_depth_panel": 40.0, "saw_cut": 110.0, "dowel": 48.0}
PARTIAL = {name: FULL[name] for name in ("partial_depth_patch", "crack_filling", "diamond_grinding")}
REBUILD = {"pavement_reconstruction": 1200.0, "striping": 600.0}


def blocks(count: int) -> pd.DataFrame:
    """Blocks of 1,200 sq yd and 8 in, each on a street of its own."""
    names = [f"B{number:02d}" for number in range(count)]
    return pd.DataFrame({"block_id": names, "street": [f"Street {name}" for name in names], "district": "North",
                         "bus_route": False, "area_sqyd": 1200.0, "thickness_in": 8.0, "length_ft": 300.0})


def whole(assumptions: Assumptions, *work: dict[str, float], year: int = 2027, seconds: float = 0.5,
          given: season.Given | None = None, network: pd.DataFrame | None = None) -> season.Season:
    """The season of blocks with the quantities given."""
    city = blocks(len(work)) if network is None else network
    quantities = pd.DataFrame(list(work)).reindex(columns=ITEMS).fillna(0.0).astype(float)
    before = city.copy(deep=True), quantities.copy(deep=True)
    ground = season.ground(city, city["street"].value_counts().to_dict(), None, assumptions)
    found = season.arrange(ground, quantities, assumptions, year, given, seconds)
    for now, then in zip((city, quantities), before, strict=True):
        pd.testing.assert_frame_equal(now, then)
    tables.check("tasks", found.tasks)
    return found


def arrange(assumptions: Assumptions, *work: dict[str, float], year: int = 2027,
            seconds: float = 0.5) -> tuple[pd.DataFrame, list[Note]]:
    """Tasks and notes of blocks with the quantities given."""
    found = whole(assumptions, *work, year=year, seconds=seconds)
    return found.tasks, found.notes


def times(found: pd.DataFrame, block: str = "B00") -> dict[str, tuple[date, date]]:
    own = found[found["block_id"] == block]
    return {row.task: (row.start.date(), row.finish.date()) for row in own.itertuples()}


def check(found: pd.DataFrame, assumptions: Assumptions) -> None:
    """Every rule of the season on every block, by calendar dates."""
    curing = {key: assumptions.number("curing", key) for key in (
        "grind_after_patch_days", "stripe_after_concrete_days", "seal_after_concrete_days")}
    notice = assumptions.number("season", "notice_days")
    open_days = {day for year in set(found["start"].dt.year) for day in season.working_days(year, assumptions)}
    assert set(found["start"].dt.date) | set(found["finish"].dt.date) <= open_days
    assert (found["start"] <= found["finish"]).all()
    for block in found["block_id"].unique():
        when = times(found, block)
        concrete = [when[task][1] for task in ("patch", "place") if task in when]
        first = [when[task][0] for task in ("mill", "saw", "remove") if task in when]
        if "mark" in when and first:
            assert (min(first) - when["mark"][1]).days >= notice
        for task, key in (("grind", "grind_after_patch_days"), ("stripe", "stripe_after_concrete_days"),
                          ("fill", "seal_after_concrete_days")):
            if task in when and concrete:
                assert (when[task][0] - max(concrete)).days >= curing[key]
        if {"remove", "place"} <= set(when):  # one train: a hole opened is closed the same day (Missouri 613.3)
            assert when["saw"] == when["remove"] == when["drill"] == when["place"]
        if "mill" in when:
            assert when["mill"] == when["patch"]
        if {"grind", "stripe"} <= set(when):
            assert when["stripe"][0] >= when["grind"][1]
        if {"grind", "fill"} <= set(when):
            assert when["fill"][0] >= when["grind"][1]  # Maryland 509: seal after grinding


def overload(found: pd.DataFrame, crew: str, days: list[date]) -> float:
    """Most crew days asked for beyond the time between two moments, of whole visits between them; a train counts once."""
    own = found[found["crew"] == crew].drop_duplicates(["block_id", "start", "finish", "begins_at", "ends_at"])
    spans = [(days.index(row.start.date()) + row.begins_at, days.index(row.finish.date()) + row.ends_at, row.days)
             for row in own.itertuples()]
    return max(sum(work for begin, end, work in spans if begin >= first and end <= last) - (last - first)
               for first, _, _ in spans for _, last, _ in spans if last > first)


def test_grinding_waits_28_days(defaults: Assumptions) -> None:
    # Common practice, about four weeks, no source: patched on 15 September 2026, ground on 13 October at the earliest.
    assert season.earliest_grinding(date(2026, 9, 15), defaults) == date(2026, 10, 13)
    three = reader.overlay(defaults, {"curing": {"grind_after_patch_days": 3}})
    assert season.earliest_grinding(date(2026, 9, 15), three) == date(2026, 9, 18)


def test_one_block_in_order(defaults: Assumptions) -> None:
    found, notes = arrange(defaults, FULL)
    check(found, defaults)
    when = times(found)
    assert not notes and (found["season"] == "this").all()
    assert set(when) == set(tables.TASKS) - {"stabilise", "joint", "curb", "retrofit", "stitch"}  # nothing of these
    # By hand: 15 April 2027 is a Thursday; 7 days' notice; sawing then the train can follow on the 22nd.
    assert when["mark"] == (date(2027, 4, 15), date(2027, 4, 15))
    assert when["saw"][0] >= date(2027, 4, 22)
    last = max(when["patch"][1], when["place"][1])
    assert when["grind"][0] >= last + timedelta(days=28)
    assert when["stripe"][0] >= last + timedelta(days=30)  # UFGS 02763A 3.1: paint 30 days after new concrete
    assert found["task_id"].is_unique


def test_a_block_that_waits_ends_as_soon_as_it_may(defaults: Assumptions) -> None:
    # Patches in one day on Thursday 22 April; grinding from Thursday 20 May (28 days), on the calendar.
    found, _ = arrange(reader.overlay(defaults, {"season": {"grind_timing": "soon"}}), PARTIAL)
    when = times(found)
    assert when["mill"] == when["patch"] == (date(2027, 4, 22), date(2027, 4, 22))
    assert when["grind"][0] == date(2027, 5, 20)


def test_opening_after_each_kind_of_concrete(defaults: Assumptions) -> None:
    # UFC 3-270-04 5.7: 24 hours for patches; Ohio 451.16: 7 days for reconstruction.  Panels of 8 in by strength: 2,150
    # psi (restoration guide, from memory) of 4,500 is a share of .4778; ACI 209R, t = 4 r / (1 - .85 r) = 3.2 days.
    found, _ = arrange(defaults, FULL, REBUILD)
    for block, task, days in (("B00", "patch", 1), ("B00", "place", 4), ("B01", "place", 7)):
        row = found[(found["block_id"] == block) & (found["task"] == task)].iloc[0]
        assert (row["opens"] - row["finish"]).days == days
        assert row["opens_soonest"] <= row["opens"] <= row["opens_latest"]
    assert found.loc[found["task"].isin(["mark", "notice", "grind", "stripe", "fill"]), "opens"].isna().all()


def test_no_work_on_weekends_and_holidays(defaults: Assumptions) -> None:
    # 5 U.S.C. 6103: Labor Day is the first Monday of September, Independence Day 4 July (2027 a Sunday: Monday the 5th),
    # Memorial Day the last Monday of May, Juneteenth 19 June (2027 a Saturday: Friday the 18th), Columbus Day the
    # second Monday of October.
    days = season.working_days(2027, defaults)
    assert days[0] == date(2027, 4, 15) and days[-1] == date(2027, 10, 29)
    assert all(day.weekday() < 5 for day in days) and days == sorted(set(days))
    closed = {date(2027, 9, 6), date(2027, 7, 5), date(2027, 5, 31), date(2027, 6, 18), date(2027, 10, 11)}
    assert not closed & set(days)
    weekdays = sum((date(2027, 4, 15) + timedelta(days=offset)).weekday() < 5 for offset in range(200))
    assert len(days) == weekdays - len(closed)


def test_a_six_day_week_works_on_saturdays(defaults: Assumptions) -> None:
    six = reader.overlay(defaults, {"season": {"work_week": "Mon Tue Wed Thu Fri Sat"}})
    assert date(2027, 4, 17) in season.working_days(2027, six)


def test_crews_share_their_days(defaults: Assumptions) -> None:
    # Twenty small blocks: each asks for a part of a day of each crew.
    found, notes = arrange(defaults, *([FULL] * 20))
    check(found, defaults)
    assert not notes
    assert {"Concrete crew 1", "Concrete crew 2", "Sawing crew", "Grinder"} < set(found["crew"])
    for crew in set(found["crew"]):
        assert overload(found, crew, season.working_days(2027, defaults)) <= 1e-6
    # Concrete crew by hand: 40/120 + 48/300 + 40/120 = .827 days at full rate, 1.033 at 0.8: two days each block.
    place = found[found["task"] == "place"]
    assert place["days"].to_numpy() == pytest.approx(np.full(20, (40 / 120 + 48 / 300 + 40 / 120) / 0.8))
    lengths = {name: sum(day.date() <= row <= end.date() for row in season.working_days(2027, defaults))
               for name, day, end in place[["block_id", "start", "finish"]].itertuples(index=False)}
    assert set(lengths.values()) == {2}


def test_small_jobs_fit_into_one_day_of_a_crew(defaults: Assumptions) -> None:
    # Sawing 110 ft of 720 ft a day: six blocks a day; four blocks take the one sawing crew .61 of a day.
    found, _ = arrange(defaults, *([FULL] * 4))
    saw = found[found["task"] == "saw"]
    assert saw["days"].to_numpy() == pytest.approx(np.full(4, 110 / 720)) and saw["start"].nunique() < 4


def test_late_finishing_moves_to_the_next_season_with_a_note(defaults: Assumptions) -> None:
    # A season of three weeks: a week's notice and a patch fit, four weeks of waiting do not.
    short = reader.overlay(defaults, {"season": {"first_day": "10-04", "last_day": "10-29"}})
    found, notes = arrange(short, PARTIAL)
    check(found, short)
    by_task = found.set_index("task")["season"].to_dict()
    assert by_task == {"mark": "this", "notice": "this", "mill": "this", "patch": "this", "grind": "next",
                       "fill": "next"}
    assert found.loc[found["task"] == "grind", "start"].dt.year.tolist() == [2028]
    assert len(notes) == 1 and notes[0].block_id == "B00" and notes[0].topic == "season"
    assert "grind" in notes[0].message and "2028" in notes[0].message


def test_no_block_is_ground_before_its_repairs(defaults: Assumptions) -> None:
    # Repairs that do not fit this season take their finishing with them.
    assert defaults.number("season", "crews.Patching crew") == 2
    big = {**PARTIAL, "partial_depth_patch": 9_000.0}  # 56 days of one crew
    short = reader.overlay(defaults, {"season": {"first_day": "07-01", "last_day": "10-29"}})
    found, notes = arrange(short, *([big] * 6))
    check(found, short)
    placed = found.groupby(["block_id", "season"])["task"].agg(set)
    for block in found["block_id"].unique():
        if "patch" not in placed.get((block, "this"), set()):
            assert (block, "this") not in placed.index  # nothing of it is done this season
            assert any(note.block_id == block and "all work moves" in note.message or "fits neither" in note.message
                       for note in notes)
    assert len({note.block_id for note in notes}) >= 2


def test_waiting_goes_on_over_the_turn_of_the_year(defaults: Assumptions) -> None:
    # Where crews work all year, a patch late in December is still not ground before 28 days have passed.  By hand:
    # 38,000 sq ft milled and patched at 320 a day are 237.5 days of the year's 250.
    mild = reader.overlay(defaults, {"season": {"first_day": "01-01", "last_day": "12-31"}})
    found, notes = arrange(mild, {**FULL, "partial_depth_patch": 38_000.0})
    check(found, mild)
    when = times(found)
    assert when["patch"][1].month == 12 and when["grind"][0] >= when["patch"][1] + timedelta(days=28)
    assert when["grind"][0] <= when["patch"][1] + timedelta(days=32)  # and not much later
    assert len(notes) == 1 and "patched this season" in notes[0].message


def test_what_fits_neither_season_is_left_over_and_said(defaults: Assumptions) -> None:
    huge = {**PARTIAL, "partial_depth_patch": 60_000.0}  # 375 days of one crew
    found, notes = arrange(defaults, huge, PARTIAL)
    check(found, defaults)
    assert set(found["block_id"]) == {"B01"}
    assert [note.block_id for note in notes] == ["B00"] and "fits neither this season nor the next" in notes[0].message


@pytest.mark.parametrize(("table", "key", "message"), [("crews", "grind", "rate of 'grind' is zero"),
                                                       ("crews", "drill", "rate of 'drill' is zero")])
def test_a_rate_of_zero_is_refused(defaults: Assumptions, table: str, key: str, message: str) -> None:
    rows = defaults.table(table).copy()
    rows.loc[key, "value"] = "0"
    zero = Assumptions({**defaults.tables, table: rows}, defaults.sources)
    with pytest.raises(BadAssumption, match=message):
        arrange(zero, FULL)


def test_an_empty_program_gives_an_empty_table(defaults: Assumptions) -> None:
    found = whole(defaults)
    assert found.tasks.empty and not found.notes
    pd.testing.assert_frame_equal(found.tasks, tables.empty("tasks"))


def test_the_same_calendar_twice(defaults: Assumptions) -> None:
    work = [FULL, PARTIAL, REBUILD, FULL]
    pd.testing.assert_frame_equal(arrange(defaults, *work)[0], arrange(defaults, *work)[0])
