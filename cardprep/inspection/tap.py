"""A tap on the way from a card: every byte of its first part passes once, in order.

The inspection reads tables first and files in the order of their place, which
on a card of ours is nearly the order of the card. The tap reads the little
that lies between, hands everything from the first byte on to a witness, in
order, and keeps what may be asked for again, so that a card is read once for
its inspection, its digest and the comparison with its stage together.

Where that order breaks off, at a place that cannot be read, the witness has
seen the last of the card; all that is asked for is read on as without a tap.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Protocol

from cardprep.errors import ReadFailedError, ShortReadError
from cardprep.inspection.forward import Forwarding
from cardprep.medium.descriptor import aligned_buffer
from cardprep.medium.protocol import Sectors
from cardprep.terms import MIB
from cardprep.volume.model import Extent

KEEP_MOST = 64 * MIB
_STEP = 4 * MIB


class Witness(Protocol):
    """Sees the first part of a card, from its first byte, in order, once."""

    def feed(self, block: memoryview, /) -> None:
        """Take the next bytes; the buffer is used again afterwards."""
        ...


class Tap(Forwarding):
    """Sectors whose first `length` bytes also go to a witness.

    keep  how many of the first bytes are likely to be asked for twice
    """

    def __init__(self, sectors: Sectors, length: int, keep: int, witness: Witness) -> None:
        super().__init__(sectors)
        self._length = min(length, sectors.size)
        self._witness = witness
        self._kept = bytearray()
        self._keep = min(keep, KEEP_MOST, self._length)
        self._passed = 0
        self._buffer: memoryview | None = None
        self._error: ReadFailedError | ShortReadError | None = None

    def between(self, extents: Iterable[Extent]) -> int:
        """Return how many bytes are still to pass that lie in none of these extents.

        What several extents share counts as often as they have it.
        """
        start, end = self._passed, self._length
        asked = sum(
            max(0, min(extent.offset + extent.length, end) - max(extent.offset, start))
            for extent in extents
        )
        return max(0, end - start - asked)

    def read_into(self, offset: int, buffer: memoryview) -> None:
        """Fill `buffer` from `offset`; see Sectors.read_into."""
        end = offset + len(buffer)
        if offset > self._passed and offset < self._length:
            self._run_to(offset)
        if offset == self._passed < self._length:
            self._sectors.read_into(offset, buffer)
            self._pass_on(buffer[: self._length - offset])
        elif end <= len(self._kept):
            buffer[:] = self._kept[offset:end]
        elif offset < self._passed < end and self._passed < self._length:
            middle = self._passed - offset
            self.read_into(offset, buffer[:middle])
            self.read_into(self._passed, buffer[middle:])
        else:
            self._sectors.read_into(offset, buffer)

    def finish(self) -> None:
        """Let everything pass that nobody asked for.

        Raises ReadFailedError or ShortReadError if the witness did not see all.
        """
        self._run_to(self._length)
        if self._error is not None:
            raise self._error

    def _run_to(self, offset: int) -> None:
        """Let what stands before an offset pass, or break off where that cannot be read."""
        if self._buffer is None:
            self._buffer = aligned_buffer(_STEP)
        while self._passed < min(offset, self._length):
            block = self._buffer[: min(_STEP, offset - self._passed)]
            try:
                self._sectors.read_into(self._passed, block)
            except (ReadFailedError, ShortReadError) as error:
                self._error = error
                self._length = self._passed
            else:
                self._pass_on(block)

    def _pass_on(self, block: memoryview) -> None:
        self._witness.feed(block)
        room = self._keep - len(self._kept)
        if room > 0:
            self._kept += block[:room]
        self._passed += len(block)
