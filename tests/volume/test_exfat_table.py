"""Chains of an exFAT volume, by its FAT and one behind the other.

Source: exFAT File System Specification (Microsoft, 2019), sections 4.1 and 6.3.4.
"""

from __future__ import annotations

import struct
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cardprep.terms import MIB
from cardprep.volume import chain_walk, exfat_table
from cardprep.volume.exfat_boot import ExfatBootSector
from cardprep.volume.exfat_table import BAD, END_OF_CHAIN, ExfatTable
from cardprep.volume.fat_chain import Chain, ChainEnd
from tests.cards import MemorySectors


def boot_for(clusters: int) -> ExfatBootSector:
    sectors = -(-(clusters + 2) * 4 // 512)
    return ExfatBootSector(
        total_sectors=24 + sectors + clusters,
        fat_sector=24,
        sectors_per_fat=sectors,
        heap_sector=24 + sectors,
        cluster_count=clusters,
        root_cluster=2,
        serial=0,
        sector_shift=9,
        cluster_shift=0,
    )


def table(*entries: int, clusters: int = 0) -> ExfatTable:
    """Return a table whose entries from cluster 2 on are these."""
    boot = boot_for(max(clusters, len(entries)))
    stored = struct.pack(f"<{2 + len(entries)}I", 0xFFFFFFF8, END_OF_CHAIN, *entries)
    fat = stored.ljust(boot.sectors_per_fat * 512, b"\0")
    return ExfatTable(MemorySectors(bytes(24 * 512) + fat), 0, boot)


@pytest.mark.parametrize(
    ("entries", "runs", "end", "at"),
    [
        pytest.param((END_OF_CHAIN,), ((2, 1),), ChainEnd.PROPER, 0, id="one"),
        pytest.param((3, 4, END_OF_CHAIN), ((2, 3),), ChainEnd.PROPER, 0, id="neighbours"),
        pytest.param((4, 0, END_OF_CHAIN), ((2, 1), (4, 1)), ChainEnd.PROPER, 0, id="pieces"),
        pytest.param((3, 0), ((2, 1),), ChainEnd.FREE, 3, id="into a free one"),
        pytest.param((3, BAD), ((2, 1),), ChainEnd.BAD, 3, id="into a bad one"),
        pytest.param((1,), ((2, 1),), ChainEnd.OUTSIDE, 1, id="before the first"),
        pytest.param((3,), ((2, 1),), ChainEnd.OUTSIDE, 3, id="behind the last"),
        pytest.param((0xFFFFFFFE,), ((2, 1),), ChainEnd.OUTSIDE, 0xFFFFFFFE, id="no end mark"),
        pytest.param((3, 2), ((2, 2),), ChainEnd.LOOP, 2, id="into itself"),
    ],
)
def test_chains(
    entries: tuple[int, ...], runs: tuple[tuple[int, int], ...], end: ChainEnd, at: int
) -> None:
    count = sum(length for _, length in runs)
    assert table(*entries).walk(2) == Chain(runs=runs, clusters=count, end=end, at=at)


def test_chains_that_meet() -> None:
    met = table(3, END_OF_CHAIN, 3)
    assert met.walk(2).end is ChainEnd.PROPER
    assert met.walk(4) == Chain(runs=((4, 1),), clusters=1, end=ChainEnd.CROSSED, at=3)


@pytest.mark.parametrize(
    ("first", "size", "clusters", "end", "at"),
    [
        pytest.param(2, 512, 1, ChainEnd.PROPER, 0, id="one"),
        pytest.param(2, 513, 2, ChainEnd.PROPER, 0, id="a byte more"),
        pytest.param(2, 512 * 100, 100, ChainEnd.PROPER, 0, id="all"),
        pytest.param(2, 512 * 101, 0, ChainEnd.OUTSIDE, 102, id="one more than all"),
        pytest.param(2, 2**64 - 1, 0, ChainEnd.OUTSIDE, 102, id="beyond all bounds"),
        pytest.param(1, 512, 0, ChainEnd.OUTSIDE, 1, id="before the first"),
        pytest.param(102, 512, 0, ChainEnd.OUTSIDE, 102, id="behind the last"),
        pytest.param(2, 0, 0, ChainEnd.PROPER, 0, id="nothing"),
    ],
)
def test_one_behind_the_other(first: int, size: int, clusters: int, end: ChainEnd, at: int) -> None:
    chain = table(clusters=100).contiguous(first, size)
    assert (chain.clusters, chain.end, chain.at) == (clusters, end, at)


def test_stretches_that_meet() -> None:
    met = table(clusters=100)
    assert met.contiguous(10, 512 * 10).end is ChainEnd.PROPER
    assert met.contiguous(5, 512 * 10) == Chain(
        runs=((5, 5),), clusters=5, end=ChainEnd.CROSSED, at=10
    )
    assert met.contiguous(15, 512).clusters == 0
    assert len(met.walked) == 15


@given(st.lists(st.integers(0, 45) | st.just(END_OF_CHAIN) | st.just(BAD), max_size=40))
def test_no_cluster_is_walked_twice(entries: list[int]) -> None:
    any_table = table(*entries, clusters=40)
    chains = [any_table.walk(first) for first in range(43)]
    clusters = [
        first + n for chain in chains for first, length in chain.runs for n in range(length)
    ]
    assert len(clusters) == len(set(clusters)) == len(any_table.walked)


def test_claims_of_the_whole_volume_cost_next_to_nothing() -> None:
    large = table(clusters=2 * MIB)
    assert large.contiguous(5, 512).end is ChainEnd.PROPER
    started = time.perf_counter()
    for _ in range(5000):
        assert large.contiguous(2, 512 * 2 * MIB).clusters in (0, 3)
    assert time.perf_counter() - started < 5


def test_a_fat_that_cannot_be_read() -> None:
    unread = ExfatTable(MemorySectors(b""), 0, boot_for(100))
    assert unread.walk(2).end is ChainEnd.BAD
    assert unread.unreadable == 24 * 512


def test_more_pieces_than_are_followed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(chain_walk, "MOST_RUNS", 2)
    scattered = table(4, 0, 6, 0, 8, 0, END_OF_CHAIN, END_OF_CHAIN)
    assert scattered.walk(2).end is ChainEnd.SCATTERED
    assert scattered.contiguous(9, 512).end is ChainEnd.SCATTERED


def test_blocks_that_are_read_again(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(exfat_table, "CACHED_BLOCKS", 1)
    # From one block of the FAT to the next and back, more often than blocks are read again.
    half = 16_384
    entries = [0] * (2 * half - 2)
    for number in range(40):
        entries[number] = half + number
        entries[half + number - 2] = number + 3
    back_and_forth = table(*entries)
    chain = back_and_forth.walk(2)
    assert chain.end is ChainEnd.SCATTERED
    assert chain.clusters == 8 * 2 + 1
