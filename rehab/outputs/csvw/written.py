"""The columns of tables that are written to files but never read again: they have no schema of their own."""

from __future__ import annotations

from typing import Final

from rehab.base.tables import IN_WORDS, STRATEGIES, TABLES, Field
from rehab.base.tables.fields import all_required, choice, number, text, whole, year

_BLOCK: Final = text("block_id", "Block", required=True)
_LIMIT: Final = Field("limit_row", "key", "Number of the limit", required=True)
_OFFER: Final = Field("offer", "key", "Number of the offer", required=True)
_MODELS: Final = {"survival": "by the forecast", "no_change": "if nothing changes", "straight_line": "by a straight "
                  "line through the surveys"}


def _worth(strategy: str) -> tuple[Field, ...]:
    done = f"{IN_WORDS[strategy]} now"
    return (
        number(f"{strategy}_worth_usd", "usd", f"Present worth of the life cycle with {done}, dollars of the first "
               "year", None, required=True),
        number(f"{strategy}_annual_usd", "usd", f"The same as a uniform amount a year, {done}", None, required=True),
        number(f"{strategy}_own_usd", "usd", f"Present worth of the work alone with its grindings again, {done}", None,
               required=True),
        number(f"{strategy}_user_worth_usd", "usd", f"Present worth of the delay of road users with {done}; missing "
               "where traffic is not known", None),
    )


def _told(name: str, unit: str, words: str, top: float) -> tuple[Field, ...]:
    seen = {"": "in the older survey", "_seen": "as seen in the newest", "_low": "lower end of the 80 % interval",
            "_high": "upper end of the 80 % interval"}
    expected = {model if name == "index" else f"{model}_{name}": f"expected {how}" for model, how in _MODELS.items()}
    both = {**{f"{name}{end}": said for end, said in seen.items()}, **expected}
    return tuple(number(column, unit, f"{words}, {said}", *((0.0, top) if said in seen.values() else (None, None)))
                 for column, said in both.items())


#: table -> what a row of it is, and its columns; a file need not have all of those that may be missing
WRITTEN: Final[dict[str, tuple[str, tuple[Field, ...]]]] = {
    "lifecycle": ("The worth of a block's life cycle with each strategy, done in the first year.",
                  (*(one for strategy in STRATEGIES for one in _worth(strategy)), _BLOCK)),
    "costs_by_basis": ("What a strategy costs on a block in a year, by the condition that it rests on.", (
        *TABLES["costs"], choice("basis", ("today", "program"), "Condition that the cost rests on: that of the survey, "
                                 "or that expected in the year of the program", required=True))),
    "crew_loads": ("The work of a kind of crew in the season beside the days that it has.", (
        text("crew", "Kind of crew", required=True), number("crews", "count", "Crews of this kind", required=True),
        number("crew_days", "crew days", "Work that there is", required=True),
        number("available", "crew days", "Days that the crews have", required=True),
        number("share", "share", "Work as a share of the days; missing where there are none"))),
    "answers": ("The least money that an aim takes.", (
        text("aim", "What is to be reached", required=True),
        number("usd_per_yr", "usd", "Money a year that is enough, mean of the years; missing if none is"),
        number("proven_usd_per_yr", "usd", "Money a year with which it is proven that nothing reaches the aim"),
        text("why", "Why the aim is not met, or not quite"))),
    "curve": ("What a multiple of the scenario's money buys.", (
        *all_required(number("factor", "", "Multiple of the scenario's money"),
                      number("usd_per_yr", "usd", "Money a year, mean of the years"),
                      number("spent_usd", "usd", "Spent by the program")),
        number("benefit", "sqyd-years or usd", "Benefit of the program; missing if there is none", None),
        number("upper_bound", "sqyd-years or usd", "No program with this money has more benefit", None),
        number("index", "points", "Mean index by area after the last year's work", 0, 100),
        number("blocks", "count", "Blocks of the program", required=True),
        number("next_usd", "sqyd-years or usd", "Benefit of a dollar more, in equal parts of every year", None))),
    "rules": ("The best program, or one made by a simple rule with the same money.", (
        text("scenario", "Name of the program", required=True),
        number("usd_per_yr", "usd", "Money a year, mean of the years", required=True),
        number("spent_usd", "usd", "Spent by the program", required=True),
        Field("blocks", "key", "Blocks of the program", "count", required=True),
        number("benefit", "sqyd-years or usd", "Benefit of the program", None),
        text("measure", "What benefit counts", required=True), Field("year", "key", "Last year", "year", required=True),
        number("index", "points", "Mean index by area after that year's work", 0, 100, required=True),
        number("sound_share", "share", "Share of sound area then", 0, 1, required=True),
        number("full_share", "share", "Share of area that needs full depth then", 0, 1, required=True),
        text("status", "optimal, feasible, infeasible, or rule", required=True))),
    "brief_streets": ("A block in the list of streets of the council brief.", (
        text("street", "Street"), text("from_street", "From"), text("to_street", "To"), text("district", "District"),
        year("year", "Year of work; missing where none is planned"), text("work", "Work in words"),
        number("cost_usd", "usd", "Likely cost in dollars of the year"),
        text("reason", "Why, in one sentence", required=True), _BLOCK)),
    "proof_offers": ("Work that may be chosen, as the optimiser saw it.", (
        _OFFER, Field("group", "key", "Number of the group of which one offer at most is chosen", required=True),
        number("benefit", "sqyd-years or usd", "Benefit", None, required=True),
        Field("chosen", "key", "1 if it is in the program, else 0", required=True, low=0, high=1),
        text("works", "Block, year and strategy of each work in it"))),
    "proof_uses": ("What an offer uses of a limit.", (
        _OFFER, _LIMIT, number("amount", "", "What it uses, in the unit of the limit", None, required=True))),
    "proof_limits": ("A limit of the program in the sense 'at most', as the optimiser saw it.", (
        _LIMIT, text("limit", "Kind of limit", required=True), year("year", "Year; missing for the whole program"),
        text("detail", "What it is about"), text("unit", "Unit of what is counted"),
        number("most", "", "What is allowed", None, required=True),
        number("price", "", "Benefit of one unit more; missing by a simple rule"))),
    "backtest_blocks": ("What was told of a block's newest survey beside what was seen.", (
        _BLOCK, whole("survey_year", "Year of the older survey", 1850, 2150),
        whole("survey_year_seen", "Year of the newest survey", 1850, 2150),
        *_told("index", "points", "Condition index", 100),
        *_told("full_share", "share", "Share of panels that need full depth", 1),
        *_told("partial_share", "share", "Share of panels that need partial depth", 1),
        Field("work", "flag", "Work was recorded between the surveys"),
        Field("unrecorded", "flag", "It got better without recorded work"),
        Field("counted", "flag", "Panels were counted in both surveys; only then the shares are compared"),
        text("curves", "refitted or default"))),
}

#: tables whose numbers are written as they are, with plain line ends
EXACT: Final = frozenset({"proof_offers", "proof_uses", "proof_limits"})

#: keys of the tables above
WRITTEN_KEYS: Final[dict[str, tuple[str, ...]]] = {
    "lifecycle": ("block_id",), "costs_by_basis": ("block_id", "year", "strategy", "basis"),
    "crew_loads": ("crew",), "answers": ("aim",), "curve": ("factor",),
    "rules": ("scenario",), "brief_streets": ("block_id",), "proof_offers": ("offer",),
    "proof_uses": ("offer", "limit_row"), "proof_limits": ("limit_row",), "backtest_blocks": ("block_id",),
}
