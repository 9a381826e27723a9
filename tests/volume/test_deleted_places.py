"""Where deleted content can still be: runs of free clusters, guesses, lost upper halves."""

from __future__ import annotations

from dataclasses import dataclass

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cardprep.volume import deleted_places
from cardprep.volume.deleted_places import FreeRuns, first_clusters, places
from cardprep.volume.model import DeletedEntry, Extent, Left

OFFSET = 1000


@dataclass(frozen=True)
class Volume:
    """Where clusters of 100 bytes lie."""

    cluster_size: int = 100

    def cluster_offset(self, cluster: int) -> int:
        return cluster * 100


def gone(first: int, size: int, *, is_folder: bool = False) -> DeletedEntry:
    return DeletedEntry(
        folder=(),
        short="?",
        size=size,
        modified=None,
        first_cluster=first,
        is_folder=is_folder,
    )


def placed(
    *deleted: DeletedEntry, used: set[int], limit: int = 50, upper_half: bool = False
) -> list[DeletedEntry]:
    free = FreeRuns(first_clusters(deleted, limit, upper_half=upper_half), limit)
    free.take(2, bytes(n in used for n in range(2, limit)))
    return list(places(deleted, free, Volume(), OFFSET, upper_half=upper_half))


def at(cluster: int, length: int) -> Extent:
    return Extent(OFFSET + cluster * 100, length)


@given(
    st.lists(st.booleans(), max_size=60),
    st.lists(st.integers(0, 70), max_size=20),
    st.lists(st.integers(1, 9), max_size=60),
)
def test_runs_of_free_clusters(used: list[bool], asked: list[int], lengths: list[int]) -> None:
    """Tell for any table, in pieces of any length, what counting tells; empty pieces left out."""
    limit = 2 + len(used)
    runs = FreeRuns(asked, limit)
    start = 0
    for length in [*lengths, len(used)]:
        piece = bytes(used[start : start + length])
        if any(piece):
            runs.take(2 + start, piece)
        start += length
    for first in asked:
        expected = 0
        while 2 <= first + expected < limit and not used[first + expected - 2]:
            expected += 1
        assert runs.free_from(first) == expected


@pytest.mark.parametrize(
    ("entry", "left", "guesses"),
    [
        pytest.param(gone(10, 250), Left.FREE, (at(10, 250),), id="all free"),
        pytest.param(gone(10, 300), Left.FREE, (at(10, 300),), id="up to a cluster in use"),
        pytest.param(gone(10, 301), Left.PARTLY, (at(10, 300),), id="one cluster in use again"),
        pytest.param(gone(13, 250), Left.IN_USE, (), id="first cluster in use again"),
        pytest.param(gone(48, 200), Left.FREE, (at(48, 200),), id="up to the last cluster"),
        pytest.param(gone(48, 201), Left.PARTLY, (at(48, 200),), id="beyond the last cluster"),
        pytest.param(gone(50, 200), Left.NOWHERE, (), id="no cluster of this volume"),
        pytest.param(gone(0, 200), Left.NOWHERE, (), id="no first cluster"),
        pytest.param(gone(1, 200), Left.NOWHERE, (), id="a cluster that holds a mark"),
        pytest.param(gone(0, 0), Left.EMPTY, (), id="no content"),
        pytest.param(gone(10, 0, is_folder=True), Left.FREE, (), id="folder"),
        pytest.param(gone(13, 0, is_folder=True), Left.IN_USE, (), id="folder in use again"),
        pytest.param(gone(10, 2**32 - 1), Left.PARTLY, (at(10, 300),), id="largest size"),
    ],
)
def test_what_is_left(entry: DeletedEntry, left: Left, guesses: tuple[Extent, ...]) -> None:
    (found,) = placed(entry, used={13})
    assert (found.left, found.guesses) == (left, guesses)


def test_the_upper_half_of_a_cluster_number_may_be_lost() -> None:
    limit = 2**17 + 2**16
    used = {10, 2**17 + 11}
    (found,) = placed(gone(10, 250), used=used, limit=limit, upper_half=True)
    assert (found.left, found.guesses) == (Left.FREE, (at(2**16 + 10, 250),))
    (found,) = placed(gone(20, 250), used=used, limit=limit, upper_half=True)
    assert found.guesses == tuple(at(n, 250) for n in (20, 2**16 + 20, 2**17 + 20))
    # A number that has its upper half, and another kind of volume, mean what they say.
    (found,) = placed(gone(2**16 + 20, 250), used=used, limit=limit, upper_half=True)
    assert found.guesses == (at(2**16 + 20, 250),)
    (found,) = placed(gone(10, 250), used=used, limit=limit)
    assert (found.left, found.guesses) == (Left.IN_USE, ())


def test_even_a_number_of_zero_may_have_lost_its_upper_half() -> None:
    (found,) = placed(gone(0, 250), used=set(), limit=2**16 + 100, upper_half=True)
    assert (found.left, found.guesses) == (Left.FREE, (at(2**16, 250),))


def test_places_are_looked_for_within_bounds(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(deleted_places, "UPPER_HALF_ENTRIES", 2)
    monkeypatch.setattr(deleted_places, "UPPER_HALF_PLACES", 3)
    many = [gone(20, 250)] * 5
    found = placed(*many, used=set(), limit=2**20, upper_half=True)
    assert [len(entry.guesses) for entry in found] == [4, 4, 1, 1, 1]
