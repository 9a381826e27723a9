"""Read and lay out the boot sector of FAT12, FAT16 and FAT32 volumes.

Takes bytes and gives values. A field without which nothing can be read raises
NotFatError; a field that is merely unusual is left for the caller to say.

Two rules tell the three sizes of entry apart: the standard's, which counts
clusters, and the layout of the boot sector, which is what a reader has to
follow to find anything. Both are given; that they disagree is a finding.

Source: FAT: General Overview of On-Disk Format, v1.03 (Microsoft, 2000), "Boot
Sector and BPB Structure" and "FAT Type Determination".
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

from cardprep.errors import NotFatError

LENGTH = 512
SIGNATURE = b"\x55\xaa"
EXTENDED_SIGNATURE = 0x29

SECTOR_SIZES = (512, 1024, 2048, 4096)

FAT12_MOST = 4084
FAT16_MOST = 65524
FAT32_MOST = 0x0FFFFFF5
FIRST_CLUSTER = 2

_COMMON = struct.Struct("<3s8sHBHBHHBHHHII")
_OLD_TAIL = struct.Struct("<BBBI11s8s448s")
_FAT32_PART = struct.Struct("<IHHIHH12s")
_FAT32_TAIL = struct.Struct("<BBBI11s8s420s")


@dataclass(frozen=True, slots=True, kw_only=True)
class Fat32Part:
    """What only FAT32 has. Published names in brackets.

    sectors_per_fat     sectors of one FAT                 [BPB_FATSz32]
    flags               active FAT and mirroring           [BPB_ExtFlags]
    version                                                [BPB_FSVer]
    root_cluster        first cluster of the root folder   [BPB_RootClus]
    info_sector         sector of FSInfo                   [BPB_FSInfo]
    backup_boot_sector  sector of the copy, or 0           [BPB_BkBootSec]
    reserved            12 bytes                           [BPB_Reserved]
    """

    sectors_per_fat: int
    flags: int = 0
    version: int = 0
    root_cluster: int = 2
    info_sector: int = 1
    backup_boot_sector: int = 6
    reserved: bytes = bytes(12)

    @property
    def only_active_fat(self) -> int | None:
        """Number of the one FAT that is kept up to date, or None when all are."""
        return self.flags & 0x0F if self.flags & 0x80 else None


@dataclass(frozen=True, slots=True, kw_only=True)
class BootSector:
    """First sector of a FAT volume. Published names in brackets.

    jump                 three bytes                                [BS_jmpBoot]
    oem_name             eight bytes                                [BS_OEMName]
    bytes_per_sector     bytes: 512, 1024, 2048 or 4096             [BPB_BytsPerSec]
    sectors_per_cluster  sectors: a power of two, 1 to 128          [BPB_SecPerClus]
    reserved_sectors     sectors before the first FAT               [BPB_RsvdSecCnt]
    fat_count            copies of the FAT                          [BPB_NumFATs]
    root_entries         entries of the fixed root, 0 on FAT32      [BPB_RootEntCnt]
    total_sectors_16     sectors, or 0                              [BPB_TotSec16]
    media                F8 for a card                              [BPB_Media]
    sectors_per_fat_16   sectors of one FAT, 0 on FAT32             [BPB_FATSz16]
    sectors_per_track    sectors                                    [BPB_SecPerTrk]
    heads                                                           [BPB_NumHeads]
    hidden_sectors       sectors before the volume                  [BPB_HiddSec]
    total_sectors_32     sectors, or 0                              [BPB_TotSec32]
    fat32                what only FAT32 has, or None
    drive_number                                                    [BS_DrvNum]
    status               bit 0 dirty, bit 1 error                   [BS_Reserved1]
    extended_signature   29h when the next three are there          [BS_BootSig]
    volume_id            32-bit serial number                       [BS_VolID]
    label                eleven bytes                               [BS_VolLab]
    type_text            eight bytes that decide nothing            [BS_FilSysType]
    boot_code            the rest before the signature
    """

    jump: bytes
    oem_name: bytes
    bytes_per_sector: int
    sectors_per_cluster: int
    reserved_sectors: int
    fat_count: int
    root_entries: int
    total_sectors_16: int
    media: int
    sectors_per_fat_16: int
    sectors_per_track: int
    heads: int
    hidden_sectors: int
    total_sectors_32: int
    fat32: Fat32Part | None
    drive_number: int
    status: int
    extended_signature: int
    volume_id: int
    label: bytes
    type_text: bytes
    boot_code: bytes

    @classmethod
    def parse(cls, sector: bytes) -> BootSector:
        """Read the first 512 bytes of a volume; NotFatError if they cannot be right."""
        if len(sector) < LENGTH:
            raise NotFatError("fat.short", got=len(sector))
        if sector[510:512] != SIGNATURE:
            raise NotFatError("fat.no-signature")
        common = _COMMON.unpack_from(sector)
        fat32 = None
        tail = _OLD_TAIL.unpack_from(sector, 36)
        # FAT32 is told by its empty 16-bit field; nothing else says where the rest stands.
        sectors_per_fat_16 = common[9]
        if sectors_per_fat_16 == 0:
            size, flags, version, root, info, backup, reserved = _FAT32_PART.unpack_from(sector, 36)
            fat32 = Fat32Part(
                sectors_per_fat=size,
                flags=flags,
                version=version,
                root_cluster=root,
                info_sector=info,
                backup_boot_sector=backup,
                reserved=reserved,
            )
            tail = _FAT32_TAIL.unpack_from(sector, 64)
        boot = cls._from_fields(common, fat32, tail)
        boot.require_readable()
        return boot

    @classmethod
    def _from_fields(
        cls, common: tuple[object, ...], fat32: Fat32Part | None, tail: tuple[object, ...]
    ) -> BootSector:
        names = tuple(cls.__dataclass_fields__)
        values = (*common, fat32, *tail)
        return cls(**dict(zip(names, values, strict=True)))  # type: ignore[arg-type]

    def to_bytes(self) -> bytes:
        """Return the 512 bytes."""
        common = _COMMON.pack(
            self.jump,
            self.oem_name,
            self.bytes_per_sector,
            self.sectors_per_cluster,
            self.reserved_sectors,
            self.fat_count,
            self.root_entries,
            self.total_sectors_16,
            self.media,
            self.sectors_per_fat_16,
            self.sectors_per_track,
            self.heads,
            self.hidden_sectors,
            self.total_sectors_32,
        )
        part = b""
        if self.fat32 is not None:
            part = _FAT32_PART.pack(
                self.fat32.sectors_per_fat,
                self.fat32.flags,
                self.fat32.version,
                self.fat32.root_cluster,
                self.fat32.info_sector,
                self.fat32.backup_boot_sector,
                self.fat32.reserved,
            )
        tail = (_OLD_TAIL if self.fat32 is None else _FAT32_TAIL).pack(
            self.drive_number,
            self.status,
            self.extended_signature,
            self.volume_id,
            self.label,
            self.type_text,
            self.boot_code,
        )
        return common + part + tail + SIGNATURE

    def require_readable(self) -> None:
        """Raise NotFatError unless every field that the reading rests on can be right."""
        if self.bytes_per_sector not in SECTOR_SIZES:
            raise NotFatError("fat.sector-size", found=self.bytes_per_sector)
        if self.sectors_per_cluster not in (1, 2, 4, 8, 16, 32, 64, 128):
            raise NotFatError("fat.cluster-size", found=self.sectors_per_cluster)
        if self.reserved_sectors == 0:
            raise NotFatError("fat.no-reserved-sectors")
        if self.fat_count == 0:
            raise NotFatError("fat.no-fat")
        if self.sectors_per_fat == 0:
            raise NotFatError("fat.empty-fat")
        if self.fat32 is None and self.root_entries == 0:
            raise NotFatError("fat.no-root")
        if self.first_data_sector >= self.total_sectors:
            raise NotFatError(
                "fat.no-room", total=self.total_sectors, needed=self.first_data_sector
            )
        if self.cluster_count == 0:
            raise NotFatError("fat.no-cluster")
        if self.fat32 is None and self.cluster_count > FAT16_MOST:
            raise NotFatError("fat.too-many-clusters", found=self.cluster_count)
        if self.fat32 is not None and self.fat32.version != 0:
            raise NotFatError("fat.version", found=self.fat32.version)

    @property
    def total_sectors(self) -> int:
        """Sectors of the volume."""
        return self.total_sectors_16 or self.total_sectors_32

    @property
    def sectors_per_fat(self) -> int:
        """Sectors of one FAT."""
        return self.fat32.sectors_per_fat if self.fat32 is not None else self.sectors_per_fat_16

    @property
    def root_sectors(self) -> int:
        """Sectors of the fixed root folder, rounded up [RootDirSectors]."""
        return -(-self.root_entries * 32 // self.bytes_per_sector)

    @property
    def first_root_sector(self) -> int:
        """Sector where the fixed root folder, or else the data, begins."""
        return self.reserved_sectors + self.fat_count * self.sectors_per_fat

    @property
    def first_data_sector(self) -> int:
        """Sector of cluster 2 [FirstDataSector]."""
        return self.first_root_sector + self.root_sectors

    @property
    def cluster_count(self) -> int:
        """Clusters of the data area [CountofClusters]; they are numbered from 2."""
        return (self.total_sectors - self.first_data_sector) // self.sectors_per_cluster

    @property
    def usable_clusters(self) -> int:
        """Clusters that the FAT has entries for; fewer than counted on a damaged volume."""
        entries = self.sectors_per_fat * self.bytes_per_sector * 8 // self.entry_bits
        return max(0, min(self.cluster_count, entries - FIRST_CLUSTER, FAT32_MOST))

    @property
    def cluster_size(self) -> int:
        """Bytes of a cluster."""
        return self.bytes_per_sector * self.sectors_per_cluster

    @property
    def standard_bits(self) -> int:
        """12, 16 or 32, by the standard's rule: the number of clusters alone."""
        return bits_by_count(self.cluster_count)

    @property
    def entry_bits(self) -> int:
        """12, 16 or 32: the size of entry with which this volume is read."""
        return 32 if self.fat32 is not None else self.standard_bits

    def cluster_offset(self, cluster: int) -> int:
        """Return the byte, from the start of the volume, where a cluster begins."""
        sector = self.first_data_sector + (cluster - FIRST_CLUSTER) * self.sectors_per_cluster
        return sector * self.bytes_per_sector


def bits_by_count(clusters: int) -> int:
    """Return 12, 16 or 32 for a number of clusters."""
    if clusters <= FAT12_MOST:
        return 12
    return 16 if clusters <= FAT16_MOST else 32
