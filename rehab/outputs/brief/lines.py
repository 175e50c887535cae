"""Text in lines: broken at blanks, measured and written word by word, each word in a font that holds it.

A word beyond the western alphabet does not change the font of the words beside it.  Widths are kept by word, for a
list of streets says the same words many thousand times.
"""

from __future__ import annotations

from itertools import groupby
from typing import Any, Final, Literal

from rehab.outputs.drawings.lettering import clean, fitted, font, width, wrapped

Anchor = Literal["start", "middle", "end"]
_KEPT: Final = "\N{NO-BREAK SPACE}"


def lines(text: object, room: float, size: float, bold: bool = False) -> list[str]:
    """The text in lines of at most ``room`` points; a word that is longer is broken inside."""
    found: list[str] = []
    blank = width(" ", size, bold)
    line: list[str] = []
    used = 0.0
    for word in clean(text).replace(" %", f"{_KEPT}%").split(" "):  # a number and its sign stay together
        word = word.replace(_KEPT, " ")
        wide = width(word, size, bold)
        if line and used + blank + wide > room:
            found.append(" ".join(line))
            line, used = [], 0.0
        if wide > room:
            *whole, word = wrapped(word, room, size, bold)
            found += whole
            wide = width(word, size, bold)
        used += wide + (blank if line else 0.0)
        line.append(word)
    return [*found, " ".join(line)]


def measured(text: str, size: float, bold: bool = False) -> float:
    """Width of a line in points, as it is written."""
    words = text.split(" ")
    return sum(width(word, size, bold) for word in words) + (len(words) - 1) * width(" ", size, bold)


def one_line(text: object, room: float, size: float, bold: bool = False) -> str:
    """The text on one line of at most ``room`` points, shortened with an ellipsis where it must be."""
    whole = clean(text)
    return whole if measured(whole, size, bold) <= room else fitted(whole, room, size, bold)


def write(canvas: Any, x: float, y: float, text: str, size: float, bold: bool, anchor: Anchor = "start") -> None:
    """Write one line on a PDF canvas at its foot line, from, round or up to ``x``."""
    if anchor != "start":
        x -= measured(text, size, bold) * (0.5 if anchor == "middle" else 1.0)
    for name, part in runs(text, bold):
        canvas.setFont(name, size)
        canvas.drawString(x, y, part)
        x += measured(part, size, bold)


def runs(text: str, bold: bool) -> list[tuple[str, str]]:
    """The line in parts of one font each, as (font, part); a blank belongs to the part before it."""
    words = text.split(" ")
    parts = [(name, " ".join(group)) for name, group in groupby(words, lambda word: font(word, bold))]
    return [(name, part + (" " if at < len(parts) - 1 else "")) for at, (name, part) in enumerate(parts)]
