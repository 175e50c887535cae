"""Pictures of a season, from an invented table of tasks."""

from __future__ import annotations

import json
import tomllib
from datetime import date
from html import unescape
from itertools import combinations
from pathlib import Path

import numpy as np
import pandas as pd
import plotly.graph_objects as go
import pytest

from rehab.base.tables import TASKS, with_types
from rehab.outputs import charts, maps, palette, weekmap
from rehab.outputs.visits import closures, openings, visits
from rehab.outputs.words import LABELS, label

DAY_MS = 86_400_000
MS = pd.Timedelta(milliseconds=1)
ROOT = Path(__file__).parents[2]
PANELS = ("saw", "remove", "drill", "place", "joint")


def row(block: str, task: str, crew: str, start: str, finish: str, opens: str | None = None, **more: object) -> dict[str, object]:
    return {"task_id": f"{block}/{task}", "block_id": block, "task": task, "crew": crew, "start": start, "finish": finish,
            "opens": opens, "days": 1.0, "season": "this", **more}


def table(*rows: dict[str, object]) -> pd.DataFrame:
    return with_types("tasks", pd.DataFrame(rows))


def small() -> pd.DataFrame:
    """Two blocks over a turn of the year, where the last week of 2026 is the first days of 2027 as well."""
    opening = {"opens_soonest": "2027-01-03", "opens_latest": "2027-01-09"}
    return table(
        row("A1", "mark", "Marking crew", "2026-12-21", "2026-12-21"),
        row("A1", "mill", "Patching crew 1", "2026-12-28", "2026-12-29", "2026-12-30"),
        row("A1", "patch", "Patching crew 1", "2026-12-28", "2026-12-29", "2026-12-30", cautions="Cold: cover it"),
        *(row("A2", task, "Concrete crew 2", "2026-12-30", "2027-01-01", "2027-01-06", **opening) for task in PANELS),
        row("A2", "curb", "Concrete crew 2", "2027-01-01", "2027-01-04"),
        row("A1", "grind", "Grinder", "2027-01-27", "2027-01-27", campaign=1),
        row("A2", "grind", "Grinder", "2027-03-01", "2027-03-01", season="next", campaign=1),
    )


def season(seed: int, blocks: int = 40) -> pd.DataFrame:
    """An invented season: a visit or two per block by crews that may work on several blocks a day."""
    draw = np.random.default_rng(seed)
    rows = []
    for block in range(blocks):
        name, at = f"B{block:03d}", pd.Timestamp("2027-04-19") + pd.Timedelta(days=int(draw.integers(0, 150)))
        rows.append(row(name, "mark", "Marking crew", str(at.date()), str(at.date())))
        at += pd.Timedelta(days=7)
        end = at + pd.Timedelta(days=int(draw.integers(0, 9)))
        opens = str((end + pd.Timedelta(days=int(draw.integers(1, 8)))).date())
        train, crew = (("mill", "patch"), "Patching crew") if draw.random() < 0.5 else (PANELS, "Concrete crew")
        crew = f"{crew} {draw.integers(1, 12)}"
        rows += [row(name, task, crew, str(at.date()), str(end.date()), opens) for task in train]
        ground = str((end + pd.Timedelta(days=28 + int(draw.integers(0, 20)))).date())
        rows.append(row(name, "grind", "Grinder", ground, ground))
    return table(*rows)


def named(figure: go.Figure, name: str) -> list[go.Bar]:
    return [trace for trace in figure.data if trace.name == name]


def bars(figure: go.Figure) -> list[tuple[str, pd.Timestamp, pd.Timestamp, float, float, str]]:
    """Axis, begin, end, top, foot and colour of every bar that is seen and bears colour."""
    found = []
    for trace in figure.data:
        if trace.type != "bar" or trace.marker.color not in {colour for colour, _ in palette.TASK.values()}:
            continue
        width = np.broadcast_to(trace.width, len(trace.y))
        found += [(str(trace.yaxis), pd.Timestamp(base), pd.Timestamp(base) + long * MS, y - high / 2, y + high / 2, "")
                  for base, long, y, high in zip(trace.base, trace.x, trace.y, width, strict=True)]
    return found


def overlaps(figure: go.Figure) -> int:
    return sum(one[0] == other[0] and one[1] < other[2] and other[1] < one[2]
               and one[3] < other[4] - 1e-6 and other[3] < one[4] - 1e-6 for one, other in combinations(bars(figure), 2))


def test_every_kind_of_task_has_words_colour_hatch_and_dash() -> None:
    assert set(palette.TASK) == set(palette.WEEK) == set(TASKS) and set(TASKS) <= set(LABELS)
    assert len(set(palette.TASK.values())) == len(TASKS) == len({label(kind) for kind in TASKS})
    strokes = [*palette.WEEK.values(), palette.CURING, palette.THIN]
    assert len({(stroke.colour, stroke.dash) for stroke in strokes}) == len(strokes)
    # The works that fill a calendar differ where there is no colour.
    seen = ("patch", "place", "curb", "fill", "grind", "stripe", "mark", "notice")
    assert len({palette.TASK[kind][1] for kind in seen}) == len(seen)


def test_colours_of_tasks_can_be_seen_on_both_backgrounds() -> None:
    # WCAG 2.2, success criterion 1.4.11: 3 to 1; definition of relative luminance there
    def luminance(colour: str) -> float:
        parts = np.array([int(colour[at:at + 2], 16) for at in (1, 3, 5)]) / 255
        return float(np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4) @ [0.2126, 0.7152, 0.0722])

    theme = tomllib.loads((ROOT / ".streamlit" / "config.toml").read_text(encoding="utf-8"))["theme"]
    strokes = [*palette.WEEK.values(), palette.CURING, palette.THIN]
    for name in ("light", "dark"):
        ground = luminance(theme[name]["backgroundColor"])
        for colour in {stroke.colour for stroke in strokes}:
            dim, bright = sorted((ground, luminance(colour)))
            assert (bright + 0.05) / (dim + 0.05) >= 3.0, (colour, name)


def test_a_train_is_one_visit_named_after_its_main_work() -> None:
    seen = {(visit.block_id, visit.kind): visit for visit in visits(small())}
    assert sorted(seen) == [("A1", "grind"), ("A1", "mark"), ("A1", "patch"), ("A2", "grind"), ("A2", "place")]
    assert seen["A1", "patch"].task_ids == ("A1/mill", "A1/patch")
    panels = seen["A2", "place"]  # the curb of the same crew shares a day with it
    assert panels.kinds == (*PANELS, "curb") and panels.finish == pd.Timestamp("2027-01-04")
    assert [visit.kinds for visit in visits(small(), by_train=True) if visit.crew == "Concrete crew 2"] == [PANELS, ("curb",)]
    assert {task for visit in visits(small()) for task in visit.task_ids} == set(small()["task_id"])


def test_a_block_is_closed_from_its_first_cut_to_the_day_before_it_opens() -> None:
    tasks = table(
        row("A", "saw", "Sawing crew", "2027-05-03", "2027-05-03"),  # another crew, days before
        *(row("A", task, "Concrete crew", "2027-05-06", "2027-05-07", opens)
          for task, opens in (("remove", None), ("place", "2027-05-12"), ("joint", None))),
        row("A", "patch", "Patching crew", "2027-05-11", "2027-05-11", "2027-05-13"),
        row("A", "saw", "Sawing crew", "2027-06-01", "2027-06-01", task_id="A/saw 2"),  # the other half of the street
        row("A", "place", "Concrete crew", "2027-06-02", "2027-06-02", "2027-06-05", task_id="A/place 2"),
        row("A", "fill", "Sealing crew", "2027-07-01", "2027-07-01"),
    )
    shut = {str(on.date()) for on in pd.date_range("2027-04-25", "2027-07-10") if weekmap.closed_on(tasks, on.date()) == ["A"]}
    by_hand = {f"2027-05-{on:02d}" for on in range(3, 13)} | {f"2027-06-{on:02d}" for on in range(1, 5)}
    assert shut == by_hand
    # It does not open on the twelfth, since the patch holds it to the thirteenth.
    assert [str(one.opens.date()) for one in openings(tasks)] == ["2027-05-13", "2027-06-05"]
    assert [str(one.first_day.date()) for one in closures(tasks)] == ["2027-05-03", "2027-05-11", "2027-06-01"]


def test_the_week_over_the_turn_of_the_year_bears_the_date_of_its_monday() -> None:
    # ISO 8601: week 53 of 2026 begins on Monday 28 December and ends on Sunday 3 January 2027
    monday = date.fromisocalendar(2026, 53, 1)
    for day_of_week in (monday, date(2026, 12, 31), date(2027, 1, 3)):
        figure = charts.crew_weeks(small(), day_of_week, 2)
        assert figure.layout.title.text == "Crews by week, 2 weeks from Mon 28 Dec 2026"
        assert [note.text for note in figure.layout.annotations] == ["Week of<br><b>Mon 28 Dec 2026</b>",
                                                                    "Week of<br><b>Mon 04 Jan 2027</b>"]
        assert list(figure.layout.xaxis.ticktext) == ["Mon 28 Dec", "Tue 29 Dec", "Wed 30 Dec", "Thu 31 Dec", "Fri 1 Jan",
                                                      "Sat 2 Jan", "Sun 3 Jan"]
        assert figure.layout.xaxis2.ticktext[0] == "Mon 4 Jan"
        ends = [pd.Timestamp(end) for end in figure.layout.xaxis.range]
        assert (ends[0].date(), (ends[1] - ends[0]).days) == (monday, 7)
    assert charts.describe_weeks(small(), monday, 2) == (
        "2 weeks from Mon 28 Dec 2026: Patching crew 1 1 block, Concrete crew 2 1 block; 2 blocks open to traffic.")


def test_a_visit_over_a_weekend_is_drawn_in_both_weeks_and_not_on_the_weekend() -> None:
    figure = charts.crew_weeks(small(), date(2026, 12, 28), 2, {"A1": "Alder St", "A2": "<b>"})
    spans = sorted((one, two) for axis, one, two, *_ in bars(figure) if one > pd.Timestamp("2026-12-30"))
    assert [(one.round("D").date(), two.round("D").date()) for one, two in spans] == [
        (date(2026, 12, 30), date(2027, 1, 2)), (date(2027, 1, 4), date(2027, 1, 5))]  # Wednesday to Friday, Monday
    words = [text for trace in figure.data if trace.type == "bar" and trace.text is not None for text in trace.text]
    assert words == ["<b>A1</b> Place patches", "Alder St", "<b>A2</b> Place concrete", "&lt;b&gt;",
                     "<b>A2</b> Place concrete", "&lt;b&gt;, cont."]
    hover = named(figure, "Place concrete")[0].customdata[0]
    assert "<b>" not in hover and "Saw joints, Replace curb" in hover
    assert "opens Wed 06 Jan 2027 (Sun 03 Jan 2027 to Sat 09 Jan 2027)" in hover
    assert "Cold: cover it" in named(figure, "Place patches")[0].customdata[0]


def test_openings_are_marked_on_their_day_and_weekends_are_shaded() -> None:
    figure = charts.crew_weeks(small(), date(2026, 12, 28), 2)
    marks = [(trace.marker.symbol, pd.Timestamp(x).date(), text) for trace in named(figure, "Opens to traffic")
             for x, text in zip(trace.x, trace.text, strict=True)]
    assert marks == [("triangle-up", date(2026, 12, 30), "A1"), ("triangle-up", date(2027, 1, 6), "A2")]
    shaded = [(pd.Timestamp(shape.x0).date(), pd.Timestamp(shape.x1).date()) for shape in figure.layout.shapes
              if shape.type == "rect"]
    assert shaded == [(date(2027, 1, 2), date(2027, 1, 4)), (date(2027, 1, 9), date(2027, 1, 11))]
    assert list(figure.layout.yaxis.ticktext) == ["Patching crew 1", "Concrete crew 2", "Opens to traffic"]


@pytest.mark.parametrize("seed", range(5))
def test_no_bar_lies_over_another_and_every_visit_is_there(seed: int) -> None:
    tasks = season(seed)
    whole = charts.season_chart(tasks)
    assert overlaps(whole) == 0
    told = "".join(text for trace in whole.data for text in trace.customdata)
    assert all(f"{block}:" in told for block in tasks["block_id"])
    first = date(2027, 4, 19)
    for week in range(0, 24, 4):
        monday = pd.Timestamp(first) + pd.Timedelta(weeks=week)
        figure = charts.crew_weeks(tasks, monday.date(), 4)
        assert overlaps(figure) == 0
        words = " ".join(text for trace in figure.data if trace.type == "bar" and trace.text is not None for text in trace.text)
        here = tasks[(tasks["start"] < monday + pd.Timedelta(weeks=4)) & (tasks["finish"] >= monday)]
        assert all(block in words for block in here["block_id"])


def test_crews_are_in_the_order_of_work_and_number() -> None:
    crews = [f"Concrete crew {number}" for number in (10, 2, 1)]
    tasks = table(*(row(f"B{at}", "place", crew, "2027-05-03", "2027-05-04") for at, crew in enumerate(crews)),
                  row("B9", "patch", "Patching crew", "2027-05-05", "2027-05-05"))
    names = charts.crew_weeks(tasks, date(2027, 5, 3), 1).layout.yaxis.ticktext
    assert list(names) == ["Patching crew", "Concrete crew 1", "Concrete crew 2", "Concrete crew 10", "Opens to traffic"]


def test_many_blocks_of_one_work_on_a_day_are_a_list() -> None:
    tasks = table(*(row(f"B{at:02d}", "mark", "Marking crew", "2027-05-03", "2027-05-03") for at in range(14)))
    figure = charts.crew_weeks(tasks, date(2027, 5, 3), 1)
    texts = [text for trace in figure.data if trace.text is not None for text in trace.text]
    assert texts[0] == "<b>14 blocks</b>" and " ".join(texts[2:]) == ", ".join(f"B{at:02d}" for at in range(14))
    assert len(bars(figure)) == 1 and "and 2 more blocks" in named(figure, "Mark and sound")[-1].customdata[0]


def test_season_chart_sets_the_next_season_apart(tasks: pd.DataFrame) -> None:
    figure = charts.season_chart(tasks)
    patch, = named(figure, "Place patches")
    assert (pd.Timestamp(patch.base[0]), patch.x[0]) == (pd.Timestamp("2027-05-14"), 4 * DAY_MS)
    assert figure.layout.yaxis.ticktext[1] == "Patching crew" and patch.y[0] == pytest.approx(figure.layout.yaxis.tickvals[1])
    (grind,), (saw,) = named(figure, "Grind surface"), named(figure, "Saw full depth")
    assert grind.xaxis != saw.xaxis
    assert sum(trace.showlegend for trace in figure.data) == len({trace.name for trace in figure.data})
    text = charts.describe_season(tasks)
    assert "7 tasks on 2 blocks by 4 crews from Tue 20 Apr 2027 to Mon 17 May 2027" in text
    assert "1 task on 1 block in the next season" in text


def test_timeline_shows_curing_its_range_and_the_wait_for_grinding() -> None:
    figure = charts.block_timeline(small(), "A2")
    assert list(figure.layout.yaxis.categoryarray)[:2] == ["Saw full depth<br><i>Concrete crew 2</i>",
                                                           "Remove concrete<br><i>Concrete crew 2</i>"]
    cures, = named(figure, "Concrete gains strength, closed")
    assert (pd.Timestamp(cures.base[0]), cures.x[0]) == (pd.Timestamp("2027-01-02"), 4 * DAY_MS)
    assert list(cures.y) == ["Place concrete<br><i>Concrete crew 2</i>"]
    ends, = named(figure, "Soonest to latest")
    assert [pd.Timestamp(end).date() for end in ends.x] == [date(2027, 1, 3), date(2027, 1, 9)]
    opens, = named(figure, "Opens to traffic")
    assert [pd.Timestamp(x).date() for x in opens.x] == [date(2027, 1, 6)] and opens.marker.symbol == "diamond"
    wait, = named(figure, "Waits")
    assert [pd.Timestamp(x).date() for x in wait.x] == [date(2027, 1, 2), date(2027, 3, 1)] and wait.line.dash == "dot"
    assert "59 days after the last concrete" in {note.text for note in figure.layout.annotations}  # 30 of January, 28, 1
    assert charts.describe_timeline(small(), "A1") == (
        "Block A1: mark and sound Mon 21 Dec 2026, place patches Mon 28 Dec 2026 to Tue 29 Dec 2026, opens Wed 30 Dec 2026, "
        "grind surface Wed 27 Jan 2027; mill patches 7 days after marking and notice; grind surface 29 days after the last "
        "concrete.")
    assert "no task" in charts.describe_timeline(small(), "X") and not charts.block_timeline(small(), "X").data


def choices() -> pd.DataFrame:
    return with_types("campaign_choices", pd.DataFrame([
        {"campaigns": number, "ground": 20 - missed, "missed": missed, "mobilisation_usd": 9000.0 * number, "wait_days": wait,
         "longest_days": 90.0, "first_day": "2027-07-01", "last_day": "2027-10-20", "chosen": number == 2}
        for number, missed, wait in ((3, 1, 33.0), (1, 6, 70.5), (2, 1, 41.0))]))


def test_campaign_chart_marks_the_choice_and_says_what_is_missed() -> None:
    figure = charts.campaign_chart(choices())
    used, = named(figure, "In the calendar")
    others, = named(figure, "Other choices")
    assert (list(used.x), list(used.y), used.text[0]) == ([41], [18_000], "2 campaigns<br>1 block missed")
    assert list(others.text) == ["1 campaign<br>6 blocks missed", "3 campaigns<br>1 block missed"]
    assert used.marker.symbol != others.marker.symbol
    assert max(figure.layout.xaxis.range) > 70.5 and max(figure.layout.yaxis.range) > 27_000
    assert charts.describe_campaigns(choices()).startswith(
        "Bringing the grinder: 1 campaign: $9,000, mean wait 70 days, 6 blocks missed; 2 campaigns (in the calendar): $18,000")
    assert not charts.campaign_chart(choices().iloc[:0]).data and "no grinding" in charts.describe_campaigns(choices().iloc[:0])


def progress() -> pd.DataFrame:
    rows = [("A", "2027-05-03", "2027-05-05", "2027-05-04", "2027-05-07", "done", 2.0),
            ("B", "2027-05-06", "2027-05-13", "2027-05-06", None, "under way", None),
            ("C", "2027-05-04", "2027-05-06", None, None, "late to start", 4.0),
            ("D", "2027-05-20", "2027-05-21", None, None, "to come", None),
            ("<D>", "2027-05-03", "2027-05-04", "2027-05-03", None, "late to finish", 4.0)]
    return with_types("progress", pd.DataFrame([
        {"task_id": f"{block}/patch", "block_id": block, "task": "patch", "crew": "Patching crew", "start": start,
         "finish": finish, "started": started, "finished": finished, "state": state, "late_days": late}
        for block, start, finish, started, finished, state, late in rows]))


def test_progress_sets_actual_in_the_plan_with_a_line_at_today() -> None:
    today = date(2027, 5, 10)
    figure = charts.progress_chart(progress(), today)
    plan, = named(figure, "Plan")
    assert dict(zip(plan.y, plan.x, strict=True))["A: Place patches, Patching crew"] == 3 * DAY_MS
    done, = named(figure, "Done")
    assert (pd.Timestamp(done.base[0]).date(), done.x[0]) == (date(2027, 5, 4), 4 * DAY_MS)
    goes_on, = named(figure, "Under way")
    assert goes_on.x[0] == 5 * DAY_MS and goes_on.width < plan.width  # the sixth to today
    late = named(figure, "Late to start")
    assert [trace.type for trace in late] == ["scatter"] and "To come" not in {trace.name for trace in figure.data}
    assert pd.Timestamp(figure.layout.shapes[0].x0).date() == today and "Mon 10 May 2027" in figure.layout.annotations[0].text
    assert len({(trace.marker.color, trace.marker.pattern.shape) for trace in figure.data if trace.type == "bar"}) == 4
    assert not any("<D>" in name for name in plan.y)
    assert charts.describe_progress(progress(), today) == (
        "Of 5 tasks on Mon 10 May 2027: done 1, under way 1, late to finish 1, late to start 1, to come 1; latest is place "
        "patches on block <D>, 4 working days behind.")


def test_progress_of_a_city_shows_what_presses_and_says_so() -> None:
    far = pd.concat([progress()] + [progress().iloc[3:4].assign(task_id=f"E{at}/patch", block_id=f"E{at}")
                                    for at in range(80)], ignore_index=True)
    figure = charts.progress_chart(far, date(2027, 5, 10))
    plan, = named(figure, "Plan")
    assert len(plan.y) == 60 and "60 of 85 tasks" in figure.layout.title.text
    assert {"A: Place patches, Patching crew", "C: Place patches, Patching crew"} <= set(plan.y)


def test_nothing_to_draw_is_said() -> None:
    none = small().iloc[:0]
    for figure in (charts.season_chart(none), charts.crew_weeks(none, date(2027, 5, 3)), charts.block_timeline(none, "A"),
                   charts.crew_weeks(small(), date(2027, 8, 2)), charts.campaign_chart(choices().iloc[:0]),
                   charts.progress_chart(progress().iloc[:0], date(2027, 5, 3))):
        assert not figure.data and figure.layout.annotations[0].text.endswith(".")
    assert charts.describe_season(none) == "No task is on the calendar."
    assert charts.describe_weeks(none, date(2027, 5, 3), 1) == "1 week from Mon 03 May 2027: no crew works."
    assert charts.describe_progress(progress().iloc[:0], date(2027, 5, 3)) == "No task has been planned."


def lines() -> dict[str, dict[str, object]]:
    return {name: {"type": "LineString", "coordinates": [[-89.5, 43.1], [-89.49, 43.1 + at / 100]]}
            for at, name in enumerate(("A1", "A2", "A3", "A4"))}


def test_week_on_the_map_tells_work_closure_and_the_rest() -> None:
    monday = date(2027, 1, 4)  # the curb of A2 goes on, its concrete cures until the sixth; A1 is open
    drawn = weekmap.week_layer(small(), lines(), monday, {"A1": "<i>Alder</i>"})
    by_block = {feature["properties"]["id"]: feature["properties"] for feature in drawn["features"]}
    assert set(by_block) == set(lines()) and drawn["features"][-1]["properties"]["id"] == "A2", "work lies on top"
    assert by_block["A2"]["style"]["color"] == palette.WEEK["place"].colour
    assert by_block["A1"]["style"]["weight"] == palette.THIN.width
    assert by_block["A2"]["tip"].split("<br>")[1:] == [
        "Saw full depth, Remove concrete, Drill and set dowels, Place concrete, Saw joints, Replace curb: Wed 30 Dec 2026 to "
        "Mon 04 Jan 2027, Concrete crew 2", "Closed from Wed 30 Dec 2026, opens Wed 06 Jan 2027"]
    assert unescape(by_block["A1"]["tip"]) == "<i>Alder</i> (A1)<br>No work this week, open to traffic"
    assert "<i>" not in by_block["A1"]["tip"]
    legend = [line.label for line in weekmap.week_legend(small(), monday)]
    assert legend == ["Place concrete", "No work this week"]
    assert "Place concrete</span>" in weekmap.week_legend_html(small(), monday)
    assert weekmap.describe_week(small(), monday) == (
        "Week of Mon 04 Jan 2027: work on 1 block (place concrete 1); 1 block closed on one day or more.")


def test_a_closed_block_without_work_has_a_line_of_its_own() -> None:
    tasks = table(row("A1", "place", "Concrete crew", "2027-05-06", "2027-05-07", "2027-05-14"))
    drawn = weekmap.week_layer(tasks, lines(), date(2027, 5, 12))
    first = next(feature["properties"] for feature in drawn["features"] if feature["properties"]["id"] == "A1")
    assert first["style"]["dashArray"] == palette.CURING.dash and "opens Fri 14 May 2027" in first["tip"]
    assert [line.label for line in weekmap.week_legend(tasks, date(2027, 5, 12))][0] == "Closed, concrete gains strength"
    assert weekmap.closed_on(tasks, date(2027, 5, 13)) == ["A1"] and not weekmap.closed_on(tasks, date(2027, 5, 14))
    html = str(maps.draw(drawn).get_root().render())
    given = json.loads(html.split("const given = ", 1)[1].split(";\n", 1)[0])
    assert len(given["rows"]) == 4 and len(given["styles"]) == 2


def test_inputs_are_left_alone() -> None:
    tasks, held, seen = small(), choices(), progress()
    charts.crew_weeks(tasks, date(2026, 12, 28)), charts.season_chart(tasks), charts.block_timeline(tasks, "A2")
    charts.campaign_chart(held), charts.progress_chart(seen, date(2027, 5, 10)), weekmap.week_layer(tasks, lines(), date(2027, 1, 4))
    for now, before in ((tasks, small()), (held, choices()), (seen, progress())):
        pd.testing.assert_frame_equal(now, before)
