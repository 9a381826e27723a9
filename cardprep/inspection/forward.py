"""Sectors behind sectors: the same card, seen on its way through the inspection."""

from __future__ import annotations

from cardprep.medium.closing import Closing
from cardprep.medium.protocol import Identity, Sectors


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


class Counting(Forwarding):
    """The same sectors, with a count of the bytes that were asked of them."""

    def __init__(self, sectors: Sectors) -> None:
        super().__init__(sectors)
        self.bytes_read = 0

    def read_into(self, offset: int, buffer: memoryview) -> None:
        """Fill `buffer` from `offset`; see Sectors.read_into."""
        self.bytes_read += len(buffer)
        self._sectors.read_into(offset, buffer)
