"""The list of streets, by name as a resident looks for it: when, what, for how much, and why in one sentence."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any, Final, NamedTuple

import pandas as pd

from rehab.outputs.brief.lines import lines, measured, one_line
from rehab.outputs.brief.marks import ACCENT, GREY, INK, Line, Words
from rehab.outputs.brief.pages import SIDE, Pages
from rehab.outputs.words import known, label, money

_SIZE, _STREET = 9.0, 11.0
_ROW, _WHY = 12.5, 11.6
_NO_STREET: Final = "Street not given"
_GOES_ON: Final = " (goes on)"
_COLUMNS: Final = (("From, to", 0.0, 0.42), ("District", 0.42, 0.17), ("Year", 0.59, 0.07), ("Work", 0.66, 0.22),
                   ("Cost", 0.88, 0.12))


class Block(NamedTuple):
    """One block as it is listed; year, work and cost are empty where no work is planned."""

    street: str
    ends: str
    district: str
    year: str
    work: str
    cost: str
    reason: str


def listed(streets: pd.DataFrame, with_work: bool) -> list[Block]:
    """The blocks with or without planned work, by the street's name and then along it, numbers by their size."""
    rows = streets[streets["year"].notna() == with_work]
    blocks = [_block(row) for row in rows.to_dict("records")]
    return sorted(blocks, key=lambda block: (block.street == _NO_STREET, natural(block.street), natural(block.ends)))


def natural(text: str) -> list[tuple[int, int, str]]:
    """A key that sorts '2nd Ave' before '10th Ave', and capitals with small letters."""
    return [(0, int(part), "") if part.isdecimal() else (1, 0, part.casefold())
            for part in re.split(r"(\d+)", text) if part]


def draw(pages: Pages, streets: pd.DataFrame, note: str) -> None:
    """Put the whole list on the pages."""
    pages.begin()
    pages.target("streets", "Street by street")
    pages.text("Street by street: the year, the work and the reason", 22, bold=True, gap=8)
    if note:
        pages.text(note, 10.5, gap=8)
    for with_work, title, empty in ((True, "Streets with planned work", "No work is planned."),
                                    (False, "Streets without planned work", "Every block has planned work.")):
        blocks = listed(streets, with_work)
        if pages.left < 110:
            pages.begin()
        pages.target(f"streets {with_work}", title, 1)
        pages.text(f"{title} ({len(blocks):,} {'block' if len(blocks) == 1 else 'blocks'})", 14, bold=True,
                   colour=ACCENT, gap=4)
        if not blocks:
            pages.text(empty, 10.5, gap=14)
        elif with_work:
            _with_work(pages, blocks)
        else:
            _without_work(pages, blocks)


def _block(row: dict[Any, Any]) -> Block:
    street = str(row["street"]) if known(row["street"]) else _NO_STREET
    parts = [f"{word} {row[column]}" for word, column in (("from", "from_street"), ("to", "to_street"))
             if known(row[column])]
    ends = " ".join(parts) or f"block {row['block_id']}"
    return Block(street, ends, str(row["district"]) if known(row["district"]) else "",
                 f"{row['year']:.0f}" if known(row["year"]) else "",
                 _capital(label(str(row["work"]))) if known(row["work"]) else "",
                 money(row["cost_usd"]) if known(row["cost_usd"]) else "",
                 str(row["reason"]) if known(row["reason"]) else "")


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _with_work(pages: Pages, blocks: list[Block]) -> None:
    """A street's name, and under it two lines or more a block: what and when, then why."""
    _head(pages)
    former = ""
    for block in blocks:
        why = lines(block.reason, pages.room - 14, _SIZE) if block.reason else []
        cells = [lines(text, share * pages.room - 6, _SIZE) for text, (_, _, share) in
                 zip(block[1:6], _COLUMNS, strict=True)]
        first = max(len(cell) for cell in cells) * _ROW
        high = first + len(why) * _WHY + 4
        fresh = block.street != former
        if pages.need(high + (20 if fresh else 0)):
            _head(pages)
            if not fresh:
                _street(pages, f"{one_line(block.street, pages.room - 80, _STREET, True)}{_GOES_ON}")
        if fresh:
            _street(pages, block.street)
        for at, (cell, (_, start, share)) in enumerate(zip(cells, _COLUMNS, strict=True)):
            last = at == len(_COLUMNS) - 1
            x = SIDE + (start + share) * pages.room if last else SIDE + start * pages.room
            for number, text in enumerate(cell, 1):
                pages.put(Words(x, pages.y - number * _ROW + 3, text, _SIZE, at in (2, 3), INK,
                                "end" if last else "start"))
        pages.skip(first)
        for text in why:
            pages.put(Words(SIDE + 14, pages.y - _WHY + 3, text, _SIZE, colour=GREY))
            pages.skip(_WHY)
        pages.skip(4)
        former = block.street
    pages.skip(14)


def _street(pages: Pages, name: str) -> None:
    """The name of a street over its blocks; a page names its first and its last street at its head, to leaf through."""
    pages.heads.setdefault(len(pages.pages) - 1, []).append(name.removesuffix(_GOES_ON))
    pages.put(Line(SIDE, pages.y, SIDE + pages.room, pages.y))
    pages.put(Words(SIDE, pages.y - 13, one_line(name, pages.room, _STREET, True), _STREET, True, ACCENT))
    pages.skip(17)


def _head(pages: Pages) -> None:
    for at, (words, start, share) in enumerate(_COLUMNS):
        last = at == len(_COLUMNS) - 1
        x = SIDE + (start + share) * pages.room if last else SIDE + start * pages.room
        pages.put(Words(x, pages.y - 11, words, _SIZE, True, GREY, "end" if last else "start"))
    pages.skip(16)


def _without_work(pages: Pages, blocks: list[Block]) -> None:
    """A street's name, and under it the blocks that are sound or wait for the same reason, together."""
    former = ""
    for street, district, ends, reason in _together(blocks):
        where = f"{ends} ({district})" if district else ends
        rows = _run_on(where, reason, pages.room)
        fresh = street != former
        if pages.need(len(rows) * _WHY + 3 + (20 if fresh else 0)) and not fresh:
            _street(pages, f"{one_line(street, pages.room - 80, _STREET, True)}{_GOES_ON}")
        if fresh:
            _street(pages, street)
        for bold, plain in rows:
            pages.need(_WHY)
            pages.skip(_WHY)
            pages.put(Words(SIDE, pages.y + 3, bold, _SIZE, True),
                      Words(SIDE + (measured(bold, _SIZE, True) + 4 if bold else 0.0), pages.y + 3, plain, _SIZE))
        pages.skip(3)
        former = street
    pages.skip(14)


def _run_on(where: str, why: str, room: float) -> list[tuple[str, str]]:
    """Lines of a bold part and a plain part: the reason goes on where the place ends."""
    *above, first = lines(where, room, _SIZE, True)
    taken = measured(first, _SIZE, True) + 4
    words = why.split()
    count = next((size for size in range(len(words), 0, -1)
                  if taken + measured(" ".join(words[:size]), _SIZE) <= room), 0)
    rest = " ".join(words[count:])
    return [*((line, "") for line in above), (first, " ".join(words[:count])),
            *(("", line) for line in (lines(rest, room, _SIZE) if rest else []))]


def _together(blocks: list[Block]) -> Iterator[tuple[str, str, str, str]]:
    """Blocks of one street, district and reason as (street, district, ends, reason), in the order of the first."""
    found: dict[tuple[str, str, str], list[str]] = {}
    for block in blocks:
        found.setdefault((block.street, block.district, block.reason), []).append(block.ends)
    order = {block.street: at for at, block in reversed(list(enumerate(blocks)))}
    for (street, district, reason), ends in sorted(found.items(), key=lambda item: order[item[0][0]]):
        yield street, district, "; ".join(ends), reason
