"""Visits to the bars of a calendar: cut to the days shown, put side by side where a crew has several, and in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape
from typing import Final, NamedTuple

import pandas as pd

from rehab.outputs.visits import Visit
from rehab.outputs.words import count, day, known, label

DAY_MS: Final = 24 * 3600 * 1000  #: a length on a date axis is in milliseconds
DAY: Final = pd.Timedelta(days=1)
PAPER: Final = "#fbfaf7"
INK: Final = "#1b1f22"
_MANY: Final = 3  #: so many visits of one kind on the same days share a bar


class Card(NamedTuple):
    """A bar: visits of one crew and kind on the same days, of which ``first`` to ``last``, both included, are shown."""

    kind: str
    visits: tuple[Visit, ...]
    first: pd.Timestamp
    last: pd.Timestamp

    @property
    def days(self) -> int:
        """Days that are shown."""
        return int((self.last - self.first).days) + 1


def cards(seen: Sequence[Visit], first: pd.Timestamp, last: pd.Timestamp, work_days: set[int]) -> list[Card]:
    """The bars of one crew from ``first`` to ``last``, both included.

    A bar does not begin or end on a day of the week without work (``work_days``: Monday 0), as it would where a visit
    goes on after the weekend.
    """
    groups: dict[tuple[str, pd.Timestamp, pd.Timestamp], list[Visit]] = {}
    for visit in seen:
        start, finish = max(visit.start, first), min(visit.finish, last)
        while start <= finish and start.weekday() not in work_days:
            start += DAY
        while start <= finish and finish.weekday() not in work_days:
            finish -= DAY
        if start <= finish:
            groups.setdefault((visit.kind, start, finish), []).append(visit)
    found = []
    for (kind, start, finish), group in groups.items():
        parts = [tuple(group)] if len(group) >= _MANY else [(visit,) for visit in group]
        found += [Card(kind, part, start, finish) for part in parts]
    return sorted(found, key=lambda card: (card.first, -card.days, card.visits[0].block_id))


def lanes(row: Sequence[Card]) -> list[int]:
    """The lane of each bar, so that bars that share a day lie side by side; bars in the order of their first day."""
    ends: list[pd.Timestamp] = []
    found = []
    for card in row:
        lane = next((at for at, end in enumerate(ends) if end < card.first), len(ends))
        ends[lane:lane + 1] = [card.last]
        found.append(lane)
    return found


def hover(card: Card, streets: Mapping[str, str] | None) -> str:
    """A bar in words, as HTML in which every word of a table is escaped."""
    return "<br>".join(_told(visit, streets) for visit in card.visits[:12]) + (
        f"<br>and {count(len(card.visits) - 12, 'more block')}" if len(card.visits) > 12 else "")


def street_of(block: str, streets: Mapping[str, str] | None) -> str:
    """The street of a block, or nothing."""
    name = (streets or {}).get(block)
    return str(name) if known(name) else ""


def cut(text: str, room: int) -> str:
    """A text in ``room`` characters at most, its end marked if it is cut."""
    return text if len(text) <= room else text[:max(room - 1, 1)].rstrip() + "…"


def opening(opens: pd.Timestamp | None, soonest: pd.Timestamp | None, latest: pd.Timestamp | None) -> str:
    """When a block opens, with its range where it is known; nothing if it need not close."""
    if not known(opens):
        return ""
    ends = " to ".join(day(end) for end in (soonest, latest) if known(end))
    return f"opens {day(opens)}" + (f" ({ends})" if known(soonest) and known(latest) else "")


def _told(visit: Visit, streets: Mapping[str, str] | None) -> str:
    name = " ".join(part for part in (visit.block_id, street_of(visit.block_id, streets)) if part)
    parts = [f"{name}: {', '.join(label(kind) for kind in visit.kinds)}",
             f"{visit.crew}, {day(visit.start)} to {day(visit.finish)}",
             opening(visit.opens, visit.opens_soonest, visit.opens_latest), *visit.cautions]
    return "<br>".join(escape(part) for part in parts if part)
