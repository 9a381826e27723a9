"""Check cpio archives: each member's header, its sum where it has one, and that the end is there.

Of the three forms only "crc" sums up its contents, by adding all bytes, which
shows damage and no more; so an archive never "holds". Nothing is extracted.

Source: cpio(5), "New ASCII Format", "New CRC Format" and "Portable ASCII Format".
"""

from __future__ import annotations

import re
from collections.abc import Generator
from dataclasses import dataclass

from cardprep.images.blocks import StepReader
from cardprep.images.report import ContainerReport, Parameter, Troubles, harmless

CPIO = "cpio"

# Each member takes time; files of millions of empty ones are made to take it.
MEMBER_LIMIT = 100_000
_NAME_LIMIT = 4096
_LAST = b"TRAILER!!!\0"

_NEW = re.compile(rb"07070([12])([0-9A-Fa-f]{104})")
_OLD = re.compile(rb"070707([0-7]{70})")
_NEW_SIZE, _OLD_SIZE = 110, 76


@dataclass(frozen=True, slots=True, kw_only=True)
class Member:
    """What a header says of its member.

    name   bytes of its name with the zero that ends it  [c_namesize]
    size   bytes of its contents                         [c_filesize]
    sum    of all its bytes, or None                     [c_check]
    align  to how many bytes name and contents are filled up
    """

    name: int
    size: int
    sum: int | None
    align: int

    @classmethod
    def parse(cls, raw: bytes) -> Member | None:
        """Return what a header says, or None for bytes that are none."""
        old = _OLD.fullmatch(raw)
        if old is not None:
            return cls(name=int(raw[59:65], 8), size=int(raw[65:76], 8), sum=None, align=1)
        if _NEW.fullmatch(raw) is None:
            return None
        fields = [int(raw[at : at + 8], 16) for at in range(6, _NEW_SIZE, 8)]
        return cls(
            name=fields[11], size=fields[6], sum=fields[12] if raw[5:6] == b"2" else None, align=4
        )


class CpioReader(StepReader):
    """The machine for cpio. Facts: size, members, contents_bytes, trailing_bytes."""

    def __init__(self) -> None:
        super().__init__()
        self._troubles = Troubles()
        self._members = 0
        self._contents = 0
        self._trailing = 0

    def _steps(self) -> Generator[None, None, None]:
        while self._members < MEMBER_LIMIT:
            at = self._incoming.offset
            start = yield from self._incoming.exactly(6)
            length = _OLD_SIZE if start == b"070707" else _NEW_SIZE
            raw = start + (yield from self._incoming.exactly(length - len(start)))
            if len(raw) < length:
                self._cut_short()
                return
            member = Member.parse(raw)
            if member is None or not 0 < member.name <= _NAME_LIMIT:
                self._troubles.broken("cpio.header", offset=at, members=self._members)
                return
            padded = -(length + member.name) % member.align
            name = yield from self._incoming.exactly(member.name + padded)
            if len(name) < member.name + padded:
                self._cut_short()
                return
            if name.startswith(_LAST) and member.name == len(_LAST):
                yield from self._end()
                return
            if not (yield from self._contents_of(member, name[: member.name])):
                return
        self._troubles.unchecked("cpio.many-members", limit=MEMBER_LIMIT)

    def _contents_of(self, member: Member, name: bytes) -> Generator[None, None, bool]:
        """Pass over the contents of a member; return whether the next header can be found."""
        found = total = 0
        while found < member.size:
            piece = yield from self._incoming.piece(member.size - found)
            if not piece:
                return self._cut_short()
            found += len(piece)
            if member.sum is not None:
                total += sum(piece)
        self._members += 1
        self._contents += member.size
        if member.sum is not None and member.size and total & 0xFFFFFFFF != member.sum:
            self._troubles.broken(
                "cpio.sum",
                name=harmless(name.rstrip(b"\0")),
                stated=f"{member.sum:08X}",
                computed=f"{total & 0xFFFFFFFF:08X}",
            )
        padding = -member.size % member.align
        if (yield from self._incoming.skip(padding)) < padding:
            return self._cut_short()
        return True

    def _cut_short(self) -> bool:
        """Tell that the file ends before its last member, and that nothing follows."""
        self._troubles.broken("cpio.cut-short", offset=self._incoming.offset, members=self._members)
        return False

    def _end(self) -> Generator[None, None, None]:
        filled = True
        while piece := (yield from self._incoming.piece()):
            self._trailing += len(piece)
            filled = filled and not any(piece)
        # Several archives may follow one another, so what stands there breaks nothing.
        if not filled:
            self._troubles.noted("cpio.trailing", count=self._trailing)

    def _report(self) -> ContainerReport:
        facts: dict[str, Parameter] = {
            "size": self._incoming.offset,
            "members": self._members,
            "contents_bytes": self._contents,
            "trailing_bytes": self._trailing,
        }
        return self._troubles.report(CPIO, facts, covered=False)
