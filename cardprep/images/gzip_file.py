"""Check gzip files: each member's CRC-32 and size, and that nothing is missing.

Members may follow one another. Zeros after the last one are padding, as gzip
itself takes them; anything else there is not gzip. The checksum stands over the
contents only: time, name, comment and the like are covered only if the header
has a CRC of its own, which writers rarely add.

Source: RFC 1952, GZIP File Format Specification, version 4.3.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Generator

from cardprep.images.blocks import StepReader
from cardprep.images.inflate import RATIO_LIMIT, TOTAL_LIMIT, Ending, Inflated, Inflater
from cardprep.images.report import (
    TEXT_LIMIT,
    ContainerReport,
    Parameter,
    Troubles,
    harmless,
)
from cardprep.terms import KIB

GZIP = "gzip"
MAGIC = b"\x1f\x8b\x08"

MEMBER_LIMIT = 4096
_NAME_LIMIT = 64 * KIB

_HEADER_CRC, _EXTRA, _NAME, _COMMENT, _RESERVED = 0x02, 0x04, 0x08, 0x10, 0xE0


class GzipReader(StepReader):
    """The machine for gzip.

    Facts: members, packed_bytes and unpacked_bytes of their contents; name and
    time of the first member if it has them; trailing_bytes.
    """

    def __init__(self) -> None:
        super().__init__()
        self._troubles = Troubles()
        self._first: dict[str, Parameter] = {}
        self._members = 0
        self._packed = 0
        self._unpacked = 0
        self._trailing = 0
        self._header_crc = 0

    def _steps(self) -> Generator[None, None, None]:
        while True:
            start = yield from self._incoming.exactly(10)
            if not looks_like_gzip(start):
                yield from self._after_members(start)
                return
            if self._members == MEMBER_LIMIT:
                self._troubles.unchecked("gzip.many-members", limit=MEMBER_LIMIT)
                return
            self._members += 1
            if not (yield from self._member(start)):
                return

    def _member(self, start: bytes) -> Generator[None, None, bool]:
        """Read one member from its first 10 bytes on; return whether another may follow."""
        if not (yield from self._header(start)):
            return False
        inflater = Inflater(TOTAL_LIMIT - self._unpacked)
        inflated = yield from inflater.run(self._incoming, None)
        self._packed += inflated.packed
        self._unpacked += inflated.unpacked
        if inflated.ending is Ending.DAMAGED:
            self._troubles.broken("gzip.damaged", member=self._members)
            return False
        if inflated.ending is Ending.TOO_LARGE:
            self._troubles.unchecked("gzip.too-large", limit=TOTAL_LIMIT, ratio=RATIO_LIMIT)
            return False
        trailer = yield from self._incoming.exactly(8)
        if len(trailer) < 8:
            return self._cut_short()
        self._compare(inflated, trailer)
        return True

    def _cut_short(self) -> bool:
        """Tell that the file ends inside a member, and that nothing follows."""
        self._troubles.broken("gzip.cut-short", member=self._members)
        return False

    def _compare(self, inflated: Inflated, trailer: bytes) -> None:
        crc, size = struct.unpack("<2I", trailer)
        if crc != inflated.crc:
            self._troubles.broken(
                "gzip.crc",
                member=self._members,
                stated=f"{crc:08X}",
                computed=f"{inflated.crc:08X}",
            )
        if size != inflated.unpacked & 0xFFFFFFFF:
            self._troubles.broken(
                "gzip.size",
                member=self._members,
                stated=size,
                found=inflated.unpacked & 0xFFFFFFFF,
            )

    def _header(self, start: bytes) -> Generator[None, None, bool]:
        """Read a member's header; return whether its contents follow."""
        if len(start) < 10:
            return self._cut_short()
        flags = start[3]
        self._header_crc = zlib.crc32(start)
        time = int.from_bytes(start[4:8], "little")
        if time and self._members == 1:
            self._first["time"] = time
        if flags & _EXTRA:
            raw = yield from self._counted(2)
            length = int.from_bytes(raw, "little")
            if len(raw) < 2 or len((yield from self._counted(length))) < length:
                return self._cut_short()
        if flags & _NAME:
            name = yield from self._zero_ended()
            if name is None:
                return False
            if self._members == 1:
                self._first["name"] = harmless(name)
        if flags & _COMMENT and (yield from self._zero_ended()) is None:
            return False
        return not flags & _HEADER_CRC or (yield from self._own_crc())

    def _own_crc(self) -> Generator[None, None, bool]:
        stored = yield from self._incoming.exactly(2)
        stated, computed = int.from_bytes(stored, "little"), self._header_crc & 0xFFFF
        if len(stored) < 2:
            return self._cut_short()
        if stated != computed:
            self._troubles.broken(
                "gzip.header-crc",
                member=self._members,
                stated=f"{stated:04X}",
                computed=f"{computed:04X}",
            )
        return True

    def _counted(self, count: int) -> Generator[None, None, bytes]:
        found = yield from self._incoming.exactly(count)
        self._header_crc = zlib.crc32(found, self._header_crc)
        return found

    def _zero_ended(self) -> Generator[None, None, bytes | None]:
        """Return the start of a text that a zero ends, or None if it does not end."""
        kept, length = b"", 0
        while length < _NAME_LIMIT:
            piece = yield from self._incoming.piece(256)
            if not piece:
                self._cut_short()
                return None
            end = piece.find(0) + 1
            if end:
                self._incoming.give_back(piece[end:])
                piece = piece[:end]
            self._header_crc = zlib.crc32(piece, self._header_crc)
            length += len(piece)
            if len(kept) < 8 * TEXT_LIMIT:
                kept += piece
            if end:
                return kept.rstrip(b"\0")
        self._troubles.broken("gzip.header-text", member=self._members, limit=_NAME_LIMIT)
        return None

    def _after_members(self, start: bytes) -> Generator[None, None, None]:
        if not self._members:
            self._troubles.broken("wrong-start")
            return
        piece, zeros = start, True
        while piece:
            self._trailing += len(piece)
            zeros = zeros and not any(piece)
            piece = yield from self._incoming.piece()
        if not zeros:
            self._troubles.broken("gzip.trailing", member=self._members, count=self._trailing)

    def _report(self) -> ContainerReport:
        facts: dict[str, Parameter] = {
            "members": self._members,
            "packed_bytes": self._packed,
            "unpacked_bytes": self._unpacked,
            "trailing_bytes": self._trailing,
        }
        return self._troubles.report(GZIP, {**facts, **self._first})


def looks_like_gzip(start: bytes) -> bool:
    """Return whether bytes are the start of a gzip member."""
    return start.startswith(MAGIC) and len(start) > 3 and not start[3] & _RESERVED
