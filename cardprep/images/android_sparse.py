"""Check Android sparse images: the header, and every chunk that it counts.

Chunks tell their own length twice, in blocks and in bytes, and the header tells
how many chunks and blocks there are; so a file that was cut short or damaged in
its structure is found. Contents have no checksum as a rule, so it never "holds".
All numbers are little-endian.

Source: Android libsparse, sparse_format.h.
"""

from __future__ import annotations

import struct
from collections.abc import Generator

from cardprep.images.blocks import StepReader
from cardprep.images.report import ContainerReport, Parameter, Troubles

ANDROID_SPARSE = "android-sparse"

# Each chunk takes time; files of millions of them are made to take it.
CHUNK_LIMIT = 200_000

_HEADER = struct.Struct("<I4H4I")
_CHUNK = struct.Struct("<2H2I")
_RAW, _FILL, _SKIP, _CRC = 0xCAC1, 0xCAC2, 0xCAC3, 0xCAC4


class AndroidSparseReader(StepReader):
    """The machine for Android sparse images.

    Facts: size, block_size, blocks, chunks, unpacked_bytes, trailing_bytes.
    """

    def __init__(self) -> None:
        super().__init__()
        self._troubles = Troubles()
        self._facts: dict[str, Parameter] = {}

    def _steps(self) -> Generator[None, None, None]:
        raw = yield from self._incoming.exactly(_HEADER.size)
        if len(raw) < _HEADER.size:
            self._troubles.broken("sparse.header-cut-short", found=len(raw))
            return
        block_size, blocks, chunks = _HEADER.unpack(raw)[5:8]
        self._facts = {
            "block_size": block_size,
            "blocks": blocks,
            "chunks": chunks,
            "unpacked_bytes": block_size * blocks,
        }
        if not block_size or block_size % 4:
            self._troubles.broken("sparse.block-size", found=block_size)
            return
        given = 0
        for number in range(1, min(chunks, CHUNK_LIMIT) + 1):
            found = yield from self._chunk(number, block_size)
            if found is None:
                return
            given += found
        if chunks > CHUNK_LIMIT:
            self._troubles.unchecked("sparse.many-chunks", limit=CHUNK_LIMIT)
            return
        if given != blocks:
            self._troubles.broken("sparse.blocks", stated=blocks, found=given)
        trailing = 0
        while piece := (yield from self._incoming.piece()):
            trailing += len(piece)
        self._facts["trailing_bytes"] = trailing
        if trailing:
            self._troubles.noted("sparse.trailing", count=trailing)

    def _chunk(self, number: int, block_size: int) -> Generator[None, None, int | None]:
        """Pass over one chunk and return its blocks, or None if no other can follow."""
        at = self._incoming.offset
        raw = yield from self._incoming.exactly(_CHUNK.size)
        if len(raw) < _CHUNK.size:
            self._troubles.broken("sparse.cut-short", chunk=number, offset=self._incoming.offset)
            return None
        kind, _, blocks, length = _CHUNK.unpack(raw)
        right = {_RAW: blocks * block_size, _FILL: 4, _SKIP: 0, _CRC: 4}.get(kind)
        if right is None or length != _CHUNK.size + right:
            self._troubles.broken("sparse.chunk", chunk=number, offset=at)
            return None
        if (yield from self._incoming.skip(right)) < right:
            self._troubles.broken("sparse.cut-short", chunk=number, offset=self._incoming.offset)
            return None
        return 0 if kind == _CRC else blocks

    def _report(self) -> ContainerReport:
        facts = {"size": self._incoming.offset, **self._facts}
        return self._troubles.report(ANDROID_SPARSE, facts, covered=False)
