"""Check xz files: each stream's own checks, within limits, keeping nothing.

A file may hold several streams, and zeros in fours between and behind them.
Each stream names its check: CRC-32, CRC-64, SHA-256 or none. What would need too
much memory, or unpacks to too much, is not checked.

Source: The .xz File Format 1.2.1.
"""

from __future__ import annotations

import lzma
from collections.abc import Generator

from cardprep.images.blocks import StepReader
from cardprep.images.inflate import RATIO_FROM, RATIO_LIMIT, TOTAL_LIMIT
from cardprep.images.report import ContainerReport, Parameter, Troubles
from cardprep.terms import KIB, MIB

XZ = "xz"
MAGIC = b"\xfd7zXZ\x00"

STREAM_LIMIT = 1024
# The strongest of the usual settings needs 65 MiB to unpack.
MEMORY_LIMIT = 80 * MIB
_OUTPUT = 256 * KIB


class XzReader(StepReader):
    """The machine for xz. Facts: streams, unpacked_bytes, trailing_bytes."""

    def __init__(self) -> None:
        super().__init__()
        self._troubles = Troubles()
        self._streams = 0
        self._unpacked = 0
        self._trailing = 0
        self._covered = True

    def _steps(self) -> Generator[None, None, None]:
        while self._streams < STREAM_LIMIT:
            start = yield from self._padding()
            if not start:
                if not self._streams:
                    self._troubles.broken("wrong-start")
                return
            if not start.startswith(MAGIC[: len(start)]) or self._trailing % 4:
                self._incoming.give_back(start)
                yield from self._other()
                return
            self._incoming.give_back(start)
            self._streams += 1
            self._trailing = 0
            if not (yield from self._stream()):
                return
        self._troubles.unchecked("xz.many-streams", limit=STREAM_LIMIT)

    def _padding(self) -> Generator[None, None, bytes]:
        """Pass over zeros and return up to 6 bytes that follow them."""
        while piece := (yield from self._incoming.piece()):
            rest = piece.lstrip(b"\0")
            self._trailing += len(piece) - len(rest)
            if rest:
                self._incoming.give_back(rest)
                return (yield from self._incoming.exactly(len(MAGIC)))
        if self._trailing % 4 and self._streams:
            self._troubles.noted("xz.trailing", count=self._trailing)
        return b""

    def _other(self) -> Generator[None, None, None]:
        if not self._streams:
            self._troubles.broken("wrong-start")
            return
        while piece := (yield from self._incoming.piece()):
            self._trailing += len(piece)
        self._troubles.noted("xz.trailing", count=self._trailing)

    def _stream(self) -> Generator[None, None, bool]:
        """Unpack one stream; return whether another may follow."""
        engine = lzma.LZMADecompressor(lzma.FORMAT_XZ, memlimit=MEMORY_LIMIT)
        while not engine.eof:
            piece = yield from self._incoming.piece()
            if not piece:
                self._troubles.broken("xz.cut-short", stream=self._streams)
                return False
            if not self._unpack(engine, piece):
                return False
        self._incoming.give_back(engine.unused_data)
        if engine.check == lzma.CHECK_NONE:
            self._covered = False
        return True

    def _unpack(self, engine: lzma.LZMADecompressor, piece: bytes) -> bool:
        """Unpack one piece wholly; return whether the stream may go on."""
        rest = piece
        while True:
            try:
                output = engine.decompress(rest, _OUTPUT)
            except lzma.LZMAError as error:
                if "Memory" in str(error):
                    self._troubles.unchecked("xz.memory", limit=MEMORY_LIMIT)
                else:
                    self._troubles.broken("xz.damaged", stream=self._streams)
                return False
            rest = b""
            self._unpacked += len(output)
            packed = self._incoming.offset
            if self._unpacked > TOTAL_LIMIT or (
                self._unpacked > RATIO_FROM and self._unpacked > RATIO_LIMIT * packed
            ):
                self._troubles.unchecked("xz.too-large", limit=TOTAL_LIMIT, ratio=RATIO_LIMIT)
                return False
            if engine.eof or engine.needs_input:
                return True

    def _report(self) -> ContainerReport:
        facts: dict[str, Parameter] = {
            "streams": self._streams,
            "unpacked_bytes": self._unpacked,
            "trailing_bytes": self._trailing,
        }
        return self._troubles.report(XZ, facts, covered=self._covered)
