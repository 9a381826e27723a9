"""A card as a capture: a packed, digested copy that is read exactly as the card was.

The format, number 1. A capture is a ZIP file with ZIP64 that any such program
unpacks and tests. It holds, in this order:

``CAPTURE.txt``  stored; a note for whoever has the file and not cardprep, always the same
``card.img``     deflated; the card from its first byte to its last
``index.json``   stored; the index, canonical JSON (RFC 8785) and one line end
``SHA256SUMS``   stored; digests of the three before, as ``sha256sum -c --strict`` reads them

The deflate stream of ``card.img`` is cut at whole bytes: each block of
``block_size`` bytes, the last one what is left, is packed by itself (an empty
stored block, as Z_FULL_FLUSH leaves it, ends it), and ``03 00`` ends the stream.
So one block is had without the others. Every header is fixed but for sizes,
checksums and offsets, always has its ZIP64 field, and says 1980-01-01; nothing
stands between or behind; the archive's comment is ``cardprep capture 1``. There
is one way to spell a capture.

Keys of the index, all of them always there:

format        ``cardprep-capture-1``
tool          version of cardprep
begun, ended  when the card was read, UTC
card          name, kind, size in bytes, sector_size, disk_sequence, cid, serial (null
              where the reader does not tell), past_the_cache
block_size    bytes: a power of two from 1 MiB to 16 MiB; there are at most 131072 blocks
crc32, sha256 of all of card.img, unreadable places as zeros
blocks        rows: how many equal blocks; bytes that each takes here; CRC-32 of those
              bytes; SHA-256 of the block. A card that is empty takes one row
unreadable    ascending: offset, length, cause (what the system called it, or ``short``
              where the reader gave too few bytes), tried (false where it was not tried
              sector by sector, so that some of it could perhaps be read)

Reading trusts nothing: the index is bounded before it is read; all bytes around
the blocks are made anew from it and compared; a block is believed when its packed
bytes have the CRC-32 and it unpacks to exactly its length with its SHA-256.
Everything else raises CaptureBrokenError. A capture is not signed: who must know
that nobody made another one holds its digest against the shop log's.

Sources: as in ``capture_zip.py`` and ``capture_block.py``; RFC 8785.
"""

from __future__ import annotations

import hashlib
import zlib
from bisect import bisect_right
from collections.abc import Iterator
from itertools import accumulate

from cardprep.errors import CaptureBrokenError, ReadFailedError, ShortReadError
from cardprep.medium.capture_block import Unpacked, unpack
from cardprep.medium.capture_index import INDEX_LARGEST, Index, parse_index
from cardprep.medium.capture_zip import DEFLATE_END, HEAD_LENGTH, TAIL_LENGTH, Frame, index_place
from cardprep.medium.closing import Closing
from cardprep.medium.protocol import Identity, MediumKind, Sectors, read
from cardprep.terms import MIB, spelled_out

_KEPT = 16 * MIB


class CaptureSectors(Closing):
    """The sectors of a card, read from its capture; made by `open_capture`.

    index  what the capture says of itself
    """

    def __init__(self, file: Sectors, index: Index) -> None:
        self.index = index
        self._file = file
        self._name = spelled_out(file.identity.name)
        counts = [run.count for run in index.runs]
        places = [run.count * run.packed for run in index.runs]
        self._first_blocks = list(accumulate(counts, initial=0))
        self._places = list(accumulate(places, initial=HEAD_LENGTH))
        self._stretch_ends = [stretch.end for stretch in index.unreadable]
        self._unpacked = Unpacked(max(_KEPT // index.block_size, 2))
        card = index.card
        self._identity = Identity(
            name=file.identity.name,
            kind=MediumKind.CAPTURE,
            size=card.size,
            sector_size=card.sector_size,
            cid=card.cid,
            serial=card.serial,
        )

    @property
    def identity(self) -> Identity:
        """What tells the card from another; its name is that of the capture."""
        return self._identity

    @property
    def size(self) -> int:
        """Bytes of the card."""
        return self.index.size

    @property
    def sector_size(self) -> int:
        """Bytes per sector of the card."""
        return self.index.card.sector_size or 512

    @property
    def past_the_cache(self) -> bool:
        """A file is read through the system's memory."""
        return False

    def close(self) -> None:
        """Close the capture."""
        self._file.close()

    def read_into(self, offset: int, buffer: memoryview) -> None:
        """Fill `buffer` from `offset`; see Sectors.read_into.

        Raises CaptureBrokenError where the capture is not as it was made.
        """
        end = offset + len(buffer)
        if offset < 0 or end > self.size:
            raise ShortReadError(
                "medium.past-the-end",
                name=self._name,
                offset=offset,
                wanted=len(buffer),
                size=self.size,
            )
        self._raise_what_the_card_raised(offset, end)
        block_size = self.index.block_size
        at = offset
        while at < end:
            number, skip = divmod(at, block_size)
            block = self._block(number)
            take = min(end - at, len(block) - skip)
            buffer[at - offset : at - offset + take] = memoryview(block)[skip : skip + take]
            at += take

    def _raise_what_the_card_raised(self, offset: int, end: int) -> None:
        place = bisect_right(self._stretch_ends, offset)
        if place == len(self._stretch_ends):
            return
        stretch = self.index.unreadable[place]
        first = max(stretch.offset, offset)
        if first >= end:
            return
        if stretch.cause == "short":
            raise ShortReadError(
                "medium.short",
                name=self._name,
                offset=offset,
                wanted=end - offset,
                got=first - offset,
            )
        raise ReadFailedError(
            "medium.read-error", name=self._name, offset=first, cause=stretch.cause
        )

    def _block(self, number: int) -> bytes:
        row = bisect_right(self._first_blocks, number) - 1
        run = self.index.runs[row]
        kept = self._unpacked.get(row)
        if kept is not None and run.count == 1:
            return kept
        # Of equal blocks one is unpacked, but the bytes of each are looked at.
        at = self._places[row] + (number - self._first_blocks[row]) * run.packed
        begin = number * self.index.block_size
        packed = self._packed(at, run.packed, begin)
        if zlib.crc32(packed) == run.crc:
            if kept is not None:
                return kept
            block = unpack(packed, min(self.index.block_size, self.size - begin))
            if block is not None and hashlib.sha256(block).hexdigest() == run.sha256:
                self._unpacked.keep(row, block)
                return block
        raise CaptureBrokenError("capture.block", name=self._name, offset=begin)

    def _packed(self, at: int, length: int, begin: int) -> bytes:
        try:
            return read(self._file, at, length)
        except ShortReadError as error:
            # Cut off since it was opened.
            raise CaptureBrokenError("capture.block", name=self._name, offset=begin) from error

    def blocks(self) -> Iterator[bytes]:
        """Give the whole card in blocks, unreadable places as zeros; verifies every block.

        Raises CaptureBrokenError also where the digest of the whole card does not hold.
        """
        digest, crc = hashlib.sha256(), 0
        for number in range(self._first_blocks[-1]):
            block = self._block(number)
            digest.update(block)
            crc = zlib.crc32(block, crc)
            yield block
        if (digest.hexdigest(), crc) != (self.index.sha256, self.index.crc):
            raise CaptureBrokenError("capture.whole", name=self._name)


def open_capture(file: Sectors) -> CaptureSectors:
    """Return the card that is captured in a file that begins or ends like a capture.

    Closing it closes the file. Raises CaptureBrokenError for one that is cut short
    or altered, or of a form that this version does not read.
    """
    name = spelled_out(file.identity.name)
    if file.size < HEAD_LENGTH + len(DEFLATE_END) + TAIL_LENGTH:
        raise CaptureBrokenError("capture.cut-short", name=name)
    place = index_place(read(file, file.size - TAIL_LENGTH, TAIL_LENGTH), file.size)
    if place is None or place[1] > INDEX_LARGEST:
        raise CaptureBrokenError("capture.cut-short", name=name)
    data = read(file, *place)
    index = parse_index(data, name)
    packed = index.packed + len(DEFLATE_END)
    frame = Frame(size=index.size, crc=index.crc, sha256=index.sha256, packed=packed, index=data)
    tail = DEFLATE_END + frame.tail()
    if HEAD_LENGTH + packed - len(DEFLATE_END) + len(tail) != file.size:
        raise CaptureBrokenError("capture.frame", name=name)
    if read(file, 0, HEAD_LENGTH) != frame.head():
        raise CaptureBrokenError("capture.frame", name=name)
    if read(file, file.size - len(tail), len(tail)) != tail:
        raise CaptureBrokenError("capture.frame", name=name)
    return CaptureSectors(file, index)
