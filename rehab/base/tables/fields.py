"""What a column is, and the words that columns of choices take."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final, Literal

Kind = Literal["text", "number", "whole", "flag", "date", "choice", "key"]

STRATEGIES: Final = ("none", "partial_depth", "full_depth", "reconstruction")  #: from light to heavy
WORK: Final = STRATEGIES[1:]
#: a strategy within a sentence
IN_WORDS: Final = {"none": "no work", "partial_depth": "partial-depth repair", "full_depth": "full-depth repair",
                   "reconstruction": "reconstruction"}
CLASSES: Final = ("arterial", "collector", "local", "alley")
DISTRESS: Final = ("none", "low", "medium", "high")
SOURCES: Final = ("panel survey", "counts", "index", "rating", "word")  #: what a block's condition rests on
#: what a survey may find on a panel: the concrete lists of the standard and of the federal program, in plain words
DEFECTS: Final = (
    "blow-up", "broken panel", "casting", "corner break", "corner spall", "durability cracking", "faulting",
    "hollow area", "joint seal damage", "joint spall", "lane drop-off", "lane separation", "linear crack",
    "longitudinal crack", "map cracking", "patch", "polished aggregate", "popouts", "pumping", "punchout",
    "railroad crossing", "scaling", "shrinkage crack", "small patch", "sunken panel", "transverse crack", "utility cut",
)
#: what a defect calls for, from the heaviest to none
CALLS: Final = ("full depth", "box out", "partial depth", "jack", "stabilise", "restore load transfer", "stitch",
                "fill", "reseal", "adjust", "grind", "watch")
REPAIRS: Final = ("full depth", "casting box-out", "partial depth")  #: kinds of rectangles that are cut
SEVERITIES: Final = ("low", "medium", "high")
#: kinds of tasks, in the order in which a block meets them
TASKS: Final = ("mark", "notice", "stabilise", "mill", "patch", "saw", "remove", "drill", "place", "joint", "curb",
                "retrofit", "stitch", "fill", "grind", "stripe")


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


def text(name: str, about: str, required: bool = False) -> Field:
    """A column of free text."""
    return Field(name, "text", about, required=required)


def number(name: str, unit: str, about: str, low: float | None = 0.0, high: float | None = None,
           required: bool = False) -> Field:
    """A measure in ``unit``."""
    return Field(name, "number", about, unit, required, low, high)


def whole(name: str, about: str, low: float = 0, high: float | None = None, required: bool = False) -> Field:
    """A count, or a whole number within limits."""
    return Field(name, "whole", about, "count", required, low, high)


def year(name: str, about: str) -> Field:
    """A year, or none."""
    return Field(name, "whole", about, "year", low=1850, high=2150)


def choice(name: str, choices: tuple[str, ...], about: str, required: bool = False) -> Field:
    """A column of some words."""
    return Field(name, "choice", about, required=required, choices=choices)


def all_required(*fields: Field) -> tuple[Field, ...]:
    """The same columns, none of which may be empty."""
    return tuple(replace(field, required=True) for field in fields)
