"""One block of a card, packed by itself: deflate without a header, ended at a whole byte.

Packed blocks that stand one behind the other, with an end behind them, are one
deflate stream: so the ZIP file unpacks to the whole card, and each block can be
had alone. A block never unpacks to more than was said.

Source: RFC 1951, section 3.2; zlib manual, deflate() with Z_FULL_FLUSH.
"""

from __future__ import annotations

import hashlib
import zlib
from collections import deque
from dataclasses import dataclass

from cardprep.terms import KIB

_RAW = -15
_SAMPLE = 16 * KIB
# Of what deflate makes shorter by less than a twentieth, nothing is gained but time lost.
_WORTH_IT = 0.95


@dataclass(frozen=True, slots=True)
class PackedBlock:
    """A packed block, with the CRC-32 of its packed bytes and the SHA-256 of what it holds."""

    data: bytes
    crc: int
    sha256: str


def pack(block: bytes) -> PackedBlock:
    """Pack a block; quickly, and not at all where samples of it do not get shorter."""
    level = 9 if not block.strip(block[:1]) else 1 if _gets_shorter(block) else 0
    packer = zlib.compressobj(level, zlib.DEFLATED, _RAW)
    data = packer.compress(block) + packer.flush(zlib.Z_FULL_FLUSH)
    return PackedBlock(data, zlib.crc32(data), hashlib.sha256(block).hexdigest())


def _gets_shorter(block: bytes) -> bool:
    middle = len(block) // 2
    sample = block[:_SAMPLE] + block[middle : middle + _SAMPLE]
    return len(zlib.compress(sample, 1)) < _WORTH_IT * len(sample)


def unpack(data: bytes, length: int) -> bytes | None:
    """Return the block of `length` bytes, or None if these bytes do not hold exactly that."""
    unpacker = zlib.decompressobj(_RAW)
    try:
        block = unpacker.decompress(data, length + 1)
    except zlib.error:
        return None
    if unpacker.eof or unpacker.unconsumed_tail or len(block) != length:
        return None
    return block


class Unpacked:
    """The blocks that were unpacked last, by number; a few, so that memory is bounded."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._blocks: dict[int, bytes] = {}
        self._order: deque[int] = deque()

    def get(self, key: int) -> bytes | None:
        """Return a block that is kept, or None."""
        block = self._blocks.get(key)
        if block is not None and self._order[-1] != key:
            self._order.remove(key)
            self._order.append(key)
        return block

    def keep(self, key: int, block: bytes) -> None:
        """Keep a block, and let go of the one that was not asked for longest."""
        self._blocks[key] = block
        self._order.append(key)
        if len(self._order) > self._most:
            del self._blocks[self._order.popleft()]
