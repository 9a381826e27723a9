"""Read parts of one file a second time, to confirm that they are what they seemed to be.

The single pass keeps no content. Where a file turns out to be other than it should
be, a few blocks of it are read again from the card: they show which bytes differ, and
whether the card gives the same bytes twice.
"""

from __future__ import annotations

import os

from cardprep.errors import CardprepError, StoppedError
from cardprep.inspection.model import InspectedFile
from cardprep.medium.protocol import Folder, Sectors
from cardprep.progress import Cancel
from cardprep.terms import CHUNK


def blocks_from_sectors(
    sectors: Sectors, file: InspectedFile, numbers: tuple[int, ...]
) -> tuple[bytes | None, ...]:
    """Return blocks of 64 KiB of a file by their numbers; None for one that cannot be read."""
    found: list[bytes | None] = []
    for number in numbers:
        length = min(CHUNK, file.size - number * CHUNK)
        try:
            found.append(_from_extents(sectors, file, number * CHUNK, length))
        except CardprepError:
            found.append(None)
    return tuple(found)


def blocks_from_folder(
    folder: Folder, file: InspectedFile, numbers: tuple[int, ...], cancel: Cancel
) -> tuple[bytes | None, ...]:
    """Return the same of a file in a mounted folder, which is read from its start."""
    held = {number: bytearray() for number in numbers}
    at, end = 0, (max(numbers) + 1) * CHUNK
    try:
        for block in folder.blocks(tuple(os.fsencode(part) for part in file.path)):
            cancel.check()
            for number in numbers:
                start = number * CHUNK
                held[number] += block[max(0, start - at) : max(0, start + CHUNK - at)]
            at += len(block)
            if at >= end:
                break
    except StoppedError:
        raise
    except CardprepError:
        return (None,) * len(numbers)
    return tuple(bytes(held[number]) for number in numbers)


def _from_extents(sectors: Sectors, file: InspectedFile, start: int, length: int) -> bytes:
    """Return `length` bytes from `start` of a file's content, wherever its pieces lie."""
    found, passed = bytearray(length), 0
    view = memoryview(found)
    for extent in file.extents:
        first, last = max(start, passed), min(start + length, passed + extent.length)
        if first < last:
            offset = extent.offset + first - passed
            sectors.read_into(offset, view[first - start : last - start])
        passed += extent.length
    return bytes(found)
