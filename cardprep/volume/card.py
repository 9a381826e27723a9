"""Find the volumes of a card: with a partition table, or from its first sector.

Reads the first sector and whatever volumes it leads to. What this version does
not read (logical partitions, GPT, other file systems) is named as not looked
at, never passed over.

Source: type bytes as `sfdisk --list-types` (util-linux) prints them; "EXFAT   "
and "NTFS    " at bytes 3 to 10 of a volume's first sector.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

from cardprep.errors import NotFatError, NotPartitionTableError, ReadFailedError, ShortReadError
from cardprep.findings import Finding
from cardprep.medium.protocol import Sectors, read
from cardprep.volume import mbr
from cardprep.volume.fat_boot import LENGTH, SECTOR_SIZES, BootSector
from cardprep.volume.fat_volume import read_fat_volume
from cardprep.volume.model import Extent, Volume

_FAT_TYPES = {
    mbr.FAT12: 12,
    mbr.FAT16_SMALL: 16,
    mbr.FAT16: 16,
    mbr.FAT16_LBA: 16,
    mbr.FAT32_CHS: 32,
    mbr.FAT32_LBA: 32,
}
_OTHER_MARKS = {b"EXFAT   ": "exFAT", b"NTFS    ": "NTFS"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Partition:
    """An entry of the partition table that is in use.

    number  1 to 4
    where   the stretch of the card that it names
    """

    number: int
    partition_type: int
    active: bool
    where: Extent


@dataclass(frozen=True, slots=True, kw_only=True)
class CardContent:
    """What was found on a card, without the files' content.

    table       the partition table as stored, or None
    partitions  entries in use
    volumes     those that could be read
    findings    about the table and about all volumes
    """

    table: mbr.MasterBootRecord | None
    partitions: tuple[Partition, ...]
    volumes: tuple[Volume, ...]
    findings: tuple[Finding, ...]


def read_card(sectors: Sectors) -> CardContent:
    """Find and read the volumes of a card.

    What is wrong with the card is in the findings. Raises ReadFailedError or
    ShortReadError only if the first sector is there and cannot be read.
    """
    first = read(sectors, 0, min(LENGTH, sectors.size))
    try:
        BootSector.parse(first)
    except NotFatError:
        pass
    else:
        return _without_table(sectors, first)
    mark = _OTHER_MARKS.get(first[3:11])
    if mark is not None:
        return _nothing(mark)
    try:
        table = mbr.MasterBootRecord.parse(first)
    except NotPartitionTableError as error:
        is_blank = len(first) == LENGTH and not any(first)
        return _nothing("blank" if is_blank else error.reason)
    return _with_table(sectors, table)


def _nothing(what: str) -> CardContent:
    finding = Finding("no-volume", None, "MBR", {"what": what})
    return CardContent(table=None, partitions=(), volumes=(), findings=(finding,))


def _without_table(sectors: Sectors, first: bytes) -> CardContent:
    volume = _volume(sectors, 0, sectors.size)
    found = [Finding("no-partition-table", None, "MBR")]
    if _is_table_too(first, sectors):
        found.append(_about("partition-table-odd", 0, what="volume-too"))
    if isinstance(volume, Finding):
        return CardContent(table=None, partitions=(), volumes=(), findings=(*found, volume))
    return CardContent(
        table=None, partitions=(), volumes=(volume,), findings=(*found, *volume.findings)
    )


def _is_table_too(first: bytes, sectors: Sectors) -> bool:
    """Whether a volume's boot sector could be taken for a partition table as well.

    Then one display may show one content and another display another one. Boot
    code and messages stand where the table would be, so that only entries which
    are right in all respects count. Formatters may write an entry for the volume
    itself, from sector 0: that leads to the same content.
    """
    try:
        entries = mbr.MasterBootRecord.parse(first).entries
    except NotPartitionTableError:
        return False
    right = all(
        entry.status_is_defined
        and not entry.is_odd
        and (entry.first_sector + entry.sectors) * sectors.sector_size <= sectors.size
        for entry in entries
    )
    return right and any(entry.is_used and entry.first_sector for entry in entries)


def _with_table(sectors: Sectors, table: mbr.MasterBootRecord) -> CardContent:
    findings: list[Finding] = []
    partitions = []
    volumes = []
    for number, entry in enumerate(table.entries, 1):
        if entry.is_odd:
            findings.append(_about("partition-table-odd", number, what="entry"))
        if not entry.is_used:
            continue
        volume, start, unit = _partition_volume(sectors, entry, number)
        where = Extent(start, entry.sectors * unit)
        partitions.append(
            Partition(
                number=number,
                partition_type=entry.partition_type,
                active=entry.status == mbr.ACTIVE,
                where=where,
            )
        )
        if isinstance(volume, Finding):
            findings.append(volume)
        else:
            volumes.append(volume)
            findings.extend(_type_contradiction(entry, volume, number))
            if unit != sectors.sector_size:
                findings.append(_about("partition-table-odd", number, what="sector-size"))
        if not entry.status_is_defined:
            findings.append(_about("partition-status-odd", number, found=entry.status))
        if where.offset + where.length > sectors.size:
            end = where.offset + where.length
            findings.append(_about("partition-beyond-card", number, end=end, size=sectors.size))
    findings.extend(_relations(partitions))
    for volume in volumes:
        findings.extend(volume.findings)
    return CardContent(
        table=table,
        partitions=tuple(partitions),
        volumes=tuple(volumes),
        findings=tuple(findings),
    )


def _partition_volume(
    sectors: Sectors, entry: mbr.PartitionEntry, number: int
) -> tuple[Volume | Finding, int, int]:
    """Return the volume of a partition or why there is none, where it begins, bytes per LBA.

    A copy of a card with larger sectors counts its LBA in those, and a file does
    not say so; the size that leads to a volume with such sectors is the right one.
    """
    announced = sectors.sector_size
    if entry.partition_type in (mbr.EXTENDED_CHS, mbr.EXTENDED_LBA, mbr.PROTECTIVE_GPT):
        what = "gpt" if entry.partition_type == mbr.PROTECTIVE_GPT else "logical"
        finding = _about("volume-unreadable", number, what=what)
        return finding, entry.first_sector * announced, announced
    where = entry.first_sector * announced
    volume = _volume(sectors, where, entry.sectors * announced, number)
    for unit in SECTOR_SIZES if isinstance(volume, Finding) else ():
        other = _volume(sectors, entry.first_sector * unit, entry.sectors * unit, number)
        if not isinstance(other, Finding) and other.facts.sector_size == unit:
            return other, entry.first_sector * unit, unit
    return volume, where, announced


def _volume(sectors: Sectors, start: int, room: int, number: int = 0) -> Volume | Finding:
    """Read the volume that begins at a byte of the card, or say why there is none."""
    try:
        return read_fat_volume(sectors, start, room)
    except NotFatError as error:
        return _about("volume-unreadable", number, what=_mark(sectors, start) or error.reason)
    except (ReadFailedError, ShortReadError):
        return _about("read-error", number, offset=start)


def _mark(sectors: Sectors, start: int) -> str | None:
    """Return the name of another file system that begins here, if it is one that shows itself."""
    try:
        return _OTHER_MARKS.get(read(sectors, start, LENGTH)[3:11])
    except (ReadFailedError, ShortReadError):
        return None


def _type_contradiction(entry: mbr.PartitionEntry, volume: Volume, number: int) -> list[Finding]:
    bits = _FAT_TYPES.get(entry.partition_type)
    if bits is not None and volume.facts.file_system in _possible(bits):
        return []
    kind = f"{entry.partition_type:02X}"
    found = volume.facts.file_system
    return [_about("partition-type-contradicts", number, partition_type=kind, found=found)]


def _possible(bits: int) -> tuple[str, ...]:
    # Formatters choose 12 or 16 bits by size and keep the type byte of small FAT.
    return ("FAT32",) if bits == 32 else ("FAT12", "FAT16")


def _relations(partitions: list[Partition]) -> list[Finding]:
    findings = []
    if len(partitions) > 1:
        findings.append(Finding("several-partitions", None, "MBR", {"count": len(partitions)}))
    ordered = sorted(partitions, key=lambda partition: partition.where.offset)
    for one, other in itertools.combinations(ordered, 2):
        if one.where.offset + one.where.length > other.where.offset:
            findings.append(_about("partitions-overlap", one.number, other=other.number))
    return findings


def _about(slug: str, number: int, **parameters: str | int) -> Finding:
    """Return a finding about a partition; number 0 is the card itself."""
    structure = f"partition {number}" if number else "card"
    return Finding(slug, None, structure, parameters)
