"""Read and lay out the boot sector of exFAT volumes, and sum up their boot region.

Takes bytes and gives values. A field without which nothing can be read raises
NotFatError; a field that is merely unusual is left for the caller to say.

A *boot region* is twelve sectors: the boot sector, eight extended boot sectors,
parameters, a reserved one, and one that repeats a checksum over those eleven.
There are two, one behind the other, and the second is the backup.

Source: exFAT File System Specification (Microsoft, 2019), section 3.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

from cardprep.errors import NotFatError

LENGTH = 512
REGION_SECTORS = 12
SUMMED_SECTORS = 11
EXTENDED_SECTORS = range(1, 9)
EXTENDED_SIGNATURE = b"\x00\x00\x55\xaa"
JUMP = b"\xeb\x76\x90"
NAME = b"EXFAT   "
SIGNATURE = b"\x55\xaa"

SECTOR_SHIFTS = range(9, 13)
LARGEST_CLUSTER_SHIFT = 25
FIRST_FAT_SECTOR = 24
FIRST_CLUSTER = 2
# The standard allows sixteen times as many; a bitmap of these takes 32 MiB of memory.
MOST_CLUSTERS = 2**28
PERCENT_UNKNOWN = 0xFF

ACTIVE_FAT = 0x01
DIRTY = 0x02
MEDIA_FAILURE = 0x04
CLEAR_TO_ZERO = 0x08

_FIELDS = struct.Struct("<3s8s53sQQIIIIIIHHBBBBB7s390s2s")
# Bytes of the first sector that change while a volume is in use: VolumeFlags, PercentInUse.
_UNSUMMED = (106, 107, 112)


@dataclass(frozen=True, slots=True, kw_only=True)
class ExfatBootSector:
    """First 512 bytes of an exFAT volume. Published names in brackets.

    jump                 three bytes, EB 76 90                      [JumpBoot]
    name                 eight bytes, "EXFAT   "                    [FileSystemName]
    zeros                53 bytes where a FAT has its numbers       [MustBeZero]
    partition_offset     sectors before the volume, 0 for unknown   [PartitionOffset]
    total_sectors        sectors of the volume                      [VolumeLength]
    fat_sector           sector of the first FAT                    [FatOffset]
    sectors_per_fat      sectors of one FAT                         [FatLength]
    heap_sector          sector of cluster 2                        [ClusterHeapOffset]
    cluster_count        clusters, numbered from 2                  [ClusterCount]
    root_cluster         first cluster of the root folder   [FirstClusterOfRootDirectory]
    serial               32-bit number                              [VolumeSerialNumber]
    revision             high byte major, low byte minor            [FileSystemRevision]
    flags                active FAT, dirty, failure, clear to zero  [VolumeFlags]
    sector_shift         9 to 12: bytes are 2 to this power         [BytesPerSectorShift]
    cluster_shift        sectors are 2 to this power                [SectorsPerClusterShift]
    fat_count            1, or 2 with TexFAT                        [NumberOfFats]
    drive                                                           [DriveSelect]
    percent_in_use       0 to 100, or FF for unknown                [PercentInUse]
    reserved             seven bytes                                [Reserved]
    boot_code            390 bytes                                  [BootCode]
    signature            55 AA                                      [BootSignature]
    """

    jump: bytes = JUMP
    name: bytes = NAME
    zeros: bytes = bytes(53)
    partition_offset: int = 0
    total_sectors: int
    fat_sector: int
    sectors_per_fat: int
    heap_sector: int
    cluster_count: int
    root_cluster: int
    serial: int
    revision: int = 0x0100
    flags: int = 0
    sector_shift: int
    cluster_shift: int
    fat_count: int = 1
    drive: int = 0x80
    percent_in_use: int = PERCENT_UNKNOWN
    reserved: bytes = bytes(7)
    boot_code: bytes = bytes(390)
    signature: bytes = SIGNATURE

    @classmethod
    def parse(cls, sector: bytes) -> ExfatBootSector:
        """Read the first 512 bytes of a volume; NotFatError if they cannot be right."""
        if len(sector) < LENGTH:
            raise NotFatError("exfat.short", got=len(sector))
        values = _FIELDS.unpack_from(sector)
        boot = cls(**dict(zip(cls.__dataclass_fields__, values, strict=True)))
        boot.require_readable()
        return boot

    def to_bytes(self) -> bytes:
        """Return the 512 bytes."""
        return _FIELDS.pack(*(getattr(self, name) for name in self.__dataclass_fields__))

    def require_readable(self) -> None:
        """Raise NotFatError unless every field that the reading rests on can be right."""
        if self.name != NAME:
            raise NotFatError("exfat.no-name")
        if self.signature != SIGNATURE:
            raise NotFatError("exfat.no-signature")
        if any(self.zeros):
            raise NotFatError("exfat.not-zero")
        if self.revision >> 8 != 1:
            raise NotFatError("exfat.version", found=f"{self.revision >> 8}")
        if self.sector_shift not in SECTOR_SHIFTS:
            raise NotFatError("exfat.sector-size", found=self.sector_shift)
        if self.sector_shift + self.cluster_shift > LARGEST_CLUSTER_SHIFT:
            raise NotFatError("exfat.cluster-size", found=self.cluster_shift)
        if self.fat_count not in (1, 2):
            raise NotFatError("exfat.fat-count", found=self.fat_count)
        self._require_places()

    def _require_places(self) -> None:
        needed = (self.cluster_count + FIRST_CLUSTER) * 4
        if self.fat_sector < FIRST_FAT_SECTOR or self.fat_end > self.heap_sector:
            raise NotFatError("exfat.fat-place", found=self.fat_sector)
        if self.sectors_per_fat * self.sector_size < needed:
            size = self.sectors_per_fat * self.sector_size
            raise NotFatError("exfat.small-fat", found=size, needed=needed)
        if self.cluster_count == 0:
            raise NotFatError("exfat.no-cluster")
        if self.cluster_count > MOST_CLUSTERS:
            raise NotFatError("exfat.too-many-clusters", found=self.cluster_count)
        if self.cluster_count > self.clusters_with_room:
            raise NotFatError(
                "exfat.no-room", found=self.cluster_count, room=max(0, self.clusters_with_room)
            )
        if not FIRST_CLUSTER <= self.root_cluster < self.limit:
            raise NotFatError("exfat.root-cluster", found=self.root_cluster)

    @property
    def sector_size(self) -> int:
        """Bytes of a sector."""
        return 1 << self.sector_shift

    @property
    def cluster_size(self) -> int:
        """Bytes of a cluster."""
        return 1 << self.sector_shift + self.cluster_shift

    @property
    def fat_end(self) -> int:
        """Sector behind the last FAT."""
        return self.fat_sector + self.fat_count * self.sectors_per_fat

    @property
    def clusters_with_room(self) -> int:
        """Clusters that fit between the heap's first sector and the volume's end."""
        return self.total_sectors - self.heap_sector >> self.cluster_shift

    @property
    def limit(self) -> int:
        """The number behind the last cluster's."""
        return FIRST_CLUSTER + self.cluster_count

    @property
    def size(self) -> int:
        """Bytes of the volume."""
        return self.total_sectors << self.sector_shift

    @property
    def active_fat(self) -> int:
        """Number of the FAT and of the allocation bitmap that are in use, from 0."""
        return 1 if self.flags & ACTIVE_FAT and self.fat_count == 2 else 0

    def cluster_offset(self, cluster: int) -> int:
        """Return the byte, from the start of the volume, where a cluster begins."""
        sector = self.heap_sector + (cluster - FIRST_CLUSTER << self.cluster_shift)
        return sector << self.sector_shift


def boot_checksum(sectors: bytes) -> int:
    """Return the 32-bit sum over the eleven sectors of a boot region, section 3.4.

    What changes while a volume is in use is left out.
    """
    total = 0
    for at, byte in enumerate(sectors):
        if at not in _UNSUMMED:
            total = ((total >> 1) | (total & 1) << 31) + byte & 0xFFFFFFFF
    return total


def checksum_holds(region: bytes, sector_size: int) -> bool:
    """Whether the twelfth sector of a boot region repeats the sum over the others."""
    end = SUMMED_SECTORS * sector_size
    stored = boot_checksum(region[:end]).to_bytes(4, "little") * (sector_size // 4)
    return region[end : end + sector_size] == stored


def without_changing(region: bytes) -> bytes:
    """Return a boot region with zeros where the standard lets the two differ."""
    changed = bytearray(region)
    for at in _UNSUMMED:
        changed[at] = 0
    return bytes(changed)
