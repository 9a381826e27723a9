"""Read and lay out a master boot record: the partition table in a card's first sector.

Takes and gives 512 bytes. It never looks at the card behind them.

Words: an *LBA* is a sector counted from the start of the card; *CHS* is the old
address by cylinder, head and sector, kept as its three stored bytes.

Source: `sfdisk --list-types` (util-linux) for the type bytes; the
layout is common to all of them: four entries of 16 bytes from 446, 55 AA at 510.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

from cardprep.errors import NotPartitionTableError

LENGTH = 512
SIGNATURE = b"\x55\xaa"
ENTRIES_AT = 446
DISK_SIGNATURE_AT = 440

ACTIVE = 0x80

FAT12 = 0x01
FAT16_SMALL = 0x04
EXTENDED_CHS = 0x05
FAT16 = 0x06
EXFAT_OR_NTFS = 0x07
FAT32_CHS = 0x0B
FAT32_LBA = 0x0C
FAT16_LBA = 0x0E
EXTENDED_LBA = 0x0F
SWAP = 0x82
LINUX = 0x83
EXTENDED_LINUX = 0x85
LVM = 0x8E
HFS = 0xAF
PROTECTIVE_GPT = 0xEE
EFI_SYSTEM = 0xEF

EXTENDED = frozenset((EXTENDED_CHS, EXTENDED_LBA, EXTENDED_LINUX))

_ENTRY = struct.Struct("<B3sB3sII")

HEADS = 255
SECTORS_PER_TRACK = 63
_CHS_BEYOND = b"\xfe\xff\xff"


@dataclass(frozen=True, slots=True, kw_only=True)
class PartitionEntry:
    """One of the four entries, as stored.

    status        0x80 active, 0x00 not
    chs_first     three bytes
    partition_type
    chs_last      three bytes
    first_sector  LBA
    sectors       number of sectors
    """

    status: int = 0
    chs_first: bytes = bytes(3)
    partition_type: int = 0
    chs_last: bytes = bytes(3)
    first_sector: int = 0
    sectors: int = 0

    @property
    def is_used(self) -> bool:
        """Whether the entry names a partition."""
        return self.partition_type != 0 and self.sectors != 0

    @property
    def is_extended(self) -> bool:
        """Whether it names a chain of logical partitions."""
        return self.partition_type in EXTENDED

    @property
    def is_odd(self) -> bool:
        """Whether it names no partition, but is not empty as an unused one should be."""
        return not self.is_used and bool(self.partition_type or self.sectors or self.first_sector)

    @property
    def status_is_defined(self) -> bool:
        """Whether the status byte is one of the two defined values."""
        return self.status in (0, ACTIVE)

    @classmethod
    def parse(cls, raw: bytes) -> PartitionEntry:
        """Read 16 bytes; NotPartitionTableError for another number of them."""
        if len(raw) != _ENTRY.size:
            raise NotPartitionTableError("mbr.entry-length", got=len(raw), wanted=_ENTRY.size)
        status, first, kind, last, start, count = _ENTRY.unpack(raw)
        return cls(
            status=status,
            chs_first=first,
            partition_type=kind,
            chs_last=last,
            first_sector=start,
            sectors=count,
        )

    def to_bytes(self) -> bytes:
        """Return the 16 bytes."""
        return _ENTRY.pack(
            self.status,
            self.chs_first,
            self.partition_type,
            self.chs_last,
            self.first_sector,
            self.sectors,
        )


_UNUSED = PartitionEntry()


@dataclass(frozen=True, slots=True, kw_only=True)
class MasterBootRecord:
    """A card's first sector when it holds a partition table.

    boot_code       440 bytes
    disk_signature  four bytes and the two after them, as stored
    entries         four
    """

    boot_code: bytes = bytes(DISK_SIGNATURE_AT)
    disk_signature: bytes = bytes(ENTRIES_AT - DISK_SIGNATURE_AT)
    entries: tuple[PartitionEntry, PartitionEntry, PartitionEntry, PartitionEntry]

    @classmethod
    def parse(cls, sector: bytes) -> MasterBootRecord:
        """Read the first 512 bytes of a card.

        Raises NotPartitionTableError without the signature, when no entry is
        used, or when the status of every used one is neither 00 nor 80.
        """
        if len(sector) < LENGTH:
            raise NotPartitionTableError("mbr.short", got=len(sector))
        if sector[510:512] != SIGNATURE:
            raise NotPartitionTableError("mbr.no-signature")
        a, b, c, d = (
            PartitionEntry.parse(sector[at : at + 16]) for at in range(ENTRIES_AT, 510, 16)
        )
        if not any(entry.is_used for entry in (a, b, c, d)):
            raise NotPartitionTableError("mbr.empty")
        if not any(entry.is_used and entry.status_is_defined for entry in (a, b, c, d)):
            raise NotPartitionTableError("mbr.status")
        return cls(
            boot_code=sector[:DISK_SIGNATURE_AT],
            disk_signature=sector[DISK_SIGNATURE_AT:ENTRIES_AT],
            entries=(a, b, c, d),
        )

    def to_bytes(self) -> bytes:
        """Return the 512 bytes."""
        entries = b"".join(entry.to_bytes() for entry in self.entries)
        return self.boot_code + self.disk_signature + entries + SIGNATURE


def one_partition(
    *, partition_type: int, first_sector: int, sectors: int, disk_signature: int
) -> MasterBootRecord:
    """Return the table of a card with a single, inactive partition."""
    entry = PartitionEntry(
        chs_first=chs(first_sector),
        partition_type=partition_type,
        chs_last=chs(first_sector + sectors - 1),
        first_sector=first_sector,
        sectors=sectors,
    )
    return MasterBootRecord(
        disk_signature=struct.pack("<IH", disk_signature, 0),
        entries=(entry, _UNUSED, _UNUSED, _UNUSED),
    )


def chs(sector: int) -> bytes:
    """Return the three stored bytes of an LBA, for 255 heads of 63 sectors.

    An address beyond cylinder 1023 is stored as FE FF FF.
    """
    cylinder, rest = divmod(sector, HEADS * SECTORS_PER_TRACK)
    if cylinder > 1023:
        return _CHS_BEYOND
    head, index = divmod(rest, SECTORS_PER_TRACK)
    return bytes((head, (index + 1) | (cylinder >> 8) << 6, cylinder & 0xFF))
