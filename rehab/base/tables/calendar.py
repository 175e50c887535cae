"""The columns of the season's tables: tasks, weather, days without work, what was moved and what was done."""

from __future__ import annotations

from typing import Final

from rehab.base.tables.fields import TASKS, Field, all_required, choice, number, text, whole

#: where no work is allowed: the whole city, or what the name of the row says
SCOPES: Final = ("city", "district", "street", "block")
SEASONS: Final = ("this", "next")

_KEY = all_required(text("block_id", "Block"))
_ROW = whole("row", "Row of the file it was read from", 1)
_TASK = text("task_id", "Task", required=True)

SEASON: Final[dict[str, tuple[Field, ...]]] = {
    "tasks": (
        _TASK, *_KEY, choice("task", TASKS, "Kind of task", required=True),
        text("crew", "Crew, with its number where there are several of its kind", required=True),
        Field("start", "date", "First day", required=True), Field("finish", "date", "Last day", required=True),
        number("begins_at", "share", "Share of the first working day that has passed when it is begun", 0, 1,
               required=True),
        number("ends_at", "share", "Share of the last working day that has passed when it is ended", 0, 1,
               required=True),
        Field("opens", "date", "Day the block opens after the task; missing if it need not close"),
        Field("opens_soonest", "date", "The same in warm weather, with strong concrete"),
        Field("opens_latest", "date", "The same in cold weather, with weak concrete"),
        number("days", "crew days", "Work of one crew", required=True),
        choice("season", SEASONS, "'this' season or the 'next'", required=True),
        whole("campaign", "Number of the grinder's campaign in its season; missing for other tasks", 1),
        text("cautions", "Cold, heat, drying and others, separated by '; '"),
    ),
    "normals": (
        *all_required(Field("month", "key", "Month, 1 to 12"), Field("day", "key", "Day of the month"),
                      number("tmin_f", "deg F", "Normal lowest temperature of the day", -90, 120),
                      number("tmean_f", "deg F", "Normal mean temperature of the day", -90, 130),
                      number("tmax_f", "deg F", "Normal highest temperature of the day", -90, 140)),
        number("tmean_sd_f", "deg F", "Standard deviation of the mean; missing if not given", 0, 60),
        number("tmin_sd_f", "deg F", "Standard deviation of the lowest; missing if not given", 0, 60),
        number("tmax_sd_f", "deg F", "Standard deviation of the highest; missing if not given", 0, 60),
        number("wet_share", "share", "Chance of 0.10 in of rain or more on the day; missing if not given", 0, 1),
    ),
    # 'forecast' is the table of the blocks' condition
    "weather_forecast": (
        Field("date", "date", "Day that was forecast or measured", required=True),
        number("tmin_f", "deg F", "Lowest temperature of the day", -90, 120, required=True),
        number("tmax_f", "deg F", "Highest temperature of the day", -90, 140, required=True),
        number("tmean_f", "deg F", "Mean temperature of the day; missing: midway between lowest and highest", -90, 130),
    ),
    "no_work": (
        choice("scope", SCOPES, "What the row holds for", required=True),
        text("name", "Name of the district, street or block; empty for the city"),
        Field("first_day", "date", "First day without work", required=True),
        Field("last_day", "date", "Last day without work", required=True),
        text("weekdays", "Only these days of the week, such as 'Sat Sun'; empty for every day"),
        text("reason", "Why, such as market, school term or event"), _ROW,
    ),
    "moves": (_TASK, Field("start", "date", "First day that was set by hand", required=True)),
    "actual": (
        _TASK, Field("started", "date", "Day the task was begun; missing if it was not"),
        Field("finished", "date", "Day the task was ended; missing if it goes on"), _ROW,
    ),
    "breaks": (
        _TASK, *_KEY, text("rule", "Rule that is broken, in a word or two", required=True),
        text("message", "What is broken, with dates and the source of the rule", required=True),
    ),
    "progress": (
        _TASK, *_KEY, choice("task", TASKS, "Kind of task", required=True), text("crew", "Crew", required=True),
        Field("start", "date", "First day as planned", required=True),
        Field("finish", "date", "Last day as planned", required=True),
        Field("started", "date", "Day it was begun"), Field("finished", "date", "Day it was ended"),
        choice("state", ("done", "under way", "late to start", "late to finish", "to come"), "Where it stands that day",
               required=True),
        number("late_days", "working days", "Working days later than planned; below zero if earlier", None),
    ),
    "campaigns": all_required(
        choice("season", SEASONS, "'this' season or the 'next'"), whole("campaign", "Number in its season", 1),
        Field("first_day", "date", "First day of grinding"), Field("last_day", "date", "Last day of grinding"),
        whole("blocks", "Blocks ground", 1), number("area_sqyd", "sqyd", "Area ground"),
        number("crew_days", "days", "Days of the machine"), number("travel_mi", "mi", "Way between its blocks"),
        number("wait_days", "days", "Mean calendar days from ready to ground, by block"),
    ),
    "campaign_choices": all_required(
        whole("campaigns", "Times the machine is brought", 1),
        whole("ground", "Blocks ground this season", 0), whole("missed", "Blocks carried to the next season", 0),
        number("mobilisation_usd", "usd", "Bringing the machine that often"),
        number("wait_days", "days", "Mean calendar days from ready to ground, by block"),
        number("longest_days", "days", "Longest of them"),
        Field("first_day", "date", "First day of grinding"), Field("last_day", "date", "Last day of grinding"),
        Field("chosen", "flag", "The calendar uses this one"),
    ),
    "season_blocks": (
        *_KEY, Field("ready", "date", "First day on which it may be ground; missing without repairs or grinding"),
        Field("ground", "date", "Day grinding ends; missing if it is not ground in either season"),
        choice("season", SEASONS, "Season in which it is ground; missing if in neither"),
        text("why", "Why it is not ground this season, and what it would take"),
    ),
}
