"""Read and lay out FSInfo, the sector in which FAT32 remembers its free clusters.

Source: FAT: General Overview of On-Disk Format, v1.03 (Microsoft, 2000), "FAT32
FSInfo Sector Structure".
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

from cardprep.errors import NotFatError

LENGTH = 512
LEAD = 0x41615252
STRUCTURE = 0x61417272
TRAIL = 0xAA550000
UNKNOWN = 0xFFFFFFFF

_FIELDS = struct.Struct("<I480sIII12sI")


@dataclass(frozen=True, slots=True, kw_only=True)
class InfoSector:
    """FSInfo. Published names in brackets.

    free_clusters  clusters, or FFFFFFFFh for unknown  [FSI_Free_Count]
    next_free      where to look, or FFFFFFFFh         [FSI_Nxt_Free]
    reserved       480 and 12 bytes                    [FSI_Reserved1, FSI_Reserved2]
    """

    free_clusters: int
    next_free: int
    reserved: bytes = bytes(480)
    reserved_end: bytes = bytes(12)

    @classmethod
    def parse(cls, sector: bytes) -> InfoSector:
        """Read 512 bytes; NotFatError without the three signatures."""
        if len(sector) < LENGTH:
            raise NotFatError("fat.short", got=len(sector))
        lead, first, middle, free, following, last, trail = _FIELDS.unpack(sector[:LENGTH])
        if (lead, middle, trail) != (LEAD, STRUCTURE, TRAIL):
            raise NotFatError("fat.info-signature")
        return cls(free_clusters=free, next_free=following, reserved=first, reserved_end=last)

    def to_bytes(self) -> bytes:
        """Return the 512 bytes."""
        return _FIELDS.pack(
            LEAD,
            self.reserved,
            STRUCTURE,
            self.free_clusters,
            self.next_free,
            self.reserved_end,
            TRAIL,
        )
