"""Chains of a volume's files: every damage alone, with its finding and what is still whole.

Judge: fsck.fat.
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from pathlib import Path

import pytest

from cardprep.findings import Severity
from tests.cards import FatImage, paths, run
from tests.volumes import (
    BITS,
    EMPTY,
    FILES,
    ONE,
    SUB,
    TWO,
    read,
    said,
    whole,
)

BAD = {12: 0xFF7, 16: 0xFFF7, 32: 0x0FFFFFF7}
LAST = {12: 0xFFF, 16: 0xFFFF, 32: 0x0FFFFFFF}

Damage = Callable[[FatImage], None]


def second_cluster(image: FatImage, short: str) -> int:
    return image.chain(image.first_cluster(short))[1]


def end_with(value: dict[int, int]) -> Damage:
    def change(image: FatImage) -> None:
        image.set_entry(second_cluster(image, ONE), value[image.bits])

    return change


def lead_outside(image: FatImage) -> None:
    image.set_entry(second_cluster(image, ONE), image.clusters + 2)


def lead_to_reserved(image: FatImage) -> None:
    image.set_entry(second_cluster(image, ONE), 1)


def lead_back(image: FatImage) -> None:
    first = image.first_cluster(ONE)
    image.set_entry(second_cluster(image, ONE), first)


def begin_outside(image: FatImage) -> None:
    image.set_first_cluster(ONE, image.clusters + 2)


def begin_free(image: FatImage) -> None:
    image.set_first_cluster(ONE, image.clusters)


SAME = dict.fromkeys((12, 16, 32), 0)


@pytest.mark.parametrize("bits", BITS)
@pytest.mark.parametrize(
    ("damage", "slug", "how"),
    [
        pytest.param(end_with(BAD), "chain-broken", "bad", id="into a bad cluster"),
        pytest.param(end_with(SAME), "chain-broken", "free", id="into a free cluster"),
        pytest.param(lead_outside, "chain-broken", "outside", id="outside"),
        pytest.param(lead_to_reserved, "chain-broken", "outside", id="to a mark"),
        pytest.param(lead_back, "chain-loops", "loop", id="loop"),
        pytest.param(begin_outside, "chain-broken", "outside", id="begins outside"),
        pytest.param(begin_free, "chain-broken", "free", id="begins in a free cluster"),
    ],
)
def test_broken_chains(
    originals: dict[int, bytes], bits: int, damage: Damage, slug: str, how: str
) -> None:
    image = FatImage(originals[bits])
    damage(image)
    card = read(image)
    finding = next(f for f in card.findings if f.path == "ONE.BIN")
    assert (finding.slug, finding.structure) == (slug, "FAT")
    assert finding.parameters["how"] == how
    assert finding.severity is Severity.STOP
    # The rest of the chain is lost or free, and nothing else is said.
    rest = {("lost-clusters", None), ("free-count-odd", None)}
    assert said(card) <= {(slug, "ONE.BIN")} | rest
    assert whole(image, card) == FILES.keys() - {"ONE.BIN"}
    entry = paths(card)["ONE.BIN"]
    assert sum(extent.length for extent in entry.extents) <= entry.size


@pytest.mark.oracle
@pytest.mark.parametrize("bits", BITS)
def test_crossed_files(originals: dict[int, bytes], tmp_path: Path, bits: int) -> None:
    image = FatImage(originals[bits])
    image.set_entry(second_cluster(image, TWO), second_cluster(image, ONE))
    card = read(image)
    assert said(card) == {
        ("chain-crossed", "TWO.BIN"),
        ("chain-shared", "ONE.BIN"),
        ("lost-clusters", None),
    }
    shared = next(finding for finding in card.findings if finding.slug == "chain-shared")
    assert shared.parameters == {"cluster": second_cluster(image, ONE), "other": "TWO.BIN"}
    assert not paths(card)["TWO.BIN"].is_whole
    (tmp_path / "volume").write_bytes(image.data)
    assert "share clusters" in run("fsck.fat", "-n", tmp_path / "volume", status=1)


def test_two_files_that_begin_with_the_same_cluster(originals: dict[int, bytes]) -> None:
    image = FatImage(originals[16])
    image.set_first_cluster(TWO, image.first_cluster(ONE))
    card = read(image)
    assert said(card) == {
        ("chain-crossed", "TWO.BIN"),
        ("chain-shared", "ONE.BIN"),
        ("lost-clusters", None),
    }
    assert paths(card)["TWO.BIN"].extents == ()


def test_a_file_that_begins_in_the_root_of_fat32(originals: dict[int, bytes]) -> None:
    image = FatImage(originals[32])
    image.set_first_cluster(ONE, image.root_cluster)
    assert said(read(image)) == {("chain-crossed", "ONE.BIN"), ("lost-clusters", None)}


@pytest.mark.oracle
def test_a_size_larger_than_the_chain(originals: dict[int, bytes], tmp_path: Path) -> None:
    image = FatImage(originals[16])
    struct.pack_into("<I", image.data, image.folder_entry(ONE) + 28, 100_000)
    card = read(image)
    assert said(card) == {("chain-too-short", "ONE.BIN")}
    finding = card.findings[-1]
    assert finding.parameters == {"size": 100_000, "room": 5120}
    entry = paths(card)["ONE.BIN"]
    assert (entry.is_whole, sum(e.length for e in entry.extents)) == (False, 5120)
    (tmp_path / "volume").write_bytes(image.data)
    said_by_fsck = run("fsck.fat", "-n", tmp_path / "volume", status=1)
    assert "File size is 100000 bytes, cluster chain length is 5120 bytes." in said_by_fsck


@pytest.mark.parametrize(
    ("size", "slug"),
    [
        pytest.param(5120, None, id="fills its chain"),
        pytest.param(5121, "chain-too-short", id="one byte more"),
        pytest.param(2**32 - 1, "chain-too-short", id="largest"),
        pytest.param(4609, None, id="one byte in the last cluster"),
        pytest.param(4608, "chain-too-long", id="nothing in the last cluster"),
        pytest.param(0, "chain-too-long", id="no size"),
    ],
)
def test_sizes_around_a_cluster(originals: dict[int, bytes], size: int, slug: str | None) -> None:
    image = FatImage(originals[16])
    struct.pack_into("<I", image.data, image.folder_entry(ONE) + 28, size)
    card = read(image)
    assert said(card) == ({(slug, "ONE.BIN")} if slug else set())
    entry = paths(card)["ONE.BIN"]
    assert entry.is_whole == (size <= 5120)
    assert sum(extent.length for extent in entry.extents) == min(size, 5120)


def test_a_size_without_a_chain(originals: dict[int, bytes]) -> None:
    image = FatImage(originals[16])
    struct.pack_into("<I", image.data, image.folder_entry(EMPTY) + 28, 10)
    card = read(image)
    assert said(card) == {("chain-too-short", "EMPTY.BIN")}
    assert card.findings[-1].parameters == {"size": 10, "room": 0}
    assert not paths(card)["EMPTY.BIN"].is_whole


@pytest.mark.parametrize("bits", [12, 16])
def test_the_upper_half_of_a_cluster_number_is_for_fat32(
    originals: dict[int, bytes], bits: int
) -> None:
    # Source: FAT: General Overview of On-Disk Format, v1.03, DIR_FstClusHI; some old systems
    # keep other things there.
    image = FatImage(originals[bits])
    for short in (ONE, SUB):
        struct.pack_into("<H", image.data, image.folder_entry(short) + 20, 0x1234)
    card = read(image)
    assert said(card) == set()
    assert whole(image, card) == set(FILES)


def test_a_chain_in_too_many_pieces(
    originals: dict[int, bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("cardprep.volume.chain_walk.MOST_RUNS", 4)
    image = FatImage(originals[16])
    one = image.chain(image.first_cluster(ONE))
    order = one[::2] + one[1::2]
    for cluster, following in zip(order, [*order[1:], 0xFFFF], strict=True):
        image.set_entry(cluster, following)
    card = read(image)
    finding = next(f for f in card.findings if f.path == "ONE.BIN")
    assert (finding.slug, finding.undecided) == ("too-scattered", True)
    assert not paths(card)["ONE.BIN"].is_whole
