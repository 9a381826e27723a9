"""Hold a card's bytes against its stage, structure by structure.

Fed with the card's bytes from the first on, in blocks of any size. Needs the
layout alone and no image: content is compared by digest, all the rest byte by
byte, so that even a gap that should be zero is looked at.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

from cardprep.layout.model import Layout, Region

_ZEROS = bytes(64 * 1024)


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """A structure of the card that is not as laid out.

    structure  its published name
    path       the file or folder, or None
    offset     first byte that differs, from the start of the card; for a file's
               content, where the content begins
    """

    structure: str
    path: str | None
    offset: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """How a card's bytes compare with its stage's layout.

    complete     whether all of them were seen
    differences  structures that differ, in the order of the card
    sha256       over the bytes that were seen: the card digest if complete
    length       how many bytes that were
    """

    complete: bool
    differences: tuple[Difference, ...]
    sha256: str
    length: int


class Comparison:
    """The comparison of one card with one layout."""

    def __init__(self, layout: Layout) -> None:
        self._regions = layout.regions
        self._files = layout.stage.files
        self._digest = hashlib.sha256()
        self._content = hashlib.sha256()
        self._index = 0
        self._at = 0
        self._differences: list[Difference] = []
        self._marked = -1

    def feed(self, block: bytes | memoryview) -> None:
        """Take the next bytes of the card; more than the layout covers are ignored."""
        view = memoryview(block)
        while view and self._index < len(self._regions):
            region = self._regions[self._index]
            done = self._at - region.offset
            part = view[: region.length - done]
            self._digest.update(part)
            self._look_at(region, done, part)
            self._at += len(part)
            view = view[len(part) :]
            if self._at == region.offset + region.length:
                self._close(region)

    def _look_at(self, region: Region, done: int, part: memoryview) -> None:
        if region.file is not None:
            self._content.update(part)
            return
        if self._marked == self._index:
            return
        known = region.content[done : done + len(part)]
        differs = _first_difference(known, part[: len(known)])
        if differs is None:
            differs = _first_set(part, len(known))
        if differs is not None:
            self._marked = self._index
            self._differences.append(
                Difference(
                    structure=region.structure,
                    path=region.path,
                    offset=region.offset + done + differs,
                )
            )

    def _close(self, region: Region) -> None:
        if region.file is not None:
            if self._content.hexdigest() != self._files[region.file].sha256:
                self._differences.append(
                    Difference(structure=region.structure, path=region.path, offset=region.offset)
                )
            self._content = hashlib.sha256()
        self._index += 1

    def result(self) -> Compared:
        """Return how the bytes fed so far compare."""
        return Compared(
            complete=self._index == len(self._regions),
            differences=tuple(self._differences),
            sha256=self._digest.hexdigest(),
            length=self._at,
        )


def _first_difference(known: bytes, part: memoryview) -> int | None:
    if part == known:
        return None
    return next(i for i, (one, two) in enumerate(zip(known, part, strict=True)) if one != two)


def _first_set(part: memoryview, start: int) -> int | None:
    """Return the place of the first byte from `start` that is not zero."""
    for at in range(start, len(part), len(_ZEROS)):
        piece = part[at : at + len(_ZEROS)]
        if piece != _ZEROS[: len(piece)]:
            return at + next(i for i, byte in enumerate(piece) if byte)
    return None
