"""The structures of a ZIP file as stored: local header, directory entry, end record.

All numbers are little-endian. `parse` takes exactly SIZE bytes, which start
with the structure's signature; the variable parts that follow are counted in
`name_size` and its like, at most 65 535 bytes each.

Source: .ZIP File Format Specification (APPNOTE.TXT) 6.3.10, sections 4.3.7,
4.3.9, 4.3.12, 4.3.16, 4.4 and 4.5.3.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import ClassVar, Self

from cardprep.images.zip_signatures import DESCRIPTOR_SIGNATURE

# Zip64 end record, zip64 locator, archive extra data and digital signature.
OTHER_SIGNATURES = frozenset({b"PK\x06\x06", b"PK\x06\x07", b"PK\x06\x08", b"PK\x05\x05"})

STORED = 0
DEFLATED = 8

# The value that says "see the zip64 field".
ELSEWHERE = 0xFFFFFFFF

# Integers of canonical JSON end here.
_SIZE_LIMIT = 1 << 53

_ENCRYPTED, _DESCRIPTOR, _STRONG, _UTF8 = 0x0001, 0x0008, 0x0040, 0x0800


@dataclass(frozen=True, slots=True, kw_only=True)
class Sizes:
    """CRC-32 of a member's contents, and its bytes packed and unpacked."""

    crc: int
    packed: int
    unpacked: int


@dataclass(frozen=True, slots=True, kw_only=True)
class LocalHeader:
    """What stands before a member's contents. Published names in brackets.

    flags   [general purpose bit flag]
    method  [compression method]
    time    [last mod file date] * 65536 + [last mod file time]
    sizes   [crc-32, compressed size, uncompressed size]; zeros as a rule if a
            descriptor follows the contents
    """

    flags: int
    method: int
    time: int
    sizes: Sizes
    name_size: int
    extra_size: int

    SIZE: ClassVar[int] = 30
    _FIELDS: ClassVar[struct.Struct] = struct.Struct("<6xHHIIIIHH")

    @classmethod
    def parse(cls, raw: bytes) -> Self:
        """Return the header of SIZE bytes."""
        flags, method, time, crc, packed, unpacked, name, extra = cls._FIELDS.unpack(raw)
        sizes = Sizes(crc=crc, packed=packed, unpacked=unpacked)
        return cls(
            flags=flags, method=method, time=time, sizes=sizes, name_size=name, extra_size=extra
        )

    @property
    def encrypted(self) -> bool:
        """Return whether the contents are encrypted."""
        return bool(self.flags & (_ENCRYPTED | _STRONG))

    @property
    def has_descriptor(self) -> bool:
        """Return whether CRC and sizes follow the contents."""
        return bool(self.flags & _DESCRIPTOR)


@dataclass(frozen=True, slots=True, kw_only=True)
class DirectoryEntry:
    """What the central directory says of a member. Published names in brackets.

    offset  of the member's local header  [relative offset of local header]
    """

    flags: int
    method: int
    time: int
    sizes: Sizes
    name_size: int
    extra_size: int
    comment_size: int
    disk: int
    offset: int

    SIZE: ClassVar[int] = 46
    _FIELDS: ClassVar[struct.Struct] = struct.Struct("<8xHHIIIIHHHH6xI")

    @classmethod
    def parse(cls, raw: bytes) -> Self:
        """Return the entry of SIZE bytes."""
        flags, method, time, crc, packed, unpacked, *rest = cls._FIELDS.unpack(raw)
        name, extra, comment, disk, offset = rest
        return cls(
            flags=flags,
            method=method,
            time=time,
            sizes=Sizes(crc=crc, packed=packed, unpacked=unpacked),
            name_size=name,
            extra_size=extra,
            comment_size=comment,
            disk=disk,
            offset=offset,
        )

    @property
    def zip64(self) -> bool:
        """Return whether a value stands in the zip64 field instead."""
        values = (self.sizes.packed, self.sizes.unpacked, self.offset)
        return ELSEWHERE in values or self.disk == 0xFFFF


@dataclass(frozen=True, slots=True, kw_only=True)
class EndRecord:
    """What ends the file. Published names in brackets.

    disks             [number of this disk, ... with the start of the central directory]
    entries           [total entries in the central directory on this disk, in all]
    directory_size    bytes  [size of the central directory]
    directory_offset  from the file's start  [offset of start of central directory]
    """

    disks: tuple[int, int]
    entries: tuple[int, int]
    directory_size: int
    directory_offset: int
    comment_size: int

    SIZE: ClassVar[int] = 22
    _FIELDS: ClassVar[struct.Struct] = struct.Struct("<4xHHHHIIH")

    @classmethod
    def parse(cls, raw: bytes) -> Self:
        """Return the record of SIZE bytes."""
        disk, first, here, total, size, offset, comment = cls._FIELDS.unpack(raw)
        return cls(
            disks=(disk, first),
            entries=(here, total),
            directory_size=size,
            directory_offset=offset,
            comment_size=comment,
        )


def compared_flags(flags: int) -> int:
    """Return the flags in which local header and directory must agree."""
    return flags & (_ENCRYPTED | _STRONG | _UTF8)


def with_zip64(sizes: Sizes, extra: bytes) -> Sizes | None:
    """Return a local header's sizes, from its zip64 field where they stand there.

    None if that field is missing or too short, or says more than any card holds.
    """
    if ELSEWHERE not in {sizes.packed, sizes.unpacked}:
        return sizes
    at = 0
    while at + 4 <= len(extra):
        kind, length = struct.unpack_from("<HH", extra, at)
        if kind == 1 and length >= 16 and at + 20 <= len(extra):
            unpacked, packed = struct.unpack_from("<QQ", extra, at + 4)
            if max(packed, unpacked) < _SIZE_LIMIT:
                return Sizes(crc=sizes.crc, packed=packed, unpacked=unpacked)
            return None
        at += 4 + length
    return None


def may_precede(stated: Sizes, found: Sizes) -> bool:
    """Return whether a local header may say `stated` where a descriptor comes later.

    Zeros are the rule; some writers know a value already, or point to zip64.
    """
    pairs = (
        (stated.crc, found.crc),
        (stated.packed, found.packed),
        (stated.unpacked, found.unpacked),
    )
    return all(early in {0, ELSEWHERE, right} for early, right in pairs)


def descriptor_of(raw: bytes, found: Sizes) -> tuple[int, bool]:
    """Return how long the descriptor at the start of `raw` is, and whether it says `found`.

    Its signature may be missing, and its sizes may have 8 bytes each; nothing
    says which, so the form that fits is taken (24 bytes of `raw` suffice).
    """
    signed = raw.startswith(DESCRIPTOR_SIGNATURE)
    for form, size in (("<III", 12), ("<IQQ", 20)):
        for start in (4, 0) if signed else (0,):
            if len(raw) >= start + size:
                crc, packed, unpacked = struct.unpack_from(form, raw, start)
                if Sizes(crc=crc, packed=packed, unpacked=unpacked) == found:
                    return start + size, True
    return (16 if signed else 12), False
