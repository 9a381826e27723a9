"""Write a laid-out stage onto a card that the guard let through, and read it back.

One ascending pass in large blocks, then a flush, then one pass of reading that
is inspection, card digest and comparison with the stage together, on the same
descriptor. The caller has logged the intent before and logs the outcome after.

Source for what is read from where: open(2), O_DIRECT; posix_fadvise(2); mincore(2);
Linux, include/uapi/linux/loop.h (LOOP_GET_STATUS64, LO_FLAGS_DIRECT_IO).
"""

from __future__ import annotations

import ctypes
import errno
import mmap
import os
import sys
from dataclasses import dataclass

from cardprep.errors import WriteFailedError
from cardprep.inspection.card import Watched, inspect_card
from cardprep.inspection.model import Inspection
from cardprep.layout.compare import Compared, Comparison
from cardprep.layout.model import Layout
from cardprep.layout.stream import BLOCK, ContentSource, blocks
from cardprep.medium.access import DIRECT
from cardprep.medium.descriptor import aligned_buffer
from cardprep.medium.protocol import MediumKind
from cardprep.progress import Cancel, Progress
from cardprep.terms import spelled_out
from cardprep.write.guard import WritableCard

_LOOP_GET_STATUS64 = 0x4C05
_LOOP_STATUS_LENGTH = 232
_LOOP_FLAGS_AT = 52
_LOOP_DIRECT = 16


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadBack:
    """What is on a card after it was written.

    compared    byte for byte with the stage's layout
    inspection  as of any card
    """

    compared: Compared
    inspection: Inspection


def put(
    card: WritableCard,
    layout: Layout,
    source: ContentSource,
    progress: Progress,
    cancel: Cancel,
) -> None:
    """Write all of a layout and bring it to the medium.

    Raises WriteFailedError where the card does not take it, ShelfError where an
    image is not what it should be, StoppedError when somebody asked to stop. In
    all three cases what is on the card is unfinished.
    """
    offset = 0
    try:
        for offset, block in blocks(layout, source, aligned_buffer(BLOCK)):
            cancel.check()
            _write_fully(card.descriptor, offset, block)
            progress(offset + len(block), layout.length)
        os.fsync(card.descriptor)
    except OSError as error:
        raise WriteFailedError(
            "write.failed",
            name=spelled_out(card.identity.name),
            offset=offset,
            cause=errno.errorcode.get(error.errno or 0, "unknown error"),
        ) from error


def read_back(card: WritableCard, layout: Layout, progress: Progress, cancel: Cancel) -> ReadBack:
    """Look at a card that was just written, past the system's memory where possible."""
    direct = _leave_the_cache(card, layout)
    comparison = Comparison(layout)
    watched = Watched(witness=comparison, length=layout.length, keep=layout.first_file_offset)
    inspection = inspect_card(
        card.sectors(direct=direct), watched=watched, progress=progress, cancel=cancel
    )
    return ReadBack(compared=comparison.result(), inspection=inspection)


def _write_fully(descriptor: int, offset: int, block: memoryview) -> None:
    done = 0
    while done < len(block):
        done += os.pwrite(descriptor, block[done:], offset + done)


def _leave_the_cache(card: WritableCard, layout: Layout) -> bool:
    """Turn the descriptor to direct reads; return whether what follows comes from the medium."""
    if not DIRECT or _is_loop_through_memory(card):
        return False
    import fcntl

    try:
        flags = fcntl.fcntl(card.descriptor, fcntl.F_GETFL)
        fcntl.fcntl(card.descriptor, fcntl.F_SETFL, flags | DIRECT)
        _direct_read(card.descriptor)
    except OSError:
        fcntl.fcntl(card.descriptor, fcntl.F_SETFL, flags & ~DIRECT)
        return card.identity.kind is MediumKind.IMAGE_FILE and _dropped(card.descriptor, layout)
    return True


def _direct_read(descriptor: int) -> None:
    """Read once: some file systems take the flag and fail at the first read."""
    os.preadv(descriptor, [aligned_buffer(4096)], 0)


def _is_loop_through_memory(card: WritableCard) -> bool:
    """Return whether a loop device reads its file from the system's memory, however it is read."""
    if card.identity.kind is not MediumKind.BLOCK_DEVICE:
        return False
    import fcntl

    try:
        status = fcntl.ioctl(card.descriptor, _LOOP_GET_STATUS64, bytes(_LOOP_STATUS_LENGTH))
    except OSError:
        # A device that is no loop device.
        return False
    flags = int.from_bytes(status[_LOOP_FLAGS_AT : _LOOP_FLAGS_AT + 4], sys.byteorder)
    return not flags & _LOOP_DIRECT


def _dropped(descriptor: int, layout: Layout) -> bool:
    """Ask the system to forget a file, and return whether it did; some of it may be in use."""
    try:
        os.posix_fadvise(descriptor, 0, 0, os.POSIX_FADV_DONTNEED)
        with mmap.mmap(descriptor, layout.length, access=mmap.ACCESS_COPY) as mapped:
            return not _resident_pages(mapped)
    except OSError:
        # What cannot be found out is not claimed.
        return False


def _resident_pages(mapped: mmap.mmap) -> int:
    """Return how many pages of a mapped file the system has in memory; OSError as it comes."""
    answer = (ctypes.c_ubyte * -(-len(mapped) // mmap.PAGESIZE))()
    start = ctypes.c_char.from_buffer(mapped)
    system = ctypes.CDLL(None, use_errno=True)
    length = ctypes.c_size_t(len(mapped))
    failed = system.mincore(ctypes.c_void_p(ctypes.addressof(start)), length, answer)
    # Only without this can the mapping be closed.
    del start
    if failed:
        raise OSError(ctypes.get_errno(), "mincore")
    return sum(page & 1 for page in answer)
