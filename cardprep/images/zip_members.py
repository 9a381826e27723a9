"""Walk the members of a ZIP file from its start: unpack within limits, compute CRCs.

What a member's local header (or the descriptor after its contents) says is
held against what was found; what it says is kept, for the central directory to
be held against. Of a name only its digest is kept, because names can be long.

Source: .ZIP File Format Specification (APPNOTE.TXT) 6.3.10, sections 4.3.7 to
4.3.9 and 4.4.4.
"""

from __future__ import annotations

import zlib
from collections.abc import Generator
from dataclasses import dataclass
from hashlib import sha256

from cardprep.images.blocks import Incoming
from cardprep.images.inflate import RATIO_LIMIT, TOTAL_LIMIT, Ending, Inflater
from cardprep.images.report import Troubles, harmless
from cardprep.images.zip_records import (
    DEFLATED,
    STORED,
    LocalHeader,
    Sizes,
    descriptor_of,
    may_precede,
    with_zip64,
)

MEMBER_LIMIT = 4096

_LONGEST_DESCRIPTOR = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Member:
    """What is kept of a member.

    name         in harmless spelling, shortened
    name_digest  SHA-256 of the name as stored
    sizes        as the file says them next to the contents
    """

    name: str
    name_digest: bytes
    flags: int
    method: int
    time: int
    sizes: Sizes


class MemberWalk:
    """Reads members one by one; `members` is by the offset of their local headers."""

    def __init__(self, incoming: Incoming, troubles: Troubles) -> None:
        self._incoming = incoming
        self._troubles = troubles
        self._names: set[bytes] = set()
        self.members: dict[int, Member] = {}
        self.packed = 0
        self.unpacked = 0

    def member(self, signature: bytes) -> Generator[None, None, bool]:
        """Read a member after its signature; return whether the next one can be found."""
        offset = self._incoming.offset - len(signature)
        raw = yield from self._incoming.exactly(LocalHeader.SIZE - len(signature))
        if len(raw) < LocalHeader.SIZE - len(signature):
            return self._cut_short()
        header = LocalHeader.parse(signature + raw)
        name = yield from self._incoming.exactly(header.name_size)
        extra = yield from self._incoming.exactly(header.extra_size)
        if len(name) < header.name_size or len(extra) < header.extra_size:
            return self._cut_short()
        if len(self.members) == MEMBER_LIMIT:
            self._troubles.unchecked("zip.many-members", limit=MEMBER_LIMIT)
            return False
        shown = harmless(name)
        sizes = header.sizes if header.has_descriptor else with_zip64(header.sizes, extra)
        if sizes is None:
            self._troubles.unchecked("zip.zip64", name=shown)
            return False
        said = yield from self._contents(header, sizes, shown)
        if said is None:
            return False
        self._keep(offset, header, name, said)
        return True

    def _keep(self, offset: int, header: LocalHeader, name: bytes, said: Sizes) -> None:
        shown, digest = harmless(name), sha256(name).digest()
        if digest in self._names:
            self._troubles.noted("zip.name-twice", name=shown)
        self._names.add(digest)
        self.members[offset] = Member(
            name=shown,
            name_digest=digest,
            flags=header.flags,
            method=header.method,
            time=header.time,
            sizes=said,
        )

    def _contents(
        self, header: LocalHeader, sizes: Sizes, name: str
    ) -> Generator[None, None, Sizes | None]:
        """Read the contents and a descriptor.

        Return the sizes that stand there, or None if the walk ends here.
        """
        # Some writers call an empty member deflated and give it no data at all.
        empty = not header.has_descriptor and not sizes.packed and not sizes.unpacked
        if header.encrypted:
            self._troubles.unchecked("zip.encrypted", name=name)
        elif header.method == DEFLATED and not empty:
            return (yield from self._deflated(header, sizes, name))
        elif header.method not in {STORED, DEFLATED}:
            self._troubles.unchecked("zip.method", name=name, method=header.method)
        elif not header.has_descriptor or sizes.packed:
            return (yield from self._stored(header, sizes, name))
        if header.has_descriptor and not sizes.packed:
            self._troubles.unchecked("zip.size-unknown", name=name)
            return None
        if (yield from self._pass_over(sizes.packed)) is None:
            return None
        if header.has_descriptor:
            yield from self._descriptor(sizes)
        return sizes

    def _stored(
        self, header: LocalHeader, sizes: Sizes, name: str
    ) -> Generator[None, None, Sizes | None]:
        crc = yield from self._pass_over(sizes.packed)
        if crc is None:
            return None
        self.unpacked += sizes.packed
        found = Sizes(crc=crc, packed=sizes.packed, unpacked=sizes.packed)
        return (yield from self._held_against(header, sizes, found, name))

    def _deflated(
        self, header: LocalHeader, sizes: Sizes, name: str
    ) -> Generator[None, None, Sizes | None]:
        available = None if header.has_descriptor else sizes.packed
        inflater = Inflater(TOTAL_LIMIT - self.unpacked)
        inflated = yield from inflater.run(self._incoming, available)
        self.packed += inflated.packed
        self.unpacked += inflated.unpacked
        if inflated.ending is Ending.TOO_LARGE:
            self._troubles.unchecked(
                "zip.too-large", name=name, limit=TOTAL_LIMIT, ratio=RATIO_LIMIT
            )
            return None
        rest = 0 if available is None else available - inflated.packed
        if inflated.ending is Ending.CUT_SHORT and (rest or available is None):
            self._cut_short()
            return None
        if (yield from self._pass_over(rest)) is None:
            return None
        if inflated.ending is not Ending.WHOLE:
            self._troubles.broken("zip.damaged", name=name)
            # Without a size, only the deflate data could have told where they end.
            return None if header.has_descriptor else sizes
        found = Sizes(crc=inflated.crc, packed=inflated.packed, unpacked=inflated.unpacked)
        return (yield from self._held_against(header, sizes, found, name))

    def _held_against(
        self, header: LocalHeader, sizes: Sizes, found: Sizes, name: str
    ) -> Generator[None, None, Sizes]:
        """Compare what was found with what is said before or after the contents."""
        if header.has_descriptor:
            if not may_precede(sizes, found):
                self._troubles.broken("zip.header-sizes", name=name)
            if not (yield from self._descriptor(found)):
                self._troubles.broken("zip.descriptor", name=name)
            return found
        if found.crc != sizes.crc:
            self._troubles.broken(
                "zip.crc", name=name, stated=f"{sizes.crc:08X}", computed=f"{found.crc:08X}"
            )
        if found.packed != sizes.packed:
            self._troubles.broken(
                "zip.packed-size", name=name, stated=sizes.packed, found=found.packed
            )
        if found.unpacked != sizes.unpacked:
            self._troubles.broken(
                "zip.unpacked-size", name=name, stated=sizes.unpacked, found=found.unpacked
            )
        return sizes

    def _descriptor(self, found: Sizes) -> Generator[None, None, bool]:
        """Read a descriptor; return whether it says what was found."""
        raw = yield from self._incoming.exactly(_LONGEST_DESCRIPTOR)
        length, fits = descriptor_of(raw, found)
        self._incoming.give_back(raw[length:])
        return fits

    def _pass_over(self, count: int) -> Generator[None, None, int | None]:
        """Read `count` bytes and return their CRC-32, or None if the file ends before."""
        crc, left = 0, count
        while left:
            piece = yield from self._incoming.piece(left)
            if not piece:
                self._cut_short()
                return None
            crc = zlib.crc32(piece, crc)
            left -= len(piece)
            self.packed += len(piece)
        return crc

    def _cut_short(self) -> bool:
        """Tell that the file ends inside a member, and that the walk ends here."""
        self._troubles.broken("zip.cut-short", members=len(self.members))
        return False
