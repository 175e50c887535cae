"""The second part of a block's sheet: hold points, cautions and checklists by task, and room for what was done."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from rehab.outputs.words import label
from rehab.outputs.worklist.cautions import DECIDES, Caution, cautions_for
from rehab.outputs.worklist.job import Job
from rehab.outputs.worklist.sheet import Sheet
from rehab.outputs.worklist.steps import HOLDS, STEPS, TRAFFIC

_BESIDE: Final = (("Trees by the cuts, trunks in inches", "Roots cut, looked at by"),
                  ("Inlets protected, number", "Inlets cleaned after, initials"),
                  ("Slurry hauled to, loads", "Concrete hauled to, loads"))
_POURS: Final = (("Date", 2), ("Time", 1), ("Repairs No.", 2), ("Load ticket", 2), ("Air, F", 1), ("Conc. F", 1),
                 ("Slump, in", 1), ("Strength, psi", 2), ("Opened, day and time", 3), ("Initials", 2))


def write_checks(sheet: Sheet, job: Job, cautions: Sequence[Caution], figures: Mapping[str, str]) -> None:
    """Cautions for the whole block, hold points, each task's cautions and steps, and what is written down."""
    sheet.section("Cautions for all of the block")
    sheet.line("\n".join(_words(row) for row in cautions_for(cautions, job.strategy, figures)))
    sheet.line(DECIDES, "warning")
    _holds(sheet, job, figures)
    if not job.tasks:
        sheet.section("Checklist")
        sheet.line("No task is on the calendar, so there is nothing to tick off yet.")
    else:
        sheet.blank()
        sheet.line("Each task below: tick the box at the left, write down what is asked for, put initials at the "
                   "right.", "small")
    seen: set[str] = set()
    for kind in job.steps:
        _task(sheet, kind, cautions, figures, seen)
    _records(sheet, job)


def _holds(sheet: Sheet, job: Job, figures: Mapping[str, str]) -> None:
    kinds = job.kinds
    holds = [(hold, [kind for kind in kinds if kind in hold.before]) for hold in HOLDS
             if not hold.needs or hold.needs in kinds]
    # in the order of the work: before the first of its tasks, or after the last of them where it is traffic that waits
    due = sorted(((kinds.index(own[-1 if hold.first == TRAFFIC else 0]), hold, own) for hold, own in holds if own),
                 key=lambda one: one[0])
    rows = [(hold.first or ", ".join(map(label, own)), f"{hold.text.format_map(figures)} [{hold.source}]", hold.who,
             None, None) for _, hold, own in due]
    if rows:
        sheet.section("Hold points: stop until it is seen")
        sheet.line("Practice: common practice, no source.", "small")
        sheet.table([3, 9, 2, 2, 1], ("Before", "Until", "By", "Day, time", "Initials"), rows)


def _task(sheet: Sheet, kind: str, cautions: Sequence[Caution], figures: Mapping[str, str], seen: set[str]) -> None:
    """The cautions of a kind of task, in full where they are new, and its steps."""
    sheet.section(label(kind))
    own = cautions_for(cautions, kind, figures)
    again = [row.key.replace("_", " ") for row in own if row.key in seen]
    said = [_words(row) for row in own if row.key not in seen]
    sheet.line("\n".join([*said, *([f"- As above: {', '.join(again)}."] if again else [])]))
    seen.update(row.key for row in own)
    sheet.table([1, 9, 5, 2], (), [(None, step.text.format_map(figures), step.write, None) for step in STEPS[kind]])


def _words(caution: Caution) -> str:
    return f"- {caution.text} [{caution.source}]"


def _records(sheet: Sheet, job: Job) -> None:
    """Room for what was really done: the pours, what lies beside the work, and the sign-off."""
    if {"patch", "place", "retrofit", "curb"} & set(job.kinds):
        sheet.section("Concrete placed and opened")
        sheet.table([span for _, span in _POURS], [words for words, _ in _POURS], [(None,) * len(_POURS)] * 3,
                    tall=True)
    sheet.section("Trees, inlets and what was hauled")
    sheet.table([4, 4, 4, 5], (), [(left, None, right, None) for left, right in _BESIDE], tall=True)
    sheet.section("Finished")
    sheet.table([7, 4, 3, 3], ("Problems and changes", "Actual quantities written above: yes or no, why",
                                "Supervisor, day", "Engineer, day"), [(None,) * 4] * 2, tall=True)
