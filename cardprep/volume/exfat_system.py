"""Read the two tables that an exFAT volume keeps as files of its own: bitmap and up-case table.

Neither is believed: a bitmap that cannot be one is None, and without an up-case
table that holds, the part that the standard fixes stands in.

Source: exFAT File System Specification (Microsoft, 2019), sections 7.1 and 7.2.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from cardprep.errors import NotFatError, ReadFailedError, ShortReadError
from cardprep.findings import Finding
from cardprep.medium.protocol import Sectors, read
from cardprep.volume.exfat_bitmap import ClusterBits
from cardprep.volume.exfat_boot import ExfatBootSector
from cardprep.volume.exfat_entry import SECOND_BITMAP, BitmapEntry, UpcaseEntry
from cardprep.volume.exfat_names import MOST_TABLE_BYTES, PLAIN, UpcaseTable, table_checksum
from cardprep.volume.exfat_table import ExfatTable
from cardprep.volume.exfat_tree import ExfatWalk
from cardprep.volume.fat_chain import Chain, ChainEnd
from cardprep.volume.model import Extent

BITMAP_NAME = "allocation bitmap"
UPCASE_NAME = "up-case table"


@dataclass(slots=True)
class SystemFiles:
    """What was read of the two.

    bitmap      the one in use, or None
    has_upcase  whether `upcase` is the volume's own
    system      where they lie
    """

    bitmap: ClusterBits | None = None
    upcase: UpcaseTable = PLAIN
    has_upcase: bool = False
    system: list[tuple[str, Extent]] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)


class SystemReading:
    """The reading of one volume's tables."""

    def __init__(
        self, sectors: Sectors, boot: ExfatBootSector, table: ExfatTable, walk: ExfatWalk
    ) -> None:
        self._sectors = sectors
        self._boot = boot
        self._table = table
        self._walk = walk
        self._found = SystemFiles()

    def run(self, bitmaps: list[BitmapEntry], upcases: list[UpcaseEntry]) -> SystemFiles:
        """Read what the entries of the root folder name."""
        self._take_bitmaps(bitmaps)
        self._take_upcases(upcases)
        if self._found.bitmap is not None:
            # Up to here only the root folder and these tables have been walked.
            free = self._table.walked.count_not_in(self._found.bitmap)
            if free:
                self._say("clusters-marked-free", BITMAP_NAME, what="marked-tables", found=free)
        return self._found

    def _take_bitmaps(self, entries: list[BitmapEntry]) -> None:
        if len(entries) != self._boot.fat_count:
            self._say("bitmap-odd", BITMAP_NAME, what="bitmap-count", found=len(entries))
        needed = -(-self._boot.cluster_count // 8)
        is_taken = False
        for entry in entries[:2]:
            chain = self._chain(entry.first_cluster, BITMAP_NAME)
            if is_taken or entry.flags & SECOND_BITMAP != self._boot.active_fat:
                continue
            is_taken = True
            if entry.size != needed:
                self._say("bitmap-odd", BITMAP_NAME, what="bitmap-size", found=entry.size)
            data = self._data(chain, min(entry.size, needed), BITMAP_NAME)
            try:
                self._found.bitmap = ClusterBits.parse(data, self._boot.cluster_count)
            except NotFatError:
                self._say("bitmap-odd", BITMAP_NAME, what="bitmap-short", found=len(data))
        if not is_taken and entries:
            self._say("bitmap-odd", BITMAP_NAME, what="bitmap-number", found=entries[0].flags)

    def _take_upcases(self, entries: list[UpcaseEntry]) -> None:
        if len(entries) != 1:
            self._say("upcase-odd", UPCASE_NAME, what="upcase-count", found=len(entries))
        for entry in entries[:1]:
            chain = self._chain(entry.first_cluster, UPCASE_NAME)
            data = self._data(chain, min(entry.size, MOST_TABLE_BYTES + 1), UPCASE_NAME)
            if len(data) < entry.size:
                self._say("upcase-odd", UPCASE_NAME, what="upcase-size", found=entry.size)
            elif table_checksum(data) != entry.checksum:
                self._say(
                    "upcase-odd", UPCASE_NAME, what="upcase-checksum", found=f"{entry.checksum:08X}"
                )
            else:
                self._parse_upcase(data)

    def _parse_upcase(self, data: bytes) -> None:
        try:
            table = UpcaseTable.parse(data)
        except NotFatError:
            self._say("upcase-odd", UPCASE_NAME, what="upcase-content", found=len(data))
            return
        if not table.has_mandatory_part:
            self._say("upcase-odd", UPCASE_NAME, what="upcase-first-128", found=len(data))
        self._found.upcase, self._found.has_upcase = table, True

    def _chain(self, first: int, structure: str) -> Chain:
        chain = self._table.walk(first)
        self._found.system += [(structure, e) for e in self._walk.extents(chain, None)]
        if chain.end is not ChainEnd.PROPER:
            self._say("chain-broken", structure, cluster=chain.at, how=chain.end.value)
        return chain

    def _data(self, chain: Chain, length: int, structure: str) -> bytes:
        """Return so many bytes of a table, or those before the first that cannot be read."""
        data = bytearray()
        for extent in self._walk.extents(chain, length):
            try:
                data += read(self._sectors, extent.offset, extent.length)
            except (ReadFailedError, ShortReadError):
                self._say("read-error", structure, offset=extent.offset)
                break
        return bytes(data)

    def _say(self, slug: str, structure: str, **parameters: str | int) -> None:
        self._found.findings.append(Finding(slug, None, structure, parameters))
