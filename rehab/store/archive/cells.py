"""Tables as CSV that reads back cell for cell.

RFC 4180 with one rule more: a text is always in quotation marks, and nothing else is.  So an empty text (``""``) is
told from a missing cell (nothing), and the text "12" from the number 12.  Numbers are written as JSON writes them, in
the fewest digits that read back as the same binary number; flags are true and false.  UTF-8, lines end with CR LF, the
first line holds the names of the columns.  Texts are exact: one that begins with '=' is left as it is.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from typing import Any, Final

#: one cell and what ends it; a quotation mark inside a text is doubled
_CELL: Final = re.compile(r'(?:"([^"]*(?:""[^"]*)*)"|([^",\r\n]*))(,|\r\n)')
_NUMBER: Final = re.compile(r"-?(?:\d+(?:\.\d+)?(?:[eE][+-]?\d+)?|Infinity)")
_FLAGS: Final = {"true": True, "false": False}


def written(columns: Mapping[str, Sequence[Any]]) -> bytes:
    """Columns of texts, numbers, flags and None (missing), all of one length, as CSV."""
    rows = [columns.keys(), *zip(*columns.values(), strict=True)]
    return "".join(",".join(map(_written, row)) + "\r\n" for row in rows).encode("utf-8", "surrogatepass")


def read(content: bytes) -> dict[str, list[Any]]:
    """The columns that :func:`written` wrote; :class:`ValueError`, with the line, for anything else."""
    text = content.decode("utf-8", "surrogatepass")
    rows: list[list[Any]] = [[]]
    at = 0
    while at < len(text):
        cell = _CELL.match(text, at)
        if cell is None:
            raise ValueError(f"line {len(rows)} cannot be split into cells")
        rows[-1].append(_read(cell.group(1), cell.group(2), len(rows)))
        if cell.group(3) != ",":
            rows.append([])
        at = cell.end()
    if rows.pop():
        raise ValueError("the last line does not end")
    if not rows or not all(isinstance(name, str) for name in rows[0]) or len(set(rows[0])) < len(rows[0]):
        raise ValueError("the first line does not hold the names of columns, each once")
    odd = next((number for number, row in enumerate(rows, 1) if len(row) != len(rows[0])), None)
    if odd is not None:
        raise ValueError(f"line {odd} has {len(rows[odd - 1])} cells and not {len(rows[0])}")
    return {name: [row[place] for row in rows[1:]] for place, name in enumerate(rows[0])}


def _written(cell: Any) -> str:
    if cell is None:
        return ""
    if isinstance(cell, str):
        return '"' + cell.replace('"', '""') + '"'
    return json.dumps(cell)


def _read(text: str | None, bare: str, line: int) -> Any:
    if text is not None:
        return text.replace('""', '"')
    if not bare:
        return None
    if bare in _FLAGS:
        return _FLAGS[bare]
    if not _NUMBER.fullmatch(bare):
        raise ValueError(f"line {line}: {bare[:40]!a} is no number, no flag and not in quotation marks")
    return json.loads(bare)
