"""Text of a drawing: which font holds it, how wide it is, and how it is made to fit.

Helvetica and its twins (Arial, Liberation Sans) have the same widths on every machine and need not be carried
in the file.  Text beyond the western alphabet takes DejaVu Sans where the machine has it, else Vera, which
comes with the library; a letter that neither holds shows as a box.
"""

from __future__ import annotations

from functools import cache, lru_cache
from pathlib import Path
from typing import Final

import reportlab
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFError, TTFont

SVG_FAMILY: Final = "Helvetica, Arial, 'Liberation Sans', 'DejaVu Sans', sans-serif"
_WIDE: Final = {False: (("DejaVuSans", "DejaVuSans.ttf"), ("Vera", "Vera.ttf")),
                True: (("DejaVuSans-Bold", "DejaVuSans-Bold.ttf"), ("VeraBd", "VeraBd.ttf"))}


def clean(text: object) -> str:
    """Text on one line; a letter that cannot be printed, and that XML may not hold, becomes the mark for it."""
    line = " ".join(str(text).split())
    if line.isprintable():
        return line
    return "".join(letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in line)


@lru_cache(maxsize=4096)
def font(text: str, bold: bool = False) -> str:
    """The name of a font that is ready for the PDF and holds the text."""
    try:
        text.encode("cp1252")
    except UnicodeEncodeError:
        return _beyond_western(bold)
    return "Helvetica-Bold" if bold else "Helvetica"


@cache
def _beyond_western(bold: bool) -> str:
    for name, file in _WIDE[bold]:
        try:
            pdfmetrics.registerFont(TTFont(name, file))
        except TTFError:  # the machine does not have this font: the next one is the library's own
            continue
        return name
    raise FileNotFoundError("the drawing library has lost its own font Vera; install requirements.txt again")


@lru_cache(maxsize=16384)
def width(text: str, size: float, bold: bool = False) -> float:
    """Width of a text in points."""
    return float(pdfmetrics.stringWidth(text, font(text, bold), size))


def fitted(text: str, room: float, size: float, bold: bool = False) -> str:
    """The text, shortened with an ellipsis to at most ``room`` points."""
    if width(text, size, bold) <= room:
        return text
    low, high = 0, len(text)
    while low < high:
        middle = (low + high + 1) // 2
        if width(text[:middle].rstrip() + "…", size, bold) <= room:
            low = middle
        else:
            high = middle - 1
    return text[:low].rstrip() + "…" if low else ""


def wrapped(text: str, room: float, size: float, bold: bool = False) -> list[str]:
    """The text in lines of at most ``room`` points, broken at blanks, and inside a word that is longer."""
    if width(text, size, bold) <= room:
        return [text] if text else []
    if not font(text, bold).startswith("Helvetica"):
        return _wrapped_anew(text, room, size, bold)
    found: list[str] = []
    line: list[str] = []
    used, blank = 0.0, width(" ", size, bold)
    for word in text.split(" "):  # widths of the western letters add up: every word is measured once
        wide = width(word, size, bold)
        if line and used + blank + wide <= room + 1e-9:
            line.append(word)
            used += blank + wide
            continue
        if line:
            found.append(" ".join(line))
        if wide > room:
            *parts, word = _cut(word, room, size, bold)
            found += parts
            wide = width(word, size, bold)
        line, used = [word] if word else [], wide
    return [*found, " ".join(line)] if line else found


def _wrapped_anew(text: str, room: float, size: float, bold: bool) -> list[str]:
    """Lines of a text with letters of several fonts, which a line takes as a whole."""
    found: list[str] = []
    line = ""
    for word in text.split(" "):
        longer = f"{line} {word}" if line else word
        if width(longer, size, bold) <= room:
            line = longer
            continue
        if line:
            found.append(line)
        *parts, line = _cut(word, room, size, bold)
        found += parts
    return [*found, line] if line else found


def _cut(word: str, room: float, size: float, bold: bool) -> list[str]:
    """A word in parts that fit, cut after a hyphen or stroke if it has one there; a part has one letter at least."""
    parts: list[str] = []
    while width(word, size, bold) > room and len(word) > 1:
        fits = max(1, len(fitted(word, room, size, bold)) - 1)
        while fits < len(word) - 1 and width(word[:fits + 1], size, bold) <= room:  # no ellipsis is to be written here
            fits += 1
        cut = max(word.rfind(sign, 0, fits) for sign in "-/") + 1 or fits
        parts.append(word[:cut])
        word = word[cut:]
    return [*parts, word]


@lru_cache(maxsize=4096)
def file_of(text: str, bold: bool = False) -> str:
    """The TrueType file whose letters are drawn into an image: Vera, or the one that :func:`font` takes beyond it."""
    name = font(text, bold)
    if name.startswith("Helvetica"):
        return str(Path(reportlab.__file__).parent / "fonts" / _WIDE[bold][-1][1])
    return str(pdfmetrics.getFont(name).face.filename)
