"""What stands beside a member's header in a ZIP file: extra fields, and the zip64 records.

An extra field can replace a size, an offset or a name. Readers that honour one
and readers that pass over it must come to the same member, so whatever such a
field says has to agree with the plain field, or stand where that points to it.

Source: .ZIP File Format Specification (APPNOTE.TXT) 6.3.10, sections 4.3.14
and 4.3.15 (zip64 end record and locator), 4.4.1.4 and 4.5.3 (zip64 field),
4.5.2 (extra fields) and 4.6.9 (Unicode path).
"""

from __future__ import annotations

import struct
from dataclasses import dataclass, replace
from typing import ClassVar, Self

from cardprep.images.zip_records import (
    ELSEWHERE,
    DirectoryEntry,
    Sizes,
    may_precede,
    with_zip64,
)

ZIP64_END_SIGNATURE = b"PK\x06\x06"
ZIP64_LOCATOR_SIGNATURE = b"PK\x06\x07"

# The value of a field of two bytes that says "see the zip64 record".
ELSEWHERE_SHORT = 0xFFFF

_ZIP64, _UNICODE_PATH = 0x0001, 0x7075
# Of a Unicode path: its version, and the CRC-32 of the plain name.
_BEFORE_PATH = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Zip64End:
    """The end record with wide fields. Published names in brackets.

    following         bytes after the first 12  [size of zip64 end of central directory record]
    disks             as in the plain end record
    entries           as in the plain end record
    directory_size    bytes
    directory_offset  from the file's start
    """

    following: int
    disks: tuple[int, int]
    entries: tuple[int, int]
    directory_size: int
    directory_offset: int

    SIZE: ClassVar[int] = 56
    _FIELDS: ClassVar[struct.Struct] = struct.Struct("<4xQ4xIIQQQQ")

    @classmethod
    def parse(cls, raw: bytes) -> Self:
        """Return the record of SIZE bytes."""
        following, disk, first, here, total, size, offset = cls._FIELDS.unpack(raw)
        return cls(
            following=following,
            disks=(disk, first),
            entries=(here, total),
            directory_size=size,
            directory_offset=offset,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Zip64Locator:
    """What says where the zip64 end record is. Published names in brackets.

    disk    [number of the disk with the start of the zip64 end of central directory]
    offset  from the file's start
    disks   [total number of disks]
    """

    disk: int
    offset: int
    disks: int

    SIZE: ClassVar[int] = 20
    _FIELDS: ClassVar[struct.Struct] = struct.Struct("<4xIQI")

    @classmethod
    def parse(cls, raw: bytes) -> Self:
        """Return the locator of SIZE bytes."""
        disk, offset, disks = cls._FIELDS.unpack(raw)
        return cls(disk=disk, offset=offset, disks=disks)


def extra_fields(extra: bytes) -> dict[int, bytes] | None:
    """Return the extra fields by their number, or None if they cannot be told apart.

    Up to three zeros at the end are padding, which some writers use to align
    contents. A field that could replace something may stand there only once.
    """
    found: dict[int, bytes] = {}
    at = 0
    while at + 4 <= len(extra):
        kind, length = struct.unpack_from("<HH", extra, at)
        data = extra[at + 4 : at + 4 + length]
        if len(data) < length or (kind in found and kind in {_ZIP64, _UNICODE_PATH}):
            return None
        found[kind] = data
        at += 4 + length
    return None if any(extra[at:]) else found


def entry_with_zip64(entry: DirectoryEntry, fields: dict[int, bytes]) -> DirectoryEntry | None:
    """Return a directory entry with the values of its zip64 field where they stand there.

    None if a value is missing or what else stands in that field contradicts.
    """
    field = fields.get(_ZIP64, b"")
    plain = (entry.sizes.unpacked, entry.sizes.packed, entry.offset)
    values, at = [], 0
    for value in plain:
        if value == ELSEWHERE:
            if at + 8 > len(field):
                return None
            values.append(int.from_bytes(field[at : at + 8], "little"))
            at += 8
        else:
            values.append(value)
    disk = entry.disk
    if disk == ELSEWHERE_SHORT:
        if at + 4 > len(field):
            return None
        disk = int.from_bytes(field[at : at + 4], "little")
        at += 4
    unpacked, packed, offset = values
    # Some writers give all values whether or not they are needed.
    whole = struct.pack("<QQQI", unpacked, packed, offset, disk)
    if at < len(field) and (len(field) not in {16, 24, 28} or not whole.startswith(field)):
        return None
    sizes = Sizes(crc=entry.sizes.crc, packed=packed, unpacked=unpacked)
    return replace(entry, sizes=sizes, offset=offset, disk=disk)


def local_sizes_agree(
    stated: Sizes, extra: bytes, right: Sizes, *, has_descriptor: bool
) -> bool | None:
    """Return whether a local header's sizes agree with the directory's; None if zip64 is at fault.

    stated  as in the header itself, with its `extra` fields
    right   as the directory says
    """
    everywhere = replace(stated, packed=ELSEWHERE, unpacked=ELSEWHERE)
    field = with_zip64(everywhere, extra)
    points = ELSEWHERE in {stated.packed, stated.unpacked}
    if points and field is None:
        return None
    if field is not None and not _agree(field, right, has_descriptor=has_descriptor):
        return None
    packed, unpacked = (
        known if value == ELSEWHERE else value
        for value, known in ((stated.packed, right.packed), (stated.unpacked, right.unpacked))
    )
    plain = Sizes(crc=stated.crc, packed=packed, unpacked=unpacked)
    return _agree(plain, right, has_descriptor=has_descriptor)


def _agree(stated: Sizes, right: Sizes, *, has_descriptor: bool) -> bool:
    return may_precede(stated, right) if has_descriptor else stated == right


def unicode_path(fields: dict[int, bytes]) -> bytes | None:
    """Return the name in the field for names in UTF-8, or None if there is none."""
    field = fields.get(_UNICODE_PATH)
    return None if field is None else field[_BEFORE_PATH:]
