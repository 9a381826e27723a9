"""Cards that are made to cost time or memory: each is read within bounds, and says what it is."""

from __future__ import annotations

import struct
import time
import tracemalloc
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from cardprep.medium.image_file import open_image_file
from cardprep.medium.protocol import Sectors
from cardprep.volume.card import CardContent, read_card
from tests.cards import GIB, KIB, MIB, FatImage, MemorySectors, content, paths, slugs
from tests.hostile import boot32, chain, dots, fat32, file_entry, folder


@contextmanager
def within(seconds: float) -> Iterator[None]:
    """Fail if what is done inside takes longer."""
    started = time.perf_counter()
    yield
    assert time.perf_counter() - started < seconds


@contextmanager
def memory(most: int) -> Iterator[None]:
    """Fail if what is done inside takes more bytes of memory at once; it takes longer by this."""
    tracemalloc.start()
    try:
        yield
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak < most


def read(medium: Sectors | FatImage) -> CardContent:
    return read_card(medium.medium() if isinstance(medium, FatImage) else medium)


@contextmanager
def sparse(path: Path, size: int, pieces: dict[int, bytes]) -> Iterator[Sectors]:
    """Give a card of `size` bytes that takes no more room than its pieces."""
    with path.open("wb") as new:
        new.truncate(size)
        for at, piece in pieces.items():
            new.seek(at)
            new.write(piece)
    with open_image_file(path) as sectors:
        yield sectors


MOST_CLUSTERS = 0x0FFFFFF5


def test_the_most_clusters_on_a_small_card() -> None:
    with within(2), memory(4 * MIB):
        card = read(MemorySectors(boot32(MOST_CLUSTERS, 8) + bytes(MIB)))
    assert slugs(card) == {"no-partition-table", "read-error"}
    assert card.volumes == ()


def test_the_most_clusters_with_a_small_table() -> None:
    image = fat32(70_000)
    struct.pack_into("<I", image.data, 32, 2**32 - 1)
    with within(2), memory(8 * MIB):
        card = read(image)
    odd = {f.parameters["what"] for f in card.findings if f.slug == "boot-sector-odd"}
    assert odd == {"small-fat"}
    assert "volume-beyond-partition" in slugs(card)


def test_the_most_clusters_on_a_sparse_card_of_a_tebibyte(tmp_path: Path) -> None:
    boot = boot32(MOST_CLUSTERS, 8)
    copies = struct.unpack_from("<I", boot, 36)[0] * 512
    head = struct.pack("<III", 0x0FFFFFF8, 0x0FFFFFFF, 0x0FFFFFFF)
    first = 32 * 512
    data_at = first + 2 * copies
    pieces = {
        0: boot,
        first: head,
        first + copies: head,
        data_at: file_entry("STAGE   BIN", MOST_CLUSTERS, 100),
        first + MOST_CLUSTERS * 4: struct.pack("<I", 0x0FFFFFFF),
        first + copies + MOST_CLUSTERS * 4: struct.pack("<I", 0x0FFFFFFF),
    }
    size = data_at + MOST_CLUSTERS * 4096
    with sparse(tmp_path / "card", size, pieces) as card_file:
        # The set of walked clusters has a bit for each of 2^28: 32 MiB.
        with within(30), memory(36 * MIB):
            card = read(card_file)
        assert slugs(card) == {"no-partition-table", "fsinfo-odd"}
        entry = paths(card)["STAGE.BIN"]
        assert entry.is_whole
        assert content(card_file, entry) == bytes(100)
        assert (tmp_path / "card").stat().st_blocks * 512 < MIB


def test_copies_without_end_are_not_all_read(tmp_path: Path) -> None:
    boot = boot32(16_000_000, 8, copies=255)
    fat = struct.unpack_from("<I", boot, 36)[0] * 512
    with (
        sparse(tmp_path / "card", 32 * 512 + 255 * fat + 8 * GIB, {0: boot}) as card_file,
        within(10),
        memory(8 * MIB),
    ):
        card = read(card_file)
    odd = {f.parameters["what"] for f in card.findings if f.slug == "boot-sector-odd"}
    assert odd == {"fat-count"}


def test_a_file_of_four_gibibytes_in_ten_clusters() -> None:
    image = fat32(70_000)
    chain(image, range(10, 20))
    image.data[image.root : image.root + 32] = file_entry("LARGE   BIN", 10, 2**32 - 1)
    with within(2), memory(8 * MIB):
        card = read(image)
    assert "chain-too-short" in slugs(card)
    entry = paths(card)["LARGE.BIN"]
    assert (entry.size, entry.is_whole) == (2**32 - 1, False)
    assert sum(extent.length for extent in entry.extents) == 10 * 512


def test_a_folder_of_more_than_65536_entries() -> None:
    image = fat32(70_000)
    clusters = range(10, 10 + 4200)
    names = (f"{number:08d}BIN" for number in range(4200 * 16 - 2))
    entries = b"".join(file_entry(name, 0, 0) for name in names)
    folder(image, clusters, dots(10, 0) + entries)
    image.data[image.root : image.root + 32] = file_entry("MANY       ", 10, 0, 0x10)
    with within(10):
        card = read(image)
    finding = next(f for f in card.findings if f.slug == "too-many-files")
    assert (finding.path, finding.undecided) == ("MANY", True)
    assert len(paths(card)) == 65536 - 2 + 1


def test_folders_whose_every_entry_is_damaged() -> None:
    # Several findings for each of 16000 files: named up to a limit, and then counted.
    image = fat32(70_000)
    odd = bytes((0xFF,)) * 8
    entries = b"".join(
        struct.pack(
            "<11sBBB6sHHHHI",
            f"{number:08d}BIN".encode("ascii"),
            0x20,
            0,
            255,
            odd[:6],
            0,
            0xFFFF,
            0xFFFF,
            1,
            9,
        )
        for number in range(16_000)
    )
    folder(image, range(10, 10 + 1001), dots(10, 0) + entries)
    image.data[image.root : image.root + 32] = file_entry("MANY       ", 10, 0, 0x10)
    with memory(48 * MIB):
        card = read(image)
    assert len(card.findings) < 6000
    more = {
        f.parameters["kind"]: f.parameters["count"]
        for f in card.findings
        if f.slug == "more-findings"
    }
    assert more["chain-broken"] == 15_000
    assert "time-odd" in more


def test_a_root_in_too_many_pieces() -> None:
    # Every second cluster, up and down: no two neighbours, and a folder larger than is read.
    image = fat32(70_000)
    order = [2, *range(4, 69_000, 2)]
    gone = b"\xe5LD     BIN\x20".ljust(32, b"\0")
    for cluster, following in zip(order, [*order[1:], 0x0FFFFFFF], strict=True):
        image.set_entry(cluster, following)
        image.data[image.cluster(cluster) : image.cluster(cluster) + 512] = gone * 16
    with within(10):
        card = read(image)
    assert {"too-many-files"} <= slugs(card)
    assert len(card.volumes[0].deleted) == 65536


def test_a_hundred_thousand_folders_that_are_one() -> None:
    image = fat32(70_000)
    entries = b"".join(file_entry(f"{n:08d}   ", 10, 0, 0x10) for n in range(30_000))
    folder(image, range(10, 10 + len(entries) // 512 + 1), dots(10, 0) + entries)
    image.data[image.root : image.root + 32] = file_entry("MANY       ", 10, 0, 0x10)
    with within(10):
        card = read(image)
    assert {"chain-crossed", "chain-shared"} <= slugs(card)


def test_names_of_nothing_but_long_entries() -> None:
    image = fat32(70_000)
    piece = bytes((0x41,)) + b"A\0" * 5 + bytes((0x0F, 0, 0)) + b"A\0" * 6 + bytes(2) + b"A\0" * 2
    other = bytes((0x01,)) + piece[1:]
    folder(image, range(10, 10 + 4096), dots(10, 0) + (piece + other * 60_000)[: 65534 * 32])
    image.data[image.root : image.root + 32] = file_entry("MANY       ", 10, 0, 0x10)
    with within(10), memory(32 * MIB):
        card = read(image)
    assert "name-damaged" in slugs(card)
    assert set(paths(card)) == {"MANY"}


@pytest.mark.parametrize("size", [0, 1, 511, 512, 513, 64 * KIB])
def test_cards_that_are_cut_short(tmp_path: Path, size: int) -> None:
    (tmp_path / "card").write_bytes(fat32(70_000).data[:size])
    with open_image_file(tmp_path / "card") as sectors:
        card = read(sectors)
    assert any(finding.undecided for finding in card.findings)
    assert slugs(card) <= {"no-volume", "no-partition-table", "read-error"}
