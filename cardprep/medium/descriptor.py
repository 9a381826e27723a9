"""Read a card through an open descriptor, past the system's cache where that is possible.

Direct reads need the offset, the length and the place in memory to be multiples
of the medium's block; what is not goes through one page-aligned buffer. Of a
device no more sectors are asked for than are wanted: a bad one beside them would
take them along. The
descriptor may have been opened by the room that writes, so that what is read
back is read from the very card that was written.

Source: open(2), O_DIRECT; preadv(2).
"""

from __future__ import annotations

import ctypes
import errno
import mmap
import os

from cardprep.errors import ReadFailedError, ShortReadError
from cardprep.medium.access import read_at
from cardprep.medium.closing import Closing
from cardprep.medium.protocol import Identity, MediumKind
from cardprep.terms import spelled_out

# Direct I/O wants at most the logical block, and 4096 is a multiple of every one met.
ALIGNMENT = 4096
BOUNCE = 1024 * 1024


class DescriptorSectors(Closing):
    """The sectors behind an open descriptor.

    identity  what it is; its size and sector size must be known
    direct    whether the descriptor was opened with O_DIRECT
    owned     whether closing this closes the descriptor
    """

    def __init__(
        self, descriptor: int, identity: Identity, *, direct: bool, owned: bool = True
    ) -> None:
        self._descriptor = descriptor
        self._identity = identity
        self._direct = direct
        self._owned = owned
        self._bounce: memoryview | None = None
        self._step = ALIGNMENT
        if identity.kind is MediumKind.BLOCK_DEVICE and identity.sector_size:
            self._step = min(identity.sector_size, ALIGNMENT)

    @property
    def identity(self) -> Identity:
        """What tells this card from another."""
        return self._identity

    @property
    def size(self) -> int:
        """Bytes that the medium says it holds."""
        return self._identity.size or 0

    @property
    def sector_size(self) -> int:
        """Bytes per sector that the medium announces."""
        return self._identity.sector_size or 512

    @property
    def past_the_cache(self) -> bool:
        """Whether reads come from the medium and not from the system's memory."""
        return self._direct

    def close(self) -> None:
        """Close the descriptor if it is owned."""
        if self._owned and self._descriptor >= 0:
            os.close(self._descriptor)
        self._descriptor = -1

    def read_into(self, offset: int, buffer: memoryview) -> None:
        """Fill `buffer` from `offset`; see Sectors.read_into."""
        if offset < 0 or offset + len(buffer) > self.size:
            raise ShortReadError(
                "medium.past-the-end",
                name=spelled_out(self._identity.name),
                offset=offset,
                wanted=len(buffer),
                size=self.size,
            )
        if not self._direct or self._is_aligned(offset, buffer):
            self._fill(offset, buffer, len(buffer))
        else:
            self._through_bounce(offset, buffer)

    def _is_aligned(self, offset: int, buffer: memoryview) -> bool:
        if offset % ALIGNMENT or len(buffer) % ALIGNMENT or not len(buffer):
            return False
        return ctypes.addressof(ctypes.c_char.from_buffer(buffer)) % ALIGNMENT == 0

    def _through_bounce(self, offset: int, buffer: memoryview) -> None:
        if self._bounce is None:
            self._bounce = aligned_buffer(BOUNCE)
        done = 0
        while done < len(buffer):
            start = (offset + done) // self._step * self._step
            skip = offset + done - start
            take = min(len(buffer) - done, BOUNCE - skip)
            span = -(-(skip + take) // self._step) * self._step
            # The last block of an image file may be shorter than the alignment.
            self._fill(start, self._bounce[:span], skip + take)
            buffer[done : done + take] = self._bounce[skip : skip + take]
            done += take

    def _fill(self, offset: int, buffer: memoryview, needed: int) -> None:
        """Read into `buffer` until at least `needed` bytes are there."""
        done = 0
        while done < needed:
            try:
                got = read_at(self._descriptor, offset + done, buffer[done:])
            except OSError as error:
                raise ReadFailedError(
                    "medium.read-error",
                    name=spelled_out(self._identity.name),
                    offset=offset + done,
                    cause=errno.errorcode.get(error.errno or 0, "unknown error"),
                ) from error
            if got == 0:
                raise ShortReadError(
                    "medium.short",
                    name=spelled_out(self._identity.name),
                    offset=offset,
                    wanted=needed,
                    got=done,
                )
            done += got


def aligned_buffer(size: int) -> memoryview:
    """Return a page-aligned buffer of `size` bytes, filled with zeros."""
    return memoryview(mmap.mmap(-1, size))
