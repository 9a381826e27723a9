"""Sectors that are asked of the card once, however often the inspection asks for them.

A card's first sectors decide what it is, so that the partition table, the volume
behind it and the marks of other file systems are each looked for in the same few
of them; and where a file ends within a sector, whoever wants the rest of it asks
for that sector again. A worn card may answer each time otherwise, and a slow one
waits each time. What is read in small pieces is therefore read in whole sectors
and kept for a while; tables, folders and files are read in large ones, once by
their own rules, and pass through.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from cardprep.inspection.forward import Forwarding
from cardprep.medium.protocol import Sectors, read
from cardprep.terms import KIB, SECTOR

SMALL = 4 * KIB
# As many sectors take up a mebibyte.
KEPT_MOST = 2048


class Once(Forwarding):
    """The same sectors, of which those that were read in small pieces are remembered."""

    def __init__(self, sectors: Sectors) -> None:
        super().__init__(sectors)
        self._kept: dict[int, bytes] = {}

    def read_into(self, offset: int, buffer: memoryview) -> None:
        """Fill `buffer` from `offset`; see Sectors.read_into."""
        end = offset + len(buffer)
        # What reaches beyond the card is refused by the card itself.
        if offset < 0 or end > self.size or not len(buffer):
            self._sectors.read_into(offset, buffer)
        elif len(buffer) <= SMALL:
            self._read_small(offset, buffer)
        else:
            start = -(-offset // SECTOR) * SECTOR
            stop = end // SECTOR * SECTOR
            if offset < start:
                self._read_small(offset, buffer[: start - offset])
            self._sectors.read_into(start, buffer[start - offset : stop - offset])
            if stop < end:
                self._read_small(stop, buffer[stop - offset :])

    def _read_small(self, offset: int, buffer: memoryview) -> None:
        first, stop = offset // SECTOR, -(-(offset + len(buffer)) // SECTOR)
        known = self._known(first, stop)
        skip = offset - first * SECTOR
        buffer[:] = known[skip : skip + len(buffer)]

    def _known(self, first: int, stop: int) -> bytes:
        """Return the bytes of sectors, of which only those that are not kept are read."""
        for start, end in _runs(
            number for number in range(first, stop) if number not in self._kept
        ):
            length = min(end * SECTOR, self.size) - start * SECTOR
            piece = read(self._sectors, start * SECTOR, length)
            for number in range(start, end):
                at = (number - start) * SECTOR
                self._kept[number] = piece[at : at + SECTOR]
        known = b"".join(self._kept[number] for number in range(first, stop))
        while len(self._kept) > KEPT_MOST:
            self._kept.pop(next(iter(self._kept)))
        return known


def _runs(numbers: Iterable[int]) -> Iterator[tuple[int, int]]:
    """Give runs of neighbours as first number and the one behind the last."""
    start = end = None
    for number in numbers:
        if start is None or end is None:
            start = end = number
        elif number != end:
            yield start, end
            start = end = number
        end = number + 1
    if start is not None and end is not None:
        yield start, end
