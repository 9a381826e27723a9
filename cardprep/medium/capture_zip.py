"""The ZIP file around a capture, as bytes: everything in it but the card's own blocks.

Nothing here reads or writes a file. A capture has one spelling: whoever knows the
card's size and checksum, how long its packed form is, and the index, can make every
other byte anew. So a reader makes them and compares, and no byte of the frame can be
changed without being noticed.

Source: APPNOTE.TXT - .ZIP File Format Specification, version 6.3.10, sections 4.3.7,
4.3.12, 4.3.14 to 4.3.16 and 4.5.3 (PKWARE).
"""

from __future__ import annotations

import hashlib
import struct
import zlib
from dataclasses import dataclass

from cardprep.medium.capture_mark import COMMENT, FIRST_NAME
from cardprep.texts.capture_note import NOTE

NOTE_NAME, CARD_NAME = FIRST_NAME, b"card.img"
INDEX_NAME, SUMS_NAME = b"index.json", b"SHA256SUMS"
# An empty last block of deflate (RFC 1951, 3.2.6), behind the blocks of the card.
DEFLATE_END = b"\x03\x00"

_STORED, _DEFLATED = 0, 8
_NEEDED, _MADE_BY = 45, 3 << 8 | 45  # ZIP64; the attributes are those of Unix
_ATTRIBUTES = 0o100444 << 16  # an ordinary file that is to be read only
_DATE, _TIME = 0x21, 0  # 1 January 1980: the time of the capture stands in the index
_IN_EXTRA = 0xFFFFFFFF
_LOCAL = struct.Struct("<IHHHHHIIIHH")
_LOCAL_EXTRA = struct.Struct("<HHQQ")
_CENTRAL = struct.Struct("<IHHHHHHIIIHHHHHII")
_CENTRAL_EXTRA = struct.Struct("<HHQQQ")
_END64 = struct.Struct("<IQHHIIQQQQ")
_LOCATOR = struct.Struct("<IIQI")
_END = struct.Struct("<IHHHHIIH")
_LOCAL_SIGNATURE, _CENTRAL_SIGNATURE = 0x04034B50, 0x02014B50
_END64_SIGNATURE, _LOCATOR_SIGNATURE, _END_SIGNATURE = 0x06064B50, 0x07064B50, 0x06054B50
_SUM_LENGTH = 64 + 2 + 1
_SUMMED = (NOTE_NAME, CARD_NAME, INDEX_NAME)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Member:
    name: bytes
    method: int
    crc: int
    packed: int
    size: int

    def local(self) -> bytes:
        """Return the local file header (4.3.7)."""
        extra = _LOCAL_EXTRA.pack(1, 16, self.size, self.packed)
        return (
            _LOCAL.pack(
                *(_LOCAL_SIGNATURE, _NEEDED, 0, self.method, _TIME, _DATE, self.crc),
                *(_IN_EXTRA, _IN_EXTRA, len(self.name), len(extra)),
            )
            + self.name
            + extra
        )

    def central(self, offset: int) -> bytes:
        """Return the header in the central directory (4.3.12)."""
        extra = _CENTRAL_EXTRA.pack(1, 24, self.size, self.packed, offset)
        return (
            _CENTRAL.pack(
                *(_CENTRAL_SIGNATURE, _MADE_BY, _NEEDED, 0, self.method, _TIME, _DATE, self.crc),
                *(_IN_EXTRA, _IN_EXTRA, len(self.name), len(extra)),
                *(0, 0, 0, _ATTRIBUTES, _IN_EXTRA),
            )
            + self.name
            + extra
        )


def _stored(name: bytes, data: bytes) -> _Member:
    return _Member(
        name=name, method=_STORED, crc=zlib.crc32(data), packed=len(data), size=len(data)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """All that decides the bytes around the card's blocks.

    size    bytes of the card
    crc     CRC-32 of them
    sha256  of them, in hexadecimal digits
    packed  bytes of the card's packed form, the end of deflate among them
    index   the index, as it stands in the capture
    """

    size: int
    crc: int
    sha256: str
    packed: int
    index: bytes

    def head(self) -> bytes:
        """Return what stands before the card's first block; always HEAD_LENGTH bytes."""
        note = NOTE.encode()
        return _stored(NOTE_NAME, note).local() + note + self._card().local()

    def tail(self) -> bytes:
        """Return what stands behind the card's last block and the end of deflate."""
        note, index, sums = NOTE.encode(), self.index, self._sums()
        members = (
            _stored(NOTE_NAME, note),
            self._card(),
            _stored(INDEX_NAME, index),
            _stored(SUMS_NAME, sums),
        )
        begin = HEAD_LENGTH + self.packed
        data = members[2].local() + index + members[3].local() + sums
        offsets, at = [], 0
        for member in members:
            offsets.append(at)
            at += len(member.local()) + member.packed
        pairs = zip(members, offsets, strict=True)
        directory = b"".join(member.central(offset) for member, offset in pairs)
        count, start = len(members), begin + len(data)
        ends = (
            _END64.pack(
                *(_END64_SIGNATURE, _END64.size - 12, _MADE_BY, _NEEDED, 0, 0),
                *(count, count, len(directory), start),
            ),
            _LOCATOR.pack(_LOCATOR_SIGNATURE, 0, start + len(directory), 1),
            _END.pack(
                *(_END_SIGNATURE, 0, 0, count, count, len(directory), _IN_EXTRA, len(COMMENT)),
            ),
        )
        return data + directory + b"".join(ends) + COMMENT

    def _card(self) -> _Member:
        return _Member(
            name=CARD_NAME, method=_DEFLATED, crc=self.crc, packed=self.packed, size=self.size
        )

    def _sums(self) -> bytes:
        digests = {
            NOTE_NAME: hashlib.sha256(NOTE.encode()).hexdigest(),
            CARD_NAME: self.sha256,
            INDEX_NAME: hashlib.sha256(self.index).hexdigest(),
        }
        return b"".join(b"%b  %b\n" % (digests[name].encode(), name) for name in _SUMMED)


_EMPTY = Frame(size=0, crc=0, sha256="0" * 64, packed=0, index=b"")
HEAD_LENGTH = len(_EMPTY.head())
# All of the tail but the index has one length, so that the index is found from the end.
TAIL_LENGTH = len(_EMPTY.tail())
_INDEX_LOCAL = len(_stored(INDEX_NAME, b"").local())


def index_place(tail: bytes, size: int) -> tuple[int, int] | None:
    """Return offset and length of the index, from the last TAIL_LENGTH bytes of a file.

    None where these cannot be right for a file of `size` bytes. Nothing else in
    the tail is looked at: it is made anew and compared.
    """
    names = (SUMS_NAME, INDEX_NAME)
    at = TAIL_LENGTH - len(COMMENT) - _END.size - _LOCATOR.size - _END64.size
    for name in names:
        at -= _CENTRAL.size + len(name) + _CENTRAL_EXTRA.size
    (length,) = struct.unpack_from("<Q", tail, at + _CENTRAL.size + len(INDEX_NAME) + 4)
    offset = size - TAIL_LENGTH - length + _INDEX_LOCAL
    # The part of the tail that stands behind the index has a length of its own.
    least = HEAD_LENGTH + len(DEFLATE_END) + _INDEX_LOCAL
    return (offset, length) if offset >= least else None
