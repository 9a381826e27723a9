"""The serial number of a card's first FAT volume, from two sectors and nothing more.

A quick look before the real one, to know which stage a card may be. A serial
number is a name and proves nothing.
"""

from __future__ import annotations

from cardprep.errors import NotFatError
from cardprep.medium.protocol import Sectors, read
from cardprep.volume.fat_boot import EXTENDED_SIGNATURE, LENGTH, BootSector
from cardprep.volume.mbr import MasterBootRecord


def volume_serial(sectors: Sectors) -> str | None:
    """Return the serial number as "1234-ABCD", or None where the volume has none.

    Raises NotFatError or NotPartitionTableError where there is no FAT volume,
    ReadFailedError or ShortReadError where a sector cannot be read.
    """
    first = read(sectors, 0, LENGTH)
    try:
        boot = BootSector.parse(first)
    except NotFatError:
        table = MasterBootRecord.parse(first)
        entry = next(entry for entry in table.entries if entry.is_used)
        at = entry.first_sector * sectors.sector_size
        boot = BootSector.parse(read(sectors, at, LENGTH))
    if boot.extended_signature != EXTENDED_SIGNATURE:
        return None
    return f"{boot.volume_id >> 16:04X}-{boot.volume_id & 0xFFFF:04X}"
