"""The serial number of a card's first FAT or exFAT volume, from two sectors and nothing more.

A quick look before the real one, to know which stage a card may be. A serial
number is a name and proves nothing.
"""

from __future__ import annotations

from cardprep.errors import NotFatError
from cardprep.medium.protocol import Sectors, read
from cardprep.volume.fat_boot import EXTENDED_SIGNATURE, LENGTH, BootSector
from cardprep.volume.foreign import EXFAT_MARK
from cardprep.volume.mbr import MasterBootRecord


def volume_serial(sectors: Sectors) -> str | None:
    """Return the serial number as "1234-ABCD", or None where the volume has none.

    Raises NotFatError or NotPartitionTableError where there is no such volume,
    ReadFailedError or ShortReadError where a sector cannot be read.
    """
    first = read(sectors, 0, LENGTH)
    try:
        number = _serial(first)
    except NotFatError:
        if first[3:11] == EXFAT_MARK:
            raise
        table = MasterBootRecord.parse(first)
        entry = next(entry for entry in table.entries if entry.is_used)
        number = _serial(read(sectors, entry.first_sector * sectors.sector_size, LENGTH))
    return None if number is None else f"{number >> 16:04X}-{number & 0xFFFF:04X}"


def _serial(first: bytes) -> int | None:
    """Return the number in a volume's first sector."""
    if first[3:11] == EXFAT_MARK:
        from cardprep.volume.exfat_boot import ExfatBootSector

        return ExfatBootSector.parse(first).serial
    boot = BootSector.parse(first)
    return boot.volume_id if boot.extended_signature == EXTENDED_SIGNATURE else None
