"""Folders of a volume: every damage alone, with its finding and what is still read.

Chains are in test_fat_tree_chains.py. Judge where there is one: mtools.
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from pathlib import Path

import pytest

from cardprep.volume import fat_found, fat_tree
from cardprep.volume.card import read_card
from cardprep.volume.fat_time import FatTime
from tests.cards import MIB, FatImage, MemorySectors, make_volume, paths, run, slugs
from tests.volumes import (
    BITS,
    DEEPER,
    EMPTY,
    FILES,
    INNER,
    ONE,
    SUB,
    TWO,
    read,
    said,
    whole,
)

Damage = Callable[[FatImage], None]


@pytest.mark.parametrize("bits", BITS)
def test_an_undamaged_tree(originals: dict[int, bytes], bits: int) -> None:
    image = FatImage(originals[bits])
    card = read(image)
    assert said(card) == set()
    assert whole(image, card) == set(FILES)
    entries = paths(card)
    assert entries.keys() == FILES.keys() | {"SUB", "SUB/DEEPER"}
    assert entries["SUB"].is_folder
    assert entries["SUB"].size == image.cluster_size
    assert entries["SUB/DEEPER/last (1).bin"].short == "LAST(1~1.BIN"
    assert entries["EMPTY.BIN"].extents == ()
    assert entries["ONE.BIN"].attributes == 0x20
    # Folders come before what they hold.
    order = list(entries)
    assert order.index("SUB") < order.index("SUB/DEEPER") < order.index("SUB/DEEPER/last (1).bin")


# --- folders


@pytest.mark.parametrize("bits", BITS)
def test_a_folder_that_holds_itself(originals: dict[int, bytes], bits: int) -> None:
    image = FatImage(originals[bits])
    inside = image.cluster(image.first_cluster(SUB))
    at = image.folder_entry(DEEPER, inside)
    own = image.first_cluster(SUB)
    struct.pack_into("<H", image.data, at + 20, own >> 16)
    struct.pack_into("<H", image.data, at + 26, own & 0xFFFF)
    card = read(image)
    assert said(card) == {
        ("chain-crossed", "SUB/DEEPER"),
        ("chain-shared", "SUB"),
        ("lost-clusters", None),
    }
    assert not paths(card)["SUB/DEEPER"].is_whole


def test_a_folder_whose_chain_loops(originals: dict[int, bytes]) -> None:
    image = FatImage(originals[16])
    own = image.first_cluster(SUB)
    image.set_entry(own, own)
    card = read(image)
    assert said(card) == {("chain-loops", "SUB")}
    assert "SUB/INNER.BIN" in paths(card)


def test_a_root_that_loops(originals: dict[int, bytes]) -> None:
    image = FatImage(originals[32])
    image.set_entry(image.root_cluster, image.root_cluster)
    assert said(read(image)) == {("chain-loops", None)}


@pytest.mark.parametrize("root", [0, 1, 100_000, 2**32 - 1])
def test_a_root_that_is_nowhere(originals: dict[int, bytes], root: int) -> None:
    image = FatImage(originals[32])
    struct.pack_into("<I", image.data, 44, root)
    struct.pack_into("<I", image.data, 6 * 512 + 44, root)
    card = read(image)
    assert said(card) == {("chain-broken", None), ("lost-clusters", None)}
    assert paths(card) == {}


def set_byte(short: str, at: int, value: int, start: str | None = None) -> Damage:
    def change(image: FatImage) -> None:
        begin = None if start is None else image.cluster(image.first_cluster(start))
        image.data[image.folder_entry(short, begin) + at] = value

    return change


def at_dots(entry: int, at: int, value: int) -> Damage:
    def change(image: FatImage) -> None:
        image.data[image.cluster(image.first_cluster(SUB)) + entry * 32 + at] = value

    return change


def dot_in_root(image: FatImage) -> None:
    at = image.folder_entry(SUB) + 32
    image.data[at : at + 32] = struct.pack("<11sB20x", b".          ", 0x10)


def no_cluster(image: FatImage) -> None:
    image.set_entry(image.first_cluster(SUB), 0)
    image.set_first_cluster(SUB, 0)


def label_below(image: FatImage) -> None:
    image.data[image.folder_entry(INNER, image.cluster(image.first_cluster(SUB))) + 11] = 0x08


@pytest.mark.parametrize(
    ("damage", "path", "what"),
    [
        pytest.param(at_dots(0, 0, ord("X")), "SUB", "dots", id="first is not itself"),
        pytest.param(at_dots(1, 1, ord("X")), "SUB", "dots", id="second is not the one above"),
        pytest.param(at_dots(0, 26, 0xEE), "SUB", "dots", id="itself elsewhere"),
        pytest.param(at_dots(1, 26, 0xEE), "SUB", "dots", id="the one above elsewhere"),
        pytest.param(at_dots(0, 11, 0x20), "SUB", "dots", id="itself a file"),
        pytest.param(dot_in_root, None, "dot-in-root", id="dot in the root"),
        pytest.param(no_cluster, "SUB", "no-cluster", id="no cluster"),
        pytest.param(set_byte(SUB, 28, 1), "SUB", "size", id="a folder with a size"),
        pytest.param(set_byte(ONE, 11, 0x28), None, "label", id="a label with a file's content"),
        pytest.param(set_byte(EMPTY, 11, 0x18), None, "label", id="a label that is a folder"),
        pytest.param(label_below, "SUB", "label", id="a label below the root"),
    ],
)
def test_damaged_folders(
    originals: dict[int, bytes], damage: Damage, path: str | None, what: str
) -> None:
    image = FatImage(originals[16])
    damage(image)
    card = read(image)
    named = next(finding for finding in card.findings if finding.slug == "folder-damaged")
    assert (named.path, named.structure, named.parameters) == (path, "directory", {"what": what})


@pytest.mark.parametrize("bits", BITS)
def test_both_spellings_of_the_root_are_right(originals: dict[int, bytes], bits: int) -> None:
    # On FAT32 the root is cluster 0 in "..", and some systems write its number.
    image = FatImage(originals[bits])
    at = image.cluster(image.first_cluster(SUB)) + 32
    assert struct.unpack_from("<H", image.data, at + 26) == (0,)
    struct.pack_into("<H", image.data, at + 26, image.root_cluster)
    assert said(read(image)) == set()


def test_a_folder_that_cannot_be_read(originals: dict[int, bytes]) -> None:
    image = FatImage(originals[16])
    at = image.cluster(image.first_cluster(SUB))
    card = read_card(MemorySectors(image.data, bad=[(at, at + 512)]))
    named = [(f.slug, f.path, f.parameters) for f in card.findings if f.slug == "read-error"]
    assert named == [("read-error", "SUB", {"offset": at})]
    assert "SUB" in paths(card)
    assert "SUB/INNER.BIN" not in paths(card)


def test_half_a_folder_that_cannot_be_read(originals: dict[int, bytes]) -> None:
    image = FatImage(originals[16])
    free = image.clusters
    image.set_entry(image.first_cluster(SUB), free)
    image.set_entry(free, 0xFFFF)
    at = image.cluster(free)
    card = read_card(MemorySectors(image.data, bad=[(at, at + 512)]))
    assert ("read-error", "SUB") in said(card)
    assert "SUB/INNER.BIN" in paths(card)


# --- names and times


@pytest.mark.parametrize(
    ("short", "twice"),
    [
        pytest.param("ONE     BIN", True, id="the same short name"),
        pytest.param("one     BIN", True, id="the same but for case"),
        pytest.param("ONE2    BIN", False, id="another name"),
    ],
)
def test_names_that_stand_twice(originals: dict[int, bytes], short: str, twice: bool) -> None:
    image = FatImage(originals[16])
    at = image.folder_entry(TWO)
    image.data[at : at + 11] = short.encode("ascii")
    found = {finding.slug for finding in read(image).findings}
    assert ("name-twice" in found) == twice


def test_a_long_name_like_another_files_short_one(originals: dict[int, bytes]) -> None:
    image = FatImage(originals[16])
    inside = image.cluster(image.first_cluster(SUB))
    deeper = image.cluster(image.entry_cluster(image.folder_entry(DEEPER, inside)))
    at = image.folder_entry("LAST(1~1BIN", deeper)
    image.data[at + 32 : at + 64] = struct.pack("<11sB20x", b"LAST(1~1BIN", 0x20)
    assert ("name-twice", "SUB/DEEPER/LAST(1~1.BIN") in said(read(image))


def test_the_special_letter_is_no_pair_of_letters(tmp_path: Path) -> None:
    files = tmp_path / "files"
    files.mkdir()
    for name in ("Straße 1.bin", "STRASSE 1.bin"):
        (files / name).write_bytes(b"x")
    make_volume(tmp_path / "volume", 2 * MIB, "-F", "12", files=files)
    card = read(FatImage((tmp_path / "volume").read_bytes()))
    assert slugs(card) == {"no-partition-table"}
    assert set(paths(card)) == {"Straße 1.bin", "STRASSE 1.bin"}


@pytest.mark.parametrize(
    ("at", "value", "field"),
    [
        pytest.param(14, (0xBF7D, 0x01E1), "created", id="created"),
        pytest.param(18, (0x01E1,), "accessed", id="accessed"),
        pytest.param(22, (0xBF7D, 0x01E1), "modified", id="modified"),
    ],
)
def test_times_that_are_on_no_calendar(
    originals: dict[int, bytes], at: int, value: tuple[int, ...], field: str
) -> None:
    image = FatImage(originals[16])
    struct.pack_into(f"<{len(value)}H", image.data, image.folder_entry(ONE) + at, *value)
    card = read(image)
    assert said(card) == {("time-odd", "ONE.BIN")}
    assert card.findings[-1].parameters["date"] == 0x01E1
    assert getattr(paths(card)["ONE.BIN"], field) is None


def test_times_that_are_not_stored(originals: dict[int, bytes]) -> None:
    image = FatImage(originals[16])
    at = image.folder_entry(ONE)
    image.data[at + 13 : at + 20] = bytes(7)
    image.data[at + 22 : at + 26] = bytes(4)
    card = read(image)
    entry = paths(card)["ONE.BIN"]
    assert (entry.created, entry.accessed, entry.modified) == (None, None, None)
    assert said(card) == set()


# --- deleted files


@pytest.mark.oracle
def test_deleted_files(originals: dict[int, bytes], tmp_path: Path) -> None:
    image = tmp_path / "volume"
    image.write_bytes(originals[16])
    run("mdel", "-i", image, "::/ONE.BIN", "::/SUB/INNER.BIN")
    before, after = FatImage(originals[16]), FatImage(image.read_bytes())
    card = read(after)
    assert said(card) == set()
    inside = before.cluster(before.first_cluster(SUB))
    assert [(gone.folder, gone.short, gone.size) for gone in card.volumes[0].deleted] == [
        ((), "?NE.BIN", 5000),
        (("SUB",), "?NNER.BIN", 3000),
    ]
    first, second = card.volumes[0].deleted
    assert first.first_cluster == before.first_cluster(ONE)
    assert second.first_cluster == before.entry_cluster(before.folder_entry(INNER, inside))
    assert isinstance(first.modified, FatTime)


def test_a_deleted_file_with_an_impossible_time(originals: dict[int, bytes]) -> None:
    image = FatImage(originals[16])
    at = image.folder_entry(EMPTY)
    image.data[at] = 0xE5
    struct.pack_into("<H", image.data, at + 24, 0x01E1)
    card = read(image)
    assert [gone.modified for gone in card.volumes[0].deleted] == [None]
    assert said(card) == set()


# --- bounds


def nested(depth: int) -> FatImage:
    """Return a FAT12 volume with folders one in another, each in a cluster of its own."""
    boot = struct.pack(
        "<3s8sHBHBHHBHHHII",
        b"\xeb\x3c\x90",
        b"gannet  ",
        512,
        1,
        1,
        1,
        16,
        2000,
        0xF8,
        6,
        63,
        255,
        0,
        0,
    )
    image = FatImage(boot.ljust(510, b"\0") + b"\x55\xaa" + bytes(1999 * 512))
    image.set_entry(0, 0xFF8)
    image.set_entry(1, 0xFFF)
    at = image.root
    for level in range(depth):
        cluster = level + 2
        image.data[at : at + 32] = struct.pack("<11sB14xHI", b"F          ", 0x10, cluster, 0)
        image.set_entry(cluster, 0xFFF)
        at = image.cluster(cluster)
        above = cluster - 1 if level else 0
        for name, target in ((b".", cluster), (b"..", above)):
            image.data[at : at + 32] = struct.pack("<11sB14xHI", name.ljust(11), 0x10, target, 0)
            at += 32
    return image


@pytest.mark.parametrize(
    ("depth", "too_many"),
    [
        pytest.param(64, False, id="64"),
        pytest.param(65, True, id="65"),
        pytest.param(1000, True, id="1000"),
    ],
)
def test_folders_in_folders(depth: int, too_many: bool) -> None:
    card = read(nested(depth))
    assert len(paths(card)) == min(depth, 65)
    assert ("too-many-files" in slugs(card)) == too_many
    if not too_many:
        assert said(card) == set()


@pytest.mark.parametrize(
    ("name", "most"),
    [
        pytest.param("ENTRY_LIMIT", 3, id="entries"),
        pytest.param("STORED_LIMIT", 3, id="stored entries"),
    ],
)
def test_more_entries_than_are_read(
    originals: dict[int, bytes],
    monkeypatch: pytest.MonkeyPatch,
    name: str,
    most: int,
) -> None:
    monkeypatch.setattr(fat_found, name, most)
    card = read(FatImage(originals[16]))
    finding = next(f for f in card.findings if f.slug == "too-many-files")
    assert finding.undecided
    assert 0 < len(paths(card)) < len(FILES) + 2


def test_more_bytes_in_a_folder_than_are_read(
    originals: dict[int, bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(fat_tree, "MOST_BYTES", 512)
    image = FatImage(originals[16])
    image.set_entry(image.first_cluster(SUB), image.clusters)
    image.set_entry(image.clusters, 0xFFFF)
    card = read(image)
    assert ("too-many-files", "SUB") in said(card)
    assert "SUB/INNER.BIN" in paths(card)
