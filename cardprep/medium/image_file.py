"""A card as an image file: every byte of it in one ordinary file."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from cardprep.errors import NotThereError
from cardprep.medium.access import NO_WAIT, open_for_reading
from cardprep.medium.descriptor import DescriptorSectors
from cardprep.medium.protocol import Identity, MediumKind
from cardprep.terms import spelled_out

# A file announces no sector size; 512 is what card readers announce.
SECTOR_SIZE = 512


def open_image_file(path: Path, *, direct: bool = False) -> DescriptorSectors:
    """Open an image file for reading; NotThereError or NotAllowedError if it cannot be."""
    descriptor, is_direct = open_for_reading(path, direct=direct, flags=NO_WAIT)
    status = os.fstat(descriptor)
    if not stat.S_ISREG(status.st_mode):
        os.close(descriptor)
        raise NotThereError("medium.kind", name=spelled_out(str(path)))
    identity = Identity(
        name=str(path),
        kind=MediumKind.IMAGE_FILE,
        size=status.st_size,
        sector_size=SECTOR_SIZE,
    )
    return DescriptorSectors(descriptor, identity, direct=is_direct)
