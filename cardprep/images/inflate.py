"""Unpack deflate data to compute its checksum, keeping nothing and within limits.

A few kilobytes can unpack to gigabytes. So output is made in pieces of bounded
size, and unpacking stops at a total, or at a ratio that update files do not
reach. Because blocks come in one size, where it stops depends on the file only.

Source: RFC 1951, DEFLATE Compressed Data Format Specification, version 1.3.
"""

from __future__ import annotations

import zlib
from collections.abc import Generator
from dataclasses import dataclass
from enum import Enum, auto

from cardprep.images.blocks import BLOCK, Incoming
from cardprep.terms import GIB, KIB, MIB

TOTAL_LIMIT = GIB
RATIO_LIMIT = 200
# Erased flash compresses to nearly nothing, and an image may begin with much of it.
RATIO_FROM = 64 * MIB
_OUTPUT = 256 * KIB


class Ending(Enum):
    """How unpacking came to its end."""

    WHOLE = auto()
    CUT_SHORT = auto()
    DAMAGED = auto()
    TOO_LARGE = auto()


@dataclass(frozen=True, slots=True, kw_only=True)
class Inflated:
    """What was unpacked.

    packed    bytes of deflate data
    unpacked  bytes that came out
    crc       CRC-32 of those
    """

    ending: Ending
    packed: int
    unpacked: int
    crc: int


class Inflater:
    """Unpacks one deflate stream; `budget` is how many bytes may come out."""

    def __init__(self, budget: int) -> None:
        self._budget = budget
        self._engine = zlib.decompressobj(-zlib.MAX_WBITS)
        self._packed = 0
        self._unpacked = 0
        self._crc = 0

    def run(self, incoming: Incoming, available: int | None) -> Generator[None, None, Inflated]:
        """Unpack up to the stream's own end, at most `available` bytes of it if that is known.

        What follows the stream is left in `incoming`. Of damaged data, all that
        was taken from there counts as packed.
        """
        while available is None or self._packed < available:
            most = BLOCK if available is None else available - self._packed
            piece = yield from incoming.piece(most)
            if not piece:
                break
            ending = self._unpack(piece)
            if self._engine.eof:
                incoming.give_back(self._engine.unused_data)
            if ending is not None:
                return self._inflated(ending)
        return self._inflated(Ending.CUT_SHORT)

    def _unpack(self, piece: bytes) -> Ending | None:
        """Unpack one piece wholly, or until it is known how this ends."""
        rest = piece
        while True:
            try:
                output = self._engine.decompress(rest, _OUTPUT)
            except zlib.error:
                self._packed += len(piece)
                return Ending.DAMAGED
            rest = self._engine.unconsumed_tail
            self._crc = zlib.crc32(output, self._crc)
            self._unpacked += len(output)
            used = len(piece) - len(rest) - len(self._engine.unused_data)
            if self._too_large(self._packed + used):
                self._packed += used
                return Ending.TOO_LARGE
            # A full output may mean that more waits inside the engine.
            if self._engine.eof or (not rest and len(output) < _OUTPUT):
                self._packed += used
                return Ending.WHOLE if self._engine.eof else None

    def _too_large(self, packed: int) -> bool:
        if self._unpacked > self._budget:
            return True
        return self._unpacked > RATIO_FROM and self._unpacked > RATIO_LIMIT * packed

    def _inflated(self, ending: Ending) -> Inflated:
        return Inflated(ending=ending, packed=self._packed, unpacked=self._unpacked, crc=self._crc)
