"""Read an exFAT volume from a card, without trusting it.

Reads both boot regions, the FAT where chains lead through it, the allocation
bitmap, the up-case table and all folders, and no file's content. It never
writes, prints or guesses. What cannot be read at all raises NotFatError;
everything else that is wrong is a finding beside what could be read.

Words: a *cluster* is numbered from 2, as on disk; a *sector* is counted from
the start of the volume, not of the card. exFAT keeps no short names: a file's
short name is its name.

Source: exFAT File System Specification (Microsoft, 2019).
"""

from __future__ import annotations

from cardprep.findings import Finding
from cardprep.medium.protocol import Sectors
from cardprep.volume.deleted_places import FreeRuns, first_clusters, places
from cardprep.volume.exfat_bitmap import ClusterBits
from cardprep.volume.exfat_boot import (
    ACTIVE_FAT,
    CLEAR_TO_ZERO,
    DIRTY,
    FIRST_CLUSTER,
    JUMP,
    MEDIA_FAILURE,
    PERCENT_UNKNOWN,
    ExfatBootSector,
)
from cardprep.volume.exfat_region import BootReading
from cardprep.volume.exfat_system import SystemFiles, SystemReading
from cardprep.volume.exfat_table import BAD, END_OF_CHAIN, MEDIA, ExfatTable
from cardprep.volume.exfat_tree import ExfatWalk
from cardprep.volume.fat_found import Tree
from cardprep.volume.model import Extent, Volume, VolumeFacts

FILE_SYSTEM = "exFAT"
_SMALLEST = 2**20
_FLAGS = ACTIVE_FAT | DIRTY | MEDIA_FAILURE | CLEAR_TO_ZERO
_SERIAL_HALF = 16
_PIECE = 2**15
# More clusters than these are not marked as bad on any card that is still read.
_MOST_BAD = 2**16


def read_exfat_volume(sectors: Sectors, where: Extent, *, into_deleted: bool = False) -> Volume:
    """Read the volume that begins where a stretch of the card does.

    where         the stretch that the partition, or the card, has for it
    into_deleted  whether deleted folders are looked into as well

    Raises NotFatError if there is no exFAT volume, and ReadFailedError or
    ShortReadError if the first sector cannot be read.
    """
    return _Reading(sectors, where).run(into_deleted=into_deleted)


class _Reading:
    def __init__(self, sectors: Sectors, where: Extent) -> None:
        self._sectors = sectors
        self._where = where
        regions = BootReading(sectors, where.offset)
        self._boot = regions.run()
        self._findings = regions.findings

    def run(self, *, into_deleted: bool) -> Volume:
        boot, offset = self._boot, self._where.offset
        self._look_at_boot_sector(boot)
        self._look_at_marks(boot)
        table = ExfatTable(self._sectors, offset, boot)
        head = (table.entry(0), table.entry(1))
        if head != (MEDIA, END_OF_CHAIN) and table.unreadable is None:
            self._say("fat-head-odd", "FAT", found=f"{head[0]:X}, {head[1]:X}")
        walk = ExfatWalk(self._sectors, offset, boot, table)
        root = walk.begin()
        reading = SystemReading(self._sectors, boot, table, walk)
        system = reading.run(root.bitmaps, root.upcases)
        tree = walk.finish(root, system.upcase, system.bitmap, all_names=system.has_upcase)
        free = self._look_at_usage(table, system)
        in_use = table.walked if system.bitmap is None else system.bitmap
        if into_deleted and tree.deleted:
            # Nobody else needs these.
            from cardprep.volume.exfat_deleted_folders import DeletedExfatFolders

            DeletedExfatFolders(self._sectors, offset, boot, in_use, tree).run()
        self._look_for_deleted(tree, in_use)
        if table.unreadable is not None:
            self._say("read-error", "FAT", offset=table.unreadable)
        return Volume(
            facts=self._facts(tree, free),
            entries=tuple(tree.entries),
            deleted=tuple(tree.deleted),
            system=self._system(tree, system),
            findings=(*self._findings, *system.findings, *tree.findings),
        )

    def _look_at_boot_sector(self, boot: ExfatBootSector) -> None:
        odd = {
            "jump": boot.jump.hex() if boot.jump != JUMP else None,
            "revision": f"{boot.revision:04X}" if boot.revision != 0x0100 else None,
            "volume-size": boot.size if boot.size < _SMALLEST else None,
            "cluster-count": boot.cluster_count
            if boot.cluster_count != boot.clusters_with_room
            else None,
            "fat-count": boot.fat_count if boot.fat_count != 1 else None,
            "active-fat": boot.flags if boot.flags & ACTIVE_FAT and boot.fat_count == 1 else None,
            "status": boot.flags if boot.flags & ~_FLAGS else None,
            "percent": boot.percent_in_use
            if 100 < boot.percent_in_use != PERCENT_UNKNOWN
            else None,
        }
        for what, found in odd.items():
            if found is not None:
                self._say("boot-sector-odd", "boot sector", what=what, found=found)
        room = self._where.length
        if boot.size > room:
            self._say("volume-beyond-partition", "boot sector", size=boot.size, room=room)
        expected = self._where.offset >> boot.sector_shift
        if boot.partition_offset not in (0, expected):
            found = boot.partition_offset
            self._say("hidden-sectors-differ", "boot sector", found=found, expected=expected)

    def _look_at_marks(self, boot: ExfatBootSector) -> None:
        if boot.flags & DIRTY:
            self._say("volume-dirty", "boot sector")
        if boot.flags & MEDIA_FAILURE:
            self._say("volume-error-mark", "boot sector")

    def _look_at_usage(self, table: ExfatTable, system: SystemFiles) -> int:
        """Say which clusters are lost, and return the free bytes, 0 without a bitmap."""
        if system.bitmap is None:
            return 0
        lost = system.bitmap.count_not_in(table.walked)
        if 0 < lost <= _MOST_BAD:
            lost -= sum(table.entry(n) == BAD for n in system.bitmap.not_in(table.walked))
        size = self._boot.cluster_size
        if lost:
            self._say("lost-clusters", "allocation bitmap", clusters=lost, size=lost * size)
        return (self._boot.cluster_count - len(system.bitmap)) * size

    def _look_for_deleted(self, tree: Tree, in_use: ClusterBits) -> None:
        """Say of what was deleted where it may still be.

        A system clears the bits of its clusters; what the FAT had of them says nothing then.
        """
        boot = self._boot
        asked = first_clusters(tree.deleted, boot.limit, upper_half=False)
        runs = FreeRuns(asked, boot.limit)
        for start in range(FIRST_CLUSTER, boot.limit, _PIECE):
            count = min(_PIECE, boot.limit - start)
            if runs.wants(start + count):
                runs.take(start, in_use.used(start, count))
        tree.deleted = [*places(tree.deleted, runs, boot, self._where.offset)]

    def _facts(self, tree: Tree, free: int) -> VolumeFacts:
        boot = self._boot
        return VolumeFacts(
            file_system=FILE_SYSTEM,
            standard_type=FILE_SYSTEM,
            where=Extent(self._where.offset, boot.size),
            sector_size=boot.sector_size,
            cluster_size=boot.cluster_size,
            clusters=boot.cluster_count,
            serial=f"{boot.serial >> _SERIAL_HALF:04X}-{boot.serial & 0xFFFF:04X}",
            label=tree.labels[0] if tree.labels else None,
            boot_label=None,
            free_bytes=free,
        )

    def _system(self, tree: Tree, system: SystemFiles) -> tuple[tuple[str, Extent], ...]:
        """Return the stretches that are no file's content, with their published names."""
        boot, offset = self._boot, self._where.offset
        fat = boot.sectors_per_fat << boot.sector_shift
        first = boot.fat_sector << boot.sector_shift
        areas = [("boot area", Extent(offset, first))]
        areas += [
            (f"FAT {n + 1}", Extent(offset + first + n * fat, fat)) for n in range(boot.fat_count)
        ]
        areas += system.system
        areas += [("directory", extent) for extent in tree.folders]
        return tuple(areas)

    def _say(self, slug: str, structure: str, **parameters: str | int) -> None:
        self._findings.append(Finding(slug, None, structure, parameters))
