"""Look at one file's content: digests and container format in one pass.

Large files are hashed by a second thread while the next block is read, small
ones at once, because starting a thread costs more than hashing them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from cardprep.digests import ContentDigests, FileDigests
from cardprep.images.recognise import Recogniser
from cardprep.images.report import ContainerReport
from cardprep.medium.descriptor import aligned_buffer
from cardprep.medium.protocol import Sectors
from cardprep.terms import MIB
from cardprep.volume.model import Extent

if TYPE_CHECKING:
    from concurrent.futures import Future, ThreadPoolExecutor

BLOCK = MIB
HEAD = 32
_LARGE = 8 * MIB


@dataclass(frozen=True, slots=True)
class Content:
    """What a file's bytes are; `head` is its first ones, 32 at most."""

    digests: FileDigests
    container: ContainerReport
    head: bytes


class ContentReading:
    """Reads the contents of many files, one after another, with two buffers and one thread."""

    def __init__(self) -> None:
        self._buffers = (aligned_buffer(BLOCK), aligned_buffer(BLOCK))
        self._thread: ThreadPoolExecutor | None = None

    def close(self) -> None:
        """Let the thread end."""
        if self._thread is not None:
            self._thread.shutdown()

    def from_sectors(
        self, sectors: Sectors, extents: tuple[Extent, ...], size: int
    ) -> Iterator[int | Content]:
        """Give the bytes done after each block, and at last the content.

        Raises ReadFailedError or ShortReadError as the sectors do.
        """
        return self._read(self._blocks(sectors, extents), size)

    def from_blocks(self, blocks: Iterator[memoryview], size: int) -> Iterator[int | Content]:
        """Give the same for blocks that come from elsewhere and are overwritten in turn."""
        # Only one buffer is behind them, so nothing may be hashed while the next is read.
        return self._read(blocks, min(size, _LARGE - 1))

    def _blocks(self, sectors: Sectors, extents: tuple[Extent, ...]) -> Iterator[memoryview]:
        turn = 0
        for extent in extents:
            for at in range(0, extent.length, BLOCK):
                block = self._buffers[turn][: min(BLOCK, extent.length - at)]
                sectors.read_into(extent.offset + at, block)
                yield block
                turn = 1 - turn

    def _read(self, blocks: Iterator[memoryview], size: int) -> Iterator[int | Content]:
        digests = ContentDigests()
        recogniser, head = Recogniser(), b""
        pending: Future[None] | None = None
        done = 0
        try:
            for block in blocks:
                if pending is not None:
                    pending.result()
                if size >= _LARGE:
                    pending = self._pool().submit(digests.update, block)
                else:
                    digests.update(block)
                recogniser.feed(block)
                if len(head) < HEAD:
                    head += bytes(block[: HEAD - len(head)])
                done += len(block)
                yield done
        finally:
            if pending is not None:
                pending.result()
        yield Content(digests.result(), recogniser.finish(), head)

    def _pool(self) -> ThreadPoolExecutor:
        if self._thread is None:
            # A small card needs no thread and does not wait for this.
            from concurrent.futures import ThreadPoolExecutor

            self._thread = ThreadPoolExecutor(1, "hash")
        return self._thread
