"""Blocks of a file read a second time: through its pieces, and from a mounted folder."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest

from cardprep.errors import NotThereError, StoppedError
from cardprep.inspection.again import blocks_from_folder, blocks_from_sectors
from cardprep.progress import Cancel
from cardprep.terms import CHUNK
from cardprep.volume.model import Extent
from tests.cards import MemorySectors
from tests.rules.looked_at import APP, looked_at

FILE = looked_at("A/APP_430.BIN", APP)


def test_through_the_pieces_of_a_file() -> None:
    # Three pieces, the later ones first on the card, and the last one with slack.
    cuts = (0, CHUNK + 512, 3 * CHUNK - 512, len(APP))
    places = (400 * 1024, 200 * 1024, 4096)
    card = bytearray(1024 * 1024)
    extents = []
    for start, end, place in zip(cuts, cuts[1:], places, strict=False):
        card[place : place + end - start] = APP[start:end]
        extents.append(Extent(place, end - start))
    file = replace(FILE, extents=tuple(extents))
    found = blocks_from_sectors(MemorySectors(card), file, (0, 1, 2, 3))
    assert found == tuple(APP[at : at + CHUNK] for at in range(0, len(APP), CHUNK))


def test_what_cannot_be_read_is_none() -> None:
    file = replace(FILE, extents=(Extent(0, CHUNK), Extent(1 << 30, len(APP) - CHUNK)))
    card = MemorySectors(bytearray(APP[:CHUNK]))
    assert blocks_from_sectors(card, file, (0, 2)) == (APP[:CHUNK], None)


class InMemory:
    """A folder that gives its one file in blocks of some size."""

    def __init__(self, size: int, *, fails: bool = False) -> None:
        self._size = size
        self._fails = fails
        self.given = 0

    def blocks(self, path: tuple[bytes, ...]) -> Iterator[memoryview]:
        assert path == (b"A", b"APP_430.BIN")
        if self._fails:
            raise NotThereError("medium.not-there", name="x")
        for at in range(0, len(APP), self._size):
            self.given += 1
            yield memoryview(APP)[at : at + self._size]


@pytest.mark.parametrize("size", [1000, CHUNK, CHUNK + 7, 1 << 20])
def test_from_a_mounted_folder(size: int) -> None:
    folder = InMemory(size)
    found = blocks_from_folder(folder, FILE, (0, 3), Cancel())  # type: ignore[arg-type]
    assert found == (APP[:CHUNK], APP[3 * CHUNK :])
    few = InMemory(CHUNK)
    assert blocks_from_folder(few, FILE, (1,), Cancel()) == (APP[CHUNK : 2 * CHUNK],)  # type: ignore[arg-type]
    assert few.given == 2


def test_a_folder_that_is_gone_gives_nothing() -> None:
    gone = InMemory(9, fails=True)
    assert blocks_from_folder(gone, FILE, (0, 1), Cancel()) == (None, None)  # type: ignore[arg-type]


def test_somebody_may_stop_it() -> None:
    cancel = Cancel()
    cancel.ask()
    with pytest.raises(StoppedError):
        blocks_from_folder(InMemory(9), FILE, (0,), cancel)  # type: ignore[arg-type]
