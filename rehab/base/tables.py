"""Every table that crosses a border: its columns, units, limits and meaning.

One list of :class:`Field` rows per table is the single source: the pandera schemas, the upload template and
the data dictionary are made from it.  Keys are columns, units stand in the names, shares are 0 to 1, and
missing is NA only where ``required`` is false.  Column kinds and their pandas types: text and choice ``str``,
number and whole ``float64`` (whole numbers may be missing), flag ``boolean``, date ``datetime64``,
key ``int64``.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from typing import Final, Literal

import pandas as pd
import pandera.pandas as pa

Kind = Literal["text", "number", "whole", "flag", "date", "choice", "key"]

STRATEGIES: Final = ("none", "partial_depth", "full_depth", "reconstruction")  #: from light to heavy
WORK: Final = STRATEGIES[1:]
CLASSES: Final = ("arterial", "collector", "local", "alley")
DISTRESS: Final = ("none", "low", "medium", "high")
SOURCES: Final = ("panel survey", "counts", "index", "rating", "word")  #: what a block's condition rests on
DEFECTS: Final = ("corner break", "broken panel", "linear crack", "joint spall", "corner spall", "sunken panel",
                  "hollow area", "patch", "casting")
SEVERITIES: Final = ("low", "medium", "high")
TASKS: Final = ("mark", "mill", "patch", "saw", "remove", "drill", "place", "fill", "grind", "stripe")


@dataclass(frozen=True)
class Field:
    """One column: ``low`` and ``high`` are the limits of a value that is accepted, both included."""

    name: str
    kind: Kind
    about: str
    unit: str = ""
    required: bool = False
    low: float | None = None
    high: float | None = None
    choices: tuple[str, ...] = ()


def _text(name: str, about: str, required: bool = False) -> Field:
    return Field(name, "text", about, required=required)


def _number(name: str, unit: str, about: str, low: float | None = 0.0, high: float | None = None,
            required: bool = False) -> Field:
    return Field(name, "number", about, unit, required, low, high)


def _whole(name: str, about: str, low: float = 0, high: float | None = None, required: bool = False) -> Field:
    return Field(name, "whole", about, "count", required, low, high)


def _year(name: str, about: str) -> Field:
    return Field(name, "whole", about, "year", low=1850, high=2150)


def _choice(name: str, choices: tuple[str, ...], about: str, required: bool = False) -> Field:
    return Field(name, "choice", about, required=required, choices=choices)


def _all_required(*fields: Field) -> tuple[Field, ...]:
    return tuple(replace(field, required=True) for field in fields)


_BLOCK = (
    _text("block_id", "Name of the block, unique in the table", required=True),
    _text("street", "Street the block lies on"),
    _text("from_street", "Cross street where the block begins"),
    _text("to_street", "Cross street where the block ends"),
    _number("length_ft", "ft", "Length along the centre line", 10, 10_000, required=True),
    _number("width_ft", "ft", "Width of concrete, curb face to curb face", 6, 200, required=True),
    _number("panel_length_ft", "ft", "Spacing of the transverse joints", 4, 100),
    _number("panel_width_ft", "ft", "Spacing of the longitudinal joints", 4, 30),
    _whole("panels", "Number of panels; computed from the sizes if missing", 1, 20_000),
    _number("thickness_in", "in", "Thickness of the slab", 3, 24),
    Field("dowelled", "flag", "Whether the transverse joints have dowels"),
    Field("reinforced", "flag", "Whether the panels hold steel mesh or bars"),
    _year("year_built", "Year the concrete was placed"),
    _year("last_work_year", "Year of the last structural work"),
    _choice("functional_class", CLASSES, "Class of the street"),
    _number("adt", "vehicles/day", "Average daily traffic, both directions", 0, 300_000),
    _number("truck_share", "share", "Share of trucks in the traffic", 0, 1),
    _text("district", "District or ward, for lists and fairness"),
    _number("parking_ft", "ft", "Length of curb with parking, both sides", 0, 20_000),
    Field("bus_route", "flag", "Whether buses run on the block"),
    _whole("castings", "Manholes, valves and inlets in the pavement", 0, 500),
    _year("utility_year", "Year in which a utility plans to dig here"),
    _year("no_work_until", "First year in which work is allowed"),
    Field("surveyed_on", "date", "Day of the survey"),
)
_SURVEY = (
    _whole("panels_cracked", "Panels with a crack, not in pieces", 0, 20_000),
    _whole("panels_broken", "Panels broken in pieces", 0, 20_000),
    _whole("panels_sunken", "Panels settled", 0, 20_000),
    _whole("corner_breaks", "Panels with a broken corner", 0, 20_000),
    _whole("panels_patched", "Panels patched or replaced before", 0, 20_000),
    _number("cracked_ft", "ft", "Length of cracks", 0, 200_000),
    _number("spalled_joint_ft", "ft", "Length of cracked or spalled joint that needs patching", 0, 200_000),
    _number("wide_joint_ft", "ft", "Length of joint opened wider than a quarter inch", 0, 200_000),
    _number("hollow_sqft", "sqft", "Area that sounds hollow", 0, 2_000_000),
    _number("damage_depth_in", "in", "Depth of the shallow damage", 0, 24),
    _number("faulting_in", "in", "Mean step at the transverse joints", 0, 3),
    _number("sunken_curb_ft", "ft", "Length of curb sunken or broken", 0, 20_000),
    _choice("material_distress", DISTRESS, "Durability cracking or reactive aggregate, worst seen"),
    _number("load_transfer", "share", "Load transfer across the joints, 0 to 1", 0, 1.2),
    _number("iri_in_per_mi", "in/mile", "Roughness (IRI)", 0, 1200),
    _number("condition_index", "points", "Condition index the city holds, 0 to 100", 0, 100),
    _number("rating_1_10", "points", "Visual rating, 1 failed to 10 new", 1, 10),
    _text("condition_word", "Condition in a word: good, fair, poor ..."),
)

#: the columns that say something about condition; one of them at least must be filled in every row
CONDITION: Final = ("panels_broken", "panels_cracked", "panels_sunken", "corner_breaks", "spalled_joint_ft",
                    "condition_index", "rating_1_10", "condition_word")
#: the survey columns that count panels; none may exceed the panels of the block
COUNTS: Final = ("panels_cracked", "panels_broken", "panels_sunken", "corner_breaks", "panels_patched")

_NETWORK_ADDED = _all_required(
    _number("panel_rows", "count", "Panels along the block", 1),
    _number("panel_columns", "count", "Panels across the block", 1),
    _number("area_sqft", "sqft", "Area of concrete"),
    _number("area_sqyd", "sqyd", "Area of concrete"),
    _number("transverse_joint_ft", "ft", "Length of transverse joints"),
    _number("longitudinal_joint_ft", "ft", "Length of longitudinal joints"),
    _number("curb_ft", "ft", "Length of curb, both sides"),
    _number("age_yr", "yr", "Age at the survey"),
    _whole("survey_year", "Year the condition belongs to", 1850, 2150),
    _choice("condition_source", SOURCES, "What the condition rests on"),
    Field("estimated", "flag", "Whether the needs are estimated from an index, a rating or a word"),
    _text("family", "Survival family: class and joint, as in the survival table"),
) + (_text("assumed", "Columns filled with a default, separated by '; '"),)

_NEED_FIELDS = _all_required(
    _number("full_share", "share", "Share of panels that need full depth", 0, 1),
    _number("partial_share", "share", "Share of panels that need partial depth", 0, 1),
    _number("cracked_share", "share", "Share of panels cracked, broken or corner-broken", 0, 1),
    _number("sunken_share", "share", "Share of panels settled", 0, 1),
    _number("curb_share", "share", "Share of curb sunken or broken", 0, 1),
    _number("wide_joint_share", "share", "Share of joint opened wide", 0, 1),
    _number("panels_full", "count", "Panels that need full depth; not whole in a forecast year"),
    _number("full_sqyd", "sqyd", "Area of full-depth repair"),
    _number("dowels", "count", "Dowels for the full-depth repair"),
    _number("tie_bars", "count", "Tie bars for the full-depth repair"),
    _number("saw_ft", "ft", "Full-depth saw cut"),
    _number("partial_ft", "ft", "Length of partial-depth repair along joints and cracks"),
    _number("partial_sqft", "sqft", "Area of partial-depth repair"),
    _number("partial_depth_in", "in", "Depth of partial-depth repair"),
    _number("crack_ft", "ft", "Cracks to clean and fill"),
    _number("reseal_ft", "ft", "Joints to clean and seal"),
    _number("curb_ft", "ft", "Curb to replace"),
    _number("castings", "count", "Castings to adjust in replaced panels"),
    _number("grind_sqyd", "sqyd", "Area to grind after the repair"),
    _number("distress_level", "level", "Material distress: 0 none, 1 low, 2 medium, 3 high", 0, 3),
    _number("index", "points", "Condition index, held or computed from the shares", 0, 100),
) + (
    _number("faulting_in", "in", "Mean step at the joints"),
    _number("iri_in_per_mi", "in/mile", "Roughness"),
    _number("load_transfer", "share", "Load transfer"),
)

_KEY = _all_required(_text("block_id", "Block"))
_KEY_YEAR = (*_KEY, Field("year", "key", "Year", "year", required=True))
_STRATEGY = _choice("strategy", STRATEGIES, "Strategy", required=True)

TABLES: Final[dict[str, tuple[Field, ...]]] = {
    "blocks": (*_BLOCK, *_SURVEY, _whole("row", "Row of the file the block was read from", 1)),
    "defects": (
        _text("block_id", "Block", required=True),
        _whole("panel_row", "Panel along the block, 1 at the beginning", 1, 5_000, required=True),
        _whole("panel_column", "Panel across the block, 1 at the left looking ahead", 1, 60, required=True),
        _choice("defect", DEFECTS, "What was seen", required=True),
        _choice("severity", SEVERITIES, "How bad", required=True),
        _number("x_ft", "ft", "Left end of the damage along the block, from the start of the panel", 0, 100),
        _number("y_ft", "ft", "Near edge of the damage across the block, from the left of the panel", 0, 30),
        _number("length_ft", "ft", "Size of the damage along the block", 0, 100),
        _number("width_ft", "ft", "Size of the damage across the block", 0, 30),
        _number("depth_in", "in", "Depth of the damage", 0, 24),
        _whole("row", "Row of the file the defect was read from", 1),
    ),
    "geometry": (*_KEY, Field("line", "text", "Centre line as well-known text, WGS 84", required=True)),
    "network": (*_BLOCK, *_SURVEY, *_NETWORK_ADDED),
    "needs": (*_KEY_YEAR, *_NEED_FIELDS, Field("estimated", "flag", "Estimated, not measured", required=True)),
    "repairs": (
        *_KEY,
        *_all_required(
            Field("repair_id", "key", "Number of the repair in the block"),
            _choice("kind", ("partial depth", "full depth"), "Kind of repair"),
            _number("x_ft", "ft", "Beginning along the block"),
            _number("y_ft", "ft", "Left edge across the block"),
            _number("length_ft", "ft", "Length along the block"),
            _number("width_ft", "ft", "Width across the block"),
            _number("depth_in", "in", "Depth"),
            _number("area_sqft", "sqft", "Area"),
            _number("dowels", "count", "Dowels to drill and grout"),
            _number("tie_bars", "count", "Tie bars to drill and grout"),
        ),
        _text("why", "The rule that shaped the repair"),
    ),
    "strategies": (
        *_KEY_YEAR, _STRATEGY,
        _text("reasons", "Every rule that fired: measure, value, threshold, source", required=True),
        _text("alternatives", "Strategies that are adequate, separated by '; '", required=True),
        Field("overridden", "flag", "Set by the engineer", required=True),
        Field("estimated", "flag", "Rests on estimated needs", required=True),
    ),
    "quantities": (
        *_KEY_YEAR, _STRATEGY, _text("pay_item", "Pay item", required=True),
        _number("quantity", "", "Quantity", required=True), _text("unit", "Unit of the quantity", required=True),
    ),
    "costs": (
        *_KEY_YEAR, _STRATEGY,
        *_all_required(_number("low_usd", "usd", "Low"), _number("likely_usd", "usd", "Likely"),
                       _number("high_usd", "usd", "High")),
    ),
    "forecast": (
        *_KEY_YEAR, _STRATEGY,
        *_all_required(
            _number("sound_share", "share", "Share of panels sound or soundly repaired", 0, 1),
            _number("partial_share", "share", "Share needing partial depth", 0, 1),
            _number("full_share", "share", "Share needing full depth", 0, 1),
            _number("index", "points", "Condition index", 0, 100),
        ),
    ),
    "alternatives": (
        *_KEY_YEAR, _STRATEGY,
        *_all_required(_number("cost_usd", "usd", "Likely cost in dollars of the year"),
                       _number("benefit", "sqyd-years", "Sound pavement gained", None)),
    ),
    "program": (
        *_KEY_YEAR, _STRATEGY,
        *_all_required(_number("cost_usd", "usd", "Likely cost in dollars of the year"),
                       _number("benefit", "sqyd-years", "Sound pavement gained", None)),
    ),
    "overview": (
        *_KEY,
        _text("street", "Street"), _text("from_street", "From"), _text("to_street", "To"),
        _text("district", "District"),
        _choice("functional_class", CLASSES, "Class", required=True),
        *_all_required(
            _number("area_sqyd", "sqyd", "Area of concrete"),
            _number("index", "points", "Condition index, held or computed from the shares", 0, 100),
            _number("full_share", "share", "Share of panels that need full depth", 0, 1),
            _number("partial_share", "share", "Share of panels that need partial depth", 0, 1),
            _choice("strategy", STRATEGIES, "Strategy by today's condition"),
            _text("reasons", "Every rule that fired"),
            _text("alternatives", "Strategies that are adequate"),
            Field("estimated", "flag", "Rests on an index, a rating or a word, not on counts"),
            Field("overridden", "flag", "Set by the engineer"),
            _number("low_usd", "usd", "Cost of the strategy in the first year, low"),
            _number("likely_usd", "usd", "Cost of the strategy in the first year, likely"),
            _number("high_usd", "usd", "Cost of the strategy in the first year, high"),
            _number("untreated_yr", "yr", "Years to the trigger without work"),
            _number("treated_yr", "yr", "Years to the trigger with the strategy done in the first year"),
            _number("life_extension_yr", "yr", "Years of life the strategy adds: treated less untreated"),
        ),
        _year("program_year", "Year of work in the program; missing if it gets none"),
        _choice("program_strategy", STRATEGIES, "Strategy in the program; missing if it gets none"),
        _number("program_cost_usd", "usd", "Likely cost in the program, dollars of the year"),
        _year("ground_year", "Year in which the surface is ground; missing if it is not"),
    ),
    "by_year": _all_required(
        Field("year", "key", "Year", "year"),
        _number("budget_usd", "usd", "Budget"), _number("spent_usd", "usd", "Spent by the program"),
        _number("partial_depth_usd", "usd", "Spent on partial-depth repair"),
        _number("full_depth_usd", "usd", "Spent on full-depth repair"),
        _number("reconstruction_usd", "usd", "Spent on reconstruction"),
        _number("index_without", "points", "Mean index by area going into the year, no work", 0, 100),
        _number("index_with", "points", "Mean index by area after the year's work", 0, 100),
        _number("sound_without", "share", "Share of sound area, no work", 0, 1),
        _number("sound_with", "share", "Share of sound area, with the program", 0, 1),
        _number("full_without", "share", "Share of area that needs full depth, no work", 0, 1),
        _number("full_with", "share", "Share of area that needs full depth, with the program", 0, 1),
        _number("need_usd", "usd", "Cost of every block's strategy at the start of the year, no work before"),
        _number("ground_sqyd", "sqyd", "Area ground by the program"),
    ),
    "tasks": (
        _text("task_id", "Task", required=True), *_KEY, _choice("task", TASKS, "Kind of task", required=True),
        _text("crew", "Crew", required=True),
        Field("start", "date", "First day", required=True), Field("finish", "date", "Last day", required=True),
        Field("opens", "date", "Day the block opens after the task; missing if it need not close"),
        _number("days", "working days", "Length", required=True),
        _text("season", "'this' season or the 'next'", required=True),
    ),
    "problems": (
        _choice("severity", ("stop", "warn"), "stop: not used; warn: used as said", required=True),
        _text("file", "File", required=True), _whole("row", "Row as in the spreadsheet", 1), _text("column", "Column"),
        _text("value", "Value found"), _text("message", "What is wrong", required=True),
        _text("accepted", "What would be accepted", required=True),
    ),
    "notes": (
        _text("topic", "Topic", required=True), _text("block_id", "Block"), _whole("year", "Year", 1850, 2150),
        _text("message", "Note", required=True),
    ),
}

_TYPES: Final[dict[Kind, str]] = {"text": "str", "choice": "str", "number": "float64", "whole": "float64",
                                  "flag": "boolean", "date": "datetime64[us]", "key": "int64"}


def fields(table: str) -> tuple[Field, ...]:
    """The columns of a table; :class:`KeyError` for a table that does not exist."""
    return TABLES[table]


def field(table: str, column: str) -> Field:
    """One column of a table; :class:`KeyError` if it has none of that name."""
    return {item.name: item for item in TABLES[table]}[column]


def upload_fields(table: Literal["blocks", "defects"]) -> tuple[Field, ...]:
    """The columns a user fills in: all but the row number, which reading adds."""
    return tuple(item for item in TABLES[table] if item.name != "row")


@cache
def schema(table: str) -> pa.DataFrameSchema:
    """The pandera schema of a table: types, limits, choices, no missing value in a required column."""
    return pa.DataFrameSchema({item.name: _column(item) for item in TABLES[table]}, strict="filter", name=table,
                              unique=["block_id"] if table in {"blocks", "network", "program", "overview"} else None)


def _column(item: Field) -> pa.Column:
    checks = []
    if item.low is not None:
        checks.append(pa.Check.ge(item.low))
    if item.high is not None:
        checks.append(pa.Check.le(item.high))
    if item.choices:
        checks.append(pa.Check.isin(item.choices))
    if item.kind == "whole":
        checks.append(pa.Check(lambda values: values % 1 == 0, name="whole number"))
    return pa.Column(_TYPES[item.kind], checks, nullable=not item.required, title=item.unit, description=item.about)


def check(table: str, frame: pd.DataFrame) -> pd.DataFrame:
    """The frame with just the table's columns, in their order, if it obeys the schema.

    Raises :class:`pandera.errors.SchemaErrors`: a fault of the program, since readers report bad input as
    problems before a table gets here.
    """
    checked: pd.DataFrame = schema(table).validate(frame, lazy=True)
    return checked[[item.name for item in TABLES[table]]]


def empty(table: str) -> pd.DataFrame:
    """The table without rows, with its types."""
    return pd.DataFrame({item.name: pd.Series(dtype=_TYPES[item.kind]) for item in TABLES[table]})


def with_types(table: str, frame: pd.DataFrame) -> pd.DataFrame:
    """A copy with every column of the table, missing ones empty, cast to the table's types."""
    full = frame.reindex(columns=[item.name for item in TABLES[table]])
    return full.astype({item.name: _TYPES[item.kind] for item in TABLES[table]})


def dictionary() -> pd.DataFrame:
    """The data dictionary: one row per column of every table."""
    rows = [
        {"table": table, "column": item.name, "kind": item.kind, "unit": item.unit, "required": item.required,
         "low": item.low, "high": item.high, "choices": ", ".join(item.choices), "about": item.about}
        for table, items in TABLES.items() for item in items
    ]
    return pd.DataFrame(rows)
