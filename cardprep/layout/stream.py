"""A layout as a stream of blocks, and the card's digest, from the images on the shelf.

Words: the *card digest* is the sha256 of the bytes from the first to the last
used one, and anyone can check it: ``head -c N CARD | sha256sum``.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from typing import Protocol

from cardprep.errors import ShelfError
from cardprep.job.stage import StageFile
from cardprep.layout.model import Layout, Region
from cardprep.progress import Cancel, Progress
from cardprep.terms import MIB

BLOCK = 4 * MIB
_ZEROS = bytes(BLOCK)


class ContentReader(Protocol):
    """An open image, read from its first byte to its last."""

    def readinto(self, buffer: memoryview, /) -> int | None:
        """Fill some of `buffer` and return how many bytes; 0 at the end."""
        ...


class ContentSource(Protocol):
    """Where images come from: the shop's shelf, or memory in a test."""

    def open(self, file: StageFile) -> AbstractContextManager[ContentReader]:
        """Open one image; ShelfError if it is not there."""
        ...


def blocks(
    layout: Layout, source: ContentSource, buffer: memoryview
) -> Iterator[tuple[int, memoryview]]:
    """Give the card's bytes in ascending order, as offset and block.

    buffer  filled again and again; all blocks but the last are as long as it

    Every image is digested on the way; ShelfError if it is not what the stage says.
    """
    at = filled = 0
    for region in layout.regions:
        with _filler(layout, source, region) as fill:
            done = 0
            while done < region.length:
                room = min(len(buffer) - filled, region.length - done)
                fill(done, buffer[filled : filled + room])
                done += room
                filled += room
                if filled == len(buffer):
                    yield at, buffer
                    at += filled
                    filled = 0
    if filled:
        yield at, buffer[:filled]


_Fill = Callable[[int, memoryview], None]


@contextmanager
def _filler(layout: Layout, source: ContentSource, region: Region) -> Iterator[_Fill]:
    """Give the function that fills a part of a region, and judge a file when it is through."""
    if region.file is None:
        yield lambda done, target: _fill_known(region, done, target)
        return
    file = layout.stage.files[region.file]
    digest = hashlib.sha256()
    with source.open(file) as reader:

        def fill(done: int, target: memoryview) -> None:
            _read_fully(reader, file, done, target)
            digest.update(target)

        yield fill
    if digest.hexdigest() != file.sha256:
        raise ShelfError("shelf.changed", name=region.path or "", sha256=file.sha256)


def _fill_known(region: Region, done: int, target: memoryview) -> None:
    part = region.content[done : done + len(target)]
    target[: len(part)] = part
    for at in range(len(part), len(target), BLOCK):
        rest = min(BLOCK, len(target) - at)
        target[at : at + rest] = _ZEROS[:rest]


def _read_fully(reader: ContentReader, file: StageFile, done: int, target: memoryview) -> None:
    at = 0
    while at < len(target):
        got = reader.readinto(target[at:])
        if not got:
            raise ShelfError("shelf.short", sha256=file.sha256, size=file.size, got=done + at)
        at += got


def card_digest(layout: Layout, source: ContentSource, progress: Progress, cancel: Cancel) -> str:
    """Return the card digest of a stage, reading each image once.

    Raises ShelfError if an image is missing or not what the stage says.
    """
    digest = hashlib.sha256()
    for offset, block in blocks(layout, source, memoryview(bytearray(BLOCK))):
        cancel.check()
        digest.update(block)
        progress(offset + len(block), layout.length)
    return digest.hexdigest()
