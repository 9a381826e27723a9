"""Read a FAT12, FAT16 or FAT32 volume from a card, without trusting it.

Reads the boot sector and its copy, FSInfo, all FATs and all folders, each
sector once, and no file's content. It never writes, prints or guesses. What
cannot be read at all raises NotFatError; everything else that is wrong is a
finding beside what could be read.

Words: a *cluster* is numbered from 2, as on disk; a *sector* is counted from
the start of the volume, not of the card.

Source: FAT: General Overview of On-Disk Format, v1.03 (Microsoft, 2000).
"""

from __future__ import annotations

from cardprep.errors import NotFatError, ReadFailedError, ShortReadError
from cardprep.findings import Finding
from cardprep.medium.protocol import Sectors, read
from cardprep.terms import spelled_out
from cardprep.volume.deleted_places import FreeRuns, first_clusters, places
from cardprep.volume.fat_boot import (
    EXTENDED_SIGNATURE,
    FIRST_CLUSTER,
    LENGTH,
    BootSector,
    Fat32Part,
)
from cardprep.volume.fat_found import Tree
from cardprep.volume.fat_info import UNKNOWN, InfoSector
from cardprep.volume.fat_table import FileAllocationTable
from cardprep.volume.fat_tree import TreeWalk, label_text
from cardprep.volume.model import Extent, Volume, VolumeFacts

_BOOT_DIRTY = 0x01
_BOOT_ERROR = 0x02
_MEDIA = (0xF0, *range(0xF8, 0x100))
_FAT32_STATUS_AT = 0x41
_NO_LABEL = "NO NAME"
# Written in place of a sector's number where a volume does without that sector.
_NONE = 0xFFFF
# The standard recommends two and allows one.
_MOST_FATS = 2


def read_fat_volume(
    sectors: Sectors, offset: int, room: int, *, into_deleted: bool = False
) -> Volume:
    """Read the volume that begins at byte `offset`.

    room          bytes that the partition, or the card, has for it
    into_deleted  whether deleted folders are looked into as well

    Raises NotFatError if there is no FAT volume, and ReadFailedError or
    ShortReadError if the boot sector or a FAT cannot be read.
    """
    return _Reading(sectors, offset, room).run(into_deleted=into_deleted)


class _Reading:
    def __init__(self, sectors: Sectors, offset: int, room: int) -> None:
        self._sectors = sectors
        self._offset = offset
        self._room = room
        self._findings: list[Finding] = []
        self._boot = BootSector.parse(read(sectors, offset, LENGTH))
        self._info: InfoSector | None = None

    def run(self, *, into_deleted: bool) -> Volume:
        boot = self._boot
        self._look_at_boot_sector()
        if boot.fat32 is not None:
            self._look_at_fat32(boot.fat32)
        table = FileAllocationTable(self._sectors, self._offset, boot)
        for difference in table.load():
            self._say(
                "fats-differ",
                "FAT",
                copy=difference.copy + 1,
                bytes=difference.bytes_differ,
                cluster=difference.first_cluster,
            )
        for copy, at in table.unreadable.items():
            self._say("read-error", f"FAT {copy + 1}", offset=at)
        self._look_at_marks(table)
        walk = TreeWalk(self._sectors, self._offset, boot, table)
        tree = walk.run()
        if into_deleted and walk.gone:
            # Nobody else needs these.
            from cardprep.volume.fat_deleted_folders import DeletedFolders

            DeletedFolders(self._sectors, self._offset, boot, table, tree, walk.gone).run()
        free = self._look_at_usage(table, tree)
        self._look_at_labels(tree)
        return Volume(
            facts=self._facts(tree, free),
            entries=tuple(tree.entries),
            deleted=tuple(tree.deleted),
            system=self._system(tree),
            findings=(*self._findings, *tree.findings),
        )

    # --- the boot area

    def _look_at_boot_sector(self) -> None:
        boot = self._boot
        if boot.media not in _MEDIA:
            self._say("boot-sector-odd", "boot sector", what="media", found=boot.media)
        if not (boot.jump[0] == 0xE9 or (boot.jump[0] == 0xEB and boot.jump[2] == 0x90)):
            self._say("boot-sector-odd", "boot sector", what="jump", found=boot.jump.hex())
        if boot.root_entries * 32 % boot.bytes_per_sector:
            self._say("boot-sector-odd", "boot sector", what="root", found=boot.root_entries)
        if boot.fat32 is not None and (boot.root_entries or boot.total_sectors_16):
            self._say("boot-sector-odd", "boot sector", what="old-fields", found=boot.root_entries)
        if boot.total_sectors_16 and boot.total_sectors_32 not in (0, boot.total_sectors_16):
            found = boot.total_sectors_32
            self._say("boot-sector-odd", "boot sector", what="totals", found=found)
        if boot.fat_count > _MOST_FATS:
            self._say("boot-sector-odd", "boot sector", what="fat-count", found=boot.fat_count)
        if boot.usable_clusters < boot.cluster_count:
            found = boot.sectors_per_fat
            self._say("boot-sector-odd", "boot sector", what="small-fat", found=found)
        if boot.entry_bits != boot.standard_bits:
            self._say(
                "fat-type-disagrees",
                "boot sector",
                layout=f"FAT{boot.entry_bits}",
                standard=f"FAT{boot.standard_bits}",
                clusters=boot.cluster_count,
            )
        size = boot.total_sectors * boot.bytes_per_sector
        if size > self._room:
            self._say("volume-beyond-partition", "boot sector", size=size, room=self._room)
        if boot.hidden_sectors != self._offset // boot.bytes_per_sector:
            expected = self._offset // boot.bytes_per_sector
            found = boot.hidden_sectors
            self._say("hidden-sectors-differ", "boot sector", found=found, expected=expected)

    def _look_at_fat32(self, part: Fat32Part) -> None:
        """Compare the boot sector with the copy that FAT32 keeps, and read FSInfo."""
        boot = self._boot
        if part.only_active_fat is not None:
            # Not every reader follows this field, so two readers may see two contents.
            self._say("boot-sector-odd", "boot sector", what="mirroring", found=part.flags)
        if part.backup_boot_sector >= boot.reserved_sectors and part.backup_boot_sector != _NONE:
            found = part.backup_boot_sector
            self._say("boot-sector-odd", "boot sector", what="backup-place", found=found)
        elif part.backup_boot_sector not in (0, _NONE):
            copy = self._sector(part.backup_boot_sector)
            # The dirty mark is set in the first one only, and is looked at by itself.
            if copy is not None and _without_status(copy) != _without_status(boot.to_bytes()):
                sector = part.backup_boot_sector
                self._say("backup-boot-differs", "backup boot sector", sector=sector)
        if not 0 < part.info_sector < boot.reserved_sectors:
            self._say("fsinfo-odd", "FSInfo", what="place", found=part.info_sector)
            return
        raw = self._sector(part.info_sector)
        if raw is None:
            return
        try:
            self._info = InfoSector.parse(raw)
        except NotFatError:
            self._say("fsinfo-odd", "FSInfo", what="signature", found=part.info_sector)

    def _sector(self, number: int) -> bytes | None:
        at = self._offset + number * self._boot.bytes_per_sector
        try:
            return read(self._sectors, at, LENGTH)
        except (ReadFailedError, ShortReadError):
            self._say("read-error", "boot area", offset=at)
            return None

    # --- the table

    def _look_at_marks(self, table: FileAllocationTable) -> None:
        boot = self._boot
        if boot.status & _BOOT_DIRTY:
            self._say("volume-dirty", "boot sector")
        if boot.status & _BOOT_ERROR:
            self._say("volume-error-mark", "boot sector")
        if boot.status & ~(_BOOT_DIRTY | _BOOT_ERROR):
            self._say("boot-sector-odd", "boot sector", what="status", found=boot.status)
        if table.is_dirty:
            self._say("volume-dirty", "FAT")
        if table.has_error:
            self._say("volume-error-mark", "FAT")
        if table.media != boot.media or not table.head_is_usual:
            self._say("fat-head-odd", "FAT", found=f"{table.entry(0):X}, {table.entry(1):X}")

    def _look_at_usage(self, table: FileAllocationTable, tree: Tree) -> int:
        """Say which clusters are lost and what is left of deleted files; return the free bytes."""
        upper_half = table.bits == 32
        asked = first_clusters(tree.deleted, table.limit, upper_half=upper_half)
        runs = FreeRuns(asked, table.limit)
        in_use, walked, bad = table.usage(runs)
        tree.deleted = [
            *places(tree.deleted, runs, self._boot, self._offset, upper_half=upper_half)
        ]
        lost = in_use - walked - bad
        if lost:
            self._say("lost-clusters", "FAT", clusters=lost, size=lost * self._boot.cluster_size)
        free = table.limit - FIRST_CLUSTER - in_use
        if self._info is not None and self._info.free_clusters not in (UNKNOWN, free):
            found = self._info.free_clusters
            # Systems are allowed to let this count lapse; a count that cannot be is another matter.
            slug = "fsinfo-odd" if found > self._boot.cluster_count else "free-count-odd"
            self._say(slug, "FSInfo", what="free-count", found=found, counted=free)
        return free * self._boot.cluster_size

    # --- names and facts

    def _look_at_labels(self, tree: Tree) -> None:
        boot_label = self._boot_label()
        label = tree.labels[0] if tree.labels else None
        if len(tree.labels) > 1:
            root, boot = spelled_out(tree.labels[0]), spelled_out(tree.labels[1])
            self._say("labels-differ", "directory", root=root, boot=boot)
        elif boot_label is not None and label is not None and label != boot_label:
            root, boot = spelled_out(label), spelled_out(boot_label)
            self._say("labels-differ", "boot sector", root=root, boot=boot)

    def _boot_label(self) -> str | None:
        if self._boot.extended_signature != EXTENDED_SIGNATURE:
            return None
        label = label_text(self._boot.label)
        return None if label in ("", _NO_LABEL) else label

    def _facts(self, tree: Tree, free: int) -> VolumeFacts:
        boot = self._boot
        size = boot.total_sectors * boot.bytes_per_sector
        serial = None
        if boot.extended_signature == EXTENDED_SIGNATURE:
            serial = f"{boot.volume_id >> 16:04X}-{boot.volume_id & 0xFFFF:04X}"
        return VolumeFacts(
            file_system=f"FAT{boot.entry_bits}",
            standard_type=f"FAT{boot.standard_bits}",
            where=Extent(self._offset, size),
            sector_size=boot.bytes_per_sector,
            cluster_size=boot.cluster_size,
            clusters=boot.cluster_count,
            serial=serial,
            label=tree.labels[0] if tree.labels else None,
            boot_label=self._boot_label(),
            free_bytes=free,
        )

    def _system(self, tree: Tree) -> tuple[tuple[str, Extent], ...]:
        """Return the stretches that are no file's content, with their published names."""
        boot = self._boot
        sector = boot.bytes_per_sector
        fat = boot.sectors_per_fat * sector
        first = self._offset + boot.reserved_sectors * sector
        areas = [("boot area", Extent(self._offset, boot.reserved_sectors * sector))]
        areas += [(f"FAT {n + 1}", Extent(first + n * fat, fat)) for n in range(boot.fat_count)]
        areas += [("directory", extent) for extent in tree.folders]
        return tuple(areas)

    def _say(self, slug: str, structure: str, **parameters: str | int) -> None:
        self._findings.append(Finding(slug, None, structure, parameters))


def _without_status(sector: bytes) -> bytes:
    return sector[:_FAT32_STATUS_AT] + sector[_FAT32_STATUS_AT + 1 :]
