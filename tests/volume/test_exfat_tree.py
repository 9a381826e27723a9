"""The walk over an exFAT volume's folders: crossings, depth, number, names, labels.

Judge where there is one: fsck.exfat.
"""

from __future__ import annotations

import struct
import time
import tracemalloc
from pathlib import Path

import pytest

from cardprep.terms import MIB
from cardprep.volume import exfat_tree
from cardprep.volume.fat_found import DEPTH_LIMIT
from tests.exfat import FILES, ExfatImage, File, built, by_path, empty, fsck, said, whats, whole


def folder_file(name: str, *clusters: int) -> File:
    data = bytes(4096 * len(clusters))
    return File(name=name, data=data, clusters=clusters, attributes=0x10)


def point(image: ExfatImage, name: str, cluster: int, size: int | None = None) -> None:
    """Let a file begin at another cluster."""
    at = image.find(name)
    struct.pack_into("<I", image.data, at + 52, cluster)
    if size is not None:
        struct.pack_into("<Q", image.data, at + 40, size)
        struct.pack_into("<Q", image.data, at + 56, size)
    image.seal(at)


def test_a_folder_that_holds_itself() -> None:
    image = built()
    image.add(File(name="LOOP", attributes=0x10), image.cluster(30))
    point(image, "LOOP", 30, 4096)
    volume = image.read()
    assert ("chain-crossed", "SUB/LOOP") in said(volume)
    assert whole(image, volume) == set(FILES)


def test_a_folder_that_holds_the_root() -> None:
    image = built()
    image.add(File(name="LOOP", attributes=0x10))
    point(image, "LOOP", 5, 4096)
    volume = image.read()
    assert said(volume) == [("chain-crossed", "LOOP")]
    assert whole(image, volume) == set(FILES)


@pytest.mark.parametrize("cluster", [2, 3, 5])
def test_a_file_in_the_tables(cluster: int) -> None:
    image = built()
    image.add(File(name="THIEF", contiguous=True))
    point(image, "THIEF", cluster, 4096)
    volume = image.read()
    assert said(volume) == [("chain-crossed", "THIEF")]
    assert not by_path(volume)["THIEF"].is_whole


def test_two_contiguous_files_that_share_clusters() -> None:
    image = built()
    image.add(File(name="SECOND", contiguous=True))
    point(image, "SECOND", 12, 4096)
    volume = image.read()
    assert said(volume) == [("chain-crossed", "SECOND"), ("chain-shared", "ONE.BIN")]
    assert volume.findings[1].parameters == {"cluster": 12, "other": "SECOND"}


@pytest.mark.oracle
def test_a_fragmented_folder_with_sets_across_its_clusters(tmp_path: Path) -> None:
    image = ExfatImage(empty())
    image.add(folder_file("SPREAD", 60, 50, 70))
    names = [f"a file of {number:04d}" + "x" * 30 for number in range(50)]
    at = image.cluster(60)
    entries = b"".join(File(name=name).entries() for name in names)
    for cluster, start in ((60, 0), (50, 4096), (70, 8192)):
        part = entries[start : start + 4096]
        at = image.cluster(cluster)
        image.data[at : at + len(part)] = part
    (tmp_path / "volume").write_bytes(image.data)
    fsck(tmp_path / "volume")
    volume = image.read()
    assert volume.findings == ()
    assert [entry.path for entry in volume.entries][1:] == [("SPREAD", name) for name in names]


def nested(depth: int) -> ExfatImage:
    image = ExfatImage(empty())
    at = None
    for level in range(depth):
        image.add(folder_file(f"L{level}", 50 + level), at)
        at = image.cluster(50 + level)
    return image


def test_as_deep_as_is_read() -> None:
    volume = nested(DEPTH_LIMIT).read()
    assert volume.findings == ()
    assert max(len(entry.path) for entry in volume.entries) == DEPTH_LIMIT


def test_deeper_than_is_read() -> None:
    volume = nested(DEPTH_LIMIT + 2).read()
    assert [slug for slug, _ in said(volume)] == ["lost-clusters", "too-many-files"]


def test_labels() -> None:
    image = built()
    at = image.root
    while image.data[at]:
        at += 32
    image.data[at : at + 32] = image.data[image.system_entry(0x83) :][:32]
    assert whats(image.read()) == ["label-odd"]
    image = built()
    sub = image.cluster(30)
    while image.data[sub]:
        sub += 32
    image.data[sub : sub + 32] = image.data[image.system_entry(0x83) :][:32]
    image.data[sub + 32 : sub + 64] = image.data[image.system_entry(0x81) :][:32]
    volume = image.read()
    assert whats(volume) == ["label-odd", "system-entry"]
    assert {path for _, path in said(volume)} == {"SUB"}


def test_no_label() -> None:
    image = built()
    image.data[image.system_entry(0x83)] = 0x03
    volume = image.read()
    assert (volume.facts.label, volume.findings) == (None, ())


@pytest.mark.parametrize("name", ["half \ud83d", "a:b", "dot.", "..", "a/b", "nul\0x"])
def test_names_that_not_every_system_knows(name: str) -> None:
    image = ExfatImage(empty())
    image.add(File(name=name, data=b"x", clusters=(10,)))
    volume = image.read()
    assert "entry-name" in whats(volume)
    (entry,) = volume.entries
    assert entry.path == (name,)
    assert all(character >= " " for character in entry.shown)


def test_a_hash_above_ascii_needs_the_volumes_own_table() -> None:
    image = ExfatImage(empty())
    # The hash is that of "ÜB" by the volume's table; "Ü" in upper case is itself.
    image.add(File(name="ÜB"))
    assert image.read().findings == ()
    at = image.find("ÜB")
    struct.pack_into("<H", image.data, at + 36, 1)
    image.seal(at)
    assert whats(image.read()) == ["name-hash"]
    struct.pack_into("<I", image.data, image.system_entry(0x82) + 4, 0)
    assert whats(image.read()) == ["upcase-checksum"]


def test_many_entries_cost_what_they_weigh() -> None:
    image = ExfatImage(empty(64 * MIB))
    count = 10_000
    entries = b"".join(File(name=f"{number:06d}").entries() for number in range(count))
    clusters = tuple(range(100, 100 + -(-len(entries) // 4096)))
    image.add(File(name="MANY", data=entries, clusters=clusters, attributes=0x10))
    point(image, "MANY", 100, 4096 * len(clusters))
    started = time.perf_counter()
    volume = image.read()
    assert time.perf_counter() - started < 10
    assert len(volume.entries) == count + 1
    assert volume.findings == ()


def test_a_claim_of_many_clusters_costs_a_bounded_amount() -> None:
    image = built()
    # 2^28 clusters of 4 KiB with a FAT to match, on a card that holds none of it.
    fat = 2**28 * 4 // 512 + 1
    image.set_boot(72, struct.pack("<Q", 2**40))
    image.set_boot(84, struct.pack("<III", fat, 2048 + fat, 2**28))
    started = time.perf_counter()
    tracemalloc.start()
    try:
        volume = image.read()
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak < 100 * MIB
    assert time.perf_counter() - started < 10
    assert "read-error" in [slug for slug, _ in said(volume)]
    assert volume.entries == ()


def test_a_folder_larger_than_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(exfat_tree, "MOST_BYTES", 4096)
    image = ExfatImage(empty())
    image.add(folder_file("LARGE", 50, 51))
    volume = image.read()
    assert said(volume) == [("too-many-files", "LARGE")]
    assert volume.findings[0].parameters["limit"] == 128
