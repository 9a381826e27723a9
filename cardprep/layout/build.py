"""Lay a stage out: from its files and its display's settings to the regions of a card.

A pure function: no clock, no randomness, no card. Files lie contiguously in the
stage's order behind the folders, every gap is zero, and time stamps come from
the images' release dates.

Source: FAT: General Overview of On-Disk Format, v1.03 (Microsoft, 2000).
"""

from __future__ import annotations

import sys
from array import array

from cardprep.errors import LayoutError
from cardprep.job.stage import Stage
from cardprep.layout.folders import Places, folder_entries
from cardprep.layout.geometry import FAT16_ROOT_ENTRIES, FAT_COUNT, Geometry, candidates
from cardprep.layout.label import serials, volume_label
from cardprep.layout.model import Layout, Region
from cardprep.layout.tree import FolderPlan, plan_folders
from cardprep.terms import SECTOR
from cardprep.volume import mbr
from cardprep.volume.fat_boot import EXTENDED_SIGNATURE, FIRST_CLUSTER, BootSector, Fat32Part
from cardprep.volume.fat_entry import LENGTH
from cardprep.volume.fat_info import InfoSector
from cardprep.volume.model import shown_path

FILE_MOST = 2**32 - 1
OEM_NAME = b"CARDPREP"
MEDIA = 0xF8
_BACKUP_SECTOR = 6
_DRIVE = 0x80


def lay_out(stage: Stage) -> Layout:
    """Return the layout of a stage.

    Raises LayoutError if a name, a size or the whole cannot stand on a card
    that the display takes.
    """
    for file in stage.files:
        if file.size > FILE_MOST:
            raise LayoutError("layout.file-too-large", name=shown_path(file.path), size=file.size)
    root = plan_folders(stage)
    geometry = _smallest(stage, root)
    places = _places(stage, root, geometry)
    return Layout(
        stage=stage,
        geometry=geometry,
        regions=tuple(_filled(_regions(stage, root, geometry, places))),
        label=volume_label(stage),
        serial=serials(stage)[0],
    )


def _smallest(stage: Stage, root: FolderPlan) -> Geometry:
    """Return the smallest volume that holds the stage, which is also the test whether it fits."""
    possible = candidates(stage.settings)
    needed = 0
    for geometry in possible:
        if geometry.bits == 16 and root.entry_count > FAT16_ROOT_ENTRIES:
            needed = 0
            continue
        needed = _places(stage, root, geometry).end - FIRST_CLUSTER
        if needed <= geometry.cluster_count:
            return geometry
    if not needed:
        raise LayoutError("layout.root-full", most=FAT16_ROOT_ENTRIES)
    raise LayoutError(
        "layout.too-large",
        needed=needed * possible[-1].cluster_size,
        room=possible[-1].cluster_count * possible[-1].cluster_size,
    )


def _places(stage: Stage, root: FolderPlan, geometry: Geometry) -> Places:
    """Give out clusters: root folder (FAT32), folders, then files, one after another."""
    following = FIRST_CLUSTER
    folders = {}
    for folder in root.all_folders():
        if folder.parent is None and geometry.bits == 16:
            continue
        count = -(-folder.size // geometry.cluster_size)
        folders[folder.path] = (following, count)
        following += count
    files = []
    for file in stage.files:
        count = -(-file.size // geometry.cluster_size)
        files.append((following if count else 0, count))
        following += count
    return Places(folders, files, following)


# --- regions


def _regions(stage: Stage, root: FolderPlan, geometry: Geometry, places: Places) -> list[Region]:
    serial, signature = serials(stage)
    regions = []
    if geometry.start:
        table = mbr.one_partition(
            partition_type=mbr.FAT16_LBA if geometry.bits == 16 else mbr.FAT32_LBA,
            first_sector=geometry.start // SECTOR,
            sectors=geometry.total_sectors,
            disk_signature=signature,
        )
        regions.append(_at("MBR", 0, table.to_bytes()))
    regions += _boot_area(stage, geometry, serial, places)
    fat = _fat(geometry, places)
    fat_length = geometry.sectors_per_fat * SECTOR
    first_fat = geometry.start + geometry.reserved_sectors * SECTOR
    for copy in range(FAT_COUNT):
        at = first_fat + copy * fat_length
        regions.append(_at(f"FAT {copy + 1}", at, fat, fat_length))
    for folder in root.all_folders():
        regions.append(_folder_region(stage, folder, geometry, places))
    for number, (first, count) in enumerate(places.files):
        if count:
            regions += _file_regions(stage, number, geometry.cluster_offset(first), geometry)
    return regions


def _boot_area(stage: Stage, geometry: Geometry, serial: int, places: Places) -> list[Region]:
    boot = _boot_sector(geometry, serial, volume_label(stage)).to_bytes()
    regions = [_at("boot sector", geometry.start, boot)]
    if geometry.bits == 32:
        free = geometry.cluster_count - (places.end - FIRST_CLUSTER)
        following = places.end if free else 0xFFFFFFFF
        info = InfoSector(free_clusters=free, next_free=following).to_bytes()
        backup = geometry.start + _BACKUP_SECTOR * SECTOR
        regions.append(_at("FSInfo", geometry.start + SECTOR, info))
        regions.append(_at("backup boot sector", backup, boot))
        regions.append(_at("backup FSInfo", backup + SECTOR, info))
    return regions


def _boot_sector(geometry: Geometry, serial: int, label: str) -> BootSector:
    old = geometry.bits == 16
    small = old and geometry.total_sectors < 0x10000
    fat32 = None
    if not old:
        fat32 = Fat32Part(
            sectors_per_fat=geometry.sectors_per_fat, backup_boot_sector=_BACKUP_SECTOR
        )
    return BootSector(
        jump=b"\xeb\x3c\x90" if old else b"\xeb\x58\x90",
        oem_name=OEM_NAME,
        bytes_per_sector=SECTOR,
        sectors_per_cluster=geometry.sectors_per_cluster,
        reserved_sectors=geometry.reserved_sectors,
        fat_count=FAT_COUNT,
        root_entries=FAT16_ROOT_ENTRIES if old else 0,
        total_sectors_16=geometry.total_sectors if small else 0,
        media=MEDIA,
        sectors_per_fat_16=geometry.sectors_per_fat if old else 0,
        sectors_per_track=mbr.SECTORS_PER_TRACK,
        heads=mbr.HEADS,
        hidden_sectors=geometry.start // SECTOR,
        total_sectors_32=0 if small else geometry.total_sectors,
        fat32=fat32,
        drive_number=_DRIVE,
        status=0,
        extended_signature=EXTENDED_SIGNATURE,
        volume_id=serial,
        label=label.ljust(11).encode("ascii"),
        type_text=b"FAT16   " if old else b"FAT32   ",
        boot_code=bytes(448 if old else 420),
    )


def _fat(geometry: Geometry, places: Places) -> bytes:
    """Return the used part of a FAT; all chains are contiguous."""
    mask = 0xFFFF if geometry.bits == 16 else 0x0FFFFFFF
    entries = array("H" if geometry.bits == 16 else "I", (mask & ~0xFF | MEDIA, mask))
    # Clusters are given out in this very order, so the chains follow each other.
    for first, count in (*places.folders.values(), *places.files):
        if count:
            entries.extend(range(first + 1, first + count))
            entries.append(mask)
    if sys.byteorder == "big":
        entries.byteswap()
    return entries.tobytes()


def _file_regions(stage: Stage, number: int, at: int, geometry: Geometry) -> list[Region]:
    file = stage.files[number]
    shown = shown_path(file.path)
    content = Region(structure="file content", offset=at, length=file.size, file=number, path=shown)
    slack = -file.size % geometry.cluster_size
    if not slack:
        return [content]
    return [content, Region(structure="slack", offset=at + file.size, length=slack, path=shown)]


def _folder_region(stage: Stage, folder: FolderPlan, geometry: Geometry, places: Places) -> Region:
    content = b"".join(folder_entries(stage, folder, places))
    shown = shown_path(folder.path) or None
    if folder.parent is None and geometry.bits == 16:
        at = geometry.start + (geometry.first_data_sector - geometry.root_sectors) * SECTOR
        return _at("directory", at, content, FAT16_ROOT_ENTRIES * LENGTH)
    first, count = places.folders[folder.path]
    length = count * geometry.cluster_size
    return _at("directory", geometry.cluster_offset(first), content, length, shown)


# --- covering the card


def _at(
    structure: str, offset: int, content: bytes, length: int = 0, path: str | None = None
) -> Region:
    return Region(
        structure=structure,
        offset=offset,
        length=length or len(content),
        content=content,
        path=path,
    )


def _filled(regions: list[Region]) -> list[Region]:
    """Return the regions with the gaps between them as regions of zeros."""
    filled: list[Region] = []
    at = 0
    for region in regions:
        if region.offset > at:
            filled.append(Region(structure="gap", offset=at, length=region.offset - at))
        filled.append(region)
        at = region.offset + region.length
    return filled
