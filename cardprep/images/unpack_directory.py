"""Read the central directory of a ZIP file that is to be unpacked, and judge its entries.

The end record is looked for from the back, as programs that unpack do. Exactly
one may be there: a comment that holds another would let two programs see two
archives. Zeros after it are padding. Offsets count from the file's first byte,
so nothing can stand before the archive.

Source: .ZIP File Format Specification (APPNOTE.TXT) 6.3.10, sections 4.3.12 to
4.3.16, 4.4.2 and 4.4.15 (attributes), 4.4.4 (flags), 4.4.5 (methods).
"""

from __future__ import annotations

import stat
import struct
from dataclasses import dataclass, replace
from typing import BinaryIO

from cardprep.errors import IntakeRefusedError
from cardprep.images.report import harmless
from cardprep.images.unpack_extra import (
    ELSEWHERE_SHORT,
    ZIP64_END_SIGNATURE,
    ZIP64_LOCATOR_SIGNATURE,
    Zip64End,
    Zip64Locator,
    entry_with_zip64,
    extra_fields,
)
from cardprep.images.unpack_names import member_name
from cardprep.images.zip_records import DEFLATED, ELSEWHERE, STORED, DirectoryEntry, EndRecord
from cardprep.images.zip_signatures import DIRECTORY_SIGNATURE, END_SIGNATURE

MEMBER_LIMIT = 1000
"""The most members, folders included, that an archive may list."""

_LONGEST_COMMENT = 0xFFFF

# Bits 0, 6 and 13: encrypted, strongly encrypted, headers masked.
_ENCRYPTED = 0x2041
# Bits 1 and 2 say how hard deflate tried, 3 is the descriptor, 11 is UTF-8.
_KNOWN_FLAGS = 0x080E
_AES = 99

# Of the attributes of DOS and Windows: volume label, device, reparse point.
_NO_FILE = 0x0448
_FOLDER = 0x0010
_ATTRIBUTES = struct.Struct("<38xI4x")


@dataclass(frozen=True, slots=True)
class Source:
    """The archive; nothing is read from outside its size, whatever an offset says."""

    file: BinaryIO
    size: int

    def at(self, offset: int, count: int) -> bytes:
        """Return `count` bytes at `offset`, or raise IntakeRefusedError."""
        if offset + count > self.size:
            raise IntakeRefusedError("unpack.cut-short", offset=offset)
        self.file.seek(offset)
        data = self.file.read(count)
        if len(data) < count:
            raise IntakeRefusedError("unpack.cut-short", offset=offset)
        return data


@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """An entry of the directory, judged as far as it can be alone.

    entry     with the values of its zip64 field
    raw_name  as stored
    """

    entry: DirectoryEntry
    name: str
    raw_name: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Directory:
    """The whole central directory.

    listed  in the directory's order
    offset  where it begins, which is where the last member ends
    """

    listed: tuple[Listed, ...]
    offset: int


def read_directory(source: Source) -> Directory:
    """Return the central directory, or raise IntakeRefusedError."""
    end, end_offset = _end_record(source)
    end, end_offset = _with_zip64(source, end, end_offset)
    if end.disks != (0, 0) or end.entries[0] != end.entries[1]:
        raise IntakeRefusedError("unpack.several-disks")
    count = end.entries[1]
    if count > MEMBER_LIMIT:
        raise IntakeRefusedError("unpack.many-members", found=count, limit=MEMBER_LIMIT)
    if end.directory_offset + end.directory_size != end_offset:
        raise IntakeRefusedError("unpack.directory", offset=min(end.directory_offset, source.size))
    listed, at = [], end.directory_offset
    for _ in range(count):
        one, at = _entry(source, at, end_offset)
        listed.append(one)
    if at != end_offset:
        raise IntakeRefusedError("unpack.directory", offset=at)
    return Directory(listed=tuple(listed), offset=end.directory_offset)


def _end_record(source: Source) -> tuple[EndRecord, int]:
    """Return the end record and its offset."""
    start = max(0, source.size - EndRecord.SIZE - _LONGEST_COMMENT)
    tail = source.at(start, source.size - start)
    padding = len(tail.rstrip(b"\0"))

    def ending(at: int) -> EndRecord | None:
        """Return the record there if only zeros follow it and its comment."""
        raw = tail[at : at + EndRecord.SIZE]
        if len(raw) < EndRecord.SIZE:
            return None
        end = EndRecord.parse(raw)
        behind = at + EndRecord.SIZE + end.comment_size
        return end if max(padding, last + EndRecord.SIZE) <= behind <= len(tail) else None

    last = tail.rfind(END_SIGNATURE)
    end = ending(last) if last >= 0 else None
    if end is None:
        raise IntakeRefusedError("unpack.no-end")
    at = tail.find(END_SIGNATURE)
    while at < last:
        other = ending(at)
        # Contents may hold these four bytes by chance; a directory has to fit before them.
        if other is not None and (
            other.directory_size <= start + at or other.directory_size == ELSEWHERE
        ):
            raise IntakeRefusedError("unpack.two-ends", first=start + at, second=start + last)
        at = tail.find(END_SIGNATURE, at + 1)
    return end, start + last


def _with_zip64(source: Source, end: EndRecord, offset: int) -> tuple[EndRecord, int]:
    """Return the end record with what zip64 says, and where the end records begin."""
    at = offset - Zip64Locator.SIZE
    raw = source.at(at, Zip64Locator.SIZE) if at >= 0 else b""
    if not raw.startswith(ZIP64_LOCATOR_SIGNATURE):
        if ELSEWHERE in {end.directory_offset, end.directory_size}:
            raise IntakeRefusedError("unpack.zip64-end")
        return end, offset
    locator = Zip64Locator.parse(raw)
    if locator.disk or locator.disks > 1:
        raise IntakeRefusedError("unpack.several-disks")
    if locator.offset + Zip64End.SIZE != at:
        raise IntakeRefusedError("unpack.zip64-end")
    raw = source.at(locator.offset, Zip64End.SIZE)
    wide = Zip64End.parse(raw)
    if (
        not raw.startswith(ZIP64_END_SIGNATURE)
        or wide.following != Zip64End.SIZE - 12
        or not _agree(end, wide)
    ):
        raise IntakeRefusedError("unpack.zip64-end")
    resolved = replace(
        end,
        disks=wide.disks,
        entries=wide.entries,
        directory_size=wide.directory_size,
        directory_offset=wide.directory_offset,
    )
    return resolved, locator.offset


def _agree(end: EndRecord, wide: Zip64End) -> bool:
    """Return whether each field of the end record says the same or points to zip64."""
    short = zip((*end.disks, *end.entries), (*wide.disks, *wide.entries), strict=True)
    return (
        all(plain in {value, ELSEWHERE_SHORT} for plain, value in short)
        and end.directory_size in {wide.directory_size, ELSEWHERE}
        and end.directory_offset in {wide.directory_offset, ELSEWHERE}
    )


def _entry(source: Source, at: int, limit: int) -> tuple[Listed, int]:
    """Return the entry at `at`, and where the next one begins; none reaches past `limit`."""
    if at + DirectoryEntry.SIZE > limit:
        raise IntakeRefusedError("unpack.directory", offset=at)
    raw = source.at(at, DirectoryEntry.SIZE)
    entry = DirectoryEntry.parse(raw)
    variable = entry.name_size + entry.extra_size
    after = at + DirectoryEntry.SIZE + variable + entry.comment_size
    if not raw.startswith(DIRECTORY_SIGNATURE) or after > limit:
        raise IntakeRefusedError("unpack.directory", offset=at)
    rest = source.at(at + DirectoryEntry.SIZE, variable)
    raw_name = rest[: entry.name_size]
    shown = harmless(raw_name)
    fields = extra_fields(rest[entry.name_size :])
    if fields is None:
        raise IntakeRefusedError("unpack.extra", name=shown)
    resolved = entry_with_zip64(entry, fields)
    if resolved is None:
        raise IntakeRefusedError("unpack.zip64", name=shown)
    if resolved.disk:
        raise IntakeRefusedError("unpack.several-disks")
    _require_readable(resolved, shown)
    name = member_name(raw_name, entry.flags, fields)
    (attributes,) = _ATTRIBUTES.unpack(raw)
    _require_file_or_folder(name, attributes, shown)
    if name.endswith("/") and resolved.sizes.unpacked:
        raise IntakeRefusedError("unpack.folder-contents", name=shown)
    return Listed(entry=resolved, name=name, raw_name=raw_name), after


def _require_readable(entry: DirectoryEntry, shown: str) -> None:
    if entry.flags & _ENCRYPTED or entry.method == _AES:
        raise IntakeRefusedError("unpack.encrypted", name=shown)
    if entry.flags & ~_KNOWN_FLAGS:
        raise IntakeRefusedError("unpack.flags", name=shown, flags=f"{entry.flags:04X}")
    if entry.method not in {STORED, DEFLATED}:
        raise IntakeRefusedError("unpack.method", name=shown, method=entry.method)
    if entry.method == STORED and entry.sizes.packed != entry.sizes.unpacked:
        raise IntakeRefusedError(
            "unpack.stored-size",
            name=shown,
            packed=entry.sizes.packed,
            unpacked=entry.sizes.unpacked,
        )


def _require_file_or_folder(name: str, attributes: int, shown: str) -> None:
    """Refuse links, devices and the like, on whatever system the archive says it was made.

    The upper half is a Unix mode where the archive comes from Unix, and zero as
    a rule elsewhere; programs do not agree about when to believe it.
    """
    kind = stat.S_IFMT(attributes >> 16)
    folder = name.endswith("/")
    if kind == stat.S_IFLNK:
        raise IntakeRefusedError("unpack.link", name=shown)
    if (
        kind not in {0, stat.S_IFDIR if folder else stat.S_IFREG}
        or attributes & _NO_FILE
        or (attributes & _FOLDER and not folder)
    ):
        raise IntakeRefusedError("unpack.kind", name=shown, attributes=f"{attributes:08X}")
