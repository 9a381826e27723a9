"""The table: entries of three sizes, chains with every sort of end, copies, bounds, speed."""

from __future__ import annotations

import random
import sys
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.errors import ReadFailedError, ShortReadError
from cardprep.volume.fat_boot import BootSector
from cardprep.volume.fat_chain import ChainEnd
from cardprep.volume.fat_table import FileAllocationTable
from tests.cards import FatImage, MemorySectors
from tests.volumes import boot_sector

END = {12: 0xFFF, 16: 0xFFFF, 32: 0x0FFFFFFF}
BAD = {12: 0xFF7, 16: 0xFFF7, 32: 0x0FFFFFF7}
CLUSTERS = {12: 3000, 16: 5000, 32: 70000}
BITS = [pytest.param(bits, id=f"FAT{bits}") for bits in (12, 16, 32)]


def image_of(bits: int, entries: dict[int, int], copies: int = 2) -> tuple[BootSector, FatImage]:
    """Return a volume whose table has a usual head and these entries; its data is left out."""
    boot = boot_sector(bits, CLUSTERS[bits], copies)
    image = FatImage(boot.to_bytes() + bytes((boot.first_data_sector - 1) * 512))
    for cluster, value in {0: END[bits] - 7, 1: END[bits], **entries}.items():
        image.set_entry(cluster, value)
    return boot, image


def table_of(bits: int, entries: dict[int, int]) -> FileAllocationTable:
    boot, image = image_of(bits, entries)
    table = FileAllocationTable(image.medium(), 0, boot)
    assert table.load() == []
    return table


def chain(*clusters: int, end: int) -> dict[int, int]:
    return dict(zip(clusters, (*clusters[1:], end), strict=True))


@pytest.mark.parametrize("bits", BITS)
def test_entries_are_read_as_they_were_set(bits: int) -> None:
    rng = random.Random(bits)
    entries = {n: rng.randint(1, END[bits]) for n in range(2, CLUSTERS[bits] + 2, 7)}
    table = table_of(bits, entries)
    for cluster in range(2, CLUSTERS[bits] + 2):
        assert table.entry(cluster) == entries.get(cluster, 0)
    assert table.limit == CLUSTERS[bits] + 2


def test_the_four_upper_bits_of_fat32_say_nothing() -> None:
    table = table_of(32, {2: 0xF0000003, 3: 0xFFFFFFFF, 4: 0xA0000000})
    assert [table.entry(n) for n in (2, 3, 4)] == [3, END[32], 0]
    assert table.walk(2).end is ChainEnd.PROPER
    assert table.usage() == (2, 2, 0)


@pytest.mark.parametrize("bits", BITS)
def test_a_proper_chain(bits: int) -> None:
    table = table_of(bits, chain(5, 6, 7, 20, 21, 9, end=END[bits]))
    found = table.walk(5)
    assert found.runs == ((5, 3), (20, 2), (9, 1))
    assert (found.clusters, found.end, found.at) == (6, ChainEnd.PROPER, 0)
    assert table.usage() == (6, 6, 0)
    assert table.is_walked(20)
    assert not table.is_walked(8)


@pytest.mark.parametrize("bits", BITS)
@pytest.mark.parametrize("last", range(8))
def test_eight_marks_end_a_chain(bits: int, last: int) -> None:
    # Source: FAT: General Overview of On-Disk Format, v1.03: FF8 to FFF, and so on.
    assert table_of(bits, {5: END[bits] - last}).walk(5).end is ChainEnd.PROPER


@pytest.mark.parametrize("bits", BITS)
def test_ends_that_are_not_proper(bits: int) -> None:
    limit = CLUSTERS[bits] + 2
    for entries, runs, end, at in (
        (chain(5, 6, 7, end=0), ((5, 2),), ChainEnd.FREE, 7),
        (chain(5, 6, 7, end=BAD[bits]), ((5, 2),), ChainEnd.BAD, 7),
        (chain(5, 6, 7, end=1), ((5, 3),), ChainEnd.OUTSIDE, 1),
        (chain(5, 6, 7, end=limit), ((5, 3),), ChainEnd.OUTSIDE, limit),
        (chain(5, 6, 7, end=BAD[bits] - 1), ((5, 3),), ChainEnd.OUTSIDE, BAD[bits] - 1),
        (chain(5, 6, 7, end=6), ((5, 3),), ChainEnd.LOOP, 6),
        (chain(5, 9, 7, end=5), ((5, 1), (9, 1), (7, 1)), ChainEnd.LOOP, 5),
        ({5: 5}, ((5, 1),), ChainEnd.LOOP, 5),
    ):
        found = table_of(bits, entries).walk(5)
        assert (found.runs, found.end, found.at) == (runs, end, at)


@pytest.mark.parametrize("bits", BITS)
@pytest.mark.parametrize("first", [0, 1, 2**28, 2**32 - 1])
def test_a_chain_that_begins_nowhere(bits: int, first: int) -> None:
    found = table_of(bits, {}).walk(first)
    assert (found.clusters, found.end, found.at) == (0, ChainEnd.OUTSIDE, first)


@pytest.mark.parametrize("bits", BITS)
def test_the_last_cluster_can_be_used_and_the_one_behind_it_not(bits: int) -> None:
    last = CLUSTERS[bits] + 1
    good = table_of(bits, {last - 1: last, last: END[bits]}).walk(last - 1)
    assert (good.runs, good.end) == (((last - 1, 2),), ChainEnd.PROPER)
    over = table_of(bits, {last - 1: last, last: last + 1}).walk(last - 1)
    assert (over.runs, over.end) == (((last - 1, 2),), ChainEnd.OUTSIDE)


@pytest.mark.parametrize("bits", BITS)
def test_a_second_chain_ends_where_it_meets_the_first(bits: int) -> None:
    entries = chain(5, 6, 7, 8, end=END[bits]) | chain(20, 21, 7, end=8)
    table = table_of(bits, entries)
    assert table.walk(5).clusters == 4
    found = table.walk(20)
    assert (found.runs, found.end, found.at) == (((20, 2),), ChainEnd.CROSSED, 7)
    assert table.walk(5).end is ChainEnd.CROSSED


def test_a_straight_chain_ends_where_it_meets_another() -> None:
    entries = chain(*range(10, 60), end=END[16])
    table = table_of(16, entries)
    assert table.walk(40).runs == ((40, 20),)
    found = table.walk(10)
    assert (found.runs, found.end, found.at) == (((10, 30),), ChainEnd.CROSSED, 40)


def walk_by_counting(
    entries: dict[int, int], first: int, limit: int, seen: set[int], bits: int
) -> tuple[list[int], ChainEnd]:
    """Follow a chain in the plainest way there is."""
    own: list[int] = []
    while True:
        if not 2 <= first < limit:
            return own, ChainEnd.OUTSIDE
        if first in seen:
            return own, ChainEnd.LOOP if first in own else ChainEnd.CROSSED
        value = entries.get(first, 0)
        if value in (0, BAD[bits]):
            return own, ChainEnd.FREE if value == 0 else ChainEnd.BAD
        own.append(first)
        seen.add(first)
        if value > BAD[bits]:
            return own, ChainEnd.PROPER
        first = value


@pytest.mark.parametrize("bits", BITS)
@settings(deadline=None, max_examples=100)
@given(data=st.data())
def test_any_table_is_walked_as_by_counting(bits: int, data: st.DataObject) -> None:
    # Around the border of a block, where the way of reading changes.
    base = {12: 2, 16: 2, 32: 16384 - 20}[bits]
    some = st.integers(base, base + 40)
    value = st.one_of(some, st.sampled_from([0, 1, BAD[bits], END[bits], BAD[bits] + 1]))
    straight = {n: n + 1 for n in range(base, base + 40)}
    entries = straight | data.draw(st.dictionaries(some, value, max_size=12))
    starts = data.draw(st.lists(some, max_size=6))
    table = table_of(bits, entries)
    seen: set[int] = set()
    for first in starts:
        wanted = walk_by_counting(entries, first, table.limit, seen, bits)
        found = table.walk(first)
        assert ([c + n for c, count in found.runs for n in range(count)], found.end) == wanted
        assert found.clusters == len(wanted[0])
    in_use = sum(1 for value in entries.values() if value)
    bad = sum(1 for value in entries.values() if value == BAD[bits])
    assert table.usage() == (in_use, len(seen), bad)


def test_a_machine_with_the_other_byte_order(monkeypatch: pytest.MonkeyPatch) -> None:
    # There the bytes as read are the wrong way round; here turning them shows that it is done.
    monkeypatch.setattr("sys.byteorder", {"little": "big", "big": "little"}[sys.byteorder])
    assert table_of(16, {5: 0x1234}).entry(5) == 0x3412


# --- copies


@pytest.mark.parametrize("bits", BITS)
def test_copies_that_differ(bits: int) -> None:
    boot, image = image_of(bits, dict.fromkeys(range(2, 2000), END[bits]), copies=3)
    image.set_entry(1000, 0, copies=[2])
    image.set_entry(1500, 0, copies=[2])
    (found,) = FileAllocationTable(image.medium(), 0, boot).load()
    assert found.copy == 2
    # The first byte of an entry of twelve bits may hold half of its neighbour.
    assert found.first_cluster in (1000, 999)
    assert found.bytes_differ == {12: 4, 16: 4, 32: 8}[bits]


def test_a_difference_is_counted_over_all_blocks() -> None:
    boot, image = image_of(32, {})
    for cluster in (40, 20000, 69999):
        image.set_entry(cluster, 0x01020304, copies=[1])
    (found,) = FileAllocationTable(image.medium(), 0, boot).load()
    assert (found.copy, found.first_cluster, found.bytes_differ) == (1, 40, 12)


def test_no_more_than_four_copies_are_compared() -> None:
    boot, image = image_of(16, {}, copies=9)
    image.set_entry(40, 1, copies=[3, 4, 8])
    medium = image.medium()
    differences = FileAllocationTable(medium, 0, boot).load()
    assert [found.copy for found in differences] == [3]
    assert max(end for _, end in medium.reads) <= image.fat_at[4]


def test_only_the_active_copy_counts_where_it_is_named() -> None:
    boot, image = image_of(32, {})
    assert boot.fat32 is not None
    image.set_entry(40, END[32], copies=[1])
    one = replace(boot, fat32=replace(boot.fat32, flags=0x81))
    table = FileAllocationTable(image.medium(), 0, one)
    assert table.load() == []
    assert (table.active, table.entry(40)) == (1, END[32])
    # A number that no copy has leaves the first.
    nine = replace(boot, fat32=replace(boot.fat32, flags=0x89))
    assert FileAllocationTable(image.medium(), 0, nine).active == 0


def test_another_copy_stands_in_for_a_stretch_that_cannot_be_read() -> None:
    boot, image = image_of(32, chain(5, 6, 20000, end=END[32]))
    second_block = image.fat_at[0] + 65536
    medium = MemorySectors(image.data, bad=[(second_block + 512, second_block + 1024)])
    table = FileAllocationTable(medium, 0, boot)
    assert table.load() == []
    assert table.unreadable == {0: second_block}
    assert table.walk(5).runs == ((5, 2), (20000, 1))


def test_a_copy_that_cannot_be_read_does_no_harm() -> None:
    boot, image = image_of(16, {5: END[16]})
    at = image.fat_at[1]
    table = FileAllocationTable(MemorySectors(image.data, bad=[(at, at + 512)]), 0, boot)
    assert table.load() == []
    assert table.unreadable == {1: at}
    assert table.walk(5).end is ChainEnd.PROPER


def test_no_copy_can_be_read() -> None:
    boot, image = image_of(16, {})
    bad = [(at, at + 512) for at in image.fat_at]
    table = FileAllocationTable(MemorySectors(image.data, bad=bad), 0, boot)
    with pytest.raises(ReadFailedError):
        table.load()
    assert table.unreadable == dict(enumerate(image.fat_at))


def test_a_card_that_ends_within_the_table() -> None:
    boot, image = image_of(16, {})
    with pytest.raises(ShortReadError):
        FileAllocationTable(MemorySectors(image.data[:2000]), 0, boot).load()


# --- marks


# Source: FAT: General Overview of On-Disk Format, v1.03, FAT[0] and FAT[1].
@pytest.mark.parametrize(
    ("bits", "zero", "one", "usual"),
    [
        pytest.param(12, 0xFF8, 0xFFF, True, id="FAT12"),
        pytest.param(16, 0xFFF8, 0xFFFF, True, id="FAT16"),
        pytest.param(32, 0x0FFFFFF8, 0x0FFFFFFF, True, id="FAT32"),
        pytest.param(32, 0xFFFFFFF8, 0xFFFFFFFF, True, id="FAT32 with reserved bits"),
        pytest.param(32, 0x0FFFFFF8, 0x0FFFFFF8, True, id="FAT32 with another end mark"),
        pytest.param(16, 0xFFF8, 0x3FFF, True, id="FAT16 with both marks"),
        pytest.param(16, 0xFFF0, 0xFFFF, True, id="another media byte"),
        pytest.param(16, 0x00F8, 0xFFFF, False, id="zeros above the media byte"),
        pytest.param(16, 0xFFF8, 0x0000, False, id="zeros in the second"),
        pytest.param(32, 0x0FFFFFF8, 0x00000002, False, id="a cluster in the second"),
        pytest.param(12, 0xFF8, 0xFF0, False, id="no end mark"),
    ],
)
def test_the_head_of_the_table(bits: int, zero: int, one: int, usual: bool) -> None:
    table = table_of(bits, {0: zero, 1: one})
    assert table.head_is_usual == usual
    assert table.media == zero & 0xFF
