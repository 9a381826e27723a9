"""A card in a reader, met as a block device of Linux.

Reads go past the system's cache, because what matters is what the card holds
and not what the system remembers of it.

Source: Linux, Documentation/ABI/stable/sysfs-block ("diskseq"); include/uapi/linux/fs.h
(BLKSSZGET); Documentation/driver-api/mmc/mmc-dev-attrs.rst ("cid").
"""

from __future__ import annotations

import os
import struct
from pathlib import Path

from cardprep.medium.access import cannot_open, open_for_reading
from cardprep.medium.descriptor import DescriptorSectors
from cardprep.medium.protocol import Identity, MediumKind

BLKSSZGET = 0x1268
SYSFS = Path("/sys/dev/block")


def open_block_device(path: Path) -> DescriptorSectors:
    """Open a card's device for reading; NotThereError or NotAllowedError if it cannot be."""
    descriptor, direct = open_for_reading(path, direct=True)
    try:
        identity = device_identity(path, descriptor, SYSFS)
    except OSError as error:
        os.close(descriptor)
        raise cannot_open(path, error) from error
    return DescriptorSectors(descriptor, identity, direct=direct)


def device_identity(path: Path, descriptor: int, sysfs: Path = SYSFS) -> Identity:
    """Return what the kernel says of the device behind an open descriptor."""
    import fcntl

    sector_size = struct.unpack("i", fcntl.ioctl(descriptor, BLKSSZGET, bytes(4)))[0]
    number = os.fstat(descriptor).st_rdev
    folder = sysfs / f"{os.major(number)}:{os.minor(number)}"
    sequence = _attribute(folder / "diskseq")
    return Identity(
        name=str(path),
        kind=MediumKind.BLOCK_DEVICE,
        size=os.lseek(descriptor, 0, os.SEEK_END),
        sector_size=sector_size,
        disk_sequence=int(sequence) if sequence and sequence.isdecimal() else None,
        cid=_attribute(folder / "device" / "cid"),
    )


def _attribute(path: Path) -> str | None:
    """Return a sysfs attribute, or None where this kind of device has none."""
    try:
        return path.read_text(encoding="ascii", errors="replace").strip() or None
    except OSError:
        return None
