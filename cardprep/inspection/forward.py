"""Sectors behind sectors: the same card, seen on its way through the inspection.

Every read of a pass goes through here, whatever it is for: tables, folders,
files, and what lies between. So this is where somebody's wish to stop is met
and where it is told how far the pass is.
"""

from __future__ import annotations

from cardprep.medium.closing import Closing
from cardprep.medium.protocol import Identity, Sectors
from cardprep.progress import Cancel, Progress


class Forwarding(Closing):
    """The same sectors under another object; what is added stands in its subclasses."""

    def __init__(self, sectors: Sectors) -> None:
        self._sectors = sectors

    @property
    def identity(self) -> Identity:
        """What tells this card from another."""
        return self._sectors.identity

    @property
    def size(self) -> int:
        """Bytes that the medium says it holds."""
        return self._sectors.size

    @property
    def sector_size(self) -> int:
        """Bytes per sector that the medium announces."""
        return self._sectors.sector_size

    @property
    def past_the_cache(self) -> bool:
        """Whether reads come from the medium and not from the system's memory."""
        return self._sectors.past_the_cache

    def close(self) -> None:
        """Close the sectors behind it."""
        self._sectors.close()

    def read_into(self, offset: int, buffer: memoryview) -> None:
        """Fill `buffer` from `offset`; see Sectors.read_into."""
        self._sectors.read_into(offset, buffer)


class Share:
    """Progress that never goes back or beyond its total, and tells the end once.

    What is to be read is known from what a card claims, and may come out otherwise.
    """

    def __init__(self, progress: Progress, total: int) -> None:
        self._progress = progress
        self._total = total
        self._done = 0

    def tell(self, done: int) -> None:
        """Tell that so many bytes are done."""
        done = min(done, self._total)
        if done > self._done:
            self._done = done
            self._progress(done, self._total)

    def end(self) -> None:
        """Tell that there is nothing left to do, whatever could be read."""
        self.tell(self._total)


class Attended(Forwarding):
    """The same sectors, read for somebody who waits: counted, told, and left when asked.

    bytes_read  bytes that were asked of them
    """

    def __init__(self, sectors: Sectors, progress: Progress, cancel: Cancel) -> None:
        super().__init__(sectors)
        self.bytes_read = 0
        self._progress = progress
        self._cancel = cancel
        # Until it is known how much there is to read, nothing is told.
        self._share = Share(progress, 0)
        self._before = 0

    def expect(self, total: int) -> None:
        """Tell progress from now on, with so many bytes to be read."""
        self._share = Share(self._progress, total)
        self._before = self.bytes_read

    def check(self) -> None:
        """Return at once, or raise StoppedError if somebody asked to stop."""
        self._cancel.check()

    def end(self) -> None:
        """Tell that nothing more will be read."""
        self._share.end()

    def read_into(self, offset: int, buffer: memoryview) -> None:
        """Fill `buffer` from `offset`; as Sectors.read_into, or StoppedError."""
        self.check()
        self.bytes_read += len(buffer)
        self._sectors.read_into(offset, buffer)
        self._share.tell(self.bytes_read - self._before)
