"""Deleted folders whose first cluster is still there, and those that only look like it."""

from __future__ import annotations

import struct
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.volume import fat_deleted_folders, fat_found
from cardprep.volume.card import CardContent, read_card
from cardprep.volume.model import Left
from tests.cards import MIB, FatImage, make_volume, paths, run, slugs
from tests.volumes import BITS, DEEPER, SUB

# E5 in the code page of the tests.
GONE_SUB = "ÕUB        "
INSIDE = {"?UB", "?UB/INNER.BIN", "?UB/DEEPER", "?UB/DEEPER/last (1).bin"}


def without_folder(data: bytes) -> FatImage:
    """Return a volume on which SUB was deleted, its entries and clusters left as they were.

    So do systems that free a folder with all that is in it and mark nothing in it.
    """
    image = FatImage(data)
    at = image.folder_entry(SUB)
    freed = [image.entry_cluster(at)]
    for inside in ("INNER   BIN", DEEPER, "LAST(1)~BIN"):
        start = image.data.find(inside[:6].encode(), image.cluster(freed[0]))
        freed.append(image.entry_cluster(start))
    for first in freed:
        for cluster in image.chain(first):
            image.set_entry(cluster, 0)
    image.data[at] = 0xE5
    return image


def read(image: FatImage) -> CardContent:
    return read_card(image.medium(), into_deleted=True)


def listed(card: CardContent) -> set[str]:
    return {entry.shown for entry in card.volumes[0].deleted}


@pytest.mark.parametrize("bits", BITS)
def test_all_in_a_deleted_folder_is_deleted(bits: int, originals: dict[int, bytes]) -> None:
    image = without_folder(originals[bits])
    card = read(image)
    assert listed(card) == INSIDE
    assert set(paths(card)) == {"ONE.BIN", "TWO.BIN", "EMPTY.BIN"}
    # FSInfo still has the count from before.
    assert slugs(card) - {"free-count-odd"} == {"no-partition-table"}
    whole = {entry.shown: entry.name_is_whole for entry in card.volumes[0].deleted}
    assert [name for name, is_whole in whole.items() if not is_whole] == ["?UB"]
    inner = next(entry for entry in card.volumes[0].deleted if entry.name == "INNER.BIN")
    assert inner.left is Left.FREE
    guess = inner.guesses[0]
    assert bytes(image.data[guess.offset : guess.offset + guess.length]) == b"i" * 3000


@pytest.mark.parametrize("bits", BITS)
@pytest.mark.parametrize(
    ("at", "value"),
    [
        pytest.param(0, ord("A"), id="first entry is a file's"),
        pytest.param(11, 0x20, id="first entry is no folder"),
        pytest.param(26, 0x7F, id="it is another folder"),
        pytest.param(33, ord("A"), id="second entry is a file's"),
        pytest.param(43, 0x20, id="second entry is no folder"),
        pytest.param(58, 0x7F, id="it stood in another folder"),
    ],
)
def test_a_cluster_that_is_not_the_folder_any_more(
    bits: int, at: int, value: int, originals: dict[int, bytes]
) -> None:
    image = without_folder(originals[bits])
    start = image.cluster(image.entry_cluster(image.folder_entry(GONE_SUB)))
    image.data[start + at] = value
    assert listed(read(image)) == {"?UB"}


def test_a_cluster_that_is_in_use_again(originals: dict[int, bytes]) -> None:
    image = without_folder(originals[16])
    image.set_entry(image.entry_cluster(image.folder_entry(GONE_SUB)), 0xFFFF)
    card = read(image)
    assert listed(card) == {"?UB"}
    assert card.volumes[0].deleted[0].left is Left.IN_USE


def test_a_cluster_that_cannot_be_read(originals: dict[int, bytes]) -> None:
    image = without_folder(originals[16])
    start = image.cluster(image.entry_cluster(image.folder_entry(GONE_SUB)))
    sectors = image.medium()
    sectors.bad = [(start, start + 512)]
    card = read_card(sectors, into_deleted=True)
    assert listed(card) == {"?UB"}
    assert slugs(card) == {"no-partition-table"}


@pytest.mark.oracle
def test_a_folder_whose_upper_half_is_lost(tmp_path: Path) -> None:
    files = tmp_path / "files"
    (files / "B").mkdir(parents=True)
    (files / "A.BIN").write_bytes(bytes(34 * MIB))
    (files / "B" / "INNER.BIN").write_bytes(b"inner")
    image = tmp_path / "volume"
    make_volume(image, 40 * MIB, "-F", "32", "-s", "1", files=files)
    run("mdeltree", "-i", image, "::/B")
    volume = FatImage(image.read_bytes())
    at = volume.folder_entry("Õ          ")
    assert volume.entry_cluster(at) > 0xFFFF
    struct.pack_into("<H", volume.data, at + 20, 0)
    card = read(volume)
    assert listed(card) == {"?", "?/?NNER.BIN"}


def test_folders_are_looked_into_within_bounds(
    originals: dict[int, bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(fat_deleted_folders, "CLUSTERS_READ", 1)
    card = read(without_folder(originals[16]))
    assert listed(card) == INSIDE - {"?UB/DEEPER/last (1).bin"}
    (finding,) = (one for one in card.findings if one.slug == "deleted-folders-left")
    assert finding.parameters == {"limit": 1}


def test_folders_in_folders_end(
    originals: dict[int, bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(fat_deleted_folders, "DEPTH_LIMIT", 2)
    assert "?UB/DEEPER/last (1).bin" not in listed(read(without_folder(originals[16])))
    monkeypatch.setattr(fat_found, "ENTRY_LIMIT", 2)
    assert "deleted-folders-left" in slugs(read(without_folder(originals[16])))


def test_a_folder_that_holds_itself(originals: dict[int, bytes]) -> None:
    image = without_folder(originals[16])
    first = image.entry_cluster(image.folder_entry(GONE_SUB))
    start = image.cluster(first)
    inner = image.folder_entry(DEEPER, start)
    struct.pack_into("<H", image.data, inner + 26, first)
    assert listed(read(image)) == {"?UB", "?UB/INNER.BIN", "?UB/DEEPER"}


def test_any_bytes_in_a_deleted_folder(originals: dict[int, bytes]) -> None:
    intact = without_folder(originals[16])
    start = intact.cluster(intact.entry_cluster(intact.folder_entry(GONE_SUB)))
    live = set(paths(read(intact)))

    @settings(deadline=None, max_examples=100)
    @given(st.lists(st.tuples(st.integers(0, 511), st.integers(0, 255)), max_size=6))
    def law(changes: list[tuple[int, int]]) -> None:
        image = FatImage(intact.data)
        for at, value in changes:
            image.data[start + at] = value
        card = read(image)
        assert set(paths(card)) == live
        assert "?UB" in listed(card)

    law()
