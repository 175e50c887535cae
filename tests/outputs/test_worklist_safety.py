"""Lengths of closures, weights, sound, days of the utility ticket, and the cautions that name them."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from rehab.base.errors import BadAssumption
from rehab.base.settings import Assumptions
from rehab.base.tables import TASKS, WORK
from rehab.outputs.worklist import (
    Job,
    buffer_ft,
    cautions_for,
    load_cautions,
    panel_weight_lb,
    taper_ft,
)
from rehab.outputs.worklist.days import call_by, holidays_before, marks, opening_rules, span, weather_limits
from rehab.outputs.worklist.figures import figures, slurry_cuyd, sound_dba
from rehab.outputs.worklist.orders import equipment, to_bring
from rehab.outputs.worklist.steps import HOLDS, STEPS
from rehab.outputs.worklist.traffic import devices, lengths

# MUTCD taper lengths for an offset of 12 ft, as printed in California MUTCD 2012 (federal text of 2009),
# Table 6H-4(CA): speed in mph -> L, L/2, L/3 in feet
TAPERS = {20: (80, 40, 27), 25: (125, 63, 42), 30: (180, 90, 60), 35: (245, 123, 82), 40: (320, 160, 107),
          45: (540, 270, 180), 50: (600, 300, 200), 55: (660, 330, 220), 60: (720, 360, 240), 65: (780, 390, 260),
          70: (840, 420, 280), 75: (900, 450, 300)}
# stopping sight distance in feet, printed for 20 to 65 mph in the Highway Engineering Handbook, Table 2.2
STOPPING = {20: 115, 25: 155, 30: 200, 35: 250, 40: 305, 45: 360, 50: 425, 55: 495, 60: 570, 65: 645}


@pytest.mark.parametrize("speed", TAPERS)
def test_tapers_are_those_of_the_manual(speed: int) -> None:
    assert taper_ft(speed, 12) == TAPERS[speed][0]
    assert lengths(speed, 12)[:3] == TAPERS[speed]


@pytest.mark.parametrize("speed", STOPPING)
def test_the_buffer_is_the_printed_stopping_distance(speed: int) -> None:
    assert buffer_ft(speed) == STOPPING[speed]
    assert lengths(speed, 11).buffer == STOPPING[speed]


@pytest.mark.parametrize(("speed", "offset", "length"), [
    # formula of the same source worked out for other offsets: 11 x 25^2 / 60, 10 x 40^2 / 60, 11 x 55, 10 x 45
    (25, 11, 114.6), (40, 10, 266.7), (55, 11, 605.0), (45, 10, 450.0),
    # between 40 and 45 mph the longer branch: 12 x 42
    (42, 12, 504.0),
])
def test_taper_of_other_offsets(speed: float, offset: float, length: float) -> None:
    assert taper_ft(speed, offset) == pytest.approx(length, abs=0.05)


def test_closures_refuse_nonsense() -> None:
    for speed, offset in ((0, 12), (30, 0), (-5, 12), (float("nan"), 12)):
        with pytest.raises(ValueError, match="above zero"):
            taper_ft(speed, offset)
    with pytest.raises(ValueError, match="above zero"):
        buffer_ft(0)


def test_devices_along_a_taper() -> None:
    # no farther apart in feet than the speed in mph (manual of 2009): 125 ft at 25 mph is 5 spaces, so 6 cones;
    # 540 ft at 45 mph is 12 spaces
    assert devices(25, 12, 1.0) == 6 and devices(45, 12, 1.0) == 13
    assert devices(30, 12, 1.0) == 7 and devices(35, 11, 1.0) == 8  # 224.6 ft in spaces of 35 ft: 7 spaces


def test_weight_of_a_panel() -> None:
    # by hand: 12 x 6 ft x 8 in = 48 cubic feet, at 150 lb (common practice, no source) 7,200 lb
    assert panel_weight_lb(12 * 6, 8, 150) == 7200


def test_sound_farther_off() -> None:
    # 20 log10(d / 50): 90 dBA at 50 ft is 84.0 at 100 ft and 78.0 at 200 ft (worked out by hand)
    assert sound_dba(90, 100) == pytest.approx(84.0, abs=0.05) and sound_dba(90, 200) == pytest.approx(78.0, abs=0.05)


def test_solids_in_grinding_slurry() -> None:
    # by hand: 1000 sq yd x 0.25 in = 9000 sq ft x 0.0208 ft = 187.5 cu ft = 6.94 cu yd
    assert slurry_cuyd(1000, 0.25) == pytest.approx(6.94, abs=0.005)


def test_the_day_to_call() -> None:
    # the example of the source call-before-digging: two full days, called on Tuesday, dug on Friday
    assert call_by(pd.Timestamp("2027-04-30"), 2) == pd.Timestamp("2027-04-27")
    # three days over a weekend: called on Thursday; Friday, Monday, Tuesday pass; cut on Wednesday
    assert call_by(pd.Timestamp("2027-05-05"), 3) == pd.Timestamp("2027-04-29")
    # Independence Day of 2027 is a Sunday, observed on Monday 5 July (5 U.S.C. 6103): cut on Wednesday the 7th, two
    # days for marking are Friday and Tuesday, so the call is on Thursday the 1st
    assert call_by(pd.Timestamp("2027-07-07"), 2, {date(2027, 7, 5)}) == pd.Timestamp("2027-07-01")


def test_the_holidays_before_a_cut_are_those_of_the_season(assumptions: Assumptions) -> None:
    found = holidays_before(pd.Timestamp("2027-07-07"), assumptions)
    assert date(2027, 7, 5) in found and date(2027, 5, 31) in found  # Memorial Day: the last Monday of May
    assert not any(day > date(2027, 7, 7) for day in found)


@pytest.mark.parametrize(("hour", "said"), [("0", "midnight"), ("6.5", "6:30 am"), ("12", "noon"), ("23", "11 pm")])
def test_hours_are_those_of_a_clock(hour: str, said: str, job: Job, assumptions: Assumptions) -> None:
    city = assumptions.having("safety", {"noise_from_hour": hour})
    assert f"from {said} to 6 pm" in words(job, city, "full_depth")["noise_hours"]


def test_a_window_of_days() -> None:
    first, last = pd.Timestamp("2027-04-15"), pd.Timestamp("2027-08-30")
    assert span([last, None, first]) == "Thu 15 Apr to Mon 30 Aug 2027"
    assert span([first]) == "Thu 15 Apr 2027" and span([None]) == ""
    assert span([first, pd.Timestamp("2028-04-17")]) == "Thu 15 Apr 2027 to Mon 17 Apr 2028"


def row(task: str, start: str, **more: Any) -> dict[str, Any]:
    day = pd.Timestamp(start)
    return {"task": task, "crew": "Concrete crew 1", "start": day, "finish": day, "opens": pd.NaT, **more}


@pytest.fixture
def job() -> Job:
    """A block of full-depth repair, its panels and repairs known."""
    sizes = {"panel_length_ft": 6.0, "panel_width_ft": 12.0, "thickness_in": 8.0, "assumed": "thickness_in",
             "speed_mph": 25.0, "length_ft": 400.0}
    cut = {"kind": "full depth", "repair_id": 4, "length_ft": 12.0, "width_ft": 12.0, "depth_in": 8.0}
    repairs = [cut, {**cut, "repair_id": 5, "length_ft": 4.0},
               {**cut, "kind": "partial depth", "repair_id": 6, "length_ft": 90.0}]
    tasks = [row("mark", "2027-04-15"), row("notice", "2027-04-15"), row("saw", "2027-05-04"),
             row("remove", "2027-05-04"), row("drill", "2027-05-04"), row("place", "2027-05-04")]
    ground = [{"pay_item": "diamond_grinding", "quantity": 1800.0}]
    return Job(1, {"block_id": "B"}, sizes, {}, "full_depth", 1.0, False, ground, tasks, repairs, repairs, [], [])


def test_every_caution_has_a_citation_and_every_work_has_cautions(job: Job, assumptions: Assumptions) -> None:
    cautions, given = load_cautions(), figures(job, assumptions)
    assert all(one.citation and one.text for one in cautions)
    assert len({one.key for one in cautions}) == len(cautions)
    for name in (*WORK, *TASKS):
        own = cautions_for(cautions, name, given)
        assert own, name
        assert not any("{" in one.text + one.source or "}" in one.text + one.source for one in own)


def test_a_caution_that_names_no_figure_is_refused(tmp_path: Path) -> None:
    head = "key,applies_to,text,citation,status\n"
    path = tmp_path / "cautions.csv"
    path.write_text(f"{head}one,saw,Mind the {{gap}},none,read\n", encoding="utf-8")
    with pytest.raises(BadAssumption, match="there is no figure 'gap'"):
        cautions_for(load_cautions(path), "saw", {})
    path.write_text(f"{head}one,sew,Mind it,none,read\n", encoding="utf-8")
    with pytest.raises(BadAssumption, match="'sew' of 'one' is not a task"):
        load_cautions(path)
    path.write_text(f"{head}one,saw,Mind it,none,heard\n", encoding="utf-8")
    with pytest.raises(BadAssumption, match="the status of 'one'"):
        load_cautions(path)


def words(job: Job, assumptions: Assumptions, of: str) -> dict[str, str]:
    return {one.key: f"{one.text} [{one.source}]" for one in cautions_for(load_cautions(), of, figures(job, assumptions))}


def test_figures_of_a_block_stand_in_its_cautions(job: Job, assumptions: Assumptions) -> None:
    block = words(job, assumptions, "full_depth")
    assert "posted 25 mph" in block["traffic_taper"] and "taper of 125 ft" in block["traffic_taper"]
    assert "taper 63 ft, shoulder taper 42 ft" in block["traffic_taper"] and "155 ft" in block["traffic_buffer"]
    assert "within 24 in" in block["utilities"] and "14 days" in block["utilities"]
    assert "from 7 am to 6 pm, as set" in block["noise_hours"]
    lifting = words(job, assumptions, "remove")["lifting_weight"]
    # a panel of 6 x 12 ft x 8 in: 7,200 lb; the largest repair of 12 x 12 ft is two pieces of 6 ft of as much each
    assert "about 7,200 lb" in lifting and "(size assumed)" in lifting
    assert "No. 4, 12 x 12 ft, 8 in deep: 14,400 lb" in lifting and "no piece is over 7,200 lb" in lifting
    assert "1.5 times the weight, 10,800 lb for the panel and 10,800 lb for the largest piece" in lifting
    # 1800 sq yd x 0.2 in: 16200 sq ft / 60 = 270 cu ft = 10 cu yd
    assert "about 10 cu yd" in words(job, assumptions, "grind")["slurry_grind"]
    assert "18 ft for a trunk of 18 in" in words(job, assumptions, "saw")["trees"]
    assert "the saw 84 at 100 ft, 78 at 200 ft" in words(job, assumptions, "saw")["noise_distance"]


def test_figures_follow_the_settings(job: Job, assumptions: Assumptions) -> None:
    city = assumptions.having("safety", {"lane_ft": "11", "ticket_days": "21", "concrete_lb_per_cuft": "145",
                                         "noise_from_hour": "8", "grind_depth_in": "0.1"})
    block = words(job, city, "full_depth")
    # 11 x 25^2 / 60 = 114.6, rounded up
    assert "lane of 11 ft" in block["traffic_taper"] and "taper of 115 ft" in block["traffic_taper"]
    assert "21 days" in block["utilities"] and "from 8 am to 6 pm" in block["noise_hours"]
    lifting = words(job, city, "remove")["lifting_weight"]
    assert "about 6,960 lb" in lifting and "145 lb per cubic foot" in lifting
    assert "about 5 cu yd" in words(job, city, "grind")["slurry_grind"]


def test_what_is_not_known_of_a_block_is_said(job: Job, assumptions: Assumptions) -> None:
    bare = replace(job, sizes={}, repairs=[], quantities=[])
    assert "posted speed not known" in words(bare, assumptions, "full_depth")["traffic_taper"]
    lifting = words(bare, assumptions, "remove")["lifting_weight"]
    assert "size of the panels is not known" in lifting and "not known. Crane" in lifting


# 29 CFR 1926.1153, Table 1, as read in copies of it: item -> what the task needs, whether a respirator is worn
TABLE_1 = {
    "silica_saw": ("saw", "(iv), (v)", "water", "no respirator"),
    "silica_handsaw": ("saw", "(ii)", "over 4 hours one with a protection factor of 10", "up to 4 hours a day no respirator"),
    "silica_drill": ("drill", "(viii)", "99 %", "respirator all the time"),
    "silica_mill": ("mill", "(xiii), (xiv)", "surfactant", "no respirator"),
    "silica_core": ("mark", "(vi)", "water", "no respirator"),
}


@pytest.mark.parametrize("key", TABLE_1)
def test_silica_measures_by_task_are_those_of_table_1(key: str, job: Job, assumptions: Assumptions) -> None:
    task, item, measure, respirator = TABLE_1[key]
    text = words(job, assumptions, task)[key]
    assert item in text and measure in text and respirator in text and "from memory" not in text


def test_what_was_not_read_says_so(job: Job, assumptions: Assumptions) -> None:
    assert "from memory" in words(job, assumptions, "drill")["silica_drill_respirator"]
    assert "from memory" in words(job, assumptions, "grind")["silica_grind"]


def test_what_the_sources_ask_for_stands_with_its_work(job: Job, assumptions: Assumptions) -> None:
    # one-lane two-way and downstream tapers of 50 to 100 ft: MUTCD Part 6 (text of 2009)
    assert "a taper of 50 to 100 ft" in words(job, assumptions, "full_depth")["traffic_one_lane"]
    # two maintenance works together may be an alteration: supplement of 2015 to the joint assistance, question 10
    assert "may become an alteration" in words(job, assumptions, "partial_depth")["ramps_together"]
    rebuilt = words(job, assumptions, "reconstruction")
    # 40 CFR 450.21: 1 acre, 14 days; 29 CFR 1926.652: 5 ft, from memory
    assert "from 1 acre" in rebuilt["stormwater"] and "14 days" in rebuilt["stormwater"]
    assert "deeper than 5 ft" in rebuilt["trench"] and "from memory" in rebuilt["trench"]


def test_the_joints_of_a_new_pavement_are_a_step_of_their_own(job: Job, assumptions: Assumptions) -> None:
    rebuilt = replace(job, strategy="reconstruction", tasks=[row("remove", "2027-05-04"), row("place", "2027-05-04")])
    assert rebuilt.kinds == ["remove", "place"] and rebuilt.steps == ["remove", "place", "joint"]
    assert job.steps == job.kinds  # repairs have a task for their joints
    tools = [one.item for one in equipment(rebuilt, assumptions)["Concrete crew 1"]]
    assert "Joint saw, early-entry or wet" in tools
    assert "Joint saw, early-entry or wet" not in [one.item for one in equipment(job, assumptions)["Concrete crew 1"]]


def test_checklist_and_hold_points_cover_the_tasks() -> None:
    assert set(STEPS) == set(TASKS)
    assert all(set(hold.before) <= set(TASKS) and hold.source for hold in HOLDS)


def test_whole_pieces_are_loaded() -> None:
    assert to_bring(45.2, "each") == (46.0, 0) and to_bring(3.0, "bag") == (3.0, 0) and to_bring(6.8, "cuyd") == (6.8, 1)


def test_the_opening_rule_is_in_words_with_its_source(job: Job, assumptions: Assumptions) -> None:
    # table of opening strengths by thickness, 8 in and a repair of 10 ft or more: 2,150 psi (from memory)
    assert opening_rules(job, assumptions) == [
        "panels open at 2,150 psi for 8 in of concrete (Concrete Pavement Preservation Guide, table of opening strengths "
        "by thickness (from memory))"]
    rebuilt = replace(job, strategy="reconstruction")
    assert opening_rules(rebuilt, assumptions)[0].startswith("the new pavement opens after 7 days (")
    patched = replace(job, strategy="partial_depth", tasks=[row("patch", "2027-05-04")])
    assert opening_rules(patched, assumptions)[0].startswith("patches open after 1 day (")
    by_strength = assumptions.having("curing", {"opening_basis.patch": "strength"})
    assert opening_rules(patched, by_strength)[0].startswith("patches open at 3,000 psi for a partial-depth patch (")


def test_weather_limits_are_those_of_the_tasks(job: Job, assumptions: Assumptions) -> None:
    assert weather_limits(job, assumptions) == [
        "placing: mean air from 40 F for full depth, air up to 90 F, concrete up to 95 F, drying under 0.2 lb/sq ft/h"]
    painted = replace(job, tasks=[row("fill", "2027-05-04"), row("stripe", "2027-05-05")])
    assert weather_limits(painted, assumptions) == ["sealing: from 40 F, dry", "paint: 40 to 95 F, dry"]


def test_marks_run_out_after_the_days_of_the_ticket(job: Job, assumptions: Assumptions) -> None:
    asked, ends = marks(job, assumptions)
    assert (asked, ends) == (pd.Timestamp("2027-04-15"), pd.Timestamp("2027-04-29"))
    assert marks(replace(job, tasks=[]), assumptions) == (None, None)
