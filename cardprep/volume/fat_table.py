"""Read a file allocation table from a card: compare its copies, follow its chains.

The table is kept in blocks of 64 KiB, and blocks of nothing but zeros are not
kept at all, so that the FAT of a large empty card costs next to nothing. What a
card claims never decides how much memory or time is taken: at most
CACHED_BLOCKS are kept, the others are read again, and how often that may be, and
how many runs all chains together may have, is counted (``chain_walk.py``).

Words: see ``fat_chain.py``. The *active* copy is the one that is followed.

Source: FAT: General Overview of On-Disk Format, v1.03 (Microsoft, 2000), "FAT Data
Structure".
"""

from __future__ import annotations

import sys
from array import array
from collections.abc import Iterator
from dataclasses import dataclass

from cardprep.errors import ReadFailedError, ShortReadError
from cardprep.medium.protocol import Sectors, read
from cardprep.terms import KIB
from cardprep.volume.chain_walk import ChainWalk
from cardprep.volume.deleted_places import FreeRuns
from cardprep.volume.fat_boot import FIRST_CLUSTER, BootSector
from cardprep.volume.fat_chain import ChainEnd, ClusterSet, Runs

BLOCK = 64 * KIB
CACHED_BLOCKS = 1024
_ZEROS = bytes(BLOCK)

# The standard knows one or two copies; a card that claims 255 is not read 255 times.
COPIES_COMPARED = 4

_MASK = {12: 0xFFF, 16: 0xFFFF, 32: 0x0FFFFFFF}
_BYTES = {16: 2, 32: 4}
_LOW_NIBBLE = bytes(range(16))

# Bits of FAT[1] that are 1 on a clean volume: clean shutdown, no hardware error.
_CLEAN = {16: 0x8000, 32: 0x08000000}
_NO_ERROR = {16: 0x4000, 32: 0x04000000}


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """One copy of the FAT that is not like the active one.

    copy           number of the copy, from 0
    bytes_differ   number of bytes
    first_cluster  the first cluster whose entry differs
    """

    copy: int
    bytes_differ: int
    first_cluster: int


class FileAllocationTable(ChainWalk):
    """One FAT of a volume, and the memory of which chains were walked.

    sectors     the card
    offset      byte on the card where the volume begins
    unreadable  by number of the copy, from 0: the first byte on the card that the
                reader could not read; another copy stood in if there was one
    """

    def __init__(self, sectors: Sectors, offset: int, boot: BootSector) -> None:
        self._sectors = sectors
        self.bits = boot.entry_bits
        self.mask = _MASK[self.bits]
        limit = FIRST_CLUSTER + boot.usable_clusters
        self.unreadable: dict[int, int] = {}
        self._fat_bytes = boot.sectors_per_fat * boot.bytes_per_sector
        self._first = offset + boot.reserved_sectors * boot.bytes_per_sector
        active = boot.fat32.only_active_fat if boot.fat32 is not None else None
        self.active = active if active is not None and active < boot.fat_count else 0
        self._mirrored = active is None
        copies = range(min(boot.fat_count, COPIES_COMPARED)) if self._mirrored else ()
        self._others = [copy for copy in copies if copy != self.active]
        # FAT12 is at most 6 KiB and has entries across byte borders: one block.
        self._per_block = limit if self.bits == 12 else BLOCK // _BYTES[self.bits]
        self._length = -(-limit * self.bits // 8)
        self._block_count = 1 if self.bits == 12 else -(-self._length // BLOCK)
        self._blocks: dict[int, array[int]] = {}
        self._zero: set[int] = set()
        # Made only when the table was there to be read: a card may claim 2^28 clusters.
        self.walked: ClusterSet = ClusterSet(0)
        super().__init__(limit, self.walked, 8 * self._block_count + CACHED_BLOCKS)

    # --- entries

    def entry(self, cluster: int) -> int:
        """Return the entry of a cluster, masked to its bits; clusters 0 and 1 hold marks."""
        index, rest = divmod(cluster, self._per_block)
        block = self._block(index)
        return block[rest] if block is not None else 0

    def _block(self, index: int) -> array[int] | None:
        """Return the entries of a block, or None if all are zero."""
        if index in self._zero:
            return None
        block = self._blocks.get(index)
        if block is None:
            self._reads_left -= 1
            block = self._keep(index, self._raw(index))
        return block

    def _keep(self, index: int, raw: bytes) -> array[int] | None:
        if raw == _ZEROS[: len(raw)]:
            self._zero.add(index)
            return None
        if len(self._blocks) >= CACHED_BLOCKS:
            self._blocks.pop(next(iter(self._blocks)))
        block = _entries(raw, self.bits, self.limit)
        self._blocks[index] = block
        return block

    def _raw(self, index: int) -> bytes:
        """Return a block of the active copy, or of another where the reader reports an error."""
        try:
            return self._raw_copy(self.active, index)
        except ReadFailedError as error:
            for copy in self._others:
                try:
                    return self._raw_copy(copy, index)
                except (ReadFailedError, ShortReadError):
                    continue
            raise error from None

    def _raw_copy(self, copy: int, index: int) -> bytes:
        start = index * BLOCK
        at = self._first + copy * self._fat_bytes + start
        try:
            return read(self._sectors, at, min(BLOCK, self._length - start))
        except (ReadFailedError, ShortReadError):
            self.unreadable.setdefault(copy, at)
            raise

    # --- the whole table

    def load(self) -> list[Difference]:
        """Read the table once and return how its copies differ from the active one.

        Must come before chains are walked, so that every sector is read once.
        Raises ReadFailedError or ShortReadError where no copy can be read.
        """
        differences: dict[int, Difference] = {}
        for index in range(self._block_count):
            raw = self._raw(index)
            self._keep(index, raw)
            for copy in self._others:
                try:
                    other = self._raw_copy(copy, index)
                except (ReadFailedError, ShortReadError):
                    continue
                if other != raw:
                    before = differences.get(copy)
                    differences[copy] = self._difference(copy, index, raw, other, before)
        self.walked = ClusterSet(self.limit)
        return list(differences.values())

    def _difference(
        self, copy: int, index: int, raw: bytes, other: bytes, before: Difference | None
    ) -> Difference:
        one, two = int.from_bytes(raw, "big"), int.from_bytes(other, "big")
        differing = (one ^ two).to_bytes(len(raw), "big")
        place = len(differing) - len(differing.lstrip(b"\0"))
        first = (index * BLOCK + place) * 8 // self.bits
        return Difference(
            copy=copy,
            bytes_differ=len(raw) - differing.count(0) + (before.bytes_differ if before else 0),
            first_cluster=before.first_cluster if before else first,
        )

    @property
    def media(self) -> int:
        """The low byte of entry 0, which repeats the boot sector's media byte."""
        return self.entry(0) & 0xFF

    @property
    def is_dirty(self) -> bool:
        """Whether entry 1 says that the volume was not closed properly."""
        return self.bits != 12 and not self.entry(1) & _CLEAN[self.bits]

    @property
    def has_error(self) -> bool:
        """Whether entry 1 says that a system met a read or write error."""
        return self.bits != 12 and not self.entry(1) & _NO_ERROR[self.bits]

    @property
    def head_is_usual(self) -> bool:
        """Whether entries 0 and 1, but for their marks, are as the standard wants them.

        Entry 0 is the media byte below ones, entry 1 any mark for a chain's end.
        """
        marks = _CLEAN.get(self.bits, 0) | _NO_ERROR.get(self.bits, 0)
        return self.entry(0) | 0xFF == self.mask and self.entry(1) | marks >= self.mask - 7

    # --- chains

    def _step(self, cluster: int, runs: Runs) -> tuple[int, ChainEnd | None]:
        """Add a cluster and those straight behind it; return where the chain goes on or ends."""
        index, rest = divmod(cluster, self._per_block)
        entries = self._block(index)
        value = entries[rest] if entries is not None else 0
        if entries is not None and value == cluster + 1 < self.limit:
            count = self._straight(entries, cluster, rest)
            added = self.walked.add_run(cluster, count)
            runs.add(cluster, added)
            return cluster + added, None
        if value == 0:
            return cluster, ChainEnd.FREE
        if value == self.mask - 8:
            return cluster, ChainEnd.BAD
        self.walked.add(cluster)
        runs.add(cluster)
        return value, ChainEnd.PROPER if value > self.mask - 8 else None

    def _straight(self, entries: array[int], cluster: int, rest: int) -> int:
        """Return how many clusters from this one lead to their neighbour, within the block."""
        stop = min(len(entries), rest + self.limit - 1 - cluster)
        following = range(cluster + 1, cluster + 1 + stop - rest)
        # A view, since copying the rest of the block for every short run would add up.
        for value, neighbour in zip(memoryview(entries)[rest:stop], following, strict=True):
            if value != neighbour:
                return neighbour - 1 - cluster
        return stop - rest

    def is_walked(self, cluster: int) -> bool:
        """Whether a cluster belongs to a chain that was walked."""
        return cluster in self.walked

    def usage(self, free: FreeRuns | None = None) -> tuple[int, int, int]:
        """Return clusters in use by the table, clusters walked, clusters marked as bad.

        Clusters in use that no chain reached are lost.

        free  is told of all clusters on the way
        """
        in_use = bad = 0
        for entries, start in self._kept_blocks():
            skip = max(0, FIRST_CLUSTER - start)
            part = entries[skip : max(skip, self.limit - start)]
            in_use += len(part) - part.count(0)
            bad += part.count(self.mask - 8)
            if free is not None and free.wants(start + skip + len(part)):
                free.take(start + skip, bytes(map(bool, part)))
        return in_use, len(self.walked), bad

    def _kept_blocks(self) -> Iterator[tuple[array[int], int]]:
        for index in range(self._block_count):
            block = self._block(index)
            if block is not None:
                yield block, index * self._per_block


def _entries(raw: bytes, bits: int, limit: int) -> array[int]:
    """Return the entries in raw bytes of a FAT, masked."""
    if bits == 12:
        raw += bytes(3)
        return array(
            "H",
            (
                int.from_bytes(raw[n * 3 // 2 : n * 3 // 2 + 2], "little") >> n % 2 * 4 & 0xFFF
                for n in range(limit)
            ),
        )
    # The four upper bits of a FAT32 entry are reserved and say nothing.
    if bits == 32 and raw[3::4].translate(None, _LOW_NIBBLE):
        mask = int.from_bytes(b"\xff\xff\xff\x0f" * (len(raw) // 4), "big")
        raw = (int.from_bytes(raw, "big") & mask).to_bytes(len(raw), "big")
    entries = array("H" if bits == 16 else "I")
    entries.frombytes(raw)
    if sys.byteorder == "big":
        entries.byteswap()
    return entries
