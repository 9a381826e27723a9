"""Whether there is anything at all on a card, looked at from its first byte to its last.

A card whose beginning is empty may hold somebody's files further on, so all of
it is looked at. What a sparse image file does not store is not read.
"""

from __future__ import annotations

import errno
import os

from cardprep.medium.descriptor import aligned_buffer
from cardprep.terms import MIB

_STEP = 4 * MIB


def is_blank(descriptor: int, size: int) -> bool:
    """Return whether all `size` bytes behind an open descriptor are zero; OSError as it comes."""
    buffer = aligned_buffer(_STEP)
    zeros = bytes(_STEP)
    at = _next_data(descriptor, 0, size)
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
