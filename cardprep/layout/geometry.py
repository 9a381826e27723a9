"""How large a volume is, and where its parts lie, before anything stands in it.

The volume's size is chosen from a few usual ones and never from the card, so
that cards of different size get the same bytes.

The sizes that stand for "2 GB" to "32 GB" are 93 percent of the printed
decimal size, down to a multiple of 4 MiB, because cards hold less than what is
printed on them by a varying amount (common practice, no published source).
Cluster sizes by volume size follow the tables of the standard below.

Source: FAT: General Overview of On-Disk Format, v1.03 (Microsoft, 2000), "FAT Type
Determination" and the two tables of sectors per cluster (as remembered; outside
programs judge the result). Partition start at 4 MiB: common practice for cards.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from cardprep.errors import LayoutError
from cardprep.job.stage import VolumeSettings
from cardprep.terms import GIB, MIB, SECTOR
from cardprep.volume.fat_boot import FAT12_MOST, FAT16_MOST, FIRST_CLUSTER

ALIGNMENT = 4 * MIB
PARTITION_START = ALIGNMENT
FAT_COUNT = 2
FAT16_ROOT_ENTRIES = 512
FAT32_RESERVED = 32
FAT16_LARGEST_VOLUME = 2 * GIB

_SHARE = 93


def volume_for_printed(size: int) -> int:
    """Return the bytes of a volume for cards on which this size is printed, in whole 4 MiB.

    Cards hold less than what is printed on them, by a varying amount.
    """
    return size * _SHARE // 100 // ALIGNMENT * ALIGNMENT


USUAL_SIZES = (
    512 * MIB,
    *(volume_for_printed(size * 10**9) for size in (2, 4, 8, 16, 32)),
)

# Upper end of the volume's size in bytes, then sectors per cluster.
_FAT16_CLUSTERS = (
    (16 * MIB, 2),
    (128 * MIB, 4),
    (256 * MIB, 8),
    (512 * MIB, 16),
    (1 * GIB, 32),
    (2 * GIB, 64),
)
_FAT32_CLUSTERS = (
    (260 * MIB, 1),
    (8 * GIB, 8),
    (16 * GIB, 16),
    (32 * GIB, 32),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Geometry:
    """Where the parts of a volume lie. Sectors are 512 bytes.

    start                first byte of the volume on the card
    total_sectors        sectors of the volume
    bits                 16 or 32
    sectors_per_cluster  sectors
    reserved_sectors     sectors before the first FAT
    sectors_per_fat      sectors of one FAT
    """

    start: int
    total_sectors: int
    bits: int
    sectors_per_cluster: int
    reserved_sectors: int
    sectors_per_fat: int

    @property
    def root_sectors(self) -> int:
        """Sectors of the fixed root folder of FAT16."""
        return FAT16_ROOT_ENTRIES * 32 // SECTOR if self.bits == 16 else 0

    @property
    def first_data_sector(self) -> int:
        """Sector of cluster 2, from the start of the volume."""
        return self.reserved_sectors + FAT_COUNT * self.sectors_per_fat + self.root_sectors

    @property
    def cluster_count(self) -> int:
        """Clusters of the data area."""
        return (self.total_sectors - self.first_data_sector) // self.sectors_per_cluster

    @property
    def cluster_size(self) -> int:
        """Bytes of a cluster."""
        return self.sectors_per_cluster * SECTOR

    @property
    def card_size(self) -> int:
        """Bytes that a card must have."""
        return self.start + self.total_sectors * SECTOR

    def cluster_offset(self, cluster: int) -> int:
        """Return the byte on the card where a cluster begins."""
        sector = self.first_data_sector + (cluster - FIRST_CLUSTER) * self.sectors_per_cluster
        return self.start + sector * SECTOR


def candidates(settings: VolumeSettings) -> list[Geometry]:
    """Return the volumes that a display's settings allow, smallest first.

    Raises LayoutError if no file system fits the size that is asked for, or if
    the display takes no card large enough for the smallest.
    """
    sizes = USUAL_SIZES if settings.volume_size is None else (settings.volume_size,)
    start = PARTITION_START if settings.partition_table == "mbr" else 0
    possible = [
        made
        for size in sizes
        if (made := _geometry(start, size, settings.file_systems)) is not None
    ]
    if not possible:
        wanted = " or ".join(settings.file_systems).upper()
        raise LayoutError("layout.no-file-system", wanted=wanted, size=sizes[0])
    if settings.largest_card is None:
        return possible
    small_enough = [made for made in possible if made.card_size <= settings.largest_card]
    if not small_enough:
        raise LayoutError(
            "layout.display-too-small",
            largest=settings.largest_card,
            needed=possible[0].card_size,
        )
    return small_enough


def _geometry(start: int, size: int, file_systems: tuple[str, ...]) -> Geometry | None:
    """Return the volume of a size: FAT16 up to 2 GiB where the display reads it, else FAT32."""
    if "fat16" in file_systems and size <= FAT16_LARGEST_VOLUME:
        return _fat16(start, size)
    if "fat32" in file_systems:
        return _fat32(start, size)
    return None


def _fat16(start: int, size: int) -> Geometry | None:
    per_cluster = next(count for most, count in _FAT16_CLUSTERS if size <= most)
    made = _with_fat(start, size, 16, per_cluster, reserved=1)
    excess = made.cluster_count - FAT16_MOST
    if excess > 0:
        # Just below 2 GiB there would be a few clusters too many; the FATs take their room.
        more = -(-excess * per_cluster // FAT_COUNT)
        made = replace(made, sectors_per_fat=made.sectors_per_fat + more)
    return made if FAT12_MOST < made.cluster_count <= FAT16_MOST else None


def _fat32(start: int, size: int) -> Geometry | None:
    per_cluster = next(count for most, count in _FAT32_CLUSTERS if size <= most)
    made = _with_fat(start, size, 32, per_cluster, reserved=FAT32_RESERVED)
    # The data begins at a multiple of 4 MiB, so that no cluster straddles two of
    # the card's own blocks; the reserved sectors take up what is between.
    unaligned = made.first_data_sector * SECTOR
    shift = -unaligned % ALIGNMENT // SECTOR
    made = _with_fat(start, size, 32, per_cluster, reserved=FAT32_RESERVED + shift)
    return made if made.cluster_count > FAT16_MOST else None


def _with_fat(start: int, size: int, bits: int, per_cluster: int, *, reserved: int) -> Geometry:
    """Return the geometry whose FAT has an entry for every cluster there could be."""
    total = size // SECTOR
    most_clusters = total // per_cluster
    fat = -(-(most_clusters + FIRST_CLUSTER) * bits // 8 // SECTOR)
    return Geometry(
        start=start,
        total_sectors=total,
        bits=bits,
        sectors_per_cluster=per_cluster,
        reserved_sectors=reserved,
        sectors_per_fat=fat,
    )
