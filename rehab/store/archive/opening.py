"""The bytes of an archive, checked before anything of it is believed: a whole zip, its members, their digests."""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
import zlib
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from rehab.store.archive import cells
from rehab.store.archive.layout import FORMAT, FORMAT_VERSION, LISTS, MANIFEST, MAY_BE_MISSING, SEAL, name_of
from rehab.store.errors import StoreError

#: an archive may unfold to this much in all, a member to this much, since it is held in memory by itself.  The blocks
#: of a city of 100,000 take 28 MB (measured); a zip made to fill a memory unfolds to a thousand times its size
MOST_UNFOLDED: Final = 2 * 1024**3
MOST_OF_MEMBER: Final = 256 * 1024**2
_FAULTS: Final = (zipfile.BadZipFile, zlib.error, EOFError, KeyError, OSError, ValueError, NotImplementedError,
                  RuntimeError)
_KINDS: Final = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)


@dataclass(frozen=True)
class Opened:
    """An archive of which every byte is as it was written; ``manifest`` says what it is."""

    package: zipfile.ZipFile
    manifest: dict[str, Any]

    def text(self, name: str) -> str:
        """A member that holds text; :class:`StoreError` if there is none of that name."""
        try:
            return _bytes(self.package, self.package.getinfo(name)).decode()
        except KeyError as error:
            raise StoreError(f"the archive has no '{name}', though it is told of") from error
        except UnicodeDecodeError as error:
            raise StoreError(f"'{name}' of the archive is no text") from error

    def table(self, name: str) -> dict[str, list[Any]]:
        """A member that holds a table, by column; :class:`StoreError` if it is none or lacks rows."""
        try:
            columns = cells.read(_bytes(self.package, self.package.getinfo(name)))
        except KeyError as error:
            raise StoreError(f"the archive has no '{name}', though it is told of") from error
        except ValueError as error:
            raise StoreError(f"'{name}' of the archive cannot be read as a table: {error}") from error
        told = {member["name"]: member["rows"] for member in self.manifest["members"]}
        if any(len(column) != told[name] for column in columns.values()):
            raise StoreError(f"'{name}' of the archive has not the {told[name]} rows that its manifest tells of")
        return columns

    def listed(self, name: str) -> list[dict[str, Any]]:
        """The rows of one of the lists, moments as moments; :class:`StoreError` for other columns or kinds."""
        kinds, columns = LISTS[name], self.table(name_of(name))
        unknown = sorted(set(columns) ^ set(kinds))
        if unknown:
            raise StoreError(f"'{name_of(name)}' of the archive has other columns than it should: {', '.join(unknown)}")
        return [{column: _typed(name, column, cell) for column, cell in zip(columns, row, strict=True)}
                for row in zip(*columns.values(), strict=True)]


def opened(content: bytes) -> Opened:
    """The archive in these bytes; :class:`StoreError` for anything that is not just as :func:`archive` wrote it."""
    if not content.startswith(b"PK"):
        raise StoreError("the file is no archive of a project: it is no zip")
    if content[-64 - len(SEAL):-64] != SEAL:
        raise StoreError("the file is no archive of a project as this program writes it: its end is missing, or it was "
                         "packed again by another program; get the file as it was saved")
    if content[-64:] != hashlib.sha256(content[:-64]).hexdigest().encode():
        raise StoreError("the archive is damaged: it is not the file that was saved; get it again")
    try:
        package = zipfile.ZipFile(io.BytesIO(content))
        if MANIFEST not in package.namelist():
            raise StoreError(f"the file is no archive of a project: it has no {MANIFEST}")
        other = [item.filename for item in package.infolist() if item.flag_bits & 1 or item.compress_type not in _KINDS]
        if other:
            raise StoreError(f"'{other[0]}' of the archive is locked or packed in another way than this program packs")
        found = Opened(package, _manifest(package))
        _check_members(found)
    except _FAULTS as error:
        raise StoreError(f"the archive is damaged and cannot be opened ({error})"[:300]) from error
    return found


def _manifest(package: zipfile.ZipFile) -> dict[str, Any]:
    """The manifest, if this program knows its format."""
    found = json.loads(_bytes(package, package.getinfo(MANIFEST)))
    if not isinstance(found, dict) or found.get("format") != FORMAT:
        raise StoreError(f"the file is no archive of a project: its manifest is not of a {FORMAT}")
    version = found.get("format_version")
    if not isinstance(version, int) or version > FORMAT_VERSION:
        raise StoreError(f"the archive was written by a newer program ({found.get('program_version')}, version "
                         f"{version} of the format; this program knows up to {FORMAT_VERSION}); update the program")
    kinds = {"project": str, "program_version": str, "made_on": str, "members": list}
    wrong = [key for key, kind in kinds.items() if not isinstance(found.get(key), kind)]
    members = found["members"] if not wrong else []
    if wrong or not all(isinstance(member, dict) and isinstance(member.get("name"), str) and "sha256" in member
                        and "rows" in member for member in members):
        raise StoreError("the manifest of the archive does not say all that it must: "
                         f"{', '.join(wrong or ['members'])}")
    _moment("made_on of the manifest", found["made_on"])
    return found


def _check_members(found: Opened) -> None:
    """Each member once, just those of the manifest, none too large, each with its digest."""
    there = found.package.infolist()
    names = [member["name"] for member in found.manifest["members"]]
    held = [item.filename for item in there]
    twice = {name for name in held if held.count(name) > 1} if len(set(held)) < len(held) else set()
    odd = sorted(twice | ({*held} ^ {*names, MANIFEST}) | {name for name in held if _leads_outside(name)})
    if odd or len(set(names)) < len(names):
        raise StoreError("the archive does not hold what its manifest says, each member once and nothing else: "
                         f"{', '.join(odd[:3]) or 'a member is told of twice'}")
    if sum(item.file_size for item in there) > MOST_UNFOLDED or any(item.file_size > MOST_OF_MEMBER for item in there):
        raise StoreError(f"the archive unfolds to more than {MOST_UNFOLDED // 1024**2:,} MB, or a member of it to more "
                         f"than {MOST_OF_MEMBER // 1024**2:,} MB: nothing was unpacked")
    for member in found.manifest["members"]:
        data = _bytes(found.package, found.package.getinfo(member["name"]))
        if hashlib.sha256(data).hexdigest() != member["sha256"]:
            raise StoreError(f"'{member['name']}' of the archive is damaged: its digest is not that of the manifest")


def _leads_outside(name: str) -> bool:
    """Nothing is unpacked to a disk here, but other programs may do so."""
    return name.startswith("/") or "\\" in name or ":" in name or ".." in name.split("/")


def _bytes(package: zipfile.ZipFile, item: zipfile.ZipInfo) -> bytes:
    """A member, never more of it than the zip tells of."""
    if item.file_size > MOST_OF_MEMBER:
        raise StoreError(f"'{item.filename}' of the archive unfolds to more than {MOST_OF_MEMBER // 1024**2:,} MB")
    with package.open(item) as stream:
        return stream.read(item.file_size)


def _typed(name: str, column: str, cell: Any) -> Any:
    kind: type = LISTS[name][column]
    if cell is None and (name, column) in MAY_BE_MISSING:
        return None
    if type(cell) is not (str if kind is datetime else kind):
        raise StoreError(f"'{name_of(name)}' of the archive has {cell!r:.40} where {column} stands")
    return _moment(f"{column} in '{name_of(name)}'", str(cell)) if kind is datetime else cell


def _moment(what: str, text: str) -> datetime:
    try:
        found = datetime.fromisoformat(text)
    except ValueError as error:
        raise StoreError(f"{what} of the archive is no time: {text!r:.40}") from error
    if found.tzinfo is None:
        raise StoreError(f"{what} of the archive has no time zone: {text!r:.40}")
    return found
