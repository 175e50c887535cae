"""What a row of each table is, in a sentence, and the columns that name it; ``columns.py`` has the rest."""

from __future__ import annotations

from typing import Final

from rehab.base.tables.fields import Field, number, text

#: table -> what a row of it is
MEANINGS: Final[dict[str, str]] = {
    "blocks": "A block of street as the city's table holds it: sizes, traffic and survey, in our units.",
    "defects": "Damage that a panel survey found, with its place on its panel.",
    "bids": "A price that was bid for an item of work.",
    "commitments": "Work that is promised for a block and a year, whatever else is chosen.",
    "priced_bids": "A bid as a price of one of the pay items, raised to dollars of one quarter.",
    "price_book": "The prices of a pay item that bids lead to, beside the defaults.",
    "geometry": "The centre line of a block, from its beginning to its end.",
    "network": "A block after checking: defaults filled in and named, joints, areas and panels computed.",
    "needs": "What the condition of a block asks for in a year, before anything is decided.",
    "findings": "A defect with what it calls for and why.",
    "repairs": "A rectangle to be cut and repaired, laid out from the panel survey.",
    "strategies": "The kind of repair that the rules give a block in a year, with the reasons.",
    "quantities": "How much of a pay item a strategy takes on a block in a year.",
    "costs": "What a strategy costs on a block in a year: low, likely and high.",
    "forecast": "The condition of a block in a year to come, after a strategy or none.",
    "alternatives": "Work that may be chosen for a block in a year, with its cost and benefit.",
    "program": "Work that was chosen: the block, its year, its cost and what may follow.",
    "payments": "What a fund pays for a block in a year.",
    "overview": "A block on one line: condition, strategy, cost, life and place in the program.",
    "by_year": "A year of the program: money, condition with and without the program, grinding.",
    "lives": "How long a block lasts with and without a strategy, with the spread of the forecast.",
    "chances": "A year of the program over many draws of what is uncertain.",
    "block_chances": "A block of the program over many draws of what is uncertain.",
    "waiting": "What the work of a block costs if it is done some years later, in parts.",
    "waiting_network": "What all the work costs if it is done some years later, in parts.",
    "calibration": "A value of the survival curves, fitted to surveys of the city.",
    "calibration_fit": "Damage seen in a band of ages beside the curves before and after the fit.",
    "residuals": "Damage of a block in the newest survey beside what was expected from an older one.",
    "set_apart": "A pair of surveys of a block that is not fitted, and why.",
    "backtest": "How far a model was off when it told the newest survey from the older ones.",
    "places": "Why a block has its place in the program, and what stands next to it.",
    "limits": "A limit of the program: what is allowed, what is used, what one unit more would bring.",
    "block_places": "How often a block is in the best program when what is uncertain is drawn anew.",
    "tasks": "A task of the season: one kind of work by one crew on one block, with its days.",
    "normals": "The normal temperatures and rain of a day of the year.",
    "weather_forecast": "The weather of a day, forecast or measured.",
    "no_work": "Days on which no work is allowed, in the city, a district, a street or a block.",
    "moves": "The first day of a task, set by hand.",
    "actual": "The days on which a task was begun and ended in fact.",
    "breaks": "A rule that a calendar changed by hand breaks.",
    "progress": "A task as planned beside what was done.",
    "campaigns": "One stay of the grinder in the city.",
    "campaign_choices": "How many stays of the grinder there could be, and what each number costs and spoils.",
    "season_blocks": "When a block is ready for grinding and when it is ground, or why it is not.",
    "orders": "What is to be ordered for a week of the season.",
    "measured": "A quantity that a crew wrote into its work list.",
    "measured_repairs": "A repair as a crew measured it.",
    "overruns": "A measured quantity beside the planned one, in dollars.",
    "repair_changes": "A measured repair beside the planned one.",
    "problems": "Something in a file that was not used, or used otherwise than it stands there.",
    "notes": "Something to know about a plan.",
}

_YEARLY: Final = ("block_id", "year")
#: table -> the columns that name a row; a table that is not here has no key
KEYS: Final[dict[str, tuple[str, ...]]] = {
    **dict.fromkeys(("blocks", "geometry", "network", "program", "overview", "block_chances", "places", "block_places",
                     "season_blocks"), ("block_id",)),
    **dict.fromkeys(("needs", "strategies", "waiting"), _YEARLY),
    **dict.fromkeys(("costs", "forecast"), (*_YEARLY, "strategy")),
    **dict.fromkeys(("tasks", "moves", "actual", "progress"), ("task_id",)),
    **dict.fromkeys(("by_year", "chances", "waiting_network"), ("year",)),
    **dict.fromkeys(("measured_repairs", "repair_changes"), (*_YEARLY, "repair_id")),
    **dict.fromkeys(("measured", "overruns"), (*_YEARLY, "pay_item")),
    **dict.fromkeys(("residuals", "set_apart"), ("block_id", "from_year", "to_year")),
    "price_book": ("pay_item",), "findings": ("block_id", "defect_id"), "repairs": ("block_id", "repair_id"),
    "quantities": (*_YEARLY, "strategy", "pay_item"), "payments": (*_YEARLY, "fund"),
    "lives": ("block_id", "strategy"), "calibration": ("key",), "calibration_fit": ("functional_class", "age_from_yr"),
    "backtest": ("measure", "model"), "normals": ("month", "day"), "weather_forecast": ("date",),
    "campaigns": ("season", "campaign"), "campaign_choices": ("campaigns",),
}

#: text columns that may not be missing but may hold nothing: no alternative, no remark
MAY_BE_BLANK: Final = frozenset({"alternatives", "assumed", "cause", "companions", "detail", "note", "reasons",
                                 "reason", "repair_ids", "unit", "why", "works", "status", "from", "family"})

#: columns that files add to a table
ADDED: Final[dict[str, Field]] = {one.name: one for one in (
    Field("estimated", "flag", "Rests on an index, a rating or a word, not on counts", required=True),
    number("scaled", "", "Length of the block's line as a share of the block's length: places along it were stretched "
           "by so much", required=True),
    text("paid_by", "Funds that pay the block, with their dollars if there are several"),
    number("life_extension_yr", "yr", "Years of life the strategy adds: treated less untreated"),
    number("cost_usd", "usd", "Likely cost of the strategy in the first year"),
)}
