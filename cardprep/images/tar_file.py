"""Check tar files: each member's header, and that nothing is missing at the end.

Only headers have a checksum. A member's contents have none, so a tar file
never "holds": it is broken, or unchecked. Nothing is extracted.

Sizes over the octal field's 8 GiB come in base 256, or in a pax header, which
is not followed: what stands after it is then unchecked.

Source: POSIX.1-2017, pax, "ustar Interchange Format"; GNU tar manual, "Basic
Tar Format"; base 256 and sparse members from the latter.
"""

from __future__ import annotations

import re
from collections.abc import Generator

from cardprep.images.blocks import BLOCK, StepReader
from cardprep.images.report import ContainerReport, Parameter, Troubles, harmless

TAR = "tar"
RECORD = 512

# A member of these types has no contents, whatever its size field says.
_WITHOUT_CONTENTS = frozenset(b"123456")
# Headers that only say more about the next member, and no member themselves.
_ABOUT_NEXT = frozenset(b"xgXLK")
_PAX = frozenset(b"xgX")
_SPARSE = ord("S")
_OCTAL = re.compile(rb"[ \0]*([0-7]*)[ \0]*")
_PAX_SIZE = re.compile(rb"(?:^|\n)[0-9]+ size=")


class TarReader(StepReader):
    """The machine for tar.

    Facts: members, contents_bytes; trailing_bytes, those after the two blocks
    of zeros that end it.
    """

    def __init__(self) -> None:
        super().__init__()
        self._troubles = Troubles()
        self._members = 0
        self._contents = 0
        self._trailing = 0

    def _steps(self) -> Generator[None, None, None]:
        while True:
            at = self._incoming.offset
            header = yield from self._incoming.exactly(RECORD)
            if not any(header):
                yield from self._end(header, at)
                return
            if len(header) < RECORD:
                self._troubles.broken("tar.cut-short", offset=at, member=self._members)
                return
            size = _number(header[124:136])
            if not checksum_fits(header):
                self._troubles.broken("tar.header-checksum", offset=at, member=self._members + 1)
                return
            if size is None:
                self._troubles.broken("tar.size", offset=at, member=self._members + 1)
                return
            if not (yield from self._contents_of(header, size)):
                return

    def _contents_of(self, header: bytes, size: int) -> Generator[None, None, bool]:
        """Pass over what follows a header; return whether the next header can be found."""
        kind = header[156]
        if kind == _SPARSE:
            self._troubles.unchecked("tar.sparse", name=harmless(header[:100].split(b"\0")[0]))
            return False
        if kind in _WITHOUT_CONTENTS:
            size = 0
        padded = -(-size // RECORD) * RECORD
        said = b""
        if kind in _PAX:
            said = yield from self._incoming.exactly(min(size, BLOCK))
        found = len(said) + (yield from self._incoming.skip(padded - len(said)))
        if kind not in _ABOUT_NEXT:
            self._members += 1
            self._contents += min(size, found)
        if found < padded:
            self._troubles.broken(
                "tar.cut-short", offset=self._incoming.offset, member=self._members
            )
            return False
        if _PAX_SIZE.search(said):
            self._troubles.unchecked("tar.pax-size", member=self._members + 1)
            return False
        return True

    def _end(self, first: bytes, at: int) -> Generator[None, None, None]:
        """Read the second block of zeros and what follows it."""
        second = yield from self._incoming.exactly(RECORD)
        if len(first) < RECORD or len(second) < RECORD or any(second):
            self._troubles.broken("tar.no-end", offset=at, member=self._members)
            return
        zeros = True
        while piece := (yield from self._incoming.piece()):
            self._trailing += len(piece)
            zeros = zeros and not any(piece)
        if not zeros:
            self._troubles.broken("tar.after-end", count=self._trailing)

    def _report(self) -> ContainerReport:
        facts: dict[str, Parameter] = {
            "members": self._members,
            "contents_bytes": self._contents,
            "trailing_bytes": self._trailing,
        }
        return self._troubles.report(TAR, facts, covered=False)


def looks_like_tar(head: bytes) -> bool:
    """Return whether a file starts like tar: by its magic, or (old tar) by a right header."""
    if head[257:262] == b"ustar":
        return True
    header = head[:RECORD]
    return (
        len(header) == RECORD
        and header[0] != 0
        and _number(header[124:136]) is not None
        and checksum_fits(header)
    )


def checksum_fits(header: bytes) -> bool:
    """Return whether a header's 512 bytes give the sum that stands in it.

    The field itself counts as spaces. Some old writers summed signed bytes.
    """
    stated = _octal(header[148:156])
    if stated is None:
        return False
    unsigned = sum(header) - sum(header[148:156]) + 8 * ord(" ")
    rest = header[:148] + header[156:]
    signed = unsigned - 256 * sum(1 for byte in rest if byte > 0x7F)
    return stated in {unsigned, signed}


def _number(field: bytes) -> int | None:
    """Return the value of a size field, octal or base 256, or None if it cannot be right."""
    if field[:1] == b"\x80":
        value = int.from_bytes(field[1:], "big")
        return value if value < 1 << 53 else None
    return _octal(field) if field.strip(b" \0") else 0


def _octal(field: bytes) -> int | None:
    found = _OCTAL.fullmatch(field)
    return int(found[1], 8) if found and found[1] else None
