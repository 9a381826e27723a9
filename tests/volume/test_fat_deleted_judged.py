"""Deleted files on FAT volumes that mtools deleted: listed as pytsk3 lists them.

Judges: mtools and pytsk3.
"""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from cardprep.volume.card import read_card
from cardprep.volume.fat_deleted import LOST
from cardprep.volume.model import DeletedEntry, Left
from tests.cards import FatImage, content, make_volume, paths, run
from tests.deleted import Listed, listed_by_others
from tests.volumes import BITS, OPTIONS, SIZES

pytestmark = pytest.mark.oracle

NAMES = (
    *("ONE.BIN", "lower.bin", "EMPTY.BIN", "NO_END", "exactly 13 ch", "exactly 26 characters long"),
    *("A long name of more than one piece.img", "update (1).bin", "Ünder fünf.bin", "._APP.BIN"),
    *("UPDATE/APP_430.BIN", "UPDATE/BOOT_310.s37", "UPDATE/Another long name.bin"),
    *("old folder/Inner name.bin", "old folder/DEEPER/LAST.BIN", "KEPT.BIN"),
)
KEPT = {"KEPT.BIN", "UPDATE/BOOT_310.s37"}


def ours(image: FatImage, deleted: tuple[DeletedEntry, ...]) -> set[Listed]:
    """Return what was read, spelled as pytsk3 spells it."""
    found = set()
    for entry in deleted:
        parts = (*entry.folder, entry.name)
        # A lost end shows as one too, which pytsk3 does not tell.
        path = tuple(part.replace(LOST, "_", 1) if part[0] == LOST else part for part in parts)
        path = tuple(part.removesuffix(LOST) for part in path)
        place = None
        if entry.is_folder or entry.size:
            place = image.cluster(entry.first_cluster)
        found.add(Listed(path, entry.is_folder, entry.size, place))
    return found


def contents(seed: int) -> dict[str, bytes]:
    choose = random.Random(seed)
    return {
        name: b"" if name == "EMPTY.BIN" else choose.randbytes(choose.randint(1, 20_000))
        for name in NAMES
    }


def filled(folder: Path, bits: int, seed: int) -> tuple[Path, dict[str, bytes]]:
    """Make a volume with all of NAMES; return the image and their content."""
    data = contents(seed)
    for name, stored in data.items():
        (folder / "files" / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / "files" / name).write_bytes(stored)
    image = folder / f"fat{bits}-{seed}.img"
    make_volume(image, SIZES[bits], *OPTIONS[bits], files=folder / "files")
    return image, data


@pytest.mark.parametrize("bits", BITS)
def test_names_sizes_and_clusters_are_those_that_others_list(bits: int, tmp_path: Path) -> None:
    image, data = filled(tmp_path, bits, bits)
    gone = [name for name in NAMES if name not in KEPT and not name.startswith("old folder")]
    run("mdel", "-i", image, *(f"::/{name}" for name in gone))
    run("mdeltree", "-i", image, "::/old folder")
    volume = FatImage(image.read_bytes())
    read = read_card(volume.medium(), into_deleted=True).volumes[0]
    assert ours(volume, read.deleted) == listed_by_others(image)
    assert set(paths(read_card(volume.medium()))) == {*KEPT, "UPDATE"}
    by_name = {entry.shown: entry for entry in read.deleted}
    for name, stored in data.items():
        entry = by_name.get(name)
        if entry is None:
            continue
        assert entry.name_is_whole
        assert entry.left is Left.FREE
        # mtools copies a file into clusters that lie one behind the other.
        guess = entry.guesses[0]
        assert volume.data[guess.offset : guess.offset + guess.length] == stored
    assert {"update (1).bin", "exactly 26 characters long", "Ünder fünf.bin"} <= set(by_name)


@pytest.mark.parametrize("bits", BITS)
def test_only_who_asks_for_it_looks_into_deleted_folders(bits: int, tmp_path: Path) -> None:
    image, _ = filled(tmp_path, bits, bits)
    run("mdeltree", "-i", image, "::/old folder")
    plain, asked = (FatImage(image.read_bytes()).medium() for _ in range(2))
    (entry,) = read_card(plain).volumes[0].deleted
    assert (entry.shown, entry.is_folder, entry.left) == ("old folder", True, Left.FREE)
    found = read_card(asked, into_deleted=True).volumes[0].deleted
    assert {entry.shown for entry in found} - {entry.shown} == {
        "old folder/Inner name.bin",
        "old folder/?EEPER",
        "old folder/?EEPER/?AST.BIN",
    }
    # One cluster of each deleted folder.
    assert len(asked.reads) == len(plain.reads) + 2


@pytest.mark.parametrize("seed", range(12))
def test_cards_that_were_used_for_a_while(seed: int, tmp_path: Path) -> None:
    """Files come and go, so that entries and clusters are taken again in all ways."""
    bits = (12, 16, 32)[seed % 3]
    image, _ = filled(tmp_path, bits, seed)
    choose = random.Random(seed)
    new = tmp_path / "new"
    new.mkdir()
    there = [name for name in NAMES if "/" not in name]
    for turn in range(6):
        gone = choose.sample(there, 2)
        run("mdel", "-i", image, *(f"::/{name}" for name in gone))
        there = [name for name in there if name not in gone]
        added = new / f"{choose.choice('ABxy')} new {turn}.bin"
        added.write_bytes(choose.randbytes(choose.randint(1, 30_000)))
        run("mcopy", "-i", image, added, "::/")
        there.append(added.name)
    volume = FatImage(image.read_bytes())
    card = read_card(volume.medium(), into_deleted=True)
    assert ours(volume, card.volumes[0].deleted) == listed_by_others(image)
    live = paths(card)
    for name in there:
        assert name in live
        assert len(content(volume.medium(), live[name])) == live[name].size
    for entry in card.volumes[0].deleted:
        for guess in entry.guesses:
            first = (guess.offset - volume.cluster(2)) // volume.cluster_size + 2
            count = -(-guess.length // volume.cluster_size)
            assert not any(volume.entry(n) for n in range(first, first + count))
