"""The columns of the tables that say why a program is as it is: places of blocks, limits, robustness."""

from __future__ import annotations

from typing import Final

from rehab.base.tables.fields import STRATEGIES, Field, all_required, choice, number, text, year

_KEY = all_required(text("block_id", "Block"))

CHOOSING: Final[dict[str, tuple[Field, ...]]] = {
    "places": (
        *_KEY, year("year", "Year of work in the program; missing if it gets none"),
        choice("strategy", STRATEGIES, "Strategy in the program; missing if it gets none"),
        year("next_year", "Year of the open alternative that is next to it"),
        choice("next_strategy", STRATEGIES, "Strategy of that alternative"),
        number("next_usd", "usd", "Likely cost of that alternative in dollars of its year"),
        number("short", "sqyd-years or usd", "Benefit that it falls short of the block's best, at the limits' prices"),
        text("limit", "Limit that takes most of its benefit"),
        text("why", "Where nothing is open: what shuts it"),
    ),
    "limits": (
        text("limit", "Kind of limit", required=True), year("year", "Year; missing for the whole program"),
        text("detail", "What it is about", required=True), text("unit", "Unit of what is counted", required=True),
        Field("floor", "flag", "At least, not at most", required=True),
        number("most", "", "What is allowed, or demanded by a floor", None, required=True),
        number("used", "", "What the program uses or reaches; of a target, points that its works lift the mean", None,
               required=True),
        number("price", "", "Benefit of one unit more allowed or less demanded; missing by a simple rule"),
    ),
    "block_places": (
        *_KEY, year("year", "Year in the plan; missing if it gets no work"),
        choice("strategy", STRATEGIES, "Strategy in the plan; missing if it gets no work"),
        *all_required(
            number("in_program", "share", "Share of draws in which the best program holds the block", 0, 1),
            number("same_year", "share", "Share of draws in which it holds it in the plan's year", 0, 1),
            number("same_work", "share", "Share of draws in which it does the plan's work in the plan's year", 0, 1)),
    ),
}
