"""Opening an upload: what kind of file it is by its content, whether its ending agrees, and the reader for it."""

from __future__ import annotations

import io
import zipfile
from dataclasses import replace
from pathlib import PurePath
from typing import Final

from rehab.base.errors import Problem
from rehab.inputs.reading import delimited, layers, workbook
from rehab.inputs.reading.headings import Upload
from rehab.inputs.reading.lines import WKT_HEADINGS, from_wkt, looks_like_wkt
from rehab.inputs.reading.raw import ZIP_FAULTS, Raw, refusal

#: ending -> kind of content that it promises
ENDINGS: Final = {".csv": "text", ".txt": "text", ".tsv": "text", ".xlsx": "workbook", ".geojson": "json",
                  ".json": "json", ".gpkg": "geopackage", ".zip": "zip"}
_ACCEPTED: Final = ("CSV (.csv, .txt, .tsv), XLSX, GeoJSON (.geojson, .json), GeoPackage (.gpkg) or "
                    "a zipped Shapefile (.zip)")
_NAMES: Final = {
    "text": "text", "workbook": "an XLSX workbook", "json": "JSON", "geopackage": "a GeoPackage", "zip": "a zip",
    "pdf": "a PDF document", "image": "a picture", "ole": "an old binary office file (.xls, .doc)",
    "html": "a web page or XML",
    "archive": "a compressed archive", "locked": "a workbook protected by a password", "shp": "a bare .shp file",
}
_SIGNATURES: Final = (
    (b"%PDF", "pdf"), (b"\x89PNG", "image"), (b"\xff\xd8\xff", "image"), (b"GIF8", "image"), (b"II*\0", "image"),
    (b"MM\0*", "image"), (b"SQLite format 3\0", "geopackage"), (b"\x1f\x8b", "archive"), (b"7z\xbc\xaf", "archive"),
    (b"Rar!", "archive"), (b"\0\0\x27\x0a", "shp"),
)
_REMEDIES: Final = {
    "locked": "a copy saved without a password", "ole": "the table saved as .xlsx or CSV",
    "shp": "a zip with the .shp, .shx, .dbf and .prj files",
}


def open_table(name: str, content: bytes, *, table: Upload = "blocks", sheet: str | None = None,
               crs: str | None = None) -> Raw:
    """The table in an upload, its cells as text, with all that was found wrong so far.

    Of a workbook the first visible sheet with the columns of ``table`` is taken; ``sheet`` names another one, or a
    layer of a map file.  ``crs`` is the coordinate reference system
    (such as 'EPSG:2230') of a file that does not say it.  Raises :class:`UnusableInput` for a file that is empty,
    damaged, of another kind than its ending says, or without a table.
    """
    ending = PurePath(name).suffix.lower()
    if not content.strip(b"\0 \t\r\n\xef\xbb\xbf"):
        raise refusal(name, "the file is empty", _ACCEPTED)
    kind = _kind(content)
    if kind not in ENDINGS.values():
        raise refusal(name, f"the file is {_NAMES[kind]}", _REMEDIES.get(kind, _ACCEPTED))
    if ENDINGS.get(ending) != kind:
        raise refusal(name, f"the name ends in '{ending}' but the content is {_NAMES[kind]}",
                      f"the file under its right ending; taken are {_ACCEPTED}", value=ending)
    if kind == "json":
        return layers.geojson(name, content, crs)
    if kind == "geopackage":
        return layers.geopackage(name, content, sheet, crs)
    if kind == "zip":
        return layers.shapefile(name, content, sheet, crs)
    if kind == "workbook":
        _small_enough(name, content)
        grid, sheets = workbook.read(name, content, sheet, table)
        raw = Raw(name, grid.frame, grid.rows, None, grid.problems, sheets, grid.broken, "xlsx")
    else:
        grid, delimiter = delimited.read(name, content)
        raw = Raw(name, grid.frame, grid.rows, None, grid.problems, [], grid.broken, "csv", delimiter)
    return _with_lines(raw, crs)


def _kind(content: bytes) -> str:
    for signature, kind in _SIGNATURES:
        if content.startswith(signature):
            return kind
    if content.startswith(b"\xd0\xcf\x11\xe0"):
        return "locked" if "EncryptedPackage".encode("utf-16-le") in content else "ole"
    if content.startswith((b"PK\x03\x04", b"PK\x05\x06")):
        return "workbook" if _holds_workbook(content) else "zip"
    start = content[:4096].lstrip(b"\xef\xbb\xbf \t\r\n")
    if start.startswith((b"{", b"[")):
        return "json"
    if start[:200].lower().startswith((b"<!doctype", b"<html", b"<?xml")):
        return "html"
    return "text"


def _holds_workbook(content: bytes) -> bool:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as package:
            return "xl/workbook.xml" in package.namelist()
    except ZIP_FAULTS:
        return b"xl/workbook.xml" in content


def _small_enough(name: str, content: bytes) -> None:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as package:
            layers.unfolded_size(name, package)
    except ZIP_FAULTS as error:
        raise refusal(name, f"the workbook is damaged and cannot be read ({error})"[:300],
                      "the workbook opened and saved again as .xlsx") from error


def _with_lines(raw: Raw, crs: str | None) -> Raw:
    """The table with its column of well-known text, if it has one, taken out as lines."""
    for heading in raw.frame.columns:
        plain = "".join(letter for letter in heading.casefold() if letter.isalnum())
        if plain not in WKT_HEADINGS:
            continue
        texts = raw.frame[heading]
        if looks_like_wkt(texts):
            lines, problems = from_wkt(raw.name, raw.rows, texts, crs)
            lines = [None if broken else line for broken, line in zip(raw.broken, lines, strict=True)]
            return replace(raw, frame=raw.frame.drop(columns=heading), lines=lines, problems=raw.problems + problems)
        if plain not in ("line", "shape") and texts.notna().any():
            problem = Problem("warn", raw.name, None, heading, str(texts.dropna().iloc[0])[:200],
                              "the column holds no well-known text, so it gives no lines",
                              "LINESTRING (longitude latitude, ...)")
            return replace(raw, problems=[*raw.problems, problem])
    return raw
