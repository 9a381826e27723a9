"""Whether there is anything at all on a card, looked at from its first byte to its last.

A card whose beginning is empty may hold somebody's files further on, so all of
it is looked at. What a sparse image file does not store is not read.
"""

from __future__ import annotations

import errno
import os

from cardprep.layout.model import Layout
from cardprep.layout.stream import ContentSource, blocks
from cardprep.medium.descriptor import aligned_buffer
from cardprep.terms import MIB, SECTOR

_STEP = 4 * MIB


def is_part(descriptor: int, size: int, layout: Layout, source: ContentSource) -> bool:
    """Return whether each sector of a card is that of a layout, or zero; OSError as it comes.

    Then writing the layout takes nothing away that is not written again. Raises
    ShelfError if an image is not what the stage says.
    """
    expected = memoryview(bytearray(_STEP))
    found = aligned_buffer(_STEP)
    for at, block in blocks(layout, source, expected):
        length = len(block)
        if os.preadv(descriptor, [found[:length]], at) != length:
            return False
        if found[:length] != block and not _each_sector(found[:length], block):
            return False
    return is_blank(descriptor, size, start=layout.length)


def _each_sector(found: memoryview, block: memoryview) -> bool:
    for at in range(0, len(block), SECTOR):
        part = found[at : at + SECTOR]
        if part != block[at : at + SECTOR] and any(part):
            return False
    return True


def is_blank(descriptor: int, size: int, *, start: int = 0) -> bool:
    """Return whether all bytes from `start` to `size` behind a descriptor are zero.

    OSError as it comes.
    """
    buffer = aligned_buffer(_STEP)
    zeros = bytes(_STEP)
    at = _next_data(descriptor, start, size)
    while at < size:
        take = min(_STEP, size - at)
        got = os.preadv(descriptor, [buffer[:take]], at)
        if got == 0:
            return True
        if buffer[:got] != zeros[:got]:
            return False
        at = _next_data(descriptor, at + got, size)
    return True


def _next_data(descriptor: int, at: int, size: int) -> int:
    """Return where the next stored byte is; devices and some file systems store all of them."""
    if at >= size:
        return size
    try:
        return os.lseek(descriptor, at, os.SEEK_DATA)
    except OSError as error:
        # Behind the last stored byte there is no next one.
        return size if error.errno == errno.ENXIO else at
