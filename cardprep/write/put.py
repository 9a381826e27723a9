"""Write a laid-out stage onto a card that the guard let through, and read it back.

One ascending pass in large blocks, then a flush, then one pass of reading that
is inspection, card digest and comparison with the stage together, on the same
descriptor. The caller has logged the intent before and logs the outcome after.
"""

from __future__ import annotations

import errno
import os
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
    if not DIRECT:
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


def _dropped(descriptor: int, layout: Layout) -> bool:
    """Ask the system to forget a file, and return whether it did."""
    os.posix_fadvise(descriptor, 0, 0, os.POSIX_FADV_DONTNEED)
    no_wait = getattr(os, "RWF_NOWAIT", 0)
    if not no_wait:
        return False
    buffer = bytearray(4096)
    for at in range(0, layout.length, BLOCK):
        try:
            # A read that may not wait succeeds only where the system still remembers.
            os.preadv(descriptor, [buffer], at, no_wait)
        except BlockingIOError:
            continue
        except OSError:
            return False
        return False
    return True
