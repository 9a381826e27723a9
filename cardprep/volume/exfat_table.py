"""Follow the clusters of an exFAT volume's files, by its FAT or one behind the other.

The FAT says nothing of a file whose clusters lie one behind the other, so it is
read only where a chain leads, in blocks of 64 KiB. What a card claims never
decides how much memory or time is taken: at most CACHED_BLOCKS are kept, how
often blocks may be read again is counted, and so are the runs of all chains.

Words: see ``fat_chain.py``.

Source: exFAT File System Specification (Microsoft, 2019), sections 4.1 and 6.3.4.
"""

from __future__ import annotations

import sys
from array import array

from cardprep.errors import ReadFailedError, ShortReadError
from cardprep.medium.protocol import Sectors, read
from cardprep.volume.chain_walk import ChainWalk
from cardprep.volume.exfat_bitmap import ClusterBits
from cardprep.volume.exfat_boot import FIRST_CLUSTER, ExfatBootSector
from cardprep.volume.fat_chain import Chain, ChainEnd, Runs
from cardprep.volume.fat_table import BLOCK, CACHED_BLOCKS

END_OF_CHAIN = 0xFFFFFFFF
BAD = 0xFFFFFFF7
MEDIA = 0xFFFFFFF8
_PER_BLOCK = BLOCK // 4


class ExfatTable(ChainWalk):
    """The FAT of a volume, and the memory of which clusters were walked.

    sectors     the card
    offset      byte on the card where the volume begins
    unreadable  byte on the card where the first stretch of the FAT begins that cannot be
                read, or None; a chain that leads there ends as at a bad cluster
    """

    def __init__(self, sectors: Sectors, offset: int, boot: ExfatBootSector) -> None:
        self._sectors = sectors
        self.walked: ClusterBits = ClusterBits(boot.cluster_count)
        fat = boot.fat_sector + boot.active_fat * boot.sectors_per_fat
        self._first = offset + (fat << boot.sector_shift)
        self._length = boot.limit * 4
        self._cluster_size = boot.cluster_size
        self.unreadable: int | None = None
        self._blocks: dict[int, array[int] | None] = {}
        reads = 8 * -(-self._length // BLOCK) + CACHED_BLOCKS
        super().__init__(boot.limit, self.walked, reads)

    def entry(self, cluster: int) -> int:
        """Return the entry of a cluster, BAD where it cannot be read."""
        index, rest = divmod(cluster, _PER_BLOCK)
        if index not in self._blocks:
            if len(self._blocks) >= CACHED_BLOCKS:
                self._blocks.pop(next(iter(self._blocks)))
            self._blocks[index] = self._block(index)
        block = self._blocks[index]
        return BAD if block is None else block[rest]

    def _block(self, index: int) -> array[int] | None:
        self._reads_left -= 1
        at = self._first + index * BLOCK
        try:
            raw = read(self._sectors, at, min(BLOCK, self._length - index * BLOCK))
        except (ReadFailedError, ShortReadError):
            if self.unreadable is None:
                self.unreadable = at
            return None
        block = array("I")
        block.frombytes(raw)
        if sys.byteorder == "big":
            block.byteswap()
        return block

    def contiguous(self, first: int, size: int) -> Chain:
        """Take the clusters for `size` bytes one behind the other, each of them once in all.

        Where the volume has no room for so many from `first` on, none is taken.
        """
        wanted = -(-size // self._cluster_size)
        if not FIRST_CLUSTER <= first < self.limit:
            return Chain(runs=(), clusters=0, end=ChainEnd.OUTSIDE, at=first)
        if self._runs_left <= 0:
            return Chain(runs=(), clusters=0, end=ChainEnd.SCATTERED, at=first)
        # A size that leaves the volume is wrong; with it a damaged entry would take
        # the clusters of all files behind it.
        if wanted > self.limit - first:
            return Chain(runs=(), clusters=0, end=ChainEnd.OUTSIDE, at=self.limit)
        self._runs_left -= 1
        added = self.walked.add_run(first, wanted)
        runs = ((first, added),) if added else ()
        if added < wanted:
            return Chain(runs=runs, clusters=added, end=ChainEnd.CROSSED, at=first + added)
        return Chain(runs=runs, clusters=added, end=ChainEnd.PROPER)

    def _step(self, cluster: int, runs: Runs) -> tuple[int, ChainEnd | None]:
        value = self.entry(cluster)
        if value == 0:
            return cluster, ChainEnd.FREE
        if value == BAD:
            return cluster, ChainEnd.BAD
        self.walked.add(cluster)
        runs.add(cluster)
        return value, ChainEnd.PROPER if value == END_OF_CHAIN else None
