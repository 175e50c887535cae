"""The columns of the tables that look ahead: lives, chances, cost of waiting, calibration and back-test."""

from __future__ import annotations

from typing import Final

from rehab.base.tables.fields import CLASSES, STRATEGIES, Field, all_required, choice, number, text, whole

_KEY = all_required(text("block_id", "Block"))
_KEY_YEAR = (*_KEY, Field("year", "key", "Year", "year", required=True))
_STRATEGY = choice("strategy", STRATEGIES, "Strategy", required=True)

#: what doing the work of the rules in a later year costs, in parts, and what it takes
_DELAY: Final = (Field("delay_yr", "key", "Years of delay after the first year", "yr", required=True),)
_WAITING: Final = all_required(
    number("now_usd", "usd", "Cost of the first year's strategy in the first year"),
    number("same_usd", "usd", "More of the same repair, dollars of the first year", None),
    number("heavier_usd", "usd", "Change of strategy, dollars of the first year; below zero if to a lighter one", None),
    number("new_usd", "usd", "Work that was not due in the first year, dollars of the first year"),
    number("escalation_usd", "usd", "Prices of the year of work less those of the first year", None),
    number("total_usd", "usd", "The parts together: likely cost in dollars of the year"),
    number("panels_full", "count", "Panels that need full depth; not whole in a forecast year"),
    number("partial_sqft", "sqft", "Area of partial-depth repair"),
)
LOOKING_AHEAD: Final[dict[str, tuple[Field, ...]]] = {
    "lives": (
        *_KEY, _STRATEGY,
        *all_required(*(
            number(f"{what}_{end}yr", "yr", f"Years {words}, {part}")
            for what, words in (("untreated", "to the trigger without work"),
                                ("treated", "to the trigger with the strategy done in the first year"),
                                ("added", "of life that the strategy adds"))
            for end, part in (("low_", "10th percentile"), ("", "median"), ("high_", "90th percentile")))),
    ),
    "chances": all_required(
        Field("year", "key", "Year", "year"),
        number("budget_usd", "usd", "Budget"),
        number("planned_usd", "usd", "Planned at likely values"),
        number("mean_usd", "usd", "Mean of the draws, by what the rules decide in each"),
        number("low_usd", "usd", "10th percentile of the draws"),
        number("median_usd", "usd", "Median of the draws"),
        number("high_usd", "usd", "90th percentile of the draws"),
        number("same_usd", "usd", "Mean of the draws with the planned strategies"),
        number("over", "share", "Chance that the year's program costs more than its budget", 0, 1),
        *(number(f"index_{name}{end}", "points", f"Mean index by area {words}, {part}", 0, 100)
          for name, words in (("with", "after the year's work"), ("without", "without any work"))
          for end, part in (("_low", "10th percentile"), ("", "median"), ("_high", "90th percentile"))),
    ),
    "block_chances": (
        *_KEY_YEAR, _STRATEGY,
        *all_required(
            number("planned_usd", "usd", "Planned at likely values"),
            number("low_usd", "usd", "10th percentile of the draws"),
            number("median_usd", "usd", "Median of the draws"),
            number("high_usd", "usd", "90th percentile of the draws"),
            number("stays", "share", "Chance that the block still belongs to its strategy in its year", 0, 1),
            number("heavier", "share", "Chance that it needs a heavier one by then", 0, 1),
            number("lighter", "share", "Chance that a lighter one or none will do", 0, 1),
        ),
    ),
    "waiting": (
        *_KEY_YEAR, *_DELAY,
        choice("strategy", STRATEGIES, "Strategy that the rules decide in the year", required=True), *_WAITING,
    ),
    "waiting_network": (
        Field("year", "key", "Year of the work", "year", required=True), *_DELAY, *_WAITING,
        *all_required(*(whole(f"blocks_{name}", f"Blocks whose strategy is {name.replace('_', ' ')} in the year")
                        for name in STRATEGIES)),
    ),
    "calibration": (
        *all_required(text("key", "Row of the table survival"),
                      number("value", "", "Most likely value by the surveys; the value before where they cannot tell")),
        number("low", "", "Lower end of its 95 % interval; missing if not fitted or at an end of its range"),
        number("high", "", "Upper end of its 95 % interval; missing likewise"),
        *all_required(Field("fitted", "flag", "Told by the surveys; else held at the value before"),
                      number("default", "", "Value before the refit")),
        text("unit", "Unit of the value"),
    ),
    "calibration_fit": all_required(
        choice("functional_class", CLASSES, "Class"),
        Field("age_from_yr", "key", "Band of ages from", "yr"), Field("age_to_yr", "key", "to below", "yr"),
        number("age_yr", "yr", "Mean age of the panels of the band"),
        Field("blocks", "key", "Blocks never repaired, by their newest survey", "count"),
        number("panels", "count", "Their panels; blocks without counts speak for a part"),
        *(number(f"{when}_{name}_share", "share", f"{words} {kind} damage", 0, 1)
          for when, words in (("seen", "Panels seen with"), ("before", "By the curves before, panels with"),
                              ("after", "By the curves fitted, panels with"))
          for name, kind in (("partial", "shallow"), ("full", "deep"))),
    ),
    "residuals": all_required(
        *_KEY, Field("from_year", "key", "Older survey", "year"), Field("to_year", "key", "Newest survey", "year"),
        *(column for name, kind in (("partial", "shallow"), ("full", "deep")) for column in (
            number(f"seen_{name}_share", "share", f"Share of panels with {kind} damage in the newest survey", 0, 1),
            number(f"expected_{name}_share", "share", "The same as expected from the older survey", 0, 1),
            Field(f"{name}_inside", "flag", "Seen lies in the 80 % interval of what was expected"),
            number(f"{name}_residual", "", "Seen less expected, in standard deviations", None))),
    ),
    "set_apart": all_required(
        *_KEY, Field("from_year", "key", "Older survey", "year"), Field("to_year", "key", "Newer survey", "year"),
        text("reason", "Why the pair is not fitted: recorded work, unrecorded work"),
    ),
    "backtest": (
        *all_required(
            text("measure", "index, full_share, partial_share, or what else was forecast"),
            text("model", "survival: the forecast; no_change and straight_line: plain models"),
            text("unit", "points, share"), whole("blocks", "Blocks compared"),
            number("mean_error", "", "Mean of expected less seen, in the unit", None),
            number("mean_absolute_error", "", "Mean of its size"),
            number("root_mean_square_error", "", "Root of the mean of its square")),
        number("coverage", "share", "Blocks seen inside the 80 % interval; missing for the plain models", 0, 1),
        *all_required(whole("left_out_work", "Blocks left out for work recorded between the surveys"),
                      whole("left_out_unrecorded", "Blocks left out that got better without record"),
                      text("curves", "What the forecast stands on: refitted, default, or refitted in some folds")),
    ),
}
